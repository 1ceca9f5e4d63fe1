//! Sheets and what they come to, from the solver to the protocol.

use slitwright_proto::v1;
use slitwright_solver::plan::{SheetCrossing, SheetReport};
use slitwright_solver::sheets::{CrossedBy, LipFigures, OnePiece, Sheet, Station, StationFlags};

use super::geometry::{direction, mesh, point, polyline};

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

#[cfg(test)]
mod tests {
    use slitwright_solver::body::Outside;
    use slitwright_solver::mesh::{Point, TriangleMesh, Vector};
    use slitwright_solver::nalgebra::Isometry3;
    use slitwright_solver::plan::RubberSkin;
    use slitwright_solver::sheets::{Neck, SheetSettings, lip_figures};

    use super::*;

    fn given() -> Sheet {
        let station = |along: f64| Station {
            along,
            on_model: Point::new(along, 0.0, 0.0),
            normal: Vector::z(),
            ahead: Vector::x(),
            turn: (along > 0.0).then(|| Point::new(along, 0.0, 5.0)),
            on_outside: Point::new(along, 1.0, 12.0),
            depth: 12.5,
            direction: Vector::z(),
            angle_from_normal: 3.0,
            turn_angle: 4.0,
            wedge: [87.0, 25.0],
            risk: 0.5,
            flags: StationFlags { beyond_blade: along > 0.0, feather: true, ..Default::default() },
        };
        let stations: Vec<Station> = [0.0, 2.5, 5.0].map(station).into();
        let positions = stations.iter().flat_map(|s| [s.on_model, s.on_outside]).collect();
        Sheet {
            listed: vec![0, 2],
            closed: false,
            mesh: TriangleMesh { positions, faces: vec![[0, 2, 3], [0, 3, 1]] },
            columns: 2,
            area: 60.0,
            outer: stations.iter().map(|s| s.on_outside).collect(),
            length: 5.0,
            foot: [None; 2],
            stations,
        }
    }

    #[test]
    fn listed_stations_and_the_whole_surface_are_told() {
        let message = sheet(&given());
        assert_eq!(message.stations.len(), 2);
        let [first, last] = &message.stations[..] else { panic!("two are listed") };
        assert_eq!((first.along_mm, last.along_mm), (0.0, 5.0));
        assert_eq!((first.turn, last.turn.map(|p| p.z)), (None, Some(5.0)));
        assert_eq!((last.wedge_left_degrees, last.wedge_right_degrees), (87.0, 25.0));
        assert_eq!((last.depth_mm, last.angle_from_normal_degrees), (12.5, 3.0));
        assert_eq!(last.on_outside.map(|p| [p.x, p.y, p.z]), Some([5.0, 1.0, 12.0]));
        use v1::StationFlag::{BeyondBlade, FeatherEdge};
        assert_eq!(first.flags().collect::<Vec<_>>(), [FeatherEdge]);
        assert_eq!(last.flags().collect::<Vec<_>>(), [BeyondBlade, FeatherEdge]);
        assert_eq!(message.outer.map(|line| line.points.len()), Some(3));
        let mesh = message.mesh.expect("a surface");
        assert_eq!((mesh.vertices.len(), mesh.triangles.len()), (6, 2));
        assert_eq!(mesh.triangles[1], v1::Triangle { a: 0, b: 3, c: 1 });
    }

    #[test]
    fn every_flag_has_its_name() {
        let all = StationFlags {
            blocked: true,
            beyond_blade: true,
            through_board: true,
            too_sharp: true,
            feather: true,
        };
        let mut found = flags(all);
        found.dedup();
        assert_eq!(found.len(), 5);
        assert!(flags(StationFlags::default()).is_empty());
    }

    /// Where nothing is cut the least wedge is infinite, and JSON knows no infinity.
    #[test]
    fn infinite_numbers_are_left_out() {
        let settings = SheetSettings::default();
        let place = Point::new(1.0, 2.0, 3.0);
        let with = [CrossedBy::Sheet(2), CrossedBy::Disc(0), CrossedBy::Model];
        let outside = Outside::Box { low: Point::origin(), high: Point::new(9.0, 9.0, 9.0) };
        let message = report(&SheetReport {
            skin: RubberSkin { outside, to_mould: Isometry3::identity() },
            figures: lip_figures([&given()], &settings),
            bridge_figures: lip_figures([], &settings),
            area: 60.0,
            crossings: with.map(|with| SheetCrossing { cut: 1, with, place }).into(),
            one_piece: OnePiece {
                pieces: vec![9e4, 2e3],
                pieces_uncut: 1,
                neck: Some(Neck { width: 8.0, place }),
                cell: 1.5,
            },
            settings,
        });
        let exterior = message.exterior.expect("figures");
        assert_eq!((exterior.length_mm, exterior.feather_length_mm), (5.0, 5.0));
        assert_eq!(exterior.least_wedge_degrees, Some(25.0));
        assert_eq!(message.bridges.and_then(|figures| figures.least_wedge_degrees), None);
        let whole = message.one_piece.as_ref().expect("told");
        assert_eq!((&whole.pieces_cm3[..], whole.neck_width_mm), (&[90.0, 2.0][..], Some(8.0)));
        use v1::sheet_crossing::With;
        let found: Vec<_> = message.crossings.iter().map(|c| c.with).collect();
        let model = With::Model(v1::CrossedModel {});
        assert_eq!(found, [With::OtherCut(2), With::Bridge(0), model].map(Some));
        let json = serde_json::to_string(&message).expect("written");
        assert!(!json.contains("Infinity") && !json.contains("NaN"), "{json}");
        assert_eq!(serde_json::from_str::<v1::SheetReport>(&json).expect("read"), message);
    }
}
