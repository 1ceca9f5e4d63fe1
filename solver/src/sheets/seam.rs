//! Where a seam shows, and areas that a person keeps free of cuts or would rather see cut.
//!
//! Curvature at a vertex is the integral of the mean curvature over the surface within a few mm:
//! the sum of edge length times signed dihedral angle over two, taken over the edges there, divided by
//! the area (Cohen-Steiner, D. & Morvan, J.-M. (2003), "Restricted Delaunay triangulations and
//! normal cycle", SoCG; the mean curvature part). Convex is positive. A ridge of 90 degrees
//! measured over a disc of radius r has 2 r (pi/2) / 2 / (pi r^2) = 1 / (2 r).

use rayon::prelude::*;

use super::SheetError;
use crate::mesh::{
    FaceId, Point, SurfaceLocator, Topology, TriangleMesh, Vector, VertexId, square_to,
};

/// Mean curvature at every vertex over the faces within `reach` mm, 1/mm: positive where the model
/// is convex.
pub fn mean_curvature(mesh: &TriangleMesh, reach: f64) -> Result<Vec<f64>, SheetError> {
    let topology = Topology::new(mesh)?;
    let normal = |f: u32| mesh.area_vector(FaceId(f)).try_normalize(0.0).unwrap_or_default();
    // Half of each edge goes to either end, a third of each face to each corner.
    let mut bend = vec![0.0; mesh.positions.len()];
    let mut area = vec![0.0; mesh.positions.len()];
    for (edge, &[a, b]) in topology.edge_vertices.iter().enumerate() {
        let [left, right] = topology.edge_faces[edge].map(normal);
        let along = mesh.positions[b as usize] - mesh.positions[a as usize];
        // The left face runs along the edge from a to b: counter-clockwise seen from outside.
        let sine = left.cross(&right).dot(&along) / along.norm().max(1e-300);
        let angle = sine.atan2(left.dot(&right));
        for v in [a, b] {
            bend[v as usize] += 0.25 * angle * along.norm();
        }
    }
    for (face, corners) in mesh.faces.iter().enumerate() {
        for &v in corners {
            area[v as usize] += mesh.face_area(FaceId(face as u32)) / 3.0;
        }
    }
    let mut curvature = Vec::with_capacity(bend.len());
    let mut visited = vec![u32::MAX; bend.len()];
    for start in 0..bend.len() as u32 {
        let centre = mesh.positions[start as usize];
        let mut stack = vec![start];
        visited[start as usize] = start;
        let (mut total, mut over) = (0.0, 0.0);
        while let Some(v) = stack.pop() {
            total += bend[v as usize];
            over += area[v as usize];
            for &edge in topology.edges_of(VertexId(v)) {
                let [a, b] = topology.edge_vertices[edge as usize];
                let next = if a == v { b } else { a };
                let near = (mesh.positions[next as usize] - centre).norm() <= reach;
                if near && visited[next as usize] != start {
                    visited[next as usize] = start;
                    stack.push(next);
                }
            }
        }
        curvature.push(if over > 0.0 { total / over } else { 0.0 });
    }
    Ok(curvature)
}

/// How much a seam would show at each vertex: 0 on a ridge as sharp as a square edge seen over
/// `reach` mm, 1 on flat and hollow ground, linear in the mean curvature between.
pub fn seam_visibility(mesh: &TriangleMesh, reach: f64) -> Result<Vec<f64>, SheetError> {
    let ridge = 0.5 / reach;
    let curvature = mean_curvature(mesh, reach)?;
    Ok(curvature.into_iter().map(|h| 1.0 - (h / ridge).clamp(0.0, 1.0)).collect())
}

/// A part of the model's surface.
#[derive(Clone, Debug, PartialEq)]
pub enum Area {
    /// All within a distance of a point.
    Ball {
        /// The point.
        centre: Point,
        /// The distance, mm.
        radius: f64,
    },
    /// What lies within a closed polygon on the model, seen against its mean normal, and no
    /// deeper below or higher above it than it is wide.
    Polygon {
        /// Corners in order, the first not repeated.
        corners: Vec<Point>,
    },
}

impl Area {
    /// Whether a point of the surface lies in the area.
    pub fn holds(&self, p: &Point) -> bool {
        match self {
            Self::Ball { centre, radius } => (p - centre).norm() <= *radius,
            Self::Polygon { corners } => Outline::new(corners, 1).is_some_and(|it| it.holds(p)),
        }
    }
}

/// A closed polygon made ready to be asked about many points: the sides that a ray to the right from a
/// point can cross are looked up by its height.
struct Outline {
    middle: Point,
    up: Vector,
    x: Vector,
    y: Vector,
    wide: f64,
    low: f64,
    step: f64,
    rows: Vec<Vec<[(f64, f64); 2]>>,
}

impl Outline {
    /// In so many rows: the more, the faster the answers. `None` where the polygon holds nothing.
    fn new(corners: &[Point], rows: usize) -> Option<Self> {
        let count = corners.len();
        if count < 3 {
            return None;
        }
        let sum: Vector = corners.iter().map(|c| c.coords).sum();
        let middle = Point::from(sum / count as f64);
        // Newell's normal: twice the area vector of the polygon.
        let normal: Vector = (0..count)
            .map(|k| (corners[k] - middle).cross(&(corners[(k + 1) % count] - middle)))
            .sum();
        let up = normal.try_normalize(1e-12)?;
        let wide = corners.iter().map(|c| (c - middle).norm()).fold(0.0, f64::max);
        let x = square_to(&up);
        let y = up.cross(&x);
        let flat: Vec<(f64, f64)> =
            corners.iter().map(|q| ((q - middle).dot(&x), (q - middle).dot(&y))).collect();
        let low = flat.iter().map(|q| q.1).fold(f64::INFINITY, f64::min);
        let high = flat.iter().map(|q| q.1).fold(f64::NEG_INFINITY, f64::max);
        let step = (high - low) / rows as f64;
        let mut outline = Self { middle, up, x, y, wide, low, step, rows: vec![Vec::new(); rows] };
        for k in 0..count {
            let side = [flat[k], flat[(k + 1) % count]];
            let rows = [side[0].1, side[1].1].map(|height| outline.row(height));
            for row in rows[0].min(rows[1])..=rows[0].max(rows[1]) {
                outline.rows[row].push(side);
            }
        }
        Some(outline)
    }

    /// The row that a height falls in; beyond the ends, the nearest. Never goes down as heights go up.
    fn row(&self, height: f64) -> usize {
        // The cast saturates, and turns what is no number into zero.
        (((height - self.low) / self.step) as usize).min(self.rows.len() - 1)
    }

    fn holds(&self, p: &Point) -> bool {
        let from_middle = p - self.middle;
        if from_middle.dot(&self.up).abs() > self.wide {
            return false;
        }
        let (px, py) = (from_middle.dot(&self.x), from_middle.dot(&self.y));
        // Crossings of a ray to the right with the outline.
        let mut inside = false;
        for &[(ax, ay), (bx, by)] in &self.rows[self.row(py)] {
            if (ay > py) != (by > py) && px < ax + (bx - ax) * (py - ay) / (by - ay) {
                inside = !inside;
            }
        }
        inside
    }
}

/// Steps along a face's sides between the points at which it is sampled.
const SAMPLES: u32 = 12;

/// Points of a face on an even grid, its corners and sides with it.
fn samples([a, b, c]: [Point; 3]) -> impl Iterator<Item = Point> {
    (0..=SAMPLES).flat_map(move |i| {
        (0..=SAMPLES - i).map(move |j| {
            let (u, v) = (f64::from(i) / f64::from(SAMPLES), f64::from(j) / f64::from(SAMPLES));
            a + (b - a) * u + (c - a) * v
        })
    })
}

/// Areas with a say about cuts.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SeamAreas {
    /// No cut may run here.
    pub keep_off: Vec<Area>,
    /// Cuts are welcome here: their length counts by the factor, above 0 and at most 1.
    pub preferred: Vec<(Area, f64)>,
}

impl SeamAreas {
    /// The first fault, if any.
    pub fn check(&self) -> Result<(), SheetError> {
        let fault = self.preferred.iter().find(|(_, f)| !(*f > 0.0 && *f <= 1.0));
        if let Some(&(_, value)) = fault {
            let advice = "must lie above 0 and be at most 1";
            return Err(SheetError::BadNumber { field: "preferred.factor", value, advice });
        }
        for area in self.keep_off.iter().chain(self.preferred.iter().map(|(a, _)| a)) {
            match area {
                Area::Ball { radius, .. } if !(radius.is_finite() && *radius > 0.0) => {
                    let advice = "must be a positive number of mm";
                    return Err(SheetError::BadNumber {
                        field: "area.radius",
                        value: *radius,
                        advice,
                    });
                }
                Area::Polygon { corners } if corners.len() < 3 => {
                    return Err(SheetError::BadNumber {
                        field: "area.corners",
                        value: corners.len() as f64,
                        advice: "must be three points or more",
                    });
                }
                _ => {}
            }
        }
        Ok(())
    }

    /// Factor on the cost of a cut at a point: infinite on keep-off areas, else the least of the
    /// preferred areas that hold it, else 1.
    pub fn factor(&self, p: &Point) -> f64 {
        if self.keep_off.iter().any(|a| a.holds(p)) {
            return f64::INFINITY;
        }
        let preferred = self.preferred.iter().filter(|(a, _)| a.holds(p));
        preferred.map(|&(_, factor)| factor).fold(1.0, f64::min)
    }

    /// Vertices of a mesh that no cut may touch: those of every face that a keep-off area reaches
    /// into. Cuts that keep to the other faces stay clear of the areas themselves, not only of the
    /// vertices inside. Faces are sampled finely, and an area smaller than that is looked for at its
    /// own points.
    pub fn kept_off(&self, mesh: &TriangleMesh) -> Result<Vec<bool>, SheetError> {
        let mut kept = vec![false; mesh.positions.len()];
        if self.keep_off.is_empty() {
            return Ok(kept);
        }
        let outlines: Vec<Option<Outline>> = self
            .keep_off
            .iter()
            .map(|area| match area {
                Area::Ball { .. } => None,
                Area::Polygon { corners } => Outline::new(corners, corners.len()),
            })
            .collect();
        let holds = |p: &Point| {
            self.keep_off.iter().zip(&outlines).any(|(area, outline)| match (area, outline) {
                (Area::Ball { .. }, _) => area.holds(p),
                (Area::Polygon { .. }, outline) => outline.as_ref().is_some_and(|it| it.holds(p)),
            })
        };
        let mut touched: Vec<u32> = (0..mesh.faces.len() as u32)
            .into_par_iter()
            .filter(|&f| samples(mesh.corners(FaceId(f))).any(|p| holds(&p)))
            .collect();
        let locator = SurfaceLocator::new(mesh)?;
        for area in &self.keep_off {
            let own: Vec<Point> = match area {
                Area::Ball { centre, .. } => vec![*centre],
                Area::Polygon { corners } => corners.clone(),
            };
            touched.extend(own.iter().map(|p| locator.closest(p)).filter_map(|hit| {
                let within = match area {
                    Area::Ball { radius, .. } => hit.distance <= *radius,
                    Area::Polygon { .. } => true,
                };
                within.then_some(hit.face.0)
            }));
        }
        for v in touched.iter().flat_map(|&f| mesh.faces[f as usize]) {
            kept[v as usize] = true;
        }
        Ok(kept)
    }

    /// The same areas elsewhere.
    pub fn moved(&self, pose: &nalgebra::Isometry3<f64>) -> Self {
        let area = |a: &Area| match a {
            Area::Ball { centre, radius } => Area::Ball { centre: pose * centre, radius: *radius },
            Area::Polygon { corners } => {
                Area::Polygon { corners: corners.iter().map(|c| pose * c).collect() }
            }
        };
        Self {
            keep_off: self.keep_off.iter().map(area).collect(),
            preferred: self.preferred.iter().map(|(a, f)| (area(a), *f)).collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use approx::assert_relative_eq;

    use super::*;
    use crate::mesh::fixtures::{cuboid, divided, icosphere};

    /// A ball of radius R has mean curvature 1/R, seen from inside -1/R.
    #[test]
    fn a_ball_is_evenly_curved() {
        let ball = icosphere(20.0, 4);
        for h in mean_curvature(&ball, 5.0).expect("closed") {
            assert_relative_eq!(h, 0.05, max_relative = 0.03);
        }
        let hollow = crate::mesh::fixtures::inside_out(&ball);
        assert!(mean_curvature(&hollow, 5.0).expect("closed").iter().all(|&h| h < -0.048));
    }

    #[test]
    fn seams_hide_on_edges_and_show_on_faces() {
        let mut mesh = cuboid([64.0; 3]);
        for _ in 0..5 {
            mesh = divided(&mesh);
        }
        let seen = seam_visibility(&mesh, 5.0).expect("closed");
        let at = |p: [f64; 3]| {
            let k = mesh.positions.iter().position(|q| (q - Point::from(p)).norm() < 1e-9);
            seen[k.expect("a vertex")]
        };
        assert_relative_eq!(at([32.0, 32.0, 64.0]), 1.0, epsilon = 1e-12);
        // The disc over which it is measured follows the mesh: within a fifth.
        assert!(at([32.0, 0.0, 64.0]) < 0.2, "{}", at([32.0, 0.0, 64.0]));
        assert!(at([32.0, 20.0, 64.0]) > 0.99);
    }

    /// A star of many points, tilted: what one row tells, many rows tell too.
    #[test]
    fn rows_of_an_outline_change_no_answer() {
        let tilt = nalgebra::Rotation3::from_euler_angles(0.7, -0.4, 1.1);
        let corner = |k: u32| {
            let radius = if k.is_multiple_of(2) { 20.0 } else { 7.0 };
            let turn = std::f64::consts::TAU * f64::from(k) / 50.0;
            tilt * Point::new(radius * turn.cos(), radius * turn.sin(), 3.0)
        };
        let corners: Vec<Point> = (0..50).map(corner).collect();
        let plain = Outline::new(&corners, 1).expect("an outline");
        let quick = Outline::new(&corners, 50).expect("an outline");
        let places = (0..60).flat_map(|i| (0..60).map(move |j| (i, j)));
        let mut inside = 0;
        for (i, j) in places {
            let at = tilt * Point::new(0.8 * f64::from(i) - 24.0, 0.8 * f64::from(j) - 24.0, 4.0);
            assert_eq!(plain.holds(&at), quick.holds(&at), "{at}");
            inside += u32::from(plain.holds(&at));
        }
        // 50 triangles of area 20 * 7 * sin(tau / 50) / 2, in cells of 0.64.
        let expected = 50.0 * 70.0 * (std::f64::consts::TAU / 50.0).sin() / 0.64;
        assert_relative_eq!(f64::from(inside), expected, max_relative = 0.05);
    }

    #[test]
    fn areas_hold_what_lies_in_them() {
        let square = [[0.0, 0.0, 5.0], [10.0, 0.0, 5.0], [10.0, 10.0, 5.0], [0.0, 10.0, 5.0]];
        let areas = SeamAreas {
            keep_off: vec![Area::Polygon { corners: square.map(Point::from).to_vec() }],
            preferred: vec![(Area::Ball { centre: Point::new(20.0, 0.0, 0.0), radius: 4.0 }, 0.5)],
        };
        assert_eq!(areas.check(), Ok(()));
        assert_eq!(areas.factor(&Point::new(5.0, 5.0, 6.0)), f64::INFINITY);
        assert_eq!(areas.factor(&Point::new(5.0, 5.0, -20.0)), 1.0);
        assert_eq!(areas.factor(&Point::new(11.0, 5.0, 5.0)), 1.0);
        assert_eq!(areas.factor(&Point::new(22.0, 0.0, 1.0)), 0.5);
        let bad = SeamAreas { preferred: vec![(areas.keep_off[0].clone(), 0.0)], ..areas };
        assert!(bad.check().is_err());
    }
}
