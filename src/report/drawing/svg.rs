//! A drawing as SVG 1.1: one document, nothing outside it, sized in millimetres.

use super::{Anchor, Colour, Drawing, Paint, Raster, Shape, Text, text_width_mm};
use std::fmt::Write;

/// The drawing as the text of an SVG file.
pub fn svg(drawing: &Drawing) -> String {
    let [w, h] = drawing.size_mm.map(short);
    let title = escaped(&drawing.title);
    let mut out = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n\
         <svg xmlns=\"http://www.w3.org/2000/svg\" xmlns:xlink=\"http://www.w3.org/1999/xlink\" \
         version=\"1.1\" width=\"{w}mm\" height=\"{h}mm\" viewBox=\"0 0 {w} {h}\" \
         font-family=\"sans-serif\">\n<title>{title}</title>\n\
         <rect width=\"{w}\" height=\"{h}\" fill=\"#ffffff\"/>\n"
    );
    for shape in &drawing.shapes {
        out += &element(shape);
        out.push('\n');
    }
    out + "</svg>\n"
}

fn element(shape: &Shape) -> String {
    match shape {
        Shape::Path {
            points_mm,
            closed,
            paint,
        } => {
            let points: Vec<String> = points_mm
                .iter()
                .map(|[x, y]| format!("{},{}", short(*x), short(*y)))
                .collect();
            let kind = if *closed { "polygon" } else { "polyline" };
            format!(
                "<{kind} points=\"{}\"{}/>",
                points.join(" "),
                painted(paint)
            )
        }
        Shape::Circle {
            centre_mm: [x, y],
            radius_mm,
            paint,
        } => format!(
            "<circle cx=\"{}\" cy=\"{}\" r=\"{}\"{}/>",
            short(*x),
            short(*y),
            short(*radius_mm),
            painted(paint)
        ),
        Shape::Rect {
            corner_mm,
            size_mm,
            paint,
        } => format!("<rect{}{}/>", boxed(*corner_mm, *size_mm), painted(paint)),
        Shape::Text(text) => written(text),
        Shape::Raster {
            corner_mm,
            size_mm,
            raster,
        } => format!(
            "<image{} preserveAspectRatio=\"none\" xlink:href=\"data:image/png;base64,{}\"/>",
            boxed(*corner_mm, *size_mm),
            base64(&small_png(raster))
        ),
    }
}

fn boxed([x, y]: [f64; 2], [w, h]: [f64; 2]) -> String {
    let [x, y, w, h] = [x, y, w, h].map(short);
    format!(" x=\"{x}\" y=\"{y}\" width=\"{w}\" height=\"{h}\"")
}

fn written(text: &Text) -> String {
    let [x, y] = text.at_mm.map(short);
    let anchor = match text.anchor {
        Anchor::Start => "start",
        Anchor::Middle => "middle",
        Anchor::End => "end",
    };
    let mut more = String::new();
    if text.strong {
        more += " font-weight=\"bold\"";
    }
    if text.upward {
        // Writing to a string cannot fail.
        let _ = write!(more, " transform=\"rotate(-90 {x} {y})\"");
    }
    format!(
        "<text x=\"{x}\" y=\"{y}\" font-size=\"{}\" text-anchor=\"{anchor}\" fill=\"{}\" \
         textLength=\"{}\" lengthAdjust=\"spacingAndGlyphs\"{more}>{}</text>",
        short(text.size_mm),
        hex(text.colour),
        short(text_width_mm(&text.words, text.size_mm)),
        escaped(&text.words)
    )
}

fn painted(paint: &Paint) -> String {
    let mut out = match paint.fill {
        Some(colour) => format!(" fill=\"{}\"", hex(colour)),
        None => " fill=\"none\"".to_owned(),
    };
    if let Some(line) = paint.line {
        out += &format!(
            " stroke=\"{}\" stroke-width=\"{}\" stroke-linejoin=\"round\" stroke-linecap=\"{}\"",
            hex(line.colour),
            short(line.width_mm),
            if line.dash_mm.is_some() {
                "butt"
            } else {
                "round"
            }
        );
        if let Some([dash, gap]) = line.dash_mm {
            out += &format!(" stroke-dasharray=\"{} {}\"", short(dash), short(gap));
        }
    }
    out
}

/// A number with up to three decimals: a thousandth of a millimetre.
fn short(value: f64) -> String {
    if !value.is_finite() {
        return "0".to_owned();
    }
    let text = format!("{value:.3}");
    match text.trim_end_matches('0').trim_end_matches('.') {
        "-0" => "0".to_owned(),
        short => short.to_owned(),
    }
}

fn hex([r, g, b]: Colour) -> String {
    format!("#{r:02x}{g:02x}{b:02x}")
}

/// Text that can be nothing but text; what XML 1.0 does not allow becomes a mark.
fn escaped(text: &str) -> String {
    text.chars().fold(String::new(), |mut out, c| {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\t' | '\n' | '\r' => out.push(' '),
            '\0'..='\x1f' | '\u{fffe}' | '\u{ffff}' => out.push('\u{fffd}'),
            c => out.push(c),
        }
        out
    })
}

/// The pixels as a PNG file; empty where they make no rows.
fn small_png(raster: &Raster) -> Vec<u8> {
    let mut bytes = Vec::new();
    let rows = raster.pixels.len() / raster.columns.max(1);
    let mut encoder = png::Encoder::new(&mut bytes, raster.columns as u32, rows as u32);
    encoder.set_color(png::ColorType::Rgb);
    let pixels = &raster.pixels[..rows * raster.columns];
    let done = encoder
        .write_header()
        .and_then(|mut w| w.write_image_data(bytemuck::cast_slice(pixels)));
    if done.is_err() {
        return Vec::new();
    }
    bytes
}

/// RFC 4648, 4.
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let bits = (0..3).fold(0_u32, |sum, k| {
            sum << 8 | u32::from(three.get(k).copied().unwrap_or(0))
        });
        for k in 0..4 {
            let letter = LETTERS[(bits >> (18 - 6 * k) & 63) as usize];
            out.push(if k <= three.len() {
                char::from(letter)
            } else {
                '='
            });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::base64;

    /// RFC 4648, 10.
    #[test]
    fn base64_is_the_standards() {
        for (bytes, text) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(bytes.as_bytes()), text);
        }
    }
}
