//! What is wrong with a mesh: every fault, in words and numbers.

use std::collections::HashMap;

use super::project::first_not_finite;
use super::self_crossing::{SelfCrossings, TooNear, self_crossings};
use super::thin_parts::{ThinParts, thin_parts};
use super::{FaceId, Point, SurfaceLocator, Topology, TopologyError, TriangleMesh};
use crate::control::{Cancel, Cancelled};
use crate::union_find::UnionFind;

/// What a fault is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum FaultKind {
    /// The mesh has no faces.
    Empty,
    /// A coordinate is NaN or infinite.
    NotFinite,
    /// A face names a vertex that does not exist.
    BadIndex,
    /// Edges with one face only.
    Open,
    /// Edges where more than two faces meet.
    NonManifoldEdge,
    /// Vertices where separate fans of faces touch.
    PinchedVertex,
    /// Neighbouring faces that disagree about which side is out.
    Orientation,
    /// A closed body whose faces look inward.
    InsideOut,
    /// More than one body.
    SeveralBodies,
    /// Faces that pass through each other.
    SelfCrossing,
    /// Faces so long and thin that nobody can look at all that lie near each other.
    SlenderFace,
    /// Faces without area.
    DegenerateFace,
    /// Parts thinner than the working resolution.
    ThinPart,
}

/// One kind of fault with its extent.
#[derive(Clone, Debug, PartialEq)]
pub struct Fault {
    /// What it is about.
    pub kind: FaultKind,
    /// How many (edges, vertices, faces, bodies by kind).
    pub count: usize,
    /// The first place, mm.
    pub place: Option<Point>,
    /// One sentence in plain words, with numbers.
    pub message: String,
}

impl Fault {
    /// The sentence with its place in other words than coordinates. What does not end with the place stays as it is.
    pub(crate) fn placed(&self, in_words: impl Fn(&Point) -> String) -> String {
        let stem = self.place.and_then(|p| Some((self.message.strip_suffix(&at(&p))?, p)));
        stem.map_or_else(|| self.message.clone(), |(stem, p)| stem.to_owned() + &in_words(&p))
    }
}

/// One connected body.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Body {
    /// Number of faces.
    pub faces: usize,
    /// Surface, mm^2.
    pub area: f64,
    /// Volume enclosed, mm^3; only meaningful for a closed body, negative if inside out.
    pub volume: f64,
    /// Longest side of its bounding box, mm.
    pub longest_side: f64,
    /// Middle of its bounding box, mm.
    pub middle: Point,
}

/// What a check found.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CheckReport {
    /// Vertices in the mesh.
    pub vertices: usize,
    /// Faces in the mesh.
    pub faces: usize,
    /// Longest side of the bounding box, mm.
    pub longest_side: f64,
    /// Bodies connected by edges, largest surface first.
    pub bodies: Vec<Body>,
    /// Handles of all bodies together, if the mesh is closed and oriented.
    pub genus: Option<i64>,
    /// Faces that pass through each other, if the mesh could be searched for them.
    pub crossings: Option<SelfCrossings>,
    /// Thin parts, if a resolution was given and the mesh is closed.
    pub thin: Option<ThinParts>,
    /// Every fault.
    pub faults: Vec<Fault>,
}

impl CheckReport {
    /// The fault of a kind, if there is one.
    pub fn fault(&self, kind: FaultKind) -> Option<&Fault> {
        self.faults.iter().find(|f| f.kind == kind)
    }
}

/// What to check against.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct CheckOptions {
    /// Parts thinner than this (mm) are reported; not looked for if `None`.
    pub working_resolution: Option<f64>,
}

/// Handles of a closed oriented mesh, all bodies together, by Euler's formula: each body has
/// V - E + F = 2 - 2g.
pub fn genus(mesh: &TriangleMesh) -> Result<i64, TopologyError> {
    let topology = Topology::new(mesh)?;
    let (_, bodies) = topology.bodies();
    Ok(i64::from(bodies) - topology.euler_characteristic() / 2)
}

/// A point in words, to a tenth of a millimetre.
pub(super) fn at(p: &Point) -> String {
    format!("({:.1}, {:.1}, {:.1}) mm", p.x, p.y, p.z)
}

fn plural(count: usize, one: &str, many: &str) -> String {
    format!("{count} {}", if count == 1 { one } else { many })
}

/// Look for every fault of a mesh.
pub fn check(mesh: &TriangleMesh, options: &CheckOptions) -> CheckReport {
    match check_and_index(mesh, options, &Cancel::new()) {
        Ok((report, _)) => report,
        Err(Cancelled) => unreachable!("nobody has the flag"),
    }
}

/// Look for every fault; hand out the index that was made for it too, if the mesh could be
/// indexed.
pub(super) fn check_and_index(
    mesh: &TriangleMesh,
    options: &CheckOptions,
    cancel: &Cancel,
) -> Result<(CheckReport, Option<SurfaceLocator>), Cancelled> {
    let mut report = CheckReport {
        vertices: mesh.positions.len(),
        faces: mesh.faces.len(),
        longest_side: mesh.longest_side(),
        ..CheckReport::default()
    };
    let mut add = |kind, count, place: Option<Point>, message: String| {
        report.faults.push(Fault { kind, count, place, message });
    };
    if mesh.faces.is_empty() {
        add(FaultKind::Empty, 0, None, "the mesh has no faces".to_owned());
        return Ok((report, None));
    }
    let count = mesh.positions.len() as u32;
    let bad = mesh.faces.iter().filter(|f| f.iter().any(|v| *v >= count)).count();
    if bad > 0 {
        let what = plural(bad, "face names a vertex", "faces name vertices");
        add(FaultKind::BadIndex, bad, None, format!("{what} that the mesh does not have"));
        return Ok((report, None));
    }
    if let Some(v) = first_not_finite(&mesh.positions) {
        let message = format!("vertex {v} has a coordinate that is not a finite number");
        add(FaultKind::NotFinite, 1, None, message);
        return Ok((report, None));
    }

    let Connections { edges, pinched, degenerate, body_of, bodies } =
        mesh.worked_on_until(cancel, Connections::of)?;
    let middle = |[a, b]: [u32; 2]| {
        nalgebra::center(&mesh.positions[a as usize], &mesh.positions[b as usize])
    };
    if let Some(&first) = edges.open.first() {
        let (n, place) = (edges.open.len(), middle(first));
        let what = plural(n, "edge has", "edges have");
        let message = format!("not closed: {what} one face only, the first near {}", at(&place));
        add(FaultKind::Open, n, Some(place), message);
    }
    if let Some(&first) = edges.crowded.first() {
        let (n, place) = (edges.crowded.len(), middle(first));
        let what = plural(n, "edge", "edges");
        let message = format!("more than two faces meet at {what}, the first near {}", at(&place));
        add(FaultKind::NonManifoldEdge, n, Some(place), message);
    }
    if let Some(&first) = edges.disagreeing.first() {
        let (n, place) = (edges.disagreeing.len(), middle(first));
        let what = plural(n, "edge", "edges");
        let message = format!(
            "neighbouring faces disagree about which side is out at {what}, the first near {}",
            at(&place)
        );
        add(FaultKind::Orientation, n, Some(place), message);
    }
    if let Some(&first) = pinched.first() {
        let (n, place) = (pinched.len(), mesh.positions[first as usize]);
        let what = plural(n, "vertex joins", "vertices join");
        let message = format!(
            "{what} parts of the surface that touch in that point only, the first at {}",
            at(&place)
        );
        add(FaultKind::PinchedVertex, n, Some(place), message);
    }
    if let Some(&first) = degenerate.first() {
        let (n, place) = (degenerate.len(), mesh.corners(FaceId(first))[0]);
        let what = plural(n, "face has", "faces have");
        let message = format!("{what} no area, the first at {}", at(&place));
        add(FaultKind::DegenerateFace, n, Some(place), message);
    }
    cancel.check()?;
    let sound = edges.is_sound();
    if bodies.len() > 1 {
        let sizes: Vec<String> = bodies
            .iter()
            .take(5)
            .map(|b| {
                let volume = if sound {
                    format!(" and {:.2} cm^3", b.volume.abs() / 1000.0)
                } else {
                    String::new()
                };
                format!(
                    "{:.1} mm long with {} faces{volume} about {}",
                    b.longest_side,
                    b.faces,
                    at(&b.middle)
                )
            })
            .collect();
        let more = if bodies.len() > 5 { ", and so on" } else { "" };
        let message = format!(
            "the mesh holds {} separate bodies where one is wanted: {}{more}",
            bodies.len(),
            sizes.join(", ")
        );
        let other = body_of.iter().position(|b| *b == 1).unwrap_or(0);
        let place = mesh.corners(FaceId(other as u32))[0];
        add(FaultKind::SeveralBodies, bodies.len(), Some(place), message);
    }
    if sound {
        let turned = bodies.iter().filter(|b| b.volume <= 0.0).count();
        if turned > 0 {
            let what = plural(turned, "closed body looks", "closed bodies look");
            let message = format!("inside out: {what} inward (its volume comes out negative)");
            add(FaultKind::InsideOut, turned, None, message);
        }
    }
    // The faults above are all that could keep the mesh from being indexed.
    let locator = SurfaceLocator::new_until(mesh, cancel)?.ok();
    let looked_for =
        locator.as_ref().map(|locator| self_crossings(mesh, locator, cancel)).transpose()?;
    let crossings = match looked_for {
        Some(Err(TooNear { most, place })) => {
            let message = format!(
                "the faces are so long and thin that more than {most} pairs of them would have to be looked at for crossings, some near {}: remesh the model with faces that are about as wide as they are long",
                at(&place)
            );
            add(FaultKind::SlenderFace, mesh.faces.len(), Some(place), message);
            None
        }
        Some(Ok(crossings)) => Some(crossings),
        None => None,
    };
    if let Some((crossings, place)) = crossings.and_then(|c| Some((c, c.first_place?))) {
        let message = format!(
            "the surface passes through itself: {} cross in {}, the first near {}",
            plural(crossings.faces, "face", "faces"),
            plural(crossings.pairs, "pair", "pairs"),
            at(&place)
        );
        add(FaultKind::SelfCrossing, crossings.faces, Some(place), message);
    }
    let mut thin = None;
    if let (true, Some(resolution)) = (sound, options.working_resolution)
        && let Some(locator) = &locator
        && let Some(found) = thin_parts(mesh, locator, resolution)
    {
        let message = format!(
            "thin parts: {:.2} % of the surface is less than {resolution:.2} mm thick, the least is {:.2} mm at {}",
            100.0 * found.area_share,
            found.least,
            at(&found.place)
        );
        add(FaultKind::ThinPart, found.samples, Some(found.place), message);
        thin = Some(found);
    }
    report.genus = if sound && pinched.is_empty() {
        // A closed mesh has three edges for two faces.
        Some(bodies.len() as i64 - euler_of_closed(mesh) / 2)
    } else {
        genus(mesh).ok()
    };
    report.bodies = bodies;
    report.crossings = crossings;
    report.thin = thin;
    Ok((report, locator))
}

/// Whether a face has no area to speak of: two corners in one, or a height below a millionth of
/// its longest side.
pub(super) fn is_degenerate(mesh: &TriangleMesh, face: FaceId) -> bool {
    let [a, b, c] = mesh.corners(face);
    let longest = (b - a).norm_squared().max((c - b).norm_squared()).max((a - c).norm_squared());
    mesh.area_vector(face).norm() <= 1e-6 * longest
}

/// Euler's characteristic of a closed mesh without counting edges: there are three for two faces.
pub(super) fn euler_of_closed(mesh: &TriangleMesh) -> i64 {
    let mut used = vec![false; mesh.positions.len()];
    for &v in mesh.faces.iter().flatten() {
        used[v as usize] = true;
    }
    let used = used.into_iter().filter(|u| *u).count() as i64;
    used - mesh.faces.len() as i64 / 2
}

/// How the faces of a mesh hang together, and those without area.
struct Connections {
    edges: EdgeTally,
    pinched: Vec<u32>,
    degenerate: Vec<u32>,
    body_of: Vec<u32>,
    bodies: Vec<Body>,
}

impl Connections {
    fn of(mesh: &TriangleMesh) -> Self {
        let (body_of, bodies) = bodies(mesh);
        let all = 0..mesh.faces.len() as u32;
        Self {
            edges: EdgeTally::new(mesh),
            pinched: pinched_vertices(mesh),
            degenerate: all.filter(|f| is_degenerate(mesh, FaceId(*f))).collect(),
            body_of,
            bodies,
        }
    }
}

/// Edges sorted by how many faces they have.
pub(super) struct EdgeTally {
    /// One face. Runs the way the face does.
    pub open: Vec<[u32; 2]>,
    /// Two faces in the same direction.
    pub disagreeing: Vec<[u32; 2]>,
    /// More than two faces.
    pub crowded: Vec<[u32; 2]>,
}

impl EdgeTally {
    pub fn new(mesh: &TriangleMesh) -> Self {
        let sides = || {
            let of = |f: &[u32; 3]| [[f[0], f[1]], [f[1], f[2]], [f[2], f[0]]];
            mesh.faces.iter().flat_map(of).filter(|[a, b]| a != b)
        };
        // By their lower ends: those of one vertex are few, and quickly sorted.
        let vertices = mesh.faces.iter().flatten().max().map_or(0, |v| *v as usize + 1);
        let mut end = vec![0u32; vertices + 1];
        for [a, b] in sides() {
            end[a.min(b) as usize + 1] += 1;
        }
        for v in 0..vertices {
            end[v + 1] += end[v];
        }
        let mut halves = vec![(0u32, false); end[vertices] as usize];
        // Each start moves on to the end of its vertex.
        for [a, b] in sides() {
            let at = &mut end[a.min(b) as usize];
            halves[*at as usize] = (a.max(b), a > b);
            *at += 1;
        }
        let mut tally = Self { open: Vec::new(), disagreeing: Vec::new(), crowded: Vec::new() };
        let mut first = 0;
        for (low, &end) in end[..vertices].iter().enumerate() {
            let (low, own) = (low as u32, &mut halves[first as usize..end as usize]);
            first = end;
            own.sort_unstable();
            for group in own.chunk_by(|x, y| x.0 == y.0) {
                let (high, backwards) = group[0];
                match group {
                    [_] if backwards => tally.open.push([high, low]),
                    [_] => tally.open.push([low, high]),
                    [a, b] if a.1 == b.1 => tally.disagreeing.push([low, high]),
                    [_, _] => {}
                    _ => tally.crowded.push([low, high]),
                }
            }
        }
        tally
    }

    /// Closed, oriented, two faces at every edge.
    pub fn is_sound(&self) -> bool {
        self.open.is_empty() && self.disagreeing.is_empty() && self.crowded.is_empty()
    }
}

/// Vertices whose faces are not all connected with each other across edges at the vertex.
pub(super) fn pinched_vertices(mesh: &TriangleMesh) -> Vec<u32> {
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
    let mut around = vec![[0u32; 2]; mesh.faces.len() * 3];
    for face in &mesh.faces {
        for k in 0..3 {
            let v = face[k] as usize;
            around[fill[v] as usize] = [face[(k + 1) % 3], face[(k + 2) % 3]];
            fill[v] += 1;
        }
    }
    let mut reached: Vec<bool> = Vec::new();
    (0..mesh.positions.len())
        .filter(|&v| {
            let fan = &around[start[v] as usize..start[v + 1] as usize];
            if fan.len() < 2 {
                return false;
            }
            // Faces of a vertex are few: search them all for those that share a spoke.
            reached.clear();
            reached.resize(fan.len(), false);
            reached[0] = true;
            let mut stack = vec![0];
            let mut count = 1;
            while let Some(k) = stack.pop() {
                for j in 0..fan.len() {
                    if !reached[j] && fan[j].iter().any(|u| fan[k].contains(u)) {
                        reached[j] = true;
                        count += 1;
                        stack.push(j);
                    }
                }
            }
            count < fan.len()
        })
        .map(|v| v as u32)
        .collect()
}

/// The body of each face and the bodies, largest surface first. Faces that share a vertex are of
/// one body.
pub(super) fn bodies(mesh: &TriangleMesh) -> (Vec<u32>, Vec<Body>) {
    let mut joined = UnionFind::new(mesh.positions.len());
    for face in &mesh.faces {
        for &v in &face[1..] {
            joined.join(face[0] as usize, v as usize);
        }
    }
    let mut index: HashMap<usize, u32> = HashMap::new();
    let mut found = 0u32;
    let mut body_of = Vec::with_capacity(mesh.faces.len());
    for face in &mesh.faces {
        let top = joined.root(face[0] as usize);
        let body = *index.entry(top).or_insert_with(|| {
            found += 1;
            found - 1
        });
        body_of.push(body);
    }
    // Sizes about a corner of the mesh, so that volumes do not cancel far from the origin.
    let origin = mesh.bounds().map_or(Point::origin(), |(low, _)| low);
    let mut bodies =
        vec![
            Body { faces: 0, area: 0.0, volume: 0.0, longest_side: 0.0, middle: origin };
            found as usize
        ];
    let mut boxes: Vec<Option<(Point, Point)>> = vec![None; found as usize];
    for (f, &b) in body_of.iter().enumerate() {
        let corners = mesh.corners(FaceId(f as u32));
        let [p, q, r] = corners.map(|c| c - origin);
        let body = &mut bodies[b as usize];
        body.faces += 1;
        body.area += mesh.face_area(FaceId(f as u32));
        body.volume += p.dot(&q.cross(&r)) / 6.0;
        for c in corners {
            let (low, high) = boxes[b as usize].get_or_insert((c, c));
            *low = low.inf(&c);
            *high = high.sup(&c);
        }
    }
    for (body, bounds) in bodies.iter_mut().zip(&boxes) {
        if let Some((low, high)) = bounds {
            body.longest_side = (high - low).max();
            body.middle = nalgebra::center(low, high);
        }
    }
    let mut order: Vec<u32> = (0..bodies.len() as u32).collect();
    order.sort_by(|x, y| {
        bodies[*y as usize].area.total_cmp(&bodies[*x as usize].area).then(x.cmp(y))
    });
    let mut rank = vec![0u32; order.len()];
    for (k, &b) in order.iter().enumerate() {
        rank[b as usize] = k as u32;
    }
    for b in &mut body_of {
        *b = rank[*b as usize];
    }
    (body_of, order.iter().map(|b| bodies[*b as usize]).collect())
}

#[cfg(test)]
mod tests;
