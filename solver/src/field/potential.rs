//! The solved potential.

use super::level::{Level, OutsideSkin};
use super::multigrid::COARSEST;
use super::{Domain, Grid, Place, SolveReport, sample, sides, solve};
use crate::control::{Cancelled, Control};
use crate::mesh::Point;

/// Length of the residual at which the equations count as solved, over that of the right side.
/// It leaves an error far below that of the grid.
pub const SOLVE_TOLERANCE: f64 = 1e-9;

/// Why there is no potential, or no line in it.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum FieldError {
    /// The grid cannot be used.
    #[error(
        "a grid of {} x {} x {} nodes, {spacing} mm apart, cannot be solved on: it needs a positive \
         spacing, 4 to 4096 nodes a side and at most 4294967295 in all; choose another spacing",
        counts[0], counts[1], counts[2]
    )]
    BadGrid {
        /// Nodes along x, y and z.
        counts: [usize; 3],
        /// Distance between nodes, mm.
        spacing: f64,
    },
    /// The grid has no node in the rubber.
    #[error("no node of the grid lies in the rubber: a spacing of {spacing} mm is too coarse")]
    NoRubber {
        /// Distance between nodes, mm.
        spacing: f64,
    },
    /// No rubber touches the outside.
    #[error("no rubber touches the outside of the body: check that the model lies inside it")]
    NoOutside,
    /// The solver gave up.
    #[error(
        "the potential did not settle: residual {residual:.1e} after {iterations} iterations; \
         choose a finer grid"
    )]
    NotConverged {
        /// Iterations done.
        iterations: usize,
        /// Residual reached.
        residual: f64,
    },
    /// A point is not in the rubber.
    #[error("({:.2}, {:.2}, {:.2}) does not lie in the rubber or next to it: give a point that does", at.x, at.y, at.z)]
    NotInRubber {
        /// The point, mm.
        at: Point,
    },
    /// A field line got stuck.
    #[error(
        "a field line is lost near ({:.2}, {:.2}, {:.2}), after {length:.1} mm: it runs into a \
         saddle or a place too narrow for the grid; start elsewhere or choose a finer grid",
        at.x, at.y, at.z
    )]
    LineLost {
        /// Where it was last, mm.
        at: Point,
        /// Length so far, mm.
        length: f64,
    },
    /// The caller cancelled.
    #[error("cancelled by the caller")]
    Cancelled,
}

impl From<Cancelled> for FieldError {
    fn from(_: Cancelled) -> Self {
        Self::Cancelled
    }
}

/// The difference equations of the potential on a grid, and on coarser ones.
pub struct Equations {
    grid: Grid,
    on_board: bool,
    levels: Vec<Level>,
}

impl Equations {
    /// Set up for `domain` on a grid of the given spacing (mm).
    pub fn new(
        domain: &dyn Domain,
        spacing: f64,
        control: &Control<'_>,
    ) -> Result<Self, FieldError> {
        Self::with_outside(domain, spacing, OutsideSkin::Held, control)
    }

    /// The same where nothing flows through the outside: potentials are those of the model's skin alone
    /// ([`Equations::solve_sides`]).
    pub fn insulated(
        domain: &dyn Domain,
        spacing: f64,
        control: &Control<'_>,
    ) -> Result<Self, FieldError> {
        Self::with_outside(domain, spacing, OutsideSkin::Insulated, control)
    }

    fn with_outside(
        domain: &dyn Domain,
        spacing: f64,
        outside: OutsideSkin,
        control: &Control<'_>,
    ) -> Result<Self, FieldError> {
        let (low, high) = domain.bounds();
        let counts = [0; 3];
        let size = high - low;
        if !(spacing > 0.0 && size.iter().all(|s| s.is_finite() && *s > 0.0)) {
            return Err(FieldError::BadGrid { counts, spacing });
        }
        let on_board = domain.on_board();
        let grid = match outside {
            OutsideSkin::Held => Grid::round(low, high, spacing, on_board),
            OutsideSkin::Insulated => Grid::centred(low, high, spacing, on_board),
        };
        let counts = grid.counts;
        let nodes = counts.iter().fold(1u64, |n, &c| n.saturating_mul(c as u64));
        if counts.iter().any(|n| !(4..=4096).contains(n)) || nodes > u64::from(u32::MAX) {
            return Err(FieldError::BadGrid { counts, spacing });
        }
        let lines = domain.trace(&grid, control)?;
        let mut levels = vec![Level::new(&grid, &lines, on_board, outside, 1)];
        let mut stride = 1;
        while levels.last().is_some_and(|l| l.counts.iter().any(|&n| n > COARSEST)) {
            control.check()?;
            stride *= 2;
            let mut level = Level::new(&grid, &lines, on_board, outside, stride);
            // Only the finest grid's skins are needed once the diagonals are known.
            (level.places, level.cuts, level.cut_starts) = (Vec::new(), Vec::new(), Vec::new());
            levels.push(level);
        }
        if levels[0].unknowns() == 0 {
            return Err(FieldError::NoRubber { spacing });
        }
        Ok(Self { grid, on_board, levels })
    }

    /// Solve until the length of the residual, over that of the right side, is down to `tolerance`.
    pub fn solve(mut self, tolerance: f64, control: &Control<'_>) -> Result<Potential, FieldError> {
        let (mut values, mut report) = solve::solve(&self.levels, tolerance, control)?;
        report.flux *= self.grid.spacing;
        let Level { places, cuts, .. } = self.levels.swap_remove(0);
        let skin = |_: &Point, leg: f32| sample::Beyond::Held(if leg < 0.0 { 1.0 } else { 0.0 });
        sample::extend(&self.grid, &places, &cuts, &skin, &mut values);
        Ok(Potential { grid: self.grid, on_board: self.on_board, values, places, report })
    }

    /// Solve with the potential `on_model` on the model's skin, of equations made by
    /// [`Equations::insulated`], until the length of the residual, over that of the right side, is down to
    /// `tolerance`. The flux reported is 0: what leaves one side of the model arrives at the other. The same
    /// equations may be solved for any number of potentials.
    pub fn solve_sides(
        &self,
        on_model: &(dyn Fn(&Point) -> f64 + Sync),
        tolerance: f64,
        control: &Control<'_>,
    ) -> Result<Potential, FieldError> {
        let (mut values, report) =
            sides::solve(&self.levels, &self.grid, on_model, tolerance, control)?;
        let Level { places, cuts, .. } = &self.levels[0];
        let skin = |p: &Point, leg: f32| match leg {
            super::level::NO_LEG => sample::Beyond::Level,
            _ => sample::Beyond::Held(on_model(p)),
        };
        sample::extend(&self.grid, places, cuts, &skin, &mut values);
        Ok(Potential {
            grid: self.grid,
            on_board: self.on_board,
            values,
            places: places.clone(),
            report,
        })
    }
}

/// The potential on a grid.
pub struct Potential {
    pub(super) grid: Grid,
    pub(super) on_board: bool,
    /// At nodes of the rubber the solution; round them what continues it smoothly beyond the skins;
    /// not a number farther away.
    pub(super) values: Vec<f64>,
    pub(super) places: Vec<Place>,
    report: SolveReport,
}

impl Potential {
    /// Solve in `domain` on a grid of the given spacing (mm).
    pub fn solve(
        domain: &dyn Domain,
        spacing: f64,
        control: &Control<'_>,
    ) -> Result<Self, FieldError> {
        Equations::new(domain, spacing, control)?.solve(SOLVE_TOLERANCE, control)
    }

    /// The grid.
    pub fn grid(&self) -> &Grid {
        &self.grid
    }

    /// How the equations were solved.
    pub fn report(&self) -> &SolveReport {
        &self.report
    }

    /// Where a node lies.
    pub fn place(&self, node: [usize; 3]) -> Place {
        self.places[self.grid.index(node)]
    }

    /// The potential at a node of the rubber, or its continuation at one a little beyond its skins.
    pub fn near_node(&self, node: [usize; 3]) -> Option<f64> {
        Some(self.values[self.grid.index(node)]).filter(|v| v.is_finite())
    }

    /// The potential at a node of the rubber.
    pub fn at_node(&self, node: [usize; 3]) -> Option<f64> {
        let index = self.grid.index(node);
        (self.places[index] == Place::Rubber).then(|| self.values[index])
    }
}
