//! A binary tree grown in parts: near the root triangles are split in two by binned cost (Wald, "On Fast Construction
//! of SAH-based Bounding Volume Hierarchies", RT 2007) until parts are small, and each part is grown and cut by
//! itself, side by side with the others. Grown in one piece, most of the work has to wait for itself: sixteen cores
//! were not twice as fast as two.

use super::LANES;
use super::cuts::{Costs, Cuts};
use glam::{Vec3, Vec3A};
use obvhs::BvhBuildParams;
use obvhs::aabb::Aabb;
use obvhs::bvh2::builder::{build_bvh2, build_bvh2_from_tris};
use obvhs::bvh2::{Bvh2, node::Bvh2Node};
use obvhs::triangle::Triangle as Tri;
use rayon::prelude::*;
use std::time::Duration;

/// Triangles in a part, at the most. The number of parts is the same on every machine, and so is the tree.
const MOST: usize = 16_384;
/// So few are not grown as a part, but go into the tree over the parts one by one.
const FEW: usize = 1024;
/// Triangles among them that are put together first, the largest.
const LARGE: usize = 64;
/// Places considered for a split by each measure, and one more.
const BINS: usize = 24;
/// Measures to split by: place along three axes, and size. A floor's two triangles among a dress's thousands would
/// make a part as wide as the floor.
const MEASURES: usize = 4;
/// The last of them.
const SIZE: usize = 3;

/// A binary tree in pieces, and how each is best cut: the one over the parts comes first. Joined into one array it
/// would be copied twice, which took as long as growing it.
pub(super) struct Forest {
    pieces: Vec<Piece>,
    /// For each node of the first piece the part that stands in its place, from 1; 0 where none does.
    stand_in: Vec<u32>,
}

struct Piece {
    tree: Bvh2,
    cuts: Cuts,
}

/// A node of one of the pieces.
#[derive(Clone, Copy, Default, PartialEq, Eq, Debug)]
pub(super) struct At {
    piece: u32,
    node: u32,
}

impl Forest {
    /// The tree over some triangles.
    pub(super) fn grow(corners: &[[Vec3; 3]]) -> Self {
        let bounds: Vec<Bounds> = corners.par_iter().map(Bounds::of).collect();
        let lists = split((0..corners.len() as u32).collect(), &bounds);
        let (few, many): (Vec<_>, Vec<_>) = lists.into_iter().partition(|l| l.len() <= FEW);
        let groups = grouped(few.concat(), &bounds);
        let parts: Vec<Part> = many.par_iter().map(|l| Part::grow(l, corners)).collect();
        let first = groups.iter().map(|g| g.bounds.into());
        let roots = parts.iter().map(|p| *p.piece.tree.nodes[0].aabb());
        let held: Vec<Aabb> = first.chain(roots).collect();
        let top = build_bvh2(&held, top_parameters(), &mut Duration::default());
        let mut joining = Joining {
            cuts: Cuts::with_capacity(top.nodes.len()),
            stand_in: vec![0; top.nodes.len()],
            held: Vec::new(),
            groups: &groups,
            parts: &parts,
            top,
        };
        joining.node(0);
        let Joining {
            mut top,
            cuts,
            stand_in,
            held,
            ..
        } = joining;
        top.primitive_indices = held;
        let first = Piece { tree: top, cuts };
        let pieces = std::iter::once(first).chain(parts.into_iter().map(|p| p.piece));
        Self {
            pieces: pieces.collect(),
            stand_in,
        }
    }

    /// What holds all.
    pub(super) fn root(&self) -> At {
        self.resolved(0, 0)
    }

    /// Nodes in all.
    pub(super) fn count(&self) -> usize {
        self.pieces.iter().map(|p| p.tree.nodes.len()).sum()
    }

    /// A node.
    pub(super) fn node(&self, at: At) -> &Bvh2Node {
        &self.pieces[at.piece as usize].tree.nodes[at.node as usize]
    }

    /// The two nodes below one that is no leaf.
    pub(super) fn below(&self, at: At) -> [At; 2] {
        let first = self.node(at).first_index;
        [first, first + 1].map(|node| self.resolved(at.piece, node))
    }

    /// Triangles of a leaf, by number.
    pub(super) fn held(&self, leaf: At) -> &[u32] {
        let node = self.node(leaf);
        let all = &self.pieces[leaf.piece as usize].tree.primitive_indices;
        &all[node.first_index as usize..][..node.prim_count as usize]
    }

    /// Whether a node becomes a packet.
    pub(super) fn closed(&self, at: At) -> bool {
        self.pieces[at.piece as usize].cuts.closed(at.node)
    }

    /// How many of `lanes` go to a node's children, left and right; `None` where it stays one.
    pub(super) fn shares(&self, at: At, lanes: usize) -> Option<[usize; 2]> {
        self.pieces[at.piece as usize].cuts.shares(at.node, lanes)
    }

    fn resolved(&self, piece: u32, node: u32) -> At {
        match self.stand_in.get(node as usize) {
            Some(part) if piece == 0 && *part != 0 => At {
                piece: *part,
                node: 0,
            },
            _ => At { piece, node },
        }
    }
}

/// Bounds of a triangle, or of many.
#[derive(Clone, Copy)]
struct Bounds {
    low: Vec3A,
    high: Vec3A,
}

impl Bounds {
    const NONE: Self = Self {
        low: Vec3A::INFINITY,
        high: Vec3A::NEG_INFINITY,
    };

    fn of(corners: &[Vec3; 3]) -> Self {
        corners.iter().fold(Self::NONE, |b, c| b.with((*c).into()))
    }

    fn with(self, point: Vec3A) -> Self {
        Self {
            low: self.low.min(point),
            high: self.high.max(point),
        }
    }

    fn and(self, other: Self) -> Self {
        Self {
            low: self.low.min(other.low),
            high: self.high.max(other.high),
        }
    }

    /// Twice the middle.
    fn middle(&self) -> Vec3A {
        self.low + self.high
    }

    fn half_area(&self) -> f32 {
        let d = self.high - self.low;
        (d.x * d.y + d.y * d.z + d.z * d.x).max(0.0)
    }
}

/// Triangles, by number, in lists that are small enough.
fn split(mut numbers: Vec<u32>, bounds: &[Bounds]) -> Vec<Vec<u32>> {
    if numbers.len() <= MOST {
        return vec![numbers];
    }
    let (left, right) = match Measures::of(&numbers, bounds).cheapest(&numbers, bounds) {
        Some(cut) => cut.apart(&numbers, bounds),
        // All lie in one place.
        None => {
            let right = numbers.split_off(numbers.len() / 2);
            (numbers, right)
        }
    };
    let (mut lists, right) = rayon::join(|| split(left, bounds), || split(right, bounds));
    lists.extend(right);
    lists
}

/// A few triangles for one leaf.
struct Group {
    numbers: Vec<u32>,
    bounds: Bounds,
}

/// Puts large triangles together where one packet costs no more than two: four walls lie in one box anyhow.
fn grouped(mut few: Vec<u32>, bounds: &[Bounds]) -> Vec<Group> {
    let area = |n: &u32| bounds[*n as usize].half_area();
    few.sort_by(|a, b| area(b).total_cmp(&area(a)).then(a.cmp(b)));
    let mut groups: Vec<Group> = few
        .iter()
        .map(|n| Group {
            numbers: vec![*n],
            bounds: bounds[*n as usize],
        })
        .collect();
    let mut large = groups.len().min(LARGE);
    loop {
        let mut best = (-f32::EPSILON, None);
        for b in 1..large {
            for a in 0..b {
                let [a_, b_] = [&groups[a], &groups[b]];
                if a_.numbers.len() + b_.numbers.len() > LANES {
                    continue;
                }
                let apart = a_.bounds.half_area() + b_.bounds.half_area();
                let gain = apart - a_.bounds.and(b_.bounds).half_area();
                if gain > best.0 {
                    best = (gain, Some((a, b)));
                }
            }
        }
        let Some((a, b)) = best.1 else {
            return groups;
        };
        let other = groups.remove(b);
        large -= 1;
        groups[a].bounds = groups[a].bounds.and(other.bounds);
        groups[a].numbers.extend(other.numbers);
    }
}

/// What lies in each bin of each measure.
type Bins = [[(Bounds, usize); BINS]; MEASURES];

/// What triangles are put into bins by.
#[derive(Clone, Copy)]
struct Measures {
    all: Bounds,
    /// Twice the middles.
    middles: Bounds,
}

/// A split in two.
struct Cut {
    measures: Measures,
    measure: usize,
    first_right: usize,
}

impl Measures {
    fn of(numbers: &[u32], bounds: &[Bounds]) -> Self {
        let none = Self {
            all: Bounds::NONE,
            middles: Bounds::NONE,
        };
        let add = |m: Self, n: &u32| {
            let b = bounds[*n as usize];
            Self {
                all: m.all.and(b),
                middles: m.middles.with(b.middle()),
            }
        };
        let join = |a: Self, b: Self| Self {
            all: a.all.and(b.all),
            middles: a.middles.and(b.middles),
        };
        let chunks = numbers.par_chunks(MOST);
        chunks
            .map(|c| c.iter().fold(none, add))
            .reduce(|| none, join)
    }

    /// Scale from twice a middle to bins.
    fn scale(&self) -> Vec3A {
        Vec3A::splat(BINS as f32) / (self.middles.high - self.middles.low)
    }

    /// Along the axes; what has no extent, or is no number, all lies in the first.
    fn places(&self, b: &Bounds, scale: Vec3A) -> [usize; 3] {
        let place = (b.middle() - self.middles.low) * scale;
        place.to_array().map(|at| (at as usize).min(BINS - 1))
    }

    /// Of a size; each bin holds what is half as large as the one before.
    fn size(&self, b: &Bounds) -> usize {
        let exponent = |area_m2: f32| (area_m2.to_bits() >> 23) as usize;
        let halved = exponent(self.all.half_area()).saturating_sub(exponent(b.half_area()));
        halved.min(BINS - 1)
    }

    /// The cheapest split in two; `None` where all lie in one place.
    fn cheapest(self, numbers: &[u32], bounds: &[Bounds]) -> Option<Cut> {
        let empty: Bins = [[(Bounds::NONE, 0); BINS]; MEASURES];
        let scale = self.scale();
        let fill = |chunk: &[u32]| {
            let mut bins = empty;
            for b in chunk.iter().map(|n| &bounds[*n as usize]) {
                let [x, y, z] = self.places(b, scale);
                for (bins, bin) in bins.iter_mut().zip([x, y, z, self.size(b)]) {
                    let (all, count) = &mut bins[bin];
                    *all = all.and(*b);
                    *count += 1;
                }
            }
            bins
        };
        let chunks = numbers.par_chunks(MOST);
        let bins = chunks.map(fill).reduce(|| empty, joined);
        let splits = bins.iter().enumerate().flat_map(|(measure, bins)| {
            let costs = costs(bins).into_iter().enumerate();
            costs.map(move |(at, cost)| (cost, measure, at))
        });
        let (cost, measure, first_right) = splits.min_by(|a, b| a.0.total_cmp(&b.0))?;
        cost.is_finite().then_some(Cut {
            measures: self,
            measure,
            first_right,
        })
    }
}

impl Cut {
    /// Left and right, in the order they were in.
    fn apart(&self, numbers: &[u32], bounds: &[Bounds]) -> (Vec<u32>, Vec<u32>) {
        let scale = self.measures.scale();
        let of = |n: &u32| &bounds[*n as usize];
        let chunks: Vec<(Vec<u32>, Vec<u32>)> = numbers
            .par_chunks(MOST)
            .map(|chunk| {
                let chunk = chunk.iter().copied();
                match self.measure {
                    SIZE => chunk.partition(|n| self.measures.size(of(n)) < self.first_right),
                    axis => chunk
                        .partition(|n| self.measures.places(of(n), scale)[axis] < self.first_right),
                }
            })
            .collect();
        let (left, right): (Vec<_>, Vec<_>) = chunks.into_iter().unzip();
        (left.concat(), right.concat())
    }
}

fn joined(mut a: Bins, b: Bins) -> Bins {
    for (a, b) in a.as_flattened_mut().iter_mut().zip(b.as_flattened()) {
        *a = (a.0.and(b.0), a.1 + b.1);
    }
    a
}

/// What it costs to split before each bin; infinite where a side would be empty.
fn costs(bins: &[(Bounds, usize); BINS]) -> [f32; BINS] {
    let mut costs = [f32::INFINITY; BINS];
    let (mut all, mut count) = (Bounds::NONE, 0);
    for at in (1..BINS).rev() {
        (all, count) = (all.and(bins[at].0), count + bins[at].1);
        if count > 0 {
            costs[at] = all.half_area() * count as f32;
        }
    }
    (all, count) = (Bounds::NONE, 0);
    for at in 1..BINS {
        (all, count) = (all.and(bins[at - 1].0), count + bins[at - 1].1);
        costs[at] += match count {
            0 => f32::INFINITY,
            _ => all.half_area() * count as f32,
        };
    }
    costs
}

/// A part, its nodes numbered from 0.
struct Part {
    piece: Piece,
    costs: Costs,
}

impl Part {
    fn grow(numbers: &[u32], corners: &[[Vec3; 3]]) -> Self {
        let triangles: Vec<Tri> = numbers
            .iter()
            .map(|n| {
                let [v0, v1, v2] = corners[*n as usize].map(Into::into);
                Tri { v0, v1, v2 }
            })
            .collect();
        let mut tree =
            build_bvh2_from_tris(&triangles, part_parameters(), &mut Duration::default());
        for held in &mut tree.primitive_indices {
            *held = numbers[*held as usize];
        }
        let (cuts, costs) = Cuts::best(&tree);
        Self {
            piece: Piece { tree, cuts },
            costs,
        }
    }
}

fn part_parameters() -> BvhBuildParams {
    BvhBuildParams {
        max_prims_per_leaf: LANES as u32,
        // A packet takes as long as a node, however full it is: leaves are filled where that widens them little.
        collapse_traversal_cost: 6.0,
        // The middling preset takes some 1.4 times as long, and its surface is the same to .1 %.
        ..BvhBuildParams::fast_build()
    }
}

/// Few, and met by every ray: each is looked at once more.
fn top_parameters() -> BvhBuildParams {
    BvhBuildParams {
        max_prims_per_leaf: 1,
        reinsertion_batch_ratio: 1.0,
        ..BvhBuildParams::medium_build()
    }
}

/// The tree over the parts, on its way into place.
struct Joining<'a> {
    /// Its leaves are `groups` and the roots of `parts`, until they are put in place.
    top: Bvh2,
    groups: &'a [Group],
    parts: &'a [Part],
    /// Triangles of the groups that are in place.
    held: Vec<u32>,
    cuts: Cuts,
    stand_in: Vec<u32>,
}

impl Joining<'_> {
    /// Puts what is below a node of the tree in place.
    fn node(&mut self, at: usize) -> Costs {
        let node = self.top.nodes[at];
        let first = node.first_index as usize;
        if !node.is_leaf() {
            let costs = [first, first + 1].map(|child| self.node(child));
            let (costs, cut) = costs[0].joined(&costs[1], node.aabb().half_area());
            self.cuts.set(at, cut);
            return costs;
        }
        let held = self.top.primitive_indices[first] as usize;
        if let Some(group) = self.groups.get(held) {
            let count = group.numbers.len() as u32;
            let leaf = Bvh2Node::new(*node.aabb(), count, self.held.len() as u32);
            self.held.extend_from_slice(&group.numbers);
            self.top.nodes[at] = leaf;
            self.cuts.close(at);
            return Costs::leaf(&leaf);
        }
        let part = held - self.groups.len();
        self.stand_in[at] = part as u32 + 1;
        self.parts[part].costs
    }
}

impl From<Bounds> for Aabb {
    fn from(b: Bounds) -> Self {
        Self::new(b.low, b.high)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    /// A floor, and a wavy sheet of small triangles over it.
    fn sheet(side: usize) -> Vec<[Vec3; 3]> {
        let at = |i: usize, j: usize| {
            let (x, z) = (i as f32 / side as f32, j as f32 / side as f32);
            Vec3::new(x, 1.0 + 0.1 * (20.0 * x).sin() * (13.0 * z).cos(), z)
        };
        let floor =
            [[-9.0, -9.0], [9.0, -9.0], [9.0, 9.0], [-9.0, 9.0]].map(|[x, z]| Vec3::new(x, 0.0, z));
        let mut all = vec![
            [floor[0], floor[1], floor[2]],
            [floor[0], floor[2], floor[3]],
        ];
        for i in 0..side {
            for j in 0..side {
                let [a, b, c, d] = [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)];
                all.extend([[a, b, c], [a, c, d]]);
            }
        }
        all
    }

    /// Every triangle is met once, within the bounds of all nodes above it. Half the surface of all leaves' bounds.
    fn checked(forest: &Forest, corners: &[[Vec3; 3]]) -> f32 {
        let mut met = BTreeSet::new();
        let mut waiting = vec![forest.root()];
        let mut area_m2 = 0.0;
        while let Some(at) = waiting.pop() {
            let node = forest.node(at);
            let within = |inner: Aabb| {
                let aabb = node.aabb();
                assert!(aabb.min.cmple(inner.min).all() && aabb.max.cmpge(inner.max).all());
            };
            if !node.is_leaf() {
                for below in forest.below(at) {
                    within(*forest.node(below).aabb());
                    waiting.push(below);
                }
                continue;
            }
            area_m2 += node.aabb().half_area();
            for held in forest.held(at) {
                assert!(met.insert(*held), "{held} is met twice");
                within(Bounds::of(&corners[*held as usize]).into());
            }
        }
        assert_eq!(met.len(), corners.len());
        area_m2
    }

    #[test]
    fn many_parts_hold_what_one_would_at_no_more_cost() {
        let corners = sheet(160);
        assert!(corners.len() > 3 * MOST);
        let area_m2 = checked(&Forest::grow(&corners), &corners);
        let whole: Vec<u32> = (0..corners.len() as u32).collect();
        let one = Forest {
            pieces: vec![Part::grow(&whole, &corners).piece],
            stand_in: Vec::new(),
        };
        let one = checked(&one, &corners);
        assert!(area_m2 < 1.05 * one, "{area_m2} m2 against {one}");
    }

    #[test]
    fn the_tree_is_the_same_whatever_the_number_of_threads() {
        let corners = sheet(120);
        let with = |threads: usize| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads);
            let grow = || Forest::grow(&corners);
            let forest = pool.build().expect("a pool").install(grow);
            let leads = |n: &Bvh2Node| (n.first_index, n.prim_count);
            let of = |p: &Piece| {
                let leads: Vec<_> = p.tree.nodes.iter().map(leads).collect();
                let closed: Vec<bool> = (0..leads.len() as u32).map(|n| p.cuts.closed(n)).collect();
                (leads, closed, p.tree.primitive_indices.clone())
            };
            let pieces: Vec<_> = forest.pieces.iter().map(of).collect();
            (pieces, forest.stand_in)
        };
        assert_eq!(with(1), with(3));
    }

    #[test]
    fn what_all_lies_in_one_place_is_held_too() {
        let one = sheet(1)[2];
        for count in [1, 2, 9, FEW + 1, 2 * MOST + 5] {
            let corners = vec![one; count];
            checked(&Forest::grow(&corners), &corners);
        }
    }
}
