//! States of rest against closed forms of the incompressible neo-Hookean solid (Treloar 1975; Ogden
//! 1984; both from memory), within 3 %.

use super::shapes::block;
use crate::control::Control;
use crate::mesh::{Point, Vector};
use crate::trial::{Elastic, Material, Obstacle, Relaxation, Settled, Solid, Touch};

const SHEAR: f64 = 0.5;

fn settle(body: &mut Relaxation<'_>, obstacle: Option<&dyn Obstacle>, friction: f64) -> Settled {
    let settled = body.settle(obstacle, friction, 1e-3, 6000, &Control::silent()).expect("runs");
    assert!(settled.residual < 1e-3, "{settled:?}");
    settled
}

/// Nominal stress over mu of a unit cube pulled to `ratio` along the first `axes` axes; `kept` are
/// the axes along which it may not shrink.
fn cube(ratio: f64, axes: usize, kept: [bool; 3]) -> f64 {
    let solid = block([4, 4, 4], Point::from);
    let elastic = Elastic::new(&solid, Material::with_shear(SHEAR));
    let mut body = Relaxation::new(&elastic, solid.nodes.clone(), &[], 0.25);
    for (n, p) in solid.nodes.iter().enumerate() {
        for axis in 0..3 {
            let far = axis < axes && p[axis] == 1.0;
            body.held[n][axis] = p[axis] == 0.0 || far || kept[axis];
            body.x[n][axis] *= if axis < axes { ratio } else { 1.0 };
        }
    }
    settle(&mut body, None, 0.0);
    let far = solid.nodes.iter().zip(&body.reactions).filter(|(p, _)| p.x == 1.0);
    far.map(|(_, r)| r.x).sum::<f64>() / SHEAR
}

#[test]
fn uniaxial_equibiaxial_and_pure_shear_stress() {
    for (ratio, expected) in [
        (1.5, [1.0556, 1.3683, 1.2037]),
        (2.0, [1.75, 1.9688, 1.875]),
        (3.0, [2.8889, 2.9959, 2.9630]),
    ] {
        let free = [false; 3];
        let got =
            [cube(ratio, 1, free), cube(ratio, 2, free), cube(ratio, 1, [false, true, false])];
        for (got, expected) in got.into_iter().zip(expected) {
            assert!((got / expected - 1.0).abs() < 0.03, "{ratio}: {got} for {expected}");
        }
    }
}

/// A quarter of a ring of radii `inner` to `outer` and the height `height`, held on its planes of
/// symmetry and, if `flat`, between two plates.
pub fn quarter_ring(cells: [usize; 3], inner: f64, outer: f64, height: f64) -> Solid {
    block(cells, |[r, a, z]| {
        let (r, a) = (inner + r * (outer - inner), a * std::f64::consts::FRAC_PI_2);
        let on = |x: f64| if x.abs() < 1e-12 { 0.0 } else { x };
        Point::new(on(r * a.cos()), on(r * a.sin()), z * height)
    })
}

/// Pressure over mu inside a thick cylinder without axial stretch, radii 1 and 2.
#[test]
fn thick_cylinder_under_pressure() {
    let height = 0.25;
    let solid = quarter_ring([8, 12, 2], 1.0, 2.0, height);
    let elastic = Elastic::new(&solid, Material::with_shear(SHEAR));
    for (ratio, expected) in [(1.2, 0.23337), (1.5, 0.42823), (2.0, 0.57405)] {
        let mut body = Relaxation::new(&elastic, solid.nodes.clone(), &[], 0.12);
        for (n, p) in solid.nodes.iter().enumerate() {
            // Start from the shape of the incompressible solution's radii.
            let r = p.x.hypot(p.y);
            let grown = (r * r + ratio * ratio - 1.0).sqrt() / r;
            (body.x[n].x, body.x[n].y) = (p.x * grown, p.y * grown);
            let inside = r < 1.0 + 1e-9;
            body.held[n] =
                [inside || p.x == 0.0, inside || p.y == 0.0, p.z == 0.0 || p.z == height];
        }
        settle(&mut body, None, 0.0);
        let inside =
            solid.nodes.iter().zip(&body.reactions).filter(|(p, _)| p.x.hypot(p.y) < 1.0 + 1e-9);
        let push: f64 = inside
            .map(|(p, r)| {
                // On the planes of symmetry only the part along the plane is the pressure's.
                let along = Vector::new(p.x, p.y, 0.0).normalize();
                r.dot(&along)
            })
            .sum();
        let area = std::f64::consts::FRAC_PI_2 * ratio * height;
        let got = push / area / SHEAR;
        assert!((got / expected - 1.0).abs() < 0.03, "{ratio}: {got}");
    }
}

struct Rod(f64);

impl Obstacle for Rod {
    fn touch(&self, p: &Point) -> Touch {
        let r = p.x.hypot(p.y);
        Touch { distance: r - self.0, normal: Vector::new(p.x / r, p.y / r, 0.0) }
    }
}

/// A thin band stretched over a smooth rod by contact alone: load for each mm of the rod's girth, over
/// mu w t / R, with R the band's middle radius at rest.
#[test]
fn band_on_a_rod() {
    let (radius, thickness, width) = (10.0, 0.5, 3.0);
    let inner = radius - thickness / 2.0;
    let solid = quarter_ring([2, 32, 6], inner, radius + thickness / 2.0, width);
    let elastic = Elastic::new(&solid, Material::with_shear(SHEAR));
    let surface: Vec<u32> = (0..solid.nodes.len() as u32).collect();
    for (ratio, expected) in [(1.5, 0.7037), (2.0, 0.875), (3.0, 0.9630f64)] {
        let mut body = Relaxation::new(&elastic, solid.nodes.clone(), &surface, 0.4);
        for (n, p) in solid.nodes.iter().enumerate() {
            // Start as long as it will be and as thick as it was.
            let r = p.x.hypot(p.y);
            let grown = (r + radius * (ratio - 1.0)) / r;
            (body.x[n].x, body.x[n].y) = (p.x * grown, p.y * grown);
            body.held[n] = [p.x == 0.0, p.y == 0.0, p.z == 0.0];
        }
        // The stretched band is thinner: its middle lies closer to the rod.
        let rod = Rod(radius * ratio - 0.5 * thickness / ratio.sqrt());
        settle(&mut body, Some(&rod), 0.0);
        let push: f64 = solid
            .nodes
            .iter()
            .zip(body.x.iter().zip(&body.reactions))
            .filter(|(p, _)| p.x > 0.0 && p.y > 0.0)
            .map(|(_, (x, r))| r.dot(&Vector::new(x.x, x.y, 0.0).normalize()))
            .sum();
        // Nodes on the planes of symmetry stand for half a cell at either end.
        let girth = std::f64::consts::FRAC_PI_2 * radius * ratio * 31.0 / 32.0;
        let got = push / girth / (SHEAR * width * thickness / radius);
        assert!((got / expected - 1.0).abs() < 0.03, "{ratio}: {got}");
    }
}

/// The half-space below z = 0.
struct Floor;

impl Obstacle for Floor {
    fn touch(&self, p: &Point) -> Touch {
        Touch { distance: p.z, normal: Vector::z() }
    }
}

/// A cube pressed on a floor and pushed aside sticks while the push is below Coulomb's share of the
/// load, and slides with just that share when it is dragged farther.
#[test]
fn friction_takes_its_share_and_no_more() {
    let solid = block([4, 4, 4], |[x, y, z]| Point::new(x, y, z));
    let elastic = Elastic::new(&solid, Material::with_shear(SHEAR));
    let surface: Vec<u32> = (0..solid.nodes.len() as u32).collect();
    let friction = 0.3;
    let mut body = Relaxation::new(&elastic, solid.nodes.clone(), &surface, 0.25);
    for (n, p) in solid.nodes.iter().enumerate() {
        if p.z == 1.0 {
            body.held[n] = [true; 3];
            body.x[n].z -= 0.1;
        }
    }
    let mut shares = Vec::new();
    let mut slides = Vec::new();
    for step in 0..30 {
        for (n, p) in solid.nodes.iter().enumerate().filter(|(_, p)| p.z == 1.0) {
            body.x[n].x = p.x + 0.02 * f64::from(step);
        }
        settle(&mut body, Some(&Floor), friction);
        let below: Vec<usize> =
            (0..solid.nodes.len()).filter(|&n| solid.nodes[n].z == 0.0).collect();
        let floor: Vector = below.iter().map(|&n| body.reactions[n]).sum();
        shares.push(-floor.x / floor.z);
        slides.push(below.iter().map(|&n| body.x[n].x - solid.nodes[n].x).sum::<f64>() / 25.0);
        assert!(floor.z > 0.1 && shares[step as usize] < friction + 1e-6);
    }
    // The first push is taken up by shear, the last by sliding.
    assert!(shares[1] < 0.5 * friction && slides[1] - slides[0] < 0.005, "{shares:?} {slides:?}");
    assert!(shares[29] > 0.97 * friction, "{shares:?}");
    assert!(slides[29] - slides[28] > 0.018, "{slides:?}");
}
