//! Which stations are shown in section: the worst, and some spread evenly along the cuts.

use crate::mesh::Point;
use crate::plan::{CutKind, Plan};
use crate::sheets::{Sheet, Station};

/// Sections on the picture at most.
pub(in crate::outputs::pictures) const MOST: usize = 6;
/// How many of them are the worst places.
const WORST: usize = 3;
/// Sections of one cut are at least this far apart, mm.
const APART: f64 = 8.0;
/// A station with less than this risk and nothing else wrong is no bad place.
const BAD: f64 = 0.02;

/// A station shown in section.
#[derive(Clone, Copy, Debug)]
pub(in crate::outputs::pictures) struct Chosen<'p> {
    /// Index of the cut in the plan.
    pub cut: usize,
    /// The cut's number in knife order.
    pub order: u32,
    pub kind: CutKind,
    /// Index of the sheet, and whether the cut has several.
    pub branch: usize,
    pub several: bool,
    pub station: &'p Station,
}

impl Chosen<'_> {
    /// The knife's line from the station outward: to the outside, or, as rulings across a bridge end
    /// anywhere, a piece `stub` mm long of one into the hole.
    pub(super) fn line(&self, stub: f64) -> Vec<Point> {
        let station = self.station;
        let mut line = vec![station.on_model];
        if self.kind == CutKind::Bridge {
            line.push(station.on_model + station.direction * stub.min(station.depth));
        } else {
            line.extend(station.turn);
            line.push(station.on_outside);
        }
        line
    }

    /// How bad it is: what the knife cannot do counts before thin lips.
    fn badness(&self) -> f64 {
        let flags = self.station.flags;
        let cannot = flags.blocked || flags.beyond_blade || flags.too_sharp;
        self.station.risk + if cannot { 1.0 } else { 0.0 }
    }

    fn is_near(&self, other: &Self) -> bool {
        self.cut == other.cut && (self.station.on_model - other.station.on_model).norm() < APART
    }
}

/// The stations to show, in the order of the knife and along each cut.
pub(in crate::outputs::pictures) fn choose(plan: &Plan) -> Vec<Chosen<'_>> {
    let mut all = Vec::new();
    let mut evenly = Vec::new();
    for (cut, its) in plan.cuts.iter().enumerate() {
        let several = its.sheets.len() > 1;
        for (branch, sheet) in its.sheets.iter().enumerate() {
            let chosen = |station| Chosen {
                cut,
                order: its.order,
                kind: its.kind,
                branch,
                several,
                station,
            };
            all.extend(sheet.stations.iter().map(chosen));
            evenly.extend(inner(sheet).map(chosen));
        }
    }
    let mut found: Vec<Chosen> = Vec::new();
    let mut by_badness: Vec<&Chosen> = all.iter().filter(|c| c.badness() > BAD).collect();
    // Sorting keeps the order of the knife among equals.
    by_badness.sort_by(|a, b| b.badness().total_cmp(&a.badness()));
    for candidate in by_badness {
        if found.len() < WORST && !found.iter().any(|other| other.is_near(candidate)) {
            found.push(*candidate);
        }
    }
    // Through the listed stations of all cuts in even steps, then through what is left.
    let room = MOST - found.len();
    let steps = (0..room).map(|k| (2 * k + 1) * evenly.len() / (2 * room));
    for index in steps.chain(0..evenly.len()) {
        let Some(candidate) = evenly.get(index) else { continue };
        if found.len() < MOST && !found.iter().any(|other| other.is_near(candidate)) {
            found.push(*candidate);
        }
    }
    found.sort_by(|a, b| {
        (a.cut, a.branch).cmp(&(b.cut, b.branch)).then(a.station.along.total_cmp(&b.station.along))
    });
    found
}

/// Listed stations but for the ends, where the sheet shows half of itself; all where there are no
/// others.
fn inner(sheet: &Sheet) -> impl Iterator<Item = &Station> {
    let count = sheet.listed.len();
    let ends = usize::from(count > 2);
    sheet.listed_stations().skip(ends).take(count - 2 * ends)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outputs::fixtures::{cut, empty_plan, sheet, station};
    use crate::plan::Cut;

    fn plan(stations: Vec<Station>) -> Plan {
        let line = vec![Point::origin(), Point::new(200.0, 0.0, 0.0)];
        let mut plan = empty_plan();
        plan.cuts = vec![Cut { sheets: vec![sheet(stations)], ..cut(1, CutKind::Separate, line) }];
        plan
    }

    fn places(plan: &Plan) -> Vec<f64> {
        choose(plan).iter().map(|chosen| chosen.station.along).collect()
    }

    #[test]
    fn a_sound_cut_is_shown_in_even_steps() {
        let plan = plan((0..=20).map(|k| station(10.0 * f64::from(k))).collect());
        let places = places(&plan);
        assert_eq!(places.len(), MOST);
        let steps: Vec<f64> = places.windows(2).map(|pair| pair[1] - pair[0]).collect();
        assert!(steps.iter().all(|step| (30.0..=40.0).contains(step)), "{places:?}");
        assert!(places[0] >= 10.0 && places[5] <= 190.0, "{places:?}");
    }

    #[test]
    fn the_worst_places_come_first() {
        let mut stations: Vec<Station> = (0..=20).map(|k| station(10.0 * f64::from(k))).collect();
        stations[7].risk = 0.9;
        stations[8].risk = 0.8;
        stations[3].flags.blocked = true;
        stations[0].risk = 0.1;
        let places = places(&plan(stations));
        for worst in [70.0, 80.0, 30.0] {
            assert!(places.contains(&worst), "{worst} is not in {places:?}");
        }
        assert!(!places.contains(&0.0), "{places:?}");
    }

    #[test]
    fn a_short_cut_has_no_section_twice() {
        let plan = plan((0..4).map(|k| station(3.0 * f64::from(k))).collect());
        assert_eq!(places(&plan).len(), 1);
        assert!(choose(&empty_plan()).is_empty());
    }
}
