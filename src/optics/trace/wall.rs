//! How a wall sends light back.

use super::draw::Draw;
use crate::optics::prescription::Finish;
use glam::DVec3;

/// A ray's way on from a wall.
pub(super) struct Bounce {
    pub along: DVec3,
    /// Share of its light that goes on.
    pub share: f64,
    /// Whether it was scattered as Lambert's law has it.
    pub matt: bool,
    /// Factor on luminance where the same ray is followed backwards: not 1 only on a panel, whose
    /// slope against the wall it stands for makes a beam narrower or wider.
    pub back: f64,
}

/// Light that arrives along `along` at a wall with this normal; `facet` is the normal of the panel it
/// belongs to (the same, where there are none).
///
/// Silver has facets of Gaussian slope (Beckmann's distribution; visible normals after Heitz &
/// d'Eon 2014): f = ρ D / (4 cos θi cos θo). A facet's chance is its density times 1 + a, where 1 + a
/// is its projected area over its base, held to 0…2; a slope and its opposite share their chances, so
/// drawing one and turning it round with a chance of (1 − a)/2 is exact. (The bound matters only
/// beyond slopes of 1/tan θi, which are rare, and keeps the facets' area that of the wall.) A ray that
/// would go on below the wall hits its neighbours and loses as much again.
pub(super) fn reflect(
    finish: Finish,
    normal: DVec3,
    facet: DVec3,
    along: DVec3,
    draw: &mut Draw,
) -> Bounce {
    match finish {
        Finish::Matt { reflectance } => Bounce {
            along: draw.lambert(normal),
            share: reflectance,
            matt: true,
            back: 1.0,
        },
        Finish::Silver {
            reflectance,
            slope_rad,
            ..
        } => {
            let mut tilted = facet;
            if slope_rad > 0.0 {
                let (x, y) = facet.any_orthonormal_pair();
                let [u, v] = draw.normals();
                let slope = (x * u + y * v) * slope_rad;
                let chance = 0.5 * (1.0 + along.dot(slope) / -along.dot(facet).min(-1e-9));
                tilted = if draw.even() < chance {
                    facet - slope
                } else {
                    facet + slope
                };
            }
            let twice = 2.0 * along.dot(tilted) / tilted.length_squared();
            let mut out = along - tilted * twice;
            let mut share = reflectance;
            let rise = out.dot(normal);
            if rise <= 0.0 {
                out -= normal * (2.0 * rise);
                share *= reflectance;
            }
            let against = |n: DVec3| out.dot(n).abs() / along.dot(n).abs().max(1e-9);
            let back = if facet == normal {
                1.0
            } else {
                against(normal) / against(facet).max(1e-9)
            };
            Bounce {
                along: out.normalize(),
                share,
                matt: false,
                back,
            }
        }
    }
}
