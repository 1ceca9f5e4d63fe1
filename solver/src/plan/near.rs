//! Near-bridges: rings of the model that all but close, and how thin the rubber is in their gaps.

use crate::field::{Saddle, SaddleKind};
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
/// Steps to the thinnest place of a gap.
const STEPS: usize = 24;
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
            let (ends, against_board) = thinnest(model, pass, on_board)?;
            let gap = (ends[1] - ends[0]).norm();
            let ring = 2.0 * model.closest(&saddle.position).distance;
            (gap <= THIN && ring >= RING_OVER_GAP * gap).then_some(NearInMould {
                ring: saddle.position,
                ends,
                gap,
                against_board,
                level: saddle.level,
                persistence,
            })
        })
        .collect();
    list.sort_by(|a, b| a.gap.total_cmp(&b.gap));
    list
}

/// The thinnest rubber at a gap, by the model itself, since the grid may be coarser than the gap:
/// from the skin nearest to a point straight across to what lies opposite, again from the middle
/// of that. The second value says whether it is the board that lies opposite.
fn thinnest(model: &SurfaceLocator, pass: Point, on_board: bool) -> Option<([Point; 2], bool)> {
    let mut middle = pass;
    let mut best: Option<([Point; 2], bool)> = None;
    for _ in 0..STEPS {
        let near = model.closest(&middle);
        let away = middle - near.point;
        // A pass in a gap finer than the grid may lie within the model.
        let outside = away.dot(&near.normal) > 0.0;
        let across =
            if outside { away.try_normalize(OFF).unwrap_or(near.normal) } else { near.normal };
        let Some((end, board)) = opposite(model, near.point, across, on_board) else { break };
        let length = (end - near.point).norm();
        let shorter = best.is_none_or(|(ends, _)| length < (ends[1] - ends[0]).norm());
        if shorter {
            best = Some(([near.point, end], board));
        }
        let next = nalgebra::center(&near.point, &end);
        if (next - middle).norm() < OFF {
            break;
        }
        middle = next;
    }
    best
}

/// What lies opposite a point of the model: the model again, or the board.
fn opposite(
    model: &SurfaceLocator,
    from: Point,
    across: Vector,
    on_board: bool,
) -> Option<(Point, bool)> {
    let reach = 4.0 * THIN;
    let hit = model.ray(&(from + across * OFF), &across, reach).map(|h| (h.point, h.distance));
    let down = (on_board && across.z < 0.0).then(|| -from.z / across.z).filter(|d| *d > 0.0);
    match (hit, down) {
        (Some((point, distance)), board) if board.is_none_or(|d| distance <= d) => {
            Some((point, false))
        }
        (_, Some(distance)) if distance <= reach => Some((from + across * distance, true)),
        _ => None,
    }
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
            let (ends, board) = thinnest(&model, start, true).expect("a gap");
            assert!(!board);
            // Facets lie up to 0.02 mm within the balls.
            assert!(((ends[1] - ends[0]).norm() - 2.0).abs() < 0.06, "{off}: {ends:?}");
        }
    }

    /// A block 1.5 mm over the board: the board lies opposite, and only where there is one.
    #[test]
    fn the_board_counts_as_the_other_side() {
        let block = SurfaceLocator::new(&moved(&cuboid([20.0, 20.0, 10.0]), [0.0, 0.0, 1.5]))
            .expect("a surface");
        let start = Point::new(9.0, 11.0, 0.0);
        let (ends, board) = thinnest(&block, start, true).expect("a gap");
        assert!(board && (ends[0].z - 1.5).abs() < 1e-9 && ends[1].z.abs() < 1e-9, "{ends:?}");
        assert_eq!(thinnest(&block, start, false), None);
    }
}
