//! In which order to shoot, so that least has to be moved.
//!
//! What lies between each two frames is a number of minutes; wanted is the cheapest way through all of
//! them, from any first to any last. Up to [`MOST_EXACT`] frames it is found exactly, by dynamic
//! programming over sets of frames (Held and Karp, 1962; Bellman, 1962). Beyond that, the nearest next
//! frame is taken from each start in turn, and the best of these ways are improved by moving and turning
//! runs of frames until nothing gains (2-opt, Croes 1958; Or-opt, Or 1976): a good order, not a proven
//! best. Lists of more than [`MOST_ORDERED`] frames stay as they are written.

/// Frames that are ordered exactly.
pub const MOST_EXACT: usize = 15;
/// Frames that are ordered at all.
pub const MOST_ORDERED: usize = 200;
/// Ways that are improved, of those begun at each frame: of short lists, and of long ones.
const IMPROVED: [usize; 2] = [12, 2];
/// The longest of the short lists.
const SHORT: usize = 60;
/// Longest run of frames moved at once.
const LONGEST_RUN: usize = 24;
/// Less is no gain but rounding.
const GAIN: f64 = 1e-9;

/// A proposed order.
#[derive(Debug, Clone, PartialEq)]
pub struct Order {
    /// Places of the frames, first to last.
    pub places: Vec<usize>,
    /// What the moves between them cost.
    pub minutes: f64,
    /// Whether nothing cheaper exists.
    pub exact: bool,
}

/// What a way costs.
pub fn cost(places: &[usize], between: &[Vec<f64>]) -> f64 {
    places.windows(2).map(|w| between[w[0]][w[1]]).sum()
}

/// The order with least moves; `between[a][b]` are the minutes from frame `a` to frame `b`, the same
/// both ways. Of orders that cost the same, one that begins as the list does is preferred.
pub fn least_moves(between: &[Vec<f64>]) -> Order {
    let n = between.len();
    let exact = n <= MOST_EXACT;
    let mut places = match n {
        _ if exact => by_sets(between),
        _ if n <= MOST_ORDERED => by_improving(between),
        _ => (0..n).collect(),
    };
    // A way costs the same walked backward: begin where the list begins.
    if places.first() > places.last() {
        places.reverse();
    }
    let written: Vec<usize> = (0..n).collect();
    if cost(&written, between) <= cost(&places, between) + GAIN {
        places = written;
    }
    Order {
        minutes: cost(&places, between),
        places,
        exact,
    }
}

/// `best[set][last]`: the cheapest way through all of a set that ends at `last`.
fn by_sets(between: &[Vec<f64>]) -> Vec<usize> {
    let n = between.len();
    if n == 0 {
        return Vec::new();
    }
    let sets = 1_usize << n;
    let mut best = vec![f64::INFINITY; sets * n];
    for last in 0..n {
        best[(1 << last) * n + last] = 0.0;
    }
    for set in 1..sets {
        for last in (0..n).filter(|l| set >> l & 1 == 1) {
            let so_far = best[set * n + last];
            for next in (0..n).filter(|x| set >> x & 1 == 0) {
                let place = (set | 1 << next) * n + next;
                best[place] = best[place].min(so_far + between[last][next]);
            }
        }
    }
    // Back from the cheapest end.
    let mut set = sets - 1;
    let ends = |set: usize, best: &[f64], add: &dyn Fn(usize) -> f64| {
        let mut found = (0, f64::INFINITY);
        for last in (0..n).filter(|l| set >> l & 1 == 1) {
            let cost = best[set * n + last] + add(last);
            if cost < found.1 - GAIN {
                found = (last, cost);
            }
        }
        found.0
    };
    let mut last = ends(set, &best, &|_| 0.0);
    let mut way = vec![last];
    while way.len() < n {
        set &= !(1 << last);
        let to = last;
        last = ends(set, &best, &|l| between[l][to]);
        way.push(last);
    }
    way.reverse();
    way
}

fn by_improving(between: &[Vec<f64>]) -> Vec<usize> {
    let n = between.len();
    let mut begun: Vec<Vec<usize>> = (0..n).map(|start| nearest(between, start)).collect();
    begun.push((0..n).collect());
    begun.sort_by(|a, b| cost(a, between).total_cmp(&cost(b, between)));
    let improved = begun
        .into_iter()
        .take(IMPROVED[usize::from(n > SHORT)])
        .map(|mut way| {
            improve(&mut way, between);
            way
        });
    improved
        .min_by(|a, b| cost(a, between).total_cmp(&cost(b, between)))
        .unwrap_or_default()
}

/// Always on to the nearest; of equally near ones to the first in the list.
fn nearest(between: &[Vec<f64>], start: usize) -> Vec<usize> {
    let n = between.len();
    let mut way = vec![start];
    let mut left: Vec<usize> = (0..n).filter(|i| *i != start).collect();
    let mut here = start;
    while !left.is_empty() {
        let mut found = 0;
        for (i, next) in left.iter().enumerate() {
            if between[here][*next] < between[here][left[found]] - GAIN {
                found = i;
            }
        }
        here = left.remove(found);
        way.push(here);
    }
    way
}

/// Turns runs round and moves runs elsewhere while that gains.
fn improve(way: &mut Vec<usize>, between: &[Vec<f64>]) {
    while turn_a_run(way, between) || move_a_run(way, between) {}
}

/// The step between two places of the way; nothing beyond its ends.
fn step(way: &[usize], from: Option<usize>, to: Option<usize>, between: &[Vec<f64>]) -> f64 {
    match (from, to) {
        (Some(a), Some(b)) if b < way.len() => between[way[a]][way[b]],
        _ => 0.0,
    }
}

fn turn_a_run(way: &mut [usize], between: &[Vec<f64>]) -> bool {
    let n = way.len();
    for i in 0..n {
        for j in i + 1..n {
            let before = i.checked_sub(1);
            let after = Some(j + 1);
            let old = step(way, before, Some(i), between) + step(way, Some(j), after, between);
            let new = step(way, before, Some(j), between) + step(way, Some(i), after, between);
            if new < old - GAIN {
                way[i..=j].reverse();
                return true;
            }
        }
    }
    false
}

fn move_a_run(way: &mut Vec<usize>, between: &[Vec<f64>]) -> bool {
    let n = way.len();
    let now = cost(way, between);
    for length in 1..=LONGEST_RUN.min(n.saturating_sub(1)) {
        for i in 0..=n - length {
            let mut rest = way.clone();
            let run: Vec<usize> = rest.drain(i..i + length).collect();
            let inner = cost(&run, between);
            let left = cost(&rest, between);
            let link = |a: Option<&usize>, b: Option<&usize>| match (a, b) {
                (Some(a), Some(b)) => between[*a][*b],
                _ => 0.0,
            };
            for at in 0..=rest.len() {
                let before = at.checked_sub(1).and_then(|k| rest.get(k));
                let after = rest.get(at);
                let open = left - link(before, after) + inner;
                let (first, last) = (run.first(), run.last());
                let straight = open + link(before, first) + link(last, after);
                let turned = open + link(before, last) + link(first, after);
                if straight.min(turned) < now - GAIN {
                    let mut run = run.clone();
                    if turned < straight {
                        run.reverse();
                    }
                    rest.splice(at..at, run);
                    *way = rest;
                    return true;
                }
            }
        }
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Minutes between points on a plane, by a fixed scramble of their numbers.
    fn plane(n: usize, seed: u64) -> Vec<Vec<f64>> {
        let number = |i: usize, k: u64| {
            let mut x = seed ^ (i as u64 * 2 + k + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
            x = (x ^ (x >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
            x = (x ^ (x >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
            ((x ^ (x >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
        };
        let point = |i| [number(i, 0), number(i, 1)];
        (0..n)
            .map(|i| {
                let far = |j: usize| {
                    let (a, b) = (point(i), point(j));
                    (a[0] - b[0]).hypot(a[1] - b[1])
                };
                (0..n).map(far).collect()
            })
            .collect()
    }

    fn every_way(n: usize) -> Vec<Vec<usize>> {
        if n == 0 {
            return vec![Vec::new()];
        }
        let shorter = every_way(n - 1);
        shorter
            .iter()
            .flat_map(|way| {
                (0..n).map(move |at| {
                    let mut way = way.clone();
                    way.insert(at, n - 1);
                    way
                })
            })
            .collect()
    }

    #[test]
    fn small_lists_are_ordered_as_trying_every_way_does() {
        for n in 0..=7 {
            for seed in 0..6 {
                let between = plane(n, seed);
                let tried = every_way(n)
                    .iter()
                    .map(|w| cost(w, &between))
                    .fold(f64::INFINITY, f64::min);
                let order = least_moves(&between);
                assert!(order.exact);
                assert!((order.minutes - tried).abs() < 1e-9, "{n} frames, {seed}");
                let mut sorted = order.places.clone();
                sorted.sort_unstable();
                assert_eq!(sorted, (0..n).collect::<Vec<_>>());
            }
        }
    }

    #[test]
    fn improving_comes_near_the_exact_order() {
        let (mut worst, mut sum) = (0.0_f64, 0.0);
        for seed in 0..20 {
            let between = plane(12, seed);
            let exact = cost(&by_sets(&between), &between);
            let found = cost(&by_improving(&between), &between);
            assert!(found >= exact - 1e-9);
            worst = worst.max(found / exact - 1.0);
            sum += found / exact - 1.0;
        }
        assert!(worst < 0.05, "the worst of 20 lists costs {worst:.3} more");
        assert!(sum / 20.0 < 0.01, "on average {:.4} more", sum / 20.0);
    }

    /// On a line the best order is known: from one end to the other.
    #[test]
    fn long_lists_on_a_line_are_walked_along_it() {
        let at: Vec<f64> = (0..40).map(|i| f64::from((i * 17) % 40)).collect();
        let between: Vec<Vec<f64>> = at
            .iter()
            .map(|a| at.iter().map(|b| (a - b).abs()).collect())
            .collect();
        let order = least_moves(&between);
        assert!(!order.exact);
        assert_eq!(order.minutes, 39.0);
    }

    #[test]
    fn what_is_as_good_as_written_stays_as_written() {
        let order = least_moves(&vec![vec![1.0; 6]; 6]);
        assert_eq!(order.places, [0, 1, 2, 3, 4, 5]);
    }
}
