//! The plots of a modifier's page: its beam, and what spread or distance does.

use super::{
    BODY_MM, Chosen, INK, LEFT, QUIET, ROW_B, SECOND, SEEN_FROM_M, THREE, caption, heading,
    mark_text, signed,
};
use crate::measure::edge::EDGE_DISTANCE_M;
use crate::measure::modifier_page::{
    AXIS_M, EXPOSURE_FOR_LM_S, FIGURE_AT_M, HEM_CHEST_FACE_M, ModifierPage, Setting,
};
use crate::optics::shadow::shadow;
use crate::optics::view::View;
use crate::report::drawing::plot::{Axis, Plot};
use crate::report::drawing::{Colour, Drawing, Paint, Text, fitted};
use crate::setup::Modifier;
use glam::DVec3;

/// The beam's profile, in stops under its axis.
pub(super) fn profile(sheet: &mut Drawing, page: &ModifierPage, chosen: &[Chosen<'_>]) {
    heading(sheet, [LEFT, ROW_B], "The beam, far away");
    let dark = -7.0;
    let relative = |profile: &[[f64; 2]]| -> Vec<[f64; 2]> {
        let axis = profile[0][1];
        let stops = |cd: f64| (cd / axis).log2().max(2.0 * dark);
        profile.iter().map(|[deg, cd]| [*deg, stops(*cd)]).collect()
    };
    let curves: Vec<(Colour, Vec<[f64; 2]>, usize)> = chosen
        .iter()
        .flat_map(|c| {
            let planes = c.setting.beams.iter().enumerate();
            planes.map(|(k, beam)| (c.colour, relative(&beam.profile), k))
        })
        .filter(|(_, points, _)| points.iter().all(|p| !p[1].is_nan()))
        .collect();
    let lit = |points: &[[f64; 2]]| {
        points
            .iter()
            .rev()
            .find(|p| p[1] > dark)
            .map_or(0.0, |p| p[0])
    };
    let reach = curves.iter().map(|c| lit(&c.1)).fold(0.0, f64::max);
    let greatest = curves
        .iter()
        .flat_map(|c| c.1.iter().map(|p| p[1]))
        .fold(0.0, f64::max);
    let (wide, step) = [
        (10, 2),
        (20, 5),
        (30, 5),
        (45, 15),
        (60, 15),
        (90, 15),
        (180, 30),
    ]
    .into_iter()
    .find(|(wide, _)| reach <= f64::from(*wide) + 0.5)
    .unwrap_or((180, 30));
    let top = greatest.ceil().clamp(0.0, 3.0);
    let plot = Plot {
        corner_mm: [LEFT + 9.0, ROW_B + 7.0],
        size_mm: [78.0, 42.0],
        x: Axis {
            span: [0.0, f64::from(wide)],
            ticks: (0..=wide / step)
                .map(|k| (f64::from(k * step), format!("{}°", k * step)))
                .collect(),
            label: "angle off the axis".into(),
        },
        y: Axis {
            span: [dark, top.max(0.5)],
            ticks: (dark as i32..=top as i32)
                .map(|k| (f64::from(k), signed(k)))
                .collect(),
            label: "stops from the axis".into(),
        },
    };
    plot.frame(sheet);
    for (share, words) in [(0.5_f64, "50 %"), (0.1, "10 %")] {
        let y = share.log2();
        plot.curve(
            sheet,
            &[[0.0, y], [f64::from(wide), y]],
            Paint::dashed([150, 150, 150], 0.2, [1.2, 0.8]),
        );
        let [x, y] = plot.at([f64::from(wide), y]);
        sheet.text(Text::new([x + 1.0, y + 0.8], words, 2.3, QUIET));
    }
    let mut two_planes = false;
    for (colour, points, plane) in &curves {
        let paint = if *plane == 0 {
            Paint::line(*colour, 0.45)
        } else {
            two_planes = true;
            Paint::dashed(*colour, 0.45, [1.6, 0.9])
        };
        plot.curve(sheet, points, paint);
    }
    let mut words = String::from(
        "Where the curve meets the upper dashed line lies half the beam angle; at the lower one, half \
         the field angle.",
    );
    words += match (two_planes, page.travels && page.settings.len() > 1) {
        (true, _) => " Whole line: across; dashed: up and down.",
        (false, true) => " Spread opens the beam, and what stands at its edge is lit more evenly.",
        (false, false) => "",
    };
    caption(sheet, [LEFT, ROW_B + 61.5], 92.0, &words);
}

/// A plot of one figure with its words.
struct Small<'a> {
    heading: &'a str,
    x: Axis,
    y: Axis,
    /// Points, and whether dashed.
    curves: Vec<(Vec<[f64; 2]>, bool)>,
    words: &'a str,
}

fn small_plots(sheet: &mut Drawing, plots: [Small<'_>; 3], dots: &[(f64, Colour)]) {
    const STEP: f64 = 57.0;
    for (k, small) in plots.into_iter().enumerate() {
        let left = SECOND + k as f64 * STEP;
        heading(sheet, [left, ROW_B], small.heading);
        let plot = Plot {
            corner_mm: [left + 8.0, ROW_B + 7.0],
            size_mm: [41.0, 42.0],
            x: small.x,
            y: small.y,
        };
        plot.frame(sheet);
        for (points, dashed) in &small.curves {
            let paint = if *dashed {
                Paint::dashed(QUIET, 0.35, [1.4, 0.9])
            } else {
                Paint::line(INK, 0.45)
            };
            plot.curve(sheet, points, paint);
        }
        if let Some((points, _)) = small.curves.first() {
            for (x, colour) in dots {
                if let Some(point) = points.iter().find(|p| (p[0] - x).abs() < 1e-9) {
                    let at = plot.at(*point);
                    sheet.circle(at, 0.95, Paint::line([255, 255, 255], 0.3).filled(*colour));
                }
            }
        }
        caption(sheet, [left, ROW_B + 61.5], 51.0, small.words);
    }
}

pub(super) fn against_spread(sheet: &mut Drawing, page: &ModifierPage) {
    let spread = |s: &Setting| s.spread.unwrap_or(0.0);
    let points = |of: &dyn Fn(&Setting) -> Option<f64>| -> Vec<[f64; 2]> {
        page.settings
            .iter()
            .filter_map(|s| Some([spread(s), of(s)?]))
            .collect()
    };
    let edge = |s: &Setting| {
        s.edges
            .iter()
            .find(|e| e.distance_m == SEEN_FROM_M)
            .copied()
    };
    let least = points(&|s| edge(s).map(|e| e.edge_least_mm));
    let most = points(&|s| edge(s).map(|e| e.edge_greatest_mm));
    let light = points(&|s| {
        s.axis
            .iter()
            .find(|a| a.distance_m == SEEN_FROM_M)
            .map(|a| a.exposure_lx_s)
    });
    let beam = points(&|s| s.beams[0].beam_deg);
    let field = points(&|s| s.beams[0].field_deg);
    let greatest = |curves: &[&[[f64; 2]]]| {
        curves
            .iter()
            .flat_map(|c| c.iter().map(|p| p[1]))
            .fold(0.0, f64::max)
    };
    let change = |curve: &[[f64; 2]]| match (curve.first(), curve.last()) {
        (Some(a), Some(b)) if b[1] > 1.05 * a[1] => 1,
        (Some(a), Some(b)) if b[1] < 0.95 * a[1] => -1,
        _ => 0,
    };
    let (softer, softer_words) = match change(&least) {
        1 => (
            "Spread softens",
            "More of the face is lit: a larger source, a wider shadow edge, softer.",
        ),
        -1 => (
            "Spread hardens",
            "Less of the face is lit: a smaller source, a narrower shadow edge.",
        ),
        _ => (
            "Spread hardly changes softness",
            "The lit part of the face stays about as large at all settings.",
        ),
    };
    let hottest = light.iter().copied().max_by(|a, b| a[1].total_cmp(&b[1]));
    let dimmer_words = match (hottest, light.first()) {
        (Some(hot), Some(first)) if hot[1] > 1.03 * first[1] && hot[0] < 1.0 => {
            let at = page.settings.iter().find(|s| spread(s) == hot[0]);
            let at = at.and_then(|s| s.mark.or(s.spread)).unwrap_or(hot[0]);
            let scale = page.scale.as_deref().unwrap_or("spread");
            let scale = fitted(scale, BODY_MM, 16.0);
            format!(
                "Brightest at {scale} {}, not at the tightest. Beyond it the same light fills a wider beam.",
                mark_text(at)
            )
        }
        _ => "The same light in a wider beam is less on the axis: set more power, or come nearer."
            .to_owned(),
    };
    let dimmer = match change(&light) {
        1 => "Spread brightens the middle",
        -1 => "Spread dims the middle",
        _ => "Spread hardly dims the middle",
    };
    let wider = match change(&beam) {
        1 => "Spread widens the beam",
        -1 => "Spread narrows the beam",
        _ => "Spread hardly widens the beam",
    };
    let x = x_of_spread(page);
    let two_edges = most.iter().zip(&least).any(|(a, b)| a[1] > 1.05 * b[1]);
    let plots = [
        Small {
            heading: softer,
            x: x.clone(),
            y: Axis::from_zero(greatest(&[&least, &most]), "shadow edge at 2 m, mm"),
            curves: if two_edges {
                vec![(least, false), (most, true)]
            } else {
                vec![(least, false)]
            },
            words: softer_words,
        },
        Small {
            heading: dimmer,
            x: x.clone(),
            y: Axis::from_zero(greatest(&[&light]), "lx s at 2 m per 100 lm s"),
            curves: vec![(light, false)],
            words: &dimmer_words,
        },
        Small {
            heading: wider,
            x,
            y: Axis::from_zero(greatest(&[&beam, &field]), "full angle, degrees"),
            curves: vec![(beam, false), (field, true)],
            words: "Whole line: beam, to 50 % of the axis; dashed: field, to 10 %.",
        },
    ];
    let last = page.settings.len() - 1;
    let dots: Vec<(f64, Colour)> = [0, last / 2, last]
        .into_iter()
        .zip(THREE)
        .map(|(k, colour)| (spread(&page.settings[k]), colour))
        .collect();
    small_plots(sheet, plots, &dots);
}

/// Spread along, in the modifier's own marks where it has some.
fn x_of_spread(page: &ModifierPage) -> Axis {
    let shown = page.settings.iter().step_by(2).filter_map(|s| {
        let value = s.mark.or(s.spread)?;
        Some((s.spread?, mark_text(value)))
    });
    Axis {
        span: [0.0, 1.0],
        ticks: shown.collect(),
        label: match &page.scale {
            Some(scale) => format!("{} (tight to wide)", fitted(scale, 2.4, 20.0)),
            None => "spread (tight to wide)".into(),
        },
    }
}

/// Where spread changes nothing, distance does.
pub(super) fn against_distance(sheet: &mut Drawing, modifier: &Modifier, setting: &Setting) {
    let view = View::new(&setting.shine, modifier);
    let places: Vec<f64> = (0..=16).map(|k| 1.0 + 0.25 * f64::from(k)).collect();
    let light: Vec<[f64; 2]> = places
        .iter()
        .map(|&d| {
            [
                d,
                EXPOSURE_FOR_LM_S * view.illuminance_lx(DVec3::Z * d, DVec3::NEG_Z),
            ]
        })
        .collect();
    let far_cd = EXPOSURE_FOR_LM_S * view.intensity_cd(DVec3::Z);
    let square: Vec<[f64; 2]> = places.iter().map(|&d| [d, far_cd / (d * d)]).collect();
    let edges: Vec<(f64, [f64; 2])> = places
        .iter()
        .step_by(2)
        .filter_map(|&d| {
            let s = shadow(&view, DVec3::Z * d, EDGE_DISTANCE_M)?;
            Some((d, [s.least_mm, s.greatest_mm]))
        })
        .collect();
    let edge =
        |which: usize| -> Vec<[f64; 2]> { edges.iter().map(|(d, mm)| [*d, mm[which]]).collect() };
    let [hem, chest, face] = HEM_CHEST_FACE_M;
    let readings: Vec<[f64; 2]> = (0..=24)
        .map(|k| {
            let height = hem + (face - hem) * f64::from(k) / 24.0;
            let at = DVec3::new(0.0, height - chest, FIGURE_AT_M);
            [height, view.illuminance_lx(at, DVec3::NEG_Z)]
        })
        .collect();
    let at_chest = view.illuminance_lx(DVec3::Z * FIGURE_AT_M, DVec3::NEG_Z);
    let over: Vec<[f64; 2]> = readings
        .iter()
        .map(|[h, lx]| [(lx / at_chest).log2().max(-20.0), *h])
        .collect();
    let darkest = over.iter().map(|p| p[0]).fold(-0.5, f64::min).max(-8.0);
    let low = darkest.floor() as i32;
    let along = Axis {
        span: [1.0, 5.0],
        ticks: AXIS_M.iter().map(|d| (*d, format!("{d:.0}"))).collect(),
        label: "metres away".into(),
    };
    let greatest = |curve: &[[f64; 2]]| curve.iter().map(|p| p[1]).fold(0.0, f64::max);
    let (least, most) = (edge(0), edge(1));
    let two = edges.iter().any(|(_, mm)| mm[1] > 1.05 * mm[0]);
    let most_light = greatest(&light).max(greatest(&square));
    let plots = [
        Small {
            heading: "Nearer is softer",
            x: along.clone(),
            y: Axis::from_zero(greatest(&most), "shadow edge, mm"),
            words: if two {
                "Whole line: the shadow of an edge along the longer side; dashed: along the shorter."
            } else {
                "The nearer a source, the larger it looks and the wider its shadow edge."
            },
            curves: if two {
                vec![(least, false), (most, true)]
            } else {
                vec![(least, false)]
            },
        },
        Small {
            heading: "Nearer is brighter",
            x: along,
            y: Axis::from_zero(most_light, "lx s per 100 lm s"),
            words: match light.first().zip(square.first()) {
                Some((near, far)) if near[1] < 0.95 * far[1] => {
                    "Dashed: the inverse square of the far beam. Close by, so large a source stays under it."
                }
                Some((near, far)) if near[1] > 1.05 * far[1] => {
                    "Dashed: the inverse square of the far beam, which light only comes to far away."
                }
                _ => "Dashed: the inverse square. At these distances the light keeps to it.",
            },
            curves: vec![(light, false), (square, true)],
        },
        Small {
            heading: "Over the figure",
            x: Axis {
                span: [f64::from(low), 0.5],
                ticks: (low..=0).map(|k| (f64::from(k), signed(k))).collect(),
                label: "stops from the chest".into(),
            },
            y: Axis {
                span: [0.0, 1.8],
                ticks: [0.0, hem, chest, face]
                    .iter()
                    .map(|h| {
                        (
                            *h,
                            format!("{h:.2}")
                                .trim_end_matches('0')
                                .trim_end_matches('.')
                                .to_owned(),
                        )
                    })
                    .collect(),
                label: "height, m".into(),
            },
            curves: vec![(over, false)],
            words: "From hem to face, aimed level at the chest from 2 m, the meter facing the light.",
        },
    ];
    small_plots(sheet, plots, &[]);
}
