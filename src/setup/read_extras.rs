//! What is put on a modifier's front or taken off it, in its file or for one light: cloth, baffle,
//! grid, skirt and cover.

use super::keys;
use super::model::{CellShape, Cloth, Cover, CoverSide, Grid, Modifier, ModifierKind};
use super::problem::Kind;
use super::quantity::{Bad, CELL, CONE, LOSS, SKIRT, metres, tidy};
use super::reader::{Fault, Log, Table, Value, clip, type_name};
use super::values::{number, number_in, quantity, refuse, word};

/// The cell of a grid that is given by its angle alone; only the angle matters to its light.
const USUAL_CELL_M: f64 = 0.01;
const USUAL_OPEN: f64 = 0.95;
/// Large square cells as deep as they are wide (common practice).
const EGG_CRATE: Grid = Grid {
    cell_m: 0.05,
    depth_m: 0.05,
    shape: CellShape::Square,
    open_fraction: 0.96,
};
const USUAL_SIGMA: f64 = 0.25;
const USUAL_SHARE: f64 = 0.5;

pub(super) const SHAPES: [(&str, CellShape); 3] = [
    ("square", CellShape::Square),
    ("hex", CellShape::Hex),
    ("round", CellShape::Round),
];

pub(super) const COVER_SIDES: [(&str, CoverSide); 4] = [
    ("left", CoverSide::Left),
    ("right", CoverSide::Right),
    ("top", CoverSide::Top),
    ("bottom", CoverSide::Bottom),
];

/// The trade's three words. Their losses of ½, 1 and 1¾ stops are common practice; how the rest
/// splits is assumed (from memory), until measured.
pub(super) const CLOTHS: [(&str, Cloth); 3] = [
    (
        "light",
        Cloth {
            straight: 0.25,
            spread: 0.30,
            sigma: 0.25,
            scattered: 0.157,
            reflected: 0.25,
        },
    ),
    (
        "half",
        Cloth {
            straight: 0.05,
            spread: 0.20,
            sigma: 0.35,
            scattered: 0.25,
            reflected: 0.42,
        },
    ),
    (
        "full",
        Cloth {
            straight: 0.0,
            spread: 0.0,
            sigma: USUAL_SIGMA,
            scattered: 0.297,
            reflected: 0.60,
        },
    ),
];

/// What a table says of each: nothing, `Some(None)` for "none", or what is there.
#[derive(Debug, Default)]
pub(super) struct Extras {
    pub cloth: Option<Option<Cloth>>,
    pub baffle: Option<Option<Cloth>>,
    pub grid: Option<Option<Grid>>,
    pub skirt_m: Option<Option<f64>>,
    pub cover: Option<Option<Cover>>,
}

/// Reads the five keys of a modifier or a light.
pub(super) fn read_extras(log: &Log, t: &Table<'_>) -> Extras {
    Extras {
        cloth: or_none(t, "cloth", |v| read_cloth(log, t, "cloth", v)),
        baffle: or_none(t, "baffle", |v| read_cloth(log, t, "baffle", v)),
        grid: or_none(t, "grid", |v| read_grid(log, t, v)),
        skirt_m: or_none(t, "skirt", |_| t.read(log, "skirt", quantity(&SKIRT))),
        cover: or_none(t, "cover", |v| read_cover(log, t, v)),
    }
}

fn or_none<'t, T>(
    t: &Table<'t>,
    key: &str,
    read: impl FnOnce(Value<'t>) -> Option<T>,
) -> Option<Option<T>> {
    let value = t.get(key)?;
    let says_none = |s: &str| s.trim().eq_ignore_ascii_case("none");
    if value.get_ref().as_str().is_some_and(says_none) {
        return Some(None);
    }
    read(value).map(Some)
}

impl Extras {
    /// Puts them on the modifier, and reports those that its kind cannot take. `t` is the table
    /// they were read from.
    pub fn put_on(self, log: &Log, t: &Table<'_>, modifier: &mut Modifier) {
        // "none" is true of a kind that cannot take it; but a shoot-through cannot be without.
        let is_canopy = matches!(modifier.kind, ModifierKind::ShootThrough(_));
        let given = [
            (
                "cloth",
                is_canopy && self.cloth.is_some() || self.cloth.flatten().is_some(),
            ),
            ("baffle", self.baffle.flatten().is_some()),
            ("grid", self.grid.flatten().is_some()),
            ("skirt", self.skirt_m.flatten().is_some()),
            ("cover", self.cover.flatten().is_some()),
        ];
        for (key, _) in given.iter().filter(|(_, is_given)| *is_given) {
            if let Some((message, hint)) = refusal(&modifier.kind, key) {
                t.conflict(log, key, message, hint);
            }
        }
        if let (Some(Some(_)), ModifierKind::Umbrella(bowl)) = (&self.cloth, &modifier.kind) {
            let half_m = 0.5 * bowl.lamp.length_m;
            let at_m = [0.0, 1.0].map(|s| modifier.lamp_at_m(s).unwrap_or(0.0));
            if at_m.iter().any(|at| at + half_m > bowl.depth_m + 1e-6) {
                t.conflict(
                    log,
                    "cloth",
                    "its lamp stands in front of the rim, where the cloth would be",
                    format!(
                        "leave the cloth off, or put the lamp's middle at {} or nearer to the top",
                        metres(bowl.depth_m - half_m)
                    ),
                );
            }
        }
        modifier.cloth = self.cloth.unwrap_or(modifier.cloth);
        modifier.baffle = self.baffle.unwrap_or(modifier.baffle);
        modifier.grid = self.grid.unwrap_or(modifier.grid);
        modifier.skirt_m = self.skirt_m.unwrap_or(modifier.skirt_m);
        modifier.cover = self.cover.unwrap_or(modifier.cover);
    }
}

/// Whether a kind takes what one of the five keys puts on it.
pub(super) fn takes(kind: &ModifierKind, key: &str) -> bool {
    refusal(kind, key).is_none()
}

/// Why a kind cannot take one of them, and what to do.
fn refusal(kind: &ModifierKind, key: &str) -> Option<(String, String)> {
    let called = with_article(kind.word());
    let remove = format!("remove the {key}");
    if key == "baffle" {
        let box_like = matches!(
            kind,
            ModifierKind::Softbox(_) | ModifierKind::Octabox { .. }
        );
        return (!box_like).then(|| {
            (
                format!("{called} has no room for a baffle"),
                format!("{remove}: a softbox and an octabox take one"),
            )
        });
    }
    if !kind.has_front() {
        return Some((format!("{called} has no front to put a {key} on"), remove));
    }
    let scrim = "or hold a [[scrim]] before it";
    match (key, kind) {
        ("cloth", ModifierKind::ShootThrough(_)) => Some((
            "a shoot-through is made of its cloth".to_owned(),
            "remove the cloth here, and set cloth in the modifier".to_owned(),
        )),
        (_, ModifierKind::ShootThrough(_)) => Some((
            format!("a shoot-through bulges, so it has no flat front to put a {key} on"),
            remove,
        )),
        (
            "cloth",
            ModifierKind::Panel { .. } | ModifierKind::Disk { .. } | ModifierKind::Strip { .. },
        ) => Some((
            format!("{called} is an even, matt face already, whatever cloth it has"),
            format!("{remove}, {scrim}; a softbox takes a cloth"),
        )),
        (
            "cloth",
            ModifierKind::Spot { .. } | ModifierKind::LensSpot(_) | ModifierKind::Measured { .. },
        ) => Some((
            format!("{called} takes no cloth: it would not be one any more"),
            format!("{remove}, {scrim}"),
        )),
        _ => None,
    }
}

/// "a softbox", "an octabox".
pub(super) fn with_article(word: &str) -> String {
    let article = if word.starts_with(['a', 'e', 'i', 'o', 'u']) {
        "an"
    } else {
        "a"
    };
    format!("{article} {word}")
}

/// Reads a cloth under `key`: a word, stops, or shares.
pub(super) fn read_cloth(log: &Log, t: &Table<'_>, key: &str, value: Value<'_>) -> Option<Cloth> {
    if value.get_ref().is_table() {
        return read_cloth_shares(log, t, key, value);
    }
    let hint = "it can be \"none\", \"light\", \"half\", \"full\", a loss such as \"1 stop\", \
                or { spread = 0.2, sigma = 0.3, scattered = 0.3 }";
    t.read(log, key, |v| cloth_by_word(v, hint))
}

/// The words that a cloth before a light, or in a scrim, may be called by.
pub fn cloth_words() -> impl Iterator<Item = &'static str> {
    CLOTHS.iter().map(|(word, _)| *word)
}

/// A cloth by its word or by its loss in stops.
pub(super) fn cloth_by_word(value: Value<'_>, hint: &str) -> Result<Cloth, Fault> {
    let Some(written) = value.get_ref().as_str() else {
        return Err(Fault::new(
            Kind::WrongType,
            format!("must be a cloth, not {}", type_name(value)),
            hint,
        )
        .at(value));
    };
    if let Some((_, cloth)) = CLOTHS
        .iter()
        .find(|(w, _)| w.eq_ignore_ascii_case(written.trim()))
    {
        return Ok(*cloth);
    }
    if !written.contains(|c: char| c.is_ascii_digit()) {
        return Err(Fault::new(
            Kind::UnknownWord,
            format!("\"{}\" is not a cloth", clip(written)),
            hint,
        )
        .at(value));
    }
    // A cloth known only by its loss: all it passes is scattered, and half of the rest
    // comes back.
    let stops = (LOSS.parse)(written)
        .and_then(|s| LOSS.check(s))
        .map_err(|bad| Fault {
            hint: hint.to_owned(),
            ..refuse(bad, value)
        })?;
    let scattered = (-stops).exp2();
    Ok(Cloth {
        straight: 0.0,
        spread: 0.0,
        sigma: USUAL_SIGMA,
        scattered,
        reflected: (1.0 - scattered) / 2.0,
    })
}

fn read_cloth_shares(log: &Log, owner: &Table<'_>, key: &str, value: Value<'_>) -> Option<Cloth> {
    let label = format!("the {key} of {}", owner.label);
    let t = Table::open(log, owner.file, value, &keys::CLOTH, label)?;
    let before = log.error_count();
    let share = |key: &str| t.read(log, key, number_in(0.0, 1.0));
    let (straight, spread) = (share("straight"), share("spread"));
    let (scattered, reflected) = (share("scattered"), share("reflected"));
    let sigma = t.read(log, "sigma", number_in(0.01, 0.6));
    let mut cloth = Cloth {
        straight: straight.unwrap_or(0.0),
        spread: spread.unwrap_or(0.0),
        sigma: sigma.unwrap_or(USUAL_SIGMA),
        scattered: scattered.unwrap_or(0.0),
        reflected: 0.0,
    };
    cloth.reflected = reflected.unwrap_or(((1.0 - cloth.passed()) / 2.0).max(0.0));
    if log.error_count() > before {
        return None;
    }
    let all = cloth.passed() + cloth.reflected;
    let place = t.place();
    if all > 1.0 + 1e-9 {
        log.error(
            Kind::Conflict,
            &place,
            format!(
                "{}: it sends on {} of the light it gets",
                t.label,
                tidy(all)
            ),
            "straight, spread, scattered and reflected may come to 1 together",
        );
        return None;
    }
    if cloth.passed() < 0.001 {
        log.error(
            Kind::OutOfRange,
            &place,
            format!("{}: it passes no light", t.label),
            "write straight, spread or scattered; for a black cloth use cover",
        );
        return None;
    }
    Some(cloth)
}

/// Reads `grid`: "egg-crate", the full cut-off angle, or its cells.
fn read_grid(log: &Log, owner: &Table<'_>, value: Value<'_>) -> Option<Grid> {
    if let Some(written) = value.get_ref().as_str() {
        let simple = written.trim().to_lowercase().replace([' ', '_'], "-");
        if simple == "egg-crate" {
            return Some(EGG_CRATE);
        }
    }
    if !value.get_ref().is_table() {
        // The full angle within which light passes: twice the cut-off.
        let angle_rad = owner.read(log, "grid", quantity(&CONE))?;
        return Some(Grid {
            cell_m: USUAL_CELL_M,
            depth_m: USUAL_CELL_M / (angle_rad / 2.0).tan(),
            shape: CellShape::Hex,
            open_fraction: USUAL_OPEN,
        });
    }
    let label = format!("the grid of {}", owner.label);
    let t = Table::open(log, owner.file, value, &keys::GRID, label)?;
    let cell_m = t.require(log, "cell", quantity(&CELL));
    let depth_m = t.require(log, "depth", quantity(&CELL));
    let shape = t
        .read(log, "shape", word(&SHAPES))
        .unwrap_or(CellShape::Hex);
    let open_fraction = t.read(log, "open", open_share).unwrap_or(USUAL_OPEN);
    Some(Grid {
        cell_m: cell_m?,
        depth_m: depth_m?,
        shape,
        open_fraction,
    })
}

fn open_share(value: Value<'_>) -> Result<f64, Fault> {
    let n = number(value)?;
    if n > 0.0 && n <= 1.0 {
        return Ok(n);
    }
    Err(refuse(
        Bad {
            message: format!("{n} is out of range"),
            hint: "it can be over 0 and up to 1".to_owned(),
            out_of_range: true,
            span: None,
        },
        value,
    ))
}

fn read_cover(log: &Log, owner: &Table<'_>, value: Value<'_>) -> Option<Cover> {
    let label = format!("the cover of {}", owner.label);
    let t = Table::open(log, owner.file, value, &keys::COVER, label)?;
    let before = log.error_count();
    let side = t.require(log, "side", word(&COVER_SIDES));
    let share = t.read(log, "share", number_in(0.01, 0.99));
    if log.error_count() > before {
        return None;
    }
    Some(Cover {
        side: side?,
        share: share.unwrap_or(USUAL_SHARE),
    })
}
