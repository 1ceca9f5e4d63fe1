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

use super::solid::{Solid, gradients};
use crate::body::Rubber;
use crate::mesh::{Point, Vector};

/// Elements or nodes that one task works through.
pub(super) const CHUNK: usize = 512;

/// What the rubber is made of, MPa.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Material {
    /// Shear modulus mu.
    pub shear: f64,
    /// Share of lambda that stays with the elements.
    pub element_bulk: f64,
    /// Share of lambda that is put on nodes.
    pub nodal_bulk: f64,
}

impl Material {
    /// lambda over mu: Poisson's ratio 0.488. Real rubber has some thousands; the load is carried by
    /// shear wherever a surface is near, and steps of the solver get short as its root. The closed forms
    /// of the tests are met with 30 as with 100.
    const BULK_RATIO: f64 = 40.0;
    /// What stays with the elements, over mu: Poisson's ratio 0.4 there, far from locking. Below 1/3
    /// an element alone would be unstable.
    const ELEMENT_RATIO: f64 = 4.0;

    /// From the shear modulus, MPa.
    pub fn with_shear(shear: f64) -> Self {
        let element_bulk = Self::ELEMENT_RATIO * shear;
        Self { shear, element_bulk, nodal_bulk: Self::BULK_RATIO * shear - element_bulk }
    }

    /// From the hardness of a rubber.
    pub fn of(rubber: &Rubber) -> Self {
        Self::with_shear(rubber.shear_modulus())
    }
}

/// A body with what its forces need, ready for any positions of its nodes.
pub struct Elastic {
    material: Material,
    elements: Vec<[u32; 4]>,
    gradients: Vec<[Vector; 3]>,
    volumes: Vec<f64>,
    node_volumes: Vec<f64>,
    /// Corners (element * 4 + corner) of each node, in order.
    starts: Vec<u32>,
    corners: Vec<u32>,
}

/// Scratch memory of a force evaluation, kept between calls.
#[derive(Default)]
pub struct Workspace {
    deformation: Vec<Matrix3<f64>>,
    jacobians: Vec<f64>,
    pressures: Vec<f64>,
    corner_forces: Vec<[Vector; 4]>,
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
        let mut corners = vec![0; 4 * count];
        let mut node_volumes = vec![0.0; solid.nodes.len()];
        for (corner, &n) in solid.elements.iter().flatten().enumerate() {
            corners[next[n as usize] as usize] = corner as u32;
            next[n as usize] += 1;
            node_volumes[n as usize] += volumes[corner / 4] / 4.0;
        }
        Self {
            material,
            elements: solid.elements.clone(),
            gradients,
            volumes,
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

    fn corners_of(&self, node: usize) -> &[u32] {
        &self.corners[self.starts[node] as usize..self.starts[node + 1] as usize]
    }

    /// Relative volume of the rubber round a node.
    fn node_jacobian(&self, node: usize, jacobians: &[f64]) -> f64 {
        let now: f64 = self
            .corners_of(node)
            .iter()
            .map(|&c| jacobians[c as usize / 4] * self.volumes[c as usize / 4])
            .sum();
        now / (4.0 * self.node_volumes[node])
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
        let nodes: f64 = (0..self.node_count())
            .filter(|&n| self.node_volumes[n] > 0.0)
            .map(|n| {
                let growth = self.node_jacobian(n, &jacobians) - 1.0;
                0.5 * nodal_bulk * growth * growth * self.node_volumes[n]
            })
            .sum();
        elements + nodes
    }

    /// Prepare the forces of all corners; [`Elastic::node_force`] then sums them up.
    pub fn load(&self, x: &[Point], work: &mut Workspace) {
        let Material { shear, element_bulk, nodal_bulk } = self.material;
        let count = self.elements.len();
        work.deformation.resize(count, Matrix3::zeros());
        work.jacobians.resize(count, 1.0);
        work.pressures.resize(self.node_count(), 0.0);
        work.corner_forces.resize(count, [Vector::zeros(); 4]);
        work.deformation
            .par_chunks_mut(CHUNK)
            .zip(work.jacobians.par_chunks_mut(CHUNK))
            .enumerate()
            .for_each(|(chunk, (deformation, jacobians))| {
                for (k, (f, j)) in deformation.iter_mut().zip(jacobians).enumerate() {
                    *f = self.deformation(chunk * CHUNK + k, x);
                    *j = f.determinant();
                }
            });
        let jacobians = &work.jacobians;
        work.pressures.par_chunks_mut(CHUNK).enumerate().for_each(|(chunk, pressures)| {
            for (k, p) in pressures.iter_mut().enumerate() {
                *p = nodal_bulk * (self.node_jacobian(chunk * CHUNK + k, jacobians) - 1.0);
            }
        });
        let (pressures, deformation) = (&work.pressures, &work.deformation);
        work.corner_forces.par_chunks_mut(CHUNK).enumerate().for_each(|(chunk, forces)| {
            for (k, force) in forces.iter_mut().enumerate() {
                let e = chunk * CHUNK + k;
                let f = &deformation[e];
                let mean: f64 =
                    self.elements[e].iter().map(|&n| pressures[n as usize]).sum::<f64>() / 4.0;
                let (a, b, c) = (f.column(0), f.column(1), f.column(2));
                let cofactor = Matrix3::from_columns(&[b.cross(&c), c.cross(&a), a.cross(&b)]);
                let along = element_bulk * (jacobians[e] - 1.0) - shear + mean;
                let stress = (f * shear + cofactor * along) * -self.volumes[e];
                let [gb, gc, gd] = &self.gradients[e];
                let (fb, fc, fd) = (stress * gb, stress * gc, stress * gd);
                *force = [-(fb + fc + fd), fb, fc, fd];
            }
        });
    }

    /// Elastic force on a node, N, after [`Elastic::load`].
    pub fn node_force(&self, node: usize, work: &Workspace) -> Vector {
        let mut sum = Vector::zeros();
        for &c in self.corners_of(node) {
            sum += work.corner_forces[c as usize / 4][c as usize % 4];
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
    /// node by node. It is several times too great, by much the same factor everywhere. Leaves what
    /// [`Elastic::load`] leaves.
    pub(super) fn stiffness(&self, x: &[Point], work: &mut Workspace) -> Vec<f64> {
        self.load(x, work);
        let Material { shear, element_bulk, nodal_bulk } = self.material;
        let work = &*work;
        // For each element: its own part at each corner, and what its corners do to nodal volumes.
        let parts: Vec<([f64; 4], [f64; 4])> = (0..self.elements.len())
            .into_par_iter()
            .with_min_len(CHUNK)
            .map(|e| {
                let f = &work.deformation[e];
                let (a, b, c) = (f.column(0), f.column(1), f.column(2));
                let cofactor = Matrix3::from_columns(&[b.cross(&c), c.cross(&a), a.cross(&b)]);
                let [gb, gc, gd] = self.gradients[e];
                let slopes = [-(gb + gc + gd), gb, gc, gd];
                let lengths = slopes.map(|g| g.norm());
                let swept = slopes.map(|g| (cofactor * g).norm());
                let mean: f64 =
                    self.elements[e].iter().map(|&n| work.pressures[n as usize]).sum::<f64>() / 4.0;
                // The pressure's own stiffness: d(cof F) is at most |F| |dF|.
                let pressure = element_bulk * (work.jacobians[e] - 1.0) - shear + mean;
                let shape = shear + pressure.abs() * f.norm();
                let (all, all_swept) = (lengths.iter().sum::<f64>(), swept.iter().sum::<f64>());
                let own = [0, 1, 2, 3].map(|k| {
                    let bulk = element_bulk * swept[k] * all_swept;
                    self.volumes[e] * (shape * lengths[k] * all + bulk)
                });
                (own, swept.map(|s| s * self.volumes[e] / 4.0))
            })
            .collect();
        let sweeps: Vec<f64> = (0..self.node_count())
            .into_par_iter()
            .with_min_len(CHUNK)
            .map(|n| {
                let all = |&c: &u32| parts[c as usize / 4].1.iter().sum::<f64>();
                let sum: f64 = self.corners_of(n).iter().map(all).sum();
                nodal_bulk * sum / self.node_volumes[n].max(1e-300)
            })
            .collect();
        (0..self.node_count())
            .into_par_iter()
            .with_min_len(CHUNK)
            .map(|n| {
                let at = |&c: &u32| {
                    let (e, k) = (c as usize / 4, c as usize % 4);
                    let nodes = self.elements[e].iter().map(|&m| sweeps[m as usize]).sum::<f64>();
                    parts[e].0[k] + parts[e].1[k] * nodes
                };
                self.corners_of(n).iter().map(at).sum()
            })
            .collect()
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
