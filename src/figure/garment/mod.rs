//! Garments that hang from shoulder or waist: drafted flat for the wearer, sewn
//! on, and left to fall as their fabric does.

mod against;
mod bodice;
mod edge;
mod finish;
mod hang;
mod moulage;
mod panel;
mod sit;
mod skirt;
mod spec;
mod stand;
mod straight;
mod straps;
mod wear;

pub use panel::{Join, Panel, Place, Sewn, Side, sew};
pub use spec::{Bodice, GarmentSpec, Shift, Skirt, Slip, SpecError};
pub use wear::{Fitted, Made, make, waist_edge};

/// Garment files that ship with the program: name and text.
const SHIPPED: [(&str, &str); 6] = [
    (
        "fit-and-flare-dress",
        include_str!("../../../models/garments/fit-and-flare-dress.toml"),
    ),
    (
        "slip-dress",
        include_str!("../../../models/garments/slip-dress.toml"),
    ),
    ("shift", include_str!("../../../models/garments/shift.toml")),
    (
        "a-line-skirt",
        include_str!("../../../models/garments/a-line-skirt.toml"),
    ),
    (
        "full-skirt",
        include_str!("../../../models/garments/full-skirt.toml"),
    ),
    (
        "long-sheer-skirt",
        include_str!("../../../models/garments/long-sheer-skirt.toml"),
    ),
];

impl GarmentSpec {
    /// Names of the garments that ship with the program.
    pub fn names() -> impl Iterator<Item = &'static str> {
        SHIPPED.iter().map(|(name, _)| *name)
    }

    /// Text of the shipped garment file of that name, to copy and change.
    pub fn file(name: &str) -> Option<&'static str> {
        SHIPPED.iter().find(|(n, _)| *n == name).map(|(_, t)| *t)
    }

    /// The shipped garment of that name.
    pub fn named(name: &str) -> Option<Self> {
        Self::from_toml(Self::file(name)?).ok()
    }
}
