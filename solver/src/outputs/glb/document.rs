//! A glTF document in the making, with its binary chunk.

use gltf_json as json;
use json::validation::Checked::Valid;
use json::validation::USize64;
use json::{Accessor, Index, Material, Node};

use super::GlbError;
use crate::mesh::{Point, Vector};
use crate::nalgebra::{Unit, UnitQuaternion};

/// Metres in a millimetre.
const METRES: f32 = 0.001;
/// Length of a chunk's header and of the file's, bytes.
const HEADER: usize = 12;
const CHUNK_HEADER: usize = 8;

/// Document and chunk.
#[derive(Default)]
pub(super) struct Document {
    root: json::Root,
    chunk: Vec<u8>,
}

/// A mesh's geometry, its materials and morph targets.
pub(super) struct Shape {
    pub positions: Index<Accessor>,
    pub indices: Option<Index<Accessor>>,
    pub mode: json::mesh::Mode,
    pub material: Index<Material>,
    pub targets: Vec<Index<Accessor>>,
}

impl Document {
    /// Bytes in the chunk so far.
    pub fn len(&self) -> usize {
        self.chunk.len()
    }

    /// Points or displacements, mm. Bounds are those of the numbers as written (3.6.2.5).
    pub fn vectors(&mut self, what: &str, points: &[Point]) -> Result<Index<Accessor>, GlbError> {
        let broken = |fault| GlbError::Broken { what: what.to_owned(), fault };
        if points.is_empty() {
            return Err(broken("it has no points"));
        }
        let (mut low, mut high) = ([f32::INFINITY; 3], [f32::NEG_INFINITY; 3]);
        let mut bytes = Vec::with_capacity(12 * points.len());
        for point in points {
            for (axis, x) in point.iter().enumerate() {
                let x = *x as f32;
                if !x.is_finite() {
                    return Err(broken("a coordinate is not a finite number"));
                }
                low[axis] = low[axis].min(x);
                high[axis] = high[axis].max(x);
                bytes.extend(x.to_le_bytes());
            }
        }
        let bounds = (json::Value::from(low.to_vec()), json::Value::from(high.to_vec()));
        let target = Some(json::buffer::Target::ArrayBuffer);
        Ok(self.accessor(
            &bytes,
            points.len(),
            (json::accessor::ComponentType::F32, json::accessor::Type::Vec3),
            Some(bounds),
            target,
        ))
    }

    /// Corners of triangles, of a mesh with so many points.
    pub fn faces(
        &mut self,
        what: &str,
        faces: &[[u32; 3]],
        count: usize,
    ) -> Result<Index<Accessor>, GlbError> {
        let fault = if faces.is_empty() {
            Some("it has no faces")
        } else if faces.iter().flatten().any(|&v| v as usize >= count) {
            Some("a face names a vertex that does not exist")
        } else {
            None
        };
        if let Some(fault) = fault {
            return Err(GlbError::Broken { what: what.to_owned(), fault });
        }
        let bytes: Vec<u8> = faces.iter().flatten().flat_map(|v| v.to_le_bytes()).collect();
        let kind = (json::accessor::ComponentType::U32, json::accessor::Type::Scalar);
        let target = Some(json::buffer::Target::ElementArrayBuffer);
        Ok(self.accessor(&bytes, 3 * faces.len(), kind, None, target))
    }

    /// Plain numbers, for animations; their bounds are needed for times (3.11).
    pub fn numbers(&mut self, values: &[f32]) -> Index<Accessor> {
        let bytes: Vec<u8> = values.iter().flat_map(|x| x.to_le_bytes()).collect();
        let low = values.iter().copied().fold(f32::INFINITY, f32::min);
        let high = values.iter().copied().fold(f32::NEG_INFINITY, f32::max);
        let bounds = (json::Value::from(vec![low]), json::Value::from(vec![high]));
        let kind = (json::accessor::ComponentType::F32, json::accessor::Type::Scalar);
        self.accessor(&bytes, values.len(), kind, Some(bounds), None)
    }

    /// All of our numbers are four bytes long, so that every view stays aligned (3.6.2.4).
    fn accessor(
        &mut self,
        bytes: &[u8],
        count: usize,
        (component, kind): (json::accessor::ComponentType, json::accessor::Type),
        bounds: Option<(json::Value, json::Value)>,
        target: Option<json::buffer::Target>,
    ) -> Index<Accessor> {
        let view = self.root.push(json::buffer::View {
            buffer: Index::new(0),
            byte_length: USize64::from(bytes.len()),
            byte_offset: Some(USize64::from(self.chunk.len())),
            byte_stride: None,
            name: None,
            target: target.map(Valid),
            extensions: None,
            extras: json::Extras::default(),
        });
        self.chunk.extend(bytes);
        let (min, max) = bounds.unzip();
        self.root.push(Accessor {
            buffer_view: Some(view),
            byte_offset: None,
            count: USize64::from(count),
            component_type: Valid(json::accessor::GenericComponentType(component)),
            type_: Valid(kind),
            min,
            max,
            name: None,
            normalized: false,
            sparse: None,
            extensions: None,
            extras: json::Extras::default(),
        })
    }

    /// A dull colour, linear red, green, blue and cover; seen from both sides.
    pub fn material(&mut self, name: &str, colour: [f32; 4]) -> Index<Material> {
        let mode = match colour[3] < 1.0 {
            true => json::material::AlphaMode::Blend,
            false => json::material::AlphaMode::Opaque,
        };
        self.root.push(Material {
            name: Some(name.to_owned()),
            alpha_mode: Valid(mode),
            double_sided: true,
            pbr_metallic_roughness: json::material::PbrMetallicRoughness {
                base_color_factor: json::material::PbrBaseColorFactor(colour),
                metallic_factor: json::material::StrengthFactor(0.0),
                roughness_factor: json::material::StrengthFactor(0.8),
                ..Default::default()
            },
            ..Default::default()
        })
    }

    /// A node with a mesh of one primitive. Without normals a viewer shades it flat (3.7.2.1).
    pub fn node(&mut self, name: &str, shape: Shape) -> Index<Node> {
        let positions = std::iter::once((Valid(json::mesh::Semantic::Positions), shape.positions));
        let targets = shape.targets.iter().map(|&positions| json::mesh::MorphTarget {
            positions: Some(positions),
            normals: None,
            tangents: None,
        });
        let targets: Vec<_> = targets.collect();
        let weights = (!targets.is_empty()).then(|| vec![0.0; targets.len()]);
        let mesh = self.root.push(json::Mesh {
            name: Some(name.to_owned()),
            primitives: vec![json::mesh::Primitive {
                attributes: positions.collect(),
                indices: shape.indices,
                material: Some(shape.material),
                mode: Valid(shape.mode),
                targets: (!targets.is_empty()).then_some(targets),
                extensions: None,
                extras: json::Extras::default(),
            }],
            weights,
            extensions: None,
            extras: json::Extras::default(),
        });
        self.root.push(Node { name: Some(name.to_owned()), mesh: Some(mesh), ..Node::default() })
    }

    /// Morph targets of a node come and go one after the other, at one time (s) each; before the first
    /// the mesh is as it stands.
    pub fn animate(&mut self, name: &str, node: Index<Node>, times: &[f32], weights: &[f32]) {
        let (input, output) = (self.numbers(times), self.numbers(weights));
        self.root.push(json::Animation {
            name: Some(name.to_owned()),
            channels: vec![json::animation::Channel {
                sampler: Index::new(0),
                target: json::animation::Target {
                    node,
                    path: Valid(json::animation::Property::MorphTargetWeights),
                    extensions: None,
                    extras: json::Extras::default(),
                },
                extensions: None,
                extras: json::Extras::default(),
            }],
            samplers: vec![json::animation::Sampler {
                input,
                interpolation: Valid(json::animation::Interpolation::Linear),
                output,
                extensions: None,
                extras: json::Extras::default(),
            }],
            extensions: None,
            extras: json::Extras::default(),
        });
    }

    /// The file: all nodes below one that turns `up` to y and millimetres to metres.
    pub fn finish(
        mut self,
        name: &str,
        children: Vec<Index<Node>>,
        up: &Vector,
        limit: usize,
    ) -> Result<Vec<u8>, GlbError> {
        let turn = UnitQuaternion::rotation_between(up, &Vector::y()).unwrap_or_else(|| {
            // Upside down: half a turn about any level axis.
            UnitQuaternion::from_axis_angle(&Unit::new_unchecked(Vector::x()), std::f64::consts::PI)
        });
        let rotation = turn.coords.map(|c| c as f32);
        let top = self.root.push(Node {
            name: Some(name.to_owned()),
            children: Some(children),
            rotation: Some(json::scene::UnitQuaternion(rotation.into())),
            scale: Some([METRES; 3]),
            ..Node::default()
        });
        let scene = self.root.push(json::Scene {
            name: Some(name.to_owned()),
            nodes: vec![top],
            extensions: None,
            extras: json::Extras::default(),
        });
        self.root.scene = Some(scene);
        self.root.asset.generator = Some("slitwright".to_owned());
        self.root.buffers.push(json::Buffer {
            byte_length: USize64::from(self.chunk.len()),
            name: None,
            uri: None,
            extensions: None,
            extras: json::Extras::default(),
        });
        let document = self.root.to_vec();
        let mut document =
            document.map_err(|fault| GlbError::Document { fault: fault.to_string() })?;
        // Chunks end on four bytes: the text with spaces, the numbers with zeros (4.4.3).
        document.resize(document.len().next_multiple_of(4), b' ');
        self.chunk.resize(self.chunk.len().next_multiple_of(4), 0);
        let bytes = HEADER + 2 * CHUNK_HEADER + document.len() + self.chunk.len();
        let length = u32::try_from(bytes).ok().filter(|_| bytes <= limit);
        let Some(length) = length else {
            return Err(GlbError::TooLarge { bytes, limit: limit.min(u32::MAX as usize) });
        };
        let mut file = Vec::with_capacity(bytes);
        file.extend(b"glTF");
        file.extend(2u32.to_le_bytes());
        file.extend(length.to_le_bytes());
        for (kind, data) in [(b"JSON", &document), (b"BIN\0", &self.chunk)] {
            file.extend((data.len() as u32).to_le_bytes());
            file.extend(kind);
            file.extend(data);
        }
        Ok(file)
    }
}
