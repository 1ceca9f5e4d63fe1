//! What mending changed of a model's shape, kept with its places so that it can be shown.

use super::holes::Filled;
use super::{FaceId, Point, TriangleMesh};

/// Faces that are kept of all that changed: 7.2 MB. What is beyond is told and not shown.
const MOST_FACES: usize = 100_000;
/// Changes that are kept one by one.
const MOST_MENDS: usize = 10_000;

/// A triangle by its corners, mm.
pub type Corners = [Point; 3];

/// Kinds of change.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum MendKind {
    /// The solid was made anew: none of its faces is as given. The size is the largest deviation.
    Rebuilt,
    /// Faces that passed through others were cut out, and the hole filled. The size is how far the surface moved.
    CutOut,
    /// A hole was filled with a smooth patch. The size is its diameter.
    Filled,
    /// A flat opening was capped. The size is its diameter.
    Capped,
    /// A body within the model was dropped. The size is its longest side.
    Within,
    /// A body beside the model was dropped. The size is its longest side.
    Beside,
}

impl MendKind {
    /// Every kind, those that change most first.
    pub const ALL: [Self; 6] =
        [Self::Rebuilt, Self::CutOut, Self::Filled, Self::Capped, Self::Within, Self::Beside];
}

/// A change of a model's shape.
#[derive(Clone, Debug, PartialEq)]
pub struct Mend {
    /// What it is.
    pub kind: MendKind,
    /// Where, mm.
    pub place: Point,
    /// How large, mm; of what the kind says.
    pub size: f64,
    /// Faces that are new, or those of a body that was dropped. None where the whole surface is new, and where there were
    /// too many to keep.
    pub faces: Vec<Corners>,
}

/// All changes of a model, as far as they can be kept.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Mends {
    pub all: Vec<Mend>,
    faces: usize,
}

impl Mends {
    pub fn push(&mut self, kind: MendKind, place: Point, size: f64, faces: Vec<Corners>) {
        if self.all.len() == MOST_MENDS {
            return;
        }
        let fits = self.faces + faces.len() <= MOST_FACES;
        let faces = if fits { faces } else { Vec::new() };
        self.faces += faces.len();
        self.all.push(Mend { kind, place, size, faces });
    }

    /// Holes whose patches lie at the mesh's end, in their order.
    pub fn push_filled(&mut self, filled: &[Filled], mesh: &TriangleMesh) {
        let total: usize = filled.iter().map(|hole| hole.faces).sum();
        let mut first = mesh.faces.len() - total;
        for hole in filled {
            let faces = corners_of(mesh, first..first + hole.faces);
            first += hole.faces;
            self.push(MendKind::Filled, hole.place, hole.diameter, faces);
        }
    }

    pub fn extend(&mut self, others: Self) {
        for mend in others.all {
            self.push(mend.kind, mend.place, mend.size, mend.faces);
        }
    }
}

/// Corners of some faces.
pub(super) fn corners_of(
    mesh: &TriangleMesh,
    faces: impl IntoIterator<Item = usize>,
) -> Vec<Corners> {
    faces.into_iter().map(|f| mesh.corners(FaceId(f as u32))).collect()
}
