//! Whether sheets cross each other, a bridge's disc, or the model: tested, never assumed.
//!
//! Two triangle meshes cross exactly where an edge of one passes through a face of the other, so
//! edges of either are cast on the other's faces. Where sheets share a ruling, where a sheet
//! touches the rim of a disc, and along the cut on the model, touching is meant: hits there don't
//! count.

use super::SheetError;
use crate::mesh::{Point, SurfaceLocator, TriangleMesh};
use serde::{Deserialize, Serialize};

/// What a sheet crosses.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
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
pub(super) struct Surface {
    pub locator: SurfaceLocator,
    /// Ends of each edge.
    edges: Vec<[Point; 2]>,
    bounds: (Point, Point),
}

impl Surface {
    /// `None` for a mesh without faces: it crosses nothing.
    pub fn new(mesh: &TriangleMesh) -> Result<Option<Self>, SheetError> {
        let Some(bounds) = mesh.bounds() else { return Ok(None) };
        if mesh.faces.is_empty() {
            return Ok(None);
        }
        let locator = SurfaceLocator::new(mesh)?;
        Ok(Some(Self { locator, edges: edges_of(mesh), bounds }))
    }
}

fn edges_of(mesh: &TriangleMesh) -> Vec<[Point; 2]> {
    let mut edges: Vec<[u32; 2]> = mesh
        .faces
        .iter()
        .flat_map(|f| [[f[0], f[1]], [f[1], f[2]], [f[2], f[0]]])
        .map(|[a, b]| [a.min(b), a.max(b)])
        .collect();
    edges.sort_unstable();
    edges.dedup();
    edges.into_iter().map(|edge| edge.map(|v| mesh.positions[v as usize])).collect()
}

/// Where an edge of one mesh passes through a face of the other, away from where `touching` says
/// that it may.
pub(super) fn crossing(
    a: &Surface,
    b: &Surface,
    touching: &dyn Fn(&Point) -> bool,
) -> Option<Point> {
    let pierces = |from: &Surface, to: &Surface| {
        let (low, high) = to.bounds;
        from.edges.iter().find_map(|[p, q]| {
            let apart = (0..3).any(|k| p[k].max(q[k]) < low[k] || p[k].min(q[k]) > high[k]);
            if apart { None } else { first_hit(p, q, &to.locator, touching) }
        })
    };
    pierces(a, b).or_else(|| pierces(b, a))
}

/// One place where two surfaces cross, if they do.
pub fn surfaces_cross(a: &TriangleMesh, b: &TriangleMesh) -> Result<Option<Point>, SheetError> {
    let (Some(a), Some(b)) = (Surface::new(a)?, Surface::new(b)?) else { return Ok(None) };
    Ok(crossing(&a, &b, &|_| false))
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
