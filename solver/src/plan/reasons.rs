//! Why each cut is there, and how far the rubber is stretched where it is stretched most.

use super::answer::{Reason, RegionStretch};
use crate::girth::{PlanningGraph, Ring};
use crate::mesh::Point;
use crate::optimise::pool::RowPool;

/// The tightest ring that only this cut opens, or the tightest that it opens at all.
pub(super) fn reason(
    graph: &PlanningGraph,
    pool: &RowPool,
    own: &[u32],
    others: &[u32],
    to_model: &impl Fn(Point) -> Point,
) -> Option<Reason> {
    let crossed = |ring: &Ring, edges: &[u32]| ring.outline.iter().any(|e| edges.contains(e));
    let widest = |alone: bool| {
        pool.rings
            .iter()
            .filter(|ring| crossed(ring, own) && !(alone && crossed(ring, others)))
            .max_by(|a, b| a.shortfall().total_cmp(&b.shortfall()))
    };
    let ring = widest(true).or_else(|| widest(false))?;
    let relaxed = graph.ring_length(&ring.outline).1;
    let beyond = to_model(graph.middle(ring.beyond.iter().copied()));
    let text = format!(
        "a ring of rubber {:.0} mm long, which may be stretched to {:.0} mm, has to let a girth of \
         {:.0} mm pass",
        relaxed, ring.reach, ring.width
    );
    Some(Reason::FreesRing { ring_length: relaxed, girth: ring.width, beyond, text })
}

/// Regions listed at most.
const MOST: usize = 6;

/// The rings stretched most as the model comes out, one a region, from rings that hold.
pub(super) fn stretches(
    graph: &PlanningGraph,
    rings: &[Ring],
    to_model: &impl Fn(Point) -> Point,
) -> Vec<RegionStretch> {
    let mut list: Vec<(f64, RegionStretch, Point)> = rings
        .iter()
        .map(|ring| {
            let relaxed = graph.ring_length(&ring.outline).1.max(1e-9);
            let place = graph.middle_of_ring(&ring.outline);
            let strain = (ring.width / relaxed - 1.0).max(0.0);
            let stretch = RegionStretch {
                place: to_model(place),
                ring_length: relaxed,
                girth: ring.width,
                strain,
                allowed: ring.reach / relaxed - 1.0,
            };
            (strain, stretch, place)
        })
        .collect();
    list.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.2.z.total_cmp(&b.2.z)));
    let apart = graph.mesh.longest_side() / 6.0;
    let mut kept: Vec<(f64, RegionStretch, Point)> = Vec::new();
    for entry in list {
        if entry.0 > 0.02
            && kept.len() < MOST
            && kept.iter().all(|k| (k.2 - entry.2).norm() > apart)
        {
            kept.push(entry);
        }
    }
    kept.into_iter().map(|(_, stretch, _)| stretch).collect()
}
