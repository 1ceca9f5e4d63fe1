//! Whether sheets cross each other, a bridge's disc, or the model: tested, never assumed.
//!
//! Two triangle meshes cross exactly where an edge of one passes through a face of the other, so
//! edges of either are cast on the other's faces. Where sheets share a ruling, where a sheet
//! touches the rim of a disc, and along the cut on the model, touching is meant: hits there don't
//! count.

use super::SheetError;
use crate::mesh::{Point, SurfaceLocator, TriangleMesh};

/// What a sheet crosses.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CrossedBy {
    /// Another sheet, by its index.
    Sheet(usize),
    /// The disc of a bridge, by its index.
    Disc(usize),
    /// The model.
    Model,
}

/// A sheet that crosses something.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crossing {
    /// Index of the sheet.
    pub sheet: usize,
    /// What it crosses.
    pub with: CrossedBy,
    /// Where, one place of perhaps several.
    pub place: Point,
}

/// Hits nearer than this to where two surfaces are meant to touch don't count, mm. The sheet's
/// edge on the model is a chord between rulings and dips into a convex surface by less than this.
pub(super) const CONTACT: f64 = 1.0;

/// A surface with its edges and an index for rays.
pub(super) struct Surface<'a> {
    pub mesh: &'a TriangleMesh,
    pub locator: SurfaceLocator,
    edges: Vec<[u32; 2]>,
    bounds: (Point, Point),
}

impl<'a> Surface<'a> {
    /// `None` for a mesh without faces: it crosses nothing.
    pub fn new(mesh: &'a TriangleMesh) -> Result<Option<Self>, SheetError> {
        let Some(bounds) = mesh.bounds() else { return Ok(None) };
        if mesh.faces.is_empty() {
            return Ok(None);
        }
        let locator = SurfaceLocator::new(mesh)?;
        Ok(Some(Self { mesh, locator, edges: edges_of(mesh), bounds }))
    }
}

fn edges_of(mesh: &TriangleMesh) -> Vec<[u32; 2]> {
    let mut edges: Vec<[u32; 2]> = mesh
        .faces
        .iter()
        .flat_map(|f| [[f[0], f[1]], [f[1], f[2]], [f[2], f[0]]])
        .map(|[a, b]| [a.min(b), a.max(b)])
        .collect();
    edges.sort_unstable();
    edges.dedup();
    edges
}

/// Where an edge of one mesh passes through a face of the other, away from where `touching` says
/// that it may.
pub(super) fn crossing(
    a: &Surface<'_>,
    b: &Surface<'_>,
    touching: &dyn Fn(&Point) -> bool,
) -> Option<Point> {
    let pierces = |from: &Surface<'_>, to: &Surface<'_>| {
        let (low, high) = to.bounds;
        from.edges.iter().find_map(|edge| {
            let [p, q] = edge.map(|v| from.mesh.positions[v as usize]);
            let apart = (0..3).any(|k| p[k].max(q[k]) < low[k] || p[k].min(q[k]) > high[k]);
            if apart { None } else { first_hit(&p, &q, &to.locator, touching) }
        })
    };
    pierces(a, b).or_else(|| pierces(b, a))
}

/// Hits looked at along one edge before it is given up as touching.
const MOST_HITS: usize = 16;

fn first_hit(
    p: &Point,
    q: &Point,
    surface: &SurfaceLocator,
    touching: &dyn Fn(&Point) -> bool,
) -> Option<Point> {
    let direction = (q - p).try_normalize(1e-12)?;
    let mut from = *p;
    for _ in 0..MOST_HITS {
        let hit = surface.ray(&from, &direction, (q - from).dot(&direction))?;
        if !touching(&hit.point) {
            return Some(hit.point);
        }
        from = hit.point + direction * 1e-3;
        if (q - from).dot(&direction) <= 0.0 {
            return None;
        }
    }
    None
}

/// Distance of a point from a polyline, mm; infinite from an empty one.
pub(super) fn distance_to_line(p: &Point, line: &[Point]) -> f64 {
    let single = line.first().map_or(f64::INFINITY, |q| (p - q).norm());
    line.windows(2)
        .map(|w| {
            let along = w[1] - w[0];
            let t = ((p - w[0]).dot(&along) / along.norm_squared().max(1e-300)).clamp(0.0, 1.0);
            (p - (w[0] + along * t)).norm()
        })
        .fold(single, f64::min)
}
