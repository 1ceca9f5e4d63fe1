//! Holes of open meshes against a homology library.
//!
//! Reference: Betti numbers by gudhi over the fields of 2 and 11 elements, in
//! `tests/reference/homology.json`, made by the script beside it.

use std::time::Instant;

use slitwright_solver::bridges::{BridgeKind, BridgeReport, DiscState, find_bridges};
use slitwright_solver::mesh::{Point, Topology, Vector};
use slitwright_tests::{open_mesh_sized, outside_out};

fn bridges(name: &str) -> BridgeReport {
    let mesh = outside_out(open_mesh_sized(name, 150.0).expect("an open mesh"));
    let topology = Topology::new(&mesh).expect("closed mesh");
    let board = (Point::origin(), Vector::z());
    let started = Instant::now();
    let report = find_bridges(&mesh, &topology, &[], board)
        .unwrap_or_else(|fault| panic!("{name}: {fault}"));
    println!("{name}: {} vertices, {:.2} s", mesh.positions.len(), started.elapsed().as_secs_f64());
    for bridge in &report.bridges {
        println!(
            "  {:?} {} vertices, cut {:.1} mm, neck {:.0} mm^2 x {:.1} mm, depth {:.1} mm, {:?}",
            bridge.kind,
            bridge.path.len(),
            bridge.length,
            bridge.neck_area,
            bridge.neck_width,
            bridge.depth,
            bridge.disc
        );
    }
    for warning in &report.warnings {
        println!("  {warning:?}");
    }
    report
}

fn reference() -> serde_json::Value {
    let text = include_str!("../../reference/homology.json");
    serde_json::from_str(text).expect("reference is JSON")
}

/// The first Betti number of a closed orientable surface is twice its genus.
fn check_against_reference(name: &str) -> BridgeReport {
    let report = bridges(name);
    let reference = reference();
    assert_eq!(reference["library"], "gudhi");
    let betti = &reference["meshes"][name]["betti"];
    for field in ["2", "11"] {
        assert_eq!(betti[field][0], 1, "{name}");
        assert_eq!(betti[field][1], 2 * report.genus, "{name} over {field}");
        assert_eq!(betti[field][2], 1, "{name}");
    }
    assert_eq!(report.holes, report.genus, "{name} has no gate");
    assert_eq!(report.bridges.len(), report.holes as usize, "{name}: {:?}", report.warnings);
    assert!(report.bridges.iter().all(|b| b.kind == BridgeKind::Handle));
    report
}

#[test]
fn eight_has_two_plain_bridges() {
    let report = check_against_reference("eight");
    assert_eq!(report.genus, 2);
    assert!(report.bridges.iter().all(|b| b.disc == DiscState::Plain));
}

#[test]
fn elephant_has_three_bridges() {
    let report = check_against_reference("elephant");
    assert_eq!(report.genus, 3);
    assert!(report.bridges.iter().all(|b| b.disc == DiscState::Plain));
}

#[test]
fn knot_is_named() {
    let report = check_against_reference("knot1");
    assert_eq!(report.genus, 1);
    let DiscState::Knotted { determinant, .. } = &report.bridges[0].disc else {
        panic!("the knotted tube was given a plain disc")
    };
    assert!(determinant.is_some_and(|d| d != 1), "{determinant:?}");
}

#[test]
fn shapes_without_handles_have_no_bridge() {
    for name in ["bunny00", "hand", "bull"] {
        let report = check_against_reference(name);
        assert_eq!(report.genus, 0, "{name}");
        assert!(report.warnings.is_empty(), "{name}: {:?}", report.warnings);
    }
}
