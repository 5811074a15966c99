//! What repeats in a cloth: its threads, and the weave's own figure.

use crate::fabric::draft::Drawdown;
use std::f64::consts::TAU;
use std::fmt;

/// What makes a pattern.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Thread {
    /// End beside end.
    Ends,
    /// Pick beside pick.
    Picks,
    /// Which yarn is on top: the figure of the weave.
    Weave,
    /// Wale beside wale of a knit.
    Wales,
    /// Course beside course of a knit.
    Courses,
}

impl fmt::Display for Thread {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Ends => "ends",
            Self::Picks => "picks",
            Self::Weave => "weave",
            Self::Wales => "wales",
            Self::Courses => "courses",
        })
    }
}

/// Something that repeats evenly over a cloth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClothPattern {
    /// What makes it.
    pub thread: Thread,
    /// Its frequency along the weft (courses of a knit) and along the warp (wales).
    pub cycles_per_mm: [f64; 2],
    /// Michelson contrast of the cloth itself at this frequency, 0 to 1.
    pub contrast: f64,
}

impl ClothPattern {
    /// From one line of the pattern to the next.
    pub fn period_mm(&self) -> f64 {
        self.cycles_per_mm[0].hypot(self.cycles_per_mm[1]).recip()
    }
}

/// Repeats larger than this a side are left to their threads: what shows of them is no moiré.
const MOST_THREADS: usize = 128;
/// Weaker parts of a weave's figure than this share of the strongest are left out.
const WEAK: f64 = 0.4;

/// The patterns of a woven cloth: its ends, its picks, and the strongest parts of its figure,
/// strongest first.
///
/// `threads` and `figure` are the cloth's own Michelson contrasts: of the relief of single threads,
/// and between the faces of warp and weft. Where they are not known give 1: the worst there can be.
/// The figure is the Fourier series of the drawdown (warp 1, weft -1) over one repeat: a plain weave
/// has one part, of two threads each way; a twill has its lines. A part's amplitude times `figure`,
/// at most 1, is its contrast.
pub fn of_weave(
    ends_per_cm: f64,
    picks_per_cm: f64,
    drawdown: &Drawdown,
    threads: f64,
    figure: f64,
) -> Vec<ClothPattern> {
    let [ends_per_mm, picks_per_mm] = [ends_per_cm / 10.0, picks_per_cm / 10.0];
    let mut patterns = vec![
        ClothPattern {
            thread: Thread::Ends,
            cycles_per_mm: [ends_per_mm, 0.0],
            contrast: threads,
        },
        ClothPattern {
            thread: Thread::Picks,
            cycles_per_mm: [0.0, picks_per_mm],
            contrast: threads,
        },
    ];
    let mut parts = figure_of(drawdown);
    parts.sort_by(|a, b| b.1.total_cmp(&a.1));
    let strongest = parts.first().map_or(0.0, |p| p.1);
    for ([across, along], amplitude) in parts {
        // Rounding leaves a trace at frequencies that are not there.
        if amplitude > 1e-6 && amplitude >= WEAK * strongest {
            patterns.push(ClothPattern {
                thread: Thread::Weave,
                cycles_per_mm: [across * ends_per_mm, along * picks_per_mm],
                contrast: (amplitude * figure).min(1.0),
            });
        }
    }
    patterns
}

/// The patterns of a knit, with the Michelson contrast of its loops (1 where it is not known).
pub fn of_knit(wales_per_cm: f64, courses_per_cm: f64, contrast: f64) -> Vec<ClothPattern> {
    vec![
        ClothPattern {
            thread: Thread::Wales,
            cycles_per_mm: [wales_per_cm / 10.0, 0.0],
            contrast,
        },
        ClothPattern {
            thread: Thread::Courses,
            cycles_per_mm: [0.0, courses_per_cm / 10.0],
            contrast,
        },
    ]
}

/// Frequencies of the drawdown in cycles per end and pick, each with the amplitude of its cosine;
/// those of one thread itself and the mean are left out, and of each pair ±f one is kept.
fn figure_of(drawdown: &Drawdown) -> Vec<([f64; 2], f64)> {
    let repeat = drawdown.smallest_repeat();
    let (ends, picks) = (repeat.ends(), repeat.picks());
    if ends == 0 || picks == 0 || ends > MOST_THREADS || picks > MOST_THREADS {
        return Vec::new();
    }
    // Along the picks first: a row's transform serves every frequency across them.
    let wave = |n: usize, i: usize, k: usize| (TAU * ((i * k) % n) as f64 / n as f64).sin_cos();
    let mut rows = vec![[0.0_f64; 2]; ends * picks];
    for pick in 0..picks {
        for i in 0..ends {
            for k in 0..ends {
                let sign = match repeat.warp_on_top(k as i64, pick as i64) {
                    true => 1.0,
                    false => -1.0,
                };
                let (s, c) = wave(ends, i, k);
                rows[pick * ends + i][0] += sign * c;
                rows[pick * ends + i][1] -= sign * s;
            }
        }
    }
    let mut parts = Vec::new();
    for i in 0..=ends / 2 {
        for j in 0..picks {
            let own_pair = |n: usize, i: usize| (2 * i).is_multiple_of(n);
            let mirrored = own_pair(ends, i) && 2 * j > picks;
            if (i, j) == (0, 0) || mirrored {
                continue;
            }
            let (mut real, mut imaginary) = (0.0, 0.0);
            for pick in 0..picks {
                let [re, im] = rows[pick * ends + i];
                let (s, c) = wave(picks, j, pick);
                real += re * c + im * s;
                imaginary += im * c - re * s;
            }
            let twice = match own_pair(ends, i) && own_pair(picks, j) {
                true => 1.0,
                false => 2.0,
            };
            let amplitude = twice * f64::hypot(real, imaginary) / (ends * picks) as f64;
            // Past half a cycle a thread the other way round is the shorter name for it.
            let signed = match 2 * j > picks {
                true => j as f64 - picks as f64,
                false => j as f64,
            };
            let frequency = [i as f64 / ends as f64, signed / picks as f64];
            parts.push((frequency, amplitude));
        }
    }
    parts
}
