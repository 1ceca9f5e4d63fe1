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

/// The relaxation over the rows of a pool. Of all those rows only the ones that some solution
/// violated are in the programme; the others hold by themselves. Not `Send`: HiGHS models stay on
/// their thread.
pub struct Relaxation {
    model: Option<Model>,
    columns: Vec<Col>,
    /// Whether each row of the pool is in the programme.
    taken: Vec<bool>,
    edge_count: usize,
    /// Cost that counts as one in the solver, mm.
    unit: f64,
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
    /// One column an edge, with its cost, mm.
    pub fn new(costs: &[f64], threads: NonZeroU32) -> Self {
        // The solver's tolerances are absolute: costs near one, whatever the model's size.
        let unit = (costs.iter().sum::<f64>() / costs.len().max(1) as f64).max(1e-12);
        let mut problem = RowProblem::new();
        let columns = costs.iter().map(|&c| problem.add_column(c / unit, 0.0..=1.0)).collect();
        let mut model = problem.optimise(Sense::Minimise);
        model.make_quiet();
        model.set_threads(threads);
        let edge_count = costs.len();
        Self {
            model: Some(model),
            columns,
            taken: Vec::new(),
            edge_count,
            unit,
            last: vec![0.0; edge_count],
        }
    }

    /// Solve over all rows of the pool, warm from the last basis.
    pub fn solve(&mut self, pool: &RowPool) -> Result<Relaxed, RelaxationError> {
        self.taken.resize(pool.rows.len(), false);
        let mut bound = None;
        for _ in 0..TIMES {
            let missed = self.take_missed(pool);
            if missed == 0 && bound.is_some() {
                break;
            }
            bound = Some(self.optimum()?);
        }
        let bound = bound.unwrap_or(0.0);
        Ok(Relaxed { bound, cut: self.last.clone() })
    }

    /// Put rows into the programme that the last solution misses; how many.
    fn take_missed(&mut self, pool: &RowPool) -> usize {
        let Some(model) = self.model.as_mut() else { return 0 };
        let last = &self.last;
        let mut missed: Vec<(f64, usize)> = (0..pool.rows.len())
            .filter(|&r| !self.taken[r])
            .map(|r| {
                let sum: f64 = pool.rows[r].terms.iter().map(|&(e, c)| c * last[e as usize]).sum();
                (1.0 - sum, r)
            })
            .filter(|(lack, _)| *lack > MISSED)
            .collect();
        missed.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        missed.truncate(ROWS_AT_A_TIME);
        for &(_, r) in &missed {
            let terms = pool.rows[r].terms.iter().map(|&(e, c)| (self.columns[e as usize], c));
            model.add_row(1.0.., terms);
            self.taken[r] = true;
        }
        missed.len()
    }

    /// Optimum over the rows taken, mm.
    fn optimum(&mut self) -> Result<f64, RelaxationError> {
        let Some(model) = self.model.take() else {
            return Err(RelaxationError::NotOptimal("lost".into()));
        };
        let solved: SolvedModel =
            model.try_solve().map_err(|e| RelaxationError::NotOptimal(format!("{e:?}")))?;
        if solved.status() != HighsModelStatus::Optimal {
            return Err(RelaxationError::NotOptimal(format!("{:?}", solved.status())));
        }
        self.last = solved.get_solution().columns().to_vec();
        self.last.truncate(self.edge_count);
        let bound = solved.objective_value() * self.unit;
        self.model = Some(solved.into());
        Ok(bound)
    }
}
