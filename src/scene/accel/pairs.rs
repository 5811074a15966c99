//! The trees laid out in pairs, as a GPU walks them.

use super::{EMPTY, Grown, Half, LANES, LEAF, Packet, splits};
use glam::Vec3;
use std::ops::Range;
use wide::f32x8;

/// All trees as one of binary nodes, for a GPU.
#[derive(Debug, Clone, Default)]
pub struct Pairs {
    /// Binary nodes; the root is the first.
    pub nodes: Vec<NodePair>,
    /// Triangles in the order of the leaves.
    pub facets: Vec<Facet>,
}

/// Triangles below a leaf of the pairs: a GPU meets them one by one, so packets with more are halved.
pub(super) const MOST_FACETS: usize = 4;

/// Two children of a binary node with their bounds. A child with `count` 0 is the node `first`;
/// otherwise the facets `first .. first + count`.
#[repr(C)]
#[derive(Debug, Clone, Copy, bytemuck::Pod, bytemuck::Zeroable)]
pub struct NodePair {
    /// Left child's low corner, metres.
    pub left_low: [f32; 3],
    /// Left child's first node or facet.
    pub left_first: u32,
    /// Left child's high corner.
    pub left_high: [f32; 3],
    /// Left child's facet count.
    pub left_count: u32,
    /// Right child's low corner.
    pub right_low: [f32; 3],
    /// Right child's first node or facet.
    pub right_first: u32,
    /// Right child's high corner.
    pub right_high: [f32; 3],
    /// Right child's facet count.
    pub right_count: u32,
}

/// A triangle as a GPU intersects it.
#[repr(C)]
#[derive(Debug, Clone, Copy, bytemuck::Pod, bytemuck::Zeroable)]
pub struct Facet {
    /// First corner, metres.
    pub corner: [f32; 3],
    /// The triangle's number in the scene.
    pub triangle: u32,
    /// First edge.
    pub edge_b: [f32; 3],
    /// 1 for a sheet that passes light.
    pub passing: u32,
    /// Second edge.
    pub edge_c: [f32; 3],
    /// Unused.
    pub spare: u32,
}

/// A box, and where it leads in pairs.
#[derive(Clone, Copy)]
struct Side {
    low: Vec3,
    high: Vec3,
    first: u32,
    count: u32,
}

impl Side {
    /// Nothing meets it.
    const OUT_OF_REACH: Self = Self {
        low: Vec3::INFINITY,
        high: Vec3::NEG_INFINITY,
        first: 0,
        count: 0,
    };

    /// With a facet's corners in it. They are summed from its edges, so the box is let out by a rounding.
    fn around(self, facet: &Facet) -> Self {
        let a = Vec3::from(facet.corner);
        let (b, c) = (a + Vec3::from(facet.edge_b), a + Vec3::from(facet.edge_c));
        let slack = a.abs().max(b.abs()).max(c.abs()) * f32::EPSILON;
        Self {
            low: self.low.min(a.min(b).min(c) - slack),
            high: self.high.max(a.max(b).max(c) + slack),
            ..self
        }
    }

    fn half_area(&self) -> f32 {
        let d = self.high - self.low;
        d.x * d.y + d.y * d.z + d.z * d.x
    }

    fn pair([left, right]: [Self; 2]) -> NodePair {
        NodePair {
            left_low: left.low.into(),
            left_first: left.first,
            left_high: left.high.into(),
            left_count: left.count,
            right_low: right.low.into(),
            right_first: right.first,
            right_high: right.high.into(),
            right_count: right.count,
        }
    }
}

impl Grown {
    pub(super) fn paired(&self) -> Pairs {
        let mut pairs = Pairs::default();
        self.pair(0, &mut pairs);
        pairs
    }

    /// Appends the pairs of an eight-wide node and all below it, its root first.
    fn pair(&self, index: usize, into: &mut Pairs) {
        let node = &self.nodes[index];
        let count = node.children.iter().filter(|c| **c != EMPTY).count();
        let splits = splits(&self.openings[index], count);
        let first = into.nodes.len();
        // A single leaf still needs a pair above it.
        let inner = splits.len().max(1);
        into.nodes
            .resize(first + inner, bytemuck::Zeroable::zeroed());
        let planes: [[f32; 8]; 6] = std::array::from_fn(|i| node.planes[i].to_array());
        let lanes: Vec<Side> = (0..count)
            .map(|lane| {
                let corner = |k: usize| {
                    Vec3::from_array(std::array::from_fn(|axis| planes[2 * axis + k][lane]))
                };
                let child = node.children[lane];
                let (to, facets) = if child & LEAF == 0 {
                    let to = into.nodes.len() as u32;
                    self.pair(child as usize, into);
                    (to, 0)
                } else {
                    into.leaf(&self.packets[(child & !LEAF) as usize])
                };
                Side {
                    low: corner(0),
                    high: corner(1),
                    first: to,
                    count: facets,
                }
            })
            .collect();
        if splits.is_empty() {
            into.nodes[first] = Side::pair([lanes[0], Side::OUT_OF_REACH]);
        }
        let mut made: Vec<Side> = Vec::with_capacity(7);
        for (k, halves) in splits.iter().enumerate() {
            let sides = halves.map(|half| match half {
                Half::Lane(lane) => lanes[usize::from(lane)],
                Half::Split(split) => made[usize::from(split)],
            });
            // The root is the last of the splits and the first of the pairs.
            let at = first + splits.len() - 1 - k;
            into.nodes[at] = Side::pair(sides);
            made.push(Side {
                low: sides[0].low.min(sides[1].low),
                high: sides[0].high.max(sides[1].high),
                first: at as u32,
                count: 0,
            });
        }
    }
}

impl Pairs {
    /// Appends a packet's triangles, in two leaves under a node of their own where they are many; what leads there.
    fn leaf(&mut self, packet: &Packet) -> (u32, u32) {
        let facets = facets_of(packet);
        let first = self.facets.len() as u32;
        let count = facets.len();
        self.facets.extend_from_slice(&facets);
        if count <= MOST_FACETS {
            return (first, count as u32);
        }
        let side = |part: Range<usize>| {
            let none = Side::OUT_OF_REACH;
            let bounds = facets[part.clone()].iter().fold(none, Side::around);
            Side {
                first: first + part.start as u32,
                count: part.len() as u32,
                ..bounds
            }
        };
        let cost = |at: usize| {
            let of = |side: Side| side.half_area() * side.count as f32;
            of(side(0..at)) + of(side(at..count))
        };
        let halves = count - MOST_FACETS..=MOST_FACETS;
        let at = halves.min_by(|a, b| cost(*a).total_cmp(&cost(*b)));
        let at = at.unwrap_or(count / 2);
        let to = self.nodes.len() as u32;
        self.nodes.push(Side::pair([side(0..at), side(at..count)]));
        (to, 0)
    }

    /// Both under a new root.
    pub(super) fn joined(mut self, other: &Self) -> Self {
        let sides = [&self, other].map(|pairs| {
            let root = &pairs.nodes[0];
            Side {
                low: Vec3::from(root.left_low).min(root.right_low.into()),
                high: Vec3::from(root.left_high).max(root.right_high.into()),
                first: 1,
                count: 0,
            }
        });
        let second = Side {
            first: 1 + self.nodes.len() as u32,
            ..sides[1]
        };
        let mut nodes = Vec::with_capacity(1 + self.nodes.len() + other.nodes.len());
        nodes.push(Side::pair([sides[0], second]));
        let mut append = |from: &[NodePair], facets: u32| {
            let before = nodes.len() as u32;
            nodes.extend(from.iter().map(|pair| NodePair {
                left_first: pair.left_first + if pair.left_count == 0 { before } else { facets },
                // The empty side of a tree of one leaf is out of reach, and leads nowhere.
                right_first: pair.right_first
                    + if pair.right_count == 0 {
                        before
                    } else {
                        facets
                    },
                ..*pair
            }));
        };
        append(&self.nodes, 0);
        append(&other.nodes, self.facets.len() as u32);
        self.facets.extend_from_slice(&other.facets);
        Self {
            nodes,
            facets: self.facets,
        }
    }
}

fn facets_of(packet: &Packet) -> Vec<Facet> {
    let rows = |of: &[f32x8; 3]| of.map(f32x8::to_array);
    let (corner, edge_b, edge_c) = (
        rows(&packet.corner),
        rows(&packet.edge_b),
        rows(&packet.edge_c),
    );
    let held = (0..LANES).filter(|lane| packet.triangle[*lane] != EMPTY);
    held.map(|lane| {
        let of = |rows: &[[f32; LANES]; 3]| std::array::from_fn(|axis| rows[axis][lane]);
        Facet {
            corner: of(&corner),
            triangle: packet.triangle[lane],
            edge_b: of(&edge_b),
            passing: packet.passing >> lane & 1,
            edge_c: of(&edge_c),
            spare: 0,
        }
    })
    .collect()
}
