//! A plan in progress.

use super::answer::Hinge;
use super::sheets::PlannedSheets;
use super::standing::Standing;
use super::verdict::{NotTried, TrialVerdict};
use crate::curves::Finished;
use crate::girth::PlanningGraph;
use crate::mesh::Vector;
use crate::optimise::cut_set::CutSet;
use crate::optimise::one_piece::is_forest;

/// Where the cuts of a candidate come from.
#[derive(Clone, Debug)]
pub(super) enum Origin {
    /// Searched for, free, along the planning graph.
    FreeCuts(CutSet),
    /// The border between two sides of the model.
    TwoSides(TwoSides),
    /// Drawn by somebody; the edges of the planning graph beside the lines.
    Scheme(CutSet),
}

/// How two sides were drawn, in the mould frame.
#[derive(Clone, Debug)]
pub(super) struct TwoSides {
    /// Unit direction from which the front is seen.
    pub direction: Vector,
    /// Length of the border that runs to the outside, mm.
    pub border: f64,
    /// Area on the wrong side, as far as it looks away, as a share of the whole.
    pub undercut: f64,
    /// Where the border is not cut all the way to the outside.
    pub hinges: Vec<Hinge>,
    /// The cuts behind hinges, each with the thickness of the skin that it leaves, mm.
    pub behind: Vec<(usize, f64)>,
    /// The cuts that run from the model to the model and not to the outside, but for those of known bridges: each with the
    /// number of its near-bridge, if it is one's.
    pub across: Vec<(usize, Option<usize>)>,
    /// The bridges that only line their hole, with the border running round in it: they need no cut across.
    pub lined: Vec<usize>,
}

impl TwoSides {
    /// Whether cut number `cut` is one of those across, and of which near-bridge.
    pub(super) fn across(&self, cut: usize) -> Option<Option<usize>> {
        self.across.iter().find(|(index, _)| *index == cut).map(|(_, near)| *near)
    }

    /// The skin that cut number `cut` leaves, mm, if it is one behind a hinge.
    pub(super) fn skin_of(&self, cut: usize) -> Option<f64> {
        self.behind.iter().find(|(index, _)| *index == cut).map(|(_, skin)| *skin)
    }
}

/// A plan in progress. It comes to be in stages: edges of the planning graph, for families that have any;
/// curves drawn from them; sheets through the rubber; a trial. What a stage adds changes nothing of those
/// before it.
#[derive(Clone, Debug)]
pub(super) struct Candidate {
    origin: Origin,
    curves: Finished,
    cost: f64,
    is_whole: bool,
    sheets: Option<PlannedSheets>,
    trial: TrialVerdict,
}

impl Candidate {
    /// Curves drawn from edges of the planning graph. Edges of `fixed` are cut in any case; each separate
    /// cut costs `entry_price` mm more than its weighted length.
    pub fn drawn(
        origin: Origin,
        curves: Finished,
        graph: &PlanningGraph,
        fixed: &[u32],
        entry_price: f64,
    ) -> Self {
        let mut candidate = Self {
            cost: curves.cost(entry_price),
            origin,
            curves,
            is_whole: true,
            sheets: None,
            trial: TrialVerdict::NotRun(NotTried::NotYet),
        };
        candidate.is_whole = candidate.edges().is_none_or(|edges| is_forest(graph, edges, fixed));
        candidate
    }

    /// The same with sheets; `None` where the work was stopped before they were made.
    pub fn with_sheets(self, sheets: Option<PlannedSheets>) -> Self {
        Self { sheets, ..self }
    }

    /// The same once it was tried.
    pub fn with_trial(self, trial: TrialVerdict) -> Self {
        Self { trial, ..self }
    }

    /// The same where none was asked for.
    pub fn without_trial(self) -> Self {
        self.with_trial(TrialVerdict::NotRun(NotTried::NotAsked))
    }

    /// Edges of the planning graph that its exterior cuts run along; none for a family whose cuts come from
    /// elsewhere.
    pub fn edges(&self) -> Option<&CutSet> {
        match &self.origin {
            Origin::FreeCuts(edges) | Origin::Scheme(edges) => Some(edges),
            Origin::TwoSides(_) => None,
        }
    }

    /// How its two sides were drawn, if it is of that family.
    pub fn two_sides(&self) -> Option<&TwoSides> {
        match &self.origin {
            Origin::TwoSides(sides) => Some(sides),
            Origin::FreeCuts(_) | Origin::Scheme(_) => None,
        }
    }

    /// Whether a bridge only lines its hole and is parted by the cut between the two sides that runs round in it.
    pub fn is_lined(&self, bridge: usize) -> bool {
        self.two_sides().is_some_and(|sides| sides.lined.contains(&bridge))
    }

    /// Its curves.
    pub fn curves(&self) -> &Finished {
        &self.curves
    }

    /// Its sheets, once there are any.
    pub fn sheets(&self) -> Option<&PlannedSheets> {
        self.sheets.as_ref()
    }

    /// What its trial says.
    pub fn trial(&self) -> &TrialVerdict {
        &self.trial
    }

    /// What its exterior cuts cost, mm: their weighted length once drawn straight, and the price of their
    /// entries. The one measure of cost.
    pub fn cost(&self) -> f64 {
        self.cost
    }

    /// Whether no cuts close a ring, as far as edges tell.
    pub fn is_forest(&self) -> bool {
        self.is_whole
    }

    /// Where it stands by what is known of it so far; its limits are known once it is put together.
    pub fn standing(&self) -> Standing {
        let hangs_together = self.sheets.as_ref().is_none_or(PlannedSheets::hangs_together);
        let is_whole = self.is_whole && hangs_together;
        Standing::new(is_whole, &self.trial, self.curves.worst_fault(), self.cost)
    }
}
