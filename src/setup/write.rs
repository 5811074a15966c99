//! A setup as TOML again, in canonical order and with every default written out.

use std::fmt::Write as _;

use glam::DVec3;

use crate::photometry::exposure::Receptor;

use super::library::{FigureSpec, Looks, Worn};
use super::model::{
    Aim, Aperture, Backdrop, Board, BoardKind, Camera, Facing, Feather, Finish, Focus, FullOutput,
    Light, MeterPoint, ModifierKind, Place, PointSpec, Room, Setting, Setup, Stand, Swatch,
    SwatchPlace, WhiteBalance,
};
use super::place::{STANDS, toward_word};
use super::read_board::FINISHES;
use super::read_camera::FRAMINGS;
use super::read_meter::RECEPTORS;
use super::write_modifier::{extras, modifier};

/// The text of a setup file that parses to this setup, lengths to the nanometre.
pub fn to_toml(setup: &Setup) -> String {
    let mut out = Lines::default();
    out.key("title", quoted(&setup.title));
    if !setup.notes.is_empty() {
        out.key("notes", quoted(&setup.notes));
    }
    write_room(&mut out, &setup.room);
    write_backdrop(&mut out, &setup.backdrop);
    if let Some(figure) = &setup.figure {
        write_figure(&mut out, &figure.spec, figure.turn_rad);
    }
    if let Some(swatch) = &setup.swatch {
        write_swatch(&mut out, swatch);
    }
    write_camera(&mut out, &setup.camera);
    for light in &setup.lights {
        write_light(&mut out, light);
    }
    for board in &setup.boards {
        write_board(&mut out, board);
    }
    let meter = &setup.meter;
    out.head("[meter]");
    out.key("flat", number(meter.constants.flat));
    out.key("dome", number(meter.constants.dome));
    out.key("reflected", number(meter.constants.reflected_k));
    out.key("receptor", receptor(meter.receptor));
    out.key("expose_at", meter_point(&meter.expose_at));
    let points: Vec<String> = meter
        .points
        .iter()
        .map(|p| format!("    {},\n", meter_point(p)))
        .collect();
    out.key("points", format!("[\n{}]", points.concat()));
    out.0
}

#[derive(Default)]
struct Lines(String);

impl Lines {
    fn head(&mut self, head: &str) {
        let _ = write!(self.0, "\n{head}\n");
    }

    fn key(&mut self, key: &str, value: impl AsRef<str>) {
        let _ = writeln!(self.0, "{key} = {}", value.as_ref());
    }
}

/// The `[figure]` of a setup file that stands so, turned to the camera's right by `turn_rad`.
pub fn figure_toml(spec: &FigureSpec, turn_rad: f64) -> String {
    let mut out = Lines::default();
    write_figure(&mut out, spec, wrapped(turn_rad));
    out.0
}

fn write_figure(out: &mut Lines, spec: &FigureSpec, turn_rad: f64) {
    out.head("[figure]");
    out.key("model", quoted(&spec.model));
    out.key("pose", quoted(&spec.pose));
    out.key("turn", side(turn_rad));
    write_worn(out, spec);
    write_looks(out, &spec.looks, turn_rad);
}

fn write_worn(out: &mut Lines, spec: &FigureSpec) {
    let list = |of: &dyn Fn(&Worn) -> &str| {
        let all: Vec<String> = spec.garments.iter().map(|w| quoted(of(w))).collect();
        format!("[{}]", all.join(", "))
    };
    match &spec.garments[..] {
        [] => out.key("fabric", quoted(&spec.fabric)),
        [one] => {
            out.key("garment", quoted(&one.garment));
            out.key("fabric", quoted(&one.fabric));
        }
        _ => {
            out.key("garment", list(&|w| &w.garment));
            out.key("fabric", list(&|w| &w.fabric));
        }
    }
}

fn write_looks(out: &mut Lines, looks: &Looks, turn_rad: f64) {
    for (key, value) in looks.words() {
        if let Some(value) = value {
            out.key(key, quoted(value));
        }
    }
    if let Some(wind) = looks.wind {
        out.key("wind", side(wrapped(wind.toward_rad + turn_rad)));
        out.key("wind_strength", number(wind.strength));
    }
}

pub(super) fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

/// A number to nine decimals, without trailing zeros.
pub(super) fn number(v: f64) -> String {
    let text = format!("{v:.9}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" {
        "0".to_owned()
    } else {
        text.to_owned()
    }
}

pub(super) fn length(v: f64) -> String {
    format!("\"{} m\"", number(v))
}

pub(super) fn size(sides: &[f64]) -> String {
    let sides: Vec<String> = sides.iter().map(|s| number(*s)).collect();
    format!("\"{} m\"", sides.join(" x "))
}

pub(super) fn angle(rad: f64) -> String {
    format!("\"{} deg\"", number(rad.to_degrees()))
}

/// The same direction within half a turn of straight ahead.
fn wrapped(rad: f64) -> f64 {
    let turns = (rad / std::f64::consts::TAU).round();
    rad - turns * std::f64::consts::TAU
}

/// An angle with the camera's side.
fn side(rad: f64) -> String {
    let word = if rad < 0.0 { "left" } else { "right" };
    format!("\"{} deg {word}\"", number(rad.abs().to_degrees()))
}

fn vector(v: DVec3) -> String {
    format!("[{}, {}, {}]", number(v.x), number(v.y), number(v.z))
}

fn rgb(c: [f64; 3]) -> String {
    if c[0] == c[1] && c[1] == c[2] {
        number(c[0])
    } else {
        vector(DVec3::from_array(c))
    }
}

pub(super) fn spelt<T: PartialEq>(words: &[(&str, T)], value: &T) -> String {
    let word = words
        .iter()
        .find(|(_, v)| v == value)
        .map_or("", |(w, _)| w);
    format!("\"{word}\"")
}

fn receptor(r: Receptor) -> String {
    spelt(&RECEPTORS, &r)
}

fn facing(f: &Facing) -> String {
    match f {
        Facing::Camera => "\"camera\"".to_owned(),
        Facing::Up => "\"up\"".to_owned(),
        Facing::Light(name) => quoted(&format!("light {name}")),
        Facing::Direction(d) => vector(*d),
    }
}

fn point(p: &PointSpec) -> String {
    match p {
        PointSpec::Named(name) => quoted(name),
        PointSpec::At(p) => vector(*p),
    }
}

fn meter_point(p: &MeterPoint) -> String {
    format!(
        "{{ name = {}, at = {}, facing = {}, receptor = {} }}",
        quoted(&p.name),
        point(&p.at),
        facing(&p.facing),
        receptor(p.receptor)
    )
}

fn write_room(out: &mut Lines, room: &Room) {
    out.head("[room]");
    let Some(shell) = &room.shell else {
        out.key("walls", "\"open\"");
        out.key(
            "reflectance",
            format!("{{ floor = {} }}", rgb(room.floor_reflectance)),
        );
        return;
    };
    let across = |[a, b]: [f64; 2]| b - a;
    out.key(
        "size",
        size(&[across(shell.x_m), across(shell.z_m), shell.height_m]),
    );
    out.key("behind", length(-shell.z_m[0]));
    out.key("left", length(-shell.x_m[0]));
    out.key(
        "reflectance",
        format!(
            "{{ floor = {}, walls = {}, back_wall = {}, ceiling = {} }}",
            rgb(room.floor_reflectance),
            rgb(shell.walls_reflectance),
            rgb(shell.back_wall_reflectance),
            rgb(shell.ceiling_reflectance)
        ),
    );
}

fn write_backdrop(out: &mut Lines, backdrop: &Backdrop) {
    out.head("[backdrop]");
    match backdrop {
        Backdrop::None => out.key("kind", "\"none\""),
        Backdrop::Seamless(paper) => {
            out.key("kind", "\"seamless\"");
            out.key("width", length(paper.width_m));
            out.key("behind", length(paper.behind_m));
            out.key("height", length(paper.height_m));
            out.key("curve", length(paper.curve_m));
            out.key("forward", length(paper.forward_m));
            out.key("reflectance", rgb(paper.reflectance));
        }
    }
}

fn write_place(out: &mut Lines, place: &Place) {
    match *place {
        Place::At(p) => out.key("at", vector(p)),
        Place::Taped {
            distance_m,
            bearing_rad,
            height_m,
        } => {
            out.key("distance", length(distance_m));
            out.key("bearing", side(bearing_rad));
            out.key("height", length(height_m));
        }
    }
}

fn write_aim(out: &mut Lines, aim: &Aim, roll_rad: f64, stand: Stand) {
    out.key("aim", point(&aim.at));
    if !aim.feather.is_empty() {
        let each: Vec<String> = aim.feather.iter().map(feather).collect();
        out.key("feather", format!("[{}]", each.join(", ")));
    }
    out.key("roll", angle(roll_rad));
    out.key("stand", spelt(&STANDS, &stand));
}

fn feather(f: &Feather) -> String {
    format!(
        "\"{} deg {}\"",
        number(f.angle_rad.to_degrees()),
        toward_word(f.toward)
    )
}

fn write_swatch(out: &mut Lines, swatch: &Swatch) {
    out.head("[swatch]");
    out.key("fabric", quoted(&swatch.fabric));
    out.key("size", size(&swatch.size_m));
    match &swatch.place {
        SwatchPlace::At(place) => write_place(out, place),
        SwatchPlace::Beside { point, offset_m } => {
            let word = if *offset_m < 0.0 { "left" } else { "right" };
            out.key("beside", quoted(point));
            out.key("offset", format!("\"{} m {word}\"", number(offset_m.abs())));
        }
    }
    out.key("facing", facing(&swatch.facing));
    out.key("roll", angle(swatch.roll_rad));
    out.key("lay", quoted(swatch.lay.word()));
    out.key("show", swatch.shown.to_string());
}

fn write_camera(out: &mut Lines, camera: &Camera) {
    out.head("[camera]");
    // Framing with a distance gives the focal length, and the other way round.
    let framed = camera.framing.is_some();
    if let Some(framing) = &camera.framing {
        out.key("framing", spelt(&FRAMINGS, framing));
    }
    match (camera.place, framed) {
        (
            Place::Taped {
                bearing_rad,
                height_m,
                ..
            },
            true,
        ) => {
            out.key("bearing", side(bearing_rad));
            out.key("height", length(height_m));
        }
        (place, _) => write_place(out, &place),
    }
    if !(framed && matches!(camera.place, Place::At(_))) {
        out.key(
            "focal_length",
            format!("\"{} mm\"", number(camera.focal_length_m * 1e3)),
        );
    }
    let [w, h] = camera.sensor_m.map(|s| number(s * 1e3));
    out.key("sensor", format!("\"{w} x {h} mm\""));
    let [w, h] = camera.sensor_pixels;
    out.key("sensor_pixels", format!("\"{w} x {h}\""));
    out.key("low_pass", camera.low_pass.to_string());
    let [w, h] = camera.pixels;
    out.key("pixels", format!("\"{w} x {h}\""));
    if w == h {
        out.key(
            "orientation",
            if camera.picture_m[0] > camera.sensor_m[1] {
                "\"landscape\""
            } else {
                "\"portrait\""
            },
        );
    }
    out.key("aim", point(&camera.aim.at));
    out.key("upright", camera.upright.to_string());
    out.key(
        "f_number",
        match camera.f_number {
            Aperture::Set(n) => format!("\"f/{}\"", number(n)),
            Aperture::AsMetered => "\"as metered\"".to_owned(),
        },
    );
    out.key("shutter", format!("\"{} s\"", number(camera.shutter_s)));
    out.key("iso", number(camera.iso));
    out.key(
        "focus",
        match &camera.focus {
            Focus::Point(name) => quoted(name),
            Focus::At(p) => vector(*p),
            Focus::Distance(d) => length(*d),
        },
    );
    out.key(
        "white_balance",
        match camera.white_balance {
            WhiteBalance::GreyCard => "\"grey card\"".to_owned(),
            WhiteBalance::Kelvin(k) => format!("\"{} K\"", number(k)),
            WhiteBalance::None => "\"none\"".to_owned(),
        },
    );
}

fn write_light(out: &mut Lines, light: &Light) {
    out.head("[[light]]");
    out.key("name", quoted(&light.name));
    out.key("on", light.on.to_string());
    out.key("modifier", modifier(&light.modifier));
    for (key, value) in extras(&light.modifier) {
        out.key(key, value);
    }
    if let ModifierKind::LensSpot(spot) = light.modifier.kind {
        out.key("focus", number(spot.focus));
    }
    if let Some(spread) = light.spread {
        match light.modifier.mark_of_spread(spread) {
            Some(mark) if light.by_mark => out.key("mark", number(mark)),
            _ => out.key("spread", number(spread)),
        }
    }
    write_place(out, &light.place);
    write_aim(out, &light.aim, light.roll_rad, light.stand);
    match light.output.full {
        Some(FullOutput::FlashEnergy {
            energy_j,
            yield_lm_s_per_j,
        }) => {
            out.key("output", format!("\"{} J\"", number(energy_j)));
            out.key("yield", format!("\"{} lm s/J\"", number(yield_lm_s_per_j)));
        }
        Some(FullOutput::LuminousEnergy { lm_s }) => {
            out.key("output", format!("\"{} lm s\"", number(lm_s)));
        }
        Some(FullOutput::Flux { lm }) => out.key("output", format!("\"{} lm\"", number(lm))),
        None => {}
    }
    match &light.output.setting {
        Setting::Power(fraction) => out.key("power", number(*fraction)),
        Setting::Meters { f_number, at } => {
            out.key("meters", format!("\"f/{}\"", number(*f_number)));
            out.key("metered_at", meter_point(at));
        }
    }
    out.key("colour", format!("\"{} K\"", number(light.colour.kelvin)));
    let mut gels = Vec::new();
    if light.colour.gel_mired != 0.0 {
        gels.push(format!("\"{} mired\"", number(light.colour.gel_mired)));
    }
    if light.colour.filter != [1.0; 3] {
        gels.push(vector(DVec3::from_array(light.colour.filter)));
    }
    if !gels.is_empty() {
        out.key("gel", format!("[{}]", gels.join(", ")));
    }
    if let Some(head) = &light.head {
        let step = if head.step_stops > 0.0 {
            format!(", step = \"{} stops\"", number(head.step_stops))
        } else {
            String::new()
        };
        out.key(
            "head",
            format!(
                "{{ most = {}, least = {}{step} }}",
                number(head.most.fraction()),
                number(head.least.fraction())
            ),
        );
    }
}

fn finish(f: &Finish) -> String {
    match f {
        Finish::Reflectance(c) => rgb(*c),
        word => spelt(&FINISHES, word),
    }
}

fn write_board(out: &mut Lines, board: &Board) {
    out.head(&format!("[[{}]]", board.kind.word()));
    out.key("name", quoted(&board.name));
    match &board.kind {
        BoardKind::Board { front, back } | BoardKind::Flag { front, back } => {
            out.key("finish", finish(front));
            out.key("back", finish(back));
            out.key("thickness", length(board.thickness_m));
        }
        BoardKind::Scrim(cloth) => out.key(
            "cloth",
            format!(
                "{{ straight = {}, scattered = {}, reflected = {} }}",
                number(cloth.straight),
                number(cloth.scattered),
                number(cloth.reflected)
            ),
        ),
    }
    out.key("size", size(&board.size_m));
    write_place(out, &board.place);
    write_aim(out, &board.aim, board.roll_rad, board.stand);
}
