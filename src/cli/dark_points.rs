//! Meter points that hardly any light reaches, said as warnings of a setup.

use super::take::Taken;
use super::voice::Voice;
use swatchlight::measure::readings::PointReading;
use swatchlight::setup::Kind;

/// By judgement: hardly anything in a studio lies so far under its brightest place that is not inside something.
const DARKEST_STOPS: f64 = 12.0;

/// Says which points lie in the dark, and keeps it with the setup's notes.
pub fn note_dark_points(taken: &mut Taken, voice: &Voice) {
    let mut notes = taken.notes.cleared();
    for (name, reads) in dark(&taken.take.points) {
        notes.warn(
            Kind::Collision,
            "meter",
            format!("the point \"{name}\" reads {reads}"),
            "it may lie inside cloth, a body or a board, or face away from all light: move it out with at = [x, y, z] or turn it with facing".into(),
        );
    }
    voice.notes(&notes);
    taken.notes.join(notes);
}

fn dark(points: &[PointReading]) -> Vec<(String, String)> {
    let value = |p: &PointReading| p.together.exposure_lx_s.value;
    let brightest = points.iter().map(value).fold(0.0, f64::max);
    if brightest <= 0.0 {
        return Vec::new();
    }
    points
        .iter()
        .filter_map(|p| {
            let under = (brightest / value(p)).log2();
            let reads = match under {
                _ if under < DARKEST_STOPS => return None,
                _ if under.is_finite() => {
                    format!("{under:.0} stops under the brightest one")
                }
                _ => "nothing at all".into(),
            };
            Some((p.meter.name.clone(), reads))
        })
        .collect()
}
