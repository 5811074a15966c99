//! Weave drafts: standard weaves against textbook grids, drawdowns, text grids, and WIF files,
//! good and bad.
//!
//! WIF semantics are those of the Weaving Information File specification 1.1 (1997-04-20).

#[path = "common/mutation.rs"]
mod mutation;

use mutation::{any_change, mutate};
use std::time::{Duration, Instant};

use proptest::prelude::*;
use swatchlight::fabric::draft::*;

/// An invented 2/2 twill with all its parts, eight ends by eight picks.
const TWILL: &str = "[WIF]
Version=1.1
Date=April 20, 1997
Developers=wif@mhsoft.com
Source Program=synthetic

[CONTENTS]
WEAVING=true
WARP=true
WEFT=true
THREADING=true
TIEUP=true
TREADLING=true

[WEAVING]
Shafts=4
Treadles=4
Rising Shed=true

[WARP]
Threads=8
Units=Centimeters
Spacing=0.04

[WEFT]
Threads=8
Units=Centimeters
Spacing=0.05

[THREADING]
1=1
2=2
3=3
4=4
5=1
6=2
7=3
8=4

[TIEUP]
1=1,2
2=2,3
3=3,4
4=4,1

[TREADLING]
1=1
2=2
3=3
4=4
5=1
6=2
7=3
8=4
";

#[track_caller]
fn reading(text: &str) -> Reading {
    read_wif(text.as_bytes()).unwrap_or_else(|e| panic!("{e}\n{text}"))
}

#[track_caller]
fn cloth(text: &str) -> Drawdown {
    reading(text).draft.drawdown().expect("small")
}

/// A drawdown from rows of picks, the first pick first, 1 where the warp is up.
fn rows(rows: &[&str]) -> Drawdown {
    Drawdown::from_fn(rows[0].len(), rows.len(), |end, pick| {
        rows[pick].as_bytes()[end] == b'1'
    })
    .expect("small")
}

#[track_caller]
fn named(name: &str) -> Drawdown {
    let weave = StandardWeave::by_name(name).expect("a named weave");
    weave.drawdown().expect("a weave")
}

/// Asserts one problem: where, and words of message and hint.
#[track_caller]
fn refused(text: &str, place: (usize, usize), words: &str, hint: &str) {
    let problems = read_wif(text.as_bytes()).expect_err(words).0;
    let first = &problems[0];
    assert_eq!(problems.len(), 1, "{problems:?}");
    assert_eq!((first.line, first.column), place, "{first}");
    assert!(first.message.contains(words), "{first}");
    assert!(first.hint.contains(hint), "{first}");
}

/// S9.wif.drawdown: computed from threading, tie-up and treadling by the specification's words.
#[test]
fn a_wif_draws_down() {
    let expected = rows(&[
        "11001100", "01100110", "00110011", "10011001", "11001100", "01100110", "00110011",
        "10011001",
    ]);
    let reading = reading(TWILL);
    assert_eq!(reading.notes, []);
    let draft = reading.draft;
    assert_eq!(draft.drawdown().unwrap(), expected);
    assert_eq!((draft.ends(), draft.picks(), draft.shafts), (8, 8, 4));
    // 0.04 and 0.05 cm from thread to thread.
    assert!((draft.warp.per_cm().unwrap() - 25.0).abs() < 1e-9);
    assert!((draft.weft.per_cm().unwrap() - 20.0).abs() < 1e-9);
    assert_eq!(expected.smallest_repeat(), named("twill-2-2-right"));
}

/// Grids of the named weaves as textbooks draw them, typed by hand with the first pick lowest
/// (Watson, "Textile Design and Colour", and ISO 3572, from memory). S6.draft.twill_3_1_warp,
/// S6.draft.satin8_m3_weft and S6.draft.basket_2_2 are among them.
const GRIDS: [(&str, &str); 24] = [
    ("plain", ".x x."),
    ("basket-2", "..xx ..xx xx.. xx.."),
    ("basket-3", "...xxx ...xxx ...xxx xxx... xxx... xxx..."),
    ("cord-across", ".x .x x. x."),
    ("cord-along", "..xx xx.."),
    ("twill-2-1-right", "x.x .xx xx."),
    ("twill-2-1-left", ".xx x.x xx."),
    ("twill-1-2-right", "..x .x. x.."),
    ("twill-1-2-left", ".x. ..x x.."),
    ("twill-3-1-right", "xx.x x.xx .xxx xxx."),
    ("twill-3-1-left", ".xxx x.xx xx.x xxx."),
    ("twill-1-3-right", "...x ..x. .x.. x..."),
    ("twill-1-3-left", ".x.. ..x. ...x x..."),
    ("twill-2-2-right", "x..x ..xx .xx. xx.."),
    ("twill-2-2-left", ".xx. ..xx x..x xx.."),
    (
        "herringbone",
        "x..xx..xx..x.xx..xx..xx. ..xx..xx..xx..xx..xx..xx .xx..xx..xx.x..xx..xx..x xx..xx..xx..xx..xx..xx..",
    ),
    ("satin-5", "xxx.x x.xxx xxxx. xx.xx .xxxx"),
    ("satin-5-counter-3", "xx.xx xxxx. x.xxx xxx.x .xxxx"),
    (
        "satin-8",
        "xxxxx.xx xx.xxxxx xxxxxxx. xxxx.xxx x.xxxxxx xxxxxx.x xxx.xxxx .xxxxxxx",
    ),
    (
        "satin-8-counter-5",
        "xxx.xxxx xxxxxx.x x.xxxxxx xxxx.xxx xxxxxxx. xx.xxxxx xxxxx.xx .xxxxxxx",
    ),
    ("sateen-5", "...x. .x... ....x ..x.. x...."),
    ("sateen-5-counter-3", "..x.. ....x .x... ...x. x...."),
    (
        "sateen-8",
        ".....x.. ..x..... .......x ....x... .x...... ......x. ...x.... x.......",
    ),
    (
        "sateen-8-counter-5",
        "...x.... ......x. .x...... ....x... .......x ..x..... .....x.. x.......",
    ),
];

/// The draft is which yarn lies on top at every crossing, by every way that a weave can go.
#[test]
fn every_named_weave_is_its_grid() {
    assert_eq!(GRIDS.len(), StandardWeave::NAMED.len());
    for (name, grid) in GRIDS {
        let drawdown = named(name);
        let lines: Vec<&str> = grid.split(' ').collect();
        let (ends, picks) = (lines[0].len(), lines.len());
        assert_eq!((drawdown.ends(), drawdown.picks()), (ends, picks), "{name}");
        let draft = Draft::from_drawdown(&drawdown).expect("few shafts");
        let woven = draft.drawdown().unwrap();
        let written = cloth(&write_wif(&draft));
        let typed = Drawdown::from_grid(&lines.join("\n")).unwrap();
        let mask = drawdown.mask().expect("small");
        // Beyond one repeat on every side.
        for pick in -9..17_i64 {
            for end in -25..49_i64 {
                let (k, j) = (
                    end.rem_euclid(ends as i64) as usize,
                    pick.rem_euclid(picks as i64) as usize,
                );
                let up = lines[picks - 1 - j].as_bytes()[k] == b'x';
                let on_top = if up { Yarn::Warp } else { Yarn::Weft };
                let place = format!("{name}, end {end}, pick {pick}");
                assert_eq!(drawdown.on_top(end, pick), on_top, "{place}");
                assert_eq!(woven.on_top(end, pick), on_top, "woven: {place}");
                assert_eq!(written.on_top(end, pick), on_top, "written: {place}");
                assert_eq!(typed.on_top(end, pick), on_top, "typed: {place}");
                assert_eq!(mask[j] >> k & 1 == 1, up, "mask: {place}");
                assert_eq!(
                    drawdown.words()[j * drawdown.words_per_pick() + k / 32] >> (k % 32) & 1 == 1,
                    up
                );
            }
        }
        assert_eq!(drawdown.smallest_repeat(), drawdown, "{name} is one repeat");
        assert!(drawdown.hangs_together(), "{name}");
        assert_eq!(
            drawdown.to_string().trim_end(),
            lines.join("\n").to_uppercase(),
            "{name}"
        );
    }
    assert_eq!(
        StandardWeave::by_name(" Twill-2-1-LEFT "),
        StandardWeave::by_name("twill-2-1-left")
    );
    assert_eq!(StandardWeave::by_name("gauze"), None);
}

/// S6.draft.*: share of warp up and interlacings of an end, by definition; the average float
/// F = E/I of cloth geometry is 1, 2, 2.5 and 4 for plain, four-end twills, and satins of 5 and 8.
#[test]
fn interlacings_and_floats() {
    for (name, share, per_end, float, longest) in [
        ("plain", 0.5, 2, 1.0, (1, 1)),
        ("twill-3-1-right", 0.75, 2, 2.0, (3, 1)),
        ("twill-2-2-left", 0.5, 2, 2.0, (2, 2)),
        ("basket-2", 0.5, 2, 2.0, (2, 2)),
        ("satin-5", 0.8, 2, 2.5, (4, 1)),
        ("sateen-8", 0.125, 2, 4.0, (1, 7)),
        ("twill-2-1-left", 2.0 / 3.0, 2, 1.5, (2, 1)),
    ] {
        let drawdown = named(name);
        assert_eq!(drawdown.warp_share(), share, "{name}");
        for end in 0..drawdown.ends() {
            assert_eq!(drawdown.warp_interlacings(end), per_end, "{name}");
        }
        let threads = drawdown.ends() + drawdown.picks();
        assert_eq!(drawdown.interlacings(), 2 * threads, "{name}");
        let warp = drawdown.floats(Yarn::Warp);
        assert_eq!(warp.mean, float, "{name}");
        assert_eq!(
            (warp.longest_on_face, warp.longest_on_back),
            longest,
            "{name}"
        );
        let weft = drawdown.floats(Yarn::Weft);
        assert_eq!(
            (weft.longest_on_back, weft.longest_on_face),
            longest,
            "{name}"
        );
    }
    // Ribs differ by system: across, the ends bind at every second pick and the picks at each end.
    let rib = named("cord-across");
    assert_eq!(
        (rib.floats(Yarn::Warp).mean, rib.floats(Yarn::Weft).mean),
        (2.0, 1.0)
    );
    let loose = rows(&["10", "10"]);
    assert_eq!(loose.floats(Yarn::Warp).mean, f64::INFINITY);
    assert_eq!(loose.floats(Yarn::Warp).longest_on_face, 2);
    assert!(!loose.hangs_together());
    assert_eq!(loose.warp_interlacings(7), 0);
}

/// A satin needs a counter that shares no factor with the ends and is neither 1 nor one less than
/// they (definition). Known: 5 has 2 and 3, 8 has 3 and 5, 6 has none.
#[test]
fn counters_of_satins() {
    let counters = |ends| -> Vec<u8> {
        (0..=ends)
            .filter(|counter| {
                StandardWeave::Satin {
                    ends,
                    counter: *counter,
                }
                .drawdown()
                .is_ok()
            })
            .collect()
    };
    assert_eq!(counters(5), [2, 3]);
    assert_eq!(counters(6), [0; 0]);
    assert_eq!(counters(7), [2, 3, 4, 5]);
    assert_eq!(counters(8), [3, 5]);
    assert_eq!(counters(4), [0; 0]);
    let error = StandardWeave::Sateen {
        ends: 8,
        counter: 2,
    }
    .drawdown()
    .unwrap_err();
    assert!(
        error
            .to_string()
            .contains("such as 2 for 5 ends or 3 for 8"),
        "{error}"
    );
    for empty in [
        StandardWeave::Basket(0),
        StandardWeave::CordAcross(0),
        StandardWeave::CordAlong(0),
        StandardWeave::Twill {
            over: 0,
            under: 2,
            hand: Hand::Left,
        },
        StandardWeave::Twill {
            over: 2,
            under: 0,
            hand: Hand::Left,
        },
        StandardWeave::Herringbone { float: 0, width: 4 },
        StandardWeave::Herringbone { float: 2, width: 0 },
        StandardWeave::Satin {
            ends: 0,
            counter: 0,
        },
        StandardWeave::Satin {
            ends: 255,
            counter: 0,
        },
    ] {
        assert!(empty.drawdown().is_err(), "{empty:?}");
    }
    let largest = StandardWeave::Twill {
        over: 255,
        under: 255,
        hand: Hand::Right,
    };
    assert_eq!(largest.drawdown().unwrap().mask(), None);
}

/// Herringbone's cuts are clean: ends on either side of a turn are each other's opposite (common
/// practice), at the repeat's edge too.
#[test]
fn herringbone_cuts_clean() {
    for (float, width) in [(1, 4), (2, 12), (2, 7), (3, 10)] {
        let drawdown = StandardWeave::Herringbone { float, width }
            .drawdown()
            .unwrap();
        for edge in [i64::from(width), 0] {
            for pick in 0..2 * i64::from(float) {
                assert_ne!(
                    drawdown.warp_on_top(edge - 1, pick),
                    drawdown.warp_on_top(edge, pick)
                );
            }
        }
        assert_eq!(drawdown.warp_share(), 0.5);
    }
}

/// Clapham 1980 (from memory): two plain cloths woven as one do not hang together; stitched, they
/// do.
#[test]
fn layers_fall_apart() {
    let double = Drawdown::from_grid("x.xx\n..x.\nxxx.\nx...").unwrap();
    assert!(!double.hangs_together());
    // The first pick of the face goes under an end of the back.
    let stitched = Drawdown::from_grid("x.xx\n..x.\nxxx.\nxx..").unwrap();
    assert!(stitched.hangs_together());
}

#[test]
fn smallest_repeats() {
    let twill = named("twill-2-2-right");
    let of = |ends, picks| {
        Drawdown::from_fn(ends, picks, |k, j| twill.warp_on_top(k as i64, j as i64)).unwrap()
    };
    assert_eq!(of(8, 12).smallest_repeat(), twill);
    // A cut repeat after two whole ones goes on; after one it may be meant.
    assert_eq!(of(10, 9).smallest_repeat(), twill);
    assert_eq!(of(6, 4).smallest_repeat(), of(6, 4));
    let wide = Drawdown::from_fn(70, 66, |k, j| k % 35 == j % 33).unwrap();
    let repeat = wide.smallest_repeat();
    assert_eq!((repeat.ends(), repeat.picks()), (35, 33));
    assert_eq!(
        (repeat.words_per_pick(), repeat.words().len(), repeat.mask()),
        (2, 66, None)
    );
    for (k, j) in [(0, 0), (34, 32), (69, 65), (-1, -1), (31, 5), (32, 5)] {
        assert_eq!(repeat.warp_on_top(k, j), wide.warp_on_top(k, j));
    }
    let nothing = Drawdown::from_fn(0, 0, |_, _| true).unwrap();
    assert_eq!(nothing.smallest_repeat(), nothing);
    assert!(!nothing.warp_on_top(3, -4));
    assert_eq!(nothing.floats(Yarn::Warp).longest_on_face, 0);
}

#[test]
fn grids_are_read_as_the_cloth_looks() {
    let twill =
        Drawdown::from_grid("\n  X . . X\n  . . X X\r\n  . x X .\n  x X . .  \n\n").unwrap();
    assert_eq!(twill, named("twill-2-2-right"));
    let problem = |text: &str| Drawdown::from_grid(text).unwrap_err().0;
    let odd = problem("X.\n.X\nXé\n");
    assert_eq!((odd[0].line, odd[0].column), (3, 2));
    assert!(odd[0].message.contains("no crossing") && odd[0].hint.contains("X where the warp"));
    let ragged = problem("X.X\n.X\n");
    assert_eq!((ragged[0].line, ragged[0].column), (2, 1));
    assert!(
        ragged[0]
            .message
            .contains("has 2 ends, the first line has 3")
    );
    assert!(problem(" \n\n")[0].message.contains("empty"));
    assert!(problem(&"?".repeat(10_000)).len() <= 20);
    assert!(Drawdown::from_fn(1 << 20, 1 << 20, |_, _| true).is_err());
    assert!(Drawdown::from_fn(usize::MAX, usize::MAX, |_, _| true).is_err());
}

/// The specification: a sinking shed's tie-up names the shafts that sink.
#[test]
fn sinking_sheds_are_turned_over() {
    let up = cloth(TWILL);
    let down = cloth(&TWILL.replace("Rising Shed=true", "Rising Shed=off"));
    for pick in 0..8 {
        for end in 0..8 {
            assert_ne!(up.on_top(end, pick), down.on_top(end, pick));
        }
    }
}

#[test]
fn lift_plans_say_the_same() {
    let tie_up = TWILL.find("[TIEUP]").unwrap();
    let plan =
        "[LIFTPLAN]\n1=1,2\n2=2,3\n3=3,4\n4=1,4\n5=2 1 ; any order\n6=3,2,2\n7=4,3\n8=1, 4\n";
    let text = format!("{}{plan}", &TWILL[..tie_up]);
    assert_eq!(cloth(&text), cloth(TWILL));
    // Both there: the plan holds.
    let both = format!("{TWILL}{}", plan.replace("8=1, 4", "8=0"));
    let reading = reading(&both);
    assert!(
        reading
            .notes
            .iter()
            .any(|n| n.message.contains("lift plan holds"))
    );
    let drawdown = reading.draft.drawdown().unwrap();
    assert!((0..8).all(|end| !drawdown.warp_on_top(end, 7)));
}

#[test]
fn files_as_they_come() {
    let expected = cloth(TWILL);
    for text in [
        TWILL.replace('\n', "\r\n"),
        TWILL.replace('\n', "\r"),
        TWILL.to_uppercase(),
        TWILL.to_lowercase(),
        TWILL.replace('=', " = ").replace(',', " , "),
        TWILL.replace("\n[", "\n; a comment\n  ;another = 1\n\n  ["),
        TWILL
            .replace("=4\n", "=4 ; the fourth\n")
            .replace("Rising Shed=true", "rising shed=ON;"),
        format!("\u{feff}{TWILL}"),
        TWILL.trim_end().to_owned(),
        format!("{TWILL}\n[PRIVATE ACME SECRET]\nno equals sign here\n"),
        format!("{TWILL}[NOTES]\n1=woven; twice\n"),
    ] {
        assert_eq!(cloth(&text), expected, "{text}");
    }
    // Sections in any order.
    let (head, tail) = TWILL.split_at(TWILL.find("[THREADING]").unwrap());
    let (wif, middle) = head.split_at(head.find("[WEAVING]").unwrap());
    assert_eq!(cloth(&format!("{wif}{tail}{middle}")), expected);
    // Lines in any order, an end on two shafts, one on none, a pick without treadles.
    let mixed = TWILL.replace(
        "3=3\n4=4\n5=1\n6=2\n7=3\n8=4\n\n[TIEUP]",
        "8=4\n5=1,3\n6=0\n4=4\n3=3\n7=\n\n[TIEUP]",
    );
    let drawdown = cloth(&mixed.replace("[TREADLING]\n1=1", "[TREADLING]\n1=0"));
    let second: Vec<bool> = (0..8).map(|end| drawdown.warp_on_top(end, 1)).collect();
    assert_eq!(
        second,
        [false, true, true, false, true, false, false, false]
    );
    assert!((0..8).all(|end| !drawdown.warp_on_top(end, 0)));
}

#[test]
fn what_is_missing_is_noted() {
    let note = |text: &str, words: &str| {
        let notes = reading(text).notes;
        assert!(
            notes.iter().any(|n| n.message.contains(words)),
            "{words}: {notes:?}"
        );
    };
    let without = |from: &str, to: &str| {
        let (start, end) = (TWILL.find(from).unwrap(), TWILL.find(to).unwrap());
        format!("{}{}", &TWILL[..start], &TWILL[end..])
    };
    let bare = without("[WIF]", "[THREADING]");
    assert_eq!(cloth(&bare), cloth(TWILL));
    assert_eq!(reading(&bare).draft.shafts, 4);
    note(&bare, "no version of the format");
    note(
        &without("[CONTENTS]", "[WEAVING]").replace("1.1", "2.0"),
        "`2.0` is a version not known",
    );
    note(&without("Rising Shed", "[WARP]"), "no Rising Shed is given");
    note(
        &TWILL.replace("WARP=true", "WARP SPACING=true"),
        "lists WARP SPACING, but there is no such",
    );
    note(
        &TWILL.replace("WARP=true", "WARP=false"),
        "does not list WARP",
    );
    note(
        &TWILL.replace("Threads=8", "Threads=4000000000"),
        "says 4000000000 threads, [THREADING] goes to 8",
    );
    note(
        &TWILL.replace("5=1\n6=2", "6=2"),
        "[THREADING] leaves out 1 end",
    );
    note(
        &TWILL.replace("6=2\n7=3\n8=4\n\n[TIEUP]", "6=2\n7=3\n7=1\n8=4\n\n[TIEUP]"),
        "`7` stands twice",
    );
    note(&format!("{TWILL}[TIEUP]\n1=4\n"), "`TIEUP` stands twice");
    note(
        &format!("{TWILL}[WEFT SYMBOLS]\n1=4\n"),
        "`WEFT SYMBOLS` is a section that is not used",
    );
    note(
        &format!("hello\n{TWILL}"),
        "stands before the first section",
    );
    note(&TWILL.replace("Units=Centimeters\n", ""), "has no Units");
    note(
        &TWILL.replace("Rising Shed=true", "Rising Shed=true\nProfile=yes"),
        "profile draft",
    );
}

/// Units of the specification; a decipoint is 1/720 inch (from memory).
#[test]
fn sizes_of_threads() {
    let spacing = |units: &str, size: &str| {
        let text = TWILL.replace(
            "Units=Centimeters\nSpacing=0.04",
            &format!("Units={units}\nSpacing={size}\nThickness={size}"),
        );
        let warp = reading(&text).draft.warp;
        assert_eq!(warp.spacing_mm, warp.thickness_mm);
        warp.spacing_mm
    };
    assert_eq!(spacing("centimetres", "0.04"), Some(0.4));
    assert_eq!(spacing("INCHES", "0.1"), Some(2.54));
    assert_eq!(spacing("Decipoints", "72"), Some(2.54));
    assert_eq!(spacing("Inches", "0"), None);
    let own = format!("{TWILL}[WARP SPACING]\n1=0.08\n5=0.06\n[WEFT THICKNESS]\n1=1\n");
    let Reading { draft, notes } = reading(&own);
    let expected = [0.8, 0.4, 0.4, 0.4, 0.6, 0.4, 0.4, 0.4];
    for (own, expected) in draft.warp.spacings_mm.iter().zip(expected) {
        assert!((own - expected).abs() < 1e-12);
    }
    assert!((draft.warp.per_cm().unwrap() - 80.0 / 3.8).abs() < 1e-9);
    assert!(draft.weft.thicknesses_mm.is_empty());
    assert!(
        notes
            .iter()
            .any(|n| n.message.contains("leaves threads without a size"))
    );
    assert_eq!(draft.weft.spacings_mm, [0.0; 0]);
}

#[test]
fn colours_of_threads() {
    let colours = "[COLOR PALETTE]\nEntries=3\nRange=0,999\n[COLOR TABLE]\n1=999,999,999\n2=0,0,0\n3=999,0,0\n[WARP COLORS]\n2=3\n4=2 ; black\n";
    let text = format!("{TWILL}{colours}").replace("[WARP]\n", "[WARP]\nColor=1,5,5,5\n");
    let draft = reading(&text).draft;
    assert_eq!(draft.warp.colours, [0, 2, 0, 1, 0, 0, 0, 0]);
    assert_eq!(draft.weft.colours, [0; 0]);
    assert_eq!(draft.warp_reflectance(1), Some([1.0, 0.0, 0.0]));
    assert_eq!(draft.warp_reflectance(8), None);
    assert_eq!(draft.weft_reflectance(0), None);
    // 118 is the sRGB number of an 18 % grey (IEC 61966-2-1).
    let grey =
        format!("{TWILL}[COLOR TABLE]\n1=118,118,118\n").replace("[WEFT]\n", "[WEFT]\nColor=1\n");
    let Reading { draft, notes } = reading(&grey);
    assert!((draft.weft_reflectance(7).unwrap()[1] - 0.18).abs() < 0.002);
    assert!(
        notes
            .iter()
            .any(|n| n.message.contains("0 to 255 is taken"))
    );
    let lost = reading(&TWILL.replace("[WEFT]\n", "[WEFT]\nColor=1\n")).notes;
    assert!(lost.iter().any(|n| n.message.contains("no [COLOR TABLE]")));
}

#[test]
fn errors_say_where_and_what_to_write() {
    refused("", (1, 1), "this is no WIF", "[THREADING]");
    refused(
        "\u{0}\u{1}PK\u{3}\u{4}",
        (1, 1),
        "this is no WIF",
        "[THREADING]",
    );
    refused(
        &TWILL.replacen("3=3\n4=4\n5", "3=3\n4=9\n5", 1),
        (34, 3),
        "`9` is a shaft that the loom does not have",
        "from 1 to 4",
    );
    refused(
        &TWILL.replace("2=2,3", "2=2, 5"),
        (42, 6),
        "`5` is a shaft",
        "from 1 to 4",
    );
    refused(
        &TWILL.replace("7=3\n8=4\n\n[TIEUP]", "7=x\n8=4\n\n[TIEUP]"),
        (37, 3),
        "`x` is no whole number",
        "0 for none",
    );
    refused(
        &TWILL.replace("[TREADLING]\n1=1", "[TREADLING]\n1=-1"),
        (47, 3),
        "`-1` is no whole number",
        "0 for none",
    );
    refused(
        &TWILL.replace("[TREADLING]\n1=1", "[TREADLING]\n1=5"),
        (47, 3),
        "`5` is a treadle",
        "from 1 to 4",
    );
    refused(
        &TWILL.replace(
            "[TREADLING]\n1=1",
            "[TREADLING]\n99999999999999999999=1\n1=1",
        ),
        (47, 1),
        "is more picks than a file of this size can list",
        "number the picks from 1",
    );
    refused(
        &TWILL.replace("[TREADLING]\n1=1", "[TREADLING]\n4000000000=1\n1=1"),
        (47, 1),
        "more picks than a file of this size can list",
        "from 1",
    );
    refused(
        &TWILL.replace("4=4,1", "5=4,1"),
        (44, 1),
        "`5` is no treadle",
        "from 1 to 4",
    );
    refused(
        &TWILL.replace("4=4,1", "0=4,1"),
        (44, 1),
        "`0` is no treadle",
        "from 1 to 4",
    );
    refused(
        &TWILL.replace("4=4,1", "4:4,1"),
        (44, 1),
        "`4:4,1` has no `=`",
        "a key, `=`",
    );
    refused(
        &TWILL.replace("Shafts=4", "Shafts=99999"),
        (16, 8),
        "`99999` is too many",
        "at most 65535",
    );
    refused(
        &TWILL.replace("Shed=true", "Shed=maybe"),
        (18, 13),
        "`maybe` is neither yes nor no",
        "true or false",
    );
    refused(
        &TWILL.replace("[THREADING]", "[THREADED]"),
        (1, 1),
        "no [THREADING] section",
        "1=1",
    );
    refused(
        &TWILL.replace("[TIEUP]", "[TIEDOWN]"),
        (1, 1),
        "no [TIEUP] section",
        "[LIFTPLAN]",
    );
    refused(
        &TWILL.replace("0.04", "0,04"),
        (23, 9),
        "`0,04` is no number",
        "with a point",
    );
    refused(
        &TWILL.replace("0.04", "-1"),
        (23, 9),
        "`-1` is no thread's size",
        "0.04",
    );
    refused(
        &TWILL.replace("0.04", "1e300"),
        (23, 9),
        "is no thread's size",
        "0.04",
    );
    refused(
        &TWILL.replace("0.04", "nan"),
        (23, 9),
        "`nan` is no number",
        "0.04",
    );
    refused(
        &TWILL.replacen("Centimeters", "Furlongs", 1),
        (22, 7),
        "`Furlongs` is no unit",
        "Decipoints",
    );
    let (head, _) = TWILL.split_at(TWILL.find("[TREADLING]").unwrap());
    refused(
        &format!("{head}[TREADLING]\n"),
        (1, 1),
        "[TREADLING] lists no pick",
        "from 1=1 on",
    );
    let tinted = |palette: &str| format!("{TWILL}{palette}\n");
    refused(
        &tinted("[COLOR PALETTE]\nRange=0,255\n[COLOR TABLE]\n1=0,0,256"),
        (58, 7),
        "`256` is outside the palette's range",
        "from 0 to 255",
    );
    refused(
        &tinted("[COLOR PALETTE]\nRange=0,255\n[COLOR TABLE]\n1=0,0"),
        (58, 3),
        "fewer than three",
        "red, green and blue",
    );
    refused(
        &tinted("[COLOR PALETTE]\nRange=0,255\n[COLOR TABLE]\n1=0,0,0,0"),
        (58, 3),
        "more than three",
        "red, green and blue",
    );
    refused(
        &tinted("[COLOR PALETTE]\nRange=9,9\n[COLOR TABLE]\n1=0,0,0"),
        (56, 7),
        "does not rise",
        "Range=0,255",
    );
    refused(
        &tinted("[COLOR PALETTE]\nRange=255\n[COLOR TABLE]\n1=0,0,0"),
        (56, 7),
        "is not two numbers",
        "Range=0,255",
    );
    refused(
        &tinted("[COLOR PALETTE]\nRange=0,255\n[COLOR TABLE]\n1=0,0,0\n[WARP COLORS]\n3=2"),
        (60, 3),
        "`2` is no colour",
        "from 1 to 1",
    );
    let all = read_wif(TWILL.replace("\n4=4", "\n4=9").as_bytes()).unwrap_err();
    assert!(all.0.len() > 2, "every problem at once: {all}");
    assert!(all.0.is_sorted_by_key(|p| (p.line, p.column)));
    // Columns are counted in characters.
    refused(
        &TWILL.replacen("3=3\n4=4\n5", "3=3\nééé=4\n4=4\n5", 1),
        (34, 1),
        "`ééé` is no whole number",
        "from 1",
    );
}

/// What was read makes sense, and its memory is bounded by the file's size.
fn makes_sense(reading: &Reading, bytes: usize) -> bool {
    let draft = &reading.draft;
    let most = bytes / 4 + 1;
    let _ = draft.drawdown();
    let _ = write_wif(draft);
    draft.ends() >= 1
        && draft.ends() <= most
        && draft.picks() >= 1
        && draft.picks() <= most
        && draft.palette.len() <= most
        && [&draft.warp, &draft.weft].iter().all(|t| {
            t.colours.len() <= most
                && t.spacings_mm.len() <= most
                && t.thicknesses_mm.len() <= most
                && t.colours
                    .iter()
                    .all(|c| usize::from(*c) < draft.palette.len())
        })
        && draft.threading.rows().flatten().all(|s| *s < draft.shafts)
        && reading.notes.len() <= 50
}

fn survives(bytes: &[u8]) -> bool {
    match read_wif(bytes) {
        Ok(reading) => makes_sense(&reading, bytes.len()),
        Err(problems) => (1..=50).contains(&problems.0.len()),
    }
}

#[test]
fn files_cut_at_every_byte() {
    for text in [
        TWILL.to_owned(),
        write_wif(&coloured()),
        TWILL.replace('\n', "\r\n"),
    ] {
        for end in 0..text.len() {
            assert!(survives(&text.as_bytes()[..end]), "cut at {end}");
        }
    }
}

#[test]
fn hostile_files_are_quick() {
    let many = |start: &str, line: &dyn Fn(usize) -> String, count: usize| {
        (1..=count).fold(start.to_owned(), |text, i| text + &line(i))
    };
    let head =
        "[WEAVING]\nShafts=65535\nTreadles=65535\n[THREADING]\n1=1\n[TREADLING]\n1=1\n[TIEUP]\n";
    let all_shafts: String = (1..=65535).map(|s| format!("{s},")).collect();
    let texts = [
        // A line of half a million words that are no numbers.
        format!("{head}1={}", "x,".repeat(500_000)),
        format!("{head}1={all_shafts}"),
        // Each of 30 000 picks presses a treadle tied to every shaft.
        many(
            &format!(
                "[WEAVING]\nShafts=65535\n[THREADING]\n1={all_shafts}\n[TIEUP]\n1={all_shafts}\n[TREADLING]\n"
            ),
            &|i| format!("{i}=1\n"),
            30_000,
        ),
        // A drawdown of 10⁹ crossings.
        many(
            &many("[THREADING]\n", &|i| format!("{i}=1\n"), 32_000),
            &|i| {
                if i == 1 {
                    "[LIFTPLAN]\n1=1\n".to_owned()
                } else {
                    format!("{i}=1\n")
                }
            },
            32_000,
        ),
        many("", &|i| format!("[{i}]\n"), 100_000),
        many("[WIF]\n[THREADING]\n", &|i| format!("line {i}\n"), 100_000),
        "[".repeat(1_000_000),
        "=".repeat(1_000_000),
        "\n".repeat(1_000_000),
        "[CONTENTS]\n".repeat(100_000),
        format!("{TWILL}[COLOR TABLE]\n65535=1,1,1\n[WARP COLORS]\n4000000000=1\n"),
        format!("{}{}", TWILL, "\u{fffd}".repeat(100_000)),
    ];
    for text in &texts {
        let start = Instant::now();
        assert!(survives(text.as_bytes()), "{}", &text[..80]);
        assert!(start.elapsed() < Duration::from_secs(5), "{}", &text[..80]);
    }
    let refused = reading(&texts[3]).draft.drawdown().unwrap_err();
    assert_eq!((refused.ends, refused.picks), (32_000, 32_000));
    assert!(refused.to_string().contains("one repeat of the weave"));
}

/// An invented draft with all that can be written.
fn coloured() -> Draft {
    let threads = |count: u16| Threads {
        colours: (0..count).map(|k| k % 3).collect(),
        spacing_mm: Some(0.5),
        thickness_mm: Some(0.25),
        spacings_mm: (0..count).map(|k| 0.5 + 0.25 * f64::from(k % 2)).collect(),
        thicknesses_mm: vec![0.25; usize::from(count)],
    };
    Draft {
        title: "invented check".to_owned(),
        palette: vec![[1.0, 0.0, 0.2], [0.4, 0.4, 0.4], [0.0, 0.6, 0.8]],
        warp: threads(4),
        weft: threads(4),
        ..Draft::from_drawdown(&named("twill-2-2-left")).unwrap()
    }
}

#[test]
fn what_is_written_is_by_the_format() {
    let text = write_wif(&coloured());
    for part in [
        "[WIF]\nVersion=1.1\nDate=April 20, 1997\nDevelopers=wif@mhsoft.com\nSource Program=",
        "[CONTENTS]\nTEXT=true\nWEAVING=true\nWARP=true\nWEFT=true\nCOLOR PALETTE=true\n",
        "[WEAVING]\nShafts=4\nTreadles=4\nRising Shed=true\n",
        "[WARP]\nThreads=4\nUnits=Centimeters\nSpacing=0.05\nThickness=0.025\n",
        "[COLOR PALETTE]\nEntries=3\nRange=0,255\n",
        "[COLOR TABLE]\n1=255,0,51\n2=102,102,102\n3=0,153,204\n",
        "[THREADING]\n1=1\n2=2\n3=3\n4=4\n",
        "[TIEUP]\n1=1,2\n2=1,4\n3=3,4\n4=2,3\n",
        "[WEFT COLORS]\n1=1\n2=2\n3=3\n4=1\n",
        "[WARP SPACING]\n1=0.05\n2=0.075\n",
    ] {
        assert!(text.contains(part), "{part}\n{text}");
    }
    let Reading { draft, notes } = reading(&text);
    assert_eq!(notes, []);
    assert_eq!(draft, coloured());
}

fn lists(rows: std::ops::Range<usize>, below: u16) -> impl Strategy<Value = Lists> {
    let row = proptest::collection::btree_set(0..below, 0..4);
    proptest::collection::vec(row, rows).prop_map(Lists::from_rows)
}

fn threads(count: usize, colours: u16) -> impl Strategy<Value = Threads> {
    let palette = match colours {
        0 => Just(Vec::new()).boxed(),
        _ => proptest::collection::vec(0..colours, count).boxed(),
    };
    let size = 0.001..100.0_f64;
    let own = prop_oneof![
        Just(Vec::new()),
        proptest::collection::vec(size.clone(), count)
    ];
    (
        palette,
        proptest::option::of(size.clone()),
        proptest::option::of(size),
        own.clone(),
        own,
    )
        .prop_map(
            |(colours, spacing_mm, thickness_mm, spacings_mm, thicknesses_mm)| Threads {
                colours,
                spacing_mm,
                thickness_mm,
                spacings_mm,
                thicknesses_mm,
            },
        )
}

fn drafts() -> impl Strategy<Value = Draft> {
    let lifts = prop_oneof![
        lists(1..12, 9).prop_map(Lifts::Plan),
        (lists(1..7, 9), lists(1..12, 1))
            .prop_map(|(tie_up, treadling)| Lifts::Treadles { tie_up, treadling }),
        (lists(6..7, 9), lists(1..12, 6))
            .prop_map(|(tie_up, treadling)| Lifts::Treadles { tie_up, treadling }),
    ];
    let palette = proptest::collection::vec(proptest::array::uniform3(0..=255_u8), 0..5);
    (
        "([!-Z^-~]([ -~]{0,30}[!-~])?)?",
        any::<bool>(),
        lists(1..12, 9),
        lifts,
        palette,
    )
        .prop_flat_map(|(title, rising, threading, lifts, palette)| {
            let picks = match &lifts {
                Lifts::Plan(plan) => plan.len(),
                Lifts::Treadles { treadling, .. } => treadling.len(),
            };
            let colours = palette.len() as u16;
            let both = (threads(threading.len(), colours), threads(picks, colours));
            both.prop_map(move |(warp, weft)| Draft {
                title: title.clone(),
                shed: if rising { Shed::Rising } else { Shed::Sinking },
                shafts: 9,
                threading: threading.clone(),
                lifts: lifts.clone(),
                palette: palette
                    .iter()
                    .map(|c| c.map(|v| (f64::from(v) / 255.0) as f32))
                    .collect(),
                warp,
                weft,
            })
        })
}

fn same_sizes(a: &Threads, b: &Threads) -> bool {
    let near = |a: &f64, b: &f64| (a - b).abs() <= 1e-12 * b.abs();
    let all = |a: &[f64], b: &[f64]| a.len() == b.len() && a.iter().zip(b).all(|(a, b)| near(a, b));
    let one = |a: Option<f64>, b: Option<f64>| all(a.as_slice(), b.as_slice());
    a.colours == b.colours
        && one(a.spacing_mm, b.spacing_mm)
        && one(a.thickness_mm, b.thickness_mm)
        && all(&a.spacings_mm, &b.spacings_mm)
        && all(&a.thicknesses_mm, &b.thicknesses_mm)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn what_is_written_reads_back(draft in drafts()) {
        let text = write_wif(&draft);
        let Reading { draft: back, notes } = read_wif(text.as_bytes()).map_err(|e| TestCaseError::fail(format!("{e}\n{text}")))?;
        prop_assert!(notes.is_empty(), "{notes:?}\n{text}");
        // Centimetres and back may round a last digit.
        prop_assert!(same_sizes(&back.warp, &draft.warp) && same_sizes(&back.weft, &draft.weft));
        prop_assert_eq!(back.drawdown(), draft.drawdown());
        let plain = |d: &Draft| Draft { warp: Threads::default(), weft: Threads::default(), ..d.clone() };
        prop_assert_eq!(plain(&back), plain(&draft));
    }

    /// A drawdown made into a draft weaves itself, whatever it is.
    #[test]
    fn drawdowns_weave_themselves(ends in 1..70_usize, picks in 1..40_usize, bits in proptest::collection::vec(any::<u32>(), 3 * 40)) {
        let drawdown = Drawdown::from_fn(ends, picks, |k, j| bits[3 * j + k / 32] >> (k % 32) & 1 == 1).unwrap();
        let draft = Draft::from_drawdown(&drawdown).unwrap();
        prop_assert_eq!(&draft.drawdown().unwrap(), &drawdown);
        prop_assert_eq!(&Drawdown::from_grid(&drawdown.to_string()).unwrap(), &drawdown);
        let repeat = drawdown.smallest_repeat();
        for k in 0..ends as i64 {
            for j in 0..picks as i64 {
                prop_assert_eq!(repeat.warp_on_top(k, j), drawdown.warp_on_top(k, j));
            }
        }
        // Each change of face goes with one back, in every thread.
        prop_assert!((0..ends).all(|k| drawdown.warp_interlacings(k).is_multiple_of(2)));
    }

    #[test]
    fn rubbish_never_panics(bytes in proptest::collection::vec(any::<u8>(), 0..300), lead in 0..3_usize) {
        let lead = ["", "[WIF]\n[THREADING]\n", TWILL][lead];
        prop_assert!(survives(&[lead.as_bytes(), &bytes].concat()));
        let _ = Drawdown::from_grid(&String::from_utf8_lossy(&bytes));
    }

    #[test]
    fn mutated_files_never_panic(
        draft in drafts(),
        changes in proptest::collection::vec(any_change(), 1..8),
    ) {
        let mut bytes = write_wif(&draft).into_bytes();
        mutate(&mut bytes, changes, b"0123456789=,;[]\n");
        prop_assert!(survives(&bytes));
    }
}
