//! Maps as PNG files of 16 bits.

use crate::report::StillError;

/// What the numbers of a map stand for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MapKind {
    /// Colours through the sRGB curve.
    Colour,
    /// Numbers in proportion, three channels.
    Vectors,
    /// Numbers in proportion, one channel.
    Grey,
}

/// The bytes of a PNG file of 16 bits, from numbers 0 to 1; a grey one takes the first of each three.
///
/// # Errors
/// [`StillError::Encode`] where width, height and pixels do not fit together.
pub fn map_png(
    width: usize,
    height: usize,
    kind: MapKind,
    pixels: &[[f32; 3]],
) -> Result<Vec<u8>, StillError> {
    let failed = |why: String| StillError::Encode { format: "PNG", why };
    if width.checked_mul(height) != Some(pixels.len()) {
        return Err(failed(format!(
            "{} pixels for {width} × {height}",
            pixels.len()
        )));
    }
    let size = |n: usize| u32::try_from(n).map_err(|e| failed(e.to_string()));
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, size(width)?, size(height)?);
    encoder.set_depth(png::BitDepth::Sixteen);
    encoder.set_color(match kind {
        MapKind::Grey => png::ColorType::Grayscale,
        MapKind::Colour | MapKind::Vectors => png::ColorType::Rgb,
    });
    match kind {
        MapKind::Colour => {
            encoder.set_source_srgb(png::SrgbRenderingIntent::RelativeColorimetric);
        }
        MapKind::Vectors | MapKind::Grey => {
            encoder.set_source_gamma(png::ScaledFloat::new(1.0));
        }
    }
    let code = |v: f32| (f64::from(v).clamp(0.0, 1.0) * 65535.0).round() as u16;
    let channels = if kind == MapKind::Grey { 1 } else { 3 };
    let data: Vec<u8> = pixels
        .iter()
        .flat_map(|p| p[..channels].iter().flat_map(|v| code(*v).to_be_bytes()))
        .collect();
    let mut writer = encoder.write_header().map_err(|e| failed(e.to_string()))?;
    writer
        .write_image_data(&data)
        .map_err(|e| failed(e.to_string()))?;
    writer.finish().map_err(|e| failed(e.to_string()))?;
    Ok(bytes)
}
