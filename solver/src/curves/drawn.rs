//! Lines that somebody has drawn, carried on to the planning graph and looked at as they run.
//!
//! Each line gets a way along mesh edges beside it, as finished curves do: the set of these edges
//! tells which lines make one cut and where hinges are. Rings are looked for on the mesh fitted to
//! the lines themselves.

use super::finish::{Finished, Finisher, falls_short};
use super::fitted::{Fitted, fit};
use super::held::Held;
use super::path::{CutCurve, CutCurves};
use crate::control::Control;
use crate::girth::{PlanningGraph, Ring};
use crate::mesh::{CurvePoint, TriangleMesh};
use crate::optimise::cut_set::CutSet;
use crate::optimise::separation::{Crossing, Separator};

/// A line on the planning mesh.
#[derive(Clone, Debug)]
pub struct DrawnLine {
    /// Its points; closed lines repeat their first point at the end.
    pub points: Vec<CurvePoint>,
    /// Whether the first point lies on the gate.
    pub starts_at_gate: bool,
    /// Whether the first point is a free end inside the surface.
    pub free_start: bool,
    /// Whether the last point is a free end inside the surface.
    pub free_end: bool,
}

/// Lines that cannot be carried.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum DrawnError {
    /// Some line cannot be followed along the mesh.
    NotFollowed,
    /// A line is shorter than an edge of the mesh; its index.
    TooShort(usize),
}

/// Lines carried on to the planning graph.
pub struct Drawn {
    /// Edges of the exterior cuts.
    pub cut: CutSet,
    /// The lines of each separate cut, in the order of the set's components.
    pub cuts: Vec<CutCurves>,
    /// Which lines make up each cut.
    pub members: Vec<Vec<usize>>,
    /// Edges of each bridge's rim; none for a bridge that is not cut.
    pub loops: Vec<Vec<u32>>,
    /// The rim of each bridge.
    pub rims: Vec<CutCurves>,
    fitted: Fitted,
}

impl Drawn {
    /// Carry the lines of exterior cuts, and a rim for each bridge that is cut. `strain` tells the strain
    /// allowed at each vertex of a mesh.
    pub fn new(
        graph: &PlanningGraph,
        lines: &[DrawnLine],
        rims: &[Option<DrawnLine>],
        strain: &dyn Fn(&TriangleMesh) -> Option<Vec<f64>>,
    ) -> Result<Self, DrawnError> {
        let single = |line: &DrawnLine| CutCurves {
            chains: vec![CutCurve {
                way: Vec::new(),
                points: line.points.clone(),
                starts_at_gate: line.starts_at_gate,
                free_end: line.free_end,
                free_start: line.free_start,
            }],
            from_gate: line.starts_at_gate,
        };
        let mut alone: Vec<CutCurves> = lines.iter().map(single).collect();
        let mut rims: Vec<CutCurves> = rims
            .iter()
            .map(|rim| match rim {
                Some(rim) => single(rim),
                None => CutCurves { chains: Vec::new(), from_gate: false },
            })
            .collect();
        let all: Vec<&CutCurves> = alone.iter().chain(&rims).collect();
        let fitted = fit(graph, &all).ok_or(DrawnError::NotFollowed)?;
        let edges_of = |steps: &Vec<[u32; 2]>| -> Result<Vec<u32>, DrawnError> {
            let edges = steps.iter().map(|&[a, b]| graph.edge_along(a, b));
            edges.collect::<Option<Vec<u32>>>().ok_or(DrawnError::NotFollowed)
        };
        let mut ways = fitted.ways.iter();
        let mut edges: Vec<Vec<u32>> = Vec::new();
        let mut loops = Vec::new();
        for (index, curve) in alone.iter_mut().chain(&mut rims).enumerate() {
            let mut own = Vec::new();
            if let Some(chain) = curve.chains.first_mut() {
                let steps = ways.next().ok_or(DrawnError::NotFollowed)?;
                chain.way = steps.iter().map(|s| s[0]).chain(steps.last().map(|s| s[1])).collect();
                own = edges_of(steps)?;
                if own.is_empty() {
                    return Err(DrawnError::TooShort(index));
                }
            }
            if index < lines.len() { edges.push(own) } else { loops.push(own) }
        }
        let cut = CutSet::new(edges.iter().flatten().copied().collect());
        let mut cuts = Vec::new();
        let mut members = Vec::new();
        for component in cut.components(graph) {
            let own: Vec<usize> = (0..lines.len())
                .filter(|&k| edges[k].first().is_some_and(|e| component.binary_search(e).is_ok()))
                .collect();
            let chains: Vec<CutCurve> =
                own.iter().flat_map(|&k| alone[k].chains.iter().cloned()).collect();
            let from_gate = chains.iter().any(|chain| chain.starts_at_gate);
            cuts.push(CutCurves { chains, from_gate });
            members.push(own);
        }
        let fitted =
            fitted.with_filled_holes(lines.len(), strain).ok_or(DrawnError::NotFollowed)?;
        Ok(Self { cut, cuts, members, loops, rims, fitted })
    }

    /// The graph on the mesh that is fitted to the lines, with the holes filled that are cut across; outlines of
    /// rings that were found round them are edges of this graph.
    pub fn fitted_graph(&self) -> &PlanningGraph {
        &self.fitted.graph
    }
}

impl Finisher<'_> {
    /// The lines as they are, with every tight ring that they let by, the worst first. `separator` looks for
    /// rings on the mesh that is fitted to the lines.
    pub fn judge(
        &self,
        drawn: &Drawn,
        separator: &Separator<'_>,
        control: &Control<'_>,
    ) -> Finished {
        let cut = &drawn.fitted.cut;
        let order: Vec<usize> = (0..separator.target_count()).collect();
        let mut tight: Vec<Ring> =
            separator.tight_rings(cut, Crossing::Forbidden, &order, usize::MAX, control).rings;
        tight.extend(separator.still_tight(&separator.nested_rings(), cut));
        tight.retain(falls_short);
        tight.sort_by(|a, b| {
            b.shortfall().total_cmp(&a.shortfall()).then_with(|| a.outline.cmp(&b.outline))
        });
        tight.dedup_by(|a, b| a.outline == b.outline);
        Finished {
            weighted_length: self.weigh(&drawn.cuts),
            openings: self.openings(&drawn.cuts),
            cuts: drawn.cuts.clone(),
            rims: drawn.rims.clone(),
            missed: 0,
            held: tight.first().map(|ring| Held::by(drawn.fitted_graph(), ring)),
            tight,
            looked: !control.is_cancelled(),
        }
    }
}
