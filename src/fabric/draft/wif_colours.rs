//! Colours and sizes of the threads in a WIF.

use super::Threads;
use super::ini::{Part, Piece};
use super::wif_read::{MOST_NUMBERS, Reader};

/// Millimetres in each unit of the specification, as it is spelt there first. A decipoint is a
/// tenth of a point of 1/72 inch (from memory).
pub(super) const UNITS: [(&str, f64); 4] = [
    ("Centimeters", 10.0),
    ("Centimetres", 10.0),
    ("Inches", 25.4),
    ("Decipoints", 25.4 / 720.0),
];

/// No thread is wider or farther from the next, mm.
const MOST_MM: f64 = 1e6;

impl<'a> Reader<'a> {
    /// The colour table, over the palette's range.
    pub fn palette(&mut self) -> Vec<[f32; 3]> {
        if !self.ini.has(Part::ColorTable) {
            return Vec::new();
        }
        let (from, to) = self.colour_range();
        let hint = format!("write red, green and blue, each from {from} to {to}");
        let mut palette: Vec<[f32; 3]> = Vec::new();
        let count = self.numbered(Part::ColorTable, "colour", MOST_NUMBERS, |reader, at, e| {
            let value = e.value.without_comment();
            let mut colour = [0.0; 3];
            let mut words = value.words();
            for channel in &mut colour {
                let Some(word) = words.next() else {
                    reader
                        .ini
                        .problem(e.value, "has fewer than three numbers", &hint);
                    return;
                };
                let Some(number) = reader.whole(word, &hint) else {
                    return;
                };
                if number < from || number > to {
                    reader
                        .ini
                        .problem(word, "is outside the palette's range", &hint);
                    return;
                }
                *channel = ((number - from) as f64 / (to - from) as f64) as f32;
            }
            if words.next().is_some() {
                let what = "has more than three numbers";
                reader.ini.problem(e.value, what, &hint);
            }
            if palette.len() <= at {
                palette.resize(at + 1, [0.0; 3]);
            }
            palette[at] = colour;
        });
        palette.resize(count, [0.0; 3]);
        if let Some(entries) = self.count(Part::ColorPalette, "Entries", usize::MAX)
            && entries != count
        {
            let message = format!("Entries={entries}, but [COLOR TABLE] goes to {count}");
            self.ini.note_part(Part::ColorPalette, message);
        }
        palette
    }

    /// From black to white: 0 to 255 where it is not given (common practice).
    fn colour_range(&mut self) -> (usize, usize) {
        const USUAL: (usize, usize) = (0, 255);
        const HINT: &str = "write the lowest and the highest value, such as Range=0,255";
        let Some(entry) = self.ini.entry(Part::ColorPalette, "Range") else {
            let message = "no range of colours is given; 0 to 255 is taken".to_owned();
            self.ini.note_part(Part::ColorTable, message);
            return USUAL;
        };
        let value = entry.value.without_comment();
        let mut words = value.words();
        let (Some(from), Some(to), None) = (words.next(), words.next(), words.next()) else {
            self.ini.problem(entry.value, "is not two numbers", HINT);
            return USUAL;
        };
        let (Some(from), Some(to)) = (self.whole(from, HINT), self.whole(to, HINT)) else {
            return USUAL;
        };
        if from >= to {
            self.ini.problem(entry.value, "does not rise", HINT);
            return USUAL;
        }
        (from, to)
    }

    /// Colours and sizes of one system (`WARP` or `WEFT`) with so many threads.
    pub fn threads(&mut self, part: Part, count: usize, colours: usize) -> Threads {
        let (own_colours, own_spacing, own_thickness) = match part {
            Part::Warp => (Part::WarpColors, Part::WarpSpacing, Part::WarpThickness),
            _ => (Part::WeftColors, Part::WeftSpacing, Part::WeftThickness),
        };
        let mut threads = Threads {
            colours: self.thread_colours(part, own_colours, count, colours),
            ..Threads::default()
        };
        let sized = [own_spacing, own_thickness].map(|own| self.ini.has(own));
        let keys = ["Spacing", "Thickness"].map(|key| self.ini.entry(part, key));
        if sized == [false; 2] && keys.iter().all(Option::is_none) {
            return threads;
        }
        let Some(unit_mm) = self.unit_mm(part) else {
            return threads;
        };
        let [spacing_mm, thickness_mm] = keys.map(|entry| {
            let value = entry?.value.without_comment();
            self.size_mm(value, unit_mm).filter(|mm| *mm > 0.0)
        });
        threads.spacing_mm = spacing_mm;
        threads.thickness_mm = thickness_mm;
        threads.spacings_mm = self.sizes_mm(own_spacing, count, unit_mm, spacing_mm);
        threads.thicknesses_mm = self.sizes_mm(own_thickness, count, unit_mm, thickness_mm);
        threads
    }

    /// Each thread's place in the palette: its own, or else that of the system.
    fn thread_colours(&mut self, part: Part, own: Part, count: usize, colours: usize) -> Vec<u16> {
        const HINT: &str = "write a colour's number of [COLOR TABLE]";
        let of_all = self.ini.entry(part, "Color");
        if colours == 0 {
            if of_all.is_some() || self.ini.has(own) {
                let message = "there is no [COLOR TABLE]; colours are left out".to_owned();
                self.ini.note_part(part, message);
            }
            return Vec::new();
        }
        // A colour of all threads may be followed by its own red, green and blue.
        let of_all = of_all.and_then(|entry| entry.value.without_comment().words().next());
        let index = |reader: &mut Self, word: Piece<'a>| {
            let number = reader.whole(word, HINT)?;
            if number == 0 || number > colours {
                let hint = format!("write a colour from 1 to {colours}");
                let what = "is no colour of [COLOR TABLE]";
                reader.ini.problem(word, what, &hint);
                return None;
            }
            Some((number - 1) as u16)
        };
        let usual = of_all.and_then(|word| index(self, word));
        if usual.is_none() && !self.ini.has(own) {
            return Vec::new();
        }
        let mut list = vec![usual.unwrap_or(0); count];
        self.numbered(own, "thread", usize::MAX, |reader, at, entry| {
            let value = entry.value.without_comment();
            let Some(colour) = index(reader, value) else {
                return;
            };
            match list.get_mut(at) {
                Some(place) => *place = colour,
                None => reader.ini.note(entry.key, "is past the last thread"),
            }
        });
        list
    }

    fn unit_mm(&mut self, part: Part) -> Option<f64> {
        const HINT: &str = "write Units=Centimeters, Inches or Decipoints";
        let Some(entry) = self.ini.entry(part, "Units") else {
            let message = format!("[{}] has no Units; its sizes are left out", part.name());
            self.ini.note_part(part, message);
            return None;
        };
        let value = entry.value.without_comment();
        let unit = UNITS
            .iter()
            .find(|(name, _)| name.eq_ignore_ascii_case(value.text));
        if unit.is_none() {
            self.ini.problem(value, "is no unit of the format", HINT);
        }
        unit.map(|(_, mm)| *mm)
    }

    /// Sizes of the threads' own; empty where there are none.
    fn sizes_mm(&mut self, own: Part, count: usize, unit_mm: f64, usual: Option<f64>) -> Vec<f64> {
        if !self.ini.has(own) {
            return Vec::new();
        }
        // Zero marks a thread that has none yet: no size is zero.
        let mut list = vec![usual.unwrap_or(0.0); count];
        self.numbered(own, "thread", usize::MAX, |reader, at, entry| {
            let size = reader.size_mm(entry.value.without_comment(), unit_mm);
            match (list.get_mut(at), size) {
                (Some(place), Some(mm)) if mm > 0.0 => *place = mm,
                (None, Some(_)) => reader.ini.note(entry.key, "is past the last thread"),
                _ => {}
            }
        });
        if list.contains(&0.0) {
            let message = format!(
                "[{}] leaves threads without a size; it is left out",
                own.name()
            );
            self.ini.note_part(own, message);
            return Vec::new();
        }
        list
    }

    /// A size of at least 0.
    fn size_mm(&mut self, value: Piece<'a>, unit_mm: f64) -> Option<f64> {
        const HINT: &str = "write a number with a point, such as 0.04";
        // Rust also reads "inf", "nan" and "infinity".
        let numeric = |b: u8| b.is_ascii_digit() || b"+-.eE".contains(&b);
        let number = match value.text.bytes().all(numeric) {
            true => value.text.parse::<f64>().ok(),
            false => None,
        };
        match number.map(|n| n * unit_mm) {
            Some(mm) if (0.0..=MOST_MM).contains(&mm) => Some(mm),
            Some(_) => {
                self.ini.problem(value, "is no thread's size", HINT);
                None
            }
            None => {
                self.ini.problem(value, "is no number", HINT);
                None
            }
        }
    }
}
