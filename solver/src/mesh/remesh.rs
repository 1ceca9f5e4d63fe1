//! The planning mesh: even triangles of a wanted size on the surface of the working mesh.
//!
//! Isotropic remeshing by splits, collapses, flips and tangential smoothing, each vertex put
//! back on the input surface (Botsch & Kobbelt, "A remeshing approach to multiresolution
//! modeling", SGP 2004). Added to that: creases are kept, thin sections get shorter edges, and
//! no step may change the topology or turn a face over.

mod creases;
mod editable;
mod sizing;

use self::creases::Creases;
use self::editable::{EdgeStar, EditableMesh};
use super::project::{LocatorError, SurfaceLocator};
use super::{Point, Topology, TopologyError, TriangleMesh, Vector};

/// Rounds of split, collapse, flip and smooth.
const ROUNDS: usize = 7;
/// Edges longer than this share of the local length are split.
const SPLIT_ABOVE: f64 = 4.0 / 3.0;
/// Edges shorter than this share of the local length are collapsed.
const COLLAPSE_BELOW: f64 = 0.8;
/// Edges shorter than this share of the local length are collapsed even if creases meet there.
const TINY: f64 = 0.5;
/// How far a collapse or flip may move the surface, as a share of the local length.
const MOVE: f64 = 0.2;
/// Faces the surface may come to at most; beyond it the target is surely a slip.
const MOST_FACES: f64 = 2.0e6;

/// No planning mesh can be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RemeshError {
    /// The target is not a usable length.
    #[error("target edge length {0} mm is not a positive number: give a length in millimetres")]
    BadTarget(f64),
    /// The target is so short that the mesh would not be workable.
    #[error("target edge length {target} mm would give about {faces:.0} faces: use a longer one")]
    TooFine {
        /// Target edge length asked for, mm.
        target: f64,
        /// Estimated number of faces.
        faces: f64,
    },
    /// The input is not closed and oriented.
    #[error("the working mesh cannot be remeshed: {0}")]
    Topology(#[from] TopologyError),
    /// Two sheets of surface touch in one vertex only.
    #[error(
        "vertex {0} joins two separate fans of faces: the surface touches itself in that point; part it before planning"
    )]
    PinchedVertex(u32),
    /// The input cannot be searched.
    #[error("the working mesh cannot be remeshed: {0}")]
    Surface(#[from] LocatorError),
    /// The result does not have the input's topology. This is a fault of the program.
    #[error(
        "remeshing changed the Euler characteristic from {before} to {after}: please report this model"
    )]
    TopologyChanged {
        /// Euler characteristic of the input.
        before: i64,
        /// Euler characteristic of the result.
        after: i64,
    },
}

/// Remesh a closed oriented mesh to edges of about `target_edge` mm.
///
/// Edges come out between about 0.6 and 1.45 times the local length. That is the target, less
/// where a section is thin (down to 0.35 of it) so that rods and tunnels keep their round. Genus,
/// bodies and orientation are the input's. Edges where the surface turns by more than 50 degrees
/// are kept. The same input gives the same output.
pub fn planning_mesh(
    working: &TriangleMesh,
    target_edge: f64,
) -> Result<TriangleMesh, RemeshError> {
    if !(target_edge.is_finite() && target_edge > 0.0) {
        return Err(RemeshError::BadTarget(target_edge));
    }
    let faces = working.area() / (target_edge * target_edge * 3f64.sqrt() / 4.0);
    if faces > MOST_FACES {
        return Err(RemeshError::TooFine { target: target_edge, faces });
    }
    let before = Topology::new(working)?;
    if let Some(v) = first_pinched_vertex(working, &before) {
        return Err(RemeshError::PinchedVertex(v));
    }
    let mut remesher = Remesher::new(working, target_edge)?;
    for round in 0..ROUNDS {
        remesher.split_long();
        remesher.collapse_short();
        remesher.flip_edges();
        remesher.smooth(if round + 1 == ROUNDS { 3 } else { 2 });
    }
    remesher.flip_edges();
    let mesh = remesher.mesh.to_mesh();
    let after = Topology::new(&mesh)?;
    let (before, after) = (before.euler_characteristic(), after.euler_characteristic());
    if before != after {
        return Err(RemeshError::TopologyChanged { before, after });
    }
    Ok(mesh)
}

/// First vertex whose faces form more than one fan.
fn first_pinched_vertex(mesh: &TriangleMesh, topology: &Topology) -> Option<u32> {
    let mut faces = vec![0u32; mesh.positions.len()];
    let mut any = vec![u32::MAX; mesh.positions.len()];
    for (f, face) in mesh.faces.iter().enumerate() {
        for &v in face {
            faces[v as usize] += 1;
            any[v as usize] = f as u32;
        }
    }
    (0..mesh.positions.len() as u32).find(|&v| {
        let start = any[v as usize];
        if start == u32::MAX {
            return false;
        }
        // Walk round the vertex from face to face; one fan visits them all.
        let (mut face, mut visited) = (start, 0);
        loop {
            visited += 1;
            let corners = mesh.faces[face as usize];
            let k = corners.iter().position(|&c| c == v).unwrap_or(0);
            // The edge that arrives at the vertex leads to the next face.
            let edge = topology.face_edges[face as usize][(k + 2) % 3];
            let [f, g] = topology.edge_faces[edge as usize];
            face = if f == face { g } else { f };
            if face == start || visited > faces[v as usize] {
                return visited != faces[v as usize];
            }
        }
    })
}

struct Remesher {
    mesh: EditableMesh,
    creases: Creases,
    locator: SurfaceLocator,
    /// Wanted edge length on the source surface, at the source's vertices.
    source_sizes: Vec<f64>,
    /// Wanted edge length at each vertex.
    sizes: Vec<f64>,
    /// Unit normal of the source surface at each vertex.
    normals: Vec<Vector>,
    source_normals: Vec<Vector>,
}

impl Remesher {
    fn new(working: &TriangleMesh, target: f64) -> Result<Self, RemeshError> {
        // Huge faces are divided first, without moving anything: lengths and sections are then
        // measured at places no farther apart than the target.
        let mut mesh = EditableMesh::new(working);
        loop {
            let mut changed = false;
            for [a, b] in mesh.edges() {
                if mesh.length(a, b) > SPLIT_ABOVE * target
                    && let Some(star) = mesh.edge_star(a, b)
                {
                    let middle =
                        nalgebra::center(&mesh.positions[a as usize], &mesh.positions[b as usize]);
                    mesh.split(a, b, star, middle);
                    changed = true;
                }
            }
            if !changed {
                break;
            }
        }
        let source = mesh.to_mesh();
        let topology = Topology::new(&source)?;
        let locator = SurfaceLocator::new(&source)?;
        let source_sizes = sizing::vertex_sizes(&source, &locator, target);
        let creases = Creases::find(&source, &topology, target);
        let source_normals = source.vertex_normals();
        Ok(Self {
            mesh,
            creases,
            locator,
            sizes: source_sizes.clone(),
            source_sizes,
            normals: source_normals.clone(),
            source_normals,
        })
    }

    fn wanted(&self, a: u32, b: u32) -> f64 {
        0.5 * (self.sizes[a as usize] + self.sizes[b as usize])
    }

    /// Length of an edge as a share of the length wanted there.
    fn share(&self, a: u32, b: u32) -> f64 {
        self.mesh.length(a, b) / self.wanted(a, b)
    }

    fn split_long(&mut self) {
        let mut long: Vec<(f64, [u32; 2])> = self
            .mesh
            .edges()
            .into_iter()
            .map(|e| (self.share(e[0], e[1]), e))
            .filter(|(share, _)| *share > SPLIT_ABOVE)
            .collect();
        long.sort_by(|x, y| y.0.total_cmp(&x.0).then(x.1.cmp(&y.1)));
        for (_, [a, b]) in long {
            let Some(star) = self.mesh.edge_star(a, b) else { continue };
            let middle = nalgebra::center(
                &self.mesh.positions[a as usize],
                &self.mesh.positions[b as usize],
            );
            let size = self.wanted(a, b);
            let sum = self.normals[a as usize] + self.normals[b as usize];
            let on_line = if self.creases.is_crease(a, b) {
                self.creases.nearest(&middle).filter(|p| (p - middle).norm() < size)
            } else {
                None
            };
            let vertex = self.mesh.split(a, b, star, middle);
            self.creases.split(a, b, vertex);
            self.sizes.push(size);
            self.normals.push(sum.try_normalize(1e-9).unwrap_or_else(Vector::zeros));
            self.try_move(vertex, on_line.unwrap_or(middle));
        }
    }

    fn collapse_short(&mut self) {
        // Lengths go stale as the pass goes on, so it is repeated until nothing happens.
        for _ in 0..12 {
            let mut short: Vec<(f64, [u32; 2])> = self
                .mesh
                .edges()
                .into_iter()
                .map(|e| (self.share(e[0], e[1]), e))
                .filter(|(share, _)| *share < COLLAPSE_BELOW)
                .collect();
            short.sort_by(|x, y| x.0.total_cmp(&y.0).then(x.1.cmp(&y.1)));
            let mut changed = false;
            for (_, [a, b]) in short {
                let Some(star) = self.mesh.edge_star(a, b) else { continue };
                if self.share(a, b) >= COLLAPSE_BELOW {
                    continue;
                }
                // The end that leaves fewer long edges behind is kept.
                let forth = self.collapse_cost(a, b, star);
                let back = self.collapse_cost(b, a, star);
                let (gone, kept) = match (forth, back) {
                    (None, None) => continue,
                    (Some(x), Some(y)) if y < x => (b, a),
                    (None, Some(_)) => (b, a),
                    _ => (a, b),
                };
                self.mesh.collapse(gone, kept, star);
                self.creases.collapse(gone, kept);
                changed = true;
            }
            if !changed {
                return;
            }
        }
    }

    /// Longest edge (as a share of its wanted length) after pulling `gone` onto `kept`, or `None`
    /// if that is not allowed.
    fn collapse_cost(&self, gone: u32, kept: u32, star: EdgeStar) -> Option<f64> {
        let opposite = [star.left_corner, star.right_corner];
        let tiny = self.share(gone, kept) < TINY;
        if !self.creases.may_collapse(gone, kept, opposite, tiny)
            || !self.mesh.may_collapse(gone, kept, star)
        {
            return None;
        }
        let mut longest: f64 = 0.0;
        for v in self.mesh.neighbours(gone) {
            if v != kept {
                longest = longest.max(self.share(kept, v));
            }
        }
        if longest > SPLIT_ABOVE {
            return None;
        }
        let mut lost = f64::INFINITY;
        let here = self.mesh.positions[gone as usize];
        for &f in self.mesh.faces_of(gone) {
            if f == star.left || f == star.right {
                continue;
            }
            let old = self.mesh.face(f);
            let new = old.map(|v| if v == gone { kept } else { v });
            if !self.face_is_sound(old, new) {
                return None;
            }
            let area = self.mesh.area_vector(new);
            let off = here - self.mesh.positions[kept as usize];
            lost = lost.min(off.dot(&area).abs() / area.norm());
        }
        // A tip would be cut off.
        (tiny || lost <= MOVE * self.wanted(gone, kept)).then_some(longest)
    }

    /// Whether a changed face still looks the way the surface does at its corners.
    fn face_is_sound(&self, old: [u32; 3], new: [u32; 3]) -> bool {
        let (before, after) = (self.mesh.area_vector(old), self.mesh.area_vector(new));
        let size = after.norm();
        let longest =
            (0..3).map(|k| self.mesh.length(new[k], new[(k + 1) % 3])).fold(0.0, f64::max);
        // A sliver: height below a tenth of the longest side.
        if size < 0.1 * longest * longest && size < before.norm() {
            return false;
        }
        if after.dot(&before) < 0.3 * size * before.norm() {
            return false;
        }
        let unit = after / size;
        let worst =
            new.iter().map(|&v| self.normals[v as usize].dot(&unit)).fold(f64::INFINITY, f64::min);
        if worst >= 0.1 {
            return true;
        }
        let was = before.try_normalize(0.0).map_or(-1.0, |unit| {
            old.iter().map(|&v| self.normals[v as usize].dot(&unit)).fold(f64::INFINITY, f64::min)
        });
        worst >= was
    }

    fn flip_edges(&mut self) {
        for _ in 0..4 {
            let mut changed = false;
            for [a, b] in self.mesh.edges() {
                let Some(star) = self.mesh.edge_star(a, b) else { continue };
                if self.flip_is_better(a, b, star) {
                    self.mesh.flip(a, b, star);
                    changed = true;
                }
            }
            if !changed {
                return;
            }
        }
    }

    fn flip_is_better(&self, a: u32, b: u32, star: EdgeStar) -> bool {
        if self.creases.is_crease(a, b) || !self.mesh.may_flip(a, b, star) {
            return false;
        }
        let (c, d) = (star.left_corner, star.right_corner);
        let old = [self.mesh.face(star.left), self.mesh.face(star.right)];
        let new = EditableMesh::flipped(a, b, star);
        let old_quality = old.map(|f| self.quality(f));
        let new_quality = new.map(|f| self.quality(f));
        let (was, is) = (old_quality[0].min(old_quality[1]), new_quality[0].min(new_quality[1]));
        let off = |v: u32, change: i64| {
            let ideal = 6;
            (self.mesh.valence(v) as i64 + change - ideal).abs()
        };
        let before = off(a, 0) + off(b, 0) + off(c, 0) + off(d, 0);
        let after = off(a, -1) + off(b, -1) + off(c, 1) + off(d, 1);
        let better = (after < before && is > 0.7 * was && is > 0.3)
            || (after == before && is > 1.01 * was)
            || is > 1.4 * was;
        if !better {
            return false;
        }
        // On a curved part the flip moves the surface by the distance between the two diagonals.
        let [pa, pb, pc, pd] = [a, b, c, d].map(|v| self.mesh.positions[v as usize]);
        let across = (pb - pa).cross(&(pd - pc));
        if across.norm() > 0.0 {
            let moved = (pc - pa).dot(&across).abs() / across.norm();
            if moved > MOVE * self.wanted(a, b) {
                return false;
            }
        }
        let old_areas = old.map(|f| self.mesh.area_vector(f));
        let mean = old_areas[0] + old_areas[1];
        new.iter().all(|&f| {
            let area = self.mesh.area_vector(f);
            area.dot(&mean) > 0.5 * area.norm() * mean.norm() && self.face_is_sound(f, f)
        })
    }

    /// Shape of a face: 1 for an equilateral one, 0 for a degenerate one.
    fn quality(&self, face: [u32; 3]) -> f64 {
        let sum: f64 = (0..3).map(|k| self.mesh.length(face[k], face[(k + 1) % 3]).powi(2)).sum();
        if sum == 0.0 { 0.0 } else { 2.0 * 3f64.sqrt() * self.mesh.area_vector(face).norm() / sum }
    }

    fn smooth(&mut self, rounds: usize) {
        for _ in 0..rounds {
            for v in 0..self.mesh.vertex_count() as u32 {
                if self.mesh.is_alive(v) {
                    self.smooth_vertex(v);
                }
            }
        }
    }

    fn smooth_vertex(&mut self, v: u32) {
        let here = self.mesh.positions[v as usize];
        if self.creases.touches(v) {
            let Some([a, b]) = self.creases.slide(v) else { return };
            let (a, b) = (self.mesh.positions[a as usize], self.mesh.positions[b as usize]);
            let Some(on_line) = self.creases.nearest(&nalgebra::center(&a, &b)) else { return };
            let reach = self.sizes[v as usize];
            if (on_line - here).norm() > reach {
                return;
            }
            self.try_move(v, on_line);
            return;
        }
        let mut sum = Vector::zeros();
        let mut weights = 0.0;
        for &f in self.mesh.faces_of(v) {
            let face = self.mesh.face(f);
            let centre =
                face.iter().map(|&u| self.mesh.positions[u as usize].coords).sum::<Vector>() / 3.0;
            let size = face.iter().map(|&u| self.sizes[u as usize]).sum::<f64>() / 3.0;
            // Area against the wanted area: crowded sides draw the vertex less.
            let weight = self.mesh.area_vector(face).norm() / (size * size);
            sum += centre * weight;
            weights += weight;
        }
        if weights <= 0.0 {
            return;
        }
        let mut step = sum / weights - here.coords;
        let normal = self.normals[v as usize];
        step -= normal * step.dot(&normal);
        for share in [1.0, 0.4] {
            if self.try_move(v, here + step * share) {
                return;
            }
        }
    }

    /// Put a vertex on the source near `target`, if the surface there faces the same way and no
    /// face turns over.
    fn try_move(&mut self, v: u32, target: Point) -> bool {
        let hit = self.locator.closest(&target);
        if !hit.point.iter().all(|x| x.is_finite()) {
            return false;
        }
        let weights = self.locator.weights(hit.face, &hit.point);
        let corners = self.locator.face(hit.face);
        let mut normal = Vector::zeros();
        let mut size = 0.0;
        for k in 0..3 {
            normal += self.source_normals[corners[k] as usize] * weights[k];
            size += self.source_sizes[corners[k] as usize] * weights[k];
        }
        let Some(normal) = normal.try_normalize(1e-9) else { return false };
        // The far side of a thin part is nearer than it looks.
        if self.normals[v as usize].dot(&normal) < 0.2 {
            return false;
        }
        let old = self.mesh.positions[v as usize];
        let old_normal = self.normals[v as usize];
        let before: Vec<Vector> = self
            .mesh
            .faces_of(v)
            .iter()
            .map(|&f| self.mesh.area_vector(self.mesh.face(f)))
            .collect();
        self.mesh.positions[v as usize] = hit.point;
        self.normals[v as usize] = normal;
        let sound = self.mesh.faces_of(v).iter().zip(&before).all(|(&f, before)| {
            let face = self.mesh.face(f);
            let after = self.mesh.area_vector(face);
            let longest =
                (0..3).map(|k| self.mesh.length(face[k], face[(k + 1) % 3])).fold(0.0, f64::max);
            let thin = after.norm() < 0.15 * longest * longest && after.norm() < before.norm();
            // A face without area has no side to keep.
            let turned = before.norm() > 1e-6 * longest * longest
                && after.dot(before) < 0.5 * after.norm() * before.norm();
            !thin && !turned
        });
        if sound {
            self.sizes[v as usize] = size;
        } else {
            self.mesh.positions[v as usize] = old;
            self.normals[v as usize] = old_normal;
        }
        sound
    }
}

#[cfg(test)]
mod tests;
