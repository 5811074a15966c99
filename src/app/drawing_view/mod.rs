//! A plan or an elevation in the window: looked at closely, pointed at, moved about.
//!
//! [`show`] paints a [`Plan`] and gives what was done to it as [`Event`]s. It owns no truth: whoever
//! calls it changes the setup and draws the plan anew. While something is held
//! ([`ViewState::is_held`]), draw with the plan's own map ([`crate::report::plan::Options::map`]), so that the
//! paper stays where it is.
//!
//! | hand | does |
//! |---|---|
//! | wheel, pinch, `+`, `-`, `0` | closer, farther, whole sheet |
//! | drag on empty paper | moves the sheet |
//! | click, Enter | selects |
//! | drag a thing | moves it, in steps of 5 cm and 5° (Alt: freely) |
//! | drag the ring where the selected one aims | aims it; near a named point it takes that |
//! | Tab, Shift+Tab | from thing to thing |
//! | arrows | move the one in focus by 1 cm, with Shift by 10 cm |
//! | Escape | lets go, and puts back |

mod moves;
mod paint;
mod sight;

pub use sight::ViewState;

use crate::report::plan::{Palette, Placed, Plan, Thing};
use egui::{CursorIcon, Id, Key, Modifiers, Pos2, Rect, Response, Role, Sense, Stroke, WidgetInfo};
use glam::DVec3;
use moves::Held;
use paint::colour;

/// How near to a thing a pointer must come, and how large it is at least for the keyboard's frame,
/// points of the screen.
const NEAR: f32 = 6.0;
const LEAST_FRAME: f32 = 14.0;
/// Radius of a handle.
const HANDLE: f32 = 5.0;
/// An arrow key moves so far, metres; with Shift ten times.
const NUDGE_M: f64 = 0.01;
/// `+` and `-` change by so much.
const KEY_ZOOM: f64 = 1.25;

/// What was done.
#[derive(Debug, Clone, PartialEq)]
pub enum Event {
    /// This is to be the selected thing; none after a click on empty paper.
    Selected(Option<Thing>),
    /// A thing was moved.
    Dragged {
        /// Which.
        thing: Thing,
        /// Where its middle is now, metres; what the drawing does not show is as it was.
        point_in_room: DVec3,
        /// Whether it was let go; until then more will come.
        finished: bool,
    },
    /// A thing whose own place tells nothing, the figure on its mark, is to be where it was taken.
    PutBack(Thing),
    /// A thing was aimed; the figure, turned toward it.
    Aimed {
        /// Which.
        thing: Thing,
        /// Where to.
        at: Target,
        /// Whether it was let go.
        finished: bool,
    },
}

/// Where something is aimed.
#[derive(Debug, Clone, PartialEq)]
pub enum Target {
    /// At a point of the figure or the set, by name.
    Named(String),
    /// At a place, metres.
    At(DVec3),
}

/// What a drawing is shown with.
#[derive(Debug, Clone, Copy)]
pub struct Settings<'a> {
    /// Which thing has handles.
    pub selected: Option<&'a Thing>,
    /// Whether moves go in round steps; Alt turns it about.
    pub snap: bool,
    /// Colours, the plan's own.
    pub palette: &'a Palette,
}

/// Paints a drawing into all the room that is left, and gives what was done to it.
pub fn show(
    ui: &mut egui::Ui,
    view: &mut ViewState,
    sheet: &Plan,
    settings: &Settings<'_>,
) -> Vec<Event> {
    let size = ui.available_size();
    let (rect, paper) = ui.allocate_exact_size(size, Sense::click_and_drag());
    let words = sheet.map.view.word();
    paper.widget_info(|| WidgetInfo::labeled(Role::Group, true, words));
    view.fit(rect, sheet.drawing.size_mm);
    let mut events = Vec::new();
    zoom(ui, view, sheet, rect, &paper);
    pointer(ui, view, sheet, settings, &paper, &mut events);

    let painter = ui.painter_at(rect);
    painter.rect_filled(rect, 0.0, colour(settings.palette.paper));
    paint::drawing(&painter, &view.sight(), &sheet.drawing);
    let stops = stops(ui, view, sheet, settings, &paper, &mut events);
    marks(&painter, view, sheet, settings, &stops);
    events
}

/// Closer and farther, about what the pointer is on.
fn zoom(ui: &egui::Ui, view: &mut ViewState, sheet: &Plan, rect: Rect, paper: &Response) {
    // By keys alone, about the middle.
    let has_focus = ui.memory(|m| {
        let stop = |p: &Placed| m.has_focus(stop_id(paper.id, &p.thing));
        m.has_focus(paper.id) || sheet.placed.iter().any(stop)
    });
    let Some(pointer) = paper.hover_pos().or(has_focus.then(|| rect.center())) else {
        return;
    };
    let (wheel, pinch) = ui.input_mut(|i| {
        let wheel = f64::from(i.smooth_scroll_delta.y);
        // Used up: no page around this scrolls as well.
        i.smooth_scroll_delta = egui::Vec2::ZERO;
        (wheel, f64::from(i.zoom_delta()))
    });
    let mut factor = (wheel / 240.0).exp() * pinch;
    if ui.ctx().text_edit_focused() {
        return view.zoom_about(pointer, factor);
    }
    let pressed = |keys: &[Key]| ui.input(|i| keys.iter().any(|k| i.key_pressed(*k)));
    if pressed(&[Key::Plus, Key::Equals]) {
        factor *= KEY_ZOOM;
    }
    if pressed(&[Key::Minus]) {
        factor /= KEY_ZOOM;
    }
    if pressed(&[Key::Num0]) {
        view.whole();
    }
    view.zoom_about(pointer, factor);
}

/// Presses, drags and clicks.
fn pointer(
    ui: &egui::Ui,
    view: &mut ViewState,
    sheet: &Plan,
    settings: &Settings<'_>,
    paper: &Response,
    events: &mut Vec<Event>,
) {
    let sight = view.sight();
    let near_mm = f64::from(NEAR) / sight.points_per_mm;
    view.hovered = paper
        .hover_pos()
        .and_then(|p| sheet.thing_at(sight.mm(p), near_mm))
        .map(|k| sheet.placed[k].thing.clone());
    if paper.drag_started_by(egui::PointerButton::Primary) {
        let origin = ui.input(|i| i.pointer.press_origin());
        view.held = origin.map(|p| {
            let at_mm = sight.mm(p);
            moves::take(sheet, settings.selected, at_mm, near_mm)
        });
        if let Some(Held { hold, .. }) = &view.held
            && let Some(thing) = hold.thing()
            && settings.selected != Some(thing)
        {
            events.push(Event::Selected(Some(thing.clone())));
        }
    }
    let snap = settings.snap != ui.input(|i| i.modifiers.alt);
    if let Some(held) = &view.held {
        if ui.input(|i| i.key_pressed(Key::Escape)) {
            events.extend(held.put_back());
            view.held = None;
        } else if let Some(p) = paper.interact_pointer_pos() {
            let finished = paper.drag_stopped();
            if held.hold.thing().is_none() {
                view.pan(paper.drag_delta());
            } else if paper.dragged() || finished {
                events.extend(held.moved(sheet, sight.mm(p), near_mm, snap, finished));
            }
            if finished {
                view.held = None;
            }
        }
    }
    if view.held.is_some() && !ui.input(|i| i.pointer.any_down() || i.pointer.any_released()) {
        // Let go outside the window.
        view.held = None;
    }
    if paper.clicked()
        && let Some(p) = paper.interact_pointer_pos()
    {
        let hit = sheet.thing_at(sight.mm(p), near_mm);
        let thing = hit.map(|k| sheet.placed[k].thing.clone());
        if let Some(thing) = &thing {
            ui.memory_mut(|m| m.request_focus(stop_id(paper.id, thing)));
        }
        if thing.as_ref() != settings.selected {
            events.push(Event::Selected(thing));
        }
    }
    if view.is_held() {
        ui.ctx().set_cursor_icon(CursorIcon::Grabbing);
    } else if view.hovered.is_some() {
        ui.ctx().set_cursor_icon(CursorIcon::Grab);
    }
}

fn stop_id(paper: Id, thing: &Thing) -> Id {
    paper.with(thing.called())
}

/// A stop of the Tab key for each thing, and what keys do there; gives which one is in focus.
fn stops(
    ui: &egui::Ui,
    view: &ViewState,
    sheet: &Plan,
    settings: &Settings<'_>,
    paper: &Response,
    events: &mut Vec<Event>,
) -> Option<usize> {
    let sight = view.sight();
    let mut focused = None;
    for (k, placed) in sheet.placed.iter().enumerate() {
        let id = stop_id(paper.id, &placed.thing);
        let stop = ui.interact(frame(&sight, placed), id, Sense::focusable_noninteractive());
        let selected = settings.selected == Some(&placed.thing);
        let name = format!("{}, {}", placed.thing.called(), sheet.map.view.word());
        stop.widget_info(|| WidgetInfo::selected(Role::Button, true, selected, &name));
        let asked =
            ui.input(|i| i.has_accesskit_action_request(id, egui::accesskit::Action::Click));
        if !stop.has_focus() && !asked {
            continue;
        }
        if stop.has_focus() {
            focused = Some(k);
            let arrows = egui::EventFilter {
                horizontal_arrows: true,
                vertical_arrows: true,
                ..egui::EventFilter::default()
            };
            ui.memory_mut(|m| m.set_focus_lock_filter(id, arrows));
        }
        let entered = stop.has_focus()
            && ui.input(|i| i.key_pressed(Key::Enter) || i.key_pressed(Key::Space));
        if (entered || asked) && !selected {
            events.push(Event::Selected(Some(placed.thing.clone())));
        }
        if stop.has_focus() && placed.movable {
            let steps = nudges(ui);
            if steps != [0.0; 2] {
                let [right, up] = steps.map(|s| s * 1000.0 / sheet.map.one_to);
                let [x, y] = placed.body.at_mm;
                events.push(Event::Dragged {
                    thing: placed.thing.clone(),
                    point_in_room: sheet.map.room_of_mm([x + right, y - up], placed.body.at_m),
                    finished: true,
                });
            }
        }
    }
    focused
}

/// What the arrow keys ask for, metres to the right and up the page.
fn nudges(ui: &egui::Ui) -> [f64; 2] {
    ui.input_mut(|i| {
        let mut steps = [0.0; 2];
        for (key, axis, sign) in [
            (Key::ArrowRight, 0, 1.0),
            (Key::ArrowLeft, 0, -1.0),
            (Key::ArrowUp, 1, 1.0),
            (Key::ArrowDown, 1, -1.0),
        ] {
            let far = 10 * i.count_and_consume_key(Modifiers::SHIFT, key);
            let near = i.count_and_consume_key(Modifiers::NONE, key);
            steps[axis] += sign * NUDGE_M * (far + near) as f64;
        }
        steps
    })
}

/// The frame around a thing on the screen, never too small to be seen.
fn frame(sight: &sight::Sight, placed: &Placed) -> Rect {
    let points: Vec<Pos2> = placed.outline_mm.iter().map(|p| sight.at(*p)).collect();
    let around = Rect::from_points(&points);
    let least = egui::Vec2::splat(LEAST_FRAME);
    Rect::from_center_size(around.center(), around.size().max(least))
}

/// What is under the pointer, in focus and selected, over the drawing.
fn marks(
    painter: &egui::Painter,
    view: &ViewState,
    sheet: &Plan,
    settings: &Settings<'_>,
    focused: &Option<usize>,
) {
    let sight = view.sight();
    let accent = colour(settings.palette.accent);
    if let Some(placed) = view.hovered.as_ref().and_then(|t| sheet.find(t)) {
        let points = placed.outline_mm.iter().map(|p| sight.at(*p)).collect();
        painter.add(egui::Shape::closed_line(points, Stroke::new(1.6, accent)));
    }
    if let Some(placed) = focused.and_then(|k| sheet.placed.get(k)) {
        let around = frame(&sight, placed).expand(3.0);
        let line = Stroke::new(1.2, accent);
        painter.rect_stroke(around, 2.0, line, egui::StrokeKind::Outside);
    }
    let selected = settings.selected.and_then(|t| sheet.find(t));
    if let Some(aim) = selected.and_then(|p| p.aim.as_ref()) {
        let at = sight.at(aim.at_mm);
        let paper = colour(settings.palette.paper);
        painter.circle(at, HANDLE, paper, Stroke::new(1.6, accent));
        painter.circle_filled(at, 1.4, accent);
    }
}
