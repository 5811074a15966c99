//! A woven fabric as a draft: for squared paper, and for other looms and programs to read.

use crate::fabric::FabricError;
use crate::fabric::draft::{Draft, Drawdown, Threads};
use crate::fabric::structure::WovenCloth;
use crate::photometry::colour::transfer::srgb_encode;

/// Threads of a draft, at the most, where weave and colours would repeat together only after more.
const MOST_THREADS: usize = 2048;
/// Threads that squared paper shows at least, so that a weave is seen to go on.
const LEAST_DRAWN: usize = 12;
/// Between the colours of warp and weft, as a screen shows them, for a drawing to use them.
const APART: f64 = 0.12;

/// The draft with its colours and threads: whole repeats of the weave, and of the orders of colours
/// as far as they come out together within 2048 threads.
///
/// # Errors
/// A weave too large to be drafted.
pub fn draft_of(title: &str, cloth: &WovenCloth) -> Result<Draft, FabricError> {
    let repeat = cloth.drafted.drawdown.smallest_repeat();
    let [warp, weft] = colours(cloth);
    let ends = together(repeat.ends(), warp.len());
    let picks = together(repeat.picks(), weft.len());
    let mut draft = drafted(&repeat, ends, picks)?;
    draft.title = title.to_owned();
    let mut palette = Palette::default();
    let geometry = cloth
        .spec
        .construction()?
        .geometry(&cloth.drafted.drawdown)
        .map_err(|e| FabricError::Text(e.to_string()))?;
    let mut threads = |colours: &[[f64; 3]], count: usize, yarn: &_| {
        let yarn: &crate::fabric::construction::YarnGeometry = yarn;
        Threads {
            colours: (0..count)
                .map(|k| palette.number(colours[k % colours.len()]))
                .collect(),
            spacing_mm: Some(yarn.spacing_mm),
            thickness_mm: Some(2.0 * yarn.half_width_mm),
            ..Threads::default()
        }
    };
    draft.warp = threads(&warp, ends, &geometry.warp);
    draft.weft = threads(&weft, picks, &geometry.weft);
    draft.palette = palette.colours;
    Ok(draft)
}

/// The weave alone, as squared paper shows it: a few repeats of a small one. In colour where warp and
/// weft have one each, and these are told apart.
///
/// # Errors
/// A weave too large to be drafted.
pub fn drawn_draft(cloth: &WovenCloth) -> Result<Draft, FabricError> {
    let repeat = cloth.drafted.drawdown.smallest_repeat();
    let enough = |n: usize| n * LEAST_DRAWN.div_ceil(n.max(1)).max(1);
    let (ends, picks) = (enough(repeat.ends()), enough(repeat.picks()));
    let mut draft = drafted(&repeat, ends, picks)?;
    let one = |colours: &Vec<[f64; 3]>| {
        let first = colours[0];
        colours.iter().all(|c| *c == first).then_some(first)
    };
    let [warp, weft] = colours(cloth);
    if let (Some(warp), Some(weft)) = (one(&warp), one(&weft)) {
        let [warp, weft] = [warp, weft].map(|c| c.map(srgb_encode));
        let apart = (0..3)
            .map(|i| (warp[i] - weft[i]).abs())
            .fold(0.0, f64::max);
        if apart > APART {
            draft.palette = [warp, weft].map(|c| c.map(|v| v as f32)).to_vec();
            draft.warp.colours = vec![0; ends];
            draft.weft.colours = vec![1; picks];
        }
    }
    Ok(draft)
}

fn drafted(repeat: &Drawdown, ends: usize, picks: usize) -> Result<Draft, FabricError> {
    let whole = Drawdown::from_fn(ends, picks, |end, pick| {
        repeat.warp_on_top(end as i64, pick as i64)
    })
    .map_err(|e| FabricError::Text(e.to_string()))?;
    Draft::from_drawdown(&whole)
        .ok_or_else(|| FabricError::Text("the weave needs more shafts than a draft has".to_owned()))
}

/// The colours of warp and weft in the order of the threads, at least one each.
fn colours(cloth: &WovenCloth) -> [Vec<[f64; 3]>; 2] {
    let spec = &cloth.spec;
    [
        (&spec.warp, &cloth.drafted.warp),
        (&spec.weft, &cloth.drafted.weft),
    ]
    .map(|(threads, drawn)| match drawn.is_empty() {
        true => threads.colours(&spec.colours),
        false => drawn.clone(),
    })
}

/// Threads after which weave and colours both begin anew, or whole repeats of the weave that hold
/// all colours once.
fn together(weave: usize, colours: usize) -> usize {
    let (mut a, mut b) = (weave.max(1), colours.max(1));
    let product = a.saturating_mul(b);
    while b > 0 {
        (a, b) = (b, a % b);
    }
    match product / a {
        both if both <= MOST_THREADS => both,
        _ => colours.div_ceil(weave.max(1)) * weave.max(1),
    }
}

/// Colours numbered as they come.
#[derive(Default)]
struct Palette {
    colours: Vec<[f32; 3]>,
}

impl Palette {
    fn number(&mut self, linear: [f64; 3]) -> u16 {
        let shown = linear.map(|v| srgb_encode(v) as f32);
        let known = self.colours.iter().position(|c| *c == shown);
        let at = known.unwrap_or_else(|| {
            self.colours.push(shown);
            self.colours.len() - 1
        });
        u16::try_from(at).unwrap_or(u16::MAX)
    }
}
