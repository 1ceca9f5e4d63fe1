//! Points, directions and lines between the protocol and the solver: what every other part of a message
//! is made of.

use slitwright_proto::v1;
use slitwright_solver::mesh::{Point, TriangleMesh, Vector};

use super::violations::{Collector, join};

/// Coordinates beyond this are a slip: a kilometre is no mould.
const FARTHEST: f64 = 1.0e6;

/// A point for the protocol.
pub(super) fn point(point: &Point) -> v1::Point {
    v1::Point { x: point.x, y: point.y, z: point.z }
}

/// A direction for the protocol.
pub(super) fn direction(vector: &Vector) -> v1::Direction {
    v1::Direction { x: vector.x, y: vector.y, z: vector.z }
}

/// A line for the protocol.
pub(super) fn polyline(points: &[Point]) -> v1::Polyline {
    v1::Polyline { points: points.iter().map(point).collect() }
}

/// A point that has to be there.
pub(super) fn place(message: Option<&v1::Point>, path: &str, faults: &mut Collector) -> Point {
    let Some(p) = message else {
        faults.add(path, "is missing: give the point in mm");
        return Point::origin();
    };
    for (field, value) in [("x", p.x), ("y", p.y), ("z", p.z)] {
        faults.number(&join(path, field), value, -FARTHEST, FARTHEST, "mm");
    }
    Point::new(p.x, p.y, p.z)
}

/// A direction that has to be there, of length 1.
pub(super) fn unit(message: Option<&v1::Direction>, path: &str, faults: &mut Collector) -> Vector {
    let Some(d) = message else {
        faults.add(path, "is missing: give the direction");
        return Vector::z();
    };
    let vector = Vector::new(d.x, d.y, d.z);
    // Scaled first, so that neither tiny nor huge components overflow on squaring.
    let largest = vector.amax();
    if !largest.is_finite() || !vector.iter().all(|part| part.is_finite()) || largest == 0.0 {
        faults.add(path, format!("is ({}, {}, {}): give finite parts, not all 0", d.x, d.y, d.z));
        return Vector::z();
    }
    (vector / largest).normalize()
}

/// A surface for the protocol.
pub(super) fn mesh(mesh: &TriangleMesh) -> v1::TriangleMesh {
    v1::TriangleMesh {
        vertices: mesh.positions.iter().map(point).collect(),
        triangles: mesh.faces.iter().map(triangle).collect(),
    }
}

/// Vertices and triangles of one part of a surface: some hundred kB.
const PART: usize = 20_000;

/// A surface in parts, vertices first.
pub fn mesh_parts(mesh: &TriangleMesh) -> impl Iterator<Item = v1::TriangleMesh> + '_ {
    let vertices = mesh.positions.chunks(PART).map(|part| v1::TriangleMesh {
        vertices: part.iter().map(point).collect(),
        triangles: Vec::new(),
    });
    vertices.chain(mesh.faces.chunks(PART).map(|part| v1::TriangleMesh {
        vertices: Vec::new(),
        triangles: part.iter().map(triangle).collect(),
    }))
}

fn triangle(&[a, b, c]: &[u32; 3]) -> v1::Triangle {
    v1::Triangle { a, b, c }
}
