//! Trees that were grown, kept for the next run: half a second of work for a dressed figure. What is kept
//! is how the triangles hang together; bounds and corners are made anew of the triangles themselves.

use super::{EMPTY, Grown, LANES, LEAF, Node8, Opening, Packet, SHUT, binary_depth, packet};
use crate::scene::kept::{Kept, Key, Kind};
use glam::Vec3;
use rayon::prelude::*;
use sha2::{Digest, Sha256};
use std::path::PathBuf;
use std::sync::{Arc, Mutex, OnceLock, PoisonError};
use std::thread::JoinHandle;
use wide::f32x8;

/// Raised whenever the same triangles are to have another tree.
const TREE_VERSION: u32 = 3;

const KIND: Kind = Kind {
    ending: "tree",
    magic: b"swatchlight tre\n",
    most_bytes: 64 << 20,
};

/// Smaller trees are grown in less time than it takes to look for them.
const WORTH_KEEPING: usize = 20_000;
/// Bytes hashed by one core at a time.
const CHUNK: usize = 1 << 20;
/// Bytes of a packet's triangles.
const PACKET: usize = 4 * LANES;
/// Levels of eight-wide nodes in the deepest tree that is believed.
const DEEPEST: usize = 256;

/// Where trees are kept: in a folder, or nowhere.
#[derive(Debug, Clone)]
pub struct TreeShelf {
    kept: Kept,
    written: Arc<Written>,
}

/// Trees on their way to disk: nobody who waits for a picture waits for that. Whoever lets go of the shelf last does.
#[derive(Debug, Default)]
struct Written(Mutex<Vec<JoinHandle<()>>>);

impl Written {
    fn wait(&self) {
        let writing = std::mem::take(&mut *self.0.lock().unwrap_or_else(PoisonError::into_inner));
        for thread in writing {
            // One that panicked has kept nothing.
            let _ = thread.join();
        }
    }
}

impl Drop for Written {
    fn drop(&mut self) {
        self.wait();
    }
}

impl Default for TreeShelf {
    /// Nowhere.
    fn default() -> Self {
        Self::new(None)
    }
}

impl TreeShelf {
    /// In `folder` (made when it is first written to), or nowhere.
    pub fn new(folder: Option<PathBuf>) -> Self {
        Self {
            kept: Kept::new(folder, KIND),
            written: Arc::default(),
        }
    }

    /// Files kept, and their bytes.
    pub fn kept(&self) -> (usize, u64) {
        self.written.wait();
        self.kept.tally()
    }

    /// The tree over some triangles (corners in metres, and which let light through): the same, to the bit,
    /// whether it is found or grown.
    pub(super) fn get(&self, corners: &[[Vec3; 3]], passing: &[bool]) -> Arc<Grown> {
        if self.kept.folder().is_none() || corners.len() < WORTH_KEEPING {
            return Arc::new(Grown::build(corners, passing));
        }
        let key = key_of(corners);
        let kept = self.kept.read(&key);
        if let Some(grown) = kept.and_then(|bytes| decode(&bytes, corners, passing)) {
            return Arc::new(grown);
        }
        let grown = Arc::new(Grown::build(corners, passing));
        self.keep(key, Arc::clone(&grown));
        grown
    }

    /// On a thread of its own. A cache that cannot be written costs time at the next run, and nothing else.
    fn keep(&self, key: Key, grown: Arc<Grown>) {
        let kept = self.kept.clone();
        let write = move || {
            let _ = kept.write(&key, &encode(&grown));
        };
        if let Ok(thread) = std::thread::Builder::new().spawn(write) {
            let mut writing = self
                .written
                .0
                .lock()
                .unwrap_or_else(PoisonError::into_inner);
            writing.push(thread);
        }
    }
}

fn key_of(corners: &[[Vec3; 3]]) -> Key {
    let bytes: &[u8] = bytemuck::cast_slice(corners);
    let prints: Vec<Key> = bytes
        .par_chunks(CHUNK)
        .map(|chunk| Sha256::digest(chunk).into())
        .collect();
    let mut hash = Sha256::new();
    hash.update(TREE_VERSION.to_le_bytes());
    hash.update((bytes.len() as u64).to_le_bytes());
    hash.update(prints.as_flattened());
    hash.finalize().into()
}

/// Counts, then a record a node in order of depth first (children, which of them are leaves, how it was
/// opened), then the triangles of the leaves in the same order.
fn encode(grown: &Grown) -> Vec<u8> {
    let mut out = Vec::with_capacity(8 + 8 * grown.nodes.len() + PACKET * grown.packets.len());
    for count in [grown.nodes.len(), grown.packets.len()] {
        out.extend((count as u32).to_le_bytes());
    }
    for (node, opening) in grown.nodes.iter().zip(&grown.openings) {
        let used = node.children.iter().filter(|c| **c != EMPTY);
        let leaves = used
            .clone()
            .enumerate()
            .map(|(lane, c)| u8::from(c & LEAF != 0) << lane);
        out.extend([used.count() as u8, leaves.sum()]);
        out.extend(opening);
    }
    for number in grown.packets.iter().flat_map(|p| p.triangle) {
        out.extend(number.to_le_bytes());
    }
    out
}

/// `None` where the bytes are not those of a tree over these triangles.
fn decode(bytes: &[u8], corners: &[[Vec3; 3]], passing: &[bool]) -> Option<Grown> {
    let (counts, rest) = bytes.split_at_checked(8)?;
    let count = |at: usize| {
        let bytes = counts[at..at + 4].try_into().ok()?;
        usize::try_from(u32::from_le_bytes(bytes)).ok()
    };
    let (nodes, packets) = (count(0)?, count(4)?);
    let (records, numbers) = rest.split_at_checked(nodes.checked_mul(8)?)?;
    if numbers.len() != packets.checked_mul(PACKET)? {
        return None;
    }
    let (records, _) = records.as_chunks::<8>();
    let (numbers, _) = numbers.as_chunks::<PACKET>();
    let triangles = |bytes: &[u8; PACKET]| -> [u32; LANES] {
        let (numbers, _) = bytes.as_chunks::<4>();
        std::array::from_fn(|lane| u32::from_le_bytes(numbers[lane]))
    };
    let known = |n: &u32| *n == EMPTY || (*n as usize) < corners.len();
    if !numbers.par_iter().all(|b| triangles(b).iter().all(known)) {
        return None;
    }
    let packets: Vec<Packet> = numbers
        .par_iter()
        .map(|bytes| packet(triangles(bytes), corners, passing))
        .collect();
    let bounds: Vec<Bounds> = packets
        .par_iter()
        .map(|p| Bounds::of(&p.triangle, corners))
        .collect();
    let mut hanging = Hanging {
        records,
        bounds: &bounds,
        held: &packets,
        nodes: Vec::with_capacity(nodes),
        openings: Vec::with_capacity(nodes),
        packets: 0,
    };
    let root = hanging.node(0)?;
    if hanging.nodes.len() != nodes || hanging.packets != packets.len() {
        return None;
    }
    Some(Grown {
        nodes: hanging.nodes,
        openings: hanging.openings,
        packets,
        stack_entries: 7 * root.levels + 8,
        binary_depth: root.binary_depth,
        pairs: OnceLock::new(),
    })
}

/// Low and high corner.
#[derive(Clone, Copy)]
struct Bounds(Vec3, Vec3);

impl Bounds {
    const NONE: Self = Self(Vec3::INFINITY, Vec3::NEG_INFINITY);

    fn of(numbers: &[u32; LANES], corners: &[[Vec3; 3]]) -> Self {
        let held = numbers.iter().filter(|n| **n != EMPTY);
        let points = held.flat_map(|n| corners[*n as usize]);
        points.fold(Self::NONE, |b, p| Self(b.0.min(p), b.1.max(p)))
    }

    fn with(self, other: Self) -> Self {
        Self(self.0.min(other.0), self.1.max(other.1))
    }
}

/// The tree as it is hung together again.
struct Hanging<'a> {
    records: &'a [[u8; 8]],
    /// Of each packet.
    bounds: &'a [Bounds],
    held: &'a [Packet],
    nodes: Vec<Node8>,
    openings: Vec<Opening>,
    /// Taken so far.
    packets: usize,
}

struct Hung {
    bounds: Bounds,
    levels: usize,
    binary_depth: usize,
}

impl Hanging<'_> {
    /// The next node and all below it.
    fn node(&mut self, above: usize) -> Option<Hung> {
        let slot = self.nodes.len();
        let [count, leaves, opening @ ..] = *self.records.get(slot)?;
        let count = usize::from(count);
        let opened = opening.iter().enumerate();
        let sound = opened.into_iter().all(|(k, split)| {
            if k + 2 < count {
                usize::from(*split) < k + 2
            } else {
                *split == SHUT
            }
        });
        if above > DEEPEST || !(1..=8).contains(&count) || !sound {
            return None;
        }
        let mut planes = [[f32::INFINITY; 8], [f32::NEG_INFINITY; 8]].repeat(3);
        let mut children = [EMPTY; 8];
        self.nodes.push(Node8 {
            planes: [f32x8::ZERO; 6],
            children,
        });
        self.openings.push(opening);
        let (mut all, mut levels, mut depths) = (Bounds::NONE, 0, [0; 8]);
        for lane in 0..count {
            let bounds = if leaves >> lane & 1 == 1 {
                let bounds = *self.bounds.get(self.packets)?;
                children[lane] = self.packets as u32 | LEAF;
                depths[lane] = self.held[self.packets].pair_levels();
                self.packets += 1;
                bounds
            } else {
                children[lane] = self.nodes.len() as u32;
                let below = self.node(above + 1)?;
                levels = levels.max(below.levels);
                depths[lane] = below.binary_depth;
                below.bounds
            };
            for axis in 0..3 {
                planes[2 * axis][lane] = bounds.0[axis];
                planes[2 * axis + 1][lane] = bounds.1[axis];
            }
            all = all.with(bounds);
        }
        self.nodes[slot] = Node8 {
            planes: std::array::from_fn(|i| f32x8::from(planes[i])),
            children,
        };
        Some(Hung {
            bounds: all,
            levels: levels + 1,
            binary_depth: binary_depth(&opening, count, depths),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    /// A rolling floor of small triangles, some of them sheets.
    fn hills() -> (Vec<[Vec3; 3]>, Vec<bool>) {
        let height = |x: f32, z: f32| (7.0 * x).sin() * (5.0 * z).cos();
        let at = |i: usize, j: usize| {
            let (x, z) = (i as f32 * 0.01, j as f32 * 0.013);
            Vec3::new(x, height(x, z), z)
        };
        let cells = (0..110).flat_map(|i| (0..110).map(move |j| (i, j)));
        let corners: Vec<_> = cells
            .flat_map(|(i, j)| {
                let [a, b, c, d] = [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)];
                [[a, b, c], [a, c, d]]
            })
            .collect();
        let passing = (0..corners.len()).map(|i| i % 7 == 0).collect();
        (corners, passing)
    }

    fn same(a: &Grown, b: &Grown) {
        let bytes = |g: &Grown| {
            let planes = g.nodes.iter().flat_map(|n| n.planes.map(f32x8::to_array));
            let planes: Vec<u32> = planes.flatten().map(f32::to_bits).collect();
            let children: Vec<_> = g.nodes.iter().map(|n| n.children).collect();
            let held: Vec<_> = g.packets.iter().map(|p| (p.triangle, p.passing)).collect();
            let edges = g
                .packets
                .iter()
                .flat_map(|p| [p.corner, p.edge_b, p.edge_c]);
            let edges: Vec<_> = edges
                .flatten()
                .map(|v| v.to_array().map(f32::to_bits))
                .collect();
            (planes, children, held, edges)
        };
        assert!(bytes(a) == bytes(b), "another tree");
        assert_eq!(a.openings, b.openings);
        assert_eq!(
            (a.stack_entries, a.binary_depth),
            (b.stack_entries, b.binary_depth)
        );
    }

    #[test]
    fn a_kept_tree_is_the_one_that_was_grown() {
        let folder = tempfile::tempdir().unwrap();
        let (corners, passing) = hills();
        let grown = Grown::build(&corners, &passing);
        let shelf = TreeShelf::new(Some(folder.path().join("new")));
        same(&grown, &shelf.get(&corners, &passing));
        assert_eq!(shelf.kept().0, 1);
        same(&grown, &shelf.get(&corners, &passing));
        // What lets light through is no part of what is kept.
        let other: Vec<bool> = passing.iter().map(|p| !p).collect();
        same(
            &Grown::build(&corners, &other),
            &shelf.get(&corners, &other),
        );
        assert_eq!(shelf.kept().0, 1);
        let few = &corners[..WORTH_KEEPING - 1];
        shelf.get(few, &passing[..few.len()]);
        assert_eq!(shelf.kept().0, 1);
        shelf.get(&corners[1..], &passing[1..]);
        assert_eq!(shelf.kept().0, 2);
    }

    /// Cut or changed anywhere, bytes give the tree, none, or another one over known triangles: never a panic.
    #[test]
    fn hostile_bytes_are_refused() {
        let (corners, passing) = hills();
        let grown = Grown::build(&corners, &passing);
        let whole = encode(&grown);
        same(&grown, &decode(&whole, &corners, &passing).unwrap());
        for cut in [0, 7, 8, 300, whole.len() / 2, whole.len() - 1] {
            assert!(decode(&whole[..cut], &corners, &passing).is_none(), "{cut}");
        }
        let records = 8 + 8 * grown.nodes.len();
        let mut refused = 0;
        for at in (0..records)
            .step_by(61)
            .chain((records..whole.len()).step_by(4099))
        {
            let mut other = whole.clone();
            other[at] ^= 0xa5;
            refused += usize::from(decode(&other, &corners, &passing).is_none());
        }
        assert!(refused > 100, "{refused}");
        assert!(decode(&whole, &corners[..9], &passing[..9]).is_none());
    }

    #[test]
    fn a_broken_file_is_grown_anew() {
        let folder = tempfile::tempdir().unwrap();
        let (corners, passing) = hills();
        let shelf = TreeShelf::new(Some(folder.path().into()));
        let grown = shelf.get(&corners, &passing);
        for file in fs::read_dir(folder.path()).unwrap() {
            fs::write(file.unwrap().path(), b"no tree").unwrap();
        }
        same(&grown, &shelf.get(&corners, &passing));
    }
}
