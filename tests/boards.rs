//! Light that boards, walls and floors throw on, and what sheets let through.
//!
//! Sources of the values are in `common/checks.rs` beside each id.

#[path = "common/checks.rs"]
mod checks;
#[path = "common/tracing.rs"]
mod tracing;

use checks::{check, checks_beginning};
use glam::DVec3;
use std::f64::consts::PI;
use swatchlight::scene::builder::SceneBuilder;
use swatchlight::scene::materials::Surface;
use tracing::*;

fn grey(rho: f32) -> Surface {
    Surface::Diffuse([rho; 3])
}

// --- The worked board ----------------------------------------------------------------------------

const KEY: DVec3 = DVec3::new(-2.0, 1.0, 2.0);
const KEY_CD: f64 = 2000.0;
const SUBJECT: DVec3 = DVec3::new(0.0, 0.0, 1.2);

/// Lux at the subject by receptor normals, with a board of some reflectance beside it.
fn beside_board(rho: Option<f32>, receptors: &[(DVec3, DVec3)], blocks: u32) -> Vec<Reading> {
    let mut b = builder();
    let layer = b.layer("key");
    // A lumen from a small globe is 1/(4π) cd.
    b.emitter(&lambert(globe(0.005)), facing(KEY, DVec3::Z), layer);
    if let Some(rho) = rho {
        let board = b.surface(grey(rho));
        b.mesh(
            &plate(
                turned(DVec3::new(1.0, 0.0, 1.2), DVec3::NEG_X, DVec3::Y),
                1.0,
                2.0,
            ),
            board,
        );
    }
    for (point, normal) in receptors {
        b.receptor(*point, *normal, false);
    }
    read_all(b.build(), blocks)
        .into_iter()
        .map(|e| e.times(4.0 * PI * KEY_CD))
        .collect()
}

/// The fill by quadrature over the board: ρ/π ∫ E_key cos cos' / r² dA.
fn fill_lx(rho: f64, normal: DVec3) -> f64 {
    let n = 400;
    let cell = |i: u32, size: f64| size * ((f64::from(i) + 0.5) / f64::from(n) - 0.5);
    let mut sum = 0.0;
    for i in 0..n {
        for j in 0..n {
            let at = DVec3::new(1.0, cell(i, 1.0), 1.2 + cell(j, 2.0));
            let (to_key, to_subject) = (KEY - at, SUBJECT - at);
            let e_key = KEY_CD * -to_key.x / to_key.length().powi(3);
            let cosines = -to_subject.x * (-to_subject).dot(normal).max(0.0);
            sum += rho / PI * e_key * cosines / to_subject.length().powi(4);
        }
    }
    sum * 2.0 / f64::from(n * n)
}

#[test]
fn the_key_alone() {
    let aimed = (SUBJECT, (KEY - SUBJECT).normalize());
    let centre = (DVec3::new(1.0, 0.0, 1.2), DVec3::NEG_X);
    let e = beside_board(None, &[aimed, (SUBJECT, DVec3::Y), centre], 4);
    for (traced, id) in e
        .iter()
        .zip(["S4.board.key_aim", "S4.board.key_cam", "S4.board.E_centre"])
    {
        traced.is(check(id).expected(), 3e-4);
    }
    let pairs = || GAUSS.iter().flat_map(|s| GAUSS.iter().map(move |t| (s, t)));
    let over: Vec<_> = pairs()
        .map(|(s, t)| (DVec3::new(1.0, s.0 - 0.5, 0.2 + 2.0 * t.0), DVec3::NEG_X))
        .collect();
    let mean = weighted(
        pairs()
            .zip(beside_board(None, &over, 2))
            .map(|((s, t), e)| (s.1 * t.1, e)),
    );
    mean.is(check("S4.board.E_mean").expected(), 3e-4);
}

/// Against the published value, an independent quadrature, and a general-purpose renderer.
#[test]
fn the_board_as_fill() {
    let c = check("S4.board.fill_x");
    c.assert_close(fill_lx(0.85, DVec3::X));
    let towards = DVec3::new(1.0, 1.0, 0.0).normalize();
    check("S4.board.fill_45").assert_close(fill_lx(0.85, towards));
    let e = beside_board(
        Some(0.85),
        &[(SUBJECT, DVec3::X), (SUBJECT, towards), (SUBJECT, DVec3::Y)],
        256,
    );
    e[0].is(c.expected(), 2.5e-3);
    assert!((e[0].value - check("S4.mi.board_fill_x").expected()).abs() < 0.15);
    e[1].is(check("S4.board.fill_45").expected(), 2.5e-3);
    // Key and fill together, facing the camera; and the fill in it.
    let key = check("S4.board.key_cam").expected();
    e[2].is(key + fill_lx(0.85, DVec3::Y), 1.5e-3);
    Reading {
        value: e[2].value - key,
        ..e[2]
    }
    .is(6.54654, 0.02);
    // The estimate that must not be used near a board is far off.
    assert!(e[0].value < 0.6 * check("S4.board.fill_x_far").expected());
    // The estimate with the mean illuminance is 1.1 % low: told apart.
    assert!(e[0].value - 3.0 * e[0].error > check("S4.board.fill_x_uniform").expected());
}

/// Aimed key over fill, and the fill lost to a grey and a black board, in stops.
#[test]
fn board_swap() {
    let fill = |rho: f32| beside_board(Some(rho), &[(SUBJECT, DVec3::X)], 192)[0];
    let white = fill(0.85);
    let aimed = beside_board(Some(0.85), &[(SUBJECT, (KEY - SUBJECT).normalize())], 4)[0];
    aimed
        .over(white)
        .stops()
        .is_within(check("S4.board.ratio_stops").expected(), 6e-3);
    white
        .over(fill(0.18))
        .stops()
        .is_within(check("S4.board.grey_stops").expected(), 8e-3);
    // log2(.85/.01).
    white.over(fill(0.01)).stops().is_within(6.40939, 8e-3);
}

// --- Enclosures ----------------------------------------------------------------------------------

/// A closed sphere of radius 1 about a globe of radius r that gives one lumen. The globe takes what
/// comes back to it: (r/R)² of it at every bounce.
fn inside_sphere(
    rho: f32,
    globe_m: f64,
    receptor: DVec3,
    facing_out: bool,
    blocks: u32,
) -> Reading {
    let mut b = builder();
    let layer = b.layer("lamp");
    b.emitter(
        &lambert(globe(globe_m)),
        facing(DVec3::ZERO, DVec3::Z),
        layer,
    );
    let wall = b.surface(grey(rho));
    b.mesh(&sphere(1.0, 64, 0.0, false), wall);
    // Whole paths, all alike in here, until hardly anything is left (ρ^n < .005).
    b.bounces((-5.3 / f64::from(rho).ln()) as u32, 4096);
    let outward = receptor.normalize();
    b.receptor(receptor, if facing_out { outward } else { -outward }, false);
    read_all(b.build(), blocks)[0]
}

/// Total over direct, 1/(1 - ρ (1 - f)) with f the globe's share: 2, 5, 10, 20, 50 for ρ .5 … .98.
#[test]
fn a_closed_sphere_multiplies() {
    let r = 0.004;
    for (rho, multiplier, tolerance) in [
        (0.5, check("S4.sphere.M_0_5").expected(), 3e-3),
        (0.8, 5.0, 3e-3),
        (0.9, 10.0, 3e-3),
        (0.95, check("S4.sphere.M_0_95").expected(), 3e-3),
        (0.98, 50.0, 3e-3),
    ] {
        let wall = DVec3::new(0.3, 0.5, -0.4).normalize() * 0.995;
        let total = inside_sphere(rho, r, wall, false, 8);
        // Direct at this receptor, then what walls send, as everywhere.
        let direct = 1.0 / (4.0 * PI * 0.995_f64.powi(2));
        let lost = 1.0 / (1.0 + f64::from(rho) * r * r * multiplier);
        let walls = f64::from(rho) * multiplier * lost / (4.0 * PI);
        total.is(direct + walls, tolerance);
    }
}

/// Facing away from the lamp: only what the walls send. 1000 lm in a sphere of 1 m across, ρ .8.
#[test]
fn a_closed_sphere_indirect() {
    let c = check("S4.sphere.indirect_rho08");
    let at = DVec3::new(0.5, 0.2, 0.1);
    // Twice the size takes a quarter of the illuminance.
    let scale = c.input("Phi") / c.input("R").powi(2);
    let indirect = inside_sphere(c.input("rho") as f32, 0.004, at, true, 8).times(scale);
    indirect.is(c.expected(), 3e-3);
    assert!(
        (indirect.value - check("S4.mi.sphere_indirect_rho0.8").expected()).abs() < 0.005 * 1273.2
    );
    let c = check("S4.sphere.E_indirect");
    inside_sphere(0.9, 0.004, at, true, 8)
        .times(1000.0 / 0.25)
        .is(c.expected(), 3e-3);
}

/// A port, here a lamp as large as one: M = ρ/(1 - ρ(1 - f)).
#[test]
fn a_sphere_with_a_port() {
    let c = check("S4.sphere.port");
    let port = c.input("f").sqrt();
    let m = inside_sphere(
        c.input("rho") as f32,
        port,
        DVec3::new(0.3, 0.5, -0.4).normalize() * 0.9,
        true,
        24,
    );
    m.times(4.0 * PI).is(c.expected(), 0.02);
}

/// A bowl under a uniform surround looks the same all over: ½ρ/(1 - ½ρ); a deeper cavity that covers
/// 3/4 of its sphere, .5 at ρ .8.
#[test]
fn bowls_under_a_uniform_surround() {
    let bowl = |rho: f32, open_rad: f64| {
        let mut b = builder();
        let layer = b.layer("surround");
        b.surround([1.0; 3], layer);
        let wall = b.surface(grey(rho));
        b.mesh(&sphere(1.0, 64, open_rad, false), wall);
        // In the mouth, looking in, on and off the axis; it sees the bowl alone.
        for x in [0.0, 0.6] {
            b.receptor(
                DVec3::new(x, open_rad.cos() - 1e-4, 0.0),
                DVec3::NEG_Y,
                false,
            );
        }
        read_all(b.build(), 96)
            .into_iter()
            .map(|e| e.times(1.0 / PI))
            .collect::<Vec<_>>()
    };
    for c in checks_beginning("S4.bowl.rho_") {
        for e in bowl(c.input("rho") as f32, 0.5 * PI) {
            e.is(c.expected(), 6e-3);
        }
    }
    let c = check("S4.bowl.cap_0p75");
    for e in bowl(c.input("rho") as f32, (2.0 * c.input("Fcc") - 1.0).acos()) {
        e.is(c.expected(), 6e-3);
    }
}

/// Infinite parallel plates, one giving M0 = 1 besides: B1 = 1/(1 - ρ1 ρ2), B2 = ρ2 B1. The one is
/// a sheet lit evenly from behind.
#[test]
fn parallel_plates() {
    let c = check("S4.plates.B1");
    let mut b = builder();
    let layer = b.layer("surround");
    b.surround([1.0; 3], layer);
    let sheet = b.surface(Surface::Sheet {
        back: [c.input("rho1") as f32; 3],
        through: [0.2; 3],
        straight: 0.0,
    });
    let floor = b.surface(grey(c.input("rho2") as f32));
    b.mesh(
        &plate(facing(DVec3::Z * 0.1, DVec3::NEG_Z), 200.0, 200.0),
        sheet,
    );
    b.mesh(&plate(facing(DVec3::ZERO, DVec3::Z), 200.0, 200.0), floor);
    b.receptor(DVec3::Z * 0.05, DVec3::Z, false);
    b.receptor(DVec3::Z * 0.05, DVec3::NEG_Z, false);
    let e: Vec<Reading> = read_all(b.build(), 192)
        .into_iter()
        .map(|e| e.times(1.0 / (0.2 * PI)))
        .collect();
    e[0].is(c.expected(), 6e-3);
    e[1].is(c.input("rho2") * c.expected(), 0.01);
}

/// An infinite floor at 1000 lx, ρ .2: 100 lx on an upright receptor, 200 lx on one facing down.
#[test]
fn a_floor() {
    let c = check("S4.floor.vertical");
    let mut b = builder();
    let layer = b.layer("surround");
    // π L = 1000 lx on the floor.
    b.surround([1000.0 / PI as f32; 3], layer);
    let floor = b.surface(grey(c.input("rho") as f32));
    b.mesh(&plate(facing(DVec3::ZERO, DVec3::Z), 1000.0, 1000.0), floor);
    b.receptor(DVec3::Z * 0.1, DVec3::NEG_Z, false);
    b.receptor(DVec3::Z * 0.1, DVec3::X, false);
    let e = read_all(b.build(), 32);
    e[0].is(check("S4.floor.down").expected(), 1e-5);
    // Half of the surround, besides.
    Reading {
        value: e[1].value - 500.0,
        ..e[1]
    }
    .is(c.expected(), 5e-3);
}

/// A meter at a card and a camera on it agree: L = ρ E / π; 1000 lx on 18 % are 57.2958 cd/m².
#[test]
fn a_grey_card() {
    let set = || {
        let mut b = builder();
        let layer = b.layer("key");
        b.emitter(
            &lambert(disk(0.4)),
            facing(DVec3::new(1.0, 0.3, 1.5), DVec3::new(-0.8, -0.2, -1.0)),
            layer,
        );
        let card = b.surface(grey(0.18));
        b.mesh(&plate(facing(DVec3::ZERO, DVec3::Z), 0.3, 0.3), card);
        b
    };
    let mut metered = set();
    metered.receptor(DVec3::Z * 1e-4, DVec3::Z, false);
    let e = read_all(metered.build(), 64)[0];
    let l = luminance_at(set(), DVec3::new(-1.0, 0.5, 3.0), DVec3::ZERO, 1 << 17);
    l.over(e).times(1000.0).is(57.2958, 2e-3);
}

// --- Sheets --------------------------------------------------------------------------------------

fn scrim(straight: f32) -> Surface {
    Surface::Sheet {
        back: [0.0; 3],
        through: [0.0; 3],
        straight,
    }
}

fn hang(b: &mut SceneBuilder, surface: Surface, z: f64) {
    let sheet = b.surface(surface);
    b.mesh(&plate(facing(DVec3::Z * z, DVec3::Z), 40.0, 40.0), sheet);
}

/// What sheets pass straight multiplies, alike for shadow rays, for light met by scattering, and in
/// the camera's view.
#[test]
fn straight_passing_multiplies() {
    let set = |sheets: &[f32]| {
        let mut b = builder();
        let layer = b.layer("key");
        b.emitter(&lambert(disk(0.5)), facing(DVec3::Z, DVec3::NEG_Z), layer);
        for (i, straight) in sheets.iter().enumerate() {
            hang(&mut b, scrim(*straight), 0.2 + 0.2 * i as f64);
        }
        b
    };
    let metered = |sheets: &[f32]| {
        let mut b = set(sheets);
        b.receptor(DVec3::ZERO, DVec3::Z, false);
        // One so near a wall of light that scattering finds most of it.
        b.receptor(DVec3::Z * 0.95, DVec3::Z, false);
        read_all(b.build(), 128)
    };
    let through = |sheets: &[f32]| luminance_at(set(sheets), DVec3::ZERO, DVec3::Z, 1 << 17);
    let open = (metered(&[]), through(&[]));
    for sheets in [
        &[0.5][..],
        &[0.5, 0.5],
        &[0.7, 0.4],
        &[0.4, 0.7],
        &[0.6, 0.5, 0.8],
    ] {
        let product = sheets.iter().map(|s| f64::from(*s)).product();
        let e = metered(sheets);
        e[0].over(open.0[0]).is(product, 5e-3);
        through(sheets).over(open.1).is(product, 0.02);
    }
    // Sheets between the near receptor and the light; against a surround all is scattering.
    for sheets in [&[0.5, 0.5][..], &[0.7, 0.4]] {
        let product = sheets.iter().map(|s| f64::from(*s)).product();
        let mut b = builder();
        let layer = b.layer("surround");
        b.surround([1.0; 3], layer);
        for (i, straight) in sheets.iter().enumerate() {
            let sheet = b.surface(scrim(*straight));
            b.mesh(&sphere(1.0 + i as f64, 16, 0.0, false), sheet);
        }
        b.receptor(DVec3::ZERO, DVec3::Z, false);
        read_all(b.build(), 64)[0]
            .times(1.0 / PI)
            .is(product, 0.018);
    }
}

/// An endless sheet that scatters light through, under a uniform surround: T of it arrives; with a
/// straight part, both; and looked at, back and front add up.
#[test]
fn scattering_sheets() {
    let (back, through, straight) = (0.3, 0.45, 0.15);
    let set = || {
        let mut b = builder();
        let layer = b.layer("surround");
        b.surround([1.0; 3], layer);
        hang(
            &mut b,
            Surface::Sheet {
                back: [back; 3],
                through: [through; 3],
                straight,
            },
            0.1,
        );
        let black = b.surface(BLACK);
        b.mesh(
            &plate(facing(DVec3::NEG_Z * 0.1, DVec3::Z), 1e3, 1e3),
            black,
        );
        b
    };
    let passed = f64::from(through + straight);
    let mut b = set();
    b.receptor(DVec3::ZERO, DVec3::Z, false);
    // The surround at the sheet's far ends is a thousandth of all.
    read_all(b.build(), 64)[0].times(1.0 / PI).is(passed, 5e-3);
    // From above: thrown back by the sheet; nothing else comes up.
    luminance_at(set(), DVec3::Z * 3.0, DVec3::Z * 0.1, 1 << 16).is(f64::from(back), 0.012);
    // A lamp on one side, a receptor on the other: E = T E0 through an endless sheet close by.
    let mut b = builder();
    let layer = b.layer("key");
    b.emitter(&lambert(disk(0.5)), facing(DVec3::Z, DVec3::NEG_Z), layer);
    hang(
        &mut b,
        Surface::Sheet {
            back: [0.0; 3],
            through: [through; 3],
            straight: 0.0,
        },
        0.002,
    );
    b.receptor(DVec3::ZERO, DVec3::Z, false);
    read_all(b.build(), 128)[0]
        .times(PI * 0.25)
        .is(0.2 * f64::from(through), 5e-3);
}

// --- Layers --------------------------------------------------------------------------------------

/// Each light only in its own layer, and all layers together what one layer of all lights holds.
#[test]
fn layers_are_apart_and_add_up() {
    let faces = [disk(0.3), rect(0.4, 0.8), globe(0.1)];
    let places = [
        DVec3::new(-1.0, 0.5, 1.6),
        DVec3::new(1.2, -0.2, 1.2),
        DVec3::new(0.0, 1.5, 1.0),
    ];
    let room = |lights: &[usize], one_layer: bool| {
        let mut b = builder();
        let shared = one_layer.then(|| b.layer("all"));
        for &i in lights {
            let layer = shared.unwrap_or_else(|| b.layer(&format!("light {i}")));
            b.emitter(&lambert(faces[i]), facing(places[i], -places[i]), layer);
        }
        let wall = b.surface(grey(0.5));
        b.mesh(&plate(facing(DVec3::ZERO, DVec3::Z), 3.0, 3.0), wall);
        b.mesh(&plate(facing(DVec3::X * -1.5, DVec3::X), 3.0, 3.0), wall);
        b.receptor(DVec3::new(0.2, 0.0, 0.3), DVec3::Z, true);
        b
    };
    let apart = read(room(&[0, 1, 2], false).build(), 96).remove(0);
    for (i, apart) in apart.iter().enumerate() {
        let alone = read_all(room(&[i], false).build(), 96)[0];
        apart.over(alone).is(1.0, 0.012);
    }
    let together = read_all(room(&[0, 1, 2], true).build(), 96)[0];
    weighted(apart.iter().map(|e| (1.0, *e)))
        .over(together)
        .is(1.0, 8e-3);
    // In a picture: a light that is hidden leaves its layer empty.
    let mut b = builder();
    let (seen, hidden) = (b.layer("seen"), b.layer("hidden"));
    b.emitter(&lambert(disk(0.3)), facing(DVec3::Z, DVec3::NEG_Z), seen);
    b.emitter(
        &lambert(disk(0.3)),
        facing(DVec3::Z * -1.0, DVec3::Z),
        hidden,
    );
    let card = b.surface(grey(0.6));
    b.mesh(&plate(facing(DVec3::ZERO, DVec3::Z), 30.0, 30.0), card);
    let both = luminances_at(b, DVec3::new(2.0, 0.0, 2.0), DVec3::ZERO, 1 << 14);
    // ρ/π E, E = F / A per lumen.
    both[0].is(0.6 / PI * (0.09 / 1.09) / (PI * 0.09), 6e-3);
    assert_eq!(both[1].value, 0.0);
}

/// A lamp behind a bare lamp is hidden by it, however the light is found.
#[test]
fn a_globe_hides_what_is_behind_it() {
    let hidden_share = |near: bool| {
        let mut b = builder();
        let (front, behind) = (b.layer("front"), b.layer("behind"));
        b.emitter(
            &lambert(globe(0.1)),
            facing(DVec3::Z * 0.5, DVec3::Z),
            front,
        );
        b.emitter(
            &lambert(globe(0.05)),
            facing(DVec3::Z * 1.0, DVec3::Z),
            behind,
        );
        // On the axis all is hidden; well off it, nothing.
        let off = if near { 0.0 } else { 0.8 };
        b.receptor(DVec3::X * off, DVec3::Z, false);
        read(b.build(), 8).remove(0)[1]
    };
    assert_eq!(hidden_share(true).value, 0.0);
    // Φ/(4π d²) times the cosine.
    let d2: f64 = 1.0 + 0.64;
    hidden_share(false).is(1.0 / (4.0 * PI * d2 * d2.sqrt()), 1e-3);
}
