//! How long a bridge is along its hole.

use crate::mesh::{Point, Vector};

use super::solid::Solid;

/// Length of the hole along `axis`, mm: how far the model's wall reaches either way at the rim,
/// the median over the rim.
///
/// At a rim point the wall is followed into the model, away from the hole's middle, in small
/// steps. At each step the model's thickness along the axis is measured either way; it grows as
/// long as the wall still leans outward and stops at the lip. On a torus lying round the axis this
/// gives twice the tube's radius, in a drilled plate the plate's thickness.
pub(super) fn depth(
    solid: &Solid<'_>,
    rim: &[Point],
    centre: Point,
    axis: Vector,
    step: f64,
) -> f64 {
    let reach = solid.mesh.longest_side() * 2.0;
    let mut thicknesses: Vec<f64> = rim
        .iter()
        .filter_map(|&p| {
            let into = -solid.nearest(p).normal;
            let away = into - axis * into.dot(&axis);
            // On the mouth of a hole the nearest face may be the one beside it.
            let away = away.try_normalize(0.3).or_else(|| {
                let out = p - centre;
                (out - axis * out.dot(&axis)).try_normalize(1e-9)
            })?;
            wall(solid, p, axis, away, step, reach)
        })
        .collect();
    if thicknesses.is_empty() {
        return 0.0;
    }
    thicknesses.sort_by(f64::total_cmp);
    thicknesses[thicknesses.len() / 2]
}

/// Greatest thickness on the way to the lip, or `None` where the way starts outside the model.
fn wall(
    solid: &Solid<'_>,
    from: Point,
    axis: Vector,
    away: Vector,
    step: f64,
    reach: f64,
) -> Option<f64> {
    let (mut up, mut down) = (0.0f64, 0.0f64);
    let (mut up_done, mut down_done) = (false, false);
    let mut started = false;
    for k in 1..400 {
        let on_way = from + away * (step * k as f64);
        // A rim on the mouth of a hole runs along the face beside it, where inside and outside
        // cannot be told: look just either side.
        let nudged = [0.25, -0.25].map(|part| on_way + axis * (part * step));
        let Some(at) = nudged.into_iter().find(|&p| solid.nearest(p).inside) else {
            if k > 2 {
                break;
            }
            continue;
        };
        started = true;
        for (sign, best, done) in [(1.0, &mut up, &mut up_done), (-1.0, &mut down, &mut down_done)]
        {
            if *done {
                continue;
            }
            let Some(thick) = solid.cast(at, axis * sign, reach) else {
                *done = true;
                continue;
            };
            // Beyond the lip the wall falls back, or stays level on a flat face.
            if thick > *best * (1.0 + 1e-3) {
                *best = thick;
            } else {
                *done = true;
            }
        }
        if up_done && down_done {
            break;
        }
    }
    started.then_some(up + down)
}
