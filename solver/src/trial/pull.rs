//! A hand's pull on a group of nodes.
//!
//! A hand that has hold of much rubber forces no shape on it: its force is shared out evenly, and how far it has
//! come is the mean over what it holds. A spring at every node would hold a flap straight that wants to swing, and
//! pull most where the flap is fast. A hand that carries rubber along keeps it level besides: a mean tilt of
//! what it holds is met by a couple, any other change of shape is not.

use crate::mesh::{Point, Vector, square_to};

/// One node that a hand holds.
#[derive(Clone, Copy, Debug)]
pub struct Grasp {
    /// The node.
    pub node: u32,
    /// Share of the hand's force; shares of a hand add up to 1.
    pub share: f64,
    /// Where the node was when its displacement was 0, mm.
    pub origin: Point,
    /// Unit direction of the force on it.
    pub direction: Vector,
}

/// A spring with a limit between a hand and the mean displacement of what it holds.
#[derive(Clone, Debug)]
pub struct Pull {
    /// What it holds.
    pub grasps: Vec<Grasp>,
    /// N/mm.
    pub stiffness: f64,
    /// Mean displacement along the directions at which the spring is slack, mm.
    pub target: f64,
    /// Greatest force, N.
    pub limit: f64,
    /// For each grasp of a hand that keeps level, how far it lies off the middle, along two axes: of mean 0, of
    /// mean square 1, and without a mean product. Empty for a hand that does not.
    levers: Vec<[f64; 2]>,
}

/// What a hand does at an instant: its force, N, and its couples by their levers.
pub(super) type Effort = [f64; 3];

impl Pull {
    /// A hand with even force.
    pub fn new(grasps: Vec<Grasp>, stiffness: f64, target: f64, limit: f64) -> Self {
        Self { grasps, stiffness, target, limit, levers: Vec::new() }
    }

    /// A hand that holds one node.
    pub fn on_node(
        node: u32,
        origin: Point,
        direction: Vector,
        stiffness: f64,
        target: f64,
        limit: f64,
    ) -> Self {
        Self::new(vec![Grasp { node, share: 1.0, origin, direction }], stiffness, target, limit)
    }

    /// The same, which keeps what it holds level across `direction`.
    pub fn level(mut self, direction: &Vector) -> Self {
        let first = square_to(direction);
        let second = direction.cross(&first);
        let mut levers: Vec<[f64; 2]> = self
            .grasps
            .iter()
            .map(|g| [g.origin.coords.dot(&first), g.origin.coords.dot(&second)])
            .collect();
        let shares: Vec<f64> = self.grasps.iter().map(|g| g.share).collect();
        let mean = |levers: &[[f64; 2]], of: &dyn Fn(&[f64; 2]) -> f64| -> f64 {
            levers.iter().zip(&shares).map(|(l, share)| share * of(l)).sum()
        };
        for axis in 0..2 {
            let middle = mean(&levers, &|l| l[axis]);
            levers.iter_mut().for_each(|l| l[axis] -= middle);
            if axis == 1 {
                let common = mean(&levers, &|l| l[0] * l[1]);
                levers.iter_mut().for_each(|l| l[1] -= common * l[0]);
            }
            let size = mean(&levers, &|l| l[axis] * l[axis]).sqrt();
            // What lies on a line cannot be tilted about it.
            let scale = if size > 1e-9 { 1.0 / size } else { 0.0 };
            levers.iter_mut().for_each(|l| l[axis] *= scale);
        }
        self.levers = levers;
        self
    }

    /// The same with another target, mm.
    pub fn at(&self, target: f64) -> Self {
        Self { target, ..self.clone() }
    }

    /// How far what it holds has come along its directions, on average, mm.
    pub fn displacement(&self, x: &[Point]) -> f64 {
        self.grasps.iter().map(|g| g.share * g.gone(x)).sum()
    }

    /// Force along its directions, N.
    pub fn force(&self, x: &[Point]) -> f64 {
        self.force_to(self.target, x)
    }

    fn force_to(&self, target: f64, x: &[Point]) -> f64 {
        (self.stiffness * (target - self.displacement(x))).clamp(-self.limit, self.limit)
    }

    /// What it does while its target is `target` mm.
    pub(super) fn effort(&self, target: f64, x: &[Point]) -> Effort {
        let mut effort = [self.force_to(target, x), 0.0, 0.0];
        for (grasp, levers) in self.grasps.iter().zip(&self.levers) {
            let moment = self.stiffness * grasp.share * grasp.gone(x);
            effort[1] -= moment * levers[0];
            effort[2] -= moment * levers[1];
        }
        effort
    }

    /// Force on one of the nodes that it holds, N.
    pub(super) fn on(&self, grasp: usize, effort: &Effort) -> Vector {
        let Grasp { share, direction, .. } = self.grasps[grasp];
        let levers = self.levers.get(grasp).unwrap_or(&[0.0; 2]);
        direction * (share * (effort[0] + levers[0] * effort[1] + levers[1] * effort[2]))
    }

    /// Share of its force that goes along a direction.
    pub fn part_along(&self, direction: &Vector) -> f64 {
        self.grasps.iter().map(|g| g.share * g.direction.dot(direction)).sum()
    }
}

impl Grasp {
    /// Nodes with their shares, held where they are at `x` and drawn along one direction.
    pub fn all(nodes: &[(u32, f64)], x: &[Point], direction: Vector) -> Vec<Self> {
        let one =
            |&(node, share): &(u32, f64)| Self { node, share, origin: x[node as usize], direction };
        nodes.iter().map(one).collect()
    }

    fn gone(&self, x: &[Point]) -> f64 {
        (x[self.node as usize] - self.origin).dot(&self.direction)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn square() -> (Vec<Point>, Vec<Grasp>) {
        let points: Vec<Point> = [[0.0, 0.0], [4.0, 0.0], [4.0, 2.0], [0.0, 2.0]]
            .map(|[x, y]| Point::new(x, y, 1.0))
            .to_vec();
        let grasp = |(node, &origin): (usize, &Point)| Grasp {
            node: node as u32,
            share: 0.25,
            origin,
            direction: Vector::z(),
        };
        let grasps = points.iter().enumerate().map(grasp).collect();
        (points, grasps)
    }

    fn moved(points: &[Point], rise: impl Fn(&Point) -> f64) -> Vec<Point> {
        points.iter().map(|p| p + Vector::z() * rise(p)).collect()
    }

    #[test]
    fn an_even_hand_feels_the_mean_alone() {
        let (points, grasps) = square();
        let pull = Pull::new(grasps, 10.0, 3.0, 25.0);
        let tilted = moved(&points, |p| 1.0 + 0.1 * (p.x - 2.0));
        let effort = pull.effort(3.0, &tilted);
        assert!((effort[0] - 20.0).abs() < 1e-12);
        for k in 0..4 {
            assert!((pull.on(k, &effort) - Vector::z() * 5.0).norm() < 1e-12);
        }
        assert_eq!(pull.force(&points), 25.0, "no more than the limit");
    }

    #[test]
    fn a_level_hand_meets_a_tilt_as_springs_at_the_nodes_would_and_leaves_a_twist_alone() {
        let (points, grasps) = square();
        let pull = Pull::new(grasps, 10.0, 0.0, f64::INFINITY).level(&Vector::z());
        let tilt = |p: &Point| 0.5 + 0.1 * (p.x - 2.0) - 0.3 * (p.y - 1.0);
        let tilted = moved(&points, tilt);
        let effort = pull.effort(0.0, &tilted);
        for (k, p) in points.iter().enumerate() {
            let spring = -10.0 * 0.25 * tilt(p);
            assert!((pull.on(k, &effort) - Vector::z() * spring).norm() < 1e-12);
        }
        let twisted = moved(&points, |p| (p.x - 2.0) * (p.y - 1.0));
        let effort = pull.effort(0.0, &twisted);
        assert!(effort.iter().all(|e| e.abs() < 1e-12), "{effort:?}");
    }
}
