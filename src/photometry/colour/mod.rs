//! Colour: chromaticities, colour temperatures, RGB spaces, adaptation, encoding, difference.
//!
//! Light is linear RGB with sRGB's primaries unless a name says otherwise.

pub mod adaptation;
pub mod chromaticity;
pub mod cmf;
pub mod difference;
pub mod light;
pub mod matrix;
pub mod rgb;
pub mod transfer;

pub use adaptation::Adaptation;
pub use chromaticity::Chromaticity;
pub use light::{FilterColour, LightKind, linear_srgb_of_light, white_balance_gains};
pub use rgb::RgbSpace;
pub use transfer::{encode_srgb8, encode_srgb16, srgb_decode, srgb_encode};
