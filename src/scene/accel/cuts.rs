//! How a binary tree is best cut into nodes of eight and packets: by the surface-area heuristic, all cuts considered
//! (Ylitie, Karras and Laine, "Efficient Incoherent Ray Traversal on GPUs Through Compressed Wide BVHs", HPG 2017,
//! section 3.1). Against splitting the largest until eight stand, loose hair's nodes are a third fewer, and a ray
//! meets a sixth fewer of them.

use super::LANES;
use obvhs::bvh2::Bvh2;

/// A packet is met in about the time that a node takes.
const PACKET_COST: f32 = 1.0;

/// What becomes of each binary node.
pub(super) struct Cuts {
    /// How many of 2 to 8 lanes its left child gets; 0 where fewer lanes do as well.
    left: Vec<[u8; LANES - 1]>,
    /// Whether it becomes a packet.
    closed: Vec<bool>,
}

impl Cuts {
    /// The cheapest.
    pub(super) fn best(tree: &Bvh2) -> Self {
        let count = tree.nodes.len();
        let mut cuts = Self {
            left: vec![[0; LANES - 1]; count],
            closed: vec![false; count],
        };
        // Least cost of all below a node that gets 1 to 7 lanes, and triangles below it.
        let mut costs = vec![[0.0_f32; LANES - 1]; count];
        let mut held = vec![0_usize; count];
        for index in from_above(tree).into_iter().rev() {
            let node = &tree.nodes[index];
            let area = node.aabb().half_area();
            let packed = area * PACKET_COST;
            if node.is_leaf() {
                costs[index] = [packed; LANES - 1];
                held[index] = node.prim_count as usize;
                cuts.closed[index] = true;
                continue;
            }
            let left = node.first_index as usize;
            held[index] = held[left] + held[left + 1];
            let shared = shared(&costs[left], &costs[left + 1]);
            let inner = area + shared[LANES].0;
            cuts.closed[index] = held[index] <= LANES && packed <= inner;
            let mut least = if cuts.closed[index] { packed } else { inner };
            costs[index][0] = least;
            for lanes in 2..=LANES {
                let (cost, to_left) = shared[lanes];
                // All eight are those of a node of its own, which always has children.
                if cost < least || lanes == LANES {
                    cuts.left[index][lanes - 2] = to_left;
                }
                least = least.min(cost);
                if lanes < LANES {
                    costs[index][lanes - 1] = least;
                }
            }
        }
        cuts
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
