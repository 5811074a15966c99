//! Reading WIF 1.1 (Weaving Information File, version 1.1 of 1997-04-20). Keys, types and defaults
//! are those of its format specification; what is from memory says so.

use super::ini::{Entry, Ini, PARTS, Part, Piece};
use super::{Draft, Lifts, Lists, Problem, Problems, Shed, Threads};

/// A file that was read.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// What it says.
    pub draft: Draft,
    /// What was left out or put right, at most fifty; hints are empty.
    pub notes: Vec<Problem>,
}

/// Reads a WIF, whatever its line ends and the case of its keys; bytes that are no UTF-8 become
/// `�`. Lines that begin with a semicolon are comments, as is what follows one after a number.
///
/// A lift plan goes before tie-up and treadling where both are there. Sections that are not used
/// (symbols, notes, zoom factors, private ones) are noted. What the sections hold goes before what
/// `CONTENTS` and `Threads` say of them. In a file with a sinking shed a lift plan names the shafts
/// that sink, like a tie-up (from memory).
///
/// Memory stays within a few times the file's size, whatever the file claims.
///
/// # Errors
/// Every problem found, up to fifty, by place.
pub fn read_wif(bytes: &[u8]) -> Result<Reading, Problems> {
    let text = String::from_utf8_lossy(bytes);
    let mut reader = Reader {
        ini: Ini::new(text.strip_prefix('\u{feff}').unwrap_or(&text)),
    };
    match reader.draft() {
        Some(draft) if reader.ini.problems.is_empty() => Ok(Reading {
            draft,
            notes: reader.ini.notes,
        }),
        _ => Err(reader.ini.into_problems()),
    }
}

/// Shafts, treadles and colours count in sixteen bits.
pub(super) const MOST_NUMBERS: usize = 65535;

const LIST_HINT: &str = "write numbers from 1, with commas between, or 0 for none";

pub(super) struct Reader<'a> {
    pub ini: Ini<'a>,
}

impl<'a> Reader<'a> {
    fn draft(&mut self) -> Option<Draft> {
        self.check_header()?;
        let title = self.ini.entry(Part::Text, "Title");
        let title = title.map_or(String::new(), |e| e.value.text.to_owned());

        let shafts = self.count(Part::Weaving, "Shafts", MOST_NUMBERS);
        let treadles = self.count(Part::Weaving, "Treadles", MOST_NUMBERS);
        if self.boolean(Part::Weaving, "Profile") == Some(true) {
            let message = "a profile draft: its blocks are read as threads";
            self.ini.note_part(Part::Weaving, message.to_owned());
        }
        let shed = match self.boolean(Part::Weaving, "Rising Shed") {
            Some(false) => Shed::Sinking,
            Some(true) => Shed::Rising,
            None => {
                let message = "no Rising Shed is given; a rising one is taken";
                self.ini.note_part(Part::Weaving, message.to_owned());
                Shed::Rising
            }
        };

        let most_shafts = shafts.unwrap_or(MOST_NUMBERS);
        let threading = self.lists(Part::Threading, "end", None, "shaft", most_shafts);
        let lifts = if self.ini.has(Part::LiftPlan) {
            if self.ini.has(Part::Treadling) {
                let message = "the lift plan holds, not tie-up and treadling";
                self.ini.note_part(Part::LiftPlan, message.to_owned());
            }
            Lifts::Plan(self.lists(Part::LiftPlan, "pick", None, "shaft", most_shafts))
        } else {
            let most = treadles.unwrap_or(MOST_NUMBERS);
            let tie_up = self.lists(Part::TieUp, "treadle", treadles, "shaft", most_shafts);
            let treadling = self.lists(Part::Treadling, "pick", None, "treadle", most);
            Lifts::Treadles { tie_up, treadling }
        };
        let listed = match &lifts {
            Lifts::Plan(plan) => plan.items().max(),
            Lifts::Treadles { tie_up, .. } => tie_up.items().max(),
        };
        let used = threading.items().max().max(listed).map_or(0, |s| s + 1);

        let mut draft = Draft {
            title,
            shed,
            shafts: u16::try_from(shafts.unwrap_or(used)).unwrap_or(u16::MAX),
            threading,
            lifts,
            palette: self.palette(),
            warp: Threads::default(),
            weft: Threads::default(),
        };
        let (ends, picks) = (draft.ends(), draft.picks());
        self.check_sizes(ends, picks);
        let colours = draft.palette.len();
        draft.warp = self.threads(Part::Warp, ends, colours);
        draft.weft = self.threads(Part::Weft, picks, colours);
        Some(draft)
    }

    /// Whether this is a WIF with a weave in it; what it says of itself.
    fn check_header(&mut self) -> Option<()> {
        let weave = self.ini.has(Part::Threading)
            && (self.ini.has(Part::LiftPlan) || self.ini.has(Part::Treadling));
        if !self.ini.has(Part::Wif) && !weave {
            let message = "this is no WIF: it has no [WIF] section and no weave".to_owned();
            let hint = "give a file with the sections [WIF], [THREADING], [TIEUP] and [TREADLING]";
            self.ini.problem_at((1, 1), message, hint);
            return None;
        }
        match self.ini.entry(Part::Wif, "Version") {
            Some(entry) if ["1.1", "1.0"].contains(&entry.value.without_comment().text) => {}
            Some(entry) => self.ini.note(
                entry.value,
                "is a version not known here; it is read as 1.1",
            ),
            None => {
                let message = "no version of the format is given; it is read as 1.1";
                self.ini.note_part(Part::Wif, message.to_owned());
            }
        }
        if self.ini.has(Part::Contents) {
            for (part, name) in PARTS.iter().skip(2) {
                let listed = self.boolean(Part::Contents, name).unwrap_or(false);
                if listed != self.ini.has(*part) {
                    let message = match listed {
                        true => format!("[CONTENTS] lists {name}, but there is no such section"),
                        false => {
                            format!("[CONTENTS] does not list {name}; it is read all the same")
                        }
                    };
                    self.ini.note_part(Part::Contents, message);
                }
            }
        }
        let needed: &[(Part, &str)] = match self.ini.has(Part::LiftPlan) {
            true => &[(Part::Threading, "list each end's shaft there: 1=1")],
            false => &[
                (Part::Threading, "list each end's shaft there: 1=1"),
                (
                    Part::TieUp,
                    "list each treadle's shafts there, or give a [LIFTPLAN]",
                ),
                (
                    Part::Treadling,
                    "list each pick's treadles there, or give a [LIFTPLAN]",
                ),
            ],
        };
        for (part, hint) in needed {
            if !self.ini.has(*part) {
                let message = format!("there is no [{}] section", part.name());
                self.ini.problem_at((1, 1), message, hint);
            }
        }
        Some(())
    }

    /// Compares what was listed with what was announced.
    fn check_sizes(&mut self, ends: usize, picks: usize) {
        let lists = match self.ini.has(Part::LiftPlan) {
            true => Part::LiftPlan,
            false => Part::Treadling,
        };
        for (part, list, count, thread) in [
            (Part::Warp, Part::Threading, ends, "end"),
            (Part::Weft, lists, picks, "pick"),
        ] {
            if count == 0 && self.ini.has(list) {
                let message = format!("[{}] lists no {thread}", list.name());
                self.ini
                    .problem_at((1, 1), message, "write a line for each, from 1=1 on");
            }
            match self.count(part, "Threads", usize::MAX) {
                Some(threads) if threads != count => {
                    let message = format!(
                        "[{}] says {threads} threads, [{}] goes to {count}; these are read",
                        part.name(),
                        list.name()
                    );
                    self.ini.note_part(part, message);
                }
                _ => {}
            }
        }
    }

    /// A numbered section with a list of numbers on each line, both counted from 1 in the file.
    fn lists(
        &mut self,
        part: Part,
        row: &str,
        rows: Option<usize>,
        item: &str,
        most_item: usize,
    ) -> Lists {
        let mut pairs: Vec<(u32, u16)> = Vec::new();
        let most_rows = rows.unwrap_or(usize::MAX);
        let count = self.numbered(part, row, most_rows, |reader, at, entry| {
            for word in entry.value.without_comment().words() {
                let Some(number) = reader.whole(word, LIST_HINT) else {
                    continue;
                };
                if number > most_item {
                    let hint = format!("write a {item} from 1 to {most_item}, or 0 for none");
                    let what = format!("is a {item} that the loom does not have");
                    reader.ini.problem(word, &what, &hint);
                } else if number > 0 {
                    pairs.push((at as u32, (number - 1) as u16));
                }
            }
        });
        Lists::from_pairs(count, pairs)
    }

    /// Walks a section of lines that are numbered from 1, with numbers from 0; gives the highest
    /// number and one. A number that stands twice holds where it stands first; missing ones are
    /// noted.
    pub fn numbered(
        &mut self,
        part: Part,
        thing: &str,
        most: usize,
        mut each: impl FnMut(&mut Self, usize, Entry<'a>),
    ) -> usize {
        let most_entries = self.ini.most_entries();
        let hint = format!("number the {thing}s from 1");
        let mut seen: Vec<bool> = Vec::new();
        let mut entries = self.ini.entries(part);
        while let Some(entry) = entries.next(&mut self.ini) {
            let Some(number) = self.whole(entry.key, &hint) else {
                continue;
            };
            if number == 0 || number > most {
                let hint = match most {
                    usize::MAX => hint.clone(),
                    most => format!("number the {thing}s from 1 to {most}"),
                };
                let what = format!("is no {thing} of this draft");
                self.ini.problem(entry.key, &what, &hint);
            } else if number > most_entries {
                let what = format!("is more {thing}s than a file of this size can list");
                self.ini.problem(entry.key, &what, &hint);
            } else {
                if seen.len() < number {
                    seen.resize(number, false);
                }
                if std::mem::replace(&mut seen[number - 1], true) {
                    self.ini
                        .note(entry.key, "stands twice; the first line holds");
                } else {
                    each(self, number - 1, entry);
                }
            }
        }
        let missing = seen.iter().filter(|there| !**there).count();
        if missing > 0 {
            let message = format!("[{}] leaves out {missing} {thing}s", part.name());
            self.ini.note_part(part, message);
        }
        seen.len()
    }

    /// A whole number of a section, up to a limit.
    pub fn count(&mut self, part: Part, key: &str, most: usize) -> Option<usize> {
        let value = self.ini.entry(part, key)?.value.without_comment();
        let number = self.whole(value, &format!("write {key}= and a whole number"))?;
        if number > most {
            let hint = format!("write at most {most}");
            self.ini.problem(value, "is too many", &hint);
            return None;
        }
        Some(number)
    }

    /// A yes or no of a section, in the words of the specification.
    fn boolean(&mut self, part: Part, key: &str) -> Option<bool> {
        let value = self.ini.entry(part, key)?.value.without_comment();
        let is = |words: &[&str]| words.iter().any(|w| value.text.eq_ignore_ascii_case(w));
        if is(&["true", "on", "yes", "1"]) {
            Some(true)
        } else if is(&["false", "off", "no", "0"]) {
            Some(false)
        } else {
            self.ini
                .problem(value, "is neither yes nor no", "write true or false");
            None
        }
    }

    /// Digits. What is past counting is the largest number there is.
    pub fn whole(&mut self, word: Piece<'a>, hint: &str) -> Option<usize> {
        let digits = word.text.bytes().all(|b| b.is_ascii_digit());
        if !digits || word.text.is_empty() {
            self.ini.problem(word, "is no whole number", hint);
            return None;
        }
        Some(word.text.parse().unwrap_or(usize::MAX))
    }
}
