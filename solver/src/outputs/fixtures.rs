//! Plans and trials for the tests of this module.

use crate::advice::{Advice, AirTraps, PartingLine, Pour, Shell};
use crate::body::{MouldBody, MouldShape, Outside, Rubber};
use crate::control::Control;
use crate::mesh::fixtures::{icosphere, moved};
use crate::mesh::{Point, TriangleMesh, Vector};
use crate::plan::{
    BoundFor, Compared, Cut, CutKind, Ending, Figures, NotTried, Plan, PlanTrial, Reason,
    RubberSkin, SheetReport, StopReason, TrialVerdict,
};
use crate::sheets::{
    LipFigures, OnePiece, Sheet, SheetSettings, Station, StationFlags, lip_figures,
};
use crate::trial::tests::shapes;
use crate::trial::{
    Frame, MeshReport, Outcome, PullPoint, TrialReport, TrialSettings, TrialSetup, run,
};

/// A plan with nothing in it, z up.
pub(super) fn empty_plan() -> Plan {
    Plan {
        cuts: Vec::new(),
        bridges: Vec::new(),
        near_bridges: Vec::new(),
        sheets: None,
        trial: TrialVerdict::NotRun(NotTried::NotAsked),
        misses: Vec::new(),
        seam_on_show: 0.0,
        two_sides: None,
        hinges: Vec::new(),
        stretches: Vec::new(),
        gate_outline: Vec::new(),
        up: Vector::z(),
        total_length: 0.0,
        cost: 0.0,
        shortfall: 0.0,
        ending: Ending::new(StopReason::Optimal, 0.0, 0.0, BoundFor::Nothing),
        rubber_volume: 0.0,
        rubber_mass: 0.0,
        warnings: Vec::new(),
        limits: Vec::new(),
        figures: Figures::default(),
        advice: None,
    }
}

/// Advice with nothing to see to but a narrow opening, and a shell.
pub(super) fn advice(shell: Option<Shell>) -> Advice {
    Advice {
        pour: Pour { openings: 1, area: 50.0, width: 8.0, serves: false },
        casting: AirTraps::default(),
        rubber: AirTraps::default(),
        shut_hollows: 0.0,
        shell,
        sliding_lips: Vec::new(),
        overhangs: Vec::new(),
    }
}

/// The shell of a ball of 30 in a blanket of 8 that stands on the board, parted along the circle that is seen edge-on from
/// the right.
pub(super) fn ball_shell() -> Shell {
    let low = (-30.0f64 / 38.0).asin();
    let turn = std::f64::consts::PI - 2.0 * low;
    let points = (0..=60).map(|k| {
        let angle = low + turn * f64::from(k) / 60.0;
        Point::new(38.0 * angle.cos(), 0.0, 30.0 + 38.0 * angle.sin())
    });
    Shell {
        draws: vec![-Vector::y(), Vector::y()],
        hidden: 0.0,
        comes_off: true,
        hidden_in_two: 0.0,
        is_along_plan: false,
        parting_line: 38.0 * turn,
        cell: 1.9,
        lines: vec![PartingLine { points: points.collect(), closed: false, parts: [0, 1] }],
        held: vec![0.0; 2],
        follows: None,
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

/// A made-up trial: a block of 20 mm a side with its foot at z = 0, drawn out along z to `stretch`
/// times its height, in three frames, and a small ball as the model.
pub(super) fn block_drawn_off(stretch: f64) -> (TrialReport, TriangleMesh) {
    let block = shapes::block([4, 4, 4], |[x, y, z]| {
        Point::new(20.0 * x - 10.0, 20.0 * y - 10.0, 20.0 * z)
    });
    let drawn = |t: f64| Frame {
        opening: 0.0,
        travel: 10.0 * t,
        positions: block
            .nodes
            .iter()
            .map(|p| Point::new(p.x, p.y, p.z * (1.0 + (stretch - 1.0) * t)))
            .collect(),
    };
    let point = |travel: f64, force: f64| PullPoint { travel, force, settled: true };
    let report = TrialReport {
        outcome: Outcome::Released,
        direction: Vector::z(),
        greatest_stretch: stretch - 1.0,
        stretched_at: Point::origin(),
        stretch_99: stretch - 1.0,
        overlap: 0.0,
        pull: vec![point(5.0, 20.0), point(10.0, 12.0)],
        bridges: Vec::new(),
        frames: [0.0, 0.0, 0.5, 1.0].map(drawn).to_vec(),
        elements: block.elements.clone(),
        surface: block.surface(),
        mesh: MeshReport {
            elements: block.elements.len(),
            nodes: block.nodes.len(),
            spacing: 5.0,
            angles: block.dihedral_range(),
            volume: 8.0,
            pieces: 1,
        },
        coarser: Vec::new(),
        relaxation_steps: 0,
        progress: 1.0,
    };
    let model = moved(&icosphere(4.0, 2), [0.0, 0.0, 8.0]);
    (report, model)
}

/// The trial of [`block_drawn_off`] as a plan has it, the mould frame the model's own.
pub(super) fn trial_of_block(stretch: f64) -> PlanTrial {
    let (report, model) = block_drawn_off(stretch);
    as_planned(report, model)
}

/// A trial as a plan has it, with hands of 150 N, the mould frame the model's own.
pub(super) fn as_planned(report: TrialReport, model: TriangleMesh) -> PlanTrial {
    let to_mould = crate::nalgebra::Isometry3::identity();
    PlanTrial { report, model, paint: None, hand_force: 150.0, to_mould, demands: Vec::new() }
}

/// A ball on a rod in a block of rubber that is cut from the board half up, tried with few elements.
pub(super) fn tried_ball() -> (TrialReport, TriangleMesh) {
    let model = shapes::ball_on_rod(12.0, 8.0, 8.0);
    let shape = MouldShape::Box { side_clearance: 9.0, top_clearance: 9.0 };
    let body = MouldBody::new(&model, &shape).expect("a body");
    let settings = TrialSettings { elements: 2500, steps: 4, ..TrialSettings::default() };
    let setup = TrialSetup {
        body: &body,
        model: &model,
        sheets: &[shapes::upright([0.0, 40.0], [-1.0, 20.0])],
        across: &[],
        rubber: &Rubber::default(),
        bridges: &[],
        plugs: &[],
        settings: &settings,
    };
    (run(&setup, &Control::silent()).expect("runs"), model)
}

/// A row of a comparison.
pub(super) fn compared(name: &str, length: f64, risk: f64, works: bool) -> Compared {
    Compared {
        name: name.to_owned(),
        works,
        missed: Vec::new(),
        total_length: length,
        cuts: 2,
        cost: length,
        weak_length: Some(10.0),
        risk: Some(risk),
        worst_angle: Some(20.0),
        greatest_depth: Some(30.0),
        area: Some(1000.0),
        bridges: (1, 1),
        narrowest_hinge: Some(20.0),
        greatest_strain: 0.4,
        seam_on_show: 0.5 * length,
        trial: None,
        on_front: false,
    }
}
