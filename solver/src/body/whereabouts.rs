//! Places and directions in words: how high above the board, and on which side, as the pictures name
//! the sides. Whoever stands at the bench sees these on the model; coordinates are for programs.

use crate::mesh::{Point, TriangleMesh, Vector};
use crate::nalgebra::Isometry3;

/// The mould maker's frame: up from the board, right and back as seen from the front. Unit vectors in
/// the model's own coordinates.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Frame {
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
        if tilt > 179.5 {
            return "straight down".to_owned();
        }
        format!("{tilt:.0} degrees off upright to the {}", self.side(direction))
    }
}

/// Where things are on a model: what words need to name a place.
pub(crate) struct Whereabouts {
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
    /// `model` is any mesh of a model that stands with `up` away from the board; `board` is a point of the board, without
    /// which the model stands on it.
    pub fn of(up: Vector, board: Option<&Point>, model: &TriangleMesh) -> Self {
        let frame = Frame::new(up);
        let (low, high) = model.bounds().unwrap_or_default();
        let middle = crate::nalgebra::center(&low, &high);
        let Some(axes) = frame else { return Self { frame, board: 0.0, middle, core: 0.0 } };
        let height = |p: &Point| p.coords.dot(&axes.up);
        let lowest = || model.positions.iter().map(height).fold(f64::INFINITY, f64::min);
        let board = board.map_or_else(lowest, height);
        let reach = |axis: &Vector| {
            model.positions.iter().map(|p| (p - middle).dot(axis).abs()).fold(0.0, f64::max)
        };
        let core = CORE * reach(&axes.right).max(reach(&axes.back));
        Self { frame, board, middle, core }
    }

    /// A place: height above the board, and side. Its coordinates in whole millimetres where no up is known.
    pub fn place(&self, p: &Point) -> String {
        self.above_board(p).unwrap_or_else(|| {
            // A rounded -0.4 is no -0.
            let [x, y, z] = [p.x, p.y, p.z].map(|x| x.round() + 0.0);
            format!("at ({x:.0}, {y:.0}, {z:.0})")
        })
    }

    /// A place that something begins or ends at: "from" and "to" go before it.
    pub fn end(&self, p: &Point) -> String {
        let place = self.place(p);
        let bare = place.strip_prefix("on ").or_else(|| place.strip_prefix("at "));
        bare.map_or_else(|| place.clone(), str::to_owned)
    }

    /// From one place to another; where words do not tell them apart, the one.
    pub fn between(&self, from: &Point, to: &Point) -> String {
        let (here, there) = (self.end(from), self.end(to));
        if here == there { self.place(from) } else { format!("from {here}, to {there}") }
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
        let at = Whereabouts::of(Vector::z(), None, &model);
        for (point, words) in [
            ([0.0, -30.0, 35.0], "30 mm above the board, front"),
            ([30.0, 0.2, 35.0], "30 mm above the board, right"),
            ([-20.0, -20.0, 25.0], "20 mm above the board, front left"),
            ([1.0, 2.0, 65.0], "60 mm above the board, middle"),
            ([0.0, 20.0, 5.2], "on the board, back"),
            ([0.0, 20.0, 3.0], "2 mm below the board, back"),
        ] {
            assert_eq!(at.place(&Point::from(point)), words);
        }
        let (foot, side) = (Point::new(0.0, 20.0, 5.0), Point::new(30.0, 0.0, 35.0));
        assert_eq!(
            at.between(&foot, &side),
            "from the board, back, to 30 mm above the board, right"
        );
        assert_eq!(at.between(&foot, &Point::new(0.0, 21.0, 5.0)), "on the board, back");
    }

    /// The board is where it is said to be; without an up there is nothing but coordinates.
    #[test]
    fn the_board_may_be_elsewhere_and_up_unknown() {
        let ball = icosphere(30.0, 3);
        let at = Whereabouts::of(Vector::z(), Some(&Point::new(7.0, 7.0, -40.0)), &ball);
        assert_eq!(at.place(&Point::new(0.0, 0.0, 30.0)), "70 mm above the board, middle");
        let at = Whereabouts::of(Vector::zeros(), None, &ball);
        assert_eq!(at.place(&Point::new(0.2, -0.4, 30.0)), "at (0, 0, 30)");
    }

    /// A model that lies on its side: up is its own -y, so its +y side is on the board.
    #[test]
    fn sides_and_height_follow_the_board_not_the_axes() {
        let at = Whereabouts::of(-Vector::y(), None, &icosphere(30.0, 3));
        assert_eq!(at.place(&Point::new(25.0, -10.0, 0.0)), "40 mm above the board, right");
        // Right is +x, so back is up x right = -y x +x = +z.
        assert_eq!(at.place(&Point::new(0.0, 0.0, 30.0)), "30 mm above the board, back");
    }

    #[test]
    fn ways_are_told_by_tilt_and_side() {
        let frame = Frame::new(Vector::z()).expect("up is given");
        assert_eq!(frame.way(&Vector::z()), "straight up");
        let (sin, cos) = 45f64.to_radians().sin_cos();
        assert_eq!(frame.way(&Vector::new(-sin, 0.0, cos)), "45 degrees off upright to the left");
        assert_eq!(frame.way(&Vector::new(0.0, -1.0, 0.0)), "90 degrees off upright to the front");
        assert_eq!(frame.way(&-Vector::z()), "straight down");
    }
}
