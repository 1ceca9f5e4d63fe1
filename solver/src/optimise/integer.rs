//! The integer optimum over known rows, on all edges or on some.

use std::sync::mpsc::channel;

use good_lp::solvers::highs::highs;
use good_lp::{Expression, ProblemVariables, SolverModel, constraint, variable};
use highs::{HighsModelStatus, HighsSolutionStatus};

use super::rows::Row;
use crate::control::Control;

/// How an integer solve ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum IntegerOutcome {
    /// Proved to be the cheapest choice.
    Optimal,
    /// A limit was met with a choice at hand.
    Limited,
    /// No choice meets the rows.
    Infeasible,
    /// A limit was met with no choice at hand, or the solver failed.
    Nothing,
}

/// What an integer solve found.
#[derive(Clone, Debug)]
pub struct IntegerSolution {
    /// How it ended.
    pub outcome: IntegerOutcome,
    /// Chosen columns, in rising order.
    pub chosen: Vec<u32>,
    /// Cost of the choice; meaningless without one.
    pub cost: f64,
    /// Proved lower bound.
    pub bound: f64,
}

/// Limits of an integer solve. The node limit keeps results the same from run to run; the time
/// limit is there for the worst case only.
#[derive(Clone, Copy, Debug)]
pub struct IntegerLimits {
    /// Nodes of the branching tree.
    pub nodes: i32,
    /// Seconds.
    pub seconds: f64,
}

/// Choose columns of least total cost such that every row's terms sum to at least one.
///
/// Only columns of `allowed` may be chosen.
pub fn solve_cover(
    costs: &[f64],
    rows: &[Row],
    allowed: &[u32],
    limits: IntegerLimits,
) -> IntegerSolution {
    let nothing = |outcome| IntegerSolution {
        outcome,
        chosen: Vec::new(),
        cost: f64::INFINITY,
        bound: f64::NEG_INFINITY,
    };
    let mut place = vec![usize::MAX; costs.len()];
    for (k, &column) in allowed.iter().enumerate() {
        place[column as usize] = k;
    }
    let mut problem = ProblemVariables::new();
    let columns = problem.add_vector(variable().binary(), allowed.len());
    let objective: Expression =
        columns.iter().zip(allowed).map(|(&x, &column)| x * costs[column as usize]).sum();
    let mut model = problem.minimise(objective).using(highs);
    for row in rows {
        let sum: Expression = row
            .terms
            .iter()
            .filter(|(column, _)| place[*column as usize] != usize::MAX)
            .map(|&(column, share)| columns[place[column as usize]] * f64::from(share))
            .sum();
        model = model.with(constraint!(sum >= 1.0));
    }
    // good_lp tells neither bound nor which limit was met, so the model underneath is solved.
    let Ok(mut inner) = model.try_into_inner() else { return nothing(IntegerOutcome::Nothing) };
    inner.make_quiet();
    inner.set_option("mip_max_nodes", limits.nodes);
    inner.set_option("time_limit", limits.seconds);
    inner.set_option("threads", 1);
    let Ok(solved) = inner.try_solve() else { return nothing(IntegerOutcome::Nothing) };
    let bound = solved.double_info_value(c"mip_dual_bound").unwrap_or(f64::NEG_INFINITY);
    match solved.status() {
        HighsModelStatus::Infeasible => nothing(IntegerOutcome::Infeasible),
        status if solved.primal_solution_status() == HighsSolutionStatus::Feasible => {
            let values = solved.get_solution();
            let chosen: Vec<u32> = allowed
                .iter()
                .zip(values.columns())
                .filter(|(_, x)| **x > 0.5)
                .map(|(&column, _)| column)
                .collect();
            let cost = chosen.iter().map(|&c| costs[c as usize]).sum();
            let outcome = match status {
                HighsModelStatus::Optimal => IntegerOutcome::Optimal,
                _ => IntegerOutcome::Limited,
            };
            IntegerSolution { outcome, chosen, cost, bound }
        }
        _ => IntegerSolution { bound, ..nothing(IntegerOutcome::Nothing) },
    }
}

/// [`solve_cover`] on a thread of its own. None as soon as the job is cancelled: HiGHS cannot be
/// interrupted, so the thread is left to run into its limits.
pub fn solve_cover_while(
    costs: Vec<f64>,
    rows: Vec<Row>,
    allowed: &[u32],
    limits: IntegerLimits,
    control: &Control<'_>,
) -> Option<IntegerSolution> {
    let (answer, solution) = channel();
    let allowed = allowed.to_vec();
    std::thread::spawn(move || answer.send(solve_cover(&costs, &rows, &allowed, limits)));
    control.wait(&solution).ok()
}

#[cfg(test)]
mod tests {
    use super::super::rows::RowKind;
    use super::*;

    /// Steiner triple systems from the lines of the affine geometry AG(n, 3): least covers 5 and
    /// 18 for 9 and 27 points (published optima; identification with AG(n, 3) from memory).
    #[test]
    fn covers_of_steiner_triples_have_the_published_size() {
        for (dimension, least) in [(2u32, 5.0), (3, 18.0)] {
            let count = 3u32.pow(dimension);
            let digits = |p: u32| (0..dimension).map(move |k| p / 3u32.pow(k) % 3);
            let third = |a: u32, b: u32| -> u32 {
                digits(a)
                    .zip(digits(b))
                    .enumerate()
                    .map(|(k, (x, y))| (6 - x - y) % 3 * 3u32.pow(k as u32))
                    .sum()
            };
            let mut rows = Vec::new();
            for a in 0..count {
                for b in a + 1..count {
                    let c = third(a, b);
                    if c > b {
                        let terms = vec![(a, 1.0), (b, 1.0), (c, 1.0)];
                        rows.push(Row {
                            kind: RowKind::Crossing,
                            terms,
                            origin: 0,
                            depth: 0.0,
                            least: 1.0,
                        });
                    }
                }
            }
            let all: Vec<u32> = (0..count).collect();
            let limits = IntegerLimits { nodes: 1_000_000, seconds: 300.0 };
            let found = solve_cover(&vec![1.0; count as usize], &rows, &all, limits);
            assert_eq!(found.outcome, IntegerOutcome::Optimal);
            assert_eq!(found.cost, least);
            assert!((found.bound - least).abs() < 1e-6);
        }
    }

    #[test]
    fn distinct_outcomes_stay_distinct() {
        let row = Row {
            kind: RowKind::Crossing,
            terms: vec![(0, 1.0)],
            origin: 0,
            depth: 0.0,
            least: 1.0,
        };
        let limits = IntegerLimits { nodes: 100, seconds: 10.0 };
        let none = solve_cover(&[1.0, 1.0], std::slice::from_ref(&row), &[1], limits);
        assert_eq!(none.outcome, IntegerOutcome::Infeasible);
        let one = solve_cover(&[1.0, 1.0], &[row], &[0, 1], limits);
        assert_eq!((one.outcome, one.chosen), (IntegerOutcome::Optimal, vec![0]));
    }
}
