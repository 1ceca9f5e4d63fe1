//! Volumes, walls and strains of bodies with closed forms (solid geometry of any textbook; the
//! volume within a distance of a convex body is Steiner's formula, from memory).

use std::f64::consts::PI;

use approx::assert_relative_eq;

use super::*;
use crate::mesh::fixtures::{cuboid, cylinder, icosphere, moved, tube};

fn volume(model: &TriangleMesh, shape: &MouldShape) -> f64 {
    1000.0 * MouldBody::new(model, shape).expect("a body").rubber_volume()
}

#[test]
fn blocks_hold_what_the_model_leaves() {
    let model = cuboid([40.0, 30.0, 20.0]);
    let block = MouldShape::Box { side_clearance: 15.0, top_clearance: 10.0 };
    assert_relative_eq!(volume(&model, &block), 70.0 * 60.0 * 30.0 - 24000.0, max_relative = 1e-12);
    let round = MouldShape::Cylinder { side_clearance: 15.0, top_clearance: 10.0 };
    // The corners of the base lie 25 mm from its middle.
    let exact = PI * 40.0 * 40.0 * 30.0 - 24000.0;
    assert_relative_eq!(volume(&model, &round), exact, max_relative = 1e-12);
}

/// A model that reaches below the board's plane hangs on its sprue: rubber below it too.
#[test]
fn a_hanging_model_has_rubber_all_round() {
    let model = moved(&cuboid([40.0, 30.0, 20.0]), [0.0, 0.0, -12.0]);
    let block = MouldShape::Box { side_clearance: 15.0, top_clearance: 10.0 };
    let exact = 70.0 * 60.0 * (20.0 + 15.0 + 10.0) - 24000.0;
    assert_relative_eq!(volume(&model, &block), exact, max_relative = 1e-12);
}

/// Top, sides, quarter-round edges and corners; nothing below the board.
#[test]
fn a_blanket_round_a_box_follows_steiner() {
    let (a, b, c, t) = (40.0, 30.0, 20.0, 6.0);
    let exact = a * b * t
        + 2.0 * (a + b) * c * t
        + PI * t * t * c
        + 2.0 * (a + b) * PI * t * t / 4.0
        + 4.0 / 3.0 * PI * t * t * t / 2.0;
    let found = volume(&cuboid([a, b, c]), &MouldShape::Blanket { thickness: t });
    assert_relative_eq!(found, exact, max_relative = 0.01);
}

/// A larger sphere less the smaller, less the cap that the board cuts off.
#[test]
fn a_blanket_round_a_sphere_is_cut_by_the_board() {
    let (r, t) = (30.0, 5.0);
    let model = moved(&icosphere(r, 4), [0.0, 0.0, r]);
    let cap = PI * t * t * (3.0 * (r + t) - t) / 3.0;
    let exact = 4.0 / 3.0 * PI * ((r + t).powi(3) - r.powi(3)) - cap;
    let found = volume(&model, &MouldShape::Blanket { thickness: t });
    assert_relative_eq!(found, exact, max_relative = 0.015);
}

/// Wall, lid, and the quarter-round rim by Pappus: its section's middle lies 4 t / (3 pi) outside.
#[test]
fn a_blanket_round_a_cylinder_follows_pappus() {
    let (r, h, t) = (20.0, 50.0, 4.0);
    let rim = 2.0 * PI * (r + 4.0 * t / (3.0 * PI)) * PI * t * t / 4.0;
    let exact = PI * ((r + t).powi(2) - r * r) * h + PI * r * r * t + rim;
    let found = volume(&cylinder(r, h, 96), &MouldShape::Blanket { thickness: t });
    assert_relative_eq!(found, exact, max_relative = 0.015);
}

#[test]
fn walls_are_as_thick_as_the_way_out_or_to_the_next_wall() {
    let model = cuboid([40.0, 30.0, 20.0]);
    let block = MouldShape::Box { side_clearance: 15.0, top_clearance: 10.0 };
    let body = MouldBody::new(&model, &block).expect("a body");
    let wall = |p: [f64; 3], n: [f64; 3]| {
        body.wall_thickness(&Point::from(p), &Vector::from(n).normalize())
    };
    assert_relative_eq!(wall([40.0, 12.0, 8.0], [1.0, 0.0, 0.0]), 15.0, epsilon = 1e-9);
    assert_relative_eq!(wall([11.0, 12.0, 20.0], [0.0, 0.0, 1.0]), 10.0, epsilon = 1e-9);
    // Aslant from the corner of the lid: the nearer of two walls, over the cosine.
    let slanted = wall([40.0, 30.0, 20.0], [1.0, 1.0, 1.0]);
    assert_relative_eq!(slanted, 10.0 * 3f64.sqrt(), epsilon = 1e-9);

    let model = cylinder(20.0, 50.0, 96);
    let round = MouldShape::Cylinder { side_clearance: 15.0, top_clearance: 10.0 };
    let body = MouldBody::new(&model, &round).expect("a body");
    let out = body.wall_thickness(&Point::new(20.0, 0.0, 30.0), &Vector::x());
    assert_relative_eq!(out, 15.0, epsilon = 1e-9);
    // Along a chord of the outer circle, square to the radius: half its length.
    let chord = body.wall_thickness(&Point::new(0.0, 20.5, 30.0), &Vector::x());
    assert_relative_eq!(chord, (35.0f64.powi(2) - 20.5 * 20.5).sqrt(), epsilon = 1e-9);

    // Inside a tube the opposite wall comes first, if the blanket is thicker than the bore.
    let pipe = tube(6.0, 20.0, 40.0, 96);
    for (thickness, expected) in [(5.0, 5.0), (30.0, 12.0)] {
        let body = MouldBody::new(&pipe, &MouldShape::Blanket { thickness }).expect("a body");
        let across = body.wall_thickness(&Point::new(6.0, 0.0, 20.0), &-Vector::x());
        assert_relative_eq!(across, expected, epsilon = 1e-6);
    }
    // The board ends a blanket under an overhang.
    let body = MouldBody::new(&pipe, &MouldShape::Blanket { thickness: 30.0 }).expect("a body");
    let down = body.wall_thickness(&Point::new(25.0, 0.0, 8.0), &-Vector::z());
    assert_relative_eq!(down, 8.0, epsilon = 1e-9);
}

/// Pull, two strips of zone times wall: F = 2 z t mu (l - 1/l^2), Treloar (1975), from memory; and
/// never more than the working stretch.
#[test]
fn strain_is_what_two_hands_pull_or_the_working_stretch() {
    let rubber = Rubber { working_stretch: 0.5, ..Rubber::default() };
    let (zone, wall) = (30.0, 15.0);
    for ratio in [1.05, 1.2, 1.45f64] {
        let pull = 2.0 * zone * wall * rubber.shear_modulus() * (ratio - ratio.powi(-2));
        let strain = MouldBody::allowed_strain(&rubber, pull, zone, wall);
        assert_relative_eq!(strain, ratio - 1.0, epsilon = 1e-9);
        // Twice the wall and twice the pull are the same strain; a thinner wall gives more.
        let doubled = MouldBody::allowed_strain(&rubber, 2.0 * pull, zone, 2.0 * wall);
        assert_relative_eq!(doubled, strain, epsilon = 1e-12);
        assert!(MouldBody::allowed_strain(&rubber, pull, zone, 0.9 * wall) > strain);
    }
    assert_eq!(MouldBody::allowed_strain(&rubber, 200.0, 30.0, 3.0), 0.5);
    assert_eq!(MouldBody::allowed_strain(&rubber, 200.0, 30.0, 0.0), 0.5);
}

#[test]
fn walls_out_of_range_are_named() {
    let model = cuboid([40.0, 30.0, 20.0]);
    let shape = |side_clearance, top_clearance| MouldShape::Box { side_clearance, top_clearance };
    let round =
        |side_clearance, top_clearance| MouldShape::Cylinder { side_clearance, top_clearance };
    let table = [
        (shape(0.2, 10.0), "mould.box.side_clearance is 0.2 mm"),
        (shape(15.0, f64::NAN), "mould.box.top_clearance is NaN mm"),
        (round(-4.0, 10.0), "mould.cylinder.side_clearance is -4 mm"),
        (round(15.0, 600.0), "mould.cylinder.top_clearance is 600 mm"),
        (MouldShape::Blanket { thickness: f64::INFINITY }, "mould.blanket.thickness is inf mm"),
    ];
    for (shape, words) in table {
        let error = match MouldBody::new(&model, &shape) {
            Err(error) => error.to_string(),
            Ok(_) => panic!("{shape:?} was accepted"),
        };
        assert!(error.contains(words) && error.contains("between 1 and 500 mm"), "{error}");
    }
    let empty = MouldBody::new(&TriangleMesh::default(), &shape(15.0, 15.0));
    assert!(matches!(empty, Err(MouldError::Locator(LocatorError::Empty))));
}

/// Where lines leave a box, a cylinder and a blanket: by hand. A blanket of thickness t round a
/// flat top is left by a line that leans by a at t / cos a.
#[test]
fn lines_leave_through_the_skin() {
    let model = cuboid([40.0, 30.0, 20.0]);
    let block = MouldShape::Box { side_clearance: 15.0, top_clearance: 10.0 };
    let body = MouldBody::new(&model, &block).expect("a body");
    let (slope, free) = (0.5f64.sqrt(), ExitSide::Free);
    let from = Point::new(40.0, 15.0, 10.0);
    let exit = |d: [f64; 3]| body.exit(&from, &Vector::from(d));
    assert_relative_eq!(exit([1.0, 0.0, 0.0]).distance, 15.0, epsilon = 1e-12);
    assert_relative_eq!(exit([slope, 0.0, slope]).distance, 15.0 / slope, epsilon = 1e-12);
    assert_eq!(exit([slope, 0.0, slope]).side, free);
    assert_relative_eq!(exit([slope, 0.0, -slope]).distance, 10.0 / slope, epsilon = 1e-12);
    assert_eq!(exit([slope, 0.0, -slope]).side, ExitSide::Board);
    assert_eq!(body.board(), Some(0.0));

    // Rubber below the board's plane: no board, and the bottom is a side like any other.
    let hanging = moved(&model, [0.0, 0.0, -12.0]);
    let body = MouldBody::new(&hanging, &block).expect("a body");
    let down = body.exit(&Point::new(45.0, 15.0, 0.0), &-Vector::z());
    assert_eq!((down.distance, down.side, body.board()), (27.0, free, None));

    let round = MouldShape::Cylinder { side_clearance: 15.0, top_clearance: 10.0 };
    let body = MouldBody::new(&model, &round).expect("a body");
    let out = body.exit(&Point::new(40.0, 15.0, 10.0), &Vector::x());
    assert_relative_eq!(out.distance, 20.0, epsilon = 1e-12);
    assert!(body.holds(&Point::new(20.0, 54.0, 1.0)) && !body.holds(&Point::new(58.0, 30.0, 1.0)));

    let body = MouldBody::new(&model, &MouldShape::Blanket { thickness: 6.0 }).expect("a body");
    let lean = 50f64.to_radians();
    let out = body.exit(&Point::new(15.0, 15.0, 20.0), &Vector::new(lean.sin(), 0.0, lean.cos()));
    assert_relative_eq!(out.distance, 6.0 / lean.cos(), epsilon = 1e-3);
    assert!(
        body.holds(&Point::new(43.0, 33.0, 23.0)) && !body.holds(&Point::new(44.0, 34.0, 23.0))
    );
}

/// Distances to walls, top and rounded skin; the face on the board is no outside.
#[test]
fn depth_below_the_outside_is_the_distance_to_the_nearest_skin() {
    let model = cuboid([40.0, 30.0, 20.0]);
    let body = |shape| MouldBody::new(&model, &shape).expect("a body");
    let block = body(MouldShape::Box { side_clearance: 15.0, top_clearance: 10.0 });
    for (p, depth) in
        [([-5.0, 15.0, 1.0], 10.0), ([20.0, 15.0, 22.0], 8.0), ([20.0, 47.0, 5.0], -2.0)]
    {
        assert_relative_eq!(block.depth_below_outside(&Point::from(p)), depth, epsilon = 1e-9);
    }
    // A cylinder of 40 mm about the middle of the base.
    let round = body(MouldShape::Cylinder { side_clearance: 15.0, top_clearance: 10.0 });
    assert_relative_eq!(
        round.depth_below_outside(&Point::new(50.0, 15.0, 2.0)),
        10.0,
        epsilon = 1e-9
    );
    let blanket = body(MouldShape::Blanket { thickness: 6.0 });
    // Beyond a corner, 3 mm along each axis.
    let off = 27f64.sqrt();
    let beyond = Point::new(43.0, 33.0, 23.0);
    assert_relative_eq!(blanket.depth_below_outside(&beyond), 6.0 - off, epsilon = 1e-9);
    let hanging = moved(&model, [0.0, 0.0, -12.0]);
    let block = MouldShape::Box { side_clearance: 15.0, top_clearance: 10.0 };
    let hung = MouldBody::new(&hanging, &block).expect("a body");
    assert_relative_eq!(
        hung.depth_below_outside(&Point::new(20.0, 15.0, -20.0)),
        7.0,
        epsilon = 1e-9
    );
}
