use std::f64::consts::PI;

use super::super::check::{CheckOptions, check, genus};
use super::super::fixtures::*;
use super::*;

fn rebuilt(soup: &TriangleMesh, allowed: f64) -> Rebuilt {
    let made = rebuild(soup, allowed, &Cancel::new()).unwrap_or_else(|error| panic!("{error}"));
    let faults = check(&made.mesh, &CheckOptions::default()).faults;
    let grave: Vec<_> =
        faults.iter().filter(|f| f.kind != super::super::FaultKind::DegenerateFace).collect();
    assert!(grave.is_empty(), "{grave:?}");
    assert!(made.deviation.largest() <= allowed);
    made
}

fn close(found: f64, exact: f64, share: f64) {
    assert!((found / exact - 1.0).abs() < share, "{found} in place of {exact}");
}

/// Two balls of radius r, middles d apart: what they share is a lens of volume pi (4 r + d) (2 r - d)^2 / 12, and each
/// one's cap within the other is h = r - d / 2 high, with area 2 pi r h.
#[test]
fn balls_that_overlap_become_one_body() {
    let (r, d) = (30.0, 36.0);
    let soup = joined(&icosphere(r, 5), &moved(&icosphere(r, 5), [d, 0.0, 0.0]));
    let made = rebuilt(&soup, 0.3);
    let lens = PI * (4.0 * r + d) * (2.0 * r - d).powi(2) / 12.0;
    close(made.mesh.signed_volume(), 8.0 / 3.0 * PI * r.powi(3) - lens, 5e-3);
    close(made.mesh.area(), 2.0 * (4.0 * PI * r * r - 2.0 * PI * r * (r - d / 2.0)), 5e-3);
    assert_eq!(genus(&made.mesh), Ok(0));
    // The seam between the two is a sharp valley: a circle of radius sqrt(r^2 - d^2 / 4) = 24 mm half way.
    let seam = made.mesh.positions.iter().filter(|p| (p.x - d / 2.0).abs() < 1e-6);
    let off = seam.map(|p| (p.y.hypot(p.z) - 24.0).abs()).fold(0.0, f64::max);
    assert!(off < 0.1, "{off}");
}

/// A twentieth of the faces missing and another one there twice: the body is closed all the same. Hausdorff distances
/// by the soup itself, volume of the ball in closed form.
#[test]
fn a_ball_of_loose_faces_is_closed() {
    let ball = icosphere(40.0, 5);
    let mut soup = TriangleMesh { positions: ball.positions, faces: Vec::new() };
    for (k, face) in ball.faces.iter().enumerate() {
        match k * 7 % 20 {
            3 => {}
            11 => soup.faces.extend([*face, *face]),
            _ => soup.faces.push(*face),
        }
    }
    let made = rebuilt(&soup, 0.4);
    close(made.mesh.signed_volume(), 4.0 / 3.0 * PI * 64_000.0, 5e-3);
    assert_eq!(genus(&made.mesh), Ok(0));
}

/// Edges and corners of a box stay sharp, whatever the cells: 24,000 mm^3 and 5,200 mm^2 in closed form.
#[test]
fn a_box_stays_a_box() {
    let soup = moved(&cuboid([40.0, 30.0, 20.0]), [7.0, -3.0, 11.0]);
    let made = rebuilt(&soup, 0.12);
    close(made.mesh.signed_volume(), 24_000.0, 1e-3);
    close(made.mesh.area(), 5_200.0, 1e-3);
    assert!(made.deviation.largest() < 0.05, "{:?}", made.deviation);
}

/// A torus keeps its hole: 2 pi^2 R r^2, genus 1.
#[test]
fn a_torus_keeps_its_hole() {
    let made = rebuilt(&torus(40.0, 12.0, 120, 60), 0.3);
    close(made.mesh.signed_volume(), 2.0 * PI * PI * 40.0 * 144.0, 5e-3);
    assert_eq!(genus(&made.mesh), Ok(1));
}

#[test]
fn what_encloses_nothing_or_is_too_thin_is_refused() {
    let sheet = TriangleMesh {
        positions: vec![Point::origin(), Point::new(9.0, 0.0, 0.0), Point::new(0.0, 9.0, 0.0)],
        faces: vec![[0, 1, 2]],
    };
    assert_eq!(rebuild(&sheet, 0.3, &Cancel::new()), Err(RebuildError::Nothing));
    // A fin of 0.05 mm on a box: cells of half a millimetre do not see it.
    let fin = moved(&cuboid([0.05, 10.0, 10.0]), [10.0, 5.0, 15.0]);
    let error = rebuild(&joined(&cuboid([20.0; 3]), &fin), 0.4, &Cancel::new());
    assert!(matches!(error, Err(RebuildError::TooFar { .. })), "{error:?}");
    assert!(matches!(
        rebuild(&cuboid([100.0; 3]), 0.01, &Cancel::new()),
        Err(RebuildError::TooFine { .. })
    ));
    let cancel = Cancel::new();
    cancel.cancel();
    assert!(matches!(rebuild(&cuboid([20.0; 3]), 0.3, &cancel), Err(RebuildError::Cancelled(_))));
}
