//! One ray's way from the lamp to where its light ends.

use super::draw::{Draw, net};
use super::sheet::{Sheet, Way, bend, haze};
use super::stage::{Met, Ray, Stage};
use super::tally::Table;
use super::wall::reflect;
use super::{Account, lamp_ray};
use crate::optics::prescription::{Cloth, Lens};
use glam::DVec3;
use std::f64::consts::{PI, TAU};

/// Above this share of its start a ray's light is split at each loss; below, chance takes all of it or
/// none, so that rays end and the account still closes.
const SPLIT_ABOVE: f64 = 0.25;
/// The same for a cloth that passes light evenly, where splitting costs nothing but time.
const FAINT: f64 = 0.05;
/// Events after which a ray is given up, its light booked to the wall.
const MOST_EVENTS: u32 = 100_000;

/// What has been counted: a table for each emission, and where the light went.
pub(super) struct Sums {
    pub tables: Vec<Table>,
    /// Of the first emission, the light that was looked for (see [`Walk::glimpse`]), and how much of
    /// it leaves by the account.
    glimpsed: Table,
    glimpsed_out: f64,
    pub account: Account,
}

impl Sums {
    pub(super) fn new(tables: Vec<Table>) -> Option<Self> {
        Some(Self {
            glimpsed: tables.first()?.clone(),
            tables,
            glimpsed_out: 0.0,
            account: Account::default(),
        })
    }

    /// Flux by emission and cell. What was looked for is scaled to what the account says of it.
    pub(super) fn settle(mut self) -> (Vec<Vec<f64>>, Account) {
        if let Some(first) = self.tables.first_mut() {
            first.join(&self.glimpsed, self.glimpsed_out);
        }
        let flux = self.tables.into_iter().map(Table::settle).collect();
        (flux, self.account)
    }
}

/// A ray under way.
struct Walk<'a> {
    stage: &'a Stage,
    sums: &'a mut Sums,
    draw: Draw,
    weight: f64,
    /// The light comes unturned from where it was looked for already.
    fresh: bool,
}

/// Follows ray `number` from the lamp, its light one, and counts it.
pub(super) fn follow(stage: &Stage, number: u64, sums: &mut Sums) {
    let at = net(number);
    let Some((mut ray, normal)) = lamp_ray(stage, at) else {
        // A part of the lamp that stands behind the wall.
        sums.account.wall += 1.0;
        return;
    };
    let mut walk = Walk {
        stage,
        sums,
        draw: Draw::new(number),
        weight: 1.0,
        fresh: false,
    };
    walk.glimpse(ray, normal, Some([at[2], at[3]]));
    let mut skip_lamp = true;
    for _ in 0..MOST_EVENTS {
        let (met, at) = stage.next(&ray, skip_lamp);
        skip_lamp = false;
        let Some(next) = walk.step(ray, met, at) else {
            return;
        };
        ray = next;
    }
    walk.sums.account.wall += walk.weight;
}

impl Walk<'_> {
    /// The ray after what it met, or `None` where its light ends (all of it booked).
    fn step(&mut self, ray: Ray, met: Met, at: DVec3) -> Option<Ray> {
        let Ray { along, inside, .. } = ray;
        let onward = |along| Ray {
            from: at,
            along,
            inside,
        };
        match met {
            Met::Lamp => self.sums.account.lamp += self.weight,
            Met::Housing => self.sums.account.housing += self.weight,
            Met::Past => self.sums.account.spill += self.weight,
            Met::Away => self.away(ray),
            Met::Plate => {
                let Some((finish, normal)) = self.stage.plate_toward(along) else {
                    self.sums.account.plate += self.weight;
                    return None;
                };
                let bounce = reflect(finish, normal, normal, along, &mut self.draw);
                self.keep(bounce.share, |a| &mut a.plate)?;
                self.turned(bounce.matt, onward(bounce.along), normal);
                return Some(onward(bounce.along));
            }
            Met::Wall(part) => {
                if let Some(cloth) = &self.stage.canopy {
                    return self.canopy(cloth, at, self.stage.wall.normal(at, part), ray);
                }
                let (bounce, normal) = self.stage.bounce(at, part, along, &mut self.draw)?;
                self.keep(bounce.share, |a| &mut a.wall)?;
                self.turned(bounce.matt, onward(bounce.along), normal);
                return Some(onward(bounce.along));
            }
            Met::Baffle(k) => {
                let sheet = &self.stage.baffles[k];
                let through = DVec3::Z * along.z.signum();
                self.keep(sheet.share(), |a| &mut a.cloth)?;
                let way = sheet.choose(&mut self.draw);
                let on = onward(sheet.turn(way, through, along, &mut self.draw));
                match way {
                    Way::Straight => {}
                    Way::Spread => self.fresh = false,
                    Way::Scattered => self.turned(true, on, through),
                    Way::Reflected => self.turned(true, on, -through),
                }
                return Some(on);
            }
            Met::Face => return self.face(at, ray),
        }
        None
    }

    /// Takes a share of the light on and books the rest.
    fn keep(&mut self, share: f64, account: impl Fn(&mut Account) -> &mut f64) -> Option<()> {
        let bin = account(&mut self.sums.account);
        if self.weight > SPLIT_ABOVE {
            *bin += self.weight * (1.0 - share);
            self.weight *= share;
            (share > 0.0).then_some(())
        } else if self.draw.even() < share {
            Some(())
        } else {
            *bin += self.weight;
            None
        }
    }

    /// Light in the open that nothing more is in the way of. It is counted where its line meets the
    /// face: that of a lamp before the face too, whose light then seems to come through it.
    fn away(&mut self, ray: Ray) {
        if ray.inside {
            // Only rounding leads here.
            self.sums.account.wall += self.weight;
            return;
        }
        let Ray { from, along, .. } = ray;
        let place = from - along * (from.z / along.z);
        let on_head = self
            .stage
            .unheeded
            .is_some_and(|head| head.distance(from, along).is_finite());
        if from.z == 0.0 || (along.z != 0.0 && self.stage.outline.holds(place)) {
            self.leave(place, along, on_head);
        } else if on_head {
            self.sums.account.housing += self.weight;
        } else {
            self.sums.account.spill += self.weight;
        }
    }

    /// Counts all the light as leaving by the face, to end on the head before it or not.
    fn leave(&mut self, place: DVec3, along: DVec3, on_head: bool) {
        let account = &mut self.sums.account;
        if on_head {
            account.head += self.weight;
        } else if self.stage.canopy.is_some() {
            account.back += self.weight;
        } else {
            account.out += self.weight;
        }
        if self.stage.canopy.is_some() {
            self.sums.tables[1].add(place, along, self.weight);
        } else {
            self.count_out(place, along);
        }
    }

    /// Counts all the light into the first emission.
    fn count_out(&mut self, place: DVec3, along: DVec3) {
        if self.fresh {
            self.sums.glimpsed_out += self.weight;
        } else {
            self.sums.tables[0].add(place, along, self.weight);
        }
    }

    /// Notes that light was turned: as Lambert's law has it, or otherwise.
    fn turned(&mut self, matt: bool, on: Ray, normal: DVec3) {
        self.fresh = false;
        if matt {
            self.glimpse(on, normal, None);
        }
    }

    /// Looks for light that leaves straight from a place where it is Lambertian (`ray` gives it), and
    /// counts it in place of what chance would send out.
    ///
    /// Cells near the normal are tiny, so chance alone fills them badly (8-14 % of noise on the axis
    /// of white dishes). Half of the looks are even over the table's cells, half Lambertian, and each
    /// is weighed by both densities (Veach 1997).
    fn glimpse(&mut self, ray: Ray, normal: DVec3, from_lamp: Option<[f64; 2]>) {
        if let Some(lens) = self.stage.clear_lens() {
            self.glimpse_lens(lens, ray, normal, from_lamp);
            return;
        }
        if !self.stage.can_glimpse() {
            return;
        }
        self.fresh = true;
        let along = if self.draw.even() < 0.5 {
            // sin θ = t², t and φ even.
            let sine = self.draw.even().powi(2);
            let (s, c) = (TAU * self.draw.even()).sin_cos();
            DVec3::new(sine * c, sine * s, (1.0 - sine * sine).max(0.0).sqrt())
        } else {
            self.draw.lambert(normal)
        };
        let lambert = along.dot(normal) / PI;
        if lambert <= 0.0 || along.z <= 0.0 {
            return;
        }
        let sine = along.x.hypot(along.y);
        let even = along.z / (4.0 * PI * sine * sine.sqrt()).max(1e-12);
        let mut weight = self.weight * lambert / (0.5 * (even + lambert));
        let mut ray = Ray { along, ..ray };
        let mut skip_lamp = from_lamp.is_some();
        loop {
            let (met, at) = self.stage.next(&ray, skip_lamp);
            skip_lamp = false;
            let mut inside = ray.inside;
            match met {
                Met::Baffle(k) => weight *= self.stage.baffles[k].cloth.straight,
                Met::Wall(_) => {
                    if let Some(cloth) = &self.stage.canopy {
                        let passed = weight * cloth.cloth.straight;
                        self.sums.glimpsed.add(at, along, passed);
                    }
                    return;
                }
                Met::Face => {
                    if let Some(front) = &self.stage.front {
                        let passed = weight * front.cloth.straight;
                        self.sums.glimpsed.add(at, along, passed);
                        return;
                    }
                    inside = !inside;
                }
                Met::Away if !ray.inside && self.stage.canopy.is_none() => {
                    let place = ray.from - along * (ray.from.z / along.z);
                    if ray.from.z == 0.0 || self.stage.outline.holds(place) {
                        self.sums.glimpsed.add(place, along, weight);
                    }
                    return;
                }
                _ => return,
            }
            if weight <= 0.0 {
                return;
            }
            ray = Ray {
                from: at,
                along,
                inside,
            };
        }
    }

    /// The same through a lens: to a place of it, or as Lambert's law has it, each weighed by both
    /// densities; from there its haze.
    fn glimpse_lens(&mut self, lens: &Lens, ray: Ray, normal: DVec3, from_lamp: Option<[f64; 2]>) {
        self.fresh = true;
        let share = if from_lamp.is_some() { 0.75 } else { 0.5 };
        let along = if self.draw.even() < share {
            let at = from_lamp.unwrap_or_else(|| [self.draw.even(), self.draw.even()]);
            // Even over the table's rings: from a flooded lens its middle alone lights the axis.
            let r = lens.radius_m * at[0];
            let (s, c) = (TAU * at[1]).sin_cos();
            (DVec3::new(r * c, r * s, 0.0) - ray.from).normalize_or(DVec3::Z)
        } else {
            self.draw.lambert(normal)
        };
        let lambert = along.dot(normal) / PI;
        if lambert <= 0.0 || along.z <= 0.0 || ray.from.z >= 0.0 {
            return;
        }
        let distance = -ray.from.z / along.z;
        let place = ray.from + along * distance;
        let rho = place.x.hypot(place.y) / lens.radius_m;
        let density = if rho > 1.0 {
            0.0
        } else {
            0.5 / (PI * lens.radius_m * lens.radius_m * rho.max(1e-12))
        };
        let toward = density * distance * distance / along.z;
        let mut weight = self.weight * lambert / (share * toward + (1.0 - share) * lambert);
        let mut ray = Ray { along, ..ray };
        let mut skip_lamp = from_lamp.is_some();
        loop {
            let (met, at) = self.stage.next(&ray, skip_lamp);
            skip_lamp = false;
            match met {
                Met::Baffle(k) => weight *= self.stage.baffles[k].cloth.straight,
                Met::Face => {
                    let sums = &mut *self.sums;
                    haze(lens, at, along, &mut self.draw, |along, share| {
                        sums.glimpsed.add(at, along, weight * share);
                    });
                    return;
                }
                _ => return,
            }
            if weight <= 0.0 {
                return;
            }
            ray = Ray { from: at, ..ray };
        }
    }

    /// Counts what a cloth that forgets directions passes without ending the ray; what it reflects
    /// goes on. A faint ray goes one way whole.
    fn pass_evenly(&mut self, cloth: &Sheet, at: DVec3, normal: DVec3) -> Option<()> {
        let Cloth {
            scattered,
            reflected,
            ..
        } = cloth.cloth;
        let (passed, kept) = if self.weight > FAINT {
            (self.weight * scattered, self.weight * reflected)
        } else {
            let u = self.draw.even();
            let takes = |share: bool| if share { self.weight } else { 0.0 };
            (
                takes(u < scattered),
                takes((scattered..scattered + reflected).contains(&u)),
            )
        };
        self.sums.account.out += passed;
        self.sums.tables[0].add(at, normal, passed);
        self.sums.account.cloth += self.weight - passed - kept;
        self.weight = kept;
        (kept > 0.0).then_some(())
    }

    /// The plane of the face, within its outline.
    fn face(&mut self, at: DVec3, ray: Ray) -> Option<Ray> {
        let Ray { along, inside, .. } = ray;
        let mut along = along;
        if inside && let Some(lens) = &self.stage.lens {
            let Some(bent) = bend(lens, at, along, &mut self.draw) else {
                self.sums.account.lens += self.weight;
                return None;
            };
            self.keep(lens.transmission, |a| &mut a.lens)?;
            self.fresh &= self.stage.clear_lens().is_some();
            along = bent;
        }
        let mut inside = !inside;
        if let Some(front) = &self.stage.front {
            let through = DVec3::Z * along.z.signum();
            if front.forgets() && ray.inside {
                self.pass_evenly(front, at, through)?;
                along = self.draw.lambert(-through);
                inside = true;
            } else {
                self.keep(front.share(), |a| &mut a.cloth)?;
                let way = front.choose(&mut self.draw);
                if way != Way::Reflected && !inside && self.stage.is_closed() {
                    self.pass(front, way, at, through, along);
                    return None;
                }
                along = front.turn(way, through, along, &mut self.draw);
                self.fresh &= way == Way::Straight;
                if way == Way::Reflected {
                    inside = ray.inside;
                }
            }
        }
        if !inside && self.stage.is_closed() {
            // Nothing stands before a closed face.
            self.leave(at, along, false);
            return None;
        }
        Some(Ray {
            from: at,
            along,
            inside,
        })
    }

    /// A canopy's cloth, met from inside.
    fn canopy(&mut self, cloth: &Sheet, at: DVec3, normal: DVec3, ray: Ray) -> Option<Ray> {
        let on = |along| {
            Some(Ray {
                from: at,
                along,
                inside: true,
            })
        };
        if cloth.forgets() {
            self.pass_evenly(cloth, at, -normal)?;
            return on(self.draw.lambert(normal));
        }
        self.keep(cloth.share(), |a| &mut a.cloth)?;
        let way = cloth.choose(&mut self.draw);
        if way == Way::Reflected {
            let on = on(cloth.turn(way, -normal, ray.along, &mut self.draw))?;
            self.turned(true, on, normal);
            return Some(on);
        }
        self.pass(cloth, way, at, -normal, ray.along);
        None
    }

    /// Counts all the light as leaving by the last cloth. What it scatters is even over the directions,
    /// what it spreads is looked for as in [`Walk::glimpse`].
    fn pass(&mut self, cloth: &Sheet, way: Way, at: DVec3, through: DVec3, along: DVec3) {
        match way {
            Way::Scattered => {
                self.sums.account.out += self.weight;
                self.sums.tables[0].add_evenly(at, self.weight);
            }
            Way::Spread => {
                self.sums.account.out += self.weight;
                self.sums.glimpsed_out += self.weight;
                let (sums, weight) = (&mut *self.sums, self.weight);
                cloth.spread_evenly(through, along, &mut self.draw, |along, share| {
                    sums.glimpsed.add(at, along, weight * share);
                });
            }
            _ => {
                self.sums.account.out += self.weight;
                self.count_out(at, along);
            }
        }
    }
}
