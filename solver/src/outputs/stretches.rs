//! Stretches of a cut where its sheet is weak or something is wrong with it: what the page of words
//! and the pictures tell of, so that both tell the same.

use crate::mesh::Point;
use crate::sheets::{Sheet, SheetSettings, Station, StationFlags};

/// What is wrong along a stretch, worst last.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Weakness {
    /// The lesser wedge is below the acceptable angle.
    Thin,
    /// The lesser wedge is below the refused angle.
    Feather,
    /// The blade does not get there.
    Blocked,
}

/// Where the thin lip is, looking along the cut with the outside up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Side {
    Left,
    Right,
}

/// A stretch of a cut with one weakness throughout.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Stretch {
    pub weakness: Weakness,
    pub side: Side,
    /// Distance along the cut where it starts and ends, mm.
    pub from: f64,
    pub to: f64,
    /// Least wedge, degrees.
    pub least_wedge: f64,
    /// The station of that wedge, on the model.
    pub place: Point,
    /// The line along the stretch on the model, from half way to the station before to half way to
    /// the one after.
    pub line: Vec<Point>,
}

impl Stretch {
    pub fn length(&self) -> f64 {
        self.to - self.from
    }
}

/// Wedges are compared within this, degrees: one that is exactly the limit meets it.
const WITHIN: f64 = 1e-6;

pub(super) fn weakness(station: &Station, settings: &SheetSettings) -> Option<Weakness> {
    let least = station.least_wedge();
    if station.flags.blocked {
        Some(Weakness::Blocked)
    } else if station.flags.feather {
        Some(Weakness::Feather)
    } else if least < settings.acceptable_angle - WITHIN {
        Some(Weakness::Thin)
    } else {
        None
    }
}

pub(super) fn weaker_side(station: &Station) -> Side {
    if station.wedge[0] <= station.wedge[1] { Side::Left } else { Side::Right }
}

/// The weak stretches of a sheet, in order along it.
pub(super) fn weak_stretches(sheet: &Sheet, settings: &SheetSettings) -> Vec<Stretch> {
    let stations = &sheet.stations;
    let state = |station: &Station| {
        weakness(station, settings).map(|weakness| (weakness, weaker_side(station)))
    };
    runs(stations, state)
        .into_iter()
        .filter_map(|(range, state)| {
            let (weakness, side) = state?;
            let own = &stations[range.clone()];
            let weakest = own.iter().min_by(|a, b| a.least_wedge().total_cmp(&b.least_wedge()))?;
            let (from, to) = (half_way(stations, range.start), half_way(stations, range.end));
            let mut line = vec![from.1];
            line.extend(own.iter().map(|station| station.on_model));
            line.push(to.1);
            Some(Stretch {
                weakness,
                side,
                from: from.0,
                to: to.0,
                least_wedge: weakest.least_wedge(),
                place: weakest.on_model,
                line,
            })
        })
        .filter(|stretch| stretch.length() > 0.0)
        .collect()
}

/// Stations one after the other that share their flags, with the middle one's place: where a
/// warning goes. Feather edges have a mark of their own.
pub(super) fn flagged(sheet: &Sheet) -> Vec<(StationFlags, Point)> {
    let state = |station: &Station| StationFlags { feather: false, ..station.flags };
    runs(&sheet.stations, state)
        .into_iter()
        .filter(|(_, flags)| *flags != StationFlags::default())
        .map(|(range, flags)| (flags, sheet.stations[(range.start + range.end - 1) / 2].on_model))
        .collect()
}

/// Stations one after the other that share a state.
fn runs<T: PartialEq>(
    stations: &[Station],
    state: impl Fn(&Station) -> T,
) -> Vec<(std::ops::Range<usize>, T)> {
    let mut runs: Vec<(std::ops::Range<usize>, T)> = Vec::new();
    for (index, station) in stations.iter().enumerate() {
        let own = state(station);
        match runs.last_mut() {
            Some((range, last)) if *last == own => range.end = index + 1,
            _ => runs.push((index..index + 1, own)),
        }
    }
    runs
}

/// Half way between station `index` and the one before: distance along the cut, and place.
fn half_way(stations: &[Station], index: usize) -> (f64, Point) {
    let after = &stations[index.min(stations.len() - 1)];
    let before = &stations[index.saturating_sub(1)];
    (0.5 * (before.along + after.along), nalgebra::center(&before.on_model, &after.on_model))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outputs::fixtures::{sheet, station};

    /// Stations 10 mm apart along x: each stands for 10 mm, the first and last for half of it.
    #[test]
    fn stretches_cover_what_their_stations_stand_for() {
        let mut stations: Vec<Station> = (0..6).map(|k| station(10.0 * f64::from(k))).collect();
        stations[1].wedge = [40.0, 140.0];
        stations[2].wedge = [35.0, 145.0];
        stations[3].wedge = [145.0, 35.0];
        stations[5].wedge = [20.0, 160.0];
        stations[5].flags.feather = true;
        let settings = SheetSettings::default();
        let whole = sheet(stations);
        let found = weak_stretches(&whole, &settings);
        let told: Vec<_> = found.iter().map(|s| (s.weakness, s.side, s.from, s.to)).collect();
        assert_eq!(
            told,
            [
                (Weakness::Thin, Side::Left, 5.0, 25.0),
                (Weakness::Thin, Side::Right, 25.0, 35.0),
                (Weakness::Feather, Side::Left, 45.0, 50.0),
            ]
        );
        assert_eq!((found[0].least_wedge, found[0].place.x), (35.0, 20.0));
        assert_eq!(found[0].line.first().map(|p| p.x), Some(5.0));
        assert_eq!(found[0].line.last().map(|p| p.x), Some(25.0));
        // The figures of the plan count the same length.
        let sum: f64 = found.iter().map(Stretch::length).sum();
        let figures = crate::sheets::lip_figures([&whole], &settings);
        assert_eq!((sum, figures.weak_length, figures.feather_length), (35.0, 35.0, 5.0));
    }

    #[test]
    fn a_wedge_that_is_just_acceptable_is_not_weak() {
        let mut exact = station(0.0);
        exact.wedge = [45.0, 135.0];
        assert_eq!(weakness(&exact, &SheetSettings::default()), None);
        exact.wedge = [135.0, 44.9];
        assert_eq!(weakness(&exact, &SheetSettings::default()), Some(Weakness::Thin));
        assert_eq!(weaker_side(&exact), Side::Right);
    }

    #[test]
    fn one_warning_for_a_run_of_flags() {
        let mut stations: Vec<Station> = (0..7).map(|k| station(10.0 * f64::from(k))).collect();
        for k in [1, 2, 3] {
            stations[k].flags.through_board = true;
        }
        stations[5].flags.beyond_blade = true;
        stations[6].flags.feather = true;
        let found = flagged(&sheet(stations));
        assert_eq!(found.len(), 2);
        assert!(found[0].0.through_board && found[0].1.x == 20.0);
        assert!(found[1].0.beyond_blade && found[1].1.x == 50.0);
    }
}
