//! A fabric given by pictures: normal, height, albedo and opacity maps, with the real width of the
//! piece of cloth that they show.
//!
//! Pictures come in as arrays of what the files hold, 0 to 1, and go out as what light needs at
//! each texel: slopes, height in mm, albedo, opacity. Rows go from the top, x to the right and
//! **y up**, z out of the cloth. The pictures are taken as a tile that repeats.

mod error;
mod integrate;
mod multigrid;
mod picture;
mod relief;

pub use error::MapsError;
pub use integrate::heights_mm;
pub use multigrid::Edges;
pub use picture::{MOST_SIDE, Picture};
pub use relief::{Relief, ReliefNotes};

use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use crate::photometry::colour::transfer::srgb_decode;
use picture::resize;

/// Most texels of a set: 28 bytes each, and as much again while it is made.
pub const MOST_TEXELS: usize = 1 << 24;

/// The keys of a fabric file's `[maps]`. File names are for the caller to open.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub struct Maps {
    /// Width of the piece of cloth that the pictures show.
    pub width_mm: f64,
    /// File of the normal map.
    pub normal: Option<String>,
    /// Which way the normal map's green channel grows; needed with `normal`.
    pub green: Option<Green>,
    /// File of the height map: grey, white is high.
    pub height: Option<String>,
    /// Height of white over black; needed with `height`.
    pub height_full_mm: Option<f64>,
    /// File of the albedo map.
    pub albedo: Option<String>,
    /// How the albedo map is written; sRGB unless said otherwise.
    pub albedo_encoding: Option<Encoding>,
    /// File of the opacity map: grey, white hides what is behind.
    pub opacity: Option<String>,
}

/// Which way a normal map's green channel grows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Green {
    /// More green leans up in the picture.
    Up,
    /// More green leans down in the picture.
    Down,
}

/// How a picture's numbers stand for light.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Deserialize, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Encoding {
    /// Through the curve of IEC 61966-2-1.
    #[default]
    Srgb,
    /// In proportion.
    Linear,
}

/// The pictures of a set, as read: for each file that [`Maps`] names its values, 0 to 1.
#[derive(Debug, Clone, Copy, Default)]
pub struct Pictures<'a> {
    /// The normal map.
    pub normal: Option<Picture<'a>>,
    /// The height map.
    pub height: Option<Picture<'a>>,
    /// The albedo map.
    pub albedo: Option<Picture<'a>>,
    /// The opacity map.
    pub opacity: Option<Picture<'a>>,
}

/// A set of maps as light needs it, all of one size: that of the finest picture.
#[derive(Debug, Clone, PartialEq)]
pub struct MapSet {
    /// Texels across.
    pub width: usize,
    /// Texels down.
    pub height: usize,
    /// Width of the tile.
    pub width_mm: f64,
    /// Slopes and heights, where a normal or a height map was given.
    pub relief: Option<Relief>,
    /// Diffuse reflectance by linear channel.
    pub albedo: Option<Vec<[f32; 3]>>,
    /// 0 passes all light, 1 none.
    pub opacity: Option<Vec<f32>>,
}

impl Green {
    /// The code, 0 to 1, of a unit normal (x right, y up, z out of the cloth).
    pub fn encode(self, normal: [f32; 3]) -> [f32; 3] {
        let [x, y, z] = normal;
        [x, self.signed(y), z].map(|v| 0.5 + 0.5 * v)
    }

    /// The vector, of about unit length, that a code stands for.
    pub fn decode(self, code: [f32; 3]) -> [f32; 3] {
        let [x, y, z] = code.map(|v| 2.0 * v - 1.0);
        [x, self.signed(y), z]
    }

    fn signed(self, y: f32) -> f32 {
        match self {
            Green::Up => y,
            Green::Down => -y,
        }
    }
}

impl Maps {
    /// Checks the keys, as far as that goes without the pictures.
    ///
    /// # Errors
    /// The first thing that is wrong.
    pub fn check(&self) -> Result<(), MapsError> {
        let files = [
            ("normal", &self.normal),
            ("height", &self.height),
            ("albedo", &self.albedo),
            ("opacity", &self.opacity),
        ];
        if files.iter().all(|(_, file)| file.is_none()) {
            return Err(MapsError::Nothing);
        }
        for (map, file) in files {
            if file.as_ref().is_some_and(|name| name.trim().is_empty()) {
                return Err(MapsError::NoName { map });
            }
        }
        range("width_mm", self.width_mm, 0.1, 10_000.0)?;
        together(
            ("normal", self.normal.is_some()),
            ("green", self.green.is_some()),
            "green = \"up\" (or \"down\")",
        )?;
        together(
            ("height", self.height.is_some()),
            ("height_full_mm", self.height_full_mm.is_some()),
            "height_full_mm = 0.4 (what white stands for)",
        )?;
        if self.albedo.is_none() && self.albedo_encoding.is_some() {
            return Err(MapsError::Idle {
                given: "albedo_encoding",
                missing: "albedo",
            });
        }
        if let Some(value) = self.height_full_mm {
            range("height_full_mm", value, 0.001, 50.0)?;
        }
        Ok(())
    }

    /// Checks keys and pictures and makes of them what light needs.
    ///
    /// Slopes come from the normal map, or else from the height map by central differences;
    /// heights come from the height map, or else from the slopes by [`heights_mm`]. A mean slope
    /// is taken out of the normal map, since a tile has none.
    ///
    /// # Errors
    /// The first thing that is wrong with keys or pictures.
    pub fn assemble(&self, pictures: &Pictures) -> Result<MapSet, MapsError> {
        self.check()?;
        let size = self.common_size(pictures)?;
        let pitch_mm = self.width_mm / size[0] as f64;

        let normals = match (pictures.normal, self.green) {
            (Some(picture), Some(green)) => {
                let mut notes = ReliefNotes::default();
                let slopes = relief::from_normals(&picture, green, &mut notes);
                Some((resize(slopes, shape(&picture), size), notes))
            }
            _ => None,
        };
        let heights = match (pictures.height, self.height_full_mm) {
            (Some(picture), Some(full_mm)) => {
                let grey = resize(picture.grey("height")?, shape(&picture), size);
                let scaled = grey.into_par_iter().map(|[v]| v * full_mm as f32);
                Some(scaled.collect::<Vec<f32>>())
            }
            _ => None,
        };
        let albedo = match pictures.albedo {
            Some(picture) => {
                picture.check_values("albedo")?;
                let linear = match self.albedo_encoding.unwrap_or_default() {
                    Encoding::Srgb => decoded(&picture),
                    Encoding::Linear => picture.rgb.to_vec(),
                };
                Some(resize(linear, shape(&picture), size))
            }
            None => None,
        };
        let opacity = match pictures.opacity {
            Some(picture) => {
                let grey = resize(picture.grey("opacity")?, shape(&picture), size);
                Some(grey.into_par_iter().map(|[v]| v).collect())
            }
            None => None,
        };
        Ok(MapSet {
            width: size[0],
            height: size[1],
            width_mm: self.width_mm,
            relief: Relief::join(normals, heights, size, pitch_mm)?,
            albedo,
            opacity,
        })
    }

    /// Checks the pictures' sizes and gives that of the finest, across and down.
    fn common_size(&self, pictures: &Pictures) -> Result<[usize; 2], MapsError> {
        let all = [
            ("normal", self.normal.is_some(), pictures.normal),
            ("height", self.height.is_some(), pictures.height),
            ("albedo", self.albedo.is_some(), pictures.albedo),
            ("opacity", self.opacity.is_some(), pictures.opacity),
        ];
        let mut finest: Option<(&'static str, [usize; 2])> = None;
        for (map, named, picture) in all {
            if named != picture.is_some() {
                return Err(MapsError::Unmatched { map, named });
            }
            let Some(picture) = picture else { continue };
            picture.check(map)?;
            let size = shape(&picture);
            if let Some((other, other_size)) = finest {
                let (fine, coarse) = if size[0] > other_size[0] {
                    (size, other_size)
                } else {
                    (other_size, size)
                };
                // Whole pixels of the coarser picture are all that one shape can be held to.
                let rows = coarse[0] as f64 * fine[1] as f64 / fine[0] as f64;
                if (rows - coarse[1] as f64).abs() > 1.0 {
                    return Err(MapsError::Aspect {
                        map,
                        size,
                        other,
                        other_size,
                    });
                }
            }
            if finest.is_none_or(|(_, f)| size[0] * size[1] > f[0] * f[1]) {
                finest = Some((map, size));
            }
        }
        let (_, size) = finest.ok_or(MapsError::Nothing)?;
        let texels = size[0] * size[1];
        if texels > MOST_TEXELS {
            return Err(MapsError::TooLarge {
                texels,
                mebibytes: (texels * 56) >> 20,
                most: MOST_TEXELS,
            });
        }
        Ok(size)
    }
}

impl MapSet {
    /// From one texel's middle to the next one's.
    pub fn pitch_mm(&self) -> f64 {
        self.width_mm / self.width as f64
    }

    /// Height of the tile.
    pub fn height_mm(&self) -> f64 {
        self.pitch_mm() * self.height as f64
    }
}

/// Linear values of an sRGB picture.
fn decoded(picture: &Picture) -> Vec<[f32; 3]> {
    let linear = |v: f32| srgb_decode(f64::from(v)) as f32;
    picture.rgb.par_iter().map(|p| p.map(linear)).collect()
}

fn shape(picture: &Picture) -> [usize; 2] {
    [picture.width, picture.height]
}

fn range(key: &'static str, value: f64, low: f64, high: f64) -> Result<(), MapsError> {
    if (low..=high).contains(&value) {
        Ok(())
    } else {
        Err(MapsError::Range {
            key,
            value,
            low,
            high,
        })
    }
}

/// Checks that a picture and the key that explains it are there together or not at all.
fn together(
    picture: (&'static str, bool),
    key: (&'static str, bool),
    example: &'static str,
) -> Result<(), MapsError> {
    match (picture.1, key.1) {
        (true, false) => Err(MapsError::Missing {
            given: picture.0,
            missing: key.0,
            example,
        }),
        (false, true) => Err(MapsError::Idle {
            given: key.0,
            missing: picture.0,
        }),
        _ => Ok(()),
    }
}
