//! Signed distances, mm: negative inside. A [`Solid`] is a function of space that changes by at
//! most about its argument's step (Lipschitz bound 1), exact near its surface or close to it.

use std::sync::Arc;

use nalgebra::{Point3, Vector3};

/// A point in space, mm.
pub type P = Point3<f64>;
/// An offset, mm.
pub type V = Vector3<f64>;

/// A solid given by its signed distance.
#[derive(Clone)]
pub struct Solid(Arc<dyn Fn(P) -> f64 + Send + Sync>);

impl Solid {
    /// A solid from a function.
    pub fn new(distance: impl Fn(P) -> f64 + Send + Sync + 'static) -> Self {
        Self(Arc::new(distance))
    }
    /// Signed distance at a point, mm.
    pub fn at(&self, p: P) -> f64 {
        (self.0)(p)
    }
    /// Gradient by differences between the corners of a small tetrahedron; close to a unit vector.
    pub fn gradient(&self, p: P) -> V {
        const STEP: f64 = 1e-4;
        let corners = [[1.0, -1.0, -1.0], [-1.0, 1.0, -1.0], [-1.0, -1.0, 1.0], [1.0, 1.0, 1.0]];
        let sum: V =
            corners.map(V::from).iter().map(|corner| corner * self.at(p + corner * STEP)).sum();
        sum / (4.0 * STEP)
    }
    /// Both solids, with a sharp valley where they meet.
    pub fn or(&self, other: &Solid) -> Solid {
        let (a, b) = (self.clone(), other.clone());
        Solid::new(move |p| a.at(p).min(b.at(p)))
    }
    /// Both solids, with a fillet that starts where the two skins are `fillet` mm apart.
    pub fn blend(&self, other: &Solid, fillet: f64) -> Solid {
        let (a, b) = (self.clone(), other.clone());
        Solid::new(move |p| smooth_min(a.at(p), b.at(p), fillet))
    }
    /// What both solids share, with edges rounded over about `round` mm.
    pub fn both(&self, other: &Solid, round: f64) -> Solid {
        let (a, b) = (self.clone(), other.clone());
        Solid::new(move |p| -smooth_min(-a.at(p), -b.at(p), round))
    }
    /// The solid moved.
    pub fn shifted(&self, by: V) -> Solid {
        let a = self.clone();
        Solid::new(move |p| a.at(p - by))
    }
    /// The solid with its mirror image in the plane x = 0, sharp where they meet.
    pub fn twinned(&self) -> Solid {
        let a = self.clone();
        Solid::new(move |p| a.at(p).min(a.at(P::new(-p.x, p.y, p.z))))
    }
}

/// Polynomial smooth minimum (a common construction, from memory): equal to the minimum where the
/// two differ by more than `k`.
fn smooth_min(a: f64, b: f64, k: f64) -> f64 {
    let h = (k - (a - b).abs()).max(0.0) / k;
    a.min(b) - h * h * k / 4.0
}

/// A ball.
pub fn ball(centre: P, radius: f64) -> Solid {
    Solid::new(move |p| (p - centre).norm() - radius)
}

/// An ellipsoid with half-axes along x, y, z; a bound on the distance, exact on the surface.
pub fn ellipsoid(centre: P, half: V) -> Solid {
    let least = half.min();
    Solid::new(move |p| {
        let scaled = (p - centre).component_div(&half);
        let slope = (p - centre).component_div(&half.component_mul(&half)).norm();
        let norm = scaled.norm();
        // Close to the centre the first-order distance is a quotient of two small numbers.
        if slope < 1e-9 { -least } else { norm * (norm - 1.0) / slope }
    })
}

/// A ring about an axis through `centre`: `big` is the radius of its core circle.
pub fn ring(centre: P, axis: V, big: f64, small: f64) -> Solid {
    let axis = axis.normalize();
    Solid::new(move |p| {
        let offset = p - centre;
        let along = offset.dot(&axis);
        let out = (offset - axis * along).norm();
        (out - big).hypot(along) - small
    })
}

/// A rod with round ends whose radius goes evenly from `ra` at `a` to `rb` at `b`.
pub fn rod(a: P, ra: f64, b: P, rb: f64) -> Solid {
    chain(vec![(a, ra), (b, rb)])
}

/// Beyond this distance from a box round a costly shape, mm, the distance to the box stands for the
/// distance to the shape. It is larger than any fillet, so that no surface depends on it.
const FAR: f64 = 20.0;

/// A round rod along a line of points, each with the radius there.
pub fn chain(points: Vec<(P, f64)>) -> Solid {
    let far = V::repeat(f64::INFINITY);
    let (low, high) = points.iter().fold((P::from(far), P::from(-far)), |(low, high), (p, r)| {
        (low.inf(&(p - V::repeat(*r))), high.sup(&(p + V::repeat(*r))))
    });
    Solid::new(move |p| {
        let to_box = (low - p).sup(&(p - high)).max();
        if to_box > FAR {
            return to_box;
        }
        let parts = points.windows(2).map(|ends| {
            let ((a, ra), (b, rb)) = (ends[0], ends[1]);
            let along = b - a;
            let t = ((p - a).dot(&along) / along.norm_squared()).clamp(0.0, 1.0);
            (p - (a + along * t)).norm() - (ra + t * (rb - ra))
        });
        parts.fold(f64::INFINITY, f64::min)
    })
}

/// Points with radii along a smooth curve through the given ones, twelve to each span.
pub fn smooth_line(points: &[(P, f64)]) -> Vec<(P, f64)> {
    let values: Vec<[f64; 4]> = points.iter().map(|(p, r)| [p.x, p.y, p.z, *r]).collect();
    spline(&values, 12).into_iter().map(|[x, y, z, r]| (P::new(x, y, z), r)).collect()
}

/// A round rod along a smooth curve through the given points, each with the radius there.
pub fn limb(points: &[(P, f64)]) -> Solid {
    chain(smooth_line(points))
}

/// A solid of revolution about the z axis. The profile is a smooth curve through the given (r, z),
/// rising from below the board or from the axis, and ending on the axis; below its first point the
/// solid has no skin.
pub fn turned(profile: &[(f64, f64)]) -> Solid {
    let values: Vec<[f64; 2]> = profile.iter().map(|&(r, z)| [r, z]).collect();
    let mut outline = spline(&values, 10);
    for point in &mut outline {
        point[0] = point[0].max(0.0);
    }
    let (widest, lowest, highest) = outline
        .iter()
        .fold((0.0f64, f64::INFINITY, f64::NEG_INFINITY), |(widest, lowest, highest), &[r, z]| {
            (widest.max(r), lowest.min(z), highest.max(z))
        });
    Solid::new(move |p| {
        let r = p.x.hypot(p.y);
        let to_box = (r - widest).max(p.z - highest).max(lowest - p.z);
        if to_box > FAR { to_box } else { under_outline(&outline, r, p.z) }
    })
}

/// Signed distance to an outline in the half-plane (r, z), r >= 0, by the crossing rule: a walk
/// outwards from an inside point crosses it an odd number of times.
fn under_outline(outline: &[[f64; 2]], r: f64, z: f64) -> f64 {
    let mut nearest = f64::INFINITY;
    let mut inside = false;
    for ends in outline.windows(2) {
        let [from, to] = [ends[0], ends[1]];
        let (er, ez) = (to[0] - from[0], to[1] - from[1]);
        let (wr, wz) = (r - from[0], z - from[1]);
        let square = er * er + ez * ez;
        if square > 0.0 {
            let t = ((wr * er + wz * ez) / square).clamp(0.0, 1.0);
            nearest = nearest.min((wr - t * er).powi(2) + (wz - t * ez).powi(2));
        }
        if (from[1] > z) != (to[1] > z) && r < from[0] + er * (z - from[1]) / ez {
            inside = !inside;
        }
    }
    if inside { -nearest.sqrt() } else { nearest.sqrt() }
}

/// Points along a Catmull-Rom curve (a common construction, from memory) through `points`, `parts` to each span.
fn spline<const N: usize>(points: &[[f64; N]], parts: usize) -> Vec<[f64; N]> {
    let last = points.len() - 1;
    let at = |k: isize| points[k.clamp(0, last as isize) as usize];
    let mut curve = vec![points[0]];
    for span in 0..last as isize {
        let [a, b, c, d] = [at(span - 1), at(span), at(span + 1), at(span + 2)];
        for part in 1..=parts {
            let t = part as f64 / parts as f64;
            curve.push(std::array::from_fn(|k| {
                0.5 * (2.0 * b[k]
                    + (c[k] - a[k]) * t
                    + (2.0 * a[k] - 5.0 * b[k] + 4.0 * c[k] - d[k]) * t * t
                    + (3.0 * b[k] - a[k] - 3.0 * c[k] + d[k]) * t * t * t)
            }));
        }
    }
    curve
}

/// An upright block with drafted sides, centred on the z axis: `half` are its half-widths at
/// z = 0, each side leans in by `draft` degrees, the top is at `height`, and edges are rounded
/// over about `round` mm. It goes on below z = 0.
pub fn drafted_block(half: [f64; 2], height: f64, draft: f64, round: f64) -> Solid {
    let (sine, cosine) = draft.to_radians().sin_cos();
    let side =
        |axis: usize| Solid::new(move |p: P| (p[axis].abs() - half[axis]) * cosine + p.z * sine);
    let top = Solid::new(move |p: P| p.z - height);
    side(0).both(&side(1), round).both(&top, round)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(found: f64, expected: f64) {
        assert!((found - expected).abs() < 1e-9, "{found}, expected {expected}");
    }

    #[test]
    fn distances_on_known_places() {
        let origin = P::origin();
        close(ball(origin, 5.0).at(P::new(0.0, 8.0, 0.0)), 3.0);
        close(ring(origin, V::z(), 10.0, 2.0).at(origin), 8.0);
        close(ring(origin, V::z(), 10.0, 2.0).at(P::new(0.0, 10.0, 0.0)), -2.0);
        let stick = rod(origin, 2.0, P::new(10.0, 0.0, 0.0), 4.0);
        close(stick.at(P::new(5.0, 7.0, 0.0)), 4.0);
        close(stick.at(P::new(-6.0, 0.0, 0.0)), 4.0);
        close(ellipsoid(origin, V::new(3.0, 4.0, 5.0)).at(P::new(0.0, 4.0, 0.0)), 0.0);
    }

    #[test]
    fn turned_solid_is_inside_below_its_outline() {
        let cone = turned(&[(10.0, 0.0), (0.0, 10.0)]);
        close(cone.at(P::new(0.0, 0.0, 10.0)), 0.0);
        close(cone.at(P::new(10.0, 0.0, 10.0)), 10.0 / 2.0f64.sqrt());
        assert!(cone.at(P::new(0.0, 3.0, 4.0)) < 0.0);
    }

    /// A blend never takes anything away, and adds nothing where the skins are far apart.
    #[test]
    fn blend_only_fills_the_valley() {
        let (a, b) = (ball(P::origin(), 5.0), ball(P::new(8.0, 0.0, 0.0), 5.0));
        let (sharp, soft) = (a.or(&b), a.blend(&b, 3.0));
        let valley = P::new(4.0, 3.2, 0.0);
        assert!(sharp.at(valley) > 0.0 && soft.at(valley) < 0.0);
        close(soft.at(P::new(-5.0, 0.0, 0.0)), 0.0);
        assert!(a.both(&b, 1e-9).at(P::new(4.0, 0.0, 0.0)) < 0.0);
        assert!(a.both(&b, 1e-9).at(P::origin()) > 0.0);
    }
}
