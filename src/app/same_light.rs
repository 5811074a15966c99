//! Which changes of a setup leave its light as it was but for amounts and colours.

use crate::setup::{MeterPoint, Setting, Setup};

/// Whether light gathered for one setup serves another too: all that differs is output, colour, switches, heads,
/// targets at points that were metered, and words.
pub fn same_light(gathered: &Setup, now: &Setup) -> bool {
    if gathered.lights.len() != now.lights.len() {
        return false;
    }
    let mut like = gathered.clone();
    like.title.clone_from(&now.title);
    like.notes.clone_from(&now.notes);
    like.camera.iso = now.camera.iso;
    like.camera.white_balance = now.camera.white_balance;
    like.camera.shutter_s = now.camera.shutter_s;
    like.meter.constants = now.meter.constants;
    for (a, b) in like.lights.iter_mut().zip(&now.lights) {
        a.output = b.output.clone();
        a.colour = b.colour.clone();
        a.on = b.on;
        a.head = b.head;
        a.by_mark = b.by_mark;
        a.place = b.place;
    }
    like == *now && targets(now).all(|target| is_metered(gathered, target))
}

fn targets(setup: &Setup) -> impl Iterator<Item = &MeterPoint> {
    setup.lights.iter().filter_map(|l| match &l.output.setting {
        Setting::Meters { at, .. } => Some(at),
        Setting::Power(_) => None,
    })
}

fn is_metered(setup: &Setup, point: &MeterPoint) -> bool {
    let points = setup.meter.points.iter().chain([&setup.meter.expose_at]);
    points.chain(targets(setup)).any(|p| p == point)
}
