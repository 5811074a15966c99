//! Writing WIF 1.1.

use std::fmt::{Display, Write};

use super::ini::Part;
use super::{Draft, Lifts, Lists, Shed, Threads};

/// Millimetres in the unit that is written.
const CENTIMETRE_MM: f64 = 10.0;

/// The text of a WIF 1.1 with all that the draft holds. Colours are written over the narrowest of
/// the ranges 0 to 255, 999 and 65535 that holds them exactly, or else rounded in the last.
pub fn write_wif(draft: &Draft) -> String {
    let mut body = Body::default();
    if !draft.title.is_empty() {
        body.open(Part::Text);
        let clean = |c: char| if c.is_control() { ' ' } else { c };
        let title: String = draft.title.chars().map(clean).collect();
        body.entry("Title", title);
    }
    body.open(Part::Weaving);
    body.entry("Shafts", draft.shafts);
    body.entry(
        "Treadles",
        match &draft.lifts {
            Lifts::Treadles { tie_up, .. } => tie_up.len(),
            Lifts::Plan(_) => 0,
        },
    );
    body.entry("Rising Shed", draft.shed == Shed::Rising);
    body.system(Part::Warp, &draft.warp, draft.ends());
    body.system(Part::Weft, &draft.weft, draft.picks());
    body.palette(&draft.palette);
    body.lists(Part::Threading, &draft.threading);
    match &draft.lifts {
        Lifts::Treadles { tie_up, treadling } => {
            body.lists(Part::TieUp, tie_up);
            body.lists(Part::Treadling, treadling);
        }
        Lifts::Plan(plan) => body.lists(Part::LiftPlan, plan),
    }
    for (threads, colours, spacing, thickness) in [
        (
            &draft.warp,
            Part::WarpColors,
            Part::WarpSpacing,
            Part::WarpThickness,
        ),
        (
            &draft.weft,
            Part::WeftColors,
            Part::WeftSpacing,
            Part::WeftThickness,
        ),
    ] {
        let from_one = threads.colours.iter().map(|colour| u32::from(*colour) + 1);
        body.numbered(colours, from_one);
        for (part, sizes_mm) in [
            (spacing, &threads.spacings_mm),
            (thickness, &threads.thicknesses_mm),
        ] {
            body.numbered(part, sizes_mm.iter().map(|mm| mm / CENTIMETRE_MM));
        }
    }
    body.with_header()
}

/// The sections after the contents.
#[derive(Default)]
struct Body {
    parts: Vec<Part>,
    text: String,
}

impl Body {
    fn open(&mut self, part: Part) {
        self.parts.push(part);
        self.line(format_args!("\n[{}]", part.name()));
    }

    fn entry(&mut self, key: impl Display, value: impl Display) {
        self.line(format_args!("{key}={value}"));
    }

    fn line(&mut self, line: impl Display) {
        // A string takes all that is written into it.
        let _ = writeln!(self.text, "{line}");
    }

    fn system(&mut self, part: Part, threads: &Threads, count: usize) {
        self.open(part);
        self.entry("Threads", count);
        let sized = threads.spacing_mm.is_some()
            || threads.thickness_mm.is_some()
            || !threads.spacings_mm.is_empty()
            || !threads.thicknesses_mm.is_empty();
        if sized {
            self.entry("Units", "Centimeters");
        }
        for (key, mm) in [
            ("Spacing", threads.spacing_mm),
            ("Thickness", threads.thickness_mm),
        ] {
            if let Some(mm) = mm {
                self.entry(key, mm / CENTIMETRE_MM);
            }
        }
    }

    fn palette(&mut self, palette: &[[f32; 3]]) {
        if palette.is_empty() {
            return;
        }
        let number = |value: f32, most: u16| (f64::from(value) * f64::from(most)).round();
        let exact = |most: u16| {
            let values = palette.iter().flatten();
            values
                .copied()
                .all(|v| (number(v, most) / f64::from(most)) as f32 == v)
        };
        let most = [255, 999].into_iter().find(|most| exact(*most));
        let most = most.unwrap_or(u16::MAX);
        self.open(Part::ColorPalette);
        self.entry("Entries", palette.len());
        self.entry("Range", format_args!("0,{most}"));
        self.numbered(
            Part::ColorTable,
            palette.iter().map(|colour| {
                let [r, g, b] = colour.map(|value| number(value.clamp(0.0, 1.0), most));
                format!("{r},{g},{b}")
            }),
        );
    }

    fn lists(&mut self, part: Part, lists: &Lists) {
        let row = |row: &[u16]| match row {
            [] => "0".to_owned(),
            items => {
                let from_one: Vec<String> = items
                    .iter()
                    .map(|item| (u32::from(*item) + 1).to_string())
                    .collect();
                from_one.join(",")
            }
        };
        self.numbered(part, lists.rows().map(row));
    }

    /// A section of numbered lines; none where there is nothing.
    fn numbered<T: Display>(&mut self, part: Part, values: impl Iterator<Item = T>) {
        let mut values = values.peekable();
        if values.peek().is_none() {
            return;
        }
        self.open(part);
        for (number, value) in values.enumerate() {
            self.entry(number + 1, value);
        }
    }

    fn with_header(self) -> String {
        // Version, date and developers are constants of the format.
        let mut text = "[WIF]\nVersion=1.1\nDate=April 20, 1997\nDevelopers=wif@mhsoft.com\n\
                        Source Program=Swatchlight\n\n[CONTENTS]\n"
            .to_owned();
        for part in &self.parts {
            let _ = writeln!(text, "{}=true", part.name());
        }
        text.push_str(&self.text);
        text
    }
}
