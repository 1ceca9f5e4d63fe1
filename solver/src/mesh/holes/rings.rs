//! The rims of openings.

use std::collections::{BTreeMap, HashMap};

use super::super::{Point, TriangleMesh};

/// Rims of openings as rings of vertices, in the direction in which what closes them has to run.
pub(in crate::mesh) struct Rims {
    /// The rings; none visits a vertex twice. Where two openings touch, each has a ring of its own.
    pub rings: Vec<Vec<u32>>,
    /// Some open edges make no ring, since faces beside them disagree about their side.
    pub torn: bool,
}

/// Open edges, each given the way its face runs, as rings.
pub(in crate::mesh) fn rims(open: &[[u32; 2]]) -> Rims {
    // What closes a hole runs against the face that is there.
    let mut next: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
    for &[a, b] in open {
        next.entry(b).or_default().push(a);
    }
    let mut found = Rims { rings: Vec::new(), torn: false };
    while let Some((&start, _)) = next.first_key_value() {
        let mut path = vec![start];
        let mut place = HashMap::from([(start, 0)]);
        while let Some(&here) = path.last() {
            let Some(onward) = next.get_mut(&here) else {
                // Nowhere to go: either all of the path went into rings, or it is torn here.
                found.torn |= path.len() > 1;
                break;
            };
            let to = onward.pop();
            if onward.is_empty() {
                next.remove(&here);
            }
            let Some(to) = to else { break };
            match place.get(&to).copied() {
                Some(at) => {
                    let ring = path.split_off(at);
                    for v in &ring[1..] {
                        place.remove(v);
                    }
                    path.push(to);
                    if ring.len() > 2 {
                        found.rings.push(ring);
                    } else {
                        found.torn = true;
                    }
                }
                None => {
                    place.insert(to, path.len());
                    path.push(to);
                }
            }
            if path.len() == 1 && !next.contains_key(&path[0]) {
                break;
            }
        }
    }
    found
}

/// How far apart the two corners of a ring are that are farthest from each other, mm.
pub(in crate::mesh) fn diameter(ring: &[u32], mesh: &TriangleMesh) -> f64 {
    let at = |v: &u32| mesh.positions[*v as usize];
    // Rings of scans have some hundred corners. Of more every few are looked at, and what lies between them is added.
    let stride = ring.len().div_ceil(1000);
    let corners: Vec<Point> = ring.iter().step_by(stride).map(at).collect();
    let farthest = corners
        .iter()
        .flat_map(|p| corners.iter().map(move |q| (p - q).norm_squared()))
        .fold(0.0, f64::max)
        .sqrt();
    if stride == 1 {
        return farthest;
    }
    let longest = ring.windows(2).map(|e| (at(&e[0]) - at(&e[1])).norm()).fold(0.0, f64::max);
    farthest + longest * stride as f64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn openings_that_touch_have_rings_of_their_own() {
        // Two triangles of holes that share vertex 0, and a square apart from them.
        let holes: [&[u32]; 3] = [&[0, 1, 2], &[0, 3, 4], &[5, 6, 7, 8]];
        let edges: Vec<[u32; 2]> = holes
            .iter()
            .flat_map(|ring| (0..ring.len()).map(|k| [ring[(k + 1) % ring.len()], ring[k]]))
            .collect();
        let found = rims(&edges);
        assert!(!found.torn);
        let mut sizes: Vec<usize> = found.rings.iter().map(Vec::len).collect();
        sizes.sort_unstable();
        assert_eq!(sizes, [3, 3, 4]);
        for ring in &found.rings {
            for k in 0..ring.len() {
                assert!(edges.contains(&[ring[(k + 1) % ring.len()], ring[k]]), "{ring:?}");
            }
        }
    }

    #[test]
    fn edges_that_make_no_ring_are_told() {
        assert!(rims(&[[1, 0], [2, 1]]).torn);
        assert!(rims(&[[1, 0], [0, 1]]).torn);
        assert!(!rims(&[]).torn);
    }
}
