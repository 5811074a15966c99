//! Readings as text: what each light reads at each point, and what follows from it.

use super::table::{Table, WIDEST, name};
use super::words;
use swatchlight::measure::readings::{PointReading, Reading};
use swatchlight::measure::take::Take;
use swatchlight::photometry::dial::on_dial;
use swatchlight::photometry::exposure::Receptor;
use swatchlight::setup::{Aperture, Facing, Light, Setup};

/// Everything `read` says about a take.
pub fn page(take: &Take) -> String {
    let parts = [
        heading(take),
        lights(take),
        points(take),
        exposure(take),
        ratios(take),
        edges(take),
    ];
    parts
        .into_iter()
        .filter(|part| !part.is_empty())
        .collect::<Vec<_>>()
        .join("\n")
}

fn heading(take: &Take) -> String {
    let setup = &take.setup;
    let title = if setup.title.is_empty() {
        String::new()
    } else {
        format!("{}\n", setup.title)
    };
    let used = |receptor| {
        let meters = take.points.iter().chain([&take.expose_at]);
        meters.map(|p| p.meter.receptor).any(|r| r == receptor)
    };
    let constants: Vec<String> = [(Receptor::Flat, "flat receptor"), (Receptor::Dome, "dome")]
        .into_iter()
        .filter(|(receptor, _)| used(*receptor))
        .map(|(receptor, word)| {
            format!(
                "C = {} ({word})",
                words::significant(receptor.constant(&setup.meter.constants), 4)
            )
        })
        .collect();
    format!(
        "{title}ISO {}, {}. Meter constant {}.\n",
        words::significant(setup.camera.iso, 4),
        words::shutter(setup.camera.shutter_s),
        constants.join(", ")
    )
}

/// What shapes each light, and how much of its output that lets out.
pub fn lights(take: &Take) -> String {
    let mut table = Table::new(["light", "modifier", "lets out"]);
    for (light, share) in take.setup.lights.iter().zip(&take.studio.efficiency) {
        table.row([
            name(&light.name),
            words::modifier_as_set(light),
            // What a plain face is said to give leaves it by definition.
            if light.modifier.kind.lamp().is_some() || *share < 0.9995 {
                words::percent(*share)
            } else {
                "all".into()
            },
        ]);
    }
    if take.setup.lights.is_empty() {
        return String::new();
    }
    table.render(WIDEST)
}

/// A block of rows to each point: f-numbers, and under them the light itself with its error.
fn points(take: &Take) -> String {
    let setup = &take.setup;
    let header = ["point".to_owned()]
        .into_iter()
        .chain(setup.lights.iter().map(|l| name(&l.name)))
        .chain(["together".to_owned()]);
    let mut table = Table::new(header);
    for point in &take.points {
        let all = || setup.lights.iter().zip(&point.lights);
        table.row(
            [name(&point.meter.name)]
                .into_iter()
                .chain(all().map(|(light, r)| if light.on { mark(r) } else { "off".into() }))
                .chain([mark(&point.together)]),
        );
        table.row(
            [receptor(point)]
                .into_iter()
                .chain(all().map(|(light, r)| {
                    if light.on {
                        light_of(r, only_burns([light]))
                    } else {
                        String::new()
                    }
                }))
                .chain([light_of(
                    &point.together,
                    only_burns(setup.lights.iter().filter(|l| l.on)),
                )]),
        );
    }
    table.render(WIDEST)
}

fn mark(reading: &Reading) -> String {
    reading.f_number.map_or("dark".into(), on_dial)
}

/// Whether all of the lights burn, so that the reading is best told in lux.
fn only_burns<'a>(lights: impl IntoIterator<Item = &'a Light>) -> bool {
    let mut lights = lights.into_iter().peekable();
    lights.peek().is_some() && lights.all(|l| l.output.continuous)
}

fn light_of(reading: &Reading, burns: bool) -> String {
    let (value, unit) = if burns {
        (reading.ambient_lx, "lx")
    } else {
        (reading.exposure_lx_s.value, "lx s")
    };
    let error = reading.exposure_lx_s.relative();
    match error.is_finite() && value > 0.0 {
        true => format!(
            "{} {unit} ±{}%",
            words::significant(value, 3),
            words::significant(100.0 * error, 1)
        ),
        false => format!("{} {unit}", words::significant(value, 3)),
    }
}

fn receptor(point: &PointReading) -> String {
    let kind = match point.meter.receptor {
        Receptor::Flat => "flat",
        Receptor::Dome => "dome",
    };
    match &point.meter.facing {
        Facing::Camera => format!("  {kind}, to camera"),
        Facing::Light(light) => format!("  {kind}, to {}", name(light)),
        Facing::Up => format!("  {kind}, up"),
        Facing::Direction(_) => format!("  {kind}"),
    }
}

fn exposure(take: &Take) -> String {
    let setup = &take.setup;
    let mark =
        swatchlight::photometry::FNumber::exact(take.f_number).map_or(String::new(), on_dial);
    let mut text = match setup.camera.f_number {
        Aperture::AsMetered => format!(
            "Camera at {mark}, as metered at \"{}\".\n",
            take.expose_at.meter.name
        ),
        Aperture::Set(_) => {
            let metered = match take.expose_at.together.f_number.map(on_dial) {
                Some(metered) => format!("\"{}\" meters {metered}", take.expose_at.meter.name),
                None => format!("\"{}\" is dark", take.expose_at.meter.name),
            };
            format!("Camera at {mark}, as set; {metered}.\n")
        }
    };
    if let Some(stops) = take.evenness_stops {
        text += &format!("Evenness from face to hem: {}.\n", evenness(stops));
    }
    text
}

/// Less than a meter's tenth says nothing more.
fn evenness(stops: f64) -> String {
    if stops < 0.05 {
        "within a tenth of a stop".into()
    } else {
        words::stops(stops)
    }
}

fn ratios(take: &Take) -> String {
    if take.ratios.is_empty() {
        return String::new();
    }
    let mut table = Table::new([
        format!("ratio at {}", take.expose_at.meter.name),
        "(key + fill) : fill".into(),
        "key : fill".into(),
        "stops apart".into(),
    ]);
    for r in &take.ratios {
        table.row([
            format!("{}, {}", name(&r.key), name(&r.fill)),
            format!("{} : 1", words::significant(r.key_and_fill_to_fill, 2)),
            format!("{} : 1", words::significant(r.key_to_fill, 2)),
            format!("{:.1}", r.key_to_fill.log2()),
        ]);
    }
    table.render(WIDEST)
}

fn edges(take: &Take) -> String {
    let Some(first) = take.edges.first() else {
        return String::new();
    };
    let mut table = Table::default();
    for e in &take.edges {
        let (least, greatest) = (
            words::significant(e.edge.least_mm, 2),
            words::significant(e.edge.greatest_mm, 2),
        );
        table.row([
            name(&e.light),
            if least == greatest {
                format!("{least} mm")
            } else {
                format!("{least} to {greatest} mm by its turn")
            },
        ]);
    }
    format!(
        "shadow edge at {}, 10 to 90 %, of a straight edge 100 mm in front\n{}",
        first.point,
        table.render(WIDEST)
    )
}

/// What the picture is of, in a sentence or two for people.
pub fn description(setup: &Setup) -> String {
    let subject = match (&setup.figure, &setup.swatch) {
        (Some(figure), _) => {
            let each = figure.spec.garments.iter();
            let each: Vec<String> = each
                .map(|w| format!("{} of {}", w.garment, w.fabric))
                .collect();
            let worn = match &each[..] {
                [] => String::new(),
                all => format!(" in {}", all.join(" and ")),
            };
            format!("Stand-in figure {}{worn}", figure.spec.model)
        }
        (None, Some(swatch)) => format!("Swatch of {}", swatch.fabric),
        (None, None) => "An empty set".into(),
    };
    let lights: Vec<String> = setup
        .lights
        .iter()
        .filter(|l| l.on)
        .map(|l| format!("{} ({})", l.name, l.modifier.name))
        .collect();
    match lights.is_empty() {
        true => format!("{subject}."),
        false => format!("{subject}. Lights: {}.", lights.join(", ")),
    }
}
