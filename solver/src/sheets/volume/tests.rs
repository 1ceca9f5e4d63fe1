//! Cuts made to part the rubber, and cuts that do not.

use std::f64::consts::TAU;

use approx::assert_relative_eq;

use super::*;
use crate::body::MouldShape;
use crate::mesh::fixtures::{cylinder, icosphere, moved, torus};
use crate::sheets::{CutLine, plan_sheets};

const ROUND: MouldShape = MouldShape::Cylinder { side_clearance: 20.0, top_clearance: 20.0 };

fn after(model: &TriangleMesh, shape: &MouldShape, lines: &[CutLine]) -> OnePiece {
    let body = MouldBody::new(model, shape).expect("a body");
    let settings = SheetSettings::default();
    let control = Control::silent();
    let plan = plan_sheets(&body, model, lines, &[], &settings, &control).expect("sheets");
    assert!(plan.crossings.is_empty(), "{:?}", plan.crossings);
    let cells = RubberCells::new(&body, 12.0, &control).expect("not cancelled");
    cells.cut_by(&plan.sheets, &[], &settings, &control).expect("not cancelled")
}

/// Part of a level ring round a cylinder of radius 20, from one angle (radians) to another.
fn ring(height: f64, from: f64, to: f64) -> CutLine {
    let points = (0..=96).map(|k| from + (to - from) * f64::from(k) / 96.0);
    CutLine {
        points: points.map(|a| Point::new(20.0 * a.cos(), 20.0 * a.sin(), height)).collect(),
        from_gate: false,
        starts_at_gate: false,
        ends_at_gate: false,
    }
}

#[test]
fn without_a_cut_the_rubber_is_whole() {
    let whole = after(&cylinder(20.0, 60.0, 64), &ROUND, &[]);
    assert!(whole.holds() && whole.neck.is_none());
    let volume = TAU / 2.0 * (1600.0 * 80.0 - 400.0 * 60.0);
    assert_eq!(whole.pieces.len(), 1);
    assert_relative_eq!(whole.pieces[0], volume, max_relative = 0.03);
}

/// A ring cut all round parts the block in a lower and an upper piece.
#[test]
fn a_cut_all_round_parts_the_mould_in_two() {
    let mut closed = ring(30.0, 0.0, TAU);
    closed.points[96] = closed.points[0];
    for shape in [ROUND, MouldShape::Blanket { thickness: 10.0 }] {
        let parted = after(&cylinder(20.0, 60.0, 64), &shape, std::slice::from_ref(&closed));
        assert!(!parted.holds());
        assert_eq!((parted.pieces.len(), parted.pieces_uncut), (2, 1));
    }
    let parted = after(&cylinder(20.0, 60.0, 64), &ROUND, &[closed]);
    let lower = TAU / 2.0 * (1600.0 - 400.0) * 30.0;
    assert_relative_eq!(parted.pieces[1], lower, max_relative = 0.06);
}

/// Not quite all round: the rubber left between the two ends. Rulings run along radii, so the gap
/// is a chord of 2 r sin(gap / 2): `width` at the model, twice that on the outside, twice as far
/// out, where the greatest ball passes.
#[test]
fn a_ring_with_a_gap_hangs_by_a_neck_as_wide_as_the_gap() {
    for width in [5.0f64, 8.0] {
        let gap = 2.0 * (width / 40.0).asin();
        let left = after(&cylinder(20.0, 60.0, 64), &ROUND, &[ring(30.0, gap, TAU)]);
        assert!(left.holds());
        let neck = left.neck.expect("a neck");
        assert!((neck.width - 2.0 * width).abs() < left.cell, "{neck:?}");
        let off = neck.place.y.atan2(neck.place.x) - gap / 2.0;
        assert!(off.abs() < 0.5 && (neck.place.z - 30.0).abs() < 2.0 * left.cell, "{neck:?}");
    }
}

/// From the board up the side and over the top: a slit that opens the block like a book.
#[test]
fn an_ordinary_slit_leaves_one_piece() {
    let slit = CutLine {
        points: [[20.0, 0.0, 0.0], [20.0, 0.0, 60.0], [0.0, 0.0, 60.0]].map(Point::from).to_vec(),
        from_gate: true,
        starts_at_gate: true,
        ends_at_gate: false,
    };
    let left = after(&cylinder(20.0, 60.0, 64), &ROUND, &[slit]);
    assert!(left.holds());
    assert!(left.neck.is_none_or(|n| n.width > 12.0), "{:?}", left.neck);
}

/// A ring that lies on its side, half way in the block: the disc across its hole and a slit all
/// round its outside part the block; the disc alone does not.
#[test]
fn discs_cut_too() {
    let model = moved(&torus(30.0, 8.0, 64, 24), [0.0, 0.0, 30.0]);
    let shape = MouldShape::Cylinder { side_clearance: 12.0, top_clearance: 12.0 };
    let body = MouldBody::new(&model, &shape).expect("a body");
    let mut disc = TriangleMesh { positions: vec![Point::new(0.0, 0.0, 30.0)], faces: vec![] };
    for k in 0..64u32 {
        let a = f64::from(k) / 64.0 * TAU;
        disc.positions.push(Point::new(21.99 * a.cos(), 21.99 * a.sin(), 30.0));
        disc.faces.push([0, k + 1, (k + 1) % 64 + 1]);
    }
    let mut points: Vec<Point> = (0..=64)
        .map(|k| f64::from(k) / 64.0 * TAU)
        .map(|a| Point::new(38.0 * a.cos(), 38.0 * a.sin(), 30.0))
        .collect();
    points[64] = points[0];
    let outside = CutLine { points, from_gate: false, starts_at_gate: false, ends_at_gate: false };
    let settings = SheetSettings::default();
    let control = Control::silent();
    let discs = [disc];
    let plan = plan_sheets(&body, &model, &[outside], &discs, &settings, &control).expect("sheets");
    let cells = RubberCells::new(&body, 12.0, &control).expect("not cancelled");
    let cut = |sheets: &[Sheet], discs: &[TriangleMesh]| {
        cells.cut_by(sheets, discs, &settings, &control).expect("not cancelled")
    };
    assert!(cut(&[], &discs).holds());
    assert!(cut(&plan.sheets, &[]).holds());
    let both = cut(&plan.sheets, &discs);
    assert!(!both.holds());
    assert_eq!(both.pieces.len(), 2);
}

/// A hollow in the model shuts in rubber that never hung together with the rest.
#[test]
fn rubber_that_was_never_joined_is_not_blamed_on_cuts() {
    let hollow = crate::mesh::fixtures::inside_out(&icosphere(20.0, 3));
    let model =
        moved(&crate::mesh::fixtures::joined(&icosphere(30.0, 3), &hollow), [0.0, 0.0, 30.0]);
    let left = after(&model, &ROUND, &[]);
    assert!(left.holds());
    assert_eq!(left.pieces_uncut, 2);
}

#[test]
fn distances_are_exact() {
    let grid = Grid { first: Point::origin(), cell: 1.0, counts: [9, 7, 5] };
    let marks = [[1, 2, 3], [7, 0, 1], [4, 6, 4]];
    let mut marked = vec![false; 9 * 7 * 5];
    for at in marks {
        marked[grid.index(at)] = true;
    }
    let squares = grid.squares_of_distance(&marked);
    for (k, square) in squares.iter().enumerate() {
        let p = grid.centre(grid.at(k));
        let least = marks
            .iter()
            .map(|&m| (grid.centre(m) - p).norm_squared())
            .fold(f64::INFINITY, f64::min);
        assert_relative_eq!(*square, least, epsilon = 1e-9);
    }
}
