//! A stand-in for what setups refer to by name: one figure of simple capsules, a few garments and
//! fabrics, and the modifier files of `models/modifiers/`.

// Each test file takes this module whole and uses its own part of it.
#![allow(dead_code)]

use std::path::{Path, PathBuf};

use glam::DVec3;
use swatchlight::setup::{
    Capsule, FigureFacts, FigureSpec, Library, ModifierText, PhotometricFile, UnknownName,
};

pub struct Fake;

const GARMENTS: [&str; 6] = [
    "shift",
    "fit-and-flare-dress",
    "slip-dress",
    "suit-trousers",
    "cotton-shirt",
    "wool-jumper",
];

const FABRICS: [&str; 8] = [
    "linen-slub",
    "cotton-plain",
    "silk-satin",
    "cotton-sateen",
    "poplin",
    "wool-suiting",
    "wool-flannel",
    "single-jersey",
];

/// The project's `models/` folder.
pub fn models() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("models")
}

fn one_of(what: &'static str, name: &str, known: &[&str]) -> Result<(), UnknownName> {
    if known.contains(&name) {
        return Ok(());
    }
    Err(UnknownName {
        what,
        name: name.to_owned(),
        known: known.iter().map(|k| (*k).to_owned()).collect(),
        detail: String::new(),
    })
}

impl Library for Fake {
    fn figure(&self, spec: &FigureSpec) -> Result<FigureFacts, UnknownName> {
        one_of(
            "figure",
            &spec.model,
            &["woman", "man", "woman-curls", "woman-tied-back"],
        )?;
        one_of("pose", &spec.pose, &["front", "walking"])?;
        for worn in &spec.garments {
            one_of("garment", &worn.garment, &GARMENTS)?;
        }
        if let Some(skin) = &spec.looks.skin {
            one_of("skin", skin, &["light", "dark"])?;
        }
        let points = [
            ("eyes", [0.03, 1.65, 0.09]),
            ("face", [0.03, 1.6, 0.1]),
            ("chin", [0.03, 1.55, 0.09]),
            ("left-cheek", [-0.01, 1.62, 0.08]),
            ("right-cheek", [0.08, 1.62, 0.07]),
            ("chest", [0.02, 1.3, 0.12]),
            ("waist", [0.01, 1.11, 0.12]),
            ("hip", [0.02, 0.9, 0.14]),
            ("knee", [-0.08, 0.48, 0.16]),
            ("hem", [0.0, 0.57, 0.2]),
        ];
        let capsule = |a: [f64; 3], b: [f64; 3], radius_m: f64| Capsule {
            a_m: a.into(),
            b_m: b.into(),
            radius_m,
        };
        Ok(FigureFacts {
            height_m: 1.76,
            body_points_m: points
                .into_iter()
                .map(|(name, p)| (name.to_owned(), DVec3::from_array(p)))
                .collect(),
            blocks: vec![
                capsule([0.03, 1.67, -0.01], [0.03, 1.6, 0.01], 0.085),
                capsule([-0.06, 1.3, -0.02], [0.09, 1.3, -0.02], 0.115),
                capsule([-0.05, 1.14, 0.0], [0.09, 0.92, -0.01], 0.13),
                capsule([0.03, 0.9, 0.0], [0.02, 0.7, 0.0], 0.2),
                capsule([0.24, 1.4, -0.03], [0.28, 0.75, 0.05], 0.05),
                capsule([-0.22, 1.4, -0.03], [-0.28, 0.75, 0.05], 0.05),
                capsule([0.1, 0.7, 0.0], [0.06, 0.05, 0.05], 0.07),
                capsule([-0.07, 0.7, 0.0], [-0.08, 0.05, 0.1], 0.07),
            ],
        })
    }

    fn fabric(&self, name: &str) -> Result<(), UnknownName> {
        one_of("fabric", name, &FABRICS)
    }

    fn modifier(&self, name: &str) -> Result<ModifierText, UnknownName> {
        // Only bare names: a test must not wander off into the disk.
        let path = models().join("modifiers").join(format!("{name}.toml"));
        let text = if name.contains(['/', '\\', '.']) {
            None
        } else {
            std::fs::read_to_string(path).ok()
        };
        text.map(|text| ModifierText {
            text,
            display_path: format!("models/modifiers/{name}.toml"),
        })
        .ok_or_else(|| UnknownName {
            what: "modifier",
            name: name.to_owned(),
            known: vec![
                "flat-panel-120x180".to_owned(),
                "round-panel-120".to_owned(),
            ],
            detail: String::new(),
        })
    }

    fn far_field(&self, file: &str, _called: Option<&str>) -> Result<PhotometricFile, UnknownName> {
        let path = models().join("modifiers").join(file);
        let bytes = (!file.contains(['/', '\\']))
            .then(|| std::fs::read(path).ok())
            .flatten();
        bytes
            .map(|bytes| PhotometricFile {
                bytes,
                display_path: format!("models/modifiers/{file}"),
            })
            .ok_or_else(|| UnknownName {
                what: "photometric file",
                name: file.to_owned(),
                known: Vec::new(),
                detail: String::new(),
            })
    }
}
