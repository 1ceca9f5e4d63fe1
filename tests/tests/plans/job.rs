//! What the whole-job tests share: a request whose allowed strain is known, and one call from a
//! mesh to a plan.

use slitwright_solver::body::{MouldBody, MouldShape, Rubber};
use slitwright_solver::control::Control;
use slitwright_solver::mesh::{Model, PrepareOptions, TriangleMesh, prepare_mesh};
use slitwright_solver::plan::{
    Budget, Cut, CutKind, KnifeRules, Limit, Plan, PlanRequest, Resolution, TrialMode,
    TrialRequest, make_plan,
};
use slitwright_solver::sheets::CostWeights;

/// Strain allowed at every ring of [`thin_blanket`].
pub const STRAIN: f64 = 0.5;

/// A blanket so thin that two hands stretch it beyond the rubber's working stretch everywhere:
/// the strain allowed is the same [`STRAIN`] at every ring, so closed forms hold. Entries are
/// free and any cut is worth making, so that the cost is the length. The clock is generous:
/// searches are meant to end by their gap or by running dry, which does not depend on the machine.
pub fn thin_blanket(planning_edge: Option<f64>) -> PlanRequest {
    let rubber = Rubber { working_stretch: STRAIN, ..Rubber::default() };
    let thickness = 3.0;
    let zone = 30.0;
    let knife = KnifeRules {
        entry_price: 0.0,
        least_cut: 0.0,
        hinge_width: 4.0,
        opening_zone: Some(zone),
        ..KnifeRules::default()
    };
    let allowed = MouldBody::allowed_strain(&rubber, knife.hand_force, zone, thickness);
    assert_eq!(allowed, STRAIN, "the blanket is meant to be ruled by the working stretch");
    PlanRequest {
        mould: MouldShape::Blanket { thickness },
        weights: CostWeights::NONE,
        trial: TrialRequest { mode: TrialMode::Off, ..TrialRequest::default() },
        rubber,
        knife,
        budget: Budget { seconds: 120.0, target_gap: 0.12, seed: 1, rounds: None },
        resolution: Resolution { deviation: None, planning_edge },
        ..PlanRequest::default()
    }
}

/// A mesh that is sound by construction, made ready.
pub fn model(mesh: TriangleMesh) -> Model {
    prepare_mesh(mesh, &PrepareOptions::default()).expect("a sound fixture")
}

/// From mesh to plan, with a line of figures for whoever runs the tests with `--nocapture`.
pub fn plan(name: &str, mesh: TriangleMesh, request: &PlanRequest) -> Plan {
    let started = std::time::Instant::now();
    let plan = make_plan(&model(mesh), request, &Control::silent())
        .unwrap_or_else(|error| panic!("{name}: {error}"));
    println!(
        "{name}: {} vertices, {} cuts, {} bridges, length {:.2} mm, cost {:.2}, bound {:.2}, gap {:.1} %, {} rounds, {} rows, {:?}, {:.1} s",
        plan.figures.planning_vertices,
        plan.cuts.len(),
        plan.bridges.len(),
        plan.total_length,
        plan.cost,
        plan.ending.lower_bound,
        100.0 * plan.ending.gap,
        plan.figures.rounds,
        plan.figures.rows,
        plan.ending.stopped_by,
        started.elapsed().as_secs_f64(),
    );
    for limit in plan.limits.iter().filter(|l| !l.met) {
        println!("  missed: {}: {}", limit.name, limit.text);
    }
    plan
}

/// The limit of that name; a plan that does not speak of it fails the test.
pub fn limit<'a>(plan: &'a Plan, name: &str) -> &'a Limit {
    plan.limits
        .iter()
        .find(|l| l.name == name)
        .unwrap_or_else(|| panic!("no limit is called `{name}`: {:?}", plan.limits))
}

/// Cuts that are not across a bridge.
pub fn exterior(plan: &Plan) -> Vec<&Cut> {
    plan.cuts.iter().filter(|c| c.kind != CutKind::Bridge).collect()
}

/// Cuts across bridges.
pub fn across_bridges(plan: &Plan) -> Vec<&Cut> {
    plan.cuts.iter().filter(|c| c.kind == CutKind::Bridge).collect()
}

/// What keeps the mould from releasing its model or from staying one piece, by the plan's own
/// limits.
pub fn faults(plan: &Plan) -> Vec<String> {
    ["release", "one piece"]
        .iter()
        .map(|wanted| limit(plan, wanted))
        .filter(|limit| !limit.met)
        .map(|limit| format!("{}: {}", limit.name, limit.text))
        .collect()
}

/// That the plan says of itself that the mould releases its model and stays one piece. Whether that is so
/// each test asks of a closed form besides.
pub fn assert_says_it_releases(name: &str, plan: &Plan) {
    assert!(faults(plan).is_empty(), "{name}: {:?}", faults(plan));
}
