//! Commented setups to start from.
#![allow(missing_docs)] // a name with its unit says all

/// One kind of setup that `new` can write.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Template {
    pub kind: &'static str,
    /// One line for a list of kinds.
    pub about: &'static str,
    /// The file's text; its first line is the title.
    text: &'static str,
}

impl Template {
    /// The text of a new setup with this title.
    pub fn text(&self, title: &str) -> String {
        format!(
            "title = {}\n{}",
            toml::Value::String(super::problem::one_line(title)),
            self.text
        )
    }
}

/// A template by its kind.
pub fn template(kind: &str) -> Option<&'static Template> {
    TEMPLATES.iter().find(|t| t.kind == kind)
}

/// All kinds, simplest first.
pub const TEMPLATES: [Template; 4] = [
    Template {
        kind: "front",
        about: "full length, one large soft light from the front, white paper",
        text: FRONT,
    },
    Template {
        kind: "side",
        about: "three-quarter, key from the side, weak fill, white board opposite",
        text: SIDE,
    },
    Template {
        kind: "overhead",
        about: "beauty, key overhead on a boom, silver board below, black boards at the sides",
        text: OVERHEAD,
    },
    Template {
        kind: "swatch",
        about: "a flat piece of cloth under one low raking light",
        text: SWATCH,
    },
];

const FRONT: &str = r#"# Left and right are always the camera's. Every quantity carries its unit.

[room]
size = "6 x 9 x 3.4 m"            # width x length x height; or walls = "open"
reflectance = { floor = 0.25, walls = 0.5, ceiling = 0.7 }

[backdrop]
kind = "seamless"                 # paper that curves onto the floor
width = "2.7 m"
behind = "2 m"                    # from the mark back to the paper
reflectance = 0.8

[figure]
model = "woman"
pose = "front"
garment = "shift"
fabric = "cotton-plain"
# turn = "20 deg left"

[camera]
framing = "full-length"           # or three-quarter, half, beauty, swatch
focal_length = "70 mm"
upright = true                    # keeps verticals vertical
f_number = "as metered"           # or "f/8"
shutter = "1/125 s"
iso = 100

[[light]]
name = "key"
modifier = { kind = "panel", size = "1.2 x 1.8 m" }
distance = "3 m"                  # along the floor from the mark
bearing = "35 deg left"           # from the line mark to camera
height = "1.9 m"                  # middle of its face
aim = "chest"
meters = "f/8"                    # or output = "400 J" and power = "1/4"

[meter]
expose_at = "chest"
points = ["face", "chest", "hem"]
"#;

const SIDE: &str = r#"# Left and right are always the camera's. Every quantity carries its unit.

[room]
size = "6 x 8 x 3.2 m"

[backdrop]
kind = "seamless"
behind = "2 m"
reflectance = 0.3                 # a mid grey paper

[figure]
model = "woman"
pose = "front"
garment = "shift"
fabric = "linen-slub"

[camera]
framing = "three-quarter"
focal_length = "85 mm"
f_number = "as metered"

[[light]]
name = "key"
modifier = { kind = "disk", diameter = "1.2 m" }
distance = "2 m"
bearing = "70 deg left"
height = "1.9 m"
aim = "chest"
# feather = "10 deg toward camera"
meters = "f/8"

[[light]]
name = "fill"
modifier = { kind = "panel", size = "1 x 1.4 m" }
distance = "3.2 m"
bearing = "30 deg right"
height = "1.7 m"
aim = "chest"
meters = "f/2.8"                  # three stops under the key

[[board]]
name = "bounce"
finish = "white"                  # or black, silver, grey, a number 0 to 1
size = "1 x 2 m"
distance = "1.1 m"
bearing = "90 deg right"
height = "1.1 m"
aim = "chest"

[meter]
expose_at = "chest"
points = ["face", "chest", "hip"]
"#;

const OVERHEAD: &str = r#"# Left and right are always the camera's. Every quantity carries its unit.

[room]
walls = "open"                    # a hall with nothing near

[figure]
model = "woman"
pose = "front"
garment = "shift"
fabric = "silk-satin"

[camera]
framing = "beauty"                # head and shoulders
focal_length = "100 mm"
f_number = "as metered"

[[light]]
name = "key"
modifier = { kind = "disk", diameter = "0.7 m" }
distance = "0.9 m"
height = "2.5 m"
aim = "face"
stand = "boom"                    # nothing plumb below it
meters = "f/8"
metered_at = "face"

[[board]]
name = "below"
finish = "silver"
size = "0.9 x 0.6 m"
distance = "0.7 m"
height = "0.95 m"
aim = "face"
stand = "none"                    # held or on a table

[[board]]
name = "black left"
finish = "black"
size = "0.6 x 1.2 m"
distance = "0.8 m"
bearing = "90 deg left"
height = "1.6 m"
aim = "face"

[[board]]
name = "black right"
finish = "black"
size = "0.6 x 1.2 m"
distance = "0.8 m"
bearing = "90 deg right"
height = "1.6 m"
aim = "face"

[meter]
expose_at = "face"
points = ["face", "chest"]
"#;

const SWATCH: &str = r#"# Left and right are always the camera's. Every quantity carries its unit.

[room]
walls = "open"
reflectance = { floor = 0.1 }

[swatch]
fabric = "linen-slub"
size = "10 x 10 cm"
at = [0, 1.2, 0]                  # metres: right, up, toward the camera
facing = "camera"

[camera]
framing = "swatch"                # fills the picture with the patch
focal_length = "100 mm"
pixels = "1000 x 1000"
f_number = "as metered"

[[light]]
name = "rake"
modifier = { kind = "spot", beam = "12 deg", field = "20 deg", diameter = "12 cm" }
distance = "1.6 m"
bearing = "78 deg left"           # 12 degrees off the cloth: low enough to show every thread
height = "1.2 m"
aim = "swatch"
meters = "f/8"
metered_at = { at = "swatch", facing = "camera" }

[meter]
expose_at = "swatch"
points = ["swatch"]
"#;
