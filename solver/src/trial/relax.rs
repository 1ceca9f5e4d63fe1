//! From one state of rest to the next, by dynamic relaxation.
//!
//! Masses are made up so that every node may take the longest stable step (Underwood 1983, "Dynamic
//! relaxation", in Computational Methods for Transient Analysis; from memory). Damping dies away as 3 over the
//! number of steps, and begins anew, from rest, whenever forces work against the motion (O'Donoghue & Candes
//! 2015, "Adaptive restart for accelerated gradient schemes", Foundations of Computational Mathematics
//! 15:715): so a slow drift of the whole gathers speed, whatever its frequency.
//! There is no matrix and nothing to tune, and contact with friction is part of every step: a node
//! that would enter an obstacle is put back on it, and the force that took limits what friction may
//! take off its sliding (Coulomb; forward increment Lagrange multipliers, Carpenter, Taylor & Katona
//! 1991, International Journal for Numerical Methods in Engineering 32:103).

use rayon::prelude::*;

use super::contact::Obstacle;
use super::cores::Core;
use super::elastic::{CHUNK, Elastic, Workspace};
use super::faces::Faces;
use super::feel::{Feel, put_back, rubbed};
use super::pull::{Effort, Pull};
use crate::control::{Cancelled, Control};
use crate::mesh::{Point, Vector};

/// The masses allow for a highest frequency greater than the one found by the root of this factor: the
/// power method comes from below, and stiffness changes within a relaxation.
const MARGIN: f64 = 1.5;
/// Rounds of the power method at the start, and before each later relaxation.
const POWER_ROUNDS: (usize, usize) = (40, 8);
/// Steps between two looks at the stiffness of the stretched rubber.
const STIFFEN_EVERY: usize = 20;
/// The bound of the stiffness is never taken for more than this many times too great.
const LEAST_SHARE: f64 = 0.05;
/// Rayleigh's quotient, as frequency squared, from which the fastest oscillations are at work; steps
/// are unstable from 4.
const NEAR_UNSTABLE: f64 = 2.8;
/// No node moves farther in one step than this share of the spacing.
const LONGEST_STEP: f64 = 0.2;
/// Share of the hands' force that may be missing from the balance of the whole.
const BALANCE: f64 = 0.05;
/// At rest nodes have no farther to go on average than this share of the spacing. The balance of forces alone does
/// not tell: what bends easily creeps on under forces that are next to nothing.
const CREEP: f64 = 0.02;
/// Steps between two looks at how far nodes go: long enough that a slow drift of the whole shows.
const WATCH_EVERY: usize = 50;
/// Steps between two looks at the cancel flag and the residual.
const LOOK_EVERY: usize = 10;
/// Steps over which hands go from where they were to where they are wanted. All at once, they would first
/// throw the rubber against the obstacle with several times the force that it takes in the end.
const REACH_STEPS: usize = 100;
/// What one step counts for in the average of forces over the last steps. Nodes that chatter on an edge of the
/// obstacle between two of its faces are at rest on average.
const LATEST: f64 = 0.05;

/// Sums over nodes.
#[derive(Clone, Copy, Default)]
struct Sums {
    /// Work that the change of force took off the stride, N mm.
    stiff: f64,
    /// Mass times stride squared.
    kinetic: f64,
    residual: f64,
    /// Work of all forces over the last stride, N mm.
    power: f64,
    load: f64,
    /// All that is applied, by obstacle and hands, and the hands' part of it.
    applied: Vector,
    pulled: Vector,
    /// Longest way that points between nodes pushed one, mm.
    pushed: f64,
}

/// How a relaxation ended.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settled {
    /// Steps taken.
    pub steps: usize,
    /// Unbalanced force over applied force, both as root of the sum of squares.
    pub residual: f64,
    /// Whether the body as a whole is in balance as asked.
    pub balanced: bool,
}

/// A body on its way to rest.
pub struct Relaxation<'a> {
    elastic: &'a Elastic,
    work: Workspace,
    /// Positions, mm.
    pub x: Vec<Point>,
    /// Stride of the last step, mm: the time of a step is 1.
    velocity: Vec<Vector>,
    /// Forces but for the obstacle's in the last step, N.
    forces: Vec<Vector>,
    /// Highest eigenvalue of the stiffness over its bound.
    share: f64,
    mass: Vec<f64>,
    /// Which coordinates of a node are held where they are.
    pub held: Vec<[bool; 3]>,
    feels: Vec<Option<Feel>>,
    faces: Faces,
    /// Longest way that these pushed a node in the last step, mm.
    pushed: f64,
    /// Force of the hands on every node in the last step, N.
    pulled: Vec<Vector>,
    /// The share of its stride that each node was let go in the last step: what stops the rest is no force of the obstacle.
    let_go: Vec<f64>,
    /// Force of the obstacle and of what holds it, on every node, N.
    pub reactions: Vec<Vector>,
    pulls: Vec<Pull>,
    /// By which grasp of which pull nodes are held, in the order of the nodes, and where each node's begin.
    grasps: Vec<(u32, u32)>,
    grasp_starts: Vec<u32>,
    /// Target of each pull before the last change.
    targets_before: Vec<f64>,
    /// The way that each node is carried along while the hands go to where they are wanted, mm; empty where none is.
    carried: Vec<Vector>,
    /// Where nodes were when it was last looked at how far they go.
    watched: Vec<Point>,
    /// How far nodes went over the last [`WATCH_EVERY`] steps, as root of the mean square, mm.
    went: f64,
    /// How far they have still to go, as their last ways let expect, mm.
    creep: f64,
    /// Net force on each node, averaged over the last steps, N.
    net: Vec<Vector>,
    /// Shape of the fastest oscillation, from the power method.
    fastest: Vec<Vector>,
    spacing: f64,
    /// Applied force, as root of the sum of squares over nodes, below which nothing matters, N.
    pub least_load: f64,
    /// Direction along which the body as a whole must be in balance before it counts as settled, and
    /// the greatest force, N, that may be missing. A slow drift of the whole is next to nothing at any one
    /// node.
    pub balance: Option<(Vector, f64)>,
}

impl<'a> Relaxation<'a> {
    /// A body at rest at `x`. `spacing` (mm) is the size of its elements; nodes named in `surface`
    /// can touch the obstacle.
    pub fn new(elastic: &'a Elastic, x: Vec<Point>, surface: &[u32], spacing: f64) -> Self {
        let count = x.len();
        let mut feels = vec![None; count];
        for &n in surface {
            feels[n as usize] = Some(Feel::unknown());
        }
        // Any vector with a share of the fastest oscillation will do: neighbours against each other.
        let fastest = (0..count)
            .map(|n| {
                let bits = (n as u64 + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
                let unit = |shift: u64| ((bits >> shift) & 0xffff) as f64 / 32768.0 - 1.0;
                Vector::new(unit(8), unit(24), unit(40))
            })
            .collect();
        let mut new = Self {
            elastic,
            work: Workspace::default(),
            velocity: vec![Vector::zeros(); count],
            forces: vec![Vector::zeros(); count],
            share: 0.0,
            mass: vec![1.0; count],
            held: vec![[false; 3]; count],
            feels,
            faces: Faces::default(),
            pushed: 0.0,
            pulled: vec![Vector::zeros(); count],
            let_go: vec![1.0; count],
            reactions: vec![Vector::zeros(); count],
            pulls: Vec::new(),
            grasps: Vec::new(),
            grasp_starts: vec![0; count + 1],
            targets_before: Vec::new(),
            net: vec![Vector::zeros(); count],
            carried: Vec::new(),
            watched: Vec::new(),
            went: f64::INFINITY,
            creep: f64::INFINITY,
            fastest,
            spacing,
            least_load: 0.0,
            balance: None,
            x,
        };
        new.tune(POWER_ROUNDS.0);
        new
    }

    /// Pulls, from now on. The next relaxation begins where the pulls before them, if they were as many, had their
    /// targets, else with slack springs.
    pub fn set_pulls(&mut self, pulls: Vec<Pull>) {
        self.targets_before = if self.pulls.len() == pulls.len() {
            self.pulls.iter().map(|p| p.target).collect()
        } else {
            vec![0.0; pulls.len()]
        };
        let mut grasps: Vec<(u32, u32, u32)> = Vec::new();
        for (pull, k) in pulls.iter().zip(0u32..) {
            grasps.extend(pull.grasps.iter().zip(0u32..).map(|(grasp, g)| (grasp.node, k, g)));
        }
        grasps.sort_unstable();
        let mut starts = vec![0u32; self.x.len() + 1];
        for &(node, ..) in &grasps {
            starts[node as usize + 1] += 1;
        }
        for n in 1..starts.len() {
            starts[n] += starts[n - 1];
        }
        self.grasps = grasps.into_iter().map(|(_, pull, grasp)| (pull, grasp)).collect();
        (self.pulls, self.grasp_starts) = (pulls, starts);
    }

    /// Pulls, from now on, each with the target from which the next relaxation begins.
    pub fn set_pulls_from(&mut self, pulls: Vec<(Pull, f64)>) {
        let (pulls, before) = pulls.into_iter().unzip();
        self.set_pulls(pulls);
        self.targets_before = before;
    }

    /// Pulls.
    pub fn pulls(&self) -> &[Pull] {
        &self.pulls
    }

    /// Carry the nodes along by these ways, mm, while the hands go to where they are wanted next: rubber that goes on as it
    /// went is nearly at rest when they arrive. The obstacle stops them as it does all else.
    pub fn carry(&mut self, ways: Vec<Vector>) {
        debug_assert_eq!(ways.len(), self.x.len());
        self.carried = ways;
    }

    /// Keep middles of faces and of their edges out of the obstacle too, but for a little, or
    /// as far as they are out of it now, and whole faces out of its cores.
    pub(super) fn guard(&mut self, surface: &[[u32; 3]], obstacle: &dyn Obstacle, cores: &[Core]) {
        self.faces = Faces::new(surface, &self.x, obstacle, cores, self.spacing);
    }

    /// How far the bound of the stiffness is from the truth, by the power method.
    fn tune(&mut self, rounds: usize) {
        let bound = self.elastic.stiffness(&self.x, &mut self.work);
        let step = 1e-5 * self.spacing;
        let mut highest: f64 = 0.0;
        for _ in 0..rounds {
            let largest = self.fastest.iter().map(|w| w.norm()).fold(0.0, f64::max);
            if largest <= 0.0 {
                break;
            }
            let scale = step / largest;
            let shifted = |sign: f64| -> Vec<Point> {
                self.x.iter().zip(&self.fastest).map(|(x, w)| x + w * (sign * scale)).collect()
            };
            let (ahead, behind) = (shifted(1.0), shifted(-1.0));
            let ahead = self.elastic.forces(&ahead, &mut self.work);
            let behind = self.elastic.forces(&behind, &mut self.work);
            let (mut above, mut below) = (0.0, 0.0);
            for (n, w) in self.fastest.iter_mut().enumerate() {
                let pull = (behind[n] - ahead[n]) / (2.0 * scale);
                above += w.dot(&pull);
                below += w.norm_squared() * bound[n];
                *w = if bound[n] > 0.0 { pull / bound[n] } else { Vector::zeros() };
            }
            highest = highest.max(above / below);
        }
        // It changes little from state to state; a chance low estimate must not lighten the nodes.
        self.share = highest.max(LEAST_SHARE).max(0.9 * self.share);
        self.weigh(&bound);
    }

    /// Masses for the stiffness as it is now.
    fn stiffen(&mut self) {
        let bound = self.elastic.stiffness(&self.x, &mut self.work);
        self.weigh(&bound);
    }

    fn weigh(&mut self, bound: &[f64]) {
        // A step of 1 is stable while the highest frequency is below 2.
        let factor = MARGIN * self.share / 4.0;
        for (n, mass) in self.mass.iter_mut().enumerate() {
            let held = self.grasp_starts[n] as usize..self.grasp_starts[n + 1] as usize;
            let stiffness = |&(pull, grasp): &(u32, u32)| {
                let pull = &self.pulls[pull as usize];
                pull.stiffness * pull.grasps[grasp as usize].share
            };
            let springs: f64 = self.grasps[held].iter().map(stiffness).sum();
            *mass = (bound[n] * factor + springs).max(1e-12);
        }
    }

    /// One step of all nodes: central differences with a damping force of `damping` times mass times
    /// velocity.
    fn step(
        &mut self,
        obstacle: Option<&dyn Obstacle>,
        friction: f64,
        damping: f64,
        reached: f64,
    ) -> Sums {
        self.elastic.load(&self.x, &mut self.work);
        let (elastic, work, mass, held) = (self.elastic, &self.work, &self.mass, &self.held);
        let (pulls, grasps, starts) = (&self.pulls, &self.grasps, &self.grasp_starts);
        let spacing = self.spacing;
        let is_carried = !self.carried.is_empty() && reached < 1.0;
        let carried = &self.carried;
        let efforts: Vec<Effort> = pulls
            .iter()
            .zip(&self.targets_before)
            .map(|(pull, from)| pull.effort(from + (pull.target - from) * reached, &self.x))
            .collect();
        // What a force of 1 N adds to the stride.
        let yields = |n: usize| 2.0 / ((2.0 + damping) * mass[n]);
        let swings: Vec<(f64, f64, f64)> = self
            .x
            .par_chunks_mut(CHUNK)
            .zip(self.velocity.par_chunks_mut(CHUNK))
            .zip(self.reactions.par_chunks_mut(CHUNK))
            .zip(self.feels.par_chunks_mut(CHUNK))
            .zip(self.forces.par_chunks_mut(CHUNK))
            .zip(self.pulled.par_chunks_mut(CHUNK))
            .zip(self.let_go.par_chunks_mut(CHUNK))
            .enumerate()
            .map(|(chunk, ((((((x, velocity), reactions), feels), forces), pulled), let_go))| {
                let (mut stiff, mut kinetic, mut longest) = (0.0, 0.0, 0.0f64);
                for k in 0..x.len() {
                    let n = chunk * CHUNK + k;
                    pulled[k] = Vector::zeros();
                    for &(p, g) in &grasps[starts[n] as usize..starts[n + 1] as usize] {
                        pulled[k] += pulls[p as usize].on(g as usize, &efforts[p as usize]);
                    }
                    let mut force = elastic.node_force(n, work) + pulled[k];
                    let mut reaction = Vector::zeros();
                    for axis in (0..3).filter(|&a| held[n][a]) {
                        reaction[axis] = -force[axis];
                        force[axis] = 0.0;
                    }
                    let before = velocity[k];
                    stiff += before.dot(&(forces[k] - force));
                    kinetic += mass[n] * before.norm_squared();
                    forces[k] = force;
                    let kept = (2.0 - damping) / (2.0 + damping);
                    let mut stride = before * kept + force * yields(n);
                    let_go[k] = (LONGEST_STEP * spacing / stride.norm()).min(1.0);
                    stride *= let_go[k];
                    let along =
                        if is_carried { carried[n] / REACH_STEPS as f64 } else { Vector::zeros() };
                    stride += along;
                    if let (Some(obstacle), Some(feel)) = (obstacle, feels[k].as_mut()) {
                        let back = put_back(feel, obstacle, &x[k], &stride, friction, spacing);
                        stride += back;
                        // The obstacle stops all of the force, of which a short stride shows a share only.
                        reaction += back / (yields(n) * let_go[k]);
                    }
                    longest = longest.max(stride.norm_squared());
                    x[k] += stride;
                    velocity[k] = stride - along;
                    reactions[k] = reaction;
                }
                (stiff, kinetic, longest)
            })
            .collect();
        if let Some(obstacle) = obstacle {
            let longest = swings.iter().map(|s| s.2).fold(0.0, f64::max).sqrt() + self.pushed;
            self.faces.feel(&self.x, &self.velocity, obstacle, spacing, longest);
        }
        let (faces, forces, pulled) = (&self.faces, &self.forces, &self.pulled);
        let let_go = &self.let_go;
        let sums: Vec<Sums> = self
            .x
            .par_chunks_mut(CHUNK)
            .zip(self.velocity.par_chunks_mut(CHUNK))
            .zip(self.reactions.par_chunks_mut(CHUNK))
            .zip(self.net.par_chunks_mut(CHUNK))
            .enumerate()
            .map(|(chunk, (((x, velocity), reactions), averages))| {
                let mut sums = Sums::default();
                for k in 0..x.len() {
                    let n = chunk * CHUNK + k;
                    let push = faces.push(n);
                    x[k] += push.out;
                    sums.pushed = sums.pushed.max(push.out.norm_squared());
                    if push.stop.norm_squared() > 0.0 {
                        let back = rubbed(push.stop, &velocity[k], friction);
                        velocity[k] += back;
                        reactions[k] += back / (yields(n) * let_go[n]);
                    }
                    let mut net = forces[n] + reactions[k];
                    for axis in (0..3).filter(|&a| held[n][a]) {
                        net[axis] = 0.0;
                    }
                    let applied = reactions[k] + pulled[n];
                    averages[k] += (net - averages[k]) * LATEST;
                    sums.residual += averages[k].norm_squared();
                    // What chatters on the obstacle has far more power than the drift of the whole.
                    if reactions[k] == Vector::zeros() {
                        sums.power += net.dot(&velocity[k]);
                    }
                    sums.load += applied.norm_squared();
                    sums.applied += applied;
                    sums.pulled += pulled[n];
                }
                sums
            })
            .collect();
        // In order, so that the result does not depend on threads.
        let (stiff, kinetic) = swings.into_iter().fold((0.0, 0.0), |a, b| (a.0 + b.0, a.1 + b.1));
        let sums = sums.into_iter().fold(Sums { stiff, kinetic, ..Sums::default() }, |a, b| Sums {
            residual: a.residual + b.residual,
            power: a.power + b.power,
            load: a.load + b.load,
            applied: a.applied + b.applied,
            pulled: a.pulled + b.pulled,
            pushed: a.pushed.max(b.pushed),
            ..a
        });
        self.pushed = sums.pushed.sqrt();
        sums
    }

    /// How far nodes went since they were last looked at, and have still to go. Those that touch the obstacle are left out: they chatter.
    fn watch(&mut self) {
        if self.watched.len() == self.x.len() {
            let free = (0..self.x.len()).filter(|&n| self.reactions[n] == Vector::zeros());
            let square: f64 = free.map(|n| (self.x[n] - self.watched[n]).norm_squared()).sum();
            let went = (square / self.x.len() as f64).sqrt();
            // As a geometric series goes on, and no less than it went.
            let slower = (self.went - went).max(0.0);
            self.creep = went.max(went * went / slower.max(1e-300));
            self.went = went;
        }
        self.watched.clone_from(&self.x);
    }

    /// The hands are where they were wanted.
    fn arrive(&mut self) {
        self.targets_before = self.pulls.iter().map(|p| p.target).collect();
        self.carried.clear();
    }

    /// Let the body come to rest: until the unbalanced force is below `tolerance` of what is
    /// applied, or for `most` steps.
    pub fn settle(
        &mut self,
        obstacle: Option<&dyn Obstacle>,
        friction: f64,
        tolerance: f64,
        most: usize,
        control: &Control<'_>,
    ) -> Result<Settled, Cancelled> {
        self.tune(POWER_ROUNDS.1);
        self.velocity.fill(Vector::zeros());
        self.net.fill(Vector::zeros());
        let least = if self.targets_before.is_empty() { 0 } else { REACH_STEPS };
        let (mut applied, mut pulled) = (Vector::zeros(), Vector::zeros());
        self.faces.forget_ways();
        // Steps since the body was last held still.
        let mut under_way = 1;
        self.watched.clone_from(&self.x);
        (self.went, self.creep) = (f64::INFINITY, f64::INFINITY);
        let mut residual = f64::INFINITY;
        let mut balanced = false;
        for step in 1..=most {
            if step % STIFFEN_EVERY == 0 {
                self.stiffen();
            }
            let reached = (step as f64 / REACH_STEPS as f64).min(1.0);
            // The stride keeps n / (n + 3) of the one before.
            let damping = 6.0 / (2 * under_way + 3) as f64;
            let sums = self.step(obstacle, friction, damping, reached);
            applied += (sums.applied - applied) * LATEST;
            pulled += (sums.pulled - pulled) * LATEST;
            if sums.stiff > NEAR_UNSTABLE * sums.kinetic && self.share < 1.0 {
                // Stretched rubber oscillates faster than the masses allow for. At a share of 1 they
                // allow for anything.
                self.share = (1.25 * self.share).min(1.0);
                self.stiffen();
                self.velocity.fill(Vector::zeros());
                under_way = 0;
            } else if sums.power < 0.0 {
                self.velocity.fill(Vector::zeros());
                under_way = 0;
            }
            under_way += 1;
            if step % WATCH_EVERY == 0 {
                self.watch();
            }
            if step % LOOK_EVERY == 0 || step == most {
                control.check()?;
                let load = sums.load.sqrt().max(self.least_load);
                residual = if load > 0.0 { sums.residual.sqrt() / load } else { 0.0 };
                balanced = self.balance.is_none_or(|(along, least)| {
                    let missing = applied.dot(&along).abs();
                    missing <= (BALANCE * pulled.dot(&along).abs()).max(least)
                });
                let rests = residual < tolerance && balanced && self.creep <= CREEP * self.spacing;
                if step >= least && rests {
                    self.arrive();
                    return Ok(Settled { steps: step, residual, balanced });
                }
            }
        }
        self.arrive();
        Ok(Settled { steps: most, residual, balanced })
    }
}
