//! Contact between the rubber's nodes: points on its surface that cannot enter the obstacle either.
//!
//! Nodes alone let a ridge of the model poke between them. Middles of faces and of their edges are kept
//! out too: where one is in the obstacle, the nodes round it are moved out together, and stopped from
//! going farther in. Each step takes half of the depth away, since neighbouring points move the same nodes;
//! a steady force on a point is then met at a depth of next to nothing. What moves them does not speed
//! them up: points would bounce off the obstacle and press on it far too hard.
//!
//! Flat faces round a smooth bulge rightly lie a little inside it: a ring of five edges whose corners are
//! on a rod is 6 % too short, one whose middles are kept out of it 24 % too long. So a point may go a share
//! of the length of its edges deep. What is kept out are ridges and limbs that are finer than the elements.

use rayon::prelude::*;

use super::contact::Obstacle;
use super::cores::{Core, FREE_DEPTH};
use super::crossed::Crossed;
use super::elastic::CHUNK;
use super::feel::{Feel, PLANE_REACH};
use super::solid::longest_edge;
use crate::mesh::{Point, Vector};

/// Share of the depth that one step takes away.
pub(super) const PUSH: f64 = 0.5;

/// What nodes are asked to do by a point that is too deep.
#[derive(Clone, Copy, Default)]
pub(super) struct Push {
    /// To move out, mm.
    pub out: Vector,
    /// To change their stride by, so that it does not lead farther in, mm.
    pub stop: Vector,
}

/// One point: the middle of two nodes or three.
#[derive(Clone, Copy, Debug)]
struct Spot {
    nodes: [u32; 3],
    count: u32,
    /// Depth that does not count, mm: what is free, or more where the point lies deeper at rest.
    allowed: f64,
    feel: Feel,
    /// It cannot be too deep before some node has travelled farther than this, mm, as [`Faces::travelled`]
    /// counts.
    far_until: f64,
}

impl Spot {
    fn nodes(&self) -> &[u32] {
        &self.nodes[..self.count as usize]
    }

    /// Length of the longest edge between its nodes, mm.
    fn size(&self, x: &[Point]) -> f64 {
        longest_edge(&self.nodes.map(|n| x[n as usize]))
    }

    fn at(&self, x: &[Point]) -> Point {
        let sum: Vector = self.nodes().iter().map(|&n| x[n as usize].coords).sum();
        Point::from(sum / f64::from(self.count))
    }

    fn push(
        &mut self,
        x: &[Point],
        strides: &[Vector],
        obstacle: &dyn Obstacle,
        spacing: f64,
        travelled: f64,
    ) -> Push {
        let at = self.at(x);
        let moved = (at - self.feel.at).norm();
        if self.feel.distance + self.allowed > moved {
            self.far_until = travelled + self.feel.distance + self.allowed - moved;
            return Push::default();
        }
        if moved > PLANE_REACH * spacing {
            self.feel.look(obstacle, &at);
        }
        let depth = -(self.feel.distance_of(&at) + self.allowed);
        if depth <= 0.0 {
            return Push::default();
        }
        let normal = self.feel.normal;
        let stride: Vector = self.nodes().iter().map(|&n| strides[n as usize]).sum();
        let inward = -stride.dot(&normal) / f64::from(self.count);
        Push { out: normal * (PUSH * depth), stop: normal * inward.max(0.0) }
    }
}

/// Points between the nodes of a surface.
#[derive(Default)]
pub(super) struct Faces {
    spots: Vec<Spot>,
    crossed: Crossed,
    /// The most that points round each node ask of it.
    pushes: Vec<Push>,
    /// Nodes that are asked.
    asked: Vec<u32>,
    /// The greatest way that a node can have gone since the start, mm: no point went farther.
    travelled: f64,
}

impl Faces {
    /// Points of a surface at rest at `x`, in elements of the size `spacing`, mm, which keeps off an obstacle's cores besides.
    pub fn new(
        surface: &[[u32; 3]],
        x: &[Point],
        obstacle: &dyn Obstacle,
        cores: &[Core],
        spacing: f64,
    ) -> Self {
        let mut edges: Vec<[u32; 2]> = surface
            .iter()
            .flat_map(|&[a, b, c]| [[a, b], [b, c], [c, a]])
            .map(|[a, b]| [a.min(b), a.max(b)])
            .collect();
        edges.sort_unstable();
        edges.dedup();
        let places = surface.iter().map(|&f| (f, 3));
        let places = places.chain(edges.iter().map(|&[a, b]| ([a, b, b], 2)));
        let mut spots: Vec<Spot> = places
            .map(|(nodes, count)| Spot {
                nodes,
                count,
                allowed: 0.0,
                feel: Feel::unknown(),
                far_until: 0.0,
            })
            .collect();
        spots.par_iter_mut().with_min_len(CHUNK).for_each(|spot| {
            let at = spot.at(x);
            spot.feel.look(obstacle, &at);
            spot.allowed = (-spot.feel.distance).max(FREE_DEPTH * spot.size(x));
        });
        let pushes = vec![Push::default(); x.len()];
        let crossed = Crossed::new(surface, cores, spacing);
        Self { spots, crossed, pushes, asked: Vec::new(), travelled: 0.0 }
    }

    /// Nodes are elsewhere than the last strides have led them.
    pub fn forget_ways(&mut self) {
        for spot in &mut self.spots {
            spot.far_until = self.travelled;
        }
    }

    /// Look where the points are, with nodes no farther than `longest` mm from where they were at the last
    /// look.
    pub fn feel(
        &mut self,
        x: &[Point],
        strides: &[Vector],
        obstacle: &dyn Obstacle,
        spacing: f64,
        longest: f64,
    ) {
        self.travelled += longest;
        let travelled = self.travelled;
        let asking: Vec<Vec<(u32, Push)>> = self
            .spots
            .par_chunks_mut(CHUNK)
            .enumerate()
            .map(|(chunk, spots)| {
                let mut asking = Vec::new();
                for (k, spot) in spots.iter_mut().enumerate() {
                    if spot.far_until > travelled {
                        continue;
                    }
                    let push = spot.push(x, strides, obstacle, spacing, travelled);
                    if push.out != Vector::zeros() || push.stop != Vector::zeros() {
                        asking.push(((chunk * CHUNK + k) as u32, push));
                    }
                }
                asking
            })
            .collect();
        let crossing = self.crossed.ask(x, strides);
        for n in self.asked.drain(..) {
            self.pushes[n as usize] = Push::default();
        }
        let larger = |a: Vector, b: Vector| if b.norm_squared() > a.norm_squared() { b } else { a };
        let mut ask = |nodes: &[u32], push: Push| {
            for &n in nodes {
                let most = &mut self.pushes[n as usize];
                most.out = larger(most.out, push.out);
                most.stop = larger(most.stop, push.stop);
                self.asked.push(n);
            }
        };
        for (k, push) in asking.into_iter().flatten() {
            ask(self.spots[k as usize].nodes(), push);
        }
        for (nodes, push) in crossing {
            ask(&nodes, push);
        }
    }

    /// The most that points round a node ask of it.
    pub fn push(&self, node: usize) -> Push {
        self.pushes.get(node).copied().unwrap_or_default()
    }
}
