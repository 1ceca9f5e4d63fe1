//! Areas that cuts have to keep off, from the request to the plan.

use crate::job::{exterior, faults, limit, model, plan, thin_blanket};
use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use slitwright_solver::control::Control;
use slitwright_solver::mesh::Point;
use slitwright_solver::plan::{Plan, PlanError, PlanRequest, make_plan};
use slitwright_solver::sheets::{Area, SeamAreas};
use slitwright_tests::ball_on_rod;

const ROD: f64 = 8.0;
const ROD_LENGTH: f64 = 30.0;

fn request(keep_off: Vec<Area>) -> PlanRequest {
    let mut request = thin_blanket(Some(4.0));
    request.areas = SeamAreas { keep_off, preferred: Vec::new() };
    // Whether an area is crossed does not depend on how good the plan is.
    request.budget.target_gap = 0.6;
    request
}

/// Points of the plan's exterior cuts, 0.1 mm apart.
fn along(plan: &Plan) -> Vec<Point> {
    let mut points = Vec::new();
    for branch in exterior(plan).iter().flat_map(|c| &c.branches) {
        for pair in branch.windows(2) {
            let steps = ((pair[1] - pair[0]).norm() / 0.1).ceil().max(1.0) as u32;
            points.extend(
                (0..=steps)
                    .map(|k| pair[0] + (pair[1] - pair[0]) * (f64::from(k) / f64::from(steps))),
            );
        }
    }
    points
}

/// Whichever face of the model on a plan's way is kept off, and some chosen at random, no cut of
/// the next plan runs over any of them, and the model still comes out.
#[test]
fn faces_kept_off_are_never_crossed() {
    let mesh = ball_on_rod(20.0, ROD, ROD_LENGTH, 1.2);
    let mut random = ChaCha8Rng::seed_from_u64(7);
    let mut kept: Vec<Area> = Vec::new();
    for round in 0..4 {
        let plan = plan(&format!("{} areas", kept.len()), mesh.clone(), &request(kept.clone()));
        assert!(faults(&plan).is_empty(), "{:?}", faults(&plan));
        let points = along(&plan);
        assert!(points.len() > 100, "a cut is needed");
        for area in &kept {
            assert!(!points.iter().any(|p| area.holds(p)), "round {round}: {area:?} is crossed");
        }
        if !kept.is_empty() {
            assert!(limit(&plan, "areas kept free").met);
        }
        // The next time the places where this plan runs are kept off, and others.
        let on_the_way = points[random.random_range(points.len() / 4..3 * points.len() / 4)];
        let nearest = (0..mesh.faces.len())
            .min_by(|&a, &b| {
                let far = |f: usize| {
                    let corners = mesh.faces[f].map(|v| mesh.positions[v as usize]);
                    let sum = corners.iter().fold(Point::origin().coords, |s, c| s + c.coords);
                    (Point::from(sum / 3.0) - on_the_way).norm()
                };
                far(a).total_cmp(&far(b))
            })
            .expect("faces");
        for face in [nearest, random.random_range(0..mesh.faces.len())] {
            let corners = mesh.faces[face].map(|v| mesh.positions[v as usize]).to_vec();
            kept.push(Area::Polygon { corners });
        }
    }
}

/// Every way up the rod is barred: there is no plan, and the message says why.
#[test]
fn areas_that_leave_no_way_are_named() {
    let mesh = ball_on_rod(20.0, ROD, ROD_LENGTH, 1.2);
    let collar = Area::Ball { centre: Point::new(0.0, 0.0, 0.5 * ROD_LENGTH), radius: 1.2 * ROD };
    let error = make_plan(&model(mesh), &request(vec![collar]), &Control::silent())
        .expect_err("no plan can release it");
    assert_eq!(error, PlanError::KeptOff);
    assert!(error.to_string().contains("areas.keep_off"), "{error}");
}
