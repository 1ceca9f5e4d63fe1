//! Critical cells and their pairs against the whole boundary matrix.

use std::collections::BTreeMap;

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

use super::shapes::{between, solved, sphere, torus};
use crate::control::Control;
use crate::field::morse::MorseComplex;
use crate::field::{Place, Potential};

/// A potential that is no potential: random values on the rubber of a torus in a ball. `steps` many
/// different ones, so that ties are met too.
fn noise(seed: u64, steps: u32) -> Potential {
    let domain = between(torus(5.0, 1.6), sphere([0.0; 3], 8.0), [-8.0; 3], [8.0; 3], false);
    let mut field = solved(&domain, 1.1);
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    for (value, place) in field.values.iter_mut().zip(&field.places) {
        if *place == Place::Rubber {
            *value = f64::from(random.random_range(0..steps)) / f64::from(steps);
        }
    }
    field
}

/// Levels of birth and death of the loops of the rubber relative to the model, those that live for a
/// while; and the number of 2-cells that neither end a loop nor shut a hollow that is filled later.
/// By reducing the boundary matrix of all cells.
fn by_the_whole_matrix(field: &Potential) -> (Vec<(f64, f64)>, usize) {
    let grid = field.grid;
    let size = grid.counts.map(|n| 2 * n - 1);
    // Cells in doubled coordinates with their level, highest node and dimension.
    let mut cells: Vec<(f64, usize, usize, [usize; 3])> = Vec::new();
    for z in 0..size[2] {
        for y in 0..size[1] {
            for x in 0..size[0] {
                let at = [x, y, z];
                let mut top: Option<(f64, usize)> = None;
                let mut is_cell = true;
                for corner in 0..8 {
                    let node = [0, 1, 2].map(|w| (at[w] + (corner >> w & 1) * (at[w] % 2)) / 2);
                    let index = grid.index(node);
                    match field.places[index] {
                        Place::Outside => is_cell = false,
                        Place::Model | Place::Gap => {}
                        Place::Rubber => {
                            let key = (field.values[index], index);
                            if top.is_none_or(|t| t < key) {
                                top = Some(key);
                            }
                        }
                    }
                }
                if let (true, Some((level, node))) = (is_cell, top) {
                    let dimension = at.iter().filter(|&&c| c % 2 == 1).count();
                    cells.push((level, node, dimension, at));
                }
            }
        }
    }
    cells.sort_by(|a, b| a.partial_cmp(b).expect("numbers"));
    let rank: BTreeMap<[usize; 3], usize> =
        cells.iter().enumerate().map(|(n, c)| (c.3, n)).collect();
    let mut kept: BTreeMap<usize, (usize, Vec<usize>)> = BTreeMap::new();
    let mut empty = Vec::new();
    for (n, cell) in cells.iter().enumerate() {
        let mut column: Vec<usize> = Vec::new();
        for w in (0..3).filter(|&w| cell.3[w] % 2 == 1) {
            for beside in [cell.3[w] - 1, cell.3[w] + 1] {
                let mut at = cell.3;
                at[w] = beside;
                column.extend(rank.get(&at));
            }
        }
        column.sort_unstable();
        loop {
            let Some(&last) = column.last() else {
                empty.push(n);
                break;
            };
            let Some((_, other)) = kept.get(&last) else {
                kept.insert(last, (n, column));
                break;
            };
            let mut sum: Vec<usize> = column.iter().chain(other).copied().collect();
            sum.sort_unstable();
            column = sum.chunk_by(|a, b| a == b).filter(|c| c.len() == 1).map(|c| c[0]).collect();
        }
    }
    let mut loops: Vec<(f64, f64)> = kept
        .iter()
        .filter(|&(&birth, _)| cells[birth].2 == 1)
        .map(|(&birth, &(death, _))| (cells[birth].0, cells[death].0))
        .filter(|(birth, death)| birth < death)
        .collect();
    loops.sort_by(|a, b| a.partial_cmp(b).expect("numbers"));
    let lasting = empty.iter().filter(|&&n| cells[n].2 == 2 && !kept.contains_key(&n)).count();
    (loops, lasting)
}

#[test]
fn pairs_of_noise_are_those_of_the_whole_matrix() {
    for (seed, steps) in [(1, 1 << 30), (2, 1 << 30), (3, 9)] {
        let field = noise(seed, steps);
        let quiet = Control::silent();
        let (complex, critical) = MorseComplex::new(&field, &quiet).expect("a complex");
        let ends = complex.loop_ends(&critical, &quiet).expect("pairs");
        let mut loops: Vec<(f64, f64)> = ends
            .iter()
            .filter_map(|e| Some((e.begin?.level, e.end.level)))
            .filter(|(birth, death)| birth < death)
            .collect();
        loops.sort_by(|a, b| a.partial_cmp(b).expect("numbers"));
        let lasting = ends.iter().filter(|e| e.begin.is_none()).count();
        let expected = by_the_whole_matrix(&field);
        assert!(expected.0.len() > 50, "{}", expected.0.len());
        assert_eq!((loops, lasting), expected, "seed {seed}");
        // The torus in the ball: one loop of the model is closed, whatever the values.
        assert_eq!(lasting, 1);
    }
}

/// Critical cells, with alternating signs, sum up to the Euler characteristic of the body less that
/// of the model: 1 - (1 - handles).
#[test]
fn critical_cells_sum_to_the_euler_characteristic() {
    let ball = || sphere([0.0; 3], 20.0);
    let low = [-20.0; 3];
    let high = [20.0; 3];
    for (model, handles) in [(sphere([1.0, 0.5, 0.2], 9.0), 0), (torus(10.0, 3.5), 1)] {
        let field = solved(&between(model, ball(), low, high, false), 1.0);
        let (_, critical) = MorseComplex::new(&field, &Control::silent()).expect("a complex");
        let sum: i32 = critical.iter().map(|c| if c.index % 2 == 0 { 1 } else { -1 }).sum();
        assert_eq!(sum, handles);
        // A harmonic function has neither hills nor hollows.
        assert!(critical.iter().all(|c| c.index == 1 || c.index == 2));
    }
}
