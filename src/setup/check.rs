//! Whether the setup can be built: nothing inside anything else, nothing through floor,
//! wall or ceiling, nothing in the picture by mistake; and what to mind on the day.

use glam::DVec3;

use super::frame::Frame;
use super::library::Capsule;
use super::model::{
    Backdrop, Board, BoardKind, Camera, Light, ModifierKind, Seamless, Setup, Shell, Stand,
};
use super::problem::{Kind, Severity};
use super::quantity::metres;
use super::reader::{Log, Place};
use super::shapes::{Block, Solid};

/// Radius of a stand's column, metres.
const COLUMN_M: f64 = 0.0175;
/// Radius and length of the camera's body, metres.
const CAMERA_M: [f64; 2] = [0.06, 0.12];
/// Above this a stand wants more care (common practice).
const HIGH_STAND_M: f64 = 2.4;

/// Where the things of a setup stand in the file.
pub(super) struct Places<'t> {
    pub figure: Option<Place<'t>>,
    pub swatch: Option<Place<'t>>,
    pub camera: Place<'t>,
    pub lights: Vec<Place<'t>>,
    pub boards: Vec<Place<'t>>,
}

/// Something with a body in the set.
struct Thing<'p, 't> {
    label: String,
    place: &'p Place<'t>,
    /// One at least.
    solids: Vec<Solid>,
    middle_m: DVec3,
    column: Option<Solid>,
    /// Whether one looks through it.
    sheer: bool,
    /// Whether it belongs in the picture.
    welcome: bool,
}

impl Thing<'_, '_> {
    /// Least and greatest corner of the box around it, along the room's axes.
    fn bounds(&self) -> (DVec3, DVec3) {
        bounds(&self.solids)
    }

    fn meets(&self, other: &Solid) -> bool {
        self.solids.iter().any(|s| s.meets(other))
    }
}

fn bounds(solids: &[Solid]) -> (DVec3, DVec3) {
    let each = solids.iter().map(Solid::bounds);
    each.fold((DVec3::INFINITY, DVec3::NEG_INFINITY), |(a, b), (c, d)| {
        (a.min(c), b.max(d))
    })
}

/// Checks a whole setup and writes what it finds to the log.
pub(super) fn check(log: &Log, setup: &Setup, places: &Places<'_>) {
    let things = things_of(setup, places);
    check_room(log, setup, places, &things);
    check_figure(log, setup, &things);
    check_each_other(log, &things);
    check_backdrop(log, setup, &things);
    check_picture(log, setup, &things);
    caution(log, setup, places, &things);
}

fn things_of<'p, 't>(setup: &Setup, places: &'p Places<'t>) -> Vec<Thing<'p, 't>> {
    let mut things = Vec::new();
    for (light, place) in setup.lights.iter().zip(&places.lights) {
        let solids = light_solids(light);
        things.push(Thing {
            label: format!("light \"{}\"", light.name),
            place,
            middle_m: light.frame.origin_m,
            column: column_below(light.stand, &solids, light.frame.origin_m),
            solids,
            sheer: false,
            welcome: false,
        });
    }
    for (board, place) in setup.boards.iter().zip(&places.boards) {
        let solids = vec![board_solid(board)];
        things.push(Thing {
            label: format!("{} \"{}\"", board.kind.word(), board.name),
            place,
            middle_m: board.frame.origin_m,
            column: column_below(board.stand, &solids, board.frame.origin_m),
            solids,
            sheer: matches!(board.kind, BoardKind::Scrim(_)),
            welcome: false,
        });
    }
    if let (Some(swatch), Some(place)) = (&setup.swatch, &places.swatch)
        && swatch.shown
    {
        things.push(Thing {
            label: "the swatch".to_owned(),
            place,
            solids: vec![Solid::Block(Block::behind_face(
                &swatch.frame,
                swatch.size_m,
                0.003,
            ))],
            middle_m: swatch.frame.origin_m,
            column: None,
            sheer: false,
            welcome: true,
        });
    }
    things.push(Thing {
        label: "the camera".to_owned(),
        place: &places.camera,
        solids: vec![camera_solid(&setup.camera)],
        middle_m: setup.camera.position_m,
        column: None,
        sheer: false,
        welcome: true,
    });
    things
}

/// The body of a light: what its modifier takes up, behind its face and in front of it.
fn light_solids(light: &Light) -> Vec<Solid> {
    let (o, modifier) = (light.frame.origin_m, &light.modifier);
    let ball = |radius_m: f64| {
        Solid::Capsule(Capsule {
            a_m: o,
            b_m: o,
            radius_m,
        })
    };
    let block = |from_z_m: f64, size_m: [f64; 2], depth_m: f64| {
        let front = Frame {
            origin_m: light.frame.point_in_room(0.0, 0.0, from_z_m),
            ..light.frame
        };
        Solid::Block(Block::behind_face(&front, size_m, depth_m))
    };
    let face_m = modifier.kind.face_m();
    let mut solids = match modifier.kind {
        ModifierKind::Globe { diameter_m } => vec![ball(diameter_m / 2.0)],
        ModifierKind::Tube {
            length_m,
            diameter_m,
        } => {
            let half = light.frame.x * ((length_m - diameter_m).max(0.0) / 2.0);
            vec![Solid::Capsule(Capsule {
                a_m: o - half,
                b_m: o + half,
                radius_m: diameter_m / 2.0,
            })]
        }
        ModifierKind::BareLamp(lamp) => vec![
            ball(lamp.dome_m / 2.0),
            block(
                -lamp.neck_m(),
                [lamp.housing.diameter_m; 2],
                lamp.housing.length_m,
            ),
        ],
        ModifierKind::ShootThrough(canopy) => {
            // Its cloth bulges to the front; behind it there is but the lamp.
            let lamp_m = canopy.lamp.housing.map_or(0.0, |h| h.diameter_m);
            vec![
                block(canopy.depth_m, face_m, canopy.depth_m),
                block(
                    0.0,
                    [lamp_m.max(canopy.lamp.diameter_m); 2],
                    modifier.body_depth_m,
                ),
            ]
        }
        _ => vec![block(0.0, face_m, modifier.body_depth_m)],
    };
    if let Some([before_m, wide_m]) = modifier.head_in_front_m(light.spread.unwrap_or(0.0)) {
        solids.push(block(before_m, [wide_m; 2], before_m));
    }
    if let Some(skirt_m) = modifier.skirt_m {
        solids.push(block(skirt_m, face_m, skirt_m));
    }
    solids
}

fn board_solid(board: &Board) -> Solid {
    Solid::Block(Block::behind_face(
        &board.frame,
        board.size_m,
        board.thickness_m,
    ))
}

fn camera_solid(camera: &Camera) -> Solid {
    let [radius_m, length_m] = CAMERA_M;
    Solid::Capsule(Capsule {
        a_m: camera.position_m - camera.direction * radius_m,
        b_m: camera.position_m - camera.direction * length_m,
        radius_m,
    })
}

/// The upright column of a stand, from the floor to the body's underside.
fn column_below(stand: Stand, solids: &[Solid], middle_m: DVec3) -> Option<Solid> {
    if stand != Stand::Upright {
        return None;
    }
    let under = bounds(solids).0.y - COLUMN_M;
    let foot = COLUMN_M;
    (under > foot).then(|| {
        Solid::Capsule(Capsule {
            a_m: DVec3::new(middle_m.x, foot, middle_m.z),
            b_m: DVec3::new(middle_m.x, under, middle_m.z),
            radius_m: COLUMN_M,
        })
    })
}

/// The hanging part and the curve of the paper, as thin boxes.
fn paper_solids(paper: &Seamless) -> Vec<Solid> {
    const CHORDS: usize = 4;
    const THIN_M: f64 = 0.002;
    let r = paper.curve_m;
    let chord = |from: DVec3, to: DVec3| {
        let along = (to - from).normalize();
        let frame = Frame::facing((from + to) / 2.0, along.cross(DVec3::X), 0.0);
        Solid::Block(Block {
            frame,
            half_m: DVec3::new(paper.width_m / 2.0, from.distance(to) / 2.0, THIN_M / 2.0),
        })
    };
    let on_curve = |i: usize| {
        let angle = std::f64::consts::FRAC_PI_2 * i as f64 / CHORDS as f64;
        DVec3::new(
            0.0,
            r - r * angle.cos(),
            -paper.behind_m + r - r * angle.sin(),
        )
    };
    let mut solids: Vec<Solid> = (0..CHORDS)
        .map(|i| chord(on_curve(i), on_curve(i + 1)))
        .collect();
    let (low, high) = (
        DVec3::new(0.0, r, -paper.behind_m),
        DVec3::new(0.0, paper.height_m, -paper.behind_m),
    );
    if high.y - low.y > 1e-3 {
        solids.push(chord(low, high));
    }
    solids
}

fn check_room(log: &Log, setup: &Setup, places: &Places<'_>, things: &[Thing<'_, '_>]) {
    const TAPE_M: f64 = 0.002;
    for thing in things {
        let (least, most) = thing.bounds();
        if least.y < -TAPE_M {
            log.error(
                Kind::Collision,
                thing.place,
                format!(
                    "{} reaches {} below the floor",
                    thing.label,
                    metres(-least.y)
                ),
                format!("raise it by {} or more", metres(-least.y)),
            );
        }
        let Some(shell) = &setup.room.shell else {
            continue;
        };
        if let Some((how, beyond_m)) = beyond(shell, least, most)
            && beyond_m > TAPE_M
        {
            log.error(
                Kind::Collision,
                thing.place,
                format!("{} reaches {} {how}", thing.label, metres(beyond_m)),
                "move it into the room, or make the room larger",
            );
        }
    }
    if let (Some(shell), Some(figure)) = (&setup.room.shell, &setup.figure)
        && figure.height_m > shell.height_m
        && let Some(place) = &places.figure
    {
        log.error(
            Kind::Collision,
            place,
            format!(
                "the figure is {} tall, but the ceiling is at {}",
                metres(figure.height_m),
                metres(shell.height_m)
            ),
            "make the room higher",
        );
    }
}

/// The side of the room a body passes furthest, and by how much.
fn beyond(shell: &Shell, least: DVec3, most: DVec3) -> Option<(&'static str, f64)> {
    [
        ("above the ceiling", most.y - shell.height_m),
        ("through the camera-left wall", shell.x_m[0] - least.x),
        ("through the camera-right wall", most.x - shell.x_m[1]),
        (
            "through the wall behind the subject",
            shell.z_m[0] - least.z,
        ),
        ("through the wall behind the camera", most.z - shell.z_m[1]),
    ]
    .into_iter()
    .max_by(|a, b| a.1.total_cmp(&b.1))
}

fn check_figure(log: &Log, setup: &Setup, things: &[Thing<'_, '_>]) {
    let Some(figure) = &setup.figure else { return };
    let inside = |solid: &Solid| {
        figure
            .blocks
            .iter()
            .any(|block| solid.meets(&Solid::Capsule(*block)))
    };
    for thing in things {
        if thing.solids.iter().any(inside) {
            log.error(
                Kind::Collision,
                thing.place,
                format!("{} is inside the figure", thing.label),
                "move it away from the mark: more distance, or another height",
            );
        } else if thing.column.as_ref().is_some_and(inside) {
            log.error(
                Kind::Collision,
                thing.place,
                format!("the stand of {} passes through the figure", thing.label),
                "add stand = \"boom\", or move it",
            );
        }
    }
}

fn check_each_other(log: &Log, things: &[Thing<'_, '_>]) {
    for (i, b) in things.iter().enumerate() {
        for a in &things[..i] {
            let stand_in = |stand: &Thing<'_, '_>, body: &Thing<'_, '_>| {
                stand.column.is_some_and(|c| body.meets(&c))
            };
            let (message, hint) = if b.solids.iter().any(|s| a.meets(s)) {
                (
                    format!("{} and {} are in the same place", b.label, a.label),
                    "move one of them",
                )
            } else if stand_in(b, a) {
                (
                    format!("the stand of {} passes through {}", b.label, a.label),
                    "add stand = \"boom\", or move one of them",
                )
            } else if stand_in(a, b) {
                (
                    format!("{} is where the stand of {} is", b.label, a.label),
                    "give that one stand = \"boom\", or move one of them",
                )
            } else if let (Some(ca), Some(cb)) = (&a.column, &b.column)
                && ca.meets(cb)
            {
                (
                    format!(
                        "{} and {} have their stands in the same place",
                        b.label, a.label
                    ),
                    "move one of them, or put it on a boom",
                )
            } else {
                continue;
            };
            log.error(Kind::Collision, b.place, message, hint);
        }
    }
}

fn check_backdrop(log: &Log, setup: &Setup, things: &[Thing<'_, '_>]) {
    let Backdrop::Seamless(paper) = &setup.backdrop else {
        return;
    };
    let solids = paper_solids(paper);
    for thing in things {
        let through = |solid: &Solid| solids.iter().any(|s| s.meets(solid));
        // A stand may have a foot on the lying paper but not in its curve.
        if thing.solids.iter().chain(&thing.column).any(through) {
            log.error(
                Kind::Collision,
                thing.place,
                format!(
                    "{} or its stand goes through the backdrop paper",
                    thing.label
                ),
                "move it forward, aside, or hang the paper further behind",
            );
        }
    }
}

fn check_picture(log: &Log, setup: &Setup, things: &[Thing<'_, '_>]) {
    let camera = &setup.camera;
    let mut screens: Vec<(usize, Solid)> = things
        .iter()
        .enumerate()
        .filter(|(_, t)| !t.sheer && t.label != "the camera")
        .flat_map(|(i, t)| t.solids.iter().map(move |s| (i, *s)))
        .collect();
    let outside = usize::MAX;
    if let Some(figure) = &setup.figure {
        screens.extend(figure.blocks.iter().map(|b| (outside, Solid::Capsule(*b))));
    }
    if let Backdrop::Seamless(paper) = &setup.backdrop {
        screens.extend(paper_solids(paper).into_iter().map(|s| (outside, s)));
    }
    for (i, thing) in things.iter().enumerate() {
        if thing.welcome {
            continue;
        }
        let middle_of_seen = |solids: &[Solid]| {
            let mut seen: Vec<DVec3> = solids.iter().flat_map(|s| s.seen_by(camera)).collect();
            seen.retain(|p| {
                !screens
                    .iter()
                    .any(|(owner, s)| *owner != i && s.hides(camera.position_m, *p))
            });
            (!seen.is_empty()).then(|| seen.iter().sum::<DVec3>() / seen.len() as f64)
        };
        let (label, seen) = match middle_of_seen(&thing.solids) {
            Some(p) => (thing.label.clone(), p),
            None => match middle_of_seen(thing.column.as_slice()) {
                Some(p) => (format!("the stand of {}", thing.label), p),
                None => continue,
            },
        };
        log.add(
            Severity::Warning,
            Kind::InFrame,
            thing.place,
            format!("{label} shows in frame{}", side_of_picture(camera, seen)),
            "move it out of the picture, unless it is meant to show",
        );
    }
}

/// ", at the upper left", as far as it can be said.
fn side_of_picture(camera: &Camera, p: DVec3) -> String {
    let Some([x, y]) = camera.project(p) else {
        return String::new();
    };
    let third = |v: f64, low: &'static str, high: &'static str| match v {
        v if v < -1.0 / 3.0 => low,
        v if v > 1.0 / 3.0 => high,
        _ => "",
    };
    let (across, up) = (third(x, "left", "right"), third(y, "lower", "upper"));
    match (up, across) {
        ("", "") => ", in the middle".to_owned(),
        ("", across) => format!(", at the {across}"),
        (up, "") => format!(", in the {up} middle"),
        (up, across) => format!(", at the {up} {across}"),
    }
}

/// Notes for the day. Wording by common practice; the rules of the venue come first.
fn caution(log: &Log, setup: &Setup, places: &Places<'_>, things: &[Thing<'_, '_>]) {
    let say = |place: &Place<'_>, message: String, hint: &str| {
        log.add(Severity::Caution, Kind::Safety, place, message, hint);
    };
    let rigged = things.iter().filter(|t| !t.welcome);
    for thing in rigged {
        let (least, most) = thing.bounds();
        if over_a_person(setup, least, most) {
            say(
                thing.place,
                format!("{} hangs over a person", thing.label),
                "secure it with a second fixing of its own, put weight on the stand and a leg under \
                 the load, and follow the venue's rules and local codes; this program does not check \
                 whether a rig is safe",
            );
        } else if thing.column.is_some() && thing.middle_m.y > HIGH_STAND_M {
            say(
                thing.place,
                format!(
                    "{} is high on its stand, at {}",
                    thing.label,
                    metres(thing.middle_m.y)
                ),
                "put a sandbag on the stand and a leg under the load, spread the legs wide, and keep \
                 people out from under it",
            );
        }
    }
    let first = |continuous: bool| {
        setup
            .lights
            .iter()
            .zip(&places.lights)
            .find(|(l, _)| l.on && l.output.continuous == continuous)
            .map(|(_, place)| place)
    };
    if let Some(place) = first(false) {
        say(
            place,
            "this setup flashes".to_owned(),
            "ask whether anyone on set has photosensitive epilepsy before the first flash, and do \
             not fire tests in quick succession",
        );
    }
    if let Some(place) = first(true) {
        say(
            place,
            "this setup has lamps that burn".to_owned(),
            "they may be hot: keep the marked distance to cloth, paper and gels, and let air through",
        );
    }
}

/// Whether a body is above the figure's head and within reach if it fell.
fn over_a_person(setup: &Setup, least: DVec3, most: DVec3) -> bool {
    const REACH_M: f64 = 0.5;
    let Some(figure) = &setup.figure else {
        return false;
    };
    least.y > figure.height_m - 0.1
        && figure.blocks.iter().any(|block| {
            let (a, b) = Solid::Capsule(*block).bounds();
            least.x < b.x + REACH_M
                && most.x > a.x - REACH_M
                && least.z < b.z + REACH_M
                && most.z > a.z - REACH_M
        })
}
