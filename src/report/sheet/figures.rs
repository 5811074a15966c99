//! Numbers as the sheet writes them: centimetres, degrees, stops, marks of the dial.

use crate::report::plan::Units;
use std::time::SystemTime;

/// Up to so many significant digits, without an exponent and without trailing zeros.
pub(super) fn significant(value: f64, digits: i32) -> String {
    if value == 0.0 || !value.is_finite() {
        return if value == 0.0 {
            "0".into()
        } else {
            "–".into()
        };
    }
    let decimals = (digits - 1 - value.abs().log10().floor() as i32).clamp(0, 9) as usize;
    let text = format!("{value:.decimals$}");
    let text = match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.'),
        false => &text,
    };
    if text == "-0" {
        "0".into()
    } else {
        text.into()
    }
}

/// A length as it is taped out and as the drawings say it: "2.12 m", to the centimetre.
pub(super) fn length(metres: f64) -> String {
    Units::Metres.length(metres)
}

/// A small length in centimetres: "15 cm".
pub(super) fn cm(metres: f64) -> String {
    format!("{} cm", whole(100.0 * metres))
}

/// Two sides in centimetres: "90 × 120 cm".
pub(super) fn sides_cm(metres: [f64; 2]) -> String {
    let [w, h] = metres.map(|m| significant(100.0 * m, 3));
    format!("{w} × {h} cm")
}

/// A small length in millimetres: "4.2 mm".
pub(super) fn mm(millimetres: f64) -> String {
    format!("{} mm", significant(millimetres, 2))
}

/// An angle in whole degrees, without its sign: "45°".
pub(super) fn degrees(radians: f64) -> String {
    format!("{}°", whole(radians.to_degrees().abs()))
}

/// A share: "2 %".
pub(super) fn percent(share: f64) -> String {
    format!("{} %", significant(100.0 * share, 2))
}

/// An exposure time: "1/125 s", "0.5 s".
pub(super) fn shutter(seconds: f64) -> String {
    if seconds < 0.4 {
        format!("1/{} s", significant(1.0 / seconds, 3))
    } else {
        format!("{} s", significant(seconds, 3))
    }
}

/// What a lamp gives: "3480 lm s", or "1200 lm" where it burns.
pub(super) fn amount(amount: f64, continuous: bool) -> String {
    let unit = if continuous { "lm" } else { "lm s" };
    format!("{} {unit}", significant(amount, 3))
}

/// A ratio: "4 : 1".
pub(super) fn ratio(ratio: f64) -> String {
    format!("{} : 1", significant(ratio, 2))
}

/// Rounded, with no sign on nothing.
fn whole(value: f64) -> String {
    match format!("{value:.0}").as_str() {
        "-0" => "0".into(),
        text => text.into(),
    }
}

/// The day of a point in time, by universal time: year, month, day. By the count of days of the
/// proleptic Gregorian calendar in eras of 400 years.
pub fn day_of(time: SystemTime) -> [u32; 3] {
    let seconds = time
        .duration_since(SystemTime::UNIX_EPOCH)
        .map_or(0, |since| since.as_secs());
    // From 1 March of year 0, so that the leap day ends a year.
    let days = seconds / 86_400 + 719_468;
    let (era, day_of_era) = (days / 146_097, days % 146_097);
    let year_of_era =
        (day_of_era - day_of_era / 1_460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let from_march = (5 * day_of_year + 2) / 153;
    let day = day_of_year - (153 * from_march + 2) / 5 + 1;
    let month = if from_march < 10 {
        from_march + 3
    } else {
        from_march - 9
    };
    let year = year_of_era + 400 * era + u64::from(month <= 2);
    [year, month, day].map(|part| part as u32)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    #[test]
    fn numbers_read_well() {
        assert_eq!(length(2.104), "2.10 m");
        assert_eq!(cm(0.152), "15 cm");
        assert_eq!(cm(-0.001), "0 cm");
        assert_eq!(sides_cm([0.9, 1.2]), "90 × 120 cm");
        assert_eq!(degrees(-std::f64::consts::FRAC_PI_4), "45°");
        assert_eq!(mm(4.231), "4.2 mm");
        assert_eq!(shutter(0.008), "1/125 s");
        assert_eq!(amount(3480.4, false), "3480 lm s");
        assert_eq!(ratio(3.96), "4 : 1");
        assert_eq!(percent(0.35), "35 %");
    }

    /// Days known from any calendar: the Unix epoch, a leap day, the last of a century that is none.
    #[test]
    fn days_are_the_calendars() {
        for (seconds, day) in [
            (0, [1970, 1, 1]),
            (951_782_400, [2000, 2, 29]),
            (951_868_800, [2000, 3, 1]),
            (1_735_689_599, [2024, 12, 31]),
            (4_107_542_399, [2100, 2, 28]),
            (4_107_542_400, [2100, 3, 1]),
        ] {
            let time = SystemTime::UNIX_EPOCH + Duration::from_secs(seconds);
            assert_eq!(day_of(time), day, "{seconds}");
        }
    }
}
