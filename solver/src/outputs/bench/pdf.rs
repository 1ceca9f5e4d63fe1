//! Marks on paper as a PDF file: text as text, the typeface within.

use krilla::Document;
use krilla::color::luma;
use krilla::geom::{Path, PathBuilder, Point, Rect, Size, Transform};
use krilla::image::Image;
use krilla::metadata::Metadata;
use krilla::num::NormalizedF32;
use krilla::page::PageSettings;
use krilla::paint::{Fill, FillRule, Stroke, StrokeDash};
use krilla::surface::Surface;
use krilla::text::{Font, GlyphId, KrillaGlyph};
use ttf_parser::Face;

use super::BenchError;
use super::marks::{Leaf, Mark};

/// Points in a millimetre: 72 to the inch (ISO 32000-1, 8.3.2.3).
pub(super) const POINTS: f64 = 72.0 / 25.4;
const GREY: u8 = 115;
const LIGHT: u8 = 232;

fn points(mm: f64) -> f32 {
    (mm * POINTS) as f32
}

/// A cut of the typeface: to be put into the file, and to be measured.
struct Letters {
    font: Font,
    face: Face<'static>,
}

impl Letters {
    fn read(bytes: &'static [u8]) -> Result<Self, BenchError> {
        let unfit = || BenchError::Pdf("its typeface cannot be read".to_owned());
        let font = Font::new(bytes.to_vec().into(), 0).ok_or_else(unfit)?;
        Ok(Self { font, face: Face::parse(bytes, 0).map_err(|_| unfit())? })
    }

    /// A glyph for each letter, side by side, as the lines were measured. Letters are not put together: a mark
    /// from outside would change what the letter before it reads as wherever that is in the file.
    fn glyphs(&self, text: &str) -> Vec<KrillaGlyph> {
        let em = f32::from(self.face.units_per_em());
        let glyph = |(start, letter): (usize, char)| {
            let glyph = self.face.glyph_index(letter).unwrap_or_default();
            let advance = f32::from(self.face.glyph_hor_advance(glyph).unwrap_or(0)) / em;
            let range = start..start + letter.len_utf8();
            KrillaGlyph::new(GlyphId::new(u32::from(glyph.0)), advance, 0.0, 0.0, 0.0, range, None)
        };
        text.char_indices().map(glyph).collect()
    }

    /// Text with a mark in place of letters that the typeface lacks, so that nobody takes them for nothing.
    fn with_marks(&self, text: &str) -> String {
        let known = |letter| self.face.glyph_index(letter).is_some();
        text.chars().map(|c| if known(c) { c } else { char::REPLACEMENT_CHARACTER }).collect()
    }
}

struct Fonts {
    regular: Letters,
    bold: Letters,
}

/// Writes the leaves as pages of one file.
pub(super) fn write(title: &str, leaves: &[Leaf]) -> Result<Vec<u8>, BenchError> {
    let fonts = Fonts {
        regular: Letters::read(dejavu::sans::regular())?,
        bold: Letters::read(dejavu::sans::bold())?,
    };
    let mut document = Document::new();
    document.set_metadata(Metadata::new().title(title.to_owned()).language("en".to_owned()));
    for leaf in leaves {
        let [width, height] = leaf.size.map(points);
        let settings = PageSettings::from_wh(width, height).ok_or_else(|| {
            BenchError::Pdf(format!("a page of {width} x {height} points has no size"))
        })?;
        let mut page = document.start_page_with(settings);
        let mut surface = page.surface();
        for mark in &leaf.marks {
            draw(&mut surface, mark, &fonts)?;
        }
        surface.finish();
        page.finish();
    }
    document.finish().map_err(|error| BenchError::Pdf(format!("{error:?}")))
}

fn rectangle([x, y, w, h]: [f64; 4]) -> Option<Path> {
    let mut path = PathBuilder::new();
    path.push_rect(Rect::from_xywh(points(x), points(y), points(w), points(h))?);
    path.finish()
}

fn fill(level: u8) -> Fill {
    Fill {
        paint: luma::Color::new(level).into(),
        opacity: NormalizedF32::ONE,
        rule: FillRule::default(),
    }
}

fn draw(surface: &mut Surface<'_>, mark: &Mark, fonts: &Fonts) -> Result<(), BenchError> {
    match mark {
        Mark::Line { points: line, width, dash, grey, .. } => {
            let mut path = PathBuilder::new();
            for (k, &[x, y]) in line.iter().enumerate() {
                let (x, y) = (points(x), points(y));
                if k == 0 { path.move_to(x, y) } else { path.line_to(x, y) }
            }
            let Some(path) = path.finish() else { return Ok(()) };
            surface.set_fill(None);
            surface.set_stroke(Some(Stroke {
                paint: luma::Color::new(if *grey { GREY } else { 0 }).into(),
                width: points(*width),
                dash: dash.map(|length| StrokeDash { array: vec![points(length); 2], offset: 0.0 }),
                ..Stroke::default()
            }));
            surface.draw_path(&path);
        }
        Mark::Fill { place } => {
            let Some(path) = rectangle(*place) else { return Ok(()) };
            surface.set_stroke(None);
            surface.set_fill(Some(fill(LIGHT)));
            surface.draw_path(&path);
        }
        Mark::Words { at: [x, y], size, bold, turn, text } => {
            let (x, y) = (points(*x), points(*y));
            surface.set_stroke(None);
            surface.set_fill(Some(fill(0)));
            let turned = *turn != 0.0;
            if turned {
                surface.push_transform(&Transform::from_rotate_at(*turn as f32, x, y));
            }
            let letters = if *bold { &fonts.bold } else { &fonts.regular };
            let text = letters.with_marks(text);
            let (glyphs, at) = (letters.glyphs(&text), Point::from_xy(x, y));
            surface.draw_glyphs(at, &glyphs, letters.font.clone(), &text, points(*size), false);
            if turned {
                surface.pop();
            }
        }
        Mark::Picture { place: [x, y, w, h], png } => {
            let image = Image::from_png(png.clone().into(), true)
                .map_err(|fault| BenchError::Pdf(format!("a picture cannot be read: {fault}")))?;
            let Some(size) = Size::from_wh(points(*w), points(*h)) else { return Ok(()) };
            surface.push_transform(&Transform::from_translate(points(*x), points(*y)));
            surface.draw_image(image, size);
            surface.pop();
        }
        Mark::Within { window, marks } => {
            let Some(path) = rectangle(*window) else { return Ok(()) };
            surface.push_clip_path(&path, &FillRule::default());
            for mark in marks {
                draw(surface, mark, fonts)?;
            }
            surface.pop();
        }
    }
    Ok(())
}
