//! The limits of a plan, met or missed, in words.

use super::answer::{CutKind, Hinge, Limit, Plan};
use super::candidate::Candidate;
use super::request::PlanRequest;
use super::setup::Setup;
use super::sheet_limits::sheet_limits;
use super::trial_limit::trial_limit;
use crate::body::Whereabouts;
use crate::bridges::DiscState;
use crate::bridges::bridge_letter;
use crate::curves::Finished;
use crate::mesh::Point;
use crate::optimise::one_piece::necks;
use crate::optimise::pool::RowPool;

/// The release limit in words. `place` names places of the mould frame.
fn release_limit(
    curves: &Finished,
    rings: usize,
    place: impl Fn(&Point) -> String,
) -> (bool, String) {
    let held = curves.held.as_ref().map_or_else(String::new, |held| {
        format!(
            "; its middle is {}, and what it holds lies {}",
            place(&held.ring),
            place(&held.beyond)
        )
    });
    if curves.missed > 0 {
        let text = match curves.missed {
            1 => format!(
                "a ring of rubber that the cuts opened is closed again once these are straightened{held}: lengthen the \
                 cuts there"
            ),
            more => format!(
                "{more} rings of rubber that the cuts opened are closed again once these are straightened; lengthen the \
                 cuts first at the tightest{held}"
            ),
        };
        return (false, text);
    }
    if let Some(ring) = curves.tight.first() {
        let text = format!(
            "a ring of rubber that may be stretched to {:.0} mm still has to let a girth of {:.0} mm pass{held}: \
             lengthen the cuts there",
            ring.reach, ring.width
        );
        return (false, text);
    }
    if !curves.looked && !curves.cuts.is_empty() {
        let text = "the cuts open every ring of rubber that was found too tight, but could not be looked at again as they run";
        return (false, text.to_owned());
    }
    let again = if curves.cuts.is_empty() {
        String::new()
    } else {
        format!(
            ": {rings} rings found too tight are each crossed by enough cut, and a fresh look round \
             the straightened curves found no other"
        )
    };
    (true, format!("the model comes out by the simple check of girths{again}"))
}

/// Step along a cut between the points at which it is looked at, mm.
const LOOK: f64 = 0.25;

/// Whether every cut, the rims of bridges with them, keeps off the areas.
fn areas_limit(plan: &Plan, request: &PlanRequest) -> Limit {
    let held = |p: &Point| request.areas.keep_off.iter().any(|area| area.holds(p));
    let over = |branch: &Vec<Point>| {
        branch.windows(2).any(|pair| {
            let steps = ((pair[1] - pair[0]).norm() / LOOK).ceil().max(1.0) as u32;
            (0..=steps)
                .any(|k| held(&(pair[0] + (pair[1] - pair[0]) * (f64::from(k) / f64::from(steps)))))
        })
    };
    let crossing = plan.cuts.iter().find(|cut| cut.branches.iter().any(over));
    let text = match crossing {
        None => "no cut runs over an area where none may be".to_owned(),
        Some(cut) => {
            // A cut of somebody's own can go round; a bridge's cannot.
            let what = if cut.kind == CutKind::Bridge {
                "a bridge has to be cut across somewhere; make the area smaller"
            } else {
                "lead it round, or make the area smaller"
            };
            format!("cut {} runs over an area where none may be: {what}", cut.order)
        }
    };
    Limit { name: "areas kept free".to_owned(), met: crossing.is_none(), text }
}

/// Whether every hinge is as wide as asked.
fn hinge_limit(setup: &Setup, candidate: &Candidate, request: &PlanRequest) -> Limit {
    let asked = request.knife.hinge_width;
    let narrowest = match (candidate.two_sides(), candidate.edges()) {
        (Some(sides), _) => {
            // Of a hinge that folds there is its width and the thickness of its skin.
            let narrow = |h: &Hinge| h.skin.map_or(h.width, |skin| skin.min(h.width));
            sides.hinges.iter().map(narrow).min_by(f64::total_cmp)
        }
        (None, Some(cut)) => {
            necks(&setup.graph, cut, &setup.fixed(), asked).first().map(|neck| neck.width)
        }
        (None, None) => None,
    };
    let narrow = narrowest.filter(|&width| width < asked - 1e-6);
    let text = match narrow {
        None => format!("every hinge is at least {asked:.0} mm wide"),
        Some(width) => format!("a hinge is only {width:.1} mm wide where {asked:.0} mm is asked"),
    };
    Limit { name: "hinge width".to_owned(), met: narrow.is_none(), text }
}

/// Every limit but the gap, which is known when all work is over. `pool` has the rings that were found too tight.
pub(super) fn limits(
    setup: &Setup,
    candidate: &Candidate,
    pool: &RowPool,
    request: &PlanRequest,
    (plan, places): (&Plan, &Whereabouts),
) -> Vec<Limit> {
    let limit = |name: &str, met: bool, text: String| Limit { name: name.to_owned(), met, text };
    let exterior = candidate.curves().cuts.len();
    let mut list = Vec::new();
    // Rings are not looked for round cuts between two sides: the trial alone tells what they release.
    if candidate.two_sides().is_none() {
        let to_model = setup.gate.to_mould.inverse();
        let place = |p: &Point| places.place(&(to_model * p));
        let (released, text) = release_limit(candidate.curves(), pool.rings.len(), place);
        list.push(limit("release", released, text));
    }
    let is_one = candidate.is_forest();
    list.push(limit(
        "one piece",
        is_one,
        if is_one {
            "no cuts close a ring: the mould stays one piece".to_owned()
        } else {
            "cuts close a ring, by themselves or with the base opening".to_owned()
        },
    ));
    list.push(hinge_limit(setup, candidate, request));
    let short = plan.cuts.iter().filter(|c| c.length < request.knife.least_cut - 0.5).count();
    if exterior > 0 {
        list.push(limit(
            "least cut",
            short == 0,
            match short {
                0 => format!("no cut is shorter than {:.0} mm", request.knife.least_cut),
                1 => format!("1 cut is shorter than {:.0} mm", request.knife.least_cut),
                more => format!("{more} cuts are shorter than {:.0} mm", request.knife.least_cut),
            },
        ));
    }
    if !request.areas.keep_off.is_empty() {
        list.push(areas_limit(plan, request));
    }
    for (k, bridge) in plan.bridges.iter().enumerate() {
        let letter = bridge_letter(k);
        match &bridge.disc {
            DiscState::Plain if !setup.crossed[k] => {
                let text = "not cut across: the rubber in this hole holds the model";
                list.push(limit(&format!("bridge {letter}"), false, text.to_owned()));
            }
            DiscState::Plain if bridge.lined => {
                let text = "the rubber only lines this hole, and the cut between the two sides runs round in it";
                list.push(limit(&format!("bridge {letter}"), true, text.to_owned()));
            }
            DiscState::Plain => list.push(limit(
                &format!("bridge {letter}"),
                bridge.is_open_enough(),
                format!(
                    "a plain cut crosses it; opening beside it {:.0} mm, needed {:.0} mm",
                    bridge.opening, bridge.opening_needed
                ),
            )),
            DiscState::Knotted { explanation, .. } => {
                list.push(limit(&format!("bridge {letter}"), false, explanation.clone()));
            }
        }
    }
    if setup.bridges.bridges.len() < setup.bridges.holes as usize {
        list.push(limit(
            "bridges found",
            false,
            format!("{} of {} holes have a cut", setup.bridges.bridges.len(), setup.bridges.holes),
        ));
    }
    if let Some(report) = &plan.sheets {
        list.extend(sheet_limits(report, plan, places, request));
    }
    list.extend(trial_limit(&plan.trial, places));
    list
}
