//! Colours in files: as a screen has them, and as light adds up.

use super::super::paint::{Colour, MOST_POINTS, Spot, spots};
use super::TriangleMesh;

/// Colours of places on a mesh.
#[derive(Clone, Debug, Default)]
pub(super) struct Colours {
    pub spots: Vec<Spot>,
    pub colours: Vec<Colour>,
}

impl Colours {
    /// From one colour a vertex, as a screen has it.
    pub fn of_vertices(mesh: &TriangleMesh, of: &[Colour]) -> Self {
        let spots = spots(mesh, MOST_POINTS);
        let colours = spots.iter().map(|spot| {
            let corners = mesh.faces[spot.face as usize].map(|v| of[v as usize].map(f32::from));
            spot.blend(corners).map(|x| x.round() as u8)
        });
        let colours = colours.collect();
        Self { spots, colours }
    }
}

/// A share of the full colour as a byte; what is beyond is the nearest that there is.
pub(super) fn byte(share: f32) -> u8 {
    (255.0 * share.clamp(0.0, 1.0)).round() as u8
}

/// Light as a screen has it (IEC 61966-2-1, sRGB; from memory).
pub(super) fn to_screen(light: f32) -> u8 {
    byte(match light {
        x if x <= 0.003_130_8 => 12.92 * x,
        x => 1.055 * x.powf(1.0 / 2.4) - 0.055,
    })
}

/// The same the other way.
pub(super) fn to_light(screen: u8) -> f32 {
    let x = f32::from(screen) / 255.0;
    if x <= 0.040_45 { x / 12.92 } else { ((x + 0.055) / 1.055).powf(2.4) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn light_and_screen_are_each_others_inverse() {
        for k in 0..=255 {
            assert_eq!(to_screen(to_light(k)), k);
        }
        // Half of the light is 188 of 255 (sRGB's curve).
        assert_eq!(to_screen(0.5), 188);
        assert_eq!([to_screen(-1.0), to_screen(9.0), to_screen(f32::NAN)], [0, 255, 0]);
    }
}
