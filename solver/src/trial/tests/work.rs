//! What hands put in is what the rubber holds, and what friction took.

use super::shapes::block;
use crate::control::Control;
use crate::mesh::{Point, Vector};
use crate::trial::{Elastic, Material, Obstacle, Pull, Relaxation, Touch};

/// A round rail along y, under the body.
struct Rail;

impl Rail {
    const RADIUS: f64 = 3.0;
}

impl Obstacle for Rail {
    fn touch(&self, p: &Point) -> Touch {
        let (x, z) = (p.x, p.z + Self::RADIUS);
        let r = x.hypot(z);
        Touch { distance: r - Self::RADIUS, normal: Vector::new(x / r, 0.0, z / r) }
    }
}

struct Account {
    by_hands: f64,
    stored: f64,
    rubbed: f64,
}

/// A slab over a rail, drawn down and aside by its two ends in small steps.
fn drawn_over_a_rail(friction: f64) -> Account {
    let solid = block([8, 2, 3], |[x, y, z]| Point::new(5.0 * x - 2.5, y, 1.5 * z));
    let elastic = Elastic::new(&solid, Material::with_shear(0.4));
    let surface: Vec<u32> = (0..solid.nodes.len() as u32).collect();
    let mut body = Relaxation::new(&elastic, solid.nodes.clone(), &surface, 0.5);
    let ends: Vec<usize> =
        (0..solid.nodes.len()).filter(|&n| solid.nodes[n].x.abs() == 2.5).collect();
    // Hands hold the ends along all three axes, or the slab would rock on the rail.
    let pulls_at = |share: f64| -> Vec<Pull> {
        let pull = |n: usize, axis: usize| {
            let origin = solid.nodes[n];
            let way = Vector::new(0.4 + 0.6 * origin.x.signum(), 0.0, -1.0);
            let direction = Vector::ith(axis, 1.0);
            let target = share * way[axis];
            Pull::on_node(n as u32, origin, direction, 2.0, target, f64::INFINITY)
        };
        ends.iter().flat_map(|&n| (0..3).map(move |axis| pull(n, axis))).collect()
    };
    let mut account = Account { by_hands: 0.0, stored: 0.0, rubbed: 0.0 };
    let steps = 24;
    let mut before = (body.x.clone(), vec![0.0; 3 * ends.len()], body.reactions.clone());
    for step in 1..=steps {
        body.set_pulls(pulls_at(f64::from(step) / f64::from(steps)));
        let settled =
            body.settle(Some(&Rail), friction, 2e-3, 3000, &Control::silent()).expect("runs");
        assert!(settled.residual < 2e-3, "{settled:?}");
        let forces: Vec<f64> = body.pulls().iter().map(|p| p.force(&body.x)).collect();
        for (k, pull) in body.pulls().iter().enumerate() {
            let moved = pull.displacement(&body.x) - pull.displacement(&before.0);
            account.by_hands += 0.5 * (forces[k] + before.1[k]) * moved;
        }
        // The rail itself does no work but by friction: along it, and across a bent surface the
        // normal's part cancels between the two ends of a step.
        for n in 0..body.x.len() {
            let moved = body.x[n] - before.0[n];
            account.rubbed -= 0.5 * (body.reactions[n] + before.2[n]).dot(&moved);
        }
        before = (body.x.clone(), forces, body.reactions.clone());
    }
    account.stored = elastic.energy(&body.x) - elastic.energy(&solid.nodes);
    account
}

#[test]
fn hands_work_is_stored_where_nothing_rubs() {
    let account = drawn_over_a_rail(0.0);
    let Account { by_hands, stored, rubbed } = account;
    assert!(stored > 0.1, "{stored}");
    assert!((by_hands / stored - 1.0).abs() < 0.02, "{by_hands} {stored}");
    assert!(rubbed.abs() < 0.02 * stored, "{rubbed} {stored}");
}

#[test]
fn friction_takes_what_is_not_stored() {
    let Account { by_hands, stored, rubbed } = drawn_over_a_rail(0.3);
    assert!(rubbed > 0.02 * stored, "{rubbed} {stored}");
    assert!((by_hands / (stored + rubbed) - 1.0).abs() < 0.02, "{by_hands} {stored} {rubbed}");
}
