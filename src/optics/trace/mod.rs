//! The forward tracer: the lamp's light goes through a modifier ray by ray and is counted where it
//! leaves. Every ray's light is followed to its end, so the account closes.
//!
//! Rays are numbered and each is a function of its number; they are counted in fixed parts that are
//! added in order, so a table is the same to the bit whatever the thread count.

pub mod backward;
mod draw;
mod lamp;
mod rows;
mod sheet;
mod shell;
mod stage;
mod tally;
mod walk;
mod wall;

use super::drum::Drum;
use super::prescription::{Facing, Finish, Prescription, Shell};
use super::table::{Emission, Face};
use rayon::prelude::*;
use rows::Detail;
use stage::{Outline, Ray, Stage};
use tally::{Form, Table, pattern};
use walk::{Sums, follow};

/// Raised whenever a trace gives other tables than before, so that kept ones are made anew.
pub const TRACER_VERSION: u32 = 4;

/// How finely to trace. The default meets 2 % in illuminance and 3 % in shadow edges (see the tests).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quality {
    /// Rays from the lamp; an eighth of them where the last cloth forgets directions, whose few cells
    /// need no more.
    pub rays: u64,
    /// Table of a round face that the lamp or its image in silver can be seen through.
    pub sharp: Cells,
    /// Table of a round face that only scattered light leaves.
    pub soft: Cells,
    /// Table of a lens: small, so that places matter less than angles.
    pub lens: Cells,
    /// Table of a quarter of a rectangular face; `places` along each side.
    pub tray: Cells,
    /// The same behind a cloth.
    pub veiled: Cells,
}

/// Cells of a table (see [`super::table::Pattern`]). A face whose cloth forgets directions takes one
/// θ and one φ, whatever is said here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cells {
    /// Cells of place: over the radius, or along each half side of a rectangle.
    pub places: usize,
    /// Cells of the angle from the normal.
    pub thetas: usize,
    /// Cells of azimuth.
    pub phis: usize,
}

impl Default for Quality {
    fn default() -> Self {
        Self {
            rays: 8_000_000,
            sharp: Cells {
                places: 32,
                thetas: 48,
                phis: 36,
            },
            soft: Cells {
                places: 16,
                thetas: 24,
                phis: 12,
            },
            lens: Cells {
                places: 16,
                thetas: 128,
                phis: 24,
            },
            tray: Cells {
                places: 12,
                thetas: 24,
                phis: 24,
            },
            veiled: Cells {
                places: 12,
                thetas: 16,
                phis: 12,
            },
        }
    }
}

/// What a trace gives.
#[derive(Debug, Clone, PartialEq)]
pub struct Traced {
    /// One emission; for a canopy two, its cap and its open mouth.
    pub emissions: Vec<Placed>,
    /// What of the lamp's head stands before an emission, in the modifier's frame: no table knows of it,
    /// whoever reads one cuts what it hides.
    pub head: Option<Drum>,
    /// Where the lamp's light went.
    pub account: Account,
    /// Noise left in the tables.
    pub table_error: TableError,
}

/// An emission in the modifier's frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Placed {
    /// Per lumen of the lamp.
    pub emission: Emission,
    /// The emission's origin along the modifier's z, metres.
    pub offset_z_m: f64,
    /// Where it sends its light: [`Facing::Front`] to the subject. To the back, its frame is the
    /// modifier's turned half round an axis across.
    pub facing: Facing,
}

/// Shares of the lamp's light by where they end; together one. (Tables hold `out` and `back`, and of
/// `head` what leaves them first.)
#[allow(missing_docs)] // a name says all
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Account {
    /// Leaves by the face, or through a canopy's cloth.
    pub out: f64,
    pub wall: f64,
    pub lamp: f64,
    pub housing: f64,
    pub plate: f64,
    pub cloth: f64,
    pub lens: f64,
    /// Leaves by a canopy's open mouth.
    pub back: f64,
    /// Never enters the shell: goes past the rim, from a lamp that stands outside.
    pub spill: f64,
    /// Leaves by the face or the mouth, and ends on the lamp's head before it.
    pub head: f64,
}

impl Account {
    /// The shares, in the order of [`Account::of_shares`].
    pub fn shares(&self) -> [f64; 10] {
        let &Self {
            out,
            wall,
            lamp,
            housing,
            plate,
            cloth,
            lens,
            back,
            spill,
            head,
        } = self;
        [
            out, wall, lamp, housing, plate, cloth, lens, back, spill, head,
        ]
    }

    /// From its shares.
    pub fn of_shares(shares: [f64; 10]) -> Self {
        let [
            out,
            wall,
            lamp,
            housing,
            plate,
            cloth,
            lens,
            back,
            spill,
            head,
        ] = shares;
        Self {
            out,
            wall,
            lamp,
            housing,
            plate,
            cloth,
            lens,
            back,
            spill,
            head,
        }
    }

    /// The sum of all shares.
    pub fn total(&self) -> f64 {
        self.shares().into_iter().sum()
    }
}

/// Noise of the tables, as relative standard errors; from the scatter among the 64 parts that a
/// trace is counted in. (It says nothing of what cells are too coarse for.)
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct TableError {
    /// Median over the cells with light.
    pub median_rel: f64,
    /// Mean over the cells, each by its light: what a cell that matters has.
    pub flux_weighted_rel: f64,
    /// Of all light that leaves.
    pub total_rel: f64,
}

/// Traces a modifier.
pub fn trace(prescription: &Prescription, quality: Quality) -> Traced {
    let stage = Stage::for_table(prescription);
    let plan = plan(prescription, &stage, quality);
    let rays = rays(prescription, &plan, quality);
    let (counted, _) = count(&stage, &plan, rays, &|| true);
    counted.finish(&stage, &plan, rays)
}

/// Traces a modifier for as long as `go_on` says so (asked every few thousand rays, from any thread);
/// `None` once it does not.
pub fn trace_while(
    prescription: &Prescription,
    quality: Quality,
    go_on: &(dyn Fn() -> bool + Sync),
) -> Option<Traced> {
    let stage = Stage::for_table(prescription);
    let plan = plan(prescription, &stage, quality);
    let rays = rays(prescription, &plan, quality);
    let (counted, whole) = count(&stage, &plan, rays, go_on);
    whole.then(|| counted.finish(&stage, &plan, rays))
}

/// Parts that rays are counted in.
const PARTS: u64 = 64;
/// Parts counted before they are added up: as many tables are held at once.
const PARTS_AT_ONCE: u64 = 16;
/// Rays between two looks at whether to go on.
const RAYS_BETWEEN_LOOKS: u64 = 4096;

/// One emission to be filled.
struct Planned {
    face: Face,
    form: Form,
    cells: Cells,
    detail: Detail,
    offset_z_m: f64,
    facing: Facing,
}

fn plan(prescription: &Prescription, stage: &Stage, quality: Quality) -> Vec<Planned> {
    let sides = match prescription.shell {
        Shell::Conic {
            radius_m, sides, ..
        }
        | Shell::Cone {
            radius_m, sides, ..
        }
        | Shell::Canopy {
            radius_m, sides, ..
        } => sides.map(|n| (radius_m, n.max(3))),
        Shell::Tray { .. } => None,
    };
    let last = stage.front.as_ref().or(stage.canopy.as_ref());
    let forgets = last.is_some_and(|cloth| cloth.forgets());
    let soft = matches!(stage.finish, Some(Finish::Matt { .. }))
        && prescription.lamp.facing == Facing::Back
        && stage.lens.is_none();
    let detail = match (stage.clear_lens(), stage.finish) {
        (Some(lens), _) => Detail::of_haze(lens.slope_rad),
        (None, Some(Finish::Silver { slope_rad, .. }))
            if prescription.lamp.facing == Facing::Back =>
        {
            Detail::of_slopes(slope_rad)
        }
        _ if soft && stage.is_lamp_outside() => Detail::EVEN,
        _ => Detail::BROAD,
    };
    let at_face = match stage.outline {
        Outline::Round(radius_m) => Planned {
            face: match sides {
                Some((radius_m, sides)) => Face::Polygon { radius_m, sides },
                None => Face::Disk { radius_m },
            },
            form: Form::Disk(radius_m),
            cells: whole(match prescription.lens {
                Some(_) => quality.lens,
                None if soft => quality.soft,
                None => quality.sharp,
            }),
            detail,
            offset_z_m: 0.0,
            facing: Facing::Front,
        },
        Outline::Rect(half) => Planned {
            face: Face::Rect {
                half_x_m: half[0],
                half_y_m: half[1],
            },
            form: Form::Quarter(half),
            cells: whole(if stage.front.is_some() {
                quality.veiled
            } else {
                quality.tray
            }),
            detail,
            offset_z_m: 0.0,
            facing: Facing::Front,
        },
    };
    let (Outline::Round(rim), shell::Wall::Cap { radius, centre_z }) = (stage.outline, &stage.wall)
    else {
        return vec![Planned {
            cells: if forgets {
                blind(at_face.cells)
            } else {
                at_face.cells
            },
            ..at_face
        }];
    };
    let depth = centre_z + radius;
    let chord = rim.hypot(depth);
    let cap = Planned {
        face: Face::Cap {
            radius_m: *radius,
            chord_m: chord,
        },
        form: Form::Cap {
            centre_z: *centre_z,
            radius: *radius,
            chord,
        },
        cells: if forgets {
            blind(whole(quality.sharp))
        } else {
            whole(quality.sharp)
        },
        detail,
        offset_z_m: *centre_z,
        facing: Facing::Front,
    };
    let mouth = Planned {
        cells: whole(quality.soft),
        facing: Facing::Back,
        ..at_face
    };
    vec![cap, mouth]
}

fn rays(prescription: &Prescription, plan: &[Planned], quality: Quality) -> u64 {
    if plan.iter().all(|p| p.cells.thetas == 1) {
        quality.rays.div_ceil(8)
    } else if prescription.lens.is_some() {
        // A flooded lens lights its axis from its middle alone.
        2 * quality.rays
    } else {
        quality.rays
    }
}

fn whole(cells: Cells) -> Cells {
    Cells {
        places: cells.places.max(1),
        thetas: cells.thetas.max(1),
        phis: cells.phis.max(1),
    }
}

fn blind(cells: Cells) -> Cells {
    Cells {
        thetas: 1,
        phis: 1,
        ..cells
    }
}

/// Sums and sums of squares over parts.
struct Counted {
    /// For each emission and cell.
    flux: Vec<Vec<f64>>,
    squares: Vec<Vec<f64>>,
    account: Account,
    out_squares: f64,
}

/// Counts all rays, and whether it came to their end.
fn count(
    stage: &Stage,
    plan: &[Planned],
    rays: u64,
    go_on: &(dyn Fn() -> bool + Sync),
) -> (Counted, bool) {
    let tables: Vec<Table> = plan
        .iter()
        .map(|p| Table::new(p.form, p.cells, p.detail))
        .collect();
    let zeros: Vec<Vec<f64>> = tables.iter().map(|t| vec![0.0; t.len()]).collect();
    let mut counted = Counted {
        flux: zeros.clone(),
        squares: zeros,
        account: Account::default(),
        out_squares: 0.0,
    };
    for first in (0..PARTS).step_by(PARTS_AT_ONCE as usize) {
        let parts: Vec<Option<(Vec<Vec<f64>>, Account)>> = (first..first + PARTS_AT_ONCE)
            .into_par_iter()
            .map(|part| {
                let mut sums = Sums::new(tables.clone())?;
                let edge =
                    |part: u64| (u128::from(rays) * u128::from(part) / u128::from(PARTS)) as u64;
                for number in edge(part)..edge(part + 1) {
                    if number % RAYS_BETWEEN_LOOKS == 0 && !go_on() {
                        return None;
                    }
                    follow(stage, number, &mut sums);
                }
                Some(sums.settle())
            })
            .collect();
        if !go_on() {
            return (counted, false);
        }
        for part in parts {
            let Some((tables, mut account)) = part else {
                return (counted, false);
            };
            counted.add(&tables, &mut account);
        }
    }
    (counted, true)
}

impl Counted {
    fn add(&mut self, tables: &[Vec<f64>], account: &mut Account) {
        for (k, table) in tables.iter().enumerate() {
            let sums = self.flux[k].iter_mut().zip(&mut self.squares[k]);
            for ((sum, square), x) in sums.zip(table) {
                *sum += x;
                *square += x * x;
            }
        }
        self.out_squares += (account.out + account.back).powi(2);
        let mut sums = self.account.shares();
        for (sum, share) in sums.iter_mut().zip(account.shares()) {
            *sum += share;
        }
        self.account = Account::of_shares(sums);
    }

    /// Rays to luminance.
    fn finish(mut self, stage: &Stage, plan: &[Planned], rays: u64) -> Traced {
        let per_ray = 1.0 / rays.max(1) as f64;
        let table_error = self.error();
        self.account = Account::of_shares(self.account.shares().map(|sum| sum * per_ray));
        let emissions = plan.iter().zip(&mut self.flux).map(|(planned, flux)| {
            Table::new(planned.form, planned.cells, planned.detail).refine(flux);
            flux.iter_mut().for_each(|f| *f *= per_ray);
            Placed {
                emission: Emission {
                    face: planned.face,
                    pattern: pattern(planned.face, planned.cells, flux),
                    screen: None,
                },
                offset_z_m: planned.offset_z_m,
                facing: planned.facing,
            }
        });
        Traced {
            emissions: emissions.collect(),
            head: stage.unheeded,
            account: self.account,
            table_error,
        }
    }

    fn error(&self) -> TableError {
        // Of the sum of n parts: their variance, times n.
        let spread = |sum: f64, square: f64| {
            let n = PARTS as f64;
            ((square - sum * sum / n).max(0.0) * n / (n - 1.0)).sqrt()
        };
        let cells = self
            .flux
            .iter()
            .flatten()
            .zip(self.squares.iter().flatten());
        let (mut errors, mut noise, mut flux) = (Vec::new(), 0.0, 0.0);
        for (sum, square) in cells.filter(|(sum, _)| **sum > 0.0) {
            let error = spread(*sum, *square);
            errors.push(error / sum);
            noise += error;
            flux += sum;
        }
        errors.sort_by(f64::total_cmp);
        let out = self.account.out + self.account.back;
        let over = |value: f64, whole: f64| if whole > 0.0 { value / whole } else { 0.0 };
        TableError {
            median_rel: errors.get(errors.len() / 2).copied().unwrap_or(0.0),
            flux_weighted_rel: over(noise, flux),
            total_rel: over(spread(out, self.out_squares), out),
        }
    }
}

/// A ray from the lamp and the normal where it starts: Lambertian over its lit part, from a
/// point of the net, so that rays fill places and directions evenly.
fn lamp_ray(stage: &Stage, at: [f64; 4]) -> Option<(Ray, glam::DVec3)> {
    let (place, normal) = stage.head.place([at[0], at[1]]);
    let ray = stage.ray(place, draw::lambert(normal, [at[2], at[3]]))?;
    Some((ray, normal))
}
