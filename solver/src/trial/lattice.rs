//! Tetrahedra that fill a region given by a signed distance.
//!
//! A body-centred cubic lattice whose nodes near the region's skin are moved onto it and whose other
//! elements are clipped (Labelle & Shewchuk 2007, "Isosurface stuffing", ACM Transactions on Graphics
//! 26:57), of one size throughout or refined where the region asks for it. The diagonals of clipped faces go
//! from the lower node rather than by that paper's parity rule, so its bounds on angles don't hold;
//! [`Solid::dihedral_range`] tells.

use std::collections::HashMap;

use rayon::prelude::*;

use super::refine::Refinement;
use super::solid::{Skin, Solid, signed_volume};
use super::space::Region;
use super::tets::{Tets, edges};
use crate::control::{Cancelled, Control};
use crate::mesh::{Point, Vector};

/// A node moves to a crossing nearer than this share of the edge: on edges along the axes and on
/// diagonal ones (Labelle & Shewchuk's first pair).
const NEAR: (f64, f64) = (0.24999, 0.41189);
/// The same for elements of other shapes.
const NEAR_REFINED: f64 = 0.3;
/// An element keeps at least this share of its volume when a node is moved.
const LEAST_VOLUME: f64 = 0.05;
/// Rounds of regula falsi for a crossing; levels are close to linear along an edge.
const CROSSING_ROUNDS: usize = 6;

/// The lattice: corners of cubes and their middles.
struct Lattice {
    origin: Point,
    spacing: f64,
    cubes: [usize; 3],
}

impl Lattice {
    fn corner(&self, at: [usize; 3]) -> u32 {
        let [nx, ny, _] = self.cubes;
        ((at[2] * (ny + 1) + at[1]) * (nx + 1) + at[0]) as u32
    }

    fn corner_count(&self) -> usize {
        self.cubes.iter().map(|n| n + 1).product()
    }

    fn middle(&self, at: [usize; 3]) -> u32 {
        let [nx, ny, _] = self.cubes;
        (self.corner_count() + (at[2] * ny + at[1]) * nx + at[0]) as u32
    }

    fn positions(&self) -> Vec<Point> {
        let all = |counts: [usize; 3], shift: f64| {
            let place = move |n: usize, k: usize| {
                let at = [n % counts[0], n / counts[0] % counts[1], k];
                self.origin + Vector::from(at.map(|c| c as f64 + shift)) * self.spacing
            };
            (0..counts[2])
                .flat_map(move |k| (0..counts[0] * counts[1]).map(move |n| place(n, k)))
                .collect::<Vec<_>>()
        };
        [all(self.cubes.map(|n| n + 1), 0.0), all(self.cubes, 0.5)].concat()
    }

    /// All elements: four round each edge between the middles of two cubes that share a face.
    fn elements(&self) -> Vec<[u32; 4]> {
        let mut elements = Vec::new();
        for axis in 0..3 {
            let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
            for k in 0..self.cubes[2] {
                for j in 0..self.cubes[1] {
                    for i in 0..self.cubes[0] {
                        let low = [i, j, k];
                        if low[axis] + 1 == self.cubes[axis] {
                            continue;
                        }
                        let mut high = low;
                        high[axis] += 1;
                        let ring = [[0, 0], [1, 0], [1, 1], [0, 1]].map(|[a, b]| {
                            let mut at = high;
                            at[u] += a;
                            at[v] += b;
                            self.corner(at)
                        });
                        for n in 0..4 {
                            let (a, b) = (ring[n], ring[(n + 1) % 4]);
                            elements.push([self.middle(low), self.middle(high), a, b]);
                        }
                    }
                }
            }
        }
        elements
    }
}

/// Fill a region with tetrahedra of edge `spacing` (the lattice's cubes), mm, or up to 2^`octaves` times as
/// large where the region wants no finer ones.
pub fn fill(
    region: &dyn Region,
    spacing: f64,
    octaves: u32,
    control: &Control<'_>,
) -> Result<Solid, Cancelled> {
    let coarsest = spacing * f64::from(1u32 << octaves);
    let (low, high) = region.bounds();
    let mut cubes = [0; 3];
    let mut origin = low;
    for axis in 0..3 {
        // A layer all round, and off the region's planes by an odd share, so that no lattice node
        // lies on them by chance.
        let cells = (high[axis] - low[axis]) / coarsest;
        cubes[axis] = cells.ceil() as usize + 2;
        origin[axis] -= 0.5 * (cubes[axis] as f64 - cells) * coarsest * 1.0137;
    }
    let lattice = Lattice { origin, spacing: coarsest, cubes };
    let mut positions = lattice.positions();
    let mut levels: Vec<f64> = positions
        .par_chunks(1024)
        .map(|chunk| {
            control.check()?;
            Ok(chunk.iter().map(|p| region.level(p)).collect::<Vec<_>>())
        })
        .collect::<Result<Vec<_>, Cancelled>>()?
        .concat();
    let mut elements = lattice.elements();
    if octaves > 0 {
        let mut refined = Refinement::new(region, spacing, positions, levels, elements);
        refined.run(control)?;
        (positions, levels, elements) = (refined.positions, refined.levels, refined.tets.elements);
    }
    elements.retain(|e| e.iter().any(|&n| levels[n as usize] < 0.0));
    let reach = |length: f64| match octaves {
        0 if length > 0.95 * spacing => NEAR.0,
        0 => NEAR.1,
        _ => NEAR_REFINED,
    };
    let tets = Tets::new(elements, positions.len());
    warp(region, &tets, reach, &mut positions, &mut levels);
    let cuts = crossings(region, &tets.elements, &positions, &levels);
    let mut clipper = Clipper { positions, levels, cuts, elements: Vec::new() };
    for element in &tets.elements {
        clipper.clip(element);
    }
    Ok(clipper.finish(region))
}

/// Share of the way from `a` to `b` at which the level is 0: regula falsi, Illinois variant (Dowell &
/// Jarratt 1971).
fn crossing(region: &dyn Region, a: &Point, b: &Point, levels: [f64; 2]) -> f64 {
    let (mut low, mut high) = ((0.0, levels[0]), (1.0, levels[1]));
    let mut at = 0.5;
    let mut side = 0;
    for _ in 0..CROSSING_ROUNDS {
        at = (low.0 * high.1 - high.0 * low.1) / (high.1 - low.1);
        let level = region.level(&(a + (b - a) * at));
        if level.abs() < 1e-9 * (b - a).norm() {
            break;
        }
        if (level < 0.0) == (low.1 < 0.0) {
            low = (at, level);
            high.1 *= if side == -1 { 0.5 } else { 1.0 };
            side = -1;
        } else {
            high = (at, level);
            low.1 *= if side == 1 { 0.5 } else { 1.0 };
            side = 1;
        }
    }
    at
}

/// Crossings of edges with the skin.
fn crossings(
    region: &dyn Region,
    elements: &[[u32; 4]],
    positions: &[Point],
    levels: &[f64],
) -> HashMap<[u32; 2], Point> {
    let mut edges = edges(elements);
    edges.retain(|&[a, b]| levels[a as usize] * levels[b as usize] < 0.0);
    edges
        .into_par_iter()
        .map(|[a, b]| {
            let (p, q) = (positions[a as usize], positions[b as usize]);
            let at = crossing(region, &p, &q, [levels[a as usize], levels[b as usize]]);
            ([a, b], p + (q - p) * at)
        })
        .collect()
}

/// Move nodes onto the skin where a crossing is near: each to the nearest one, in order of nodes, unless an
/// element round it would all but vanish. `reach` is the share of an edge that is near, by its length.
fn warp(
    region: &dyn Region,
    tets: &Tets,
    reach: impl Fn(f64) -> f64,
    positions: &mut [Point],
    levels: &mut [f64],
) {
    let cuts = crossings(region, &tets.elements, positions, levels);
    let mut near: Vec<(u32, f64, [u32; 2])> = Vec::new();
    for (&[a, b], cut) in &cuts {
        let length = (positions[b as usize] - positions[a as usize]).norm();
        for n in [a, b] {
            let share = (cut - positions[n as usize]).norm() / length;
            if share < reach(length) {
                near.push((n, share, [a, b]));
            }
        }
    }
    near.sort_by(|p, q| (p.0.cmp(&q.0)).then(p.1.total_cmp(&q.1)).then(p.2.cmp(&q.2)));
    for (n, _, edge) in near {
        let at = n as usize;
        // A crossing whose other end has moved onto the skin is gone.
        if levels[at] == 0.0 || edge.iter().any(|&m| levels[m as usize] == 0.0) {
            continue;
        }
        if tets.move_node(positions, n, cuts[&edge], LEAST_VOLUME) {
            levels[at] = 0.0;
        }
    }
}

/// Clips elements at the skin and numbers the nodes that are left.
struct Clipper {
    positions: Vec<Point>,
    levels: Vec<f64>,
    cuts: HashMap<[u32; 2], Point>,
    elements: Vec<[Place; 4]>,
}

/// A node of the clipped body: a lattice node or a crossing, until nodes are numbered.
type Place = [u32; 2];

impl Clipper {
    fn at(&self, place: Place) -> Point {
        let [a, b] = place;
        if a == b { self.positions[a as usize] } else { self.cuts[&place] }
    }

    fn clip(&mut self, element: &[u32; 4]) {
        let level = |n: &u32| self.levels[*n as usize];
        let mut inside: Vec<u32> = element.iter().copied().filter(|n| level(n) < 0.0).collect();
        let on: Vec<u32> = element.iter().copied().filter(|n| level(n) == 0.0).collect();
        let out: Vec<u32> = element.iter().copied().filter(|n| level(n) > 0.0).collect();
        // Diagonals go from the lower node, so that both elements of a face choose alike.
        inside.sort_unstable();
        let node = |n: u32| [n, n];
        let cut = |a: u32, b: u32| [a.min(b), a.max(b)];
        match (inside.as_slice(), on.as_slice(), out.as_slice()) {
            ([], ..) => {}
            (_, _, []) => self.push(element.map(node)),
            (&[a], &[], &[o, p, q]) => self.push([node(a), cut(a, o), cut(a, p), cut(a, q)]),
            (&[a], &[z], &[o, p]) => self.push([node(a), node(z), cut(a, o), cut(a, p)]),
            (&[a], &[y, z], &[o]) => self.push([node(a), node(y), node(z), cut(a, o)]),
            (&[a, b], &[], &[o, p]) => {
                self.prism([node(a), cut(a, o), cut(a, p)], [node(b), cut(b, o), cut(b, p)]);
            }
            (&[a, b], &[z], &[o]) => {
                self.push([node(a), node(b), cut(b, o), node(z)]);
                self.push([node(a), cut(b, o), cut(a, o), node(z)]);
            }
            (&[a, b, c], _, &[o]) => {
                self.prism([node(a), node(b), node(c)], [cut(a, o), cut(b, o), cut(c, o)]);
            }
            // Four nodes have no other way to lie.
            _ => {}
        }
    }

    /// A prism between two triangles: diagonals from the first triangle's earlier nodes.
    fn prism(&mut self, [a, b, c]: [Place; 3], [d, e, f]: [Place; 3]) {
        self.push([a, b, c, f]);
        self.push([a, b, e, f]);
        self.push([a, d, e, f]);
    }

    fn push(&mut self, places: [Place; 4]) {
        let volume = signed_volume(&places.map(|p| self.at(p)));
        let [a, b, c, d] = places;
        self.elements.push(if volume < 0.0 { [a, b, d, c] } else { [a, b, c, d] });
    }

    /// Number the nodes in use, in the order of the lattice.
    fn finish(self, region: &dyn Region) -> Solid {
        let mut places: Vec<Place> = self.elements.iter().flatten().copied().collect();
        places.par_sort_unstable();
        places.dedup();
        let nodes: Vec<Point> = places.iter().map(|&p| self.at(p)).collect();
        let skins = places
            .par_iter()
            .zip(&nodes)
            .map(|(&[a, b], p)| {
                let inside = a == b && self.levels[a as usize] != 0.0;
                if inside { Skin::None } else { region.skin(p) }
            })
            .collect();
        let number = |place: &Place| places.binary_search(place).map_or(0, |n| n as u32);
        let elements = self.elements.iter().map(|e| [0, 1, 2, 3].map(|k| number(&e[k]))).collect();
        Solid { nodes, skins, elements }
    }
}
