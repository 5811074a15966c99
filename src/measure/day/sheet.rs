//! What the meter said and where things really stood: typed on the command line, or a small TOML file.

use crate::photometry::FNumber;
use crate::photometry::units;
use crate::setup::keys::nearest;
use crate::setup::problem::line_column;
use std::fmt;
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A meter's last digit, stops (common practice).
pub const USUAL_STEP_STOPS: f64 = 0.1;
/// How well a reading repeats, standard deviation in stops: a tenth (common practice).
pub const USUAL_REPEATS_STOPS: f64 = 0.1;
/// The word for a reading of all lights at once.
pub const TOGETHER: &str = "together";

/// The readings of one day at one setup.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    /// When, as written; may be empty.
    pub date: String,
    /// Anything else; may be empty.
    pub notes: String,
    /// The meter's last digit, stops.
    pub step_stops: f64,
    /// How well a reading repeats, standard deviation in stops.
    pub repeats_stops: f64,
    /// In the order of the file.
    pub readings: Vec<Said>,
    /// Where things really stood, where that is not as the setup has it.
    pub stood: Vec<Stood>,
}

impl Default for Sheet {
    fn default() -> Self {
        Self {
            date: String::new(),
            notes: String::new(),
            step_stops: USUAL_STEP_STOPS,
            repeats_stops: USUAL_REPEATS_STOPS,
            readings: Vec::new(),
            stood: Vec::new(),
        }
    }
}

impl Sheet {
    /// Standard deviation of what a reading says, stops: how well it repeats, and the rounding to its
    /// step (a uniform spread over a step, whose standard deviation is the step over √12).
    pub fn meter_sd_stops(&self) -> f64 {
        self.repeats_stops.hypot(self.step_stops / 12.0_f64.sqrt())
    }
}

/// What the meter said.
#[derive(Debug, Clone, PartialEq)]
pub struct Said {
    /// The light that was on alone, or `None` for all together.
    pub light: Option<String>,
    /// The point's name; the light's own or the exposing one where none is given.
    pub point: Option<String>,
    /// What the meter showed.
    pub f_number: FNumber,
    /// Where it was written, for messages.
    pub place: String,
}

/// How a light really stood.
#[derive(Debug, Clone, PartialEq)]
pub struct Stood {
    /// Its name in the setup.
    pub light: String,
    /// Which flash head was in it; the light's name where none is given.
    pub lamp: Option<String>,
    /// Keys of the light in the setup, with what they should have said.
    pub keys: Vec<(String, String)>,
    /// Where it was written, for messages.
    pub place: String,
}

/// One thing that is wrong with a file of readings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SheetFault {
    /// `file:line:column`.
    pub place: String,
    /// What is wrong.
    pub what: String,
    /// What to type.
    pub hint: String,
}

impl fmt::Display for SheetFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.place, self.what)
    }
}

/// Keys at the top of a file of readings.
pub const TOP_KEYS: [&str; 6] = ["date", "notes", "step", "repeats", "reading", "stood"];
/// Keys of a `[[reading]]`.
pub const READING_KEYS: [&str; 3] = ["light", "point", "said"];
/// Own keys of a `[[stood]]`; the others are those of a `[[light]]` in a setup.
pub const STOOD_KEYS: [&str; 2] = ["light", "lamp"];

/// Reads `LIGHT=F-NUMBER[@POINT]`, such as "key=f/6.3 +.2@chest".
///
/// # Errors
/// What is wrong and what to type.
pub fn reading(typed: &str) -> Result<Said, SheetFault> {
    let fault = |what: String, hint: &str| SheetFault {
        place: format!("--reading {typed}"),
        what,
        hint: hint.to_owned(),
    };
    let example = "write it as LIGHT=F-NUMBER@POINT, such as \"key=f/6.3 +.2@chest\"";
    let (light, rest) = typed
        .split_once('=')
        .filter(|(light, _)| !light.trim().is_empty())
        .ok_or_else(|| fault("it does not say of which light".into(), example))?;
    let (said, point) = match rest.split_once('@') {
        Some((_, point)) if point.trim().is_empty() => {
            return Err(fault("no point follows @".into(), example));
        }
        Some((said, point)) => (said, Some(point.trim().to_owned())),
        None => (rest, None),
    };
    Ok(Said {
        light: alone(light.trim()),
        point,
        f_number: shown(said).map_err(|e| fault(e.problem, &e.hint))?,
        place: format!("--reading {typed}"),
    })
}

/// A light, or all of them.
fn alone(light: &str) -> Option<String> {
    (light != TOGETHER).then(|| light.to_owned())
}

/// What a meter shows: a printed mark stands for its exact value, and "+.2" is tenths beyond it.
fn shown(text: &str) -> Result<FNumber, units::UnitError> {
    let text = text.trim();
    let bare_tenths = text
        .split_once('+')
        .is_some_and(|(_, more)| !more.contains(|c: char| c.is_alphabetic()));
    let read = match bare_tenths {
        true => units::f_number(&format!("{text} stop"))?,
        false => units::f_number(text)?,
    };
    let is_mark = !text.contains('+') && (read.nearest_mark() - read.value()).abs() < 1e-9;
    Ok(match is_mark {
        true => FNumber::from_mark(read.value()).unwrap_or(read),
        false => read,
    })
}

/// Reads a file of readings.
///
/// # Errors
/// Everything that is wrong with it, each with its place and what to type.
pub fn parse_sheet(text: &str, file: &str) -> Result<Sheet, Vec<SheetFault>> {
    let (table, errors) = DeTable::parse_recoverable(text);
    let mut reader = Reader {
        text,
        file,
        faults: Vec::new(),
    };
    for e in &errors {
        let at = e.span().unwrap_or(0..0);
        let what = crate::setup::toml_reason(text, e);
        reader.fault(at, what, "mend the line so that it is TOML");
    }
    if errors.is_empty() {
        let sheet = reader.sheet(table.get_ref());
        if reader.faults.is_empty() {
            return Ok(sheet);
        }
    }
    Err(reader.faults)
}

type Value<'t> = Spanned<DeValue<'t>>;

struct Reader<'t> {
    text: &'t str,
    file: &'t str,
    faults: Vec<SheetFault>,
}

impl Reader<'_> {
    fn place(&self, at: usize) -> String {
        let (line, column) = line_column(self.text, at);
        format!("{}:{line}:{column}", self.file)
    }

    fn fault(&mut self, at: Range<usize>, what: impl Into<String>, hint: impl Into<String>) {
        let place = self.place(at.start);
        self.faults.push(SheetFault {
            place,
            what: what.into(),
            hint: hint.into(),
        });
    }

    fn sheet(&mut self, table: &DeTable<'_>) -> Sheet {
        self.known(table, "the readings", &TOP_KEYS);
        let mut sheet = Sheet::default();
        for (key, value) in table.iter() {
            match key.get_ref().as_ref() {
                "date" => sheet.date = self.date(value),
                "notes" => sheet.notes = self.words("notes", value).unwrap_or_default(),
                "step" => {
                    sheet.step_stops = self.stops("step", value).unwrap_or(USUAL_STEP_STOPS);
                }
                "repeats" => {
                    sheet.repeats_stops =
                        self.stops("repeats", value).unwrap_or(USUAL_REPEATS_STOPS);
                }
                "reading" => {
                    for t in self.tables("reading", value) {
                        sheet.readings.extend(self.said(t));
                    }
                }
                "stood" => {
                    for t in self.tables("stood", value) {
                        sheet.stood.extend(self.stood(t));
                    }
                }
                _ => {}
            }
        }
        if sheet.readings.is_empty() && self.faults.is_empty() {
            self.fault(
                0..0,
                "there is no reading",
                "add [[reading]] with light = \"key\", point = \"chest\", said = \"f/6.3 +.2\"",
            );
        }
        sheet
    }

    fn known(&mut self, table: &DeTable<'_>, of: &str, keys: &[&str]) {
        for (key, _) in table.iter() {
            let name = key.get_ref().as_ref();
            if !keys.contains(&name) {
                let hint = match nearest(name, keys.iter().copied()) {
                    Some(near) => format!("did you mean `{near}`?"),
                    None => format!("known keys: {}", keys.join(", ")),
                };
                self.fault(key.span(), format!("unknown key `{name}` in {of}"), hint);
            }
        }
    }

    fn tables<'v>(&mut self, key: &str, value: &'v Value<'v>) -> Vec<&'v Value<'v>> {
        match value.get_ref().as_array() {
            Some(all) => all.iter().collect(),
            None => {
                let hint = format!("write [[{key}]] above each");
                self.fault(value.span(), format!("`{key}` is no list of tables"), hint);
                Vec::new()
            }
        }
    }

    fn words(&mut self, key: &str, value: &Value<'_>) -> Option<String> {
        let text = value.get_ref().as_str().map(str::to_owned);
        if text.is_none() {
            let what = format!("`{key}` must be text");
            self.fault(value.span(), what, "put it between double quotes");
        }
        text
    }

    /// A date may be written bare, as TOML has it.
    fn date(&mut self, value: &Value<'_>) -> String {
        match value.get_ref() {
            DeValue::Datetime(date) => date.to_string(),
            _ => self.words("date", value).unwrap_or_default(),
        }
    }

    fn stops(&mut self, key: &str, value: &Value<'_>) -> Option<f64> {
        let text = self.words(key, value)?;
        match units::stops(&text) {
            Ok(stops) if stops > 0.0 && stops <= 2.0 => return Some(stops),
            Ok(_) => self.fault(
                value.span(),
                format!("`{key}` must be over 0 and up to 2 stops"),
                "most meters show tenths: \"1/10 stop\"",
            ),
            Err(e) => self.fault(value.span(), format!("`{key}`: {}", e.problem), e.hint),
        }
        None
    }

    fn said(&mut self, value: &Value<'_>) -> Option<Said> {
        let table = self.table("reading", value)?;
        self.known(table, "[[reading]]", &READING_KEYS);
        let mut get = |key: &str| table.get(key).map(|v| (self.words(key, v), v.span()));
        let (light, point, said) = (get("light"), get("point"), get("said"));
        for (missing, key, hint) in [
            (
                light.is_none(),
                "light",
                "add light = \"key\", or \"together\"",
            ),
            (said.is_none(), "said", "add said = \"f/6.3 +.2\""),
        ] {
            if missing {
                self.fault(value.span(), format!("[[reading]] has no `{key}`"), hint);
            }
        }
        let (said, at) = said?;
        let f_number = match shown(&said?) {
            Ok(f_number) => f_number,
            Err(e) => {
                self.fault(at, format!("`said`: {}", e.problem), e.hint);
                return None;
            }
        };
        let point = match point {
            Some((point, _)) => Some(point?),
            None => None,
        };
        Some(Said {
            light: alone(&light?.0?),
            point,
            f_number,
            place: self.place(value.span().start),
        })
    }

    fn stood(&mut self, value: &Value<'_>) -> Option<Stood> {
        let table = self.table("stood", value)?;
        let light = table.get("light");
        if light.is_none() {
            let hint = "add light = \"key\"";
            self.fault(value.span(), "[[stood]] has no `light`", hint);
        }
        let light = light.and_then(|v| self.words("light", v));
        let lamp = match table.get("lamp") {
            Some(v) => Some(self.words("lamp", v)?),
            None => None,
        };
        let mut keys = Vec::new();
        for (key, v) in table.iter() {
            let name = key.get_ref().as_ref();
            if !STOOD_KEYS.contains(&name) {
                // What a key may hold is for the setup to say; here it is taken up as written.
                let written = self.text.get(v.span()).unwrap_or_default();
                keys.push((name.to_owned(), written.to_owned()));
            }
        }
        Some(Stood {
            light: light?,
            lamp,
            keys,
            place: self.place(value.span().start),
        })
    }

    fn table<'v>(&mut self, key: &str, value: &'v Value<'v>) -> Option<&'v DeTable<'v>> {
        let table = value.get_ref().as_table();
        if table.is_none() {
            let hint = format!("write [[{key}]] above each");
            self.fault(value.span(), format!("`{key}` is no table"), hint);
        }
        table
    }
}
