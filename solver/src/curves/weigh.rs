//! What a curve costs: its length with the weights of the places it runs through.

use crate::girth::PlanningGraph;
use crate::mesh::{CurvePoint, barycentric};

/// A corner counts for a point where its share is above this.
const SHARE: f64 = 1e-6;

/// Length of a curve (mm), each piece times the weight there; infinite where it runs over a place
/// that no cut may touch. Weights are linear on each face, so a piece within one face has the mean
/// of the weights at its ends.
pub fn weighted_length(graph: &PlanningGraph, points: &[CurvePoint]) -> f64 {
    let weights: Vec<f64> = points.iter().map(|p| weight_at(graph, p)).collect();
    let pieces = points.windows(2).zip(weights.windows(2));
    pieces.map(|(p, w)| (p[1].point - p[0].point).norm() * 0.5 * (w[0] + w[1])).sum()
}

fn weight_at(graph: &PlanningGraph, point: &CurvePoint) -> f64 {
    if let Some(vertex) = point.vertex {
        return graph.cost_weight[vertex as usize];
    }
    let corners = graph.mesh.faces[point.face as usize];
    let shares = barycentric(corners.map(|v| graph.mesh.positions[v as usize]), &point.point);
    let corners = corners.iter().zip(shares).filter(|(_, share)| *share > SHARE);
    corners.map(|(&v, share)| share * graph.cost_weight[v as usize]).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::curves::{cut_chains, straighten_chain};
    use crate::mesh::fixtures::icosphere;

    /// With a weight that grows linearly along a straight way the cost is length times its mean.
    #[test]
    fn linear_weights_are_integrated_exactly() {
        let mesh = icosphere(30.0, 4);
        let gate: Vec<bool> = mesh.positions.iter().map(|p| p.z < -29.0).collect();
        let weights: Vec<f64> = mesh.positions.iter().map(|p| 2.0 + p.z / 30.0).collect();
        let strain = vec![0.0; mesh.positions.len()];
        let even = vec![1.0; mesh.positions.len()];
        let graph = PlanningGraph::new(mesh.clone(), gate.clone(), strain.clone(), &weights)
            .expect("a graph");
        let plain = PlanningGraph::new(mesh, gate, strain, &even).expect("a graph");
        let edge = graph.edges.iter().position(|e| !e.across).expect("an edge") as u32;
        let chain = &cut_chains(&graph, &[vec![edge]])[0].chains[0];
        let points = straighten_chain(&graph, &chain.way);
        let [a, b] = [&points[0], &points[points.len() - 1]].map(|p| p.point);
        let mean = 2.0 + 0.5 * (a.z + b.z) / 30.0;
        let cost = weighted_length(&graph, &points);
        assert!((cost / ((b - a).norm() * mean) - 1.0).abs() < 1e-9, "{cost}");
        assert!((weighted_length(&plain, &points) / (b - a).norm() - 1.0).abs() < 1e-9);
    }
}
