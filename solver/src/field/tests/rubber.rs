//! The rubber of real mould bodies round triangle meshes.

use super::shapes::{greatest_error, solved};
use crate::body::{MouldBody, MouldShape};
use crate::control::{Cancel, Control};
use crate::field::crossings::InsideSpans;
use crate::field::domain::line_start;
use crate::field::{
    Course, Domain, Equations, FieldError, Grid, Place, Potential, Resolution, RubberDomain, Skin,
};
use crate::mesh::fixtures::{cuboid, cylinder, divided, icosphere, moved, torus, tube};
use crate::mesh::{Point, TriangleMesh, Vector};

fn body(mesh: &TriangleMesh, shape: &MouldShape) -> MouldBody {
    MouldBody::new(mesh, shape).expect("a body")
}

/// Rubber volume by the lengths of the stretches along the lines of each axis, mm^3.
fn volumes(domain: &RubberDomain<'_>, spacing: f64) -> [f64; 3] {
    let (low, high) = domain.bounds();
    let grid = Grid::round(low, high, spacing, domain.on_board());
    let lines = domain.trace(&grid, &Control::silent()).expect("lines");
    [0, 1, 2].map(|axis| {
        let [u, v] = Grid::across(axis);
        (0..grid.counts[u] * grid.counts[v])
            .map(|line| {
                // The plane on the board stands for half a layer.
                let half = domain.on_board() && axis != 2 && line / grid.counts[u] == 0;
                let length: f64 =
                    lines[axis].line(line).iter().map(|s| s.ends[1] - s.ends[0]).sum();
                length * if half { 0.5 } else { 1.0 }
            })
            .sum::<f64>()
            * spacing
            * spacing
    })
}

#[test]
fn lines_measure_the_rubber_of_every_body() {
    let shapes = [
        MouldShape::Box { side_clearance: 8.0, top_clearance: 7.0 },
        MouldShape::Cylinder { side_clearance: 8.0, top_clearance: 7.0 },
        MouldShape::Blanket { thickness: 6.0 },
    ];
    let models = [
        cuboid([20.0, 24.0, 16.0]),
        cylinder(9.0, 20.0, 48),
        moved(&icosphere(11.0, 3), [1.0, 2.0, 9.0]),
        moved(&torus(14.0, 4.0, 48, 24), [0.0, 0.0, -30.0]),
        tube(7.0, 12.0, 15.0, 40),
    ];
    for model in &models {
        for shape in &shapes {
            let body = body(model, shape);
            let domain = RubberDomain::new(&body, model);
            let volume = body.rubber_volume() * 1000.0;
            for measured in volumes(&domain, 0.5) {
                // Faces along the grid make the sum over lines wrong by up to a layer of them.
                assert!((measured / volume - 1.0).abs() < 0.04, "{measured} {volume} {shape:?}");
            }
        }
    }
}

/// A blanket round a ball is the space between concentric spheres.
#[test]
fn a_blanket_round_a_ball_has_the_potential_of_spheres() {
    // Fine enough that its facets lie within 0.01 mm of the sphere.
    let (radius, thickness) = (12.0, 8.0);
    let centre = Point::new(0.3, -0.4, -40.0);
    let model = moved(&icosphere(radius, 5), centre.coords.into());
    let body = body(&model, &MouldShape::Blanket { thickness });
    let domain = RubberDomain::new(&body, &model);
    assert!(!domain.on_board());
    let exact = |p: &Point| {
        let r = (p - centre).norm();
        (1.0 / radius - 1.0 / r) / (1.0 / radius - 1.0 / (radius + thickness))
    };
    let fields = [2.0, 1.0].map(|h| solved(&domain, h));
    let errors = fields.each_ref().map(|f| greatest_error(f, exact));
    // The facets alone make 3e-4 of it.
    assert!(errors[0] < 3e-3 && errors[1] < 1e-3, "{errors:?}");
    let start = centre + Vector::new(0.48, 0.64, 0.6) * radius;
    let line = fields[1].field_line(&start, Course::Outward, Some(&domain)).expect("arrives");
    assert!((line.length - thickness).abs() < 0.03, "{}", line.length);
    let end = line.points.last().expect("an end");
    assert!(((end - centre).norm() - radius - thickness).abs() < 0.01);
    let back = fields[1].field_line(end, Course::Inward, Some(&domain)).expect("arrives");
    let foot = back.points.last().expect("an end");
    assert!((foot - start).norm() < 0.1);
    assert!((domain.nearest(foot, Skin::Model).expect("a foot") - foot).norm() < 1e-9);
}

/// A model with its faces, edges and corners in planes of nodes: every line that meets it does so
/// in one piece, and lines in its faces count as inside or outside as a whole.
#[test]
fn lines_through_edges_and_corners_are_counted_right() {
    let model = divided(&moved(&cuboid([8.0, 8.0, 8.0]), [-4.0, -4.0, 0.0]));
    let grid = Grid { origin: Point::new(-6.0, -6.0, -2.0), spacing: 1.0, counts: [13, 13, 13] };
    for axis in 0..3 {
        let spans = InsideSpans::new(&model, &grid, axis);
        let mut inside = 0;
        for line in 0..13 * 13 {
            let start = line_start(&grid, axis, line);
            let [u, v] = Grid::across(axis);
            let (low, high) = (Point::new(-4.0, -4.0, 0.0), Point::new(4.0, 4.0, 8.0));
            // Moved by next to nothing towards greater coordinates.
            let hits = [u, v].iter().all(|&w| start[w] >= low[w] && start[w] < high[w]);
            let expected: &[[f64; 2]] = if hits { &[[low[axis], high[axis]]] } else { &[] };
            assert_eq!(spans.line(line), expected, "{start:?} along {axis}");
            inside += usize::from(hits);
        }
        assert_eq!(inside, 64);
    }
}

/// On a block's board the field is mirrored, and nodes are told apart by where they lie.
#[test]
fn nodes_are_where_the_shapes_say() {
    let model = moved(&cuboid([8.0, 8.0, 8.0]), [-4.0, -4.0, 0.0]);
    let body = body(&model, &MouldShape::Box { side_clearance: 4.0, top_clearance: 4.0 });
    let domain = RubberDomain::new(&body, &model);
    assert!(domain.on_board());
    let field = solved(&domain, 0.7);
    let grid = *field.grid();
    let mut seen = 0;
    for n in 0..grid.len() {
        let node = grid.node(n);
        let p = grid.position(node);
        let out = (p.x.abs() - 4.0).max(p.y.abs() - 4.0).max(p.z - 8.0);
        let within = (8.0 - p.x.abs()).min(8.0 - p.y.abs()).min(12.0 - p.z);
        let place = match (out > 0.0, within > 0.0) {
            (false, _) => Place::Model,
            (true, true) => Place::Rubber,
            (true, false) => Place::Outside,
        };
        assert_eq!(field.place(node), place, "{p:?}");
        seen += usize::from(place == Place::Rubber);
    }
    assert_eq!(field.report().unknowns, seen);
    let middle = Point::new(6.0, 0.3, 0.0);
    let (value, slope) = field.sample(&middle).expect("rubber");
    assert!((value - 0.5).abs() < 0.02, "{value}");
    assert!((slope.x - 0.25).abs() < 0.02 && slope.z.abs() < 1e-9, "{slope:?}");
}

/// A wall thinner than the spacing still parts the rubber on its two sides.
#[test]
fn a_wall_thinner_than_the_spacing_is_seen() {
    let model = moved(&cuboid([0.3, 24.0, 20.0]), [0.35, -12.0, 0.0]);
    let body = body(&model, &MouldShape::Box { side_clearance: 10.0, top_clearance: 8.0 });
    let domain = RubberDomain::new(&body, &model);
    let field = solved(&domain, 1.0);
    assert!(field.report().thickened > 200, "{}", field.report().thickened);
    for x in [-0.7, 1.4] {
        let (value, _) = field.sample(&Point::new(x, 0.0, 6.0)).expect("rubber");
        assert!(value < 0.2, "{value}");
    }
}

#[test]
fn the_result_does_not_depend_on_threads() {
    let model = moved(&torus(14.0, 4.0, 48, 24), [0.3, 0.2, -30.0]);
    let body = body(&model, &MouldShape::Cylinder { side_clearance: 6.0, top_clearance: 6.0 });
    let domain = RubberDomain::new(&body, &model);
    let run = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a pool");
        pool.install(|| {
            let field = solved(&domain, 1.0);
            let saddles = field.saddles(0.02, Some(&domain), &Control::silent()).expect("saddles");
            let nodes = field.grid().len();
            let values: Vec<u64> = (0..nodes)
                .filter_map(|n| field.at_node(field.grid().node(n)).map(f64::to_bits))
                .collect();
            (values, saddles)
        })
    };
    let (one, three) = (run(1), run(3));
    assert!(one.0 == three.0);
    assert_eq!(one.1, three.1);
    assert_eq!(one.1.saddles.len(), 1);
}

#[test]
fn what_cannot_be_solved_is_said() {
    let model = icosphere(5.0, 2);
    let body = body(&model, &MouldShape::Blanket { thickness: 4.0 });
    let domain = RubberDomain::new(&body, &model);
    let quiet = Control::silent();
    for spacing in [0.0, -1.0, f64::NAN, f64::INFINITY, 1e-4] {
        let failed = Potential::solve(&domain, spacing, &quiet).err();
        assert!(matches!(failed, Some(FieldError::BadGrid { .. })), "{spacing} {failed:?}");
    }
    let cancel = Cancel::new();
    let control = Control::new(cancel.clone(), |_| {});
    let equations = Equations::new(&domain, 1.0, &control).expect("not cancelled yet");
    cancel.cancel();
    assert_eq!(equations.solve(1e-8, &control).err(), Some(FieldError::Cancelled));
    assert_eq!(Potential::solve(&domain, 1.0, &control).err(), Some(FieldError::Cancelled));
    let field = solved(&domain, 1.0);
    let far = Point::new(100.0, 0.0, 0.0);
    assert_eq!(field.sample(&far).err(), Some(FieldError::NotInRubber { at: far }));
    assert!(field.sample(&Point::origin()).is_err());
}

#[test]
fn resolution_follows_the_narrowest_gap_within_memory() {
    let model = moved(&tube(4.0, 12.0, 15.0, 64), [0.0, 0.0, -60.0]);
    let body = body(&model, &MouldShape::Box { side_clearance: 10.0, top_clearance: 10.0 });
    let domain = RubberDomain::new(&body, &model);
    // Across the bore; the facets take a little.
    let narrowest = domain.narrowest();
    assert!((7.9..=8.0).contains(&narrowest), "{narrowest}");
    let (low, high) = domain.bounds();
    let plenty = Resolution::choose(low, high, 1.0, 8 << 30);
    assert!((plenty.cells_across_narrowest - 4.0).abs() < 1e-9, "{plenty:?}");
    let wide = Resolution::choose(low, high, 50.0, 8 << 30);
    assert!((wide.spacing - 44.0 / 64.0).abs() < 1e-9, "{wide:?}");
    let small = Resolution::choose(low, high, 0.5, 100 << 20);
    assert!(small.memory_bytes <= 100 << 20 && small.memory_bytes > 90 << 20, "{small:?}");
    assert!(small.cells_across_narrowest < 4.0);
}
