//! A woven cloth cut open along a pick and along an end, enlarged, from the numbers that its crimp
//! is worked out from: threads that are crossed are flat ovals with round ends, and the thread that
//! is cut along its length lies on their flats, bends round their ends and runs straight between
//! (Peirce 1937, flattened after Kemp 1958, from memory). Up is the face.

use super::super::drawing::{Anchor, Colour, Drawing, Paint, Text};
use crate::fabric::construction::{ClothGeometry, YarnGeometry, least_pitch_mm, wave};
use crate::fabric::draft::Drawdown;
use std::f64::consts::PI;

const INK: Colour = [34, 34, 34];
const QUIET: Colour = [110, 110, 110];
const LABEL_MM: f64 = 2.5;
/// Enlargements that a ruler has.
const TIMES: [f64; 9] = [100.0, 50.0, 40.0, 25.0, 20.0, 10.0, 5.0, 2.0, 1.0];
/// Crossed threads that should be seen, where the repeat is not smaller; and the most.
const WANTED: usize = 5;
const MOST: usize = 24;
/// Points along one bend, and along half an oval's end.
const POINTS: usize = 10;
/// Above each section its heading, below it its dimension.
const HEAD_MM: f64 = 4.0;
const FOOT_MM: f64 = 6.0;

/// How large a section was drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SectionDrawn {
    /// Millimetres on the page for one of cloth.
    pub times: f64,
    /// Ends that the cut along a pick shows, and picks that the cut along an end shows.
    pub crossed: [usize; 2],
}

/// Draws both sections into a box of the page, in one enlargement, in the colours of warp and weft.
pub fn section(
    page: &mut Drawing,
    cloth: &ClothGeometry,
    drawdown: &Drawdown,
    [warp, weft]: [Colour; 2],
    corner_mm: [f64; 2],
    size_mm: [f64; 2],
) -> SectionDrawn {
    let half_mm = 0.5 * size_mm[1];
    let room = [size_mm[0], half_mm - HEAD_MM - FOOT_MM];
    let cut_pick = Cut {
        along: &cloth.weft,
        crossed: &cloth.warp,
        colours: [weft, warp],
        heading: "along a pick",
        crossed_name: "ends",
        over: &|k| !drawdown.warp_on_top(k, 0),
        repeat: drawdown.ends(),
    };
    let cut_end = Cut {
        along: &cloth.warp,
        crossed: &cloth.weft,
        colours: [warp, weft],
        heading: "along an end",
        crossed_name: "picks",
        over: &|k| drawdown.warp_on_top(0, k),
        repeat: drawdown.picks(),
    };
    let thickness_mm = cloth.thickness_mm();
    let fits = |times: &f64| {
        let wide = |cut: &Cut| times * cut.crossed.spacing_mm * cut.wanted() as f64 <= room[0];
        times * thickness_mm <= room[1] && wide(&cut_pick) && wide(&cut_end)
    };
    let times = TIMES.into_iter().find(fits).unwrap_or(1.0);
    let crossed = [&cut_pick, &cut_end].map(|cut| {
        let fit = room[0] / (times * cut.crossed.spacing_mm);
        (fit as usize).clamp(1, MOST)
    });
    for (k, cut) in [&cut_pick, &cut_end].into_iter().enumerate() {
        let top = corner_mm[1] + k as f64 * half_mm;
        let at = [corner_mm[0], top + HEAD_MM + 0.5 * room[1]];
        cut.draw(page, at, times, crossed[k]);
        let heading = Text::new([corner_mm[0], top + 2.5], cut.heading, LABEL_MM, INK);
        page.text(heading);
        let thick = 0.5 * times * thickness_mm;
        cut.dimension(page, [at[0], at[1] + thick + 2.4], times);
    }
    SectionDrawn { times, crossed }
}

/// A cut along one thread.
struct Cut<'a> {
    along: &'a YarnGeometry,
    crossed: &'a YarnGeometry,
    /// Of the two.
    colours: [Colour; 2],
    heading: &'static str,
    crossed_name: &'static str,
    /// Whether the thread lies over the crossed one of a number.
    over: &'a dyn Fn(i64) -> bool,
    /// Crossed threads after which it begins again.
    repeat: usize,
}

impl Cut<'_> {
    /// Crossed threads that should be seen: a repeat, within reason.
    fn wanted(&self) -> usize {
        self.repeat.clamp(WANTED, MOST / 2)
    }

    /// From the left middle of its place.
    fn draw(&self, page: &mut Drawing, [x_mm, y_mm]: [f64; 2], times: f64, crossed: usize) {
        let place = |[x, z]: [f64; 2]| [x_mm + times * x, y_mm - times * z];
        let [along, across] = self.colours;
        let thin = Paint::line(INK, 0.15);
        let spacing = self.crossed.spacing_mm;
        // It comes in and goes out half a spacing beside the outermost crossed threads' middles.
        let length = crossed as f64 * spacing;
        let middle = self.middle_line(crossed);
        let side = |sign: f64| {
            let offset = |k: usize| {
                let before = middle[k.saturating_sub(1)];
                let after = middle[(k + 1).min(middle.len() - 1)];
                let [dx, dz] = [after[0] - before[0], after[1] - before[1]];
                let by = sign * self.along.half_height_mm / dx.hypot(dz).max(1e-12);
                [middle[k][0] - dz * by, middle[k][1] + dx * by]
            };
            let whole: Vec<[f64; 2]> = (0..middle.len()).map(offset).collect();
            cut_off(&whole, length)
        };
        let mut band = side(1.0);
        band.extend(side(-1.0).into_iter().rev());
        let band: Vec<[f64; 2]> = band.into_iter().map(place).collect();
        page.polygon(band, thin.filled(along));
        for k in 0..crossed {
            let height = self.crossed.crimp_height_mm;
            let z = if (self.over)(k as i64) {
                -height
            } else {
                height
            };
            let centre = [(k as f64 + 0.5) * spacing, z];
            let oval: Vec<[f64; 2]> = self
                .oval()
                .map(|[x, z]| place([(centre[0] + x).clamp(0.0, length), centre[1] + z]))
                .collect();
            page.polygon(oval, thin.filled(across));
        }
    }

    /// The thread's own middle, from a spacing before the first crossed thread's place to one after
    /// the last one's.
    fn middle_line(&self, crossed: usize) -> Vec<[f64; 2]> {
        let bend = self.bend();
        let mut line = Vec::new();
        for k in -1..=crossed as i64 + 1 {
            // Between a crossed thread and the next.
            let middle = k as f64 * self.crossed.spacing_mm;
            let (before, after) = ((self.over)(k - 1), (self.over)(k));
            let sign = if before { 1.0 } else { -1.0 };
            if before == after {
                line.push([middle, sign * self.along.crimp_height_mm]);
            } else {
                line.extend(bend.iter().map(|[x, z]| [middle + x, sign * z]));
            }
        }
        line
    }

    /// From a crossed thread's top down to the next one's bottom, about the place between them: an
    /// arc round each and a straight. Where it takes more room than there is, it is drawn narrower.
    fn bend(&self) -> Vec<[f64; 2]> {
        let (height, spacing) = (self.along.crimp_height_mm, self.crossed.spacing_mm);
        let radius = self.along.half_height_mm + self.crossed.half_height_mm;
        let flat = 2.0 * (self.crossed.half_width_mm - self.crossed.half_height_mm).max(0.0);
        let least = least_pitch_mm(2.0 * height, 2.0 * radius);
        let pitch = (spacing - flat).max(least);
        let angle = wave(pitch, 2.0 * height, 2.0 * radius).map_or(0.0, |w| w.weave_angle_rad);
        let narrower = (spacing / pitch).min(1.0);
        let arc = |k: usize| {
            let (s, c) = (angle * k as f64 / POINTS as f64).sin_cos();
            [
                narrower * (radius * s - 0.5 * pitch),
                height - radius * (1.0 - c),
            ]
        };
        let first: Vec<[f64; 2]> = (0..=POINTS).map(arc).collect();
        let second: Vec<[f64; 2]> = first.iter().rev().map(|[x, z]| [-x, -z]).collect();
        [first, second].concat()
    }

    /// The outline of a crossed thread about its middle.
    fn oval(&self) -> impl Iterator<Item = [f64; 2]> {
        let (wide, high) = (self.crossed.half_width_mm, self.crossed.half_height_mm);
        // A thread that stands on edge is an ellipse.
        let (flat, end) = match wide > high {
            true => (wide - high, high),
            false => (0.0, wide),
        };
        (0..4 * POINTS).map(move |k| {
            let (s, c) = (PI * (k as f64 + 0.5) / (2 * POINTS) as f64).sin_cos();
            [end * c + flat * c.signum(), high * s]
        })
    }

    /// From the first crossed thread to the second: how many there are to a centimetre.
    fn dimension(&self, page: &mut Drawing, [x_mm, y_mm]: [f64; 2], times: f64) {
        let spacing = times * self.crossed.spacing_mm;
        let (from, to) = (x_mm + 0.5 * spacing, x_mm + 1.5 * spacing);
        let thin = Paint::line(QUIET, 0.15);
        page.line([[from, y_mm], [to, y_mm]], thin);
        for x in [from, to] {
            page.line([[x, y_mm - 0.8], [x, y_mm + 0.8]], thin);
        }
        let words = format!(
            "{:.3} mm: {:.1} {} per cm",
            self.crossed.spacing_mm,
            10.0 / self.crossed.spacing_mm,
            self.crossed_name
        );
        let at = [to + 1.5, y_mm + 0.9];
        page.text(Text::new(at, words, LABEL_MM, QUIET).anchored(Anchor::Start));
    }
}

/// The part of a line from left to right that lies between 0 and a length.
fn cut_off(line: &[[f64; 2]], length: f64) -> Vec<[f64; 2]> {
    let mut kept = Vec::new();
    for pair in line.windows(2) {
        let [[x0, z0], [x1, z1]] = [pair[0], pair[1]];
        let at = |x: f64| [x, z0 + (z1 - z0) * (x - x0) / (x1 - x0)];
        if (0.0..=length).contains(&x0) {
            kept.push([x0, z0]);
        }
        for edge in [0.0, length] {
            if x0 < edge && edge < x1 {
                kept.push(at(edge));
            }
        }
    }
    kept
}
