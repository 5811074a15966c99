//! A drawing as PNG: painted by a general rasteriser, with its resolution and sRGB said inside.

use super::typeface::Typeface;
use super::{Anchor, Colour, Drawing, Paint, Raster, Shape, Text};
use crate::report::StillError;
use tiny_skia::{
    FillRule, FilterQuality, LineCap, LineJoin, Path, PathBuilder, Pixmap, PixmapPaint, Rect,
    Stroke, StrokeDash, Transform,
};
use ttf_parser::OutlineBuilder;

/// A strong text's letters are drawn over with a line this wide, in ems.
const STRONG_EM: f32 = 0.035;

/// The drawing as the bytes of a PNG file.
///
/// # Errors
/// [`StillError::Encode`] for a drawing too large to be held.
pub fn png(drawing: &Drawing, pixels_per_mm: f64) -> Result<Vec<u8>, StillError> {
    let raster = raster(drawing, pixels_per_mm)?;
    let failed = |why: String| StillError::Encode { format: "PNG", why };
    let (w, h) = (
        raster.columns as u32,
        (raster.pixels.len() / raster.columns.max(1)) as u32,
    );
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, w, h);
    encoder.set_color(png::ColorType::Rgb);
    encoder.set_source_srgb(png::SrgbRenderingIntent::RelativeColorimetric);
    let per_metre = (pixels_per_mm * 1000.0).round() as u32;
    encoder.set_pixel_dims(Some(png::PixelDimensions {
        xppu: per_metre,
        yppu: per_metre,
        unit: png::Unit::Meter,
    }));
    encoder
        .write_header()
        .and_then(|mut writer| writer.write_image_data(raster.pixels.as_flattened()))
        .map_err(|e| failed(e.to_string()))?;
    Ok(bytes)
}

/// The drawing painted.
///
/// # Errors
/// [`StillError::Encode`] for a drawing too large to be held.
pub fn raster(drawing: &Drawing, pixels_per_mm: f64) -> Result<Raster, StillError> {
    let failed = |why: String| StillError::Encode { format: "PNG", why };
    let [w, h] = drawing
        .size_mm
        .map(|mm| (mm * pixels_per_mm).round().clamp(1.0, 1e5) as u32);
    let mut page =
        Pixmap::new(w, h).ok_or_else(|| failed(format!("{w} x {h} pixels are too many")))?;
    page.fill(tiny_skia::Color::WHITE);
    let mut painter = Painter {
        page,
        scale: Transform::from_scale(pixels_per_mm as f32, pixels_per_mm as f32),
        typeface: Typeface::new(),
    };
    for shape in &drawing.shapes {
        painter.paint(shape);
    }
    Ok(Raster {
        columns: w as usize,
        pixels: painter
            .page
            .pixels()
            .iter()
            .map(|p| [p.red(), p.green(), p.blue()])
            .collect(),
    })
}

struct Painter {
    page: Pixmap,
    scale: Transform,
    typeface: Typeface,
}

impl Painter {
    fn paint(&mut self, shape: &Shape) {
        match shape {
            Shape::Path {
                points_mm,
                closed,
                paint,
            } => {
                let mut path = PathBuilder::new();
                for (k, point) in points_mm.iter().enumerate() {
                    let [x, y] = point.map(|v| v as f32);
                    if k == 0 {
                        path.move_to(x, y);
                    } else {
                        path.line_to(x, y);
                    }
                }
                if *closed {
                    path.close();
                }
                self.fill_and_line(path.finish(), paint);
            }
            Shape::Circle {
                centre_mm: [x, y],
                radius_mm,
                paint,
            } => {
                let path = PathBuilder::from_circle(*x as f32, *y as f32, *radius_mm as f32);
                self.fill_and_line(path, paint);
            }
            Shape::Rect {
                corner_mm: [x, y],
                size_mm: [w, h],
                paint,
            } => {
                let rect = Rect::from_xywh(*x as f32, *y as f32, *w as f32, *h as f32);
                self.fill_and_line(rect.map(PathBuilder::from_rect), paint);
            }
            Shape::Text(text) => self.write(text),
            Shape::Raster {
                corner_mm,
                size_mm,
                raster,
            } => self.place(raster, *corner_mm, *size_mm),
        }
    }

    fn fill_and_line(&mut self, path: Option<Path>, paint: &Paint) {
        let Some(path) = path else {
            return;
        };
        if let Some(colour) = paint.fill {
            let ink = ink(colour);
            self.page
                .fill_path(&path, &ink, FillRule::Winding, self.scale, None);
        }
        if let Some(line) = paint.line {
            let dash = line.dash_mm.map(|d| d.map(|mm| mm as f32).to_vec());
            let stroke = Stroke {
                width: line.width_mm as f32,
                line_cap: if dash.is_some() {
                    LineCap::Butt
                } else {
                    LineCap::Round
                },
                line_join: LineJoin::Round,
                dash: dash.and_then(|d| StrokeDash::new(d, 0.0)),
                ..Stroke::default()
            };
            self.page
                .stroke_path(&path, &ink(line.colour), &stroke, self.scale, None);
        }
    }

    fn write(&mut self, text: &Text) {
        let width: f64 = text.words.chars().map(|c| self.typeface.advance(c)).sum();
        let mut along = match text.anchor {
            Anchor::Start => 0.0,
            Anchor::Middle => -0.5 * width,
            Anchor::End => -width,
        };
        let [x, y] = text.at_mm.map(|v| v as f32);
        let turn = if text.upward { -90.0 } else { 0.0 };
        let base = self.scale.pre_translate(x, y).pre_rotate(turn);
        let ink = ink(text.colour);
        for letter in text.words.chars() {
            let mut pen = Pen(PathBuilder::new());
            let units = self.typeface.outline(letter, &mut pen);
            let em = (text.size_mm / units) as f32;
            let at = base
                .pre_translate((along * text.size_mm) as f32, 0.0)
                .pre_scale(em, -em);
            along += self.typeface.advance(letter);
            let Some(path) = pen.0.finish() else {
                continue;
            };
            self.page
                .fill_path(&path, &ink, FillRule::Winding, at, None);
            if text.strong {
                let stroke = Stroke {
                    width: STRONG_EM * units as f32,
                    line_join: LineJoin::Round,
                    ..Stroke::default()
                };
                self.page.stroke_path(&path, &ink, &stroke, at, None);
            }
        }
    }

    fn place(&mut self, raster: &Raster, corner_mm: [f64; 2], size_mm: [f64; 2]) {
        let rows = raster.pixels.len() / raster.columns.max(1);
        let Some(mut pixels) = Pixmap::new(raster.columns as u32, rows as u32) else {
            return;
        };
        for (to, [r, g, b]) in pixels.pixels_mut().iter_mut().zip(&raster.pixels) {
            *to = tiny_skia::ColorU8::from_rgba(*r, *g, *b, 255).premultiply();
        }
        let at = self
            .scale
            .pre_translate(corner_mm[0] as f32, corner_mm[1] as f32)
            .pre_scale(
                (size_mm[0] / raster.columns as f64) as f32,
                (size_mm[1] / rows as f64) as f32,
            );
        let how = PixmapPaint {
            quality: FilterQuality::Bilinear,
            ..PixmapPaint::default()
        };
        self.page.draw_pixmap(0, 0, pixels.as_ref(), &how, at, None);
    }
}

fn ink([r, g, b]: Colour) -> tiny_skia::Paint<'static> {
    let mut paint = tiny_skia::Paint::default();
    paint.set_color_rgba8(r, g, b, 255);
    paint.anti_alias = true;
    paint
}

struct Pen(PathBuilder);

impl OutlineBuilder for Pen {
    fn move_to(&mut self, x: f32, y: f32) {
        self.0.move_to(x, y);
    }

    fn line_to(&mut self, x: f32, y: f32) {
        self.0.line_to(x, y);
    }

    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        self.0.quad_to(x1, y1, x, y);
    }

    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        self.0.cubic_to(x1, y1, x2, y2, x, y);
    }

    fn close(&mut self) {
        self.0.close();
    }
}
