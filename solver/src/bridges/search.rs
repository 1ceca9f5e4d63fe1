//! The shortest independent loops that bound in the rubber.
//!
//! Erickson, J. & Whittlesey, K. (2005), "Greedy optimal homotopy and homology generators", SODA
//! (from memory): the shortest basis of loops is found greedily among the loops that two branches
//! of a shortest-path tree and one more edge make. Here only loops that bound in the rubber count,
//! and the shortest of these may need two branches that are not shortest (a loop along a twisted
//! tube has to unwind the twist). So the search runs in the cover of the skin whose points are a
//! node together with the class of the way to it, with a bound on the classes kept a node: one
//! at first, which is the plain tree, and more only while holes are left without a loop.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BinaryHeap};

use rayon::prelude::*;

use crate::control::{Cancelled, Control};

use super::board::Skin;
use super::classes::Classes;
use super::homology::{Length, Step};

/// Classes kept a node, tried in turn.
const CLASSES_PER_NODE: [usize; 4] = [1, 4, 12, 48];
/// Starting nodes spread over the skin in the first round.
const SPREAD: usize = 128;
/// Starting nodes when several classes a node are kept.
const SPREAD_IN_COVER: usize = 5;
/// Rounds of starting from the loops found so far, at most: with one class a node, with several.
const ROUNDS: [usize; 2] = [6, 1];

/// A closed walk that bounds in the rubber.
#[derive(Clone, Debug)]
pub(super) struct CutLoop {
    /// Length along the edges, mm; walking on the board is free.
    pub length: f64,
    /// Whether it starts and ends on the board.
    pub by_board: bool,
    /// Its steps.
    pub steps: Vec<Step>,
    /// Class among those that bound in the rubber, modulo two.
    key: Vec<u8>,
}

impl CutLoop {
    /// Class among those that bound in the rubber, modulo two.
    pub fn key(&self) -> &[u8] {
        &self.key
    }
}

/// As many independent loops as there are holes, shortest first; fewer where none was found.
pub(super) fn shortest_loops(
    skin: &Skin,
    classes: &Classes,
    control: &Control<'_>,
) -> Result<Vec<CutLoop>, Cancelled> {
    let wanted = classes.holes();
    let mut best = Best::new();
    let mut chosen = Vec::new();
    if wanted == 0 {
        return Ok(chosen);
    }
    let spread = spread_nodes(skin, SPREAD);
    for keep in CLASSES_PER_NODE {
        let count = if keep == 1 { SPREAD } else { SPREAD_IN_COVER };
        let mut from: Vec<u32> = (skin.first_region as u32..skin.node_count as u32)
            .filter(|&r| skin.is_used(r))
            .collect();
        from.extend(spread.iter().take(count));
        improve(skin, classes, &from, keep, control, &mut best)?;
        // Loops through the nodes of the loops found so far: the spread nodes may all have missed
        // the shortest loop of a class by a little.
        let mut total = f64::INFINITY;
        for _ in 0..ROUNDS[usize::from(keep > 1)] {
            chosen = independent(&best, wanted);
            let sum: f64 = chosen.iter().map(|c| c.length).sum();
            if sum >= total * (1.0 - 1e-9) && chosen.len() == wanted {
                break;
            }
            total = sum;
            let mut on_loops: Vec<u32> = chosen
                .iter()
                .flat_map(|c| c.steps.iter().map(|s| skin.walk(s.edge, s.forward).0))
                .filter(|&n| !skin.is_region(n))
                .collect();
            on_loops.sort_unstable();
            on_loops.dedup();
            if keep > 1 {
                on_loops = on_loops
                    .iter()
                    .copied()
                    .step_by(on_loops.len() / SPREAD_IN_COVER + 1)
                    .collect();
            }
            improve(skin, classes, &on_loops, keep, control, &mut best)?;
        }
        chosen = independent(&best, wanted);
        if chosen.len() == wanted {
            break;
        }
    }
    Ok(chosen)
}

/// The shortest loop in the class (modulo two) of another, by the lengths of this skin.
pub(super) fn loop_of_class(
    skin: &Skin,
    classes: &Classes,
    of: &CutLoop,
    control: &Control<'_>,
) -> Result<Option<CutLoop>, Cancelled> {
    let mut from = spread_nodes(skin, SPREAD_IN_COVER);
    from.extend((skin.first_region as u32..skin.node_count as u32).filter(|&r| skin.is_used(r)));
    for keep in CLASSES_PER_NODE {
        let mut best = Best::new();
        improve(skin, classes, &from, keep, control, &mut best)?;
        let Some(found) = best.remove(&of.key) else { continue };
        let nodes: Vec<u32> = found.steps.iter().map(|s| skin.walk(s.edge, s.forward).0).collect();
        let again: Vec<u32> = nodes
            .iter()
            .copied()
            .filter(|&n| !skin.is_region(n))
            .step_by(nodes.len() / SPREAD_IN_COVER + 1)
            .collect();
        best.insert(found.key.clone(), found);
        improve(skin, classes, &again, keep, control, &mut best)?;
        return Ok(best.remove(&of.key));
    }
    Ok(None)
}

/// For every class of loops that the board closes and that bounds in the rubber, the shortest.
pub(super) fn through_board(skin: &Skin, classes: &Classes) -> Vec<CutLoop> {
    (skin.first_region as u32..skin.node_count as u32)
        .filter(|&region| skin.is_used(region))
        .flat_map(|region| Cover::grow(skin, classes, region, 1).loops().into_values())
        .collect()
}

/// The shortest loop of each class modulo two.
type Best = BTreeMap<Vec<u8>, CutLoop>;

fn improve(
    skin: &Skin,
    classes: &Classes,
    from: &[u32],
    keep: usize,
    control: &Control<'_>,
    best: &mut Best,
) -> Result<(), Cancelled> {
    let found: Vec<Best> = from
        .par_iter()
        .map(|&node| {
            control.check()?;
            Ok(Cover::grow(skin, classes, node, keep).loops())
        })
        .collect::<Result<_, Cancelled>>()?;
    for (key, candidate) in found.into_iter().flatten() {
        let better = best.get(&key).is_none_or(|old| candidate.length < old.length * (1.0 - 1e-12));
        if better {
            best.insert(key, candidate);
        }
    }
    Ok(())
}

/// Greedy choice: shortest first, each independent of those before (over the field of two
/// elements, which also keeps a loop that runs twice round a hole from standing for it).
fn independent(best: &Best, wanted: usize) -> Vec<CutLoop> {
    let mut order: Vec<&CutLoop> = best.values().collect();
    order.sort_by(|a, b| a.length.total_cmp(&b.length).then_with(|| a.key.cmp(&b.key)));
    let mut rows: Vec<Vec<u8>> = Vec::new();
    let mut chosen = Vec::new();
    for candidate in order {
        let mut row = candidate.key.clone();
        for earlier in &rows {
            let lead = earlier.iter().position(|&b| b == 1).unwrap_or(0);
            if row[lead] == 1 {
                for (bit, other) in row.iter_mut().zip(earlier) {
                    *bit ^= other;
                }
            }
        }
        if row.contains(&1) {
            rows.push(row);
            chosen.push(candidate.clone());
            if chosen.len() == wanted {
                break;
            }
        }
    }
    chosen
}

/// Nodes far from each other: each next one is the farthest from those before.
fn spread_nodes(skin: &Skin, count: usize) -> Vec<u32> {
    let nodes: Vec<u32> = (0..skin.first_region as u32).filter(|&v| skin.is_used(v)).collect();
    let mut distance = vec![f64::INFINITY; skin.node_count];
    let mut chosen = Vec::new();
    while chosen.len() < count.min(nodes.len()) {
        let Some(&next) = nodes.iter().max_by(|&&a, &&b| {
            distance[a as usize].total_cmp(&distance[b as usize]).then(b.cmp(&a))
        }) else {
            break;
        };
        chosen.push(next);
        distance[next as usize] = 0.0;
        let mut heap = BinaryHeap::from([Reverse((Length(0.0), next))]);
        while let Some(Reverse((Length(reach), node))) = heap.pop() {
            if reach > distance[node as usize] {
                continue;
            }
            for &edge in skin.edges_of(node) {
                let forward = skin.edges[edge as usize].nodes[0] == node;
                let (_, other) = skin.walk(edge, forward);
                let further = reach + skin.edges[edge as usize].length;
                if further < distance[other as usize] && !skin.is_region(other) {
                    distance[other as usize] = further;
                    heap.push(Reverse((Length(further), other)));
                }
            }
        }
    }
    chosen
}

struct State {
    node: u32,
    distance: f64,
    parent: u32,
    step: Step,
    /// The state that the way here passes first after the starting node, or itself.
    branch: u32,
}

/// Shortest ways from one node to every node, at most `keep` of different class each.
struct Cover<'a> {
    skin: &'a Skin,
    classes: &'a Classes,
    by_board: bool,
    states: Vec<State>,
    class: Vec<i32>,
    twist: Vec<f64>,
    /// States of each node.
    at: Vec<Vec<u32>>,
}

impl<'a> Cover<'a> {
    fn grow(skin: &'a Skin, classes: &'a Classes, base: u32, keep: usize) -> Self {
        let by_board = skin.is_region(base);
        let mut cover = Self {
            skin,
            classes,
            by_board,
            states: Vec::with_capacity(skin.first_region),
            class: Vec::with_capacity(skin.first_region * classes.size),
            twist: Vec::new(),
            at: vec![Vec::new(); skin.node_count],
        };
        let none = Step { edge: u32::MAX, forward: true };
        let mut heap = BinaryHeap::from([Reverse((Length(0.0), base, u32::MAX, u32::MAX, true))]);
        while let Some(Reverse((Length(distance), node, parent, edge, forward))) = heap.pop() {
            let room = if node == base { 1 } else { keep };
            if cover.at[node as usize].len() >= room {
                continue;
            }
            let step = if parent == u32::MAX { none } else { Step { edge, forward } };
            let branch = match parent {
                u32::MAX => 0,
                0 => cover.states.len() as u32,
                _ => cover.states[parent as usize].branch,
            };
            if !cover.push(State { node, distance, parent, step, branch }) {
                continue;
            }
            let index = cover.states.len() as u32 - 1;
            for &edge in skin.edges_of(node) {
                let forward = skin.edges[edge as usize].nodes[0] == node;
                let (_, next) = skin.walk(edge, forward);
                if skin.is_region(next) || next == base || cover.at[next as usize].len() >= keep {
                    continue;
                }
                let reach = distance + skin.edges[edge as usize].length;
                heap.push(Reverse((Length(reach), next, index, edge, forward)));
            }
        }
        cover
    }

    /// Add a state unless its node has one of the same class.
    fn push(&mut self, state: State) -> bool {
        let (size, twists) = (self.classes.size, self.twists());
        let mut class = vec![0; size];
        let mut twist = vec![0.0; twists];
        if state.parent != u32::MAX {
            let parent = state.parent as usize;
            class.copy_from_slice(&self.class[parent * size..][..size]);
            twist.copy_from_slice(&self.twist[parent * twists..][..twists]);
            self.classes.add(&mut class, state.step);
            if twists > 0 {
                self.classes.add_twist(&mut twist, state.step);
            }
        }
        let known = self.at[state.node as usize].iter().any(|&s| {
            let s = s as usize;
            self.class[s * size..][..size] == class[..]
                && self.twist[s * twists..][..twists]
                    .iter()
                    .zip(&twist)
                    .all(|(a, b)| (a - b).abs() < 0.5)
        });
        if known {
            return false;
        }
        self.at[state.node as usize].push(self.states.len() as u32);
        self.class.extend(class);
        self.twist.extend(twist);
        self.states.push(state);
        true
    }

    fn twists(&self) -> usize {
        if self.by_board { 0 } else { self.classes.twists }
    }

    /// Every loop that two ways and one edge make and that bounds in the rubber: the shortest of
    /// each class.
    fn loops(&self) -> Best {
        let mut best = Best::new();
        let mut class = vec![0; self.classes.size];
        for edge in 0..self.skin.edges.len() as u32 {
            let step = Step { edge, forward: true };
            let (u, w) = self.skin.walk(edge, true);
            for &s in &self.at[u as usize] {
                for &t in &self.at[w as usize] {
                    self.close(s, step, t, &mut class, &mut best);
                }
            }
        }
        best
    }

    fn close(&self, s: u32, step: Step, t: u32, class: &mut [i32], best: &mut Best) {
        let (from, to) = (&self.states[s as usize], &self.states[t as usize]);
        if (to.parent == s && to.step == step) || (from.parent == t && from.step.edge == step.edge)
        {
            return;
        }
        let (size, rank) = (self.classes.size, self.classes.rank);
        class.copy_from_slice(&self.class[s as usize * size..][..size]);
        self.classes.add(class, step);
        for (slot, value) in class.iter_mut().zip(&self.class[t as usize * size..][..size]) {
            *slot -= value;
        }
        if class[..rank].iter().any(|&c| c != 0) || class[rank..].iter().all(|&c| c % 2 == 0) {
            return;
        }
        let twists = self.twists();
        if twists > 0 {
            let mut twist = self.twist[s as usize * twists..][..twists].to_vec();
            self.classes.add_twist(&mut twist, step);
            for (slot, value) in twist.iter_mut().zip(&self.twist[t as usize * twists..][..twists])
            {
                *slot -= value;
            }
            if twist.iter().any(|v| v.abs() > 0.5) {
                return;
            }
        }
        let key: Vec<u8> = class[rank..].iter().map(|c| (c.rem_euclid(2)) as u8).collect();
        let known = best.get(&key).map_or(f64::INFINITY, |old| old.length);
        let apart = from.branch != to.branch || from.branch == 0;
        let length = from.distance + self.skin.edges[step.edge as usize].length + to.distance;
        // Two ways that start along the same branch make a loop that does not pass the starting
        // node: one closed by the board is none then, others are rid of their tail.
        if (apart && length >= known) || (!apart && self.by_board) {
            return;
        }
        let (mut out, mut back) = (self.way(s), self.way(t));
        let tail = out.iter().zip(&back).take_while(|(a, b)| a == b).count();
        out.drain(..tail);
        back.drain(..tail);
        let length = self.skin.edges[step.edge as usize].length
            + out.iter().chain(&back).map(|s| self.skin.edges[s.edge as usize].length).sum::<f64>();
        if length >= known {
            return;
        }
        let mut steps = out;
        steps.push(step);
        steps.extend(back.iter().rev().map(|s| Step { edge: s.edge, forward: !s.forward }));
        if !self.is_simple(&steps) {
            return;
        }
        best.insert(key.clone(), CutLoop { length, by_board: self.by_board, steps, key });
    }

    fn way(&self, state: u32) -> Vec<Step> {
        let mut steps = Vec::new();
        let mut at = &self.states[state as usize];
        while at.parent != u32::MAX {
            steps.push(at.step);
            at = &self.states[at.parent as usize];
        }
        steps.reverse();
        steps
    }

    fn is_simple(&self, steps: &[Step]) -> bool {
        let mut nodes: Vec<u32> =
            steps.iter().map(|s| self.skin.walk(s.edge, s.forward).0).collect();
        nodes.sort_unstable();
        nodes.windows(2).all(|w| w[0] != w[1])
    }
}
