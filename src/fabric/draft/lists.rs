//! Rows of small numbers, packed: a thread's shafts, a treadle's ties.

/// Rows of numbers of any length each, in six bytes a row and number at most.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Lists {
    /// Where each row ends among the items.
    ends: Vec<u32>,
    items: Vec<u16>,
}

impl Lists {
    /// Rows in order, each with its numbers.
    pub fn from_rows<R: IntoIterator<Item = u16>>(rows: impl IntoIterator<Item = R>) -> Self {
        let mut lists = Self::default();
        for row in rows {
            lists.items.extend(row);
            lists.close_row();
        }
        lists
    }

    /// From pairs of row and number, in any order; a number that stands twice in a row counts once.
    pub(super) fn from_pairs(rows: usize, mut pairs: Vec<(u32, u16)>) -> Self {
        pairs.sort_unstable();
        pairs.dedup();
        let mut lists = Self::default();
        let mut pairs = pairs.into_iter().peekable();
        for row in 0..rows {
            while let Some((_, item)) = pairs.next_if(|(at, _)| *at as usize == row) {
                lists.items.push(item);
            }
            lists.close_row();
        }
        lists
    }

    fn close_row(&mut self) {
        self.ends
            .push(u32::try_from(self.items.len()).unwrap_or(u32::MAX));
    }

    /// How many rows.
    pub fn len(&self) -> usize {
        self.ends.len()
    }

    /// Whether there are no rows.
    pub fn is_empty(&self) -> bool {
        self.ends.is_empty()
    }

    /// The numbers of a row.
    pub fn row(&self, row: usize) -> Option<&[u16]> {
        let end = *self.ends.get(row)? as usize;
        let start = match row {
            0 => 0,
            _ => self.ends[row - 1] as usize,
        };
        self.items.get(start..end)
    }

    /// Every row in order.
    pub fn rows(&self) -> impl Iterator<Item = &[u16]> {
        (0..self.len()).filter_map(|row| self.row(row))
    }

    /// The numbers of a row, none past the last row.
    pub(super) fn row_items(&self, row: usize) -> impl Iterator<Item = usize> {
        let items = self.row(row).unwrap_or_default();
        items.iter().map(|item| usize::from(*item))
    }

    /// The numbers of all rows.
    pub(super) fn items(&self) -> impl Iterator<Item = usize> {
        self.items.iter().map(|item| usize::from(*item))
    }
}
