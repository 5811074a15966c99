//! A far field as LM-63 has it.

use super::FarField;
use crate::optics::prescription::Facing;
use crate::optics::shine::Shine;
use crate::optics::table::{Emission, Face, Pattern, Screen};
use crate::photometry::lm63::{
    Goniometry, Keyword, Opening, Photometry, Rule, Shape, Table, TableError,
};
use rayon::prelude::*;
use std::f64::consts::{PI, TAU};

/// Between two planes of a light that is not round.
const PLANE_STEP_DEG: u32 = 5;
/// The widest step between vertical angles, and how often it may be halved (to a fiftieth of a
/// degree).
const WIDEST_STEP_DEG: f64 = 2.5;
const MOST_HALVINGS: u32 = 7;
/// What a straight line between two angles may miss: as a share of the intensity there; or of the peak,
/// if it is next to nothing of the flux.
const MISS_HERE: f64 = 0.002;
const MISS_PEAK: f64 = 0.002;
const MISS_FLUX: f64 = 1e-5;
/// A file that would grow longer may miss twice as much.
const MOST_ANGLES: usize = 400;
/// Significant digits of an intensity.
const DIGITS: usize = 5;

/// What a file says of what is in it. Empty texts are left out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Description<'a> {
    /// What shines: the modifier's title or name.
    pub luminaire: &'a str,
    /// How it is set, such as its spread.
    pub setting: &'a str,
}

/// The far field of a light whose lamp gives so many lumens (or lumen-seconds), more than 0.
///
/// Type C, nadir along the modifier's axis, toward the subject. The plane of 0 holds the modifier's
/// +x, its right side as seen from in front; that of 90 its −y, its lower side, since LM-63 counts
/// planes counterclockwise as seen from behind. What the modifier swallows is in it: its lumens by
/// [`Rule::Linear`] are [`Shine::efficiency`] times the lamp's, within half a per cent.
///
/// A lamp's head before the face is in it; a cover and a skirt are not: they stand in the scene.
///
/// # Errors
/// [`TableError`] where `lumens` is negative, not finite or absurd.
pub fn photometry_of(
    shine: &Shine,
    lumens: f64,
    description: Description<'_>,
) -> Result<Photometry, TableError> {
    let field = FarField::of(shine);
    let planes_deg = planes_deg(shine);
    let rows = rows(shine, &field, &planes_deg);
    let candela = (0..planes_deg.len())
        .flat_map(|plane| rows.iter().map(move |row| lumens * row.values[plane]))
        .collect();
    let vertical_deg = rows.iter().map(|row| row.theta_deg).collect();
    let table = Table::new(Goniometry::C, vertical_deg, planes_deg, candela)?;
    let mut photometry = Photometry::new(table.rounded(DIGITS));
    photometry.lumens_per_lamp = Some(lumens);
    if let Some(first) = shine.placed.first() {
        photometry.opening = opening(&first.emission.face);
    }
    photometry.keywords = keywords(&photometry, description);
    Ok(photometry)
}

/// What a light looks alike under, the most alike first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Symmetry {
    /// Any turn about its axis.
    Round,
    /// Mirrors along x and along y.
    Quarters,
    /// The mirror in the plane of x.
    Halves,
    Nothing,
}

fn symmetry(emission: &Emission) -> Symmetry {
    let pattern = match (emission.face, &emission.pattern) {
        (Face::Tube { .. }, _) | (_, Pattern::Quarter { .. }) => Symmetry::Quarters,
        (Face::Polygon { sides, .. }, Pattern::Radial { phis, .. }) if *phis > 1 => {
            if sides % 2 == 0 {
                Symmetry::Quarters
            } else {
                Symmetry::Halves
            }
        }
        _ => Symmetry::Round,
    };
    let screen = emission.screen.as_ref().map_or(Symmetry::Round, of_screen);
    pattern.max(screen)
}

fn of_screen(screen: &Screen) -> Symmetry {
    let (thetas, phis) = (screen.thetas, screen.phis);
    if phis == 1 {
        return Symmetry::Round;
    }
    let most = screen.values.iter().copied().fold(0.0, f32::max);
    let alike = |mirror: &dyn Fn(usize) -> usize| {
        (0..phis * thetas).all(|k| {
            let other = mirror(k / thetas) * thetas + k % thetas;
            (screen.values[k] - screen.values[other]).abs() <= 1e-5 * most
        })
    };
    // Cells lie between the axes.
    let about_x = alike(&|p| phis - 1 - p);
    let about_y = phis % 2 == 0 && alike(&|p| (phis + phis / 2 - 1 - p) % phis);
    match (about_x, about_y) {
        (true, true) => Symmetry::Quarters,
        (true, false) => Symmetry::Halves,
        _ => Symmetry::Nothing,
    }
}

/// The horizontal angles that tell all of a light.
fn planes_deg(shine: &Shine) -> Vec<f64> {
    let last_deg = match shine.placed.iter().map(|p| symmetry(&p.emission)).max() {
        None | Some(Symmetry::Round) => 0,
        Some(Symmetry::Quarters) => 90,
        Some(Symmetry::Halves) => 180,
        Some(Symmetry::Nothing) => 360,
    };
    (0..=last_deg / PLANE_STEP_DEG)
        .map(|k| f64::from(k * PLANE_STEP_DEG))
        .collect()
}

/// A vertical angle, and the intensity in each plane.
#[derive(Debug, Clone)]
struct Row {
    theta_deg: f64,
    values: Vec<f64>,
}

/// Rows close enough for straight lines between them.
fn rows(shine: &Shine, field: &FarField, planes_deg: &[f64]) -> Vec<Row> {
    let row = |theta_deg: f64| Row {
        theta_deg,
        values: planes_deg
            .par_iter()
            .map(|phi_deg| field.intensity(theta_deg.to_radians(), phi_deg.to_radians()))
            .collect(),
    };
    let only_forward = shine.placed.iter().all(|p| {
        p.facing == Facing::Front
            && matches!(
                p.emission.face,
                Face::Disk { .. } | Face::Polygon { .. } | Face::Rect { .. }
            )
    });
    let steps = (if only_forward { 90.0 } else { 180.0 } / WIDEST_STEP_DEG) as usize;
    let wide: Vec<Row> = (0..=steps)
        .map(|k| row(k as f64 * WIDEST_STEP_DEG))
        .collect();
    let peak = wide
        .iter()
        .flat_map(|r| &r.values)
        .copied()
        .fold(0.0, f64::max);
    let flux = shine.efficiency();
    let mut allowance = 1.0;
    loop {
        let fits = |a: &Row, between: &[Row], b: &Row| fits(a, between, b, allowance, [flux, peak]);
        let mut rows = vec![wide[0].clone()];
        for pair in wide.windows(2) {
            refine(&row, &fits, [&pair[0], &pair[1]], MOST_HALVINGS, &mut rows);
        }
        // What is not finite fits nothing.
        if rows.len() <= MOST_ANGLES || allowance > 1e6 {
            return rows;
        }
        allowance *= 2.0;
    }
}

/// Adds the rows after `a` up to `b`, halving where a straight line does not do.
fn refine(
    row: &impl Fn(f64) -> Row,
    fits: &impl Fn(&Row, &[Row], &Row) -> bool,
    [a, b]: [&Row; 2],
    halvings: u32,
    rows: &mut Vec<Row>,
) {
    let at = |along: f64| row(a.theta_deg + along * (b.theta_deg - a.theta_deg));
    if halvings > 0 {
        let between = [at(0.25), at(0.5), at(0.75)];
        if !fits(a, &between, b) {
            refine(row, fits, [a, &between[1]], halvings - 1, rows);
            refine(row, fits, [&between[1], b], halvings - 1, rows);
            return;
        }
    }
    rows.push(b.clone());
}

/// Whether rows at even steps between two others lie on straight lines.
fn fits(a: &Row, between: &[Row], b: &Row, allowance: f64, [flux, peak]: [f64; 2]) -> bool {
    let ring = TAU
        * (b.theta_deg - a.theta_deg).to_radians()
        * (0.5 * (a.theta_deg + b.theta_deg)).to_radians().sin();
    between.iter().enumerate().all(|(k, row)| {
        let along = (k + 1) as f64 / (between.len() + 1) as f64;
        row.values.iter().enumerate().all(|(plane, value)| {
            let straight = a.values[plane] + (b.values[plane] - a.values[plane]) * along;
            let missed = (value - straight).abs() / allowance;
            missed <= MISS_HERE * value
                || (missed <= MISS_PEAK * peak && missed * ring <= MISS_FLUX * flux)
        })
    })
}

/// The outline of a face: LM-63's length lies in the plane of 0, along x.
fn opening(face: &Face) -> Opening {
    let (shape, [x_m, y_m, z_m]) = match *face {
        Face::Rect { half_x_m, half_y_m } => {
            (Shape::Rectangle, [2.0 * half_x_m, 2.0 * half_y_m, 0.0])
        }
        Face::Disk { radius_m } => (Shape::Disc, [2.0 * radius_m, 2.0 * radius_m, 0.0]),
        // The circle of its area: as bright.
        Face::Polygon { .. } => {
            let diameter_m = 2.0 * (face.area_m2() / PI).sqrt();
            (Shape::Disc, [diameter_m, diameter_m, 0.0])
        }
        // Less than half a ball shows its rim, √(c² − h²) with h = c² / 2R; more shows all of it.
        Face::Cap { radius_m, chord_m } => {
            let height_m = 0.5 * chord_m * chord_m / radius_m;
            if height_m > radius_m {
                (Shape::Ball, [2.0 * radius_m; 3])
            } else {
                let rim_m = (chord_m * chord_m - height_m * height_m).max(0.0).sqrt();
                (Shape::Disc, [2.0 * rim_m, 2.0 * rim_m, 0.0])
            }
        }
        Face::Globe { radius_m } => (Shape::Ball, [2.0 * radius_m; 3]),
        Face::Tube {
            half_length_m,
            radius_m,
        } => (
            Shape::CylinderAlongLength,
            [2.0 * half_length_m, 2.0 * radius_m, 2.0 * radius_m],
        ),
    };
    // To a micrometre, for short lines.
    let [length_m, width_m, height_m] = [x_m, y_m, z_m].map(|d: f64| (d * 1e6).round() / 1e6);
    Opening {
        shape,
        width_m,
        length_m,
        height_m,
    }
}

fn keywords(photometry: &Photometry, description: Description<'_>) -> Vec<Keyword> {
    let mut keywords = vec![
        Keyword::new("TEST", "computed, not measured"),
        Keyword::new(
            "TESTLAB",
            format!("Swatchlight {}", env!("CARGO_PKG_VERSION")),
        ),
    ];
    if !description.luminaire.is_empty() {
        keywords.push(Keyword::new("LUMINAIRE", description.luminaire));
    }
    if !description.setting.is_empty() {
        keywords.push(Keyword::new("OTHER", description.setting));
    }
    let lumens = photometry.lumens(Rule::Linear);
    keywords.extend([
        Keyword::new(
            "OTHER",
            format!(
                "Luminous flux {lumens:.3} lm: intensity taken as linear between the angles and integrated exactly over solid angle."
            ),
        ),
        Keyword::new(
            "OTHER",
            "Far field only: intensities hold at many times the opening's width.",
        ),
        Keyword::new(
            "OTHER",
            "Seen from in front, plane 0 is to the right and plane 90 below.",
        ),
    ]);
    keywords
}
