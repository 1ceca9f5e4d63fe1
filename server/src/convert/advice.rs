//! What to see to before anything is poured, from the solver to the protocol.

use slitwright_proto::v1;
use slitwright_solver::advice::{
    Advice, AirTrap, FollowsCut, Overhang, PartingLine, Shell, SlidingLips,
};

use super::geometry::{direction, point, polyline};

/// Advice for the protocol.
pub(super) fn advice(advice: &Advice) -> v1::Advice {
    v1::Advice {
        pour: Some(v1::Pour {
            openings: advice.pour.openings,
            area_mm2: advice.pour.area,
            width_mm: advice.pour.width,
            serves: advice.pour.serves,
        }),
        casting_traps: advice.casting.told.iter().map(trap).collect(),
        further_casting_traps: advice.casting.others,
        rubber_traps: advice.rubber.told.iter().map(trap).collect(),
        further_rubber_traps: advice.rubber.others,
        shut_hollows_cm3: advice.shut_hollows,
        shell: advice.shell.as_ref().map(shell),
        sliding_lips: advice.sliding_lips.iter().map(lips).collect(),
        overhangs: advice.overhangs.iter().map(overhang).collect(),
    }
}

fn trap(trap: &AirTrap) -> v1::AirTrap {
    v1::AirTrap { place: Some(point(&trap.place)), depth_mm: trap.depth, volume_mm3: trap.volume }
}

fn shell(shell: &Shell) -> v1::RigidShell {
    v1::RigidShell {
        draws: shell.draws.iter().map(direction).collect(),
        hidden_share: shell.hidden,
        comes_off: shell.comes_off,
        hidden_share_in_two: shell.hidden_in_two,
        along_plan: shell.is_along_plan,
        parting_line_mm: shell.parting_line,
        resolution_mm: shell.cell,
        parting_lines: shell.lines.iter().map(parting_line).collect(),
        hidden_shares: shell.held.clone(),
        follows_cut: shell.follows.as_ref().map(follows),
    }
}

fn parting_line(line: &PartingLine) -> v1::PartingLine {
    v1::PartingLine {
        line: Some(polyline(&line.points)),
        closed: line.closed,
        parts: line.parts.to_vec(),
    }
}

fn follows(follows: &FollowsCut) -> v1::FollowsCut {
    v1::FollowsCut {
        cut: follows.cut,
        length_mm: follows.length,
        along_mm: follows.along,
        followed: follows.is_followed,
        hidden_share: follows.hidden,
    }
}

fn lips(lips: &SlidingLips) -> v1::SlidingLips {
    v1::SlidingLips { cut: lips.cut, length_mm: lips.length, depth_mm: lips.depth }
}

fn overhang(own: &Overhang) -> v1::Overhang {
    v1::Overhang { place: Some(point(&own.place)), area_mm2: own.area, thickness_mm: own.thickness }
}
