//! The border between two sides as smooth curves on the surface.
//!
//! Labels make a border that runs in steps along the edges of the triangles. The labels' mean round each
//! vertex, smoothed once more, is a function whose zero line is that border without the steps: closed
//! curves, each straight within a triangle, that meet neither each other nor themselves.

use std::collections::HashMap;

use super::{Labels, Surface};
use crate::mesh::{Point, polyline_length};

/// Rounds of smoothing, each with half of the mean of the neighbours (Taubin 1995, without the inflation,
/// since values and not places are smoothed).
const ROUNDS: usize = 3;

/// A piece of the border outside of the gate.
#[derive(Clone, Debug, PartialEq)]
pub struct BorderPath {
    /// Points on the surface in order, the front to the left seen from outside; a closed one repeats its first.
    pub points: Vec<Point>,
    /// Whether it closes on itself.
    pub closed: bool,
}

impl BorderPath {
    /// Length, mm.
    pub fn length(&self) -> f64 {
        polyline_length(&self.points)
    }
}

/// The border with the function that it is the zero line of.
#[derive(Clone, Debug, PartialEq)]
pub struct Border {
    /// Positive on the front, at each vertex of the surface; between -1 and 1.
    pub level: Vec<f64>,
    /// Its pieces, longest first.
    pub paths: Vec<BorderPath>,
}

impl Border {
    /// The border of some labels; `in_gate` tells which points are open anyway.
    pub fn new(surface: &Surface, labels: &Labels, in_gate: &dyn Fn(&Point) -> bool) -> Self {
        let level = smooth_level(surface, labels);
        let mut paths: Vec<BorderPath> = zero_loops(surface, &level)
            .into_iter()
            .flat_map(|ring| outside_of(ring, in_gate))
            .filter(|path| path.length() > surface.mean_edge())
            .collect();
        paths.sort_by(|a, b| b.length().total_cmp(&a.length()));
        Self { level, paths }
    }

    /// Length outside of the gate, mm.
    pub fn length(&self) -> f64 {
        self.paths.iter().map(BorderPath::length).sum()
    }

    /// The potential of the model's skin at a point: 1 on the front and -1 on the back, with a steep slope
    /// through the border, so that its zero is the border and not the nearest corner of a grid.
    pub fn side(&self, surface: &Surface, p: &Point) -> f64 {
        (surface.interpolate(&self.level, p) / RAMP).clamp(-1.0, 1.0)
    }
}

/// The level at which a point counts as wholly on one side: about two thirds of an edge from the border.
const RAMP: f64 = 0.4;

fn smooth_level(surface: &Surface, labels: &Labels) -> Vec<f64> {
    let (mesh, topology) = (&surface.mesh, &surface.topology);
    let mut sum = vec![(0.0, 0.0); mesh.positions.len()];
    for (f, face) in mesh.faces.iter().enumerate() {
        let area = mesh.face_area(crate::mesh::FaceId(f as u32));
        let value = if labels.front[f] { area } else { -area };
        for &v in face {
            sum[v as usize].0 += value;
            sum[v as usize].1 += area;
        }
    }
    let mut level: Vec<f64> = sum.iter().map(|(v, a)| v / a.max(1e-300)).collect();
    for _ in 0..ROUNDS {
        let mut mean = vec![(0.0, 0.0); level.len()];
        for &[a, b] in &topology.edge_vertices {
            for (to, from) in [(a, b), (b, a)] {
                mean[to as usize].0 += level[from as usize];
                mean[to as usize].1 += 1.0;
            }
        }
        for (v, (sum, count)) in level.iter_mut().zip(mean) {
            *v = 0.5 * *v + 0.5 * sum / f64::max(count, 1.0);
        }
    }
    // No vertex on the border itself, so that it is made of closed curves.
    for v in &mut level {
        if v.abs() < 1e-6 {
            *v = 1e-6;
        }
    }
    level
}

/// The closed curves on which a function on the vertices, nowhere zero there, is zero.
fn zero_loops(surface: &Surface, level: &[f64]) -> Vec<Vec<Point>> {
    let (mesh, topology) = (&surface.mesh, &surface.topology);
    // From the edge by which the curve enters a face to that by which it leaves, the front to its left.
    let mut next: HashMap<u32, u32> = HashMap::new();
    for (f, face) in mesh.faces.iter().enumerate() {
        let edges = topology.face_edges[f];
        let (mut enters, mut leaves) = (None, None);
        for k in 0..3 {
            let (a, b) = (level[face[k] as usize] > 0.0, level[face[(k + 1) % 3] as usize] > 0.0);
            match (a, b) {
                (true, false) => enters = Some(edges[k]),
                (false, true) => leaves = Some(edges[k]),
                _ => {}
            }
        }
        if let (Some(from), Some(to)) = (enters, leaves) {
            next.insert(from, to);
        }
    }
    let at = |edge: u32| {
        let [a, b] = topology.edge_vertices[edge as usize].map(|v| v as usize);
        let share = level[a] / (level[a] - level[b]);
        mesh.positions[a] + (mesh.positions[b] - mesh.positions[a]) * share
    };
    let mut starts: Vec<u32> = next.keys().copied().collect();
    starts.sort_unstable();
    let mut rings = Vec::new();
    for start in starts {
        let mut ring = Vec::new();
        let mut edge = start;
        while let Some(to) = next.remove(&edge) {
            ring.push(at(edge));
            edge = to;
        }
        if ring.len() > 2 {
            ring.push(ring[0]);
            rings.push(ring);
        }
    }
    rings
}

/// The pieces of a closed curve outside of the gate.
fn outside_of(ring: Vec<Point>, in_gate: &dyn Fn(&Point) -> bool) -> Vec<BorderPath> {
    let inside: Vec<bool> = ring.iter().map(in_gate).collect();
    let Some(first) = inside.iter().position(|&g| g) else {
        return vec![BorderPath { points: ring, closed: true }];
    };
    // From the gate round once; the closing point is left out of the round.
    let count = ring.len() - 1;
    let at = |k: usize| (first + k) % count;
    let crossing = |from: usize, to: usize| {
        let (mut low, mut high) = (ring[from], ring[to]);
        let low_in = inside[from];
        for _ in 0..40 {
            let middle = nalgebra::center(&low, &high);
            if in_gate(&middle) == low_in { low = middle } else { high = middle }
        }
        nalgebra::center(&low, &high)
    };
    let mut paths = Vec::new();
    let mut open: Vec<Point> = Vec::new();
    for k in 1..=count {
        let (before, now) = (at(k - 1), at(k));
        match (inside[before], inside[now]) {
            (true, false) => open = vec![crossing(before, now), ring[now]],
            (false, false) => open.push(ring[now]),
            (false, true) => {
                open.push(crossing(before, now));
                paths.push(BorderPath { points: std::mem::take(&mut open), closed: false });
            }
            (true, true) => {}
        }
    }
    paths
}
