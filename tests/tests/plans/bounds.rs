//! The lower bound is below every cost that the search tells of, over shapes, weights and preferred areas.
//!
//! Nothing clips one to the other, so a bound that counts on more than cuts have to do is seen here. The shapes
//! are those of `exact_cases`, whose shortest cuts have closed forms.

use std::f64::consts::TAU;
use std::sync::Mutex;

use crate::job::{model, thin_blanket};
use proptest::prelude::*;
use proptest::test_runner::FileFailurePersistence;
use slitwright_solver::body::GateChoice;
use slitwright_solver::control::{Cancel, Control};
use slitwright_solver::mesh::{Point, TriangleMesh};
use slitwright_solver::plan::{BoundFor, PlanRequest, make_plan};
use slitwright_solver::sheets::{Area, CostWeights};
use slitwright_tests::{
    ball_on_rod, scaled, sphere_on_gate, stool, torus_with_edge, two_footed_arch,
};

/// Shapes of `exact_cases`, about 50 mm across.
#[derive(Clone, Copy, Debug)]
enum Shape {
    BallOnGate,
    BallOnRod,
    LyingRing,
    Arch,
    Stool,
}

use Shape::{Arch, BallOnGate, BallOnRod, LyingRing, Stool};

impl Shape {
    /// The mesh, and its request without weights and areas; `share` makes what it stands on wider.
    fn made(self, radius: f64, share: f64, edge: f64) -> (TriangleMesh, PlanRequest) {
        let request = thin_blanket(Some(edge));
        let narrow = share * radius;
        let gate = |centre, radius| GateChoice::Patch { centre, radius };
        match self {
            BallOnRod => (ball_on_rod(radius, narrow, 12.0, 1.2), request),
            BallOnGate => {
                let gate = gate(Point::origin(), narrow + 0.1);
                (sphere_on_gate(radius, narrow, 1.2), PlanRequest { gate, ..request })
            }
            LyingRing => {
                let small = 0.35 * radius;
                let gate = gate(Point::new(radius, 0.0, -small), 0.7 * small);
                (torus_with_edge(radius, small, 1.5), PlanRequest { gate, ..request })
            }
            Arch => (scaled(&two_footed_arch(3), radius / 15.0), request),
            Stool => (scaled(&stool(3, 3), radius / 15.0), request),
        }
    }
}

/// A place beside the mesh's box and up it, by shares of its sides.
fn place(mesh: &TriangleMesh, around: f64, up: f64) -> Point {
    let (low, high) = mesh
        .positions
        .iter()
        .fold((mesh.positions[0], mesh.positions[0]), |(low, high), p| (low.inf(p), high.sup(p)));
    let (sine, cosine) = (TAU * around).sin_cos();
    let (middle, half) = (nalgebra::center(&low, &high), (high - low) / 2.0);
    Point::new(middle.x + half.x * cosine, middle.y + half.y * sine, low.z + 2.0 * half.z * up)
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 10,
        max_shrink_iters: 4,
        failure_persistence: Some(Box::new(FileFailurePersistence::WithSource("proptest-regressions"))),
        ..ProptestConfig::default()
    })]

    #[test]
    fn no_cost_is_below_the_bound(
        shape in prop::sample::select(vec![BallOnGate, BallOnRod, LyingRing, Arch, Stool]),
        radius in 20.0..30.0f64,
        share in 0.2..0.45f64,
        edge in 5.0..7.5f64,
        weighed in any::<bool>(),
        // Share of the way round and up, radius and factor of a preferred area.
        preferred in prop::option::of((0.2..0.9f64, 0.0..1.0f64, 5.0..25.0f64, 0.05..0.9f64)),
        entry in prop::sample::select(vec![0.0, 12.0]),
        seed in 1u64..1000,
    ) {
        let (mesh, mut request) = shape.made(radius, share, edge);
        if weighed {
            request.weights = CostWeights::default();
        }
        if let Some((up, around, reach, factor)) = preferred {
            let centre = place(&mesh, around, up);
            request.areas.preferred = vec![(Area::Ball { centre, radius: reach }, factor)];
        }
        (request.knife.entry_price, request.knife.least_cut) = (entry, entry);
        request.budget.seed = seed;
        request.budget.target_gap = 0.0;
        request.budget.rounds = Some(4);
        let told = Mutex::new(Vec::new());
        let control = Control::new(Cancel::new(), |progress| {
            if let (Some(cost), Some(bound)) = (progress.best_cost, progress.lower_bound) {
                told.lock().expect("whole").push((cost, bound));
            }
        });
        let plan = make_plan(&model(mesh), &request, &control).expect("a plan");
        drop(control);
        let mut told = told.into_inner().expect("whole");
        let is_of_girths = matches!(plan.ending.bound_for, BoundFor::GirthModel { .. });
        prop_assert!(!told.is_empty() && is_of_girths);
        told.push((plan.cost, plan.ending.lower_bound));
        // The end of a cut may fall between two vertices, where the relaxation only knows vertices: the bound says that
        // it leaves out an edge a cut, which weighs what cut weighs here.
        let slack = plan.cuts.len() as f64 * edge * (plan.cost / plan.total_length).max(1.0);
        for (cost, bound) in told {
            prop_assert!(cost + slack >= bound, "cost {cost} mm, bound {bound} mm, slack {slack} mm");
        }
        let (gap, bound) = (plan.ending.gap, plan.ending.lower_bound);
        // Feet may come off uncut, with a bridge that is cut from below.
        prop_assert!(gap >= 0.0 && (plan.cost == 0.0 || bound > entry), "gap {gap}, bound {bound} mm");
    }
}
