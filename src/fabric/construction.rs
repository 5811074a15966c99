//! How a woven cloth is built: yarn counts and setts, and what follows from them: yarn diameters,
//! cover, crimp, weight, and whether it could be woven at all.
//!
//! The geometry is F. T. Peirce's ("The geometry of cloth structure", J. Text. Inst. 28, 1937,
//! T45), flattened after A. Kemp (J. Text. Inst. 49, 1958, T44; from memory) and stretched to other
//! weaves than plain by their mean float after L. Love (Text. Res. J. 24, 1954; from memory).
//! Lengths are in millimetres, counts in tex (grams a kilometre), as names say.

mod count;
mod peirce;

pub use count::{Count, CountSystem, threads_per_cm};
pub use peirce::{Wave, crimp_height_mm, jam, least_pitch_mm, wave};

use std::fmt;

use thiserror::Error;

use super::draft::{Drawdown, Yarn};

/// Specific volume of spun cotton in the yarn, cm³/g (Peirce 1937).
pub const COTTON_VOLUME_CM3_G: f64 = 1.1;

/// Density of the substance of fibres, g/cm³ (W. E. Morton and J. W. S. Hearle, "Physical
/// Properties of Textile Fibres", from memory).
pub const FIBRE_DENSITIES_G_CM3: [(&str, f64); 9] = [
    ("cotton", 1.52),
    ("linen", 1.50),
    ("wool", 1.31),
    ("silk", 1.34),
    ("viscose", 1.52),
    ("acetate", 1.32),
    ("polyester", 1.39),
    ("nylon", 1.14),
    ("acrylic", 1.19),
];

/// What a yarn takes up for its mass, cm³/g: its fibre's density, and the share of the yarn's
/// section that is fibre (the packing: 0.5 soft, 0.6 firm, 0.9 flat filament; common practice).
pub fn specific_volume_cm3_g(fibre_density_g_cm3: f64, packing: f64) -> f64 {
    1.0 / (fibre_density_g_cm3 * packing)
}

/// Diameter of a round yarn: `d = √(4 tex v / 1000π)` (Peirce 1937).
pub fn diameter_mm(count_tex: f64, specific_volume_cm3_g: f64) -> f64 {
    (4.0 * count_tex * specific_volume_cm3_g / (1000.0 * std::f64::consts::PI)).sqrt()
}

/// Cover factor of one system in the cotton count: threads an inch over `√Ne` (Peirce 1937). About
/// 28 where round cotton yarns touch.
pub fn cotton_cover_factor(threads_per_cm: f64, count_tex: f64) -> f64 {
    threads_per_cm * 2.54 / CountSystem::Cotton.number(count_tex).sqrt()
}

/// Cover factor of one system in tex: threads a centimetre times `√tex`, over 10 (from memory).
pub fn tex_cover_factor(threads_per_cm: f64, count_tex: f64) -> f64 {
    0.1 * threads_per_cm * count_tex.sqrt()
}

/// Share of the cloth that threads hide, from how much each system would hide alone:
/// `C₁ + C₂ - C₁C₂`.
pub fn cover_fraction(warp: f64, weft: f64) -> f64 {
    let (warp, weft) = (warp.clamp(0.0, 1.0), weft.clamp(0.0, 1.0));
    warp + weft - warp * weft
}

/// Loops of a relaxed plain knit from the length of yarn in one: wales and courses a centimetre,
/// `4.2/l` and `5.5/l` (D. L. Munden, J. Text. Inst. 50, 1959, T448).
pub fn jersey_wales_and_courses_per_cm(loop_length_cm: f64) -> (f64, f64) {
    (4.2 / loop_length_cm, 5.5 / loop_length_cm)
}

/// One system of a woven cloth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct System {
    /// Threads to a centimetre.
    pub threads_per_cm: f64,
    /// Count of the whole, plied yarn.
    pub count_tex: f64,
    /// What the yarn takes up for its mass.
    pub specific_volume_cm3_g: f64,
    /// Width of the yarn as it lies in the finished cloth, over its round diameter.
    pub width_factor: f64,
    /// Its height over the same.
    pub height_factor: f64,
}

/// What a woven cloth is made of, but for its weave.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Construction {
    /// The ends.
    pub warp: System,
    /// The picks.
    pub weft: System,
    /// Share of the warp in the crimp heights of both: 0.5 balanced, 1 a straight weft.
    pub warp_crimp_share: f64,
}

/// A number that no construction has.
#[derive(Debug, Clone, PartialEq, Error)]
#[error("{what} is {value}; write a number from {low} to {high}")]
pub struct ConstructionError {
    /// Of what.
    pub what: String,
    /// The number.
    pub value: f64,
    /// Least.
    pub low: f64,
    /// Greatest.
    pub high: f64,
}

/// One system's yarns as they lie in the cloth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct YarnGeometry {
    /// From one yarn's middle to the next one's.
    pub spacing_mm: f64,
    /// Of the round yarn.
    pub diameter_mm: f64,
    /// Half the width of the flattened yarn.
    pub half_width_mm: f64,
    /// Half its height.
    pub half_height_mm: f64,
    /// How far its middle swings to either side of the cloth's middle plane: half of Peirce's `h`.
    pub crimp_height_mm: f64,
    /// Yarn's length over cloth's length, less 1.
    pub crimp: f64,
}

/// A woven cloth as it lies: what is needed to evaluate its threads at any point.
///
/// The yarns touch where they cross: crimp heights and half heights have the same sum.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ClothGeometry {
    /// The ends.
    pub warp: YarnGeometry,
    /// The picks.
    pub weft: YarnGeometry,
    /// Share of the cloth that flattened yarns hide.
    pub cover: f64,
    /// With crimp, before any finish is added.
    pub weight_g_m2: f64,
}

/// Why a cloth could not be woven, or not so. Warnings: people draw impossible cloth too.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Fault {
    /// Threads of the system that never change face lie loose.
    NeverInterlaces(Yarn),
    /// Threads can be lifted off the rest.
    FallsApart,
    /// More yarn than there is room for between the interlacings.
    BeyondJam {
        /// [`jam`] over both systems: 1 is the most.
        jam: f64,
        /// The closest sett of the warp at these picks.
        most_ends_per_cm: f64,
    },
    /// Flattened yarns of both systems are wider than their spacing.
    TooWide,
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Fault::NeverInterlaces(Yarn::Warp) => f.write_str(
                "an end never interlaces, so it lies loose; bind it at one pick at least",
            ),
            Fault::NeverInterlaces(Yarn::Weft) => f.write_str(
                "a pick never interlaces, so it lies loose; bind it under one end at least",
            ),
            Fault::FallsApart => {
                f.write_str("the weave falls into layers; bind each thread both over and under others")
            }
            Fault::BeyondJam {
                jam,
                most_ends_per_cm,
            } => {
                write!(f, "too dense to be woven: its threads need {jam:.2} times the room there is to turn in")?;
                match most_ends_per_cm {
                    ends if *ends > 0.0 => {
                        write!(f, "; with these picks the yarns take {ends:.1} ends per cm at most")
                    }
                    _ => f.write_str("; take fewer picks or finer yarns"),
                }
            }
            Fault::TooWide => f.write_str(
                "flattened yarns are wider than their spacing in both systems; take narrower yarns or fewer threads",
            ),
        }
    }
}

impl System {
    /// From one thread's middle to the next one's.
    pub fn spacing_mm(&self) -> f64 {
        10.0 / self.threads_per_cm
    }

    /// Of the round yarn.
    pub fn diameter_mm(&self) -> f64 {
        diameter_mm(self.count_tex, self.specific_volume_cm3_g)
    }

    /// Mass of the system's yarn in the cloth: `0.1 n tex (1 + c)`.
    pub fn weight_g_m2(&self, crimp: f64) -> f64 {
        0.1 * self.threads_per_cm * self.count_tex * (1.0 + crimp)
    }

    fn half_width_mm(&self) -> f64 {
        0.5 * self.diameter_mm() * self.width_factor
    }

    fn half_height_mm(&self) -> f64 {
        0.5 * self.diameter_mm() * self.height_factor
    }
}

impl Construction {
    /// Whether every number is one that cloth can have.
    ///
    /// # Errors
    /// The first number out of its range.
    pub fn check(&self) -> Result<(), ConstructionError> {
        let check = |what: String, value: f64, low: f64, high: f64| {
            // Not a number is in no range.
            if (low..=high).contains(&value) {
                Ok(())
            } else {
                Err(ConstructionError {
                    what,
                    value,
                    low,
                    high,
                })
            }
        };
        for (name, system) in [("warp", &self.warp), ("weft", &self.weft)] {
            let of = |what: &str| format!("the {name}'s {what}");
            check(of("threads per cm"), system.threads_per_cm, 1.0, 300.0)?;
            check(of("count in tex"), system.count_tex, 0.1, 10_000.0)?;
            let volume = system.specific_volume_cm3_g;
            check(of("specific volume in cm³/g"), volume, 0.3, 5.0)?;
            check(of("width factor"), system.width_factor, 0.5, 4.0)?;
            check(of("height factor"), system.height_factor, 0.2, 1.5)?;
        }
        let share = self.warp_crimp_share;
        check("the warp's share of the crimp".to_owned(), share, 0.0, 1.0)
    }

    /// How the yarns lie in this weave.
    ///
    /// The flattened yarns touch where they cross. Crimp is Peirce's, with the flat of the crossed
    /// yarn taken off the pitch (Kemp), at each interlacing, and none along floats; where yarns are
    /// set closer than they can turn, the turn takes what it needs of the floats beside it.
    ///
    /// # Errors
    /// A number out of its range.
    pub fn geometry(&self, drawdown: &Drawdown) -> Result<ClothGeometry, ConstructionError> {
        self.check()?;
        let contact_mm = self.warp.half_height_mm() + self.weft.half_height_mm();
        let yarn = |system: &System, crossed: &System, share: f64, which: Yarn| {
            let crimp_height_mm = share * contact_mm;
            let flat_mm = 2.0 * (crossed.half_width_mm() - crossed.half_height_mm()).max(0.0);
            // Peirce's h and D run from side to side, twice the half heights here.
            let (height_mm, sum_mm) = (2.0 * crimp_height_mm, 2.0 * contact_mm);
            let pitch_mm = (crossed.spacing_mm() - flat_mm).max(least_pitch_mm(height_mm, sum_mm));
            let extra_mm =
                wave(pitch_mm, height_mm, sum_mm).map_or(0.0, |w| w.length_mm - pitch_mm);
            YarnGeometry {
                spacing_mm: system.spacing_mm(),
                diameter_mm: system.diameter_mm(),
                half_width_mm: system.half_width_mm(),
                half_height_mm: system.half_height_mm(),
                crimp_height_mm,
                crimp: extra_mm / (drawdown.floats(which).mean * crossed.spacing_mm()),
            }
        };
        let share = self.warp_crimp_share;
        let warp = yarn(&self.warp, &self.weft, share, Yarn::Warp);
        let weft = yarn(&self.weft, &self.warp, 1.0 - share, Yarn::Weft);
        let alone = |yarn: &YarnGeometry| 2.0 * yarn.half_width_mm / yarn.spacing_mm;
        Ok(ClothGeometry {
            warp,
            weft,
            cover: cover_fraction(alone(&warp), alone(&weft)),
            weight_g_m2: self.warp.weight_g_m2(warp.crimp) + self.weft.weight_g_m2(weft.crimp),
        })
    }

    /// Why a cloth of this construction and weave could not be woven; empty for one that could.
    ///
    /// Round yarns jam where both systems have turned as far as they can (Peirce's relation, see
    /// [`jam`]). In other weaves than plain, threads under a float lie side by side, so that the
    /// pitch at an interlacing is `F p - (F - 1) d` for a mean float `F` (after Love, from memory).
    /// Cloth that is beaten up hard squeezes its yarns and goes some per cent beyond.
    ///
    /// # Errors
    /// A number out of its range.
    pub fn faults(&self, drawdown: &Drawdown) -> Result<Vec<Fault>, ConstructionError> {
        self.check()?;
        let mut faults = Vec::new();
        let loose = |system: Yarn| match system {
            Yarn::Warp => (0..drawdown.ends()).any(|end| drawdown.warp_interlacings(end) == 0),
            Yarn::Weft => (0..drawdown.picks()).any(|pick| drawdown.weft_interlacings(pick) == 0),
        };
        for system in [Yarn::Warp, Yarn::Weft] {
            if loose(system) {
                faults.push(Fault::NeverInterlaces(system));
            }
        }
        if faults.is_empty() && !drawdown.hangs_together() {
            faults.push(Fault::FallsApart);
        }
        if !faults.is_empty() {
            return Ok(faults);
        }

        let sum_mm = self.warp.diameter_mm() + self.weft.diameter_mm();
        // Picks turn between ends, so the weft's float sets the ends' pitch, and the other way.
        let (ends_float, picks_float) = (
            drawdown.floats(Yarn::Weft).mean,
            drawdown.floats(Yarn::Warp).mean,
        );
        let turn = |system: &System, float: f64| {
            (float * system.spacing_mm() - (float - 1.0) * system.diameter_mm()) / sum_mm
        };
        let picks = turn(&self.weft, picks_float);
        let jam = jam(turn(&self.warp, ends_float), picks);
        if jam > 1.0 {
            let room: f64 = 1.0 - peirce::turn_share(picks);
            let most_ends_per_cm = if room > 0.0 {
                let pitch_mm = sum_mm * (1.0 - room * room).max(0.0).sqrt();
                let floats_mm = (ends_float - 1.0) * self.warp.diameter_mm();
                10.0 * ends_float / (pitch_mm + floats_mm)
            } else {
                0.0
            };
            faults.push(Fault::BeyondJam {
                jam,
                most_ends_per_cm,
            });
        }
        let too_wide = |system: &System| 2.0 * system.half_width_mm() > system.spacing_mm();
        let plain = ends_float == 1.0 && picks_float == 1.0;
        if plain && too_wide(&self.warp) && too_wide(&self.weft) {
            faults.push(Fault::TooWide);
        }
        Ok(faults)
    }
}

impl ClothGeometry {
    /// From back to face, at its thickest.
    pub fn thickness_mm(&self) -> f64 {
        let half = |yarn: &YarnGeometry| yarn.crimp_height_mm + yarn.half_height_mm;
        2.0 * half(&self.warp).max(half(&self.weft))
    }
}
