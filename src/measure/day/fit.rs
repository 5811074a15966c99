//! What lamps and modifiers really give, learnt from readings.
//!
//! In stops everything adds: a light differs from its prediction by its lamp's yield, its modifier's
//! efficiency, and how this set happened to be put up. A reading of several lights together is their
//! mix, made linear about the last estimate. The meter is taken as true: what it reads off goes into
//! the fit, and comes out again at the next reading with the same meter.

use super::gauss::{Belief, Observation, believe};
use serde::Serialize;

/// A lamp's yield before any reading, standard deviation in stops about what the setup says. Published
/// yields of flash tubes lie between 15 and 50 lm s/J: 30 with two standard deviations either way.
pub const YIELD_SD_STOPS: f64 = 0.4;
/// A modifier's efficiency before any reading, likewise (linings and cloths, from memory).
pub const EFFICIENCY_SD_STOPS: f64 = 0.3;
/// How a light happens to stand on one day: tape, aim, spread (common practice, from memory).
pub const PLACING_SD_STOPS: f64 = 0.1;
/// Half the width of an interval that holds 95 %, in standard deviations.
pub const SDS_OF_95: f64 = 1.96;

/// One reading's difference from its prediction.
#[derive(Debug, Clone, PartialEq)]
pub struct Difference {
    /// Said less predicted, stops.
    pub stops: f64,
    /// Its standard deviation, stops.
    pub sd_stops: f64,
    /// The lights in it, with their predicted shares of it.
    pub parts: Vec<Part>,
}

/// A light's part of a reading.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// Which head.
    pub lamp: String,
    /// Which modifier.
    pub modifier: String,
    /// Which putting up of which light: the same words, the same error.
    pub placing: String,
    /// Of the predicted exposure.
    pub share: f64,
}

/// A figure and its uncertainty, stops.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize)]
pub struct Learnt {
    /// Mean.
    pub stops: f64,
    /// Standard deviation.
    pub sd_stops: f64,
}

impl Learnt {
    fn of((stops, sd_stops): (f64, f64)) -> Self {
        Self { stops, sd_stops }
    }

    /// What it is between, with 95 %.
    pub fn interval_95(&self) -> [f64; 2] {
        let half = SDS_OF_95 * self.sd_stops;
        [self.stops - half, self.stops + half]
    }
}

/// A lamp in a modifier: what the two make together, which is what readings show.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Pair {
    /// The head.
    pub lamp: String,
    /// What it was in.
    pub modifier: String,
    /// Yield and efficiency in one.
    pub product: Learnt,
    /// Each by itself, where the readings can tell them apart.
    pub apart: Option<Apart>,
    /// Readings that it took part in.
    pub readings: usize,
}

/// A product taken apart.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Apart {
    /// The lamp's.
    pub lamp_yield: Learnt,
    /// The modifier's.
    pub efficiency: Learnt,
}

/// What was learnt.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Fit {
    /// In the order they were met.
    pub pairs: Vec<Pair>,
}

impl Fit {
    /// What a modifier's file should be corrected by: its efficiency where that is known by itself,
    /// else its product with the lamp it was read with.
    pub fn correction(&self, modifier: &str) -> Option<Learnt> {
        let pair = self.pairs.iter().find(|p| p.modifier == modifier)?;
        Some(pair.apart.map_or(pair.product, |a| a.efficiency))
    }
}

/// Names, each with the number of its parameter.
#[derive(Default)]
struct Names(Vec<String>);

impl Names {
    fn number(&mut self, name: &str) -> usize {
        match self.0.iter().position(|n| n == name) {
            Some(found) => found,
            None => {
                self.0.push(name.to_owned());
                self.0.len() - 1
            }
        }
    }
}

/// One part by the numbers of its parameters.
struct Numbered {
    parameters: [usize; 3],
    share: f64,
}

/// Learns from readings.
pub fn fit(differences: &[Difference]) -> Fit {
    let (mut lamps, mut modifiers, mut placings) =
        (Names::default(), Names::default(), Names::default());
    let mut pairs: Vec<(usize, usize, usize)> = Vec::new();
    let mut rows: Vec<Vec<[usize; 3]>> = Vec::new();
    for d in differences {
        let row = d.parts.iter().filter(|p| p.share > 0.0).map(|p| {
            let lamp = lamps.number(&p.lamp);
            let modifier = modifiers.number(&p.modifier);
            match pairs
                .iter_mut()
                .find(|(l, m, _)| (*l, *m) == (lamp, modifier))
            {
                Some(pair) => pair.2 += 1,
                None => pairs.push((lamp, modifier, 1)),
            }
            [lamp, modifier, placings.number(&p.placing)]
        });
        rows.push(row.collect());
    }
    let (first_modifier, first_placing) = (lamps.0.len(), lamps.0.len() + modifiers.0.len());
    let numbered: Vec<Vec<Numbered>> = differences
        .iter()
        .zip(rows)
        .map(|(d, row)| {
            let parts = d.parts.iter().filter(|p| p.share > 0.0).zip(row);
            parts
                .map(|(p, [lamp, modifier, placing])| Numbered {
                    parameters: [lamp, first_modifier + modifier, first_placing + placing],
                    share: p.share,
                })
                .collect()
        })
        .collect();
    let prior: Vec<f64> = [
        vec![YIELD_SD_STOPS; lamps.0.len()],
        vec![EFFICIENCY_SD_STOPS; modifiers.0.len()],
        vec![PLACING_SD_STOPS; placings.0.len()],
    ]
    .concat();
    let belief = solve(&prior, differences, &numbered);
    let apart = told_apart(&pairs);
    let made = pairs
        .iter()
        .zip(apart)
        .map(|(&(lamp, modifier, readings), apart)| {
            let of = |parameters: &[usize]| Learnt::of(belief.sum(parameters));
            Pair {
                lamp: lamps.0[lamp].clone(),
                modifier: modifiers.0[modifier].clone(),
                product: of(&[lamp, first_modifier + modifier]),
                apart: apart.then(|| Apart {
                    lamp_yield: of(&[lamp]),
                    efficiency: of(&[first_modifier + modifier]),
                }),
                readings,
            }
        });
    Fit {
        pairs: made.collect(),
    }
}

/// Mixed readings are made linear about the last estimate, a few times over (Gauss and Newton).
fn solve(prior: &[f64], differences: &[Difference], rows: &[Vec<Numbered>]) -> Belief {
    let mut mean = vec![0.0; prior.len()];
    let mut belief = believe(prior, &[]);
    for _ in 0..4 {
        let observations: Vec<Observation> = differences
            .iter()
            .zip(rows)
            .map(|(d, row)| {
                let change = |n: &Numbered| n.parameters.iter().map(|p| mean[*p]).sum::<f64>();
                let light = |n: &Numbered| n.share * change(n).exp2();
                let all: f64 = row.iter().map(light).sum();
                // d log2(Σ s 2^x) / dx = s 2^x / Σ s 2^x
                let mut value = d.stops - all.max(1e-9).log2();
                let mut terms = Vec::new();
                for n in row {
                    let weight = light(n) / all.max(1e-9);
                    value += weight * change(n);
                    terms.extend(n.parameters.map(|p| (p, weight)));
                }
                Observation {
                    terms,
                    value,
                    sd: d.sd_stops,
                }
            })
            .collect();
        belief = believe(prior, &observations);
        mean.clone_from(&belief.mean);
    }
    belief
}

/// Which pairs' yield and efficiency the readings tell apart: those whose lamp was in another modifier
/// too, or whose modifier held another lamp. How high both lie together still rests on what was
/// believed before, and their uncertainties say so.
fn told_apart(pairs: &[(usize, usize, usize)]) -> Vec<bool> {
    let others = |of: &(usize, usize, usize)| {
        let meets = |p: &&(usize, usize, usize)| (p.0 == of.0) != (p.1 == of.1);
        pairs.iter().any(|p| meets(&p))
    };
    pairs.iter().map(others).collect()
}
