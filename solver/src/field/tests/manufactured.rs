//! A harmonic function known in closed form, with its own level surfaces as skins.
//!
//! The potential of a charged ring of radius a is 1 / agm(r1, r2), r1 and r2 the least and greatest
//! distance from the ring (Gauss; from memory, and checked here to be harmonic). Its level surfaces
//! are tori that swell up to balls. Between two of them the potential of a torus in a rounded body,
//! with its saddle at the origin, is known exactly.

use std::f64::consts::{PI, TAU};

use super::shapes::{between, greatest_error, orders, solved};
use crate::control::Control;
use crate::field::{Course, Potential, SaddleKind};
use crate::mesh::{Point, Vector};

const RING: f64 = 20.0;
/// Where the model meets the plane of the ring inside of it, and the outside outside of it.
const RIM: f64 = 13.0;
const EQUATOR: f64 = 36.0;

fn ring_potential(p: &Point) -> f64 {
    let r = p.x.hypot(p.y);
    let (mut a, mut b) = ((r + RING).hypot(p.z), (r - RING).hypot(p.z));
    for _ in 0..10 {
        (a, b) = (0.5 * (a + b), (a * b).sqrt());
    }
    1.0 / a
}

fn exact(p: &Point) -> f64 {
    let on_model = ring_potential(&Point::new(RIM, 0.0, 0.0));
    let outside = ring_potential(&Point::new(EQUATOR, 0.0, 0.0));
    (on_model - ring_potential(p)) / (on_model - outside)
}

fn field(spacing: f64) -> Potential {
    let domain = between(
        Box::new(exact),
        Box::new(|p: &Point| exact(p) - 1.0),
        [-36.5, -36.5, -32.0],
        [36.5, 36.5, 32.0],
        false,
    );
    solved(&domain, spacing)
}

#[test]
fn the_ring_potential_is_harmonic() {
    for p in [Point::new(5.0, 3.0, 7.0), Point::new(26.0, -9.0, 4.0), Point::new(0.3, 0.1, 0.2)] {
        let h = 0.02;
        let sum: f64 = (0..3)
            .flat_map(|w| [(w, h), (w, -h)])
            .map(|(w, h)| {
                let mut q = p;
                q[w] += h;
                exact(&q) - exact(&p)
            })
            .sum();
        assert!((sum / (h * h)).abs() < 1e-6, "{}", sum / (h * h));
    }
}

#[test]
fn a_torus_in_a_rounded_body_converges_with_order_two() {
    let fields = [2.4, 1.2, 0.6].map(field);
    let errors = fields.each_ref().map(|f| greatest_error(f, exact));
    assert!(errors[2] < 2e-3 && orders(&errors).iter().all(|&o| o > 1.7), "{errors:?}");

    for (field, part) in fields.iter().zip([0.02, 0.005]) {
        let found = field.saddles(0.02, None, &Control::silent()).expect("saddles");
        assert_eq!(found.saddles.len(), 1, "{:?}", found.saddles);
        let saddle = &found.saddles[0];
        assert_eq!(saddle.kind, SaddleKind::Bridge);
        assert!((saddle.level - exact(&Point::origin())).abs() < 2.0 * part);
        assert!((saddle.persistence - saddle.level).abs() < part);
        let disc = saddle.disc.as_ref().expect("a disc");
        assert!((disc.rim_length / (TAU * RIM) - 1.0).abs() < part, "{}", disc.rim_length);
        assert!((disc.area / (PI * RIM * RIM) - 1.0).abs() < 2.0 * part, "{}", disc.area);
    }
}

/// Along a field line the exact potential rises from 0 to 1, and back the line returns.
#[test]
fn field_lines_go_from_skin_to_skin_and_back() {
    let field = field(1.0);
    for n in 0..24 {
        let a = TAU * f64::from(n) / 24.0;
        // Round the tube, in a plane that no symmetry of the grid has.
        let out = Vector::new(0.8, 0.6, 0.0);
        let way = out * a.cos() + Vector::z() * a.sin();
        let middle = Point::origin() + out * RING;
        let (mut low, mut high) = (1.0, 12.0);
        for _ in 0..50 {
            let t = 0.5 * (low + high);
            if exact(&(middle + way * t)) < 0.0 { low = t } else { high = t }
        }
        let start = middle + way * low;
        if (start.coords - Vector::z() * start.z).norm() < 15.0 && start.z.abs() < 0.5 {
            // The line inward in the ring's plane runs into the saddle.
            continue;
        }
        let line = field.field_line(&start, Course::Outward, None).expect("arrives");
        let end = line.points.last().expect("an end");
        assert!((exact(end) - 1.0).abs() < 0.005, "{}", exact(end));
        let rises = line.points.windows(2).all(|p| exact(&p[0]) < exact(&p[1]) + 1e-3);
        assert!(rises);
        let back = field.field_line(end, Course::Inward, None).expect("arrives");
        let again = back.points.last().expect("an end");
        assert!((again - start).norm() < 0.2, "{again:?} {start:?}");
        assert!((back.length / line.length - 1.0).abs() < 0.01);
    }
}
