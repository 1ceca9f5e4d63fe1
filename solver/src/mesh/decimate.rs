//! The working mesh: fewer triangles within a stated deviation of the original.
//!
//! Edge collapse by quadric errors (Garland & Heckbert, "Surface simplification using quadric
//! error metrics", SIGGRAPH 1997) is meshopt's. That library works in single precision, promises
//! no topology and estimates its error, so the result is verified here: closed, oriented, same
//! Euler characteristic, no new self-crossing, deviation measured both ways. What fails is done
//! again with a smaller error.

use meshopt::SimplifyOptions;
use rayon::prelude::*;

use super::project::{LocatorError, SurfaceLocator};
use super::self_crossing::self_crossings;
use super::{Point, Topology, TriangleMesh};

/// Attempts before giving up.
const ATTEMPTS: u32 = 6;
/// Points of either mesh whose distance to the other is measured, at most.
const SAMPLES: usize = 200_000;

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
    /// Attempts that had to be done again, a sentence each.
    pub retries: Vec<String>,
}

/// Deviation allowed if none is given: 0.2 mm or 0.15 % of the longest side, whichever is more.
pub fn default_deviation(mesh: &TriangleMesh) -> f64 {
    (0.0015 * mesh.longest_side()).max(0.2)
}

/// Decimate a closed oriented mesh as far as `deviation` (mm) allows.
///
/// `crossings` is the number of crossing face pairs of the original: the result may not have
/// more.
pub fn decimate(
    mesh: &TriangleMesh,
    deviation: f64,
    crossings: usize,
) -> Result<Decimated, DecimateError> {
    if !(deviation.is_finite() && deviation > 0.0) {
        return Err(DecimateError::BadDeviation(deviation));
    }
    let euler = Topology::new(mesh)?.euler_characteristic();
    let original = SurfaceLocator::new(mesh)?;
    let (low, high) = mesh.bounds().unwrap_or((Point::origin(), Point::origin()));
    let centre = nalgebra::center(&low, &high);
    let positions: Vec<[f32; 3]> =
        mesh.positions.iter().map(|p| (p - centre).map(|x| x as f32).into()).collect();
    let indices: Vec<u32> = mesh.faces.iter().flatten().copied().collect();
    let mut allowed = deviation;
    let mut retries = Vec::new();
    for _ in 0..ATTEMPTS {
        let kept = meshopt::simplify_decoder(
            &indices,
            &positions,
            0,
            allowed as f32,
            SimplifyOptions::ErrorAbsolute,
            None,
        );
        let result = picked(mesh, &kept);
        let (reason, share) = match verify(mesh, &original, &result, euler, crossings) {
            Ok(measured) if measured <= deviation => {
                return Ok(Decimated { mesh: result, deviation: measured, retries });
            }
            Ok(measured) => (
                format!("the surface moved by {measured:.3} mm"),
                (0.9 * deviation / measured).clamp(0.2, 0.8),
            ),
            Err(reason) => (reason, 0.5),
        };
        retries
            .push(format!("decimating with an error of {allowed:.3} mm was done again: {reason}"));
        allowed *= share;
    }
    Err(DecimateError::Failed {
        deviation,
        attempts: ATTEMPTS,
        reason: retries.pop().unwrap_or_default(),
    })
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

/// Deviation if the result has the original's topology, or why not.
fn verify(
    mesh: &TriangleMesh,
    original: &SurfaceLocator,
    result: &TriangleMesh,
    euler: i64,
    crossings: usize,
) -> Result<f64, String> {
    let topology = Topology::new(result).map_err(|e| e.to_string())?;
    let found = topology.euler_characteristic();
    if found != euler {
        return Err(format!("the Euler characteristic changed from {euler} to {found}"));
    }
    let crossing = self_crossings(result).pairs;
    if crossing > crossings {
        return Err(format!("{crossing} pairs of faces cross, {crossings} did before"));
    }
    let decimated = SurfaceLocator::new(result).map_err(|e| e.to_string())?;
    // Middles of edges and faces of the coarse mesh lie farthest from the fine one; vertices of
    // the fine mesh lie farthest from the coarse one.
    let middles: Vec<Point> = (0..result.faces.len() as u32)
        .map(|f| {
            let [a, b, c] = result.corners(super::FaceId(f));
            Point::from((a.coords + b.coords + c.coords) / 3.0)
        })
        .chain(topology.edge_vertices.iter().map(|[a, b]| {
            nalgebra::center(&result.positions[*a as usize], &result.positions[*b as usize])
        }))
        .collect();
    let forth = farthest(&decimated, &mesh.positions);
    let back = farthest(original, &middles);
    Ok(forth.max(back))
}

fn farthest(locator: &SurfaceLocator, points: &[Point]) -> f64 {
    let stride = points.len().div_ceil(SAMPLES).max(1);
    points.par_iter().step_by(stride).map(|p| locator.closest(p).distance).reduce(|| 0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::super::fixtures::{cuboid, divided, icosphere, inside_out, torus, tube};
    use super::super::genus;
    use super::*;

    #[test]
    fn a_fine_sphere_stays_within_the_deviation() {
        let sphere = icosphere(50.0, 5);
        let result = decimate(&sphere, 0.2, 0).expect("decimate");
        assert!(result.deviation <= 0.2);
        assert!(result.mesh.faces.len() * 4 < sphere.faces.len());
        assert_eq!(genus(&result.mesh), Ok(0));
        // A chord that stays within d of a sphere of radius r loses at most 3 d / r of the volume.
        approx::assert_relative_eq!(
            result.mesh.signed_volume(),
            sphere.signed_volume(),
            max_relative = 0.012
        );
    }

    #[test]
    fn a_divided_box_comes_back_exactly() {
        let cube = divided(&divided(&divided(&cuboid([60.0, 40.0, 30.0]))));
        let result = decimate(&cube, 0.2, 0).expect("decimate");
        assert!(result.mesh.faces.len() < 40, "{} faces", result.mesh.faces.len());
        approx::assert_relative_eq!(result.mesh.signed_volume(), 72_000.0, max_relative = 1e-12);
        assert!(result.deviation < 1e-9);
    }

    #[test]
    fn handles_stay() {
        assert_eq!(genus(&decimate(&torus(40.0, 12.0, 200, 80), 0.3, 0).expect("t").mesh), Ok(1));
        let thin = divided(&divided(&tube(20.0, 20.5, 60.0, 48)));
        assert_eq!(genus(&decimate(&thin, 0.3, 0).expect("tube").mesh), Ok(1));
    }

    #[test]
    fn bad_input_is_refused() {
        let mut cube = inside_out(&cuboid([20.0; 3]));
        assert_eq!(decimate(&cube, -1.0, 0), Err(DecimateError::BadDeviation(-1.0)));
        cube.faces.pop();
        assert!(matches!(decimate(&cube, 0.2, 0), Err(DecimateError::Topology(_))));
    }
}
