//! What a modifier does at each setting of its spread: the figures of its data page.
//!
//! Everything is computed from the same emission that a picture is lit by. The geometry of every
//! figure is said beside it; the modifier stands alone in the dark, so there is no bounce.

pub use super::beam::Beam;
use super::beam::beams;
use super::edge::EDGE_DISTANCE_M;
use crate::optics::shadow::{Shadow, shadow};
use crate::optics::shine::Shine;
use crate::optics::trace::Account;
use crate::optics::view::View;
use crate::photometry::MeterConstants;
use crate::photometry::exposure::{evenness_stops, fnumber_from_exposure, stops_between};
use crate::setup::Modifier;
use glam::DVec3;
use rayon::prelude::*;
use serde::Serialize;

/// Where light on the axis is stated, metres from the face.
pub const AXIS_M: [f64; 5] = [1.0, 2.0, 3.0, 4.0, 5.0];
/// Where shadow edges are stated, metres from the face.
pub const EDGES_M: [f64; 3] = [1.5, 2.0, 3.0];
/// Light in, to which exposures are stated, lm s.
pub const EXPOSURE_FOR_LM_S: f64 = 100.0;
/// Light in, to which f-numbers are stated, lm s.
pub const F_NUMBER_FOR_LM_S: f64 = 1000.0;
/// The light stands so far from the figure, level with the chest, for evenness.
pub const FIGURE_AT_M: f64 = 2.0;
/// Heights of hem, chest and face, metres.
pub const HEM_CHEST_FACE_M: [f64; 3] = [0.45, 1.3, 1.6];

/// Settings of a whole page: spread 0 to 1.
const SETTINGS: usize = 11;
/// Heights that evenness is read at.
const HEIGHTS: usize = 24;
/// As far as the inverse square is looked for.
const FARTHEST_M: f64 = 200.0;
/// Near enough to inverse square.
const NEAR_ENOUGH: f64 = 0.05;

/// A modifier's data page.
#[derive(Debug, Clone, Serialize)]
pub struct ModifierPage {
    /// The modifier's name.
    pub modifier: String,
    /// What its file calls it; may be empty.
    pub title: String,
    /// Its kind, as in the file.
    pub kind: &'static str,
    /// Width and height of the face, metres.
    pub face_m: [f64; 2],
    /// What its own marks are called, if it has any.
    pub scale: Option<String>,
    /// Whether spread changes anything.
    pub travels: bool,
    /// What the figures are stated for.
    pub geometry: Geometry,
    /// From tight to wide; one where the lamp does not travel.
    pub settings: Vec<Setting>,
}

/// What the figures are stated for.
#[allow(missing_docs)] // a name with its unit says all
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Geometry {
    pub exposure_for_lm_s: f64,
    pub f_number_for_lm_s: f64,
    pub iso: f64,
    pub flat_constant: f64,
    pub edge_before_receiver_m: f64,
    pub figure_at_m: f64,
    pub hem_chest_face_m: [f64; 3],
}

/// A modifier at one setting.
#[derive(Debug, Clone, Serialize)]
pub struct Setting {
    /// 0 tight to 1 wide; none where the lamp does not travel.
    pub spread: Option<f64>,
    /// The same on the modifier's own scale.
    pub mark: Option<f64>,
    /// Light that leaves, lm per lm of the lamp, past grid, skirt and cover.
    pub efficiency: f64,
    /// Where all of the lamp's light goes; the shares add up to one. Empty where nothing was traced.
    pub account: Vec<Share>,
    /// Noise of the traced tables, relative standard error of a cell that matters.
    pub table_error_rel: Option<f64>,
    /// What summing the tables over the face leaves open at most, relative.
    pub summing_error_rel: f64,
    /// Light on the axis.
    pub axis: Vec<OnAxis>,
    /// Stops lost from 2 m to 4 m; 2 by the inverse square.
    pub fall_2_to_4_m_stops: Option<f64>,
    /// From here on light follows the inverse square to 5 %, metres from the face; none
    /// if not within 200 m.
    pub inverse_square_from_m: Option<f64>,
    /// The beam far away; two planes where these differ.
    pub beams: Vec<Beam>,
    /// Shadow edges and the source they speak of.
    pub edges: Vec<EdgeAt>,
    /// Greatest minus least reading over the figure, stops.
    pub evenness_stops: Option<f64>,
    /// The light, for drawings.
    #[serde(skip)]
    pub shine: Shine,
}

/// A share of the lamp's light.
#[allow(missing_docs)]
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Share {
    pub to: &'static str,
    pub share: f64,
}

/// Light on the axis, on a plane that faces the modifier.
#[allow(missing_docs)]
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct OnAxis {
    pub distance_m: f64,
    /// For [`EXPOSURE_FOR_LM_S`].
    pub exposure_lx_s: f64,
    /// For [`F_NUMBER_FOR_LM_S`].
    pub f_number: Option<f64>,
    /// Over what the far intensity would give by the inverse square.
    pub of_inverse_square: Option<f64>,
}

/// The shadow of a straight edge, on the axis.
#[allow(missing_docs)]
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct EdgeAt {
    pub distance_m: f64,
    pub edge_least_mm: f64,
    pub edge_greatest_mm: f64,
    /// Diameter of the even disk with the same edge.
    pub source_least_m: Option<f64>,
    pub source_greatest_m: Option<f64>,
    pub encircled_90_m: f64,
}

/// The spreads a page goes through: only `wanted` if given, one where nothing travels.
pub fn spreads(modifier: &Modifier, wanted: Option<f64>) -> Vec<f64> {
    match wanted {
        _ if modifier.travel.is_none() => vec![0.0],
        Some(spread) => vec![spread],
        None => (0..SETTINGS)
            .map(|k| k as f64 / (SETTINGS - 1) as f64)
            .collect(),
    }
}

/// The page at these spreads. `shine` gives the modifier's light, traced where need be; `done` is
/// told after each setting how many are.
pub fn modifier_page(
    modifier: &Modifier,
    spreads: &[f64],
    shine: &dyn Fn(&Modifier, f64) -> Shine,
    done: &mut dyn FnMut(usize),
) -> ModifierPage {
    let mut settings = Vec::new();
    for (k, &spread) in spreads.iter().enumerate() {
        settings.push(setting(modifier, spread, shine(modifier, spread)));
        done(k + 1);
    }
    ModifierPage {
        modifier: modifier.name.clone(),
        title: modifier.title.clone(),
        kind: modifier.kind.word(),
        face_m: modifier.kind.face_m(),
        scale: modifier.scale.as_ref().map(|s| s.name.clone()),
        travels: modifier.travel.is_some(),
        geometry: Geometry {
            exposure_for_lm_s: EXPOSURE_FOR_LM_S,
            f_number_for_lm_s: F_NUMBER_FOR_LM_S,
            iso: 100.0,
            flat_constant: MeterConstants::default().flat,
            edge_before_receiver_m: EDGE_DISTANCE_M,
            figure_at_m: FIGURE_AT_M,
            hem_chest_face_m: HEM_CHEST_FACE_M,
        },
        settings,
    }
}

/// A modifier's figures at one spread.
pub fn setting(modifier: &Modifier, spread: f64, shine: Shine) -> Setting {
    let view = View::new(&shine, modifier);
    let on_axis = |view: &View<'_>, d: f64| view.illuminance_lx(DVec3::Z * d, DVec3::NEG_Z);
    let beams = beams(&shine, modifier, &view.coarser());
    let far_cd = view.intensity_cd(DVec3::Z);
    let axis: Vec<OnAxis> = AXIS_M
        .par_iter()
        .map(|&d| {
            let lux = on_axis(&view, d);
            OnAxis {
                distance_m: d,
                exposure_lx_s: EXPOSURE_FOR_LM_S * lux,
                f_number: f_number(F_NUMBER_FOR_LM_S * lux),
                of_inverse_square: (far_cd > 0.0).then(|| lux * d * d / far_cd),
            }
        })
        .collect();
    let edges = EDGES_M
        .par_iter()
        .filter_map(|&d| edge_at(&view, d))
        .collect();
    let coarser = view.coarser();
    let summing_error_rel = axis
        .iter()
        .filter(|a| a.exposure_lx_s > 0.0)
        .map(|a| {
            (EXPOSURE_FOR_LM_S * on_axis(&coarser, a.distance_m) / a.exposure_lx_s - 1.0).abs()
        })
        .fold(0.0, f64::max);
    let efficiency = match (modifier.skirt_m, modifier.cover) {
        (None, None) => shine.efficiency(),
        _ => view.flux_lm(),
    };
    let fall = stops_between(axis[1].exposure_lx_s, axis[3].exposure_lx_s);
    Setting {
        spread: modifier.travel.map(|_| spread),
        mark: modifier
            .travel
            .and_then(|_| modifier.mark_of_spread(spread)),
        efficiency,
        account: account(&shine, efficiency),
        table_error_rel: shine.table_error.map(|e| e.flux_weighted_rel),
        summing_error_rel,
        fall_2_to_4_m_stops: fall.is_finite().then_some(fall.abs()),
        inverse_square_from_m: inverse_square_from_m(&view, far_cd),
        axis,
        beams,
        edges,
        evenness_stops: evenness(&view),
        shine,
    }
}

fn f_number(exposure_lx_s: f64) -> Option<f64> {
    fnumber_from_exposure(exposure_lx_s, 100.0, MeterConstants::default().flat).map(|n| n.value())
}

fn edge_at(view: &View<'_>, distance_m: f64) -> Option<EdgeAt> {
    let Shadow {
        least_mm,
        greatest_mm,
        least_source_m,
        greatest_source_m,
        encircled_m,
    } = shadow(view, DVec3::Z * distance_m, EDGE_DISTANCE_M)?;
    Some(EdgeAt {
        distance_m,
        edge_least_mm: least_mm,
        edge_greatest_mm: greatest_mm,
        source_least_m: least_source_m,
        source_greatest_m: greatest_source_m,
        encircled_90_m: encircled_m,
    })
}

/// Over the figure, on planes that face the way the light comes from.
fn evenness(view: &View<'_>) -> Option<f64> {
    let [hem, chest, face] = HEM_CHEST_FACE_M;
    let readings: Vec<f64> = (0..=HEIGHTS)
        .into_par_iter()
        .map(|k| {
            let height = hem + (face - hem) * k as f64 / HEIGHTS as f64;
            view.illuminance_lx(DVec3::new(0.0, height - chest, FIGURE_AT_M), DVec3::NEG_Z)
        })
        .collect();
    evenness_stops(&readings)
}

/// From where on light follows the inverse square; walked from far in, by steps of 5 %.
fn inverse_square_from_m(view: &View<'_>, far_cd: f64) -> Option<f64> {
    if far_cd <= 0.0 {
        return None;
    }
    let departs = |d: f64| {
        let lux = view.illuminance_lx(DVec3::Z * d, DVec3::NEG_Z);
        (lux * d * d / far_cd - 1.0).abs() > NEAR_ENOUGH
    };
    let (farthest, nearest) = (FARTHEST_M, 0.3);
    let steps = ((farthest / nearest).ln() / 1.05_f64.ln()) as i32;
    let first = (0..=steps)
        .map(|k| farthest / 1.05_f64.powi(k))
        .find(|d| departs(*d));
    match first {
        None => Some(nearest),
        Some(d) if d < farthest => Some(d * 1.05_f64.sqrt()),
        Some(_) => None,
    }
}

/// Where the lamp's light goes, by names; what grid, skirt and cover take is a share too.
fn account(shine: &Shine, efficiency: f64) -> Vec<Share> {
    let Some(a) = shine.account else {
        return Vec::new();
    };
    let Account {
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
    } = a;
    let held = out + back - efficiency;
    [
        ("front", out - held),
        ("back", back),
        ("wall", wall),
        ("lamp", lamp),
        ("housing", housing + head),
        ("plate", plate),
        ("cloth", cloth),
        ("lens", lens),
        ("grid, skirt, cover", held),
        ("past the rim", spill),
    ]
    .into_iter()
    .filter(|(_, share)| *share > 5e-5)
    .map(|(to, share)| Share { to, share })
    .collect()
}
