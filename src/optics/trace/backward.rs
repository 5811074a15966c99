//! The backward tracer: luminance by following sight into the modifier until it meets the lamp. Slow
//! and without cells: the reference for tables.

use super::draw::{Draw, net};
use super::sheet::{Sheet, Way, bend_back};
use super::shell::Wall;
use super::stage::{Met, Outline, Ray, Stage};
use super::wall::reflect;
use crate::optics::prescription::{Finish, Prescription};
use glam::DVec3;
use rayon::prelude::*;
use std::f64::consts::PI;

/// A mean and its standard error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// The mean.
    pub value: f64,
    /// Its standard error, from 32 parts.
    pub error: f64,
}

/// Parts an estimate is made in.
const PARTS: u64 = 32;
/// Throughput below which chance ends a path.
const ROULETTE_BELOW: f64 = 0.25;
const MOST_EVENTS: u32 = 10_000;
/// Farther than anything of a modifier.
const FAR_M: f64 = 50.0;

/// Luminance (cd/m² per lm) that leaves a place of the face (z = 0, or on a canopy's cloth) in a
/// direction toward the subject, metres in the modifier's frame.
pub fn luminance(
    prescription: &Prescription,
    place_m: [f64; 3],
    toward: [f64; 3],
    samples: u64,
) -> Estimate {
    let tracer = Tracer::new(prescription);
    let along = -DVec3::from(toward).normalize_or(DVec3::Z);
    estimate(samples, |number| {
        let mut draw = Draw::new(number);
        tracer.seen(DVec3::from(place_m) - along * FAR_M, along, &mut draw)
    })
}

/// Illuminance (lx per lm) at a point before the face, on a plane parallel to it.
pub fn illuminance_at(prescription: &Prescription, point_m: [f64; 3], samples: u64) -> Estimate {
    let tracer = Tracer::new(prescription);
    let point = DVec3::from(point_m);
    estimate(samples, |number| tracer.arrival(point, number).1)
}

/// The parts of that illuminance by the places of the face they come from, metres: what an edge
/// before the point would hide. Their mean is the illuminance.
pub fn arrivals(
    prescription: &Prescription,
    point_m: [f64; 3],
    samples: u64,
) -> Vec<([f64; 3], f64)> {
    let tracer = Tracer::new(prescription);
    let point = DVec3::from(point_m);
    (0..samples)
        .into_par_iter()
        .map(|number| {
            let (place, light) = tracer.arrival(point, number);
            (place.to_array(), light)
        })
        .collect()
}

fn estimate(samples: u64, sample: impl Fn(u64) -> f64 + Sync) -> Estimate {
    let each = (samples / PARTS).max(1);
    let means: Vec<f64> = (0..PARTS)
        .into_par_iter()
        .map(|part| {
            let numbers = part * each..(part + 1) * each;
            numbers.map(&sample).sum::<f64>() / each as f64
        })
        .collect();
    let n = PARTS as f64;
    let value = means.iter().sum::<f64>() / n;
    let variance = means.iter().map(|m| (m - value).powi(2)).sum::<f64>() / (n - 1.0);
    Estimate {
        value,
        error: (variance / n).sqrt(),
    }
}

struct Tracer {
    stage: Stage,
}

impl Tracer {
    fn new(prescription: &Prescription) -> Self {
        Self {
            stage: Stage::new(prescription),
        }
    }

    /// A place where light leaves toward the subject, its normal, and the area of all.
    fn place(&self, at: [f64; 2]) -> (DVec3, DVec3, f64) {
        let (s, c) = (2.0 * PI * at[1]).sin_cos();
        match (&self.stage.wall, self.stage.outline) {
            (Wall::Cap { radius, centre_z }, _) => {
                let height = (radius + centre_z) * at[0];
                let z = 1.0 - height / radius;
                let across = (1.0 - z * z).max(0.0).sqrt();
                let normal = DVec3::new(across * c, across * s, z);
                let centre = DVec3::new(0.0, 0.0, *centre_z);
                let area = 2.0 * PI * radius * (radius + centre_z);
                (centre + normal * *radius, normal, area)
            }
            (_, Outline::Round(radius)) => {
                let r = radius * at[0].sqrt();
                let area = PI * radius * radius;
                (DVec3::new(r * c, r * s, 0.0), DVec3::Z, area)
            }
            (_, Outline::Rect([x, y])) => {
                let [u, v] = [2.0 * at[0] - 1.0, 2.0 * at[1] - 1.0];
                (DVec3::new(u * x, v * y, 0.0), DVec3::Z, 4.0 * x * y)
            }
        }
    }

    /// A place of the face and the light a point gets from there, over the place's density.
    fn arrival(&self, point: DVec3, number: u64) -> (DVec3, f64) {
        let at = net(number);
        let (place, normal, area) = self.place([at[0], at[1]]);
        let to = place - point;
        let distance2 = to.length_squared();
        let along = to / distance2.sqrt();
        let (leaves, arrives) = (-along.dot(normal), -along.z);
        if leaves <= 0.0 || arrives <= 0.0 {
            return (place, 0.0);
        }
        let light = self.seen(point, along, &mut Draw::new(number));
        (place, area * leaves * arrives / distance2 * light)
    }

    /// Luminance seen along a line of sight from before the face.
    fn seen(&self, from: DVec3, along: DVec3, draw: &mut Draw) -> f64 {
        let mut path = Path {
            tracer: self,
            draw,
            sum: 0.0,
            through: 1.0,
            lamp_counts: true,
        };
        let mut ray = if let (Some(cloth), Wall::Cap { radius, centre_z }) =
            (&self.stage.canopy, &self.stage.wall)
        {
            let p = from - DVec3::new(0.0, 0.0, *centre_z);
            let b = p.dot(along);
            let root = b * b - p.length_squared() + radius * radius;
            if root <= 0.0 {
                return 0.0;
            }
            let at = from + along * (-b - root.sqrt());
            let normal = self.stage.wall.normal(at, super::shell::Part::Side);
            let before = Ray {
                from: at,
                along,
                inside: true,
            };
            match path.cloth(cloth, at, normal, before) {
                // Reflected to the open: no lamp there.
                Some((_, Way::Reflected)) | None => return path.sum,
                Some((ray, _)) => ray,
            }
        } else {
            let closed = self.stage.is_closed();
            // Before a closed face nothing stands.
            let from = if closed {
                from - along * (from.z / along.z)
            } else {
                from
            };
            Ray {
                from,
                along,
                inside: false,
            }
        };
        for _ in 0..MOST_EVENTS {
            match path.step(ray) {
                Some(next) => ray = next,
                None => break,
            }
        }
        path.sum
    }

    /// How much of the lamp's light comes straight along a segment that ends on it.
    fn passes(&self, mut ray: Ray, end: DVec3) -> f64 {
        let mut share = 1.0;
        loop {
            let (met, at) = self.stage.next(&ray, true);
            let past = (at - end).dot(ray.along) > -1e-9;
            match met {
                Met::Away => return share,
                _ if past => return share,
                Met::Face if !self.stage.is_closed() => ray.inside = !ray.inside,
                Met::Baffle(k) => share *= self.stage.baffles[k].cloth.straight,
                _ => return 0.0,
            }
            if share == 0.0 {
                return 0.0;
            }
            ray.from = at;
        }
    }
}

/// A line of sight under way.
struct Path<'a> {
    tracer: &'a Tracer,
    draw: &'a mut Draw,
    sum: f64,
    through: f64,
    /// False where the lamp, if met next, has been looked at already.
    lamp_counts: bool,
}

impl Path<'_> {
    fn step(&mut self, ray: Ray) -> Option<Ray> {
        let stage = &self.tracer.stage;
        let (met, at) = stage.next(&ray, false);
        let Ray { along, inside, .. } = ray;
        let on = |along| Ray {
            from: at,
            along,
            inside,
        };
        match met {
            Met::Lamp => {
                if self.lamp_counts && stage.head.is_lit_toward(along) {
                    self.sum += self.through * stage.head.luminance();
                }
                None
            }
            Met::Housing | Met::Past | Met::Away => None,
            Met::Plate => {
                let (finish, normal) = stage.plate_toward(along)?;
                let bounce = reflect(finish, normal, normal, along, self.draw);
                if let Finish::Matt { reflectance } = finish {
                    self.look(at, normal, inside, reflectance);
                }
                self.lamp_counts = !bounce.matt;
                self.weigh(bounce.share)?;
                Some(on(bounce.along))
            }
            Met::Wall(part) => {
                if let Some(cloth) = &stage.canopy {
                    // Sight from inside: on to what the cloth sends back in.
                    let normal = stage.wall.normal(at, part);
                    let (ray, way) = self.cloth(cloth, at, -normal, ray)?;
                    return (way == Way::Reflected).then_some(ray);
                }
                let (bounce, normal) = stage.bounce(at, part, along, self.draw)?;
                if bounce.matt {
                    self.look(at, normal, inside, bounce.share);
                }
                self.lamp_counts = !bounce.matt;
                self.weigh(bounce.share * bounce.back)?;
                Some(on(bounce.along))
            }
            Met::Baffle(k) => {
                let through = DVec3::Z * along.z.signum();
                Some(self.cloth(&stage.baffles[k], at, through, ray)?.0)
            }
            Met::Face => self.face(at, ray),
        }
    }

    fn face(&mut self, at: DVec3, ray: Ray) -> Option<Ray> {
        let stage = &self.tracer.stage;
        let mut ray = Ray { from: at, ..ray };
        let mut crosses = true;
        if let Some(front) = &stage.front {
            let through = DVec3::Z * ray.along.z.signum();
            let way;
            (ray, way) = self.cloth(front, at, through, ray)?;
            crosses = way != Way::Reflected;
        }
        if crosses {
            ray.inside = !ray.inside;
        }
        if !ray.inside && stage.is_closed() {
            return None;
        }
        if crosses
            && ray.inside
            && let Some(lens) = &stage.lens
        {
            let factor;
            (ray.along, factor) = bend_back(lens, at, ray.along, self.draw)?;
            self.weigh(factor)?;
        }
        Some(ray)
    }

    /// Sight through or back from a cloth; `through` is its normal on the far side. `inside` is kept.
    fn cloth(&mut self, cloth: &Sheet, at: DVec3, through: DVec3, ray: Ray) -> Option<(Ray, Way)> {
        let way = cloth.choose(self.draw);
        let along = cloth.turn(way, through, ray.along, self.draw);
        let mut factor = cloth.share();
        match way {
            Way::Straight => {}
            Way::Spread => {
                self.lamp_counts = true;
                let kept = |v: DVec3| cloth.kept(v.cross(through).length());
                factor *= kept(ray.along) / kept(along).max(1e-9);
            }
            Way::Scattered | Way::Reflected => {
                let (normal, crosses) = if way == Way::Scattered {
                    (through, true)
                } else {
                    (-through, false)
                };
                // At the face and on a canopy, the far side is the other zone.
                let filled = cloth.extent.is_none();
                let inside = if filled && crosses && self.tracer.stage.canopy.is_none() {
                    !ray.inside
                } else {
                    ray.inside
                };
                // A lens behind a front cloth bends what is looked for: met by chance instead.
                let looks = !filled || self.tracer.stage.lens.is_none();
                if looks {
                    self.look(at, normal, inside, factor);
                }
                self.lamp_counts = !looks;
            }
        }
        self.weigh(factor)?;
        Some((
            Ray {
                from: at,
                along,
                inside: ray.inside,
            },
            way,
        ))
    }

    /// Adds the lamp's own light on a matt surface, from one place on the lamp.
    fn look(&mut self, at: DVec3, normal: DVec3, inside: bool, reflectance: f64) {
        let head = &self.tracer.stage.head;
        let (place, lamp_normal) = head.place([self.draw.even(), self.draw.even()]);
        let to = place - at;
        let distance2 = to.length_squared();
        let along = to / distance2.sqrt();
        let cosines = [along.dot(normal), -along.dot(lamp_normal)];
        if cosines[0] <= 0.0 || cosines[1] <= 0.0 {
            return;
        }
        let ray = Ray {
            from: at,
            along,
            inside,
        };
        let share = self.tracer.passes(ray, place);
        if share > 0.0 {
            let light =
                share * head.luminance() * head.area_m2() * cosines[0] * cosines[1] / distance2;
            self.sum += self.through * reflectance / PI * light;
        }
    }

    fn weigh(&mut self, factor: f64) -> Option<()> {
        self.through *= factor;
        if self.through < ROULETTE_BELOW {
            let stay = self.through / ROULETTE_BELOW;
            if self.draw.even() >= stay {
                return None;
            }
            self.through = ROULETTE_BELOW;
        }
        Some(())
    }
}
