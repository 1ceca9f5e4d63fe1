//! Minimum cuts of the planning graph by maximum flow.
//!
//! Dinitz, E. A. (1970), "Algorithm for solution of a problem of maximum flow in a network with
//! power estimation", on undirected edges with integer capacities, so that results do not depend
//! on rounding. Ford, L. R. and Fulkerson, D. R. (1956): the flow found equals the least cut.

/// Capacity that no cut may include.
pub const UNCUTTABLE: i64 = 1 << 40;

/// Capacity units per mm of ring.
pub const UNITS_PER_MM: f64 = 4096.0;

/// A flow network that is built once and solved many times with other capacities and terminals.
#[derive(Clone, Debug)]
pub struct FlowNetwork {
    starts: Vec<u32>,
    /// Arcs sorted by tail: (head, index of the opposite arc).
    heads: Vec<u32>,
    twins: Vec<u32>,
    edge_of: Vec<u32>,
    // Scratch, kept between solves.
    residual: Vec<i64>,
    level: Vec<u32>,
    cursor: Vec<u32>,
    queue: Vec<u32>,
    terminal: Vec<u8>,
    flow: i64,
}

const UNREACHED: u32 = u32::MAX;
const SOURCE: u8 = 1;
const SINK: u8 = 2;

impl FlowNetwork {
    /// A network of undirected edges over `vertex_count` vertices.
    pub fn new(vertex_count: usize, ends: &[[u32; 2]]) -> Self {
        let mut starts = vec![0u32; vertex_count + 1];
        for pair in ends {
            for &v in pair {
                starts[v as usize + 1] += 1;
            }
        }
        for v in 0..vertex_count {
            starts[v + 1] += starts[v];
        }
        let mut fill = starts.clone();
        let arcs = ends.len() * 2;
        let (mut heads, mut twins, mut edge_of) = (vec![0; arcs], vec![0; arcs], vec![0; arcs]);
        for (edge, &[a, b]) in ends.iter().enumerate() {
            let (i, j) = (fill[a as usize], fill[b as usize]);
            fill[a as usize] += 1;
            fill[b as usize] += 1;
            heads[i as usize] = b;
            heads[j as usize] = a;
            twins[i as usize] = j;
            twins[j as usize] = i;
            edge_of[i as usize] = edge as u32;
            edge_of[j as usize] = edge as u32;
        }
        Self {
            starts,
            heads,
            twins,
            edge_of,
            residual: vec![0; arcs],
            level: vec![UNREACHED; vertex_count],
            cursor: vec![0; vertex_count],
            queue: Vec::with_capacity(vertex_count),
            terminal: vec![0; vertex_count],
            flow: 0,
        }
    }

    /// Number of vertices.
    pub fn vertex_count(&self) -> usize {
        self.level.len()
    }

    /// Greatest flow from `sources` to `sinks`, or any value of at least `enough` once the flow
    /// has reached it. Edges with [`UNCUTTABLE`] capacity tie their ends together.
    pub fn solve(
        &mut self,
        capacity: impl Fn(u32) -> i64,
        sources: impl IntoIterator<Item = u32>,
        sinks: impl IntoIterator<Item = u32>,
        enough: i64,
    ) -> i64 {
        for (residual, &edge) in self.residual.iter_mut().zip(&self.edge_of) {
            *residual = capacity(edge);
        }
        self.terminal.fill(0);
        for v in sources {
            self.terminal[v as usize] |= SOURCE;
        }
        for v in sinks {
            self.terminal[v as usize] |= SINK;
        }
        self.flow = 0;
        if self.terminal.contains(&(SOURCE | SINK)) {
            self.flow = UNCUTTABLE;
        }
        while self.flow < enough && self.assign_levels() {
            for v in 0..self.level.len() {
                self.cursor[v] = self.starts[v];
            }
            for v in 0..self.level.len() as u32 {
                if self.terminal[v as usize] & SOURCE != 0 {
                    self.flow += self.push(v, UNCUTTABLE);
                    if self.flow >= enough {
                        break;
                    }
                }
            }
        }
        self.flow
    }

    /// After a solve that was not cut short: vertices on the sources' side of the least cut that
    /// lies nearest to the sources.
    pub fn source_side(&self) -> Vec<bool> {
        self.closure(SOURCE, |arc, _| self.residual[arc])
    }

    /// After a solve that was not cut short: vertices on the sinks' side of the least cut that
    /// lies nearest to the sinks.
    pub fn sink_side(&self) -> Vec<bool> {
        self.closure(SINK, |_, twin| self.residual[twin])
    }

    fn closure(&self, terminal: u8, open: impl Fn(usize, usize) -> i64) -> Vec<bool> {
        let mut inside: Vec<bool> = self.terminal.iter().map(|&t| t & terminal != 0).collect();
        let mut stack: Vec<u32> =
            (0..inside.len() as u32).filter(|&v| inside[v as usize]).collect();
        while let Some(v) = stack.pop() {
            for arc in self.arcs(v) {
                let to = self.heads[arc] as usize;
                if !inside[to] && open(arc, self.twins[arc] as usize) > 0 {
                    inside[to] = true;
                    stack.push(to as u32);
                }
            }
        }
        inside
    }

    fn arcs(&self, v: u32) -> std::ops::Range<usize> {
        self.starts[v as usize] as usize..self.starts[v as usize + 1] as usize
    }

    fn assign_levels(&mut self) -> bool {
        self.level.fill(UNREACHED);
        self.queue.clear();
        for v in 0..self.level.len() {
            if self.terminal[v] & SOURCE != 0 {
                self.level[v] = 0;
                self.queue.push(v as u32);
            }
        }
        let mut next = 0;
        let mut reached = UNREACHED;
        while next < self.queue.len() {
            let v = self.queue[next];
            next += 1;
            if self.level[v as usize] >= reached {
                break;
            }
            for arc in self.arcs(v) {
                let to = self.heads[arc] as usize;
                if self.level[to] == UNREACHED && self.residual[arc] > 0 {
                    self.level[to] = self.level[v as usize] + 1;
                    if self.terminal[to] & SINK != 0 {
                        reached = self.level[to];
                    }
                    self.queue.push(to as u32);
                }
            }
        }
        reached != UNREACHED
    }

    /// Push up to `limit` from `v` towards the sinks. The depth is bounded by the number of
    /// levels, so an explicit stack keeps long thin models off the call stack.
    fn push(&mut self, root: u32, limit: i64) -> i64 {
        let mut total = 0;
        let mut path: Vec<usize> = Vec::new();
        let mut v = root;
        loop {
            if self.terminal[v as usize] & SINK != 0 {
                let amount = path
                    .iter()
                    .map(|&arc| self.residual[arc])
                    .min()
                    .unwrap_or(0)
                    .min(limit - total);
                total += amount;
                let mut retreat_to = path.len();
                for (depth, &arc) in path.iter().enumerate() {
                    self.residual[arc] -= amount;
                    self.residual[self.twins[arc] as usize] += amount;
                    if self.residual[arc] == 0 && retreat_to == path.len() {
                        retreat_to = depth;
                    }
                }
                if total >= limit || path.is_empty() || amount == 0 {
                    return total;
                }
                path.truncate(retreat_to);
                v = path.last().map_or(root, |&arc| self.heads[arc]);
                continue;
            }
            let end = self.starts[v as usize + 1];
            let mut advanced = false;
            while self.cursor[v as usize] < end {
                let arc = self.cursor[v as usize] as usize;
                let to = self.heads[arc];
                if self.residual[arc] > 0 && self.level[to as usize] == self.level[v as usize] + 1 {
                    path.push(arc);
                    v = to;
                    advanced = true;
                    break;
                }
                self.cursor[v as usize] += 1;
            }
            if advanced {
                continue;
            }
            // A dead end: nothing more passes here in this phase.
            self.level[v as usize] = UNREACHED;
            match path.pop() {
                None => return total,
                Some(arc) => {
                    v = self.heads[self.twins[arc] as usize];
                    self.cursor[v as usize] += 1;
                }
            }
        }
    }
}

/// Ring length in capacity units, at least one so that every edge counts.
pub fn to_units(mm: f64) -> i64 {
    ((mm * UNITS_PER_MM).round() as i64).clamp(1, UNCUTTABLE)
}

/// Capacity units as mm.
pub fn to_mm(units: i64) -> f64 {
    units as f64 / UNITS_PER_MM
}

#[cfg(test)]
mod tests {
    use petgraph::algo::dinics;
    use petgraph::graph::DiGraph;
    use rand::{Rng, SeedableRng};

    use super::*;

    fn random_graph(seed: u64) -> (usize, Vec<[u32; 2]>, Vec<i64>) {
        let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(seed);
        let n = random.random_range(6..40usize);
        let mut ends = Vec::new();
        for a in 0..n as u32 {
            for b in a + 1..n as u32 {
                if b == a + 1 || random.random_bool(0.15) {
                    ends.push([a, b]);
                }
            }
        }
        let capacity = ends.iter().map(|_| random.random_range(1..100)).collect();
        (n, ends, capacity)
    }

    /// Same value as petgraph's maximum flow, and both sides are cuts of that value
    /// (Ford and Fulkerson 1956).
    #[test]
    fn flow_equals_cut_and_agrees_with_petgraph() {
        for seed in 0..60 {
            let (n, ends, capacity) = random_graph(seed);
            let mut network = FlowNetwork::new(n, &ends);
            let flow = network.solve(|e| capacity[e as usize], [0], [n as u32 - 1], UNCUTTABLE);
            let mut graph = DiGraph::<(), f64>::new();
            let nodes: Vec<_> = (0..n).map(|_| graph.add_node(())).collect();
            for (&[a, b], &c) in ends.iter().zip(&capacity) {
                graph.add_edge(nodes[a as usize], nodes[b as usize], c as f64);
                graph.add_edge(nodes[b as usize], nodes[a as usize], c as f64);
            }
            let (expected, _) = dinics(&graph, nodes[0], nodes[n - 1]);
            assert_eq!(flow as f64, expected, "seed {seed}");
            for side in [network.source_side(), network.sink_side()] {
                let cut: i64 = ends
                    .iter()
                    .zip(&capacity)
                    .filter(|(e, _)| side[e[0] as usize] != side[e[1] as usize])
                    .map(|(_, c)| c)
                    .sum();
                assert_eq!(cut, flow, "seed {seed}");
            }
            let source = network.source_side();
            let sink = network.sink_side();
            assert!(source.iter().zip(&sink).all(|(&s, &t)| !(s && t)));
        }
    }

    #[test]
    fn tied_ends_are_never_parted() {
        let ends = [[0, 1], [1, 2], [2, 3]];
        let capacity = [5, UNCUTTABLE, 7];
        let mut network = FlowNetwork::new(4, &ends);
        assert_eq!(network.solve(|e| capacity[e as usize], [0], [3], UNCUTTABLE), 5);
        let side = network.source_side();
        assert_eq!(side[1], side[2]);
    }
}
