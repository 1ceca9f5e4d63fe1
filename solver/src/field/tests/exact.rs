//! Closed forms: Smythe, Static and Dynamic Electricity; Morse & Feshbach, Methods of Theoretical
//! Physics (from memory).

use std::f64::consts::PI;

use super::shapes::{between, greatest_error, orders, solved, sphere, spread};
use crate::field::{Course, Potential};
use crate::mesh::Point;

const INNER: f64 = 10.3;
const OUTER: f64 = 27.1;

fn shell(spacing: f64) -> Potential {
    // Off-centre, so that no symmetry of the grid helps.
    let centre = [0.37, -0.21, 0.11];
    let domain =
        between(sphere(centre, INNER), sphere(centre, OUTER), [-28.0; 3], [28.0; 3], false);
    solved(&domain, spacing)
}

fn shell_exact(p: &Point) -> f64 {
    let r = (p - Point::new(0.37, -0.21, 0.11)).norm();
    (1.0 / INNER - 1.0 / r) / (1.0 / INNER - 1.0 / OUTER)
}

#[test]
fn concentric_spheres_converge_with_order_two() {
    let fields = [2.0, 1.0, 0.5].map(shell);
    let errors = fields.each_ref().map(|f| greatest_error(f, shell_exact));
    println!("{errors:?} {:?}", orders(&errors));
    assert!(errors[2] < 4e-4, "{errors:?}");
    assert!(orders(&errors).iter().all(|&o| o > 1.75), "{errors:?}");
    // Capacitance over permittivity.
    let flux = 4.0 * PI * INNER * OUTER / (OUTER - INNER);
    let off = fields.each_ref().map(|f| (f.report().flux / flux - 1.0).abs());
    println!("flux {off:?}");
    for f in &fields { println!("{:?}", f.report()); }
    assert!(off[0] < 0.02 && off[1] < 0.006 && off[2] < 0.002, "{off:?}");
}

#[test]
fn slope_between_spheres_converges() {
    let centre = Point::new(0.37, -0.21, 0.11);
    let whole = 1.0 / INNER - 1.0 / OUTER;
    let errors = [2.0, 1.0, 0.5].map(shell).map(|f| {
        let (mut greatest, mut off) = (0.0f64, 0.0f64);
        for radius in [INNER, INNER + 0.3, 14.0, 20.0, OUTER - 0.2, OUTER] {
            for p in spread(200, radius) {
                let p = centre + p.coords;
                let (value, slope) = f.sample(&p).expect("in the rubber");
                let exact = (p - centre) / radius.powi(3) / whole;
                greatest = greatest.max((slope - exact).norm() * INNER);
                off = off.max((value - shell_exact(&p)).abs());
            }
        }
        println!("{off}");
        greatest
    });
    println!("{errors:?}");
    assert!(errors[2] < 0.05 && orders(&errors).iter().all(|&o| o > 0.9), "{errors:?}");
}

#[test]
fn field_lines_between_spheres_are_straight() {
    let field = shell(1.0);
    let centre = Point::new(0.37, -0.21, 0.11);
    for p in spread(40, INNER) {
        let start = centre + p.coords;
        let out = field.field_line(&start, Course::Outward, None).expect("arrives");
        println!("{}", out.length);
        let end = out.points.last().expect("an end");
        assert!((end - (centre + p.coords * (OUTER / INNER))).norm() < 0.05);
        let back = field.field_line(end, Course::Inward, None).expect("arrives");
        assert!((back.points.last().expect("an end") - start).norm() < 0.05);
    }
}

