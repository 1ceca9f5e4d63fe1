//! Letters: outlines of a built-in typeface, measured and turned into paths.
//!
//! The typeface is DejaVu Sans (free licence, carried by the crate `dejavu`), so a picture does
//! not depend on what a machine has installed.

use tiny_skia::{Path, PathBuilder};
use ttf_parser::{Face, GlyphId, OutlineBuilder};

use super::PictureError;
use crate::outputs::words::words_of;

/// How heavy the letters are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::outputs) enum Weight {
    Regular,
    Bold,
}

/// The two cuts of the typeface, read once.
pub(in crate::outputs) struct Fonts {
    regular: Face<'static>,
    bold: Face<'static>,
}

impl Fonts {
    pub fn new() -> Result<Self, PictureError> {
        let read = |bytes| {
            Face::parse(bytes, 0).map_err(|fault| PictureError::Font { fault: fault.to_string() })
        };
        Ok(Self { regular: read(dejavu::sans::regular())?, bold: read(dejavu::sans::bold())? })
    }

    fn face(&self, weight: Weight) -> &Face<'static> {
        match weight {
            Weight::Regular => &self.regular,
            Weight::Bold => &self.bold,
        }
    }

    /// Width of a line of text, px, at `size` px to the em.
    pub fn width(&self, text: &str, size: f32, weight: Weight) -> f32 {
        self.place(text, size, weight, |_, _| {})
    }

    /// Height of capitals and figures, px, at `size` px to the em. The typeface's tables do not
    /// state it, so it is what its capital H measures, in both weights.
    pub fn cap_height(size: f32) -> f32 {
        size * 1493.0 / 2048.0
    }

    /// The outlines of a line of text that starts at `x` on `baseline`; `None` for blank text.
    pub fn outline(
        &self,
        text: &str,
        size: f32,
        weight: Weight,
        x: f32,
        baseline: f32,
    ) -> Option<Path> {
        let face = self.face(weight);
        let scale = size / f32::from(face.units_per_em());
        let mut pen = GlyphPen { path: PathBuilder::new(), x, baseline, scale };
        self.place(text, size, weight, |glyph, offset| {
            pen.x = x + offset;
            face.outline_glyph(glyph, &mut pen);
        });
        pen.path.finish()
    }

    /// Calls `each` with every glyph and its offset from the start; returns the whole width.
    fn place(
        &self,
        text: &str,
        size: f32,
        weight: Weight,
        mut each: impl FnMut(GlyphId, f32),
    ) -> f32 {
        let face = self.face(weight);
        let scale = size / f32::from(face.units_per_em());
        let mut offset = 0.0;
        for letter in text.chars() {
            // Glyph 0 is the typeface's own empty box: a letter it lacks is seen to be missing.
            let glyph = face.glyph_index(letter).unwrap_or(GlyphId(0));
            each(glyph, offset);
            offset += f32::from(face.glyph_hor_advance(glyph).unwrap_or(0)) * scale;
        }
        offset
    }

    /// Breaks text into lines no wider than `width` px; a single longer word keeps its own line.
    pub fn wrap(&self, text: &str, size: f32, weight: Weight, width: f32) -> Vec<String> {
        let mut lines: Vec<String> = Vec::new();
        for word in words_of(text) {
            match lines.last_mut() {
                Some(line) if self.width(&format!("{line} {word}"), size, weight) <= width => {
                    line.push(' ');
                    line.push_str(&word);
                }
                _ => lines.push(word),
            }
        }
        lines
    }
}

/// Writes one glyph's outline into a path; the typeface's y axis points up, the picture's down.
struct GlyphPen {
    path: PathBuilder,
    x: f32,
    baseline: f32,
    scale: f32,
}

impl GlyphPen {
    fn at(&self, x: f32, y: f32) -> (f32, f32) {
        (self.x + x * self.scale, self.baseline - y * self.scale)
    }
}

impl OutlineBuilder for GlyphPen {
    fn move_to(&mut self, x: f32, y: f32) {
        let (x, y) = self.at(x, y);
        self.path.move_to(x, y);
    }
    fn line_to(&mut self, x: f32, y: f32) {
        let (x, y) = self.at(x, y);
        self.path.line_to(x, y);
    }
    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        let ((x1, y1), (x, y)) = (self.at(x1, y1), self.at(x, y));
        self.path.quad_to(x1, y1, x, y);
    }
    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        let ((x1, y1), (x2, y2), (x, y)) = (self.at(x1, y1), self.at(x2, y2), self.at(x, y));
        self.path.cubic_to(x1, y1, x2, y2, x, y);
    }
    fn close(&mut self) {
        self.path.close();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn widths_add_up_and_wrapping_keeps_every_word() {
        let fonts = Fonts::new().expect("the built-in typeface reads");
        let width = |text| fonts.width(text, 16.0, Weight::Regular);
        assert!((width("cut") + width("gate") - width("cutgate")).abs() < 1e-3);
        let text = "the ring at the neck is too tight for the ball beyond it";
        let lines = fonts.wrap(text, 16.0, Weight::Regular, 120.0);
        assert!(lines.len() > 2);
        assert_eq!(lines.join(" "), text);
        assert!(lines.iter().all(|line| width(line) <= 120.0));
    }

    /// DejaVu Sans has 2048 units to the em; its capital H is 1493 high (read in the typeface).
    #[test]
    fn capitals_measure_what_is_said() {
        let fonts = Fonts::new().expect("the built-in typeface reads");
        for weight in [Weight::Regular, Weight::Bold] {
            let outline = fonts.outline("H", 2048.0, weight, 0.0, 0.0).expect("has an outline");
            assert!((outline.bounds().height() - Fonts::cap_height(2048.0)).abs() < 1.0);
        }
    }

    /// The smallest words on a picture: tall letter to hanging letter at least 14 px.
    #[test]
    fn words_are_large_enough_to_read() {
        let fonts = Fonts::new().expect("the built-in typeface reads");
        for size in [super::super::marks::WORDS, super::super::legend::KEY.size] {
            let outline =
                fonts.outline("bridge", size, Weight::Regular, 0.0, 0.0).expect("has an outline");
            assert!(outline.bounds().height() >= 14.0, "{size}: {}", outline.bounds().height());
        }
    }
}
