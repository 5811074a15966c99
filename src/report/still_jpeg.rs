//! JPEG: 8-bit display values at quality 92 without colour subsampling, with an sRGB profile and
//! the texts in comment segments.

use std::io::{self, Write};

use image::codecs::jpeg::JpegEncoder;
use image::{ExtendedColorType, ImageEncoder};

use super::metadata::{Key, Metadata};
use super::picture::PictureShape;
use super::srgb_icc::srgb_icc_profile;
use super::still_sink::CodesIn;
use super::whole_file::WholeWriter;

/// On the common scale of 1 to 100. At 92 threads of cloth stay clean.
const QUALITY: u8 = 92;

/// Bytes of text in a comment segment; its length field covers 65533 with the heading line.
const PIECE_BYTES: usize = 65_000;

/// Collects rows of codes (the encoder takes whole pictures: 72 MB for 24 megapixels) and writes
/// a JPEG file at the end.
pub(super) struct JpegRows {
    file: WholeWriter,
    width: u32,
    height: u32,
    pixels: Vec<u8>,
    texts: Vec<(Key, String)>,
}

impl JpegRows {
    /// Writes nothing yet.
    pub(super) fn begin(file: WholeWriter, shape: &PictureShape, metadata: &Metadata) -> JpegRows {
        JpegRows {
            file,
            width: shape.width,
            height: shape.height,
            pixels: Vec::new(),
            texts: metadata
                .texts()
                .into_iter()
                .map(|(key, text)| (key, text.to_owned()))
                .collect(),
        }
    }
}

impl CodesIn for JpegRows {
    fn row(&mut self, codes: &[u16]) -> io::Result<()> {
        self.pixels.extend(codes.iter().map(|&code| code as u8));
        Ok(())
    }

    fn finish(mut self, rendering_json: &str) -> io::Result<()> {
        let mut encoded = Vec::new();
        let mut encoder = JpegEncoder::new_with_quality(&mut encoded, QUALITY);
        encoder
            .set_icc_profile(srgb_icc_profile())
            .map_err(io::Error::other)?;
        encoder
            .encode(
                &self.pixels,
                self.width,
                self.height,
                ExtendedColorType::Rgb8,
            )
            .map_err(io::Error::other)?;

        self.texts.push((Key::Rendering, rendering_json.to_owned()));
        let (head, rest) = encoded.split_at(end_of_application_segments(&encoded));
        self.file.write_all(head)?;
        for (key, text) in &self.texts {
            write_comments(&mut self.file, *key, text)?;
        }
        self.file.write_all(rest)
    }
}

/// Offset of the first segment that is not APP0 to APP15: JFIF wants those first.
fn end_of_application_segments(jpeg: &[u8]) -> usize {
    let mut offset = 2;
    while let Some(&[0xff, 0xe0..=0xef, high, low]) = jpeg.get(offset..offset + 4) {
        offset += 2 + usize::from(u16::from_be_bytes([high, low]));
    }
    offset.min(jpeg.len())
}

/// Writes a text as comment segments, each headed by a line `KEYWORD 1/3`.
fn write_comments(file: &mut WholeWriter, key: Key, text: &str) -> io::Result<()> {
    let pieces: Vec<&[u8]> = text.as_bytes().chunks(PIECE_BYTES).collect();
    for (index, piece) in pieces.iter().enumerate() {
        let heading = format!("{} {}/{}\n", key.keyword(), index + 1, pieces.len());
        let length = (2 + heading.len() + piece.len()) as u16;
        file.write_all(&[0xff, 0xfe])?;
        file.write_all(&length.to_be_bytes())?;
        file.write_all(heading.as_bytes())?;
        file.write_all(piece)?;
    }
    Ok(())
}
