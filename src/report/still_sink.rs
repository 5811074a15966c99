//! Writing stills, band by band: choosing the format, and what all formats share.

use std::io;
use std::path::Path;

use super::develop::{BitDepth, develop_pixel};
use super::error::StillError;
use super::metadata::{LONGEST_TEXT, Metadata, Rendering};
use super::picture::{Development, Picture, PictureShape};
use super::still_exr::ExrSink;
use super::still_jpeg::JpegRows;
use super::still_png::PngRows;
use super::still_tiff::TiffRows;
use super::whole_file::{Overwrite, WholeFile};

/// A still being written. Takes the picture in bands of full-width rows, from the top without
/// gaps; appears under its name at [`StillSink::finish`], and leaves nothing when dropped before.
/// However a picture is cut into bands, the file is the same to the byte.
pub trait StillSink: Send {
    /// Writes the rows from `first_row` on.
    ///
    /// # Errors
    /// [`StillError::Mismatch`] for a band that is not the next one or has other layers, or what
    /// keeps the file from being written.
    fn band(&mut self, first_row: u32, band: &Picture) -> Result<(), StillError>;

    /// Completes the file with how the picture came about, and puts it in place.
    ///
    /// # Errors
    /// [`StillError::Mismatch`] when rows are missing, or what keeps the file from being written.
    fn finish(self: Box<Self>, rendering: &Rendering) -> Result<(), StillError>;
}

/// The file formats of stills.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StillFormat {
    /// Display values, 8 or 16 bit, lossless.
    Png,
    /// Linear light, a layer per light.
    Exr,
    /// Display values, 8 bit, small.
    Jpeg,
    /// Display values, 8 or 16 bit, uncompressed.
    Tiff,
}

/// How to write a still.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct StillOptions {
    /// Bits per channel of PNG and TIFF. JPEG has 8, EXR is floating-point.
    pub depth: BitDepth,
    /// Whether a file of that name may be replaced.
    pub overwrite: Overwrite,
}

impl StillFormat {
    /// The format by the path's extension, in any case: png, exr, jpg, jpeg, tif, tiff.
    ///
    /// # Errors
    /// [`StillError::UnknownFormat`].
    pub fn from_path(path: &Path) -> Result<StillFormat, StillError> {
        let extension = path
            .extension()
            .map(|extension| extension.to_string_lossy().to_ascii_lowercase());
        match extension.as_deref() {
            Some("png") => Ok(StillFormat::Png),
            Some("exr") => Ok(StillFormat::Exr),
            Some("jpg" | "jpeg") => Ok(StillFormat::Jpeg),
            Some("tif" | "tiff") => Ok(StillFormat::Tiff),
            _ => Err(StillError::UnknownFormat {
                path: path.to_owned(),
                extension,
            }),
        }
    }

    /// The format's name.
    pub fn name(self) -> &'static str {
        match self {
            StillFormat::Png => "PNG",
            StillFormat::Exr => "EXR",
            StillFormat::Jpeg => "JPEG",
            StillFormat::Tiff => "TIFF",
        }
    }
}

/// Starts a still. Everything that would keep it from being put in place later is found now, so
/// call this before rendering.
///
/// # Errors
/// [`StillError::UnknownFormat`], [`StillError::Unsuitable`] for a picture or text that the format
/// cannot hold, and as [`WholeFile::open`].
pub fn open_still(
    path: &Path,
    shape: &PictureShape,
    development: &Development,
    metadata: &Metadata,
    options: StillOptions,
) -> Result<Box<dyn StillSink>, StillError> {
    let format = StillFormat::from_path(path)?;
    check_suitable(path, format, shape, metadata, options)?;
    let file = WholeFile::open(path, options.overwrite)?;
    let writer = file.writer();
    let begun = match format {
        StillFormat::Exr => ExrSink::begin(writer, shape, development, metadata)
            .map(|sink| FileSink::new(file, format, shape, sink).boxed()),
        StillFormat::Png => PngRows::begin(writer, shape, options.depth, metadata).map(|rows| {
            FileSink::new(
                file,
                format,
                shape,
                Developed::new(rows, development, options.depth),
            )
            .boxed()
        }),
        StillFormat::Tiff => TiffRows::begin(writer, shape, options.depth, metadata).map(|rows| {
            FileSink::new(
                file,
                format,
                shape,
                Developed::new(rows, development, options.depth),
            )
            .boxed()
        }),
        StillFormat::Jpeg => {
            let rows = JpegRows::begin(writer, shape, metadata);
            let developed = Developed::new(rows, development, BitDepth::Eight);
            Ok(FileSink::new(file, format, shape, developed).boxed())
        }
    };
    begun.map_err(|source| encode_error(path, format, source))
}

/// Writes a whole picture as a still.
///
/// # Errors
/// As [`open_still`] and [`StillSink`].
pub fn write_still(
    path: &Path,
    picture: &Picture,
    development: &Development,
    metadata: &Metadata,
    rendering: &Rendering,
    options: StillOptions,
) -> Result<(), StillError> {
    let mut sink = open_still(path, &picture.shape(), development, metadata, options)?;
    sink.band(0, picture)?;
    sink.finish(rendering)
}

/// What differs between the formats: rows in, from the top; a file out.
pub(super) trait RowsIn: Send {
    /// Takes row `row` of `band`, which has been checked.
    fn row(&mut self, band: &Picture, row: u32) -> io::Result<()>;
    /// Completes the file.
    fn finish(self, rendering: &Rendering) -> io::Result<()>;
}

/// The part of [`RowsIn`] that is left when the rows have been developed.
pub(super) trait CodesIn: Send {
    /// Takes the next row: three codes per pixel.
    fn row(&mut self, codes: &[u16]) -> io::Result<()>;
    /// Completes the file.
    fn finish(self, rendering_json: &str) -> io::Result<()>;
}

struct Developed<C> {
    codes_in: C,
    development: Development,
    depth: BitDepth,
    codes: Vec<u16>,
}

impl<C: CodesIn> Developed<C> {
    fn new(codes_in: C, development: &Development, depth: BitDepth) -> Developed<C> {
        Developed {
            codes_in,
            development: *development,
            depth,
            codes: Vec::new(),
        }
    }
}

impl<C: CodesIn> RowsIn for Developed<C> {
    fn row(&mut self, band: &Picture, row: u32) -> io::Result<()> {
        let width = band.width as usize;
        let first = row as usize * width;
        self.codes.clear();
        for index in first..first + width {
            let pixel = develop_pixel(band, index, &self.development, self.depth);
            self.codes.extend(pixel);
        }
        self.codes_in.row(&self.codes)
    }

    fn finish(self, rendering: &Rendering) -> io::Result<()> {
        self.codes_in.finish(&rendering.to_json(&self.development))
    }
}

/// Checks bands and their order, and gives failures their name and place.
struct FileSink<R> {
    rows_in: R,
    file: WholeFile,
    format: StillFormat,
    shape: PictureShape,
    next_row: u32,
}

impl<R: RowsIn + 'static> FileSink<R> {
    fn new(file: WholeFile, format: StillFormat, shape: &PictureShape, rows_in: R) -> FileSink<R> {
        FileSink {
            rows_in,
            file,
            format,
            shape: shape.clone(),
            next_row: 0,
        }
    }

    fn boxed(self) -> Box<dyn StillSink> {
        Box::new(self)
    }
}

impl<R: RowsIn> StillSink for FileSink<R> {
    fn band(&mut self, first_row: u32, band: &Picture) -> Result<(), StillError> {
        if first_row != self.next_row {
            return Err(StillError::Mismatch(format!(
                "a band from row {first_row} on came where row {} is next",
                self.next_row
            )));
        }
        self.shape.check_band(first_row, band)?;
        for row in 0..band.height {
            self.rows_in.row(band, row).map_err(|source| {
                let source = self.file.failure_or(source);
                encode_error(self.file.path(), self.format, source)
            })?;
            self.next_row += 1;
        }
        Ok(())
    }

    fn finish(self: Box<Self>, rendering: &Rendering) -> Result<(), StillError> {
        let FileSink {
            rows_in,
            file,
            format,
            shape,
            next_row,
        } = *self;
        if next_row != shape.height {
            return Err(StillError::Mismatch(format!(
                "{next_row} of {} rows came before the end",
                shape.height
            )));
        }
        rows_in.finish(rendering).map_err(|source| {
            let source = file.failure_or(source);
            encode_error(file.path(), format, source)
        })?;
        file.commit()
    }
}

/// Tells what the system says from what an encoder says: encoders have no error number.
fn encode_error(path: &Path, format: StillFormat, source: io::Error) -> StillError {
    match source.kind() {
        io::ErrorKind::Other | io::ErrorKind::InvalidInput | io::ErrorKind::InvalidData
            if source.raw_os_error().is_none() =>
        {
            StillError::Encode {
                format: format.name(),
                why: source.to_string(),
            }
        }
        _ => StillError::from_io("write", path, source),
    }
}

fn check_suitable(
    path: &Path,
    format: StillFormat,
    shape: &PictureShape,
    metadata: &Metadata,
    options: StillOptions,
) -> Result<(), StillError> {
    let unsuitable = |why: String| {
        Err(StillError::Unsuitable {
            path: path.to_owned(),
            why,
        })
    };
    let (width, height) = (shape.width, shape.height);
    if width == 0 || height == 0 {
        return unsuitable(format!("a picture of {width}x{height} pixels is empty"));
    }
    // JPEG: two bytes in the frame header (ITU-T T.81, table B.2). The others: signed 32 bit,
    // and a million is beyond every sensor.
    let longest_side = match format {
        StillFormat::Jpeg => u32::from(u16::MAX),
        _ => 1_000_000,
    };
    if width.max(height) > longest_side {
        return unsuitable(format!(
            "{} holds at most {longest_side} pixels a side, the picture is {width}x{height}",
            format.name()
        ));
    }
    if format == StillFormat::Jpeg && options.depth == BitDepth::Sixteen {
        return unsuitable("JPEG holds 8 bits per channel, not 16".to_owned());
    }
    let text_bytes: usize = metadata.texts().iter().map(|(_, text)| text.len()).sum();
    if text_bytes > LONGEST_TEXT {
        return unsuitable(format!(
            "setup and readings are {text_bytes} bytes long, at most {LONGEST_TEXT} go into a still"
        ));
    }
    if format == StillFormat::Tiff {
        let bytes = TiffRows::pixel_bytes(shape, options.depth);
        // Room for texts, escaped six-fold, the profile and the tables, within 32-bit offsets.
        let greatest = u64::from(u32::MAX) - 6 * LONGEST_TEXT as u64 - (32 << 20);
        if bytes > greatest {
            return unsuitable(format!(
                "TIFF holds at most 4 GB, the picture's pixels take {bytes} bytes"
            ));
        }
    }
    Ok(())
}
