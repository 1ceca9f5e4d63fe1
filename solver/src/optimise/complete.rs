//! A set made to meet every row: ways from where the mould is open to what is not met yet.

use rand::Rng;
use rand_chacha::ChaCha8Rng;

use super::builder::Builder;
use super::cut_set::CutSet;
use super::one_piece::Places;
use super::rows::{ROW_TOLERANCE, RowKind};

impl Builder<'_> {
    /// Add ways from the cuts (or the gate) to what is not met yet, until every row is met. What is
    /// added closes no ring.
    ///
    /// `guide` scales the cost of each edge: low where the relaxation likes to cut.
    pub fn complete(&self, cut: &CutSet, guide: &[f64], random: &mut ChaCha8Rng) -> Option<CutSet> {
        let mut edges: Vec<u32> = cut.edges().to_vec();
        let mut activity = self.activity(cut);
        let mut places = Places::new(self.graph, &self.settings.fixed);
        for &e in &edges {
            places.join(e);
        }
        // Every way adds an edge, so this ends.
        loop {
            // The row missed most; among equals the one whose far side is smallest, since a way
            // to its depth meets those round it too.
            let Some(row) = (0..activity.len())
                .filter(|&r| activity[r] < 1.0 - ROW_TOLERANCE)
                .min_by_key(|&r| self.far_size(r))
            else {
                return Some(CutSet::new(edges));
            };
            let way = self.way_to_row(&edges, row, &activity, guide, &mut places, random)?;
            if way.iter().all(|e| edges.contains(e)) {
                return None;
            }
            for e in way {
                if !edges.contains(&e) {
                    edges.push(e);
                    places.join(e);
                    for (r, c) in self.pools.rows_of(e) {
                        activity[r] += c;
                    }
                }
            }
        }
    }

    fn far_size(&self, row: usize) -> usize {
        let (row, pool) = self.pools.row(row);
        match row.kind.is_of_ring() {
            true => pool.rings[row.origin as usize].beyond.len(),
            false => usize::MAX,
        }
    }

    /// A way that adds to a row what it lacks: from the gate or a cut to the row's depth.
    fn way_to_row(
        &self,
        edges: &[u32],
        row: usize,
        activity: &[f64],
        guide: &[f64],
        places: &mut Places<'_>,
        random: &mut ChaCha8Rng,
    ) -> Option<Vec<u32>> {
        let (asked, pool) = self.pools.row(row);
        let terms = &asked.terms;
        let goal = match asked.kind.is_of_ring() {
            true => pool.deepest[asked.origin as usize],
            false => {
                let (edge, _) = terms[random.random_range(0..terms.len())];
                self.graph.edges[edge as usize].ends[random.random_range(0..2)]
            }
        };
        let from_holes = !self.grows_from_opening() || asked.kind == RowKind::BridgeOpening;
        let holes = self.settings.fixed.iter().chain(&self.graph.discs).filter(|_| from_holes);
        let mut start: Vec<u32> =
            edges.iter().chain(holes).flat_map(|&e| self.graph.edges[e as usize].ends).collect();
        start.extend(
            (0..self.graph.vertex_count() as u32).filter(|&v| self.graph.is_gate[v as usize]),
        );
        let reach = self.ways_from(&start, guide);
        let way = reach.distance[goal as usize].is_finite().then(|| reach.trace(self.graph, goal));
        let gain = |way: &[u32]| -> f64 {
            let new: Vec<u32> = way.iter().copied().filter(|e| !edges.contains(e)).collect();
            activity[row]
                + terms
                    .iter()
                    .filter(|(e, _)| new.contains(e))
                    .map(|(_, c)| f64::from(*c))
                    .sum::<f64>()
        };
        if let Some(way) = way
            && gain(&way) > activity[row] + 1e-9
        {
            return Some(way);
        }
        // The goal is on a cut already: go to the cheapest edge that helps.
        let mut best: Option<(f64, Vec<u32>)> = None;
        for &(e, c) in terms {
            if edges.contains(&e) || places.closes(e) {
                continue;
            }
            let [a, b] = self.graph.edges[e as usize].ends;
            let from = if reach.distance[a as usize] <= reach.distance[b as usize] { a } else { b };
            let cost = (reach.distance[from as usize] + guide[e as usize]) / f64::from(c);
            if cost.is_finite() && best.as_ref().is_none_or(|(least, _)| cost < *least) {
                let mut way = reach.trace(self.graph, from);
                way.push(e);
                best = Some((cost, way));
            }
        }
        best.map(|(_, way)| way)
    }
}
