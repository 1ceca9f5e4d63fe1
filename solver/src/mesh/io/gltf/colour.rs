//! Colours of a scene: those of vertices times that of the material times its picture (section 3.9.2). The first two are
//! light as it adds up, the picture is as a screen has it.

use gltf_json::accessor::Type;
use gltf_json::extensions::texture::TextureTransform;
use gltf_json::mesh::{Primitive, Semantic};
use gltf_json::texture::{Sampler, Texture as Named, WrappingMode};
use gltf_json::validation::Checked::{self, Valid};
use gltf_json::{Image, Index, Material};

use super::numbers::{Numbers, bytes_of};
use super::{File, data_uri};
use crate::mesh::TriangleMesh;
use crate::mesh::io::colour::{Colours, to_light, to_screen};
use crate::mesh::io::texture::{Wrap, multiply};
use crate::mesh::paint::{MOST_POINTS, spots};

/// A primitive's colours.
pub(super) struct Part {
    first_face: usize,
    first_vertex: usize,
    factor: [f32; 3],
    /// Light of its vertices.
    vertices: Option<Vec<[f32; 3]>>,
    picture: Option<Picture>,
    /// What could not be read.
    fault: Option<String>,
}

/// Where its picture comes from, and which place of it each vertex has.
struct Picture {
    image: Index<Image>,
    wrap: [Wrap; 2],
    places: Vec<[f32; 2]>,
}

impl Part {
    pub fn new(
        file: &File<'_>,
        primitive: &Primitive,
        first_face: usize,
        first_vertex: usize,
        count: usize,
    ) -> Self {
        let material: Option<&Material> =
            primitive.material.and_then(|material| file.root.get(material));
        let factor = material.map_or([1.0; 4], |m| m.pbr_metallic_roughness.base_color_factor.0);
        let part = Self {
            first_face,
            first_vertex,
            factor: [factor[0], factor[1], factor[2]],
            vertices: None,
            picture: None,
            fault: None,
        };
        let vertices = light_of_vertices(file, primitive, count);
        let picture = material.map_or(Ok(None), |m| picture(file, primitive, m, count));
        match (vertices, picture) {
            (Ok(vertices), Ok(picture)) => Self { vertices, picture, ..part },
            (Err(fault), _) | (_, Err(fault)) => Self { fault: Some(fault), ..part },
        }
    }
}

/// `COLOR_0`.
fn light_of_vertices(
    file: &File<'_>,
    primitive: &Primitive,
    count: usize,
) -> Result<Option<Vec<[f32; 3]>>, String> {
    let Some(index) = primitive.attributes.get(&Valid(Semantic::Colors(0))) else {
        return Ok(None);
    };
    let types = [Type::Vec3, Type::Vec4];
    let numbers = Numbers::open(file, *index, "colours", &types, count as u64)
        .map_err(|fault| fault.to_string())?;
    if numbers.count < count {
        return Err(format!("{} of {count} vertices have colours", numbers.count));
    }
    let all: Vec<[f32; 3]> = (0..count).map(|k| numbers.item(k).map(|x| x as f32)).collect();
    match all.iter().position(|light| !light.iter().all(|x| x.is_finite())) {
        Some(vertex) => Err(format!("the colour of vertex {vertex} is not a number")),
        None => Ok(Some(all)),
    }
}

/// The material's `baseColorTexture` with `TEXCOORD_n`.
fn picture(
    file: &File<'_>,
    primitive: &Primitive,
    material: &Material,
    count: usize,
) -> Result<Option<Picture>, String> {
    let Some(info) = &material.pbr_metallic_roughness.base_color_texture else {
        return Ok(None);
    };
    let moved = info.extensions.as_ref().and_then(|own| own.texture_transform.as_ref());
    let set = moved.and_then(|moved| moved.tex_coord).unwrap_or(info.tex_coord);
    let texture: &Named =
        file.root.get(info.index).ok_or("the texture that is named is not there")?;
    let Some(index) = primitive.attributes.get(&Valid(Semantic::TexCoords(set))) else {
        return Err("it has a picture, but its vertices have no places on it".to_owned());
    };
    let numbers = Numbers::open(file, *index, "texture coordinates", &[Type::Vec2], count as u64)
        .map_err(|fault| fault.to_string())?;
    if numbers.count < count {
        return Err(format!("{} of {count} vertices have places on a picture", numbers.count));
    }
    let sampler: Option<&Sampler> = texture.sampler.and_then(|sampler| file.root.get(sampler));
    let wrap = sampler.map_or([Wrap::Repeat; 2], |own| [own.wrap_s, own.wrap_t].map(wrap));
    let places = (0..count).map(|k| {
        let place = numbers.item(k).map(|x| x as f32);
        moved.map_or(place, |moved| transformed(place, moved))
    });
    Ok(Some(Picture { image: texture.source, wrap, places: places.collect() }))
}

fn wrap(mode: Checked<WrappingMode>) -> Wrap {
    match mode {
        Valid(WrappingMode::ClampToEdge) => Wrap::Clamp,
        Valid(WrappingMode::MirroredRepeat) => Wrap::Mirror,
        Valid(WrappingMode::Repeat) | Checked::Invalid => Wrap::Repeat,
    }
}

/// The extension KHR_texture_transform: scaled, then turned, then moved.
fn transformed([u, v]: [f32; 2], by: &TextureTransform) -> [f32; 2] {
    let ([du, dv], [su, sv]) = (by.offset.0, by.scale.0);
    let (sine, cosine) = by.rotation.0.sin_cos();
    let (u, v) = (su * u, sv * v);
    [cosine * u + sine * v + du, cosine * v - sine * u + dv]
}

/// The bytes of an image, which may be in the file only.
fn image_bytes(file: &File<'_>, index: Index<Image>) -> Result<Vec<u8>, String> {
    let image: &Image =
        file.root.get(index).ok_or("it has none of a kind that is read, PNG or JPEG")?;
    match (&image.uri, image.buffer_view) {
        (Some(uri), _) => data_uri(uri),
        (None, Some(view)) => Ok(bytes_of(file, view)?.to_vec()),
        (None, None) => Err("it has no place in the file".to_owned()),
    }
}

/// Colours of places all over a scene. What cannot be read is told, and the rest coloured.
pub(super) fn resolve(
    file: &File<'_>,
    mesh: &TriangleMesh,
    parts: &[Part],
    remarks: &mut Vec<String>,
) -> Option<Colours> {
    let faults: Vec<&str> = parts.iter().filter_map(|part| part.fault.as_deref()).collect();
    if let Some(first) = faults.first() {
        let more = match faults.len() {
            1 => String::new(),
            n => format!(", and {} more", n - 1),
        };
        remarks.push(format!("colours of a part were left out: {first}{more}"));
    }
    let coloured =
        |part: &Part| part.vertices.is_some() || part.picture.is_some() || part.factor != [1.0; 3];
    if !parts.iter().any(coloured) {
        return None;
    }
    let spots = spots(mesh, MOST_POINTS);
    let owners: Vec<Option<&Part>> = spots
        .iter()
        .map(|spot| {
            let next = parts.partition_point(|part| part.first_face <= spot.face as usize);
            parts.get(next.checked_sub(1)?)
        })
        .collect();
    let corners = |owner: &Part, face: u32| {
        mesh.faces[face as usize].map(|v| v as usize - owner.first_vertex)
    };
    let mut light: Vec<[f32; 3]> = spots
        .iter()
        .zip(&owners)
        .map(|(spot, owner)| {
            let Some(owner) = owner else { return [1.0; 3] };
            let Some(vertices) = &owner.vertices else { return owner.factor };
            let blended = spot.blend(corners(owner, spot.face).map(|v| vertices[v]));
            std::array::from_fn(|k| blended[k] * owner.factor[k])
        })
        .collect();
    let mut images: Vec<Index<Image>> = Vec::new();
    for picture in parts.iter().filter_map(|part| part.picture.as_ref()) {
        if !images.iter().any(|image| image.value() == picture.image.value()) {
            images.push(picture.image);
        }
    }
    let place = |image: &Index<Image>, number: usize| {
        let (spot, owner) = (&spots[number], owners[number]?);
        let own = owner.picture.as_ref().filter(|own| own.image.value() == image.value())?;
        let place = spot.blend(corners(owner, spot.face).map(|v| own.places[v]));
        Some((place, own.wrap))
    };
    let bytes = |image: &Index<Image>| image_bytes(file, *image);
    let unread = multiply(images, bytes, place, to_light, &mut light);
    if let Some((_, first)) = unread.first() {
        let many = match unread.len() {
            1 => "a picture of it colours nothing".to_owned(),
            n => format!("{n} pictures of it colour nothing, the first since"),
        };
        remarks.push(format!("{many}: {first}"));
    }
    let colours = light.into_iter().map(|light| light.map(to_screen)).collect();
    Some(Colours { spots, colours })
}
