//! The causes that can be, for readings of one light or of all together.

use super::changes::{moved, tilted, turned, turned_toward};
use super::held::{held, meter};
use super::*;
use crate::measure::day::amounts;
use crate::photometry::colour::light::luminance;
use crate::setup::parse_modifier;

/// Tape to the wrong mark, a column that leans (common practice).
const TAPE_SD_M: f64 = 0.03;
const AIM_SD_RAD: f64 = 4.0 * std::f64::consts::PI / 180.0;
const SPREAD_SD: f64 = 0.06;
/// Yields measured of flash tubes lie between 15 and 50 lm s/J; reflectances and cloths of modifiers
/// are assumed until they are measured.
pub(super) const OUTPUT_SD_STOPS: f64 = 0.5;
/// After a fit.
const KNOWN_OUTPUT_SD_STOPS: f64 = 0.12;
/// Where a number's effect is worked out, in standard deviations.
const AT_SDS: [f64; 9] = [-12.0, -7.0, -4.0, -1.5, 0.0, 1.5, 4.0, 7.0, 12.0];
/// Spreads traced beside the one that is set; the data page of a modifier steps by a tenth too, so
/// that its tables serve here.
const SPREADS: [f64; 5] = [-0.2, -0.1, 0.0, 0.1, 0.2];

/// All that could explain readings of the lights in `lights` (one, or all where only readings together
/// are there). `known` says of each light of the setup whether its output was fitted before; `others`
/// are differences of other lights read by the same meter, which hold its constant.
pub fn causes(
    take: &Take,
    tables: &Tables,
    rows: &[&Row],
    lights: &[usize],
    known: &[bool],
    others: &[f64],
) -> Vec<Cause> {
    let mut found = vec![nothing(rows.len())];
    for &index in lights {
        let ask = Ask::new(take, tables, rows, index);
        found.extend(ask.geometry());
        found.extend(ask.spread());
        found.extend(ask.fronts());
        found.push(ask.power());
        found.push(ask.output(known.get(index).copied().unwrap_or(false)));
    }
    found.push(meter(take, rows, others));
    found.extend(held(take, tables, rows, lights));
    found
}

fn nothing(readings: usize) -> Cause {
    Cause {
        kind: CauseKind::Nothing,
        plausibility: 0.3,
        beforehand: "a set is never put up quite as drawn, and a meter repeats to a tenth".into(),
        words: Box::new(|_| {
            "nothing in particular: small things and the meter's last digit".into()
        }),
        likely: Likely::OneOf(vec![(0.0, 1.0)]),
        nodes: vec![(0.0, vec![0.0; readings])],
    }
}

/// One light, asked what a change of it would do to the readings.
struct Ask<'a> {
    take: &'a Take,
    tables: &'a Tables,
    rows: &'a [&'a Row],
    index: usize,
    base: Changed,
    /// At each reading straight from the face, lx per lm, and that as a share of its light there.
    direct: Vec<(f64, f64)>,
}

impl<'a> Ask<'a> {
    fn new(take: &'a Take, tables: &'a Tables, rows: &'a [&'a Row], index: usize) -> Self {
        let base = Changed::new(take.setup.lights[index].clone(), tables);
        let amount = amounts(take)[index] * luminance(take.studio.light_rgb[index]);
        let direct = rows.iter().map(|row| {
            let straight = base.at(&row.meter, row.meter.receptor);
            let all = row.exposure_lx_s * row.shares[index];
            let share = match all > 0.0 {
                true => (straight * amount / all).min(1.0),
                false => 0.0,
            };
            (straight, share)
        });
        let direct = direct.collect();
        Self {
            take,
            tables,
            rows,
            index,
            base,
            direct,
        }
    }

    fn light(&self) -> &'a Light {
        &self.take.setup.lights[self.index]
    }

    /// What the light as changed adds to each reading, stops.
    fn effect(&self, changed: &Changed) -> Vec<f64> {
        let leaving = changed.shine.efficiency() / self.base.shine.efficiency().max(1e-12);
        let effects = self
            .rows
            .iter()
            .zip(&self.direct)
            .map(|(row, (before, share))| {
                let straight = match *before > 0.0 && *share > 0.0 {
                    true => changed.at(&row.meter, row.meter.receptor) / before,
                    false => leaving,
                };
                let times = share * straight + (1.0 - share) * leaving;
                in_the_mix(row.shares[self.index], times)
            });
        effects.collect()
    }

    /// What so many times the light adds to each reading, stops.
    fn times(&self, times: f64) -> Vec<f64> {
        let rows = self.rows.iter();
        rows.map(|row| in_the_mix(row.shares[self.index], times))
            .collect()
    }

    fn about(
        &self,
        sd: f64,
        limits: [f64; 2],
        effect: impl Fn(f64) -> Vec<f64>,
    ) -> (Likely, Vec<(f64, Vec<f64>)>) {
        let mut at: Vec<f64> = AT_SDS
            .iter()
            .map(|s| (s * sd).clamp(limits[0], limits[1]))
            .collect();
        at.dedup();
        let nodes = at.into_iter().map(|x| (x, effect(x))).collect();
        let likely = Likely::About {
            mean: 0.0,
            sd,
            limits,
        };
        (likely, nodes)
    }

    fn geometry(&self) -> Vec<Cause> {
        let light = self.light();
        let name = light.name.clone();
        let (distance_m, _, height_m) = light.place.taped();
        let tape = "a tape is usually within 3 cm, now and then within 9 (common practice)";
        let mut found = Vec::new();
        let (likely, nodes) = self.about(TAPE_SD_M, [-0.8 * distance_m, f64::INFINITY], |x| {
            self.effect(&self.base.moved(moved(light, x, 0.0)))
        });
        found.push(Cause {
            kind: CauseKind::Distance,
            plausibility: 0.1,
            beforehand: tape.into(),
            words: Box::new(move |x| {
                let way = if x < 0.0 { "nearer" } else { "farther" };
                let then = metres(distance_m + x);
                format!(
                    "{name} {} {way}: {then} instead of {}",
                    cm(x),
                    metres(distance_m)
                )
            }),
            likely,
            nodes,
        });
        let name = light.name.clone();
        let (likely, nodes) = self.about(TAPE_SD_M, [-0.8 * height_m, f64::INFINITY], |x| {
            self.effect(&self.base.moved(moved(light, 0.0, x)))
        });
        found.push(Cause {
            kind: CauseKind::Height,
            plausibility: 0.05,
            beforehand: tape.into(),
            words: Box::new(move |x| {
                let way = if x < 0.0 { "lower" } else { "higher" };
                let then = metres(height_m + x);
                format!(
                    "{name} {} {way}: {then} instead of {}",
                    cm(x),
                    metres(height_m)
                )
            }),
            likely,
            nodes,
        });
        if light.modifier.kind.has_front() {
            found.extend(self.aim());
        }
        found
    }

    fn aim(&self) -> [Cause; 2] {
        let light = self.light();
        let by_eye = "aimed by eye, usually within 4 deg, now and then within 12 (common practice)";
        let limits = [-60_f64.to_radians(), 60_f64.to_radians()];
        let (likely, nodes) = self.about(AIM_SD_RAD, limits, |x| {
            self.effect(&self.base.moved(tilted(light, x)))
        });
        let name = light.name.clone();
        let tilt = Cause {
            kind: CauseKind::Tilt,
            plausibility: 0.05,
            beforehand: by_eye.into(),
            words: Box::new(move |x| {
                let way = if x < 0.0 { "lower" } else { "higher" };
                format!("{name} aimed {} {way}", degrees(x))
            }),
            likely,
            nodes,
        };
        let (likely, nodes) = self.about(AIM_SD_RAD, limits, |x| {
            self.effect(&self.base.moved(turned(light, x)))
        });
        let light = light.clone();
        let turn = Cause {
            kind: CauseKind::Turn,
            plausibility: 0.05,
            beforehand: by_eye.into(),
            words: Box::new(move |x| {
                let toward = turned_toward(&light, x);
                format!("{} turned {} {toward}", light.name, degrees(x))
            }),
            likely,
            nodes,
        };
        [tilt, turn]
    }

    fn spread(&self) -> Option<Cause> {
        let light = self.light();
        let set = light.spread?;
        light.modifier.travel?;
        let spreads = SPREADS.iter().map(|by| (set + by).clamp(0.0, 1.0));
        let mut spreads: Vec<f64> = spreads.collect();
        spreads.dedup();
        let nodes: Vec<(f64, Vec<f64>)> = spreads
            .into_iter()
            .map(|spread| {
                let light = Light {
                    spread: Some(spread),
                    ..light.clone()
                };
                (spread - set, self.effect(&Changed::new(light, self.tables)))
            })
            .collect();
        let limits = [nodes.first()?.0, nodes.last()?.0];
        let light = light.clone();
        Some(Cause {
            kind: CauseKind::Spread,
            plausibility: 0.1,
            beforehand:
                "a rod is usually set within 0.06 of its travel, now and then within 0.18; \
                         looked at up to 0.2 (common practice)"
                    .into(),
            words: Box::new(move |x| {
                let mark = light.modifier.mark_of_spread(set + x);
                let scale = light.modifier.scale.as_ref();
                let mark = mark.zip(scale).map_or(String::new(), |(mark, scale)| {
                    format!(" ({} at {mark:.1})", scale.name)
                });
                let then = set + x;
                format!(
                    "{} at spread {then:.2}{mark} instead of {set:.2}",
                    light.name
                )
            }),
            likely: Likely::About {
                mean: 0.0,
                sd: SPREAD_SD,
                limits,
            },
            nodes,
        })
    }

    /// Cloth, baffle and grid, left off or on.
    fn fronts(&self) -> Vec<Cause> {
        let light = self.light();
        let modifier = &light.modifier;
        let takes_cloth = modifier.kind.lamp().is_some()
            && modifier.kind.has_flat_front()
            && !matches!(
                modifier.kind,
                ModifierKind::Umbrella(_) | ModifierKind::Fresnel(_) | ModifierKind::Paraboloid(_)
            );
        let mut changes: Vec<(CauseKind, f64, &str, crate::setup::Modifier)> = Vec::new();
        let is_canopy = matches!(modifier.kind, ModifierKind::ShootThrough(_));
        let mut changed = modifier.clone();
        if modifier.cloth.is_some() && !is_canopy {
            changed.cloth = None;
            changes.push((CauseKind::Cloth, 0.04, "with its cloth left off", changed));
        } else if takes_cloth && let Some(usual) = usual_front() {
            changed.cloth = usual.cloth;
            changes.push((
                CauseKind::Cloth,
                0.02,
                "with a half cloth left on it",
                changed,
            ));
        }
        let mut changed = modifier.clone();
        if modifier.baffle.is_some() {
            changed.baffle = None;
            changes.push((CauseKind::Baffle, 0.03, "with its baffle left out", changed));
        }
        let mut changed = modifier.clone();
        if modifier.grid.is_some() {
            changed.grid = None;
            changes.push((CauseKind::Grid, 0.03, "with its grid left off", changed));
        } else if modifier.kind.has_flat_front()
            && let Some(usual) = usual_front()
        {
            changed.grid = usual.grid;
            changes.push((
                CauseKind::Grid,
                0.015,
                "with a 40 deg grid left on it",
                changed,
            ));
        }
        let made = changes
            .into_iter()
            .map(|(kind, plausibility, says, modifier)| {
                let changed = Changed::new(
                    Light {
                        modifier,
                        ..light.clone()
                    },
                    self.tables,
                );
                let says = format!("{} {says}", light.name);
                Cause {
                    kind,
                    plausibility,
                    beforehand: "forgotten a few times in a hundred (common practice)".into(),
                    words: Box::new(move |_| says.clone()),
                    likely: Likely::OneOf(vec![(1.0, 1.0)]),
                    nodes: vec![(1.0, self.effect(&changed))],
                }
            });
        made.collect()
    }

    fn power(&self) -> Cause {
        let light = self.light();
        let step = light.head.map(|h| h.step_stops).filter(|s| *s > 0.0);
        let step = step.unwrap_or(0.1);
        let mut slips: Vec<f64> = [step, 1.0 / 3.0, 1.0]
            .into_iter()
            .flat_map(|s| [-s, s])
            .collect();
        slips.sort_by(f64::total_cmp);
        slips.dedup_by(|a, b| (*a - *b).abs() < 0.01);
        let share = 1.0 / slips.len() as f64;
        let name = light.name.clone();
        Cause {
            kind: CauseKind::Power,
            plausibility: 0.1,
            beforehand: "a dial read one step, a third or a whole stop off (common practice)"
                .into(),
            words: Box::new(move |x| {
                let way = if x < 0.0 { "lower" } else { "higher" };
                format!("{name}'s head set {} {way}", stops(x))
            }),
            nodes: slips.iter().map(|x| (*x, self.times(x.exp2()))).collect(),
            likely: Likely::OneOf(slips.into_iter().map(|x| (x, share)).collect()),
        }
    }

    fn output(&self, known: bool) -> Cause {
        let light = self.light();
        let (sd, plausibility, beforehand) = match known {
            true => (
                KNOWN_OUTPUT_SD_STOPS,
                0.05,
                "fitted to readings before, so within an eighth of a stop",
            ),
            false => (
                OUTPUT_SD_STOPS,
                0.2,
                "yields lie between 15 and 50 lm s/J, linings and cloths differ: half a stop \
                 (common practice)",
            ),
        };
        let (likely, nodes) = self.about(sd, [-4.0, 4.0], |x| self.times(x.exp2()));
        let name = light.name.clone();
        let full = light.output.full;
        Cause {
            kind: CauseKind::Output,
            plausibility,
            beforehand: beforehand.into(),
            words: Box::new(move |x| {
                let gives = format!(
                    "{name}'s lamp and modifier give {:.2} times the light",
                    x.exp2()
                );
                match full {
                    Some(FullOutput::FlashEnergy {
                        yield_lm_s_per_j, ..
                    }) => format!(
                        "{gives}, as a yield of {:.1} instead of {yield_lm_s_per_j:.1} lm s/J",
                        yield_lm_s_per_j * x.exp2()
                    ),
                    _ => gives,
                }
            }),
            likely,
            nodes,
        }
    }
}

/// A usual cloth and a usual grid, by the words of a setup.
fn usual_front() -> Option<crate::setup::Modifier> {
    const WRITTEN: &str =
        "kind = \"softbox\"\nsize = \"1 x 1 m\"\ncloth = \"half\"\ngrid = \"40 deg\"\n";
    parse_modifier(WRITTEN, "a usual front", "usual-front").ok()
}

/// What a reading changes by, stops, when a light that gives this share of it gives so many times as
/// much.
pub(super) fn in_the_mix(share: f64, times: f64) -> f64 {
    // No light at all would be endless; six stops less is as good as none.
    (1.0 - share + share * times).max(1.0 / 64.0).log2()
}

fn metres(m: f64) -> String {
    format!("{m:.2} m")
}

fn cm(m: f64) -> String {
    format!("{:.0} cm", 100.0 * m.abs())
}

fn degrees(rad: f64) -> String {
    format!("{:.0} deg", rad.to_degrees().abs())
}

pub(super) fn stops(x: f64) -> String {
    let unit = if x.abs() > 1.0 { "stops" } else { "stop" };
    format!("{:.1} {unit}", x.abs())
}
