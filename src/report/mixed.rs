//! From a film to a picture: each light's layer by its weight.

use super::error::StillError;
use super::picture::{Layer, Picture, PictureShape};
use super::still_sink::StillSink;
use crate::render::film::Film;

/// Rows handed to the file at a time: a film need not be held twice.
const ROWS_AT_ONCE: u32 = 32;

/// Mixes a film's light and writes it, some rows at a time.
///
/// # Errors
/// As [`StillSink::band`].
pub fn hand_over(
    film: &Film,
    weights: &[[f64; 3]],
    shape: &PictureShape,
    sink: &mut dyn StillSink,
) -> Result<(), StillError> {
    let mut row = 0;
    while row < film.rows {
        let rows = ROWS_AT_ONCE.min(film.rows - row);
        let picture = mixed(film, weights, shape, row, rows);
        sink.band(film.first_row + row, &picture)?;
        row += rows;
    }
    Ok(())
}

/// Rows of a film as mixed, as many as asked for from `row` on.
pub fn mixed(
    film: &Film,
    weights: &[[f64; 3]],
    shape: &PictureShape,
    row: u32,
    rows: u32,
) -> Picture {
    let places = || (row..row + rows).flat_map(|y| (0..film.width).map(move |x| (x, y)));
    let layers = shape
        .layer_names
        .iter()
        .zip(weights)
        .enumerate()
        .map(|(i, (name, weight))| Layer {
            name: name.clone(),
            rgb: places()
                .map(|(x, y)| {
                    let light = film.mean(x, y, i as u32);
                    std::array::from_fn(|c| (f64::from(light[c]) * weight[c]) as f32)
                })
                .collect(),
        });
    // Means over the samples that met something.
    let seen = || {
        places().map(|(x, y)| {
            let seen = &film.seen[y as usize * film.width as usize + x as usize];
            (seen, 1.0 / seen.met.max(1.0))
        })
    };
    Picture {
        width: film.width,
        height: rows,
        layers: layers.collect(),
        albedo: shape
            .albedo
            .then(|| seen().map(|(s, by)| s.albedo.map(|v| v * by)).collect()),
        normal: shape
            .normal
            .then(|| seen().map(|(s, _)| unit(s.normal)).collect()),
        depth_m: shape
            .depth
            .then(|| seen().map(|(s, by)| s.depth_m * by).collect()),
    }
}

fn unit(v: [f32; 3]) -> [f32; 3] {
    let length = v.iter().map(|c| c * c).sum::<f32>().sqrt();
    if length > 0.0 {
        v.map(|c| c / length)
    } else {
        [0.0; 3]
    }
}
