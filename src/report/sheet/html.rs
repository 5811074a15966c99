//! A sheet as one HTML file that needs nothing else: text, pictures, drawings, and the light of each lamp, to mix
//! the picture anew. A content security policy lets no request out and only the page's own script
//! run; names are text and nothing else.

use super::content::{Cell, ClothPictures, Drawn, Fact, Image, Sheet, SheetTable};
use super::layers::{KELVINS, Live, OFFSET, SHIFT};
use super::page::lay;
use super::paper::Paper;
use super::pdf::jpeg;
use super::set::MARGIN_MM;
use super::woff::woff;
use crate::report::drawing::svg;
use crate::report::error::StillError;
use crate::report::labels::{self, page as words};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde::Serialize;
use sha2::{Digest, Sha256};
use std::fmt::Write;

const STYLE: &str = include_str!("page.css");
const SCRIPT: &str = include_str!("page.js");

/// Stops that a light can be moved by.
const POWER_STOPS: [i32; 2] = [-6, 3];

/// What the script needs to know.
#[derive(Serialize)]
struct Data<'a> {
    width: u32,
    height: u32,
    shift: u32,
    offset: u32,
    kelvins: [u32; 3],
    lights: Vec<DataLight<'a>>,
    words: Words,
}

#[derive(Serialize)]
struct DataLight<'a> {
    kelvin: f64,
    colour: [f64; 3],
    colours: &'a [[f64; 3]],
}

#[derive(Serialize)]
struct Words {
    stops: &'static str,
    dark: &'static str,
}

/// Writes the page.
///
/// # Errors
/// [`StillError::Encode`] where a picture cannot be put into it.
pub fn html(sheet: &Sheet, paper: Paper) -> Result<String, StillError> {
    let style = style(paper);
    let mut out = String::new();
    let title = escaped(&sheet.title);
    let lying = if sheet.still.width > sheet.still.height {
        " class=\"lying\""
    } else {
        ""
    };
    push(
        &mut out,
        format_args!(
            "<!DOCTYPE html>\n<html lang=\"{}\">\n<head>\n<meta charset=\"utf-8\">\n\
             <meta http-equiv=\"Content-Security-Policy\" content=\"{}\">\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
             <meta name=\"referrer\" content=\"no-referrer\">\n\
             <title>{title}</title>\n<style>{style}</style>\n</head>\n<body{lying}>\n",
            labels::LANGUAGE,
            policy(&style)
        ),
    );
    push(
        &mut out,
        format_args!(
            "<header><h1 dir=\"auto\">{title}</h1><span class=\"grey\" dir=\"auto\">{}</span>\
             <span class=\"grey\" dir=\"auto\">{}</span></header>\n<main>\n",
            escaped(&sheet.subject),
            escaped(&sheet.date)
        ),
    );
    if !sheet.notes.is_empty() {
        push(
            &mut out,
            format_args!("<p dir=\"auto\">{}</p>\n", escaped(&sheet.notes)),
        );
    }
    view(&mut out, sheet)?;
    if let Some(live) = &sheet.live {
        mixer(&mut out, live);
    }
    for readings in &sheet.readings {
        table(&mut out, readings);
    }
    let settings_first = lay(sheet, paper).settings_first;
    if settings_first {
        table(&mut out, &sheet.settings);
    }
    out += "<div class=\"assistant\">\n";
    drawings(&mut out, &sheet.drawings);
    table(&mut out, &sheet.placement);
    if !settings_first {
        table(&mut out, &sheet.settings);
    }
    steps(&mut out, sheet);
    push(
        &mut out,
        format_args!(
            "</div>\n</main>\n<footer><span>{}</span></footer>\n",
            labels::MADE_BY
        ),
    );
    if let Some(live) = &sheet.live {
        scripts(&mut out, live)?;
    }
    out += "</body>\n</html>\n";
    Ok(out)
}

/// Writing to a string cannot fail.
fn push(out: &mut String, what: std::fmt::Arguments<'_>) {
    let _ = out.write_fmt(what);
}

/// The style sheet with the typeface and the paper in it.
fn style(paper: Paper) -> String {
    format!(
        "@font-face {{ font-family: \"Sheet\"; font-weight: 300; src: url(data:font/woff;base64,{}) format(\"woff\"); }}\n\
         @page {{ size: {} portrait; margin: {MARGIN_MM}mm; }}\n{STYLE}",
        STANDARD.encode(woff(epaint_default_fonts::UBUNTU_LIGHT)),
        paper.css_name(),
    )
}

/// Nothing from anywhere; pictures and typefaces from the page itself; this style and this script.
fn policy(style: &str) -> String {
    let hash = |text: &str| STANDARD.encode(Sha256::digest(text.as_bytes()));
    format!(
        "default-src 'none'; img-src data:; font-src data:; style-src 'sha256-{}'; \
         script-src 'sha256-{}'; base-uri 'none'; form-action 'none'",
        hash(style),
        hash(SCRIPT)
    )
}

fn view(out: &mut String, sheet: &Sheet) -> Result<(), StillError> {
    let image = &sheet.still;
    push(
        out,
        format_args!(
            "<div class=\"view\">\n<figure class=\"still\"><div class=\"frame\">\
             <img id=\"still\" width=\"{w}\" height=\"{h}\" alt=\"{alt}\" src=\"{src}\">\
             <canvas id=\"live\" width=\"{w}\" height=\"{h}\" tabindex=\"0\" role=\"img\" aria-label=\"{alt} {how}\" hidden></canvas>\
             <div id=\"cross\" hidden></div></div>\
             <figcaption class=\"mix\" hidden>{how}</figcaption>\
             <output id=\"spot\" class=\"grey\"></output></figure>\n<div class=\"beside\">\n",
            w = image.width,
            h = image.height,
            alt = escaped(&image.alt),
            src = picture(image)?,
            how = words::POINT,
        ),
    );
    if let Some(cloth) = &sheet.cloth {
        push(
            out,
            format_args!(
                "<div class=\"cloth\"><figure>{}<div class=\"bar\"></div><figcaption dir=\"auto\">{}<br>{}</figcaption></figure>\
                 <figure>{}<figcaption>{}</figcaption></figure></div>\n",
                img(&cloth.true_size)?,
                escaped(&cloth.caption),
                labels::TRUE_SIZE,
                img(&cloth.magnified)?,
                labels::magnified(ClothPictures::TIMES)
            ),
        );
    }
    let class = if sheet.cloth.is_none() {
        " class=\"alone\""
    } else {
        ""
    };
    push(out, format_args!("<div{class}><div>"));
    facts(out, labels::CAMERA, &sheet.camera);
    out.push_str("</div><div>");
    facts(out, labels::QUALITY, &sheet.quality);
    out.push_str("</div></div>\n</div>\n</div>\n");
    Ok(())
}

fn img(image: &Image) -> Result<String, StillError> {
    Ok(format!(
        "<img width=\"{}\" height=\"{}\" alt=\"{}\" src=\"{}\">",
        image.width,
        image.height,
        escaped(&image.alt),
        picture(image)?
    ))
}

fn picture(image: &Image) -> Result<String, StillError> {
    Ok(format!(
        "data:image/jpeg;base64,{}",
        STANDARD.encode(jpeg(image)?)
    ))
}

fn facts(out: &mut String, title: &str, facts: &[Fact]) {
    if facts.is_empty() {
        return;
    }
    push(out, format_args!("<h2>{title}</h2>\n<dl>"));
    for fact in facts {
        push(
            out,
            format_args!(
                "<dt dir=\"auto\">{}</dt><dd dir=\"auto\">{}</dd>",
                escaped(&fact.label),
                escaped(&fact.value)
            ),
        );
    }
    out.push_str("</dl>\n");
}

/// The controls of each light; hidden until there is something to mix.
fn mixer(out: &mut String, live: &Live) {
    push(
        out,
        format_args!(
            "<section class=\"mix\" hidden>\n<h2>{}</h2>\n<p class=\"grey\">{}</p>\n",
            words::MIX,
            words::MIX_NOTE
        ),
    );
    let [from, to] = POWER_STOPS;
    let [coldest, hottest, step] = KELVINS;
    for layer in &live.layers {
        let name = escaped(&layer.name);
        push(
            out,
            format_args!(
                "<fieldset data-light><legend><bdi>{name}</bdi></legend>\
                 <label class=\"on\"><input type=\"checkbox\" data-part=\"on\" checked>{on}</label>\
                 <label>{power}<input type=\"range\" data-part=\"power\" min=\"{from}\" max=\"{to}\" step=\"0.1\" value=\"0\">\
                 <span data-part=\"power-out\"></span></label>\
                 <label>{kelvin}<input type=\"range\" data-part=\"kelvin\" min=\"{coldest}\" max=\"{hottest}\" step=\"{step}\" value=\"{now:.0}\">\
                 <span data-part=\"kelvin-out\"></span></label></fieldset>\n",
                on = words::ON,
                power = words::POWER,
                kelvin = words::KELVIN,
                now = layer.kelvin,
            ),
        );
    }
    push(
        out,
        format_args!(
            "<button type=\"button\" id=\"reset\">{}</button>\n</section>\n\
             <p id=\"cannot\" class=\"grey\" hidden>{}</p>\n<noscript><p class=\"grey\">{}</p></noscript>\n",
            words::RESET,
            words::CANNOT,
            words::STILL_ONLY
        ),
    );
}

fn table(out: &mut String, table: &SheetTable) {
    let all: f64 = table.columns.iter().map(|c| c.parts).sum();
    push(
        out,
        format_args!("<h2>{}</h2>\n<table>\n<colgroup>", escaped(&table.title)),
    );
    for column in &table.columns {
        // Of a hundred, as an attribute: the policy lets no element bring its own style.
        let share = 100.0 * column.parts / all.max(1e-9);
        push(out, format_args!("<col width=\"{share:.1}%\">"));
    }
    out.push_str("</colgroup>\n<thead><tr>");
    let class = |k: usize| {
        let numbers = table.columns.get(k).is_some_and(|c| c.numbers);
        if numbers { " class=\"numbers\"" } else { "" }
    };
    for (k, column) in table.columns.iter().enumerate() {
        push(
            out,
            format_args!(
                "<th scope=\"col\" dir=\"auto\"{}>{}</th>",
                class(k),
                escaped(&column.head)
            ),
        );
    }
    out.push_str("</tr></thead>\n<tbody>\n");
    for row in &table.rows {
        out.push_str("<tr>");
        for (k, Cell { text, under }) in row.iter().enumerate() {
            let (open, close) = if k == 0 {
                ("th scope=\"row\"", "th")
            } else {
                ("td", "td")
            };
            let under = match under.is_empty() {
                true => String::new(),
                false => format!("<span class=\"under\">{}</span>", escaped(under)),
            };
            push(
                out,
                format_args!(
                    "<{open} dir=\"auto\"{}>{}{under}</{close}>",
                    class(k),
                    escaped(text)
                ),
            );
        }
        out.push_str("</tr>\n");
    }
    out.push_str("</tbody></table>\n");
    if !table.note.is_empty() {
        push(
            out,
            format_args!("<p class=\"grey\">{}</p>\n", escaped(&table.note)),
        );
    }
}

fn drawings(out: &mut String, drawings: &[Drawn]) {
    if drawings.is_empty() {
        return;
    }
    push(
        out,
        format_args!("<h2>{}</h2>\n<div class=\"drawings\">\n", labels::DRAWINGS),
    );
    for drawn in drawings {
        let whole = svg(&drawn.drawing);
        // In a page it goes without the document's first line.
        let inside = whole.find("<svg ").map_or("", |at| &whole[at + 5..]);
        push(
            out,
            format_args!(
                "<figure><svg role=\"img\" aria-label=\"{}\" {inside}</figure>\n",
                escaped(&drawn.alt)
            ),
        );
    }
    out.push_str("</div>\n");
}

fn steps(out: &mut String, sheet: &Sheet) {
    if !sheet.changes.is_empty() {
        unordered(out, labels::CHANGES, &sheet.changes);
    }
    push(
        out,
        format_args!("<h2>{}</h2>\n<ol>\n", labels::BUILD_ORDER),
    );
    for step in &sheet.steps {
        push(
            out,
            format_args!(
                "<li><b dir=\"auto\">{}</b><span dir=\"auto\">{}</span></li>\n",
                escaped(&step.head),
                escaped(&step.body)
            ),
        );
    }
    out.push_str("</ol>\n");
    unordered(out, labels::CAUTIONS, &sheet.cautions);
}

fn unordered(out: &mut String, title: &str, lines: &[String]) {
    push(out, format_args!("<h2>{title}</h2>\n<ul>\n"));
    for line in lines {
        push(
            out,
            format_args!("<li dir=\"auto\">{}</li>\n", escaped(line)),
        );
    }
    out.push_str("</ul>\n");
}

fn scripts(out: &mut String, live: &Live) -> Result<(), StillError> {
    let data = Data {
        width: live.width,
        height: live.height,
        shift: SHIFT,
        offset: OFFSET,
        kelvins: KELVINS,
        lights: live
            .layers
            .iter()
            .map(|l| DataLight {
                kelvin: l.kelvin,
                colour: l.colour,
                colours: &l.colours,
            })
            .collect(),
        words: Words {
            stops: words::STOPS,
            dark: words::DARK,
        },
    };
    let data = serde_json::to_string(&data).map_err(|e| StillError::Encode {
        format: "HTML",
        why: e.to_string(),
    })?;
    // Inside a script nothing may look like its end.
    let data = data.replace('<', "\\u003c");
    push(
        out,
        format_args!(
            "<script type=\"application/json\" id=\"data\">{data}</script>\n\
             <script type=\"text/plain\" id=\"light\">{}</script>\n<script>{SCRIPT}</script>\n",
            STANDARD.encode(live.packed())
        ),
    );
    Ok(())
}

/// Text that can be nothing but text, in elements and in quoted attributes.
fn escaped(text: &str) -> String {
    text.chars().fold(String::new(), |mut out, c| {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c => out.push(c),
        }
        out
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_script_and_the_style_cannot_end_early() {
        for (text, end) in [(SCRIPT, "</script"), (STYLE, "</style"), (SCRIPT, "<!--")] {
            assert!(!text.contains(end), "{end}");
        }
        let style = style(Paper::A4);
        assert!(policy(&style).starts_with("default-src 'none'; "));
        assert!(!policy(&style).contains("unsafe"));
    }

    #[test]
    fn names_are_text() {
        assert_eq!(
            escaped("<img src=x onerror='a'>&\""),
            "&lt;img src=x onerror=&#39;a&#39;&gt;&amp;&quot;"
        );
    }
}
