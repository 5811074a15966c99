//! A modifier's light as a point meets it, summed straight from its emissions: no scene, no chance.
//!
//! Places are in the modifier's frame ([`super::prescription`]), figures per lumen of its output. Each
//! face is summed over a raster of rows and columns cut exactly by its outline, by a black cloth
//! over part of it and by a skirt's walls; halving the step shows the error ([`View::coarser`]).

use super::drum::Drum;
use super::prescription::Facing;
use super::shine::Shine;
use super::table::{Emission, Face};
use super::trace::Placed;
use crate::setup::{Cover, CoverSide, Modifier};
use glam::DVec3;
use std::f64::consts::PI;

/// Rows and columns that a face is summed over.
const STEPS: usize = 128;

/// A modifier's light, to be looked at.
#[derive(Debug, Clone, Copy)]
pub struct View<'a> {
    placed: &'a [Placed],
    /// Depth of black walls around the front, metres.
    skirt_m: Option<f64>,
    /// What of the front a black cloth on it leaves free.
    free: [Side; 2],
    /// The lamp's head, where it stands before a face.
    head: Option<Drum>,
    steps: usize,
}

/// A span, low to high.
type Side = [f64; 2];

const ALL: Side = [f64::NEG_INFINITY, f64::INFINITY];

/// Light from one place of a face.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Arrival {
    /// Where it leaves.
    pub place_m: DVec3,
    /// What goes from there toward the point, cd per lm (L cos θ ΔA).
    pub intensity_cd: f64,
}

/// Where a look goes.
#[derive(Debug, Clone, Copy)]
enum Eye {
    Point(DVec3),
    /// Far away; a unit vector.
    Far(DVec3),
}

impl Eye {
    fn toward(self, place: DVec3) -> DVec3 {
        match self {
            Self::Point(at) => (at - place).normalize_or(DVec3::Z),
            Self::Far(along) => along,
        }
    }

    /// In an emission's frame, or back out of it: the turn is its own opposite.
    fn into_frame(self, placed: &Placed) -> Self {
        match self {
            Self::Point(at) => Self::Point(turned(at, placed.facing) - origin(placed)),
            Self::Far(along) => Self::Far(turned(along, placed.facing)),
        }
    }
}

impl<'a> View<'a> {
    /// The light of a modifier, cut by its skirt, its cover, and its lamp's head where that stands before a face.
    pub fn new(shine: &'a Shine, modifier: &Modifier) -> Self {
        let half = modifier.kind.face_m().map(|side| 0.5 * side);
        Self {
            placed: &shine.placed,
            skirt_m: modifier.skirt_m,
            free: modifier
                .cover
                .map_or([ALL; 2], |cover| left_free(cover, half)),
            head: shine.head,
            steps: STEPS,
        }
    }

    /// The same over half as many rows and columns: what a figure changes by is more than its error.
    pub fn coarser(self) -> Self {
        Self {
            steps: self.steps / 2,
            ..self
        }
    }

    /// Illuminance at a point on a plane with this unit normal, lx per lm.
    pub fn illuminance_lx(&self, point_m: DVec3, normal: DVec3) -> f64 {
        let mut sum = 0.0;
        self.look(Eye::Point(point_m), &mut |light| {
            let to = light.place_m - point_m;
            let cosine = to.dot(normal) / to.length();
            sum += light.intensity_cd * cosine.max(0.0) / to.length_squared();
        });
        sum
    }

    /// Intensity toward a far direction (a unit vector), cd per lm.
    pub fn intensity_cd(&self, direction: DVec3) -> f64 {
        let mut sum = 0.0;
        self.look(Eye::Far(direction), &mut |light| sum += light.intensity_cd);
        sum
    }

    /// Lumens that leave past skirt and cover, per lumen of output: the intensity over all directions
    /// (even in the cosine, so that it takes steps of some degrees only).
    pub fn flux_lm(&self) -> f64 {
        const RINGS: usize = 48;
        const TURNS: usize = 24;
        let view = Self { steps: 48, ..*self };
        let mut sum = 0.0;
        for ring in 0..RINGS {
            // Even in θ: beams crowd on the axis.
            let (sine, cosine) = ((ring as f64 + 0.5) / RINGS as f64 * PI).sin_cos();
            for turn in 0..TURNS {
                let (s, c) = ((turn as f64 + 0.5) / TURNS as f64 * 2.0 * PI).sin_cos();
                sum += sine * view.intensity_cd(DVec3::new(sine * c, sine * s, cosine));
            }
        }
        sum * 2.0 * PI * PI / (RINGS * TURNS) as f64
    }

    /// All that arrives at a point, place by place.
    pub fn arrivals(&self, point_m: DVec3) -> Vec<Arrival> {
        let mut all = Vec::new();
        self.look(Eye::Point(point_m), &mut |light| {
            if light.intensity_cd > 0.0 {
                all.push(light);
            }
        });
        all
    }

    /// The modifier's light as seen from a point: luminance (cd/m² per lm) over a square raster of
    /// `pixels` each way, row by row from the top, that spans `half_m` either side of the middle of
    /// its face on the plane there that faces the point. Each pixel is the mean of nine looks.
    pub fn luminance_toward(&self, point_m: DVec3, half_m: f64, pixels: usize) -> Vec<f32> {
        const WITHIN: usize = 3;
        let step = 2.0 * half_m / (pixels * WITHIN) as f64;
        let at = |k: usize| (k as f64 + 0.5) * step - half_m;
        let right = DVec3::Y.cross(point_m).normalize_or(DVec3::X);
        let up = point_m.cross(right).normalize_or(DVec3::Y);
        let mut raster = vec![0.0_f32; pixels * pixels];
        for (k, pixel) in raster.iter_mut().enumerate() {
            let (column, row) = (k % pixels, k / pixels);
            let mut sum = 0.0;
            for part in 0..WITHIN * WITHIN {
                let x = at(column * WITHIN + part % WITHIN);
                let y = -at(row * WITHIN + part / WITHIN);
                sum += self.luminance_along(point_m, right * x + up * y - point_m);
            }
            *pixel = (sum / (WITHIN * WITHIN) as f64) as f32;
        }
        raster
    }

    /// Luminance met first along a sight from a point.
    fn luminance_along(&self, from_m: DVec3, sight: DVec3) -> f64 {
        let mut nearest = (f64::INFINITY, 0.0);
        for placed in self.placed {
            let Eye::Point(eye) = Eye::Point(from_m).into_frame(placed) else {
                continue;
            };
            let sight = turned(sight, placed.facing);
            if let Some((t, place)) = self.meets(placed, eye, sight)
                && t < nearest.0
            {
                let dark = self.behind_head(placed, place.at, Eye::Point(eye));
                let lit = || place.luminance(&placed.emission, eye - place.at);
                nearest = (t, if dark { 0.0 } else { lit() });
            }
        }
        nearest.1
    }

    /// Where a sight meets an emission's lit side, in its own frame.
    fn meets(&self, placed: &Placed, eye: DVec3, sight: DVec3) -> Option<(f64, Place)> {
        let face = placed.emission.face;
        match face {
            Face::Disk { .. } | Face::Polygon { .. } | Face::Rect { .. } => {
                let t = -eye.z / sight.z;
                let at = eye + sight * t;
                let region = self.region(placed, Eye::Point(eye))?;
                (sight.z < 0.0 && t > 0.0 && region.holds(at)).then(|| (t, Place::flat(at)))
            }
            Face::Cap { radius_m, .. } | Face::Globe { radius_m } => {
                let t = nearest_root(eye, sight, radius_m)?;
                let place = Place::on_sphere(eye + sight * t, radius_m);
                let chord_m = 2.0_f64.sqrt() * radius_m * (1.0 - place.normal.z).max(0.0).sqrt();
                match face {
                    Face::Cap { chord_m: most, .. } if chord_m > most => None,
                    _ => Some((t, place)),
                }
            }
            Face::Tube {
                half_length_m,
                radius_m,
            } => {
                let across = |v: DVec3| DVec3::new(0.0, v.y, v.z);
                let t = nearest_root(across(eye), across(sight), radius_m)?;
                let at = eye + sight * t;
                (at.x.abs() <= half_length_m).then(|| (t, Place::on_tube(at, radius_m)))
            }
        }
    }

    /// Goes over all faces.
    fn look(&self, eye: Eye, take: &mut dyn FnMut(Arrival)) {
        for placed in self.placed {
            let local = eye.into_frame(placed);
            self.look_at(placed, local, &mut |place, area_m2| {
                let toward = local.toward(place.at);
                let cosine = toward.dot(place.normal);
                if cosine > 0.0 && !self.behind_head(placed, place.at, local) {
                    let luminance = place.luminance(&placed.emission, toward);
                    take(Arrival {
                        place_m: turned(place.at + origin(placed), placed.facing),
                        intensity_cd: luminance * cosine * area_m2,
                    });
                }
            });
        }
    }

    /// Whether the lamp's head before the face hides a place of it.
    fn behind_head(&self, placed: &Placed, place: DVec3, eye: Eye) -> bool {
        let Some(head) = self.head else {
            return false;
        };
        let far = match eye {
            Eye::Point(at) => (at - place).length(),
            Eye::Far(_) => f64::INFINITY,
        };
        let head = head.before(placed.facing, placed.offset_z_m);
        head.hides(place, eye.toward(place), far)
    }

    /// Goes over the parts of a face that are seen, in its own frame.
    fn look_at(&self, placed: &Placed, eye: Eye, take: &mut dyn FnMut(Place, f64)) {
        let n = self.steps;
        match placed.emission.face {
            Face::Disk { .. } | Face::Polygon { .. } | Face::Rect { .. } => {
                let Some(region) = self.region(placed, eye) else {
                    return;
                };
                let [low, high] = region.rows;
                let step = (high - low).max(0.0) / n as f64;
                for row in 0..n {
                    let y = low + (row as f64 + 0.5) * step;
                    let [left, right] = region.columns(y);
                    let wide = (right - left).max(0.0) / n as f64;
                    if wide * step > 0.0 {
                        for column in 0..n {
                            let x = left + (column as f64 + 0.5) * wide;
                            take(Place::flat(DVec3::new(x, y, 0.0)), wide * step);
                        }
                    }
                }
            }
            Face::Cap { radius_m, chord_m } => {
                self.sphere(radius_m, chord_m, take);
            }
            Face::Globe { radius_m } => self.sphere(radius_m, 2.0 * radius_m, take),
            Face::Tube {
                half_length_m,
                radius_m,
            } => {
                let area = 4.0 * PI * radius_m * half_length_m / (n * 2 * n) as f64;
                for turn in 0..2 * n {
                    let (s, c) = ((turn as f64 + 0.5) / n as f64 * PI).sin_cos();
                    for k in 0..n {
                        let x = half_length_m * (2.0 * (k as f64 + 0.5) / n as f64 - 1.0);
                        let at = DVec3::new(x, radius_m * s, radius_m * c);
                        take(Place::on_tube(at, radius_m), area);
                    }
                }
            }
        }
    }

    /// Goes over a sphere about its pole, in rings even in the chord from there: a lamp seen through a
    /// canopy is a small image in its middle, which rings of equal areas would step over.
    fn sphere(&self, radius_m: f64, chord_m: f64, take: &mut dyn FnMut(Place, f64)) {
        let n = self.steps;
        for ring in 0..n {
            let edge = |k: usize| (chord_m * k as f64 / n as f64).powi(2);
            // The middle of its area, and its share of it.
            let chord2 = 0.5 * (edge(ring) + edge(ring + 1));
            let area = PI * (edge(ring + 1) - edge(ring)) / (2 * n) as f64;
            let z = 1.0 - chord2 / (2.0 * radius_m * radius_m);
            let sine = (1.0 - z * z).max(0.0).sqrt();
            for turn in 0..2 * n {
                let (s, c) = ((turn as f64 + 0.5) / n as f64 * PI).sin_cos();
                let at = DVec3::new(sine * c, sine * s, z) * radius_m;
                take(Place::on_sphere(at, radius_m), area);
            }
        }
    }

    /// What of a flat face an eye sees; `None` if nothing.
    fn region(&self, placed: &Placed, eye: Eye) -> Option<Region> {
        let outline = Outline::of(placed.emission.face);
        let mut region = Region::new(outline);
        if placed.facing == Facing::Back {
            return Some(region);
        }
        if let Some(depth) = self.skirt_m {
            // A sight from q to the eye passes the walls' far rim at q (1 - t) + t eye.
            match eye {
                Eye::Point(at) if at.z > depth => {
                    let t = depth / at.z;
                    region.also(
                        outline,
                        1.0 / (1.0 - t),
                        [at.x, at.y].map(|v| -v * t / (1.0 - t)),
                    );
                }
                // Within the walls, or outside at their side.
                Eye::Point(at) if !Region::new(outline).holds(at) => return None,
                Eye::Point(_) => {}
                Eye::Far(along) if along.z > 1e-9 => {
                    region.also(
                        outline,
                        1.0,
                        [along.x, along.y].map(|v| -v * depth / along.z),
                    );
                }
                Eye::Far(_) => return None,
            }
        }
        let [x, y] = self.free;
        region.sides = meet(region.sides, x);
        region.rows = meet(region.rows, y);
        Some(region)
    }
}

/// A place on a face, in its emission's frame.
#[derive(Clone, Copy)]
struct Place {
    at: DVec3,
    normal: DVec3,
}

impl Place {
    fn flat(at: DVec3) -> Self {
        Self {
            at,
            normal: DVec3::Z,
        }
    }

    fn on_sphere(at: DVec3, radius_m: f64) -> Self {
        Self {
            at,
            normal: at / radius_m,
        }
    }

    fn on_tube(at: DVec3, radius_m: f64) -> Self {
        Self {
            at,
            normal: DVec3::new(0.0, at.y, at.z) / radius_m,
        }
    }

    /// Luminance toward a direction, of any length.
    fn luminance(&self, emission: &Emission, toward: DVec3) -> f64 {
        let along = toward.normalize_or_zero();
        let n = self.normal;
        match emission.face {
            Face::Disk { radius_m } | Face::Polygon { radius_m, .. } => {
                let place = [self.at.x / radius_m, self.at.y / radius_m];
                emission.luminance(place, [along.x, along.y])
            }
            Face::Rect { half_x_m, half_y_m } => {
                let place = [self.at.x / half_x_m, self.at.y / half_y_m];
                emission.luminance(place, [along.x, along.y])
            }
            Face::Cap { radius_m, chord_m } => {
                let across = n.x.hypot(n.y).max(1e-12);
                let (c, s) = (n.x / across, n.y / across);
                let rho = radius_m / chord_m * (2.0 * (1.0 - n.z).max(0.0)).sqrt();
                let away = along.dot(DVec3::new(c * n.z, s * n.z, -across));
                emission.luminance([rho * c, rho * s], [away, s * along.x - c * along.y])
            }
            Face::Globe { .. } | Face::Tube { .. } => {
                let sine = (along - n * along.dot(n)).length();
                emission.luminance([0.0; 2], [sine, 0.0])
            }
        }
    }
}

/// The outline of a flat face about its middle.
#[derive(Clone, Copy)]
enum Outline {
    Round(f64),
    /// Corner radius and sides, a corner on the x axis.
    Sides(f64, u32),
    Rect(f64, f64),
}

impl Outline {
    fn of(face: Face) -> Self {
        match face {
            Face::Polygon { radius_m, sides } => Self::Sides(radius_m, sides),
            Face::Rect { half_x_m, half_y_m } => Self::Rect(half_x_m, half_y_m),
            Face::Disk { radius_m } | Face::Cap { radius_m, .. } | Face::Globe { radius_m } => {
                Self::Round(radius_m)
            }
            Face::Tube {
                half_length_m,
                radius_m,
            } => Self::Rect(half_length_m, radius_m),
        }
    }
}

/// A convex part of a plane: what several outlines, moved and scaled, have in common.
struct Region {
    outlines: Vec<(Outline, f64, [f64; 2])>,
    /// Bounds in x and y.
    sides: Side,
    rows: Side,
}

impl Region {
    fn new(outline: Outline) -> Self {
        let mut region = Self {
            outlines: Vec::with_capacity(2),
            sides: ALL,
            rows: ALL,
        };
        region.also(outline, 1.0, [0.0; 2]);
        region
    }

    /// Cuts by an outline, scaled and then moved.
    fn also(&mut self, outline: Outline, scale: f64, by: [f64; 2]) {
        let high = match outline {
            Outline::Round(radius) => radius,
            Outline::Rect(_, half_y) => half_y,
            Outline::Sides(radius, n) => (0..n)
                .map(|k| radius * (2.0 * PI * f64::from(k) / f64::from(n)).sin())
                .fold(0.0, f64::max),
        };
        self.rows = meet(self.rows, [by[1] - scale * high, by[1] + scale * high]);
        self.outlines.push((outline, scale, by));
    }

    /// The span of x at a y.
    fn columns(&self, y: f64) -> Side {
        let spans = self.outlines.iter().map(|(outline, scale, by)| {
            let v = (y - by[1]) / scale;
            let [low, high] = outline.columns(v);
            [by[0] + scale * low, by[0] + scale * high]
        });
        spans.fold(self.sides, meet)
    }

    fn holds(&self, at: DVec3) -> bool {
        let [left, right] = self.columns(at.y);
        let [low, high] = self.rows;
        (left..=right).contains(&at.x) && (low..=high).contains(&at.y)
    }
}

impl Outline {
    fn columns(self, y: f64) -> Side {
        match self {
            Self::Round(radius) => {
                let half = (radius * radius - y * y).max(0.0).sqrt();
                [-half, half]
            }
            Self::Rect(half_x, _) => [-half_x, half_x],
            Self::Sides(radius, n) => {
                let sector = 2.0 * PI / f64::from(n);
                let apothem = radius * (0.5 * sector).cos();
                (0..n).fold(ALL, |span, k| {
                    let (s, c) = ((f64::from(k) + 0.5) * sector).sin_cos();
                    let x = (apothem - s * y) / c;
                    match c {
                        c if c > 1e-9 => meet(span, [f64::NEG_INFINITY, x]),
                        c if c < -1e-9 => meet(span, [x, f64::INFINITY]),
                        _ => span,
                    }
                })
            }
        }
    }
}

fn meet(a: Side, b: Side) -> Side {
    [a[0].max(b[0]), a[1].min(b[1])]
}

/// Spans of x and y that a black cloth leaves free on a front of these half sides.
fn left_free(cover: Cover, half: [f64; 2]) -> [Side; 2] {
    let edge = |half: f64| half * (1.0 - 2.0 * cover.share);
    let below = |half: f64| [f64::NEG_INFINITY, edge(half)];
    let above = |half: f64| [-edge(half), f64::INFINITY];
    match cover.side {
        CoverSide::Left => [above(half[0]), ALL],
        CoverSide::Right => [below(half[0]), ALL],
        CoverSide::Bottom => [ALL, above(half[1])],
        CoverSide::Top => [ALL, below(half[1])],
    }
}

fn origin(placed: &Placed) -> DVec3 {
    turned(DVec3::new(0.0, 0.0, placed.offset_z_m), placed.facing)
}

/// Turned half round the y axis for what faces back.
fn turned(v: DVec3, facing: Facing) -> DVec3 {
    match facing {
        Facing::Front => v,
        Facing::Back => DVec3::new(-v.x, v.y, -v.z),
    }
}

/// Where a sight first meets a sphere about the origin, from outside.
fn nearest_root(eye: DVec3, sight: DVec3, radius_m: f64) -> Option<f64> {
    let (a, b) = (sight.length_squared(), eye.dot(sight));
    let inside = b * b - a * (eye.length_squared() - radius_m * radius_m);
    let t = (-b - inside.max(0.0).sqrt()) / a;
    (inside >= 0.0 && t > 0.0).then_some(t)
}
