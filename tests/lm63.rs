//! Far-field photometry in LM-63 files: sums against closed forms, every version, type and
//! symmetry, the written text, and files that are none.
//!
//! The standard, ANSI/IES LM-63-2019 with its forerunners, is from memory where no line says
//! otherwise.

#[path = "common/mutation.rs"]
mod mutation;

use mutation::{any_change, mutate};
use std::f64::consts::{FRAC_PI_2, PI, TAU};
use std::time::{Duration, Instant};

use proptest::prelude::*;
use swatchlight::photometry::lm63::{
    AngleList, GENERATION_SIMULATED, Goniometry, Keyword, LampGeometry, Opening, Photometry,
    Problems, Reading, Rule, Shape, Table, TableError, Tilt, Version, read, write,
};

/// A Lambertian luminaire, `1000 cos θ` every 10°, invented.
const LAMBERT: &str = "IES:LM-63-2019
[TEST] SYNTH-0001
[TESTLAB] synthetic
[ISSUEDATE] 01-JAN-2026
[MANUFAC] none
[LUMINAIRE] Lambertian synthetic check
TILT=NONE
1 -1 1.0 10 1 1 2 0.6 0.6 0
1.0 1.0 0
0 10 20 30 40 50 60 70 80 90
0
1000 984.808 939.693 866.025 766.044 642.788 500 342.020 173.648 0
";

#[track_caller]
fn good(text: &str) -> Photometry {
    reading(text).photometry
}

#[track_caller]
fn reading(text: &str) -> Reading {
    read(text.as_bytes()).unwrap_or_else(|e| panic!("{e}\n{text}"))
}

#[track_caller]
fn bad(text: &str) -> Problems {
    match read(text.as_bytes()) {
        Ok(_) => panic!("should not be read:\n{text}"),
        Err(problems) => problems,
    }
}

/// Asserts one problem: where, and words of message and hint.
#[track_caller]
fn refused(text: &str, place: (usize, usize), words: &str, hint: &str) {
    let problems = bad(text).0;
    let first = &problems[0];
    assert_eq!(problems.len(), 1, "{problems:?}");
    assert_eq!((first.line, first.column), place, "{first}");
    assert!(first.message.contains(words), "{first}");
    assert!(first.hint.contains(hint), "{first}");
}

#[track_caller]
fn close(value: f64, expected: f64, relative: f64) {
    assert!(
        (value - expected).abs() <= relative * expected.abs(),
        "{value} should be {expected} within {relative:e}"
    );
}

fn degrees(list: &[f64]) -> String {
    list.iter().map(|d| format!("{d} ")).collect()
}

/// A file of 1995 with intensities from a function of the vertical and horizontal angle, degrees.
fn file_of(
    kind: Goniometry,
    vertical: &[f64],
    horizontal: &[f64],
    intensity: impl Fn(f64, f64) -> f64,
) -> String {
    let mut text = format!(
        "IESNA:LM-63-1995\nTILT=NONE\n1 -1 1 {} {} {} 2 0 0 0\n1 1 0\n{}\n{}\n",
        vertical.len(),
        horizontal.len(),
        kind.code(),
        degrees(vertical),
        degrees(horizontal)
    );
    for h in horizontal {
        let plane: Vec<f64> = vertical.iter().map(|v| intensity(*v, *h)).collect();
        text.push_str(&degrees(&plane));
        text.push('\n');
    }
    text
}

fn steps(from: f64, to: f64, count: usize) -> Vec<f64> {
    (0..=count)
        .map(|i| from + (to - from) * i as f64 / count as f64)
        .collect()
}

/// The integral of a photometry's intensities by brute force: midpoints of `2 n²` cells.
fn quadrature_lm(photometry: &Photometry, n: u32) -> f64 {
    let step = PI / f64::from(n);
    let mut sum = 0.0;
    for i in 0..n {
        let theta = (f64::from(i) + 0.5) * step;
        let around: f64 = (0..2 * n)
            .map(|j| photometry.intensity_cd(theta, (f64::from(j) + 0.5) * step))
            .sum();
        // The cell's exact solid angle.
        sum += around * step * 2.0 * (0.5 * step).sin() * theta.sin();
    }
    sum
}

/// Closed forms and a worked example of five rules for this file: IES LM-63 type C with
/// `Φ = 2π ∫ I sin θ dθ`. The linear value is by parts, the trapezium's was confirmed by an
/// independent library.
#[test]
fn five_integration_rules() {
    let lambert = good(LAMBERT);
    close(lambert.lumens(Rule::Linear), 3133.5931, 1e-6);
    close(lambert.lumens(Rule::default()), 3133.5931, 1e-6);
    close(lambert.lumens(Rule::ZonalMean), 3141.5923, 1e-6);
    close(lambert.lumens(Rule::Trapezium), 3109.6279, 1e-6);
    close(lambert.lumens(Rule::Lambertian), 3141.5927, 1e-6);

    // With the intensities at mid-zone, as files for the zonal method have them.
    let zones = [0., 5., 15., 25., 35., 45., 55., 65., 75., 85., 90.];
    let cosine = |v: f64, _: f64| 1000.0 * v.to_radians().cos();
    let middles = good(&file_of(Goniometry::C, &zones, &[0.0], cosine));
    close(middles.lumens(Rule::ZonalMiddle), 3153.593, 1e-6);
    // Between entries that are no middles, both zonal rules are one.
    close(lambert.lumens(Rule::ZonalMiddle), 3141.5923, 1e-6);
}

/// The zonal constants of 10° zones that lighting handbooks print, from memory.
#[test]
fn zonal_constants() {
    const PRINTED: [f64; 9] = [
        0.095, 0.283, 0.463, 0.628, 0.774, 0.897, 0.993, 1.058, 1.091,
    ];
    let angles = [0., 5., 15., 25., 35., 45., 55., 65., 75., 85., 90.];
    for (zone, printed) in PRINTED.into_iter().enumerate() {
        let only = |v: f64, _: f64| f64::from(u8::from(v == 10.0 * zone as f64 + 5.0));
        let constant = good(&file_of(Goniometry::C, &angles, &[0.0], only));
        let constant = constant.lumens(Rule::ZonalMiddle);
        assert!((constant - printed).abs() < 6e-4, "{zone}: {constant}");
    }
}

/// LM-63: candelas times multiplier times ballast factors. The multiplier's value is a worked one.
#[test]
fn factors_apply() {
    let line = "1 -1 1.0 10";
    let multiplied = good(&LAMBERT.replace(line, "1 -1 2.5 10"));
    close(multiplied.lumens(Rule::Linear), 7833.9827, 1e-6);
    assert_eq!(multiplied.peak_cd(), 2500.0);
    assert_eq!(multiplied.intensity_cd(0.0, 0.0), 2500.0);

    // The second factor is one until 1995, and none from 2002 on.
    let factors = LAMBERT.replace("\n1.0 1.0 0\n", "\n0.8 0.5 75\n");
    for (version, factor) in [
        ("IESNA91", 0.4),
        ("IESNA:LM-63-1995", 0.4),
        ("IESNA:LM-63-2002", 0.8),
        ("IES:LM-63-2019", 0.8),
    ] {
        let file = good(&factors.replace("IES:LM-63-2019", version));
        close(file.factor(), factor, 1e-12);
        assert_eq!(file.input_w, 75.0);
        // Written as 2019, the light stays the same.
        close(good(&write(&file)).factor(), factor, 1e-12);
    }
    let notes = reading(&factors.replace("IES:LM-63-2019", "IESNA:LM-63-2002")).notes;
    assert!(notes.iter().any(|n| n.message.contains("future use")));
    assert_eq!(good(&factors).generation, 0.5);
}

/// Closed form: planes of 1000 cos and 500 cos, linear in φ between, have the mean 750 cos.
#[test]
fn quadrant_file() {
    let plane = |v: f64, h: f64| (1000.0 - 500.0 * h / 90.0) * v.to_radians().cos();
    // So fine that the chords of the cosine fall short by less than 1e-6: h²/12 at 0.1°.
    let fine = good(&file_of(
        Goniometry::C,
        &steps(0.0, 90.0, 900),
        &[0.0, 90.0],
        plane,
    ));
    close(fine.lumens(Rule::Linear), 2356.1945, 1e-6);
    let coarse = good(&file_of(
        Goniometry::C,
        &steps(0.0, 90.0, 9),
        &[0.0, 90.0],
        plane,
    ));
    close(coarse.lumens(Rule::Linear), 0.75 * 3133.5931, 1e-6);
    close(coarse.lumens(Rule::Lambertian), 2356.1945, 1e-6);
    close(coarse.intensity_cd(0.0, 45_f64.to_radians()), 750.0, 1e-12);
}

/// Closed form: `4π I`.
#[test]
fn isotropic() {
    let even = |_: f64, _: f64| 100.0;
    let all_round = good(&file_of(
        Goniometry::C,
        &steps(0.0, 180.0, 36),
        &[0.0],
        even,
    ));
    for rule in [Rule::Linear, Rule::ZonalMean, Rule::ZonalMiddle] {
        close(all_round.lumens(rule), 1256.6371, 1e-7);
    }
    assert_eq!(all_round.beam_rad(0.5), [Some(TAU), Some(TAU)]);
    // Types A and B cover half the sphere.
    for kind in [Goniometry::A, Goniometry::B] {
        let half = good(&file_of(
            kind,
            &steps(-90.0, 90.0, 7),
            &[-90.0, 0.0, 90.0],
            even,
        ));
        close(half.lumens(Rule::Linear), 0.5 * 1256.6371, 1e-7);
        let alike = good(&file_of(kind, &steps(-90.0, 90.0, 7), &[0.0, 90.0], even));
        close(alike.lumens(Rule::Linear), 0.5 * 1256.6371, 1e-7);
    }
}

/// Linear interpolation and `L = I / A`: closed forms.
#[test]
fn between_entries() {
    let lambert = good(LAMBERT);
    for phi in [0.0, 1.0, -3.0, 100.0] {
        close(
            lambert.intensity_cd(15_f64.to_radians(), phi),
            962.2505,
            1e-6,
        );
    }
    close(lambert.luminance_cd_m2().unwrap(), 2777.7778, 1e-8);
    assert_eq!(lambert.intensity_cd(FRAC_PI_2, 0.0), 0.0);
    assert_eq!(lambert.intensity_cd(2.0, 0.0), 0.0);
    for nowhere in [f64::NAN, f64::INFINITY, -0.1, 4.0] {
        assert_eq!(lambert.intensity_cd(nowhere, 0.0), 0.0);
    }
    assert_eq!(lambert.intensity_cd(0.0, f64::NAN), 0.0);
    assert_eq!(
        Photometry::new(lambert.table().clone()).luminance_cd_m2(),
        None
    );
}

/// IES beam and field angles: to 50 % and 10 % of the greatest intensity. The cosine is a half at
/// 60°; a tenth lies on the chord from cos 80° to 0.
#[test]
fn beam_and_field() {
    let lambert = good(LAMBERT);
    for side in lambert.beam_rad(0.5) {
        close(side.unwrap().to_degrees(), 120.0, 1e-9);
    }
    let field = 2.0 * (80.0 + 10.0 * (173.648 - 100.0) / 173.648);
    for side in lambert.beam_rad(0.1) {
        close(side.unwrap().to_degrees(), field, 1e-9);
    }
    assert_eq!(lambert.beam_rad(1.5), [None, None]);
    assert_eq!(lambert.beam_rad(f64::NAN), [None, None]);

    // Triangular beams: 20° to each side in the plane of zero, 40° and 10° across.
    let triangle = |v: f64, h: f64| {
        let width = [40.0, 80.0, 40.0, 20.0, 40.0][(h / 90.0) as usize];
        1000.0 * (1.0 - v / width).max(0.0)
    };
    let angles = steps(0.0, 90.0, 18);
    let planes = steps(0.0, 360.0, 4);
    let [along, across] = good(&file_of(Goniometry::C, &angles, &planes, triangle)).beam_rad(0.5);
    close(along.unwrap().to_degrees(), 40.0, 1e-9);
    close(across.unwrap().to_degrees(), 50.0, 1e-9);

    // The same by the other types: vertical angles turn in the plane of zero.
    let pyramid =
        |v: f64, h: f64| 1000.0 * (1.0 - v.abs() / 40.0).max(0.0) * (1.0 - h.abs() / 20.0).max(0.0);
    for kind in [Goniometry::A, Goniometry::B] {
        let angles = steps(-90.0, 90.0, 36);
        let [along, across] = good(&file_of(kind, &angles, &angles, pyramid)).beam_rad(0.5);
        close(along.unwrap().to_degrees(), 40.0, 1e-9);
        close(across.unwrap().to_degrees(), 20.0, 1e-9);
        // A table that stops while bright: the beam ends with it.
        let short = file_of(kind, &[-30.0, 0.0, 30.0], &[-5.0, 5.0], |_, _| 7.0);
        let [along, across] = good(&short).beam_rad(0.5);
        close(along.unwrap().to_degrees(), 60.0, 1e-9);
        close(across.unwrap().to_degrees(), 10.0, 1e-9);
    }
}

/// LM-63: horizontal angles 0, to 90, to 180, to 360, and (1995) 90 to 270.
#[test]
fn symmetries() {
    // Alike in both planes, about the plane of zero, and about that of 90.
    let both = |h: f64| 3.0 + (2.0 * h.to_radians()).cos();
    let zero = |h: f64| 3.0 + h.to_radians().cos() + 0.3 * (2.0 * h.to_radians()).cos();
    let ninety = |h: f64| 3.0 + h.to_radians().sin() + 0.3 * (2.0 * h.to_radians()).cos();
    let shape = |v: f64, around: f64| 100.0 * around * (0.5 * v).to_radians().cos();
    let vertical = steps(0.0, 180.0, 18);
    type Around = dyn Fn(f64) -> f64;
    let cases: [(&Around, f64, f64); 3] = [
        (&both, 0.0, 90.0),
        (&zero, 0.0, 180.0),
        (&ninety, 90.0, 270.0),
    ];
    for (around, from, to) in cases {
        let value = |v: f64, h: f64| shape(v, around(h));
        let few = ((to - from) / 15.0) as usize;
        let part = file_of(Goniometry::C, &vertical, &steps(from, to, few), value);
        let full = file_of(Goniometry::C, &vertical, &steps(0.0, 360.0, 24), value);
        let open = file_of(Goniometry::C, &vertical, &steps(0.0, 345.0, 23), value);
        let (part, full, open) = (good(&part), good(&full), good(&open));
        close(part.lumens(Rule::Linear), full.lumens(Rule::Linear), 1e-12);
        close(open.lumens(Rule::Linear), full.lumens(Rule::Linear), 1e-12);
        for i in -10..100 {
            let (theta, phi) = (f64::from(i + 10) * 0.028, f64::from(i) * 0.0913);
            let wanted = full.intensity_cd(theta, phi);
            close(part.intensity_cd(theta, phi), wanted, 1e-10);
            close(open.intensity_cd(theta, phi), wanted, 1e-10);
        }
        close(quadrature_lm(&part, 180), part.lumens(Rule::Linear), 2e-4);
    }
    // Upward light only.
    let up = good(&file_of(Goniometry::C, &[90.0, 180.0], &[0.0], |_, _| 10.0));
    close(up.lumens(Rule::Linear), 20.0 * PI, 1e-12);
    assert_eq!(up.lumens(Rule::Lambertian), 0.0);
    assert_eq!(
        (up.intensity_cd(1.5, 0.0), up.intensity_cd(3.0, 0.0)),
        (0.0, 10.0)
    );

    let notes = reading(&file_of(
        Goniometry::C,
        &[0.0, 60.0],
        &[0.0, 200.0, 300.0],
        |_, _| 1.0,
    ))
    .notes;
    assert_eq!(notes.len(), 2, "{notes:?}");
}

/// One luminaire by three types. LM-63-2002, definitions: planes of types A and C share the
/// vertical axis, those of B a level one; horizontal angles count counterclockwise for C, clockwise
/// for A and B; vertical 90 of B and C is the same level direction at horizontal 0.
#[test]
fn types_agree() {
    // Linear in the direction (level forward, level left, down), and nothing upward.
    let light = |forward: f64, left: f64, down: f64| {
        let value = 500.0 + 1000.0 * down + 300.0 * forward + 200.0 * left;
        if down >= -1e-9 { value } else { 0.0 }
    };
    let by_c = |v: f64, h: f64| {
        let (v, h) = (v.to_radians(), h.to_radians());
        light(v.sin() * h.cos(), v.sin() * h.sin(), v.cos())
    };
    let by_b = |v: f64, h: f64| {
        let (v, h) = (v.to_radians(), h.to_radians());
        light(h.cos() * v.sin(), -h.sin(), h.cos() * v.cos())
    };
    // Type A aims level: what is down for the others is ahead, and forward is up.
    let by_a = |v: f64, h: f64| {
        let (v, h) = (v.to_radians(), h.to_radians());
        light(v.sin(), -v.cos() * h.sin(), v.cos() * h.cos())
    };
    let square = steps(-90.0, 90.0, 90);
    let files = [
        file_of(
            Goniometry::C,
            &steps(0.0, 90.0, 45),
            &steps(0.0, 360.0, 180),
            by_c,
        ),
        file_of(Goniometry::B, &square, &square, by_b),
        file_of(Goniometry::A, &square, &square, by_a),
    ]
    .map(|text| good(&text));
    // Closed form over the half sphere: 2π 500 + π 1000; the level parts cancel.
    let total = 2000.0 * PI;
    for file in &files {
        for i in 0..200 {
            let (theta, phi) = (f64::from(i) * 0.0077, f64::from(i) * 0.37);
            let wanted = by_c(theta.to_degrees(), phi.to_degrees());
            let got = file.intensity_cd(theta, phi);
            // Chords of 2° fall short by h²/8 = 1.5e-4 in each of the two angles.
            assert!(
                (got - wanted).abs() < 0.6,
                "{theta} {phi}: {got} for {wanted}"
            );
        }
        close(file.lumens(Rule::Linear), total, 1e-3);
        close(file.lumens(Rule::Trapezium), total, 1e-3);
        close(file.lumens(Rule::Lambertian), 1500.0 * PI, 1e-12);
        assert_eq!(file.intensity_cd(2.0, 1.0), 0.0);
    }
    // Left and right alike.
    let alike = |v: f64, h: f64| by_b(v, h) + by_b(v, -h);
    let half = good(&file_of(
        Goniometry::B,
        &square,
        &steps(0.0, 90.0, 45),
        alike,
    ));
    let full = good(&file_of(Goniometry::B, &square, &square, alike));
    close(half.lumens(Rule::Linear), full.lumens(Rule::Linear), 1e-12);
    close(
        half.intensity_cd(0.8, 2.0),
        full.intensity_cd(0.8, 2.0),
        1e-12,
    );
    close(
        half.intensity_cd(0.8, -2.0),
        half.intensity_cd(0.8, 2.0),
        1e-12,
    );
}

#[test]
fn versions_and_keywords() {
    let first_lines = [
        ("IESNA91", Version::V1991),
        ("IESNA:LM-63-1995", Version::V1995),
        ("IESNA:LM-63-2002", Version::V2002),
        ("  ies:lm-63-2019  ", Version::V2019),
        ("\u{feff}IES:LM-63-2019", Version::V2019),
    ];
    for (line, version) in first_lines {
        let file = good(&LAMBERT.replace("IES:LM-63-2019", line));
        assert_eq!(file.version, version);
        assert_eq!(file.keywords.len(), 5);
        assert_eq!(
            file.keyword("luminaire"),
            Some("Lambertian synthetic check")
        );
    }
    // 1986: free lines, the first among them.
    let old = good(&LAMBERT.replace("IES:LM-63-2019", "An invented luminaire\n\nwhite"));
    assert_eq!(old.version, Version::V1986);
    assert_eq!(
        old.keywords[0],
        Keyword::new("OTHER", "An invented luminaire")
    );
    assert_eq!(old.keywords[1], Keyword::new("OTHER", "white"));
    assert_eq!(old.keywords[2], Keyword::new("TEST", "SYNTH-0001"));
    let bare = LAMBERT.split_once("TILT").unwrap().1;
    assert_eq!(good(&format!("TILT{bare}")).keywords, []);

    refused(
        &LAMBERT.replace("IES:LM-63-2019", "IES:LM-63-2031"),
        (1, 1),
        "`IES:LM-63-2031` is no known version",
        "IES:LM-63-2019",
    );
    // Continued lines, several of one name, and their order.
    let many = LAMBERT.replace(
        "TILT=NONE",
        "[_MINE] a\n[MORE] b c\n[more]\n[OTHER] one\n[OTHER] two\nno keyword\n tilt = none ",
    );
    let many = reading(&many);
    let tail: Vec<(&str, &str)> = many.photometry.keywords[5..]
        .iter()
        .map(|k| (k.name.as_str(), k.value.as_str()))
        .collect();
    assert_eq!(
        tail,
        [
            ("_MINE", "a\nb c\n"),
            ("OTHER", "one"),
            ("OTHER", "two"),
            ("OTHER", "no keyword")
        ]
    );
    assert_eq!(many.notes.len(), 1);
    assert_eq!((many.notes[0].line, many.notes[0].column), (12, 1));
    // What the standard asks for is missed, no more.
    let notes = reading(&LAMBERT.replace("[TESTLAB] synthetic\n", "")).notes;
    assert!(notes[0].message.contains("[TESTLAB]"));
    let notes = reading(&LAMBERT.replace("[TEST] SYNTH-0001", "[MORE] x")).notes;
    assert_eq!(notes.len(), 2, "{notes:?}");
}

/// Free line breaks, commas, tabs, exponents, any line end, a leading plus, the end sign of old
/// systems.
#[test]
fn free_numbers() {
    let plain = good(LAMBERT);
    let (head, data) = LAMBERT.split_once("1 -1 1.0").unwrap();
    let data = format!("1 -1 1.0{data}");
    let one_a_line = data.split_whitespace().collect::<Vec<_>>().join("\n");
    let commas = data.replace(' ', ", ");
    for data in [
        one_a_line,
        commas,
        data.replace(' ', "\t "),
        data.replace('\n', " "),
    ] {
        assert_eq!(good(&format!("{head}{data}")), plain);
    }
    let exponents = data
        .replace("1000 ", "+1.0E+03 ")
        .replace("984.808", "9848.08e-1");
    assert_eq!(good(&format!("{head}{exponents}")), plain);
    for ends in ["\r\n", "\r"] {
        assert_eq!(good(&LAMBERT.replace('\n', ends)), plain);
    }
    assert_eq!(good(&format!("{LAMBERT}\u{1a}")), plain);
    let after = reading(&format!("{LAMBERT}END of data 1 2 3"));
    assert_eq!(after.photometry, plain);
    assert!(after.notes[0].message.contains("`END`"));
    // A byte that is no UTF-8 in a keyword.
    let mut latin = LAMBERT.replace("synthetic\n", "@\n").into_bytes();
    let at = latin.iter().position(|b| *b == b'@').unwrap();
    latin[at] = 0xE9;
    let latin = read(&latin).unwrap().photometry;
    assert_eq!(latin.keyword("TESTLAB"), Some("\u{fffd}"));
}

#[test]
fn tilt() {
    let text = LAMBERT.replace("TILT=NONE", "TILT=INCLUDE\n3\n3\n0 45 90\n1.0 0.95 0.8");
    let file = good(&text);
    let tilt = file.tilt.as_ref().unwrap();
    assert_eq!(tilt.geometry, LampGeometry::TiltsFromLevel);
    assert_eq!(tilt.factors, [(0.0, 1.0), (45.0, 0.95), (90.0, 0.8)]);
    for (deg, factor) in [
        (0.0, 1.0),
        (-5.0, 1.0),
        (22.5, 0.975),
        (60.0, 0.9),
        (180.0, 0.8),
    ] {
        close(tilt.factor(f64::to_radians(deg)), factor, 1e-12);
    }
    // Kept, not applied.
    close(file.lumens(Rule::Linear), 3133.5931, 1e-6);
    assert_eq!(good(&write(&file)), file);

    refused(
        &LAMBERT.replace("TILT=NONE", "TILT=lamp7.tlt"),
        (7, 1),
        "`lamp7.tlt`",
        "TILT=INCLUDE",
    );
    refused(
        &LAMBERT.replace("=NONE", "="),
        (7, 1),
        "nothing stands",
        "TILT=NONE",
    );
    refused(
        &LAMBERT.replace("TILT=NONE", "TILT=INCLUDE\n1\n2\n90 0\n1 1"),
        (10, 4),
        "the tilt angle 0 does not rise from 90",
        "rising",
    );
    refused(
        &LAMBERT.replace("TILT=NONE", "TILT=INCLUDE\n1 900000000"),
        (8, 3),
        "more than the file has",
        "how many",
    );
    refused(
        &LAMBERT.replace("TILT=NONE", "TILT=INCLUDE 4 \n4\n1 0 1"),
        (7, 1),
        "`INCLUDE 4`",
        "TILT=INCLUDE",
    );
    let text = LAMBERT.replace("TILT=NONE", "TILT=INCLUDE\n4\n1 0 1");
    refused(&text, (8, 1), "geometry in the luminaire is 4", "1 upright");
}

/// The signs of the luminous opening, from memory of the texts of 1995 and 2002.
#[test]
fn openings() {
    let opening = |version: &str, size: &str| {
        let text = LAMBERT.replace("IES:LM-63-2019", version);
        let file = good(&text.replace("2 0.6 0.6 0", size));
        let o = file.opening;
        // Written by the new rules, the same shape comes back.
        assert_eq!(good(&write(&file)).opening, o);
        (o.shape, [o.width_m, o.length_m, o.height_m])
    };
    for version in ["IESNA:LM-63-2002", "IES:LM-63-2019"] {
        for (size, shape, lengths) in [
            ("2 0 0 0", Shape::Point, [0.0, 0.0, 0.0]),
            ("2 1 2 0", Shape::Rectangle, [1.0, 2.0, 0.0]),
            ("2 1 2 3", Shape::Rectangle, [1.0, 2.0, 3.0]),
            ("2 -1 -1 0", Shape::Disc, [1.0, 1.0, 0.0]),
            ("2 -1 -2 0", Shape::Disc, [1.0, 2.0, 0.0]),
            ("2 -1 -1 3", Shape::UprightCylinder, [1.0, 1.0, 3.0]),
            ("2 -1 -1 -1", Shape::Ball, [1.0, 1.0, 1.0]),
            ("2 -1 2 -1", Shape::CylinderAlongLength, [1.0, 2.0, 1.0]),
            ("2 2 -1 -1", Shape::CylinderAlongWidth, [2.0, 1.0, 1.0]),
            ("2 -1 0 -1", Shape::UprightDisc, [1.0, 0.0, 1.0]),
            // By the old rules only.
            ("2 -1 0 0", Shape::Disc, [1.0, 1.0, 0.0]),
            ("1 -1 0 2", Shape::UprightCylinder, [0.3048, 0.3048, 0.6096]),
        ] {
            assert_eq!(opening(version, size), (shape, lengths), "{version} {size}");
        }
    }
    for version in ["No version", "IESNA91", "IESNA:LM-63-1995"] {
        for (size, shape, lengths) in [
            ("2 -1 0 0", Shape::Disc, [1.0, 1.0, 0.0]),
            ("2 0 -1 0", Shape::Disc, [1.0, 1.0, 0.0]),
            ("2 -1 2 0", Shape::Disc, [1.0, 2.0, 0.0]),
            ("2 -1 0 -1", Shape::Ball, [1.0, 1.0, 1.0]),
            ("2 -1 2 -1", Shape::Ball, [1.0, 2.0, 1.0]),
            ("2 -1 0 3", Shape::UprightCylinder, [1.0, 1.0, 3.0]),
            ("2 0 2 -1", Shape::CylinderAlongLength, [1.0, 2.0, 1.0]),
            ("2 2 0 -1", Shape::CylinderAlongWidth, [2.0, 1.0, 1.0]),
            // By the new rules only.
            ("2 -1 -1 0", Shape::Disc, [1.0, 1.0, 0.0]),
        ] {
            assert_eq!(opening(version, size), (shape, lengths), "{version} {size}");
        }
    }
    refused(
        &LAMBERT.replace("0.6 0.6 0", "0 0 -1"),
        (8, 19),
        "make no shape",
        "0 0 0 for a point",
    );
    // A disc of 1 m: π/4 m² seen along the aim; seen from its edge, none.
    let disc = good(&LAMBERT.replace("0.6 0.6 0", "-1 -1 0"));
    close(disc.luminance_cd_m2().unwrap(), 1000.0 / (0.25 * PI), 1e-12);
    assert_eq!(
        good(&LAMBERT.replace("0.6 0.6 0", "-1 0 -1")).luminance_cd_m2(),
        None
    );
}

#[test]
fn problems_say_where_and_what_to_write() {
    let swap = |from: &str, to: &str| LAMBERT.replacen(from, to, 1);
    refused("", (1, 1), "no line begins with TILT=", "TILT=NONE");
    refused("\0\u{1}\n\nrubbish", (3, 8), "no LM-63 file", "TILT=NONE");
    #[rustfmt::skip]
    let cases = [
        ("984.808", "984.8.8", (12, 6), "`984.8.8` is no number; here stands an intensity", "candelas"),
        ("984.808", "NaN", (12, 6), "`NaN` is no number", "candelas"),
        ("984.808", "1e999", (12, 6), "`1e999` is no number", "candelas"),
        ("984.808", "-3", (12, 6), "an intensity is -3", "from 0"),
        ("984.808", "1e16", (12, 6), "an intensity is 1", "1e15"),
        ("342.020", "342,020", (12, 66), "`0` is one number too many", "point"),
        ("1 -1 1.0", "1 -2 1.0", (8, 3), "lumens per lamp are -2", "-1"),
        ("1 -1 1.0", "0 -1 1.0", (8, 1), "number of lamps is 0", "mostly 1"),
        ("1 -1 1.0", "1.5 -1 1.0", (8, 1), "is 1.5, and should be whole", "mostly 1"),
        ("1 -1 1.0", "1 -1 0", (8, 6), "multiplier is 0", "mostly 1"),
        ("10 1 1 2", "10 1 4 2", (8, 15), "photometric type is 4", "1 for C"),
        ("10 1 1 2", "10 1 1 3", (8, 17), "unit is 3", "1 for feet"),
        ("10 1 1 2", "10 2 1 2", (8, 10), "need 32 numbers for the angles and intensities, and 21 are", "counts"),
        ("10 1 1 2", "-10 1 1 2", (8, 10), "vertical angles is -10", "how many"),
        ("0.6 0.6 0", "0.6 1e9 0", (8, 23), "opening's length is 1000000000", "0 where"),
        ("1.0 1.0 0\n", "-1 1.0 0\n", (9, 1), "ballast factor is -1", "1 where"),
        ("1.0 1.0 0\n", "1.0 1.0 -4\n", (9, 9), "input power is -4", "watts"),
        ("10 20 30", "10 30 20", (10, 9), "20 does not rise from 30", "rising"),
        ("10 20 30", "10 10.0000000000001 30", (10, 6), "does not rise from 10", "rising"),
        ("0 10 20", "5 10 20", (10, 1), "begin at 5", "begin at 0"),
        ("0 10 20", "-9 10 20", (10, 1), "-9 is not within", "type A or B"),
        ("80 90", "80 190", (10, 27), "190 is not within 0 and 180", "type C"),
    ];
    for (from, to, place, words, hint) in cases {
        refused(&swap(from, to), place, words, hint);
    }
    let cut = LAMBERT.split_once("0.6 0.6").unwrap().0;
    refused(
        cut,
        (8, 19),
        "the file ends where the opening's width should stand",
        "0 where",
    );
    // Several at once, in order.
    let several = swap("1 -1 1.0", "1 x 0")
        .replace("20 30", "30 20")
        .replace("500", "-500");
    let several = bad(&several);
    let places: Vec<_> = several.0.iter().map(|p| (p.line, p.column)).collect();
    assert_eq!(places, [(8, 3), (8, 5), (10, 9), (12, 46)]);
    assert_eq!(several.to_string().lines().count(), 4);
    assert!(
        several
            .to_string()
            .starts_with("8:3: `x` is no number; here stands the lumens per lamp; write")
    );
    // Thousands of problems are not all told.
    let falling = format!("TILT=INCLUDE\n1 5000\n{}", "1 ".repeat(10_000));
    assert!(bad(&LAMBERT.replace("TILT=NONE", &falling)).0.len() <= 20);
    let flood = LAMBERT.split_once("1 -1").unwrap().0.to_owned() + &"x ".repeat(5000);
    assert!(bad(&flood).0.len() <= 20);

    let planes = |kind, horizontal: &[f64]| file_of(kind, &[0.0, 90.0], horizontal, |_, _| 1.0);
    for (horizontal, place) in [
        (&[0.0, 45.0][..], (6, 3)),
        (&[0.0, 180.0, 370.0], (6, 7)),
        (&[10.0, 90.0], (6, 1)),
        (&[90.0, 180.0], (6, 4)),
    ] {
        refused(
            &planes(Goniometry::C, horizontal),
            place,
            "horizontal angle",
            "0 to",
        );
    }
    // Types A and B.
    for kind in [Goniometry::A, Goniometry::B] {
        refused(
            &planes(kind, &[0.0, 90.0]),
            (5, 1),
            "vertical angles begin at 0",
            "-90",
        );
        let off = file_of(kind, &[-90.0, 90.0], &[10.0, 90.0], |_, _| 1.0);
        refused(
            &off,
            (6, 1),
            "horizontal angles begin at 10",
            "left and right",
        );
        let far = file_of(kind, &[-90.0, 90.0], &[-180.0, 180.0], |_, _| 1.0);
        refused(
            &far,
            (6, 1),
            "-180 is not within -90 and 90",
            "types A and B",
        );
        let one = file_of(kind, &[-90.0, 90.0], &[0.0], |_, _| 1.0);
        refused(&one, (6, 1), "too few", "at least two");
    }
}

#[test]
fn tables_are_checked() {
    let table = |v: &[f64], h: &[f64], i: &[f64]| {
        Table::new(Goniometry::C, v.to_vec(), h.to_vec(), i.to_vec())
    };
    let fault = |v: &[f64], h: &[f64]| match table(v, h, &[]) {
        Err(TableError::Angles(fault)) => (fault.list, fault.index),
        other => panic!("{other:?}"),
    };
    assert_eq!(fault(&[], &[0.0]), (AngleList::Vertical, 0));
    assert_eq!(fault(&[0.0, f64::NAN], &[0.0]), (AngleList::Vertical, 1));
    assert_eq!(fault(&[0.0, 1.0], &[]), (AngleList::Horizontal, 0));
    assert_eq!(
        table(&[0.0, 1.0], &[0.0], &[1.0]),
        Err(TableError::Count {
            found: 1,
            wanted: 2
        })
    );
    for value in [-1.0, f64::NAN, f64::INFINITY] {
        let error = table(&[0.0, 1.0], &[0.0], &[1.0, value]).unwrap_err();
        assert!(matches!(error, TableError::Candela { index: 1, .. }));
    }
    let rounded = table(&[0.0, 1.0], &[0.0], &[1234.5678, 0.0012345])
        .unwrap()
        .rounded(3);
    assert_eq!(rounded.planes().collect::<Vec<_>>(), [[1230.0, 0.00123]]);
}

/// LM-63-1991 wants lines under 132 characters; the standard is ASCII with CR LF.
#[test]
fn written_text() {
    let angles = steps(0.0, 90.0, 90);
    let table = Table::new(
        Goniometry::C,
        angles.clone(),
        vec![0.0],
        angles.iter().map(|v| v.to_radians().cos() / 3.0).collect(),
    );
    let mut file = Photometry::new(table.unwrap());
    let words = "word ".repeat(60);
    file.keywords = vec![
        Keyword::new("test", "Prüfung – 5 × 3 µm\u{7}\t\u{4e2d}"),
        Keyword::new("long", words.trim()),
        Keyword::new("LONGER", "x".repeat(300)),
        Keyword::new("né]w\n name that is far too long", "a\nb"),
        Keyword::new("MORE", ""),
    ];
    let text = write(&file);
    assert!(text.is_ascii() && text.ends_with("\r\n"));
    assert!(
        text.split("\r\n")
            .all(|line| line.len() < 132 && !line.contains(['\r', '\n']))
    );
    assert!(text.starts_with("IES:LM-63-2019\r\n[TESTLAB] not given\r\n[ISSUEDATE] not given\r\n"));
    let back = reading(&text);
    assert_eq!(back.notes, []);
    let back = back.photometry;
    assert_eq!(back.table(), file.table());
    assert_eq!(back.generation, GENERATION_SIMULATED);
    assert_eq!(back.keyword("TEST"), Some("Prufung - 5 x 3 um  ?"));
    assert_eq!(
        back.keyword("LONG").unwrap().replace('\n', " "),
        words.trim()
    );
    assert_eq!(
        back.keyword("LONGER").unwrap().replace('\n', ""),
        "x".repeat(300)
    );
    assert_eq!(back.keyword("N__W__NAME_THAT_"), Some("a\nb"));
    assert_eq!(back.keyword("OTHER"), Some(""));
}

/// Every cut of a valid file: refused until its last digit is there, and never a panic.
#[test]
fn cut_short_at_every_byte() {
    let full = LAMBERT
        .replace("TILT=NONE", "TILT=INCLUDE\r\n1\r\n2\r\n0 90\r\n1.0 0.9")
        .replace("synthetic", "synthetic é");
    let end = full.trim_end().len();
    for n in 0..=full.len() {
        assert_eq!(read(&full.as_bytes()[..n]).is_ok(), n >= end, "{n}");
    }
}

/// Huge counts and megabytes of nothing are told apart in no time, without the memory asked for.
#[test]
fn hostile_sizes() {
    const FOUR_MB: usize = 4 << 20;
    let counts =
        |rows: &str, planes: &str| LAMBERT.replace("10 1 1 2", &format!("{rows} {planes} 1 2"));
    let header = LAMBERT.split_once("1 -1").unwrap().0;
    let started = Instant::now();
    for text in [
        counts("1000000000", "1000000000"),
        counts("999999999999999999999", "1"),
        counts("1e9", "1"),
        counts("1", "1"),
        counts("0", "0"),
        "\n".repeat(FOUR_MB),
        " ".repeat(FOUR_MB),
        "x".repeat(FOUR_MB),
        "a\n".repeat(FOUR_MB / 2),
        "[MORE]\n".repeat(FOUR_MB / 7),
        "\0".repeat(FOUR_MB),
        "TILT=".repeat(FOUR_MB / 5),
        format!("{header}{}", "1 ".repeat(FOUR_MB / 2)),
        format!(
            "{header}1 -1 1 2 1000000 1 2 0 0 0 1 1 0 {}",
            "0 ".repeat(FOUR_MB / 2)
        ),
        format!("{header}{}", "9".repeat(FOUR_MB)),
    ] {
        assert!(!bad(&text).0.is_empty());
    }
    for byte in [0xFF, 0x80, b'[', b','] {
        assert!(read(&vec![byte; FOUR_MB]).is_err());
    }
    // A mebibyte of blanks before the end of a valid file does no harm.
    assert_eq!(
        good(&format!("{LAMBERT}{}", " \n".repeat(1 << 19))),
        good(LAMBERT)
    );
    assert!(
        started.elapsed() < Duration::from_secs(10),
        "{:?}",
        started.elapsed()
    );
}

/// Whatever could be read gives numbers that make sense.
fn makes_sense(photometry: &Photometry) -> bool {
    let rules = [
        Rule::Linear,
        Rule::ZonalMean,
        Rule::ZonalMiddle,
        Rule::Trapezium,
        Rule::Lambertian,
    ];
    let sums = rules.map(|rule| photometry.lumens(rule));
    let within = |i: f64| i >= 0.0 && i <= photometry.peak_cd() * (1.0 + 1e-12);
    sums.iter()
        .all(|lm| lm.is_finite() && *lm >= -1e-9 * photometry.peak_cd())
        && (0..40).all(|i| within(photometry.intensity_cd(f64::from(i) * 0.08, f64::from(i) * 0.7)))
        && photometry
            .beam_rad(0.5)
            .iter()
            .flatten()
            .all(|b| (0.0..=TAU + 1e-9).contains(b))
        && write(photometry).lines().all(|line| line.len() < 132)
}

/// Rising angles between two ends, both in the list.
fn rising(from: f64, to: f64, parts: u32) -> impl Strategy<Value = Vec<f64>> {
    proptest::collection::btree_set(1..parts, 0..7).prop_map(move |inner| {
        let mut list = vec![from];
        list.extend(
            inner
                .iter()
                .map(|i| from + (to - from) * f64::from(*i) / f64::from(parts)),
        );
        list.push(to);
        list
    })
}

fn tables(parts: u32) -> impl Strategy<Value = Table> {
    let c_vertical = prop_oneof![
        rising(0.0, 90.0, parts),
        rising(0.0, 180.0, parts),
        rising(90.0, 180.0, parts)
    ];
    let c_horizontal = prop_oneof![
        Just(vec![0.0]),
        rising(0.0, 90.0, parts),
        rising(0.0, 180.0, parts),
        rising(0.0, 360.0, parts),
        rising(0.0, 300.0, parts),
        rising(90.0, 270.0, parts)
    ];
    let horizontal = prop_oneof![
        rising(0.0, 90.0, parts),
        rising(-90.0, 90.0, parts),
        rising(-20.0, 30.0, parts)
    ];
    let vertical = prop_oneof![rising(-90.0, 90.0, parts), rising(-33.3, 44.4, parts)];
    let kinds = prop_oneof![
        (Just(Goniometry::C), c_vertical, c_horizontal),
        (
            prop_oneof![Just(Goniometry::A), Just(Goniometry::B)],
            vertical,
            horizontal
        )
    ];
    kinds.prop_flat_map(|(kind, v, h)| {
        let value = prop_oneof![0.0..1e4_f64, Just(0.0), 1e-12..1e-3_f64, 1e8..1e15_f64];
        proptest::collection::vec(value, v.len() * h.len())
            .prop_map(move |i| Table::new(kind, v.clone(), h.clone(), i).expect("a table"))
    })
}

prop_compose! {
    fn photometries()(
        table in tables(1000),
        words in proptest::collection::vec(("[A-Z_][A-Z0-9_]{0,11}", "[!-Z^-~]([ -~]{0,80}[!-~])?"), 0..5),
        factors in (1e-3..1e3_f64, 0.1..2.0_f64, 1.0..1.2_f64, 0.0..3000.0_f64),
        lamps in 1_u32..20,
        lumens in proptest::option::of(0.0..1e6_f64),
        tilt in proptest::option::of(rising(0.0, 180.0, 1000)),
        shape in 0..8_usize,
        sizes in prop::array::uniform3(0.01..10.0_f64),
    ) -> Photometry {
        let mut file = Photometry::new(table);
        let required = ["TEST", "TESTLAB", "ISSUEDATE", "MANUFAC"];
        file.keywords = required.iter().map(|name| Keyword::new(name, "invented")).collect();
        file.keywords.extend(words.iter().filter(|(n, _)| n != "MORE").map(|(n, v)| Keyword::new(n, v.as_str())));
        (file.multiplier, file.ballast_factor, file.generation, file.input_w) = factors;
        (file.lamps, file.lumens_per_lamp) = (lamps, lumens);
        file.tilt = tilt.map(|angles| Tilt {
            geometry: LampGeometry::StaysLevel,
            factors: angles.iter().map(|a| (*a, 1.0 - a / 700.0)).collect(),
        });
        let [w, l, h] = sizes;
        let (shape, [width_m, length_m, height_m]) = [
            (Shape::Point, [0.0; 3]),
            (Shape::Rectangle, [w, l, h]),
            (Shape::Disc, [w, l, 0.0]),
            (Shape::UprightCylinder, [w, l, h]),
            (Shape::Ball, [w, l, h]),
            (Shape::CylinderAlongLength, [w, l, h]),
            (Shape::CylinderAlongWidth, [w, l, h]),
            (Shape::UprightDisc, [w, 0.0, h]),
        ][shape];
        file.opening = Opening { shape, width_m, length_m, height_m };
        file
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn what_is_written_reads_back(file in photometries()) {
        let text = write(&file);
        let back = read(text.as_bytes()).map_err(|e| TestCaseError::fail(format!("{e}\n{text}")))?;
        prop_assert_eq!(&back.photometry, &file);
        prop_assert_eq!(write(&back.photometry), text);
        prop_assert!(makes_sense(&file));
    }

    #[test]
    fn rubbish_never_panics(bytes in proptest::collection::vec(any::<u8>(), 0..300), lead in 0..3_usize) {
        let lead = ["", "IESNA91\nTILT=INCLUDE\n", "TILT=NONE\n1 -1 1 2 2 1 2 0 0 0 1 1 0 "][lead];
        let text = [lead.as_bytes(), &bytes].concat();
        if let Ok(reading) = read(&text) {
            prop_assert!(makes_sense(&reading.photometry));
        }
    }

    #[test]
    fn numbers_in_any_order_never_panic(
        words in proptest::collection::vec(prop_oneof![
            Just("0"), Just("1"), Just("2"), Just("90"), Just("-90"), Just("180"), Just("-1"), Just("1e300"), Just("1e-300"), Just("nan")
        ], 0..60),
        include in any::<bool>(),
    ) {
        let tilt = if include { "INCLUDE" } else { "NONE" };
        if let Ok(reading) = read(format!("TILT={tilt}\n{}", words.join(" ")).as_bytes()) {
            prop_assert!(makes_sense(&reading.photometry));
        }
    }

    #[test]
    fn mutated_files_never_panic(
        file in photometries(),
        changes in proptest::collection::vec(any_change(), 1..8),
    ) {
        let mut bytes = write(&file).into_bytes();
        mutate(&mut bytes, changes, b"0123456789.-e ,\n");
        match read(&bytes) {
            Ok(reading) => prop_assert!(makes_sense(&reading.photometry)),
            Err(problems) => prop_assert!(!problems.0.is_empty()),
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, failure_persistence: None, ..ProptestConfig::default() })]

    /// The linear rule is the integral of the interpolated intensities, by brute force.
    #[test]
    fn lumens_are_the_integral(table in tables(10)) {
        let file = Photometry::new(table);
        let sum = quadrature_lm(&file, 120);
        // Cells of 1.5° that a table's end cuts through are off by their own size.
        prop_assert!((sum - file.lumens(Rule::Linear)).abs() <= 0.002 * TAU * file.peak_cd());
    }
}
