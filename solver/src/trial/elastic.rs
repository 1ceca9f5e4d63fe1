//! Energy and forces of nearly incompressible rubber.
//!
//! Strain energy density, MPa, of the neo-Hookean solid in the form that stays finite when an
//! element is turned inside out (Smith, de Goes & Kim 2018, "Stable neo-Hookean flesh simulation",
//! ACM Transactions on Graphics 37:12, equation 13 without its barrier; from memory):
//!
//! W = mu/2 (F:F - 3) - mu (J - 1) + lambda/2 (J - 1)^2
//!
//! As lambda grows it becomes the incompressible neo-Hookean solid (Treloar 1975). Linear
//! tetrahedra would lock there: each has one J, and there are five of them for each node. So most of
//! the last term is put on nodes, whose J is the change of the volume round them: average nodal
//! pressure (Bonet & Burton 1998, Communications in Numerical Methods in Engineering 14:437). A part
//! stays with the elements, since nodal volumes alone do not see elements that grow and shrink in
//! turn (Puso & Solberg 2006, International Journal for Numerical Methods in Engineering 67:841).

use nalgebra::Matrix3;
use rayon::prelude::*;

use super::blocks::{self, Block, Bounds, Forces, LANES, SLACK, STILL, Strain, UNBOUND};
use super::material::Material;
use super::solid::{Solid, gradients};
use crate::mesh::{Point, Vector};

/// Nodes that one task works through.
pub(super) const CHUNK: usize = 512;
/// Blocks of elements that one task works through.
const BLOCKS: usize = 128;

/// A body with what its forces need, ready for any positions of its nodes.
pub struct Elastic {
    material: Material,
    elements: Vec<[u32; 4]>,
    gradients: Vec<[Vector; 3]>,
    volumes: Vec<f64>,
    blocks: Vec<Block>,
    node_volumes: Vec<f64>,
    /// Corners of each node, in order.
    starts: Vec<u32>,
    corners: Vec<Corner>,
}

/// A corner of an element.
#[derive(Clone, Copy, Debug)]
struct Corner {
    element: u32,
    /// Where its force along x stands among those of all blocks; those along y and z stand one and two
    /// times [`LANES`] farther on.
    force: u32,
}

impl Corner {
    fn new(corner: usize) -> Self {
        let (element, corner) = (corner / 4, corner % 4);
        let (block, lane) = (element / LANES, element % LANES);
        let force = (12 * block + 3 * corner) * LANES + lane;
        Self { element: element as u32, force: force as u32 }
    }

    /// Where a number that each corner has one of stands among those of its block.
    fn place(self) -> (usize, usize, usize) {
        let (block, rest) =
            (self.force as usize / (12 * LANES), self.force as usize % (12 * LANES));
        (block, rest / LANES / 3, rest % LANES)
    }
}

/// Scratch memory of a force evaluation, kept between calls.
#[derive(Default)]
pub struct Workspace {
    strains: Vec<Strain>,
    pressures: Vec<f64>,
    forces: Vec<Forces>,
    bounds: Vec<Bounds>,
}

impl Elastic {
    /// Prepare a body.
    pub fn new(solid: &Solid, material: Material) -> Self {
        let count = solid.elements.len();
        let gradients = (0..count).map(|e| gradients(&solid.corners(e))).collect();
        let volumes: Vec<f64> = (0..count).map(|e| solid.volume(e)).collect();
        let mut starts = vec![0u32; solid.nodes.len() + 1];
        for &n in solid.elements.iter().flatten() {
            starts[n as usize + 1] += 1;
        }
        for n in 1..starts.len() {
            starts[n] += starts[n - 1];
        }
        let mut next = starts.clone();
        let mut corners = vec![Corner::new(0); 4 * count];
        let mut node_volumes = vec![0.0; solid.nodes.len()];
        for (corner, &n) in solid.elements.iter().flatten().enumerate() {
            corners[next[n as usize] as usize] = Corner::new(corner);
            next[n as usize] += 1;
            node_volumes[n as usize] += volumes[corner / 4] / 4.0;
        }
        Self {
            material,
            elements: solid.elements.clone(),
            gradients,
            volumes,
            blocks: blocks::blocks(solid),
            node_volumes,
            starts,
            corners,
        }
    }

    /// Nodes.
    pub fn node_count(&self) -> usize {
        self.node_volumes.len()
    }

    /// Rest volume that belongs to a node, mm^3.
    pub fn node_volume(&self, node: usize) -> f64 {
        self.node_volumes[node]
    }

    /// Deformation gradient of an element.
    fn deformation(&self, element: usize, x: &[Point]) -> Matrix3<f64> {
        let [a, b, c, d] = self.elements[element].map(|n| x[n as usize]);
        let [gb, gc, gd] = &self.gradients[element];
        (b - a) * gb.transpose() + (c - a) * gc.transpose() + (d - a) * gd.transpose()
    }

    fn corners_of(&self, node: usize) -> &[Corner] {
        &self.corners[self.starts[node] as usize..self.starts[node + 1] as usize]
    }

    /// Change of the volume of the rubber round a node over what it was, from the volumes of elements now.
    fn node_growth(&self, node: usize, grown: &[f64]) -> f64 {
        let now: f64 = self.corners_of(node).iter().map(|c| grown[c.element as usize]).sum();
        now / (4.0 * self.node_volumes[node]) - 1.0
    }

    /// Strain energy, N mm.
    pub fn energy(&self, x: &[Point]) -> f64 {
        let Material { shear, element_bulk, nodal_bulk } = self.material;
        let count = self.elements.len();
        let jacobians: Vec<f64> =
            (0..count).map(|e| self.deformation(e, x).determinant()).collect();
        let elements: f64 = (0..count)
            .map(|e| {
                let growth = jacobians[e] - 1.0;
                let shape = 0.5 * shear * (self.deformation(e, x).norm_squared() - 3.0);
                self.volumes[e] * (shape - shear * growth + 0.5 * element_bulk * growth * growth)
            })
            .sum();
        let grown: Vec<f64> = jacobians.iter().zip(&self.volumes).map(|(j, v)| j * v).collect();
        let nodes: f64 = (0..self.node_count())
            .filter(|&n| self.node_volumes[n] > 0.0)
            .map(|n| {
                let growth = self.node_growth(n, &grown);
                0.5 * nodal_bulk * growth * growth * self.node_volumes[n]
            })
            .sum();
        elements + nodes
    }

    /// Prepare the forces of all corners; [`Elastic::node_force`] then sums them up.
    pub fn load(&self, x: &[Point], work: &mut Workspace) {
        self.strain(x, work);
        work.forces.resize(self.blocks.len(), SLACK);
        let (strains, pressures) = (&work.strains, &work.pressures);
        self.blocks
            .par_chunks(BLOCKS)
            .zip(strains.par_chunks(BLOCKS))
            .zip(work.forces.par_chunks_mut(BLOCKS))
            .for_each(|((blocks, strains), forces)| {
                blocks::force_all(blocks, &self.material, strains, pressures, forces);
            });
    }

    /// Deformation of all elements and pressures of all nodes.
    fn strain(&self, x: &[Point], work: &mut Workspace) {
        work.strains.resize(self.blocks.len(), STILL);
        work.pressures.resize(self.node_count(), 0.0);
        self.blocks
            .par_chunks(BLOCKS)
            .zip(work.strains.par_chunks_mut(BLOCKS))
            .for_each(|(blocks, strains)| blocks::strain_all(blocks, x, strains));
        let (strains, bulk) = (&work.strains, self.material.nodal_bulk);
        work.pressures.par_chunks_mut(CHUNK).enumerate().for_each(|(chunk, pressures)| {
            for (k, pressure) in pressures.iter_mut().enumerate() {
                let corners = self.corners_of(chunk * CHUNK + k);
                let now = corners.iter().map(|c| {
                    let e = c.element as usize;
                    strains[e / LANES].grown[e % LANES]
                });
                let rest = 4.0 * self.node_volumes[chunk * CHUNK + k];
                *pressure = bulk * (now.sum::<f64>() / rest - 1.0);
            }
        });
    }

    /// Elastic force on a node, N, after [`Elastic::load`].
    pub fn node_force(&self, node: usize, work: &Workspace) -> Vector {
        let forces = work.forces.as_flattened().as_flattened();
        let mut sum = Vector::zeros();
        for corner in self.corners_of(node) {
            let at = corner.force as usize;
            let along = &forces[at..at + 2 * LANES + 1];
            sum += Vector::new(along[0], along[LANES], along[2 * LANES]);
        }
        sum
    }

    /// Elastic forces on all nodes, N.
    pub fn forces(&self, x: &[Point], work: &mut Workspace) -> Vec<Vector> {
        self.load(x, work);
        let work = &*work;
        (0..self.node_count()).into_par_iter().map(|n| self.node_force(n, work)).collect()
    }

    /// An upper bound of the stiffness at `x`, as a diagonal (N/mm): the tangent stiffness K and this
    /// diagonal D satisfy w K w <= w D w for every w, by Cauchy and Schwarz element by element and
    /// node by node. It is several times too great, by much the same factor everywhere.
    pub(super) fn stiffness(&self, x: &[Point], work: &mut Workspace) -> Vec<f64> {
        self.strain(x, work);
        work.bounds.resize(self.blocks.len(), UNBOUND);
        let (strains, pressures) = (&work.strains, &work.pressures);
        self.blocks
            .par_chunks(BLOCKS)
            .zip(strains.par_chunks(BLOCKS))
            .zip(work.bounds.par_chunks_mut(BLOCKS))
            .for_each(|((blocks, strains), bounds)| {
                for ((block, strain), bounds) in blocks.iter().zip(strains).zip(bounds) {
                    block.bounds(&self.material, strain, pressures, bounds);
                }
            });
        let at_nodes = |of: &(dyn Fn(Corner) -> f64 + Sync)| -> Vec<f64> {
            (0..self.node_count())
                .into_par_iter()
                .with_min_len(CHUNK)
                .map(|n| self.corners_of(n).iter().map(|&c| of(c)).sum())
                .collect()
        };
        let bounds = &work.bounds;
        let mut sweeps = at_nodes(&|c| {
            let (block, _, lane) = c.place();
            bounds[block].all_swept[lane]
        });
        for (sweep, volume) in sweeps.iter_mut().zip(&self.node_volumes) {
            *sweep *= self.material.nodal_bulk / volume.max(1e-300);
        }
        self.blocks.par_chunks(BLOCKS).zip(work.bounds.par_chunks_mut(BLOCKS)).for_each(
            |(blocks, bounds)| {
                for (block, bounds) in blocks.iter().zip(bounds) {
                    block.add_sweeps(&sweeps, bounds);
                }
            },
        );
        let bounds = &work.bounds;
        at_nodes(&|c| {
            let (block, corner, lane) = c.place();
            bounds[block].own[corner][lane]
        })
    }

    /// Greatest principal stretch (length over rest length) of every element.
    pub fn stretches(&self, x: &[Point]) -> Vec<f64> {
        (0..self.elements.len())
            .into_par_iter()
            .map(|e| {
                let f = self.deformation(e, x);
                (f.transpose() * f).symmetric_eigenvalues().max().max(0.0).sqrt()
            })
            .collect()
    }
}
