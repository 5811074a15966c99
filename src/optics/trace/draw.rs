//! Random numbers: a stream for each ray, and a net for where rays begin.

use glam::DVec3;
use std::f64::consts::PI;

/// A ray's own stream (splitmix64): a function of its number alone.
pub(super) struct Draw(u64);

impl Draw {
    pub(super) fn new(ray: u64) -> Self {
        let mut draw = Self(ray.wrapping_mul(0xd134_2543_de82_ef95) ^ 0x9e37_79b9_7f4a_7c15);
        draw.bits();
        draw
    }

    fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Even over 0..1.
    pub(super) fn even(&mut self) -> f64 {
        to_unit(self.bits())
    }

    /// Two normal deviates (Box and Muller).
    pub(super) fn normals(&mut self) -> [f64; 2] {
        // One less the draw is never zero.
        let r = (-2.0 * (1.0 - self.even()).ln()).sqrt();
        let (s, c) = (2.0 * PI * self.even()).sin_cos();
        [r * c, r * s]
    }

    /// A direction about a normal as Lambert's law has it.
    pub(super) fn lambert(&mut self, normal: DVec3) -> DVec3 {
        lambert(normal, [self.even(), self.even()])
    }
}

/// A direction about a normal, density ∝ cos θ, from two numbers even over 0..1.
pub(super) fn lambert(normal: DVec3, at: [f64; 2]) -> DVec3 {
    let (x, y) = normal.any_orthonormal_pair();
    let sine = at[0].sqrt();
    let (s, c) = (2.0 * PI * at[1]).sin_cos();
    x * (sine * c) + y * (sine * s) + normal * (1.0 - at[0]).max(0.0).sqrt()
}

/// Point `number` of an additive net in four dimensions: steps are the powers of 1/g, g the root of
/// x⁵ = x + 1 (the golden ratio's kin), as fractions of 2⁶⁴, so that every machine gets the same bits.
pub(super) fn net(number: u64) -> [f64; 4] {
    const STEPS: [u64; 4] = [
        0xdb4f_0b91_75ae_2165,
        0xbbe0_5633_03a4_615f,
        0xa0f2_ec75_a1fe_1575,
        0x89e1_8285_7d9e_d689,
    ];
    STEPS.map(|step| to_unit(number.wrapping_mul(step).wrapping_add(1 << 63)))
}

fn to_unit(bits: u64) -> f64 {
    (bits >> 11) as f64 / (1u64 << 53) as f64
}
