//! Patterns drawn on sheets of small pieces made of cubes.

use super::*;
use crate::body::MouldShape;
use crate::bridges::shapes::{blocks, cells, frame};
use crate::mesh::{PrepareOptions, Vector, prepare_mesh};
use crate::plan::setup::set_up;
use crate::plan::sides::Views;
use crate::plan::sides::cut::folding;
use crate::plan::skin::Holes;

#[test]
fn a_part_of_a_line_is_as_long_as_asked() {
    let corner = [Point::origin(), Point::new(10.0, 0.0, 0.0), Point::new(10.0, 10.0, 0.0)];
    let part = part_of(&corner, 4.0, 17.0);
    assert_eq!(part.len(), 3);
    assert!((polyline_length(&part) - 13.0).abs() < 1e-12);
    assert_eq!(part_of(&corner, 0.0, 20.0).len(), 3);
}

/// A bar on end with a handle as thick, whose lower end stops 2 mm before it.
fn hook() -> TriangleMesh {
    let parts = [
        cells([0, 5, 0], [6, 10, 17]),
        cells([6, 5, 11], [14, 10, 14]),
        cells([11, 5, 3], [14, 10, 11]),
        cells([7, 5, 3], [11, 10, 6]),
    ];
    blocks(&parts.concat(), 1, 2.0)
}

/// A bar on end with a handle as thick, whose lower end stops 2 mm before it. Seen along the handle's hole the sheet runs through
/// it; seen with the handle in front the rubber in it would stay a plug, and is cut across: 10 mm by 10.
#[test]
fn a_ring_that_all_but_closes_is_cut_across_where_the_sheet_does_not_run_through_it() {
    let model = prepare_mesh(hook(), &PrepareOptions::default()).expect("sound");
    let (request, control) = (PlanRequest::default(), Control::silent());
    let setup = set_up(&model, &request, 1.0, Holes::Filled, &control).expect("set up");
    let mut views = Views::new(&setup, f64::MAX, &control).expect("drawn").expect("two sides");
    let axis = setup.gate.to_mould * Vector::y();
    let mut seen = [0, 0];
    for view in views.order().to_vec() {
        // From in between it runs through part of the ring.
        let through = views.direction(view).dot(&axis).abs();
        if seen.iter().all(|&n| n > 1) || (0.05..0.95).contains(&through) {
            continue;
        }
        let sheet = views.sheet(view, &control).expect("a sheet");
        // Short borders give one side all of the handle, so that its rubber runs through the ring wherever that is seen from.
        if sheet.labels.undercut() > 0.01 {
            continue;
        }
        let drawing = Drawing {
            setup: &setup,
            sheet: &sheet,
            additions: &[],
            outer: views.outer(),
            request: &request,
        };
        let discs = drawing.plug_cuts().expect("looked at");
        // A sheet that meets the disc parts the plug by itself.
        assert!(through < 0.5 || discs.is_empty(), "{through}");
        seen[usize::from(!discs.is_empty())] += 1;
        for PlugCut { near, surface, .. } in discs {
            assert_eq!(near, 0);
            // Where the sheet runs along the ring and meets the disc, it is cut up to there.
            let (disc, rubber) = (setup.near[0].disc.as_ref(), sheet.cut_in_rubber(&|_| true));
            let whole = &disc.expect("a disc").surface;
            let meets = crate::sheets::surfaces_cross(&rubber, whole).expect("looked at").is_some();
            let share = surface.area() / 100.0;
            assert!(share < 1.2 && (meets || share > 0.8), "{share}");
            let pattern = crate::plan::sides::pattern::whole(&sheet);
            let candidate = drawing.candidate(&pattern, &control).expect("drawn");
            let sides = candidate.two_sides().expect("two sides");
            let near: Vec<_> = sides.across.iter().filter(|(_, near)| near.is_some()).collect();
            assert_eq!(near, [&(candidate.curves().cuts.len() - 1, Some(0))]);
        }
    }
    assert!(seen.iter().all(|&n| n > 0), "{seen:?}");
}

/// A post with a hook that all but closes on it, seen askew to the ring: the sheet runs through part of the ring, and what it
/// leaves of the plug is cut up to it. No cut meets the sheet, and some views have one.
#[test]
fn what_a_sheet_askew_leaves_of_a_plug_is_cut_up_to_the_sheet() {
    let model = prepare_mesh(hook(), &PrepareOptions::default()).expect("sound");
    let (request, control) = (PlanRequest::default(), Control::silent());
    let setup = set_up(&model, &request, 1.0, Holes::Filled, &control).expect("set up");
    let whole = setup.near[0].disc.as_ref().expect("a disc").area;
    let mut views = Views::new(&setup, f64::MAX, &control).expect("drawn").expect("two sides");
    let mut parts = 0;
    for view in views.order().iter().copied().take(16).collect::<Vec<_>>() {
        if parts > 1 {
            break;
        }
        let sheet = views.sheet(view, &control).expect("a sheet");
        let outer = views.outer();
        let drawing =
            Drawing { setup: &setup, sheet: &sheet, additions: &[], outer, request: &request };
        let rubber = sheet.cut_in_rubber(&|_| true);
        for PlugCut { surface, rim, .. } in drawing.plug_cuts().expect("looked at") {
            assert_eq!(crate::sheets::surfaces_cross(&rubber, &surface).expect("looked at"), None);
            assert!(rim.len() > 1 && surface.area() < 1.001 * whole);
            parts += usize::from(surface.area() < 0.98 * whole);
        }
    }
    assert!(parts > 0, "the test shows nothing");
}

/// What a drawing is made of, for a piece in a mould.
fn drawn_on<T>(
    mesh: TriangleMesh,
    mould: MouldShape,
    wanted: impl Fn(&Vector) -> bool,
    then: impl Fn(&Drawing<'_>) -> T,
) -> T {
    let model = prepare_mesh(mesh, &PrepareOptions::default()).expect("sound");
    let request = PlanRequest { mould, ..PlanRequest::default() };
    let control = Control::silent();
    let setup = set_up(&model, &request, 1.0, Holes::Filled, &control).expect("set up");
    let views = Views::new(&setup, f64::MAX, &control).expect("drawn");
    let mut views = views.expect("two sides");
    let to_model = setup.gate.to_mould.inverse();
    let view =
        views.order().iter().copied().find(|&view| wanted(&(to_model * views.direction(view))));
    let sheet = views.sheet(view.expect("a view"), &control).expect("a sheet");
    let (setup, sheet, outer) = (&setup, &*sheet, views.outer());
    then(&Drawing { setup, sheet, additions: &[], outer, request: &request })
}

/// A blanket of 4 mm only lines the frame's hole. Seen through it the border runs round in the hole, and the bridge needs no cut of
/// its own; seen from the side it does. In a block, whose rubber fills the hole, the sheet itself cuts it across.
#[test]
fn what_only_lines_a_hole_is_not_cut_across_where_the_border_runs_round_in_it() {
    let along = |d: &Vector| d.y.abs() > 0.99;
    let across = |d: &Vector| d.x.abs() > 0.99;
    let seen = |drawing: &Drawing<'_>| {
        assert_eq!(drawing.setup.crossed, [true]);
        let own = drawing.own_discs(&drawing.request.sheets).expect("looked at").len();
        (drawing.is_lined(0), drawing.part_across(0).is_some(), own)
    };
    let blanket = || MouldShape::Blanket { thickness: 4.0 };
    assert_eq!(drawn_on(frame(), blanket(), along, seen), (true, false, 0));
    assert_eq!(drawn_on(frame(), blanket(), across, seen), (false, false, 1));
    let block = MouldShape::Box { side_clearance: 15.0, top_clearance: 15.0 };
    assert_eq!(drawn_on(frame(), block, along, seen), (false, true, 0));
}

/// All of the border of a bar is cut, 12 mm of it but for a skin of 8 mm outside. The cut behind that hinge ends 8 mm below the outside,
/// to a step of the grid, and the mould stays one piece.
#[test]
fn a_hinge_folds_by_the_skin_that_is_left() {
    let bar = blocks(&cells([0, 0, 0], [10, 5, 20]), 1, 2.0);
    let block = MouldShape::Box { side_clearance: 20.0, top_clearance: 20.0 };
    drawn_on(
        bar,
        block,
        |d: &Vector| d.y.abs() > 0.99,
        |drawing| {
            let (path, length, _) = crate::plan::sides::pattern::exterior_paths(drawing.sheet)[0];
            let all = crate::plan::sides::pattern::whole(drawing.sheet);
            let pattern = folding(drawing.sheet, &all.without(path, 0.0, 12.0, 1e-6), 8.0);
            assert!((pattern.length() - all.length()).abs() < 1e-6);
            let candidate = drawing.candidate(&pattern, &Control::silent()).expect("drawn");
            let sides = candidate.two_sides().expect("two sides");
            let [hinge] = &sides.hinges[..] else { panic!("{:?}", sides.hinges) };
            assert_eq!(hinge.skin, Some(8.0));
            assert!((hinge.width - 12.0).abs() < 1e-6 && length > 80.0);
            assert_eq!(sides.behind, [(candidate.curves().cuts.len() - 1, 8.0)]);
            let (body, gate) = (&drawing.setup.body, &drawing.setup.gate);
            let sheets = candidate.sheets().expect("sheets").of_cut(sides.behind[0].0, gate);
            let step = drawing.outer.grid().spacing;
            for station in sheets.iter().flat_map(|sheet| &sheet.stations) {
                let end = gate.to_mould * station.on_outside;
                let left = body.depth_below_outside(&end);
                assert!((left - 8.0).abs() < step, "{left} mm left");
            }
            assert!(!sheets.is_empty());
            assert!(candidate.sheets().is_some_and(|sheets| sheets.hangs_together()));
        },
    );
}
