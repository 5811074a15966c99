//! What moves moiré off: other distances, other focal lengths.

use super::{ClothPattern, ClothView, Sensing, Verdict, worst};

/// Nobody stands still to the millimetre: where a pattern is clear it must stay so over this share
/// of the distance or focal length, on from where it becomes clear.
pub const STAYS_CLEAR: f64 = 0.02;

/// Step of the search, as a share; places between are found by halving.
const STEP: f64 = 0.0005;
/// Steps over which a clear place must hold.
const HOLD: usize = (STAYS_CLEAR / STEP) as usize;
/// How far is looked, as a factor.
const FARTHEST: f64 = 16.0;
/// The shortest and longest lens that is named.
const FOCAL_M: [f64; 2] = [0.01, 1.2];
/// Halvings, to far below a millimetre.
const HALVINGS: usize = 40;

/// The nearest distances and focal lengths at which every pattern is clear, all else as it is.
/// `None` where there is none within 16 times (distance: down to life size; lens: 10 mm to 1.2 m).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moves {
    /// The camera this near, or a little nearer.
    pub nearer_m: Option<f64>,
    /// This far, or a little farther.
    pub farther_m: Option<f64>,
    /// A lens this long, or a little longer.
    pub longer_focal_m: Option<f64>,
    /// This short, or a little shorter.
    pub shorter_focal_m: Option<f64>,
}

impl Moves {
    pub(super) fn find(patterns: &[ClothPattern], view: &ClothView, sensing: &Sensing) -> Self {
        let at_distance = |distance_m: f64| {
            let view = ClothView {
                distance_m,
                ..*view
            };
            worst(patterns, &view, sensing) == Verdict::Clear
        };
        let with_focal = |focal_length_m: f64| {
            let sensing = Sensing {
                focal_length_m,
                ..*sensing
            };
            worst(patterns, view, &sensing) == Verdict::Clear
        };
        let (distance, focal) = (view.distance_m, sensing.focal_length_m);
        // Life size: nearer than two focal lengths is work for another lens.
        let nearest = (2.0 * focal).max(distance / FARTHEST);
        let [shortest, longest] = FOCAL_M;
        let up = |from, to, clear: &dyn Fn(f64) -> bool| first_clear(from, to, 1.0 + STEP, clear);
        let down = |from, to, clear: &dyn Fn(f64) -> bool| {
            first_clear(from, to, 1.0 / (1.0 + STEP), clear)
        };
        Self {
            nearer_m: down(distance, nearest, &at_distance),
            farther_m: up(distance, FARTHEST * distance, &at_distance),
            longer_focal_m: up(focal, longest.min(0.5 * distance), &with_focal),
            shorter_focal_m: down(focal, shortest, &with_focal),
        }
    }
}

/// The first place on the way from one number to another from which all is clear for a while.
fn first_clear(from: f64, to: f64, step: f64, clear: &dyn Fn(f64) -> bool) -> Option<f64> {
    let beyond = |at: f64| if step > 1.0 { at > to } else { at < to };
    let (mut last_bad, mut start, mut held) = (from, from, 0);
    let mut at = from * step;
    while !beyond(at) {
        if clear(at) {
            if held == 0 {
                start = at;
            }
            held += 1;
            if held > HOLD {
                let (mut bad, mut good) = (last_bad, start);
                for _ in 0..HALVINGS {
                    let middle = 0.5 * (bad + good);
                    match clear(middle) {
                        true => good = middle,
                        false => bad = middle,
                    }
                }
                return Some(good);
            }
        } else {
            (last_bad, held) = (at, 0);
        }
        at *= step;
    }
    None
}
