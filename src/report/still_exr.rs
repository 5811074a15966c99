//! OpenEXR: linear light, a layer per light.
//!
//! One part with a channel group per layer (`key.R`, `key.G`, `key.B`), as "Technical
//! Introduction to OpenEXR" names layers: readers that know nothing of layers show the unnamed
//! one, the sum. Pixels are luminance exposures in cd·s/m². The header is written here and not by
//! the `exr` crate, since that one keeps attributes in a hash map: the same still would not be the
//! same file twice. The crate compresses the blocks.

use std::collections::BTreeSet;
use std::io::{self, Seek, SeekFrom, Write};

use exr::block::chunk::Chunk;
use exr::block::{BlockIndex, UncompressedBlock};
use exr::compression::Compression;
use exr::math::Vec2;
use exr::meta::BlockDescription;
use exr::meta::attribute::{ChannelDescription, LineOrder, SampleType};
use exr::meta::header::Header;
use exr::prelude::f16;
use rayon::prelude::*;

use super::metadata::{Key, Metadata, Rendering};
use super::picture::{Development, Picture, PictureShape};
use super::still_sink::RowsIn;
use super::whole_file::WholeWriter;

/// Room kept in the header for the rendering's facts, which are known at the end: JSON may be
/// followed by spaces.
const RENDERING_BYTES: usize = 2048;

/// Rows in a block of the "ZIP" compression.
const BLOCK_ROWS: u32 = 16;

/// Most blocks that wait to be compressed side by side. For a still of 24 megapixels with 8 lights,
/// a block takes 12 MB.
const MOST_WAITING: usize = 8;

/// Names of the layers that are not lights.
const ALBEDO: &str = "albedo";
const NORMAL: &str = "normal";

/// Writes rows of linear light into an OpenEXR file.
pub(super) struct ExrSink {
    file: WholeWriter,
    development: Development,
    width: u32,
    height: u32,
    channels: Vec<(String, Channel)>,
    header: Header,
    rendering_offset: u64,
    offsets_offset: u64,
    block_offsets: Vec<u64>,
    waiting: Vec<UncompressedBlock>,
    pending: Vec<u8>,
    pending_rows: u32,
    next_row: u32,
}

/// Where a channel's values come from. The index is that of red, green, blue or x, y, z.
#[derive(Clone, Copy)]
enum Channel {
    Total(usize),
    Light(usize, usize),
    Albedo(usize),
    Normal(usize),
    Depth,
}

impl ExrSink {
    /// Writes the header, and room for the table of blocks.
    pub(super) fn begin(
        mut file: WholeWriter,
        shape: &PictureShape,
        development: &Development,
        metadata: &Metadata,
    ) -> io::Result<ExrSink> {
        let channels = channels(shape);
        let header = crate_header(shape, &channels);

        let attributes = attributes(shape, development, metadata, &channels);
        let mut bytes = Vec::new();
        bytes.extend(0x0131_2f76_u32.to_le_bytes());
        let names = attributes.iter().map(|(name, ..)| name.len());
        let names = names.chain(channels.iter().map(|(name, _)| name.len()));
        let long_names = names.max().is_some_and(|longest| longest > 31);
        bytes.extend((2_u32 | if long_names { 0x400 } else { 0 }).to_le_bytes());
        let mut rendering_offset = 0;
        for (name, kind, value) in &attributes {
            bytes.extend(name.bytes().chain([0]));
            bytes.extend(kind.bytes().chain([0]));
            bytes.extend((value.len() as u32).to_le_bytes());
            if *name == Key::Rendering.attribute() {
                rendering_offset = bytes.len() as u64;
            }
            bytes.extend(value);
        }
        bytes.push(0);
        let offsets_offset = bytes.len() as u64;
        bytes.resize(bytes.len() + 8 * header.chunk_count, 0);
        file.write_all(&bytes)?;

        Ok(ExrSink {
            file,
            development: *development,
            width: shape.width,
            height: shape.height,
            channels,
            header,
            rendering_offset,
            offsets_offset,
            block_offsets: Vec::new(),
            waiting: Vec::new(),
            pending: Vec::new(),
            pending_rows: 0,
            next_row: 0,
        })
    }

    /// Makes a block of the rows that have come in since the last one.
    fn close_block(&mut self) {
        let first_row = self.next_row - self.pending_rows;
        self.waiting.push(UncompressedBlock {
            index: BlockIndex {
                layer: 0,
                pixel_position: Vec2(0, first_row as usize),
                pixel_size: Vec2(self.width as usize, self.pending_rows as usize),
                level: Vec2(0, 0),
            },
            data: std::mem::take(&mut self.pending),
        });
        self.pending_rows = 0;
    }

    /// Compresses the waiting blocks, which takes far longer than writing them, and writes them.
    fn write_blocks(&mut self) -> io::Result<()> {
        let header = std::slice::from_ref(&self.header);
        let chunks: Vec<_> = std::mem::take(&mut self.waiting)
            .into_par_iter()
            .map(|block| block.compress_to_chunk(header))
            .collect();
        for chunk in chunks {
            let chunk: Chunk = chunk.map_err(io::Error::other)?;
            self.block_offsets.push(self.file.stream_position()?);
            chunk.write(&mut self.file, 1).map_err(io::Error::other)?;
        }
        Ok(())
    }
}

impl RowsIn for ExrSink {
    fn row(&mut self, band: &Picture, row: u32) -> io::Result<()> {
        let first = row as usize * band.width as usize;
        let pixels = first..first + band.width as usize;
        let totals: Vec<[f64; 3]> = pixels.clone().map(|index| band.total(index)).collect();
        let bytes = &mut self.pending;
        let missing = || io::Error::other("a layer is missing");
        for (_, channel) in &self.channels {
            match *channel {
                Channel::Total(c) => push_f32(bytes, totals.iter().map(|v| v[c] as f32)),
                Channel::Light(light, c) => {
                    let rgb = &band.layers[light].rgb[pixels.clone()];
                    push_f32(bytes, rgb.iter().map(|v| v[c]));
                }
                Channel::Albedo(c) => {
                    let albedo = band.albedo.as_ref().ok_or_else(missing)?;
                    push_f16(bytes, albedo[pixels.clone()].iter().map(|v| v[c]));
                }
                Channel::Normal(c) => {
                    let normal = band.normal.as_ref().ok_or_else(missing)?;
                    push_f16(bytes, normal[pixels.clone()].iter().map(|v| v[c]));
                }
                Channel::Depth => {
                    let depth_m = band.depth_m.as_ref().ok_or_else(missing)?;
                    push_f32(bytes, depth_m[pixels.clone()].iter().copied());
                }
            }
        }
        self.pending_rows += 1;
        self.next_row += 1;
        if self.pending_rows == BLOCK_ROWS || self.next_row == self.height {
            self.close_block();
        }
        let enough = rayon::current_num_threads().min(MOST_WAITING);
        if self.waiting.len() >= enough || self.next_row == self.height {
            self.write_blocks()?;
        }
        Ok(())
    }

    fn finish(mut self, rendering: &Rendering) -> io::Result<()> {
        let json = rendering.to_json(&self.development);
        if json.len() > RENDERING_BYTES {
            return Err(io::Error::other("the executor's name is too long"));
        }
        self.file.seek(SeekFrom::Start(self.rendering_offset))?;
        self.file.write_all(json.as_bytes())?;
        self.file.seek(SeekFrom::Start(self.offsets_offset))?;
        for offset in &self.block_offsets {
            self.file.write_all(&offset.to_le_bytes())?;
        }
        Ok(())
    }
}

/// The names that layers have in an EXR file: ASCII letters, digits, `_` and `-`, since a dot
/// parts layer from channel and many programs take nothing else; unlike each other and unlike the
/// geometry layers, capitals aside. In the order of the lights.
pub fn exr_layer_names(light_names: &[String]) -> Vec<String> {
    let mut taken: BTreeSet<String> = [ALBEDO, NORMAL].map(str::to_owned).into();
    let mut names = Vec::new();
    for light in light_names {
        let mut stem = String::new();
        for c in light.chars().take(100) {
            if c.is_ascii_alphanumeric() || c == '-' {
                stem.push(c);
            } else if !stem.is_empty() && !stem.ends_with('_') {
                stem.push('_');
            }
        }
        stem.truncate(stem.trim_end_matches('_').len());
        if stem.is_empty() {
            stem.push_str("light");
        }
        let mut name = stem.clone();
        let mut number = 1;
        while !taken.insert(name.to_ascii_lowercase()) {
            number += 1;
            name = format!("{stem}_{number}");
        }
        names.push(name);
    }
    names
}

/// All channels, sorted by name as the format asks.
fn channels(shape: &PictureShape) -> Vec<(String, Channel)> {
    let rgb = ["R", "G", "B"];
    let mut channels = Vec::new();
    for (c, letter) in rgb.into_iter().enumerate() {
        channels.push((letter.to_owned(), Channel::Total(c)));
        for (light, layer) in exr_layer_names(&shape.layer_names).iter().enumerate() {
            channels.push((format!("{layer}.{letter}"), Channel::Light(light, c)));
        }
        if shape.albedo {
            channels.push((format!("{ALBEDO}.{letter}"), Channel::Albedo(c)));
        }
    }
    for (c, letter) in ["X", "Y", "Z"].into_iter().enumerate() {
        if shape.normal {
            channels.push((format!("{NORMAL}.{letter}"), Channel::Normal(c)));
        }
    }
    if shape.depth {
        channels.push(("Z".to_owned(), Channel::Depth));
    }
    channels.sort_by(|a, b| a.0.cmp(&b.0));
    channels
}

impl Channel {
    /// Light and depth in full, reflectance and direction in half precision.
    fn sample_type(self) -> SampleType {
        match self {
            Channel::Total(_) | Channel::Light(..) | Channel::Depth => SampleType::F32,
            Channel::Albedo(_) | Channel::Normal(_) => SampleType::F16,
        }
    }
}

/// The header as the crate needs it to compress blocks; it is not written.
fn crate_header(shape: &PictureShape, channels: &[(String, Channel)]) -> Header {
    let descriptions = channels
        .iter()
        .map(|(name, channel)| ChannelDescription::named(name.as_str(), channel.sample_type()));
    let size = (shape.width as usize, shape.height as usize);
    Header::new("".into(), size, descriptions.collect()).with_encoding(
        Compression::ZIP16,
        BlockDescription::ScanLines,
        LineOrder::Increasing,
    )
}

type Attribute = (&'static str, &'static str, Vec<u8>);

/// All attributes of the header: name, type, value.
fn attributes(
    shape: &PictureShape,
    development: &Development,
    metadata: &Metadata,
    channels: &[(String, Channel)],
) -> Vec<Attribute> {
    let window = [0, 0, shape.width as i32 - 1, shape.height as i32 - 1];
    let window: Vec<u8> = window.into_iter().flat_map(i32::to_le_bytes).collect();
    let mut attributes = vec![
        ("channels", "chlist", channel_list(channels)),
        ("compression", "compression", vec![3]), // ZIP, 16 rows
        ("dataWindow", "box2i", window.clone()),
        ("displayWindow", "box2i", window),
        ("lineOrder", "lineOrder", vec![0]), // increasing
        ("pixelAspectRatio", "float", floats(&[1.0])),
        ("screenWindowCenter", "v2f", floats(&[0.0, 0.0])),
        ("screenWindowWidth", "float", floats(&[1.0])),
        (
            "chromaticities", // red, green, blue, white of IEC 61966-2-1
            "chromaticities",
            floats(&[0.64, 0.33, 0.30, 0.60, 0.15, 0.06, 0.3127, 0.3290]),
        ),
    ];
    if let Some(exposure) = metadata.exposure {
        // The luminance of the value (1, 1, 1). Ours are luminance times exposure time, so that
        // it is the mean luminance over that time.
        attributes.extend([
            (
                "whiteLuminance",
                "float",
                floats(&[1.0 / exposure.shutter_s]),
            ),
            ("expTime", "float", floats(&[exposure.shutter_s])),
            ("aperture", "float", floats(&[exposure.f_number])),
            ("isoSpeed", "float", floats(&[exposure.iso])),
        ]);
        if let Some(focus_m) = exposure.focus_m {
            attributes.push(("focus", "float", floats(&[focus_m])));
        }
    }
    attributes.extend([
        ("swatchlightPixelUnit", "string", b"cd s/m2".to_vec()),
        (
            "swatchlightGain",
            "v3f",
            floats(&development.gain.map(f64::from)),
        ),
        ("swatchlightLayers", "string", layer_table(shape)),
        (
            Key::Rendering.attribute(),
            "string",
            vec![b' '; RENDERING_BYTES],
        ),
    ]);
    for (key, text) in metadata.texts() {
        attributes.push((key.attribute(), "string", text.as_bytes().to_vec()));
    }
    attributes
}

/// Which light each layer is, as JSON: names in the file are simplified.
fn layer_table(shape: &PictureShape) -> Vec<u8> {
    let layers = exr_layer_names(&shape.layer_names).into_iter();
    let table: Vec<_> = layers
        .zip(&shape.layer_names)
        .map(|(layer, light)| serde_json::json!({ "layer": layer, "light": light }))
        .collect();
    serde_json::Value::from(table).to_string().into_bytes()
}

fn channel_list(channels: &[(String, Channel)]) -> Vec<u8> {
    let mut bytes = Vec::new();
    for (name, channel) in channels {
        let sample_type: u32 = match channel.sample_type() {
            SampleType::U32 => 0,
            SampleType::F16 => 1,
            SampleType::F32 => 2,
        };
        bytes.extend(name.bytes().chain([0]));
        bytes.extend(sample_type.to_le_bytes());
        bytes.extend([0; 4]); // not perceptually linear, three bytes kept free
        bytes.extend([1_u32, 1].into_iter().flat_map(u32::to_le_bytes)); // no subsampling
    }
    bytes.push(0);
    bytes
}

fn floats(values: &[f64]) -> Vec<u8> {
    values
        .iter()
        .flat_map(|&value| (value as f32).to_le_bytes())
        .collect()
}

/// Blocks are in the machine's own byte order until the crate compresses them.
fn push_f32(bytes: &mut Vec<u8>, values: impl Iterator<Item = f32>) {
    bytes.extend(values.flat_map(f32::to_ne_bytes));
}

fn push_f16(bytes: &mut Vec<u8>, values: impl Iterator<Item = f32>) {
    bytes.extend(values.flat_map(|value| f16::from_f32(value).to_ne_bytes()));
}
