//! Garments described by numbers, read from TOML.

use serde::Deserialize;

/// A garment to be tailored.
#[derive(Debug, Clone, PartialEq)]
pub enum TailorSpec {
    /// Two legs and a waistband.
    Trousers(Trousers),
    /// Anything with sleeves and a body: T-shirt, shirt, jumper, jacket, coat.
    Top(Top),
}

/// Why a garment file could not be read.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum TailorError {
    /// Broken TOML, an unknown key, a missing key or a wrong type.
    #[error("the garment file: {0}")]
    Text(String),
    /// The cut is none that is known here.
    #[error("cut = \"{cut}\" is no cut known here; use one of {known}")]
    Cut {
        /// What the file says.
        cut: String,
        /// What it may say.
        known: String,
    },
    /// A number out of range.
    #[error("{key} = {value} is out of range; give {low} to {high}")]
    Range {
        /// Key in the file.
        key: &'static str,
        /// What the file says.
        value: f64,
        /// Smallest value.
        low: f64,
        /// Largest value.
        high: f64,
    },
}

#[derive(Deserialize)]
struct Head {
    cut: String,
}

/// Cuts made here.
pub const CUTS: [&str; 6] = ["trousers", "t-shirt", "shirt", "jumper", "jacket", "coat"];

impl TailorSpec {
    /// Reads a garment file.
    ///
    /// # Errors
    /// [`TailorError`] says what is wrong, where, and what may stand there.
    pub fn parse(text: &str) -> Result<Self, TailorError> {
        fn read<T: serde::de::DeserializeOwned>(text: &str) -> Result<T, TailorError> {
            toml::from_str(text).map_err(|e| TailorError::Text(crate::setup::toml_reason(text, &e)))
        }
        let cut = read::<Head>(text)?.cut;
        match cut.as_str() {
            "trousers" => {
                let spec: Trousers = read(text)?;
                spec.check()?;
                Ok(Self::Trousers(spec))
            }
            c if CUTS.contains(&c) => {
                let spec: Top = read(text)?;
                spec.check()?;
                Ok(Self::Top(spec))
            }
            _ => Err(TailorError::Cut {
                cut,
                known: CUTS.map(|c| format!("\"{c}\"")).join(", "),
            }),
        }
    }

    /// Shown to people.
    pub fn title(&self) -> &str {
        match self {
            Self::Trousers(t) => &t.title,
            Self::Top(t) => &t.title,
        }
    }
}

fn within(checks: &[(&'static str, f64, f64, f64)]) -> Result<(), TailorError> {
    for &(key, value, low, high) in checks {
        if !(low..=high).contains(&value) {
            return Err(TailorError::Range {
                key,
                value,
                low,
                high,
            });
        }
    }
    Ok(())
}

/// Trousers. Lengths and girths in centimetres; girths are for a base size M
/// and grow with the wearer.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Trousers {
    /// Shown to people.
    pub title: String,
    /// Always "trousers".
    pub cut: String,
    /// Ease around the hip.
    pub hip_ease_cm: f64,
    /// Girth of one leg at the thigh, knee and hem.
    pub thigh_girth_cm: f64,
    /// Girth at the knee.
    pub knee_girth_cm: f64,
    /// Girth at the hem.
    pub hem_girth_cm: f64,
    /// Waist edge below the natural waist.
    pub below_waist_cm: f64,
    /// Hem past the ankle joint, along the leg.
    pub length_past_ankle_cm: f64,
    /// Height of the waistband.
    pub waistband_cm: f64,
    /// Pressed crease down the middle of each leg.
    pub crease: bool,
    /// Height of the turn-up, 0 for a plain hem.
    pub turn_up_cm: f64,
    /// Men's way: the left front laps over the right.
    pub closes_left_over_right: bool,
    /// Linear sRGB reflectance of the button.
    pub button_colour: [f32; 3],
}

impl Trousers {
    fn check(&self) -> Result<(), TailorError> {
        within(&[
            ("hip_ease_cm", self.hip_ease_cm, 1.0, 25.0),
            ("thigh_girth_cm", self.thigh_girth_cm, 40.0, 100.0),
            ("knee_girth_cm", self.knee_girth_cm, 30.0, 90.0),
            ("hem_girth_cm", self.hem_girth_cm, 26.0, 90.0),
            ("below_waist_cm", self.below_waist_cm, 0.0, 9.0),
            (
                "length_past_ankle_cm",
                self.length_past_ankle_cm,
                -12.0,
                9.0,
            ),
            ("waistband_cm", self.waistband_cm, 2.0, 7.0),
            ("turn_up_cm", self.turn_up_cm, 0.0, 8.0),
        ])
    }
}

/// A garment with body and sleeves. Lengths in centimetres.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Top {
    /// Shown to people.
    pub title: String,
    /// "t-shirt", "shirt", "jumper", "jacket" or "coat".
    pub cut: String,
    /// Ease around the chest.
    pub chest_ease_cm: f64,
    /// Ease around the waist over the chest's, negative for a waisted cut.
    pub waist_in_cm: f64,
    /// Ease around the hip.
    pub hip_ease_cm: f64,
    /// Hem below the natural waist, along the body.
    pub length_below_waist_cm: f64,
    /// Shoulder seam past the shoulder's end; negative keeps it in.
    pub shoulder_drop_cm: f64,
    /// Armhole below the armpit.
    pub armhole_ease_cm: f64,
    /// Ease around the upper arm.
    pub sleeve_ease_cm: f64,
    /// Sleeve from the shoulder's end as a share of the arm: 1 ends at the wrist.
    pub sleeve_length: f64,
    /// Girth of the sleeve's edge; 0 takes it from the arm.
    pub sleeve_edge_girth_cm: f64,
    /// Height of the cuff: 0 for none.
    pub cuff_cm: f64,
    /// Neckline below the base of the neck, at the front.
    pub neck_drop_cm: f64,
    /// Neckline away from the neck, at the side.
    pub neck_wide_cm: f64,
    /// Height of the band along the neckline, 0 for none.
    pub neck_band_cm: f64,
    /// What stands at the neck: "none", "shirt" or "lapel".
    pub collar: Collar,
    /// Height of the rib along the hem, 0 for none.
    pub hem_band_cm: f64,
    /// Buttons down the centre front, 0 for none.
    pub buttons: u32,
    /// Men's way: the left front laps over the right.
    pub closes_left_over_right: bool,
    /// Tucked into what is worn below the waist.
    pub tucked: bool,
    /// Patch or flap pockets.
    pub pockets: Pockets,
    /// Linear sRGB reflectance of the buttons.
    pub button_colour: [f32; 3],
}

/// What stands at the neck.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Collar {
    /// Nothing, or a band.
    None,
    /// Stand and fall.
    Shirt,
    /// Collar and lapels.
    Lapel,
}

/// Pockets on the front.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Pockets {
    /// None.
    None,
    /// One patch on the wearer's left breast.
    Breast,
    /// Flaps at the hip on both sides.
    Flaps,
}

impl Top {
    fn check(&self) -> Result<(), TailorError> {
        within(&[
            ("chest_ease_cm", self.chest_ease_cm, 0.0, 50.0),
            ("waist_in_cm", self.waist_in_cm, -30.0, 30.0),
            ("hip_ease_cm", self.hip_ease_cm, 0.0, 60.0),
            (
                "length_below_waist_cm",
                self.length_below_waist_cm,
                0.0,
                95.0,
            ),
            ("shoulder_drop_cm", self.shoulder_drop_cm, -3.0, 12.0),
            ("armhole_ease_cm", self.armhole_ease_cm, 0.0, 12.0),
            ("sleeve_ease_cm", self.sleeve_ease_cm, 1.0, 30.0),
            ("sleeve_length", self.sleeve_length, 0.15, 1.1),
            ("sleeve_edge_girth_cm", self.sleeve_edge_girth_cm, 0.0, 60.0),
            ("cuff_cm", self.cuff_cm, 0.0, 12.0),
            ("neck_drop_cm", self.neck_drop_cm, 0.0, 30.0),
            ("neck_wide_cm", self.neck_wide_cm, 0.0, 8.0),
            ("neck_band_cm", self.neck_band_cm, 0.0, 22.0),
            ("hem_band_cm", self.hem_band_cm, 0.0, 12.0),
            ("buttons", f64::from(self.buttons), 0.0, 20.0),
        ])
    }
}
