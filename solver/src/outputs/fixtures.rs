//! Plans for the tests of this module.

use crate::body::Outside;
use crate::mesh::{Point, TriangleMesh, Vector};
use crate::plan::{
    Cut, CutKind, Figures, NotTried, Plan, Reason, RubberSkin, SheetReport, StopReason,
    TrialVerdict,
};
use crate::sheets::{
    LipFigures, OnePiece, Sheet, SheetSettings, Station, StationFlags, lip_figures,
};

/// A plan with nothing in it, z up.
pub(super) fn empty_plan() -> Plan {
    Plan {
        cuts: Vec::new(),
        bridges: Vec::new(),
        near_bridges: Vec::new(),
        sheets: None,
        trial: TrialVerdict::NotRun(NotTried::NotAsked),
        hinges: Vec::new(),
        stretches: Vec::new(),
        gate_outline: Vec::new(),
        up: Vector::z(),
        total_length: 0.0,
        cost: 0.0,
        lower_bound: 0.0,
        gap: 0.0,
        stopped_by: StopReason::Optimal,
        rubber_volume: 0.0,
        rubber_mass: 0.0,
        warnings: Vec::new(),
        limits: Vec::new(),
        figures: Figures::default(),
    }
}

/// A cut of one branch.
pub(super) fn cut(order: u32, kind: CutKind, line: Vec<Point>) -> Cut {
    let length = line.windows(2).map(|w| (w[1] - w[0]).norm()).sum();
    let reason = Reason::FreesRing {
        ring_length: 60.0,
        girth: 120.0,
        beyond: Point::origin(),
        text: "the ring below the middle is too tight for the middle".to_owned(),
    };
    Cut { order, kind, branches: vec![line], length, reason, sheets: Vec::new() }
}

/// A station of a cut along x on flat ground at z = 0: a square ruling, 12 mm deep.
pub(super) fn station(along: f64) -> Station {
    Station {
        along,
        on_model: Point::new(along, 0.0, 0.0),
        normal: Vector::z(),
        ahead: Vector::x(),
        turn: None,
        on_outside: Point::new(along, 0.0, 12.0),
        depth: 12.0,
        direction: Vector::z(),
        angle_from_normal: 0.0,
        turn_angle: 0.0,
        wedge: [90.0; 2],
        risk: 0.0,
        flags: StationFlags::default(),
    }
}

/// A sheet of stations, all of them listed.
pub(super) fn sheet(stations: Vec<Station>) -> Sheet {
    Sheet {
        listed: (0..stations.len()).collect(),
        closed: false,
        mesh: TriangleMesh::default(),
        columns: 2,
        area: 0.0,
        outer: stations.iter().map(|station| station.on_outside).collect(),
        length: stations.last().map_or(0.0, |station| station.along),
        foot: [None; 2],
        stations,
    }
}

/// The report on a plan's sheets in a box of rubber, in one piece.
pub(super) fn sheet_report(cuts: &[Cut], low: Point, high: Point) -> SheetReport {
    let settings = SheetSettings::default();
    let of = |bridge: bool| {
        let cuts = cuts.iter().filter(move |cut| (cut.kind == CutKind::Bridge) == bridge);
        cuts.flat_map(|cut| &cut.sheets)
    };
    let figures: LipFigures = lip_figures(of(false), &settings);
    SheetReport {
        skin: RubberSkin {
            outside: Outside::Box { low, high },
            to_mould: crate::nalgebra::Isometry3::identity(),
        },
        figures,
        bridge_figures: lip_figures(of(true), &settings),
        area: of(false).map(|sheet| sheet.area).sum(),
        crossings: Vec::new(),
        one_piece: OnePiece { pieces: vec![1e5], pieces_uncut: 1, neck: None, cell: 1.0 },
        settings,
    }
}
