//! Sheets and what they come to, from the solver to the protocol.

use slitwright_proto::v1;
use slitwright_solver::mesh::TriangleMesh;
use slitwright_solver::plan::{SheetCrossing, SheetReport};
use slitwright_solver::sheets::{CrossedBy, LipFigures, OnePiece, Sheet, Station, StationFlags};

use super::plan::polyline;
use super::request::{direction, point};

/// A sheet with the stations that are listed for the knife.
pub(super) fn sheet(sheet: &Sheet) -> v1::Sheet {
    v1::Sheet {
        stations: sheet.listed_stations().map(station).collect(),
        outer: Some(polyline(&sheet.outer)),
        area_mm2: sheet.area,
        length_mm: sheet.length,
        closed: sheet.closed,
        mesh: Some(mesh(&sheet.mesh)),
    }
}

fn station(station: &Station) -> v1::Station {
    v1::Station {
        along_mm: station.along,
        on_model: Some(point(&station.on_model)),
        normal: Some(direction(&station.normal)),
        ahead: Some(direction(&station.ahead)),
        on_outside: Some(point(&station.on_outside)),
        turn: station.turn.as_ref().map(point),
        depth_mm: station.depth,
        direction: Some(direction(&station.direction)),
        angle_from_normal_degrees: station.angle_from_normal,
        turn_angle_degrees: station.turn_angle,
        wedge_left_degrees: station.wedge[0],
        wedge_right_degrees: station.wedge[1],
        risk: station.risk,
        flags: flags(station.flags).into_iter().map(Into::into).collect(),
    }
}

fn flags(flags: StationFlags) -> Vec<v1::StationFlag> {
    let StationFlags { blocked, beyond_blade, through_board, too_sharp, feather } = flags;
    [
        (blocked, v1::StationFlag::Blocked),
        (beyond_blade, v1::StationFlag::BeyondBlade),
        (through_board, v1::StationFlag::ThroughBoard),
        (too_sharp, v1::StationFlag::TooSharp),
        (feather, v1::StationFlag::FeatherEdge),
    ]
    .into_iter()
    .filter_map(|(set, flag)| set.then_some(flag))
    .collect()
}

fn mesh(mesh: &TriangleMesh) -> v1::TriangleMesh {
    let triangle = |&[a, b, c]: &[u32; 3]| v1::Triangle { a, b, c };
    v1::TriangleMesh {
        vertices: mesh.positions.iter().map(point).collect(),
        triangles: mesh.faces.iter().map(triangle).collect(),
    }
}

pub(super) fn report(report: &SheetReport) -> v1::SheetReport {
    v1::SheetReport {
        exterior: Some(figures(&report.figures)),
        bridges: Some(figures(&report.bridge_figures)),
        area_mm2: report.area,
        crossings: report.crossings.iter().map(crossing).collect(),
        one_piece: Some(one_piece(&report.one_piece)),
    }
}

fn figures(figures: &LipFigures) -> v1::LipFigures {
    v1::LipFigures {
        length_mm: figures.length,
        weak_length_mm: figures.weak_length,
        feather_length_mm: figures.feather_length,
        blocked_length_mm: figures.blocked_length,
        risk: figures.risk,
        worst_angle_degrees: figures.worst_angle,
        // Infinite where nothing is cut.
        least_wedge_degrees: Some(figures.least_wedge).filter(|wedge| wedge.is_finite()),
        share_acceptable: figures.share_acceptable,
        greatest_depth_mm: figures.greatest_depth,
    }
}

fn crossing(crossing: &SheetCrossing) -> v1::SheetCrossing {
    use v1::sheet_crossing::With;
    v1::SheetCrossing {
        cut: crossing.cut,
        with: Some(match crossing.with {
            CrossedBy::Sheet(cut) => With::OtherCut(cut as u32),
            CrossedBy::Disc(bridge) => With::Bridge(bridge as u32),
            CrossedBy::Model => With::Model(v1::CrossedModel {}),
        }),
        place: Some(point(&crossing.place)),
    }
}

fn one_piece(whole: &OnePiece) -> v1::OnePiece {
    v1::OnePiece {
        pieces_cm3: whole.pieces.iter().map(|volume| volume / 1000.0).collect(),
        pieces_uncut: whole.pieces_uncut as u32,
        neck_width_mm: whole.neck.map(|neck| neck.width).filter(|width| width.is_finite()),
        neck_place: whole.neck.map(|neck| point(&neck.place)),
        cell_mm: whole.cell,
    }
}
