//! Surfaces of revolution round the z axis.

use std::f64::consts::{PI, TAU};

use slitwright_solver::mesh::{Point, TriangleMesh};

/// One piece of a profile.
#[derive(Clone, Copy, Debug)]
enum Piece {
    Line {
        from: [f64; 2],
        to: [f64; 2],
    },
    /// A circular arc; angles in radians from the direction of growing r, towards growing z.
    Arc {
        centre: [f64; 2],
        radius: f64,
        from: f64,
        to: f64,
    },
}

impl Piece {
    fn length(self) -> f64 {
        match self {
            Piece::Line { from, to } => (to[0] - from[0]).hypot(to[1] - from[1]),
            Piece::Arc { radius, from, to, .. } => radius * (to - from).abs(),
        }
    }
    fn at(self, t: f64) -> [f64; 2] {
        match self {
            Piece::Line { from, to } => {
                [from[0] + t * (to[0] - from[0]), from[1] + t * (to[1] - from[1])]
            }
            Piece::Arc { centre, radius, from, to } => {
                let angle = from + t * (to - from);
                [centre[0] + radius * angle.cos(), centre[1] + radius * angle.sin()]
            }
        }
    }
}

/// A curve in the half-plane (r, z) from the axis up to the axis again, made of straight lines and
/// arcs, so that a mesh of any fineness has its vertices on the exact surface and its rings on the
/// exact corners. The material lies to its left.
#[derive(Clone, Debug)]
pub struct Profile {
    pieces: Vec<Piece>,
    end: [f64; 2],
}

impl Profile {
    /// Start on the axis at height `z`.
    pub fn from_axis(z: f64) -> Self {
        Self { pieces: Vec::new(), end: [0.0, z] }
    }
    /// Go straight to (r, z).
    pub fn line_to(mut self, r: f64, z: f64) -> Self {
        self.pieces.push(Piece::Line { from: self.end, to: [r, z] });
        self.end = [r, z];
        self
    }
    /// Go along the circle about (`r`, `z`) from the present end to the angle `to` (radians, from
    /// the direction of growing r towards growing z), the way that does not cross the axis.
    pub fn arc_to(mut self, centre: (f64, f64), to: f64) -> Self {
        let (r, z) = (self.end[0] - centre.0, self.end[1] - centre.1);
        let piece =
            Piece::Arc { centre: [centre.0, centre.1], radius: r.hypot(z), from: z.atan2(r), to };
        self.end = piece.at(1.0);
        // An arc that ends on the axis ends there exactly.
        if self.end[0].abs() < 1e-12 * r.hypot(z) {
            self.end[0] = 0.0;
        }
        self.pieces.push(piece);
        self
    }
    /// Points along the profile at most `step` apart, corners included.
    fn sampled(&self, step: f64) -> Vec<[f64; 2]> {
        let mut points = vec![self.pieces[0].at(0.0)];
        for piece in &self.pieces {
            let parts = (piece.length() / step).round().max(1.0) as usize;
            for part in 1..=parts {
                points.push(piece.at(part as f64 / parts as f64));
            }
        }
        if let Some(last) = points.last_mut() {
            *last = self.end;
        }
        points
    }
}

/// Revolve a polyline of (r, z) points; it must start and end on the axis (r = 0), and it runs with
/// the material on its left, so that a solid's bottom comes first. Every ring has `segments`
/// vertices.
pub fn surface_of_revolution(profile: &[(f64, f64)], segments: usize) -> TriangleMesh {
    let rings: Vec<_> = profile.iter().map(|&(r, z)| ([r, z], segments, 0.0)).collect();
    stitched(&rings)
}

/// Revolve a profile with triangles close to equilateral, sides about `edge` mm.
pub fn revolve(profile: &Profile, edge: f64) -> TriangleMesh {
    let rings: Vec<_> = profile
        .sampled(edge * 0.75f64.sqrt())
        .into_iter()
        .enumerate()
        .map(|(index, point)| {
            let count = (TAU * point[0] / edge).round().max(6.0) as usize;
            (point, count, if index % 2 == 0 { 0.0 } else { 0.5 })
        })
        .collect();
    stitched(&rings)
}

/// Join rings, each given as (r, z), its number of vertices, and its turn in parts of a step.
fn stitched(rings: &[([f64; 2], usize, f64)]) -> TriangleMesh {
    let mut mesh = TriangleMesh::default();
    let last = rings.len() - 1;
    assert!(rings[0].0[0] == 0.0 && rings[last].0[0] == 0.0, "the profile must end on the axis");
    let mut starts = Vec::with_capacity(rings.len());
    for (index, &([r, z], count, turn)) in rings.iter().enumerate() {
        starts.push(mesh.positions.len() as u32);
        if index == 0 || index == last {
            mesh.positions.push(Point::new(0.0, 0.0, z));
            continue;
        }
        assert!(r > 0.0, "the profile may touch the axis at its ends only");
        for k in 0..count {
            let angle = TAU * (k as f64 + turn) / count as f64;
            mesh.positions.push(Point::new(r * angle.cos(), r * angle.sin(), z));
        }
    }
    for lower in 0..last {
        let (a, b) = (starts[lower], starts[lower + 1]);
        let (count_a, count_b) = (rings[lower].1 as u32, rings[lower + 1].1 as u32);
        if lower == 0 {
            mesh.faces.extend((0..count_b).map(|k| [a, b + (k + 1) % count_b, b + k]));
        } else if lower + 1 == last {
            mesh.faces.extend((0..count_a).map(|k| [a + k, a + (k + 1) % count_a, b]));
        } else {
            // Walk round both rings together, always along the one that is behind.
            let angle = |k: u32, ring: usize| (f64::from(k) + rings[ring].2) / rings[ring].1 as f64;
            let (mut i, mut j) = (0, 0);
            while i < count_a || j < count_b {
                let along_lower =
                    j == count_b || (i < count_a && angle(i + 1, lower) <= angle(j + 1, lower + 1));
                let (low, high) = (a + i % count_a, b + j % count_b);
                if along_lower {
                    i += 1;
                    mesh.faces.push([low, a + i % count_a, high]);
                } else {
                    j += 1;
                    mesh.faces.push([low, b + j % count_b, high]);
                }
            }
        }
    }
    mesh
}

/// A cone on its base: apex angle 2 atan(`r_base` / `height`).
pub fn cone(r_base: f64, height: f64, edge: f64) -> TriangleMesh {
    revolve(&Profile::from_axis(0.0).line_to(r_base, 0.0).line_to(0.0, height), edge)
}

/// A cylinder on its end.
pub fn cylinder(radius: f64, height: f64, edge: f64) -> TriangleMesh {
    frustum(radius, radius, height, edge)
}

/// A cone cut off parallel to its base.
pub fn frustum(r_base: f64, r_top: f64, height: f64, edge: f64) -> TriangleMesh {
    let profile = Profile::from_axis(0.0).line_to(r_base, 0.0);
    revolve(&profile.line_to(r_top, height).line_to(0.0, height), edge)
}

/// A ball of radius `ball` on a rod of radius `rod` < `ball` that stands on z = 0; the rod is
/// `rod_length` long from the board to the circle where it enters the ball. The ball's centre is
/// at the height `rod_length + sqrt(ball^2 - rod^2)`.
pub fn ball_on_rod(ball: f64, rod: f64, rod_length: f64, edge: f64) -> TriangleMesh {
    let centre = rod_length + (ball * ball - rod * rod).sqrt();
    let profile = Profile::from_axis(0.0).line_to(rod, 0.0).line_to(rod, rod_length);
    revolve(&profile.arc_to((0.0, centre), PI / 2.0), edge)
}

/// A sphere of the given radius cut by z = 0 in a disc of radius `gate` < `radius`; the sphere's
/// centre is at the height `sqrt(radius^2 - gate^2)`.
pub fn sphere_on_gate(radius: f64, gate: f64, edge: f64) -> TriangleMesh {
    let centre = (radius * radius - gate * gate).sqrt();
    let profile = Profile::from_axis(0.0).line_to(gate, 0.0);
    revolve(&profile.arc_to((0.0, centre), PI / 2.0), edge)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::{assert_even, assert_shape};

    /// Volume of the part of a ball on one side of a plane at the signed distance `h` from its
    /// centre, the side that holds the centre when `h` > 0.
    fn ball_part(radius: f64, h: f64) -> f64 {
        PI * (2.0 * radius.powi(3) / 3.0 + radius * radius * h - h.powi(3) / 3.0)
    }

    #[test]
    fn cone_has_its_closed_form() {
        let mesh = cone(20.0, 50.0, 1.5);
        assert_shape(&mesh, 2, PI * 400.0 * 50.0 / 3.0, 0.003);
        assert_even(&mesh, 1.5, 0.2, 1.8);
        assert_eq!(mesh.bounds().map(|b| b.0.z), Some(0.0));
    }

    #[test]
    fn cylinder_and_frustum_have_their_closed_forms() {
        assert_shape(&cylinder(10.0, 30.0, 1.0), 2, PI * 100.0 * 30.0, 0.003);
        let volume = PI * 30.0 / 3.0 * (400.0 + 200.0 + 100.0);
        assert_shape(&frustum(20.0, 10.0, 30.0, 1.0), 2, volume, 0.003);
    }

    #[test]
    fn ball_on_rod_has_its_closed_form() {
        let (ball, rod, length) = (20.0f64, 6.0f64, 40.0);
        let volume = PI * rod * rod * length + ball_part(ball, (ball * ball - rod * rod).sqrt());
        let mesh = ball_on_rod(ball, rod, length, 1.5);
        assert_shape(&mesh, 2, volume, 0.005);
        assert_even(&mesh, 1.5, 0.3, 1.8);
        let coarse = (ball_on_rod(ball, rod, length, 3.0).signed_volume() - volume).abs();
        let fine = (mesh.signed_volume() - volume).abs();
        assert!(fine < 0.35 * coarse, "halving the edge leaves {fine} of {coarse} mm^3");
    }

    #[test]
    fn sphere_on_gate_has_its_closed_form() {
        let mesh = sphere_on_gate(25.0, 5.0, 1.5);
        assert_shape(&mesh, 2, ball_part(25.0, 600.0f64.sqrt()), 0.003);
        assert_even(&mesh, 1.5, 0.3, 1.8);
        let gate = mesh.positions.iter().filter(|p| p.z == 0.0);
        let widest = gate.map(|p| p.x.hypot(p.y)).fold(0.0, f64::max);
        assert!((widest - 5.0).abs() < 1e-9);
    }

    #[test]
    fn polyline_makes_a_bicone() {
        let mesh = surface_of_revolution(&[(0.0, 0.0), (10.0, 10.0), (0.0, 30.0)], 90);
        assert_shape(&mesh, 2, PI * 100.0 * 30.0 / 3.0, 0.002);
        assert_eq!(mesh.positions.len(), 92);
    }
}
