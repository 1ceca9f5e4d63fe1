//! Changes of balls, marked where they are.

use super::super::tests::carries_cautions;
use super::kinds::{Pattern, mark};
use super::*;
use crate::mesh::fixtures::{icosphere, joined, moved};
use crate::mesh::{PrepareOptions, prepare_mesh};

const RADIUS: f64 = 30.0;

fn prepared(mesh: TriangleMesh) -> Model {
    prepare_mesh(mesh, &PrepareOptions::default()).expect("mended")
}

fn style() -> PictureStyle {
    PictureStyle { page_width: 1500, heading: Some("ball".to_owned()), ..PictureStyle::default() }
}

fn drawn(model: &Model) -> tiny_skia::Pixmap {
    let picture = draw_repairs(model, &style()).expect("draws").expect("mended");
    assert_eq!((picture.name.as_str(), picture.width), ("repairs", 1500));
    assert_eq!(picture.title, "What was repaired: ball");
    assert!(carries_cautions(&picture));
    assert_eq!(draw_repairs(model, &style()), Ok(Some(picture.clone())), "the same each time");
    tiny_skia::Pixmap::decode_png(&picture.png).expect("read")
}

/// Pixels near a kind's colour in a part of a picture: hues are compared, since light and pattern make it darker.
fn count(
    picture: &tiny_skia::Pixmap,
    kind: MendKind,
    xs: std::ops::Range<u32>,
    ys: std::ops::Range<u32>,
) -> usize {
    let colour = mark(kind).0.map(f32::from);
    let of = |c: [f32; 3]| {
        let mean = c.iter().sum::<f32>() / 3.0;
        let off = c.map(|x| x - mean);
        let length = off.iter().map(|x| x * x).sum::<f32>().sqrt();
        (off, length)
    };
    let (wanted, length) = of(colour);
    let is = |x: u32, y: u32| {
        let p = picture.pixel(x, y).expect("inside");
        let (own, strength) = of([p.red(), p.green(), p.blue()].map(f32::from));
        let dot: f32 = own.iter().zip(wanted).map(|(a, b)| a * b).sum();
        strength > 25.0 && dot > 0.97 * strength * length
    };
    ys.flat_map(|y| xs.clone().map(move |x| (x, y))).filter(|(x, y)| is(*x, *y)).count()
}

/// A ball without its foremost face, some 2 mm wide.
fn holed() -> TriangleMesh {
    let mut ball = icosphere(RADIUS, 4);
    let front = Point::new(0.0, -RADIUS, 0.0);
    let off = |f: &usize| (ball.face_middle(crate::mesh::FaceId(*f as u32)) - front).norm();
    let foremost = (0..ball.faces.len()).min_by(|a, b| off(a).total_cmp(&off(b)));
    ball.faces.remove(foremost.expect("a face"));
    ball
}

#[test]
fn nothing_is_drawn_where_nothing_changed() {
    assert_eq!(draw_repairs(&prepared(icosphere(RADIUS, 3)), &style()), Ok(None));
    // A seam is welded, which changes no shape.
    let ball = icosphere(RADIUS, 3);
    let corners = ball.faces.iter().flatten().map(|v| ball.positions[*v as usize]);
    let loose = TriangleMesh {
        positions: corners.collect(),
        faces: (0..ball.faces.len() as u32).map(|f| [3 * f, 3 * f + 1, 3 * f + 2]).collect(),
    };
    let welded = prepared(loose);
    assert!(welded.repairs.iter().any(|words| words.contains("welded")), "{:?}", welded.repairs);
    assert_eq!(draw_repairs(&welded, &style()), Ok(None));
}

/// The hole is in the middle of the front, and in no other place of that view; the legend has its mark besides.
#[test]
fn a_filled_hole_is_marked_where_it_is() {
    let model = prepared(holed());
    let [mend] = model.mends.as_slice() else { panic!("{:?}", model.mends) };
    assert_eq!(mend.kind, MendKind::Filled);
    assert!((mend.place - Point::new(0.0, -RADIUS, 0.0)).norm() < 2.0, "{}", mend.place);
    let picture = drawn(&model);
    // Two views of 729 px: the front is the first, and the ball's middle is in the middle of its cell.
    let high = 720.0f64.min(729.0);
    let middle = (60.0 + 24.0 + high / 2.0) as u32;
    let own = count(&picture, MendKind::Filled, 340..420, middle - 40..middle + 40);
    assert!(own > 60, "{own}");
    let all = count(&picture, MendKind::Filled, 0..1500, 84..middle + 300);
    assert_eq!(all, own, "nowhere else on the views");
}

/// Two balls that overlap are made anew: dots all over, and a ring at the largest deviation.
#[test]
fn a_rebuilt_surface_is_dotted() {
    let two = joined(&icosphere(RADIUS, 3), &moved(&icosphere(RADIUS, 3), [36.0, 0.0, 0.0]));
    let model = prepared(two);
    assert!(model.mends.iter().any(|mend| mend.kind == MendKind::Rebuilt), "{:?}", model.mends);
    let picture = drawn(&model);
    let dots = count(&picture, MendKind::Rebuilt, 0..1500, 84..600);
    assert!(dots > 3000, "{dots}");
    assert_eq!(count(&picture, MendKind::Filled, 0..1500, 84..600), 0);
}

/// A ball within a ball is outlined by dashes, where it was: 8 mm to the right on the front view.
#[test]
fn a_dropped_shell_is_outlined() {
    let inner = moved(&icosphere(10.0, 3), [8.0, 0.0, 0.0]);
    let model = prepared(joined(&icosphere(RADIUS, 3), &inner));
    let [mend] = model.mends.as_slice() else { panic!("{:?}", model.mends) };
    assert_eq!((mend.kind, mend.faces.len()), (MendKind::Within, 1280));
    assert!((mend.size - 20.0).abs() < 0.2 && (mend.place.x - 8.0).abs() < 0.1);
    let picture = drawn(&model);
    // The scale: 60 mm over 720 px less a margin of 56 on either side; the middle of the first cell is at 14 + 364.
    let scale = (720.0f64 - 112.0) / 60.0;
    let middle = [14.0 + 364.0, 84.0 + 360.0];
    let edge = |x: f64| (middle[0] + x * scale) as u32;
    let rows = middle[1] as u32 - 30..middle[1] as u32 + 30;
    for x in [-2.0, 18.0] {
        let own = count(&picture, MendKind::Within, edge(x) - 8..edge(x) + 8, rows.clone());
        assert!(own > 40, "{x}: {own}");
    }
    assert_eq!(count(&picture, MendKind::Within, edge(-20.0)..edge(-8.0), rows), 0);
}

/// Patterns are told apart without colour, and colours without pattern: no two kinds share both.
#[test]
fn marks_are_told_apart() {
    for (k, kind) in MendKind::ALL.into_iter().enumerate() {
        for other in &MendKind::ALL[..k] {
            assert_ne!(mark(kind).0, mark(*other).0);
            let dashes = mark(kind).1 == Pattern::Dashes && mark(*other).1 == Pattern::Dashes;
            assert!(dashes || mark(kind).1 != mark(*other).1);
        }
    }
    let dark = |pattern: Pattern| {
        (0..84 * 84).filter(|k| pattern.is_dark([k % 84, k / 84])).count() as f64 / 7056.0
    };
    for pattern in [Pattern::Dots, Pattern::Crossed, Pattern::Slanted, Pattern::Level] {
        assert!((0.05..0.6).contains(&dark(pattern)), "{pattern:?}: {}", dark(pattern));
    }
}
