//! What the potential in the rubber tells a plan: its saddles, and where it and the count of holes
//! disagree.

use super::near::{NearInMould, near_bridges};
use crate::body::{MouldBody, Outside};
use crate::bridges::{BridgeKind, BridgeReport, FieldHoles};
use crate::control::{Cancelled, Control};
use crate::field::{Domain, FieldError, Potential, Resolution, RubberDomain, Saddle, SaddleKind};
use crate::mesh::TriangleMesh;

/// Cells along the longest side of the body, unless memory allows fewer.
const CELLS: f64 = 128.0;
/// Memory that the solve may take, bytes: a million nodes, about a second of work for two cores.
const MOST_MEMORY: u64 = 80_000_000;
/// Least persistence of saddles that are looked at. Deep holes have low levels, since the potential
/// falls off along them like exp(-pi depth / width), so that this must be small; what a grid makes of
/// a smooth skin lies below it. No source.
const LEAST_PERSISTENCE: f64 = 2e-3;

/// The saddles of the potential in the rubber, in the mould frame.
pub(super) struct FieldFindings {
    saddles: Vec<Saddle>,
    spacing: f64,
    on_board: bool,
    /// Near-bridges with thin gaps, thinnest first.
    pub near: Vec<NearInMould>,
}

/// Solve for the potential in the rubber of `body`, which was built round `model`, and look for
/// its saddles. The inner error is for the person: a plan can be made without.
pub(super) fn look_at_field(
    body: &MouldBody,
    model: &TriangleMesh,
    control: &Control<'_>,
) -> Result<Result<FieldFindings, FieldError>, Cancelled> {
    let domain = RubberDomain::new(body, model);
    let found = Potential::solve(&domain, spacing(&domain), control).and_then(|u| {
        let saddles = u.saddles(LEAST_PERSISTENCE, Some(&domain), control)?.saddles;
        let (spacing, on_board) = (u.grid().spacing, domain.on_board());
        let near = near_bridges(body.model(), &saddles, on_board);
        Ok(FieldFindings { saddles, spacing, on_board, near })
    });
    match found {
        Err(FieldError::Cancelled) => Err(Cancelled),
        other => Ok(other),
    }
}

/// As fine as time and memory allow: gaps of the model may be narrower than any hole.
fn spacing(domain: &RubberDomain<'_>) -> f64 {
    spacing_of(domain, (CELLS, MOST_MEMORY))
}

/// The spacing of a grid with so many cells along the longest side, or of the finest that takes no more bytes.
pub(super) fn spacing_of(domain: &RubberDomain<'_>, (cells, memory): (f64, u64)) -> f64 {
    let (low, high) = domain.bounds();
    let gap = Resolution::WANTED_CELLS * (high - low).max() / cells;
    Resolution::choose(low, high, gap, memory).spacing
}

impl FieldFindings {
    /// For the search for bridges.
    pub fn holes(&self) -> FieldHoles<'_> {
        FieldHoles { saddles: &self.saddles, spacing: self.spacing }
    }

    /// A sentence where the potential shows more or fewer holes than the surface has.
    pub fn disagreement(&self, bridges: &BridgeReport, body: &MouldBody) -> Option<String> {
        let shown =
            self.saddles.iter().filter(|s| s.kind == SaddleKind::Bridge && s.resolved).count();
        // A body that hangs has rubber, not a board, below the feet.
        let arches = bridges.bridges.iter().filter(|b| b.kind == BridgeKind::Arch).count();
        let left_out = if self.on_board { 0 } else { arches };
        let expected = (bridges.holes as usize).saturating_sub(left_out);
        if shown == expected {
            return None;
        }
        let open = bridges.bridges.iter().filter(|b| !body.holds(&b.centre)).count();
        let reason = if open > 0 && matches!(body.outside(), Outside::Offset { .. }) {
            format!(
                "the blanket leaves the middle of {open} open, so that no rubber fills it and only \
                 the ring round the model has to be cut"
            )
        } else {
            format!(
                "a hole narrower than {:.1} mm is too fine for the grid, and parts of the model \
                 nearer to each other than {:.1} mm may look joined",
                crate::field::RESOLVED_WIDTH * self.spacing,
                self.spacing
            )
        };
        Some(format!(
            "a second check, of the rubber, shows {shown} {} where the model's surface and the board \
             make {expected}: {reason}. Look at each bridge before the pour",
            if shown == 1 { "hole" } else { "holes" }
        ))
    }
}

#[cfg(test)]
mod tests;
