//! The inmost parts of the model, where rubber must never be.
//!
//! At points all over the model's surface lie the largest balls within the model that touch it there. Half as large a ball
//! with the same middle is a *core*, if the model is as thin there as the ball is, not only near an edge. Rubber
//! round the model may have its flat faces in what is nearer to the surface, never in a core: so cores tell
//! whether a limb or a spike went through rubber whose elements there are larger than it. Edges have none, however sharp:
//! a face that lies across one always cuts it off, and pushed away from there it would take its nodes along
//! the model's sides, past all friction.

use std::collections::HashSet;

use parry3d_f64::bounding_volume::{Aabb, BoundingVolume};
use parry3d_f64::partitioning::{Bvh, BvhBuildStrategy};
use parry3d_f64::query::PointQuery;
use parry3d_f64::shape::Tetrahedron;
use rayon::prelude::*;

use super::detail::LIFT;
use super::solid::{Solid, longest_edge};
use crate::mesh::{FaceId, Point, SurfaceLocator, TriangleMesh, Vector, to_glam};

/// Radius of a core over that of the ball: flat faces of elements half as long as a rod is thick, as
/// [`Detail`](super::detail::Detail) wants them, dip a fifth of its radius deep.
const INMOST: f64 = 0.5;
/// The model is as thin as a ball where a line through the ball's middle leaves it on both sides before so many radii.
const THIN: f64 = 1.2;
/// Cosine of the most by which the sides that it leaves there may lean to each other, 20 degrees: more is an edge or a tip.
/// Knives are ground to as much (common practice, no source).
const SIDES: f64 = 0.94;
/// Distance between points on the surface over the diameter there: no face as large as a limb is thick slips between its
/// cores.
const DENSITY: f64 = 1.0;
/// Share of the longest edge between its nodes that a point of a face may lie deep in the model: more than nodes alone let faces
/// go into a ball of twice the elements' size, and less than half a limb as thick as the elements are long.
pub(super) const FREE_DEPTH: f64 = 0.4;
/// Rounds of shrinking a ball, and the share of its radius by which the surface may be in it.
const ROUNDS: usize = 20;
const WITHIN: f64 = 0.1;
/// Cores of parts thinner than this share of the spacing are left out: what is as small is the roughness of a scan.
const LEAST_THICKNESS: f64 = 0.4;

/// A ball deep in the model.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Core {
    pub middle: Point,
    /// mm.
    pub radius: f64,
}

/// Cores of a closed model in rubber at rest whose elements have the size `spacing`, mm, where they are finest: those that
/// elements do not reach into.
pub(super) fn cores_beside(
    surface: &SurfaceLocator,
    model: &TriangleMesh,
    rubber: &Solid,
    spacing: f64,
) -> Vec<Core> {
    let longest = |face: [u32; 3]| longest_edge(&face.map(|n| rubber.nodes[n as usize]));
    let dip = FREE_DEPTH * rubber.surface().into_iter().map(longest).fold(0.0, f64::max);
    free_of(&cores(surface, model, spacing, dip), rubber)
}

/// Those of some cores that rubber at rest does not reach into. Cuts move its nodes, and what is in a core from the start would be
/// pushed out of it on both sides of a cut.
pub(super) fn free_of(cores: &[Core], rubber: &Solid) -> Vec<Core> {
    let rubber = Rubber::new(&rubber.elements, &rubber.nodes);
    let is_free = |core: &&Core| !rubber.reaches(&core.middle, core.radius);
    cores.iter().filter(is_free).copied().collect()
}

/// Cores of a closed model for elements of the size `spacing`, mm, whose faces dip at most `dip` mm deep by themselves: only
/// what is so thin that this is too much. In the order of the model's faces.
pub(super) fn cores(
    surface: &SurfaceLocator,
    model: &TriangleMesh,
    spacing: f64,
    dip: f64,
) -> Vec<Core> {
    let (span, lift) = (model.span(), LIFT * model.span());
    let (least, most) = (LEAST_THICKNESS * spacing, (2.0 * dip / (1.0 - INMOST)).min(span));
    let of_faces: Vec<Vec<(Core, Place)>> = (0..model.faces.len() as u32)
        .into_par_iter()
        .map(|face| {
            let normal = surface.normal(FaceId(face));
            if normal == Vector::zeros() {
                return Vec::new();
            }
            let mut found = Vec::new();
            let mut parts = vec![model.corners(FaceId(face))];
            while let Some(corners) = parts.pop() {
                let [a, b, c] = corners;
                let from = Point::from((a.coords + b.coords + c.coords) / 3.0);
                let Ball { middle, radius, other } = ball(surface, &from, &normal, lift, most);
                let apart = DENSITY * 2.0 * radius.max(0.5 * least);
                let (length, halves) = halved(corners);
                if length > apart {
                    parts.extend(halves);
                } else if (least..most).contains(&(2.0 * radius))
                    && is_thin(surface, &middle, radius, [normal, other])
                {
                    let core = Core { middle, radius: INMOST * radius };
                    found.push((core, Place::of(&from, &normal, apart)));
                }
            }
            found
        })
        .collect();
    let mut taken = HashSet::new();
    let first = |(_, place): &(Core, Place)| taken.insert(*place);
    of_faces.into_iter().flatten().filter(first).map(|(core, _)| core).collect()
}

/// A ball within the model.
struct Ball {
    middle: Point,
    radius: f64,
    /// The direction in which it touches the surface a second time.
    other: Vector,
}

/// The largest ball within the model that touches its surface at a point with this normal, by shrinking one until the
/// surface is nowhere in it (Ma, Bae & Choi 2012, "3D medial axis point approximation using nearest neighbors and the
/// normal field", The Visual Computer 28:7; from memory). No larger than `most` across; rays start `lift` off the surface.
fn ball(surface: &SurfaceLocator, at: &Point, normal: &Vector, lift: f64, most: f64) -> Ball {
    let through = surface.ray(&(at - normal * lift), &-normal, most);
    let mut radius = 0.5 * through.map_or(most, |hit| hit.distance);
    let mut other = -normal;
    for _ in 0..ROUNDS {
        let middle = at - normal * radius;
        let within = (1.0 - WITHIN) * radius;
        let Some(hit) = surface.closest_within(&middle, within) else { break };
        let way = at - hit.point;
        let along = way.dot(normal);
        if along <= 0.0 {
            break;
        }
        radius = radius.min(way.norm_squared() / (2.0 * along));
        let towards = hit.point - (at - normal * radius);
        other = towards.try_normalize(0.0).unwrap_or(other);
    }
    Ball { middle: at - normal * radius, radius, other }
}

/// Whether a line through a ball's middle, along one of the ways to where it touches or along both, leaves the model
/// soon on either side, and the two sides are not those of an edge.
fn is_thin(surface: &SurfaceLocator, middle: &Point, radius: f64, touches: [Vector; 2]) -> bool {
    let [one, other] = touches;
    let side = |along: &Vector| surface.ray(middle, along, THIN * radius).map(|hit| hit.normal);
    let is_between_sides = |way: Vector| {
        side(&way).zip(side(&-way)).is_some_and(|(near, far)| near.dot(&far) <= -SIDES)
    };
    let across = (one - other).try_normalize(1e-6);
    [Some(one), Some(other), across].into_iter().flatten().any(is_between_sides)
}

/// The longest edge of a triangle, and its two halves on either side of that edge's middle.
fn halved(corners: [Point; 3]) -> (f64, [[Point; 3]; 2]) {
    let length = |k: usize| (corners[(k + 1) % 3] - corners[k]).norm();
    let longest = (1..3).fold(0, |best, k| if length(k) > length(best) { k } else { best });
    let [a, b, c] = [0, 1, 2].map(|k| corners[(longest + k) % 3]);
    let middle = nalgebra::center(&a, &b);
    (length(longest), [[a, middle, c], [middle, b, c]])
}

/// A cell of the surface: one core is enough for each. Cells are larger where the model is thicker, and tell sides that face
/// different ways apart.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
struct Place {
    octave: i32,
    cell: [i64; 3],
    faces: [bool; 3],
}

impl Place {
    fn of(at: &Point, normal: &Vector, apart: f64) -> Self {
        let octave = apart.log2().floor() as i32;
        let size = f64::from(octave).exp2();
        let cell = [at.x, at.y, at.z].map(|c| (c / size).floor() as i64);
        Self { octave, cell, faces: [normal.x, normal.y, normal.z].map(|c| c > 0.0) }
    }
}

/// Rubber that can be asked what is in it.
struct Rubber<'a> {
    elements: &'a [[u32; 4]],
    x: &'a [Point],
    tree: Bvh,
}

impl<'a> Rubber<'a> {
    fn new(elements: &'a [[u32; 4]], x: &'a [Point]) -> Self {
        let corners = |nodes: &[u32; 4]| nodes.map(|n| to_glam(&x[n as usize].coords));
        let boxes = elements.iter().map(|nodes| Aabb::from_points(corners(nodes)));
        Self { elements, x, tree: Bvh::from_iter(BvhBuildStrategy::Binned, boxes.enumerate()) }
    }

    /// Whether it reaches within `radius` mm of a point, or holds it.
    fn reaches(&self, point: &Point, radius: f64) -> bool {
        let at = to_glam(&point.coords);
        let is_near = |element: u32| {
            let nodes = self.elements[element as usize];
            let [a, b, c, d] = nodes.map(|n| to_glam(&self.x[n as usize].coords));
            Tetrahedron::new(a, b, c, d).distance_to_local_point(at, true) <= radius
        };
        self.tree.intersect_aabb(&Aabb::new(at, at).loosened(radius)).any(is_near)
    }
}

/// How many cores have their middles in rubber whose nodes are at `x`.
pub(super) fn pierced(cores: &[Core], elements: &[[u32; 4]], x: &[Point]) -> usize {
    if cores.is_empty() {
        return 0;
    }
    let rubber = Rubber::new(elements, x);
    cores.par_iter().filter(|core| rubber.reaches(&core.middle, 0.0)).count()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trial::solid::Skin;
    use crate::trial::tests::shapes::revolved;

    const SPACING: f64 = 3.0;

    fn of_rod(rings: u32, around: u32, spacing: f64, dip: f64) -> Vec<Core> {
        let profile: Vec<[f64; 2]> =
            (0..=rings).map(|k| [2.0, 30.0 * f64::from(k) / f64::from(rings)]).collect();
        let rod = revolved(&profile, around);
        cores(&SurfaceLocator::new(&rod).expect("a surface"), &rod, spacing, dip)
    }

    /// The largest balls in a cylinder have its radius and their middles on its axis: exact, but for the flat faces and the share by
    /// which a ball may be too large.
    #[test]
    fn cores_of_a_rod_lie_on_its_axis() {
        let all = of_rod(1, 48, SPACING, f64::INFINITY);
        let inner: Vec<&Core> = all.iter().filter(|c| (4.0..26.0).contains(&c.middle.z)).collect();
        for core in &inner {
            assert!(core.middle.x.hypot(core.middle.y) < 0.2, "{core:?}");
            assert!((core.radius - 1.0).abs() < 0.1, "{core:?}");
        }
        // No stretch as long as the rod is thick is without.
        for k in 1..6 {
            let reach = 4.0 * f64::from(k)..4.0 * f64::from(k + 1);
            assert!(inner.iter().any(|c| reach.contains(&c.middle.z)), "{reach:?}");
        }
    }

    /// A ball that touches the flat end of a rod has others beside it, one on a cube's face near an edge has none.
    #[test]
    fn ends_of_limbs_have_cores_and_edges_have_none() {
        let all = of_rod(1, 48, SPACING, f64::INFINITY);
        assert!(all.iter().any(|c| c.middle.z > 27.5), "{all:?}");
        let cube = crate::mesh::fixtures::cuboid([20.0; 3]);
        let surface = SurfaceLocator::new(&cube).expect("a surface");
        assert_eq!(cores(&surface, &cube, SPACING, 4.0), []);
        let of_tip = |degrees: f64| {
            let wide = 30.0 * (0.5 * degrees).to_radians().tan();
            let tip = revolved(&[[wide, 0.0], [0.01, 30.0]], 48);
            cores(&SurfaceLocator::new(&tip).expect("a surface"), &tip, SPACING, f64::INFINITY)
        };
        assert_eq!(of_tip(30.0), []);
        assert!(!of_tip(10.0).is_empty());
    }

    #[test]
    fn finer_faces_make_no_more_of_them() {
        let [coarse, fine] = [(1, 24), (60, 96)]
            .map(|(rings, around)| of_rod(rings, around, SPACING, f64::INFINITY).len());
        assert!(fine < 2 * coarse && coarse < 2 * fine, "{coarse} {fine}");
    }

    /// What is so thick that nodes feel it, and what is as thin as the roughness of a scan.
    #[test]
    fn what_is_thick_or_next_to_nothing_has_none() {
        assert!(of_rod(1, 48, SPACING, 0.2).is_empty());
        assert!(of_rod(1, 48, 20.0, f64::INFINITY).is_empty());
    }

    #[test]
    fn cores_whose_middle_is_in_rubber_are_counted() {
        let x = [[0.0; 3], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]].map(Point::from);
        let [within, beside] =
            [[0.2; 3], [0.4; 3]].map(|p| Core { middle: Point::from(p), radius: 0.1 });
        assert_eq!(pierced(&[within, beside], &[[0, 1, 2, 3]], &x), 1);
        assert_eq!(pierced(&[beside], &[[0, 1, 2, 3]], &x), 0);
        assert_eq!(pierced(&[within], &[], &[]), 0);
    }

    /// The face across lies at a distance of 0.2 / sqrt(3) from the point beside it.
    #[test]
    fn rubber_reaches_into_a_ball_that_a_face_or_a_whole_element_is_in() {
        let x = [[0.0; 3], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]].map(Point::from);
        let rubber = Rubber::new(&[[0, 1, 2, 3]], &x);
        let beside = Point::new(0.4, 0.4, 0.4);
        assert!(rubber.reaches(&beside, 0.12) && !rubber.reaches(&beside, 0.11));
        assert!(rubber.reaches(&Point::new(0.2, 0.2, 0.2), 1e-3));
        assert!(rubber.reaches(&Point::new(-5.0, -5.0, -5.0), 20.0));
        let one =
            Solid { nodes: x.to_vec(), skins: vec![Skin::None; 4], elements: vec![[0, 1, 2, 3]] };
        let cores = [0.11, 0.12].map(|radius| Core { middle: beside, radius });
        assert_eq!(free_of(&cores, &one), cores[..1]);
    }
}
