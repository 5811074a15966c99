//! Woven cloth: what a weaver says of it, and its numbers as `shaders/core/weave.wgsl` reads them.

mod threads;

pub use threads::{Slubs, Threads};

use std::collections::BTreeMap;

use serde::Deserialize;

use super::{Form, yarn::Skin};
use crate::fabric::FabricError;
use crate::fabric::construction::{ClothGeometry, Construction, YarnGeometry};
use crate::fabric::draft::{Draft, Drawdown, StandardWeave, Yarn};

/// A woven cloth, as its table in a fabric's data file.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, rename_all = "snake_case")]
pub struct Woven {
    /// A standard weave's name, a grid of `X` and `.` with a line for each pick, or the name of a
    /// WIF file.
    pub weave: String,
    /// Ends to a centimetre.
    pub ends_per_cm: f64,
    /// Picks to a centimetre.
    pub picks_per_cm: f64,
    /// The ends.
    pub warp: Threads,
    /// The picks.
    pub weft: Threads,
    /// Colours by the names that the orders of the threads use, linear sRGB.
    #[serde(default)]
    pub colours: BTreeMap<String, [f64; 3]>,
    /// Share of the warp in the crimp heights of both: 0.5 balanced, 1 a straight weft.
    #[serde(default = "half")]
    pub warp_crimp_share: f64,
    /// How far yarns stray from even spacing, over the spacing.
    #[serde(default = "Woven::stray")]
    pub stray: f64,
    /// Length along a yarn over which it strays.
    #[serde(default = "Woven::stray_mm")]
    pub stray_mm: f64,
    /// How much closer pairs of ends lie that shared a dent of the reed, over the spacing.
    #[serde(default = "Woven::reed_marks")]
    pub reed_marks: f64,
    /// How much narrower a yarn is where it changes face.
    #[serde(default = "Woven::pinch")]
    pub pinch: f64,
    /// How far long floats rise between their ends, 0 to 1.
    #[serde(default)]
    pub float_arch: f64,
    /// How far the floats of the face press over the points that bind them, 0 to 1.
    #[serde(default)]
    pub float_press: f64,
    /// Shape of the yarns' section: 0 round, 1 with a broad flat back (filament).
    #[serde(default)]
    pub flatness: f64,
    /// How far crepe twist pulls yarns out of line, over the spacing.
    #[serde(default)]
    pub crepe: f64,
    /// How far fulling has felted the yarns into each other, 0 to 1. Any of it closes the holes.
    #[serde(default)]
    pub milling: f64,
}

/// A weave drawn down, with its threads' colours.
#[derive(Debug, Clone, PartialEq)]
pub struct Drafted {
    /// Which yarn is on top.
    pub drawdown: Drawdown,
    /// Reflectance of the ends in order, linear sRGB; again and again from the first. None: the
    /// cloth's own.
    pub warp: Vec<[f64; 3]>,
    /// The same of the picks.
    pub weft: Vec<[f64; 3]>,
}

/// Ends in a texel of the draft: four numbers of 16 bits.
const ENDS_PER_TEXEL: usize = 64;
/// Texels before the lists.
const HEAD: usize = 12;

fn half() -> f64 {
    0.5
}

impl Woven {
    fn stray() -> f64 {
        0.06
    }
    fn stray_mm() -> f64 {
        9.0
    }
    fn reed_marks() -> f64 {
        0.03
    }
    fn pinch() -> f64 {
        0.12
    }

    /// Whether it could be drawn: every number in its range, names known.
    ///
    /// # Errors
    /// The first thing that is wrong.
    pub fn check(&self) -> Result<(), FabricError> {
        let range = FabricError::range;
        range("ends_per_cm", self.ends_per_cm, 1.0, 300.0)?;
        range("picks_per_cm", self.picks_per_cm, 1.0, 300.0)?;
        range("warp_crimp_share", self.warp_crimp_share, 0.0, 1.0)?;
        range("stray", self.stray, 0.0, 0.25)?;
        range("stray_mm", self.stray_mm, 1.0, 500.0)?;
        range("reed_marks", self.reed_marks, 0.0, 0.2)?;
        range("pinch", self.pinch, 0.0, 0.6)?;
        range("float_arch", self.float_arch, 0.0, 1.0)?;
        range("float_press", self.float_press, 0.0, 1.0)?;
        range("flatness", self.flatness, 0.0, 1.0)?;
        range("crepe", self.crepe, 0.0, 0.5)?;
        range("milling", self.milling, 0.0, 1.0)?;
        for value in self.colours.values().flatten() {
            range("colours", *value, 0.0, 1.0)?;
        }
        self.warp.check(&self.colours, "warp")?;
        self.weft.check(&self.colours, "weft")?;
        self.construction()?.check().map_err(described)?;
        match self.wif_file() {
            Some(_) => Ok(()),
            None => self.drafted().map(|_| ()),
        }
    }

    /// The file that the weave is to be read from, where it is one.
    pub fn wif_file(&self) -> Option<&str> {
        let name = self.weave.trim();
        let wif = name.len() > 4 && name.to_ascii_lowercase().ends_with(".wif");
        (wif && !name.contains('\n')).then_some(name)
    }

    /// The weave drawn down, where it is a standard one or a grid.
    ///
    /// # Errors
    /// A weave that is not known, a faulty grid, and a WIF file's name: that is to be read by who
    /// may read files, and made by [`Drafted::from_draft`].
    pub fn drafted(&self) -> Result<Drafted, FabricError> {
        let text = self.weave.as_str();
        let drawdown = if let Some(weave) = StandardWeave::by_name(text) {
            weave
                .drawdown()
                .map_err(|e| FabricError::Text(e.to_string()))?
        } else if text.trim().contains('\n') {
            Drawdown::from_grid(text)
                .map_err(|e| FabricError::Text(format!("weave, as a grid: {e}")))?
        } else {
            let names: Vec<&str> = StandardWeave::NAMED.iter().map(|(name, _)| *name).collect();
            return Err(FabricError::Text(format!(
                "weave `{}` is not known; type one of {}, a grid, or a WIF file's name",
                text.trim(),
                names.join(", ")
            )));
        };
        Drafted::new(drawdown)
    }

    /// What it is made of, for diameters, cover, crimp and weight.
    ///
    /// # Errors
    /// Counts that are none and fibres that are not known.
    pub fn construction(&self) -> Result<Construction, FabricError> {
        Ok(Construction {
            warp: self.warp.system(self.ends_per_cm, "warp")?,
            weft: self.weft.system(self.picks_per_cm, "weft")?,
            warp_crimp_share: self.warp_crimp_share,
        })
    }

    /// Puts the cloth among the texels. `drafted` comes of [`Woven::drafted`] or of a WIF file.
    ///
    /// # Errors
    /// What [`Woven::check`] finds too.
    pub fn pack(
        &self,
        drafted: &Drafted,
        seed: u32,
        texels: &mut Vec<[f32; 4]>,
    ) -> Result<Form, FabricError> {
        let geometry = self
            .construction()?
            .geometry(&drafted.drawdown)
            .map_err(described)?;
        let (warp, weft) = (&geometry.warp, &geometry.weft);
        let first = texels.len();
        let here = |texels: &Vec<[f32; 4]>| (texels.len() - first) as f32;
        let seed = seed.wrapping_mul(0x9e37) & 0xff_ffff;
        texels.resize(first + HEAD, [0.0; 4]);

        let draft = here(texels);
        let per_pick = pack_draft(&drafted.drawdown, texels);
        let mut lists = [0.0; 4];
        let mut means = [[0.0_f32; 4]; 2];
        let own = |threads: &Threads| threads.colours(&self.colours);
        for (i, (threads, drawn)) in [(&self.warp, &drafted.warp), (&self.weft, &drafted.weft)]
            .into_iter()
            .enumerate()
        {
            let colours = match drawn.is_empty() {
                true => own(threads),
                false => drawn.clone(),
            };
            lists[2 * i] = here(texels);
            lists[2 * i + 1] = colours.len() as f32;
            for colour in &colours {
                let colour = colour.map(|value| value as f32);
                texels.push([colour[0], colour[1], colour[2], 0.0]);
                for (mean, value) in means[i].iter_mut().zip(colour) {
                    *mean += value / colours.len() as f32;
                }
            }
        }
        let skins = [here(texels), here(texels) + Skin::TEXELS as f32];
        self.warp.plied_skin().pack(seed, texels);
        self.weft.plied_skin().pack(seed.wrapping_add(977), texels);

        let sunk = 1.0 - 0.5 * self.milling;
        let grooves = |yarn: &YarnGeometry, threads: &Threads| match threads.plied_skin().plies {
            Some(plies) if plies > 1 => {
                threads.skin.ply_depth * yarn.half_width_mm * threads.thickest()
            }
            _ => 0.0,
        };
        let sink_mm = 0.6 * grooves(warp, &self.warp).max(grooves(weft, &self.weft));
        let low_mm = -sunk * (warp.half_height_mm + weft.half_height_mm) - sink_mm;
        let top = |yarn: &YarnGeometry, threads: &Threads| {
            let half_mm = yarn.half_height_mm * (0.35 + 0.65 * threads.thickest());
            sunk * (yarn.crimp_height_mm + half_mm) + 0.4 * grooves(yarn, threads)
        };
        let high_mm = top(warp, &self.warp).max(top(weft, &self.weft));
        let head = [
            [
                warp.spacing_mm,
                weft.spacing_mm,
                1.0 / warp.spacing_mm,
                1.0 / weft.spacing_mm,
            ],
            [
                warp.half_width_mm,
                sunk * warp.half_height_mm,
                weft.half_width_mm,
                sunk * weft.half_height_mm,
            ],
            [
                sunk * warp.crimp_height_mm,
                sunk * weft.crimp_height_mm,
                self.flatness,
                f64::from(seed),
            ],
            [self.stray, 1.0 / self.stray_mm, self.reed_marks, self.crepe],
            [self.pinch, self.float_arch, self.milling, low_mm],
        ];
        let head = head.map(|texel| texel.map(|value| value as f32));
        texels[first..first + head.len()].copy_from_slice(&head);
        // Which system's floats make the face.
        let press = match drafted.drawdown.warp_share() {
            share if share > 0.5 => 0.5 * self.float_press,
            share if share < 0.5 => -0.5 * self.float_press,
            _ => 0.0,
        };
        let rest = [
            self.warp.slub_texel(),
            self.weft.slub_texel(),
            [
                drafted.drawdown.ends() as f32,
                drafted.drawdown.picks() as f32,
                per_pick,
                draft,
            ],
            lists,
            [
                skins[0],
                skins[1],
                self.warp_face_share(&geometry, &drafted.drawdown, press) as f32,
                press as f32,
            ],
            means[0],
            means[1],
        ];
        texels[first + head.len()..first + HEAD].copy_from_slice(&rest);
        // Felt lies at most so high (`weave_floor`).
        let milling = self.milling;
        let felt_mm = low_mm * (1.0 - milling) - 0.2 * low_mm * milling;
        texels[first + 10][3] = if milling > 0.0 { felt_mm } else { low_mm } as f32;
        let rise_mm = 0.4 * grooves(warp, &self.warp).max(grooves(weft, &self.weft));
        texels[first + 11][3] = rise_mm as f32;
        Ok(Form {
            first: first as u32,
            pitch_mm: warp.spacing_mm.max(weft.spacing_mm) as f32,
            low_mm: low_mm as f32,
            high_mm: high_mm as f32,
        })
    }
}

impl Drafted {
    fn new(drawdown: Drawdown) -> Result<Self, FabricError> {
        if drawdown.ends() == 0 || drawdown.picks() == 0 {
            return Err(FabricError::Text(
                "the weave has no crossing; draw one end and one pick at least".to_owned(),
            ));
        }
        Ok(Self {
            drawdown,
            warp: Vec::new(),
            weft: Vec::new(),
        })
    }

    /// Of a loom's draft, with its colours where every thread of a system has one.
    ///
    /// # Errors
    /// A draft that is too large or has no crossing.
    pub fn from_draft(draft: &Draft) -> Result<Self, FabricError> {
        let drawdown = draft
            .drawdown()
            .map_err(|e| FabricError::Text(e.to_string()))?;
        let warp: Option<Vec<_>> = (0..draft.ends())
            .map(|k| draft.warp_reflectance(k))
            .collect();
        let weft: Option<Vec<_>> = (0..draft.picks())
            .map(|j| draft.weft_reflectance(j))
            .collect();
        Ok(Self {
            warp: warp.unwrap_or_default(),
            weft: weft.unwrap_or_default(),
            ..Self::new(drawdown)?
        })
    }
}

fn described(error: impl std::fmt::Display) -> FabricError {
    FabricError::Text(error.to_string())
}

/// The bits of a draft as numbers of 16 bits, which f32 holds exactly; texels a pick.
fn pack_draft(drawdown: &Drawdown, texels: &mut Vec<[f32; 4]>) -> f32 {
    let per_pick = drawdown.ends().div_ceil(ENDS_PER_TEXEL);
    let words = drawdown.words_per_pick();
    for pick in drawdown.words().chunks(words) {
        for pair in pick.chunks(2) {
            let second = pair.get(1).copied().unwrap_or(0);
            let half = |word: u32| [(word & 0xffff) as f32, (word >> 16) as f32];
            let ([a, b], [c, d]) = (half(pair[0]), half(second));
            texels.push([a, b, c, d]);
        }
    }
    per_pick as f32
}

impl Woven {
    /// Share of the threads seen from the face that is warp, by the yarns without their unevenness.
    fn warp_face_share(&self, geometry: &ClothGeometry, drawdown: &Drawdown, press: f64) -> f64 {
        const PLACES: usize = 20_000;
        let height =
            |yarn: &YarnGeometry, system: Yarn, number: i64, across_mm: f64, along: f64| {
                let place = along - 0.5;
                let whole = place.floor() as i64;
                let side = |cross: i64| {
                    let up = match system {
                        Yarn::Warp => drawdown.warp_on_top(number, cross),
                        Yarn::Weft => !drawdown.warp_on_top(cross, number),
                    };
                    if up { 1.0 } else { -1.0 }
                };
                let press = if system == Yarn::Warp { press } else { -press };
                let f = place - place.floor();
                let even = side(whole) + (side(whole + 1) - side(whole)) * f * f * (3.0 - 2.0 * f);
                let rise = even + press * (1.0 - even * even);
                let width_mm = yarn.half_width_mm * (1.0 - self.pinch * (1.0 - rise * rise));
                let q = across_mm / width_mm;
                let fall = q * q * (1.0 - self.flatness) + q.powi(4) * self.flatness;
                match q.abs() < 1.0 {
                    true => yarn.crimp_height_mm * rise + yarn.half_height_mm * (1.0 - fall).sqrt(),
                    false => f64::NEG_INFINITY,
                }
            };
        let best = |yarn: &YarnGeometry, system: Yarn, at: f64, along: f64| {
            (-1..=1)
                .map(|d| {
                    let number = at.floor() as i64 + d;
                    let across_mm = (at - number as f64 - 0.5) * yarn.spacing_mm;
                    height(yarn, system, number, across_mm, along)
                })
                .fold(f64::NEG_INFINITY, f64::max)
        };
        let (mut warp_seen, mut weft_seen) = (0_usize, 0_usize);
        for i in 0..PLACES {
            // Evenly strewn in both directions: powers of the plastic number's inverse.
            let strewn = |by: f64, count: usize| (i as f64 * by).fract() * count as f64;
            let x = strewn(0.754_877_666, drawdown.ends());
            let y = strewn(0.569_840_291, drawdown.picks());
            let warp = best(&geometry.warp, Yarn::Warp, x, y);
            let weft = best(&geometry.weft, Yarn::Weft, y, x);
            warp_seen += usize::from(warp > weft);
            weft_seen += usize::from(weft > warp);
        }
        match warp_seen + weft_seen {
            0 => drawdown.warp_share(),
            seen => warp_seen as f64 / seen as f64,
        }
    }
}
