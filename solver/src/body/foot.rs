//! What of a model touches the board that it stands on.

use std::collections::{HashMap, HashSet};

use crate::mesh::{FaceId, Point, TriangleMesh, Vector, patches};
use crate::union_find::UnionFind;

/// Faces that lean at most this far from the board's plane are flat on it, degrees.
const FLAT_WITHIN_DEGREES: f64 = 20.0;
/// Least area of a flat face that a model stands on, as a share of its span squared.
const LEAST_STAND: f64 = 8e-4;
/// Height above the lowest point up to which a face touches the board, as a share of the span, and at least, mm.
const TOUCHES: (f64, f64) = (0.003, 0.05);
/// A patch smaller than this share of all that touches is no foot. No source.
const LEAST_FOOT: f64 = 0.01;
/// A face with holes is a ring where they take at least this share of what its outer edge goes round. No source.
const RING: f64 = 1.0 / 3.0;

/// How much of a model is flat on the board.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct FlatArea {
    /// Height of the lowest point along up, mm.
    pub lowest: f64,
    /// Height above it up to which a face touches, mm.
    pub tolerance: f64,
    /// Area of the flat faces up to a quarter of that height, mm^2.
    pub level: f64,
    /// Whether it is a stand.
    pub is_stand: bool,
}

impl FlatArea {
    /// Looks at a model of so much `span` along a unit `up`.
    pub fn new(model: &TriangleMesh, up: &Vector, span: f64) -> Self {
        let height = |p: &Point| p.coords.dot(up);
        let lowest = model.positions.iter().map(height).fold(f64::INFINITY, f64::min);
        let tolerance = (TOUCHES.0 * span).max(TOUCHES.1);
        let area = |limit| -> f64 {
            flat_faces(model, up, lowest + limit).map(|f| model.face_area(f)).sum()
        };
        // A flat face lies all at one height; the cap of a ball gains with every bit of height. And a flat spot the
        // size of a toe is no stand.
        let (all, level) = (area(tolerance), area(0.25 * tolerance));
        let is_stand = all >= LEAST_STAND * span * span && level >= 0.7 * all;
        Self { lowest, tolerance, level, is_stand }
    }

    /// Least area of a stand for a model of so much span, mm^2.
    pub fn least(span: f64) -> f64 {
        LEAST_STAND * span * span
    }
}

/// The faces that lie below `limit` and look down.
fn flat_faces<'a>(
    model: &'a TriangleMesh,
    up: &'a Vector,
    limit: f64,
) -> impl Iterator<Item = FaceId> + 'a {
    let flat = FLAT_WITHIN_DEGREES.to_radians().cos();
    (0..model.faces.len() as u32).map(FaceId).filter(move |&f| {
        model.corners(f).iter().all(|p| p.coords.dot(up) <= limit) && {
            let normal = model.area_vector(f);
            -normal.dot(up) >= flat * normal.norm()
        }
    })
}

/// Kinds of foot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FootKind {
    /// One flat face.
    FlatFace,
    /// One flat face round a hollow: the rim of a cup, of a hollow base.
    Ring,
    /// Several flat faces apart.
    SeveralFeet,
    /// No flat face worth the name: points, edges, round places.
    NotFlat,
}

/// What of a model touches the board.
#[derive(Clone, Debug, PartialEq)]
pub struct Foot {
    /// What it is like.
    pub kind: FootKind,
    /// Area of the flat faces that touch, mm^2.
    pub area: f64,
    /// How many flat faces there are, apart from each other; without any, in how many places the model touches.
    pub patches: usize,
    /// Outlines of the flat faces, closed, their holes' too. None repeats its first point.
    pub outlines: Vec<Vec<Point>>,
}

impl Foot {
    /// The foot along a unit `up` of a model whose flat area is `flat`.
    pub(super) fn new(model: &TriangleMesh, up: &Vector, flat: &FlatArea) -> Self {
        let limit = flat.lowest + flat.tolerance;
        let faces: Vec<FaceId> = flat_faces(model, up, limit).collect();
        // A sum over nothing is -0.0.
        let area = 0.0 + faces.iter().map(|f| model.face_area(*f)).sum::<f64>();
        let outlines = outlines(model, &faces);
        if !flat.is_stand {
            let patches = touching_places(model, up, limit);
            return Self {
                kind: FootKind::NotFlat,
                area,
                patches,
                outlines: points(model, outlines),
            };
        }
        let is_foot = |patch: &&Vec<FaceId>| {
            let own: f64 = patch.iter().map(|f| model.face_area(*f)).sum();
            own > 0.0 && own >= LEAST_FOOT * area
        };
        let patches = patches(model, &faces).iter().filter(is_foot).count();
        let kind = if patches > 1 {
            FootKind::SeveralFeet
        } else {
            let (mut round, mut holes) = (0.0, 0.0);
            for outline in &outlines {
                // Seen from below an outer edge runs counter-clockwise, that of a hole the other way.
                let own = -vector_area(model, outline).dot(up);
                if own > 0.0 { round += own } else { holes -= own }
            }
            if holes >= RING * round { FootKind::Ring } else { FootKind::FlatFace }
        };
        Self { kind, area, patches, outlines: points(model, outlines) }
    }
}

/// In how many places apart a model comes down to `limit`.
fn touching_places(model: &TriangleMesh, up: &Vector, limit: f64) -> usize {
    let low: Vec<bool> = model.positions.iter().map(|p| p.coords.dot(up) <= limit).collect();
    let mut joined = UnionFind::new(low.len());
    let mut used = vec![false; low.len()];
    for face in &model.faces {
        for k in 0..3 {
            let (a, b) = (face[k] as usize, face[(k + 1) % 3] as usize);
            used[a] = true;
            if low[a] && low[b] {
                joined.join(a, b);
            }
        }
    }
    (0..low.len()).filter(|&v| used[v] && low[v] && joined.root(v) == v).count()
}

/// The borders of a set of faces, each as vertices that run the way its faces do.
fn outlines(model: &TriangleMesh, faces: &[FaceId]) -> Vec<Vec<u32>> {
    let sides = || {
        faces.iter().flat_map(|f| {
            let face = model.faces[f.index()];
            (0..3).map(move |k| [face[k], face[(k + 1) % 3]])
        })
    };
    let all: HashSet<[u32; 2]> = sides().collect();
    let open: Vec<[u32; 2]> = sides().filter(|&[a, b]| !all.contains(&[b, a])).collect();
    let mut ahead: HashMap<u32, Vec<u32>> = HashMap::new();
    for &[a, b] in &open {
        ahead.entry(a).or_default().push(b);
    }
    let mut lines = Vec::new();
    for &[start, _] in &open {
        let mut line = Vec::new();
        let mut at = start;
        // A corner where two outlines touch is left by either way; all sides are used up in the end.
        while let Some(next) = ahead.get_mut(&at).and_then(Vec::pop) {
            line.push(at);
            at = next;
        }
        if !line.is_empty() {
            lines.push(line);
        }
    }
    lines
}

fn points(model: &TriangleMesh, outlines: Vec<Vec<u32>>) -> Vec<Vec<Point>> {
    let of = |line: Vec<u32>| line.into_iter().map(|v| model.positions[v as usize]).collect();
    outlines.into_iter().map(of).collect()
}

/// Area that a closed line goes round, as a vector, mm^2.
fn vector_area(model: &TriangleMesh, line: &[u32]) -> Vector {
    let Some(&first) = line.first() else { return Vector::zeros() };
    let first = model.positions[first as usize];
    let at = |k: usize| model.positions[line[k] as usize] - first;
    0.5 * (1..line.len()).map(|k| at(k - 1).cross(&at(k))).sum::<Vector>()
}
