//! What is seen of the rubber on its way.

use super::report::*;
use crate::mesh::{Point, Vector};

/// Progress of a trial that did not end in a release, at most.
const ALMOST: f64 = 0.99;

/// What has been seen, while opening and along one direction.
#[derive(Clone)]
pub(super) struct Course {
    pub outcome: Outcome,
    pub pull: Vec<PullPoint>,
    pub frames: Vec<Frame>,
    pub bridges: Vec<BridgeReport>,
    pub greatest: (f64, Point),
    pub stretch_99: f64,
    pub overlap: f64,
    /// The most of the model's cores that were in the rubber at once.
    pub pierced: usize,
    pub relaxation_steps: usize,
    /// Share of the way, see [`TrialReport::progress`].
    pub progress: f64,
}

impl Course {
    pub fn report(
        self,
        direction: Vector,
        elements: &[[u32; 4]],
        surface: &[[u32; 3]],
        mesh: MeshReport,
    ) -> TrialReport {
        TrialReport {
            outcome: self.outcome,
            direction,
            greatest_stretch: self.greatest.0,
            stretched_at: self.greatest.1,
            stretch_99: self.stretch_99,
            overlap: self.overlap,
            pull: self.pull,
            bridges: self.bridges,
            frames: self.frames,
            elements: elements.to_vec(),
            surface: surface.to_vec(),
            mesh,
            relaxation_steps: self.relaxation_steps,
            coarser: Vec::new(),
            progress: self.progress,
        }
    }

    /// Note a step; a pull that has not come to rest counts for nothing.
    pub fn note(&mut self, point: PullPoint, most: f64, length: f64) {
        let before = self.pull.iter().rfind(|p| p.settled && p.force < most);
        let from = before.map_or((0.0, 0.0), |p| (p.travel, p.force));
        self.pull.push(point);
        if !point.settled {
            return;
        }
        let share = if point.force <= most {
            1.0
        } else {
            ((most - from.1) / (point.force - from.1)).clamp(0.0, 1.0)
        };
        let far = from.0 + share * (point.travel - from.0);
        self.progress = self.progress.max((far / length).min(ALMOST));
    }

    /// Whether this came nearer to a release than another.
    pub fn is_nearer(&self, other: &Self) -> bool {
        self.progress > other.progress
    }
}
