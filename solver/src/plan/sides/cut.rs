//! A cut between two sides, and the first ones of a view.

use super::pattern::{Pattern, Piece, exterior_paths, whole};
use crate::mesh::Point;
use crate::sides::PartingSheet;

/// Hinge of the first cuts, as a share of the path that it lies on; never less than is asked for. Like the numbers below tried
/// on demo pieces and open meshes with 60 to 120 s; no source.
pub(super) const FIRST_HINGE: f64 = 0.08;

/// A cut that passed, or would be the start of one.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Cut {
    pub view: usize,
    pub pattern: Pattern,
    /// What of other views is cut besides, and on which side of the first sheet.
    pub additions: Vec<(usize, Pattern, f64)>,
}

impl Cut {
    pub fn new(view: usize, pattern: Pattern) -> Self {
        Self { view, pattern, additions: Vec::new() }
    }

    /// The same with another pattern.
    pub fn with(&self, pattern: Pattern) -> Self {
        Self { pattern, ..self.clone() }
    }

    /// Length that is cut, mm.
    pub fn length(&self) -> f64 {
        let additions: f64 = self.additions.iter().map(|(_, pattern, _)| pattern.length()).sum();
        // A sum over nothing is -0.0.
        0.0 + self.pattern.length() + additions
    }
}

/// How a cut failed.
#[derive(Clone, Debug)]
pub(super) struct Failure {
    pub cut: Cut,
    /// Where the model was held.
    pub place: Point,
    /// See `TrialReport::progress`.
    pub progress: f64,
}

/// The longest piece that is cut all the way to the outside.
pub(super) fn longest(pattern: &Pattern) -> Option<Piece> {
    let through = pattern.pieces.iter().copied().filter(Piece::is_through);
    through.max_by(|a, b| a.length().total_cmp(&b.length()))
}

/// A pattern whose hinges fold: what it leaves of the border is cut too, but for a `skin` at the outside, mm.
pub(super) fn folding(sheet: &PartingSheet, pattern: &Pattern, skin: f64) -> Pattern {
    let mut pieces = pattern.pieces.clone();
    for (path, length, _) in exterior_paths(sheet) {
        let mut left =
            Pattern { pieces: vec![Piece { path, from: 0.0, to: length, short_of: skin }] };
        for piece in pattern.pieces.iter().filter(|piece| piece.path == path) {
            left = left.without(path, piece.from, piece.to, 1e-6);
        }
        pieces.extend(left.pieces);
    }
    Pattern { pieces }
}

/// All of the border but one hinge, a `share` of it and at least `hinge` mm wide, on its longest path: at one end, at
/// the other, in the middle; on a closed path at its lowest point, at its highest, and half way.
pub(super) fn first_patterns(sheet: &PartingSheet, share: f64, hinge: f64) -> Vec<Pattern> {
    let all = whole(sheet);
    let Some(&(path, length, closed)) = exterior_paths(sheet).first() else { return Vec::new() };
    let width = (share * length).max(hinge).min(0.5 * length);
    let without = |from: f64, to: f64| all.without(path, from, to, 1e-6);
    if !closed {
        let middle = 0.5 * (length - width);
        return vec![
            without(length - width, length),
            without(0.0, width),
            without(middle, middle + width),
        ];
    }
    let points = &sheet.border.paths[path as usize].points;
    let mut along = 0.0;
    let mut heights = Vec::with_capacity(points.len());
    for pair in points.windows(2) {
        heights.push((pair[0].z, along));
        along += (pair[1] - pair[0]).norm();
    }
    let by_height = |a: &&(f64, f64), b: &&(f64, f64)| a.0.total_cmp(&b.0);
    let low = heights.iter().min_by(by_height).map_or(0.0, |h| h.1);
    let high = heights.iter().max_by(by_height).map_or(0.0, |h| h.1);
    let between = (0.5 * (low + high)).rem_euclid(length);
    [low, high, between]
        .into_iter()
        .map(|middle| {
            let from = (middle - 0.5 * width).rem_euclid(length);
            let to = from + width;
            let part = all.without(path, from, to.min(length), 1e-6);
            if to > length { part.without(path, 0.0, to - length, 1e-6) } else { part }
        })
        .collect()
}
