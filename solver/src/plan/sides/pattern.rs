//! Which pieces of a border are cut.

use crate::mesh::{Point, point_along};
use crate::sides::{BorderPlace, PartKind, PartingSheet};

/// A piece of a path of the border, mm along it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(in crate::plan) struct Piece {
    pub path: u32,
    pub from: f64,
    pub to: f64,
}

impl Piece {
    /// Length, mm.
    pub(in crate::plan) fn length(&self) -> f64 {
        self.to - self.from
    }

    /// Whether a place of the border lies on it.
    pub(in crate::plan) fn holds(&self, place: &BorderPlace) -> bool {
        place.path == self.path && place.along >= self.from && place.along <= self.to
    }
}

/// The pieces that are cut, in order along their paths.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::plan) struct Pattern {
    pub pieces: Vec<Piece>,
}

impl Pattern {
    /// Whether a place of the border is cut.
    pub(in crate::plan) fn is_cut(&self, place: &BorderPlace) -> bool {
        self.pieces.iter().any(|piece| piece.holds(place))
    }

    /// Length that is cut, mm.
    pub(in crate::plan) fn length(&self) -> f64 {
        self.pieces.iter().map(Piece::length).sum()
    }

    /// The same with what lies within `from` to `to` of a path left uncut. What is left of a piece that is
    /// shorter than `least` is left uncut too.
    pub(in crate::plan) fn without(&self, path: u32, from: f64, to: f64, least: f64) -> Self {
        let mut pieces = Vec::new();
        for piece in &self.pieces {
            if piece.path != path {
                pieces.push(*piece);
                continue;
            }
            let before = Piece { to: piece.to.min(from), ..*piece };
            let after = Piece { from: piece.from.max(to), ..*piece };
            pieces.extend([before, after].into_iter().filter(|p| p.length() >= least));
        }
        Self { pieces }
    }
}

/// The pieces of a sheet's border that lie where `holds` says, looked at every `step` mm, none shorter than `least` mm.
pub(in crate::plan) fn pieces_where(
    sheet: &PartingSheet,
    step: f64,
    least: f64,
    holds: &dyn Fn(&Point) -> bool,
) -> Pattern {
    let mut pieces = Vec::new();
    for (path, length, _) in exterior_paths(sheet) {
        let points = &sheet.border.paths[path as usize].points;
        let count = (length / step).ceil().max(1.0) as usize;
        let mut open: Option<Piece> = None;
        for k in 0..=count {
            let along = length * k as f64 / count as f64;
            match (&mut open, holds(&point_along(points, along))) {
                (Some(piece), true) => piece.to = along,
                (None, true) => open = Some(Piece { path, from: along, to: along }),
                (_, false) => pieces.extend(open.take()),
            }
        }
        pieces.extend(open);
    }
    pieces.retain(|piece| piece.length() >= least);
    Pattern { pieces }
}

/// The paths of a sheet that run to the outside, longest first, each with its length and whether it closes on
/// itself.
pub(in crate::plan) fn exterior_paths(sheet: &PartingSheet) -> Vec<(u32, f64, bool)> {
    let paths = sheet.border.paths.iter().zip(0u32..);
    paths
        .filter(|&(_, k)| sheet.kind_of(k) == PartKind::Exterior)
        .map(|(path, k)| (k, path.length(), path.closed))
        .collect()
}

/// All of the exterior border.
pub(in crate::plan) fn whole(sheet: &PartingSheet) -> Pattern {
    let pieces = exterior_paths(sheet).into_iter();
    Pattern {
        pieces: pieces.map(|(path, length, _)| Piece { path, from: 0.0, to: length }).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pattern(pieces: &[(u32, f64, f64)]) -> Pattern {
        let piece = |&(path, from, to): &(u32, f64, f64)| Piece { path, from, to };
        Pattern { pieces: pieces.iter().map(piece).collect() }
    }

    #[test]
    fn what_is_left_uncut_parts_pieces_and_leaves_no_scraps() {
        let all = pattern(&[(0, 0.0, 100.0), (1, 0.0, 40.0)]);
        let parted = all.without(0, 30.0, 50.0, 12.0);
        assert_eq!(parted, pattern(&[(0, 0.0, 30.0), (0, 50.0, 100.0), (1, 0.0, 40.0)]));
        assert_eq!(parted.length(), 120.0);
        assert_eq!(all.without(0, 90.0, 100.0, 12.0), pattern(&[(0, 0.0, 90.0), (1, 0.0, 40.0)]));
        // The first 8 mm would be a scrap.
        assert_eq!(all.without(0, 8.0, 20.0, 12.0), pattern(&[(0, 20.0, 100.0), (1, 0.0, 40.0)]));
        assert!(parted.is_cut(&BorderPlace { path: 0, along: 60.0 }));
        assert!(!parted.is_cut(&BorderPlace { path: 0, along: 40.0 }));
    }
}
