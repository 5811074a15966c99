//! The built-in typeface: widths and outlines of letters. Letters that it lacks come from a second one.

use ttf_parser::{Face, GlyphId, OutlineBuilder};

/// Sizes of a text and of a letter are in ems here.
pub(super) struct Typeface {
    faces: Vec<Face<'static>>,
}

impl Typeface {
    pub(super) fn new() -> Self {
        let files = [
            epaint_default_fonts::UBUNTU_LIGHT,
            epaint_default_fonts::HACK_REGULAR,
        ];
        Self {
            faces: files
                .into_iter()
                .filter_map(|bytes| Face::parse(bytes, 0).ok())
                .collect(),
        }
    }

    /// The face that has a letter, and its number there; else the mark for a letter that is missing.
    fn letter(&self, letter: char) -> Option<(&Face<'static>, GlyphId)> {
        let found = self
            .faces
            .iter()
            .find_map(|face| Some((face, face.glyph_index(letter)?)));
        found.or_else(|| Some((self.faces.first()?, GlyphId(0))))
    }

    pub(super) fn advance(&self, letter: char) -> f64 {
        self.letter(letter).map_or(0.5, |(face, glyph)| {
            let units = face.glyph_hor_advance(glyph).unwrap_or(0);
            f64::from(units) / f64::from(face.units_per_em())
        })
    }

    /// Draws a letter, y up, into a pen; gives units to the em.
    pub(super) fn outline(&self, letter: char, pen: &mut dyn OutlineBuilder) -> f64 {
        self.letter(letter).map_or(1.0, |(face, glyph)| {
            face.outline_glyph(glyph, pen);
            f64::from(face.units_per_em())
        })
    }
}

/// Width of a text set in letters of this size.
pub fn text_width_mm(words: &str, size_mm: f64) -> f64 {
    let typeface = Typeface::new();
    size_mm * words.chars().map(|c| typeface.advance(c)).sum::<f64>()
}
