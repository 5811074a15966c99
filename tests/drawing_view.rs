//! The plan in the window, worked by hand and by keys without a screen: what is done to it comes out as
//! the right event, in metres of the room.

use egui::accesskit::Role;
use egui::{Event as Input, Key, Modifiers, MouseWheelUnit, Pos2, Vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};
use glam::DVec3;
use std::path::Path;
use swatchlight::app::drawing_view::{Event, Settings, Target, ViewState, show};
use swatchlight::report::plan::{Kind, Options, Palette, Plan, Thing, View, draw};
use swatchlight::scene::models::Models;
use swatchlight::setup::{Place, Setup, parse};

const SETUP: &str = include_str!("../models/setups/focused-key.toml");
const SHEET_MM: [f64; 2] = [120.0, 100.0];
const WINDOW: Vec2 = Vec2::new(720.0, 600.0);

fn setup() -> Setup {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("models/setups/focused-key.toml");
    parse(SETUP, "test.toml", &Models::for_setup(&file))
        .unwrap_or_else(|p| panic!("{}", p.render(false)))
        .setup
}

/// A window with one drawing; what is selected stays so, as its owner would have it.
struct Desk {
    sheet: Plan,
    view: ViewState,
    selected: Option<Thing>,
    snap: bool,
    events: Vec<Event>,
}

fn desk(view: View, snap: bool) -> Harness<'static, Desk> {
    let sheet = draw(&setup(), view, SHEET_MM, &Options::default());
    let desk = Desk {
        sheet,
        view: ViewState::default(),
        selected: None,
        snap,
        events: Vec::new(),
    };
    let mut harness = Harness::builder().with_size(WINDOW).build_ui_state(
        |ui, desk: &mut Desk| {
            let settings = Settings {
                selected: desk.selected.as_ref(),
                snap: desk.snap,
                palette: &Palette::PAPER,
            };
            let new = show(ui, &mut desk.view, &desk.sheet, &settings);
            for event in &new {
                if let Event::Selected(thing) = event {
                    desk.selected = thing.clone();
                }
            }
            desk.events.extend(new);
        },
        desk,
    );
    harness.run_steps(2);
    harness
}

fn light(name: &str) -> Thing {
    Thing::new(Kind::Light, name)
}

fn at(harness: &Harness<'_, Desk>, thing: &Thing) -> Pos2 {
    let desk = harness.state();
    let placed = desk.sheet.find(thing).expect("it is drawn");
    desk.view.screen_of_mm(placed.body.at_mm)
}

/// Presses at one place, goes to another in steps, and lets go there.
fn drag(harness: &mut Harness<'_, Desk>, from: Pos2, to: Pos2) {
    harness.hover_at(from);
    harness.step();
    harness.drag_at(from);
    harness.step();
    for k in 1..=4 {
        harness.hover_at(from + (to - from) * (k as f32 / 4.0));
        harness.step();
    }
    harness.drop_at(to);
    harness.step();
    harness.run_steps(2);
}

fn click(harness: &mut Harness<'_, Desk>, place: Pos2) {
    harness.hover_at(place);
    harness.step();
    harness.drag_at(place);
    harness.step();
    harness.drop_at(place);
    harness.run_steps(2);
}

/// The last place a thing was dragged to, and whether it was let go.
fn dragged(harness: &Harness<'_, Desk>) -> Option<(Thing, DVec3, bool)> {
    harness.state().events.iter().rev().find_map(|e| match e {
        Event::Dragged {
            thing,
            point_in_room,
            finished,
        } => Some((thing.clone(), *point_in_room, *finished)),
        _ => None,
    })
}

#[test]
fn a_drag_gives_the_place_in_the_room() {
    let mut harness = desk(View::Plan, false);
    let from = at(&harness, &light("key"));
    let to = from + Vec2::new(-30.0, 45.0);
    drag(&mut harness, from, to);
    let (thing, place, finished) = dragged(&harness).expect("it was dragged");
    assert!(finished);
    assert_eq!(thing, light("key"));
    let desk = harness.state();
    let before = desk.sheet.find(&thing).expect("drawn").body.at_m;
    // By hand: points of the screen to millimetres of paper to metres of the room.
    let ruler = [0.0, 100.0].map(|x| desk.view.screen_of_mm([x, 0.0]).x);
    let points_per_mm = f64::from(ruler[1] - ruler[0]) / 100.0;
    assert!(points_per_mm > 5.0, "the sheet fills the window");
    let metres = |points: f64| points / points_per_mm * desk.sheet.map.one_to / 1000.0;
    let wanted = before + DVec3::new(metres(-30.0), 0.0, metres(45.0));
    assert!(place.distance(wanted) < 2e-3, "{place} {wanted}");
    assert_eq!(place.y, before.y, "a plan does not change heights");
    // It was selected when it was taken, and more than one event told of the way.
    assert_eq!(desk.selected, Some(light("key")));
    let on_the_way = desk
        .events
        .iter()
        .filter(|e| {
            matches!(
                e,
                Event::Dragged {
                    finished: false,
                    ..
                }
            )
        })
        .count();
    assert!(on_the_way >= 3, "{on_the_way}");
}

#[test]
fn a_drag_snaps_to_the_tape() {
    let mut harness = desk(View::Plan, true);
    let from = at(&harness, &light("key"));
    drag(&mut harness, from, from + Vec2::new(-17.0, 9.0));
    let (_, place, _) = dragged(&harness).expect("it was dragged");
    let (distance_m, bearing_rad, _) = Place::At(place).taped();
    let off = |v: f64, step: f64| (v / step - (v / step).round()).abs();
    assert!(off(distance_m, 0.05) < 1e-6, "{distance_m}");
    assert!(off(bearing_rad.to_degrees(), 5.0) < 1e-6, "{bearing_rad}");
}

#[test]
fn an_elevation_changes_heights() {
    let mut harness = desk(View::Side, true);
    let from = at(&harness, &light("edge"));
    drag(&mut harness, from, from + Vec2::new(0.0, -40.0));
    let (thing, place, finished) = dragged(&harness).expect("it was dragged");
    assert!(finished);
    let before = harness.state().sheet.find(&thing).expect("drawn").body.at_m;
    assert!(place.y > before.y + 0.1);
    assert_eq!(place.x, before.x, "what is across stays");
    assert!((place.y / 0.05 - (place.y / 0.05).round()).abs() < 1e-6);
}

#[test]
fn a_click_selects_and_a_click_beside_lets_go() {
    let mut harness = desk(View::Plan, true);
    let place = at(&harness, &light("fill"));
    click(&mut harness, place);
    assert_eq!(harness.state().selected, Some(light("fill")));
    assert!(dragged(&harness).is_none(), "a click moves nothing");
    let empty = harness.state().view.screen_of_mm([5.0, 60.0]);
    click(&mut harness, empty);
    assert_eq!(harness.state().selected, None);
}

#[test]
fn an_aim_is_dragged_and_takes_a_named_point() {
    let mut harness = desk(View::Side, false);
    harness.state_mut().selected = Some(light("key"));
    harness.run_steps(2);
    let (aim, face, wall) = {
        let desk = harness.state();
        let placed = desk.sheet.find(&light("key")).expect("drawn");
        let aim = placed.aim.clone().expect("it is aimed");
        assert_eq!(aim.on.as_deref(), Some("chest"));
        let named = |name: &str| {
            let found = desk
                .sheet
                .points
                .iter()
                .find(|p| p.on.as_deref() == Some(name));
            desk.view.screen_of_mm(found.expect("a named point").at_mm)
        };
        let wall = desk.view.screen_of_mm([100.0, 40.0]);
        (desk.view.screen_of_mm(aim.at_mm), named("face"), wall)
    };
    let aimed = |harness: &Harness<'_, Desk>| {
        harness.state().events.iter().rev().find_map(|e| match e {
            Event::Aimed {
                thing,
                at,
                finished: true,
            } if *thing == light("key") => Some(at.clone()),
            _ => None,
        })
    };
    drag(&mut harness, aim, face + Vec2::new(1.0, 1.0));
    assert_eq!(aimed(&harness), Some(Target::Named("face".to_owned())));
    // The sheet was not drawn anew, so the handle is where it was.
    drag(&mut harness, aim, wall);
    let Some(Target::At(place)) = aimed(&harness) else {
        panic!("{:?}", aimed(&harness));
    };
    let desk = harness.state();
    let there = desk.sheet.map.mm_of_room(place);
    assert!(
        (there[0] - 100.0).abs() < 0.2 && (there[1] - 40.0).abs() < 0.2,
        "{there:?}"
    );
}

#[test]
fn escape_puts_back() {
    let mut harness = desk(View::Plan, false);
    let from = at(&harness, &light("key"));
    let before = harness
        .state()
        .sheet
        .find(&light("key"))
        .expect("drawn")
        .body
        .at_m;
    harness.hover_at(from);
    harness.step();
    harness.drag_at(from);
    harness.step();
    harness.hover_at(from + Vec2::new(60.0, 0.0));
    harness.step();
    harness.step();
    assert!(harness.state().view.is_held());
    harness.key_press(Key::Escape);
    harness.step();
    let (_, place, finished) = dragged(&harness).expect("it was dragged");
    assert!(finished && place.distance(before) < 1e-12);
    assert!(!harness.state().view.is_held());
}

#[test]
fn tab_reaches_every_thing_by_name() {
    let mut harness = desk(View::Plan, true);
    let wanted: Vec<String> = harness
        .state()
        .sheet
        .placed
        .iter()
        .map(|p| format!("{}, plan", p.thing.called()))
        .collect();
    assert!(wanted.contains(&"light key, plan".to_owned()));
    assert!(wanted.contains(&"flag lens flag, plan".to_owned()));
    let mut reached = Vec::new();
    for _ in 0..wanted.len() + 2 {
        harness.key_press(Key::Tab);
        harness.run_steps(2);
        let focused = wanted.iter().find(|name| {
            let nodes = harness.query_all_by_role_and_label(Role::Button, name.as_str());
            nodes.into_iter().any(|n| n.accesskit_node().is_focused())
        });
        reached.extend(focused.cloned());
    }
    for name in &wanted {
        assert!(reached.contains(name), "{name} is not among {reached:?}");
    }
}

#[test]
fn arrows_nudge_what_is_in_focus() {
    let mut harness = desk(View::Plan, true);
    harness
        .get_by_role_and_label(Role::Button, "light key, plan")
        .focus();
    harness.run_steps(3);
    let before = harness
        .state()
        .sheet
        .find(&light("key"))
        .expect("drawn")
        .body
        .at_m;
    harness.key_press(Key::ArrowRight);
    harness.run_steps(2);
    let (thing, place, finished) = dragged(&harness).expect("it was nudged");
    assert_eq!(thing, light("key"));
    assert!(finished);
    assert!(
        place.distance(before + DVec3::new(0.01, 0.0, 0.0)) < 1e-9,
        "{place}"
    );
    // Up the page is toward the background.
    harness.key_press_modifiers(Modifiers::SHIFT, Key::ArrowUp);
    harness.run_steps(2);
    let (_, place, _) = dragged(&harness).expect("it was nudged");
    assert!(
        place.distance(before - DVec3::new(0.0, 0.0, 0.1)) < 1e-9,
        "{place}"
    );
    harness.key_press(Key::Enter);
    harness.run_steps(2);
    assert_eq!(harness.state().selected, Some(light("key")));
    // The keyboard alone goes closer, too.
    harness.key_press(Key::Plus);
    harness.run_steps(2);
    assert!(harness.state().view.zoom() > 1.1);
}

#[test]
fn the_wheel_keeps_what_is_under_the_pointer() {
    let mut harness = desk(View::Plan, true);
    let pointer = at(&harness, &light("key")) + Vec2::new(20.0, -12.0);
    harness.hover_at(pointer);
    harness.run_steps(2);
    let before = harness.state().view.mm_of_screen(pointer);
    harness.event(Input::MouseWheel {
        unit: MouseWheelUnit::Point,
        delta: Vec2::new(0.0, 240.0),
        phase: egui::TouchPhase::Move,
        source: egui::MouseWheelSource::Wheel,
        modifiers: Modifiers::NONE,
    });
    harness.run_steps(30);
    let zoom = harness.state().view.zoom();
    assert!(zoom > 1.5, "{zoom}");
    let after = harness.state().view.mm_of_screen(pointer);
    for k in 0..2 {
        assert!((before[k] - after[k]).abs() < 0.02, "{before:?} {after:?}");
    }
    // Dragging empty paper takes the paper along, and nothing else.
    let desk = harness.state();
    let empty = (0..30)
        .map(|k| Pos2::new(60.0 + 20.0 * k as f32, 300.0))
        .find(|p| {
            desk.sheet
                .thing_at(desk.view.mm_of_screen(*p), 3.0)
                .is_none()
        })
        .expect("there is empty paper");
    let on_paper = harness.state().view.mm_of_screen(empty);
    let selected = harness.state().selected.clone();
    drag(&mut harness, empty, empty + Vec2::new(-25.0, 18.0));
    let now = harness
        .state()
        .view
        .mm_of_screen(empty + Vec2::new(-25.0, 18.0));
    for k in 0..2 {
        assert!((on_paper[k] - now[k]).abs() < 0.05, "{on_paper:?} {now:?}");
    }
    assert!(dragged(&harness).is_none());
    assert_eq!(harness.state().selected, selected);
    harness.hover_at(pointer);
    harness.key_press(Key::Num0);
    harness.run_steps(2);
    assert_eq!(harness.state().view.zoom(), 1.0);
    harness.key_press(Key::Plus);
    harness.run_steps(2);
    assert!(harness.state().view.zoom() > 1.1);
}
