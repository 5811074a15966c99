//! The sheets of a list: what is kept of each beside its picture, and all of them in one document.

use super::super::exit::Failure;
use super::card::{Day, Record, print_of};
use super::finish::{DayTold, columns, looks, minutes, standing, taken};
use super::folder::{Folder, unreadable};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::collections::HashMap;
use std::fs;
use std::io::Write;
use swatchlight::report::sheet::{Book, DayPage, DayStop, Paper, Sheet};
use swatchlight::report::{Overwrite, shrink, write_whole};
use swatchlight::setup::list::Arrangement;

/// Raised when what is kept changes its form.
const FORM: u32 = 1;
/// Longer side of a picture in the document: 250 to the inch of what a leaf takes of it.
const MOST_PIXELS: u32 = 1800;
/// Larger than any sheet that is kept.
const MOST_BYTES: u64 = 64 << 20;

/// A sheet without its picture.
#[derive(Debug, Serialize, Deserialize)]
pub struct KeptSheet {
    form: u32,
    /// Hash of all that the picture depends on.
    identity: String,
    /// Whether the cloth was to be looked at.
    cloth: bool,
    sheet: Sheet,
}

impl KeptSheet {
    pub fn new(identity: String, cloth: bool, sheet: Sheet) -> Self {
        Self {
            form: FORM,
            identity,
            cloth,
            sheet,
        }
    }

    /// Keeps it.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn keep(&self, folder: &Folder, stem: &str) -> Result<(), Failure> {
        let text = serde_json::to_vec(self)
            .map_err(|e| Failure::working(format!("cannot keep a sheet: {e}")))?;
        write_whole(&folder.sheet(stem), Overwrite::Force, |out| {
            out.write_all(&text)
        })?;
        Ok(())
    }

    /// The one of a frame that is there, if it is of this form and of that picture.
    pub fn of(folder: &Folder, stem: &str, identity: &str) -> Option<Self> {
        let path = folder.sheet(stem);
        if fs::metadata(&path).ok()?.len() > MOST_BYTES {
            return None;
        }
        let kept: Self = serde_json::from_slice(&fs::read(path).ok()?).ok()?;
        (kept.form == FORM && kept.identity == identity).then_some(kept)
    }

    /// Whether it shows the cloth, where that was to be looked at.
    pub fn has_cloth(&self) -> bool {
        self.cloth
    }
}

/// What the document came to.
#[derive(Debug, Serialize)]
pub struct SheetsTold {
    file: &'static str,
    sheets: usize,
    /// Frames that no sheet was kept of.
    lacking: Vec<String>,
    /// Hash of what it was made from, and of the file.
    made_from: String,
    print: String,
}

impl SheetsTold {
    /// In a line or two.
    pub fn text(&self) -> String {
        let sheets = super::super::words::count(self.sheets as u32, "sheet");
        let lacking = match self.lacking.as_slice() {
            [] => String::new(),
            names => format!("No sheet was kept of: {}\n", names.join("; ")),
        };
        format!("{}: {sheets}\n{lacking}", self.file)
    }
}

/// A sheet to be set: the places in the order of the day, of frames with one setup.
struct Shot {
    places: Vec<usize>,
}

/// Sets the day and a sheet for each setup in the order of the day, one after the other, so that no more
/// than one is held with its picture. A document of the same things that is there stays.
///
/// # Errors
/// When a picture cannot be read or the document not be written.
pub fn print_sheets(
    folder: &Folder,
    day: &Day,
    records: &[Record],
    (order, together): (&DayTold, &[String]),
    paper: Paper,
) -> Result<SheetsTold, Failure> {
    let set: Vec<Arrangement> = records.iter().map(|r| r.card.arrangement.clone()).collect();
    let page = day_page(day, order, &set, together);
    let shots = shots(order, records);
    let made_from = made_from(folder, &page, records, paper);
    let mut told = SheetsTold {
        file: "sheets.pdf",
        sheets: 0,
        lacking: Vec::new(),
        made_from,
        print: String::new(),
    };
    let record_of = |place: usize| &records[order.order[place].number - 1];
    let kept_of = |shot: &Shot| {
        let mut cards = shot.places.iter().map(|p| &record_of(*p).card);
        cards.find_map(|card| KeptSheet::of(folder, &card.stem, &card.identity))
    };
    let there = print_there(folder, &told.made_from);
    let mut book = Book::new(paper)?;
    if there.is_none() {
        book.day(&page)?;
    }
    for shot in &shots {
        let Some(KeptSheet { mut sheet, .. }) = kept_of(shot) else {
            let names = shot.places.iter().map(|p| record_of(*p).card.name.clone());
            told.lacking.extend(names);
            continue;
        };
        told.sheets += 1;
        if there.is_some() {
            continue;
        }
        let names: Vec<&str> = shot
            .places
            .iter()
            .map(|p| record_of(*p).card.name.as_str())
            .collect();
        sheet.title = names.join(" / ");
        sheet.date = turn(shot, order);
        let first = shot.places[0];
        if first > 0 {
            let moves = order.order[first].moves.iter();
            sheet.changes = moves.map(|m| m.what.clone()).collect();
        }
        let (pixels, codes) = picture(folder, record_of(first))?;
        sheet.picture(pixels, codes);
        book.sheet(&sheet)?;
    }
    told.print = match there {
        Some(print) => print,
        None => {
            let bytes = book.finish()?;
            write_whole(&folder.sheets(), Overwrite::Force, |out| {
                out.write_all(&bytes)
            })?;
            print_of(&bytes)
        }
    };
    Ok(told)
}

/// The hash of the document that is there, if it was made from the same and nobody has touched it.
fn print_there(folder: &Folder, made_from: &str) -> Option<String> {
    let report: serde_json::Value =
        serde_json::from_slice(&fs::read(folder.report()).ok()?).ok()?;
    let known = |name: &str| report.pointer(name)?.as_str();
    let print = print_of(&fs::read(folder.sheets()).ok()?);
    let same = known("/sheets/made_from") == Some(made_from);
    (same && known("/sheets/print") == Some(&print)).then_some(print)
}

/// All that the document depends on.
fn made_from(folder: &Folder, page: &DayPage, records: &[Record], paper: Paper) -> String {
    let mut hash = Sha256::new();
    hash.update(env!("CARGO_PKG_VERSION"));
    hash.update(format!("{FORM} {paper:?} {page:?}"));
    for record in records {
        let sheet = fs::read(folder.sheet(&record.card.stem)).unwrap_or_default();
        for part in [&record.card.identity, &record.print, &print_of(&sheet)] {
            hash.update(part);
        }
    }
    hash.finalize().iter().map(|b| format!("{b:02x}")).collect()
}

/// In the order of the day; frames of one setup share the first one's.
fn shots(order: &DayTold, records: &[Record]) -> Vec<Shot> {
    let mut shots: Vec<Shot> = Vec::new();
    let mut known: HashMap<String, usize> = HashMap::new();
    for (place, next) in order.order.iter().enumerate() {
        let setup = untitled(&records[next.number - 1].card.setup_toml);
        let at = *known.entry(setup).or_insert(shots.len());
        match shots.get_mut(at) {
            Some(shot) => shot.places.push(place),
            None => shots.push(Shot {
                places: vec![place],
            }),
        }
    }
    shots
}

/// A setup's text without what it is called, which is all that two frames of one setup differ in.
fn untitled(setup_toml: &str) -> String {
    match setup_toml.parse::<toml::Table>() {
        Ok(mut table) => {
            table.remove("title");
            table.to_string()
        }
        Err(_) => setup_toml.to_owned(),
    }
}

/// "shot 2, frame 7".
fn turn(shot: &Shot, order: &DayTold) -> String {
    let each = shot.places.iter();
    let each = each.map(|p| format!("shot {}, frame {}", p + 1, order.order[*p].number));
    each.collect::<Vec<_>>().join("; ")
}

fn day_page(day: &Day, order: &DayTold, set: &[Arrangement], together: &[String]) -> DayPage {
    let columns = columns(day);
    let numbers = |look: &str, column: &String| -> Vec<usize> {
        taken(day, look, column).iter().map(|i| i + 1).collect()
    };
    DayPage {
        title: day.title.clone(),
        about: super::super::words::count(day.frames.len() as u32, "frame"),
        notes: day.notes.clone(),
        looks: looks(day)
            .into_iter()
            .map(|look| {
                let frames = columns.iter().map(|c| numbers(&look, c)).collect();
                (look, frames)
            })
            .collect(),
        columns,
        order_about: order.about(),
        order: order
            .order
            .iter()
            .enumerate()
            .map(|(k, next)| DayStop {
                name: next.frame.clone(),
                frame: next.number,
                takes: match next.minutes {
                    m if m > 0.0 => minutes(m),
                    _ => String::new(),
                },
                changes: match k {
                    0 => set.get(next.number - 1).map(standing).unwrap_or_default(),
                    _ => next.moves.iter().map(|m| m.what.clone()).collect(),
                },
            })
            .collect(),
        together: together.to_vec(),
    }
}

/// A frame's picture, no larger than it is printed.
fn picture(folder: &Folder, record: &Record) -> Result<([u32; 2], Vec<[u8; 3]>), Failure> {
    let path = folder.picture(&record.card.stem);
    let unusable =
        |e: image::ImageError| Failure::working(format!("cannot read {}: {e}", path.display()));
    let picture = image::ImageReader::open(&path)
        .map_err(|e| unreadable(&path, &e))?
        .decode()
        .map_err(unusable)?
        .into_rgb8();
    let sides = [picture.width(), picture.height()];
    let rgb: Vec<[u8; 3]> = picture.pixels().map(|p| p.0).collect();
    let scale = f64::from(MOST_PIXELS) / f64::from(sides[0].max(sides[1]));
    let to = sides.map(|side| (f64::from(side) * scale).round() as u32);
    Ok(match scale < 1.0 {
        true => shrink(sides, &rgb, to),
        false => (sides, rgb),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sheet_of_another_picture_or_form_is_none() {
        let place = tempfile::tempdir().expect("a folder");
        let folder = Folder::at(place.path().to_path_buf());
        folder.make().expect("made");
        let path = folder.sheet("001-a");
        assert!(KeptSheet::of(&folder, "001-a", "x").is_none());
        for text in ["", "{}", "[1]", r#"{"form":1,"identity":"x","cloth":true}"#] {
            fs::write(&path, text).expect("written");
            assert!(KeptSheet::of(&folder, "001-a", "x").is_none(), "{text}");
        }
    }
}
