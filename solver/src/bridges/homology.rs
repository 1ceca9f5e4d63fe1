//! A basis of the loops of the skin, and the class of any loop in it.
//!
//! Tree and cotree: Eppstein, D. (2003), "Dynamic generators of topologically embedded graphs",
//! SODA (from memory). A spanning tree of the nodes and a spanning tree of the faces that does not
//! cross it leave over some edges. Each, closed through the node tree, is a generator; each, closed
//! through the face tree, is a strip of faces that crosses this generator once and no other. The
//! class of a loop is how often it crosses each strip, an exact integer.

use std::cmp::Reverse;
use std::collections::{BinaryHeap, VecDeque};

use super::board::Skin;

const NONE: u32 = u32::MAX;

/// One step of a walk along the skin.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Step {
    pub edge: u32,
    pub forward: bool,
}

/// Generators of the first homology of a skin, with their dual strips.
#[derive(Clone, Debug)]
pub(super) struct Generators {
    /// Closed walks.
    pub loops: Vec<Vec<Step>>,
    /// `strips[k]`: faces in order, each left through the edge beside it.
    pub strips: Vec<Vec<(u32, u32)>>,
    /// `crossings[k]`: edges that strip `k` crosses, +1 from left to right.
    pub crossings: Vec<Vec<(u32, i32)>>,
}

impl Generators {
    /// Of every component of the skin.
    pub fn new(skin: &Skin) -> Self {
        let node_parent = node_tree(skin);
        let mut in_tree = vec![false; skin.edges.len()];
        for step in node_parent.iter().flatten() {
            in_tree[step.edge as usize] = true;
        }
        let (face_parent, face_depth) = face_tree(skin, &in_tree);
        let mut taken = in_tree;
        for &edge in &face_parent {
            if edge != NONE {
                taken[edge as usize] = true;
            }
        }
        let mut generators = Self { loops: Vec::new(), strips: Vec::new(), crossings: Vec::new() };
        for edge in (0..skin.edges.len() as u32).filter(|&e| !taken[e as usize]) {
            generators.loops.push(closed_by_tree(skin, &node_parent, edge));
            let strip = strip(skin, &face_parent, &face_depth, edge);
            generators.crossings.push(
                strip
                    .iter()
                    .map(|&(face, edge)| {
                        let from_left = skin.edge_faces[edge as usize][0] == face;
                        (edge, if from_left { 1 } else { -1 })
                    })
                    .collect(),
            );
            generators.strips.push(strip);
        }
        generators
    }
}

/// Shortest-path forest: the step by which each node is reached from its parent.
fn node_tree(skin: &Skin) -> Vec<Option<Step>> {
    let mut parent = vec![None; skin.node_count];
    let mut distance = vec![f64::INFINITY; skin.node_count];
    let mut done = vec![false; skin.node_count];
    let roots = (skin.first_region..skin.node_count).chain(0..skin.first_region);
    for root in roots {
        if done[root] || !skin.is_used(root as u32) {
            continue;
        }
        distance[root] = 0.0;
        let mut heap = BinaryHeap::from([Reverse((Length(0.0), root as u32))]);
        while let Some(Reverse((_, node))) = heap.pop() {
            if std::mem::replace(&mut done[node as usize], true) {
                continue;
            }
            for &edge in skin.edges_of(node) {
                let forward = skin.edges[edge as usize].nodes[0] == node;
                let (_, next) = skin.walk(edge, forward);
                let reach = distance[node as usize] + skin.edges[edge as usize].length;
                if !done[next as usize] && reach < distance[next as usize] {
                    distance[next as usize] = reach;
                    parent[next as usize] = Some(Step { edge, forward });
                    heap.push(Reverse((Length(reach), next)));
                }
            }
        }
    }
    parent
}

/// The edge through which each face is reached, and its depth.
fn face_tree(skin: &Skin, blocked: &[bool]) -> (Vec<u32>, Vec<u32>) {
    let mut parent = vec![NONE; skin.faces.len()];
    let mut depth = vec![NONE; skin.faces.len()];
    let mut queue = VecDeque::new();
    for root in 0..skin.faces.len() {
        if depth[root] != NONE {
            continue;
        }
        depth[root] = 0;
        queue.push_back(root as u32);
        while let Some(face) = queue.pop_front() {
            for &(edge, _) in &skin.faces[face as usize] {
                if blocked[edge as usize] {
                    continue;
                }
                let next = across(skin, edge, face);
                if depth[next as usize] == NONE {
                    depth[next as usize] = depth[face as usize] + 1;
                    parent[next as usize] = edge;
                    queue.push_back(next);
                }
            }
        }
    }
    (parent, depth)
}

fn across(skin: &Skin, edge: u32, face: u32) -> u32 {
    let [left, right] = skin.edge_faces[edge as usize];
    if left == face { right } else { left }
}

/// The edge forwards, then from its end back to its start through the tree.
fn closed_by_tree(skin: &Skin, parent: &[Option<Step>], edge: u32) -> Vec<Step> {
    let to_root = |mut node: u32| {
        let mut steps = Vec::new();
        while let Some(step) = parent[node as usize] {
            steps.push(step);
            node = skin.walk(step.edge, step.forward).0;
        }
        steps
    };
    let (tail, head) = skin.walk(edge, true);
    let (mut up, mut down) = (to_root(head), to_root(tail));
    while up.last().is_some() && up.last() == down.last() {
        up.pop();
        down.pop();
    }
    let mut walk = vec![Step { edge, forward: true }];
    walk.extend(up.iter().map(|s| Step { edge: s.edge, forward: !s.forward }));
    walk.extend(down.iter().rev());
    walk
}

/// Faces from the left of `edge` across it and back through the face tree.
fn strip(skin: &Skin, parent: &[u32], depth: &[u32], edge: u32) -> Vec<(u32, u32)> {
    let [left, right] = skin.edge_faces[edge as usize];
    let (mut a, mut b) = (right, left);
    let mut out = vec![(left, edge)];
    let mut back = Vec::new();
    while a != b {
        if depth[a as usize] >= depth[b as usize] {
            out.push((a, parent[a as usize]));
            a = across(skin, parent[a as usize], a);
        } else {
            let up = across(skin, parent[b as usize], b);
            back.push((up, parent[b as usize]));
            b = up;
        }
    }
    out.extend(back.iter().rev());
    out
}

/// A finite length that can be ordered.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Length(pub f64);

impl Eq for Length {}

impl PartialOrd for Length {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Length {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.0.total_cmp(&other.0)
    }
}
