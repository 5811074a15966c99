//! The plots of a sweep: what readings, shadow edge, power and evenness do from value to value.

use super::captions::{amount_in_stops, watched};
use super::{INK, LABEL_MM, MARGIN, QUIET, WORDS_MM};
use crate::measure::readings::Reading;
use crate::measure::vary::{Made, Plan, Spacing};
use crate::report::drawing::plot::{Axis, Plot};
use crate::report::drawing::{Anchor, Colour, Drawing, Paint, Text, fitted, text_width_mm};

const HIGH: f64 = 38.0;
/// Room for names at the ends of curves.
const NAMES: f64 = 15.0;
const COLOURS: [Colour; 6] = [
    [38, 52, 96],
    [166, 66, 82],
    [204, 140, 40],
    [62, 122, 96],
    [116, 84, 150],
    [96, 96, 96],
];
/// Names on an axis, at the most; of more, every second stands there.
const MOST_TICKS: usize = 7;
/// Powers that differ by less are the same.
const SAME_STOPS: f64 = 0.02;

/// f-numbers of whole stops, from f/0.7 on.
const WHOLE_STOPS: [&str; 15] = [
    "f/0.7", "f/1", "f/1.4", "f/2", "f/2.8", "f/4", "f/5.6", "f/8", "f/11", "f/16", "f/22", "f/32",
    "f/45", "f/64", "f/90",
];

struct Panel {
    heading: String,
    y: Axis,
    curves: Vec<Curve>,
}

struct Curve {
    name: String,
    colour: Colour,
    width_mm: f64,
    dashed: bool,
    points: Vec<[f64; 2]>,
}

/// Draws the plots in a row under `top`; gives where they end.
pub(super) fn draw(page: &mut Drawing, plan: &Plan, made: &[Made], top: f64) -> f64 {
    let panels = panels(plan, made);
    if panels.is_empty() {
        return top - 9.0;
    }
    let room = page.size_mm[0] - 2.0 * MARGIN;
    let step = room / panels.len().max(3) as f64;
    for (k, panel) in panels.iter().enumerate() {
        let left = MARGIN + k as f64 * step;
        let heading = fitted(&panel.heading, LABEL_MM, step - 4.0);
        page.text(Text::new([left, top], heading, LABEL_MM, INK).strong());
        let plot = Plot {
            corner_mm: [left + 10.0, top + 6.5],
            size_mm: [step - 10.0 - NAMES - 3.0, HIGH],
            x: along(plan),
            y: panel.y.clone(),
        };
        plot.frame(page);
        name_values(page, plan, &plot);
        for curve in &panel.curves {
            draw_curve(page, plan, &plot, curve);
        }
        name_curves(page, &plot, &panel.curves);
    }
    top + 6.5 + HIGH + 11.0
}

fn draw_curve(page: &mut Drawing, plan: &Plan, plot: &Plot, curve: &Curve) {
    let paint = match curve.dashed {
        true => Paint::dashed(curve.colour, curve.width_mm, [1.6, 0.9]),
        false => Paint::line(curve.colour, curve.width_mm),
    };
    // Names have no values between them: their line is only there to be followed.
    if plan.is_measured() {
        plot.curve(page, &curve.points, paint);
    } else {
        plot.curve(page, &curve.points, Paint::line(pale(curve.colour), 0.2));
    }
    if !curve.dashed || !plan.is_measured() {
        for point in &curve.points {
            let radius = if plan.is_measured() { 0.55 } else { 0.9 };
            page.circle(plot.at(*point), radius, Paint::fill(curve.colour));
        }
    }
}

fn pale(colour: Colour) -> Colour {
    colour.map(|v| v + (255 - v) / 2)
}

/// Names at the right ends, moved apart where they would touch.
fn name_curves(page: &mut Drawing, plot: &Plot, curves: &[Curve]) {
    const APART: f64 = 3.0;
    let ends = curves.iter().filter(|c| !c.name.is_empty());
    let mut ends: Vec<(f64, &Curve)> = ends
        .filter_map(|c| Some((plot.at(*c.points.last()?)[1], c)))
        .collect();
    ends.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut ends = joined(ends);
    let bottom = plot.corner_mm[1] + plot.size_mm[1];
    let mut lowest = plot.corner_mm[1] - APART;
    for (y, ..) in &mut ends {
        *y = y.max(lowest + APART);
        lowest = *y;
    }
    let mut highest = bottom + APART;
    for (y, ..) in ends.iter_mut().rev() {
        *y = y.min(highest - APART);
        highest = *y;
    }
    let x = plot.corner_mm[0] + plot.size_mm[0] + 1.8;
    for (y, name, colour) in ends {
        let words = fitted(&name, WORDS_MM, NAMES);
        page.text(Text::new([x, y + 0.9], words, WORDS_MM, colour));
    }
}

/// Curves that lie on each other all along share their name.
fn joined(ends: Vec<(f64, &Curve)>) -> Vec<(f64, String, Colour)> {
    let count = ends.len();
    let mut groups: Vec<(f64, Vec<&Curve>)> = Vec::new();
    for (y, curve) in ends {
        let on = |other: &Curve| {
            let near = |(a, b): (&[f64; 2], &[f64; 2])| (a[1] - b[1]).abs() < 0.01;
            let each = other.points.iter().zip(&curve.points);
            other.points.len() == curve.points.len() && each.into_iter().all(near)
        };
        match groups.iter_mut().find(|(_, group)| on(group[0])) {
            Some((_, group)) => group.push(curve),
            None => groups.push((y, vec![curve])),
        }
    }
    let one = |(y, group): (f64, Vec<&Curve>)| {
        let names: Vec<&str> = group.iter().map(|c| c.name.as_str()).collect();
        match group.len() {
            all if all == count && all > 2 => (y, "all alike".to_owned(), INK),
            many => (y, names.join(", "), group[many - 1].colour),
        }
    };
    groups.into_iter().map(one).collect()
}

/// Values of the first axis.
fn along(plan: &Plan) -> Axis {
    let axis = &plan.axes[0];
    let count = axis.values.len();
    let every = count.div_ceil(MOST_TICKS);
    let shown = |k: &usize| (count - 1 - k).is_multiple_of(every);
    let key = axis.words();
    match &axis.spacing {
        Spacing::Numbers { at, unit } => {
            let ends = [at[0], at[count - 1]];
            let span = [ends[0].min(ends[1]), ends[0].max(ends[1])];
            let tick = |k: usize| (at[k], tick_words(at[k]));
            Axis {
                span,
                ticks: (0..count).filter(shown).map(tick).collect(),
                label: match unit.as_str() {
                    "" => key,
                    unit => format!("{key}, {}", unit.trim()),
                },
            }
        }
        // Their names and the label are put there by `name_values`.
        Spacing::Names => Axis {
            span: [-0.4, count as f64 - 0.6],
            ticks: (0..count).map(|k| (k as f64, String::new())).collect(),
            label: String::new(),
        },
    }
}

/// Names of values under their places: on one line where they fit, else on two by turns.
fn name_values(page: &mut Drawing, plan: &Plan, plot: &Plot) {
    const NAME_MM: f64 = 2.4;
    let axis = &plan.axes[0];
    if axis.spacing != Spacing::Names {
        return;
    }
    let count = axis.values.len();
    let apart = plot.at([1.0, 0.0])[0] - plot.at([0.0, 0.0])[0];
    let fits = |k: usize| text_width_mm(&axis.label(k), NAME_MM) < apart - 1.2;
    let lines = if (0..count).all(fits) { 1 } else { 2 };
    let bottom = plot.corner_mm[1] + plot.size_mm[1];
    let mut write = |at: [f64; 2], words: &str, room: f64| {
        let words = fitted(words, NAME_MM, room);
        page.text(Text::new(at, words, NAME_MM, QUIET).anchored(Anchor::Middle));
    };
    for k in 0..count {
        let [x, _] = plot.at([k as f64, 0.0]);
        let room = apart * lines as f64 - 1.2;
        write(
            [x, bottom + 3.6 + 3.0 * (k % lines) as f64],
            &axis.label(k),
            room,
        );
    }
    let middle = plot.corner_mm[0] + 0.5 * plot.size_mm[0];
    write(
        [middle, bottom + 4.0 + 3.2 * lines as f64],
        &axis.words(),
        plot.size_mm[0],
    );
}

fn tick_words(value: f64) -> String {
    let text = format!("{value:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0" } else { text }.replace('-', "−")
}

fn place(plan: &Plan, index: usize) -> f64 {
    match &plan.axes[0].spacing {
        Spacing::Numbers { at, .. } => at[index],
        Spacing::Names => index as f64,
    }
}

/// The curves of one figure: one, or one for each value of the second axis.
fn by_rows(plan: &Plan, figure: impl Fn(usize) -> Option<f64>) -> Vec<Curve> {
    let columns = plan.columns();
    (0..plan.rows())
        .map(|row| Curve {
            name: plan.axes.get(1).map_or(String::new(), |a| a.label(row)),
            colour: COLOURS[row % COLOURS.len()],
            width_mm: 0.45,
            dashed: row >= COLOURS.len(),
            points: (0..columns)
                .filter_map(|k| Some([place(plan, k), figure(row * columns + k)?]))
                .collect(),
        })
        .filter(|c| !c.points.is_empty())
        .collect()
}

fn panels(plan: &Plan, made: &[Made]) -> Vec<Panel> {
    let mut panels = vec![readings(plan, made)];
    panels.extend(watched(plan, made).and_then(|light| edge(plan, made, light)));
    panels.extend(power(plan, made));
    panels.extend(evenness(plan, made));
    if panels.len() < 4 {
        panels.extend(ratio(plan, made));
    }
    panels
}

/// Stops of an f-number: 2 log2 N.
fn stops_of(reading: &Reading) -> Option<f64> {
    reading.f_number.map(|n| 2.0 * n.value().log2())
}

fn readings(plan: &Plan, made: &[Made]) -> Panel {
    let point = &made[0].expose_at.meter.name;
    let curves = match plan.axes.len() {
        1 => {
            let lights = &plan.states[0].setup.lights;
            let mut curves: Vec<Curve> = Vec::new();
            for (light, of) in lights.iter().enumerate() {
                let on = |state: usize| {
                    plan.states[state]
                        .setup
                        .lights
                        .get(light)
                        .is_some_and(|l| l.on)
                };
                for mut curve in by_rows(plan, |k| {
                    stops_of(made[k].expose_at.lights.get(light)?).filter(|_| on(k))
                }) {
                    curve.name = of.name.clone();
                    curve.colour = COLOURS[light % COLOURS.len()];
                    curves.push(curve);
                }
            }
            for mut curve in by_rows(plan, |k| stops_of(&made[k].expose_at.together)) {
                (curve.name, curve.colour, curve.width_mm) = ("together".into(), INK, 0.7);
                curves.push(curve);
            }
            curves
        }
        _ => by_rows(plan, |k| stops_of(&made[k].expose_at.together)),
    };
    let heading = match plan.axes.len() {
        1 => format!("Readings at {point}"),
        _ => format!("Together at {point}"),
    };
    let [low, high] = span(&curves, 1.0);
    let whole = low.floor() as i32..=high.ceil() as i32;
    let every = ((whole.end() - whole.start()) / 8 + 1).max(1);
    let tick = |k: i32| {
        let words = usize::try_from(k + 1).ok().and_then(|k| WHOLE_STOPS.get(k));
        words.map(|w| (f64::from(k), (*w).to_owned()))
    };
    Panel {
        heading,
        y: Axis {
            span: [f64::from(*whole.start()), f64::from(*whole.end())],
            ticks: whole
                .filter(|k| k.rem_euclid(every) == 0)
                .filter_map(tick)
                .collect(),
            label: String::new(),
        },
        curves,
    }
}

/// Least and greatest of all points, no nearer than `least`.
fn span(curves: &[Curve], least: f64) -> [f64; 2] {
    let values = || curves.iter().flat_map(|c| c.points.iter().map(|p| p[1]));
    let low = values().fold(f64::INFINITY, f64::min);
    let high = values().fold(f64::NEG_INFINITY, f64::max);
    if !low.is_finite() || !high.is_finite() {
        return [0.0, least];
    }
    let more = (0.5 * (least - (high - low))).max(0.0);
    [low - more, high + more]
}

fn edge(plan: &Plan, made: &[Made], light: usize) -> Option<Panel> {
    let name = &plan.states[0].setup.lights[light].name;
    let of = |k: usize| {
        let light = &plan.states[k].setup.lights.get(light)?.name;
        Some(made[k].edge_of(light)?.edge)
    };
    let mut curves = by_rows(plan, |k| of(k).map(|e| e.greatest_mm));
    let two = plan.axes.len() == 1
        && (0..made.len()).any(|k| of(k).is_some_and(|e| e.greatest_mm > 1.05 * e.least_mm));
    if two {
        for mut curve in by_rows(plan, |k| of(k).map(|e| e.least_mm)) {
            (curve.name, curve.dashed) = ("least".into(), true);
            curves.push(curve);
        }
        curves[0].name = "greatest".into();
    }
    let greatest = span(&curves, 0.0)[1];
    (!curves.is_empty()).then(|| Panel {
        heading: format!("Shadow edge of {name}"),
        y: Axis::from_zero(greatest, "mm, 10 to 90 %"),
        curves,
    })
}

/// What lights that have a target need, where that changes.
fn power(plan: &Plan, made: &[Made]) -> Option<Panel> {
    let lights = &plan.states[0].setup.lights;
    let needs = |k: usize, light: usize| {
        let b = made[k].balanced.get(light)?;
        amount_in_stops(made, k, light).filter(|_| b.target.is_some() && b.on)
    };
    let follows: Vec<usize> = (0..lights.len())
        .filter(|light| {
            (0..made.len()).any(|k| needs(k, *light).is_some_and(|s| s.abs() > SAME_STOPS))
        })
        .collect();
    let (heading, curves) = match (&follows[..], plan.axes.len()) {
        ([], _) => return None,
        (all, 1) => {
            let each = all.iter().flat_map(|light| {
                let mut curves = by_rows(plan, |k| needs(k, *light));
                for curve in &mut curves {
                    curve.name = lights[*light].name.clone();
                    curve.colour = COLOURS[light % COLOURS.len()];
                }
                curves
            });
            ("Power wanted".to_owned(), each.collect::<Vec<_>>())
        }
        ([light, ..], _) => (
            format!("Power wanted of {}", lights[*light].name),
            by_rows(plan, |k| needs(k, *light)),
        ),
    };
    Some(Panel {
        heading,
        y: stops_axis(&curves, "stops from the first"),
        curves,
    })
}

fn evenness(plan: &Plan, made: &[Made]) -> Option<Panel> {
    let curves = by_rows(plan, |k| made[k].evenness_stops);
    let greatest = span(&curves, 0.0)[1];
    (!curves.is_empty()).then(|| Panel {
        heading: "Evenness, face to hem".into(),
        y: Axis::from_zero(greatest.max(0.4), "stops between"),
        curves,
    })
}

fn ratio(plan: &Plan, made: &[Made]) -> Option<Panel> {
    let first = made[0].ratios.first()?;
    let at = |k: usize| {
        let found = made[k]
            .ratios
            .iter()
            .find(|r| r.key == first.key && r.fill == first.fill);
        found.map(|r| r.key_to_fill.log2())
    };
    let curves = by_rows(plan, at);
    Some(Panel {
        heading: format!("{} over {}", first.key, first.fill),
        y: stops_axis(&curves, "stops"),
        curves,
    })
}

/// Round steps about the values, with signs.
fn stops_axis(curves: &[Curve], label: &str) -> Axis {
    let [low, high] = span(curves, 1.0);
    let step = [0.5, 1.0, 2.0, 5.0]
        .into_iter()
        .find(|s| (high - low) / s <= 5.0)
        .unwrap_or(10.0);
    let from = (low / step - 0.05).floor() as i32;
    let to = (high / step + 0.05).ceil() as i32;
    let words = |v: f64| match v {
        0.0 => "0".to_owned(),
        v if v > 0.0 => format!("+{v}"),
        v => format!("−{}", -v),
    };
    Axis {
        span: [f64::from(from) * step, f64::from(to) * step],
        ticks: (from..=to)
            .map(|k| (f64::from(k) * step, words(f64::from(k) * step)))
            .collect(),
        label: label.to_owned(),
    }
}
