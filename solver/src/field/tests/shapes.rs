//! Regions with known answers.

use crate::control::Control;
use crate::field::{Domain, Grid, ImplicitDomain, Potential};
use crate::mesh::{Point, Vector};

/// A field that is negative inside a body.
pub(super) type Implicit = Box<dyn Fn(&Point) -> f64 + Sync>;

pub(super) fn sphere(centre: [f64; 3], radius: f64) -> Implicit {
    let centre = Point::from(centre);
    Box::new(move |p| (p - centre).norm() - radius)
}

pub(super) fn torus(major: f64, minor: f64) -> Implicit {
    Box::new(move |p| (p.x.hypot(p.y) - major).hypot(p.z) - minor)
}

pub(super) fn between(
    model: Implicit,
    outside: Implicit,
    low: [f64; 3],
    high: [f64; 3],
    on_board: bool,
) -> ImplicitDomain<Implicit, Implicit> {
    ImplicitDomain { model, outside, bounds: (Point::from(low), Point::from(high)), on_board }
}

pub(super) fn solved(domain: &dyn Domain, spacing: f64) -> Potential {
    Potential::solve(domain, spacing, &Control::silent()).expect("solves")
}

/// Greatest difference from an exact potential over the nodes of the rubber.
pub(super) fn greatest_error(field: &Potential, exact: impl Fn(&Point) -> f64) -> f64 {
    let grid: &Grid = field.grid();
    (0..grid.len())
        .filter_map(|n| {
            let node = grid.node(n);
            field.at_node(node).map(|u| (u - exact(&grid.position(node))).abs())
        })
        .fold(0.0, f64::max)
}

/// Orders of convergence between successive grids whose spacings are halved.
pub(super) fn orders(errors: &[f64]) -> Vec<f64> {
    errors.windows(2).map(|e| (e[0] / e[1]).log2()).collect()
}

/// Points spread over a sphere about the origin (Fibonacci's spiral).
pub(super) fn spread(count: usize, radius: f64) -> Vec<Point> {
    let golden = std::f64::consts::PI * (3.0 - 5f64.sqrt());
    (0..count)
        .map(|n| {
            let z = 1.0 - (2.0 * n as f64 + 1.0) / count as f64;
            let r = (1.0 - z * z).sqrt();
            let a = golden * n as f64;
            Point::from(Vector::new(r * a.cos(), r * a.sin(), z) * radius)
        })
        .collect()
}
