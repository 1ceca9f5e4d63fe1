//! Which stretches of a line on the model are seen, and which the model hides.

use super::canvas::Spot;
use super::raster::Shot;
use super::surface::Foot;
use super::view::Camera;

/// How far a point is lifted off the surface, along the surface's normal, before it is held
/// against the depth buffer, px. Half a sample's diagonal is the least that keeps a line on a
/// slope from being hidden by its own slope.
const LIFT: f64 = 0.75;
/// What is given to it toward whoever looks besides, px, for the rounding of the depth buffer.
const SLACK: f64 = 0.25;
/// Stretches shorter than this on the picture take the state of what is before them, px.
const SHORTEST_RUN: f32 = 4.0;

/// Whether a point of the surface is seen.
pub(super) fn is_seen(foot: &Foot, camera: &Camera, shot: &Shot) -> bool {
    let [x, y, height] = camera.project(foot.point + foot.normal * (LIFT / camera.scale));
    shot.sees([x, y, height + SLACK])
}

/// A stretch of a line that is seen throughout, or hidden throughout.
#[derive(Clone, Debug)]
pub(super) struct Run {
    pub seen: bool,
    pub spots: Vec<Spot>,
}

/// A line on the model as one camera sees it.
#[derive(Clone, Debug)]
pub(super) struct Sighting {
    pub spots: Vec<Spot>,
    pub seen: Vec<bool>,
}

impl Sighting {
    pub fn new(feet: &[Foot], camera: &Camera, shot: &Shot) -> Self {
        let spots: Vec<Spot> = feet.iter().map(|foot| camera.spot(foot.point)).collect();
        let mut seen: Vec<bool> = feet.iter().map(|foot| is_seen(foot, camera, shot)).collect();
        calm(&spots, &mut seen);
        Self { spots, seen }
    }

    /// The line in stretches; neighbours share the spot where they meet.
    pub fn runs(&self) -> Vec<Run> {
        let mut runs: Vec<Run> = Vec::new();
        for (index, (&spot, &seen)) in self.spots.iter().zip(&self.seen).enumerate() {
            match runs.last_mut() {
                Some(run) if run.seen == seen => run.spots.push(spot),
                _ => {
                    let joint = index.checked_sub(1).map(|before| self.spots[before]);
                    runs.push(Run { seen, spots: joint.into_iter().chain([spot]).collect() });
                }
            }
        }
        runs
    }
}

/// Takes out flicker: a stretch of a few pixels between two of the other state joins them.
fn calm(spots: &[Spot], seen: &mut [bool]) {
    let mut from = 0;
    while from < seen.len() {
        let state = seen[from];
        let to = seen[from..].iter().position(|&s| s != state).map_or(seen.len(), |n| from + n);
        let length: f32 = spots[from..to].windows(2).map(|w| distance(w[0], w[1])).sum();
        if from > 0 && to < seen.len() && length < SHORTEST_RUN {
            seen[from..to].fill(!state);
        }
        from = to;
    }
}

pub(super) fn distance(a: Spot, b: Spot) -> f32 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn flicker_is_taken_out_and_ends_are_kept() {
        let spots: Vec<Spot> = (0..40).map(|x| [x as f32, 0.0]).collect();
        let mut seen = vec![true; 40];
        seen[10] = false;
        seen[20..].fill(false);
        seen[38..].fill(true);
        calm(&spots, &mut seen);
        assert!(seen[..20].iter().all(|&s| s));
        assert!(seen[20..38].iter().all(|&s| !s));
        assert!(seen[38..].iter().all(|&s| s));
    }

    #[test]
    fn runs_share_the_spot_where_they_meet() {
        let sighting = Sighting {
            spots: (0..6).map(|x| [x as f32, 0.0]).collect(),
            seen: vec![true, true, true, false, false, false],
        };
        let runs = sighting.runs();
        assert_eq!(runs.len(), 2);
        assert!(runs[0].seen && !runs[1].seen);
        assert_eq!(runs[0].spots.last(), runs[1].spots.first());
    }
}
