//! Where the rubber is, as the grid sees it: along every grid line, from where to where.

use rayon::prelude::*;

use super::Grid;
use crate::control::{Cancelled, Control};
use crate::mesh::Point;

/// What bounds the rubber.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Skin {
    /// The model: potential 0.
    Model,
    /// The outside of the mould body: potential 1.
    Outside,
    /// The board that the body stands on: no sheet goes there, so the field is mirrored in it
    /// (no flux, the natural condition).
    Board,
}

/// A stretch of rubber along a grid line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// Where it begins and ends along the line's axis, mm.
    pub ends: [f64; 2],
    /// What it meets there.
    pub skins: [Skin; 2],
}

/// The stretches of rubber on all grid lines of one axis, in order along each line.
#[derive(Clone, Debug, Default)]
pub struct Lines {
    starts: Vec<u32>,
    stretches: Vec<Stretch>,
}

impl Lines {
    /// From the stretches of each line.
    pub fn new(lines: Vec<Vec<Stretch>>) -> Self {
        let mut starts = Vec::with_capacity(lines.len() + 1);
        let mut stretches = Vec::with_capacity(lines.iter().map(Vec::len).sum());
        starts.push(0);
        for line in lines {
            stretches.extend(line);
            starts.push(stretches.len() as u32);
        }
        Self { starts, stretches }
    }

    /// Stretches of one line.
    pub fn line(&self, line: usize) -> &[Stretch] {
        &self.stretches[self.starts[line] as usize..self.starts[line + 1] as usize]
    }
}

/// A region between a model and an outside.
pub trait Domain: Sync {
    /// Corners of a box round the region, mm.
    fn bounds(&self) -> (Point, Point);
    /// Whether the box's bottom is a board that the field is mirrored in.
    fn on_board(&self) -> bool;
    /// The stretches of the region on all grid lines, for each axis. Ends are exact: the accuracy
    /// of the whole field rests on them.
    fn trace(&self, grid: &Grid, control: &Control<'_>) -> Result<[Lines; 3], Cancelled>;
    /// The point of a skin nearest to a point that is close to it, if the region can tell.
    fn nearest(&self, point: &Point, skin: Skin) -> Option<Point> {
        let _ = (point, skin);
        None
    }
}

/// A region between two implicit surfaces: where `model` is positive and `outside` is negative.
/// Parts thinner than the grid's spacing go unseen.
pub struct ImplicitDomain<M, O> {
    /// Negative inside the model; continuous.
    pub model: M,
    /// Negative inside the body; continuous.
    pub outside: O,
    /// A box round the body, mm.
    pub bounds: (Point, Point),
    /// Whether the bottom of the box is a board.
    pub on_board: bool,
}

impl<M, O> ImplicitDomain<M, O>
where
    M: Fn(&Point) -> f64 + Sync,
    O: Fn(&Point) -> f64 + Sync,
{
    /// Negative in the region; and the skin that is nearer by value.
    fn level(&self, p: &Point) -> (f64, Skin) {
        let (model, outside) = (-(self.model)(p), (self.outside)(p));
        if model > outside { (model, Skin::Model) } else { (outside, Skin::Outside) }
    }

    /// Where the line crosses a skin between `inside` (in the region) and `beyond` (not in it).
    fn crossing(&self, start: Point, axis: usize, inside: f64, beyond: f64) -> (f64, Skin) {
        let (mut a, mut b) = (inside, beyond);
        let mut skin = Skin::Model;
        for _ in 0..60 {
            let middle = 0.5 * (a + b);
            let mut p = start;
            p[axis] = middle;
            let (level, at) = self.level(&p);
            if level < 0.0 {
                a = middle;
            } else {
                (b, skin) = (middle, at);
            }
        }
        if b == beyond {
            let mut p = start;
            p[axis] = beyond;
            skin = self.level(&p).1;
        }
        (0.5 * (a + b), skin)
    }

    fn stretches(&self, grid: &Grid, axis: usize, line: usize) -> Vec<Stretch> {
        let start = line_start(grid, axis, line);
        let at = |n: usize| start[axis] + n as f64 * grid.spacing;
        let mut found = Vec::new();
        let mut open: Option<(f64, Skin)> = None;
        for n in 0..grid.counts[axis] {
            let mut p = start;
            p[axis] = at(n);
            let inside = self.level(&p).0 < 0.0;
            match (inside, open) {
                (true, None) if n == 0 => open = Some((at(0), Skin::Board)),
                (true, None) => open = Some(self.crossing(start, axis, at(n), at(n - 1))),
                (false, Some((from, first))) => {
                    let (to, last) = self.crossing(start, axis, at(n - 1), at(n));
                    found.push(Stretch { ends: [from, to], skins: [first, last] });
                    open = None;
                }
                _ => {}
            }
        }
        found
    }
}

/// First node of a line.
pub(super) fn line_start(grid: &Grid, axis: usize, line: usize) -> Point {
    let [u, v] = Grid::across(axis);
    let mut at = [0; 3];
    at[u] = line % grid.counts[u];
    at[v] = line / grid.counts[u];
    grid.position(at)
}

impl<M, O> Domain for ImplicitDomain<M, O>
where
    M: Fn(&Point) -> f64 + Sync,
    O: Fn(&Point) -> f64 + Sync,
{
    fn bounds(&self) -> (Point, Point) {
        self.bounds
    }

    fn on_board(&self) -> bool {
        self.on_board
    }

    fn trace(&self, grid: &Grid, control: &Control<'_>) -> Result<[Lines; 3], Cancelled> {
        let mut all: [Lines; 3] = Default::default();
        for (axis, lines) in all.iter_mut().enumerate() {
            control.check()?;
            let found = (0..grid.line_count(axis))
                .into_par_iter()
                .map(|line| self.stretches(grid, axis, line))
                .collect();
            *lines = Lines::new(found);
        }
        Ok(all)
    }
}
