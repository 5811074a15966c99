//! The lessons: their setups can be used, their pages point at what is there, and the numbers in the pages
//! are those that the tool gives now.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).to_path_buf()
}

fn names(folder: &str, ending: &str) -> BTreeSet<String> {
    let listed = fs::read_dir(root().join(folder)).expect(folder);
    let paths = listed.map(|e| e.expect("entry").path());
    let wanted = paths.filter(|p| p.extension().is_some_and(|e| e == ending));
    let stem = |p: PathBuf| {
        p.file_stem()
            .expect("a name")
            .to_string_lossy()
            .into_owned()
    };
    wanted.map(stem).collect()
}

#[test]
fn every_template_has_its_page_and_every_setup_its_lesson() {
    let templates = names("docs/lessons/templates", "md");
    assert_eq!(templates, names("docs/lessons", "md"));
    assert!(templates.len() >= 13, "{templates:?}");
    let pages: Vec<String> = templates
        .iter()
        .map(|name| {
            let path = root().join(format!("docs/lessons/{name}.md"));
            fs::read_to_string(path).expect("a page")
        })
        .collect();
    let all = pages.join("\n");
    for setup in names("models/setups/lessons", "toml") {
        for wanted in [
            format!("(../../models/setups/lessons/{setup}.toml)"),
            format!("(pictures/{setup}.jpg)"),
        ] {
            assert!(all.contains(&wanted), "no lesson shows {wanted}");
        }
        let text = fs::read_to_string(root().join(format!("models/setups/lessons/{setup}.toml")));
        assert!(text.expect("a setup").starts_with("# Invented"), "{setup}");
    }
    for page in &pages {
        for link in page.split("](").skip(1).filter_map(|l| l.split(')').next()) {
            let is_there = root().join("docs/lessons").join(link).exists();
            assert!(is_there, "there is no {link}");
        }
        assert!(!page.contains("{{"), "a place was left empty");
        let is_index = page.starts_with("# Lessons\n");
        assert!(is_index || page.contains("<details>"), "no answers");
    }
}

/// Pages are compared number by number: readings to within 0.2 stop, others to within 6 %.
#[test]
fn the_pages_say_what_the_tool_says_now() {
    let output = Command::new(env!("CARGO_BIN_EXE_swatchlight"))
        .current_dir(root())
        .args(["lessons", "--check", "--noise", "2"])
        .output()
        .expect("runs");
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}");
}

/// A page with another number in it is refused, with the number and what it should be.
#[test]
fn a_stale_page_is_found() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::create_dir(folder.path().join("templates")).expect("a folder");
    let name = "metering.md";
    let lessons = root().join("docs/lessons");
    let page = fs::read_to_string(lessons.join(name)).expect("a page");
    let copied = fs::copy(
        lessons.join("templates").join(name),
        folder.path().join("templates").join(name),
    );
    copied.expect("copied");
    let stale = page.replacen(
        "| flat, to the camera | f/",
        "| flat, to the camera | f/2",
        1,
    );
    assert_ne!(stale, page);
    fs::write(folder.path().join(name), stale).expect("written");
    let output = Command::new(env!("CARGO_BIN_EXE_swatchlight"))
        .current_dir(root())
        .arg("lessons")
        .arg(folder.path())
        .args(["--check", "--noise", "5"])
        .output()
        .expect("runs");
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{said}");
    assert!(said.contains("metering.md: says f/2"), "{said}");
}
