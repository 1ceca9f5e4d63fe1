//! The default scene: every triangle of it, where its nodes put it.

use gltf_json::accessor::Type;
use gltf_json::mesh::{Mode, Primitive, Semantic};
use gltf_json::scene::Node;
use gltf_json::validation::Checked::Valid;
use gltf_json::{Accessor, Index, Scene};
use nalgebra::{Matrix4, Quaternion, Translation3, UnitQuaternion, Vector3};

use super::colour::Part;
use super::numbers::Numbers;
use super::{File, malformed};
use crate::control::Cancel;
use crate::mesh::io::{Content, FaceCollector, MeshFormat, ReadError, ReadLimits};
use crate::mesh::{Point, TriangleMesh};

/// Primitives in a scene.
const MOST_PARTS: usize = 10_000;

/// What a scene holds.
pub(super) struct Gathered {
    pub mesh: TriangleMesh,
    /// What colours it, by ascending faces.
    pub parts: Vec<Part>,
    pub remarks: Vec<String>,
}

impl Gathered {
    /// With its colours.
    pub fn finish(mut self, file: &File<'_>) -> Content {
        let colours = super::colour::resolve(file, &self.mesh, &self.parts, &mut self.remarks);
        Content { mesh: self.mesh, colours, remarks: self.remarks }
    }
}

/// Goes through the default scene.
pub(super) fn gather(
    file: &File<'_>,
    limits: &ReadLimits,
    cancel: &Cancel,
) -> Result<Gathered, ReadError> {
    let root = file.root;
    let place = "in its document";
    let scene: &Scene = match (root.scene, root.scenes.as_slice()) {
        (Some(index), _) => {
            root.get(index).ok_or_else(|| malformed(place, "its default scene is not there"))?
        }
        (None, [only]) => only,
        (None, []) => return Err(malformed(place, "it has no scene: export a whole scene")),
        (None, all) => {
            let reason = format!("it has {} scenes and none is the default: choose one", all.len());
            return Err(malformed(place, reason));
        }
    };
    let mut work = Gathering {
        file,
        positions: Vec::new(),
        collector: FaceCollector::new(limits, cancel),
        parts: Vec::new(),
        others: 0,
    };
    let mut seen = vec![false; root.nodes.len()];
    let mut open: Vec<(Index<Node>, Matrix4<f64>)> =
        scene.nodes.iter().rev().map(|node| (*node, Matrix4::identity())).collect();
    while let Some((index, above)) = open.pop() {
        let number = index.value();
        let node: &Node = root
            .get(index)
            .ok_or_else(|| malformed(place, format!("node {number} is used but not there")))?;
        // A tree has each node once (section 3.5.2); this ends circles too.
        if std::mem::replace(&mut seen[number], true) {
            return Err(malformed(place, format!("node {number} is used twice, or within itself")));
        }
        let own = above * transform(node, number)?;
        work.add(node, number, &own)?;
        open.extend(node.children.iter().flatten().rev().map(|child| (*child, own)));
    }
    let mut remarks =
        vec!["glTF has y up: here z is up, and x, y, z of the file are x, -z, y".to_owned()];
    if work.others > 0 {
        let words = format!("{} parts of lines or points were left out", work.others);
        remarks.push(words);
    }
    if !root.animations.is_empty() {
        remarks.push("its animations were left out: it is read as it stands at rest".to_owned());
    }
    let mesh = TriangleMesh { positions: work.positions, faces: work.collector.faces };
    if mesh.faces.is_empty() {
        return Err(ReadError::Empty { format: MeshFormat::Gltf });
    }
    Ok(Gathered { mesh, parts: work.parts, remarks })
}

struct Gathering<'a> {
    file: &'a File<'a>,
    positions: Vec<Point>,
    collector: FaceCollector<'a>,
    parts: Vec<Part>,
    others: usize,
}

impl<'a> Gathering<'a> {
    fn add(&mut self, node: &Node, number: usize, own: &Matrix4<f64>) -> Result<(), ReadError> {
        let Some(index) = node.mesh else { return Ok(()) };
        let place = format!("in node {number}");
        let mesh: &gltf_json::Mesh =
            self.file.root.get(index).ok_or_else(|| malformed(&place, "its mesh is not there"))?;
        if node.skin.is_some() {
            let reason = "it is posed by a skeleton, which is not read: apply the pose where it was made, and export it again";
            return Err(malformed(place, reason));
        }
        let weights = node.weights.as_ref().or(mesh.weights.as_ref());
        let shaped = weights.is_some_and(|weights| weights.iter().any(|w| *w != 0.0));
        for primitive in &mesh.primitives {
            if shaped && primitive.targets.as_ref().is_some_and(|targets| !targets.is_empty()) {
                let reason = "its shape is blended from several, which is not read: apply the blend where it was made, and export it again";
                return Err(malformed(place, reason));
            }
            if self.parts.len() == MOST_PARTS {
                let reason = format!("the scene has more than {MOST_PARTS} parts");
                return Err(malformed(place, reason));
            }
            let Valid(mode) = primitive.mode else {
                return Err(malformed(place, "a primitive has a mode that glTF does not know"));
            };
            match mode {
                Mode::Triangles | Mode::TriangleStrip | Mode::TriangleFan => {
                    self.add_triangles(primitive, mode, &place, own)?;
                }
                Mode::Points | Mode::Lines | Mode::LineLoop | Mode::LineStrip => self.others += 1,
            }
        }
        Ok(())
    }

    fn add_triangles(
        &mut self,
        primitive: &Primitive,
        mode: Mode,
        place: &str,
        own: &Matrix4<f64>,
    ) -> Result<(), ReadError> {
        let limit = self.collector.limits.max_triangles;
        let attribute = |semantic: Semantic| -> Option<Index<Accessor>> {
            primitive.attributes.get(&Valid(semantic)).copied()
        };
        let Some(index) = attribute(Semantic::Positions) else {
            return Err(malformed(place, "a primitive has no positions"));
        };
        let file = self.file;
        let points = Numbers::open(file, index, "positions", &[Type::Vec3], 3 * limit)?;
        let offset = self.positions.len();
        // Asked before positions grow: a mesh may be used any number of times.
        if (offset + points.count) as u64 > 3 * limit {
            return Err(malformed(place, format!("it holds more than {} vertices", 3 * limit)));
        }
        let first = self.collector.faces.len();
        self.positions.extend((0..points.count).map(|k| {
            let [x, y, z] = points.item(k);
            let placed = own * nalgebra::Vector4::new(x, y, z, 1.0);
            // y up becomes z up.
            Point::new(placed.x, -placed.z, placed.y)
        }));
        let indices = primitive.indices.map(|index| {
            // Three a triangle, or one more than the triangles of a strip.
            Numbers::open(file, index, "indices", &[Type::Scalar], 3 * limit + 2)
        });
        let indices = indices.transpose()?;
        let corners = indices.as_ref().map_or(points.count, |indices| indices.count);
        let triangles = match mode {
            Mode::Triangles => corners / 3,
            _ => corners.saturating_sub(2),
        };
        let total = (first + triangles) as u64;
        if total > limit {
            return Err(ReadError::TooManyTriangles { triangles: total, limit });
        }
        let mirrored = own.fixed_view::<3, 3>(0, 0).determinant() < 0.0;
        for t in 0..triangles {
            // Sections 3.7.2.1 and, for strips, every other one turned.
            let [a, b, c] = match mode {
                Mode::TriangleStrip => [t, t + 1 + t % 2, t + 2 - t % 2],
                Mode::TriangleFan => [0, t + 1, t + 2],
                _ => [3 * t, 3 * t + 1, 3 * t + 2],
            };
            let mut ring = [0u32; 3];
            for (slot, corner) in ring.iter_mut().zip([a, b, c]) {
                let vertex =
                    indices.as_ref().map_or(corner as f64, |own| own.number(corner, 0)) as usize;
                if vertex >= points.count {
                    return Err(ReadError::BadIndex {
                        face: (first + t) as u64,
                        vertex: vertex as i64,
                        count: points.count as u64,
                    });
                }
                *slot = (offset + vertex) as u32;
            }
            if mirrored {
                ring.swap(1, 2);
            }
            self.collector.push(&ring, &self.positions)?;
        }
        self.parts.push(Part::new(file, primitive, first, offset, points.count));
        Ok(())
    }
}

/// What a node does to what is below it (section 3.5.3).
fn transform(node: &Node, number: usize) -> Result<Matrix4<f64>, ReadError> {
    let place = format!("in node {number}");
    if let Some(matrix) = node.matrix {
        let matrix = Matrix4::from_column_slice(&matrix.map(f64::from));
        let last = matrix.row(3) - nalgebra::RowVector4::new(0.0, 0.0, 0.0, 1.0);
        if last.amax().is_nan() || last.amax() > 1e-6 {
            return Err(malformed(place, "its matrix has a last row other than 0 0 0 1"));
        }
        return Ok(matrix);
    }
    let [x, y, z] = node.translation.unwrap_or_default().map(f64::from);
    let [i, j, k, w] = node.rotation.unwrap_or_default().0.map(f64::from);
    let turn = UnitQuaternion::try_new(Quaternion::new(w, i, j, k), 1e-9)
        .ok_or_else(|| malformed(place, "its rotation is no quaternion of length 1"))?;
    let scale = Vector3::from(node.scale.unwrap_or([1.0; 3]).map(f64::from));
    let turned = Translation3::new(x, y, z).to_homogeneous() * turn.to_homogeneous();
    Ok(turned * Matrix4::new_nonuniform_scaling(&scale))
}
