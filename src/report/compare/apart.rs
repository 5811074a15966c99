//! How far two pictures lie apart, in stops, and its false colours.

use crate::measure::vary::Linear;
use crate::report::drawing::Colour;
use crate::report::drawing::ramp::srgb_of_lab;

/// What is darker than this in both pictures cannot be told apart: 8 stops under the grey card.
const DARKEST: f64 = 0.18 / 256.0;
/// Shares between which the spread of a difference is told.
const SHARES: [f64; 3] = [0.05, 0.5, 0.95];

/// The difference of two pictures.
#[derive(Debug, Clone, PartialEq)]
pub struct Apart {
    /// Pixels in a row.
    pub columns: usize,
    /// How much brighter the second is at each pixel, in stops of luminance; `None` where both are too dark.
    pub stops: Vec<Option<f32>>,
    /// The value that 5 %, 50 % and 95 % of the pixels lie under.
    pub shares: [f64; 3],
}

/// How much brighter `second` is than `first`; `None` where they have different sizes.
pub fn apart(first: &Linear, second: &Linear) -> Option<Apart> {
    if (first.width, first.height) != (second.width, second.height) {
        return None;
    }
    let stops = |k: usize| {
        let [a, b] = [first, second].map(|p| p.luminance(k));
        (a.max(b) >= DARKEST).then(|| (b.max(DARKEST) / a.max(DARKEST)).log2() as f32)
    };
    let stops: Vec<Option<f32>> = (0..first.rgb.len()).map(stops).collect();
    let mut sorted: Vec<f32> = stops.iter().flatten().copied().collect();
    sorted.sort_by(f32::total_cmp);
    let at = |share: f64| {
        let last = sorted.len().checked_sub(1)?;
        sorted.get((share * last as f64).round() as usize).copied()
    };
    Some(Apart {
        columns: first.width as usize,
        stops,
        shares: SHARES.map(|share| at(share).map_or(0.0, f64::from)),
    })
}

impl Apart {
    /// How far nine tenths of the pixels reach, either way.
    pub fn reach(&self) -> f64 {
        self.shares[0].abs().max(self.shares[2].abs())
    }

    /// "Half the picture is over +0.3; from −0.2 to +1.4 for nine tenths of it."
    pub fn words(&self) -> String {
        let [low, middle, high] = self.shares.map(signed);
        match low == high {
            true if middle == "0.0" => "No difference.".into(),
            true => format!("{middle} stops all over."),
            false => format!("Median {middle}; nine tenths of the picture {low} to {high} stops."),
        }
    }
}

fn signed(stops: f64) -> String {
    match format!("{stops:+.1}").as_str() {
        "+0.0" | "-0.0" => "0.0".into(),
        text => text.replace('-', "−"),
    }
}

/// False colours in even bands about zero: a third of a stop each, or a tenth, or a whole stop.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bands {
    /// Of a stop, each.
    pub width: f64,
    /// On either side of the one about zero.
    pub each_side: i32,
}

impl Bands {
    /// The finest that reach so many stops.
    pub fn reaching(stops: f64) -> Self {
        let all = [(0.1, 5), (1.0 / 3.0, 6), (1.0, 5)]
            .map(|(width, each_side)| Self { width, each_side });
        all.into_iter()
            .find(|b| stops <= b.width * (f64::from(b.each_side) + 0.5))
            .unwrap_or(all[2])
    }

    /// The middle of each band, darkest first.
    pub fn steps(&self) -> Vec<f64> {
        let all = -self.each_side..=self.each_side;
        all.map(|k| f64::from(k) * self.width).collect()
    }

    /// Whether a narrow key labels this band: whole stops, ends and zero.
    pub fn is_labelled(&self, stops: f64) -> bool {
        let k = (stops / self.width).round() as i32;
        k == 0 || k.abs() == self.each_side || ((stops * 3.0).round() as i32).rem_euclid(3) == 0
    }

    /// "+1/3", "−2", "0"; the last ones "or more".
    pub fn words(&self, stops: f64) -> String {
        let k = (stops / self.width).round() as i32;
        let sign = match k {
            0 => "",
            k if k < 0 => "−",
            _ => "+",
        };
        let size = match self.width {
            w if (w - 0.1).abs() < 1e-9 => format!("{:.1}", 0.1 * f64::from(k.abs())),
            w if w < 0.9 => thirds(k.abs()),
            _ => k.abs().to_string(),
        };
        let size = if k == 0 { "0" } else { &size };
        let more = if k.abs() == self.each_side {
            " or more"
        } else {
            ""
        };
        format!("{sign}{size}{more}")
    }

    /// The colour of a difference.
    pub fn colour(&self, stops: Option<f32>) -> Colour {
        let Some(stops) = stops.filter(|s| !s.is_nan()) else {
            return [70, 70, 70];
        };
        let most = f64::from(self.each_side);
        let k = (f64::from(stops) / self.width).round().clamp(-most, most);
        diverging(k / most)
    }
}

fn thirds(k: i32) -> String {
    match (k / 3, k % 3) {
        (0, part) => format!("{part}/3"),
        (whole, 0) => whole.to_string(),
        (whole, part) => format!("{whole} {part}/3"),
    }
}

/// From deep blue over near white to deep orange, as light on either side; told apart by people who see no
/// red or no green.
fn diverging(place: f64) -> Colour {
    let far = place.abs();
    let lightness = 96.0 - 52.0 * far;
    let chroma = 62.0 * far.powf(0.75);
    let hue = if place < 0.0 { 272.0_f64 } else { 55.0 }.to_radians();
    srgb_of_lab([lightness, chroma * hue.cos(), chroma * hue.sin()])
}
