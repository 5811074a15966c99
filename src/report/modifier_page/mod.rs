//! A modifier's data page as a drawing: its section, its face as the subject sees it, its beam, and
//! what spread (or distance, where there is none) does. A4, lying.

mod plots;

use super::drawing::ramp::Ramp;
use super::drawing::section::{length, section};
use super::drawing::{Anchor, Colour, Drawing, Paint, Raster, Shape, Text, fitted};
use crate::measure::edge::EDGE_DISTANCE_M;
use crate::measure::modifier_page::{ModifierPage, Setting};
use crate::optics::view::View;
use crate::setup::Modifier;
use glam::DVec3;

const PAGE_MM: [f64; 2] = [297.0, 210.0];
const LEFT: f64 = 15.0;
const RIGHT: f64 = 282.0;
/// Where the right part begins: faces and three plots.
const SECOND: f64 = 116.0;
/// Baselines of the two rows' headings.
const ROW_A: f64 = 38.0;
const ROW_B: f64 = 127.0;
const INK: Colour = [34, 34, 34];
const QUIET: Colour = [95, 95, 95];
const RULE: Colour = [190, 190, 190];
const BODY_MM: f64 = 2.75;
const HEADING_MM: f64 = 3.1;
const LEADING_MM: f64 = 3.7;
/// Tight, middle, wide.
const THREE: [Colour; 3] = [[38, 52, 96], [166, 66, 82], [214, 150, 44]];
/// Distance that faces are seen from and edges drawn at.
const SEEN_FROM_M: f64 = 2.0;
/// Pixels along a face.
const PIXELS: usize = 192;
/// Stops that false colours span.
const STOPS: f64 = 8.0;
/// Where a lamp does not travel, its face is seen from the axis and from beside it: these shares of
/// half the field angle, which counts up to so many degrees.
const BESIDE: [f64; 3] = [0.0, 0.42, 0.83];
const MOST_BESIDE_DEG: f64 = 60.0;
/// Share of all pixels that may be brighter than "brightest", so that no noisy one sets the colours.
const BRIGHTER: f64 = 0.002;

/// Draws the page.
pub fn draw(modifier: &Modifier, page: &ModifierPage) -> Drawing {
    let title = if page.title.is_empty() {
        &page.modifier
    } else {
        &page.title
    };
    let mut sheet = Drawing::new(PAGE_MM, title.as_str());
    header(&mut sheet, modifier, page, title);
    let chosen = three(page);
    heading(&mut sheet, [LEFT, ROW_A], "Section");
    let one_to = section(&mut sheet, modifier, [LEFT, ROW_A + 0.5], [90.0, 72.0]);
    caption(
        &mut sheet,
        [LEFT, 115.0],
        90.0,
        &section_words(modifier, one_to),
    );
    faces(&mut sheet, modifier, page, &chosen);
    plots::profile(&mut sheet, page, &chosen);
    if page.settings.len() > 2 {
        plots::against_spread(&mut sheet, page);
    } else if let Some(setting) = page.settings.first() {
        plots::against_distance(&mut sheet, modifier, setting);
    }
    footer(&mut sheet);
    sheet
}

fn header(sheet: &mut Drawing, modifier: &Modifier, page: &ModifierPage, title: &str) {
    let room = RIGHT - LEFT - 60.0;
    sheet.text(Text::new([LEFT, 20.0], fitted(title, 7.0, room), 7.0, INK));
    let [w, h] = page.face_m;
    let across = if (w - h).abs() < 1e-9 {
        format!("{} across", length(w))
    } else {
        format!("{} wide, {} high", length(w), length(h))
    };
    let mut words = format!("{}, {across}", page.kind.replace('-', " "));
    if let Some(travel) = modifier.travel {
        words += &format!(
            "; the lamp travels {}",
            length((travel.wide_m - travel.tight_m).abs())
        );
    }
    if let (Some(scale), Some(tight), Some(wide)) = (
        &page.scale,
        modifier.mark_of_spread(0.0),
        modifier.mark_of_spread(1.0),
    ) {
        words += &format!(
            "; {scale} {} (tight) to {} (wide)",
            mark_text(tight),
            mark_text(wide)
        );
    }
    sheet.text(Text::new(
        [LEFT, 26.5],
        fitted(&words, 3.2, RIGHT - LEFT),
        3.2,
        QUIET,
    ));
    let name = fitted(&page.modifier, 3.2, 56.0);
    sheet.text(Text::new([RIGHT, 20.0], name, 3.2, QUIET).anchored(Anchor::End));
    sheet.line([[LEFT, 30.5], [RIGHT, 30.5]], Paint::line(INK, 0.25));
}

fn heading(sheet: &mut Drawing, at_mm: [f64; 2], words: &str) {
    sheet.text(Text::new(at_mm, words, HEADING_MM, INK).strong());
}

fn caption(sheet: &mut Drawing, at_mm: [f64; 2], width_mm: f64, words: &str) -> usize {
    let text = Text::new(at_mm, words, BODY_MM, QUIET);
    sheet.paragraph(&text, width_mm, LEADING_MM)
}

fn section_words(modifier: &Modifier, one_to: f64) -> String {
    let scale = format!("Scale 1:{}.", mark_text(one_to));
    match modifier.travel {
        Some(_) => format!(
            "{scale} The lamp is drawn filled where spread is 0 (tight), dashed where it is 1 (wide). \
             Light leaves to the right."
        ),
        None if modifier.kind.has_front() => format!("{scale} Light leaves to the right."),
        None => format!("{scale} Light leaves all round; its axis is to the right."),
    }
}

/// A setting with its colour and its name on the page.
struct Chosen<'a> {
    setting: &'a Setting,
    colour: Colour,
    name: String,
}

/// Tight, middle and wide, or what there is.
fn three(page: &ModifierPage) -> Vec<Chosen<'_>> {
    let last = page.settings.len().saturating_sub(1);
    let mut places = vec![0, last / 2, last];
    places.dedup();
    let names = ["Tight", "Middle", "Wide"];
    places
        .iter()
        .enumerate()
        .filter_map(|(k, place)| {
            let setting = page.settings.get(*place)?;
            let spread = setting.spread.map_or(String::new(), |s| {
                let mark = match (&page.scale, setting.mark) {
                    (Some(scale), Some(mark)) => format!(", {scale} {}", mark_text(mark)),
                    _ => String::new(),
                };
                format!("spread {}{mark}", mark_text(s))
            });
            let name = match (places.len(), setting.spread) {
                (3, _) => format!("{}: {spread}", names[k]),
                (_, Some(_)) => spread,
                (_, None) => String::new(),
            };
            Some(Chosen {
                setting,
                colour: THREE[k],
                name,
            })
        })
        .collect()
}

/// The false-colour faces, their legend and the figures under each.
fn faces(sheet: &mut Drawing, modifier: &Modifier, page: &ModifierPage, chosen: &[Chosen<'_>]) {
    const SIDE: f64 = 45.0;
    const STEP: f64 = 51.5;
    let top = ROW_A + 3.5;
    heading(
        sheet,
        [SECOND, ROW_A],
        &format!(
            "The face as the subject sees it, {} away",
            length(SEEN_FROM_M)
        ),
    );
    let turned = chosen.len() == 1;
    let half_field_deg = chosen
        .first()
        .and_then(|c| c.setting.beams[0].field_deg)
        .map_or(MOST_BESIDE_DEG, |deg| (0.5 * deg).min(MOST_BESIDE_DEG));
    let beside_deg = BESIDE.map(|share| (share * half_field_deg).round());
    let looks: Vec<(&Setting, DVec3)> = if turned {
        beside_deg
            .iter()
            .map(|deg: &f64| {
                let (s, c) = deg.to_radians().sin_cos();
                (chosen[0].setting, DVec3::new(s, 0.0, c) * SEEN_FROM_M)
            })
            .collect()
    } else {
        chosen
            .iter()
            .map(|c| (c.setting, DVec3::Z * SEEN_FROM_M))
            .collect()
    };
    let half_m = 0.56 * page.face_m[0].max(page.face_m[1]);
    let rasters: Vec<Vec<f32>> = looks
        .iter()
        .map(|(setting, eye)| {
            View::new(&setting.shine, modifier).luminance_toward(*eye, half_m, PIXELS)
        })
        .collect();
    let brightest = brightest(&rasters);
    let ramp = Ramp::new();
    for (k, raster) in rasters.iter().enumerate() {
        let left = SECOND + k as f64 * STEP;
        let colour = |l: &f32| ramp.at(1.0 + f64::from(l / brightest).log2() / STOPS);
        sheet.shapes.push(Shape::Raster {
            corner_mm: [left, top],
            size_mm: [SIDE, SIDE],
            raster: Raster {
                columns: PIXELS,
                pixels: raster.iter().map(colour).collect(),
            },
        });
        let under = top + SIDE + 5.0;
        if turned {
            let words = match beside_deg[k] {
                0.0 => "From the axis".to_owned(),
                deg => format!("From {deg:.0}° beside it"),
            };
            sheet.text(Text::new([left, under], words, BODY_MM, INK).strong());
        } else {
            let c = &chosen[k];
            sheet.rect([left, under - 2.1], [2.2, 2.2], Paint::fill(c.colour));
            sheet.text(Text::new([left + 3.6, under], &*c.name, BODY_MM, INK).strong());
            key_figures(sheet, c.setting, [left, under + 4.6], SIDE);
        }
    }
    if turned {
        let words = "An even face looks as bright from everywhere; a face with a hot spot, a plate or a \
                     grid changes as you walk round it. That is the light a turned head meets.";
        key_figures(sheet, chosen[0].setting, [SECOND, top + SIDE + 9.6], 60.0);
        caption(sheet, [SECOND + 68.0, top + SIDE + 9.6], 80.0, words);
    }
    legend(sheet, &ramp, [SECOND + 2.0 * STEP + SIDE + 3.5, top], SIDE);
}

/// The luminance that the brightest colour stands for.
fn brightest(rasters: &[Vec<f32>]) -> f32 {
    let mut lit: Vec<f32> = rasters
        .iter()
        .flatten()
        .copied()
        .filter(|l| *l > 0.0)
        .collect();
    lit.sort_by(f32::total_cmp);
    let last = lit.len().saturating_sub(1);
    let at = (last as f64 * (1.0 - BRIGHTER)) as usize;
    lit.get(at).copied().unwrap_or(1.0)
}

fn legend(sheet: &mut Drawing, ramp: &Ramp, [left, top]: [f64; 2], high: f64) {
    const BAND: usize = 64;
    let pixels = (0..BAND)
        .map(|k| ramp.at(1.0 - (k as f64 + 0.5) / BAND as f64))
        .collect();
    sheet.shapes.push(Shape::Raster {
        corner_mm: [left, top],
        size_mm: [3.0, high],
        raster: Raster { columns: 1, pixels },
    });
    for stop in (0..=STOPS as usize).step_by(2) {
        let y = top + high * stop as f64 / STOPS;
        let words = match stop {
            0 => "brightest".to_owned(),
            stop => format!("\u{2212}{stop} stops"),
        };
        sheet.text(Text::new([left + 4.0, y + 0.9], words, 2.3, QUIET));
    }
}

/// The figures that matter most, name at the left, value at the right.
fn key_figures(sheet: &mut Drawing, setting: &Setting, [left, top]: [f64; 2], width: f64) {
    let edge = setting.edges.iter().find(|e| e.distance_m == SEEN_FROM_M);
    let at_2 = setting.axis.iter().find(|a| a.distance_m == SEEN_FROM_M);
    let rows = [
        ("Efficiency", format!("{:.0} %", 100.0 * setting.efficiency)),
        (
            "Light at 2 m, per 100 lm s",
            at_2.map_or("none".into(), |a| {
                format!("{} lx s", three_digits(a.exposure_lx_s))
            }),
        ),
        ("Beam, to 50 %", angles(setting, |b| b.beam_deg)),
        ("Field, to 10 %", angles(setting, |b| b.field_deg)),
        (
            "Source, as an even disk",
            edge.map_or("none".into(), |e| {
                match (e.source_least_m, e.source_greatest_m) {
                    (Some(a), Some(b)) if b > 1.03 * a => format!("{a:.2}\u{2013}{b:.2} m"),
                    (Some(a), _) => format!("{a:.2} m"),
                    _ => "beyond any".into(),
                }
            }),
        ),
    ];
    for (k, (name, value)) in rows.into_iter().enumerate() {
        let y = top + k as f64 * 3.9;
        sheet.text(Text::new([left, y], name, 2.5, QUIET));
        sheet.text(Text::new([left + width, y], value, 2.5, INK).anchored(Anchor::End));
    }
}

fn angles(
    setting: &Setting,
    of: impl Fn(&crate::measure::modifier_page::Beam) -> Option<f64>,
) -> String {
    let each: Vec<String> = setting
        .beams
        .iter()
        .map(|b| of(b).map_or("not reached".into(), |deg| format!("{deg:.0}°")))
        .collect();
    match each.as_slice() {
        [a, b] if a == b => a.clone(),
        [a, b] => format!("{a} \u{d7} {b}"),
        _ => each.concat(),
    }
}

fn footer(sheet: &mut Drawing) {
    let words = format!(
        "The modifier alone, no room around it. lm s: light its lamp gives. Shadow edge: 10\u{2013}90 % width of \
         the shadow of a straight edge {} before the receiver. Source: the even disk with the same edge at 2 m.",
        length(EDGE_DISTANCE_M)
    );
    sheet.line([[LEFT, 201.0], [RIGHT, 201.0]], Paint::line(RULE, 0.2));
    sheet.text(Text::new([LEFT, 204.8], words, 2.3, QUIET));
}

/// A number as marks are written: no zeros after it.
fn mark_text(value: f64) -> String {
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" {
        "0".into()
    } else {
        text.into()
    }
}

fn signed(stops: i32) -> String {
    match stops {
        0 => "0".into(),
        k if k < 0 => format!("\u{2212}{}", -k),
        k => format!("+{k}"),
    }
}

fn three_digits(value: f64) -> String {
    if value >= 99.95 {
        format!("{value:.0}")
    } else if value >= 9.995 {
        format!("{value:.1}")
    } else {
        format!("{value:.2}")
    }
}
