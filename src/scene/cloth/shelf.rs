//! What was worked out of cloths, kept for the next run ([`crate::scene::kept`]): half a second of work for each.

use super::survey::places;
use super::{
    ClothRecord, Dye, Family, HAIRS_MEAN, Laid, ROWS, SIDE, Survey, finish, lay, work_out,
};
use crate::fabric::{Fabric, FabricError};
use crate::scene::kept::{Kept, Key, Kind};
use sha2::{Digest, Sha256};
use std::path::{Path, PathBuf};

/// Raised whenever other things are kept, or in another order. (A change of the kernels' text or of the code
/// here that works a cloth out needs no raising: both are in the key.)
pub const CLOTH_VERSION: u32 = 3;

const KIND: Kind = Kind {
    ending: "cloth",
    magic: b"swatchlight clt\n",
    most_bytes: 64 << 20,
};

/// All that makes a cloth's tables out of its numbers.
const SOURCES: [&str; 24] = [
    include_str!("../cloth.rs"),
    include_str!("far.rs"),
    include_str!("seen.rs"),
    include_str!("survey.rs"),
    include_str!("hairs.rs"),
    include_str!("../../../shaders/core/cloth.wgsl"),
    include_str!("../../../shaders/core/corduroy.wgsl"),
    include_str!("../../../shaders/core/geometry.wgsl"),
    include_str!("../../../shaders/core/hairs.wgsl"),
    include_str!("../../../shaders/core/knit.wgsl"),
    include_str!("../../../shaders/core/lace.wgsl"),
    include_str!("../../../shaders/core/leather.wgsl"),
    include_str!("../../../shaders/core/maps.wgsl"),
    include_str!("../../../shaders/core/net.wgsl"),
    include_str!("../../../shaders/core/noise.wgsl"),
    include_str!("../../../shaders/core/random.wgsl"),
    include_str!("../../../shaders/core/sequins.wgsl"),
    include_str!("../../../shaders/core/surface.wgsl"),
    include_str!("../../../shaders/core/thread.wgsl"),
    include_str!("../../../shaders/core/types.wgsl"),
    include_str!("../../../shaders/core/velvet.wgsl"),
    include_str!("../../../shaders/core/weave.wgsl"),
    include_str!("../../../shaders/core/yarn.wgsl"),
    env!("CARGO_PKG_VERSION"),
];

/// Texels of a cloth after its rows: what light is to be raised by, the far table, what near is raised by.
const AFTER: usize = SIDE * SIDE + 2 * SIDE.pow(4);
/// Numbers of a survey but its places.
const SURVEYED: usize = OWN + 2 * FAMILY;
const OWN: usize = 17;
const FAMILY: usize = 11;

/// Where cloths are kept: in a folder, or nowhere.
#[derive(Debug, Clone)]
pub struct Shelf(Kept);

impl Default for Shelf {
    /// Nowhere.
    fn default() -> Self {
        Self::new(None)
    }
}

impl Shelf {
    /// In `folder` (made when it is first written to), or nowhere.
    pub fn new(folder: Option<PathBuf>) -> Self {
        Self(Kept::new(folder, KIND))
    }

    /// Looks into these folders first.
    #[must_use]
    pub fn looking_into(self, folders: &[PathBuf]) -> Self {
        self.0.look_into(folders);
        self
    }

    /// Where what is new is kept.
    pub fn folder(&self) -> Option<&Path> {
        self.0.folder()
    }

    /// Files kept, and their bytes.
    pub fn kept(&self) -> (usize, u64) {
        self.0.tally()
    }

    /// Whether a cloth need not be worked out any more.
    ///
    /// # Errors
    /// As [`super::add`].
    pub fn knows(&self, fabric: &Fabric, dye: Dye) -> Result<bool, FabricError> {
        let mut texels = Vec::new();
        let laid = lay(fabric, dye, &mut texels)?;
        let kept = self.0.read(&key_of(fabric, laid, &texels, 0));
        Ok(kept.is_some_and(|bytes| put(&bytes, laid, &mut texels).is_some()))
    }

    /// As [`super::add`], from what was kept of the same cloth, to the bit; what had to be worked out is kept.
    ///
    /// # Errors
    /// As [`super::add`].
    pub fn add(
        &self,
        fabric: &Fabric,
        dye: Dye,
        texels: &mut Vec<[f32; 4]>,
    ) -> Result<ClothRecord, FabricError> {
        let before = texels.len();
        let laid = lay(fabric, dye, texels)?;
        let key = key_of(fabric, laid, &texels[before..], before);
        let kept = self.0.read(&key);
        let survey = kept.and_then(|bytes| put(&bytes, laid, texels));
        let survey = survey.unwrap_or_else(|| {
            let survey = work_out(fabric, laid, texels);
            // A cache that cannot be written costs time at the next run, and nothing else.
            let _ = self.0.write(&key, &encode(laid, &survey, texels));
            survey
        });
        Ok(finish(fabric, laid, survey, texels))
    }
}

/// The hash of what a cloth's tables are worked out from: its texels, wherever they lie, and the code.
fn key_of(fabric: &Fabric, laid: Laid, texels: &[[f32; 4]], before: usize) -> Key {
    let mut hash = Sha256::new();
    hash.update(CLOTH_VERSION.to_le_bytes());
    for text in SOURCES {
        hash.update((text.len() as u64).to_le_bytes());
        hash.update(text);
    }
    let shading = fabric.structure.shading();
    hash.update(format!(
        "{shading:?} {:?} {:?}",
        fabric.light, fabric.behind
    ));
    let mut own = texels.to_vec();
    for (row, column) in POINTERS {
        let pointer = &mut own[laid.first - before + row][column];
        // Below 0 none; a whole number either way.
        if *pointer >= 0.0 {
            *pointer -= before as f32;
        }
    }
    hash.update(bytemuck::cast_slice(&own));
    hash.finalize().into()
}

/// Row and column of what names places among the texels, set before a cloth is worked out.
const POINTERS: [(usize, usize); 2] = [(0, 1), (7, 1)];
/// The same, set while it is.
const TABLE: (usize, usize) = (7, 0);

fn encode(laid: Laid, survey: &Survey, texels: &[[f32; 4]]) -> Vec<u8> {
    let mut out = Vec::new();
    for number in numbers(survey) {
        out.extend(number.to_le_bytes());
    }
    let hairs = laid.hairs.map_or([0.0; 4], |h| texels[h + HAIRS_MEAN]);
    for texel in std::iter::once(&hairs).chain(&texels[laid.first..]) {
        texel.iter().for_each(|v| out.extend(v.to_le_bytes()));
    }
    out
}

/// Puts what was kept in place; `None`, and nothing changed, where it is not whole.
fn put(bytes: &[u8], laid: Laid, texels: &mut Vec<[f32; 4]>) -> Option<Survey> {
    let (head, rest) = bytes.split_at_checked(8 * SURVEYED)?;
    let numbers: Vec<f64> = head
        .as_chunks()
        .0
        .iter()
        .map(|b| f64::from_le_bytes(*b))
        .collect();
    let (singles, left) = rest.as_chunks::<4>();
    let singles: Vec<f32> = singles.iter().map(|b| f32::from_le_bytes(*b)).collect();
    let (found, over) = singles.as_chunks::<4>();
    if found.len() != 1 + ROWS + AFTER || !left.is_empty() || !over.is_empty() {
        return None;
    }
    let survey = survey_of(numbers.try_into().ok()?);
    if let Some(hairs) = laid.hairs {
        texels[hairs + HAIRS_MEAN] = found[0];
    }
    let (rows, after) = found[1..].split_at(ROWS);
    let own = POINTERS.map(|(row, column)| texels[laid.first + row][column]);
    texels.truncate(laid.first);
    texels.extend(rows);
    for ((row, column), pointer) in POINTERS.into_iter().zip(own) {
        texels[laid.first + row][column] = pointer;
    }
    texels[laid.first + TABLE.0][TABLE.1] = texels.len() as f32;
    texels.extend(after);
    Some(survey)
}

/// A survey as numbers; its places are always the same.
fn numbers(s: &Survey) -> [f64; SURVEYED] {
    let family = |f: &Family| -> [f64; FAMILY] {
        let [red, green, blue] = f.colour;
        let ([x, y], [one, two], [wide, other]) = (f.direction, f.means_rad, f.spreads_rad);
        [
            f.share,
            red,
            green,
            blue,
            x,
            y,
            f.first_part,
            one,
            two,
            wide,
            other,
        ]
    };
    let [red, green, blue] = s.mean_colour;
    let ([x, y], [low, high]) = (s.mean_slope, s.heights_mm);
    let [xx, yy, zz, xy, xz, yz] = s.pile_fibres;
    let own: [f64; OWN] = [
        s.cover,
        red,
        green,
        blue,
        s.pile,
        x,
        y,
        s.slope_variance,
        s.blur,
        low,
        high,
        xx,
        yy,
        zz,
        xy,
        xz,
        yz,
    ];
    let mut all = own.into_iter();
    let mut yarns = family(&s.warp).into_iter().chain(family(&s.weft));
    std::array::from_fn(|_| all.next().or_else(|| yarns.next()).unwrap_or_default())
}

/// The other way.
fn survey_of(numbers: [f64; SURVEYED]) -> Survey {
    let (own, yarns) = numbers.split_at(OWN);
    let family = |f: &[f64]| Family {
        share: f[0],
        colour: [f[1], f[2], f[3]],
        direction: [f[4], f[5]],
        first_part: f[6],
        means_rad: [f[7], f[8]],
        spreads_rad: [f[9], f[10]],
    };
    Survey {
        cover: own[0],
        mean_colour: [own[1], own[2], own[3]],
        pile: own[4],
        mean_slope: [own[5], own[6]],
        slope_variance: own[7],
        blur: own[8],
        heights_mm: [own[9], own[10]],
        pile_fibres: std::array::from_fn(|i| own[11 + i]),
        warp: family(&yarns[..FAMILY]),
        weft: family(&yarns[FAMILY..]),
        places: places(),
    }
}
