//! The potential round a lumpy body of revolution against finite elements (scikit-fem), values by
//! `tests/reference/potential.py`: another method, another mesh, other code.

use std::f64::consts::PI;
use std::path::PathBuf;

use serde_json::Value;
use slitwright_solver::body::{MouldBody, MouldShape};
use slitwright_solver::control::Control;
use slitwright_solver::field::{Domain, Potential, RubberDomain};
use slitwright_solver::mesh::Point;
use slitwright_tests::surface_of_revolution;

fn numbers(value: &Value) -> Vec<f64> {
    let list = value.as_array().expect("a list");
    list.iter().map(|v| v.as_f64().expect("a number")).collect()
}

#[test]
fn a_lumpy_body_agrees_with_finite_elements() {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("reference/potential.json");
    let text = std::fs::read_to_string(&path).expect("the reference file");
    let file: Value = serde_json::from_str(&text).expect("JSON");
    let radii = numbers(&file["radii"]);
    let side = file["side"].as_f64().expect("side");
    // From the bottom up; the body's ends are exact on the axis.
    let profile: Vec<(f64, f64)> = (0..=240)
        .map(|n| {
            let angle = PI * (1.0 - f64::from(n) / 240.0);
            let r: f64 = radii.iter().enumerate().map(|(k, c)| c * (k as f64 * angle).cos()).sum();
            let on_axis = n == 0 || n == 240;
            (if on_axis { 0.0 } else { r * angle.sin() }, r * angle.cos())
        })
        .collect();
    let model = surface_of_revolution(&profile, 240);
    let shape = MouldShape::Cylinder { side_clearance: side, top_clearance: side };
    let body = MouldBody::new(&model, &shape).expect("a body");
    let domain = RubberDomain::new(&body, &model);
    let (low, high) = domain.bounds();
    for (name, ours) in [("low", low.z), ("high", high.z), ("radius", high.x)] {
        let theirs = file["body"][name].as_f64().expect("a length");
        assert!((ours - theirs).abs() < 2e-3, "{name}: {ours} {theirs}");
    }

    let flux = file["flux"].as_f64().expect("flux");
    let values = numbers(&file["values"]);
    let points = file["points_r_z"].as_array().expect("points");
    assert!(values.len() == points.len() && values.len() > 40);
    let errors = [1.2, 0.6].map(|spacing| {
        let field = Potential::solve(&domain, spacing, &Control::silent()).expect("solves");
        let mut greatest: f64 = 0.0;
        for (n, (point, value)) in points.iter().zip(&values).enumerate() {
            let [r, z] = numbers(point)[..] else { panic!("point {n}") };
            // Round the axis, so that all directions of the grid are met.
            let turn = 0.7 + 2.4 * n as f64;
            let at = Point::new(r * turn.cos(), r * turn.sin(), z);
            let (ours, _) = field.sample(&at).expect("in the rubber");
            greatest = greatest.max((ours - value).abs());
        }
        (greatest, (field.report().flux / flux - 1.0).abs())
    });
    assert!(errors[0].0 < 2.5e-3 && errors[1].0 < 8e-4, "{errors:?}");
    assert!(errors[0].1 < 4e-3 && errors[1].1 < 2e-3, "{errors:?}");
}
