//! Looking for tight rings, and taking those that are found.

use rayon::prelude::*;

use super::cut_set::CutSet;
use super::pool::RowPool;
use super::separation::{Crossing, Separator};
use crate::control::Control;
use crate::girth::Ring;

/// Rings asked of the separator at a time.
pub(super) const RINGS: usize = 40;

/// Move what was found useful to the front, in order of the last use.
pub(super) fn to_front(order: &mut Vec<usize>, hits: &[usize]) {
    let mut next: Vec<usize> = hits.to_vec();
    next.extend(order.iter().copied().filter(|t| !hits.contains(t)));
    *order = next;
}

/// Add rings and, for each new one, the tight rings next to it.
pub(super) fn add_rings(separator: &Separator<'_>, pool: &mut RowPool, rings: Vec<Ring>) {
    let mut new = rings;
    new.retain(|ring| !pool.knows(ring));
    let next: Vec<Vec<Ring>> = new.par_iter().map(|ring| separator.neighbours(ring)).collect();
    new.extend(next.into_iter().flatten());
    pool.add_rings(separator.graph(), new);
}

/// Take rings into a pool that are tight before anything but the bridges is cut; targets that gave
/// some come back.
pub fn first_rings(
    separator: &Separator<'_>,
    bridges: &CutSet,
    order: &[usize],
    pool: &mut RowPool,
    control: &Control<'_>,
) -> Vec<usize> {
    let graph = separator.graph();
    pool.add_rings(graph, separator.nested_rings());
    let cut = bridges.indicator(graph);
    let found = separator.tight_rings(&cut, Crossing::Forbidden, order, usize::MAX, control);
    pool.add_rings(graph, found.rings);
    found.hits
}
