//! A garment as numbers in a text file.

use serde::Deserialize;

/// A garment, described by measurements that can be copied and changed.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct GarmentSpec {
    /// Shown to people.
    pub title: String,
    /// Seed of the fold pattern: another number, other folds.
    #[serde(default = "three")]
    pub seed: u32,
    /// Depth of the turned and stitched hem, in centimetres.
    #[serde(default = "two")]
    pub hem_turn_cm: f64,
    /// A fitted bodice with princess lines; needs a skirt below it.
    pub bodice: Option<Bodice>,
    /// A skirt, alone (with a waistband) or below a bodice.
    pub skirt: Option<Skirt>,
    /// A slip dress on thin straps, cut on the bias.
    pub slip: Option<Slip>,
    /// A sleeveless dress that falls straight from the shoulders.
    pub shift: Option<Shift>,
}

fn three() -> u32 {
    3
}

fn two() -> f64 {
    2.0
}

/// A fitted bodice.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Bodice {
    /// Cloth over body at the bust, in centimetres of girth.
    pub bust_ease_cm: f64,
    /// Cloth over body at the waist.
    pub waist_ease_cm: f64,
    /// Share by which it is cut longer than the body, so that it breaks at the waist.
    pub length_ease: f64,
    /// Half the width of the neckline at the shoulders.
    pub neckline_half_width_cm: f64,
    /// Depth of the front neckline below the pit of the neck.
    pub neckline_depth_cm: f64,
    /// Depth of the back neckline below the nape.
    pub back_neckline_depth_cm: f64,
    /// Length of the shoulder seam.
    pub shoulder_width_cm: f64,
    /// How far the underarm lies above the bust line.
    pub underarm_rise_cm: f64,
    /// How far the armhole is cut into the front, in degrees about the trunk.
    pub front_armhole_deg: f64,
    /// How far it is cut into the back.
    pub back_armhole_deg: f64,
}

/// A skirt from the waist down.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Skirt {
    /// Waist to hem along the cloth, in centimetres.
    pub length_cm: f64,
    /// Width all round at the hem.
    pub hem_circumference_cm: f64,
    /// Cloth over body at the hip, in centimetres of girth; wider hems ignore it.
    pub hip_ease_cm: f64,
    /// Width of the skirt's upper edge over the waist: 1 is smooth, above it gathers.
    pub gather: f64,
    /// How soon the flare begins: 1 widens evenly, above 1 stays close over the
    /// hip and opens lower.
    pub flare: f64,
    /// Number of flutes the fullness is laid in at first.
    pub flutes: f64,
    /// Height of the waistband; only without a bodice.
    #[serde(default)]
    pub waistband_cm: f64,
}

/// A slip dress.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Slip {
    /// Upper edge to hem along the side seam, in centimetres.
    pub length_cm: f64,
    /// Cloth over body at the bust, in centimetres of girth.
    pub bust_ease_cm: f64,
    /// Cloth over body at the hip.
    pub hip_ease_cm: f64,
    /// Width all round at the hem.
    pub hem_circumference_cm: f64,
    /// How far the front rises from the underarm to where the straps begin.
    pub front_rise_cm: f64,
    /// How far the front dips between the straps.
    pub front_dip_cm: f64,
    /// How far the back lies below the underarm.
    pub back_drop_cm: f64,
    /// Width of a strap.
    pub strap_width_cm: f64,
    /// Number of flutes the fullness is laid in at first.
    pub flutes: f64,
    /// Turn of the grain: 45 is cut on the bias, 0 straight.
    pub grain_deg: f64,
}

/// A shift dress.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Shift {
    /// Side of the neck to the hem, in centimetres.
    pub length_cm: f64,
    /// Half the width of a panel at the hem.
    pub hem_half_width_cm: f64,
}

/// Why a garment file was turned down.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{0}")]
pub struct SpecError(pub String);

impl GarmentSpec {
    /// Reads and checks a garment file.
    ///
    /// # Errors
    /// [`SpecError`] with the place and what to type instead.
    pub fn from_toml(text: &str) -> Result<Self, SpecError> {
        let spec: Self =
            toml::from_str(text).map_err(|e| SpecError(crate::setup::toml_reason(text, &e)))?;
        spec.checked()
    }

    fn checked(self) -> Result<Self, SpecError> {
        let tops = [
            self.bodice.is_some(),
            self.slip.is_some(),
            self.shift.is_some(),
        ];
        let count = tops.iter().filter(|t| **t).count();
        if count > 1 || (self.skirt.is_some() && (self.slip.is_some() || self.shift.is_some())) {
            return Err(SpecError(
                "a garment is one of: [bodice] with [skirt], [skirt] alone, [slip], [shift]; \
                 take the other tables out"
                    .into(),
            ));
        }
        if self.bodice.is_some() && self.skirt.is_none() {
            return Err(SpecError(
                "a [bodice] needs a [skirt] below it; add one, for example with length_cm = 60.0"
                    .into(),
            ));
        }
        if count == 0 && self.skirt.is_none() {
            return Err(SpecError(
                "the file describes no cloth; add [skirt], [bodice] and [skirt], [slip] or [shift]"
                    .into(),
            ));
        }
        let mut ranges: Vec<(&str, f64, f64, f64)> =
            vec![("hem_turn_cm", self.hem_turn_cm, 0.8, 8.0)];
        if let Some(b) = &self.bodice {
            ranges.extend([
                ("bodice.bust_ease_cm", b.bust_ease_cm, 0.0, 20.0),
                ("bodice.waist_ease_cm", b.waist_ease_cm, 0.0, 25.0),
                ("bodice.length_ease", b.length_ease, 0.0, 0.15),
                (
                    "bodice.neckline_half_width_cm",
                    b.neckline_half_width_cm,
                    6.5,
                    11.0,
                ),
                ("bodice.neckline_depth_cm", b.neckline_depth_cm, 1.0, 14.0),
                (
                    "bodice.back_neckline_depth_cm",
                    b.back_neckline_depth_cm,
                    2.0,
                    18.0,
                ),
                ("bodice.shoulder_width_cm", b.shoulder_width_cm, 2.5, 7.0),
                ("bodice.underarm_rise_cm", b.underarm_rise_cm, 1.0, 6.0),
                ("bodice.front_armhole_deg", b.front_armhole_deg, 8.0, 40.0),
                ("bodice.back_armhole_deg", b.back_armhole_deg, 8.0, 40.0),
            ]);
        }
        if let Some(s) = &self.skirt {
            ranges.extend([
                ("skirt.length_cm", s.length_cm, 25.0, 112.0),
                (
                    "skirt.hem_circumference_cm",
                    s.hem_circumference_cm,
                    95.0,
                    500.0,
                ),
                ("skirt.hip_ease_cm", s.hip_ease_cm, 1.0, 60.0),
                ("skirt.gather", s.gather, 1.0, 2.5),
                ("skirt.flare", s.flare, 0.5, 2.5),
                ("skirt.flutes", s.flutes, 3.0, 24.0),
                ("skirt.waistband_cm", s.waistband_cm, 0.0, 10.0),
            ]);
            if self.bodice.is_none() && s.waistband_cm < 1.5 {
                return Err(SpecError(
                    "skirt.waistband_cm: a skirt without a bodice hangs on its waistband; \
                     type 1.5 or more, for example 3.5"
                        .into(),
                ));
            }
        }
        if let Some(s) = &self.slip {
            ranges.extend([
                ("slip.length_cm", s.length_cm, 50.0, 130.0),
                ("slip.bust_ease_cm", s.bust_ease_cm, 0.0, 30.0),
                ("slip.hip_ease_cm", s.hip_ease_cm, 1.0, 40.0),
                (
                    "slip.hem_circumference_cm",
                    s.hem_circumference_cm,
                    95.0,
                    350.0,
                ),
                ("slip.front_rise_cm", s.front_rise_cm, 0.0, 8.0),
                ("slip.front_dip_cm", s.front_dip_cm, 0.0, 10.0),
                ("slip.back_drop_cm", s.back_drop_cm, 0.0, 15.0),
                ("slip.strap_width_cm", s.strap_width_cm, 0.4, 4.0),
                ("slip.flutes", s.flutes, 3.0, 24.0),
                ("slip.grain_deg", s.grain_deg, 0.0, 90.0),
            ]);
        }
        if let Some(s) = &self.shift {
            ranges.extend([
                ("shift.length_cm", s.length_cm, 75.0, 145.0),
                ("shift.hem_half_width_cm", s.hem_half_width_cm, 27.0, 70.0),
            ]);
        }
        for (name, value, low, high) in ranges {
            if !(low..=high).contains(&value) {
                return Err(SpecError(format!(
                    "{name} = {value} is out of range; type a number from {low} to {high}"
                )));
            }
        }
        Ok(self)
    }
}
