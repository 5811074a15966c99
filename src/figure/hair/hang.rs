//! Guides: a few hundred strands that hang, lie on the body, keep clear of each
//! other and blow. All other strands follow them.

use super::Ground;
use super::comb::{Fall, Parting, combed_fall};
use super::interpolate::{Curl, Lock, fill_parted};
use super::noise::{Dice, noise_along};
use super::ribbon::Strand;
use super::roots::{Edge, roots, weighted};
use crate::figure::sdf::step;
use glam::{DVec3, dvec3};
use rayon::prelude::*;

/// Parted and hanging freely.
pub(super) fn loose(ground: &Ground, length_mm: f64) -> Vec<Strand> {
    let fall = Fall {
        length_mm,
        points: 40,
        thick_mm: 11.5,
        lift: 0.5,
    };
    let lock = Lock {
        spread_mm: 6.0,
        gather: (0.15, 0.80),
        wave: (3.4, 120.0),
        curl: Some(Curl {
            radius_mm: 5.0,
            pitch_mm: 165.0,
            alike_mm: 34.0,
        }),
        shortest: 0.84,
        points: 25,
        width_mm: ground.width(0.42),
        stray: 0.03,
    };
    hanging(ground, &fall, &lock, 9.0, 16_900.0)
}

/// Hanging freely, full, in curls.
pub(super) fn curled(ground: &Ground, length_mm: f64) -> Vec<Strand> {
    let curl = Curl {
        radius_mm: 11.5,
        pitch_mm: 64.0,
        alike_mm: 24.0,
    };
    let fall = Fall {
        // The curl takes up length.
        length_mm: length_mm * curl.shortening(),
        points: 40,
        thick_mm: 19.0,
        lift: 0.75,
    };
    let lock = Lock {
        spread_mm: 5.5,
        gather: (0.72, 0.98),
        wave: (1.8, 90.0),
        curl: Some(curl),
        shortest: 0.78,
        points: 36,
        width_mm: ground.width(0.44),
        stray: 0.04,
    };
    hanging(ground, &fall, &lock, 17.0, 11_400.0)
}

fn hanging(ground: &Ground, fall: &Fall, lock: &Lock, room_mm2: f64, usual: f64) -> Vec<Strand> {
    let parting = Parting::new(17.0);
    let guide_roots = roots(ground, 640, 0x901d, Edge::Full);
    let shapes: Vec<Vec<DVec3>> = guide_roots
        .par_iter()
        .map(|root| combed_fall(ground, &parting, root, fall))
        .collect();
    let mut guides = Guides::new(fall.points);
    for (root, shape) in guide_roots.iter().zip(shapes) {
        let inner = (0.3 + root.behind_mm / 22.0).min(1.0);
        let mut dice = Dice::new(ground.seed, 0xfa12, root.index);
        let top = 0.5 + fall.thick_mm * 0.55 * inner * dice.range(0.55, 1.0);
        guides.push(shape, [0.6, top]);
    }
    guides.hold = (45.0, 165.0);
    guides.room_mm2 = room_mm2;
    settle(ground, &mut guides);
    // Closest where nothing lies over it: at the parting and the crown.
    let bared = |p: DVec3| {
        let aside = parting.across(p).abs().max(parting.crown.z - 25.0 - p.z);
        0.36 + 0.64 * step(48.0, 14.0, aside) * step(30.0, 60.0, p.y)
    };
    let all = weighted(ground, ground.count(usual), 0x100e, Edge::Soft, &bared);
    let mut strands = fill_parted(ground, &guides, &all, lock, Some(&parting));
    strands.extend(undergrowth(ground, &parting));
    strands
}

/// Hair that is growing anew: short, flat, closest at the parting and the crown,
/// where it is what hides the skin.
fn undergrowth(ground: &Ground, parting: &Parting) -> Vec<Strand> {
    let fall = Fall {
        length_mm: 40.0,
        points: 6,
        thick_mm: 1.6,
        lift: 0.16,
    };
    let bared = |p: DVec3| {
        let aside = parting.across(p).abs();
        let crown = p.distance(parting.crown);
        let line = step(16.0, 3.0, aside) * step(parting.crown.z - 12.0, parting.crown.z, p.z);
        0.12 + 0.88 * line.max(step(38.0, 12.0, crown))
    };
    weighted(ground, ground.count(46_000.0), 0x1e55, Edge::Soft, &|p| {
        bared(p) * step(40.0, 66.0, p.y)
    })
    .par_iter()
    .map(|root| Strand {
        points: combed_fall(ground, parting, root, &fall),
        width_mm: ground.width(0.45),
        taper: (0.25 + 0.75 * step(3.0, 14.0, root.behind_mm), 0.3),
        widens_mm: 3.0,
        roll: 0.4,
    })
    .collect()
}

/// Strands that are simulated, all with the same number of points.
pub(super) struct Guides {
    /// Points of one guide.
    pub points: usize,
    /// All guides' points, one guide after the other.
    pub at: Vec<DVec3>,
    /// Clearance over skin and cloth: near the root, and further along.
    clearance_mm: Vec<[f64; 2]>,
    /// Up to the first length hair keeps the shape it was combed to; from the
    /// second it hangs freely. In millimetres from the root.
    pub hold: (f64, f64),
    /// Cross-section that a guide and the strands round it take up.
    pub room_mm2: f64,
}

impl Guides {
    pub fn new(points: usize) -> Self {
        Self {
            points,
            at: Vec::new(),
            clearance_mm: Vec::new(),
            hold: (0.0, 1.0),
            room_mm2: 10.0,
        }
    }

    /// Adds a guide; its points are evenly spaced.
    pub fn push(&mut self, shape: Vec<DVec3>, clearance_mm: [f64; 2]) {
        self.at.extend(shape);
        self.clearance_mm.push(clearance_mm);
    }

    /// One guide's points.
    pub fn guide(&self, i: usize) -> &[DVec3] {
        &self.at[i * self.points..(i + 1) * self.points]
    }

    /// Number of guides.
    pub fn count(&self) -> usize {
        self.clearance_mm.len()
    }
}

const STEPS: usize = 110;
const TIME_STEP_S: f64 = 1.0 / 60.0;
const GRAVITY_MM_S2: f64 = 9810.0;
/// Push of the strongest wind against a strand's weight.
const WIND_TO_WEIGHT: f64 = 2.1;

/// Lets the guides come to rest under gravity and wind (position-based dynamics,
/// Müller et al. 2007; inextensible strands by following the leader, Müller, Kim
/// and Chentanez 2012).
pub(super) fn settle(ground: &Ground, guides: &mut Guides) {
    let n = guides.points;
    let combed = guides.at.clone();
    let mut before = guides.at.clone();
    let mut crowd = Crowd::new(guides);
    for round in 0..STEPS {
        crowd.fill(&guides.at);
        let crowd = &crowd;
        let (hold, clearance) = (guides.hold, &guides.clearance_mm);
        guides
            .at
            .par_chunks_mut(n)
            .zip(before.par_chunks_mut(n))
            .zip(combed.par_chunks(n))
            .zip(clearance)
            .enumerate()
            .for_each(|(i, (((at, before), combed), clearance))| {
                let strand = Hanging {
                    ground,
                    crowd,
                    combed,
                    hold,
                    clearance: *clearance,
                    gust: 1.0 + 0.45 * noise_along(i as f64 * 0.37, 3.0, 61),
                };
                strand.advance(at, before, round as f64 / STEPS as f64);
            });
    }
}

struct Hanging<'a> {
    ground: &'a Ground<'a>,
    crowd: &'a Crowd,
    combed: &'a [DVec3],
    hold: (f64, f64),
    clearance: [f64; 2],
    gust: f64,
}

impl Hanging<'_> {
    /// One time step; `done` is 0 at the first, 1 at the last.
    fn advance(&self, at: &mut [DVec3], before: &mut [DVec3], done: f64) {
        let seg = self.combed[0].distance(self.combed[1]);
        let weight = self.ground.down * GRAVITY_MM_S2;
        // Everything comes to rest at the end.
        let drag = 0.90 - 0.35 * done * done;
        for k in 2..at.len() {
            let a = k as f64 * seg;
            let free = step(self.hold.0, self.hold.1, a);
            let p = at[k];
            let exposed = step(self.hold.0, self.hold.1 * 1.6, a);
            let wind = self.ground.wind * (WIND_TO_WEIGHT * GRAVITY_MM_S2 * exposed * self.gust);
            let pull = weight + wind + self.aside(p, a);
            let moved = (p - before[k]) * drag + pull * (TIME_STEP_S * TIME_STEP_S);
            before[k] = p;
            let mut q = p + moved.clamp_length_max(9.0) * (0.15 + 0.85 * free);
            q += (self.combed[k] - q) * (0.5 * (1.0 - free).powi(2));
            if a > 20.0 {
                q += self.crowd.apart(q).clamp_length_max(0.9);
            }
            at[k] = q;
        }
        // Bending: towards the middle of the neighbours.
        for k in 2..at.len() - 1 {
            let middle = 0.5 * (at[k - 1] + at[k + 1]);
            at[k] += (middle - at[k]) * 0.18;
        }
        for k in 1..at.len() {
            let rise = 1.0 - (-(k as f64) * seg / 60.0).exp();
            let clear = self.clearance[0] + (self.clearance[1] - self.clearance[0]) * rise;
            let along = (at[k] - at[k - 1]).normalize_or(self.ground.down);
            at[k] = at[k - 1] + along * seg;
            if let Some(n) = self.ground.obstacle.push_out(&mut at[k], clear) {
                // Friction: sliding along the surface loses speed.
                let slide = at[k] - before[k];
                before[k] += (slide - n * slide.dot(n)) * 0.35;
                let along = (at[k] - at[k - 1]).normalize_or(self.ground.down);
                at[k] = at[k - 1] + along * seg;
            }
        }
    }

    /// Keeps hair off the face, and lets it part over the shoulder to front and back.
    fn aside(&self, p: DVec3, a: f64) -> DVec3 {
        let mut push = DVec3::ZERO;
        let face = step(52.0, 30.0, p.x.abs()) * step(30.0, 60.0, p.z) * step(-110.0, -80.0, p.y);
        push.x += 0.9 * face * p.x.signum();
        push.z -= 0.9 * face;
        if a > 120.0 && p.y < -105.0 && self.ground.obstacle.distance(p) < 25.0 {
            let to_front = if self.combed[0].z > 4.0 { 1.0 } else { -1.0 };
            push += dvec3(0.0, 0.0, 0.55 * to_front) * step(-105.0, -135.0, p.y);
        }
        push * GRAVITY_MM_S2
    }
}

/// How many guide points there are about every place: hair takes up room.
struct Crowd {
    low: DVec3,
    count: [usize; 3],
    samples: Vec<f32>,
    /// Points in a cell at which the hair is as dense as it gets.
    full: f32,
}

const CROWD_CELL_MM: f64 = 6.0;

impl Crowd {
    fn new(guides: &Guides) -> Self {
        let seg = guides.at[0].distance(guides.at[1]).max(1e-6);
        let length = seg * guides.points as f64;
        let reach = DVec3::splat(length + 110.0).min(dvec3(420.0, 700.0, 420.0));
        let (low, high) = (-reach, dvec3(reach.x, 160.0, reach.z));
        let count = ((high - low) / CROWD_CELL_MM)
            .ceil()
            .to_array()
            .map(|n| n as usize + 2);
        Self {
            low,
            count,
            samples: vec![0.0; count.iter().product()],
            full: (CROWD_CELL_MM.powi(3) / (guides.room_mm2 * seg)) as f32,
        }
    }

    fn cell(&self, p: DVec3) -> Option<(usize, DVec3)> {
        let q = (p - self.low) / CROWD_CELL_MM;
        let [nx, ny, nz] = self.count;
        let inside = q.min_element() >= 1.0
            && q.x < nx as f64 - 2.0
            && q.y < ny as f64 - 2.0
            && q.z < nz as f64 - 2.0;
        inside.then(|| {
            let base = q.floor();
            let i = (base.z as usize * ny + base.y as usize) * nx + base.x as usize;
            (i, q - base)
        })
    }

    fn fill(&mut self, points: &[DVec3]) {
        self.samples.fill(0.0);
        let [nx, ny, _] = self.count;
        for &p in points {
            let Some((i, f)) = self.cell(p) else { continue };
            for corner in 0..8 {
                let (x, y, z) = (corner & 1, corner >> 1 & 1, corner >> 2);
                let share = |f: f64, c: usize| if c == 1 { f } else { 1.0 - f };
                let w = share(f.x, x) * share(f.y, y) * share(f.z, z);
                self.samples[i + (z * ny + y) * nx + x] += w as f32;
            }
        }
    }

    /// Way out of a place that is too crowded, in millimetres.
    fn apart(&self, p: DVec3) -> DVec3 {
        let Some((i, f)) = self.cell(p) else {
            return DVec3::ZERO;
        };
        let [nx, ny, _] = self.count;
        let at = |x: usize, y: usize, z: usize| f64::from(self.samples[i + (z * ny + y) * nx + x]);
        let mix = |f: f64, a: f64, b: f64| a * (1.0 - f) + b * f;
        let plane_x = |x| {
            mix(
                f.z,
                mix(f.y, at(x, 0, 0), at(x, 1, 0)),
                mix(f.y, at(x, 0, 1), at(x, 1, 1)),
            )
        };
        let plane_y = |y| {
            mix(
                f.z,
                mix(f.x, at(0, y, 0), at(1, y, 0)),
                mix(f.x, at(0, y, 1), at(1, y, 1)),
            )
        };
        let plane_z = |z| {
            mix(
                f.y,
                mix(f.x, at(0, 0, z), at(1, 0, z)),
                mix(f.x, at(0, 1, z), at(1, 1, z)),
            )
        };
        let density = mix(f.x, plane_x(0), plane_x(1));
        let over = density / f64::from(self.full) - 1.0;
        if over <= 0.0 {
            return DVec3::ZERO;
        }
        let slope = dvec3(
            plane_x(1) - plane_x(0),
            plane_y(1) - plane_y(0),
            plane_z(1) - plane_z(0),
        );
        -slope.normalize_or_zero() * (0.8 * over.min(1.5))
    }
}
