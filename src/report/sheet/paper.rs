//! Sizes of paper.

/// What the sheet is printed on, upright.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Paper {
    /// ISO 216 A4.
    #[default]
    A4,
    /// ANSI/ASME Y14.1 size A.
    Letter,
}

impl Paper {
    /// Each with its word.
    pub const NAMED: [(&'static str, Self); 2] = [("a4", Self::A4), ("letter", Self::Letter)];

    /// Width and height.
    pub fn size_mm(self) -> [f64; 2] {
        match self {
            Self::A4 => [210.0, 297.0],
            Self::Letter => [215.9, 279.4],
        }
    }

    /// As a style sheet names it.
    pub(super) fn css_name(self) -> &'static str {
        match self {
            Self::A4 => "A4",
            Self::Letter => "letter",
        }
    }
}
