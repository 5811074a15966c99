//! Stills on disk: what other readers find in them, and what happens when things go wrong.
//!
//! Read back with the `png`, `image` and `exr` crates or by walking the bytes as the published
//! formats lay them out: PNG Third Edition (W3C 2025), ITU-T T.81 (JPEG), TIFF 6.0, ICC.1:2001-04.

use std::collections::BTreeMap;
use std::fs;
use std::io::Cursor;
use std::path::{Path, PathBuf};

use exr::prelude::{ReadChannels, ReadLayers};
use image::ImageDecoder;
use proptest::prelude::*;
use swatchlight::report::{
    BitDepth, Development, Exposure, Layer, Metadata, Overwrite, Picture, Rendering, StillError,
    StillFormat, StillOptions, develop, discard_unfinished, exr_layer_names, is_still, open_still,
    read_still, read_still_from, srgb_icc_profile, write_still, write_whole,
};

const EXTENSIONS: [&str; 4] = ["png", "exr", "jpg", "tif"];

/// A picture with a gradient in each layer, no two values alike.
fn picture(width: u32, height: u32) -> Picture {
    let pixels = width as usize * height as usize;
    let layer = |name: &str, scale: f32| Layer {
        name: name.to_owned(),
        rgb: (0..pixels)
            .map(|i| [0.1, 0.2, 0.3].map(|tint| scale * (tint + i as f32 / pixels as f32)))
            .collect(),
    };
    Picture {
        width,
        height,
        layers: vec![
            layer("key", 9.0),
            layer("fill. left", 2.0),
            layer("Key", 0.7),
        ],
        albedo: Some(vec![[0.5, 0.25, 0.125]; pixels]),
        normal: Some(vec![[0.0, 0.5, -1.0]; pixels]),
        depth_m: Some((0..pixels).map(|i| 2.0 + i as f32 * 0.001).collect()),
    }
}

/// A card that reflects 18 % under a light that shows white at 1 cd·s/m² per gain.
fn grey_card(gain: f32) -> (Picture, Development) {
    let layer = |share: f32| Layer {
        name: format!("{share}"),
        rgb: vec![[share / gain; 3]; 6],
    };
    let picture = Picture {
        width: 3,
        height: 2,
        layers: vec![layer(0.1), layer(0.05), layer(0.03)],
        ..Picture::default()
    };
    (picture, Development { gain: [gain; 3] })
}

fn development() -> Development {
    Development {
        gain: [0.09, 0.08, 0.07],
    }
}

fn rendering() -> Rendering {
    Rendering {
        samples_per_pixel: 256,
        relative_error: Some(0.0125),
        executor: "CPU, 2 threads".to_owned(),
    }
}

/// Text that breaks careless writers: quotes, control characters, CRLF, signs beyond 16 bits,
/// a line like our own JPEG headings, 200 kB.
fn nasty_setup() -> String {
    let mut text =
        "title = \"Été 🎞️ \\\"x\\\" ]]> <a&b> 'q'\"\r\n\tΩ = '''\u{7f}\u{85}'''\r\n".to_owned();
    text.push_str("Swatchlight setup 1/2\n\u{feff}\u{10ffff}");
    while text.len() < 200_000 {
        text.push_str("# 灯 → 布 \\u0041 \\\\ 🧵\r\n");
    }
    text
}

fn metadata(setup_toml: &str) -> Metadata {
    Metadata {
        title: "Linen shift, side key – tilaus №1".to_owned(),
        description: "An invented setup: a key and two fills.".to_owned(),
        software: "Swatchlight 0.1.0".to_owned(),
        setup_toml: setup_toml.to_owned(),
        readings_json: "{\"points\":[{\"mark\":\"f/9\"}]}".to_owned(),
        exposure: Some(Exposure {
            shutter_s: 1.0 / 125.0,
            f_number: 9.0,
            iso: 100.0,
            focus_m: Some(3.5),
        }),
    }
}

fn sixteen() -> StillOptions {
    StillOptions {
        depth: BitDepth::Sixteen,
        ..StillOptions::default()
    }
}

/// Writes the picture and gives the bytes of the file.
fn still_bytes(extension: &str, picture: &Picture, setup: &str, options: StillOptions) -> Vec<u8> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(format!("still.{extension}"));
    write_still(
        &path,
        picture,
        &development(),
        &metadata(setup),
        &rendering(),
        options,
    )
    .unwrap();
    fs::read(path).unwrap()
}

fn names_in(folder: &Path) -> Vec<PathBuf> {
    fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .collect()
}

/// The chunks of a PNG in order (PNG 5.3): length, name, data, checksum.
fn png_chunks(bytes: &[u8]) -> Vec<(String, Vec<u8>)> {
    let mut chunks = Vec::new();
    let mut at = 8;
    while at < bytes.len() {
        let length = u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap()) as usize;
        let name = String::from_utf8(bytes[at + 4..at + 8].to_vec()).unwrap();
        chunks.push((name, bytes[at + 8..at + 8 + length].to_vec()));
        at += 12 + length;
    }
    chunks
}

/// IEC 61966-2-1: linear 0.18 is 0.461356 encoded, 117.646 of 255 (S1.srgb8.18_int: 118), and
/// 30234.97 of 65535.
#[test]
fn an_18_percent_card_is_118() {
    for gain in [1.0, 0.0125, 37.0] {
        let (picture, development) = grey_card(gain);
        let eight = develop(&picture, &development, BitDepth::Eight).unwrap();
        assert_eq!(eight.codes, vec![[118; 3]; 6], "gain {gain}");
        let sixteen = develop(&picture, &development, BitDepth::Sixteen).unwrap();
        assert_eq!(sixteen.codes, vec![[30_235; 3]; 6], "gain {gain}");
    }

    // And in the files: no dither, no tone curve, no rounding on the way.
    let (picture, development) = grey_card(0.02);
    let folder = tempfile::tempdir().unwrap();
    for extension in ["png", "tif", "jpg"] {
        let path = folder.path().join(format!("card.{extension}"));
        let plain = Metadata::default();
        let options = StillOptions::default();
        write_still(&path, &picture, &development, &plain, &rendering(), options).unwrap();
        let read = image::open(&path).unwrap().into_rgb8();
        assert!(
            read.pixels().all(|pixel| pixel.0 == [118; 3]),
            "{extension}"
        );
    }
}

/// Values off the scale: clipped, and what is not a number black.
#[test]
fn odd_light_develops_to_the_ends_of_the_scale() {
    let odd = [f32::NAN, f32::INFINITY, -3.0, 1e30, f32::NEG_INFINITY, 0.0];
    let picture = Picture {
        width: 6,
        height: 1,
        layers: vec![Layer {
            name: "odd".to_owned(),
            rgb: odd.map(|value| [value; 3]).to_vec(),
        }],
        ..Picture::default()
    };
    let image = develop(&picture, &Development { gain: [1.0; 3] }, BitDepth::Eight).unwrap();
    let codes: Vec<u16> = image.codes.iter().map(|pixel| pixel[0]).collect();
    assert_eq!(codes, [0, 255, 0, 255, 0, 0]);
}

/// PNG Third Edition 11.3.2.5: sRGB with gAMA 45455 and the listed cHRM; 11.3.2.6: cICP with
/// H.273 primaries 1, transfer 13, matrix 0, full range 1; all before IDAT (table 7).
#[test]
fn png_is_tagged_as_srgb() {
    let bytes = still_bytes("png", &picture(5, 4), &nasty_setup(), sixteen());
    let chunks = png_chunks(&bytes);
    let names: Vec<&str> = chunks.iter().map(|(name, _)| name.as_str()).collect();
    let pixels = names.iter().position(|name| *name == "IDAT").unwrap();
    let data = |name: &str| {
        let found: Vec<_> = chunks[..pixels].iter().filter(|c| c.0 == name).collect();
        assert_eq!(found.len(), 1, "{name} in {names:?}");
        found[0].1.clone()
    };
    assert_eq!(data("sRGB"), [1], "relative colorimetric");
    assert_eq!(data("gAMA"), 45_455_u32.to_be_bytes());
    let listed = [31270, 32900, 64000, 33000, 30000, 60000, 15000, 6000_u32];
    assert_eq!(data("cHRM"), listed.map(u32::to_be_bytes).concat());
    assert_eq!(data("cICP"), [1, 13, 0, 1]);
    assert_eq!(data("IHDR")[8..10], [16, 2], "16 bit, RGB");
    assert_eq!(names.last(), Some(&"IEND"));

    // Long texts are compressed, short ones are not (PNG 11.3.3.4: flag after the keyword).
    let flag = |keyword: &str| {
        let head = [keyword.as_bytes(), &[0]].concat();
        let found = chunks
            .iter()
            .find(|c| c.0 == "iTXt" && c.1.starts_with(&head));
        found.unwrap().1[head.len()]
    };
    assert_eq!(flag("Swatchlight setup"), 1);
    assert_eq!(flag("Title"), 0);
}

/// The whole PNG, checksums and all, through the reference reader of the `png` crate.
#[test]
fn png_reads_back() {
    for (options, bits) in [(StillOptions::default(), 8), (sixteen(), 16)] {
        let picture = picture(7, 5);
        let bytes = still_bytes("png", &picture, "x = 1", options);
        let mut reader = png::Decoder::new(Cursor::new(&bytes)).read_info().unwrap();
        let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
        reader.next_frame(&mut pixels).unwrap();
        reader.finish().unwrap();
        assert_eq!(reader.info().bit_depth as u32, bits);
        let expected = develop(&picture, &development(), options.depth).unwrap();
        let expected = expected.codes.as_flattened();
        let read: Vec<u16> = match bits {
            8 => pixels.iter().map(|&code| code.into()).collect(),
            _ => pixels
                .chunks(2)
                .map(|c| u16::from_be_bytes([c[0], c[1]]))
                .collect(),
        };
        assert_eq!(read, expected);
        let texts = &reader.info().utf8_text;
        let text = |key: &str| {
            texts
                .iter()
                .find(|t| t.keyword == key)
                .unwrap()
                .get_text()
                .unwrap()
        };
        assert_eq!(text("Software"), "Swatchlight 0.1.0");
        let facts: serde_json::Value =
            serde_json::from_str(&text("Swatchlight rendering")).unwrap();
        assert_eq!(facts["samples_per_pixel"], 256);
        assert_eq!(facts["relative_error"], 0.0125);
        assert_eq!(facts["executor"], "CPU, 2 threads");
        assert_eq!(facts["gain_per_cd_s_m2"].as_array().unwrap().len(), 3);
    }
}

/// OpenEXR, read by the `exr` crate: every layer to the bit, standard attributes, our texts.
#[test]
fn exr_reads_back() {
    let picture = picture(9, 37); // two whole blocks of 16 rows and a part
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("still.exr");
    let metadata = metadata(&nasty_setup());
    let options = StillOptions::default();
    write_still(
        &path,
        &picture,
        &development(),
        &metadata,
        &rendering(),
        options,
    )
    .unwrap();

    let image = exr::prelude::read()
        .no_deep_data()
        .largest_resolution_level()
        .all_channels()
        .first_valid_layer()
        .all_attributes()
        .from_file(&path)
        .unwrap();
    let layer = &image.layer_data;
    let channels: BTreeMap<String, _> = layer
        .channel_data
        .list
        .iter()
        .map(|channel| (channel.name.to_string(), &channel.sample_data))
        .collect();
    assert_eq!(channels.len(), 3 * 4 + 3 + 3 + 1);
    let bits = |name: &str| -> Vec<u32> {
        match channels[name] {
            exr::prelude::FlatSamples::F32(values) => values.iter().map(|v| v.to_bits()).collect(),
            exr::prelude::FlatSamples::F16(values) => {
                values.iter().map(|v| v.to_f32().to_bits()).collect()
            }
            exr::prelude::FlatSamples::U32(_) => panic!("{name} holds integers"),
        }
    };
    for (c, letter) in ["R", "G", "B"].into_iter().enumerate() {
        for (light, name) in ["key", "fill_left", "Key_2"].into_iter().enumerate() {
            let rgb = picture.layers[light].rgb.iter();
            let expected: Vec<u32> = rgb.map(|value| value[c].to_bits()).collect();
            assert_eq!(
                bits(&format!("{name}.{letter}")),
                expected,
                "{name}.{letter}"
            );
        }
        let sum = |i: usize| {
            picture
                .layers
                .iter()
                .map(|l| f64::from(l.rgb[i][c]))
                .sum::<f64>()
        };
        let expected: Vec<u32> = (0..9 * 37).map(|i| (sum(i) as f32).to_bits()).collect();
        assert_eq!(bits(letter), expected, "the sum of the lights");
        assert_eq!(
            bits(&format!("albedo.{letter}"))[3],
            [0.5_f32, 0.25, 0.125][c].to_bits()
        );
    }
    for (c, letter) in ["X", "Y", "Z"].into_iter().enumerate() {
        assert_eq!(
            bits(&format!("normal.{letter}"))[40],
            [0.0_f32, 0.5, -1.0][c].to_bits()
        );
    }
    let depths = picture.depth_m.as_ref().unwrap();
    assert_eq!(
        bits("Z"),
        depths.iter().map(|d| d.to_bits()).collect::<Vec<_>>()
    );

    // IEC 61966-2-1 primaries and white, in the format's own attribute.
    let chromaticities = image.attributes.chromaticities.unwrap();
    assert_eq!(chromaticities.red, exr::math::Vec2(0.64, 0.33));
    assert_eq!(chromaticities.green, exr::math::Vec2(0.30, 0.60));
    assert_eq!(chromaticities.blue, exr::math::Vec2(0.15, 0.06));
    assert_eq!(chromaticities.white, exr::math::Vec2(0.3127, 0.3290));
    let attributes = &layer.attributes;
    // 1 cd·s/m² over 1/125 s is 125 cd/m².
    assert_eq!(attributes.white_luminance, Some(125.0));
    assert_eq!(attributes.exposure, Some(0.008));
    assert_eq!(attributes.aperture, Some(9.0));
    assert_eq!(attributes.iso_speed, Some(100.0));
    assert_eq!(attributes.focus, Some(3.5));
    let comments = attributes.comments.as_ref().unwrap();
    assert_eq!(comments.as_slice(), metadata.description.as_bytes());
    let text = |name: &str| match &attributes.other[&exr::prelude::Text::from(name)] {
        exr::prelude::AttributeValue::Text(text) => {
            String::from_utf8(text.as_slice().to_vec()).unwrap()
        }
        other => panic!("{name} is {other:?}"),
    };
    assert_eq!(text("swatchlightSetup"), metadata.setup_toml);
    assert_eq!(text("swatchlightReadings"), metadata.readings_json);
    assert_eq!(text("swatchlightPixelUnit"), "cd s/m2");
    let table: serde_json::Value = serde_json::from_str(&text("swatchlightLayers")).unwrap();
    assert_eq!(
        table[1],
        serde_json::json!({"layer": "fill_left", "light": "fill. left"})
    );
    assert!(text("swatchlightRendering").contains("\"samples_per_pixel\":256"));
}

#[test]
fn exr_layers_get_names_that_every_program_takes() {
    let lights = ["key", "KEY", "albedo", "", "鍵", "a..b", "  rim light 💡"];
    let names = exr_layer_names(&lights.map(str::to_owned));
    let expected = [
        "key",
        "KEY_2",
        "albedo_2",
        "light",
        "light_2",
        "a_b",
        "rim_light",
    ];
    assert_eq!(names, expected);
}

/// ITU-T T.81: full-size chroma in the frame header; ICC.1 annex B: the profile in APP2.
#[test]
fn jpeg_keeps_colour_and_profile() {
    let picture = picture(33, 17);
    let bytes = still_bytes("jpg", &picture, &nasty_setup(), StillOptions::default());
    assert_eq!(bytes[..4], [0xff, 0xd8, 0xff, 0xe0], "JFIF comes first");
    let frame = bytes
        .windows(2)
        .position(|marker| marker == [0xff, 0xc0])
        .unwrap();
    // Length, precision, height, width, then count and (id, sampling, table) per component.
    assert_eq!(bytes[frame + 4], 8);
    assert_eq!(bytes[frame + 9], 3);
    for component in 0..3 {
        assert_eq!(bytes[frame + 11 + 3 * component], 0x11, "no subsampling");
    }

    let mut decoder = image::codecs::jpeg::JpegDecoder::new(Cursor::new(&bytes)).unwrap();
    assert_eq!(decoder.icc_profile().unwrap(), Some(srgb_icc_profile()));
    let read = image::load_from_memory(&bytes).unwrap().into_rgb8();
    let expected = develop(&picture, &development(), BitDepth::Eight).unwrap();
    let differences = read.as_raw().iter().zip(expected.codes.as_flattened());
    let worst = differences
        .map(|(&a, &b)| u16::from(a).abs_diff(b))
        .max()
        .unwrap();
    assert!(worst <= 6, "off by {worst} codes at quality 92");
}

/// TIFF 6.0, read by the `tiff` crate under `image`: pixels to the code, and the profile.
#[test]
fn tiff_reads_back() {
    for options in [StillOptions::default(), sixteen()] {
        let picture = picture(301, 300); // several strips, odd row bytes
        let bytes = still_bytes("tif", &picture, &nasty_setup(), options);
        let mut decoder = image::codecs::tiff::TiffDecoder::new(Cursor::new(&bytes)).unwrap();
        assert_eq!(decoder.icc_profile().unwrap(), Some(srgb_icc_profile()));
        let read = image::load_from_memory(&bytes).unwrap();
        let expected = develop(&picture, &development(), options.depth).unwrap();
        let expected = expected.codes.as_flattened();
        match options.depth {
            BitDepth::Eight => {
                let read = read.as_rgb8().unwrap();
                let read: Vec<u16> = read.as_raw().iter().map(|&code| code.into()).collect();
                assert_eq!(read, expected);
            }
            BitDepth::Sixteen => assert_eq!(read.as_rgb16().unwrap().as_raw(), expected),
        }
    }
}

/// Colorants of sRGB adapted to D50 by Bradford, as published by B. Lindbloom ("RGB/XYZ
/// Matrices", D50-adapted sRGB; from memory), and the curve of IEC 61966-2-1. Lindbloom's D50 has
/// Z = 0.82521 where ICC has 0.8249, which leaves 3e-4 in blue.
#[test]
fn icc_profile_describes_srgb() {
    let profile = srgb_icc_profile();
    let word = |at: usize| u32::from_be_bytes(profile[at..at + 4].try_into().unwrap());
    assert_eq!(word(0) as usize, profile.len());
    assert_eq!(&profile[12..24], b"mntrRGB XYZ ");
    assert_eq!(&profile[36..40], b"acsp");
    let tag = |name: &[u8; 4]| {
        let entries = (0..word(128) as usize).map(|i| 132 + 12 * i);
        let entry = entries
            .into_iter()
            .find(|&at| &profile[at..at + 4] == name)
            .unwrap();
        assert_eq!(word(entry + 4) % 4, 0, "tags are aligned");
        &profile[word(entry + 4) as usize..][..word(entry + 8) as usize]
    };
    let xyz = |name: &[u8; 4]| -> Vec<f64> {
        let values = tag(name)[8..].chunks(4);
        let fixed = values.map(|v| i32::from_be_bytes(v.try_into().unwrap()));
        fixed.map(|v| f64::from(v) / 65_536.0).collect()
    };
    let published = [
        (b"rXYZ", [0.4360747, 0.2225045, 0.0139322]),
        (b"gXYZ", [0.3850649, 0.7168786, 0.0971045]),
        (b"bXYZ", [0.1430804, 0.0606169, 0.7141733]),
    ];
    for (name, expected) in published {
        for (value, expected) in xyz(name).iter().zip(expected) {
            assert!((value - expected).abs() < 3e-4, "{value} for {expected}");
        }
    }
    for axis in 0..3 {
        let sum = xyz(b"rXYZ")[axis] + xyz(b"gXYZ")[axis] + xyz(b"bXYZ")[axis];
        assert_eq!(sum, xyz(b"wtpt")[axis], "red, green and blue make white");
    }
    // The 8-bit grey of an 18 % card decodes to 0.181164 (S5), by interpolation in the curve.
    let curve = tag(b"gTRC");
    let point = |i: usize| f64::from(u16::from_be_bytes([curve[12 + 2 * i], curve[13 + 2 * i]]));
    let place: f64 = 118.0 / 255.0 * 1023.0;
    let (below, share) = (place as usize, place.fract());
    let linear = (point(below) * (1.0 - share) + point(below + 1) * share) / 65_535.0;
    assert!((linear - 0.181164).abs() < 2e-5, "{linear}");
}

#[test]
fn every_format_gives_the_setup_back() {
    let setup = nasty_setup();
    let expected = metadata(&setup);
    for extension in EXTENSIONS {
        let bytes = still_bytes(extension, &picture(4, 3), &setup, StillOptions::default());
        assert!(is_still(&bytes[..8]), "{extension}");
        let embedded = read_still_from(Cursor::new(bytes)).unwrap();
        assert!(
            embedded.setup_toml == setup,
            "{extension} changed the setup"
        );
        assert_eq!(embedded.title, Some(expected.title.clone()), "{extension}");
        assert_eq!(
            embedded.description,
            Some(expected.description.clone()),
            "{extension}"
        );
        assert_eq!(
            embedded.software,
            Some(expected.software.clone()),
            "{extension}"
        );
        assert_eq!(
            embedded.readings_json,
            Some(expected.readings_json.clone()),
            "{extension}"
        );
        let facts = embedded.rendering_json.unwrap();
        let facts: Rendering = serde_json::from_str(&facts).unwrap();
        assert_eq!(facts, rendering(), "{extension}");
    }
    assert!(!is_still(b"title = \"x\""));
    assert!(!is_still(b""));
}

#[test]
fn equal_stills_are_equal_files() {
    for extension in EXTENSIONS {
        let write = || {
            still_bytes(
                extension,
                &picture(20, 33),
                "a = 1",
                StillOptions::default(),
            )
        };
        assert!(write() == write(), "{extension}");
    }
}

#[test]
fn pictures_without_a_setup_and_other_files_are_told_apart() {
    let folder = tempfile::tempdir().unwrap();
    let plain = Metadata::default();
    for extension in EXTENSIONS {
        let path = folder.path().join(format!("plain.{extension}"));
        let options = StillOptions::default();
        write_still(
            &path,
            &picture(2, 2),
            &development(),
            &plain,
            &rendering(),
            options,
        )
        .unwrap();
        let error = read_still(&path).unwrap_err();
        assert!(
            matches!(error, StillError::NoSetup(_)),
            "{extension}: {error}"
        );
        assert!(error.hint().is_some());
    }
    let path = folder.path().join("setup.toml");
    fs::write(&path, "title = 'x'").unwrap();
    assert!(matches!(read_still(&path), Err(StillError::NotAStill)));
    let error = read_still(folder.path()).unwrap_err();
    assert!(matches!(error, StillError::NotAFile { .. }), "{error}");
    let error = read_still(&folder.path().join("none.png")).unwrap_err();
    assert!(error.to_string().contains("none.png"), "{error}");
}

#[test]
fn nothing_is_overwritten_unasked() {
    let folder = tempfile::tempdir().unwrap();
    for extension in EXTENSIONS {
        let path = folder.path().join(format!("still.{extension}"));
        fs::write(&path, "precious").unwrap();
        let write = |overwrite| {
            let depth = BitDepth::Eight;
            let options = StillOptions { depth, overwrite };
            write_still(
                &path,
                &picture(3, 3),
                &development(),
                &metadata("a=1"),
                &rendering(),
                options,
            )
        };
        let error = write(Overwrite::Refuse).unwrap_err();
        assert!(matches!(error, StillError::Exists(_)), "{error}");
        assert!(error.hint().unwrap().contains("--force"));
        assert_eq!(fs::read(&path).unwrap(), b"precious");
        write(Overwrite::Force).unwrap();
        assert_eq!(read_still(&path).unwrap().setup_toml, "a=1");
    }
    assert_eq!(names_in(folder.path()).len(), EXTENSIONS.len());

    // Nor a file that comes up while the picture is being rendered.
    let path = folder.path().join("late.png");
    let options = StillOptions::default();
    let shape = picture(3, 3).shape();
    let mut sink = open_still(&path, &shape, &development(), &metadata("a=1"), options).unwrap();
    sink.band(0, &picture(3, 3)).unwrap();
    fs::write(&path, "precious").unwrap();
    let error = sink.finish(&rendering()).unwrap_err();
    assert!(matches!(error, StillError::Exists(_)), "{error}");
    assert_eq!(fs::read(&path).unwrap(), b"precious");
    assert_eq!(names_in(folder.path()).len(), EXTENSIONS.len() + 1);
}

#[test]
fn failure_leaves_nothing_behind() {
    let folder = tempfile::tempdir().unwrap();
    for extension in EXTENSIONS {
        let path = folder.path().join(format!("still.{extension}"));
        let options = StillOptions::default();
        let shape = picture(4, 40).shape();
        let open = || open_still(&path, &shape, &development(), &metadata("a=1"), options).unwrap();

        // Dropped half-way.
        let mut sink = open();
        sink.band(0, &picture(4, 20)).unwrap();
        assert_eq!(names_in(folder.path()).len(), 1, "the temporary file");
        assert!(!path.exists());
        drop(sink);
        assert!(names_in(folder.path()).is_empty(), "{extension}");

        // Finished with rows missing, or fed with bands out of order, too long or of other make.
        let mut sink = open();
        sink.band(0, &picture(4, 20)).unwrap();
        assert!(matches!(
            sink.finish(&rendering()),
            Err(StillError::Mismatch(_))
        ));
        let mut sink = open();
        assert!(matches!(
            sink.band(1, &picture(4, 1)),
            Err(StillError::Mismatch(_))
        ));
        assert!(matches!(
            sink.band(0, &picture(4, 41)),
            Err(StillError::Mismatch(_))
        ));
        assert!(matches!(
            sink.band(0, &picture(3, 2)),
            Err(StillError::Mismatch(_))
        ));
        let mut short = picture(4, 2);
        short.layers[1].rgb.pop();
        let error = sink.band(0, &short).unwrap_err();
        assert!(
            error.to_string().contains("\"fill. left\" has 7 pixels"),
            "{error}"
        );
        drop(sink);
        assert!(names_in(folder.path()).is_empty(), "{extension}");
    }

    let path = folder.path().join("x");
    let fail = |_: &mut _| Err(std::io::ErrorKind::StorageFull.into());
    let error = write_whole(&path, Overwrite::Refuse, fail).unwrap_err();
    assert!(matches!(error, StillError::DiskFull(_)), "{error}");
    assert!(names_in(folder.path()).is_empty());
}

/// What a second Ctrl-C does, tried in a process of its own: the list of unfinished files is one
/// per process.
#[test]
fn unfinished_files_can_be_discarded() {
    const FOLDER: &str = "SWATCHLIGHT_TEST_DISCARD_IN";
    if let Some(folder) = std::env::var_os(FOLDER) {
        let folder = PathBuf::from(folder);
        write_whole(&folder.join("done"), Overwrite::Refuse, |_| Ok(())).unwrap();
        let path = folder.join("still.png");
        let options = StillOptions::default();
        let shape = picture(3, 3).shape();
        let _sink = open_still(&path, &shape, &development(), &metadata(""), options).unwrap();
        assert_eq!(names_in(&folder).len(), 2);
        discard_unfinished();
        std::process::exit(77); // without unwinding
    }
    let folder = tempfile::tempdir().unwrap();
    let status = std::process::Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "unfinished_files_can_be_discarded"])
        .env(FOLDER, folder.path())
        .output()
        .unwrap()
        .status;
    assert_eq!(status.code(), Some(77));
    assert_eq!(names_in(folder.path()), [folder.path().join("done")]);
}

#[test]
fn errors_say_what_to_type() {
    let folder = tempfile::tempdir().unwrap();
    let try_name = |name: &str, options| {
        let path = folder.path().join(name);
        let shape = picture(2, 2).shape();
        match open_still(&path, &shape, &development(), &metadata(""), options) {
            Ok(_) => panic!("{name} was taken"),
            Err(error) => (error.to_string(), error.hint().unwrap()),
        }
    };
    let eight = StillOptions::default();
    let (what, hint) = try_name("none/still.png", eight);
    assert!(
        what.starts_with("there is no folder") && hint.contains("mkdir -p"),
        "{what}: {hint}"
    );
    for name in ["still.webp", "still", ".png"] {
        let (what, hint) = try_name(name, eight);
        assert!(what.contains("format"), "{what}");
        for known in [".png", ".exr", ".jpg", ".tif"] {
            assert!(hint.contains(known), "{hint}");
        }
    }
    fs::create_dir(folder.path().join("folder.png")).unwrap();
    let (what, _) = try_name("folder.png", eight);
    assert!(what.contains("it is a folder"), "{what}");
    fs::write(folder.path().join("file"), "").unwrap();
    let (what, _) = try_name("file/still.png", eight);
    assert!(what.contains("a file, not a folder"), "{what}");
    let (what, hint) = try_name("still.jpg", sixteen());
    assert!(
        what.contains("8 bits") && hint.contains(".png"),
        "{what}: {hint}"
    );
    assert_eq!(
        names_in(folder.path()).len(),
        2,
        "the folder and the file made here"
    );

    for (name, width, height) in [
        ("wide.jpg", 65_536, 1),
        ("flat.png", 0, 4),
        ("big.tif", 60_000, 40_000),
    ] {
        let shape = swatchlight::report::PictureShape {
            width,
            height,
            ..Default::default()
        };
        let path = folder.path().join(name);
        let opened = open_still(&path, &shape, &development(), &metadata(""), eight);
        let error = opened.err().unwrap();
        assert!(
            matches!(error, StillError::Unsuitable { .. }),
            "{name}: {error}"
        );
    }
    for (name, format) in [
        ("A.PNG", StillFormat::Png),
        ("b.Jpeg", StillFormat::Jpeg),
        ("c.tiff", StillFormat::Tiff),
        ("d.png.exr", StillFormat::Exr),
    ] {
        assert_eq!(StillFormat::from_path(Path::new(name)).unwrap(), format);
    }
}

/// Linux lets nobody, root included, make a file in the kernel's `/sys`.
#[cfg(target_os = "linux")]
#[test]
fn closed_folders_are_found_before_rendering() {
    let path = Path::new("/sys/still.png");
    let error = write_whole(path, Overwrite::Refuse, |_| Ok(())).unwrap_err();
    assert!(matches!(error, StillError::Denied(_)), "{error}");
    assert!(error.hint().unwrap().contains("--out"));
}

/// A still is as readable for others as any new file, and a link stays a link.
#[cfg(unix)]
#[test]
fn permissions_and_links_are_as_usual() {
    use std::os::unix::fs::PermissionsExt;
    let folder = tempfile::tempdir().unwrap();
    let (ours, usual) = (folder.path().join("ours"), folder.path().join("usual"));
    write_whole(&ours, Overwrite::Refuse, |_| Ok(())).unwrap();
    fs::write(&usual, "").unwrap();
    let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode();
    assert_eq!(mode(&ours), mode(&usual));

    let link = folder.path().join("link");
    std::os::unix::fs::symlink(&usual, &link).unwrap();
    let write =
        |file: &mut swatchlight::report::WholeWriter| std::io::Write::write_all(file, b"new");
    assert!(write_whole(&link, Overwrite::Refuse, write).is_err());
    write_whole(&link, Overwrite::Force, write).unwrap();
    assert!(fs::symlink_metadata(&link).unwrap().is_symlink());
    assert_eq!(fs::read(&usual).unwrap(), b"new");
}

/// Lengths that lie: no memory is asked for on their word.
#[test]
fn lying_lengths_are_refused() {
    // An EXR attribute, a TIFF description, a PNG width, each of about 4 GB.
    let exr = [
        b"\x76\x2f\x31\x01\x02\0\0\0",
        b"swatchlightSetup\0string\0\xff\xff\xff\xff".as_slice(),
    ];
    let tiff = b"II\x2a\0\x08\0\0\0\x01\0\x0e\x01\x02\0\xf0\xff\xff\xff\x08\0\0\0\0\0\0\0";
    let png = b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR\xff\xff\xff\xff\0\0\0\x01\x08\x02\0\0\0";
    for bytes in [exr.concat(), tiff.to_vec(), png.to_vec()] {
        let error = read_still_from(Cursor::new(bytes)).unwrap_err();
        assert!(matches!(error, StillError::Damaged { .. }), "{error}");
    }

    // A text that unpacks to 64 MB of zeros from 64 kB.
    let mut bomb = Vec::new();
    let mut encoder = png::Encoder::new(&mut bomb, 1, 1);
    encoder.set_color(png::ColorType::Rgb);
    let mut writer = encoder.write_header().unwrap();
    let mut text = png::text_metadata::ITXtChunk::new("Swatchlight setup", "\0".repeat(64 << 20));
    text.compressed = true;
    writer.write_text_chunk(&text).unwrap();
    writer.write_image_data(&[0; 3]).unwrap();
    writer.finish().unwrap();
    assert!(bomb.len() < 1 << 20);
    let error = read_still_from(Cursor::new(bomb)).unwrap_err();
    assert!(matches!(error, StillError::Damaged { .. }), "{error}");
}

/// A still cut off anywhere gives its setup or an error.
#[test]
fn cut_files_are_harmless() {
    for extension in EXTENSIONS {
        let bytes = still_bytes(extension, &picture(6, 5), "a = 1", StillOptions::default());
        let mut failures = 0;
        for length in 0..bytes.len() {
            match read_still_from(Cursor::new(&bytes[..length])) {
                Ok(embedded) => assert_eq!(embedded.setup_toml, "a = 1"),
                Err(_) => failures += 1,
            }
        }
        assert!(failures > 20, "{extension}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn random_bytes_never_panic(
        magic in 0..6_usize,
        bytes in prop::collection::vec(any::<u8>(), 0..600),
    ) {
        let magics: [&[u8]; 6] = [
            b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR\0\0\0\x01\0\0\0\x01\x08\x02\0\0\0\x90\x77\x53\xde",
            b"\x76\x2f\x31\x01\x02\0\0\0",
            b"\xff\xd8\xff",
            b"II\x2a\0\x08\0\0\0",
            b"MM\0\x2a\0\0\0\x08",
            b"",
        ];
        let _ = read_still_from(Cursor::new([magics[magic], &bytes].concat()));
    }

    #[test]
    fn mutated_stills_never_panic(
        format in 0..EXTENSIONS.len(),
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..6),
    ) {
        static STILLS: std::sync::LazyLock<[Vec<u8>; 4]> = std::sync::LazyLock::new(|| {
            let setup = "x = 'a text long enough to be compressed'\n".repeat(40);
            EXTENSIONS.map(|e| still_bytes(e, &picture(3, 2), &setup, StillOptions::default()))
        });
        let mut bytes = STILLS[format].clone();
        for (index, byte) in changes {
            let index = index.index(bytes.len());
            bytes[index] = byte;
        }
        let _ = read_still_from(Cursor::new(bytes));
    }

    #[test]
    fn bands_make_the_same_file(
        format in 0..EXTENSIONS.len(),
        deep in any::<bool>(),
        cuts in prop::collection::btree_set(1..45_u32, 0..6),
    ) {
        let (width, height) = (13, 45);
        let whole = picture(width, height);
        let extension = EXTENSIONS[format];
        let options = if deep && extension != "jpg" { sixteen() } else { StillOptions::default() };
        let expected = still_bytes(extension, &whole, "a = 1", options);

        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(format!("banded.{extension}"));
        let about = metadata("a = 1");
        let mut sink = open_still(&path, &whole.shape(), &development(), &about, options).unwrap();
        let starts: Vec<u32> = std::iter::once(0).chain(cuts).chain([height]).collect();
        for rows in starts.windows(2) {
            let range = (rows[0] * width) as usize..(rows[1] * width) as usize;
            let cut = |values: &Option<Vec<[f32; 3]>>| values.as_ref().map(|v| v[range.clone()].to_vec());
            let band = Picture {
                width,
                height: rows[1] - rows[0],
                layers: whole.layers.iter().map(|layer| Layer {
                    name: layer.name.clone(),
                    rgb: layer.rgb[range.clone()].to_vec(),
                }).collect(),
                albedo: cut(&whole.albedo),
                normal: cut(&whole.normal),
                depth_m: whole.depth_m.as_ref().map(|v| v[range.clone()].to_vec()),
            };
            sink.band(rows[0], &band).unwrap();
        }
        sink.finish(&rendering()).unwrap();
        prop_assert!(fs::read(path).unwrap() == expected, "{}", extension);
    }
}
