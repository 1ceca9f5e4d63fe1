//! The cautions at the foot of every picture.

use super::canvas::{Canvas, Lettering, Tone};
use super::text::{Fonts, Weight};
use crate::outputs::cautions::CAUTIONS_IN_SHORT;

const LETTERING: Lettering = Lettering::new(14.0, Weight::Regular);
const LINE: f32 = 19.0;
const MARGIN: f32 = 16.0;

/// The cautions in short, broken into lines for a picture `width` px wide.
pub(super) struct Cautions {
    lines: Vec<String>,
    /// Height that they take at the foot of the picture, px.
    pub height: f32,
}

impl Cautions {
    pub fn new(fonts: &Fonts, width: f32) -> Self {
        let room = width - 2.0 * MARGIN;
        let lines = fonts.wrap(CAUTIONS_IN_SHORT, LETTERING.size, LETTERING.weight, room);
        let height = LINE * lines.len() as f32 + 10.0;
        Self { lines, height }
    }

    /// Writes them at the foot of the picture.
    pub fn draw(&self, canvas: &mut Canvas) {
        let top = canvas.height() as f32 - self.height;
        for (number, line) in self.lines.iter().enumerate() {
            let baseline = top + LINE * number as f32 + 14.0;
            canvas.text(line, MARGIN, baseline, LETTERING.toned(Tone::BLACK));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// All of the words are there, and none runs over the edge.
    #[test]
    fn cautions_fit_the_narrowest_and_the_widest_picture() {
        let fonts = Fonts::new().expect("the built-in typeface reads");
        for width in [500.0, 1000.0, 2000.0, 8000.0] {
            let cautions = Cautions::new(&fonts, width);
            let words = cautions.lines.join(" ");
            assert_eq!(
                words.split_whitespace().collect::<Vec<_>>(),
                CAUTIONS_IN_SHORT.split_whitespace().collect::<Vec<_>>()
            );
            for line in &cautions.lines {
                let wide = fonts.width(line, LETTERING.size, LETTERING.weight);
                assert!(wide <= width - 2.0 * MARGIN, "{width}: {line}");
            }
        }
    }
}
