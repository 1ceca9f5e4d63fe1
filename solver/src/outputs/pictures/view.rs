//! The usual sides, and where a point of the model lands on a picture.

use crate::mesh::{Point, Vector};
use crate::outputs::whereabouts::Frame;

/// One side to look from.
#[derive(Clone, Copy, Debug)]
pub(super) struct View {
    /// Short name, fit for a file name.
    pub name: &'static str,
    /// In words.
    pub title: &'static str,
    /// Direction that points to the right on the picture.
    pub right: Vector,
    /// Direction that points up on the picture.
    pub up: Vector,
    /// Direction from the model to whoever looks.
    pub toward: Vector,
}

/// Names and titles of the seven sides, in their order.
pub(super) const USUAL: [(&str, &str); 7] = [
    ("front", "Front"),
    ("back", "Back"),
    ("left", "Left side"),
    ("right", "Right side"),
    ("top", "From above (front edge at the bottom)"),
    ("below", "From the board side (front edge at the top)"),
    ("three-quarter", "Three-quarter, from the front right"),
];

/// The seven sides that every plan is drawn from.
pub(super) fn usual_views(frame: &Frame) -> [View; 7] {
    let Frame { right, back, up } = *frame;
    // Three-quarter: 35 degrees round to the right and 28 degrees down on to the model.
    let (turn, tilt) = (35f64.to_radians(), 28f64.to_radians());
    let across = right * turn.cos() + back * turn.sin();
    let level = right * turn.sin() - back * turn.cos();
    let raised = up * tilt.cos() - level * tilt.sin();
    let axes = [
        (right, up),
        (-right, up),
        (-back, up),
        (back, up),
        (right, back),
        (right, -back),
        (across, raised),
    ];
    std::array::from_fn(|k| {
        let ((name, title), (right, up)) = (USUAL[k], axes[k]);
        View { name, title, right, up, toward: right.cross(&up) }
    })
}

/// Those of them with these names, in the order of the names.
pub(super) fn views_named(frame: &Frame, names: &[&str]) -> Vec<View> {
    let all = usual_views(frame);
    names.iter().filter_map(|name| all.iter().find(|view| view.name == *name).copied()).collect()
}

/// Largest width and height of the model over all views, mm.
pub(super) fn extent(views: &[View], points: &[Point], centre: Point) -> [f64; 2] {
    let mut extent = [0f64; 2];
    for view in views {
        for point in points {
            let offset = point - centre;
            extent[0] = extent[0].max(2.0 * offset.dot(&view.right).abs());
            extent[1] = extent[1].max(2.0 * offset.dot(&view.up).abs());
        }
    }
    extent
}

/// A view laid on a picture: orthographic, the same scale everywhere.
#[derive(Clone, Copy, Debug)]
pub(super) struct Camera {
    pub view: View,
    /// The point of the model that lands on `middle`.
    pub centre: Point,
    /// Pixels per mm.
    pub scale: f64,
    /// Where `centre` lands, px.
    pub middle: [f64; 2],
}

impl Camera {
    /// Right and down on the picture, and height toward whoever looks, all in px.
    pub fn project(&self, point: Point) -> [f64; 3] {
        let offset = (point - self.centre) * self.scale;
        [
            self.middle[0] + offset.dot(&self.view.right),
            self.middle[1] - offset.dot(&self.view.up),
            offset.dot(&self.view.toward),
        ]
    }

    /// The point that is projected to these three.
    pub fn place(&self, [x, y, height]: [f64; 3]) -> Point {
        let View { right, up, toward, .. } = self.view;
        let off = right * (x - self.middle[0]) + up * (self.middle[1] - y) + toward * height;
        self.centre + off / self.scale
    }

    pub fn spot(&self, point: Point) -> [f32; 2] {
        let [x, y, _] = self.project(point);
        [x as f32, y as f32]
    }

    /// The same view on a picture `factor` times as fine.
    pub fn finer(&self, factor: f64) -> Self {
        Self {
            scale: self.scale * factor,
            middle: [self.middle[0] * factor, self.middle[1] * factor],
            ..*self
        }
    }
}

#[cfg(test)]
mod tests {
    use approx::assert_relative_eq;

    use super::*;

    #[test]
    fn sides_are_where_a_mould_maker_expects_them() {
        let views = usual_views(&Frame::new(Vector::z()).expect("up is given"));
        let toward = |name| views.iter().find(|view| view.name == name).expect("named").toward;
        assert_relative_eq!(toward("front"), -Vector::y());
        assert_relative_eq!(toward("back"), Vector::y());
        assert_relative_eq!(toward("left"), -Vector::x());
        assert_relative_eq!(toward("right"), Vector::x());
        assert_relative_eq!(toward("top"), Vector::z());
        assert_relative_eq!(toward("below"), -Vector::z());
        let slanted = toward("three-quarter");
        assert!(slanted.x > 0.3 && slanted.y < -0.3 && slanted.z > 0.3);
    }

    #[test]
    fn places_are_found_again() {
        for view in usual_views(&Frame::new(Vector::new(0.3, -2.0, 0.9)).expect("up is given")) {
            let camera = Camera {
                view,
                centre: Point::new(1.0, 2.0, 3.0),
                scale: 7.0,
                middle: [40.0, 30.0],
            };
            let point = Point::new(4.0, -5.0, 6.5);
            assert_relative_eq!(camera.place(camera.project(point)), point, epsilon = 1e-9);
        }
    }

    #[test]
    fn views_are_square_for_any_up() {
        for up in [Vector::z(), Vector::y(), -Vector::x(), Vector::new(0.3, -2.0, 0.9)] {
            for view in usual_views(&Frame::new(up).expect("up is given")) {
                assert_relative_eq!(view.right.norm(), 1.0, epsilon = 1e-12);
                assert_relative_eq!(view.up.norm(), 1.0, epsilon = 1e-12);
                assert_relative_eq!(view.right.cross(&view.up), view.toward, epsilon = 1e-12);
                assert_relative_eq!(view.right.dot(&view.up), 0.0, epsilon = 1e-12);
            }
        }
    }
}
