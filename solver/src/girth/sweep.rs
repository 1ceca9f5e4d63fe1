//! The width of the best sweep of a region, started at the ring that bounds it.
//!
//! A sweep is a growing set that starts at the ring and ends with the whole region covered; its
//! frontier is where the ring of rubber lies at that moment. The girth of a frontier is the
//! length of a taut string round all its parts together, since they pass together: the perimeter
//! of the convex hull of its projection on the plane it spans best. The width of a sweep is the
//! greatest girth met on the way, and the width of the region is the least over the sweeps tried:
//! by distance from the ring, and along a set of directions.
//!
//! A sweep along a direction that points away from the ring would have to start in the middle of
//! nowhere. Here every sweep floods from the ring: a vertex is covered once the level has
//! reached it and a covered neighbour. A pocket that lies behind a rise is covered in one go when
//! the rise is passed, and all of it counts towards the girth of that moment: rubber cannot skip
//! it. So no sweep starts sideways, and none comes out too narrow.

use std::collections::BinaryHeap;

use nalgebra::Matrix3;

use super::PlanningGraph;
use super::paths::{Nearest, ways};
use crate::mesh::{Point, Vector, convex_half, turn};

/// Width (mm) of the best sweep of the region `beyond` found, started at the region's outline.
///
/// As soon as a sweep no wider than `enough` turns up its width is returned: whoever only asks
/// whether the region fits through `enough` needs no better one.
pub fn sweep_width(graph: &PlanningGraph, beyond: &[bool], enough: f64) -> f64 {
    let region = Region::new(graph, beyond);
    if region.inner.is_empty() || region.ring.is_empty() {
        return 0.0;
    }
    let mut best = f64::INFINITY;
    for direction in region.directions() {
        let value = |v: u32| graph.mesh.positions[v as usize].coords.dot(&direction);
        best = best.min(region.width_of_sweep(value, best));
        if best <= enough {
            return best;
        }
    }
    let distance = region.distance_from_ring();
    best.min(region.width_of_sweep(|v| distance[v as usize], best))
}

/// Girth (mm) of the ring round a region by itself, in the measure that widths are given in: a
/// taut string round the middles of the mesh edges across its outline.
pub fn ring_girth(graph: &PlanningGraph, beyond: &[bool]) -> f64 {
    let region = Region::new(graph, beyond);
    let middles =
        region.ring.iter().map(|&(a, b)| nalgebra::center(&region.point(a), &region.point(b)));
    girth(&middles.collect::<Vec<_>>())
}

struct Region<'a> {
    graph: &'a PlanningGraph,
    beyond: &'a [bool],
    inner: Vec<u32>,
    /// Mesh edges across the outline: (outside vertex, inside vertex).
    ring: Vec<(u32, u32)>,
}

impl<'a> Region<'a> {
    fn new(graph: &'a PlanningGraph, beyond: &'a [bool]) -> Self {
        let inner: Vec<u32> = (0..beyond.len() as u32).filter(|&v| beyond[v as usize]).collect();
        let mut ring = Vec::new();
        for &v in &inner {
            ring.extend(graph.mesh_neighbours(v).filter(|&u| !beyond[u as usize]).map(|u| (u, v)));
        }
        Self { graph, beyond, inner, ring }
    }

    fn point(&self, v: u32) -> Point {
        self.graph.mesh.positions[v as usize]
    }

    /// Where the region lies seen from its ring, the ring's own normal, the mould's up, and the
    /// corners and faces of a cube that look that way.
    fn directions(&self) -> Vec<Vector> {
        let ring_points: Vec<Point> = self
            .ring
            .iter()
            .map(|&(a, b)| nalgebra::center(&self.point(a), &self.point(b)))
            .collect();
        let ring_middle = mean(&ring_points);
        let inner_points: Vec<Point> = self.inner.iter().map(|&v| self.point(v)).collect();
        let ahead = mean(&inner_points) - ring_middle;
        let mut directions = Vec::new();
        let mut keep = |d: Vector| {
            if let Some(unit) = d.try_normalize(1e-9)
                && directions.iter().all(|other: &Vector| other.dot(&unit) < 0.97)
            {
                directions.push(unit);
            }
        };
        keep(ahead);
        let (_, _, normal) = plane_axes(&ring_points);
        keep(if normal.dot(&ahead) < 0.0 { -normal } else { normal });
        keep(Vector::z());
        for x in [-1.0, 0.0, 1.0f64] {
            for y in [-1.0, 0.0, 1.0f64] {
                for z in [-1.0, 0.0, 1.0f64] {
                    let d = Vector::new(x, y, z);
                    if x.abs() + y.abs() + z.abs() != 2.0 && d.dot(&ahead) > 0.0 {
                        keep(d);
                    }
                }
            }
        }
        directions
    }

    /// Distance of every vertex of the region from its ring, along the surface, mm.
    fn distance_from_ring(&self) -> Vec<f64> {
        let starts =
            self.ring.iter().map(|&(u, v)| (v, 0.5 * (self.point(u) - self.point(v)).norm()));
        let inside = |edge: u32, to: u32| {
            self.beyond[to as usize].then(|| self.graph.edges[edge as usize].length)
        };
        ways(self.graph, starts, inside, f64::INFINITY).distance
    }

    /// Level at which every vertex of the region is covered.
    fn flood(&self, value: &impl Fn(u32) -> f64) -> Vec<f64> {
        let mut cover = vec![f64::INFINITY; self.beyond.len()];
        let mut heap = BinaryHeap::new();
        for &(_, v) in &self.ring {
            let h = value(v);
            if h < cover[v as usize] {
                cover[v as usize] = h;
                heap.push(Nearest(h, v));
            }
        }
        while let Some(Nearest(level, v)) = heap.pop() {
            if level > cover[v as usize] {
                continue;
            }
            for to in self.graph.mesh_neighbours(v) {
                if !self.beyond[to as usize] {
                    continue;
                }
                let next = level.max(value(to));
                if next < cover[to as usize] {
                    cover[to as usize] = next;
                    heap.push(Nearest(next, to));
                }
            }
        }
        cover
    }

    /// Greatest girth met by the sweep of `value`; gives up once it exceeds `worst`.
    fn width_of_sweep(&self, value: impl Fn(u32) -> f64, worst: f64) -> f64 {
        let cover = self.flood(&value);
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for &v in &self.inner {
            let level = cover[v as usize];
            if level.is_finite() {
                low = low.min(level);
                high = high.max(level);
            }
        }
        if !(low.is_finite() && high.is_finite()) {
            return 0.0;
        }
        let step = 0.75 * self.graph.mean_edge();
        let count = (((high - low) / step).ceil() as usize).clamp(6, 64);
        let width = ((high - low) / count as f64).max(1e-9);
        // Level k lies in the middle of its band, so that no level coincides with an end.
        let level = |k: usize| low + (k as f64 + 0.5) * width;
        let first_at_or_above =
            |x: f64| (((x - low) / width - 0.5).ceil().max(0.0) as usize).min(count);
        let mut frontier: Vec<Vec<Point>> = vec![Vec::new(); count];
        for &(u, v) in &self.ring {
            let middle = nalgebra::center(&self.point(u), &self.point(v));
            for points in &mut frontier[..first_at_or_above(cover[v as usize])] {
                points.push(middle);
            }
        }
        for &v in &self.inner {
            let here = cover[v as usize];
            if here > value(v) + 1e-9 {
                let k = first_at_or_above(here).min(count - 1);
                frontier[k].push(self.point(v));
            }
            for to in self.graph.mesh_neighbours(v) {
                if !self.beyond[to as usize] {
                    continue;
                }
                let there = cover[to as usize];
                if here < there {
                    let passed = first_at_or_above(here)..first_at_or_above(there);
                    for (points, k) in frontier[passed.clone()].iter_mut().zip(passed) {
                        let share = (level(k) - here) / (there - here);
                        points.push(self.point(v) + (self.point(to) - self.point(v)) * share);
                    }
                }
            }
        }
        let mut widest: f64 = 0.0;
        for points in &frontier {
            widest = widest.max(girth(points));
            if widest > worst {
                return f64::INFINITY;
            }
        }
        widest
    }
}

fn mean(points: &[Point]) -> Point {
    let sum: Vector = points.iter().map(|p| p.coords).sum();
    Point::from(sum / points.len().max(1) as f64)
}

/// Axes of the plane that fits the points best, longest spread first, and its normal.
fn plane_axes(points: &[Point]) -> (Vector, Vector, Vector) {
    let middle = mean(points);
    let mut spread = Matrix3::zeros();
    for p in points {
        let offset = p - middle;
        spread += offset * offset.transpose();
    }
    let eigen = spread.symmetric_eigen();
    let mut order = [0, 1, 2];
    order.sort_by(|&i, &j| eigen.eigenvalues[j].total_cmp(&eigen.eigenvalues[i]));
    let axis = |k: usize| eigen.eigenvectors.column(order[k]).into_owned();
    (axis(0), axis(1), axis(2))
}

/// Length of a taut string round all the points, mm.
pub fn girth(points: &[Point]) -> f64 {
    if points.len() < 2 {
        return 0.0;
    }
    let (u, v, _) = plane_axes(points);
    let mut flat: Vec<(f64, f64)> =
        points.iter().map(|p| (p.coords.dot(&u), p.coords.dot(&v))).collect();
    hull_perimeter(&mut flat)
}

/// Perimeter of the convex hull of points in the plane.
fn hull_perimeter(points: &mut Vec<(f64, f64)>) -> f64 {
    points.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    points.dedup();
    let stands_out = |a, b, p| turn(a, b, p) > 0.0;
    let mut chain: Vec<(f64, f64)> = Vec::with_capacity(points.len());
    let length = |chain: &[(f64, f64)]| -> f64 {
        chain.windows(2).map(|w| (w[0].0 - w[1].0).hypot(w[0].1 - w[1].1)).sum()
    };
    convex_half(points.iter().copied(), stands_out, &mut chain);
    let lower = length(&chain);
    convex_half(points.iter().rev().copied(), stands_out, &mut chain);
    0.0 + lower + length(&chain)
}

#[cfg(test)]
mod tests {
    use super::*;

    use crate::mesh::fixtures::{cylinder, icosphere};
    use crate::mesh::{TriangleMesh, planning_mesh};
    use std::f64::consts::{PI, TAU};

    fn graph(mesh: TriangleMesh, gate: impl Fn(&Point) -> bool) -> PlanningGraph {
        let n = mesh.positions.len();
        let is_gate = mesh.positions.iter().map(gate).collect();
        PlanningGraph::new(mesh, is_gate, vec![0.0; n], &vec![1.0; n]).expect("a graph")
    }

    fn beyond_gate(graph: &PlanningGraph) -> Vec<bool> {
        graph.is_gate.iter().map(|g| !g).collect()
    }

    /// Whatever small ring a sphere is swept from, its great circle has to pass.
    #[test]
    fn a_sphere_is_as_wide_as_its_great_circle() {
        for direction in [[0.0, 0.0, -1.0], [0.6, 0.0, 0.8], [0.5, -0.7, 0.2]] {
            let direction = Vector::from(direction).normalize();
            for level in [4, 5] {
                let graph =
                    graph(icosphere(30.0, level), |p| p.coords.dot(&direction) > 0.96 * 30.0);
                let width = sweep_width(&graph, &beyond_gate(&graph), 0.0);
                assert!((width / (TAU * 30.0) - 1.0).abs() < 0.01, "{direction}: {width}");
            }
        }
    }

    /// From a small ring in the middle of its flank an ellipsoid cannot be swept through its small
    /// section: the sweep would have to start sideways. It needs no more than its largest section,
    /// whose perimeter is Ramanujan's (1914), from memory.
    #[test]
    fn an_ellipsoid_on_its_side_is_wider_than_its_small_section() {
        let (long, short) = (60.0, 20.0);
        let mut mesh = icosphere(1.0, 4);
        for p in &mut mesh.positions {
            *p = Point::new(long * p.x, short * p.y, short * p.z);
        }
        let mesh = planning_mesh(&mesh, 4.0).expect("remeshed");
        let h = ((long - short) / (long + short)).powi(2);
        let largest = PI * (long + short) * (1.0 + 3.0 * h / (10.0 + (4.0 - 3.0 * h).sqrt()));
        let flank = graph(mesh.clone(), |p| (p - Point::new(0.0, 0.0, -short)).norm() < 9.0);
        let width = sweep_width(&flank, &beyond_gate(&flank), 0.0);
        assert!(width > 1.3 * TAU * short, "{width} mm");
        assert!(width < 1.01 * largest, "{width} mm where {largest} mm are enough");
        // From the end it slips out by its small section.
        let end = graph(mesh, |p| p.x < -0.96 * long);
        let width = sweep_width(&end, &beyond_gate(&end), 0.0);
        assert!((width / (TAU * short) - 1.0).abs() < 0.02, "{width} mm");
    }

    /// What only gets narrower is as wide as where it starts; a cylinder is as wide everywhere.
    #[test]
    fn standing_bodies_are_as_wide_as_their_base() {
        let edge = 2.0;
        for top in [1.0, 0.6, 0.25] {
            let mut mesh = cylinder(20.0, 40.0, 64);
            for p in &mut mesh.positions {
                let share = 1.0 + (top - 1.0) * p.z / 40.0;
                p.x *= share;
                p.y *= share;
            }
            let graph = graph(planning_mesh(&mesh, edge).expect("remeshed"), |p| p.z < 0.05);
            let width = sweep_width(&graph, &beyond_gate(&graph), 0.0);
            // The first section looked at lies at most a step above the base.
            let least = TAU * 20.0 * (1.0 - (1.0 - top) * edge / 40.0);
            assert!(width < 1.005 * TAU * 20.0 && width > 0.985 * least, "{top}: {width}");
        }
    }

    /// Whoever is content with a width gets one that is at most that, if there is one.
    #[test]
    fn a_sweep_that_is_good_enough_ends_the_search() {
        let graph = graph(icosphere(30.0, 4), |p| p.z < -29.0);
        let beyond = beyond_gate(&graph);
        let best = sweep_width(&graph, &beyond, 0.0);
        let content = sweep_width(&graph, &beyond, 1.2 * best);
        assert!((best..=1.2 * best).contains(&content), "{content} for {best}");
        assert_eq!(sweep_width(&graph, &vec![false; beyond.len()], 0.0), 0.0);
    }

    #[test]
    fn girth_of_a_circle_and_of_two_circles_side_by_side() {
        let circle = |x: f64| {
            (0..360).map(move |k| {
                let a = f64::from(k).to_radians();
                Point::new(x + 10.0 * a.cos(), 3.0, 10.0 * a.sin())
            })
        };
        let one: Vec<Point> = circle(0.0).collect();
        assert!((girth(&one) - 20.0 * std::f64::consts::PI).abs() < 0.01);
        let two: Vec<Point> = circle(0.0).chain(circle(50.0)).collect();
        assert!((girth(&two) - (20.0 * std::f64::consts::PI + 100.0)).abs() < 0.01);
        assert_eq!(girth(&[]), 0.0);
    }
}
