//! Whole pictures, and what is seen and hidden on shapes whose answer is known in closed form.

use std::f64::consts::{PI, TAU};

use super::sight::Sighting;
use super::surface::Surface;
use super::view::{Camera, View, usual_views};
use super::*;
use crate::bridges::{BridgeKind, DiscState};
use crate::mesh::{Point, Vector};
use crate::outputs::fixtures::{cut, empty_plan, sheet, sheet_report, station};
use crate::outputs::verdict::verdict;
use crate::plan::{CutKind, Hinge, Limit, PlannedBridge};
use crate::sheets::Station;

/// A ball about the origin, of `rings` by `2 * rings` patches.
fn ball(radius: f64, rings: usize) -> TriangleMesh {
    turned(rings, 2 * rings, |t| {
        let polar = PI * t;
        [radius * polar.sin(), -radius * polar.cos()]
    })
}

/// A surface of revolution about z, closed at both ends. `profile` gives radius and height for a
/// parameter from 0 (bottom) to 1 (top).
fn turned(rings: usize, sectors: usize, profile: impl Fn(f64) -> [f64; 2]) -> TriangleMesh {
    let mut positions = vec![Point::new(0.0, 0.0, profile(0.0)[1])];
    for ring in 1..rings {
        let [radius, height] = profile(ring as f64 / rings as f64);
        for sector in 0..sectors {
            let (sine, cosine) = (TAU * sector as f64 / sectors as f64).sin_cos();
            positions.push(Point::new(radius * cosine, radius * sine, height));
        }
    }
    let top = positions.len() as u32;
    positions.push(Point::new(0.0, 0.0, profile(1.0)[1]));
    let at = |ring: usize, sector: usize| (1 + (ring - 1) * sectors + sector % sectors) as u32;
    let mut faces = Vec::new();
    for sector in 0..sectors {
        faces.push([0, at(1, sector + 1), at(1, sector)]);
        faces.push([top, at(rings - 1, sector), at(rings - 1, sector + 1)]);
        for ring in 1..rings - 1 {
            let (a, b) = (at(ring, sector), at(ring, sector + 1));
            let (c, d) = (at(ring + 1, sector + 1), at(ring + 1, sector));
            faces.extend([[a, b, c], [a, c, d]]);
        }
    }
    TriangleMesh { positions, faces }
}

/// An arc on the ball about the unit axes `across` and `ahead`, from angle `from` to `to`.
fn arc(radius: f64, across: Vector, ahead: Vector, from: f64, to: f64) -> Vec<Point> {
    (0..=120)
        .map(|n| {
            let (sine, cosine) = (from + (to - from) * f64::from(n) / 120.0).sin_cos();
            Point::from((across * cosine + ahead * sine) * radius)
        })
        .collect()
}

const RADIUS: f64 = 30.0;

fn view(name: &str) -> View {
    let views = usual_views(&Frame::new(Vector::z()).expect("up is given"));
    views.into_iter().find(|view| view.name == name).expect("a usual view")
}

fn camera(name: &str) -> Camera {
    Camera { view: view(name), centre: Point::origin(), scale: 10.0, middle: [400.0, 400.0] }
}

/// What part of a line's length, sampled evenly on the model, a side sees.
fn part_seen(mesh: &TriangleMesh, line: &[Point], name: &str) -> f64 {
    let camera = camera(name);
    let shot = raster::Shaded::new(mesh).look(&camera, 800, 800);
    let surface = Surface::new(mesh).expect("a plain mesh");
    let sighting = Sighting::new(&surface.lay(line, 0.08).0, &camera, &shot);
    sighting.seen.iter().filter(|&&seen| seen).count() as f64 / sighting.seen.len() as f64
}

/// From the front one sees exactly half of the equator of a sphere (elementary geometry; exact).
/// Lines are lifted by less than a pixel, which shows a strip of arccos(R / (R + lift)) beyond the
/// edge on either side: with R = 300 px and a lift of 0.75 px, 0.071 of half a turn's pi in all,
/// so the part seen lies between 0.5 and 0.53.
#[test]
fn half_of_an_equator_is_seen_and_half_is_hidden() {
    let mesh = ball(RADIUS, 60);
    let equator = arc(RADIUS, Vector::x(), Vector::y(), 0.0, TAU);
    for side in ["front", "back", "left", "right"] {
        let part = part_seen(&mesh, &equator, side);
        assert!((0.49..=0.53).contains(&part), "{side}: {part}");
    }
    // Seen edge-on from above, the equator is the ball's outline: nothing hides it.
    assert!(part_seen(&mesh, &equator, "top") > 0.95);
}

/// A vertical great circle through front and back is seen from -y over exactly its front half, and
/// a small circle at 60 degrees of latitude from above all of it, from below none.
#[test]
fn other_circles_are_seen_as_geometry_says() {
    let mesh = ball(RADIUS, 60);
    let meridian = arc(RADIUS, Vector::z(), Vector::y(), 0.0, TAU);
    let part = part_seen(&mesh, &meridian, "front");
    assert!((0.49..=0.53).contains(&part), "{part}");
    let latitude: Vec<Point> = arc(RADIUS * 0.5, Vector::x(), Vector::y(), 0.0, TAU)
        .into_iter()
        .map(|p| p + Vector::z() * RADIUS * 0.75f64.sqrt())
        .collect();
    assert!(part_seen(&mesh, &latitude, "top") > 0.999);
    assert!(part_seen(&mesh, &latitude, "below") < 0.001);
}

fn decoded(picture: &Picture) -> tiny_skia::Pixmap {
    tiny_skia::Pixmap::decode_png(&picture.png).expect("a PNG file")
}

fn named<'p>(pictures: &'p [Picture], name: &str) -> &'p Picture {
    pictures.iter().find(|picture| picture.name == name).expect("a usual picture")
}

/// Relative luminance of a pixel after it is turned to grey: Rec. ITU-R BT.601 luma as a grey print
/// has it, then the sRGB curve of WCAG 2.1 (both from memory).
fn luminance(pixel: tiny_skia::PremultipliedColorU8) -> f64 {
    let luma = 0.299 * f64::from(pixel.red())
        + 0.587 * f64::from(pixel.green())
        + 0.114 * f64::from(pixel.blue());
    let part = luma / 255.0;
    if part <= 0.03928 { part / 12.92 } else { ((part + 0.055) / 1.055).powf(2.4) }
}

/// Contrast ratio of WCAG 2.1 (from memory): 3 is asked of graphics, 4.5 of words.
fn contrast(a: f64, b: f64) -> f64 {
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

/// The greatest contrast of darker pixels over the same pixels of `plain`, row by row, in a strip
/// about the middle column.
fn contrast_of_rows(
    picture: &tiny_skia::Pixmap,
    plain: &tiny_skia::Pixmap,
    rows: std::ops::Range<u32>,
) -> Vec<f64> {
    let at = |picture: &tiny_skia::Pixmap, x, y| luminance(picture.pixel(x, y).expect("inside"));
    rows.map(|y| {
        let darker = (350..=370).map(|x| (at(picture, x, y), at(plain, x, y)));
        darker
            .filter(|(new, old)| new < old)
            .map(|(new, old)| contrast(new, old))
            .fold(1.0, f64::max)
    })
    .collect()
}

/// One picture of a plan, the others left out.
fn one(mesh: &TriangleMesh, plan: &Plan, name: &str) -> tiny_skia::Pixmap {
    let pictures = draw_picture(mesh, plan, &small_style(), name, &Cancel::new());
    decoded(&pictures.expect("drawn").expect("there"))
}

fn small_style() -> PictureStyle {
    PictureStyle { view_size: 720, page_width: 1500, heading: None }
}

/// One cut up the middle of the ball's front.
fn front_cut_plan(kind: CutKind) -> Plan {
    let line = arc(RADIUS, -Vector::y(), Vector::z(), -0.6, 0.6);
    let mut plan = empty_plan();
    plan.total_length = RADIUS * 1.2;
    plan.cuts = vec![cut(1, kind, line)];
    plan
}

/// The same plan with its cut on the far side.
fn back_cut_plan(kind: CutKind) -> Plan {
    let mut plan = front_cut_plan(kind);
    for point in &mut plan.cuts[0].branches[0] {
        point.y = -point.y;
    }
    plan
}

/// The same plan with its cut far round the side, so that the middle of the front is plain.
fn side_cut_plan(kind: CutKind) -> Plan {
    let mut plan = front_cut_plan(kind);
    let (sine, cosine) = 1.0f64.sin_cos();
    for point in &mut plan.cuts[0].branches[0] {
        *point = Point::new(-point.y * sine, point.y * cosine, point.z);
    }
    plan
}

/// In grey, every row of a cut's line on the shaded model has the contrast that WCAG 2.1 asks of
/// words (4.5), and the dashes of a hidden one what it asks of graphics (3), for each kind of cut.
#[test]
fn cuts_stand_out_in_grey() {
    let mesh = ball(RADIUS, 40);
    // Rows well inside the cut's ends and clear of its number.
    let rows = 230..320;
    for kind in [CutKind::FromGate, CutKind::Separate, CutKind::Bridge] {
        let front = |plan: &Plan| one(&mesh, plan, "front");
        let plain = front(&side_cut_plan(kind));
        let seen = contrast_of_rows(&front(&front_cut_plan(kind)), &plain, rows.clone());
        assert!(seen.iter().all(|&ratio| ratio >= 4.5), "{kind:?}: {seen:?}");
        let hidden = contrast_of_rows(&front(&back_cut_plan(kind)), &plain, rows.clone());
        let dashes = hidden.iter().filter(|&&ratio| ratio >= 3.0).count() as f64;
        // 9 px of dash in 15 px.
        let part = dashes / hidden.len() as f64;
        assert!((0.45..=0.75).contains(&part), "{kind:?}: {part}");
    }
}

/// Part of the middle column, between the ends of the cut, that has a really dark pixel near it.
fn solid_part(picture: &tiny_skia::Pixmap, rows: std::ops::Range<u32>) -> f64 {
    let dark =
        |y: &u32| (350..=370).any(|x| luminance(picture.pixel(x, *y).expect("inside")) < 0.05);
    rows.clone().filter(dark).count() as f64 / rows.len() as f64
}

#[test]
fn a_cut_on_the_back_is_dashed_from_the_front_and_solid_from_behind() {
    let mesh = ball(RADIUS, 40);
    let plan = back_cut_plan(CutKind::FromGate);
    // The ball's middle is that of the drawing area; rows well inside the cut's ends.
    let rows = 210..330;
    let front = solid_part(&one(&mesh, &plan, "front"), rows.clone());
    let back = solid_part(&one(&mesh, &plan, "back"), rows);
    assert!(back > 0.99, "{back}");
    // Dashes of 9 px with spaces of 6 px: 0.6 of the line is drawn.
    assert!((0.45..=0.75).contains(&front), "{front}");
}

#[test]
fn pictures_are_the_same_byte_for_byte() {
    let mesh = ball(RADIUS, 30);
    let plan = sheeted_plan(|_, _| {});
    let first = draw_plan(&mesh, &plan, &small_style()).expect("drawn");
    let second = draw_plan(&mesh, &plan, &small_style()).expect("drawn");
    assert_eq!(first, second);
}

#[test]
fn every_side_and_the_overview_are_png_files_of_the_stated_size() {
    let mesh = ball(RADIUS, 30);
    let plan = front_cut_plan(CutKind::FromGate);
    let pictures = draw_plan(&mesh, &plan, &small_style()).expect("drawn");
    let names: Vec<&str> = pictures.iter().map(|picture| picture.name.as_str()).collect();
    let usual = ["front", "back", "left", "right", "top", "below", "three-quarter", "overview"];
    assert_eq!(names, usual);
    for picture in &pictures {
        let pixmap = decoded(picture);
        assert_eq!((pixmap.width(), pixmap.height()), (picture.width, picture.height));
        let dark = pixmap.pixels().iter().filter(|pixel| luminance(**pixel) < 0.05).count();
        assert!(dark > 100, "{} is nearly blank", picture.name);
    }
    assert_eq!(pictures[7].width, 1500);
}

/// Whether the foot of a picture is that of a blank one with the cautions on it.
pub(in crate::outputs) fn carries_cautions(picture: &Picture) -> bool {
    let fonts = text::Fonts::new().expect("the built-in typeface reads");
    let words = cautions::Cautions::new(&fonts, picture.width as f32);
    let height = words.height.floor() as u32;
    let mut blank =
        canvas::Canvas::blank(picture.width, picture.height, &fonts).expect("a small picture");
    words.draw(&mut blank);
    let blank = tiny_skia::Pixmap::decode_png(&blank.png().expect("written")).expect("read");
    let own = decoded(picture);
    let rows = picture.height - height..picture.height;
    let mut spots = rows.flat_map(|y| (0..picture.width).map(move |x| (x, y)));
    spots.all(|(x, y)| own.pixel(x, y) == blank.pixel(x, y))
}

#[test]
fn the_cautions_stand_on_every_picture() {
    let pictures =
        draw_plan(&ball(RADIUS, 30), &sheeted_plan(|_, _| {}), &small_style()).expect("drawn");
    assert_eq!(pictures.len(), 9);
    for picture in &pictures {
        assert!(carries_cautions(picture), "{}", picture.name);
    }
}

/// What to mind stands right under the verdict on the overview: the views below move down by its lines.
#[test]
fn the_overview_carries_the_warnings() {
    let mesh = ball(RADIUS, 30);
    let mut plan = front_cut_plan(CutKind::FromGate);
    let overview = |plan: &Plan| one(&mesh, plan, "overview");
    let plain = overview(&plan);
    plan.warnings = vec!["the model stands up to 0.30 mm off the board".to_owned()];
    let warned = overview(&plan);
    let moved = warned.height() - plain.height();
    assert!((20..40).contains(&moved), "{moved}");
    let row = |picture: &tiny_skia::Pixmap, y: u32| -> Vec<_> {
        (0..picture.width()).map(|x| picture.pixel(x, y)).collect()
    };
    // Title and verdict stay where they are; from the first view on all is as it was, lower.
    let same = (0..80).all(|y| row(&plain, y) == row(&warned, y));
    let lower = (90..plain.height()).all(|y| row(&plain, y) == row(&warned, y + moved));
    assert!(same && lower, "{same} {lower}");
    let dark = |y: u32| row(&warned, y).iter().flatten().any(|p| luminance(*p) < 0.05);
    assert!((85..85 + moved).any(dark), "the words are there");
}

#[test]
fn a_plan_without_cuts_says_so() {
    let mesh = ball(RADIUS, 30);
    let mut plan = empty_plan();
    assert_eq!(verdict(&plan), "No cut needed; release not tried");
    let pictures = draw_plan(&mesh, &plan, &small_style()).expect("drawn");
    assert_eq!(pictures.len(), 8);
    let met = named(&pictures, "front").png.clone();
    // With a limit missed, "not needed" would be a lie.
    let text = "the bridge has no plain cut".to_owned();
    plan.limits = vec![Limit { name: "bridges".to_owned(), met: false, text }];
    assert_eq!(verdict(&plan), "No cut in this plan; release not tried; 1 limit missed");
    let missed = draw_plan(&mesh, &plan, &small_style()).expect("drawn");
    assert_ne!(met, named(&missed, "front").png, "the words stand on the picture");
}

/// The legend explains the marks of this plan, all of them and no others.
#[test]
fn the_legend_has_every_mark_that_is_used() {
    use legend::Mark;
    let mut plan = front_cut_plan(CutKind::FromGate);
    assert_eq!(Mark::used_by(&plan), [Mark::FromGate, Mark::Hidden, Mark::Number]);
    plan.cuts.push(cut(2, CutKind::Separate, plan.cuts[0].branches[0].clone()));
    plan.gate_outline = vec![arc(RADIUS, Vector::x(), Vector::y(), 0.0, TAU)];
    let [from, to] = [Point::new(RADIUS, 0.0, 0.0), Point::new(0.0, RADIUS, 0.0)];
    plan.hinges = vec![Hinge { from, to, width: 47.0, skin: None }];
    plan.bridges = vec![PlannedBridge {
        kind: BridgeKind::Handle,
        rim: arc(RADIUS, Vector::x(), Vector::z(), 0.0, TAU),
        closed: true,
        rim_length: 188.0,
        neck_area: 2800.0,
        neck_width: 60.0,
        depth: 5.0,
        centre: Point::origin(),
        disc: DiscState::Plain,
        opening: 0.0,
        opening_needed: 40.0,
        confirmed: None,
        lined: false,
    }];
    let all = [
        Mark::FromGate,
        Mark::Separate,
        Mark::Hidden,
        Mark::Number,
        Mark::Letter,
        Mark::UncutRim,
        Mark::Gate,
        Mark::Hinge,
    ];
    assert_eq!(Mark::used_by(&plan), all);
    assert_eq!(draw_plan(&ball(RADIUS, 30), &plan, &small_style()).expect("drawn").len(), 8);
}

#[test]
fn faults_are_named() {
    let mesh = ball(RADIUS, 20);
    let style = small_style();
    let good = front_cut_plan(CutKind::FromGate);
    let fault = |mesh: &TriangleMesh, plan: &Plan, style: &PictureStyle| {
        draw_plan(mesh, plan, style).expect_err("refused").to_string()
    };
    let tiny = PictureStyle { view_size: 20, ..style.clone() };
    assert_eq!(fault(&mesh, &good, &tiny), "view_size is 20 px: choose 500 to 6000");
    assert!(fault(&TriangleMesh::default(), &good, &style).contains("nothing to draw"));
    let mut bad = mesh.clone();
    bad.faces[7][1] = 1_000_000;
    assert!(fault(&bad, &good, &style).contains("face 7"));
    let mut bad = mesh.clone();
    bad.positions[3].y = f64::NAN;
    assert!(fault(&bad, &good, &style).contains("vertex 3"));
    let mut plan = good.clone();
    plan.up = Vector::zeros();
    assert!(fault(&mesh, &plan, &style).contains("up is"));
    let mut plan = good.clone();
    plan.cuts[0].branches[0][4] = Point::new(0.0, 0.0, f64::INFINITY);
    assert!(fault(&mesh, &plan, &style).contains("cuts[0].branches[0]"));
    let mut plan = good.clone();
    plan.cuts[0].branches.clear();
    assert!(fault(&mesh, &plan, &style).contains("cuts[0] has no line"));
    // A plan in inches on a model in mm.
    let mut plan = good;
    for point in &mut plan.cuts[0].branches[0] {
        point.coords /= 25.4;
    }
    assert!(fault(&mesh, &plan, &style).contains("off the model"));
}

/// The model covers on the picture what its shape covers: a ball's shadow is a disc of pi R^2.
#[test]
fn the_picture_covers_the_shape_s_area() {
    let mesh = ball(RADIUS, 90);
    let shot = raster::Shaded::new(&mesh).look(&camera("three-quarter"), 800, 800);
    let covered = (0..800u32)
        .flat_map(|y| (0..800u32).map(move |x| (x, y)))
        .filter(|&(x, y)| shot.covers(x, y))
        .count() as f64;
    let exact = PI * (RADIUS * 10.0).powi(2);
    assert!((covered / exact - 1.0).abs() < 0.003, "{covered} for {exact}");
}

/// The cut up the ball's front with a sheet of square rulings through a block 20 mm wider than it on
/// all sides; `change` is told each station's share of the way.
fn sheeted_plan(change: impl Fn(f64, &mut Station)) -> Plan {
    let mut plan = front_cut_plan(CutKind::Separate);
    let stations = (0..=18).map(|k| {
        let share = f64::from(k) / 18.0;
        let (sine, cosine) = (1.2 * share - 0.6).sin_cos();
        let normal = Vector::new(0.0, -cosine, sine);
        let mut station = Station {
            on_model: Point::from(normal * RADIUS),
            normal,
            direction: normal,
            ahead: Vector::new(0.0, sine, cosine),
            on_outside: Point::from(normal * (50.0 / cosine)),
            depth: 50.0 / cosine - RADIUS,
            ..station(36.0 * share)
        };
        change(share, &mut station);
        station
    });
    plan.cuts[0].sheets = vec![sheet(stations.collect())];
    let corner = Point::new(50.0, 50.0, 50.0);
    plan.sheets = Some(sheet_report(&plan.cuts, -corner, corner));
    plan
}

fn drawn(plan: &Plan, name: &str) -> tiny_skia::Pixmap {
    one(&ball(RADIUS, 40), plan, name)
}

/// Pixels left and right of the middle column that are dark on one picture only, in rows that hold
/// the weak stretch and no words.
fn new_dark(picture: &tiny_skia::Pixmap, plain: &tiny_skia::Pixmap) -> [usize; 2] {
    let mut count = [0; 2];
    for y in 235..310 {
        for x in 340..380 {
            let dark = |p: &tiny_skia::Pixmap| luminance(p.pixel(x, y).expect("inside")) < 0.15;
            if dark(picture) && !dark(plain) {
                count[usize::from(x >= 360)] += 1;
            }
        }
    }
    count
}

/// Up the front of the ball the left of the cut is the left of the picture. Teeth stand on the side
/// of the thin lip alone, and a feather edge is darker than a thin lip.
#[test]
fn teeth_stand_on_the_thin_side() {
    let plain = drawn(&sheeted_plan(|_, _| {}), "front");
    let weak = |wedge: [f64; 2], feather: bool| {
        let plan = sheeted_plan(|share, station| {
            if (0.35..0.8).contains(&share) {
                station.wedge = wedge;
                station.flags.feather = feather;
            }
        });
        new_dark(&drawn(&plan, "front"), &plain)
    };
    let [left, right] = weak([40.0, 140.0], false);
    assert!(left > 40 && right * 8 < left, "{left} {right}");
    let [other, thin] = weak([140.0, 40.0], false);
    assert!(thin > 40 && other * 8 < thin, "{other} {thin}");
    let [feather, _] = weak([20.0, 160.0], true);
    assert!(f64::from(feather as u32) > 1.3 * f64::from(left as u32), "{feather} {left}");
}

#[test]
fn sections_are_drawn_where_there_are_sheets() {
    let plan = sheeted_plan(|_, _| {});
    let mesh = ball(RADIUS, 30);
    let pictures = draw_plan(&mesh, &plan, &small_style()).expect("drawn");
    assert_eq!(pictures.last().map(|picture| picture.name.as_str()), Some("sections"));
    assert_eq!(pictures.len(), 9);
    let pixmap = decoded(named(&pictures, "sections"));
    assert_eq!(pixmap.width(), 1500);
    // Rubber is grey, the model hatched on white: a fair part of the picture is rubber.
    let rubber = pixmap.pixels().iter().filter(|p| [p.red(), p.green(), p.blue()] == [222; 3]);
    let part = rubber.count() as f64 / pixmap.pixels().len() as f64;
    assert!((0.1..0.6).contains(&part), "{part}");
    // What is thin there is drawn otherwise.
    let thin = sheeted_plan(|share, station| {
        if share == 0.5 {
            station.wedge = [35.0, 145.0];
            station.risk = 0.9;
        }
    });
    assert_ne!(one(&mesh, &thin, "sections"), pixmap);
}

#[test]
fn the_legend_tells_of_weak_stretches_that_are_there() {
    use legend::Mark;
    let own = |plan: &Plan| -> Vec<Mark> {
        let marks = Mark::used_by(plan).into_iter();
        marks.filter(|m| !matches!(m, Mark::Separate | Mark::Hidden | Mark::Number)).collect()
    };
    assert_eq!(own(&sheeted_plan(|_, _| {})), [Mark::Section]);
    let thin = sheeted_plan(|_, station| station.wedge = [40.0, 140.0]);
    assert_eq!(own(&thin), [Mark::ThinLip, Mark::Section]);
    let bad = sheeted_plan(|share, station| {
        station.flags.feather = share < 0.3;
        station.flags.blocked = share > 0.7;
    });
    assert_eq!(own(&bad), [Mark::FeatherEdge, Mark::Blocked, Mark::Warning, Mark::Section]);
}

#[test]
fn a_sheet_without_numbers_is_refused() {
    let plan = sheeted_plan(|_, station| station.on_outside.x = f64::NAN);
    let fault = draw_plan(&ball(RADIUS, 20), &plan, &small_style()).expect_err("refused");
    assert!(fault.to_string().contains("cuts[0].sheets[0]"), "{fault}");
}
