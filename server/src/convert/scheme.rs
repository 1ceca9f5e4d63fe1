//! Drawn cuts from the protocol and back, and what is wrong with them.

use slitwright_proto::v1;
use slitwright_solver::mesh::Point;
use slitwright_solver::plan::{Miss, Scheme, SchemeCut, SchemeLine};

use super::geometry::{place, point, polyline};
use super::violations::{Collector, join};
use crate::text::is_plain;

/// A scheme of more cuts or points than this was not drawn by a person.
const MOST_CUTS: usize = 500;
const MOST_POINTS: usize = 200_000;
/// Longest name of a cut, characters. Names come back in messages.
const NAME: usize = 120;

pub(super) fn scheme(
    message: Option<&v1::Scheme>,
    path: &str,
    faults: &mut Collector,
) -> Option<Scheme> {
    let message = message?;
    if message.cuts.is_empty() && !message.of_plan.is_empty() {
        faults.add(
            join(path, "of_plan"),
            "names a plan, which only a service knows: give `cuts` here",
        );
    }
    let points: usize = message.cuts.iter().map(|cut| line_of(cut).len()).sum();
    if message.cuts.len() > MOST_CUTS || points > MOST_POINTS {
        let words = format!(
            "has {} cuts with {points} points: give at most {MOST_CUTS} and {MOST_POINTS}",
            message.cuts.len()
        );
        faults.add(join(path, "cuts"), words);
        return None;
    }
    let default = Scheme::default();
    let tolerance = message.tolerance_mm.unwrap_or(default.tolerance);
    let tolerance = faults.number(&join(path, "tolerance_mm"), tolerance, 1e-3, 100.0, "mm");
    let cuts = message.cuts.iter().enumerate();
    let cuts = cuts.filter_map(|(index, cut)| drawn(index, cut, path, faults)).collect();
    Some(Scheme { cuts, tolerance })
}

fn line_of(cut: &v1::DrawnCut) -> &[v1::Point] {
    match &cut.place {
        Some(v1::drawn_cut::Place::Line(line)) => &line.points,
        _ => &[],
    }
}

fn drawn(
    index: usize,
    cut: &v1::DrawnCut,
    path: &str,
    faults: &mut Collector,
) -> Option<SchemeCut> {
    let path = join(path, &format!("cuts[{index}]"));
    if cut.name.chars().count() > NAME || !is_plain(&cut.name) {
        let words = format!(
            "is longer than {NAME} characters or holds some that cannot be shown: give a plain short name"
        );
        faults.add(join(&path, "name"), words);
        return None;
    }
    let name = if cut.name.is_empty() { (index + 1).to_string() } else { cut.name.clone() };
    let line = match &cut.place {
        None => {
            faults.add(path, "has no place: give a line or a bridge");
            return None;
        }
        Some(v1::drawn_cut::Place::Bridge(bridge)) => SchemeLine::Bridge(*bridge as usize),
        Some(v1::drawn_cut::Place::Line(line)) => {
            let points: Vec<Point> = line
                .points
                .iter()
                .enumerate()
                .map(|(k, p)| place(Some(p), &join(&path, &format!("line.points[{k}]")), faults))
                .collect();
            SchemeLine::Points(points)
        }
    };
    Some(SchemeCut { name, line })
}

pub(super) fn scheme_to_proto(scheme: &Scheme) -> v1::Scheme {
    v1::Scheme {
        cuts: scheme
            .cuts
            .iter()
            .map(|cut| v1::DrawnCut {
                name: cut.name.clone(),
                place: Some(match &cut.line {
                    SchemeLine::Bridge(bridge) => {
                        v1::drawn_cut::Place::Bridge(u32::try_from(*bridge).unwrap_or(u32::MAX))
                    }
                    SchemeLine::Points(points) => v1::drawn_cut::Place::Line(polyline(points)),
                }),
            })
            .collect(),
        tolerance_mm: Some(scheme.tolerance),
        of_plan: String::new(),
    }
}

/// The cuts of a plan as drawn cuts. Bridges' cuts are named, not drawn: their lines are the
/// program's own. What is cut behind a hinge is left out.
pub fn scheme_of_plan(plan: &v1::Plan) -> v1::Scheme {
    let mut cuts = Vec::new();
    // A drawn cut runs to the outside: what is cut behind a hinge would part it.
    for cut in plan.cuts.iter().filter(|cut| cut.kind() != v1::CutKind::BehindHinge) {
        if let (v1::CutKind::Bridge, Some(v1::cut::Why::CutsBridge(why))) = (cut.kind(), &cut.why) {
            cuts.push(v1::DrawnCut {
                name: cut.order.to_string(),
                place: Some(v1::drawn_cut::Place::Bridge(why.bridge)),
            });
            continue;
        }
        for (branch, line) in cut.branches.iter().enumerate() {
            let name = match cut.branches.len() {
                0 | 1 => cut.order.to_string(),
                _ => format!("{}.{}", cut.order, branch + 1),
            };
            let place = Some(v1::drawn_cut::Place::Line(line.clone()));
            cuts.push(v1::DrawnCut { name, place });
        }
    }
    v1::Scheme { cuts, tolerance_mm: None, of_plan: String::new() }
}

pub(super) fn miss(miss: &Miss) -> v1::Miss {
    use v1::MissKind as Kind;
    let index = |bridge: &usize| Some(u32::try_from(*bridge).unwrap_or(u32::MAX));
    let (kind, asked, found, cut, bridge) = match miss {
        Miss::TightRing { stretched_length, girth, .. } => {
            (Kind::TightRing, Some(*girth), Some(*stretched_length), None, None)
        }
        Miss::UncutBridge { bridge, .. } => (Kind::UncutBridge, None, None, None, index(bridge)),
        Miss::ShortOpening { bridge, opening, needed, .. } => {
            (Kind::ShortOpening, Some(*needed), Some(*opening), None, index(bridge))
        }
        Miss::FallsApart { .. } => (Kind::FallsApart, None, None, None, None),
        Miss::LoosePiece { .. } => (Kind::LoosePiece, None, None, None, None),
        Miss::NarrowHinge { width, asked, .. } => {
            (Kind::NarrowHinge, Some(*asked), Some(*width), None, None)
        }
        Miss::SlantedCut { cut, angle, allowed, .. } => {
            (Kind::SlantedCut, Some(*allowed), Some(*angle), Some(*cut), None)
        }
        Miss::WeakLip { cut, wedge, asked, .. } => {
            (Kind::WeakLip, Some(*asked), Some(*wedge), Some(*cut), None)
        }
        Miss::SheetsMeet { cut, .. } => (Kind::SheetsMeet, None, None, Some(*cut), None),
    };
    v1::Miss {
        kind: kind.into(),
        text: miss.text(),
        place: miss.place().as_ref().map(point),
        fatal: miss.is_fatal(),
        asked,
        found,
        cut,
        bridge,
    }
}
