//! Rims of bridges drawn straight, and the mesh fitted to them.

use super::fitted::fit;
use super::path::{CutCurves, cut_chains, straighten_chain};
use crate::bridges::fill::HolePath;
use crate::girth::PlanningGraph;
use crate::mesh::{Point, TriangleMesh};

/// Rims along the mesh that was fitted to them.
pub struct StraightRims {
    /// The mesh; its vertices and faces keep their numbers.
    pub mesh: TriangleMesh,
    /// The path along each rim; None where a loop is none or more than one way.
    pub paths: Vec<Option<HolePath>>,
    /// The rims themselves, mm.
    pub points: Vec<Vec<Point>>,
}

impl StraightRims {
    /// Draw loops of edges straight, each as short as its strip of faces allows, and fit the mesh to them. None
    /// where it cannot follow them.
    pub fn new(graph: &PlanningGraph, loops: &[Vec<u32>]) -> Option<Self> {
        let mut rims = cut_chains(graph, loops);
        for chain in rims.iter_mut().flat_map(|rim| &mut rim.chains) {
            chain.points = straighten_chain(graph, &chain.way);
        }
        let fitted = fit(graph, &rims.iter().collect::<Vec<&CutCurves>>())?;
        let mut steps = fitted.ways.into_iter();
        let (mut paths, mut points) = (Vec::new(), Vec::new());
        for rim in &rims {
            let own: Vec<Vec<[u32; 2]>> = steps.by_ref().take(rim.chains.len()).collect();
            let (path, line) = match (own.as_slice(), rim.chains.as_slice()) {
                ([steps], [chain]) => {
                    (HolePath::along(steps), chain.points.iter().map(|p| p.point).collect())
                }
                _ => (None, Vec::new()),
            };
            paths.push(path);
            points.push(line);
        }
        Some(Self { mesh: fitted.graph.mesh, paths, points })
    }
}
