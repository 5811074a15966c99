//! Sheets as one PDF: tagged, its text selectable, its typefaces inside, its pictures as JPEG. The same
//! sheets give the same bytes.

use super::content::{Image, Sheet, plain};
use super::day_page::{DayPage, lay_day};
use super::fonts::{FILES, Fonts};
use super::page::{Laid, lay};
use super::paper::Paper;
use super::set::{Frame, Ink, Leaf, Node, Part};
use crate::report::drawing::{Anchor, Colour, Line, Paint, Raster, Shape, Text};
use crate::report::error::StillError;
use crate::report::labels;
use krilla::Document;
use krilla::SerializeSettings;
use krilla::color::rgb;
use krilla::configure::{Accessibility, ConfigurationBuilder};
use krilla::destination::XyzDestination;
use krilla::geom::{PathBuilder, Point, Rect, Size, Transform};
use krilla::metadata::Metadata;
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::{Fill, LineCap, LineJoin, Stroke, StrokeDash};
use krilla::surface::Surface;
use krilla::tagging::{
    Artifact, ArtifactType, BBox, ContentTag, Identifier, ListNumbering, SpanTag, TableHeaderScope,
    Tag, TagGroup, TagTree,
};
use krilla::text::{Font, GlyphId, KrillaGlyph};
use std::collections::BTreeMap;
use std::num::NonZeroU16;

/// A point of typography is a seventy-second of an inch.
const POINTS_PER_MM: f64 = 72.0 / 25.4;
/// A strong text's letters are drawn over with a line this wide, in ems; as in pixels.
const STRONG_EM: f64 = 0.035;
/// Of pictures; without thinning of colours.
const JPEG_QUALITY: u8 = 93;
/// A circle as four cubic curves: the length of their handles (common practice, within 0.03 %).
const HANDLE: f64 = 0.552_284_75;

/// Sets the sheets one after the other in one document.
///
/// # Errors
/// [`StillError::Encode`] where the document cannot be made.
pub fn pdf(sheets: &[Sheet], paper: Paper) -> Result<Vec<u8>, StillError> {
    let mut book = Book::new(paper)?;
    for sheet in sheets {
        book.sheet(sheet)?;
    }
    book.finish()
}

/// A document in the making. What was set needs to be kept no longer: the document holds its text and its
/// pictures packed.
pub struct Book {
    paper: Paper,
    document: Document,
    press: Press,
    tree: TagTree,
    outline: Outline,
    leaves: usize,
    /// Of all that was set.
    titles: Vec<String>,
    subjects: Vec<String>,
}

impl Book {
    /// An empty one.
    ///
    /// # Errors
    /// [`StillError::Encode`] where the built-in typefaces cannot be read.
    pub fn new(paper: Paper) -> Result<Self, StillError> {
        let configuration = ConfigurationBuilder::new()
            .with_accessibility_validator(Accessibility::UA1)
            .finish()
            .map_err(|e| failed(format!("{e:?}")))?;
        let document = Document::new_with(SerializeSettings {
            configuration,
            no_device_cs: true,
            enable_tagging: true,
            ..SerializeSettings::default()
        });
        let press = Press {
            fonts: Fonts::new(),
            faces: FILES
                .into_iter()
                .map(|bytes| Font::new(bytes.to_vec().into(), 0))
                .collect::<Option<_>>()
                .ok_or_else(|| failed("a built-in typeface cannot be read".into()))?,
            parts: BTreeMap::new(),
        };
        Ok(Self {
            paper,
            document,
            press,
            tree: TagTree::new().with_lang(Some(labels::LANGUAGE.to_owned())),
            outline: Outline::new(),
            leaves: 0,
            titles: Vec::new(),
            subjects: Vec::new(),
        })
    }

    /// Sets a day.
    ///
    /// # Errors
    /// [`StillError::Encode`] where it cannot be put in.
    pub fn day(&mut self, day: &DayPage) -> Result<(), StillError> {
        self.set(&lay_day(day, self.paper), &day.title)?;
        self.subjects.push(plain(&day.about));
        Ok(())
    }

    /// Sets a sheet.
    ///
    /// # Errors
    /// [`StillError::Encode`] where it cannot be put in.
    pub fn sheet(&mut self, sheet: &Sheet) -> Result<(), StillError> {
        self.set(&lay(sheet, self.paper), &sheet.title)?;
        self.subjects.push(sheet.subject.clone());
        Ok(())
    }

    fn set(&mut self, laid: &Laid<'_>, title: &str) -> Result<(), StillError> {
        self.press.parts.clear();
        for leaf in &laid.leaves {
            self.press.leaf(&mut self.document, leaf, self.paper)?;
        }
        let title = plain(title);
        let top = XyzDestination::new(self.leaves, Point::from_xy(0.0, 0.0));
        self.outline
            .push_child(OutlineNode::new(title.clone(), top));
        self.tree.push(self.press.tree(laid, self.leaves)?);
        self.leaves += laid.leaves.len();
        self.titles.push(title);
        Ok(())
    }

    /// How many leaves there are.
    pub fn leaves(&self) -> usize {
        self.leaves
    }

    /// The document's bytes.
    ///
    /// # Errors
    /// [`StillError::Encode`] where they cannot be written.
    pub fn finish(mut self) -> Result<Vec<u8>, StillError> {
        self.document
            .set_metadata(metadata(&self.titles, &self.subjects));
        self.document.set_outline(self.outline);
        self.document.set_tag_tree(self.tree);
        self.document.finish().map_err(|e| failed(format!("{e:?}")))
    }
}

fn failed(why: String) -> StillError {
    StillError::Encode { format: "PDF", why }
}

fn metadata(titles: &[String], subjects: &[String]) -> Metadata {
    /// Of titles and of subjects: a reader shows a line of them.
    const MOST: usize = 12;
    let few = |texts: &[String]| {
        let more = if texts.len() > MOST { "; …" } else { "" };
        format!("{}{more}", texts[..texts.len().min(MOST)].join("; "))
    };
    Metadata::new()
        .title(few(titles))
        .description(few(subjects))
        .language(labels::LANGUAGE.to_owned())
        .creator(format!("Swatchlight {}", env!("CARGO_PKG_VERSION")))
}

/// What prints leaves.
struct Press {
    fonts: Fonts,
    faces: Vec<Font>,
    /// Each part of a sheet, as the document knows it.
    parts: BTreeMap<Part, Identifier>,
}

impl Press {
    fn leaf(
        &mut self,
        document: &mut Document,
        leaf: &Leaf<'_>,
        paper: Paper,
    ) -> Result<(), StillError> {
        let [w, h] = paper.size_mm().map(|side| (side * POINTS_PER_MM) as f32);
        let settings =
            PageSettings::from_wh(w, h).ok_or_else(|| failed("the paper has no size".into()))?;
        let mut page = document.start_page_with(settings);
        let mut surface = page.surface();
        let scale = POINTS_PER_MM as f32;
        surface.push_transform(&Transform::from_scale(scale, scale));
        for mark in &leaf.marks {
            let tag = match mark.part {
                Some(_) => ContentTag::Other,
                None => ContentTag::Artifact(Artifact::with_kind(ArtifactType::Layout)),
            };
            // A line of text says its words itself, since boxes may stand for letters in it.
            let words = match (&mark.inks[..], mark.part) {
                ([Ink::Shape(Shape::Text(text))], Some(_)) if self.has_boxes(&text.words) => {
                    Some(text.words.clone())
                }
                _ => None,
            };
            let tag = match &words {
                Some(words) => ContentTag::Span(SpanTag::empty().with_actual_text(Some(words))),
                None => tag,
            };
            let identifier = surface.start_tagged(tag);
            for ink in &mark.inks {
                self.ink(&mut surface, ink)?;
            }
            surface.end_tagged();
            if let Some(part) = mark.part {
                self.parts.insert(part, identifier);
            }
        }
        surface.pop();
        surface.finish();
        page.finish();
        Ok(())
    }

    fn has_boxes(&self, words: &str) -> bool {
        words
            .chars()
            .any(|c| self.fonts.glyph(c).is_some_and(|g| g.stands_in))
    }

    fn ink(&self, surface: &mut Surface<'_>, ink: &Ink<'_>) -> Result<(), StillError> {
        match ink {
            Ink::Shape(Shape::Text(text)) => self.text(surface, text),
            Ink::Shape(Shape::Raster {
                corner_mm,
                size_mm,
                raster,
            }) => {
                let image = image_of_raster(raster)?;
                place(surface, image, *corner_mm, *size_mm);
            }
            Ink::Shape(shape) => draw(surface, shape),
            Ink::Picture {
                image,
                corner_mm,
                size_mm,
            } => {
                let image =
                    krilla::image::Image::from_jpeg(jpeg(image)?.into(), true).map_err(failed)?;
                place(surface, image, *corner_mm, *size_mm);
            }
        }
        Ok(())
    }

    /// Letters one by one, in runs of one typeface.
    fn text(&self, surface: &mut Surface<'_>, text: &Text) {
        if !(text.size_mm > 0.0 && text.at_mm.iter().all(|v| v.is_finite())) {
            return;
        }
        let width = self.fonts.width_mm(&text.words, text.size_mm);
        let off = match text.anchor {
            Anchor::Start => 0.0,
            Anchor::Middle => 0.5 * width,
            Anchor::End => width,
        };
        let [x, y] = text.at_mm.map(|v| v as f32);
        surface.push_transform(&Transform::from_translate(x, y));
        if text.upward {
            surface.push_transform(&Transform::from_rotate(-90.0));
        }
        surface.set_fill(Some(fill(text.colour)));
        let stroke = Line {
            colour: text.colour,
            width_mm: STRONG_EM * text.size_mm,
            dash_mm: None,
        };
        surface.set_stroke(text.strong.then(|| line(&stroke)));
        let mut along = -off;
        for run in self.runs(&text.words) {
            surface.draw_glyphs(
                Point::from_xy(along as f32, 0.0),
                &run.glyphs,
                self.faces[run.face].clone(),
                &run.words,
                text.size_mm as f32,
                false,
            );
            along += run.width_em * text.size_mm;
        }
        if text.upward {
            surface.pop();
        }
        surface.pop();
    }

    fn runs(&self, words: &str) -> Vec<Run> {
        let mut runs: Vec<Run> = Vec::new();
        for letter in words.chars() {
            let Some(glyph) = self.fonts.glyph(letter) else {
                continue;
            };
            if runs.last().is_none_or(|run| run.face != glyph.face) {
                runs.push(Run {
                    face: glyph.face,
                    ..Run::default()
                });
            }
            if let Some(run) = runs.last_mut() {
                let from = run.words.len();
                // What a box stands for is told by the whole line.
                run.words.push(if glyph.stands_in { '□' } else { letter });
                run.glyphs.push(KrillaGlyph::new(
                    GlyphId::new(u32::from(glyph.id)),
                    glyph.advance_em as f32,
                    0.0,
                    0.0,
                    0.0,
                    from..run.words.len(),
                    None,
                ));
                run.width_em += glyph.advance_em;
            }
        }
        runs
    }

    /// The tree of one sheet.
    fn tree(&self, laid: &Laid<'_>, first_leaf: usize) -> Result<TagGroup, StillError> {
        let mut sheet = TagGroup::new(Tag::Part);
        for node in &laid.tree {
            match node {
                Node::Heading(level, title, parts) => {
                    let level = NonZeroU16::new(*level).unwrap_or(NonZeroU16::MIN);
                    sheet.push(self.group(Tag::Hn(level, Some(title.clone())), parts));
                }
                Node::Paragraph(parts) => sheet.push(self.group(Tag::P, parts)),
                Node::Figure(alt, part, frame) => {
                    let tag =
                        Tag::Figure(Some(alt.clone())).with_bbox(bounding_box(frame, first_leaf));
                    sheet.push(self.group(tag, &[*part]));
                }
                Node::Table(rows) => sheet.push(self.table(rows)),
                Node::List(items) => sheet.push(self.list(items)),
            }
        }
        Ok(sheet)
    }

    fn group(&self, tag: impl Into<krilla::tagging::TagKind>, parts: &[Part]) -> TagGroup {
        let mut group = TagGroup::new(tag);
        for identifier in parts.iter().filter_map(|p| self.parts.get(p)) {
            group.push(*identifier);
        }
        group
    }

    fn table(&self, rows: &[Vec<Vec<Part>>]) -> TagGroup {
        let mut table = TagGroup::new(Tag::Table);
        for (r, row) in rows.iter().enumerate() {
            let mut group = TagGroup::new(Tag::TR);
            for (c, parts) in row.iter().enumerate() {
                group.push(match (r, c) {
                    (0, _) => self.group(Tag::TH(TableHeaderScope::Column), parts),
                    (_, 0) => self.group(Tag::TH(TableHeaderScope::Row), parts),
                    _ => self.group(Tag::TD, parts),
                });
            }
            table.push(group);
        }
        table
    }

    fn list(&self, items: &[[Vec<Part>; 2]]) -> TagGroup {
        let numbered = items.first().is_some_and(|[label, _]| !label.is_empty());
        let numbering = if numbered {
            ListNumbering::Decimal
        } else {
            ListNumbering::None
        };
        let mut list = TagGroup::new(Tag::L(numbering));
        for [label, body] in items {
            let mut item = TagGroup::new(Tag::LI);
            if !label.is_empty() {
                item.push(self.group(Tag::Lbl, label));
            }
            item.push(self.group(Tag::LBody, body));
            list.push(item);
        }
        list
    }
}

/// Letters of one typeface.
#[derive(Default)]
struct Run {
    face: usize,
    words: String,
    glyphs: Vec<KrillaGlyph>,
    width_em: f64,
}

fn bounding_box(frame: &Frame, first_leaf: usize) -> Option<BBox> {
    let [l, t, r, b] = frame.corners_mm.map(|v| (v * POINTS_PER_MM) as f32);
    Some(BBox::new(
        first_leaf + frame.leaf,
        Rect::from_ltrb(l, t, r, b)?,
    ))
}

fn draw(surface: &mut Surface<'_>, shape: &Shape) {
    let mut path = PathBuilder::new();
    let f = |v: f64| v as f32;
    let paint = match shape {
        Shape::Path {
            points_mm,
            closed,
            paint,
        } => {
            for (k, [x, y]) in points_mm.iter().enumerate() {
                if k == 0 {
                    path.move_to(f(*x), f(*y));
                } else {
                    path.line_to(f(*x), f(*y));
                }
            }
            if *closed {
                path.close();
            }
            paint
        }
        Shape::Circle {
            centre_mm: [x, y],
            radius_mm: r,
            paint,
        } => {
            let h = HANDLE * r;
            path.move_to(f(x + r), f(*y));
            for [[ax, ay], [bx, by], [cx, cy]] in [
                [[*r, h], [h, *r], [0.0, *r]],
                [[-h, *r], [-r, h], [-r, 0.0]],
                [[-r, -h], [-h, -r], [0.0, -r]],
                [[h, -r], [*r, -h], [*r, 0.0]],
            ] {
                path.cubic_to(
                    f(x + ax),
                    f(y + ay),
                    f(x + bx),
                    f(y + by),
                    f(x + cx),
                    f(y + cy),
                );
            }
            path.close();
            paint
        }
        Shape::Rect {
            corner_mm: [x, y],
            size_mm: [w, h],
            paint,
        } => {
            path.move_to(f(*x), f(*y));
            path.line_to(f(x + w), f(*y));
            path.line_to(f(x + w), f(y + h));
            path.line_to(f(*x), f(y + h));
            path.close();
            paint
        }
        Shape::Text(_) | Shape::Raster { .. } => return,
    };
    let Some(path) = path.finish() else {
        return;
    };
    let Paint {
        fill: inside,
        line: outline,
    } = paint;
    // Without either a path would be filled black.
    if inside.is_none() && outline.is_none() {
        return;
    }
    surface.set_fill(inside.map(fill));
    surface.set_stroke(outline.as_ref().map(line));
    surface.draw_path(&path);
}

fn fill([r, g, b]: Colour) -> Fill {
    Fill {
        paint: rgb::Color::new(r, g, b).into(),
        ..Fill::default()
    }
}

fn line(line: &Line) -> Stroke {
    let [r, g, b] = line.colour;
    Stroke {
        paint: rgb::Color::new(r, g, b).into(),
        width: line.width_mm as f32,
        line_join: LineJoin::Round,
        line_cap: match line.dash_mm {
            Some(_) => LineCap::Butt,
            None => LineCap::Round,
        },
        dash: line.dash_mm.map(|dash| StrokeDash {
            array: dash.map(|v| v as f32).to_vec(),
            offset: 0.0,
        }),
        ..Stroke::default()
    }
}

fn place(
    surface: &mut Surface<'_>,
    image: krilla::image::Image,
    [x, y]: [f64; 2],
    [w, h]: [f64; 2],
) {
    if let Some(size) = Size::from_wh(w as f32, h as f32) {
        surface.push_transform(&Transform::from_translate(x as f32, y as f32));
        surface.draw_image(image, size);
        surface.pop();
    }
}

fn image_of_raster(raster: &Raster) -> Result<krilla::image::Image, StillError> {
    let rows = raster.pixels.len() / raster.columns.max(1);
    let opaque = raster.pixels[..rows * raster.columns]
        .iter()
        .flat_map(|[r, g, b]| [*r, *g, *b, 255]);
    if rows == 0 {
        return Err(failed("a raster without pixels".into()));
    }
    Ok(krilla::image::Image::from_rgba8(
        opaque.collect(),
        raster.columns as u32,
        rows as u32,
    ))
}

/// A picture as a JPEG file.
pub(super) fn jpeg(picture: &Image) -> Result<Vec<u8>, StillError> {
    let mut bytes = Vec::new();
    let mut encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, JPEG_QUALITY);
    encoder
        .encode(
            bytemuck::cast_slice(&picture.codes),
            picture.width,
            picture.height,
            image::ExtendedColorType::Rgb8,
        )
        .map_err(|e| StillError::Encode {
            format: "JPEG",
            why: e.to_string(),
        })?;
    Ok(bytes)
}
