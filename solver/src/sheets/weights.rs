//! What a cut costs where: weights for the search, a value a vertex of the planning mesh.
//!
//! A weight is the factor on the length of a cut: 1 where nothing weighs on it,
//!
//! ```text
//! (1 + lip * risk + depth * min(1, depth / blade)^2 + seam * seen) * factor of the area
//! ```
//!
//! with the risk of a weak lip, the depth of the ruling, and how much a seam would show, all
//! at that place. Infinite on a keep-off area: no cut may run there.

use std::f64::consts::PI;

use rayon::prelude::*;

use super::access::Access;
use super::line::Place;
use super::rulings::Candidates;
use super::seam::{SeamAreas, seam_visibility};
use super::section::Ground;
use super::wedge::{Frame, flanks, lip_risk, wedges};
use super::{SheetError, SheetSettings};
use crate::body::MouldBody;
use crate::control::Control;
use crate::mesh::{Point, Topology, TriangleMesh, Vector, square_to};

/// How much each disadvantage weighs: what a mm of cut costs more, in mm, where it is at its
/// worst. Common sense, no source.
#[derive(Clone, Debug, PartialEq)]
pub struct CostWeights {
    /// Weak rubber at a risk of 1.
    pub lip: f64,
    /// A ruling as long as the blade.
    pub depth: f64,
    /// A seam in full view: on a smooth open face.
    pub seam: f64,
}

impl Default for CostWeights {
    fn default() -> Self {
        Self { lip: 3.0, depth: 0.5, seam: 0.5 }
    }
}

impl CostWeights {
    /// Length alone counts.
    pub const NONE: Self = Self { lip: 0.0, depth: 0.0, seam: 0.0 };

    /// The first number that cannot be used.
    pub fn check(&self) -> Result<(), SheetError> {
        let numbers = [("lip", self.lip), ("depth", self.depth), ("seam", self.seam)];
        match numbers.into_iter().find(|(_, w)| !(w.is_finite() && *w >= 0.0)) {
            Some((field, value)) => Err(SheetError::BadNumber {
                field,
                value,
                advice: "must be zero or a positive number",
            }),
            None => Ok(()),
        }
    }
}

/// What a cut through a vertex would meet.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CutSite {
    /// Risk of a weak lip, 0 to 1, of a cut in the best direction; 1 where no ruling leads out.
    pub risk: f64,
    /// Angle between the best ruling and the normal, degrees.
    pub angle_from_normal: f64,
    /// Length of that ruling, mm; infinite where none leads out.
    pub depth: f64,
    /// How much a seam would show, 0 on a sharp ridge to 1 on a smooth open face.
    pub seen: f64,
}

impl CutSite {
    /// A place where nothing weighs on a cut.
    pub const PLAIN: Self = Self { risk: 0.0, angle_from_normal: 0.0, depth: 0.0, seen: 0.0 };
}

/// Directions in which a cut through a vertex is tried, over half a turn.
const CUT_DIRECTIONS: u32 = 6;

/// What a cut through each vertex of a planning mesh would meet.
///
/// `model` is the mesh that `body` was built round; the planning mesh lies on it.
pub fn cut_sites(
    body: &MouldBody,
    model: &TriangleMesh,
    planning: &TriangleMesh,
    settings: &SheetSettings,
    control: &Control<'_>,
) -> Result<Vec<CutSite>, SheetError> {
    settings.check()?;
    let ground = Ground { mesh: model, topology: Topology::new(model)?, locator: body.model() };
    let candidates = Candidates {
        access: Access { body, settings, obstacles: Vec::new() },
        // Whether a cut will end in the gate is not known yet.
        from_gate: true,
    };
    let seen = seam_visibility(planning, settings.wedge_reach)?;
    let normals = planning.vertex_normals();
    control.check()?;
    Ok(planning
        .positions
        .par_iter()
        .zip(&normals)
        .zip(&seen)
        .map(|((at, normal), &seen)| site(&ground, &candidates, at, normal, seen, settings))
        .collect())
}

fn site(
    ground: &Ground<'_>,
    candidates: &Candidates<'_>,
    at: &Point,
    normal: &Vector,
    seen: f64,
    settings: &SheetSettings,
) -> CutSite {
    let none = CutSite { risk: 1.0, angle_from_normal: 180.0, depth: f64::INFINITY, seen };
    let at = ground.locator.closest(at).point;
    let Some(normal) = normal.try_normalize(1e-9) else { return none };
    let first = square_to(&normal);
    let second = normal.cross(&first);
    let frame = Frame { at, ahead: first, normal, left: second };
    let place = Place { along: 0.0, frame, flanks: [PI / 2.0; 2] };
    // The wedges of each cut direction depend on the ruling only by its lean across the cut, so
    // one ruling serves all: the one nearest the normal that leads out.
    let Some(ruling) = candidates.nearest_to_normal(&place) else { return none };
    let risk = (0..CUT_DIRECTIONS)
        .map(|k| {
            let turn = PI * f64::from(k) / f64::from(CUT_DIRECTIONS);
            let ahead = first * turn.cos() + second * turn.sin();
            let frame = Frame { at, ahead, normal, left: normal.cross(&ahead) };
            let profiles = ground.profiles(&at, &ahead, settings.wedge_reach);
            let flanks = flanks(&frame, &profiles, settings.wedge_reach);
            let [left, right] = wedges(&frame, flanks, &ruling.first);
            lip_risk(left.min(right), settings)
        })
        .fold(1.0, f64::min);
    CutSite {
        risk,
        angle_from_normal: ruling.first.angle(&normal).to_degrees(),
        depth: ruling.depth,
        seen,
    }
}

/// Weights of all vertices: see the head of this file.
pub fn cost_weights(
    planning: &TriangleMesh,
    sites: &[CutSite],
    areas: &SeamAreas,
    weights: &CostWeights,
    settings: &SheetSettings,
) -> Result<Vec<f64>, SheetError> {
    let kept_off = areas.kept_off(planning)?;
    let of_site = planning.positions.iter().zip(sites).map(|(at, site)| {
        let deep = (site.depth / settings.blade_length).min(1.0);
        let own =
            1.0 + weights.lip * site.risk + weights.depth * deep * deep + weights.seam * site.seen;
        own * areas.factor(at)
    });
    let barred = of_site.zip(kept_off);
    Ok(barred.map(|(weight, kept_off)| if kept_off { f64::INFINITY } else { weight }).collect())
}

#[cfg(test)]
mod tests {
    use std::collections::BinaryHeap;

    use approx::assert_relative_eq;
    use proptest::prelude::*;

    use super::super::seam::Area;
    use super::*;
    use crate::body::MouldShape;
    use crate::girth::PlanningGraph;
    use crate::mesh::fixtures::{cuboid, divided, icosphere, moved};

    fn fine_box() -> TriangleMesh {
        let mut mesh = cuboid([64.0; 3]);
        for _ in 0..4 {
            mesh = divided(&mesh);
        }
        mesh
    }

    fn sites_of(model: &TriangleMesh, planning: &TriangleMesh) -> Vec<CutSite> {
        let shape = MouldShape::Box { side_clearance: 15.0, top_clearance: 15.0 };
        let body = MouldBody::new(model, &shape).expect("a body");
        let settings = SheetSettings::default();
        cut_sites(&body, model, planning, &settings, &Control::silent()).expect("sites")
    }

    /// On a flat side a cut costs its depth and its full view, on an edge its depth alone.
    #[test]
    fn edges_are_cheaper_than_faces() {
        let mesh = fine_box();
        let sites = sites_of(&mesh, &mesh);
        let settings = SheetSettings::default();
        let weights =
            cost_weights(&mesh, &sites, &SeamAreas::default(), &CostWeights::default(), &settings)
                .expect("weights");
        let at = |p: [f64; 3]| {
            let k = mesh.positions.iter().position(|q| (q - Point::from(p)).norm() < 1e-9);
            k.expect("a vertex")
        };
        let (face, edge) = (at([64.0, 32.0, 32.0]), at([64.0, 64.0, 32.0]));
        assert_relative_eq!(sites[face].depth, 15.0, epsilon = 1e-9);
        assert_eq!((sites[face].risk, sites[face].seen), (0.0, 1.0));
        assert_relative_eq!(weights[face], 1.0 + 0.5 / 64.0 + 0.5, epsilon = 1e-9);
        assert!(weights[edge] < 1.25, "{}", weights[edge]);
    }

    /// A closed hollow: no ruling leads out of it.
    #[test]
    fn hollows_are_as_dear_as_can_be() {
        let hollow = crate::mesh::fixtures::inside_out(&cuboid([20.0; 3]));
        let hollow = moved(&hollow, [20.0, 20.0, 20.0]);
        let model = crate::mesh::fixtures::joined(&cuboid([60.0; 3]), &hollow);
        for site in &sites_of(&model, &model)[8..] {
            assert_eq!((site.risk, site.depth), (1.0, f64::INFINITY));
        }
    }

    /// The cheapest way over the top of a box from one side to the other, by Dijkstra's method.
    fn cheapest_way(graph: &PlanningGraph, from: u32, to: u32) -> (f64, Vec<u32>) {
        let mut best = vec![(f64::INFINITY, from); graph.vertex_count()];
        best[from as usize].0 = 0.0;
        let mut heap = BinaryHeap::from([(std::cmp::Reverse(0), from)]);
        while let Some((std::cmp::Reverse(_), v)) = heap.pop() {
            for &(edge, next) in graph.incident(v) {
                let cost = best[v as usize].0 + graph.edges[edge as usize].cost;
                if cost < best[next as usize].0 {
                    best[next as usize] = (cost, v);
                    heap.push((std::cmp::Reverse((cost * 1e6) as u64), next));
                }
            }
        }
        let mut way = vec![to];
        while way[way.len() - 1] != from {
            way.push(best[way[way.len() - 1] as usize].1);
        }
        (best[to as usize].0, way)
    }

    #[test]
    fn no_way_leads_through_a_keep_off_area() {
        let mesh = fine_box();
        let sites = sites_of(&mesh, &mesh);
        let index = |p: [f64; 3]| {
            let k = mesh.positions.iter().position(|q| (q - Point::from(p)).norm() < 1e-9);
            k.expect("a vertex") as u32
        };
        let (from, to) = (index([0.0, 32.0, 64.0]), index([64.0, 32.0, 64.0]));
        let area = Area::Ball { centre: Point::new(32.0, 32.0, 64.0), radius: 20.0 };
        let weigh = |areas: &SeamAreas| {
            let weights = cost_weights(
                &mesh,
                &sites,
                areas,
                &CostWeights { lip: 0.0, depth: 0.0, seam: 0.0 },
                &SheetSettings::default(),
            )
            .expect("weights");
            let gate = mesh.positions.iter().map(|p| p.z <= 0.0).collect();
            let strain = vec![0.0; mesh.positions.len()];
            PlanningGraph::new(mesh.clone(), gate, strain, &weights).expect("a graph")
        };
        let (straight, way) = cheapest_way(&weigh(&SeamAreas::default()), from, to);
        assert_relative_eq!(straight, 64.0, epsilon = 1e-9);
        assert!(way.iter().any(|&v| area.holds(&mesh.positions[v as usize])));
        let kept = SeamAreas { keep_off: vec![area.clone()], preferred: Vec::new() };
        let (round, way) = cheapest_way(&weigh(&kept), from, to);
        assert!(round.is_finite() && round > 66.0, "{round}");
        assert!(way.iter().all(|&v| !area.holds(&mesh.positions[v as usize])));
        let liked = SeamAreas { keep_off: Vec::new(), preferred: vec![(area, 0.5)] };
        assert!(cheapest_way(&weigh(&liked), from, to).0 < 50.0);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(16))]
        /// Through any place of a ball a square ruling leads out, and its lips are sound; the
        /// depth is at least what is left above the model.
        #[test]
        fn any_place_of_a_ball_can_be_cut(x in -1.0f64..1.0, y in -1.0f64..1.0, z in 0.1f64..1.0) {
            let ball = moved(&icosphere(20.0, 3), [0.0, 0.0, 20.0]);
            let shape = MouldShape::Box { side_clearance: 15.0, top_clearance: 15.0 };
            let body = MouldBody::new(&ball, &shape).expect("a body");
            let settings = SheetSettings::default();
            let out = Vector::new(x, y, z).normalize();
            let middle = Vector::new(0.0, 0.0, 20.0);
            let side = out.cross(&Vector::new(0.3, -0.5, 0.2)).normalize();
            let points: Vec<Point> = (-2..=2)
                .map(|k| (out + side * (0.1 * f64::from(k))).normalize() * 20.0 + middle)
                .map(Point::from)
                .collect();
            let line = super::super::CutLine {
                points,
                from_gate: false,
                starts_at_gate: false,
                ends_at_gate: false,
            };
            let plan = super::super::plan_sheets(
                &body, &ball, &[line], &[], &settings, &Control::silent(),
            ).expect("sheets");
            prop_assert!(plan.crossings.is_empty());
            for station in &plan.sheets[0].stations {
                prop_assert!(station.angle_from_normal <= settings.acceptable_lean());
                prop_assert!(station.least_wedge() > 70.0);
                prop_assert!(station.depth >= 15.0 - 0.5);
                prop_assert!(!station.flags.blocked && !station.flags.feather);
                // The end of the ruling lies on the outer skin.
                let exit = body.exit(&station.on_model, &station.direction);
                let end = station.on_model + station.direction * exit.distance;
                prop_assert!((end - station.on_outside).norm() < 1e-6);
            }
        }
    }
}
