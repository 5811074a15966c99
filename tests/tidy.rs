//! The project's invariants (DEVELOPERS.md), held by reading its sources.

use std::fs;
use std::path::PathBuf;

/// Modules of the library and the program, from the top: each may use only those below it.
const LAYERS: [&str; 11] = [
    "cli",
    "app",
    "report",
    "measure",
    "render",
    "scene",
    "optics",
    "fabric",
    "figure",
    "setup",
    "photometry",
];

/// No source file should be longer.
const MOST_LINES: usize = 700;

/// Longer files, each with its reason.
const LONG_FILES: [(&str, &str); 0] = [];

/// All that may lie at the top, besides hidden files, build output and what git ignores.
const TOP: [&str; 10] = [
    "Cargo.toml",
    "Cargo.lock",
    "README.md",
    "DEVELOPERS.md",
    "build.rs",
    "src",
    "shaders",
    "models",
    "tests",
    "docs",
];

struct Source {
    /// From the project's root, with slashes.
    path: String,
    text: String,
}

impl Source {
    /// Lines that are no comments, numbered from 1.
    fn code(&self) -> impl Iterator<Item = (usize, &str)> {
        self.text
            .lines()
            .enumerate()
            .map(|(i, line)| (i + 1, line))
            .filter(|(_, line)| !line.trim_start().starts_with("//"))
    }

    fn is_in(&self, places: &[&str]) -> bool {
        places.iter().any(|place| self.path.starts_with(place))
    }

    /// Which of the words stand in its code as words of their own, with their places.
    fn finds(&self, words: &[&str]) -> Vec<String> {
        self.code()
            .flat_map(|(number, line)| {
                let hits = words.iter().filter(move |word| has_word(line, word));
                hits.map(move |word| format!("{}:{number}: {word}", self.path))
            })
            .collect()
    }
}

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Text files below a folder, by their endings.
fn sources(folder: &str, endings: &[&str]) -> Vec<Source> {
    let mut found = Vec::new();
    let mut folders = vec![root().join(folder)];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).unwrap().map(|e| e.unwrap().path()) {
            if entry.is_dir() {
                folders.push(entry);
            } else if entry
                .extension()
                .is_some_and(|e| endings.contains(&e.to_str().unwrap_or("")))
            {
                let path = entry
                    .strip_prefix(root())
                    .unwrap()
                    .to_string_lossy()
                    .replace('\\', "/");
                found.push(Source {
                    path,
                    text: fs::read_to_string(&entry).unwrap(),
                });
            }
        }
    }
    assert!(!found.is_empty(), "there are files in {folder}");
    found
}

fn rust() -> Vec<Source> {
    sources("src", &["rs"])
}

/// Whether `word` stands in `text` and no letter, digit or underscore before it makes it another.
fn has_word(text: &str, word: &str) -> bool {
    text.match_indices(word)
        .any(|(at, _)| !text[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_'))
}

/// Fails with all the places where a rule is broken.
fn none(rule: &str, broken: Vec<String>) {
    assert!(broken.is_empty(), "{rule}:\n{}", broken.join("\n"));
}

#[test]
fn only_the_gpu_executor_and_the_window_name_their_crates() {
    let outside = |places: &[&str], words: &[&str]| -> Vec<String> {
        rust()
            .iter()
            .filter(|s| !s.is_in(places))
            .flat_map(|s| s.finds(words))
            .collect()
    };
    none(
        "only render/gpu and app name wgpu",
        outside(&["src/render/gpu", "src/app"], &["wgpu"]),
    );
    none(
        "only app names egui and winit",
        outside(&["src/app"], &["egui", "winit"]),
    );
    assert!(
        rust()
            .iter()
            .any(|s| s.is_in(&["src/render/gpu"]) && !s.finds(&["wgpu"]).is_empty()),
        "the rule sees wgpu"
    );
}

#[test]
fn only_main_and_cli_print_or_exit() {
    const WORDS: [&str; 8] = [
        "println!",
        "print!",
        "eprintln!",
        "eprint!",
        "process::exit",
        "process::abort",
        "io::stdout",
        "io::stderr",
    ];
    let broken = rust()
        .iter()
        .filter(|s| !s.is_in(&["src/main.rs", "src/cli/"]))
        .flat_map(|s| s.finds(&WORDS))
        .collect();
    none("only main and cli print or exit", broken);
    none(
        "nothing is left from debugging",
        rust().iter().flat_map(|s| s.finds(&["dbg!"])).collect(),
    );
    assert!(
        rust()
            .iter()
            .any(|s| !s.finds(&["process::exit"]).is_empty()),
        "the rule sees the cli exit"
    );
}

#[test]
fn the_lower_layers_do_no_input_or_output() {
    const WORDS: [&str; 8] = [
        "std::fs",
        "fs::",
        "std::net",
        "std::env",
        "std::process",
        "File::",
        "io::stdin",
        "Instant::now",
    ];
    let pure = [
        "src/photometry/",
        "src/optics/",
        "src/fabric/",
        "src/setup/",
    ];
    none(
        "photometry, optics, fabric and setup do no I/O",
        rust()
            .iter()
            .filter(|s| s.is_in(&pure))
            .flat_map(|s| s.finds(&WORDS))
            .collect(),
    );
    assert!(
        rust().iter().any(|s| !s.finds(&["fs::"]).is_empty()),
        "the rule sees files being read"
    );
}

#[test]
fn each_layer_uses_only_those_below() {
    let mut broken = Vec::new();
    let mut seen = 0;
    for source in rust() {
        let module = source.path["src/".len()..]
            .split(['/', '.'])
            .next()
            .unwrap()
            .to_owned();
        if ["lib", "main"].contains(&module.as_str()) {
            continue;
        }
        let Some(own) = LAYERS.iter().position(|l| *l == module) else {
            broken.push(format!(
                "{}: \"{module}\" has no place among the layers",
                source.path
            ));
            continue;
        };
        for (number, line) in source.code() {
            for used in modules_named(line) {
                seen += 1;
                match LAYERS.iter().position(|l| *l == used) {
                    Some(layer) if layer < own => {
                        broken.push(format!("{}:{number}: {module} uses {used}", source.path))
                    }
                    Some(_) => {}
                    None if module == "cli" => {} // its own parts: crate is the program there
                    None => broken.push(format!(
                        "{}:{number}: uses {used}, which is no layer",
                        source.path
                    )),
                }
            }
        }
    }
    none("each layer uses only those below it", broken);
    assert!(seen > 100, "the rule sees what is used: {seen}");
}

/// Top modules that a line reaches by `crate::` or, from the program, by `swatchlight::`.
fn modules_named(line: &str) -> Vec<&str> {
    let name = |rest: &str| {
        rest.find(|c: char| !c.is_alphanumeric() && c != '_')
            .unwrap_or(rest.len())
    };
    ["crate::", "swatchlight::"]
        .iter()
        .flat_map(|path| {
            line.match_indices(path)
                .map(|(at, _)| &line[at + path.len()..])
        })
        .map(|rest| &rest[..name(rest)])
        .filter(|module| !module.is_empty())
        .collect()
}

#[test]
fn files_stay_short() {
    let lines = |path: &str| {
        rust()
            .iter()
            .find(|s| s.path == path)
            .map_or(0, |s| s.text.lines().count())
    };
    let broken = rust()
        .iter()
        .filter(|s| {
            s.text.lines().count() > MOST_LINES
                && LONG_FILES.iter().all(|(path, _)| *path != s.path)
        })
        .map(|s| format!("{}: {} lines", s.path, s.text.lines().count()))
        .collect();
    none("no file is longer than the most lines", broken);
    for (path, reason) in LONG_FILES {
        assert!(
            !reason.is_empty() && lines(path) > MOST_LINES,
            "{path} needs no exception any more"
        );
    }
}

#[test]
fn the_top_holds_nothing_else() {
    let ignored = ["target"];
    // What the README's first command leaves there belongs to whoever typed it; `.gitignore` keeps it out.
    let made = ["png", "exr", "jpg", "tif", "pdf"];
    let ours = fs::read_to_string(root().join(".gitignore")).unwrap();
    for ending in made {
        assert!(ours.contains(&format!("/*.{ending}\n")), "{ending}");
    }
    let is_made = |name: &str| {
        let ending = name.rsplit_once('.').map(|(_, e)| e);
        ending.is_some_and(|e| made.contains(&e)) && root().join(name).is_file()
    };
    let broken = fs::read_dir(root())
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .filter(|name| !name.starts_with('.') && !name.starts_with("LICENSE"))
        .filter(|name| !TOP.contains(&name.as_str()) && !ignored.contains(&name.as_str()))
        .filter(|name| !is_made(name))
        .collect();
    none("the top of the project holds only what it should", broken);
    for name in ["Cargo.toml", "src", "shaders", "models", "tests"] {
        assert!(root().join(name).exists(), "{name}");
    }
}

#[test]
fn nothing_is_left_for_later() {
    // Put together, so that this file does not name them.
    let words: Vec<String> = [
        ("TO", "DO"),
        ("FIX", "ME"),
        ("XX", "X"),
        ("to", "do!"),
        ("unimple", "mented!"),
    ]
    .iter()
    .map(|(a, b)| format!("{a}{b}"))
    .collect();
    let everything = [
        ("src", &["rs"][..]),
        ("tests", &["rs", "py", "sh"]),
        ("shaders", &["wgsl"]),
        ("models", &["toml"]),
        ("docs", &["md"]),
    ];
    let broken = everything
        .into_iter()
        .flat_map(|(folder, endings)| sources(folder, endings))
        .flat_map(|s| {
            let found = s
                .text
                .lines()
                .enumerate()
                .filter(|(_, line)| words.iter().any(|w| has_word(line, w)));
            found
                .map(|(i, line)| format!("{}:{}: {}", s.path, i + 1, line.trim()))
                .collect::<Vec<_>>()
        })
        .collect();
    none("nothing is left for later", broken);
}
