//! The numbers that tell one head from another, in millimetres.

use crate::figure::person::Build;
use crate::figure::sdf::Table;

/// One head's proportions. Lengths in millimetres in the head's frame.
#[derive(Debug, Clone, Copy)]
pub struct Traits {
    /// How far the brow ridge stands out, 0 smooth to 1 marked.
    pub brow_ridge: f64,
    /// Half breadth of the jaw's axis at its angle.
    pub jaw_half: f64,
    /// Radius of the jaw about that axis.
    pub jaw_radius: f64,
    /// Blend width of the jaw: large is soft.
    pub jaw_blend: f64,
    /// Half breadth of the chin's flat.
    pub chin_half: f64,
    /// Height of the chin's middle.
    pub chin_y: f64,
    /// How far forward the chin's middle lies.
    pub chin_z: f64,
    /// Fullness of the lips, 1 full.
    pub lips: f64,
    /// Size of the nose about its root.
    pub nose: f64,
    /// Height of the bridge of the nose, 0 low to 1 high.
    pub bridge: f64,
    /// Opening of the lids over the pupil.
    pub lid_above: f64,
    /// Opening of the lids under the pupil.
    pub lid_below: f64,
    /// Fullness of the cheek, 0 lean to 1 round.
    pub cheek: f64,
    /// How far the brow lies below a woman's.
    pub brow_drop: f64,
    /// How broad the brow is, 1 a woman's.
    pub brow_weight: f64,
    /// Shadow of a shaved beard, 0 none to 1.
    pub beard: f64,
    /// Size of the ear.
    pub ear: f64,
}

impl Traits {
    /// The proportions of a build.
    pub fn of(build: Build) -> Self {
        match build {
            Build::Woman => Self {
                brow_ridge: 0.0,
                jaw_half: 30.5,
                jaw_radius: 6.4,
                jaw_blend: 24.0,
                chin_half: 6.5,
                chin_y: -90.0,
                chin_z: 77.0,
                lips: 1.0,
                nose: 0.92,
                bridge: 0.0,
                lid_above: 3.6,
                lid_below: 4.9,
                cheek: 1.0,
                brow_drop: 0.0,
                brow_weight: 1.0,
                beard: 0.0,
                ear: 0.97,
            },
            Build::Man => Self {
                brow_ridge: 0.8,
                jaw_half: 37.5,
                jaw_radius: 8.0,
                jaw_blend: 20.0,
                chin_half: 14.0,
                chin_y: -92.5,
                chin_z: 79.5,
                lips: 0.78,
                nose: 1.05,
                bridge: 1.0,
                lid_above: 3.4,
                lid_below: 4.6,
                cheek: 0.6,
                brow_drop: 3.0,
                brow_weight: 1.35,
                beard: 1.0,
                ear: 1.03,
            },
        }
    }

    /// Half breadth and front of the face against height, both in millimetres.
    pub fn face(build: Build) -> Table<2> {
        let rows: [(f64, [f64; 2]); 15] = match build {
            Build::Woman => [
                (-115.0, [10.0, 72.0]),
                (-103.0, [16.5, 79.5]),
                (-93.0, [29.5, 84.5]),
                (-80.0, [38.0, 87.5]),
                (-68.0, [44.5, 90.0]),
                (-55.0, [50.5, 91.5]),
                (-40.0, [56.0, 91.5]),
                (-25.0, [61.0, 89.5]),
                (-12.0, [63.5, 88.5]),
                (0.0, [64.5, 89.0]),
                (12.0, [65.5, 92.5]),
                (25.0, [67.5, 95.5]),
                (40.0, [68.0, 94.5]),
                (60.0, [64.0, 86.0]),
                (90.0, [50.0, 64.0]),
            ],
            Build::Man => [
                (-115.0, [22.0, 76.0]),
                (-103.0, [29.0, 84.0]),
                (-93.0, [36.5, 88.0]),
                (-80.0, [44.0, 90.5]),
                (-68.0, [50.5, 93.0]),
                (-55.0, [55.5, 93.5]),
                (-40.0, [60.0, 92.0]),
                (-25.0, [64.0, 89.5]),
                (-12.0, [66.0, 88.5]),
                (0.0, [67.0, 89.0]),
                (12.0, [68.0, 93.0]),
                (25.0, [69.5, 95.5]),
                (40.0, [69.5, 91.5]),
                (60.0, [66.0, 83.0]),
                (90.0, [52.0, 62.0]),
            ],
        };
        Table::new(&rows, 128, 2.5)
    }
}
