//! Sharp edges that remeshing must not round off.

use std::collections::{BTreeMap, HashSet};

use parry3d_f64::math::Vector as GlamVector;
use parry3d_f64::query::PointQuery;
use parry3d_f64::shape::Polyline;

use super::super::{Point, Topology, TriangleMesh, VertexId};

/// Faces that turn by more than this at their edge make a crease (degrees).
const SHARP_DEGREES: f64 = 50.0;
/// A crease that turns by more than this has a corner there (degrees).
const CORNER_DEGREES: f64 = 50.0;

/// Which edges are creases, and which of their vertices must stay where they are. Follows the
/// edits of the mesh.
pub(super) struct Creases {
    edges: HashSet<[u32; 2]>,
    neighbours: Vec<Vec<u32>>,
    corner: Vec<bool>,
    lines: Option<Polyline>,
}

fn key(a: u32, b: u32) -> [u32; 2] {
    [a.min(b), a.max(b)]
}

impl Creases {
    /// Find the creases of a mesh. Groups of sharp edges shorter together than two target
    /// lengths are roughness of a scan, not creases.
    pub fn find(mesh: &TriangleMesh, topology: &Topology, target: f64) -> Self {
        let limit = SHARP_DEGREES.to_radians().cos();
        let mut neighbours: Vec<Vec<u32>> = vec![Vec::new(); mesh.positions.len()];
        for edge in 0..topology.edge_count() {
            let [f, g] = topology.edge_faces[edge].map(super::super::FaceId);
            let (n, m) = (mesh.area_vector(f), mesh.area_vector(g));
            let scale = n.norm() * m.norm();
            // A sliver's normal says nothing.
            let [a, b] = topology.edge_vertices[edge];
            let square = (mesh.positions[a as usize] - mesh.positions[b as usize]).norm_squared();
            if n.norm().min(m.norm()) < 1e-3 * square || n.dot(&m) >= limit * scale {
                continue;
            }
            neighbours[a as usize].push(b);
            neighbours[b as usize].push(a);
        }
        drop_short_groups(mesh, &mut neighbours, 2.0 * target);
        let mut edges = HashSet::new();
        let mut segments = Vec::new();
        for (v, list) in neighbours.iter().enumerate() {
            for &u in list {
                if (v as u32) < u {
                    edges.insert([v as u32, u]);
                    segments.push([v as u32, u]);
                }
            }
        }
        let lines = (!segments.is_empty()).then(|| {
            let points =
                mesh.positions.iter().map(|p| GlamVector::new(p.x, p.y, p.z)).collect::<Vec<_>>();
            Polyline::new(points, Some(segments))
        });
        let corner = find_corners(mesh, &neighbours, 0.6 * target);
        Self { edges, neighbours, corner, lines }
    }

    pub fn is_crease(&self, a: u32, b: u32) -> bool {
        self.edges.contains(&key(a, b))
    }

    /// On a crease, corner or not.
    pub fn touches(&self, vertex: u32) -> bool {
        !self.neighbours[vertex as usize].is_empty()
    }

    /// The vertices before and after along the crease, for a vertex that may slide along it.
    pub fn slide(&self, vertex: u32) -> Option<[u32; 2]> {
        match self.neighbours[vertex as usize][..] {
            [a, b] if !self.corner[vertex as usize] => Some([a, b]),
            _ => None,
        }
    }

    /// Nearest point of the original crease lines.
    pub fn nearest(&self, point: &Point) -> Option<Point> {
        let lines = self.lines.as_ref()?;
        let query = GlamVector::new(point.x, point.y, point.z);
        let hit = lines.project_local_point(query, false).point;
        Some(Point::new(hit.x, hit.y, hit.z))
    }

    /// Whether pulling `gone` onto `kept` keeps every crease: free vertices go anywhere, crease
    /// vertices along their crease only, corners nowhere. An edge that is `tiny` against the
    /// wanted length lets go of corners too: a tangle of creases below the resolution is thinned
    /// out along its own edges.
    pub fn may_collapse(&self, gone: u32, kept: u32, opposite: [u32; 2], tiny: bool) -> bool {
        if !self.touches(gone) {
            return true;
        }
        if !self.is_crease(gone, kept) {
            return false;
        }
        if tiny {
            return !self.corner[gone as usize] || self.corner[kept as usize];
        }
        let Some(ends) = self.slide(gone) else { return false };
        let far = if ends[0] == kept { ends[1] } else { ends[0] };
        !opposite.contains(&far) && !self.is_crease(far, kept)
    }

    /// Follow a collapse that [`Self::may_collapse`] allowed.
    pub fn collapse(&mut self, gone: u32, kept: u32) {
        for far in std::mem::take(&mut self.neighbours[gone as usize]) {
            self.edges.remove(&key(gone, far));
            self.neighbours[far as usize].retain(|&v| v != gone);
            if far != kept && self.edges.insert(key(far, kept)) {
                self.neighbours[far as usize].push(kept);
                self.neighbours[kept as usize].push(far);
            }
        }
        // What is left of a thinned tangle may end or fork here now.
        let list = &self.neighbours[kept as usize];
        if !list.is_empty() && list.len() != 2 {
            self.corner[kept as usize] = true;
        }
    }

    /// Follow a split of edge `a b` at the new vertex `middle`.
    pub fn split(&mut self, a: u32, b: u32, middle: u32) {
        self.neighbours.push(Vec::new());
        self.corner.push(false);
        debug_assert_eq!(self.neighbours.len(), middle as usize + 1);
        if self.edges.remove(&key(a, b)) {
            self.edges.insert(key(a, middle));
            self.edges.insert(key(middle, b));
            self.rename(a, b, middle);
            self.rename(b, a, middle);
            self.neighbours[middle as usize] = vec![a, b];
        }
    }

    fn rename(&mut self, vertex: u32, old: u32, new: u32) {
        for v in &mut self.neighbours[vertex as usize] {
            if *v == old {
                *v = new;
            }
        }
    }
}

/// Empty the lists of connected groups whose edges are shorter together than `least` mm.
fn drop_short_groups(mesh: &TriangleMesh, neighbours: &mut [Vec<u32>], least: f64) {
    let mut seen = vec![false; neighbours.len()];
    for seed in 0..neighbours.len() {
        if seen[seed] || neighbours[seed].is_empty() {
            continue;
        }
        seen[seed] = true;
        let mut group = vec![seed];
        let mut length = 0.0;
        let mut next = 0;
        while next < group.len() {
            let v = group[next];
            next += 1;
            for &u in &neighbours[v] {
                // Each edge is met from both ends.
                length += 0.5 * (mesh.positions[u as usize] - mesh.positions[v]).norm();
                if !seen[u as usize] {
                    seen[u as usize] = true;
                    group.push(u as usize);
                }
            }
        }
        if length < least {
            for v in group {
                neighbours[v].clear();
            }
        }
    }
}

/// Ends and forks of creases, and the sharpest places where a crease turns. The turn is measured
/// over `window` mm either way, so that the zig-zag of a fine mesh is not a row of corners.
fn find_corners(mesh: &TriangleMesh, neighbours: &[Vec<u32>], window: f64) -> Vec<bool> {
    let mut corner: Vec<bool> =
        neighbours.iter().map(|list| !list.is_empty() && list.len() != 2).collect();
    let limit = CORNER_DEGREES.to_radians().cos();
    let mut turns: Vec<(f64, u32)> = Vec::new();
    let mut reach: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
    for v in 0..neighbours.len() {
        let [a, b] = neighbours[v][..] else { continue };
        let back = walk(mesh, neighbours, VertexId(v as u32), a, window);
        let ahead = walk(mesh, neighbours, VertexId(v as u32), b, window);
        let (Some(first), Some(last)) = (back.last(), ahead.last()) else { continue };
        let here = mesh.positions[v];
        let arriving = here - mesh.positions[*first as usize];
        let leaving = mesh.positions[*last as usize] - here;
        let scale = arriving.norm() * leaving.norm();
        if scale == 0.0 || arriving.dot(&leaving) < limit * scale {
            let cosine = if scale == 0.0 { -1.0 } else { arriving.dot(&leaving) / scale };
            turns.push((cosine, v as u32));
            reach.insert(v as u32, back.into_iter().chain(ahead).collect());
        }
    }
    turns.sort_by(|x, y| x.0.total_cmp(&y.0).then(x.1.cmp(&y.1)));
    let mut beside = vec![false; neighbours.len()];
    for (_, v) in turns {
        if !beside[v as usize] {
            corner[v as usize] = true;
            for &u in &reach[&v] {
                beside[u as usize] = true;
            }
        }
    }
    corner
}

/// Vertices along a crease from `from` by way of `via`, until `window` mm are walked or the
/// crease ends or forks.
fn walk(
    mesh: &TriangleMesh,
    neighbours: &[Vec<u32>],
    from: VertexId,
    via: u32,
    window: f64,
) -> Vec<u32> {
    let (mut before, mut here) = (from.0, via);
    let mut walked = 0.0;
    let mut path = Vec::new();
    loop {
        walked += (mesh.positions[here as usize] - mesh.positions[before as usize]).norm();
        path.push(here);
        if walked >= window || here == from.0 {
            return path;
        }
        let [a, b] = neighbours[here as usize][..] else { return path };
        (before, here) = (here, if a == before { b } else { a });
    }
}
