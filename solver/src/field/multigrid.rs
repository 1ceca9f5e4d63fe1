//! A multigrid V-cycle that stands in for the inverse of the equations.
//!
//! After A. McAdams, E. Sifakis, J. Teran, A parallel multigrid Poisson solver for fluids
//! simulation on large grids (SCA 2010): the equations of every grid come from the geometry, not
//! from the finer matrix; the cycle is symmetric, so that it may precondition conjugate gradients,
//! which mop up what the coarse grids cannot see of skins that lie close together. Single precision.
//!
//! The smoother is Gauss-Seidel in four colours: even and odd planes, and in each plane the two
//! colours of a chessboard. Planes of one parity are independent of each other: threads share no
//! data that changes, and the result does not depend on their number.

use rayon::prelude::*;

use super::level::{Level, plane_weight};
use crate::control::{Cancelled, Control};

/// Sweeps before and after the coarse correction.
const SWEEPS: usize = 2;
/// Sweeps there and back on the coarsest grid.
const COARSEST_SWEEPS: usize = 24;
/// A grid with no more nodes than this along any axis is the coarsest.
pub(super) const COARSEST: usize = 6;

/// The vectors of one grid.
struct Scratch {
    solution: Vec<f32>,
    right: Vec<f32>,
}

/// The grids, finest first, and their vectors.
pub(super) struct Multigrid<'a> {
    levels: &'a [Level],
    scratch: Vec<Scratch>,
}

/// A plane of a grid and its two neighbours, as rows of `nx`.
struct Planes<'a> {
    below: Option<&'a [f32]>,
    above: &'a [f32],
}

impl<'a> Multigrid<'a> {
    pub fn new(levels: &'a [Level]) -> Self {
        let scratch = levels
            .iter()
            .map(|l| {
                let zeros = vec![0.0; l.inverse.len()];
                Scratch { solution: zeros.clone(), right: zeros }
            })
            .collect();
        Self { levels, scratch }
    }

    /// One V-cycle from nothing on `right`; the answer lies in [`Self::answer`].
    pub fn apply(&mut self, right: &[f64], control: &Control<'_>) -> Result<(), Cancelled> {
        self.scratch[0]
            .right
            .par_iter_mut()
            .with_min_len(1 << 14)
            .zip(right)
            .for_each(|(to, &from)| *to = from as f32);
        cycle(self.levels, &mut self.scratch, control)
    }

    pub fn answer(&self) -> &[f32] {
        &self.scratch[0].solution
    }
}

fn cycle(
    levels: &[Level],
    scratch: &mut [Scratch],
    control: &Control<'_>,
) -> Result<(), Cancelled> {
    control.check()?;
    let (Some((level, coarser)), Some((own, below))) =
        (levels.split_first(), scratch.split_first_mut())
    else {
        return Ok(());
    };
    own.solution.par_iter_mut().with_min_len(1 << 14).for_each(|x| *x = 0.0);
    let sweeps = if coarser.is_empty() { COARSEST_SWEEPS } else { SWEEPS };
    for _ in 0..sweeps {
        sweep(level, own, false);
    }
    if let (Some(coarse), Some(next)) = (coarser.first(), below.first_mut()) {
        restrict(level, own, coarse, &mut next.right);
        cycle(coarser, below, control)?;
        prolong(level, &mut own.solution, coarse, &below[0].solution);
    }
    for _ in 0..sweeps {
        sweep(level, own, true);
    }
    Ok(())
}

/// One sweep; `back` goes through the colours the other way round.
fn sweep(level: &Level, own: &mut Scratch, back: bool) {
    for parity in [usize::from(back), usize::from(!back)] {
        relax_planes(level, own, parity, back);
    }
}

fn relax_planes(level: &Level, own: &mut Scratch, parity: usize, back: bool) {
    let [nx, ny, nz] = level.counts;
    let size = nx * ny;
    let (mut moving, mut fixed) = (Vec::new(), Vec::new());
    for (k, plane) in own.solution.chunks_mut(size).enumerate() {
        if k % 2 == parity {
            moving.push((k, plane));
        } else {
            fixed.push(&*plane);
        }
    }
    let right = &own.right;
    let fixed = &fixed;
    moving.into_par_iter().for_each(|(k, plane)| {
        // The outermost planes hold no unknowns, but for a mirror.
        if k + 1 == nz || (k == 0 && !level.mirrored) {
            return;
        }
        // Plane k - 1 is the fixed one before: of even planes number k / 2 - 1, of odd ones k / 2.
        let before = (k + parity) / 2;
        let planes = Planes {
            below: before.checked_sub(1).filter(|_| k > 0).map(|n| fixed[n]),
            above: fixed[before],
        };
        let range = k * size..(k + 1) * size;
        let weight = plane_weight(level.mirrored, k);
        for colour in [usize::from(back), usize::from(!back)] {
            relax_plane(
                plane,
                &planes,
                &right[range.clone()],
                &level.inverse[range.clone()],
                nx,
                weight,
                colour,
            );
        }
    });
}

fn relax_plane(
    plane: &mut [f32],
    planes: &Planes<'_>,
    right: &[f32],
    inverse: &[f32],
    nx: usize,
    weight: f32,
    colour: usize,
) {
    let ny = plane.len() / nx;
    let nothing = vec![0.0f32; nx];
    for j in 1..ny - 1 {
        let row = j * nx..(j + 1) * nx;
        let (before, rest) = plane.split_at_mut(j * nx);
        let (own, after) = rest.split_at_mut(nx);
        let (south, north) = (&before[(j - 1) * nx..][..nx], &after[..nx]);
        let below = planes.below.map_or(&nothing[..], |p| &p[row.clone()]);
        let above = &planes.above[row.clone()];
        let (right, inverse) = (&right[row.clone()], &inverse[row]);
        let mut i = 1 + (j + colour) % 2;
        while i < nx - 1 {
            let in_plane = own[i - 1] + own[i + 1] + south[i] + north[i];
            own[i] = (right[i] + weight * in_plane + below[i] + above[i]) * inverse[i];
            i += 2;
        }
    }
}

/// right - A solution on a plane, 0 where there is no unknown.
fn residual_plane(level: &Level, own: &Scratch, k: usize, out: &mut [f32]) {
    let [nx, ny, nz] = level.counts;
    let size = nx * ny;
    out.fill(0.0);
    if k + 1 == nz || (k == 0 && !level.mirrored) {
        return;
    }
    let x = &own.solution;
    let weight = plane_weight(level.mirrored, k);
    let nothing = vec![0.0f32; nx];
    for j in 1..ny - 1 {
        let at = k * size + j * nx;
        let (mine, south, north) = (&x[at..][..nx], &x[at - nx..][..nx], &x[at + nx..][..nx]);
        let below = if k > 0 { &x[at - size..][..nx] } else { &nothing[..] };
        let above = &x[at + size..][..nx];
        let (right, inverse) = (&own.right[at..][..nx], &level.inverse[at..][..nx]);
        let out = &mut out[j * nx..][..nx];
        for i in 1..nx - 1 {
            let sum =
                weight * (mine[i - 1] + mine[i + 1] + south[i] + north[i]) + below[i] + above[i];
            let value = right[i] + sum - mine[i] / inverse[i];
            out[i] = if inverse[i] == 0.0 { 0.0 } else { value };
        }
    }
}

/// The transpose of [`prolong`], halved: that is how the two grids' scaled rows compare in space.
fn restrict(level: &Level, own: &Scratch, coarse: &Level, out: &mut [f32]) {
    let [nx, ny, nz] = level.counts;
    let [cx, cy, _] = coarse.counts;
    out.par_chunks_mut(cx * cy).enumerate().for_each(|(ck, out)| {
        let mut sum = vec![0.0f32; nx * ny];
        let mut plane = vec![0.0f32; nx * ny];
        for (k, share) in [((2 * ck).wrapping_sub(1), 0.25), (2 * ck, 0.5), (2 * ck + 1, 0.25)] {
            if k < nz {
                residual_plane(level, own, k, &mut plane);
                for (to, from) in sum.iter_mut().zip(&plane) {
                    *to += share * from;
                }
            }
        }
        let inverse = &coarse.inverse[ck * cx * cy..][..cx * cy];
        let mut along = vec![0.0f32; nx];
        for cj in 0..cy {
            along.fill(0.0);
            for (j, share) in [((2 * cj).wrapping_sub(1), 0.5), (2 * cj, 1.0), (2 * cj + 1, 0.5)] {
                if j < ny {
                    for (to, from) in along.iter_mut().zip(&sum[j * nx..][..nx]) {
                        *to += share * from;
                    }
                }
            }
            for ci in 0..cx {
                let get = |i: usize| along.get(i).copied().unwrap_or(0.0);
                let value = 0.5 * (get((2 * ci).wrapping_sub(1)) + get(2 * ci + 1)) + get(2 * ci);
                let at = cj * cx + ci;
                out[at] = if inverse[at] == 0.0 { 0.0 } else { value };
            }
        }
    });
}

/// Add the coarse solution, interpolated along the three axes, to the fine one.
fn prolong(level: &Level, fine: &mut [f32], coarse: &Level, from: &[f32]) {
    let [nx, ny, _] = level.counts;
    let [cx, cy, _] = coarse.counts;
    let size = cx * cy;
    fine.par_chunks_mut(nx * ny).enumerate().for_each(|(k, plane)| {
        let inverse = &level.inverse[k * nx * ny..][..nx * ny];
        let pair = |n: usize| (n / 2, n.div_ceil(2));
        let (a, b) = pair(k);
        let blended: Vec<f32> = from[a * size..][..size]
            .iter()
            .zip(&from[b * size..][..size])
            .map(|(x, y)| 0.5 * (x + y))
            .collect();
        let mut along = vec![0.0f32; cx];
        for j in 0..ny {
            let (a, b) = pair(j);
            for (i, to) in along.iter_mut().enumerate() {
                *to = 0.5 * (blended[a * cx + i] + blended[b * cx + i]);
            }
            for i in 0..nx {
                let (a, b) = pair(i);
                if inverse[j * nx + i] != 0.0 {
                    plane[j * nx + i] += 0.5 * (along[a] + along[b]);
                }
            }
        }
    });
}
