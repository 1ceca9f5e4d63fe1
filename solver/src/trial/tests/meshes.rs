//! Bodies filled with tetrahedra, and parted.

use std::collections::HashMap;

use super::closed_forms::quarter_ring;
use super::shapes::{block, upright};
use crate::control::Control;
use crate::mesh::{Point, TriangleMesh};
use crate::trial::{Elastic, Material, Region, Relaxation, Skin, Solid, fill, part};

/// Between two spheres about the origin.
struct Shell {
    inner: f64,
    outer: f64,
}

impl Region for Shell {
    fn level(&self, p: &Point) -> f64 {
        let r = p.coords.norm();
        (self.inner - r).max(r - self.outer)
    }
    fn skin(&self, p: &Point) -> Skin {
        if p.coords.norm() < 0.5 * (self.inner + self.outer) { Skin::Model } else { Skin::Outside }
    }
    fn bounds(&self) -> (Point, Point) {
        let r = self.outer;
        (Point::new(-r, -r, -r), Point::new(r, r, r))
    }
}

fn shell(spacing: f64) -> Solid {
    fill(&Shell { inner: 1.0, outer: 2.0 }, spacing, 0, &Control::silent()).expect("fills")
}

#[test]
fn a_shell_is_filled_whole_and_well() {
    let mut errors = Vec::new();
    for spacing in [0.4, 0.2] {
        let solid = shell(spacing);
        let volume = 4.0 / 3.0 * std::f64::consts::PI * 7.0;
        errors.push((solid.total_volume() / volume - 1.0).abs());
        assert!((0..solid.elements.len()).all(|e| solid.volume(e) > 0.0));
        let (least, most) = solid.dihedral_range();
        assert!(least > 5.0 && most < 172.0, "{least} {most}");
        // The surface is two closed spheres: edges twice each, Euler characteristic 4.
        let surface = solid.surface();
        let mut edges: HashMap<[u32; 2], i32> = HashMap::new();
        let mut nodes: Vec<u32> = surface.iter().flatten().copied().collect();
        for [a, b, c] in &surface {
            for [p, q] in [[a, b], [b, c], [c, a]] {
                *edges.entry([*p.min(q), *p.max(q)]).or_default() += if p < q { 1 } else { 1000 };
            }
        }
        assert!(edges.values().all(|&n| n == 1001));
        nodes.sort_unstable();
        nodes.dedup();
        assert_eq!(nodes.len() + surface.len() - edges.len(), 4);
        for &n in &nodes {
            let r = solid.nodes[n as usize].coords.norm();
            let skin = if solid.skins[n as usize] == Skin::Model { 1.0 } else { 2.0 };
            assert!((r - skin).abs() < 1e-4, "{r}");
        }
    }
    // Of second order, less what the two skins' errors cancel.
    assert!(errors[1] < errors[0] / 2.5 && errors[1] < 0.002, "{errors:?}");
}

/// Pressure over mu inside a thick sphere of radii 1 and 2 (Ogden 1984, from memory), within 3 %.
#[test]
fn thick_sphere_under_pressure() {
    let spacing = 0.24;
    let solid = shell(spacing);
    let elastic = Elastic::new(&solid, Material::with_shear(0.5));
    for (ratio, expected) in [(1.2, 0.48016), (1.5, 0.75543), (2.0f64, 0.80693)] {
        let mut body = Relaxation::new(&elastic, solid.nodes.clone(), &[], spacing);
        for (n, p) in solid.nodes.iter().enumerate() {
            let r = p.coords.norm();
            body.x[n] = p * ((r.powi(3) + ratio.powi(3) - 1.0).cbrt() / r);
            body.held[n] = [solid.skins[n] == Skin::Model; 3];
        }
        let settled = body.settle(None, 0.0, 2e-3, 3000, &Control::silent()).expect("runs");
        assert!(settled.residual < 2e-3, "{settled:?}");
        let inside = (0..solid.nodes.len()).filter(|&n| solid.skins[n] == Skin::Model);
        let push: f64 = inside.map(|n| body.reactions[n].dot(&body.x[n].coords.normalize())).sum();
        let got = push / (4.0 * std::f64::consts::PI * ratio * ratio) / 0.5;
        assert!((got / expected - 1.0).abs() < 0.03, "{ratio}: {got} for {expected}");
    }
}

/// Elements of half the size change the greatest stretch by less than a tenth, on the way to that of
/// the closed form: the inner skin's, in a thick sphere and a thick cylinder blown up by half.
#[test]
fn finer_elements_change_the_greatest_stretch_little() {
    let ratio = 1.5;
    let greatest = |solid: &Solid, spacing: f64, place: &dyn Fn(&Point) -> (Point, [bool; 3])| {
        let elastic = Elastic::new(solid, Material::with_shear(0.5));
        let mut body = Relaxation::new(&elastic, solid.nodes.clone(), &[], spacing);
        for (n, p) in solid.nodes.iter().enumerate() {
            (body.x[n], body.held[n]) = place(p);
        }
        let settled = body.settle(None, 0.0, 3e-3, 3000, &Control::silent()).expect("runs");
        assert!(settled.residual < 3e-3, "{settled:?}");
        elastic.stretches(&body.x).into_iter().fold(0.0, f64::max)
    };
    let sphere = |p: &Point| {
        let r = p.coords.norm();
        (p * ((r.powi(3) + ratio * ratio * ratio - 1.0).cbrt() / r), [r < 1.0 + 1e-4; 3])
    };
    let cylinder = |p: &Point| {
        let r = p.x.hypot(p.y);
        let grown = (r * r + ratio * ratio - 1.0).sqrt() / r;
        let inside = r < 1.0 + 1e-9;
        let held = [inside || p.x == 0.0, inside || p.y == 0.0, true];
        (Point::new(p.x * grown, p.y * grown, p.z), held)
    };
    let spheres = [0.4, 0.2].map(|spacing| greatest(&shell(spacing), spacing, &sphere));
    let cylinders = [4, 8].map(|n| {
        let solid = quarter_ring([n, 2 * n, 1], 1.0, 2.0, 1.0 / n as f64);
        greatest(&solid, 1.0 / n as f64, &cylinder)
    });
    for [coarse, fine] in [spheres, cylinders] {
        assert!((fine / coarse - 1.0).abs() < 0.1, "{coarse} {fine}");
        assert!((fine - ratio).abs() < (coarse - ratio).abs() + 0.02, "{coarse} {fine}");
        assert!((fine / ratio - 1.0).abs() < 0.1, "{coarse} {fine}");
    }
}

/// A sheet half across a bar makes two lips and leaves a hinge; one right across makes two pieces.
#[test]
fn a_sheet_parts_what_it_crosses() {
    let bar = block([4, 8, 4], |[x, y, z]| Point::new(x, 2.0 * y - 0.9, z));
    let half = part(&bar, &[upright([-0.1, 0.5], [-0.1, 1.1])], None).expect("parts");
    assert_eq!(half.pieces, 1);
    assert!(half.solid.nodes.len() > bar.nodes.len() && half.parted_faces > 0);
    assert!((half.solid.total_volume() / bar.total_volume() - 1.0).abs() < 1e-12);
    let whole = part(&bar, &[upright([-0.1, 1.1], [-0.1, 1.1])], None).expect("parts");
    assert_eq!(whole.pieces, 2);
    let none = part(&bar, &[TriangleMesh::default()], None).expect("parts");
    assert_eq!((none.pieces, none.parted_faces), (1, 0));
    assert_eq!(none.solid.nodes, bar.nodes);
    assert_eq!(none.solid.elements, bar.elements);
}

/// What is cut right through no longer pulls.
#[test]
fn parted_rubber_carries_nothing() {
    let bar = block([3, 8, 3], |[x, y, z]| Point::new(x, 2.0 * y - 0.9, z));
    let pull = |sheets: &[TriangleMesh]| {
        let body = part(&bar, sheets, None).expect("parts").solid;
        let elastic = Elastic::new(&body, Material::with_shear(0.5));
        let mut rubber = Relaxation::new(&elastic, body.nodes.clone(), &[], 0.25);
        for (n, p) in body.nodes.iter().enumerate() {
            let end = p.y < -0.899 || p.y > 1.099;
            rubber.held[n] = [end; 3];
            rubber.x[n].y += if p.y > 1.099 { 0.5 } else { 0.0 };
        }
        rubber.settle(None, 0.0, 1e-4, 4000, &Control::silent()).expect("runs");
        let far = (0..body.nodes.len()).filter(|&n| body.nodes[n].y > 1.099);
        far.map(|n| rubber.reactions[n].y).sum::<f64>()
    };
    let whole = pull(&[]);
    let half = pull(&[upright([-0.1, 0.5], [-0.1, 1.1])]);
    let none = pull(&[upright([-0.1, 1.1], [-0.1, 1.1])]);
    assert!(whole > 0.3 && half > 0.1 * whole && half < 0.9 * whole, "{whole} {half}");
    assert!(none.abs() < 1e-3 * whole, "{none}");
}
