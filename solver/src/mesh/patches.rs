//! Sets of faces that hang together.

use std::collections::HashMap;

use super::{FaceId, TriangleMesh};
use crate::union_find::UnionFind;

/// Some faces of a mesh by the patches that they form: faces that share a corner, directly or by others of them, are one. In the
/// order of their first faces.
pub fn patches(mesh: &TriangleMesh, faces: &[FaceId]) -> Vec<Vec<FaceId>> {
    let mut first: HashMap<u32, usize> = HashMap::new();
    let mut joined = UnionFind::new(faces.len());
    for (k, f) in faces.iter().enumerate() {
        for &v in &mesh.faces[f.index()] {
            let other = *first.entry(v).or_insert(k);
            joined.join(k, other);
        }
    }
    let mut patches: Vec<Vec<FaceId>> = vec![Vec::new(); faces.len()];
    for (k, f) in faces.iter().enumerate() {
        patches[joined.root(k)].push(*f);
    }
    patches.retain(|patch| !patch.is_empty());
    patches
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::fixtures::cuboid;

    /// Top and bottom of a box are two patches; with a side between them one.
    #[test]
    fn faces_that_share_corners_are_one_patch() {
        let mesh = cuboid([2.0; 3]);
        let level = |f: &FaceId| mesh.area_vector(*f).z != 0.0;
        let all: Vec<FaceId> = (0..mesh.faces.len() as u32).map(FaceId).collect();
        let ends: Vec<FaceId> = all.iter().copied().filter(level).collect();
        let found = patches(&mesh, &ends);
        assert_eq!((found.len(), ends.len()), (2, 4));
        assert_eq!(found[0][0], ends[0]);
        assert_eq!(patches(&mesh, &all), [all]);
        assert!(patches(&mesh, &[]).is_empty());
    }
}
