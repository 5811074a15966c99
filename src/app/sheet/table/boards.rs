//! A board's row.

use super::cells::{choice, place_cells, tidy};
use super::{COLUMNS, Changes, ROW};
use crate::app::cell::{self, Cell, Did};
use crate::app::desk::Desk;
use crate::app::theme::Theme;
use crate::app::words;
use crate::setup::{Board, BoardKind, cloth_words};
use egui::{Pos2, Rect, Ui, vec2};

#[allow(clippy::too_many_arguments)]
pub(super) fn board_row(
    desk: &mut Desk,
    ui: &mut Ui,
    row: Rect,
    lefts: &[f32; 11],
    board: &Board,
    theme: &Theme,
    changes: &mut Changes,
) {
    let n = &board.name;
    let [w, h] = board.size_m;
    let finish = words::finish(&board.kind);
    let key = match board.kind {
        BoardKind::Scrim(_) => "cloth",
        _ => "finish",
    };
    // The word that was chosen, or what it comes to.
    let written = |key: &str| {
        let document = desk.document.as_ref()?;
        let written = document.value(&format!("{n}.{key}"))?;
        (!written.starts_with('{')).then_some(written)
    };
    let both = (COLUMNS[1].1 + COLUMNS[2].1) * row.width();
    let (left, right) = (0.46 * both, 0.54 * both);
    let at = Rect::from_min_size(
        Pos2::new(lefts[1], row.top() + 5.0),
        vec2(left - 8.0, ROW - 10.0),
    );
    if key == "finish" {
        let known = ["white", "black", "silver", "grey"].map(str::to_owned);
        choice(
            ui,
            at,
            &format!("{n} finish"),
            &finish,
            &known,
            theme,
            |chosen| {
                changes.push((format!("{n}.finish"), chosen.to_owned()));
            },
        );
    } else {
        let known: Vec<String> = cloth_words().map(str::to_owned).collect();
        choice(
            ui,
            at,
            &format!("{n} cloth"),
            &written("cloth").unwrap_or(finish),
            &known,
            theme,
            |chosen| {
                changes.push((format!("{n}.cloth"), chosen.to_owned()));
            },
        );
    }
    let size = format!("{} x {} m", tidy(w), tidy(h));
    let place = Rect::from_min_size(
        Pos2::new(lefts[1] + left, row.top() + 6.0),
        vec2(right - 4.0, ROW - 12.0),
    );
    let cell = Cell {
        name: format!("{n} size"),
        shown: &size,
        written: None,
        width: right - 10.0,
        nudges: false,
        strong: false,
        hint: "width and height: 1.0 x 2.0 m",
        size: None,
    };
    let did = cell
        .show(
            &mut ui.new_child(cell::place(ui, place, (n, "size"))),
            theme,
        )
        .1;
    if let Some(Did::Typed(typed)) = did {
        changes.push((format!("{n}.size"), typed));
    }
    place_cells(
        desk,
        ui,
        row,
        lefts,
        n,
        &board.place.taped(),
        (
            &board.aim.at,
            "what its front faces: a body point, floor, swatch, or [x, y, z]",
        ),
        theme,
        changes,
    );
}
