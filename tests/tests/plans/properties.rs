//! What a plan must not depend on, and what it must not be able to do without.

use std::sync::OnceLock;

use crate::job::{exterior, model, plan, thin_blanket};
use nalgebra::Isometry3;
use slitwright_server::convert::request_from_proto;
use slitwright_solver::body::{GateChoice, MouldShape};
use slitwright_solver::control::Control;
use slitwright_solver::mesh::{Point, TriangleMesh, Vector};
use slitwright_solver::plan::{
    Budget, Cut, CutKind, Miss, Plan, PlanRequest, Reason, Scheme, SchemeCut, SchemeLine,
    TrialMode, judge_scheme, make_plan,
};
use slitwright_tests::{
    ball_on_rod, ellipsoid, moved, random_motion, scaled, shuffled, two_footed_arch,
};

/// A model and how it is cast.
struct Piece {
    name: &'static str,
    mesh: TriangleMesh,
    request: PlanRequest,
}

/// Planning edges are coarse and gaps wide: what is compared here does not get better by refining,
/// and a search that ends by its gap does not depend on the machine.
fn pieces() -> Vec<Piece> {
    let request = |edge: f64, gate: GateChoice| {
        let mut request = thin_blanket(Some(edge));
        request.gate = gate;
        request.knife.entry_price = 2.0;
        request.knife.least_cut = 3.0;
        request.resolution.deviation = Some(0.1);
        request.budget.target_gap = 0.3;
        request
    };
    let up = GateChoice::LowestFlat { up: Vector::z() };
    let foot = GateChoice::Patch { centre: Point::new(0.0, 0.0, -26.0), radius: 8.0 };
    vec![
        Piece {
            name: "ball on a rod",
            mesh: ball_on_rod(20.0, 8.0, 25.0, 2.0),
            request: request(6.0, up.clone()),
        },
        Piece {
            name: "ellipsoid",
            mesh: ellipsoid([34.0, 22.0, 26.0], 4),
            request: request(7.0, foot),
        },
        Piece { name: "arch", mesh: two_footed_arch(4), request: request(4.0, up) },
    ]
}

/// Plans of the pieces as they are, made once.
fn homes() -> &'static [(Piece, Plan)] {
    static HOMES: OnceLock<Vec<(Piece, Plan)>> = OnceLock::new();
    HOMES.get_or_init(|| {
        let plan_of = |piece: Piece| {
            let plan = plan(piece.name, piece.mesh.clone(), &piece.request);
            (piece, plan)
        };
        pieces().into_iter().map(plan_of).collect()
    })
}

/// The gate after a motion of the model.
fn moved_gate(gate: &GateChoice, motion: &Isometry3<f64>) -> GateChoice {
    match *gate {
        GateChoice::LowestFlat { up } => GateChoice::LowestFlat { up: motion * up },
        GateChoice::Patch { centre, radius } => {
            GateChoice::Patch { centre: motion * centre, radius }
        }
        GateChoice::Plane { point, normal } => {
            GateChoice::Plane { point: motion * point, normal: motion * normal }
        }
    }
}

/// Words for a length that is more than one in a hundred off.
fn changed(name: &str, length: f64, home: f64) -> Option<String> {
    let change = (length - home).abs() / home.max(1e-9);
    (change > 0.01 && (length - home).abs() > 1e-9)
        .then(|| format!("{name}: {length:.2} mm for {home:.2} mm: {:.1} % apart", 100.0 * change))
}

#[test]
fn rigid_motions_do_not_change_the_length() {
    let mut wrong = Vec::new();
    for (piece, home) in homes() {
        for seed in [1, 2] {
            let motion = random_motion(seed);
            let mut request = piece.request.clone();
            request.gate = moved_gate(&request.gate, &motion);
            let name = format!("{}, motion {seed}", piece.name);
            let there = plan(&name, moved(&piece.mesh, &motion), &request);
            wrong.extend(changed(&name, there.total_length, home.total_length));
            // Cuts and up move with the model.
            let up = motion * home.up;
            assert!((there.up - up).norm() < 1e-6, "{name}: up is {}", there.up);
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// Lengths of the request grow with the model. The hand's pull is shared by a section of rubber,
/// zone times wall, so the same strain takes a pull that grows with the square.
#[test]
fn scale_does_not_change_the_length_over_the_size() {
    let mut wrong = Vec::new();
    for (piece, home) in homes() {
        for factor in [0.8, 2.5] {
            let mut request = piece.request.clone();
            request.mould = match request.mould {
                MouldShape::Box { side_clearance, top_clearance } => MouldShape::Box {
                    side_clearance: factor * side_clearance,
                    top_clearance: factor * top_clearance,
                },
                MouldShape::Cylinder { side_clearance, top_clearance } => MouldShape::Cylinder {
                    side_clearance: factor * side_clearance,
                    top_clearance: factor * top_clearance,
                },
                MouldShape::Blanket { thickness } => {
                    MouldShape::Blanket { thickness: factor * thickness }
                }
            };
            request.gate = match request.gate {
                GateChoice::Patch { centre, radius } => {
                    GateChoice::Patch { centre: centre * factor, radius: factor * radius }
                }
                GateChoice::Plane { point, normal } => {
                    GateChoice::Plane { point: point * factor, normal }
                }
                same => same,
            };
            request.knife.hand_force *= factor * factor;
            request.knife.opening_zone = request.knife.opening_zone.map(|zone| factor * zone);
            for length in [
                &mut request.knife.hinge_width,
                &mut request.knife.entry_price,
                &mut request.knife.least_cut,
            ] {
                *length *= factor;
            }
            for length in [&mut request.resolution.deviation, &mut request.resolution.planning_edge]
            {
                *length = length.map(|l| factor * l);
            }
            let name = format!("{} times {factor}", piece.name);
            let there = plan(&name, scaled(&piece.mesh, factor), &request);
            wrong.extend(changed(&name, there.total_length / factor, home.total_length));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn numbering_does_not_change_the_length() {
    let mut wrong = Vec::new();
    for (piece, home) in homes() {
        for seed in [1, 2] {
            let name = format!("{}, shuffled {seed}", piece.name);
            let there = plan(&name, shuffled(&piece.mesh, seed), &piece.request);
            wrong.extend(changed(&name, there.total_length, home.total_length));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// The same seed gives the same plan, to the last digit; only the clock's readings may differ.
#[test]
fn the_same_seed_gives_the_same_plan() {
    for (piece, first) in homes() {
        let mut first = first.clone();
        let mut second = plan(piece.name, piece.mesh.clone(), &piece.request);
        first.figures.seconds.clear();
        second.figures.seconds.clear();
        assert_eq!(first, second, "{}", piece.name);
        assert!(exterior(&first).iter().all(|c| c.length > 0.0));
    }
}

/// A plan's cuts as somebody might have drawn them, all of them or all but one.
fn drawn(plan: &Plan, without: Option<u32>) -> Scheme {
    let line_of = |cut: &Cut| -> Vec<SchemeLine> {
        match (cut.kind, &cut.reason) {
            (CutKind::Bridge, Reason::CutsBridge { bridge, .. }) => {
                vec![SchemeLine::Bridge(*bridge as usize)]
            }
            _ => cut.branches.iter().cloned().map(SchemeLine::Points).collect(),
        }
    };
    let kept = plan.cuts.iter().filter(|cut| Some(cut.order) != without);
    let cuts = kept.flat_map(|cut| {
        let name = format!("cut {}", cut.order);
        line_of(cut).into_iter().map(move |line| SchemeCut { name: name.clone(), line })
    });
    Scheme { cuts: cuts.collect(), ..Scheme::default() }
}

/// Drawn by hand, a plan's cuts let the model out, and with any one of them left out they do not. Asked of
/// `judge_scheme`, which searches for tight rings afresh and knows nothing of the rows that the plan was
/// made for.
fn assert_every_cut_is_needed(piece: &Piece, plan: &Plan) {
    let model = model(piece.mesh.clone());
    let judged = |without| {
        let scheme = drawn(plan, without);
        judge_scheme(&model, &piece.request, &scheme, &Control::silent())
            .unwrap_or_else(|error| panic!("{}: {error}", piece.name))
    };
    let all = judged(None);
    assert!(all.works(), "{}: {:#?}", piece.name, all.misses);
    for cut in exterior(plan) {
        let less = judged(Some(cut.order));
        let tight = less
            .misses
            .iter()
            .any(|miss| matches!(miss, Miss::TightRing { .. } | Miss::ShortOpening { .. }));
        assert!(
            // An opening that is too short for the blade is a limit missed, though the mould comes off.
            tight,
            "{}: cut {} of {} is not needed: {:?}",
            piece.name,
            cut.order,
            plan.cuts.len(),
            less.misses
        );
    }
}

/// The dancer needs several cuts, the other pieces one or none.
#[test]
fn no_cut_of_a_plan_can_be_left_out() {
    for (piece, plan) in homes() {
        assert_every_cut_is_needed(piece, plan);
    }
    let dancer = demo_models::piece("dancer").expect("a dancer");
    let mut request = PlanRequest::default();
    request.resolution.planning_edge = Some(12.0);
    request.knife.opening_zone = Some(30.0);
    request.trial.mode = TrialMode::Off;
    request.budget = Budget { seconds: 120.0, target_gap: 0.6, ..Budget::default() };
    let piece = Piece { name: "dancer", mesh: dancer.mesh().expect("a mesh"), request };
    let plan = plan(piece.name, piece.mesh.clone(), &piece.request);
    let cuts = exterior(&plan).len();
    assert!(cuts >= 2, "the dancer is meant to have several cuts, not {cuts}");
    assert_every_cut_is_needed(&piece, &plan);
}

/// The plain piece of the demo set, with its own request: firm rubber that stretches by 6 % at
/// most, so that a ring on flat ground must not be taken for a tight one.
#[test]
fn the_plinth_needs_no_cut() {
    let plinth = demo_models::piece("plinth").expect("a plinth");
    let message = serde_json::from_str(plinth.request).expect("a request");
    let mut request = request_from_proto(&message, "").expect("a good request");
    // Without a number trials take the time that is there, which tells nothing of cuts.
    request.trial.elements = Some(2000);
    let plan = make_plan(&model(plinth.mesh().expect("a mesh")), &request, &Control::silent())
        .expect("a plan");
    assert!(plan.cuts.is_empty(), "{:?}", plan.cuts);
}
