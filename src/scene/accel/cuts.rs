//! How a binary tree is best cut into nodes of eight and packets: by the surface-area heuristic, all cuts considered
//! (Ylitie, Karras and Laine, "Efficient Incoherent Ray Traversal on GPUs Through Compressed Wide BVHs", HPG 2017,
//! section 3.1). Against splitting the largest until eight stand, loose hair's nodes are a third fewer, and a ray
//! meets a sixth fewer of them.

use super::LANES;
use obvhs::bvh2::{Bvh2, node::Bvh2Node};

/// A packet is met in about the time that a node takes.
const PACKET_COST: f32 = 1.0;

/// What becomes of each binary node.
pub(super) struct Cuts {
    /// How many of 2 to 8 lanes its left child gets; 0 where fewer lanes do as well.
    left: Vec<[u8; LANES - 1]>,
    /// Whether it becomes a packet.
    closed: Vec<bool>,
}

/// Of what lies below a binary node.
#[derive(Clone, Copy, Default)]
pub(super) struct Costs {
    /// The least where it gets 1 to 7 lanes.
    least: [f32; LANES - 1],
    /// Triangles.
    held: usize,
}

/// What becomes of one.
pub(super) struct Cut {
    left: [u8; LANES - 1],
    closed: bool,
}

impl Costs {
    /// Of a leaf.
    pub(super) fn leaf(node: &Bvh2Node) -> Self {
        Self {
            least: [node.aabb().half_area() * PACKET_COST; LANES - 1],
            held: node.prim_count as usize,
        }
    }

    /// Of a node with two children, half of whose bounds' surface is `half_area_m2`, and what becomes of it.
    pub(super) fn joined(&self, right: &Self, half_area_m2: f32) -> (Self, Cut) {
        let held = self.held + right.held;
        let packed = half_area_m2 * PACKET_COST;
        let shared = shared(&self.least, &right.least);
        let inner = half_area_m2 + shared[LANES].0;
        let closed = held <= LANES && packed <= inner;
        let mut cut = Cut {
            left: [0; LANES - 1],
            closed,
        };
        let mut least = [if closed { packed } else { inner }; LANES - 1];
        for lanes in 2..=LANES {
            let (cost, to_left) = shared[lanes];
            // All eight are those of a node of its own, which always has children.
            if cost < least[lanes - 2] || lanes == LANES {
                cut.left[lanes - 2] = to_left;
            }
            if lanes < LANES {
                least[lanes - 1] = least[lanes - 2].min(cost);
            }
        }
        (Self { least, held }, cut)
    }
}

impl Cuts {
    /// The cheapest, and what all costs.
    pub(super) fn best(tree: &Bvh2) -> (Self, Costs) {
        let count = tree.nodes.len();
        let mut cuts = Self::with_capacity(count);
        let mut costs = vec![Costs::default(); count];
        for index in from_above(tree).into_iter().rev() {
            let node = &tree.nodes[index];
            if node.is_leaf() {
                costs[index] = Costs::leaf(node);
                cuts.close(index);
                continue;
            }
            let left = node.first_index as usize;
            let (of, cut) = costs[left].joined(&costs[left + 1], node.aabb().half_area());
            costs[index] = of;
            cuts.set(index, cut);
        }
        (cuts, costs[0])
    }

    /// Of so many nodes, not known yet.
    pub(super) fn with_capacity(nodes: usize) -> Self {
        Self {
            left: vec![[0; LANES - 1]; nodes],
            closed: vec![false; nodes],
        }
    }

    /// What becomes of a node.
    pub(super) fn set(&mut self, node: usize, cut: Cut) {
        self.left[node] = cut.left;
        self.closed[node] = cut.closed;
    }

    /// A node becomes a packet.
    pub(super) fn close(&mut self, node: usize) {
        self.closed[node] = true;
    }

    /// Whether a binary node becomes a packet.
    pub(super) fn closed(&self, node: u32) -> bool {
        self.closed[node as usize]
    }

    /// How many of `lanes` go to a node's children, left and right; `None` where it stays one.
    pub(super) fn shares(&self, node: u32, lanes: usize) -> Option<[usize; 2]> {
        let of = &self.left[node as usize];
        (2..=lanes).rev().find_map(|used| {
            let left = usize::from(of[used - 2]);
            (left != 0).then(|| [left, used - left])
        })
    }
}

/// All nodes, parents before children.
fn from_above(tree: &Bvh2) -> Vec<usize> {
    let mut order = Vec::with_capacity(tree.nodes.len());
    order.push(0);
    let mut at = 0;
    while at < order.len() {
        let node = &tree.nodes[order[at]];
        if !node.is_leaf() {
            let first = node.first_index as usize;
            order.extend([first, first + 1]);
        }
        at += 1;
    }
    order
}

/// For each number of lanes from 2 on: the least cost of two children that share them, and what the left one gets.
fn shared(left: &[f32; LANES - 1], right: &[f32; LANES - 1]) -> [(f32, u8); LANES + 1] {
    let mut best = [(f32::INFINITY, 1); LANES + 1];
    for (lanes, best) in best.iter_mut().enumerate().skip(2) {
        for to_left in 1..lanes {
            let cost = left[to_left - 1] + right[lanes - to_left - 1];
            if cost < best.0 {
                *best = (cost, to_left as u8);
            }
        }
    }
    best
}
