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
pub const SECTIONS: [&Section; 23] = [
    &SETUP,
    &ROOM,
    &ROOM_REFLECTANCE,
    &BACKDROP,
    &FIGURE,
    &SWATCH,
    &CAMERA,
    &LIGHT,
    &MODIFIER,
    &LAMP,
    &HOUSING,
    &FINISH,
    &TRAVEL,
    &SCALE,
    &CLOTH,
    &GRID,
    &COVER,
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
        key("pose", "name", "\"front\"", "how it stands, sits or moves"),
        key("turn", "angle left or right, such as \"20 deg left\"", "0 deg", "turned from facing the camera's side of the room"),
        key("garment", "name or list of names", "none", "what it wears, from the innermost out"),
        key("fabric", "name or list of names", "\"cotton-plain\"", "the cloth of the garment, or of each"),
        key("size", "name such as \"M\"", "the model's", "of the figure"),
        key("shoes", "name", "the model's", "on its feet"),
        key("skin", "name", "the model's", "tone of its skin"),
        key("lips", "name", "the model's", "colour of its lips"),
        key("lip_finish", "\"matt\" or \"gloss\"", "the model's", "how its lips shine"),
        key("cheeks", "name", "the model's", "colour of its cheeks"),
        key("eyes", "name", "the model's", "colour of its eyes"),
        key("hair", "name", "the model's", "how its hair is worn; \"none\" for none"),
        key("hair_colour", "name", "the model's", "colour of its hair"),
        key("wind", "angle left or right, such as \"90 deg left\"", "none", "where moving air blows its hair to: 0 deg is toward the camera's side of the room"),
        key("wind_strength", "0 to 1", "0.5", "of that air"),
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
        key("lay", "\"flat\", \"draped\" or \"folded\"", "\"flat\"", "how it lies: pressed flat, in long soft folds, with a pleat"),
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
        key("sensor_pixels", "\"W x H\"", "6 µm each: 6000 x 4000 on 36 x 24 mm", "what the whole sensor records, either way round; for moiré and `still --crop`"),
        key("low_pass", "true or false", "false", "whether an optical low-pass lies before the sensor; it shows where a still has the sensor's own pixels (`still --crop`)"),
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
        key("cloth", "cloth or \"none\"", "the modifier's", "cloth across the front"),
        key("baffle", "cloth or \"none\"", "the modifier's", "cloth inside a softbox or octabox"),
        key("grid", "table, cut-off angle, \"egg-crate\" or \"none\"", "the modifier's", "a black grid in front"),
        key("skirt", "depth or \"none\"", "the modifier's", "black walls around the front"),
        key("cover", "table or \"none\"", "the modifier's", "black cloth over part of the front"),
        key("spread", "0 to 1", "0.5 where the lamp travels", "tight (0) to wide (1)"),
        key("mark", "number, such as \"3\"", "none", "instead of `spread`: a mark of the modifier's own scale"),
        key("focus", "0 to 1", "the modifier's", "of a lens-spot: sharp (0) to soft (1)"),
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
        key("kind", "\"panel\", \"disk\", \"globe\", \"tube\", \"strip\", \"spot\"; traced: \"paraboloid\", \"softbox\", \"octabox\", \"umbrella\", \"shoot-through\", \"dish\", \"bowl\", \"lens-spot\", \"fresnel\", \"bare-lamp\"; \"measured\"", "required", "its shape"),
        key("file", "path of an IES LM-63 file, such as \"lamp.ies\"", "required for measured", "the far field of a measured light; from the folder of the modifier file, or of the setup where the table is in it"),
        key("size", "width x height", "required for panel, strip and softbox; measured as in its file", "of the face"),
        key("diameter", "length", "required for all that have no size; spot 0.1 m; measured as in its file", "of the face, ball, tube, lens or dome; over the corners where there are sides"),
        key("length", "length", "required for tube", "of the tube, level unless rolled"),
        key("beam", "angle", "required for spot; lens-spot none", "spot: full angle where its intensity is half; lens-spot: instead of `focal_length`, full angle of the sharp beam"),
        key("field", "angle", "required for spot", "full angle where its intensity is a tenth"),
        key("depth", "length", "required for bowls, boxes and umbrellas; plain kinds and measured 0.1 m, globe and tube none; lens-spot and fresnel as deep as gate or lamp need", "rim to bottom along the axis; otherwise of the body behind the face"),
        key("back", "width x height; octabox and cone: diameter", "20 cm, or the face where that is less; cone 10 cm", "of the flat back of a box or a cone"),
        key("shape", "\"parabola\", \"sphere\" or, for a bowl, \"cone\"", "\"parabola\"; umbrella \"sphere\"", "how umbrella, dish or bowl runs from bottom to rim"),
        key("sides", "3 to 32", "round; octabox 8", "of the rim"),
        key("finish", "\"silver\", \"hammered\", \"polished\", \"white\", \"black\" or table", "\"silver\"; umbrella and dish \"white\"", "inside"),
        key("lamp", "table", "5 cm wide, 8 cm long; lens-spot 2 and 3 cm", "the lit part: tube, bulb or its glass"),
        key("cup", "length", "none", "instead of `lamp`, of an umbrella or a shoot-through: mouth of the head's own small reflector, lit evenly; `lamp_at` is then its mouth"),
        key("housing", "table or \"none\"", "12 cm wide, 15 cm long for paraboloid, umbrella, shoot-through and bare-lamp; else none", "the black head right behind the lit part, as far as it reaches into the light"),
        key("lamp_at", "length", "2 cm clear of the back; umbrella and shoot-through half the diameter", "middle of the lit part from the bottom or back; of an umbrella or a shoot-through from its top along the shaft"),
        key("travel", "table", "paraboloid: focus to 1.1 focal lengths beyond, or to the rim; fresnel: 1 to 0.4 focal lengths; else none", "between where the lamp's middle goes; also for umbrella and bowl, instead of `lamp_at`"),
        key("scale", "table", "none", "the marks printed along the travel"),
        key("plate", "length", "0.3 of the diameter", "diameter of a dish's centre plate"),
        key("plate_at", "length", "half way from lamp to rim", "the plate from the dish's bottom"),
        key("recess", "length", "0 m", "how far a box's front cloth lies behind the edge; the walls run on as a lip"),
        key("baffle_at", "length", "half way from lamp to front cloth", "the baffle behind the edge of a box"),
        key("gate", "length", "required for lens-spot", "diameter of the opening that the lens images"),
        key("focal_length", "length", "required for fresnel; lens-spot unless `beam`", "of the lens"),
        key("focus", "0 to 1", "0", "of a lens-spot: sharp (0) to soft (1), where the lens has moved out by a quarter"),
        key("sharp_at", "length", "3 m", "where a lens-spot's edge is sharp at focus 0"),
        key("transmission", "0.01 to 1", "0.9 (from memory)", "of a lens or a bare lamp's dome"),
        key("haze", "angle, 1 to 20 deg", "1.5 deg (from memory)", "blur by the steps of a fresnel, standard deviation"),
        key("cloth", "cloth or \"none\"", "none; required for shoot-through", "cloth across the front; of a shoot-through its own"),
        key("baffle", "cloth or \"none\"", "none", "cloth inside a softbox or octabox"),
        key("grid", "table, cut-off angle, \"egg-crate\" or \"none\"", "none", "a black grid in front; egg-crate: square cells 5 cm wide and deep"),
        key("skirt", "depth or \"none\"", "none", "black walls around the front"),
        key("cover", "table or \"none\"", "none", "black cloth over part of the front"),
        key("correction", "stops, such as \"-0.2 stop\"", "0 stops", "what readings found it to give against what is traced; `day --save` writes it"),
    ],
};

#[rustfmt::skip]
pub(super) const LAMP: Section = Section {
    written: "lamp = { … } in a modifier",
    name: "lamp",
    keys: &[
        key("diameter", "length", "5 cm; lens-spot 2 cm", "of the lit part"),
        key("length", "length", "8 cm (lens-spot 3 cm), or the diameter where that is more", "of the lit part along the axis, over its round ends"),
    ],
};

#[rustfmt::skip]
pub(super) const HOUSING: Section = Section {
    written: "housing = { … } in a modifier",
    name: "housing",
    keys: &[
        key("diameter", "length", "required", "of the head"),
        key("length", "length", "required", "of the head behind the lit part"),
    ],
};

#[rustfmt::skip]
pub(super) const FINISH: Section = Section {
    written: "finish = { … } in a modifier",
    name: "finish",
    keys: &[
        key("surface", "\"silver\", \"hammered\", \"polished\", \"white\" or \"black\"", "required", "silver, hammered and polished scatter by slopes of 4, 6 and 1 deg; white and black are matt (from memory)"),
        key("reflectance", "0 to 1", "0.85; black 0.04 (from memory)", "share of the light that comes back"),
        key("slope", "angle, 1 to 20 deg", "the surface's", "standard deviation of a metal's slopes"),
        key("panels", "rings x panels, such as \"6 x 16\"", "none", "flat panels of a metal: rings from bottom to rim, and panels in each"),
    ],
};

#[rustfmt::skip]
pub(super) const TRAVEL: Section = Section {
    written: "travel = { … } in a modifier",
    name: "travel",
    keys: &[
        key("tight", "length", "required", "the lamp's middle at spread 0, from the bottom; of an umbrella from its top, of a fresnel from the lens"),
        key("wide", "length", "required", "the same at spread 1"),
    ],
};

#[rustfmt::skip]
pub(super) const SCALE: Section = Section {
    written: "scale = { … } in a modifier",
    name: "scale",
    keys: &[
        key("tight", "number", "required unless `marks`", "the mark at spread 0; many print 10 there (common practice)"),
        key("wide", "number", "required unless `marks`", "the mark at spread 1; even steps between"),
        key("marks", "list of [mark, place]", "none", "instead, for uneven steps: each mark with the lamp's place as in `travel`, or with a spread of 0 to 1"),
        key("name", "text", "\"mark\"", "what the marks are called"),
    ],
};

#[rustfmt::skip]
pub(super) const CLOTH: Section = Section {
    written: "cloth = { … } or baffle = { … } in [[light]] or a modifier",
    name: "modifier cloth",
    keys: &[
        key("straight", "0 to 1", "0", "share of the light that goes straight on"),
        key("spread", "0 to 1", "0", "share that goes on, spread a little about its way"),
        key("sigma", "0.01 to 0.6", "0.25", "how much: standard deviation of the direction's sine"),
        key("scattered", "0 to 1", "0", "share that goes on in all directions"),
        key("reflected", "0 to 1", "half of what does not pass", "share that is thrown back; the rest is lost"),
    ],
};

#[rustfmt::skip]
pub(super) const COVER: Section = Section {
    written: "cover = { … } in [[light]] or a modifier",
    name: "cover",
    keys: &[
        key("side", "\"left\", \"right\", \"top\" or \"bottom\"", "required", "from where it reaches in, as seen from in front of the light"),
        key("share", "0.01 to 0.99", "0.5", "of the front's width or height"),
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
