//! Shortest curve through a strip of faces, and strips that get shorter.
//!
//! A curve that runs through a sequence of faces, each sharing an edge with the next, is shortest
//! where it is straight in the faces unfolded flat: the funnel algorithm (Lee, D. T. and
//! Preparata, F. P. (1984), "Euclidean shortest paths in the presence of rectilinear barriers",
//! Networks 14) finds it. Where it bends round a vertex, the strip is led round the vertex's
//! other side if the surface has less than half a turn there; repeated until nothing gets
//! shorter, that gives a locally shortest curve on the mesh.

use super::{EdgeId, FaceId, Point, Topology, TriangleMesh, VertexId};

/// A point of a curve: where it is and on which face.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CurvePoint {
    /// Position, mm.
    pub point: Point,
    /// A face that holds it.
    pub face: u32,
    /// The mesh vertex it lies on, if it does.
    pub vertex: Option<u32>,
}

/// Length of a curve, mm.
pub fn curve_length(points: &[CurvePoint]) -> f64 {
    points.windows(2).map(|w| (w[1].point - w[0].point).norm()).sum()
}

/// A sequence of faces, each sharing an edge with the next, with a start and an end point.
#[derive(Clone, Debug)]
pub struct Strip<'a> {
    mesh: &'a TriangleMesh,
    topology: &'a Topology,
    faces: Vec<u32>,
    start: CurvePoint,
    end: CurvePoint,
    /// Vertices that the strip may not be led over, where some are held.
    held: Option<&'a [bool]>,
}

impl<'a> Strip<'a> {
    /// A strip over given faces.
    pub fn new(
        mesh: &'a TriangleMesh,
        topology: &'a Topology,
        faces: Vec<u32>,
        start: CurvePoint,
        end: CurvePoint,
    ) -> Self {
        let mut strip = Self { mesh, topology, faces, start, end, held: None };
        strip.tidy();
        strip
    }

    /// The same strip with some vertices held: it may touch them but not pass over them.
    pub fn holding(mut self, held: &'a [bool]) -> Self {
        self.held = Some(held);
        self
    }

    /// The locally shortest curve reached by leading the strip round vertices.
    pub fn straighten(self) -> Vec<CurvePoint> {
        self.straighten_with_faces().0
    }

    /// [`Strip::straighten`], and the faces of the strip that the curve ended up in.
    pub fn straighten_with_faces(mut self) -> (Vec<CurvePoint>, Vec<u32>) {
        let (mut points, mut length) = self.shortest();
        // Each change shortens the curve, so this ends; the bound is against rounding.
        'change: for _ in 0..4 * self.mesh.faces.len().max(1000) {
            for k in 1..points.len().saturating_sub(1) {
                let Some(vertex) = points[k].vertex else { continue };
                if self.held.is_some_and(|held| held[vertex as usize]) {
                    continue;
                }
                if let Some(changed) = self.round_the_other_side(vertex) {
                    let (other, other_length) = changed.shortest();
                    if other_length < length - 1e-9 * (1.0 + length) {
                        self = changed;
                        points = other;
                        length = other_length;
                        continue 'change;
                    }
                }
            }
            break;
        }
        (points, self.faces)
    }

    /// Remove faces walked into and out of by the same edge, and those at either end that the
    /// end point does not need.
    fn tidy(&mut self) {
        let mut faces: Vec<u32> = Vec::with_capacity(self.faces.len());
        for &face in &self.faces {
            if faces.last() == Some(&face) {
                continue;
            }
            // Back to a face visited before: what lies between is a loop to nowhere.
            if let Some(at) = faces.iter().position(|&f| f == face) {
                faces.truncate(at + 1);
            } else {
                faces.push(face);
            }
        }
        // Only the run at either end: a closed curve comes back to its start vertex.
        let holds = |f: &u32, v: u32| self.mesh.faces[*f as usize].contains(&v);
        if let Some(vertex) = self.start.vertex {
            let run = faces.iter().take_while(|f| holds(f, vertex)).count();
            faces.drain(..run.saturating_sub(1));
        }
        if let Some(vertex) = self.end.vertex {
            let run = faces.iter().rev().take_while(|f| holds(f, vertex)).count();
            faces.truncate(faces.len() - run.saturating_sub(1));
        }
        self.faces = faces;
    }

    fn shared_edge(&self, a: u32, b: u32) -> Option<u32> {
        self.topology.face_edges[a as usize]
            .iter()
            .copied()
            .find(|e| self.topology.face_edges[b as usize].contains(e))
    }

    /// The same strip led round the other side of a vertex it touches.
    fn round_the_other_side(&self, vertex: u32) -> Option<Self> {
        let touches = |&f: &u32| self.mesh.faces[f as usize].contains(&vertex);
        let first = self.faces.iter().position(touches)?;
        let last = first + self.faces[first..].iter().take_while(|f| touches(f)).count() - 1;
        if first == 0 && last + 1 == self.faces.len() && self.faces.len() < 2 {
            return None;
        }
        let ring = faces_round(self.topology, vertex);
        let at = |face: u32| ring.iter().position(|&f| f == face);
        let (from, to) = (at(self.faces[first])?, at(self.faces[last])?);
        let count = ring.len();
        let forward = last == first || ring[(from + 1) % count] == self.faces[first + 1];
        let mut other = Vec::new();
        let mut k = from;
        loop {
            other.push(ring[k]);
            if k == to && other.len() > 1 || from == to && other.len() == 1 {
                break;
            }
            k = if forward { (k + count - 1) % count } else { (k + 1) % count };
        }
        let mut faces = self.faces[..first].to_vec();
        faces.extend(other);
        faces.extend_from_slice(&self.faces[last + 1..]);
        let mut other = Self { faces, ..self.clone() };
        other.tidy();
        Some(other)
    }

    /// The shortest curve inside the strip, and its length.
    fn shortest(&self) -> (Vec<CurvePoint>, f64) {
        let portals = self.unfold();
        let corners = funnel(&portals);
        // Walk the portals once more to place the crossings.
        let mut points = vec![self.start];
        let mut length = 0.0;
        for pair in corners.windows(2) {
            let (from, to) = (&pair[0], &pair[1]);
            length += (to.flat.0 - from.flat.0).hypot(to.flat.1 - from.flat.1);
            let between = portals.iter().enumerate().take(to.portal).skip(from.portal + 1);
            for (portal, p) in between {
                let share = crossing(from.flat, to.flat, p.left, p.right);
                let [l, r] = p.ends.map(|v| self.mesh.positions[v as usize]);
                let vertex = if share < 1e-9 {
                    Some(p.ends[0])
                } else if share > 1.0 - 1e-9 {
                    Some(p.ends[1])
                } else {
                    None
                };
                if vertex.is_some() && points.last().is_some_and(|q| q.vertex == vertex) {
                    continue;
                }
                points.push(CurvePoint {
                    point: l + (r - l) * share,
                    face: self.faces[portal - 1],
                    vertex,
                });
            }
            if to.portal + 1 < portals.len() {
                let vertex = portals[to.portal].ends[usize::from(!to.left)];
                if points.last().is_none_or(|q| q.vertex != Some(vertex)) {
                    points.push(CurvePoint {
                        point: self.mesh.positions[vertex as usize],
                        face: self.faces[to.portal - 1],
                        vertex: Some(vertex),
                    });
                }
            }
        }
        points.push(self.end);
        (points, length)
    }

    /// Portals between faces, unfolded flat; the first and last are the end points.
    fn unfold(&self) -> Vec<Portal> {
        let mut portals = Vec::with_capacity(self.faces.len() + 1);
        let Some(&first) = self.faces.first() else { return portals };
        // Place the first face: corner 0 at the origin, corner 1 on the x axis.
        let corners = self.mesh.faces[first as usize];
        let p = corners.map(|v| self.mesh.positions[v as usize]);
        let along = (p[1] - p[0]).norm();
        let third =
            place((0.0, 0.0), (along, 0.0), (p[2] - p[0]).norm(), (p[2] - p[1]).norm(), 1.0);
        let mut flat = [(corners[0], (0.0, 0.0)), (corners[1], (along, 0.0)), (corners[2], third)];
        let start = self.flat_in(&flat, &self.start);
        portals.push(Portal { left: start, right: start, ends: [0, 0] });
        for pair in self.faces.windows(2) {
            let Some(edge) = self.shared_edge(pair[0], pair[1]) else { continue };
            let [a, b] = self.topology.edge_vertices[edge as usize];
            let find = |v: u32| flat.iter().find(|(w, _)| *w == v).map_or((0.0, 0.0), |(_, q)| *q);
            let (fa, fb) = (find(a), find(b));
            // Corners run counter-clockwise, so leaving across an edge (u, w) of the face, w lies
            // on the left and u on the right... seen along the walk, u is right and w is left.
            let face = self.mesh.faces[pair[0] as usize];
            let k = face.iter().position(|&v| v == a).unwrap_or(0);
            let a_then_b = face[(k + 1) % 3] == b;
            let (left, right, ends) = if a_then_b { (fb, fa, [b, a]) } else { (fa, fb, [a, b]) };
            portals.push(Portal { left, right, ends });
            let apex = self.topology.opposite_corner(self.mesh, EdgeId(edge), FaceId(pair[1])).0;
            let (pa, pb, pc) = (
                self.mesh.positions[a as usize],
                self.mesh.positions[b as usize],
                self.mesh.positions[apex as usize],
            );
            // The new corner lies across the edge from the face just left: on the side where
            // right -> left turns clockwise.
            let side = if a_then_b { -1.0 } else { 1.0 };
            let fc = place(fa, fb, (pc - pa).norm(), (pc - pb).norm(), side);
            flat = [(a, fa), (b, fb), (apex, fc)];
        }
        let end = self.flat_in(&flat, &self.end);
        portals.push(Portal { left: end, right: end, ends: [0, 0] });
        portals
    }

    fn flat_in(&self, flat: &[(u32, (f64, f64)); 3], at: &CurvePoint) -> (f64, f64) {
        if let Some(vertex) = at.vertex
            && let Some((_, q)) = flat.iter().find(|(v, _)| *v == vertex)
        {
            return *q;
        }
        let weights = barycentric(flat.map(|(v, _)| self.mesh.positions[v as usize]), &at.point);
        let mut q = (0.0, 0.0);
        for (w, (_, p)) in weights.iter().zip(flat) {
            q.0 += w * p.0;
            q.1 += w * p.1;
        }
        q
    }
}

/// Barycentric weights of a point in the plane of a triangle.
pub fn barycentric(corners: [Point; 3], p: &Point) -> [f64; 3] {
    let [a, b, c] = corners;
    let normal = (b - a).cross(&(c - a));
    let scale = normal.norm_squared().max(1e-300);
    let wa = (c - b).cross(&(p - b)).dot(&normal) / scale;
    let wb = (a - c).cross(&(p - c)).dot(&normal) / scale;
    [wa, wb, 1.0 - wa - wb]
}

/// Faces round a vertex, in cyclic order, each sharing an edge with the next.
pub fn faces_round(topology: &Topology, vertex: u32) -> Vec<u32> {
    let edges = topology.edges_of(VertexId(vertex));
    let Some(&edge) = edges.first() else { return Vec::new() };
    let first = topology.edge_faces[edge as usize][0];
    let mut ring = vec![first];
    let (mut face, mut via) = (first, edge);
    for _ in 0..edges.len() {
        let next_edge = topology.face_edges[face as usize]
            .iter()
            .copied()
            .find(|&e| e != via && topology.edge_vertices[e as usize].contains(&vertex));
        let Some(next_edge) = next_edge else { break };
        let [a, b] = topology.edge_faces[next_edge as usize];
        face = if a == face { b } else { a };
        via = next_edge;
        if face == first {
            break;
        }
        ring.push(face);
    }
    ring
}

#[derive(Clone, Debug)]
struct Portal {
    left: (f64, f64),
    right: (f64, f64),
    /// Left and right vertex.
    ends: [u32; 2],
}

/// A corner of the shortest curve: the portal it lies on and which end of it.
#[derive(Clone, Copy, Debug)]
struct Corner {
    portal: usize,
    left: bool,
    flat: (f64, f64),
}

/// Third corner of a triangle from two placed corners and its distances to them; `side` +1 puts
/// it left of a -> b, -1 right of it.
fn place(a: (f64, f64), b: (f64, f64), to_a: f64, to_b: f64, side: f64) -> (f64, f64) {
    let (dx, dy) = (b.0 - a.0, b.1 - a.1);
    let base = dx.hypot(dy).max(1e-300);
    let (ux, uy) = (dx / base, dy / base);
    let x = (base * base + to_a * to_a - to_b * to_b) / (2.0 * base);
    let y = side * (to_a * to_a - x * x).max(0.0).sqrt();
    (a.0 + ux * x - uy * y, a.1 + uy * x + ux * y)
}

/// Twice the area of a triangle in the plane, positive where its corners run counter-clockwise.
pub(crate) fn turn(a: (f64, f64), b: (f64, f64), c: (f64, f64)) -> f64 {
    (b.0 - a.0) * (c.1 - a.1) - (b.1 - a.1) * (c.0 - a.0)
}

/// Where the line from `a` to `b` crosses the portal, as a share from left (0) to right (1).
fn crossing(a: (f64, f64), b: (f64, f64), left: (f64, f64), right: (f64, f64)) -> f64 {
    let (l, r) = (turn(a, b, left), turn(a, b, right));
    let span = l - r;
    if span.abs() < 1e-300 { 0.5 } else { (l / span).clamp(0.0, 1.0) }
}

/// Corners of the shortest path through the portals, end points included.
fn funnel(portals: &[Portal]) -> Vec<Corner> {
    let Some(first) = portals.first() else { return Vec::new() };
    let mut corners = vec![Corner { portal: 0, left: true, flat: first.left }];
    let same = |a: (f64, f64), b: (f64, f64)| (a.0 - b.0).hypot(a.1 - b.1) < 1e-12;
    let mut apex = first.left;
    let (mut left, mut right) = (first.left, first.right);
    let (mut left_at, mut right_at) = (0, 0);
    let mut k = 1;
    // Restarts from a corner are bounded by the number of portals at each corner.
    let mut steps = 0;
    while k < portals.len() && steps < portals.len() * portals.len() + 16 {
        steps += 1;
        let portal = &portals[k];
        // Tighten the right side.
        if turn(apex, right, portal.right) >= 0.0 {
            if same(apex, right) || turn(apex, left, portal.right) < 0.0 {
                right = portal.right;
                right_at = k;
            } else {
                corners.push(Corner { portal: left_at, left: true, flat: left });
                apex = left;
                k = left_at + 1;
                right = apex;
                right_at = left_at;
                continue;
            }
        }
        // Tighten the left side.
        if turn(apex, left, portal.left) <= 0.0 {
            if same(apex, left) || turn(apex, right, portal.left) > 0.0 {
                left = portal.left;
                left_at = k;
            } else {
                corners.push(Corner { portal: right_at, left: false, flat: right });
                apex = right;
                k = right_at + 1;
                left = apex;
                left_at = right_at;
                continue;
            }
        }
        k += 1;
    }
    let last = portals.len() - 1;
    if let Some(end) = portals.last() {
        corners.push(Corner { portal: last, left: true, flat: end.left });
    }
    corners
}
