//! The sheet between two sides of a piece parts its rubber, however coarse the elements of the trial.

use std::collections::BTreeSet;

use petgraph::unionfind::UnionFind;
use slitwright_solver::body::{Gate, GateChoice, MouldBody, MouldShape, Rubber};
use slitwright_solver::control::Control;
use slitwright_solver::field::{Equations, Potential, RubberDomain};
use slitwright_solver::mesh::{
    FaceId, Point, SurfaceLocator, TriangleMesh, Vector, canonical, decimate, default_deviation,
};
use slitwright_solver::sides::{Border, Labeller, PartKind, PartingSheet, SheetPlace, Surface};
use slitwright_solver::trial::{Finer, Outcome, TrialReport, TrialSettings, TrialSetup, run};
use slitwright_tests::{blocks_mesh, cylinder, sphere_on_gate};

/// Square millimetres on the wrong side that are worth a millimetre of border.
const DEPTH: f64 = 2.0;

const BLOCK: MouldShape = MouldShape::Box { side_clearance: 15.0, top_clearance: 15.0 };

struct Piece {
    model: TriangleMesh,
    body: MouldBody,
    sheet: PartingSheet,
}

/// A demo piece in a block of 15 mm, with the sheet between its two sides seen along `direction`.
fn piece(name: &str, direction: Vector) -> Piece {
    piece_in(name, &BLOCK, direction)
}

fn piece_in(name: &str, mould: &MouldShape, direction: Vector) -> Piece {
    let mesh = demo_models::piece(name).expect("a piece").mesh().expect("a mesh");
    let gate = Gate::find(&mesh, &GateChoice::LowestFlat { up: Vector::z() }).expect("a gate");
    in_a(mould, &mesh, &gate, direction)
}

/// A model that stands on a gate, in a block of 15 mm.
fn in_a_block(mesh: &TriangleMesh, gate: &Gate, direction: Vector) -> Piece {
    in_a(&BLOCK, mesh, gate, direction)
}

fn in_a(mould: &MouldShape, mesh: &TriangleMesh, gate: &Gate, direction: Vector) -> Piece {
    let whole = canonical(mesh, &gate.to_mould);
    let deviation = default_deviation(&whole.to_mm(whole.mesh.clone()));
    let model = decimate(&whole.mesh, deviation / whole.step, 0).expect("decimated").mesh;
    let model = whole.to_mm(model);
    let body = MouldBody::new(&model, mould).expect("a body");
    let surface = Surface::new(&model, gate, &|_| 1.0).expect("a surface");
    let labels = Labeller::new(&surface).label(&direction, DEPTH);
    let border = Border::new(&surface, &labels, &|p: &Point| gate.holds(p));
    let control = Control::silent();
    let domain = RubberDomain::new(&body, &model);
    let (low, high) = body.bounds();
    let spacing = (high - low).max() / 110.0;
    let outer = Potential::solve(&domain, spacing, &control).expect("solved");
    let equations = Equations::insulated(&domain, spacing, &control).expect("equations");
    let sheet = PartingSheet::new(&surface, labels, border, &body, &outer, &equations, &control)
        .expect("a sheet");
    Piece { model, body, sheet }
}

impl Piece {
    /// Draw the rubber off, upwards or along the direction of sight, with all of the border cut or all but the
    /// first `uncut` of its outer path.
    fn tried(&self, uncut: f64, elements: usize) -> TrialReport {
        self.tried_within(None, uncut, elements)
    }

    fn tried_within(&self, seconds: Option<f64>, uncut: f64, elements: usize) -> TrialReport {
        let Self { sheet, .. } = self;
        let paths = 0..sheet.border.paths.len() as u32;
        let outer = paths.max_by(|&a, &b| {
            let length = |k: u32| {
                let is_outer = sheet.kind_of(k) == PartKind::Exterior;
                if is_outer { sheet.border.paths[k as usize].length() } else { 0.0 }
            };
            length(a).total_cmp(&length(b))
        });
        let outer = outer.expect("a path");
        let from = uncut * sheet.border.paths[outer as usize].length();
        let is_cut = |place: &SheetPlace| place.border.path != outer || place.border.along >= from;
        let along = sheet.labels.direction;
        let settings = TrialSettings {
            elements,
            directions: vec![Vector::z(), along, -along],
            finer: Finer::Never,
            seconds,
            ..TrialSettings::default()
        };
        self.run(&is_cut, &settings)
    }

    fn run(&self, is_cut: &dyn Fn(&SheetPlace) -> bool, settings: &TrialSettings) -> TrialReport {
        let setup = TrialSetup {
            body: &self.body,
            model: &self.model,
            sheets: &[self.sheet.cut_surface(is_cut)],
            across: &[],
            rubber: &Rubber::default(),
            bridges: &[],
            plugs: &[],
            settings,
        };
        run(&setup, &Control::silent()).expect("runs")
    }
}

/// With all of the border cut there are two halves, and they come off with next to no force, since hardly any of
/// the model's skin is on the wrong side. Elements of 10 to 15 mm are as long as the jug's handle is thick: they
/// must neither hook the halves to each other through the handle nor leave threads across the sheet.
#[test]
fn two_halves_part_however_coarse_the_elements() {
    let jug = piece("jug", Vector::y());
    assert!(jug.sheet.labels.wrong + jug.sheet.labels.flipped < 2e-3);
    for elements in [3500, 6000] {
        let report = jug.tried(0.0, elements);
        let (pieces, pull) = (report.mesh.pieces, report.greatest_pull());
        assert_eq!((report.outcome, pieces), (Outcome::Released, 2), "{elements}");
        // A tenth of what hands have.
        assert!(pull < 20.0, "{elements}: {pull}");
    }
}

/// With a hinge the block opens like a book. The verdict does not turn when elements get finer.
#[test]
fn a_hinge_does_not_hold_however_coarse_the_elements() {
    let jug = piece("jug", Vector::y());
    for elements in [3500, 8000] {
        let report = jug.tried(0.08, elements);
        assert_eq!((report.outcome, report.mesh.pieces), (Outcome::Released, 1), "{elements}");
    }
}

/// Cuts move the rubber's nodes, and lips may come to lie in a thin part of the model where no rubber was before they were cut: nothing
/// is pushed out from there. The tree's halves, seen from here, were stretched 4,000 times at the first pull of the hands, with
/// cores of the model that the uncut rubber kept clear of.
#[test]
fn lips_are_not_pushed_out_of_where_they_lie() {
    let tree = piece("tree", Vector::new(-1.0, 1.0, 0.0).normalize());
    let settings = TrialSettings {
        elements: 12_000,
        opening: Some(1.0),
        give_up: Some(10.0),
        steps: 120,
        ..TrialSettings::default()
    };
    let report = tree.run(&|_| true, &settings);
    assert!(report.frames.last().is_some_and(|f| f.opening > 0.0), "nothing was opened");
    // Nothing tears that hands have opened by a millimetre.
    let most = Rubber::default().elongation_at_break;
    assert!(report.greatest_stretch < most, "{}", report.greatest_stretch);
}

/// The plait of the dancer lies 2.5 mm off her back, nearer than the elements are long: the sheet parts the rubber in
/// the gap all the same.
#[test]
fn a_thin_gap_is_parted_too() {
    let dancer = piece("dancer", Vector::new(30f64.to_radians().cos(), 0.5, 0.0));
    for elements in [4000, 7000] {
        // No time to draw it off.
        let report = dancer.tried_within(Some(0.0), 0.0, elements);
        assert_eq!(report.mesh.pieces, 2, "{elements}");
    }
}

/// Elements of a blanket reach over the folds of its outside, as that between the dancer's head and her raised arm: the sheet goes
/// on beyond the outside, or threads there hold the halves together.
#[test]
fn the_folds_of_a_blanket_are_parted_too() {
    let angle = 135f64.to_radians();
    let blanket = MouldShape::Blanket { thickness: 8.0 };
    let dancer = piece_in("dancer", &blanket, Vector::new(angle.cos(), angle.sin(), 0.0));
    for elements in [12_000, 16_000] {
        // No time to draw it off.
        let report = dancer.tried_within(Some(0.0), 0.0, elements);
        assert_eq!(report.mesh.pieces, 2, "{elements}");
    }
}

/// Two posts stand in a row on a base, and are looked at along the row. The side of each post that faces the other one looks
/// the wrong way for what is round it, 400 of 11,400 mm^2: given to the other side it would hook half a post. A strip
/// along the base joins it to its own side, and nothing is undercut.
#[test]
fn the_far_sides_of_posts_in_a_row_are_joined_by_strips() {
    let posts = blocks_mesh([28, 12, 24], 2.5, |[x, y, z]| {
        let is_post = |from: usize| (from..from + 4).contains(&x) && (4..8).contains(&y);
        z < 8 || is_post(4) || is_post(20)
    });
    let gate = Gate::find(&posts, &GateChoice::LowestFlat { up: Vector::z() }).expect("a gate");
    let surface = Surface::new(&posts, &gate, &|_| 1.0).expect("a surface");
    let mut labeller = Labeller::new(&surface);
    for depth in [0.5, 1.0] {
        let labels = labeller.label(&Vector::x(), depth);
        let mut parts = UnionFind::new(labels.front.len());
        for &[a, b] in &surface.topology.edge_faces {
            if labels.front[a as usize] == labels.front[b as usize] {
                parts.union(a, b);
            }
        }
        let roots: BTreeSet<u32> = (0..labels.front.len() as u32).map(|f| parts.find(f)).collect();
        assert_eq!(roots.len(), 2, "each side hangs together");
        // Corners of the posts are rounded by the surface's triangles.
        assert!(
            labels.flipped < 2e-3 && labels.wrong < 5e-3,
            "{depth}: {} {}",
            labels.flipped,
            labels.wrong
        );
    }
}

/// The sheet leaves the model squarely: within 10 degrees, which is what is asked, all along the border of a ball on a small
/// gate and of a cylinder on its end. Normals of the sheet are means over a few millimetres from the border on, as long as
/// the wedges of the plan are looked at.
#[test]
fn the_sheet_is_square_to_a_ball_and_to_a_cylinder() {
    const REACH: f64 = 5.0;
    for (name, mesh) in
        [("ball", sphere_on_gate(25.0, 10.0, 2.0)), ("cylinder", cylinder(20.0, 50.0, 2.0))]
    {
        let gate = Gate::find(&mesh, &GateChoice::LowestFlat { up: Vector::z() }).expect("a gate");
        // Across the grid's axes.
        let direction = Vector::new(0.8, 0.6, 0.0);
        let Piece { sheet, model, .. } = in_a_block(&mesh, &gate, direction);
        let rubber = sheet.piece_in_rubber(&|_| true, &|_| true);
        let skin = SurfaceLocator::new(&model).expect("a surface");
        let faces = 0..rubber.faces.len() as u32;
        let faces: Vec<(Point, Vector)> =
            faces.map(|f| (rubber.face_middle(FaceId(f)), rubber.area_vector(FaceId(f)))).collect();
        let (mut looked, mut worst) = (0, 0.0f64);
        for p in sheet.border.paths.iter().flat_map(|path| &path.points) {
            // The sheet ends at the board, and round the rim of the cylinder's top the model has no one normal.
            let is_at_rim =
                name == "cylinder" && p.z > 50.0 - REACH && p.coords.xy().norm() > 20.0 - REACH;
            if p.z < REACH || is_at_rim {
                continue;
            }
            let normal: Vector =
                faces.iter().filter(|(m, _)| (m - p).norm() < REACH).map(|(_, n)| n).sum();
            let lean = normal.normalize().dot(&skin.closest(p).normal).abs().asin().to_degrees();
            (looked, worst) = (looked + 1, worst.max(lean));
        }
        assert!(looked > 20, "{name}: {looked}");
        assert!(worst < 10.0, "{name}: {worst} degrees");
    }
}

/// A piece that is its own mirror image has no better side: the borders of two directions that mirror each other are as long
/// as one another, to what the triangles of the surface make of it (they are not mirrored: an edge in a hundred).
#[test]
fn a_symmetric_piece_has_equal_borders_from_mirrored_directions() {
    // A bar with a pillar at each end, symmetric to its middle plane along x.
    let bridge = blocks_mesh([24, 8, 16], 2.5, |[x, _, z]| z < 6 || !(6..18).contains(&x));
    let gate = Gate::find(&bridge, &GateChoice::LowestFlat { up: Vector::z() }).expect("a gate");
    let surface = Surface::new(&bridge, &gate, &|_| 1.0).expect("a surface");
    let mut labeller = Labeller::new(&surface);
    let in_gate = |p: &Point| gate.holds(p);
    // Not along the row of pillars: that leaves islands, which are joined one after the other, as comes cheapest for each.
    for azimuth in [20.0f64, 40.0, 60.0, 80.0] {
        let (y, x) = azimuth.to_radians().sin_cos();
        let [left, right] = [x, -x].map(|x| {
            let labels = labeller.label(&Vector::new(x, y, 0.0), DEPTH);
            let border = Border::new(&surface, &labels, &in_gate).length();
            (border, labels.border_cost + labels.wrong * surface.mesh.area() / DEPTH)
        });
        // What the minimum cut makes least: exact for each, so equal but for the triangles.
        assert!((left.1 / right.1 - 1.0).abs() < 0.03, "{azimuth}: cost {left:?} {right:?}");
        assert!((left.0 / right.0 - 1.0).abs() < 0.05, "{azimuth}: border {left:?} {right:?}");
    }
}
