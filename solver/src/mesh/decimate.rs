//! The working mesh: fewer triangles within a stated deviation of the original.
//!
//! Edge collapse by quadric errors (Garland & Heckbert, "Surface simplification using quadric
//! error metrics", SIGGRAPH 1997) is meshopt's. That library works in single precision, promises
//! no topology and estimates its error, so the result is verified here: closed, oriented, same
//! Euler characteristic, no new self-crossing, deviation measured both ways. What fails is done
//! again with the vertices near the bad places held fast, or with a smaller error. Meshes of many faces, and those of which
//! every attempt fails, are decimated part by part (`parts.rs`).

mod parts;
mod verify;

use std::sync::Arc;

use meshopt::SimplifyOptions;
use rayon::prelude::*;

use self::parts::{InParts, in_parts};
use self::verify::Task;
use super::check::EdgeTally;
use super::project::{LocatorError, SurfaceLocator};
use super::{Point, Topology, TriangleMesh};
use crate::control::{Cancel, Cancelled, apart};

/// Faces that the working mesh keeps if it can: enough detail for every later stage, few enough
/// to be quick. Smaller meshes are worked on as they are.
pub const WORKING_FACES: usize = 30_000;
/// Attempts before giving up.
const ATTEMPTS: u32 = 8;
/// Largest mesh that is worked on as it is if it cannot be decimated.
pub const AS_IT_IS_FACES: usize = 200_000;
/// Larger meshes are decimated part by part, faces: as a whole every attempt goes wrong somewhere, each elsewhere.
pub const LARGE_FACES: usize = 250_000;
/// How the allowed error is lessened where the surface moved too far in a few places. No source.
const LESSENED: f64 = 0.7;
/// With more bad places than this the allowed error is at fault, not the places.
const MOST_PLACES: usize = 2000;

/// A mesh cannot be decimated.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum DecimateError {
    /// The deviation is not a length.
    #[error("deviation {0} mm is not a positive number: give a length in millimetres")]
    BadDeviation(f64),
    /// The input is not closed and oriented.
    #[error("the mesh cannot be decimated: {0}")]
    Topology(#[from] super::TopologyError),
    /// The input cannot be searched.
    #[error("the mesh cannot be decimated: {0}")]
    Surface(#[from] LocatorError),
    /// Nobody waits for it any more.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
    /// No attempt kept the shape.
    #[error(
        "decimating within {deviation} mm failed {attempts} times, at last because {reason}: allow a larger deviation or decimate the model where it was made"
    )]
    Failed {
        /// Deviation allowed, mm.
        deviation: f64,
        /// Attempts made.
        attempts: u32,
        /// Why the last one failed.
        reason: String,
    },
}

/// A decimated mesh.
#[derive(Clone, Debug, PartialEq)]
pub struct Decimated {
    /// The mesh. Its vertices are vertices of the original.
    pub mesh: TriangleMesh,
    /// Largest distance measured between the two surfaces, either way, mm.
    pub deviation: f64,
    /// What went otherwise than as a whole, a sentence each.
    pub detours: Vec<String>,
}

/// Deviation allowed if none is given: 0.2 mm or 0.15 % of the longest side, whichever is more.
pub fn default_deviation(mesh: &TriangleMesh) -> f64 {
    (0.0015 * mesh.longest_side()).max(0.2)
}

/// Decimate a closed oriented mesh to [`WORKING_FACES`] faces or as far as `deviation` (mm)
/// allows. A mesh that has no more faces than that comes back as it is.
///
/// `crossings` is the number of crossing face pairs of the original: the result may not have
/// more. Deviations below about 0.1 % of the model's size are beyond the library's single
/// precision; a mesh of up to [`AS_IT_IS_FACES`] faces is then worked on as it is.
pub fn decimate(
    mesh: &TriangleMesh,
    deviation: f64,
    crossings: usize,
) -> Result<Decimated, DecimateError> {
    decimate_until(mesh, deviation, crossings, &Cancel::new())
}

/// The same, until someone cancels: that is looked at every tenth of a second or so.
pub fn decimate_until(
    mesh: &TriangleMesh,
    deviation: f64,
    crossings: usize,
    cancel: &Cancel,
) -> Result<Decimated, DecimateError> {
    if !mesh.worked_on_until(cancel, |mesh| EdgeTally::new(mesh).is_sound())? {
        Topology::new(mesh)?;
    }
    let locator = SurfaceLocator::new_until(mesh, cancel)??;
    decimate_indexed(mesh, &locator, deviation, crossings, cancel)
}

/// [`decimate`] for a mesh that is known to be closed and oriented, with its own locator at hand.
pub(super) fn decimate_indexed(
    mesh: &TriangleMesh,
    locator: &SurfaceLocator,
    deviation: f64,
    crossings: usize,
    cancel: &Cancel,
) -> Result<Decimated, DecimateError> {
    if !(deviation.is_finite() && deviation > 0.0) {
        return Err(DecimateError::BadDeviation(deviation));
    }
    if mesh.faces.len() <= WORKING_FACES {
        return Ok(Decimated { mesh: mesh.clone(), deviation: 0.0, detours: Vec::new() });
    }
    cancel.check()?;
    let task = Task::whole(mesh, locator, crossings, cancel);
    let mut retries = Vec::new();
    if mesh.faces.len() <= LARGE_FACES {
        let held = vec![false; mesh.positions.len()];
        let kept = attempted(&task, held, WORKING_FACES, deviation, &mut retries)?;
        if let Some(Kept { mesh, deviation, .. }) = kept {
            // That it took more than one attempt is nothing to keep in mind at the bench.
            return Ok(Decimated { mesh, deviation, detours: Vec::new() });
        }
        let reason = retries.pop().unwrap_or_default();
        retries = vec![format!(
            "the coarser mesh that is worked on was made in parts, since as a whole it failed: {reason}"
        )];
    }
    let reason = match in_parts(&task, deviation)? {
        Ok(InParts { mesh, deviation, stayed }) => {
            retries.extend(stayed);
            return Ok(Decimated { mesh, deviation, detours: retries });
        }
        Err(reason) => reason,
    };
    if mesh.faces.len() <= AS_IT_IS_FACES {
        let told = format!(
            "the working mesh is the original with its {} faces, since decimating it within {deviation} mm failed: {reason}",
            mesh.faces.len()
        );
        return Ok(Decimated { mesh: mesh.clone(), deviation: 0.0, detours: vec![told] });
    }
    Err(DecimateError::Failed { deviation, attempts: ATTEMPTS, reason })
}

/// What is left of a mesh.
struct Kept {
    /// Corners of its faces, as vertices of the mesh it is made of.
    corners: Vec<u32>,
    /// The same as a mesh.
    mesh: TriangleMesh,
    /// Largest distance measured, mm.
    deviation: f64,
}

/// Decimate the task's mesh to so many faces, and again with what went wrong held fast or a smaller error. Each attempt that
/// failed is told in `retries`; `None` if all did.
fn attempted(
    task: &Task<'_>,
    mut held: Vec<bool>,
    faces: usize,
    deviation: f64,
    retries: &mut Vec<String>,
) -> Result<Option<Kept>, Cancelled> {
    let from = task.mesh();
    let (low, high) = from.bounds().unwrap_or((Point::origin(), Point::origin()));
    let centre = nalgebra::center(&low, &high);
    let positions: Arc<[[f32; 3]]> =
        from.positions.iter().map(|p| (p - centre).map(|x| x as f32).into()).collect();
    let indices: Arc<[u32]> = from.faces.iter().flatten().copied().collect();
    let mut allowed = deviation;
    for _ in 0..ATTEMPTS {
        let (indices, positions, now) = (indices.clone(), positions.clone(), held.clone());
        let corners = apart(task.cancel(), move || {
            meshopt::simplify_with_locks_decoder(
                &indices,
                &positions,
                &now,
                3 * faces,
                allowed as f32,
                SimplifyOptions::ErrorAbsolute,
                None,
            )
        })?;
        let mesh = picked(from, &corners);
        let trouble = match task.verify(&mesh, deviation)? {
            Ok(deviation) => return Ok(Some(Kept { corners, mesh, deviation })),
            Err(trouble) => trouble,
        };
        retries.push(format!("with {allowed:.3} mm allowed, {}", trouble.reason));
        if trouble.places.is_empty() || trouble.places.len() > MOST_PLACES {
            allowed *= 0.5;
            continue;
        }
        hold(&mut held, &from.positions, &trouble.places);
        // The library's error is a mean over planes: where that is what ends it, places held fast are followed by others.
        if trouble.is_too_far {
            allowed *= LESSENED;
        }
    }
    Ok(None)
}

/// Keep the vertices in and near the places where something went wrong.
fn hold(held: &mut [bool], positions: &[Point], places: &[(Point, f64)]) {
    held.par_iter_mut().zip(positions).for_each(|(held, p)| {
        *held |= places.iter().any(|(centre, reach)| (p - centre).norm_squared() <= reach * reach);
    });
}

/// The faces given, with only the vertices they use, in the original's order.
fn picked(mesh: &TriangleMesh, indices: &[u32]) -> TriangleMesh {
    let mut index = vec![u32::MAX; mesh.positions.len()];
    for &v in indices {
        index[v as usize] = 0;
    }
    let mut result = TriangleMesh::default();
    for (slot, p) in index.iter_mut().zip(&mesh.positions) {
        if *slot == 0 {
            *slot = result.positions.len() as u32;
            result.positions.push(*p);
        }
    }
    result.faces =
        indices.chunks_exact(3).map(|t| [0, 1, 2].map(|k| index[t[k] as usize])).collect();
    result
}

#[cfg(test)]
mod tests {
    use super::super::fixtures::{cuboid, divided, icosphere, inside_out, torus, tube};
    use super::super::genus;
    use super::*;

    fn decimated(mesh: &TriangleMesh, deviation: f64) -> Result<Decimated, DecimateError> {
        decimate(mesh, deviation, 0)
    }

    #[test]
    fn a_fine_sphere_stays_within_the_deviation() {
        let sphere = icosphere(50.0, 6);
        let result = decimated(&sphere, 0.2).expect("decimate");
        assert!(result.deviation > 0.0 && result.deviation <= 0.2);
        assert!(result.mesh.faces.len() <= WORKING_FACES);
        assert_eq!(genus(&result.mesh), Ok(0));
        // A chord that stays within d of a sphere of radius r loses at most 3 d / r of the volume.
        approx::assert_relative_eq!(
            result.mesh.signed_volume(),
            sphere.signed_volume(),
            max_relative = 0.012
        );
    }

    #[test]
    fn a_deviation_out_of_reach_leaves_the_mesh_as_it_is_and_says_so() {
        let sphere = icosphere(50.0, 6);
        let result = decimated(&sphere, 1e-6).expect("decimate");
        assert_eq!((result.mesh, result.deviation), (sphere, 0.0));
        assert!(result.detours[0].contains("is the original"), "{:?}", result.detours);
    }

    #[test]
    fn a_divided_box_keeps_its_shape_exactly() {
        let mut cube = cuboid([60.0, 40.0, 30.0]);
        while cube.faces.len() <= WORKING_FACES {
            cube = divided(&cube);
        }
        let result = decimated(&cube, 0.2).expect("decimate");
        assert!(result.mesh.faces.len() <= WORKING_FACES);
        approx::assert_relative_eq!(result.mesh.signed_volume(), 72_000.0, max_relative = 1e-12);
        assert!(result.deviation < 1e-9);
    }

    #[test]
    fn handles_stay() {
        let ring = decimated(&torus(40.0, 12.0, 300, 120), 0.3).expect("ring").mesh;
        assert_eq!((genus(&ring), ring.faces.len() <= WORKING_FACES), (Ok(1), true));
        let mut thin = tube(20.0, 20.5, 60.0, 96);
        while thin.faces.len() <= WORKING_FACES {
            thin = divided(&thin);
        }
        assert_eq!(genus(&decimated(&thin, 0.3).expect("tube").mesh), Ok(1));
    }

    #[test]
    fn a_small_mesh_is_worked_on_as_it_is() {
        let sphere = icosphere(50.0, 3);
        let result = decimated(&sphere, 0.2).expect("small");
        assert_eq!((result.mesh, result.deviation), (sphere, 0.0));
    }

    #[test]
    fn bad_input_is_refused() {
        let mut cube = inside_out(&cuboid([20.0; 3]));
        assert_eq!(decimated(&cube, -1.0), Err(DecimateError::BadDeviation(-1.0)));
        cube.faces.pop();
        assert!(matches!(decimated(&cube, 0.2), Err(DecimateError::Topology(_))));
    }
}
