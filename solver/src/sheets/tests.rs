//! Sheets on shapes whose rulings and wedges are known by hand (plane trigonometry).

use approx::assert_relative_eq;

use super::*;
use crate::body::MouldShape;
use crate::mesh::Vector;
use crate::mesh::fixtures::{cuboid, cylinder, icosphere, moved};

const BLOCK: MouldShape = MouldShape::Box { side_clearance: 15.0, top_clearance: 15.0 };

fn body(model: &TriangleMesh) -> MouldBody {
    MouldBody::new(model, &BLOCK).expect("a body")
}

fn line(points: &[[f64; 3]]) -> CutLine {
    CutLine {
        points: points.iter().map(|p| Point::from(*p)).collect(),
        from_gate: false,
        starts_at_gate: false,
        ends_at_gate: false,
    }
}

fn sheets(model: &TriangleMesh, lines: &[CutLine], settings: &SheetSettings) -> SheetPlan {
    plan_sheets(&body(model), model, lines, &[], settings, &Control::silent()).expect("sheets")
}

/// A prism along y, 0 to `length`, over a polygon in x and z given with its own triangles. The
/// polygon runs counter-clockwise with x to the right and z up.
pub(super) fn prism(polygon: &[[f64; 2]], triangles: &[[u32; 3]], length: f64) -> TriangleMesh {
    let count = polygon.len() as u32;
    let row = |y: f64| polygon.iter().map(move |&[x, z]| Point::new(x, y, z));
    let mut mesh = TriangleMesh { positions: row(0.0).chain(row(length)).collect(), faces: vec![] };
    for &[a, b, c] in triangles {
        mesh.faces.push([a, b, c]);
        mesh.faces.push([c + count, b + count, a + count]);
    }
    for a in 0..count {
        let b = (a + 1) % count;
        mesh.faces.push([a, a + count, b + count]);
        mesh.faces.push([a, b + count, b]);
    }
    mesh
}

/// A clamp: a floor at height 10 from x = 20 to 100, a slab above it from height 30 to 40 that
/// reaches from x = 0 to 80.
fn clamp() -> TriangleMesh {
    let polygon = [
        [0.0, 0.0],
        [100.0, 0.0],
        [100.0, 10.0],
        [20.0, 10.0],
        [20.0, 30.0],
        [80.0, 30.0],
        [80.0, 40.0],
        [0.0, 40.0],
    ];
    let triangles = [[0, 1, 3], [1, 2, 3], [0, 3, 4], [0, 4, 7], [4, 5, 6], [4, 6, 7]];
    prism(&polygon, &triangles, 200.0)
}

#[test]
fn prisms_are_closed_and_right_side_out() {
    let mesh = clamp();
    assert!(Topology::new(&mesh).is_ok());
    assert_relative_eq!(mesh.signed_volume(), 200.0 * (1000.0 + 400.0 + 800.0), epsilon = 1e-6);
}

#[test]
fn on_flat_ground_rulings_are_square() {
    let plan = sheets(
        &cuboid([100.0, 80.0, 20.0]),
        &[line(&[[22.0, 31.0, 20.0], [78.0, 52.0, 20.0]])],
        &SheetSettings::default(),
    );
    let sheet = &plan.sheets[0];
    let length = 56f64.hypot(21.0);
    assert_relative_eq!(sheet.length, length, epsilon = 1e-9);
    assert_relative_eq!(sheet.area, 15.0 * length, max_relative = 1e-9);
    for station in &sheet.stations {
        assert!(station.angle_from_normal < 1e-6, "{}", station.angle_from_normal);
        assert!(station.wedge.iter().all(|w| (w - 90.0).abs() < 1e-6), "{:?}", station.wedge);
        assert!(station.risk < 1e-9 && station.turn.is_none());
        assert_relative_eq!(station.depth, 15.0, epsilon = 1e-9);
        assert_eq!(station.flags, StationFlags::default());
    }
    assert!(plan.crossings.is_empty());
    let spaced: Vec<f64> = sheet.listed_stations().map(|s| s.along).collect();
    assert!(spaced.windows(2).all(|w| w[1] - w[0] <= 10.0 + 1e-9 && w[1] - w[0] > 5.0));
    assert_eq!(spaced.last(), Some(&sheet.length));
}

/// Chords of a ball of radius R to points s along it lie s / 2R beyond a right angle. Facets of
/// the mesh turn by up to about 4 degrees; the smoothed normal is held to 1 degree, wedges to 2.
#[test]
fn on_a_ball_rulings_run_from_its_middle() {
    let middle = Point::new(0.0, 0.0, 20.0);
    let ball = moved(&icosphere(20.0, 4), [0.0, 0.0, 20.0]);
    let meridian: Vec<[f64; 3]> = (0..=40)
        .map(|k| f64::from(k) * 0.03 - 0.3)
        .map(|a| [20.0 * a.cos() * 0.8, 20.0 * a.cos() * 0.6, 20.0 + 20.0 * a.sin()])
        .collect();
    let plan = sheets(&ball, &[line(&meridian)], &SheetSettings::default());
    let chord = 90.0 + (1.0f64 / 40.0).to_degrees();
    for station in &plan.sheets[0].stations {
        let off = station.direction.angle(&(station.on_model - middle)).to_degrees();
        assert!(off < 1.0, "{off}");
        assert!(station.angle_from_normal < 1e-6);
        assert!(station.wedge.iter().all(|w| (w - chord).abs() < 2.0), "{:?}", station.wedge);
        assert!(station.risk < 0.01);
    }
    assert!(plan.crossings.is_empty(), "{:?}", plan.crossings);
}

#[test]
fn a_square_edge_has_wedges_of_135_degrees() {
    let plan = sheets(
        &cuboid([100.0, 80.0, 20.0]),
        &[line(&[[20.0, 0.0, 20.0], [80.0, 0.0, 20.0]])],
        &SheetSettings::default(),
    );
    let out = Vector::new(0.0, -1.0, 1.0).normalize();
    for station in &plan.sheets[0].stations {
        assert!(station.direction.angle(&out).to_degrees() < 0.01);
        assert!(station.wedge.iter().all(|w| (w - 135.0).abs() < 0.01), "{:?}", station.wedge);
        assert_eq!(station.risk, 0.0);
    }
}

/// u = (90 - 45) / (90 - 30) = 3/4, risk u^2 (3 - 2u) = 27/32.
#[test]
fn a_square_valley_has_wedges_of_45_degrees() {
    let polygon = [[0.0, 0.0], [60.0, 0.0], [60.0, 20.0], [30.0, 20.0], [30.0, 50.0], [0.0, 50.0]];
    let model = prism(&polygon, &[[0, 1, 3], [1, 2, 3], [0, 3, 5], [3, 4, 5]], 80.0);
    let settings = SheetSettings::default();
    let plan = sheets(&model, &[line(&[[30.0, 20.0, 20.0], [30.0, 60.0, 20.0]])], &settings);
    for station in &plan.sheets[0].stations {
        assert!(station.wedge.iter().all(|w| (w - 45.0).abs() < 0.01), "{:?}", station.wedge);
        assert_relative_eq!(station.risk, 27.0 / 32.0, epsilon = 1e-3);
    }
    let strict = SheetSettings { acceptable_angle: 50.0, refused_angle: 46.0, ..settings };
    let plan = sheets(&model, &[line(&[[30.0, 20.0, 20.0], [30.0, 60.0, 20.0]])], &strict);
    let figures = lip_figures(&plan.sheets, &strict);
    assert_relative_eq!(figures.feather_length, 40.0, epsilon = 1e-6);
    assert_relative_eq!(figures.weak_length, 40.0, epsilon = 1e-6);
    assert_eq!(figures.risk, 1.0);
}

/// From x = 70 on the floor the slab's edge lies 10 mm ahead and 20 mm up, and the blade passes it
/// at the clearance c: the least lean across the cut is atan(10/20) + asin(c / sqrt(500)). Refined
/// to 1 degree; a lean along the cut takes nothing off the wedges and is only limited.
#[test]
fn under_a_slab_the_ruling_leans_as_little_as_it_can() {
    for clearance in [0.5, 2.0, 4.0] {
        let settings = SheetSettings { clearance, ..SheetSettings::default() };
        let plan = sheets(&clamp(), &[line(&[[70.0, 80.0, 10.0], [70.0, 120.0, 10.0]])], &settings);
        let least = 0.5f64.atan().to_degrees() + (clearance / 500f64.sqrt()).asin().to_degrees();
        for station in &plan.sheets[0].stations {
            assert!(station.turn.is_none());
            let [a, b] = station.wedge;
            let lean = 90.0 - a.min(b);
            assert!(lean >= least - 0.1 && lean < least + 1.5, "{lean} for {least}");
            assert!(station.angle_from_normal < lean + 4.0, "{}", station.angle_from_normal);
            assert_relative_eq!(a + b, 180.0, epsilon = 1e-6);
        }
        assert!(plan.crossings.is_empty(), "{:?}", plan.crossings);
    }
}

/// From x = 60 a straight ruling would lean by 45 degrees and more. One that starts square and
/// turns 5 mm up has the slab's edge 20 mm ahead and 15 mm up, 25 mm away.
#[test]
fn farther_under_the_slab_the_ruling_turns() {
    let settings = SheetSettings::default();
    let plan = sheets(&clamp(), &[line(&[[60.0, 80.0, 10.0], [60.0, 120.0, 10.0]])], &settings);
    let least = (20f64 / 15.0).atan().to_degrees() + (2f64 / 25.0).asin().to_degrees();
    let sheet = &plan.sheets[0];
    for station in &sheet.stations {
        assert_eq!(station.turn, Some(station.on_model + Vector::z() * 5.0));
        assert!(station.angle_from_normal < 1e-6);
        let turn = station.turn_angle;
        assert!(turn >= least - 0.1 && turn < least + 1.5, "{turn} for {least}");
    }
    assert_eq!(sheet.columns, 3);
    let flat: f64 =
        sheet.stations.iter().map(|s| s.depth).sum::<f64>() / sheet.stations.len() as f64;
    assert_relative_eq!(sheet.area, 40.0 * flat, max_relative = 0.01);
}

/// Square rulings from the walls of a groove of 90 degrees meet over its middle.
#[test]
fn sheets_from_both_walls_of_a_groove_are_kept_apart() {
    let polygon = [
        [0.0, 0.0],
        [100.0, 0.0],
        [100.0, 40.0],
        [80.0, 40.0],
        [50.0, 10.0],
        [20.0, 40.0],
        [0.0, 40.0],
    ];
    let triangles = [[0, 1, 4], [1, 2, 3], [1, 3, 4], [0, 4, 5], [0, 5, 6]];
    let model = prism(&polygon, &triangles, 80.0);
    let walls = [
        line(&[[35.0, 20.0, 25.0], [35.0, 60.0, 25.0]]),
        line(&[[65.0, 20.0, 25.0], [65.0, 60.0, 25.0]]),
    ];
    let settings = SheetSettings::default();
    let each: Vec<Sheet> = walls
        .iter()
        .map(|wall| sheets(&model, std::slice::from_ref(wall), &settings).sheets.remove(0))
        .collect();
    let [a, b] = [0, 1].map(|k| Surface::new(&each[k].mesh).expect("finite").expect("faces"));
    assert!(crossing::crossing(&a, &b, &|_| false).is_some(), "alone they would cross");
    let plan = sheets(&model, &walls, &settings);
    assert!(plan.crossings.is_empty(), "{:?}", plan.crossings);
}

#[test]
fn cuts_that_cross_on_the_model_are_told() {
    let lines = [
        line(&[[20.0, 40.0, 20.0], [80.0, 40.0, 20.0]]),
        line(&[[50.0, 20.0, 20.0], [50.0, 60.0, 20.0]]),
    ];
    let plan = sheets(&cuboid([100.0, 80.0, 20.0]), &lines, &SheetSettings::default());
    assert_eq!(plan.crossings.len(), 1);
    assert_eq!(plan.crossings[0].with, CrossedBy::Sheet(0));
    let place = plan.crossings[0].place;
    assert!((place - Point::new(50.0, 40.0, place.z)).norm() < 2.0, "{place}");
}

/// Branches of one cut share the ruling where they meet, so the sheet has no gap there.
#[test]
fn branches_share_the_ruling_where_they_meet() {
    let lines = [
        line(&[[20.0, 40.0, 20.0], [50.0, 40.0, 20.0]]),
        line(&[[50.0, 40.0, 20.0], [80.0, 20.0, 20.0]]),
        line(&[[80.0, 60.0, 20.0], [50.0, 40.0, 20.0]]),
    ];
    let plan = sheets(&cuboid([100.0, 80.0, 20.0]), &lines, &SheetSettings::default());
    let end = |k: usize, last: bool| {
        let stations = &plan.sheets[k].stations;
        let station = if last { stations.last() } else { stations.first() };
        station.map(|s| s.on_outside).expect("stations")
    };
    assert_eq!(end(0, true), end(1, false));
    assert_eq!(end(0, true), end(2, true));
    assert!(plan.crossings.is_empty(), "{:?}", plan.crossings);
}

#[test]
fn a_ring_closes_on_itself() {
    let ring: Vec<[f64; 3]> = (0..=64)
        .map(|k| f64::from(k % 64) / 64.0 * std::f64::consts::TAU)
        .map(|a| [20.0 * a.cos(), 20.0 * a.sin(), 30.0])
        .collect();
    let plan = sheets(&cylinder(20.0, 60.0, 64), &[line(&ring)], &SheetSettings::default());
    let sheet = &plan.sheets[0];
    assert!(sheet.closed);
    let (first, last) = (&sheet.stations[0], sheet.stations.last().expect("stations"));
    assert_eq!(first.on_outside, last.on_outside);
    for station in &sheet.stations {
        let out = Vector::new(station.on_model.x, station.on_model.y, 0.0);
        assert!(station.direction.angle(&out).to_degrees() < 3.0);
    }
    assert!(plan.crossings.is_empty(), "{:?}", plan.crossings);
}

/// A wall that leans out over the board: its normal points down. The first ruling still runs along
/// the board, and the others do not leave through it.
#[test]
fn a_cut_from_the_gate_opens_the_sheet_along_the_board() {
    let polygon = [[0.0, 0.0], [60.0, 0.0], [80.0, 60.0], [-20.0, 60.0]];
    let model = prism(&polygon, &[[0, 1, 2], [0, 2, 3]], 80.0);
    let cut = CutLine {
        from_gate: true,
        starts_at_gate: true,
        ..line(&[[60.0, 40.0, 0.0], [75.0, 40.0, 45.0]])
    };
    let plan = sheets(&model, &[cut], &SheetSettings::default());
    let stations = &plan.sheets[0].stations;
    assert!(stations[0].direction.z.abs() < 1e-12);
    assert!(stations.iter().all(|s| !s.flags.through_board && !s.flags.blocked));
    assert!(stations.iter().all(|s| s.wedge.iter().all(|w| (w - 90.0).abs() < 3.0)));
    // The slope of the wall, 18.4 degrees, is what the normal looks down by.
    let last = stations.last().expect("stations");
    assert!(last.angle_from_normal < 6.0, "{}", last.angle_from_normal);
}

/// A box with a closed hollow: nothing leads out of it.
#[test]
fn where_nothing_leads_outside_the_station_is_blocked() {
    let hollow = crate::mesh::fixtures::inside_out(&cuboid([20.0; 3]));
    let model =
        crate::mesh::fixtures::joined(&cuboid([60.0; 3]), &moved(&hollow, [20.0, 20.0, 20.0]));
    let settings = SheetSettings::default();
    let plan = sheets(&model, &[line(&[[25.0, 30.0, 20.0], [35.0, 30.0, 20.0]])], &settings);
    assert!(plan.sheets[0].stations.iter().all(|s| s.flags.blocked && s.risk == 1.0));
    assert!(plan.sheets[0].mesh.faces.is_empty());
    assert_relative_eq!(lip_figures(&plan.sheets, &settings).blocked_length, 10.0, epsilon = 1e-9);
}

#[test]
fn numbers_out_of_range_are_named() {
    let bad = SheetSettings {
        blade_length: -1.0,
        acceptable_angle: 20.0,
        clearance: f64::NAN,
        ..SheetSettings::default()
    };
    let faults: Vec<String> = bad.faults().iter().map(ToString::to_string).collect();
    for field in ["blade_length", "acceptable_angle", "clearance"] {
        assert!(faults.iter().any(|f| f.contains(&format!("sheets.{field} is"))), "{faults:?}");
    }
    assert_eq!(faults.len(), 3);
    let point = [line(&[[10.0, 10.0, 20.0], [10.0, 10.0, 20.0]])];
    let model = cuboid([100.0, 80.0, 20.0]);
    let none = plan_sheets(
        &body(&model),
        &model,
        &point,
        &[],
        &SheetSettings::default(),
        &Control::silent(),
    );
    assert_eq!(none, Err(SheetError::NoLength { index: 0 }));
}
