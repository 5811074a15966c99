//! Pages with pictures on them as files: PNG, JPEG, SVG.

use super::drawing::{Drawing, DrawingFormat, raster, write_drawing};
use super::error::StillError;
use super::whole_file::WholeFile;
use image::ExtendedColorType;
use image::codecs::jpeg::JpegEncoder;
use std::io::Write;
use std::path::Path;

/// 200 to the inch, near enough.
const PIXELS_PER_MM: f64 = 8.0;
/// Of a JPEG: no block is seen in plain paper.
const QUALITY: u8 = 92;

/// What a page can be written as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PageFormat {
    /// Pixels, exactly.
    Png,
    /// Pixels, in a smaller file.
    Jpeg,
    /// Lines and letters, with pictures in it.
    Svg,
}

impl PageFormat {
    /// By the ending of a file's name; `None` for any other.
    pub fn from_path(path: &Path) -> Option<Self> {
        let ending = path.extension()?.to_str()?.to_ascii_lowercase();
        match ending.as_str() {
            "jpg" | "jpeg" => Some(Self::Jpeg),
            _ => DrawingFormat::from_path(path).map(|format| match format {
                DrawingFormat::Png => Self::Png,
                DrawingFormat::Svg => Self::Svg,
            }),
        }
    }
}

/// Writes a page into an opened file and puts that in its place.
///
/// # Errors
/// As [`WholeFile::commit`], and [`StillError::Encode`] for a page too large for pixels.
pub fn write_page(file: WholeFile, format: PageFormat, page: &Drawing) -> Result<(), StillError> {
    match format {
        PageFormat::Png => write_drawing(file, DrawingFormat::Png, page),
        PageFormat::Svg => write_drawing(file, DrawingFormat::Svg, page),
        PageFormat::Jpeg => {
            let bytes = jpeg(page)?;
            file.writer()
                .write_all(&bytes)
                .map_err(|e| StillError::from_io("write", file.path(), file.failure_or(e)))?;
            file.commit()
        }
    }
}

fn jpeg(page: &Drawing) -> Result<Vec<u8>, StillError> {
    let raster = raster(page, PIXELS_PER_MM)?;
    let rows = raster.pixels.len() / raster.columns.max(1);
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, QUALITY)
        .encode(
            raster.pixels.as_flattened(),
            raster.columns as u32,
            rows as u32,
            ExtendedColorType::Rgb8,
        )
        .map_err(|e| StillError::Encode {
            format: "JPEG",
            why: e.to_string(),
        })?;
    Ok(bytes)
}
