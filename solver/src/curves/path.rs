//! From a set of cut edges to curves on the surface.
//!
//! A separate cut is a tree (or a single ring, for a bridge). Its branching points and ends stay
//! where they are; the chains between them are straightened. Where a chain meets the gate its end
//! may slide along the gate's rim.

use std::collections::BTreeMap;

use crate::girth::PlanningGraph;
use crate::mesh::{CurvePoint, Strip, barycentric, curve_length, faces_round};

/// One chain of a cut.
#[derive(Clone, Debug)]
pub struct CutCurve {
    /// The vertices it was built from.
    pub way: Vec<u32>,
    /// Its points, in order. Closed chains repeat their first point at the end.
    pub points: Vec<CurvePoint>,
    /// Whether the first point lies on the gate.
    pub starts_at_gate: bool,
    /// Whether the last point is a free end inside the surface.
    pub free_end: bool,
    /// Whether the first point is a free end inside the surface.
    pub free_start: bool,
}

/// One separate cut.
#[derive(Clone, Debug)]
pub struct CutCurves {
    /// Its chains.
    pub chains: Vec<CutCurve>,
    /// Whether it starts at the gate.
    pub from_gate: bool,
}

impl CutCurve {
    /// Length, mm.
    pub fn length(&self) -> f64 {
        curve_length(&self.points)
    }
}

/// Of a cut with branches one shorter than this is a stub, left where an end was drawn back to a branching point, mm:
/// no knife makes it, and lengths are known no better.
const STUB: f64 = 0.5;

impl CutCurves {
    /// Its chains without stubs.
    pub fn branches(&self) -> impl Iterator<Item = &CutCurve> {
        let is_branched = self.chains.len() > 1;
        self.chains.iter().filter(move |chain| !is_branched || chain.length() >= STUB)
    }

    /// Length of all chains, mm.
    pub fn length(&self) -> f64 {
        self.chains.iter().map(CutCurve::length).sum()
    }
}

/// Separate cuts given as lists of graph edges, as chains along the graph.
pub fn cut_chains(graph: &PlanningGraph, cuts: &[Vec<u32>]) -> Vec<CutCurves> {
    cuts.iter().map(|edges| cut_chain(graph, edges)).collect()
}

/// The shortest curve that a way can be drawn to with its ends held, or, on the gate, sliding.
pub fn straighten_chain(graph: &PlanningGraph, way: &[u32]) -> Vec<CurvePoint> {
    if way.first() == way.last() {
        straighten_ring(graph, way)
    } else {
        straighten_way(graph, way.to_vec())
    }
}

fn cut_chain(graph: &PlanningGraph, edges: &[u32]) -> CutCurves {
    let mut from_gate = false;
    let chains = chains(graph, edges)
        .into_iter()
        .map(|mut way| {
            let gate = |v: u32| graph.is_gate[v as usize];
            let last = way.len() - 1;
            if gate(way[last]) && !gate(way[0]) {
                way.reverse();
            }
            // What runs inside the gate is open already.
            let first = way.iter().rposition(|&v| gate(v)).filter(|_| gate(way[0])).unwrap_or(0);
            let way = if first + 1 < way.len() { way[first..].to_vec() } else { way };
            let starts_at_gate = gate(way[0]);
            from_gate |= starts_at_gate;
            let degree = |v: u32| {
                edges.iter().filter(|&&e| graph.edges[e as usize].ends.contains(&v)).count()
            };
            let last = way.len() - 1;
            let closed = way[0] == way[last];
            CutCurve {
                points: way_points(graph, &way),
                starts_at_gate,
                free_start: !closed && !starts_at_gate && degree(way[0]) == 1,
                free_end: !closed && !gate(way[last]) && degree(way[last]) == 1,
                way,
            }
        })
        .collect();
    CutCurves { chains, from_gate }
}

/// Chains of vertices between ends, branching points and the gate.
fn chains(graph: &PlanningGraph, edges: &[u32]) -> Vec<Vec<u32>> {
    let mut at: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
    for &e in edges {
        for v in graph.edges[e as usize].ends {
            at.entry(v).or_default().push(e);
        }
    }
    let stops = |v: u32| at[&v].len() != 2 || graph.is_gate[v as usize];
    let mut used = std::collections::BTreeSet::new();
    let mut chains = Vec::new();
    let other = |e: u32, v: u32| {
        let [a, b] = graph.edges[e as usize].ends;
        if a == v { b } else { a }
    };
    let walk = |from: u32, first: u32, used: &mut std::collections::BTreeSet<u32>| {
        let mut way = vec![from];
        let (mut v, mut e) = (from, first);
        while used.insert(e) {
            v = other(e, v);
            way.push(v);
            if stops(v) {
                break;
            }
            let Some(&next) = at[&v].iter().find(|n| !used.contains(n)) else { break };
            e = next;
        }
        way
    };
    let keys: Vec<u32> = at.keys().copied().collect();
    for &v in keys.iter().filter(|&&v| stops(v)) {
        for &e in &at[&v] {
            if !used.contains(&e) {
                let way = walk(v, e, &mut used);
                // An edge with both ends on the gate is open already.
                if !way.iter().all(|&w| graph.is_gate[w as usize]) {
                    chains.push(way);
                }
            }
        }
    }
    // What is left are rings without any stop.
    for &v in &keys {
        for &e in &at[&v] {
            if !used.contains(&e) {
                chains.push(walk(v, e, &mut used));
            }
        }
    }
    chains
}

/// Straighten an open way; an end on the gate slides along the gate's rim while that shortens it.
fn straighten_way(graph: &PlanningGraph, mut way: Vec<u32>) -> Vec<CurvePoint> {
    let mut points = straighten_fixed(graph, &way);
    let mut length = curve_length(&points);
    for end in [0, way.len() - 1] {
        if !graph.is_gate[way[end] as usize] {
            continue;
        }
        loop {
            let at = if end == 0 { 0 } else { way.len() - 1 };
            let here = way[at];
            let mut better = None;
            for next in graph.mesh_neighbours(here) {
                if !graph.is_gate[next as usize] || way.contains(&next) {
                    continue;
                }
                let mut tried = way.clone();
                if at == 0 {
                    tried.insert(0, next);
                } else {
                    tried.push(next);
                }
                let other = straighten_fixed(graph, &tried);
                let other_length = curve_length(&other);
                if other_length < length - 1e-9 {
                    length = other_length;
                    better = Some((tried, other));
                }
            }
            let Some((tried, other)) = better else { break };
            way = tried;
            points = other;
        }
    }
    points
}

/// Straighten a closed way: straighten it opened at one point, then opened at the point opposite,
/// until it no longer gets shorter.
fn straighten_ring(graph: &PlanningGraph, way: &[u32]) -> Vec<CurvePoint> {
    let mut points = straighten_fixed(graph, way);
    let mut length = curve_length(&points);
    for _ in 0..24 {
        let count = points.len();
        if count < 4 {
            break;
        }
        // Reopen half way round.
        let half = count / 2;
        let mut turned = points[half..].to_vec();
        turned.extend_from_slice(&points[1..=half]);
        let strip = strip_through(graph, &turned);
        let other = strip.straighten();
        let other_length = curve_length(&other);
        if other_length > length - 1e-7 * (1.0 + length) {
            if other_length < length {
                points = other;
            }
            break;
        }
        points = other;
        length = other_length;
    }
    points
}

/// The vertices of a way as points of a curve.
pub(super) fn way_points(graph: &PlanningGraph, way: &[u32]) -> Vec<CurvePoint> {
    way.iter()
        .map(|&v| CurvePoint {
            point: graph.mesh.positions[v as usize],
            face: faces_round(&graph.topology, v).first().copied().unwrap_or(0),
            vertex: Some(v),
        })
        .collect()
}

/// The shortest curve that a way can be drawn to with both ends held.
pub(super) fn straighten_fixed(graph: &PlanningGraph, way: &[u32]) -> Vec<CurvePoint> {
    strip_through(graph, &way_points(graph, way)).straighten()
}

/// A strip of faces that follows points each of which shares a face, an edge or a pair of faces
/// with the next.
fn strip_through<'a>(graph: &'a PlanningGraph, points: &[CurvePoint]) -> Strip<'a> {
    let mut faces: Vec<u32> = Vec::new();
    for pair in points.windows(2) {
        let target = faces_holding(graph, &pair[1]);
        let from = faces_holding(graph, &pair[0]);
        // Go from where the strip stands, round the first point, to a face that leads on.
        let lead: Vec<u32> = if from.iter().any(|f| target.contains(f)) {
            from.iter().copied().filter(|f| target.contains(f)).collect()
        } else {
            // Across one mesh edge: a face of the first point next to one of the second.
            from.iter()
                .copied()
                .filter(|&f| neighbours(graph, f).iter().any(|g| target.contains(g)))
                .collect()
        };
        let Some(&first_lead) = lead.first() else { continue };
        match faces.last() {
            None => faces.push(first_lead),
            Some(&last) => faces.extend(shortest_fan(&from, last, &lead)),
        }
        let standing = faces.last().copied().unwrap_or(first_lead);
        if !target.contains(&standing)
            && let Some(&over) = neighbours(graph, standing).iter().find(|g| target.contains(g))
        {
            faces.push(over);
        }
    }
    let start = points[0];
    let end = points[points.len() - 1];
    Strip::new(&graph.mesh, &graph.topology, faces, start, end)
}

/// Faces that hold a point, in cyclic order round a vertex.
fn faces_holding(graph: &PlanningGraph, at: &CurvePoint) -> Vec<u32> {
    if let Some(vertex) = at.vertex {
        return faces_round(&graph.topology, vertex);
    }
    let mut faces = vec![at.face];
    // A point on an edge belongs to the face across it too.
    let corners = graph.mesh.faces[at.face as usize];
    let weights = barycentric(corners.map(|v| graph.mesh.positions[v as usize]), &at.point);
    for k in 0..3 {
        if weights[(k + 2) % 3].abs() < 1e-7 {
            let edge = graph.topology.face_edges[at.face as usize][k];
            let [a, b] = graph.topology.edge_faces[edge as usize];
            faces.push(if a == at.face { b } else { a });
        }
    }
    faces
}

fn neighbours(graph: &PlanningGraph, face: u32) -> [u32; 3] {
    graph.topology.face_edges[face as usize].map(|e| {
        let [a, b] = graph.topology.edge_faces[e as usize];
        if a == face { b } else { a }
    })
}

/// Faces from `last` round the cycle `ring` to the nearest of `goals`, `last` left out.
fn shortest_fan(ring: &[u32], last: u32, goals: &[u32]) -> Vec<u32> {
    if goals.contains(&last) {
        return Vec::new();
    }
    let Some(from) = ring.iter().position(|&f| f == last) else {
        return goals.first().map(|&g| vec![g]).unwrap_or_default();
    };
    let count = ring.len();
    let walk = |step: usize| {
        let mut fan = Vec::new();
        let mut k = from;
        for _ in 0..count {
            k = (k + step) % count;
            fan.push(ring[k]);
            if goals.contains(&ring[k]) {
                break;
            }
        }
        fan
    };
    let (ahead, back) = (walk(1), walk(count - 1));
    if ahead.len() <= back.len() { ahead } else { back }
}
