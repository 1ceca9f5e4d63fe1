//! Our own algorithms against general-purpose libraries and closed forms.
//!
//! The values lie in `tests/reference/*.json`, each made by the script of the same name, which
//! also names the libraries and their versions: minimum cuts by networkx and SciPy, covers by
//! SciPy's HiGHS, shortest paths on meshes by pygeodesic, on sphere, cylinder and cone by formula, winding numbers
//! and distances by libigl, resting poses and undercuts by trimesh.

use std::collections::BinaryHeap;
use std::f64::consts::{PI, TAU};
use std::num::NonZeroU32;
use std::path::PathBuf;

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::Value;
use slitwright_solver::advice::undercut_shares;
use slitwright_solver::body::resting_poses;
use slitwright_solver::control::Control;
use slitwright_solver::curves::{cut_chains, straighten_chain};
use slitwright_solver::girth::PlanningGraph;
use slitwright_solver::girth::min_cut::{FlowNetwork, UNCUTTABLE};
use slitwright_solver::mesh::{Point, SurfaceLocator, TriangleMesh, Vector, WindingNumbers};
use slitwright_solver::optimise::integer::{IntegerLimits, IntegerOutcome, solve_cover};
use slitwright_solver::optimise::pool::RowPool;
use slitwright_solver::optimise::relaxation::Relaxation;
use slitwright_solver::optimise::rows::{Row, RowKind};
use slitwright_tests::{cone, cylinder, icosphere, open_mesh, outside_out};

fn reference(name: &str) -> Value {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("reference").join(name);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{}: {e}", path.display()))
}

fn list<'a>(value: &'a Value, key: &str) -> &'a [Value] {
    value[key].as_array().unwrap_or_else(|| panic!("no list `{key}`"))
}

fn indices(value: &Value, key: &str) -> Vec<u32> {
    list(value, key).iter().map(|v| v.as_u64().expect("an index") as u32).collect()
}

fn numbers(value: &Value, key: &str) -> Vec<f64> {
    list(value, key).iter().map(number).collect()
}

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

/// The value of a minimum cut is one number; so is the smallest set on either side of one. All
/// three are compared, node by node.
#[test]
fn minimum_cuts_agree_with_networkx_and_scipy() {
    let file = reference("cuts.json");
    let cases = list(&file, "minimum_cuts");
    assert!(!cases.is_empty());
    for case in cases {
        let name = &case["name"];
        let nodes = case["nodes"].as_u64().expect("nodes") as usize;
        let edges: Vec<Vec<i64>> = list(case, "edges")
            .iter()
            .map(|e| {
                e.as_array().expect("u, v, c").iter().map(|v| v.as_i64().expect("n")).collect()
            })
            .collect();
        let ends: Vec<[u32; 2]> = edges.iter().map(|e| [e[0] as u32, e[1] as u32]).collect();
        let (sources, sinks) = (indices(case, "sources"), indices(case, "sinks"));
        let mut network = FlowNetwork::new(nodes, &ends);
        // The same network twice: what one solve leaves behind must not touch the next.
        for _ in 0..2 {
            let capacity = |e: u32| edges[e as usize][2];
            let flow = network.solve(capacity, sources.clone(), sinks.clone(), UNCUTTABLE);
            assert_eq!(Some(flow), case["value"].as_i64(), "{name}");
            let members = |side: Vec<bool>| -> Vec<u32> {
                (0..nodes as u32).filter(|&v| side[v as usize]).collect()
            };
            assert_eq!(members(network.source_side()), indices(case, "smallest_source_side"));
            assert_eq!(members(network.sink_side()), indices(case, "smallest_sink_side"));
            let source = network.source_side();
            let crossing: i64 = edges
                .iter()
                .filter(|e| source[e[0] as usize] != source[e[1] as usize])
                .map(|e| e[2])
                .sum();
            assert_eq!(crossing, flow, "{name}: the cut weighs what flows");
        }
    }
}

fn covers(file: &Value) -> impl Iterator<Item = &Value> {
    list(file, "covers").iter().chain(list(file, "steiner_triples"))
}

fn cover_row(members: &[u32]) -> Row {
    let terms = members.iter().map(|&column| (column, 1.0)).collect();
    Row { kind: RowKind::Crossing, terms, origin: 0, depth: 0.0, least: 1.0 }
}

fn rows_of(case: &Value) -> Vec<Vec<u32>> {
    list(case, "rows")
        .iter()
        .map(|r| {
            r.as_array().expect("members").iter().map(|v| v.as_u64().expect("n") as u32).collect()
        })
        .collect()
}

/// Rows all at once, and a few at a time on the same model: the last value must be the reference's,
/// and adding rows never lowers the bound.
#[test]
fn relaxations_of_covers_agree_with_scipy() {
    let file = reference("cuts.json");
    let mut seen = 0;
    for case in covers(&file) {
        seen += 1;
        let name = &case["name"];
        let costs = numbers(case, "costs");
        let rows = rows_of(case);
        let wanted = number(&case["relaxation"]);
        for portion in [rows.len(), 7] {
            let mut relaxation = Relaxation::new(&costs, NonZeroU32::MIN);
            let mut pool = RowPool::new(costs.len());
            let mut last = 0.0;
            for some in rows.chunks(portion) {
                for members in some {
                    pool.push(cover_row(members));
                }
                let relaxed = relaxation.solve(&pool, &Control::silent()).expect("feasible");
                assert!(relaxed.bound >= last - 1e-7, "{name}: {} after {last}", relaxed.bound);
                last = relaxed.bound;
                let cost: f64 = relaxed.cut.iter().zip(&costs).map(|(x, c)| x * c).sum();
                assert!((cost - relaxed.bound).abs() < 1e-6 * (1.0 + cost), "{name}");
                for members in rows.iter().take(pool.rows.len()) {
                    let sum: f64 = members.iter().map(|&v| relaxed.cut[v as usize]).sum();
                    assert!(sum > 1.0 - 1e-6, "{name}: a row is missed: {sum}");
                }
            }
            assert!((last - wanted).abs() < 1e-6 * wanted, "{name}: {last} for {wanted}");
        }
        // A bound never exceeds the optimum (found by SciPy, or published).
        let optimum = case.get("optimum").or(case.get("published_optimum")).expect("an optimum");
        assert!(wanted <= number(optimum) + 1e-9, "{name}");
    }
    assert!(seen >= 8);
}

/// Integer optima of covers, each column allowed: SciPy's milp, and the published 5 and 18 of the
/// Steiner triple systems. The published 61 of stn81 takes too long to prove; a choice found within
/// the limits may not be below it, nor the bound above it.
#[test]
fn integer_optima_of_covers_agree_with_scipy() {
    let file = reference("cuts.json");
    for case in covers(&file) {
        let name = &case["name"];
        let costs = numbers(case, "costs");
        let rows: Vec<Row> = rows_of(case).iter().map(|members| cover_row(members)).collect();
        let all: Vec<u32> = (0..costs.len() as u32).collect();
        let Some(optimum) = case.get("optimum") else {
            let published = number(&case["published_optimum"]);
            let limits = IntegerLimits { nodes: 50, seconds: 60.0 };
            let found = solve_cover(&costs, &rows, &all, limits);
            assert_eq!(found.outcome, IntegerOutcome::Limited, "{name}: {found:?}");
            assert!(found.cost >= published - 1e-6 && found.bound <= published + 1e-6, "{name}");
            continue;
        };
        let optimum = number(optimum);
        let limits = IntegerLimits { nodes: 1_000_000, seconds: 300.0 };
        let found = solve_cover(&costs, &rows, &all, limits);
        assert_eq!(found.outcome, IntegerOutcome::Optimal, "{name}: {found:?}");
        assert!((found.cost - optimum).abs() < 1e-6, "{name}: {} for {optimum}", found.cost);
        assert!((found.bound - optimum).abs() < 1e-3 * optimum, "{name}: bound {}", found.bound);
        for row in &rows {
            let covered = row.terms.iter().any(|(column, _)| found.chosen.contains(column));
            assert!(covered, "{name}: a row is missed");
        }
    }
}

/// Shortest way along the mesh's edges, each made up to `noise` longer by chance so that the way
/// runs zig-zag.
fn edge_way(mesh: &TriangleMesh, from: u32, to: u32, noise: f64, seed: u64) -> Vec<u32> {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut ways: Vec<Vec<(u32, f64)>> = vec![Vec::new(); mesh.positions.len()];
    for face in &mesh.faces {
        for k in 0..3 {
            let (a, b) = (face[k], face[(k + 1) % 3]);
            if a < b {
                let chord = (mesh.positions[a as usize] - mesh.positions[b as usize]).norm();
                let length = chord * (1.0 + noise * random.random::<f64>());
                ways[a as usize].push((b, length));
                ways[b as usize].push((a, length));
            }
        }
    }
    let mut distance = vec![f64::INFINITY; ways.len()];
    let mut before = vec![u32::MAX; ways.len()];
    distance[from as usize] = 0.0;
    // Distances in whole units of a nanometre, so that the heap can order them.
    let key = |d: f64| std::cmp::Reverse((d * 1e6) as u64);
    let mut heap = BinaryHeap::from([(key(0.0), from)]);
    while let Some((at, v)) = heap.pop() {
        if at < key(distance[v as usize]) {
            continue;
        }
        for &(u, length) in &ways[v as usize] {
            let next = distance[v as usize] + length;
            if next < distance[u as usize] {
                distance[u as usize] = next;
                before[u as usize] = v;
                heap.push((key(next), u));
            }
        }
    }
    let mut way = vec![to];
    while let Some(&last) = way.last()
        && last != from
    {
        way.push(before[last as usize]);
    }
    way.reverse();
    way
}

fn way_length(mesh: &TriangleMesh, way: &[u32]) -> f64 {
    way.windows(2)
        .map(|w| (mesh.positions[w[0] as usize] - mesh.positions[w[1] as usize]).norm())
        .sum()
}

/// Length of a way after straightening. The gate is put where the way does not come near.
fn straightened(mesh: &TriangleMesh, way: &[u32]) -> f64 {
    // Some of the way's points are enough to tell what is far from it.
    let some: Vec<Point> = way
        .iter()
        .step_by(way.len().div_ceil(6))
        .chain(way.last())
        .map(|&v| mesh.positions[v as usize])
        .collect();
    let far = |v: u32| {
        let p = mesh.positions[v as usize];
        some.iter().map(|q| (q - p).norm()).fold(f64::INFINITY, f64::min)
    };
    let count = mesh.positions.len() as u32;
    let distances: Vec<f64> = (0..count).map(far).collect();
    let gate = (0..count)
        .filter(|v| !way.contains(v))
        .max_by(|&a, &b| distances[a as usize].total_cmp(&distances[b as usize]))
        .expect("vertices");
    let n = count as usize;
    let is_gate: Vec<bool> = (0..count).map(|v| v == gate).collect();
    let graph = PlanningGraph::new(mesh.clone(), is_gate, vec![0.5; n], &vec![1.0; n])
        .expect("a closed mesh");
    let edges: Vec<u32> =
        way.windows(2).map(|w| graph.edge_between(w[0], w[1]).expect("an edge")).collect();
    let cuts = cut_chains(&graph, &[edges]);
    assert_eq!((cuts.len(), cuts[0].chains.len()), (1, 1));
    let points = straighten_chain(&graph, &cuts[0].chains[0].way);
    let ends = [way[0], way[way.len() - 1]].map(|v| mesh.positions[v as usize]);
    let found = [points[0].point, points[points.len() - 1].point];
    assert!(found == ends || found == [ends[1], ends[0]], "the ends stay where they are");
    points.windows(2).map(|w| (w[1].point - w[0].point).norm()).sum()
}

fn nearest(mesh: &TriangleMesh, p: Point) -> u32 {
    (0..mesh.positions.len() as u32)
        .min_by(|&a, &b| {
            let d = |v: u32| (mesh.positions[v as usize] - p).norm();
            d(a).total_cmp(&d(b))
        })
        .expect("vertices")
}

fn turn_between(a: f64, b: f64) -> f64 {
    let turn = (a - b).abs() % TAU;
    turn.min(TAU - turn)
}

/// By how much a way turns round the axis, all its steps together.
fn turn_of(angles: impl Iterator<Item = f64>) -> f64 {
    let angles: Vec<f64> = angles.collect();
    let step = |w: &[f64]| {
        let turn = (w[1] - w[0]).rem_euclid(TAU);
        if turn > PI { turn - TAU } else { turn }
    };
    angles.windows(2).map(step).sum::<f64>().abs()
}

/// Distance between two places of a shape, in its own coordinates, on a surface of a given size.
type Distance<'a> = dyn Fn(&Value, [f64; 2], [f64; 2], f64) -> f64 + 'a;

/// A surface with known distances: coordinates to a point, a point back to coordinates, and the
/// distance between two pairs of coordinates.
struct Surface<'a> {
    name: &'a str,
    keys: [&'a str; 2],
    place: &'a dyn Fn(&Value, [f64; 2]) -> Point,
    read: &'a dyn Fn(&Value, Point) -> [f64; 2],
    /// Of the straight line that turns by the given angle round the axis.
    distance: &'a Distance<'a>,
    /// Which coordinate is the angle round the axis.
    around: usize,
    /// Coarse and fine mesh for a case, the vertices on the surface.
    mesh: &'a dyn Fn(&Value, bool) -> TriangleMesh,
}

fn pair(case: &Value, key: &str) -> [f64; 2] {
    let values = numbers(case, key);
    [values[0], values[1]]
}

fn straight_lines_agree(surface: &Surface<'_>) {
    let file = reference("geodesics.json");
    let cases = list(&file["closed_forms"], surface.name);
    assert!(cases.len() >= 10);
    let mut sums = [0.0; 2];
    for (index, case) in cases.iter().enumerate() {
        let [a, b] = surface.keys.map(|key| pair(case, key));
        // The formula used below is the script's.
        let wanted = number(&case["distance"]);
        let turn = turn_between(a[surface.around], b[surface.around]);
        let formula = (surface.distance)(case, a, b, turn);
        assert!((formula / wanted - 1.0).abs() < 1e-8, "{} case {index}", surface.name);
        for (level, sum) in sums.iter_mut().enumerate() {
            let mesh = (surface.mesh)(case, level == 1);
            let [from, to] = [a, b].map(|c| nearest(&mesh, (surface.place)(case, c)));
            if from == to {
                continue;
            }
            let [p, q] = [from, to].map(|v| (surface.read)(case, mesh.positions[v as usize]));
            let way = edge_way(&mesh, from, to, 0.5, index as u64);
            // The way may have gone round the other side: it is straightened where it is.
            let angle = |v: u32| (surface.read)(case, mesh.positions[v as usize])[surface.around];
            let turn = turn_of(way.iter().map(|&v| angle(v)));
            let exact = (surface.distance)(case, p, q, turn);
            let length = straightened(&mesh, &way);
            let error = length / exact - 1.0;
            println!(
                "{} case {index} level {level}: {:.3} mm along edges, {length:.3} straight, {exact:.3} exact: {:+.3} %",
                surface.name,
                way_length(&mesh, &way),
                100.0 * error
            );
            assert!(error.abs() < 0.01, "{} case {index}: {length} for {exact}", surface.name);
            *sum += error.abs();
        }
    }
    println!("{}: mean errors {:?}", surface.name, sums.map(|s| s / cases.len() as f64));
    assert!(sums[1] < 0.6 * sums[0], "{}: no convergence: {sums:?}", surface.name);
}

fn radius(case: &Value) -> f64 {
    number(&case["radius"])
}

#[test]
fn curves_on_a_sphere_are_great_circles() {
    let unit = |[polar, around]: [f64; 2]| {
        Point::new(polar.sin() * around.cos(), polar.sin() * around.sin(), polar.cos())
    };
    straight_lines_agree(&Surface {
        name: "sphere",
        keys: ["polar_around_a", "polar_around_b"],
        place: &|case, c| unit(c) * radius(case),
        read: &|case, p| [(p.z / radius(case)).acos(), p.y.atan2(p.x)],
        around: 1,
        // The shorter of the two arcs: no case has its ends opposite each other.
        distance: &|case, a, b, _| {
            let (a, b) = (unit(a).coords, unit(b).coords);
            radius(case) * a.cross(&b).norm().atan2(a.dot(&b))
        },
        mesh: &|case, fine| icosphere(radius(case), if fine { 4 } else { 3 }),
    });
}

#[test]
fn curves_on_a_cylinder_are_helices() {
    // The points lie between 0 and 100 mm; the ends of this one are too far off to matter.
    let below = 150.0;
    straight_lines_agree(&Surface {
        name: "cylinder",
        keys: ["around_z_a", "around_z_b"],
        place: &|case, [around, z]| {
            Point::new(radius(case) * around.cos(), radius(case) * around.sin(), z + below)
        },
        read: &|_, p| [p.y.atan2(p.x), p.z - below],
        around: 0,
        distance: &|case, a, b, turn| (radius(case) * turn).hypot(a[1] - b[1]),
        mesh: &|case, fine| {
            let edge = radius(case) / if fine { 7.0 } else { 3.5 };
            cylinder(radius(case), 100.0 + 2.0 * below, edge)
        },
    });
}

#[test]
fn curves_on_a_cone_are_straight_when_unrolled() {
    let slant_end = 120.0;
    let half = |case: &Value| number(&case["half_angle"]);
    straight_lines_agree(&Surface {
        name: "cone",
        keys: ["slant_around_a", "slant_around_b"],
        place: &|case, [slant, around]| {
            let r = slant * half(case).sin();
            Point::new(r * around.cos(), r * around.sin(), (slant_end - slant) * half(case).cos())
        },
        read: &|case, p| [p.x.hypot(p.y) / half(case).sin(), p.y.atan2(p.x)],
        around: 1,
        distance: &|case, a, b, turn| {
            let unrolled = turn * half(case).sin();
            assert!(unrolled < PI, "no straight line on the unrolled cone");
            (a[0] * a[0] + b[0] * b[0] - 2.0 * a[0] * b[0] * unrolled.cos()).sqrt()
        },
        mesh: &|case, fine| {
            let base = slant_end * half(case).sin();
            let edge = (base / 4.0).min(8.0) / if fine { 2.0 } else { 1.0 };
            cone(base, slant_end * half(case).cos(), edge)
        },
    });
}

/// Most of a turn round a slender cone, from a slant back to the same: the chord of the unrolled
/// angle. With the whole turn it is the loop of the reference file.
#[test]
fn curves_round_a_cone_stay_round_it() {
    let file = reference("geodesics.json");
    let loops = list(&file["closed_forms"], "cone_loops");
    assert_eq!(loops.len(), 5);
    let (slant, slant_end) = (70.0, 100.0);
    for case in loops {
        let half = number(&case["half_angle_degrees"]).to_radians();
        let chord = |slant: f64, turn: f64| 2.0 * slant * (0.5 * turn * half.sin()).sin();
        assert!((chord(1.0, TAU) / number(&case["loop_over_slant"]) - 1.0).abs() < 1e-8);
        let mut errors = [0.0; 2];
        for (error, edge) in errors.iter_mut().zip([half.sin() * 16.0, half.sin() * 8.0]) {
            let mesh = cone(slant_end * half.sin(), slant_end * half.cos(), edge);
            let at = |around: f64| {
                let r = slant * half.sin();
                let z = (slant_end - slant) * half.cos();
                nearest(&mesh, Point::new(r * around.cos(), r * around.sin(), z))
            };
            let stops = [0.0, 0.3 * TAU, 0.5 * TAU, 0.8 * TAU].map(at);
            let mut way = vec![stops[0]];
            for pair in stops.windows(2) {
                way.extend(&edge_way(&mesh, pair[0], pair[1], 0.3, 1)[1..]);
            }
            let place = |v: &u32| mesh.positions[*v as usize];
            let turn = turn_of(way.iter().map(|v| place(v).y.atan2(place(v).x)));
            assert!((0.7..0.9).contains(&(turn / TAU)), "{turn}");
            let [a, b] = [0, way.len() - 1].map(|k| {
                let p = place(&way[k]);
                p.x.hypot(p.y) / half.sin()
            });
            let exact = (a * a + b * b - 2.0 * a * b * (turn * half.sin()).cos()).sqrt();
            *error = (straightened(&mesh, &way) / exact - 1.0).abs();
        }
        println!("cone {:.0} degrees: {errors:?}", half.to_degrees());
        assert!(errors[0] < 0.01 && errors[1] < 0.5 * errors[0] + 1e-4, "{half}: {errors:?}");
    }
}

/// Straightened ways against exact shortest ways on the same mesh. Straightening finds the
/// shortest curve near the way it was given, so it can never be shorter than the exact one, and it
/// is as short wherever the way ran on the right side of every hole and lump. Which side that is
/// may not be told by the shortest way along edges, so a few ways nearly as short are tried too.
fn exact_ways_agree(name: &str, mesh: &TriangleMesh, paths: &[Value]) {
    assert!(!paths.is_empty(), "{name}");
    let mut excess = Vec::new();
    for path in paths {
        let path = path.as_array().expect("source, end, distance");
        let [from, to] = [0, 1].map(|k| path[k].as_u64().expect("a vertex") as u32);
        let exact = number(&path[2]);
        if from == to {
            assert_eq!(exact, 0.0);
            continue;
        }
        let mut best = f64::INFINITY;
        for seed in 0..24 {
            let way = edge_way(mesh, from, to, 0.1 * seed as f64, seed);
            let length = straightened(mesh, &way);
            assert!(length > exact * (1.0 - 1e-6), "{name} {from}-{to}: {length} below {exact}");
            assert!(length <= way_length(mesh, &way) * (1.0 + 1e-9), "{name} {from}-{to}");
            best = best.min(length / exact - 1.0);
            if best < 1e-6 {
                break;
            }
        }
        if best > 1e-3 {
            println!("{name} {from}-{to}: {:.3} % above the exact {exact:.5}", 100.0 * best);
        }
        excess.push(best);
    }
    excess.sort_by(f64::total_cmp);
    let (median, worst) = (excess[excess.len() / 2], excess[excess.len() - 1]);
    let same = excess.iter().filter(|e| **e < 1e-6).count();
    println!(
        "{name}: {same} of {} as short as the exact way, median {:+.4} %, worst {:+.3} %",
        excess.len(),
        100.0 * median,
        100.0 * worst
    );
    assert!(median < 1e-6, "{name}: median {median}");
    assert!(worst < 0.01, "{name}: worst {worst}");
}

#[test]
fn curves_on_a_lumpy_ball_agree_with_pygeodesic() {
    let file = reference("geodesics.json");
    let lumps = &file["lumps"];
    let positions = list(lumps, "positions")
        .iter()
        .map(|p| {
            let p = p.as_array().expect("x, y, z");
            Point::new(number(&p[0]), number(&p[1]), number(&p[2]))
        })
        .collect();
    let faces = rows_of_faces(list(lumps, "faces"));
    exact_ways_agree("lumps", &TriangleMesh { positions, faces }, list(lumps, "paths"));
}

fn rows_of_faces(faces: &[Value]) -> Vec<[u32; 3]> {
    faces
        .iter()
        .map(|f| {
            let f = f.as_array().expect("three corners");
            [0, 1, 2].map(|k| f[k].as_u64().expect("an index") as u32)
        })
        .collect()
}

#[test]
fn curves_on_open_meshes_agree_with_pygeodesic() {
    let file = reference("geodesics.json");
    for name in ["eight", "hand", "elephant"] {
        let mesh = open_mesh(name).expect("an open mesh");
        exact_ways_agree(name, &mesh, list(&file["open_meshes"][name], "paths"));
    }
}

/// Whole and torn soups, near the surface and far from it: winding numbers to two thousandths, as the fast ones of
/// libigl are; distances to what is written of them.
#[test]
fn winding_numbers_and_distances_agree_with_libigl() {
    let file = reference("winding.json");
    let mut compared = 0;
    for name in ["bull", "eight", "knot1"] {
        let whole = open_mesh(name).expect("an open mesh");
        let mut torn = whole.clone();
        let mut index = 0;
        torn.faces.retain(|_| {
            index += 1;
            (index - 1) % 7 != 0
        });
        for face in torn.faces.iter_mut().step_by(11) {
            face.swap(1, 2);
        }
        for (kind, soup) in [("whole", whole), ("torn", torn)] {
            let case = &file[name][kind];
            let winding = WindingNumbers::new(&soup);
            let locator = SurfaceLocator::new(&soup).expect("a soup");
            let (exact, distances) = (numbers(case, "winding"), numbers(case, "distance"));
            for (k, point) in list(case, "points").iter().enumerate() {
                let at: Vec<f64> = point.as_array().expect("a point").iter().map(number).collect();
                let at = Point::new(at[0], at[1], at[2]);
                let off = (winding.at(&at) - exact[k]).abs();
                assert!(off < 2e-3, "{name}, {kind}, {at}: {} {}", winding.at(&at), exact[k]);
                let distance = locator.closest(&at).distance;
                let bound = 1e-6 * distances[k] + 1e-9;
                assert!((distance - distances[k]).abs() < bound, "{name}, {kind}, {at}");
                compared += 1;
            }
        }
    }
    assert_eq!(compared, 3 * 2 * 80);
}

/// Poses and how often bodies come to rest in them: on hulls of random points, where every facet is a triangle, to six
/// digits; on open meshes to a five-hundredth, since trimesh takes normals that agree to three digits for one, and
/// rolls over coplanar triangles one by one.
#[test]
fn resting_poses_agree_with_trimesh() {
    let file = reference("poses.json");
    let triple = |value: &Value| -> Vector {
        let parts: Vec<f64> = value.as_array().expect("a triple").iter().map(number).collect();
        Vector::new(parts[0], parts[1], parts[2])
    };
    let mut compared = 0;
    for (name, open) in
        [("bull", true), ("bunny00", true), ("hull 1", false), ("hull 2", false), ("hull 3", false)]
    {
        let body = &file[name];
        let mesh = if open {
            outside_out(open_mesh(name).expect("an open mesh"))
        } else {
            let positions = list(body, "vertices").iter().map(|v| Point::from(triple(v))).collect();
            TriangleMesh { positions, faces: rows_of_faces(list(body, "faces")) }
        };
        let size = mesh.longest_side();
        let centre = mesh.centre_of_mass().expect("a solid");
        assert!((centre.coords - triple(&body["centre_of_mass"])).norm() < 1e-7 * size, "{name}");
        let own = resting_poses(&mesh, 0.0).expect("poses");
        let total: f64 = own.iter().map(|pose| pose.likelihood).sum();
        assert!((total - 1.0).abs() < 1e-9, "{name}: {total} in all");
        let (degrees, bound) = if open { (0.2f64, 2e-3) } else { (1e-4, 1e-6) };
        for pose in list(body, "poses") {
            let up = triple(&pose["up"]);
            let near = own.iter().filter(|p| p.up.angle(&up) < degrees.to_radians());
            let likelihood: f64 = near.map(|p| p.likelihood).sum();
            let expected = number(&pose["likelihood"]);
            assert!(
                (likelihood - expected).abs() < bound,
                "{name}, {up}: {likelihood}, {expected}"
            );
            compared += 1;
        }
    }
    assert!(compared > 30, "{compared}");
}

/// What of a surface cannot be drawn off: a tube with a bore and an open mesh, seen along ten directions, to two thousandths
/// of the area. Rays that graze an edge may fall either way.
#[test]
fn undercuts_agree_with_trimeshs_rays() {
    let file = reference("undercuts.json");
    let mut compared = 0;
    for name in ["tube", "eight"] {
        let body = &file[name];
        let mesh = if name == "tube" {
            let positions = list(body, "vertices")
                .iter()
                .map(|v| {
                    let at: Vec<f64> = v.as_array().expect("a point").iter().map(number).collect();
                    Point::new(at[0], at[1], at[2])
                })
                .collect();
            TriangleMesh { positions, faces: rows_of_faces(list(body, "faces")) }
        } else {
            outside_out(open_mesh(name).expect("an open mesh"))
        };
        let held = list(body, "held");
        let draws: Vec<Vector> = held
            .iter()
            .map(|case| {
                let d: Vec<f64> = list(case, "direction").iter().map(number).collect();
                Vector::new(d[0], d[1], d[2])
            })
            .collect();
        let lift = number(&file["lift"]) * mesh.longest_side();
        let own = undercut_shares(&mesh, &draws, lift).expect("a surface");
        for ((own, case), draw) in own.iter().zip(held).zip(&draws) {
            let expected = number(&case["area"]);
            assert!((own - expected).abs() < 2e-3, "{name}, {draw}: {own}, {expected}");
            compared += 1;
        }
    }
    assert_eq!(compared, 20);
}
