//! The equations of the finest grid, solved in double precision.
//!
//! H. A. van der Vorst, Bi-CGSTAB: a fast and smoothly converging variant of Bi-CG for the solution
//! of nonsymmetric linear systems, SIAM J. Sci. Stat. Comput. 13 (1992), preconditioned from the
//! right by one multigrid cycle.

use rayon::prelude::*;

use super::level::{CutNode, Level, NO_LEG, WHOLE, plane_weight, steps};
use super::multigrid::Multigrid;
use super::{FieldError, Place};
use crate::control::Control;

/// Iterations that are never needed: a few dozen is the rule.
const MOST_ITERATIONS: usize = 200;

/// How the equations were solved.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SolveReport {
    /// Unknowns.
    pub unknowns: usize,
    /// Iterations, of two multigrid cycles each.
    pub iterations: usize,
    /// Length of the residual over that of the right side, at the end.
    pub residual: f64,
    /// Grids.
    pub levels: usize,
    /// Nodes that gave way to walls of the model thinner than the spacing. Where there are many, a
    /// finer grid is needed.
    pub thickened: usize,
    /// Nodes of the model beside gaps of rubber narrower than the spacing. Creases have some; where
    /// there are many, a finer grid is needed.
    pub gaps: usize,
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
    let shadow = residual.clone();
    let mut solution = vec![0.0; residual.len()];
    let mut direction = vec![0.0; residual.len()];
    let mut image = vec![0.0; residual.len()];
    let mut second = vec![0.0; residual.len()];
    let whole = dot(&residual, &residual, size).sqrt();
    if whole == 0.0 {
        return Err(FieldError::NoOutside);
    }
    let mut multigrid = Multigrid::new(levels);
    let (mut rho, mut alpha, mut omega) = (1.0, 0.0, 1.0);
    let mut left = 1.0;
    let mut iterations = 0;
    while left > tolerance {
        if iterations == MOST_ITERATIONS || !f64::is_finite(left) {
            return Err(FieldError::NotConverged { iterations, residual: left });
        }
        let rho_before = rho;
        rho = dot(&shadow, &residual, size);
        let beta = if iterations == 0 { 0.0 } else { rho / rho_before * (alpha / omega) };
        direction
            .par_chunks_mut(size)
            .zip(residual.par_chunks(size).zip(image.par_chunks(size)))
            .for_each(|(p, (r, v))| {
                for (p, (r, v)) in p.iter_mut().zip(r.iter().zip(v)) {
                    *p = r + beta * (*p - omega * v);
                }
            });
        multigrid.apply(&direction, control)?;
        apply(level, multigrid.answer(), &mut image);
        alpha = rho / dot(&shadow, &image, size);
        step(&mut solution, alpha, multigrid.answer(), size);
        step(&mut residual, -alpha, &image, size);
        multigrid.apply(&residual, control)?;
        apply(level, multigrid.answer(), &mut second);
        omega = dot(&second, &residual, size) / dot(&second, &second, size);
        step(&mut solution, omega, multigrid.answer(), size);
        step(&mut residual, -omega, &second, size);
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
        flux: model_flux(level, &solution),
    };
    Ok((solution, report))
}

/// to += share * from
fn step<T: Copy + Into<f64> + Sync>(to: &mut [f64], share: f64, from: &[T], size: usize) {
    to.par_chunks_mut(size).zip(from.par_chunks(size)).for_each(|(to, from)| {
        for (to, &from) in to.iter_mut().zip(from) {
            *to += share * from.into();
        }
    });
}

/// A cut node's row: what each leg counts, and the node itself. The row is scaled so that its
/// diagonal is that of the preconditioner.
fn row(level: &Level, cut: &CutNode) -> ([f64; 6], f64) {
    let size = level.counts[0] * level.counts[1];
    let weight = f64::from(plane_weight(level.mirrored, cut.node as usize / size));
    let length = |way: usize| match cut.legs[way] {
        WHOLE => 1.0,
        leg => f64::from(leg.abs()),
    };
    let mut legs = [0.0; 6];
    let mut sum = 0.0;
    for axis in 0..3 {
        let (a, b) = (2 * axis, 2 * axis + 1);
        // In a mirror the missing leg is as long as the other, and the row is halved.
        if cut.legs[a] == NO_LEG {
            legs[b] = 1.0 / (length(b) * length(b));
        } else {
            let joint = 2.0 / (length(a) + length(b)) * if axis < 2 { weight } else { 1.0 };
            legs[a] = joint / length(a);
            legs[b] = joint / length(b);
        }
        sum += legs[a] + legs[b];
    }
    let diagonal = 1.0 / f64::from(level.inverse[cut.node as usize]);
    (legs.map(|l| l * diagonal / sum), diagonal)
}

/// Legs that end on the outside bring its potential, 1.
fn right_side(level: &Level) -> Vec<f64> {
    let mut right = vec![0.0; level.inverse.len()];
    for cut in &level.cuts {
        let (legs, _) = row(level, cut);
        let outside = (0..6).filter(|&way| cut.legs[way] < 0.0);
        right[cut.node as usize] = outside.map(|way| legs[way]).sum();
    }
    right
}

/// Integral of the slope of the potential over the model's skin, over the spacing: along each axis
/// every grid line that crosses the skin stands for one square of its projection. Slopes at the skin
/// are those of parabolas through it and two nodes.
fn model_flux(level: &Level, solution: &[f64]) -> f64 {
    let size = level.counts[0] * level.counts[1];
    let steps = steps(level.counts);
    let mut flux = 0.0;
    for cut in &level.cuts {
        let node = cut.node as usize;
        let weight = f64::from(plane_weight(level.mirrored, node / size));
        for (way, &leg) in cut.legs.iter().enumerate() {
            if leg <= 0.0 || leg == WHOLE {
                continue;
            }
            let near = f64::from(leg);
            let behind = node
                .checked_add_signed(-steps[way])
                .filter(|&n| level.places.get(n) == Some(&Place::Rubber));
            let slope = match behind {
                Some(behind) => {
                    let far = 1.0 + near;
                    solution[node] * far / near - solution[behind] * near / far
                }
                None => solution[node] / near,
            };
            flux += slope * if way < 4 { weight } else { 1.0 };
        }
    }
    flux
}

/// The matrix times a vector.
fn apply(level: &Level, x: &[f32], out: &mut [f64]) {
    let [nx, ny, nz] = level.counts;
    let size = nx * ny;
    let steps = steps(level.counts);
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
                let in_plane = f64::from(mine[i - 1])
                    + f64::from(mine[i + 1])
                    + f64::from(south[i])
                    + f64::from(north[i]);
                let value = f64::from(mine[i]) / f64::from(inverse[i])
                    - weight * in_plane
                    - f64::from(below[i])
                    - f64::from(above[i]);
                out[i] = if inverse[i] == 0.0 { 0.0 } else { value };
            }
        }
        for cut in &level.cuts[level.cut_starts[k]..level.cut_starts[k + 1]] {
            let (legs, diagonal) = row(level, cut);
            let node = cut.node as usize;
            let mut value = diagonal * f64::from(x[node]);
            for way in 0..6 {
                if cut.legs[way] == WHOLE {
                    // Whole legs lead to unknowns, so the node is there.
                    value -= legs[way] * f64::from(x[node.wrapping_add_signed(steps[way])]);
                }
            }
            out[node - k * size] = value;
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
