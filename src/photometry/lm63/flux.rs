//! Luminous flux from a table of intensities: the integral `Φ = ∫∫ I sin θ dθ dφ`, by rules.

use std::f64::consts::PI;

use super::table::{Goniometry, Table, bracket, mix};

/// How intensities between the entries of a file are summed to lumens.
///
/// All are exact in the angle that turns about the system's pole, with intensities linear
/// between entries. They differ in θ, the angle from the pole: of type C the vertical angle, of
/// type A the vertical and of type B the horizontal angle plus 90°.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Rule {
    /// Intensity linear in θ between entries, integrated exactly. Belongs to
    /// [`Photometry::intensity_cd`](super::Photometry::intensity_cd).
    #[default]
    Linear,
    /// The zonal constant `2π (cos a - cos b)` between two entries, times the mean of both.
    ZonalMean,
    /// The zonal constants of the eighteen zones of 10°, times the intensity at mid-zone (5°,
    /// 15° …; interpolated where the file does not have it). The handbook's way, from memory.
    ZonalMiddle,
    /// The trapezium rule on `I sin θ`.
    Trapezium,
    /// No integral, but a yardstick: `π I(0)`, the flux of a flat Lambertian face that is as
    /// bright along the aim (its mean where a file gives each plane its own).
    Lambertian,
}

/// The integral over all directions, in lm per factor.
pub(super) fn integral(table: &Table, rule: Rule) -> f64 {
    let (theta, around) = table.by_latitude();
    let intervals = || {
        theta
            .windows(2)
            .zip(around.windows(2))
            .map(|(t, v)| (t[0], t[1], v[0], v[1]))
    };
    match rule {
        // ∫ (mean + slope (θ - m)) sin θ over m ± d, by parts, in a form in which narrow
        // intervals cancel nothing.
        Rule::Linear => intervals()
            .map(|(a, b, at_a, at_b)| {
                let (m, d) = (0.5 * (a + b), 0.5 * (b - a));
                (at_a + at_b) * m.sin() * d.sin()
                    + (at_b - at_a) * m.cos() * (d.sin() / d - d.cos())
            })
            .sum(),
        Rule::ZonalMean => intervals()
            .map(|(a, b, at_a, at_b)| (a.cos() - b.cos()) * 0.5 * (at_a + at_b))
            .sum(),
        Rule::ZonalMiddle => (0..18)
            .map(|zone| {
                let angle = |degrees: i32| f64::from(degrees).to_radians();
                let (a, b) = (angle(10 * zone), angle(10 * zone + 10));
                let value = bracket(&theta, angle(10 * zone + 5))
                    .map_or(0.0, |(i, along)| mix(around[i], around[i + 1], along));
                (a.cos() - b.cos()) * value
            })
            .sum(),
        Rule::Trapezium => intervals()
            .map(|(a, b, at_a, at_b)| 0.5 * (b - a) * (at_a * a.sin() + at_b * b.sin()))
            .sum(),
        Rule::Lambertian => match table.goniometry() {
            // Around the pole, which is the aim, stands 2π I(0).
            Goniometry::C if theta[0] < 1e-6 => 0.5 * around[0],
            Goniometry::C => 0.0,
            Goniometry::A | Goniometry::B => PI * table.at(0.0, 0.0),
        },
    }
}
