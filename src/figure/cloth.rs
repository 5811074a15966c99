//! Cloth that falls: any triangle mesh with flat rest places, under its own
//! weight, against a solid.
//!
//! Extended position-based dynamics (Macklin, Mueller and Chentanez 2016) in
//! small substeps of one sweep. Multipliers carry over slowly from substep to
//! substep, so that cloth at rest bears its weight with its own compliance,
//! whatever the substep; end a run with a damping of 30 to 40 for 0.3 s to let
//! them settle. In the plane each triangle
//! resists stretch along warp and weft and shear between them; bending is the
//! quadratic hinge energy of Bergou et al. (2006), applied as a force.
//!
//! Particles are sorted into blocks. Triangles within a block are swept in
//! order by one thread, those between blocks afterwards by one thread: the same
//! cloth always falls into the same folds, whatever the number of threads.
//!
//! Units inside are centimetres, grams and seconds, so forces are dynes.
//!
//! # Use
//! 1. Fill a [`ClothMesh`]: where each vertex starts, its triangles
//!    (counter-clockwise seen from outside), and for each triangle corner its
//!    place in the flat pattern in centimetres (x along the weft, y along the
//!    warp, right-handed seen from outside). Seams are shared vertices, or
//!    [`Link`]s that close.
//! 2. [`Cloth::new`] with the fabric's [`Mechanics`], then [`Cloth::fall`]
//!    against a [`Solid`] until it settles.
//! 3. Put [`Cloth::positions`] back into the mesh, refine it with
//!    [`ClothMesh::subdivided`], and fall again with a smaller substep.
//!
//! Substeps: 1/600 s for edges of about 2 cm, 1/1200 s for about 1 cm.

mod build;
mod face;
mod mechanics;
mod solid;
mod step;
mod strut;
mod subdivide;
mod touch;

pub use mechanics::Mechanics;
pub use solid::Solid;

use glam::{DVec2, DVec3};
use std::sync::atomic::AtomicBool;

/// A cut and sewn cloth before it falls.
#[derive(Debug, Clone, Default)]
pub struct ClothMesh {
    /// Where each vertex is, in centimetres.
    pub positions: Vec<DVec3>,
    /// Vertex indices, counter-clockwise seen from outside.
    pub triangles: Vec<[u32; 3]>,
    /// For each triangle, its corners in the flat pattern in centimetres
    /// (x weft, y warp).
    pub flat: Vec<[DVec2; 3]>,
    /// For each triangle, which piece it belongs to: free for the caller's use;
    /// kept by subdivision.
    pub group: Vec<u32>,
    /// For each vertex, whether it stays where it is.
    pub pinned: Vec<bool>,
    /// For each vertex, inertia over weighing mass; empty for 1. Where a lot of
    /// cloth hangs from little (a strap, a shoulder), extra inertia lets the
    /// sweeps hold the load; at rest only the weight counts.
    pub inertia: Vec<f64>,
    /// For each vertex, which of the solids that it falls against keeps it out; empty for the first.
    pub against: Vec<u8>,
    /// Whether open edges are turned or faced, which stiffens them.
    pub faced: bool,
    /// Distances held between vertices, such as seams that are to close.
    pub links: Vec<Link>,
    /// For each group, how many plies of the fabric lie on each other there
    /// (facings, bands, turned hems): weight and stretch stiffness grow with it,
    /// bending with its 1.6th power. Groups beyond the end are single.
    pub plies: Vec<f64>,
}

/// A distance held between two vertices; with a rest length of zero, a seam
/// that closes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Link {
    /// One vertex.
    pub a: u32,
    /// The other.
    pub b: u32,
    /// Length at rest, in centimetres.
    pub rest_cm: f64,
    /// Inverse stiffness in centimetres a dyne; 0 is rigid.
    pub compliance: f64,
    /// Whether it only pulls, like a thread, and lets the two come closer.
    pub slack: bool,
}

/// A capsule that cloth may not enter: an arm or a hand that is no part of the [`Solid`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rod {
    /// One end of the axis, in centimetres.
    pub a: DVec3,
    /// The other end.
    pub b: DVec3,
    /// Radius at `a`, in centimetres.
    pub ra: f64,
    /// Radius at `b`.
    pub rb: f64,
}

/// How the wearer moves. The cloth is watched from the body's own frame, so the
/// movement comes as inertia and as wind.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Motion {
    /// The body's acceleration in centimetres a second squared.
    pub acceleration: DVec3,
    /// Rate of turning about the vertical through `axis`, in radians a second,
    /// positive from +z to +x.
    pub spin: f64,
    /// Change of that rate, in radians a second squared.
    pub spin_rise: f64,
    /// A point on the axis of turning, in centimetres.
    pub axis: DVec3,
    /// Air that blows past the body, in centimetres a second; a body that walks
    /// feels its own speed backwards.
    pub wind: DVec3,
}

/// How a stretch of simulation runs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Run {
    /// At most this long, in seconds of the cloth's own time.
    pub seconds: f64,
    /// Length of a substep in seconds.
    pub substep_s: f64,
    /// Share of velocity lost a second: e^(-damping).
    pub damping: f64,
    /// Distance kept from the solid, in centimetres.
    pub gap_cm: f64,
    /// Coulomb friction between cloth and body.
    pub friction: f64,
    /// Distance kept between cloth and cloth, in centimetres; 0 lets folds cross.
    pub self_gap_cm: f64,
    /// Whether the solid is kept from coming through between corners too, at half that distance: where limbs are bent
    /// to a point that is finer than the mesh.
    pub keeps_faces: bool,
    /// Ends when the root-mean-square speed stays below this for 0.1 s, in
    /// centimetres a second; 0 runs to the end.
    pub rest_speed: f64,
    /// The wearer's movement.
    pub motion: Motion,
}

impl Default for Run {
    fn default() -> Self {
        Self {
            seconds: 2.0,
            substep_s: 1.0 / 1000.0,
            damping: 2.5,
            gap_cm: 0.3,
            friction: 0.3,
            self_gap_cm: 0.0,
            keeps_faces: false,
            rest_speed: 1.0,
            motion: Motion::default(),
        }
    }
}

/// Who looks on: is told the share done, and may ask to stop.
#[derive(Clone, Copy)]
pub struct Watch<'a> {
    /// Called now and then with the share done of this run, 0 to 1.
    pub progress: &'a (dyn Fn(f32) + Sync),
    /// Set from another thread to stop.
    pub cancel: &'a AtomicBool,
}

/// How a run ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Ended {
    /// At rest, after this many seconds of the cloth's own time.
    Settled(f64),
    /// Still moving when the time was up.
    TimeUp,
    /// Stopped from outside.
    Cancelled,
}

/// Cloth in the middle of falling.
pub struct Cloth {
    x: Vec<DVec3>,
    v: Vec<DVec3>,
    old: Vec<DVec3>,
    /// Where bending is felt: places led by velocity, which damps it.
    seen: Vec<DVec3>,
    /// How far each particle may still travel before the solid must be asked.
    clear: Vec<f64>,
    normal: Vec<DVec3>,
    /// Grams that weigh.
    mass: Vec<f64>,
    /// Inertia over weighing mass.
    slow: Vec<f64>,
    /// One over grams of inertia; 0 for pinned.
    inverse: Vec<f64>,
    /// Area of cloth that each particle stands for, in square centimetres.
    area: Vec<f64>,
    rows: build::Rows,
    blocks: Vec<build::Block>,
    border: build::Sweep,
    triangles: Vec<[u32; 3]>,
    /// The caller's vertex of each particle.
    vertex: Vec<u32>,
    touch: touch::Touch,
    faces: face::Faces,
    drag: f64,
    /// Which solid keeps each particle out.
    against: Vec<u8>,
    /// Substep for which inertia and multipliers are set.
    substep_s: f64,
}

impl Cloth {
    /// Where the vertices are, in the mesh's order, in centimetres.
    pub fn positions(&self) -> Vec<DVec3> {
        let mut out = vec![DVec3::ZERO; self.x.len()];
        for (x, &v) in self.x.iter().zip(&self.vertex) {
            out[v as usize] = *x;
        }
        out
    }

    /// Moves every vertex, for example a pinned band that is drawn along;
    /// `places` is in the mesh's order. Velocities stay.
    pub fn place(&mut self, places: &[DVec3]) {
        for (i, &v) in self.vertex.iter().enumerate() {
            self.x[i] = places[v as usize];
            self.seen[i] = self.x[i];
            self.clear[i] = 0.0;
        }
    }
}
