//! Plots: a frame with ticks, and curves cut at its sides.

use super::{Anchor, Colour, Drawing, Paint, Text};

/// Colour of frames and ticks, of their numbers, and of lines across.
const FRAME: Colour = [120, 120, 120];
const NUMBERS: Colour = [70, 70, 70];
const ACROSS: Colour = [225, 225, 225];
const NUMBER_MM: f64 = 2.4;

/// One side of a plot.
#[derive(Debug, Clone, PartialEq)]
pub struct Axis {
    /// Least and greatest value.
    pub span: [f64; 2],
    /// Where numbers stand, and what they say.
    pub ticks: Vec<(f64, String)>,
    /// What is counted.
    pub label: String,
}

/// A frame on a page.
#[derive(Debug, Clone, PartialEq)]
pub struct Plot {
    /// Top left corner of the frame; numbers stand outside it.
    pub corner_mm: [f64; 2],
    /// Size of the frame.
    pub size_mm: [f64; 2],
    /// Along.
    pub x: Axis,
    /// Up.
    pub y: Axis,
}

impl Axis {
    /// From zero to a round number over `greatest`, with numbers at round steps.
    pub fn from_zero(greatest: f64, label: impl Into<String>) -> Self {
        let greatest = if greatest.is_finite() && greatest > 0.0 {
            greatest
        } else {
            1.0
        };
        let step = round_step(greatest / 4.0);
        let count = (greatest / step * 1.02).ceil().max(1.0) as usize;
        let decimals = (-step.log10().floor()).clamp(0.0, 6.0) as usize;
        Self {
            span: [0.0, step * count as f64],
            ticks: (0..=count)
                .map(|k| {
                    let value = step * k as f64;
                    (value, format!("{value:.decimals$}"))
                })
                .collect(),
            label: label.into(),
        }
    }
}

/// 1, 2 or 5 times a power of ten, not under this.
fn round_step(least: f64) -> f64 {
    let ten = 10.0_f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|m| m * ten)
        .find(|step| *step >= least * (1.0 - 1e-9))
        .unwrap_or(10.0 * ten)
}

impl Plot {
    /// A value on the page.
    pub fn at(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let share = |axis: &Axis, v: f64| (v - axis.span[0]) / (axis.span[1] - axis.span[0]);
        [
            self.corner_mm[0] + self.size_mm[0] * share(&self.x, x),
            self.corner_mm[1] + self.size_mm[1] * (1.0 - share(&self.y, y)),
        ]
    }

    /// Draws the frame, lines across at the numbers of y, and the labels: y's over the frame's left
    /// end, x's under it.
    pub fn frame(&self, page: &mut Drawing) {
        let ([left, top], [wide, high]) = (self.corner_mm, self.size_mm);
        let bottom = top + high;
        let number = |at: [f64; 2], words: &str, anchor| {
            Text::new(at, words, NUMBER_MM, NUMBERS).anchored(anchor)
        };
        for (value, words) in &self.y.ticks {
            let [_, y] = self.at([self.x.span[0], *value]);
            if y > top + 0.1 && y < bottom - 0.1 {
                page.line([[left, y], [left + wide, y]], Paint::line(ACROSS, 0.15));
            }
            page.text(number([left - 1.2, y + 0.85], words, Anchor::End));
        }
        for (value, words) in &self.x.ticks {
            let [x, _] = self.at([*value, self.y.span[0]]);
            page.line([[x, bottom], [x, bottom + 0.9]], Paint::line(FRAME, 0.18));
            page.text(number([x, bottom + 3.8], words, Anchor::Middle));
        }
        page.line(
            [[left, top], [left, bottom], [left + wide, bottom]],
            Paint::line(FRAME, 0.2),
        );
        page.text(Text::new(
            [left, top - 1.8],
            &*self.y.label,
            NUMBER_MM,
            NUMBERS,
        ));
        page.text(number(
            [left + 0.5 * wide, bottom + 7.4],
            &self.x.label,
            Anchor::Middle,
        ));
    }

    /// Draws a curve, cut where it leaves the frame.
    pub fn curve(&self, page: &mut Drawing, points: &[[f64; 2]], paint: Paint) {
        let mut run: Vec<[f64; 2]> = Vec::new();
        for pair in points.windows(2) {
            let Some([from, to]) = self.cut(pair[0], pair[1]) else {
                self.end_run(page, &mut run, paint);
                continue;
            };
            if run.last() != Some(&from) {
                self.end_run(page, &mut run, paint);
                run.push(from);
            }
            run.push(to);
        }
        self.end_run(page, &mut run, paint);
    }

    fn end_run(&self, page: &mut Drawing, run: &mut Vec<[f64; 2]>, paint: Paint) {
        let points: Vec<[f64; 2]> = run.drain(..).map(|p| self.at(p)).collect();
        if points.len() > 1 {
            page.line(points, paint);
        }
    }

    /// The part of a straight piece that lies inside (Liang and Barsky 1984).
    fn cut(&self, from: [f64; 2], to: [f64; 2]) -> Option<[[f64; 2]; 2]> {
        if from.iter().chain(&to).any(|v| !v.is_finite()) {
            return None;
        }
        let (mut enter, mut leave) = (0.0_f64, 1.0_f64);
        for (k, span) in [self.x.span, self.y.span].into_iter().enumerate() {
            let step = to[k] - from[k];
            for (edge, sign) in [(span[0], -1.0), (span[1], 1.0)] {
                let (p, q) = (sign * step, sign * (edge - from[k]));
                if p == 0.0 && q < 0.0 {
                    return None;
                }
                if p < 0.0 {
                    enter = enter.max(q / p);
                } else if p > 0.0 {
                    leave = leave.min(q / p);
                }
            }
        }
        let at = |t: f64| [0, 1].map(|k| from[k] + t * (to[k] - from[k]));
        // Whole pieces stay the same to the bit, so that they join.
        let start = if enter > 0.0 { at(enter) } else { from };
        let end = if leave < 1.0 { at(leave) } else { to };
        (enter < leave).then_some([start, end])
    }
}
