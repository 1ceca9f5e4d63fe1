//! A scheme judged.

use super::super::answer::Plan;
use super::super::assemble::Assembly;
use super::super::candidate::{Candidate, Origin};
use super::super::check::check_request;
use super::super::clock::StageClock;
use super::super::ending::Ending;
use super::super::error::PlanError;
use super::super::request::{PlanRequest, TrialMode};
use super::super::setup::set_up;
use super::super::sheets::make_sheets;
use super::super::skin::Holes;
use super::super::tools::{self, finisher};
use super::super::trial::tried;
use super::carry;
use super::given::Scheme;
use super::miss::Miss;
use super::misses;
use crate::control::{Control, Stage};
use crate::mesh::Model;
use crate::optimise::cut_set::CutSet;
use crate::optimise::look::first_rings;
use crate::optimise::pool::RowPool;
use crate::trial::Finer;

/// A scheme and what is wrong with it.
#[derive(Clone, Debug, PartialEq)]
pub struct Judged {
    /// The scheme as a plan: its cuts as drawn, put in knife order, with sheets, limits and figures.
    /// It ends as [`Ending::judged`]: there is no bound.
    pub plan: Plan,
    /// What is wrong, worst of each kind first; empty for a scheme that works.
    pub misses: Vec<Miss>,
}

impl Judged {
    /// Whether the model comes out and the mould stays one piece, whatever else is amiss.
    pub fn works(&self) -> bool {
        !self.misses.iter().any(Miss::is_fatal)
    }
}

/// Judge a scheme.
pub fn judge_scheme(
    model: &Model,
    request: &PlanRequest,
    scheme: &Scheme,
    control: &Control<'_>,
) -> Result<Judged, PlanError> {
    check_request(request)?;
    carry::check(model, scheme)?;
    let mut setup = set_up(model, request, 1.0, Holes::Open, control)?;
    let mut clock = StageClock::new(control);
    let drawn = carry::carry(&mut setup, scheme, request)?;
    let separator = tools::separator(&setup.graph);
    control.stage(Stage::Optimise, 0.1, "rings of rubber too tight to let the model pass");
    let mut pool = RowPool::new(setup.graph.edges.len());
    let fixed = setup.fixed();
    let order: Vec<usize> = (0..separator.target_count()).collect();
    first_rings(&separator, &CutSet::new(fixed.clone()), &order, &mut pool, control);
    control.check()?;
    // As a plan's own curves are: on the mesh fitted to them, holes filled that are cut across, with targets of
    // that mesh.
    let on_lines = tools::separator(drawn.fitted_graph());
    let curves = finisher(&setup, request).judge(&drawn, &on_lines, control);
    control.check()?;
    let (origin, price) = (Origin::Scheme(drawn.cut.clone()), request.knife.entry_price);
    let candidate = Candidate::drawn(origin, curves, &setup.graph, &fixed, price);
    clock.lap("rings");
    let sheets = make_sheets(&setup, candidate.curves(), request, control)?;
    let candidate = candidate.with_sheets(sheets);
    clock.lap("sheets");
    control.check()?;
    let candidate = if request.trial.mode == TrialMode::Off {
        candidate.without_trial()
    } else {
        let end = request.budget.seconds;
        let trial = tried(&setup, candidate.sheets(), request, &[], (end, Finer::Always), control);
        clock.lap("trial");
        candidate.with_trial(trial)
    };
    let assembly =
        Assembly { model, request, setup: &setup, separator: &separator, pool: &pool, rounds: 0 };
    let ending = Ending::judged(candidate.cost(), candidate.trial(), control.is_cancelled());
    let mut plan = assembly.plan(&candidate, ending, control)?;
    plan.figures.seconds.extend(clock.laps);
    let misses = misses::misses(&setup, &drawn, candidate.curves(), &plan, request);
    Ok(Judged { plan, misses })
}
