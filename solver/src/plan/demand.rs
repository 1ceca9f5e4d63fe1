//! What a failed trial asks of the cuts.

use super::candidate::Candidate;
use super::relief::relief_near;
use super::verdict::{Demand, TrialVerdict};
use super::workbench::Workbench;
use crate::girth::Ring;
use crate::optimise::cut_set::CutSet;
use crate::optimise::relief::Relief;
use crate::trial::{Hindrance, Outcome};

/// What a failed trial asks of the search.
pub(super) enum Ask {
    /// Cut across the rubber that was stretched.
    Cut(Relief),
    /// Where none was: more of the ring than the girth model asks.
    Opening(Ring),
}

/// The same with what the plan tells of it.
pub(super) struct Asked {
    /// For the search.
    pub what: Ask,
    /// For people.
    pub demand: Demand,
}

/// What a failure asks of a ring more than it passes or has to pass, as a share. More each time was tried:
/// plans grew until they fell apart, and took hardly less pull.
const RAISE: f64 = 0.1;
/// Rings that pass within this share of the model's longest side of a place pass beside it. Tried; no source.
const BESIDE: f64 = 0.08;

/// What the failed trial of a candidate asks for. The ring that it says is stretched too far: of the rings left
/// by the plan that pass beside the place of the hindrance, the one that is stretched most. As a ring may be
/// cut anywhere, cut is asked for across the rubber that was stretched round the place, so many `times` the
/// usual; only where none was is more asked of the ring itself.
pub(super) fn asked_by(
    bench: &Workbench<'_, '_, '_>,
    candidate: &Candidate,
    times: usize,
) -> Option<Asked> {
    let Workbench { setup, search, control, .. } = bench;
    let TrialVerdict::Ran(trial) = candidate.trial() else { return None };
    let edges = candidate.edges()?.edges();
    let report = &trial.report;
    let Outcome::Stuck { hindrance, place } = report.outcome else { return None };
    let place = if hindrance == Hindrance::Tear { report.stretched_at } else { place };
    let graph = &setup.graph;
    let open = setup.fixed();
    let all = CutSet::new(edges.iter().chain(&open).copied().collect());
    let rings = search.separator().holding_rings(&all.indicator(graph), control);
    let strain = |ring: &Ring| ring.width / graph.ring_length(&ring.outline).1.max(1e-9);
    let away = |ring: &Ring| {
        let ends = ring.outline.iter().flat_map(|&e| graph.edges[e as usize].ends);
        ends.map(|v| (graph.mesh.positions[v as usize] - place).norm())
            .fold(f64::INFINITY, f64::min)
    };
    let beside = BESIDE * graph.mesh.longest_side();
    let ring = rings
        .iter()
        .filter(|ring| away(ring) <= beside)
        .max_by(|a, b| strain(a).total_cmp(&strain(b)))
        .or_else(|| rings.iter().min_by(|a, b| away(a).total_cmp(&away(b))))
        .cloned();
    let ring = ring?;
    let felt = (hindrance, &place);
    let told = Demand {
        hindrance,
        place: graph.middle_of_ring(&ring.outline),
        ring_length: graph.ring_length(&ring.outline).1,
        girth: ring.width,
        asked: ring.width,
        cut: 0.0,
    };
    if let Some((relief, cut)) = relief_near(felt, report, graph, &setup.body, &open, times) {
        return Some(Asked { what: Ask::Cut(relief), demand: Demand { cut, ..told } });
    }
    let asked = ring.reach.max(ring.width) * (1.0 + RAISE);
    let what = Ask::Opening(Ring { width: asked, ..ring });
    Some(Asked { what, demand: Demand { asked, ..told } })
}
