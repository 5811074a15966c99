//! Every key a setup may hold, as data: the parser refuses what is not here, suggests the
//! nearest of these for a misspelling, and the handbook's tables are made from them.

/// One key of a section.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Key {
    /// As written in the file.
    pub name: &'static str,
    /// What may be written, with its unit.
    pub takes: &'static str,
    /// What holds when the key is left out; "required" when it may not be.
    pub default: &'static str,
    /// What it means.
    pub about: &'static str,
}

/// A table of the file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Section {
    /// As written in the file: `[room]`, `[[light]]`, `modifier = { … }`.
    pub written: &'static str,
    /// What messages call it.
    pub name: &'static str,
    /// In the order of the handbook.
    pub keys: &'static [Key],
}

const fn key(
    name: &'static str,
    takes: &'static str,
    default: &'static str,
    about: &'static str,
) -> Key {
    Key {
        name,
        takes,
        default,
        about,
    }
}

/// Every section, in the order of the handbook.
pub const SECTIONS: [&Section; 16] = [
    &SETUP,
    &ROOM,
    &ROOM_REFLECTANCE,
    &BACKDROP,
    &FIGURE,
    &SWATCH,
    &CAMERA,
    &LIGHT,
    &MODIFIER,
    &GRID,
    &HEAD,
    &BOARD,
    &SCRIM,
    &SCRIM_CLOTH,
    &METER,
    &METER_POINT,
];

#[rustfmt::skip]
pub(super) const SETUP: Section = Section {
    written: "top of the file",
    name: "setup",
    keys: &[
        key("title", "text", "empty", "what the setup is called"),
        key("notes", "text", "empty", "anything the crew should know"),
        key("room", "table", "open, floor 0.25", "floor, walls and ceiling"),
        key("backdrop", "table", "none", "what hangs behind the subject"),
        key("figure", "table", "none", "the stand-in on the mark"),
        key("swatch", "table", "none", "the flat patch of cloth; figure or swatch must be there"),
        key("camera", "table", "required", "where the picture is taken from"),
        key("light", "tables", "none", "one `[[light]]` for each light"),
        key("board", "tables", "none", "one `[[board]]` for each bounce or black board"),
        key("flag", "tables", "none", "one `[[flag]]` for each flag; the same keys as a board, black unless said"),
        key("scrim", "tables", "none", "one `[[scrim]]` for each cloth held in a beam"),
        key("meter", "table", "see there", "constants and the points to read"),
    ],
};

#[rustfmt::skip]
pub(super) const ROOM: Section = Section {
    written: "[room]",
    name: "room",
    keys: &[
        key("size", "width x length x height, such as \"6 x 8 x 3.2 m\"", "required unless open", "inside of the room; width runs across the picture, length toward the camera"),
        key("walls", "\"open\" or \"closed\"", "closed", "\"open\" leaves only the floor: a hall with nothing near"),
        key("behind", "length", "half the length", "from the mark to the wall behind the subject"),
        key("left", "length", "half the width", "from the mark to the camera-left wall"),
        key("reflectance", "table", "see there", "how much floor, walls and ceiling send back"),
    ],
};

#[rustfmt::skip]
pub(super) const ROOM_REFLECTANCE: Section = Section {
    written: "reflectance = { … } in [room]",
    name: "room reflectance",
    keys: &[
        key("floor", "reflectance", "0.25", "the floor"),
        key("walls", "reflectance", "0.5", "all four walls"),
        key("back_wall", "reflectance", "as walls", "the wall behind the subject"),
        key("ceiling", "reflectance", "0.7", "the ceiling"),
    ],
};

#[rustfmt::skip]
pub(super) const BACKDROP: Section = Section {
    written: "[backdrop]",
    name: "backdrop",
    keys: &[
        key("kind", "\"seamless\" or \"none\"", "\"seamless\"", "seamless paper that curves onto the floor, or the bare room"),
        key("width", "length", "2.7 m", "width of the roll"),
        key("behind", "length", "2 m", "from the mark back to the hanging paper"),
        key("height", "length", "2.8 m", "height of the roll above the floor"),
        key("curve", "length", "0.4 m", "radius of the curve onto the floor"),
        key("forward", "length", "1.2 m", "how far in front of the mark the lying paper ends; negative for behind it"),
        key("reflectance", "reflectance", "0.8", "the paper; white .8, grey .2 to .4, black .04 (from memory)"),
    ],
};

#[rustfmt::skip]
pub(super) const FIGURE: Section = Section {
    written: "[figure]",
    name: "figure",
    keys: &[
        key("model", "name", "required", "which stand-in"),
        key("pose", "name", "\"stand\"", "how it stands"),
        key("turn", "angle left or right, such as \"20 deg left\"", "0 deg", "turned from facing the camera's side of the room"),
        key("garment", "name", "none", "what it wears"),
        key("fabric", "name", "\"cotton-plain\"", "the cloth of the garment"),
    ],
};

#[rustfmt::skip]
pub(super) const SWATCH: Section = Section {
    written: "[swatch]",
    name: "swatch",
    keys: &[
        key("fabric", "name", "the figure's", "the cloth"),
        key("size", "width x height", "10 x 10 cm", "of the patch"),
        key("beside", "body point", "\"chest\"", "stands at this point's height and depth, moved sideways by `offset`"),
        key("offset", "length left or right, such as \"45 cm left\"", "45 cm right", "with `beside`: how far from the point"),
        key("distance", "length", "none", "instead of `beside`: along the floor from the mark"),
        key("bearing", "angle left or right", "0 deg", "with `distance`: from the line mark to camera"),
        key("height", "length", "none", "with `distance`: middle of the patch above the floor"),
        key("at", "[x, y, z]", "none", "instead of all that: middle of the patch in coordinates"),
        key("facing", "\"camera\", \"up\", \"light NAME\" or [x, y, z]", "\"camera\"", "where its face looks"),
        key("roll", "angle", "0 deg", "turn of the warp off upright, clockwise as seen from in front"),
        key("show", "true or false", "true", "false: only for readings and swatch views, not in the picture"),
    ],
};

#[rustfmt::skip]
pub(super) const CAMERA: Section = Section {
    written: "[camera]",
    name: "camera",
    keys: &[
        key("framing", "\"full-length\", \"three-quarter\", \"half\", \"beauty\" or \"swatch\"", "none", "works out the distance, or with `distance` the focal length"),
        key("focal_length", "length in mm", "85 mm", "of the lens"),
        key("sensor", "width x height", "36 x 24 mm", "of the sensor, either way round"),
        key("pixels", "\"W x H\"", "800 x 1200", "of the picture; when its shape is not the sensor's, the largest part of the sensor with that shape"),
        key("orientation", "\"portrait\" or \"landscape\"", "from pixels", "how the sensor is held"),
        key("distance", "length", "from framing", "along the floor from the mark to the lens"),
        key("bearing", "angle left or right", "0 deg", "off the set's axis; moves the camera only, other bearings keep to the axis"),
        key("height", "length", "height of the aim", "of the lens above the floor"),
        key("at", "[x, y, z]", "none", "instead of distance, bearing and height"),
        key("aim", "body point or [x, y, z]", "middle of the framing, else chest or swatch", "what the middle of the picture shows"),
        key("upright", "true or false", "false", "keeps the sensor vertical and frames by rise or fall, so that verticals stay vertical"),
        key("f_number", "\"f/8\" or \"as metered\"", "\"as metered\"", "as metered: what the meter reads at `expose_at`"),
        key("shutter", "time, such as \"1/125 s\"", "1/125 s", "counts for continuous light"),
        key("iso", "number", "100", "film or sensor speed"),
        key("focus", "body point, \"swatch\", [x, y, z] or length", "face, else swatch, else the aim", "a length is measured along the lens axis"),
        key("white_balance", "\"grey card\", \"none\" or colour temperature", "\"grey card\"", "grey card: neutral at `expose_at`"),
    ],
};

#[rustfmt::skip]
pub(super) const LIGHT: Section = Section {
    written: "[[light]]",
    name: "light",
    keys: &[
        key("name", "text", "required", "a short label, different for every light, board, flag and scrim"),
        key("on", "true or false", "true", "false keeps its place in the set but not its light"),
        key("modifier", "name, path or table", "required", "what shapes the lamp"),
        key("grid", "table or cut-off angle", "the modifier's", "a black grid in front"),
        key("spread", "0 to 1", "none", "tight to wide, for modifiers whose lamp travels"),
        key("distance", "length", "required unless `at`", "along the floor from the mark to the point plumb below the middle of the face"),
        key("bearing", "angle left or right, such as \"45 deg left\"", "0 deg", "from the line mark to camera"),
        key("height", "length", "required with `distance`", "of the middle of the face above the floor"),
        key("at", "[x, y, z]", "none", "instead of distance, bearing and height"),
        key("aim", "body point, \"floor\", \"swatch\" or [x, y, z]", "\"chest\", else \"swatch\"", "what it points at"),
        key("feather", "angle toward camera, background, left, right, up or down, or several", "none", "turned off the aim, such as \"15 deg toward camera\""),
        key("roll", "angle", "0 deg", "turned about its own axis, clockwise as the subject sees it"),
        key("stand", "\"upright\", \"boom\" or \"none\"", "\"upright\"", "upright: a column from the floor; boom or none: nothing plumb below"),
        key("output", "\"400 J\", \"9000 lm s\" or \"5000 lm\"", "required unless `meters` or `head`", "at full power; lm for a lamp that burns"),
        key("power", "\"1/4\", \"-1.3 stops\", \"25 %\" or 0 to 1", "full", "of the output"),
        key("yield", "luminous yield", "30 lm s/J", "with joules: light for each joule stored, usually 15 to 50"),
        key("meters", "f-number, such as \"f/8\"", "none", "instead of power: what this light alone reads"),
        key("metered_at", "point or table", "as `expose_at`", "where `meters` holds"),
        key("colour", "colour temperature, such as \"5600 K\"", "5600 K", "of the bare light"),
        key("gel", "\"+26 mired\", \"#rrggbb\", [r, g, b], or several", "none", "gels in front: a mired shift or a filter colour"),
        key("head", "table", "none", "what the head can be set to"),
    ],
};

#[rustfmt::skip]
pub(super) const MODIFIER: Section = Section {
    written: "modifier = { … } in [[light]], or a file in models/modifiers/",
    name: "modifier",
    keys: &[
        key("title", "text", "empty", "what it is, in a file"),
        key("kind", "\"panel\", \"disk\", \"globe\", \"tube\", \"strip\" or \"spot\"", "required", "its shape"),
        key("size", "width x height", "required for panel and strip", "of the lit face"),
        key("diameter", "length", "required for disk, globe and tube; spot 0.1 m", "of the lit face, ball or tube"),
        key("length", "length", "required for tube", "of the tube, level unless rolled"),
        key("beam", "angle", "required for spot", "full angle where its intensity is half"),
        key("field", "angle", "required for spot", "full angle where its intensity is a tenth"),
        key("depth", "length", "0.1 m; globe and tube none", "of the housing behind the face"),
        key("grid", "table or cut-off angle", "none", "a black grid in front"),
    ],
};

#[rustfmt::skip]
pub(super) const GRID: Section = Section {
    written: "grid = { … } in [[light]] or a modifier",
    name: "grid",
    keys: &[
        key("cell", "length", "required", "width of one cell"),
        key("depth", "length", "required", "depth of the cells; nothing passes beyond atan(cell / depth) off the axis"),
        key("shape", "\"square\", \"hex\" or \"round\"", "\"hex\"", "of the cells"),
        key("open", "over 0 to 1", "0.95", "share of the face that the walls leave open"),
    ],
};

#[rustfmt::skip]
pub(super) const HEAD: Section = Section {
    written: "head = { … } in [[light]]",
    name: "head",
    keys: &[
        key("energy", "\"400 J\", \"9000 lm s\" or \"5000 lm\"", "the light's output", "at full power; the same as `output`"),
        key("most", "power", "full", "greatest setting"),
        key("least", "power or energy", "1/256", "least setting"),
        key("range", "stops", "none", "instead of `least`: stops from greatest to least"),
        key("step", "stops, such as \"1/10 stop\"", "stepless", "step of the dial"),
    ],
};

#[rustfmt::skip]
pub(super) const BOARD: Section = Section {
    written: "[[board]] and [[flag]]",
    name: "board",
    keys: &[
        key("name", "text", "required", "a short label, different for every light, board, flag and scrim"),
        key("finish", "\"white\", \"black\", \"silver\", \"grey\" or reflectance", "required; flag black", "of the front; grey is the 18 % grey"),
        key("back", "as finish", "as the front", "of the back"),
        key("size", "width x height", "required", "of the board"),
        key("thickness", "length", "10 mm; flag 3 mm", "behind the front face"),
        key("distance", "length", "required unless `at`", "along the floor from the mark to the point plumb below its middle"),
        key("bearing", "angle left or right", "0 deg", "from the line mark to camera"),
        key("height", "length", "required with `distance`", "of its middle above the floor"),
        key("at", "[x, y, z]", "none", "instead of distance, bearing and height"),
        key("aim", "body point, \"floor\", \"swatch\" or [x, y, z]", "\"chest\", else \"swatch\"", "what its front faces"),
        key("feather", "angle toward camera, background, left, right, up or down, or several", "none", "turned off the aim"),
        key("roll", "angle", "0 deg", "clockwise as seen from in front"),
        key("stand", "\"upright\", \"boom\" or \"none\"", "\"upright\"", "upright: a column from the floor; boom or none: nothing plumb below"),
    ],
};

#[rustfmt::skip]
pub(super) const SCRIM: Section = Section {
    written: "[[scrim]]",
    name: "scrim",
    keys: &[
        key("name", "text", "required", "a short label, different for every light, board, flag and scrim"),
        key("cloth", "\"light\", \"half\", \"full\", stops or table", "required", "light ½ stop, half 1 stop, full 1¾ stops (common practice); a bare \"1 stop\" scatters all it passes"),
        key("size", "width x height", "required", "of the cloth"),
        key("distance", "length", "required unless `at`", "along the floor from the mark to the point plumb below its middle"),
        key("bearing", "angle left or right", "0 deg", "from the line mark to camera"),
        key("height", "length", "required with `distance`", "of its middle above the floor"),
        key("at", "[x, y, z]", "none", "instead of distance, bearing and height"),
        key("aim", "body point, \"floor\", \"swatch\" or [x, y, z]", "\"chest\", else \"swatch\"", "what it faces"),
        key("feather", "angle toward camera, background, left, right, up or down, or several", "none", "turned off the aim"),
        key("roll", "angle", "0 deg", "clockwise as seen from in front"),
        key("stand", "\"upright\", \"boom\" or \"none\"", "\"upright\"", "upright: a column from the floor; boom or none: nothing plumb below"),
    ],
};

#[rustfmt::skip]
pub(super) const SCRIM_CLOTH: Section = Section {
    written: "cloth = { … } in [[scrim]]",
    name: "cloth",
    keys: &[
        key("straight", "0 to 1", "0", "share of the light that goes straight on"),
        key("scattered", "0 to 1", "required", "share that passes scattered"),
        key("reflected", "0 to 1", "half of what does not pass", "share that is thrown back; the rest is lost"),
    ],
};

#[rustfmt::skip]
pub(super) const METER: Section = Section {
    written: "[meter]",
    name: "meter",
    keys: &[
        key("flat", "number, 240 to 400", "250", "incident constant C of a flat receptor, lux (ISO 2720)"),
        key("dome", "number, 320 to 540", "330", "incident constant C of a dome, lux (ISO 2720)"),
        key("reflected", "number, 10.6 to 13.4", "12.5", "reflected constant K, cd/m² (ISO 2720)"),
        key("receptor", "\"flat\" or \"dome\"", "\"flat\"", "where a point does not say"),
        key("expose_at", "point or table", "\"chest\", else \"swatch\"", "the reading that `f_number = \"as metered\"` uses"),
        key("points", "list of points and tables", "face, chest, hem; else swatch", "where to read"),
    ],
};

#[rustfmt::skip]
pub(super) const METER_POINT: Section = Section {
    written: "{ … } in points, expose_at and metered_at",
    name: "meter point",
    keys: &[
        key("name", "text", "the point's own, or its coordinates", "how the readings call it"),
        key("at", "body point, \"floor\", \"swatch\" or [x, y, z]", "required", "where"),
        key("facing", "\"camera\", \"up\", \"light NAME\" or [x, y, z]", "\"camera\"; swatch its own; floor up", "where the receptor looks"),
        key("receptor", "\"flat\" or \"dome\"", "the meter's", "cosine or hemispherical"),
    ],
};

/// The tables of the handbook, as Markdown.
pub fn handbook() -> String {
    let mut out = String::new();
    for section in SECTIONS {
        out.push_str(&format!(
            "### `{}`\n\n| key | takes | when left out | meaning |\n|---|---|---|---|\n",
            section.written
        ));
        for k in section.keys {
            out.push_str(&format!(
                "| `{}` | {} | {} | {} |\n",
                k.name, k.takes, k.default, k.about
            ));
        }
        out.push('\n');
    }
    out
}

/// The known word nearest to a misspelt one, if one is near enough to suggest.
pub fn nearest<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let simple = |s: &str| s.to_lowercase().replace(['-', '_', ' '], "");
    let word = simple(word);
    let limit = 1 + word.chars().count() / 4;
    known
        .into_iter()
        .map(|k| (distance(&word, &simple(k)), k))
        .filter(|(d, _)| *d <= limit)
        .min_by_key(|(d, _)| *d)
        .map(|(_, k)| k)
}

/// Edit distance with exchange of neighbours (optimal string alignment), on characters.
/// Words over 64 characters are never near.
fn distance(a: &str, b: &str) -> usize {
    let a: Vec<char> = a.chars().take(65).collect();
    let b: Vec<char> = b.chars().take(65).collect();
    if a.len() > 64 || b.len() > 64 {
        return usize::MAX;
    }
    let mut d = vec![vec![0; b.len() + 1]; a.len() + 1];
    for (i, row) in d.iter_mut().enumerate() {
        row[0] = i;
    }
    for (j, cell) in d[0].iter_mut().enumerate() {
        *cell = j;
    }
    for i in 1..=a.len() {
        for j in 1..=b.len() {
            let swap = usize::from(a[i - 1] != b[j - 1]);
            d[i][j] = (d[i - 1][j] + 1)
                .min(d[i][j - 1] + 1)
                .min(d[i - 1][j - 1] + swap);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                d[i][j] = d[i][j].min(d[i - 2][j - 2] + 1);
            }
        }
    }
    d[a.len()][b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nearest_takes_slips_and_refuses_strangers() {
        let known = ["distance", "bearing", "height", "focal_length"];
        assert_eq!(nearest("distnace", known), Some("distance"));
        assert_eq!(nearest("Focal-Length", known), Some("focal_length"));
        assert_eq!(nearest("heigth", known), Some("height"));
        assert_eq!(nearest("colour", known), None);
        assert_eq!(nearest(&"x".repeat(10_000), known), None);
    }

    #[test]
    fn key_names_are_unique_in_their_section() {
        for section in SECTIONS {
            for (i, a) in section.keys.iter().enumerate() {
                assert!(
                    section.keys[i + 1..].iter().all(|b| a.name != b.name),
                    "{} twice in {}",
                    a.name,
                    section.written
                );
            }
        }
    }
}
