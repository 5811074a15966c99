//! The acceleration structure: one binary tree built once, laid out twice, eight wide for the
//! CPU's vector units and in pairs for a GPU.

use glam::Vec3;
use obvhs::{
    BvhBuildParams, bvh2::Bvh2, bvh2::builder::build_bvh2_from_tris, triangle::Triangle as Tri,
};
use std::time::Duration;
use wide::{f32x4, f32x8};

/// Marks a child of [`Node8`] as a packet of triangles; the other bits are its index.
pub const LEAF: u32 = 0x8000_0000;
/// An unused child of [`Node8`].
pub const EMPTY: u32 = u32::MAX;

/// Both layouts of the tree over a scene's triangles.
#[derive(Debug, Clone, Default)]
pub struct Accel {
    /// Eight-wide nodes; the root is the first. Empty when there are no triangles.
    pub nodes: Vec<Node8>,
    /// Triangles in fours, as the leaves of `nodes` name them.
    pub packets: Vec<Packet>,
    /// Entries a traversal of `nodes` may have waiting at once, at the most.
    pub stack_entries: usize,
    /// Binary nodes for a GPU; the root is the first.
    pub pairs: Vec<NodePair>,
    /// Triangles in the order of the leaves of `pairs`.
    pub facets: Vec<Facet>,
    /// Depth of `pairs`: entries a traversal may have waiting, at the most.
    pub pair_depth: usize,
}

/// Bounds of eight children, and where each leads.
#[derive(Debug, Clone, Copy)]
pub struct Node8 {
    /// Planes in the order low x, high x, low y, high y, low z, high z; metres.
    pub planes: [f32x8; 6],
    /// A node's index, a packet's with [`LEAF`], or [`EMPTY`].
    pub children: [u32; 8],
}

/// Four triangles side by side: first corner, two edges (metres), numbers in the scene.
#[derive(Debug, Clone, Copy)]
pub struct Packet {
    /// First corners: x, y, z.
    pub corner: [f32x4; 3],
    /// First edges.
    pub edge_b: [f32x4; 3],
    /// Second edges.
    pub edge_c: [f32x4; 3],
    /// The triangle's number; unused lanes are degenerate and never hit.
    pub triangle: [u32; 4],
    /// Bit k: lane k is a sheet that passes light.
    pub passing: u32,
}

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

impl Accel {
    /// Builds both layouts. `corners` are the triangles' corners in metres; `passing` tells which
    /// let light through.
    ///
    /// # Panics
    /// When the two differ in length.
    pub fn build(corners: &[[Vec3; 3]], passing: &[bool]) -> Self {
        assert_eq!(corners.len(), passing.len(), "one flag a triangle");
        if corners.is_empty() {
            return Self::default();
        }
        let triangles: Vec<Tri> = corners
            .iter()
            .map(|c| Tri {
                v0: c[0].into(),
                v1: c[1].into(),
                v2: c[2].into(),
            })
            .collect();
        let parameters = BvhBuildParams {
            max_prims_per_leaf: 4,
            ..BvhBuildParams::medium_build()
        };
        let tree = build_bvh2_from_tris(&triangles, parameters, &mut Duration::default());
        // Neither layout needs the other.
        let widened = || {
            let mut accel = Self::default();
            let mut collapse = Collapse {
                tree: &tree,
                corners,
                passing,
                accel: &mut accel,
            };
            let levels = collapse.widen(0);
            // Each level leaves at most seven siblings waiting.
            accel.stack_entries = 7 * levels + 8;
            accel
        };
        let paired = || {
            let mut accel = Self::default();
            let mut pairing = Pairing {
                tree: &tree,
                corners,
                passing,
                accel: &mut accel,
            };
            accel.pair_depth = pairing.root() + 2;
            accel
        };
        let (wide, pairs) = rayon::join(widened, paired);
        Self {
            pairs: pairs.pairs,
            facets: pairs.facets,
            pair_depth: pairs.pair_depth,
            ..wide
        }
    }

    /// Joins two trees under a new root, so that what moves can be built anew while the rest stays as it
    /// is. The second tree's triangles are numbered on from `first_of_other`.
    #[must_use]
    pub fn joined(self, other: Self, first_of_other: u32) -> Self {
        if self.nodes.is_empty() || other.nodes.is_empty() {
            let mut only = if self.nodes.is_empty() {
                other
            } else {
                return self;
            };
            only.renumber(first_of_other);
            return only;
        }
        let mut all = Self {
            stack_entries: 7 + self.stack_entries.max(other.stack_entries),
            pair_depth: 1 + self.pair_depth.max(other.pair_depth),
            ..Self::default()
        };
        let sides = [self.bounds(), other.bounds()];
        let mut planes = [[f32::INFINITY; 8], [f32::NEG_INFINITY; 8]].repeat(3);
        for (lane, (low, high)) in sides.iter().enumerate() {
            for axis in 0..3 {
                planes[2 * axis][lane] = low[axis];
                planes[2 * axis + 1][lane] = high[axis];
            }
        }
        let mut children = [EMPTY; 8];
        children[0] = 1;
        children[1] = 1 + self.nodes.len() as u32;
        all.nodes.reserve(1 + self.nodes.len() + other.nodes.len());
        all.nodes.push(Node8 {
            planes: std::array::from_fn(|i| f32x8::from(planes[i])),
            children,
        });
        all.pairs.push(NodePair {
            left_low: sides[0].0.into(),
            left_first: 1,
            left_high: sides[0].1.into(),
            left_count: 0,
            right_low: sides[1].0.into(),
            right_first: 1 + self.pairs.len() as u32,
            right_high: sides[1].1.into(),
            right_count: 0,
        });
        all.append(self, 0);
        all.append(other, first_of_other);
        all
    }

    /// Puts another tree's nodes and triangles behind those that there are.
    fn append(&mut self, mut other: Self, first_triangle: u32) {
        other.renumber(first_triangle);
        let (nodes, packets) = (self.nodes.len() as u32, self.packets.len() as u32);
        let (pairs, facets) = (self.pairs.len() as u32, self.facets.len() as u32);
        for node in &mut other.nodes {
            for child in &mut node.children {
                *child = match *child {
                    EMPTY => EMPTY,
                    leaf if leaf & LEAF != 0 => leaf + packets,
                    inner => inner + nodes,
                };
            }
        }
        for pair in &mut other.pairs {
            pair.left_first += if pair.left_count == 0 { pairs } else { facets };
            // The empty side of a tree of one leaf is out of reach, and leads nowhere.
            pair.right_first += if pair.right_count == 0 { pairs } else { facets };
        }
        self.nodes.append(&mut other.nodes);
        self.packets.append(&mut other.packets);
        self.pairs.append(&mut other.pairs);
        self.facets.append(&mut other.facets);
    }

    fn renumber(&mut self, first: u32) {
        if first == 0 {
            return;
        }
        for packet in &mut self.packets {
            for number in &mut packet.triangle {
                *number += first;
            }
        }
        for facet in &mut self.facets {
            facet.triangle += first;
        }
    }

    /// Low and high corner of all there is.
    fn bounds(&self) -> (Vec3, Vec3) {
        let root = &self.pairs[0];
        let low = Vec3::from(root.left_low).min(root.right_low.into());
        let high = Vec3::from(root.left_high).max(root.right_high.into());
        (low, high)
    }

    /// Bytes held.
    pub fn bytes(&self) -> usize {
        size_of_val(&self.nodes[..])
            + size_of_val(&self.packets[..])
            + size_of_val(&self.pairs[..])
            + size_of_val(&self.facets[..])
    }
}

struct Collapse<'a> {
    tree: &'a Bvh2,
    corners: &'a [[Vec3; 3]],
    passing: &'a [bool],
    accel: &'a mut Accel,
}

impl Collapse<'_> {
    /// Makes the node for the binary node `index`; returns how many levels hang below it.
    fn widen(&mut self, index: u32) -> usize {
        let slot = self.accel.nodes.len();
        self.accel.nodes.push(Node8 {
            planes: [f32x8::splat(0.0); 6],
            children: [EMPTY; 8],
        });
        // Open the largest inner child until eight stand.
        let mut open = if self.tree.nodes[index as usize].is_leaf() {
            vec![index]
        } else {
            let first = self.tree.nodes[index as usize].first_index;
            vec![first, first + 1]
        };
        while open.len() < 8 {
            let largest = open
                .iter()
                .enumerate()
                .filter(|(_, n)| !self.tree.nodes[**n as usize].is_leaf())
                .max_by(|a, b| self.half_area(*a.1).total_cmp(&self.half_area(*b.1)));
            let Some((at, node)) = largest.map(|(at, n)| (at, *n)) else {
                break;
            };
            let first = self.tree.nodes[node as usize].first_index;
            open[at] = first;
            open.push(first + 1);
        }
        // Bounds that nothing meets, for the unused lanes.
        let mut planes = [[f32::INFINITY; 8], [f32::NEG_INFINITY; 8]].repeat(3);
        let mut children = [EMPTY; 8];
        let mut levels = 0;
        for (lane, node) in open.into_iter().enumerate() {
            let bounds = self.tree.nodes[node as usize].aabb();
            for axis in 0..3 {
                planes[2 * axis][lane] = bounds.min[axis];
                planes[2 * axis + 1][lane] = bounds.max[axis];
            }
            children[lane] = if self.tree.nodes[node as usize].is_leaf() {
                self.packet(node) | LEAF
            } else {
                let child = self.accel.nodes.len() as u32;
                levels = levels.max(self.widen(node));
                child
            };
        }
        self.accel.nodes[slot] = Node8 {
            planes: std::array::from_fn(|i| f32x8::from(planes[i])),
            children,
        };
        levels + 1
    }

    fn half_area(&self, node: u32) -> f32 {
        self.tree.nodes[node as usize].aabb().half_area()
    }

    fn packet(&mut self, leaf: u32) -> u32 {
        let node = &self.tree.nodes[leaf as usize];
        let mut corner = [[0.0; 4]; 3];
        let (mut edge_b, mut edge_c) = ([[0.0; 4]; 3], [[0.0; 4]; 3]);
        let mut triangle = [0; 4];
        let mut passing = 0;
        for lane in 0..node.prim_count as usize {
            let number = self.tree.primitive_indices[node.first_index as usize + lane];
            let [a, b, c] = self.corners[number as usize];
            for axis in 0..3 {
                corner[axis][lane] = a[axis];
                edge_b[axis][lane] = (b - a)[axis];
                edge_c[axis][lane] = (c - a)[axis];
            }
            triangle[lane] = number;
            passing |= u32::from(self.passing[number as usize]) << lane;
        }
        let wide = |a: [[f32; 4]; 3]| a.map(f32x4::from);
        self.accel.packets.push(Packet {
            corner: wide(corner),
            edge_b: wide(edge_b),
            edge_c: wide(edge_c),
            triangle,
            passing,
        });
        self.accel.packets.len() as u32 - 1
    }
}

struct Pairing<'a> {
    tree: &'a Bvh2,
    corners: &'a [[Vec3; 3]],
    passing: &'a [bool],
    accel: &'a mut Accel,
}

impl Pairing<'_> {
    fn root(&mut self) -> usize {
        if self.tree.nodes[0].is_leaf() {
            // A single leaf still needs a pair above it; the right side is out of reach.
            let (first, count) = self.facets(0);
            let b = self.tree.nodes[0].aabb();
            self.accel.pairs.push(NodePair {
                left_low: b.min.into(),
                left_first: first,
                left_high: b.max.into(),
                left_count: count,
                right_low: [f32::INFINITY; 3],
                right_first: first,
                right_high: [f32::NEG_INFINITY; 3],
                right_count: 0,
            });
            return 1;
        }
        self.pair(0).1
    }

    /// Returns the pair's index and the depth below it.
    fn pair(&mut self, index: u32) -> (u32, usize) {
        let slot = self.accel.pairs.len();
        self.accel.pairs.push(bytemuck::Zeroable::zeroed());
        let first = self.tree.nodes[index as usize].first_index;
        let mut depth = 0;
        let mut child = |me: &mut Self, node: u32| {
            let bounds = *me.tree.nodes[node as usize].aabb();
            let (first, count) = if me.tree.nodes[node as usize].is_leaf() {
                me.facets(node)
            } else {
                let (child, below) = me.pair(node);
                depth = depth.max(below);
                (child, 0)
            };
            (
                <[f32; 3]>::from(bounds.min),
                <[f32; 3]>::from(bounds.max),
                first,
                count,
            )
        };
        let left = child(self, first);
        let right = child(self, first + 1);
        self.accel.pairs[slot] = NodePair {
            left_low: left.0,
            left_first: left.2,
            left_high: left.1,
            left_count: left.3,
            right_low: right.0,
            right_first: right.2,
            right_high: right.1,
            right_count: right.3,
        };
        (slot as u32, depth + 1)
    }

    fn facets(&mut self, leaf: u32) -> (u32, u32) {
        let node = &self.tree.nodes[leaf as usize];
        let first = self.accel.facets.len() as u32;
        for i in node.first_index..node.first_index + node.prim_count {
            let triangle = self.tree.primitive_indices[i as usize];
            let [a, b, c] = self.corners[triangle as usize];
            self.accel.facets.push(Facet {
                corner: a.into(),
                triangle,
                edge_b: (b - a).into(),
                passing: self.passing[triangle as usize].into(),
                edge_c: (c - a).into(),
                spare: 0,
            });
        }
        (first, node.prim_count)
    }
}
