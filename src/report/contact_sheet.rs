//! The contact sheet of a set: every look in its framings, with what each was read at, on a neutral
//! middle grey by which tones can be judged.

use super::drawing::{Anchor, Colour, Drawing, Paint, Raster, Shape, Text, fitted};
use crate::photometry::colour::{encode_srgb8, srgb_decode};

/// A little lighter than the tone of a grey card (sRGB 118), so that black type can be read on it.
const GREY: Colour = [142, 142, 142];
const INK: Colour = [16, 16, 16];
const QUIET: Colour = [32, 32, 32];
const RULE: Colour = [96, 96, 96];
/// What lies too far apart is framed and told in this.
const MIND: Colour = [122, 20, 34];
const MARGIN_MM: f64 = 14.0;
/// All that a page's pictures may take in width.
const WIDTH_MM: f64 = 392.0;
/// Greatest sides of a picture.
const PICTURE_MM: [f64; 2] = [44.0, 60.0];
const GAP_MM: f64 = 3.0;
/// Between looks side by side, and below each.
const BLOCK_GAP_MM: f64 = 9.0;
/// For a look's name, and for the two lines below its pictures.
const HEAD_MM: f64 = 7.0;
const FOOT_MM: f64 = 10.5;
const TITLE_MM: f64 = 30.0;
const NOTE_MM: f64 = 4.6;
/// Pixels of a thumbnail to a millimetre, as many as a page's PNG has.
const PIXELS_PER_MM: f64 = 8.0;

/// A set of pictures.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ContactSheet {
    /// The day.
    pub title: String,
    /// One line under it.
    pub about: String,
    /// Looks, each a row of pictures.
    pub looks: Vec<Look>,
    /// What was compared over the set, a line each, with whether it lies too far apart.
    pub notes: Vec<(String, bool)>,
}

/// The pictures of one look.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Look {
    /// Its name.
    pub name: String,
    /// What it wears.
    pub about: String,
    /// Its pictures; none where the list has this look not in a framing that others have.
    pub pictures: Vec<Option<Thumbnail>>,
}

/// One picture, small.
#[derive(Debug, Clone, PartialEq)]
pub struct Thumbnail {
    /// Its number in the list, from 1.
    pub number: usize,
    /// Framing and lighting.
    pub name: String,
    /// What it was read at: "f/8".
    pub reading: String,
    /// Whether a reading or tone of it is one of those too far apart.
    pub mind: bool,
    /// Sides of the whole picture.
    pub pixels: [u32; 2],
    /// It, made small.
    pub raster: Raster,
}

impl ContactSheet {
    /// Draws the sheet: as wide as it need be, as long as it must.
    pub fn draw(&self) -> Drawing {
        let columns = self.looks.iter().map(|l| l.pictures.len()).max();
        let columns = columns.unwrap_or(0).max(1);
        let all = self.looks.iter().flat_map(|l| l.pictures.iter().flatten());
        // As tall as the tallest, so that rows line up.
        let room = all.fold([0.0_f64; 2], |most, t| {
            let size = size_mm(t.pixels);
            [most[0].max(size[0]), most[1].max(size[1])]
        });
        let room = [room[0].max(24.0), room[1].max(24.0)];
        let across = ((WIDTH_MM + GAP_MM) / (room[0] + GAP_MM)).floor().max(1.0) as usize;
        let rows_each = columns.div_ceil(across);
        let in_row = columns.min(across);
        let block = [
            in_row as f64 * (room[0] + GAP_MM) - GAP_MM,
            HEAD_MM + rows_each as f64 * (room[1] + FOOT_MM),
        ];
        let beside = ((WIDTH_MM + BLOCK_GAP_MM) / (block[0] + BLOCK_GAP_MM))
            .floor()
            .max(1.0);
        let beside = (beside as usize).min(self.looks.len().max(1));
        let down = self.looks.len().div_ceil(beside);
        let width = beside as f64 * (block[0] + BLOCK_GAP_MM) - BLOCK_GAP_MM;
        let width = width.max(180.0);
        let notes_top = TITLE_MM + down as f64 * (block[1] + BLOCK_GAP_MM);
        let page = [
            width + 2.0 * MARGIN_MM,
            notes_top + NOTE_MM * self.notes.len() as f64 + MARGIN_MM,
        ];
        let mut sheet = Drawing::new(page, self.title.as_str());
        sheet.rect([0.0; 2], page, Paint::fill(GREY));
        self.heading(&mut sheet, width);
        for (i, look) in self.looks.iter().enumerate() {
            let left = MARGIN_MM + (i % beside) as f64 * (block[0] + BLOCK_GAP_MM);
            let top = TITLE_MM + (i / beside) as f64 * (block[1] + BLOCK_GAP_MM);
            draw_look(&mut sheet, look, [left, top], block[0], room, in_row);
        }
        for (i, (note, mind)) in self.notes.iter().enumerate() {
            let at = [MARGIN_MM, notes_top + NOTE_MM * (i as f64 + 0.5)];
            let text = Text::new(
                at,
                fitted(note, 3.2, width),
                3.2,
                if *mind { MIND } else { INK },
            );
            sheet.text(if *mind { text.strong() } else { text });
        }
        sheet
    }

    fn heading(&self, sheet: &mut Drawing, width: f64) {
        let title = fitted(&self.title, 7.0, width);
        sheet.text(Text::new([MARGIN_MM, 16.0], title, 7.0, INK));
        let about = fitted(&self.about, 3.2, width);
        sheet.text(Text::new([MARGIN_MM, 22.0], about, 3.2, QUIET));
    }
}

fn draw_look(
    sheet: &mut Drawing,
    look: &Look,
    [left, top]: [f64; 2],
    width: f64,
    room: [f64; 2],
    in_row: usize,
) {
    sheet.line([[left, top], [left + width, top]], Paint::line(RULE, 0.25));
    let name = fitted(&look.name, 3.8, width);
    sheet.text(Text::new([left, top + 5.0], name.as_str(), 3.8, INK).strong());
    let used = super::drawing::text_width_mm(&name, 3.8) + 6.0;
    if width - used > 20.0 {
        let about = fitted(&look.about, 3.0, width - used);
        let at = [left + width, top + 5.0];
        sheet.text(Text::new(at, about, 3.0, QUIET).anchored(Anchor::End));
    }
    for (i, picture) in look.pictures.iter().enumerate() {
        let corner = [
            left + (i % in_row) as f64 * (room[0] + GAP_MM),
            top + HEAD_MM + (i / in_row) as f64 * (room[1] + FOOT_MM),
        ];
        match picture {
            Some(thumbnail) => draw_thumbnail(sheet, thumbnail, corner, room),
            None => sheet.rect(corner, room, Paint::dashed(RULE, 0.25, [1.5, 1.5])),
        }
    }
}

fn draw_thumbnail(sheet: &mut Drawing, t: &Thumbnail, corner: [f64; 2], room: [f64; 2]) {
    let size = size_mm(t.pixels);
    let corner = [corner[0], corner[1] + room[1] - size[1]];
    sheet.shapes.push(Shape::Raster {
        corner_mm: corner,
        size_mm: size,
        raster: t.raster.clone(),
    });
    if t.mind {
        let out = 0.6;
        let around = [corner[0] - out, corner[1] - out];
        let size = [size[0] + 2.0 * out, size[1] + 2.0 * out];
        sheet.rect(around, size, Paint::line(MIND, 0.7));
    }
    let base = corner[1] + size[1] + 3.8;
    let number = format!("{}", t.number);
    let used = super::drawing::text_width_mm(&number, 3.0) + 1.6;
    sheet.text(Text::new([corner[0], base], number, 3.0, QUIET));
    let name = fitted(&t.name, 3.0, room[0] - used);
    sheet.text(Text::new([corner[0] + used, base], name, 3.0, INK));
    let reading = fitted(&t.reading, 3.0, room[0]);
    sheet.text(Text::new([corner[0], base + 4.0], reading, 3.0, QUIET));
}

/// A picture's size on the sheet.
fn size_mm([width, height]: [u32; 2]) -> [f64; 2] {
    let [w, h] = [f64::from(width.max(1)), f64::from(height.max(1))];
    let scale = (PICTURE_MM[0] / w).min(PICTURE_MM[1] / h);
    [w * scale, h * scale]
}

/// A picture made as small as the sheet shows it, each of its pixels the mean of the light that it covers.
/// `rgb` are sRGB codes, row by row.
pub fn thumbnail([width, height]: [u32; 2], rgb: &[[u8; 3]]) -> Raster {
    let size = size_mm([width, height]).map(|mm| (mm * PIXELS_PER_MM).round().max(1.0) as u32);
    let [columns, rows] = [size[0].min(width.max(1)), size[1].min(height.max(1))];
    let light: Vec<f64> = (0..256)
        .map(|code| srgb_decode(f64::from(code) / 255.0))
        .collect();
    let span = |i: u32, of: u32, whole: u32| {
        let from = u64::from(i) * u64::from(whole) / u64::from(of);
        let to = (u64::from(i + 1) * u64::from(whole)).div_ceil(u64::from(of));
        from as usize..(to as usize).max(from as usize + 1)
    };
    let mut pixels = Vec::with_capacity((columns * rows) as usize);
    for row in 0..rows {
        for column in 0..columns {
            let (mut sum, mut count) = ([0.0; 3], 0.0);
            for y in span(row, rows, height) {
                for x in span(column, columns, width) {
                    if let Some(rgb) = rgb.get(y * width as usize + x) {
                        for c in 0..3 {
                            sum[c] += light[rgb[c] as usize];
                        }
                        count += 1.0;
                    }
                }
            }
            pixels.push(sum.map(|s: f64| encode_srgb8(s / f64::max(count, 1.0))));
        }
    }
    Raster {
        columns: columns as usize,
        pixels,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Of black and white in turn half the light is left: sRGB 188, from the curve of IEC 61966-2-1.
    #[test]
    fn thumbnails_average_light() {
        let rgb: Vec<[u8; 3]> = (0..1024 * 1024)
            .map(|i| [if (i + i / 1024) % 2 == 0 { 0 } else { 255 }; 3])
            .collect();
        let raster = thumbnail([1024, 1024], &rgb);
        assert!(raster.columns < 512);
        // A pixel that takes in an odd number of them has one too many of either.
        let sum: f64 = raster.pixels.iter().map(|p| f64::from(p[0])).sum();
        let mean = sum / raster.pixels.len() as f64;
        assert!((mean - 188.0).abs() < 3.0, "{mean}");
    }

    #[test]
    fn a_sheet_without_pictures_is_a_sheet() {
        let empty = ContactSheet::default().draw();
        assert!(empty.size_mm[0] > 0.0 && empty.size_mm[1] > 0.0);
        let looks = vec![
            Look::default(),
            Look {
                pictures: vec![None],
                ..Look::default()
            },
        ];
        let sheet = ContactSheet {
            looks,
            ..ContactSheet::default()
        };
        assert!(!sheet.draw().shapes.is_empty());
    }
}
