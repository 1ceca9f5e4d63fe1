//! What trials wish for is felt by the search, never by the bound.

use super::*;
use crate::mesh::fixtures::icosphere;

const ENTRY_PRICE: f64 = 8.0;

fn graph() -> PlanningGraph {
    let mesh = icosphere(30.0, 4);
    let gate: Vec<bool> = mesh.positions.iter().map(|p| p.z < -25.0).collect();
    let n = gate.len();
    PlanningGraph::new(mesh, gate, vec![0.3; n], &vec![1.0; n]).expect("a graph")
}

fn settings() -> SearchSettings {
    SearchSettings {
        entry_price: ENTRY_PRICE,
        least_cut: 12.0,
        hinge_width: 6.0,
        deadline: Deadline::strict(f64::INFINITY),
        seed: 1,
        fixed: Vec::new(),
        by_clock: false,
    }
}

/// A ball on a small gate wants a cut. Wishes for three times as much of every ring make the search's plan dearer; the bound stays one
/// of what every plan must meet: below the cost of the plan that knows of no wishes, which the girth model lets pass. Rows of the bound are
/// as the rings are measured, none with a wish's width.
#[test]
fn wishes_never_feed_the_bound() {
    let graph = graph();
    let control = Control::silent();
    let separator = Separator::new(&graph, 10, 4);
    let length =
        |cut: &CutSet| cut.edges().iter().map(|&e| graph.edges[e as usize].cost).sum::<f64>();
    let mut cost = |cut: &CutSet, _: &Pools| length(cut) + ENTRY_PRICE;
    let start = || Search::new(&separator, RowPool::new(graph.edges.len()), settings(), &control);
    let mut plain = start();
    plain.run(8, &mut cost).expect("runs");
    let plan = plain.plan().expect("a plan").clone();
    let mut wishful = start();
    wishful.run(3, &mut cost).expect("runs");
    let rings = wishful.pools().must.rings.clone();
    for ring in &rings {
        wishful.demand(Ring { width: 3.0 * ring.width, ..ring.clone() });
    }
    wishful.mend(&mut cost);
    wishful.run(5, &mut cost).expect("runs");
    let wished = wishful.plan().expect("a plan");
    assert!(!wishful.pools().wishes.rows.is_empty());
    assert!(wishful.pools().wishes.is_met(wished.edges().iter().copied()));
    assert!(length(wished) > 1.3 * length(&plan), "{} {}", length(wished), length(&plan));
    // Of the plan without wishes, as the bound counts length.
    let least = length(&plan) / GRAPH_OVER_STRAIGHT + ENTRY_PRICE;
    assert!(
        wishful.bound() > ENTRY_PRICE && wishful.bound() <= least + 1e-6,
        "{} {least}",
        wishful.bound()
    );
    let judge = separator.judge();
    for ring in &wishful.pools().must.rings {
        let measured = judge.measure(&graph.membership(&ring.beyond));
        assert!((ring.width - measured.width).abs() < 1e-6 * measured.width);
    }
}
