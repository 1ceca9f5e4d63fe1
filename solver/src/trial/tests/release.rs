//! Whole trials with known outcomes.

use super::shapes::{arch, ball, ball_on_rod, leaning, revolved, standing_torus, upright};
use crate::body::{MouldBody, MouldShape, Rubber};
use crate::control::{Cancel, Control};
use crate::mesh::{Point, TriangleMesh, Vector};
use crate::trial::{
    BridgePlace, FilledRubber, Frame, Hindrance, Hold, Outcome, TrialError, TrialReport,
    TrialSettings, TrialSetup, run, run_in,
};

fn settings() -> TrialSettings {
    TrialSettings { elements: 5000, steps: 12, ..TrialSettings::default() }
}

/// A weak pull: at this resolution the ball takes about 190 N uncut and 100 N cut.
fn by_one_hand() -> TrialSettings {
    TrialSettings { hand_force: 150.0, ..settings() }
}

fn tried(
    model: &TriangleMesh,
    shape: &MouldShape,
    sheets: &[TriangleMesh],
    bridges: &[BridgePlace],
    settings: &TrialSettings,
) -> TrialReport {
    tried_with(model, shape, (sheets, &[]), bridges, settings)
}

/// The same with discs across beside the sheets.
fn tried_with(
    model: &TriangleMesh,
    shape: &MouldShape,
    (sheets, across): (&[TriangleMesh], &[TriangleMesh]),
    bridges: &[BridgePlace],
    settings: &TrialSettings,
) -> TrialReport {
    let body = MouldBody::new(model, shape).expect("a body");
    let rubber = Rubber::default();
    let setup = TrialSetup {
        body: &body,
        model,
        sheets,
        across,
        rubber: &rubber,
        bridges,
        plugs: &[],
        settings,
    };
    run(&setup, &Control::silent()).expect("runs")
}

const BLOCK: MouldShape = MouldShape::Box { side_clearance: 9.0, top_clearance: 9.0 };

#[test]
fn a_cone_on_its_base_comes_out_uncut() {
    let cone = revolved(&[[12.0, 0.0], [6.0, 20.0]], 40);
    let report = tried(&cone, &BLOCK, &[], &[], &settings());
    assert_eq!(report.outcome, Outcome::Released);
    assert!(report.stretch_99 < 0.05, "{}", report.stretch_99);
}

/// Rubber that another trial of the mould has filled with elements is cut elsewhere as if it were filled anew.
#[test]
fn filled_rubber_serves_for_other_cuts_of_the_mould() {
    let model = ball_on_rod(12.0, 8.0, 8.0);
    let body = MouldBody::new(&model, &BLOCK).expect("a body");
    let settings = TrialSettings { elements: 2500, steps: 4, ..TrialSettings::default() };
    let rubber = Rubber::default();
    let cuts = [[-1.0, 20.0], [-1.0, 40.0]].map(|upto| [upright([0.0, 40.0], upto)]);
    let setups = cuts.each_ref().map(|cut| TrialSetup {
        body: &body,
        model: &model,
        sheets: cut,
        across: &[],
        rubber: &rubber,
        bridges: &[],
        plugs: &[],
        settings: &settings,
    });
    let (filled, control) = (FilledRubber::default(), Control::silent());
    let [first, second] = setups.each_ref().map(|s| run_in(&filled, s, &control).expect("runs"));
    assert_ne!(first, second);
    assert_eq!([first, second], setups.each_ref().map(|s| run(s, &control).expect("runs")));
}

#[test]
fn a_ball_in_an_uncut_block_is_stuck() {
    let report = tried(&ball_on_rod(12.0, 4.0, 12.0), &BLOCK, &[], &[], &by_one_hand());
    let Outcome::Stuck { hindrance: Hindrance::Pull, place } = report.outcome else {
        panic!("{:?}", report.outcome);
    };
    // The ball's lower half holds it: that is between the rod and the middle of the ball.
    assert!(place.z > 8.0 && place.z < 25.0, "{place}");
    assert!(report.pull.last().is_some_and(|p| p.settled), "{:?}", report.pull);
}

/// Up to the pull at which it is given up a trial goes as it would have gone on.
#[test]
fn a_trial_that_is_given_up_ends_sooner_and_is_the_same_until_then() {
    let settings = TrialSettings { elements: 2500, ..by_one_hand() };
    let early = TrialSettings { give_up: Some(60.0), ..settings.clone() };
    let model = ball_on_rod(12.0, 4.0, 12.0);
    let [full, early] = [settings, early].map(|s| tried(&model, &BLOCK, &[], &[], &s));
    for report in [&full, &early] {
        assert!(matches!(report.outcome, Outcome::Stuck { hindrance: Hindrance::Pull, .. }));
    }
    let (last, before) = early.pull.split_last().expect("a pull");
    assert!(last.force >= 60.0 && before.iter().all(|p| p.force < 60.0), "{:?}", early.pull);
    assert_eq!(before, &full.pull[..before.len()]);
    assert!(early.relaxation_steps < full.relaxation_steps);
    // Hands that have less than that are stuck at what they have.
    let idle = TrialSettings { elements: 2500, give_up: Some(1e4), ..by_one_hand() };
    assert_eq!(tried(&model, &BLOCK, &[], &[], &idle), full);
}

/// What it takes to push a smooth ball through a hole of radius a in endless rubber of the block's width b
/// is the work of opening it, for each mm of the way: the integral of p(r) 2 pi r from the rod's radius to the
/// ball's, with p that of the thick cylinder in plane strain, mu (ln(l/m) + (1/m^2 - 1/l^2) / 2), l = r/a,
/// m^2 = 1 + (a/b)^2 (l^2 - 1) (Ogden 1984, from memory). A rough bound, as the block is neither endless nor
/// round: the trial may be off it by 40 %.
#[test]
fn the_pull_on_an_uncut_ball_is_that_of_opening_its_hole() {
    let (a, ball, b) = (4.0, 12.0, 21.0);
    let shear = Rubber::default().shear_modulus();
    let steps = 1000;
    let work: f64 = (0..steps)
        .map(|k| {
            let width = (ball - a) / f64::from(steps);
            let r = a + (f64::from(k) + 0.5) * width;
            let l = r / a;
            let m = (1.0 + (a / b) * (a / b) * (l * l - 1.0)).sqrt();
            let pressure = shear * ((l / m).ln() + 0.5 * (1.0 / (m * m) - 1.0 / (l * l)));
            pressure * std::f64::consts::TAU * r * width
        })
        .sum();
    // Fine enough for the rod: rubber that closes on a limb hardly thicker than its elements is held off it.
    let smooth = TrialSettings { elements: 8000, friction: 0.0, hand_force: 400.0, ..settings() };
    let report = tried(&ball_on_rod(ball, a, 12.0), &BLOCK, &[], &[], &smooth);
    assert_eq!(report.outcome, Outcome::Released);
    let pull = report.pull.iter().map(|p| p.force).fold(0.0, f64::max);
    assert!((pull / work - 1.0).abs() < 0.4, "{pull} for {work}");
}

#[test]
fn a_ball_comes_out_through_a_long_cut() {
    let sheet = upright([0.0, 40.0], [-1.0, 34.0]);
    let report = tried(&ball_on_rod(12.0, 4.0, 12.0), &BLOCK, &[sheet], &[], &by_one_hand());
    assert_eq!(report.outcome, Outcome::Released);
    assert_eq!(report.mesh.pieces, 1);
    assert!(report.overlap < 0.5, "{}", report.overlap);
    // The lips are aside in the frame before the first that is drawn.
    assert_eq!(report.frames.len(), report.pull.len() + 2);
}

/// The same on one thread as on many.
#[test]
fn threads_change_nothing() {
    let sheet = [upright([0.0, 40.0], [-1.0, 20.0])];
    let few = TrialSettings { elements: 2500, steps: 4, ..settings() };
    let model = ball_on_rod(12.0, 8.0, 8.0);
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a pool");
        pool.install(|| tried(&model, &BLOCK, &sheet, &[], &few))
    };
    assert_eq!(on(1), on(3));
}

#[test]
fn an_uncut_bridge_holds() {
    let bridge = BridgePlace { centre: Point::new(0.0, 0.0, 4.0), radius: 6.0 };
    let report = tried(&arch(11.0, 4.0), &BLOCK, &[], &[bridge], &settings());
    assert!(matches!(report.outcome, Outcome::Stuck { .. }), "{:?}", report.outcome);
    // Nothing has been drawn aside yet when it is looked at.
    assert_eq!(report.bridges.len(), 1);
    assert!(report.bridges[0].stretch < 0.01 && report.bridges[0].gap < 0.1);
}

#[test]
fn a_blanket_comes_off_a_cone() {
    let cone = revolved(&[[12.0, 0.0], [6.0, 20.0]], 40);
    let report = tried(&cone, &MouldShape::Blanket { thickness: 5.0 }, &[], &[], &settings());
    assert_eq!(report.outcome, Outcome::Released);
}

/// Held at the rim a blanket turns over: the rim is well on its way before the top moves. Drawn by the
/// whole outside, rim and top move together.
#[test]
fn a_blanket_is_peeled_off_a_ball_from_its_rim() {
    let ball = ball_on_rod(12.0, 6.0, 8.0);
    let blanket = MouldShape::Blanket { thickness: 4.0 };
    let moved = |hold| {
        // The rim goes aside by a quarter of the ball's width, so that it is its way up that counts.
        let opening = Some(6.0);
        let settings = TrialSettings { hold, opening, elements: 3000, ..settings() };
        let report = tried(&ball, &blanket, &[], &[], &settings);
        assert_eq!(report.outcome, Outcome::Released);
        let rest = &report.frames[0].positions;
        let top = (0..rest.len()).max_by(|&a, &b| rest[a].z.total_cmp(&rest[b].z)).expect("nodes");
        let rim: Vec<usize> = (0..rest.len()).filter(|&n| rest[n].z < 0.5).collect();
        let risen = |frame: &Frame| {
            let risen = |n: usize| frame.positions[n].z - rest[n].z;
            (rim.iter().map(|&n| risen(n)).sum::<f64>() / rim.len() as f64, risen(top))
        };
        // At the same way of the rim, a third of the ball's radius: how many steps there are says nothing.
        report.frames.iter().map(risen).find(|(rim, _)| *rim > 4.0).expect("the rim rises")
    };
    let (rim, top) = moved(None);
    let (rim_of_whole, top_of_whole) = moved(Some(Hold::Outside));
    let (peeled, lifted) = (top / rim, top_of_whole / rim_of_whole);
    assert!(lifted > 0.7 && lifted > peeled + 0.1, "{peeled} {lifted}");
}

/// A body pulled at an angle to the way it can slide jams where friction times the tangent of the angle
/// is above 1 (Coulomb). Here that is 0.7 * 1.73 straight up, and 0 along the lean.
#[test]
fn a_leaning_stump_jams_straight_up_and_comes_out_along_its_lean() {
    let stump = leaning([8.0, 6.0], 12.0, 1.732);
    let lean = Vector::new(1.732, 0.0, 1.0);
    let up = TrialSettings { friction: 0.7, hand_force: 100.0, ..settings() };
    let both = TrialSettings { directions: vec![Vector::z(), lean], ..up.clone() };
    let stuck = tried(&stump, &BLOCK, &[], &[], &up).outcome;
    assert!(matches!(stuck, Outcome::Stuck { hindrance: Hindrance::Pull, .. }), "{stuck:?}");
    let report = tried(&stump, &BLOCK, &[], &[], &both);
    assert_eq!(report.outcome, Outcome::Released);
    assert_eq!(report.direction, lean.normalize());
}

#[test]
fn what_cannot_be_tried_is_refused() {
    let cone = revolved(&[[12.0, 0.0], [6.0, 20.0]], 40);
    let body = MouldBody::new(&cone, &BLOCK).expect("a body");
    let rubber = Rubber::default();
    let with = |settings: &TrialSettings, control: &Control<'_>| {
        let setup = TrialSetup {
            body: &body,
            model: &cone,
            sheets: &[],
            across: &[],
            rubber: &rubber,
            bridges: &[],
            plugs: &[],
            settings,
        };
        run(&setup, control).expect_err("refused")
    };
    let none = TrialSettings { directions: Vec::new(), ..settings() };
    assert_eq!(with(&none, &Control::silent()), TrialError::NoDirection);
    let rough = TrialSettings { friction: -1.0, ..settings() };
    assert!(matches!(
        with(&rough, &Control::silent()),
        TrialError::OutOfRange { field: "friction", .. }
    ));
    let cancel = Cancel::new();
    cancel.cancel();
    let control = Control::new(cancel, |_| {});
    assert!(matches!(with(&settings(), &control), TrialError::Cancelled(_)));
}

/// The rubber through a standing ring holds it against a pull of 100 N; with its disc cut, and opened from
/// the board on either side of the ring, it comes off in one piece.
#[test]
fn a_ring_comes_out_when_its_bridge_is_cut() {
    let ring = standing_torus(10.0, 4.0, 1.0);
    let few = TrialSettings { elements: 2500, hand_force: 100.0, ..settings() };
    let whole = tried(&ring, &BLOCK, &[], &[], &few);
    assert!(matches!(whole.outcome, Outcome::Stuck { .. }), "{:?}", whole.outcome);
    let disc = upright([-8.0, 8.0], [5.0, 21.0]);
    let openings = [[0.0, 40.0], [-40.0, 0.0]].map(|x| upright(x, [-1.0, 13.0]));
    let cut = tried_with(&ring, &BLOCK, (&openings, &[disc]), &[], &few);
    assert_eq!((cut.outcome, cut.mesh.pieces), (Outcome::Released, 1));
}

/// A limb half as thick as the elements are long does not slip between the nodes.
#[test]
fn a_bridge_under_a_thin_arch_holds() {
    let few = TrialSettings { elements: 4000, hand_force: 100.0, ..settings() };
    let report = tried(&arch(11.0, 2.0), &BLOCK, &[], &[], &few);
    assert!(matches!(report.outcome, Outcome::Stuck { .. }), "{:?}", report.outcome);
}

/// A ball on a small gate: a cut along a meridian takes a third off the pull at least, so that hands of a
/// strength between the two get it out through the cut only.
#[test]
fn a_ball_on_its_gate_needs_its_meridian_cut() {
    let model = ball(12.0, 4.0);
    let meridian = upright([0.0, 40.0], [-1.0, 21.0]);
    let hands = TrialSettings { hand_force: 18.0, ..settings() };
    let stuck = tried(&model, &BLOCK, &[], &[], &hands).outcome;
    assert!(matches!(stuck, Outcome::Stuck { hindrance: Hindrance::Pull, .. }), "{stuck:?}");
    let cut = tried(&model, &BLOCK, &[meridian], &[], &hands);
    assert_eq!(cut.outcome, Outcome::Released);
}

/// With a time to keep to, a coarse trial comes first and the finest that fits last; with none left not
/// even the first step is made.
#[test]
fn time_chooses_how_fine() {
    let cone = revolved(&[[12.0, 0.0], [6.0, 20.0]], 40);
    let plenty = TrialSettings { seconds: Some(600.0), elements: 9000, ..settings() };
    let report = tried(&cone, &BLOCK, &[], &[], &plenty);
    assert_eq!(report.outcome, Outcome::Released);
    assert_eq!(report.coarser.len(), 1, "{:?}", report.coarser);
    assert!(report.coarser[0].elements <= 4200 && report.mesh.elements > 7000);
    assert_eq!(report.coarser[0].outcome, Outcome::Released);
    let none = TrialSettings { seconds: Some(0.0), ..plenty };
    assert_eq!(tried(&cone, &BLOCK, &[], &[], &none).outcome, Outcome::OutOfTime);
}
