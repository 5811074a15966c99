//! PNG: display values, tagged as sRGB, with the texts in iTXt chunks.

use std::io::{self, Seek, SeekFrom, Write};

use png::text_metadata::{EncodableTextChunk, ITXtChunk};

use super::develop::BitDepth;
use super::metadata::{Key, Metadata};
use super::picture::PictureShape;
use super::still_sink::CodesIn;
use super::whole_file::WholeWriter;

/// Texts longer than this are compressed (the PNG specification recommends 1024 bytes).
const COMPRESS_FROM: usize = 1024;

/// The IEND chunk, the same in every PNG: no data, and the checksum of its name.
const IEND: [u8; 12] = *b"\0\0\0\0IEND\xae\x42\x60\x82";

/// Writes rows of codes into a PNG file.
pub(super) struct PngRows {
    pixels: png::StreamWriter<'static, WholeWriter>,
    file: WholeWriter,
    depth: BitDepth,
    bytes: Vec<u8>,
}

impl PngRows {
    /// Writes everything before the pixels.
    pub(super) fn begin(
        file: WholeWriter,
        shape: &PictureShape,
        depth: BitDepth,
        metadata: &Metadata,
    ) -> io::Result<PngRows> {
        let mut info = png::Info::with_size(shape.width, shape.height);
        info.color_type = png::ColorType::Rgb;
        info.bit_depth = match depth {
            BitDepth::Eight => png::BitDepth::Eight,
            BitDepth::Sixteen => png::BitDepth::Sixteen,
        };
        // PNG (Third Edition) 11.3.2.5: sRGB, with the gAMA and cHRM that it names for readers
        // that do not know sRGB. The encoder writes the two only with exactly these values.
        info.srgb = Some(png::SrgbRenderingIntent::RelativeColorimetric);
        info.source_gamma = Some(png::ScaledFloat::from_scaled(45_455));
        let xy = |x, y| {
            (
                png::ScaledFloat::from_scaled(x),
                png::ScaledFloat::from_scaled(y),
            )
        };
        info.source_chromaticities = Some(png::SourceChromaticities {
            white: xy(31_270, 32_900),
            red: xy(64_000, 33_000),
            green: xy(30_000, 60_000),
            blue: xy(15_000, 6_000),
        });
        // The texts come before the pixels, so that a reader need not pass over these.
        for (key, text) in metadata.texts() {
            info.utf8_text.push(text_chunk(key, text));
        }

        let encoder = png::Encoder::with_info(file.clone(), info)?;
        let mut writer = encoder.write_header()?;
        // The same said by code points (ITU-T H.273): primaries 1, curve 13, RGB, full range.
        writer.write_chunk(png::chunk::cICP, &[1, 13, 0, 1])?;
        Ok(PngRows {
            pixels: writer.into_stream_writer()?,
            file,
            depth,
            bytes: Vec::new(),
        })
    }
}

impl CodesIn for PngRows {
    fn row(&mut self, codes: &[u16]) -> io::Result<()> {
        self.bytes.clear();
        match self.depth {
            BitDepth::Eight => self.bytes.extend(codes.iter().map(|&code| code as u8)),
            BitDepth::Sixteen => {
                for code in codes {
                    self.bytes.extend(code.to_be_bytes());
                }
            }
        }
        self.pixels.write_all(&self.bytes)
    }

    fn finish(mut self, rendering_json: &str) -> io::Result<()> {
        self.pixels.finish()?;
        // Put the rendering's facts, known only now, between the pixels and the end mark.
        self.file.seek(SeekFrom::End(-(IEND.len() as i64)))?;
        text_chunk(Key::Rendering, rendering_json).encode(&mut self.file)?;
        self.file.write_all(&IEND)
    }
}

fn text_chunk(key: Key, text: &str) -> ITXtChunk {
    let mut chunk = ITXtChunk::new(key.keyword(), text);
    chunk.compressed = text.len() > COMPRESS_FROM;
    chunk
}
