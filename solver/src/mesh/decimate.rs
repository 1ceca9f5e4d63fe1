//! The working mesh: fewer triangles within a stated deviation of the original.
//!
//! Edge collapse by quadric errors (Garland & Heckbert, "Surface simplification using quadric
//! error metrics", SIGGRAPH 1997) is meshopt's. That library works in single precision, promises
//! no topology and estimates its error, so the result is verified here: closed, oriented, same
//! Euler characteristic, no new self-crossing, deviation measured both ways. What fails is done
//! again with the vertices near the bad places held fast, or with a smaller error.

use meshopt::SimplifyOptions;
use rayon::prelude::*;

use super::check::{EdgeTally, euler_of_closed, pinched_vertices};
use super::project::{LocatorError, SurfaceLocator};
use super::self_crossing::crossing_pairs;
use super::{Point, Topology, TriangleMesh};

/// Faces that the working mesh keeps if it can: enough detail for every later stage, few enough
/// to be quick. Smaller meshes are worked on as they are.
pub const WORKING_FACES: usize = 30_000;
/// Attempts before giving up.
const ATTEMPTS: u32 = 8;
/// Largest mesh that is worked on as it is if it cannot be decimated.
pub const AS_IT_IS_FACES: usize = 200_000;
/// With more bad places than this the allowed error is at fault, not the places.
const MOST_PLACES: usize = 2000;
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
    decimate_indexed(mesh, &SurfaceLocator::new(mesh)?, deviation, crossings)
}

/// [`decimate`] with the mesh's own locator at hand.
pub(super) fn decimate_indexed(
    mesh: &TriangleMesh,
    locator: &SurfaceLocator,
    deviation: f64,
    crossings: usize,
) -> Result<Decimated, DecimateError> {
    if !(deviation.is_finite() && deviation > 0.0) {
        return Err(DecimateError::BadDeviation(deviation));
    }
    if !EdgeTally::new(mesh).is_sound() {
        Topology::new(mesh)?;
    }
    if mesh.faces.len() <= WORKING_FACES {
        return Ok(Decimated { mesh: mesh.clone(), deviation: 0.0, retries: Vec::new() });
    }
    let task = Task { mesh, locator, euler: euler_of_closed(mesh), crossings, deviation };
    let (low, high) = mesh.bounds().unwrap_or((Point::origin(), Point::origin()));
    let centre = nalgebra::center(&low, &high);
    let positions: Vec<[f32; 3]> =
        mesh.positions.iter().map(|p| (p - centre).map(|x| x as f32).into()).collect();
    let indices: Vec<u32> = mesh.faces.iter().flatten().copied().collect();
    let mut locked = vec![false; positions.len()];
    let mut allowed = deviation;
    let mut retries = Vec::new();
    for _ in 0..ATTEMPTS {
        let kept = meshopt::simplify_with_locks_decoder(
            &indices,
            &positions,
            &locked,
            3 * WORKING_FACES,
            allowed as f32,
            SimplifyOptions::ErrorAbsolute,
            None,
        );
        let result = picked(mesh, &kept);
        let trouble = match task.verify(&result) {
            Ok(measured) => {
                return Ok(Decimated { mesh: result, deviation: measured, retries });
            }
            Err(trouble) => trouble,
        };
        retries.push(format!(
            "the coarser mesh that is worked on was made again: with {allowed:.3} mm allowed, {}",
            trouble.reason
        ));
        if trouble.places.is_empty() || trouble.places.len() > MOST_PLACES {
            allowed *= 0.5;
        } else {
            lock(&mut locked, mesh, &trouble.places);
        }
    }
    let reason = retries.pop().unwrap_or_default();
    if mesh.faces.len() <= AS_IT_IS_FACES {
        let told = format!(
            "the working mesh is the original with its {} faces, since decimating it within {deviation} mm failed: {reason}",
            mesh.faces.len()
        );
        return Ok(Decimated { mesh: mesh.clone(), deviation: 0.0, retries: vec![told] });
    }
    Err(DecimateError::Failed { deviation, attempts: ATTEMPTS, reason })
}

/// Keep the original's vertices in and near the places where something went wrong.
fn lock(locked: &mut [bool], mesh: &TriangleMesh, places: &[(Point, f64)]) {
    locked.par_iter_mut().zip(&mesh.positions).for_each(|(locked, p)| {
        *locked |=
            places.iter().any(|(centre, reach)| (p - centre).norm_squared() <= reach * reach);
    });
}

/// What decimating did wrong, and where (centre and reach, mm) if the place is known.
struct Trouble {
    reason: String,
    places: Vec<(Point, f64)>,
}

impl Trouble {
    fn somewhere(reason: impl ToString) -> Self {
        Self { reason: reason.to_string(), places: Vec::new() }
    }
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

struct Task<'a> {
    mesh: &'a TriangleMesh,
    locator: &'a SurfaceLocator,
    euler: i64,
    crossings: usize,
    deviation: f64,
}

impl Task<'_> {
    /// The measured deviation, if the result has the original's topology and is near enough.
    fn verify(&self, result: &TriangleMesh) -> Result<f64, Trouble> {
        let tally = EdgeTally::new(result);
        if !tally.is_sound() {
            let places: Vec<_> = [&tally.open, &tally.disagreeing, &tally.crowded]
                .into_iter()
                .flatten()
                .flatten()
                .map(|&v| around(result, v))
                .collect();
            return Err(Trouble {
                reason: format!("{} edges did not join two faces any more", places.len() / 2),
                places,
            });
        }
        let pinched = pinched_vertices(result);
        if !pinched.is_empty() {
            return Err(Trouble {
                reason: format!("the surface touched itself in {} vertices", pinched.len()),
                places: pinched.iter().map(|&v| around(result, v)).collect(),
            });
        }
        let found = euler_of_closed(result);
        if found != self.euler {
            return Err(Trouble::somewhere(format!(
                "the Euler characteristic changed from {} to {found}",
                self.euler
            )));
        }
        let decimated = SurfaceLocator::new(result).map_err(Trouble::somewhere)?;
        let crossing = crossing_pairs(result, &decimated).map_err(|near| {
            Trouble::somewhere(format!(
                "more than {} pairs of faces lay near each other",
                near.most
            ))
        })?;
        if crossing.len() > self.crossings {
            let mut faces: Vec<u32> = crossing.iter().flatten().copied().collect();
            faces.sort_unstable();
            faces.dedup();
            let places =
                faces.iter().flat_map(|f| result.faces[*f as usize]).map(|v| around(result, v));
            return Err(Trouble {
                reason: format!(
                    "{} pairs of faces crossed, {} did before",
                    crossing.len(),
                    self.crossings
                ),
                places: places.collect(),
            });
        }
        // Middles of edges and faces of the coarse mesh lie farthest from the fine one; vertices
        // of the fine mesh lie farthest from the coarse one.
        let middles: Vec<Point> = result
            .faces
            .iter()
            .flat_map(|f| {
                let [a, b, c] = f.map(|v| result.positions[v as usize]);
                let middle = Point::from((a.coords + b.coords + c.coords) / 3.0);
                [middle, nalgebra::center(&a, &b), nalgebra::center(&b, &c)]
            })
            .collect();
        let forth = distances(&decimated, &self.mesh.positions);
        let back = distances(self.locator, &middles);
        let all = || forth.iter().chain(&back);
        let measured = all().map(|(_, d)| *d).fold(0.0, f64::max);
        if measured <= self.deviation {
            return Ok(measured);
        }
        // Reach far enough to hold the faces there, at about twice the wanted spacing.
        let reach = 2.0 * (result.area() / result.faces.len() as f64).sqrt();
        Err(Trouble {
            reason: format!("the surface moved by {measured:.3} mm"),
            places: all().filter(|(_, d)| *d > self.deviation).map(|(p, _)| (*p, reach)).collect(),
        })
    }
}

/// A ball that holds the faces at a vertex.
fn around(mesh: &TriangleMesh, vertex: u32) -> (Point, f64) {
    let centre = mesh.positions[vertex as usize];
    let reach = mesh
        .faces
        .iter()
        .filter(|f| f.contains(&vertex))
        .flatten()
        .map(|v| (mesh.positions[*v as usize] - centre).norm())
        .fold(0.0, f64::max);
    (centre, reach)
}

fn distances(locator: &SurfaceLocator, points: &[Point]) -> Vec<(Point, f64)> {
    let stride = points.len().div_ceil(SAMPLES).max(1);
    points.par_iter().step_by(stride).map(|p| (*p, locator.closest(p).distance)).collect()
}

#[cfg(test)]
mod tests {
    use super::super::fixtures::{cuboid, divided, icosphere, inside_out, torus, tube};
    use super::super::genus;
    use super::*;

    #[test]
    fn a_fine_sphere_stays_within_the_deviation() {
        let sphere = icosphere(50.0, 6);
        let result = decimate(&sphere, 0.2, 0).expect("decimate");
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
        let result = decimate(&sphere, 1e-6, 0).expect("decimate");
        assert_eq!((result.mesh, result.deviation), (sphere, 0.0));
        assert!(result.retries[0].contains("is the original"), "{:?}", result.retries);
    }

    #[test]
    fn a_divided_box_keeps_its_shape_exactly() {
        let mut cube = cuboid([60.0, 40.0, 30.0]);
        while cube.faces.len() <= WORKING_FACES {
            cube = divided(&cube);
        }
        let result = decimate(&cube, 0.2, 0).expect("decimate");
        assert!(result.mesh.faces.len() <= WORKING_FACES);
        approx::assert_relative_eq!(result.mesh.signed_volume(), 72_000.0, max_relative = 1e-12);
        assert!(result.deviation < 1e-9);
    }

    #[test]
    fn handles_stay() {
        let ring = decimate(&torus(40.0, 12.0, 300, 120), 0.3, 0).expect("ring").mesh;
        assert_eq!((genus(&ring), ring.faces.len() <= WORKING_FACES), (Ok(1), true));
        let mut thin = tube(20.0, 20.5, 60.0, 96);
        while thin.faces.len() <= WORKING_FACES {
            thin = divided(&thin);
        }
        assert_eq!(genus(&decimate(&thin, 0.3, 0).expect("tube").mesh), Ok(1));
    }

    #[test]
    fn a_small_mesh_is_worked_on_as_it_is() {
        let sphere = icosphere(50.0, 3);
        let result = decimate(&sphere, 0.2, 0).expect("small");
        assert_eq!((result.mesh, result.deviation), (sphere, 0.0));
    }

    #[test]
    fn bad_input_is_refused() {
        let mut cube = inside_out(&cuboid([20.0; 3]));
        assert_eq!(decimate(&cube, -1.0, 0), Err(DecimateError::BadDeviation(-1.0)));
        cube.faces.pop();
        assert!(matches!(decimate(&cube, 0.2, 0), Err(DecimateError::Topology(_))));
    }
}
