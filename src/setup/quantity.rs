//! The quantities of a setup with their sensible ranges. Reading them is
//! [`crate::photometry::units`]' work; whether they make sense in a studio is decided here.

use std::ops::Range;

use crate::photometry::colour::srgb_decode;
use crate::photometry::units::{self, UnitError};

use super::model::FullOutput;

/// Why a written quantity was refused.
#[derive(Debug)]
pub(super) struct Bad {
    pub message: String,
    pub hint: String,
    /// Read, but outside its range.
    pub out_of_range: bool,
    /// The bytes of the string at fault.
    pub span: Option<Range<usize>>,
}

impl From<UnitError> for Bad {
    fn from(error: UnitError) -> Bad {
        Bad {
            message: error.problem,
            hint: error.hint,
            out_of_range: false,
            span: Some(error.span),
        }
    }
}

/// A kind of quantity and its range.
pub(super) struct Measure {
    /// With its article: "a length".
    pub what: &'static str,
    pub example: &'static str,
    pub parse: fn(&str) -> Result<f64, Bad>,
    /// Reads a bare number, where one is allowed.
    pub bare: Option<fn(f64) -> f64>,
    pub least: f64,
    pub most: f64,
    /// A value as people write it, for messages.
    pub show: fn(f64) -> String,
}

impl Measure {
    /// Passes a value inside the range.
    pub fn check(&self, value: f64) -> Result<f64, Bad> {
        if value >= self.least && value <= self.most {
            return Ok(value);
        }
        let message = if !value.is_finite() {
            "is not a finite number".to_owned()
        } else if value < 0.0 && self.least >= 0.0 {
            format!("{} is negative", (self.show)(value))
        } else {
            format!(
                "{} is too {}",
                (self.show)(value),
                if value < self.least { "small" } else { "large" }
            )
        };
        Err(Bad {
            message,
            hint: format!(
                "it can be {} to {}",
                (self.show)(self.least),
                (self.show)(self.most)
            ),
            out_of_range: true,
            span: None,
        })
    }
}

/// A length for a message, as it would be taped: metres, centimetres, or millimetres.
pub(super) fn metres(v: f64) -> String {
    let round = |v: f64, to: f64| tidy((v * to).round() / to);
    match v.abs() {
        0.0 => "0 m".to_owned(),
        0.995.. => format!("{} m", round(v, 100.0)),
        0.01.. => format!("{} cm", round(v * 100.0, 10.0)),
        _ => format!("{} mm", round(v * 1e3, 100.0)),
    }
}

/// A focal length or a sensor side for a message.
pub(super) fn millimetres(v: f64) -> String {
    format!("{} mm", tidy((v * 1e4).round() / 10.0))
}

fn degrees(v: f64) -> String {
    format!("{} deg", tidy(v.to_degrees()))
}

/// A number with at most four decimals and no trailing zeros.
pub(super) fn tidy(v: f64) -> String {
    let text = format!("{v:.4}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" {
        "0".to_owned()
    } else {
        text.to_owned()
    }
}

const fn length(what: &'static str, example: &'static str, least: f64, most: f64) -> Measure {
    Measure {
        what,
        example,
        parse: |s| Ok(units::length_m(s)?),
        bare: None,
        least,
        most,
        show: metres,
    }
}

/// From the mark, along the floor. A studio ends somewhere.
pub(super) const DISTANCE: Measure = length("a length", "2.1 m", 0.0, 50.0);
pub(super) const HEIGHT: Measure = length("a height", "2.1 m", 0.0, 30.0);
pub(super) const COORDINATE: Measure = length("a coordinate", "2.1 m", -50.0, 50.0);
pub(super) const FORWARD: Measure = length("a length", "1.2 m", -20.0, 20.0);
pub(super) const SIDE: Measure = length("a length", "0.9 m", 0.001, 20.0);
pub(super) const ROOM_SIDE: Measure = length("a length", "6 m", 1.0, 200.0);
pub(super) const CURVE: Measure = length("a length", "0.4 m", 0.02, 5.0);
pub(super) const DEPTH: Measure = length("a depth", "20 cm", 0.0, 3.0);
/// Of a bowl or box that light is traced through.
pub(super) const BOWL_DEPTH: Measure = length("a depth", "20 cm", 0.005, 3.0);
/// Along a modifier's axis.
pub(super) const PLACE: Measure = length("a length", "20 cm", 0.0, 5.0);
pub(super) const SKIRT: Measure = length("a depth", "20 cm", 0.005, 2.0);
pub(super) const THICKNESS: Measure = length("a thickness", "10 mm", 0.0002, 0.5);
pub(super) const CELL: Measure = length("a length", "5 mm", 0.0005, 0.5);
pub(super) const FOCAL_LENGTH: Measure = Measure {
    show: millimetres,
    ..length("a focal length", "85 mm", 0.005, 2.0)
};
pub(super) const SENSOR_SIDE: Measure = Measure {
    show: millimetres,
    ..length("a length", "36 mm", 0.002, 0.4)
};
pub(super) const FOCUS_DISTANCE: Measure = length("a distance", "3 m", 0.02, 100.0);

/// To the camera's left (negative) or right.
pub(super) const OFFSET: Measure = Measure {
    what: "a length with its side",
    example: "45 cm left",
    parse: sided_length_m,
    bare: None,
    least: -10.0,
    most: 10.0,
    show: metres,
};

/// To the camera's left (negative) or right.
pub(super) const BEARING: Measure = Measure {
    what: "an angle with its side",
    example: "45 deg left",
    parse: |s| Ok(units::sided_angle_rad(s)?),
    bare: None,
    least: -std::f64::consts::PI - 1e-9,
    most: std::f64::consts::PI + 1e-9,
    show: degrees,
};

pub(super) const ROLL: Measure = Measure {
    what: "an angle",
    example: "30 deg",
    parse: |s| Ok(units::angle_rad(s)?),
    bare: None,
    least: -std::f64::consts::TAU,
    most: std::f64::consts::TAU,
    show: degrees,
};

pub(super) const FEATHER: Measure = Measure {
    what: "an angle",
    example: "15 deg toward camera",
    parse: |s| Ok(units::angle_rad(s)?),
    bare: None,
    least: 0.0,
    most: std::f64::consts::FRAC_PI_2,
    show: degrees,
};

/// The full angle of a spot or a grid.
pub(super) const CONE: Measure = Measure {
    what: "an angle",
    example: "30 deg",
    parse: |s| Ok(units::angle_rad(s)?),
    bare: None,
    least: 0.5 * std::f64::consts::PI / 180.0,
    most: 175.0 * std::f64::consts::PI / 180.0,
    show: degrees,
};

/// How rough a finish or a stepped lens is.
pub(super) const SLOPE: Measure = Measure {
    what: "an angle",
    example: "4 deg",
    parse: |s| Ok(units::angle_rad(s)?),
    bare: None,
    // No table holds a mirror's light: off focus it is 17 % out in places. From a degree on, which is a
    // polished surface, it is within 2 %.
    least: std::f64::consts::PI / 180.0 - 1e-12,
    most: 20.0 * std::f64::consts::PI / 180.0 + 1e-12,
    show: degrees,
};

pub(super) const F_NUMBER: Measure = Measure {
    what: "an f-number",
    example: "f/8",
    parse: |s| Ok(units::f_number(s)?.value()),
    bare: Some(|n| n),
    least: 0.5,
    most: 256.0,
    show: |v| format!("f/{}", tidy(v)),
};

pub(super) const SHUTTER: Measure = Measure {
    what: "a shutter time",
    example: "1/125 s",
    parse: |s| Ok(units::shutter_s(s)?),
    bare: None,
    least: 1e-5,
    most: 3600.0,
    show: |v| {
        if v < 0.3 {
            format!("1/{} s", tidy(1.0 / v))
        } else {
            format!("{} s", tidy(v))
        }
    },
};

pub(super) const KELVIN: Measure = Measure {
    what: "a colour temperature",
    example: "5600 K",
    parse: |s| Ok(units::temperature_k(s)?),
    bare: None,
    least: 1000.0,
    most: 25_000.0,
    show: |v| format!("{} K", tidy(v)),
};

pub(super) const MIRED: Measure = Measure {
    what: "a gel strength",
    example: "+130 mired",
    parse: |s| Ok(units::gel_mired(s)?),
    bare: None,
    least: -400.0,
    most: 800.0,
    show: |v| format!("{v:+} mired"),
};

/// As a fraction of full power.
pub(super) const POWER: Measure = Measure {
    what: "a power setting",
    example: "1/4",
    parse: |s| Ok(units::power(s)?.fraction()),
    bare: Some(|n| n),
    least: 1e-6,
    most: 1.0 + 1e-9,
    show: |v| tidy(v),
};

pub(super) const YIELD: Measure = Measure {
    what: "a luminous yield",
    example: "30 lm s/J",
    parse: |s| Ok(units::luminous_yield_lm_s_per_j(s)?),
    bare: None,
    least: 1.0,
    most: 250.0,
    show: |v| format!("{} lm s/J", tidy(v)),
};

/// Steps of a power dial.
pub(super) const STEP: Measure = Measure {
    what: "a number of stops",
    example: "1/10 stop",
    parse: |s| Ok(units::stops(s)?),
    bare: None,
    least: 0.0,
    most: 5.0,
    show: |v| format!("{} stops", tidy(v)),
};

/// What readings found of a modifier.
pub(super) const CORRECTION: Measure = Measure {
    what: "a number of stops",
    example: "-0.2 stop",
    parse: |s| Ok(units::stops(s)?),
    bare: None,
    least: -3.0,
    most: 3.0,
    show: |v| format!("{} stops", tidy(v)),
};

/// Range of a power dial.
pub(super) const RANGE: Measure = Measure {
    what: "a number of stops",
    example: "8 stops",
    parse: |s| Ok(units::stops(s)?),
    bare: None,
    least: 0.01,
    most: 20.0,
    show: |v| format!("{} stops", tidy(v)),
};

/// Loss of a scrim.
pub(super) const LOSS: Measure = Measure {
    what: "a number of stops",
    example: "1 stop",
    parse: |s| Ok(units::stops(s)?),
    bare: None,
    least: 0.05,
    most: 10.0,
    show: |v| format!("{} stops", tidy(v)),
};

/// "45 cm left": negative to the left.
fn sided_length_m(written: &str) -> Result<f64, Bad> {
    let trimmed = written.trim_end();
    let lower = trimmed.to_ascii_lowercase();
    let sides = [("left", -1.0), ("right", 1.0)];
    for (word, sign) in sides {
        if lower.ends_with(word) {
            let metres = units::length_m(&trimmed[..trimmed.len() - word.len()])?;
            if metres < 0.0 {
                return Err(Bad {
                    message: "a length to a side cannot be negative".to_owned(),
                    hint: "leave out the minus sign and name the side, \"left\" or \"right\""
                        .to_owned(),
                    out_of_range: true,
                    span: None,
                });
            }
            return Ok(sign * metres);
        }
    }
    let metres = units::length_m(written)?;
    if metres == 0.0 {
        return Ok(0.0);
    }
    Err(Bad {
        message: "does not say which side".to_owned(),
        hint: "add the camera's side, such as \"45 cm left\" or \"45 cm right\"".to_owned(),
        out_of_range: false,
        span: None,
    })
}

/// Two sides, each in the measure's range, metres.
pub(super) fn size_2d(written: &str, side: &Measure) -> Result<[f64; 2], Bad> {
    let sides = units::size_2d_m(written)?;
    for s in sides {
        side.check(s)?;
    }
    Ok(sides)
}

/// Three sides, metres.
pub(super) fn size_3d(written: &str, side: &Measure) -> Result<[f64; 3], Bad> {
    let sides = units::size_3d_m(written)?;
    for s in sides {
        side.check(s)?;
    }
    Ok(sides)
}

/// Width and height of a picture: "800 x 1200".
pub(super) fn pixels(written: &str) -> Result<[u32; 2], Bad> {
    let bad = |message: String, out_of_range| Bad {
        message,
        hint: "write width x height, such as \"800 x 1200\", each 16 to 20000".to_owned(),
        out_of_range,
        span: None,
    };
    let lower = written
        .to_lowercase()
        .replace("px", "")
        .replace("pixels", "");
    let sides: Vec<&str> = lower.split(['x', '×', '*']).map(str::trim).collect();
    let [w, h] = sides[..] else {
        return Err(bad("is not width x height".to_owned(), false));
    };
    let side = |s: &str| {
        let n: u64 = s.parse().map_err(|_| {
            bad(
                format!("`{}` is not a number of pixels", super::reader::clip(s)),
                false,
            )
        })?;
        u32::try_from(n)
            .ok()
            .filter(|n| (16..=20_000).contains(n))
            .ok_or_else(|| bad(format!("{n} pixels is out of range"), true))
    };
    Ok([side(w)?, side(h)?])
}

/// Output at full power, with the yield to take for joules.
pub(super) fn output(written: &str, yield_lm_s_per_j: f64) -> Result<FullOutput, Bad> {
    let full = match units::lamp_output(written)? {
        units::LampOutput::Energy { energy_j } => FullOutput::FlashEnergy {
            energy_j,
            yield_lm_s_per_j,
        },
        units::LampOutput::LuminousEnergy {
            luminous_energy_lm_s,
        } => FullOutput::LuminousEnergy {
            lm_s: luminous_energy_lm_s,
        },
        units::LampOutput::Flux { flux_lm } => FullOutput::Flux { lm: flux_lm },
    };
    // 100 kJ or some three million lumen-seconds: more than any rig.
    if full.amount() > 5e6 {
        return Err(Bad {
            message: format!("`{}` is too large", super::reader::clip(written)),
            hint: "it can be up to 5000000 lm s or lm".to_owned(),
            out_of_range: true,
            span: None,
        });
    }
    if full.amount() <= 0.0 {
        return Err(Bad {
            message: "is no light at all".to_owned(),
            hint: "write on = false to switch the light off".to_owned(),
            out_of_range: true,
            span: None,
        });
    }
    Ok(full)
}

/// `"#rrggbb"` in sRGB, to linear.
pub(super) fn hex_colour(written: &str) -> Option<[f64; 3]> {
    let digits = written.trim().strip_prefix('#')?;
    if digits.len() != 6 || !digits.bytes().all(|b| b.is_ascii_hexdigit()) {
        return None;
    }
    let channel = |at: usize| {
        u8::from_str_radix(&digits[at..at + 2], 16)
            .ok()
            .map(|v| srgb_decode(f64::from(v) / 255.0))
    };
    Some([channel(0)?, channel(2)?, channel(4)?])
}
