//! The line between the parts of a shell as smooth curves on the blanket's outside.
//!
//! Between two faces of different parts runs an edge of the mesh: these edges make chains, from the board to the board, from
//! where three parts meet, or round. Each point is drawn to the mean of its neighbours and back on to the surface, and stays
//! within half an edge of where it was.

use std::collections::BTreeMap;

use super::parts::{Ground, Parted};
use crate::mesh::{Point, SurfaceLocator};

/// Rounds of smoothing: by then a zigzag of the edges' length is straight.
const ROUNDS: usize = 60;

/// A piece of the line between two parts.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Chain {
    /// Points on the surface in order; a closed one repeats its first.
    pub points: Vec<Point>,
    pub closed: bool,
    /// The parts on either side, the lesser number first.
    pub parts: [u8; 2],
}

/// The line between parts, the longest piece first.
pub(super) fn lines(ground: &Ground<'_>, locator: &SurfaceLocator, parted: &Parted) -> Vec<Chain> {
    let mut chains: Vec<Chain> = chains(ground, parted)
        .into_iter()
        .map(|chain| Chain { points: smoothed(&chain, locator, 0.5 * ground.mean_edge), ..chain })
        .collect();
    let length = |chain: &Chain| crate::mesh::polyline_length(&chain.points);
    chains.sort_by(|a, b| length(b).total_cmp(&length(a)));
    chains
}

/// Chains of edges between faces of different parts, each with the same two parts all along.
fn chains(ground: &Ground<'_>, parted: &Parted) -> Vec<Chain> {
    type Ends = BTreeMap<u32, Vec<u32>>;
    let mut by_parts: BTreeMap<[u8; 2], Ends> = BTreeMap::new();
    for seam in &ground.seams {
        let [a, b] = seam.faces.map(|f| parted.part[f as usize]);
        if a != b {
            let next = by_parts.entry([a.min(b), a.max(b)]).or_default();
            let [from, to] = seam.ends;
            next.entry(from).or_default().push(to);
            next.entry(to).or_default().push(from);
        }
    }
    let mut chains = Vec::new();
    for (parts, mut next) in by_parts {
        // From ends and junctions first; what is left then goes round.
        let open: Vec<u32> = next.iter().filter(|(_, to)| to.len() != 2).map(|(v, _)| *v).collect();
        let all: Vec<u32> = next.keys().copied().collect();
        for start in open.iter().copied().chain(all) {
            while next.get(&start).is_some_and(|to| !to.is_empty()) {
                let mut ring = vec![start];
                let mut at = start;
                while let Some(to) = next.get_mut(&at).and_then(Vec::pop) {
                    if let Some(back) = next.get_mut(&to)
                        && let Some(k) = back.iter().position(|v| *v == at)
                    {
                        back.remove(k);
                    }
                    ring.push(to);
                    at = to;
                    if to == start || open.binary_search(&to).is_ok() {
                        break;
                    }
                }
                let points: Vec<Point> =
                    ring.iter().map(|v| ground.mesh.positions[*v as usize]).collect();
                let closed = ring.len() > 3 && ring[0] == ring[ring.len() - 1];
                chains.push(Chain { points, closed, parts });
            }
        }
    }
    chains
}

fn smoothed(chain: &Chain, locator: &SurfaceLocator, furthest: f64) -> Vec<Point> {
    let given = &chain.points;
    let count = given.len();
    if count < 3 {
        return given.clone();
    }
    let mut points = given.clone();
    for _ in 0..ROUNDS {
        let before = points.clone();
        // The point that a closed chain begins and ends with moves like any other.
        let last = if chain.closed { count - 1 } else { count - 2 };
        for k in 1..=last {
            let ahead = if k + 1 < count { before[k + 1] } else { before[1] };
            let mean = nalgebra::center(&before[k - 1], &ahead);
            let foot = locator.closest(&nalgebra::center(&before[k], &mean)).point;
            let moved = foot - given[k];
            let far = moved.norm();
            points[k] = if far <= furthest {
                foot
            } else {
                locator.closest(&(given[k] + moved * (furthest / far))).point
            };
        }
        if chain.closed {
            points[0] = points[count - 1];
        }
    }
    points
}
