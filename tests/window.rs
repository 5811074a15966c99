//! The window worked without a screen, by the names that a screen reader hears: what is done on the sheet
//! is in the setup, and nothing is lost.

#[path = "common/window.rs"]
mod common;

use common::{Case, SETUP, checked, opened, processor, steady, text, type_into, until, window};
use egui::{Key, Modifiers, Pos2, Vec2};
use egui_kittest::Harness;
use egui_kittest::kittest::{NodeT, Queryable};
use std::fs;
use std::sync::atomic::AtomicBool;
use swatchlight::app::desk::{Desk, Question};
use swatchlight::app::engine::{Opener, Tell};
use swatchlight::render::executor::{Block, Executor, ExecutorError, Passes};
use swatchlight::render::film::Film;
use swatchlight::scene::Scene;

fn is_saved(desk: &Desk) -> bool {
    desk.document.as_ref().is_some_and(|d| !d.is_unsaved())
}

#[test]
fn a_typed_unit_is_in_the_file_and_one_line_changed() {
    let case = Case::new();
    let mut window = case.window();
    type_into(&mut window, "key distance", "6 ft 2 in");
    let now = text(&window);
    assert!(now.contains("distance = \"6 ft 2 in\"   # taped"), "{now}");
    let other = now
        .lines()
        .zip(SETUP.lines())
        .filter(|(a, b)| a != b)
        .count();
    assert_eq!(other, 1);
    window.key_press_modifiers(Modifiers::COMMAND, Key::S);
    until(&mut window, "it to be saved", is_saved);
    assert_eq!(fs::read_to_string(&case.setup).expect("it is there"), now);
}

#[test]
fn what_cannot_be_is_refused_and_said() {
    let case = Case::new();
    let mut window = case.window();
    type_into(&mut window, "key height", "tall");
    assert_eq!(text(&window), SETUP);
    let said = window.state().saying().expect("it is said").to_owned();
    assert!(said.contains("tall"), "{said}");
}

#[test]
fn undo_goes_back_to_the_same_bytes_and_forth_again() {
    let case = Case::new();
    let mut window = case.window();
    type_into(&mut window, "key height", "1.8 m");
    type_into(&mut window, "fill bearing", "20 deg right");
    let done = text(&window);
    assert!(done.contains("1.8 m") && done.contains("20 deg right"));
    for _ in 0..2 {
        window.key_press_modifiers(Modifiers::COMMAND, Key::Z);
        window.run_steps(1);
        until(&mut window, "the step back", |d| {
            !d.document.as_ref().is_some_and(|d| d.is_checking())
        });
        window.run_steps(2);
    }
    assert_eq!(text(&window), SETUP);
    for _ in 0..2 {
        window.key_press_modifiers(Modifiers::COMMAND, Key::Y);
        window.run_steps(1);
        until(&mut window, "the step forth", |d| {
            !d.document.as_ref().is_some_and(|d| d.is_checking())
        });
        window.run_steps(2);
    }
    assert_eq!(text(&window), done);
}

#[test]
fn arrow_keys_nudge_a_cell_by_thirds_of_a_stop() {
    let case = Case::new();
    let mut window = case.window();
    until(&mut window, "readings", |d| d.mix.is_some());
    window.run_steps(1);
    window.get_by_label("key alone").focus();
    window.run_steps(2);
    window.key_press(Key::ArrowUp);
    window.run_steps(2);
    assert!(
        text(&window).contains("meters = \"f/9\""),
        "{}",
        text(&window)
    );
}

#[test]
fn a_target_reading_needs_no_new_picture_and_says_what_the_head_lacks() {
    let case = Case::new();
    let mut window = case.window();
    until(&mut window, "readings", |d| {
        d.mix.as_ref().is_some_and(|(_, fresh)| *fresh)
    });
    let power = |d: &Desk| {
        d.mix
            .as_ref()
            .map(|(m, _)| m.balanced[0].amount)
            .unwrap_or_default()
    };
    let (before, asked) = (
        power(window.state()),
        window.state().shown.basis.as_ref().map(|b| b.number),
    );
    type_into(&mut window, "key alone", "f/11");
    let after = power(window.state());
    // N² = H S / C (ISO 2720): a written mark counts as written.
    assert!(
        (after / before - (11.0_f64 / 8.0).powi(2)).abs() < 1e-3,
        "{before} {after}"
    );
    let fresh = window.state().mix.as_ref().is_some_and(|(_, fresh)| *fresh);
    assert!(fresh && window.state().shown.basis.as_ref().map(|b| b.number) == asked);
    type_into(&mut window, "key alone", "f/64");
    let head = window
        .state()
        .mix
        .as_ref()
        .and_then(|(m, _)| m.balanced[0].head);
    assert!(
        head.is_some_and(|h| h.limit.is_some() && h.error_stops < 0.0),
        "{head:?}"
    );
}

#[test]
fn a_drag_on_the_plan_moves_the_light_in_the_file() {
    let case = Case::new();
    let mut window = case.window();
    window.run_steps(2);
    let from = window.get_by_label("light key, plan").rect().center();
    let to = from + Vec2::new(-24.0, 10.0);
    drag(&mut window, from, to);
    let document = window.state().document.as_ref().expect("it is open");
    let key = &document.setup.lights[0];
    let (distance_m, bearing_rad, height_m) = key.place.taped();
    assert!(
        distance_m > 1.55 && bearing_rad < -0.8,
        "{distance_m} {bearing_rad}"
    );
    assert!((height_m - 1.6).abs() < 0.006, "{height_m}");
    assert_ne!(text(&window), SETUP);
    // The whole drag is one step.
    window.key_press_modifiers(Modifiers::COMMAND, Key::Z);
    window.run_steps(1);
    until(&mut window, "the step back", |d| {
        !d.document.as_ref().is_some_and(|d| d.is_checking())
    });
    assert_eq!(text(&window), SETUP);
}

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
    harness.run_steps(2);
}

#[test]
fn a_camera_moved_by_hand_keeps_its_lens_and_gives_up_its_framing() {
    let case = Case::new();
    let mut window = case.window();
    let aim = |d: &Desk| d.document.as_ref().map(|d| d.setup.camera.aim_point_m);
    let before = aim(window.state());
    type_into(&mut window, "camera distance", "1.9 m");
    let now = text(&window);
    assert!(
        now.contains("distance = \"1.9 m\"") && !now.contains("framing"),
        "{now}"
    );
    assert!(now.contains("focal_length = \"100 mm\""), "{now}");
    let moved = aim(window.state()).expect("it is open") - before.expect("it was open");
    assert!(moved.length() < 0.006, "it looks where it looked: {moved}");
    // Walking round the subject leaves the framing alone.
    let case = Case::new();
    let mut window = case.window();
    type_into(&mut window, "camera bearing", "10 deg left");
    let now = text(&window);
    assert!(
        now.contains("framing = \"swatch\"") && now.contains("10 deg left"),
        "{now}"
    );
}

#[test]
fn a_figure_that_steps_forward_leaves_the_room_where_it_was() {
    let case = Case::new();
    let worn = SETUP
        .replace(
            "[swatch]\nfabric = \"poplin\"\nat = [0, 1.2, 0]\n",
            "[figure]\nmodel = \"woman\"\n\n[backdrop]\n",
        )
        .replace("walls = \"open\"", "size = \"6 x 8 x 3 m\"")
        .replace("\"swatch\"", "\"chest\"")
        .replace(
            "framing = \"chest\"",
            "distance = \"3 m\"\nheight = \"1.2 m\"",
        );
    fs::write(&case.setup, &worn).expect("it can be written");
    let mut window = case.window();
    let places = |d: &Desk| -> Vec<[f64; 3]> {
        let setup = &d.document.as_ref().expect("it is open").setup;
        let lights = setup.lights.iter().map(|l| l.frame.origin_m);
        let all = lights.chain([setup.camera.position_m]);
        all.map(|p| p.to_array()).collect()
    };
    let walls = |d: &Desk| {
        let setup = &d.document.as_ref().expect("it is open").setup;
        setup.room.shell.as_ref().expect("it has walls").z_m
    };
    let (before, wall) = (places(window.state()), walls(window.state()));
    window.get_by_label("figure, plan").focus();
    window.run_steps(2);
    window.key_press_modifiers(Modifiers::SHIFT, Key::ArrowDown);
    window.run_steps(2);
    let (after, moved) = (places(window.state()), walls(window.state()));
    for (a, b) in before.iter().zip(&after) {
        // Taped out anew to the centimetre and the tenth of a degree.
        let off = [b[0] - a[0], b[1] - a[1], b[2] - a[2] + 0.1];
        assert!(off.iter().all(|v| v.abs() < 0.009), "{a:?} {b:?}");
    }
    assert!((moved[0] - wall[0] + 0.1).abs() < 1e-9 && (moved[1] - wall[1] + 0.1).abs() < 1e-9);
    let now = text(&window);
    assert!(
        now.contains("behind = \"2.10 m\"") || now.contains("behind = \"2.1 m\""),
        "{now}"
    );
    window.key_press_modifiers(Modifiers::COMMAND, Key::Z);
    until(&mut window, "the step back", |d| {
        d.document.as_ref().is_some_and(|d| d.text() == worn)
    });
}

#[test]
fn every_control_has_a_name() {
    let case = Case::new();
    let mut window = case.window();
    until(&mut window, "readings", |d| d.mix.is_some());
    window.run_steps(2);
    let mut nameless = Vec::new();
    for node in window.root().children_recursive() {
        let node = node.accesskit_node();
        use egui::accesskit::Role;
        let works = matches!(
            node.role(),
            Role::Button | Role::TextInput | Role::ComboBox | Role::CheckBox
        );
        if works
            && node.label().is_none_or(|l| l.is_empty())
            && node.value().is_none_or(|v| v.is_empty())
        {
            nameless.push(format!("{:?} {:?}", node.role(), node.bounding_box()));
        }
    }
    assert!(nameless.is_empty(), "{nameless:?}");
}

#[test]
fn unsaved_work_is_offered_to_the_next_window() {
    let case = Case::new();
    let mut window = case.window();
    type_into(&mut window, "key height", "1.8 m");
    let unsaved = text(&window);
    case.until_kept(&mut window);
    // As after a kill: nothing is closed or cleared.
    std::mem::forget(window);
    let mut next = case.window();
    assert_eq!(text(&next), SETUP);
    let Some(Question::Restore(left)) = next.state().question.clone() else {
        panic!("{:?}", next.state().question);
    };
    assert_eq!(left.text, unsaved);
    next.get_by_label("take it up").click();
    next.run_steps(3);
    assert_eq!(text(&next), unsaved);
    next.key_press_modifiers(Modifiers::COMMAND, Key::S);
    until(&mut next, "it to be saved", is_saved);
    assert!(
        case.window().state().question.is_none(),
        "what was saved is not offered again"
    );
}

#[test]
fn a_file_changed_outside_is_taken_up_and_a_clash_is_asked_about() {
    let case = Case::new();
    let mut window = case.window();
    let outside = SETUP.replace("1.5 m", "1.7 m");
    fs::write(&case.setup, &outside).expect("it can be written");
    let same = |d: &Desk, wanted: &str| d.document.as_ref().is_some_and(|d| d.text() == wanted);
    until(&mut window, "the change outside", |d| same(d, &outside));
    type_into(&mut window, "key height", "1.8 m");
    fs::write(&case.setup, SETUP).expect("it can be written");
    until(&mut window, "the question", |d| {
        matches!(d.question, Some(Question::Clash(_)))
    });
    window.run_steps(2);
    window.get_by_label("take the file's").click();
    window.run_steps(2);
    assert_eq!(text(&window), SETUP);
}

/// A device that is lost at once.
struct Lost;

impl Executor for Lost {
    fn name(&self) -> String {
        "a lost device".into()
    }
    fn appetite(&self, _: u32, _: u32) -> u32 {
        1
    }
    fn render(
        &mut self,
        _: &Scene,
        _: &mut Film,
        _: Passes,
        _: &AtomicBool,
    ) -> Result<(), ExecutorError> {
        Err(ExecutorError {
            what: "device lost".into(),
        })
    }
    fn read(
        &mut self,
        _: &Scene,
        _: u32,
        _: u32,
        _: u32,
    ) -> Result<Vec<Vec<Block>>, ExecutorError> {
        Err(ExecutorError {
            what: "device lost".into(),
        })
    }
    fn rays(&self) -> Option<u64> {
        None
    }
}

#[test]
fn a_lost_device_is_told_of_and_work_goes_on() {
    let case = Case::new();
    let open: Opener =
        Box::new(|tell: Tell| Ok((Box::new(steady(Box::new(Lost), tell)), "a test".into())));
    let mut desk = case.desk(open);
    desk.open(&case.setup);
    let mut window = window(desk);
    opened(&mut window);
    until(&mut window, "a picture all the same", |d| {
        d.shown.picture.is_some()
    });
    window.run_steps(2);
    let told = window.state().shown.told.clone();
    assert!(
        told.iter()
            .any(|t| t.contains("device lost") && t.contains("processor")),
        "{told:?}"
    );
}

/// Where they are out of sight.
fn to_meter_points(harness: &mut Harness<'_, Desk>) {
    harness.get_by_label("meter points").click();
    // Until the table has come to rest.
    harness.run_steps(40);
}

/// Chooses a word in a cell that offers a few.
fn choose(harness: &mut Harness<'_, Desk>, cell: &str, word: &str) {
    harness.get_by_label(cell).click();
    harness.run_steps(4);
    harness.get_by_label(word).click();
    harness.run_steps(4);
    checked(harness);
}

fn undo(harness: &mut Harness<'_, Desk>) {
    harness.key_press_modifiers(Modifiers::COMMAND, Key::Z);
    harness.run_steps(3);
    checked(harness);
}

#[test]
fn meter_points_are_cells_like_all_else() {
    let case = Case::new();
    let listed = SETUP.replace(
        "points = [\"swatch\"]",
        "points = [\n  \"swatch\",   # the cloth\n  { name = \"rim\", at = [0, 1.3, 0] },   # beside it\n]",
    );
    fs::write(&case.setup, &listed).expect("it can be written");
    let mut window = case.window();
    to_meter_points(&mut window);
    choose(&mut window, "swatch receptor flat", "dome");
    let now = text(&window);
    assert!(
        now.contains("  { at = \"swatch\", receptor = \"dome\" },   # the cloth\n"),
        "{now}"
    );
    type_into(&mut window, "rim where", "[0.2, 1.25, 0.1]");
    type_into(&mut window, "rim looks to", "light key");
    let now = text(&window);
    assert!(
        now.contains(
            "{ name = \"rim\", at = [0.2, 1.25, 0.1], facing = \"light key\" },   # beside it"
        ),
        "{now}"
    );
    let meter = |d: &Desk| d.document.as_ref().expect("it is open").setup.meter.clone();
    let rim = meter(window.state()).points[1].clone();
    assert!((rim.position_m.x - 0.2).abs() < 1e-9);
    // What cannot be is refused, and the file stays as it was.
    type_into(&mut window, "rim looks to", "light kye");
    assert_eq!(text(&window), now);
    assert!(window.state().saying().is_some_and(|s| s.contains("kye")));

    // Readings follow, and the exposure keeps its point when that is called otherwise.
    until(&mut window, "readings", |d| {
        let points = d
            .mix
            .as_ref()
            .filter(|(_, fresh)| *fresh)
            .map(|(m, _)| &m.points);
        points.is_some_and(|p| p.len() == 2 && p[1].meter == meter(d).points[1])
    });
    window.run_steps(1);
    assert!(window.query_all_by_label_contains("rim reads f/").count() == 1);

    window.get_by_label("add a meter point").click();
    window.run_steps(2);
    window.event(egui::Event::Text("floor".into()));
    window.run_steps(1);
    window.key_press(Key::Enter);
    window.run_steps(3);
    checked(&mut window);
    let added = text(&window);
    assert!(
        added.contains("facing = \"light key\" },   # beside it\n  \"floor\",\n]"),
        "{added}"
    );
    window.get_by_label("select meter point rim").focus();
    window.run_steps(2);
    window.key_press(Key::Delete);
    window.run_steps(3);
    let without = text(&window);
    assert!(
        without.contains("receptor = \"dome\" },   # the cloth\n  \"floor\",\n]"),
        "{without}"
    );
    undo(&mut window);
    assert_eq!(text(&window), added);
    for _ in 0..4 {
        undo(&mut window);
    }
    assert_eq!(text(&window), listed);
}

/// A desk on which nothing is rendered until something is sent, or what sends is dropped.
fn held_up(case: &Case) -> (Harness<'static, Desk>, std::sync::mpsc::Sender<()>) {
    let (go, wait) = std::sync::mpsc::channel();
    let opener: Opener = Box::new(move |tell| {
        // Dropped, or told to go on: both end the wait.
        let _ = wait.recv();
        processor()(tell)
    });
    let mut desk = case.desk(opener);
    desk.open(&case.setup);
    let mut window = window(desk);
    opened(&mut window);
    (window, go)
}

#[test]
fn what_is_chosen_before_anything_is_read_counts() {
    let case = Case::new();
    let (mut window, go) = held_up(&case);
    to_meter_points(&mut window);
    choose(&mut window, "swatch receptor flat", "dome");
    assert!(window.state().mix.is_none());
    assert!(text(&window).contains("receptor = \"dome\""));
    drop(go);
}

/// Readings add to what is on the page, above the button and beside it.
#[test]
fn a_click_begun_before_readings_come_counts() {
    for button in ["add a scrim", "meter points"] {
        let case = Case::new();
        let (mut window, go) = held_up(&case);
        window
            .ctx
            .options_mut(|o| o.input_options.max_click_duration = 120.0);
        let pos = window.get_by_label(button).rect().center();
        let click = |pressed| egui::Event::PointerButton {
            pos,
            button: egui::PointerButton::Primary,
            pressed,
            modifiers: Modifiers::NONE,
        };
        window.event(egui::Event::PointerMoved(pos));
        window.event(click(true));
        window.step();
        let before = window.get_by_label("add a meter point").rect();
        drop(go);
        until(&mut window, "readings", |d| {
            d.mix.as_ref().is_some_and(|(_, fresh)| *fresh) && d.shown.basis.is_some()
        });
        window.run_steps(3);
        window.event(click(false));
        window.run_steps(3);
        let scrolled = window.get_by_label("add a meter point").rect() != before;
        let asked = window.state().question.is_some();
        assert!(if button == "add a scrim" {
            asked
        } else {
            scrolled
        });
    }
}

#[test]
fn a_meter_that_lists_no_points_gets_a_list_with_the_first_change() {
    let case = Case::new();
    fs::write(&case.setup, SETUP.replace("points = [\"swatch\"]\n", ""))
        .expect("it can be written");
    let mut window = case.window();
    to_meter_points(&mut window);
    window.get_by_label("add a meter point").click();
    window.run_steps(2);
    window.event(egui::Event::Text("beside".into()));
    window.run_steps(1);
    window.key_press(Key::Enter);
    window.run_steps(3);
    checked(&mut window);
    let now = text(&window);
    assert!(
        now.contains("points = [\"swatch\", { name = \"beside\", at = \"swatch\" }]"),
        "{now}"
    );
    // Called otherwise, from the line of what is selected.
    type_into(&mut window, "meter points 2 name", "edge");
    assert!(text(&window).contains("{ name = \"edge\", at = \"swatch\" }"));
    for name in ["edge", "swatch"] {
        window
            .get_by_label(&format!("select meter point {name}"))
            .focus();
        window.run_steps(2);
        window.key_press(Key::Delete);
        window.run_steps(3);
    }
    assert!(
        text(&window).contains("points = [\"swatch\"]"),
        "one stays: {}",
        text(&window)
    );
    assert!(
        window
            .state()
            .saying()
            .is_some_and(|s| s.contains("one point at least"))
    );
}

#[test]
fn a_scrim_is_added_and_its_cloth_chosen() {
    let case = Case::new();
    let mut window = case.window();
    window.get_by_label("add a scrim").click();
    window.run_steps(2);
    window.event(egui::Event::Text("silk".into()));
    window.run_steps(1);
    window.key_press(Key::Enter);
    window.run_steps(3);
    checked(&mut window);
    assert!(
        text(&window).contains("[[scrim]]\nname = \"silk\"\ncloth = \"half\""),
        "{}",
        text(&window)
    );
    choose(&mut window, "silk cloth half", "full");
    assert!(text(&window).contains("cloth = \"full\""));
    type_into(&mut window, "silk cloth", "1 stop");
    assert!(text(&window).contains("cloth = \"1 stop\""));
    type_into(
        &mut window,
        "silk cloth",
        "{ straight = 0.1, scattered = 0.4 }",
    );
    assert!(text(&window).contains("cloth = { straight = 0.1, scattered = 0.4 }"));
    window.get_by_label("silk cloth passes 50 %");
    for _ in 0..4 {
        undo(&mut window);
    }
    assert_eq!(text(&window), SETUP);
}
