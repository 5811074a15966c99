//! What a setup may refer to by name, and how it asks for it. Implemented by higher
//! layers; this one does no input or output of its own.
#![allow(missing_docs)] // a name with its unit says all

use std::collections::BTreeMap;

use glam::DVec3;

use super::measured::no_file;

/// Answers for the names in a setup.
pub trait Library {
    /// Measures of a figure in this pose, in these garments.
    ///
    /// # Errors
    /// [`UnknownName`] says which of what the specification names is unknown, in the word of its key, and
    /// lists the known ones.
    fn figure(&self, spec: &FigureSpec) -> Result<FigureFacts, UnknownName>;

    /// Whether a fabric is known.
    ///
    /// # Errors
    /// [`UnknownName`] with the known fabrics.
    fn fabric(&self, name: &str) -> Result<(), UnknownName>;

    /// A modifier's description by name or by path as written in the setup.
    ///
    /// # Errors
    /// [`UnknownName`] with the known modifiers.
    fn modifier(&self, name: &str) -> Result<ModifierText, UnknownName>;

    /// The bytes of an IES LM-63 file, by its path: from the folder of the modifier file that names
    /// it, `called` in the setup, or from the setup's own.
    ///
    /// # Errors
    /// [`UnknownName`] says where it was looked for, or why it cannot be read. A library without such
    /// files needs no own answer.
    fn far_field(&self, file: &str, called: Option<&str>) -> Result<PhotometricFile, UnknownName> {
        let _ = called;
        Err(no_file(file))
    }
}

/// Which figure, as named in the setup.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct FigureSpec {
    pub model: String,
    pub pose: String,
    /// From the innermost out; none: undressed.
    pub garments: Vec<Worn>,
    /// Cloth of the outermost garment, and of a swatch that names none.
    pub fabric: String,
    pub looks: Looks,
}

/// A garment as worn.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Worn {
    pub garment: String,
    pub fabric: String,
}

/// What differs from the model's own file: each by the name it has there.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Looks {
    pub size: Option<String>,
    pub shoes: Option<String>,
    pub skin: Option<String>,
    pub lips: Option<String>,
    pub lip_finish: Option<String>,
    pub cheeks: Option<String>,
    pub eyes: Option<String>,
    pub hair: Option<String>,
    pub hair_colour: Option<String>,
    pub wind: Option<Wind>,
}

impl Looks {
    /// The looks that are words, each with its key.
    pub fn words(&self) -> [(&'static str, &Option<String>); 9] {
        [
            ("size", &self.size),
            ("shoes", &self.shoes),
            ("skin", &self.skin),
            ("lips", &self.lips),
            ("lip_finish", &self.lip_finish),
            ("cheeks", &self.cheeks),
            ("eyes", &self.eyes),
            // The style first: it brings a colour along.
            ("hair", &self.hair),
            ("hair_colour", &self.hair_colour),
        ]
    }

    /// The place of the word of a key, if there is such a look.
    pub fn word_mut(&mut self, key: &str) -> Option<&mut Option<String>> {
        Some(match key {
            "size" => &mut self.size,
            "shoes" => &mut self.shoes,
            "skin" => &mut self.skin,
            "lips" => &mut self.lips,
            "lip_finish" => &mut self.lip_finish,
            "cheeks" => &mut self.cheeks,
            "eyes" => &mut self.eyes,
            "hair" => &mut self.hair,
            "hair_colour" => &mut self.hair_colour,
            _ => return None,
        })
    }
}

/// Air that moves hair.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wind {
    /// Where it blows to, from the figure: turned from straight ahead of it, positive to the camera's right of a
    /// figure that faces the camera, radians.
    pub toward_rad: f64,
    /// 0 still to 1 the strongest that is any use.
    pub strength: f64,
}

/// What the checks need to know of a figure. Metres, in the figure's own frame: origin on
/// the floor at the mark, `+y` up, facing `+z`, `+x` to the right of someone facing it.
#[derive(Debug, Clone, PartialEq)]
pub struct FigureFacts {
    /// Stature (crown above the floor) as posed.
    pub height_m: f64,
    /// Named body points on the surface: at least face, chest, waist, hip, knee and hem.
    pub body_points_m: BTreeMap<String, DVec3>,
    /// Volumes that no light, board or stand may enter.
    pub blocks: Vec<Capsule>,
}

/// All points within `radius_m` of the segment from `a_m` to `b_m`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Capsule {
    pub a_m: DVec3,
    pub b_m: DVec3,
    pub radius_m: f64,
}

/// The text of a modifier file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ModifierText {
    pub text: String,
    /// How messages name the file.
    pub display_path: String,
}

/// A far field as a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PhotometricFile {
    pub bytes: Vec<u8>,
    /// How messages name the file.
    pub display_path: String,
}

/// A name that the library does not have.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnknownName {
    /// Which kind of thing: "figure", "pose", "garment", "fabric", "modifier", "photometric file";
    /// "file" for one that is there and cannot be used, with `name` its path and `detail` why.
    pub what: &'static str,
    pub name: String,
    pub known: Vec<String>,
    /// More to say, such as why a file could not be read; often empty.
    pub detail: String,
}
