//! A drawing's shapes on the screen.

use super::sight::Sight;
use crate::report::drawing::{Anchor, Colour, Drawing, Line, Paint, Raster, Shape, Text};
use egui::epaint::{Mesh, PathShape, PathStroke, TextShape};
use egui::{Color32, FontId, Painter, Pos2, Rect, Stroke, Vec2};

/// Lines are never thinner than this, points.
const THINNEST: f32 = 0.6;
/// Letters smaller than this are left out: they would be specks.
const SMALLEST_TEXT: f32 = 2.5;
/// A strong text is set twice, so far apart, in ems.
const STRONG_EM: f32 = 0.035;

pub(super) fn colour([r, g, b]: Colour) -> Color32 {
    Color32::from_rgb(r, g, b)
}

/// Paints all shapes in their order.
pub(super) fn drawing(painter: &Painter, sight: &Sight, drawing: &Drawing) {
    let seen = painter.clip_rect().expand(20.0);
    for shape in &drawing.shapes {
        match shape {
            Shape::Path {
                points_mm,
                closed,
                paint,
            } => {
                let points: Vec<Pos2> = points_mm.iter().map(|p| sight.at(*p)).collect();
                if Rect::from_points(&points).intersects(seen) {
                    path(painter, sight, points, *closed, paint);
                }
            }
            Shape::Circle {
                centre_mm,
                radius_mm,
                paint,
            } => {
                let (fill, line) = fill_and_line(sight, paint);
                painter.circle(sight.at(*centre_mm), sight.length(*radius_mm), fill, line);
            }
            Shape::Rect {
                corner_mm,
                size_mm,
                paint,
            } => {
                let size = Vec2::new(sight.length(size_mm[0]), sight.length(size_mm[1]));
                let rect = Rect::from_min_size(sight.at(*corner_mm), size);
                let (fill, line) = fill_and_line(sight, paint);
                painter.rect(rect, 0.0, fill, line, egui::StrokeKind::Middle);
            }
            Shape::Text(words) => text(painter, sight, words),
            Shape::Raster {
                corner_mm,
                size_mm,
                raster: pixels,
            } => raster(painter, sight, *corner_mm, *size_mm, pixels),
        }
    }
}

fn stroke(sight: &Sight, line: &Line) -> Stroke {
    Stroke::new(
        sight.length(line.width_mm).max(THINNEST),
        colour(line.colour),
    )
}

fn fill_and_line(sight: &Sight, paint: &Paint) -> (Color32, Stroke) {
    (
        paint.fill.map_or(Color32::TRANSPARENT, colour),
        paint
            .line
            .as_ref()
            .map_or(Stroke::NONE, |line| stroke(sight, line)),
    )
}

fn path(painter: &Painter, sight: &Sight, points: Vec<Pos2>, closed: bool, paint: &Paint) {
    let (fill, line) = fill_and_line(sight, paint);
    let dash = paint.line.and_then(|l| l.dash_mm);
    if paint.fill.is_some() && points.len() > 2 {
        if is_convex(&points) {
            painter.add(PathShape::convex_polygon(
                points.clone(),
                fill,
                PathStroke::NONE,
            ));
        } else {
            painter.add(filled(&points, fill));
        }
    }
    if line.is_empty() {
        return;
    }
    match dash {
        Some([dash, gap]) => {
            let mut around = points;
            if closed {
                around.extend(around.first().copied());
            }
            // A dash shorter than a point is a grey line that costs much.
            let least = |mm: f64| sight.length(mm).max(1.0);
            painter.extend(egui::Shape::dashed_line(
                &around,
                line,
                least(dash),
                least(gap),
            ));
        }
        None if closed => {
            painter.add(egui::Shape::closed_line(points, line));
        }
        None => {
            painter.add(egui::Shape::line(points, line));
        }
    }
}

fn turn(a: Pos2, b: Pos2, c: Pos2) -> f32 {
    (b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x)
}

fn is_convex(points: &[Pos2]) -> bool {
    let n = points.len();
    let turns = (0..n).map(|i| turn(points[i], points[(i + 1) % n], points[(i + 2) % n]));
    let (mut left, mut right) = (false, false);
    for t in turns {
        left |= t > 1e-3;
        right |= t < -1e-3;
    }
    !(left && right)
}

/// An outline that turns both ways, cut into triangles (by ears, Meisters 1975).
fn filled(points: &[Pos2], fill: Color32) -> Mesh {
    let mut mesh = Mesh::default();
    for p in points {
        mesh.colored_vertex(*p, fill);
    }
    for [a, b, c] in triangles(points) {
        mesh.add_triangle(a as u32, b as u32, c as u32);
    }
    mesh
}

fn triangles(points: &[Pos2]) -> Vec<[usize; 3]> {
    let n = points.len();
    let area: f32 = (0..n)
        .map(|i| {
            let (a, b) = (points[i], points[(i + 1) % n]);
            a.x * b.y - b.x * a.y
        })
        .sum();
    let sign = if area < 0.0 { -1.0 } else { 1.0 };
    let mut left: Vec<usize> = (0..n).collect();
    let mut out = Vec::with_capacity(n.saturating_sub(2));
    while left.len() > 3 {
        let m = left.len();
        let corner = |i: usize| [left[(i + m - 1) % m], left[i], left[(i + 1) % m]];
        let is_ear = |[a, b, c]: [usize; 3]| {
            let (p, q, r) = (points[a], points[b], points[c]);
            sign * turn(p, q, r) > 0.0
                && !left.iter().any(|&k| {
                    let x = points[k];
                    ![a, b, c].contains(&k)
                        && sign * turn(p, q, x) >= 0.0
                        && sign * turn(q, r, x) >= 0.0
                        && sign * turn(r, p, x) >= 0.0
                })
        };
        // An outline that crosses itself has no ear at times; any corner then does.
        let ear = (0..m).find(|i| is_ear(corner(*i))).unwrap_or(0);
        out.push(corner(ear));
        left.remove(ear);
    }
    if let [a, b, c] = left[..] {
        out.push([a, b, c]);
    }
    out
}

fn text(painter: &Painter, sight: &Sight, text: &Text) {
    let size = sight.length(text.size_mm);
    if size < SMALLEST_TEXT || text.words.is_empty() {
        return;
    }
    let ink = colour(text.colour);
    let galley = painter.layout_no_wrap(text.words.clone(), FontId::proportional(size), ink);
    let ascent = galley
        .rows
        .first()
        .and_then(|row| Some(row.pos.y + row.row.glyphs.first()?.pos.y))
        .unwrap_or(size);
    let back = match text.anchor {
        Anchor::Start => 0.0,
        Anchor::Middle => 0.5 * galley.size().x,
        Anchor::End => galley.size().x,
    };
    let at = sight.at(text.at_mm);
    let strong = if text.strong { STRONG_EM * size } else { 0.0 };
    for step in [0.0, strong] {
        // From the baseline's place back and up to the galley's corner.
        let corner = Vec2::new(step - back, -ascent);
        let (by, angle) = if text.upward {
            (Vec2::new(corner.y, -corner.x), -std::f32::consts::FRAC_PI_2)
        } else {
            (corner, 0.0)
        };
        painter.add(TextShape {
            angle,
            ..TextShape::new(at + by, galley.clone(), ink)
        });
        if !text.strong {
            break;
        }
    }
}

/// Pixels, each a square of its own colour; those of drawings are few.
fn raster(
    painter: &Painter,
    sight: &Sight,
    corner_mm: [f64; 2],
    size_mm: [f64; 2],
    raster: &Raster,
) {
    let columns = raster.columns.max(1);
    let rows = (raster.pixels.len() / columns).max(1);
    let corner = sight.at(corner_mm);
    let step = Vec2::new(
        sight.length(size_mm[0]) / columns as f32,
        sight.length(size_mm[1]) / rows as f32,
    );
    let mut mesh = Mesh::default();
    for (k, pixel) in raster.pixels.iter().enumerate().take(rows * columns) {
        let by = Vec2::new((k % columns) as f32, (k / columns) as f32) * step;
        mesh.add_colored_rect(Rect::from_min_size(corner + by, step), colour(*pixel));
    }
    painter.add(mesh);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn triangles_fill_an_outline_once() {
        // A star and its mirror image: area by the shoelace formula, and by the triangles.
        let star: Vec<Pos2> = (0..10)
            .map(|k| {
                let (s, c) = (k as f32 / 10.0 * std::f32::consts::TAU).sin_cos();
                let r = if k % 2 == 0 { 10.0 } else { 4.0 };
                Pos2::new(r * c, r * s)
            })
            .collect();
        let mirrored: Vec<Pos2> = star.iter().map(|p| Pos2::new(-p.x, p.y)).collect();
        for outline in [star, mirrored] {
            assert!(!is_convex(&outline));
            let n = outline.len();
            let whole: f32 = (0..n)
                .map(|i| {
                    let (a, b) = (outline[i], outline[(i + 1) % n]);
                    0.5 * (a.x * b.y - b.x * a.y)
                })
                .sum();
            let cut = triangles(&outline);
            assert_eq!(cut.len(), n - 2);
            let parts: f32 = cut
                .iter()
                .map(|[a, b, c]| 0.5 * turn(outline[*a], outline[*b], outline[*c]).abs())
                .sum();
            assert!(
                (parts - whole.abs()).abs() < 1e-3 * parts,
                "{parts} {whole}"
            );
        }
        assert!(is_convex(&[
            Pos2::new(0.0, 0.0),
            Pos2::new(1.0, 0.0),
            Pos2::new(0.0, 1.0)
        ]));
    }
}
