//! Hinges of a plan: the necks of uncut rubber between its cuts.

use super::answer::Hinge;
use crate::girth::PlanningGraph;
use crate::mesh::Point;
use crate::optimise::cut_set::CutSet;
use crate::optimise::one_piece::necks;

/// Most hinges worth listing.
const MOST: usize = 12;

/// Hinges narrower than a third of the model's size; wider rubber needs no watching.
pub(super) fn hinges(
    graph: &PlanningGraph,
    cut: &CutSet,
    fixed: &[u32],
    to_model: impl Fn(Point) -> Point,
) -> Vec<Hinge> {
    let limit = graph.mesh.longest_side() / 3.0;
    necks(graph, cut, fixed, limit)
        .into_iter()
        .take(MOST)
        .map(|neck| Hinge {
            from: to_model(graph.mesh.positions[neck.from as usize]),
            to: to_model(graph.mesh.positions[neck.to as usize]),
            width: neck.width,
            skin: None,
        })
        .collect()
}
