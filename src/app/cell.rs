//! Cells that are typed into in place: a value with its unit, taken up with Enter or Tab, nudged with
//! the arrow keys, put back with Escape.

use super::theme::{BODY, Theme};
use egui::{Event, FontId, Key, Rect, Response, TextEdit, Ui, UiBuilder};
use std::fmt::Debug;
use std::hash::Hash;

/// What happened in a cell.
#[derive(Debug, Clone, PartialEq)]
pub enum Did {
    /// A value was typed.
    Typed(String),
    /// Steps up (down where negative); fine ones with Shift.
    Nudged {
        /// How many.
        steps: i32,
        /// A finer step.
        fine: bool,
    },
}

/// A cell.
pub struct Cell<'a> {
    /// Its name for screen readers, such as "key distance".
    pub name: String,
    /// What it shows when nobody types.
    pub shown: &'a str,
    /// What is there to be typed over, where that is not what is shown.
    pub written: Option<&'a str>,
    /// Width in points.
    pub width: f32,
    /// Whether arrow keys nudge it.
    pub nudges: bool,
    /// Shown strongly.
    pub strong: bool,
    /// What may be typed.
    pub hint: &'a str,
    /// Size of its type, where that is not the table's.
    pub size: Option<f32>,
}

impl Cell<'_> {
    /// Shows it. The second is what was done, if anything.
    pub fn show(self, ui: &mut Ui, theme: &Theme) -> (Response, Option<Did>) {
        let id = ui.make_persistent_id(("cell", &self.name));
        let typed_id = id.with("typed");
        let focused = ui.memory(|m| m.has_focus(id));
        let mut typed = ui
            .data(|d| d.get_temp::<String>(typed_id))
            .filter(|_| focused)
            .unwrap_or_else(|| self.shown.to_owned());
        let mut nudged = None;
        let mut left = false;
        if focused {
            nudged = self.nudges.then(|| nudges(ui)).flatten();
            left = ui.input(|i| i.key_pressed(Key::Escape));
        }
        let usual = if self.strong { BODY + 1.0 } else { BODY };
        let mut edit = TextEdit::singleline(&mut typed)
            .id(id)
            .desired_width(self.width)
            .clip_text(true)
            .margin(egui::Margin::symmetric(3, 2))
            .text_color(theme.ink)
            .font(FontId::proportional(self.size.unwrap_or(usual)));
        if !focused {
            edit = edit
                .background_color(egui::Color32::TRANSPARENT)
                .frame(egui::Frame::NONE.inner_margin(egui::Margin::symmetric(3, 2)));
        }
        let response = edit.show(ui).response.response;
        name(ui, &response, &self.name);
        let response = if self.hint.is_empty() {
            response
        } else {
            response.on_hover_text(self.hint)
        };
        if response.gained_focus() {
            let start = self.written.unwrap_or(self.shown).to_owned();
            select_all(ui, id, &start);
            ui.data_mut(|d| d.insert_temp(typed_id, start));
            return (response, None);
        }
        if left {
            ui.data_mut(|d| d.remove::<String>(typed_id));
            ui.memory_mut(|m| m.surrender_focus(id));
            return (response, None);
        }
        if let Some(nudged) = nudged {
            // What was half typed gives way to the step.
            ui.data_mut(|d| d.remove::<String>(typed_id));
            return (response, Some(nudged));
        }
        if response.lost_focus() {
            let was = self.written.unwrap_or(self.shown);
            let kept = ui.data_mut(|d| {
                let kept = d.get_temp::<String>(typed_id);
                d.remove::<String>(typed_id);
                kept
            });
            let changed = kept
                .is_some_and(|_| typed.trim() != was.trim() && typed.trim() != self.shown.trim());
            return (response, changed.then_some(Did::Typed(typed)));
        }
        if response.has_focus() {
            ui.data_mut(|d| d.insert_temp(typed_id, typed));
        }
        (response, None)
    }
}

/// A place for controls, whose ids do not count what came before it: readings that arrive add to the page, and a
/// click, a drag or a focus begun before they came would be lost with the id. `called` is its own within `ui`.
pub fn place(ui: &Ui, at: Rect, called: impl Hash + Debug) -> UiBuilder {
    UiBuilder::new()
        .max_rect(at)
        .scope_id(ui.scope_id().with(called))
}

/// Gives a control its name for screen readers and tests.
pub fn name(ui: &Ui, response: &Response, label: &str) {
    ui.ctx()
        .accesskit_node_builder(response.id, |node| node.set_label(label));
}

/// Arrow keys up and down, taken from what the text would make of them.
fn nudges(ui: &Ui) -> Option<Did> {
    let (mut steps, mut fine) = (0, false);
    ui.input_mut(|input| {
        input.events.retain(|event| match event {
            Event::Key {
                key: key @ (Key::ArrowUp | Key::ArrowDown),
                pressed: true,
                modifiers,
                ..
            } => {
                steps += if *key == Key::ArrowUp { 1 } else { -1 };
                fine |= modifiers.shift;
                false
            }
            _ => true,
        });
    });
    (steps != 0).then_some(Did::Nudged { steps, fine })
}

fn select_all(ui: &Ui, id: egui::Id, text: &str) {
    use egui::text::{CCursor, CCursorRange};
    let mut state = egui::text_edit::TextEditState::load(ui.ctx(), id).unwrap_or_default();
    let end = text.chars().count();
    state
        .cursor
        .set_char_range(Some(CCursorRange::two(CCursor::new(0), CCursor::new(end))));
    state.store(ui.ctx(), id);
}
