//! Faces that look the other way than their neighbours, turned to agree with them.

use super::TriangleMesh;

/// Across an edge with two faces both must look to the same side. Every patch of faces that hang together by
/// such edges gets the direction that most of its area has. Returns how many faces were turned; none where a
/// patch has one side only, since no turning helps there.
pub(super) fn agree(mesh: &mut TriangleMesh) -> usize {
    // (low, high, face, backwards)
    let mut halves: Vec<(u32, u32, u32, bool)> = Vec::with_capacity(3 * mesh.faces.len());
    for (f, face) in mesh.faces.iter().enumerate() {
        for k in 0..3 {
            let (a, b) = (face[k], face[(k + 1) % 3]);
            halves.push((a.min(b), a.max(b), f as u32, a > b));
        }
    }
    halves.sort_unstable();
    let mut across: Vec<Vec<(u32, bool)>> = vec![Vec::new(); mesh.faces.len()];
    for group in halves.chunk_by(|x, y| (x.0, x.1) == (y.0, y.1)) {
        if let [a, b] = group {
            let differ = a.3 == b.3;
            across[a.2 as usize].push((b.2, differ));
            across[b.2 as usize].push((a.2, differ));
        }
    }
    let mut turned: Vec<Option<bool>> = vec![None; mesh.faces.len()];
    let mut count = 0;
    for seed in 0..mesh.faces.len() {
        if turned[seed].is_some() {
            continue;
        }
        turned[seed] = Some(false);
        let mut patch = vec![seed];
        let mut one_sided = false;
        let mut next = 0;
        while next < patch.len() {
            let here = patch[next];
            next += 1;
            for &(face, differ) in &across[here] {
                let wanted = turned[here] != Some(differ);
                match turned[face as usize] {
                    None => {
                        turned[face as usize] = Some(wanted);
                        patch.push(face as usize);
                    }
                    Some(has) => one_sided |= has != wanted,
                }
            }
        }
        if one_sided {
            continue;
        }
        let area = |state| -> f64 {
            let own = patch.iter().filter(|f| turned[**f] == Some(state));
            own.map(|f| mesh.face_area(super::FaceId(*f as u32))).sum()
        };
        let minority = area(true) <= area(false);
        for &face in &patch {
            if turned[face] == Some(minority) {
                mesh.faces[face].swap(1, 2);
                count += 1;
            }
        }
    }
    count
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::fixtures::{cuboid, icosphere};

    #[test]
    fn the_fewer_are_turned() {
        let ball = icosphere(10.0, 3);
        let mut mixed = ball.clone();
        let odd: Vec<usize> = (0..mixed.faces.len()).filter(|f| f % 7 < 3).collect();
        for &f in &odd {
            mixed.faces[f].swap(1, 2);
        }
        assert_eq!(agree(&mut mixed), odd.len());
        approx::assert_relative_eq!(mixed.signed_volume(), ball.signed_volume());
        assert_eq!(agree(&mut mixed), 0);
    }

    /// A Moebius strip: whichever way a face is turned, another one disagrees.
    #[test]
    fn a_strip_with_one_side_is_left_alone() {
        let mut strip = cuboid([1.0; 3]);
        let rung = |k: u32| if k < 5 { [2 * k, 2 * k + 1] } else { [1, 0] };
        strip.positions =
            (0..10).map(|k| crate::mesh::Point::new(f64::from(k), 0.0, 0.0)).collect();
        strip.faces = (0..5)
            .flat_map(|k| {
                let ([a, b], [c, d]) = (rung(k), rung(k + 1));
                [[a, b, c], [b, d, c]]
            })
            .collect();
        let before = strip.clone();
        assert_eq!(agree(&mut strip), 0);
        assert_eq!(strip, before);
    }
}
