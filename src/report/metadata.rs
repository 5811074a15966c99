//! The words and numbers that travel inside a still.

use serde::{Deserialize, Serialize};

use super::picture::Development;

/// Greatest length of one text inside a still, bytes. Setups are a few kB; more than this in a
/// file is an attack or a mistake.
pub(super) const LONGEST_TEXT: usize = 16 << 20;

/// What is known about a still when its first row is written. Empty texts are left out.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Metadata {
    /// The setup's title.
    pub title: String,
    /// One or two sentences for people: subject, lights.
    pub description: String,
    /// Program and version.
    pub software: String,
    /// The setup file's text, verbatim.
    pub setup_toml: String,
    /// The readings, as `read --json` prints them.
    pub readings_json: String,
    /// The camera's settings, if it has any.
    pub exposure: Option<Exposure>,
}

/// The camera's settings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Exposure {
    /// Exposure time, seconds.
    pub shutter_s: f64,
    /// Relative aperture N of f/N.
    pub f_number: f64,
    /// ISO speed.
    pub iso: f64,
    /// Focus distance, metres.
    pub focus_m: Option<f64>,
}

/// How the picture came about: known when its last row is written.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Rendering {
    /// Samples per pixel reached.
    pub samples_per_pixel: u32,
    /// Relative standard error at the median pixel, if it was estimated.
    pub relative_error: Option<f64>,
    /// Which executor traced it.
    pub executor: String,
}

/// One kind of text, as keyed in the files.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Key {
    Title,
    Description,
    Software,
    Setup,
    Readings,
    Rendering,
}

impl Key {
    pub(super) const ALL: [Key; 6] = [
        Key::Title,
        Key::Description,
        Key::Software,
        Key::Setup,
        Key::Readings,
        Key::Rendering,
    ];

    /// The keyword in PNG, JPEG and TIFF. The first three are registered PNG keywords.
    pub(super) fn keyword(self) -> &'static str {
        match self {
            Key::Title => "Title",
            Key::Description => "Description",
            Key::Software => "Software",
            Key::Setup => "Swatchlight setup",
            Key::Readings => "Swatchlight readings",
            Key::Rendering => "Swatchlight rendering",
        }
    }

    /// The attribute in OpenEXR. `comments` is a standard attribute of the format.
    pub(super) fn attribute(self) -> &'static str {
        match self {
            Key::Title => "title",
            Key::Description => "comments",
            Key::Software => "software",
            Key::Setup => "swatchlightSetup",
            Key::Readings => "swatchlightReadings",
            Key::Rendering => "swatchlightRendering",
        }
    }

    pub(super) fn from_keyword(keyword: &str) -> Option<Key> {
        Key::ALL.into_iter().find(|key| key.keyword() == keyword)
    }

    pub(super) fn from_attribute(name: &str) -> Option<Key> {
        Key::ALL.into_iter().find(|key| key.attribute() == name)
    }
}

impl Metadata {
    /// The texts that are not empty, in the order of [`Key::ALL`], without the rendering's.
    pub(super) fn texts(&self) -> Vec<(Key, &str)> {
        let texts = [
            (Key::Title, self.title.as_str()),
            (Key::Description, &self.description),
            (Key::Software, &self.software),
            (Key::Setup, &self.setup_toml),
            (Key::Readings, &self.readings_json),
        ];
        texts
            .into_iter()
            .filter(|(_, text)| !text.is_empty())
            .collect()
    }
}

impl Rendering {
    /// As one line of JSON, with the gain that the display values were developed with.
    pub(super) fn to_json(&self, development: &Development) -> String {
        let mut facts = serde_json::json!({
            "samples_per_pixel": self.samples_per_pixel,
            "executor": self.executor,
            "gain_per_cd_s_m2": development.gain,
        });
        if let Some(error) = self.relative_error {
            facts["relative_error"] = error.into();
        }
        facts.to_string()
    }
}
