//! What is wrong with a judged scheme, with places.

use super::super::answer::{CutKind, Plan, SheetCrossing};
use super::super::request::PlanRequest;
use super::super::setup::Setup;
use super::miss::Miss;
use super::sides;
use crate::bridges::DiscState;
use crate::curves::{Drawn, Finished};
use crate::girth::Ring;
use crate::mesh::{FaceId, Point, Vector};
use crate::sheets::Station;

/// Rings listed at most.
const MOST: usize = 6;

pub(super) fn misses(
    setup: &Setup,
    drawn: &Drawn,
    finished: &Finished,
    plan: &Plan,
    request: &PlanRequest,
) -> Vec<Miss> {
    let to_model = setup.gate.to_mould.inverse();
    let mut list = tight_rings(drawn, &finished.tight, setup);
    for (index, bridge) in plan.bridges.iter().enumerate() {
        let place = bridge.centre;
        if bridge.disc != DiscState::Plain {
            continue;
        }
        if !setup.crossed[index] {
            list.push(Miss::UncutBridge { bridge: index, place });
        } else if !bridge.is_open_enough() {
            let (opening, needed) = (bridge.opening, bridge.opening_needed);
            list.push(Miss::ShortOpening { bridge: index, opening, needed, place });
        }
    }
    let parts = parted(setup, drawn);
    let is_parted = !parts.is_empty();
    list.extend(parts);
    if let Some(report) = &plan.sheets
        && !report.one_piece.holds()
        && !is_parted
    {
        list.push(Miss::LoosePiece { pieces: report.one_piece.pieces.len() });
    }
    let asked = request.knife.hinge_width;
    let narrow = plan.hinges.iter().filter(|hinge| hinge.width < asked);
    list.extend(narrow.map(|hinge| Miss::NarrowHinge {
        width: hinge.width,
        asked,
        from: hinge.from,
        to: hinge.to,
    }));
    if let Some(report) = &plan.sheets {
        let settings = &report.settings;
        let allowed = settings.acceptable_lean() + 0.05;
        for cut in plan.cuts.iter().filter(|cut| cut.kind != CutKind::Bridge) {
            let stations = || cut.sheets.iter().flat_map(|sheet| &sheet.stations);
            let most = |of: fn(&Station) -> f64| stations().max_by(|a, b| of(a).total_cmp(&of(b)));
            if let Some(worst) = most(|s| s.angle_from_normal)
                && worst.angle_from_normal > allowed
            {
                list.push(Miss::SlantedCut {
                    cut: cut.order,
                    angle: worst.angle_from_normal,
                    allowed: settings.acceptable_lean(),
                    place: worst.on_model,
                });
            }
            if let Some(worst) = most(|s| -s.least_wedge())
                && worst.least_wedge() < settings.acceptable_angle
            {
                list.push(Miss::WeakLip {
                    cut: cut.order,
                    wedge: worst.least_wedge(),
                    asked: settings.acceptable_angle,
                    place: worst.on_model,
                });
            }
        }
        let meet = |c: &SheetCrossing| Miss::SheetsMeet { cut: c.cut, place: c.place };
        list.extend(report.crossings.iter().map(meet));
    }
    for miss in &mut list {
        if let Miss::TightRing { place, beyond, .. } = miss {
            *place = to_model * *place;
            *beyond = to_model * *beyond;
        }
    }
    list
}

/// The worst rings, each away from worse ones; places in the mould frame.
fn tight_rings(drawn: &Drawn, rings: &[Ring], setup: &Setup) -> Vec<Miss> {
    let graph = drawn.fitted_graph();
    let apart = setup.graph.mesh.longest_side() / 6.0;
    let mut kept: Vec<(Point, Miss)> = Vec::new();
    for ring in rings {
        let place = graph.middle_of_ring(&ring.outline);
        if kept.len() == MOST || kept.iter().any(|(other, _)| (other - place).norm() < apart) {
            continue;
        }
        let (stretched, relaxed) = graph.ring_length(&ring.outline);
        let miss = Miss::TightRing {
            // A ring that was pulled taut is shorter than its outline on the graph.
            ring_length: relaxed * ring.reach / stretched.max(1e-9),
            stretched_length: ring.reach,
            girth: ring.width,
            place,
            beyond: graph.middle(ring.beyond.iter().copied()),
        };
        kept.push((place, miss));
    }
    kept.into_iter().map(|(_, miss)| miss).collect()
}

/// The parts but the largest that the lines divide the surface into.
fn parted(setup: &Setup, drawn: &Drawn) -> Vec<Miss> {
    let graph = &setup.graph;
    let to_model = setup.gate.to_mould.inverse();
    let edges: Vec<u32> =
        drawn.cut.edges().iter().chain(drawn.loops.iter().flatten()).copied().collect();
    let uncut = sides::parts(graph, &[]).len();
    let whole = graph.mesh.area();
    let parts = sides::parts(graph, &edges);
    let mut loose: Vec<(f64, Point)> = Vec::new();
    if parts.len() > uncut {
        for part in &parts[uncut..] {
            let (mut area, mut sum) = (0.0, Vector::zeros());
            for &face in part {
                let id = FaceId(face as u32);
                let own = graph.mesh.face_area(id);
                let [a, b, c] = graph.mesh.corners(id);
                sum += (a.coords + b.coords + c.coords) * (own / 3.0);
                area += own;
            }
            loose.push((area, Point::from(sum / area.max(1e-12))));
        }
    }
    loose
        .into_iter()
        .map(|(area, place)| Miss::FallsApart { share: area / whole, place: to_model * place })
        .collect()
}
