//! From a set of cut edges to finished curves, looked at again as they really run.

use super::ends::{Shortening, lengthen_all, lengthen_ends, shorten_ends};
use super::fitted::fit;
use super::held::Held;
use super::measure::CurveRows;
use super::path::{CutCurves, cut_chains};
use super::straighten::straighten_within_rows;
use super::weigh::weighted_length;
use crate::control::Control;
use crate::girth::{PlanningGraph, Ring};
use crate::optimise::cut_set::CutSet;
use crate::optimise::pool::{Pools, RowPool};
use crate::optimise::separation::{Crossing, Separator};

/// What finishing is told.
#[derive(Clone, Debug)]
pub struct FinishSettings {
    /// Price of one more separate cut, mm.
    pub entry_price: f64,
    /// Shortest cut worth making, mm.
    pub least_cut: f64,
}

/// Curves of a plan.
#[derive(Clone, Debug)]
pub struct Finished {
    /// Exterior cuts, one for each component of the set they were made from.
    pub cuts: Vec<CutCurves>,
    /// Length of the exterior cuts times the weights along them, mm.
    pub weighted_length: f64,
    /// Rims of bridges, one for each loop.
    pub rims: Vec<CutCurves>,
    /// Rows that the curves miss.
    pub missed: usize,
    /// Tight rings found round the curves as they run; none in a sound plan. Their outlines are edges of
    /// the mesh as it was fitted, which numbers edges across pairs of faces otherwise.
    pub tight: Vec<Ring>,
    /// Where the model is held: by the first of `tight`, or by the ring of the row that is missed most.
    pub held: Option<Held>,
    /// Whether rings could be looked for round the curves as they run.
    pub looked: bool,
    /// Length of cut beside each bridge that needs an opening, mm.
    pub openings: Vec<f64>,
}

impl Finished {
    /// Whether the curves meet every row and let no ring by.
    pub fn is_sound(&self) -> bool {
        self.missed == 0 && self.tight.is_empty() && (self.looked || self.cuts.is_empty())
    }

    /// How bad the curves are: 0 for sound ones, else the girth (mm) that the tightest ring lacks,
    /// infinite where they miss rows or were not looked at.
    pub fn worst_fault(&self) -> f64 {
        if self.is_sound() {
            return 0.0;
        }
        if self.missed > 0 || !self.looked {
            return f64::INFINITY;
        }
        self.tight.iter().map(Ring::shortfall).fold(0.0, f64::max)
    }

    /// Weighted length of the exterior cuts and the price of their entries, mm.
    pub fn cost(&self, entry_price: f64) -> f64 {
        self.weighted_length + self.cuts.len() as f64 * entry_price
    }
}

/// Makes curves of sets of cut edges, on one graph.
pub struct Finisher<'a> {
    pub(super) graph: &'a PlanningGraph,
    rows: CurveRows<'a>,
    loops: &'a [Vec<u32>],
    settings: FinishSettings,
    /// The set drawn last, and its curves.
    drawn: Option<(CutSet, Finished)>,
}

/// Times that a ring found round the curves sends the ends on.
const RECHECKS: usize = 6;
/// Targets looked at while ends are shortened.
const ON_THE_WAY: usize = 64;
/// Halvings of the last piece that an end may lose.
const STEPS: u32 = 5;

/// A ring that was found on the mesh as it was fitted to curves, on the planning mesh: vertices have the same
/// numbers there, edges across pairs of faces have not.
fn on_graph(graph: &PlanningGraph, ring: &Ring) -> Ring {
    let outline = graph.outline(&graph.membership(&ring.beyond));
    Ring { outline, ..ring.clone() }
}

/// Whether a ring that was looked for round finished curves is too tight for certain.
pub(super) fn falls_short(ring: &Ring) -> bool {
    ring.known_shortfall() > 0.0
}

impl<'a> Finisher<'a> {
    /// A finisher for a graph with bridge loops. Openings for bridges are added by
    /// [`Finisher::add_opening`].
    pub fn new(graph: &'a PlanningGraph, loops: &'a [Vec<u32>], settings: FinishSettings) -> Self {
        Self { graph, rows: CurveRows::new(graph), loops, settings, drawn: None }
    }

    /// See [`CurveRows::add_opening`].
    pub fn add_opening(&mut self, distance_from_rim: &[f64], reach: f64, opening: f64) {
        self.rows.add_opening(distance_from_rim, reach, opening);
    }

    /// What a set of cuts costs once its curves are straight and their ends fitted to the known
    /// rows, mm. Infinite if they miss a row.
    pub fn price(&mut self, cut: &CutSet, pools: &Pools) -> f64 {
        let finished = self.straight(cut, pools);
        let cost = finished.cost(self.settings.entry_price);
        let price = if finished.missed > 0 { f64::INFINITY } else { cost };
        self.drawn = Some((cut.clone(), finished));
        price
    }

    /// Curves made straight within the known rows.
    fn straight(&mut self, cut: &CutSet, pools: &Pools) -> Finished {
        self.rows.take_rows(pools);
        let graph = self.graph;
        let mut cuts = cut_chains(graph, &cut.components(graph));
        let mut rims = cut_chains(graph, self.loops);
        let least_cut = self.settings.least_cut;
        let lost = straighten_within_rows(graph, &self.rows, &mut cuts, &mut rims, least_cut);
        if lost.is_empty() {
            let shortening = Shortening { most: 3.0 * graph.mean_edge(), least_cut, steps: 8 };
            let rows = &self.rows;
            shorten_ends(graph, rows, &mut cuts, &rims, &shortening, |_| true, |_| true);
        }
        let openings = self.openings(&cuts);
        let weighted_length = self.weigh(&cuts);
        Finished {
            cuts,
            weighted_length,
            rims,
            missed: lost.len(),
            tight: Vec::new(),
            held: self.rows.most_missed(&lost),
            looked: false,
            openings,
        }
    }

    pub(super) fn weigh(&self, cuts: &[CutCurves]) -> f64 {
        let chains = cuts.iter().flat_map(|c| &c.chains);
        // A sum over nothing is -0.0.
        0.0 + chains.map(|chain| weighted_length(self.graph, &chain.points)).sum::<f64>()
    }

    pub(super) fn openings(&self, cuts: &[CutCurves]) -> Vec<f64> {
        let contributions: Vec<_> = cuts
            .iter()
            .flat_map(|c| &c.chains)
            .map(|chain| self.rows.contribution(&chain.points, false))
            .collect();
        self.rows.openings(&contributions)
    }

    /// Finished curves: straight, with ends as short as the strips of the known rows, the bridges'
    /// openings and a fresh look for tight rings round the curves themselves allow.
    ///
    /// `order` lists targets of `separator`, those that gave rings last first.
    pub fn finish(
        &mut self,
        cut: &CutSet,
        pools: &Pools,
        separator: &Separator<'_>,
        order: &[usize],
        control: &Control<'_>,
    ) -> Finished {
        if control.is_cancelled()
            && let Some((drawn, finished)) = &self.drawn
            && drawn == cut
        {
            return finished.clone();
        }
        let mut finished = self.straight(cut, pools);
        if finished.missed > 0 || finished.cuts.is_empty() {
            return finished;
        }
        let graph = self.graph;
        let least_cut = self.settings.least_cut;
        let look = |cuts: &[CutCurves], rims: &[CutCurves], count: usize| {
            let curves: Vec<&CutCurves> = cuts.iter().chain(rims).collect();
            let fitted = fit(graph, &curves)?;
            let again = Separator::with_targets(&fitted.graph, separator.targets());
            let looked = &order[..count.min(order.len())];
            let mut rings =
                again.tight_rings(&fitted.cut, Crossing::Forbidden, looked, 8, control).rings;
            if control.is_cancelled() {
                // Targets were left out: nothing is known.
                return None;
            }
            rings.retain(falls_short);
            if rings.is_empty() {
                rings = again.still_tight(&pools.must.rings, &fitted.cut);
                rings.retain(falls_short);
            }
            let held = rings.first().map(|ring| Held::by(&fitted.graph, ring));
            Some((rings, held))
        };
        // Send the ends on until no ring is found; what was found says where.
        let mut further = Pools::new(RowPool::new(graph.edges.len()));
        for _ in 0..RECHECKS {
            match look(&finished.cuts, &finished.rims, usize::MAX) {
                None => break,
                Some((rings, held)) => {
                    finished.looked = true;
                    (finished.tight, finished.held) = (rings, held);
                }
            }
            if finished.tight.is_empty() {
                break;
            }
            let here = finished.tight.iter().map(|ring| on_graph(graph, ring));
            further.must.add_rings(graph, here.collect());
            let mut extra = CurveRows::new(graph);
            extra.take_rows(&further);
            let before: f64 = finished.cuts.iter().map(CutCurves::length).sum();
            let unmet = lengthen_ends(graph, &extra, &mut finished.cuts, &finished.rims, least_cut);
            if unmet.iter().any(|&(row, _)| extra.is_crossing(row)) {
                // No end leads there: another cut is needed.
                break;
            }
            let after: f64 = finished.cuts.iter().map(CutCurves::length).sum();
            if after <= before + 1e-9 {
                // The curves do cross what was found, but the ring slips by all the same: a bit
                // more of every end.
                let lacking = finished.tight.iter().map(Ring::shortfall).fold(0.0, f64::max);
                let more = 0.25 * lacking + 0.1 * graph.mean_edge();
                lengthen_all(graph, &mut finished.cuts, more);
            }
        }
        if finished.looked && finished.tight.is_empty() && finished.missed == 0 {
            let (rows, rims) = (&self.rows, &finished.rims);
            let clean = |cuts: &[CutCurves], count: usize| {
                look(cuts, rims, count).is_some_and(|(rings, _)| rings.is_empty())
            };
            let shortening = Shortening { most: 1.5 * graph.mean_edge(), least_cut, steps: STEPS };
            // Crossing rows speak of outlines that go round an end at a distance; the fresh
            // look is sharper, so only the rows of lengths count here.
            let of_lengths = |row: usize| !rows.is_crossing(row);
            let mut shorter = finished.cuts.clone();
            shorten_ends(graph, rows, &mut shorter, rims, &shortening, of_lengths, |cuts| {
                clean(cuts, ON_THE_WAY)
            });
            if clean(&shorter, usize::MAX) {
                finished.cuts = shorter;
            }
        }
        finished.openings = self.openings(&finished.cuts);
        finished.weighted_length = self.weigh(&finished.cuts);
        finished
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::fixtures::icosphere;

    /// Rings that are found on the mesh as it was fitted to a cut become rows on the planning mesh, where the
    /// edges that cross a ring are those with one end beyond it.
    #[test]
    fn rings_seen_on_the_fitted_mesh_are_crossed_by_the_planning_mesh_own_edges() {
        let mut mesh = icosphere(30.0, 4);
        // Uneven, so that whether the way across a pair of faces is straight hangs by little.
        for (k, p) in mesh.positions.iter_mut().enumerate() {
            let shake = nalgebra::Vector3::from([1.0, 2.0, 3.0].map(|f| (f * k as f64).sin()));
            *p = nalgebra::Point3::from((p.coords + shake * 0.7).normalize() * 30.0);
        }
        let gate: Vec<bool> = mesh.positions.iter().map(|p| p.z < -27.0).collect();
        let n = gate.len();
        let graph = PlanningGraph::new(mesh, gate, vec![0.3; n], &vec![1.0; n]).expect("a graph");
        // From the gate some way up, too short by far.
        let mut way = vec![(0..n).find(|&v| graph.is_gate[v]).expect("a gate") as u32];
        while way.len() < 9 {
            let last = way[way.len() - 1];
            let up = graph.mesh_neighbours(last).max_by(|&a, &b| {
                let z = |v: u32| graph.mesh.positions[v as usize].z;
                z(a).total_cmp(&z(b))
            });
            way.push(up.expect("a neighbour"));
        }
        let edges: Vec<u32> = way.windows(2).filter_map(|w| graph.edge_along(w[0], w[1])).collect();
        let cut = CutSet::new(edges);
        let mut curves = cut_chains(&graph, &cut.components(&graph));
        for chain in curves.iter_mut().flat_map(|c| &mut c.chains) {
            // Off the edges, so that vertices beside the curve have to move.
            let last = chain.points.len() - 1;
            for point in &mut chain.points[1..last] {
                let neighbour =
                    graph.mesh.faces[point.face as usize].map(|v| graph.mesh.positions[v as usize]);
                let middle = nalgebra::center(&neighbour[0], &neighbour[1]);
                point.point += (nalgebra::center(&middle, &neighbour[2]) - point.point) * 0.4;
                point.vertex = None;
            }
        }
        let fitted = fit(&graph, &curves.iter().collect::<Vec<_>>()).expect("followed");
        let separator = Separator::new(&graph, 20, 6);
        let again = Separator::with_targets(&fitted.graph, separator.targets());
        let order: Vec<usize> = (0..again.target_count()).collect();
        let control = Control::silent();
        let seen =
            again.tight_rings(&fitted.cut, Crossing::Forbidden, &order, usize::MAX, &control).rings;
        assert!(!seen.is_empty());
        let mut is_told_apart = false;
        for ring in &seen {
            let here = on_graph(&graph, ring);
            let beyond = graph.membership(&ring.beyond);
            let crosses =
                |e: &u32| graph.edges[*e as usize].ends.map(|v| beyond[v as usize]) != [true; 2];
            let crossing: Vec<u32> = (0..graph.edges.len() as u32)
                .filter(|e| crosses(e))
                .filter(|&e| graph.edges[e as usize].ends.iter().any(|&v| beyond[v as usize]))
                .collect();
            let mut outline = here.outline.clone();
            outline.sort_unstable();
            assert_eq!(outline, crossing);
            assert_eq!((here.reach, here.width), (ring.reach, ring.width));
            let mut as_seen = ring.outline.clone();
            as_seen.sort_unstable();
            is_told_apart |= as_seen != crossing;
        }
        assert!(
            is_told_apart,
            "edges have the same numbers on both meshes: the case tells nothing"
        );
    }
}
