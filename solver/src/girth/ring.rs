//! Judging one ring: is it long enough, stretched, for what lies beyond it?

use std::collections::HashMap;
use std::collections::hash_map::DefaultHasher;
use std::hash::{Hash, Hasher};
use std::sync::Mutex;

use super::PlanningGraph;
use super::sweep::{ring_girth, sweep_width};
use super::taut::taut_ring;

/// Pulled taut, a ring is hardly ever shorter than this share of its length on the graph.
const SLACK: f64 = 0.8;

/// A region within this factor of its ring's own girth is no wider than the ring.
const NO_WIDER: f64 = 1.01;

/// A ring that is too tight: the outline of a region beyond it.
#[derive(Clone, Debug, PartialEq)]
pub struct Ring {
    /// Vertices beyond the ring, seen from the gate, in rising order.
    pub beyond: Vec<u32>,
    /// Graph edges that cross it.
    pub outline: Vec<u32>,
    /// Its length when stretched as far as allowed, mm.
    pub reach: f64,
    /// Width of the best sweep of what lies beyond, mm.
    pub width: f64,
}

/// Share of its girth by which a ring has to fall short to be too tight for certain: lengths of rings and
/// widths of sweeps are known no better on a mesh.
const KNOWN_WITHIN: f64 = 0.01;

impl Ring {
    /// How much it falls short, mm of stretched length.
    pub fn shortfall(&self) -> f64 {
        self.width - self.reach
    }

    /// How much it falls short for certain, mm of stretched length; not above zero for a ring that may pass.
    pub fn known_shortfall(&self) -> f64 {
        self.shortfall() - KNOWN_WITHIN * self.width
    }
}

/// Judges rings and remembers the widths it has computed.
pub struct RingJudge<'a> {
    graph: &'a PlanningGraph,
    /// Width by region, and the `enough` it was computed for: exact if it is above that.
    widths: Mutex<HashMap<u64, (f64, f64)>>,
}

impl<'a> RingJudge<'a> {
    /// A judge over a graph.
    pub fn new(graph: &'a PlanningGraph) -> Self {
        Self { graph, widths: Mutex::new(HashMap::new()) }
    }

    /// The graph it judges on.
    pub fn graph(&self) -> &'a PlanningGraph {
        self.graph
    }

    /// The rings round the parts of a vertex set that does not hold the gate: one a connected
    /// part, each taken together with whatever it shuts off from the gate. Each ring is judged by
    /// itself; only those too tight come back.
    ///
    /// Parts that a cut edge joins across a mesh edge are one: no ring passes between them. With
    /// `held`, the vertices that are cut or gate, rings are pulled taut before they are judged.
    pub fn tight_rings(
        &self,
        far_side: &[bool],
        is_cut: impl Fn(u32) -> bool,
        held: Option<&[bool]>,
    ) -> Vec<Ring> {
        let parts = self.parts(far_side, is_cut);
        parts.into_iter().filter_map(|part| self.judge(&part, held)).collect()
    }

    /// The ring round one region, if it is too tight.
    fn judge(&self, beyond: &[bool], held: Option<&[bool]>) -> Option<Ring> {
        let outline = self.graph.outline(beyond);
        // On the face of a cut alone nothing is held, nor can anything be cut.
        if outline.iter().all(|&e| self.graph.is_of_disc(&self.graph.edges[e as usize])) {
            return None;
        }
        let (reach, relaxed) = self.graph.ring_length(&outline);
        let width = self.width(beyond, SLACK * reach);
        // What is nowhere wider than the ring itself passes unstretched. On ground that is nearly
        // flat the ring's length on the graph is not known well enough to tell.
        if width > SLACK * reach && width <= NO_WIDER * ring_girth(self.graph, beyond) {
            return None;
        }
        if let Some(held) = held
            && width > SLACK * reach
            && let Some(taut) = taut_ring(self.graph, beyond, held).filter(|t| t.is_held)
        {
            // The strain allowed along the taut ring is that along the outline.
            let reach = reach.min(taut.length * reach / relaxed.max(1e-9));
            let outline = self.graph.outline(&taut.beyond);
            let width = self.width(&taut.beyond, SLACK * reach);
            if width > reach {
                return Some(self.ring(&taut.beyond, outline, reach, width));
            }
        }
        (width > reach).then(|| self.ring(beyond, outline, reach, width))
    }

    fn ring(&self, beyond: &[bool], outline: Vec<u32>, reach: f64, width: f64) -> Ring {
        let beyond = (0..beyond.len() as u32).filter(|&v| beyond[v as usize]).collect();
        Ring { beyond, outline, reach, width }
    }

    /// The ring round one region with its exact width, tight or not.
    pub fn measure(&self, beyond: &[bool]) -> Ring {
        let outline = self.graph.outline(beyond);
        let (reach, _) = self.graph.ring_length(&outline);
        self.ring(beyond, outline, reach, sweep_width(self.graph, beyond, 0.0))
    }

    fn width(&self, beyond: &[bool], enough: f64) -> f64 {
        let mut hasher = DefaultHasher::new();
        beyond.hash(&mut hasher);
        let key = hasher.finish();
        let known = self.widths.lock().unwrap_or_else(|e| e.into_inner()).get(&key).copied();
        // What is told must not depend on who asked first: a width found for another `enough` is exact, or it
        // is enough here too, or it is of no use.
        if let Some((width, then)) = known
            && (width > then || width <= enough)
        {
            return width;
        }
        let width = sweep_width(self.graph, beyond, enough);
        self.widths.lock().unwrap_or_else(|e| e.into_inner()).insert(key, (width, enough));
        width
    }

    /// Connected parts of `far_side`, each with the vertices it shuts off from the gate added.
    pub fn parts(&self, far_side: &[bool], is_cut: impl Fn(u32) -> bool) -> Vec<Vec<bool>> {
        let n = far_side.len();
        let mut done = vec![false; n];
        let mut parts = Vec::new();
        for seed in 0..n as u32 {
            if !far_side[seed as usize] || done[seed as usize] {
                continue;
            }
            let mut part = vec![false; n];
            self.spread(&mut part, vec![seed], |v| far_side[v as usize], &is_cut);
            for v in 0..n {
                done[v] |= part[v];
            }
            // What the gate cannot reach without crossing the part lies beyond it too.
            let mut open = vec![false; n];
            let gate: Vec<u32> = (0..n as u32)
                .filter(|&v| self.graph.is_gate[v as usize] && !part[v as usize])
                .collect();
            self.spread(&mut open, gate, |v| !part[v as usize], &is_cut);
            for v in 0..n {
                part[v] = !open[v];
                done[v] |= part[v];
            }
            parts.push(part);
        }
        parts
    }

    fn spread(
        &self,
        member: &mut [bool],
        seeds: Vec<u32>,
        allowed: impl Fn(u32) -> bool,
        is_cut: &impl Fn(u32) -> bool,
    ) {
        let mut stack = seeds;
        for &v in &stack {
            member[v as usize] = true;
        }
        while let Some(v) = stack.pop() {
            for &(edge, to) in self.graph.incident(v) {
                let joined = !self.graph.edges[edge as usize].across || is_cut(edge);
                if joined && !member[to as usize] && allowed(to) {
                    member[to as usize] = true;
                    stack.push(to);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests;
