//! Motifs of lace, drawn by rule: flowers of several kinds with leaves, stems, tendrils, picots and
//! loose ends. Our own design.

use std::f64::consts::{PI, TAU};

use super::drawing::{Area, Drawing, Place};

/// The motif of this number, within `reach_mm` of its middle.
pub fn draw(number: u32, seed: u32, reach_mm: f64) -> Drawing {
    let mut pen = Pen {
        drawing: Drawing::default(),
        state: u64::from(seed).wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ u64::from(number + 1) << 32,
        unit_mm: reach_mm / 10.0,
    };
    pen.next();
    match number % 7 {
        0 => pen.rose_spray(),
        1 => pen.daisy(),
        2 => pen.leaf_spray(),
        3 => pen.bell_spray(),
        4 => pen.rosette(),
        5 => pen.pair_of_blooms(),
        _ => pen.fern(),
    }
    pen.drawing
}

/// Draws in units of a tenth of the motif's reach.
struct Pen {
    drawing: Drawing,
    state: u64,
    unit_mm: f64,
}

/// How a flower is made.
struct Flower {
    at: Place,
    radius: f64,
    petals: u32,
    /// Notch at a petal's tip, over the radius.
    notch: f64,
    /// Scallops along a petal's edge, and their depth over the radius.
    scallops: u32,
    scallop: f64,
    /// Share of the petal's room that it fills.
    fill: f64,
    /// Radius of the eye, over the flower's.
    eye: f64,
    /// Whether petals by turns are open work.
    open: bool,
}

impl Pen {
    /// Even in 0..1 (xorshift, Marsaglia 2003).
    fn next(&mut self) -> f64 {
        self.state ^= self.state << 13;
        self.state ^= self.state >> 7;
        self.state ^= self.state << 17;
        (self.state >> 11) as f64 / (1u64 << 53) as f64
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.next()
    }

    fn scaled(&self, line: Vec<Place>) -> Vec<Place> {
        line.into_iter()
            .map(|[x, y]| [x * self.unit_mm, y * self.unit_mm])
            .collect()
    }

    fn area(&mut self, outline: Vec<Place>, grain_rad: f64, open: bool) {
        let outline = self.scaled(outline);
        self.drawing.areas.push(Area {
            outline,
            grain_rad,
            open,
        });
    }

    fn line(&mut self, line: Vec<Place>) {
        let line = self.scaled(line);
        self.drawing.lines.push(line);
    }

    /// Petals about an eye, each a little different.
    fn flower(&mut self, flower: &Flower) {
        let turn = self.between(0.0, TAU);
        let share = TAU / f64::from(flower.petals);
        for petal in 0..flower.petals {
            let lean = self.between(-0.06, 0.06) * share;
            let middle = turn + f64::from(petal) * share + lean;
            let long = flower.radius * self.between(0.9, 1.06);
            let half = 0.5 * share * flower.fill * self.between(0.94, 1.04);
            let inner = flower.radius * flower.eye * 1.25;
            let outline = (0..72)
                .map(|i| {
                    // From the foot out along one side and back along the other.
                    let s = f64::from(i) / 72.0;
                    let (sine, cosine) = (TAU * s).sin_cos();
                    let out = (0.5 - 0.5 * cosine).powf(0.62);
                    let across = sine.signum() * sine.abs().powf(0.8);
                    let tip = (-((s - 0.5) / 0.06).powi(2)).exp();
                    let edge = (PI * f64::from(flower.scallops) * s).sin().abs() - 0.5;
                    let outer = (s - 0.5).abs() < 0.27;
                    let scallop = flower.scallop * edge * f64::from(u8::from(outer));
                    let r = inner + (long - inner) * out * (1.0 - flower.notch * tip + scallop);
                    let angle = middle - half * across;
                    [
                        flower.at[0] + r * angle.cos(),
                        flower.at[1] + r * angle.sin(),
                    ]
                })
                .collect();
            self.area(outline, middle + 0.6, flower.open && petal % 2 == 1);
            if flower.petals < 8 {
                let from = inner + 0.12 * (long - inner);
                let to = inner + self.between(0.45, 0.65) * (long - inner);
                let bend = self.between(-0.08, 0.08);
                for fan in [-0.28, 0.0, 0.28] {
                    let vein = (0..9).map(|i| {
                        let s = f64::from(i) / 8.0;
                        let reach = to - 0.25 * (to - from) * f64::from(u8::from(fan != 0.0));
                        let r = from + (reach - from) * s;
                        let angle = middle + half * (fan * (0.4 + s) + bend * s);
                        [
                            flower.at[0] + r * angle.cos(),
                            flower.at[1] + r * angle.sin(),
                        ]
                    });
                    self.line(vein.collect());
                }
            }
        }
        self.ring(flower.at, flower.radius * flower.eye, true);
        if flower.radius * flower.eye > 0.9 {
            self.line(circle(flower.at, flower.radius * flower.eye * 0.45, 20));
        }
    }

    /// A round spot, with a filled middle or as a ring of cord.
    fn ring(&mut self, at: Place, radius: f64, open: bool) {
        let mut outline = circle(at, radius, 28);
        outline.pop();
        self.area(outline, 0.4, open);
    }

    /// A leaf along a bent midrib, with side veins; `teeth` along each edge.
    fn leaf(&mut self, at: Place, direction: f64, long: f64, wide: f64, teeth: u32) {
        let bend = self.between(-0.5, 0.5);
        let rib = |s: f64| -> (Place, f64) {
            let angle = direction + bend * s;
            let middle = direction + 0.5 * bend * s;
            let place = [
                at[0] + long * s * middle.cos(),
                at[1] + long * s * middle.sin(),
            ];
            (place, angle)
        };
        let width = |s: f64, teeth: u32| {
            let plain = wide * (PI * s.powf(0.8)).sin().max(0.0).powf(0.85);
            let tooth = f64::from(teeth) * s;
            plain
                * (1.0
                    - if teeth > 0 {
                        0.28 * (tooth - tooth.floor())
                    } else {
                        0.0
                    })
        };
        let side = |s: f64, sign: f64| {
            let (place, angle) = rib(s);
            let w = sign * width(s, teeth);
            [place[0] - w * angle.sin(), place[1] + w * angle.cos()]
        };
        let steps = 44;
        let up = (0..=steps).map(|i| side(f64::from(i) / f64::from(steps), 1.0));
        let down = (1..steps)
            .rev()
            .map(|i| side(f64::from(i) / f64::from(steps), -1.0));
        let outline = up.chain(down).collect();
        let open = self.next() < 0.3;
        self.area(outline, direction + 0.7, open);
        self.line(
            (0..=20)
                .map(|i| rib(-0.12 + 1.02 * f64::from(i) / 20.0).0)
                .collect(),
        );
        if !open {
            let veins = (long / 1.1) as u32;
            for vein in 1..veins {
                let s = 0.12 + 0.7 * f64::from(vein) / f64::from(veins);
                for sign in [-1.0, 1.0] {
                    let (from, angle) = rib(s);
                    let (to, _) = rib((s + 0.13).min(1.0));
                    let w = 0.62 * sign * width(s + 0.13, 0);
                    self.line(vec![
                        from,
                        [to[0] - w * angle.sin(), to[1] + w * angle.cos()],
                    ]);
                }
            }
        }
    }

    /// A stem that starts in a direction and bends; where it ends, and in which direction.
    fn stem(&mut self, at: Place, direction: f64, long: f64, bend: f64) -> (Place, f64) {
        let steps = 24;
        let mut place = at;
        let mut line = vec![place];
        for i in 0..steps {
            let angle = direction + bend * (f64::from(i) + 0.5) / f64::from(steps);
            place[0] += long / f64::from(steps) * angle.cos();
            place[1] += long / f64::from(steps) * angle.sin();
            line.push(place);
        }
        // Two cords side by side read as a stem.
        let beside = line
            .iter()
            .map(|p| [p[0] + 0.16 * direction.sin(), p[1] - 0.16 * direction.cos()]);
        let beside = beside.collect();
        self.line(line);
        self.line(beside);
        (place, direction + bend)
    }

    /// A tendril that curls up.
    fn tendril(&mut self, at: Place, direction: f64, size: f64, hand: f64) {
        let mut place = at;
        let mut line = vec![place];
        for i in 0..44 {
            let s = f64::from(i) / 44.0;
            let angle = direction + hand * 7.0 * s * s;
            place[0] += size / 26.0 * angle.cos() * (1.15 - s);
            place[1] += size / 26.0 * angle.sin() * (1.15 - s);
            line.push(place);
        }
        self.line(line);
    }

    /// A cut end of cord, as it hangs out of the work.
    fn loose_end(&mut self, at: Place, direction: f64) {
        let long = self.between(0.7, 1.6);
        let curl = self.between(-2.2, 2.2);
        let mut place = at;
        let mut line = vec![place];
        for i in 0..10 {
            let angle = direction + curl * f64::from(i) / 10.0;
            place[0] += 0.1 * long * angle.cos();
            place[1] += 0.1 * long * angle.sin();
            line.push(place);
        }
        self.line(line);
    }

    /// Small loops of thread along the outer edge of the last `areas` areas.
    fn picots(&mut self, centre: Place, areas: usize, least: f64) {
        let from = self.drawing.areas.len().saturating_sub(areas);
        let unit = self.unit_mm;
        let mut loops = Vec::new();
        for area in &self.drawing.areas[from..] {
            let outline = &area.outline;
            let mut walked = 0.0;
            for i in 0..outline.len() {
                let (a, b) = (outline[i], outline[(i + 1) % outline.len()]);
                let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
                walked += dx.hypot(dy);
                let out = [a[0] / unit - centre[0], a[1] / unit - centre[1]];
                let r = out[0].hypot(out[1]);
                if walked < 1.15 || r < least {
                    continue;
                }
                walked = 0.0;
                let size = 0.30;
                let middle = [
                    a[0] + out[0] / r * size * 1.15,
                    a[1] + out[1] / r * size * 1.15,
                ];
                loops.push(circle(middle, size, 14));
            }
        }
        self.drawing.lines.extend(loops);
    }

    fn rose_spray(&mut self) {
        let at = [self.between(-0.6, 0.6), 1.9];
        let notch = self.between(0.10, 0.2);
        self.flower(&Flower {
            at,
            radius: 5.0,
            petals: 5,
            notch,
            scallops: 15,
            scallop: 0.05,
            fill: 0.94,
            eye: 0.2,
            open: false,
        });
        self.picots(at, 6, 4.2);
        let (end, _) = self.stem([at[0], at[1] - 5.2], -1.8, 5.4, 0.9);
        self.leaf([at[0] - 0.8, at[1] - 7.0], 3.5, 5.6, 1.25, 5);
        self.leaf([at[0] + 0.2, at[1] - 8.0], -0.3, 5.4, 1.2, 5);
        self.tendril([at[0] + 0.1, at[1] - 6.4], 0.6, 4.6, 1.0);
        self.loose_end(end, -1.2);
    }

    fn daisy(&mut self) {
        let petals = 9 + (self.next() * 4.0) as u32;
        self.flower(&Flower {
            at: [0.0, 0.0],
            radius: 6.0,
            petals,
            notch: 0.0,
            scallops: 0,
            scallop: 0.0,
            fill: 0.86,
            eye: 0.24,
            open: true,
        });
        for k in 0..5 {
            let angle = self.between(-0.2, 0.2) + f64::from(k) * TAU / 5.0;
            let at = [7.4 * angle.cos(), 7.4 * angle.sin()];
            if k % 2 == 0 {
                self.leaf([0.9 * at[0], 0.9 * at[1]], angle + 0.7, 3.6, 0.8, 0);
            } else {
                self.ring(at, 0.62, false);
            }
        }
        self.loose_end([6.0, -1.2], -0.5);
    }

    fn leaf_spray(&mut self) {
        let start = [-7.6, -3.6];
        let (end, direction) = self.stem(start, 0.75, 15.5, -0.85);
        for k in 0..5 {
            let s = 0.12 + 0.2 * f64::from(k);
            let place = [start[0] + 14.6 * s, start[1] + 8.0 * s * (1.35 - 0.75 * s)];
            let long = self.between(3.8, 4.8) * (1.05 - 0.3 * s);
            let turn = self.between(-0.15, 0.15);
            let teeth = 4 * u32::from(k % 2 == 0);
            self.leaf(place, 0.35 + 1.15 - 0.5 * s + turn, long, 1.05, teeth);
            self.leaf(place, 0.35 - 1.25 - 0.5 * s + turn, 0.9 * long, 1.0, teeth);
        }
        self.leaf(end, direction, 2.0, 0.7, 0);
        self.tendril(start, 2.2, 3.6, -1.0);
        self.loose_end(start, 3.6);
    }

    fn bell_spray(&mut self) {
        let (end, _) = self.stem([-4.5, -8.2], 1.2, 13.0, -0.5);
        for (place, direction, size) in [
            ([-2.6, -1.0], 2.6, 0.92),
            ([-0.6, 2.4], -0.2, 1.0),
            ([end[0], end[1]], 1.0, 0.85),
        ] {
            let turn = self.between(-0.15, 0.15);
            self.bell(place, direction + turn, 4.8 * size);
        }
        self.leaf([-4.0, -6.4], 0.3, 6.2, 1.2, 6);
        self.leaf([-4.2, -7.0], 2.2, 4.6, 1.0, 5);
        self.tendril([-2.3, 0.2], 0.4, 3.4, -1.0);
        self.loose_end([-4.5, -8.2], -1.6);
    }

    /// A bell flower from the side, with a scalloped mouth.
    fn bell(&mut self, at: Place, direction: f64, long: f64) {
        let (sine, cosine) = direction.sin_cos();
        let put = |x: f64, y: f64| [at[0] + x * cosine - y * sine, at[1] + x * sine + y * cosine];
        let width = |s: f64| long * (0.10 + 0.24 * s.powf(0.5) + 0.16 * s.powi(4));
        let mut outline: Vec<Place> = (0..=18)
            .map(|i| put(long * f64::from(i) / 18.0, width(f64::from(i) / 18.0)))
            .collect();
        for i in 1..24 {
            let s = f64::from(i) / 24.0;
            let scallop = 0.14 * long * (3.0 * PI * s).sin().abs();
            outline.push(put(long + scallop, width(1.0) * (1.0 - 2.0 * s)));
        }
        outline.extend((0..=18).rev().map(|i| {
            let s = f64::from(i) / 18.0;
            put(long * s, -width(s))
        }));
        self.area(outline, direction + 0.75, false);
        let centre = put(0.3 * long, 0.0);
        self.picots(centre, 1, 0.74 * long);
        for fan in [-0.45, 0.0, 0.45] {
            let vein = (2..14).map(|i| {
                let s = f64::from(i) / 16.0;
                put(long * s, fan * width(s))
            });
            self.line(vein.collect());
        }
        self.ring(put(-0.04 * long, 0.0), 0.5, false);
    }

    fn rosette(&mut self) {
        for (count, radius, size, open) in [(12, 6.6, 1.55, false), (8, 3.6, 1.25, true)] {
            for k in 0..count {
                let angle =
                    TAU * (f64::from(k) + 0.5 * f64::from(u8::from(open))) / f64::from(count);
                let wobble = self.between(0.93, 1.05);
                let at = [radius * angle.cos(), radius * angle.sin()];
                let outline = (0..30).map(|i| {
                    let a = angle + TAU * f64::from(i) / 30.0;
                    let r = size * wobble * (1.0 + 0.16 * (a - angle).cos());
                    [at[0] + r * a.cos(), at[1] + r * a.sin()]
                });
                self.area(outline.collect(), angle + 0.7, open);
            }
        }
        self.picots([0.0, 0.0], 20, 7.3);
        self.ring([0.0, 0.0], 1.5, false);
        self.line(circle([0.0, 0.0], 0.75, 20));
    }

    fn pair_of_blooms(&mut self) {
        for (at, radius, petals) in [([-3.2, 2.8], 4.0, 6), ([4.0, -1.4], 3.4, 5)] {
            let fill = self.between(0.88, 0.98);
            self.flower(&Flower {
                at,
                radius,
                petals,
                notch: 0.06,
                scallops: 13,
                scallop: 0.04,
                fill,
                eye: 0.22,
                open: petals == 6,
            });
        }
        let (end, _) = self.stem([-2.2, -1.2], -1.3, 7.0, 0.35);
        self.stem([2.4, -4.2], -2.3, 4.2, 0.6);
        self.leaf([-2.0, -3.2], 3.6, 5.2, 1.15, 5);
        self.leaf([-0.8, -6.0], -0.1, 5.4, 1.1, 0);
        self.leaf([1.2, 4.0], 0.9, 4.4, 1.0, 4);
        self.ring([5.0, 4.4], 0.8, true);
        self.ring([6.6, 3.4], 0.55, false);
        self.loose_end(end, -1.7);
    }

    fn fern(&mut self) {
        let hand = if self.next() < 0.5 { 1.0 } else { -1.0 };
        let start = [-1.0, -8.6];
        let (end, direction) = self.stem(start, PI / 2.0 - 0.25 * hand, 15.0, 0.55 * hand);
        for k in 0..8 {
            let s = 0.1 + 0.11 * f64::from(k);
            let angle = PI / 2.0 - 0.25 * hand + 0.28 * hand * s;
            let place = [
                start[0] + 15.0 * s * angle.cos(),
                start[1] + 15.0 * s * angle.sin(),
            ];
            let long = 4.6 * (1.1 - s) + 0.7;
            let along = angle + 0.28 * hand * s;
            self.leaf(place, along + 0.95, long, 0.24 * long, 0);
            self.leaf(place, along - 0.95, long, 0.24 * long, 0);
        }
        self.leaf(end, direction, 1.8, 0.6, 0);
        self.tendril(start, 0.2, 3.8, hand);
        self.loose_end(start, -1.5);
    }
}

/// A closed line about a place.
fn circle(at: Place, radius: f64, steps: u32) -> Vec<Place> {
    (0..=steps)
        .map(|i| {
            let angle = TAU * f64::from(i) / f64::from(steps);
            [at[0] + radius * angle.cos(), at[1] + radius * angle.sin()]
        })
        .collect()
}
