//! Bands of stretch and their tones, each darker than the one before; the model's hatching.

use super::super::raster::{Edge, Sample};
use super::super::subject::softened;
use crate::mesh::Colour;

/// Tones of the bands, from hardly stretched to most: red, green, blue. They fall evenly in luma, so
/// that they are told apart in greys.
pub(super) const BANDS: [[u8; 3]; 6] =
    [[255, 244, 214], [250, 202, 122], [238, 158, 72], [208, 108, 42], [158, 62, 30], [84, 22, 22]];
/// The model and the lines of its hatching.
pub(super) const MODEL: [u8; 3] = [206, 220, 232];
pub(super) const HATCH: [u8; 3] = [112, 134, 156];
/// Share of a band's tone that skins keep in the weakest light.
const SKIN: f32 = 0.86;
const LINE: [f32; 3] = [38.0, 38.0, 42.0];
/// Distance between hatching lines and their width, samples.
const HATCHING: (usize, usize) = (14, 3);

/// Bands of one width, in stretch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Bands {
    /// Width of a band, as a strain.
    pub step: f64,
}

impl Bands {
    /// The least round width with which the greatest strain lies in the last band but at most.
    pub fn up_to(greatest: f64) -> Self {
        let steps = [0.01, 0.02, 0.05, 0.1, 0.15, 0.2, 0.25, 0.5, 1.0, 2.0];
        let needed = greatest / BANDS.len() as f64;
        Self { step: steps.into_iter().find(|step| *step >= needed).unwrap_or(needed) }
    }

    /// Which band a stretch (new over old length) belongs to.
    pub fn of(&self, stretch: f32) -> usize {
        let band = (f64::from(stretch) - 1.0) / self.step;
        (band.max(0.0) as usize).min(BANDS.len() - 1)
    }

    /// A band's limits in words.
    pub fn words(&self, band: usize) -> String {
        let percent = |k: usize| 100.0 * self.step * k as f64;
        match band {
            0 => format!("under {:.0} %", percent(1)),
            _ if band + 1 == BANDS.len() => format!("over {:.0} %", percent(band)),
            _ => format!("{:.0} to {:.0} %", percent(band), percent(band + 1)),
        }
    }

    /// The same for a model with colours of its own: hatched as ever, with its colour, softened, between the lines.
    pub fn colour_over(&self, sample: &Sample, own: Colour) -> [f32; 3] {
        let plain = self.colour(sample);
        let [x, y] = sample.at;
        let hatched = (x + y) % HATCHING.0 < HATCHING.1;
        if sample.value.is_some() || sample.edge == Some(Edge::Silhouette) || hatched {
            return plain;
        }
        softened(plain[1], own)
    }

    /// The colour of what a sample saw: rubber has a value, the model none.
    pub fn colour(&self, sample: &Sample) -> [f32; 3] {
        if sample.edge == Some(Edge::Silhouette) {
            return LINE;
        }
        match sample.value {
            Some(stretch) => {
                // The cut face is flat and bright; light on the skins is too weak to look like
                // another band.
                let lit = if stretch < 0.0 { 1.0 } else { SKIN + (0.97 - SKIN) * sample.light };
                BANDS[self.of(stretch.abs())].map(|c| f32::from(c) * lit)
            }
            None => {
                let [x, y] = sample.at;
                let (every, width) = HATCHING;
                let tone = if (x + y) % every < width { HATCH } else { MODEL };
                let lit = 0.75 + 0.25 * sample.light;
                tone.map(|c| f32::from(c) * lit)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Luma of Rec. ITU-R BT.601 (from memory), as a grey print has it.
    fn luma(tone: [u8; 3]) -> f64 {
        let [r, g, b] = tone.map(f64::from);
        0.299 * r + 0.587 * g + 0.114 * b
    }

    /// Each band, in full light, is darker than the one before in the weakest.
    #[test]
    fn bands_grow_darker_in_grey_print() {
        for pair in BANDS.windows(2) {
            assert!(luma(pair[1]) < f64::from(SKIN) * luma(pair[0]), "{pair:?}");
        }
    }

    #[test]
    fn bands_are_round_and_hold_what_is_asked() {
        let bands = Bands::up_to(0.8);
        assert_eq!(bands.step, 0.15);
        assert_eq!([1.0, 1.14, 1.16, 1.74, 1.76, 9.0].map(|s| bands.of(s)), [0, 0, 1, 4, 5, 5]);
        assert_eq!(bands.of(0.9), 0);
        assert_eq!(bands.words(0), "under 15 %");
        assert_eq!(bands.words(2), "30 to 45 %");
        assert_eq!(bands.words(5), "over 75 %");
    }
}
