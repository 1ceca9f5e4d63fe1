//! Disjoint sets with path halving.

/// Which items have been joined.
#[derive(Clone, Debug)]
pub(crate) struct UnionFind(Vec<u32>);

impl UnionFind {
    /// `count` items, each by itself.
    pub fn new(count: usize) -> Self {
        Self((0..count as u32).collect())
    }
    /// The item that stands for the set of `item`: always the lowest one.
    pub fn root(&mut self, item: usize) -> usize {
        let mut at = item;
        while self.0[at] as usize != at {
            self.0[at] = self.0[self.0[at] as usize];
            at = self.0[at] as usize;
        }
        at
    }
    /// Join the sets of two items; false if they were joined already.
    pub fn join(&mut self, a: usize, b: usize) -> bool {
        let (a, b) = (self.root(a), self.root(b));
        self.0[a.max(b)] = a.min(b) as u32;
        a != b
    }
}
