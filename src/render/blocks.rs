//! Blocks of a picture that get samples while others rest.

use std::ops::Range;

/// Pixels along a block's side: what a GPU's workgroup does.
pub const BLOCK_SIDE: u32 = 8;

/// Which blocks of some of a picture's rows are chosen. Blocks lie on a grid from the picture's top
/// left, so that any rows cut out of it see the same ones.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Blocks {
    /// Blocks in a row of blocks.
    pub columns: u32,
    first: u32,
    chosen: Vec<bool>,
}

impl Blocks {
    /// None chosen, over `rows` rows of pixels from the picture's row `first_row`.
    pub fn none(width: u32, first_row: u32, rows: u32) -> Self {
        let first = first_row / BLOCK_SIDE;
        let end = (first_row + rows).div_ceil(BLOCK_SIDE).max(first);
        let columns = width.div_ceil(BLOCK_SIDE);
        Self {
            columns,
            first,
            chosen: vec![false; columns as usize * (end - first) as usize],
        }
    }

    /// Blocks in all, chosen or not.
    pub fn len(&self) -> usize {
        self.chosen.len()
    }

    /// True where there is nothing to choose from.
    pub fn is_empty(&self) -> bool {
        self.chosen.is_empty()
    }

    /// Chooses a block, counted from the first row of blocks.
    pub fn choose(&mut self, index: usize) {
        if let Some(block) = self.chosen.get_mut(index) {
            *block = true;
        }
    }

    /// Whether a block is chosen, counted from the first row of blocks.
    pub fn is_chosen(&self, index: usize) -> bool {
        self.chosen.get(index).copied().unwrap_or(false)
    }

    /// Pixels of a block, of `rows` rows from the picture's row `first_row`: columns, and rows counted from
    /// the first of those.
    pub fn pixels_of(
        &self,
        index: usize,
        width: u32,
        first_row: u32,
        rows: u32,
    ) -> (Range<u32>, Range<u32>) {
        let columns = self.columns.max(1) as usize;
        let left = (index % columns) as u32 * BLOCK_SIDE;
        let top = (self.first + (index / columns) as u32) * BLOCK_SIDE;
        let row = |at: u32| at.saturating_sub(first_row).min(rows);
        (
            left.min(width)..(left + BLOCK_SIDE).min(width),
            row(top)..row(top + BLOCK_SIDE),
        )
    }

    /// Which block a pixel belongs to, its row counted from the picture's first.
    pub fn index(&self, x: u32, row: u32) -> usize {
        (row / BLOCK_SIDE).saturating_sub(self.first) as usize * self.columns as usize
            + (x / BLOCK_SIDE) as usize
    }

    /// Whether a pixel belongs to a chosen block, its row counted from the picture's first.
    pub fn holds(&self, x: u32, row: u32) -> bool {
        self.is_chosen(self.index(x, row))
    }

    /// The blocks that some rows of pixels touch, from the block of their first pixel on.
    pub fn of_rows(&self, first_row: u32, rows: u32) -> &[bool] {
        let start = self.index(0, first_row).min(self.len());
        let end = self.index(0, first_row + rows.max(1) - 1) + self.columns as usize;
        &self.chosen[start..end.clamp(start, self.len())]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A grid from the picture's corner, whatever rows are looked at.
    #[test]
    fn any_rows_see_the_same_blocks() {
        let mut blocks = Blocks::none(20, 13, 20);
        assert_eq!((blocks.columns, blocks.len()), (3, 12));
        // Rows 16 to 23, columns 8 to 15.
        blocks.choose(4);
        blocks.choose(99);
        for row in 13..33 {
            for x in 0..20 {
                let wanted = (16..24).contains(&row) && (8..16).contains(&x);
                assert_eq!(blocks.holds(x, row), wanted, "{x} {row}");
            }
        }
        assert_eq!(blocks.pixels_of(4, 20, 13, 20), (8..16, 3..11));
        assert_eq!(blocks.pixels_of(2, 20, 13, 20), (16..20, 0..3));
        assert_eq!(blocks.pixels_of(11, 20, 13, 20), (16..20, 19..20));
        assert!(!blocks.holds(8, 40) && !blocks.is_empty());
        assert_eq!(blocks.of_rows(15, 1), [false; 3]);
        assert_eq!(
            blocks.of_rows(15, 2),
            [false, false, false, false, true, false]
        );
        assert_eq!(blocks.of_rows(32, 9), [false; 3]);
    }
}
