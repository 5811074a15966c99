//! What shapes a lamp, as taped out: kinds, sizes, cloths, the lamp's travel and its printed scale.
//!
//! "Bottom" is where a bowl or box is deepest; "face" the plane of its rim. Places along the axis
//! are metres from the bottom toward the face, unless said otherwise.
#![allow(missing_docs)] // a name with its unit says all

use std::sync::Arc;

use super::measured::MeasuredField;

/// What shapes the lamp.
#[derive(Debug, Clone, PartialEq)]
pub struct Modifier {
    /// The file's name, or the kind for an inline table.
    pub name: String,
    /// What the file calls it; may be empty.
    pub title: String,
    /// Where it was described.
    pub source: ModifierSource,
    pub kind: ModifierKind,
    /// The light of a measured one.
    pub measured: Option<Arc<MeasuredField>>,
    /// Cloth across the front (across the lip's back where the front is recessed).
    pub cloth: Option<Cloth>,
    /// Cloth inside a box.
    pub baffle: Option<Cloth>,
    pub grid: Option<Grid>,
    /// Depth of black walls standing around the front, metres.
    pub skirt_m: Option<f64>,
    pub cover: Option<Cover>,
    /// Where the lamp goes between tight and wide, for those whose lamp travels.
    pub travel: Option<Travel>,
    /// The marks printed on the rod.
    pub scale: Option<Scale>,
    /// Depth of the body behind the face, metres; zero for globe and tube.
    pub body_depth_m: f64,
    /// What readings found it to give against what its optics say, stops; zero until read.
    pub correction_stops: f64,
}

impl Modifier {
    /// The mark of its own scale at a spread of 0 to 1; `None` without a scale.
    pub fn mark_of_spread(&self, spread: f64) -> Option<f64> {
        Some(self.scale.as_ref()?.mark_of_spread(spread))
    }

    /// The spread at a mark of its own scale; `None` without a scale or beyond its travel.
    pub fn spread_of_mark(&self, mark: f64) -> Option<f64> {
        self.scale.as_ref()?.spread_of_mark(mark)
    }

    /// Middle of the lamp at a spread, metres: from the bottom, of a fresnel from the lens back, of
    /// a shoot-through from the top of its cloth back. `None` for kinds without a lamp of their own.
    pub fn lamp_at_m(&self, spread: f64) -> Option<f64> {
        match self.travel {
            Some(travel) => Some(travel.at_m(spread)),
            None => self.kind.lamp().map(|lamp| lamp.at_m),
        }
    }

    /// How far its lamp's head stands out in front of the face at a spread, and how wide it is,
    /// metres; `None` when it ends behind the face.
    pub fn head_in_front_m(&self, spread: f64) -> Option<[f64; 2]> {
        let (ModifierKind::Paraboloid(bowl) | ModifierKind::Umbrella(bowl)) = &self.kind else {
            return None;
        };
        let lit_end_m = self.lamp_at_m(spread)? + 0.5 * bowl.lamp.length_m;
        let end_m = lit_end_m + bowl.lamp.housing.map_or(0.0, |h| h.length_m);
        let wide_m = bowl.lamp.housing.map_or(0.0, |h| h.diameter_m);
        (end_m > bowl.depth_m).then(|| [end_m - bowl.depth_m, wide_m.max(bowl.lamp.diameter_m)])
    }
}

#[derive(Debug, Clone, PartialEq)]
pub enum ModifierSource {
    /// An inline table in the setup.
    Inline,
    /// A file, by the name or path written in the setup.
    Named(String),
}

/// The kinds. The first six are plain: even faces, or angles given. The last is measured, the others
/// are traced or follow from their geometry.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ModifierKind {
    /// A Lambertian rectangle, `w` along x and `h` along y.
    Panel { w_m: f64, h_m: f64 },
    /// A Lambertian disk.
    Disk { diameter_m: f64 },
    /// A Lambertian sphere; shines all round.
    Globe { diameter_m: f64 },
    /// A Lambertian cylinder along x; shines all round its axis.
    Tube { length_m: f64, diameter_m: f64 },
    /// A long narrow Lambertian rectangle, `w` along x and `h` along y.
    Strip { w_m: f64, h_m: f64 },
    /// A round aperture whose intensity falls to 50 % at half of `beam` and to 10 % at
    /// half of `field` (full angles).
    Spot {
        beam_rad: f64,
        field_rad: f64,
        diameter_m: f64,
    },
    /// A focusing bowl; its lamp stands on the axis, faces the bottom and travels.
    Paraboloid(Bowl),
    /// A tray of four walls; the lamp at its back faces the front.
    Softbox(Softbox),
    /// A round box; the lamp at its back faces the front.
    Octabox { bowl: Bowl, front: BoxFront },
    /// The lamp on the shaft faces the cloth, which sends the light back.
    Umbrella(Bowl),
    /// The lamp faces the canopy, which passes the light.
    ShootThrough(Canopy),
    /// A shallow dish with a plate before the lamp, which faces the front.
    Dish { bowl: Bowl, plate: CentrePlate },
    /// A reflector around a lamp that faces the front.
    Bowl(Bowl),
    /// The image of a gate in a lens.
    LensSpot(LensSpot),
    /// A stepped lens before a travelling lamp.
    Fresnel(Fresnel),
    /// A lamp in a frosted dome.
    BareLamp(BareLamp),
    /// A face that gives a measured far field, evenly over it. `w` along x and `h` along y, both the
    /// diameter of a round one.
    Measured { w_m: f64, h_m: f64, is_round: bool },
}

impl ModifierKind {
    /// The word in the file.
    pub fn word(&self) -> &'static str {
        match self {
            ModifierKind::Panel { .. } => "panel",
            ModifierKind::Disk { .. } => "disk",
            ModifierKind::Globe { .. } => "globe",
            ModifierKind::Tube { .. } => "tube",
            ModifierKind::Strip { .. } => "strip",
            ModifierKind::Spot { .. } => "spot",
            ModifierKind::Paraboloid(_) => "paraboloid",
            ModifierKind::Softbox(_) => "softbox",
            ModifierKind::Octabox { .. } => "octabox",
            ModifierKind::Umbrella(_) => "umbrella",
            ModifierKind::ShootThrough(_) => "shoot-through",
            ModifierKind::Dish { .. } => "dish",
            ModifierKind::Bowl(_) => "bowl",
            ModifierKind::LensSpot(_) => "lens-spot",
            ModifierKind::Fresnel(_) => "fresnel",
            ModifierKind::BareLamp(_) => "bare-lamp",
            ModifierKind::Measured { .. } => "measured",
        }
    }

    /// Width along x and height along y of what the subject sees, metres.
    pub fn face_m(&self) -> [f64; 2] {
        match *self {
            ModifierKind::Panel { w_m, h_m }
            | ModifierKind::Strip { w_m, h_m }
            | ModifierKind::Measured { w_m, h_m, .. } => [w_m, h_m],
            ModifierKind::Softbox(b) => b.size_m,
            ModifierKind::Tube {
                length_m,
                diameter_m,
            } => [length_m, diameter_m],
            ModifierKind::Disk { diameter_m }
            | ModifierKind::Globe { diameter_m }
            | ModifierKind::Spot { diameter_m, .. } => [diameter_m; 2],
            ModifierKind::Paraboloid(bowl)
            | ModifierKind::Octabox { bowl, .. }
            | ModifierKind::Umbrella(bowl)
            | ModifierKind::Dish { bowl, .. }
            | ModifierKind::Bowl(bowl) => [bowl.diameter_m; 2],
            ModifierKind::ShootThrough(c) => [c.diameter_m; 2],
            ModifierKind::LensSpot(s) => [s.diameter_m; 2],
            ModifierKind::Fresnel(f) => [f.diameter_m; 2],
            ModifierKind::BareLamp(l) => [l.dome_m; 2],
        }
    }

    /// Whether it has a front (and so a direction): all but the globe, the tube and the bare lamp.
    pub fn has_front(&self) -> bool {
        !matches!(
            self,
            ModifierKind::Globe { .. } | ModifierKind::Tube { .. } | ModifierKind::BareLamp(_)
        )
    }

    /// Whether things can be fastened before its front: all with a front but the shoot-through,
    /// whose front bulges.
    pub fn has_flat_front(&self) -> bool {
        self.has_front() && !matches!(self, ModifierKind::ShootThrough(_))
    }

    /// The lamp inside, where light is traced through the modifier.
    pub fn lamp(&self) -> Option<&Lamp> {
        match self {
            ModifierKind::Paraboloid(bowl)
            | ModifierKind::Octabox { bowl, .. }
            | ModifierKind::Umbrella(bowl)
            | ModifierKind::Dish { bowl, .. }
            | ModifierKind::Bowl(bowl) => Some(&bowl.lamp),
            ModifierKind::Softbox(b) => Some(&b.lamp),
            ModifierKind::ShootThrough(c) => Some(&c.lamp),
            ModifierKind::Fresnel(f) => Some(&f.lamp),
            _ => None,
        }
    }
}

/// A round shell around a lamp.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bowl {
    /// Of the rim, over the corners where it has sides.
    pub diameter_m: f64,
    pub depth_m: f64,
    pub curve: Curve,
    /// Sides of the rim; none is a circle.
    pub sides: Option<u32>,
    pub lining: Lining,
    pub lamp: Lamp,
}

impl Bowl {
    /// Radius of the shell at a place on the axis, `from_bottom_m` from the bottom.
    pub fn radius_at_m(&self, from_bottom_m: f64) -> f64 {
        let (rim, depth) = (0.5 * self.diameter_m, self.depth_m);
        let z = from_bottom_m.clamp(0.0, depth);
        match self.curve {
            Curve::Parabola => rim * (z / depth).sqrt(),
            Curve::Sphere => {
                let ball = (rim * rim + depth * depth) / (2.0 * depth);
                (z * (2.0 * ball - z)).max(0.0).sqrt()
            }
            Curve::Cone { back_m } => 0.5 * back_m + (rim - 0.5 * back_m) * z / depth,
        }
    }

    /// Focus of its paraboloid above the bottom: f = (D/2)² / 4h.
    pub fn focal_length_m(&self) -> f64 {
        self.diameter_m * self.diameter_m / (16.0 * self.depth_m)
    }
}

/// How a bowl runs from its bottom to its rim.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Curve {
    Parabola,
    /// Part of a sphere.
    Sphere,
    /// Straight, from a flat round back of this diameter.
    Cone {
        back_m: f64,
    },
}

/// A box of four flat walls.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Softbox {
    /// Width and height of the face.
    pub size_m: [f64; 2],
    pub depth_m: f64,
    /// Width and height of its flat back.
    pub back_m: [f64; 2],
    pub lining: Lining,
    pub front: BoxFront,
    pub lamp: Lamp,
}

/// What lies between a box's lamp and its face.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BoxFront {
    /// How far the front cloth lies behind the face; the walls run on as a lip.
    pub recess_m: f64,
    /// Where the baffle hangs, if there is one: this far behind the face.
    pub baffle_at_m: f64,
}

/// The cloth of a shoot-through: part of a sphere that bulges toward the subject, its rim the face.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Canopy {
    pub diameter_m: f64,
    pub depth_m: f64,
    pub sides: Option<u32>,
    pub cloth: Cloth,
    /// Its place is from the top of the cloth, back.
    pub lamp: Lamp,
}

/// A disk before the lamp, its back black.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CentrePlate {
    pub diameter_m: f64,
    pub at_m: f64,
}

/// A gate, imaged by a thin lens in the face.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LensSpot {
    /// Of the lens.
    pub diameter_m: f64,
    pub focal_length_m: f64,
    /// Diameter of the gate.
    pub gate_m: f64,
    /// Where the edge is sharp at focus 0, from the lens.
    pub sharp_at_m: f64,
    /// 0 sharp to 1 soft.
    pub focus: f64,
    pub transmission: f64,
    /// Diameter and length of the lit part, for how bright the gate can be.
    pub lamp_m: [f64; 2],
}

impl LensSpot {
    /// Gate to lens at a focus of 0 to 1, metres. At 0 the gate is imaged at `sharp_at_m`:
    /// 1/f = 1/s + 1/s' (thin lens). Toward 1 the lens moves out by a quarter of that.
    pub fn gate_at_m(&self, focus: f64) -> f64 {
        (1.0 + 0.25 * focus) / (1.0 / self.focal_length_m - 1.0 / self.sharp_at_m)
    }
}

/// A thin stepped lens in the face.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fresnel {
    /// Of the lens.
    pub diameter_m: f64,
    pub focal_length_m: f64,
    pub transmission: f64,
    /// Blur by the lens's steps, standard deviation each way.
    pub haze_rad: f64,
    /// Its place is from the lens, back. With the mirror behind it, it shines as a disk.
    pub lamp: Lamp,
}

/// A lamp in a frosted dome on its head.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BareLamp {
    /// Diameter of the dome.
    pub dome_m: f64,
    pub transmission: f64,
    /// Diameter of the head, which closes the dome behind, and its length.
    pub housing: Cylinder,
}

impl BareLamp {
    /// From the dome's middle back to where the head closes it, metres.
    pub fn neck_m(&self) -> f64 {
        let (dome, head) = (0.5 * self.dome_m, 0.5 * self.housing.diameter_m);
        (dome * dome - head * head).max(0.0).sqrt()
    }
}

/// The lit part of a lamp and its head. The lit part is a cylinder along the axis with round ends, or
/// the mouth of the head's own small reflector, a disk: then its length is zero.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lamp {
    pub diameter_m: f64,
    /// Over all.
    pub length_m: f64,
    /// Where its middle is; where the lamp travels, at spread 0.
    pub at_m: f64,
    /// The black head right behind it, away from where it faces, if it reaches into the light.
    pub housing: Option<Cylinder>,
}

impl Lamp {
    /// Whether light leaves it by the mouth of a cup.
    pub fn has_cup(&self) -> bool {
        self.length_m == 0.0
    }

    /// The lit part alone.
    pub fn lit(&self) -> Cylinder {
        Cylinder {
            diameter_m: self.diameter_m,
            length_m: self.length_m,
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cylinder {
    pub diameter_m: f64,
    pub length_m: f64,
}

/// The inside of a bowl or box.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Lining {
    /// Metal, its slopes Gaussian with this deviation in each axis.
    Silver {
        reflectance: f64,
        slope_rad: f64,
        /// Flat panels: rings from bottom to rim, and panels in each.
        panels: Option<[u32; 2]>,
    },
    /// Lambertian.
    Matt { reflectance: f64 },
}

/// What a cloth does with the light that meets it, in shares; the rest is lost.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cloth {
    /// Goes straight on.
    pub straight: f64,
    /// Goes on, spread a little: by a Gaussian in direction cosines.
    pub spread: f64,
    /// Its standard deviation in each axis.
    pub sigma: f64,
    /// Goes on in all directions (Lambertian).
    pub scattered: f64,
    /// Is thrown back (Lambertian).
    pub reflected: f64,
}

impl Cloth {
    /// Share that goes on.
    pub fn passed(&self) -> f64 {
        self.straight + self.spread + self.scattered
    }
}

/// A black grid in front of the face.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grid {
    /// Width of a cell across, metres.
    pub cell_m: f64,
    /// Depth of the cells, metres. Cut-off half angle: `atan(cell / depth)`.
    pub depth_m: f64,
    pub shape: CellShape,
    /// Fraction of the face that is open, over 0 and up to 1.
    pub open_fraction: f64,
}

impl Grid {
    /// Half angle beyond which nothing passes, radians.
    pub fn cutoff_rad(&self) -> f64 {
        (self.cell_m / self.depth_m).atan()
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CellShape {
    Square,
    Hex,
    Round,
}

/// Black cloth over part of the front, from one side on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cover {
    pub side: CoverSide,
    /// Share of the width or height that is covered, over 0 and under 1.
    pub share: f64,
}

/// As seen from in front, the light not rolled: right is +x, top +y.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CoverSide {
    Left,
    Right,
    Top,
    Bottom,
}

/// Where the lamp's middle is at both ends of its travel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Travel {
    /// At spread 0.
    pub tight_m: f64,
    /// At spread 1.
    pub wide_m: f64,
}

impl Travel {
    /// Place at a spread.
    pub fn at_m(&self, spread: f64) -> f64 {
        self.tight_m + (self.wide_m - self.tight_m) * spread
    }

    /// Spread at a place.
    pub fn spread_at(&self, at_m: f64) -> f64 {
        (at_m - self.tight_m) / (self.wide_m - self.tight_m)
    }
}

/// Marks printed on the rod, read straight between two of them.
#[derive(Debug, Clone, PartialEq)]
pub struct Scale {
    /// What its marks are called.
    pub name: String,
    /// Mark and spread; two at least, the spread rising, the marks all rising or all falling.
    pub marks: Vec<[f64; 2]>,
}

impl Scale {
    /// The mark at a spread; beyond the outermost marks their line goes on.
    pub fn mark_of_spread(&self, spread: f64) -> f64 {
        self.between(1, spread, 0)
    }

    /// The spread at a mark; `None` beyond the travel.
    pub fn spread_of_mark(&self, mark: f64) -> Option<f64> {
        let spread = self.between(0, mark, 1);
        // A mark that was written from a spread may be off in its last digit.
        (-1e-6..=1.0 + 1e-6)
            .contains(&spread)
            .then(|| spread.clamp(0.0, 1.0))
    }

    /// Reads column `to` where column `from` has `value`.
    fn between(&self, from: usize, value: f64, to: usize) -> f64 {
        let rising = self.marks.windows(2).all(|p| p[1][from] > p[0][from]);
        let last = self.marks.len().saturating_sub(2);
        let pair = (0..=last)
            .find(|i| {
                let end = self.marks[(i + 1).min(self.marks.len() - 1)][from];
                if rising { value <= end } else { value >= end }
            })
            .unwrap_or(last);
        let (a, b) = (self.marks[pair], self.marks[pair + 1]);
        a[to] + (b[to] - a[to]) * (value - a[from]) / (b[from] - a[from])
    }
}
