//! Numbers that look random and are the same on every machine and thread.

use glam::DVec3;

/// Mixes 64 bits so that neighbouring inputs give unrelated outputs (the
/// finaliser of Steele, Lea and Flood's SplitMix64, 2014).
fn mix(mut z: u64) -> u64 {
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

fn unit(bits: u64) -> f64 {
    (bits >> 11) as f64 / (1u64 << 53) as f64
}

/// A stream of numbers of its own for every strand.
#[derive(Debug, Clone)]
pub(super) struct Dice(u64);

impl Dice {
    /// The stream of item `index` for one `seed` and one use (`salt`).
    pub fn new(seed: u32, salt: u32, index: usize) -> Self {
        let key = (u64::from(seed) << 32) | u64::from(salt);
        Self(mix(
            mix(key) ^ (index as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15)
        ))
    }

    /// Evenly spread over 0..1.
    pub fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        unit(mix(self.0))
    }

    /// Evenly spread over `low..high`.
    pub fn range(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Standard normal (Box and Muller 1958).
    pub fn normal(&mut self) -> f64 {
        let r = (-2.0 * (1.0 - self.unit()).ln()).sqrt();
        r * (std::f64::consts::TAU * self.unit()).cos()
    }

    /// Evenly spread over the unit disc.
    pub fn disc(&mut self) -> (f64, f64) {
        let (r, a) = (self.unit().sqrt(), std::f64::consts::TAU * self.unit());
        (r * a.cos(), r * a.sin())
    }
}

/// Smooth value noise in -1..1 over space, one feature a unit length.
pub(super) fn noise(p: DVec3, salt: u32) -> f64 {
    let base = p.floor();
    let f = p - base;
    let w = f * f * (DVec3::splat(3.0) - 2.0 * f);
    let corner = |i: i64, j: i64, k: i64| {
        let (x, y, z) = (base.x as i64 + i, base.y as i64 + j, base.z as i64 + k);
        let key = (x as u64).wrapping_mul(0x8da6_b343)
            ^ (y as u64).wrapping_mul(0xd816_3841_0000)
            ^ (z as u64).wrapping_mul(0xcb1a_b31f_0000_0000)
            ^ u64::from(salt);
        2.0 * unit(mix(mix(key))) - 1.0
    };
    let edge = |j, k| corner(0, j, k) * (1.0 - w.x) + corner(1, j, k) * w.x;
    let face = |k| edge(0, k) * (1.0 - w.y) + edge(1, k) * w.y;
    face(0) * (1.0 - w.z) + face(1) * w.z
}

/// [`noise`] along a line, `row` telling independent lines apart.
pub(super) fn noise_along(t: f64, row: f64, salt: u32) -> f64 {
    noise(DVec3::new(t, row * 17.3, 0.5), salt)
}

/// The nearest of points scattered one to every unit cube.
pub(super) fn scattered(p: DVec3) -> DVec3 {
    let base = p.floor();
    let mut best = (f64::INFINITY, p);
    for i in 0..27 {
        let cell =
            base + DVec3::new(f64::from(i % 3), f64::from(i / 3 % 3), f64::from(i / 9)) - 1.0;
        let key = [cell.x, cell.y, cell.z]
            .iter()
            .fold(0x5ca7, |h, &c| mix(h ^ (c as i64 as u64)));
        let mut dice = Dice(key);
        let q = cell + DVec3::new(dice.unit(), dice.unit(), dice.unit());
        let d = q.distance_squared(p);
        if d < best.0 {
            best = (d, q);
        }
    }
    best.1
}
