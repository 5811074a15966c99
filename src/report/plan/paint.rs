//! Things themselves, and the beams under them.

use super::beams::{beam, reach_m};
use super::bodies::{Part, Role};
use super::geometry::{Area, Point, between, distance};
use super::look::Options;
use super::map::{Kind, Map, Thing, View};
use super::things::{Item, POINT_MM, What};
use crate::report::drawing::{Colour, Drawing, Paint};
use crate::setup::{Backdrop, BoardKind, Finish, Light, MeterPoint, Setup};
use glam::DVec3;

/// Width of a board's edge, and of what shows of its finish within.
const BOARD_MM: f64 = 0.85;
const FINISH_MM: f64 = 0.45;

/// Of a beam's edge so much is drawn where it is not the selected light's.
const EDGE_SHARE: f64 = 0.5;
/// A beam so wide has the faintest tint.
const WIDE_DEG: f64 = 150.0;

/// Tints where beams fall, each opaque, the wide ones first and faintest: a narrow beam shows within a
/// wide one, and the squares show through all. The selected light's comes last, to a tenth and to half.
pub(super) fn beam_tints(
    page: &mut Drawing,
    setup: &Setup,
    map: &Map,
    field: &Area,
    options: &Options,
) {
    let palette = &options.palette;
    let within = lit_field(setup, map, field);
    let mut order: Vec<_> = lit(setup, options).collect();
    let wide = |deg: [f64; 2]| 0.5 * (deg[0] + deg[1]);
    order.sort_by(|a, b| wide(b.1.half_deg).total_cmp(&wide(a.1.half_deg)));
    // False comes before true.
    order.sort_by_key(|(light, _)| options.is_selected(&Thing::new(Kind::Light, &*light.name)));
    for (light, angles) in order {
        let mut fill = |deg: [f64; 2], tint: Colour| {
            let outline = beam(map, &light.frame, deg, reach_m(light), &within);
            if outline.len() > 2 {
                page.polygon(outline, Paint::fill(tint));
            }
        };
        if options.is_selected(&Thing::new(Kind::Light, &*light.name)) {
            fill(angles.tenth_deg, palette.accent_field);
            fill(angles.half_deg, palette.accent_beam);
        } else {
            let share = (1.0 - wide(angles.half_deg) / WIDE_DEG).clamp(0.15, 1.0);
            fill(angles.half_deg, mixed(palette.paper, palette.beam, share));
        }
    }
}

/// A colour between two.
fn mixed(from: Colour, to: Colour, share: f64) -> Colour {
    [0, 1, 2].map(|k| {
        let (a, b) = (f64::from(from[k]), f64::from(to[k]));
        (a + share * (b - a)).round() as u8
    })
}

/// The edges of beams, from the light on: whole lines to half of the middle's intensity, dashes to a
/// tenth of it.
pub(super) fn beam_edges(
    page: &mut Drawing,
    setup: &Setup,
    map: &Map,
    field: &Area,
    options: &Options,
) -> Vec<[Point; 2]> {
    let mut lines = Vec::new();
    let within = lit_field(setup, map, field);
    for (light, angles) in lit(setup, options) {
        let selected = options.is_selected(&Thing::new(Kind::Light, &*light.name));
        let (colour, share) = if selected {
            (options.palette.accent, 1.0)
        } else {
            (options.palette.pale, EDGE_SHARE)
        };
        let apex = map.mm_of_room(light.frame.origin_m);
        let dots = Paint::dashed(colour, options.weights.hair_mm, [0.7, 0.7]);
        for (deg, share, paint) in [
            (angles.half_deg, share, options.hair(colour)),
            (angles.tenth_deg, 0.7 * share, dots),
        ] {
            let outline = beam(map, &light.frame, deg, reach_m(light) * share, &within);
            // A beam that comes straight at whoever looks has no edges that start at the light.
            let Some(from) = outline.iter().position(|p| distance(*p, apex) < 1e-6) else {
                continue;
            };
            let n = outline.len();
            for end in [outline[(from + 1) % n], outline[(from + n - 1) % n]] {
                page.line([apex, end], paint);
                lines.push([apex, end]);
            }
        }
    }
    lines
}

/// Where light is drawn: above the floor, within the walls, before the paper.
fn lit_field(setup: &Setup, map: &Map, field: &Area) -> Area {
    let mut out = *field;
    let mut cut = |low_m: DVec3, high_m: DVec3| {
        let corners = [map.mm_of_room(low_m), map.mm_of_room(high_m)];
        if let Some(room) = Area::around(&corners) {
            for k in 0..2 {
                out.low_mm[k] = out.low_mm[k].max(room.low_mm[k]);
                out.high_mm[k] = out.high_mm[k].min(room.high_mm[k]);
            }
        }
    };
    const FAR_M: f64 = 1e3;
    let back = match &setup.backdrop {
        Backdrop::Seamless(paper) => -paper.behind_m,
        Backdrop::None => -FAR_M,
    };
    cut(
        DVec3::new(-FAR_M, 0.0, back),
        DVec3::new(FAR_M, FAR_M, FAR_M),
    );
    if let Some(shell) = &setup.room.shell {
        let ([x0, x1], [z0, z1]) = (shell.x_m, shell.z_m);
        cut(DVec3::new(x0, 0.0, z0), DVec3::new(x1, shell.height_m, z1));
    }
    out
}

/// Lights that are on, with their beams.
fn lit<'a>(
    setup: &'a Setup,
    options: &'a Options,
) -> impl Iterator<Item = (&'a Light, super::BeamAngles)> {
    setup
        .lights
        .iter()
        .zip(&options.beams)
        .filter(|(light, _)| light.on)
        .filter_map(|(light, angles)| Some((light, (*angles)?)))
}

/// All things, the farthest from whoever looks first. What stands between them and the figure is drawn
/// in dashes, the figure seen through it.
pub(super) fn things(page: &mut Drawing, items: &[Item<'_>], map: &Map, options: &Options) {
    let mut order: Vec<&Item<'_>> = items.iter().collect();
    order.sort_by(|a, b| a.depth_m.total_cmp(&b.depth_m));
    let figure_at = order
        .iter()
        .position(|i| matches!(i.what, What::Figure { .. }));
    let figure_area = figure_at.and_then(|k| Area::around(&order[k].placed.outline_mm));
    for (k, item) in order.iter().enumerate() {
        let ink = options.ink_of(&item.placed.thing);
        let hides = figure_at.is_some_and(|f| k > f)
            && figure_area
                .zip(Area::around(&item.placed.outline_mm))
                .is_some_and(|(a, b)| a.meets(&b));
        match &item.what {
            What::Light { parts, .. } | What::Board { parts, .. } if hides => {
                for part in
                    Item::parts_of(parts, Role::Body).chain(Item::parts_of(parts, Role::Face))
                {
                    page.polygon(part.outline_mm.clone(), dashes(ink, options));
                }
            }
            What::Light { light, parts } => {
                let toward = map.view.depth(light.frame.z);
                self::light(page, light, parts, toward > 0.0, ink, options);
            }
            What::Board { kind, parts } => board(page, kind, parts, ink, options),
            What::Figure { outlines, head } => {
                figure(page, item, [outlines, head], map, ink, options);
            }
            What::Camera { parts } => {
                for part in parts {
                    let paint = match map.view {
                        // It stands before everything that it sees.
                        View::Front => Paint::dashed(ink, options.weights.light_mm, [0.6, 0.4]),
                        View::Plan | View::Side => options.light(options.palette.paper).filled(ink),
                    };
                    page.polygon(part.outline_mm.clone(), paint);
                }
            }
            What::Point(at) => point(page, item, at, map, ink, options),
        }
    }
}

fn dashes(ink: Colour, options: &Options) -> Paint {
    Paint::dashed(ink, options.weights.medium_mm, [1.3, 0.7])
}

/// A modifier; what it shines by is heavy. Seen from behind, its face lies under its body and only its
/// rim shows.
fn light(
    page: &mut Drawing,
    light: &Light,
    parts: &[Part],
    shows_face: bool,
    ink: Colour,
    options: &Options,
) {
    let wall = if light.on { ink } else { options.palette.pale };
    let order = if shows_face {
        [Role::Body, Role::Before, Role::Face, Role::Lamp]
    } else {
        [Role::Before, Role::Face, Role::Lamp, Role::Body]
    };
    for role in order {
        for part in Item::parts_of(parts, role) {
            let paint = match role {
                Role::Body => options.medium(wall).filled(options.palette.body),
                Role::Before => options.light(wall).filled(options.palette.paper),
                Role::Face if light.on => {
                    Paint::line(ink, 1.4 * options.weights.heavy_mm).filled(options.palette.body)
                }
                Role::Face => options.dashed(wall).filled(options.palette.body),
                Role::Lamp => Paint::fill(wall),
            };
            page.polygon(part.outline_mm.clone(), paint);
        }
    }
    if !shows_face {
        // What is hidden, thin: the rim, and where the lamp stands.
        for part in Item::parts_of(parts, Role::Face) {
            page.polygon(part.outline_mm.clone(), options.hair(wall));
        }
        for part in Item::parts_of(parts, Role::Lamp) {
            page.polygon(part.outline_mm.clone(), options.hair(wall));
        }
    }
}

/// A bar in the colour of its front, dashed where light goes through.
fn board(page: &mut Drawing, kind: &BoardKind, parts: &[Part], ink: Colour, options: &Options) {
    let palette = &options.palette;
    let inside = match kind {
        BoardKind::Board { front, .. } | BoardKind::Flag { front, .. } => match front {
            Finish::White => palette.white_board,
            Finish::Silver | Finish::Grey18 => palette.grey_board,
            Finish::Black => palette.black_board,
            Finish::Reflectance(rgb) => {
                // As dark to the eye as its mean reflectance, by a square root.
                let share = (rgb.iter().sum::<f64>() / 3.0).clamp(0.0, 1.0).sqrt();
                mixed(palette.black_board, palette.white_board, share)
            }
        },
        BoardKind::Scrim(_) => {
            for part in Item::parts_of(parts, Role::Body) {
                page.polygon(part.outline_mm.clone(), dashes(ink, options));
            }
            return;
        }
    };
    for part in Item::parts_of(parts, Role::Body) {
        page.polygon(part.outline_mm.clone(), Paint::line(ink, BOARD_MM));
        let core = Paint::line(inside, FINISH_MM).filled(inside);
        page.polygon(part.outline_mm.clone(), core);
    }
}

fn figure(
    page: &mut Drawing,
    item: &Item<'_>,
    [outlines, head]: [&[Vec<Point>]; 2],
    map: &Map,
    ink: Colour,
    options: &Options,
) {
    for (k, outline) in outlines.iter().enumerate() {
        // What lies within an earlier outline is a gap.
        let gap = outlines[..k].iter().any(|o| {
            outline
                .first()
                .is_some_and(|p| super::geometry::is_inside(o, *p))
        });
        let fill = if gap {
            options.palette.paper
        } else {
            options.palette.body
        };
        page.polygon(outline.clone(), options.medium(ink).filled(fill));
    }
    for outline in head {
        page.polygon(
            outline.clone(),
            options.light(ink).filled(options.palette.body),
        );
    }
    // Which way it faces.
    if let (View::Plan, Some(ahead)) = (map.view, &item.placed.aim) {
        let to = between(map.origin_mm, ahead.at_mm, 0.85);
        page.line([map.origin_mm, to], options.light(ink));
    }
}

fn point(
    page: &mut Drawing,
    item: &Item<'_>,
    at: &MeterPoint,
    map: &Map,
    ink: Colour,
    options: &Options,
) {
    let centre = item.placed.body.at_mm;
    let ahead = map.mm_of_room(at.position_m + at.direction);
    let long = map.mm(1.0);
    let tick = [0, 1].map(|k| centre[k] + (ahead[k] - centre[k]) / long * 2.4 * POINT_MM);
    page.line([centre, tick], options.light(ink));
    page.circle(
        centre,
        POINT_MM,
        options.light(ink).filled(options.palette.paper),
    );
}

/// Two slanting strokes through the line to a camera that stands off the sheet.
pub(super) fn break_mark(page: &mut Drawing, items: &[Item<'_>], map: &Map, options: &Options) {
    let Some(camera) = items.iter().find(|i| matches!(i.what, What::Camera { .. })) else {
        return;
    };
    let at = camera.placed.body.at_mm;
    let toward = match map.view {
        View::Plan => map.origin_mm,
        View::Side | View::Front => [map.origin_mm[0], at[1]],
    };
    let long = distance(at, toward).max(1e-9);
    let along = [0, 1].map(|k| (toward[k] - at[k]) / long);
    let across = [-along[1], along[0]];
    for step in [1.6, 2.6] {
        let end = |side: f64| {
            [0, 1].map(|k| at[k] + along[k] * (step + 0.5 * side) + across[k] * 1.8 * side)
        };
        page.line([end(-1.0), end(1.0)], options.light(options.palette.mid));
    }
}
