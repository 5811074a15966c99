//! CIELAB and the CIEDE2000 colour difference.

use super::chromaticity::Chromaticity;
use super::transfer::lab_curve;

/// CIELAB (L*, a*, b*) of an XYZ colour under a white with Y = 1 (ISO/CIE 11664-4).
pub fn lab_from_xyz(xyz: [f64; 3], white: Chromaticity) -> [f64; 3] {
    let white = white.xyz();
    let [fx, fy, fz] = std::array::from_fn(|i| lab_curve(xyz[i] / white[i]));
    [116.0 * fy - 16.0, 500.0 * (fx - fy), 200.0 * (fy - fz)]
}

/// The CIEDE2000 difference of two CIELAB colours, with all weights 1 (ISO/CIE 11664-6).
///
/// Follows Sharma, Wu and Dalal 2005, whose supplementary pairs it reproduces; the equation numbers
/// are theirs.
pub fn ciede2000(lab_1: [f64; 3], lab_2: [f64; 3]) -> f64 {
    let ([l1, a1, b1], [l2, a2, b2]) = (lab_1, lab_2);
    // Stretch a* near grey (eqs. 2-7).
    let mean_chroma = 0.5 * (a1.hypot(b1) + a2.hypot(b2));
    let g = 0.5 * (1.0 - chroma_7(mean_chroma));
    let (a1, a2) = ((1.0 + g) * a1, (1.0 + g) * a2);
    let (c1, c2) = (a1.hypot(b1), a2.hypot(b2));
    let (h1, h2) = (hue_deg(a1, b1), hue_deg(a2, b2));
    // Take differences (eqs. 8-11).
    let neutral = c1 * c2 == 0.0;
    let hue_step = match h2 - h1 {
        _ if neutral => 0.0,
        step if step > 180.0 => step - 360.0,
        step if step < -180.0 => step + 360.0,
        step => step,
    };
    let d_hue = 2.0 * (c1 * c2).sqrt() * (hue_step.to_radians() / 2.0).sin();
    // Take means (eqs. 12-14).
    let (l_mean, c_mean) = (0.5 * (l1 + l2), 0.5 * (c1 + c2));
    let h_mean = match h1 + h2 {
        sum if neutral => sum,
        sum if (h1 - h2).abs() <= 180.0 => 0.5 * sum,
        sum if sum < 360.0 => 0.5 * (sum + 360.0),
        sum => 0.5 * (sum - 360.0),
    };
    // Weigh (eqs. 15-22).
    let cos_deg = |deg: f64| deg.to_radians().cos();
    let t = 1.0 - 0.17 * cos_deg(h_mean - 30.0)
        + 0.24 * cos_deg(2.0 * h_mean)
        + 0.32 * cos_deg(3.0 * h_mean + 6.0)
        - 0.20 * cos_deg(4.0 * h_mean - 63.0);
    let l_50 = (l_mean - 50.0).powi(2);
    let s_l = 1.0 + 0.015 * l_50 / (20.0 + l_50).sqrt();
    let s_c = 1.0 + 0.045 * c_mean;
    let s_h = 1.0 + 0.015 * c_mean * t;
    let rotation_deg = 60.0 * (-((h_mean - 275.0) / 25.0).powi(2)).exp();
    let r_t = -rotation_deg.to_radians().sin() * 2.0 * chroma_7(c_mean);
    let (dl, dc, dh) = ((l2 - l1) / s_l, (c2 - c1) / s_c, d_hue / s_h);
    (dl * dl + dc * dc + dh * dh + r_t * dc * dh)
        .max(0.0)
        .sqrt()
}

/// `√(C⁷ / (C⁷ + 25⁷))`.
fn chroma_7(chroma: f64) -> f64 {
    let c7 = chroma.powi(7);
    (c7 / (c7 + 25.0_f64.powi(7))).sqrt()
}

/// Hue angle, 0 to 360°; 0 for neutral.
fn hue_deg(a: f64, b: f64) -> f64 {
    b.atan2(a).to_degrees().rem_euclid(360.0)
}
