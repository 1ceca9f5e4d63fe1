//! What the potential in the rubber adds to a plan, from the request to the protocol and the page of
//! words: holes confirmed, near-bridges told.

use demo_models::piece;
use slitwright_server::convert::plan_to_proto;
use slitwright_solver::control::Control;
use slitwright_solver::mesh::{Point, PrepareOptions, prepare_mesh};
use slitwright_solver::outputs::summary;
use slitwright_solver::plan::{
    Budget, PlanRequest, Resolution, TrialMode, TrialRequest, make_plan,
};

/// The demo piece is built so: two holes between arms and body, the plait's tip about 2.5 mm off
/// her back.
#[test]
fn the_dancer_has_two_bridges_and_a_near_one() {
    let dancer = piece("dancer").expect("the dancer");
    let mesh = dancer.mesh().expect("a mesh");
    let model = prepare_mesh(mesh, &PrepareOptions::default()).expect("a sound piece");
    // The first plan will do: nothing here depends on how good it is.
    let request = PlanRequest {
        budget: Budget { seconds: 120.0, target_gap: 0.95, seed: 1, rounds: None },
        resolution: Resolution { deviation: None, planning_edge: Some(9.0) },
        trial: TrialRequest { mode: TrialMode::Off, ..TrialRequest::default() },
        ..PlanRequest::default()
    };
    let plan = make_plan(&model, &request, &Control::silent()).expect("a plan");
    println!("{:?}\n{:?}", plan.figures.seconds, plan.near_bridges);
    assert_eq!(plan.bridges.len(), 2);
    assert!(plan.bridges.iter().all(|b| b.confirmed.is_some()), "{:?}", plan.warnings);
    assert!(plan.warnings.iter().all(|w| !w.contains("potential")), "{:?}", plan.warnings);
    assert_eq!(plan.near_bridges.len(), 1, "{:?}", plan.near_bridges);
    let near = &plan.near_bridges[0];
    assert!((near.gap - 2.5).abs() < 0.7, "{near:?}");
    // Between the back and the plait's lower end, in the model's coordinates.
    assert!((near.place - Point::new(0.0, 13.0, 115.0)).norm() < 6.0, "{near:?}");

    let sent = plan_to_proto(&plan);
    for (bridge, sent) in plan.bridges.iter().zip(&sent.bridges) {
        let (own, saddle) = (bridge.confirmed.as_ref(), sent.saddle.as_ref());
        assert!(own.is_some_and(|s| s.rim_length.is_some()), "{own:?}");
        assert_eq!(own.map(|s| s.rim_length), saddle.map(|s| s.rim_length_mm));
        assert_eq!(own.map(|s| s.level), saddle.map(|s| s.level));
        assert_eq!(own.map(|s| s.loop_taken), saddle.map(|s| s.cut_follows_rim));
        let place = saddle.and_then(|s| s.place).expect("a place");
        assert!((Point::new(place.x, place.y, place.z) - bridge.centre).norm() < 6.0);
    }
    assert_eq!(sent.near_bridges.len(), 1);
    let told = &sent.near_bridges[0];
    assert_eq!((told.gap_mm, told.persistence), (near.gap, near.persistence));
    assert_eq!(told.from.map(|p| p.y), Some(near.ends[0].y));
    assert_eq!(told.to.map(|p| p.y), Some(near.ends[1].y));
    let page = summary(&plan, &model.original);
    let page = page.split_whitespace().collect::<Vec<_>>().join(" ");
    let (foot, _) = model.original.bounds().expect("bounds");
    let height = near.place.z - foot.z;
    let thin =
        format!("The rubber is only {:.1} mm thick, {height:.0} mm above the board", near.gap);
    assert!(page.contains(&thin), "{thin:?} is not in {page}");
    assert!(page.contains("A second check, of the rubber, also found this hole"), "{page}");
}
