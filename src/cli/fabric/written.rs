//! Fabric files as this program writes them: a start, to be edited.

use std::fmt::Write;

/// What is written of a woven cloth.
pub struct Woven<'a> {
    /// Shown to people.
    pub title: &'a str,
    /// Where it comes from, for the first line.
    pub from: &'a str,
    /// The weave: a file's name, or a grid of several lines.
    pub weave: &'a str,
    /// Warp and weft.
    pub systems: [System<'a>; 2],
}

/// Threads of one system.
pub struct System<'a> {
    /// With its unit.
    pub count: &'a str,
    /// A name that is known.
    pub fibre: &'a str,
    /// Threads.
    pub per_cm: f64,
    /// Linear sRGB.
    pub colour: [f64; 3],
    /// Whether the draft has a colour for each thread.
    pub drafted: bool,
}

/// What is written of a cloth that was photographed.
pub struct Maps<'a> {
    /// Shown to people.
    pub title: &'a str,
    /// Where it comes from, for the first line.
    pub from: &'a str,
    /// Of the piece.
    pub width_mm: f64,
    /// Files beside it.
    pub normal: &'a str,
    /// See `normal`.
    pub height: &'a str,
    /// See `normal`.
    pub albedo: &'a str,
    /// White over black of the height map.
    pub height_full_mm: f64,
}

/// The text of a woven cloth's file.
pub fn woven(cloth: &Woven<'_>) -> String {
    let [warp, weft] = &cloth.systems;
    let mut out = format!(
        "# Made by swatchlight from {}. Sheen and irregularity are a start, those of a plain yarn: edit them.\n\
         title = {}\n\n",
        one_line(cloth.from),
        quoted(cloth.title)
    );
    out += &light(warp.fibre);
    let behind = std::array::from_fn(|i| 0.15 * (warp.colour[i] + weft.colour[i]));
    let weave = match cloth.weave.contains('\n') {
        true => format!("\"\"\"\n{}\"\"\"", cloth.weave),
        false => quoted(cloth.weave),
    };
    let _ = write!(
        out,
        "\n[behind]\ncolour = {}\n\n[woven]\nweave = {weave}\nends_per_cm = {}\npicks_per_cm = {}\n",
        rgb(behind),
        warp.per_cm,
        weft.per_cm
    );
    for (name, system) in [("warp", warp), ("weft", weft)] {
        let note = match system.drafted {
            true => "   # the draft's own colours take its place",
            false => "   # linear sRGB reflectance",
        };
        let _ = write!(
            out,
            "\n[woven.{name}]\ncount = {}\nfibre = {}\ncolour = {}{note}\n",
            quoted(system.count),
            quoted(system.fibre),
            rgb(system.colour)
        );
    }
    out
}

/// The text of a photographed cloth's file.
pub fn maps(cloth: &Maps<'_>) -> String {
    let mut out = format!(
        "# Made by swatchlight from {}. Maps hold slopes and colour; sheen is a start: edit it.\n\
         title = {}\n\n",
        one_line(cloth.from),
        quoted(cloth.title)
    );
    out += &light("cotton");
    let _ = write!(
        out,
        "\n[maps]\nwidth_mm = {}\nnormal = {}\ngreen = \"up\"\nheight = {}\nheight_full_mm = {}\nalbedo = {}\n\
         albedo_encoding = \"srgb\"\n",
        cloth.width_mm,
        quoted(cloth.normal),
        quoted(cloth.height),
        tidy(cloth.height_full_mm),
        quoted(cloth.albedo)
    );
    out
}

/// The light of a fibre, by eye from the shipped fabrics.
fn light(fibre: &str) -> String {
    let (gloss, gloss_spread, glow, glow_spread, translucency) = match fibre {
        "cotton" => (0.03, 0.25, 0.1, 0.45, 0.3),
        "linen" => (0.06, 0.22, 0.14, 0.4, 0.25),
        "wool" | "acrylic" => (0.03, 0.28, 0.08, 0.45, 0.2),
        _ => (0.09, 0.18, 0.25, 0.35, 0.4),
    };
    format!(
        "[light]\ngloss = {gloss}\ngloss_spread_rad = {gloss_spread}\nglow = {glow}\n\
         glow_spread_rad = {glow_spread}\ntranslucency = {translucency}\n"
    )
}

fn rgb(colour: [f64; 3]) -> String {
    let [r, g, b] = colour.map(tidy);
    format!("[{r}, {g}, {b}]")
}

/// To four decimals.
fn tidy(value: f64) -> f64 {
    (1e4 * value).round() / 1e4
}

fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// Fit for a comment.
fn one_line(text: &str) -> String {
    let clean = |c: char| if c.is_control() { ' ' } else { c };
    text.chars().map(clean).collect()
}
