//! Writing a file of 2019.

use super::header::REQUIRED_KEYWORDS;
use super::{Keyword, Photometry};

/// Lines stay under 132 characters, as the text of 1991 has it; later ones allow more.
const LONGEST_LINE: usize = 131;
/// A keyword's name without its brackets, in characters.
const LONGEST_NAME: usize = 16;

/// The file's text, as LM-63-2019 with CR LF line ends.
///
/// Numbers have as many digits as it takes to read the same ones back; [`super::Table::rounded`]
/// makes them short. Lengths are in metres. The second ballast factor of older files goes into
/// the first. Keywords follow in their order, in ASCII: what is not becomes the nearest sign or
/// `?`; long texts go on in `[MORE]` lines. Those that the standard asks for and that are not
/// there are added as "not given".
pub fn write(photometry: &Photometry) -> String {
    let mut lines = vec!["IES:LM-63-2019".to_owned()];
    for name in REQUIRED_KEYWORDS {
        if photometry.keyword(name).is_none() {
            lines.push(format!("[{name}] not given"));
        }
    }
    for keyword in &photometry.keywords {
        push_keyword(&mut lines, keyword);
    }
    match &photometry.tilt {
        None => lines.push("TILT=NONE".to_owned()),
        Some(tilt) => {
            lines.push("TILT=INCLUDE".to_owned());
            lines.push(tilt.geometry.code().to_string());
            lines.push(tilt.factors.len().to_string());
            push_numbers(&mut lines, tilt.factors.iter().map(|(angle, _)| *angle));
            push_numbers(&mut lines, tilt.factors.iter().map(|(_, factor)| *factor));
        }
    }
    push_data(&mut lines, photometry);
    let mut text = lines.join("\r\n");
    text.push_str("\r\n");
    text
}

fn push_data(lines: &mut Vec<String>, photometry: &Photometry) {
    const METRES: u32 = 2;
    let table = photometry.table();
    let [width_m, length_m, height_m] = photometry.opening.signed_m().map(number);
    lines.push(format!(
        "{} {} {} {} {} {} {METRES} {width_m} {length_m} {height_m}",
        photometry.lamps,
        number(photometry.lumens_per_lamp.unwrap_or(-1.0)),
        number(photometry.multiplier),
        table.vertical_deg().len(),
        table.horizontal_deg().len(),
        table.goniometry().code(),
    ));
    push_numbers(
        lines,
        [
            photometry.ballast_factor * photometry.ballast_lamp_factor,
            photometry.generation,
            photometry.input_w,
        ],
    );
    push_numbers(lines, table.vertical_deg().iter().copied());
    push_numbers(lines, table.horizontal_deg().iter().copied());
    for plane in table.planes() {
        push_numbers(lines, plane.iter().copied());
    }
}

/// Begins a line, and more where it grows too long.
fn push_numbers(lines: &mut Vec<String>, numbers: impl IntoIterator<Item = f64>) {
    let mut line = String::new();
    for text in numbers.into_iter().map(number) {
        if !line.is_empty() && line.len() + 1 + text.len() > LONGEST_LINE {
            lines.push(std::mem::take(&mut line));
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(&text);
    }
    lines.push(line);
}

/// The shortest digits that read back as the same number.
fn number(value: f64) -> String {
    let plain = value == 0.0 || (1e-5..1e15).contains(&value.abs());
    if plain {
        value.to_string()
    } else {
        format!("{value:e}")
    }
}

fn push_keyword(lines: &mut Vec<String>, keyword: &Keyword) {
    let mut label = keyword_name(&keyword.name);
    for line in keyword.value.split('\n') {
        let mut text = String::new();
        line.chars().for_each(|c| push_ascii(&mut text, c));
        let mut rest = text.trim();
        loop {
            let room = LONGEST_LINE - "[] ".len() - label.len();
            let (now, later) = split_at_space(rest, room);
            lines.push(format!("[{label}] {now}").trim_end().to_owned());
            label = "MORE".to_owned();
            rest = later;
            if rest.is_empty() {
                break;
            }
        }
    }
}

/// As much of an ASCII text as has room, up to a space where there is one, and the rest.
fn split_at_space(text: &str, room: usize) -> (&str, &str) {
    if text.len() <= room {
        return (text, "");
    }
    let cut = text[..=room]
        .rfind(' ')
        .filter(|cut| *cut > 0)
        .unwrap_or(room);
    (text[..cut].trim_end(), text[cut..].trim_start())
}

/// A name that can stand in brackets: capitals, digits, `_` and `-`.
fn keyword_name(name: &str) -> String {
    let allowed = |c: char| match c.to_ascii_uppercase() {
        c if c.is_ascii_alphanumeric() || c == '_' || c == '-' => c,
        _ => '_',
    };
    let name: String = name
        .trim()
        .chars()
        .map(allowed)
        .take(LONGEST_NAME)
        .collect();
    match name.as_str() {
        "" | "MORE" => "OTHER".to_owned(),
        _ => name,
    }
}

/// Adds a sign, or what stands for it in ASCII.
fn push_ascii(text: &mut String, c: char) {
    text.push_str(match c {
        ' '..='~' => return text.push(c),
        '–' | '—' | '\u{2212}' | '\u{2011}' => "-",
        '‘' | '’' => "'",
        '“' | '”' | '„' => "\"",
        '×' => "x",
        'µ' | 'μ' => "u",
        '²' => "2",
        '³' => "3",
        '°' => " deg",
        '…' => "...",
        'ä' | 'á' | 'à' | 'â' | 'å' => "a",
        'é' | 'è' | 'ê' | 'ë' => "e",
        'ö' | 'ó' | 'ò' | 'ô' | 'ø' => "o",
        'ü' | 'ú' | 'ù' | 'û' => "u",
        'ß' => "ss",
        c if c.is_whitespace() || c.is_control() => " ",
        _ => "?",
    });
}
