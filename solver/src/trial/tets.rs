//! Tetrahedra with the elements round each node, to split edges.

/// Elements that can be split.
pub(super) struct Tets {
    /// Four nodes each.
    pub elements: Vec<[u32; 4]>,
    around: Vec<Vec<u32>>,
}

impl Tets {
    /// Elements over so many nodes.
    pub fn new(elements: Vec<[u32; 4]>, nodes: usize) -> Self {
        let mut around = vec![Vec::new(); nodes];
        for (e, corners) in elements.iter().enumerate() {
            for &n in corners {
                around[n as usize].push(e as u32);
            }
        }
        Self { elements, around }
    }

    /// Elements round a node.
    pub fn around(&self, node: u32) -> &[u32] {
        &self.around[node as usize]
    }

    /// Elements round an edge.
    pub fn around_edge(&self, [a, b]: [u32; 2]) -> impl Iterator<Item = u32> {
        let has = move |e: &u32| self.elements[*e as usize].contains(&b);
        self.around(a).iter().copied().filter(has)
    }

    /// Split an edge, with all elements round it, at a new node, whose number is the next one. Of each
    /// element the half at `a` keeps the number.
    pub fn split(&mut self, [a, b]: [u32; 2]) -> u32 {
        let new = self.around.len() as u32;
        let both: Vec<u32> = self.around_edge([a, b]).collect();
        self.around.push(Vec::with_capacity(2 * both.len()));
        let with_new =
            |corners: [u32; 4], old: u32| corners.map(|c| if c == old { new } else { c });
        for e in both {
            let corners = self.elements[e as usize];
            let added = self.elements.len() as u32;
            self.elements[e as usize] = with_new(corners, b);
            self.elements.push(with_new(corners, a));
            for c in corners.into_iter().filter(|&c| c != a && c != b) {
                self.around[c as usize].push(added);
            }
            let of_b = &mut self.around[b as usize];
            of_b.retain(|&other| other != e);
            of_b.push(added);
            self.around[new as usize].extend([e, added]);
        }
        new
    }
}

/// An edge with its lower node first.
pub(super) fn sorted([a, b]: [u32; 2]) -> [u32; 2] {
    [a.min(b), a.max(b)]
}

/// Pairs of an element's corners.
pub(super) const PAIRS: [[usize; 2]; 6] = [[0, 1], [0, 2], [0, 3], [1, 2], [1, 3], [2, 3]];

/// Edges of an element, lower node first.
pub(super) fn edges_of(corners: &[u32; 4]) -> [[u32; 2]; 6] {
    PAIRS.map(|[a, b]| sorted([corners[a], corners[b]]))
}
