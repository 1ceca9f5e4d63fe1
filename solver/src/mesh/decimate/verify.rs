//! Whether a decimated mesh still is the model, or a part of it: two faces at each edge that agree, the border of a part as it
//! was, same Euler characteristic, no new self-crossing, and near enough.

use rayon::prelude::*;

use super::super::check::{EdgeTally, pinched_vertices};
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
    count: i64,
    open: usize,
    pinched: usize,
    crossings: usize,
    cancel: &'a Cancel,
}

impl<'a> Task<'a> {
    /// For a closed mesh. `crossings` is the number of pairs of its faces that cross.
    pub fn whole(
        mesh: &'a TriangleMesh,
        locator: &'a SurfaceLocator,
        crossings: usize,
        cancel: &'a Cancel,
    ) -> Self {
        Self { mesh, locator, count: count(mesh), open: 0, pinched: 0, crossings, cancel }
    }

    /// For a part of a mesh, whose border stays.
    pub fn part(
        mesh: &'a TriangleMesh,
        locator: &'a SurfaceLocator,
        crossings: usize,
        cancel: &'a Cancel,
    ) -> Self {
        let open = EdgeTally::new(mesh).open.len();
        let pinched = pinched_vertices(mesh).len();
        Self { mesh, locator, count: count(mesh), open, pinched, crossings, cancel }
    }

    pub fn mesh(&self) -> &'a TriangleMesh {
        self.mesh
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
        let EdgeTally { open, disagreeing, crowded } = EdgeTally::new(result);
        self.cancel.check()?;
        if open.len() != self.open || !disagreeing.is_empty() || !crowded.is_empty() {
            let bad = [&open, &disagreeing, &crowded].into_iter().flatten();
            let ends: Vec<u32> = bad.flatten().copied().collect();
            let count = open.len().abs_diff(self.open) + disagreeing.len() + crowded.len();
            let reason = format!("{count} edges did not join two faces any more");
            return Ok(Err(Trouble::at_vertices(reason, result, &ends)));
        }
        let pinched = pinched_vertices(result);
        if pinched.len() > self.pinched {
            let more = pinched.len() - self.pinched;
            let reason = format!("the surface touched itself in {more} vertices");
            return Ok(Err(Trouble::at_vertices(reason, result, &pinched)));
        }
        let found = count(result);
        if found != self.count {
            let by = (found - self.count) / 2;
            return Ok(Err(Trouble::somewhere(format!(
                "the Euler characteristic changed by {by}"
            ))));
        }
        self.cancel.check()?;
        let locator = match SurfaceLocator::new_until(result, self.cancel)? {
            Ok(locator) => locator,
            Err(fault) => return Ok(Err(Trouble::somewhere(fault))),
        };
        match self.crosses(result, &locator)? {
            Ok(()) => self.measure(result, &locator, deviation),
            Err(trouble) => Ok(Err(trouble)),
        }
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

    fn measure(
        &self,
        result: &TriangleMesh,
        locator: &SurfaceLocator,
        deviation: f64,
    ) -> Result<Result<f64, Trouble>, Cancelled> {
        // Middles of edges and faces of the coarse mesh lie farthest from the fine one; vertices
        // of the fine mesh lie farthest from the coarse one.
        let of = |f: &[u32; 3]| {
            let [a, b, c] = f.map(|v| result.positions[v as usize]);
            let middle = Point::from((a.coords + b.coords + c.coords) / 3.0);
            [middle, nalgebra::center(&a, &b), nalgebra::center(&b, &c)]
        };
        let middles: Vec<Point> = result.faces.iter().flat_map(of).collect();
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

/// Twice Euler's characteristic, and the number of open edges besides: twice the vertices that have faces less the faces.
fn count(mesh: &TriangleMesh) -> i64 {
    let mut used = vec![false; mesh.positions.len()];
    for &v in mesh.faces.iter().flatten() {
        used[v as usize] = true;
    }
    2 * used.into_iter().filter(|u| *u).count() as i64 - mesh.faces.len() as i64
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

#[cfg(test)]
mod tests {
    use super::super::super::fixtures::torus;
    use super::*;

    /// Of a part the border stays; what is torn, folded over, or too far off is told with its place.
    #[test]
    fn a_part_keeps_its_border() {
        let ring = torus(40.0, 12.0, 60, 24);
        let mut half = ring.clone();
        half.faces.truncate(ring.faces.len() / 2);
        half.drop_unused();
        let locator = SurfaceLocator::new(&half).expect("sound");
        let cancel = Cancel::new();
        let task = Task::part(&half, &locator, 0, &cancel);
        let look = |mesh: &TriangleMesh| task.verify(mesh, 0.5).expect("not cancelled");
        assert!(look(&half).is_ok_and(|off| off < 1e-9));
        let mut torn = half.clone();
        torn.faces.pop();
        let trouble = look(&torn).expect_err("torn");
        assert!(trouble.reason.contains("did not join two faces"), "{}", trouble.reason);
        assert!(!trouble.places.is_empty() && !trouble.is_too_far);
        let mut moved = half.clone();
        let inner = half.faces.len() / 2;
        let v = half.faces[inner][0] as usize;
        moved.positions[v] += half.vertex_normals()[v];
        let trouble = look(&moved).expect_err("moved");
        assert!(
            trouble.is_too_far
                && trouble.faces.iter().any(|f| half.faces[*f as usize].contains(&(v as u32)))
        );
        let mut turned = half.clone();
        turned.faces[inner].swap(1, 2);
        assert!(look(&turned).is_err_and(|trouble| !trouble.is_too_far));
    }
}
