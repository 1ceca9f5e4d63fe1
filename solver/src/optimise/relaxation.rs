//! The linear relaxation, kept between rounds.

use std::num::NonZeroU32;

use highs::{Col, HighsModelStatus, Model, RowProblem, Sense, SolvedModel};

use super::rows::RowPool;

/// The relaxation cannot be solved.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RelaxationError {
    /// The solver reported something else than an optimum.
    #[error(
        "the linear relaxation ended as {0}: report this with the model, it should always have an optimum"
    )]
    NotOptimal(String),
}

/// Value of the relaxation and its solution.
#[derive(Clone, Debug)]
pub struct Relaxed {
    /// A lower bound on every plan's cost, mm.
    pub bound: f64,
    /// Value of each edge, 0 to 1.
    pub cut: Vec<f64>,
}

/// The relaxation over all rows added so far. Not `Send`: HiGHS models stay on their thread.
pub struct Relaxation {
    model: Option<Model>,
    columns: Vec<Col>,
    rows_taken: usize,
    edge_count: usize,
    /// Cost that counts as one in the solver, mm.
    unit: f64,
}

impl Relaxation {
    /// One column an edge, with its cost, mm.
    pub fn new(costs: &[f64], threads: NonZeroU32) -> Self {
        // The solver's tolerances are absolute: costs near one, whatever the model's size.
        let unit = (costs.iter().sum::<f64>() / costs.len().max(1) as f64).max(1e-12);
        let mut problem = RowProblem::new();
        let columns = costs.iter().map(|&c| problem.add_column(c / unit, 0.0..=1.0)).collect();
        let mut model = problem.optimise(Sense::Minimise);
        model.make_quiet();
        model.set_threads(threads);
        Self { model: Some(model), columns, rows_taken: 0, edge_count: costs.len(), unit }
    }

    /// Take the pool's new rows.
    pub fn take_rows(&mut self, pool: &RowPool) {
        let Some(model) = self.model.as_mut() else { return };
        for row in &pool.rows[self.rows_taken..] {
            let terms = row.terms.iter().map(|&(e, c)| (self.columns[e as usize], c));
            model.add_row(1.0.., terms);
        }
        self.rows_taken = pool.rows.len();
    }

    /// Solve, warm from the last basis.
    pub fn solve(&mut self) -> Result<Relaxed, RelaxationError> {
        let Some(model) = self.model.take() else {
            return Err(RelaxationError::NotOptimal("lost".into()));
        };
        let solved: SolvedModel =
            model.try_solve().map_err(|e| RelaxationError::NotOptimal(format!("{e:?}")))?;
        if solved.status() != HighsModelStatus::Optimal {
            return Err(RelaxationError::NotOptimal(format!("{:?}", solved.status())));
        }
        let bound = solved.objective_value() * self.unit;
        let mut cut = solved.get_solution().columns().to_vec();
        cut.truncate(self.edge_count);
        self.model = Some(solved.into());
        Ok(Relaxed { bound, cut })
    }
}
