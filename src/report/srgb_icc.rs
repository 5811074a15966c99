//! A small ICC profile that says "sRGB", for the formats with no shorter way to say it.

use crate::photometry::colour::matrix::{multiply, transpose};
use crate::photometry::colour::{Adaptation, Chromaticity, RgbSpace, srgb_decode};

/// Points of the tone curve; between them readers interpolate, to better than 1e-5.
const CURVE_POINTS: u16 = 1024;

/// White of the profile connection space, D50 (ICC.1:2001-04, 6.1).
const D50: [f64; 3] = [0.9642, 1.0, 0.8249];

/// An ICC version 2 display profile of sRGB: primaries and white of IEC 61966-2-1, its curve in
/// 1024 points, adapted to D50 by the Bradford transform. Generated, the same on each call.
/// Layout: ICC.1:2001-04.
pub fn srgb_icc_profile() -> Vec<u8> {
    let columns = colorants();
    let tags: [(&[u8; 4], Vec<u8>); 9] = [
        (b"desc", description("sRGB")),
        (b"cprt", text("No copyright, use freely")),
        (b"wtpt", xyz(D50)),
        (b"rXYZ", xyz(columns[0])),
        (b"gXYZ", xyz(columns[1])),
        (b"bXYZ", xyz(columns[2])),
        (b"rTRC", curve()),
        (b"gTRC", Vec::new()), // shared with the red curve
        (b"bTRC", Vec::new()),
    ];

    let mut table = (tags.len() as u32).to_be_bytes().to_vec();
    let data_start = 128 + 4 + 12 * tags.len();
    let mut data = Vec::new();
    let mut place = (0, 0);
    for (signature, value) in &tags {
        if !value.is_empty() {
            place = (data_start + data.len(), value.len());
            data.extend(value);
            data.resize(data.len().next_multiple_of(4), 0);
        }
        table.extend(*signature);
        table.extend((place.0 as u32).to_be_bytes());
        table.extend((place.1 as u32).to_be_bytes());
    }

    let mut profile = header((data_start + data.len()) as u32);
    profile.extend(table);
    profile.extend(data);
    profile
}

fn header(size: u32) -> Vec<u8> {
    let mut header = size.to_be_bytes().to_vec();
    header.extend([0; 4]); // no preferred engine
    header.extend([2, 0x10, 0, 0]); // version 2.1
    header.extend(b"mntrRGB XYZ ");
    for part in [2025_u16, 1, 1, 0, 0, 0] {
        header.extend(part.to_be_bytes()); // a fixed date, so that equal stills are equal files
    }
    header.extend(b"acsp");
    header.extend([0; 24]); // platform, flags, device, attributes
    header.extend(1_u32.to_be_bytes()); // relative colorimetric
    header.extend(D50.map(fixed).into_iter().flat_map(i32::to_be_bytes));
    header.resize(128, 0);
    header
}

/// XYZ of red, green and blue at full value, adapted to D50.
fn colorants() -> [[f64; 3]; 3] {
    let space = RgbSpace::SRGB;
    let adapt = Adaptation::Bradford.matrix(space.white, Chromaticity::of_xyz(D50));
    let [red, green, _] = transpose(&multiply(&adapt, &space.xyz_from_rgb()));
    // White must come out as white in the profile's own rounding: blue takes what is left.
    let blue = std::array::from_fn(|i| rounded(D50[i]) - rounded(red[i]) - rounded(green[i]));
    [red, green, blue]
}

/// As the profile's numbers can hold it: a multiple of 1/65536.
fn rounded(value: f64) -> f64 {
    f64::from(fixed(value)) / 65_536.0
}

fn fixed(value: f64) -> i32 {
    (value * 65_536.0).round() as i32
}

fn xyz(value: [f64; 3]) -> Vec<u8> {
    let mut bytes = b"XYZ \0\0\0\0".to_vec();
    bytes.extend(value.map(fixed).into_iter().flat_map(i32::to_be_bytes));
    bytes
}

fn text(text: &str) -> Vec<u8> {
    let mut bytes = b"text\0\0\0\0".to_vec();
    bytes.extend(text.bytes());
    bytes.push(0);
    bytes
}

fn description(text: &str) -> Vec<u8> {
    let mut bytes = b"desc\0\0\0\0".to_vec();
    bytes.extend((text.len() as u32 + 1).to_be_bytes());
    bytes.extend(text.bytes());
    bytes.push(0);
    bytes.extend([0; 8]); // no Unicode name
    bytes.extend([0; 3 + 67]); // no script code name
    bytes
}

fn curve() -> Vec<u8> {
    let mut bytes = b"curv\0\0\0\0".to_vec();
    bytes.extend(u32::from(CURVE_POINTS).to_be_bytes());
    for index in 0..CURVE_POINTS {
        let linear = srgb_decode(f64::from(index) / f64::from(CURVE_POINTS - 1));
        bytes.extend(((linear * 65_535.0).round() as u16).to_be_bytes());
    }
    bytes
}
