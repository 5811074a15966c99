//! Shadow edges in traced light: penumbra, edge-spread curves, 10-90 % widths.
//!
//! Sources of the values are in `common/checks.rs` beside each id, and with the formulas in
//! `common/closed_forms.rs`.

#[path = "common/checks.rs"]
mod checks;
#[path = "common/closed_forms.rs"]
mod closed_forms;
#[path = "common/tracing.rs"]
mod tracing;

use checks::{check, checks_beginning};
use closed_forms as exact;
use glam::DVec3;
use swatchlight::optics::table::Face;
use swatchlight::scene::builder::{Axes, Mesh, SceneBuilder};
use swatchlight::scene::materials::Surface;
use tracing::*;

/// A face and where it hangs.
type Light = (Face, Axes);
/// Visible share of a source over position in half penumbras.
type Curve = fn(f64) -> f64;

/// A source at height z facing down, its x turned.
fn source(face: Face, z: f64, turn_deg: f64) -> Light {
    let (s, c) = turn_deg.to_radians().sin_cos();
    (
        face,
        turned(DVec3::Z * z, DVec3::NEG_Z, DVec3::new(c, s, 0.0)),
    )
}

/// A black half plane over x < 0 at a height, large enough to have one edge.
fn half_plane(z: f64) -> Mesh {
    plate(
        turned(DVec3::new(-20.0, 0.0, z), DVec3::Z, DVec3::X),
        40.0,
        40.0,
    )
}

/// A black strip along y, of a width, at a height.
fn strip(width: f64, z: f64) -> Mesh {
    plate(turned(DVec3::Z * z, DVec3::Z, DVec3::X), width, 40.0)
}

fn lit(light: Light, occluders: &[Mesh]) -> SceneBuilder {
    let mut b = builder();
    let layer = b.layer("key");
    b.emitter(&lambert(light.0), light.1, layer);
    let black = b.surface(BLACK);
    for mesh in occluders {
        b.mesh(mesh, black);
    }
    b
}

/// Upright receptors at (x, 0, 0).
fn read_at(mut b: SceneBuilder, xs: &[f64], blocks: u32) -> Vec<Reading> {
    for &x in xs {
        b.receptor(DVec3::X * x, DVec3::Z, false);
    }
    read_all(b.build(), blocks)
}

/// Share of the light that occluders leave, at some places.
fn shares(light: Light, occluders: &[Mesh], xs: &[f64], blocks: u32) -> Vec<Reading> {
    let open = read_at(lit(light, &[]), xs, 16);
    let shaded = read_at(lit(light, occluders), xs, blocks);
    shaded
        .into_iter()
        .zip(open)
        .map(|(s, o)| s.over(o))
        .collect()
}

/// Exact, cosine-weighted, against quadrature; the general-purpose renderer's values within its
/// noise.
#[test]
fn the_exact_edge_of_a_near_disk() {
    let one = &checks_beginning("S2.esf.finite_")[0];
    let (r, z, z_edge) = (one.input("R"), one.input("z_src"), one.input("z_edge"));
    let mut cases: Vec<(f64, f64)> = checks_beginning("S2.esf.finite_")
        .iter()
        .map(|c| (c.input("x"), c.expected()))
        .collect();
    cases.extend(
        [-0.0687, -0.09, 0.05, 0.09].map(|x| (x, exact::edge_of_near_disk(x, r, z, z_edge))),
    );
    let xs: Vec<f64> = cases.iter().map(|c| c.0).collect();
    let traced = shares(source(disk(r), z, 0.0), &[half_plane(z_edge)], &xs, 64);
    for ((_, expected), share) in cases.iter().zip(&traced) {
        share.is_within(*expected, 8e-4);
    }
    for c in checks_beginning("S2.mi.edge_") {
        let at = xs
            .iter()
            .position(|x| *x == c.input("x"))
            .expect("read above");
        assert!((traced[at].value - c.expected()).abs() < c.tolerance("abs"));
    }
}

/// Width, umbra and its end: nothing inside, everything outside, something between.
#[test]
fn penumbra_and_umbra() {
    let c = check("S2.pen.width");
    let (d, a, b) = (c.input("D"), c.input("a"), c.input("b"));
    let half = 0.5 * c.expected();
    let light = source(rect(d, d), a + b, 0.0);
    let [dark, dim, bright, clear] = shares(
        light,
        &[half_plane(b)],
        &[-1.005 * half, -0.97 * half, 0.97 * half, 1.005 * half],
        64,
    )[..] else {
        unreachable!()
    };
    assert_eq!(dark.value, 0.0);
    assert!(dim.value > 3.0 * dim.error && dim.value < 0.03);
    assert!(bright.value < 1.0 - 3.0 * bright.error && bright.value > 0.97);
    clear.is(1.0, 2e-3);

    // A strip: full shadow `umbra` wide, some shadow out to `total`.
    let c = check("S2.pen.umbra");
    let half_umbra = 0.5 * c.expected();
    let half_total = 0.5 * check("S2.pen.total").expected();
    let xs = [
        0.0,
        0.98 * half_umbra,
        1.04 * half_umbra,
        0.98 * half_total,
        1.005 * half_total,
    ];
    let across = shares(light, &[strip(c.input("w"), b)], &xs, 64);
    assert_eq!([across[0].value, across[1].value], [0.0; 2]);
    assert!(across[2].value > 3.0 * across[2].error);
    assert!(across[3].value < 1.0 - 3.0 * across[3].error);
    across[4].is(1.0, 2e-3);
    // The umbra ends at a W / (D - W) behind the strip: dark on the axis before, lit after.
    let end = a * c.input("w") / (d - c.input("w"));
    for (behind, is_lit) in [(0.98 * end, false), (1.02 * end, true)] {
        let light = source(rect(d, d), a + behind, 0.0);
        let on_axis = shares(light, &[strip(c.input("w"), behind)], &[0.0], 64)[0];
        assert_eq!(on_axis.value > 0.0, is_lit, "{behind} m behind");
    }
}

/// Edge-spread curves of small sources: all of the source weighs the same. The scene is the worked
/// one at a tenth of the source's size.
#[test]
fn edge_spread_curves() {
    let (a, b, size) = (1.5, 0.5, 0.06);
    let us = [-0.75, -0.5, -0.25, 0.0, 0.25, 0.5, 0.75];
    let hole = disk_mesh(facing(DVec3::Z * (a + b - 0.0005), DVec3::Z), 0.25 * size);
    let sources: [(Light, f64, Option<&Mesh>, Curve); 4] = [
        (
            source(disk(0.5 * size), a + b, 0.0),
            size,
            None,
            exact::edge_of_disk,
        ),
        (
            source(rect(size, size), a + b, 0.0),
            size,
            None,
            exact::edge_of_square,
        ),
        (
            source(rect(size, size), a + b, 45.0),
            size * 2.0_f64.sqrt(),
            None,
            exact::edge_of_diamond,
        ),
        (
            source(disk(0.5 * size), a + b, 0.0),
            size,
            Some(&hole),
            |u| exact::edge_of_annulus(u, 0.5),
        ),
    ];
    for (light, span, hole, curve) in sources {
        let half = 0.5 * exact::penumbra(span, a, b);
        let xs = us.map(|u| u * half);
        let mut occluders: Vec<Mesh> = hole.into_iter().cloned().collect();
        let open = read_at(lit(light, &occluders), &xs, 32);
        occluders.push(half_plane(b));
        let shaded = read_at(lit(light, &occluders), &xs, 64);
        for ((u, s), o) in us.iter().zip(shaded).zip(open) {
            let share = s.over(o);
            share.is_within(curve(*u), 1.5e-3);
        }
    }
}

/// Nine tenths of a disk show at this share of the half penumbra.
#[test]
fn where_nine_tenths_show() {
    let half = 0.5 * exact::penumbra(0.06, 1.5, 0.5);
    let x = check("S2.esf.disk_x90").expected() * half;
    let shares = shares(
        source(disk(0.03), 2.0, 0.0),
        &[half_plane(0.5)],
        &[x, -x],
        64,
    );
    shares[0].is_within(0.9, 1e-3);
    shares[1].is_within(0.1, 1e-3);
}

/// 10-90 % widths, from where traced edges pass a tenth and nine tenths.
#[test]
fn edge_widths() {
    let (a, b, size) = (1.5, 0.5, 0.06);
    let hole = disk_mesh(facing(DVec3::Z * (a + b - 0.0005), DVec3::Z), 0.25 * size);
    let small = |face: Face, turn: f64| source(face, a + b, turn);
    // As a share of the whole penumbra.
    for (id, light, span, holes) in [
        (
            "S2.esf.disk_1090",
            small(disk(0.5 * size), 0.0),
            size,
            vec![],
        ),
        (
            "S2.esf.diamond_1090",
            small(rect(size, size), 45.0),
            size * 2.0_f64.sqrt(),
            vec![],
        ),
        (
            "S2.esf.annulus_half_1090",
            small(disk(0.5 * size), 0.0),
            size,
            vec![hole],
        ),
    ] {
        let whole = exact::penumbra(span, a, b);
        let c = check(id);
        width_10_90(light, &holes, whole, c.expected())
            .times(1.0 / whole)
            .is(c.expected(), 3e-3);
    }
    // In millimetres, the source .6 across; the square's edge is a straight line, the same at any
    // size, but for cosines.
    for (id, face) in [
        ("S2.esf.worked_disk", disk(0.03)),
        ("S2.esf.worked_square", rect(size, size)),
    ] {
        let c = check(id);
        let whole = exact::penumbra(size, a, b);
        width_10_90(small(face, 0.0), &[], whole, c.expected() / 10.0 / whole)
            .times(10.0)
            .is(c.expected(), 3e-3);
    }
    // At its true size, with cosines: from the exact curve.
    let curve = |u: f64| exact::edge_of_near_disk(0.1 * u, 0.3, 2.0, 0.5);
    let expected = exact::width_10_90(curve);
    width_10_90(source(disk(0.3), 2.0, 0.0), &[], 0.2, expected)
        .times(1.0 / 0.2)
        .is(expected, 3e-3);
}

/// Width between tenth and nine tenths (m): readings a little to both sides of where they should be,
/// with a straight line between. `guess` is a share of the whole penumbra.
fn width_10_90(light: Light, holes: &[Mesh], whole: f64, guess: f64) -> Reading {
    let aside = 0.02 * whole;
    let at = 0.5 * guess * whole;
    let xs = [-at - aside, -at + aside, at - aside, at + aside];
    let open = read_at(lit(light, holes), &xs, 32);
    let mut occluders = holes.to_vec();
    occluders.push(half_plane(0.5));
    let shares: Vec<Reading> = read_at(lit(light, &occluders), &xs, 64)
        .into_iter()
        .zip(open)
        .map(|(s, o)| s.over(o))
        .collect();
    let crossing = |i: usize, level: f64| {
        let (low, high) = (shares[i], shares[i + 1]);
        let slope = (high.value - low.value) / (xs[i + 1] - xs[i]);
        Reading {
            value: xs[i] + (level - low.value) / slope,
            error: low.error.hypot(high.error) / 2.0 / slope,
        }
    };
    weighted([(1.0, crossing(2, 0.9)), (-1.0, crossing(0, 0.1))])
}

/// What a camera sees of the same edge on a white floor.
#[test]
fn a_picture_of_an_edge() {
    let light = source(disk(0.3), 2.0, 0.0);
    let seen = |occluders: &[Mesh], x: f64| {
        let mut b = lit(light, occluders);
        let white = b.surface(Surface::Diffuse([1.0; 3]));
        b.mesh(&plate(facing(DVec3::ZERO, DVec3::Z), 20.0, 20.0), white);
        // The black half plane stops light that the floor throws up; from below it all is in view.
        luminance_at(b, DVec3::new(3.0, 0.0, 0.6), DVec3::X * x, 1 << 16)
    };
    for x in [-0.05, 0.0, 0.05] {
        let share = seen(&[half_plane(0.5)], x).over(seen(&[], x));
        share.is_within(exact::edge_of_near_disk(x, 0.3, 2.0, 0.5), 6e-3);
    }
}
