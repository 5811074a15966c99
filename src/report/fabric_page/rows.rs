//! The figures of a fabric's page as words, in blocks: the same for terminal and paper.

use crate::measure::fabric_page::{Contrast, FabricPage, MoireFacts, UnderLight};

/// A block of figures: a name and one or more values a row.
#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    /// What it is about.
    pub heading: &'static str,
    /// Names of the values, where there is more than one.
    pub columns: Vec<&'static str>,
    /// Name and values.
    pub rows: Vec<(String, Vec<String>)>,
}

/// All blocks of a page.
pub fn blocks(page: &FabricPage) -> Vec<Block> {
    let mut all = Vec::new();
    all.extend(threads(page));
    all.push(cloth(page));
    all.push(light(page));
    all
}

/// What pixels make of the threads, as sentences.
pub fn moire_words(found: &MoireFacts) -> String {
    let camera = format!(
        "{} mm at f/{} from {} m on a sensor of {} mm and {} pixels across (a pixel is {} mm of cloth)",
        figure(found.focal_length_mm, 3),
        figure(found.f_number, 2),
        figure(found.distance_m, 3),
        figure(found.sensor_width_mm, 3),
        found.pixels_across,
        figure(found.pixel_on_cloth_mm, 2),
    );
    let Some(worst) = &found.worst else {
        return format!("Moiré: none, squarely before {camera}.");
    };
    let moves = match (found.clear_nearer_m, found.clear_farther_m) {
        (Some(near), Some(far)) => format!(
            "Clear at {} m or nearer, and from {} m on",
            metres(near, false),
            metres(far, true)
        ),
        (Some(near), None) => format!("Clear at {} m or nearer", metres(near, false)),
        (None, Some(far)) => format!("Clear from {} m on", metres(far, true)),
        (None, None) => "No distance near this one is clear".to_owned(),
    };
    // A beat of a thousand pixels is an even tone.
    let period = match worst.alias_period_px {
        px if px < 999.5 => format!("every {} pixels", figure(px, 2)),
        _ => "over hundreds of pixels".to_owned(),
    };
    let beat = if worst.pattern.ends_with('s') {
        "beat"
    } else {
        "beats"
    };
    format!(
        "Moiré {}, squarely before {camera}: the {} ({} mm) {beat} {period}. {moves}.",
        found.verdict,
        worst.pattern,
        figure(worst.period_mm, 3),
    )
}

/// Up to so many significant digits, without zeros after them.
pub fn figure(value: f64, digits: i32) -> String {
    if value == 0.0 || !value.is_finite() {
        return if value == 0.0 { "0" } else { "\u{2013}" }.to_owned();
    }
    let decimals = (digits - 1 - value.abs().log10().floor() as i32).clamp(0, 6) as usize;
    let text = format!("{value:.decimals$}");
    match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text,
    }
}

/// To centimetres, to the safe side.
fn metres(value: f64, up: bool) -> String {
    let hundredths = if up {
        (100.0 * value).ceil()
    } else {
        (100.0 * value).floor()
    };
    figure(0.01 * hundredths, 3)
}

fn percent(share: f64) -> String {
    match 100.0 * share {
        p if p > 0.0 && p < 0.01 => "under 0.01 %".to_owned(),
        p => format!("{} %", figure(p, if p < 1.0 { 2 } else { 3 })),
    }
}

fn threads(page: &FabricPage) -> Option<Block> {
    let w = page.woven.as_ref()?;
    let both = |f: &dyn Fn(&crate::measure::fabric_page::SystemFacts) -> String| {
        vec![f(&w.warp), f(&w.weft)]
    };
    let share = |s: Option<f64>| s.map_or("\u{2013}".into(), percent);
    let row = |name: &str, values: Vec<String>| (name.to_owned(), values);
    Some(Block {
        heading: "Threads",
        columns: vec!["warp", "weft"],
        rows: vec![
            row("yarn", both(&|s| s.count.clone())),
            row("fibre", both(&|s| s.fibre.clone())),
            row("tex", both(&|s| figure(s.count_tex, 3))),
            row("per cm", both(&|s| figure(s.threads_per_cm, 3))),
            row("diameter, mm", both(&|s| figure(s.diameter_mm, 3))),
            row("crimp", both(&|s| percent(s.crimp))),
            row(
                "cover factor, tex (cotton)",
                both(&|s| {
                    format!(
                        "{} ({})",
                        figure(s.tex_cover_factor, 3),
                        figure(s.cotton_cover_factor, 3)
                    )
                }),
            ),
            row(
                "longest float, face (back)",
                both(&|s| format!("{} ({})", s.longest_float_on_face, s.longest_float_on_back)),
            ),
            row(
                "share of the face",
                vec![share(page.face.warp_share), share(page.face.weft_share)],
            ),
        ],
    })
}

fn cloth(page: &FabricPage) -> Block {
    let mut rows: Vec<(String, String)> = Vec::new();
    let mut row = |name: &str, value: String| rows.push((name.to_owned(), value));
    if let Some(w) = &page.woven {
        row(
            "repeat",
            format!("{} ends, {} picks", w.repeat[0], w.repeat[1]),
        );
        row("weight", format!("{} g/m²", figure(w.weight_g_m2, 3)));
        row("thickness", format!("{} mm", figure(w.thickness_mm, 2)));
        row("cover, calculated", percent(w.cover));
    }
    if let Some(k) = &page.knit {
        row("yarn", format!("{}, {}", k.count, k.fibre));
        row("yarn diameter", format!("{} mm", figure(k.diameter_mm, 3)));
        row("wales", format!("{} per cm", figure(k.wales_per_cm, 3)));
        row("courses", format!("{} per cm", figure(k.courses_per_cm, 3)));
        row("loop length", format!("{} mm", figure(k.loop_length_mm, 3)));
        row("weight", format!("{} g/m²", figure(k.weight_g_m2, 3)));
        row("cover, calculated", percent(k.cover));
    }
    for d in &page.dimensions {
        let unit = match d.unit {
            "" => String::new(),
            "°" => "°".to_owned(),
            unit => format!(" {unit}"),
        };
        row(d.what, format!("{}{unit}", figure(d.value, 3)));
    }
    row("cover, as drawn", percent(page.face.cover));
    row("mean reflectance", percent(page.face.reflectance));
    let threads = page.woven.is_some() || page.knit.is_some();
    Block {
        heading: if threads { "Cloth" } else { "Dimensions" },
        columns: Vec::new(),
        rows: rows.into_iter().map(|(n, v)| (n, vec![v])).collect(),
    }
}

fn light(page: &FabricPage) -> Block {
    let each = |f: &dyn Fn(&UnderLight) -> String| page.light.iter().map(f).collect();
    let row = |name: &str, values: Vec<String>| (name.to_owned(), values);
    let word = contrast_word(page);
    Block {
        heading: "Under the reference lights",
        columns: page.light.iter().map(|l| l.light).collect(),
        rows: vec![
            (format!("{word}, relief"), each(&|l| contrast(&l.relief))),
            (format!("{word}, as dyed"), each(&|l| contrast(&l.as_dyed))),
            row(
                "as light as a card of",
                each(&|l| percent(l.like_a_card_of)),
            ),
            row("highlight share", each(&|l| percent(l.highlight_share))),
            row("clipped share", each(&|l| percent(l.clipped_share))),
        ],
    }
}

/// What weave contrast is called where there is no weave.
pub fn contrast_word(page: &FabricPage) -> &'static str {
    match page.structure {
        "velvet" | "corduroy" | "leather" | "sequins" | "maps" => "surface contrast",
        _ => "weave contrast",
    }
}

/// A contrast to two decimals: another piece of the cloth differs by more.
pub fn contrast(c: &Contrast) -> String {
    format!("{:.2}", c.rms)
}

/// A standard weave's name as it is spoken: "twill 3/1 right" of twill-3-1-right.
pub fn spoken(weave: &str) -> String {
    if weave.contains(['.', ' ']) {
        return weave.to_owned();
    }
    let mut out = String::new();
    let mut last_number = false;
    for part in weave.split('-') {
        let number = part.parse::<u32>().is_ok();
        if !out.is_empty() {
            out.push(if number && last_number { '/' } else { ' ' });
        }
        out += part;
        last_number = number;
    }
    out
}
