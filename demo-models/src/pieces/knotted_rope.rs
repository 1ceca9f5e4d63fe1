//! The sailor's knotted rope, standing on a foot.

use std::f64::consts::TAU;

use super::Piece;
use crate::mesher::Space;
use crate::sdf::{P, Solid, V, turned};

/// A trefoil knot: its hole has no plain disc. The rope is laid from three strands.
pub(super) fn piece() -> Piece {
    let foot = turned(
        0.0,
        0.0,
        &[
            (34.0, -8.0),
            (33.0, 0.0),
            (31.0, 5.0),
            (22.0, 9.0),
            (14.0, 13.0),
            (11.0, 19.0),
            (0.0, 24.0),
        ],
    );
    Piece {
        name: "knotted-rope",
        about: "the sailor's rope: a closed trefoil knot of three-strand rope on a foot",
        holes: 1,
        request: include_str!("../../requests/knotted-rope.json"),
        solid: rope(P::new(0.0, 0.0, 82.0), 22.0, 8.5).blend(&foot, 7.0),
        space: Space { x: -80.0..80.0, y: -45.0..45.0, height: 160.0 },
        cell: 1.2,
    }
}

/// A trefoil in the plane y = 0 about `centre`, one lobe down, about 6 `size` across.
fn rope(centre: P, size: f64, radius: f64) -> Solid {
    /// Straight pieces of the core.
    const PARTS: usize = 360;
    /// Depth of the grooves between strands, mm.
    const GROOVE: f64 = 0.7;
    /// Turns of the lay along the whole rope.
    const LAY: f64 = 13.0;
    let core: Vec<P> = (0..PARTS)
        .map(|k| {
            let a = TAU * k as f64 / PARTS as f64;
            let x = a.sin() + 2.0 * (2.0 * a).sin();
            let z = a.cos() - 2.0 * (2.0 * a).cos();
            centre + V::new(x, (3.0 * a).sin(), z) * size
        })
        .collect();
    Solid::new(move |p| {
        let (mut nearest, mut at, mut offset) = (f64::INFINITY, 0.0, V::zeros());
        for k in 0..PARTS {
            let (a, b) = (core[k], core[(k + 1) % PARTS]);
            let along = b - a;
            let t = ((p - a).dot(&along) / along.norm_squared()).clamp(0.0, 1.0);
            let out = p - (a + along * t);
            if out.norm_squared() < nearest {
                nearest = out.norm_squared();
                at = (k as f64 + t) / PARTS as f64;
                offset = out;
            }
        }
        // The angle round the core is measured from the horizontal across the knot's plane, which
        // never comes close to the core's direction.
        let k = (at * PARTS as f64) as usize % PARTS;
        let t = at * PARTS as f64 - k as f64;
        let direction = |k: usize| core[(k + 1) % PARTS] - core[(k + PARTS - 1) % PARTS];
        let tangent = direction(k).lerp(&direction((k + 1) % PARTS), t).normalize();
        let side = (V::y() - tangent * tangent.y).normalize();
        let angle = offset.dot(&tangent.cross(&side)).atan2(offset.dot(&side));
        let strand = (3.0 * (angle - TAU * LAY / 3.0 * at)).cos();
        let distance = nearest.sqrt();
        // Near the core the angle means nothing.
        let depth = GROOVE * (distance / radius).min(1.0);
        distance - radius - depth * 0.5 * (strand - 1.0)
    })
}
