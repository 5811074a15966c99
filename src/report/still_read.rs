//! Taking the setup back out of a still.
//!
//! Files come from anywhere, so nothing here trusts a length: no text over 16 MiB is kept, and no
//! more memory is asked for than the file is long.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, BufRead, BufReader, Read, Seek, SeekFrom};
use std::path::Path;

use super::error::StillError;
use super::metadata::{Key, LONGEST_TEXT};

/// What a still says about itself.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Embedded {
    /// The setup file's text, verbatim.
    pub setup_toml: String,
    /// The readings, as `read --json` prints them.
    pub readings_json: Option<String>,
    /// Samples, noise, executor, gain, as JSON.
    pub rendering_json: Option<String>,
    /// The setup's title.
    pub title: Option<String>,
    /// The sentence for people.
    pub description: Option<String>,
    /// Program and version that wrote it.
    pub software: Option<String>,
}

/// Greatest width or height of a PNG that is looked into: its reader asks for a row of memory.
const LONGEST_SIDE: u32 = 1 << 20;

/// Memory that the PNG reader may ask for, bytes.
const PNG_MEMORY: usize = 4 * LONGEST_TEXT;

type Texts = BTreeMap<&'static str, Vec<u8>>;

/// Whether a file that begins with these bytes (8 suffice) is a picture that may be a still.
pub fn is_still(head: &[u8]) -> bool {
    format_of(head).is_some()
}

/// Reads what is inside the still at `path`, whatever its name.
///
/// # Errors
/// [`StillError::NotAStill`] or [`StillError::NoSetup`] for other files, [`StillError::Damaged`]
/// for broken ones, [`StillError::Io`] and its kin if the file cannot be read.
pub fn read_still(path: &Path) -> Result<Embedded, StillError> {
    let sort = |source| StillError::from_io("read", path, source);
    let file = File::open(path).map_err(sort)?;
    if file.metadata().map_err(sort)?.is_dir() {
        return Err(sort(io::ErrorKind::IsADirectory.into()));
    }
    let mut reader = BufReader::new(file);
    reader.fill_buf().map_err(sort)?;
    read_still_from(reader)
}

/// Reads what is inside a still.
///
/// # Errors
/// As [`read_still`]; what the reader reports comes as [`StillError::Damaged`].
pub fn read_still_from(mut reader: impl BufRead + Seek) -> Result<Embedded, StillError> {
    let mut head = Vec::new();
    (&mut reader)
        .take(8)
        .read_to_end(&mut head)
        .map_err(|_| StillError::NotAStill)?;
    let format = format_of(&head).ok_or(StillError::NotAStill)?;
    let damaged = |source: io::Error| StillError::Damaged {
        format,
        why: source.to_string(),
    };
    let length = reader.seek(SeekFrom::End(0)).map_err(damaged)?;
    reader.seek(SeekFrom::Start(0)).map_err(damaged)?;
    let mut texts = match format {
        "PNG" => png_texts(reader),
        "EXR" => exr_texts(reader, length),
        "JPEG" => jpeg_texts(reader),
        _ => tiff_texts(reader, length),
    }
    .map_err(damaged)?;

    let mut take = |key: Key| -> Result<Option<String>, StillError> {
        let bytes = texts.remove(key.keyword());
        let text = bytes.map(String::from_utf8).transpose();
        text.map_err(|_| damaged(broken("a text inside is not UTF-8")))
    };
    Ok(Embedded {
        setup_toml: take(Key::Setup)?.ok_or(StillError::NoSetup(format))?,
        readings_json: take(Key::Readings)?,
        rendering_json: take(Key::Rendering)?.map(|json| json.trim_end().to_owned()),
        title: take(Key::Title)?,
        description: take(Key::Description)?,
        software: take(Key::Software)?,
    })
}

fn format_of(head: &[u8]) -> Option<&'static str> {
    let formats: [(&[u8], &str); 5] = [
        (b"\x89PNG\r\n\x1a\n", "PNG"),
        (b"\x76\x2f\x31\x01", "EXR"),
        (b"\xff\xd8\xff", "JPEG"),
        (b"II\x2a\0", "TIFF"),
        (b"MM\0\x2a", "TIFF"),
    ];
    let found = formats.iter().find(|(magic, _)| head.starts_with(magic));
    found.map(|(_, format)| *format)
}

fn png_texts(mut reader: impl BufRead + Seek) -> io::Result<Texts> {
    let mut head = [0; 24];
    reader.read_exact(&mut head)?;
    let side = |at: usize| u32::from_be_bytes([head[at], head[at + 1], head[at + 2], head[at + 3]]);
    if side(16) > LONGEST_SIDE || side(20) > LONGEST_SIDE {
        return Err(broken("it says to be over a million pixels wide or high"));
    }
    reader.seek(SeekFrom::Start(0))?;

    let limits = png::Limits { bytes: PNG_MEMORY };
    let mut decoder = png::Decoder::new_with_limits(reader, limits);
    decoder.set_ignore_iccp_chunk(true);
    let mut decoder = decoder.read_info().map_err(io::Error::other)?;
    // Go on past the pixels for what was written last. A still that was cut short there keeps
    // its setup.
    let end = decoder.finish();
    let mut texts = Texts::new();
    for chunk in &decoder.info().utf8_text {
        if let Some(key) = Key::from_keyword(&chunk.keyword)
            && !texts.contains_key(key.keyword())
        {
            let mut chunk = chunk.clone();
            chunk
                .decompress_text_with_limit(LONGEST_TEXT)
                .map_err(io::Error::other)?;
            let text = chunk.get_text().map_err(io::Error::other)?;
            texts.insert(key.keyword(), text.into_bytes());
        }
    }
    if texts.is_empty() {
        end.map_err(io::Error::other)?;
    }
    Ok(texts)
}

fn exr_texts(mut reader: impl BufRead + Seek, length: u64) -> io::Result<Texts> {
    reader.seek(SeekFrom::Start(8))?;
    let mut texts = Texts::new();
    // Attributes of the first part: name, type, size, value; an empty name ends them.
    loop {
        let name = exr_name(&mut reader)?;
        if name.is_empty() {
            return Ok(texts);
        }
        let kind = exr_name(&mut reader)?;
        let mut size = [0; 4];
        reader.read_exact(&mut size)?;
        let size = u32::from_le_bytes(size);
        let start = reader.stream_position()?;
        if u64::from(size) > length - start.min(length) {
            return Err(broken("an attribute reaches past the end of the file"));
        }
        match Key::from_attribute(&name).filter(|_| kind == "string") {
            Some(key) => {
                let text = exactly(&mut reader, size as usize)?;
                texts.insert(key.keyword(), text);
            }
            None => reader.seek_relative(i64::from(size))?,
        }
    }
}

/// A text up to its zero, at most 255 bytes.
fn exr_name(reader: &mut impl BufRead) -> io::Result<String> {
    let mut bytes = Vec::new();
    reader.take(256).read_until(0, &mut bytes)?;
    match bytes.pop() {
        Some(0) => Ok(String::from_utf8_lossy(&bytes).into_owned()),
        _ => Err(broken("a name in the header has no end")),
    }
}

fn jpeg_texts(mut reader: impl BufRead + Seek) -> io::Result<Texts> {
    reader.seek(SeekFrom::Start(2))?;
    let mut texts = Texts::new();
    let mut expected = BTreeMap::new();
    loop {
        let mut marker = [0; 2];
        reader.read_exact(&mut marker)?;
        // Fill bytes may stand before a marker.
        while marker == [0xff, 0xff] {
            reader.read_exact(&mut marker[1..])?;
        }
        match marker {
            [0xff, 0x01 | 0xd0..=0xd7] => continue, // no content
            [0xff, 0xd9 | 0xda] => break,           // the pixels or the end
            [0xff, 0x02..=0xfe] => {}
            _ => return Err(broken("a segment does not begin where the last one ends")),
        }
        let mut size = [0; 2];
        reader.read_exact(&mut size)?;
        let size = usize::from(u16::from_be_bytes(size));
        let size = size
            .checked_sub(2)
            .ok_or_else(|| broken("a segment is shorter than its own length"))?;
        if marker[1] != 0xfe {
            reader.seek_relative(size as i64)?;
            continue;
        }
        let comment = exactly(&mut reader, size)?;
        if let Some((key, index, count, piece)) = split_comment(&comment) {
            let text = texts.entry(key.keyword()).or_default();
            let next = expected.entry(key.keyword()).or_insert((1, count));
            if *next != (index, count) || text.len() + piece.len() > LONGEST_TEXT {
                return Err(broken("the pieces of a text inside do not fit together"));
            }
            next.0 += 1;
            text.extend(piece);
        }
    }
    for (keyword, (next, count)) in expected {
        if next != count + 1 {
            return Err(broken(&format!("a piece of \"{keyword}\" is missing")));
        }
    }
    Ok(texts)
}

/// Takes `KEYWORD 2/3\n...` apart into keyword, 2, 3 and the rest.
fn split_comment(comment: &[u8]) -> Option<(Key, u32, u32, &[u8])> {
    let end = comment.iter().take(64).position(|&byte| byte == b'\n')?;
    let heading = std::str::from_utf8(&comment[..end]).ok()?;
    let (keyword, numbers) = heading.rsplit_once(' ')?;
    let (index, count) = numbers.split_once('/')?;
    let (index, count) = (index.parse().ok()?, count.parse().ok()?);
    let in_range = (1..=count).contains(&index) && count <= LONGEST_TEXT as u32;
    in_range.then_some((
        Key::from_keyword(keyword)?,
        index,
        count,
        &comment[end + 1..],
    ))
}

fn tiff_texts(mut reader: impl BufRead + Seek, length: u64) -> io::Result<Texts> {
    let header = exactly(&mut reader, 8)?;
    let little = header[0] == b'I';
    let number = |bytes: &[u8]| {
        let fold = |sum: u32, &byte: &u8| sum << 8 | u32::from(byte);
        match little {
            true => bytes.iter().rev().fold(0, fold),
            false => bytes.iter().fold(0, fold),
        }
    };
    reader.seek(SeekFrom::Start(u64::from(number(&header[4..]))))?;
    let entry_count = number(&exactly(&mut reader, 2)?);
    for _ in 0..entry_count {
        let entry = exactly(&mut reader, 12)?;
        // ImageDescription, ASCII, too long to stand in the entry itself.
        let size = number(&entry[4..8]);
        if number(&entry[..2]) == 270 && number(&entry[2..4]) == 2 && size > 4 {
            let offset = u64::from(number(&entry[8..]));
            if offset + u64::from(size) > length {
                return Err(broken("the description reaches past the end of the file"));
            }
            if size as usize > 6 * LONGEST_TEXT + (1 << 20) {
                return Err(broken("the description is too long"));
            }
            reader.seek(SeekFrom::Start(offset))?;
            let mut json = vec![0; size as usize];
            reader.read_exact(&mut json)?;
            return Ok(tiff_description_texts(&json));
        }
    }
    Ok(Texts::new())
}

/// Other programs' descriptions are no JSON objects of strings and hold nothing for us.
fn tiff_description_texts(description: &[u8]) -> Texts {
    let json = description.strip_suffix(&[0]).unwrap_or(description);
    let texts: BTreeMap<String, String> = serde_json::from_slice(json).unwrap_or_default();
    texts
        .into_iter()
        .filter_map(|(keyword, text)| {
            Some((Key::from_keyword(&keyword)?.keyword(), text.into_bytes()))
        })
        .collect()
}

/// Reads `size` bytes, allocating only as they come.
fn exactly(reader: &mut impl Read, size: usize) -> io::Result<Vec<u8>> {
    if size > LONGEST_TEXT {
        return Err(broken("a text inside is too long"));
    }
    let mut bytes = Vec::new();
    reader.take(size as u64).read_to_end(&mut bytes)?;
    if bytes.len() < size {
        return Err(io::ErrorKind::UnexpectedEof.into());
    }
    Ok(bytes)
}

fn broken(why: &str) -> io::Error {
    io::Error::new(io::ErrorKind::InvalidData, why)
}
