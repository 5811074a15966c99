//! Drafts on squared paper and cloth cut open, read back from the shapes that were drawn.

use swatchlight::fabric::construction::{Construction, System, least_pitch_mm};
use swatchlight::fabric::draft::*;
use swatchlight::report::drawing::{Colour, Drawing, Paint, Shape, svg};
use swatchlight::report::fabric_page::draft_drawing::{DraftDrawn, draft_drawing};
use swatchlight::report::fabric_page::section::{SectionDrawn, section};

const BLUE: Colour = [60, 70, 120];
const BEIGE: Colour = [225, 215, 190];
const BOX: [f64; 2] = [90.0, 80.0];

fn weave(name: &str) -> Drawdown {
    let weave = StandardWeave::by_name(name).expect("a named weave");
    weave.drawdown().expect("small")
}

fn draft(name: &str, ends: usize, picks: usize) -> Draft {
    let repeat = weave(name);
    let cloth = Drawdown::from_fn(ends, picks, |e, p| repeat.warp_on_top(e as i64, p as i64));
    Draft::from_drawdown(&cloth.unwrap()).unwrap()
}

fn drawn(draft: &Draft) -> (Drawing, DraftDrawn) {
    let mut page = Drawing::new(BOX, "draft");
    let drawn = draft_drawing(&mut page, draft, [0.0; 2], BOX).unwrap();
    (page, drawn)
}

/// Filled rectangles: corner and size.
fn filled(page: &Drawing, colour: Colour) -> Vec<([f64; 2], [f64; 2])> {
    let of = |shape: &Shape| match shape {
        Shape::Rect {
            corner_mm,
            size_mm,
            paint,
        } if paint.fill == Some(colour) => Some((*corner_mm, *size_mm)),
        _ => None,
    };
    page.shapes.iter().filter_map(of).collect()
}

fn inside(page: &Drawing, size_mm: [f64; 2]) {
    for shape in &page.shapes {
        let points = match shape {
            Shape::Path { points_mm, .. } => points_mm.clone(),
            Shape::Rect {
                corner_mm: [x, y],
                size_mm: [w, h],
                ..
            } => vec![[*x, *y], [x + w, y + h]],
            Shape::Text(text) => vec![text.at_mm],
            other => panic!("{other:?}"),
        };
        for [x, y] in points {
            let fits = |v: f64, most: f64| (-1e-9..=most + 1e-9).contains(&v);
            assert!(fits(x, size_mm[0]) && fits(y, size_mm[1]), "{x} {y}");
        }
    }
}

/// The filled squares of the cloth are the crossings with the warp on top, the first pick lowest;
/// the rest of the draft has a mark for each end, each pick and each tie.
#[test]
fn a_draft_reads_back() {
    for (name, ends, picks) in [
        ("plain", 8, 6),
        ("twill-3-1-right", 12, 12),
        ("herringbone", 48, 8),
        ("satin-8", 16, 16),
    ] {
        let draft = draft(name, ends, picks);
        let (page, drawn) = drawn(&draft);
        inside(&page, BOX);
        assert!(drawn.with_loom);
        assert_eq!((drawn.ends, drawn.picks), (ends, picks), "{name}");
        assert_eq!(drawn.repeat, [weave(name).ends(), weave(name).picks()]);
        let square = drawn.square_mm;
        // Marks are smaller than squares; runs of the cloth are as high as one.
        let (cloth, marks): (Vec<_>, Vec<_>) = filled(&page, [34; 3])
            .into_iter()
            .partition(|(_, size)| size[1] > 0.99 * square);
        let foot = (cloth.iter().chain(&filled(&page, [255; 3])))
            .map(|(corner, size)| corner[1] + size[1])
            .fold(0.0, f64::max);
        let mut seen = Drawdown::from_fn(ends, picks, |_, _| false).unwrap();
        for ([x, y], [w, _]) in &cloth {
            let pick = ((foot - y) / square).round() as usize - 1;
            let first = (x / square).round() as usize;
            let run = first..first + (w / square).round() as usize;
            let before = seen.clone();
            seen = Drawdown::from_fn(ends, picks, |e, p| {
                before.warp_on_top(e as i64, p as i64) || p == pick && run.contains(&e)
            })
            .unwrap();
        }
        assert_eq!(seen, draft.drawdown().unwrap(), "{name}");
        let Lifts::Treadles { tie_up, .. } = &draft.lifts else {
            panic!("treadles");
        };
        let ties: usize = tie_up.rows().map(<[u16]>::len).sum();
        assert_eq!(marks.len(), ends + picks + ties, "{name}");
    }
}

#[test]
fn colours_and_words() {
    let mut twill = draft("twill-3-1-right", 8, 8);
    twill.palette = vec![[0.2, 0.4, 0.6], [1.0; 3]];
    twill.warp.colours = vec![0; 8];
    twill.weft.colours = vec![1; 8];
    let (page, drawn) = drawn(&twill);
    let blue: f64 = filled(&page, [51, 102, 153]).iter().map(|r| r.1[0]).sum();
    assert!((blue / drawn.square_mm - 0.75 * 64.0).abs() < 1e-9);
    let words = drawn.words(&twill);
    assert!(
        words.contains("Repeat 4 ends, 4 picks. Marked shafts rise."),
        "{words}"
    );
    twill.shed = Shed::Sinking;
    assert!(self::drawn(&twill).1.words(&twill).contains("shafts sink"));
    let Lifts::Treadles { treadling, .. } = twill.lifts.clone() else {
        panic!("treadles");
    };
    twill.lifts = Lifts::Plan(treadling);
    assert!(svg(&self::drawn(&twill).0).contains("lift plan"));
}

/// What does not fit is cut, and said so; nothing leaves its box or panics.
#[test]
fn large_and_odd_drafts() {
    let large = draft("twill-2-2-right", 300, 200);
    let (page, found) = drawn(&large);
    inside(&page, BOX);
    assert!(found.with_loom && found.ends < 300 && found.picks < 200);
    let words = found.words(&large);
    assert!(words.contains(&format!("the first {} × {}", found.ends, found.picks)));
    // A figure on more shafts than there is paper for.
    let figure = Drawdown::from_fn(120, 120, |e, p| (e * e + 3 * p * e + p) % 11 < 4 || e == p);
    let figure = Draft::from_drawdown(&figure.unwrap()).unwrap();
    let (page, found) = drawn(&figure);
    inside(&page, BOX);
    assert!(!found.with_loom && found.words(&figure).contains("too many shafts"));
    // Numbers that point outside, and nothing at all.
    let mut odd = draft("plain", 4, 4);
    odd.threading = Lists::from_rows([[9_u16], [65_535], [0], [1]]);
    odd.palette = vec![[f32::NAN; 3]];
    odd.warp.colours = vec![7, 0];
    inside(&drawn(&odd).0, BOX);
    odd.threading = Lists::default();
    odd.lifts = Lifts::Plan(Lists::default());
    odd.shafts = 0;
    assert_eq!(drawn(&odd).1.ends, 0);
    let mut page = Drawing::new([1.0; 2], "small");
    assert!(draft_drawing(&mut page, &large, [0.0; 2], [0.1; 2]).is_ok());
}

fn cloth(weave_name: &str, share: f64) -> (Drawing, SectionDrawn, Construction) {
    let system = |threads_per_cm, width_factor| System {
        threads_per_cm,
        count_tex: 20.0,
        specific_volume_cm3_g: 1.1,
        width_factor,
        height_factor: 0.8,
    };
    let construction = Construction {
        warp: system(24.0, 1.3),
        weft: system(20.0, 1.4),
        warp_crimp_share: share,
    };
    let weave = weave(weave_name);
    let geometry = construction.geometry(&weave).unwrap();
    let mut page = Drawing::new(BOX, "section");
    let drawn = section(&mut page, &geometry, &weave, [BLUE, BEIGE], [0.0; 2], BOX);
    (page, drawn, construction)
}

fn polygons(page: &Drawing, colour: Colour) -> Vec<Vec<[f64; 2]>> {
    let of = |shape: &Shape| match shape {
        Shape::Path {
            points_mm,
            closed: true,
            paint: Paint {
                fill: Some(fill), ..
            },
        } if *fill == colour => Some(points_mm.clone()),
        _ => None,
    };
    page.shapes.iter().filter_map(of).collect()
}

fn span(points: &[[f64; 2]], k: usize) -> [f64; 2] {
    let low = points.iter().map(|p| p[k]).fold(f64::MAX, f64::min);
    [low, points.iter().map(|p| p[k]).fold(f64::MIN, f64::max)]
}

/// Threads that are wider than their spacing, finer and coarser than any cloth, in a box for a stamp.
#[test]
fn odd_sections_stay_inside() {
    for (threads_per_cm, width_factor) in [(300.0, 4.0), (1.0, 0.5), (60.0, 2.0)] {
        let system = System {
            threads_per_cm,
            count_tex: 20.0,
            specific_volume_cm3_g: 1.1,
            width_factor,
            height_factor: 1.2,
        };
        let construction = Construction {
            warp: system,
            weft: system,
            warp_crimp_share: 0.3,
        };
        for name in ["plain", "satin-8"] {
            let geometry = construction.geometry(&weave(name)).unwrap();
            let mut page = Drawing::new(BOX, "section");
            let drawn = section(
                &mut page,
                &geometry,
                &weave(name),
                [BLUE, BEIGE],
                [0.0; 2],
                BOX,
            );
            inside(&page, BOX);
            assert!(drawn.times >= 1.0 && drawn.crossed.iter().all(|n| *n >= 1));
            assert!(!svg(&page).contains("NaN"));
            let mut stamp = Drawing::new([1.0; 2], "stamp");
            section(
                &mut stamp,
                &geometry,
                &weave(name),
                [BLUE, BEIGE],
                [0.0; 2],
                [0.5; 2],
            );
            assert!(!svg(&stamp).contains("NaN"));
        }
    }
}

/// To scale: threads as far apart, as wide and as high as the construction has them, and the whole
/// as thick; the crossing threads touch and do not cut each other.
#[test]
fn sections_are_to_scale() {
    for name in ["plain", "twill-2-2-right", "twill-3-1-right", "satin-8"] {
        for share in [0.5, 0.8, 1.0] {
            let (page, drawn, construction) = cloth(name, share);
            inside(&page, BOX);
            let geometry = construction.geometry(&weave(name)).unwrap();
            let times = drawn.times;
            // The cut along a pick is drawn first: a band of weft, then ends.
            let ends: Vec<_> = polygons(&page, BLUE)[..drawn.crossed[0]].to_vec();
            let band = polygons(&page, BEIGE)[0].clone();
            let close = |a: f64, b: f64, what: &str| {
                assert!(
                    (a - b).abs() < 0.02 * b.abs().max(0.1),
                    "{name} {share} {what}: {a} {b}"
                );
            };
            let middle = |points: &[[f64; 2]], k| {
                let [low, high] = span(points, k);
                0.5 * (low + high)
            };
            let [a, b] = [0, 1].map(|k| middle(&ends[k], 0));
            close(b - a, times * geometry.warp.spacing_mm, "spacing");
            let [low, high] = span(&ends[0], 0);
            close(
                high - low,
                2.0 * times * geometry.warp.half_width_mm,
                "width",
            );
            let [low, high] = span(&ends[0], 1);
            close(
                high - low,
                2.0 * times * geometry.warp.half_height_mm,
                "height",
            );
            let [low, high] = span(&band, 1);
            let swing = geometry.weft.crimp_height_mm + geometry.weft.half_height_mm;
            close(high - low, 2.0 * times * swing, "the pick's swing");
            // Inside an end, shrunk a little, no point of the band.
            let room = geometry.warp.spacing_mm
                - 2.0 * (geometry.warp.half_width_mm - geometry.warp.half_height_mm);
            let contact = geometry.warp.half_height_mm + geometry.weft.half_height_mm;
            assert!(room > least_pitch_mm(2.0 * geometry.weft.crimp_height_mm, 2.0 * contact));
            for end in &ends {
                let centre = [middle(end, 0), middle(end, 1)];
                let radius = times * geometry.warp.half_height_mm;
                for [x, y] in &band {
                    let gap = (x - centre[0]).hypot(y - centre[1]);
                    assert!(gap > 0.97 * radius, "{name} {share}: {gap} in {radius}");
                }
            }
        }
    }
}
