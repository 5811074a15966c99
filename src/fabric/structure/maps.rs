//! A cloth known by pictures, as `shaders/core/maps.wgsl` reads it.

use super::{Form, ReadFile};
use crate::fabric::FabricError;
use crate::fabric::maps::{MapSet, Maps, Picture, Pictures};

/// Maps with their pictures.
#[derive(Debug, Clone, PartialEq)]
pub struct Pictured {
    /// What the file says.
    pub maps: Maps,
    /// What the pictures say.
    pub set: MapSet,
}

/// Reflectance of a cloth whose maps have no colour.
const UNDYED: f32 = 0.5;

impl Pictured {
    /// Reads the pictures that the maps name.
    ///
    /// # Errors
    /// A file that cannot be read or is no picture, and what does not fit together.
    pub fn read(maps: &Maps, file: ReadFile<'_>) -> Result<Self, FabricError> {
        let say = |e: crate::fabric::maps::MapsError| FabricError::Text(e.to_string());
        maps.check().map_err(say)?;
        let read = |name: &Option<String>| name.as_ref().map(|n| decode(n, file)).transpose();
        let normal = read(&maps.normal)?;
        let height = read(&maps.height)?;
        let albedo = read(&maps.albedo)?;
        let opacity = read(&maps.opacity)?;
        let set = maps
            .assemble(&Pictures {
                normal: normal.as_ref().map(Decoded::picture),
                height: height.as_ref().map(Decoded::picture),
                albedo: albedo.as_ref().map(Decoded::picture),
                opacity: opacity.as_ref().map(Decoded::picture),
            })
            .map_err(say)?;
        Ok(Self {
            maps: maps.clone(),
            set,
        })
    }

    /// Puts the maps among the texels, from the cloth's lower edge up.
    pub fn pack(&self, texels: &mut Vec<[f32; 4]>) -> Form {
        let set = &self.set;
        let first = texels.len() as u32;
        let pitch_mm = set.pitch_mm() as f32;
        texels.push([set.width as f32, set.height as f32, 1.0 / pitch_mm, 0.0]);
        for row in (0..set.height).rev() {
            for at in row * set.width..(row + 1) * set.width {
                let (slope, height) = set
                    .relief
                    .as_ref()
                    .map_or(([0.0; 2], 0.0), |r| (r.slopes[at], r.heights_mm[at]));
                let opacity = set.opacity.as_ref().map_or(1.0, |o| o[at]);
                let [r, g, b] = set.albedo.as_ref().map_or([UNDYED; 3], |a| a[at]);
                texels.push([slope[0], slope[1], height, opacity]);
                texels.push([r, g, b, 0.0]);
            }
        }
        Form {
            first,
            // Maps show as long as a few of their texels are seen apart.
            pitch_mm: 4.0 * pitch_mm,
            low_mm: 0.0,
            high_mm: set.relief.as_ref().map_or(0.0, |r| r.top_mm),
        }
    }
}

struct Decoded {
    width: usize,
    height: usize,
    rgb: Vec<[f32; 3]>,
}

impl Decoded {
    fn picture(&self) -> Picture<'_> {
        Picture {
            width: self.width,
            height: self.height,
            rgb: &self.rgb,
        }
    }
}

/// A picture's values as stored, 0 to 1.
fn decode(name: &str, file: ReadFile<'_>) -> Result<Decoded, FabricError> {
    let bytes = file(name).map_err(FabricError::Text)?;
    let picture = image::load_from_memory(&bytes)
        .map_err(|e| FabricError::Text(format!("{name}: {e}; give a PNG, JPEG or TIFF")))?
        .into_rgb32f();
    Ok(Decoded {
        width: picture.width() as usize,
        height: picture.height() as usize,
        rgb: picture.pixels().map(|p| p.0).collect(),
    })
}
