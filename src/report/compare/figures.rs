//! Readings and quality of setups side by side, as rows of words.

use super::Side;
use crate::photometry::dial::on_dial;
use crate::photometry::fnumber::FNumber;
use crate::report::contact::mark_words;

/// One figure of every setup.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Figure {
    /// "key alone", "evenness".
    pub name: String,
    /// One to a setup; empty where it has none.
    pub values: Vec<String>,
}

/// All figures of these setups: readings where they expose, of every light that any of them has, edges,
/// ratios, evenness, exposure.
pub fn figures(sides: &[Side<'_>]) -> Vec<Figure> {
    let mut names: Vec<&str> = Vec::new();
    for light in sides.iter().flat_map(|s| &s.setup.lights) {
        if !names.contains(&light.name.as_str()) {
            names.push(&light.name);
        }
    }
    let mut found = Vec::new();
    let mut row = |name: String, of: &dyn Fn(&Side<'_>) -> Option<String>| {
        let values: Vec<String> = sides.iter().map(|s| of(s).unwrap_or_default()).collect();
        if values.iter().any(|v| !v.is_empty()) {
            found.push(Figure { name, values });
        }
    };
    row("read at".into(), &|s| {
        Some(s.made.expose_at.meter.name.clone())
    });
    row("together".into(), &|s| {
        Some(mark_words(&s.made.expose_at.together))
    });
    for light in &names {
        let index = |s: &Side<'_>| s.setup.lights.iter().position(|l| l.name == *light);
        row(format!("{light} alone"), &|s| {
            let k = index(s)?;
            Some(match s.setup.lights[k].on {
                true => mark_words(&s.made.expose_at.lights[k]),
                false => "off".into(),
            })
        });
    }
    for light in &names {
        let index = |s: &Side<'_>| s.setup.lights.iter().position(|l| l.name == *light);
        row(format!("{light} gives"), &|s| {
            let b = &s.made.balanced[index(s)?];
            let unit = if b.continuous { "lm" } else { "lm s" };
            Some(format!("{} {unit}", rounded(b.amount)))
        });
    }
    for light in &names {
        row(format!("shadow edge of {light}"), &|s| {
            let e = s.made.edge_of(light)?.edge;
            let [least, greatest] = [e.least_mm, e.greatest_mm].map(rounded);
            Some(match least == greatest {
                true => format!("{least} mm"),
                false => format!("{least} to {greatest} mm"),
            })
        });
    }
    if let Some(first) = sides[0].made.ratios.first() {
        let (key, fill) = (first.key.clone(), first.fill.clone());
        row(format!("{key} : {fill}"), &|s| {
            let same = s
                .made
                .ratios
                .iter()
                .find(|r| r.key == key && r.fill == fill)?;
            Some(format!("{} : 1", rounded(same.key_to_fill)))
        });
    }
    row("evenness, face to hem".into(), &|s| {
        Some(format!("{:.1} stops", s.made.evenness_stops?))
    });
    row("camera".into(), &|s| {
        FNumber::exact(s.made.f_number).map(on_dial)
    });
    found
}

/// Two or three significant digits.
fn rounded(value: f64) -> String {
    match value.abs() {
        v if v >= 10.0 => format!("{value:.0}"),
        _ => format!("{value:.1}"),
    }
}
