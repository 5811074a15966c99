//! Why a swatch cannot be got from its pictures.

use thiserror::Error;

/// Why a swatch cannot be got from its pictures: what is wrong, with which shot (counted from 1),
/// and what to do.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum StereoError {
    /// Too few or too many shots.
    #[error(
        "{count} shots: a swatch takes 4 to 12, each under a light from another direction; {}",
        if *count < 4 { "take more" } else { "leave some out" }
    )]
    Count {
        /// How many there are.
        count: usize,
    },
    /// A picture of another size than the first.
    #[error(
        "{what} is {} × {} pixels, shot 1 is {} × {}: crop all to the same frame",
        size[0], size[1], first[0], first[1]
    )]
    Size {
        /// Which picture.
        what: String,
        /// Its pixels across and down.
        size: [usize; 2],
        /// Those of the first shot.
        first: [usize; 2],
    },
    /// A picture whose size is none.
    #[error(
        "{what} has {given} pixels and should be {width} × {height}: give a picture of 2 to 16384 \
         pixels a side"
    )]
    Length {
        /// Which picture.
        what: String,
        /// Pixels given.
        given: usize,
        /// Pixels across.
        width: usize,
        /// Pixels down.
        height: usize,
    },
    /// A value that is no number, or past all bounds.
    #[error(
        "{what} holds {value} at column {column}, row {row} (from the top left): develop it again"
    )]
    NotFinite {
        /// Which picture.
        what: String,
        /// What is there.
        value: f32,
        /// From the left, the first is 1.
        column: usize,
        /// From the top, the first is 1.
        row: usize,
    },
    /// A direction that is none, or not from in front of the swatch.
    #[error(
        "the light of shot {shot} comes from {direction:?}: give [right, up, toward the camera], \
         the last above 0"
    )]
    Direction {
        /// Which shot.
        shot: usize,
        /// What was given.
        direction: [f64; 3],
    },
    /// A strength that is none.
    #[error("the strength of shot {shot} is {strength}: give a number above 0, 1 if all are alike")]
    Strength {
        /// Which shot.
        shot: usize,
        /// What was given.
        strength: f64,
    },
    /// An option out of its range.
    #[error("{option} = {value}: must lie between {low} and {high}")]
    Range {
        /// Which option.
        option: &'static str,
        /// What it says.
        value: f64,
        /// Least.
        low: f64,
        /// Greatest.
        high: f64,
    },
    /// Directions that do not span space.
    #[error(
        "the lights of shots {shots} lie almost in one plane, so that slopes {} cannot be told \
         (condition {condition:.0}, at most {most}): {}",
        if *toward_camera { "and albedo".to_owned() } else { format!("along {azimuth_deg:.0}°") },
        if *toward_camera {
            "bring some lights nearer the camera, or others lower".to_owned()
        } else {
            format!(
                "add a shot with the light from about {azimuth_deg:.0}° or {:.0}° (from the right, \
                 anticlockwise)",
                azimuth_deg + 180.0
            )
        }
    )]
    Coplanar {
        /// Which shots.
        shots: String,
        /// Greatest over least singular value.
        condition: f64,
        /// Most that is taken.
        most: f64,
        /// Where light is missing from: from the right, anticlockwise as the camera sees it.
        azimuth_deg: f64,
        /// Whether it is missing rather along the camera's axis.
        toward_camera: bool,
    },
    /// Grey card pictures for some lights only.
    #[error("shots {missing} have no grey card picture: give one for each light, or for none")]
    CardsMissing {
        /// Which shots.
        missing: String,
    },
    /// A grey card that is too dark to divide by, or burnt out.
    #[error(
        "the grey card of shot {shot} is {} near column {column}, row {row}: the card must fill \
         the frame and be lit all over",
        if *clipped { "burnt out" } else { "black" }
    )]
    Card {
        /// Which shot.
        shot: usize,
        /// Whether it is too bright.
        clipped: bool,
        /// From the left, the first is 1.
        column: usize,
        /// From the top, the first is 1.
        row: usize,
    },
    /// A ball that is none or lies out of frame.
    #[error(
        "a ball about {centre_px:?} of radius {radius_px} pixels does not lie within the {width} × \
         {height} picture: give its centre from the top left, and its radius, at least 4"
    )]
    BallOutside {
        /// What was given.
        centre_px: [f64; 2],
        /// What was given.
        radius_px: f64,
        /// Pixels across.
        width: usize,
        /// Pixels down.
        height: usize,
    },
    /// No highlight in the ball.
    #[error(
        "the ball shows no highlight (brightest {brightest:.3}, middling {median:.3}): check its \
         centre and radius, and that it is polished"
    )]
    NoHighlight {
        /// Brightest value in the ball.
        brightest: f64,
        /// Median in the ball.
        median: f64,
    },
    /// More than one highlight.
    #[error(
        "the ball shows two highlights, about {first_px:?} and {second_px:?} pixels: switch other \
         lights off, or cover what reflects"
    )]
    TwoHighlights {
        /// Centroid of the larger.
        first_px: [f64; 2],
        /// Centroid of the other.
        second_px: [f64; 2],
    },
    /// A highlight that would mean a light from behind.
    #[error(
        "the ball's highlight lies {out:.2} of its radius from its centre, where 0.70 means a \
         light in the swatch's own plane: check centre and radius, or move the light forward"
    )]
    Rim {
        /// Distance from the centre over the radius.
        out: f64,
    },
    /// Points of a ball's outline that make no circle.
    #[error(
        "{count} points do not make a ball's outline: give at least 3, spread round its rim, in \
         pixels from the top left"
    )]
    Outline {
        /// How many were given.
        count: usize,
    },
}
