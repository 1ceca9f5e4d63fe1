//! The sheet between two sides, and which part of it belongs to which part of the border.
//!
//! Seen from a point of the sheet, the knife goes on to the model down the other potential, that which is 0 on
//! the model and 1 on the outside: so each point belongs to the place of the border that it leads down to. A piece
//! of border that is cut then is cut all the way to the outside, one that is left leaves rubber all the way.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::{Border, Labels, SidesError, Surface, zero_set};
use crate::body::{MouldBody, Outside};
use crate::control::Control;
use crate::field::{Equations, Potential};
use crate::mesh::{FaceId, Point, TriangleMesh};
use crate::union_find::UnionFind;

/// The residual at which the potential between the sides counts as solved: the place of its zero is then known
/// far better than the grid's spacing.
const SOLVED: f64 = 1e-6;
/// A vertex of the sheet nearer to the border than this many spacings is where the border is.
const AT_BORDER: f64 = 1.0;
/// From this level of the outer potential on a vertex of the sheet lies on the outside.
const OUTSIDE_LEVEL: f64 = 0.98;
/// The sheet is drawn out below the board by so much, mm: an edge that lies in the board's plane parts nothing.
const BELOW_BOARD: f64 = 2.0;

/// A place on the border: which of its paths, and how far along it, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BorderPlace {
    /// Index into [`Border::paths`].
    pub path: u32,
    /// Distance along it, mm.
    pub along: f64,
}

/// A place on the sheet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SheetPlace {
    /// The place of the border that the knife is led to from there.
    pub border: BorderPlace,
    /// How deep it lies below the outside, mm; negative where the sheet is drawn out.
    pub below_outside: f64,
}

/// What a part of the sheet that hangs together does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PartKind {
    /// Runs to the outside: the knife gets there.
    Exterior,
    /// Runs from the model to the model, or to the board: it cuts a bridge across.
    Bridge,
}

/// A part of the sheet that hangs together.
#[derive(Clone, Debug, PartialEq)]
pub struct SheetPart {
    /// What it does.
    pub kind: PartKind,
    /// The paths of the border that it starts from.
    pub paths: Vec<u32>,
    /// Area within the rubber, mm^2.
    pub area: f64,
}

/// The sheet between two sides.
pub struct PartingSheet {
    /// What it lies between.
    pub labels: Labels,
    /// Where it starts on the model.
    pub border: Border,
    /// Its parts.
    pub parts: Vec<SheetPart>,
    /// The potential that it is the zero set of.
    pub potential: Potential,
    /// Its surface, drawn out through the model, beyond the outside and below the board; counter-clockwise seen from
    /// the front.
    pub mesh: TriangleMesh,
    /// The part of each face; none for faces that lie wholly outside of the rubber and belong to no part.
    part: Vec<Option<u32>>,
    /// Whether the middle of each face lies in the rubber.
    in_rubber: Vec<bool>,
    /// Where each vertex is.
    place: Vec<SheetPlace>,
}

impl PartingSheet {
    /// The sheet between the sides that `labels` tell. `outer` is the potential that is 0 on the model and 1 on the
    /// outside of `body`, `equations` are those of the same rubber with an insulated outside.
    pub fn new(
        surface: &Surface,
        labels: Labels,
        border: Border,
        body: &MouldBody,
        outer: &Potential,
        equations: &Equations,
        control: &Control<'_>,
    ) -> Result<Self, SidesError> {
        if border.paths.is_empty() {
            return Err(SidesError::OneSide);
        }
        let side = |p: &Point| border.side(surface, p);
        let potential = equations.solve_sides(&side, SOLVED, control)?;
        let mesh = below_the_board(zero_set(&potential, &side, beyond_the_outside(body)), body);
        control.check()?;
        let spacing = potential.grid().spacing;
        let in_model: Vec<bool> =
            mesh.positions.par_iter().map(|p| depth_in_model(body, p) > 0.0).collect();
        let borders = places(&mesh, &in_model, &border, outer, spacing);
        let place = mesh
            .positions
            .par_iter()
            .zip(borders)
            .map(|(p, border)| SheetPlace { border, below_outside: body.depth_below_outside(p) });
        let place = place.collect();
        let middles = (0..mesh.faces.len() as u32).into_par_iter();
        let in_rubber: Vec<bool> = middles
            .map(|f| {
                let middle = mesh.face_middle(FaceId(f));
                body.holds(&middle) && depth_in_model(body, &middle) < 0.0
            })
            .collect();
        let mut sheet = Self {
            labels,
            border,
            parts: Vec::new(),
            potential,
            part: vec![None; mesh.faces.len()],
            mesh,
            in_rubber,
            place,
        };
        sheet.find_parts(outer);
        sheet.follow_borders(&in_model);
        Ok(sheet)
    }

    /// Within the model faces belong to the part that the border nearest to them starts.
    fn follow_borders(&mut self, in_model: &[bool]) {
        for (part, face) in self.part.iter_mut().zip(&self.mesh.faces) {
            let Some(&v) = face.iter().find(|&&v| in_model[v as usize]) else { continue };
            let path = self.place[v as usize].border.path;
            let nearest = self.parts.iter().position(|part| part.paths.contains(&path));
            *part = nearest.map(|part| part as u32).or(*part);
        }
    }

    /// Faces of the rubber that hang together; those outside of it go with a neighbour.
    fn find_parts(&mut self, outer: &Potential) {
        let mesh = &self.mesh;
        let mut joined = UnionFind::new(mesh.positions.len());
        let mut reached = vec![false; mesh.positions.len()];
        for (face, _) in mesh.faces.iter().zip(&self.in_rubber).filter(|(_, inside)| **inside) {
            joined.join(face[0] as usize, face[1] as usize);
            joined.join(face[0] as usize, face[2] as usize);
            face.iter().for_each(|&v| reached[v as usize] = true);
        }
        struct Found {
            area: f64,
            outside: bool,
            paths: BTreeMap<u32, f64>,
        }
        let mut found: BTreeMap<usize, Found> = BTreeMap::new();
        for (f, face) in mesh.faces.iter().enumerate().filter(|(f, _)| self.in_rubber[*f]) {
            let area = mesh.face_area(FaceId(f as u32));
            let entry = found.entry(joined.root(face[0] as usize)).or_insert(Found {
                area: 0.0,
                outside: false,
                paths: BTreeMap::new(),
            });
            entry.area += area;
            let path = self.place[face[0] as usize].border.path;
            *entry.paths.entry(path).or_default() += area;
            entry.outside |= face.iter().any(|&v| is_outside(outer, &mesh.positions[v as usize]));
        }
        let total: f64 = found.values().map(|f| f.area).sum();
        let mut number: BTreeMap<usize, u32> = BTreeMap::new();
        for (root, found) in found {
            // What is less than a thousandth is a crumb of the grid.
            if found.area < 1e-3 * total {
                continue;
            }
            number.insert(root, self.parts.len() as u32);
            let kind = if found.outside { PartKind::Exterior } else { PartKind::Bridge };
            // A path that lends a part next to nothing belongs to another one.
            let paths = found.paths.iter().filter(|(_, area)| **area > 0.01 * found.area);
            let paths = paths.map(|(&path, _)| path).collect();
            self.parts.push(SheetPart { kind, paths, area: found.area });
        }
        // Drawn-out faces follow the vertex that reaches the rubber, layer by layer.
        let mut of_vertex: Vec<Option<u32>> = (0..mesh.positions.len())
            .map(|v| number.get(&joined.root(v)).copied().filter(|_| reached[v]))
            .collect();
        loop {
            let mut next = of_vertex.clone();
            for face in &mesh.faces {
                let part = face.iter().find_map(|&v| of_vertex[v as usize]);
                for &v in face {
                    next[v as usize] = next[v as usize].or(part);
                }
            }
            if next == of_vertex {
                break;
            }
            of_vertex = next;
        }
        for (part, face) in self.part.iter_mut().zip(&mesh.faces) {
            *part = face.iter().find_map(|&v| of_vertex[v as usize]);
        }
    }

    /// The kind of part that a path of the border starts.
    pub fn kind_of(&self, path: u32) -> PartKind {
        let exterior = self
            .parts
            .iter()
            .any(|part| part.kind == PartKind::Exterior && part.paths.contains(&path));
        if exterior { PartKind::Exterior } else { PartKind::Bridge }
    }

    /// The surfaces along which the knife parts the rubber, drawn out beyond its skins: what leads down to places
    /// that are cut, and all bridges' cuts.
    pub fn cut_surface(&self, is_cut: &dyn Fn(&SheetPlace) -> bool) -> TriangleMesh {
        self.mesh.faces_where(&|f| self.is_face_cut(f, is_cut))
    }

    /// The same without what is drawn out.
    pub fn cut_in_rubber(&self, is_cut: &dyn Fn(&SheetPlace) -> bool) -> TriangleMesh {
        self.mesh.faces_where(&|f| self.in_rubber[f] && self.is_face_cut(f, is_cut))
    }

    /// What leads down to some places, within the rubber, without what cuts bridges, as far as its faces lie where
    /// `holds` says.
    pub fn piece_in_rubber(
        &self,
        is_cut: &dyn Fn(&SheetPlace) -> bool,
        holds: &dyn Fn(&Point) -> bool,
    ) -> TriangleMesh {
        self.mesh.faces_where(&|f| self.in_rubber[f] && self.is_in_piece(f, is_cut, holds))
    }

    /// The same drawn out beyond the rubber.
    pub fn piece(
        &self,
        is_cut: &dyn Fn(&SheetPlace) -> bool,
        holds: &dyn Fn(&Point) -> bool,
    ) -> TriangleMesh {
        self.mesh.faces_where(&|f| self.is_in_piece(f, is_cut, holds))
    }

    fn is_in_piece(
        &self,
        face: usize,
        is_cut: &dyn Fn(&SheetPlace) -> bool,
        holds: &dyn Fn(&Point) -> bool,
    ) -> bool {
        let part = self.part[face].map(|part| self.parts[part as usize].kind);
        part == Some(PartKind::Exterior)
            && self.is_face_cut(face, is_cut)
            && holds(&self.mesh.face_middle(FaceId(face as u32)))
    }

    /// On which side of the sheet a point of the rubber lies: 1 for the front, -1 for the back, none where the
    /// potential is not known.
    pub fn side_of(&self, p: &Point) -> Option<f64> {
        self.potential.sample(p).ok().map(|(level, _)| level.signum())
    }

    /// The surface of one part within the rubber.
    pub fn part_in_rubber(&self, part: u32) -> TriangleMesh {
        self.mesh.faces_where(&|f| self.in_rubber[f] && self.part[f] == Some(part))
    }

    fn is_face_cut(&self, face: usize, is_cut: &dyn Fn(&SheetPlace) -> bool) -> bool {
        let Some(part) = self.part[face] else { return false };
        if self.parts[part as usize].kind == PartKind::Bridge {
            return true;
        }
        let cut = self.mesh.faces[face].iter().filter(|&&v| is_cut(&self.place[v as usize]));
        cut.count() >= 2
    }

    /// Whether the sheet has parts that cut bridges across.
    pub fn bridges(&self) -> impl Iterator<Item = &SheetPart> {
        self.parts.iter().filter(|part| part.kind == PartKind::Bridge)
    }
}

/// How far the sheet is drawn out, mm. Elements of a flat outside end there; those of a blanket reach over its folds, by no more than the
/// rubber's own thickness, since coarser ones are none.
fn beyond_the_outside(body: &MouldBody) -> f64 {
    match body.outside() {
        Outside::Offset { thickness, .. } => thickness,
        Outside::Box { .. } | Outside::Cylinder { .. } => 0.0,
    }
}

/// How deep a point lies in the model, mm; negative outside of it.
fn depth_in_model(body: &MouldBody, p: &Point) -> f64 {
    let hit = body.model().closest(p);
    (hit.point - p).dot(&hit.normal)
}

fn is_outside(outer: &Potential, p: &Point) -> bool {
    outer.sample(p).is_ok_and(|(level, _)| level > OUTSIDE_LEVEL)
}

/// The surface with its edge on the board drawn out below it.
fn below_the_board(mut mesh: TriangleMesh, body: &MouldBody) -> TriangleMesh {
    let Some(board) = body.board() else { return mesh };
    let mut sides: BTreeMap<(u32, u32), u32> = BTreeMap::new();
    for face in &mesh.faces {
        for k in 0..3 {
            let (a, b) = (face[k], face[(k + 1) % 3]);
            *sides.entry((a.min(b), a.max(b))).or_default() += 1;
        }
    }
    let on_board = |v: u32| mesh.positions[v as usize].z < board + 1e-6;
    let border: Vec<(u32, u32)> = mesh
        .faces
        .iter()
        .flat_map(|face| (0..3).map(|k| (face[k], face[(k + 1) % 3])))
        .filter(|&(a, b)| sides[&(a.min(b), a.max(b))] == 1 && on_board(a) && on_board(b))
        .collect();
    let mut lowered: BTreeMap<u32, u32> = BTreeMap::new();
    for (a, b) in border {
        let [c, d] = [a, b].map(|v| {
            *lowered.entry(v).or_insert_with(|| {
                let at = mesh.positions[v as usize];
                mesh.positions.push(Point::new(at.x, at.y, board - BELOW_BOARD));
                mesh.positions.len() as u32 - 1
            })
        });
        mesh.faces.push([b, a, c]);
        mesh.faces.push([b, c, d]);
    }
    mesh
}

/// The place of the border that each vertex leads down to, along the sheet's edges.
fn places(
    mesh: &TriangleMesh,
    in_model: &[bool],
    border: &Border,
    outer: &Potential,
    spacing: f64,
) -> Vec<BorderPlace> {
    let feet = Feet::new(border);
    let nearest: Vec<(f64, BorderPlace)> =
        mesh.positions.par_iter().map(|p| feet.nearest(p)).collect();
    let level: Vec<f64> = mesh
        .positions
        .par_iter()
        .zip(&nearest)
        .zip(in_model)
        // Beyond where the potential is known: in the model, else beyond the outside.
        .map(|((p, (away, _)), in_model)| match outer.sample(p) {
            _ if *in_model => -1.0,
            Ok((level, _)) => level,
            Err(_) if *away < 4.0 * spacing => -1.0,
            Err(_) => 2.0 + away,
        })
        .collect();
    let mut around: Vec<Vec<u32>> = vec![Vec::new(); mesh.positions.len()];
    for face in &mesh.faces {
        for k in 0..3 {
            let (a, b) = (face[k], face[(k + 1) % 3]);
            around[a as usize].push(b);
            around[b as usize].push(a);
        }
    }
    let mut order: Vec<u32> = (0..mesh.positions.len() as u32).collect();
    order.sort_by(|&a, &b| level[a as usize].total_cmp(&level[b as usize]).then(a.cmp(&b)));
    let mut place: Vec<BorderPlace> = nearest.iter().map(|n| n.1).collect();
    for v in order {
        let v = v as usize;
        if nearest[v].0 < AT_BORDER * spacing || level[v] <= 0.0 {
            continue;
        }
        let slope = |n: u32| {
            let length = (mesh.positions[n as usize] - mesh.positions[v]).norm();
            (level[v] - level[n as usize]) / length.max(1e-9)
        };
        let down = around[v]
            .iter()
            .copied()
            .filter(|&n| level[n as usize] < level[v])
            .max_by(|&a, &b| slope(a).total_cmp(&slope(b)).then(b.cmp(&a)));
        if let Some(down) = down {
            place[v] = place[down as usize];
        }
    }
    place
}

/// Points of the border, close together, to find the nearest one.
struct Feet {
    tree: rstar::RTree<rstar::primitives::GeomWithData<[f64; 3], (u32, f64)>>,
}

/// Distance between the border's points that are looked up, mm.
const FOOT_STEP: f64 = 0.5;

impl Feet {
    fn new(border: &Border) -> Self {
        let mut points = Vec::new();
        for (path, k) in border.paths.iter().zip(0u32..) {
            let mut along = 0.0;
            for pair in path.points.windows(2) {
                let step = pair[1] - pair[0];
                let length = step.norm();
                let count = (length / FOOT_STEP).ceil().max(1.0) as usize;
                for i in 0..count {
                    let share = i as f64 / count as f64;
                    let at = pair[0] + step * share;
                    points.push(rstar::primitives::GeomWithData::new(
                        [at.x, at.y, at.z],
                        (k, along + share * length),
                    ));
                }
                along += length;
            }
        }
        Self { tree: rstar::RTree::bulk_load(points) }
    }

    fn nearest(&self, p: &Point) -> (f64, BorderPlace) {
        let query = [p.x, p.y, p.z];
        match self.tree.nearest_neighbor(query) {
            Some(found) => {
                let at = found.geom();
                let away = (p - Point::new(at[0], at[1], at[2])).norm();
                (away, BorderPlace { path: found.data.0, along: found.data.1 })
            }
            None => (f64::INFINITY, BorderPlace { path: 0, along: 0.0 }),
        }
    }
}
