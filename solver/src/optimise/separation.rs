//! Finding tight rings that the cuts so far leave uncrossed.
//!
//! For a region Q far from the gate the shortest ring round it that crosses no cut is a minimum
//! cut between Q and the gate, where crossing an edge costs the ring length it gains and a cut
//! edge cannot be crossed. Regions Q are geodesic balls round well-spread centres, over a ladder
//! of radii. Both the minimum cut nearest the gate and the one nearest Q are looked at, and each
//! ring of either is judged by itself.

use std::borrow::Cow;

use rayon::prelude::*;

use super::strips::signed_distance;
use crate::control::Control;
use crate::girth::min_cut::{FlowNetwork, UNCUTTABLE, Units};
use crate::girth::paths::distances;
use crate::girth::{PlanningGraph, Ring, RingJudge};

/// Targets looked at before the number of rings found is compared with the limit.
const CHUNK: usize = 32;

/// How far the neighbours of a ring are moved, in stretched edges; the last is the farthest.
const NEIGHBOURS: [f32; 6] = [-3.0, -1.5, -0.75, 0.75, 1.5, 3.0];

/// A region to look for rings round.
#[derive(Clone, Debug)]
pub struct Target {
    /// Its vertices.
    pub core: Vec<u32>,
}

/// Looks for tight rings.
pub struct Separator<'a> {
    judge: RingJudge<'a>,
    network: FlowNetwork,
    units: Units,
    targets: Cow<'a, [Target]>,
    /// No ring longer than this can be too tight, in flow units.
    widest: i64,
}

impl<'a> Separator<'a> {
    /// A separator with about `centre_count` centres and `radius_count` radii each.
    pub fn new(graph: &'a PlanningGraph, centre_count: usize, radius_count: usize) -> Self {
        let gate: Vec<u32> =
            (0..graph.vertex_count() as u32).filter(|&v| graph.is_gate[v as usize]).collect();
        let mut targets = Vec::new();
        let mut nearest = distances(graph, &gate);
        let gate_distance = nearest.clone();
        let spacing = graph.mean_edge();
        for _ in 0..centre_count {
            let Some((centre, gap)) = farthest(&nearest) else { break };
            if gap < 1.5 * spacing {
                break;
            }
            let from_centre = distances(graph, &[centre]);
            for (n, d) in nearest.iter_mut().zip(&from_centre) {
                *n = n.min(*d);
            }
            let reach = gate_distance[centre as usize] - 0.5 * spacing;
            let mut last = 0;
            for k in 0..radius_count {
                let radius = spacing + (reach - spacing) * k as f64 / radius_count.max(2) as f64;
                let core: Vec<u32> = (0..graph.vertex_count() as u32)
                    .filter(|&v| from_centre[v as usize] <= radius && !graph.is_gate[v as usize])
                    .collect();
                if core.len() > last {
                    last = core.len();
                    targets.push(Target { core });
                }
            }
        }
        Self::with_targets(graph, targets)
    }

    /// A separator with given targets, lists of vertices of this graph.
    pub fn with_targets(graph: &'a PlanningGraph, targets: impl Into<Cow<'a, [Target]>>) -> Self {
        let ends: Vec<[u32; 2]> = graph.edges.iter().map(|e| e.ends).collect();
        let units = Units::for_edge(graph.mean_edge());
        let judge = RingJudge::new(graph);
        let everything: Vec<bool> = graph.is_gate.iter().map(|&g| !g).collect();
        let whole = crate::girth::sweep::sweep_width(graph, &everything, 0.0);
        // Parts can be wider than the whole swept its best way; twice leaves ample room.
        Self {
            judge,
            network: FlowNetwork::new(graph.vertex_count(), &ends),
            units,
            targets: targets.into(),
            widest: units.of(2.0 * whole),
        }
    }

    /// The targets.
    pub fn targets(&self) -> &[Target] {
        &self.targets
    }

    /// The graph it works on.
    pub fn graph(&self) -> &'a PlanningGraph {
        self.judge.graph()
    }

    /// Number of targets.
    pub fn target_count(&self) -> usize {
        self.targets.len()
    }

    /// The judge, for rings that come from elsewhere.
    pub fn judge(&self) -> &RingJudge<'a> {
        &self.judge
    }

    /// Those of some rings, known by what lies beyond them, that no cut crosses and that are too
    /// tight when pulled taut on this graph.
    pub fn still_tight(&self, rings: &[Ring], cut: &[f64]) -> Vec<Ring> {
        let graph = self.graph();
        let held = held_vertices(graph, cut);
        let cut_edges: Vec<[u32; 2]> =
            (0..cut.len()).filter(|&e| cut[e] > 0.5).map(|e| graph.edges[e].ends).collect();
        rings
            .par_iter()
            .flat_map_iter(|ring| {
                let beyond = graph.membership(&ring.beyond);
                let crossed =
                    cut_edges.iter().any(|[a, b]| beyond[*a as usize] != beyond[*b as usize]);
                let far = if crossed { vec![false; beyond.len()] } else { beyond };
                self.judge.tight_rings(&far, |e| cut[e as usize] > 0.5, Some(&held))
            })
            .collect()
    }

    /// Tight rings next to one: its outline moved a few edges beyond and before.
    pub fn neighbours(&self, ring: &Ring) -> Vec<Ring> {
        let step = self.graph().mean_edge() as f32;
        let widest = f64::from(NEIGHBOURS[NEIGHBOURS.len() - 1] * step);
        let stretch =
            self.graph().allowed_strain.iter().copied().fold(1.0, |m, e| f64::max(m, 1.0 + e));
        let distance = signed_distance(self.graph(), ring, stretch * widest);
        NEIGHBOURS
            .iter()
            .flat_map(|k| {
                let side: Vec<bool> = distance
                    .iter()
                    .zip(&self.graph().is_gate)
                    .map(|(&d, &gate)| d > k * step && !gate)
                    .collect();
                self.judge.tight_rings(&side, |_| false, None)
            })
            .collect()
    }

    /// Tight rings that are found without any flow: outlines of the targets themselves and of
    /// what lies farther from the gate than a ladder of distances.
    pub fn nested_rings(&self) -> Vec<Ring> {
        let graph = self.graph();
        let n = graph.vertex_count();
        let gate: Vec<u32> = (0..n as u32).filter(|&v| graph.is_gate[v as usize]).collect();
        let distance = distances(graph, &gate);
        let far = distance.iter().copied().filter(|d| d.is_finite()).fold(0.0, f64::max);
        let steps = (far / graph.mean_edge()).ceil() as usize;
        let mut sides: Vec<Vec<bool>> = (0..steps)
            .map(|k| distance.iter().map(|&d| d > far * k as f64 / steps as f64).collect())
            .collect();
        sides.extend(self.targets.iter().map(|t| graph.membership(&t.core)));
        sides
            .par_iter()
            .flat_map_iter(|side| self.judge.tight_rings(side, |_| false, None))
            .collect()
    }

    /// The shortest ring round each target that the cuts leave, tight or not: what the rubber has
    /// to stretch as the model comes out.
    pub fn holding_rings(&self, cut: &[f64], control: &Control<'_>) -> Vec<Ring> {
        let graph = self.graph();
        let gate: Vec<u32> =
            (0..graph.vertex_count() as u32).filter(|&v| graph.is_gate[v as usize]).collect();
        let look = |network: &mut FlowNetwork, target: &Target| {
            if control.is_cancelled() {
                return Vec::new();
            }
            let capacity = |e: u32| {
                if cut[e as usize] > 0.5 {
                    UNCUTTABLE
                } else {
                    self.units.of(graph.edges[e as usize].reach)
                }
            };
            let flow = network.solve(
                capacity,
                gate.iter().copied(),
                target.core.iter().copied(),
                self.widest,
            );
            if flow >= self.widest {
                return Vec::new();
            }
            let far: Vec<bool> = network.source_side().iter().map(|&s| !s).collect();
            self.judge
                .parts(&far, |e| cut[e as usize] > 0.5)
                .into_iter()
                .map(|part| self.judge.measure(&part))
                .collect()
        };
        let mut rings: Vec<Ring> = self
            .targets
            .par_iter()
            .map_init(|| self.network.clone(), |network, target| look(network, target))
            .flatten_iter()
            .collect();
        rings.sort_by(|a, b| a.outline.cmp(&b.outline));
        rings.dedup_by(|a, b| a.outline == b.outline);
        rings
    }

    /// Tight rings that the given cut weights leave (nearly) uncrossed, at most about `limit`.
    ///
    /// `cut` holds one value an edge in [0, 1]. With `hard`, an edge of value one cannot be
    /// crossed; otherwise crossing costs `price` mm of ring for each unit of cut, which looks for
    /// rings that are both short and little crossed. Targets are looked at in the given order.
    pub fn tight_rings(
        &self,
        cut: &[f64],
        crossing: Crossing,
        order: &[usize],
        limit: usize,
        control: &Control<'_>,
    ) -> Found {
        let graph = self.graph();
        let capacity: Vec<i64> = graph
            .edges
            .iter()
            .zip(cut)
            .map(|(edge, &x)| match crossing {
                Crossing::Forbidden if x > 0.5 => UNCUTTABLE,
                Crossing::Forbidden => self.units.of(edge.reach),
                Crossing::Priced(price) => self.units.of(edge.reach + price * x),
            })
            .collect();
        let gate: Vec<u32> =
            (0..graph.vertex_count() as u32).filter(|&v| graph.is_gate[v as usize]).collect();
        let held = (crossing == Crossing::Forbidden).then(|| held_vertices(graph, cut));
        let crossed = |ring: &Ring| ring.outline.iter().map(|&e| cut[e as usize]).sum::<f64>();
        let look = |network: &mut FlowNetwork, target: &Target| {
            if control.is_cancelled() {
                return Vec::new();
            }
            let flow = network.solve(
                |e| capacity[e as usize],
                gate.iter().copied(),
                target.core.iter().copied(),
                self.widest,
            );
            if flow >= self.widest {
                return Vec::new();
            }
            let far: Vec<bool> = network.source_side().iter().map(|&s| !s).collect();
            let near = network.sink_side();
            let is_cut = |e: u32| crossing == Crossing::Forbidden && cut[e as usize] > 0.5;
            let mut rings = self.judge.tight_rings(&far, is_cut, held.as_deref());
            if near != far {
                rings.extend(self.judge.tight_rings(&near, is_cut, held.as_deref()));
            }
            rings.retain(|ring| crossed(ring) < 1.0 - 1e-6);
            rings
        };
        // Whole chunks at a time, so that where the search stops does not depend on which thread
        // was faster.
        let mut rings: Vec<Ring> = Vec::new();
        let mut hits = Vec::new();
        for chunk in order.chunks(CHUNK) {
            let found: Vec<Vec<Ring>> = chunk
                .par_iter()
                .map_init(|| self.network.clone(), |network, &t| look(network, &self.targets[t]))
                .collect();
            hits.extend(chunk.iter().zip(&found).filter(|(_, r)| !r.is_empty()).map(|(&t, _)| t));
            rings.extend(found.into_iter().flatten());
            if rings.len() >= limit {
                break;
            }
        }
        rings.sort_by(|a, b| a.outline.cmp(&b.outline));
        rings.dedup_by(|a, b| a.outline == b.outline);
        Found { rings, hits }
    }
}

/// Tight rings, and the targets round which they were found.
#[derive(Clone, Debug, Default)]
pub struct Found {
    /// The rings, each once.
    pub rings: Vec<Ring>,
    /// Targets that gave a ring.
    pub hits: Vec<usize>,
}

/// How a ring may cross what is cut.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Crossing {
    /// Not at all where the value is above one half.
    Forbidden,
    /// At this price, mm of ring for each unit of cut.
    Priced(f64),
}

/// Vertices that a ring cannot pass over: those of the gate and of the cuts, and those beside a cut
/// edge that runs across a mesh edge.
fn held_vertices(graph: &PlanningGraph, cut: &[f64]) -> Vec<bool> {
    let mut held = graph.is_gate.clone();
    for (edge, _) in graph.edges.iter().zip(cut).filter(|(_, x)| **x > 0.5) {
        let beside = graph.topology.edge_vertices[edge.mesh_edge as usize];
        for v in edge.ends.into_iter().chain(beside) {
            held[v as usize] = true;
        }
    }
    held
}

fn farthest(distance: &[f64]) -> Option<(u32, f64)> {
    distance
        .iter()
        .enumerate()
        .filter(|(_, d)| d.is_finite())
        .max_by(|a, b| a.1.total_cmp(b.1).then(b.0.cmp(&a.0)))
        .map(|(v, &d)| (v as u32, d))
}
