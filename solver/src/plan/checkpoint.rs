//! What the work leaves behind so that it can go on later: rings, bound, rounds, best free cuts, and cuts between two sides that
//! passed.
//!
//! Rows follow from their rings, and the graph from model and request, so neither is kept. A
//! fingerprint of the graph tells whether a checkpoint belongs to it.

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use super::error::PlanError;
use super::sides::Passed;
use crate::curves::Finisher;
use crate::girth::{PlanningGraph, Ring};
use crate::nalgebra::Matrix3;
use crate::optimise::cut_set::CutSet;
use crate::optimise::relief::Relief;
use crate::optimise::search::Search;

/// Layout of the bytes and meaning of the numbers: goes up when either changes.
const VERSION: u16 = 5;

/// A checkpoint.
#[derive(Serialize, Deserialize)]
pub(super) struct Checkpoint {
    version: u16,
    graph: [u8; 32],
    /// Which of the passes over finer and finer graphs it was in.
    pub pass: u32,
    bound: f64,
    rounds: u32,
    rings: Vec<SavedRing>,
    /// Rings of which trials wished for more.
    demands: Vec<SavedRing>,
    reliefs: Vec<SavedRelief>,
    best: Option<Vec<u32>>,
    passed: Passed,
}

/// A ring, its vertices and edges as differences from the one before: small numbers are short.
#[derive(Serialize, Deserialize)]
struct SavedRing {
    beyond: Vec<u32>,
    outline: Vec<u32>,
    reach: f64,
    width: f64,
}

/// What a trial asked for, by the vertices where a cut counts.
#[derive(Serialize, Deserialize)]
struct SavedRelief {
    asked: f64,
    most: f64,
    at: Vec<u32>,
    /// Six entries of each symmetric tensor, column by column from the diagonal down.
    stretched: Vec<[f64; 6]>,
}

impl SavedRing {
    fn of(ring: &Ring) -> Self {
        Self {
            beyond: differences(&ring.beyond),
            outline: differences(&ring.outline),
            reach: ring.reach,
            width: ring.width,
        }
    }

    fn restored(&self, vertices: usize, edges: usize) -> Result<Ring, PlanError> {
        let (beyond, outline) = (sums(&self.beyond, vertices)?, sums(&self.outline, edges)?);
        if !(self.reach.is_finite() && self.width.is_finite()) || beyond.is_empty() {
            return Err(bad("a ring of it makes no sense"));
        }
        Ok(Ring { beyond, outline, reach: self.reach, width: self.width })
    }
}

impl SavedRelief {
    fn of(relief: &Relief) -> Self {
        let counts = |v: &u32| relief.stretched[*v as usize] != Matrix3::identity();
        let at: Vec<u32> = (0..relief.stretched.len() as u32).filter(counts).collect();
        let stretched = at.iter().map(|&v| {
            let c = &relief.stretched[v as usize];
            [c.m11, c.m21, c.m31, c.m22, c.m32, c.m33]
        });
        let stretched = stretched.collect();
        Self { asked: relief.asked, most: relief.most, stretched, at: differences(&at) }
    }

    fn restored(&self, vertices: usize) -> Result<Relief, PlanError> {
        let at = sums(&self.at, vertices)?;
        let mut numbers = self.stretched.iter().flatten().chain([&self.asked, &self.most]);
        let makes_sense = at.len() == self.stretched.len()
            && self.asked > 0.0
            && self.most > 0.0
            && numbers.all(|number| number.is_finite());
        if !makes_sense {
            return Err(bad("what a trial asked for makes no sense"));
        }
        let mut stretched = vec![Matrix3::identity(); vertices];
        for (v, &[a, b, c, d, e, f]) in at.into_iter().zip(&self.stretched) {
            stretched[v as usize] = Matrix3::new(a, b, c, b, d, e, c, e, f);
        }
        Ok(Relief { stretched, most: self.most, asked: self.asked })
    }
}

impl Checkpoint {
    /// Where a search is.
    pub(super) fn of(
        pass: u32,
        search: &Search<'_, '_>,
        best: Option<&CutSet>,
        passed: &Passed,
    ) -> Self {
        let pools = search.pools();
        Self {
            version: VERSION,
            graph: fingerprint(search.graph()),
            pass,
            bound: search.bound(),
            rounds: search.rounds(),
            rings: pools.must.rings.iter().map(SavedRing::of).collect(),
            demands: pools.wishes.rings.iter().map(SavedRing::of).collect(),
            reliefs: pools.reliefs.iter().map(SavedRelief::of).collect(),
            best: best.or(search.plan()).map(|cut| differences(cut.edges())),
            passed: passed.clone(),
        }
    }

    /// The same without the cuts, for a search that starts afresh with what was proved.
    pub(super) fn starting_afresh(self, pass: u32) -> Self {
        Self { pass, best: None, ..self }
    }

    /// As bytes.
    pub(super) fn to_bytes(&self) -> Result<Vec<u8>, PlanError> {
        postcard::to_allocvec(self).map_err(|e| bad(&format!("it cannot be written: {e}")))
    }

    /// From bytes.
    pub(super) fn from_bytes(bytes: &[u8]) -> Result<Self, PlanError> {
        let saved: Self =
            postcard::from_bytes(bytes).map_err(|e| bad(&format!("it cannot be read: {e}")))?;
        if saved.version != VERSION {
            return Err(bad(&format!("it has layout {}, not {VERSION}", saved.version)));
        }
        Ok(saved)
    }

    /// Let a search go on from here. The cuts between two sides that passed come back.
    pub(super) fn give_to(
        self,
        search: &mut Search<'_, '_>,
        finisher: &mut Finisher<'_>,
    ) -> Result<Passed, PlanError> {
        let graph = search.graph();
        if self.graph != fingerprint(graph) {
            return Err(bad("it belongs to another model or request"));
        }
        let (vertices, edges) = (graph.vertex_count(), graph.edges.len());
        let restored = |rings: &[SavedRing]| -> Result<Vec<Ring>, PlanError> {
            rings.iter().map(|ring| ring.restored(vertices, edges)).collect()
        };
        let (rings, demands) = (restored(&self.rings)?, restored(&self.demands)?);
        let best = self.best.map(|cut| sums(&cut, edges)).transpose()?;
        if !self.bound.is_finite() {
            return Err(bad("its bound makes no sense"));
        }
        search.add_rings(rings);
        for ring in demands {
            search.demand(ring);
        }
        for relief in &self.reliefs {
            search.relieve(relief.restored(vertices)?);
        }
        search.take_up(self.bound, self.rounds, best.map(CutSet::new), &mut |cut, pool| {
            finisher.price(cut, pool)
        });
        Ok(self.passed)
    }
}

fn bad(message: &str) -> PlanError {
    PlanError::Checkpoint { message: message.to_owned() }
}

/// Everything that rows and costs depend on.
fn fingerprint(graph: &PlanningGraph) -> [u8; 32] {
    let mut hash = Sha256::new();
    for p in &graph.mesh.positions {
        for c in [p.x, p.y, p.z] {
            hash.update(c.to_le_bytes());
        }
    }
    for face in &graph.mesh.faces {
        for v in face {
            hash.update(v.to_le_bytes());
        }
    }
    for edge in &graph.edges {
        hash.update(edge.cost.to_le_bytes());
    }
    for strain in &graph.allowed_strain {
        hash.update(strain.to_le_bytes());
    }
    for &gate in &graph.is_gate {
        hash.update([u8::from(gate)]);
    }
    hash.finalize().into()
}

/// Of numbers in rising order.
fn differences(numbers: &[u32]) -> Vec<u32> {
    let before = std::iter::once(0).chain(numbers.iter().copied());
    numbers.iter().zip(before).map(|(n, b)| n.wrapping_sub(b)).collect()
}

/// The numbers that have these differences; each must be below `most`.
fn sums(differences: &[u32], most: usize) -> Result<Vec<u32>, PlanError> {
    let mut last = 0u32;
    let mut numbers = Vec::with_capacity(differences.len());
    for &d in differences {
        last = last.wrapping_add(d);
        if last as usize >= most {
            return Err(bad("it names a vertex or an edge that is not there"));
        }
        numbers.push(last);
    }
    Ok(numbers)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn differences_give_the_numbers_back_in_any_order() {
        for numbers in [vec![], vec![0, 1, 5, 1000], vec![7, 3, 3, 900, 0]] {
            assert_eq!(sums(&differences(&numbers), 1001).expect("below"), numbers);
        }
        assert!(sums(&[5, 6], 11).is_err());
    }

    #[test]
    fn what_a_trial_asked_for_is_given_back() {
        let mut stretched = vec![Matrix3::identity(); 9];
        stretched[4] = Matrix3::new(2.0, 0.3, 0.1, 0.3, 1.5, 0.2, 0.1, 0.2, 0.9);
        stretched[7] = Matrix3::identity() * 1.25;
        let relief = Relief { stretched, most: 0.4, asked: 12.5 };
        let saved = SavedRelief::of(&relief);
        assert_eq!(saved.at.len(), 2);
        assert_eq!(saved.restored(9).expect("as it was"), relief);
        assert!(saved.restored(7).is_err());
        for (asked, most) in [(f64::NAN, 0.4), (12.5, -1.0)] {
            let none = SavedRelief { asked, most, ..SavedRelief::of(&relief) };
            assert!(none.restored(9).is_err());
        }
    }

    #[test]
    fn bytes_that_are_no_checkpoint_are_refused() {
        for bytes in [&[][..], &[1], &[0xff; 64]] {
            let refused = Checkpoint::from_bytes(bytes).err().expect("refused");
            assert!(matches!(refused, PlanError::Checkpoint { .. }), "{refused}");
        }
    }
}
