//! Where hands pull.
//!
//! The rubber is carried along by springs that pull in the drawing direction alone: flaps may swing
//! aside. A block is held over its whole outside. A blanket without its shell is held at its rim, all
//! round, so that it is turned over and peeled. Lips are drawn apart by springs across the sheet, beside
//! its edge on the outside, as long as the force allows; the rim of a blanket is drawn outward likewise.

use super::TrialError;
use super::parting::Parted;
use super::relax::Pull;
use super::report::Hold;
use super::solid::Skin;
use crate::mesh::{Point, SurfaceLocator, TriangleMesh, Vector};

/// What the hands do, split by purpose.
pub struct Hands {
    /// Draw lips and rim aside.
    pub aside: Vec<Pull>,
    /// Draw the rubber off.
    pub along: Vec<Pull>,
}

/// How the hands pull.
pub struct Grip {
    /// Drawing direction, a unit vector.
    pub direction: Vector,
    /// Greatest force of either hand, N.
    pub force: f64,
    /// Lips are held within this distance of the edge, mm.
    pub reach: f64,
    /// The pull reaches `force` when the outside lags this far behind the hands, mm.
    pub slack: f64,
    /// How far lips go aside, mm.
    pub opening: f64,
    /// Height of the rim that is drawn outward, mm, and the axis it is drawn away from.
    pub rim: Option<(f64, Point)>,
    /// What is drawn along the direction.
    pub hold: Hold,
}

/// Lips are taken hold of where the sheet lies squarely beside them: the direction to its nearest
/// point is across it within 45 degrees.
const BESIDE: f64 = 0.7;

impl Hands {
    /// Take hold of a body at rest.
    pub fn hold(
        body: &Parted,
        weights: &[f64],
        sheets: &[TriangleMesh],
        grip: &Grip,
    ) -> Result<Self, TrialError> {
        let solid = &body.solid;
        let outside: Vec<usize> =
            (0..solid.nodes.len()).filter(|&n| solid.skins[n] == Skin::Outside).collect();
        let pull = |n: usize, direction, stiffness, limit| Pull {
            node: n as u32,
            origin: solid.nodes[n],
            direction,
            stiffness,
            target: 0.0,
            limit,
        };
        let is_rim = |n: usize| grip.rim.is_some_and(|(height, _)| solid.nodes[n].z <= height);
        let held: Vec<usize> = match grip.hold {
            Hold::Outside => outside.clone(),
            Hold::Rim => outside.iter().copied().filter(|&n| is_rim(n)).collect(),
        };
        let whole: f64 = held.iter().map(|&n| weights[n]).sum();
        let stiffness = grip.force / grip.slack / whole.max(1e-300);
        let along = held
            .iter()
            .map(|&n| pull(n, grip.direction, stiffness * weights[n], f64::INFINITY))
            .collect();
        // The middle of the rubber round a node tells which side of a sheet it is on.
        let mut middles = vec![(Vector::zeros(), 0.0); solid.nodes.len()];
        for (e, nodes) in solid.elements.iter().enumerate() {
            for &n in nodes {
                middles[n as usize].0 += solid.middle(e).coords;
                middles[n as usize].1 += 1.0;
            }
        }
        let mut groups: Vec<Vec<(usize, Vector)>> = Vec::new();
        for sheet in sheets.iter().filter(|s| !s.faces.is_empty()) {
            let locator = SurfaceLocator::new(sheet)?;
            let (mut left, mut right) = (Vec::new(), Vec::new());
            for &n in &outside {
                let (sum, count) = middles[n];
                let middle = Point::from(sum / f64::max(count, 1.0));
                let hit = locator.closest(&middle);
                let across = (middle - hit.point).dot(&hit.normal);
                let near = locator.closest(&solid.nodes[n]).distance <= grip.reach;
                if near && across.abs() >= BESIDE * hit.distance && across != 0.0 {
                    let side = if across > 0.0 { &mut right } else { &mut left };
                    side.push((n, hit.normal * across.signum()));
                }
            }
            groups.extend([left, right]);
        }
        if let Some((_, axis)) = grip.rim {
            let away = |n: usize| {
                let from = solid.nodes[n] - axis;
                (from - grip.direction * from.dot(&grip.direction)).try_normalize(1e-9)
            };
            let rim = outside.iter().filter(|&&n| is_rim(n));
            // Two hands at either side.
            let rim: Vec<_> = rim.filter_map(|&n| away(n).map(|a| (n, a))).collect();
            let half =
                |sign: f64| rim.iter().copied().filter(move |r| r.1.x * sign > 0.0).collect();
            groups.extend([half(1.0), half(-1.0)]);
        }
        let mut aside = Vec::new();
        for group in groups {
            let whole: f64 = group.iter().map(|&(n, _)| weights[n]).sum();
            for (n, direction) in group {
                let limit = grip.force * weights[n] / whole;
                // Stiff beside the opening, so that the lips get there where the force allows.
                aside.push(pull(n, direction, limit / (0.1 * grip.opening).max(1e-9), limit));
            }
        }
        Ok(Self { aside, along })
    }

    /// The force that draws lips aside over the greatest there can be, with hands `opened` mm apart.
    pub fn effort(&self, opened: f64, x: &[Point]) -> f64 {
        let given =
            self.aside.iter().map(|p| Pull { target: opened, ..*p }.force(&x[p.node as usize]));
        given.sum::<f64>() / self.aside.iter().map(|p| p.limit).sum::<f64>().max(1e-300)
    }
}
