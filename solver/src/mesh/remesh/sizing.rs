//! How long an edge may be where.
//!
//! A thin rod, and a thin neck of rubber through a hole, keep at least about six vertices round
//! their section. Flat, wide parts keep the target length however thin they are: their front and
//! back meet at the rim only, and no section is at risk there.

use std::cmp::Reverse;
use std::collections::{BinaryHeap, HashMap};

use rayon::prelude::*;

use super::super::project::SurfaceLocator;
use super::super::{FaceId, Point, TriangleMesh, Vector};

/// The shortest local edge length, as a share of the target.
pub(super) const LEAST_SHARE: f64 = 0.35;
/// Vertices that a section must keep.
const SECTION_VERTICES: f64 = 6.5;
/// How fast the edge length may grow with distance along the surface, mm per mm.
const GRADATION: f64 = 0.4;

/// Edge length wanted at every vertex, mm.
pub(super) fn vertex_sizes(mesh: &TriangleMesh, locator: &SurfaceLocator, target: f64) -> Vec<f64> {
    // Faces much smaller than the shortest edge tell the same as their neighbours: one speaks for
    // all that lie in its cell and face the same way.
    let cell = LEAST_SHARE * target;
    let mut speakers: Vec<u32> = Vec::new();
    let mut known: HashMap<[i64; 4], u32> = HashMap::new();
    let spoken: Vec<u32> = (0..mesh.faces.len() as u32)
        .map(|f| {
            let centre = mesh.face_middle(FaceId(f)) / cell;
            let [x, y, z] = [centre.x, centre.y, centre.z].map(|x| x.floor() as i64);
            let way = facing(&mesh.area_vector(FaceId(f)));
            *known.entry([x, y, z, way]).or_insert_with(|| {
                speakers.push(f);
                speakers.len() as u32 - 1
            })
        })
        .collect();
    let said: Vec<f64> = speakers
        .par_iter()
        .map(|&f| {
            let normal = locator.normal(FaceId(f));
            if normal == Vector::zeros() {
                return target;
            }
            let centre = mesh.face_middle(FaceId(f));
            let inside = section_size(locator, &centre, &-normal, target);
            let outside = section_size(locator, &centre, &normal, target);
            inside.min(outside)
        })
        .collect();
    let mut sizes = vec![target; mesh.positions.len()];
    for (face, speaker) in mesh.faces.iter().zip(&spoken) {
        for &v in face {
            sizes[v as usize] = sizes[v as usize].min(said[*speaker as usize]);
        }
    }
    limit_growth(mesh, &mut sizes);
    sizes
}

/// Which of the six axis directions a vector is nearest to.
fn facing(v: &Vector) -> i64 {
    let axis = v.iamax();
    2 * axis as i64 + i64::from(v[axis] < 0.0)
}

/// Edge length that puts [`SECTION_VERTICES`] round the section between a point of the surface
/// and the surface across from it along `direction`. The section is taken for an ellipse whose
/// axes are the way across and the least width at right angles to it, half way.
fn section_size(locator: &SurfaceLocator, start: &Point, direction: &Vector, target: f64) -> f64 {
    // Perimeter of an ellipse with axes t and w is close to pi (t + w) / 2 for similar axes.
    let longest = SECTION_VERTICES * target * 2.0 / std::f64::consts::PI;
    let lift = 1e-6 * target;
    let Some(across) = locator.ray(&(start + direction * lift), direction, longest) else {
        return target;
    };
    // A wall met edge-on is a corner, not the far side of a section.
    if across.normal.dot(direction).abs() < 0.2 {
        return target;
    }
    let middle = start + direction * (0.5 * across.distance);
    let left = longest - across.distance;
    let side = direction.cross(&least_aligned_axis(direction)).normalize();
    let other = direction.cross(&side);
    let mut width = f64::INFINITY;
    for k in 0..4 {
        let angle = std::f64::consts::FRAC_PI_4 * f64::from(k);
        let axis = side * angle.cos() + other * angle.sin();
        let Some(ahead) = locator.ray(&middle, &axis, left) else { continue };
        let Some(behind) = locator.ray(&middle, &-axis, left - ahead.distance) else { continue };
        width = width.min(ahead.distance + behind.distance);
    }
    if !width.is_finite() {
        return target;
    }
    let perimeter = std::f64::consts::FRAC_PI_2 * (across.distance + width);
    (perimeter / SECTION_VERTICES).clamp(LEAST_SHARE * target, target)
}

fn least_aligned_axis(v: &Vector) -> Vector {
    let size = v.abs();
    if size.x <= size.y && size.x <= size.z {
        Vector::x()
    } else if size.y <= size.z {
        Vector::y()
    } else {
        Vector::z()
    }
}

/// Lower sizes until neighbours differ by no more than [`GRADATION`] times their distance:
/// shortest paths from the small ones outward.
fn limit_growth(mesh: &TriangleMesh, sizes: &mut [f64]) {
    let mut start = vec![0u32; mesh.positions.len() + 1];
    for face in &mesh.faces {
        for &v in face {
            start[v as usize + 1] += 1;
        }
    }
    for v in 0..mesh.positions.len() {
        start[v + 1] += start[v];
    }
    let mut fill = start.clone();
    let mut next = vec![0u32; mesh.faces.len() * 3];
    for face in &mesh.faces {
        for k in 0..3 {
            let v = face[k] as usize;
            next[fill[v] as usize] = face[(k + 1) % 3];
            fill[v] += 1;
        }
    }
    // Positive finite numbers order like their bits.
    let mut heap: BinaryHeap<Reverse<(u64, u32)>> =
        sizes.iter().enumerate().map(|(v, s)| Reverse((s.to_bits(), v as u32))).collect();
    while let Some(Reverse((bits, v))) = heap.pop() {
        let size = f64::from_bits(bits);
        if size > sizes[v as usize] {
            continue;
        }
        for &u in &next[start[v as usize] as usize..start[v as usize + 1] as usize] {
            let distance = (mesh.positions[u as usize] - mesh.positions[v as usize]).norm();
            let bound = size + GRADATION * distance;
            if bound < sizes[u as usize] {
                sizes[u as usize] = bound;
                heap.push(Reverse((bound.to_bits(), u)));
            }
        }
    }
}
