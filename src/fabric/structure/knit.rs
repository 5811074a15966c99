//! Knitted cloth: what a knitter says of it, and its numbers as `shaders/core/knit.wgsl` reads them.

use serde::Deserialize;

use super::{Form, yarn::Skin};
use crate::fabric::FabricError;
use crate::fabric::construction::{
    Count, FIBRE_DENSITIES_G_CM3, diameter_mm, jersey_wales_and_courses_per_cm,
    specific_volume_cm3_g,
};

/// Plain jersey, face to the viewer, as its table in a fabric's data file.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "snake_case")]
pub struct Jersey {
    /// Length of yarn in a loop. Where wales and courses are not given, they follow from it (D. L.
    /// Munden, J. Text. Inst. 50, 1959, T448).
    #[serde(default = "Jersey::loop_length")]
    pub loop_length_mm: f64,
    /// Columns of loops to a centimetre.
    pub wales_per_cm: Option<f64>,
    /// Rows of loops to a centimetre.
    pub courses_per_cm: Option<f64>,
    /// How far loops stray from their places, over the distance between wales and courses.
    #[serde(default = "stray")]
    pub stray: f64,
    /// The yarn.
    pub yarn: KnitYarn,
}

/// A rib: face wales and purl wales by turns, as its table in a fabric's data file.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "snake_case")]
pub struct Rib {
    /// Face wales side by side, and purl wales after them: 2 in a two-and-two rib.
    #[serde(default = "Rib::wales")]
    pub wales: u32,
    /// Face wales to a centimetre of ridge.
    pub wales_per_cm: f64,
    /// Rows of loops to a centimetre.
    pub courses_per_cm: f64,
    /// Width left to the purl wales between the ridges, over that of face wales: 1 stretched flat,
    /// 0.4 drawn in by itself.
    #[serde(default = "Rib::purl_width")]
    pub purl_width: f64,
    /// How far the ridges stand over the valleys, without the loops' own relief.
    #[serde(default = "Rib::depth")]
    pub depth_mm: f64,
    /// How far loops stray from their places, over the distance between wales and courses.
    #[serde(default = "stray")]
    pub stray: f64,
    /// The yarn.
    pub yarn: KnitYarn,
}

/// A knitting yarn.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "snake_case")]
pub struct KnitYarn {
    /// Its count, with its unit: "Ne 30", "Nm 2/28".
    pub count: String,
    /// What it is spun of: a name of [`FIBRE_DENSITIES_G_CM3`].
    #[serde(default = "KnitYarn::cotton")]
    pub fibre: String,
    /// Share of the yarn's section that is fibre: 0.5 soft, 0.6 firm (common practice).
    #[serde(default = "KnitYarn::packing")]
    pub packing: f64,
    /// Width of the yarn as it lies in the finished cloth, over its round diameter: knitting yarn
    /// is soft and blooms.
    #[serde(default = "KnitYarn::width_factor")]
    pub width_factor: f64,
    /// Its height over the same.
    #[serde(default = "KnitYarn::height_factor")]
    pub height_factor: f64,
    /// Spread of thickness from leg to leg, as a fraction.
    #[serde(default = "KnitYarn::unevenness")]
    pub unevenness: f64,
    /// Reflectance, linear sRGB.
    pub colour: [f64; 3],
    /// Its surface.
    #[serde(default)]
    pub skin: Skin,
}

/// A knit as it lies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KnitGeometry {
    /// Columns of loops to a centimetre, face and purl ones.
    pub wales_per_cm: f64,
    /// Rows of loops to a centimetre.
    pub courses_per_cm: f64,
    /// Of the round yarn.
    pub diameter_mm: f64,
    /// Of the yarn as it lies.
    pub width_mm: f64,
    /// Length of yarn in one face loop.
    pub loop_length_mm: f64,
    /// Mass of a square metre.
    pub weight_g_m2: f64,
    /// Share of the cloth that yarn hides: the yarn's own shadow less what lies under other yarn
    /// at a loop's four crossings, `(l d - 4 d²) / (w c)`, at most 1. An estimate.
    pub cover: f64,
}

/// Half a loop's height over the distance between courses.
const REACH: f64 = 0.9;
/// Height of the legs' middle line over the cloth's middle, over the yarn's width.
const RISE: f64 = 0.55;
/// Radius of the arcs over half a wale, where there is room for it.
const BEND: f64 = 0.68;

/// Texels before the skin.
const HEAD: u32 = 5;

fn stray() -> f64 {
    0.045
}

impl Jersey {
    fn loop_length() -> f64 {
        2.8
    }

    /// Whether every number is one that jersey can have.
    ///
    /// # Errors
    /// The first number out of its range, or a count that is none.
    pub fn check(&self) -> Result<(), FabricError> {
        let range = FabricError::range;
        range("loop_length_mm", self.loop_length_mm, 0.8, 60.0)?;
        if let Some(wales) = self.wales_per_cm {
            range("wales_per_cm", wales, 0.5, 60.0)?;
        }
        if let Some(courses) = self.courses_per_cm {
            range("courses_per_cm", courses, 0.5, 80.0)?;
        }
        range("stray", self.stray, 0.0, 0.2)?;
        self.yarn.check()?;
        self.loops()?.check()
    }

    /// How it lies.
    ///
    /// # Errors
    /// What [`Jersey::check`] finds.
    pub fn geometry(&self) -> Result<KnitGeometry, FabricError> {
        self.check()?;
        let loops = self.loops()?;
        let mut geometry = loops.geometry(self.yarn.count()?);
        if self.wales_per_cm.is_none() && self.courses_per_cm.is_none() {
            // As knitted, not as drawn.
            geometry.loop_length_mm = self.loop_length_mm;
            geometry.weight_g_m2 = loops.weight_g_m2(self.loop_length_mm, self.yarn.count()?.tex);
        }
        Ok(geometry)
    }

    /// Puts the cloth among the texels.
    ///
    /// # Errors
    /// What [`Jersey::check`] finds.
    pub fn pack(&self, seed: u32, texels: &mut Vec<[f32; 4]>) -> Result<Form, FabricError> {
        self.check()?;
        Ok(self.loops()?.pack(&self.yarn, seed, texels))
    }

    fn loops(&self) -> Result<Loops, FabricError> {
        let (wales, courses) = jersey_wales_and_courses_per_cm(0.1 * self.loop_length_mm);
        let wale_mm = 10.0 / self.wales_per_cm.unwrap_or(wales);
        let course_mm = 10.0 / self.courses_per_cm.unwrap_or(courses);
        let diameter_mm = self.yarn.diameter_mm()?;
        Ok(Loops {
            wale_mm,
            course_mm,
            face_wales: 0,
            purl_width: 1.0,
            diameter_mm,
            width_mm: diameter_mm * self.yarn.width_factor,
            fullness: self.yarn.height_factor / self.yarn.width_factor,
            rib_mm: 0.0,
            stray: self.stray,
            uneven: self.yarn.unevenness,
        })
    }
}

impl Rib {
    fn wales() -> u32 {
        2
    }

    fn purl_width() -> f64 {
        0.42
    }

    fn depth() -> f64 {
        1.15
    }

    /// Whether every number is one that a rib can have.
    ///
    /// # Errors
    /// The first number out of its range, or a count that is none.
    pub fn check(&self) -> Result<(), FabricError> {
        let range = FabricError::range;
        range("wales", f64::from(self.wales), 1.0, 12.0)?;
        range("wales_per_cm", self.wales_per_cm, 0.5, 60.0)?;
        range("courses_per_cm", self.courses_per_cm, 0.5, 80.0)?;
        range("purl_width", self.purl_width, 0.25, 1.2)?;
        range("depth_mm", self.depth_mm, 0.0, 10.0)?;
        range("stray", self.stray, 0.0, 0.2)?;
        self.yarn.check()?;
        self.loops()?.check()
    }

    /// How it lies.
    ///
    /// # Errors
    /// What [`Rib::check`] finds.
    pub fn geometry(&self) -> Result<KnitGeometry, FabricError> {
        self.check()?;
        Ok(self.loops()?.geometry(self.yarn.count()?))
    }

    /// Puts the cloth among the texels.
    ///
    /// # Errors
    /// What [`Rib::check`] finds.
    pub fn pack(&self, seed: u32, texels: &mut Vec<[f32; 4]>) -> Result<Form, FabricError> {
        self.check()?;
        Ok(self.loops()?.pack(&self.yarn, seed, texels))
    }

    fn loops(&self) -> Result<Loops, FabricError> {
        let diameter_mm = self.yarn.diameter_mm()?;
        Ok(Loops {
            wale_mm: 10.0 / self.wales_per_cm,
            course_mm: 10.0 / self.courses_per_cm,
            face_wales: self.wales,
            purl_width: self.purl_width,
            diameter_mm,
            width_mm: diameter_mm * self.yarn.width_factor,
            fullness: self.yarn.height_factor / self.yarn.width_factor,
            rib_mm: self.depth_mm,
            stray: self.stray,
            uneven: self.yarn.unevenness,
        })
    }
}

impl KnitYarn {
    fn cotton() -> String {
        "cotton".to_owned()
    }

    fn packing() -> f64 {
        0.6
    }

    fn width_factor() -> f64 {
        1.36
    }

    fn height_factor() -> f64 {
        1.22
    }

    fn unevenness() -> f64 {
        0.16
    }

    fn count(&self) -> Result<Count, FabricError> {
        Count::parse(&self.count).map_err(|e| FabricError::Text(format!("count: {e}")))
    }

    fn diameter_mm(&self) -> Result<f64, FabricError> {
        let density = FIBRE_DENSITIES_G_CM3
            .iter()
            .find(|(name, _)| *name == self.fibre)
            .map(|(_, density)| *density)
            .ok_or_else(|| {
                let names: Vec<&str> = FIBRE_DENSITIES_G_CM3.iter().map(|(n, _)| *n).collect();
                FabricError::Text(format!(
                    "fibre = \"{}\": no fibre of this name; write one of {}",
                    self.fibre,
                    names.join(", ")
                ))
            })?;
        let volume = specific_volume_cm3_g(density, self.packing);
        Ok(diameter_mm(self.count()?.tex, volume))
    }

    fn check(&self) -> Result<(), FabricError> {
        let range = FabricError::range;
        range("packing", self.packing, 0.2, 0.95)?;
        range("width_factor", self.width_factor, 0.5, 4.0)?;
        range("height_factor", self.height_factor, 0.2, 2.5)?;
        range("unevenness", self.unevenness, 0.0, 0.5)?;
        for value in self.colour {
            range("colour", value, 0.0, 1.0)?;
        }
        self.skin.check()?;
        self.diameter_mm().map(|_| ())
    }
}

/// What jersey and ribs share.
struct Loops {
    wale_mm: f64,
    course_mm: f64,
    face_wales: u32,
    purl_width: f64,
    diameter_mm: f64,
    width_mm: f64,
    fullness: f64,
    rib_mm: f64,
    stray: f64,
    uneven: f64,
}

impl Loops {
    /// Whether the yarn fits its loops.
    fn check(&self) -> Result<(), FabricError> {
        let room = 2.0 * (0.5 * self.wale_mm).min(self.course_mm);
        FabricError::range("yarn's width in mm", self.width_mm, 0.02, room)?;
        let shape = self.course_mm / self.wale_mm;
        FabricError::range("courses' distance over wales' distance", shape, 0.3, 3.0)
    }

    fn reach_mm(&self) -> f64 {
        REACH * self.course_mm
    }

    /// Radius of the arcs over half a wale: less where wales are so wide that no line would touch
    /// both circles.
    fn bend(&self) -> f64 {
        let half = 0.5 * self.wale_mm;
        let fits = |bend: f64| {
            let arc = bend * half;
            let up = 2.0 * (self.reach_mm() - arc);
            up > 0.0 && 2.0 * arc < 0.92 * half.hypot(up)
        };
        let mut bend = BEND;
        while !fits(bend) && bend > 0.1 {
            bend -= 0.01;
        }
        bend
    }

    /// Length of yarn from a sinker loop's middle to a head's.
    fn between_mm(&self) -> f64 {
        let half = 0.5 * self.wale_mm;
        let arc = self.bend() * half;
        let up = 2.0 * (self.reach_mm() - arc);
        let far = half.hypot(up);
        let cross = (2.0 * arc / far).asin();
        let lean = up.atan2(half) + cross;
        2.0 * arc * lean + far * cross.cos()
    }

    /// Width over which the pattern of wales repeats, and how many there are in it.
    fn repeat(&self) -> (f64, f64) {
        match self.face_wales {
            0 => (self.wale_mm, 1.0),
            n => {
                let n = f64::from(n);
                (n * self.wale_mm * (1.0 + self.purl_width), 2.0 * n)
            }
        }
    }

    fn weight_g_m2(&self, loop_length_mm: f64, count_tex: f64) -> f64 {
        let (width_mm, wales) = self.repeat();
        // tex is mg a metre; loops a square millimetre times millimetres: a metre a square mm.
        wales / (width_mm * self.course_mm) * loop_length_mm * count_tex
    }

    fn geometry(&self, count: Count) -> KnitGeometry {
        let (width_mm, wales) = self.repeat();
        let loop_length_mm = 2.0 * self.between_mm();
        let loop_area = width_mm / wales * self.course_mm;
        let d = self.width_mm;
        KnitGeometry {
            wales_per_cm: 10.0 * wales / width_mm,
            courses_per_cm: 10.0 / self.course_mm,
            diameter_mm: self.diameter_mm,
            width_mm: d,
            loop_length_mm,
            weight_g_m2: self.weight_g_m2(loop_length_mm, count.tex),
            cover: ((loop_length_mm * d - 4.0 * d * d) / loop_area).clamp(0.0, 1.0),
        }
    }

    fn pack(&self, yarn: &KnitYarn, seed: u32, texels: &mut Vec<[f32; 4]>) -> Form {
        let mut skin = yarn.skin.clone();
        if skin.plies.is_none() {
            skin.plies = yarn.count().ok().map(|count| count.plies);
        }
        let plied = skin.plies.unwrap_or(1) > 1 && skin.ply_twist_per_m != 0.0;
        let radius = 0.5 * self.width_mm;
        let rise = RISE * self.width_mm;
        let low = -(rise + 0.5 * self.rib_mm) - if plied { skin.ply_depth * radius } else { 0.0 };
        let fat = radius * (1.0 + self.uneven);
        let ply = if plied {
            0.4 * skin.ply_depth * fat
        } else {
            0.0
        };
        let high = rise + 0.5 * self.rib_mm + self.fullness * fat + ply;
        let first = texels.len() as u32;
        let row = |values: [f64; 4]| values.map(|value| value as f32);
        let [red, green, blue] = yarn.colour;
        let plied = f64::from(u8::from(plied));
        texels.extend([
            row([
                0.5 * self.wale_mm,
                self.course_mm,
                f64::from(self.face_wales),
                self.purl_width,
            ]),
            row([radius, self.fullness, rise, self.reach_mm()]),
            row([self.bend(), self.stray, self.uneven, self.rib_mm]),
            row([
                f64::from(seed & 0xff_ffff),
                f64::from(HEAD),
                self.between_mm(),
                low,
            ]),
            row([red, green, blue, plied]),
        ]);
        skin.pack(seed, texels);
        Form {
            first,
            pitch_mm: self.repeat().0 as f32,
            low_mm: low as f32,
            high_mm: high as f32,
        }
    }
}
