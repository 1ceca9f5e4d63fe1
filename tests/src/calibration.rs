//! The girth model against the release trial, over a family of random limbs.
//!
//! Each limb is a body of revolution that swells and narrows on its way up, in a block or a blanket. For
//! each set of cuts the tight rings that they leave uncrossed tell what the girth model predicts; the
//! trial tells what the simulation finds. Rings are found once, with no stretch allowed, and judged with
//! any constants afterwards: a ring passes if its length, stretched as far as the rubber's strain formula
//! allows there, reaches the width beyond it.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use slitwright_solver::body::{MouldBody, MouldShape, Rubber};
use slitwright_solver::control::Control;
use slitwright_solver::girth::PlanningGraph;
use slitwright_solver::girth::paths::ways;
use slitwright_solver::girth::section::section_girths;
use slitwright_solver::mesh::{Point, TriangleMesh, Vector, planning_mesh};
use slitwright_solver::optimise::separation::{Crossing, Separator};
use slitwright_solver::trial::{Outcome, TrialReport, TrialSettings, TrialSetup, run};

use crate::surface_of_revolution;

/// One limb in its mould.
#[derive(Clone, Debug)]
pub struct Limb {
    /// Its number in the family.
    pub seed: u64,
    /// The mould.
    pub shape: MouldShape,
    /// The model, standing on z = 0.
    pub model: TriangleMesh,
    /// Its height, mm.
    pub height: f64,
}

impl Limb {
    /// The limb of a seed: blocks and blankets in turn.
    pub fn new(seed: u64) -> Self {
        let mut random = ChaCha8Rng::seed_from_u64(seed);
        let bulges = random.random_range(2..=4);
        let size = random.random_range(6.0..18.0);
        let mut knots = vec![size * random.random_range(0.25..0.9)];
        for k in 1..=bulges {
            let wide = (k + random.random_range(0..2)) % 2 == 1;
            let share = if wide { 0.7..1.0 } else { 0.3..0.6 };
            knots.push(size * random.random_range(share));
        }
        let step = size * random.random_range(0.9..1.5);
        let top = knots[bulges] * 0.9;
        let height = step * bulges as f64 + top;
        let radius = |z: f64| {
            let at = z / step;
            let k = (at as usize).min(bulges - 1);
            let share = 0.5 - 0.5 * (std::f64::consts::PI * (at - k as f64)).cos();
            knots[k] + (knots[k + 1] - knots[k]) * share
        };
        let along = 10 * bulges;
        let mut profile = vec![(0.0, 0.0)];
        profile.extend((0..=along).map(|i| {
            let z = step * bulges as f64 * i as f64 / along as f64;
            (radius(z.min(step * bulges as f64 - 1e-9)), z)
        }));
        // A round top.
        profile.extend((1..12).map(|i| {
            let a = std::f64::consts::FRAC_PI_2 * f64::from(i) / 12.0;
            (knots[bulges] * a.cos(), step * bulges as f64 + top * a.sin())
        }));
        profile.push((0.0, height));
        let model = surface_of_revolution(&profile, 40);
        let wall = random.random_range(6.0..14.0);
        let shape = if seed.is_multiple_of(2) {
            MouldShape::Box { side_clearance: wall, top_clearance: wall }
        } else {
            MouldShape::Blanket { thickness: 0.5 * wall }
        };
        Self { seed, shape, model, height }
    }

    /// A cut along one side, from the board up to `top` mm.
    fn sheet(&self, top: f64) -> TriangleMesh {
        let (far, side) = (200.0, 0.01);
        let at = |x: f64, z: f64| Point::new(x, side, z);
        TriangleMesh {
            positions: vec![at(0.0, -1.0), at(far, -1.0), at(far, top), at(0.0, top)],
            faces: vec![[0, 1, 2], [0, 2, 3]],
        }
    }
}

/// What the girth model has to be told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Constants {
    /// Width of the zone that opens at once, over the usual one and over the share of the hands' force that
    /// goes into it: only their ratio counts in the strain formula.
    pub zone: f64,
    /// A ring may fall short of the width beyond by this share.
    pub tolerance: f64,
}

impl Constants {
    /// Those of a plan by default.
    pub const OF_PLANS: Self = Self { zone: 1.0, tolerance: 0.0 };
}

/// A tight ring: its length and the width beyond, mm, and, at each edge that it crosses, the thickness of rubber
/// that counts and the width of the zone that opens at once, mm.
#[derive(Clone, Debug)]
struct HeldBy {
    length: f64,
    width: f64,
    rubber: Vec<(f64, f64)>,
}

/// One limb with one set of cuts, looked at both ways.
#[derive(Clone, Debug)]
pub struct Comparison {
    /// Seed of the limb.
    pub seed: u64,
    /// "no cut", "plan" or "60 %".
    pub scheme: &'static str,
    /// How far up the cut goes, mm.
    pub top: f64,
    rings: Vec<HeldBy>,
    /// What the trial found.
    pub trial: TrialReport,
}

impl Comparison {
    /// Whether the girth model lets the limb out.
    pub fn predicted(&self, constants: Constants) -> bool {
        passes(&self.rings, constants)
    }

    /// Whether the trial did.
    pub fn found(&self) -> bool {
        self.trial.outcome == Outcome::Released
    }
}

const HAND_FORCE: f64 = 200.0;

fn passes(rings: &[HeldBy], constants: Constants) -> bool {
    let rubber = Rubber::default();
    let strain = |&(thickness, zone): &(f64, f64)| {
        MouldBody::allowed_strain(&rubber, HAND_FORCE, constants.zone * zone, thickness)
    };
    rings.iter().all(|ring| {
        let mean = ring.rubber.iter().map(strain).sum::<f64>() / ring.rubber.len() as f64;
        ring.length * (1.0 + mean) * (1.0 + constants.tolerance) >= ring.width
    })
}

/// Look at a limb without a cut, with the cut along one side that the girth model asks for, and with
/// 60 % of that. A limb that needs no cut is looked at once.
pub fn compare(limb: &Limb, elements: usize) -> Result<Vec<Comparison>, String> {
    let body = MouldBody::new(&limb.model, &limb.shape).map_err(|e| e.to_string())?;
    let edge = (limb.model.area() / (500.0 * 0.75f64.sqrt())).sqrt();
    let mesh = planning_mesh(&limb.model, edge).map_err(|e| e.to_string())?;
    let is_gate = mesh.positions.iter().map(|p| p.z < 1e-6).collect();
    let ones = vec![1.0; mesh.positions.len()];
    let none = vec![0.0; mesh.positions.len()];
    let graph = PlanningGraph::new(mesh, is_gate, none, &ones).map_err(|e| e.to_string())?;
    let girths = section_girths(&graph.mesh, &graph.topology);
    let normals: Vec<Vector> = graph.mesh.vertex_normals();
    let rubber: Vec<(f64, f64)> = (0..graph.vertex_count())
        .map(|v| {
            let wall = body.wall_thickness(&graph.mesh.positions[v], &normals[v]);
            let thickness = wall.min(girths[v] / std::f64::consts::TAU);
            (thickness, MouldBody::opening_zone(girths[v]))
        })
        .collect();
    let separator = Separator::new(&graph, 12, 6);
    let order: Vec<usize> = (0..separator.target_count()).collect();
    let rings = |top: f64| -> Vec<HeldBy> {
        let cut = cut_edges(&graph, top);
        let most = usize::MAX;
        let control = Control::silent();
        let found = separator.tight_rings(&cut, Crossing::Forbidden, &order, most, &control);
        let at = |e: &u32| {
            let [a, b] = graph.edges[*e as usize].ends;
            let (one, other) = (rubber[a as usize], rubber[b as usize]);
            (0.5 * (one.0 + other.0), 0.5 * (one.1 + other.1))
        };
        let held = |r: &slitwright_solver::girth::Ring| HeldBy {
            length: r.reach,
            width: r.width,
            rubber: r.outline.iter().map(at).collect(),
        };
        found.rings.iter().map(held).collect()
    };
    let mut schemes = vec![("no cut", 0.0, rings(0.0))];
    if !passes(&schemes[0].2, Constants::OF_PLANS) {
        // The shortest that passes, by bisection; the whole side where none does.
        let (mut low, mut high) = (0.0, limb.height);
        for _ in 0..5 {
            let middle = 0.5 * (low + high);
            let enough = passes(&rings(middle), Constants::OF_PLANS);
            if enough { high = middle } else { low = middle }
        }
        schemes.push(("plan", high, rings(high)));
        schemes.push(("60 %", 0.6 * high, rings(0.6 * high)));
    }
    let settings =
        TrialSettings { elements, steps: 12, hand_force: HAND_FORCE, ..TrialSettings::default() };
    let rubber = Rubber::default();
    schemes
        .into_iter()
        .map(|(scheme, top, rings)| {
            let sheets: Vec<TriangleMesh> =
                (top > 0.0).then(|| limb.sheet(top)).into_iter().collect();
            let setup = TrialSetup {
                body: &body,
                model: &limb.model,
                sheets: &sheets,
                across: &[],
                rubber: &rubber,
                bridges: &[],
                plugs: &[],
                settings: &settings,
            };
            let trial = run(&setup, &Control::silent()).map_err(|e| e.to_string())?;
            Ok(Comparison { seed: limb.seed, scheme, top, rings, trial })
        })
        .collect()
}

/// The way along the graph beside the half-plane of the cut, from the gate up to `top`.
fn cut_edges(graph: &PlanningGraph, top: f64) -> Vec<f64> {
    let mut cut = vec![0.0; graph.edges.len()];
    let at = |v: u32| graph.mesh.positions[v as usize];
    let near = |v: u32| at(v).x > 0.0 && at(v).y.abs() <= 1.2 * graph.mean_edge();
    let along = |v: u32| near(v) && at(v).z <= top + 0.5 * graph.mean_edge();
    let all = 0..graph.vertex_count() as u32;
    let goal = all.clone().filter(|&v| along(v)).max_by(|&a, &b| {
        // Nearest to the cut's end, and to its plane.
        let far = |v: u32| (at(v).z - top).abs() + at(v).y.abs();
        far(b).total_cmp(&far(a))
    });
    let Some(goal) = goal.filter(|_| top > 0.0) else { return cut };
    let gate = all.filter(|&v| graph.is_gate[v as usize]).map(|v| (v, 0.0));
    let length = |e: u32, to: u32| near(to).then(|| graph.edges[e as usize].length);
    for e in ways(graph, gate, length, f64::INFINITY).trace(graph, goal) {
        cut[e as usize] = 1.0;
    }
    cut
}

/// How often girth model and trial agree.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// Both say the same.
    pub agree: usize,
    /// The girth model lets out what the trial finds stuck.
    pub false_passes: usize,
    /// The trial gets out what the girth model holds.
    pub false_failures: usize,
}

impl Tally {
    /// Count comparisons.
    pub fn of<'a>(all: impl IntoIterator<Item = &'a Comparison>, constants: Constants) -> Self {
        let mut tally = Self::default();
        tally.add(all.into_iter().map(|c| (c.predicted(constants), c.found())));
        tally
    }

    /// Count pairs of what was predicted and what was found.
    pub fn add(&mut self, all: impl IntoIterator<Item = (bool, bool)>) {
        for pair in all {
            match pair {
                (true, false) => self.false_passes += 1,
                (false, true) => self.false_failures += 1,
                _ => self.agree += 1,
            }
        }
    }

    /// A plan that does not release costs a mould, too long a cut some seam: counted three to one (no
    /// source).
    fn loss(&self) -> usize {
        3 * self.false_passes + self.false_failures
    }
}

/// The constants with the least loss; of like ones those nearest to a plan's by default.
pub fn fit(all: &[&Comparison]) -> Constants {
    let default = Constants::OF_PLANS;
    let zones = [0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.65, 0.8, 1.0, 1.3, 1.6, 2.0, 2.5, 3.0, 4.0, 6.0];
    let tolerances = [-0.15, -0.1, -0.05, 0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.7];
    let mut best = (usize::MAX, f64::INFINITY, default);
    for zone in zones {
        for tolerance in tolerances {
            let constants = Constants { zone, tolerance };
            let loss = Tally::of(all.iter().copied(), constants).loss();
            let far = (zone / default.zone).ln().abs() + 5.0 * tolerance.abs();
            if (loss, far) < (best.0, best.1) {
                best = (loss, far, constants);
            }
        }
    }
    best.2
}
