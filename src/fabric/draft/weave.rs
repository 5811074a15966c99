//! Standard weaves by formula. Definitions are those of textbooks of weaving (Watson, "Textile
//! Design and Colour") and of ISO 3572, from memory.

use thiserror::Error;

use super::Drawdown;

/// A weave with a name and a formula. Threads are counted from 0, ends `k` from the left and picks
/// `j` from the bottom.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StandardWeave {
    /// Over one, under one.
    Plain,
    /// Plain weave with so many ends and picks side by side.
    Basket(u8),
    /// Cords that run across the cloth: so many picks in one shed (warp rib).
    CordAcross(u8),
    /// Cords that run along the cloth: so many ends as one (weft rib).
    CordAlong(u8),
    /// The same float at each pick, one end further on.
    Twill {
        /// Picks that an end passes over.
        over: u8,
        /// Picks that an end passes under.
        under: u8,
        /// Which way the line rises.
        hand: Hand,
    },
    /// Stripes of a balanced twill that turn over, with a clean cut: ends on either side of it are
    /// each other's opposite.
    Herringbone {
        /// Picks that an end passes over, and under.
        float: u8,
        /// Ends of a stripe.
        width: u8,
    },
    /// Warp-faced: each pick binds under one end in so many.
    Satin {
        /// Ends of the repeat.
        ends: u8,
        /// Ends from one pick's binding point to the next one's: the counter, or move number.
        counter: u8,
    },
    /// Weft-faced: each pick binds over none but one end in so many.
    Sateen {
        /// Ends of the repeat.
        ends: u8,
        /// Ends from one pick's binding point to the next one's: the counter, or move number.
        counter: u8,
    },
}

/// Which way a twill line rises on the face, the warp upright.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hand {
    /// To the right, as the middle stroke of a Z.
    Right,
    /// To the left, as the middle stroke of an S.
    Left,
}

/// Why numbers make no such weave.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum WeaveError {
    /// A float or width of 0.
    #[error("a weave with a float or a stripe of 0 threads; write 1 or more")]
    Zero,
    /// A counter that makes no satin.
    #[error(
        "a counter of {counter} makes no satin of {ends} ends; write one from 2 to the ends less 2 that shares no factor with them, such as 2 for 5 ends or 3 for 8"
    )]
    Counter {
        /// Ends of the repeat.
        ends: u8,
        /// The counter asked for.
        counter: u8,
    },
}

const fn twill(over: u8, under: u8, hand: Hand) -> StandardWeave {
    StandardWeave::Twill { over, under, hand }
}

const fn satin(ends: u8, counter: u8) -> StandardWeave {
    StandardWeave::Satin { ends, counter }
}

const fn sateen(ends: u8, counter: u8) -> StandardWeave {
    StandardWeave::Sateen { ends, counter }
}

impl StandardWeave {
    /// The weaves that a fabric file can name.
    pub const NAMED: [(&'static str, Self); 24] = [
        ("plain", Self::Plain),
        ("basket-2", Self::Basket(2)),
        ("basket-3", Self::Basket(3)),
        ("cord-across", Self::CordAcross(2)),
        ("cord-along", Self::CordAlong(2)),
        ("twill-2-1-right", twill(2, 1, Hand::Right)),
        ("twill-2-1-left", twill(2, 1, Hand::Left)),
        ("twill-1-2-right", twill(1, 2, Hand::Right)),
        ("twill-1-2-left", twill(1, 2, Hand::Left)),
        ("twill-3-1-right", twill(3, 1, Hand::Right)),
        ("twill-3-1-left", twill(3, 1, Hand::Left)),
        ("twill-1-3-right", twill(1, 3, Hand::Right)),
        ("twill-1-3-left", twill(1, 3, Hand::Left)),
        ("twill-2-2-right", twill(2, 2, Hand::Right)),
        ("twill-2-2-left", twill(2, 2, Hand::Left)),
        (
            "herringbone",
            Self::Herringbone {
                float: 2,
                width: 12,
            },
        ),
        ("satin-5", satin(5, 2)),
        ("satin-5-counter-3", satin(5, 3)),
        ("satin-8", satin(8, 3)),
        ("satin-8-counter-5", satin(8, 5)),
        ("sateen-5", sateen(5, 2)),
        ("sateen-5-counter-3", sateen(5, 3)),
        ("sateen-8", sateen(8, 3)),
        ("sateen-8-counter-5", sateen(8, 5)),
    ];

    /// The weave of a name of [`StandardWeave::NAMED`], in any case.
    pub fn by_name(name: &str) -> Option<Self> {
        Self::NAMED
            .iter()
            .find(|(known, _)| known.eq_ignore_ascii_case(name.trim()))
            .map(|(_, weave)| *weave)
    }

    /// One repeat of the weave.
    ///
    /// # Errors
    /// [`WeaveError`] for numbers that make no such weave.
    pub fn drawdown(self) -> Result<Drawdown, WeaveError> {
        let (ends, picks) = self.repeat()?;
        // A repeat has at most 510 ends and picks, far below what is too large.
        Drawdown::from_fn(ends, picks, |k, j| self.warp_up(k as i64, j as i64))
            .map_err(|_| WeaveError::Zero)
    }

    /// Ends and picks after which the weave repeats.
    ///
    /// # Errors
    /// [`WeaveError`] for numbers that make no such weave.
    pub fn repeat(self) -> Result<(usize, usize), WeaveError> {
        let sizes = match self {
            Self::Plain => (2, 2),
            Self::Basket(n) => (2 * usize::from(n), 2 * usize::from(n)),
            Self::CordAcross(n) => (2 * usize::from(n).min(1), 2 * usize::from(n)),
            Self::CordAlong(n) => (2 * usize::from(n), 2 * usize::from(n).min(1)),
            Self::Twill { over, under, .. } => {
                let n = usize::from(over) + usize::from(under);
                if over == 0 || under == 0 {
                    (0, 0)
                } else {
                    (n, n)
                }
            }
            Self::Herringbone { float, width } => (2 * usize::from(width), 2 * usize::from(float)),
            Self::Satin { ends, counter } | Self::Sateen { ends, counter } => {
                let fits = counter > 1 && counter < ends.saturating_sub(1);
                if !fits || gcd(ends, counter) != 1 {
                    return Err(WeaveError::Counter { ends, counter });
                }
                (usize::from(ends), usize::from(ends))
            }
        };
        match sizes {
            (0, _) | (_, 0) => Err(WeaveError::Zero),
            sizes => Ok(sizes),
        }
    }

    /// Whether the warp is on top where end `k` crosses pick `j`; the numbers make a weave.
    fn warp_up(self, k: i64, j: i64) -> bool {
        let even = |n: i64| n.rem_euclid(2) == 0;
        match self {
            Self::Plain => even(k + j),
            Self::Basket(n) => even(k / i64::from(n) + j / i64::from(n)),
            Self::CordAcross(n) => even(k + j / i64::from(n)),
            Self::CordAlong(n) => even(k / i64::from(n) + j),
            Self::Twill { over, under, hand } => {
                let along = match hand {
                    Hand::Right => k - j,
                    Hand::Left => k + j,
                };
                along.rem_euclid(i64::from(over) + i64::from(under)) < i64::from(over)
            }
            Self::Herringbone { float, width } => {
                let (float, width) = (i64::from(float), i64::from(width));
                // Half a repeat on, an end is its own opposite: that makes the cuts clean.
                let phase = if k < width {
                    k
                } else {
                    2 * width - 1 - k + float
                };
                (phase - j).rem_euclid(2 * float) < float
            }
            Self::Satin { ends, counter } => {
                (k - i64::from(counter) * j).rem_euclid(i64::from(ends)) != 0
            }
            Self::Sateen { ends, counter } => {
                (k - i64::from(counter) * j).rem_euclid(i64::from(ends)) == 0
            }
        }
    }
}

fn gcd(a: u8, b: u8) -> u8 {
    if b == 0 { a } else { gcd(b, a % b) }
}
