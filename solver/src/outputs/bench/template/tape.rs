//! What takes the place of a net for a blanket: heights, and girths as a tape laid level round the rubber reads
//! them.

use crate::mesh::TriangleMesh;
use crate::outputs::bench::blade::View;
use crate::outputs::bench::blocks::Block;
use crate::outputs::bench::marks::Leaf;
use crate::outputs::girths::Girths;
use crate::outputs::whereabouts::whereabouts;
use crate::plan::{Plan, SheetReport};

/// Table and words.
pub(super) fn blocks(
    model: &TriangleMesh,
    plan: &Plan,
    report: &SheetReport,
    thickness: f64,
    title: &str,
) -> Vec<Block> {
    let places = whereabouts(plan, model);
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
    let girths = Girths::new(model, &report.skin.to_mould, thickness);
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
                let lean = view.as_ref().and_then(|view| view.lean(station));
                rows.push(vec![
                    (k + 1).to_string(),
                    format!("{height:.0}"),
                    format!("{:.0}", girths.at(height)),
                    format!("{:.0}", station.depth),
                    places.side(&station.on_outside).unwrap_or_default().to_owned(),
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
