//! Models in the colours of their files: a ball whose right half is red and whose left half is blue.

use super::tests::carries_cautions;
use super::*;
use crate::body::poses;
use crate::mesh::fixtures::icosphere;
use crate::mesh::{LengthUnit, MeshFormat, Model, Point, PrepareOptions, Vector, prepare};
use crate::outputs::bench::{BenchStyle, pages};
use crate::outputs::fixtures::{as_planned, block_drawn_off, cut, empty_plan};
use crate::outputs::record;
use crate::plan::{CutKind, Plan, TrialVerdict};
use std::sync::Arc;

const RADIUS: f64 = 30.0;

/// As a PLY file with colours of vertices, of which so many faces in a hundred are missing.
fn ball(missing: usize) -> Model {
    let ball = icosphere(RADIUS, 4);
    let faces: Vec<_> =
        ball.faces.iter().enumerate().filter(|(f, _)| (f * 37) % 100 >= missing).collect();
    let mut text = format!(
        "ply\nformat ascii 1.0\nelement vertex {}\nproperty float x\nproperty float y\nproperty float z\nproperty uchar red\nproperty uchar green\nproperty uchar blue\nelement face {}\nproperty list uchar int vertex_indices\nend_header\n",
        ball.positions.len(),
        faces.len()
    );
    for p in &ball.positions {
        let colour = if p.x > 0.0 { "210 20 20" } else { "20 20 210" };
        text += &format!("{} {} {} {colour}\n", p.x, p.y, p.z);
    }
    for (_, [a, b, c]) in faces {
        text += &format!("3 {a} {b} {c}\n");
    }
    let unit = Some(LengthUnit::Millimetre);
    prepare(text.as_bytes(), MeshFormat::Ply, unit, &PrepareOptions::default()).expect("sound")
}

fn style() -> PictureStyle {
    PictureStyle { view_size: 720, page_width: 1500, heading: None }
}

fn decoded(picture: &Picture) -> tiny_skia::Pixmap {
    tiny_skia::Pixmap::decode_png(&picture.png).expect("a PNG file")
}

/// Shares of the pixels in a part of the picture that are clearly red, and clearly blue.
fn shares(
    picture: &tiny_skia::Pixmap,
    xs: std::ops::Range<u32>,
    ys: std::ops::Range<u32>,
) -> [f64; 2] {
    let spots: Vec<_> = ys.flat_map(|y| xs.clone().map(move |x| (x, y))).collect();
    let off = |(x, y): &(u32, u32)| {
        let pixel = picture.pixel(*x, *y).expect("inside");
        f64::from(pixel.red()) - f64::from(pixel.blue())
    };
    let share = |is: &dyn Fn(f64) -> bool| {
        spots.iter().filter(|spot| is(off(spot))).count() as f64 / spots.len() as f64
    };
    [share(&|off| off > 15.0), share(&|off| off < -15.0)]
}

fn plan() -> Plan {
    let arc = (-20..=20).map(|k| {
        let (sine, cosine) = (f64::from(k) * 2f64.to_radians()).sin_cos();
        Point::new(0.0, -RADIUS * cosine, RADIUS * sine)
    });
    let mut plan = empty_plan();
    plan.cuts = vec![cut(1, CutKind::FromGate, arc.collect())];
    plan
}

/// From the front red is on the right; from behind on the left. Holes that were filled have the colour of what is near.
#[test]
fn colours_are_where_they_belong() {
    for missing in [0, 5] {
        let model = ball(missing);
        assert_eq!(model.repairs.is_empty(), missing == 0, "{:?}", model.repairs);
        let one = |name: &str| {
            let picture = draw_picture(&model, &plan(), &style(), name, &Cancel::new());
            decoded(&picture.expect("drawn").expect("there"))
        };
        // The middle of the drawing area, clear of cut, number and outline.
        let (left, right, rows) = (270..330, 390..450, 230..330);
        let front = one("front");
        assert_eq!(shares(&front, right.clone(), rows.clone()), [1.0, 0.0], "{missing}");
        assert_eq!(shares(&front, left.clone(), rows.clone()), [0.0, 1.0], "{missing}");
        let back = one("back");
        assert_eq!(shares(&back, left, rows.clone()), [1.0, 0.0], "{missing}");
        assert_eq!(shares(&back, right, rows), [0.0, 1.0], "{missing}");
    }
}

/// Without colours not a bit is other than before; with them, the model's outline and all words stay.
#[test]
fn a_model_without_colours_is_drawn_in_greys() {
    let model = ball(0);
    let plain = Model { paint: None, ..model.clone() };
    let draw = |model: &Model| draw_plan(model, &plan(), &style()).expect("drawn");
    assert_eq!(draw(&plain), draw_plan(&model.original, &plan(), &style()).expect("drawn"));
    let coloured = draw(&model);
    assert_eq!(coloured, draw(&model), "the same each time");
    for (grey, own) in draw(&plain).iter().zip(&coloured) {
        assert_ne!(grey, own);
        assert!(carries_cautions(own));
        let [grey, own] = [grey, own].map(decoded);
        // What is black, lines and words, stays dark; what is paper is the same.
        let black = grey.pixels().iter().zip(own.pixels()).filter(|(p, _)| p.red() < 30);
        assert!(black.clone().count() > 100);
        assert!(black.clone().all(|(_, p)| p.red().max(p.green()).max(p.blue()) < 60));
        let paper = |picture: &tiny_skia::Pixmap| -> Vec<bool> {
            picture.pixels().iter().map(|p| p.red() == 255 && p.green() == 255).collect()
        };
        assert!(paper(&grey) == paper(&own));
    }
}

/// A plan that is stored is drawn in its colours long after: they come back with its trial.
#[test]
fn colours_are_stored_with_a_trial() {
    let (report, own) = block_drawn_off(1.5);
    let mut trial = as_planned(report, own);
    trial.paint = ball(0).paint;
    let plan = Plan { trial: TrialVerdict::Ran(Arc::new(trial)), ..plan() };
    let stored = record::write(&plan).expect("written");
    assert_eq!(record::read(&stored), Ok(plan));
}

#[test]
fn poses_pages_and_the_way_out_have_the_colours() {
    let model = ball(0);
    let found = poses(&model.original, &Vector::z()).expect("poses");
    let picture = decoded(&draw_poses(&model, &found, &style()).expect("drawn"));
    let [red, blue] = shares(&picture, 0..1500, 60..600);
    assert!(red > 0.03 && blue > 0.03, "{red} {blue}");
    let bench = BenchStyle::default();
    let with = pages(&model, &plan(), &bench, &Cancel::new()).expect("made").html();
    let without = pages(&model.original, &plan(), &bench, &Cancel::new()).expect("made").html();
    assert_ne!(with, without);
    // The small ball of the made-up trial, in colours that were put on the large one.
    let (report, own) = block_drawn_off(1.5);
    let mut trial = as_planned(report, own);
    let plain = decoded(&draw_trial(&trial, &style()).expect("drawn"));
    let to = crate::nalgebra::Isometry3::translation(0.0, 0.0, 8.0);
    let paint = model.paint.as_ref().expect("colours").moved(&to, 5000);
    trial.paint = Some(Arc::new(paint));
    let coloured = decoded(&draw_trial(&trial, &style()).expect("drawn"));
    // Rubber is warm in any case; only the model is as blue as that, and only with colours.
    let count = |picture: &tiny_skia::Pixmap| {
        let blue = |p: &&tiny_skia::PremultipliedColorU8| {
            i32::from(p.blue()) - i32::from(p.red()) > 40 && p.blue() > 120
        };
        picture.pixels().iter().filter(blue).count()
    };
    assert!(count(&coloured) > count(&plain) + 500, "{} {}", count(&coloured), count(&plain));
}
