//! The cuts: elements on either side of a sheet no longer share nodes.

use super::TrialError;
use super::contact::RigidModel;
use super::lips::lay_along;
use super::solid::Solid;
use crate::mesh::{SurfaceLocator, TriangleMesh};
use crate::union_find::UnionFind;

/// A body with its cuts.
#[derive(Clone, Debug)]
pub struct Parted {
    /// The body; nodes on the cuts are there once for each side.
    pub solid: Solid,
    /// Separate pieces of rubber.
    pub pieces: usize,
    /// Faces between elements that were parted.
    pub parted_faces: usize,
}

/// What cuts part from the rest is a piece from this share of all rubber on. Less is a crumb of the mesh,
/// left between sheets that meet, and taken off: nothing would hold it.
const CRUMB: f64 = 5e-4;
/// So is what has the volume of fewer elements than this: that is no more than where the mesh is jagged. Whether the cuts
/// leave a loose piece of rubber is counted in finer cells elsewhere (`sheets::volume`).
const CRUMB_ELEMENTS: f64 = 20.0;

/// Part a body along sheets. Faces are laid along the sheets first; those between two elements are parted
/// if the line between the middles of the elements goes through a sheet; a node is split into the fans of
/// elements round it that still hang together face by face. No rubber is lost but crumbs.
pub fn part<'s>(
    solid: &Solid,
    sheets: impl IntoIterator<Item = &'s TriangleMesh>,
    model: Option<&RigidModel>,
) -> Result<Parted, TrialError> {
    let sheets: Vec<SurfaceLocator> = sheets
        .into_iter()
        .filter(|s| !s.faces.is_empty())
        .map(SurfaceLocator::new)
        .collect::<Result<_, _>>()?;
    let solid = &lay_along(solid, &sheets, model);
    let mut corners = UnionFind::new(4 * solid.elements.len());
    let mut parted_faces = 0;
    for (a, b) in solid.shared_faces() {
        let (from, to) = (solid.middle(a as usize), solid.middle(b as usize));
        let reach = (to - from).norm();
        let parted = sheets.iter().any(|s| s.ray(&from, &(to - from), reach).is_some());
        parted_faces += usize::from(parted);
        for (i, &n) in solid.elements[a as usize].iter().enumerate() {
            let Some(j) = solid.elements[b as usize].iter().position(|&m| m == n) else { continue };
            if !parted {
                corners.join(4 * a as usize + i, 4 * b as usize + j);
            }
        }
    }
    // A fan is known by its node and its first corner: new nodes are numbered in that order.
    let mut fans: Vec<(u32, u32)> = Vec::with_capacity(solid.nodes.len());
    let all: Vec<u32> = solid.elements.iter().flatten().copied().collect();
    for (corner, &n) in all.iter().enumerate() {
        if corners.root(corner) == corner {
            fans.push((n, corner as u32));
        }
    }
    fans.sort_unstable();
    let mut number = vec![0; all.len()];
    for (new, &(_, root)) in fans.iter().enumerate() {
        number[root as usize] = new as u32;
    }
    let new_elements = (0..solid.elements.len())
        .map(|e| [0, 1, 2, 3].map(|k| number[corners.root(4 * e + k)]))
        .collect();
    let whole = Solid {
        nodes: fans.iter().map(|&(n, _)| solid.nodes[n as usize]).collect(),
        skins: fans.iter().map(|&(n, _)| solid.skins[n as usize]).collect(),
        elements: new_elements,
    };
    let least = CRUMB.max(CRUMB_ELEMENTS / whole.elements.len().max(1) as f64);
    let solid = whole.without_crumbs(least.min(0.5));
    Ok(Parted { pieces: solid.pieces(), solid, parted_faces })
}
