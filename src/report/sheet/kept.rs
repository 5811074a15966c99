//! A sheet's pictures as text, so that a sheet can be kept and set on paper later: PNG in base64 (RFC 4648).

use super::content::Image;
use crate::report::drawing::Colour;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use image::{ExtendedColorType, ImageEncoder};
use serde::{Deserialize, Serialize};

/// [`Image`] as it is kept.
#[derive(Clone, Serialize, Deserialize)]
pub(super) struct KeptImage {
    png: String,
    alt: String,
}

impl From<Image> for KeptImage {
    fn from(image: Image) -> Self {
        let mut bytes = Vec::new();
        let written = image::codecs::png::PngEncoder::new(&mut bytes).write_image(
            bytemuck::cast_slice(&image.codes),
            image.width,
            image.height,
            ExtendedColorType::Rgb8,
        );
        // Only what has no pixels cannot be written; it is read as that again.
        if written.is_err() {
            bytes.clear();
        }
        Self {
            png: STANDARD.encode(bytes),
            alt: image.alt,
        }
    }
}

impl TryFrom<KeptImage> for Image {
    type Error = String;

    fn try_from(kept: KeptImage) -> Result<Self, String> {
        if kept.png.is_empty() {
            return Ok(Self {
                alt: kept.alt,
                ..Self::default()
            });
        }
        let bytes = STANDARD.decode(kept.png).map_err(|e| e.to_string())?;
        let read = image::load_from_memory_with_format(&bytes, image::ImageFormat::Png)
            .map_err(|e| e.to_string())?
            .into_rgb8();
        let codes: Vec<Colour> = read.pixels().map(|p| p.0).collect();
        Ok(Self {
            width: read.width(),
            height: read.height(),
            codes,
            alt: kept.alt,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_picture_comes_back_as_it_was() {
        let image = Image {
            width: 3,
            height: 2,
            codes: (0..6).map(|k| [k, 255 - k, 7 * k]).collect(),
            alt: "a \"b\"".into(),
        };
        for image in [image, Image::default()] {
            let kept = serde_json::to_string(&image).expect("written");
            assert_eq!(
                serde_json::from_str::<Image>(&kept).expect("read back"),
                image
            );
        }
        assert!(serde_json::from_str::<Image>(r#"{"png":"AAAA","alt":""}"#).is_err());
    }
}
