//! The lower bound is below every cost that the search tells of, over shapes, weights and preferred areas.
//!
//! Nothing clips one to the other, so a bound that counts on more than cuts have to do is seen here. The shapes
//! are those of `exact_cases`, whose shortest cuts have closed forms.

mod job;

use std::f64::consts::TAU;
use std::sync::Mutex;

use job::{model, thin_blanket};
use proptest::prelude::*;
use slitwright_solver::body::GateChoice;
use slitwright_solver::control::{Cancel, Control};
use slitwright_solver::mesh::{Point, TriangleMesh};
use slitwright_solver::plan::{BoundFor, PlanRequest, make_plan};
use slitwright_solver::sheets::{Area, CostWeights};
use slitwright_tests::{ball_on_rod, sphere_on_gate};

/// A ball on a gate or on a rod, 40 to 60 mm across, and its request without weights and areas.
fn shape(on_rod: bool, radius: f64, share: f64, edge: f64) -> (TriangleMesh, PlanRequest, f64) {
    let narrow = share * radius;
    let request = thin_blanket(Some(edge));
    if on_rod {
        let middle = 12.0 + (radius * radius - narrow * narrow).sqrt();
        return (ball_on_rod(radius, narrow, 12.0, 1.2), request, middle);
    }
    let gate = GateChoice::Patch { centre: Point::origin(), radius: narrow + 0.1 };
    let middle = (radius * radius - narrow * narrow).sqrt();
    (sphere_on_gate(radius, narrow, 1.2), PlanRequest { gate, ..request }, middle)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 10, max_shrink_iters: 4, ..ProptestConfig::default() })]

    #[test]
    fn no_cost_is_below_the_bound(
        on_rod in any::<bool>(),
        radius in 20.0..30.0f64,
        share in 0.2..0.45f64,
        edge in 3.5..6.5f64,
        weighed in any::<bool>(),
        // Polar angle and longitude, radius and factor of a preferred area.
        preferred in prop::option::of((0.2..0.9f64, 0.0..1.0f64, 5.0..25.0f64, 0.05..0.9f64)),
        entry in prop::sample::select(vec![0.0, 12.0]),
        seed in 1u64..1000,
    ) {
        let (mesh, mut request, middle) = shape(on_rod, radius, share, edge);
        if weighed {
            request.weights = CostWeights::default();
        }
        if let Some((polar, around, reach, factor)) = preferred {
            let (sine, cosine) = (0.5 * TAU * polar).sin_cos();
            let (y, x) = (TAU * around).sin_cos();
            let centre =
                Point::new(radius * sine * x, radius * sine * y, middle - radius * cosine);
            request.areas.preferred = vec![(Area::Ball { centre, radius: reach }, factor)];
        }
        (request.knife.entry_price, request.knife.least_cut) = (entry, entry);
        request.budget.seed = seed;
        request.budget.target_gap = 0.0;
        request.budget.rounds = Some(6);
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
        let slack = edge * (plan.cost / plan.total_length).max(1.0);
        for (cost, bound) in told {
            prop_assert!(cost + slack >= bound, "cost {cost} mm, bound {bound} mm, slack {slack} mm");
        }
        prop_assert!(plan.ending.gap >= 0.0 && plan.ending.lower_bound > entry);
    }
}
