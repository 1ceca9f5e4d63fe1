//! The linear relaxation, kept between rounds.
//!
//! HiGHS cannot be interrupted in the middle of a solve, and its models stay on the thread they
//! were made on. So the programme lives on a thread of its own, and whoever waits for a solve can
//! walk away from it when the job is cancelled.

use std::num::NonZeroU32;
use std::sync::mpsc::{Receiver, Sender, channel};

use highs::{Col, HighsModelStatus, Model, RowProblem, Sense, SolvedModel};

use super::pool::RowPool;
use super::rows::Row;
use crate::control::{Control, NoAnswer};

/// The relaxation cannot be solved.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RelaxationError {
    /// The solver reported something else than an optimum.
    #[error(
        "the linear relaxation ended as {0}: report this with the model, it should always have an optimum"
    )]
    NotOptimal(String),
    /// No choice of edges meets the rows.
    #[error("no cut that may be made meets every row")]
    Infeasible,
    /// The caller cancelled before there was an optimum.
    #[error("cancelled by the caller")]
    Cancelled,
}

/// Value of the relaxation and its solution.
#[derive(Clone, Debug)]
pub struct Relaxed {
    /// What the edges of every set that meets the rows cost at least, mm.
    pub bound: f64,
    /// Value of each edge, 0 to 1.
    pub cut: Vec<f64>,
}

/// The relaxation over the rows of a pool, each with what finished curves too have of it. Of all those rows only the ones that some solution
/// violated are in the programme; the others hold by themselves.
pub struct Relaxation {
    rows: Sender<Vec<Row>>,
    optima: Receiver<Result<Relaxed, RelaxationError>>,
    /// Whether each row of the pool is in the programme.
    taken: Vec<bool>,
    /// The last solution.
    last: Vec<f64>,
}

/// Rows are added where they are missed by more than this.
const MISSED: f64 = 1e-6;
/// Most rows added at a time, those that are missed most.
const ROWS_AT_A_TIME: usize = 400;
/// Most times that rows are added in one solve; what is still missed comes in the next.
const TIMES: usize = 12;

impl Relaxation {
    /// One column an edge, with its cost, mm; an edge of infinite cost is never cut.
    pub fn new(costs: &[f64], threads: NonZeroU32) -> Self {
        let (rows, new_rows) = channel::<Vec<Row>>();
        let (answers, optima) = channel();
        let last = vec![0.0; costs.len()];
        let costs = costs.to_vec();
        // Ends by itself once the relaxation is dropped.
        std::thread::spawn(move || {
            let mut programme = Programme::new(&costs, threads);
            for rows in new_rows {
                if answers.send(programme.optimum(&rows)).is_err() {
                    break;
                }
            }
        });
        Self { rows, optima, taken: Vec::new(), last }
    }

    /// Solve over all rows of the pool, warm from the last basis. Once it was cancelled it is of no
    /// more use.
    pub fn solve(
        &mut self,
        pool: &RowPool,
        control: &Control<'_>,
    ) -> Result<Relaxed, RelaxationError> {
        self.taken.resize(pool.rows.len(), false);
        let mut bound = None;
        for _ in 0..TIMES {
            let missed = self.missed(pool);
            if missed.is_empty() && bound.is_some() {
                break;
            }
            let relaxed = self.optimum(missed, control)?;
            bound = Some(relaxed.bound);
            self.last = relaxed.cut;
        }
        Ok(Relaxed { bound: bound.unwrap_or(0.0), cut: self.last.clone() })
    }

    fn optimum(&self, rows: Vec<Row>, control: &Control<'_>) -> Result<Relaxed, RelaxationError> {
        let lost = || RelaxationError::NotOptimal("lost".into());
        self.rows.send(rows).map_err(|_| lost())?;
        match control.wait(&self.optima) {
            Ok(answer) => answer,
            Err(NoAnswer::Cancelled) => Err(RelaxationError::Cancelled),
            Err(NoAnswer::Lost) => Err(lost()),
        }
    }

    /// Rows that the last solution misses, marked as taken.
    fn missed(&mut self, pool: &RowPool) -> Vec<Row> {
        let last = &self.last;
        let mut missed: Vec<(f64, usize)> = (0..pool.rows.len())
            .filter(|&r| !self.taken[r])
            .map(|r| {
                let row = &pool.rows[r];
                (row.least - row.sum(last), r)
            })
            .filter(|(lack, _)| *lack > MISSED)
            .collect();
        missed.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        missed.truncate(ROWS_AT_A_TIME);
        for &(_, r) in &missed {
            self.taken[r] = true;
        }
        missed.into_iter().map(|(_, r)| pool.rows[r].clone()).collect()
    }
}

/// The programme itself.
struct Programme {
    model: Option<Model>,
    columns: Vec<Col>,
    /// Cost that counts as one in the solver, mm.
    unit: f64,
}

impl Programme {
    fn new(costs: &[f64], threads: NonZeroU32) -> Self {
        // The solver's tolerances are absolute: costs near one, whatever the model's size.
        let finite = || costs.iter().filter(|c| c.is_finite());
        let unit = (finite().sum::<f64>() / finite().count().max(1) as f64).max(1e-12);
        let mut problem = RowProblem::new();
        let columns = costs
            .iter()
            .map(|&c| match c.is_finite() {
                true => problem.add_column(c / unit, 0.0..=1.0),
                false => problem.add_column(0.0, 0.0..=0.0),
            })
            .collect();
        let mut model = problem.optimise(Sense::Minimise);
        model.make_quiet();
        model.set_threads(threads);
        Self { model: Some(model), columns, unit }
    }

    /// Optimum with some more rows.
    fn optimum(&mut self, rows: &[Row]) -> Result<Relaxed, RelaxationError> {
        let Some(mut model) = self.model.take() else {
            return Err(RelaxationError::NotOptimal("lost".into()));
        };
        for row in rows {
            model.add_row(
                row.least..,
                row.terms.iter().map(|&(e, c)| (self.columns[e as usize], f64::from(c))),
            );
        }
        let solved: SolvedModel =
            model.try_solve().map_err(|e| RelaxationError::NotOptimal(format!("{e:?}")))?;
        match solved.status() {
            HighsModelStatus::Optimal => {}
            HighsModelStatus::Infeasible => return Err(RelaxationError::Infeasible),
            other => return Err(RelaxationError::NotOptimal(format!("{other:?}"))),
        }
        let bound = solved.objective_value() * self.unit;
        let mut cut = solved.get_solution().columns().to_vec();
        cut.truncate(self.columns.len());
        self.model = Some(solved.into());
        Ok(Relaxed { bound, cut })
    }
}
