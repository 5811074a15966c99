//! The oracles of `common/closed_forms.rs`, against published and independently computed values.

#[path = "common/checks.rs"]
mod checks;
#[path = "common/closed_forms.rs"]
mod closed_forms;

use std::f64::consts::PI;

use checks::{check, checks_beginning};
use closed_forms::*;

/// Howell B-12, B-13, B-14; Siegel and Howell.
#[test]
fn disks() {
    for c in checks_beginning("S2.disk.axis_") {
        c.assert_close(disk_on_axis(c.input("R"), c.input("d")));
    }
    for c in checks_beginning("S2.disk.off_") {
        c.assert_close(disk_off_axis(c.input("R"), c.input("h"), c.input("a")));
    }
    for c in checks_beginning("S2.disk.perp_") {
        c.assert_close(disk_at_right_angles(
            c.input("R"),
            c.input("h"),
            c.input("a"),
        ));
    }
    // A disk is a polygon of many sides (with the disk's own area).
    let sides = 4000;
    let polygon_of = |r: f64, centre: [f64; 3]| -> Vec<[f64; 3]> {
        let r = r * (2.0 * PI / sides as f64 / (2.0 * PI / sides as f64).sin()).sqrt();
        (0..sides)
            .map(|i| 2.0 * PI * f64::from(i) / f64::from(sides))
            .map(|t| [centre[0] + r * t.cos(), centre[1] + r * t.sin(), centre[2]])
            .collect()
    };
    let off = polygon(&polygon_of(0.5, [1.0, 0.0, 1.0]), [0.0; 3], [0.0, 0.0, 1.0]);
    check("S2.disk.off_R0_5_h1_a1").assert_close(off);
    let perp = polygon(&polygon_of(0.5, [1.0, 0.0, 1.0]), [0.0; 3], [1.0, 0.0, 0.0]);
    check("S2.disk.perp_R0_5_h1_a1").assert_close(perp);
}

/// Howell B-4.
#[test]
fn rectangles() {
    for c in checks_beginning("S2.rect.square1_") {
        c.assert_close(rectangle_on_axis(c.input("s"), c.input("s"), c.input("d")));
    }
    let c = check("S2.rect.1p2x0p9_d1p5");
    c.assert_close(rectangle_on_axis(c.input("w"), c.input("h"), c.input("d")));
    let c = check("S2.rect.corner_1_1_1");
    c.assert_close(rectangle_over_corner(
        c.input("a"),
        c.input("b"),
        c.input("c"),
    ));
    let c = check("S2.near.E_limit");
    c.assert_close(PI * c.input("L") * rectangle_on_axis(1e3, 1e3, 1e-3));
}

/// Lambert 1760; Howell B-5.
#[test]
fn polygons() {
    let c = check("S2.rect.perp_window");
    c.assert_close(polygon(
        &c.input_points("rect"),
        [0.0; 3],
        c.input_points("n")[0],
    ));
    for id in ["S2.poly.up", "S2.poly.front", "S2.poly.tilt"] {
        let c = check(id);
        c.assert_close(polygon(
            &c.input_points("verts"),
            [0.0; 3],
            c.input_points("n")[0],
        ));
    }
    // The same window cut off at the horizon by hand is what clipping must give; without it comes
    // the control's wrong value.
    let c = check("S2.poly.horizon_wrong");
    let window = c.input_points("verts");
    c.assert_close(polygon_unclipped(&window, [0.0; 3], [0.0, 0.0, 1.0]));
    let clipped = polygon(&window, [0.0; 3], [0.0, 0.0, 1.0]);
    let by_hand = [
        [-0.5, 1.0, 0.0],
        [0.5, 1.0, 0.0],
        [0.5, 1.0, 0.7],
        [-0.5, 1.0, 0.7],
    ];
    assert!((clipped - polygon_unclipped(&by_hand, [0.0; 3], [0.0, 0.0, 1.0])).abs() < 1e-12);
    assert!(
        (clipped - c.expected()).abs() > 0.02,
        "clipping made no difference"
    );
    assert_eq!(
        polygon(&window, [0.0; 3], [0.0, -1.0, 0.0]),
        0.0,
        "a window behind gives nothing"
    );
}

/// Howell B-16 family; Juul 1979; Martínez.
#[test]
fn spheres() {
    for c in checks_beginning("S2.sphere.") {
        c.assert_close(sphere(
            c.input("R"),
            c.input("d"),
            c.input("theta_deg").to_radians(),
        ));
    }
    // Cut and whole agree where one turns into the other, and the cut form ends at nothing.
    let half_angle = 0.25_f64.asin();
    let at = PI / 2.0 - half_angle;
    assert!((sphere(0.25, 1.0, at - 1e-7) - sphere(0.25, 1.0, at + 1e-7)).abs() < 1e-7);
    assert!(sphere(0.25, 1.0, PI / 2.0 + half_angle - 1e-4) < 1e-6);
}

#[test]
fn tubes_and_lines() {
    let c = check("S2.tube.finite");
    let (r, d, l) = (c.input("r"), c.input("d"), c.input("half_len"));
    c.assert_close(tube(r, d, l));
    check("S2.tube.ratio").assert_close(tube(r, d, l) / tube_endless(r, d));
    let c = check("S2.line.isotropic");
    c.assert_close(line_of_points_lx(
        c.input("I_per_m"),
        c.input("half_len"),
        c.input("d"),
    ));
    // By eye: a tube as a strip of its width turned to the receptor is off only by second order in
    // r/d.
    let strip = rectangle_on_axis(2.0 * r, 2.0 * l, d);
    assert!((strip / tube(r, d, l) - 1.0).abs() < 2e-4);
}

/// The five-times rule (IES Lighting Handbook).
#[test]
fn five_times_rule() {
    let far_disk = |d: f64| disk_on_axis(1.0, d) / (1.0 / (d * d));
    let c = check("S2.five.disk_5D");
    c.assert_close(far_disk(c.input("d_over_R")));
    check("S2.five.disk_5D_stops").assert_close(far_disk(10.0).log2());
    let far_square = |d: f64| rectangle_on_axis(1.0, 1.0, d) * PI * d * d;
    check("S2.five.square_5s").assert_close(far_square(5.0));
    check("S2.five.square_5diag").assert_close(far_square(5.0 * 2.0_f64.sqrt()));
    for id in [
        "S2.five.disk_err_1pct",
        "S2.five.disk_err_5pct",
        "S2.five.disk_err_10pct",
    ] {
        let c = check(id);
        c.assert_close(root(1.0, 100.0, |d| 1.0 / far_disk(d) - 1.0 - c.input("e")));
    }
    check("S2.five.disk_err_tenthstop")
        .assert_close(root(1.0, 100.0, |d| -far_disk(d).log2() - 0.1));
}

#[test]
fn solid_angles() {
    let c = check("S2.omega.disk");
    c.assert_close(solid_angle_of_disk(c.input("R"), c.input("d")));
    check("S2.omega.square").assert_close(solid_angle_of_rectangle(1.0, 1.0, 1.0));
    let octant = solid_angle_of_triangle([1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]);
    check("S2.omega.tri").assert_close(octant);
}

/// Values printed in a heat-transfer library's examples, citing Siegel and Howell, Chapman, and
/// Howell; Howell C-11, C-41.
#[test]
fn between_surfaces() {
    check("S2.vf.f3d_1").assert_close(between_facing_rectangles(1.0, 1.5, 0.5));
    check("S2.vf.f3d_14").assert_close(between_facing_rectangles(0.1, 0.1, 0.05));
    check("S2.vf.unit_parallel").assert_close(between_facing_rectangles(1.0, 1.0, 1.0));
    check("S2.vf.f3d_3").assert_close(between_coaxial_disks(0.1, 0.2, 0.5));
    check("S2.vf.coax_unit").assert_close(between_coaxial_disks(1.0, 1.0, 1.0));

    let (x, y, up) = ([1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]);
    // Squares inclined by 45°, the second from 1 to 2 along the slope.
    let c45 = 0.5_f64.sqrt();
    let slope = [
        [0.0, c45, c45],
        [1.0, c45, c45],
        [1.0, 2.0 * c45, 2.0 * c45],
        [0.0, 2.0 * c45, 2.0 * c45],
    ];
    check("S2.vf.f3d_30").assert_close(between_areas([0.0; 3], x, y, up, &slope));
    // Floor to a wall with a gap below it.
    let wall = [
        [0.0, 0.0, 0.2],
        [0.5, 0.0, 0.2],
        [0.5, 0.0, 0.5],
        [0.0, 0.0, 0.5],
    ];
    let c = check("S2.vf.f3d_10");
    c.assert_close(between_areas(
        [0.0; 3],
        [0.5, 0.0, 0.0],
        [0.0, 0.5, 0.0],
        up,
        &wall,
    ));
    // A cube is closed: the opposite face and four at the sides take everything. The four are found
    // by quadrature, which is worse where the faces touch, so they have a tolerance of their own.
    let side = [
        [0.0, 0.0, 0.0],
        [1.0, 0.0, 0.0],
        [1.0, 0.0, 1.0],
        [0.0, 0.0, 1.0],
    ];
    let adjacent = between_areas([0.0; 3], x, y, up, &side);
    let sum = between_facing_rectangles(1.0, 1.0, 1.0) + 4.0 * adjacent;
    assert!(
        (sum - check("S2.vf.cube_sum").expected()).abs() < 2e-5,
        "{sum}"
    );
}

#[test]
fn penumbras() {
    let c = check("S2.pen.width");
    c.assert_close(penumbra(c.input("D"), c.input("a"), c.input("b")));
    let c = check("S2.pen.umbra");
    let (source, w, a, b) = (c.input("D"), c.input("w"), c.input("a"), c.input("b"));
    c.assert_close(umbra(source, w, a, b));
    check("S2.pen.total").assert_close(umbra(source, w, a, b) + 2.0 * penumbra(source, a, b));
    let c = check("S2.pen.sun");
    let sun = 2.0 * (0.533_f64.to_radians() / 2.0).tan();
    c.assert_close(penumbra(sun, 1.0, c.input("b")));
}

#[test]
fn shadow_edges() {
    check("S2.esf.disk_x90").assert_close(crossing(edge_of_disk, 0.9));
    check("S2.esf.disk_1090").assert_close(width_10_90(edge_of_disk));
    check("S2.esf.diamond_1090").assert_close(width_10_90(edge_of_diamond));
    check("S2.esf.ring_1090").assert_close(width_10_90(edge_of_ring));
    check("S2.esf.annulus_half_1090").assert_close(width_10_90(|u| edge_of_annulus(u, 0.5)));
    let whole = penumbra(0.6, 1.5, 0.5);
    check("S2.esf.worked_disk").assert_close(whole * width_10_90(edge_of_disk));
    check("S2.esf.worked_square").assert_close(whole * width_10_90(edge_of_square));
}

/// Exact against an independent quadrature and a general-purpose renderer; near the small-angle
/// curve.
#[test]
fn shadow_edges_near_the_source() {
    for c in checks_beginning("S2.esf.finite_") {
        let (r, z, z_edge) = (c.input("R"), c.input("z_src"), c.input("z_edge"));
        let exact = edge_of_near_disk(c.input("x"), r, z, z_edge);
        c.assert_close(exact);
        let half_penumbra = 0.5 * penumbra(2.0 * r, z - z_edge, z_edge);
        assert!((exact - edge_of_disk(c.input("x") / half_penumbra)).abs() < 0.005);
    }
    for c in checks_beginning("S2.mi.edge_") {
        c.assert_close(edge_of_near_disk(c.input("x"), 0.3, 2.0, 0.5));
    }
    assert_eq!(edge_of_near_disk(-0.11, 0.3, 2.0, 0.5), 0.0);
    assert_eq!(edge_of_near_disk(0.11, 0.3, 2.0, 0.5), 1.0);
}

/// A dome reads half of the solid angle plus the illuminance vector.
#[test]
fn domes_before_disks() {
    for c in checks_beginning("S1.recv.dome_disk_") {
        c.assert_close(dome_of_disk(
            c.input("R"),
            c.input("d"),
            c.input("angle_deg").to_radians(),
        ));
    }
}

/// Inverse square and cosine law (Lambert 1760; IES Lighting Handbook).
#[test]
fn fall_off() {
    for c in checks_beginning("S3.inv.") {
        c.assert_close(inverse_square_stops(c.input("d1"), c.input("d2")));
    }
    for c in checks_beginning("S3.ht.aim_") {
        let z = c.input_all("z");
        c.assert_close(head_to_toe_aimed_stops(
            c.input("D"),
            c.input("h_light"),
            z[0],
            z[1],
        ));
    }
    for c in checks_beginning("S3.ht.vert_") {
        let z = c.input_all("z");
        c.assert_close(head_to_toe_upright_stops(
            c.input("D"),
            c.input("h_light"),
            z[0],
            z[1],
        ));
    }
    let c = check("S3.ht.mid");
    c.assert_close(head_to_toe_aimed_stops(
        c.input("D"),
        c.input("h_light"),
        1.6,
        0.1,
    ));
    let third = 1.0 / 3.0;
    check("S3.ht.D_third_aim").assert_close(root(1.0, 10.0, |d| {
        head_to_toe_aimed_stops(d, 2.0, 1.6, 0.1) - third
    }));
    check("S3.ht.D_third_vert").assert_close(root(1.0, 10.0, |d| {
        head_to_toe_upright_stops(d, 2.0, 1.6, 0.1) - third
    }));
    for c in checks_beginning("S3.bg.") {
        c.assert_close(inverse_square_stops(c.input("D"), c.input("D") + 2.0));
    }
}

#[test]
fn panels_head_to_toe() {
    let down_the_figure = |w: f64, h: f64, centre: f64, d: f64| {
        let panel = upright_panel([0.0, d, centre], w, h, 0.0);
        [1.60, 0.85, 0.10].map(|z| polygon(&panel, [0.0, 0.0, z], [0.0, 1.0, 0.0]))
    };
    let c = check("S3.area.strip0p4x1p8_D1p5");
    c.assert_close_all(&down_the_figure(
        c.input("w"),
        c.input("h"),
        c.input("z_centre"),
        c.input("D"),
    ));
    let square = down_the_figure(1.2, 1.2, 1.5, 1.5);
    check("S3.area.square1p2_D1p5_stops").assert_close((square[0] / square[2]).log2());
}

#[test]
fn feathering() {
    let c = check("S3.feather.alpha_equal");
    let (d_a, d_b, between) = (
        c.input("dA"),
        c.input("dB"),
        c.input("gamma_deg").to_radians(),
    );
    let even = feather_for_even_rad(d_a, d_b, between);
    c.assert_close(even.to_degrees());
    check("S3.feather.alpha_closed")
        .assert_close(root(0.0, 1.5, |axis| feathered_stops(d_a, d_b, between, axis)).to_degrees());
    check("S3.feather.loss").assert_close(-even.cos().log2());
    for c in checks_beginning("S3.feather.diff_") {
        c.assert_close(feathered_stops(
            d_a,
            d_b,
            between,
            c.input("alpha_deg").to_radians(),
        ));
    }
    for c in checks_beginning("S3.feather.panel_") {
        let panel = upright_panel([0.0, 1.5, 0.0], 1.0, 1.0, c.input("alpha_deg").to_radians());
        c.assert_close_all(
            &[-0.4, 0.0, 0.4].map(|x| polygon(&panel, [x, 0.0, 0.0], [0.0, 1.0, 0.0])),
        );
    }
}
