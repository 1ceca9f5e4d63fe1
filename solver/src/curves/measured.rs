//! What curves do for every row, kept while one of them at a time is changed.

use super::measure::{Contribution, CurveRows};
use super::path::CutCurves;
use crate::mesh::CurvePoint;
use crate::optimise::rows::ON_CURVES;

/// Cuts and rims with what each of their chains does.
pub(super) struct Measured<'r, 'g> {
    rows: &'r CurveRows<'g>,
    /// One a chain: those of the cuts in order, then those of the rims.
    all: Vec<Contribution>,
    /// The first chain of each cut.
    first: Vec<usize>,
}

impl<'r, 'g> Measured<'r, 'g> {
    pub fn new(rows: &'r CurveRows<'g>, cuts: &[CutCurves], rims: &[CutCurves]) -> Self {
        let (mut all, mut first) = (Vec::new(), Vec::new());
        for cut in cuts {
            first.push(all.len());
            all.extend(cut.chains.iter().map(|chain| rows.contribution(&chain.points, false)));
        }
        let of_rims = rims.iter().flat_map(|rim| &rim.chains);
        all.extend(of_rims.map(|chain| rows.contribution(&chain.points, true)));
        Self { rows, all, first }
    }

    /// A chain of a cut has other points.
    pub fn change(&mut self, cut: usize, chain: usize, points: &[CurvePoint]) {
        self.all[self.first[cut] + chain] = self.rows.contribution(points, false);
    }

    /// Rows that all together miss, with the share that is missing.
    pub fn missed(&self) -> Vec<(usize, f64)> {
        self.rows.missed(&self.all, ON_CURVES)
    }

    /// Those of the rows of `open` that are missed with a piece of cut more.
    pub fn still_missed(&self, open: &[(usize, f64)], piece: &[CurvePoint]) -> Vec<(usize, f64)> {
        let gains = self.rows.gains(open, piece);
        let left = open.iter().zip(gains).map(|(&(row, missing), gain)| (row, missing - gain));
        left.filter(|(_, missing)| *missing > ON_CURVES).collect()
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::curves::{CutCurve, straighten_chain};
    use crate::girth::PlanningGraph;
    use crate::girth::paths::ways;
    use crate::mesh::fixtures::icosphere;
    use crate::optimise::pool::{Pools, RowPool};
    use crate::optimise::separation::Separator;

    /// A ball on a gate, rubber that stretches by three tenths.
    pub(in super::super) fn ball() -> PlanningGraph {
        let mesh = icosphere(30.0, 4);
        let gate: Vec<bool> = mesh.positions.iter().map(|p| p.z < -25.0).collect();
        let n = gate.len();
        PlanningGraph::new(mesh, gate, vec![0.3; n], &vec![1.0; n]).expect("a graph")
    }

    pub(in super::super) fn pools(graph: &PlanningGraph) -> Pools {
        let mut must = RowPool::new(graph.edges.len());
        must.add_rings(graph, Separator::new(graph, 10, 4).nested_rings());
        Pools::new(must)
    }

    /// A way from the gate up to the top, drawn straight.
    pub(in super::super) fn upright(graph: &PlanningGraph) -> Vec<CurvePoint> {
        let by_height = |a: &u32, b: &u32| {
            let z = |v: u32| graph.mesh.positions[v as usize].z;
            z(*a).total_cmp(&z(*b))
        };
        let top = (0..graph.vertex_count() as u32).max_by(by_height).expect("not empty");
        let start = graph.is_gate.iter().position(|&gate| gate).expect("a gate") as u32;
        let found =
            ways(graph, [(start, 0.0)], |e, _| Some(graph.edges[e as usize].length), f64::INFINITY);
        let mut way = vec![top];
        for edge in found.trace(graph, top) {
            let [a, b] = graph.edges[edge as usize].ends;
            way.push(if a == way[way.len() - 1] { b } else { a });
        }
        way.reverse();
        straighten_chain(graph, &way)
    }

    pub(in super::super) fn cut(points: &[CurvePoint]) -> CutCurves {
        let chain = CutCurve {
            way: Vec::new(),
            points: points.to_vec(),
            starts_at_gate: true,
            free_start: false,
            free_end: true,
        };
        CutCurves { chains: vec![chain], from_gate: true }
    }

    /// What a piece does for the rows that are missed without it is what makes the whole curve meet them: each
    /// row is missed with the piece counted in exactly where the whole curve misses it.
    #[test]
    fn a_piece_and_the_rest_do_what_the_whole_curve_does() {
        let graph = ball();
        let mut rows = CurveRows::new(&graph);
        rows.take_rows(&pools(&graph));
        assert!(rows.len() > 10, "{}", rows.len());
        let whole = upright(&graph);
        for at in [2, whole.len() / 3, whole.len() / 2, whole.len() - 2] {
            let (rest, piece) = (&whole[..=at], &whole[at..]);
            let open = Measured::new(&rows, &[cut(rest)], &[]).missed();
            let at_once = Measured::new(&rows, &[cut(&whole)], &[]).missed();
            let measured = Measured::new(&rows, &[cut(rest)], &[]);
            let in_pieces = measured.still_missed(&open, piece);
            let names = |list: &[(usize, f64)]| list.iter().map(|m| m.0).collect::<Vec<_>>();
            assert_eq!(names(&in_pieces), names(&at_once), "at {at}");
            for (a, b) in in_pieces.iter().zip(&at_once) {
                assert!((a.1 - b.1).abs() < 1e-9, "{a:?} {b:?}");
            }
            assert!(at > 2 || open.len() > at_once.len(), "the case tells something");
        }
    }

    /// Once rings were dropped from a pool, curves are measured on those that are left.
    #[test]
    fn curves_are_measured_on_the_rings_that_are_left() {
        let graph = ball();
        let mut pools = pools(&graph);
        let (mut rows, mut fresh) = (CurveRows::new(&graph), CurveRows::new(&graph));
        let rim = vec![5.0; graph.vertex_count()];
        rows.add_opening(&rim, 8.0, 12.0);
        rows.take_rows(&pools);
        let before = rows.len();
        let slack: Vec<f64> =
            (0..pools.must.rings.len()).map(|k| f64::from(k as u32 % 3)).collect();
        let half = pools.must.terms() / 2;
        pools.must.keep_tightest(&slack, half);
        rows.take_rows(&pools);
        fresh.add_opening(&rim, 8.0, 12.0);
        fresh.take_rows(&pools);
        assert!(rows.len() < before && rows.len() > 1);
        let missed = |rows: &CurveRows<'_>| {
            let curve = &upright(&graph)[..8];
            rows.missed(&[rows.contribution(curve, false)], ON_CURVES)
        };
        assert_eq!(missed(&rows), missed(&fresh));
        assert!(!missed(&rows).is_empty());
    }
}
