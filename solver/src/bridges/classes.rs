//! Which loops of the skin bound a surface in the rubber.
//!
//! A loop on the skin bounds in the rubber exactly when it links no loop inside the solid
//! (Alexander duality). So every generator of the skin is linked with generators pushed into the
//! model; the integer matrix that comes out is split into classes that link something and classes
//! that link nothing. There are exactly as many independent classes of the second kind as the solid
//! has holes ("half lives, half dies").

use rayon::prelude::*;

use crate::control::{Cancelled, Control};
use crate::mesh::{Point, Topology, TriangleMesh, Vector};

use super::BridgeError;
use super::board::Skin;
use super::homology::{Generators, Step};
use super::integers::Split;
use super::linking::{linking_number, mean_edge, pushed_in, segment_linking};

/// For each edge of the skin, what it adds to the class of a loop.
#[derive(Clone, Debug)]
pub(super) struct Classes {
    /// Number of coordinates of a class.
    pub size: usize,
    /// The first `rank` coordinates vanish when a loop bounds in the rubber.
    pub rank: usize,
    /// `size` coordinates for each edge walked forwards.
    coordinates: Vec<i32>,
    /// Number of further coordinates, for loops that never touch the board: how often they link
    /// the loops that run through the model from foot to foot and back below the board.
    pub twists: usize,
    /// `twists` values for each edge walked forwards; their sum over a closed loop is whole.
    twist_values: Vec<f64>,
}

impl Classes {
    /// Classes of the loops of `skin`.
    pub fn new(
        mesh: &TriangleMesh,
        topology: &Topology,
        skin: &Skin,
        board: (Point, Vector),
        control: &Control<'_>,
    ) -> Result<Self, BridgeError> {
        let generators = Generators::new(skin);
        let model = Skin::of_model(mesh, topology);
        let inside: Vec<Vec<Point>> = Generators::new(&model)
            .strips
            .iter()
            .map(|strip| pushed_in(mesh, topology, strip))
            .collect();
        let beyond = below(mesh, board);
        let outlines: Vec<Vec<Point>> = generators
            .loops
            .iter()
            .map(|walk| polygon(mesh, topology, skin, walk, board, beyond))
            .collect();
        let linking: Vec<Vec<f64>> = outlines
            .par_iter()
            .map(|outline| {
                control.check().map_err(|Cancelled| BridgeError::Cancelled)?;
                Ok(inside.iter().map(|other| linking_number(outline, other)).collect())
            })
            .collect::<Result<_, BridgeError>>()?;
        let mut whole = Vec::with_capacity(linking.len());
        for row in &linking {
            let mut rounded = Vec::with_capacity(row.len());
            for &value in row {
                if (value - value.round()).abs() > 0.05 {
                    return Err(BridgeError::LoopsTouch { linking: value });
                }
                rounded.push(value.round() as i128);
            }
            whole.push(rounded);
        }
        let split = Split::new(whole);
        if split.rank != skin.capped_genus {
            return Err(BridgeError::NotEmbedded {
                expected: skin.capped_genus,
                found: split.rank,
            });
        }
        let size = generators.loops.len();
        let mut coordinates = vec![0i32; size * skin.edges.len()];
        for (strip, row) in generators.crossings.iter().zip(&split.coordinates) {
            let row: Vec<i32> = row
                .iter()
                .map(|&value| i32::try_from(value).map_err(|_| BridgeError::TooTangled { size }))
                .collect::<Result<_, _>>()?;
            for &(edge, sign) in strip {
                let slots = &mut coordinates[edge as usize * size..][..size];
                for (slot, value) in slots.iter_mut().zip(&row) {
                    *slot += sign * value;
                }
            }
        }
        let feet = through_feet(mesh, topology, skin, board, beyond);
        let twists = feet.len();
        let twist_values: Vec<f64> = skin
            .edges
            .par_iter()
            .flat_map_iter(|edge| {
                let [p, q] = edge.ends.map(|v| mesh.positions[v as usize]);
                let on_board = skin.is_region(edge.nodes[0]);
                feet.iter()
                    .map(move |foot| if on_board { 0.0 } else { segment_linking(p, q, foot) })
            })
            .collect();
        Ok(Self { size, rank: split.rank, coordinates, twists, twist_values })
    }

    /// Number of independent classes of loops that bound in the rubber: the number of holes.
    pub fn holes(&self) -> usize {
        self.size - self.rank
    }

    /// Add an edge to a class.
    pub fn add(&self, class: &mut [i32], step: Step) {
        let sign = if step.forward { 1 } else { -1 };
        let edge = &self.coordinates[step.edge as usize * self.size..][..self.size];
        for (slot, value) in class.iter_mut().zip(edge) {
            *slot += sign * value;
        }
    }

    /// Add an edge to the twists.
    pub fn add_twist(&self, twist: &mut [f64], step: Step) {
        let sign = if step.forward { 1.0 } else { -1.0 };
        let edge = &self.twist_values[step.edge as usize * self.twists..][..self.twists];
        for (slot, value) in twist.iter_mut().zip(edge) {
            *slot += sign * value;
        }
    }
}

/// How far below the board's plane a polygon can pass without meeting the model, mm.
fn below(mesh: &TriangleMesh, board: (Point, Vector)) -> f64 {
    let lowest = mesh.positions.iter().map(|p| (p - board.0).dot(&board.1)).fold(0.0f64, f64::min);
    0.25 * mesh.longest_side() - lowest
}

/// Below the board from one gate vertex to another: down, across, up.
fn under_board(mesh: &TriangleMesh, board: (Point, Vector), deep: f64, v: u32) -> Point {
    let p = mesh.positions[v as usize];
    p - board.1 * ((p - board.0).dot(&board.1) + deep)
}

/// A closed walk on the skin as a polygon in space. Between gate vertices of one patch it runs
/// along the patch, between patches below the board: nothing it could link is there.
fn polygon(
    mesh: &TriangleMesh,
    topology: &Topology,
    skin: &Skin,
    walk: &[Step],
    board: (Point, Vector),
    deep: f64,
) -> Vec<Point> {
    let at = |v: u32| mesh.positions[v as usize];
    let mut points = Vec::with_capacity(walk.len() + 8);
    for (index, step) in walk.iter().enumerate() {
        let before = walk[(index + walk.len() - 1) % walk.len()];
        let (_, arrived) = skin.walk_ends(before.edge, before.forward);
        let (leaves, _) = skin.walk_ends(step.edge, step.forward);
        points.push(at(arrived));
        if arrived == leaves {
            continue;
        }
        if skin.patch_of[arrived as usize] == skin.patch_of[leaves as usize] {
            points.extend(along_patch(topology, skin, arrived, leaves).into_iter().map(at));
        } else {
            points.push(under_board(mesh, board, deep, arrived));
            points.push(under_board(mesh, board, deep, leaves));
        }
        points.push(at(leaves));
    }
    points
}

/// Vertices strictly between two gate vertices of one patch, along the patch.
fn along_patch(topology: &Topology, skin: &Skin, from: u32, to: u32) -> Vec<u32> {
    use crate::mesh::{EdgeId, VertexId};
    use std::collections::{BTreeMap, VecDeque};
    let mut came: BTreeMap<u32, u32> = BTreeMap::from([(from, from)]);
    let mut queue = VecDeque::from([from]);
    while let Some(v) = queue.pop_front() {
        if v == to {
            break;
        }
        for &edge in topology.edges_of(VertexId(v)) {
            let next = topology.other_end(EdgeId(edge), VertexId(v)).0;
            if skin.patch_of[next as usize] == skin.patch_of[from as usize] {
                came.entry(next).or_insert_with(|| {
                    queue.push_back(next);
                    v
                });
            }
        }
    }
    let mut path = Vec::new();
    let mut at = to;
    while let Some(&before) = came.get(&at) {
        if before == from {
            break;
        }
        path.push(before);
        at = before;
    }
    path.reverse();
    path
}

/// For each patch of the gate but the first, a loop that enters the model through the first
/// patch, leaves it through this one and returns below the board.
fn through_feet(
    mesh: &TriangleMesh,
    topology: &Topology,
    skin: &Skin,
    board: (Point, Vector),
    deep: f64,
) -> Vec<Vec<Point>> {
    if skin.patch_count < 2 {
        return Vec::new();
    }
    // A tree of faces from a face at the first patch; every strip down this tree, pushed in.
    let foot_of = |face: usize| {
        mesh.faces[face].iter().copied().find(|&v| skin.patch_of[v as usize] != u32::MAX)
    };
    let mut entry = vec![None; skin.patch_count];
    for face in 0..mesh.faces.len() {
        if let Some(foot) = foot_of(face) {
            let patch = skin.patch_of[foot as usize] as usize;
            if entry[patch].is_none() {
                entry[patch] = Some((face, foot));
            }
        }
    }
    let Some((root, first_foot)) = entry[0] else { return Vec::new() };
    let mut parent = vec![u32::MAX; mesh.faces.len()];
    let mut seen = vec![false; mesh.faces.len()];
    seen[root] = true;
    let mut queue = std::collections::VecDeque::from([root]);
    while let Some(face) = queue.pop_front() {
        for &edge in &topology.face_edges[face] {
            for next in topology.edge_faces[edge as usize] {
                if !std::mem::replace(&mut seen[next as usize], true) {
                    parent[next as usize] = edge;
                    queue.push_back(next as usize);
                }
            }
        }
    }
    let depth = 1e-3 * mean_edge(mesh, topology);
    let mut loops = Vec::new();
    for &(face, foot) in entry.iter().skip(1).flatten() {
        let mut strip = Vec::new();
        let mut at = face;
        while at != root {
            let edge = parent[at];
            strip.push((at as u32, edge));
            let [left, right] = topology.edge_faces[edge as usize];
            at = if left as usize == at { right } else { left } as usize;
        }
        let mut polygon = vec![mesh.positions[foot as usize]];
        polygon.extend(pushed_in(mesh, topology, &strip));
        let face = crate::mesh::FaceId(root as u32);
        let normal = mesh.area_vector(face).try_normalize(0.0).unwrap_or_default();
        polygon.push(mesh.face_middle(face) - normal * depth);
        polygon.push(mesh.positions[first_foot as usize]);
        polygon.push(under_board(mesh, board, deep, first_foot));
        polygon.push(under_board(mesh, board, deep, foot));
        loops.push(polygon);
    }
    loops
}
