//! Closed forms: Smythe, Static and Dynamic Electricity; Morse & Feshbach, Methods of Theoretical
//! Physics (from memory).

use std::f64::consts::{PI, TAU};

use super::shapes::{between, greatest_error, orders, solved, sphere, spread};
use crate::field::{Course, Potential};
use crate::mesh::{Point, Vector};

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
    assert!(errors[2] < 4e-4, "{errors:?}");
    assert!(orders(&errors).iter().all(|&o| o > 1.75), "{errors:?}");
    // Capacitance over permittivity.
    let flux = 4.0 * PI * INNER * OUTER / (OUTER - INNER);
    let off = fields.each_ref().map(|f| (f.report().flux / flux - 1.0).abs());
    assert!(off[0] < 0.02 && off[1] < 0.006 && off[2] < 0.002, "{off:?}");
}

#[test]
fn slope_between_spheres_converges() {
    let centre = Point::new(0.37, -0.21, 0.11);
    let whole = 1.0 / INNER - 1.0 / OUTER;
    let mut offs = Vec::new();
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
        offs.push(off);
        greatest
    });
    assert!(orders(&offs).iter().all(|&o| o > 1.75), "{offs:?}");
    assert!(errors[2] < 0.05 && orders(&errors).iter().all(|&o| o > 0.9), "{errors:?}");
}

#[test]
fn field_lines_between_spheres_are_straight() {
    let field = shell(1.0);
    let centre = Point::new(0.37, -0.21, 0.11);
    for p in spread(40, INNER) {
        let start = centre + p.coords;
        let out = field.field_line(&start, Course::Outward, None).expect("arrives");
        let end = out.points.last().expect("an end");
        let off = (end - (centre + p.coords * (OUTER / INNER))).norm();
        assert!(off < 0.06, "{off}");
        let back = field.field_line(end, Course::Inward, None).expect("arrives");
        assert!((back.points.last().expect("an end") - start).norm() < 0.05);
    }
}

/// A rod that stands on the board in a round block. End effects die away as exp(-pi z / gap) or
/// faster, so that far below the end the field is that of endless coaxial cylinders.
#[test]
fn coaxial_cylinders_on_a_board_converge_with_order_two() {
    let (inner, outer, x, y): (f64, f64, f64, f64) = (4.2, 9.1, 0.13, -0.08);
    let radius = move |p: &Point| (p.x - x).hypot(p.y - y);
    let exact = move |p: &Point| (radius(p) / inner).ln() / (outer / inner).ln();
    let fields = [1.0, 0.5, 0.25].map(|spacing| {
        let domain = between(
            Box::new(move |p| (radius(p) - inner).max(p.z - 30.0)),
            Box::new(move |p| (radius(p) - outer).max(p.z - 34.0)),
            [-9.5, -9.5, 0.0],
            [9.5, 9.5, 34.0],
            true,
        );
        solved(&domain, spacing)
    });
    let errors = fields
        .each_ref()
        .map(|f| greatest_error(f, |p| if p.z < 6.0 { exact(p) } else { f64::NAN }));
    assert!(errors[2] < 4e-4 && orders(&errors).iter().all(|&o| o > 1.7), "{errors:?}");
    // Capacitance by length over permittivity: the flux through a ring between the two.
    let flux = TAU / (outer / inner).ln();
    let count = 64;
    let off = fields.each_ref().map(|f| {
        let sum: f64 = (0..count)
            .map(|n| {
                let a = TAU * f64::from(n) / f64::from(count);
                let out = Vector::new(a.cos(), a.sin(), 0.0);
                let at = Point::new(x, y, 1.3) + out * 6.5;
                f.sample(&at).expect("in the rubber").1.dot(&out) * 6.5
            })
            .sum();
        (sum * TAU / f64::from(count) / flux - 1.0).abs()
    });
    assert!(off[0] < 0.02 && off[1] < 0.005 && off[2] < 0.00125, "{off:?}");
}

/// Eccentric cylinders: C / L = 2 pi eps / arccosh((a^2 + b^2 - d^2) / (2 a b)).
#[test]
fn eccentric_cylinders_have_their_flux() {
    let (inner, outer, apart): (f64, f64, f64) = (4.0, 10.0, 2.5);
    let exact =
        TAU / ((inner * inner + outer * outer - apart * apart) / (2.0 * inner * outer)).acosh();
    let off = [1.0, 0.5, 0.25].map(|spacing| {
        let domain = between(
            Box::new(move |p| ((p.x - apart).hypot(p.y) - inner).max(p.z - 30.0)),
            Box::new(move |p| (p.x.hypot(p.y) - outer).max(p.z - 34.0)),
            [-10.2, -10.2, 0.0],
            [10.2, 10.2, 34.0],
            true,
        );
        let field = solved(&domain, spacing);
        let count = 256;
        let sum: f64 = (0..count)
            .map(|n| {
                let a = TAU * f64::from(n) / f64::from(count);
                let out = Vector::new(a.cos(), a.sin(), 0.0);
                // A ring about the model, well inside the rubber.
                let at = Point::new(apart, 0.0, 0.9) + out * 5.5;
                field.sample(&at).expect("in the rubber").1.dot(&out) * 5.5
            })
            .sum();
        (sum * TAU / f64::from(count) / exact - 1.0).abs()
    });
    assert!(off[0] < 0.03 && off[1] < 0.0075 && off[2] < 0.002, "{off:?}");
}
