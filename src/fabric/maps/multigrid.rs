//! A solver for the heights whose differences come nearest to given ones: Poisson's equation on a
//! rectangle of any size, with free edges or on the torus.
//!
//! Multigrid (A. Brandt, Math. Comp. 31, 1977, 333) in finite volumes: every coarser level joins
//! cells by twos along each side, an odd last one stays alone. Smoothing is damped Jacobi with two
//! Chebyshev weights for the upper three quarters of the spectrum. Cycles run in f32 on what is
//! left over from heights kept in f64, so that rounding does not add up over a large picture.

use rayon::prelude::*;

/// What a picture's edges join to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Edges {
    /// Nothing: a piece cut out.
    Free,
    /// The opposite edge: a tile that repeats.
    Torus,
}

/// Weights of the two sweeps: `1 / (θ ± δ cos 45°)` for eigenvalues of `D⁻¹A` from 1/2 to 2.
const WEIGHTS: [f32; 2] = [1.389_074, 0.561_737_5];

/// Cycles after which it is given up; about eight suffice.
const MOST_CYCLES: usize = 40;

/// Solves `A h = b`, `A` the graph Laplacian of the pixels, for `h` of mean 0. `b` sums to 0 but for rounding.
pub(super) fn solve(b: &[f32], width: usize, height: usize, edges: Edges) -> Vec<f64> {
    /// Change of the heights in a cycle, over the heights, that is small enough.
    const ENOUGH: f64 = 1e-5;
    let mut levels = Level::all(width, height, edges);
    let mut h = vec![0.0f64; width * height];
    // Rounding leaves a sum, for which there are no heights.
    let surplus = b.par_iter().map(|&b| f64::from(b)).sum::<f64>() / b.len() as f64;
    levels[0].rest.copy_from_slice(b);
    for _ in 0..MOST_CYCLES {
        cycle(&mut levels);
        let (change, size) = h
            .par_iter_mut()
            .zip(&levels[0].guess)
            .map(|(h, &e)| {
                *h += f64::from(e);
                (f64::from(e).powi(2), h.powi(2))
            })
            .reduce(|| (0.0, 0.0), |a, b| (a.0 + b.0, a.1 + b.1));
        if change <= ENOUGH.powi(2) * size {
            break;
        }
        let Level { grid, rest, .. } = &mut levels[0];
        rest.par_chunks_mut(width).enumerate().for_each_init(
            || vec![0.0f64; width],
            |flow, (j, rest)| {
                grid.flow(&h, j, flow);
                for ((rest, &b), &flow) in rest.iter_mut().zip(&b[j * width..]).zip(&*flow) {
                    *rest = (f64::from(b) - surplus + flow) as f32;
                }
            },
        );
    }
    let mean = h.par_iter().sum::<f64>() / h.len() as f64;
    h.par_iter_mut().for_each(|h| *h -= mean);
    h
}

/// Cells along one side.
struct Axis {
    widths: Vec<f32>,
    /// One over the distance from each cell's centre to the next one's; the last is the way round.
    links: Vec<f32>,
    /// For each cell its two links together.
    both: Vec<f32>,
}

struct Grid {
    x: Axis,
    y: Axis,
    edges: Edges,
}

struct Level {
    grid: Grid,
    /// The equation's right side.
    rest: Vec<f32>,
    /// Its solution so far.
    guess: Vec<f32>,
    other: Vec<f32>,
}

/// Numbers that heights are held in.
trait Number: Copy + Send + Sync + std::ops::Sub<Output = Self> + std::ops::Add<Output = Self> {
    fn times(self, factor: f32) -> Self;
}

impl Number for f32 {
    fn times(self, factor: f32) -> Self {
        self * factor
    }
}

impl Number for f64 {
    fn times(self, factor: f32) -> Self {
        self * f64::from(factor)
    }
}

impl Axis {
    fn new(widths: Vec<f32>, edges: Edges) -> Self {
        let n = widths.len();
        let links: Vec<f32> = (0..n)
            .map(|i| {
                let last = i + 1 == n;
                if n == 1 || (last && edges == Edges::Free) {
                    0.0
                } else {
                    2.0 / (widths[i] + widths[(i + 1) % n])
                }
            })
            .collect();
        let both = (0..n).map(|i| links[i] + links[(i + n - 1) % n]).collect();
        Self {
            widths,
            links,
            both,
        }
    }

    fn len(&self) -> usize {
        self.widths.len()
    }

    fn coarser(&self, edges: Edges) -> Self {
        Self::new(
            self.widths
                .chunks(2)
                .map(|pair| pair.iter().sum())
                .collect(),
            edges,
        )
    }

    /// For each finer cell the coarse cells that its centre lies between, and how far along.
    fn between(fine: &Axis, coarse: &Axis, edges: Edges) -> Vec<(usize, usize, f32)> {
        let n = coarse.len();
        (0..fine.len())
            .map(|i| {
                let own = i / 2;
                if fine.len() == 1 || (i % 2 == 0 && i + 1 == fine.len()) {
                    return (own, own, 0.0);
                }
                let other = match (i % 2, edges) {
                    (0, Edges::Torus) => (own + n - 1) % n,
                    (0, Edges::Free) if own == 0 => return (own, own, 0.0),
                    (0, Edges::Free) => own - 1,
                    (_, Edges::Torus) => (own + 1) % n,
                    (_, Edges::Free) if own + 1 == n => return (own, own, 0.0),
                    (_, Edges::Free) => own + 1,
                };
                // From the pair's centre out to this cell's: half the other cell of the pair.
                let off = 0.5 * fine.widths[i ^ 1];
                let far = 0.5 * (coarse.widths[own] + coarse.widths[other]);
                (own, other, off / far)
            })
            .collect()
    }
}

impl Grid {
    /// Writes what flows into each cell of row `j`, `-A e`, into `flow`.
    fn flow<T: Number>(&self, e: &[T], j: usize, flow: &mut [T]) {
        let (w, n) = (self.x.len(), self.y.len());
        let (above, below) = ((j + n - 1) % n, (j + 1) % n);
        let wy = self.y.widths[j];
        let (l_above, l_below) = (self.y.links[above], self.y.links[j]);
        let row = |j: usize| &e[j * w..(j + 1) * w];
        let (mid, up, down) = (row(j), row(above), row(below));
        let (wx, lx) = (&self.x.widths[..], &self.x.links[..]);

        // Along: all columns alike. Slices of one length, so that it runs in vectors.
        let columns = mid.iter().zip(up).zip(down).zip(wx);
        for (flow, (((&c, &up), &down), &wx)) in flow.iter_mut().zip(columns) {
            *flow = ((up - c).times(l_above) + (down - c).times(l_below)).times(wx);
        }
        // Across: from the cell to the right, and from that to the left, the way round at the end.
        let pairs = mid.iter().zip(&mid[1..]).zip(lx);
        for (flow, ((&c, &right), &l)) in flow.iter_mut().zip(pairs.clone()) {
            *flow = *flow + (right - c).times(l * wy);
        }
        for (flow, ((&left, &c), &l)) in flow[1..].iter_mut().zip(pairs) {
            *flow = *flow + (left - c).times(l * wy);
        }
        let round = (mid[0] - mid[w - 1]).times(lx[w - 1] * wy);
        flow[w - 1] = flow[w - 1] + round;
        flow[0] = flow[0] - round;
    }

    /// Mends one row of a guess: one damped Jacobi sweep, `flow` being what flows in.
    fn mend(&self, j: usize, weight: f32, guess: &[f32], rest: &[f32], flow: &mut [f32]) {
        let along = self.y.both[j];
        let wy = self.y.widths[j];
        let columns = guess.iter().zip(rest).zip(&self.x.both).zip(&self.x.widths);
        for (out, (((&e, &rest), &across), &wx)) in flow.iter_mut().zip(columns) {
            let diagonal = wy * across + wx * along;
            *out = e + weight * (rest + *out) / diagonal;
        }
    }
}

impl Level {
    fn all(width: usize, height: usize, edges: Edges) -> Vec<Self> {
        let mut levels = Vec::new();
        let mut x = Axis::new(vec![1.0; width], edges);
        let mut y = Axis::new(vec![1.0; height], edges);
        loop {
            let cells = x.len() * y.len();
            let (coarse_x, coarse_y) = (x.coarser(edges), y.coarser(edges));
            levels.push(Self {
                grid: Grid { x, y, edges },
                rest: vec![0.0; cells],
                guess: vec![0.0; cells],
                other: vec![0.0; cells],
            });
            if cells == 1 {
                return levels;
            }
            (x, y) = (coarse_x, coarse_y);
        }
    }
}

/// One V-cycle from a guess of 0: brings `levels[0].guess` near what `levels[0].rest` asks for.
fn cycle(levels: &mut [Level]) {
    let Some((fine, coarser)) = levels.split_first_mut() else {
        return;
    };
    let Some(coarse) = coarser.first_mut() else {
        // A single cell has no height over others.
        fine.guess.fill(0.0);
        return;
    };
    let (width, coarse_width) = (fine.grid.x.len(), coarse.grid.x.len());

    // Smooth.
    fine.other.fill(0.0);
    std::mem::swap(&mut fine.guess, &mut fine.other);
    WEIGHTS.iter().for_each(|&weight| fine.sweep(weight));

    // Ask the coarser level for what is left, summed over its cells.
    let Level {
        grid, rest, guess, ..
    } = &*fine;
    coarse
        .rest
        .par_chunks_mut(coarse_width)
        .enumerate()
        .for_each_init(
            || vec![0.0f32; width],
            |flow, (j, out)| {
                out.fill(0.0);
                for j in 2 * j..(2 * j + 2).min(grid.y.len()) {
                    grid.flow(guess, j, flow);
                    let rest = &rest[j * width..(j + 1) * width];
                    let pairs = flow.chunks(2).zip(rest.chunks(2));
                    for (out, (flow, rest)) in out.iter_mut().zip(pairs) {
                        *out += flow.iter().sum::<f32>() + rest.iter().sum::<f32>();
                    }
                }
            },
        );
    cycle(coarser);
    let coarse = &coarser[0];

    // Take over its answer, bilinear between its cells' centres.
    let edges = fine.grid.edges;
    let columns = Axis::between(&fine.grid.x, &coarse.grid.x, edges);
    let rows = Axis::between(&fine.grid.y, &coarse.grid.y, edges);
    fine.guess
        .par_chunks_mut(width)
        .zip(&rows)
        .for_each(|(guess, &(j0, j1, v))| {
            let row = |j: usize| &coarse.guess[j * coarse_width..(j + 1) * coarse_width];
            let (near, far) = (row(j0), row(j1));
            for (guess, &(i0, i1, u)) in guess.iter_mut().zip(&columns) {
                let a = near[i0] + u * (near[i1] - near[i0]);
                let b = far[i0] + u * (far[i1] - far[i0]);
                *guess += a + v * (b - a);
            }
        });
    WEIGHTS.iter().for_each(|&weight| fine.sweep(weight));
}

impl Level {
    /// One damped Jacobi sweep.
    fn sweep(&mut self, weight: f32) {
        let width = self.grid.x.len();
        let Self {
            grid,
            rest,
            guess,
            other,
        } = self;
        other
            .par_chunks_mut(width)
            .enumerate()
            .for_each(|(j, out)| {
                let row = j * width..(j + 1) * width;
                grid.flow(guess, j, out);
                grid.mend(j, weight, &guess[row.clone()], &rest[row], out);
            });
        std::mem::swap(guess, other);
    }
}

#[cfg(test)]
mod tests {
    use super::{Axis, Edges, Grid, solve};

    /// Heights of hashed noise and one slow wave.
    fn rough(width: usize, height: usize) -> Vec<f64> {
        let mut state = 1u64;
        let mut h: Vec<f64> = (0..width * height)
            .map(|k| {
                state = state
                    .wrapping_mul(6_364_136_223_846_793_005)
                    .wrapping_add(1);
                let noise = (state >> 40) as f64 / (1u64 << 24) as f64;
                noise + 30.0 * (3.0 * (k % width) as f64 / width as f64).cos()
            })
            .collect();
        let mean = h.iter().sum::<f64>() / h.len() as f64;
        h.iter_mut().for_each(|h| *h -= mean);
        h
    }

    /// The definition of the problem is the check: `b = A h` must give `h` back, at sizes that
    /// halve badly too.
    #[test]
    fn heights_come_back_from_their_laplacian() {
        let sizes = [(64, 64), (127, 65), (2, 2), (2, 33), (101, 3), (97, 129)];
        for edges in [Edges::Free, Edges::Torus] {
            for (width, height) in sizes {
                let h = rough(width, height);
                let grid = Grid {
                    x: Axis::new(vec![1.0; width], edges),
                    y: Axis::new(vec![1.0; height], edges),
                    edges,
                };
                let mut b = vec![0.0f32; width * height];
                for (j, row) in b.chunks_mut(width).enumerate() {
                    let mut flow = vec![0.0f64; width];
                    grid.flow(&h, j, &mut flow);
                    row.iter_mut().zip(flow).for_each(|(b, f)| *b = -f as f32);
                }
                let found = solve(&b, width, height, edges);
                let error = |a: &f64, b: &f64| (a - b).abs();
                let worst = found.iter().zip(&h).map(|(a, b)| error(a, b));
                let worst = worst.fold(0.0, f64::max);
                assert!(worst < 2e-3, "{width} × {height}, {edges:?}: {worst}");
            }
        }
    }
}
