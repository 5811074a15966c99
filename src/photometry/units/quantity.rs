//! Each quantity: its name, what to type, and its units with their factors to SI.

use std::f64::consts::PI;

/// A kind of quantity: its name in messages, what to type, its units with their factors to SI.
pub(super) struct Quantity {
    pub name: &'static str,
    pub examples: &'static str,
    pub units: &'static [(&'static str, f64)],
}

impl Quantity {
    pub fn hint(&self) -> String {
        format!("type {} such as {}", self.name, self.examples)
    }

    /// The name without its article.
    pub fn bare_name(&self) -> &'static str {
        self.name
            .split_once(' ')
            .map_or(self.name, |(_, bare)| bare)
    }
}

const INCH_M: f64 = 0.0254;
pub(super) const FOOT_M: f64 = 0.3048;

pub(super) const LENGTH: Quantity = Quantity {
    name: "a length",
    examples: "\"2.1 m\", \"85 mm\", \"30 cm\" or \"6 ft 2 in\"",
    units: &[
        ("m", 1.0),
        ("metre", 1.0),
        ("metres", 1.0),
        ("meter", 1.0),
        ("meters", 1.0),
        ("cm", 0.01),
        ("mm", 0.001),
        ("ft", FOOT_M),
        ("foot", FOOT_M),
        ("feet", FOOT_M),
        ("'", FOOT_M),
        ("′", FOOT_M),
        ("’", FOOT_M),
        ("in", INCH_M),
        ("inch", INCH_M),
        ("inches", INCH_M),
        ("\"", INCH_M),
        ("″", INCH_M),
        ("”", INCH_M),
    ],
};

pub(super) const INCHES: Quantity = Quantity {
    name: "a length",
    examples: "\"6 ft 2 in\" or 6'2\"",
    units: &[
        ("in", INCH_M),
        ("inch", INCH_M),
        ("inches", INCH_M),
        ("\"", INCH_M),
        ("″", INCH_M),
        ("”", INCH_M),
    ],
};

pub(super) const ANGLE: Quantity = Quantity {
    name: "an angle",
    examples: "\"45 deg\", \"45°\" or \"0.3 rad\"",
    units: &[
        ("deg", PI / 180.0),
        ("degree", PI / 180.0),
        ("degrees", PI / 180.0),
        ("°", PI / 180.0),
        ("rad", 1.0),
        ("radian", 1.0),
        ("radians", 1.0),
    ],
};

pub(super) const F_NUMBER: Quantity = Quantity {
    name: "an f-number",
    examples: "\"f/8\", \"f/7.1\" or \"f/8 and 4 tenths\"",
    units: &[],
};

pub(super) const TIME: Quantity = Quantity {
    name: "a shutter time",
    examples: "\"1/125 s\", \"0.5 s\" or \"8 ms\"",
    units: &[
        ("s", 1.0),
        ("sec", 1.0),
        ("second", 1.0),
        ("seconds", 1.0),
        ("ms", 1e-3),
        ("µs", 1e-6),
        ("μs", 1e-6),
        ("us", 1e-6),
    ],
};

pub(super) const STOPS: Quantity = Quantity {
    name: "a number of stops",
    examples: "\"-1.3 stops\", \"+1/3 stop\" or \"4 tenths\"",
    units: &[
        ("stop", 1.0),
        ("stops", 1.0),
        ("tenth", 0.1),
        ("tenths", 0.1),
        ("tenth of a stop", 0.1),
        ("tenths of a stop", 0.1),
    ],
};

pub(super) const POWER: Quantity = Quantity {
    name: "a power setting",
    examples: "\"full\", \"1/4\", \"1/4 +0.3\", \"-1.3 stops\" or \"50 %\"",
    units: &[],
};

pub(super) const KELVIN: Quantity = Quantity {
    name: "a colour temperature",
    examples: "\"5600 K\" or \"3200 K\"",
    units: &[("k", 1.0), ("kelvin", 1.0), ("\u{212a}", 1.0)],
};

pub(super) const MIRED: Quantity = Quantity {
    name: "a gel strength",
    examples: "\"+130 mired\" (warmer) or \"-80 mired\" (bluer)",
    units: &[("mired", 1.0), ("mireds", 1.0)],
};

pub(super) const ENERGY: Quantity = Quantity {
    name: "an energy",
    examples: "\"400 J\" or \"400 Ws\"",
    units: &[
        ("j", 1.0),
        ("joule", 1.0),
        ("joules", 1.0),
        ("w s", 1.0),
        ("watt second", 1.0),
        ("watt seconds", 1.0),
        ("kj", 1e3),
    ],
};

pub(super) const LUMINOUS_ENERGY: Quantity = Quantity {
    name: "a luminous energy",
    examples: "\"9000 lm s\"",
    units: &[
        ("lm s", 1.0),
        ("lumen second", 1.0),
        ("lumen seconds", 1.0),
        ("klm s", 1e3),
    ],
};

pub(super) const FLUX: Quantity = Quantity {
    name: "a luminous flux",
    examples: "\"12000 lm\"",
    units: &[("lm", 1.0), ("lumen", 1.0), ("lumens", 1.0), ("klm", 1e3)],
};

pub(super) const OUTPUT: Quantity = Quantity {
    name: "a light's output",
    examples: "\"400 J\" or \"9000 lm s\" for flash, \"12000 lm\" for continuous light",
    units: &[],
};

pub(super) const YIELD: Quantity = Quantity {
    name: "a luminous yield",
    examples: "\"30 lm s/J\"",
    units: &[("lm s/J", 1.0), ("lm s per J", 1.0), ("lm/W", 1.0)],
};

pub(super) const PERCENT: Quantity = Quantity {
    name: "a percentage",
    examples: "\"50 %\"",
    units: &[("%", 0.01), ("percent", 0.01), ("per cent", 0.01)],
};
