//! The table of a sweep as comma-separated values (RFC 4180): one line a state, numbers bare.

use crate::measure::vary::{Made, Plan};

/// The whole file, with a heading line. A value that a spreadsheet would take for a formula is led by an
/// apostrophe.
pub fn csv(plan: &Plan, made: &[Made]) -> String {
    let lights = &plan.states[0].setup.lights;
    let mut head: Vec<String> = plan.axes.iter().map(|a| a.path.shown()).collect();
    let point = &made[0].expose_at.meter.name;
    head.extend([
        "camera f-number".to_owned(),
        format!("{point} together f-number"),
        format!("{point} together lx s"),
    ]);
    for light in lights {
        for what in [
            "alone f-number",
            "alone lx s",
            "edge least mm",
            "edge greatest mm",
            "amount lm s or lm",
            "power of full",
        ] {
            head.push(format!("{} {what}", light.name));
        }
    }
    head.push("evenness stops".into());
    for ratio in &made[0].ratios {
        head.push(format!("{} : {}", ratio.key, ratio.fill));
    }
    let mut out = line(head);
    for (state, one) in plan.states.iter().zip(made) {
        out += &line(row(plan, state, one, &made[0]));
    }
    out
}

fn row(plan: &Plan, state: &crate::measure::vary::State, one: &Made, first: &Made) -> Vec<String> {
    let number = |v: Option<f64>| v.map_or(String::new(), |v| format!("{v:.6}"));
    let each = plan.axes.iter().zip(&state.at);
    let mut cells: Vec<String> = each.map(|(axis, k)| axis.label(*k)).collect();
    let read = &one.expose_at;
    let f_number = |r: &crate::measure::readings::Reading| r.f_number.map(|n| n.value());
    cells.push(number(Some(one.f_number)));
    cells.push(number(f_number(&read.together)));
    cells.push(number(Some(read.together.exposure_lx_s.value)));
    for (k, light) in plan.states[0].setup.lights.iter().enumerate() {
        let edge = one.edge_of(&light.name).map(|e| e.edge);
        cells.extend([
            number(read.lights.get(k).and_then(f_number)),
            number(read.lights.get(k).map(|r| r.exposure_lx_s.value)),
            number(edge.map(|e| e.least_mm)),
            number(edge.map(|e| e.greatest_mm)),
            number(one.balanced.get(k).map(|b| b.amount)),
            number(
                one.balanced
                    .get(k)
                    .and_then(|b| b.power)
                    .map(|p| p.fraction()),
            ),
        ]);
    }
    cells.push(number(one.evenness_stops));
    for ratio in &first.ratios {
        let same =
            |r: &&crate::measure::readings::Ratio| r.key == ratio.key && r.fill == ratio.fill;
        cells.push(number(one.ratios.iter().find(same).map(|r| r.key_to_fill)));
    }
    cells
}

fn line(cells: Vec<String>) -> String {
    let cells: Vec<String> = cells.iter().map(|c| cell(c)).collect();
    cells.join(",") + "\r\n"
}

fn cell(text: &str) -> String {
    let formula =
        text.starts_with(['=', '+', '-', '@', '\t', '\r']) && text.parse::<f64>().is_err();
    let text = match formula {
        true => format!("'{text}"),
        false => text.to_owned(),
    };
    match text.contains([',', '"', '\n', '\r']) {
        true => format!("\"{}\"", text.replace('"', "\"\"")),
        false => text,
    }
}
