//! What has to be done on set between two frames, in words and in minutes.

use super::arrangement::{Arrangement, CameraStands, Standing, Wearing};
use serde::{Deserialize, Serialize};

/// What changes cost, in minutes. The defaults are rough figures of our own, from no source: a studio
/// types its own under `[minutes]`.
#[allow(missing_docs)] // the handbook's table says what each is
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Minutes {
    pub model: f64,
    pub garment: f64,
    pub hair: f64,
    pub pose: f64,
    pub modifier: f64,
    pub stand: f64,
    /// Per metre.
    pub metre: f64,
    pub setting: f64,
    pub board: f64,
    pub backdrop: f64,
    pub room: f64,
    pub camera: f64,
    pub swatch: f64,
}

impl Default for Minutes {
    fn default() -> Self {
        Self {
            model: 20.0,
            garment: 8.0,
            hair: 15.0,
            pose: 0.5,
            modifier: 4.0,
            stand: 1.0,
            metre: 0.5,
            setting: 0.5,
            board: 1.5,
            backdrop: 15.0,
            room: 60.0,
            camera: 1.0,
            swatch: 1.0,
        }
    }
}

impl Minutes {
    /// The place of one by its key.
    pub(super) fn of_mut(&mut self, key: &str) -> Option<&mut f64> {
        Some(match key {
            "model" => &mut self.model,
            "garment" => &mut self.garment,
            "hair" => &mut self.hair,
            "pose" => &mut self.pose,
            "modifier" => &mut self.modifier,
            "stand" => &mut self.stand,
            "metre" => &mut self.metre,
            "setting" => &mut self.setting,
            "board" => &mut self.board,
            "backdrop" => &mut self.backdrop,
            "room" => &mut self.room,
            "camera" => &mut self.camera,
            "swatch" => &mut self.swatch,
            _ => return None,
        })
    }
}

/// One thing to do.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Move {
    /// In words an assistant can act on.
    pub what: String,
    /// What it is taken to cost.
    pub minutes: f64,
}

/// Nobody walks a stand for less.
const LEAST_METRES: f64 = 0.02;
/// Nor turns a head for less (cosine of 1 degree).
const LEAST_TURN_COS: f64 = 0.999_85;

/// What has to be done to get from one frame to another, the figure's changes first: they go on behind
/// the screen while the rest is moved. The sum of minutes is the same both ways.
pub fn moves(from: &Arrangement, to: &Arrangement, minutes: &Minutes) -> Vec<Move> {
    let mut list = Vec::new();
    let mut add = |what: String, minutes: f64| list.push(Move { what, minutes });
    figure(from.figure.as_ref(), to.figure.as_ref(), minutes, &mut add);
    if from.room != to.room {
        add("Change the room: walls, floor or size".into(), minutes.room);
    }
    if from.backdrop != to.backdrop {
        add(format!("Backdrop: {}", to.backdrop), minutes.backdrop);
    }
    lights(&from.lights, &to.lights, minutes, &mut add);
    boards(&from.boards, &to.boards, minutes, &mut add);
    if from.swatch != to.swatch {
        let what = match to.swatch.as_str() {
            "" => "Take the swatch away".into(),
            shown => format!("Swatch: {shown}"),
        };
        add(what, minutes.swatch);
    }
    camera(&from.camera, &to.camera, minutes, &mut add);
    list
}

/// What all of it costs.
pub fn minutes_between(from: &Arrangement, to: &Arrangement, minutes: &Minutes) -> f64 {
    moves(from, to, minutes).iter().map(|m| m.minutes).sum()
}

fn figure(
    from: Option<&Wearing>,
    to: Option<&Wearing>,
    minutes: &Minutes,
    add: &mut impl FnMut(String, f64),
) {
    match (from, to) {
        (None, None) => {}
        (Some(from), None) => add(format!("{} leaves the mark", from.model), minutes.model),
        (None, Some(to)) => add(
            format!(
                "{} on the mark, wearing {}; {}",
                to.model, to.garments, to.pose
            ),
            minutes.model,
        ),
        (Some(from), Some(to)) if from.model != to.model => add(
            format!(
                "{} on the mark, wearing {}; {}",
                to.model, to.garments, to.pose
            ),
            minutes.model,
        ),
        (Some(from), Some(to)) => {
            if from.garments != to.garments {
                add(format!("Change into {}", to.garments), minutes.garment);
            }
            if from.looks != to.looks {
                let looks = match to.looks.as_str() {
                    "" => "as the figure's own",
                    looks => looks,
                };
                add(format!("Hair and make-up: {looks}"), minutes.hair);
            }
            if from.pose != to.pose {
                add(capital(&to.pose), minutes.pose);
            }
        }
    }
}

fn lights(
    from: &[Standing],
    to: &[Standing],
    minutes: &Minutes,
    add: &mut impl FnMut(String, f64),
) {
    for gone in from.iter().filter(|f| !has(to, &f.name)) {
        add(
            format!("Strike {} ({})", gone.name, gone.what),
            minutes.modifier,
        );
    }
    for light in to {
        let Some(was) = from.iter().find(|f| f.name == light.name) else {
            let what = format!(
                "Bring in {}: {}, at {}",
                light.name, light.what, light.taped
            );
            add(format!("{what}, {}", light.setting), minutes.modifier);
            continue;
        };
        let other = was.what != light.what;
        if other {
            let what = format!("{}: {} off, {} on", light.name, was.what, light.what);
            add(what, minutes.modifier);
        }
        walk(was, light, minutes, add);
        let mut sets = Vec::new();
        if turned(was, light) && !moved(was, light) {
            sets.push("aim it anew".to_owned());
        }
        if was.trim != light.trim && !other {
            sets.push("change its cloth, grid, cover or gel as the table says".to_owned());
        }
        if was.setting != light.setting {
            sets.push(format!("set it to {}", light.setting));
        }
        if !sets.is_empty() {
            let what = format!("{}: {}", light.name, sets.join("; "));
            add(what, minutes.setting * sets.len() as f64);
        }
    }
}

fn boards(
    from: &[Standing],
    to: &[Standing],
    minutes: &Minutes,
    add: &mut impl FnMut(String, f64),
) {
    for gone in from.iter().filter(|f| !has(to, &f.name)) {
        add(
            format!("Strike {} ({})", gone.name, gone.what),
            minutes.board,
        );
    }
    for board in to {
        match from.iter().find(|f| f.name == board.name) {
            None => add(
                format!(
                    "Bring in {}: {}, at {}",
                    board.name, board.what, board.taped
                ),
                minutes.board,
            ),
            Some(was) if was.what != board.what || was.trim != board.trim => add(
                format!("{}: now {}, at {}", board.name, board.what, board.taped),
                minutes.board,
            ),
            Some(was) if moved(was, board) => walk(was, board, minutes, add),
            Some(was) if turned(was, board) => {
                add(
                    format!("{}: turn it as the plan shows", board.name),
                    minutes.setting,
                );
            }
            Some(_) => {}
        }
    }
}

fn camera(
    from: &CameraStands,
    to: &CameraStands,
    minutes: &Minutes,
    add: &mut impl FnMut(String, f64),
) {
    let metres = apart_m(from.at_m, to.at_m);
    let walked = metres >= LEAST_METRES;
    let lens = (from.focal_length_mm - to.focal_length_mm).abs() > 0.1;
    if walked || lens {
        let way = if walked { minutes.metre * metres } else { 0.0 };
        add(format!("Camera: {}", to.taped), minutes.camera + way);
    }
}

fn walk(was: &Standing, is: &Standing, minutes: &Minutes, add: &mut impl FnMut(String, f64)) {
    if moved(was, is) {
        let metres = apart_m(was.at_m, is.at_m);
        add(
            format!("Move {} by {metres:.2} m, to {}", is.name, is.taped),
            minutes.stand + minutes.metre * metres,
        );
    }
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    let first = letters.next().map(|c| c.to_uppercase().to_string());
    first.unwrap_or_default() + letters.as_str()
}

fn has(among: &[Standing], name: &str) -> bool {
    among.iter().any(|s| s.name == name)
}

fn moved(was: &Standing, is: &Standing) -> bool {
    apart_m(was.at_m, is.at_m) >= LEAST_METRES
}

fn turned(was: &Standing, is: &Standing) -> bool {
    let cos: f64 = was.toward.iter().zip(is.toward).map(|(a, b)| a * b).sum();
    cos < LEAST_TURN_COS
}

fn apart_m(a: [f64; 3], b: [f64; 3]) -> f64 {
    a.iter()
        .zip(b)
        .map(|(a, b)| (a - b).powi(2))
        .sum::<f64>()
        .sqrt()
}
