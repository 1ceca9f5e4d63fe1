//! What pictures show: a surface, and its colours where its file has some.

use crate::mesh::{Colour, Model, Paint, TriangleMesh};

/// A model to be drawn, in the plan's coordinates: the mesh as it was read, or any of the same shape, with the colours of
/// its file if it has any. Without colours it is drawn in greys.
#[derive(Clone, Copy, Debug)]
pub struct Subject<'a> {
    /// The surface.
    pub mesh: &'a TriangleMesh,
    /// Its colours.
    pub paint: Option<&'a Paint>,
}

impl<'a> From<&'a TriangleMesh> for Subject<'a> {
    fn from(mesh: &'a TriangleMesh) -> Self {
        Self { mesh, paint: None }
    }
}

impl<'a> From<&'a Model> for Subject<'a> {
    fn from(model: &'a Model) -> Self {
        Self { mesh: &model.original, paint: model.paint.as_deref() }
    }
}

/// Share of a colour's difference from grey that is drawn, at most: lines and marks have to stand out.
const CHROMA: f32 = 0.62;
/// How much darker than the plain tone black is drawn, and how much lighter white.
const SHADE: [f32; 2] = [34.0, 14.0];
/// Neither darker nor lighter than these.
const RANGE: [f32; 2] = [146.0, 246.0];

/// Luma of Rec. ITU-R BT.601 (from memory), as a grey print has it.
fn luma([red, green, blue]: [f32; 3]) -> f32 {
    0.299 * red + 0.587 * green + 0.114 * blue
}

/// A model's colour, softened, where the plain picture has this tone: its luma stays near that tone, so that what is drawn
/// on it stands out as it does without colour, on a screen and in a grey print.
pub(super) fn softened(tone: f32, colour: Colour) -> [f32; 3] {
    let colour = colour.map(f32::from);
    let own = luma(colour);
    let shade = 2.0 * own / 255.0 - 1.0;
    let level = tone + shade * if shade < 0.0 { SHADE[0] } else { SHADE[1] };
    let level = level.clamp(RANGE[0], RANGE[1]);
    let off = colour.map(|part| part - own);
    // As far as the screen can go without another luma.
    let room = off.map(|part| match part {
        part if part > 0.0 => (255.0 - level) / part,
        part if part < 0.0 => -level / part,
        _ => f32::INFINITY,
    });
    let share = room.into_iter().fold(CHROMA, f32::min);
    off.map(|part| level + share * part)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whatever the colour, a grey print gets a tone near the plain one, and black and white are told apart.
    #[test]
    fn tones_stay_near_the_plain_ones() {
        for tone in [168.0, 200.0, 238.0] {
            let levels = [0, 64, 128, 255];
            let all = levels.map(|r| levels.map(|g| levels.map(|b| [r, g, b])));
            for colour in all.as_flattened().as_flattened() {
                let drawn = softened(tone, *colour);
                assert!(drawn.iter().all(|x| (-1e-3..=255.001).contains(x)), "{drawn:?}");
                let off = luma(drawn) - tone;
                assert!((-35.0..=15.0).contains(&off), "{colour:?} on {tone}: {off}");
            }
            assert!(softened(tone, [255; 3])[0] > softened(tone, [0; 3])[0] + 30.0);
            let [red, green, blue] = softened(tone, [255, 0, 0]);
            assert!(red > green + 15.0 && red > blue + 15.0, "{red} {green} {blue}");
        }
    }
}
