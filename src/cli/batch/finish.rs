//! What is told of a whole list when all its pictures are there: contact sheet, day sheet, report.

use super::super::exit::Failure;
use super::super::table::Table;
use super::super::words;
use super::card::{Day, Line, Record, write_json};
use super::folder::{Folder, unreadable};
use super::sheets::{SheetsTold, print_sheets};
use serde::Serialize;
use std::io::Write;
use swatchlight::measure::consistency::{Apart, compare};
use swatchlight::report::contact_sheet::{ContactSheet, Look, Thumbnail, thumbnail};
use swatchlight::report::drawing::{DrawingFormat, write_drawing};
use swatchlight::report::sheet::Paper;
use swatchlight::report::{Overwrite, WholeFile, write_whole};
use swatchlight::setup::list::moves::{minutes_between, moves};
use swatchlight::setup::list::order::{cost, least_moves};
use swatchlight::setup::list::{Arrangement, Move};

/// Widest that a coverage table is.
const WIDEST: usize = 100;

/// What a list came to.
#[derive(Debug, Serialize)]
pub struct Told {
    list: String,
    title: String,
    frames: Vec<FrameTold>,
    coverage: Vec<Coverage>,
    tolerance_stops: f64,
    consistency: Vec<ApartTold>,
    day: DayTold,
    contact_sheet: Option<String>,
    /// None where they were left out.
    sheets: Option<SheetsTold>,
}

#[derive(Debug, Serialize)]
struct FrameTold {
    number: usize,
    name: String,
    look: String,
    framing: String,
    lighting: String,
    picture: Option<String>,
    samples_per_pixel: u32,
    relative_error: Option<f64>,
    executor: String,
    seconds: f64,
    identity: String,
    background_stops: Option<f64>,
    skin_stops: Option<f64>,
    warnings: Vec<String>,
    readings: serde_json::Value,
}

#[derive(Debug, Serialize)]
struct Coverage {
    look: String,
    /// Columns that it is taken in, and columns that other looks have and it has not.
    taken: Vec<String>,
    lacking: Vec<String>,
}

#[derive(Debug, Serialize)]
struct ApartTold {
    #[serde(flatten)]
    apart: Apart,
    apart_stops: f64,
}

/// The proposed order of the day.
#[derive(Debug, Serialize)]
pub struct DayTold {
    /// "exact", "improved" or "as written".
    how: &'static str,
    minutes: f64,
    minutes_as_written: f64,
    pub(super) order: Vec<Next>,
}

/// A frame in its turn.
#[derive(Debug, Serialize)]
pub(super) struct Next {
    pub(super) number: usize,
    pub(super) frame: String,
    pub(super) minutes: f64,
    pub(super) moves: Vec<Move>,
}

/// The order of the day for these arrangements, in the order of the list.
pub fn order_of_day(day: &Day, set: &[Arrangement]) -> DayTold {
    let n = set.len();
    let mut between = vec![vec![0.0; n]; n];
    let written: Vec<usize> = (0..n).collect();
    let (mut places, mut how) = (written.clone(), "as written");
    if day.least_moves && n <= swatchlight::setup::list::order::MOST_ORDERED {
        for a in 0..n {
            for b in a + 1..n {
                let minutes = minutes_between(&set[a], &set[b], &day.minutes);
                between[a][b] = minutes;
                between[b][a] = minutes;
            }
        }
        let order = least_moves(&between);
        how = if order.exact { "exact" } else { "improved" };
        places = order.places;
    } else {
        for a in 1..n {
            between[a - 1][a] = minutes_between(&set[a - 1], &set[a], &day.minutes);
        }
    }
    let step = |k: usize| match k.checked_sub(1) {
        None => Vec::new(),
        Some(before) => moves(&set[places[before]], &set[places[k]], &day.minutes),
    };
    DayTold {
        how,
        minutes: cost(&places, &between),
        minutes_as_written: cost(&written, &between),
        order: (0..n)
            .map(|k| {
                let moves = step(k);
                Next {
                    number: places[k] + 1,
                    frame: day.frames[places[k]].name.clone(),
                    minutes: moves.iter().map(|m| m.minutes).sum(),
                    moves,
                }
            })
            .collect(),
    }
}

impl DayTold {
    /// How it was found, and how long its changes take.
    pub fn about(&self) -> String {
        match self.how {
            "as written" => format!(
                "Order of the day, as written: about {} of changes",
                minutes(self.minutes)
            ),
            how => format!(
                "Order of the day with least moves ({how}): about {} of changes, {} as written",
                minutes(self.minutes),
                minutes(self.minutes_as_written)
            ),
        }
    }

    /// As a list that an assistant can work through.
    pub fn text(&self, set: &[Arrangement]) -> String {
        let mut out = format!("{}.\n", self.about());
        for (i, next) in self.order.iter().enumerate() {
            let frame = format!("{:>3}. {} (frame {})", i + 1, next.frame, next.number);
            out += &match next.minutes {
                m if m > 0.0 => format!("{frame}, {}\n", minutes(m)),
                _ => format!("{frame}\n"),
            };
            if i == 0 {
                for line in set.get(next.number - 1).map(standing).unwrap_or_default() {
                    out += &format!("     [ ] {line}\n");
                }
            }
            for step in &next.moves {
                out += &format!("     [ ] {}\n", step.what);
            }
        }
        out
    }
}

/// What is to be built for the first frame.
pub(super) fn standing(a: &Arrangement) -> Vec<String> {
    let mut lines = Vec::new();
    if !a.backdrop.is_empty() {
        lines.push(format!("Backdrop: {}", a.backdrop));
    }
    for light in &a.lights {
        lines.push(format!(
            "{}: {}, at {}; {}",
            light.name, light.what, light.taped, light.setting
        ));
    }
    for board in &a.boards {
        lines.push(format!(
            "{}: {}, at {}",
            board.name, board.what, board.taped
        ));
    }
    if !a.swatch.is_empty() {
        lines.push(format!("Swatch: {}", a.swatch));
    }
    if let Some(f) = &a.figure {
        lines.push(format!(
            "{} on the mark, wearing {}; {}",
            f.model, f.garments, f.pose
        ));
    }
    lines.push(format!("Camera: {}", a.camera.taped));
    lines
}

pub(super) fn minutes(minutes: f64) -> String {
    match minutes.round() {
        m if m < 60.0 => format!("{} min", words::significant(minutes, 2)),
        m => format!("{} h {} min", (m / 60.0).floor(), m % 60.0),
    }
}

/// A frame's column: framing, and lighting where there are several.
fn column(frame: &Line) -> String {
    match (frame.framing.as_str(), frame.lighting.as_str()) {
        ("", "") if frame.single => "besides".into(),
        ("", "") => "as set up".into(),
        (f, "") => f.into(),
        ("", l) => l.into(),
        (f, l) => format!("{f}, {l}"),
    }
}

pub(super) fn columns(day: &Day) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    for frame in day.frames.iter().filter(|f| !f.look.is_empty()) {
        let column = column(frame);
        if !found.contains(&column) {
            found.push(column);
        }
    }
    found
}

pub(super) fn looks(day: &Day) -> Vec<String> {
    let mut found: Vec<String> = Vec::new();
    for frame in day.frames.iter().filter(|f| !f.look.is_empty()) {
        if !found.contains(&frame.look) {
            found.push(frame.look.clone());
        }
    }
    found
}

/// The frames of a look in a column.
pub(super) fn taken(day: &Day, look: &str, wanted: &str) -> Vec<usize> {
    (0..day.frames.len())
        .filter(|&i| {
            let f = &day.frames[i];
            f.look == look && column(f) == wanted
        })
        .collect()
}

/// Which look has which framing: its frames' numbers.
pub fn coverage_text(day: &Day) -> String {
    let columns = columns(day);
    let looks = looks(day);
    if looks.is_empty() {
        return String::new();
    }
    let mut table = Table::new([vec!["look".to_owned()], columns.clone()].concat());
    for look in &looks {
        let cells = columns
            .iter()
            .map(|c| match taken(day, look, c).as_slice() {
                [] => "-".to_owned(),
                frames => frames
                    .iter()
                    .map(|i| (i + 1).to_string())
                    .collect::<Vec<_>>()
                    .join(" "),
            });
        table.row([super::super::table::name(look)].into_iter().chain(cells));
    }
    let singles = day.frames.iter().filter(|f| f.look.is_empty()).count();
    let more = match singles {
        0 => String::new(),
        n => format!("and {} without a look\n", words::count(n as u32, "frame")),
    };
    format!("{}{more}", table.render(WIDEST))
}

/// Writes the contact sheet, the day sheet, the setups' sheets on this paper if on any, and the report;
/// says in text what they hold.
///
/// # Errors
/// When they cannot be written, or a picture cannot be read.
pub fn finish(
    folder: &Folder,
    day: &Day,
    records: &[Record],
    paper: Option<Paper>,
) -> Result<(String, Told), Failure> {
    let set: Vec<Arrangement> = records.iter().map(|r| r.card.arrangement.clone()).collect();
    let compared: Vec<_> = records.iter().map(Record::compared).collect();
    let apart = compare(&compared, day.tolerance_stops);
    let order = order_of_day(day, &set);

    let sheet = contact_sheet(folder, day, records, &apart)?.draw();
    let file = WholeFile::open(&folder.contact_sheet(), Overwrite::Force)?;
    write_drawing(file, DrawingFormat::Png, &sheet)?;

    let text = [
        coverage_text(day),
        consistency_text(&apart, day.tolerance_stops),
        order.text(&set),
    ]
    .into_iter()
    .filter(|part| !part.is_empty())
    .collect::<Vec<_>>()
    .join("\n");
    let sheet_text = match day.notes.trim() {
        "" => format!("{}\n\n{text}", day.title),
        notes => format!("{}\n{notes}\n\n{text}", day.title),
    };
    write_whole(&folder.day_text(), Overwrite::Force, |out| {
        out.write_all(sheet_text.as_bytes())
    })?;

    let together: Vec<String> = consistency_lines(&apart, day.tolerance_stops);
    let print = |paper| print_sheets(folder, day, records, (&order, &together), paper);
    let sheets = paper.map(print).transpose()?;
    let more = sheets.as_ref().map(SheetsTold::text).unwrap_or_default();
    let told = told(folder, day, records, (apart, order), sheets);
    write_json(&folder.report(), &told)?;
    Ok((format!("{text}{more}"), told))
}

fn told(
    folder: &Folder,
    day: &Day,
    records: &[Record],
    (apart, order): (Vec<Apart>, DayTold),
    sheets: Option<SheetsTold>,
) -> Told {
    let columns = columns(day);
    Told {
        list: folder.shown(),
        title: day.title.clone(),
        frames: records
            .iter()
            .enumerate()
            .map(|(i, r)| FrameTold {
                number: i + 1,
                name: r.card.name.clone(),
                look: r.card.look.clone(),
                framing: r.card.framing.clone(),
                lighting: r.card.lighting.clone(),
                picture: Some(format!("pictures/{}.png", r.card.stem)),
                samples_per_pixel: r.samples,
                relative_error: r.relative_error,
                executor: r.executor.clone(),
                seconds: r.seconds,
                identity: r.card.identity.clone(),
                background_stops: r.tones.background_stops,
                skin_stops: r.tones.skin_stops,
                warnings: r.card.warnings.clone(),
                readings: r.readings(),
            })
            .collect(),
        coverage: looks(day)
            .into_iter()
            .map(|look| {
                let has = |c: &&String| !taken(day, &look, c).is_empty();
                Coverage {
                    taken: columns.iter().filter(has).cloned().collect(),
                    lacking: columns.iter().filter(|c| !has(c)).cloned().collect(),
                    look,
                }
            })
            .collect(),
        tolerance_stops: day.tolerance_stops,
        consistency: apart
            .into_iter()
            .map(|apart| ApartTold {
                apart_stops: apart.apart_stops(),
                apart,
            })
            .collect(),
        day: order,
        contact_sheet: Some("contact.png".into()),
        sheets,
    }
}

fn apart_line(apart: &Apart) -> String {
    let among = match apart.among.as_str() {
        "" => String::new(),
        among => format!(" ({among})"),
    };
    let what = format!("{}{among}", apart.what);
    if apart.pictures < 2 {
        return format!("{what}: in one picture");
    }
    let by = format!("{:.2} stop apart", apart.apart_stops());
    let over = format!("{what}: {by} over {} pictures", apart.pictures);
    match apart.within {
        true => over,
        false => format!(
            "{over}, too far: from \"{}\" to \"{}\"",
            apart.between[0], apart.between[1]
        ),
    }
}

/// What was compared, under what it was held to; empty where nothing was.
fn consistency_lines(apart: &[Apart], tolerance_stops: f64) -> Vec<String> {
    if apart.is_empty() {
        return Vec::new();
    }
    let tolerated = format!("Over the set, {tolerance_stops:.2} stop tolerated:");
    [tolerated]
        .into_iter()
        .chain(apart.iter().map(apart_line))
        .collect()
}

fn consistency_text(apart: &[Apart], tolerance_stops: f64) -> String {
    let lines = consistency_lines(apart, tolerance_stops);
    let line = |(k, line): (usize, &String)| match k {
        0 => format!("{line}\n"),
        _ => format!("  {line}\n"),
    };
    lines.iter().enumerate().map(line).collect()
}

/// A tenth of a stop, with its sign where it is any.
fn signed(stops: f64) -> String {
    match (10.0 * stops).round() {
        0.0 => "0".into(),
        tenths => format!("{:+.1}", tenths / 10.0).replace('-', "\u{2212}"),
    }
}

fn contact_sheet(
    folder: &Folder,
    day: &Day,
    records: &[Record],
    apart: &[Apart],
) -> Result<ContactSheet, Failure> {
    let columns = columns(day);
    let minded = |name: &str| {
        let far = apart.iter().filter(|a| !a.within);
        far.flat_map(|a| &a.between).any(|n| n == name)
    };
    let small = |i: usize, label: String| -> Result<Thumbnail, Failure> {
        let record = &records[i];
        let path = folder.picture(&record.card.stem);
        let unusable =
            |e: image::ImageError| Failure::working(format!("cannot read {}: {e}", path.display()));
        let picture = image::ImageReader::open(&path)
            .map_err(|e| unreadable(&path, &e))?
            .decode()
            .map_err(unusable)?
            .to_rgb8();
        let pixels = [picture.width(), picture.height()];
        let rgb: Vec<[u8; 3]> = picture.pixels().map(|p| p.0).collect();
        let stops = |what: &str, s: Option<f64>| s.map(|s| format!("{what} {}", signed(s)));
        let tones = &record.tones;
        Ok(Thumbnail {
            number: i + 1,
            name: label,
            readings: [
                Some(record.card.reading.clone()),
                stops("skin", tones.skin_stops),
                stops("background", tones.background_stops),
            ]
            .into_iter()
            .flatten()
            .collect(),
            mind: minded(&record.card.name),
            pixels,
            raster: thumbnail(pixels, &rgb),
        })
    };
    let mut rows = Vec::new();
    for name in looks(day) {
        let mut look = Look {
            pictures: Vec::new(),
            about: String::new(),
            name,
        };
        for column in &columns {
            let frames = taken(day, &look.name, column);
            if frames.is_empty() {
                look.pictures.push(None);
            }
            for i in frames {
                if let Some(figure) = &records[i].card.arrangement.figure
                    && look.about.is_empty()
                {
                    look.about.clone_from(&figure.garments);
                }
                let label = match day.frames[i].single {
                    true => day.frames[i].name.clone(),
                    false => column.clone(),
                };
                look.pictures.push(Some(small(i, label)?));
            }
        }
        rows.push(look);
    }
    let mut single = Look {
        name: "Besides".into(),
        ..Look::default()
    };
    for i in (0..day.frames.len()).filter(|i| day.frames[*i].look.is_empty()) {
        single
            .pictures
            .push(Some(small(i, day.frames[i].name.clone())?));
    }
    if !single.pictures.is_empty() {
        if rows.is_empty() {
            single.name = "Frames".into();
        }
        rows.push(single);
    }
    let tolerated = format!("Over the set, {:.2} stop tolerated:", day.tolerance_stops);
    let lines = apart.iter().map(|a| (apart_line(a), !a.within));
    let notes = [(tolerated, false)].into_iter().chain(lines).collect();
    Ok(ContactSheet {
        title: day.title.clone(),
        about: format!(
            "{}. Under each: its number, framing, the exposing reading, and tones in stops from an 18 % card.",
            words::count(day.frames.len() as u32, "picture")
        ),
        looks: rows,
        notes,
    })
}
