//! Elements in blocks, laid out so that one instruction works on several of them.
//!
//! Each number of an element stands beside those of its neighbours in the block, and each loop below goes
//! over the elements of one block and nothing else, which is what the compiler makes wide instructions of.
//! No product is fused with a sum, so results are the same to the last bit however wide they are.

#![allow(
    clippy::needless_range_loop,
    reason = "loops over the elements of a block go over many arrays at once"
)]

use multiversion::multiversion;

use super::material::Material;
use super::solid::{Solid, gradients};
use crate::mesh::Point;

/// Elements of a block.
pub(super) const LANES: usize = 8;

/// One number for each element of a block.
pub(super) type Lanes = [f64; LANES];

/// What elements are at rest. Places of the last block that no element fills have no volume, and the
/// nodes of one that is there.
#[derive(Clone, Debug)]
pub(super) struct Block {
    pub nodes: [[u32; LANES]; 4],
    /// Gradients of the shape functions of corners 1, 2 and 3, 1/mm.
    gradients: [Lanes; 9],
    /// mm^3.
    pub volumes: Lanes,
}

/// Deformation gradient by columns, and its determinant times the volume at rest.
#[derive(Clone, Debug)]
pub(super) struct Strain {
    columns: [Lanes; 9],
    pub grown: Lanes,
}

/// Forces on the four corners, N.
pub(super) type Forces = [Lanes; 12];

/// Bounds of the stiffness (N/mm): of an element's own part at each corner, and of what each corner does to the
/// volumes of the nodes round it, mm^2.
#[derive(Clone, Debug)]
pub(super) struct Bounds {
    pub own: [Lanes; 4],
    pub swept: [Lanes; 4],
    pub all_swept: Lanes,
}

/// Nothing yet.
pub(super) const STILL: Strain = Strain { columns: [[0.0; LANES]; 9], grown: [0.0; LANES] };
pub(super) const SLACK: Forces = [[0.0; LANES]; 12];
pub(super) const UNBOUND: Bounds =
    Bounds { own: [[0.0; LANES]; 4], swept: [[0.0; LANES]; 4], all_swept: [0.0; LANES] };

/// All elements of a body.
pub(super) fn blocks(solid: &Solid) -> Vec<Block> {
    let count = solid.elements.len();
    let one = |first: usize| {
        let mut block =
            Block { nodes: [[0; LANES]; 4], gradients: [[0.0; LANES]; 9], volumes: [0.0; LANES] };
        for l in 0..LANES {
            let e = (first + l).min(count - 1);
            for (corner, node) in solid.elements[e].into_iter().enumerate() {
                block.nodes[corner][l] = node;
            }
            for (k, gradient) in gradients(&solid.corners(e)).into_iter().enumerate() {
                for axis in 0..3 {
                    block.gradients[3 * k + axis][l] = gradient[axis];
                }
            }
            if first + l < count {
                block.volumes[l] = solid.volume(e);
            }
        }
        block
    };
    (0..count).step_by(LANES).map(one).collect()
}

type Three = [f64; 3];

#[inline(always)]
fn cross(a: Three, b: Three) -> Three {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

#[inline(always)]
fn dot(a: Three, b: Three) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

#[inline(always)]
fn three(of: &[Lanes], first: usize, l: usize) -> Three {
    [of[first][l], of[first + 1][l], of[first + 2][l]]
}

/// The matrix with these columns times a vector.
#[inline(always)]
fn times(columns: [Three; 3], v: Three) -> Three {
    let [a, b, c] = columns;
    [
        a[0] * v[0] + b[0] * v[1] + c[0] * v[2],
        a[1] * v[0] + b[1] * v[1] + c[1] * v[2],
        a[2] * v[0] + b[2] * v[1] + c[2] * v[2],
    ]
}

#[inline(always)]
fn put(of: &mut [Lanes], first: usize, l: usize, v: Three) {
    of[first][l] = v[0];
    of[first + 1][l] = v[1];
    of[first + 2][l] = v[2];
}

/// The parts of the sum of two vectors, each times a number.
#[inline(always)]
fn sum_of(a: Three, by: f64, b: Three, with: f64) -> Three {
    [a[0] * by + b[0] * with, a[1] * by + b[1] * with, a[2] * by + b[2] * with]
}

/// Minus the sum.
#[inline(always)]
fn against(a: Three, b: Three, c: Three) -> Three {
    [-(a[0] + b[0] + c[0]), -(a[1] + b[1] + c[1]), -(a[2] + b[2] + c[2])]
}

#[inline(always)]
fn norm(v: Three) -> f64 {
    dot(v, v).sqrt()
}

/// How the elements of blocks are deformed with their nodes at `x`.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
pub(super) fn strain_all(blocks: &[Block], x: &[Point], strains: &mut [Strain]) {
    for (block, strain) in blocks.iter().zip(strains) {
        block.strain(x, strain);
    }
}

/// Forces of the strained elements of blocks on their corners.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2"))]
pub(super) fn force_all(
    blocks: &[Block],
    material: &Material,
    strains: &[Strain],
    pressures: &[f64],
    forces: &mut [Forces],
) {
    for ((block, strain), forces) in blocks.iter().zip(strains).zip(forces) {
        block.forces(material, strain, pressures, forces);
    }
}

impl Block {
    /// How the elements are deformed with their nodes at `x`.
    #[inline(always)]
    pub fn strain(&self, x: &[Point], strain: &mut Strain) {
        let mut edges = [[0.0; LANES]; 9];
        for l in 0..LANES {
            let a = &x[self.nodes[0][l] as usize];
            for corner in 0..3 {
                let other = &x[self.nodes[corner + 1][l] as usize];
                put(&mut edges, 3 * corner, l, [other.x - a.x, other.y - a.y, other.z - a.z]);
            }
        }
        let g = &self.gradients;
        for l in 0..LANES {
            let sides = [three(&edges, 0, l), three(&edges, 3, l), three(&edges, 6, l)];
            let a = times(sides, [g[0][l], g[3][l], g[6][l]]);
            let b = times(sides, [g[1][l], g[4][l], g[7][l]]);
            let c = times(sides, [g[2][l], g[5][l], g[8][l]]);
            put(&mut strain.columns, 0, l, a);
            put(&mut strain.columns, 3, l, b);
            put(&mut strain.columns, 6, l, c);
            strain.grown[l] = dot(cross(a, b), c) * self.volumes[l];
        }
    }

    /// Mean of a number of nodes over each element's corners.
    #[inline(always)]
    fn mean(&self, of: &[f64]) -> Lanes {
        let mut mean = [0.0; LANES];
        let [a, b, c, d] = &self.nodes;
        for l in 0..LANES {
            let first = of[a[l] as usize] + of[b[l] as usize];
            mean[l] = 0.25 * (first + (of[c[l] as usize] + of[d[l] as usize]));
        }
        mean
    }

    /// Forces of the strained elements on their corners, with the pressures of nodes.
    #[inline(always)]
    pub fn forces(
        &self,
        material: &Material,
        strain: &Strain,
        pressures: &[f64],
        forces: &mut Forces,
    ) {
        let Material { shear, element_bulk, .. } = *material;
        let mean = self.mean(pressures);
        let (f, g) = (&strain.columns, &self.gradients);
        for l in 0..LANES {
            let (a, b, c) = (three(f, 0, l), three(f, 3, l), three(f, 6, l));
            let cofactor = [cross(b, c), cross(c, a), cross(a, b)];
            let (gb, gc, gd) = (three(g, 0, l), three(g, 3, l), three(g, 6, l));
            let growth = dot(cofactor[2], c) - 1.0;
            let along = element_bulk * growth - shear + mean[l];
            let volume = -self.volumes[l];
            let (shape, along) = (shear * volume, along * volume);
            let stress = [
                sum_of(a, shape, cofactor[0], along),
                sum_of(b, shape, cofactor[1], along),
                sum_of(c, shape, cofactor[2], along),
            ];
            let (fb, fc, fd) = (times(stress, gb), times(stress, gc), times(stress, gd));
            put(forces, 0, l, against(fb, fc, fd));
            put(forces, 3, l, fb);
            put(forces, 6, l, fc);
            put(forces, 9, l, fd);
        }
    }

    /// Bounds of the strained elements' stiffness, with the pressures of nodes.
    #[inline(always)]
    pub fn bounds(
        &self,
        material: &Material,
        strain: &Strain,
        pressures: &[f64],
        bounds: &mut Bounds,
    ) {
        let Material { shear, element_bulk, .. } = *material;
        let mean = self.mean(pressures);
        let (f, g) = (&strain.columns, &self.gradients);
        for l in 0..LANES {
            let (a, b, c) = (three(f, 0, l), three(f, 3, l), three(f, 6, l));
            let cofactor = [cross(b, c), cross(c, a), cross(a, b)];
            let (gb, gc, gd) = (three(g, 0, l), three(g, 3, l), three(g, 6, l));
            let ga = against(gb, gc, gd);
            let lengths = [norm(ga), norm(gb), norm(gc), norm(gd)];
            let swept = [
                norm(times(cofactor, ga)),
                norm(times(cofactor, gb)),
                norm(times(cofactor, gc)),
                norm(times(cofactor, gd)),
            ];
            // The pressure's own stiffness: d(cof F) is at most |F| |dF|.
            let pressure = element_bulk * (dot(cofactor[2], c) - 1.0) - shear + mean[l];
            let whole = (dot(a, a) + dot(b, b) + dot(c, c)).sqrt();
            let shape = shear + pressure.abs() * whole;
            let all = (lengths[0] + lengths[1]) + (lengths[2] + lengths[3]);
            let all_swept = (swept[0] + swept[1]) + (swept[2] + swept[3]);
            let volume = self.volumes[l];
            for k in 0..4 {
                let bulk = element_bulk * swept[k] * all_swept;
                bounds.own[k][l] = volume * (shape * lengths[k] * all + bulk);
                bounds.swept[k][l] = swept[k] * volume * 0.25;
            }
            bounds.all_swept[l] = all_swept * volume * 0.25;
        }
    }

    /// Adds what the sums of nodes round each corner make of what it does to their volumes.
    #[inline(always)]
    pub fn add_sweeps(&self, sweeps: &[f64], bounds: &mut Bounds) {
        let mean = self.mean(sweeps);
        for k in 0..4 {
            for l in 0..LANES {
                bounds.own[k][l] += bounds.swept[k][l] * (4.0 * mean[l]);
            }
        }
    }
}
