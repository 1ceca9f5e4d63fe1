//! The knife's way along a surface that is given: the sheet between two sides of a model.
//!
//! On such a surface the knife follows the slope of the outer potential (0 on the model, 1 on the outside), kept on
//! the surface: the lines leave the model squarely, reach the outside squarely and never meet. A blade is
//! straight, so each is fitted by a ruling: straight where that stays near it, else with one turn.

use super::access::Access;
use super::line::{CutLine, Place, set_out};
use super::rulings::Ruling;
use super::section::Ground;
use super::{Sheet, SheetError, SheetSettings};
use crate::body::{ExitSide, MouldBody};
use crate::control::Control;
use crate::field::Potential;
use crate::mesh::{Point, Topology, TriangleMesh, Vector, nearest_on_polyline, polyline_length};

/// The two potentials that lead a knife along a surface.
#[derive(Clone, Copy)]
pub struct SheetFlow<'a> {
    /// Zero on the surface.
    pub across: &'a Potential,
    /// 0 on the model, 1 on the outside.
    pub outer: &'a Potential,
    /// How far short of the outside the knife stops, mm.
    pub short_of: f64,
}

/// A line is followed in steps of this share of the grid's spacing.
const STEP: f64 = 0.5;
/// Steps of a line at most.
const MOST_STEPS: usize = 4000;
/// A straight ruling may lie so far from the surface before one with a turn is looked for, mm: a seam is
/// seen at the model, and there both start alike (common sense, no source).
const STRAIGHT_WITHIN: f64 = 2.0;

/// The sheet of a cut line that lies on `surface`, whose rulings follow it.
pub fn traced_sheet(
    body: &MouldBody,
    model: &TriangleMesh,
    line: &CutLine,
    surface: TriangleMesh,
    flow: SheetFlow<'_>,
    settings: &SheetSettings,
    control: &Control<'_>,
) -> Result<Sheet, SheetError> {
    settings.check()?;
    let ground = Ground { mesh: model, topology: Topology::new(model)?, locator: body.model() };
    let access = Access { body, settings, obstacles: Vec::new() };
    let places = set_out(&ground, line, 0, settings)?;
    let mut rulings = Vec::with_capacity(places.places.len());
    for place in &places.places {
        control.check()?;
        let way = flow.way_out(&place.frame.at, &place.frame.normal, body);
        rulings.push(fitted(place, &way, &access));
    }
    let foot = [line.starts_at_gate, line.ends_at_gate].map(|at| body.board().filter(|_| at));
    let mut sheet = Sheet::new(&places, &rulings, foot, settings);
    sheet.area = surface.area();
    sheet.mesh = surface;
    Ok(sheet)
}

/// A line from the model to the outside.
struct Way {
    points: Vec<Point>,
    /// Whether it got there.
    arrives: bool,
}

impl SheetFlow<'_> {
    /// From a point of the model along the surface to the outside, or as near to it as the knife goes.
    fn way_out(&self, from: &Point, normal: &Vector, body: &MouldBody) -> Way {
        let step = STEP * self.outer.grid().spacing;
        let mut points = vec![*from];
        let mut at = *from;
        let mut ahead = *normal;
        for _ in 0..MOST_STEPS {
            if let Some(direction) = self.direction(&at) {
                ahead = direction;
            }
            let next = self.back_on(&(at + ahead * step), 0.5 * step);
            if !body.holds(&next) {
                let exit = body.exit(&at, &(next - at).try_normalize(1e-12).unwrap_or(ahead));
                points.push(at + (next - at).normalize() * exit.distance);
                return Way { points, arrives: true };
            }
            // A line that turns back on itself has lost its way.
            if (next - at).norm() < 0.1 * step {
                break;
            }
            points.push(next);
            if self.short_of > 0.0 && body.depth_below_outside(&next) <= self.short_of {
                return Way { points, arrives: true };
            }
            at = next;
        }
        Way { points, arrives: false }
    }

    /// Up the outer potential, within the surface.
    fn direction(&self, at: &Point) -> Option<Vector> {
        let (_, up) = self.outer.sample(at).ok()?;
        let (_, across) = self.across.sample(at).ok()?;
        let normal = across.try_normalize(1e-12)?;
        (up - normal * up.dot(&normal)).try_normalize(1e-12)
    }

    /// Back onto the surface, by at most `most` mm.
    fn back_on(&self, at: &Point, most: f64) -> Point {
        let Ok((level, slope)) = self.across.sample(at) else { return *at };
        let off = slope * (level / slope.norm_squared().max(1e-12));
        let length = off.norm();
        if length > most { at - off * (most / length) } else { at - off }
    }
}

/// The ruling that fits a way best.
fn fitted(place: &Place, way: &Way, access: &Access<'_>) -> Ruling {
    let points = &way.points;
    let (first, last) = (points[0], points[points.len() - 1]);
    let frame = &place.frame;
    let settings = access.settings;
    let unit = |d: Vector| d.try_normalize(1e-9).unwrap_or(frame.normal);
    let straight = deviation(points, &[first, last]);
    let lean = unit(last - first).angle(&frame.normal).to_degrees();
    let passes = |a: &Point, b: &Point, behind: f64| {
        access.keeps_clear(a, &unit(b - a), (b - a).norm(), behind)
    };
    let is_straight = straight <= STRAIGHT_WITHIN && lean <= settings.acceptable_lean();
    let is_enough = is_straight && passes(&first, &last, 0.0);
    let turn = if is_enough { None } else { best_turn(points, &frame.normal, settings) };
    let turn = turn.filter(|&k| {
        let bent = deviation(points, &[first, points[k], last]);
        bent < 0.8 * straight || lean > settings.acceptable_lean()
    });
    let turn = turn.map(|k| points[k]);
    let first_way = unit(turn.unwrap_or(last) - first);
    let last_way = unit(last - turn.unwrap_or(first));
    let depth = turn.map_or((last - first).norm(), |t| (t - first).norm() + (last - t).norm());
    Ruling {
        first: first_way,
        turn,
        last: last_way,
        outside: last,
        depth,
        side: ExitSide::Free,
        blocked: !way.arrives,
        lean: frame.lean_of(&last_way),
        local: frame.local(&last_way),
        price: 0.0,
    }
}

/// The point of a way at which a ruling turns: from where its first piece leans off square to the model by no more than is acceptable,
/// or by the least, the one with which it comes nearest to the way. The first piece is as long as one of a turned ruling at least, and
/// no longer than half of the way.
fn best_turn(points: &[Point], normal: &Vector, settings: &SheetSettings) -> Option<usize> {
    let half = 0.5 * polyline_length(points);
    let (first, last) = (points[0], points[points.len() - 1]);
    // A dozen places are enough to tell where a smooth line turns.
    let each = (points.len() / 24).max(1);
    let mut along = 0.0;
    let mut best: Option<([f64; 2], usize)> = None;
    for k in 1..points.len().saturating_sub(1) {
        along += (points[k] - points[k - 1]).norm();
        if along > half {
            break;
        }
        if along < settings.turn_length.min(0.5 * half) || k % each != 0 {
            continue;
        }
        let lean = (points[k] - first).angle(normal).to_degrees();
        let too_far = (lean - settings.acceptable_lean()).max(0.0);
        let off = deviation(points, &[first, points[k], last]);
        if best.is_none_or(|(least, _)| [too_far, off] < least) {
            best = Some(([too_far, off], k));
        }
    }
    best.map(|(_, k)| k)
}

/// How far the points lie from a ruling at most, mm.
fn deviation(points: &[Point], ruling: &[Point]) -> f64 {
    points.iter().map(|p| nearest_on_polyline(ruling, p).0).fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A way that leaves the model squarely for 6 mm, runs level for 20 mm, and then up again. The turn that fits it best lies where it
    /// runs up again: the knife would come to the model 68 degrees off square.
    #[test]
    fn a_turned_ruling_comes_to_the_model_as_square_as_is_asked() {
        let corners = [[0.0, 0.0], [0.0, 6.0], [20.0, 8.0], [20.0, 60.0]];
        let mut points = vec![Point::origin()];
        for pair in corners.windows(2) {
            let [a, b] = [pair[0], pair[1]].map(|[x, z]| Point::new(x, 0.0, z));
            let steps = ((b - a).norm() / 0.5).round() as i32;
            points.extend((1..=steps).map(|k| a + (b - a) * (f64::from(k) / f64::from(steps))));
        }
        let settings = SheetSettings::default();
        let turn = points[best_turn(&points, &Vector::z(), &settings).expect("a turn")];
        let lean = turn.coords.angle(&Vector::z()).to_degrees();
        assert!(lean <= settings.acceptable_lean(), "{lean}");
        assert!(turn.coords.norm() >= settings.turn_length, "{turn}");
        // Where none is good enough the least is taken.
        let level = points.iter().map(|p| Point::new(p.z, 0.0, 0.2 * p.x)).collect::<Vec<_>>();
        assert!(best_turn(&level, &Vector::z(), &settings).is_some());
    }
}
