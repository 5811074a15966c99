//! What is kept of a frame beside its picture: all that finishing it, judging it against the others and
//! putting parts together needs, without its models and without tracing anything.

use super::super::exit::Failure;
use super::super::readings;
use crate::cli::json::Readings;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::fs;
use std::path::Path;
use swatchlight::measure::consistency::Compared;
use swatchlight::measure::take::Take;
use swatchlight::measure::tones::{Probe, Tones};
use swatchlight::photometry::dial::on_dial;
use swatchlight::photometry::exposure::Development;
use swatchlight::report::{
    Exposure, Metadata, Overwrite, PictureShape, Rendering, StillError, write_whole,
};
use swatchlight::setup::list::{Arrangement, Frame, Minutes, ShootList};
use swatchlight::setup::{Checked, list};

/// Raised when what is kept changes its form.
const FORM: u32 = 1;

/// What the list is, as all its parts must agree.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Day {
    form: u32,
    pub title: String,
    pub notes: String,
    pub least_moves: bool,
    pub tolerance_stops: f64,
    pub minutes: Minutes,
    pub frames: Vec<Line>,
}

/// A frame as the list has it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Line {
    pub stem: String,
    pub name: String,
    pub look: String,
    pub framing: String,
    pub lighting: String,
    pub single: bool,
    /// Hash of its setup's text.
    pub text: String,
}

/// A frame metered and exposed, before it is rendered.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Card {
    /// Hash of all that its picture depends on.
    pub identity: String,
    pub stem: String,
    pub name: String,
    pub look: String,
    pub framing: String,
    pub lighting: String,
    pub title: String,
    description: String,
    pub setup_toml: String,
    readings_json: String,
    shutter_s: f64,
    pub f_number: f64,
    iso: f64,
    focus_m: f64,
    pub pixels: [u32; 2],
    layers: Vec<String>,
    pub weights: Vec<[f64; 3]>,
    gain: [f32; 3],
    pub probe: Probe,
    pub arrangement: Arrangement,
    /// What the exposing meter read: "f/8 +.3".
    pub reading: String,
    reading_f_number: Option<f64>,
    skin_of: String,
    /// Warnings and cautions about the setup.
    pub warnings: Vec<String>,
}

/// A finished picture.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Record {
    form: u32,
    pub card: Card,
    /// SHA-256 of the picture's file.
    pub print: String,
    pub samples: u32,
    pub relative_error: Option<f64>,
    pub executor: String,
    pub tones: Tones,
    /// Spent on it here; merging does not count.
    pub seconds: f64,
}

impl Day {
    /// Of a list and its frames.
    pub fn of(list: &ShootList, frames: &[Frame], file: &Path) -> Self {
        let stem = || file.file_stem().map(|s| s.to_string_lossy().into_owned());
        Self {
            form: FORM,
            title: match list.title.is_empty() {
                true => stem().unwrap_or_default(),
                false => list.title.clone(),
            },
            notes: list.notes.clone(),
            least_moves: list.order == list::DayOrder::LeastMoves,
            tolerance_stops: list.tolerance_stops,
            minutes: list.minutes,
            frames: frames
                .iter()
                .map(|f| Line {
                    stem: f.stem(),
                    name: f.name.clone(),
                    look: f.look.clone(),
                    framing: f.framing.clone(),
                    lighting: f.lighting.clone(),
                    single: f.single,
                    text: print_of(f.setup_toml.as_bytes()),
                })
                .collect(),
        }
    }
}

impl Card {
    /// Of a frame that was metered.
    ///
    /// # Errors
    /// When the readings cannot be written.
    pub fn of(
        frame: &Frame,
        identity: &str,
        take: &Take,
        notes: &swatchlight::setup::Problems,
        executor: &str,
    ) -> Result<Self, Failure> {
        let setup = &take.setup;
        let all = Readings::new(&frame.setup_path, take, notes, executor.to_owned());
        let readings_json = serde_json::to_string(&all)
            .map_err(|e| Failure::working(format!("cannot write the readings: {e}")))?;
        let together = &take.expose_at.together;
        let figure = setup.figure.as_ref();
        Ok(Self {
            identity: identity.to_owned(),
            stem: frame.stem(),
            name: frame.name.clone(),
            look: frame.look.clone(),
            framing: frame.framing.clone(),
            lighting: frame.lighting.clone(),
            title: setup.title.clone(),
            description: readings::description(setup),
            setup_toml: frame.setup_toml.clone(),
            readings_json,
            shutter_s: setup.camera.shutter_s,
            f_number: take.f_number,
            iso: setup.camera.iso,
            focus_m: setup.camera.focus_m,
            pixels: setup.camera.pixels,
            layers: take.studio.scene.layers.clone(),
            weights: take.weights.clone(),
            gain: take.development.gain,
            probe: Probe::of(setup),
            arrangement: Arrangement::of(setup),
            reading: together.f_number.map_or("dark".into(), on_dial),
            reading_f_number: together.f_number.map(|n| n.value()),
            skin_of: figure.map_or(String::new(), |f| {
                let skin = f.spec.looks.skin.as_deref();
                match skin {
                    Some(skin) => format!("{}, {skin} skin", f.spec.model),
                    None => f.spec.model.clone(),
                }
            }),
            warnings: warnings(notes),
        })
    }

    /// What its picture carries inside.
    pub fn metadata(&self) -> Metadata {
        Metadata {
            title: self.title.clone(),
            description: self.description.clone(),
            software: format!("Swatchlight {}", env!("CARGO_PKG_VERSION")),
            setup_toml: self.setup_toml.clone(),
            readings_json: self.readings_json.clone(),
            exposure: Some(Exposure {
                shutter_s: self.shutter_s,
                f_number: self.f_number,
                iso: self.iso,
                focus_m: Some(self.focus_m),
            }),
        }
    }

    pub fn shape(&self) -> PictureShape {
        PictureShape {
            width: self.pixels[0],
            height: self.pixels[1],
            layer_names: self.layers.clone(),
            albedo: false,
            normal: false,
            depth: false,
        }
    }

    pub fn development(&self) -> Development {
        Development { gain: self.gain }
    }

    /// As JSON, the same for the same card to the byte.
    pub fn to_json(&self) -> Result<String, Failure> {
        serde_json::to_string(self)
            .map_err(|e| Failure::working(format!("cannot write a frame's card: {e}")))
    }
}

impl Record {
    pub fn new(
        card: Card,
        print: String,
        rendering: &Rendering,
        tones: Tones,
        seconds: f64,
    ) -> Self {
        Self {
            form: FORM,
            card,
            print,
            samples: rendering.samples_per_pixel,
            relative_error: rendering.relative_error,
            executor: rendering.executor.clone(),
            tones,
            seconds,
        }
    }

    pub fn compared(&self) -> Compared {
        Compared {
            name: self.card.name.clone(),
            lighting: self.card.lighting.clone(),
            skin_of: self.card.skin_of.clone(),
            f_number: self.card.reading_f_number,
            tones: self.tones,
        }
    }

    /// The readings inside, as JSON.
    pub fn readings(&self) -> serde_json::Value {
        serde_json::from_str(&self.card.readings_json).unwrap_or_default()
    }
}

/// A day or a record from its file; none where there is none of this form.
pub fn read_json<T: for<'a> Deserialize<'a>>(path: &Path) -> Option<T> {
    /// Larger than any.
    const MOST_BYTES: u64 = 64 << 20;
    if fs::metadata(path).ok()?.len() > MOST_BYTES {
        return None;
    }
    let value: serde_json::Value = serde_json::from_slice(&fs::read(path).ok()?).ok()?;
    if value.get("form").and_then(serde_json::Value::as_u64) != Some(u64::from(FORM)) {
        return None;
    }
    serde_json::from_value(value).ok()
}

/// Puts a document in its place, whole.
///
/// # Errors
/// What the system says.
pub fn write_json(path: &Path, document: &impl Serialize) -> Result<(), StillError> {
    let text = serde_json::to_string_pretty(document).map_err(|e| StillError::Encode {
        format: "JSON",
        why: e.to_string(),
    })?;
    write_whole(path, Overwrite::Force, |out| {
        use std::io::Write;
        out.write_all(text.as_bytes())?;
        out.write_all(b"\n")
    })
}

/// SHA-256 in hexadecimal digits.
pub fn print_of(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|b| format!("{b:02x}")).collect()
}

fn warnings(notes: &swatchlight::setup::Problems) -> Vec<String> {
    let one = |p: &swatchlight::setup::Problem| format!("{}: {}", p.severity.word(), p.message);
    notes.list().iter().map(one).collect()
}

/// A setup of the list, read and checked, with the hash of all that its picture depends on.
pub struct Ready {
    pub frame: Frame,
    pub checked: Checked,
    pub identity: String,
}
