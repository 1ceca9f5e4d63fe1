//! Saddles of the potential on open meshes against a homology library: as many bridges as handles.
//!
//! Reference: Betti numbers by gudhi in `tests/reference/homology.json`, made by the script beside it.

use std::path::Path;

use serde_json::Value;
use slitwright_solver::body::{MouldBody, MouldShape};
use slitwright_solver::control::Control;
use slitwright_solver::field::{Domain, Potential, RubberDomain, SaddleKind, SaddleReport};
use slitwright_solver::mesh::{Point, TriangleMesh};
use slitwright_tests::{open_mesh_sized, outside_out};

const NAMES: [&str; 6] = ["bunny00", "eight", "hand", "elephant", "refined_elephant", "knot1"];
/// Nodes along the longest side of the body.
const NODES: f64 = 110.0;

/// Hung below the board's plane, so that there is rubber all round.
fn hung(name: &str) -> TriangleMesh {
    let mut mesh = outside_out(open_mesh_sized(name, 150.0).expect("an open mesh"));
    let (_, high) = mesh.bounds().expect("not empty");
    for p in &mut mesh.positions {
        *p = Point::from(*p - high) - nalgebra::Vector3::z() * 20.0;
    }
    mesh
}

fn saddles(name: &str) -> SaddleReport {
    let mesh = hung(name);
    let shape = MouldShape::Box { side_clearance: 20.0, top_clearance: 20.0 };
    let body = MouldBody::new(&mesh, &shape).expect("a body");
    let domain = RubberDomain::new(&body, &mesh);
    let (low, high) = domain.bounds();
    let quiet = Control::silent();
    let field = Potential::solve(&domain, (high - low).max() / NODES, &quiet).expect("solves");
    let report = field.saddles(0.02, Some(&domain), &quiet).expect("saddles");
    println!("{name}: {:?}", field.report());
    for s in &report.saddles {
        let disc = s.disc.as_ref().map(|d| (d.rim_length, d.area, d.widest_step));
        println!(
            "  {:?} {:.3} {:.3} {:?} {disc:?} {}",
            s.position, s.level, s.persistence, s.kind, s.resolved
        );
    }
    println!("  left out {}", report.left_out);
    report
}

/// Handles by gudhi: half of the surface's first Betti number.
fn handles(name: &str) -> usize {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("reference/homology.json");
    let text = std::fs::read_to_string(path).expect("the reference file");
    let file: Value = serde_json::from_str(&text).expect("JSON");
    let loops = &file["meshes"][name]["betti"]["2"][1];
    loops.as_u64().unwrap_or_else(|| panic!("{name} is not in the reference")) as usize / 2
}

#[test]
fn open_meshes_have_a_bridge_for_every_handle() {
    for name in NAMES {
        let report = saddles(name);
        let bridges: Vec<_> =
            report.saddles.iter().filter(|s| s.kind == SaddleKind::Bridge && s.resolved).collect();
        assert_eq!(bridges.len(), handles(name), "{name}: {:?}", report.saddles);
        // A knot's hole has no plain disc: the field lines part, and the rim has a step.
        for disc in bridges.iter().filter_map(|s| s.disc.as_ref()) {
            let torn = disc.widest_step > 6.0;
            assert_eq!(torn, name == "knot1", "{name}: {}", disc.widest_step);
        }
    }
}
