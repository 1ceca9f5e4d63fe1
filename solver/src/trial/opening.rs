//! The opening of a trial: hands take hold, and draw lips and flaps aside.

use super::TrialError;
use super::course::Course;
use super::directions;
use super::hands::{Grip, Hands};
use super::pull::Pull;
use super::report::{Frame, Hold, Outcome};
use super::rig::Rig;
use crate::body::Outside;
use crate::mesh::{Point, TriangleMesh, Vector};

/// Steps in which lips and flaps are drawn aside.
const OPENING_STEPS: usize = 10;
/// Steps of the relaxation for one step of theirs.
const MOST_STEPS: usize = 600;
/// Hands that give this share of their force draw lips and flaps no farther.
const SPENT: f64 = 0.95;
/// Lips are held over this share of the model's length.
const REACH: f64 = 0.1;
/// How far each lip and flap goes aside, over the model's width: where the whole outside is drawn, and where a
/// rim is peeled, which lips held far apart would only hinder.
const OPENING: (f64, f64) = (0.5, 0.25);

/// The rubber with lips and flaps drawn aside: the start of every draw.
pub(super) struct Opened {
    pub x: Vec<Point>,
    /// How far the hands have gone, mm.
    pub aside: f64,
    /// Pulls that keep it open.
    pub pulls: Vec<Pull>,
    pub course: Course,
}

impl Rig<'_> {
    /// The hands, and how far they draw lips and flaps aside, mm.
    pub(super) fn hands(&self) -> Result<(Hands, f64), TrialError> {
        let rim = match self.setup.body.outside() {
            Outside::Offset { thickness, bottom } => {
                let (low, high) =
                    self.setup.model.bounds().unwrap_or((Point::origin(), Point::origin()));
                Some((bottom + thickness, nalgebra::center(&low, &high)))
            }
            _ => None,
        };
        if let Some(hold) = self.setup.settings.hold {
            return self.hands_that(hold, rim);
        }
        // What is cut into two flaps opens like a book, a block or a blanket.
        let open = self.hands_that(Hold::Outside, None)?;
        match rim {
            Some(_) if open.0.flaps.is_empty() && self.model.has_board() => {
                self.hands_that(Hold::Rim, rim)
            }
            Some(_) if open.0.flaps.is_empty() => self.hands_that(Hold::Outside, rim),
            _ => Ok(open),
        }
    }

    fn hands_that(
        &self,
        hold: Hold,
        rim: Option<(f64, Point)>,
    ) -> Result<(Hands, f64), TrialError> {
        let settings = self.setup.settings;
        let width = self.extent(&Vector::x()).max(self.extent(&Vector::y()));
        let length = self.extent(&Vector::z());
        let share = if hold == Hold::Rim { OPENING.1 } else { OPENING.0 };
        let opening = settings.opening.unwrap_or(share * width);
        let grip = Grip {
            force: settings.hand_force,
            reach: (REACH * length).max(1.5 * self.spacing),
            opening,
            rim,
            hold,
        };
        let weights: Vec<f64> =
            (0..self.body.solid.nodes.len()).map(|n| self.elastic.node_volume(n)).collect();
        let sheets: Vec<&TriangleMesh> =
            self.setup.sheets.iter().filter(|sheet| self.reaches_outside(sheet)).collect();
        Ok((Hands::hold(&self.body, &weights, &sheets, &grip)?, opening))
    }

    /// Whether a sheet opens the outside: where nothing but bridges is cut, no hand gets hold of its lips.
    fn reaches_outside(&self, sheet: &TriangleMesh) -> bool {
        let body = self.setup.body;
        let lowest = body.board().unwrap_or(f64::NEG_INFINITY);
        sheet.positions.iter().any(|p| {
            let p = Point::new(p.x, p.y, p.z.max(lowest + 1e-3));
            !body.holds(&p) && self.model.distance(&p) > 0.0
        })
    }

    /// Draw lips and flaps aside, over the board, until they are as far as is wanted or as hands and rubber let
    /// them, or nothing stands in the way along one of the directions any longer.
    pub(super) fn open(&self, hands: &Hands, wanted: f64) -> Result<Opened, TrialError> {
        let rest = &self.body.solid.nodes;
        let mut opened = Opened {
            x: rest.clone(),
            aside: 0.0,
            pulls: Vec::new(),
            course: Course {
                outcome: Outcome::OutOfTime,
                pull: Vec::new(),
                frames: vec![Frame { opening: 0.0, travel: 0.0, positions: rest.clone() }],
                bridges: Vec::new(),
                greatest: (0.0, rest.first().copied().unwrap_or(Point::origin())),
                stretch_99: 0.0,
                overlap: 0.0,
                pierced: 0,
                relaxation_steps: 0,
                progress: 0.0,
            },
        };
        if hands.open_nothing() {
            return Ok(opened);
        }
        let mut rubber = self.rubber(rest.clone(), Vector::z(), hands.along.len());
        let step = wanted / OPENING_STEPS as f64;
        let mut lags = vec![0.0; hands.flaps.len()];
        for _ in 0..OPENING_STEPS {
            if self.is_late() {
                break;
            }
            let target = opened.aside + step;
            let mut pulls: Vec<(Pull, f64)> =
                hands.aside.iter().map(|p| (p.at(target), opened.aside)).collect();
            for (flap, lag) in hands.flaps.iter().zip(&lags) {
                pulls.push((flap.pull(rest, &rubber.x, lag + step), *lag));
            }
            let keep: Vec<Pull> = pulls.iter().map(|(p, _)| p.clone()).collect();
            pulls.push((self.along(hands, rest, Vector::z(), 0.0), 0.0));
            rubber.set_pulls_from(pulls);
            self.settle(&mut rubber, MOST_STEPS, &mut opened.course)?;
            let stretches = self.elastic.stretches(&rubber.x);
            if self.overstretched(&stretches)
                || self.hundredth(&stretches) > self.setup.rubber.working_stretch
            {
                // Who feels the rubber give draws no farther.
                break;
            }
            let forces: Vec<f64> = keep.iter().map(|p| p.force(&rubber.x)).collect();
            let limits: f64 = keep.iter().map(|p| p.limit).sum();
            let given: f64 = forces.iter().sum();
            for (flap, (lag, force)) in
                hands.flaps.iter().zip(lags.iter_mut().zip(&forces[hands.aside.len()..]))
            {
                *lag = flap.lag(*force);
            }
            (opened.x, opened.aside, opened.pulls) = (rubber.x.clone(), target, keep);
            if given >= SPENT * limits || self.is_open(&rubber.x) {
                break;
            }
        }
        let positions = opened.x.clone();
        let frame = Frame { opening: opened.aside, travel: 0.0, positions };
        opened.course.frames.push(frame);
        self.measure(&opened.x, &mut opened.course);
        Ok(opened)
    }

    /// Whether nothing stands in the way along one of the directions.
    pub(super) fn is_open(&self, x: &[Point]) -> bool {
        let settings = self.setup.settings;
        let points = self.points(x);
        let given = settings.directions.iter().map(|d| d.normalize());
        let all = settings.attempts.map_or(Vec::new(), |_| directions::all_round());
        given.chain(all).any(|d| self.blocked(&points, &d) == 0.0)
    }
}
