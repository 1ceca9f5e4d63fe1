//! The rubber of a mould body as a region for the potential.

use rayon::prelude::*;

use super::crossings::InsideSpans;
use super::domain::line_start;
use super::offset::Within;
use super::{Domain, Grid, Lines, Skin, Stretch};
use crate::body::{MouldBody, Outside};
use crate::control::{Cancelled, Control};
use crate::mesh::{FaceId, Point, TriangleMesh};

/// The rubber between a model and the outside of its mould body, in the mould frame.
///
/// A body that stands on the board (its bottom is z = 0) is open there: no sheet ends on the board,
/// so the field is mirrored in it. The bottom of a body that hangs on a sprue is outside skin like
/// the rest. The gate is not treated apart: model is model.
pub struct RubberDomain<'a> {
    body: &'a MouldBody,
    model: &'a TriangleMesh,
    bounds: (Point, Point),
    on_board: bool,
}

impl<'a> RubberDomain<'a> {
    /// The rubber of `body`, which was built round `model`.
    pub fn new(body: &'a MouldBody, model: &'a TriangleMesh) -> Self {
        Self { body, model, bounds: body.bounds(), on_board: body.board().is_some() }
    }

    /// Narrowest rubber, mm: the thickness that all but one part in a hundred of the model's area
    /// exceed, measured along the faces' normals. The thinnest of all would be that of the sharpest
    /// inner corner, which is 0.
    pub fn narrowest(&self) -> f64 {
        let faces = self.model.faces.len();
        // Twenty thousand samples tell a part in a hundred well enough.
        let step = faces.div_ceil(20_000).max(1);
        let mut walls: Vec<(f64, f64)> = (0..faces.div_ceil(step))
            .into_par_iter()
            .filter_map(|n| {
                let face = FaceId((n * step) as u32);
                let normal = self.model.area_vector(face);
                let area = normal.norm();
                let middle = self.model.face_middle(face);
                let unit = normal.try_normalize(0.0)?;
                // Faces on the board have no rubber over them.
                let on_board = self.on_board && unit.z < -0.9 && middle.z < self.bounds.0.z + 0.1;
                (!on_board).then(|| (self.body.wall_thickness(&middle, &unit), area))
            })
            .collect();
        walls.sort_by(|a, b| a.0.total_cmp(&b.0));
        let total: f64 = walls.iter().map(|w| w.1).sum();
        let mut below = 0.0;
        for (wall, area) in &walls {
            below += area;
            if below >= 0.01 * total {
                return *wall;
            }
        }
        (self.bounds.1 - self.bounds.0).min()
    }

    /// The spans of one line inside the body, with the skin at either end.
    fn body_spans(
        &self,
        grid: &Grid,
        axis: usize,
        line: usize,
        inside_model: &[[f64; 2]],
        within: Option<&Within<'_>>,
    ) -> Vec<Stretch> {
        let start = line_start(grid, axis, line);
        let bottom = if self.on_board { Skin::Board } else { Skin::Outside };
        let skins = if axis == 2 { [bottom, Skin::Outside] } else { [Skin::Outside; 2] };
        let (low, high) = self.bounds;
        // A line on the board itself is rubber: it is the edge of the mirrored region.
        let above = |z: f64| if self.on_board { z >= low.z } else { z > low.z };
        match self.body.outside() {
            Outside::Box { .. } => {
                let misses = Grid::across(axis).iter().any(|&w| {
                    let under = if w == 2 { !above(start.z) } else { start[w] <= low[w] };
                    under || start[w] >= high[w]
                });
                if misses {
                    return Vec::new();
                }
                vec![Stretch { ends: [low[axis], high[axis]], skins }]
            }
            Outside::Cylinder { axis: (x, y), radius, bottom, top } => {
                let (dx, dy) = (start.x - x, start.y - y);
                let ends = if axis == 2 {
                    (dx.hypot(dy) < radius).then_some([bottom, top])
                } else {
                    let (away, middle) = if axis == 0 { (dy, x) } else { (dx, y) };
                    let half = (radius * radius - away * away).max(0.0).sqrt();
                    let hits = half > 0.0 && above(start.z) && start.z < top;
                    hits.then_some([middle - half, middle + half])
                };
                ends.map(|ends| Stretch { ends, skins }).into_iter().collect()
            }
            Outside::Offset { .. } => {
                within.map_or_else(Vec::new, |w| w.spans(grid, axis, line, inside_model, skins))
            }
        }
    }
}

/// Take the spans inside the model out of the spans inside the body.
fn without(body: &[Stretch], model: &[[f64; 2]]) -> Vec<Stretch> {
    let mut left = Vec::with_capacity(body.len() + model.len());
    for span in body {
        let mut from = (span.ends[0], span.skins[0]);
        for &[low, high] in model.iter().filter(|m| m[1] >= span.ends[0] && m[0] < span.ends[1]) {
            if low > from.0 {
                left.push(Stretch { ends: [from.0, low], skins: [from.1, Skin::Model] });
            }
            from = (from.0.max(high), Skin::Model);
        }
        if from.0 < span.ends[1] {
            left.push(Stretch { ends: [from.0, span.ends[1]], skins: [from.1, span.skins[1]] });
        }
    }
    left
}

impl Domain for RubberDomain<'_> {
    fn bounds(&self) -> (Point, Point) {
        self.bounds
    }

    fn on_board(&self) -> bool {
        self.on_board
    }

    fn trace(&self, grid: &Grid, control: &Control<'_>) -> Result<[Lines; 3], Cancelled> {
        let within = match self.body.outside() {
            Outside::Offset { thickness, .. } => {
                Some(Within::new(self.body.model(), thickness, self.bounds, grid, control)?)
            }
            _ => None,
        };
        let mut all: [Lines; 3] = Default::default();
        for (axis, lines) in all.iter_mut().enumerate() {
            control.check()?;
            let spans = InsideSpans::new(self.model, grid, axis);
            let found = (0..grid.line_count(axis))
                .into_par_iter()
                .map(|line| {
                    let model = spans.line(line);
                    without(&self.body_spans(grid, axis, line, model, within.as_ref()), model)
                })
                .collect();
            *lines = Lines::new(found);
        }
        Ok(all)
    }

    fn nearest(&self, point: &Point, skin: Skin) -> Option<Point> {
        let on_model = || self.body.model().closest(point).point;
        match (skin, self.body.outside()) {
            (Skin::Model, _) => Some(on_model()),
            (Skin::Board, _) => Some(Point::new(point.x, point.y, self.bounds.0.z)),
            (Skin::Outside, Outside::Box { low, high }) => {
                // The side that is nearest; a board is no outside.
                let sides = (0..3).flat_map(|w| [(w, low[w]), (w, high[w])]);
                let side = sides
                    .filter(|&(w, at)| !(self.on_board && w == 2 && at == low.z))
                    .min_by(|a, b| (point[a.0] - a.1).abs().total_cmp(&(point[b.0] - b.1).abs()))?;
                let mut on = *point;
                on[side.0] = side.1;
                Some(on)
            }
            (Skin::Outside, Outside::Cylinder { axis: (x, y), radius, bottom, top }) => {
                let (dx, dy) = (point.x - x, point.y - y);
                let r = dx.hypot(dy);
                let wall = (radius - r).abs();
                let below = if self.on_board { f64::INFINITY } else { (point.z - bottom).abs() };
                let above = (point.z - top).abs();
                if above <= wall && above <= below {
                    Some(Point::new(point.x, point.y, top))
                } else if below <= wall {
                    Some(Point::new(point.x, point.y, bottom))
                } else {
                    (r > 0.0).then(|| Point::new(x + dx * radius / r, y + dy * radius / r, point.z))
                }
            }
            (Skin::Outside, Outside::Offset { thickness, .. }) => {
                let foot = on_model();
                Some(foot + (point - foot).try_normalize(0.0)? * thickness)
            }
        }
    }
}
