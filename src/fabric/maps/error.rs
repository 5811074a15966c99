//! Why maps cannot be used.

use thiserror::Error;

/// Why a fabric's own maps cannot be used: what is wrong, where, and what to type.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum MapsError {
    /// No map at all.
    #[error("maps: no picture is named; write at least one of normal, height, albedo, opacity")]
    Nothing,
    /// A number out of its range.
    #[error("maps.{key} = {value}: must lie between {low} and {high}")]
    Range {
        /// Which key.
        key: &'static str,
        /// What it says.
        value: f64,
        /// Least.
        low: f64,
        /// Greatest.
        high: f64,
    },
    /// A key that another key asks for.
    #[error("maps.{given} is there without maps.{missing}; write {example}")]
    Missing {
        /// The key that is there.
        given: &'static str,
        /// The key that it needs.
        missing: &'static str,
        /// A line to type.
        example: &'static str,
    },
    /// A key that says nothing without another.
    #[error("maps.{given} says nothing without maps.{missing}; name the picture or delete {given}")]
    Idle {
        /// The key that is there.
        given: &'static str,
        /// The key that it belongs to.
        missing: &'static str,
    },
    /// An empty file name.
    #[error("maps.{map} is empty; write the name of the picture, or delete the line")]
    NoName {
        /// Which map.
        map: &'static str,
    },
    /// A picture that is named but not handed in, or the other way round.
    #[error("the {map} map is {}; name it in the file and give its picture, or neither",
        if *named { "named but has no picture" } else { "given but not named" })]
    Unmatched {
        /// Which map.
        map: &'static str,
        /// Whether the file names it.
        named: bool,
    },
    /// A picture too small or too large.
    #[error("the {map} map is {width} × {height} pixels; give one of 2 to 16384 pixels a side")]
    Size {
        /// Which map.
        map: &'static str,
        /// Pixels across.
        width: usize,
        /// Pixels down.
        height: usize,
    },
    /// Too many pixels in all.
    #[error(
        "the maps come to {texels} pixels and would take {mebibytes} MiB; scale them down to at \
         most {most} pixels (for instance 4096 × 4096)"
    )]
    TooLarge {
        /// Pixels of the finest map.
        texels: usize,
        /// What they would take.
        mebibytes: usize,
        /// Most pixels.
        most: usize,
    },
    /// Number of values and size do not go together.
    #[error("the {map} map has {given} values for {width} × {height} pixels; give one for each")]
    Length {
        /// Which map.
        map: &'static str,
        /// Values given.
        given: usize,
        /// Pixels across.
        width: usize,
        /// Pixels down.
        height: usize,
    },
    /// Maps of different shape.
    #[error(
        "the {map} map is {} × {} pixels, the {other} map {} × {}: they must show the same piece \
         of cloth; crop both to one shape",
        size[0], size[1], other_size[0], other_size[1]
    )]
    Aspect {
        /// One map.
        map: &'static str,
        /// Its pixels across and down.
        size: [usize; 2],
        /// Another map.
        other: &'static str,
        /// Its pixels across and down.
        other_size: [usize; 2],
    },
    /// A value that is none.
    #[error(
        "the {map} map holds {value} at column {column}, row {row} (from the top left); its values \
         lie between 0 and 1: save it again as PNG or TIFF"
    )]
    Value {
        /// Which map.
        map: &'static str,
        /// What is there.
        value: f32,
        /// From the left, the first is 1.
        column: usize,
        /// From the top, the first is 1.
        row: usize,
    },
    /// A height or opacity map with colours.
    #[error("the {map} map is coloured, and must be grey; is it another map's file?")]
    Coloured {
        /// Which map.
        map: &'static str,
    },
}
