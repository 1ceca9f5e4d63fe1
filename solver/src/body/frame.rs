//! The mould frame: origin on the board below the middle of the model's surface, z away from the
//! board, and x along a direction that depends on the shape alone. So a model that was turned or
//! moved before it was read is planned in the same frame.

use std::cmp::Ordering;

use nalgebra::{Isometry3, Matrix3, Rotation3, Translation3, UnitQuaternion};

use crate::mesh::{FaceId, Point, TriangleMesh, Vector, WholeMesh, canonical};

/// Distance from the axis, height and edge lengths of a vertex, in steps.
type Rank = (i64, i64, Vec<i64>);

/// Moments smaller than this share of what they could be are taken as nought.
const NOUGHT: f64 = 1e-4;
/// Most directions tried for a symmetric mesh.
const MOST_TRIED: usize = 24;

/// The pose that takes the model to its mould frame.
///
/// x follows the third moments of the surface about z: odd moments, so that front and back are
/// told apart. Where they vanish (a symmetric shape) it follows the second moments, and where
/// those are equal too, the outermost vertices. What is then still open is decided by the mesh
/// itself: of the directions left the one in which its sorted coordinates come first.
pub(super) fn mould_frame(model: &TriangleMesh, up: &Vector, on_board: &Point) -> Isometry3<f64> {
    let about = Axes::new(model, up, on_board);
    let moments = about.moments(model);
    let angles = if moments.third.1 > NOUGHT {
        vec![moments.third.0]
    } else if moments.second.1 > NOUGHT {
        let axis = 0.5 * moments.second.0;
        vec![axis, axis + std::f64::consts::PI]
    } else {
        about.outermost(model)
    };
    let mut poses = angles.into_iter().map(|angle| about.pose(angle));
    let first = poses.next().unwrap_or_else(|| about.pose(0.0));
    let mut best = (first, None);
    for pose in poses {
        let old = best.1.take().unwrap_or_else(|| canonical(model, &best.0));
        let new = canonical(model, &pose);
        best = if order(&new, &old) == Ordering::Less {
            (pose, Some(new))
        } else {
            (best.0, Some(old))
        };
    }
    best.0
}

fn order(a: &WholeMesh, b: &WholeMesh) -> Ordering {
    let (a, b) = (&a.mesh, &b.mesh);
    let points = |mesh: &TriangleMesh| -> Vec<f64> {
        mesh.positions.iter().flat_map(|p| [p.x, p.y, p.z]).collect()
    };
    let (p, q) = (points(a), points(b));
    p.iter()
        .zip(&q)
        .map(|(x, y)| x.total_cmp(y))
        .find(|o| o.is_ne())
        .unwrap_or_else(|| a.faces.cmp(&b.faces))
}

/// The origin, up, and any two axes across it.
struct Axes {
    origin: Vector,
    up: Vector,
    side: Vector,
    other: Vector,
}

/// Angle and relative size of the surface's moments about the axis.
struct Moments {
    third: (f64, f64),
    second: (f64, f64),
}

impl Axes {
    fn new(model: &TriangleMesh, up: &Vector, on_board: &Point) -> Self {
        let mut total = 0.0;
        let mut middle = Vector::zeros();
        for f in (0..model.faces.len() as u32).map(FaceId) {
            let [a, b, c] = model.corners(f);
            let area = model.face_area(f);
            middle += (a.coords + b.coords + c.coords) * (area / 3.0);
            total += area;
        }
        let middle = middle / total.max(1e-300);
        let origin = middle - up * (middle - on_board.coords).dot(up);
        let guess = if up.x.abs() < 0.9 { Vector::x() } else { Vector::y() };
        let side = (guess - up * guess.dot(up)).normalize();
        Self { origin, up: *up, side, other: up.cross(&side) }
    }

    fn flat(&self, p: &Point) -> (f64, f64) {
        let offset = p.coords - self.origin;
        (offset.dot(&self.side), offset.dot(&self.other))
    }

    fn moments(&self, model: &TriangleMesh) -> Moments {
        let (mut third, mut third_scale) = ((0.0, 0.0), 0.0);
        let (mut second, mut second_scale) = ((0.0, 0.0), 0.0);
        for f in (0..model.faces.len() as u32).map(FaceId) {
            let area = model.face_area(f);
            let (x, y) = self.flat(&model.face_middle(f));
            let r2 = x * x + y * y;
            third.0 += area * r2 * x;
            third.1 += area * r2 * y;
            third_scale += area * r2 * r2.sqrt();
            second.0 += area * (x * x - y * y);
            second.1 += area * 2.0 * x * y;
            second_scale += area * r2;
        }
        let polar = |(x, y): (f64, f64), scale: f64| (y.atan2(x), x.hypot(y) / scale.max(1e-300));
        Moments { third: polar(third, third_scale), second: polar(second, second_scale) }
    }

    /// Directions of the outermost vertices: among equals the highest, among those the ones whose
    /// edges are longest.
    fn outermost(&self, model: &TriangleMesh) -> Vec<f64> {
        let step = 1e-5 * model.span();
        let rank = |v: f64| (v / step.max(1e-12)).round() as i64;
        let mut edges = vec![Vec::new(); model.positions.len()];
        for face in &model.faces {
            for k in 0..3 {
                let (a, b) = (face[k] as usize, face[(k + 1) % 3] as usize);
                edges[a].push(rank((model.positions[b] - model.positions[a]).norm()));
            }
        }
        let mut ranked: Vec<(Rank, f64)> = model
            .positions
            .iter()
            .zip(edges)
            .map(|(p, mut edges)| {
                let (x, y) = self.flat(p);
                edges.sort_unstable();
                edges.reverse();
                let height = rank((p.coords - self.origin).dot(&self.up));
                ((rank(x.hypot(y)), height, edges), y.atan2(x))
            })
            .collect();
        ranked.sort_by(|a, b| b.0.cmp(&a.0).then(a.1.total_cmp(&b.1)));
        let Some(first) = ranked.first().map(|r| r.0.clone()) else { return Vec::new() };
        ranked.iter().take_while(|r| r.0 == first).take(MOST_TRIED).map(|r| r.1).collect()
    }

    fn pose(&self, angle: f64) -> Isometry3<f64> {
        let x = self.side * angle.cos() + self.other * angle.sin();
        let y = self.up.cross(&x);
        let rows = [x.transpose(), y.transpose(), self.up.transpose()];
        let rotation = Rotation3::from_matrix_unchecked(Matrix3::from_rows(&rows));
        let turn = UnitQuaternion::from_rotation_matrix(&rotation);
        Isometry3::from_parts(Translation3::from(-(turn * self.origin)), turn)
    }
}
