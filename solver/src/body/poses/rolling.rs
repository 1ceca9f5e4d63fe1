//! On which facets a body comes to rest, and how often.
//!
//! Goldberg, K., Mirtich, B. V., Zhuang, Y., Craig, J., Carlisle, B. R., Canny, J. (1999), "Part pose statistics:
//! estimators and experiments", IEEE Transactions on Robotics and Automation 15:849 (the quasi-static estimator): a
//! body that is let down without a preference comes to lie on each facet of its hull as often as that facet takes up
//! directions from the centre of mass. Where the plumb line does not meet the facet it rolls over the side that the way
//! from the facet's middle to the plumb point crosses, until it comes to lie on one where the plumb line does. Bouncing
//! and sliding are not in it.

use super::facets::{Facet, Side};
use crate::mesh::{Point, Vector};

/// For each facet how often the body comes to rest on it: 0 where it does not stay.
pub(super) fn likelihoods(facets: &[Facet], centre: &Point) -> Vec<f64> {
    let next: Vec<Option<usize>> =
        facets.iter().map(|facet| rolls_to(facets, facet, centre)).collect();
    // Each roll lowers the centre of mass, so that from the highest on down all have been met by who rolls there.
    let mut order: Vec<usize> = (0..facets.len()).collect();
    order.sort_by(|&a, &b| facets[b].height.total_cmp(&facets[a].height).then(a.cmp(&b)));
    let mut likelihood: Vec<f64> = facets.iter().map(|facet| facet.share).collect();
    for f in order {
        if let Some(to) = next[f] {
            likelihood[to] += std::mem::take(&mut likelihood[f]);
        }
    }
    likelihood
}

/// The facet that a body rolls on to from one where its plumb line is beyond a side; `None` where it stays.
fn rolls_to(facets: &[Facet], facet: &Facet, centre: &Point) -> Option<usize> {
    if facet.margin(centre) >= 0.0 {
        return None;
    }
    let plumb = facet.plumb(centre);
    let lower = |to: &usize| facets[*to].height < facet.height;
    let crossed =
        facet.sides.iter().find(|side| crosses(facet, side, &plumb)).map(|side| side.beyond);
    // Where rounding hides the side that is crossed, the lowest neighbour is where it would end.
    crossed.filter(lower).or_else(|| {
        let beyond = facet.sides.iter().map(|side| side.beyond).filter(lower);
        beyond.min_by(|&a, &b| facets[a].height.total_cmp(&facets[b].height).then(a.cmp(&b)))
    })
}

/// Whether the way from a facet's middle to a point of its plane runs out over a side.
fn crosses(facet: &Facet, side: &Side, to: &Point) -> bool {
    let turn = |a: &Vector, b: &Vector| facet.normal.dot(&a.cross(b));
    let way = to - facet.middle;
    let (a, b) = (side.from - facet.middle, side.to - facet.middle);
    turn(&a, &way) >= 0.0
        && turn(&way, &b) >= 0.0
        && turn(&(side.to - side.from), &(to - side.from)) < 0.0
}
