//! Bodies within bodies, and crumbs beside them: a mould sees the outside of one body only.

use super::check::{EdgeTally, at, bodies};
use super::mended::{MendKind, Mends, corners_of};
use super::rebuild::WindingNumbers;
use super::{Point, TriangleMesh};

/// A body is a crumb if it holds less than this share of the largest one's volume. No source.
const CRUMB: f64 = 1e-3;
/// Bodies, the largest first, within which others are looked for. No source.
const ENCLOSING: usize = 200;
/// Points of a body looked at to tell whether it is within another one.
const LOOKS: usize = 24;

/// A body with what is needed to tell where it is.
pub(super) struct Shell {
    pub mesh: TriangleMesh,
    pub closed: bool,
    /// Volume, mm^3: what is enclosed if it is closed, else that of its box.
    pub volume: f64,
    pub low: Point,
    pub high: Point,
}

impl Shell {
    pub fn middle(&self) -> Point {
        nalgebra::center(&self.low, &self.high)
    }

    /// Whether the other one's box lies within this one's.
    fn boxes(&self, other: &Self) -> bool {
        (0..3).all(|k| self.low[k] <= other.low[k] && self.high[k] >= other.high[k])
    }
}

/// The bodies of a mesh, largest surface first, and the body of each face.
pub(super) fn shells(mesh: &TriangleMesh) -> (Vec<u32>, Vec<Shell>) {
    let (body_of, sizes) = bodies(mesh);
    let mut parts = vec![TriangleMesh::default(); sizes.len()];
    let mut number = vec![u32::MAX; mesh.positions.len()];
    for (face, body) in mesh.faces.iter().zip(&body_of) {
        let part = &mut parts[*body as usize];
        // A vertex belongs to one body.
        let own = face.map(|v| {
            let slot = &mut number[v as usize];
            if *slot == u32::MAX {
                *slot = part.positions.len() as u32;
                part.positions.push(mesh.positions[v as usize]);
            }
            *slot
        });
        part.faces.push(own);
    }
    let shells = parts.into_iter().zip(sizes).map(|(mesh, size)| {
        let (low, high) = mesh.bounds().unwrap_or((Point::origin(), Point::origin()));
        let closed = EdgeTally::new(&mesh).is_sound();
        let sides = high - low;
        let volume = if closed { size.volume.abs() } else { sides.x * sides.y * sides.z };
        Shell { mesh, closed, volume, low, high }
    });
    (body_of, shells.collect())
}

/// Keep the faces of bodies for which `kept` holds.
pub(super) fn keep(mesh: &mut TriangleMesh, body_of: &[u32], kept: &[bool]) {
    let mut index = 0;
    mesh.faces.retain(|_| {
        index += 1;
        kept[body_of[index - 1] as usize]
    });
}

pub(super) fn litres(volume: f64) -> String {
    if volume < 10.0 { format!("{volume:.3} mm^3") } else { format!("{:.2} cm^3", volume / 1000.0) }
}

/// Notes bodies that are dropped.
pub(super) fn note(mends: &mut Mends, kind: MendKind, shells: &[Shell], dropped: &[usize]) {
    for shell in dropped.iter().map(|k| &shells[*k]) {
        let faces = corners_of(&shell.mesh, 0..shell.mesh.faces.len());
        mends.push(kind, shell.middle(), (shell.high - shell.low).max(), faces);
    }
}

/// Drop every closed body that lies wholly within another one, whichever way it looks: the mould does not see it.
/// `crossing` tells the faces that pass through others; a body that has one stays. A sentence for what was dropped.
pub(super) fn drop_inner(
    mesh: &mut TriangleMesh,
    crossing: &[u32],
    mends: &mut Mends,
) -> Option<String> {
    let (body_of, shells) = shells(mesh);
    if shells.len() < 2 {
        return None;
    }
    let mut crosses = vec![false; shells.len()];
    for f in crossing {
        crosses[body_of[*f as usize] as usize] = true;
    }
    let mut trees: Vec<Option<WindingNumbers>> = shells.iter().map(|_| None).collect();
    let mut kept = vec![true; shells.len()];
    let mut dropped = Vec::new();
    for (index, shell) in shells.iter().enumerate() {
        if !shell.closed || crosses[index] {
            continue;
        }
        let stride = shell.mesh.positions.len().div_ceil(LOOKS);
        let looks = || shell.mesh.positions.iter().step_by(stride);
        // Bodies are sorted by area, and what encloses another one nearly always has more.
        let within = (0..shells.len().min(ENCLOSING)).find(|&other| {
            other != index
                && shells[other].closed
                && shells[other].volume > shell.volume
                && shells[other].boxes(shell)
                && {
                    let tree = trees[other]
                        .get_or_insert_with(|| WindingNumbers::new(&shells[other].mesh));
                    looks().all(|p| tree.at(p).abs() > 0.5)
                }
        });
        if within.is_some() {
            kept[index] = false;
            dropped.push(index);
        }
    }
    let largest =
        dropped.iter().map(|i| &shells[*i]).max_by(|a, b| a.volume.total_cmp(&b.volume))?;
    let what = format!(
        "{} faces, {}, near {}",
        largest.mesh.faces.len(),
        litres(largest.volume),
        at(&largest.middle())
    );
    keep(mesh, &body_of, &kept);
    note(mends, MendKind::Within, &shells, &dropped);
    Some(match dropped.len() {
        1 => format!("dropped a shell within the body, which a mould does not see: {what}"),
        n => format!(
            "dropped {n} shells within the body, which a mould does not see, the largest: {what}"
        ),
    })
}

/// Drop crumbs, where all but one body are crumbs. A body that is open counts by its box.
pub(super) fn drop_crumbs(
    mesh: &mut TriangleMesh,
    crossing: &[u32],
    mends: &mut Mends,
) -> Option<String> {
    let (body_of, shells) = shells(mesh);
    let main = (0..shells.len()).max_by(|a, b| {
        let size = |k: &usize| (shells[*k].closed, shells[*k].volume);
        let (a, b) = (size(a), size(b));
        a.0.cmp(&b.0).then(a.1.total_cmp(&b.1))
    })?;
    let mut crosses = vec![false; shells.len()];
    for f in crossing {
        crosses[body_of[*f as usize] as usize] = true;
    }
    let crumb = |k: usize| {
        let long = (shells[k].high - shells[k].low).max();
        let main = &shells[main];
        // An open sheet has no volume, however large it is.
        let short = shells[k].closed || long <= CRUMB.cbrt() * (main.high - main.low).max();
        short && shells[k].volume < CRUMB * main.volume
    };
    let others: Vec<usize> = (0..shells.len()).filter(|k| *k != main && !crosses[*k]).collect();
    if others.is_empty() || !others.iter().all(|k| crumb(*k)) {
        return None;
    }
    let largest =
        others.iter().map(|k| &shells[*k]).max_by(|a, b| a.volume.total_cmp(&b.volume))?;
    let what = format!(
        "{:.1} mm long, {} faces, {}, near {}",
        (largest.high - largest.low).max(),
        largest.mesh.faces.len(),
        litres(largest.volume),
        at(&largest.middle())
    );
    let mut kept = vec![true; shells.len()];
    for k in &others {
        kept[*k] = false;
    }
    keep(mesh, &body_of, &kept);
    note(mends, MendKind::Beside, &shells, &others);
    Some(match others.len() {
        1 => format!("dropped a crumb beside the model: {what}"),
        n => format!("dropped {n} crumbs beside the model, the largest {what}"),
    })
}

/// Turn every closed body that looks inward. How many there were.
pub(super) fn turn_outward(mesh: &mut TriangleMesh) -> usize {
    let (body_of, shells) = shells(mesh);
    let inward: Vec<bool> =
        shells.iter().map(|s| s.closed && s.mesh.signed_volume() < 0.0).collect();
    for (face, body) in mesh.faces.iter_mut().zip(&body_of) {
        if inward[*body as usize] {
            face.swap(1, 2);
        }
    }
    inward.into_iter().filter(|i| *i).count()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::fixtures::{cuboid, icosphere, inside_out, joined, moved, torus};

    /// A ball in the tube of a torus is within it, one in its hole is not, whichever way they look.
    #[test]
    fn shells_within_go_and_shells_in_a_hole_stay() {
        let ring = torus(40.0, 12.0, 60, 30);
        for ball in [icosphere(8.0, 2), inside_out(&icosphere(8.0, 2))] {
            let mut inner = joined(&ring, &moved(&ball, [40.0, 0.0, 0.0]));
            let told = drop_inner(&mut inner, &[], &mut Mends::default()).expect("dropped");
            // 320 faces: 20 times 4 to the second.
            assert!(told.contains("320 faces") && told.contains("(40.0, 0.0, 0.0)"), "{told}");
            assert_eq!(inner.faces, ring.faces);
            let mut beside = joined(&ring, &ball);
            assert_eq!(drop_inner(&mut beside, &[], &mut Mends::default()), None);
            assert_eq!(beside.faces.len(), ring.faces.len() + 320);
        }
    }

    /// A cube of 20 mm and one of 1.9 mm: 6.859 / 8000 is less than a thousandth; of 2.1 mm it is more.
    #[test]
    fn crumbs_go_below_a_thousandth() {
        let main = cuboid([20.0; 3]);
        let with = |side: f64| joined(&main, &moved(&cuboid([side; 3]), [40.0, 0.0, 0.0]));
        let mut small = with(1.9);
        let told = drop_crumbs(&mut small, &[], &mut Mends::default()).expect("dropped");
        assert!(told.contains("6.859 mm^3"), "{told}");
        assert_eq!(small.faces, main.faces);
        assert_eq!(drop_crumbs(&mut with(2.1), &[], &mut Mends::default()), None);
        // One that is no crumb keeps the others too: nobody knows which one is the model.
        let mut both = joined(&with(1.9), &moved(&main, [0.0, 40.0, 0.0]));
        assert_eq!(drop_crumbs(&mut both, &[], &mut Mends::default()), None);
    }

    #[test]
    fn bodies_that_look_inward_are_turned_each_by_itself() {
        let (ball, cube) = (icosphere(8.0, 2), moved(&cuboid([5.0; 3]), [20.0, 0.0, 0.0]));
        let mut mixed = joined(&ball, &inside_out(&cube));
        assert_eq!(turn_outward(&mut mixed), 1);
        approx::assert_relative_eq!(mixed.signed_volume(), ball.signed_volume() + 125.0);
    }
}
