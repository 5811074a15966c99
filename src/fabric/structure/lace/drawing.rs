//! Drawings of lace: outlines and lines, and the tiles of distances that the kernels read.

/// A place in a motif's own frame, millimetres.
pub type Place = [f64; 2];

/// A closed outline, filled with threads and edged with the cord.
#[derive(Debug, Clone, PartialEq)]
pub struct Area {
    /// Corners, in order.
    pub outline: Vec<Place>,
    /// Direction of the threads inside, radians from x.
    pub grain_rad: f64,
    /// Whether it is an open trellis instead of close work.
    pub open: bool,
}

/// A motif.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Drawing {
    /// Filled parts.
    pub areas: Vec<Area>,
    /// Stems, veins, picots, loose ends.
    pub lines: Vec<Vec<Place>>,
    /// Holes in the areas, edged like them.
    pub holes: Vec<Vec<Place>>,
}

/// A square of texels about a motif's middle, row by row from the lowest.
#[derive(Debug, Clone, PartialEq)]
pub struct Tile {
    /// Texels across.
    pub across: usize,
    /// Distance to an outline (negative inside), distance to a line, the areas' grain in half turns
    /// (2 more where open) and 4 times the direction of the nearest outline or line, place along
    /// that one. Millimetres.
    pub texels: Vec<[f32; 4]>,
}

/// Distances are not followed any farther than this.
const FAR_MM: f64 = 1.0;
/// Directions that are told apart (`LACE_WAYS` of the kernel).
const WAYS: f64 = 16.0;

impl Drawing {
    /// The drawing's tile, from `-reach_mm` to `reach_mm` both ways.
    pub fn tile(&self, reach_mm: f64, texels_per_mm: f64) -> Tile {
        let across = (2.0 * reach_mm * texels_per_mm).ceil() as usize;
        // Distances without their signs.
        let mut texels = vec![[FAR_MM as f32, FAR_MM as f32, 0.0, 0.0]; across * across];
        let mut canvas = Canvas {
            across,
            texels_per_mm,
            nearest: vec![FAR_MM; across * across],
            ways: vec![0.0; across * across],
        };
        for area in &self.areas {
            let grain = (area.grain_rad / std::f64::consts::PI).rem_euclid(1.0);
            let mark = grain + if area.open { 2.0 } else { 0.0 };
            canvas.fill(&area.outline, |at| texels[at][2] = -1.0 - mark as f32);
        }
        for hole in &self.holes {
            canvas.fill(hole, |at| texels[at][2] = 0.0);
        }
        let outlines = self.areas.iter().map(|area| &area.outline);
        for outline in outlines.chain(&self.holes) {
            canvas.stroke(&mut texels, outline, true, 0);
        }
        for line in &self.lines {
            canvas.stroke(&mut texels, line, false, 1);
        }
        for (texel, way) in texels.iter_mut().zip(&canvas.ways) {
            if texel[2] < 0.0 {
                texel[0] = -texel[0];
                texel[2] = -1.0 - texel[2];
            }
            texel[2] += 4.0 * way;
        }
        Tile { across, texels }
    }
}

struct Canvas {
    across: usize,
    texels_per_mm: f64,
    /// Distance to the nearest outline or line of all.
    nearest: Vec<f64>,
    /// That one's direction, in sixteenths of a turn.
    ways: Vec<f32>,
}

impl Canvas {
    /// Middle of a column or row, in millimetres.
    fn middle(&self, index: usize) -> f64 {
        (index as f64 + 0.5 - 0.5 * self.across as f64) / self.texels_per_mm
    }

    /// Columns or rows from one coordinate to another.
    fn range(&self, low_mm: f64, high_mm: f64) -> std::ops::Range<usize> {
        let index = |mm: f64| mm * self.texels_per_mm + 0.5 * self.across as f64;
        let limit = self.across as f64;
        let low = index(low_mm).floor().clamp(0.0, limit) as usize;
        low..index(high_mm).ceil().clamp(0.0, limit) as usize
    }

    /// Calls `mark` with each texel whose middle lies in the outline, by the even-odd rule.
    fn fill(&self, outline: &[Place], mut mark: impl FnMut(usize)) {
        let mut crossings = Vec::new();
        for row in 0..self.across {
            let y = self.middle(row);
            crossings.clear();
            for (from, to) in sides(outline, true) {
                if (from[1] <= y) != (to[1] <= y) {
                    crossings.push(from[0] + (to[0] - from[0]) * (y - from[1]) / (to[1] - from[1]));
                }
            }
            crossings.sort_by(f64::total_cmp);
            for pair in crossings.chunks_exact(2) {
                for column in self.range(pair[0], pair[1]) {
                    let x = self.middle(column);
                    if x >= pair[0] && x < pair[1] {
                        mark(row * self.across + column);
                    }
                }
            }
        }
    }

    /// Lowers distances in a channel to those from a line, and notes places along it.
    fn stroke(&mut self, texels: &mut [[f32; 4]], line: &[Place], closed: bool, channel: usize) {
        let mut start_mm = 0.0;
        for (from, to) in sides(line, closed) {
            let (dx, dy) = (to[0] - from[0], to[1] - from[1]);
            let length = dx.hypot(dy);
            if length < 1e-9 {
                continue;
            }
            let turns = (dy.atan2(dx) / std::f64::consts::TAU).rem_euclid(1.0);
            let way = (WAYS * turns).floor().min(WAYS - 1.0) as f32;
            let columns = self.range(from[0].min(to[0]) - FAR_MM, from[0].max(to[0]) + FAR_MM);
            for row in self.range(from[1].min(to[1]) - FAR_MM, from[1].max(to[1]) + FAR_MM) {
                for column in columns.clone() {
                    let (x, y) = (self.middle(column) - from[0], self.middle(row) - from[1]);
                    let along = ((x * dx + y * dy) / length).clamp(0.0, length);
                    let off = (x - along * dx / length).hypot(y - along * dy / length);
                    let at = row * self.across + column;
                    if off < f64::from(texels[at][channel]) {
                        texels[at][channel] = off as f32;
                    }
                    if off < self.nearest[at] {
                        self.nearest[at] = off;
                        texels[at][3] = (start_mm + along) as f32;
                        self.ways[at] = way;
                    }
                }
            }
            start_mm += length;
        }
    }
}

fn sides(line: &[Place], closed: bool) -> impl Iterator<Item = (Place, Place)> + '_ {
    let count = if closed {
        line.len()
    } else {
        line.len().saturating_sub(1)
    };
    (0..count).map(move |i| (line[i], line[(i + 1) % line.len()]))
}
