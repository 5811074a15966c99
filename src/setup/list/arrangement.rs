//! What stands on set for one frame, as far as somebody has to walk for it when it changes.

use crate::setup::{Backdrop, BoardKind, FullOutput, Light, Setting, Setup, Stand, SwatchPlace};
use serde::{Deserialize, Serialize};

/// What stands on set.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Arrangement {
    /// Lights, in the order of the setup.
    pub lights: Vec<Standing>,
    /// Boards, flags and scrims, likewise.
    pub boards: Vec<Standing>,
    /// The paper, or the bare room, in words.
    pub backdrop: String,
    /// Walls and floor, in words.
    pub room: String,
    /// The camera.
    pub camera: CameraStands,
    /// Who is on the mark, and how.
    pub figure: Option<Wearing>,
    /// The swatch on show, in words; empty without.
    pub swatch: String,
}

/// A light or a board on its stand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Standing {
    /// Its name.
    pub name: String,
    /// What it is: a modifier's name, or "white board, 1 x 2 m".
    pub what: String,
    /// Its middle in the room, metres.
    pub at_m: [f64; 3],
    /// Where it points (unit).
    pub toward: [f64; 3],
    /// Power, spread, colour, in words; empty for a board.
    pub setting: String,
    /// What hangs on or before it: grid, cloth, cover, gels, in words.
    pub trim: String,
    /// Taped out: "2.1 m, 70 deg left, 1.88 m high".
    pub taped: String,
}

/// Where the camera stands and what is on it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CameraStands {
    /// The lens in the room, metres.
    pub at_m: [f64; 3],
    /// Of the lens, millimetres.
    pub focal_length_mm: f64,
    /// Taped out.
    pub taped: String,
}

/// A figure as it is seen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Wearing {
    /// The stand-in's name.
    pub model: String,
    /// Garments and cloths in words: "shift in linen-slub".
    pub garments: String,
    /// Hair, make-up, skin, shoes, size in words; what is left out is the model's own.
    pub looks: String,
    /// Pose and turn: "pose front, turned 20 deg left".
    pub pose: String,
}

impl Arrangement {
    /// Of a setup. A light that is off is not there.
    pub fn of(setup: &Setup) -> Self {
        Self {
            lights: setup.lights.iter().filter(|l| l.on).map(light).collect(),
            boards: boards(setup),
            backdrop: match &setup.backdrop {
                Backdrop::None => "no paper".into(),
                Backdrop::Seamless(s) => format!(
                    "paper {} m wide, reflectance {}, {} m behind the mark",
                    tidy(s.width_m),
                    s.reflectance.map(tidy).join(" "),
                    tidy(s.behind_m)
                ),
            },
            room: format!("{:?}", setup.room),
            camera: camera(setup),
            figure: setup.figure.as_ref().map(|f| {
                let worn = f.spec.garments.iter();
                let garments: Vec<String> = worn
                    .map(|w| format!("{} in {}", w.garment, w.fabric))
                    .collect();
                let looks = f.spec.looks.words();
                let mut looks: Vec<String> = looks
                    .into_iter()
                    .filter_map(|(key, word)| {
                        Some(format!("{} {}", key.replace('_', " "), word.as_ref()?))
                    })
                    .collect();
                looks.extend(
                    f.spec
                        .looks
                        .wind
                        .map(|w| format!("wind {}", tidy(w.strength))),
                );
                Wearing {
                    model: f.spec.model.clone(),
                    garments: match garments.is_empty() {
                        true => "nothing".into(),
                        false => garments.join(", "),
                    },
                    looks: looks.join(", "),
                    pose: match f.turn_rad {
                        0.0 => format!("pose {}", f.spec.pose),
                        turn => format!("pose {}, turned {}", f.spec.pose, sided(turn)),
                    },
                }
            }),
            swatch: swatch(setup),
        }
    }
}

fn light(light: &Light) -> Standing {
    let mut setting = match &light.output.setting {
        Setting::Meters { f_number, at } => format!("f/{} at {}", tidy(*f_number), at.name),
        Setting::Power(fraction) => {
            let full = light.output.full.as_ref().map(full);
            format!("power {}{}", power(*fraction), full.unwrap_or_default())
        }
    };
    if let Some(spread) = light.spread {
        setting += &format!(", spread {}", tidy(spread));
    }
    let colour = &light.colour;
    setting += &format!(", {} K", tidy(colour.kelvin));
    if light.roll_rad != 0.0 {
        setting += &format!(", rolled {} deg", tidy(light.roll_rad.to_degrees()));
    }
    let m = &light.modifier;
    let mut trim = Vec::new();
    if m.grid.is_some() {
        trim.push(format!("grid {:?}", m.grid));
    }
    if m.cloth.is_some() || m.baffle.is_some() {
        trim.push(format!("cloth {:?} {:?}", m.cloth, m.baffle));
    }
    if m.skirt_m.is_some() || m.cover.is_some() {
        trim.push(format!("skirt {:?} {:?}", m.skirt_m, m.cover));
    }
    if colour.gel_mired != 0.0 || colour.filter != [1.0; 3] {
        trim.push(format!("gel {} {:?}", colour.gel_mired, colour.filter));
    }
    Standing {
        name: light.name.clone(),
        what: m.name.clone(),
        at_m: light.position_m().into(),
        // Shapes that are written inline differ by their sizes alone.
        trim: format!("{:?} {}", m.kind, trim.join(", ")),
        toward: light.direction().into(),
        setting,
        taped: taped(light.place.taped(), light.stand),
    }
}

/// As dials have it: a binary fraction of full, and tenths of a stop over it.
fn power(fraction: f64) -> String {
    let tenths = (-10.0 * fraction.log2()).round() as i32;
    let whole = tenths.div_euclid(10) + i32::from(tenths.rem_euclid(10) > 0);
    let over = 10 * whole - tenths;
    let step = match whole {
        0 => "full".to_owned(),
        w if (1..=16).contains(&w) => format!("1/{}", 1_u32 << w),
        _ => return tidy(fraction),
    };
    match over {
        0 => step,
        over => format!("{step} +.{over}"),
    }
}

fn full(full: &FullOutput) -> String {
    match full {
        FullOutput::FlashEnergy { energy_j, .. } => format!(" of {} J", tidy(*energy_j)),
        FullOutput::LuminousEnergy { lm_s } => format!(" of {} lm s", tidy(*lm_s)),
        FullOutput::Flux { lm } => format!(" of {} lm", tidy(*lm)),
    }
}

fn boards(setup: &Setup) -> Vec<Standing> {
    let boards = setup.boards.iter();
    boards
        .map(|b| {
            let made = match b.kind {
                BoardKind::Board { front, back } | BoardKind::Flag { front, back } => {
                    format!("{front:?} {back:?}")
                }
                BoardKind::Scrim(cloth) => format!("{cloth:?}"),
            };
            Standing {
                name: b.name.clone(),
                what: format!(
                    "{} {} x {} m",
                    b.kind.word(),
                    tidy(b.size_m[0]),
                    tidy(b.size_m[1])
                ),
                at_m: b.frame.origin_m.into(),
                toward: b.frame.z.into(),
                setting: String::new(),
                trim: made,
                taped: taped(b.place.taped(), b.stand),
            }
        })
        .collect()
}

fn camera(setup: &Setup) -> CameraStands {
    let c = &setup.camera;
    CameraStands {
        at_m: c.position_m.into(),
        focal_length_mm: 1000.0 * c.focal_length_m,
        taped: format!(
            "{} mm, {}",
            tidy(1000.0 * c.focal_length_m),
            taped(c.place.taped(), Stand::Upright)
        ),
    }
}

fn swatch(setup: &Setup) -> String {
    let Some(swatch) = setup.swatch.as_ref().filter(|s| s.shown) else {
        return String::new();
    };
    let place = match &swatch.place {
        SwatchPlace::At(_) => {
            let at: [f64; 3] = swatch.frame.origin_m.into();
            format!("at {}", at.map(tidy).join(", "))
        }
        SwatchPlace::Beside { point, offset_m } => {
            format!("{} m beside {point}", tidy(*offset_m))
        }
    };
    format!("{} {place}", swatch.fabric)
}

/// As an assistant tapes it out.
fn taped((distance_m, bearing_rad, height_m): (f64, f64, f64), stand: Stand) -> String {
    let held = if stand == Stand::Boom {
        ", on a boom"
    } else {
        ""
    };
    format!(
        "{} m, {}, {} m high{held}",
        tidy(distance_m),
        sided(bearing_rad),
        tidy(height_m)
    )
}

fn sided(angle_rad: f64) -> String {
    let degrees = (angle_rad.to_degrees() * 10.0).round() / 10.0;
    match degrees {
        d if d > 0.0 => format!("{d} deg right"),
        d if d < 0.0 => format!("{} deg left", -d),
        _ => "0 deg".into(),
    }
}

/// To two decimals at most, or four significant digits where that is less.
fn tidy(value: f64) -> String {
    let decimals = if value.abs() < 0.1 { 4 } else { 2 };
    let text = format!("{value:.decimals$}");
    match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn powers_are_told_as_dials_have_them() {
        for (fraction, told) in [
            (1.0, "full"),
            (0.5, "1/2"),
            (0.25, "1/4"),
            (0.25 * 2.0_f64.powf(0.2), "1/4 +.2"),
            (2.0_f64.powf(-1.7), "1/4 +.3"),
            (0.95, "1/2 +.9"),
        ] {
            assert_eq!(power(fraction), told, "{fraction}");
        }
    }
}
