//! The page's two tables: the keys in which setups differ, and their figures.

use super::{LABEL_MM, LEADING, MARGIN, Side, WORDS_MM, figures, rows};
use crate::report::contact::{INK, QUIET};
use crate::report::drawing::{Colour, Drawing, Paint, Text, fitted};
use crate::setup::differ::Difference;

const RULE: Colour = [222, 222, 222];
const ROW: f64 = 4.7;
/// Between tables beside each other.
const APART: f64 = 12.0;
/// Rows of a table on a page; the rest is told in the text.
const MOST_ROWS: usize = 40;

/// Draws them, beside each other where there are two setups, else one under the other; gives where they end.
pub(super) fn draw(
    page: &mut Drawing,
    sides: &[Side<'_>],
    differences: &[Difference],
    top: f64,
) -> f64 {
    let [left, right] = [MARGIN, page.size_mm[0] - MARGIN];
    let half = 0.5 * (right - left - APART);
    let beside = sides.len() == 2;
    let [keys_to, figures_from] = match beside {
        true => [left + half, right - half],
        false => [right, left],
    };
    let rows = rows(differences);
    let bottom = match rows.is_empty() {
        true => {
            let words = "Nothing differs in the setups.";
            page.text(Text::new([left, top], words, LABEL_MM, INK).strong());
            top
        }
        false => {
            let heading = "What differs in the setups";
            table(page, heading, sides, &rows, [left, keys_to, top])
        }
    };
    let figures: Vec<(String, Vec<String>)> = figures(sides)
        .into_iter()
        .map(|f| (f.name, f.values))
        .collect();
    let figures_top = if beside { top } else { bottom + 10.0 };
    let heading = "Readings and quality";
    let place = [figures_from, right, figures_top];
    bottom.max(table(page, heading, sides, &figures, place))
}

fn table(
    page: &mut Drawing,
    heading: &str,
    sides: &[Side<'_>],
    rows: &[(String, Vec<String>)],
    [left, right, top]: [f64; 3],
) -> f64 {
    let share = if sides.len() == 2 { 0.36 } else { 0.28 };
    let first = 62.0_f64.min(share * (right - left));
    let step = (right - left - first) / sides.len() as f64;
    let at = |k: usize| left + first + k as f64 * step;
    page.text(Text::new([left, top], heading, LABEL_MM, INK).strong());
    for (k, side) in sides.iter().enumerate() {
        let words = fitted(side.name, WORDS_MM, step - 3.0);
        page.text(Text::new([at(k), top], words, WORDS_MM, INK).strong());
    }
    page.line(
        [[left, top + 1.8], [right, top + 1.8]],
        Paint::line(INK, 0.2),
    );
    let mut y = top + 1.8;
    for (name, values) in rows.iter().take(MOST_ROWS) {
        y += ROW;
        let words = fitted(name, WORDS_MM, first - 3.0);
        page.text(Text::new([left, y - 1.3], words, WORDS_MM, QUIET));
        for (k, value) in values.iter().enumerate() {
            let words = fitted(value, WORDS_MM, step - 3.0);
            page.text(Text::new([at(k), y - 1.3], words, WORDS_MM, INK));
        }
        page.line([[left, y], [right, y]], Paint::line(RULE, 0.15));
    }
    if rows.len() > MOST_ROWS {
        y += LEADING;
        let words = format!("and {} more", rows.len() - MOST_ROWS);
        page.text(Text::new([left, y], words, WORDS_MM, QUIET));
    }
    y
}
