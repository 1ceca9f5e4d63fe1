//! Near-bridges: rings of the model that all but close, and how thin the rubber is in their gaps.

use crate::field::{Saddle, SaddleDisc, SaddleKind};
use crate::mesh::{Point, SurfaceLocator, Vector};

/// Rubber in a gap is told of up to this thickness, mm. Thicker webs are strong enough to be
/// treated like any other rubber. Common practice, no source.
pub(super) const THIN: f64 = 6.0;
/// A gap is a near-bridge's when the ring it is in is at least this many times as wide: otherwise
/// the way through the gap is no narrower than the hole.
const RING_OVER_GAP: f64 = 2.0;
/// Least share of the potential in the middle of the ring that is lost on the way to its gap. One
/// half says: seen from inside, the gap is closer to closed than to open. No source.
const LEAST_SHARE: f64 = 0.5;
/// Steps to the thinnest place of a gap, at most.
const STEPS: usize = 60;
/// Steps shorter than this lead nowhere, mm.
const SMALLEST_STEP: f64 = 0.01;
/// Distance off the model from which rays start, mm.
const OFF: f64 = 1e-4;

/// A near-bridge in the mould frame.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct NearInMould {
    /// Middle of the ring that the gap all but closes.
    pub ring: Point,
    /// Where the model comes nearest to itself or the board, on either side of the gap.
    pub ends: [Point; 2],
    /// Distance between these, mm.
    pub gap: f64,
    /// Whether the second end lies on the board.
    pub against_board: bool,
    /// Potential in the middle of the ring.
    pub level: f64,
    /// Potential in the middle of the ring less that in the gap.
    pub persistence: f64,
    /// The surface across the ring, from the model to the model and to the gap, where the grid resolves it.
    pub disc: Option<SaddleDisc>,
}

/// The near-bridges among the saddles whose gaps are thin, thinnest first. `model` is the model's
/// surface; on a board z = 0 bounds the rubber as well.
pub(super) fn near_bridges(
    model: &SurfaceLocator,
    saddles: &[Saddle],
    on_board: bool,
) -> Vec<NearInMould> {
    let mut list: Vec<NearInMould> = saddles
        .iter()
        .filter_map(|saddle| {
            let SaddleKind::NearBridge { pass, pass_level, .. } = saddle.kind else { return None };
            let persistence = saddle.level - pass_level;
            if persistence < LEAST_SHARE * saddle.level {
                return None;
            }
            let thinnest = thinnest(model, pass, on_board)?;
            let gap = thinnest.length();
            let ring = 2.0 * model.closest(&saddle.position).distance;
            (gap <= THIN && ring >= RING_OVER_GAP * gap).then_some(NearInMould {
                ring: saddle.position,
                ends: thinnest.ends,
                gap,
                against_board: thinnest.board,
                level: saddle.level,
                persistence,
                disc: saddle.disc.clone().filter(|_| saddle.resolved),
            })
        })
        .collect();
    list.sort_by(|a, b| a.gap.total_cmp(&b.gap));
    list
}

/// Rubber between two places of the model, or between one and the board.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Across {
    ends: [Point; 2],
    /// Outward normals of what lies at the ends.
    normals: [Vector; 2],
    board: bool,
}

impl Across {
    fn length(&self) -> f64 {
        (self.ends[1] - self.ends[0]).norm()
    }

    /// The way along the gap that it gets wider: what the two normals have in common.
    fn widening(&self) -> Option<Vector> {
        let across = (self.ends[1] - self.ends[0]).try_normalize(0.0)?;
        let sum = self.normals[0] + self.normals[1];
        (sum - across * sum.dot(&across)).try_normalize(1e-3)
    }
}

/// The thinnest rubber at a gap, by the model itself, since the grid may be coarser than the gap:
/// downhill along the gap, in steps that are halved where they lead no further.
fn thinnest(model: &SurfaceLocator, pass: Point, on_board: bool) -> Option<Across> {
    let mut best = across(model, pass, on_board)?;
    let mut step = 0.5 * best.length();
    for _ in 0..STEPS {
        let Some(widening) = best.widening().filter(|_| step > SMALLEST_STEP) else { break };
        let middle = nalgebra::center(&best.ends[0], &best.ends[1]);
        match across(model, middle - widening * step, on_board) {
            Some(next) if next.length() < best.length() => best = next,
            _ => step *= 0.5,
        }
    }
    Some(best)
}

/// From the skin nearest to a point straight across to what lies opposite.
fn across(model: &SurfaceLocator, at: Point, on_board: bool) -> Option<Across> {
    let near = model.closest(&at);
    let away = at - near.point;
    // A pass in a gap finer than the grid may lie within the model.
    let outside = away.dot(&near.normal) > 0.0;
    let way = away.try_normalize(OFF).filter(|_| outside).unwrap_or(near.normal);
    let reach = 4.0 * THIN;
    let hit = model.ray(&(near.point + way * OFF), &way, reach);
    let down = (on_board && way.z < 0.0).then(|| -near.point.z / way.z).filter(|d| *d > 0.0);
    let (end, normal, board) = match (hit, down) {
        (Some(hit), down) if down.is_none_or(|d| hit.distance <= d) => {
            (hit.point, hit.normal, false)
        }
        (_, Some(d)) if d <= reach => (near.point + way * d, Vector::z(), true),
        _ => return None,
    };
    Some(Across { ends: [near.point, end], normals: [near.normal, normal], board })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::TriangleMesh;
    use crate::mesh::fixtures::{cuboid, icosphere, moved};

    fn both(mut a: TriangleMesh, b: TriangleMesh) -> SurfaceLocator {
        let first = a.positions.len() as u32;
        a.positions.extend(b.positions);
        a.faces.extend(b.faces.iter().map(|f| f.map(|v| v + first)));
        SurfaceLocator::new(&a).expect("a surface")
    }

    /// Two balls come nearest on the line between their middles, wherever the search starts.
    #[test]
    fn the_thinnest_place_between_balls_is_on_the_line_of_middles() {
        let model = both(
            moved(&icosphere(10.0, 5), [0.0, 0.0, 30.0]),
            moved(&icosphere(10.0, 5), [22.0, 0.0, 30.0]),
        );
        for off in [0.0, 1.0, 2.5] {
            let start = Point::new(11.0 + 0.3 * off, off, 30.0);
            let gap = thinnest(&model, start, true).expect("a gap");
            // Facets lie up to 0.02 mm within the balls.
            assert!(!gap.board && (gap.length() - 2.0).abs() < 0.05, "{off}: {gap:?}");
        }
    }

    /// A block 1.5 mm over the board: the board lies opposite, and only where there is one.
    #[test]
    fn the_board_counts_as_the_other_side() {
        let block = SurfaceLocator::new(&moved(&cuboid([20.0, 20.0, 10.0]), [0.0, 0.0, 1.5]))
            .expect("a surface");
        let start = Point::new(9.0, 11.0, 0.0);
        let gap = thinnest(&block, start, true).expect("a gap");
        let heights = gap.ends.map(|p| p.z);
        assert!(gap.board && (heights[0] - 1.5).abs() < 1e-9 && heights[1].abs() < 1e-9, "{gap:?}");
        assert_eq!(thinnest(&block, start, false), None);
    }
}
