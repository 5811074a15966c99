//! Values of arguments, as people write them.

use clap::builder::{PossibleValue, PossibleValuesParser};
use swatchlight::fabric::construction::FIBRE_DENSITIES_G_CM3;
use swatchlight::setup::templates::TEMPLATES;

/// Kinds of setup to start from.
pub fn kinds() -> PossibleValuesParser {
    PossibleValuesParser::new(
        TEMPLATES
            .iter()
            .map(|t| PossibleValue::new(t.kind).help(t.about)),
    )
}

/// Fibres with a known density.
pub fn fibres() -> PossibleValuesParser {
    PossibleValuesParser::new(FIBRE_DENSITIES_G_CM3.iter().map(|(name, _)| *name))
}

/// "2", "2%", "0.5 %" as a share.
pub fn percent(text: &str) -> Result<f64, String> {
    let number = text.trim().trim_end_matches('%').trim_end();
    match number.parse::<f64>() {
        Ok(p) if p > 0.0 && p <= 100.0 => Ok(p / 100.0),
        Ok(_) => Err("give a percentage over 0 and up to 100".into()),
        Err(_) => Err("give a percentage as a number, such as 2 or 0.5".into()),
    }
}

/// A spread: 0 tight to 1 wide.
pub fn spread(text: &str) -> Result<f64, String> {
    text.trim()
        .parse()
        .ok()
        .filter(|s| (0.0..=1.0).contains(s))
        .ok_or_else(|| "give a number from 0 (tight) to 1 (wide)".into())
}

/// Sides that a picture may have, as in setups.
const SIDE_PIXELS: std::ops::RangeInclusive<u32> = 16..=20_000;

/// "900x1200", in pixels.
pub fn size(text: &str) -> Result<[u32; 2], String> {
    let sides: Option<Vec<u32>> = text
        .split(['x', 'X', '\u{d7}'])
        .map(|side| side.trim().parse().ok())
        .collect();
    match sides.as_deref() {
        Some(&[w, h]) if [w, h].iter().all(|side| SIDE_PIXELS.contains(side)) => Ok([w, h]),
        Some([_, _]) => Err(format!(
            "each side has {} to {} pixels",
            SIDE_PIXELS.start(),
            SIDE_PIXELS.end()
        )),
        _ => Err("give width and height in pixels, such as 900x1200".into()),
    }
}

/// An amount of memory.
pub fn megabytes(text: &str) -> Result<f64, String> {
    text.parse()
        .ok()
        .filter(|mb| *mb >= 0.0)
        .ok_or_else(|| "give a number of megabytes".into())
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn values_are_read_as_people_write_them() {
        for text in ["2", "2%", "2 %", " 2.0 "] {
            assert_eq!(percent(text), Ok(0.02));
        }
        for text in ["0", "-1", "nan", "inf", "101", "two", ""] {
            assert!(percent(text).is_err(), "{text}");
        }
        for text in ["900x1200", "900 x 1200", "900X1200", "900×1200"] {
            assert_eq!(size(text), Ok([900, 1200]));
        }
        for text in [
            "900",
            "900x",
            "0x500",
            "900x1200x3",
            "-1x5",
            "1e3x5",
            "99999x100",
        ] {
            assert!(size(text).is_err(), "{text}");
        }
    }
}
