//! Bad setups: each kind of mistake gets its own message, with its place and a way out, all
//! at once; and nothing that is fed in makes the parser panic.

#[path = "common/library.rs"]
mod library;

use library::{Fake, models};
use proptest::prelude::*;
use swatchlight::setup::{
    Kind, Options, Problems, Severity, keys, parse, parse_bytes, parse_modifier,
};

/// A good beginning of nine lines; what a test adds starts on line 10.
const HEAD: &str = "title = \"test\"\n\
[figure]\n\
model = \"tall-dress-form\"\n\
garment = \"shift-dress\"\n\
[camera]\n\
framing = \"full-length\"\n\
[meter]\n\
points = [\"chest\"]\n\
\n";

/// A light without an end, on lines 10 to 14.
const LIGHT: &str = "[[light]]\n\
name = \"key\"\n\
modifier = { kind = \"panel\", size = \"1 x 1 m\" }\n\
distance = \"2.5 m\"\n\
bearing = \"60 deg left\"\n";

fn problems(text: &str) -> Problems {
    match parse(text, "s.toml", &Fake) {
        Ok(checked) => checked.notes,
        Err(problems) => problems,
    }
}

/// The problems, cautions left out, as `line:column: word: message | hint`.
fn said(text: &str) -> Vec<String> {
    problems(text)
        .list()
        .iter()
        .filter(|p| p.severity != Severity::Caution)
        .map(|p| {
            assert_eq!(
                p.to_string(),
                format!(
                    "s.toml:{}:{}: {}: {}",
                    p.line,
                    p.column,
                    p.severity.word(),
                    p.message
                )
            );
            format!(
                "{}:{}: {}: {} | {}",
                p.line,
                p.column,
                p.severity.word(),
                p.message,
                p.hint
            )
        })
        .collect()
}

/// One problem only, exactly this; or none.
#[track_caller]
fn says(text: &str, expected: &str) {
    assert_eq!(said(text).join("\n"), expected, "\n{text}");
}

#[track_caller]
fn light_says(lines: &str, expected: &str) {
    says(&format!("{HEAD}{LIGHT}{lines}"), expected);
}

#[track_caller]
fn head_says(lines: &str, expected: &str) {
    says(&format!("{HEAD}{lines}"), expected);
}

#[test]
fn the_beginnings_are_good() {
    assert_eq!(said(HEAD), [""; 0]);
    assert_eq!(
        said(&format!(
            "{HEAD}{LIGHT}height = \"1.9 m\"\nmeters = \"f/8\"\n"
        )),
        [""; 0]
    );
}

// ---- keys

#[test]
fn misspelt_keys_get_the_nearest_known_one() {
    light_says(
        "height = \"1.9 m\"\nmeters = \"f/8\"\nfeathr = \"5 deg up\"\n",
        "17:1: error: unknown key `feathr` in light \"key\" | did you mean `feather`?",
    );
    light_says(
        "height = \"1.9 m\"\nmeters = \"f/8\"\nmetersAt = \"face\"\n",
        "17:1: error: unknown key `metersAt` in light \"key\" | did you mean `meters`?",
    );
    head_says(
        "[backdrop]\ncolor = 0.3\n",
        "11:1: error: unknown key `color` in the backdrop | known keys: kind, width, behind, height, curve, forward, reflectance",
    );
    head_says(
        "[[lights]]\nname = \"a\"\n",
        "10:3: error: unknown key `lights` in the setup | did you mean `light`?",
    );
}

#[test]
fn missing_things_say_what_to_add() {
    light_says(
        "meters = \"f/8\"\n",
        "10:1: error: light \"key\" has no `height` | add height = … (length)",
    );
    light_says(
        "height = \"1.9 m\"\n",
        "10:1: error: light \"key\" has no output | add output = \"400 J\" (flash), \"9000 lm s\" (flash) or \"5000 lm\" (continuous), or meters = \"f/8\"",
    );
    says(
        "",
        "1:1: error: the setup has no subject | add [figure] or [swatch]\n\
         1:1: error: the setup has no `[camera]` | add [camera] with framing = \"full-length\"",
    );
    says(
        "[camera]\nframing = \"half\"\n[figure]\n",
        "3:1: error: the figure has no `model` | add model = … (name)",
    );
    head_says(
        "[[scrim]]\nname = \"s\"\nsize = \"1 x 1 m\"\nat = [1, 1, 2]\n",
        "10:1: error: scrim \"s\" has no `cloth` | add cloth = … (\"light\", \"half\", \"full\", stops or table)",
    );
    head_says(
        "[[board]]\nname = \"b\"\nfinish = \"white\"\nsize = \"1 x 1 m\"\n",
        "10:1: error: board \"b\" has no place | add distance = \"2 m\", bearing = \"45 deg left\" and height = \"1.8 m\", or at = [x, y, z]",
    );
}

// ---- values

#[test]
fn wrong_units_point_at_the_unit() {
    light_says(
        "height = \"1.9 kg\"\nmeters = \"f/8\"\n",
        "15:15: error: `height` of light \"key\": `kg` is not a unit of length | type a length such as \"2.1 m\", \"85 mm\", \"30 cm\" or \"6 ft 2 in\"",
    );
    light_says(
        "height = 2\nmeters = \"f/8\"\n",
        "15:10: error: `height` of light \"key\": 2 has no unit | write a height in quotes with its unit: \"2 m\"",
    );
    light_says(
        "height = \"1,9 m\"\nmeters = \"f/8\"\n",
        "15:12: error: `height` of light \"key\": there is a comma in the number `1,9` | use a point for decimals and nothing between thousands: `1.9` or `19`",
    );
    light_says(
        "height = \"1.9 m\"\nmeters = \"f/8\"\ncolour = \"5600\"\n",
        "17:11: error: `colour` of light \"key\": `5600` has no unit | type a colour temperature such as \"5600 K\" or \"3200 K\"",
    );
    light_says(
        "height = \"1.9 m\"\noutput = \"400\"\n",
        "16:11: error: `output` of light \"key\": `400` has no unit | type a light's output such as \"400 J\" or \"9000 lm s\" for flash, \"12000 lm\" for continuous light",
    );
    light_says(
        "height = \"1.9 m\"\nmeters = \"f/8\"\nfeather = \"10 deg\"\n",
        "17:11: error: `feather` of light \"key\": \"10 deg\" does not say which way | write an angle and where it turns, such as \"15 deg toward camera\" or \"5 deg up\"; it can be toward camera, background, left, right, up, down",
    );
}

#[test]
fn wrong_types_say_what_was_found() {
    light_says(
        "height = true\nmeters = \"f/8\"\n",
        "15:10: error: `height` of light \"key\": must be a height, not true or false | write \"2.1 m\"",
    );
    light_says(
        "height = \"1.9 m\"\nmeters = \"f/8\"\non = \"yes\"\n",
        "17:6: error: `on` of light \"key\": must be true or false, not text | write true or false, without quotes",
    );
    light_says(
        "height = \"1.9 m\"\nmeters = \"f/8\"\naim = [0, 1.3]\n",
        "17:7: error: `aim` of light \"key\": has 2 numbers, but a point has 3 | write coordinates as [x, y, z] in metres, such as [0.3, 1.7, 2.6]",
    );
    head_says(
        "[light]\nname = \"key\"\n",
        "10:1: error: `light` must be a list of tables, not a single table | write [[light]] with two brackets",
    );
    says(
        "figure = 3\n[camera]\ndistance = \"3 m\"\nheight = \"1 m\"\naim = [0, 1, 0]\n",
        "1:10: error: the figure must be a table, not a bare number | write it as [figure]",
    );
    says(
        &HEAD.replace("framing = \"full-length\"", "framing = 2"),
        "6:11: error: `framing` of the camera: must be one of a few words, not a bare number | write one of \"full-length\", \"three-quarter\", \"half\", \"beauty\", \"swatch\"",
    );
}

#[test]
fn absurd_values_say_their_range() {
    let camera = |line: &str| HEAD.replace("[meter]", &format!("{line}\n[meter]"));
    says(
        &camera("iso = 0"),
        "7:7: error: `iso` of the camera: 0 is out of range | it can be 1 to 1000000",
    );
    says(
        &camera("iso = inf"),
        "7:7: error: `iso` of the camera: is not a finite number | write an ordinary number",
    );
    says(
        &camera("shutter = \"2 h\""),
        "7:14: error: `shutter` of the camera: `h` is not a unit of shutter time | type a shutter time such as \"1/125 s\", \"0.5 s\" or \"8 ms\"",
    );
    says(
        &camera("focal_length = \"85 m\""),
        "7:16: error: `focal_length` of the camera: 85000 mm is too large | it can be 5 mm to 2000 mm",
    );
    says(
        &camera("pixels = \"800 x 999999\""),
        "7:10: error: `pixels` of the camera: 999999 pixels is out of range | write width x height, such as \"800 x 1200\", each 16 to 20000",
    );
    says(
        &format!(
            "{HEAD}{}height = \"1.9 m\"\nmeters = \"f/8\"\n",
            LIGHT.replace("2.5 m", "5000 m")
        ),
        "13:12: error: `distance` of light \"key\": 5000 m is too large | it can be 0 m to 50 m",
    );
    light_says(
        "height = \"-1.9 m\"\nmeters = \"f/8\"\n",
        "15:10: error: `height` of light \"key\": -1.9 m is negative | it can be 0 m to 30 m",
    );
    light_says(
        "height = \"1.9 m\"\nmeters = \"f/8\"\ncolour = \"56 K\"\n",
        "17:10: error: `colour` of light \"key\": 56 K is too small | it can be 1000 K to 25000 K",
    );
    light_says(
        "height = \"1.9 m\"\ncolour = \"3200 K\"\nmeters = \"f/8\"\ngel = \"+790 mired\"\n",
        "18:7: error: `gel` of light \"key\": +790 mired on 3200 K leaves 1000 K to 25000 K | write a weaker gel, or a filter colour \"#rrggbb\"",
    );
}

#[test]
fn words_are_matched_or_suggested() {
    says(
        &HEAD.replace("full-length", "full-lenght"),
        "6:11: error: `framing` of the camera: \"full-lenght\" is not known | did you mean \"full-length\"? It can be \"full-length\", \"three-quarter\", \"half\", \"beauty\", \"swatch\"",
    );
    assert_eq!(said(&HEAD.replace("full-length", "Full length")), [""; 0]);
    head_says(
        "[[board]]\nname = \"b\"\nfinish = \"sliver\"\nsize = \"1 x 1 m\"\nat = [2, 1, 1]\n",
        "12:10: error: `finish` of board \"b\": \"sliver\" is not a finish | did you mean \"silver\"? it can be \"white\", \"black\", \"silver\", \"grey\" (18 %), a number 0 to 1, \"#rrggbb\" or linear [r, g, b]",
    );
}

#[test]
fn unknown_names_list_the_known_ones() {
    says(
        &HEAD.replace("tall-dress-form", "tall-dress-from"),
        "3:9: error: there is no figure \"tall-dress-from\" | did you mean \"tall-dress-form\"? Known: tall-dress-form",
    );
    says(
        &HEAD.replace("shift-dress", "ball-gown"),
        "4:11: error: there is no garment \"ball-gown\" | known: shift-dress",
    );
    light_says(
        "height = \"1.9 m\"\nmeters = \"f/8\"\naim = \"chset\"\n",
        "17:7: error: `aim` of light \"key\": there is no point \"chset\" | did you mean \"chest\"? Known points: chest, chin, eyes, face, floor, hem, hip, knee, left-cheek, right-cheek, waist",
    );
    light_says(
        "height = \"1.9 m\"\nmeters = \"f/8\"\nmetered_at = { at = \"chest\", facing = \"light kye\" }\n",
        "17:14: error: `metered_at` of light \"key\": there is no light \"kye\" | did you mean \"light key\"?",
    );
    says(
        &HEAD.replace("[\"chest\"]", "[\"chest\", \"swatch\"]"),
        "8:20: error: `points` of the meter: there is no point \"swatch\" | known points: chest, chin, eyes, face, floor, hem, hip, knee, left-cheek, right-cheek, waist; or write [x, y, z]",
    );
}

#[test]
fn names_must_be_usable_labels() {
    let named = |name: &str| {
        format!(
            "{HEAD}{}height = \"1.9 m\"\nmeters = \"f/8\"\n",
            LIGHT.replace("\"key\"", name)
        )
    };
    says(
        &named("\"\""),
        "11:8: error: `name` of light 1: is empty | write a short label",
    );
    says(
        &named("\" key\""),
        "11:8: error: `name` of light 1: begins or ends with a space | write \"key\"",
    );
    says(
        &named("\"a\\nb\""),
        "11:8: error: `name` of light 1: holds a control character | write letters, digits, spaces or signs",
    );
    says(
        &named("\"\\u202Ekey\""),
        "11:8: error: `name` of light 1: holds a control character | write letters, digits, spaces or signs",
    );
    says(
        &named(&format!("\"{}\"", "k".repeat(41))),
        "11:8: error: `name` of light 1: has more than 40 characters | write a shorter one: it labels tables and drawings",
    );
    says(
        &named("7"),
        "11:8: error: `name` of light 1: must be text, not a bare number | write it in quotes, such as \"text\"",
    );
    for fine in ["\"Hauptlicht ⅓\"", "\"鍵\"", "\"<b>&amp;\"", "\"ключ 1\""] {
        assert_eq!(said(&named(fine)), [""; 0], "{fine}");
    }
    head_says(
        "[[board]]\nname = \"x\"\nfinish = 0.5\nsize = \"1 x 1 m\"\nat = [2, 1, 1]\n\
         [[flag]]\nname = \"X\"\nsize = \"30 x 30 cm\"\nat = [-2, 1, 1]\n",
        "16:8: error: the name \"X\" is taken already | give each light, board, flag and scrim a name of its own",
    );
}

// ---- keys that do not go together

#[test]
fn conflicts_say_which_to_keep() {
    light_says(
        "height = \"1.9 m\"\nat = [1, 1.5, 2]\nmeters = \"f/8\"\n",
        "16:6: error: light \"key\": `at` and `distance` both say where it stands | keep distance, bearing and height, or keep at",
    );
    light_says(
        "height = \"1.9 m\"\noutput = \"400 J\"\npower = \"1/4\"\nmeters = \"f/8\"\n",
        "17:9: error: light \"key\": `power` and `meters` both set how bright it is | keep one of them",
    );
    light_says(
        "height = \"1.9 m\"\nmeters = \"f/8\"\nspread = 0.5\n",
        "17:10: error: light \"key\": a panel has no spread | remove spread: only a modifier whose lamp travels has one",
    );
    says(
        &HEAD.replace(
            "[meter]",
            "focal_length = \"85 mm\"\ndistance = \"5 m\"\n[meter]",
        ),
        "7:16: error: the camera: framing, distance and focal_length cannot all be given | remove one: the other two work it out",
    );
    says(
        &HEAD.replace(
            "[meter]",
            "pixels = \"800 x 600\"\norientation = \"portrait\"\n[meter]",
        ),
        "8:15: error: the camera: 800 x 600 pixels are not portrait | remove orientation, or swap the pixels",
    );
    head_says(
        "[room]\nwalls = \"open\"\nsize = \"6 x 8 x 3 m\"\n",
        "12:8: error: the room: an open room has no `size` | remove walls = \"open\", or remove size",
    );
    head_says(
        "[[scrim]]\nname = \"s\"\ncloth = { straight = 0.5, scattered = 0.6 }\nsize = \"1 x 1 m\"\nat = [2, 1, 2]\n",
        "12:39: error: the cloth of scrim \"s\": it sends on 1.1 of the light it gets | straight, scattered and reflected may come to 1 together",
    );
    let tube = LIGHT.replace(
        "{ kind = \"panel\", size = \"1 x 1 m\" }",
        "{ kind = \"globe\", diameter = \"20 cm\", size = \"1 x 1 m\" }",
    );
    says(
        &format!("{HEAD}{tube}height = \"1.9 m\"\nmeters = \"f/8\"\n"),
        "12:57: error: the modifier of light \"key\": a globe has no `size` | a globe takes diameter",
    );
    let spot = LIGHT.replace(
        "{ kind = \"panel\", size = \"1 x 1 m\" }",
        "{ kind = \"spot\", beam = \"20 deg\", field = \"10 deg\" }",
    );
    says(
        &format!("{HEAD}{spot}height = \"1.9 m\"\nmeters = \"f/8\"\n"),
        "12:54: error: the modifier of light \"key\": the field of 10 deg is not wider than the beam of 20 deg | field is the full angle at a tenth of the intensity, beam the one at half",
    );
    light_says(
        "height = \"1.3 m\"\naim = [0, 1.3, 0]\nmeters = \"f/8\"\nfeather = [\"5 deg up\", \"5 deg toward camera\", \"95 deg up\"]\n",
        "18:47: error: `feather` of light \"key\": 95 deg is too large | write an angle and where it turns, such as \"15 deg toward camera\" or \"5 deg up\"; it can be toward camera, background, left, right, up, down",
    );
    head_says(
        "[[light]]\nname = \"f\"\nmodifier = { kind = \"panel\", size = \"1 x 1 m\" }\nat = [0, 1.3, 3]\naim = [0, 1.3, 0]\nmeters = \"f/8\"\nfeather = \"5 deg toward camera\"\nstand = \"boom\"\n",
        "16:11: error: `feather` of light \"f\": it points along that line already, so \"camera\" does not say which way to turn | write left, right, up or down",
    );
}

// ---- what cannot be built

/// A light of 20 cm at a place.
fn globe(name: &str, at: &str, more: &str) -> String {
    format!(
        "[[light]]\nname = \"{name}\"\nmodifier = {{ kind = \"globe\", diameter = \"20 cm\" }}\nat = {at}\naim = [0, 0.1, 0]\nmeters = \"f/8\"\n{more}"
    )
}

#[test]
fn things_may_not_be_in_the_same_place() {
    let in_figure = said(&format!("{HEAD}{}", globe("a", "[0, 1.3, 0]", "")));
    assert_eq!(
        in_figure[0],
        "11:8: error: light \"a\" is inside the figure | move it away from the mark: more distance, or another height"
    );
    let over = format!("{HEAD}{}", globe("a", "[0, 2.6, 0]", ""));
    assert_eq!(
        said(&over)[0],
        "11:8: error: the stand of light \"a\" passes through the figure | add stand = \"boom\", or move it",
    );
    says(&format!("{over}stand = \"boom\"\n"), "")
}

#[test]
fn bodies_keep_to_the_room() {
    head_says(
        &globe("a", "[-2, 0.05, 1.5]", ""),
        "11:8: error: light \"a\" reaches 5 cm below the floor | raise it by 5 cm or more",
    );
    let room = "[room]\nsize = \"5 x 11 x 3 m\"\n";
    for (at, how) in [
        ("[-2.0, 2.95, 1]", "5 cm above the ceiling"),
        ("[-2.45, 2, 1]", "5 cm through the camera-left wall"),
        ("[2.45, 2, 1]", "5 cm through the camera-right wall"),
        (
            "[2.0, 2, -5.45]",
            "5 cm through the wall behind the subject",
        ),
        ("[2.0, 2, 5.45]", "5 cm through the wall behind the camera"),
    ] {
        head_says(
            &format!("{room}{}", globe("a", at, "")),
            &format!(
                "13:8: error: light \"a\" reaches {how} | move it into the room, or make the room larger"
            ),
        );
    }
    head_says(
        "[room]\nsize = \"5 x 6 x 3 m\"\n",
        "5:1: error: the camera reaches 1.88 m through the wall behind the camera | move it into the room, or make the room larger",
    );
    head_says(
        "[room]\nsize = \"6 x 11 x 3 m\"\nbehind = \"1.5 m\"\n[backdrop]\nbehind = \"2 m\"\n",
        "14:10: error: the paper hangs 2 m behind the mark, but the wall is 1.5 m behind it | bring the paper nearer, or give the room a larger behind",
    );
}

#[test]
fn bodies_keep_apart() {
    let board = |name: &str, at: &str, more: &str| {
        format!(
            "[[board]]\nname = \"{name}\"\nfinish = \"white\"\nsize = \"1 x 1 m\"\nat = {at}\naim = [0, 1, 0]\n{more}"
        )
    };
    head_says(
        &format!(
            "{}{}",
            board("a", "[2, 1, 0]", ""),
            board("b", "[2.3, 1, 0.3]", "")
        ),
        "",
    );
    says(
        &format!(
            "{HEAD}{}{}",
            board("a", "[2, 1, 0]", ""),
            board("b", "[2, 1, 0.5]", "")
        ),
        "17:8: error: board \"b\" and board \"a\" are in the same place | move one of them",
    );
    says(
        &format!(
            "{HEAD}{}{}",
            board("a", "[2, 1, 0]", ""),
            globe("g", "[2.005, 2.4, 0]", "")
        ),
        "11:8: error: board \"a\" is where the stand of light \"g\" is | give that one stand = \"boom\", or move one of them",
    );
    says(
        &format!(
            "{HEAD}[backdrop]\nbehind = \"2 m\"\n{}",
            globe("g", "[-1.25, 1, -2]", "")
        ),
        "13:8: error: light \"g\" or its stand goes through the backdrop paper | move it forward, aside, or hang the paper further behind",
    );
}

#[test]
fn what_shows_in_frame_is_a_warning() {
    // Behind the subject, beside it, inside the picture of 1.3 m width at the mark.
    head_says(
        &globe("rim", "[0.5, 1.6, -0.5]", ""),
        "11:8: warning: light \"rim\" shows in frame, at the upper right | move it out of the picture, unless it is meant to show",
    );
    // High enough to be out, but its stand is not.
    head_says(
        &globe("top", "[-0.5, 2.6, -0.5]", ""),
        "11:8: warning: the stand of light \"top\" shows in frame, at the left | move it out of the picture, unless it is meant to show",
    );
    head_says(&globe("top", "[-0.5, 2.6, -0.5]", "stand = \"boom\"\n"), "");
    // Hidden by the figure, by paper, or behind the camera.
    head_says(
        &globe("hidden", "[0.03, 1.28, -0.4]", "stand = \"none\"\n").replace("20 cm", "10 cm"),
        "",
    );
    head_says(
        &format!(
            "[backdrop]\nbehind = \"1 m\"\n{}",
            globe("b", "[0.2, 1.2, -2]", "")
        ),
        "",
    );
    head_says(&globe("away", "[0, 1, 6]", ""), "");
}

// ---- files that are not what they should be

#[test]
fn broken_toml_is_reported_with_what_else_can_be_told() {
    let found = said(
        "[figure\nmodel = \"tall-dress-form\"\n[camera]\nframing = \"full-length\"\niso = -3\nheight = \"1\n",
    );
    assert_eq!(
        found,
        [
            "1:8: error: unclosed table, expected `]` | a line is key = value, a heading [camera] or [[light]], or a # comment",
            "5:7: error: `iso` of the camera: -3 is out of range | it can be 1 to 1000000",
            "6:12: error: invalid basic string, expected `\"` | text and quantities stand in quotes: height = \"2.1 m\"",
        ]
    );
    says(
        &format!("{HEAD}[camera]\n"),
        "10:2: error: duplicate key | remove one of the two; several lights, boards, flags or scrims are written [[light]] and so on",
    );
}

#[test]
fn everything_is_said_at_once_and_in_order() {
    let text = format!(
        "{}{LIGHT}height = \"tall\"\nmetrs = \"f/8\"\npower = \"2\"\n[[board]]\nname = \"key\"\nfinish = \"pink\"\n",
        HEAD.replace("model = \"tall-dress-form\"", "modle = \"x\"")
    );
    let found = problems(&text);
    let kinds: Vec<_> = found.list().iter().map(|p| (p.line, p.kind)).collect();
    assert_eq!(
        kinds,
        [
            (3, Kind::UnknownKey),
            (15, Kind::WrongQuantity),
            (16, Kind::UnknownKey),
            (17, Kind::WrongQuantity),
            (18, Kind::Missing),
            (18, Kind::Missing),
            (19, Kind::Duplicate),
            (20, Kind::UnknownWord),
        ]
    );
}

#[test]
fn columns_count_characters_and_lines_count_either_ending() {
    let text = "title = \"ünïcödé 鍵\" # é\r\n[camera]\r\nframing = \"half\"\r\niso = 0\r\n[figure]\r\nmodel = \"tall-dress-form\"\r\n";
    says(
        text,
        "4:7: error: `iso` of the camera: 0 is out of range | it can be 1 to 1000000",
    );
    let marked = format!("\u{feff}{text}");
    says(
        &marked,
        "4:7: error: `iso` of the camera: 0 is out of range | it can be 1 to 1000000",
    );
    let quoted = "x = \"é\"\n[camera]\nfocus = \"鍵鍵\"\nframing = \"half\"\n[figure]\nmodel = \"tall-dress-form\"\n";
    assert!(
        said(quoted)[1]
            .starts_with("3:9: error: `focus` of the camera: there is no point \"鍵鍵\"")
    );
}

#[test]
fn rendering_shows_the_line_and_the_hint() {
    let found =
        problems("[figure]\nmodel = \"tall-dress-form\"\n[camera]\nframing = \"half\"\niso = 0\n");
    assert_eq!(
        found.render(false),
        "s.toml:5:7: error: `iso` of the camera: 0 is out of range\n  │\n5 │ iso = 0\n  │       ^\n  │\n  = it can be 1 to 1000000\n\n"
    );
    let painted = found.render(true);
    assert!(painted.contains("\u{1b}[") && painted.contains("iso = "));
}

#[test]
fn hostile_text_does_not_reach_the_terminal() {
    let long = format!("x = \"{}\"\n", "y".repeat(100_000));
    let found = problems(&long).render(false);
    assert!(found.len() < 2_000, "{} bytes", found.len());
    let escape = "\"\\u001B[31m\" = 3\n\"evil\\u0007\" = 1\n";
    let found = problems(escape).render(false);
    assert!(
        found.chars().all(|c| !c.is_control() || c == '\n'),
        "{found:?}"
    );
    let name = parse("", "evil\u{1b}[2J\n.toml", &Fake)
        .expect_err("empty")
        .render(false);
    assert!(!name.contains('\u{1b}'));
}

#[test]
fn bytes_that_are_not_text_are_a_problem_with_a_place() {
    let found = parse_bytes(
        b"title = \"a\"\n\xff\xfe",
        "s.toml",
        &Fake,
        Options::default(),
    )
    .expect_err("not text");
    assert_eq!(
        found.list()[0].to_string(),
        "s.toml:2:1: error: this is not a text file: a byte here is not UTF-8"
    );
}

#[test]
fn modifier_files_are_checked_like_setups() {
    let found =
        parse_modifier("kind = \"disk\"\ncolour = \"1 m\"\n", "m.toml", "m").expect_err("bad");
    let said: Vec<_> = found.list().iter().map(ToString::to_string).collect();
    assert_eq!(
        said,
        [
            "m.toml:1:1: error: modifier \"m\" has no `diameter`",
            "m.toml:2:1: error: unknown key `colour` in modifier \"m\""
        ]
    );
}

#[test]
fn meter_constants_beyond_the_standard_are_said() {
    says(
        &HEAD.replace("[meter]", "[meter]\nreflected = 14"),
        "8:13: warning: `reflected` of the meter is outside the range of ISO 2720 | readings will differ from an ordinary meter's; flat is 240 to 400, dome 320 to 540, reflected 10.6 to 13.4",
    );
    says(
        &HEAD.replace("[meter]", "[meter]\nflat = 2500"),
        "8:8: error: `flat` of the meter: 2500 is out of range | it can be 120 to 800",
    );
}

#[test]
fn too_many_of_anything_is_refused() {
    let many: String = (0..65)
        .map(|i| globe(&i.to_string(), "[2, 1, 1]", ""))
        .collect();
    says(
        &format!("{HEAD}{many}"),
        "10:1: error: 65 lights are too many | a setup can hold 64 of them",
    );
}

/// Every key of the handbook is really read: a date in its place is refused there.
#[test]
fn every_known_key_is_read() {
    for section in keys::SECTIONS {
        for key in section.keys.iter().map(|k| k.name) {
            let bad = format!("{key} = 1979-05-27");
            // What must stand beside it, unless it is the key itself.
            let beside = |other: &str, value: &str| {
                if key == other {
                    String::new()
                } else {
                    format!("{other} = {value}")
                }
            };
            let figure = "[figure]\nmodel = \"tall-dress-form\"\n";
            let subject = format!("{figure}[camera]\nframing = \"half\"\n");
            let panel = "modifier = { kind = \"panel\", size = \"1 x 1 m\" }";
            let comma = |text: String| {
                if text.is_empty() {
                    text
                } else {
                    format!("{text}, ")
                }
            };
            let text = match section.name {
                "setup" => format!("{bad}\n"),
                "room" => format!("{subject}[room]\n{bad}\n"),
                "room reflectance" => {
                    format!("{subject}[room]\nsize = \"6 x 9 x 3 m\"\nreflectance = {{ {bad} }}\n")
                }
                "backdrop" => format!("{subject}[backdrop]\n{bad}\n"),
                "figure" => format!(
                    "[figure]\n{}\n{bad}\n",
                    beside("model", "\"tall-dress-form\"")
                ),
                "swatch" => format!("{subject}[swatch]\n{bad}\n"),
                "camera" => format!(
                    "{figure}[camera]\n{}\n{bad}\n",
                    beside("framing", "\"half\"")
                ),
                "light" => format!("{subject}[[light]]\n{bad}\n"),
                "modifier" => format!(
                    "{subject}[[light]]\nmodifier = {{ {}{bad} }}\n",
                    comma(beside("kind", "\"spot\""))
                ),
                "grid" => format!("{subject}[[light]]\n{panel}\ngrid = {{ {bad} }}\n"),
                "head" => format!("{subject}[[light]]\n{panel}\nhead = {{ {bad} }}\n"),
                "board" => format!("{subject}[[board]]\n{bad}\n"),
                "scrim" => format!("{subject}[[scrim]]\n{bad}\n"),
                "cloth" => format!("{subject}[[scrim]]\ncloth = {{ {bad} }}\n"),
                "meter" => format!("{subject}[meter]\n{bad}\n"),
                "meter point" => format!(
                    "{subject}[meter]\nexpose_at = {{ {}{bad} }}\n",
                    comma(beside("at", "\"chest\""))
                ),
                other => panic!("a section without a test: {other}"),
            };
            let at = text.find("1979").expect("there");
            let found = problems(&text);
            assert!(
                found
                    .list()
                    .iter()
                    .any(|p| p.severity == Severity::Error && p.span.start == at),
                "`{key}` of {} is not read:\n{text}\n{found}",
                section.written
            );
        }
    }
}

// ---- nothing panics

fn any_setup() -> impl Strategy<Value = String> {
    let mut texts: Vec<String> = std::fs::read_dir(models().join("setups"))
        .expect("models/setups")
        .map(|e| std::fs::read_to_string(e.expect("entry").path()).expect("text"))
        .collect();
    texts.sort();
    prop::sample::select(texts)
}

/// Parses and renders, in both ways.
fn chew(text: &str) {
    let found = problems(text);
    for p in found.list() {
        assert!(
            text.get(p.span.clone()).is_some() || p.file != "s.toml",
            "{p}"
        );
        assert!(p.line >= 1 && p.column >= 1);
        assert!(!p.message.is_empty());
    }
    found.render(false);
    found.render(true);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn edited_setups_never_panic(text in any_setup(), edits in prop::collection::vec(
        (any::<prop::sample::Index>(), any::<prop::sample::Index>(), 0..7_u8, any::<char>()), 1..6)) {
        let mut chars: Vec<char> = text.chars().collect();
        for (a, b, what, c) in edits {
            if chars.is_empty() {
                break;
            }
            let (a, b) = (a.index(chars.len()), b.index(chars.len()));
            match what {
                0 => { chars.remove(a); }
                1 => chars.insert(a, c),
                2 => chars[a] = c,
                3 => chars.swap(a, b),
                4 => { chars.drain(a.min(b)..a.max(b).min(a.min(b) + 40)); }
                5 => chars[a] = ['"', '[', ']', '{', '}', '=', '.', '-', '0', '9', '\n'][b % 11],
                _ => {
                    let piece: Vec<char> = chars[a.min(b)..a.max(b).min(a.min(b) + 200)].to_vec();
                    chars.splice(a..a, piece);
                }
            }
        }
        chew(&chars.into_iter().collect::<String>());
    }

    #[test]
    fn swapped_values_never_panic(text in any_setup(), line in any::<prop::sample::Index>(), value in prop::sample::select(vec![
        "0", "-1", "1e308", "nan", "inf", "-inf", "true", "\"\"", "\"0 m\"", "\"1e300 m\"", "\"-90 deg left\"", "[]", "[0,0,0]",
        "[nan, inf, 0]", "{}", "[[]]", "1979-05-27", "\"f/0\"", "\"0 x 0 m\"", "\"camera\"", "\"light \"", "\"#gggggg\"", "\"#é99999\"",
        "\"left\"", "\" toward camera\"", "\"é left\"", "0xffffffffffffffffffff", "\"1 m left\"", "\"0 J\"", "\"floor\"", "\"swatch\"", "\"up\"",
    ])) {
        let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
        let keys: Vec<usize> = (0..lines.len()).filter(|i| lines[*i].contains(" = ")).collect();
        let at = keys[line.index(keys.len())];
        let key = lines[at].split(" = ").next().unwrap_or_default().to_owned();
        lines[at] = format!("{key} = {value}");
        chew(&lines.join("\n"));
    }

    #[test]
    fn random_text_never_panics(text in "\\PC{0,200}", bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        chew(&text);
        let found = parse_bytes(&bytes, "s.toml", &Fake, Options::default());
        prop_assert!(found.is_err(), "random bytes are no setup");
        let _ = parse_modifier(&text, "m.toml", "m").map_err(|p| p.render(true));
    }

    #[test]
    fn deep_nesting_never_panics(depth in 1..5000_usize) {
        chew(&format!("a = {}", "[".repeat(depth)));
        chew(&format!("a = {}1{}", "[".repeat(depth), "]".repeat(depth)));
        chew(&format!("a{} = 1", ".a".repeat(depth)));
    }
}
