//! Weave drafts: which yarn lies on top where warp and weft cross.
//!
//! A [`Draft`] says how a loom is set up: each end's shafts, and for each pick the shafts that
//! move. Its [`Drawdown`] is the cloth that comes of it. Standard weaves are made by formula
//! ([`StandardWeave`]), any weave can be typed as a text grid ([`Drawdown::from_grid`]), and drafts
//! go in and out as WIF 1.1 ([`read_wif`], [`write_wif`]). Nothing here does I/O.
//!
//! Ends count from the left of the cloth, picks from its bottom, both from 0; files and messages
//! count from 1.

mod drawdown;
mod grid;
mod ini;
mod lists;
mod weave;
mod wif_colours;
mod wif_read;
mod wif_write;

pub use crate::photometry::lm63::{Problem, Problems};
pub use drawdown::{Drawdown, Floats, MASK_SIDE, MOST_CROSSINGS, TooLarge, Yarn};
pub use lists::Lists;
pub use weave::{Hand, StandardWeave, WeaveError};
pub use wif_read::{Reading, read_wif};
pub use wif_write::write_wif;

use std::collections::HashMap;
use std::hash::Hash;

use crate::photometry::colour::srgb_decode;

/// How a loom is set up for a cloth, with the threads' colours and sizes where they are known.
///
/// Numbers that point outside (a shaft past [`Draft::shafts`], a colour past the palette) may be
/// put into the fields; they lift nothing and colour nothing, but what is written then cannot be
/// read back.
#[derive(Debug, Clone, PartialEq)]
pub struct Draft {
    /// Shown to people; may be empty.
    pub title: String,
    /// What the shafts that a pick names do.
    pub shed: Shed,
    /// How many shafts.
    pub shafts: u16,
    /// For each end its shafts, counted from 0. An end on no shaft never moves.
    pub threading: Lists,
    /// For each pick the shafts that move.
    pub lifts: Lifts,
    /// Colours as a screen shows them (sRGB, common practice: the standard does not say), 0 to 1.
    pub palette: Vec<[f32; 3]>,
    /// The ends' colours and sizes.
    pub warp: Threads,
    /// The picks' colours and sizes.
    pub weft: Threads,
}

/// What becomes of the shafts that a pick names.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Shed {
    /// They go up, and their ends lie on top of the pick.
    #[default]
    Rising,
    /// They go down, and all other ends lie on top.
    Sinking,
}

/// Which shafts move at each pick.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Lifts {
    /// By treadles that are tied to shafts.
    Treadles {
        /// For each treadle its shafts, from 0.
        tie_up: Lists,
        /// For each pick the treadles pressed, from 0.
        treadling: Lists,
    },
    /// For each pick the shafts themselves, from 0.
    Plan(Lists),
}

/// Colours and sizes of the threads of one system; all of it may be missing.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Threads {
    /// Each thread's place in the palette, from 0; empty where nothing is known.
    pub colours: Vec<u16>,
    /// From one thread's middle to the next one's.
    pub spacing_mm: Option<f64>,
    /// Width of a thread.
    pub thickness_mm: Option<f64>,
    /// Each thread's own spacing; empty where all have the one above.
    pub spacings_mm: Vec<f64>,
    /// Each thread's own width; empty where all have the one above.
    pub thicknesses_mm: Vec<f64>,
}

impl Draft {
    /// How many ends.
    pub fn ends(&self) -> usize {
        self.threading.len()
    }

    /// How many picks.
    pub fn picks(&self) -> usize {
        match &self.lifts {
            Lifts::Treadles { treadling, .. } => treadling.len(),
            Lifts::Plan(plan) => plan.len(),
        }
    }

    /// The cloth of this draft. An end on several shafts moves when any of them does.
    ///
    /// # Errors
    /// [`TooLarge`] past [`MOST_CROSSINGS`], and for drafts whose tie-up makes four times as much
    /// work as that.
    pub fn drawdown(&self) -> Result<Drawdown, TooLarge> {
        let (ends, picks) = (self.ends(), self.picks());
        let words = self.threading.items().max().map_or(0, |s| s / 32 + 1);
        let tied = match &self.lifts {
            Lifts::Treadles { tie_up, treadling } => treadling
                .items()
                .map(|t| tie_up.row(t).map_or(1, |row| row.len() + 1))
                .fold(0, usize::saturating_add),
            Lifts::Plan(plan) => plan.items().count(),
        };
        let work = (self.threading.items().count() + words)
            .saturating_mul(picks)
            .saturating_add(tied);
        if work > 4 * MOST_CROSSINGS {
            return Err(TooLarge { ends, picks });
        }
        let mut drawdown = Drawdown::new(ends, picks, self.shed == Shed::Sinking)?;
        let mut moved = vec![0_u32; words];
        for pick in 0..picks {
            moved.fill(0);
            let mut mark = |shaft: usize| {
                if let Some(word) = moved.get_mut(shaft / 32) {
                    *word |= 1 << (shaft % 32);
                }
            };
            match &self.lifts {
                Lifts::Treadles { tie_up, treadling } => {
                    for treadle in treadling.row_items(pick) {
                        tie_up.row_items(treadle).for_each(&mut mark);
                    }
                }
                Lifts::Plan(plan) => plan.row_items(pick).for_each(mark),
            }
            for end in 0..ends {
                let moves = self
                    .threading
                    .row_items(end)
                    .any(|s| moved[s / 32] >> (s % 32) & 1 == 1);
                if moves {
                    drawdown.set(end, pick, self.shed == Shed::Rising);
                }
            }
        }
        Ok(drawdown)
    }

    /// A draft that weaves this cloth with as few shafts and treadles as there are different ends
    /// and picks, in the order in which they come. `None` where more than 65535 of either are
    /// needed.
    pub fn from_drawdown(drawdown: &Drawdown) -> Option<Self> {
        let (threading, firsts) = numbered((0..drawdown.ends()).map(|end| drawdown.column(end)))?;
        let (treadling, rows) =
            numbered((0..drawdown.picks()).map(|pick| drawdown.pick_words(pick)))?;
        let tie_up = rows.iter().map(|pick| {
            let lifted = |end: &usize| drawdown.is_up(*end, *pick);
            let shafts = firsts.iter().enumerate();
            shafts
                .filter(move |(_, end)| lifted(end))
                .map(|(shaft, _)| shaft as u16)
                .collect::<Vec<_>>()
        });
        Some(Self {
            title: String::new(),
            shed: Shed::Rising,
            shafts: u16::try_from(firsts.len()).ok()?,
            threading: Lists::from_rows(threading.iter().map(|s| [*s])),
            lifts: Lifts::Treadles {
                tie_up: Lists::from_rows(tie_up),
                treadling: Lists::from_rows(treadling.iter().map(|t| [*t])),
            },
            palette: Vec::new(),
            warp: Threads::default(),
            weft: Threads::default(),
        })
    }

    /// Reflectance of an end in linear sRGB, where its colour is known.
    pub fn warp_reflectance(&self, end: usize) -> Option<[f64; 3]> {
        self.reflectance(&self.warp, end)
    }

    /// Reflectance of a pick in linear sRGB, where its colour is known.
    pub fn weft_reflectance(&self, pick: usize) -> Option<[f64; 3]> {
        self.reflectance(&self.weft, pick)
    }

    fn reflectance(&self, threads: &Threads, number: usize) -> Option<[f64; 3]> {
        let colour = self
            .palette
            .get(usize::from(*threads.colours.get(number)?))?;
        Some(colour.map(|value| srgb_decode(f64::from(value))))
    }
}

/// Numbers things by when they first come; also gives where each of the different ones first was.
fn numbered<T: Eq + Hash>(things: impl Iterator<Item = T>) -> Option<(Vec<u16>, Vec<usize>)> {
    let mut seen = HashMap::new();
    let mut firsts = Vec::new();
    let mut numbers = Vec::new();
    for (place, thing) in things.enumerate() {
        let next = u16::try_from(firsts.len()).ok()?;
        let number = *seen.entry(thing).or_insert(next);
        if number == next {
            firsts.push(place);
        }
        numbers.push(number);
    }
    Some((numbers, firsts))
}

impl Threads {
    /// Threads to a centimetre, where a spacing is known: by the mean of the threads' own.
    pub fn per_cm(&self) -> Option<f64> {
        let spacing_mm = match self.spacings_mm.len() {
            0 => self.spacing_mm?,
            count => self.spacings_mm.iter().sum::<f64>() / count as f64,
        };
        (spacing_mm > 0.0).then(|| 10.0 / spacing_mm)
    }
}
