//! Every word on sheets and their drawings, in one place, to be translated here. English.

use crate::photometry::flash::PowerLimit;
use crate::setup::{CoverSide, FeatherToward};

/// For documents and pages (BCP 47).
pub(in crate::report) const LANGUAGE: &str = "en-GB";
pub(in crate::report) const MADE_BY: &str = "made by Swatchlight";
pub(in crate::report) const UNTITLED: &str = "Untitled setup";

// Headings and names of things.
pub(in crate::report) const PLACEMENT: &str = "Where everything stands";
pub(in crate::report) const SETTINGS: &str = "What each light is set to";
pub(in crate::report) const READINGS: &str = "What the meter reads";
pub(in crate::report) const BUILD_ORDER: &str = "Build in this order";
pub(in crate::report) const CAUTIONS: &str = "Mind";
pub(in crate::report) const CHANGES: &str = "Changed since the sheet before";
pub(in crate::report) const UNTITLED_DAY: &str = "Untitled day";
pub(in crate::report) const FRAMES: &str = "Which look has which frames";
pub(in crate::report) const TOGETHER_OVER_THE_DAY: &str = "Whether the set goes together";
pub(in crate::report) const CAMERA: &str = "Camera";
pub(in crate::report) const QUALITY: &str = "Light";
pub(in crate::report) const DRAWINGS: &str = "Plan and elevations";

/// Heads of columns.
pub(in crate::report) mod column {
    pub const LOOK: &str = "look";
    pub const WHAT: &str = "what";
    pub const LIGHT: &str = "light";
    pub const DISTANCE: &str = "distance";
    pub const BEARING: &str = "bearing";
    pub const HEIGHT: &str = "height";
    pub const AIM: &str = "aimed at";
    pub const SET_TO: &str = "set to";
    pub const FITTED: &str = "fitted and held";
    pub const ALONE: &str = "each alone";
    pub const METERS_ALONE: &str = "reads alone";
    pub const POWER: &str = "power";
    pub const OUTPUT: &str = "lamp gives";
    pub const KEY_TO_IT: &str = "key : it";
    pub const EDGE: &str = "shadow edge";
}

pub(in crate::report) const PLACEMENT_NOTE: &str = "Distance: along the floor from the mark to plumb below the middle of the \
     front. Bearing: from the line mark to camera; left and right as the camera sees them. Height: of \
     that middle above the floor. A string from there to the aim checks all three.";
pub(in crate::report) const READINGS_NOTE: &str = "f/8 +.3 is f/8 and three tenths of a stop more.";

pub(in crate::report) fn settings_note(point: &str) -> String {
    format!(
        "Trust the meter, not the dial: set each head until it reads its figure alone. Shadow edge: from 10 to \
         90 %, of a straight edge held 10 cm before {point}. Key : it as read there."
    )
}

// Places.
pub(in crate::report) const ON_THE_MARK: &str = "over the mark";
pub(in crate::report) const TOWARD_CAMERA: &str = "0°";
pub(in crate::report) const STRAIGHT_BEHIND: &str = "180°";
pub(in crate::report) const LEVEL: &str = "level";

pub(in crate::report) fn to_side(angle: &str, left: bool) -> String {
    format!("{angle} {}", if left { "left" } else { "right" })
}

pub(in crate::report) fn point_at(distance: &str, bearing: &str, height: &str) -> String {
    format!("{distance} off, {bearing}, {height} up")
}

pub(in crate::report) fn over_mark(height: &str) -> String {
    format!("a point over the mark, {height} up")
}

pub(in crate::report) fn to_point(length: &str) -> String {
    format!("string {length}")
}

pub(in crate::report) fn tilted(angle: &str, down: bool) -> String {
    format!("{angle} {}", if down { "down" } else { "up" })
}

pub(in crate::report) fn feathered(angle: &str, toward: FeatherToward) -> String {
    let toward = match toward {
        FeatherToward::Camera => "to camera",
        FeatherToward::Background => "to background",
        FeatherToward::Left => "to the left",
        FeatherToward::Right => "to the right",
        FeatherToward::Up => "up",
        FeatherToward::Down => "down",
    };
    format!("feathered {angle} {toward}")
}

pub(in crate::report) fn rolled(angle: &str, clockwise: bool) -> String {
    let way = if clockwise {
        "clockwise"
    } else {
        "anticlockwise"
    };
    format!("rolled {angle} {way}")
}

// Modifiers and boards.
pub(in crate::report) const FRONT_CLOTH: &str = "front cloth";
pub(in crate::report) const BAFFLE: &str = "baffle";
pub(in crate::report) const ON_A_BOOM: &str = "on a boom";
pub(in crate::report) const NO_STAND: &str = "no stand";
pub(in crate::report) const WHITE: &str = "white";
pub(in crate::report) const BLACK: &str = "black";
pub(in crate::report) const SILVER: &str = "silver";
pub(in crate::report) const GREY_18: &str = "18 % grey";
pub(in crate::report) const PAINTED: &str = "own colour";

pub(in crate::report) fn spread(spread: &str) -> String {
    format!("spread {spread}")
}

pub(in crate::report) fn at_mark(scale: &str, mark: &str) -> String {
    format!("{scale} at {mark}")
}

pub(in crate::report) fn grid(cutoff: &str) -> String {
    format!("grid, cut-off {cutoff}")
}

pub(in crate::report) fn skirt(depth: &str) -> String {
    format!("skirt {depth}")
}

pub(in crate::report) fn covered(share: &str, side: CoverSide) -> String {
    let side = match side {
        CoverSide::Left => "left",
        CoverSide::Right => "right",
        CoverSide::Top => "top",
        CoverSide::Bottom => "bottom",
    };
    format!("{side} {share} covered")
}

pub(in crate::report) fn gel(mired: f64) -> String {
    let sign = if mired < 0.0 { '−' } else { '+' };
    format!("gel {sign}{:.0} mired", mired.abs())
}

pub(in crate::report) fn filter([r, g, b]: [String; 3]) -> String {
    format!("filter passing red {r}, green {g}, blue {b}")
}

pub(in crate::report) fn back(finish: &str) -> String {
    format!("back {finish}")
}

pub(in crate::report) fn passes(share: &str) -> String {
    format!("passes {share}")
}

// Readings.
pub(in crate::report) const TOGETHER: &str = "together";
pub(in crate::report) const RECEPTOR: &str = "meter held";
pub(in crate::report) const OFF: &str = "off";
pub(in crate::report) const DARK: &str = "dark";
pub(in crate::report) const FLAT: &str = "flat";
pub(in crate::report) const DOME: &str = "dome";
pub(in crate::report) const TO_CAMERA: &str = "to camera";
pub(in crate::report) const TO_CEILING: &str = "up";
pub(in crate::report) const KEY: &str = "key";
pub(in crate::report) const AS_SET: &str = "power as set";
pub(in crate::report) const BY_METER: &str = "by the meter";

pub(in crate::report) fn to_light(light: &str) -> String {
    format!("to {light}")
}

pub(in crate::report) fn to_direction(bearing: &str, tilt: &str) -> String {
    match tilt {
        LEVEL => format!("toward {bearing}"),
        tilt => format!("toward {bearing}, {tilt}"),
    }
}

pub(in crate::report) fn reading_at(reading: &str, point: &str) -> String {
    format!("{reading} at {point}")
}

pub(in crate::report) fn off_by(stops: &str) -> String {
    format!("nearest step, {stops} stop")
}

pub(in crate::report) fn beyond(limit: PowerLimit, stops: &str) -> String {
    let cannot = match limit {
        PowerLimit::CannotGoLower => "head goes no lower",
        PowerLimit::CannotGoHigher => "head gives no more",
    };
    format!("{cannot}, {stops} stops")
}

// Camera and light.
pub(in crate::report) const APERTURE: &str = "aperture";
pub(in crate::report) const SHUTTER: &str = "shutter";
pub(in crate::report) const LENS: &str = "lens";
pub(in crate::report) const STANDS: &str = "stands";
pub(in crate::report) const WHITE_BALANCE: &str = "white balance";
pub(in crate::report) const NO_BALANCE: &str = "none";
pub(in crate::report) const SHADOW_EDGE: &str = "shadow edge";
pub(in crate::report) const EVENNESS: &str = "face to hem";
pub(in crate::report) const RATIO: &str = "ratio";
pub(in crate::report) const TEXTURE: &str = "weave contrast";

pub(in crate::report) fn shutter_and_iso(shutter: &str, iso: &str) -> String {
    format!("{shutter}, ISO {iso}")
}

pub(in crate::report) fn lens_and_focus(focal_length_mm: &str, focus: &str) -> String {
    format!("{focal_length_mm} mm, focused at {focus}")
}

pub(in crate::report) fn as_metered_at(n: &str, point: &str) -> String {
    format!("{n}, as metered at {point}")
}

pub(in crate::report) fn as_set_meter_reads(n: &str, point: &str, reading: &str) -> String {
    format!("{n}, as set; {point} reads {reading}")
}

pub(in crate::report) fn camera_stands(distance: &str, bearing: &str, height: &str) -> String {
    format!("{distance} from the mark, {bearing}; lens {height} up")
}

pub(in crate::report) fn grey_card_at(point: &str) -> String {
    format!("grey card at {point}")
}

pub(in crate::report) fn evenness(stops: f64) -> String {
    if stops < 0.05 {
        "within a tenth of a stop".into()
    } else {
        format!(
            "within {stops:.1} stop{}",
            if stops > 1.0 { "s" } else { "" }
        )
    }
}

pub(in crate::report) fn key_to(key: &str, fill: &str, ratio: &str) -> String {
    format!("{key} : {fill} {ratio}")
}

pub(in crate::report) fn texture(relief: &str, as_dyed: &str) -> String {
    format!("relief {relief}, as dyed {as_dyed}")
}

// Pictures.
pub(in crate::report) const EMPTY_SET: &str = "An empty set";
pub(in crate::report) const TRUE_SIZE: &str = "true size, printed at 100 %: the bar is 5 cm";

pub(in crate::report) fn magnified(times: f64) -> String {
    format!("{times:.0} times as large")
}

pub(in crate::report) fn garment_of(garment: &str, fabric: &str) -> String {
    format!("{garment} of {fabric}")
}

pub(in crate::report) fn figure_in(figure: &str, worn: &[String]) -> String {
    match worn {
        [] => format!("Stand-in figure {figure}"),
        worn => format!("Stand-in figure {figure} in {}", worn.join(" and ")),
    }
}

pub(in crate::report) fn swatch_of(fabric: &str) -> String {
    format!("Swatch of {fabric}")
}

pub(in crate::report) fn still_alt(title: &str, subject: &str) -> String {
    format!("The picture of {title}. {subject}.")
}

pub(in crate::report) fn cloth_caption(fabric: &str, point: &str) -> String {
    format!("{fabric} at {point}")
}

pub(in crate::report) fn cloth_alt(fabric: &str, point: &str, times: Option<f64>) -> String {
    let size = times.map_or("at true size".into(), magnified);
    format!("The cloth {fabric} as it lies at {point} in this light, {size}.")
}

pub(in crate::report) fn plan_alt(names: &[&str]) -> String {
    format!("The set from above, to scale: {}.", names.join(", "))
}

pub(in crate::report) fn elevation_alt(from: &str, names: &[&str]) -> String {
    format!("The set, {from}, to scale: {}.", names.join(", "))
}

/// "26 November 2026".
pub fn date([year, month, day]: [u32; 3]) -> String {
    const MONTHS: [&str; 12] = [
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    ];
    let month = MONTHS[(month.clamp(1, 12) - 1) as usize];
    format!("{day} {month} {year}")
}

/// Of a frame of the day: "frame 3, 12 min of changes".
pub(in crate::report) fn stop_head(frame: usize, takes: &str) -> String {
    match takes {
        "" => format!("frame {frame}"),
        takes => format!("frame {frame}, {takes} of changes"),
    }
}

pub(in crate::report) fn page_of(page: usize, pages: usize) -> String {
    format!("{page} / {pages}")
}

/// Those of the parts that say something.
pub(in crate::report) fn joined(parts: &[&str]) -> String {
    let said: Vec<&str> = parts.iter().copied().filter(|p| !p.is_empty()).collect();
    said.join(", ")
}

/// The steps of the build.
pub(in crate::report) mod step {
    pub const BACKDROP: &str = "Backdrop";
    pub const MARK: &str = "Mark";
    pub const MARK_BODY: &str = "Tape a cross on the floor: the mark. Tape a line from it to where the camera \
         will stand: bearing 0°. Every distance and bearing is taken from these two.";
    pub const CAMERA: &str = "Camera";
    pub const SANDBAGS: &str = "Sandbags";
    pub const SANDBAGS_BODY: &str = "Weigh every stand down before its load goes up.";
    pub const CABLES: &str = "Cables";
    pub const CABLES_BODY: &str = "Heads off. Run cables along the walls and behind the stands, leave slack at each stand, \
         tape down what is walked over; look at every sandbag again. Then plug in and switch on, one head at a time.";
    pub const TOGETHER: &str = "All together";
    pub const FIGURE: &str = "Figure";
    pub const BACKDROP_CLEAR: &str = "Clear the floor round the mark; there is no backdrop.";

    pub fn seamless(width: &str, behind: &str, roll: &str, reach: &str) -> String {
        format!(
            "Hang the seamless paper, {width} wide, {behind} behind the mark, its roll {roll} up; let it curve down and \
             run {reach}. Clamp the roll, tape the front edge."
        )
    }

    pub fn reach(length: &str, past: bool) -> String {
        if past {
            format!("to {length} in front of the mark")
        } else {
            format!("to {length} behind the mark")
        }
    }

    pub fn room(width: &str, depth: &str, height: &str) -> String {
        format!("The room is {width} wide, {depth} deep, {height} high.")
    }

    pub fn camera(stands: &str, aim: &str, lens: &str, upright: bool) -> String {
        let level = if upright {
            " Keep the back upright."
        } else {
            ""
        };
        format!("Set the camera with the {lens} lens {stands}; aim it at {aim}.{level}")
    }

    pub fn camera_set(shutter: &str, iso: &str, focus: &str) -> String {
        format!(" Shutter {shutter}, ISO {iso}, focus at {focus}.")
    }

    pub fn figure(turn: Option<String>) -> String {
        let turn = turn.map_or("facing the camera".into(), |t| format!("turned {t}"));
        format!("Stand the figure on the mark, {turn}.")
    }

    pub fn stand(distance: &str, bearing: &str) -> String {
        format!("Stand {distance} from the mark, {bearing}")
    }

    pub fn boom(distance: &str, bearing: &str) -> String {
        format!("On a boom, plumb over {distance} from the mark, {bearing}")
    }

    pub fn held(distance: &str, bearing: &str) -> String {
        format!("Hang, lay or hold it {distance} from the mark, {bearing}")
    }

    pub fn up(height: &str) -> String {
        format!("middle of the front {height} up")
    }

    pub fn aimed(at: &str, string: &str, tilt: &str) -> String {
        format!("aimed at {at} ({string}, {tilt})")
    }

    pub fn head(name: &str, kind: &str) -> String {
        format!("{name}: {kind}")
    }

    pub fn size(size: &str, finish: &str) -> String {
        format!("{size}, {finish}")
    }

    pub fn off() -> &'static str {
        "Stays off."
    }

    pub fn booms(names: &str) -> String {
        format!(
            " On a boom ({names}): bags on the base and on the short end of the arm until it stays where it is let go; \
             a safety wire on the load; one person holds while another rigs."
        )
    }

    pub fn tall(names: &str) -> String {
        format!(" Extra weight, widest legs: {names}.")
    }

    pub fn meter_head(light: &str) -> String {
        format!("Meter {light} alone")
    }

    pub fn meter(point: &str, held: &str, reading: &str, power: &str) -> String {
        format!("All others off. Meter at {point} ({held}): {reading}. {power}")
    }

    pub fn start_from(power: &str) -> String {
        format!("Start from {power}.")
    }

    pub fn together(readings: &str, aperture: &str) -> String {
        format!("All lights on. Meter: {readings}. Set the camera to {aperture}.")
    }

    pub fn test(white_balance: &str) -> String {
        format!(" Shoot a frame; white balance: {white_balance}.")
    }
}

/// What to mind.
pub(in crate::report) mod caution {
    pub const MAINS: &str = "Mains: whole leads only, cables uncoiled, no wet hands or floors, no more load on a circuit than it is \
         rated for, a residual-current device in the supply.";
    pub const CAPACITORS: &str = "Flash heads store a dangerous charge, also unplugged. Discharge them as their maker says before \
         changing tubes or plugs, and never open them.";
    pub const FLASHING: &str = "Flashes: say so before each series, and nobody looks into a head. Anyone who is photosensitive leaves \
         the set first.";
    pub const HOT: &str = "Lamps that burn get hot: gloves, room around them, no cloth or paper near, let them cool before moving.";
    pub const CODES: &str = "Local codes, the house's rules and the makers' load limits come before this sheet. Rigging and electrics \
         are for licensed or trained people; when in doubt, ask them.";

    pub fn overhead(names: &str) -> String {
        format!(
            "Over people: {names}. Sandbags, a safety wire to a second fixed point, nobody below while it is moved."
        )
    }

    pub fn tall(names: &str) -> String {
        format!(
            "High on a stand: {names}. One leg under the load, widest base, bags on; lower it before moving it."
        )
    }

    pub fn sails(names: &str) -> String {
        format!(
            "Large faces catch every draught: {names}. Doors shut, fans pointed away; outdoors or in wind take \
             them down."
        )
    }
}

/// For the page with the live picture.
pub(in crate::report) mod page {
    pub const MIX: &str = "Mix the light";
    pub const MIX_NOTE: &str = "The picture is mixed anew from the light of each lamp, exposed as printed: \
         moving a slider shows what turning that head would show.";
    pub const RESET: &str = "As planned";
    pub const ON: &str = "on";
    pub const POWER: &str = "power, stops";
    pub const KELVIN: &str = "colour, K";
    pub const POINT: &str = "Point at the picture, or give it the focus and use the arrow keys.";
    pub const STILL_ONLY: &str =
        "Without scripts the picture stays as it is; all else is complete.";
    pub const CANNOT: &str = "This browser cannot unpack the light; the picture stays as it is.";
    pub const STOPS: &str = "stops against the metered exposure";
    pub const DARK: &str = "no light";
}

/// Words on plans and elevations.
pub(in crate::report) mod plan {
    pub const PLAN: &str = "plan";
    pub const SIDE: &str = "elevation from the camera's right";
    pub const FRONT: &str = "elevation from the camera";
    /// One word or two, for the names of things in a view.
    pub const SIDE_WORD: &str = "side elevation";
    pub const FRONT_WORD: &str = "front elevation";
    pub const LEFT_AND_RIGHT: &str = "left and right are the camera's";
    pub const LIGHT: &str = "light";
    pub const BOARD: &str = "board";
    pub const FLAG: &str = "flag";
    pub const SCRIM: &str = "scrim";
    pub const FIGURE: &str = "figure";
    pub const CAMERA: &str = "camera";
    pub const METER_POINT: &str = "meter point";
    /// Of a light.
    pub const OFF: &str = "off";

    pub fn scale(view: &str, one_to: &str) -> String {
        format!("{view} · 1:{one_to}")
    }

    pub fn paper_from_above(width: &str, behind: &str) -> String {
        format!("paper {width} wide, {behind} behind the mark")
    }

    pub fn paper_from_beside(height: &str) -> String {
        format!("paper {height} high")
    }

    /// To the camera's right or left.
    pub fn to_a_side(degrees: &str, right: bool) -> String {
        format!("{degrees}° {}", if right { "right" } else { "left" })
    }

    /// After a height: how far a light looks up or down, in whole degrees.
    pub fn tilt(degrees: f64) -> String {
        match degrees.abs().round() {
            0.0 => ", level".to_owned(),
            round => format!(
                ", {round:.0}° {}",
                if degrees > 0.0 { "up" } else { "down" }
            ),
        }
    }
}
