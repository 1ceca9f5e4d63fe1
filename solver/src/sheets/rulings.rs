//! Candidate rulings at a station, and what each costs by itself.

use std::f64::consts::TAU;

use super::SheetSettings;
use super::access::Access;
use super::line::Place;
use super::wedge::{lip_risk, wedges};
use crate::body::ExitSide;
use crate::mesh::{Point, Vector};

/// A ruling that might be cut at a station.
#[derive(Clone, Debug)]
pub(super) struct Ruling {
    /// Unit direction of the piece at the model, outward.
    pub first: Vector,
    /// End of that piece, where the ruling turns.
    pub turn: Option<Point>,
    /// Unit direction of the last piece.
    pub last: Vector,
    /// Where it leaves the rubber, or where the model stops it.
    pub outside: Point,
    /// Length in all, mm.
    pub depth: f64,
    pub side: ExitSide,
    /// Whether the model stops it.
    pub blocked: bool,
    /// Lean of the last piece from the normal, ahead and left, radians.
    pub lean: [f64; 2],
    /// The last piece in the station's axes.
    pub local: Vector,
    /// What it costs by itself.
    pub price: f64,
}

/// Leans of the grid, degrees: those tried first, and those tried where the first ones fail.
const NEAR_LEANS: [f64; 3] = [10.0, 20.0, 30.0];
const FAR_LEANS: [f64; 5] = [40.0, 50.0, 60.0, 70.0, 80.0];
/// Directions round the normal for each lean.
const ROUND: u32 = 12;
/// Directions in the board's plane, each side of the normal's.
const ON_BOARD: i32 = 10;
/// Angle between these, degrees.
const ON_BOARD_STEP: f64 = 7.5;
/// Greatest turn of a ruling, degrees.
const GREATEST_TURN: f64 = 80.0;

/// Prices in one currency: a station that leans by the acceptable angle costs 1. They say which
/// ruling is liked better, nothing else; common sense, no source.
mod price {
    pub const LEAN: f64 = 0.5;
    pub const LEAN_ACROSS: f64 = 0.5;
    pub const RISK: f64 = 4.0;
    pub const BEYOND_ACCEPTABLE: f64 = 40.0;
    pub const DEPTH: f64 = 0.1;
    pub const BEYOND_BLADE: f64 = 200.0;
    pub const TURN: f64 = 1.5;
    pub const THROUGH_BOARD_FROM_GATE: f64 = 1.0;
    pub const THROUGH_BOARD: f64 = 25.0;
    pub const CROSSING: f64 = 100.0;
    pub const BLOCKED: f64 = 1000.0;
}

/// What holds for all candidates of one line.
pub(super) struct Candidates<'a> {
    pub access: Access<'a>,
    pub from_gate: bool,
}

/// Where a place stands on its line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Standing {
    /// Anywhere.
    Free,
    /// On the board: the sheet ends there, and lies open only if its ruling runs along the board.
    OnBoard,
}

impl Candidates<'_> {
    fn settings(&self) -> &SheetSettings {
        self.access.settings
    }

    /// Straight rulings over the whole grid. Empty where the model hides the outside.
    pub fn straight(&self, place: &Place, standing: Standing) -> Vec<Ruling> {
        if standing == Standing::OnBoard {
            let found = self.along_board(place);
            if !found.is_empty() {
                return found;
            }
        }
        let mut found: Vec<Ruling> = std::iter::once([0.0, 0.0])
            .chain(grid(&NEAR_LEANS))
            .collect::<Vec<_>>()
            .into_iter()
            .filter_map(|lean| self.straight_along(place, &place.frame.leaning(lean)))
            .collect();
        // Plenty of ways near the normal: no need to look farther.
        if found.len() < 2 * ROUND as usize || found.iter().all(|r| r.price >= 1.0) {
            let far = grid(&FAR_LEANS);
            found.extend(
                far.filter_map(|lean| self.straight_along(place, &place.frame.leaning(lean))),
            );
        }
        found
    }

    /// The straight ruling nearest the normal that leads out, over the grid.
    pub fn nearest_to_normal(&self, place: &Place) -> Option<Ruling> {
        let leans = std::iter::once(0.0).chain(NEAR_LEANS).chain(FAR_LEANS);
        leans.into_iter().find_map(|lean| {
            let round: Vec<[f64; 2]> =
                if lean == 0.0 { vec![[0.0, 0.0]] } else { grid(&[lean]).collect() };
            let out = round
                .into_iter()
                .filter_map(|lean| self.straight_along(place, &place.frame.leaning(lean)));
            // Of several equally near ones the shortest.
            out.min_by(|a, b| a.depth.total_cmp(&b.depth))
        })
    }

    /// Rulings that start along the normal and turn.
    pub fn turned(&self, place: &Place) -> Vec<Ruling> {
        let leans: Vec<f64> = NEAR_LEANS.iter().chain(&FAR_LEANS).copied().collect();
        self.turned_along(place, grid(&leans).map(|lean| place.frame.leaning(lean)).collect())
    }

    fn turned_along(&self, place: &Place, directions: Vec<Vector>) -> Vec<Ruling> {
        let first = place.frame.normal;
        let length = self.settings().turn_length;
        let out = self.access.body.exit(&place.frame.at, &first).distance;
        let free = self.access.free_length(&place.frame.at, &first);
        if out <= length
            || free <= length
            || !self.access.keeps_clear(&place.frame.at, &first, length, 0.0)
        {
            return Vec::new();
        }
        let turn = place.frame.at + first * length;
        let crossed = self.access.crossed(&place.frame.at, &first, length);
        directions
            .into_iter()
            .filter(|d| d.dot(&first) >= GREATEST_TURN.to_radians().cos())
            .filter_map(|last| {
                let out = self.access.way_out(&turn, &last, length)?;
                let ruling = Ruling {
                    first,
                    turn: Some(turn),
                    last,
                    outside: turn + last * out.distance,
                    depth: length + out.distance,
                    side: out.side,
                    blocked: false,
                    lean: place.frame.lean_of(&last),
                    local: place.frame.local(&last),
                    price: 0.0,
                };
                Some(self.priced(place, ruling, crossed + out.crossed))
            })
            .collect()
    }

    /// Rulings close to one that was chosen: `step` degrees apart, two steps each way.
    pub fn near(
        &self,
        place: &Place,
        chosen: &Ruling,
        standing: Standing,
        step: f64,
    ) -> Vec<Ruling> {
        let step = step.to_radians();
        let mut directions: Vec<Vector> = Vec::new();
        if standing == Standing::OnBoard && on_board(&chosen.last) {
            let turn = |k: i32| nalgebra::Rotation3::new(Vector::z() * step * f64::from(k));
            directions.extend((-2..=2).map(|k| turn(k) * chosen.last));
        } else {
            for ahead in -2..=2 {
                for left in -2..=2 {
                    let lean = [
                        chosen.lean[0] + step * f64::from(ahead),
                        chosen.lean[1] + step * f64::from(left),
                    ];
                    directions.push(place.frame.leaning(lean));
                }
            }
            // The same wedges without any lean along the cut: a grid that hugs an obstacle does
            // not get there in steps. And the normal itself, so that refining never loses it.
            let across = chosen.local.y.atan2(chosen.local.z);
            directions.extend(
                (-2..=2)
                    .map(|left| place.frame.leaning([0.0, across + step * f64::from(left)]))
                    .chain([place.frame.normal]),
            );
        }
        if chosen.turn.is_some() {
            self.turned_along(place, directions)
        } else {
            directions.iter().filter_map(|d| self.straight_along(place, d)).collect()
        }
    }

    /// Whether the sheet between two neighbouring rulings meets the model or another cut: by rays
    /// along the quarter lines between them, from where the clearance has set in.
    pub fn torn(&self, (from, a): (&Place, &Ruling), (to, b): (&Place, &Ruling)) -> bool {
        if a.blocked || b.blocked {
            return false;
        }
        let turn = |place: &Place, ruling: &Ruling| {
            let length = self.settings().turn_length.min(0.5 * ruling.depth);
            ruling.turn.unwrap_or(place.frame.at + ruling.first * length)
        };
        let (near, far) = (turn(from, a), turn(to, b));
        [0.25, 0.5, 0.75].into_iter().any(|share| {
            let start = near + (far - near) * share;
            let step = a.outside + (b.outside - a.outside) * share - start;
            let length = step.norm();
            self.access.body.model().ray(&start, &step, length).is_some()
                || self.access.crossed(&start, &(step / length.max(1e-12)), length) > 0
        })
    }

    /// What is left where nothing leads outside: as far along the normal as the model lets it.
    pub fn blocked(&self, place: &Place) -> Ruling {
        let first = place.frame.normal;
        let depth = self.access.free_length(&place.frame.at, &first);
        Ruling {
            first,
            turn: None,
            last: first,
            outside: place.frame.at + first * depth,
            depth,
            side: ExitSide::Free,
            blocked: true,
            lean: [0.0, 0.0],
            local: Vector::z(),
            price: price::BLOCKED,
        }
    }

    fn along_board(&self, place: &Place) -> Vec<Ruling> {
        let flat = Vector::new(place.frame.normal.x, place.frame.normal.y, 0.0);
        let Some(flat) = flat.try_normalize(0.05) else { return Vec::new() };
        (-ON_BOARD..=ON_BOARD)
            .filter_map(|k| {
                let angle = (ON_BOARD_STEP * f64::from(k)).to_radians();
                let d = nalgebra::Rotation3::new(Vector::z() * angle) * flat;
                self.straight_along(place, &d)
            })
            .collect()
    }

    /// One straight ruling, priced; `None` where the model is in the way.
    pub fn straight_along(&self, place: &Place, direction: &Vector) -> Option<Ruling> {
        let out = self.access.way_out(&place.frame.at, direction, 0.0)?;
        let ruling = Ruling {
            first: *direction,
            turn: None,
            last: *direction,
            outside: place.frame.at + direction * out.distance,
            depth: out.distance,
            side: out.side,
            blocked: false,
            lean: place.frame.lean_of(direction),
            local: place.frame.local(direction),
            price: 0.0,
        };
        Some(self.priced(place, ruling, out.crossed))
    }

    fn priced(&self, place: &Place, ruling: Ruling, crossed: u32) -> Ruling {
        let settings = self.settings();
        let acceptable = settings.acceptable_lean().to_radians();
        let frame = &place.frame;
        let lean = ruling.first.angle(&frame.normal) / acceptable;
        let across = ruling.first.dot(&frame.left).atan2(ruling.first.dot(&frame.normal));
        let across = across / acceptable;
        let beyond = (lean - 1.0).max(0.0);
        let [left, right] = wedges(frame, place.flanks, &ruling.first);
        let blade = ruling.depth / settings.blade_length;
        let mut sum = price::LEAN * lean * lean
            + price::LEAN_ACROSS * across * across
            + price::BEYOND_ACCEPTABLE * beyond * beyond
            + price::RISK * lip_risk(left.min(right), settings)
            + price::DEPTH * blade * blade
            + if blade > 1.0 { price::BEYOND_BLADE * (blade - 0.95) } else { 0.0 }
            + price::CROSSING * f64::from(crossed);
        if ruling.turn.is_some() {
            let turn = ruling.first.angle(&ruling.last) / acceptable;
            sum += price::TURN + turn * turn;
        }
        if ruling.side == ExitSide::Board {
            sum +=
                if self.from_gate { price::THROUGH_BOARD_FROM_GATE } else { price::THROUGH_BOARD };
        }
        Ruling { price: sum, ..ruling }
    }
}

fn on_board(d: &Vector) -> bool {
    d.z.abs() < 1e-9
}

fn grid(leans: &[f64]) -> impl Iterator<Item = [f64; 2]> + '_ {
    leans.iter().flat_map(|lean| {
        let lean = lean.to_radians();
        (0..ROUND).map(move |k| {
            let round = TAU * f64::from(k) / f64::from(ROUND);
            [lean * round.cos(), lean * round.sin()]
        })
    })
}
