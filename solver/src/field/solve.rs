//! Conjugate gradients on the finest grid, in double precision.
//!
//! M. R. Hestenes, E. Stiefel, Methods of conjugate gradients for solving linear systems, J. Res.
//! Natl. Bur. Stand. 49 (1952), preconditioned by one multigrid cycle.

use rayon::prelude::*;

use super::FieldError;
use super::level::{Level, NO_LEG, WHOLE, plane_weight};
use super::multigrid::Multigrid;
use crate::control::Control;

/// Iterations that are never needed: a few dozen is the rule.
const MOST_ITERATIONS: usize = 400;

/// How the equations were solved.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SolveReport {
    /// Unknowns.
    pub unknowns: usize,
    /// Iterations of conjugate gradients.
    pub iterations: usize,
    /// Length of the residual over that of the right side, at the end.
    pub residual: f64,
    /// Grids.
    pub levels: usize,
    /// Nodes that gave way to walls of model or rubber thinner than the spacing. Where there are
    /// many, a finer grid is needed.
    pub thickened: usize,
    /// Flux out of the model's skin, mm: the integral of the slope of the potential over it.
    /// It is what capacitance is in electrostatics (capacitance over permittivity).
    pub flux: f64,
}

/// Solve on the finest of `levels` until the residual is down to `tolerance`.
pub(super) fn solve(
    levels: &[Level],
    tolerance: f64,
    control: &Control<'_>,
) -> Result<(Vec<f64>, SolveReport), FieldError> {
    let level = &levels[0];
    let size = level.counts[0] * level.counts[1];
    let mut residual = right_side(level);
    let mut solution = vec![0.0; residual.len()];
    let mut direction = vec![0.0; residual.len()];
    let mut image = vec![0.0; residual.len()];
    let whole = dot(&residual, &residual, size).sqrt();
    if whole == 0.0 {
        return Err(FieldError::NoOutside);
    }
    let mut multigrid = Multigrid::new(levels);
    let mut rho_before = 0.0;
    let mut left = 1.0;
    let mut iterations = 0;
    while left > tolerance {
        if iterations == MOST_ITERATIONS {
            return Err(FieldError::NotConverged { iterations, residual: left });
        }
        multigrid.apply(&residual, control)?;
        let answer = multigrid.answer();
        let rho = dot_mixed(&residual, answer, size);
        let beta = if iterations == 0 { 0.0 } else { rho / rho_before };
        direction
            .par_chunks_mut(size)
            .zip(answer.par_chunks(size))
            .for_each(|(p, z)| {
                for (p, &z) in p.iter_mut().zip(z) {
                    *p = f64::from(z) + beta * *p;
                }
            });
        apply(level, &direction, &mut image);
        let alpha = rho / dot(&direction, &image, size);
        solution
            .par_chunks_mut(size)
            .zip(residual.par_chunks_mut(size))
            .zip(direction.par_chunks(size).zip(image.par_chunks(size)))
            .for_each(|((x, r), (p, q))| {
                for ((x, r), (p, q)) in x.iter_mut().zip(r).zip(p.iter().zip(q)) {
                    *x += alpha * p;
                    *r -= alpha * q;
                }
            });
        rho_before = rho;
        iterations += 1;
        left = dot(&residual, &residual, size).sqrt() / whole;
        if !left.is_finite() {
            return Err(FieldError::NotConverged { iterations, residual: left });
        }
    }
    let report = SolveReport {
        unknowns: level.unknowns(),
        iterations,
        residual: left,
        levels: levels.len(),
        thickened: level.thickened,
        flux: 0.0,
    };
    Ok((solution, report))
}

/// Legs that end on the outside bring its potential, 1, over their share.
fn right_side(level: &Level) -> Vec<f64> {
    let size = level.counts[0] * level.counts[1];
    let mut right = vec![0.0; level.inverse.len()];
    for cut in &level.cuts {
        let node = cut.node as usize;
        let weight = f64::from(plane_weight(level.mirrored, node / size));
        for (way, &leg) in cut.legs.iter().enumerate() {
            if leg < 0.0 {
                let weight = if way < 4 { weight } else { 1.0 };
                right[node] += weight / f64::from(-leg);
            }
        }
    }
    right
}

/// Flux into the rubber's nodes from the model's skin, in units of potential times spacing.
pub(super) fn model_flux(level: &Level, solution: &[f64]) -> f64 {
    let size = level.counts[0] * level.counts[1];
    let mut flux = 0.0;
    for cut in &level.cuts {
        let node = cut.node as usize;
        let weight = f64::from(plane_weight(level.mirrored, node / size));
        for (way, &leg) in cut.legs.iter().enumerate() {
            if leg > 0.0 && leg != WHOLE && leg != NO_LEG {
                let weight = if way < 4 { weight } else { 1.0 };
                flux += weight * solution[node] / f64::from(leg);
            }
        }
    }
    flux
}

/// The matrix times a vector.
fn apply(level: &Level, x: &[f64], out: &mut [f64]) {
    let [nx, ny, nz] = level.counts;
    let size = nx * ny;
    out.par_chunks_mut(size).enumerate().for_each(|(k, out)| {
        if k + 1 == nz || (k == 0 && !level.mirrored) {
            return;
        }
        let weight = f64::from(plane_weight(level.mirrored, k));
        let nothing = vec![0.0; nx];
        for j in 1..ny - 1 {
            let at = k * size + j * nx;
            let (mine, south, north) = (&x[at..][..nx], &x[at - nx..][..nx], &x[at + nx..][..nx]);
            let below = if k > 0 { &x[at - size..][..nx] } else { &nothing[..] };
            let above = &x[at + size..][..nx];
            let inverse = &level.inverse[at..][..nx];
            let out = &mut out[j * nx..][..nx];
            for i in 1..nx - 1 {
                let in_plane = mine[i - 1] + mine[i + 1] + south[i] + north[i];
                let value =
                    mine[i] / f64::from(inverse[i]) - weight * in_plane - below[i] - above[i];
                out[i] = if inverse[i] == 0.0 { 0.0 } else { value };
            }
        }
    });
}

/// Sum by planes, then over the planes in order: the same whatever the threads.
fn dot(a: &[f64], b: &[f64], size: usize) -> f64 {
    let planes: Vec<f64> = a
        .par_chunks(size)
        .zip(b.par_chunks(size))
        .map(|(a, b)| a.iter().zip(b).map(|(x, y)| x * y).sum())
        .collect();
    planes.iter().sum()
}

fn dot_mixed(a: &[f64], b: &[f32], size: usize) -> f64 {
    let planes: Vec<f64> = a
        .par_chunks(size)
        .zip(b.par_chunks(size))
        .map(|(a, b)| a.iter().zip(b).map(|(x, &y)| x * f64::from(y)).sum())
        .collect();
    planes.iter().sum()
}
