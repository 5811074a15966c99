//! Traced light against closed forms: area sources, receptors, fall-off, feathering.
//!
//! Sources of the values are in `common/checks.rs` beside each id, and with the formulas in
//! `common/closed_forms.rs`, which `closed_forms.rs` holds against the same published values.

#[path = "common/checks.rs"]
mod checks;
#[path = "common/closed_forms.rs"]
mod closed_forms;
#[path = "common/tracing.rs"]
mod tracing;

use checks::{Check, check, checks_beginning};
use closed_forms as exact;
use glam::DVec3;
use std::f64::consts::{FRAC_PI_2, PI};
use swatchlight::optics::table::Face;
use swatchlight::scene::builder::{Axes, Mesh};
use swatchlight::scene::materials::Surface;
use tracing::*;

/// The traced form factor E / (π L) of a Lambertian face from a receptor at the origin.
fn form_factor(face: Face, at: Axes, normal: DVec3, blocks: u32) -> Reading {
    form_factors(face, at, &[(DVec3::ZERO, normal)], false, blocks)[0]
}

fn form_factors(
    face: Face,
    at: Axes,
    receptors: &[(DVec3, DVec3)],
    dome: bool,
    blocks: u32,
) -> Vec<Reading> {
    let mut b = builder();
    let layer = b.layer("key");
    b.emitter(&lambert(face), at, layer);
    for (point, normal) in receptors {
        b.receptor(*point, *normal, dome);
    }
    // One lumen: L = 1/(π A), so E / (π L) = E A.
    read_all(b.build(), blocks)
        .into_iter()
        .map(|e| e.times(face.area_m2()))
        .collect()
}

/// A direction in the x-z plane, an angle from +z.
fn off_z(angle_rad: f64) -> DVec3 {
    DVec3::new(angle_rad.sin(), 0.0, angle_rad.cos())
}

fn vector(p: [f64; 3]) -> DVec3 {
    DVec3::from(p)
}

// --- Area sources --------------------------------------------------------------------------------

/// Howell B-12, B-13, B-14.
#[test]
fn disks() {
    let down = |x: f64, z: f64| facing(DVec3::new(x, 0.0, z), DVec3::NEG_Z);
    for c in checks_beginning("S2.disk.axis_") {
        form_factor(disk(c.input("R")), down(0.0, c.input("d")), DVec3::Z, 64)
            .is(c.expected(), 8e-4);
    }
    for c in checks_beginning("S2.disk.off_") {
        form_factor(
            disk(c.input("R")),
            down(c.input("a"), c.input("h")),
            DVec3::Z,
            16,
        )
        .is(c.expected(), 1e-3);
    }
    for c in checks_beginning("S2.disk.perp_") {
        form_factor(
            disk(c.input("R")),
            down(c.input("a"), c.input("h")),
            DVec3::X,
            16,
        )
        .is(c.expected(), 2e-3);
    }
    // A general-purpose renderer's reading of one of them, L = 1.
    let c = check("S4.mi.disk_off_0.5_E");
    form_factor(disk(0.5), down(0.5, 1.0), DVec3::Z, 16)
        .times(PI)
        .is(c.expected(), c.tolerance("rel"));
    // Optics closed forms: R = .6, L = 1 at 1, 2, 3, 6 m.
    for (d, lux) in [(1.0, 0.8316), (2.0, 0.2594), (3.0, 0.1208), (6.0, 0.03110)] {
        form_factor(disk(0.6), down(0.0, d), DVec3::Z, 16)
            .times(PI)
            .is(lux, 8e-4);
    }
}

/// Howell B-4.
#[test]
fn rectangles() {
    let down = |x: f64, y: f64, z: f64| turned(DVec3::new(x, y, z), DVec3::NEG_Z, DVec3::X);
    for c in checks_beginning("S2.rect.square1_") {
        let s = c.input("s");
        form_factor(rect(s, s), down(0.0, 0.0, c.input("d")), DVec3::Z, 16).is(c.expected(), 1e-3);
    }
    let c = check("S2.rect.1p2x0p9_d1p5");
    form_factor(
        rect(c.input("w"), c.input("h")),
        down(0.0, 0.0, c.input("d")),
        DVec3::Z,
        16,
    )
    .is(c.expected(), 1e-3);
    let c = check("S2.rect.corner_1_1_1");
    form_factor(rect(1.0, 1.0), down(0.5, 0.5, 1.0), DVec3::Z, 16).is(c.expected(), 1e-3);
    // Optics closed forms: half a metre or so, near and at two metres.
    for (d, factor) in [(1.0, 0.1442), (2.0, 0.04098)] {
        form_factor(rect(0.6, 0.9), down(0.0, 0.0, d), DVec3::Z, 16).is(factor, 1e-3);
    }
    // So large that it is all the receptor sees: E tends to π L.
    let near = exact::rectangle_on_axis(100.0, 100.0, 0.1);
    assert!(near > 0.998);
    form_factor(rect(100.0, 100.0), down(0.0, 0.0, 0.1), DVec3::Z, 32).is(near, 1e-3);
}

/// Lambert 1760; Howell B-5. Polygons no emitter has the shape of are black against a surround of
/// luminance 1: what they take is their form factor.
#[test]
fn polygons() {
    for id in ["S2.poly.up", "S2.poly.front", "S2.poly.tilt"] {
        let c = check(id);
        let corners: Vec<DVec3> = c.input_points("verts").into_iter().map(vector).collect();
        taken_by(&polygon_mesh(&corners), vector(c.input_points("n")[0])).is(c.expected(), 0.01);
    }
    let c = check("S2.rect.perp_window");
    let window = turned(DVec3::new(0.0, 1.0, 0.5), DVec3::NEG_Y, DVec3::X);
    form_factor(rect(1.0, 1.0), window, DVec3::Z, 32).is(c.expected(), 2e-3);
    // Partly below the receptor's horizon: the unclipped formula is the control that must not fit.
    let wrong = check("S2.poly.horizon_wrong");
    let clipped = exact::polygon(&wrong.input_points("verts"), [0.0; 3], [0.0, 0.0, 1.0]);
    assert!((clipped - 0.0462046).abs() < 1e-6);
    let window = turned(DVec3::new(0.0, 1.0, 0.1), DVec3::NEG_Y, DVec3::X);
    let traced = form_factor(rect(1.0, 1.2), window, DVec3::Z, 32);
    traced.is(clipped, 3e-3);
    assert!((traced.value - wrong.expected()).abs() > 0.02);
    // A patch of floor before an upright receptor.
    let patch = facing(DVec3::new(0.0, 1.5, -1.2), DVec3::Z);
    let c = check("S4.floor.square3x3");
    form_factor(
        rect(3.0, 3.0),
        turned(patch.origin_m, patch.z, DVec3::X),
        DVec3::Y,
        32,
    )
    .is(c.expected(), 2e-3);
}

/// What a black mesh takes of a surround's illuminance: its form factor.
fn taken_by(mesh: &Mesh, normal: DVec3) -> Reading {
    let mut b = builder();
    let layer = b.layer("surround");
    b.surround([1.0; 3], layer);
    let black = b.surface(BLACK);
    b.mesh(mesh, black);
    b.receptor(DVec3::ZERO, normal, false);
    let lit = read_all(b.build(), 192)[0].times(1.0 / PI);
    Reading {
        value: 1.0 - lit.value,
        error: lit.error,
    }
}

/// Howell B-16 family; Juul 1979.
#[test]
fn spheres() {
    for c in checks_beginning("S2.sphere.") {
        let angle = c.input("theta_deg").to_radians();
        sphere_at(c.input("R"), c.input("d"), angle).is(c.expected(), 2e-3);
    }
    // Half below the horizon, and wholly.
    sphere_at(0.25, 1.0, FRAC_PI_2).is(exact::sphere(0.25, 1.0, FRAC_PI_2), 4e-3);
    assert_eq!(sphere_at(0.25, 1.0, 1.9).value, 0.0);
    // Optics closed form: a = .025 at 1 m gives π·6.25e-4 for L = 1.
    sphere_at(0.025, 1.0, 0.0).times(PI).is(1.9635e-3, 2e-4);
}

fn sphere_at(r: f64, d: f64, angle: f64) -> Reading {
    // A globe's luminance is 1/(π · 4π r²) per lumen.
    form_factor(globe(r), facing(off_z(angle) * d, DVec3::Z), DVec3::Z, 16)
}

/// A thin tube, and a row of small globes for a line of points.
#[test]
fn tubes_and_lines() {
    let c = check("S2.tube.finite");
    let (r, d, l) = (c.input("r"), c.input("d"), c.input("half_len"));
    let along_x = turned(DVec3::Z * d, DVec3::NEG_Z, DVec3::X);
    let traced = |r: f64| {
        let tube = Face::Tube {
            half_length_m: l,
            radius_m: r,
        };
        form_factor(tube, along_x, DVec3::Z, 16)
    };
    // The formula is that of r/d -> 0: a tenth of the tube's radius holds it to the fourth digit …
    let thin = traced(0.1 * r);
    thin.times(10.0).is(c.expected(), 1e-3);
    thin.times(1.0 / exact::tube_endless(0.1 * r, d))
        .is(check("S2.tube.ratio").expected(), 1e-3);
    // … while the tube itself, its near side r closer, gives 0.7 % more.
    traced(r).is(round_tube(r, d, l), 3e-4);
    assert!((round_tube(r, d, l) / c.expected() - 1.0068).abs() < 1e-4);

    let c = check("S2.line.isotropic");
    let (n, l, d) = (48, c.input("half_len"), c.input("d"));
    let mut b = builder();
    let layer = b.layer("line");
    for i in 0..n {
        let x = l * (2.0 * (f64::from(i) + 0.5) / f64::from(n) - 1.0);
        b.emitter(
            &lambert(globe(0.001)),
            facing(DVec3::new(x, 0.0, d), DVec3::Z),
            layer,
        );
    }
    b.receptor(DVec3::ZERO, DVec3::Z, false);
    // A lumen each is n / (4π 2l) cd/m.
    let cd_per_m = f64::from(n) / (4.0 * PI * 2.0 * l);
    read_all(b.build(), 4)[0]
        .times(c.input("I_per_m") / cd_per_m)
        .is(c.expected(), 4e-4);
}

/// A tube's form factor with its roundness: `(1/π) ∫ cos φ (p + sin p cos p) dφ` over the azimuths
/// φ about the axis that meet it, `tan p = l / t(φ)`, t the distance of the side in sight.
fn round_tube(r: f64, d: f64, half_length: f64) -> f64 {
    let limit = (r / d).asin();
    let steps = 2000;
    (0..steps)
        .map(|i| limit * (2.0 * (f64::from(i) + 0.5) / f64::from(steps) - 1.0))
        .map(|phi| {
            let t = d * phi.cos() - (r * r - (d * phi.sin()).powi(2)).max(0.0).sqrt();
            let p = (half_length / t).atan();
            phi.cos() * (p + p.sin() * p.cos())
        })
        .sum::<f64>()
        * 2.0
        * limit
        / f64::from(steps)
        / PI
}

/// How far inverse square is off, five diameters away (IES Lighting Handbook, from memory).
#[test]
fn five_times_rule() {
    let over_inverse_square = |face: Face, d: f64| {
        let at = turned(DVec3::Z * d, DVec3::NEG_Z, DVec3::X);
        form_factor(face, at, DVec3::Z, 8).times(PI * d * d / face.area_m2())
    };
    // The departure is 1 %: told to within 3 % of itself.
    over_inverse_square(disk(1.0), 10.0).is(check("S2.five.disk_5D").expected(), 3e-4);
    over_inverse_square(disk(1.0), 10.0)
        .stops()
        .is_within(check("S2.five.disk_5D_stops").expected(), 5e-4);
    over_inverse_square(rect(1.0, 1.0), 5.0).is(check("S2.five.square_5s").expected(), 3e-4);
    over_inverse_square(rect(1.0, 1.0), 5.0 * 2.0_f64.sqrt())
        .is(check("S2.five.square_5diag").expected(), 3e-4);
    for c in ["1pct", "5pct", "10pct"].map(|e| check(&format!("S2.five.disk_err_{e}"))) {
        let traced = over_inverse_square(disk(1.0), c.expected());
        Reading {
            value: 1.0 / traced.value,
            ..traced
        }
        .is(1.0 + c.input("e"), 5e-4);
    }
    let c = check("S2.five.disk_err_tenthstop");
    over_inverse_square(disk(1.0), c.expected())
        .stops()
        .is_within(-0.1, 8e-4);
}

// --- Receptors -----------------------------------------------------------------------------------

/// Cosine for a flat receptor, ½(1 + cos) for a dome (projected area of a hemisphere).
#[test]
fn responses() {
    let small = globe(0.002);
    for c in checks_beginning("S1.recv.").into_iter().filter(|c| {
        c.id.starts_with("S1.recv.flat_")
            || ["0", "30", "45", "60", "90", "120", "180"]
                .iter()
                .any(|a| c.id == format!("S1.recv.dome_{a}"))
    }) {
        let dome = c.id.contains("dome");
        let at = facing(off_z(c.input("theta_deg").to_radians()) * 2.0, DVec3::Z);
        let e = form_factors(small, at, &[(DVec3::ZERO, DVec3::Z)], dome, 4)[0].times(1e6);
        e.is_within(c.expected(), 3e-4);
    }
}

/// A dome reads half of solid angle plus illuminance vector; two domes back to back, the solid angle.
#[test]
fn domes() {
    let before_disk = |angle: f64, towards: f64| {
        let axis = off_z(angle) * towards;
        form_factors(
            disk(0.5),
            facing(DVec3::Z, DVec3::NEG_Z),
            &[(DVec3::ZERO, axis)],
            true,
            32,
        )[0]
        .times(PI)
    };
    let published = |c: Check| (c.input("angle_deg"), c.expected());
    for (angle, expected) in [
        (0.0, exact::dome_of_disk(0.5, 1.0, 0.0)),
        published(check("S1.recv.dome_disk_45")),
        published(check("S1.recv.dome_disk_90")),
        (135.0, exact::dome_of_disk(0.5, 1.0, 135_f64.to_radians())),
    ] {
        before_disk(angle.to_radians(), 1.0).is(expected, 2e-3);
    }
    let both = weighted([(1.0, before_disk(0.4, 1.0)), (1.0, before_disk(0.4, -1.0))]);
    both.is(check("S2.omega.disk").expected(), 1.5e-3);
    let back_to_back = [(DVec3::ZERO, DVec3::Y), (DVec3::ZERO, DVec3::NEG_Y)];
    let square = form_factors(
        rect(1.0, 1.0),
        facing(DVec3::Z, DVec3::NEG_Z),
        &back_to_back,
        true,
        32,
    );
    weighted(square.iter().map(|r| (PI, *r))).is(check("S2.omega.square").expected(), 1.5e-3);
}

/// A uniform surround gives a flat receptor π, a dome π 2, with the back covered π 1.5; a black
/// triangle over one octant takes π/2 of two domes' 4π (Van Oosterom and Strackee 1983).
#[test]
fn domes_under_a_uniform_surround() {
    let under = |covered: Option<&Mesh>, normal: DVec3, dome: bool| {
        let mut b = builder();
        let layer = b.layer("surround");
        b.surround([1.0; 3], layer);
        let black = b.surface(BLACK);
        if let Some(mesh) = covered {
            b.mesh(mesh, black);
        }
        b.receptor(DVec3::ZERO, normal, dome);
        read_all(b.build(), 64)[0].times(1.0 / PI)
    };
    // Every sample is the same; what is left is the rounding of sums in f32.
    under(None, DVec3::Z, false).is(1.0, 5e-6);
    under(None, DVec3::Z, true).is(check("S1.recv.dome_sphere").expected(), 5e-6);
    let behind = plate(facing(DVec3::NEG_Z * 0.01, DVec3::Z), 1e3, 1e3);
    under(Some(&behind), DVec3::Z, true).is(check("S1.recv.dome_front_hemi").expected(), 2e-3);
    let octant = polygon_mesh(&[DVec3::X, DVec3::Y, DVec3::Z]);
    let seen = weighted([DVec3::Z, DVec3::NEG_Z].map(|n| (PI, under(Some(&octant), n, true))));
    Reading {
        value: 4.0 * PI - seen.value,
        ..seen
    }
    .is(check("S2.omega.tri").expected(), 0.01);
}

// --- Between areas -------------------------------------------------------------------------------

/// View factors: readings at Gauss points of one area, averaged. Siegel and Howell, Chapman, and
/// Howell C-11, C-41, as printed in a heat-transfer library's examples.
#[test]
fn view_factors() {
    let parallel = |w: f64, h: f64, d: f64| {
        let to = turned(DVec3::new(0.5 * w, 0.5 * h, d), DVec3::NEG_Z, DVec3::X);
        between(
            [DVec3::ZERO, DVec3::X * w, DVec3::Y * h],
            DVec3::Z,
            rect(w, h),
            to,
        )
    };
    parallel(1.0, 1.5, 0.5).is(check("S2.vf.f3d_1").expected(), 1.5e-3);
    parallel(0.1, 0.1, 0.05).is(check("S2.vf.f3d_14").expected(), 1.5e-3);
    parallel(1.0, 1.0, 1.0).is(check("S2.vf.unit_parallel").expected(), 1.5e-3);

    let coaxial = |r1: f64, r2: f64, h: f64| {
        // Even in r².
        let points: Vec<_> = GAUSS
            .iter()
            .map(|(s, _)| (DVec3::X * (r1 * s.sqrt()), DVec3::Z))
            .collect();
        let readings = form_factors(
            disk(r2),
            facing(DVec3::Z * h, DVec3::NEG_Z),
            &points,
            false,
            8,
        );
        weighted(GAUSS.iter().zip(readings).map(|((_, w), r)| (*w, r)))
    };
    coaxial(0.1, 0.2, 0.5).is(check("S2.vf.f3d_3").expected(), 1.5e-3);
    coaxial(1.0, 1.0, 1.0).is(check("S2.vf.coax_unit").expected(), 1.5e-3);

    // From a floor to a wall with a gap of .2 below it.
    let wall = turned(DVec3::new(0.25, 0.0, 0.35), DVec3::Y, DVec3::X);
    let floor = [DVec3::ZERO, DVec3::X * 0.5, DVec3::Y * 0.5];
    between(floor, DVec3::Z, rect(0.5, 0.3), wall).is(check("S2.vf.f3d_10").expected(), 2e-3);
    // To a square inclined by 45°, from 1 to 2 along the slope.
    let up_slope = DVec3::new(0.0, 1.0, 1.0).normalize();
    let slope = turned(
        DVec3::X * 0.5 + up_slope * 1.5,
        DVec3::new(0.0, 1.0, -1.0),
        DVec3::X,
    );
    let floor = [DVec3::ZERO, DVec3::X, DVec3::Y];
    between(floor, DVec3::Z, rect(1.0, 1.0), slope).is(check("S2.vf.f3d_30").expected(), 2e-3);
}

/// Mean form factor over a parallelogram (corner, two sides) with a normal.
fn between([corner, side_1, side_2]: [DVec3; 3], normal: DVec3, face: Face, at: Axes) -> Reading {
    let pairs = || GAUSS.iter().flat_map(|s| GAUSS.iter().map(move |t| (s, t)));
    let points: Vec<_> = pairs()
        .map(|(s, t)| (corner + side_1 * s.0 + side_2 * t.0, normal))
        .collect();
    let readings = form_factors(face, at, &points, false, 8);
    weighted(pairs().zip(readings).map(|((s, t), r)| (s.1 * t.1, r)))
}

/// Inside a cube of five faces, a point of the sixth sees nothing else (closure of view factors).
#[test]
fn a_cube_closes() {
    check("S2.vf.cube_sum").assert_close(1.0);
    let at = DVec3::new(0.2, -0.3, -0.5 + 1e-4);
    let faces = [DVec3::NEG_Z, DVec3::X, DVec3::NEG_X, DVec3::Y, DVec3::NEG_Y];
    let mut b = builder();
    for inward in faces {
        let layer = b.layer("face");
        b.emitter(
            &lambert(rect(1.0, 1.0)),
            turned(
                inward * -0.5,
                inward,
                DVec3::new(inward.y, inward.z, inward.x),
            ),
            layer,
        );
    }
    b.receptor(at, DVec3::Z, false);
    let by_face = read(b.build(), 64).remove(0);
    weighted(by_face.iter().map(|r| (1.0, *r))).is(1.0, 2e-3);
}

/// A white board across from a panel, all of it in the picture: its mean luminance is that of the
/// panel times the view factor.
#[test]
fn a_white_board_shows_the_view_factor() {
    let mut b = builder();
    let layer = b.layer("panel");
    b.emitter(
        &lambert(rect(1.0, 1.0)),
        turned(DVec3::Z, DVec3::NEG_Z, DVec3::X),
        layer,
    );
    let white = b.surface(Surface::Diffuse([1.0; 3]));
    b.mesh(
        &plate(turned(DVec3::ZERO, DVec3::Z, DVec3::X), 1.0, 1.0),
        white,
    );
    // From far behind the panel, which is nothing to see from there.
    let mut lens = eye(DVec3::Z * 200.0, DVec3::ZERO, 1.0 / 200.0, 32);
    (lens.right, lens.up) = (DVec3::X, DVec3::Y);
    b.lens(&lens);
    let film = picture(&b.build(), 1, 128);
    let mean = over_pixels(&film, 0);
    // The pixels differ by place, not by chance: the spread over passes is far smaller.
    Reading {
        value: mean.value * PI,
        error: 0.0,
    }
    .is(check("S2.vf.unit_parallel").expected(), 1e-3);
}

// --- Fall-off and feathering ---------------------------------------------------------------------

/// Illuminance of a small globe at the origin, on receptors that face their own way.
fn from_globe(receptors: &[(DVec3, DVec3)]) -> Vec<Reading> {
    form_factors(
        globe(0.004),
        facing(DVec3::ZERO, DVec3::Z),
        receptors,
        false,
        4,
    )
}

fn stops_between(a: (DVec3, DVec3), b: (DVec3, DVec3)) -> Reading {
    let e = from_globe(&[a, b]);
    e[0].over(e[1]).stops()
}

/// Inverse square (Lambert 1760), and a background behind the subject.
#[test]
fn fall_off() {
    let facing_at = |d: f64| (DVec3::X * d, DVec3::NEG_X);
    for c in checks_beginning("S3.inv.") {
        stops_between(facing_at(c.input("d1")), facing_at(c.input("d2")))
            .is_within(c.expected(), 6e-4);
    }
    for c in checks_beginning("S3.bg.") {
        let d = c.input("D");
        stops_between(facing_at(d), facing_at(d + 2.0)).is_within(c.expected(), 6e-4);
    }
}

/// Head over toe, the meter aimed at the source or upright.
#[test]
fn head_to_toe() {
    let head_over_toe = |distance: f64, height: f64, upright: bool| {
        let at = |z: f64| {
            let from_light = DVec3::new(distance, 0.0, z - height);
            (
                from_light,
                if upright {
                    DVec3::NEG_X
                } else {
                    -from_light.normalize()
                },
            )
        };
        stops_between(at(1.6), at(0.1))
    };
    for c in checks_beginning("S3.ht.aim_") {
        head_over_toe(c.input("D"), c.input("h_light"), false).is_within(c.expected(), 6e-4);
    }
    for c in checks_beginning("S3.ht.vert_") {
        head_over_toe(c.input("D"), c.input("h_light"), true).is_within(c.expected(), 6e-4);
    }
    let c = check("S3.ht.mid");
    head_over_toe(c.input("D"), c.input("h_light"), false).is_within(c.expected(), 6e-4);
    head_over_toe(check("S3.ht.D_third_aim").expected(), 2.0, false).is_within(1.0 / 3.0, 6e-4);
    head_over_toe(check("S3.ht.D_third_vert").expected(), 2.0, true).is_within(1.0 / 3.0, 6e-4);
}

#[test]
fn panels_head_to_toe() {
    let down_the_figure = |w: f64, h: f64, centre: f64, d: f64| {
        let at = turned(DVec3::new(0.0, d, centre), DVec3::NEG_Y, DVec3::X);
        let points = [1.60, 0.85, 0.10].map(|z| (DVec3::Z * z, DVec3::Y));
        form_factors(rect(w, h), at, &points, false, 32)
    };
    let c = check("S3.area.strip0p4x1p8_D1p5");
    let strip = down_the_figure(
        c.input("w"),
        c.input("h"),
        c.input("z_centre"),
        c.input("D"),
    );
    for (traced, expected) in strip.iter().zip(c.expected_all()) {
        traced.is(expected, 1.5e-3);
    }
    let square = down_the_figure(1.2, 1.2, 1.5, 1.5);
    square[0]
        .over(square[2])
        .stops()
        .is_within(check("S3.area.square1p2_D1p5_stops").expected(), 3e-3);
}

/// Feathering: a small Lambertian source turned past the near subject, and a panel of 1 m.
#[test]
fn feathering() {
    let c = check("S3.feather.alpha_equal");
    let (d_a, d_b, between) = (
        c.input("dA"),
        c.input("dB"),
        c.input("gamma_deg").to_radians(),
    );
    // The source at the origin; A at angle 0 from +z, B at `between`.
    let both = |axis: f64| {
        let receptors =
            [(0.0, d_a), (between, d_b)].map(|(angle, d)| (off_z(angle) * d, -off_z(angle)));
        form_factors(
            disk(0.005),
            facing(DVec3::ZERO, off_z(axis)),
            &receptors,
            false,
            4,
        )
    };
    for c in checks_beginning("S3.feather.diff_") {
        let e = both(c.input("alpha_deg").to_radians());
        e[0].over(e[1]).stops().is_within(c.expected(), 1e-3);
    }
    let even = c.expected().to_radians();
    let e = both(even);
    e[0].over(e[1]).stops().is_within(0.0, 1e-3);
    both(0.0)[0]
        .over(e[0])
        .stops()
        .is_within(check("S3.feather.loss").expected(), 1e-3);

    for c in checks_beginning("S3.feather.panel_") {
        let turn = c.input("alpha_deg").to_radians();
        let x = DVec3::new(turn.cos(), turn.sin(), 0.0);
        let at = turned(DVec3::Y * 1.5, x.cross(DVec3::Z), x);
        let points = [-0.4, 0.0, 0.4].map(|x| (DVec3::X * x, DVec3::Y));
        for (traced, expected) in form_factors(rect(1.0, 1.0), at, &points, false, 32)
            .iter()
            .zip(c.expected_all())
        {
            traced.is(expected, 1.5e-3);
        }
    }
}
