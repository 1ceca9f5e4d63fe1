//! The strip, on rubber whose deformation is known in closed form and on a whole trial.

use super::super::raster::Sample;
use super::super::tests::carries_cautions;
use super::open::{self, Plane};
use super::*;
use crate::mesh::{Point, TriangleMesh, Vector};
use crate::outputs::fixtures::{as_planned, block_drawn_off, trial_of_block, tried_ball};
use crate::trial::{Hindrance, Outcome};

fn style() -> PictureStyle {
    PictureStyle { page_width: 1500, heading: Some("knob".to_owned()), ..PictureStyle::default() }
}

fn decoded(picture: &Picture) -> tiny_skia::Pixmap {
    tiny_skia::Pixmap::decode_png(&picture.png).expect("a PNG file")
}

/// A block that is drawn out to 1.5 times its length is stretched by one half everywhere.
#[test]
fn stretch_is_that_of_the_deformation() {
    let (report, _) = block_drawn_off(1.5);
    assert!(report.stretches(0).iter().all(|s| (s - 1.0).abs() < 1e-9));
    let last = report.frames.len() - 1;
    let stretches = report.stretches(last);
    assert_eq!(stretches.len(), report.elements.len());
    assert!(stretches.iter().all(|s| (s - 1.5).abs() < 1e-9));
    assert!(open::at_nodes(&report, &stretches).iter().all(|s| (s - 1.5).abs() < 1e-6));
    assert!(report.stretches(99).is_empty());
}

/// A plane through the middle of a block of 20 x 20 x 20 mm that is drawn out to 1.5 times its height
/// has a cut face of 20 x 30 mm, flat in the plane; what is kept of the skin is half of it.
#[test]
fn opened_rubber_has_the_cut_face_of_its_shape() {
    let (report, _) = block_drawn_off(1.5);
    let last = report.frames.len() - 1;
    let values = open::at_nodes(&report, &report.stretches(last));
    let plane = Plane { through: Point::new(0.3, 0.0, 0.0), normal: -Vector::x() };
    let rubber = open::opened(&report, last, &values, &plane);
    let (mut face, mut skin) = (0.0, 0.0);
    for (index, corners) in rubber.mesh.faces.iter().enumerate() {
        let area = rubber.mesh.face_area(crate::mesh::FaceId(index as u32));
        if corners.iter().all(|&v| rubber.values[v as usize] < 0.0) {
            assert!(
                corners
                    .iter()
                    .all(|&v| { (rubber.mesh.positions[v as usize].x - 0.3).abs() < 1e-9 })
            );
            face += area;
        } else {
            skin += area;
        }
    }
    assert!((face - 600.0).abs() < 1e-6, "{face}");
    // Beyond x = 0.3: a side of 20 x 30, two walls of 9.7 x 30, top and foot of 20 x 9.7.
    assert!((skin - (600.0 + 2.0 * 9.7 * 30.0 + 2.0 * 20.0 * 9.7)).abs() < 1e-6, "{skin}");
}

/// Lips that go apart along y are seen from x, and the half with the lips is the one that is kept.
#[test]
fn the_side_shows_the_lips_apart() {
    let (mut report, model) = block_drawn_off(1.5);
    let lips = &mut report.frames[1].positions;
    for point in lips.iter_mut().filter(|p| p.x > 0.0) {
        point.y += 4.0 * point.y.signum();
    }
    let [opened, whole] = side::choose(&report, &model);
    assert!(opened.toward.x < -0.999, "{:?}", opened.toward);
    assert!(opened.up.z > 0.999 && whole.toward.x > 0.5 && whole.toward.z > 0.2, "{whole:?}");
    for view in [opened, whole] {
        assert!((view.right.cross(&view.up) - view.toward).norm() < 1e-12);
    }
}

/// Model, skin and cut face are told apart by tone, hatching and line; stretched rubber is darker.
#[test]
fn tones_tell_model_and_rubber_apart() {
    let bands = tones::Bands::up_to(0.6);
    let sample = |value, x| Sample { light: 0.6, value, edge: None, at: [x, 0] };
    let luma = |c: [f32; 3]| 0.299 * c[0] + 0.587 * c[1] + 0.114 * c[2];
    let at = |strain: f32| luma(bands.colour(&sample(Some(1.0 + strain), 0)));
    assert!(at(0.05) > at(0.15) && at(0.15) > at(0.25) && at(0.25) > at(0.45));
    assert!(luma(bands.colour(&sample(Some(-1.05), 0))) > at(0.05));
    // The hatching runs over the model only.
    let model: Vec<f32> = (0..14).map(|x| luma(bands.colour(&sample(None, x)))).collect();
    let darkest = model.iter().copied().fold(f32::INFINITY, f32::min);
    let lightest = model.iter().copied().fold(0.0, f32::max);
    assert!(darkest < 0.75 * lightest);
    let rubber: Vec<f32> = (0..14).map(|x| luma(bands.colour(&sample(Some(1.0), x)))).collect();
    assert!(rubber.iter().all(|&tone| tone == rubber[0]));
}

/// Where the rubber is held is marked at the last moment only.
#[test]
fn what_holds_is_marked_where_the_way_ends() {
    let mut trial = trial_of_block(1.5);
    trial.report.outcome = Outcome::OutOfTime;
    let plain = decoded(&draw_trial(&trial, &style()).expect("draws"));
    let place = Point::new(0.0, 0.0, 5.0);
    trial.report.outcome = Outcome::Stuck { hindrance: Hindrance::Caught, place };
    let marked = decoded(&draw_trial(&trial, &style()).expect("draws"));
    assert_eq!((plain.width(), plain.height()), (marked.width(), marked.height()));
    let columns = trial.report.frames.len() as u32;
    let mut changed = vec![0usize; columns as usize];
    // Below the headings, above the chart.
    for y in 150..plain.height() - 400 {
        for x in 0..columns * (plain.width() / columns) {
            if plain.pixel(x, y) != marked.pixel(x, y) {
                changed[(x * columns / plain.width()) as usize] += 1;
            }
        }
    }
    let (last, others) = changed.split_last().expect("columns");
    assert!(*last > 100 && others.iter().all(|&n| n == 0), "{changed:?}");
}

/// A whole trial: one picture, the same every time, a column a moment, with words for the verdict.
#[test]
fn a_trial_is_drawn() {
    let (report, model) = tried_ball();
    let trial = as_planned(report, model);
    let picture = draw_trial(&trial, &style()).expect("draws");
    assert_eq!((picture.name.as_str(), picture.width), ("way-out", 1500));
    assert_eq!(picture.title, "The way out: knob");
    assert_eq!(picture, draw_trial(&trial, &style()).expect("draws"));
    assert!(carries_cautions(&picture));
    let pixels = decoded(&picture);
    assert_eq!((pixels.width(), pixels.height()), (picture.width, picture.height));
    // Hatching of the model and bands of the rubber are on it.
    let warmth = |p: &tiny_skia::PremultipliedColorU8| i32::from(p.red()) - i32::from(p.blue());
    let bluish = pixels.pixels().iter().filter(|p| warmth(p) < -15).count();
    let warm = pixels.pixels().iter().filter(|p| warmth(p) > 30).count();
    assert!(bluish > 5000 && warm > 20_000, "{bluish} {warm}");
}

#[test]
fn reports_that_do_not_hold_together_are_refused() {
    let sound = trial_of_block(1.2);
    let refused = |change: &dyn Fn(&mut TrialReport)| {
        let mut trial = sound.clone();
        change(&mut trial.report);
        draw_trial(&trial, &style()).expect_err("refused")
    };
    let broken = |error: PictureError| matches!(error, PictureError::Trial { .. });
    assert!(broken(refused(&|r| r.frames.clear())));
    assert!(broken(refused(&|r| r.frames[1].positions.truncate(3))));
    assert!(broken(refused(&|r| r.surface.push([0, 1, 999_999]))));
    assert!(broken(refused(&|r| r.direction = Vector::zeros())));
    assert!(broken(refused(&|r| r.elements.clear())));
    let lost = refused(&|r| r.frames[2].positions[0].x = f64::NAN);
    assert!(matches!(lost, PictureError::NotFinite { .. }), "{lost}");
    let nothing = PlanTrial { model: TriangleMesh::default(), ..sound.clone() };
    let nothing = draw_trial(&nothing, &style());
    assert_eq!(nothing, Err(PictureError::EmptyModel));
}
