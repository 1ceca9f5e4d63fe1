//! Which pieces of a border are cut.

use serde::{Deserialize, Serialize};

use crate::mesh::{Point, point_along};
use crate::sides::{Border, PartKind, PartingSheet, SheetPlace};

/// A piece of a path of the border, mm along it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(in crate::plan) struct Piece {
    pub path: u32,
    pub from: f64,
    pub to: f64,
    /// How far short of the outside the cut ends, mm: 0 where it runs all the way, else the skin that is left as a hinge.
    pub short_of: f64,
}

impl Piece {
    /// Length, mm.
    pub(in crate::plan) fn length(&self) -> f64 {
        self.to - self.from
    }

    /// Whether it runs all the way to the outside.
    pub(in crate::plan) fn is_through(&self) -> bool {
        self.short_of == 0.0
    }

    /// Whether a place of the sheet lies on it.
    pub(in crate::plan) fn holds(&self, place: &SheetPlace) -> bool {
        let border = &place.border;
        let is_on = border.path == self.path && (self.from..=self.to).contains(&border.along);
        is_on && (self.is_through() || place.below_outside >= self.short_of)
    }
}

/// The pieces that are cut, in order along their paths.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(in crate::plan) struct Pattern {
    pub pieces: Vec<Piece>,
}

impl Pattern {
    /// Whether a place of the sheet is cut.
    pub(in crate::plan) fn is_cut(&self, place: &SheetPlace) -> bool {
        self.pieces.iter().any(|piece| piece.holds(place))
    }

    /// Length that is cut, mm.
    pub(in crate::plan) fn length(&self) -> f64 {
        self.pieces.iter().map(Piece::length).sum()
    }

    /// Whether all pieces lie on paths of a border.
    pub(in crate::plan) fn lies_on(&self, border: &Border) -> bool {
        self.pieces.iter().all(|piece| {
            let path = border.paths.get(piece.path as usize);
            let is_on =
                |along: f64| path.is_some_and(|p| (0.0..=p.length() + 1e-6).contains(&along));
            let is_along = is_on(piece.from) && is_on(piece.to) && piece.from <= piece.to;
            is_along && (0.0..f64::MAX).contains(&piece.short_of)
        })
    }

    /// The same without what is cut behind hinges.
    pub(in crate::plan) fn unfolding(&self) -> Self {
        Self { pieces: self.pieces.iter().copied().filter(Piece::is_through).collect() }
    }

    /// Whether a hinge behind which the rubber is cut lies at one end of a piece.
    pub(in crate::plan) fn folds_at(&self, path: u32, along: f64) -> bool {
        let near = |end: f64| (end - along).abs() < 1e-6;
        self.pieces
            .iter()
            .any(|own| !own.is_through() && own.path == path && (near(own.from) || near(own.to)))
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
                (None, true) => open = Some(Piece { path, from: along, to: along, short_of: 0.0 }),
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
    let piece = |(path, to, _)| Piece { path, from: 0.0, to, short_of: 0.0 };
    Pattern { pieces: exterior_paths(sheet).into_iter().map(piece).collect() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sides::{BorderPath, BorderPlace};

    fn pattern(pieces: &[(u32, f64, f64)]) -> Pattern {
        let piece = |&(path, from, to): &(u32, f64, f64)| Piece { path, from, to, short_of: 0.0 };
        Pattern { pieces: pieces.iter().map(piece).collect() }
    }

    #[test]
    fn only_pieces_of_a_border_lie_on_it() {
        let points = [0.0, 30.0, 100.0].map(|x| Point::new(x, 0.0, 0.0)).to_vec();
        let border =
            Border { level: Vec::new(), paths: vec![BorderPath { points, closed: false }] };
        assert!(pattern(&[(0, 0.0, 20.0), (0, 40.0, 100.0)]).lies_on(&border));
        for (path, from, to) in [
            (1, 0.0, 20.0),
            (0, -1.0, 20.0),
            (0, 40.0, 101.0),
            (0, 40.0, 20.0),
            (0, f64::NAN, 20.0),
            (0, 0.0, f64::INFINITY),
        ] {
            assert!(!pattern(&[(path, from, to)]).lies_on(&border), "{path} {from} {to}");
        }
        let skin = Piece { path: 0, from: 0.0, to: 20.0, short_of: f64::NAN };
        assert!(!Pattern { pieces: vec![skin] }.lies_on(&border));
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
        let at = |along: f64, below_outside: f64| SheetPlace {
            border: BorderPlace { path: 0, along },
            below_outside,
        };
        assert!(parted.is_cut(&at(60.0, 3.0)));
        assert!(!parted.is_cut(&at(40.0, 3.0)));
        // Behind a skin of 12 mm the same hinge is cut from within.
        let skin = Piece { path: 0, from: 30.0, to: 50.0, short_of: 12.0 };
        let folds = Pattern { pieces: parted.pieces.iter().copied().chain([skin]).collect() };
        assert!(folds.is_cut(&at(40.0, 13.0)) && !folds.is_cut(&at(40.0, 11.0)));
    }
}
