//! From the planning mesh and its bridges to the skin that rings of rubber run on: holes that are cut across are
//! filled with the discs of their cuts.

use crate::bridges::Bridge;
use crate::bridges::bridge_letter;
use crate::bridges::fill::{Filled, HolePath};
use crate::curves::StraightRims;
use crate::girth::{GraphError, PlanningGraph};
use crate::mesh::{Point, TriangleMesh};

/// What becomes of the holes that are cut across.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Holes {
    /// The planning mesh fills them: rings of rubber are led over the faces of the cuts.
    Filled,
    /// They stay open, and no ring is led over the cuts.
    Open,
}

/// The planning mesh with its holes as they are dealt with.
pub(super) struct Skin {
    /// The planning mesh, fitted to the rims of the holes that are filled.
    pub surface: TriangleMesh,
    /// The same with discs.
    pub filled: Filled,
    /// Where each filled hole's cut meets the model, drawn straight; none for others.
    pub rims: Vec<Vec<Point>>,
    /// What a person has to know, a sentence each.
    pub warnings: Vec<String>,
}

impl Skin {
    /// Fill the holes of `planning`. `crossed` tells which bridges are cut across.
    pub fn new(
        planning: TriangleMesh,
        is_gate: &[bool],
        bridges: &[Bridge],
        crossed: &[bool],
        holes: Holes,
    ) -> Result<Self, GraphError> {
        let to_fill: Vec<bool> =
            crossed.iter().map(|&crossed| crossed && holes == Holes::Filled).collect();
        if !to_fill.contains(&true) {
            let rims = vec![Vec::new(); bridges.len()];
            let filled = Filled::none(&planning, bridges.len());
            return Ok(Self { surface: planning, filled, rims, warnings: Vec::new() });
        }
        let count = planning.positions.len();
        let even = vec![1.0; count];
        let graph = PlanningGraph::new(planning, is_gate.to_vec(), vec![0.0; count], &even)?;
        let edge = graph.mean_edge();
        let loops: Vec<Vec<u32>> = bridges
            .iter()
            .zip(&to_fill)
            .map(|(b, &fill)| if fill { loop_edges(&graph, b) } else { Vec::new() })
            .collect();
        let straight = StraightRims::new(&graph, &loops);
        let mut warnings = Vec::new();
        if straight.is_none() {
            warnings.push(
                "the cuts across the bridges could not be drawn straight: they run in small corners"
                    .to_owned(),
            );
        }
        let (surface, straight, mut rims) = match straight {
            Some(StraightRims { mesh, paths, points }) => (mesh, paths, points),
            None => (graph.mesh, vec![None; bridges.len()], vec![Vec::new(); bridges.len()]),
        };
        let paths: Vec<Option<HolePath>> = bridges
            .iter()
            .zip(straight)
            .zip(&to_fill)
            .map(|((bridge, straight), &fill)| {
                fill.then(|| straight.unwrap_or_else(|| HolePath::of(bridge)))
            })
            .collect();
        let filled = Filled::new(&surface, &paths, edge);
        for k in (0..bridges.len()).filter(|&k| to_fill[k] && filled.rims[k].is_empty()) {
            rims[k].clear();
            warnings.push(format!(
                "the cut across bridge {} meets that across another, or its faces could not be drawn: rings of rubber that \
                 run over them were not looked for, and more cut may be needed there",
                bridge_letter(k)
            ));
        }
        Ok(Self { surface, filled, rims, warnings })
    }
}

/// Planning-graph edges of a bridge's loop. Edges between gate vertices are open already.
pub(super) fn loop_edges(graph: &PlanningGraph, bridge: &Bridge) -> Vec<u32> {
    let mut way = bridge.path.clone();
    if bridge.closed
        && let Some(&first) = way.first()
    {
        way.push(first);
    }
    way.windows(2)
        .filter(|w| !w.iter().all(|&v| graph.is_gate[v as usize]))
        .filter_map(|w| graph.edge_between(w[0], w[1]))
        .collect()
}
