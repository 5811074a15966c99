//! The contact sheet of a set: every look in its framings, with what each was read at, on a neutral
//! middle grey by which tones can be judged.

use super::drawing::{Anchor, Colour, Drawing, Paint, Raster, Shape, Text, fitted, text_width_mm};
use super::shrink::shrink;

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
/// For a look's name, and for the name below each picture; what it was read at takes lines under that.
const HEAD_MM: f64 = 7.0;
const FOOT_MM: f64 = 6.5;
const LINE_MM: f64 = 3.9;
const READING_MM: f64 = 2.9;
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
    /// What it was read at: "f/8", and its tones; as many beside each other as there is room for.
    pub readings: Vec<String>,
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
        let all = self.looks.iter().flat_map(|l| l.pictures.iter().flatten());
        let lines = all.map(|t| reading_lines(t, room[0]).len()).max();
        let foot = FOOT_MM + LINE_MM * lines.unwrap_or(0) as f64;
        let across = ((WIDTH_MM + GAP_MM) / (room[0] + GAP_MM)).floor().max(1.0) as usize;
        let rows_each = columns.div_ceil(across);
        let in_row = columns.min(across);
        let block = [
            in_row as f64 * (room[0] + GAP_MM) - GAP_MM,
            HEAD_MM + rows_each as f64 * (room[1] + foot),
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
            draw_look(
                &mut sheet,
                look,
                [left, top, block[0]],
                (room, foot),
                in_row,
            );
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
    [left, top, width]: [f64; 3],
    (room, foot): ([f64; 2], f64),
    in_row: usize,
) {
    sheet.line([[left, top], [left + width, top]], Paint::line(RULE, 0.25));
    let name = fitted(&look.name, 3.8, width);
    sheet.text(Text::new([left, top + 5.0], name.as_str(), 3.8, INK).strong());
    let used = text_width_mm(&name, 3.8) + 6.0;
    if width - used > 20.0 {
        let about = fitted(&look.about, 3.0, width - used);
        let at = [left + width, top + 5.0];
        sheet.text(Text::new(at, about, 3.0, QUIET).anchored(Anchor::End));
    }
    for (i, picture) in look.pictures.iter().enumerate() {
        let corner = [
            left + (i % in_row) as f64 * (room[0] + GAP_MM),
            top + HEAD_MM + (i / in_row) as f64 * (room[1] + foot),
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
    let used = text_width_mm(&number, 3.0) + 1.6;
    sheet.text(Text::new([corner[0], base], number, 3.0, QUIET));
    let name = fitted(&t.name, 3.0, room[0] - used);
    sheet.text(Text::new([corner[0] + used, base], name, 3.0, INK));
    for (k, line) in reading_lines(t, room[0]).into_iter().enumerate() {
        let at = [corner[0], base + LINE_MM * (k + 1) as f64];
        sheet.text(Text::new(at, line, READING_MM, QUIET));
    }
}

/// What a picture was read at in lines no wider than the picture may be.
fn reading_lines(t: &Thumbnail, width_mm: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for part in &t.readings {
        let longer = lines.last().map(|line| format!("{line}, {part}"));
        match (lines.last_mut(), longer) {
            (Some(line), Some(longer)) if text_width_mm(&longer, READING_MM) <= width_mm => {
                *line = longer;
            }
            _ => lines.push(fitted(part, READING_MM, width_mm)),
        }
    }
    lines
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
    let pixels = size_mm([width, height]).map(|mm| (mm * PIXELS_PER_MM).round().max(1.0) as u32);
    let ([columns, _], pixels) = shrink([width, height], rgb, pixels);
    Raster {
        columns: columns as usize,
        pixels,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Nothing of what a picture was read at is cut off under an upright one.
    #[test]
    fn readings_are_whole() {
        let upright = Thumbnail {
            number: 12,
            name: "full".into(),
            readings: ["f/7.1 +.2", "skin −1.3", "background +1.2"]
                .map(str::to_owned)
                .into(),
            mind: false,
            pixels: [400, 600],
            raster: thumbnail([1, 1], &[[9; 3]]),
        };
        let sheet = ContactSheet {
            looks: vec![Look {
                pictures: vec![Some(upright.clone())],
                ..Look::default()
            }],
            ..ContactSheet::default()
        }
        .draw();
        let told: Vec<&str> = sheet
            .shapes
            .iter()
            .filter_map(|s| match s {
                Shape::Text(text) => Some(text.words.as_str()),
                _ => None,
            })
            .collect();
        let told = told.join(" ");
        for part in &upright.readings {
            assert!(told.contains(part), "{told}");
        }
        let lowest = sheet.shapes.iter().filter_map(|s| match s {
            Shape::Text(text) => Some(text.at_mm[1]),
            _ => None,
        });
        assert!(lowest.fold(0.0, f64::max) < sheet.size_mm[1] - 5.0);
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
