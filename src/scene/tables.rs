//! Traced tables, kept: in memory for this run, and in a folder for the next.

use super::kept::{Kept, Key, Kind, key_of};
use crate::optics::drum::Drum;
use crate::optics::prescribe::prescribe;
use crate::optics::prescription::{Facing, Prescription};
use crate::optics::shine::Shine;
use crate::optics::table::{Emission, Face, Pattern};
use crate::optics::trace::{Account, Placed, Quality, TRACER_VERSION, TableError, Traced, trace};
use crate::setup::Modifier;
use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

const KIND: Kind = Kind {
    ending: "light",
    magic: b"swatchlight tbl\n",
    most_bytes: 256 << 20,
};

/// Emission tables of traced modifiers.
pub struct Tables {
    kept: Kept,
    quality: Quality,
    known: Mutex<HashMap<Key, Arc<Traced>>>,
    shines: Mutex<HashMap<Key, Shine>>,
    on_trace: Option<Box<OnTrace>>,
}

/// Told the modifier's name before it is traced.
pub type OnTrace = dyn Fn(&str) + Send + Sync;

impl std::fmt::Debug for Tables {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Tables")
            .field("kept", &self.kept)
            .finish_non_exhaustive()
    }
}

impl Tables {
    /// Tables kept in `folder` (made when it is first written to), or in memory alone.
    pub fn new(folder: Option<PathBuf>) -> Self {
        Self {
            kept: Kept::new(folder, KIND),
            quality: Quality::default(),
            known: Mutex::default(),
            shines: Mutex::default(),
            on_trace: None,
        }
    }

    /// Traces this finely rather than as usual.
    #[must_use]
    pub fn of_quality(self, quality: Quality) -> Self {
        Self { quality, ..self }
    }

    /// Tells `told` the name of each modifier that has to be traced.
    #[must_use]
    pub fn telling(mut self, told: Box<OnTrace>) -> Self {
        self.on_trace = Some(told);
        self
    }

    /// Where tables are kept.
    pub fn folder(&self) -> Option<&Path> {
        self.kept.folder()
    }

    /// Looks into these folders first.
    pub fn look_into(&self, folders: &[PathBuf]) {
        self.kept.look_into(folders);
    }

    /// Files kept, and their bytes.
    pub fn kept(&self) -> (usize, u64) {
        self.kept.tally()
    }

    /// The light of a modifier at a spread of 0 to 1 (heeded where its lamp travels): worked out,
    /// found, or traced and kept; with what readings corrected it by.
    pub fn shine(&self, modifier: &Modifier, spread: f64) -> Shine {
        let shine = self.uncorrected(modifier, spread);
        match modifier.correction_stops {
            0.0 => shine,
            stops => shine.times(stops.exp2()),
        }
    }

    /// Kept in memory: what a grid passes takes a while to work out.
    fn uncorrected(&self, modifier: &Modifier, spread: f64) -> Shine {
        let key = key_of(&format!("{modifier:?} {spread:?}"));
        let known = |shines: &Mutex<HashMap<Key, Shine>>| lock(shines).get(&key).cloned();
        known(&self.shines).unwrap_or_else(|| {
            let shine = self.worked_out(modifier, spread);
            lock(&self.shines).insert(key, shine.clone());
            shine
        })
    }

    fn worked_out(&self, modifier: &Modifier, spread: f64) -> Shine {
        if let Some(shine) = Shine::at_once(modifier) {
            return shine;
        }
        let traced = prescribe(modifier, spread).map(|p| self.traced(&p, &modifier.name));
        match traced {
            Some(traced) => Shine::from_trace(modifier, Traced::clone(&traced)),
            // Every kind is the one or the other; a dark light would show it at once.
            None => Shine {
                placed: Vec::new(),
                head: None,
                account: None,
                table_error: None,
            },
        }
    }

    /// What a prescription gives: found, or traced and kept.
    pub fn traced(&self, of: &Prescription, name: &str) -> Arc<Traced> {
        let key = key_of(&format!("{TRACER_VERSION} {of:?} {:?}", self.quality));
        if let Some(found) = lock(&self.known).get(&key) {
            return Arc::clone(found);
        }
        let traced = self.read(&key).unwrap_or_else(|| {
            if let Some(tell) = &self.on_trace {
                tell(name);
            }
            let traced = trace(of, self.quality);
            // A cache that cannot be written costs time at the next run, and nothing else.
            let _ = self.write(&key, &traced);
            traced
        });
        let traced = Arc::new(traced);
        lock(&self.known).insert(key, Arc::clone(&traced));
        traced
    }

    fn read(&self, key: &Key) -> Option<Traced> {
        decode(&self.kept.read(key)?)
    }

    fn write(&self, key: &Key, traced: &Traced) -> std::io::Result<()> {
        self.kept.write(key, &encode(traced))
    }
}

/// A panic elsewhere cannot leave half an entry.
fn lock<T>(of: &Mutex<T>) -> MutexGuard<'_, T> {
    of.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Default for Tables {
    /// Kept in memory alone.
    fn default() -> Self {
        Self::new(None)
    }
}

// --- A table as bytes, little endian -------------------------------------------------------------

fn encode(traced: &Traced) -> Vec<u8> {
    let mut out = Vec::new();
    let count = |out: &mut Vec<u8>, n: usize| out.extend((n as u32).to_le_bytes());
    let real = |out: &mut Vec<u8>, x: f64| out.extend(x.to_le_bytes());
    for share in traced.account.shares() {
        real(&mut out, share);
    }
    let error = traced.table_error;
    for x in [error.median_rel, error.flux_weighted_rel, error.total_rel] {
        real(&mut out, x);
    }
    let head = traced.head.map(|h| [h.radius_m, h.from_z_m, h.to_z_m]);
    count(&mut out, usize::from(head.is_some()));
    head.into_iter().flatten().for_each(|x| real(&mut out, x));
    count(&mut out, traced.emissions.len());
    for p in &traced.emissions {
        real(&mut out, p.offset_z_m);
        count(&mut out, usize::from(p.facing == Facing::Back));
        let (tag, sides, size) = match p.emission.face {
            Face::Disk { radius_m } => (0, 0, [radius_m, 0.0]),
            Face::Rect { half_x_m, half_y_m } => (1, 0, [half_x_m, half_y_m]),
            Face::Polygon { radius_m, sides } => (2, sides, [radius_m, 0.0]),
            Face::Cap { radius_m, chord_m } => (3, 0, [radius_m, chord_m]),
            Face::Globe { radius_m } => (4, 0, [radius_m, 0.0]),
            Face::Tube {
                half_length_m,
                radius_m,
            } => (5, 0, [half_length_m, radius_m]),
        };
        count(&mut out, tag);
        count(&mut out, sides as usize);
        size.into_iter().for_each(|x| real(&mut out, x));
        let (tag, cells, values): (usize, [usize; 4], &[f32]) = match &p.emission.pattern {
            Pattern::Radial {
                radii,
                thetas,
                phis,
                values,
            } => (0, [*radii, 1, *thetas, *phis], values),
            Pattern::Quarter {
                columns,
                rows,
                thetas,
                phis,
                values,
            } => (1, [*columns, *rows, *thetas, *phis], values),
            // A tracer counts into cells.
            Pattern::Uniform(_) | Pattern::Gate { .. } => (2, [0; 4], &[]),
        };
        count(&mut out, tag);
        cells.into_iter().for_each(|n| count(&mut out, n));
        values.iter().for_each(|v| out.extend(v.to_le_bytes()));
    }
    out
}

fn decode(bytes: &[u8]) -> Option<Traced> {
    let mut rest = Rest(bytes);
    let mut account = [0.0; 10];
    for share in &mut account {
        *share = rest.real()?;
    }
    let table_error = TableError {
        median_rel: rest.real()?,
        flux_weighted_rel: rest.real()?,
        total_rel: rest.real()?,
    };
    let head = match rest.count()? {
        0 => None,
        _ => Some(Drum {
            radius_m: rest.real()?,
            from_z_m: rest.real()?,
            to_z_m: rest.real()?,
        }),
    };
    let mut emissions = Vec::new();
    for _ in 0..rest.count()? {
        let offset_z_m = rest.real()?;
        let facing = match rest.count()? {
            0 => Facing::Front,
            _ => Facing::Back,
        };
        let (tag, sides) = (rest.count()?, rest.count()?);
        let (a, b) = (rest.real()?, rest.real()?);
        let face = match tag {
            0 => Face::Disk { radius_m: a },
            1 => Face::Rect {
                half_x_m: a,
                half_y_m: b,
            },
            2 => Face::Polygon { radius_m: a, sides },
            3 => Face::Cap {
                radius_m: a,
                chord_m: b,
            },
            4 => Face::Globe { radius_m: a },
            5 => Face::Tube {
                half_length_m: a,
                radius_m: b,
            },
            _ => return None,
        };
        let tag = rest.count()?;
        let mut cells = [0; 4];
        for n in &mut cells {
            *n = rest.count()? as usize;
        }
        let [columns, rows, thetas, phis] = cells;
        let number = cells.iter().try_fold(1_usize, |n, c| n.checked_mul(*c))?;
        let values = rest.singles(number)?;
        let pattern = match tag {
            0 => Pattern::Radial {
                radii: columns,
                thetas,
                phis,
                values,
            },
            1 => Pattern::Quarter {
                columns,
                rows,
                thetas,
                phis,
                values,
            },
            _ => return None,
        };
        emissions.push(Placed {
            emission: Emission {
                face,
                pattern,
                screen: None,
            },
            offset_z_m,
            facing,
        });
    }
    rest.0.is_empty().then_some(Traced {
        emissions,
        head,
        account: Account::of_shares(account),
        table_error,
    })
}

/// Bytes not read yet.
struct Rest<'a>(&'a [u8]);

impl Rest<'_> {
    fn take<const N: usize>(&mut self) -> Option<[u8; N]> {
        let (first, rest) = self.0.split_first_chunk()?;
        self.0 = rest;
        Some(*first)
    }

    fn count(&mut self) -> Option<u32> {
        self.take().map(u32::from_le_bytes)
    }

    fn real(&mut self) -> Option<f64> {
        self.take().map(f64::from_le_bytes)
    }

    fn singles(&mut self, number: usize) -> Option<Vec<f32>> {
        let (values, rest) = self.0.split_at_checked(number.checked_mul(4)?)?;
        self.0 = rest;
        let values = values.as_chunks().0.iter();
        Some(values.map(|b| f32::from_le_bytes(*b)).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn traced() -> Traced {
        let emission = |face, pattern| Emission {
            face,
            pattern,
            screen: None,
        };
        let placed = |emission, facing| Placed {
            emission,
            offset_z_m: -0.25,
            facing,
        };
        let radial = Pattern::Radial {
            radii: 2,
            thetas: 3,
            phis: 2,
            values: (0..12).map(|i| 0.1 * i as f32).collect(),
        };
        let quarter = Pattern::Quarter {
            columns: 2,
            rows: 1,
            thetas: 2,
            phis: 4,
            values: (0..16).map(|i| i as f32).collect(),
        };
        Traced {
            emissions: vec![
                placed(
                    emission(
                        Face::Cap {
                            radius_m: 0.7,
                            chord_m: 0.6,
                        },
                        radial,
                    ),
                    Facing::Front,
                ),
                placed(
                    emission(
                        Face::Rect {
                            half_x_m: 0.3,
                            half_y_m: 0.4,
                        },
                        quarter,
                    ),
                    Facing::Back,
                ),
            ],
            head: Some(Drum {
                radius_m: 0.08,
                from_z_m: 0.3,
                to_z_m: 0.5,
            }),
            account: Account {
                out: 0.7,
                wall: 0.3,
                ..Account::default()
            },
            table_error: TableError {
                median_rel: 0.01,
                flux_weighted_rel: 0.004,
                total_rel: 1e-4,
            },
        }
    }

    #[test]
    fn tables_come_back_as_they_went() {
        let folder = tempfile::tempdir().unwrap();
        let tables = Tables::new(Some(folder.path().join("new")));
        let key = [7; 32];
        assert_eq!(tables.read(&key), None);
        tables.write(&key, &traced()).unwrap();
        assert_eq!(tables.read(&key), Some(traced()));
        assert_eq!(tables.read(&[8; 32]), None);
        assert_eq!(tables.kept().0, 1);
    }

    /// Runs at once share a folder: each gets the whole table, whoever writes it.
    #[test]
    fn runs_at_once_agree() {
        use crate::optics::prescription::{Finish, Lamp, Shell, Source};
        let folder = tempfile::tempdir().unwrap();
        let bowl = Prescription {
            lamp: Lamp {
                source: Source::Disk { radius_m: 0.02 },
                centre_z_m: -0.1,
                facing: Facing::Front,
                housing: None,
            },
            shell: Shell::Cone {
                radius_m: 0.15,
                back_radius_m: 0.05,
                depth_m: 0.12,
                finish: Finish::Matt { reflectance: 0.8 },
                sides: None,
            },
            plate: None,
            baffles: Vec::new(),
            front: None,
            lens: None,
        };
        let quality = Quality {
            rays: 50_000,
            ..Quality::default()
        };
        let run = || {
            let tables = Tables::new(Some(folder.path().into())).of_quality(quality);
            tables.traced(&bowl, "bowl")
        };
        let found: Vec<Arc<Traced>> = std::thread::scope(|scope| {
            let runs: Vec<_> = (0..6).map(|_| scope.spawn(run)).collect();
            runs.into_iter().map(|r| r.join().unwrap()).collect()
        });
        assert!(found.iter().all(|t| **t == *found[0]));
        assert_eq!(run(), found[0], "read from the folder");
        assert_eq!(Tables::new(Some(folder.path().into())).kept().0, 1);
    }

    /// The body alone, in any state, is refused rather than trusted.
    #[test]
    fn no_body_breaks_the_reader() {
        let whole = encode(&traced());
        assert_eq!(decode(&whole), Some(traced()));
        for cut in 0..whole.len() {
            assert_eq!(decode(&whole[..cut]), None);
        }
        for at in 0..whole.len() {
            let mut other = whole.clone();
            other[at] = 0xff;
            let _ = decode(&other);
        }
    }
}
