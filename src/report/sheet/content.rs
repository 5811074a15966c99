//! What a sheet says, before it is set on paper or written as a page.

use super::kept::KeptImage;
use super::layers::Live;
use super::{build_order, cautions, drawings, placement, readings};
use crate::measure::swatch_view::SwatchShot;
use crate::measure::take::Take;
use crate::measure::weave_contrast::WeaveContrast;
use crate::photometry::colour::encode_srgb8;
use crate::report::drawing::Drawing;
use crate::report::error::StillError;
use crate::report::labels;
use crate::report::picture::Picture;
use crate::report::{BitDepth, develop};
use crate::scene::models::Models;
use crate::setup::{Problems, Setup};
use serde::{Deserialize, Serialize};

/// One sheet. Texts are plain: no control characters, nothing that turns the direction of writing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sheet {
    /// The setup's title.
    pub title: String,
    /// The day, in words; may be empty.
    pub date: String,
    /// What the picture is of.
    pub subject: String,
    /// The setup's own notes; may be empty.
    pub notes: String,
    /// The finished picture; without pixels until [`Sheet::picture`] puts it in, where the sheet was
    /// gathered before it.
    #[serde(skip)]
    pub still: Image,
    /// The cloth where the exposure is read.
    pub cloth: Option<ClothPictures>,
    /// To scale: the plan, then elevations, which stand beside it under each other.
    pub drawings: Vec<Drawn>,
    /// Where each light and board stands.
    pub placement: SheetTable,
    /// What each light is set to and should read.
    pub settings: SheetTable,
    /// What a meter reads.
    pub readings: Vec<SheetTable>,
    /// How the camera is set.
    pub camera: Vec<Fact>,
    /// How the light is.
    pub quality: Vec<Fact>,
    /// What changed since the sheet before, where there is one.
    pub changes: Vec<String>,
    /// What to build, in order.
    pub steps: Vec<Step>,
    /// What to mind.
    pub cautions: Vec<String>,
    /// For the picture that can be mixed anew.
    #[serde(skip)]
    pub live: Option<Live>,
}

/// A picture: sRGB, row by row from the top.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "KeptImage", into = "KeptImage")]
pub struct Image {
    /// Pixels in a row.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// All pixels.
    pub codes: Vec<[u8; 3]>,
    /// For those who cannot see it.
    pub alt: String,
}

/// The cloth, twice. Both are printed in [`ClothPictures::PRINTED_MM`].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ClothPictures {
    /// A millimetre of cloth is a millimetre of paper.
    pub true_size: Image,
    /// [`ClothPictures::TIMES`] as large.
    pub magnified: Image,
    /// Its name and place.
    pub caption: String,
}

impl ClothPictures {
    /// Width and height on paper, and of the cloth at true size.
    pub const PRINTED_MM: [f64; 2] = [60.0, 40.0];
    /// How much larger the second is.
    pub const TIMES: f64 = 8.0;
}

/// A drawing, which says itself what it is and its scale.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Drawn {
    /// To be shown in the size it has.
    pub drawing: Drawing,
    /// For those who cannot see it.
    pub alt: String,
}

/// A table.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SheetTable {
    /// Over it.
    pub title: String,
    /// From the left; the first names the row.
    pub columns: Vec<Column>,
    /// As many cells as columns each.
    pub rows: Vec<Vec<Cell>>,
    /// Under it; may be empty.
    pub note: String,
}

/// A column of a table.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Column {
    /// Over it.
    pub head: String,
    /// Share of the table's width, in parts.
    pub parts: f64,
    /// Whether it is a column of numbers, which stand at its right.
    pub numbers: bool,
}

/// What stands in a table.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Cell {
    /// The main thing.
    pub text: String,
    /// Smaller, under it; may be empty.
    pub under: String,
}

/// A thing known, with its name.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fact {
    /// What it is.
    pub label: String,
    /// How it is.
    pub value: String,
}

/// A step of the build.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Step {
    /// What to do, in a word or two.
    pub head: String,
    /// How.
    pub body: String,
}

/// What a sheet is made from.
#[derive(Clone, Copy)]
pub struct Seen<'a> {
    /// The metered setup.
    pub take: &'a Take,
    /// Its models, for how wide its beams are.
    pub models: &'a Models,
    /// Warnings and cautions that came with it.
    pub notes: &'a Problems,
    /// The picture: a layer for each light of the setup, in its order, as mixed. None where it is not
    /// there yet.
    pub picture: Option<&'a Picture>,
    /// The cloth where the exposure is read.
    pub cloth: Option<&'a ClothSeen>,
    /// The day, in words.
    pub date: &'a str,
}

/// The cloth as it was looked at.
#[derive(Debug, Clone, PartialEq)]
pub struct ClothSeen {
    /// The fabric's name.
    pub fabric: String,
    /// [`ClothPictures::PRINTED_MM`] of it.
    pub true_size: SwatchShot,
    /// Of that, one [`ClothPictures::TIMES`]th.
    pub magnified: SwatchShot,
    /// Weave contrast, relief and as dyed, where it was read.
    pub weave: Option<[WeaveContrast; 2]>,
}

impl Sheet {
    /// Gathers all that the sheet says.
    ///
    /// # Errors
    /// [`StillError::Mismatch`] for a picture that is not of this setup.
    pub fn new(seen: &Seen<'_>) -> Result<Self, StillError> {
        let take = seen.take;
        let setup = &take.setup;
        let live = seen.picture.map(|p| Live::new(take, p)).transpose()?;
        let title = match plain(&setup.title) {
            empty if empty.is_empty() => labels::UNTITLED.to_owned(),
            title => title,
        };
        let subject = subject(setup);
        let mut sheet = Self {
            still: Image::default(),
            date: seen.date.to_owned(),
            notes: setup.notes.clone(),
            cloth: seen.cloth.map(|c| pictures(c, &take.expose_at.meter.name)),
            drawings: drawings::drawings(setup, seen.models),
            placement: placement::table(setup),
            settings: readings::settings(take),
            readings: readings::tables(take),
            camera: readings::camera(take),
            quality: readings::quality(take, seen.cloth),
            changes: Vec::new(),
            steps: build_order::steps(take),
            cautions: cautions::cautions(setup, seen.notes),
            live,
            title,
            subject,
        };
        sheet.make_plain();
        if let Some(picture) = seen.picture {
            let shown = develop(picture, &take.development, BitDepth::Eight)?;
            let codes = shown.codes.iter().map(|c| c.map(|v| v as u8));
            sheet.picture([shown.width, shown.height], codes.collect());
        }
        Ok(sheet)
    }

    /// Puts in the finished picture: its sides, and sRGB codes, row by row.
    pub fn picture(&mut self, [width, height]: [u32; 2], codes: Vec<[u8; 3]>) {
        self.still = Image {
            width,
            height,
            codes,
            alt: labels::still_alt(&self.title, &self.subject),
        };
    }

    /// Takes out of every text what could steer a reader or a page.
    fn make_plain(&mut self) {
        let facts = self.camera.iter_mut().chain(&mut self.quality);
        let tables = self
            .readings
            .iter_mut()
            .chain([&mut self.placement, &mut self.settings]);
        let of_tables = tables.flat_map(|table| {
            let heads = table.columns.iter_mut().map(|c| &mut c.head);
            let cells = table.rows.iter_mut().flatten();
            heads
                .chain(cells.flat_map(|c| [&mut c.text, &mut c.under]))
                .chain([&mut table.title, &mut table.note])
        });
        let of_drawings = self.drawings.iter_mut();
        let all = [&mut self.date, &mut self.subject, &mut self.notes]
            .into_iter()
            .chain(facts.flat_map(|f| [&mut f.label, &mut f.value]))
            .chain(of_tables)
            .chain(of_drawings.map(|d| &mut d.alt))
            .chain(
                self.steps
                    .iter_mut()
                    .flat_map(|s| [&mut s.head, &mut s.body]),
            )
            .chain(&mut self.changes)
            .chain(&mut self.cautions)
            .chain(
                self.live
                    .iter_mut()
                    .flat_map(|l| &mut l.layers)
                    .map(|l| &mut l.name),
            )
            .chain(
                self.cloth
                    .iter_mut()
                    .flat_map(|c| [&mut c.caption, &mut c.true_size.alt, &mut c.magnified.alt]),
            );
        for text in all {
            *text = plain(text);
        }
    }
}

/// One line without control characters, and without marks that turn the direction of writing, join
/// letters or have no width: what remains is drawn as it stands.
pub(super) fn plain(text: &str) -> String {
    let kept = text.chars().filter_map(|c| match c {
        c if c.is_control() => Some(' '),
        '\u{2028}' | '\u{2029}' => Some(' '),
        '\u{061c}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' => None,
        '\u{2060}'..='\u{206f}' | '\u{fe00}'..='\u{fe0f}' | '\u{feff}' => None,
        '\u{fff0}'..='\u{fffb}' | '\u{fffe}' | '\u{ffff}' | '\u{e0000}'..='\u{e0fff}' => None,
        c => Some(c),
    });
    let kept: String = kept.collect();
    kept.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn subject(setup: &Setup) -> String {
    match (&setup.figure, &setup.swatch) {
        (Some(figure), _) => {
            let worn = figure.spec.garments.iter();
            let worn: Vec<String> = worn
                .map(|w| labels::garment_of(&w.garment, &w.fabric))
                .collect();
            labels::figure_in(&figure.spec.model, &worn)
        }
        (None, Some(swatch)) => labels::swatch_of(&swatch.fabric),
        (None, None) => labels::EMPTY_SET.into(),
    }
}

fn pictures(seen: &ClothSeen, point: &str) -> ClothPictures {
    ClothPictures {
        true_size: image(
            &seen.true_size,
            labels::cloth_alt(&seen.fabric, point, None),
        ),
        magnified: image(
            &seen.magnified,
            labels::cloth_alt(&seen.fabric, point, Some(ClothPictures::TIMES)),
        ),
        caption: labels::cloth_caption(&seen.fabric, point),
    }
}

/// The shot is display-linear: 1 is white.
fn image(shot: &SwatchShot, alt: String) -> Image {
    Image {
        width: shot.width as u32,
        height: shot.height as u32,
        codes: shot
            .rgb
            .iter()
            .map(|c| c.map(|v| encode_srgb8(f64::from(v))))
            .collect(),
        alt,
    }
}

impl SheetTable {
    /// A table without rows.
    pub(super) fn new(title: &str, columns: Vec<Column>) -> Self {
        Self {
            title: title.to_owned(),
            columns,
            rows: Vec::new(),
            note: String::new(),
        }
    }
}

impl Column {
    /// Of words.
    pub(super) fn words(head: impl Into<String>, parts: f64) -> Self {
        Self {
            head: head.into(),
            parts,
            numbers: false,
        }
    }

    /// Of numbers.
    pub(super) fn numbers(head: impl Into<String>, parts: f64) -> Self {
        Self {
            numbers: true,
            ..Self::words(head, parts)
        }
    }
}

impl Cell {
    /// One text.
    pub(super) fn new(text: impl Into<String>) -> Self {
        Self::with(text, "")
    }

    /// A text and another under it.
    pub(super) fn with(text: impl Into<String>, under: impl Into<String>) -> Self {
        Self {
            text: text.into(),
            under: under.into(),
        }
    }
}

impl Fact {
    pub(super) fn new(label: &str, value: impl Into<String>) -> Self {
        Self {
            label: label.to_owned(),
            value: value.into(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::plain;

    #[test]
    fn nothing_steers_the_page() {
        assert_eq!(plain("a\u{202e}b\u{0}c\nd\u{200d}e"), "ab c de");
        assert_eq!(plain("  two   words "), "two words");
        assert_eq!(plain("שלום <b>"), "שלום <b>");
    }
}
