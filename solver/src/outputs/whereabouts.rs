//! Places and directions in words: how high above the board, and on which side, as the pictures name
//! the sides.

use crate::mesh::{Point, TriangleMesh, Vector};
use crate::nalgebra::Isometry3;
use crate::plan::{Plan, TrialVerdict};

/// The mould maker's frame: up from the board, right and back as seen from the front. Unit vectors in
/// the model's own coordinates.
#[derive(Clone, Copy, Debug)]
pub(super) struct Frame {
    pub right: Vector,
    pub back: Vector,
    pub up: Vector,
}

impl Frame {
    /// The front is the model's own -y side where `up` leaves that open, else its -z or -x side.
    /// `None` where `up` has no direction.
    pub fn new(up: Vector) -> Option<Self> {
        let length = up.norm();
        if !length.is_finite() || length <= 0.0 {
            return None;
        }
        let up = up / length;
        // The axis of the model that becomes "right" must not run along up.
        let axis = if up.x.abs() < 0.9 { Vector::x() } else { Vector::y() };
        let right = (axis - up * axis.dot(&up)).normalize();
        Some(Self { right, back: up.cross(&right), up })
    }

    /// The frame of a mould that `to_mould` takes the model's coordinates to: its z is up.
    pub fn of_mould(to_mould: &Isometry3<f64>) -> Option<Self> {
        Self::new(to_mould.inverse() * Vector::z())
    }

    /// The side to which a vector points, level with the board.
    pub fn side(&self, vector: &Vector) -> &'static str {
        const SIDES: [&str; 8] = [
            "right",
            "back right",
            "back",
            "back left",
            "left",
            "front left",
            "front",
            "front right",
        ];
        let angle = vector.dot(&self.back).atan2(vector.dot(&self.right));
        let eighths = (angle / std::f64::consts::FRAC_PI_4).round() as i64;
        SIDES[eighths.rem_euclid(8) as usize]
    }

    /// A direction in the model's coordinates, as hands follow it.
    pub fn way(&self, direction: &Vector) -> String {
        let tilt = direction.dot(&self.up).clamp(-1.0, 1.0).acos().to_degrees();
        if tilt < 0.5 {
            return "straight up".to_owned();
        }
        let [x, y, z] = [direction.x, direction.y, direction.z].map(|x| rounded(x, 100.0));
        let axes = format!("along ({x:.2}, {y:.2}, {z:.2})");
        if tilt > 179.5 {
            return format!("straight down, {axes}");
        }
        format!("{tilt:.0} degrees off upright to the {}, {axes}", self.side(direction))
    }
}

/// A number rounded to a share of one, without a minus before nothing.
fn rounded(x: f64, shares: f64) -> f64 {
    (x * shares).round() / shares + 0.0
}

/// Where things are on a model: what words need to name a place.
pub(super) struct Whereabouts {
    frame: Option<Frame>,
    /// Height of the board along up, mm.
    board: f64,
    /// Middle of the model.
    middle: Point,
    /// What lies nearer to the upright through the middle than this has no side, mm.
    core: f64,
}

/// Share of half the model's width within which a place is in the middle. Common sense, no source.
const CORE: f64 = 0.15;

impl Whereabouts {
    /// `model` is any mesh of the model in the plan's coordinates.
    pub fn new(plan: &Plan, model: &TriangleMesh) -> Self {
        let frame = Frame::new(plan.up);
        let (low, high) = model.bounds().unwrap_or_default();
        let middle = crate::nalgebra::center(&low, &high);
        let Some(axes) = frame else { return Self { frame, board: 0.0, middle, core: 0.0 } };
        let lowest = || {
            let heights = model.positions.iter().map(|p| p.coords.dot(&axes.up));
            heights.fold(f64::INFINITY, f64::min)
        };
        let to_mould = match (&plan.sheets, &plan.trial) {
            (Some(report), _) => Some(&report.skin.to_mould),
            (None, TrialVerdict::Ran(trial)) => Some(&trial.to_mould),
            (None, TrialVerdict::NotRun(_)) => None,
        };
        // The board passes through the mould frame's origin; without one the model stands on it.
        let board = to_mould.map_or_else(lowest, |to_mould| {
            (to_mould.inverse() * Point::origin()).coords.dot(&axes.up)
        });
        let reach = |axis: &Vector| {
            model.positions.iter().map(|p| (p - middle).dot(axis).abs()).fold(0.0, f64::max)
        };
        let core = CORE * reach(&axes.right).max(reach(&axes.back));
        Self { frame, board, middle, core }
    }

    /// A place: its coordinates in whole millimetres, height above the board, and side.
    pub fn place(&self, p: &Point) -> String {
        // A rounded -0.4 is no -0.
        let [x, y, z] = [p.x, p.y, p.z].map(|x| rounded(x, 1.0));
        let at = format!("({x:.0}, {y:.0}, {z:.0})");
        self.above_board(p).map_or(at.clone(), |seen| format!("{at}, {seen}"))
    }

    /// Height of a place above the board, mm; `None` without an up.
    pub fn height(&self, p: &Point) -> Option<f64> {
        self.frame.as_ref().map(|frame| p.coords.dot(&frame.up) - self.board)
    }

    /// How far round the upright through the middle a place is from the front, counter-clockwise seen from above, degrees
    /// from 0 to 360; `None` without an up.
    pub fn round(&self, p: &Point) -> Option<f64> {
        let frame = self.frame.as_ref()?;
        let offset = p - self.middle;
        // From the front to the right is counter-clockwise.
        let angle = offset.dot(&frame.right).atan2(-offset.dot(&frame.back)).to_degrees();
        Some(angle.rem_euclid(360.0))
    }

    /// Side of a place, as the pictures name it; `None` without an up.
    pub fn side(&self, p: &Point) -> Option<&'static str> {
        let frame = self.frame.as_ref()?;
        let offset = p - self.middle;
        let level = offset - frame.up * offset.dot(&frame.up);
        Some(if level.norm() <= self.core { "middle" } else { frame.side(&level) })
    }

    /// Height above the board and side of a place, without coordinates; `None` without an up.
    pub fn above_board(&self, p: &Point) -> Option<String> {
        let height = match self.height(p)?.round() {
            0.0 => "on the board".to_owned(),
            high if high > 0.0 => format!("{high:.0} mm above the board"),
            low => format!("{:.0} mm below the board", -low),
        };
        Some(format!("{height}, {}", self.side(p)?))
    }
}

#[cfg(test)]
mod tests {
    use approx::assert_relative_eq;

    use super::*;
    use crate::mesh::fixtures::{icosphere, moved};
    use crate::outputs::fixtures::empty_plan;

    #[test]
    fn axes_are_square_for_any_up() {
        for up in [Vector::z(), Vector::y(), -Vector::x(), Vector::new(0.3, -2.0, 0.9)] {
            let Frame { right, back, up } = Frame::new(up).expect("up is given");
            assert_relative_eq!(right.cross(&back), up, epsilon = 1e-12);
            assert_relative_eq!(right.dot(&up), 0.0, epsilon = 1e-12);
            assert_relative_eq!(right.norm(), 1.0, epsilon = 1e-12);
        }
        assert!(Frame::new(Vector::zeros()).is_none());
        assert!(Frame::new(Vector::new(f64::NAN, 0.0, 1.0)).is_none());
    }

    /// A ball of radius 30 that stands on the plane z = 5.
    #[test]
    fn places_are_told_by_height_and_side() {
        let model = moved(&icosphere(30.0, 3), [0.0, 0.0, 35.0]);
        let at = Whereabouts::new(&empty_plan(), &model);
        for (point, words) in [
            ([0.0, -30.0, 35.0], "(0, -30, 35), 30 mm above the board, front"),
            ([30.0, 0.2, 35.0], "(30, 0, 35), 30 mm above the board, right"),
            ([-20.0, -20.0, 25.0], "(-20, -20, 25), 20 mm above the board, front left"),
            ([1.0, 2.0, 65.0], "(1, 2, 65), 60 mm above the board, middle"),
            ([0.0, 20.0, 5.2], "(0, 20, 5), on the board, back"),
            ([0.0, 20.0, 3.0], "(0, 20, 3), 2 mm below the board, back"),
        ] {
            assert_eq!(at.place(&Point::from(point)), words);
        }
    }

    /// A model that lies on its side: up is its own -y, so its +y side is on the board.
    #[test]
    fn sides_and_height_follow_the_board_not_the_axes() {
        let mut plan = empty_plan();
        plan.up = -Vector::y();
        let at = Whereabouts::new(&plan, &icosphere(30.0, 3));
        assert_eq!(
            at.place(&Point::new(25.0, -10.0, 0.0)),
            "(25, -10, 0), 40 mm above the board, right"
        );
        // Right is +x, so back is up x right = -y x +x = +z.
        assert_eq!(
            at.place(&Point::new(0.0, 0.0, 30.0)),
            "(0, 0, 30), 30 mm above the board, back"
        );
    }

    #[test]
    fn ways_are_told_by_tilt_side_and_axes() {
        let frame = Frame::new(Vector::z()).expect("up is given");
        assert_eq!(frame.way(&Vector::z()), "straight up");
        let (sin, cos) = 45f64.to_radians().sin_cos();
        assert_eq!(
            frame.way(&Vector::new(-sin, 0.0, cos)),
            "45 degrees off upright to the left, along (-0.71, 0.00, 0.71)"
        );
        assert_eq!(
            frame.way(&Vector::new(0.0, -1.0, 0.0)),
            "90 degrees off upright to the front, along (0.00, -1.00, 0.00)"
        );
        assert_eq!(frame.way(&-Vector::z()), "straight down, along (0.00, 0.00, -1.00)");
    }
}
