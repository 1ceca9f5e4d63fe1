//! The line between the parts of a blanket's shell, for who has to draw it on the rubber: places along it, and the
//! blanket's outside that it runs on.

use crate::advice::Shell;
use crate::body::{Outside, blanket_outside};
use crate::mesh::{Point, SurfaceLocator, TriangleMesh, point_along, polyline_length};
use crate::plan::{Plan, SheetReport};

/// Places along the line are this far apart, mm, and further where there would be more than so many on a piece of it.
const APART: f64 = 20.0;
const MOST: f64 = 16.0;

/// A place on the line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct PartingStation {
    /// 1, 2, 3 over all pieces of the line.
    pub number: u32,
    /// Which piece, from 0.
    pub piece: usize,
    /// Distance along that piece, mm.
    pub along: f64,
    /// In the model's coordinates.
    pub at: Point,
}

/// The shell of a plan, if the line between its parts is known.
pub(super) fn shell_of(plan: &Plan) -> Option<&Shell> {
    plan.advice.as_ref()?.shell.as_ref().filter(|shell| !shell.lines.is_empty())
}

/// Places along the line, from one end of each piece to the other.
pub(super) fn stations(shell: &Shell) -> Vec<PartingStation> {
    let mut all = Vec::new();
    for (piece, line) in shell.lines.iter().enumerate().filter(|(_, l)| !l.points.is_empty()) {
        let length = polyline_length(&line.points);
        // In whole fives, so that a tape can be laid along.
        let step = ((length / MOST).max(APART) / 5.0).ceil() * 5.0;
        let mut places: Vec<f64> =
            (0u32..).map(|k| step * f64::from(k)).take_while(|along| *along < length).collect();
        if !line.closed {
            // The end takes the place of one just before it.
            if places.len() > 1 && places.last().is_some_and(|last| length - last < 0.5 * step) {
                places.pop();
            }
            places.push(length);
        }
        for along in places {
            let number = all.len() as u32 + 1;
            all.push(PartingStation { number, piece, along, at: point_along(&line.points, along) });
        }
    }
    all
}

/// The outside of a blanket in the model's coordinates; `None` for another mould.
pub(super) fn outside(model: &TriangleMesh, report: &SheetReport) -> Option<TriangleMesh> {
    let Outside::Offset { thickness, .. } = report.skin.outside else { return None };
    let to_mould = report.skin.to_mould;
    let placed = model.moved(&to_mould);
    let locator = SurfaceLocator::new(&placed).ok()?;
    let outside = blanket_outside(&placed, &locator, thickness)?;
    Some(outside.mesh.moved(&to_mould.inverse()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::advice::PartingLine;
    use crate::outputs::fixtures::ball_shell;

    fn shell(lines: Vec<PartingLine>) -> Shell {
        Shell { lines, ..ball_shell() }
    }

    /// 64 mm and back from an end: 0, 20, 40, 64, for 60 is nearer to 64 than half of a step; a ring of 64 begins once.
    #[test]
    fn places_go_from_end_to_end() {
        let at = |x: f64| Point::new(x, 0.0, 0.0);
        let open = PartingLine { points: vec![at(0.0), at(64.0)], closed: false, parts: [0, 1] };
        let ring =
            PartingLine { points: vec![at(0.0), at(32.0), at(0.0)], closed: true, parts: [0, 1] };
        let all = stations(&shell(vec![open, ring]));
        let along: Vec<(u32, usize, f64)> =
            all.iter().map(|s| (s.number, s.piece, s.along)).collect();
        assert_eq!(
            along,
            [
                (1, 0, 0.0),
                (2, 0, 20.0),
                (3, 0, 40.0),
                (4, 0, 64.0),
                (5, 1, 0.0),
                (6, 1, 20.0),
                (7, 1, 40.0),
                (8, 1, 60.0)
            ]
        );
        assert_eq!(all[2].at, at(40.0));
        assert_eq!(all[6].at, at(24.0));
        assert!(stations(&shell(Vec::new())).is_empty());
    }

    /// 400 mm are too many places at 20 mm: every 25.
    #[test]
    fn long_lines_have_their_places_further_apart() {
        let points = vec![Point::origin(), Point::new(400.0, 0.0, 0.0)];
        let all = stations(&shell(vec![PartingLine { points, closed: false, parts: [0, 1] }]));
        assert_eq!((all.len(), all[1].along), (17, 25.0));
    }
}
