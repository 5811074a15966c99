//! A modifier as TOML again.

use super::model::{
    BoxFront, Cloth, Cover, Curve, Cylinder, Grid, Lamp, Lining, Modifier, ModifierKind,
    ModifierSource, Scale, Travel,
};
use super::read_extras::{CLOTHS, COVER_SIDES, SHAPES, takes};
use super::read_lamp::LININGS;
use super::write::{angle, length, number, quoted, size, spelt};

/// The name of its file, or an inline table.
pub(super) fn modifier(m: &Modifier) -> String {
    if let ModifierSource::Named(called) = &m.source {
        return quoted(called);
    }
    let mut out = Keys::default();
    out.key("kind", quoted(m.kind.word()));
    if !m.title.is_empty() {
        out.key("title", quoted(&m.title));
    }
    write_kind(&mut out, m);
    if let Some(Travel { tight_m, wide_m }) = m.travel {
        let (tight, wide) = (length(tight_m), length(wide_m));
        out.key("travel", format!("{{ tight = {tight}, wide = {wide} }}"));
    }
    if let Some(scale) = &m.scale {
        out.key("scale", scale_table(scale));
    }
    if m.correction_stops != 0.0 {
        let stops = number(m.correction_stops);
        out.key("correction", quoted(&format!("{stops} stops")));
    }
    out.close()
}

/// What is on its front, as the keys of its light. What its kind takes and has not is "none",
/// so that a file's own does not come back.
pub(super) fn extras(m: &Modifier) -> Vec<(&'static str, String)> {
    let named = matches!(m.source, ModifierSource::Named(_));
    let keys = [
        ("cloth", m.cloth.as_ref().map(cloth)),
        ("baffle", m.baffle.as_ref().map(cloth)),
        ("grid", m.grid.as_ref().map(grid)),
        ("skirt", m.skirt_m.map(length)),
        ("cover", m.cover.as_ref().map(cover)),
    ];
    keys.into_iter()
        .filter_map(|(key, value)| {
            let none = || (named && takes(&m.kind, key)).then(|| "\"none\"".to_owned());
            Some((key, value.or_else(none)?))
        })
        .collect()
}

/// The keys of an inline table.
#[derive(Default)]
struct Keys(Vec<String>);

impl Keys {
    fn key(&mut self, key: &str, value: String) {
        self.0.push(format!("{key} = {value}"));
    }

    fn close(self) -> String {
        format!("{{ {} }}", self.0.join(", "))
    }

    fn lamp(&mut self, lamp: &Lamp, place: bool) {
        if lamp.has_cup() {
            self.key("cup", length(lamp.diameter_m));
        } else {
            self.key("lamp", cylinder(lamp.diameter_m, lamp.length_m));
        }
        if place {
            self.key("lamp_at", length(lamp.at_m));
        }
    }

    fn housing(&mut self, housing: Option<Cylinder>) {
        self.key(
            "housing",
            housing.map_or("\"none\"".to_owned(), |h| {
                cylinder(h.diameter_m, h.length_m)
            }),
        );
    }

    fn sides(&mut self, sides: Option<u32>) {
        if let Some(sides) = sides {
            self.key("sides", sides.to_string());
        }
    }

    fn front(&mut self, front: &BoxFront) {
        self.key("recess", length(front.recess_m));
        self.key("baffle_at", length(front.baffle_at_m));
    }
}

fn write_kind(out: &mut Keys, m: &Modifier) {
    match m.kind {
        ModifierKind::Panel { w_m, h_m } | ModifierKind::Strip { w_m, h_m } => {
            out.key("size", size(&[w_m, h_m]));
        }
        ModifierKind::Softbox(b) => {
            out.key("size", size(&b.size_m));
            out.key("back", size(&b.back_m));
            out.key("finish", lining(&b.lining));
            out.front(&b.front);
            out.lamp(&b.lamp, true);
            out.housing(b.lamp.housing);
        }
        ModifierKind::Tube { length_m, .. } => out.key("length", length(length_m)),
        ModifierKind::Spot {
            beam_rad,
            field_rad,
            ..
        } => {
            out.key("beam", angle(beam_rad));
            out.key("field", angle(field_rad));
        }
        ModifierKind::Disk { .. } | ModifierKind::Globe { .. } => {}
        ModifierKind::Paraboloid(bowl)
        | ModifierKind::Octabox { bowl, .. }
        | ModifierKind::Umbrella(bowl)
        | ModifierKind::Dish { bowl, .. }
        | ModifierKind::Bowl(bowl) => {
            out.sides(bowl.sides);
            out.key("finish", lining(&bowl.lining));
            out.lamp(&bowl.lamp, m.travel.is_none());
            out.housing(bowl.lamp.housing);
        }
        ModifierKind::ShootThrough(canopy) => {
            out.sides(canopy.sides);
            out.key("cloth", cloth(&canopy.cloth));
            out.lamp(&canopy.lamp, true);
            out.housing(canopy.lamp.housing);
        }
        ModifierKind::LensSpot(spot) => {
            out.key("gate", length(spot.gate_m));
            out.key("focal_length", length(spot.focal_length_m));
            out.key("sharp_at", length(spot.sharp_at_m));
            out.key("transmission", number(spot.transmission));
            out.key("lamp", cylinder(spot.lamp_m[0], spot.lamp_m[1]));
        }
        ModifierKind::Fresnel(fresnel) => {
            out.key("focal_length", length(fresnel.focal_length_m));
            out.key("transmission", number(fresnel.transmission));
            out.key("haze", angle(fresnel.haze_rad));
            out.lamp(&fresnel.lamp, false);
        }
        ModifierKind::Measured { .. } => {
            if let Some(field) = &m.measured {
                out.key("file", quoted(&field.file));
            }
        }
        ModifierKind::BareLamp(lamp) => {
            out.key("transmission", number(lamp.transmission));
            out.housing(Some(lamp.housing));
        }
    }
    match m.kind {
        ModifierKind::Umbrella(bowl)
        | ModifierKind::Bowl(bowl)
        | ModifierKind::Dish { bowl, .. } => match bowl.curve {
            Curve::Parabola => out.key("shape", quoted("parabola")),
            Curve::Sphere => out.key("shape", quoted("sphere")),
            Curve::Cone { back_m } => {
                out.key("shape", quoted("cone"));
                out.key("back", length(back_m));
            }
        },
        ModifierKind::Octabox { bowl, front } => {
            if let Curve::Cone { back_m } = bowl.curve {
                out.key("back", length(back_m));
            }
            out.front(&front);
        }
        _ => {}
    }
    if let ModifierKind::Dish { plate, .. } = m.kind {
        out.key("plate", length(plate.diameter_m));
        out.key("plate_at", length(plate.at_m));
    }
    let has_size = matches!(
        m.kind,
        ModifierKind::Panel { .. }
            | ModifierKind::Strip { .. }
            | ModifierKind::Softbox(_)
            | ModifierKind::Measured {
                is_round: false,
                ..
            }
    );
    if let (ModifierKind::Measured { .. }, true) = (m.kind, has_size) {
        out.key("size", size(&m.kind.face_m()));
    }
    if !has_size {
        let [_, diameter_m] = m.kind.face_m();
        out.key("diameter", length(diameter_m));
    }
    match m.kind {
        ModifierKind::ShootThrough(canopy) => out.key("depth", length(canopy.depth_m)),
        ModifierKind::Globe { .. } | ModifierKind::Tube { .. } | ModifierKind::BareLamp(_) => {}
        _ => out.key("depth", length(m.body_depth_m)),
    }
}

fn cylinder(diameter_m: f64, length_m: f64) -> String {
    let (diameter, long) = (length(diameter_m), length(length_m));
    format!("{{ diameter = {diameter}, length = {long} }}")
}

fn lining(l: &Lining) -> String {
    if LININGS.iter().any(|(_, known)| known == l) {
        return spelt(&LININGS, l);
    }
    match l {
        Lining::Matt { reflectance } => format!(
            "{{ surface = \"white\", reflectance = {} }}",
            number(*reflectance)
        ),
        Lining::Silver {
            reflectance,
            slope_rad,
            panels,
        } => {
            let panels = panels.map_or(String::new(), |[rings, each]| {
                format!(", panels = \"{rings} x {each}\"")
            });
            format!(
                "{{ surface = \"silver\", reflectance = {}, slope = {}{panels} }}",
                number(*reflectance),
                angle(*slope_rad)
            )
        }
    }
}

fn scale_table(scale: &Scale) -> String {
    let marks: Vec<String> = scale
        .marks
        .iter()
        .map(|[mark, spread]| format!("[{}, {}]", number(*mark), number(*spread)))
        .collect();
    format!(
        "{{ name = {}, marks = [{}] }}",
        quoted(&scale.name),
        marks.join(", ")
    )
}

fn cloth(c: &Cloth) -> String {
    if CLOTHS.iter().any(|(_, known)| known == c) {
        return spelt(&CLOTHS, c);
    }
    format!(
        "{{ straight = {}, spread = {}, sigma = {}, scattered = {}, reflected = {} }}",
        number(c.straight),
        number(c.spread),
        number(c.sigma),
        number(c.scattered),
        number(c.reflected)
    )
}

fn grid(g: &Grid) -> String {
    format!(
        "{{ cell = {}, depth = {}, shape = {}, open = {} }}",
        length(g.cell_m),
        length(g.depth_m),
        spelt(&SHAPES, &g.shape),
        number(g.open_fraction)
    )
}

fn cover(c: &Cover) -> String {
    format!(
        "{{ side = {}, share = {} }}",
        spelt(&COVER_SIDES, &c.side),
        number(c.share)
    )
}
