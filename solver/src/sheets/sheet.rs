//! A sheet: the ruled surface that the knife makes from a cut on the model to the outside.

use super::SheetSettings;
use super::choose::bend;
use super::line::Places;
use super::rulings::Ruling;
use super::wedge::{lip_risk, wedges};
use crate::body::ExitSide;
use crate::mesh::{Point, TriangleMesh, Vector};
use serde::{Deserialize, Serialize};

/// What is wrong at a station. All false where all is well.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct StationFlags {
    /// No ruling leads outside: the model is in the way in every direction tried.
    pub blocked: bool,
    /// The ruling is longer than the blade.
    pub beyond_blade: bool,
    /// The ruling leaves through the face on the board.
    pub through_board: bool,
    /// The blade would have to bend more sharply than it can on the way to the next station.
    pub too_sharp: bool,
    /// The lesser wedge is below the refused angle: a feather edge.
    pub feather: bool,
}

/// A ruling of a sheet with what is measured there.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Station {
    /// Distance along the cut from its first station, mm.
    pub along: f64,
    /// Where the blade's point ends up.
    pub on_model: Point,
    /// The surface's unit normal there, smoothed over the reach of the wedges and square to the
    /// cut.
    pub normal: Vector,
    /// Unit direction along the cut.
    pub ahead: Vector,
    /// Where the ruling turns, if it does.
    pub turn: Option<Point>,
    /// Where the blade enters; for a blocked station, where the model stops it.
    pub on_outside: Point,
    /// Length of the ruling, mm.
    pub depth: f64,
    /// Unit direction of the ruling at the model, outward.
    pub direction: Vector,
    /// Angle between that direction and the normal, degrees.
    pub angle_from_normal: f64,
    /// Turn of the ruling, degrees; 0 for a straight one.
    pub turn_angle: f64,
    /// Wedge of rubber to the left and to the right of the cut, seen from outside, degrees.
    pub wedge: [f64; 2],
    /// Risk of a weak lip, 0 to 1: see [`super::lip_risk`].
    pub risk: f64,
    /// What is wrong here.
    pub flags: StationFlags,
}

impl Station {
    /// The lesser wedge, degrees.
    pub fn least_wedge(&self) -> f64 {
        self.wedge[0].min(self.wedge[1])
    }

    /// Whether the knife would run along the model's surface or behind it.
    pub fn is_behind(&self) -> bool {
        leans_behind(self.angle_from_normal) || leaves_no_lip(self.least_wedge())
    }
}

/// Whether a knife that leans so far from square to the model, degrees, would run along its surface or behind it. Such a lean
/// is true of the sheet, and tells a person nothing: it is said in words.
pub fn leans_behind(lean: f64) -> bool {
    lean >= 90.0
}

/// The same of a knife that leaves such a wedge of rubber beside it, degrees.
pub fn leaves_no_lip(wedge: f64) -> bool {
    wedge <= 0.0
}

/// What there is to say then, after "the knife would run".
pub const BEHIND: &str = "along the model's surface or behind it, which cannot be cut so";

/// The sheet of one cut line, in the mould frame.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Sheet {
    /// All computed rulings in order. A closed cut's last one is its first again.
    pub stations: Vec<Station>,
    /// Indices of the stations to list for the knife, at most the station spacing apart.
    pub listed: Vec<usize>,
    /// Whether the cut closes on itself.
    pub closed: bool,
    /// The sheet's surface: rows of points from the model to the outside, one row a station.
    pub mesh: TriangleMesh,
    /// Columns of that surface: 2, or 3 where a ruling of the sheet turns.
    pub columns: usize,
    /// Area, mm^2.
    pub area: f64,
    /// Where the knife enters: the sheet's edge on the outside.
    pub outer: Vec<Point>,
    /// Length of the cut along its stations, mm.
    pub length: f64,
    /// Height of the board where the sheet starts and ends on it, mm.
    pub foot: [Option<f64>; 2],
}

/// Sums over sheets, each station weighted with the length of cut that it stands for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct LipFigures {
    /// Length measured, mm.
    pub length: f64,
    /// Length whose lesser wedge is below the acceptable angle, mm.
    pub weak_length: f64,
    /// Length whose lesser wedge is below the refused angle, mm.
    pub feather_length: f64,
    /// Length that no ruling leads to from outside, mm.
    pub blocked_length: f64,
    /// Mean risk, 0 to 1; 0 where nothing is cut.
    pub risk: f64,
    /// Greatest angle of a ruling from the normal, degrees.
    pub worst_angle: f64,
    /// Least wedge, degrees; infinite where nothing is cut.
    pub least_wedge: f64,
    /// Share of the length whose ruling lies within the acceptable angle of the normal; 1 where
    /// nothing is cut.
    pub share_acceptable: f64,
    /// Greatest length of a ruling, mm.
    pub greatest_depth: f64,
}

/// Figures over some sheets.
pub fn lip_figures<'a>(
    sheets: impl IntoIterator<Item = &'a Sheet>,
    settings: &SheetSettings,
) -> LipFigures {
    let mut sum = LipFigures { least_wedge: f64::INFINITY, ..LipFigures::default() };
    let (mut risk, mut acceptable) = (0.0, 0.0);
    for sheet in sheets {
        for (index, station) in sheet.stations.iter().enumerate() {
            let share = sheet.share(index);
            let least = station.least_wedge();
            sum.length += share;
            risk += share * station.risk;
            if station.flags.blocked {
                sum.blocked_length += share;
                continue;
            }
            if least < settings.acceptable_angle - WITHIN {
                sum.weak_length += share;
            }
            if least < settings.refused_angle - WITHIN {
                sum.feather_length += share;
            }
            if station.angle_from_normal <= settings.acceptable_lean() + WITHIN {
                acceptable += share;
            }
            sum.worst_angle = sum.worst_angle.max(station.angle_from_normal);
            sum.least_wedge = sum.least_wedge.min(least);
            sum.greatest_depth = sum.greatest_depth.max(station.depth);
        }
    }
    sum.risk = if sum.length > 0.0 { risk / sum.length } else { 0.0 };
    sum.share_acceptable = if sum.length > 0.0 { acceptable / sum.length } else { 1.0 };
    sum
}

/// Angles are compared within this, degrees: a wedge that is exactly the limit meets it.
const WITHIN: f64 = 1e-6;

impl Sheet {
    /// The stations to list for the knife.
    pub fn listed_stations(&self) -> impl Iterator<Item = &Station> {
        self.listed.iter().map(|&k| &self.stations[k])
    }

    /// Length of cut that a station stands for, mm: half way to either neighbour.
    pub fn share(&self, index: usize) -> f64 {
        let along = |k: usize| self.stations[k].along;
        let last = self.stations.len() - 1;
        0.5 * (along((index + 1).min(last)) - along(index.saturating_sub(1)))
    }

    /// Build from chosen rulings. `foot` is the board's height where the sheet starts or ends on it.
    pub(super) fn new(
        line: &Places,
        rulings: &[Ruling],
        foot: [Option<f64>; 2],
        settings: &SheetSettings,
    ) -> Self {
        let places = &line.places;
        let stations: Vec<Station> = places
            .iter()
            .zip(rulings)
            .enumerate()
            .map(|(k, (place, ruling))| {
                let wedge = wedges(&place.frame, place.flanks, &ruling.first);
                let least = wedge[0].min(wedge[1]);
                let too_sharp =
                    k + 1 < places.len() && !ruling.blocked && !rulings[k + 1].blocked && {
                        let next = &places[k + 1];
                        let apart = (next.frame.at - place.frame.at).norm().max(1e-6);
                        let bend = bend(place, &ruling.last, next, &rulings[k + 1].last);
                        bend * settings.bend_radius > apart * (1.0 + 1e-9)
                    };
                Station {
                    along: place.along,
                    on_model: place.frame.at,
                    normal: place.frame.normal,
                    ahead: place.frame.ahead,
                    turn: ruling.turn,
                    on_outside: ruling.outside,
                    depth: ruling.depth,
                    direction: ruling.first,
                    angle_from_normal: ruling.first.angle(&place.frame.normal).to_degrees(),
                    turn_angle: ruling
                        .turn
                        .map_or(0.0, |_| ruling.first.angle(&ruling.last).to_degrees()),
                    wedge,
                    // No lip can be made where no blade gets to.
                    risk: if ruling.blocked { 1.0 } else { lip_risk(least, settings) },
                    flags: StationFlags {
                        blocked: ruling.blocked,
                        beyond_blade: ruling.depth > settings.blade_length,
                        through_board: ruling.side == ExitSide::Board,
                        too_sharp,
                        feather: least < settings.refused_angle - WITHIN,
                    },
                }
            })
            .collect();
        let turns = stations.iter().any(|s| s.turn.is_some());
        let columns = if turns { 3 } else { 2 };
        let mesh = strip(&stations, columns, settings.turn_length, 0.0);
        Self {
            listed: (0..stations.len()).step_by(line.each).collect(),
            closed: line.closed,
            area: mesh.area(),
            outer: stations.iter().filter(|s| !s.flags.blocked).map(|s| s.on_outside).collect(),
            length: stations.last().map_or(0.0, |s| s.along),
            mesh,
            columns,
            stations,
            foot,
        }
    }

    /// The sheet drawn out beyond the model's skin and beyond the outside by `margin` mm, and down
    /// to the board where it starts or ends there, so that it leaves no gap to either.
    pub(super) fn drawn_out(&self, margin: f64, turn_length: f64) -> TriangleMesh {
        let mut mesh = strip(&self.stations, self.columns, turn_length, margin);
        let last = self.stations.len() - 1;
        for (row, foot) in [0, last].into_iter().zip(self.foot) {
            let Some(board) = foot.filter(|_| !self.stations[row].flags.blocked) else { continue };
            let first = mesh.positions.len() as u32;
            for column in 0..self.columns {
                let above = mesh.positions[row * self.columns + column];
                mesh.positions.push(Point::new(above.x, above.y, board - margin));
            }
            for column in 1..self.columns as u32 {
                let above = (row * self.columns) as u32 + column;
                mesh.faces.push([above - 1, above, first + column]);
                mesh.faces.push([above - 1, first + column, first + column - 1]);
            }
        }
        mesh
    }

    /// The sheet drawn out by `room` mm on all sides, four times as far beyond its ends: for others
    /// to keep off it and not to slip round its ends.
    pub(super) fn with_room(&self, room: f64, turn_length: f64) -> TriangleMesh {
        let mut mesh = strip(&self.stations, self.columns, turn_length, room);
        if self.closed {
            return mesh;
        }
        let last = self.stations.len() - 1;
        for (row, sign) in [(0, -4.0), (last, 4.0)] {
            if self.stations[row].flags.blocked {
                continue;
            }
            let first = mesh.positions.len() as u32;
            for column in 0..self.columns {
                let at = mesh.positions[row * self.columns + column];
                mesh.positions.push(at + self.stations[row].ahead * (sign * room));
            }
            for column in 1..self.columns as u32 {
                let here = (row * self.columns) as u32 + column;
                mesh.faces.push([here - 1, here, first + column]);
                mesh.faces.push([here - 1, first + column, first + column - 1]);
            }
        }
        mesh
    }

    /// The same sheet elsewhere.
    pub fn moved(&self, pose: &nalgebra::Isometry3<f64>) -> Self {
        let station = |s: &Station| Station {
            on_model: pose * s.on_model,
            normal: pose.rotation * s.normal,
            ahead: pose.rotation * s.ahead,
            turn: s.turn.map(|p| pose * p),
            on_outside: pose * s.on_outside,
            direction: pose.rotation * s.direction,
            ..s.clone()
        };
        Self {
            stations: self.stations.iter().map(station).collect(),
            mesh: self.mesh.moved(pose),
            outer: self.outer.iter().map(|p| pose * p).collect(),
            listed: self.listed.clone(),
            ..*self
        }
    }
}

/// Two faces a quad between neighbouring rulings; none where a ruling is blocked.
fn strip(stations: &[Station], columns: usize, turn_length: f64, margin: f64) -> TriangleMesh {
    let mut mesh = TriangleMesh::default();
    for station in stations {
        let turn = station.turn.unwrap_or_else(|| {
            let length = turn_length.min(0.5 * station.depth);
            station.on_model + station.direction * length
        });
        let last = (station.on_outside - turn).try_normalize(1e-12).unwrap_or(station.direction);
        mesh.positions.push(station.on_model - station.direction * margin);
        if columns == 3 {
            mesh.positions.push(turn);
        }
        mesh.positions.push(station.on_outside + last * margin);
    }
    for row in 1..stations.len() {
        if stations[row - 1].flags.blocked || stations[row].flags.blocked {
            continue;
        }
        for column in 1..columns {
            let [a, b] = [row - 1, row].map(|r| (r * columns + column - 1) as u32);
            mesh.faces.push([a, b, b + 1]);
            mesh.faces.push([a, b + 1, a + 1]);
        }
    }
    mesh
}
