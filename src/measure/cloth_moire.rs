//! Moiré of a setup's own cloth before its own camera.

use super::moire::{
    ClothPattern, ClothView, LowPass, Moire, PatternSeen, Sensing, moire, of_knit, of_weave,
};
use crate::fabric::structure::WovenCloth;
use crate::fabric::structure::woven::Threads;
use crate::fabric::{Fabric, Structure};
use crate::scene::models::{ModelError, Models};
use crate::setup::{Aperture, Setup};
use glam::DVec3;

/// What is handed in for the contrast of single threads, where nothing was measured: Michelson, at the
/// threads' own frequency. On the cautious side: an evenly spun plain weave shows 0.6 in hard light 60 degrees off
/// (measured in tests/moire_still.rs), less in soft light, and uneven yarns spread it over frequencies.
pub const THREADS_SHOW: f64 = 0.4;
/// And of warp and weft of one colour against each other, by how they lie.
pub const FACES_SHOW: f64 = 0.1;
/// An aperture "as metered" counts as this before it is metered: wider than most, so that the lens
/// hides little.
pub const UNMETERED_F_NUMBER: f64 = 5.6;

/// A cloth of a setup before its camera.
#[derive(Debug, Clone, PartialEq)]
pub struct SetupMoire {
    /// Whose cloth: "garment" or "swatch".
    pub of: &'static str,
    /// Its fabric.
    pub fabric: String,
    /// From the lens.
    pub distance_m: f64,
    /// The f-number that counted.
    pub f_number: f64,
    /// What pixels make of it.
    pub moire: Moire,
}

impl SetupMoire {
    /// The pattern that decides: of the worst verdict the strongest.
    pub fn worst(&self) -> Option<&PatternSeen> {
        let key = |p: &PatternSeen| (p.verdict, p.contrast_shown);
        let mut seen = self.moire.seen.iter();
        let first = seen.next()?;
        Some(seen.fold(first, |a, b| {
            let ((va, ca), (vb, cb)) = (key(a), key(b));
            if vb > va || (vb == va && cb > ca) {
                b
            } else {
                a
            }
        }))
    }
}

/// What the setup's sensor makes of its garment and of its swatch, where these are shown and have
/// threads to count. The garment is taken as square to the camera at the chest. `f_number`: as metered, where it is
/// known.
///
/// # Errors
/// A fabric that is not there.
pub fn moire_of_setup(
    setup: &Setup,
    models: &Models,
    f_number: Option<f64>,
) -> Result<Vec<SetupMoire>, ModelError> {
    let camera = &setup.camera;
    let f_number = match camera.f_number {
        Aperture::Set(n) => n,
        Aperture::AsMetered => f_number.unwrap_or(UNMETERED_F_NUMBER),
    };
    let sensing = Sensing {
        focal_length_m: camera.focal_length_m,
        f_number,
        pixel_pitch_m: camera.pixel_pitch_m(),
        low_pass: camera.low_pass.then_some(LowPass { split_px: 1.0 }),
    };
    let mut found = Vec::new();
    let mut look = |of, name: &str, view: ClothView| -> Result<(), ModelError> {
        let patterns = patterns_of(&models.fabric(name)?);
        // Cloth without threads, and places that no picture is taken from, have none.
        if let Ok(moire) = moire(&patterns, &view, &sensing) {
            found.push(SetupMoire {
                of,
                fabric: name.to_owned(),
                distance_m: view.distance_m,
                f_number,
                moire,
            });
        }
        Ok(())
    };
    let distance = |at_m: DVec3| (at_m - camera.position_m).dot(camera.direction);
    if let Some(figure) = setup
        .figure
        .as_ref()
        .filter(|f| !f.spec.garments.is_empty())
    {
        let points = &figure.body_points_m;
        let chest = points.get("chest").or_else(|| points.values().next());
        if let Some(at_m) = chest {
            let view = ClothView::square(distance(*at_m));
            let mut looked: Vec<&str> = Vec::new();
            for worn in &figure.spec.garments {
                if !looked.contains(&worn.fabric.as_str()) {
                    looked.push(&worn.fabric);
                    look("garment", &worn.fabric, view)?;
                }
            }
        }
    }
    if let Some(swatch) = setup.swatch.as_ref().filter(|s| s.shown) {
        let n = swatch.frame.z;
        let (right, up) = (n.dot(camera.right), n.dot(camera.up));
        let view = ClothView {
            distance_m: distance(swatch.frame.origin_m),
            tilt_deg: right
                .hypot(up)
                .atan2(-n.dot(camera.direction))
                .to_degrees()
                .min(89.0),
            falls_toward_deg: up.atan2(right).to_degrees(),
            grain_deg: -swatch.roll_rad.to_degrees(),
        };
        look("swatch", &swatch.fabric, view)?;
    }
    Ok(found)
}

/// What repeats in a cloth, with cautious contrasts: woven and knitted cloths have something to count.
pub fn patterns_of(fabric: &Fabric) -> Vec<ClothPattern> {
    match &fabric.structure {
        Structure::Woven(w) => of_weave(
            w.spec.ends_per_cm,
            w.spec.picks_per_cm,
            &w.drafted.drawdown,
            THREADS_SHOW,
            faces_show(w),
        ),
        Structure::Jersey(k) => k.geometry().map_or(Vec::new(), |g| {
            of_knit(g.wales_per_cm, g.courses_per_cm, THREADS_SHOW)
        }),
        Structure::Rib(k) => of_knit(k.wales_per_cm, k.courses_per_cm, THREADS_SHOW),
        _ => Vec::new(),
    }
}

/// Contrast between the mean colours of warp and weft, at least as they lie differently.
fn faces_show(cloth: &WovenCloth) -> f64 {
    let luminance = |c: &[f64; 3]| 0.212_639 * c[0] + 0.715_169 * c[1] + 0.072_192 * c[2];
    let mean = |threads: &Threads, drafted: &[[f64; 3]]| {
        if let Some(colour) = &threads.colour {
            return luminance(colour);
        }
        let in_order = threads.order.iter().filter_map(|(number, name)| {
            Some((f64::from(*number), luminance(cloth.spec.colours.get(name)?)))
        });
        let (number, sum) = in_order
            .chain(drafted.iter().map(|c| (1.0, luminance(c))))
            .fold((0.0, 0.0), |(n, s), (k, l)| (n + k, s + k * l));
        sum / f64::max(number, 1.0)
    };
    let warp = mean(&cloth.spec.warp, &cloth.drafted.warp);
    let weft = mean(&cloth.spec.weft, &cloth.drafted.weft);
    let apart = (warp - weft).abs() / (warp + weft).max(1e-6);
    apart.clamp(FACES_SHOW, 1.0)
}
