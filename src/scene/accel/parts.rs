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

/// A binary tree over triangles, and how it is best cut.
pub(super) fn grow(corners: &[[Vec3; 3]]) -> (Bvh2, Cuts) {
    let bounds: Vec<Bounds> = corners.par_iter().map(Bounds::of).collect();
    let lists = split((0..corners.len() as u32).collect(), &bounds);
    let (few, many): (Vec<_>, Vec<_>) = lists.into_iter().partition(|l| l.len() <= FEW);
    let groups = grouped(few.concat(), &bounds);
    let parts: Vec<Part> = many.par_iter().map(|l| Part::grow(l, corners)).collect();
    let first = groups.iter().map(|g| g.bounds.into());
    let roots = parts.iter().map(|p| *p.tree.nodes[0].aabb());
    let held: Vec<Aabb> = first.chain(roots).collect();
    let top = build_bvh2(&held, top_parameters(), &mut Duration::default());
    let count = top.nodes.len();
    let singles = groups.iter().map(|g| g.numbers.len());
    let many = parts.iter().map(|p| p.tree.primitive_indices.len());
    let mut joining = Joining {
        cuts: Cuts::with_capacity(count),
        node_offsets: offsets(count, parts.iter().map(|p| p.tree.nodes.len())),
        triangle_offsets: offsets(0, singles.chain(many)),
        groups: &groups,
        parts: &parts,
        top,
    };
    joining.node(0);
    joining.whole()
}

fn offsets(first: usize, counts: impl Iterator<Item = usize>) -> Vec<usize> {
    counts
        .scan(first, |at, count| {
            *at += count;
            Some(*at - count)
        })
        .collect()
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
        Some(cut) => cut.apart(numbers, bounds),
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
    /// Left and right.
    fn apart(&self, numbers: Vec<u32>, bounds: &[Bounds]) -> (Vec<u32>, Vec<u32>) {
        let scale = self.measures.scale();
        let of = |n: &u32| &bounds[*n as usize];
        let numbers = numbers.into_iter();
        match self.measure {
            SIZE => numbers.partition(|n| self.measures.size(of(n)) < self.first_right),
            axis => {
                numbers.partition(|n| self.measures.places(of(n), scale)[axis] < self.first_right)
            }
        }
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

/// A part, its nodes and triangles numbered from 0.
struct Part {
    tree: Bvh2,
    cuts: Cuts,
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
        Self { tree, cuts, costs }
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

/// Parts being joined: the tree above them comes first, then theirs in order.
struct Joining<'a> {
    /// Its leaves are `groups` and the roots of `parts`, until they are put in place.
    top: Bvh2,
    groups: &'a [Group],
    parts: &'a [Part],
    node_offsets: Vec<usize>,
    triangle_offsets: Vec<usize>,
    cuts: Cuts,
}

impl Joining<'_> {
    /// Puts what is below a node of the tree above the parts in place.
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
            let leaf = Bvh2Node::new(
                *node.aabb(),
                group.numbers.len() as u32,
                self.triangle_offsets[held] as u32,
            );
            self.top.nodes[at] = leaf;
            self.cuts.close(at);
            return Costs::leaf(&leaf);
        }
        let part = held - self.groups.len();
        self.top.nodes[at] = self.moved(part, &self.parts[part].tree.nodes[0]);
        self.cuts.copy(at, &self.parts[part].cuts, 0);
        self.parts[part].costs
    }

    /// A node of a part, as it is numbered in the whole.
    fn moved(&self, part: usize, node: &Bvh2Node) -> Bvh2Node {
        let offset = match node.is_leaf() {
            true => self.triangle_offsets[self.groups.len() + part],
            false => self.node_offsets[part],
        };
        let mut moved = *node;
        moved.first_index += offset as u32;
        moved
    }

    fn whole(mut self) -> (Bvh2, Cuts) {
        let parts = self.parts;
        let moved: Vec<Vec<Bvh2Node>> = (0..parts.len())
            .into_par_iter()
            .map(|n| {
                let nodes = parts[n].tree.nodes.iter();
                nodes.map(|node| self.moved(n, node)).collect()
            })
            .collect();
        let mut tree = self.top;
        for nodes in &moved {
            tree.nodes.extend_from_slice(nodes);
        }
        tree.primitive_indices.clear();
        for group in self.groups {
            tree.primitive_indices.extend_from_slice(&group.numbers);
        }
        for part in parts {
            tree.primitive_indices
                .extend_from_slice(&part.tree.primitive_indices);
            self.cuts.append(&part.cuts);
        }
        (tree, self.cuts)
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
    fn checked(tree: &Bvh2, corners: &[[Vec3; 3]]) -> f32 {
        let mut met = BTreeSet::new();
        let mut waiting = vec![0_usize];
        let mut area_m2 = 0.0;
        while let Some(at) = waiting.pop() {
            let node = &tree.nodes[at];
            let first = node.first_index as usize;
            let within = |inner: Aabb| {
                let aabb = node.aabb();
                assert!(aabb.min.cmple(inner.min).all() && aabb.max.cmpge(inner.max).all());
            };
            if !node.is_leaf() {
                within(*tree.nodes[first].aabb());
                within(*tree.nodes[first + 1].aabb());
                waiting.extend([first, first + 1]);
                continue;
            }
            area_m2 += node.aabb().half_area();
            for held in &tree.primitive_indices[first..][..node.prim_count as usize] {
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
        let (tree, _) = grow(&corners);
        let area_m2 = checked(&tree, &corners);
        let whole: Vec<u32> = (0..corners.len() as u32).collect();
        let one = checked(&Part::grow(&whole, &corners).tree, &corners);
        assert!(area_m2 < 1.05 * one, "{area_m2} m2 against {one}");
    }

    #[test]
    fn the_tree_is_the_same_whatever_the_number_of_threads() {
        let corners = sheet(120);
        let with = |threads: usize| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads);
            let (tree, cuts) = pool.build().expect("a pool").install(|| grow(&corners));
            let leads = |n: &Bvh2Node| (n.first_index, n.prim_count);
            let leads: Vec<_> = tree.nodes.iter().map(leads).collect();
            let closed: Vec<bool> = (0..leads.len()).map(|n| cuts.closed(n as u32)).collect();
            (leads, closed, tree.primitive_indices)
        };
        assert_eq!(with(1), with(3));
    }

    #[test]
    fn what_all_lies_in_one_place_is_held_too() {
        let one = sheet(1)[2];
        for count in [1, 2, 9, FEW + 1, 2 * MOST + 5] {
            let corners = vec![one; count];
            checked(&grow(&corners).0, &corners);
        }
    }
}
