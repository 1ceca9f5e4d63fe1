//! A drawing surface: lines, dashes, circles and letters over tiny-skia.

use tiny_skia::{
    Color, FillRule, LineCap, LineJoin, Paint, Path, PathBuilder, Pixmap, PixmapPaint, Rect,
    Stroke, StrokeDash, Transform,
};

use super::PictureError;
use super::text::{Fonts, Weight};

/// A place on a picture, px from its upper left corner.
pub(super) type Spot = [f32; 2];

/// A grey or nearly grey tone, red, green and blue from 0 to 255.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Tone(pub u8, pub u8, pub u8);

impl Tone {
    pub const WHITE: Self = Self(255, 255, 255);
    pub const BLACK: Self = Self(20, 20, 20);
    /// Words beside the main ones, frames.
    pub const MUTED: Self = Self(85, 85, 85);
    /// Lines of the frame between pictures.
    pub const RULE: Self = Self(190, 190, 190);

    fn paint(self) -> Paint<'static> {
        let mut paint = Paint::default();
        paint.set_color(Color::from_rgba8(self.0, self.1, self.2, 255));
        paint.anti_alias = true;
        paint
    }
}

/// How a line is drawn.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pen {
    pub tone: Tone,
    pub width: f32,
    /// Dash and space, px.
    pub dash: Option<[f32; 2]>,
    pub round: bool,
}

impl Pen {
    pub const fn new(tone: Tone, width: f32) -> Self {
        Self { tone, width, dash: None, round: false }
    }
    pub const fn dashed(self, dash: f32, space: f32) -> Self {
        Self { dash: Some([dash, space]), ..self }
    }
    pub const fn round(self) -> Self {
        Self { round: true, ..self }
    }
}

/// How words are written.
#[derive(Clone, Copy, Debug)]
pub(super) struct Lettering {
    pub size: f32,
    pub weight: Weight,
    pub tone: Tone,
    /// Width of the white rim that keeps words readable over the model, px; 0 for none.
    pub halo: f32,
}

impl Lettering {
    pub const fn new(size: f32, weight: Weight) -> Self {
        Self { size, weight, tone: Tone::BLACK, halo: 0.0 }
    }
    pub const fn haloed(self) -> Self {
        Self { halo: 4.0, ..self }
    }
    pub const fn toned(self, tone: Tone) -> Self {
        Self { tone, ..self }
    }
}

/// A picture being drawn.
pub(super) struct Canvas<'f> {
    pixmap: Pixmap,
    fonts: &'f Fonts,
}

impl<'f> Canvas<'f> {
    pub fn blank(width: u32, height: u32, fonts: &'f Fonts) -> Result<Self, PictureError> {
        let mut pixmap =
            Pixmap::new(width, height).ok_or(PictureError::Memory { width, height })?;
        pixmap.fill(Color::WHITE);
        Ok(Self { pixmap, fonts })
    }

    pub fn fonts(&self) -> &'f Fonts {
        self.fonts
    }

    pub fn width(&self) -> u32 {
        self.pixmap.width()
    }

    pub fn height(&self) -> u32 {
        self.pixmap.height()
    }

    pub fn png(&self) -> Result<Vec<u8>, PictureError> {
        self.pixmap.encode_png().map_err(|fault| PictureError::Png { fault: fault.to_string() })
    }

    /// Lays another picture over this one with its upper left corner at `(x, y)`.
    pub fn paste(&mut self, x: i32, y: i32, other: &Pixmap) {
        let paint = PixmapPaint::default();
        self.pixmap.draw_pixmap(x, y, other.as_ref(), &paint, Transform::identity(), None);
    }

    pub fn paste_canvas(&mut self, x: i32, y: i32, other: &Canvas) {
        self.paste(x, y, &other.pixmap);
    }

    fn stroke(&mut self, path: &Path, pen: Pen) {
        let stroke = Stroke {
            width: pen.width,
            line_cap: if pen.round { LineCap::Round } else { LineCap::Butt },
            line_join: LineJoin::Round,
            dash: pen.dash.and_then(|[dash, space]| StrokeDash::new(vec![dash, space], 0.0)),
            ..Stroke::default()
        };
        self.pixmap.stroke_path(path, &pen.tone.paint(), &stroke, Transform::identity(), None);
    }

    fn fill(&mut self, path: &Path, tone: Tone) {
        let (rule, whole) = (FillRule::Winding, Transform::identity());
        self.pixmap.fill_path(path, &tone.paint(), rule, whole, None);
    }

    pub fn line(&mut self, spots: &[Spot], pen: Pen) {
        if let Some(path) = polyline(spots, false) {
            self.stroke(&path, pen);
        }
    }

    pub fn polygon(&mut self, spots: &[Spot], tone: Tone) {
        if let Some(path) = polyline(spots, true) {
            self.fill(&path, tone);
        }
    }

    /// Fills what an odd number of outlines surround.
    pub fn polygons(&mut self, outlines: &[Vec<Spot>], tone: Tone) {
        let mut path = PathBuilder::new();
        for outline in outlines {
            let Some((first, rest)) = outline.split_first() else { continue };
            path.move_to(first[0], first[1]);
            for spot in rest {
                path.line_to(spot[0], spot[1]);
            }
            path.close();
        }
        if let Some(path) = path.finish() {
            let whole = Transform::identity();
            self.pixmap.fill_path(&path, &tone.paint(), FillRule::EvenOdd, whole, None);
        }
    }

    pub fn disc(&mut self, centre: Spot, radius: f32, tone: Tone) {
        if let Some(path) = PathBuilder::from_circle(centre[0], centre[1], radius) {
            self.fill(&path, tone);
        }
    }

    pub fn circle(&mut self, centre: Spot, radius: f32, pen: Pen) {
        if let Some(path) = PathBuilder::from_circle(centre[0], centre[1], radius) {
            self.stroke(&path, pen);
        }
    }

    pub fn rectangle(&mut self, corner: Spot, size: Spot, tone: Tone) {
        if let Some(rect) = Rect::from_xywh(corner[0], corner[1], size[0], size[1]) {
            self.fill(&PathBuilder::from_rect(rect), tone);
        }
    }

    pub fn frame(&mut self, corner: Spot, size: Spot, pen: Pen) {
        if let Some(rect) = Rect::from_xywh(corner[0], corner[1], size[0], size[1]) {
            self.stroke(&PathBuilder::from_rect(rect), pen);
        }
    }

    /// Writes a line of words that starts at `x` on `baseline`.
    pub fn text(&mut self, text: &str, x: f32, baseline: f32, lettering: Lettering) {
        let Lettering { size, weight, tone, halo } = lettering;
        let Some(path) = self.fonts.outline(text, size, weight, x, baseline) else { return };
        if halo > 0.0 {
            self.stroke(&path, Pen::new(Tone::WHITE, 2.0 * halo));
        }
        self.fill(&path, tone);
    }

    /// Writes words with their middle at `centre`.
    pub fn text_centred(&mut self, text: &str, centre: Spot, lettering: Lettering) {
        let width = self.fonts.width(text, lettering.size, lettering.weight);
        let rise = Fonts::cap_height(lettering.size);
        self.text(text, centre[0] - 0.5 * width, centre[1] + 0.5 * rise, lettering);
    }
}

fn polyline(spots: &[Spot], closed: bool) -> Option<Path> {
    let (first, rest) = spots.split_first()?;
    let mut path = PathBuilder::new();
    path.move_to(first[0], first[1]);
    for spot in rest {
        path.line_to(spot[0], spot[1]);
    }
    if closed {
        path.close();
    }
    path.finish()
}
