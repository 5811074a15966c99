//! The lines before the numbers: version, keywords, `TILT=`.

use super::reader::{Reader, Stop};
use super::scan::{Place, shown};
use super::{Keyword, Version};

/// More lines before the data are a mistake, and would each cost more memory than the file's own.
const MOST_KEYWORDS: usize = 10_000;
/// Keywords that files of 2002 and 2019 must have.
pub(super) const REQUIRED_KEYWORDS: [&str; 4] = ["TEST", "TESTLAB", "ISSUEDATE", "MANUFAC"];

/// All before the numbers.
pub(super) struct Header {
    pub version: Version,
    pub keywords: Vec<Keyword>,
    pub tilt: TiltLine,
}

/// What stands after `TILT=`.
pub(super) enum TiltLine {
    None,
    Include,
}

impl Reader<'_> {
    /// Reads up to the line of `TILT=`, that one included.
    pub fn header(&mut self) -> Result<Header, Stop> {
        let mut version = None;
        let mut keywords: Vec<Keyword> = Vec::new();
        loop {
            let Some((mut place, line)) = self.cursor.line() else {
                return self.stop(
                    self.cursor.place(),
                    "no line begins with TILT=: this is no LM-63 file, or cut short",
                    "write TILT=NONE on a line of its own before the numbers",
                );
            };
            let blank = |c: char| c.is_whitespace() || c.is_control();
            place.column += line.chars().take_while(|c| blank(*c)).count();
            let line = line.trim_matches(blank);
            if line.is_empty() {
                continue;
            }
            if version.is_none() {
                version = self.version_line(place, line);
                if version.is_some() {
                    continue;
                }
                version = Some(Version::V1986);
            }
            let version = version.unwrap_or(Version::V1986);
            if let Some(value) = tilt_value(line) {
                self.note_missing_keywords(version, &keywords);
                let tilt = self.tilt_line(place, value)?;
                return Ok(Header {
                    version,
                    keywords,
                    tilt,
                });
            }
            self.keyword_line(version, place, line, &mut keywords);
            if keywords.len() > MOST_KEYWORDS {
                return self.stop(
                    place,
                    "too many lines before TILT=",
                    "write TILT=NONE on a line of its own before the numbers",
                );
            }
        }
    }

    /// The version that a first line names; `None` where it is a line of another kind.
    fn version_line(&mut self, place: Place, line: &str) -> Option<Version> {
        let packed: String = line
            .chars()
            .filter(|c| !c.is_whitespace())
            .map(|c| c.to_ascii_uppercase())
            .take(64)
            .collect();
        let named = packed
            .strip_prefix("IESNA")
            .or(packed.strip_prefix("IES"))?;
        let year = match named.strip_prefix(":LM-63-") {
            Some(year) => year,
            None if matches!(named, "86" | "91" | "95") => named,
            None => return None,
        };
        match year {
            "86" | "1986" => Some(Version::V1986),
            "91" | "1991" => Some(Version::V1991),
            "95" | "1995" => Some(Version::V1995),
            "02" | "2002" => Some(Version::V2002),
            "19" | "2019" => Some(Version::V2019),
            _ => {
                self.problem(
                    place,
                    format!("`{}` is no known version", shown(line)),
                    "write IES:LM-63-2019, IESNA:LM-63-2002, IESNA:LM-63-1995 or IESNA91",
                );
                Some(Version::V2019)
            }
        }
    }

    fn keyword_line(
        &mut self,
        version: Version,
        place: Place,
        line: &str,
        keywords: &mut Vec<Keyword>,
    ) {
        let labelled = line
            .strip_prefix('[')
            .and_then(|rest| rest.split_once(']'))
            .map(|(name, value)| (name.trim().to_ascii_uppercase(), value.trim()));
        match (labelled, keywords.last_mut()) {
            (Some((name, value)), Some(last)) if name == "MORE" => {
                last.value.push('\n');
                last.value.push_str(value);
            }
            (Some((name, value)), _) if name != "MORE" => keywords.push(Keyword {
                name,
                value: value.to_owned(),
            }),
            (Some((_, value)), _) => {
                self.note(
                    place,
                    "[MORE] continues nothing".to_owned(),
                    "read as [OTHER]",
                );
                keywords.push(Keyword::new("OTHER", value));
            }
            (None, _) => {
                if version != Version::V1986 {
                    let message = format!("`{}` has no keyword", shown(line));
                    self.note(place, message, "read as [OTHER]");
                }
                keywords.push(Keyword::new("OTHER", line));
            }
        }
    }

    fn tilt_line(&mut self, place: Place, value: &str) -> Result<TiltLine, Stop> {
        match value.to_ascii_uppercase().as_str() {
            "NONE" => Ok(TiltLine::None),
            "INCLUDE" => Ok(TiltLine::Include),
            "" => self.stop(
                place,
                "nothing stands after TILT=",
                "write TILT=NONE, or TILT=INCLUDE with the factors after it",
            ),
            _ => {
                let message = format!("the tilt factors are in another file, `{}`", shown(value));
                self.stop(
                    place,
                    message,
                    "write TILT=INCLUDE and that file's numbers on the lines after it, or TILT=NONE if the lamp burns alike at any tilt",
                )
            }
        }
    }

    fn note_missing_keywords(&mut self, version: Version, keywords: &[Keyword]) {
        if version < Version::V2002 {
            return;
        }
        let place = Place { line: 1, column: 1 };
        for name in REQUIRED_KEYWORDS {
            if !keywords.iter().any(|k| k.name == name) {
                self.note(
                    place,
                    format!("[{name}] is missing"),
                    "the standard asks for it",
                );
            }
        }
    }
}

/// What stands after `TILT=`, where a line begins so.
fn tilt_value(line: &str) -> Option<&str> {
    let (word, value) = line.split_once('=')?;
    word.trim()
        .eq_ignore_ascii_case("TILT")
        .then(|| value.trim())
}
