//! A shoot list of cloth on a table, which renders in no time: invented.

use std::fs;
use std::path::PathBuf;
use tempfile::TempDir;

pub const SETUP: &str = r#"title = "Cloth on a table"
[room]
walls = "open"
[swatch]
fabric = "cotton-plain"
size = "20 x 20 cm"
at = [0, 1, 0]
[camera]
framing = "swatch"
focal_length = "100 mm"
pixels = "40 x 60"
[[light]]
name = "key"
modifier = { kind = "panel", size = "60 x 90 cm" }
distance = "1.2 m"
bearing = "40 deg left"
height = "1.5 m"
aim = [0, 1, 0]
meters = "f/8"
metered_at = "swatch"
[[light]]
name = "fill"
modifier = { kind = "disk", diameter = "40 cm" }
distance = "1.5 m"
bearing = "50 deg right"
height = "1.2 m"
aim = [0, 1, 0]
meters = "f/4"
metered_at = "swatch"
[meter]
expose_at = "swatch"
points = ["swatch"]
"#;

pub const LIST: &str = r#"title = "Two cloths"
setup = "cloth.toml"
look = [
  { name = "plain", set = { "swatch.fabric" = "cotton-plain" } },
  { name = "slub", set = { "swatch.fabric" = "linen-slub" } },
]
framing = [
  { name = "near", focal_length = "135 mm" },
  { name = "far" },
]
"#;

/// A folder with the list and its setup.
pub struct Place {
    folder: TempDir,
}

impl Place {
    pub fn new() -> Self {
        let place = Self {
            folder: tempfile::tempdir().expect("a folder"),
        };
        place.write("cloth.toml", SETUP);
        place.write("day.toml", LIST);
        place
    }

    pub fn at(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn write(&self, name: &str, text: &str) {
        fs::write(self.at(name), text).expect("written");
    }

    /// The program, to be run in this folder.
    pub fn command(&self, args: &[&str]) -> assert_cmd::Command {
        let mut command = assert_cmd::Command::cargo_bin("swatchlight").expect("the program");
        command
            .current_dir(self.folder.path())
            .env("XDG_CACHE_HOME", self.at("cache"))
            .args(args)
            .args(["--executor", "cpu"].iter().filter(|_| args[0] == "batch"));
        command
    }

    /// Runs it; gives exit code, stdout and stderr.
    pub fn run(&self, args: &[&str]) -> (i32, String, String) {
        let out = self.command(args).output().expect("it runs");
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        (
            out.status.code().unwrap_or(-1),
            text(&out.stdout),
            text(&out.stderr),
        )
    }

    /// Runs what must go well; gives the JSON document.
    pub fn json(&self, args: &[&str]) -> serde_json::Value {
        let args = [args, &["--json"]].concat();
        let (code, out, err) = self.run(&args);
        assert_eq!(code, 0, "{args:?}\n{err}");
        serde_json::from_str(&out).unwrap_or_else(|e| panic!("{e}: {out}"))
    }

    /// The files of a folder, by name, with their bytes.
    pub fn files(&self, folder: &str) -> Vec<(String, Vec<u8>)> {
        let mut found: Vec<(String, Vec<u8>)> = fs::read_dir(self.at(folder))
            .map(|entries| {
                entries
                    .map(|e| e.expect("an entry"))
                    .filter(|e| e.path().is_file())
                    .map(|e| {
                        let name = e.file_name().to_string_lossy().into_owned();
                        (name, fs::read(e.path()).expect("readable"))
                    })
                    .collect()
            })
            .unwrap_or_default();
        found.sort();
        found
    }
}
