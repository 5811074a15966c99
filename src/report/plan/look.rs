//! How a plan looks: colours, weights of line, units.

use super::map::{Map, Thing};
use crate::report::drawing::{Colour, Paint};

/// Colours of a plan. Tints are opaque: where they overlap the paper stays as light.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Palette {
    /// The sheet itself.
    pub paper: Colour,
    /// Lines and names of things.
    pub ink: Colour,
    /// Dimensions and what is less needed.
    pub mid: Colour,
    /// Hatching, centre lines, edges of beams.
    pub pale: Colour,
    /// Half-metre squares.
    pub squares: Colour,
    /// Metre squares.
    pub metres: Colour,
    /// Where a narrow beam falls; wider ones are fainter.
    pub beam: Colour,
    /// What is selected.
    pub accent: Colour,
    /// The selected light's beam, to a tenth and to half.
    pub accent_field: Colour,
    /// See `accent_field`.
    pub accent_beam: Colour,
    /// Inside of modifiers and of the figure.
    pub body: Colour,
    /// Boards keep their own colour on any sheet.
    pub white_board: Colour,
    /// See `white_board`.
    pub grey_board: Colour,
    /// See `white_board`.
    pub black_board: Colour,
}

impl Palette {
    /// Pencil on white paper.
    pub const PAPER: Self = Self {
        paper: [253, 253, 252],
        ink: [30, 30, 30],
        mid: [104, 104, 104],
        pale: [160, 160, 160],
        squares: [236, 236, 235],
        metres: [221, 221, 220],
        beam: [226, 226, 224],
        accent: [194, 62, 20],
        accent_field: [252, 243, 238],
        accent_beam: [248, 226, 215],
        body: [255, 255, 255],
        white_board: [255, 255, 255],
        grey_board: [160, 160, 160],
        black_board: [20, 20, 20],
    };

    /// The same, darkened.
    pub const DARK: Self = Self {
        paper: [38, 38, 38],
        ink: [226, 226, 226],
        mid: [158, 158, 158],
        pale: [110, 110, 110],
        squares: [48, 48, 48],
        metres: [60, 60, 60],
        beam: [66, 66, 66],
        accent: [244, 126, 74],
        accent_field: [52, 43, 39],
        accent_beam: [70, 51, 42],
        body: [28, 28, 28],
        white_board: [235, 235, 235],
        grey_board: [120, 120, 120],
        black_board: [8, 8, 8],
    };
}

/// Widths of lines, heavy for what stands in the room, light for what is said of it.
#[allow(missing_docs)]
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weights {
    pub heavy_mm: f64,
    pub medium_mm: f64,
    pub light_mm: f64,
    pub hair_mm: f64,
}

impl Default for Weights {
    fn default() -> Self {
        Self {
            heavy_mm: 0.55,
            medium_mm: 0.3,
            light_mm: 0.16,
            hair_mm: 0.1,
        }
    }
}

/// What lengths are written in.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Units {
    /// Metres, to the centimetre.
    #[default]
    Metres,
    /// Feet and inches, to half an inch.
    Feet,
}

impl Units {
    /// A length as it is taped out.
    pub fn length(self, metres: f64) -> String {
        match self {
            // Zero has no sign.
            Self::Metres => format!("{:.2} m", (metres * 100.0).round() / 100.0 + 0.0),
            Self::Feet => {
                let halves = (metres / 0.0127).round() as i64;
                let (sign, halves) = (if halves < 0 { "-" } else { "" }, halves.abs());
                let (feet, inches) = (halves / 24, halves % 24 / 2);
                let half = if halves % 2 == 1 { "½" } else { "" };
                let inches = match (inches, half) {
                    (0, "½") => "½".to_owned(),
                    (inches, half) => format!("{inches}{half}"),
                };
                if feet == 0 {
                    format!("{sign}{inches} in")
                } else {
                    format!("{sign}{feet} ft {inches} in")
                }
            }
        }
    }
}

/// A beam, as full angles across and up the modifier's own face, degrees.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BeamAngles {
    /// Up to where intensity is half of that on the axis.
    pub half_deg: [f64; 2],
    /// Up to where it is a tenth; 180 where it never falls so low before the front.
    pub tenth_deg: [f64; 2],
}

/// What to draw, and how.
#[derive(Debug, Clone, PartialEq)]
pub struct Options {
    /// Drawn in the accent, its tape written out.
    pub selected: Option<Thing>,
    /// Units of what is written.
    pub units: Units,
    /// Colours.
    pub palette: Palette,
    /// Widths of lines.
    pub weights: Weights,
    /// Of an em: names; all else is a little smaller.
    pub text_mm: f64,
    /// Of each light in the setup's order; none for one that shines all round, or that has not been
    /// traced yet. A list too short leaves the others without.
    pub beams: Vec<Option<BeamAngles>>,
    /// Whether tapes, arcs and their numbers are drawn for all things; else only for the selected one.
    pub tapes: bool,
    /// Keeps an earlier drawing's scale and place, so that nothing jumps while a thing is dragged.
    pub map: Option<Map>,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            selected: None,
            units: Units::Metres,
            palette: Palette::PAPER,
            weights: Weights::default(),
            text_mm: 2.5,
            beams: Vec::new(),
            tapes: true,
            map: None,
        }
    }
}

impl Options {
    /// A thing's own colour: the accent where it is selected.
    pub(super) fn ink_of(&self, thing: &Thing) -> Colour {
        if self.is_selected(thing) {
            self.palette.accent
        } else {
            self.palette.ink
        }
    }

    pub(super) fn is_selected(&self, thing: &Thing) -> bool {
        self.selected.as_ref() == Some(thing)
    }

    /// Whether a thing's tape is drawn.
    pub(super) fn has_tape(&self, thing: &Thing) -> bool {
        self.tapes || self.is_selected(thing)
    }

    pub(super) fn small_mm(&self) -> f64 {
        0.88 * self.text_mm
    }

    pub(super) fn hair(&self, colour: Colour) -> Paint {
        Paint::line(colour, self.weights.hair_mm)
    }

    pub(super) fn light(&self, colour: Colour) -> Paint {
        Paint::line(colour, self.weights.light_mm)
    }

    pub(super) fn medium(&self, colour: Colour) -> Paint {
        Paint::line(colour, self.weights.medium_mm)
    }

    pub(super) fn heavy(&self, colour: Colour) -> Paint {
        Paint::line(colour, self.weights.heavy_mm)
    }

    /// Long and short: a centre line.
    pub(super) fn centre(&self, colour: Colour) -> Paint {
        Paint::dashed(colour, self.weights.hair_mm, [3.2, 1.1])
    }

    pub(super) fn dashed(&self, colour: Colour) -> Paint {
        Paint::dashed(colour, self.weights.light_mm, [1.1, 0.8])
    }
}

/// A name, safe to set anywhere: one line, without controls or marks that turn the direction of what
/// follows, and no longer than anyone reads.
pub fn plain_name(name: &str) -> String {
    const MOST_LETTERS: usize = 48;
    let keeps = |c: &char| {
        !c.is_control()
            && !matches!(c, '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}')
    };
    let mut letters = name.chars().filter(keeps);
    let mut out: String = letters.by_ref().take(MOST_LETTERS).collect();
    if letters.next().is_some() {
        out.push('…');
    }
    out
}
