//! Quantities as people write them: "2.1 m", "6 ft 2 in", "f/8", "1/4 +0.3", "9000 lm s".
//!
//! Each function reads a whole string and gives SI. Case does not matter, nor do spaces between
//! number and unit. Every number needs its unit, except f-numbers, fractions of a second and
//! fractions of power. Decimals take a point; a comma is an error that says so.

mod quantity;
mod scan;
#[cfg(test)]
mod tests;

use std::f64::consts::PI;
use std::ops::Range;

use thiserror::Error;

use super::flash::PowerFraction;
use super::fnumber::FNumber;
use quantity::{
    ANGLE, ENERGY, F_NUMBER, FLUX, FOOT_M, INCHES, KELVIN, LENGTH, LUMINOUS_ENERGY, MIRED, OUTPUT,
    PERCENT, POWER, Quantity, STOPS, TIME, YIELD,
};
use scan::{MINUS, Scanner, TIMES};

/// Why a string is not the quantity asked for.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error("{problem}; {hint}")]
pub struct UnitError {
    /// The bytes of the string that are at fault; empty where something is missing.
    pub span: Range<usize>,
    /// What is wrong.
    pub problem: String,
    /// What to type.
    pub hint: String,
}

impl UnitError {
    fn new(span: Range<usize>, problem: impl Into<String>, hint: impl Into<String>) -> Self {
        Self {
            span,
            problem: problem.into(),
            hint: hint.into(),
        }
    }

    /// Byte offset of the fault within the string.
    pub fn at(&self) -> usize {
        self.span.start
    }
}

/// A length in metres; may be negative. "2.1 m", "85 mm", "30 cm", "12 in", "6 ft 2 in", "6'2\"".
///
/// # Errors
/// What is wrong and what to type.
pub fn length_m(text: &str) -> Result<f64, UnitError> {
    let mut scanner = Scanner::new(text);
    let (number, factor) = length_part(&mut scanner, false)?;
    let metres = match factor {
        Some(metres) => metres,
        None => return Err(scanner.no_unit(&LENGTH, number)),
    };
    scanner.end(&LENGTH)?;
    Ok(metres)
}

/// A size of two sides in metres, both positive: "0.9 x 1.2 m", "90 x 120 cm", "3 ft x 4 ft".
///
/// A number without a unit takes the unit of the next one that has one.
///
/// # Errors
/// What is wrong and what to type.
pub fn size_2d_m(text: &str) -> Result<[f64; 2], UnitError> {
    const SIZE: Quantity = Quantity {
        name: "a size",
        examples: "\"0.9 x 1.2 m\" (two sides)",
        units: LENGTH.units,
    };
    size_m(text, &SIZE)
}

/// A size of three sides in metres, all positive: "6 x 8 x 3.2 m".
///
/// # Errors
/// What is wrong and what to type.
pub fn size_3d_m(text: &str) -> Result<[f64; 3], UnitError> {
    const SIZE: Quantity = Quantity {
        name: "a size",
        examples: "\"6 x 8 x 3.2 m\" (three sides)",
        units: LENGTH.units,
    };
    size_m(text, &SIZE)
}

fn size_m<const SIDES: usize>(text: &str, size: &Quantity) -> Result<[f64; SIDES], UnitError> {
    let mut scanner = Scanner::new(text);
    let mut sides = [0.0; SIDES];
    // Sides from here on still wait for a unit.
    let mut waiting = 0;
    for side in 0..SIDES {
        if side > 0 && scanner.eat(&TIMES).is_none() && !scanner.eat_word("by") {
            let at = scanner.at();
            let problem = format!("expected `x` and side {} of {SIDES}", side + 1);
            return Err(UnitError::new(at..at, problem, size.hint()));
        }
        let before = scanner;
        let (number, metres) = length_part(&mut scanner, true)?;
        sides[side] = number.value;
        if let Some(metres) = metres {
            // The unit written, without the inches after feet, is what the sides before it lack.
            let mut unit_only = before;
            unit_only.number(size)?;
            let factor = unit_only.unit(&LENGTH, true).unwrap_or(1.0);
            sides[waiting..side].iter_mut().for_each(|s| *s *= factor);
            sides[side] = metres;
            waiting = side + 1;
        }
        if number.value <= 0.0 {
            let span = number.start..scanner.at();
            return Err(UnitError::new(
                span,
                "a side must be more than 0",
                size.hint(),
            ));
        }
        if side + 1 == SIDES && waiting < SIDES {
            return Err(scanner.no_unit(size, number));
        }
    }
    scanner.end(size)?;
    Ok(sides)
}

/// A number, and the whole length in metres if a unit follows (feet may have inches after them).
fn length_part(
    scanner: &mut Scanner,
    in_size: bool,
) -> Result<(scan::Number, Option<f64>), UnitError> {
    let number = scanner.number(&LENGTH)?;
    let Some(factor) = scanner.unit(&LENGTH, in_size) else {
        return Ok((number, None));
    };
    let mut metres = number.value * factor;
    if factor == FOOT_M
        && scanner
            .peek()
            .is_some_and(|c| c.is_ascii_digit() || c == '.')
    {
        let inches = scanner.number(&INCHES)?;
        let inch = scanner
            .unit(&INCHES, in_size)
            .ok_or_else(|| scanner.no_unit(&INCHES, inches))?;
        metres += (inches.value * inch).copysign(number.value);
    }
    Ok((number, Some(metres)))
}

/// An angle in radians; may be negative. "45 deg", "45°", "0.3 rad".
///
/// # Errors
/// What is wrong and what to type.
pub fn angle_rad(text: &str) -> Result<f64, UnitError> {
    quantity(text, &ANGLE)
}

/// An angle to a side in radians, positive to the right and negative to the left: "45 deg left",
/// "90 deg right". Zero and 180° need no side.
///
/// # Errors
/// What is wrong and what to type.
pub fn sided_angle_rad(text: &str) -> Result<f64, UnitError> {
    const SIDED: Quantity = Quantity {
        name: "an angle with its side",
        examples: "\"45 deg left\" or \"90 deg right\"",
        units: ANGLE.units,
    };
    let mut scanner = Scanner::new(text);
    let number = scanner.number(&SIDED)?;
    let factor = scanner
        .unit(&SIDED, false)
        .ok_or_else(|| scanner.no_unit(&SIDED, number))?;
    let angle = number.value * factor;
    let turn = if scanner.eat_word("left") {
        -angle
    } else if scanner.eat_word("right") || angle == 0.0 || (angle - PI).abs() < 1e-9 {
        angle
    } else {
        scanner.end(&SIDED)?;
        let at = scanner.at();
        return Err(UnitError::new(
            at..at,
            format!("`{}` does not say which side", text.trim()),
            SIDED.hint(),
        ));
    };
    scanner.end(&SIDED)?;
    if angle < 0.0 {
        return Err(UnitError::new(
            number.start..scanner.at(),
            "an angle to a side cannot be negative",
            "leave out the minus sign and name the side, \"left\" or \"right\"",
        ));
    }
    Ok(turn)
}

/// An f-number: "f/8", "f 5.6", "f8", "8", each exactly as written; and "f/8 and 4 tenths",
/// "f/8 +1/3 stop", which count from the mark's exact value as a meter does.
///
/// # Errors
/// What is wrong and what to type.
pub fn f_number(text: &str) -> Result<FNumber, UnitError> {
    let mut scanner = Scanner::new(text);
    if scanner.eat(&['f', 'F', 'ƒ']).is_some() {
        scanner.eat(&['/', '\u{2044}']);
    }
    let number = scanner.number(&F_NUMBER)?;
    let span = number.start..scanner.at();
    let out_of_range =
        || UnitError::new(span.clone(), "no lens has this f-number", F_NUMBER.hint());
    let exact = FNumber::exact(number.value).ok_or_else(out_of_range)?;
    let sign = match scanner.eat(&['+']).or_else(|| scanner.eat(&MINUS)) {
        Some('+') => 1.0,
        Some(_) => -1.0,
        None if scanner.eat_word("and") => 1.0,
        None => {
            scanner.end(&F_NUMBER)?;
            return Ok(exact);
        }
    };
    let more = scanner.number_or_fraction(&STOPS)?;
    let stops = scanner
        .unit(&STOPS, false)
        .ok_or_else(|| scanner.no_unit(&STOPS, more))?;
    scanner.end(&F_NUMBER)?;
    FNumber::from_mark(number.value)
        .and_then(|mark| mark.offset(sign * more.value * stops))
        .ok_or_else(out_of_range)
}

/// A shutter time in seconds, more than 0: "1/125 s", "1/125", "0.5 s", "8 ms".
///
/// # Errors
/// What is wrong and what to type.
pub fn shutter_s(text: &str) -> Result<f64, UnitError> {
    let mut scanner = Scanner::new(text);
    let number = scanner.number_or_fraction(&TIME)?;
    let seconds = match scanner.unit(&TIME, false) {
        Some(factor) => number.value * factor,
        None => {
            scanner
                .end(&TIME)
                .map_err(|_| scanner.no_unit(&TIME, number))?;
            if !number.is_fraction {
                let written = scanner.from(number.start);
                let hint = if number.value > 1.0 {
                    format!("type \"1/{written} s\" or \"{written} s\"")
                } else {
                    format!("type \"{written} s\"")
                };
                return Err(UnitError {
                    hint,
                    ..scanner.no_unit(&TIME, number)
                });
            }
            number.value
        }
    };
    scanner.end(&TIME)?;
    positive(seconds, number.start..scanner.at(), &TIME)
}

/// A number of stops, of either sign: "-1.3 stops", "+1/3 stop", "4 tenths".
///
/// # Errors
/// What is wrong and what to type.
pub fn stops(text: &str) -> Result<f64, UnitError> {
    let mut scanner = Scanner::new(text);
    let number = scanner.number_or_fraction(&STOPS)?;
    let factor = scanner
        .unit(&STOPS, false)
        .ok_or_else(|| scanner.no_unit(&STOPS, number))?;
    scanner.end(&STOPS)?;
    Ok(number.value * factor)
}

/// A power setting, up to full: "full", "1/4", "0.25", "50 %", "-1.3 stops", "1/4 +0.3",
/// "1/2 -1/3 stop".
///
/// # Errors
/// What is wrong and what to type.
pub fn power(text: &str) -> Result<PowerFraction, UnitError> {
    let mut scanner = Scanner::new(text);
    let start = scanner.at();
    // Read the base: a word, a percentage, stops from full, or a fraction.
    let mut from_full_stops = 0.0;
    let mut fraction = 1.0;
    if !scanner.eat_word("full") {
        let number = scanner.number_or_fraction(&POWER)?;
        if let Some(stop) = scanner.unit(&STOPS, false) {
            from_full_stops = number.value * stop;
        } else if let Some(percent) = scanner.unit(&PERCENT, false) {
            fraction = number.value * percent;
        } else {
            fraction = number.value;
        }
    }
    // Read what is added to it.
    let base_end = scanner.at();
    if let Some(sign) = scanner.eat(&['+']).or_else(|| scanner.eat(&MINUS)) {
        let more = scanner.number_or_fraction(&POWER)?;
        let stop = scanner.unit(&STOPS, false).unwrap_or(1.0);
        from_full_stops += more.value * if sign == '+' { stop } else { -stop };
    }
    scanner.end(&POWER)?;
    // Refuse what no head can be set to.
    let span = start..text.trim_end().len();
    if fraction <= 0.0 {
        let written = text[start..base_end].trim();
        return Err(UnitError::new(
            span,
            format!("the power `{written}` is not more than 0"),
            "write stops below full with their unit (\"-1.3 stops\"), or type a fraction such as \"1/4\"",
        ));
    }
    let setting = PowerFraction::new(fraction).and_then(|base| base.offset(from_full_stops));
    match setting {
        Some(setting) if setting.fraction() <= 1.0 + 1e-9 => Ok(setting),
        Some(_) => Err(UnitError::new(
            span,
            "this is more than full power",
            POWER.hint(),
        )),
        None => Err(UnitError::new(span, "no head goes so low", POWER.hint())),
    }
}

/// A colour temperature in K, more than 0: "5600 K".
///
/// # Errors
/// What is wrong and what to type.
pub fn temperature_k(text: &str) -> Result<f64, UnitError> {
    quantity(text, &KELVIN).and_then(|kelvin| positive(kelvin, trimmed(text), &KELVIN))
}

/// A gel's shift in mired, positive warmer: "+130 mired", "-80 mired".
///
/// # Errors
/// What is wrong and what to type.
pub fn gel_mired(text: &str) -> Result<f64, UnitError> {
    quantity(text, &MIRED)
}

/// A flash energy in joules, 0 or more: "400 J", "400 Ws", "1.2 kJ".
///
/// # Errors
/// What is wrong and what to type.
pub fn energy_j(text: &str) -> Result<f64, UnitError> {
    quantity(text, &ENERGY).and_then(|v| not_negative(v, trimmed(text), &ENERGY))
}

/// A luminous energy in lumen-seconds, 0 or more: "9000 lm s".
///
/// # Errors
/// What is wrong and what to type.
pub fn luminous_energy_lm_s(text: &str) -> Result<f64, UnitError> {
    quantity(text, &LUMINOUS_ENERGY).and_then(|v| not_negative(v, trimmed(text), &LUMINOUS_ENERGY))
}

/// A luminous flux in lumens, 0 or more: "12000 lm".
///
/// # Errors
/// What is wrong and what to type.
pub fn flux_lm(text: &str) -> Result<f64, UnitError> {
    quantity(text, &FLUX).and_then(|v| not_negative(v, trimmed(text), &FLUX))
}

/// A luminous yield in lm s/J, more than 0: "30 lm s/J".
///
/// # Errors
/// What is wrong and what to type.
pub fn luminous_yield_lm_s_per_j(text: &str) -> Result<f64, UnitError> {
    quantity(text, &YIELD).and_then(|v| positive(v, trimmed(text), &YIELD))
}

/// A percentage as a fraction: "50 %" gives 0.5.
///
/// # Errors
/// What is wrong and what to type.
pub fn percent(text: &str) -> Result<f64, UnitError> {
    quantity(text, &PERCENT)
}

/// What a lamp puts out, by the unit it was given in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LampOutput {
    /// Flash energy, J; its light depends on the luminous yield.
    Energy {
        /// Joules.
        energy_j: f64,
    },
    /// Flash light, lm s.
    LuminousEnergy {
        /// Lumen-seconds.
        luminous_energy_lm_s: f64,
    },
    /// Continuous light, lm.
    Flux {
        /// Lumens.
        flux_lm: f64,
    },
}

/// A lamp's output in any of its units, 0 or more: "400 J", "9000 lm s", "12000 lm".
///
/// # Errors
/// What is wrong and what to type.
pub fn lamp_output(text: &str) -> Result<LampOutput, UnitError> {
    let mut scanner = Scanner::new(text);
    let number = scanner.number(&OUTPUT)?;
    // The longest name comes first: "lm s" begins with "lm".
    let output = if let Some(factor) = scanner.unit(&ENERGY, false) {
        LampOutput::Energy {
            energy_j: number.value * factor,
        }
    } else if let Some(factor) = scanner.unit(&LUMINOUS_ENERGY, false) {
        LampOutput::LuminousEnergy {
            luminous_energy_lm_s: number.value * factor,
        }
    } else if let Some(factor) = scanner.unit(&FLUX, false) {
        LampOutput::Flux {
            flux_lm: number.value * factor,
        }
    } else {
        return Err(scanner.no_unit(&OUTPUT, number));
    };
    scanner.end(&OUTPUT)?;
    let (LampOutput::Energy { energy_j: value }
    | LampOutput::LuminousEnergy {
        luminous_energy_lm_s: value,
    }
    | LampOutput::Flux { flux_lm: value }) = output;
    not_negative(value, trimmed(text), &OUTPUT)?;
    Ok(output)
}

/// A number and its unit, and nothing after.
fn quantity(text: &str, quantity: &Quantity) -> Result<f64, UnitError> {
    let mut scanner = Scanner::new(text);
    let number = scanner.number(quantity)?;
    let factor = scanner
        .unit(quantity, false)
        .ok_or_else(|| scanner.no_unit(quantity, number))?;
    scanner.end(quantity)?;
    Ok(number.value * factor)
}

fn positive(value: f64, span: Range<usize>, quantity: &Quantity) -> Result<f64, UnitError> {
    if value > 0.0 && value.is_finite() {
        return Ok(value);
    }
    let problem = format!("{} must be more than 0, and finite", quantity.name);
    Err(UnitError::new(span, problem, quantity.hint()))
}

fn not_negative(value: f64, span: Range<usize>, quantity: &Quantity) -> Result<f64, UnitError> {
    if value >= 0.0 && value.is_finite() {
        return Ok(value);
    }
    let problem = format!("{} must be 0 or more, and finite", quantity.name);
    Err(UnitError::new(span, problem, quantity.hint()))
}

/// The bytes of a string between the spaces around it.
fn trimmed(text: &str) -> Range<usize> {
    let start = text.len() - text.trim_start().len();
    start..text.trim_end().len().max(start)
}
