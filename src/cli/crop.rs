//! `--crop`: a part of the sensor, as typed.

use super::exit::Failure;
use swatchlight::setup::{Crop, CropPlace, Setup};

/// A part of the sensor, pixel for pixel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CropTyped {
    size_px: [u32; 2],
    place: PlaceTyped,
}

#[derive(Debug, Clone, PartialEq, Eq)]
enum PlaceTyped {
    Middle,
    From([u32; 2]),
    Point(String),
}

/// "600x400", "600x400+1200+900" or "600x400@chest".
///
/// # Errors
/// What to type.
pub fn crop(text: &str) -> Result<CropTyped, String> {
    let hint = "give width and height in the sensor's pixels, and where: 600x400 (the middle), \
                600x400+1200+900 (from the left and the top), 600x400@chest (about a point)";
    let (size, place) = match text.find(['+', '@']) {
        None => (text, PlaceTyped::Middle),
        Some(at) => {
            let place = &text[at + 1..];
            let place = if text[at..].starts_with('@') {
                PlaceTyped::Point(place.trim().to_owned())
            } else {
                PlaceTyped::From(numbers(place, &['+']).ok_or(hint)?)
            };
            (&text[..at], place)
        }
    };
    let size_px = numbers(size, &['x', 'X', '\u{d7}']).ok_or(hint)?;
    if !size_px.iter().all(|side| (16..=20_000).contains(side)) {
        return Err("each side has 16 to 20000 pixels".into());
    }
    Ok(CropTyped { size_px, place })
}

fn numbers(text: &str, between: &[char]) -> Option<[u32; 2]> {
    let (a, b) = text.split_once(between)?;
    Some([a.trim().parse().ok()?, b.trim().parse().ok()?])
}

impl CropTyped {
    /// Makes the setup's picture this part of its sensor.
    ///
    /// # Errors
    /// For a point that is not there, and a part that is not on the sensor.
    pub fn apply(&self, setup: &mut Setup) -> Result<(), Failure> {
        let place = match &self.place {
            PlaceTyped::Middle => CropPlace::Middle,
            PlaceTyped::From(corner) => CropPlace::From(*corner),
            PlaceTyped::Point(name) => {
                let metered = setup.meter.points.iter().find(|m| m.name == *name);
                let body = setup.figure.iter().flat_map(|f| &f.body_points_m);
                let swatch = setup.swatch.iter().map(|s| ("swatch", s.frame.origin_m));
                let found = metered
                    .map(|m| m.position_m)
                    .or(body.clone().find(|(n, _)| *n == name).map(|(_, at)| *at))
                    .or(swatch.clone().find(|(n, _)| n == name).map(|(_, at)| at));
                CropPlace::Around(found.ok_or_else(|| {
                    let points = setup.meter.points.iter().map(|m| m.name.as_str());
                    let mut known: Vec<&str> = points
                        .chain(body.map(|(n, _)| n.as_str()))
                        .chain(swatch.map(|(n, _)| n))
                        .collect();
                    known.sort_unstable();
                    known.dedup();
                    Failure::wrong(
                        format!("there is no point \"{name}\" to crop about"),
                        format!("known points: {}", known.join(", ")),
                    )
                })?)
            }
        };
        let held = setup.camera.held_pixels();
        let crop = Crop {
            size_px: self.size_px,
            place,
        };
        setup.camera.crop(&crop).map_err(|why| {
            Failure::wrong(
                format!("--crop: {why}"),
                format!(
                    "the whole sensor is {} x {}; see camera.sensor_pixels",
                    held[0], held[1]
                ),
            )
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn crops_are_read_as_typed() {
        let at = |place| {
            Ok(CropTyped {
                size_px: [600, 400],
                place,
            })
        };
        assert_eq!(crop("600x400"), at(PlaceTyped::Middle));
        assert_eq!(crop("600 x 400 + 12 + 9"), at(PlaceTyped::From([12, 9])));
        assert_eq!(
            crop("600x400@dark side"),
            at(PlaceTyped::Point("dark side".into()))
        );
        for text in [
            "",
            "600",
            "600x",
            "8x400",
            "600x400+1",
            "600x400+-1+2",
            "x@chest",
        ] {
            assert!(crop(text).is_err(), "{text}");
        }
    }
}
