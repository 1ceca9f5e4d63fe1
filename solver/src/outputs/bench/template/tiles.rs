//! A large leaf on several of a printer's: they overlap, and marks tell how to lay one on another.

use crate::outputs::bench::Paper;
use crate::outputs::bench::marks::{Leaf, Mark, check_line};
use crate::outputs::cautions::CAUTIONS_IN_SHORT;

use super::labels::broken;

/// Paper that printers leave white, and room for the foot, mm.
const MARGIN: f64 = 12.0;
const FOOT: f64 = 34.0;
/// What two leaves have in common, mm.
const OVERLAP: f64 = 10.0;

/// The leaves, row by row. Those on which nothing is drawn are left out.
pub(super) fn leaves(whole: &Leaf, paper: Paper, title: &str) -> Vec<Leaf> {
    let [w, h] = paper.size();
    let shapes = [[w, h], [h, w]].map(|size| (size, all(whole, size)));
    let fewest = shapes.into_iter().min_by_key(|(_, tiles)| tiles.len());
    let Some((size, tiles)) = fewest else { return Vec::new() };
    let count = tiles.len();
    let number = |column: usize, row: usize| {
        tiles.iter().position(|tile| (tile.column, tile.row) == (column, row)).map(|k| k + 1)
    };
    let mut leaves = Vec::new();
    for (k, tile) in tiles.iter().enumerate() {
        let [x, y, w, h] = tile.window;
        let by = [MARGIN - x, MARGIN - y];
        let window = [MARGIN, MARGIN, w, h];
        let seen = tile.marks.iter().map(|&k| whole.marks[k].moved(by)).collect();
        let mut marks = vec![Mark::Within { window, marks: seen }];
        marks.extend(overlaps(tile, window, &number));
        let place =
            format!("Leaf {} of {count}: row {}, column {}", k + 1, tile.row + 1, tile.column + 1);
        marks.extend(foot(size, &place, title));
        leaves.push(Leaf { size, marks });
    }
    leaves
}

/// A part of the whole.
struct Tile {
    column: usize,
    row: usize,
    /// Left, top, width, height on the whole, mm.
    window: [f64; 4],
    /// Marks of the whole that reach into it.
    marks: Vec<usize>,
}

fn all(whole: &Leaf, [width, height]: [f64; 2]) -> Vec<Tile> {
    let window = [width - 2.0 * MARGIN, height - MARGIN - FOOT];
    let steps = window.map(|side| side - OVERLAP);
    let count = |k: usize| ((whole.size[k] - OVERLAP) / steps[k]).ceil().max(1.0) as usize;
    let mut tiles = Vec::new();
    for row in 0..count(1) {
        for column in 0..count(0) {
            let (x, y) = (column as f64 * steps[0], row as f64 * steps[1]);
            let [w, h] = window;
            let reaches = |mark: &Mark| {
                let [a, b, c, d] = mark.bounds();
                a <= x + w && c >= x && b <= y + h && d >= y
            };
            let seen = whole.marks.iter().enumerate().filter(|(_, mark)| reaches(mark));
            let marks: Vec<usize> = seen.map(|(k, _)| k).collect();
            if !marks.is_empty() {
                tiles.push(Tile { column, row, window: [x, y, w, h], marks });
            }
        }
    }
    tiles
}

/// Lines along which neighbours are laid on one another: each leaf has both edges of what it shares with the next.
fn overlaps(
    tile: &Tile,
    [x, y, w, h]: [f64; 4],
    number: &impl Fn(usize, usize) -> Option<usize>,
) -> Vec<Mark> {
    let (column, row) = (tile.column, tile.row);
    let before = |k: usize| k.checked_sub(1);
    let sides = [
        (before(column).and_then(|c| number(c, row)), [[x + OVERLAP, y], [x + OVERLAP, y + h]]),
        (number(column + 1, row), [[x + w - OVERLAP, y], [x + w - OVERLAP, y + h]]),
        (before(row).and_then(|r| number(column, r)), [[x, y + OVERLAP], [x + w, y + OVERLAP]]),
        (number(column, row + 1), [[x, y + h - OVERLAP], [x + w, y + h - OVERLAP]]),
    ];
    let mut marks = Vec::new();
    let frame = vec![[x, y], [x + w, y], [x + w, y + h], [x, y + h], [x, y]];
    marks.push(Mark::Line {
        name: "edge".to_owned(),
        points: frame,
        width: 0.15,
        dash: None,
        grey: true,
    });
    for (side, (other, [from, to])) in sides.into_iter().enumerate() {
        let Some(other) = other else { continue };
        let points = vec![from, to];
        marks.push(Mark::Line {
            name: "overlap".to_owned(),
            points,
            width: 0.15,
            dash: Some(1.5),
            grey: true,
        });
        // Crosses on the line: laid on one another they are one.
        for share in [0.15, 0.5, 0.85] {
            let [px, py] =
                [from[0] + share * (to[0] - from[0]), from[1] + share * (to[1] - from[1])];
            marks.push(Mark::line("cross", vec![[px - 2.5, py], [px + 2.5, py]], 0.2));
            marks.push(Mark::line("cross", vec![[px, py - 2.5], [px, py + 2.5]], 0.2));
        }
        let words = format!("leaf {other} laps up to this line");
        let (at, turn) = match side {
            0 => ([from[0] - 2.0, y + 0.3 * h], -90.0),
            1 => ([from[0] + 4.0, y + 0.3 * h], -90.0),
            2 => ([x + 0.25 * w, from[1] - 2.0], 0.0),
            _ => ([x + 0.25 * w, from[1] + 4.0], 0.0),
        };
        marks.push(Mark::Words { at, size: 2.6, bold: false, turn, text: words });
    }
    marks
}

fn foot([width, height]: [f64; 2], place: &str, title: &str) -> Vec<Mark> {
    let top = height - FOOT + 4.0;
    let mut marks = check_line([MARGIN, top + 3.0]);
    let name: String = title.chars().take(60).collect();
    let mut y = top + 11.0;
    marks.push(Mark::bold([MARGIN, y], 3.4, format!("{place}. {name}")));
    for line in broken(CAUTIONS_IN_SHORT, width - 2.0 * MARGIN, 2.5) {
        y += 3.7;
        marks.push(Mark::words([MARGIN, y], 2.5, line));
    }
    marks
}
