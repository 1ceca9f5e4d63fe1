//! What the rubber of a trial has gone through: stretch, tears, how far it came, its bridges.

use rayon::prelude::*;

use super::cores::pierced;
use super::course::Course;
use super::relax::Relaxation;
use super::report::{BridgePlace, BridgeReport, all_but_a_hundredth};
use super::rig::Rig;
use super::solid::{Skin, longest_edge};
use crate::mesh::{Point, Vector};

/// Rubber tears where its stretch, averaged over a ball of this diameter, mm, passes the elongation at break. Stretch
/// at the end of a cut has no greatest value: it grows with finer elements, so it only means something over a
/// length. Common practice, no source.
const TEAR_LENGTH: f64 = 10.0;

impl Rig<'_> {
    /// Note the stretch; tells whether the rubber has torn.
    pub(super) fn measure(&self, x: &[Point], course: &mut Course) -> bool {
        let stretches = self.elastic.stretches(x);
        let greatest = stretches.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1));
        if let Some((e, stretch)) = greatest.filter(|(_, l)| **l - 1.0 > course.greatest.0) {
            course.greatest = (stretch - 1.0, self.body.solid.middle(e));
        }
        course.stretch_99 = course.stretch_99.max(self.hundredth(&stretches));
        course.overlap = course.overlap.max(self.overlap(x));
        course.pierced = course.pierced.max(pierced(&self.cores, &self.body.solid.elements, x));
        self.overstretched(&stretches)
    }

    /// The strain that all but a hundredth of the rubber stays below.
    pub(super) fn hundredth(&self, stretches: &[f64]) -> f64 {
        let solid = &self.body.solid;
        let volumes = (0..solid.elements.len()).map(|e| solid.volume(e));
        all_but_a_hundredth(stretches.iter().copied().zip(volumes)) - 1.0
    }

    /// Whether rubber tears at these stretches: averaged over a ball of [`TEAR_LENGTH`].
    pub(super) fn overstretched(&self, stretches: &[f64]) -> bool {
        let limit = 1.0 + self.setup.rubber.elongation_at_break;
        let solid = &self.body.solid;
        let beyond = stretches.iter().enumerate().filter(|(_, l)| **l > limit);
        beyond.map(|(e, _)| solid.middle(e)).any(|middle| {
            let near = (0..stretches.len())
                .filter(|&k| (solid.middle(k) - middle).norm() <= 0.5 * TEAR_LENGTH);
            let (sum, volume) = near.fold((0.0, 0.0), |(sum, volume), k| {
                let own = solid.volume(k);
                (sum + own * stretches[k], volume + own)
            });
            sum > limit * volume
        })
    }

    /// How deep the middle of an element lies in the model, though its nodes don't, over the element's
    /// longest edge.
    fn overlap(&self, x: &[Point]) -> f64 {
        self.body
            .solid
            .elements
            .par_iter()
            .filter(|nodes| nodes.iter().any(|n| self.skin.binary_search(n).is_ok()))
            .map(|nodes| {
                let corners = nodes.map(|n| x[n as usize]);
                let sum: Vector = corners.iter().map(|p| p.coords).sum();
                -self.model.distance(&Point::from(sum / 4.0)) / longest_edge(&corners).max(1e-9)
            })
            .reduce(|| 0.0, f64::max)
    }

    /// How far the outside has come on average, mm.
    pub(super) fn travel(&self, rubber: &Relaxation<'_>, direction: &Vector) -> f64 {
        let solid = &self.body.solid;
        let (mut sum, mut weight) = (0.0, 0.0);
        for n in (0..solid.nodes.len()).filter(|&n| solid.skins[n] == Skin::Outside) {
            let w = self.elastic.node_volume(n);
            sum += w * (rubber.x[n] - solid.nodes[n]).dot(direction);
            weight += w;
        }
        if weight > 0.0 { sum / weight } else { 0.0 }
    }

    pub(super) fn bridges(&self, rubber: &Relaxation<'_>) -> Vec<BridgeReport> {
        let strains = self.elastic.stretches(&rubber.x);
        let solid = &self.body.solid;
        let one = |bridge: &BridgePlace| {
            let near = |p: &Point| (p - bridge.centre).norm() <= bridge.radius;
            let stretch = (0..solid.elements.len())
                .filter(|&e| near(&solid.middle(e)))
                .map(|e| strains[e] - 1.0)
                .fold(0.0, f64::max);
            let gap = (0..solid.nodes.len())
                .filter(|&n| solid.skins[n] == Skin::Model && near(&solid.nodes[n]))
                .map(|n| self.model.distance(&rubber.x[n]))
                .fold(0.0, f64::max);
            BridgeReport { stretch, gap }
        };
        self.setup.bridges.iter().map(one).collect()
    }
}
