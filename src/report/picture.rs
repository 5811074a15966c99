//! The finished linear picture that the render layer hands over, and how it is developed.

use super::error::StillError;
pub use crate::photometry::exposure::Development;

/// A finished linear picture, or a band of full-width rows of one: a layer per light, and the
/// geometry layers. Row-major from the top left.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Picture {
    /// Pixels in a row.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// One layer per light; the picture is their sum.
    pub layers: Vec<Layer>,
    /// Linear reflectance of the first surface seen, sRGB primaries.
    pub albedo: Option<Vec<[f32; 3]>>,
    /// Unit normal of the first surface seen, in world axes.
    pub normal: Option<Vec<[f32; 3]>>,
    /// Distance from the camera to the first surface, metres.
    pub depth_m: Option<Vec<f32>>,
}

/// The light of one lamp as it falls on the picture.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Layer {
    /// The light's name, as in the setup.
    pub name: String,
    /// Luminance exposure in cd·s/m² as mixed now, linear with sRGB (Rec. 709) primaries.
    pub rgb: Vec<[f32; 3]>,
}

/// What a picture consists of, apart from its pixels: all bands of a picture share it, with the
/// height of the whole.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct PictureShape {
    /// Pixels in a row.
    pub width: u32,
    /// Rows of the whole picture.
    pub height: u32,
    /// Names of the lights, in the order of the layers.
    pub layer_names: Vec<String>,
    /// Whether the albedo layer is there.
    pub albedo: bool,
    /// Whether the normal layer is there.
    pub normal: bool,
    /// Whether the depth layer is there.
    pub depth: bool,
}

impl Picture {
    /// The shape of this picture taken as a whole.
    pub fn shape(&self) -> PictureShape {
        PictureShape {
            width: self.width,
            height: self.height,
            layer_names: self.layers.iter().map(|layer| layer.name.clone()).collect(),
            albedo: self.albedo.is_some(),
            normal: self.normal.is_some(),
            depth: self.depth_m.is_some(),
        }
    }

    /// The sum of all layers at a pixel, in double precision so that the order and the number of
    /// lights leave no trace in the picture. cd·s/m².
    pub fn total(&self, index: usize) -> [f64; 3] {
        let mut sum = [0.0; 3];
        for layer in &self.layers {
            for (channel, value) in sum.iter_mut().zip(layer.rgb[index]) {
                *channel += f64::from(value);
            }
        }
        sum
    }

    /// Checks that every layer has a value for each pixel.
    ///
    /// # Errors
    /// [`StillError::Mismatch`] names the first layer that has not.
    pub fn check(&self) -> Result<(), StillError> {
        let pixels = self.width as usize * self.height as usize;
        let lights = self
            .layers
            .iter()
            .map(|layer| (layer.name.as_str(), layer.rgb.len()));
        let geometry = [
            ("albedo", self.albedo.as_ref().map(Vec::len)),
            ("normal", self.normal.as_ref().map(Vec::len)),
            ("depth", self.depth_m.as_ref().map(Vec::len)),
        ];
        let geometry = geometry
            .into_iter()
            .filter_map(|(name, length)| Some((name, length?)));
        for (name, length) in lights.chain(geometry) {
            if length != pixels {
                return Err(StillError::Mismatch(format!(
                    "layer \"{name}\" has {length} pixels where {}x{} = {pixels} are needed",
                    self.width, self.height
                )));
            }
        }
        Ok(())
    }
}

impl PictureShape {
    /// Checks that `band` has this shape's width and layers and fits in from `first_row` on.
    pub(super) fn check_band(&self, first_row: u32, band: &Picture) -> Result<(), StillError> {
        band.check()?;
        let as_whole = PictureShape {
            height: self.height,
            ..band.shape()
        };
        if as_whole != *self {
            return Err(StillError::Mismatch(format!(
                "the band from row {first_row} on has other layers or another width than the picture"
            )));
        }
        if u64::from(first_row) + u64::from(band.height) > u64::from(self.height) {
            return Err(StillError::Mismatch(format!(
                "the band of {} rows from row {first_row} on reaches below the picture's {} rows",
                band.height, self.height
            )));
        }
        Ok(())
    }
}
