//! Rings on a sphere, where length and width are known.

use std::f64::consts::TAU;

use super::*;
use crate::mesh::Point;
use crate::mesh::fixtures::icosphere;

const RADIUS: f64 = 30.0;

fn sphere(strain: f64) -> PlanningGraph {
    let mesh = icosphere(RADIUS, 4);
    let n = mesh.positions.len();
    let gate = mesh.positions.iter().map(|p| p.z <= -0.97 * RADIUS).collect();
    PlanningGraph::new(mesh, gate, vec![strain; n], &vec![1.0; n]).expect("a graph")
}

fn where_(graph: &PlanningGraph, side: impl Fn(&Point) -> bool) -> Vec<bool> {
    graph.mesh.positions.iter().map(side).collect()
}

/// A circle at the polar angle a from the gate is 2 pi R sin(a) long and must let 2 pi R pass, as
/// long as it lies below the equator; above it passes what it is itself.
#[test]
fn circles_below_the_equator_are_tight_by_the_closed_form() {
    let graph = sphere(0.5);
    let judge = RingJudge::new(&graph);
    for degrees in [20.0, 30.0, 38.0f64] {
        let a = degrees.to_radians();
        let beyond = where_(&graph, |p| p.z > -RADIUS * a.cos());
        let ring = judge.judge(&beyond, None).expect("sin(a) (1 + e) < 1");
        let exact = TAU * RADIUS * (1.0 - 1.5 * a.sin());
        // Widths and lengths of rings are good to 3 % (tested where they are made).
        let tolerance = 0.01 * ring.width + 0.03 * ring.reach;
        let error = ring.shortfall() - exact;
        assert!(error.abs() < tolerance, "{degrees}: {:.1} for {exact:.1}", ring.shortfall());
        assert_eq!(ring.beyond.len(), beyond.iter().filter(|&&b| b).count());
        assert_eq!(ring.outline, graph.outline(&beyond));
        // Asked once more, the same comes from memory.
        assert_eq!(judge.judge(&beyond, None), Some(ring.clone()));
        let exact = judge.measure(&beyond);
        assert!(exact.width <= ring.width + 1e-9 && exact.reach == ring.reach);
    }
    for degrees in [46.0, 60.0, 90.0, 130.0f64] {
        let a = degrees.to_radians();
        let beyond = where_(&graph, |p| p.z > -RADIUS * a.cos());
        assert_eq!(judge.judge(&beyond, None), None, "{degrees} degrees");
    }
}

/// Two caps are two rings, each for itself; a belt shuts off what lies beyond it.
#[test]
fn far_sides_fall_into_parts_with_all_that_they_shut_off() {
    let graph = sphere(0.5);
    let judge = RingJudge::new(&graph);
    let caps = where_(&graph, |p| p.x.abs() > 0.9 * RADIUS);
    let parts = judge.parts(&caps, |_| false);
    assert_eq!(parts.len(), 2);
    let count = |part: &[bool]| part.iter().filter(|&&b| b).count();
    assert_eq!(count(&parts[0]) + count(&parts[1]), count(&caps));
    assert!((0..caps.len()).all(|v| !(parts[0][v] && parts[1][v])));
    // Neither cap is tight: a circle of sin(26 degrees) passes the cap beyond it.
    assert!(judge.tight_rings(&caps, |_| false, None).is_empty());

    let belt = where_(&graph, |p| p.z > -0.1 * RADIUS && p.z < 0.2 * RADIUS);
    let parts = judge.parts(&belt, |_| false);
    assert_eq!(parts, vec![where_(&graph, |p| p.z > -0.1 * RADIUS)]);
}

/// Two sets that only a cut across a mesh edge joins are one part with the cut and two without.
#[test]
fn a_cut_across_an_edge_joins_parts() {
    let graph = sphere(0.5);
    let judge = RingJudge::new(&graph);
    let (index, edge) = graph
        .edges
        .iter()
        .enumerate()
        .find(|(_, e)| e.across && e.ends.iter().all(|&v| graph.mesh.positions[v as usize].z > 0.0))
        .expect("an edge across");
    let mut set = vec![false; graph.vertex_count()];
    for v in edge.ends {
        set[v as usize] = true;
    }
    assert_eq!(judge.parts(&set, |_| false).len(), 2);
    assert_eq!(judge.parts(&set, |e| e == index as u32).len(), 1);
}
