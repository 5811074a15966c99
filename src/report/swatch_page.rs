//! Swatches beside each other as one picture, with what is known of each under it, on mid-grey: the eye
//! judges tone by what is around.

use super::StillError;
use super::drawing::{Anchor, Drawing, Paint, Shape, Text, raster, text_width_mm};
use super::picture::{Layer, Picture};
use crate::photometry::colour::srgb_decode;

/// sRGB of the surround: an 18 % card.
const GREY: u8 = 118;
const INK: [u8; 3] = [16; 3];
/// Shares of a panel's width: the margin, a text's em, lines apart.
const MARGIN: f64 = 0.03;
const EM: f64 = 0.027;
const LINE: f64 = 0.04;

/// One of the pictures, display-linear.
#[derive(Debug, Clone, PartialEq)]
pub struct Panel<'a> {
    /// Row by row from the top.
    pub rgb: &'a [[f32; 3]],
    /// Under it, drawn heavier.
    pub title: String,
    /// And under that.
    pub lines: Vec<String>,
}

/// A scale to be drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct ScaleBar {
    /// In pixels of a panel.
    pub length_px: f64,
    /// What length that is.
    pub words: String,
}

/// All panels, each `pixels` wide and high, from the left. Display-linear: to be developed with a gain of 1.
///
/// # Errors
/// [`StillError::Mismatch`] for a panel of another size, and [`StillError::Encode`] for a page too large.
pub fn side_by_side(
    panels: &[Panel<'_>],
    pixels: [u32; 2],
    scale: &ScaleBar,
) -> Result<Picture, StillError> {
    let [w, h] = pixels.map(|side| side as usize);
    if let Some(odd) = panels.iter().find(|p| p.rgb.len() != w * h) {
        return Err(StillError::Mismatch(format!(
            "a swatch of {} pixels came where {w} x {h} were announced",
            odd.rgb.len()
        )));
    }
    let margin = (MARGIN * w as f64).round().max(2.0) as usize;
    let lines = panels.iter().map(|p| p.lines.len()).max().unwrap_or(0);
    let caption = (LINE * w as f64 * (lines as f64 + 2.2)).ceil() as usize;
    let width = panels.len() * (w + margin) + margin;
    let strip = caption_strip(panels, w, margin, [width, caption], scale)?;
    let decoded = |code: u8| srgb_decode(f64::from(code) / 255.0) as f32;
    let mut rgb = vec![[decoded(GREY); 3]; width * (margin + h)];
    for (k, panel) in panels.iter().enumerate() {
        let left = margin + k * (w + margin);
        for (y, row) in panel.rgb.chunks(w.max(1)).enumerate() {
            let first = (margin + y) * width + left;
            rgb[first..first + w].copy_from_slice(row);
        }
    }
    rgb.extend(strip.iter().map(|c| c.map(decoded)));
    Ok(Picture {
        width: width as u32,
        height: (margin + h + caption) as u32,
        layers: vec![Layer {
            name: "shown".into(),
            rgb,
        }],
        ..Picture::default()
    })
}

/// What stands under the panels, a pixel to a millimetre.
fn caption_strip(
    panels: &[Panel<'_>],
    w: usize,
    margin: usize,
    size: [usize; 2],
    scale: &ScaleBar,
) -> Result<Vec<[u8; 3]>, StillError> {
    let side = w as f64;
    let mut shapes = vec![Shape::Rect {
        corner_mm: [0.0; 2],
        size_mm: size.map(|s| s as f64),
        paint: Paint::fill([GREY; 3]),
    }];
    for (k, panel) in panels.iter().enumerate() {
        let left = (margin + k * (w + margin)) as f64;
        let lines = [(&panel.title, true)]
            .into_iter()
            .chain(panel.lines.iter().map(|line| (line, false)));
        for (i, (words, strong)) in lines.enumerate() {
            // A long line is drawn smaller rather than into its neighbour.
            let room = if i == 0 && k == 0 {
                side - scale.length_px.min(0.4 * side) - 4.0 * EM * side
            } else {
                side
            };
            let fits = room / text_width_mm(words, 1.0).max(1e-6);
            shapes.push(Shape::Text(Text {
                at_mm: [left, LINE * side * (i as f64 + 1.15)],
                words: words.clone(),
                size_mm: (EM * side).min(fits),
                anchor: Anchor::Start,
                colour: INK,
                strong,
                upward: false,
            }));
        }
    }
    let (right, y) = ((margin + w) as f64, LINE * side * 0.62);
    let tick = 0.2 * EM * side;
    let from = right - scale.length_px.min(0.4 * side);
    for [a, b] in [
        [[from, y], [right, y]],
        [[from, y - tick], [from, y + tick]],
        [[right, y - tick], [right, y + tick]],
    ] {
        shapes.push(Shape::Path {
            points_mm: vec![a, b],
            closed: false,
            paint: Paint::line(INK, 0.08 * EM * side),
        });
    }
    shapes.push(Shape::Text(Text {
        at_mm: [right, LINE * side * 1.35],
        words: scale.words.clone(),
        size_mm: 0.85 * EM * side,
        anchor: Anchor::End,
        colour: INK,
        strong: false,
        upward: false,
    }));
    let page = Drawing {
        size_mm: size.map(|s| s as f64),
        title: "Caption".into(),
        shapes,
    };
    Ok(raster(&page, 1.0)?.pixels)
}
