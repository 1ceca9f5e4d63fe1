//! Files read back with another project's reader, which checks the document against the schema.

use gltf::Gltf;
use gltf::animation::Property;
use gltf::mesh::Mode;

use super::*;
use crate::body::Outside;
use crate::mesh::fixtures::icosphere;
use crate::mesh::{MeshFormat, Point, ReadLimits, TriangleMesh, Vector, read};
use crate::outputs::fixtures::{block_drawn_off, cut, empty_plan, sheet_report, tried_ball};
use crate::plan::CutKind;

/// The numbers of an accessor as they stand in the chunk.
fn floats(file: &Gltf, accessor: &gltf::Accessor<'_>) -> Vec<f32> {
    let blob = file.blob.as_ref().expect("a binary chunk");
    let view = accessor.view().expect("a view");
    let start = view.offset() + accessor.offset();
    assert_eq!(start % 4, 0, "views are aligned");
    assert!(view.offset() + view.length() <= blob.len());
    let bytes = &blob[start..start + accessor.count() * accessor.size()];
    bytes.as_chunks::<4>().0.iter().map(|b| f32::from_le_bytes(*b)).collect()
}

/// Every bound in the document is that of the numbers in the chunk (glTF 2.0, 3.6.2.5).
fn check_bounds(file: &Gltf) {
    let mut checked = 0;
    for accessor in file.accessors() {
        let (Some(min), Some(max)) = (accessor.min(), accessor.max()) else { continue };
        let width = accessor.dimensions().multiplicity();
        let values = floats(file, &accessor);
        for axis in 0..width {
            let own = || values.iter().skip(axis).step_by(width).copied();
            let bound = |value: &gltf::json::Value| value[axis].as_f64().expect("a number") as f32;
            assert_eq!(bound(&min), own().fold(f32::INFINITY, f32::min));
            assert_eq!(bound(&max), own().fold(f32::NEG_INFINITY, f32::max));
        }
        checked += 1;
    }
    assert!(checked > 0);
}

fn node<'f>(file: &'f Gltf, name: &str) -> gltf::Node<'f> {
    file.nodes().find(|node| node.name() == Some(name)).expect("a node of that name")
}

/// A point of a node as a viewer places it, m, y up.
fn placed(file: &Gltf, point: [f32; 3]) -> [f32; 3] {
    let scene = file.default_scene().expect("a scene");
    let top = scene.nodes().next().expect("a node");
    let m = top.transform().matrix();
    [0, 1, 2].map(|r| m[0][r] * point[0] + m[1][r] * point[1] + m[2][r] * point[2] + m[3][r])
}

#[test]
fn a_trial_reads_back() {
    let (report, model) = tried_ball();
    let glb = trial_glb(&report, &model, None).expect("writes");
    let file = Gltf::from_slice(&glb.bytes).expect("reads");
    check_bounds(&file);
    let still = node(&file, "model").mesh().expect("a mesh").primitives().next().expect("one");
    assert_eq!(
        still.get(&gltf::Semantic::Positions).expect("points").count(),
        model.positions.len()
    );
    assert_eq!(still.indices().expect("faces").count(), 3 * model.faces.len());
    let mesh = node(&file, "rubber").mesh().expect("a mesh");
    let rubber = mesh.primitives().next().expect("one");
    assert_eq!(glb.frames, (0..report.frames.len()).collect::<Vec<_>>());
    assert_eq!(rubber.morph_targets().count(), report.frames.len() - 1);
    assert_eq!(rubber.indices().expect("faces").count(), 3 * report.surface.len());
    // Base and last target together give the last frame, to the precision of the numbers.
    let base = floats(&file, &rubber.get(&gltf::Semantic::Positions).expect("points"));
    let last = rubber.morph_targets().last().expect("a target").positions().expect("points");
    let moved = floats(&file, &last);
    let mut nodes: Vec<u32> = report.surface.iter().flatten().copied().collect();
    nodes.sort_unstable();
    nodes.dedup();
    let end = &report.frames[report.frames.len() - 1].positions;
    for (k, &n) in nodes.iter().enumerate() {
        for axis in 0..3 {
            let got = f64::from(base[3 * k + axis]) + f64::from(moved[3 * k + axis]);
            assert!((got - end[n as usize][axis]).abs() < 1e-4);
        }
    }
}

/// 3.11: as many weights a time as there are targets, times that grow; one frame at each time.
#[test]
fn the_animation_has_one_frame_at_each_time() {
    let (report, model) = block_drawn_off(1.5);
    let glb = trial_glb(&report, &model, None).expect("writes");
    let file = Gltf::from_slice(&glb.bytes).expect("reads");
    let animation = file.animations().next().expect("an animation");
    let channel = animation.channels().next().expect("a channel");
    assert_eq!(channel.target().property(), Property::MorphTargetWeights);
    assert_eq!(channel.target().node().name(), Some("rubber"));
    let times = floats(&file, &channel.sampler().input());
    let weights = floats(&file, &channel.sampler().output());
    let targets = glb.frames.len() - 1;
    assert!(times[0] == 0.0 && times.windows(2).all(|pair| pair[0] < pair[1]));
    assert_eq!(weights.len(), times.len() * targets);
    let sums: Vec<f32> = weights.chunks(targets).map(|w| w.iter().sum()).collect();
    assert!(sums[0] == 0.0 && sums[1..].iter().all(|&s| s == 1.0), "{sums:?}");
}

/// 3.4: metres, y up. The block's top stands at z = 20 mm.
#[test]
fn millimetres_with_z_up_become_metres_with_y_up() {
    let (report, model) = block_drawn_off(1.5);
    let glb = trial_glb(&report, &model, None).expect("writes");
    let file = Gltf::from_slice(&glb.bytes).expect("reads");
    let close = |a: [f32; 3], b: [f32; 3]| a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-6);
    assert!(close(placed(&file, [0.0, 0.0, 20.0]), [0.0, 0.02, 0.0]));
    assert!(close(placed(&file, [10.0, 0.0, 0.0]), [0.01, 0.0, 0.0]));
    // A model that stands head down in its file.
    let mut plan = empty_plan();
    plan.up = -Vector::y();
    let bytes = plan_glb(&model, &plan, None).expect("writes");
    let file = Gltf::from_slice(&bytes).expect("reads");
    assert!(close(placed(&file, [0.0, -7.0, 0.0]), [0.0, 0.007, 0.0]));
}

#[test]
fn frames_are_left_out_to_keep_the_limit() {
    let (report, model) = block_drawn_off(1.5);
    let whole = trial_glb(&report, &model, None).expect("writes");
    let limit = whole.bytes.len() - 500;
    let less = trial_glb(&report, &model, Some(limit)).expect("writes");
    assert!(less.bytes.len() <= limit && less.frames.len() < whole.frames.len());
    assert_eq!((less.frames[0], less.frames.last()), (0, whole.frames.last()));
    Gltf::from_slice(&less.bytes).expect("reads");
    let none = trial_glb(&report, &model, Some(3000));
    assert!(matches!(none, Err(GlbError::TooLarge { limit: 3000, .. })), "{none:?}");
}

#[test]
fn a_plan_reads_back() {
    let model = icosphere(20.0, 3);
    let mut plan = empty_plan();
    let line = vec![Point::new(20.0, 0.0, 0.0), Point::new(0.0, 20.0, 0.0)];
    plan.cuts = vec![cut(1, CutKind::FromGate, line.clone()), cut(2, CutKind::Bridge, line)];
    let (low, high) = (Point::new(-30.0, -30.0, -20.0), Point::new(30.0, 30.0, 35.0));
    plan.sheets = Some(sheet_report(&plan.cuts, low, high));
    let bytes = plan_glb(&model, &plan, None).expect("writes");
    let file = Gltf::from_slice(&bytes).expect("reads");
    check_bounds(&file);
    let line = node(&file, "cut 2").mesh().expect("a mesh").primitives().next().expect("one");
    assert_eq!((line.mode(), line.material().name()), (Mode::LineStrip, Some("bridge cut")));
    let skin = node(&file, "outside of the rubber").mesh().expect("a mesh");
    let skin = skin.primitives().next().expect("one");
    assert_eq!(skin.material().alpha_mode(), gltf::material::AlphaMode::Blend);
    assert_eq!(skin.bounding_box().max, [30.0, 30.0, 35.0]);
    assert!(matches!(skin.get(&gltf::Semantic::Positions), Some(points) if points.count() == 8));
}

#[test]
fn what_cannot_be_written_is_refused() {
    let (report, model) = block_drawn_off(1.5);
    let nothing = trial_glb(&report, &TriangleMesh::default(), None);
    assert!(matches!(nothing, Err(GlbError::Broken { .. })), "{nothing:?}");
    let mut torn = report.clone();
    torn.surface.push([0, 1, 999_999]);
    assert!(matches!(trial_glb(&torn, &model, None), Err(GlbError::Broken { .. })));
    let mut lost = report.clone();
    lost.frames[1].positions[0].x = f64::NAN;
    assert!(matches!(trial_glb(&lost, &model, None), Err(GlbError::Broken { .. })));
    let mut plan = empty_plan();
    plan.cuts = vec![cut(1, CutKind::FromGate, Vec::new())];
    let error = plan_glb(&model, &plan, None).expect_err("refused");
    assert_eq!(error.to_string(), "cut 1 cannot be written: it has no points");
    // The outside of a blanket is the model's, 5 mm further out, found on cells of a fortieth of the longest side.
    let mut blanket = sheet_report(&[], Point::origin(), Point::new(1.0, 1.0, 1.0));
    blanket.skin.outside = Outside::Offset { thickness: 5.0, bottom: 0.0 };
    let plan = crate::plan::Plan { sheets: Some(blanket), ..empty_plan() };
    let bytes = plan_glb(&model, &plan, None).expect("writes");
    let file = Gltf::from_slice(&bytes).expect("reads");
    let skin = node(&file, "outside of the rubber").mesh().expect("a mesh");
    let skin = skin.primitives().next().expect("one").bounding_box();
    let (low, high) = model.bounds().expect("a ball");
    let cell = (high - low).max() / 40.0 + 0.25;
    for axis in [0, 1] {
        assert!((f64::from(skin.max[axis]) - high[axis] - 5.0).abs() < cell, "{skin:?} {high}");
        assert!((f64::from(skin.min[axis]) - low[axis] + 5.0).abs() < cell, "{skin:?} {low}");
    }
}

/// What is written here of a plan with z up comes back as a model: the same triangles at the same places, in single precision.
#[test]
fn a_plan_in_space_is_read_back_as_a_model() {
    let ball = icosphere(25.0, 3);
    let file = plan_glb(&ball, &empty_plan(), None).expect("written");
    let limits = ReadLimits::default();
    let back = read(&file, MeshFormat::Gltf, None, &limits).expect("a sound file");
    assert_eq!(back.faces, ball.faces);
    for (p, q) in back.positions.iter().zip(&ball.positions) {
        assert!((p - q).norm() < 1e-4, "{p} {q}");
    }
}
