//! The window and the disk: it waits for none, it loses nothing to one that is read-only or full, and it says
//! what happened and what to do.

#[path = "common/window.rs"]
mod common;

use common::{Case, SETUP, opened, processor, text, type_into, until, window};
use egui::{Key, Modifiers};
use egui_kittest::kittest::Queryable;
use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};
use swatchlight::app::desk::{Next, Question};
use swatchlight::report::{
    Development, Layer, Metadata, Overwrite, Picture, Rendering, StillOptions, write_still,
};

/// A still that carries the setup.
fn still(path: &Path) {
    let picture = Picture {
        width: 2,
        height: 2,
        layers: vec![Layer {
            name: "key".into(),
            rgb: vec![[0.2; 3]; 4],
        }],
        ..Picture::default()
    };
    let metadata = Metadata {
        setup_toml: SETUP.into(),
        ..Metadata::default()
    };
    let (rendering, options) = (Rendering::default(), StillOptions::default());
    let development = Development { gain: [1.0; 3] };
    write_still(path, &picture, &development, &metadata, &rendering, options).expect("a still");
}

#[cfg(unix)]
#[test]
fn a_slow_disk_holds_nothing_up() {
    let case = Case::new();
    let mut window = case.window();
    // A pipe that nobody writes to yet is the slowest disk that there is.
    let pipe = case.folder.path().join("slow.png");
    let made = std::process::Command::new("mkfifo").arg(&pipe).status();
    assert!(made.expect("mkfifo is there").success());
    let started = Instant::now();
    window.state_mut().open(&pipe);
    window.run_steps(3);
    assert!(started.elapsed() < Duration::from_secs(5), "it waits");
    assert!(
        window
            .query_all_by_label_contains("Reading")
            .next()
            .is_some()
    );
    // Work goes on meanwhile; what was done then is asked about.
    type_into(&mut window, "key height", "1.8 m");
    assert!(text(&window).contains("1.8 m"));
    let ready = case.folder.path().join("ready.png");
    still(&ready);
    std::thread::spawn(move || fs::write(pipe, fs::read(ready).expect("it is there")));
    until(&mut window, "the question", |d| {
        matches!(d.question, Some(Question::Unsaved(Next::Open(_))))
    });
    assert!(text(&window).contains("1.8 m"));
}

#[test]
fn a_still_opens_beside_the_window() {
    let case = Case::new();
    let path = case.folder.path().join("still.png");
    still(&path);
    let mut desk = case.desk(processor());
    desk.open(&path);
    assert!(desk.document.is_none() && desk.opening().is_some());
    let mut window = window(desk);
    opened(&mut window);
    assert_eq!(text(&window), SETUP);
    assert!(window.state().opening().is_none());
    // What is no setup is said, and what is there stays.
    window
        .state_mut()
        .document
        .as_mut()
        .expect("it is open")
        .path = None;
    type_into(&mut window, "key height", "1.6 m");
    let other = case.folder.path().join("none.toml");
    window.state_mut().give_up(Next::Open(other));
    until(&mut window, "what is wrong", |d| {
        d.saying().is_some_and(|s| s.contains("cannot read"))
    });
    assert_eq!(text(&window), SETUP);
}

#[test]
fn a_journal_that_cannot_be_written_is_said_once_and_costs_nothing() {
    let case = Case::new();
    // A file where a folder is needed refuses everybody, whatever they may do elsewhere.
    let taken = case.folder.path().join("taken");
    fs::write(&taken, "no folder").expect("it can be written");
    let mut desk = case.desk_with_journal(processor(), taken.join("journal"));
    desk.open(&case.setup);
    let mut window = window(desk);
    opened(&mut window);
    type_into(&mut window, "key height", "1.8 m");
    until(&mut window, "the note", |d| {
        d.saying()
            .is_some_and(|s| s.contains("not kept") && s.contains("save"))
    });
    window.state_mut().say("something else");
    type_into(&mut window, "key height", "1.9 m");
    window.run_steps(10);
    std::thread::sleep(Duration::from_millis(300));
    window.run_steps(10);
    assert_eq!(
        window.state().saying(),
        Some("something else"),
        "once is enough"
    );
    assert!(text(&window).contains("1.9 m"));
    window.key_press_modifiers(Modifiers::COMMAND, Key::S);
    until(&mut window, "it to be saved", |d| {
        d.document.as_ref().is_some_and(|d| !d.is_unsaved())
    });
    let saved = fs::read_to_string(&case.setup).expect("it is there");
    assert_eq!(saved, text(&window));
}

#[test]
fn a_read_only_file_stays_as_it_is_and_another_place_is_offered() {
    let case = Case::new();
    let mut window = case.window();
    let mut locked = fs::metadata(&case.setup)
        .expect("it is there")
        .permissions();
    locked.set_readonly(true);
    fs::set_permissions(&case.setup, locked).expect("it can be locked");
    type_into(&mut window, "key height", "1.8 m");
    // Asked for on the way out: the window closes once the work is safe, and not before.
    window.key_press_modifiers(Modifiers::COMMAND, Key::Q);
    window.run_steps(2);
    // The one in the question, not the one in the margin.
    let save = window
        .get_all_by_label("save")
        .min_by(|a, b| a.rect().top().total_cmp(&b.rect().top()));
    save.expect("it asks").click();
    until(&mut window, "another place", |d| {
        matches!(d.question, Some(Question::SaveAs { .. }))
    });
    let Some(Question::SaveAs { path, why, then }) = window.state().question.clone() else {
        panic!("{:?}", window.state().question);
    };
    let why = why.expect("it says why");
    assert!(
        why.contains("read-only") && why.contains("two panels.toml"),
        "{why}"
    );
    assert!(
        path.ends_with("two panels-2.toml") && then == Some(Next::Close),
        "{path}"
    );
    assert!(!window.state().closing && text(&window).contains("1.8 m"));
    assert_eq!(fs::read_to_string(&case.setup).expect("it is there"), SETUP);
    window.get_by_label("path to save to").focus();
    window.run_steps(2);
    window.key_press(Key::Enter);
    until(&mut window, "the end", |d| d.closing);
    let beside = fs::read_to_string(&path).expect("it was saved there");
    assert!(beside.contains("1.8 m"));
}

#[test]
fn what_is_typed_while_it_is_saved_stays_unsaved_and_nothing_waits() {
    let case = Case::new();
    let mut window = case.window();
    type_into(&mut window, "key height", "1.8 m");
    window.key_press_modifiers(Modifiers::COMMAND, Key::S);
    window.step();
    let first = text(&window);
    // What is on its way stays as it was when it was asked for.
    let document = window.state_mut().document.as_mut().expect("it is open");
    let change = ("key.height".to_owned(), "1.9 m".to_owned());
    document.edit(&[change], None).expect("it can be changed");
    until(&mut window, "it to be saved", |d| {
        d.saying().is_some_and(|s| s.starts_with("Saved"))
    });
    assert_eq!(fs::read_to_string(&case.setup).expect("it is there"), first);
    assert!(first.contains("1.8 m") && text(&window).contains("1.9 m"));
    let document = window.state().document.as_ref().expect("it is open");
    assert!(document.is_unsaved());
    // Asked for twice, it holds the last; asked to close on the way, it closes when it is safe.
    for key in [Key::S, Key::Q, Key::S] {
        window.key_press_modifiers(Modifiers::COMMAND, key);
    }
    until(&mut window, "the end", |d| d.closing);
    let last = fs::read_to_string(&case.setup).expect("it is there");
    assert_eq!(last, text(&window));
    assert!(window.state().question.is_none());
}

#[test]
fn another_file_is_written_over_only_when_that_is_said() {
    let case = Case::new();
    let other = case.folder.path().join("other.toml");
    fs::write(&other, "of somebody else").expect("it can be written");
    let mut window = case.window();
    let state = window.state_mut();
    state.save_to(other.clone(), Overwrite::Refuse, None);
    until(&mut window, "the question", |d| d.question.is_some());
    assert_eq!(
        window.state().question,
        Some(Question::Replace(other.clone(), None))
    );
    assert_eq!(
        fs::read_to_string(&other).expect("it is there"),
        "of somebody else"
    );
    window.run_steps(2);
    window.get_by_label("write over it").click();
    until(&mut window, "it to be saved", |d| {
        d.document
            .as_ref()
            .is_some_and(|d| d.path.as_deref() == Some(&*other))
    });
    assert_eq!(fs::read_to_string(&other).expect("it is there"), SETUP);
}

#[test]
fn a_folder_that_is_gone_costs_nothing() {
    let case = Case::new();
    let folder = case.folder.path().join("job");
    fs::create_dir(&folder).expect("a folder");
    let setup = folder.join("setup.toml");
    fs::write(&setup, SETUP).expect("it can be written");
    let mut desk = case.desk(processor());
    desk.open(&setup);
    let mut window = window(desk);
    opened(&mut window);
    fs::remove_dir_all(&folder).expect("it can be taken away");
    type_into(&mut window, "key height", "1.8 m");
    window.key_press_modifiers(Modifiers::COMMAND, Key::S);
    until(&mut window, "an answer", |d| d.question.is_some());
    let said = window.state().saying().unwrap_or_default().to_owned();
    assert!(
        said.contains("not saved") && said.contains("no folder"),
        "{said}"
    );
    assert!(text(&window).contains("1.8 m"));
    let offered = matches!(&window.state().question, Some(Question::SaveAs { path, .. }) if path.ends_with("setup.toml"));
    assert!(offered, "{:?}", window.state().question);
}
