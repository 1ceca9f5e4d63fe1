//! Variations of sets of cuts that meet every known row: from scratch, wider, mended where rows are missed, or the
//! best with a part taken away and joined up along other ways. What comes of each is trimmed.

use rand::Rng;
use rand_chacha::ChaCha8Rng;

use super::builder::{Builder, Draft};
use super::cut_set::CutSet;

impl Builder<'_> {
    /// A set from scratch that meets every row, trimmed.
    pub fn all_anew(&self, relaxed: &[f64], random: &mut ChaCha8Rng) -> Option<Draft> {
        let guide = self.guide(relaxed, 0.8, 0.0, random);
        let full = self.complete(&CutSet::default(), &guide, random)?;
        Some(self.draft(full, random))
    }

    /// The larger set of a draft made to meet every row.
    pub fn widen(&self, draft: &Draft, random: &mut ChaCha8Rng) -> Option<CutSet> {
        let guide: Vec<f64> = self.graph.edges.iter().map(|e| e.cost).collect();
        self.complete(&draft.full, &guide, random)
    }

    /// A draft that misses some rows meets them with little change: along the ways it was trimmed
    /// from, where there are any.
    pub fn mend(&self, draft: &Draft, random: &mut ChaCha8Rng) -> Option<Draft> {
        let mut guide: Vec<f64> = self.graph.edges.iter().map(|e| e.cost).collect();
        for &e in draft.full.edges() {
            guide[e as usize] *= 0.05;
        }
        let longer = self.complete(&draft.trimmed, &guide, random)?;
        let trimmed = self.trim(&longer, random);
        let full = longer.edges().iter().chain(draft.full.edges()).copied().collect();
        Some(Draft { full: CutSet::new(full), trimmed })
    }

    fn draft(&self, full: CutSet, random: &mut ChaCha8Rng) -> Draft {
        Draft { trimmed: self.trim(&full, random), full }
    }

    fn guide(&self, relaxed: &[f64], lean: f64, jitter: f64, random: &mut ChaCha8Rng) -> Vec<f64> {
        self.graph
            .edges
            .iter()
            .zip(relaxed)
            .map(|(e, &x)| {
                let noise = if jitter > 0.0 { random.random_range(-jitter..jitter) } else { 0.0 };
                e.cost * (1.0 - lean * x.clamp(0.0, 1.0)) * (1.0 + noise)
            })
            .collect()
    }

    /// Take away a random part of a plan, join up what is missed, trim.
    pub fn vary(&self, draft: &Draft, relaxed: &[f64], random: &mut ChaCha8Rng) -> Option<Draft> {
        let cut = &draft.trimmed;
        let lean = random.random_range(0.0..0.95);
        let jitter = random.random_range(0.0..0.6);
        let guide = self.guide(relaxed, lean, jitter, random);
        if random.random_bool(0.3) {
            // Trim again from everything the draft came from and some ways more.
            let scratch = self.complete(&CutSet::default(), &guide, random)?;
            let edges = draft.full.edges().iter().chain(scratch.edges()).copied().collect();
            return Some(self.draft(CutSet::new(edges), random));
        }
        if random.random_bool(0.2)
            && let Some(joined) = self.joined(cut, &guide, random)
        {
            return Some(self.draft(joined, random));
        }
        let kept: Vec<u32> = if cut.edges().is_empty() {
            Vec::new()
        } else {
            let seed = cut.edges()[random.random_range(0..cut.edges().len())];
            let middle =
                self.graph.mesh.positions[self.graph.edges[seed as usize].ends[0] as usize];
            let radius =
                cut.length(self.graph) * random.random_range(0.05..0.6f64) + self.graph.mean_edge();
            cut.edges()
                .iter()
                .copied()
                .filter(|&e| {
                    let at =
                        self.graph.mesh.positions[self.graph.edges[e as usize].ends[0] as usize];
                    (at - middle).norm() > radius
                })
                .collect()
        };
        let full = self.complete(&CutSet::new(kept), &guide, random)?;
        Some(self.draft(full, random))
    }

    /// One separate cut led on to the nearest other one, which saves an entry.
    fn joined(&self, cut: &CutSet, guide: &[f64], random: &mut ChaCha8Rng) -> Option<CutSet> {
        let components = cut.components(self.graph);
        if components.len() < 2 {
            return None;
        }
        let ends = |edges: &[u32]| -> Vec<u32> {
            edges.iter().flat_map(|&e| self.graph.edges[e as usize].ends).collect()
        };
        let own = random.random_range(0..components.len());
        let reach = self.ways_from(&ends(&components[own]), guide);
        let nearest = (0..components.len())
            .filter(|&k| k != own)
            .flat_map(|k| ends(&components[k]))
            .min_by(|&a, &b| {
                reach.distance[a as usize].total_cmp(&reach.distance[b as usize]).then(a.cmp(&b))
            })?;
        let mut edges = reach.trace(self.graph, nearest);
        edges.extend_from_slice(cut.edges());
        Some(CutSet::new(edges))
    }
}
