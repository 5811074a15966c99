//! Encoding for display: the sRGB curve and lightness.

/// The sRGB curve of IEC 61966-2-1, from linear to encoded, unclipped above 1. Below 0 it goes on
/// as a straight line.
pub fn srgb_encode(linear: f64) -> f64 {
    if linear <= 0.0031308 {
        12.92 * linear
    } else {
        1.055 * linear.powf(1.0 / 2.4) - 0.055
    }
}

/// The sRGB curve of IEC 61966-2-1, from encoded to linear.
pub fn srgb_decode(encoded: f64) -> f64 {
    if encoded <= 0.04045 {
        encoded / 12.92
    } else {
        ((encoded + 0.055) / 1.055).powf(2.4)
    }
}

/// The 8-bit sRGB code of a linear value, clipped to 0..=255; what is not a number gives 0.
/// Linear 0.18 gives 118.
pub fn encode_srgb8(linear: f64) -> u8 {
    // `as` saturates and takes NaN to 0.
    (srgb_encode(linear) * 255.0).round() as u8
}

/// The 16-bit sRGB code of a linear value, clipped to 0..=65535; what is not a number gives 0.
pub fn encode_srgb16(linear: f64) -> u16 {
    (srgb_encode(linear) * 65535.0).round() as u16
}

/// CIE 1976 lightness L* of a relative luminance (1 for white): 0.18 gives 49.5 (ISO/CIE 11664-4).
pub fn lightness(relative_luminance: f64) -> f64 {
    116.0 * lab_curve(relative_luminance) - 16.0
}

/// The relative luminance of a CIE 1976 lightness.
pub fn luminance_of_lightness(l_star: f64) -> f64 {
    let f = (l_star + 16.0) / 116.0;
    if f > 6.0 / 29.0 {
        f.powi(3)
    } else {
        3.0 * (6.0 / 29.0_f64).powi(2) * (f - 4.0 / 29.0)
    }
}

/// The cube root with a straight foot that CIELAB is built on.
pub(super) fn lab_curve(t: f64) -> f64 {
    const DELTA: f64 = 6.0 / 29.0;
    if t > DELTA.powi(3) {
        t.cbrt()
    } else {
        t / (3.0 * DELTA * DELTA) + 4.0 / 29.0
    }
}
