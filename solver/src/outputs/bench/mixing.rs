//! What to see to before the pour, and how much rubber to mix.

use super::blocks::Block;
use crate::body::Outside;
use crate::mesh::{TriangleMesh, polyline_length};
use crate::outputs::advice_words;
use crate::outputs::girths::Girths;
use crate::outputs::parting::{shell_of, stations};
use crate::outputs::pictures::Picture;
use crate::outputs::whereabouts::Whereabouts;
use crate::plan::Plan;

/// Vents, sprue, shell and keys; nothing where the plan has no advice. `shell` shows where a blanket's shell is parted.
pub(super) fn before_the_pour(
    model: &TriangleMesh,
    plan: &Plan,
    places: &Whereabouts,
    shell: Option<Picture>,
) -> Vec<Block> {
    let words = advice_words::of_plan(plan, places);
    if words.is_empty() {
        return Vec::new();
    }
    let mut blocks = vec![Block::Heading("Before you pour".to_owned()), Block::Items(words)];
    blocks.extend(parting_line(model, plan, places, shell));
    blocks
}

/// The line between the parts of a blanket's shell: places along it, and the picture.
pub(super) fn parting_line(
    model: &TriangleMesh,
    plan: &Plan,
    places: &Whereabouts,
    picture: Option<Picture>,
) -> Vec<Block> {
    let (Some(shell), Some(report)) = (shell_of(plan), &plan.sheets) else { return Vec::new() };
    let Outside::Offset { thickness, .. } = report.skin.outside else { return Vec::new() };
    let mut blocks = vec![
        Block::Part("Where the shell is parted".to_owned()),
        Block::Text(
            "Draw the line on the blanket once it has set, through these places, before the shell is laid. Heights are above \
             the board. The girth is what a tape laid level round all of the rubber at that height reads. Round is the turn \
             about the upright through the middle of the model, counter-clockwise seen from above, 0 degrees at the front."
                .to_owned(),
        ),
    ];
    let head = [
        ("Place", 0.09),
        ("Along the line, mm", 0.23),
        ("Height, mm", 0.16),
        ("Girth, mm", 0.15),
        ("Round, degrees", 0.19),
        ("Side", 0.18),
    ]
    .map(|(words, share)| (words.to_owned(), share));
    let girths = Girths::new(model, &report.skin.to_mould, thickness);
    let all = stations(shell);
    for (piece, line) in shell.lines.iter().enumerate() {
        if shell.lines.len() > 1 {
            let parts = line.parts.map(|part| part + 1);
            blocks.push(Block::Text(format!(
                "Piece {}, between part {} and part {}, {:.0} mm{}:",
                piece + 1,
                parts[0],
                parts[1],
                polyline_length(&line.points),
                if line.closed { ", closed on itself" } else { "" }
            )));
        }
        let own = all.iter().filter(|station| station.piece == piece);
        let rows = own.map(|station| {
            let side = places.side(&station.at).unwrap_or_default();
            let whole = |x: f64| format!("{:.0}", x + 0.0);
            // In the middle there is no side, nor a way round.
            let round = if side == "middle" {
                "-".to_owned()
            } else {
                places.round(&station.at).map_or_else(String::new, |angle| whole(angle % 359.5))
            };
            vec![
                station.number.to_string(),
                whole(station.along),
                places.height(&station.at).map_or_else(String::new, |h| whole(h.round())),
                whole(girths.at((report.skin.to_mould * station.at).z)),
                round,
                side.to_owned(),
            ]
        });
        blocks.push(Block::Table { head: head.to_vec(), rows: rows.collect() });
    }
    blocks.extend(picture.map(|picture| Block::picture(picture, true)));
    blocks
}

/// Volume and mass, with a share more for waste.
pub(super) fn rubber(plan: &Plan, waste: f64) -> Vec<Block> {
    let (volume, mass) = (plan.rubber_volume, plan.rubber_mass);
    let more = 1.0 + waste;
    vec![
        Block::Heading("Rubber to mix".to_owned()),
        Block::Loud(format!("Mix {:.0} cm^3, {:.0} g.", volume * more, mass * more)),
        Block::Items(vec![
            format!(
                "The mould holds {volume:.0} cm^3, {mass:.0} g. {:.0} % more is for waste, what stays in pots \
                 and spills (common practice, no source).",
                100.0 * waste
            ),
            "This is the total of all parts. The request says no mixing ratio: take it from the material's data \
             sheet, and mind whether it is by weight or by volume."
                .to_owned(),
        ]),
    ]
}
