//! Published benchmarks of finite elements, and bodies without closed forms against felupe
//! (`tests/reference/rubber.py`, which says what each is): other elements, other solver, other code.

use serde_json::Value;

use super::shapes::block;
use crate::control::Control;
use crate::mesh::{Point, Vector};
use crate::trial::{Elastic, Material, Pull, Relaxation, Solid};

fn reference() -> Value {
    let text = include_str!("../../../../tests/reference/rubber.json");
    serde_json::from_str(text).expect("JSON")
}

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

fn settle(body: &mut Relaxation<'_>) {
    let settled = body.settle(None, 0.0, 1e-4, 20000, &Control::silent()).expect("runs");
    assert!(settled.residual < 1e-4, "{settled:?}");
}

/// A force that does not change on its way.
fn dead_load(solid: &Solid, node: usize, force: Vector) -> Pull {
    let limit = force.norm();
    let far = 1e6;
    let direction = force / limit;
    Pull::on_node(node as u32, solid.nodes[node], direction, 2.0 * limit / far, far, limit)
}

/// A cube bonded to two plates: raised by half, then moved aside by half.
#[test]
fn a_bonded_cube_agrees_with_felupe() {
    let file = reference();
    let cube = &file["cube"];
    // Closer together at the plates, where edges are singular.
    let near = |s: f64| 0.5 - 0.5 * (std::f64::consts::PI * s).cos();
    let solid = block([7, 7, 9], |p| Point::from(p.map(near)));
    let elastic = Elastic::new(&solid, Material::with_shear(1.0));
    let mut body = Relaxation::new(&elastic, solid.nodes.clone(), &[], 0.1);
    let top: Vec<usize> = (0..solid.nodes.len()).filter(|&n| solid.nodes[n].z == 1.0).collect();
    for (n, p) in solid.nodes.iter().enumerate() {
        body.held[n] = [p.z == 0.0 || p.z == 1.0; 3];
        body.x[n].z *= 1.5;
    }
    let force = |body: &Relaxation<'_>| top.iter().map(|&n| body.reactions[n]).sum::<Vector>();
    settle(&mut body);
    let raised = force(&body);
    for (n, p) in solid.nodes.iter().enumerate() {
        body.x[n].x += 0.5 * p.z;
    }
    settle(&mut body);
    let moved = force(&body);
    let asked = [
        (raised.z, number(&cube["raised"])),
        (moved.x, number(&cube["raised_and_moved"][0])),
        (moved.z, number(&cube["raised_and_moved"][1])),
    ];
    for (got, expected) in asked {
        assert!((got / expected - 1.0).abs() < 0.03, "{asked:?}");
    }
}

/// Cook's panel of unit thickness: vertical displacement at a height (share) of the right edge under a
/// load on that edge.
fn cook(material: Material, flat: bool, load: f64, share: f64) -> f64 {
    let cells = 32;
    let solid = block([cells, cells, 1], |[x, y, z]| {
        let (low, high) = (44.0 * x, 44.0 + 16.0 * x);
        // Upside down, so that the cells' diagonals run across the bending and not along it.
        Point::new(48.0 * x, high + y * (low - high), z)
    });
    let elastic = Elastic::new(&solid, material);
    let mut body = Relaxation::new(&elastic, solid.nodes.clone(), &[], 1.0);
    let mut pulls = Vec::new();
    for (n, p) in solid.nodes.iter().enumerate() {
        body.held[n] = if p.x == 0.0 { [true; 3] } else { [false, false, flat] };
        if p.x == 48.0 {
            let end = p.y == 44.0 || p.y == 60.0;
            let part = if end { 0.5 } else { 1.0 } / cells as f64 / 2.0;
            pulls.push(dead_load(&solid, n, Vector::y() * (load * part)));
        }
    }
    body.set_pulls(pulls);
    settle(&mut body);
    let at = |n: &usize| solid.nodes[*n] == Point::new(48.0, 44.0 + 16.0 * share, 0.0);
    let n = (0..solid.nodes.len()).find(at).expect("the point is a node");
    body.x[n].y - solid.nodes[n].y
}

/// Cook (1974): plane stress, E = 1, Poisson's ratio 1/3, load 1. The literature's 23.96 (from memory)
/// is felupe's too. The load is so small that the panel stays straight.
#[test]
fn cooks_membrane() {
    let expected = number(&reference()["cook"]["linear"]);
    assert!((expected / 23.96 - 1.0).abs() < 1e-3);
    let shear = 0.375;
    // lambda - mu is Lame's first constant: 2 mu at this ratio. No pressure on nodes is needed.
    let material = Material { shear, element_bulk: 3.0 * shear, nodal_bulk: 0.0 };
    let load = 2e-3;
    let got = cook(material, false, load, 0.5) / load;
    assert!((got / expected - 1.0).abs() < 0.03, "{got}");
}

/// The same panel of nearly incompressible rubber, plane strain, far bent.
#[test]
fn cooks_membrane_of_rubber_agrees_with_felupe() {
    let expected = number(&reference()["cook"]["rubber"]);
    let got = cook(Material::with_shear(1.0), true, 1.6, 1.0);
    assert!((got / expected - 1.0).abs() < 0.03, "{got} for {expected}");
}

/// A thick cylinder under pressure: MacNeal & Harder (1985), "A proposed standard set of problems to
/// test finite element accuracy", Finite Elements in Analysis and Design 1:3 (from memory; the values
/// also by Lame's formula). Nearly incompressible, which makes plain linear tetrahedra lock.
#[test]
fn macneal_and_harder_thick_cylinder() {
    let (inner, outer, height, cells) = (3.0f64, 9.0f64, 0.6, [10, 16, 1]);
    let solid = block(cells, |[r, a, z]| {
        let (r, a) = (inner * (outer / inner).powf(r), a * std::f64::consts::FRAC_PI_2);
        let on = |x: f64| if x.abs() < 1e-12 { 0.0 } else { x };
        Point::new(on(r * a.cos()), on(r * a.sin()), z * height)
    });
    for (ratio, expected) in [(0.49, 5.03993e-3), (0.499, 5.06025e-3)] {
        let shear = 1000.0 / (2.0 * (1.0 + ratio));
        let whole = shear * (2.0 * ratio / (1.0 - 2.0 * ratio) + 1.0);
        let element_bulk = 4.0 * shear;
        let material = Material { shear, element_bulk, nodal_bulk: whole - element_bulk };
        let elastic = Elastic::new(&solid, material);
        let mut body = Relaxation::new(&elastic, solid.nodes.clone(), &[], 0.5);
        let mut pulls = Vec::new();
        let mut inside = Vec::new();
        for (n, p) in solid.nodes.iter().enumerate() {
            body.held[n] = [p.x == 0.0, p.y == 0.0, true];
            let r = p.x.hypot(p.y);
            if r < inner + 1e-9 {
                let girth = std::f64::consts::FRAC_PI_2 * inner / cells[1] as f64;
                let end = p.x == 0.0 || p.y == 0.0;
                let area = girth * if end { 0.5 } else { 1.0 } * height / 2.0;
                pulls.push(dead_load(&solid, n, Vector::new(p.x, p.y, 0.0) * (area / r)));
                inside.push(n);
            }
        }
        body.set_pulls(pulls);
        settle(&mut body);
        let out = inside.iter().map(|&n| body.x[n].x.hypot(body.x[n].y) - inner);
        let got = out.sum::<f64>() / inside.len() as f64;
        assert!((got / expected - 1.0).abs() < 0.03, "{ratio}: {got}");
    }
}
