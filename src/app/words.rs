//! Values in the words of the sheet.

use crate::measure::balance::Balanced;
use crate::measure::readings::Reading;
use crate::photometry::dial::on_dial;
use crate::photometry::fnumber::FNumber;
use crate::setup::{BoardKind, Finish, Place, Setting};

/// How the sheet writes quantities.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Units {
    /// Feet and inches instead of metres.
    pub feet: bool,
    /// Thirds of a stop instead of tenths.
    pub thirds: bool,
}

/// A length as it is taped out: to the centimetre, or to half an inch.
pub fn length(metres: f64, units: Units) -> String {
    if !units.feet {
        return format!("{metres:.2} m");
    }
    let halves = (metres / 0.0254 * 2.0).round();
    let (feet, inches) = ((halves / 24.0).floor(), (halves % 24.0) / 2.0);
    match (feet, inches) {
        (0.0, i) => format!("{i} in"),
        (f, 0.0) => format!("{f} ft"),
        (f, i) => format!("{f} ft {i} in"),
    }
}

/// A bearing: degrees to a side.
pub fn bearing(radians: f64) -> String {
    let degrees = (radians.to_degrees() * 10.0).round() / 10.0;
    match degrees {
        d if d > 0.0 => format!("{d}° right"),
        d if d < 0.0 => format!("{}° left", -d),
        _ => "0°".to_owned(),
    }
}

/// Distance, bearing and height as taped out.
pub fn taped(place: &Place, units: Units) -> [String; 3] {
    let (distance_m, bearing_rad, height_m) = place.taped();
    [
        length(distance_m, units),
        bearing(bearing_rad),
        length(height_m, units),
    ]
}

/// A reading on the dial: the third mark, and tenths over it.
pub fn reading(reading: &Reading, units: Units) -> String {
    reading
        .f_number
        .map_or("dark".into(), |n| f_number(n, units))
}

/// An f-number as on the dial, or as the nearest third.
pub fn f_number(n: FNumber, units: Units) -> String {
    let third = FNumber::exact(n.nearest_mark()).filter(|_| units.thirds);
    third.map_or_else(|| on_dial(n), |third| third.to_string())
}

/// What a head is set to, and what it lacks.
pub fn power(balanced: &Balanced) -> String {
    // A column's width: 1/4 +0.2 says as much as 1/4 +0.2 stops.
    let short = |text: String| match text.strip_suffix(" stops") {
        Some(short) if short.contains([' ', '/']) => short.to_owned(),
        _ => text,
    };
    match (&balanced.power, &balanced.head) {
        (_, Some(head)) => short(head.power.to_string()),
        (Some(power), None) => short(power.to_string()),
        (None, None) if balanced.continuous => format!("{:.0} lm", balanced.amount),
        (None, None) => format!("{:.0} lm s", balanced.amount),
    }
}

/// What a head cannot give, said beside it.
pub fn shortfall(balanced: &Balanced) -> Option<String> {
    let head = balanced.head?;
    head.limit?;
    let stops = head.error_stops;
    Some(if stops < 0.0 {
        format!("{:.1} stops short", -stops)
    } else {
        format!("{stops:.1} stops over")
    })
}

/// A target reading as written.
pub fn target(setting: &Setting, units: Units) -> Option<String> {
    match setting {
        Setting::Meters { f_number: n, .. } => Some(f_number(FNumber::exact(*n)?, units)),
        Setting::Power(_) => None,
    }
}

/// The finish of a board, or the cloth of a scrim.
pub fn finish(kind: &BoardKind) -> String {
    let word = |f: &Finish| match f {
        Finish::White => "white".to_owned(),
        Finish::Black => "black".to_owned(),
        Finish::Silver => "silver".to_owned(),
        Finish::Grey18 => "grey".to_owned(),
        Finish::Reflectance(rgb) => format!("{:.2}", rgb.iter().sum::<f64>() / 3.0),
    };
    match kind {
        BoardKind::Board { front, .. } | BoardKind::Flag { front, .. } => word(front),
        BoardKind::Scrim(cloth) => {
            format!("passes {:.0} %", 100.0 * (cloth.straight + cloth.scattered))
        }
    }
}
