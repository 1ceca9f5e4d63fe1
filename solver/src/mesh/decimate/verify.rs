//! Whether a decimated mesh still is the model: closed, oriented, same Euler characteristic, no new self-crossing, and
//! near enough.

use rayon::prelude::*;

use super::super::check::{EdgeTally, euler_of_closed, pinched_vertices};
use super::super::project::SurfaceLocator;
use super::super::self_crossing::crossing_pairs;
use super::super::{Point, TriangleMesh};
use crate::control::{Cancel, Cancelled};

/// Points of either mesh whose distance to the other is measured, at most.
const SAMPLES: usize = 200_000;
/// Points that are measured between two looks at whether anybody still waits.
const BETWEEN_LOOKS: usize = 20_000;

/// What decimating did wrong.
pub(super) struct Trouble {
    pub reason: String,
    /// Where (centre and reach, mm), if the place is known.
    pub places: Vec<(Point, f64)>,
    /// Faces of the result that are there.
    pub faces: Vec<u32>,
    /// Whether it is sound, and only too far off.
    pub is_too_far: bool,
}

impl Trouble {
    fn somewhere(reason: impl ToString) -> Self {
        Self {
            reason: reason.to_string(),
            places: Vec::new(),
            faces: Vec::new(),
            is_too_far: false,
        }
    }

    /// At vertices of the result: balls that hold the faces there.
    fn at_vertices(reason: String, mesh: &TriangleMesh, vertices: &[u32]) -> Self {
        let mut reach = vec![f64::NAN; mesh.positions.len()];
        for &v in vertices {
            reach[v as usize] = 0.0;
        }
        let mut faces = Vec::new();
        for (f, face) in mesh.faces.iter().enumerate() {
            let mut is_there = false;
            for &v in face {
                let own = &mut reach[v as usize];
                // No number stays none.
                if own.is_nan() {
                    continue;
                }
                is_there = true;
                let from = mesh.positions[v as usize];
                for &u in face {
                    *own = own.max((mesh.positions[u as usize] - from).norm());
                }
            }
            if is_there {
                faces.push(f as u32);
            }
        }
        let place = |&v: &u32| (mesh.positions[v as usize], reach[v as usize]);
        Self { reason, places: vertices.iter().map(place).collect(), faces, is_too_far: false }
    }
}

/// What a result is measured against.
pub(super) struct Task<'a> {
    mesh: &'a TriangleMesh,
    locator: &'a SurfaceLocator,
    euler: i64,
    crossings: usize,
    cancel: &'a Cancel,
}

impl<'a> Task<'a> {
    /// `crossings` is the number of pairs of faces of the mesh that cross.
    pub fn new(
        mesh: &'a TriangleMesh,
        locator: &'a SurfaceLocator,
        crossings: usize,
        cancel: &'a Cancel,
    ) -> Self {
        Self { mesh, locator, euler: euler_of_closed(mesh), crossings, cancel }
    }

    pub fn cancel(&self) -> &Cancel {
        self.cancel
    }

    /// Pairs of faces of the original that cross.
    pub fn crossings(&self) -> usize {
        self.crossings
    }

    /// The largest distance measured between the two, if the result has the original's topology and that is no more
    /// than `deviation` (mm).
    pub fn verify(
        &self,
        result: &TriangleMesh,
        deviation: f64,
    ) -> Result<Result<f64, Trouble>, Cancelled> {
        match self.sound(result)? {
            Ok(locator) => self.measure(result, &locator, deviation),
            Err(trouble) => Ok(Err(trouble)),
        }
    }

    /// The result's own locator, if it has the original's topology and no more faces that cross.
    pub fn sound(
        &self,
        result: &TriangleMesh,
    ) -> Result<Result<SurfaceLocator, Trouble>, Cancelled> {
        let tally = EdgeTally::new(result);
        self.cancel.check()?;
        if !tally.is_sound() {
            let ends: Vec<u32> = [&tally.open, &tally.disagreeing, &tally.crowded]
                .into_iter()
                .flatten()
                .flatten()
                .copied()
                .collect();
            let reason = format!("{} edges did not join two faces any more", ends.len() / 2);
            return Ok(Err(Trouble::at_vertices(reason, result, &ends)));
        }
        let pinched = pinched_vertices(result);
        if !pinched.is_empty() {
            let reason = format!("the surface touched itself in {} vertices", pinched.len());
            return Ok(Err(Trouble::at_vertices(reason, result, &pinched)));
        }
        let found = euler_of_closed(result);
        if found != self.euler {
            return Ok(Err(Trouble::somewhere(format!(
                "the Euler characteristic changed from {} to {found}",
                self.euler
            ))));
        }
        self.cancel.check()?;
        let locator = match SurfaceLocator::new_until(result, self.cancel)? {
            Ok(locator) => locator,
            Err(fault) => return Ok(Err(Trouble::somewhere(fault))),
        };
        self.cancel.check()?;
        Ok(self.crosses(result, &locator)?.map(|()| locator))
    }

    fn crosses(
        &self,
        result: &TriangleMesh,
        locator: &SurfaceLocator,
    ) -> Result<Result<(), Trouble>, Cancelled> {
        let crossing = match crossing_pairs(result, locator, self.cancel)? {
            Ok(crossing) => crossing,
            Err(near) => {
                let reason = format!("more than {} pairs of faces lay near each other", near.most);
                return Ok(Err(Trouble::somewhere(reason)));
            }
        };
        if crossing.len() <= self.crossings {
            return Ok(Ok(()));
        }
        let mut faces: Vec<u32> = crossing.iter().flatten().copied().collect();
        faces.sort_unstable();
        faces.dedup();
        let corners: Vec<u32> = faces.iter().flat_map(|f| result.faces[*f as usize]).collect();
        let reason =
            format!("{} pairs of faces crossed, {} did before", crossing.len(), self.crossings);
        Ok(Err(Trouble { faces, ..Trouble::at_vertices(reason, result, &corners) }))
    }

    /// The largest distance measured between result and original, if it is no more than `deviation` (mm).
    pub fn measure(
        &self,
        result: &TriangleMesh,
        locator: &SurfaceLocator,
        deviation: f64,
    ) -> Result<Result<f64, Trouble>, Cancelled> {
        // Middles of edges and faces of the coarse mesh lie farthest from the fine one; vertices
        // of the fine mesh lie farthest from the coarse one.
        let middles = middles(result);
        let forth = self.distances(locator, &self.mesh.positions)?;
        let back = self.distances(self.locator, &middles)?;
        let all = || forth.iter().chain(&back);
        let measured = all().map(|far| far.distance).fold(0.0, f64::max);
        if measured <= deviation {
            return Ok(Ok(measured));
        }
        // Reach far enough to hold the faces there, at about twice the wanted spacing.
        let reach = 2.0 * (result.area() / result.faces.len() as f64).sqrt();
        let too_far = |far: &&Far| far.distance > deviation;
        let places = all().filter(too_far).map(|far| (far.point, reach)).collect();
        let mut faces: Vec<u32> = forth.iter().filter(too_far).map(|far| far.face).collect();
        // Three middles a face.
        faces.extend(back.iter().filter(too_far).map(|far| far.index / 3));
        faces.sort_unstable();
        faces.dedup();
        let reason = format!("the surface moved by {measured:.3} mm");
        Ok(Err(Trouble { reason, places, faces, is_too_far: true }))
    }

    /// Distances of evenly chosen points from a surface.
    fn distances(&self, locator: &SurfaceLocator, points: &[Point]) -> Result<Vec<Far>, Cancelled> {
        let stride = points.len().div_ceil(SAMPLES).max(1);
        let chosen: Vec<u32> = (0..points.len() as u32).step_by(stride).collect();
        let mut found = Vec::with_capacity(chosen.len());
        for some in chosen.chunks(BETWEEN_LOOKS) {
            self.cancel.check()?;
            found.par_extend(some.par_iter().map(|&index| {
                let point = points[index as usize];
                let hit = locator.closest(&point);
                Far { point, index, face: hit.face.0, distance: hit.distance }
            }));
        }
        Ok(found)
    }
}

/// Three a face.
pub(super) fn middles(mesh: &TriangleMesh) -> Vec<Point> {
    let of = |f: &[u32; 3]| {
        let [a, b, c] = f.map(|v| mesh.positions[v as usize]);
        let middle = Point::from((a.coords + b.coords + c.coords) / 3.0);
        [middle, nalgebra::center(&a, &b), nalgebra::center(&b, &c)]
    };
    mesh.faces.iter().flat_map(of).collect()
}

/// A point and how far it is off a surface.
struct Far {
    point: Point,
    /// Which of the points it is.
    index: u32,
    /// Face of the surface that is nearest.
    face: u32,
    distance: f64,
}
