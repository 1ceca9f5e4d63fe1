//! Blocks cut on a sheet that parts them in two, but for a hinge.

use super::shapes::{ball_on_rod, upright};
use crate::body::{MouldBody, MouldShape, Rubber};
use crate::control::Control;
use crate::mesh::{Point, TriangleMesh};
use crate::trial::{FilledRubber, Outcome, TrialReport, TrialSettings, TrialSetup, pieces_in, run};

/// A ball of radius 12 mm on a rod of radius 4 mm in a block with walls of 9 mm: 25 Shore A. Uncut it takes 155 to 163 N
/// without friction, 192 N with (own run of an independent simulation by incremental potential contact).
fn tried(sheets: &[TriangleMesh], settings: &TrialSettings) -> TrialReport {
    tried_with(sheets, &[], settings)
}

/// The same with discs across.
fn tried_with(
    sheets: &[TriangleMesh],
    across: &[TriangleMesh],
    settings: &TrialSettings,
) -> TrialReport {
    asked(sheets, across, settings, |setup| run(setup, &Control::silent()).expect("runs"))
}

fn asked<T>(
    sheets: &[TriangleMesh],
    across: &[TriangleMesh],
    settings: &TrialSettings,
    ask: impl Fn(&TrialSetup<'_>) -> T,
) -> T {
    let model = ball_on_rod(12.0, 4.0, 12.0);
    let block = MouldShape::Box { side_clearance: 9.0, top_clearance: 9.0 };
    let body = MouldBody::new(&model, &block).expect("a body");
    let rubber = Rubber::default();
    let setup = TrialSetup {
        body: &body,
        model: &model,
        sheets,
        across,
        rubber: &rubber,
        bridges: &[],
        plugs: &[],
        settings,
    };
    ask(&setup)
}

fn settings(elements: usize) -> TrialSettings {
    TrialSettings { elements, steps: 12, ..TrialSettings::default() }
}

/// Two halves without a hinge are drawn aside with next to nothing, and then nothing is in the way.
#[test]
fn two_halves_come_off_with_next_to_no_force() {
    let whole = upright([-60.0, 60.0], [-1.0, 60.0]);
    let apart = TrialSettings { opening: Some(14.0), ..settings(4000) };
    let report = tried(&[whole], &apart);
    assert_eq!((report.outcome, report.mesh.pieces), (Outcome::Released, 2));
    assert!(report.greatest_pull() < 2.0, "{:?}", report.pull);
    assert!(report.stretch_99 < 0.05, "{}", report.stretch_99);
}

/// A cut across in one of the halves that reaches the outside is drawn apart by nobody: hands at its lips would draw on one and
/// the same half, one against the other.
#[test]
fn a_cut_across_is_not_drawn_apart() {
    let whole = upright([-60.0, 60.0], [-1.0, 60.0]);
    let [low, high] = [14.0, 32.0];
    let corners = [[8.0, low], [40.0, low], [40.0, high], [8.0, high]];
    let across = TriangleMesh {
        positions: corners.map(|[y, z]| Point::new(0.0, y, z)).to_vec(),
        faces: vec![[0, 1, 2], [0, 2, 3]],
    };
    let apart = TrialSettings { opening: Some(14.0), ..settings(4000) };
    let report = tried_with(&[whole], &[across], &apart);
    assert_eq!(report.outcome, Outcome::Released);
    assert!(report.greatest_pull() < 2.0, "{:?}", report.pull);
    assert!(report.stretch_99 < 0.05, "{}", report.stretch_99);
}

/// Two halves with a hinge on one side, 7 mm of the wall of 9 mm: it takes less than half of the pull of the uncut
/// block.
#[test]
fn halves_on_a_hinge_come_off_with_less_than_half_of_the_pull_uncut() {
    let hinged = upright([-60.0, 14.0], [-1.0, 60.0]);
    let report = tried(&[hinged], &settings(4000));
    assert_eq!((report.outcome, report.mesh.pieces), (Outcome::Released, 1));
    assert!(report.greatest_pull() < 0.5 * 155.0, "{:?}", report.pull);
}

/// With the cut of the bench on one side, up to the ball's top, the rubber comes off with 44 to 58 N (the same
/// independent simulation), whatever the mesh.
#[test]
fn a_finer_mesh_does_not_turn_the_verdict() {
    let side = [upright([0.0, 60.0], [-1.0, 36.0])];
    for elements in [4000, 8000, 16_000] {
        let report = tried(&side, &settings(elements));
        assert_eq!(report.outcome, Outcome::Released, "{elements}: {:?}", report.pull);
        assert!(report.greatest_pull() < 200.0, "{elements}: {:?}", report.pull);
    }
}

/// Uncut, and with 100 N, it is stuck whatever the mesh.
#[test]
fn a_finer_mesh_does_not_free_what_is_stuck() {
    for elements in [4000, 8000] {
        let weak = TrialSettings { hand_force: 100.0, ..settings(elements) };
        let report = tried(&[], &weak);
        assert!(matches!(report.outcome, Outcome::Stuck { .. }), "{:?}", report.outcome);
        assert!(report.progress < 1.0 && report.progress > 0.0, "{}", report.progress);
    }
}

/// A hinge of 2 mm at the outside of a wall of 9 mm: elements of four times that lose it, so that two halves hang by nothing; those
/// of its width keep it. Cut through, it is two halves for either.
#[test]
fn coarse_elements_lose_a_neck_that_finer_ones_keep() {
    let pieces = |to: f64, elements: usize| {
        let control = Control::silent();
        let count = |setup: &TrialSetup<'_>| {
            pieces_in(&FilledRubber::default(), setup, &control).expect("counted")
        };
        asked(&[upright([-60.0, to], [-1.0, 60.0])], &[], &settings(elements), count)
    };
    assert_eq!([pieces(19.0, 700), pieces(19.0, 40_000)], [2, 1]);
    assert_eq!([pieces(60.0, 700), pieces(60.0, 40_000)], [2, 2]);
}
