//! The stand-in as its data file describes it, and the parts it is made of.

use super::body::Body;
use super::eye;
use super::foot::Shoes;
use super::hair::{self, BodyScalp, HairColour, Hairdo, Scalp, Style, Wind};
use super::import::{LoadOptions, Scale, smooth_normals};
use super::paint::{Colour, Complexion, Tone};
use super::person::{Build, Person, Shod};
use super::points::body_capsules;
use super::sdf::Field;
use super::skin_mesh::{SkinDetail, skin};
use super::surface::extract;
use super::{BodyPoints, Capsule, FigureError, Model, Part, Role};
use glam::{DVec3, Vec2, Vec3};
use serde::de::IntoDeserializer;
use serde::de::value::StrDeserializer;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use toml::Spanned;

/// Raised whenever the same description gives another figure, so that what older code built is not taken for it.
pub const FIGURE_VERSION: u32 = 11;

/// A figure's data file: one that is made from numbers, or a mesh of the user's own.
#[derive(Debug, Clone, PartialEq)]
pub enum FigureFile {
    /// Made here.
    Made(Box<StandIn>),
    /// Loaded.
    Mesh(Box<MeshFile>),
}

/// A stand-in to be made.
#[derive(Debug, Clone, PartialEq)]
pub struct StandIn {
    /// Shown to people.
    pub title: String,
    /// Build, size, shoes.
    pub person: Person,
    /// Skin, lips, cheeks.
    pub complexion: Complexion,
    /// Colour of the eyes.
    pub iris: Iris,
    /// How the hair is worn, if there is any.
    pub hairdo: Option<Hairdo>,
}

/// A figure or garment in a mesh file beside its data file.
#[derive(Debug, Clone, PartialEq)]
pub struct MeshFile {
    /// Shown to people.
    pub title: String,
    /// Name of the mesh file: OBJ or glTF.
    pub file: String,
    /// How to read it.
    pub options: LoadOptions,
    /// Places given in the file, metres; others are found on the mesh.
    pub points: BodyPoints,
    /// Capsules that stand for the body.
    pub blocking: Vec<Capsule>,
}

/// Colour of an iris.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Iris {
    /// Nearly black.
    Dark,
    /// The commonest.
    Brown,
    /// Between brown and green.
    Hazel,
    /// Green.
    Green,
    /// Blue.
    Blue,
    /// Grey.
    Grey,
}

impl Iris {
    /// All of them.
    pub const ALL: [Self; 6] = [
        Self::Dark,
        Self::Brown,
        Self::Hazel,
        Self::Green,
        Self::Blue,
        Self::Grey,
    ];

    /// Linear sRGB reflectance of its mean; set by eye.
    pub fn rgb(self) -> [f32; 3] {
        match self {
            Self::Dark => [0.030, 0.016, 0.009],
            Self::Brown => [0.105, 0.052, 0.024],
            Self::Hazel => [0.165, 0.115, 0.045],
            Self::Green => [0.130, 0.150, 0.075],
            Self::Blue => [0.115, 0.165, 0.215],
            Self::Grey => [0.170, 0.185, 0.190],
        }
    }
}

/// A word that a figure does not know.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnknownLook {
    /// What it would have been.
    pub key: &'static str,
    /// Words that it could be.
    pub known: Vec<String>,
}

/// The word that names a value in files.
fn word<T: Serialize>(value: T) -> String {
    match toml::Value::try_from(value) {
        Ok(toml::Value::String(word)) => word,
        _ => String::new(),
    }
}

fn from_word<T: for<'de> Deserialize<'de> + Serialize + Copy>(
    key: &'static str,
    given: &str,
    all: &[T],
) -> Result<T, UnknownLook> {
    let plain: StrDeserializer<'_, serde::de::value::Error> = given.into_deserializer();
    T::deserialize(plain).map_err(|_| UnknownLook {
        key,
        known: all.iter().map(|v| word(*v)).collect(),
    })
}

const COLOURS: [Colour; 3] = [Colour::Natural, Colour::Bright, Colour::Dark];
const STYLES: [Style; 5] = [
    Style::TiedBack,
    Style::Bun,
    Style::Loose,
    Style::Curled,
    Style::Short,
];
const MATT: f32 = 0.15;
const GLOSSY: f32 = 0.95;

impl StandIn {
    /// A person of that build with nothing said about the rest.
    pub fn new(title: &str, build: Build) -> Self {
        let style = match build {
            Build::Woman => Style::Bun,
            Build::Man => Style::Short,
        };
        Self {
            title: title.to_owned(),
            person: Person::new(build),
            complexion: Complexion::default(),
            iris: Iris::Brown,
            hairdo: Some(Hairdo::new(style, HairColour::DarkBrown)),
        }
    }

    /// Changes one thing, by the words of data files and setups: `size`, `shoes`, `skin`, `lips`, `lip_finish`,
    /// `cheeks`, `nails`, `eyes`, `hair`, `hair_colour`.
    ///
    /// # Errors
    /// [`UnknownLook`] with the words there are.
    pub fn set(&mut self, key: &'static str, given: &str) -> Result<(), UnknownLook> {
        let c = &mut self.complexion;
        match key {
            "size" => {
                let build = self.person.build;
                self.person = self
                    .person
                    .clone()
                    .sized(given)
                    .ok_or_else(|| UnknownLook {
                        key,
                        known: Person::sizes(build).map(|s| s.name).to_vec(),
                    })?;
            }
            "shoes" => {
                self.person.shod = Shod::from_word(given).ok_or_else(|| UnknownLook {
                    key,
                    known: [Shod::Bare, Shod::Pumps, Shod::Flats, Shod::Welted]
                        .map(|s| s.word().to_owned())
                        .to_vec(),
                })?;
            }
            "skin" => c.tone = from_word(key, given, &Tone::ALL)?,
            "lips" => c.lips = from_word(key, given, &COLOURS)?,
            "lip_finish" => {
                c.lip_gloss = match given {
                    "matt" => MATT,
                    "gloss" => GLOSSY,
                    _ => {
                        return Err(UnknownLook {
                            key,
                            known: vec!["matt".into(), "gloss".into()],
                        });
                    }
                }
            }
            "cheeks" => c.cheeks = from_word(key, given, &COLOURS)?,
            "nails" => c.nails = from_word(key, given, &COLOURS)?,
            "eyes" => self.iris = from_word(key, given, &Iris::ALL)?,
            "hair" if given == "none" => self.hairdo = None,
            "hair" => {
                let style = from_word(key, given, &STYLES).map_err(|mut e| {
                    e.known.push("none".into());
                    e
                })?;
                let colour = self.hair_colour();
                let wind = self.hairdo.as_ref().and_then(|h| h.wind);
                self.hairdo = Some(Hairdo {
                    wind,
                    ..Hairdo::new(style, colour)
                });
            }
            "hair_colour" => {
                let colour = from_word(key, given, &HairColour::ALL)?;
                if let Some(hairdo) = &mut self.hairdo {
                    hairdo.colour = colour;
                }
            }
            _ => {
                return Err(UnknownLook {
                    key,
                    known: Vec::new(),
                });
            }
        }
        Ok(())
    }

    /// Colour of the hair, or what brows would have without any.
    pub fn hair_colour(&self) -> HairColour {
        self.hairdo
            .as_ref()
            .map_or(HairColour::DarkBrown, |h| h.colour)
    }

    /// Blows the hair to where the figure's own frame says.
    pub fn blow(&mut self, toward: [f64; 3], strength: f64) {
        if let Some(hairdo) = &mut self.hairdo {
            hairdo.wind = Some(Wind { toward, strength });
        }
    }

    /// Skin, eyes, shoes and seat of the posed body; each eye's frame among the points, named
    /// ".eye.left.centre" and so on.
    pub fn bare(&self, body: &Body) -> Model {
        let mut parts = vec![skin(body, &self.complexion, &SkinDetail::default())];
        self.tint_scalp(body, &mut parts[0]);
        parts.extend(eye::parts(body, body.head()));
        if let Some(shoes) = body.shoes() {
            for (side, name) in [(1, "shoe.left"), (0, "shoe.right")] {
                let around = [body.joints().toe[side], body.joints().ankle[side]];
                let shoe = OneShoe {
                    shoes: &shoes,
                    side,
                };
                parts.push(solid(
                    name,
                    Role::Shoe,
                    &shoe,
                    around.into_iter(),
                    16.0,
                    0.22,
                ));
            }
        }
        if let Some(seat) = body.seat() {
            let hips = body.joints().hip.into_iter();
            let feet = hips.clone().map(|p| p.with_y(0.0));
            parts.push(solid(
                "seat",
                Role::Stand,
                &seat,
                hips.chain(feet),
                30.0,
                0.8,
            ));
        }
        let mut points = BodyPoints::default();
        for (side, name) in [(1, "left"), (0, "right")] {
            let frame = eye::frame(body, side);
            for (what, v) in [
                ("centre", frame.centre_m),
                ("gaze", frame.gaze),
                ("up", frame.up),
                ("size", Vec3::splat(frame.metres_per_mm)),
            ] {
                points.0.insert(format!(".eye.{name}.{what}"), v);
            }
        }
        Model {
            title: self.title.clone(),
            parts,
            points,
            blocking: body_capsules(body),
        }
    }

    /// Hair, brows and lashes; `dressed` is what the hair falls on.
    pub fn hair(&self, body: &Body, dressed: &dyn Field) -> Model {
        let scalp = BodyScalp::new(body);
        let hairdo = self.hairdo.clone().unwrap_or_else(|| Hairdo {
            density: 0.2,
            ..Hairdo::new(Style::Short, self.hair_colour())
        });
        let mut parts = hair::grow(&hairdo, &scalp, dressed);
        if self.hairdo.is_none() {
            parts.retain(|p| p.name != "hair");
        }
        Model {
            title: self.title.clone(),
            parts,
            ..Model::default()
        }
    }

    /// What is seen between strands is not bare skin.
    fn tint_scalp(&self, body: &Body, skin: &mut Part) {
        let Some(hairdo) = &self.hairdo else {
            return;
        };
        let scalp = BodyScalp::new(body);
        for (p, paint) in skin.positions_m.iter().zip(&mut skin.paint) {
            let mm = scalp.to_head_mm(p.as_dvec3() * 100.0);
            if mm.length() > 170.0 {
                continue;
            }
            let (rgb, share) = hair::scalp_tint(hairdo, &scalp, mm);
            for c in 0..3 {
                paint[c] += share * (rgb[c] - paint[c]);
            }
            paint[3] *= 1.0 - share;
        }
    }
}

/// One shoe of a pair, the other as if it were not there.
struct OneShoe<'a> {
    shoes: &'a Shoes,
    side: usize,
}

impl Field for OneShoe<'_> {
    fn distance(&self, p: DVec3) -> f64 {
        let scale = self.shoes.scale;
        self.shoes.feet[self.side].shoe(p / scale) * scale
    }
}

/// A solid of the field near some places, meshed.
fn solid(
    name: &str,
    role: Role,
    field: &dyn Field,
    around: impl Iterator<Item = DVec3>,
    reach_cm: f64,
    pitch_cm: f64,
) -> Part {
    let (mut lo, mut hi) = (DVec3::INFINITY, DVec3::NEG_INFINITY);
    for p in around {
        lo = lo.min(p);
        hi = hi.max(p);
    }
    lo = (lo - reach_cm).with_y(-1.0);
    let mesh = extract(field, lo, hi + reach_cm, pitch_cm);
    let metres = |p: &DVec3| (*p * 0.01).as_vec3();
    let positions_m: Vec<Vec3> = mesh.positions.iter().map(metres).collect();
    let normals = mesh
        .positions
        .iter()
        .map(|p| {
            field
                .gradient(*p, 0.2 * pitch_cm)
                .as_vec3()
                .normalize_or_zero()
        })
        .zip(smooth_normals(&positions_m, &mesh.triangles))
        .map(|(steep, flat)| if steep.dot(flat) > 0.2 { steep } else { flat })
        .collect();
    Part {
        name: name.to_owned(),
        role,
        normals,
        uvs_cm: positions_m
            .iter()
            .map(|p| Vec2::new(p.x, p.y) * 100.0)
            .collect(),
        positions_m,
        triangles: mesh.triangles,
        paint: Vec::new(),
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    title: String,
    build: Option<Spanned<String>>,
    size: Option<Spanned<String>>,
    shoes: Option<Spanned<String>>,
    skin: Option<Spanned<String>>,
    lips: Option<Spanned<String>>,
    lip_finish: Option<Spanned<String>>,
    cheeks: Option<Spanned<String>>,
    nails: Option<Spanned<String>>,
    eyes: Option<Spanned<String>>,
    hair: Option<Spanned<String>>,
    hair_colour: Option<Spanned<String>>,
    hair_length_cm: Option<Spanned<f64>>,
    hair_seed: Option<u32>,
    mesh: Option<Spanned<String>>,
    height_m: Option<Spanned<f64>>,
    unit_m: Option<Spanned<f64>>,
    open: Option<bool>,
    #[serde(default)]
    points_m: BTreeMap<String, [f32; 3]>,
    #[serde(default)]
    blocking: Vec<FileCapsule>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FileCapsule {
    a_m: [f32; 3],
    b_m: [f32; 3],
    radius_m: f32,
}

/// Nothing on a figure is further from its origin than this, in metres.
const REACH_M: f32 = 10.0;

impl FigureFile {
    /// Shown to people.
    pub fn title(&self) -> &str {
        match self {
            Self::Made(made) => &made.title,
            Self::Mesh(mesh) => &mesh.title,
        }
    }

    /// Reads a figure's data file.
    ///
    /// # Errors
    /// [`FigureError::Data`] for broken TOML, unknown keys and words (with those there are), and numbers out of
    /// range, each with its line and column.
    pub fn parse(text: &str) -> Result<Self, FigureError> {
        let file: File = toml::from_str(text)
            .map_err(|e| FigureError::Data(crate::setup::toml_reason(text, &e)))?;
        if file.mesh.is_some() {
            return mesh_file(text, file).map(|m| Self::Mesh(Box::new(m)));
        }
        let at = |span: std::ops::Range<usize>, reason: String| {
            FigureError::Data(format!("{}: {reason}", place_of(text, span.start)))
        };
        if let Some(height) = file.height_m.as_ref().or(file.unit_m.as_ref()) {
            return Err(at(
                height.span(),
                "height_m and unit_m belong to a mesh = \"FILE\"; a made figure has a size".into(),
            ));
        }
        let build = file.build.as_ref().ok_or_else(|| {
            FigureError::Data(
                "say build = \"woman\" or \"man\", or mesh = \"FILE\" for a mesh of your own"
                    .into(),
            )
        })?;
        let known = Build::from_word(build.get_ref()).ok_or_else(|| {
            at(
                build.span(),
                format!("build is \"woman\" or \"man\", not \"{}\"", build.get_ref()),
            )
        })?;
        let mut made = StandIn::new(&file.title, known);
        let given = [
            ("size", &file.size),
            ("shoes", &file.shoes),
            ("skin", &file.skin),
            ("lips", &file.lips),
            ("lip_finish", &file.lip_finish),
            ("cheeks", &file.cheeks),
            ("nails", &file.nails),
            ("eyes", &file.eyes),
            // The style first: it brings a length of its own.
            ("hair", &file.hair),
            ("hair_colour", &file.hair_colour),
        ];
        for (key, value) in given {
            if let Some(value) = value {
                made.set(key, value.get_ref()).map_err(|unknown| {
                    at(
                        value.span(),
                        format!(
                            "there is no {key} \"{}\"; there is {}",
                            value.get_ref(),
                            unknown.known.join(", ")
                        ),
                    )
                })?;
            }
        }
        if let (Some(hairdo), Some(length)) = (&mut made.hairdo, &file.hair_length_cm) {
            let (least, most) = if hairdo.style == Style::Short {
                (1.0, 12.0)
            } else {
                (8.0, 60.0)
            };
            if !(least..=most).contains(length.get_ref()) {
                return Err(at(
                    length.span(),
                    format!("hair_length_cm of this style can be {least} to {most}"),
                ));
            }
            hairdo.length_cm = *length.get_ref();
        }
        if file.open.is_some() || !file.points_m.is_empty() || !file.blocking.is_empty() {
            return Err(FigureError::Data(
                "open, points_m and blocking belong to a mesh = \"FILE\"; a made figure has its own".into(),
            ));
        }
        if let (Some(hairdo), Some(seed)) = (&mut made.hairdo, file.hair_seed) {
            hairdo.seed = seed;
        }
        Ok(Self::Made(Box::new(made)))
    }
}

fn mesh_file(text: &str, file: File) -> Result<MeshFile, FigureError> {
    let at = |span: std::ops::Range<usize>, reason: &str| {
        FigureError::Data(format!("{}: {reason}", place_of(text, span.start)))
    };
    let words = [
        &file.build,
        &file.size,
        &file.shoes,
        &file.skin,
        &file.lips,
        &file.lip_finish,
        &file.cheeks,
        &file.nails,
        &file.eyes,
        &file.hair,
        &file.hair_colour,
    ];
    if let Some(word) = words.into_iter().flatten().next() {
        return Err(at(
            word.span(),
            "this belongs to a figure that is made; a mesh = \"FILE\" brings its own looks",
        ));
    }
    if let Some(length) = &file.hair_length_cm {
        return Err(at(
            length.span(),
            "this belongs to a figure that is made; a mesh = \"FILE\" brings its own looks",
        ));
    }
    let Some(name) = file.mesh else {
        return Err(FigureError::Empty);
    };
    let plain = |n: &str| !n.contains(['/', '\\']) && !n.starts_with('.') && !n.is_empty();
    if !plain(name.get_ref()) {
        return Err(at(
            name.span(),
            "name a file that lies beside this one, such as \"mine.obj\" or \"mine.glb\"",
        ));
    }
    let scale = match (&file.height_m, &file.unit_m) {
        (Some(h), Some(_)) => {
            return Err(at(h.span(), "say height_m or unit_m, not both"));
        }
        (Some(h), None) if (0.05..=4.0).contains(h.get_ref()) => Scale::HeightM(*h.get_ref()),
        (Some(h), None) => return Err(at(h.span(), "height_m can be 0.05 to 4 metres")),
        (None, Some(u)) if (1e-5..=100.0).contains(u.get_ref()) => {
            Scale::MetresPerUnit(*u.get_ref())
        }
        (None, Some(u)) => {
            return Err(at(
                u.span(),
                "unit_m is how many metres one unit of the file is: 1, 0.01 for centimetres, 0.001 for millimetres",
            ));
        }
        (None, None) => Scale::MetresPerUnit(1.0),
    };
    let place = |name: &str, p: [f32; 3]| {
        if p.iter().all(|v| v.abs() <= REACH_M) {
            Ok(Vec3::from(p))
        } else {
            Err(FigureError::Data(format!(
                "{name}: coordinates must be metres within {REACH_M} m of the origin"
            )))
        }
    };
    let mut points = BodyPoints::default();
    for (name, p) in file.points_m {
        points.0.insert(name.clone(), place(&name, p)?);
    }
    let mut blocking = Vec::new();
    for c in file.blocking {
        if !(c.radius_m > 0.0 && c.radius_m <= 2.0) {
            return Err(FigureError::Data(
                "blocking: radius_m must be above 0 and at most 2 metres".into(),
            ));
        }
        blocking.push(Capsule {
            a_m: place("blocking", c.a_m)?,
            b_m: place("blocking", c.b_m)?,
            radius_m: c.radius_m,
        });
    }
    Ok(MeshFile {
        options: LoadOptions {
            title: file.title.clone(),
            scale,
            open_skin: file.open.unwrap_or(false),
            ..LoadOptions::default()
        },
        title: file.title,
        file: name.into_inner(),
        points,
        blocking,
    })
}

/// "line 3, column 8" of a byte of a text.
fn place_of(text: &str, byte: usize) -> String {
    let before = text.get(..byte).unwrap_or(text);
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
    format!("line {line}, column {column}")
}
