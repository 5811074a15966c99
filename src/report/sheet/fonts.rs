//! The built-in typefaces for text that stays text: which letter comes from which, and how wide it is.

use ttf_parser::{Face, GlyphId};

/// The files, the first that has a letter gives it.
pub(super) const FILES: [&[u8]; 2] = [
    epaint_default_fonts::UBUNTU_LIGHT,
    epaint_default_fonts::HACK_REGULAR,
];

/// Drawn for a letter that none of them has.
const MISSING: char = '□';

/// A letter to be drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Glyph {
    /// Which of [`FILES`].
    pub face: usize,
    /// Its number there.
    pub id: u16,
    /// To the next letter, in ems.
    pub advance_em: f64,
    /// Whether it stands for a letter that is missing.
    pub stands_in: bool,
}

/// The typefaces, read once.
pub(super) struct Fonts(Vec<Face<'static>>);

impl Fonts {
    pub(super) fn new() -> Self {
        let faces = FILES
            .into_iter()
            .filter_map(|bytes| Face::parse(bytes, 0).ok());
        Self(faces.collect())
    }

    /// What draws a letter.
    pub(super) fn glyph(&self, letter: char) -> Option<Glyph> {
        self.found(letter, false)
            .or_else(|| self.found(MISSING, true))
    }

    fn found(&self, letter: char, stands_in: bool) -> Option<Glyph> {
        self.0.iter().enumerate().find_map(|(face, font)| {
            let id = font.glyph_index(letter).filter(|id| *id != GlyphId(0))?;
            let units = f64::from(font.glyph_hor_advance(id)?);
            Some(Glyph {
                face,
                id: id.0,
                advance_em: units / f64::from(font.units_per_em()),
                stands_in,
            })
        })
    }

    /// Width of a text set in letters of this size.
    pub(super) fn width_mm(&self, words: &str, size_mm: f64) -> f64 {
        let ems: f64 = words
            .chars()
            .map(|c| self.glyph(c).map_or(0.0, |g| g.advance_em))
            .sum();
        ems * size_mm
    }

    /// Words in lines no wider than this; a word that is wider is broken where it must be. Never empty.
    pub(super) fn lines(&self, words: &str, size_mm: f64, width_mm: f64) -> Vec<String> {
        let mut lines = vec![String::new()];
        let mut used_mm = 0.0;
        let space_mm = self.width_mm(" ", size_mm);
        for word in words.split_whitespace() {
            let wide_mm = self.width_mm(word, size_mm);
            let fits = used_mm == 0.0 || used_mm + space_mm + wide_mm <= width_mm;
            if !fits {
                lines.push(String::new());
                used_mm = 0.0;
            }
            if used_mm > 0.0 {
                push(&mut lines, ' ');
                used_mm += space_mm;
            }
            for letter in word.chars() {
                let letter_mm = self.glyph(letter).map_or(0.0, |g| g.advance_em) * size_mm;
                if used_mm + letter_mm > width_mm && used_mm > 0.0 {
                    lines.push(String::new());
                    used_mm = 0.0;
                }
                push(&mut lines, letter);
                used_mm += letter_mm;
            }
        }
        lines
    }

    /// As [`Fonts::lines`], no more than so many: the last then ends in "…".
    pub(super) fn lines_up_to(
        &self,
        most: usize,
        words: &str,
        size_mm: f64,
        width_mm: f64,
    ) -> Vec<String> {
        let mut lines = self.lines(words, size_mm, width_mm);
        if lines.len() > most {
            lines.truncate(most);
            if let Some(last) = lines.last_mut() {
                while self.width_mm(&format!("{last}…"), size_mm) > width_mm && last.pop().is_some()
                {
                }
                last.push('…');
            }
        }
        lines
    }
}

fn push(lines: &mut [String], letter: char) {
    if let Some(last) = lines.last_mut() {
        last.push(letter);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_stand_under_each_other() {
        let fonts = Fonts::new();
        let wide = |c: char| fonts.width_mm(&c.to_string(), 1.0);
        for figure in '0'..='9' {
            assert!((wide(figure) - wide('0')).abs() < 1e-9, "{figure}");
        }
    }

    #[test]
    fn no_line_is_too_wide_and_no_letter_is_lost() {
        let fonts = Fonts::new();
        let text = format!("a {} ends 漢字 🎽 here", "w".repeat(90));
        for width_mm in [6.0, 20.0, 61.5] {
            let lines = fonts.lines(&text, 3.0, width_mm);
            for line in &lines {
                assert!(fonts.width_mm(line, 3.0) <= width_mm + 1e-9, "{line}");
            }
            let kept: String = lines.concat().split_whitespace().collect();
            assert_eq!(kept, text.split_whitespace().collect::<String>());
        }
        assert!(fonts.glyph('漢').is_some_and(|g| g.stands_in));
        assert!(fonts.glyph('é').is_some_and(|g| !g.stands_in));
        assert_eq!(fonts.lines("", 3.0, 10.0), [""]);
        let cut = fonts.lines_up_to(2, &text, 3.0, 20.0);
        assert!(cut.len() == 2 && cut[1].ends_with('…'), "{cut:?}");
    }
}
