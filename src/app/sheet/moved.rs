//! Which keys a move of the hand changes.

use crate::app::document::Document;
use crate::setup::written::taped_text;
use crate::setup::{Backdrop, Place, PointSpec, Setup};
use glam::DVec3;

/// Keys, and what is typed into each; nothing to leave it out.
pub(super) type Changes = Vec<(String, String)>;

/// A camera moved by less keeps the distance that its framing gives it.
const STILL_M: f64 = 0.004;

/// The keys that say where a thing is.
pub(super) fn moved(owner: &str, point_m: DVec3) -> Changes {
    let [distance, bearing, height] = taped_text(point_m.to_array());
    [
        ("distance", distance),
        ("bearing", bearing),
        ("height", height),
    ]
    .map(|(key, text)| (format!("{owner}.{key}"), text))
    .to_vec()
}

/// The keys that say where the camera is. A framing would work out how far off it stands, so it gives way
/// to the hand: lens and aim stay as they were.
pub(super) fn camera_moved(document: &Document, point_m: DVec3) -> Changes {
    let camera = &document.setup.camera;
    let is_given = |key: &str| document.value(&format!("camera.{key}")).is_some();
    let (was_m, _, was_high_m) = camera.place.taped();
    let (distance_m, ..) = Place::At(point_m).taped();
    let mut changes = moved("camera", point_m);
    let moved_away = (distance_m - was_m).abs() > STILL_M;
    if is_given("framing") {
        if moved_away {
            changes.extend(framing_gives_way(document));
        } else {
            changes.retain(|(key, _)| key != "camera.distance");
        }
    }
    if !is_given("height") && (point_m.y - was_high_m).abs() <= STILL_M {
        changes.retain(|(key, _)| key != "camera.height");
    }
    changes
}

/// What keeps lens and aim as they are once the camera's distance is given by hand.
pub(super) fn framing_gives_way(document: &Document) -> Changes {
    let is_given = |key: &str| document.value(&format!("camera.{key}")).is_some();
    let camera = &document.setup.camera;
    let mut changes = Changes::new();
    if !is_given("framing") {
        return changes;
    }
    changes.push(("camera.framing".into(), String::new()));
    if !is_given("focal_length") {
        let millimetres = 1e3 * camera.focal_length_m;
        changes.push(("camera.focal_length".into(), format!("{millimetres:.0} mm")));
    }
    if !is_given("aim") {
        changes.push(("camera.aim".into(), coordinates(camera.aim_point_m)));
    }
    changes
}

/// The keys that change when the figure steps toward the camera (or away, negative) and all else stays
/// where it is: what is taped out from the mark, since the mark goes along. A camera that a framing places
/// keeps its framing, so it goes along too.
pub(super) fn figure_moved(from: &Setup, step_m: f64, camera_goes_along: bool) -> Changes {
    let step = DVec3::Z * step_m;
    let metres = |m: f64| format!("{m:.2} m");
    let mut changes = Changes::new();
    if let Backdrop::Seamless(paper) = &from.backdrop {
        changes.push(("backdrop.behind".into(), metres(paper.behind_m + step_m)));
        changes.push(("backdrop.forward".into(), metres(paper.forward_m - step_m)));
    }
    if let Some(shell) = &from.room.shell {
        changes.push(("room.behind".into(), metres(step_m - shell.z_m[0])));
    }
    let lights = from.lights.iter().map(|l| (&l.name, &l.place, &l.aim.at));
    let boards = from.boards.iter().map(|b| (&b.name, &b.place, &b.aim.at));
    for (name, place, aim) in lights.chain(boards) {
        changes.extend(moved(name, place.point_m() - step));
        if let PointSpec::At(point_m) = aim {
            changes.push((format!("{name}.aim"), coordinates(*point_m - step)));
        }
    }
    for (index, point) in from.meter.points.iter().enumerate() {
        if let PointSpec::At(point_m) = point.at {
            changes.push((point_key(index), coordinates(point_m - step)));
        }
    }
    let camera = &from.camera;
    if !camera_goes_along {
        changes.extend(moved("camera", camera.position_m - step));
        if let PointSpec::At(point_m) = &camera.aim.at {
            changes.push(("camera.aim".into(), coordinates(*point_m - step)));
        }
    }
    changes
}

/// The key that says where a meter point is that is no point of the body.
pub(super) fn meter_point_moved(setup: &Setup, called: &str, point_m: DVec3) -> Changes {
    let points = setup.meter.points.iter();
    let index = points.enumerate().find_map(|(index, p)| {
        let loose = matches!(p.at, PointSpec::At(_));
        (loose && p.name == called).then_some(index)
    });
    let change = index.map(|index| (point_key(index), coordinates(point_m)));
    change.into_iter().collect()
}

/// Points count from 1.
fn point_key(index: usize) -> String {
    format!("meter.points.{}.at", index + 1)
}

pub(super) fn coordinates(p: DVec3) -> String {
    format!("[{:.2}, {:.2}, {:.2}]", p.x, p.y, p.z)
}
