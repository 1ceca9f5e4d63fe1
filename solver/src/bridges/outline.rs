//! Outlines of the footprints on the board, and the parts of the board that they part.

use crate::mesh::{Point, Topology, TriangleMesh, Vector};

const NONE: u32 = u32::MAX;

/// Where the rubber's skin ends on the board: the outline of a footprint, or of a hole in one.
pub(super) struct Outline {
    /// Patch of the gate that it belongs to.
    pub patch: u32,
    /// Area of the polygon in the board's plane, mm^2, and its points there.
    pub area: f64,
    pub polygon: Vec<[f64; 2]>,
    /// Part of the board that it borders; 0 lies outside all footprints.
    pub region: u32,
}

/// All outlines, and for every edge that crosses one the number of that outline.
pub(super) fn outlines(
    mesh: &TriangleMesh,
    topology: &Topology,
    is_mixed: &impl Fn(usize) -> bool,
    on_gate: &[bool],
    (patch_of, patch_count): (&[u32], usize),
    board: (Point, Vector),
) -> (Vec<Outline>, Vec<u32>) {
    let mut outline_of = vec![NONE; topology.edge_count()];
    let walks = outline_walks(topology, is_mixed, &mut outline_of);
    let mut outlines: Vec<Outline> =
        walks.iter().map(|walk| outline(mesh, topology, walk, on_gate, patch_of, board)).collect();
    assign_regions(&mut outlines, patch_count);
    (outlines, outline_of)
}

/// The mixed edges of each outline in the order in which they are met going round it.
fn outline_walks(
    topology: &Topology,
    is_mixed: &impl Fn(usize) -> bool,
    outline_of: &mut [u32],
) -> Vec<Vec<u32>> {
    let mut walks = Vec::new();
    for first in 0..topology.edge_count() {
        if !is_mixed(first) || outline_of[first] != NONE {
            continue;
        }
        let number = walks.len() as u32;
        let mut walk = vec![first as u32];
        outline_of[first] = number;
        let mut edge = first;
        let mut face = topology.edge_faces[first][0] as usize;
        while let Some(next) = topology.face_edges[face]
            .iter()
            .map(|&e| e as usize)
            .find(|&e| e != edge && is_mixed(e))
        {
            if next == first {
                break;
            }
            outline_of[next] = number;
            walk.push(next as u32);
            let sides = topology.edge_faces[next];
            face = if sides[0] as usize == face { sides[1] } else { sides[0] } as usize;
            edge = next;
        }
        walks.push(walk);
    }
    walks
}

/// Two unit vectors that span the board's plane.
pub(super) fn plane_axes(up: Vector) -> (Vector, Vector) {
    let helper = if up.x.abs() < 0.6 { Vector::x() } else { Vector::y() };
    let x = up.cross(&helper).normalize();
    (x, up.cross(&x))
}

fn outline(
    mesh: &TriangleMesh,
    topology: &Topology,
    walk: &[u32],
    on_gate: &[bool],
    patch_of: &[u32],
    board: (Point, Vector),
) -> Outline {
    let (x, y) = plane_axes(board.1);
    let polygon: Vec<[f64; 2]> = walk
        .iter()
        .map(|&e| {
            let [a, b] = topology.edge_vertices[e as usize].map(|v| mesh.positions[v as usize]);
            let offset = nalgebra::center(&a, &b) - board.0;
            [offset.dot(&x), offset.dot(&y)]
        })
        .collect();
    let doubled: f64 = (0..polygon.len())
        .map(|i| {
            let (p, q) = (polygon[i], polygon[(i + 1) % polygon.len()]);
            p[0] * q[1] - p[1] * q[0]
        })
        .sum();
    let [a, b] = topology.edge_vertices[walk[0] as usize];
    let foot = if on_gate[a as usize] { a } else { b };
    Outline { patch: patch_of[foot as usize], area: 0.5 * doubled.abs(), polygon, region: 0 }
}

/// Number the parts of the board: 0 lies outside all footprints, each inner outline opens another.
fn assign_regions(outlines: &mut [Outline], patch_count: usize) {
    let mut outer = vec![usize::MAX; patch_count];
    for (index, outline) in outlines.iter().enumerate() {
        let slot = &mut outer[outline.patch as usize];
        if *slot == usize::MAX || outlines[*slot].area < outline.area {
            *slot = index;
        }
    }
    let mut next = 1;
    for (index, outline) in outlines.iter_mut().enumerate() {
        if outer[outline.patch as usize] != index {
            outline.region = next;
            next += 1;
        }
    }
    for &index in &outer {
        if index == usize::MAX {
            continue;
        }
        let point = outlines[index].polygon[0];
        let patch = outlines[index].patch;
        let around = outlines
            .iter()
            .filter(|o| o.region > 0 && o.patch != patch && inside(&o.polygon, point))
            .min_by(|a, b| a.area.total_cmp(&b.area));
        outlines[index].region = around.map_or(0, |o| o.region);
    }
}

/// Even-odd rule.
fn inside(polygon: &[[f64; 2]], point: [f64; 2]) -> bool {
    let mut odd = false;
    for i in 0..polygon.len() {
        let (p, q) = (polygon[i], polygon[(i + 1) % polygon.len()]);
        if (p[1] > point[1]) != (q[1] > point[1]) {
            let at = p[0] + (point[1] - p[1]) / (q[1] - p[1]) * (q[0] - p[0]);
            if at > point[0] {
                odd = !odd;
            }
        }
    }
    odd
}
