//! The light of each lamp, packed for a page that mixes the picture anew.
//!
//! A layer is what a lamp of white light, set as planned, gives the finished picture: display-linear, 1 is
//! white. The picture is the sum of layer × colour × 2^stops, through the sRGB curve and nothing else, as
//! [`crate::report::develop()`] does it.
//!
//! Values keep an exponent and seven bits after the point, so that each is within 1/256 of itself, and so is
//! their sum: at white 0.44 of an 8-bit code, less below. After rounding no code is more than one off. What
//! is packed are planes of green, of red less green and of blue less green, as differences from the mean of
//! what is left and above, their low and high bytes apart, as a zlib stream (RFC 1950).

use crate::measure::take::Take;
use crate::photometry::colour::light::{LightKind, linear_srgb_through_gel};
use crate::report::error::StillError;
use crate::report::picture::Picture;
use crate::setup::Light;

/// From a float's bits to a code: the exponent and seven bits after the point.
pub(super) const SHIFT: u32 = 16;
/// The code of 2^-20, less one: smaller values are no light, a three-hundredth of an 8-bit code.
pub(super) const OFFSET: u32 = (127 - 20) * 128 - 1;

/// Colour temperatures that a slider offers: least, most, step.
pub const KELVINS: [u32; 3] = [2_500, 10_000, 50];

/// A picture that can be mixed anew.
#[derive(Debug, Clone, PartialEq)]
pub struct Live {
    /// Pixels in a row.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// A layer for each light that is on.
    pub layers: Vec<LiveLayer>,
}

/// What one light gives.
#[derive(Debug, Clone, PartialEq)]
pub struct LiveLayer {
    /// The light's name.
    pub name: String,
    /// Its lamp's colour temperature as planned.
    pub kelvin: f64,
    /// Its colour as planned, through gel and filter: linear sRGB.
    pub colour: [f64; 3],
    /// The same for lamps of each of [`KELVINS`].
    pub colours: Vec<[f64; 3]>,
    /// What it gives if it were white: display-linear.
    pub light: Vec<[f32; 3]>,
}

impl Live {
    /// Takes the colours out of a mixed picture's layers.
    ///
    /// # Errors
    /// [`StillError::Mismatch`] for a picture that has not a layer for each light.
    pub(super) fn new(take: &Take, picture: &Picture) -> Result<Self, StillError> {
        picture.check()?;
        let setup = &take.setup;
        if picture.layers.len() != setup.lights.len() {
            return Err(StillError::Mismatch(format!(
                "the picture has {} layers, the setup {} lights",
                picture.layers.len(),
                setup.lights.len()
            )));
        }
        let gain = take.development.gain;
        let layers = setup
            .lights
            .iter()
            .zip(&picture.layers)
            .zip(&take.studio.light_rgb)
            .filter(|((light, _), _)| light.on);
        let layers = layers.map(|((light, layer), colour)| {
            // A channel that the filter stops has no light in it to begin with.
            let by: [f64; 3] = std::array::from_fn(|c| {
                if colour[c] > 0.0 {
                    f64::from(gain[c]) / colour[c]
                } else {
                    0.0
                }
            });
            LiveLayer {
                name: light.name.clone(),
                kelvin: light.colour.kelvin,
                colour: *colour,
                colours: colours(light, *colour),
                light: layer
                    .rgb
                    .iter()
                    .map(|rgb| std::array::from_fn(|c| (f64::from(rgb[c]) * by[c]) as f32))
                    .collect(),
            }
        });
        Ok(Self {
            width: picture.width,
            height: picture.height,
            layers: layers.collect(),
        })
    }

    /// All layers, packed one after the other.
    pub(super) fn packed(&self) -> Vec<u8> {
        let pixels = self.width as usize * self.height as usize;
        let mut bytes = Vec::with_capacity(6 * pixels * self.layers.len());
        for layer in &self.layers {
            let codes: Vec<[i32; 3]> = layer.light.iter().map(|v| v.map(code)).collect();
            let planes: [fn(&[i32; 3]) -> i32; 3] = [|c| c[1], |c| c[0] - c[1], |c| c[2] - c[1]];
            for plane in planes {
                let values: Vec<i32> = codes.iter().map(plane).collect();
                let steps = steps(&values, self.width as usize);
                bytes.extend(steps.iter().map(|s| *s as u8));
                bytes.extend(steps.iter().map(|s| (*s >> 8) as u8));
            }
        }
        miniz_oxide::deflate::compress_to_vec_zlib(&bytes, 9)
    }
}

fn colours(light: &Light, own: [f64; 3]) -> Vec<[f64; 3]> {
    let [least, most, step] = KELVINS;
    (least..=most)
        .step_by(step as usize)
        .map(|kelvin| {
            let c = &light.colour;
            let through = linear_srgb_through_gel(f64::from(kelvin), LightKind::Auto, c.gel_mired);
            // Where a gel takes a lamp out of reach, its own colour stays.
            through.map_or(own, |tint| {
                std::array::from_fn(|i| (tint[i] * c.filter[i]).max(0.0))
            })
        })
        .collect()
}

/// A value's code; 0 for no light.
fn code(value: f32) -> i32 {
    let at_least_none = if value > 0.0 { value } else { 0.0 };
    let rounded = (at_least_none.min(65_504.0).to_bits() + (1 << (SHIFT - 1))) >> SHIFT;
    rounded.saturating_sub(OFFSET) as i32
}

/// What differs from the mean of what is left and above; small steps up and down as small numbers.
fn steps(values: &[i32], width: usize) -> Vec<u16> {
    let step = |(i, value): (usize, &i32)| {
        let left = (!i.is_multiple_of(width)).then(|| values[i - 1]);
        let above = (i >= width).then(|| values[i - width]);
        let expected = match (left, above) {
            (Some(left), Some(above)) => (left + above) >> 1,
            (Some(one), None) | (None, Some(one)) => one,
            (None, None) => 0,
        };
        let step = value - expected;
        ((step << 1) ^ (step >> 31)) as u16
    };
    values.iter().enumerate().map(step).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn value(code: i32) -> f32 {
        match code {
            0 => 0.0,
            code => f32::from_bits((code as u32 + OFFSET) << SHIFT),
        }
    }

    #[test]
    fn values_are_kept_to_one_in_256() {
        let mut v = 1.1e-6_f32;
        while v < 60_000.0 {
            let kept = value(code(v));
            assert!((kept / v - 1.0).abs() <= 1.0 / 256.0 + 1e-6, "{v} {kept}");
            v *= 1.0071;
        }
        for none in [0.0, -1.0, f32::NAN, 1e-8] {
            assert_eq!(value(code(none)), 0.0);
        }
        assert!(value(code(f32::INFINITY)).is_finite());
    }

    #[test]
    fn packing_loses_nothing_but_that() {
        let light: Vec<[f32; 3]> = (0..12)
            .map(|i| [0.1 + i as f32, 3.0 / (1.0 + i as f32), 0.0])
            .collect();
        let live = Live {
            width: 4,
            height: 3,
            layers: vec![LiveLayer {
                name: "a".into(),
                kelvin: 5600.0,
                colour: [1.0; 3],
                colours: Vec::new(),
                light: light.clone(),
            }],
        };
        let bytes =
            miniz_oxide::inflate::decompress_to_vec_zlib(&live.packed()).expect("a zlib stream");
        assert_eq!(bytes.len(), 6 * 12);
        let plane = |p: usize| -> Vec<i32> {
            let mut out: Vec<i32> = Vec::new();
            for i in 0..12 {
                let at = p * 24 + i;
                let folded = i32::from(bytes[at]) | i32::from(bytes[at + 12]) << 8;
                let step = (folded >> 1) ^ -(folded & 1);
                let expected = match (i % 4, i / 4) {
                    (0, 0) => 0,
                    (_, 0) => out[i - 1],
                    (0, _) => out[i - 4],
                    _ => (out[i - 1] + out[i - 4]) >> 1,
                };
                out.push(expected + step);
            }
            out
        };
        let (green, red, blue) = (plane(0), plane(1), plane(2));
        for (i, rgb) in light.iter().enumerate() {
            let codes = [red[i] + green[i], green[i], blue[i] + green[i]];
            assert_eq!(codes, rgb.map(code), "pixel {i}");
        }
    }
}
