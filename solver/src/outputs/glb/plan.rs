//! A plan in space: the model, cuts as lines, sheets as surfaces, the outside of the rubber, the line between the parts of a
//! blanket's shell.

use std::borrow::Cow;

use gltf_json::mesh::Mode;

use super::document::{Document, Shape};
use super::{GlbError, MOST_BYTES};
use crate::body::Outside;
use crate::mesh::{Point, TriangleMesh, thinned};
use crate::outputs::parting;
use crate::plan::{CutKind, Plan, SheetReport};

/// Flat pieces of a cylinder's wall.
const AROUND: u32 = 96;
/// A model of more triangles is shown with as many: what viewers in a browser turn without trouble (common practice, no
/// source), and half of what fits.
const MOST_FACES: usize = 1_000_000;

/// The plan as a GLB file of at most `limit` bytes ([`MOST_BYTES`] if `None`). `model` is the mesh as
/// it was read, or any of the same shape in the plan's coordinates.
pub fn plan_glb(
    model: &TriangleMesh,
    plan: &Plan,
    limit: Option<usize>,
) -> Result<Vec<u8>, GlbError> {
    let mut document = Document::default();
    let stone = document.material("model", [0.55, 0.57, 0.6, 1.0]);
    // Only what is used: a validator would ask what the others are for.
    let has_sheets = plan.cuts.iter().flat_map(|cut| &cut.sheets).any(|s| !s.mesh.faces.is_empty());
    let sheet = has_sheets.then(|| document.material("sheet", [0.85, 0.45, 0.1, 0.45]));
    let lines: Vec<_> = [
        (CutKind::FromGate, "cut from the base opening", [0.01, 0.01, 0.01, 1.0]),
        (CutKind::Separate, "separate cut", [0.01, 0.03, 0.25, 1.0]),
        (CutKind::Bridge, "bridge cut", [0.3, 0.01, 0.02, 1.0]),
        (CutKind::BehindHinge, "cut behind a hinge", [0.0, 0.08, 0.06, 1.0]),
    ]
    .into_iter()
    .filter(|(kind, ..)| plan.cuts.iter().any(|cut| cut.kind == *kind && !cut.branches.is_empty()))
    .map(|(kind, name, colour)| (kind, document.material(name, colour)))
    .collect();
    let mut nodes = Vec::new();
    let surface = |document: &mut Document, name: &str, mesh: &TriangleMesh, material| {
        let positions = document.vectors(name, &mesh.positions)?;
        let indices = document.faces(name, &mesh.faces, mesh.positions.len())?;
        Ok::<_, GlbError>(document.node(
            name,
            Shape {
                positions,
                indices: Some(indices),
                mode: Mode::Triangles,
                material,
                targets: Vec::new(),
            },
        ))
    };
    nodes.push(surface(&mut document, "model", &shown(model, MOST_FACES), stone)?);
    for cut in &plan.cuts {
        for branch in &cut.branches {
            let name = format!("cut {}", cut.order);
            let positions = document.vectors(&name, branch)?;
            let material = lines.iter().find(|(kind, _)| *kind == cut.kind).map(|(_, m)| *m);
            let shape = Shape {
                positions,
                indices: None,
                mode: Mode::LineStrip,
                material: material.unwrap_or(stone),
                targets: Vec::new(),
            };
            nodes.push(document.node(&name, shape));
        }
        for own in cut.sheets.iter().filter(|own| !own.mesh.faces.is_empty()) {
            let name = format!("sheet of cut {}", cut.order);
            let material = sheet.unwrap_or(stone);
            nodes.push(surface(&mut document, &name, &own.mesh, material)?);
        }
    }
    if let Some(report) = &plan.sheets
        && let Some(mesh) = in_model(report).or_else(|| parting::outside(model, report))
    {
        let name = "outside of the rubber";
        let skin = document.material(name, [0.95, 0.85, 0.6, 0.2]);
        nodes.push(surface(&mut document, name, &mesh, skin)?);
    }
    let shell = parting::shell_of(plan).map(|shell| &shell.lines[..]).unwrap_or_default();
    let name = "line between the parts of the shell";
    let parted = (!shell.is_empty()).then(|| document.material(name, [0.12, 0.03, 0.0, 1.0]));
    for (line, parted) in shell.iter().zip(std::iter::repeat(parted).flatten()) {
        let positions = document.vectors(name, &line.points)?;
        let shape = Shape {
            positions,
            indices: None,
            mode: Mode::LineStrip,
            material: parted,
            targets: Vec::new(),
        };
        nodes.push(document.node(name, shape));
    }
    document.finish("plan", nodes, &plan.up, limit.unwrap_or(MOST_BYTES))
}

/// A model with about `most` triangles if it has more. No deviation is set: it is what so many triangles need.
fn shown(model: &TriangleMesh, most: usize) -> Cow<'_, TriangleMesh> {
    if model.faces.len() <= most {
        return Cow::Borrowed(model);
    }
    Cow::Owned(thinned(model, most, model.longest_side()))
}

/// The outer skin in the model's coordinates. `None` for a blanket.
fn in_model(report: &SheetReport) -> Option<TriangleMesh> {
    Some(outside(&report.skin.outside)?.moved(&report.skin.to_mould.inverse()))
}

/// The outer skin in the mould frame. `None` for a blanket.
fn outside(skin: &Outside) -> Option<TriangleMesh> {
    let (foot, low, high): (Vec<[f64; 2]>, f64, f64) = match *skin {
        Outside::Box { low, high } => {
            let foot = vec![[low.x, low.y], [high.x, low.y], [high.x, high.y], [low.x, high.y]];
            (foot, low.z, high.z)
        }
        Outside::Cylinder { axis, radius, bottom, top } => {
            let foot = (0..AROUND).map(|k| {
                let (sine, cosine) =
                    (std::f64::consts::TAU * f64::from(k) / f64::from(AROUND)).sin_cos();
                [axis.0 + radius * cosine, axis.1 + radius * sine]
            });
            (foot.collect(), bottom, top)
        }
        Outside::Offset { .. } => return None,
    };
    let count = foot.len() as u32;
    let mut mesh = TriangleMesh::default();
    for z in [low, high] {
        mesh.positions.extend(foot.iter().map(|[x, y]| Point::new(*x, *y, z)));
    }
    for k in 0..count {
        let next = (k + 1) % count;
        mesh.faces.extend([[k, next, count + next], [k, count + next, count + k]]);
    }
    for k in 1..count - 1 {
        mesh.faces.extend([[0, k + 1, k], [count, count + k, count + k + 1]]);
    }
    Some(mesh)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::fixtures::icosphere;

    /// A chord that stays within d of a sphere of radius r loses at most 3 d / r of the volume; a triangle of a sphere of n
    /// equal ones has an area of 4 pi r^2 / n and its middle lies about 0.2 of that area over r below the surface
    /// (elementary geometry): 20,480 faces thinned to 5,000 lose less than a hundredth.
    #[test]
    fn models_of_too_many_triangles_are_thinned() {
        let ball = icosphere(50.0, 5);
        assert!(matches!(shown(&ball, ball.faces.len()), Cow::Borrowed(_)));
        let thin = shown(&ball, 5_000);
        assert!(thin.faces.len() <= 5_000 && thin.faces.len() > 4_000, "{}", thin.faces.len());
        assert!((thin.signed_volume() / ball.signed_volume() - 1.0).abs() < 0.01);
    }

    /// Volumes of a box and of a prism of 96 sides (elementary geometry).
    #[test]
    fn outsides_are_closed_and_face_out() {
        let skin = Outside::Box { low: Point::origin(), high: Point::new(2.0, 3.0, 4.0) };
        let mesh = outside(&skin).expect("a mesh");
        assert!((mesh.signed_volume() - 24.0).abs() < 1e-9);
        let skin = Outside::Cylinder { axis: (1.0, 2.0), radius: 3.0, bottom: 0.0, top: 5.0 };
        let mesh = outside(&skin).expect("a mesh");
        let n = f64::from(AROUND);
        let area = 0.5 * n * 9.0 * (std::f64::consts::TAU / n).sin();
        assert!((mesh.signed_volume() - 5.0 * area).abs() < 1e-9);
        assert!(outside(&Outside::Offset { thickness: 5.0, bottom: 0.0 }).is_none());
    }
}
