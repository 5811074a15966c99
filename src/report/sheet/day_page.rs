//! The first leaves of a day's sheets: its looks and frames, and in which order they are shot.

use super::content::{Cell, Column, SheetTable, plain};
use super::page::{Laid, feet, title_lines};
use super::paper::Paper;
use super::set::{BODY_MM, GREY, INK, Setter, Style};
use crate::report::labels;

/// Columns of frames beside each other in one table.
const MOST_COLUMNS: usize = 7;

/// A day, as its crew works through it. Any text may be empty.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct DayPage {
    /// What the day is called.
    pub title: String,
    /// A line under it.
    pub about: String,
    /// Anything the crew should know.
    pub notes: String,
    /// Framings, with lightings where there are several.
    pub columns: Vec<String>,
    /// Looks by name, with the numbers of their frames in each column.
    pub looks: Vec<(String, Vec<Vec<usize>>)>,
    /// How the order was found and how long its changes take.
    pub order_about: String,
    /// The order.
    pub order: Vec<DayStop>,
    /// What was compared over the set, a line each.
    pub together: Vec<String>,
}

/// A frame in its turn.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct DayStop {
    /// Its name.
    pub name: String,
    /// Its number in the list, from 1.
    pub frame: usize,
    /// What the changes before it take, in words; empty where nothing changes.
    pub takes: String,
    /// What changes before it, or what is built for the first.
    pub changes: Vec<String>,
}

/// Sets the day.
pub(super) fn lay_day(day: &DayPage, paper: Paper) -> Laid<'static> {
    let mut s = Setter::new(paper.size_mm());
    let title = match plain(&day.title) {
        empty if empty.is_empty() => labels::UNTITLED_DAY.to_owned(),
        title => title,
    };
    s.running_head.clone_from(&title);
    s.first_leaf();
    title_lines(&mut s, &title);
    s.paragraph(&plain(&day.about), Style::new(BODY_MM, GREY));
    s.y_mm += 1.0;
    s.rule(s.y_mm);
    s.y_mm += 5.0;
    if !day.notes.trim().is_empty() {
        s.paragraph(&plain(&day.notes), Style::new(BODY_MM, INK));
        s.y_mm += 4.0;
    }
    for table in coverage(day) {
        s.table(&table);
    }
    let stops: Vec<_> = day.order.iter().enumerate().map(stop).collect();
    if !stops.is_empty() {
        s.steps(&plain(&day.order_about), &stops);
    }
    let together: Vec<_> = day
        .together
        .iter()
        .map(|line| (String::new(), String::new(), plain(line)))
        .collect();
    if !together.is_empty() {
        s.steps(labels::TOGETHER_OVER_THE_DAY, &together);
    }
    feet(&mut s);
    Laid {
        settings_first: false,
        leaves: s.leaves,
        tree: s.tree,
    }
}

/// Which look has which frames.
fn coverage(day: &DayPage) -> Vec<SheetTable> {
    let columns: Vec<usize> = (0..day.columns.len()).collect();
    let tables = columns.chunks(MOST_COLUMNS).map(|held| {
        let share = 140.0 / held.len() as f64;
        let heads = held
            .iter()
            .map(|&c| Column::words(plain(&day.columns[c]), share));
        let first = Column::words(labels::column::LOOK, 40.0);
        let mut table = SheetTable::new(labels::FRAMES, [first].into_iter().chain(heads).collect());
        table.rows = day
            .looks
            .iter()
            .map(|(name, frames)| {
                let cell = |&c: &usize| Cell::new(numbers(frames.get(c).map_or(&[], |f| f)));
                let name = Cell::new(plain(name));
                [name].into_iter().chain(held.iter().map(cell)).collect()
            })
            .collect();
        table
    });
    tables.filter(|table| !table.rows.is_empty()).collect()
}

fn numbers(frames: &[usize]) -> String {
    match frames {
        [] => "–".into(),
        frames => {
            let each: Vec<String> = frames.iter().map(usize::to_string).collect();
            each.join(", ")
        }
    }
}

fn stop((k, stop): (usize, &DayStop)) -> (String, String, String) {
    let frame = labels::stop_head(stop.frame, &plain(&stop.takes));
    let lines = [frame].into_iter().chain(stop.changes.iter().map(|c| {
        // To be ticked off with a pen.
        format!("□ {}", plain(c))
    }));
    let lines: Vec<String> = lines.collect();
    ((k + 1).to_string(), plain(&stop.name), lines.join("\n"))
}

#[cfg(test)]
mod tests {
    use super::super::set::{Ink, Node};
    use super::*;
    use crate::report::drawing::Shape;

    /// Every frame's number and name and every change is on the leaves, however many there are.
    #[test]
    fn a_long_day_goes_on_over_leaves() {
        let day = DayPage {
            title: "Day".into(),
            columns: (0..9).map(|c| format!("framing {c}")).collect(),
            looks: vec![("one".into(), (1..10).map(|n| vec![n]).collect())],
            order_about: "Order".into(),
            order: (0..90)
                .map(|k| DayStop {
                    name: format!("name{k}"),
                    frame: k + 1,
                    takes: "2 min".into(),
                    changes: vec![format!("walk{k}"), "x".repeat(200)],
                })
                .collect(),
            ..DayPage::default()
        };
        let laid = lay_day(&day, Paper::A4);
        assert!(laid.leaves.len() > 3);
        let mut words = String::new();
        for mark in laid.leaves.iter().flat_map(|l| &l.marks) {
            for ink in &mark.inks {
                if let Ink::Shape(Shape::Text(t)) = ink {
                    words += &t.words;
                    words += "\n";
                    assert!(t.at_mm[1] < 297.0 - 8.0, "{t:?}");
                }
            }
        }
        for k in 0..90 {
            assert!(words.contains(&format!("name{k}\n")), "{k}");
            assert!(words.contains(&format!("□ walk{k}\n")), "{k}");
        }
        for c in 0..9 {
            assert!(words.contains(&format!("framing {c}\n")), "{c}");
        }
        let tables = laid.tree.iter().filter(|n| matches!(n, Node::Table(_)));
        assert_eq!(tables.count(), 2);
    }
}
