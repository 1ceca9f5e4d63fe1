//! The facets of a convex hull: triangles of one plane taken together, each with the share of all directions that it
//! takes up seen from the centre of mass.

use std::collections::HashMap;

use crate::mesh::{
    FaceId, Point, TriangleMesh, Vector, convex_half, solid_angle_share, square_to, turn,
};

/// Triangles whose corners lie this near to the plane of a larger one belong to its facet, as a share of the span: some
/// times what single precision in a file leaves of a flat face. No source.
const ONE_PLANE: f64 = 1e-5;

/// Twice the area of a sliver, as a share of the span squared: its normal is noise. No source.
const NO_AREA: f64 = 1e-13;

/// A facet of a convex hull.
#[derive(Clone, Debug)]
pub(super) struct Facet {
    /// Unit normal, outward.
    pub normal: Vector,
    /// Share of all directions from the centre of mass that meet it.
    pub share: f64,
    /// Height of the centre of mass above it, mm.
    pub height: f64,
    /// Sides as they run round it, each with the facet beyond.
    pub sides: Vec<Side>,
    /// Corners of its outline, counter-clockwise seen from outside; none lies on a straight line between its
    /// neighbours.
    pub outline: Vec<Point>,
    /// Middle of its area.
    pub middle: Point,
    /// Its area, mm^2.
    pub area: f64,
}

/// A side of a facet, counter-clockwise seen from outside.
#[derive(Clone, Copy, Debug)]
pub(super) struct Side {
    pub from: Point,
    pub to: Point,
    /// The facet beyond.
    pub beyond: usize,
}

impl Facet {
    /// The point of its plane right below the centre of mass when the body rests on it.
    pub fn plumb(&self, centre: &Point) -> Point {
        centre + self.normal * self.height
    }

    /// Distance of that point from the nearest side, mm: negative where it lies outside, from the side that it is
    /// farthest beyond.
    pub fn margin(&self, centre: &Point) -> f64 {
        margin(&self.outline, &self.normal, &self.plumb(centre))
    }
}

/// Least distance, mm, of a point from the sides of a convex polygon that runs counter-clockwise about `normal`,
/// positive within.
pub(super) fn margin(outline: &[Point], normal: &Vector, at: &Point) -> f64 {
    let sides = (0..outline.len()).map(|k| (outline[k], outline[(k + 1) % outline.len()]));
    let distance = |(a, b): (Point, Point)| -> f64 {
        let inward = normal.cross(&(b - a));
        (at - a).dot(&inward) / inward.norm().max(1e-300)
    };
    sides.map(distance).fold(f64::INFINITY, f64::min)
}

/// The facets of a convex hull of so much `span`.
pub(super) fn facets(hull: &TriangleMesh, centre: &Point, span: f64) -> Vec<Facet> {
    let count = hull.faces.len();
    let mut across: HashMap<[u32; 2], usize> = HashMap::with_capacity(3 * count);
    for (f, face) in hull.faces.iter().enumerate() {
        for k in 0..3 {
            across.insert([face[k], face[(k + 1) % 3]], f);
        }
    }
    let areas: Vec<f64> = (0..count as u32).map(|f| hull.face_area(FaceId(f))).collect();
    let mut order: Vec<usize> = (0..count).collect();
    order.sort_by(|&a, &b| areas[b].total_cmp(&areas[a]).then(a.cmp(&b)));
    let tolerance = ONE_PLANE * span;
    let mut facet_of = vec![usize::MAX; count];
    let mut members: Vec<Vec<usize>> = Vec::new();
    for seed in order {
        // What has no area has no plane of its own.
        let normal = hull.area_vector(FaceId(seed as u32)).try_normalize(NO_AREA * span * span);
        let Some(normal) = normal.filter(|_| facet_of[seed] == usize::MAX) else { continue };
        let own = members.len();
        facet_of[seed] = own;
        let origin = hull.corners(FaceId(seed as u32))[0];
        let mut group = vec![seed];
        let mut at = 0;
        while at < group.len() {
            let face = hull.faces[group[at]];
            at += 1;
            for k in 0..3 {
                let Some(&other) = across.get(&[face[(k + 1) % 3], face[k]]) else { continue };
                let flat = |v: &u32| {
                    (hull.positions[*v as usize] - origin).dot(&normal).abs() <= tolerance
                };
                if facet_of[other] == usize::MAX && hull.faces[other].iter().all(flat) {
                    facet_of[other] = own;
                    group.push(other);
                }
            }
        }
        members.push(group);
    }
    // Slivers go with a neighbour: they have no share of the directions to speak of.
    let mut left: Vec<usize> = (0..count).filter(|&f| facet_of[f] == usize::MAX).collect();
    while !left.is_empty() {
        let before = left.len();
        left.retain(|&f| {
            let face = hull.faces[f];
            let beside = (0..3).filter_map(|k| across.get(&[face[(k + 1) % 3], face[k]]));
            let Some(&own) = beside.map(|g| &facet_of[*g]).find(|own| **own != usize::MAX) else {
                return true;
            };
            facet_of[f] = own;
            members[own].push(f);
            false
        });
        if left.len() == before {
            break;
        }
    }
    members.iter().map(|group| facet(hull, centre, group, &facet_of, &across, tolerance)).collect()
}

fn facet(
    hull: &TriangleMesh,
    centre: &Point,
    group: &[usize],
    facet_of: &[usize],
    across: &HashMap<[u32; 2], usize>,
    tolerance: f64,
) -> Facet {
    let own = facet_of[group[0]];
    let (mut normal, mut middle, mut area, mut share) =
        (Vector::zeros(), Vector::zeros(), 0.0, 0.0);
    let origin = hull.corners(FaceId(group[0] as u32))[0];
    let mut sides = Vec::new();
    let mut corners: Vec<u32> = Vec::new();
    for &f in group {
        let id = FaceId(f as u32);
        let face = hull.faces[f];
        let vector = hull.area_vector(id);
        normal += vector;
        area += 0.5 * vector.norm();
        middle += (hull.face_middle(id) - origin) * (0.5 * vector.norm());
        share += solid_angle_share(&hull.corners(id), centre);
        for k in 0..3 {
            let (a, b) = (face[k], face[(k + 1) % 3]);
            // A closed hull has a face on either side of each edge.
            let beyond = across.get(&[b, a]).map_or(own, |&other| facet_of[other]);
            if beyond != own {
                let [from, to] = [a, b].map(|v| hull.positions[v as usize]);
                sides.push(Side { from, to, beyond });
            }
        }
        corners.extend(face);
    }
    corners.sort_unstable();
    corners.dedup();
    let normal = normal.try_normalize(0.0).unwrap_or_default();
    let points: Vec<Point> = corners.iter().map(|&v| hull.positions[v as usize]).collect();
    let outline = convex_outline(&points, &normal, tolerance);
    let level = points.iter().map(|p| p.coords.dot(&normal)).fold(f64::NEG_INFINITY, f64::max);
    Facet {
        share,
        height: level - centre.coords.dot(&normal),
        sides,
        outline,
        middle: origin + middle / area.max(1e-300),
        area,
        normal,
    }
}

/// The convex outline of points seen against `normal`, counter-clockwise. Corners that stand out by no more than `tolerance` are
/// left out.
pub(super) fn convex_outline(points: &[Point], normal: &Vector, tolerance: f64) -> Vec<Point> {
    let side = square_to(normal);
    let other = normal.cross(&side);
    let mut flat: Vec<((f64, f64), Point)> =
        points.iter().map(|p| ((p.coords.dot(&side), p.coords.dot(&other)), *p)).collect();
    flat.sort_by(|(a, _), (b, _)| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let stands_out = |(a, _): ((f64, f64), Point), (b, _): (_, Point), (p, _): (_, Point)| {
        turn(a, b, p) > tolerance * (p.0 - a.0).hypot(p.1 - a.1)
    };
    let (mut lower, mut upper) = (Vec::new(), Vec::new());
    convex_half(flat.iter().copied(), stands_out, &mut lower);
    convex_half(flat.iter().rev().copied(), stands_out, &mut upper);
    // Each half ends where the other one begins.
    lower.pop();
    upper.pop();
    lower.into_iter().chain(upper).map(|(_, p)| p).collect()
}
