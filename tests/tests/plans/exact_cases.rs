//! Shapes whose plan is known exactly: every length here follows from plane or spherical geometry.
//!
//! Release is judged as in the girth model: a ring of rubber of relaxed length l lets a girth of
//! at most l (1 + e) pass. With the strain e the same everywhere, closed forms follow for a sphere
//! on a small gate and for a ball on a rod. They are derived beside each test; no other source.

use std::f64::consts::{PI, TAU};

use crate::job::{
    STRAIN, across_bridges, assert_says_it_releases, exterior, faults, limit, plan, thin_blanket,
};
use slitwright_solver::body::{GateChoice, MouldShape};
use slitwright_solver::bridges::{BridgeKind, DiscState};
use slitwright_solver::mesh::{Point, TriangleMesh};
use slitwright_solver::plan::{Cut, CutKind, Plan, PlanRequest, bridge_letter};
use slitwright_tests::{
    ball_on_rod, box_mesh, cone, frustum, handles_plate, sphere_on_gate, standing, stool,
    torus_with_edge, trefoil_tube, two_footed_arch,
};

/// What stands with its widest section on the gate slips out of any mould: every section above
/// is no wider than the one below. Under the hand-force limit of a thick block too, since a ring
/// need not stretch at all.
#[test]
fn widest_section_on_the_gate_needs_no_cut() {
    let shapes: [(&str, TriangleMesh); 3] = [
        ("box", box_mesh([40.0, 30.0, 50.0], [16, 12, 20])),
        ("cone", cone(30.0, 50.0, 2.5)),
        ("frustum", frustum(30.0, 18.0, 40.0, 2.5)),
    ];
    for (name, mesh) in shapes {
        let moulds = [
            MouldShape::Blanket { thickness: 3.0 },
            MouldShape::Box { side_clearance: 15.0, top_clearance: 15.0 },
            MouldShape::Cylinder { side_clearance: 15.0, top_clearance: 15.0 },
        ];
        for mould in moulds {
            let request = PlanRequest { mould, ..thin_blanket(Some(5.0)) };
            let plan = plan(name, mesh.clone(), &request);
            assert!(plan.cuts.is_empty(), "{name}: {:?}", plan.cuts);
            assert_eq!((plan.total_length, plan.cost, plan.ending.gap), (0.0, 0.0, 0.0), "{name}");
            assert_says_it_releases(name, &plan);
        }
    }
}

/// A slit of length s from a gate of perimeter p lengthens the gate's ring by its two lips, to about
/// p + 2 s; opened until (p + 2 s)(1 + e) = 2 pi r, the sphere comes out. The ring does not follow
/// the corner between gate and slit, though: pulled taut it cuts across, and the exact length is
/// that of the taut string, a little more. For a gate of 5 mm under a ball of 30 mm it is 6 % more.
#[test]
fn sphere_on_a_small_gate_is_opened_by_the_closed_form() {
    let (radius, gate) = (30.0, 5.0);
    let about = (TAU * radius / (1.0 + STRAIN) - TAU * gate) / 2.0;
    let exact = radius * (top_of_cut(radius, gate, STRAIN) - (gate / radius).asin());
    assert!(exact > about && exact < 1.07 * about, "{exact} {about}");
    let mut wrong = Vec::new();
    // The ring grows by about twice what the slit does, so a ring measured d too short makes the slit longer by
    // d times 2 pi r / (1 + e) / 2, which is 1.25 d of its length here. The graph measures between 2.3 % too
    // short and 1.2 % too long by direction (closed form in `solver/src/girth/graph.rs`) and 1 % is let by:
    // 2.9 % too long, 2.8 % too short. On top comes half an edge at the slit's end, which rings pass at vertices.
    for edge in [7.0, 5.0] {
        let name = format!("sphere, edge {edge}");
        let mut request = thin_blanket(Some(edge));
        // A gap of 12 % may be reached by a plan that is 10 % off, and time makes plans hang on the machine:
        // rounds are counted instead.
        (request.budget.target_gap, request.budget.rounds) = (0.01, Some(6));
        // Too small a flat to be taken for a foot unasked.
        request.gate = GateChoice::Patch { centre: Point::origin(), radius: gate + 0.1 };
        let plan = plan(&name, sphere_on_gate(radius, gate, 1.2), &request);
        let error = plan.total_length / exact - 1.0;
        println!("  exact {exact:.2} mm, off by {:.1} %", 100.0 * error);
        wrong.extend(faults(&plan).into_iter().map(|f| format!("{name}: {f}")));
        // Not by the plan's own word: the ring left by a slit of that length against the ball's girth.
        let end = (gate / radius).asin() + plan.total_length / radius;
        let passes = shortest_ring(radius, gate, end) * (1.0 + STRAIN) / (TAU * radius);
        if plan.cuts.len() == 1 && passes < 1.0 - SHORT {
            wrong.push(format!("{name}: the ring left opens to {passes:.3} of the girth"));
        }
        let too_long = 0.029 + 0.5 * edge / exact;
        if !(-0.028..=too_long).contains(&error) {
            wrong.push(format!("{name}: {:.2} mm for {exact:.2} mm", plan.total_length));
        }
        if plan.ending.lower_bound > exact * 1.029 {
            wrong.push(format!("{name}: bound {:.2} mm above {exact:.2}", plan.ending.lower_bound));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// Length of the shortest ring of rubber left on a ball on a rod that is cut along the rod and up to the polar
/// angle `end`, from the rod's axis.
///
/// It goes through the cut's end and round the far side of the rod. It is a taut string: an arc of a great
/// circle from the end to the rod's circle on either side, and the circle's own arc behind. Among all points
/// of the circle where the string may touch down without passing over the circle's inside, the best is
/// looked for by trying them.
fn shortest_ring(ball: f64, rod: f64, end: f64) -> f64 {
    let circle = (rod / ball).asin();
    let on_sphere = |polar: f64, around: f64| {
        Point::new(polar.sin() * around.cos(), polar.sin() * around.sin(), -polar.cos())
    };
    let tip = on_sphere(end, 0.0);
    let mut shortest = f64::INFINITY;
    for k in 0..=400 {
        let around = PI * f64::from(k) / 400.0;
        let touch = on_sphere(circle, around);
        let arc = tip.coords.dot(&touch.coords).clamp(-1.0, 1.0).acos();
        // The arc's points: spherical interpolation.
        let clear = (1..60).all(|j| {
            let share = f64::from(j) / 60.0;
            let p = (tip.coords * ((1.0 - share) * arc).sin() + touch.coords * (share * arc).sin())
                / arc.sin();
            -p.z <= circle.cos() + 1e-6
        });
        if clear {
            shortest = f64::min(shortest, 2.0 * ball * arc + 2.0 * rod * (PI - around));
        }
    }
    shortest
}

/// Polar angle, from the rod's axis, up to which the ball has to be cut: bisection finds where (1 + e) times
/// the shortest ring left is the ball's girth.
fn top_of_cut(ball: f64, rod: f64, strain: f64) -> f64 {
    let wanted = TAU * ball / (1.0 + strain);
    let (mut low, mut high) = ((rod / ball).asin() + 1e-6, 0.9 * PI);
    let ring = |end: f64| shortest_ring(ball, rod, end);
    assert!(ring(low) < wanted && ring(high) > wanted, "no such angle");
    for _ in 0..30 {
        let middle = 0.5 * (low + high);
        if ring(middle) < wanted { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

/// Share of the ball's girth that the ring left by a plan may fall short of: 1.2 % by which the graph may
/// measure a ring too long (closed form in `solver/src/girth/graph.rs`), and 1 % that the search lets by.
const SHORT: f64 = 0.012 + 0.01;

/// The same angle from spherical trigonometry: with c the circle's polar angle, Napier's rules give
/// a tangent arc cos t = cos f / cos c that touches down at the longitude cos B = tan c / tan f.
#[test]
fn taut_string_search_agrees_with_napiers_rules() {
    for (ball, rod, strain) in [(20.0, 8.0, 0.5), (25.0, 8.0, 0.6), (20.0, 10.0, 0.4)] {
        let f = top_of_cut(ball, rod, strain);
        let c = (rod / ball).asin();
        let tangent = (f.cos() / c.cos()).acos();
        let longitude = (c.tan() / f.tan()).acos();
        let ring = 2.0 * ball * tangent + 2.0 * rod * (PI - longitude);
        assert!((ring * (1.0 + strain) / (TAU * ball) - 1.0).abs() < 1e-3, "{ball} {rod} {strain}");
        // Between the latitude circle and the plain way out and back.
        assert!(ring < TAU * ball * f.sin() && ring < TAU * rod + 2.0 * ball * (f - c));
    }
}

#[test]
fn ball_on_a_rod_is_cut_along_the_rod_and_up_the_ball() {
    let (ball, rod, rod_length) = (20.0, 8.0, 30.0);
    let f = top_of_cut(ball, rod, STRAIN);
    let exact = rod_length + ball * (f - (rod / ball).asin());
    let centre = rod_length + (ball * ball - rod * rod).sqrt();
    let (mut errors, mut wrong) = (Vec::new(), Vec::new());
    for (edge, tolerance) in [(6.0, 0.04), (5.0, 0.03), (4.0, 0.02)] {
        let mesh = ball_on_rod(ball, rod, rod_length, 1.2);
        let name = format!("ball on a rod, edge {edge}");
        let mut request = thin_blanket(Some(edge));
        request.budget.target_gap = 0.2;
        let plan = plan(&name, mesh, &request);
        let error = (plan.total_length / exact - 1.0).abs();
        let top = plan.cuts.iter().flat_map(|c| c.branches.iter().flatten()).map(|p| p.z);
        let top = top.fold(f64::NEG_INFINITY, f64::max);
        let reached = ((centre - top) / ball).clamp(-1.0, 1.0).acos();
        println!(
            "  exact {exact:.2} mm, off by {:.1} %; up to {:.1} degrees where {:.1} are exact",
            100.0 * error,
            reached.to_degrees(),
            f.to_degrees()
        );
        errors.push(error);
        wrong.extend(faults(&plan).into_iter().map(|f| format!("{name}: {f}")));
        // Not by the plan's own word: the ring left by its cut, as it runs, against the ball's girth.
        let passes = shortest_ring(ball, rod, reached) * (1.0 + STRAIN) / (TAU * ball);
        if passes < 1.0 - SHORT {
            wrong.push(format!("{name}: the ring left opens to {passes:.3} of the ball's girth"));
        }
        let kinds: Vec<CutKind> = plan.cuts.iter().map(|c| c.kind).collect();
        if kinds != [CutKind::FromGate] {
            wrong.push(format!("{name}: one cut from the gate is enough, found {kinds:?}"));
        }
        if error > tolerance {
            wrong.push(format!("{name}: {:.2} mm for {exact:.2} mm", plan.total_length));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    assert!(errors[2] < errors[0], "refining must help: {errors:?}");
}

/// A ring, lying (a sprue underneath) or standing (a sprue at its rim): the rubber in its hole is a
/// bridge with a rim of 2 pi (R - r) and a disc of pi (R - r)^2, and however it is opened the mould
/// stays whole.
#[test]
fn torus_has_one_bridge_and_its_mould_stays_whole() {
    let (big, small) = (30.0, 10.0);
    let flat = torus_with_edge(big, small, 1.5);
    let up = standing(&flat);
    let foot = Point::new(0.0, 0.0, 0.0);
    let cases = [
        ("lying torus", flat, Point::new(big, 0.0, -small), 7.0),
        ("standing torus", up, foot, 8.0),
    ];
    for (name, mesh, centre, radius) in cases {
        let mut request = thin_blanket(Some(6.0));
        request.gate = GateChoice::Patch { centre, radius };
        // A wide model on a small gate, for which bounds are weak; how long its cuts are is not asked. It ends
        // by its gap wherever the clock lets it.
        request.budget.target_gap = 0.6;
        request.budget.seconds = 500.0;
        let plan = plan(name, mesh, &request);
        assert_eq!((plan.figures.genus, plan.figures.holes), (1, 1), "{name}");
        assert_eq!(plan.bridges.len(), 1, "{name}");
        let bridge = &plan.bridges[0];
        assert_eq!((bridge.kind, &bridge.disc), (BridgeKind::Handle, &DiscState::Plain));
        let inner = big - small;
        let rim = (bridge.rim_length / (TAU * inner) - 1.0).abs();
        let neck = (bridge.neck_area / (PI * inner * inner) - 1.0).abs();
        println!("  rim off by {:.2} %, disc by {:.2} %", 100.0 * rim, 100.0 * neck);
        // That rim and disc come nearer with finer meshes is tested beside the bridges.
        assert!(rim < 0.03 && neck < 0.05, "{name}: {bridge:?}");
        assert_eq!(across_bridges(&plan).len(), 1, "{name}");
        // Rubber on either side of the bridge's cut goes round the ring as round a disc. A loop that lets a
        // thing of diameter d pass is at least 2 d long (the perimeter of its hull; Cauchy, textbook),
        // and what the gate and both lips of a cut give is stretched by 1 + e.
        let opened: f64 = exterior(&plan).iter().map(|c| c.length).sum();
        let least = 4.0 * (big + small) / (1.0 + STRAIN) - TAU * radius;
        assert!(2.0 * opened > 0.98 * least, "{name}: {opened:.1} mm of opening");
        assert_says_it_releases(name, &plan);
        assert_bridges_are_reached(name, &plan);
        assert_no_ring_of_cuts(name, &plan.cuts);
    }
}

/// Beside each bridge the blade has the opening it needs, and the plan says so.
fn assert_bridges_are_reached(name: &str, plan: &Plan) {
    for (index, bridge) in plan.bridges.iter().enumerate() {
        let limit = limit(plan, &format!("bridge {}", bridge_letter(index)));
        assert!(limit.met, "{name}: {}: {}", limit.name, limit.text);
        assert!(bridge.opening >= 0.95 * bridge.opening_needed, "{name}: {bridge:?}");
    }
}

/// Exterior cuts alone never close a ring: no branch comes back to where it began, and no two
/// ends of one cut meet but at a branching.
fn assert_no_ring_of_cuts(name: &str, cuts: &[Cut]) {
    for cut in cuts.iter().filter(|c| c.kind != CutKind::Bridge) {
        let mut nodes: Vec<Point> = Vec::new();
        let mut node = |p: Point| match nodes.iter().position(|q| (q - p).norm() < 1e-3) {
            Some(k) => k,
            None => {
                nodes.push(p);
                nodes.len() - 1
            }
        };
        let ends: Vec<[usize; 2]> = cut
            .branches
            .iter()
            .map(|b| [node(b[0]), node(*b.last().expect("a branch has points"))])
            .collect();
        // A connected graph without rings has one node more than edges.
        assert!(nodes.len() > ends.len(), "{name}: cut {} closes a ring", cut.order);
    }
}

#[test]
fn every_handle_is_a_bridge() {
    for handles in 1..=3 {
        let mesh = handles_plate(handles, 4);
        // Standing on its short side, so that the board closes none of the holes.
        let mesh = on_its_end(&mesh);
        let name = format!("plate with {handles} holes");
        let plan = plan(&name, mesh, &thin_blanket(Some(3.5)));
        assert_eq!(plan.figures.genus as usize, handles, "{name}");
        assert_eq!(plan.bridges.len(), handles, "{name}");
        assert_eq!(across_bridges(&plan).len(), handles, "{name}");
        for bridge in &plan.bridges {
            assert_eq!((bridge.kind, &bridge.disc), (BridgeKind::Handle, &DiscState::Plain));
            // A square hole of 10 mm: its disc is 100 mm^2 and its rim 40 mm.
            assert!((bridge.neck_area / 100.0 - 1.0).abs() < 0.25, "{name}: {bridge:?}");
            assert!((bridge.rim_length / 40.0 - 1.0).abs() < 0.15, "{name}: {bridge:?}");
        }
        assert_says_it_releases(&name, &plan);
        assert_bridges_are_reached(&name, &plan);
        assert_no_ring_of_cuts(&name, &plan.cuts);
    }
}

/// The plate turned so that its x axis points up.
fn on_its_end(mesh: &TriangleMesh) -> TriangleMesh {
    TriangleMesh {
        positions: mesh.positions.iter().map(|p| Point::new(p.y, p.z, p.x)).collect(),
        faces: mesh.faces.clone(),
    }
}

#[test]
fn a_knotted_tube_is_called_knotted() {
    // A tube of 5 mm along a trefoil 72 mm across; the sprue sits on its lowest strand.
    let mesh = trefoil_tube(12.0, 5.0, 1.5);
    let lowest = *mesh.positions.iter().min_by(|a, b| a.z.total_cmp(&b.z)).expect("not empty");
    let mut request = thin_blanket(Some(4.0));
    request.gate = GateChoice::Patch { centre: lowest, radius: 6.0 };
    // What is said about the hole does not depend on the search: the first plan will do.
    request.budget.target_gap = 0.95;
    let plan = plan("trefoil", mesh, &request);
    assert_eq!((plan.figures.genus, plan.bridges.len()), (1, 1));
    let DiscState::Knotted { determinant, .. } = &plan.bridges[0].disc else {
        panic!("a knotted hole was given a plain disc");
    };
    // The trefoil's determinant is 3 (any table of knots; from memory).
    assert_eq!(*determinant, Some(3));
    let said = limit(&plan, "bridge A");
    assert!(!said.met && said.text.contains("knot"), "{said:?}");
    assert!(across_bridges(&plan).is_empty(), "no knife crosses a knotted hole");
}

/// What stands on n feet has n - 1 holes with the board: each is a bridge between board and
/// model.
#[test]
fn feet_make_bridges_with_the_board() {
    let cases = [
        ("arch", two_footed_arch(4), 1),
        ("stool on three feet", stool(3, 4), 2),
        ("stool on four feet", stool(4, 4), 3),
    ];
    for (name, mesh, bridges) in cases {
        let plan = plan(name, mesh, &thin_blanket(Some(3.5)));
        assert_eq!((plan.figures.genus, plan.figures.holes), (0, bridges), "{name}");
        assert_eq!(plan.bridges.len() as u32, bridges, "{name}");
        for bridge in &plan.bridges {
            assert_eq!((bridge.kind, &bridge.disc), (BridgeKind::Arch, &DiscState::Plain));
            assert!(!bridge.closed, "{name}: the board closes the cut");
        }
        assert_eq!(across_bridges(&plan).len() as u32, bridges, "{name}");
        assert_says_it_releases(name, &plan);
        assert_bridges_are_reached(name, &plan);
        assert_no_ring_of_cuts(name, &plan.cuts);
        assert!(exterior(&plan).iter().all(|c| c.length > 0.0));
    }
}
