//! A modifier cut through its axis, to scale: light leaves to the right, up is up.

use super::{Anchor, Colour, Drawing, Paint, Scale, Text};
use crate::setup::{Cylinder, Lamp, Modifier, ModifierKind};
use std::f64::consts::PI;

const INK: Colour = [34, 34, 34];
const QUIET: Colour = [110, 110, 110];
const BODY: Colour = [238, 238, 238];
const CLOTH: Colour = [60, 105, 150];
const LIT: Colour = [214, 150, 44];
const HEAD: Colour = [120, 120, 120];
/// Points along a curved wall.
const POINTS: usize = 48;
/// A grid with more walls than this is drawn with so many.
const MOST_WALLS: usize = 24;

/// Draws the section into a box of the page and gives its scale, 1 to so many.
pub fn section(
    page: &mut Drawing,
    modifier: &Modifier,
    corner_mm: [f64; 2],
    size_mm: [f64; 2],
) -> f64 {
    let sketch = Sketch::of(modifier);
    let [z_low, z_high, y] = sketch.extent_m;
    let room = [size_mm[0] - 14.0, size_mm[1] - 11.5];
    let one_to = Scale::fitting([z_high - z_low, 2.0 * y], room);
    let mut scale = Scale {
        origin_mm: [0.0; 2],
        one_to,
    };
    let middle = 0.5 * (z_low + z_high);
    scale.origin_mm = [
        corner_mm[0] + 4.0 + 0.5 * size_mm[0] - scale.mm(middle),
        corner_mm[1] + 0.5 * (size_mm[1] - 7.5),
    ];
    // The axis, on to the subject.
    let [ends, axis_y] = [scale.at([z_high, 0.0])[0], scale.origin_mm[1]];
    page.line(
        [
            [scale.at([z_low, 0.0])[0] - 2.0, axis_y],
            [ends + 4.0, axis_y],
        ],
        Paint::dashed(QUIET, 0.15, [3.0, 1.0]),
    );
    for part in &sketch.parts {
        let points: Vec<[f64; 2]> = part.points_m.iter().map(|p| scale.at(*p)).collect();
        if part.closed {
            page.polygon(points, part.paint);
        } else {
            page.line(points, part.paint);
        }
    }
    dimensions(page, modifier, &sketch, &scale);
    one_to
}

/// Width across at the left, depth below, each between two ticks.
fn dimensions(page: &mut Drawing, modifier: &Modifier, sketch: &Sketch, scale: &Scale) {
    let [z_low, _, _] = sketch.extent_m;
    let half = 0.5 * modifier.kind.face_m()[1];
    let thin = Paint::line(QUIET, 0.15);
    let left = scale.at([z_low, 0.0])[0] - 4.0;
    let (top, bottom) = (scale.at([0.0, half])[1], scale.at([0.0, -half])[1]);
    page.line([[left, top], [left, bottom]], thin);
    for y in [top, bottom] {
        page.line([[left - 1.0, y], [left + 1.0, y]], thin);
    }
    let words = Text::new(
        [left - 1.2, 0.5 * (top + bottom)],
        length(2.0 * half),
        2.5,
        INK,
    );
    page.text(words.anchored(Anchor::Middle).upward());
    let Some([from, to]) = sketch.depth_m else {
        return;
    };
    let low = scale.at([0.0, -sketch.extent_m[2]])[1] + 3.0;
    let [a, b] = [from, to].map(|z| scale.at([z, 0.0])[0]);
    page.line([[a, low], [b, low]], thin);
    for x in [a, b] {
        page.line([[x, low - 1.0], [x, low + 1.0]], thin);
    }
    let words = Text::new([0.5 * (a + b), low + 3.2], length(to - from), 2.5, INK);
    page.text(words.anchored(Anchor::Middle));
}

/// A length as it is taped out.
pub fn length(metres: f64) -> String {
    let (value, unit) = match metres.abs() {
        m if m < 0.0995 => (1000.0 * metres, "mm"),
        m if m < 0.9995 => (100.0 * metres, "cm"),
        _ => (metres, "m"),
    };
    let text = if unit == "m" {
        format!("{value:.2}")
    } else {
        format!("{value:.1}")
    };
    let text = text.trim_end_matches('0').trim_end_matches('.');
    format!("{text} {unit}")
}

/// What is drawn, in metres: z toward the subject, y up.
struct Sketch {
    parts: Vec<Part>,
    /// Least and greatest z, greatest y.
    extent_m: [f64; 3],
    /// What the depth is measured between.
    depth_m: Option<[f64; 2]>,
}

struct Part {
    points_m: Vec<[f64; 2]>,
    closed: bool,
    paint: Paint,
}

impl Sketch {
    fn of(modifier: &Modifier) -> Self {
        let mut sketch = Self {
            parts: Vec::new(),
            extent_m: [0.0; 3],
            depth_m: None,
        };
        let wall = Paint::line(INK, 0.5);
        let half = 0.5 * modifier.kind.face_m()[1];
        let body_m = modifier.body_depth_m;
        match modifier.kind {
            ModifierKind::Paraboloid(bowl)
            | ModifierKind::Umbrella(bowl)
            | ModifierKind::Octabox { bowl, .. }
            | ModifierKind::Dish { bowl, .. }
            | ModifierKind::Bowl(bowl) => {
                // Crowded toward the bottom, where walls turn.
                let upper = (0..=POINTS).map(|k| {
                    let z = bowl.depth_m * (k as f64 / POINTS as f64).powi(2);
                    [z - bowl.depth_m, bowl.radius_at_m(z)]
                });
                sketch.mirrored(upper.collect(), wall);
                sketch.depth_m = Some([-bowl.depth_m, 0.0]);
            }
            ModifierKind::Softbox(b) => {
                let back = 0.5 * b.back_m[1];
                let upper = vec![[-b.depth_m, 0.0], [-b.depth_m, back], [0.0, half]];
                sketch.mirrored(upper, wall);
                sketch.depth_m = Some([-b.depth_m, 0.0]);
            }
            ModifierKind::ShootThrough(canopy) => {
                let ball = (half * half + canopy.depth_m * canopy.depth_m) / (2.0 * canopy.depth_m);
                let most = if canopy.depth_m > ball {
                    PI - (half / ball).min(1.0).asin()
                } else {
                    (half / ball).min(1.0).asin()
                };
                let upper = (0..=POINTS).map(|k| {
                    let (s, c) = (most * k as f64 / POINTS as f64).sin_cos();
                    [canopy.depth_m - ball + ball * c, ball * s]
                });
                sketch.mirrored(upper.collect(), Paint::dashed(CLOTH, 0.6, [1.6, 0.6]));
                sketch.depth_m = Some([0.0, canopy.depth_m]);
            }
            ModifierKind::Fresnel(_) | ModifierKind::LensSpot(_) | ModifierKind::Spot { .. } => {
                let upper = vec![[-body_m, 0.0], [-body_m, half], [0.0, half]];
                sketch.mirrored(upper, wall);
                sketch.lens(half);
                sketch.depth_m = Some([-body_m, 0.0]);
            }
            ModifierKind::Panel { .. }
            | ModifierKind::Strip { .. }
            | ModifierKind::Disk { .. }
            | ModifierKind::Measured { .. } => {
                sketch.boxed([-body_m, 0.0], half, wall.filled(BODY));
                sketch.line([[0.0, -half], [0.0, half]], Paint::line(LIT, 0.8));
            }
            ModifierKind::Globe { .. } | ModifierKind::Tube { .. } => {
                sketch.ball(half, 0.0, PI, Paint::line(INK, 0.4).filled(LIT));
            }
            ModifierKind::BareLamp(lamp) => {
                let head = lamp.housing;
                let neck = lamp.neck_m();
                sketch.boxed(
                    [-neck - head.length_m, -neck],
                    0.5 * head.diameter_m,
                    Paint::fill(HEAD),
                );
                let open = (-neck / half).clamp(-1.0, 1.0).acos();
                sketch.ball(half, 0.0, open, Paint::line(INK, 0.4).filled(LIT));
            }
        }
        sketch.inside(modifier);
        sketch.lamps(modifier);
        sketch.before(modifier, half);
        sketch
    }

    /// Cloths, plates and gates.
    fn inside(&mut self, modifier: &Modifier) {
        let half = 0.5 * modifier.kind.face_m()[1];
        let cloth = Paint::dashed(CLOTH, 0.6, [1.6, 0.6]);
        match modifier.kind {
            ModifierKind::Softbox(b) => {
                let at = |behind: f64| {
                    let share = 1.0 - behind / b.depth_m;
                    0.5 * (b.back_m[1] + (b.size_m[1] - b.back_m[1]) * share)
                };
                self.cloths(modifier, &b.front, &at, cloth);
            }
            ModifierKind::Octabox { bowl, front } => {
                let at = |behind: f64| bowl.radius_at_m(bowl.depth_m - behind);
                self.cloths(modifier, &front, &at, cloth);
            }
            ModifierKind::Dish { bowl, plate } => {
                let z = plate.at_m - bowl.depth_m;
                let r = 0.5 * plate.diameter_m;
                self.line([[z, -r], [z, r]], Paint::line(INK, 0.7));
            }
            ModifierKind::LensSpot(spot) => {
                let z = -spot.gate_at_m(spot.focus);
                for side in [-1.0, 1.0] {
                    let gate = [[z, side * 0.5 * spot.gate_m], [z, side * half]];
                    self.line(gate, Paint::line(INK, 0.7));
                }
            }
            _ => {}
        }
        let boxes = matches!(
            modifier.kind,
            ModifierKind::Softbox(_) | ModifierKind::Octabox { .. }
        );
        if modifier.cloth.is_some() && !boxes {
            self.line([[0.0, -half], [0.0, half]], cloth);
        }
    }

    fn cloths(
        &mut self,
        modifier: &Modifier,
        front: &crate::setup::BoxFront,
        half_at: &dyn Fn(f64) -> f64,
        cloth: Paint,
    ) {
        let hung = [
            modifier.baffle.map(|_| front.baffle_at_m),
            modifier.cloth.map(|_| front.recess_m),
        ];
        for behind in hung.into_iter().flatten() {
            let half = half_at(behind);
            self.line([[-behind, -half], [-behind, half]], cloth);
        }
    }

    /// The lamp at tight and, where it travels, at wide, drawn open.
    fn lamps(&mut self, modifier: &Modifier) {
        let Some(lamp) = modifier.kind.lamp() else {
            return;
        };
        // From the place along the axis to z, and whether the head stands toward the subject.
        let (to_z, head_ahead): (Box<dyn Fn(f64) -> f64>, bool) = match modifier.kind {
            ModifierKind::Paraboloid(b) | ModifierKind::Umbrella(b) => {
                (Box::new(move |at| at - b.depth_m), true)
            }
            ModifierKind::Octabox { bowl: b, .. }
            | ModifierKind::Dish { bowl: b, .. }
            | ModifierKind::Bowl(b) => (Box::new(move |at| at - b.depth_m), false),
            ModifierKind::Softbox(b) => (Box::new(move |at| at - b.depth_m), false),
            ModifierKind::ShootThrough(c) => (Box::new(move |at| c.depth_m - at), false),
            _ => (Box::new(|at: f64| -at), false),
        };
        let places = match modifier.travel {
            Some(travel) => vec![travel.tight_m, travel.wide_m],
            None => vec![lamp.at_m],
        };
        for (k, at) in places.into_iter().enumerate() {
            self.lamp(lamp, to_z(at), head_ahead, k == 0);
        }
    }

    fn lamp(&mut self, lamp: &Lamp, z: f64, head_ahead: bool, solid: bool) {
        let (r, half) = (0.5 * lamp.diameter_m, 0.5 * lamp.length_m);
        let paint = |colour: Colour| {
            if solid {
                Paint::line(INK, 0.25).filled(colour)
            } else {
                Paint::dashed(colour, 0.3, [0.9, 0.6])
            }
        };
        if let Some(Cylinder {
            diameter_m,
            length_m,
        }) = lamp.housing
        {
            let ends = if head_ahead {
                [z + half, z + half + length_m]
            } else {
                [z - half - length_m, z - half]
            };
            self.boxed(ends, 0.5 * diameter_m, paint(HEAD));
        }
        if lamp.has_cup() {
            let line = if solid {
                Paint::line(LIT, 0.9)
            } else {
                Paint::dashed(LIT, 0.7, [0.9, 0.6])
            };
            self.line([[z, -r], [z, r]], line);
            return;
        }
        let straight = (half - r).max(0.0);
        let round = r.min(half);
        let outline = (0..2 * POINTS).map(|k| {
            let (s, c) = (k as f64 / POINTS as f64 * PI).sin_cos();
            [z + straight * c.signum() + round * c, r * s]
        });
        self.add(outline.collect(), true, paint(LIT));
    }

    /// What hangs before the front.
    fn before(&mut self, modifier: &Modifier, half: f64) {
        if let Some(grid) = modifier.grid {
            let walls = ((2.0 * half / grid.cell_m) as usize).clamp(1, MOST_WALLS);
            for k in 0..=walls {
                let y = half * (2.0 * k as f64 / walls as f64 - 1.0);
                self.line([[0.0, y], [grid.depth_m, y]], Paint::line(INK, 0.2));
            }
        }
        if let Some(skirt) = modifier.skirt_m {
            for y in [-half, half] {
                self.line([[0.0, y], [skirt, y]], Paint::line(INK, 0.7));
            }
        }
        if let Some(cover) = modifier.cover {
            use crate::setup::CoverSide::{Bottom, Left, Right, Top};
            let edge = half * (1.0 - 2.0 * cover.share);
            let span = match cover.side {
                Top => [edge, half],
                Bottom => [-half, -edge],
                // Beside the section: drawn over all of it.
                Left | Right => [-half, half],
            };
            self.line(span.map(|y| [0.004, y]), Paint::line(INK, 1.1));
        }
    }

    fn lens(&mut self, half: f64) {
        let thick = 0.16 * half;
        let outline = (0..2 * POINTS).map(|k| {
            let (s, c) = (k as f64 / POINTS as f64 * PI).sin_cos();
            [thick * c.abs() * c.signum(), half * s]
        });
        self.add(
            outline.collect(),
            true,
            Paint::line(INK, 0.3).filled([222, 234, 242]),
        );
    }

    /// Part of a ball about the origin, as far from its pole.
    fn ball(&mut self, radius: f64, z: f64, open_rad: f64, paint: Paint) {
        let outline = (0..=2 * POINTS).map(|k| {
            let (s, c) = (open_rad * (k as f64 / POINTS as f64 - 1.0)).sin_cos();
            [z + radius * c, radius * s]
        });
        self.add(outline.collect(), true, paint);
    }

    fn boxed(&mut self, [from, to]: [f64; 2], half: f64, paint: Paint) {
        let corners = vec![[from, -half], [to, -half], [to, half], [from, half]];
        self.add(corners, true, paint);
    }

    /// An upper wall and its mirror image, from rim to rim.
    fn mirrored(&mut self, upper: Vec<[f64; 2]>, paint: Paint) {
        let lower = upper.iter().rev().map(|[z, y]| [*z, -y]);
        let all = lower.chain(upper.iter().copied()).collect();
        self.add(all, false, paint);
    }

    fn line(&mut self, points_m: [[f64; 2]; 2], paint: Paint) {
        self.add(points_m.to_vec(), false, paint);
    }

    fn add(&mut self, points_m: Vec<[f64; 2]>, closed: bool, paint: Paint) {
        for [z, y] in &points_m {
            let [low, high, up] = &mut self.extent_m;
            *low = low.min(*z);
            *high = high.max(*z);
            *up = up.max(y.abs());
        }
        self.parts.push(Part {
            points_m,
            closed,
            paint,
        });
    }
}
