//! The sailor's knotted rope, standing on a foot.

use std::f64::consts::TAU;

use super::Piece;
use crate::mesher::Space;
use crate::sdf::{P, Solid, V, turned};

/// A trefoil knot: its hole has no plain disc. The rope is laid from three strands.
pub(super) fn piece() -> Piece {
    let foot = turned(&[
        (34.0, -8.0),
        (33.0, 0.0),
        (31.0, 5.0),
        (22.0, 9.0),
        (14.0, 13.0),
        (11.0, 19.0),
        (0.0, 24.0),
    ]);
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
    /// Depth of the grooves between strands, mm.
    const GROOVE: f64 = 1.4;
    /// Strands met in a walk along the whole rope.
    const LAY: f64 = 38.0;
    let starts: Vec<P> = (0..PARTS).map(|k| centre + core(angle_of(k))[0] * size).collect();
    Solid::new(move |p| {
        let squares = starts.iter().map(|start| (p - start).norm_squared());
        let (nearest, _) = squares
            .enumerate()
            .fold((0, f64::INFINITY), |best, found| if found.1 < best.1 { found } else { best });
        let mut at = angle_of(nearest);
        let mut turn = [V::zeros(); 3];
        for _ in 0..4 {
            turn = core(at).map(|v| v * size);
            let off = centre + turn[0] - p;
            let slope = turn[1].norm_squared() + off.dot(&turn[2]);
            // Beyond the centre of curvature there is no nearest point to go to.
            if slope > 0.1 * turn[1].norm_squared() {
                let step = off.dot(&turn[1]) / slope;
                at -= step.clamp(-TAU / PARTS as f64, TAU / PARTS as f64);
            }
        }
        let offset = p - (centre + turn[0]);
        let distance = offset.norm();
        // The angle round the core is measured from the horizontal across the knot's plane, which
        // never comes close to the core's direction.
        let tangent = turn[1].normalize();
        let side = (V::y() - tangent * tangent.y).normalize();
        let angle = offset.dot(&tangent.cross(&side)).atan2(offset.dot(&side));
        let strand = (3.0 * angle - LAY * at).cos();
        // Near the core the angle means nothing.
        let depth = GROOVE * (distance / radius).min(1.0);
        distance - radius - depth * 0.5 * (strand - 1.0)
    })
}

/// Places along the core where the search for the nearest one starts.
const PARTS: usize = 180;

fn angle_of(part: usize) -> f64 {
    TAU * part as f64 / PARTS as f64
}

/// The trefoil of unit size at an angle, with its first and second derivatives.
fn core(a: f64) -> [V; 3] {
    let (s, c) = a.sin_cos();
    let (s2, c2) = (2.0 * a).sin_cos();
    let (s3, c3) = (3.0 * a).sin_cos();
    [
        V::new(s + 2.0 * s2, s3, c - 2.0 * c2),
        V::new(c + 4.0 * c2, 3.0 * c3, -s + 4.0 * s2),
        V::new(-s - 8.0 * s2, -9.0 * s3, -c + 8.0 * c2),
    ]
}
