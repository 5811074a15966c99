//! `[[board]]`, `[[flag]]` and `[[scrim]]`.

use super::frame::Frame;
use super::keys::{self, nearest};
use super::model::{Board, BoardKind, Finish, ScrimCloth};
use super::place::{Points, read_aim, read_place, read_stand};
use super::problem::Kind;
use super::quantity::{ROLL, SIDE, THICKNESS, size_2d};
use super::read_extras::cloth_by_word;
use super::reader::{Fault, Log, Table, Value, clip};
use super::values::{number_in, quantity, rgb, written};

/// Which of the three arrays.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Which {
    Board,
    Flag,
    Scrim,
}

impl Which {
    pub fn word(self) -> &'static str {
        match self {
            Which::Board => "board",
            Which::Flag => "flag",
            Which::Scrim => "scrim",
        }
    }
}

pub(super) const FINISHES: [(&str, Finish); 4] = [
    ("white", Finish::White),
    ("black", Finish::Black),
    ("silver", Finish::Silver),
    ("grey", Finish::Grey18),
];

pub(super) fn read_board<'t>(
    log: &Log,
    file: &'t str,
    value: Value<'t>,
    which: Which,
    label: String,
    name: Option<String>,
    points: &Points,
) -> Option<(Table<'t>, Option<Board>)> {
    let section = if which == Which::Scrim {
        &keys::SCRIM
    } else {
        &keys::BOARD
    };
    let t = Table::open(log, file, value, section, label)?;
    if !t.has("name") {
        t.missing(
            log,
            &["name"],
            "`name`",
            format!("add name = \"{}\" or another short label", which.word()),
        );
    }
    let kind = match which {
        Which::Scrim => read_cloth(log, &t).map(BoardKind::Scrim),
        Which::Board => {
            read_finishes(log, &t, None).map(|(front, back)| BoardKind::Board { front, back })
        }
        Which::Flag => read_finishes(log, &t, Some(Finish::Black))
            .map(|(front, back)| BoardKind::Flag { front, back }),
    };
    let size_m = t.require(
        log,
        "size",
        written("width x height", "1 x 2 m", |s| size_2d(s, &SIDE)),
    );
    let thickness_m = match which {
        Which::Scrim => 0.001,
        Which::Board | Which::Flag => t
            .read(log, "thickness", quantity(&THICKNESS))
            .unwrap_or(usual_thickness_m(which)),
    };
    let place = read_place(log, &t);
    let aim = read_aim(log, &t, points, place.as_ref().map(|p| p.point_m()));
    let roll_rad = t.read(log, "roll", quantity(&ROLL)).unwrap_or(0.0);
    let stand = read_stand(log, &t);
    let board = (|| {
        let (aim, aim_point_m, direction) = aim?;
        let place = place?;
        Some(Board {
            name: name?,
            kind: kind?,
            frame: Frame::facing(place.point_m(), direction, roll_rad),
            size_m: size_m?,
            thickness_m,
            place,
            aim,
            aim_point_m,
            roll_rad,
            stand,
        })
    })();
    Some((t, board))
}

/// Thickness of a board or flag that does not say.
fn usual_thickness_m(which: Which) -> f64 {
    if which == Which::Flag { 0.003 } else { 0.01 }
}

fn read_finishes(log: &Log, t: &Table<'_>, usual: Option<Finish>) -> Option<(Finish, Finish)> {
    let back = t.read(log, "back", read_finish);
    let front = match usual {
        Some(usual) => t.read(log, "finish", read_finish).unwrap_or(usual),
        None => t.require(log, "finish", read_finish)?,
    };
    Some((front, back.unwrap_or(front)))
}

/// A finish by word, or a reflectance.
fn read_finish(value: Value<'_>) -> Result<Finish, Fault> {
    let Some(written) = value.get_ref().as_str() else {
        return rgb(value).map(Finish::Reflectance);
    };
    if written.trim_start().starts_with('#') {
        return rgb(value).map(Finish::Reflectance);
    }
    let simple = written.to_lowercase().replace([' ', '-', '_'], "");
    let word = match simple.as_str() {
        "gray" | "18%grey" | "18%gray" | "grey18" | "gray18" => "grey",
        other => other,
    };
    if let Some((_, finish)) = FINISHES.iter().find(|(w, _)| *w == word) {
        return Ok(*finish);
    }
    let choices = "it can be \"white\", \"black\", \"silver\", \"grey\" (18 %), a number 0 to 1, \
                   \"#rrggbb\" or linear [r, g, b]";
    Err(Fault::new(
        Kind::UnknownWord,
        format!("\"{}\" is not a finish", clip(written)),
        match nearest(written, FINISHES.iter().map(|(w, _)| *w)) {
            Some(near) => format!("did you mean \"{near}\"? {choices}"),
            None => choices.to_owned(),
        },
    )
    .at(value))
}

/// Reads `cloth`: a word, stops, or shares.
fn read_cloth(log: &Log, t: &Table<'_>) -> Option<ScrimCloth> {
    if let Some(value) = t.get("cloth")
        && value.get_ref().is_table()
    {
        return read_cloth_shares(log, t, value);
    }
    t.require(log, "cloth", |value| {
        let hint = "it can be \"light\", \"half\", \"full\", a loss such as \"1 stop\", \
                    or { straight = 0.1, scattered = 0.4 }";
        // The forward lobe of the two thinner ones counts as scattered.
        cloth_by_word(value, hint).map(|cloth| ScrimCloth {
            straight: cloth.straight,
            scattered: cloth.spread + cloth.scattered,
            reflected: cloth.reflected,
        })
    })
}

fn read_cloth_shares(log: &Log, scrim: &Table<'_>, value: Value<'_>) -> Option<ScrimCloth> {
    let label = format!("the cloth of {}", scrim.label);
    let t = Table::open(log, scrim.file, value, &keys::SCRIM_CLOTH, label)?;
    let share = |key: &str| t.read(log, key, number_in(0.0, 1.0));
    let straight = share("straight").unwrap_or(0.0);
    let reflected = share("reflected");
    let scattered = t.require(log, "scattered", number_in(0.0, 1.0))?;
    let passed = straight + scattered;
    let reflected = reflected.unwrap_or(((1.0 - passed) / 2.0).max(0.0));
    if passed + reflected > 1.0 + 1e-9 {
        t.conflict(
            log,
            "scattered",
            format!(
                "it sends on {} of the light it gets",
                super::quantity::tidy(passed + reflected)
            ),
            "straight, scattered and reflected may come to 1 together",
        );
        return None;
    }
    Some(ScrimCloth {
        straight,
        scattered,
        reflected,
    })
}
