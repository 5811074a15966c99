//! The acceleration structure: trees over a scene's triangles, eight wide for the CPU's vector units;
//! laid out in pairs for a GPU where one asks.

mod cuts;
mod pairs;
mod parts;
mod shelf;

pub use pairs::{Facet, NodePair, Pairs};
pub use shelf::TreeShelf;

use glam::Vec3;
use parts::{At, Forest};
use rayon::prelude::*;
use std::sync::{Arc, OnceLock};
use wide::f32x8;

/// Marks a child of [`Node8`] as a packet of triangles; the other bits are its index.
pub const LEAF: u32 = 0x8000_0000;
/// An unused child of [`Node8`].
pub const EMPTY: u32 = u32::MAX;

/// Trees that hold a scene's triangles between them. What stands still has one of its own, so that a
/// scene in which something moved shares it, and only a small tree beside it is built anew.
#[derive(Debug, Clone, Default)]
pub struct Accel {
    /// None where there are no triangles.
    pub trees: Vec<Tree>,
    /// Kernels on a GPU are compiled for trees at least so deep.
    pub least_pair_depth: usize,
}

/// One of them.
#[derive(Debug, Clone)]
pub struct Tree {
    /// Number in the scene of what the tree calls triangle 0.
    pub first_triangle: u32,
    /// Its nodes.
    pub grown: Arc<Grown>,
}

/// A tree as it was built.
#[derive(Debug, Default)]
pub struct Grown {
    /// Eight-wide nodes; the root is the first.
    pub nodes: Vec<Node8>,
    /// Triangles in eights, as the leaves of `nodes` name them.
    pub packets: Vec<Packet>,
    /// Entries a traversal of `nodes` may have waiting at once, at the most.
    pub stack_entries: usize,
    /// How each node's children came to be, for the pairs.
    openings: Vec<Opening>,
    /// Binary nodes between the root and the deepest leaf.
    binary_depth: usize,
    pairs: OnceLock<Pairs>,
}

/// Bounds of eight children, and where each leads.
#[derive(Debug, Clone, Copy)]
pub struct Node8 {
    /// Planes in the order low x, high x, low y, high y, low z, high z; metres.
    pub planes: [f32x8; 6],
    /// A node's index, a packet's with [`LEAF`], or [`EMPTY`].
    pub children: [u32; 8],
}

/// Which child was split each time that a node with two of them took one more, which came last. The binary
/// tree that a node was made of can be told from it.
type Opening = [u8; 6];
/// No further child.
const SHUT: u8 = u8::MAX;

/// Triangles in a packet.
pub const LANES: usize = 8;

/// Eight triangles side by side: first corner, two edges (metres), numbers in the tree. Neighbours in space are
/// neighbours in it.
#[derive(Debug, Clone, Copy)]
pub struct Packet {
    /// First corners: x, y, z.
    pub corner: [f32x8; 3],
    /// First edges.
    pub edge_b: [f32x8; 3],
    /// Second edges.
    pub edge_c: [f32x8; 3],
    /// The triangle's number; unused lanes are [`EMPTY`], degenerate, and never hit.
    pub triangle: [u32; LANES],
    /// Bit k: lane k is a sheet that passes light.
    pub passing: u32,
}

impl Accel {
    /// Adds a tree over triangles that are numbered on from `first_triangle` in the scene.
    /// `corners` are theirs in metres; `passing` tells which let light through.
    ///
    /// A large tree is taken from the shelf where it was grown before.
    ///
    /// # Panics
    /// When the two differ in length.
    pub fn grow(
        &mut self,
        corners: &[[Vec3; 3]],
        passing: &[bool],
        first_triangle: u32,
        shelf: &TreeShelf,
    ) {
        assert_eq!(corners.len(), passing.len(), "one flag a triangle");
        if !corners.is_empty() {
            self.trees.push(Tree {
                first_triangle,
                grown: shelf.get(corners, passing),
            });
        }
    }

    /// Eight-wide nodes in all.
    pub fn nodes(&self) -> usize {
        self.trees.iter().map(|t| t.grown.nodes.len()).sum()
    }

    /// Entries that a traversal of [`Accel::pairs`] may have waiting at once, at the most.
    pub fn pair_depth(&self) -> usize {
        let depths = self.trees.iter().map(|t| t.grown.binary_depth + 2);
        let depth = depths.reduce(|all, next| 1 + all.max(next));
        depth.unwrap_or(0).max(self.least_pair_depth)
    }

    /// The trees in pairs, joined. What was worked out of each is kept with it.
    pub fn pairs(&self) -> Pairs {
        let mut trees = self.trees.iter();
        let Some(first) = trees.next() else {
            return Pairs::default();
        };
        let mut all = first.pairs();
        for tree in trees {
            all = all.joined(&tree.pairs());
        }
        all
    }

    /// Bytes held on the processor's side.
    pub fn bytes(&self) -> usize {
        let of = |g: &Grown| size_of_val(&g.nodes[..]) + size_of_val(&g.packets[..]);
        self.trees.iter().map(|t| of(&t.grown)).sum()
    }
}

impl Tree {
    /// Whether both are one tree, numbered alike.
    pub fn is(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.grown, &other.grown) && self.first_triangle == other.first_triangle
    }

    fn pairs(&self) -> Pairs {
        let mut pairs = self.grown.pairs.get_or_init(|| self.grown.paired()).clone();
        for facet in &mut pairs.facets {
            facet.triangle += self.first_triangle;
        }
        pairs
    }
}

impl Grown {
    fn build(corners: &[[Vec3; 3]], passing: &[bool]) -> Self {
        let forest = Forest::grow(corners);
        let widening = Widening {
            forest: &forest,
            corners,
            passing,
        };
        let wide = widening.apart(forest.root(), 0);
        // Written once, where they stay, side by side: they are by far the most of it.
        let nodes = wide.nodes.par_iter().with_min_len(AT_ONCE);
        let packets = wide.packets.par_iter().with_min_len(AT_ONCE);
        Self {
            nodes: nodes.map(|n| widening.node(n)).collect(),
            packets: packets.map(|at| widening.packet(*at)).collect(),
            openings: wide.nodes.iter().map(|n| n.opening).collect(),
            // Each level leaves at most seven siblings waiting.
            stack_entries: 7 * wide.levels + 8,
            binary_depth: wide.binary_depth,
            pairs: OnceLock::new(),
        }
    }
}

/// Nodes or packets made by one core at a time.
const AT_ONCE: usize = 512;

struct Widening<'a> {
    forest: &'a Forest,
    corners: &'a [[Vec3; 3]],
    passing: &'a [bool],
}

/// What a wide node will be.
struct Plan {
    open: Open,
    opening: Opening,
    children: [u32; 8],
}

/// A part of a tree, numbered from 0: what is to become nodes and packets.
#[derive(Default)]
struct Branch {
    nodes: Vec<Plan>,
    packets: Vec<At>,
    /// Of eight-wide nodes, and of binary ones.
    levels: usize,
    binary_depth: usize,
}

/// Up to eight binary nodes.
#[derive(Clone, Copy, Default)]
struct Open {
    nodes: [At; 8],
    count: usize,
}

impl Open {
    fn get(&self) -> &[At] {
        &self.nodes[..self.count]
    }

    fn push(&mut self, node: At) {
        self.nodes[self.count] = node;
        self.count += 1;
    }
}

/// Levels whose children are worked out side by side; there are at most 64 of them then.
const APART: usize = 2;

impl Widening<'_> {
    /// The part below a binary node, its children worked out side by side near the root.
    fn apart(&self, at: At, level: usize) -> Branch {
        let mut whole = Branch::default();
        if level == APART {
            // Room that is not used is not touched either.
            let share = self.forest.count() / 32;
            whole.nodes.reserve(share);
            whole.packets.reserve(share);
            self.widen(at, &mut whole);
            return whole;
        }
        let (open, opening) = self.open(at);
        let branches: Vec<Option<Branch>> = open
            .get()
            .par_iter()
            .map(|n| (!self.forest.closed(*n)).then(|| self.apart(*n, level + 1)))
            .collect();
        whole.nodes.push(Plan {
            open,
            opening,
            children: [EMPTY; 8],
        });
        let mut depths = [0; 8];
        for (lane, branch) in branches.into_iter().enumerate() {
            whole.nodes[0].children[lane] = match branch {
                None => {
                    depths[lane] = self.pair_levels(open.nodes[lane]);
                    whole.close(open.nodes[lane])
                }
                Some(branch) => {
                    let child = whole.nodes.len() as u32;
                    whole.levels = whole.levels.max(branch.levels);
                    depths[lane] = branch.binary_depth;
                    whole.append(branch);
                    child
                }
            };
        }
        whole.levels += 1;
        whole.binary_depth = binary_depth(&opening, open.count, depths);
        whole
    }

    /// Plans the node for a binary node and all below it. Levels and depth are those below it.
    fn widen(&self, at: At, into: &mut Branch) {
        let slot = into.nodes.len();
        let (open, opening) = self.open(at);
        into.nodes.push(Plan {
            open,
            opening,
            children: [EMPTY; 8],
        });
        let mut levels = 0;
        let mut depths = [0; 8];
        for (lane, n) in open.get().iter().enumerate() {
            into.nodes[slot].children[lane] = if self.forest.closed(*n) {
                depths[lane] = self.pair_levels(*n);
                into.close(*n)
            } else {
                let child = into.nodes.len() as u32;
                self.widen(*n, into);
                levels = levels.max(into.levels);
                depths[lane] = into.binary_depth;
                child
            };
        }
        into.levels = levels + 1;
        into.binary_depth = binary_depth(&opening, open.count, depths);
    }

    /// Up to eight binary nodes below one, as the cuts have it.
    fn open(&self, at: At) -> (Open, Opening) {
        let mut opening = [SHUT; 6];
        let mut open = Open::default();
        open.push(at);
        if self.forest.closed(at) {
            return (open, opening);
        }
        // How many lanes each of `open` may still become.
        let mut shares = [0; LANES];
        shares[0] = LANES;
        let mut splits = 0;
        let mut lane = 0;
        while lane < open.count {
            let node = open.nodes[lane];
            let Some([left, right]) = self.forest.shares(node, shares[lane]) else {
                lane += 1;
                continue;
            };
            let below = self.forest.below(node);
            open.nodes[lane] = below[0];
            shares[lane] = left;
            shares[open.count] = right;
            open.push(below[1]);
            // The first two are no opening of a lane.
            if open.count > 2 {
                opening[splits] = lane as u8;
                splits += 1;
            }
        }
        (open, opening)
    }

    fn node(&self, plan: &Plan) -> Node8 {
        // Bounds that nothing meets, for the unused lanes.
        let mut planes: [[f32; 8]; 6] = std::array::from_fn(|plane| match plane % 2 {
            0 => [f32::INFINITY; 8],
            _ => [f32::NEG_INFINITY; 8],
        });
        for (lane, at) in plan.open.get().iter().enumerate() {
            let bounds = self.forest.node(*at).aabb();
            for axis in 0..3 {
                planes[2 * axis][lane] = bounds.min[axis];
                planes[2 * axis + 1][lane] = bounds.max[axis];
            }
        }
        Node8 {
            planes: std::array::from_fn(|i| f32x8::from(planes[i])),
            children: plan.children,
        }
    }

    fn packet(&self, leaf: At) -> Packet {
        let mut numbers = [EMPTY; LANES];
        let mut count = 0;
        self.gather(leaf, &mut numbers, &mut count);
        packet(numbers, self.corners, self.passing)
    }

    /// Nodes of the pairs that a packet becomes.
    fn pair_levels(&self, leaf: At) -> usize {
        pair_levels(self.held(leaf))
    }

    /// How many triangles are below a binary node.
    fn held(&self, at: At) -> usize {
        let node = self.forest.node(at);
        if node.is_leaf() {
            return node.prim_count as usize;
        }
        self.forest.below(at).map(|n| self.held(n)).iter().sum()
    }

    /// The triangles below a binary node.
    fn gather(&self, at: At, into: &mut [u32; LANES], count: &mut usize) {
        if self.forest.node(at).is_leaf() {
            for held in self.forest.held(at) {
                into[*count] = *held;
                *count += 1;
            }
        } else {
            for below in self.forest.below(at) {
                self.gather(below, into, count);
            }
        }
    }
}

/// Up to eight triangles by their numbers, the rest [`EMPTY`].
fn packet(triangle: [u32; LANES], corners: &[[Vec3; 3]], passing: &[bool]) -> Packet {
    let mut corner = [[0.0; LANES]; 3];
    let (mut edge_b, mut edge_c) = ([[0.0; LANES]; 3], [[0.0; LANES]; 3]);
    let mut sheets = 0;
    for (lane, number) in triangle.iter().enumerate().filter(|(_, n)| **n != EMPTY) {
        let [a, b, c] = corners[*number as usize];
        for axis in 0..3 {
            corner[axis][lane] = a[axis];
            edge_b[axis][lane] = (b - a)[axis];
            edge_c[axis][lane] = (c - a)[axis];
        }
        sheets |= u32::from(passing[*number as usize]) << lane;
    }
    let wide = |a: [[f32; LANES]; 3]| a.map(f32x8::from);
    Packet {
        corner: wide(corner),
        edge_b: wide(edge_b),
        edge_c: wide(edge_c),
        triangle,
        passing: sheets,
    }
}

impl Packet {
    /// Triangles in it.
    fn count(&self) -> usize {
        self.triangle.iter().filter(|n| **n != EMPTY).count()
    }

    /// Nodes of the pairs that it becomes.
    fn pair_levels(&self) -> usize {
        pair_levels(self.count())
    }
}

/// Nodes of the pairs that a packet of so many triangles becomes.
fn pair_levels(triangles: usize) -> usize {
    usize::from(triangles > pairs::MOST_FACETS)
}

impl Branch {
    /// A binary node becomes the next packet; the answer is the child that leads there.
    fn close(&mut self, leaf: At) -> u32 {
        self.packets.push(leaf);
        (self.packets.len() - 1) as u32 | LEAF
    }

    /// Puts another part behind this one.
    fn append(&mut self, mut other: Self) {
        let (nodes, packets) = (self.nodes.len() as u32, self.packets.len() as u32);
        for child in other.nodes.iter_mut().flat_map(|n| &mut n.children) {
            *child = match *child {
                EMPTY => EMPTY,
                leaf if leaf & LEAF != 0 => leaf + packets,
                inner => inner + nodes,
            };
        }
        self.nodes.append(&mut other.nodes);
        self.packets.append(&mut other.packets);
    }
}

/// Two of a node's lanes, or of the inner nodes that they were split off from.
#[derive(Clone, Copy)]
enum Half {
    Lane(u8),
    Split(u8),
}

/// The binary tree that `count` lanes came out of: its inner nodes, the root last.
fn splits(opening: &Opening, count: usize) -> Vec<[Half; 2]> {
    let mut at: [Half; 8] = std::array::from_fn(|lane| Half::Lane(lane as u8));
    let mut inner = Vec::with_capacity(7);
    // What was split last is joined first.
    for (k, split) in opening
        .iter()
        .enumerate()
        .rev()
        .filter(|(k, _)| k + 2 < count)
    {
        let split = usize::from(*split);
        inner.push([at[split], at[k + 2]]);
        at[split] = Half::Split(inner.len() as u8 - 1);
    }
    if count > 1 {
        inner.push([at[0], at[1]]);
    }
    inner
}

/// Binary nodes between a node and its deepest leaf, from those below each lane.
fn binary_depth(opening: &Opening, count: usize, below: [usize; 8]) -> usize {
    let mut depths = Vec::with_capacity(7);
    for halves in splits(opening, count) {
        let deep = halves.map(|half| match half {
            Half::Lane(lane) => below[usize::from(lane)],
            Half::Split(split) => depths[usize::from(split)],
        });
        depths.push(1 + deep[0].max(deep[1]));
    }
    depths.last().copied().unwrap_or(1 + below[0])
}
