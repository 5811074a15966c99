//! A picture that moves slowly through the states and from the last to the first, as an animated PNG (PNG,
//! Third Edition, 2025, 5.9). Of frames with grain in them nothing can be packed away, so there are few: going
//! back through all states would nearly double them.

use super::flashes::{Flashes, flashes};
use crate::measure::vary::Linear;
use crate::photometry::colour::encode_srgb8;
use crate::report::StillError;
use crate::report::drawing::Colour;

/// How long a state stands, seconds.
pub const HOLD_S: f64 = 0.8;
/// How long it takes to fade into the next, seconds.
pub const FADE_S: f64 = 0.8;
/// Flashes in a second that WCAG 2.2, 2.3.1, allows.
pub const MOST_FLASHES_PER_S: usize = 3;
/// Steps of a fade.
const FADE_STEPS: u16 = 5;

/// A moving picture as a file, and what was found of it.
#[derive(Debug, Clone)]
pub struct Moving {
    /// The bytes of the PNG.
    pub bytes: Vec<u8>,
    /// Its frames.
    pub frames: usize,
    /// Once through all states and back to the first.
    pub seconds: f64,
    /// Its flashes in the worst second, at the worst place.
    pub flashes: Flashes,
}

/// Makes it of pictures of one size. States fade in linear light, as if lamps were dimmed; it starts over
/// for ever.
///
/// # Errors
/// [`StillError::Mismatch`] for pictures of several sizes or for less than two, [`StillError::Encode`] for
/// ones that would flash (with the times above none can) and where the encoder fails.
pub fn moving(pictures: &[&Linear]) -> Result<Moving, StillError> {
    let mismatch = |why: &str| StillError::Mismatch(why.into());
    let [first, _, ..] = pictures else {
        return Err(mismatch("a moving picture needs two states"));
    };
    let (width, height) = (first.width, first.height);
    if pictures
        .iter()
        .any(|p| (p.width, p.height) != (width, height))
    {
        return Err(mismatch(
            "the states of a moving picture have several sizes",
        ));
    }
    let mut frames: Vec<(Vec<Colour>, f64)> = Vec::new();
    for from in 0..pictures.len() {
        let to = (from + 1) % pictures.len();
        frames.push((shown(pictures[from], pictures[to], 0.0), HOLD_S));
        for step in 1..FADE_STEPS {
            let share = f64::from(step) / f64::from(FADE_STEPS);
            // Slow at both ends.
            let eased = share * share * (3.0 - 2.0 * share);
            let seconds = FADE_S / f64::from(FADE_STEPS - 1);
            frames.push((shown(pictures[from], pictures[to], eased), seconds));
        }
    }
    let flashes = flashes(width as usize, &frames);
    let failed = |why: String| StillError::Encode { format: "PNG", why };
    if flashes.general.max(flashes.red) > MOST_FLASHES_PER_S {
        return Err(failed(
            "it would flash more than three times in a second".into(),
        ));
    }
    let bytes = encode(width, height, &frames).map_err(|e| failed(e.to_string()))?;
    Ok(Moving {
        bytes,
        frames: frames.len(),
        seconds: frames.iter().map(|f| f.1).sum(),
        flashes,
    })
}

fn shown(from: &Linear, to: &Linear, share: f64) -> Vec<Colour> {
    // What is over full value shows as that: a fade must begin to dim at once.
    let one = |(a, b): (&[f32; 3], &[f32; 3])| {
        std::array::from_fn(|c| {
            let [a, b] = [a[c], b[c]].map(|v| f64::from(v).clamp(0.0, 1.0));
            encode_srgb8(a + (b - a) * share)
        })
    };
    from.rgb.iter().zip(&to.rgb).map(one).collect()
}

fn encode(
    width: u32,
    height: u32,
    frames: &[(Vec<Colour>, f64)],
) -> Result<Vec<u8>, png::EncodingError> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, width, height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_source_srgb(png::SrgbRenderingIntent::RelativeColorimetric);
    encoder.set_animated(frames.len() as u32, 0)?;
    let mut writer = encoder.write_header()?;
    for (pixels, seconds) in frames {
        writer.set_frame_delay((seconds * 1000.0).round() as u16, 1000)?;
        writer.write_image_data(pixels.as_flattened())?;
    }
    writer.finish()?;
    Ok(bytes)
}
