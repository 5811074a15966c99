//! What stands under a picture, and figures as words.

use crate::measure::readings::Reading;
use crate::measure::vary::{Made, Plan};
use crate::photometry::dial::on_dial;

/// The light that the page tells about: the one that is swept, else the strongest where the exposure is
/// read. `None` without lights.
pub fn watched(plan: &Plan, made: &[Made]) -> Option<usize> {
    let strongest = || {
        let lights = made[0].expose_at.lights.iter().enumerate();
        let most =
            lights.max_by(|a, b| a.1.exposure_lx_s.value.total_cmp(&b.1.exposure_lx_s.value));
        most.map(|(k, _)| k)
    };
    plan.swept_light().or_else(strongest)
}

/// "f/8", "f/8 +.3", "dark".
pub fn mark_words(reading: &Reading) -> String {
    reading.f_number.map_or("dark".into(), on_dial)
}

/// How much more a light gives in a state than in the first, in stops; `None` where it gives nothing.
pub fn amount_in_stops(made: &[Made], state: usize, light: usize) -> Option<f64> {
    let [now, first] = [state, 0].map(|k| made[k].balanced[light].amount);
    (now > 0.0 && first > 0.0).then(|| (now / first).log2())
}

/// A length of millimetres with two significant digits, or more over 100.
pub(super) fn mm(value: f64) -> String {
    let decimals = if value < 10.0 { 1 } else { 0 };
    format!("{value:.decimals$}")
}

/// Lines under every picture.
pub(super) fn lines(plan: &Plan, made: &[Made]) -> usize {
    let each = (0..made.len()).map(|k| captions(plan, made, k).len());
    each.max().unwrap_or(0)
}

pub(super) fn captions(plan: &Plan, made: &[Made], state: usize) -> Vec<String> {
    let one = &made[state];
    let setup = &plan.states[state].setup;
    let mut lines = Vec::new();
    let Some(light) = watched(plan, made) else {
        return vec![format!("together {}", mark_words(&one.expose_at.together))];
    };
    let name = short(&setup.lights[light].name);
    let on = setup.lights[light].on;
    let alone = match on {
        true => mark_words(&one.expose_at.lights[light]),
        false => "off".into(),
    };
    lines.push(format!(
        "{name} {alone}, all {}",
        mark_words(&one.expose_at.together)
    ));
    let mut second = Vec::new();
    if let Some(edge) = one.edge_of(&setup.lights[light].name) {
        let (least, greatest) = (mm(edge.edge.least_mm), mm(edge.edge.greatest_mm));
        second.push(match least == greatest {
            true => format!("edge {least} mm"),
            false => format!("edge {least} to {greatest} mm"),
        });
    }
    if !second.is_empty() {
        lines.push(second.join(", "));
    }
    let follows = one.balanced[light].target.is_some();
    if let Some(stops) = amount_in_stops(made, state, light).filter(|_| follows && on) {
        lines.push(power_words(stops, state));
    }
    lines
}

/// What a light that follows its target needs, against the first state.
fn power_words(stops: f64, state: usize) -> String {
    match (state, format!("{:.1}", stops.abs()).as_str()) {
        (0, _) => "power as first".into(),
        (_, "0.0") => "power the same".into(),
        (_, text) => format!("power {}{text} stops", if stops > 0.0 { "+" } else { "−" }),
    }
}

/// A name, cut where it would push figures out.
fn short(name: &str) -> String {
    const LONGEST: usize = 12;
    match name.chars().count() > LONGEST {
        true => name.chars().take(LONGEST - 1).chain(['…']).collect(),
        false => name.to_owned(),
    }
}
