//! What follows from a fabric's file alone, by cloth geometry.

use crate::fabric::construction::{
    Count, System, YarnGeometry, cotton_cover_factor, tex_cover_factor,
};
use crate::fabric::draft::{StandardWeave, Yarn};
use crate::fabric::structure::WovenCloth;
use crate::fabric::structure::woven::Threads;
use crate::fabric::{Fabric, FabricError, Structure};
use serde::Serialize;

/// A woven cloth.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WovenFacts {
    /// See [`weave_word`].
    pub weave: String,
    /// Ends and picks after which it repeats.
    pub repeat: [usize; 2],
    /// The ends.
    pub warp: SystemFacts,
    /// The picks.
    pub weft: SystemFacts,
    /// Share that flattened threads hide, calculated.
    pub cover: f64,
    /// With crimp, before any finish.
    pub weight_g_m2: f64,
    /// From back to face.
    pub thickness_mm: f64,
}

/// Threads of one system.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SystemFacts {
    /// As the file has it.
    pub count: String,
    /// Of the whole yarn.
    pub count_tex: f64,
    /// What it is spun of.
    pub fibre: String,
    /// Threads to a centimetre.
    pub threads_per_cm: f64,
    /// Of the round yarn.
    pub diameter_mm: f64,
    /// Of the yarn as it lies.
    pub width_mm: f64,
    /// Length over the cloth's, less one.
    pub crimp: f64,
    /// Threads a centimetre times √tex over 10.
    pub tex_cover_factor: f64,
    /// Threads an inch over √Ne.
    pub cotton_cover_factor: f64,
    /// Threads passed.
    pub longest_float_on_face: usize,
    /// The same on the back.
    pub longest_float_on_back: usize,
}

/// A knit.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct KnitFacts {
    /// The yarn's, as the file has it.
    pub count: String,
    /// What it is spun of.
    pub fibre: String,
    /// Columns of loops.
    pub wales_per_cm: f64,
    /// Rows of loops.
    pub courses_per_cm: f64,
    /// Yarn in a loop.
    pub loop_length_mm: f64,
    /// Of the round yarn.
    pub diameter_mm: f64,
    /// Of the cloth.
    pub weight_g_m2: f64,
    /// Share that yarn hides, calculated.
    pub cover: f64,
}

/// What a rule would measure.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Dimension {
    /// Of what.
    pub what: &'static str,
    /// The number.
    pub value: f64,
    /// Its unit; empty for a count.
    pub unit: &'static str,
}

/// The structure's word: its table in a fabric's file.
pub fn structure_word(structure: &Structure) -> &'static str {
    match structure {
        Structure::Woven(_) => "woven",
        Structure::Jersey(_) => "jersey",
        Structure::Rib(_) => "rib",
        Structure::Net(_) => "net",
        Structure::Lace(_) => "lace",
        Structure::Velvet(_) => "velvet",
        Structure::Corduroy(_) => "corduroy",
        Structure::Leather(_) => "leather",
        Structure::Sequins(_) => "sequins",
        Structure::Maps(_) => "maps",
    }
}

/// A standard weave's name, a WIF file's, or "own grid".
pub fn weave_word(cloth: &WovenCloth) -> String {
    let spec = &cloth.spec;
    match (spec.wif_file(), StandardWeave::by_name(&spec.weave)) {
        (Some(file), _) => file.to_owned(),
        (None, Some(_)) => spec.weave.trim().to_lowercase(),
        (None, None) => "own grid".to_owned(),
    }
}

pub(super) fn woven(fabric: &Fabric) -> Result<Option<WovenFacts>, FabricError> {
    let Structure::Woven(cloth) = &fabric.structure else {
        return Ok(None);
    };
    let WovenCloth { spec, drafted } = &**cloth;
    let construction = spec.construction()?;
    let geometry = construction
        .geometry(&drafted.drawdown)
        .map_err(|e| FabricError::Text(e.to_string()))?;
    let repeat = drafted.drawdown.smallest_repeat();
    let system = |threads: &Threads, system: &System, yarn: &YarnGeometry, which: Yarn| {
        let floats = drafted.drawdown.floats(which);
        SystemFacts {
            count: threads.count.clone(),
            count_tex: system.count_tex,
            fibre: threads.fibre.clone(),
            threads_per_cm: system.threads_per_cm,
            diameter_mm: yarn.diameter_mm,
            width_mm: 2.0 * yarn.half_width_mm,
            crimp: yarn.crimp,
            tex_cover_factor: tex_cover_factor(system.threads_per_cm, system.count_tex),
            cotton_cover_factor: cotton_cover_factor(system.threads_per_cm, system.count_tex),
            longest_float_on_face: floats.longest_on_face,
            longest_float_on_back: floats.longest_on_back,
        }
    };
    Ok(Some(WovenFacts {
        weave: weave_word(cloth),
        repeat: [repeat.ends(), repeat.picks()],
        warp: system(&spec.warp, &construction.warp, &geometry.warp, Yarn::Warp),
        weft: system(&spec.weft, &construction.weft, &geometry.weft, Yarn::Weft),
        cover: geometry.cover,
        weight_g_m2: geometry.weight_g_m2,
        thickness_mm: geometry.thickness_mm(),
    }))
}

pub(super) fn knit(fabric: &Fabric) -> Result<Option<KnitFacts>, FabricError> {
    let (geometry, yarn) = match &fabric.structure {
        Structure::Jersey(s) => (s.geometry()?, &s.yarn),
        Structure::Rib(s) => (s.geometry()?, &s.yarn),
        _ => return Ok(None),
    };
    Ok(Some(KnitFacts {
        count: yarn.count.clone(),
        fibre: yarn.fibre.clone(),
        wales_per_cm: geometry.wales_per_cm,
        courses_per_cm: geometry.courses_per_cm,
        loop_length_mm: geometry.loop_length_mm,
        diameter_mm: geometry.diameter_mm,
        weight_g_m2: geometry.weight_g_m2,
        cover: geometry.cover,
    }))
}

pub(super) fn dimensions(fabric: &Fabric) -> Result<Vec<Dimension>, FabricError> {
    let list: Vec<(&'static str, f64, &'static str)> = match &fabric.structure {
        Structure::Woven(_) | Structure::Jersey(_) => Vec::new(),
        Structure::Rib(s) => vec![
            ("face wales, then purl wales", f64::from(s.wales), ""),
            ("ridge over valley", s.depth_mm, "mm"),
        ],
        Structure::Net(s) => vec![
            ("hole, side to side", s.hole_mm, "mm"),
            ("holes", s.holes_per_sqcm(), "per cm²"),
            ("yarn", Count::parse(&s.count).map_or(0.0, |c| c.tex), "tex"),
            ("yarn diameter", s.diameter_mm()?, "mm"),
            ("cover, calculated", 100.0 * s.cover()?, "%"),
            ("weight", s.weight_g_m2()?, "g/m²"),
        ],
        Structure::Lace(s) => vec![
            ("motif to motif", s.spacing_mm, "mm"),
            ("motifs", f64::from(s.motifs), ""),
            ("cord", s.cord_mm, "mm"),
            ("lines", s.line_mm, "mm"),
            ("threads of close work apart", s.thread_spacing_mm, "mm"),
            ("hole of the net, side to side", s.net.hole_mm, "mm"),
        ],
        Structure::Velvet(s) => vec![
            ("pile", s.pile_mm, "mm"),
            ("lean from upright", s.lean_deg, "°"),
            ("nap lies toward (270: down the cloth)", s.nap_deg, "°"),
            ("tufts", s.tufts_per_cm, "per cm"),
        ],
        Structure::Corduroy(s) => vec![
            ("wales", s.wales_per_inch, "per inch"),
            ("wale to wale", 25.4 / s.wales_per_inch, "mm"),
            ("cord over ground", s.pile_mm, "mm"),
            ("cord's share of the wale", 100.0 * s.cord_share, "%"),
            ("lean from upright", s.lean_deg, "°"),
            ("nap lies toward (270: down the cloth)", s.nap_deg, "°"),
        ],
        Structure::Leather(s) => vec![
            ("pebble", s.pebble_mm, "mm"),
            ("pebble across over along", s.pebble_stretch, ""),
            ("creases, deep", s.crease_mm, "mm"),
            ("pores apart", s.pore_spacing_mm, "mm"),
        ],
        Structure::Sequins(s) => vec![
            ("disc", s.disc_mm, "mm"),
            ("disc to disc in a row", s.spacing_mm, "mm"),
            ("row to row", s.row_mm, "mm"),
            ("lower edge hangs out", s.hang_deg, "°"),
        ],
        Structure::Maps(s) => vec![
            ("width of the maps", s.set.width_mm, "mm"),
            ("height of the maps", s.set.height_mm(), "mm"),
            ("texels across", s.set.width as f64, ""),
            ("texels", 1.0 / s.set.pitch_mm(), "per mm"),
            (
                "greatest height",
                s.set.relief.as_ref().map_or(0.0, |r| f64::from(r.top_mm)),
                "mm",
            ),
        ],
    };
    let dimension = |(what, value, unit)| Dimension { what, value, unit };
    Ok(list.into_iter().map(dimension).collect())
}

pub(super) fn warnings(fabric: &Fabric) -> Result<Vec<String>, FabricError> {
    Ok(match &fabric.structure {
        Structure::Woven(cloth) => {
            let faults = cloth.spec.construction()?.faults(&cloth.drafted.drawdown);
            let faults = faults.map_err(|e| FabricError::Text(e.to_string()))?;
            faults.iter().map(ToString::to_string).collect()
        }
        Structure::Maps(maps) => {
            let notes = maps
                .set
                .relief
                .as_ref()
                .map(|r| r.notes)
                .unwrap_or_default();
            let mut said = Vec::new();
            if notes.green_doubtful {
                said.push(
                    "the normal map fits one surface better with its green channel the other way \
                     round; try the other word for maps.green"
                        .to_owned(),
                );
            }
            if notes.flattened > 0 {
                said.push(format!(
                    "{} texels of the normal map are no normals and were taken as flat",
                    notes.flattened
                ));
            }
            if notes.steep > 0 {
                said.push(format!(
                    "{} texels of the normal map lean more than 85° and were taken as 85°",
                    notes.steep
                ));
            }
            said
        }
        _ => Vec::new(),
    })
}
