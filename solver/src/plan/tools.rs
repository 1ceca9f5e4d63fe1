//! What looks for rings and draws curves on a planning graph.

use super::openings::{distance_from_rim, opening_reach};
use super::request::PlanRequest;
use super::setup::Setup;
use crate::curves::{FinishSettings, Finisher};
use crate::girth::PlanningGraph;
use crate::optimise::separation::Separator;

/// Targets of the separator: centres, and radii for each.
const TARGETS: (usize, usize) = (40, 8);

/// Looks for rings on the graph.
pub(super) fn separator(graph: &PlanningGraph) -> Separator<'_> {
    Separator::new(graph, TARGETS.0, TARGETS.1)
}

/// Draws and looks at curves on the graph, with the openings that bridges need.
pub(super) fn finisher<'a>(setup: &'a Setup, request: &PlanRequest) -> Finisher<'a> {
    let settings = FinishSettings {
        entry_price: request.knife.entry_price,
        least_cut: request.knife.least_cut,
    };
    let mut finisher = Finisher::new(&setup.graph, &setup.open_loops, settings);
    for (edges, &opening) in setup.loops.iter().zip(&setup.openings) {
        if opening > 0.0 && !edges.is_empty() {
            let distance = distance_from_rim(&setup.graph, edges);
            finisher.add_opening(&distance, opening_reach(&setup.graph, opening), opening);
        }
    }
    finisher
}
