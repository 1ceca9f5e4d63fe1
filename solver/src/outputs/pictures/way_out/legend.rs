//! What the strip's tones and marks mean.

use super::super::canvas::{Canvas, Lettering, Pen, Spot, Tone};
use super::super::marks::{self, WORDS};
use super::super::text::Weight;
use super::tones::{BANDS, Bands, HATCH, MODEL};

/// Height of one line of words.
pub(super) const LINE: f32 = 26.0;
/// Radius of the mark of what holds.
pub(super) const RING: f32 = 14.0;

/// Size of a tone's sample.
const SWATCH: [f32; 2] = [54.0, 28.0];

fn tone([r, g, b]: [u8; 3]) -> Tone {
    Tone(r, g, b)
}

/// The legend within left, top and width.
pub(super) fn draw(
    canvas: &mut Canvas,
    bands: &Bands,
    is_stuck: bool,
    scale: f64,
    [left, top, width]: [f32; 3],
) {
    let words = Lettering::new(WORDS, Weight::Regular);
    let title = "Rubber, by how far it is stretched";
    canvas.text(title, left, top + 24.0, Lettering::new(19.0, Weight::Bold));
    let column = left + 0.46 * width;
    for (band, colour) in BANDS.into_iter().enumerate() {
        let y = top + 40.0 + band as f32 * (SWATCH[1] + 6.0);
        canvas.rectangle([left, y], SWATCH, tone(colour));
        canvas.frame([left, y], SWATCH, Pen::new(Tone::BLACK, 1.4));
        canvas.text(&bands.words(band), left + SWATCH[0] + 12.0, y + 20.0, words);
    }
    let mut y = top + 40.0;
    canvas.rectangle([column, y], SWATCH, tone(MODEL));
    let mut x = 4.0;
    while x < SWATCH[0] + SWATCH[1] {
        // Clipped to the sample.
        let (from, to) = ((x - SWATCH[1]).max(0.0), x.min(SWATCH[0]));
        let ends = [[column + from, y + x - from], [column + to, y + x - to]];
        canvas.line(&ends, Pen::new(tone(HATCH), 1.5));
        x += 7.0;
    }
    canvas.frame([column, y], SWATCH, Pen::new(Tone::BLACK, 1.4));
    canvas.text("model", column + SWATCH[0] + 12.0, y + 20.0, words);
    y += SWATCH[1] + 14.0;
    if is_stuck {
        ring(canvas, [column + 27.0, y + 14.0], true);
        canvas.text("held here; dashed if hidden", column + SWATCH[0] + 12.0, y + 20.0, words);
        y += SWATCH[1] + 14.0;
    }
    let note = "Words above a picture: how far the rubber has come, the pull, and the stretch that all \
                but a hundredth of it stays below. Hollow points: not quite at rest.";
    for line in canvas.fonts().wrap(note, WORDS, Weight::Regular, left + width - column) {
        y += LINE - 3.0;
        canvas.text(&line, column, y, words);
    }
    let bar = marks::bar_length(scale, 160.0);
    marks::scale_bar(canvas, [left, top + 40.0 + 6.0 * (SWATCH[1] + 6.0) + 10.0], bar, scale);
}

/// The mark of what holds.
pub(super) fn ring(canvas: &mut Canvas, spot: Spot, seen: bool) {
    let pen = Pen::new(Tone::BLACK, 3.0);
    canvas.circle(spot, RING, Pen::new(Tone::WHITE, 7.0));
    canvas.circle(spot, RING, if seen { pen } else { pen.dashed(6.0, 5.0) });
    canvas.disc(spot, 5.0, Tone::WHITE);
    canvas.disc(spot, 3.0, Tone::BLACK);
}
