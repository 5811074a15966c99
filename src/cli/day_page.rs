//! What `day` found, as text and as JSON.

use super::table::{Table, WIDEST, name};
use super::words;
use serde::Serialize;
use swatchlight::measure::day::Row;
use swatchlight::measure::day::fit::{
    EFFICIENCY_SD_STOPS, Fit, Learnt, Pair, SDS_OF_95, YIELD_SD_STOPS,
};
use swatchlight::measure::day::rank::Ranked;
use swatchlight::measure::day::sheet::{Sheet, TOGETHER};
use swatchlight::measure::take::Take;
use swatchlight::photometry::dial::on_dial;
use swatchlight::setup::{Facing, FullOutput};

/// Reasons less likely are not shown.
const LEAST_SHOWN: f64 = 0.02;
/// A product whose uncertainty the readings left at more than this share of what it was is not shown.
const LITTLE_LEARNT: f64 = 0.8;
/// Nor more than so many.
const MOST_SHOWN: usize = 6;

/// Everything that `day` found.
#[derive(Debug, Serialize)]
pub struct Document {
    pub setup: String,
    pub sessions: Vec<Session>,
    pub fit: Fit,
    pub saved: Option<Saved>,
}

/// One day.
#[derive(Debug, Serialize)]
pub struct Session {
    pub date: String,
    pub meter_sd_stops: f64,
    pub readings: Vec<Reading>,
    pub reasons: Vec<Group>,
    /// What each light's lamp is said to yield, where it is given in joules.
    #[serde(skip)]
    yields: Vec<(String, f64)>,
}

/// One reading.
#[derive(Debug, Serialize)]
pub struct Reading {
    /// None for all together.
    pub light: Option<String>,
    pub point: String,
    /// Where the receptor looks: "to camera", "to key", "up".
    pub facing: String,
    pub said: f64,
    pub said_mark: String,
    pub predicted: f64,
    pub predicted_mark: String,
    pub difference_stops: f64,
    pub sd_stops: f64,
}

/// Reasons for the readings of a light, or for all of them.
#[derive(Debug, Serialize)]
pub struct Group {
    pub light: Option<String>,
    pub difference_stops: f64,
    /// The likeliest first; none where nothing asks for a reason.
    pub reasons: Vec<Ranked>,
}

/// What was written.
#[derive(Debug, Serialize)]
pub struct Saved {
    pub path: String,
    pub modifier: String,
    pub correction_stops: f64,
}

impl Session {
    /// One day's readings and the reasons found.
    pub fn new(take: &Take, sheet: Sheet, rows: Vec<Row>, reasons: Vec<Group>) -> Self {
        let lights = &take.setup.lights;
        let reading = |row: Row| Reading {
            light: row.light.map(|l| lights[l].name.clone()),
            facing: match &row.meter.facing {
                Facing::Camera => "to camera".into(),
                Facing::Light(light) => format!("to {light}"),
                Facing::Up => "up".into(),
                Facing::Direction(_) => "as set".into(),
            },
            point: row.meter.name,
            said: row.said.value(),
            said_mark: on_dial(row.said),
            predicted: row.predicted.value(),
            predicted_mark: on_dial(row.predicted),
            difference_stops: row.difference_stops,
            sd_stops: row.sd_stops,
        };
        let yields = lights.iter().filter_map(|light| match light.output.full? {
            FullOutput::FlashEnergy {
                yield_lm_s_per_j, ..
            } => {
                let stood = sheet.stood.iter().find(|s| s.light == light.name);
                let lamp = stood.and_then(|s| s.lamp.clone());
                Some((lamp.unwrap_or(light.name.clone()), yield_lm_s_per_j))
            }
            _ => None,
        });
        Self {
            yields: yields.collect(),
            meter_sd_stops: sheet.meter_sd_stops(),
            date: sheet.date,
            readings: rows.into_iter().map(reading).collect(),
            reasons,
        }
    }
}

/// All of it, for people.
pub fn page(document: &Document) -> String {
    let mut parts: Vec<String> = document.sessions.iter().flat_map(session).collect();
    parts.push(fitted(document));
    if let Some(saved) = &document.saved {
        parts.push(format!(
            "Saved in {}: correction = {:+.2} stop. Setups that name this file now predict with it.\n",
            saved.path, saved.correction_stops
        ));
    }
    parts.join("\n")
}

fn session(session: &Session) -> Vec<String> {
    let mut table = Table::new(["read", "at", "meter said", "predicted", "difference"]);
    for r in &session.readings {
        table.row([
            r.light.as_deref().map_or(TOGETHER.into(), name),
            format!("{}, {}", name(&r.point), r.facing),
            r.said_mark.clone(),
            r.predicted_mark.clone(),
            format!("{} ±{:.1}", signed(r.difference_stops), r.sd_stops),
        ]);
    }
    let heading = match session.date.as_str() {
        "" => String::new(),
        date => format!("{date}\n"),
    };
    let mut parts = vec![format!("{heading}{}", table.render(WIDEST))];
    parts.extend(session.reasons.iter().map(group));
    parts
}

fn group(group: &Group) -> String {
    let of = group.light.as_deref().unwrap_or(TOGETHER);
    let by = signed(group.difference_stops);
    if group.reasons.is_empty() {
        return format!("{of}: {by}, within what meter and set repeat; nothing to look for.\n");
    }
    let mut text = format!("{of}: {by}. Look for, likeliest first:\n");
    let shown = group.reasons.iter().take(MOST_SHOWN);
    for r in shown.filter(|r| r.probability >= LEAST_SHOWN) {
        let left = r.leaves_stops.iter().map(|l| l.abs()).fold(0.0, f64::max);
        text += &format!(
            "  {:>4}  {} (leaves {left:.1})\n        beforehand: {}\n",
            format!("{:.0} %", 100.0 * r.probability),
            r.says,
            r.beforehand
        );
    }
    text
}

fn fitted(document: &Document) -> String {
    let mut table = Table::new([
        "lamp",
        "in",
        "readings",
        "both together",
        "lamp",
        "modifier",
    ]);
    let before = YIELD_SD_STOPS.hypot(EFFICIENCY_SD_STOPS);
    let learnt = |p: &&Pair| p.product.sd_stops < LITTLE_LEARNT * before;
    let pairs: Vec<&Pair> = document.fit.pairs.iter().filter(learnt).collect();
    for pair in &pairs {
        let [lamp, modifier] = match &pair.apart {
            Some(apart) => [factor(apart.lamp_yield), factor(apart.efficiency)],
            None => ["-".into(), "-".into()],
        };
        table.row([
            name(&pair.lamp),
            name(&pair.modifier),
            pair.readings.to_string(),
            factor(pair.product),
            lamp,
            modifier,
        ]);
    }
    let mut text = format!(
        "What lamps and modifiers give, in stops against the setup (95 % within):\n{}",
        table.render(WIDEST)
    );
    if pairs.is_empty() {
        return "The readings say next to nothing of any one lamp; read lights alone.\n".into();
    }
    let told: Vec<&str> = pairs
        .iter()
        .filter(|p| p.apart.is_none())
        .map(|p| p.lamp.as_str())
        .collect();
    if !told.is_empty() {
        text += &format!(
            "Lamp and modifier cannot be told apart for {}; read the same lamp in a second modifier \
             to tell them.\n",
            told.join(", ")
        );
    }
    for (pair, now) in pairs
        .iter()
        .filter_map(|p| Some((p, yield_now(document, p)?)))
    {
        text += &format!(
            "For {} write yield = \"{now:.1} lm s/J\" into its light.\n",
            pair.lamp
        );
    }
    text
}

/// The yield that a lamp is found to have, where it can be told and is given in joules.
fn yield_now(document: &Document, pair: &Pair) -> Option<f64> {
    let learnt = pair.apart?.lamp_yield;
    let mut yields = document.sessions.iter().flat_map(|s| &s.yields);
    let (_, before) = yields.find(|(lamp, _)| *lamp == pair.lamp)?;
    Some(before * learnt.stops.exp2())
}

fn factor(learnt: Learnt) -> String {
    format!("{:+.2} ±{:.2}", learnt.stops, SDS_OF_95 * learnt.sd_stops)
}

/// "-0.3 stop", "+1.2 stops".
fn signed(stops: f64) -> String {
    let sign = if stops < 0.0 { "-" } else { "+" };
    format!("{sign}{}", words::stops(stops))
}
