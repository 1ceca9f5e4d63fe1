//! Where hands pull.
//!
//! The rubber is carried along by a hand that pulls in the drawing direction alone and keeps it level: flaps may swing
//! aside. A block is held over its whole outside, and so is a blanket that cuts leave two flaps of, to open like a book.
//! Any other blanket without its shell is held at its rim, all round, so that it is turned over and peeled. At either side of a sheet a hand draws the rubber away from it,
//! as long as the force allows: the whole flap, that is all of the outside that has the sheet squarely beside
//! it, near or far, or the lip alone where that is little. Where only the sheet's edge is near is the hinge. The
//! rim of a blanket is drawn outward likewise, by its lips.

use nalgebra::Matrix3;

use super::TrialError;
use super::parting::Parted;
use super::pull::{Grasp, Pull};
use super::report::Hold;
use super::solid::Skin;
use crate::mesh::{Point, SurfaceLocator, TriangleMesh, Vector};

/// What the hands do, split by purpose.
pub struct Hands {
    /// Draw lips and rim aside.
    pub aside: Vec<Pull>,
    /// Draw whole flaps aside.
    pub flaps: Vec<Flap>,
    /// Draw the rubber off: the share of each node in the force.
    pub along: Vec<(u32, f64)>,
    /// What is held by them.
    pub hold: Hold,
}

/// The outside of the rubber on one side of a sheet, drawn by one hand that turns with it.
pub struct Flap {
    /// Its nodes, each with its share of the force.
    pub nodes: Vec<(u32, f64)>,
    /// Away from the sheet, on average, while at rest.
    outward: Vector,
    /// Greatest force, N.
    limit: f64,
    /// N for each mm that the hand is ahead.
    stiffness: f64,
}

/// How the hands pull.
pub struct Grip {
    /// Greatest force of either hand, N.
    pub force: f64,
    /// Lips are held within this distance of the edge, mm.
    pub reach: f64,
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
/// Rubber on one side of a sheet is a flap from this share of the outside on; less is a lip (common sense, no
/// source).
const LEAST_FLAP: f64 = 0.1;
/// A hand reaches its greatest force this share of the opening ahead of what it draws: stiff, so that lips and
/// flaps get there where the force allows.
const AHEAD: f64 = 0.1;

impl Hands {
    /// Take hold of a body at rest. `sheets` are those that reach the outside.
    pub fn hold(
        body: &Parted,
        weights: &[f64],
        sheets: &[&TriangleMesh],
        grip: &Grip,
    ) -> Result<Self, TrialError> {
        let solid = &body.solid;
        let outside: Vec<usize> =
            (0..solid.nodes.len()).filter(|&n| solid.skins[n] == Skin::Outside).collect();
        let is_rim = |n: usize| grip.rim.is_some_and(|(height, _)| solid.nodes[n].z <= height);
        let held: Vec<usize> = match grip.hold {
            Hold::Outside => outside.clone(),
            Hold::Rim => outside.iter().copied().filter(|&n| is_rim(n)).collect(),
        };
        let along = shares(&held, weights);
        let all: f64 = outside.iter().map(|&n| weights[n]).sum();
        // The middle of the rubber round a node tells which side of a sheet it is on.
        let mut middles = vec![(Vector::zeros(), 0.0); solid.nodes.len()];
        for (e, nodes) in solid.elements.iter().enumerate() {
            for &n in nodes {
                middles[n as usize].0 += solid.middle(e).coords;
                middles[n as usize].1 += 1.0;
            }
        }
        let lip = |group: Vec<(usize, Vector)>, force: f64| {
            let whole: f64 = group.iter().map(|&(n, _)| weights[n]).sum();
            let grasp = |&(n, direction): &(usize, Vector)| Grasp {
                node: n as u32,
                share: weights[n] / whole,
                origin: solid.nodes[n],
                direction,
            };
            let stiffness = force / (AHEAD * grip.opening).max(1e-9);
            let grasps: Vec<Grasp> = group.iter().map(grasp).collect();
            (!grasps.is_empty()).then(|| Pull::new(grasps, stiffness, 0.0, force))
        };
        let mut aside = Vec::new();
        let mut flaps = Vec::new();
        // There are two hands, however many cuts: each at one side of all of them.
        let each = Grip { force: grip.force / sheets.len().max(1) as f64, ..*grip };
        for sheet in sheets {
            let locator = SurfaceLocator::new(sheet)?;
            let (mut left, mut right) = (Vec::new(), Vec::new());
            let mut sides = [Vec::new(), Vec::new()];
            for &n in &outside {
                let (sum, count) = middles[n];
                let middle = Point::from(sum / f64::max(count, 1.0));
                let hit = locator.closest(&middle);
                let across = (middle - hit.point).dot(&hit.normal);
                let near = locator.closest(&solid.nodes[n]).distance <= grip.reach;
                if across.abs() < BESIDE * hit.distance || across == 0.0 {
                    continue;
                }
                sides[usize::from(across > 0.0)].push((n, hit.normal * across.signum()));
                if near {
                    let side = if across > 0.0 { &mut right } else { &mut left };
                    side.push((n, hit.normal * across.signum()));
                }
            }
            // One hand at either side: it holds the whole flap where there is one, else the lip.
            let halves: Vec<Flap> = match grip.rim {
                None => sides.iter().filter_map(|side| flap(side, weights, all, &each)).collect(),
                Some(_) => Vec::new(),
            };
            if halves.len() == 2 {
                flaps.extend(halves);
            } else {
                aside.extend([left, right].into_iter().filter_map(|side| lip(side, each.force)));
            }
        }
        if let Some((_, axis)) = grip.rim {
            let away = |n: usize| {
                let from = solid.nodes[n] - axis;
                Vector::new(from.x, from.y, 0.0).try_normalize(1e-9)
            };
            let rim = outside.iter().filter(|&&n| is_rim(n));
            // Two hands at either side.
            let rim: Vec<_> = rim.filter_map(|&n| away(n).map(|a| (n, a))).collect();
            let half =
                |sign: f64| rim.iter().copied().filter(move |r| r.1.x * sign > 0.0).collect();
            aside.extend([1.0, -1.0].into_iter().filter_map(|sign| lip(half(sign), grip.force)));
        }
        Ok(Self { aside, flaps, along, hold: grip.hold })
    }

    /// Whether there is anything to draw aside.
    pub fn open_nothing(&self) -> bool {
        self.aside.is_empty() && self.flaps.is_empty()
    }
}

/// Each node with its share of the whole.
fn shares(nodes: &[usize], weights: &[f64]) -> Vec<(u32, f64)> {
    let whole: f64 = nodes.iter().map(|&n| weights[n]).sum();
    nodes.iter().map(|&n| (n as u32, weights[n] / whole.max(1e-300))).collect()
}

fn flap(side: &[(usize, Vector)], weights: &[f64], all: f64, grip: &Grip) -> Option<Flap> {
    let nodes: Vec<usize> = side.iter().map(|&(n, _)| n).collect();
    let weight: f64 = nodes.iter().map(|&n| weights[n]).sum();
    let outward: Vector = side.iter().map(|&(n, away)| away * weights[n]).sum();
    let outward = outward.try_normalize(1e-9 * weight)?;
    let limit = grip.force;
    let stiffness = limit / (AHEAD * grip.opening).max(1e-9);
    (weight >= LEAST_FLAP * all).then(|| Flap {
        nodes: shares(&nodes, weights),
        outward,
        limit,
        stiffness,
    })
}

impl Flap {
    /// How far the hand is ahead when it draws with `force` N, mm.
    pub fn lag(&self, force: f64) -> f64 {
        force / self.stiffness
    }

    /// A pull away from where the flap is now, along its outward direction turned with it; the hand is `ahead`
    /// mm.
    pub fn pull(&self, rest: &[Point], x: &[Point], ahead: f64) -> Pull {
        let direction = self.turned(rest, x);
        let grasps = Grasp::all(&self.nodes, x, direction);
        Pull::new(grasps, self.stiffness, ahead, self.limit)
    }

    /// The outward direction, turned as the flap has turned: the rotation that fits its nodes best (Kabsch 1976,
    /// Acta Crystallographica A 32:922).
    fn turned(&self, rest: &[Point], x: &[Point]) -> Vector {
        let middle = |of: &[Point]| -> Vector {
            self.nodes.iter().map(|&(n, share)| of[n as usize].coords * share).sum()
        };
        let (from, to) = (middle(rest), middle(x));
        let mut moment = Matrix3::zeros();
        for &(n, share) in &self.nodes {
            let (p, q) = (rest[n as usize].coords - from, x[n as usize].coords - to);
            moment += q * p.transpose() * share;
        }
        let svd = moment.svd(true, true);
        let (Some(u), Some(v)) = (svd.u, svd.v_t) else { return self.outward };
        let mut last = Matrix3::identity();
        last[(2, 2)] = (u * v).determinant().signum();
        u * last * v * self.outward
    }
}
