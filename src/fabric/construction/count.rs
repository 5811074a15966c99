//! Yarn counts and setts as people write them: "18.5 tex", "Ne 30", "Nm 2/60", "68 per inch".

use std::ops::Range;

use crate::photometry::units::UnitError;

/// Grams in a pound, metres in a yard (international yard and pound agreement, 1959).
const POUND_G: f64 = 453.592_37;
const YARD_M: f64 = 0.9144;

/// A way to number yarns.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CountSystem {
    /// Grams in 1000 m (ISO 1144).
    Tex,
    /// Grams in 10 000 m.
    Decitex,
    /// Grams in 9000 m.
    Denier,
    /// Nm: metres in a gram.
    Metric,
    /// Ne, English cotton count: hanks of 840 yards in a pound.
    Cotton,
    /// Hanks of 560 yards in a pound.
    Worsted,
    /// Linen: leas of 300 yards in a pound.
    Lea,
}

impl CountSystem {
    /// What each system is called in a fabric file.
    const NAMES: [(&'static str, Self); 12] = [
        ("tex", Self::Tex),
        ("dtex", Self::Decitex),
        ("decitex", Self::Decitex),
        ("den", Self::Denier),
        ("denier", Self::Denier),
        ("nm", Self::Metric),
        ("metric", Self::Metric),
        ("ne", Self::Cotton),
        ("cotton", Self::Cotton),
        ("worsted", Self::Worsted),
        ("lea", Self::Lea),
        ("linen", Self::Lea),
    ];

    /// Count in tex of a yarn with this number.
    pub fn tex(self, number: f64) -> f64 {
        match self.mass_over_length() {
            (true, one) => number * one,
            (false, one) => one / number,
        }
    }

    /// The number of a yarn of this count.
    pub fn number(self, count_tex: f64) -> f64 {
        match self.mass_over_length() {
            (true, one) => count_tex / one,
            (false, one) => one / count_tex,
        }
    }

    /// Whether finer yarns have lower numbers; and the tex of number 1.
    fn mass_over_length(self) -> (bool, f64) {
        let hanks_in_a_pound = |yards: f64| (false, 1000.0 * POUND_G / (yards * YARD_M));
        match self {
            Self::Tex => (true, 1.0),
            Self::Decitex => (true, 0.1),
            Self::Denier => (true, 1.0 / 9.0),
            Self::Metric => (false, 1000.0),
            Self::Cotton => hanks_in_a_pound(840.0),
            Self::Worsted => hanks_in_a_pound(560.0),
            Self::Lea => hanks_in_a_pound(300.0),
        }
    }

    fn by_name(name: &str) -> Option<Self> {
        Self::NAMES
            .iter()
            .find(|(known, _)| known.eq_ignore_ascii_case(name))
            .map(|(_, system)| *system)
    }
}

/// A yarn's count.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Count {
    /// Of the whole yarn: its plies together, before they shorten by twisting.
    pub tex: f64,
    /// How many yarns are twisted into one.
    pub plies: u32,
}

const COUNT_HINT: &str = "type a yarn count such as \"18.5 tex\", \"Ne 30\", \"Nm 2/60\", \"20 tex x 2\" or \"75 denier\"";
const SETT_HINT: &str = "type a sett such as \"26.8 per cm\" or \"68 per inch\"";

/// The finest and the coarsest yarn, tex.
const TEX: std::ops::RangeInclusive<f64> = 0.1..=10_000.0;
const MOST_PLIES: f64 = 24.0;

impl Count {
    /// Reads a count; the system's name stands before or after the number, in any case.
    ///
    /// Plied yarns: "Nm 2/60" and "Nm 60/2" are both two yarns of Nm 60, the smaller whole number
    /// being the plies, as in "Ne 40/2"; "20 tex x 2" is two of 20 tex (ISO 1139), "R 40 tex / 2"
    /// the same by what comes of it.
    ///
    /// # Errors
    /// What is wrong and what to type.
    pub fn parse(text: &str) -> Result<Self, UnitError> {
        let all = 0..text.len();
        let tokens = tokens(text, COUNT_HINT)?;
        let refuse = |problem: String| Err(error(all.clone(), problem, COUNT_HINT));
        let mut named = tokens.iter().filter_map(|token| match token.kind {
            Kind::Word(word) => Some((token, word)),
            _ => None,
        });
        let mut system = None;
        let mut resultant = false;
        for (token, word) in &mut named {
            match CountSystem::by_name(word) {
                Some(found) if system.is_none() => system = Some(found),
                _ if word.eq_ignore_ascii_case("r") => resultant = true,
                _ if word.eq_ignore_ascii_case("x") => {}
                _ => {
                    let problem = format!("`{word}` is no way to count yarn");
                    return Err(error(token.span.clone(), problem, COUNT_HINT));
                }
            }
        }
        let Some(system) = system else {
            return refuse(format!("`{}` has no unit", text.trim()));
        };
        let numbers: Vec<f64> = tokens.iter().filter_map(Token::number).collect();
        let over = tokens.iter().any(|t| matches!(t.kind, Kind::Sign('/')));
        let times = tokens.iter().any(|t| match t.kind {
            Kind::Sign(sign) => sign == '×',
            Kind::Word(word) => word.eq_ignore_ascii_case("x"),
            Kind::Number(_) => false,
        });
        let direct = system.mass_over_length().0;
        let (tex, plies) = match (numbers.as_slice(), over, times) {
            ([number], false, false) => (system.tex(*number), 1.0),
            ([number, plies], true, false) if direct => (system.tex(*number), *plies),
            ([number, plies], false, true) if !resultant => (system.tex(*number) * plies, *plies),
            ([a, b], true, false) if !resultant => (system.tex(a.max(*b)) * a.min(*b), a.min(*b)),
            _ => return refuse(format!("`{}` is no yarn count", text.trim())),
        };
        if plies.fract() != 0.0 || !(1.0..=MOST_PLIES).contains(&plies) {
            return refuse(format!("{plies} is no number of plies"));
        }
        if !TEX.contains(&tex) {
            let (least, most) = (TEX.start(), TEX.end());
            return refuse(format!(
                "a yarn of {tex} tex; it can be {least} to {most} tex"
            ));
        }
        Ok(Self {
            tex,
            plies: plies as u32,
        })
    }
}

/// Reads how close threads stand: "26.8 per cm", "26.8/cm", "68 per inch", "68 /in".
///
/// # Errors
/// What is wrong and what to type.
pub fn threads_per_cm(text: &str) -> Result<f64, UnitError> {
    let tokens = tokens(text, SETT_HINT)?;
    let kinds: Vec<Kind> = tokens.iter().map(|token| token.kind).collect();
    let per_cm = match kinds.as_slice() {
        [Kind::Number(number), between, Kind::Word(unit)] => {
            let per = match between {
                Kind::Word(word) => word.eq_ignore_ascii_case("per"),
                Kind::Sign(sign) => *sign == '/',
                Kind::Number(_) => false,
            };
            let is = |names: &[&str]| names.iter().any(|n| n.eq_ignore_ascii_case(unit));
            match per {
                true if is(&["cm"]) => Some(*number),
                true if is(&["in", "inch"]) => Some(number / 2.54),
                _ => None,
            }
        }
        _ => None,
    };
    match per_cm {
        Some(per_cm) if (0.1..=1000.0).contains(&per_cm) => Ok(per_cm),
        Some(per_cm) => {
            let problem = format!("{per_cm} threads per cm; it can be 0.1 to 1000");
            Err(error(0..text.len(), problem, SETT_HINT))
        }
        None => {
            let problem = format!("`{}` is no sett", text.trim());
            Err(error(0..text.len(), problem, SETT_HINT))
        }
    }
}

fn error(span: Range<usize>, problem: String, hint: &str) -> UnitError {
    UnitError {
        span,
        problem,
        hint: hint.to_owned(),
    }
}

#[derive(Clone, Copy)]
enum Kind<'a> {
    Number(f64),
    Word(&'a str),
    Sign(char),
}

struct Token<'a> {
    span: Range<usize>,
    kind: Kind<'a>,
}

impl Token<'_> {
    fn number(&self) -> Option<f64> {
        match self.kind {
            Kind::Number(number) => Some(number),
            _ => None,
        }
    }
}

/// Numbers, words, `/` and `×`.
fn tokens<'a>(text: &'a str, hint: &str) -> Result<Vec<Token<'a>>, UnitError> {
    let mut tokens = Vec::new();
    let mut at = 0;
    while let Some(c) = text[at..].chars().next() {
        let rest = &text[at..];
        let run = |fits: fn(char) -> bool| rest.find(|c| !fits(c)).unwrap_or(rest.len());
        let (length, kind) = if c.is_whitespace() {
            at += c.len_utf8();
            continue;
        } else if c.is_ascii_digit() || c == '.' {
            let length = run(|c| c.is_ascii_digit() || c == '.');
            match rest[..length].parse::<f64>() {
                Ok(number) if number > 0.0 && number.is_finite() => (length, Kind::Number(number)),
                _ => {
                    let problem = format!("`{}` is no number above 0", &rest[..length]);
                    return Err(error(at..at + length, problem, hint));
                }
            }
        } else if c.is_alphabetic() {
            let length = run(char::is_alphabetic);
            (length, Kind::Word(&rest[..length]))
        } else if c == '/' || c == '×' {
            (c.len_utf8(), Kind::Sign(c))
        } else {
            let problem = match c {
                ',' => "a comma in a number; decimals take a point".to_owned(),
                _ => format!("`{}` does not belong here", c.escape_default()),
            };
            return Err(error(at..at + c.len_utf8(), problem, hint));
        };
        tokens.push(Token {
            span: at..at + length,
            kind,
        });
        at += length;
    }
    if tokens.is_empty() {
        return Err(error(0..text.len(), "nothing here".to_owned(), hint));
    }
    Ok(tokens)
}
