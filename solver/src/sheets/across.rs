//! Lips of a cut across a bridge: there the sheet is a disc, and rulings run into the hole.

use super::access::Access;
use super::line::{CutLine, set_out};
use super::rulings::Ruling;
use super::section::Ground;
use super::{Sheet, SheetError, SheetSettings};
use crate::body::{ExitSide, MouldBody};
use crate::control::Control;
use crate::mesh::{SurfaceLocator, Topology, TriangleMesh, Vector};

/// The stations along the rim of a bridge's cut: `rim` is the line that the disc was drawn on. The
/// sheet's surface is the disc itself; each ruling runs along the disc from the rim, square to it, to
/// where the model or the outside ends it. Wedges are those between disc and model.
pub fn disc_sheet(
    body: &MouldBody,
    model: &TriangleMesh,
    rim: &CutLine,
    disc: &TriangleMesh,
    settings: &SheetSettings,
    control: &Control<'_>,
) -> Result<Sheet, SheetError> {
    settings.check()?;
    control.check()?;
    let ground = Ground { mesh: model, topology: Topology::new(model)?, locator: body.model() };
    let surface = SurfaceLocator::new(disc)?;
    let access = Access { body, settings, obstacles: Vec::new() };
    let line = set_out(&ground, rim, 0, settings)?;
    let rulings: Vec<Ruling> = line
        .places
        .iter()
        .map(|place| {
            let frame = &place.frame;
            let hit = surface.closest(&frame.at);
            // The disc lies in the rubber: of its two directions the one off the model.
            let along = hit.normal.cross(&frame.ahead);
            let along = if along.dot(&frame.normal) < 0.0 { -along } else { along };
            let first: Vector = along.try_normalize(1e-9).unwrap_or(frame.normal);
            let depth = access.free_length(&frame.at, &first);
            Ruling {
                first,
                turn: None,
                last: first,
                outside: frame.at + first * depth,
                depth,
                side: ExitSide::Free,
                blocked: false,
                lean: frame.lean_of(&first),
                local: frame.local(&first),
                price: 0.0,
            }
        })
        .collect();
    let mut sheet = Sheet::new(&line, &rulings, [None, None], settings);
    // Rulings of a disc meet in its middle or run past it: they tell of the lips, while their surface,
    // bends and lengths mean nothing.
    sheet.mesh = disc.clone();
    sheet.area = disc.area();
    sheet.outer = Vec::new();
    for station in &mut sheet.stations {
        station.flags.too_sharp = false;
        station.flags.beyond_blade = false;
    }
    Ok(sheet)
}

#[cfg(test)]
mod tests {
    use std::f64::consts::TAU;

    use approx::assert_relative_eq;

    use super::*;
    use crate::body::MouldShape;
    use crate::mesh::Point;
    use crate::mesh::fixtures::{moved, torus};

    /// The flat disc in the hole of a ring meets it squarely: wedges of 90 degrees and a little
    /// more, as the section is round (chords of a circle of radius r lie s / 2 r beyond).
    #[test]
    fn the_disc_of_a_ring_meets_it_squarely() {
        let ring = moved(&torus(30.0, 8.0, 96, 48), [0.0, 0.0, 30.0]);
        let shape = MouldShape::Box { side_clearance: 12.0, top_clearance: 12.0 };
        let body = MouldBody::new(&ring, &shape).expect("a body");
        let round = |r: f64, k: u32| {
            let a = f64::from(k) / 96.0 * TAU;
            Point::new(r * a.cos(), r * a.sin(), 30.0)
        };
        let mut disc = TriangleMesh { positions: vec![Point::new(0.0, 0.0, 30.0)], faces: vec![] };
        for k in 0..96u32 {
            disc.positions.push(round(21.99, k));
            disc.faces.push([0, k + 1, (k + 1) % 96 + 1]);
        }
        let rim = CutLine {
            points: (0..=96).map(|k| round(22.0, k % 96)).collect(),
            from_gate: false,
            starts_at_gate: false,
            ends_at_gate: false,
        };
        let settings = SheetSettings::default();
        let sheet = disc_sheet(&body, &ring, &rim, &disc, &settings, &Control::silent());
        let sheet = sheet.expect("a disc");
        assert!(sheet.closed);
        assert_relative_eq!(sheet.area, disc.area());
        assert_relative_eq!(sheet.length, TAU * 22.0, max_relative = 0.01);
        for station in &sheet.stations {
            let inward = -Vector::new(station.on_model.x, station.on_model.y, 0.0);
            assert!(station.direction.angle(&inward).to_degrees() < 3.0);
            assert!(station.wedge.iter().all(|w| *w > 89.0 && *w < 100.0), "{:?}", station.wedge);
            assert!(station.depth > 40.0 && station.depth < 44.5, "{}", station.depth);
        }
    }
}
