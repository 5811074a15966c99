//! Tables on a terminal: columns aligned on their left, two spaces apart.

/// Widest that a table should be.
pub const WIDEST: usize = 100;

/// Between columns.
const GAP: usize = 2;

/// Longest name in a column; longer ones are cut.
const LONGEST: usize = 28;

/// Rows of cells, the first row being the header.
#[derive(Debug, Clone, Default)]
pub struct Table {
    rows: Vec<Vec<String>>,
}

impl Table {
    /// A table with its header.
    pub fn new<S: Into<String>>(header: impl IntoIterator<Item = S>) -> Self {
        let mut table = Self::default();
        table.row(header);
        table
    }

    /// Adds a row.
    pub fn row<S: Into<String>>(&mut self, cells: impl IntoIterator<Item = S>) {
        self.rows.push(cells.into_iter().map(Into::into).collect());
    }

    /// Width of each column.
    fn widths(&self) -> Vec<usize> {
        let columns = self.rows.iter().map(Vec::len).max().unwrap_or(0);
        (0..columns)
            .map(|c| {
                self.rows
                    .iter()
                    .filter_map(|r| r.get(c))
                    .map(|t| width(t))
                    .max()
                    .unwrap_or(0)
            })
            .collect()
    }

    /// As text. Where it would be wider than `widest`, the columns after the first are spread over
    /// several blocks, each with the first column again.
    pub fn render(&self, widest: usize) -> String {
        let widths = self.widths();
        let mut out = String::new();
        for (number, columns) in blocks(&widths, widest).into_iter().enumerate() {
            if number > 0 {
                out.push('\n');
            }
            for row in &self.rows {
                let mut line = String::new();
                for &c in &columns {
                    let text = row.get(c).map_or("", String::as_str);
                    line.push_str(text);
                    line.push_str(&" ".repeat(widths[c] - width(text) + GAP));
                }
                out.push_str(line.trim_end());
                out.push('\n');
            }
        }
        out
    }
}

/// Which columns stand in which block.
fn blocks(widths: &[usize], widest: usize) -> Vec<Vec<usize>> {
    let mut blocks: Vec<Vec<usize>> = Vec::new();
    let mut used = 0;
    for (c, w) in widths.iter().enumerate() {
        match blocks.last_mut() {
            Some(block) if block.len() < 2 || used + GAP + w <= widest => {
                used += GAP + w;
                block.push(c);
            }
            Some(_) => {
                used = widths[0] + GAP + w;
                blocks.push(vec![0, c]);
            }
            None => {
                used = *w;
                blocks.push(vec![c]);
            }
        }
    }
    blocks
}

fn width(text: &str) -> usize {
    text.chars().count()
}

/// A name of a light or a point, cut where it would spoil a table.
pub fn name(text: &str) -> String {
    if width(text) <= LONGEST {
        return text.to_owned();
    }
    text.chars().take(LONGEST - 1).chain(['…']).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_line_up() {
        let mut table = Table::new(["point", "key", "together"]);
        table.row(["face", "f/7.1 +.2", "f/8"]);
        table.row(["côté", "f/8", "f/9"]);
        assert_eq!(
            table.render(80),
            "point  key        together\nface   f/7.1 +.2  f/8\ncôté   f/8        f/9\n"
        );
    }

    #[test]
    fn wide_tables_go_on_below() {
        let mut table = Table::new((0..12).map(|c| format!("column {c:02}")));
        table.row((0..12).map(|c| c.to_string()));
        let text = table.render(40);
        assert!(text.lines().all(|l| width(l) <= 40), "{text}");
        for c in 0..12 {
            assert!(text.contains(&format!("column {c:02}")), "{text}");
        }
        assert_eq!(
            text.lines().filter(|l| l.starts_with("column 00")).count(),
            6
        );
        assert!(
            text.starts_with(
                "column 00  column 01  column 02\n0          1          2\n\ncolumn 00"
            ),
            "{text}"
        );
    }

    #[test]
    fn long_names_are_cut() {
        assert_eq!(name("key"), "key");
        assert_eq!(width(&name(&"n".repeat(60))), LONGEST);
    }
}
