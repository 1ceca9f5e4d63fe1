//! What a plan must not depend on, and what it must not be able to do without.

mod job;

use std::num::NonZeroU32;
use std::sync::OnceLock;

use job::{exterior, model, plan, thin_blanket};
use nalgebra::Isometry3;
use slitwright_server::convert::request_from_proto;
use slitwright_solver::body::{Gate, GateChoice, MouldBody, MouldShape};
use slitwright_solver::bridges::find_bridges;
use slitwright_solver::control::Control;
use slitwright_solver::girth::PlanningGraph;
use slitwright_solver::mesh::{
    Point, Topology, TriangleMesh, Vector, canonical, decimate, planning_mesh,
};
use slitwright_solver::optimise::pool::RowPool;
use slitwright_solver::optimise::relaxation::Relaxation;
use slitwright_solver::optimise::search::Search;
use slitwright_solver::optimise::separation::Separator;
use slitwright_solver::optimise::settings::SearchSettings;
use slitwright_solver::plan::{Plan, PlanRequest, make_plan};
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

/// A planned piece with the rows that its plan was made for.
///
/// The same stages as in `make_plan`, called one by one, because a plan does not carry its rows.
fn assert_every_cut_is_needed(piece: &Piece) -> usize {
    let request = &piece.request;
    let model = model(piece.mesh.clone());
    let gate = Gate::find(&model.original, &request.gate).expect("a gate");
    let deviation = request.resolution.deviation.unwrap_or(model.allowed_deviation);
    let lattice = canonical(&model.original, &gate.to_mould);
    let working =
        decimate(&lattice.mesh, deviation / lattice.step, 0).expect("a working mesh").mesh;
    let edge = request.resolution.planning_edge.expect("an edge") / lattice.step;
    let planning = lattice.to_mm(planning_mesh(&working, edge).expect("a planning mesh"));
    let working = lattice.to_mm(working);
    let body = MouldBody::new(&working, &request.mould).expect("a body");
    let strain: Vec<f64> = planning
        .positions
        .iter()
        .zip(planning.vertex_normals())
        .map(|(p, n)| {
            let knife = &request.knife;
            let wall = body.wall_thickness(p, &n);
            let (force, zone) = (knife.hand_force, knife.opening_zone.expect("a zone is given"));
            MouldBody::allowed_strain(&request.rubber, force, zone, wall)
        })
        .collect();
    let is_gate: Vec<bool> = planning.positions.iter().map(|p| gate.holds(p)).collect();
    let topology = Topology::new(&planning).expect("closed");
    let on_board: Vec<u32> = (0..is_gate.len() as u32).filter(|&v| is_gate[v as usize]).collect();
    let board = (Point::origin(), Vector::z());
    let holes = find_bridges(&planning, &topology, &on_board, board).expect("bridges");
    let weight = vec![1.0; is_gate.len()];
    let graph = PlanningGraph::new(planning, is_gate, strain, &weight).expect("a graph");
    let fixed: Vec<u32> = holes
        .bridges
        .iter()
        .flat_map(|bridge| {
            let mut way = bridge.path.clone();
            if bridge.closed {
                way.extend(bridge.path.first());
            }
            let edges: Vec<u32> =
                way.windows(2).filter_map(|w| graph.edge_between(w[0], w[1])).collect();
            edges
        })
        .collect();
    let settings = SearchSettings {
        entry_price: request.knife.entry_price,
        least_cut: request.knife.least_cut,
        hinge_width: request.knife.hinge_width,
        deadline: request.budget.seconds,
        seed: request.budget.seed,
        fixed: fixed.clone(),
        by_clock: true,
    };
    let separator = Separator::new(&graph, 40, 8);
    let pool = RowPool::new(graph.edges.len());
    let control = Control::silent();
    let mut found = Search::new(&separator, pool, settings, &control);
    // The last rows of a round may show that its plan misses a ring: then it is not finished.
    let plan = (0..8)
        .find_map(|_| {
            found.run(2, &mut |cut, _| cut.length(&graph)).expect("a plan");
            let plan = found.plan().expect("a plan").clone();
            let edges = plan.edges().iter().chain(&fixed).copied();
            let met = found.pools().is_met(edges);
            met.then_some(plan)
        })
        .unwrap_or_else(|| panic!("{}: no plan that meets its rows", piece.name));
    let cuts = plan.components(&graph);
    let met = |without: Option<usize>| {
        let edges = cuts
            .iter()
            .enumerate()
            .filter(|&(k, _)| Some(k) != without)
            .flat_map(|(_, cut)| cut.iter().copied())
            .chain(fixed.iter().copied());
        found.pools().is_met(edges)
    };
    for k in 0..cuts.len() {
        assert!(!met(Some(k)), "{}: cut {k} of {} is not needed", piece.name, cuts.len());
    }
    // The relaxation over these very rows is no dearer than the plan.
    let costs: Vec<f64> = (0..graph.edges.len() as u32)
        .map(|e| if fixed.contains(&e) { 0.0 } else { graph.edges[e as usize].cost })
        .collect();
    let mut relaxation = Relaxation::new(&costs, NonZeroU32::MIN);
    let relaxed = relaxation.solve(&found.pools().must, &Control::silent()).expect("feasible");
    let length: f64 = plan.edges().iter().map(|&e| costs[e as usize]).sum();
    assert!(relaxed.bound <= length + 1e-6, "{}: {} > {length}", piece.name, relaxed.bound);
    cuts.len()
}

/// The dancer needs several cuts, the other pieces one or none.
#[test]
fn no_cut_of_a_plan_can_be_left_out() {
    for (piece, _) in homes() {
        assert_every_cut_is_needed(piece);
    }
    let dancer = demo_models::pieces().into_iter().find(|p| p.name == "dancer").expect("a dancer");
    let mut request = PlanRequest::default();
    request.resolution.planning_edge = Some(10.0);
    request.knife.opening_zone = Some(30.0);
    let piece = Piece { name: "dancer", mesh: dancer.mesh().expect("a mesh"), request };
    let cuts = assert_every_cut_is_needed(&piece);
    assert!(cuts >= 2, "the dancer is meant to have several cuts, not {cuts}");
}

/// The plain piece of the demo set, with its own request: firm rubber that stretches by 6 % at
/// most, so that a ring on flat ground must not be taken for a tight one.
#[test]
fn the_plinth_needs_no_cut() {
    let plinth = demo_models::pieces().into_iter().find(|p| p.name == "plinth").expect("a plinth");
    let message = serde_json::from_str(plinth.request).expect("a request");
    let request = request_from_proto(&message, "").expect("a good request");
    let plan = make_plan(&model(plinth.mesh().expect("a mesh")), &request, &Control::silent())
        .expect("a plan");
    assert!(plan.cuts.is_empty(), "{:?}", plan.cuts);
}
