//! Setups side by side as a web page: one file, nothing fetched from anywhere, two pictures one over the
//! other with a bar to wipe between them, worked by pointer or by keys.
//!
//! Its Content-Security-Policy (W3C, Level 3) lets nothing in but pictures inside the file, and the one
//! style and the one script whose SHA-256 it states; names reach the page as text only.

use super::{Side, figures, rows};
use crate::measure::vary::Linear;
use crate::report::StillError;
use crate::report::contact::{Head, raster};
use crate::setup::differ::Difference;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use sha2::{Digest, Sha256};

const STYLE: &str = include_str!("wipe.css");
const SCRIPT: &str = include_str!("wipe.js");

/// The page.
///
/// # Errors
/// [`StillError::Mismatch`] for setups without pictures, [`StillError::Encode`] where a picture cannot be
/// encoded.
pub fn html(
    sides: &[Side<'_>],
    differences: &[Difference],
    head: &Head,
) -> Result<String, StillError> {
    let pictures: Vec<String> = sides
        .iter()
        .map(|s| match &s.made.picture {
            Some(picture) => data_url(picture),
            None => Err(StillError::Mismatch(
                "a setup has no picture to wipe".into(),
            )),
        })
        .collect::<Result<_, _>>()?;
    let policy = format!(
        "default-src 'none'; img-src data:; style-src '{}'; script-src '{}'; base-uri 'none'; form-action 'none'",
        hash(STYLE),
        hash(SCRIPT)
    );
    let title = escaped(&head.title);
    let figures_shown: Vec<(String, Vec<String>)> = figures(sides)
        .into_iter()
        .map(|f| (f.name, f.values))
        .collect();
    let keys = rows(differences);
    let keys = match keys.is_empty() {
        true => "<p>Nothing differs in the setups.</p>".to_owned(),
        false => table("What differs in the setups", sides, &keys),
    };
    Ok(format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"{policy}\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <title>{title}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n<h1>{title}</h1>\n<p>{}</p>\n{}\n\
         {keys}\n{}\n<script>{SCRIPT}</script>\n</body>\n</html>\n",
        escaped(&head.exposure),
        stage(sides, &pictures),
        table("Readings and quality", sides, &figures_shown)
    ))
}

/// The pictures, of which the script lays two over each other; without it all stand side by side.
fn stage(sides: &[Side<'_>], pictures: &[String]) -> String {
    let figure = |(k, (side, url)): (usize, (&Side<'_>, &String))| {
        let picture = side.made.picture.as_ref();
        let (w, h) = picture.map_or((0, 0), |p| (p.width, p.height));
        format!(
            "<figure id=\"picture-{k}\"><img src=\"{url}\" width=\"{w}\" height=\"{h}\" alt=\"{name}\">\
             <figcaption>{name}</figcaption></figure>",
            name = escaped(side.name)
        )
    };
    let figures: Vec<String> = sides.iter().zip(pictures).enumerate().map(figure).collect();
    let choices = |chosen: usize| {
        let one = |(k, side): (usize, &Side<'_>)| {
            let selected = if k == chosen { " selected" } else { "" };
            format!(
                "<option value=\"{k}\"{selected}>{}</option>",
                escaped(side.name)
            )
        };
        sides.iter().enumerate().map(one).collect::<String>()
    };
    format!(
        "<div class=\"controls\" id=\"controls\" hidden>\n\
         <label for=\"left\">Left</label> <select id=\"left\">{}</select>\n\
         <label for=\"right\">Right</label> <select id=\"right\">{}</select>\n\
         <label for=\"wipe\">Wipe from left to right</label> \
         <input type=\"range\" id=\"wipe\" min=\"0\" max=\"100\" step=\"1\" value=\"50\">\n\
         <output id=\"share\" for=\"wipe\">50 %</output>\n</div>\n\
         <div class=\"stage\" id=\"stage\">\n{}\n<div class=\"bar\" id=\"bar\" hidden></div>\n</div>",
        choices(0),
        choices(1),
        figures.join("\n")
    )
}

fn table(caption: &str, sides: &[Side<'_>], rows: &[(String, Vec<String>)]) -> String {
    let heads: String = sides
        .iter()
        .map(|s| format!("<th scope=\"col\">{}</th>", escaped(s.name)))
        .collect();
    let body: String = rows
        .iter()
        .map(|(name, values)| {
            let cells: String = values
                .iter()
                .map(|v| format!("<td>{}</td>", escaped(v)))
                .collect();
            format!("<tr><th scope=\"row\">{}</th>{cells}</tr>\n", escaped(name))
        })
        .collect();
    format!(
        "<table>\n<caption>{caption}</caption>\n<thead><tr><td></td>{heads}</tr></thead>\n\
         <tbody>\n{body}</tbody>\n</table>"
    )
}

fn data_url(picture: &Linear) -> Result<String, StillError> {
    let raster = raster(picture);
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, picture.width, picture.height);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_source_srgb(png::SrgbRenderingIntent::RelativeColorimetric);
    encoder
        .write_header()
        .and_then(|mut writer| writer.write_image_data(raster.pixels.as_flattened()))
        .map_err(|e| StillError::Encode {
            format: "PNG",
            why: e.to_string(),
        })?;
    Ok(format!("data:image/png;base64,{}", STANDARD.encode(bytes)))
}

/// As a policy states it: of the text between the tags.
fn hash(text: &str) -> String {
    format!(
        "sha256-{}",
        STANDARD.encode(Sha256::digest(text.as_bytes()))
    )
}

/// Text that can be nothing but text, in content and in quoted attributes.
fn escaped(text: &str) -> String {
    text.chars().fold(String::new(), |mut out, c| {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            // Marks that turn the direction of text round could make a name look like another.
            '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => out.push('\u{fffd}'),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
        out
    })
}
