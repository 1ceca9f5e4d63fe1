//! The model itself: a depth buffer, soft greys, and thin lines at silhouettes and creases.
//!
//! The depth buffer is kept, since whoever draws lines on the model asks it what is hidden.

use rayon::prelude::*;
use tiny_skia::{IntSize, Pixmap};

use super::PictureError;
use super::subject::{Subject, softened};
use super::view::Camera;
use crate::mesh::{Colour, FaceId, PaintIndex, Point, TriangleMesh, Vector};

/// Samples along each side of a pixel.
pub(super) const FINER: usize = 2;

/// Faces that meet at less than this turn are shaded as one smooth surface.
const CREASE_DEGREES: f64 = 40.0;

/// The model's greys run from `DARKEST` to `LIGHTEST` (of 255): light enough that a cut line and a
/// dashed line stand out on any of them, dark enough that the model stands out from the paper.
pub(super) const DARKEST: f32 = 168.0;
const LIGHTEST: f32 = 238.0;
/// Grey of silhouettes and creases.
const SILHOUETTE: f32 = 95.0;
const CREASE: f32 = 125.0;

/// The model with a normal for every corner of every face, ready to be looked at from any side.
pub(super) struct Shaded<'m> {
    mesh: &'m TriangleMesh,
    normals: Vec<[[f32; 3]; 3]>,
    values: Option<&'m [f32]>,
    paint: Option<PaintIndex>,
}

impl<'m> Shaded<'m> {
    pub fn new(mesh: &'m TriangleMesh) -> Self {
        let faces = mesh.faces.len();
        let area: Vec<Vector> =
            (0..faces).into_par_iter().map(|f| mesh.area_vector(FaceId(f as u32))).collect();
        let round = FacesOfVertices::new(mesh);
        let limit = CREASE_DEGREES.to_radians().cos();
        let normals = (0..faces)
            .into_par_iter()
            .map(|f| {
                let own = area[f].try_normalize(0.0).unwrap_or_else(Vector::zeros);
                mesh.faces[f].map(|vertex| {
                    let mut sum = Vector::zeros();
                    for &other in round.of(vertex) {
                        let other = area[other as usize];
                        if other.dot(&own) > limit * other.norm() {
                            sum += other;
                        }
                    }
                    let normal = sum.try_normalize(0.0).unwrap_or(own);
                    [normal.x as f32, normal.y as f32, normal.z as f32]
                })
            })
            .collect();
        Self { mesh, normals, values: None, paint: None }
    }

    /// With the colours that it has.
    pub fn coloured(subject: Subject<'m>) -> Self {
        let paint = subject.paint.and_then(|paint| paint.index());
        Self { paint, ..Self::new(subject.mesh) }
    }

    /// With a value of its own for every vertex, which samples keep.
    pub fn valued(mesh: &'m TriangleMesh, values: &'m [f32]) -> Self {
        Self { values: Some(values), ..Self::new(mesh) }
    }

    /// With values, NaN where there is none, and the colours of what has none.
    pub fn valued_and_coloured(subject: Subject<'m>, values: &'m [f32]) -> Self {
        Self { values: Some(values), ..Self::coloured(subject) }
    }

    /// The model's vertices.
    pub fn points(&self) -> &[Point] {
        &self.mesh.positions
    }

    /// Looks at the model with a camera given for a picture of `width` by `height` px.
    pub fn look(&self, camera: &Camera, width: u32, height: u32) -> Shot {
        let mut shot = Shot::blank(width as usize * FINER, height as usize * FINER);
        self.add_to(&mut shot, camera);
        shot
    }

    /// Puts the model among what a shot has seen with the same camera.
    pub fn add_to(&self, shot: &mut Shot, camera: &Camera) {
        let camera = camera.finer(FINER as f64);
        if self.values.is_some() && shot.value.is_empty() {
            shot.value = vec![f32::NAN; shot.depth.len()];
        }
        let landed: Vec<[f32; 3]> =
            self.mesh.positions.iter().map(|p| camera.project(*p).map(|x| x as f32)).collect();
        let axes = [camera.view.right, camera.view.up, camera.view.toward]
            .map(|axis| [axis.x as f32, axis.y as f32, axis.z as f32]);
        for (face, normals) in self.mesh.faces.iter().zip(&self.normals) {
            let corners = face.map(|v| landed[v as usize]);
            let values = self.values.map(|values| face.map(|v| values[v as usize]));
            shot.triangle(corners, normals, values, &axes);
        }
        if let Some(paint) = &self.paint {
            shot.tint(&camera, paint);
        }
    }
}

fn dot(a: [f32; 3], b: [f32; 3]) -> f32 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// The faces round each vertex, packed.
struct FacesOfVertices {
    start: Vec<u32>,
    faces: Vec<u32>,
}

impl FacesOfVertices {
    fn new(mesh: &TriangleMesh) -> Self {
        let mut start = vec![0u32; mesh.positions.len() + 1];
        for &vertex in mesh.faces.iter().flatten() {
            start[vertex as usize + 1] += 1;
        }
        for vertex in 0..mesh.positions.len() {
            start[vertex + 1] += start[vertex];
        }
        let mut next = start.clone();
        let mut faces = vec![0u32; mesh.faces.len() * 3];
        for (index, face) in mesh.faces.iter().enumerate() {
            for &vertex in face {
                faces[next[vertex as usize] as usize] = index as u32;
                next[vertex as usize] += 1;
            }
        }
        Self { start, faces }
    }

    fn of(&self, vertex: u32) -> &[u32] {
        let vertex = vertex as usize;
        &self.faces[self.start[vertex] as usize..self.start[vertex + 1] as usize]
    }
}

/// What one look saw, at `FINER` samples a pixel: depth (in samples, larger is nearer) and normal.
pub(super) struct Shot {
    width: usize,
    height: usize,
    depth: Vec<f32>,
    /// Right and up parts of the unit normal; the third part faces whoever looks.
    normal: Vec<[f32; 2]>,
    /// Values where what is seen has them, else not a number. Empty if nothing had any so far.
    value: Vec<f32>,
    /// The model's own colour at each pixel, where the model is seen. Empty if it has none.
    tints: Vec<Option<Colour>>,
}

/// What a sample saw.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sample {
    /// Soft light on what is seen, 0 to 1.
    pub light: f32,
    /// Its value, if what is seen has values.
    pub value: Option<f32>,
    /// A silhouette or a crease. Borders between surfaces without values, with negative values and with
    /// others count as silhouettes.
    pub edge: Option<Edge>,
    /// Place on the picture, samples.
    pub at: [usize; 2],
}

/// A thin line of the picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Edge {
    Silhouette,
    Crease,
}

/// Step in depth, samples, that makes a silhouette on what has values: meshes of the rubber are coarse,
/// and a face of theirs seen nearly edge-on must not turn black.
const LEAST_VALUED_JUMP: f32 = 12.0;
/// Depth of a sample that saw nothing.
const NOTHING: f32 = f32::NEG_INFINITY;

impl Shot {
    fn blank(width: usize, height: usize) -> Self {
        let count = width * height;
        Self {
            width,
            height,
            depth: vec![NOTHING; count],
            normal: vec![[0.0; 2]; count],
            value: Vec::new(),
            tints: Vec::new(),
        }
    }

    /// Notes the model's colours, a look for each pixel, where what is seen has no values. `camera` is that of the samples.
    fn tint(&mut self, camera: &Camera, paint: &PaintIndex) {
        let wide = self.width / FINER;
        let of_pixel = |pixel: usize| {
            let corner = [pixel % wide * FINER, pixel / wide * FINER];
            let samples =
                (0..FINER * FINER).map(|k| [corner[0] + k % FINER, corner[1] + k / FINER]);
            let mut cells = samples.map(|[x, y]| ([x, y], y * self.width + x));
            let ([x, y], cell) = cells
                .find(|(_, cell)| self.depth[*cell] > NOTHING && self.value_at(*cell).is_none())?;
            let place = [x as f64 + 0.5, y as f64 + 0.5, f64::from(self.depth[cell])];
            Some(paint.at(&camera.place(place)))
        };
        let count = wide * (self.height / FINER);
        self.tints = (0..count).into_par_iter().map(of_pixel).collect();
    }

    /// The model's own colour at a sample, if the model has colours and is seen in its pixel.
    pub fn tint_at(&self, [x, y]: [usize; 2]) -> Option<Colour> {
        self.tints.get(y / FINER * (self.width / FINER) + x / FINER).copied().flatten()
    }

    /// Draws one triangle. Normals are the model's; they are turned to `axes` (right, up, toward)
    /// only where a sample takes one, since most triangles of a fine scan win no sample.
    fn triangle(
        &mut self,
        corners: [[f32; 3]; 3],
        normals: &[[f32; 3]; 3],
        values: Option<[f32; 3]>,
        axes: &[[f32; 3]; 3],
    ) {
        let [a, b, c] = corners;
        let area = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
        if area == 0.0 || !area.is_finite() {
            return;
        }
        // Samples sit at the middle of their cell.
        let first = |low: f32| ((low - 0.5).ceil().max(0.0)) as usize;
        let last = |high: f32, size: usize| ((high + 0.5).floor().clamp(0.0, size as f32)) as usize;
        let (x0, x1) =
            (first(a[0].min(b[0]).min(c[0])), last(a[0].max(b[0]).max(c[0]), self.width));
        let (y0, y1) =
            (first(a[1].min(b[1]).min(c[1])), last(a[1].max(b[1]).max(c[1]), self.height));
        // Two triangles that share an edge round its weights differently: a hair of slack on both
        // sides leaves no pinhole between them.
        let slack = -1e-4;
        let inverse = 1.0 / area;
        for y in y0..y1 {
            let py = y as f32 + 0.5;
            for x in x0..x1 {
                let px = x as f32 + 0.5;
                let wb = ((px - a[0]) * (c[1] - a[1]) - (py - a[1]) * (c[0] - a[0])) * inverse;
                let wc = ((b[0] - a[0]) * (py - a[1]) - (b[1] - a[1]) * (px - a[0])) * inverse;
                let wa = 1.0 - wb - wc;
                if wa < slack || wb < slack || wc < slack {
                    continue;
                }
                let depth = wa * a[2] + wb * b[2] + wc * c[2];
                let cell = y * self.width + x;
                if depth <= self.depth[cell] {
                    continue;
                }
                self.depth[cell] = depth;
                if let Some(value) = self.value.get_mut(cell) {
                    *value = values.map_or(f32::NAN, |v| wa * v[0] + wb * v[1] + wc * v[2]);
                }
                let mix = |k: usize| wa * normals[0][k] + wb * normals[1][k] + wc * normals[2][k];
                let mixed = [mix(0), mix(1), mix(2)];
                let [nx, ny, nz] = axes.map(|axis| dot(axis, mixed));
                let length = (nx * nx + ny * ny + nz * nz).sqrt();
                self.normal[cell] = if length > 0.0 {
                    // A surface that faces away is seen from inside: shade what is seen.
                    let sign = if nz < 0.0 { -1.0 } else { 1.0 };
                    [sign * nx / length, sign * ny / length]
                } else {
                    [0.0, 0.0]
                };
            }
        }
    }

    /// Whether a place at `[x, y, height]` px, as a camera projects it, is nearer than the model.
    /// The caller lifts a place on the surface a little off it, along the surface's normal.
    pub fn sees(&self, place: [f64; 3]) -> bool {
        let finer = FINER as f64;
        let (x, y) = ((place[0] * finer).floor(), (place[1] * finer).floor());
        if x < 0.0 || y < 0.0 || x >= self.width as f64 || y >= self.height as f64 {
            return true;
        }
        f64::from(self.depth[y as usize * self.width + x as usize]) <= place[2] * finer
    }

    /// Samples that have a value, with their places.
    pub fn valued(&self) -> impl Iterator<Item = ([u32; 2], f32)> {
        let place = |cell: usize| [(cell % self.width) as u32, (cell / self.width) as u32];
        let values = self.value.iter().enumerate().filter(|(_, value)| !value.is_nan());
        values.map(move |(cell, value)| (place(cell), *value))
    }

    /// Pixels at the edge of what is covered.
    pub fn outline(&self) -> Vec<[u32; 2]> {
        let (wide, high) = (self.width / FINER, self.height / FINER);
        let covered = |x: usize, y: usize| self.depth[y * FINER * self.width + x * FINER] > NOTHING;
        let at_edge = |x: usize, y: usize| {
            x == 0
                || y == 0
                || x + 1 == wide
                || y + 1 == high
                || !(covered(x - 1, y)
                    && covered(x + 1, y)
                    && covered(x, y - 1)
                    && covered(x, y + 1))
        };
        let all = (0..high).flat_map(|y| (0..wide).map(move |x| (x, y)));
        let found = all.filter(|(x, y)| covered(*x, *y) && at_edge(*x, *y));
        found.map(|(x, y)| [x as u32, y as u32]).collect()
    }

    /// Whether the model covers a pixel.
    #[cfg(test)]
    pub fn covers(&self, x: u32, y: u32) -> bool {
        self.depth[y as usize * FINER * self.width + x as usize * FINER] > NOTHING
    }

    /// The picture in greys, or in the model's own colours, on white paper.
    pub fn paint(&self) -> Result<Pixmap, PictureError> {
        self.paint_over(|_| None)
    }

    /// The same with other colours (red, green, blue, to 255) where these are given.
    pub fn paint_over(
        &self,
        other: impl Fn(&Sample) -> Option<[f32; 3]> + Sync,
    ) -> Result<Pixmap, PictureError> {
        self.paint_with(|sample| {
            if let Some(own) = other(sample) {
                own
            } else {
                match sample.edge {
                    Some(Edge::Silhouette) => [SILHOUETTE; 3],
                    Some(Edge::Crease) => [CREASE; 3],
                    None => {
                        let grey = DARKEST + (LIGHTEST - DARKEST) * sample.light;
                        self.tint_at(sample.at).map_or([grey; 3], |colour| softened(grey, colour))
                    }
                }
            }
        })
    }

    /// The picture on white paper, each sample in the colour (red, green, blue, to 255) asked for.
    pub fn paint_with(
        &self,
        colour: impl Fn(&Sample) -> [f32; 3] + Sync,
    ) -> Result<Pixmap, PictureError> {
        let tones: Vec<[f32; 3]> = (0..self.height)
            .into_par_iter()
            .flat_map_iter(|y| {
                let colour = &colour;
                (0..self.width)
                    .map(move |x| self.sample(x, y).map_or([255.0; 3], |sample| colour(&sample)))
            })
            .collect();
        let (width, height) = (self.width / FINER, self.height / FINER);
        let mut bytes = Vec::with_capacity(width * height * 4);
        for y in 0..height {
            for x in 0..width {
                let mut sum = [0.0; 3];
                for row in 0..FINER {
                    let from = (y * FINER + row) * self.width + x * FINER;
                    for tone in &tones[from..from + FINER] {
                        sum = [0, 1, 2].map(|k| sum[k] + tone[k]);
                    }
                }
                bytes.extend(sum.map(|s| (s / (FINER * FINER) as f32).round() as u8));
                bytes.push(255);
            }
        }
        IntSize::from_wh(width as u32, height as u32)
            .and_then(|size| Pixmap::from_vec(bytes, size))
            .ok_or(PictureError::Memory { width: width as u32, height: height as u32 })
    }

    /// What a sample saw, if it saw anything.
    fn sample(&self, x: usize, y: usize) -> Option<Sample> {
        let cell = y * self.width + x;
        if self.depth[cell] == NOTHING {
            return None;
        }
        Some(Sample {
            light: light(self.normal[cell]),
            value: self.value_at(cell),
            edge: self.edge(x, y),
            at: [x, y],
        })
    }

    /// Kind of surface: without values, with negative ones, with others.
    fn kind(&self, cell: usize) -> u8 {
        match self.value_at(cell) {
            None => 0,
            Some(value) if value < 0.0 => 1,
            Some(_) => 2,
        }
    }

    fn value_at(&self, cell: usize) -> Option<f32> {
        self.value.get(cell).copied().filter(|value| !value.is_nan())
    }

    /// The thin line through a covered sample, if one runs there.
    fn edge(&self, x: usize, y: usize) -> Option<Edge> {
        let cell = y * self.width + x;
        let [nx, ny] = self.normal[cell];
        let nz = facing(self.normal[cell]);
        // Depth that a flat surface gains over one sample, limited where it turns edge-on.
        let steep = |n: f32| (n / nz.max(0.05)).abs();
        let (slope_x, slope_y) = (steep(nx), steep(ny));
        let least_jump = if self.kind(cell) == 0 { 4.0 } else { LEAST_VALUED_JUMP };
        let mut crease = false;
        let mut neighbour = |inside: bool, other: usize, slope: f32| -> bool {
            if !inside || self.depth[other] == NOTHING {
                return true;
            }
            let (own, beside) = (self.kind(cell), self.kind(other));
            if own != beside {
                // Only one of them carries the line.
                return own < beside;
            }
            let jump = (self.depth[other] - self.depth[cell]).abs();
            if jump > least_jump + 2.0 * slope {
                // The nearer side carries the line.
                return self.depth[other] < self.depth[cell];
            }
            let [mx, my] = self.normal[other];
            let turn = nx * mx + ny * my + nz * facing(self.normal[other]);
            crease |= turn < 0.82;
            false
        };
        let silhouette = neighbour(x > 0, cell.wrapping_sub(1), slope_x)
            | neighbour(x + 1 < self.width, cell + 1, slope_x)
            | neighbour(y > 0, cell.wrapping_sub(self.width), slope_y)
            | neighbour(y + 1 < self.height, cell + self.width, slope_y);
        if silhouette {
            Some(Edge::Silhouette)
        } else if crease {
            Some(Edge::Crease)
        } else {
            None
        }
    }
}

fn facing([nx, ny]: [f32; 2]) -> f32 {
    (1.0 - nx * nx - ny * ny).max(0.0).sqrt()
}

/// Soft light from the upper left, 0 to 1, with enough from everywhere that nothing goes dark.
fn light(normal: [f32; 2]) -> f32 {
    let light = [-0.45, 0.55, 0.70];
    let lit = normal[0] * light[0] + normal[1] * light[1] + facing(normal) * light[2];
    (0.5 + 0.5 * lit).clamp(0.0, 1.0).powf(1.3)
}
