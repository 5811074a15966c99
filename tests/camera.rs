//! The thin lens and the pixels, against textbook optics.

#[path = "common/checks.rs"]
mod checks;

use checks::{check, checks_beginning};
use swatchlight::photometry::lens::*;

const MM: f64 = 1e-3;
const UM: f64 = 1e-6;
const NM: f64 = 1e-9;

/// The lens of the worked example: 85 mm at f/8, focused at 4 m, on 36 mm of 6000 px.
fn portrait_lens() -> ThinLens {
    ThinLens {
        focal_length_m: 85.0 * MM,
        f_number: 8.0,
        focus_m: 4.0,
    }
}

const PITCH_M: f64 = 36.0 * MM / 6000.0;

/// H = f²/(N c) + f, Dn = s(H-f)/(H+s-2f), Df = s(H-f)/(H-s).
#[test]
fn depth_of_field() {
    let c = check("S7.dof.H");
    let lens = ThinLens {
        focal_length_m: c.input("f") * MM,
        f_number: c.input("N"),
        focus_m: check("S7.dof.near").input("s") * MM,
    };
    assert_eq!(lens, portrait_lens());
    let circle = c.input("c") * MM;
    c.assert_close(lens.hyperfocal_m(circle) / MM);
    let depth = lens.depth_of_field(circle);
    check("S7.dof.near").assert_close(depth.near_m / MM);
    check("S7.dof.far").assert_close(depth.far_m / MM);
    check("S7.dof.total").assert_close(depth.total_m() / MM);
    // At its limits a point blurs to just the circle of confusion.
    for limit in [depth.near_m, depth.far_m] {
        assert!((lens.blur_circle_m(limit) / circle - 1.0).abs() < 1e-9);
    }
    assert_eq!(lens.blur_circle_m(lens.focus_m), 0.0);
    let at_hyperfocal = ThinLens {
        focus_m: lens.hyperfocal_m(circle),
        ..lens
    };
    assert_eq!(at_hyperfocal.depth_of_field(circle).far_m, f64::INFINITY);
    assert!(
        (at_hyperfocal.depth_of_field(circle).near_m / (at_hyperfocal.focus_m / 2.0) - 1.0).abs()
            < 1e-9
    );
}

/// Similar triangles.
#[test]
fn field_and_footprint() {
    let lens = portrait_lens();
    check("S7.pitch").assert_close(PITCH_M / UM);
    let footprint = lens.on_subject_m(PITCH_M);
    check("S7.footprint").assert_close(footprint / MM);
    check("S7.nyq_subject").assert_close(subject_nyquist_cycles_per_m(footprint) * MM);
    check("S7.fov").assert_close(lens.on_subject_m(36.0 * MM) / MM);
    // The distance that frames a field is the one that sees it.
    let field = lens.on_subject_m(36.0 * MM);
    assert!((distance_for_field_m(lens.focal_length_m, 36.0 * MM, field) - 4.0).abs() < 1e-12);
    // Angle and field agree at the distance of the subject.
    let half_angle = 0.5 * lens.angle_of_view_rad(36.0 * MM);
    assert!((2.0 * half_angle.tan() * lens.focus_m / field - 1.0).abs() < 1e-9);
    // Gauss' equation holds between subject and image distance.
    let gauss = 1.0 / lens.focus_m + 1.0 / lens.image_distance_m();
    assert!((gauss * lens.focal_length_m - 1.0).abs() < 1e-12);
}

/// N_eff = N (1 + m).
#[test]
fn close_focus() {
    check("S7.effN").assert_close(portrait_lens().effective_f_number());
    let half_size = ThinLens {
        focus_m: 3.0 * 85.0 * MM,
        ..portrait_lens()
    };
    assert!((half_size.magnification() - 0.5).abs() < 1e-12);
    check("S7.bellows.stops").assert_close(half_size.bellows_stops());
}

/// The sampling theorem (Shannon 1949).
#[test]
fn moire() {
    let footprint = portrait_lens().on_subject_m(PITCH_M);
    for id in [
        "S7.alias.plain30",
        "S7.alias.yarn30",
        "S7.alias.denim25",
        "S7.alias.suit28_22twill",
    ] {
        let c = check(id);
        let seen = Alias::of_weave(c.input("period_mm") * MM, footprint);
        c.assert_field("cyc_per_px", seen.cycles_per_px);
        c.assert_field("alias_cyc_per_px", seen.alias_cycles_per_px);
        c.assert_field("alias_period_px", seen.alias_period_px);
        assert_eq!(seen.is_moire(), c.expected_field("cyc_per_px") > 0.5);
    }
    let c = check("S7.alias.distance");
    c.assert_close(distance_for_footprint_m(85.0 * MM, PITCH_M, MM / 6.0) / MM);
    assert_eq!(Alias::of_weave(0.1, 0.1).alias_period_px, f64::INFINITY);
}

/// Airy's disk and the round pupil's transfer function.
#[test]
fn diffraction() {
    let wavelength = 550.0 * NM;
    let nyquist = 0.5 / PITCH_M;
    for c in checks_beginning("S7.mtf.") {
        c.assert_close(diffraction_mtf(nyquist, wavelength, c.input("N")));
    }
    for c in checks_beginning("S7.cutoff.") {
        c.assert_close(diffraction_cutoff_cycles_per_m(wavelength, c.input("N")) * MM);
    }
    for id in ["S7.airy.8", "S7.airy.11", "S7.airy.16", "S7.airy.22"] {
        let c = check(id);
        c.assert_close(airy_diameter_m(wavelength, c.input("N")) / UM);
    }
    check("S7.airy.exact").assert_close(airy_diameter_m(1.0, 1.0));
    check("S7.pixelMTF").assert_close(pixel_mtf(nyquist, PITCH_M));
    assert_eq!(
        (
            pixel_mtf(0.0, PITCH_M),
            diffraction_mtf(0.0, wavelength, 8.0)
        ),
        (1.0, 1.0)
    );
    assert_eq!(diffraction_mtf(1e9, wavelength, 8.0), 0.0);
}
