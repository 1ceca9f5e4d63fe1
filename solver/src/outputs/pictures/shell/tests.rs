//! The picture of a ball's shell.

use super::*;
use crate::body::Outside;
use crate::mesh::fixtures::{icosphere, moved};
use crate::outputs::fixtures::{advice, ball_shell, empty_plan, sheet_report};
use crate::plan::RubberSkin;

/// A ball of 30 in a blanket of 8 that stands on the board.
fn parted() -> (TriangleMesh, Plan) {
    let ball = moved(&icosphere(30.0, 4), [0.0, 0.0, 30.0]);
    let mut plan = empty_plan();
    let mut report = sheet_report(&[], Point::origin(), Point::new(1.0, 1.0, 1.0));
    report.skin = RubberSkin {
        outside: Outside::Offset { thickness: 8.0, bottom: 0.0 },
        to_mould: crate::nalgebra::Isometry3::identity(),
    };
    plan.sheets = Some(report);
    plan.advice = Some(advice(Some(ball_shell())));
    (ball, plan)
}

fn style() -> PictureStyle {
    PictureStyle { page_width: 1500, heading: Some("ball".to_owned()), ..PictureStyle::default() }
}

#[test]
fn the_picture_carries_cautions_and_is_the_same_each_time() {
    let (ball, plan) = parted();
    assert!(has_shell(&plan));
    let draw = || draw_shell(&ball, &plan, &style(), &Cancel::new()).expect("draws").expect("one");
    let picture = draw();
    assert_eq!((picture.name.as_str(), picture.width), ("shell", 1500));
    assert_eq!(picture.title, "Where the shell is parted: ball");
    assert!(super::super::tests::carries_cautions(&picture));
    assert_eq!(picture, draw());
    let none = Plan { advice: None, ..plan };
    assert!(!has_shell(&none));
    assert_eq!(draw_shell(&ball, &none, &style(), &Cancel::new()), Ok(None));
}

/// Seen from the right the line is straight up the middle and wholly seen; from the front it is the outline. Its dashes are
/// dark and its middle is white, so that a cut's line can run there.
#[test]
fn the_line_is_a_pair_of_dashes_where_it_belongs() {
    let (ball, plan) = parted();
    let report = plan.sheets.as_ref().expect("sheets");
    let blanket = outside(&ball, report).expect("a blanket");
    let surface = Surface::new(&blanket).expect("a mesh");
    let shell = shell_of(&plan).expect("a shell");
    let centre = Point::new(0.0, 0.0, 34.0);
    let scene = Scene::new(&plan, shell, &surface, 0.2, &blanket, centre);
    let views = view::usual_views(&frame_of(&plan).expect("an up"));
    let right = views.iter().find(|v| v.name == "right").expect("a side");
    let camera = Camera { view: *right, centre, scale: 5.0, middle: [250.0; 2] };
    let fonts = Fonts::new().expect("the typeface");
    let shot = Shaded::new(&blanket).look(&camera, 500, 500);
    let mut canvas = Canvas::blank(500, 500, &fonts).expect("a canvas");
    scene.draw(&mut canvas, &camera, &shot, [0.0, 0.0, 500.0, 500.0]);
    let picture = tiny_skia::Pixmap::decode_png(&canvas.png().expect("written")).expect("read");
    let red = |x: u32, y: u32| picture.pixel(x, y).expect("within").red();
    // From 68 mm above the board to the board the middle column is white where no dot stands, the strokes beside it are
    // dark and white by turns.
    let rows: Vec<u32> = (90..400).collect();
    let dark = |x: u32| rows.iter().filter(|y| red(x, **y) < 120).count();
    let (left, middle) = (dark(246), dark(250));
    assert!(left > 150 && left < 290, "{left} of {}", rows.len());
    assert!(middle < 40, "{middle}");
}
