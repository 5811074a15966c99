//! `[room]` and `[backdrop]`.

use super::keys;
use super::model::{Backdrop, Room, Seamless, Shell};
use super::problem::Kind;
use super::quantity::{CURVE, DISTANCE, FORWARD, ROOM_SIDE, SIDE, metres, size_3d};
use super::reader::{Log, Table, Value};
use super::values::{quantity, rgb, word, written};

const FLOOR: [f64; 3] = [0.25; 3];
const WALLS: [f64; 3] = [0.5; 3];
const CEILING: [f64; 3] = [0.7; 3];

/// A hall with nothing near: what a setup without `[room]` stands in.
pub(super) fn open_room() -> Room {
    Room {
        floor_reflectance: FLOOR,
        shell: None,
    }
}

pub(super) fn read_room(log: &Log, file: &str, value: Value<'_>) -> Option<Room> {
    let t = Table::open(log, file, value, &keys::ROOM, "the room")?;
    let reflectance = t.get("reflectance").and_then(|v| {
        Table::open(
            log,
            file,
            v,
            &keys::ROOM_REFLECTANCE,
            "the room's reflectance",
        )
    });
    let surface = |key: &str| reflectance.as_ref().and_then(|r| r.read(log, key, rgb));
    let floor_reflectance = surface("floor").unwrap_or(FLOOR);
    let walls = surface("walls");
    let back_wall = surface("back_wall");
    let ceiling = surface("ceiling");

    let open = t
        .read(log, "walls", word(&[("open", true), ("closed", false)]))
        .unwrap_or(false);
    if open {
        for key in ["size", "behind", "left"] {
            if t.has(key) {
                t.conflict(
                    log,
                    key,
                    format!("an open room has no `{key}`"),
                    format!("remove walls = \"open\", or remove {key}"),
                );
            }
        }
        return Some(Room {
            floor_reflectance,
            shell: None,
        });
    }

    let size = t.require(
        log,
        "size",
        written("width x length x height", "6 x 8 x 3.2 m", |s| {
            size_3d(s, &ROOM_SIDE)
        }),
    );
    let behind = t.read(log, "behind", quantity(&DISTANCE));
    let left = t.read(log, "left", quantity(&DISTANCE));
    let [width, length, height_m] = size?;
    let behind = within(log, &t, "behind", behind, length);
    let left = within(log, &t, "left", left, width);
    let walls_reflectance = walls.unwrap_or(WALLS);
    Some(Room {
        floor_reflectance,
        shell: Some(Shell {
            x_m: [-left, width - left],
            z_m: [-behind, length - behind],
            height_m,
            walls_reflectance,
            back_wall_reflectance: back_wall.unwrap_or(walls_reflectance),
            ceiling_reflectance: ceiling.unwrap_or(CEILING),
        }),
    })
}

/// A distance from the mark to a wall: inside the room, half of it when not given.
fn within(log: &Log, t: &Table<'_>, key: &str, given: Option<f64>, room_m: f64) -> f64 {
    match given {
        Some(d) if d < room_m => d,
        Some(d) => {
            log.error(
                Kind::OutOfRange,
                &t.place_of(key),
                format!(
                    "`{key}` of the room: {} leaves the mark outside, since the room is {} across there",
                    metres(d),
                    metres(room_m)
                ),
                "make it smaller, or the room larger",
            );
            room_m / 2.0
        }
        None => room_m / 2.0,
    }
}

pub(super) fn read_backdrop(
    log: &Log,
    file: &str,
    value: Value<'_>,
    room: &Room,
) -> Option<Backdrop> {
    let t = Table::open(log, file, value, &keys::BACKDROP, "the backdrop")?;
    let seamless = t
        .read(log, "kind", word(&[("seamless", true), ("none", false)]))
        .unwrap_or(true);
    if !seamless {
        if let Some(other) = keys::BACKDROP
            .keys
            .iter()
            .find(|k| k.name != "kind" && t.has(k.name))
        {
            t.conflict(
                log,
                other.name,
                format!("there is no backdrop that could have `{}`", other.name),
                "write kind = \"seamless\", or remove the other keys",
            );
        }
        return Some(Backdrop::None);
    }
    let side = |key: &str, default: f64| t.read(log, key, quantity(&SIDE)).unwrap_or(default);
    let paper = Seamless {
        width_m: side("width", 2.7),
        behind_m: t.read(log, "behind", quantity(&DISTANCE)).unwrap_or(2.0),
        height_m: side("height", 2.8),
        curve_m: t.read(log, "curve", quantity(&CURVE)).unwrap_or(0.4),
        forward_m: t.read(log, "forward", quantity(&FORWARD)).unwrap_or(1.2),
        reflectance: t.read(log, "reflectance", rgb).unwrap_or([0.8; 3]),
    };
    check_paper(log, &t, &paper, room);
    Some(Backdrop::Seamless(paper))
}

fn check_paper(log: &Log, t: &Table<'_>, paper: &Seamless, room: &Room) {
    let say = |kind, key: &str, message: String, hint: &str| {
        log.error(kind, &t.place_of(key), message, hint);
    };
    if paper.curve_m > paper.height_m {
        say(
            Kind::Conflict,
            "curve",
            format!(
                "the paper's curve of {} is higher than the roll at {}",
                metres(paper.curve_m),
                metres(paper.height_m)
            ),
            "make the curve smaller",
        );
    }
    if paper.forward_m < paper.curve_m - paper.behind_m {
        say(
            Kind::Conflict,
            "forward",
            "the paper ends before its curve has reached the floor".to_owned(),
            "make forward larger, or the curve smaller",
        );
    }
    let Some(shell) = &room.shell else { return };
    if paper.behind_m >= -shell.z_m[0] {
        say(
            Kind::Collision,
            "behind",
            format!(
                "the paper hangs {} behind the mark, but the wall is {} behind it",
                metres(paper.behind_m),
                metres(-shell.z_m[0])
            ),
            "bring the paper nearer, or give the room a larger behind",
        );
    }
    if paper.height_m > shell.height_m {
        say(
            Kind::Collision,
            "height",
            format!(
                "the roll at {} is above the ceiling at {}",
                metres(paper.height_m),
                metres(shell.height_m)
            ),
            "lower it",
        );
    }
    if paper.width_m / 2.0 > shell.x_m[1].min(-shell.x_m[0]) {
        say(
            Kind::Collision,
            "width",
            format!(
                "paper {} wide does not fit between the walls",
                metres(paper.width_m)
            ),
            "make it narrower",
        );
    }
    if paper.forward_m > shell.z_m[1] {
        say(
            Kind::Collision,
            "forward",
            "the paper runs through the wall behind the camera".to_owned(),
            "make forward smaller",
        );
    }
}
