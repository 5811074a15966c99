//! A fabric's data page as a drawing: the cloth under a raking and a soft light, close by and from
//! afar, its draft and its section, and its figures. A4, lying.

pub mod draft_drawing;
pub mod maps_png;
mod rows;
pub mod section;

pub use rows::{Block, blocks, contrast_word, moire_words};

use super::drawing::{Anchor, Colour, Drawing, Paint, Raster, Shape, Text, fitted};
use crate::fabric::{Fabric, FabricError, Structure};
use crate::measure::fabric_page::{FabricPage, Pictured, drawn_draft};
use crate::photometry::colour::encode_srgb8;
use crate::setup::Lay;
use draft_drawing::draft_drawing;
use rows::{contrast, figure, spoken};
use section::section;

const PAGE_MM: [f64; 2] = [297.0, 210.0];
const LEFT: f64 = 15.0;
const RIGHT: f64 = 282.0;
/// Where pictures begin.
const TOP: f64 = 36.0;
/// Of a woven cloth: pictures in a row, and what stands below them.
const IN_ROW_MM: f64 = 63.0;
const ROW_STEP: f64 = 68.0;
const BELOW: f64 = 118.0;
/// Of all others: pictures by two and two, and the figures beside them.
const IN_SQUARE_MM: f64 = 70.0;
const SQUARE_STEP: [f64; 2] = [75.0, 82.0];
const BESIDE: f64 = 174.0;
/// Of a woven cloth: draft, section and figures.
const SECTION: f64 = 84.0;
const FIGURES: f64 = 186.0;
const INK: Colour = [34, 34, 34];
const QUIET: Colour = [95, 95, 95];
const RULE: Colour = [190, 190, 190];
const WARNING: Colour = [166, 66, 82];
const BODY_MM: f64 = 2.75;
const SMALL_MM: f64 = 2.4;
const HEADING_MM: f64 = 3.1;
const LEADING_MM: f64 = 3.5;
/// Pixels of a picture to a millimetre of the page: those of a PNG of it.
const PIXELS_PER_MM: f64 = 8.0;
/// A dark cloth's pictures are opened up to so many stops, as long as so few pixels pass white: more, and
/// plum is pink.
const MOST_STOPS: i32 = 1;
const MAY_CLIP: f64 = 0.005;
/// Luminance up to which its upper quartile should come.
const DARK: f64 = 0.12;

/// What the figures mean, where there is room to say it.
const WORDS: &str = "Contrast, relief: all in one reflectance, so that only what the light does is \
                     left. As dyed: what is seen. As light as a card of: the median over the piece. Highlight: \
                     more than 1.5 stops above that. Clipped: white where a card of 18 % is exposed right. Cover, \
                     calculated: from widths and spacings. As drawn: looked at in thousands of places.";

/// Pixels along the side of a page's pictures.
pub fn picture_pixels(fabric: &Fabric) -> u32 {
    let side_mm = match fabric.structure {
        Structure::Woven(_) => IN_ROW_MM,
        _ => IN_SQUARE_MM,
    };
    (side_mm * PIXELS_PER_MM) as u32
}

/// Draws the page.
///
/// # Errors
/// A weave too large to be drafted.
pub fn draw(
    fabric: &Fabric,
    page: &FabricPage,
    pictures: &[Pictured],
) -> Result<Drawing, FabricError> {
    let mut sheet = Drawing::new(PAGE_MM, page.title.as_str());
    header(&mut sheet, page);
    let stops = opened_by(pictures);
    let woven = matches!(fabric.structure, Structure::Woven(_));
    for (k, picture) in pictures.iter().enumerate() {
        let (corner, side) = if woven {
            ([LEFT + k as f64 * ROW_STEP, TOP], IN_ROW_MM)
        } else {
            let [x, y] = [k % 2, k / 2].map(|n| n as f64);
            let corner = [LEFT + x * SQUARE_STEP[0], TOP + y * SQUARE_STEP[1]];
            (corner, IN_SQUARE_MM)
        };
        show(&mut sheet, page, picture, stops, corner, side);
    }
    if woven {
        below(&mut sheet, fabric, page)?;
    } else {
        let width = RIGHT - BESIDE;
        let y = figures(&mut sheet, page, [BESIDE, TOP + 3.0], width, (BODY_MM, 4.9));
        let y = remarks(&mut sheet, page, [BESIDE, y + 1.0], width);
        heading(&mut sheet, [BESIDE, y + 5.0], "Words");
        paragraph(&mut sheet, [BESIDE, y + 9.4], width, WORDS);
    }
    footer(&mut sheet, page, stops);
    Ok(sheet)
}

fn header(sheet: &mut Drawing, page: &FabricPage) {
    let room = RIGHT - LEFT - 60.0;
    let title = fitted(&page.title, 7.0, room);
    sheet.text(Text::new([LEFT, 20.0], title, 7.0, INK));
    let words = fitted(&kind_words(page), 3.2, RIGHT - LEFT);
    sheet.text(Text::new([LEFT, 26.5], words, 3.2, QUIET));
    let name = fitted(&page.fabric, 3.2, 56.0);
    sheet.text(Text::new([RIGHT, 20.0], name, 3.2, QUIET).anchored(Anchor::End));
    sheet.line([[LEFT, 30.5], [RIGHT, 30.5]], Paint::line(INK, 0.25));
}

/// What it is, its setts and yarns, its weight: what a mill's label says.
fn kind_words(page: &FabricPage) -> String {
    if let Some(w) = &page.woven {
        let yarns = match w.warp.count == w.weft.count && w.warp.fibre == w.weft.fibre {
            true => format!("{} {}", w.warp.count, w.warp.fibre),
            false => format!(
                "{} {} × {} {}",
                w.warp.count, w.warp.fibre, w.weft.count, w.weft.fibre
            ),
        };
        return format!(
            "Woven, {}; {} ends and {} picks per cm of {yarns}; {} g/m²",
            spoken(&w.weave),
            figure(w.warp.threads_per_cm, 3),
            figure(w.weft.threads_per_cm, 3),
            figure(w.weight_g_m2, 3)
        );
    }
    let kind = match page.structure {
        "jersey" => "Knitted, plain jersey",
        "rib" => "Knitted, rib",
        "net" => "Net of hexagons",
        "lace" => "Lace, motifs on a net",
        "velvet" => "Velvet, cut pile",
        "corduroy" => "Corduroy, cut pile in cords",
        "leather" => "Leather, grained",
        "sequins" => "Sequins sewn on",
        _ => "From maps",
    };
    match &page.knit {
        Some(k) => format!(
            "{kind}; {} wales and {} courses per cm of {} {}; {} g/m²",
            figure(k.wales_per_cm, 3),
            figure(k.courses_per_cm, 3),
            k.count,
            k.fibre,
            figure(k.weight_g_m2, 3)
        ),
        None => kind.to_owned(),
    }
}

/// Whole stops by which all pictures of a dark cloth are opened.
fn opened_by(pictures: &[Pictured]) -> i32 {
    let all = || pictures.iter().flat_map(|p| &p.shot.rgb);
    let count = all().count().max(1) as f64;
    let fits = |stops: &i32| {
        let white = (-f64::from(*stops)).exp2() as f32;
        let over = all().filter(|rgb| rgb.iter().any(|v| *v > white)).count();
        over as f64 / count <= MAY_CLIP
    };
    // The middle tone of the brighter half has to need it.
    let mut bright: Vec<f32> = pictures
        .iter()
        .flat_map(|p| p.shot.luminance.clone())
        .collect();
    bright.sort_by(f32::total_cmp);
    let upper = bright.get(bright.len() * 3 / 4).copied().unwrap_or(0.18);
    let wanted = (DARK / f64::from(upper.max(1e-4))).log2().floor() as i32;
    (1..=wanted.clamp(0, MOST_STOPS))
        .take_while(fits)
        .last()
        .unwrap_or(0)
}

fn show(
    sheet: &mut Drawing,
    page: &FabricPage,
    picture: &Pictured,
    stops: i32,
    corner_mm: [f64; 2],
    side_mm: f64,
) {
    let gain = f64::from(stops).exp2();
    let code = |rgb: &[f32; 3]| rgb.map(|v| encode_srgb8(f64::from(v.max(0.0)) * gain));
    sheet.shapes.push(Shape::Raster {
        corner_mm,
        size_mm: [side_mm; 2],
        raster: Raster {
            columns: picture.shot.width,
            pixels: picture.shot.rgb.iter().map(code).collect(),
        },
    });
    let [left, top] = corner_mm;
    let under = top + side_mm + 4.2;
    let word = picture.light.word();
    let lies = match picture.lay {
        Lay::Flat => String::new(),
        lay => format!(", {}", lay.word()),
    };
    let words = format!("{}{} light{lies}", word[..1].to_uppercase(), &word[1..]);
    sheet.text(Text::new([left, under], words, BODY_MM, INK).strong());
    let mut about = match picture.width_mm {
        mm if mm >= 100.0 => format!("{} cm wide", figure(0.1 * mm, 3)),
        mm => format!("{} mm wide", figure(mm, 3)),
    };
    // Contrast is read close by.
    let read = page.light.iter().find(|l| l.light == word);
    if let Some(l) = read.filter(|_| picture.width_mm < 50.0) {
        about += &format!(
            "; {} {} as dyed, {} relief",
            contrast_word(page),
            contrast(&l.as_dyed),
            contrast(&l.relief)
        );
    }
    sheet.text(Text::new([left, under + 3.6], about, SMALL_MM, QUIET));
    rule(
        sheet,
        picture.width_mm,
        [left + side_mm, under - 0.4],
        side_mm,
    );
}

/// A tenth of a picture's width, drawn as a length, up to a place on the right.
fn rule(sheet: &mut Drawing, width_mm: f64, [right, y]: [f64; 2], side_mm: f64) {
    let length_mm = 0.1 * width_mm;
    let from = right - 0.1 * side_mm;
    let line = Paint::line(INK, 0.2);
    sheet.line([[from, y], [right, y]], line);
    for x in [from, right] {
        sheet.line([[x, y - 0.9], [x, y + 0.9]], line);
    }
    let words = match length_mm {
        mm if mm >= 10.0 => format!("{} cm", figure(0.1 * mm, 2)),
        mm => format!("{} mm", figure(mm, 2)),
    };
    let text = Text::new([from - 1.2, y + 0.8], words, SMALL_MM, QUIET);
    sheet.text(text.anchored(Anchor::End));
}

/// Draft, section and figures of a woven cloth.
fn below(sheet: &mut Drawing, fabric: &Fabric, page: &FabricPage) -> Result<(), FabricError> {
    let Structure::Woven(cloth) = &fabric.structure else {
        return Ok(());
    };
    let said = |e: &dyn std::fmt::Display| FabricError::Text(e.to_string());
    heading(sheet, [LEFT, BELOW], "Draft");
    let draft = drawn_draft(cloth)?;
    let room = [SECTION - LEFT - 8.0, 68.0];
    let drawn = draft_drawing(sheet, &draft, [LEFT, BELOW + 1.0], room).map_err(|e| said(&e))?;
    let words = drawn.words(&draft);
    paragraph(sheet, [LEFT, BELOW + 73.0], room[0], &words);

    heading(sheet, [SECTION, BELOW], "Section");
    let geometry = cloth
        .spec
        .construction()?
        .geometry(&cloth.drafted.drawdown)
        .map_err(|e| said(&e))?;
    let room = [FIGURES - SECTION - 8.0, 44.0];
    let colours = section_colours(&draft.palette);
    let cut = section(
        sheet,
        &geometry,
        &cloth.drafted.drawdown,
        colours,
        [SECTION, BELOW + 2.0],
        room,
    );
    let y = BELOW + 2.0 + room[1] + 3.5;
    let words = format!("Enlarged {} times. Up is the face.", figure(cut.times, 3));
    paragraph(sheet, [SECTION, y], room[0], &words);
    remarks(sheet, page, [SECTION, y + 7.0], room[0]);
    figures(
        sheet,
        page,
        [FIGURES, BELOW],
        RIGHT - FIGURES,
        (SMALL_MM, 3.25),
    );
    Ok(())
}

/// The draft's own colours, or two greys.
fn section_colours(palette: &[[f32; 3]]) -> [Colour; 2] {
    let code = |c: &[f32; 3]| c.map(|v| (255.0 * v.clamp(0.0, 1.0)).round() as u8);
    match palette {
        [warp, weft] => [code(warp), code(weft)],
        _ => [[120, 120, 120], [222, 222, 222]],
    }
}

/// The figures in blocks, in letters of a size and lines so far apart; gives where they end.
fn figures(
    sheet: &mut Drawing,
    page: &FabricPage,
    [left, top]: [f64; 2],
    width: f64,
    (size_mm, leading): (f64, f64),
) -> f64 {
    const COLUMN: f64 = 23.0;
    let mut y = top;
    for block in blocks(page) {
        heading(sheet, [left, y], block.heading);
        let columns = block.columns.len();
        for (k, name) in block.columns.iter().enumerate() {
            let right = left + width - (columns - 1 - k) as f64 * COLUMN;
            sheet.text(Text::new([right, y], *name, size_mm, QUIET).anchored(Anchor::End));
        }
        sheet.line(
            [[left, y + 1.1], [left + width, y + 1.1]],
            Paint::line(RULE, 0.2),
        );
        for (name, values) in &block.rows {
            y += leading;
            if std::ptr::eq(name, &block.rows[0].0) {
                y += 0.6;
            }
            let room = width - COLUMN * values.len() as f64 + 4.0;
            sheet.text(Text::new(
                [left, y],
                fitted(name, size_mm, room.max(30.0)),
                size_mm,
                QUIET,
            ));
            for (k, value) in values.iter().enumerate() {
                let right = left + width - (values.len() - 1 - k) as f64 * COLUMN;
                let room = if values.len() > 1 { COLUMN - 1.0 } else { 50.0 };
                let words = fitted(value, size_mm, room);
                sheet.text(Text::new([right, y], words, size_mm, INK).anchored(Anchor::End));
            }
        }
        y += leading + 2.6;
    }
    y
}

/// Warnings first, then moiré; gives where they end.
fn remarks(sheet: &mut Drawing, page: &FabricPage, [left, top]: [f64; 2], width: f64) -> f64 {
    let mut y = top;
    let warnings = page
        .warnings
        .iter()
        .map(|w| (format!("Warning: {w}."), WARNING));
    let moire = page.moire.iter().map(|m| (moire_words(m), QUIET));
    for (words, colour) in warnings.chain(moire) {
        let text = Text::new([left, y], words, SMALL_MM, colour);
        y += sheet.paragraph(&text, width, LEADING_MM) as f64 * LEADING_MM + 1.2;
    }
    y
}

fn heading(sheet: &mut Drawing, at_mm: [f64; 2], words: &str) {
    sheet.text(Text::new(at_mm, words, HEADING_MM, INK).strong());
}

fn paragraph(sheet: &mut Drawing, at_mm: [f64; 2], width_mm: f64, words: &str) {
    sheet.paragraph(
        &Text::new(at_mm, words, SMALL_MM, QUIET),
        width_mm,
        LEADING_MM,
    );
}

fn footer(sheet: &mut Drawing, page: &FabricPage, stops: i32) {
    let opened = match stops {
        0 => String::new(),
        1 => "; the pictures are opened by 1 stop".to_owned(),
        n => format!("; the pictures are opened by {n} stops"),
    };
    let over = match page.geometry.over_ground {
        Some(ground) => format!(" Figures over a ground of {}.", figure(ground, 2)),
        None => String::new(),
    };
    let words = format!(
        "Raking: a 5 cm disk 75° off the normal, 2.5 m away. Soft: a 1.25 m square about the lens, 1.3 m away. \
         A card of 18 % is mid grey (118){opened}. Contrast: standard deviation over mean, 20 mm, flat, \
         20 pixels per mm.{over}"
    );
    sheet.line([[LEFT, 201.0], [RIGHT, 201.0]], Paint::line(RULE, 0.2));
    let words = fitted(&words, 2.3, RIGHT - LEFT);
    sheet.text(Text::new([LEFT, 204.8], words, 2.3, QUIET));
}
