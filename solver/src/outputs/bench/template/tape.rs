//! What takes the place of a net for a blanket: heights, and girths as a tape laid level round the rubber reads
//! them.

use crate::mesh::{Point, TriangleMesh};
use crate::outputs::bench::blade::View;
use crate::outputs::bench::blocks::Block;
use crate::outputs::bench::marks::Leaf;
use crate::outputs::whereabouts::Whereabouts;
use crate::plan::{Plan, SheetReport};

/// Directions in which the rubber's reach is looked at. The sum over them is off by no more than 0.01 mm for
/// straight stretches of 300 mm.
const DIRECTIONS: u32 = 360;
/// Greatest distance between the points of the model that are looked at, mm.
const STEP: f64 = 1.0;

/// Table and words.
pub(super) fn blocks(
    model: &TriangleMesh,
    plan: &Plan,
    report: &SheetReport,
    thickness: f64,
    title: &str,
) -> Vec<Block> {
    let places = Whereabouts::new(plan, model);
    let mut blocks = vec![
        Block::Title(title.to_owned()),
        Block::Text(
            "A blanket follows the model: its outside cannot be laid flat, so there is no net at 1:1. In place of \
             it, the places where the blade enters: height above the board, side as on the pictures, and the girth \
             there, as a tape laid level round all of the rubber at that height reads it."
                .to_owned(),
        ),
        Block::Loud(crate::outputs::cautions::CAUTIONS_IN_SHORT.to_owned()),
    ];
    let points = points(model, report);
    let head = [
        ("Station", 0.1),
        ("Height, mm", 0.13),
        ("Girth, mm", 0.13),
        ("Depth, mm", 0.13),
        ("Side", 0.19),
        ("Blade off square to the model; point goes", 0.32),
    ];
    let head: Vec<(String, f64)> = head.map(|(words, share)| (words.to_owned(), share)).to_vec();
    let view = View::new(&report.skin);
    let mut any = false;
    for cut in plan.cuts.iter().filter(|cut| cut.kind.is_from_outside()) {
        for (branch, sheet) in cut.sheets.iter().enumerate() {
            let mut rows = Vec::new();
            for (k, station) in sheet.listed_stations().enumerate() {
                if station.flags.blocked {
                    continue;
                }
                let height = (report.skin.to_mould * station.on_outside).z;
                let seen = places.above_board(&station.on_outside).unwrap_or_default();
                let lean = view.as_ref().and_then(|view| view.lean(station));
                rows.push(vec![
                    (k + 1).to_string(),
                    format!("{height:.0}"),
                    format!("{:.0}", girth(&points, thickness, height)),
                    format!("{:.0}", station.depth),
                    seen.rsplit(", ").next().unwrap_or_default().to_owned(),
                    lean.map_or_else(String::new, |(angle, words)| match words.as_str() {
                        "square" => words,
                        _ => format!("{angle:.0} degrees, {words}"),
                    }),
                ]);
            }
            any |= !rows.is_empty();
            let name = if cut.sheets.len() > 1 {
                format!("Cut {}, branch {}", cut.order, branch + 1)
            } else {
                format!("Cut {}", cut.order)
            };
            blocks.push(Block::Part(name));
            blocks.push(Block::Table { head: head.clone(), rows });
        }
    }
    if !any {
        blocks.push(Block::Loud("This plan has no cut from outside.".to_owned()));
    }
    blocks
}

/// Points on the model's edges in the mould frame, close enough to stand for it.
fn points(model: &TriangleMesh, report: &SheetReport) -> Vec<Point> {
    let place = |v: u32| report.skin.to_mould * model.positions[v as usize];
    let mut points: Vec<Point> = model.positions.iter().map(|p| report.skin.to_mould * p).collect();
    for face in &model.faces {
        for k in 0..3 {
            // Each edge once: its other face runs along it the other way.
            let (a, b) = (face[k], face[(k + 1) % 3]);
            if a < b {
                let (from, to) = (place(a), place(b));
                let steps = ((to - from).norm() / STEP).ceil() as u32;
                points.extend(
                    (1..steps).map(|s| from + (to - from) * (f64::from(s) / f64::from(steps))),
                );
            }
        }
    }
    points
}

/// Girth of what lies at a height within a distance of some points: the length of a taut loop round it, which is
/// its reach summed over all directions (Cauchy 1841; from memory).
fn girth(points: &[Point], thickness: f64, height: f64) -> f64 {
    let discs: Vec<[f64; 3]> = points
        .iter()
        .filter_map(|p| {
            let left = thickness * thickness - (p.z - height) * (p.z - height);
            (left >= 0.0).then(|| [p.x, p.y, left.sqrt()])
        })
        .collect();
    let step = std::f64::consts::TAU / f64::from(DIRECTIONS);
    let reach = |k: u32| {
        let (sin, cos) = (step * f64::from(k)).sin_cos();
        discs.iter().map(|[x, y, r]| x * cos + y * sin + r).fold(f64::NEG_INFINITY, f64::max)
    };
    if discs.is_empty() { 0.0 } else { step * (0..DIRECTIONS).map(reach).sum::<f64>() }
}

/// The leaves one below the other.
pub(super) fn one_leaf(leaves: &[Leaf]) -> Leaf {
    let mut whole = Leaf { size: [0.0, 0.0], marks: Vec::new() };
    for leaf in leaves {
        let by = [0.0, whole.size[1]];
        whole.marks.extend(leaf.marks.iter().map(|mark| mark.moved(by)));
        whole.size = [whole.size[0].max(leaf.size[0]), whole.size[1] + leaf.size[1]];
    }
    whole
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A blanket of 5 mm on an upright rod of 20 mm across, and on a square bar of 30 mm: circles and a rounded
    /// square in closed form, 2 pi 15 and 4 x 30 + 2 pi 5.
    #[test]
    fn girths_are_those_of_round_and_square_bars() {
        let tau = std::f64::consts::TAU;
        let rod: Vec<Point> = (0..720)
            .flat_map(|k| {
                let (sin, cos) = (tau * f64::from(k) / 720.0).sin_cos();
                (0..40).map(move |z| Point::new(10.0 * cos, 10.0 * sin, f64::from(z)))
            })
            .collect();
        assert!((girth(&rod, 5.0, 20.0) - tau * 15.0).abs() < 0.05);
        let bar: Vec<Point> = [[-15.0, -15.0], [15.0, -15.0], [15.0, 15.0], [-15.0, 15.0]]
            .into_iter()
            .flat_map(|[x, y]| (0..40).map(move |z| Point::new(x, y, f64::from(z))))
            .collect();
        assert!((girth(&bar, 5.0, 20.0) - (120.0 + tau * 5.0)).abs() < 0.05);
        assert_eq!(girth(&bar, 5.0, 90.0), 0.0);
    }
}
