//! Far-field photometry as files: ANSI/IES LM-63, read from 1986 to 2019, written as 2019.
//!
//! The standard is ANSI/IES LM-63-2019 with its forerunners of 1986, 1991, 1995 and 2002. All of
//! it stands here from memory, but for the definitions of the angles, which are those of the 2002
//! text. Nothing here does I/O: [`read()`] takes bytes, [`write()`] gives text.
//!
//! A file holds intensities over directions, seen from so far that the luminaire is a point. It
//! says nothing about near distances, shadows or catchlights.

mod beam;
mod flux;
mod header;
mod opening;
mod problem;
mod read;
mod reader;
mod scan;
mod table;
mod write;

pub use flux::Rule;
pub use opening::{Opening, Shape};
pub use problem::{Problem, Problems};
pub use read::{Reading, read};
pub use table::{AngleFault, AngleList, Goniometry, Table, TableError};
pub use write::write;

/// The far field of a luminaire, with all that an LM-63 file says about it.
///
/// Fields hold what the file holds; [`Photometry::intensity_cd`] and the sums have all its factors
/// in. Values that [`read()`] would refuse in a file may be put into the fields; what is written
/// then cannot be read back.
#[derive(Debug, Clone, PartialEq)]
pub struct Photometry {
    /// The version of the file that was read.
    pub version: Version,
    /// The lines before the data, in order.
    pub keywords: Vec<Keyword>,
    /// How the lamp's output changes as the luminaire is tilted; `None` where it does not.
    pub tilt: Option<Tilt>,
    /// Number of lamps.
    pub lamps: u32,
    /// Rated lumens of one lamp, for which the table holds; `None` for absolute photometry.
    pub lumens_per_lamp: Option<f64>,
    /// Factor on every intensity.
    pub multiplier: f64,
    /// Factor on every intensity: what the ballast makes of the rated lumens.
    pub ballast_factor: f64,
    /// A second factor on every intensity in files up to 1995, and 1 in later ones.
    pub ballast_lamp_factor: f64,
    /// How the file came about, in the code of the version of 2019 (a number such as
    /// [`GENERATION_SIMULATED`]). No factor.
    pub generation: f64,
    /// Electrical power, W.
    pub input_w: f64,
    /// What shines.
    pub opening: Opening,
    table: Table,
}

/// [`Photometry::generation`]: unknown, or an older file.
pub const GENERATION_UNDEFINED: f64 = 1.00001;
/// [`Photometry::generation`]: computed, not measured.
pub const GENERATION_SIMULATED: f64 = 1.0001;

/// A version of the standard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Version {
    /// No version line; free lines before the data.
    V1986,
    /// `IESNA91`
    V1991,
    /// `IESNA:LM-63-1995`
    V1995,
    /// `IESNA:LM-63-2002`
    V2002,
    /// `IES:LM-63-2019`
    V2019,
}

/// A labelled line before the data.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Keyword {
    /// Without its brackets, in capitals. Lines without a keyword are `OTHER`.
    pub name: String,
    /// The text after it; `[MORE]` lines follow after a line break each.
    pub value: String,
}

/// How a lamp's output depends on the tilt of the luminaire (`TILT=INCLUDE`).
///
/// Intensities do not contain it: which factor holds depends on how the luminaire hangs, so it is
/// for whoever aims it to multiply by [`Tilt::factor`].
#[derive(Debug, Clone, PartialEq)]
pub struct Tilt {
    /// How the lamp sits in the luminaire.
    pub geometry: LampGeometry,
    /// Tilt from the position of the test in degrees, ascending, and the factor there.
    pub factors: Vec<(f64, f64)>,
}

/// How the lamp sits in the luminaire.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LampGeometry {
    /// 1: upright, base up or down, when the luminaire points straight down.
    Upright,
    /// 2: level, and stays level when the luminaire is tilted.
    StaysLevel,
    /// 3: level when the luminaire points straight down, and tilts with it.
    TiltsFromLevel,
}

impl Photometry {
    /// Absolute, computed photometry without keywords, all factors 1.
    pub fn new(table: Table) -> Self {
        Self {
            version: Version::V2019,
            keywords: Vec::new(),
            tilt: None,
            lamps: 1,
            lumens_per_lamp: None,
            multiplier: 1.0,
            ballast_factor: 1.0,
            ballast_lamp_factor: 1.0,
            generation: GENERATION_SIMULATED,
            input_w: 0.0,
            opening: Opening::POINT,
            table,
        }
    }

    /// The intensities as the file has them, without factors.
    pub fn table(&self) -> &Table {
        &self.table
    }

    /// The factor from the table to candelas: multiplier and ballast factors. Not the tilt's.
    pub fn factor(&self) -> f64 {
        self.multiplier * self.ballast_factor * self.ballast_lamp_factor
    }

    /// Intensity in a direction, cd: linear in the file's two angles between its entries, and 0
    /// where the file has none.
    ///
    /// `theta_rad` is the angle from the aim, 0 to π: for types B and C straight down as tested,
    /// for type A the direction 0, 0. `phi_rad` turns about the aim from the plane of zero (for
    /// types A and B from where vertical angles rise), counterclockwise as seen from behind the
    /// luminaire, which is from above as tested; any turn is allowed. What is not finite or beyond
    /// 0 to π gives 0.
    pub fn intensity_cd(&self, theta_rad: f64, phi_rad: f64) -> f64 {
        self.factor() * self.table.at(theta_rad, phi_rad)
    }

    /// The largest intensity of the table, cd.
    pub fn peak_cd(&self) -> f64 {
        self.factor() * self.table.peak()
    }

    /// Luminous flux by an integration rule, lm. The rules differ by up to a per cent for the same
    /// file, so say which one a figure comes from.
    pub fn lumens(&self, rule: Rule) -> f64 {
        self.factor() * flux::integral(&self.table, rule)
    }

    /// Full angles within which the intensity is at least `share` of the peak, in the plane of
    /// zero and in the one square to it, rad. One half gives the beam angle, one tenth the field
    /// angle (IES). Side lobes that strong count in.
    ///
    /// `None` for a plane that never gets so bright on either side.
    pub fn beam_rad(&self, share: f64) -> [Option<f64>; 2] {
        beam::full_angles_rad(&self.table, share)
    }

    /// Mean luminance of the opening as seen along the aim: `L = I / A`, cd/m². `None` where the
    /// opening has no area from there.
    pub fn luminance_cd_m2(&self) -> Option<f64> {
        let area_m2 = self.opening.facing_area_m2();
        (area_m2 > 0.0).then(|| self.intensity_cd(0.0, 0.0) / area_m2)
    }

    /// The value of the first keyword of a name, in any case.
    pub fn keyword(&self, name: &str) -> Option<&str> {
        self.keywords
            .iter()
            .find(|k| k.name.eq_ignore_ascii_case(name))
            .map(|k| k.value.as_str())
    }
}

impl Keyword {
    /// A keyword with its text, which may have several lines.
    pub fn new(name: &str, value: impl Into<String>) -> Self {
        Self {
            name: name.to_ascii_uppercase(),
            value: value.into(),
        }
    }
}

impl Tilt {
    /// The factor on every intensity at a tilt, linear in the angle; the ends hold beyond the
    /// list, and an empty list gives 1.
    pub fn factor(&self, tilt_rad: f64) -> f64 {
        let tilt_deg = tilt_rad.to_degrees();
        let after = self
            .factors
            .partition_point(|(angle, _)| *angle <= tilt_deg);
        let before = after.checked_sub(1).and_then(|i| self.factors.get(i));
        match (before, self.factors.get(after)) {
            (Some((a, low)), Some((b, high))) => low + (high - low) * (tilt_deg - a) / (b - a),
            (Some((_, end)), None) | (None, Some((_, end))) => *end,
            (None, None) => 1.0,
        }
    }
}

impl LampGeometry {
    /// The standard's number for it.
    pub fn code(self) -> u8 {
        match self {
            LampGeometry::Upright => 1,
            LampGeometry::StaysLevel => 2,
            LampGeometry::TiltsFromLevel => 3,
        }
    }

    fn from_code(code: usize) -> Option<Self> {
        [Self::Upright, Self::StaysLevel, Self::TiltsFromLevel]
            .into_iter()
            .find(|g| usize::from(g.code()) == code)
    }
}
