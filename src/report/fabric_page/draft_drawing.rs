//! A draft on squared paper, the way weaving books print it: the cloth at the lower left with its
//! first pick lowest, threading above it, the treadling or lift plan to its right, the tie-up in the
//! corner. Shafts count from the cloth upward, treadles from it to the right (common practice).

use super::super::drawing::{Anchor, Colour, Drawing, Paint, Text};
use crate::fabric::draft::{Draft, Drawdown, Lifts, Shed, TooLarge};
use crate::photometry::colour::transfer::encode_srgb8;

const INK: Colour = [34, 34, 34];
const QUIET: Colour = [110, 110, 110];
const PAPER: Colour = [255, 255, 255];
const THIN: Colour = [200, 200, 200];
/// Around one repeat.
const REPEAT: Colour = [166, 66, 82];
const LABEL_MM: f64 = 2.5;
/// Room for a line of labels above, and for one below.
const LABEL_ROOM_MM: f64 = 4.0;
/// By how much a label may be wider than the narrowest treadling.
const LABEL_OVER_MM: f64 = 5.0;
/// Sides of a square: no larger, no smaller.
const LARGEST_MM: f64 = 4.0;
const SMALLEST_MM: f64 = 1.1;
/// Squares between the cloth and what stands beside it.
const GAP: usize = 1;
/// Squares between heavier lines, as on the paper that is sold.
const HEAVY: usize = 4;

/// What of a draft is on the page.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DraftDrawn {
    /// Ends and picks drawn, the first ones.
    pub ends: usize,
    /// See `ends`.
    pub picks: usize,
    /// Whether threading, tie-up and treadling found room beside the cloth.
    pub with_loom: bool,
    /// Side of a square.
    pub square_mm: f64,
    /// Ends and picks of one repeat; it is outlined where all of it is drawn and more.
    pub repeat: [usize; 2],
    shed: Shed,
}

impl DraftDrawn {
    /// What a reader must know to read it.
    pub fn words(&self, draft: &Draft) -> String {
        let [ends, picks] = self.repeat;
        let mut words = format!("Filled: the end is on top. Repeat {ends} ends, {picks} picks");
        if self.ends < draft.ends() || self.picks < draft.picks() {
            words += &format!("; the first {} × {} are drawn", self.ends, self.picks);
        }
        words += ". ";
        if self.with_loom {
            words += match self.shed {
                Shed::Rising => "Marked shafts rise.",
                Shed::Sinking => "Marked shafts sink, all others' ends lie on top.",
            };
        } else {
            words += "Its loom's set-up has too many shafts to be drawn here.";
        }
        words
    }
}

/// Draws a draft into a box of the page.
///
/// Crossings are filled in the colour of the yarn on top where the draft has colours, else in black
/// where the warp is.
///
/// # Errors
/// A draft too large to be drawn down.
pub fn draft_drawing(
    page: &mut Drawing,
    draft: &Draft,
    corner_mm: [f64; 2],
    size_mm: [f64; 2],
) -> Result<DraftDrawn, TooLarge> {
    let drawdown = draft.drawdown()?;
    let repeat = drawdown.smallest_repeat();
    let plan = Layout::of(draft, size_mm);
    let sheet = Sheet {
        square_mm: plan.square_mm,
        // Lower left of the cloth.
        origin_mm: [
            corner_mm[0],
            corner_mm[1] + LABEL_ROOM_MM + plan.square_mm * (plan.picks + plan.above()) as f64,
        ],
    };
    sheet.cloth(page, draft, &drawdown, &plan);
    let size = [repeat.ends(), repeat.picks()];
    let shown = size[0] <= plan.ends && size[1] <= plan.picks;
    if shown && size != [plan.ends, plan.picks] {
        let outline = sheet.square([0, size[1]], [size[0], size[1]]);
        page.rect(outline.0, outline.1, Paint::line(REPEAT, 0.4));
    }
    if plan.with_loom {
        sheet.loom(page, draft, &plan);
    }
    Ok(DraftDrawn {
        ends: plan.ends,
        picks: plan.picks,
        with_loom: plan.with_loom,
        square_mm: plan.square_mm,
        repeat: size,
        shed: draft.shed,
    })
}

/// How many squares of what fit.
struct Layout {
    ends: usize,
    picks: usize,
    shafts: usize,
    /// Treadles, or shafts of a lift plan.
    columns: usize,
    with_loom: bool,
    square_mm: f64,
}

impl Layout {
    fn of(draft: &Draft, size_mm: [f64; 2]) -> Self {
        let shafts = usize::from(draft.shafts);
        let columns = match &draft.lifts {
            Lifts::Treadles { tie_up, .. } => tie_up.len(),
            Lifts::Plan(_) => shafts,
        };
        let room_mm = [size_mm[0], size_mm[1] - 2.0 * LABEL_ROOM_MM];
        let most = room_mm.map(|mm| (mm / SMALLEST_MM).max(1.0) as usize);
        // At least half of the room is the cloth's.
        let with_loom = (GAP + 1..=most[1] / 2).contains(&(shafts + GAP))
            && (GAP + 1..=most[0] / 2).contains(&(columns + GAP));
        let [right, above] = match with_loom {
            true => [columns + GAP, shafts + GAP],
            false => [0, 0],
        };
        let ends = draft.ends().min(most[0].saturating_sub(right));
        let picks = draft.picks().min(most[1].saturating_sub(above));
        let fits = |room_mm: f64, squares: usize| room_mm / squares.max(1) as f64;
        Self {
            ends,
            picks,
            shafts,
            columns,
            with_loom,
            square_mm: fits(
                room_mm[0] - LABEL_OVER_MM * right.min(1) as f64,
                ends + right,
            )
            .min(fits(room_mm[1], picks + above))
            .min(LARGEST_MM),
        }
    }

    /// Squares above the cloth.
    fn above(&self) -> usize {
        match self.with_loom {
            true => self.shafts + GAP,
            false => 0,
        }
    }
}

/// Squares on the page: columns to the right, rows upward from the cloth's first pick.
struct Sheet {
    square_mm: f64,
    origin_mm: [f64; 2],
}

impl Sheet {
    /// Top left corner and size of a block by its left column, the row above its top one, and how
    /// many columns and rows it has.
    fn square(&self, [left, top]: [usize; 2], size: [usize; 2]) -> ([f64; 2], [f64; 2]) {
        let corner = [
            self.origin_mm[0] + left as f64 * self.square_mm,
            self.origin_mm[1] - top as f64 * self.square_mm,
        ];
        (corner, size.map(|n| n as f64 * self.square_mm))
    }

    /// Empty paper, with a heavier line each few squares.
    fn paper(&self, page: &mut Drawing, [left, bottom]: [usize; 2], [columns, rows]: [usize; 2]) {
        let (corner, size) = self.square([left, bottom + rows], [columns, rows]);
        let [x, y] = corner;
        let (right, foot) = (x + size[0], y + size[1]);
        for k in 0..=columns {
            let at = x + k as f64 * self.square_mm;
            page.line([[at, y], [at, foot]], ruled(k, columns));
        }
        for k in 0..=rows {
            let at = foot - k as f64 * self.square_mm;
            page.line([[x, at], [right, at]], ruled(k, rows));
        }
    }

    /// A filled square.
    fn mark(&self, page: &mut Drawing, [column, row]: [usize; 2]) {
        let ([x, y], [w, h]) = self.square([column, row + 1], [1, 1]);
        let inset = 0.14 * self.square_mm;
        let size = [w - 2.0 * inset, h - 2.0 * inset];
        page.rect([x + inset, y + inset], size, Paint::fill(INK));
    }

    fn cloth(&self, page: &mut Drawing, draft: &Draft, drawdown: &Drawdown, plan: &Layout) {
        let shown = |reflectance: [f64; 3]| reflectance.map(encode_srgb8);
        let colour = |end: usize, pick: usize| match drawdown.warp_on_top(end as i64, pick as i64) {
            true => draft.warp_reflectance(end).map_or(INK, shown),
            false => draft.weft_reflectance(pick).map_or(PAPER, shown),
        };
        for pick in 0..plan.picks {
            let mut end = 0;
            while end < plan.ends {
                // Neighbours of one colour are one block: fewer shapes, no hair lines.
                let fill = colour(end, pick);
                let run = (end..plan.ends)
                    .take_while(|e| colour(*e, pick) == fill)
                    .count();
                let (corner, size) = self.square([end, pick + 1], [run, 1]);
                page.rect(corner, size, Paint::fill(fill));
                end += run;
            }
        }
        self.paper(page, [0, 0], [plan.ends, plan.picks]);
        let foot = self.origin_mm[1] + 3.2;
        self.label(page, [self.origin_mm[0], foot], "cloth, first pick lowest");
    }

    fn loom(&self, page: &mut Drawing, draft: &Draft, plan: &Layout) {
        let (left, bottom) = (plan.ends + GAP, plan.picks + GAP);
        self.paper(page, [0, bottom], [plan.ends, plan.shafts]);
        for end in 0..plan.ends {
            for shaft in row(draft.threading.row(end), plan.shafts) {
                self.mark(page, [end, bottom + shaft]);
            }
        }
        let head = self.origin_mm[1] - (bottom + plan.shafts) as f64 * self.square_mm - 1.2;
        self.label(page, [self.origin_mm[0], head], "threading");

        self.paper(page, [left, 0], [plan.columns, plan.picks]);
        let x = self.origin_mm[0] + left as f64 * self.square_mm;
        let (lifts, name) = match &draft.lifts {
            Lifts::Treadles { treadling, .. } => (treadling, "treadling"),
            Lifts::Plan(plan) => (plan, "lift plan"),
        };
        for pick in 0..plan.picks {
            for column in row(lifts.row(pick), plan.columns) {
                self.mark(page, [left + column, pick]);
            }
        }
        self.label(page, [x, self.origin_mm[1] + 3.2], name);
        if let Lifts::Treadles { tie_up, .. } = &draft.lifts {
            self.paper(page, [left, bottom], [plan.columns, plan.shafts]);
            for treadle in 0..plan.columns {
                for shaft in row(tie_up.row(treadle), plan.shafts) {
                    self.mark(page, [left + treadle, bottom + shaft]);
                }
            }
            self.label(page, [x, head], "tie-up");
        }
    }

    fn label(&self, page: &mut Drawing, at_mm: [f64; 2], words: &str) {
        page.text(Text::new(at_mm, words, LABEL_MM, QUIET).anchored(Anchor::Start));
    }
}

/// The numbers of a list that are on the page.
fn row(numbers: Option<&[u16]>, below: usize) -> impl Iterator<Item = usize> {
    let numbers = numbers.unwrap_or_default().iter();
    numbers.map(|n| usize::from(*n)).filter(move |n| *n < below)
}

fn ruled(line: usize, last: usize) -> Paint {
    if line == 0 || line == last {
        Paint::line(INK, 0.2)
    } else if line.is_multiple_of(HEAVY) {
        Paint::line(QUIET, 0.15)
    } else {
        Paint::line(THIN, 0.1)
    }
}
