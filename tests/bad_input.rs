//! Bad setups: each kind of mistake gets its own message, with its place and a way out, all
//! at once; and nothing that is fed in makes the parser panic.

#[path = "common/library.rs"]
mod library;

use library::{Fake, models};
use proptest::prelude::*;
use swatchlight::optics::prescribe::{lens_spot, prescribe};
use swatchlight::optics::table::Pattern;
use swatchlight::setup::{
    Kind, ModifierKind, Options, Problems, Severity, keys, parse, parse_bytes, parse_modifier,
};

/// A good beginning of nine lines; what a test adds starts on line 10.
const HEAD: &str = "title = \"test\"\n\
[figure]\n\
model = \"woman\"\n\
garment = \"shift\"\n\
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
        &HEAD.replace("woman", "womna"),
        "3:9: error: there is no figure \"womna\" | did you mean \"woman\"? Known: woman, man, woman-curls, woman-tied-back",
    );
    says(
        &HEAD.replace("shift", "ball-gown"),
        "4:11: error: there is no garment \"ball-gown\" | known: shift, fit-and-flare-dress, slip-dress, suit-trousers, cotton-shirt, wool-jumper",
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
        "[figure\nmodel = \"woman\"\n[camera]\nframing = \"full-length\"\niso = -3\nheight = \"1\n",
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
        HEAD.replace("model = \"woman\"", "modle = \"x\"")
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
    let text = "title = \"ünïcödé 鍵\" # é\r\n[camera]\r\nframing = \"half\"\r\niso = 0\r\n[figure]\r\nmodel = \"woman\"\r\n";
    says(
        text,
        "4:7: error: `iso` of the camera: 0 is out of range | it can be 1 to 1000000",
    );
    let marked = format!("\u{feff}{text}");
    says(
        &marked,
        "4:7: error: `iso` of the camera: 0 is out of range | it can be 1 to 1000000",
    );
    let quoted =
        "x = \"é\"\n[camera]\nfocus = \"鍵鍵\"\nframing = \"half\"\n[figure]\nmodel = \"woman\"\n";
    assert!(
        said(quoted)[1]
            .starts_with("3:9: error: `focus` of the camera: there is no point \"鍵鍵\"")
    );
}

#[test]
fn rendering_shows_the_line_and_the_hint() {
    let found = problems("[figure]\nmodel = \"woman\"\n[camera]\nframing = \"half\"\niso = 0\n");
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
            let figure = "[figure]\nmodel = \"woman\"\n";
            let subject = format!("{figure}[camera]\nframing = \"half\"\n");
            let panel = "modifier = { kind = \"panel\", size = \"1 x 1 m\" }";
            let comma = |text: String| {
                if text.is_empty() {
                    text
                } else {
                    format!("{text}, ")
                }
            };
            let traced = |kind: &str, table: &str, bad: &str| {
                format!(
                    "{subject}[[light]]\nmodifier = {{ kind = \"{kind}\", diameter = \"90 cm\", \
                     depth = \"40 cm\", {table} = {{ {bad} }} }}\n"
                )
            };
            let text = match section.name {
                "setup" => format!("{bad}\n"),
                "room" => format!("{subject}[room]\n{bad}\n"),
                "room reflectance" => {
                    format!("{subject}[room]\nsize = \"6 x 9 x 3 m\"\nreflectance = {{ {bad} }}\n")
                }
                "backdrop" => format!("{subject}[backdrop]\n{bad}\n"),
                "figure" => format!("[figure]\n{}\n{bad}\n", beside("model", "\"woman\"")),
                "swatch" => format!("{subject}[swatch]\n{bad}\n"),
                "camera" => format!(
                    "{figure}[camera]\n{}\n{bad}\n",
                    beside("framing", "\"half\"")
                ),
                "light" => format!("{subject}[[light]]\n{bad}\n"),
                // Of the kinds that take it, at least one; see below.
                "modifier" => continue,
                "lamp" | "finish" => traced("bowl", section.name, &bad),
                "housing" => traced("paraboloid", section.name, &bad),
                "travel" => traced("fresnel", section.name, &bad),
                "scale" => traced("paraboloid", section.name, &bad),
                "modifier cloth" => traced("softbox", "cloth", &bad),
                "cover" => format!("{subject}[[light]]\n{panel}\ncover = {{ {bad} }}\n"),
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

/// The kinds of the handbook.
fn kinds() -> Vec<&'static str> {
    let section = keys::SECTIONS.iter().find(|s| s.name == "modifier");
    let key = section.and_then(|s| s.keys.iter().find(|k| k.name == "kind"));
    let takes = key.map_or("", |k| k.takes);
    takes.split('"').skip(1).step_by(2).collect()
}

/// Every key of a modifier is read by one kind at least, not only refused as another kind's.
#[test]
fn every_modifier_key_is_read_by_some_kind() {
    assert_eq!(kinds().len(), 17);
    let section = keys::SECTIONS.iter().find(|s| s.name == "modifier");
    for key in section.expect("there").keys.iter().map(|k| k.name) {
        let is_read = |kind: &&str| {
            let kind = if key == "kind" {
                String::new()
            } else {
                format!("kind = \"{kind}\"\n")
            };
            let text = format!("{kind}{key} = 1979-05-27\n");
            let at = text.find("1979").expect("there");
            let found = parse_modifier(&text, "m.toml", "m").expect_err("a date");
            found
                .list()
                .iter()
                .any(|p| p.span.start == at && p.kind != Kind::Conflict)
        };
        assert!(kinds().iter().any(is_read), "no kind reads `{key}`");
    }
}

// ---- modifiers that cannot be built

/// What is said of a modifier file, as [`said`].
#[track_caller]
fn modifier_says(text: &str, expected: &str) {
    let found: Vec<String> = match parse_modifier(text, "m.toml", "m") {
        Ok(_) => Vec::new(),
        Err(found) => found
            .list()
            .iter()
            .map(|p| format!("{}:{}: {} | {}", p.line, p.column, p.message, p.hint))
            .collect(),
    };
    assert_eq!(found.join("\n"), expected, "\n{text}");
}

const PARABOLOID: &str = "kind = \"paraboloid\"\ndiameter = \"1.2 m\"\ndepth = \"50 cm\"\n";
const DISH: &str = "kind = \"dish\"\ndiameter = \"55 cm\"\ndepth = \"18 cm\"\n";
const BOX: &str = "kind = \"softbox\"\nsize = \"60 x 90 cm\"\ndepth = \"40 cm\"\n";
const UMBRELLA: &str = "kind = \"umbrella\"\ndiameter = \"1 m\"\ndepth = \"18 cm\"\n";
const LENS: &str = "kind = \"lens-spot\"\ndiameter = \"10 cm\"\ngate = \"40 mm\"\n";

#[test]
fn bowls_that_cannot_be_built_are_refused() {
    for (text, expected) in [
        (
            format!("{PARABOLOID}travel = {{ tight = \"18 cm\", wide = \"60 cm\" }}\n"),
            "4:10: modifier \"m\": the lamp goes through the rim: its lit end is 64 cm from the bottom, the rim 50 cm | put its middle 46 cm or less from the bottom",
        ),
        (
            format!("{PARABOLOID}travel = {{ tight = \"2 cm\", wide = \"30 cm\" }}\n"),
            "4:10: modifier \"m\": the lamp goes through the bottom: its middle is 2 cm from it, and the lit part is 8 cm long | put its middle 4 cm or more from the bottom",
        ),
        (
            format!("{PARABOLOID}travel = {{ tight = \"20 cm\", wide = \"20 cm\" }}\n"),
            "4:36: the travel of modifier \"m\": both ends of the travel are at 20 cm | measure the lamp's middle at both ends, or remove travel",
        ),
        (
            format!("{PARABOLOID}lamp = {{ diameter = \"70 cm\", length = \"70 cm\" }}\ntravel = {{ tight = \"36 cm\", wide = \"40 cm\" }}\n"),
            "5:10: modifier \"m\": the lamp goes through the rim: its lit end is 71 cm from the bottom, the rim 50 cm | put its middle 15 cm or less from the bottom\n\
             5:10: modifier \"m\": the lamp goes through the rim: its lit end is 75 cm from the bottom, the rim 50 cm | put its middle 15 cm or less from the bottom",
        ),
        (
            format!("{PARABOLOID}housing = {{ diameter = \"1.1 m\", length = \"15 cm\" }}\n"),
            "4:11: modifier \"m\": the housing does not fit: there the inside is only 79.6 cm wide | measure the housing and where it stands once more",
        ),
        (
            format!("{PARABOLOID}lamp = {{ diameter = \"10 cm\", length = \"5 cm\" }}\n"),
            "4:39: the lamp of modifier \"m\": the lit part is 5 cm long but 10 cm wide: its ends are round, so it is at least as long | write a longer length; the same as the diameter makes a ball",
        ),
        (
            format!("{PARABOLOID}sides = 2\nhousng = 3\n"),
            "4:9: `sides` of modifier \"m\": 2 is out of range | it can be 3 to 32\n\
             5:1: unknown key `housng` in modifier \"m\" | did you mean `housing`?",
        ),
        (
            "kind = \"paraboloid\"\ndiameter = \"1.6 m\"\ndepth = \"30 cm\"\n".to_owned(),
            "3:9: modifier \"m\": the focus is 53.3 cm from the bottom, where a lamp 8 cm long has no room in a bowl 30 cm deep | measure diameter and depth once more, or give travel = { tight = …, wide = … }, the lamp's middle from the bottom",
        ),
        (
            format!("{DISH}plate = \"60 cm\"\n"),
            "4:9: modifier \"m\": the plate of 60 cm is larger than the dish of 55 cm | write the diameter of the plate before the lamp",
        ),
        (
            format!("{DISH}plate_at = \"20 cm\"\n"),
            "4:12: modifier \"m\": the plate is 20 cm from the bottom, but it must be between the lamp and the rim | it can be 10 cm to 18 cm",
        ),
        (
            format!("{DISH}plate = \"50 cm\"\nplate_at = \"12 cm\"\n"),
            "5:12: modifier \"m\": the plate of 50 cm does not fit: there the dish is only 44.9 cm wide | write a smaller plate, or one farther from the bottom",
        ),
        (
            format!("{DISH}lamp_at = \"15 cm\"\n"),
            "4:11: modifier \"m\": the lamp goes through the rim: its lit end is 19 cm from the bottom, the rim 18 cm | put its middle 14 cm or less from the bottom",
        ),
        (
            "kind = \"bowl\"\ndiameter = \"20 cm\"\ndepth = \"15 cm\"\nshape = \"sphere\"\n".to_owned(),
            "3:9: modifier \"m\": 15 cm deep and 20 cm across is more than half a ball | it can be up to 10 cm deep",
        ),
        (
            "kind = \"bowl\"\ndiameter = \"20 cm\"\ndepth = \"15 cm\"\nback = \"6 cm\"\n".to_owned(),
            "4:8: modifier \"m\": only a cone has a flat back | remove back, or write shape = \"cone\"",
        ),
        (
            "kind = \"bowl\"\ndiameter = \"6 cm\"\ndepth = \"15 cm\"\nlamp = { diameter = \"5 cm\" }\n".to_owned(),
            "1:1: modifier \"m\": the lamp does not fit: there the inside is only 2.4 cm wide | measure the lamp and where it stands once more",
        ),
        (
            "kind = \"bowl\"\ndiameter = \"20 cm\"\ndepth = \"15 cm\"\nfinish = { surface = \"white\", panels = \"5 x 18\" }\n".to_owned(),
            "4:40: the finish of modifier \"m\": a matt surface has no `panels` | remove panels, or write surface = \"silver\"",
        ),
        (
            format!("{UMBRELLA}lamp_at = \"3 cm\"\n"),
            "4:11: modifier \"m\": the lamp goes through the top: its middle is 3 cm from it, and the lit part is 8 cm long | put its middle 4 cm or more from the top",
        ),
        (
            // A cup's mouth has no length, so that alone does not keep it off the cloth.
            "kind = \"shoot-through\"\ndiameter = \"1 m\"\ndepth = \"20 cm\"\ncloth = \"half\"\ncup = \"16 cm\"\nlamp_at = \"0 m\"\n".to_owned(),
            "6:11: modifier \"m\": the lamp goes through the top: its middle is 0 m from it, and the lit part is 0 m long | put its middle 5 mm or more from the top",
        ),
        (
            format!("{UMBRELLA}cup = \"16 cm\"\nlamp = {{ diameter = \"5 cm\" }}\n"),
            "4:7: modifier \"m\": `lamp` and `cup` both say what is lit | keep one of them: lamp for a bare tube, cup for the mouth of the head's own reflector",
        ),
        (
            format!("{UMBRELLA}cloth = \"half\"\n"),
            "4:9: modifier \"m\": its lamp stands in front of the rim, where the cloth would be | leave the cloth off, or put the lamp's middle at 14 cm or nearer to the top",
        ),
        (
            format!("{UMBRELLA}lamp_at = \"50 cm\"\ntravel = {{ tight = \"40 cm\", wide = \"60 cm\" }}\n"),
            "5:10: modifier \"m\": `lamp_at` and `travel` both say where its lamp is | keep one of them",
        ),
        (
            "kind = \"shoot-through\"\ndiameter = \"1 m\"\ndepth = \"20 cm\"\ngrid = \"40 deg\"\n".to_owned(),
            "1:1: modifier \"m\" has no `cloth` | add cloth = \"half\", or \"light\", \"full\" or its shares: a shoot-through is made of it\n\
             4:8: modifier \"m\": a shoot-through bulges, so it has no flat front to put a grid on | remove the grid",
        ),
    ] {
        modifier_says(&text, expected);
    }
}

#[test]
fn boxes_and_lenses_that_cannot_be_built_are_refused() {
    for (text, expected) in [
        (
            format!("{BOX}recess = \"6 cm\"\nbaffle_at = \"4 cm\"\n"),
            "5:13: modifier \"m\": the baffle is in front of the front cloth | put it 6 cm to 30 cm behind the front edge, behind the cloth",
        ),
        (
            format!("{BOX}baffle_at = \"-4 cm\"\n"),
            "4:13: `baffle_at` of modifier \"m\": -4 cm is negative | it can be 0 m to 5 m",
        ),
        (
            format!("{BOX}baffle_at = \"35 cm\"\n"),
            "4:13: modifier \"m\": the lamp goes through the baffle | put it 0 m to 30 cm behind the front edge, in front of the lamp",
        ),
        (
            format!("{BOX}baffle_at = \"50 cm\"\n"),
            "4:13: modifier \"m\": the baffle is behind the back of the box | put it 0 m to 30 cm behind the front edge, in front of the lamp",
        ),
        (
            format!("{BOX}recess = \"40 cm\"\n"),
            "4:10: modifier \"m\": the lip is deeper than the box of 40 cm | write how far the front cloth lies behind the edge",
        ),
        (
            format!("{BOX}back = \"80 x 20 cm\"\n"),
            "4:8: modifier \"m\": the back of 80 cm x 20 cm is larger than the face | write width x height of the flat back, or leave it out",
        ),
        (
            format!("{BOX}lamp_at = \"38 cm\"\n"),
            "4:11: modifier \"m\": the lamp goes through the front: its lit end is 42 cm from the back, the front 40 cm | put its middle 36 cm or less from the back",
        ),
        (
            format!("{BOX}plate = \"10 cm\"\n"),
            "4:9: modifier \"m\": a softbox has no `plate` | a softbox takes size, depth, back, finish, recess, baffle_at, lamp, housing, lamp_at",
        ),
        (
            LENS.to_owned(),
            "1:1: modifier \"m\" has no `focal_length` | add focal_length = \"15 cm\", or beam = \"20 deg\", the full angle of the sharp beam",
        ),
        (
            format!("{LENS}beam = \"20 deg\"\nfocal_length = \"15 cm\"\n"),
            "4:8: modifier \"m\": `focal_length` and `beam` both say how wide it shines | keep one of them",
        ),
        (
            format!("{LENS}focal_length = \"15 cm\"\nsharp_at = \"12 cm\"\n"),
            "5:12: modifier \"m\": a lens of 15 cm focal length makes no sharp edge at 12 cm | write 16.5 cm or more",
        ),
        (
            format!("{LENS}focal_length = \"15 cm\"\ndepth = \"16 cm\"\n"),
            "5:9: modifier \"m\": the gate goes back to 19.7 cm behind the lens, but the body is only 16 cm deep | write 19.7 cm or more, or a shorter lens",
        ),
        (
            "kind = \"fresnel\"\ndiameter = \"20 cm\"\nfocal_length = \"20 cm\"\ndepth = \"22 cm\"\n".to_owned(),
            "4:9: modifier \"m\": the lamp goes through the back of the body: its lit end is 24 cm from the lens, the back of the body 22 cm | put its middle 18 cm or less from the lens",
        ),
        (
            "kind = \"bare-lamp\"\ndiameter = \"10 cm\"\nhousing = { diameter = \"12 cm\", length = \"20 cm\" }\n".to_owned(),
            "3:11: modifier \"m\": the head of 12 cm is wider than the dome of 10 cm | write the diameter where the dome sits on it",
        ),
        (
            "kind = \"bare-lamp\"\ndiameter = \"10 cm\"\ncloth = \"half\"\n".to_owned(),
            "3:9: modifier \"m\": a bare-lamp has no front to put a cloth on | remove the cloth",
        ),
    ] {
        modifier_says(&text, expected);
    }
}

#[test]
fn cloths_covers_and_scales_are_checked() {
    for (text, expected) in [
        (
            format!("{BOX}cloth = {{ straight = 0.5, scattered = 0.6 }}\n"),
            "4:9: the cloth of modifier \"m\": it sends on 1.1 of the light it gets | straight, spread, scattered and reflected may come to 1 together",
        ),
        (
            format!("{BOX}baffle = {{ reflected = 0.5 }}\n"),
            "4:10: the baffle of modifier \"m\": it passes no light | write straight, spread or scattered; for a black cloth use cover",
        ),
        (
            format!("{BOX}cloth = \"silk\"\n"),
            "4:9: `cloth` of modifier \"m\": \"silk\" is not a cloth | it can be \"none\", \"light\", \"half\", \"full\", a loss such as \"1 stop\", or { spread = 0.2, sigma = 0.3, scattered = 0.3 }",
        ),
        (
            format!("{BOX}cover = {{ side = \"lft\" }}\n"),
            "4:18: `side` of the cover of modifier \"m\": \"lft\" is not known | did you mean \"left\"? It can be \"left\", \"right\", \"top\", \"bottom\"",
        ),
        (
            format!("{BOX}skirt = \"3 m\"\n"),
            "4:9: `skirt` of modifier \"m\": 3 m is too large | it can be 5 mm to 2 m",
        ),
        (
            format!("{PARABOLOID}baffle = \"half\"\n"),
            "4:10: modifier \"m\": a paraboloid has no room for a baffle | remove the baffle: a softbox and an octabox take one",
        ),
        (
            format!("{UMBRELLA}scale = {{ tight = 10, wide = 0 }}\n"),
            "4:9: modifier \"m\": its lamp does not travel, so a scale has nothing to mark | remove scale, or add travel = { tight = \"20 cm\", wide = \"40 cm\" }",
        ),
        (
            format!("{PARABOLOID}scale = {{ tight = 10 }}\n"),
            "4:9: the scale of modifier \"m\" has no `wide` | add tight = 10 and wide = 0 as they are printed, or marks = [[10, \"12 cm\"], [0, \"30 cm\"]]",
        ),
        (
            format!("{PARABOLOID}scale = {{ tight = 3, wide = 3 }}\n"),
            "4:29: the scale of modifier \"m\": its marks do not all rise or all fall along the travel | write the marks as they are printed; 10 to 0 is as good as 0 to 10",
        ),
        (
            format!("{PARABOLOID}scale = {{ marks = [[10, 0], [5, 0.7], [8, 1]] }}\n"),
            "4:19: the scale of modifier \"m\": its marks do not all rise or all fall along the travel | write the marks as they are printed; 10 to 0 is as good as 0 to 10",
        ),
        (
            format!("{PARABOLOID}scale = {{ marks = [[10, 0], [0, \"45 cm\"]] }}\n"),
            "4:33: `marks` of the scale of modifier \"m\": the lamp does not travel as far | its middle goes from 18 cm to 37.8 cm",
        ),
        (
            format!("{PARABOLOID}scale = {{ tight = 1, marks = [[10, 0], [5, 0]] }}\n"),
            "4:19: the scale of modifier \"m\": `tight` and `marks` both say where the marks are | keep tight and wide, or keep marks",
        ),
    ] {
        modifier_says(&text, expected);
    }
}

#[test]
fn lights_cannot_put_on_what_does_not_fit() {
    let light = |modifier: &str, lines: &str| {
        let own = "{ kind = \"panel\", size = \"1 x 1 m\" }";
        let light = LIGHT.replace(own, modifier);
        format!("{HEAD}{light}height = \"1.9 m\"\nmeters = \"f/8\"\n{lines}")
    };
    let no_scale = "{ kind = \"paraboloid\", diameter = \"75 cm\", depth = \"42 cm\" }";
    for (modifier, lines, expected) in [
        (
            "\"paraboloid-120\"",
            "spread = 0.3\nmark = \"3\"\n",
            "18:8: error: light \"key\": `spread` and `mark` both say where its lamp stands | keep one of them",
        ),
        (
            "\"paraboloid-120\"",
            "mark = \"12\"\n",
            "17:8: error: `mark` of light \"key\": 12 is not on the scale of \"paraboloid-120\" | its scale goes from 10 (tight) to 0 (wide)",
        ),
        (
            "\"paraboloid-120\"",
            "mark = \"three\"\n",
            "17:8: error: `mark` of light \"key\": \"three\" is not a mark | write the number on the rod, such as \"3\" or 3.5",
        ),
        (
            no_scale,
            "mark = 3\n",
            "17:8: error: light \"key\": the modifier \"paraboloid\" has no scale | write spread = 0 (tight) to 1 (wide), or add scale = { tight = 10, wide = 0 } to the modifier",
        ),
        (
            "\"umbrella-100-white\"",
            "spread = 0.3\n",
            "17:10: error: light \"key\": an umbrella has no spread | remove spread: the modifier says of no travel = { tight = …, wide = … }",
        ),
        (
            "\"lens-spot-20\"",
            "cloth = \"half\"\n",
            "17:9: error: light \"key\": a lens-spot takes no cloth: it would not be one any more | remove the cloth, or hold a [[scrim]] before it",
        ),
        (
            "\"round-panel-70\"",
            "cloth = \"half\"\n",
            "17:9: error: light \"key\": a disk is an even, matt face already, whatever cloth it has | remove the cloth, or hold a [[scrim]] before it; a softbox takes a cloth",
        ),
        (
            "\"paraboloid-120\"",
            "baffle = \"half\"\n",
            "17:10: error: light \"key\": a paraboloid has no room for a baffle | remove the baffle: a softbox and an octabox take one",
        ),
        (
            "\"globe-20\"",
            "grid = \"egg-crate\"\n",
            "17:8: error: light \"key\": a globe has no front to put a grid on | remove the grid",
        ),
        (
            "\"shoot-through-100\"",
            "cloth = \"half\"\n",
            "17:9: error: light \"key\": a shoot-through is made of its cloth | remove the cloth here, and set cloth in the modifier",
        ),
        (
            "\"shoot-through-100\"",
            "skirt = \"10 cm\"\n",
            "17:9: error: light \"key\": a shoot-through bulges, so it has no flat front to put a skirt on | remove the skirt",
        ),
        (
            "\"tube-120\"",
            "cover = { side = \"left\" }\n",
            "17:9: error: light \"key\": a tube has no front to put a cover on | remove the cover",
        ),
        (
            "\"octabox-140\"",
            "focus = 0.5\n",
            "17:9: error: light \"key\": an octabox has no focus | remove focus: only a lens-spot has one",
        ),
    ] {
        says(&light(modifier, lines), expected);
    }
}

/// Bodies of traced kinds: as deep as they are behind the face, and what stands out in front.
#[test]
fn traced_modifiers_have_bodies() {
    let light = |modifier: &str, at: &str, more: &str| {
        format!(
            "{HEAD}[[light]]\nname = \"a\"\nmodifier = {modifier}\nat = {at}\naim = [0, 1.3, 0]\n\
             stand = \"boom\"\nmeters = \"f/8\"\n{more}"
        )
    };
    let paraboloid = "\"paraboloid-120\"";
    let room = "[room]\nsize = \"6 x 11 x 3 m\"\n";
    // Its face is 2.6 m from the mark, its bottom 0.5 m farther, at 3.1 m: 10 cm through the wall.
    says(
        &light(paraboloid, "[-2.6, 1.3, 0]", room),
        "11:8: error: light \"a\" reaches 10 cm through the camera-left wall | move it into the room, or make the room larger",
    );
    says(&light(paraboloid, "[-2.4, 1.3, 0]", room), "");
    // 60 cm of bowl below its middle.
    says(
        &light(paraboloid, "[-2, 0.5, 0]", "feather = \"0 deg up\"\n")
            .replace("aim = [0, 1.3, 0]", "aim = [0, 0.5, 0]"),
        "11:8: error: light \"a\" reaches 10 cm below the floor | raise it by 10 cm or more",
    );
    let inside = |modifier: &str, at: &str, more: &str| {
        said(&light(modifier, at, more)).first().is_some_and(|s| {
            s == "11:8: error: light \"a\" is inside the figure | move it away from the mark: more distance, or another height"
        })
    };
    // The fake figure's arm reaches 29 cm to the left at 1.3 m. A shoot-through's cloth stands out
    // 20 cm, and a skirt as far as it is deep.
    let at = "[-0.45, 1.3, 0]";
    assert!(inside("\"shoot-through-100\"", at, ""));
    assert!(!inside("\"octabox-140\"", at, ""));
    assert!(inside("\"octabox-140\"", at, "skirt = \"20 cm\"\n"));
    // The lamp of the shallow umbrella stands 37 cm in front of its rim, its head 52 cm.
    assert!(inside("\"umbrella-100-white\"", "[-0.7, 1.3, 0]", ""));
    assert!(!inside("\"umbrella-100-white\"", "[-0.95, 1.3, 0]", ""));
    // At the focus the head of the bowl ends inside; at the wide end it stands out 6.8 cm.
    assert!(inside(paraboloid, "[-0.33, 1.3, 0]", "spread = 1\n"));
    assert!(!inside(paraboloid, "[-0.33, 1.3, 0]", "spread = 0\n"));
    // A bare lamp's head is behind its dome.
    assert!(inside("\"bare-lamp-10\"", "[0.4, 1.3, 0]", "").eq(&false));
    assert!(inside("\"bare-lamp-10\"", "[-0.35, 1.3, 0]", "").eq(&false));
    let turned = light("\"bare-lamp-10\"", "[0.42, 1.3, 0]", "")
        .replace("aim = [0, 1.3, 0]", "aim = [2, 1.3, 0]");
    assert!(said(&turned)[0].contains("inside the figure"));
}

// ---- nothing panics

fn any_modifier() -> impl Strategy<Value = String> {
    let mut texts: Vec<String> = std::fs::read_dir(models().join("modifiers"))
        .expect("models/modifiers")
        .map(|entry| entry.expect("entry").path())
        .filter(|path| path.extension().is_some_and(|e| e == "toml"))
        .map(|path| std::fs::read_to_string(path).expect("text"))
        .collect();
    texts.sort();
    prop::sample::select(texts)
}

fn any_setup() -> impl Strategy<Value = String> {
    let mut texts: Vec<String> = std::fs::read_dir(models().join("setups"))
        .expect("models/setups")
        .map(|e| e.expect("entry").path())
        .filter(|path| path.extension().is_some_and(|e| e == "toml"))
        .map(|path| std::fs::read_to_string(path).expect("text"))
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
    fn swapped_values_of_modifiers_never_panic(text in any_modifier(), line in any::<prop::sample::Index>(), value in prop::sample::select(vec![
        "0", "-1", "1e308", "nan", "inf", "true", "\"\"", "\"0 m\"", "\"1 mm\"", "\"2.99 m\"", "\"20 m\"", "\"none\"", "\"full\"", "[]", "{}",
        "1979-05-27", "\"0.1 x 0.1 mm\"", "\"175 deg\"", "\"0.5 deg\"", "{ tight = \"0 m\", wide = \"5 m\" }", "{ marks = [[0, 0], [1, 1e-9]] }",
        "{ marks = [[0, 1], [1e6, 0]] }", "{ straight = 1 }", "{ diameter = \"1 mm\" }", "{ diameter = \"20 m\", length = \"20 m\" }", "{ side = \"top\", share = 0.99 }",
        "\"paraboloid\"", "\"softbox\"", "\"lens-spot\"", "\"fresnel\"", "\"umbrella\"", "\"dish\"", "\"bowl\"", "\"octabox\"", "\"bare-lamp\"", "\"cone\"", "\"sphere\"",
    ])) {
        let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
        let keys: Vec<usize> = (0..lines.len()).filter(|i| lines[*i].contains(" = ")).collect();
        let at = keys[line.index(keys.len())];
        let key = lines[at].split(" = ").next().unwrap_or_default().to_owned();
        lines[at] = format!("{key} = {value}");
        match parse_modifier(&lines.join("\n"), "m.toml", "m") {
            Ok(modifier) => {
                // What is accepted can be used at any setting.
                for spread in [0.0, 0.5, 1.0] {
                    prop_assert!(modifier.lamp_at_m(spread).is_none_or(|at| at.is_finite() && at > 0.0));
                    prop_assert!(modifier.mark_of_spread(spread).is_none_or(f64::is_finite));
                    if let Some(p) = prescribe(&modifier, spread) {
                        prop_assert!(p.lamp.centre_z_m.is_finite());
                        prop_assert!(p.lamp.housing.is_none_or(|h| h.length_m > 0.0));
                    }
                }
                if let ModifierKind::LensSpot(spot) = modifier.kind {
                    let Pattern::Gate { luminance, distance_m, radius_m, .. } =
                        lens_spot(&spot, None).pattern
                    else {
                        panic!("a gate")
                    };
                    let sound = |v: f64| v.is_finite() && v > 0.0;
                    prop_assert!(sound(luminance) && sound(distance_m) && sound(radius_m));
                }
                prop_assert!(modifier.kind.face_m().iter().all(|side| *side > 0.0));
                prop_assert!(modifier.body_depth_m >= 0.0);
            }
            Err(found) => prop_assert!(!found.render(true).is_empty()),
        }
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
