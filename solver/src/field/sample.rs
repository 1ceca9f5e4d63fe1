//! The potential and its slope between the nodes, and a little way beyond the skins.

use super::level::{CutNode, WHOLE, steps};
use super::{FieldError, Grid, Place, Potential};
use crate::mesh::{Point, Vector};

/// Layers of nodes beyond the skins that get a value: two, so that slopes by central differences
/// exist at every corner of a cell that the skin passes through, and one for steps beyond.
const LAYERS: usize = 3;
/// A node nearer to a skin than this, in spacings, says too little about the slope there. Errors of
/// the solution shrink towards the skin as well, so that it may be small.
const TOO_NEAR: f64 = 0.1;

/// What the solution meets at a skin.
pub(super) enum Beyond {
    /// A potential.
    Held(f64),
    /// No slope across the skin.
    Level,
}

/// Continue the solution beyond the skins, of which `skin` tells by the place where a leg is cut and by the
/// leg what is there. A node past a cut leg takes the parabola through the skin and the two nodes behind it that lie away from it (else a straight line); nodes farther
/// on continue the parabolas or straight lines of their neighbours. Means where several legs lead to a node.
pub(super) fn extend(
    grid: &Grid,
    places: &[Place],
    cuts: &[CutNode],
    skin: &dyn Fn(&Point, f32) -> Beyond,
    values: &mut [f64],
) {
    let steps = steps(grid.counts);
    let rubber = |n: usize| places[n] == Place::Rubber;
    for (value, place) in values.iter_mut().zip(places) {
        if *place != Place::Rubber {
            *value = f64::NAN;
        }
    }
    let mut beyond: Vec<(u32, f64)> = Vec::new();
    for cut in cuts {
        let node = cut.node as usize;
        for (way, &leg) in cut.legs.iter().enumerate() {
            if leg == WHOLE {
                continue;
            }
            let Some(other) = node.checked_add_signed(steps[way]) else { continue };
            if other >= places.len() || rubber(other) {
                continue;
            }
            let share = f64::from(leg.abs());
            let skin = match skin(&cut_place(grid, node, way, share), leg) {
                Beyond::Held(value) => value,
                Beyond::Level => {
                    beyond.push((other as u32, values[node]));
                    continue;
                }
            };
            // Values behind: at 0 (the node itself), -1, -2, as far as they are rubber.
            let behind = |back: isize| {
                let mut at = node;
                for _ in 0..back {
                    at = at.checked_add_signed(-steps[way])?;
                    if !rubber(at) {
                        return None;
                    }
                }
                Some((-(back as f64), values[at]))
            };
            let (near, far) = if share < TOO_NEAR { (1, 2) } else { (0, 1) };
            let value = match (behind(near), behind(far), behind(0)) {
                (Some(a), Some(b), _) => parabola((share, skin), a, b, 1.0),
                (Some(a), None, _) => straight((share, skin), a, 1.0),
                // A node alone between two skins: no slope steeper than over half a spacing.
                (_, _, Some((_, v))) => skin + (skin - v) * (1.0 - share) / share.max(0.5),
                _ => continue,
            };
            beyond.push((other as u32, value));
        }
    }
    let mut layer = settle(&mut beyond, values);
    for _ in 1..LAYERS {
        let mut beyond = Vec::new();
        for &node in &layer {
            for &step in &steps {
                let Some(next) = (node as usize).checked_add_signed(step) else { continue };
                if next >= values.len() || !values[next].is_nan() {
                    continue;
                }
                for &back in &steps {
                    let get = |times: isize| {
                        let at = next.checked_add_signed(times * back)?;
                        values.get(at).copied().filter(|v| !v.is_nan())
                    };
                    match (get(1), get(2), get(3)) {
                        (Some(a), Some(b), Some(c)) => {
                            beyond.push((next as u32, 3.0 * (a - b) + c));
                        }
                        (Some(a), Some(b), None) => beyond.push((next as u32, 2.0 * a - b)),
                        _ => {}
                    }
                }
            }
        }
        layer = settle(&mut beyond, values);
    }
}

/// Where the leg of a node is cut, at a share of its length.
pub(super) fn cut_place(grid: &Grid, node: usize, way: usize, share: f64) -> Point {
    let mut at = grid.position(grid.node(node));
    at[way / 2] += if way % 2 == 1 { share } else { -share } * grid.spacing;
    at
}

/// Write the mean of the values proposed for each node; the nodes written.
fn settle(proposed: &mut [(u32, f64)], values: &mut [f64]) -> Vec<u32> {
    proposed.sort_unstable_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let mut nodes = Vec::new();
    for group in proposed.chunk_by(|a, b| a.0 == b.0) {
        let sum: f64 = group.iter().map(|g| g.1).sum();
        values[group[0].0 as usize] = sum / group.len() as f64;
        nodes.push(group[0].0);
    }
    nodes
}

fn straight(a: (f64, f64), b: (f64, f64), x: f64) -> f64 {
    a.1 + (b.1 - a.1) * (x - a.0) / (b.0 - a.0)
}

/// The parabola through three points, by Neville's scheme.
fn parabola(a: (f64, f64), b: (f64, f64), c: (f64, f64), x: f64) -> f64 {
    let ab = straight(a, b, x);
    let bc = straight(b, c, x);
    straight((a.0, ab), (c.0, bc), x)
}

impl Potential {
    /// The potential and its slope (1/mm) at a point of the rubber, or up to a spacing beyond its
    /// skins. Trilinear between the nodes: the slopes by central differences, and the values that the
    /// nodes' values and slopes give at the point, so that parabolas are exact.
    pub fn sample(&self, point: &Point) -> Result<(f64, Vector), FieldError> {
        self.try_sample(point).ok_or(FieldError::NotInRubber { at: *point })
    }

    pub(super) fn try_sample(&self, point: &Point) -> Option<(f64, Vector)> {
        let mirrored = self.on_board && point.z < self.grid.origin.z;
        let mut from_origin = (point - self.grid.origin) / self.grid.spacing;
        if mirrored {
            from_origin.z = -from_origin.z;
        }
        let mut cell = [0usize; 3];
        let mut part = [0.0; 3];
        for axis in 0..3 {
            let x = from_origin[axis];
            if !(x >= 0.0 && x < (self.grid.counts[axis] - 1) as f64) {
                return None;
            }
            cell[axis] = x as usize;
            part[axis] = x - cell[axis] as f64;
        }
        let (mut value, mut slope) = (0.0, Vector::zeros());
        for corner in 0..8 {
            let mut weight = 1.0;
            let mut node = cell;
            for axis in 0..3 {
                let high = corner >> axis & 1;
                node[axis] += high;
                weight *= if high == 1 { part[axis] } else { 1.0 - part[axis] };
            }
            // Corners without weight may lie where there is no value.
            if weight > 0.0 {
                let index = self.grid.index(node);
                let away = Vector::from([0, 1, 2].map(|w| from_origin[w] - node[w] as f64));
                let here = self.slope_at(node, index);
                // Half the slope's share makes the mean exact for parabolas too.
                value += weight * (self.values[index] + 0.5 * here.dot(&away));
                slope += here * weight;
            }
        }
        if mirrored {
            slope.z = -slope.z;
        }
        (value.is_finite() && slope.iter().all(|s| s.is_finite()))
            .then_some((value, slope / self.grid.spacing))
    }

    /// Central differences at a node, per spacing; from one side where only one is known.
    fn slope_at(&self, node: [usize; 3], index: usize) -> Vector {
        let steps = steps(self.grid.counts);
        let mut slope = Vector::zeros();
        let here = self.values[index];
        for axis in 0..3 {
            let get = |forward: bool| {
                let edge = if forward { self.grid.counts[axis] - 1 } else { 0 };
                if node[axis] == edge {
                    // The mirror shows the node above again.
                    let again = self.on_board && axis == 2 && !forward;
                    return if again { self.values[index + steps[5] as usize] } else { f64::NAN };
                }
                let step = steps[2 * axis + usize::from(forward)];
                index.checked_add_signed(step).map_or(f64::NAN, |n| self.values[n])
            };
            let (low, high) = (get(false), get(true));
            slope[axis] = match (low.is_nan(), high.is_nan()) {
                (false, false) => 0.5 * (high - low),
                (false, true) => here - low,
                (true, false) => high - here,
                (true, true) => f64::NAN,
            };
        }
        slope
    }
}
