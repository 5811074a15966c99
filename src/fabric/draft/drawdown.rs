//! The cloth of a draft: which yarn is on top at every crossing, and what follows from it.

use std::ops::Not;

use thiserror::Error;

/// No drawdown is larger: 8 MiB of bits.
pub const MOST_CROSSINGS: usize = 1 << 26;

/// Ends and picks of the largest drawdown that [`Drawdown::mask`] gives.
pub const MASK_SIDE: usize = 32;

/// A draft too large to be drawn down.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[error(
    "a draft of {ends} ends and {picks} picks is too large; give one repeat of the weave, with at most {MOST_CROSSINGS} crossings"
)]
pub struct TooLarge {
    /// How many ends.
    pub ends: usize,
    /// How many picks.
    pub picks: usize,
}

/// One of the two systems of a woven cloth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Yarn {
    /// An end.
    Warp,
    /// A pick.
    Weft,
}

/// Which yarn is on top where each end crosses each pick, over one repeat.
///
/// The cloth goes on without end: ends and picks outside are those of the repeats around it. A
/// drawdown without ends or without picks counts as weft on top.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Drawdown {
    ends: usize,
    picks: usize,
    /// For each pick `words_per_pick` words; bit `k % 32` of word `k / 32` is set where the warp is
    /// on top of end `k`. Spare bits are 0.
    words: Vec<u32>,
}

/// How far the threads of a system float, counted in threads of the other that they pass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Floats {
    /// The longest on the face; the whole repeat for a thread that never goes to the back.
    pub longest_on_face: usize,
    /// The longest on the back.
    pub longest_on_back: usize,
    /// The mean over both faces: threads crossed for each interlacing (the average float F = E/I
    /// of cloth geometry, 1 for plain weave). Infinite where nothing interlaces.
    pub mean: f64,
}

impl Drawdown {
    /// By a function of end and pick that says whether the warp is on top.
    ///
    /// # Errors
    /// [`TooLarge`] past [`MOST_CROSSINGS`].
    pub fn from_fn(
        ends: usize,
        picks: usize,
        warp_on_top: impl Fn(usize, usize) -> bool,
    ) -> Result<Self, TooLarge> {
        let mut drawdown = Self::new(ends, picks, false)?;
        for pick in 0..picks {
            for end in 0..ends {
                if warp_on_top(end, pick) {
                    drawdown.set(end, pick, true);
                }
            }
        }
        Ok(drawdown)
    }

    /// With the same yarn on top everywhere.
    pub(super) fn new(ends: usize, picks: usize, warp_on_top: bool) -> Result<Self, TooLarge> {
        let words = ends.div_ceil(32).checked_mul(picks);
        match words {
            // Narrow drafts spend a word a pick; the bound holds for the memory, not the bits.
            Some(words) if words <= MOST_CROSSINGS / 32 => {
                let mut drawdown = Self {
                    ends,
                    picks,
                    words: vec![0; words],
                };
                if warp_on_top {
                    for pick in 0..picks {
                        (0..ends).for_each(|end| drawdown.set(end, pick, true));
                    }
                }
                Ok(drawdown)
            }
            _ => Err(TooLarge { ends, picks }),
        }
    }

    /// How many ends.
    pub fn ends(&self) -> usize {
        self.ends
    }

    /// How many picks.
    pub fn picks(&self) -> usize {
        self.picks
    }

    /// Whether the warp is on top where an end crosses a pick, any of the endless cloth's.
    pub fn warp_on_top(&self, end: i64, pick: i64) -> bool {
        if self.ends == 0 || self.picks == 0 {
            return false;
        }
        let end = end.rem_euclid(self.ends as i64) as usize;
        let pick = pick.rem_euclid(self.picks as i64) as usize;
        self.is_up(end, pick)
    }

    /// Which yarn is on top where an end crosses a pick, any of the endless cloth's.
    pub fn on_top(&self, end: i64, pick: i64) -> Yarn {
        match self.warp_on_top(end, pick) {
            true => Yarn::Warp,
            false => Yarn::Weft,
        }
    }

    /// The bits, pick by pick from the first: `words_per_pick()` words each, end `k` in bit
    /// `k % 32` of word `k / 32`, set where the warp is on top. This is what a shader reads.
    pub fn words(&self) -> &[u32] {
        &self.words
    }

    /// Words of [`Drawdown::words`] for each pick.
    pub fn words_per_pick(&self) -> usize {
        self.ends.div_ceil(32)
    }

    /// One word a pick, for drawdowns of up to [`MASK_SIDE`] ends and picks; picks past the last
    /// are 0. `None` for larger ones.
    pub fn mask(&self) -> Option<[u32; MASK_SIDE]> {
        if self.ends > MASK_SIDE || self.picks > MASK_SIDE {
            return None;
        }
        let mut mask = [0; MASK_SIDE];
        for (row, word) in mask.iter_mut().zip(&self.words) {
            *row = *word;
        }
        Some(mask)
    }

    /// Share of the crossings with the warp on top.
    pub fn warp_share(&self) -> f64 {
        let up: u64 = self.words.iter().map(|w| u64::from(w.count_ones())).sum();
        match self.ends * self.picks {
            0 => 0.0,
            all => up as f64 / all as f64,
        }
    }

    /// How often an end changes face over one repeat of the picks.
    pub fn warp_interlacings(&self, end: usize) -> usize {
        self.count_changes(Yarn::Warp, end)
    }

    /// How often a pick changes face over one repeat of the ends.
    pub fn weft_interlacings(&self, pick: usize) -> usize {
        self.count_changes(Yarn::Weft, pick)
    }

    /// How often the threads of both systems change face over one repeat.
    pub fn interlacings(&self) -> usize {
        let warp: usize = (0..self.ends).map(|end| self.warp_interlacings(end)).sum();
        let weft: usize = (0..self.picks)
            .map(|pick| self.weft_interlacings(pick))
            .sum();
        warp + weft
    }

    /// The floats of a system's threads.
    pub fn floats(&self, system: Yarn) -> Floats {
        let (threads, crossed) = self.sizes(system);
        let changes: usize = (0..threads).map(|t| self.count_changes(system, t)).sum();
        let longest = |on_face: bool| {
            let runs = (0..threads).map(|t| self.longest_run(system, t, on_face));
            runs.max().unwrap_or(0)
        };
        Floats {
            longest_on_face: longest(true),
            longest_on_back: longest(false),
            mean: match changes {
                0 => f64::INFINITY,
                _ => (threads * crossed) as f64 / changes as f64,
            },
        }
    }

    /// The part of the drawdown that repeats, smallest in ends and in picks. Where at least two
    /// whole repeats stand side by side, a cut one after them is taken for one that goes on.
    pub fn smallest_repeat(&self) -> Self {
        let ends = period(self.ends, |a, b| {
            (0..self.picks).all(|pick| self.is_up(a, pick) == self.is_up(b, pick))
        });
        let picks = period(self.picks, |a, b| self.pick_words(a) == self.pick_words(b));
        let mut repeat = Self {
            ends,
            picks,
            words: vec![0; ends.div_ceil(32) * picks],
        };
        for pick in 0..picks {
            for end in 0..ends {
                repeat.set(end, pick, self.is_up(end, pick));
            }
        }
        repeat
    }

    /// Whether it is one cloth: no threads can be lifted off the rest.
    ///
    /// A cloth hangs together when from every thread one can go down, from a thread to one that it
    /// lies on, to every other (C. R. J. Clapham, "When a fabric hangs together", Bull. London
    /// Math. Soc. 12, 1980; from memory).
    pub fn hangs_together(&self) -> bool {
        self.reaches_all(true) && self.reaches_all(false)
    }

    /// Whether all threads are reached from the first end, going down or going up.
    fn reaches_all(&self, down: bool) -> bool {
        let mut ends_left: Vec<usize> = (1..self.ends).collect();
        let mut picks_left: Vec<usize> = (0..self.picks).collect();
        let mut ends_due = if self.ends > 0 { vec![0] } else { Vec::new() };
        let mut picks_due = Vec::new();
        loop {
            if let Some(end) = ends_due.pop() {
                take(&mut picks_left, &mut picks_due, |pick| {
                    self.is_up(end, pick) == down
                });
            } else if let Some(pick) = picks_due.pop() {
                take(&mut ends_left, &mut ends_due, |end| {
                    self.is_up(end, pick) != down
                });
            } else {
                return ends_left.is_empty() && picks_left.is_empty();
            }
        }
    }

    /// Whether the warp is on top; both inside the drawdown.
    pub(super) fn is_up(&self, end: usize, pick: usize) -> bool {
        self.words[pick * self.words_per_pick() + end / 32] >> (end % 32) & 1 == 1
    }

    pub(super) fn set(&mut self, end: usize, pick: usize, warp_on_top: bool) {
        let at = pick * self.words_per_pick() + end / 32;
        let bit = 1 << (end % 32);
        match warp_on_top {
            true => self.words[at] |= bit,
            false => self.words[at] &= !bit,
        }
    }

    /// A pick's words.
    pub(super) fn pick_words(&self, pick: usize) -> &[u32] {
        let words = self.words_per_pick();
        &self.words[pick * words..(pick + 1) * words]
    }

    /// An end's bits over the picks, as words.
    pub(super) fn column(&self, end: usize) -> Vec<u32> {
        let mut column = vec![0; self.picks.div_ceil(32)];
        for pick in (0..self.picks).filter(|pick| self.is_up(end, *pick)) {
            column[pick / 32] |= 1 << (pick % 32);
        }
        column
    }

    /// How many threads the system has, and how many each of them crosses.
    fn sizes(&self, system: Yarn) -> (usize, usize) {
        match system {
            Yarn::Warp => (self.ends, self.picks),
            Yarn::Weft => (self.picks, self.ends),
        }
    }

    /// Whether a thread of the system is on the face at its crossing of that number.
    fn on_face(&self, system: Yarn, thread: usize, crossing: usize) -> bool {
        match system {
            Yarn::Warp => self.is_up(thread, crossing),
            Yarn::Weft => self.is_up(crossing, thread).not(),
        }
    }

    fn count_changes(&self, system: Yarn, thread: usize) -> usize {
        let (threads, crossed) = self.sizes(system);
        if thread >= threads || crossed == 0 {
            return 0;
        }
        let mut before = self.on_face(system, thread, crossed - 1);
        let mut changes = 0;
        for crossing in 0..crossed {
            let now = self.on_face(system, thread, crossing);
            changes += usize::from(now != before);
            before = now;
        }
        changes
    }

    /// The longest run of crossings on one face, over the repeat's edge too.
    fn longest_run(&self, system: Yarn, thread: usize, on_face: bool) -> usize {
        let (_, crossed) = self.sizes(system);
        let mut longest = 0;
        let mut run = 0;
        // Twice around sees every run whole.
        for crossing in 0..2 * crossed {
            let there = self.on_face(system, thread, crossing % crossed) == on_face;
            run = if there { run + 1 } else { 0 };
            longest = longest.max(run);
        }
        longest.min(crossed)
    }
}

/// Moves what fits from one list to the other.
fn take(from: &mut Vec<usize>, to: &mut Vec<usize>, fits: impl Fn(usize) -> bool) {
    from.retain(|item| {
        let fit = fits(*item);
        if fit {
            to.push(*item);
        }
        !fit
    });
}

/// After how many of `count` things they repeat, by the failure function of Knuth, Morris and
/// Pratt; `count` itself where fewer than two repeats are whole and the last is cut.
fn period(count: usize, same: impl Fn(usize, usize) -> bool) -> usize {
    let mut borders = vec![0; count];
    for i in 1..count {
        let mut border: usize = borders[i - 1];
        while border > 0 && !same(i, border) {
            border = borders[border - 1];
        }
        borders[i] = border + usize::from(same(i, border));
    }
    let shift = count - borders.last().copied().unwrap_or(0);
    if shift > 0 && (count.is_multiple_of(shift) || 2 * shift <= count) {
        shift
    } else {
        count
    }
}
