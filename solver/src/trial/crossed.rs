//! Contact of the model's inmost parts with the rubber's faces.
//!
//! Nodes, and points between them, know whether they are in the model; a spike or a thin limb passes between them all.
//! So faces are kept out of the model's [cores](super::cores) besides: a face that enters one is moved out again, away
//! from its middle, by half of the way in each step, and stopped from going farther in. (Both ways round, as two-pass contact
//! has it: Hallquist, Goudreau & Benson 1985, "Sliding interfaces with contact-impact in large-scale Lagrangian
//! computations", Computer Methods in Applied Mechanics and Engineering 51:107; from memory.)

use parry3d_f64::bounding_volume::{Aabb, BoundingVolume};
use parry3d_f64::partitioning::{Bvh, BvhBuildStrategy};
use parry3d_f64::query::PointQuery;
use parry3d_f64::shape::Triangle;
use rayon::prelude::*;

use super::cores::Core;
use super::elastic::CHUNK;
use super::faces::{PUSH, Push};
use crate::mesh::{Point, Vector, to_glam, to_point};

/// No face is moved out by more than this share of the spacing in one step, as no node moves farther by itself: what is deep in a
/// core would turn the elements behind it inside out.
const LONGEST_PUSH: f64 = 0.2;
/// It is looked for faces near cores anew when a node has moved by this share of the spacing.
const LOOSE: f64 = 0.5;

/// A core, and the faces that may come to cross it before it is looked for them anew, each with how far it was, mm.
struct Watch {
    core: Core,
    near: Vec<(u32, f64)>,
    nearest: f64,
}

/// The rubber's faces round the model's cores.
#[derive(Default)]
pub(super) struct Crossed {
    faces: Vec<[u32; 3]>,
    watches: Vec<Watch>,
    /// Where nodes were when it was last looked for faces near cores; empty before.
    seen: Vec<Point>,
    /// How far each node is from there, mm.
    moved: Vec<f64>,
    /// mm.
    loose: f64,
    /// mm.
    longest: f64,
}

impl Crossed {
    pub fn new(faces: &[[u32; 3]], cores: &[Core], spacing: f64) -> Self {
        let unknown = |&core: &Core| Watch { core, near: Vec::new(), nearest: f64::INFINITY };
        Self {
            faces: faces.to_vec(),
            watches: cores.iter().map(unknown).collect(),
            loose: LOOSE * spacing,
            longest: LONGEST_PUSH * spacing,
            ..Self::default()
        }
    }

    /// What faces that cross cores ask of their nodes.
    pub fn ask(&mut self, x: &[Point], strides: &[Vector]) -> Vec<([u32; 3], Push)> {
        if self.watches.is_empty() {
            return Vec::new();
        }
        let moved =
            self.seen.par_iter().with_min_len(CHUNK).zip(x).map(|(from, to)| (to - from).norm());
        moved.collect_into_vec(&mut self.moved);
        let mut most = self.moved.iter().copied().fold(0.0, f64::max);
        if self.seen.len() != x.len() || most > self.loose {
            self.look_round(x);
            most = 0.0;
        }
        let (faces, moved, longest) = (&self.faces, &self.moved, self.longest);
        let asked: Vec<Vec<([u32; 3], Push)>> = self
            .watches
            .par_iter()
            .with_min_len(CHUNK)
            .filter(|watch| watch.nearest <= most)
            .map(|watch| watch.ask(faces, (moved, longest), x, strides))
            .collect();
        asked.into_iter().flatten().collect()
    }

    fn look_round(&mut self, x: &[Point]) {
        let faces = &self.faces;
        let corners = |face: u32| faces[face as usize].map(|n| x[n as usize]);
        let tree = boxes(faces, x);
        let loose = self.loose;
        self.watches.par_iter_mut().for_each(|watch| {
            let core = &watch.core;
            let around = around(core, loose);
            let found = tree
                .intersect_aabb(&around)
                .map(|face| (face, reach(core, &corners(face)).norm() - core.radius));
            watch.near = found.filter(|(_, away)| *away <= loose).collect();
            watch.nearest = watch.near.iter().map(|(_, away)| *away).fold(f64::INFINITY, f64::min);
        });
        self.seen.clear();
        self.seen.extend_from_slice(x);
        self.moved.clear();
        self.moved.resize(x.len(), 0.0);
    }
}

impl Watch {
    fn ask(
        &self,
        faces: &[[u32; 3]],
        (moved, longest): (&[f64], f64),
        x: &[Point],
        strides: &[Vector],
    ) -> Vec<([u32; 3], Push)> {
        let one = |&(face, away): &(u32, f64)| {
            let nodes = faces[face as usize];
            if nodes.iter().all(|&n| moved[n as usize] < away) {
                return None;
            }
            let corners = nodes.map(|n| x[n as usize]);
            let (depth, inward) = entered(&self.core, &corners)?;
            let stride: Vector = nodes.iter().map(|&n| strides[n as usize]).sum();
            let forth = stride.dot(&inward).max(0.0) / 3.0;
            Some((
                nodes,
                Push { out: inward * -(PUSH * depth).min(longest), stop: inward * -forth },
            ))
        };
        self.near.iter().filter_map(one).collect()
    }
}

/// How deep a face is in a core, mm, and the way in: to the core's middle, or, where the middle is in the rubber
/// already, the face's normal.
fn entered(core: &Core, corners: &[Point; 3]) -> Option<(f64, Vector)> {
    let to = reach(core, corners);
    let away = to.norm();
    if away >= core.radius {
        return None;
    }
    let [a, b, c] = corners;
    let normal = (b - a).cross(&(c - a)).try_normalize(0.0)?;
    let out = to.dot(&normal);
    if out >= 0.0 {
        return Some((core.radius - away, to.try_normalize(1e-9).unwrap_or(normal)));
    }
    // Behind the edge of a face it is another face that the middle is in the rubber of.
    (-out >= 0.999 * away).then_some((core.radius + away, normal))
}

/// The way from the nearest point of a face to a core's middle, mm.
fn reach(core: &Core, corners: &[Point; 3]) -> Vector {
    let [a, b, c] = corners.map(|p| to_glam(&p.coords));
    let middle = to_glam(&core.middle.coords);
    core.middle - to_point(Triangle::new(a, b, c).project_local_point(middle, true).point)
}

fn boxes(faces: &[[u32; 3]], x: &[Point]) -> Bvh {
    let boxed = |face: &[u32; 3]| Aabb::from_points(face.map(|n| to_glam(&x[n as usize].coords)));
    Bvh::from_iter(BvhBuildStrategy::Binned, faces.iter().map(boxed).enumerate())
}

fn around(core: &Core, loose: f64) -> Aabb {
    let middle = to_glam(&core.middle.coords);
    Aabb::new(middle, middle).loosened(core.radius + loose)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Long enough that a push of 2 mm is no long way.
    const SPACING: f64 = 10.0;

    /// A core of radius 2 mm at the origin, and a level face whose rubber is below (`true`) or above.
    fn asked(z: f64, is_below: bool, stride: f64) -> Vec<([u32; 3], Push)> {
        let core = Core { middle: Point::origin(), radius: 2.0 };
        let x = [[-9.0, -9.0], [9.0, -9.0], [0.0, 9.0]].map(|[x, y]| Point::new(x, y, z));
        let face = if is_below { [0, 1, 2] } else { [0, 2, 1] };
        let strides = vec![Vector::z() * stride; x.len()];
        // It does not matter where it was first looked at, far off or near.
        let mut crossed = Crossed::new(&[face], &[core], SPACING);
        let away = x.map(|p| p + Vector::new(0.9, 0.0, 0.0));
        crossed.ask(&away, &strides);
        crossed.ask(&x, &strides)
    }

    #[test]
    fn a_face_goes_back_to_where_its_rubber_is() {
        // Half of the depth of 1 mm, and all of the stride.
        let from_below = asked(-1.0, true, 0.5);
        assert_eq!(from_below.len(), 1);
        assert!((from_below[0].1.out - Vector::z() * -0.5).norm() < 1e-9);
        assert!((from_below[0].1.stop - Vector::z() * -0.5).norm() < 1e-9);
        let from_above = asked(1.0, false, 0.5);
        assert!((from_above[0].1.out - Vector::z() * 0.5).norm() < 1e-9);
        assert_eq!(from_above[0].1.stop, Vector::zeros(), "it goes the right way");
    }

    #[test]
    fn a_face_that_is_past_the_middle_goes_all_the_way_back() {
        let past = asked(1.0, true, 0.0);
        assert!((past[0].1.out - Vector::z() * -1.5).norm() < 1e-9, "{:?}", past[0].1.out);
    }

    #[test]
    fn no_face_is_moved_far_at_once() {
        let core = Core { middle: Point::origin(), radius: 8.0 };
        let x = [[-9.0, -9.0], [9.0, -9.0], [0.0, 9.0]].map(|[x, y]| Point::new(x, y, 6.0));
        let asked = Crossed::new(&[[0, 1, 2]], &[core], 5.0).ask(&x, &[Vector::zeros(); 3]);
        assert!((asked[0].1.out - Vector::z() * -1.0).norm() < 1e-9, "{:?}", asked[0].1.out);
    }

    #[test]
    fn faces_beside_a_core_are_asked_nothing() {
        assert!(asked(-2.1, true, 0.0).is_empty());
    }
}
