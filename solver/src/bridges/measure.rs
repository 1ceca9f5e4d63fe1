//! From a cut loop to a bridge: rim, disc, neck, depth, and whether the rim is a knot.

use crate::control::Cancelled;
use crate::mesh::{FaceId, Point, Topology, TriangleMesh, Vector, VertexId};

use super::board::Skin;
use super::classes::Classes;
use super::disc::{self, Surroundings};
use super::search::{self, CutLoop};
use super::{Bridge, BridgeError, BridgeKind, DiscState, knot, neck, rim};

/// How much longer an edge counts for each end that is out of sight of the disc's middle, tried
/// in turn.
const HIDDEN: [f64; 2] = [2.0, 12.0];

/// Vertices of a cut loop; an open one starts and ends with its gate vertices.
pub(super) fn path_of(skin: &Skin, cut: &CutLoop) -> Vec<u32> {
    let mut path: Vec<u32> =
        cut.steps.iter().map(|s| skin.walk_ends(s.edge, s.forward).0).collect();
    if let (true, Some(last)) = (cut.by_board, cut.steps.last()) {
        path.push(skin.walk_ends(last.edge, last.forward).1);
    }
    path
}

/// Outward normals at vertices from the faces that rubber touches.
fn rubber_normals(
    mesh: &TriangleMesh,
    topology: &Topology,
    skin: &Skin,
    path: &[u32],
) -> Vec<Vector> {
    let on_gate = |v: u32| skin.patch_of[v as usize] != u32::MAX;
    path.iter()
        .map(|&v| {
            let mut sum = Vector::zeros();
            for &edge in topology.edges_of(VertexId(v)) {
                for face in topology.edge_faces[edge as usize] {
                    if !mesh.faces[face as usize].iter().all(|&c| on_gate(c)) {
                        sum +=
                            mesh.area_vector(FaceId(face)).try_normalize(0.0).unwrap_or_default();
                    }
                }
            }
            sum.try_normalize(0.0).unwrap_or_default()
        })
        .collect()
}

/// Everything about the bridge that a loop cuts. Where no plain disc is found and the loop is not
/// proved a knot, a loop of the same class that keeps to places in sight of the disc's middle
/// is tried in its stead.
pub(super) fn bridge(
    skin: &Skin,
    classes: &Classes,
    near: &Surroundings<'_>,
    cut: &CutLoop,
    edge: f64,
) -> Result<Bridge, BridgeError> {
    let first = measure(skin, near, cut, edge)?;
    let unproved = matches!(first.disc, DiscState::Knotted { determinant: None | Some(1), .. });
    if !unproved {
        return Ok(first);
    }
    let eye = disc::centroid(&first.rim);
    for hidden in HIDDEN {
        let weighted = favouring_sight(skin, near, eye, hidden);
        let other = search::loop_of_class(&weighted, classes, cut, near.control)
            .map_err(|Cancelled| BridgeError::Cancelled)?;
        let Some(other) = other else { continue };
        let second = measure(skin, near, &other, edge)?;
        if second.disc == DiscState::Plain {
            return Ok(second);
        }
    }
    Ok(first)
}

/// The skin with edges counted longer where the model itself hides them from `eye`.
fn favouring_sight(skin: &Skin, near: &Surroundings<'_>, eye: Point, longer: f64) -> Skin {
    let mesh = near.solid.mesh;
    let normals = mesh.vertex_normals();
    let hidden: Vec<bool> = mesh
        .positions
        .iter()
        .zip(&normals)
        .map(|(p, n)| {
            let from = p + n * near.clearance;
            let way = eye - from;
            way.try_normalize(1e-9).is_some_and(|d| near.solid.cast(from, d, way.norm()).is_some())
        })
        .collect();
    let mut weighted = skin.clone();
    for edge in &mut weighted.edges {
        let ends = edge.ends.iter().filter(|&&v| hidden[v as usize]).count();
        edge.length *= 1.0 + longer * ends as f64;
    }
    weighted
}

/// Everything about the bridge that a loop cuts, be its disc plain or not.
pub(super) fn measure(
    skin: &Skin,
    near: &Surroundings<'_>,
    cut: &CutLoop,
    edge: f64,
) -> Result<Bridge, BridgeError> {
    let mesh = near.solid.mesh;
    let mut path = path_of(skin, cut);
    // A loop that meets the board in one vertex needs no board to close it.
    let closed = !cut.by_board || path.first() == path.last();
    if cut.by_board && closed {
        path.pop();
    }
    let points: Vec<Point> = path.iter().map(|&v| mesh.positions[v as usize]).collect();
    let normals = rubber_normals(mesh, near.topology, skin, &path);
    let straight = rim::straightened(near.solid, &points, closed, 0.5 * edge);
    let laid = rim::laid_on(near.solid, &straight, closed);

    let determinant = knot::determinant(&closed_polygon(&points, closed, near, edge));
    let knotted = determinant.is_some_and(|d| d != 1);
    let tested_rim = rim::rim(&points, &normals, closed, near.board, near.clearance);
    let spanned = disc::span(&tested_rim, near, knotted)?;
    let state = if spanned.crossings == 0 {
        DiscState::Plain
    } else {
        DiscState::Knotted {
            crossings: spanned.crossings,
            determinant,
            explanation: explain(&spanned, determinant),
        }
    };

    let straight_rim = {
        let flat = vec![Vector::zeros(); straight.len()];
        rim::rim(&straight, &flat, closed, near.board, 0.0)
    };
    let taut = disc::taut(&straight_rim, near);
    let axis = disc::vector_area(&straight_rim.points).try_normalize(0.0).unwrap_or_else(Vector::z);
    let centre = taut.centre();
    // A disc that had to go round something is wider than a taut one.
    let neck_area = if spanned.tries == 1 { taut.area() } else { spanned.disc.area() };
    near.control.check().map_err(|Cancelled| BridgeError::Cancelled)?;
    Ok(Bridge {
        kind: if closed { BridgeKind::Handle } else { BridgeKind::Arch },
        path,
        closed,
        length: rim::length(&laid, closed),
        neck_area,
        neck_width: disc::greatest_width(&straight_rim.points),
        depth: neck::depth(near.solid, &straight, centre, axis, 0.2 * edge),
        centre,
        axis,
        surface: spanned.disc.mesh(),
        rim: laid,
        disc: state,
        lean: taut.lean(near.solid, 0.1 * edge),
        confirmed: None,
    })
}

/// The cut as a closed polygon, an open one closed well below the board. How it is closed there
/// makes no difference to the knot: the way below can slide past itself freely.
fn closed_polygon(
    points: &[Point],
    closed: bool,
    near: &Surroundings<'_>,
    edge: f64,
) -> Vec<Point> {
    let mut polygon = points.to_vec();
    if let (false, Some((origin, up)), Some(&first), Some(&last)) =
        (closed, near.board, points.first(), points.last())
    {
        for p in [last, first] {
            polygon.push(p - up * ((p - origin).dot(&up) + 10.0 * edge));
        }
    }
    polygon
}

fn explain(spanned: &disc::Spanned, determinant: Option<u64>) -> String {
    let times = match spanned.crossings {
        1 => "once".to_owned(),
        n => format!("{n} times"),
    };
    let tries = match spanned.tries {
        1 => "1 try".to_owned(),
        n => format!("{n} tries"),
    };
    match determinant {
        Some(d) if d != 1 => format!(
            "This hole is knotted: the line that a cut across it would follow on the model is itself \
             tied in a knot (its determinant is {d}; a line that bounds a plain disc has 1), so no \
             plain cut opens it. The model passes through the best disc {times}."
        ),
        _ => format!(
            "No plain disc was found across this hole after {tries}: the model passes through \
             the best one {times}. The hole is linked with another part of the model or tangled; \
             this is not proved, so look at it before the pour."
        ),
    }
}
