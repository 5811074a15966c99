//! Every key a shoot list may hold, as data: the reader refuses what is not here, and the handbook's
//! tables are made from it.

use crate::setup::keys::{Key, Section};

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
pub const SECTIONS: [&Section; 6] = [&LIST, &LOOK, &FRAMING, &LIGHTING, &FRAME, &MINUTES];

#[rustfmt::skip]
pub(super) const LIST: Section = Section {
    written: "top of the list",
    name: "shoot list",
    keys: &[
        key("title", "text", "the file's name", "what the day is called"),
        key("notes", "text", "empty", "anything the crew should know"),
        key("setup", "path of a setup file", "required unless every lighting and frame has its own", "what every frame starts from; beside the list, or a path from there"),
        key("order", "\"least moves\" or \"as written\"", "\"least moves\"", "whether an order for the day is worked out in which the set changes least"),
        key("tolerance", "stops, such as \"1/3 stop\"", "\"1/3 stop\"", "how far readings, background and skin may lie apart over the set before it is said"),
        key("set", "table of key paths", "none", "the common kit: what every frame changes in its setup"),
        key("without", "name or list of names", "none", "lights, boards, flags and scrims of the setup that are left away in every frame"),
        key("look", "tables", "none", "one `[[look]]` for each look"),
        key("framing", "tables", "one, as the setup has it", "one `[[framing]]` for each"),
        key("lighting", "tables", "one, as the setup has it", "one `[[lighting]]` for each"),
        key("frame", "tables", "none", "one `[[frame]]` for each single picture besides those of the looks"),
        key("minutes", "table", "see there", "what changes on set cost, for the order of the day"),
    ],
};

#[rustfmt::skip]
pub(super) const LOOK: Section = Section {
    written: "[[look]]",
    name: "look",
    keys: &[
        key("name", "text", "required", "a short label, different for every look"),
        key("model", "as figure.model", "the setup's", "which stand-in"),
        key("pose", "as figure.pose", "the setup's", "how it stands, sits or moves"),
        key("turn", "as figure.turn", "the setup's", "turned from facing the camera's side of the room"),
        key("garment", "as figure.garment", "the setup's", "what it wears, from the innermost out"),
        key("fabric", "as figure.fabric", "the setup's", "the cloth of the garment, or of each"),
        key("size", "as figure.size", "the setup's", "of the figure"),
        key("shoes", "as figure.shoes", "the setup's", "on its feet"),
        key("skin", "as figure.skin", "the setup's", "tone of its skin"),
        key("lips", "as figure.lips", "the setup's", "colour of its lips"),
        key("lip_finish", "as figure.lip_finish", "the setup's", "how its lips shine"),
        key("cheeks", "as figure.cheeks", "the setup's", "colour of its cheeks"),
        key("eyes", "as figure.eyes", "the setup's", "colour of its eyes"),
        key("hair", "as figure.hair", "the setup's", "how its hair is worn"),
        key("hair_colour", "as figure.hair_colour", "the setup's", "colour of its hair"),
        key("wind", "as figure.wind", "the setup's", "where moving air blows its hair to"),
        key("wind_strength", "as figure.wind_strength", "the setup's", "of that air"),
        key("framings", "name or list of names", "all", "in which framings it is taken"),
        key("lightings", "name or list of names", "all", "under which lightings it is taken"),
        key("set", "table of key paths", "none", "what else it changes in the setup"),
        key("without", "name or list of names", "none", "lights, boards, flags and scrims that are left away"),
    ],
};

#[rustfmt::skip]
pub(super) const FRAMING: Section = Section {
    written: "[[framing]]",
    name: "framing",
    keys: &[
        key("name", "text", "required", "a short label, different for every framing"),
        key("framing", "as camera.framing", "the setup's", "works out the camera's distance"),
        key("focal_length", "as camera.focal_length", "the setup's", "of the lens"),
        key("pixels", "as camera.pixels", "the setup's", "of the picture"),
        key("bearing", "as camera.bearing", "the setup's", "of the camera, off the set's axis"),
        key("height", "as camera.height", "the setup's", "of the lens above the floor"),
        key("aim", "as camera.aim", "the setup's", "what the middle of the picture shows"),
        key("pose", "as figure.pose", "the look's", "how the figure stands, sits or moves"),
        key("turn", "as figure.turn", "the look's", "turned from facing the camera's side of the room"),
        key("set", "table of key paths", "none", "what else it changes in the setup"),
        key("without", "name or list of names", "none", "lights, boards, flags and scrims that are left away"),
    ],
};

#[rustfmt::skip]
pub(super) const LIGHTING: Section = Section {
    written: "[[lighting]]",
    name: "lighting",
    keys: &[
        key("name", "text", "required", "a short label, different for every lighting"),
        key("setup", "path of a setup file", "the list's", "what its frames start from"),
        key("set", "table of key paths", "none", "what it changes in the setup"),
        key("without", "name or list of names", "none", "lights, boards, flags and scrims that are left away"),
    ],
};

#[rustfmt::skip]
pub(super) const FRAME: Section = Section {
    written: "[[frame]]",
    name: "frame",
    keys: &[
        key("name", "text", "required", "a short label, different for every frame"),
        key("setup", "path of a setup file", "the lighting's, else the list's", "what it starts from"),
        key("look", "name of a look", "as the setup has it", "what the figure wears"),
        key("framing", "name of a framing", "as the setup has it", "what the camera sees"),
        key("lighting", "name of a lighting", "as the setup has it", "how it is lit"),
        key("set", "table of key paths", "none", "what else it changes in the setup"),
        key("without", "name or list of names", "none", "lights, boards, flags and scrims that are left away"),
    ],
};

#[rustfmt::skip]
pub(super) const MINUTES: Section = Section {
    written: "[minutes]",
    name: "minutes",
    keys: &[
        key("model", "minutes", "20", "another stand-in, so another person on the mark"),
        key("garment", "minutes", "8", "another garment or cloth: a change behind the screen"),
        key("hair", "minutes", "15", "other hair, make-up, skin or shoes"),
        key("pose", "minutes", "0.5", "another pose, or another turn"),
        key("modifier", "minutes", "4", "another modifier on a head, or a light brought in or struck"),
        key("stand", "minutes", "1", "a stand that has to be walked, whatever the way"),
        key("metre", "minutes", "0.5", "each metre that it is walked or wound up"),
        key("setting", "minutes", "0.5", "another power, spread, aim, gel or grid on a light that stays"),
        key("board", "minutes", "1.5", "a board, flag or scrim brought in, struck or changed"),
        key("backdrop", "minutes", "15", "another roll, or the same at another place"),
        key("room", "minutes", "60", "another room"),
        key("camera", "minutes", "1", "the camera walked, or another lens"),
        key("swatch", "minutes", "1", "another swatch on show, or at another place"),
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
