//! Cut asked for across rubber that a release trial found stretched.
//!
//! A cut along a unit vector t of the model's surface, square to it, parts the rubber on either side of the
//! plane with normal m = n x t, n the surface's normal. What was stretched across it goes slack: with the
//! right Cauchy-Green tensor C = F^T F of the rubber at that place, m was stretched to sqrt(m . C m) of its
//! length (the definition of C; Ogden 1984, Non-Linear Elastic Deformations, from memory). So a cut relieves
//! its length times that stretch less one, and one along the pull relieves nothing.
//!
//! At the end of a cut the stretch is singular: a few millimetres there would relieve as much as a long cut, and
//! the end would only move on by as much. So strain counts up to a bound.

use nalgebra::Matrix3;

use super::rows::{Row, RowKind};
use crate::girth::PlanningGraph;
use crate::mesh::Vector;

/// So much relief, anywhere in the rubber that is stretched.
#[derive(Clone, Debug, PartialEq)]
pub struct Relief {
    /// Right Cauchy-Green tensor of the rubber over each vertex of the planning graph; unity where a cut
    /// does not count.
    pub stretched: Vec<Matrix3<f64>>,
    /// Strain across a cut counts as no more than this.
    pub most: f64,
    /// Length of cut times strain across it that is asked for, mm.
    pub asked: f64,
}

impl Relief {
    /// Strain across a cut at a vertex along `along`, a unit vector, where the surface's normal is `normal`.
    pub fn across(&self, vertex: u32, along: &Vector, normal: &Vector) -> f64 {
        let Some(across) = normal.cross(along).try_normalize(1e-9) else { return 0.0 };
        let squared = across.dot(&(self.stretched[vertex as usize] * across));
        (squared.max(0.0).sqrt() - 1.0).clamp(0.0, self.most)
    }

    /// Edges that relieve, and by how much, mm; without those of `open`, which are cut in any case.
    pub fn edges(&self, graph: &PlanningGraph, open: &[u32]) -> Vec<(u32, f64)> {
        let normals = graph.mesh.vertex_normals();
        let mut is_open = vec![false; graph.edges.len()];
        for &e in open {
            is_open[e as usize] = true;
        }
        (0..graph.edges.len() as u32)
            .filter(|&e| !is_open[e as usize] && graph.edges[e as usize].cost.is_finite())
            .map(|e| {
                let edge = &graph.edges[e as usize];
                let [a, b] = edge.ends.map(|v| graph.mesh.positions[v as usize]);
                let along = (b - a).normalize();
                let at = |v: u32| self.across(v, &along, &normals[v as usize]);
                (e, edge.length * 0.5 * (at(edge.ends[0]) + at(edge.ends[1])))
            })
            .filter(|(_, relief)| *relief > 0.0)
            .collect()
    }

    /// The row that asks for it. `origin` is its number.
    pub(super) fn row(&self, graph: &PlanningGraph, open: &[u32], origin: u32) -> Row {
        let share = |relief: f64| (relief / self.asked).min(1.0) as f32;
        let terms = self.edges(graph, open).into_iter().map(|(e, r)| (e, share(r))).collect();
        Row { kind: RowKind::Relief, terms, origin, depth: self.asked, least: 1.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::fixtures::cylinder;

    /// Rubber round a cylinder, opened by half all round: cuts along it relieve their length times 0.5,
    /// cuts round it nothing.
    #[test]
    fn cuts_across_the_pull_relieve_and_cuts_along_it_do_not() {
        let mesh = cylinder(20.0, 60.0, 48);
        let gate: Vec<bool> = mesh.positions.iter().map(|p| p.z < 0.05).collect();
        let n = gate.len();
        let graph = PlanningGraph::new(mesh, gate, vec![0.5; n], &vec![1.0; n]).expect("a graph");
        let round = |v: usize| {
            let p = graph.mesh.positions[v];
            Vector::new(-p.y, p.x, 0.0).try_normalize(1e-9)
        };
        let opened = |round: Vector| round * round.transpose() * (1.5 * 1.5 - 1.0);
        let stretched = (0..n)
            .map(|v| Matrix3::identity() + round(v).map_or_else(Matrix3::zeros, opened))
            .collect();
        let relief = Relief { stretched, most: 0.6, asked: 10.0 };
        for v in 0..n {
            let Some(round) = round(v) else { continue };
            let out = round.cross(&Vector::z());
            let at = |along: &Vector| relief.across(v as u32, along, &out);
            approx::assert_relative_eq!(at(&Vector::z()), 0.5, epsilon = 1e-9);
            approx::assert_abs_diff_eq!(at(&round), 0.0, epsilon = 1e-9);
        }
        let straight_up = |e: &u32| {
            let [a, b] = graph.edges[*e as usize].ends.map(|v| graph.mesh.positions[v as usize]);
            (a.xy() - b.xy()).norm() < 1e-9
        };
        let edges = relief.edges(&graph, &[]);
        let up: Vec<(u32, f64)> = edges.into_iter().filter(|(e, _)| straight_up(e)).collect();
        assert_eq!(up.len(), 48);
        for &(_, part) in &up {
            // Normals at the rims lean a little with the fans of the ends.
            approx::assert_relative_eq!(part, 0.5 * 60.0, max_relative = 1e-3);
        }
        // Beyond the bound nothing counts more.
        let bounded = Relief { most: 0.2, ..relief.clone() };
        for (_, part) in bounded.edges(&graph, &[]).into_iter().filter(|(e, _)| straight_up(e)) {
            approx::assert_relative_eq!(part, 0.2 * 60.0, max_relative = 1e-9);
        }
        // One of them is more than enough; cut in any case, it is none of the row's.
        let (first, _) = up[0];
        let row = relief.row(&graph, &[], 0);
        assert!(row.terms.contains(&(first, 1.0)), "{:?}", row.terms);
        let row = relief.row(&graph, &[first], 0);
        assert!(row.terms.iter().all(|&(e, _)| e != first));
    }
}
