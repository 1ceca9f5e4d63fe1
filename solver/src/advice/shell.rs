//! The rigid shell round a blanket: whether its parts come off.
//!
//! A part of the shell is drawn straight off in one direction. It comes off where nothing of the blanket stands in its
//! way: where each bit of the blanket's outside, seen along some part's direction, looks that way and is in sight (ray
//! casts; for two parts this is the test for castability of de Berg, Cheong, van Kreveld, Overmars (2008),
//! "Computational Geometry", 3rd edition, chapter 4, for a shape that is not convex).

use fast_surface_nets::ndshape::RuntimeShape;
use fast_surface_nets::{SurfaceNetsBuffer, surface_nets};
use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use crate::mesh::{FaceId, LocatorError, Point, SurfaceLocator, TriangleMesh, Vector};

/// Cells along the longest side of the grid on which the blanket's outside is drawn.
const CELLS: f64 = 40.0;
/// Directions that two parts are tried in, over half a turn, and turns of three parts, over a third of one.
const DIRECTIONS: usize = 18;
const TURNS: usize = 6;
/// Share of the outside that may be hidden from all parts: what the rubber, drawn off with them, gives way for.
/// Common practice, no source.
pub const HIDDEN_ALLOWED: f64 = 0.01;

/// A wall that leans against the way it is drawn by no more than this lets go all the same, as the rubber gives: the sine
/// of 2 degrees. No source.
const GIVES: f64 = 0.035;

/// How a rigid shell is parted.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Shell {
    /// In which direction each part is drawn off, in the model's coordinates, unit vectors: two opposite ones or three.
    pub draws: Vec<Vector>,
    /// Share of the blanket's outside that no part gets off from.
    pub hidden: f64,
    /// Whether that is little enough.
    pub comes_off: bool,
    /// The same share for two parts that are drawn along the direction from which the plan's front is seen; where
    /// the plan has none, for the best two.
    pub hidden_in_two: f64,
    /// Whether the parts are drawn the way that the plan's sides lie.
    pub is_along_plan: bool,
    /// Length of the line between two parts along the blanket, without the board, mm. 0 for three parts.
    pub parting_line: f64,
    /// What is finer than this was not looked at, mm.
    pub cell: f64,
}

/// The share that is hidden from parts drawn in some directions, and these.
type Found = (f64, Vec<Vector>);

/// The shell of a blanket so `thick` round a model, both in the mould frame with the board at 0; `front` is the
/// direction from which the plan's front is seen.
pub(super) fn shell(
    model: &TriangleMesh,
    locator: &SurfaceLocator,
    thick: f64,
    front: Option<Vector>,
) -> Result<Option<Shell>, LocatorError> {
    let Some((outside, cell)) = outside(model, locator, thick) else { return Ok(None) };
    let seen = Sight::new(&outside, cell)?;
    let along = |turn: f64| Vector::new(turn.cos(), turn.sin(), 0.0);
    let half = |k: usize| along(std::f64::consts::PI * k as f64 / DIRECTIONS as f64);
    let two = |d: Vector| vec![d, -d];
    let best = |tries: Vec<Vec<Vector>>| {
        let all = tries.into_iter().map(|draws| (seen.hidden(&draws), draws));
        all.min_by(|a, b| a.0.total_cmp(&b.0))
    };
    let fits = |found: &Option<Found>| found.as_ref().is_some_and(|f| f.0 <= HIDDEN_ALLOWED);
    let level = front.and_then(|d| Vector::new(d.x, d.y, 0.0).try_normalize(0.3 * d.norm()));
    let plan = level.and_then(|d| best(vec![two(d)]));
    let is_along_plan = fits(&plan);
    let mut chosen = plan.clone();
    if !is_along_plan {
        chosen = best((0..DIRECTIONS).map(|k| two(half(k))).collect());
    }
    let hidden_in_two = plan.as_ref().or(chosen.as_ref()).map_or(1.0, |(hidden, _)| *hidden);
    if !fits(&chosen) {
        let third = 2.0 * std::f64::consts::FRAC_PI_3;
        let turned = (0..TURNS).map(|k| third * k as f64 / TURNS as f64);
        let mut three: Vec<Vec<Vector>> = turned
            .map(|turn| (0..3).map(|part| along(turn + third * f64::from(part))).collect())
            .collect();
        // Or two, and a lid.
        three.extend((0..DIRECTIONS).step_by(3).map(|k| vec![half(k), -half(k), Vector::z()]));
        chosen = best(three);
    }
    Ok(chosen.map(|(hidden, draws)| Shell {
        parting_line: if draws.len() == 2 { outline(&outside, &draws[0]) } else { 0.0 },
        comes_off: hidden <= HIDDEN_ALLOWED,
        draws,
        hidden,
        hidden_in_two,
        is_along_plan,
        cell,
    }))
}

/// The outside of a blanket above the board as a mesh, and the width of the grid's cells that it is drawn on.
fn outside(
    model: &TriangleMesh,
    locator: &SurfaceLocator,
    thick: f64,
) -> Option<(TriangleMesh, f64)> {
    let (low, high) = model.bounds()?;
    let room = Vector::repeat(thick);
    let size = (high - low) + 2.0 * room;
    let cell = size.max() / CELLS;
    let low = low - room - Vector::repeat(1.5 * cell);
    let counts = size.map(|s| (s / cell).ceil() as u32 + 4);
    let place =
        |[x, y, z]: [u32; 3]| low + Vector::new(f64::from(x), f64::from(y), f64::from(z)) * cell;
    let values: Vec<f32> = (0..counts.z)
        .into_par_iter()
        .flat_map_iter(|z| {
            (0..counts.y)
                .flat_map(move |y| (0..counts.x).map(move |x| [x, y, z]))
                .map(|node| ((locator.signed_distance(&place(node)) - thick) / cell) as f32)
        })
        .collect();
    let shape = RuntimeShape::<u32, 3>::new([counts.x, counts.y, counts.z]);
    let mut buffer = SurfaceNetsBuffer::default();
    surface_nets(&values, &shape, [0; 3], [counts.x - 1, counts.y - 1, counts.z - 1], &mut buffer);
    let positions = buffer.positions.iter().map(|p| low + Vector::from(p.map(f64::from)) * cell);
    let mut mesh = TriangleMesh {
        positions: positions.collect(),
        faces: buffer.indices.chunks_exact(3).map(|f| [f[0], f[1], f[2]]).collect(),
    };
    // What is below the board is not there.
    let above = |f: &[u32; 3]| f.iter().map(|v| mesh.positions[*v as usize].z).sum::<f64>() > 0.0;
    let kept: Vec<[u32; 3]> = mesh.faces.iter().filter(|f| above(f)).copied().collect();
    mesh.faces = kept;
    (!mesh.faces.is_empty()).then_some((mesh, cell))
}

/// What of a surface is seen from afar.
struct Sight<'m> {
    mesh: &'m TriangleMesh,
    locator: SurfaceLocator,
    /// How far off the surface a ray starts: what stands out by less hides nothing, mm.
    lift: f64,
    longest: f64,
}

impl<'m> Sight<'m> {
    /// `cell` is the size of what the mesh resolves.
    fn new(mesh: &'m TriangleMesh, cell: f64) -> Result<Self, LocatorError> {
        let locator = SurfaceLocator::new(mesh)?;
        Ok(Self { mesh, locator, lift: 0.25 * cell, longest: 4.0 * mesh.longest_side() })
    }

    /// Share of the surface that is hidden from all of some directions, or looks away from them.
    fn hidden(&self, draws: &[Vector]) -> f64 {
        let faces: Vec<(f64, bool)> = (0..self.mesh.faces.len() as u32)
            .into_par_iter()
            .map(FaceId)
            .map(|f| {
                let normal = self.locator.normal(f);
                let start = self.mesh.face_middle(f) + normal * self.lift;
                let free = |d: &Vector| {
                    normal.dot(d) >= -GIVES && self.locator.ray(&start, d, self.longest).is_none()
                };
                (self.mesh.face_area(f), draws.iter().any(free))
            })
            .collect();
        // In order: the result must not depend on the number of threads.
        let all: f64 = faces.iter().map(|(area, _)| area).sum();
        let hidden: f64 = faces.iter().filter(|(_, free)| !free).map(|(area, _)| area).sum();
        // A sum over nothing is -0.0.
        if all > 0.0 { 0.0 + hidden / all } else { 0.0 }
    }
}

/// Length of the line on a surface between what looks along a direction and what looks against it, mm.
fn outline(mesh: &TriangleMesh, along: &Vector) -> f64 {
    let value: Vec<f64> = mesh.vertex_normals().iter().map(|n| n.dot(along)).collect();
    let mut length = 0.0;
    for face in &mesh.faces {
        let mut ends: Vec<Point> = Vec::with_capacity(2);
        for k in 0..3 {
            let (a, b) = (face[k] as usize, face[(k + 1) % 3] as usize);
            if (value[a] < 0.0) != (value[b] < 0.0) {
                let share = value[a] / (value[a] - value[b]);
                ends.push(mesh.positions[a] + (mesh.positions[b] - mesh.positions[a]) * share);
            }
        }
        if let [a, b] = ends[..] {
            length += (b - a).norm();
        }
    }
    length
}

#[cfg(test)]
mod tests;
