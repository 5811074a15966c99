//! What may still change of a scene that is built: the camera, the meters, the flats' light, the mix.

use super::builder::{Lens, record};
use super::records::*;
use super::{FlatRadiance, Scene};

impl Scene {
    /// Points the camera.
    pub fn set_lens(&mut self, lens: &Lens) {
        let p = &mut self.params;
        p.lens_centre = record(lens.centre_m.as_vec3());
        p.right = record(lens.right.as_vec3());
        p.up = record(lens.up.as_vec3());
        p.forward = record(lens.forward.as_vec3());
        p.image_distance_m = lens.image_distance_m as f32;
        p.focus_distance_m = lens.focus_distance_m as f32;
        p.lens_radius_m = lens.radius_m as f32;
        p.sensor_width_m = lens.picture_m[0] as f32;
        p.sensor_height_m = lens.picture_m[1] as f32;
        p.shift_x_m = lens.shift_m[0] as f32;
        p.shift_y_m = lens.shift_m[1] as f32;
        p.width = lens.pixels[0];
        p.height = lens.pixels[1];
        p.pixel_rad = p.sensor_width_m / (p.image_distance_m * p.width.max(1) as f32);
        p.low_pass_px = 0.0;
    }

    /// Lets the picture's pixels see cloth as a sensor's do, once the lens is set: threads fade at
    /// `SENSOR_FADE` of the footprint that they fade at in a picture that is only to look smooth, so that
    /// what a pixel's own area leaves of them shows, folded where it is too fine. `low_pass`: through a sheet
    /// that splits each ray into four, one pixel apart (see `LowPass` in `measure::moire`).
    pub fn sample_as_sensor(&mut self, low_pass: bool) {
        self.params.pixel_rad *= SENSOR_FADE;
        self.params.low_pass_px = if low_pass { 1.0 } else { 0.0 };
    }

    /// Replaces the meters.
    pub fn set_receptors(&mut self, receptors: Vec<Receptor>) {
        self.params.point_count = receptors.len() as u32;
        self.receptors = receptors;
    }

    /// Gives each flat the light that leaves it.
    pub fn set_bounce(&mut self, radiance: &[FlatRadiance]) {
        // Filled before: the cells' texels are the last ones.
        if let Some(first) = self.bounce_texels {
            self.texels.truncate(first);
        }
        self.bounce_texels = Some(self.texels.len());
        self.params.branches = GATHER_BRANCHES;
        for (flat, cells) in self.flats.iter().zip(radiance) {
            self.materials[flat.material as usize].bounce = self.texels.len() as u32;
            self.texels
                .extend(cells.iter().flatten().map(|c| [c[0], c[1], c[2], 0.0]));
        }
    }

    /// Forgets the light that leaves the flats: paths are followed in full.
    pub fn clear_bounce(&mut self) {
        for flat in &self.flats {
            self.materials[flat.material as usize].bounce = NOTHING.0;
        }
        self.params.branches = 1;
    }

    /// Sets what one unit of each layer weighs in the mix, by channel (linear sRGB, the light's
    /// colour times its amount), which steers sampling and the estimate of noise. All else is the same for
    /// any mix.
    ///
    /// # Panics
    /// When there is not one weight a layer.
    pub fn set_mix(&mut self, weights: &[[f64; 3]]) {
        assert_eq!(weights.len(), self.layers.len(), "one weight a layer");
        // BT.709 luminance weights.
        let luminance = [0.212_639, 0.715_169, 0.072_192];
        self.mix = weights
            .iter()
            .map(|w| std::array::from_fn(|c| (w[c] * luminance[c]) as f32))
            .collect();
        let most = self
            .mix
            .iter()
            .map(|m| m.iter().sum::<f32>())
            .fold(0.0, f32::max);
        for e in &mut self.emitters {
            let of_layer: f32 = self.mix[e.layer as usize].iter().sum();
            // A light that is off is still sampled a little: its layer must not be empty.
            e.weight = if most > 0.0 {
                (of_layer / most).max(1e-3)
            } else {
                1.0
            };
        }
    }
}

/// At two pixels to a thread, where a pixel's area leaves nothing, 94 % of the threads still count; at
/// four, none that could be seen.
const SENSOR_FADE: f32 = 0.25;

/// Paths that go on from each first place once the flats are known. A path then costs a ray or two,
/// against a ray and one a light for the place itself, and carries nearly all of the noise: eight give
/// the least error for the time (measured; DEVELOPERS.md).
const GATHER_BRANCHES: u32 = 8;
