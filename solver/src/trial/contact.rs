//! Where the rubber meets what is rigid.

use parry3d_f64::query::{PointQuery, PointQueryWithLocation};
use parry3d_f64::shape::{TriMesh, TriMeshFlags};

use super::TrialError;
use crate::mesh::{Point, SurfaceLocator, TriangleMesh, Vector, to_glam, to_point};

/// How a point lies to a rigid body.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Touch {
    /// Signed distance, mm: negative inside.
    pub distance: f64,
    /// Unit direction out of the body.
    pub normal: Vector,
}

/// A rigid body that rubber cannot enter.
pub trait Obstacle: Sync {
    /// How a point lies to it.
    fn touch(&self, point: &Point) -> Touch;

    /// The same where it is known that the obstacle is no farther than `reach` mm, on whichever side: less to look at.
    fn touch_within(&self, point: &Point, reach: f64) -> Touch {
        let _ = reach;
        self.touch(point)
    }
}

/// The model, and the board that it stands on.
pub struct RigidModel {
    /// The closed model: tells inside from outside.
    solid: TriMesh,
    /// The model without its faces on the board. The way out of a standing model is never down
    /// through the board.
    walls: SurfaceLocator,
    /// Whether each face of the model lies on the board.
    on_board: Vec<bool>,
    board: Option<f64>,
}

/// Faces nearer to the board than this share of the model's span, with all corners, lie on it.
const ON_BOARD: f64 = 3e-3;

impl RigidModel {
    /// From a closed model in the mould frame, mm; `board` is the height of the board under it.
    pub fn new(model: &TriangleMesh, board: Option<f64>) -> Result<Self, TrialError> {
        let reach = ON_BOARD * model.span();
        let near = |v: u32| board.is_some_and(|z| model.positions[v as usize].z < z + reach);
        let on_board: Vec<bool> = model.faces.iter().map(|f| f.iter().all(|&v| near(v))).collect();
        let mut walls = model.clone();
        let mut lies = on_board.iter();
        walls.faces.retain(|_| lies.next() == Some(&false));
        let walls = SurfaceLocator::new(&walls)?;
        let vertices = model.positions.iter().map(|p| to_glam(&p.coords)).collect::<Vec<_>>();
        let solid = TriMesh::with_flags(vertices, model.faces.clone(), TriMeshFlags::ORIENTED)
            .map_err(|fault| TrialError::Model { message: fault.to_string() })?;
        Ok(Self { solid, walls, on_board, board })
    }

    /// Signed distance to the model's walls alone, mm.
    pub fn distance(&self, point: &Point) -> f64 {
        self.to_walls(point).distance
    }

    /// The point of the model's walls nearest to a point.
    pub fn nearest(&self, point: &Point) -> Point {
        self.walls.closest(point).point
    }

    /// Whether it stands on a board.
    pub fn has_board(&self) -> bool {
        self.board.is_some()
    }

    /// Whether a ray from a point meets the model.
    pub fn is_hit(&self, from: &Point, along: &Vector) -> bool {
        self.walls.ray(from, along, f64::MAX).is_some()
    }

    fn holds(&self, point: &Point) -> bool {
        self.solid.project_local_point(to_glam(&point.coords), false).is_inside
    }
}

impl Obstacle for RigidModel {
    fn touch(&self, point: &Point) -> Touch {
        self.touch_within(point, f64::MAX)
    }

    fn touch_within(&self, point: &Point, reach: f64) -> Touch {
        let walls = self.walls_within(point, reach);
        match (self.board, walls) {
            (Some(z), walls) if walls.is_none_or(|w| point.z - z < w.distance) => {
                Touch { distance: point.z - z, normal: Vector::z() }
            }
            (_, Some(walls)) => walls,
            // Out of reach, and no board: whoever said so was wrong.
            (_, None) => self.to_walls(point),
        }
    }
}

impl RigidModel {
    /// How a point lies to the walls, if they are no farther than `reach`.
    fn walls_within(&self, point: &Point, reach: f64) -> Option<Touch> {
        let query = to_glam(&point.coords);
        let (near, (face, _)) =
            self.solid.project_local_point_and_get_location_with_max_dist(query, false, reach)?;
        if self.on_board[face as usize] {
            return Some(self.to_walls(point));
        }
        let foot = to_point(near.point);
        let normal = || {
            let normal = self.solid.triangle(face).scaled_normal();
            let normal = Vector::new(normal.x, normal.y, normal.z);
            normal.try_normalize(0.0).unwrap_or_else(Vector::zeros)
        };
        Some(Touch::of(point, &foot, near.is_inside, normal))
    }

    /// How a point lies to the walls, the faces on the board left out.
    fn to_walls(&self, point: &Point) -> Touch {
        let hit = self.walls.closest(point);
        Touch::of(point, &hit.point, self.holds(point), || hit.normal)
    }
}

impl Touch {
    /// Of a point in or out of a body whose nearest point is `foot`, with the normal of the face there.
    fn of(point: &Point, foot: &Point, is_inside: bool, normal: impl Fn() -> Vector) -> Self {
        let away = (point - foot).norm();
        let distance = if is_inside { -away } else { away };
        // Close to the surface the direction to the foot is noise; the face's normal is not.
        Self { distance, normal: if away > 1e-6 { (point - foot) / distance } else { normal() } }
    }
}
