//! Polylines: length, the point at a distance along one, the nearest point of one.

use super::Point;

/// Length, mm.
pub fn polyline_length(points: &[Point]) -> f64 {
    points.windows(2).map(|w| (w[1] - w[0]).norm()).sum()
}

/// The point at a distance along a polyline that has points, mm; the last one beyond its end.
pub fn point_along(points: &[Point], along: f64) -> Point {
    let mut left = along;
    for pair in points.windows(2) {
        let length = (pair[1] - pair[0]).norm();
        if length >= left && length > 0.0 {
            return pair[0] + (pair[1] - pair[0]) * (left / length);
        }
        left -= length;
    }
    points[points.len() - 1]
}

/// Distance of a point from a polyline, mm, and the polyline's point nearest to it; infinite, and
/// the point itself, where the polyline has no points.
pub fn nearest_on_polyline(points: &[Point], p: &Point) -> (f64, Point) {
    let mut best = points.first().map_or((f64::INFINITY, *p), |q| ((p - q).norm(), *q));
    for pair in points.windows(2) {
        let along = pair[1] - pair[0];
        let share = ((p - pair[0]).dot(&along) / along.norm_squared().max(1e-300)).clamp(0.0, 1.0);
        let q = pair[0] + along * share;
        let distance = (p - q).norm();
        if distance < best.0 {
            best = (distance, q);
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A corner of 3 and 4 mm, by hand.
    #[test]
    fn a_corner_by_hand() {
        let corner = [[0.0, 0.0, 0.0], [3.0, 0.0, 0.0], [3.0, 4.0, 0.0]].map(Point::from);
        assert_eq!(polyline_length(&corner), 7.0);
        assert_eq!(point_along(&corner, 5.0), Point::new(3.0, 2.0, 0.0));
        assert_eq!(point_along(&corner, 9.0), corner[2]);
        let (distance, nearest) = nearest_on_polyline(&corner, &Point::new(5.0, 1.0, 0.0));
        assert_eq!((distance, nearest), (2.0, Point::new(3.0, 1.0, 0.0)));
        assert_eq!(nearest_on_polyline(&corner[..1], &corner[1]), (3.0, corner[0]));
        assert_eq!(nearest_on_polyline(&[], &corner[1]), (f64::INFINITY, corner[1]));
    }
}
