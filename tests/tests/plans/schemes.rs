//! Drawn cuts judged on shapes whose answer follows from plane or spherical geometry.

use std::f64::consts::{PI, TAU};

use crate::job::{STRAIN, across_bridges, limit, model, thin_blanket};
use slitwright_solver::body::GateChoice;
use slitwright_solver::control::{Cancel, Control};
use slitwright_solver::mesh::{Point, TriangleMesh};
use slitwright_solver::plan::{
    CutKind, Judged, Miss, NamedPlan, PlanError, PlanRequest, Scheme, SchemeCut, SchemeFault,
    SchemeLine, StopReason, compare, judge_scheme, make_plan,
};
use slitwright_tests::{ball_on_rod, torus_with_edge};

/// A ball on a rod that stands on the board: the rod's foot is the gate, and its rim is a crease, so
/// that the mesh knows it well.
const RADIUS: f64 = 20.0;
const ROD: f64 = 8.0;
const ROD_LENGTH: f64 = 12.0;

fn ball() -> (TriangleMesh, PlanRequest) {
    (ball_on_rod(RADIUS, ROD, ROD_LENGTH, 1.2), thin_blanket(Some(2.8)))
}

fn line(name: &str, points: Vec<Point>) -> SchemeCut {
    SchemeCut { name: name.to_owned(), line: SchemeLine::Points(points) }
}

fn scheme(cuts: Vec<SchemeCut>) -> Scheme {
    Scheme { cuts, ..Scheme::default() }
}

fn judged(mesh: TriangleMesh, request: &PlanRequest, cuts: Vec<SchemeCut>) -> Judged {
    let judged = judge_scheme(&model(mesh), request, &scheme(cuts), &Control::silent())
        .unwrap_or_else(|error| panic!("{error}"));
    for miss in &judged.misses {
        println!("  {} at {:?}", miss.text(), miss.place());
    }
    judged
}

/// Height of the ball's centre.
fn centre() -> f64 {
    ROD_LENGTH + (RADIUS * RADIUS - ROD * ROD).sqrt()
}

/// Where the ball meets the rod, as an angle from the rod's axis.
fn foot() -> f64 {
    (ROD / RADIUS).asin()
}

/// A point of the ball by its angle from the rod's axis and its longitude.
fn on_ball(polar: f64, around: f64) -> Point {
    let (sine, cosine) = polar.sin_cos();
    Point::new(
        RADIUS * sine * around.cos(),
        RADIUS * sine * around.sin(),
        centre() - RADIUS * cosine,
    )
}

/// A cut straight up rod and ball, of a length.
fn upright(length: f64) -> Vec<Point> {
    let around = 0.4f64;
    let on_rod = (0..=8)
        .map(|k| ROD_LENGTH * f64::from(k) / 8.0)
        .map(|z| Point::new(ROD * around.cos(), ROD * around.sin(), z));
    let arc = (length - ROD_LENGTH) / RADIUS;
    let up = (1..=40).map(|k| on_ball(foot() + arc * f64::from(k) / 40.0, around));
    on_rod.chain(up).collect()
}

/// Length of the taut ring through the end of a cut and round the rod, with the end at an angle from the
/// rod's axis: by Napier's rules, with c the angle of the rod, a tangent arc cos t = cos f / cos c
/// touches down at the longitude cos B = tan c / tan f (as in `exact_cases`).
fn taut_ring(end: f64) -> f64 {
    let tangent = (end.cos() / foot().cos()).acos();
    let longitude = (foot().tan() / end.tan()).acos();
    2.0 * RADIUS * tangent + 2.0 * ROD * (PI - longitude)
}

/// Length of the cut with which that ring, stretched, is the ball's girth.
fn needed() -> f64 {
    let (mut low, mut high) = (foot() + 1e-6, 0.9 * PI);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if taut_ring(middle) * (1.0 + STRAIN) < TAU * RADIUS { low = middle } else { high = middle }
    }
    ROD_LENGTH + RADIUS * (0.5 * (low + high) - foot())
}

fn rings(judged: &Judged) -> Vec<&Miss> {
    judged.misses.iter().filter(|miss| matches!(miss, Miss::TightRing { .. })).collect()
}

/// By how much rings and girths on a mesh of edges of 2.8 mm may be off: the look at a cut's end errs to
/// the safe side.
const MESH: f64 = 0.06;

/// The closed form's cut opens the ball as well as the mesh can tell: with a twentieth more it is open,
/// as it is the ring lacks no more than that. Its length is what was drawn, and nothing is proved.
#[test]
fn a_cut_of_the_closed_form_opens_a_ball() {
    let (mesh, request) = ball();
    let exact = needed();
    let barely = judged(mesh.clone(), &request, vec![line("seam", upright(exact))]);
    for miss in rings(&barely) {
        let Miss::TightRing { stretched_length, girth, .. } = miss else { continue };
        assert!(girth - stretched_length < MESH * TAU * RADIUS, "{miss:?}");
    }
    assert!((barely.plan.total_length / exact - 1.0).abs() < 0.02);
    let judged = judged(mesh, &request, vec![line("seam", upright(1.05 * exact))]);
    assert!(rings(&judged).is_empty(), "{:?}", judged.misses);
    assert!(judged.works() && limit(&judged.plan, "release").met);
    let plan = &judged.plan;
    assert_eq!((plan.cuts.len(), plan.cuts[0].kind), (1, CutKind::FromGate));
    assert!((plan.total_length / (1.05 * exact) - 1.0).abs() < 0.02, "{}", plan.total_length);
    assert_eq!((plan.ending.stopped_by, plan.ending.lower_bound), (StopReason::Judged, 0.0));
    assert!(plan.limits.iter().all(|limit| limit.name != "gap"));
    assert!(plan.sheets.as_ref().is_some_and(|sheets| sheets.one_piece.holds()));
}

/// A cut that is a fifth shorter leaves the ring through its end too tight by 2 pi r - (1 + e) l, with
/// l from [`taut_ring`].
#[test]
fn a_cut_too_short_by_a_fifth_tells_how_tight_the_ring_is() {
    let (mesh, request) = ball();
    let length = 0.8 * needed();
    let end = foot() + (length - ROD_LENGTH) / RADIUS;
    let judged = judged(mesh, &request, vec![line("seam", upright(length))]);
    assert!(!judged.works() && !limit(&judged.plan, "release").met);
    // The ball stands on the rod: what is held lies above the ring, both in the middle.
    let held = &limit(&judged.plan, "release").text;
    assert!(held.contains(" mm above the board, "), "{held}");
    let girth = TAU * RADIUS;
    let ring = taut_ring(end);
    let lacking = girth - ring * (1.0 + STRAIN);
    assert!(lacking > 2.0 * MESH * girth, "the case is clear: {lacking}");
    let found = rings(&judged);
    let Some(Miss::TightRing { ring_length, stretched_length, girth: wide, place, beyond }) =
        found.first()
    else {
        panic!("no ring: {:?}", judged.misses);
    };
    assert!((ring_length / ring - 1.0).abs() < MESH, "{ring_length} for {ring}");
    assert!((stretched_length / ring_length - 1.0 - STRAIN).abs() < 1e-6);
    assert!((wide / girth - 1.0).abs() < MESH, "{wide} for {girth}");
    assert!((wide - stretched_length - lacking).abs() < 0.5 * MESH * girth, "for {lacking}");
    // The ring lies low, round cut and gate; what is beyond has its middle above it.
    assert!(place.z < centre() && beyond.z > place.z, "{place} {beyond}");
    assert!(found[0].text().contains("is too tight"));
}

/// A ring of cut about the equator parts the mould in two: above it lies half of the ball's surface, less
/// than half of the whole.
#[test]
fn a_ring_of_cut_parts_the_mould() {
    let (mesh, request) = ball();
    let equator = (0..=80).map(|k| on_ball(0.5 * PI, TAU * f64::from(k) / 80.0)).collect();
    let judged = judged(mesh, &request, vec![line("ring", equator)]);
    assert!(!judged.works());
    assert!(!limit(&judged.plan, "one piece").met);
    assert!(!limit(&judged.plan, "one piece of rubber").met);
    let parted = judged.misses.iter().find_map(|miss| match miss {
        Miss::FallsApart { share, place } => Some((*share, *place)),
        _ => None,
    });
    let (share, place) = parted.expect("it says that the mould is parted");
    let upper = TAU * RADIUS * RADIUS;
    let lower = upper * foot().cos() + TAU * ROD * ROD_LENGTH + PI * ROD * ROD;
    assert!((share - upper / (upper + lower)).abs() < 0.05, "{share}");
    // The centroid of a half sphere's surface lies half a radius from its plane (elementary).
    assert!((place.z - centre() - 0.5 * RADIUS).abs() < 0.1 * RADIUS, "{place}");
}

const BIG: f64 = 30.0;
const SMALL: f64 = 10.0;

fn lying_torus() -> (TriangleMesh, PlanRequest) {
    let mut request = thin_blanket(Some(5.0));
    // How good the plan is that is drawn again does not matter.
    request.budget.target_gap = 0.6;
    request.gate = GateChoice::Patch { centre: Point::new(BIG, 0.0, -SMALL), radius: 7.0 };
    (torus_with_edge(BIG, SMALL, 1.5), request)
}

/// Rubber left whole in the hole of a torus is told of with its place, the middle of the hole.
#[test]
fn an_uncut_bridge_is_told() {
    let (mesh, request) = lying_torus();
    let judged = judged(mesh, &request, Vec::new());
    assert!(!judged.works());
    let uncut = judged.misses.iter().find_map(|miss| match miss {
        Miss::UncutBridge { bridge, place } => Some((*bridge, *place)),
        _ => None,
    });
    let (bridge, place) = uncut.expect("it says that the bridge is not cut");
    assert_eq!(bridge, 0);
    assert!(place.coords.norm() < 0.1 * BIG, "{place}");
    assert!(!limit(&judged.plan, "bridge A").met);
    assert!(across_bridges(&judged.plan).is_empty() && judged.plan.total_length == 0.0);
}

/// A bridge is cut by name, or by a line drawn round the hole; here one a little above the middle,
/// where its circle has the radius R - r cos a.
#[test]
fn a_bridge_is_cut_by_name_or_by_a_line_round_its_hole() {
    let tilt = 0.5f64;
    let circle = BIG - SMALL * tilt.cos();
    let drawn = (0..=60)
        .map(|k| {
            let (sine, cosine) = (TAU * f64::from(k) / 60.0).sin_cos();
            Point::new(circle * cosine, circle * sine, SMALL * tilt.sin())
        })
        .collect();
    let named = SchemeCut { name: "1".to_owned(), line: SchemeLine::Bridge(0) };
    let (mesh, request) = lying_torus();
    for (cut, length) in [(named, TAU * (BIG - SMALL)), (line("hole", drawn), TAU * circle)] {
        let judged = judged(mesh.clone(), &request, vec![cut]);
        assert!(judged.misses.iter().all(|miss| !matches!(miss, Miss::UncutBridge { .. })));
        assert!(!judged.misses.iter().any(|miss| matches!(miss, Miss::FallsApart { .. })));
        let cuts = across_bridges(&judged.plan);
        assert_eq!(cuts.len(), 1);
        assert!((cuts[0].length / length - 1.0).abs() < 0.04, "{} {length}", cuts[0].length);
        // Nothing opens the way to it: a handle's blade needs an opening.
        let short = |miss: &Miss| matches!(miss, Miss::ShortOpening { bridge: 0, opening, .. } if *opening == 0.0);
        assert!(judged.misses.iter().any(short), "{:?}", judged.misses);
    }
}

/// The cuts of an automatic plan, drawn again, pass the same eyes; branches meet where they met.
#[test]
fn an_automatic_plan_passes_as_a_scheme() {
    let (mesh, request) = lying_torus();
    let plan = make_plan(&model(mesh.clone()), &request, &Control::silent()).expect("a plan");
    let mut cuts = Vec::new();
    for cut in &plan.cuts {
        if cut.kind == CutKind::Bridge {
            cuts.push(SchemeCut { name: cut.order.to_string(), line: SchemeLine::Bridge(0) });
        } else {
            let branches = cut.branches.iter().cloned();
            cuts.extend(branches.map(|branch| line(&cut.order.to_string(), branch)));
        }
    }
    assert!(cuts.len() >= 2, "a bridge and what opens it");
    let judged = judged(mesh, &request, cuts);
    assert!(judged.works(), "{:?}", judged.misses);
    assert!((judged.plan.total_length / plan.total_length - 1.0).abs() < 0.02);
    assert_eq!(judged.plan.cuts.len(), plan.cuts.len());
}

/// Faults are told all at once, each with the cut and the point.
#[test]
fn what_cannot_be_read_is_refused() {
    let (mesh, request) = ball();
    let ready = model(mesh);
    let refused = |scheme: &Scheme, control: &Control<'_>| {
        judge_scheme(&ready, &request, scheme, control).expect_err("refused")
    };
    let mut off = upright(30.0);
    off[3].x += 5.0;
    let mut lost = upright(30.0);
    lost[7].y = f64::NAN;
    let cuts = vec![line("left", off), line("right", lost), line("dot", vec![on_ball(1.0, 0.0)])];
    let PlanError::Scheme(faults) = refused(&scheme(cuts), &Control::silent()) else {
        panic!("a fault of the scheme");
    };
    assert_eq!(faults.len(), 3, "{faults:?}");
    assert!(matches!(
        &faults[0],
        SchemeFault::OffModel { cut, point: 3, distance, limit } if cut == "left" && *distance > 1.0 && *limit == 1.0
    ));
    assert!(matches!(&faults[1], SchemeFault::NotFinite { cut, point: 7 } if cut == "right"));
    assert!(matches!(&faults[2], SchemeFault::TooFewPoints { cut } if cut == "dot"));
    let bridge = SchemeCut { name: "b".to_owned(), line: SchemeLine::Bridge(2) };
    let error = refused(&scheme(vec![bridge]), &Control::silent());
    assert_eq!(error.to_string(), "cut b: bridge C does not exist, the model has 0");
    let bad = Scheme { tolerance: 0.0, ..Scheme::default() };
    assert!(refused(&bad, &Control::silent()).to_string().starts_with("scheme.tolerance is 0"));
    let cancel = Cancel::new();
    cancel.cancel();
    let stopped = refused(&scheme(Vec::new()), &Control::new(cancel, |_| {}));
    assert!(matches!(stopped, PlanError::Cancelled(_)), "{stopped}");
}

/// Three schemes for a ball: hardly more than the closed form's cut, one much longer, and one too short. The
/// shortest that works is on the front, what does not work never is.
#[test]
fn schemes_are_compared() {
    let (mesh, request) = ball();
    let ready = model(mesh);
    let cut = |share: f64| {
        let cuts = vec![line("seam", upright(share * needed()))];
        judge_scheme(&ready, &request, &scheme(cuts), &Control::silent()).expect("judged").plan
    };
    let plans = [1.05, 1.3, 0.7].map(cut);
    let candidates: Vec<NamedPlan<'_>> = ["fit", "long", "short"]
        .into_iter()
        .zip(&plans)
        .map(|(name, plan)| NamedPlan { name, plan })
        .collect();
    let compared = compare(&candidates);
    let [fit, long, short] = &compared.rows[..] else { panic!("three rows") };
    assert!(fit.works && long.works && !short.works);
    assert!((long.total_length / fit.total_length - 1.3 / 1.05).abs() < 0.02);
    assert!(fit.on_front && !short.on_front);
    assert_eq!(compared.front()[0].name, "fit");
    assert_eq!(short.missed[0], "release");
    // A seam shows less where the ground is round: 1 - 2 x 5 mm H with the mean curvature H, which is
    // 1 / r on the ball and half of that on the rod.
    let on_rod = ROD_LENGTH / needed();
    let seen = on_rod * (1.0 - 5.0 / ROD) + (1.0 - on_rod) * (1.0 - 10.0 / RADIUS);
    let shown = fit.seam_on_show / fit.total_length;
    assert!((shown - seen).abs() < 0.1, "{shown} for {seen}");
    let table = slitwright_solver::outputs::comparison_table(&compared);
    assert!(table.contains("short misses: release"), "{table}");
    println!("{table}");
    if let Ok(folder) = std::env::var("SLITWRIGHT_PICTURES") {
        let plans: Vec<_> = plans.iter().collect();
        let style = slitwright_solver::outputs::pictures::PictureStyle::default();
        let picture = slitwright_solver::outputs::pictures::draw_comparison(
            &ready.original,
            &plans,
            &compared,
            &style,
        );
        std::fs::write(format!("{folder}/comparison.png"), picture.expect("draws").png)
            .expect("writes");
    }
}
