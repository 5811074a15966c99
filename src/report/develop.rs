//! From linear light to display values: the sum of the layers, the gain, the sRGB curve, a clip.
//! No tone curve and no dither, so that an 18 % card at the metered exposure is 118 exactly.

use super::error::StillError;
use super::picture::{Development, Picture};
use crate::photometry::colour::{encode_srgb8, encode_srgb16};

/// A developed picture: sRGB codes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DisplayImage {
    /// Pixels in a row.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// Which code is full value.
    pub depth: BitDepth,
    /// sRGB codes, row-major from the top left.
    pub codes: Vec<[u16; 3]>,
}

/// Bits per channel of display values.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum BitDepth {
    /// 0 to 255.
    #[default]
    Eight,
    /// 0 to 65535.
    Sixteen,
}

/// Develops a picture: `sRGB(gain * sum of layers)`, clipped at full value. A value that is not a
/// number shows as black.
///
/// # Errors
/// [`StillError::Mismatch`] when a layer has too few or too many pixels.
pub fn develop(
    picture: &Picture,
    development: &Development,
    depth: BitDepth,
) -> Result<DisplayImage, StillError> {
    picture.check()?;
    let pixels = picture.width as usize * picture.height as usize;
    let codes = (0..pixels)
        .map(|index| develop_pixel(picture, index, development, depth))
        .collect();
    Ok(DisplayImage {
        width: picture.width,
        height: picture.height,
        depth,
        codes,
    })
}

/// Develops pixel `index` of a checked picture.
pub(super) fn develop_pixel(
    picture: &Picture,
    index: usize,
    development: &Development,
    depth: BitDepth,
) -> [u16; 3] {
    let total = picture.total(index);
    std::array::from_fn(|channel| {
        let linear = total[channel] * f64::from(development.gain[channel]);
        match depth {
            BitDepth::Eight => u16::from(encode_srgb8(linear)),
            BitDepth::Sixteen => encode_srgb16(linear),
        }
    })
}
