//! The equations of the finest grid with potentials of the model's skin alone.
//!
//! What is solved is the symmetric scheme of Gibou, Fedkiw, Cheng & Kang (2002, see `level`) by the method
//! of conjugate gradients (Hestenes & Stiefel 1952, J. Res. Natl. Bur. Stand. 49), preconditioned by one
//! multigrid cycle, which is symmetric.

use rayon::prelude::*;

use super::level::{Level, NO_LEG, WHOLE, plane_weight, steps};
use super::multigrid::Multigrid;
use super::sample::cut_place;
use super::{FieldError, Grid, SolveReport};
use crate::control::Control;
use crate::mesh::Point;

/// Iterations that are never needed: a few dozen is the rule.
const MOST_ITERATIONS: usize = 200;

/// Solve with the potential `on_model` on the model's skin until the residual is down to `tolerance`.
pub(super) fn solve(
    levels: &[Level],
    grid: &Grid,
    on_model: &(dyn Fn(&Point) -> f64 + Sync),
    tolerance: f64,
    control: &Control<'_>,
) -> Result<(Vec<f64>, SolveReport), FieldError> {
    let level = &levels[0];
    let size = level.counts[0] * level.counts[1];
    let mut residual = right_side(level, grid, on_model);
    let mut solution = vec![0.0; residual.len()];
    let whole = dot(&residual, &residual, size).sqrt();
    let mut multigrid = Multigrid::new(levels);
    let mut direction = vec![0.0; residual.len()];
    let mut image = vec![0.0; residual.len()];
    let (mut before, mut left, mut iterations) = (0.0, if whole > 0.0 { 1.0 } else { 0.0 }, 0);
    while left > tolerance {
        if iterations == MOST_ITERATIONS || !f64::is_finite(left) {
            return Err(FieldError::NotConverged { iterations, residual: left });
        }
        multigrid.apply(&residual, control)?;
        let now = dot(multigrid.answer(), &residual, size);
        let beta = if iterations == 0 { 0.0 } else { now / before };
        before = now;
        direction.par_chunks_mut(size).zip(multigrid.answer().par_chunks(size)).for_each(
            |(p, z)| {
                for (p, &z) in p.iter_mut().zip(z) {
                    *p = f64::from(z) + beta * *p;
                }
            },
        );
        apply(level, &direction, &mut image);
        let alpha = now / dot(&direction, &image, size);
        step(&mut solution, alpha, &direction, size);
        step(&mut residual, -alpha, &image, size);
        iterations += 1;
        left = dot(&residual, &residual, size).sqrt() / whole;
    }
    let report = SolveReport {
        unknowns: level.unknowns(),
        iterations,
        residual: left,
        levels: levels.len(),
        thickened: level.thickened,
        gaps: level.gaps,
        flux: 0.0,
    };
    Ok((solution, report))
}

/// Legs that end on the model bring its potential.
fn right_side(level: &Level, grid: &Grid, on_model: &(dyn Fn(&Point) -> f64 + Sync)) -> Vec<f64> {
    let size = level.counts[0] * level.counts[1];
    let brought: Vec<f64> = level
        .cuts
        .par_iter()
        .map(|cut| {
            let node = cut.node as usize;
            let weight = f64::from(plane_weight(level.mirrored, node / size));
            let of_leg = |way: usize| {
                let share = f64::from(cut.legs[way]);
                let weight = if way < 4 { weight } else { 1.0 };
                weight * on_model(&cut_place(grid, node, way, share)) / share
            };
            let on_skin = |&way: &usize| cut.legs[way] != WHOLE && cut.legs[way] != NO_LEG;
            (0..6).filter(on_skin).map(of_leg).sum()
        })
        .collect();
    let mut right = vec![0.0; level.inverse.len()];
    for (cut, value) in level.cuts.iter().zip(brought) {
        if level.inverse[cut.node as usize] != 0.0 {
            right[cut.node as usize] = value;
        }
    }
    right
}

/// The matrix times a vector: its entries off the diagonal are -1, or half that within a mirror.
fn apply(level: &Level, x: &[f64], out: &mut [f64]) {
    let [nx, ny, nz] = level.counts;
    let size = nx * ny;
    let steps = steps(level.counts);
    out.par_chunks_mut(size).enumerate().for_each(|(k, out)| {
        out.fill(0.0);
        if k + 1 == nz || (k == 0 && !level.mirrored) {
            return;
        }
        let weight = f64::from(plane_weight(level.mirrored, k));
        for j in 1..ny - 1 {
            for i in 1..nx - 1 {
                let at = k * size + j * nx + i;
                let inverse = level.inverse[at];
                if inverse == 0.0 {
                    continue;
                }
                let in_plane = x[at - 1] + x[at + 1] + x[at - nx] + x[at + nx];
                let below = if k > 0 { x[at.wrapping_add_signed(steps[4])] } else { 0.0 };
                let above = x[at + size];
                out[j * nx + i] = x[at] / f64::from(inverse) - weight * in_plane - below - above;
            }
        }
    });
}

/// to += share * from
fn step(to: &mut [f64], share: f64, from: &[f64], size: usize) {
    to.par_chunks_mut(size).zip(from.par_chunks(size)).for_each(|(to, from)| {
        for (to, from) in to.iter_mut().zip(from) {
            *to += share * from;
        }
    });
}

/// Sum by planes, then over the planes in order: the same whatever the threads.
fn dot<T: Copy + Into<f64> + Sync>(a: &[T], b: &[f64], size: usize) -> f64 {
    let planes: Vec<f64> = a
        .par_chunks(size)
        .zip(b.par_chunks(size))
        .map(|(a, b)| a.iter().zip(b).map(|(&x, y)| x.into() * y).sum())
        .collect();
    planes.iter().sum()
}
