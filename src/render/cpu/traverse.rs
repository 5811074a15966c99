//! Traversal on the CPU: eight boxes, or eight triangles, at a time.

use crate::scene::{
    accel::{Accel, EMPTY, Grown, LEAF, Packet},
    records::{Hit, NOTHING, TRACE_NEAREST, TRACE_OPAQUE},
};
use glam::Vec3;
use std::cell::Cell;
use wide::f32x8;

/// Scratch for one thread's traversals, as deep as the tree asks.
pub struct Stack(Vec<Cell<(u32, f32)>>);

impl Stack {
    /// Room for any traversal of `accel`.
    pub fn new(accel: &Accel) -> Self {
        let entries = accel.trees.iter().map(|t| t.grown.stack_entries).max();
        Self(vec![Cell::new((EMPTY, 0.0)); entries.unwrap_or(0)])
    }
}

struct Ray {
    origin: [f32x8; 3],
    direction: [f32x8; 3],
    /// Origin and inverse direction, for boxes.
    start: [f32x8; 3],
    inverse: [f32x8; 3],
    /// 1 where the ray runs down the axis, so that its near plane is the high one.
    down: [usize; 3],
}

/// First hit within `t_max` (metres along the unit `direction`), by one of the `TRACE_*` modes;
/// `triangle` is `NOTHING` where there
/// is none, and `u` then 1 if an opaque trace met sheets that pass light.
pub fn trace(
    accel: &Accel,
    stack: &Stack,
    origin: Vec3,
    direction: Vec3,
    t_max: f32,
    mode: u32,
) -> Hit {
    let mut best = Hit {
        t: t_max,
        triangle: NOTHING.0,
        u: 0.0,
        v: 0.0,
    };
    if accel.trees.is_empty() {
        return best;
    }
    let ray = Ray::new(origin, direction);
    for tree in &accel.trees {
        if trace_tree(&tree.grown, &stack.0, &ray, &mut best, mode) {
            // Its triangles are numbered from 0.
            best.triangle += tree.first_triangle;
            if mode == TRACE_OPAQUE.0 {
                break;
            }
        }
    }
    best
}

/// The same in one tree; whether something nearer was met.
fn trace_tree(
    tree: &Grown,
    stack: &[Cell<(u32, f32)>],
    ray: &Ray,
    best: &mut Hit,
    mode: u32,
) -> bool {
    let mut found = false;
    let mut top = 0;
    let mut node = 0;
    loop {
        if node & LEAF == 0 {
            let n = &tree.nodes[node as usize];
            let slab = |axis: usize, far: usize| {
                (n.planes[2 * axis + (ray.down[axis] ^ far)] - ray.start[axis]) * ray.inverse[axis]
            };
            let near = slab(0, 0)
                .fast_max(slab(1, 0))
                .fast_max(slab(2, 0))
                .fast_max(f32x8::ZERO);
            let far = slab(0, 1)
                .fast_min(slab(1, 1))
                .fast_min(slab(2, 1))
                .fast_min(f32x8::splat(best.t));
            // The far side is let out by a few roundings, so that no edge between boxes leaks.
            let mut met = near.simd_le(far * 1.000_000_4).to_bitmask();
            let nears = near.to_array();
            // Push what is met, nearest last; any order will do where any hit will.
            let base = top;
            let ordered = mode != TRACE_OPAQUE.0;
            while met != 0 {
                let lane = met.trailing_zeros() as usize;
                met &= met - 1;
                let entry = (n.children[lane], nears[lane]);
                let mut at = top;
                while ordered && at > base && stack[at - 1].get().1 < entry.1 {
                    stack[at].set(stack[at - 1].get());
                    at -= 1;
                }
                stack[at].set(entry);
                top += 1;
            }
        } else {
            let packet = &tree.packets[(node & !LEAF) as usize];
            if meet(packet, ray, best, mode) {
                found = true;
                if mode == TRACE_OPAQUE.0 {
                    return true;
                }
            }
        }
        loop {
            if top == 0 {
                return found;
            }
            top -= 1;
            let (next, near) = stack[top].get();
            if near <= best.t {
                node = next;
                break;
            }
        }
    }
}

impl Ray {
    fn new(origin: Vec3, direction: Vec3) -> Self {
        // A zero component gets a huge but finite inverse: no NaN where a plane lies on the origin.
        let inverse = |d: f32| {
            1.0 / if d.abs() < 1e-20 {
                1e-20_f32.copysign(d)
            } else {
                d
            }
        };
        Self {
            origin: [origin.x, origin.y, origin.z].map(f32x8::splat),
            direction: [direction.x, direction.y, direction.z].map(f32x8::splat),
            start: [origin.x, origin.y, origin.z].map(f32x8::splat),
            inverse: [direction.x, direction.y, direction.z].map(|d| f32x8::splat(inverse(d))),
            down: [direction.x, direction.y, direction.z]
                .map(|d| usize::from(d.is_sign_negative())),
        }
    }
}

/// Möller and Trumbore 1997, eight triangles at once. True if something nearer was met.
#[inline]
fn meet(p: &Packet, ray: &Ray, best: &mut Hit, mode: u32) -> bool {
    let cross = |a: &[f32x8; 3], b: &[f32x8; 3]| {
        [
            a[1] * b[2] - a[2] * b[1],
            a[2] * b[0] - a[0] * b[2],
            a[0] * b[1] - a[1] * b[0],
        ]
    };
    let dot = |a: &[f32x8; 3], b: &[f32x8; 3]| a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
    let h = cross(&ray.direction, &p.edge_c);
    let det = dot(&p.edge_b, &h);
    let inverse = f32x8::ONE / det;
    let to = [
        ray.origin[0] - p.corner[0],
        ray.origin[1] - p.corner[1],
        ray.origin[2] - p.corner[2],
    ];
    let u = dot(&to, &h) * inverse;
    let q = cross(&to, &p.edge_b);
    let v = dot(&ray.direction, &q) * inverse;
    let t = dot(&p.edge_c, &q) * inverse;
    // A degenerate lane divides by zero; comparisons with NaN and infinity are all false.
    let inside = u.simd_ge(f32x8::splat(-1e-7))
        & v.simd_ge(f32x8::splat(-1e-7))
        & (u + v).simd_le(f32x8::splat(1.000_000_2));
    let met = inside & t.simd_gt(f32x8::ZERO) & t.simd_lt(f32x8::splat(best.t));
    let mut lanes = met.to_bitmask();
    if mode != TRACE_NEAREST.0 {
        if mode == TRACE_OPAQUE.0 {
            // Tell that a sheet is in the way, so that only such rays are followed through it.
            if lanes & p.passing != 0 {
                best.u = 1.0;
            }
            lanes &= !p.passing;
        } else {
            lanes &= p.passing;
        }
    }
    if lanes == 0 {
        return false;
    }
    let (ts, us, vs) = (t.to_array(), u.to_array(), v.to_array());
    while lanes != 0 {
        let lane = lanes.trailing_zeros() as usize;
        lanes &= lanes - 1;
        if ts[lane] < best.t {
            *best = Hit {
                t: ts[lane],
                triangle: p.triangle[lane],
                u: us[lane],
                v: vs[lane],
            };
        }
    }
    true
}
