//! TIFF: display values, baseline and uncompressed, with an sRGB profile and the texts as JSON in
//! ImageDescription (TIFF 6.0).
//!
//! The pixels come first and the directory last, so that rows can be written as they come.

use std::io::{self, Seek, SeekFrom, Write};

use super::develop::BitDepth;
use super::metadata::{Key, Metadata};
use super::picture::PictureShape;
use super::srgb_icc::srgb_icc_profile;
use super::still_sink::CodesIn;
use super::whole_file::WholeWriter;

/// Bytes before the first pixel: byte order, 42, offset of the directory.
const HEADER_BYTES: u64 = 8;

/// Writes rows of codes into a TIFF file.
pub(super) struct TiffRows {
    file: WholeWriter,
    shape: PictureShape,
    depth: BitDepth,
    texts: serde_json::Map<String, serde_json::Value>,
    bytes: Vec<u8>,
}

impl TiffRows {
    /// Bytes that the pixels take.
    pub(super) fn pixel_bytes(shape: &PictureShape, depth: BitDepth) -> u64 {
        u64::from(shape.width) * u64::from(shape.height) * pixel_size(depth)
    }

    /// Writes everything before the pixels.
    pub(super) fn begin(
        mut file: WholeWriter,
        shape: &PictureShape,
        depth: BitDepth,
        metadata: &Metadata,
    ) -> io::Result<TiffRows> {
        // The directory's offset is filled in at the end.
        file.write_all(b"II\x2a\0\0\0\0\0")?;
        let texts = metadata
            .texts()
            .into_iter()
            .map(|(key, text)| (key.keyword().to_owned(), text.into()))
            .collect();
        Ok(TiffRows {
            file,
            shape: shape.clone(),
            depth,
            texts,
            bytes: Vec::new(),
        })
    }
}

impl CodesIn for TiffRows {
    fn row(&mut self, codes: &[u16]) -> io::Result<()> {
        self.bytes.clear();
        match self.depth {
            BitDepth::Eight => self.bytes.extend(codes.iter().map(|&code| code as u8)),
            BitDepth::Sixteen => {
                for code in codes {
                    self.bytes.extend(code.to_le_bytes());
                }
            }
        }
        self.file.write_all(&self.bytes)
    }

    fn finish(mut self, rendering_json: &str) -> io::Result<()> {
        let (width, height) = (self.shape.width, self.shape.height);
        let row_bytes = u64::from(width) * pixel_size(self.depth);
        // Strips of about 64 kB: TIFF 6.0 recommends small ones.
        let rows_per_strip = (65_536 / row_bytes).clamp(1, u64::from(height)) as u32;
        let mut offsets = Vec::new();
        let mut byte_counts = Vec::new();
        let mut first_row = 0;
        while first_row < height {
            let rows = rows_per_strip.min(height - first_row);
            offsets.push(fit(HEADER_BYTES + u64::from(first_row) * row_bytes)?);
            byte_counts.push(fit(u64::from(rows) * row_bytes)?);
            first_row += rows;
        }

        let software = self.texts.get(Key::Software.keyword()).cloned();
        self.texts
            .insert(Key::Rendering.keyword().to_owned(), rendering_json.into());
        let description = ascii_json(&serde_json::Value::Object(self.texts).to_string());
        let bits = match self.depth {
            BitDepth::Eight => 8,
            BitDepth::Sixteen => 16,
        };

        // Tags in increasing order, as the format asks.
        let mut directory = Directory::default();
        directory.longs(256, &[width]);
        directory.longs(257, &[height]);
        directory.shorts(258, &[bits; 3]);
        directory.shorts(259, &[1]); // no compression
        directory.shorts(262, &[2]); // RGB
        directory.ascii(270, &description);
        directory.longs(273, &offsets);
        directory.shorts(277, &[3]); // samples per pixel
        directory.longs(278, &[rows_per_strip]);
        directory.longs(279, &byte_counts);
        directory.rational(282, [1, 1]); // resolution: square pixels,
        directory.rational(283, [1, 1]);
        directory.shorts(284, &[1]); // channels side by side
        directory.shorts(296, &[1]); // without a unit
        if let Some(serde_json::Value::String(software)) = software {
            directory.ascii(305, &software.replace(|c: char| !c.is_ascii(), "?"));
        }
        directory.undefined(34_675, srgb_icc_profile());

        let start = HEADER_BYTES + row_bytes * u64::from(height);
        let (bytes, directory_offset) = directory.to_bytes(start)?;
        self.file.seek(SeekFrom::Start(start))?;
        self.file.write_all(&bytes)?;
        self.file.seek(SeekFrom::Start(4))?;
        self.file.write_all(&directory_offset.to_le_bytes())
    }
}

/// An image file directory in the making: tag, field type, count, value bytes.
#[derive(Default)]
struct Directory(Vec<(u16, u16, usize, Vec<u8>)>);

impl Directory {
    fn ascii(&mut self, tag: u16, text: &str) {
        let mut bytes: Vec<u8> = text.bytes().filter(|&byte| byte != 0).collect();
        bytes.push(0);
        self.0.push((tag, 2, bytes.len(), bytes));
    }

    fn shorts(&mut self, tag: u16, values: &[u16]) {
        let bytes = values.iter().flat_map(|value| value.to_le_bytes());
        self.0.push((tag, 3, values.len(), bytes.collect()));
    }

    fn longs(&mut self, tag: u16, values: &[u32]) {
        let bytes = values.iter().flat_map(|value| value.to_le_bytes());
        self.0.push((tag, 4, values.len(), bytes.collect()));
    }

    fn rational(&mut self, tag: u16, fraction: [u32; 2]) {
        let bytes = fraction.iter().flat_map(|value| value.to_le_bytes());
        self.0.push((tag, 5, 1, bytes.collect()));
    }

    fn undefined(&mut self, tag: u16, bytes: Vec<u8>) {
        self.0.push((tag, 7, bytes.len(), bytes));
    }

    /// The values and then the directory, to stand at file offset `start`; and the offset of the
    /// directory. Offsets are even, as the format asks.
    fn to_bytes(&self, start: u64) -> io::Result<(Vec<u8>, u32)> {
        let mut bytes = Vec::new();
        let mut entries = Vec::new();
        let align = |bytes: &mut Vec<u8>| {
            if !(start + bytes.len() as u64).is_multiple_of(2) {
                bytes.push(0);
            }
        };
        for (tag, field_type, count, value) in &self.0 {
            entries.extend(tag.to_le_bytes());
            entries.extend(field_type.to_le_bytes());
            entries.extend(fit(*count as u64)?.to_le_bytes());
            if value.len() <= 4 {
                let mut inline = value.clone();
                inline.resize(4, 0);
                entries.extend(inline);
            } else {
                align(&mut bytes);
                entries.extend(fit(start + bytes.len() as u64)?.to_le_bytes());
                bytes.extend(value);
            }
        }
        align(&mut bytes);
        let directory_offset = fit(start + bytes.len() as u64)?;
        bytes.extend((self.0.len() as u16).to_le_bytes());
        bytes.extend(entries);
        bytes.extend([0; 4]); // no further directory
        Ok((bytes, directory_offset))
    }
}

fn pixel_size(depth: BitDepth) -> u64 {
    match depth {
        BitDepth::Eight => 3,
        BitDepth::Sixteen => 6,
    }
}

fn fit(offset: u64) -> io::Result<u32> {
    u32::try_from(offset).map_err(|_| io::Error::other("more than 4 GB"))
}

/// The same JSON in 7-bit ASCII, which is what an ImageDescription may hold: everything else can
/// only stand inside strings, and is escaped there.
fn ascii_json(json: &str) -> String {
    let mut ascii = String::with_capacity(json.len());
    for c in json.chars() {
        if c.is_ascii() && c != '\x7f' {
            ascii.push(c);
        } else {
            for unit in c.encode_utf16(&mut [0; 2]) {
                ascii.push_str(&format!("\\u{unit:04x}"));
            }
        }
    }
    ascii
}
