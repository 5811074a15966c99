//! `still --swatch`: what it takes, as typed and as resolved.

use super::exit::Failure;
use clap::Args;
use clap::builder::PossibleValuesParser;
use swatchlight::measure::swatch_view::Reference;
use swatchlight::photometry::units::length_m;
use swatchlight::report::StillFormat;
use swatchlight::setup::Lay;

/// Pixels of each picture of the pair, when nothing is asked for.
const USUAL_PIXELS: [u32; 2] = [900, 900];
/// A film of both is held whole.
const MOST_PIXELS: u32 = 4096;
/// What is shown of the cloth: from single threads to what a lens 30 cm off sees without stretching much.
const ACROSS_M: [f64; 2] = [0.003, 0.3];
/// The word that leaves the reference out.
const NO_REFERENCE: &str = "none";

/// Flags that belong together.
#[derive(Debug, Args)]
pub struct SwatchArgs {
    /// Instead of the camera's picture: the cloth close by, lying at this body point, meter point or
    /// "swatch" under the setup's light, beside the same cloth under a reference light
    #[arg(long, value_name = "POINT", conflicts_with = "crop")]
    pub swatch: Option<String>,
    /// Width of cloth that the swatch view shows: 3 mm to 30 cm
    #[arg(long, value_name = "LENGTH", default_value = "3 cm", requires = "swatch", allow_negative_numbers = true, value_parser = across)]
    pub across: f64,
    /// How the cloth lies in the swatch view
    #[arg(long, value_name = "HOW", default_value = "flat", requires = "swatch", value_parser = PossibleValuesParser::new(Lay::NAMED.map(|(word, _)| word)))]
    pub lay: String,
    /// Another cloth than the setup's in the swatch view
    #[arg(long, value_name = "NAME", requires = "swatch")]
    pub fabric: Option<String>,
    /// The reference light beside it: soft (a 1.25 m square around the lens, 1.3 m off), raking (a 5 cm disk 2.5 m
    /// off, 75 degrees to the side), or none
    #[arg(long, value_name = "LIGHT", default_value = "soft", requires = "swatch", value_parser = PossibleValuesParser::new(["raking", "soft", NO_REFERENCE]))]
    pub beside: String,
}

/// A swatch view to make.
#[derive(Debug, Clone, PartialEq)]
pub struct SwatchRun {
    pub point: String,
    pub across_m: f64,
    pub lay: Lay,
    /// Instead of the setup's.
    pub fabric: Option<String>,
    pub beside: Option<Reference>,
    /// Of each picture.
    pub pixels: [u32; 2],
}

impl SwatchArgs {
    /// What to make, if a swatch is asked for.
    ///
    /// # Errors
    /// What does not go together.
    pub fn resolved(
        &self,
        size: Option<[u32; 2]>,
        format: StillFormat,
    ) -> Result<Option<SwatchRun>, Failure> {
        let Some(point) = self.swatch.clone() else {
            return Ok(None);
        };
        if format == StillFormat::Exr {
            return Err(Failure::wrong(
                "a swatch view is two pictures with their own exposures, which EXR's layers of one light each cannot hold",
                "end the name in .png, .tif or .jpg",
            ));
        }
        let pixels = size.unwrap_or(USUAL_PIXELS);
        if pixels.iter().any(|side| *side > MOST_PIXELS) {
            return Err(Failure::wrong(
                format!(
                    "{} x {} pixels are too many for a swatch view",
                    pixels[0], pixels[1]
                ),
                format!("give a --size of up to {MOST_PIXELS}x{MOST_PIXELS}"),
            ));
        }
        let named = |(word, value)| (word == self.beside).then_some(value);
        let lay = Lay::NAMED.iter().find(|(word, _)| *word == self.lay);
        Ok(Some(SwatchRun {
            point,
            across_m: self.across,
            lay: lay.map_or(Lay::Flat, |(_, lay)| *lay),
            fabric: self.fabric.clone(),
            beside: Reference::NAMED.into_iter().find_map(named),
            pixels,
        }))
    }
}

/// "3 cm".
fn across(text: &str) -> Result<f64, String> {
    let m = length_m(text).map_err(|e| format!("{}; {}", e.problem, e.hint))?;
    if (ACROSS_M[0] * 0.999_999..=ACROSS_M[1] * 1.000_001).contains(&m) {
        Ok(m)
    } else {
        Err("give 3 mm to 30 cm".into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn widths_are_read_as_people_write_them() {
        for (text, m) in [
            ("3 cm", 0.03),
            ("3 mm", 0.003),
            ("300 mm", 0.3),
            ("0.1 m", 0.1),
        ] {
            assert!((across(text).expect("a width") - m).abs() < 1e-9, "{text}");
        }
        for text in ["", "3", "2 mm", "31 cm", "-3 cm", "nan cm"] {
            assert!(across(text).is_err(), "{text}");
        }
    }
}
