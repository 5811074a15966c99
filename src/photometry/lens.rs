//! The thin lens, and what pixels make of a fine cloth.
//!
//! Distances run from the front principal plane, in metres. Textbook optics: Gauss' equation,
//! similar triangles, the circular pupil's diffraction.

use std::f64::consts::PI;

/// A thin lens focused at a distance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ThinLens {
    /// Focal length, m.
    pub focal_length_m: f64,
    /// The marked f-number.
    pub f_number: f64,
    /// Distance of the plane in focus, m; more than the focal length.
    pub focus_m: f64,
}

/// The span of distances that looks sharp.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DepthOfField {
    /// Near limit, m.
    pub near_m: f64,
    /// Far limit, m; infinite from the hyperfocal distance on.
    pub far_m: f64,
}

impl DepthOfField {
    /// From near to far limit, m.
    pub fn total_m(&self) -> f64 {
        self.far_m - self.near_m
    }
}

impl ThinLens {
    /// Magnification of the plane in focus: `m = f / (s - f)`.
    pub fn magnification(&self) -> f64 {
        self.focal_length_m / (self.focus_m - self.focal_length_m)
    }

    /// Distance from lens to sensor: `f (1 + m)`, m.
    pub fn image_distance_m(&self) -> f64 {
        self.focal_length_m * (1.0 + self.magnification())
    }

    /// The f-number that counts for exposure and blur up close: `N (1 + m)`.
    pub fn effective_f_number(&self) -> f64 {
        self.f_number * (1.0 + self.magnification())
    }

    /// The light lost to focusing close, against infinity: `2 log2(1 + m)` stops.
    pub fn bellows_stops(&self) -> f64 {
        2.0 * (1.0 + self.magnification()).log2()
    }

    /// Diameter of the entrance pupil: `f / N`, m.
    pub fn aperture_diameter_m(&self) -> f64 {
        self.focal_length_m / self.f_number
    }

    /// The length in the plane in focus that fills a length on the sensor, m. With a sensor side it
    /// gives the field, with the pixel pitch the footprint of a pixel.
    pub fn on_subject_m(&self, on_sensor_m: f64) -> f64 {
        on_sensor_m / self.magnification()
    }

    /// The angle that a sensor side sees, `2 atan(side / 2v)` with v the image distance, rad.
    pub fn angle_of_view_rad(&self, side_m: f64) -> f64 {
        2.0 * (side_m / (2.0 * self.image_distance_m())).atan()
    }

    /// The hyperfocal distance for a circle of confusion: `H = f²/(N c) + f`, m.
    pub fn hyperfocal_m(&self, circle_m: f64) -> f64 {
        self.focal_length_m.powi(2) / (self.f_number * circle_m) + self.focal_length_m
    }

    /// Depth of field for a circle of confusion on the sensor:
    /// `near = s (H - f)/(H + s - 2f)`, `far = s (H - f)/(H - s)`.
    pub fn depth_of_field(&self, circle_m: f64) -> DepthOfField {
        let (f, s, h) = (
            self.focal_length_m,
            self.focus_m,
            self.hyperfocal_m(circle_m),
        );
        DepthOfField {
            near_m: s * (h - f) / (h + s - 2.0 * f),
            far_m: if s < h {
                s * (h - f) / (h - s)
            } else {
                f64::INFINITY
            },
        }
    }

    /// The blur circle on the sensor of a point at a distance: `(f/N) m |d - s| / d`, m.
    pub fn blur_circle_m(&self, distance_m: f64) -> f64 {
        self.aperture_diameter_m() * self.magnification() * (distance_m - self.focus_m).abs()
            / distance_m
    }
}

/// The distance at which a sensor side takes in a given length of subject: `s = f (1 +
/// field/side)`, m.
pub fn distance_for_field_m(focal_length_m: f64, side_m: f64, field_m: f64) -> f64 {
    focal_length_m * (1.0 + field_m / side_m)
}

/// The distance at which a pixel covers a given length of subject, m. A weave of period p sits on
/// the sampling limit where a pixel covers p/2.
pub fn distance_for_footprint_m(focal_length_m: f64, pitch_m: f64, footprint_m: f64) -> f64 {
    distance_for_field_m(focal_length_m, pitch_m, footprint_m)
}

/// The finest frequency on the subject that pixels can hold: `1 / (2 footprint)`, cycles/m.
pub fn subject_nyquist_cycles_per_m(footprint_m: f64) -> f64 {
    0.5 / footprint_m
}

/// A weave as the pixels see it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Alias {
    /// The weave's own frequency, cycles per pixel; over 0.5 it cannot be held.
    pub cycles_per_px: f64,
    /// The frequency that shows, cycles per pixel: 0 to 0.5.
    pub alias_cycles_per_px: f64,
    /// The period that shows, px; infinite where the weave beats exactly with the pixels.
    pub alias_period_px: f64,
}

impl Alias {
    /// The weave period and the footprint of a pixel on it, both in m. Sampling folds every
    /// frequency f to `|f - round(f)|` cycles per pixel (Shannon 1949).
    pub fn of_weave(period_m: f64, footprint_m: f64) -> Self {
        let cycles_per_px = footprint_m / period_m;
        let alias_cycles_per_px = (cycles_per_px - cycles_per_px.round()).abs();
        Self {
            cycles_per_px,
            alias_cycles_per_px,
            alias_period_px: alias_cycles_per_px.recip(),
        }
    }

    /// Whether what shows is a false pattern (moiré) and not the weave.
    pub fn is_moire(&self) -> bool {
        self.cycles_per_px > 0.5
    }
}

/// Diameter of the Airy disk's first dark ring: `2 × 1.21967 λ N`, m.
pub fn airy_diameter_m(wavelength_m: f64, f_number: f64) -> f64 {
    // The first zero of the Bessel function J1, 3.8317060, over π.
    2.0 * 1.219_669_891_266_504_5 * wavelength_m * f_number
}

/// The frequency beyond which a lens passes nothing: `1 / (λ N)`, cycles/m on the sensor.
pub fn diffraction_cutoff_cycles_per_m(wavelength_m: f64, f_number: f64) -> f64 {
    1.0 / (wavelength_m * f_number)
}

/// Contrast that a perfect lens with a round pupil leaves at a frequency on the sensor:
/// `(2/π)(acos s - s √(1 - s²))`, s the frequency over the cut-off; 0 beyond it.
pub fn diffraction_mtf(cycles_per_m: f64, wavelength_m: f64, f_number: f64) -> f64 {
    let s = (cycles_per_m / diffraction_cutoff_cycles_per_m(wavelength_m, f_number)).min(1.0);
    2.0 / PI * (s.acos() - s * (1.0 - s * s).sqrt())
}

/// Contrast that square pixels with no gaps leave at a frequency: `|sinc(f pitch)|`.
pub fn pixel_mtf(cycles_per_m: f64, pitch_m: f64) -> f64 {
    let x = PI * cycles_per_m * pitch_m;
    if x == 0.0 { 1.0 } else { (x.sin() / x).abs() }
}
