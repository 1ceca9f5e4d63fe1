//! Parts of a model that are thinner than the rubber's elements.

use super::shapes::{block, revolved};
use crate::control::Control;
use crate::mesh::{Point, SurfaceLocator, TriangleMesh, Vector};
use crate::trial::contact::RigidModel;
use crate::trial::cores::{cores, pierced};
use crate::trial::{Elastic, Material, Pull, Relaxation};

/// Size of the elements, as a trial counts it: cells are twice as large, mm.
const SPACING: f64 = 3.0;

/// A needle of radius 0.8 mm whose tip is 1 mm under the slab, where no node and no middle of a face or an edge is.
fn needle() -> TriangleMesh {
    let mut needle = revolved(&[[0.8, -20.0], [0.8, -1.0]], 24);
    for p in &mut needle.positions {
        *p += Vector::new(4.7, 1.2, 0.0);
    }
    needle
}

/// How many cores of the needle are in a slab that is drawn down over it by its rim.
fn run_through(guarded: bool) -> usize {
    let model = needle();
    let surface = SurfaceLocator::new(&model).expect("a surface");
    let all = cores(&surface, &model, SPACING, f64::INFINITY);
    assert!(all.len() > 10, "{}", all.len());
    let obstacle = RigidModel::new(&model, None).expect("a model");
    let solid = block([6, 6, 2], |[x, y, z]| Point::new(36.0 * x - 18.0, 36.0 * y - 18.0, 8.0 * z));
    let elastic = Elastic::new(&solid, Material::with_shear(0.4));
    let nodes: Vec<u32> = (0..solid.nodes.len() as u32).collect();
    let mut body = Relaxation::new(&elastic, solid.nodes.clone(), &nodes, SPACING);
    body.guard(&solid.surface(), &obstacle, if guarded { &all } else { &[] });
    let rim = |p: &Point| p.x.abs() == 18.0 || p.y.abs() == 18.0;
    for step in 1..=6 {
        let target = 2.0 * f64::from(step);
        let pull = |&n: &u32| {
            let at = solid.nodes[n as usize];
            Pull::on_node(n, at, -Vector::z(), 0.5, target, f64::INFINITY)
        };
        let held = nodes.iter().filter(|&&n| rim(&solid.nodes[n as usize]));
        body.set_pulls(held.map(pull).collect());
        body.settle(Some(&obstacle), 0.1, 0.02, 1000, &Control::silent()).expect("runs");
    }
    pierced(&all, &solid.elements, &body.x)
}

#[test]
fn a_needle_between_the_nodes_holds_a_slab_up() {
    assert_eq!(run_through(true), 0);
    assert!(run_through(false) > 0, "it has to be a place where nothing else holds");
}
