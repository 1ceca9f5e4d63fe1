//! Strips that bend far, and cracks that open, against closed forms.

use super::shapes::block;
use crate::control::Control;
use crate::mesh::{Point, Vector};
use crate::trial::{Elastic, Grasp, Material, Pull, Relaxation, Solid};

const SHEAR: f64 = 0.5;

fn settle(body: &mut Relaxation<'_>) {
    let settled = body.settle(None, 0.0, 1e-3, 40_000, &Control::silent()).expect("runs");
    assert!(settled.residual < 1e-3, "{settled:?}");
}

/// A force that does not change on its way, shared out over nodes.
fn dead_load(elastic: &Elastic, solid: &Solid, nodes: &[usize], force: Vector) -> Vec<Pull> {
    let whole: f64 = nodes.iter().map(|&n| elastic.node_volume(n)).sum();
    let grasp = |&n: &usize| Grasp {
        node: n as u32,
        share: elastic.node_volume(n) / whole,
        origin: solid.nodes[n],
        direction: force.normalize(),
    };
    let (limit, far) = (force.norm(), 1e6);
    vec![Pull::new(nodes.iter().map(grasp).collect(), 2.0 * limit / far, far, limit)]
}

/// The end of a cantilever under an end force P that keeps its direction goes down by 0.3017, 0.4935 and 0.7138
/// of its length L, and in by 0.0564, 0.1606 and 0.3876, where P L^2 / (E I) is 1, 2 and 5 (Bisshopp & Drucker 1945,
/// Quarterly of Applied Mathematics 3:272; the numbers by integration of E I theta'' = -P cos theta with a Runge-Kutta
/// method of order 5, tolerance 1e-10). The strip is ten times as long as it is thick, and seven linear elements
/// across it are a little too stiff: within 5 % of the length.
#[test]
fn a_cantilever_bends_as_the_elastica() {
    let (length, side) = (20.0, 2.0);
    let solid =
        block([70, 3, 7], |[x, y, z]| Point::new(x * length, (y - 0.5) * side, (z - 0.5) * side));
    let elastic = Elastic::new(&solid, Material::with_shear(SHEAR));
    let stiffness = 3.0 * SHEAR * side.powi(4) / 12.0;
    let end: Vec<usize> = (0..solid.nodes.len()).filter(|&n| solid.nodes[n].x == length).collect();
    let mut body = Relaxation::new(&elastic, solid.nodes.clone(), &[], 0.5);
    for (n, p) in solid.nodes.iter().enumerate() {
        body.held[n] = [p.x == 0.0; 3];
    }
    for (load, down, inward) in
        [(1.0, 0.3017, 0.0564), (2.0, 0.4935, 0.1606), (5.0, 0.7138, 0.3876)]
    {
        let force = -Vector::z() * (load * stiffness / length.powi(2));
        body.set_pulls(dead_load(&elastic, &solid, &end, force));
        settle(&mut body);
        let gone: Vector = end.iter().map(|&n| body.x[n] - solid.nodes[n]).sum::<Vector>()
            / (end.len() as f64 * length);
        assert!((-gone.z - down).abs() < 0.05, "{load}: {} for {down}", -gone.z);
        assert!((-gone.x - inward).abs() < 0.05, "{load}: {} for {inward}", -gone.x);
    }
}

/// A hinge: a wide strip between two faces that are turned against each other by 60 degrees, with its middle bent to
/// an arc of its own length. The moment is E h^2 w / 12 h theta / L with E / (1 - nu^2) = 4 mu in place of E, as
/// the width does not change (Timoshenko & Woinowsky-Krieger 1959, Theory of Plates and Shells, from memory; the
/// strain at its faces is 9 %). Six linear elements across are a little too stiff: within 12 %.
#[test]
fn a_hinge_resists_with_the_moment_of_a_wide_strip() {
    let (length, width, thick) = (12.0_f64, 2.0, 2.0_f64);
    let angle = 60.0_f64.to_radians();
    let solid = block([30, 3, 6], |[x, y, z]| Point::new(x * length, y * width, (z - 0.5) * thick));
    let elastic = Elastic::new(&solid, Material::with_shear(SHEAR));
    let bent = |p: &Point| {
        let (turn, radius) = (angle * p.x / length, length / angle);
        Point::new((radius + p.z) * turn.sin(), p.y, (radius + p.z) * turn.cos() - radius)
    };
    let start: Vec<Point> = solid.nodes.iter().map(bent).collect();
    let mut body = Relaxation::new(&elastic, start.clone(), &[], 0.5);
    for (n, p) in solid.nodes.iter().enumerate() {
        // The ends may grow thinner or thicker along their own faces only at the root.
        let is_end = p.x == 0.0 || p.x == length;
        body.held[n] = [is_end, is_end || p.y == 0.0 || p.y == width, is_end];
    }
    settle(&mut body);
    let moment: f64 = (0..solid.nodes.len())
        .filter(|&n| solid.nodes[n].x == 0.0)
        .map(|n| body.x[n].z * body.reactions[n].x - body.x[n].x * body.reactions[n].z)
        .sum();
    let expected = 4.0 * SHEAR * width * thick.powi(3) / 12.0 * angle / length;
    assert!((moment.abs() / expected - 1.0).abs() < 0.12, "{moment} for {expected}");
}

/// Opening of a slit at its middle, or at its mouth, over 4 s a / E: a plate, thin against all else, under the
/// stress s across the slit. `half` is the slit's depth over the plate's.
fn opening_with(cells: usize, half: f64, is_edge: bool) -> f64 {
    let (wide, high) = (30.0, 45.0);
    let slit = half * wide;
    let solid =
        block([cells, cells * 3 / 2, 1], |[x, y, z]| Point::new(x * wide, y * high, z * 0.7));
    let elastic = Elastic::new(&solid, Material::with_shear(SHEAR));
    let mut body = Relaxation::new(&elastic, solid.nodes.clone(), &[], 1.0);
    for (n, p) in solid.nodes.iter().enumerate() {
        let is_ligament = p.y == 0.0 && p.x >= slit;
        // The slit's middle is a plane of symmetry; an edge is free, but for the corner that keeps it in place.
        let is_kept = if is_edge { p.x == wide && p.y == 0.0 } else { p.x == 0.0 };
        body.held[n] = [is_kept, is_ligament, p.z == 0.0];
    }
    let stress = 0.01 * 3.0 * SHEAR;
    let top: Vec<usize> = (0..solid.nodes.len()).filter(|&n| solid.nodes[n].y == high).collect();
    body.set_pulls(dead_load(&elastic, &solid, &top, Vector::y() * (stress * wide * 0.7)));
    settle(&mut body);
    let mouth: Vec<f64> = (0..solid.nodes.len())
        .filter(|&n| solid.nodes[n].x == 0.0 && solid.nodes[n].y == 0.0)
        .map(|n| body.x[n].y)
        .collect();
    let opened = 2.0 * mouth.iter().sum::<f64>() / mouth.len() as f64;
    opened / (4.0 * stress * slit / (3.0 * SHEAR))
}

/// The same with ever finer elements: at the end of a slit the error of linear elements is as their size, so twice
/// the finer less the coarser.
fn opening(half: f64, is_edge: bool) -> f64 {
    2.0 * opening_with(32, half, is_edge) - opening_with(16, half, is_edge)
}

/// A slit of length 2 a through a plate 2 b wide opens at its middle by 4 s a / E times -0.071 - 0.535 q + 0.169 q^2 +
/// 0.020 q^3 - 1.071 ln(1 - q) / q, q = a / b (Tada, Paris & Irwin, The Stress Analysis of Cracks Handbook, from
/// memory). 1 % strain: within 8 %.
#[test]
fn a_slit_in_a_plate_opens_as_the_handbook_says() {
    let q: f64 = 0.25;
    let expected =
        -0.071 - 0.535 * q + 0.169 * q * q + 0.020 * q.powi(3) - 1.071 * (1.0 - q).ln() / q;
    let got = opening(q, false);
    assert!((got / expected - 1.0).abs() < 0.08, "{got} for {expected}");
}

/// A slit from the edge, of depth a in a plate b wide, opens at its mouth by 4 s a / E times (1.46 + 3.42 (1 - cos(pi q / 2)))
/// / cos(pi q / 2)^2, q = a / b (the same, from memory). It opens half as far again as one within the plate.
#[test]
fn a_slit_from_the_edge_opens_as_the_handbook_says() {
    let q: f64 = 0.25;
    let c = (std::f64::consts::FRAC_PI_2 * q).cos();
    let expected = (1.46 + 3.42 * (1.0 - c)) / (c * c);
    let got = opening(q, true);
    assert!((got / expected - 1.0).abs() < 0.08, "{got} for {expected}");
}
