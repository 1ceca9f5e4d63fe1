//! What every plan's words, pages and pictures have to carry, over plans of all kinds: cautions, warnings, and in the first
//! line how the trial came out.

use std::sync::Arc;

use proptest::prelude::*;

use super::bench::{BenchStyle, pages};
use super::cautions::CAUTIONS;
use super::fixtures::{
    advice, ball_shell, cut, empty_plan, sheet, sheet_report, station, trial_of_block,
};
use super::pictures::{
    Picture, PictureStyle, carries_cautions, draw_key, draw_plan, draw_shell, draw_trial, has_shell,
};
use super::summary::summary;
use super::verdict::verdict;
use crate::advice::{PartingLine, Shell};
use crate::body::Outside;
use crate::control::Cancel;
use crate::mesh::fixtures::{icosphere, moved};
use crate::mesh::{Point, TriangleMesh, Vector};
use crate::plan::{Cut, CutKind, Limit, NotTried, Plan, TrialVerdict};
use crate::trial::{Doubt, Hindrance, Outcome};

/// Radius of the ball that all of these plans are of; it stands on z = 0.
const RADIUS: f64 = 30.0;

/// The model of [`any_plan`].
pub(super) fn ball() -> TriangleMesh {
    moved(&icosphere(RADIUS, 3), [0.0, 0.0, RADIUS])
}

/// Tells apart what reading back cannot: blanks and where lines end.
pub(super) fn bare(text: &str) -> String {
    text.chars().filter(|c| !c.is_whitespace()).collect()
}

/// What is poured round the ball.
#[derive(Clone, Copy, Debug)]
enum Mould {
    /// The work was stopped before sheets were made.
    Unknown,
    Block,
    Blanket,
    /// A blanket with a shell in so many parts.
    Shelled(usize),
}

/// Thickness of a blanket, mm; that of [`ball_shell`].
const BLANKET: f64 = 8.0;
const LOW: Point = Point::new(-45.0, -45.0, 0.0);
const HIGH: Point = Point::new(45.0, 45.0, 75.0);

/// Where a line from the ball's middle leaves the rubber.
fn leaves(mould: Mould, direction: &Vector) -> Point {
    let middle = Point::new(0.0, 0.0, RADIUS);
    let far = match mould {
        Mould::Block => (0..3)
            .map(|k| {
                let wall = if direction[k] > 0.0 { HIGH[k] } else { LOW[k] };
                (wall - middle[k]) / direction[k]
            })
            .filter(|far| far.is_finite() && *far > 0.0)
            .fold(f64::INFINITY, f64::min),
        _ => RADIUS + BLANKET,
    };
    middle + direction * far
}

/// A cut up a meridian of the ball, so many degrees round from the front.
fn meridian(order: u32, kind: CutKind, round: f64, mould: Mould) -> Cut {
    let stations = (0..=12).map(|k| {
        let height = f64::from(k).mul_add(10.0, -60.0).to_radians();
        let (sin, cos) = round.to_radians().sin_cos();
        let out = Vector::new(sin * height.cos(), -cos * height.cos(), height.sin());
        let mut own = station(RADIUS * 10f64.to_radians() * f64::from(k));
        own.on_model = Point::new(0.0, 0.0, RADIUS) + out * RADIUS;
        own.on_outside = leaves(mould, &out);
        (own.normal, own.direction) = (out, out);
        own.ahead = Vector::new(-sin * height.sin(), cos * height.sin(), height.cos());
        own.depth = (own.on_outside - own.on_model).norm();
        own
    });
    let stations: Vec<_> = stations.collect();
    let line = stations.iter().map(|station| station.on_model).collect();
    let sheets = match mould {
        Mould::Unknown => Vec::new(),
        _ => vec![sheet(stations)],
    };
    Cut { sheets, ..cut(order, kind, line) }
}

/// The ball's shell in two parts or, with another line and a part that comes off upwards, in three.
fn shell(parts: usize) -> Shell {
    let two = ball_shell();
    if parts == 2 {
        return two;
    }
    let across = two.lines[0].points.iter().map(|p| Point::new(p.y, p.x, p.z)).collect();
    let mut lines = two.lines.clone();
    lines.push(PartingLine { points: across, closed: false, parts: [0, 2] });
    let draws = vec![-Vector::y(), Vector::y(), Vector::z()];
    Shell { draws, lines, held: vec![0.0; 3], hidden_in_two: 0.04, ..two }
}

fn any_trial() -> impl Strategy<Value = TrialVerdict> {
    let place = Point::new(0.0, -RADIUS, RADIUS);
    let stuck = move |hindrance| Outcome::Stuck { hindrance, place };
    let outcomes = prop::sample::select(vec![
        Outcome::Released,
        stuck(Hindrance::Pull),
        stuck(Hindrance::Tear),
        stuck(Hindrance::Caught),
        Outcome::NoVerdict { why: Doubt::Unsettled },
        Outcome::NoVerdict { why: Doubt::Pierced },
        Outcome::OutOfTime,
    ]);
    let ran = (outcomes, prop::sample::select(vec![0.0, 0.8]), 1..=2usize);
    let ran = ran.prop_map(|(outcome, overlap, pieces)| {
        let mut trial = trial_of_block(1.5);
        (trial.report.outcome, trial.report.overlap) = (outcome, overlap);
        trial.report.mesh.pieces = pieces;
        TrialVerdict::Ran(Arc::new(trial))
    });
    let not = prop::sample::select(vec![NotTried::NotAsked, NotTried::NotYet, NotTried::Stopped]);
    prop_oneof![
        4 => ran,
        1 => not.prop_map(TrialVerdict::NotRun),
        1 => "[ -~]{1,60}".prop_map(|message| TrialVerdict::NotRun(NotTried::Failed { message })),
    ]
}

/// A plan for [`ball`]: with no cut or several, in a block or a blanket, with a shell or without, tried or not, and with
/// anything to mind.
pub(super) fn any_plan() -> impl Strategy<Value = Plan> {
    let moulds = prop::sample::select(vec![
        Mould::Unknown,
        Mould::Block,
        Mould::Blanket,
        Mould::Shelled(2),
        Mould::Shelled(3),
    ]);
    let kinds = prop::sample::select(vec![CutKind::FromGate, CutKind::Separate]);
    let cuts = prop::collection::vec((kinds, 0.0..360.0), 0..4);
    let warnings = prop::collection::vec("[ -~]{1,120}", 0..12);
    let missed = prop::collection::vec("[a-zA-Z <>&\"']{1,60}", 0..4);
    (moulds, cuts, any_trial(), warnings, missed).prop_map(
        |(mould, cuts, trial, warnings, missed)| {
            let mut plan = empty_plan();
            let cuts = cuts.into_iter().zip(1..);
            plan.cuts =
                cuts.map(|((kind, round), order)| meridian(order, kind, round, mould)).collect();
            plan.total_length = plan.cuts.iter().map(|cut| cut.length).sum();
            if !matches!(mould, Mould::Unknown) {
                let mut report = sheet_report(&plan.cuts, LOW, HIGH);
                if !matches!(mould, Mould::Block) {
                    report.skin.outside = Outside::Offset { thickness: BLANKET, bottom: 0.0 };
                }
                plan.sheets = Some(report);
                plan.advice = Some(advice(match mould {
                    Mould::Shelled(parts) => Some(shell(parts)),
                    _ => None,
                }));
            }
            plan.trial = trial;
            plan.warnings = warnings;
            let limit = |text| Limit { name: "limit".to_owned(), met: false, text };
            plan.limits = missed.into_iter().map(limit).collect();
            plan
        },
    )
}

/// What the first line has to say of a trial.
fn due(trial: &TrialVerdict) -> &'static str {
    match trial {
        TrialVerdict::NotRun(NotTried::NotAsked) => "release not tried",
        TrialVerdict::NotRun(NotTried::NotYet) => "release not tried yet",
        TrialVerdict::NotRun(NotTried::Stopped | NotTried::Failed { .. }) => "release NOT TRIED",
        TrialVerdict::Ran(trial) => match trial.report.outcome {
            Outcome::Released => "comes off in the trial",
            Outcome::Stuck { hindrance: Hindrance::Tear, .. } => "TEARS in the trial",
            Outcome::Stuck { .. } => "STAYS ON in the trial",
            Outcome::NoVerdict { .. } | Outcome::OutOfTime => "NO VERDICT in the trial",
        },
    }
}

fn config(cases: u32) -> ProptestConfig {
    ProptestConfig { cases, failure_persistence: None, ..ProptestConfig::default() }
}

proptest! {
    #![proptest_config(config(64))]

    /// The first line of the page of words says how the trial came out; the warnings stand right under it, before anything
    /// else; the cautions stand below.
    #[test]
    fn words_open_with_the_trial_and_what_to_mind(plan in any_plan()) {
        let page = summary(&plan, &ball());
        let first = verdict(&plan);
        prop_assert!(first.contains(due(&plan.trial)), "{first}");
        prop_assert_eq!(first.contains("comes off"), due(&plan.trial).contains("comes off"));
        if let TrialVerdict::Ran(trial) = &plan.trial {
            let doubtful = trial.report.overlap > 0.5 || trial.report.mesh.pieces > 1;
            prop_assert_eq!(first.contains("(DOUBTFUL)"), doubtful);
        }
        prop_assert!(bare(&page).starts_with(&bare(&first)), "{page}");
        let rest = ["Limits MISSED", "Cuts, in the order of the knife", "Through the rubber", "Release trial"];
        let ends = rest.iter().filter_map(|heading| page.find(&format!("\n\n{heading}\n")));
        let head = bare(&page[..ends.min().expect("every page tells of the trial")]);
        for warning in &plan.warnings {
            // A sentence begins with a capital.
            let tail: String = bare(warning).chars().skip(1).collect();
            prop_assert!(head.contains(&tail), "{warning:?} is not in {head}");
        }
        for caution in CAUTIONS {
            prop_assert!(bare(&page).contains(&bare(caution.text)));
        }
    }
}

proptest! {
    #![proptest_config(config(4))]

    /// Every picture of a plan, on paper and alone, has the line of cautions at its foot.
    #[test]
    fn pictures_carry_the_cautions(plan in any_plan()) {
        let (ball, cancel) = (ball(), Cancel::new());
        let style = PictureStyle { view_size: 500, page_width: 1500, heading: None };
        let mut pictures: Vec<Picture> = draw_plan(&ball, &plan, &style).expect("drawn");
        let shell = draw_shell(&ball, &plan, &style, &cancel).expect("drawn");
        prop_assert_eq!(shell.is_some(), has_shell(&plan));
        pictures.extend(shell);
        if let TrialVerdict::Ran(trial) = &plan.trial {
            pictures.push(draw_trial(trial, &style).expect("drawn"));
        }
        // What the marks mean stands by itself on the pages only.
        pictures.push(draw_key(&plan, 700).expect("drawn"));
        for picture in &pictures {
            prop_assert!(carries_cautions(picture), "{}", picture.name);
        }
        // The same pictures go on the pages.
        let made = pages(&ball, &plan, &BenchStyle::default(), &cancel).expect("pages");
        let embedded = made.html().matches("data:image/png;base64,").count();
        let alone = pictures.iter().filter(|own| own.name != "overview" && own.name != "sections");
        prop_assert_eq!(embedded, alone.count());
    }
}
