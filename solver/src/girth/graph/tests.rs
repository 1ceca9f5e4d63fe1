//! The ring metric against true perimeters.

use std::f64::consts::TAU;

use super::*;
use crate::mesh::fixtures::icosphere;
use crate::mesh::{Point, planning_mesh};

fn graph_of(mesh: TriangleMesh, gate_below: f64, strain: f64) -> PlanningGraph {
    let n = mesh.positions.len();
    let gate = mesh.positions.iter().map(|p| p.z <= gate_below).collect();
    PlanningGraph::new(mesh, gate, vec![strain; n], &vec![1.0; n]).expect("a graph")
}

fn reach_above(graph: &PlanningGraph, side: impl Fn(&Point) -> bool) -> f64 {
    let inside: Vec<bool> = graph.mesh.positions.iter().map(side).collect();
    graph.outline(&inside).iter().map(|&e| graph.edges[e as usize].reach).sum()
}

/// Lengths of circles of latitude about several axes over 2 pi R sin(polar), less one: so that the
/// lie of the triangles does not matter.
fn errors_of_circles(mesh: TriangleMesh, radius: f64) -> Vec<f64> {
    let graph = graph_of(mesh, -0.98 * radius, 0.0);
    let axes = [[0.0, 0.0, 1.0], [1.0, 0.2, 0.1], [0.3, 1.0, -0.7], [-0.5, 0.6, 0.62]];
    let angles = [35.0, 55.0, 75.0, 90.0, 110.0, 140.0f64];
    let circles = axes.iter().flat_map(|axis| angles.map(|angle| (*axis, angle.to_radians())));
    circles
        .map(|(axis, polar)| {
            let axis = crate::mesh::Vector::from(axis).normalize();
            let level = radius * polar.cos();
            let reach = reach_above(&graph, |p| p.coords.dot(&axis) > level);
            reach / (TAU * radius * polar.sin()) - 1.0
        })
        .collect()
}

/// Straight lines on a regular triangulation, the flat faces of a tetrahedron: by the module's closed form
/// every direction is measured between 0.977 and 1.012 of its length, and along the edges the least. Sections
/// by planes square to a random axis at many heights, weighed with their length.
#[test]
fn straight_rings_on_a_regular_triangulation_are_measured_by_the_closed_form() {
    use crate::mesh::fixtures::divided;
    let size = 30.0;
    let corners = [[1.0, 1.0, 1.0], [1.0, -1.0, -1.0], [-1.0, 1.0, -1.0], [-1.0, -1.0, 1.0]];
    let mut mesh = TriangleMesh {
        positions: corners.map(|c: [f64; 3]| Point::from(c.map(|x| size * x))).to_vec(),
        faces: vec![[0, 1, 2], [0, 3, 1], [0, 2, 3], [1, 3, 2]],
    };
    assert!(mesh.signed_volume() > 0.0);
    let whole = mesh.clone();
    for _ in 0..6 {
        mesh = divided(&mesh);
    }
    let graph = graph_of(mesh, -0.99 * size, 0.0);
    // Measured over true length, both summed over planes at many heights.
    let ratio = |axis: [f64; 3]| {
        let axis = crate::mesh::Vector::from(axis).normalize();
        let heights = (-24..=24).map(|k| 0.33 * size * f64::from(k) / 24.0);
        let (measured, exact) = heights.fold((0.0, 0.0), |(measured, exact), level| {
            let side = |p: &Point| p.coords.dot(&axis) > level;
            (measured + reach_above(&graph, side), exact + section_length(&whole, &axis, level))
        });
        measured / exact
    };
    let family = |t: f64| {
        let sum = (0..6).map(|k| (t - f64::from(k) * TAU / 12.0).sin().abs()).sum::<f64>();
        sum * TAU / 24.0
    };
    let (least, most) = (family(0.0), family(TAU / 24.0));
    assert!((least - 0.977).abs() < 5e-4 && (most - 1.0115).abs() < 5e-4, "{least} {most}");
    // Square to a coordinate axis the section is a rectangle with its sides along edges.
    for axis in [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, 1.0, 1.0]] {
        let along = ratio(axis);
        assert!((along - least).abs() < 0.004, "{axis:?}: {along}");
    }
    for axis in [[0.3, 1.0, -0.7], [-0.5, 0.6, 0.62], [1.0, 0.2, 0.1], [0.9, -0.4, 0.3]] {
        let any = ratio(axis);
        assert!((least - 0.004..=most + 0.004).contains(&any), "{axis:?}: {any}");
    }
}

/// Length of the section of a mesh by the plane square to `axis` at `level`.
fn section_length(mesh: &TriangleMesh, axis: &crate::mesh::Vector, level: f64) -> f64 {
    let height = |v: u32| mesh.positions[v as usize].coords.dot(axis) - level;
    let across = |a: u32, b: u32| {
        let (low, high) = (height(a), height(b));
        let (from, to) = (mesh.positions[a as usize], mesh.positions[b as usize]);
        ((low > 0.0) != (high > 0.0)).then(|| from + (to - from) * (low / (low - high)))
    };
    let of_face = |&[a, b, c]: &[u32; 3]| {
        let ends: Vec<Point> =
            [(a, b), (b, c), (c, a)].into_iter().filter_map(|(a, b)| across(a, b)).collect();
        ends.windows(2).map(|pair| (pair[1] - pair[0]).norm()).sum::<f64>()
    };
    mesh.faces.iter().map(of_face).sum()
}

/// Every circle within 3.5 %, and their mean within 1 %: on balls divided from an icosahedron, whose
/// triangles differ by a sixth in size, and on remeshed ones.
#[test]
fn rings_on_a_sphere_are_as_long_as_their_circles() {
    let radius = 30.0;
    let ball = icosphere(radius, 5);
    let mut wrong = Vec::new();
    for (name, mesh) in [
        ("divided 4 times", icosphere(radius, 4)),
        ("divided 5 times", ball.clone()),
        ("remeshed to 2.5 mm", planning_mesh(&ball, 2.5).expect("remeshed")),
        ("remeshed to 1.5 mm", planning_mesh(&ball, 1.5).expect("remeshed")),
    ] {
        let errors = errors_of_circles(mesh, radius);
        let mean = errors.iter().sum::<f64>() / errors.len() as f64;
        let (low, high) = errors
            .iter()
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &e| (l.min(e), h.max(e)));
        let words = format!("{name}: mean {mean:+.4}, from {low:+.4} to {high:+.4}");
        println!("{words}");
        if mean.abs() > 0.01 || low < -0.035 || high > 0.035 {
            wrong.push(words);
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// Stretching by e makes every ring 1 + e times as long; the cost of a cut stays its length.
#[test]
fn strain_lengthens_rings_and_weights_dear_cuts() {
    let mesh = icosphere(20.0, 3);
    let n = mesh.positions.len();
    let gate: Vec<bool> = mesh.positions.iter().map(|p| p.z <= -19.0).collect();
    let plain = graph_of(mesh.clone(), -19.0, 0.0);
    let heavy = PlanningGraph::new(mesh, gate, vec![0.5; n], &vec![3.0; n]).expect("a graph");
    for (a, b) in plain.edges.iter().zip(&heavy.edges) {
        approx::assert_relative_eq!(b.reach, 1.5 * a.reach, max_relative = 1e-12);
        assert_eq!((a.cost, b.cost), (a.length, 3.0 * a.length));
    }
}

#[test]
fn neighbours_and_edges_agree_with_each_other() {
    let graph = graph_of(icosphere(20.0, 2), -19.0, 0.0);
    // Three mesh edges for two faces, and across each of them a pair of corners.
    assert_eq!(graph.edges.iter().filter(|e| !e.across).count(), 480);
    assert_eq!(graph.edges.iter().filter(|e| e.across).count(), 480);
    for (index, edge) in graph.edges.iter().enumerate() {
        let [a, b] = edge.ends;
        assert_eq!(graph.edge_between(a, b), graph.edge_between(b, a));
        let between = graph.edge_between(a, b).expect("joined");
        assert!(graph.edges[between as usize].cost <= edge.cost);
        for v in edge.ends {
            assert!(graph.incident(v).iter().any(|&(e, _)| e == index as u32));
        }
        if !edge.across {
            assert!(graph.mesh_neighbours(a).any(|v| v == b));
            let chord =
                (graph.mesh.positions[a as usize] - graph.mesh.positions[b as usize]).norm();
            approx::assert_relative_eq!(edge.length, chord, max_relative = 1e-12);
        }
    }
    // Unfolded over a regular pair of triangles, the way across is sqrt(3) edges.
    let across: Vec<f64> = graph.edges.iter().filter(|e| e.across).map(|e| e.length).collect();
    let mean = across.iter().sum::<f64>() / across.len() as f64;
    assert!((mean / graph.mean_edge() / 3f64.sqrt() - 1.0).abs() < 0.03, "{mean}");
}

#[test]
fn a_gate_that_holds_nothing_or_everything_is_refused() {
    let mesh = icosphere(20.0, 2);
    let n = mesh.positions.len();
    let build = |gate: bool| {
        PlanningGraph::new(mesh.clone(), vec![gate; n], vec![0.5; n], &vec![1.0; n])
            .expect_err("refused")
    };
    let none = build(false);
    assert!(matches!(none, GraphError::NoGate { .. }));
    assert!(none.to_string().contains("enlarge the gate's radius"), "{none}");
    assert_eq!(build(true), GraphError::AllGate);
    let mut open = mesh.clone();
    open.faces.pop();
    let gate = (0..n).map(|v| v == 0).collect();
    let error = PlanningGraph::new(open, gate, vec![0.5; n], &vec![1.0; n]);
    assert!(matches!(error, Err(GraphError::Topology(_))));
}
