//! How a model stands and rests, from the solver to the protocol.

use slitwright_proto::v1;
use slitwright_solver::body::{Advised, FootKind, Poses, RestingPose, Stance, WantsBase};
use slitwright_solver::outputs::on_gate;

use super::geometry::{direction, point};

/// Poses for the protocol, with the words that the shell prints.
pub fn poses_to_proto(poses: &Poses) -> v1::ModelPoses {
    let (advice, proposed) = match poses.advised {
        Advised::AsGiven => (v1::PoseAdvice::AsGiven, None),
        Advised::Pose(pose) => (v1::PoseAdvice::AnotherUp, Some(pose as u32)),
        Advised::NoneFlat(pose) => (v1::PoseAdvice::NoneFlat, Some(pose as u32)),
    };
    v1::ModelPoses {
        centre_of_mass: Some(point(&poses.centre_of_mass)),
        as_given: Some(stance(&poses.as_given)),
        candidates: poses.candidates.iter().map(candidate).collect(),
        given_candidate: poses.given_candidate.map(|pose| pose as u32),
        others: poses.others as u32,
        others_likelihood: poses.others_likelihood,
        advice: advice.into(),
        proposed_candidate: proposed,
        words: on_gate(poses),
    }
}

fn candidate(pose: &RestingPose) -> v1::RestingPose {
    v1::RestingPose { likelihood: pose.likelihood, stance: Some(stance(&pose.stance)) }
}

fn stance(stance: &Stance) -> v1::Stance {
    v1::Stance {
        up: Some(direction(&stance.up)),
        foot: match stance.foot.kind {
            FootKind::FlatFace => v1::FootKind::FlatFace,
            FootKind::Ring => v1::FootKind::Ring,
            FootKind::SeveralFeet => v1::FootKind::SeveralFeet,
            FootKind::NotFlat => v1::FootKind::NotFlat,
        }
        .into(),
        foot_area_mm2: stance.foot.area,
        patches: stance.foot.patches as u32,
        tipping_degrees: stance.tipping,
        height_mm: stance.height,
        covers_mm2: stance.covers,
        wants_base: match stance.wants_base() {
            None => v1::BaseReason::Unspecified,
            Some(WantsBase::NotFlat) => v1::BaseReason::NotFlat,
            Some(WantsBase::Tips) => v1::BaseReason::Tips,
            Some(WantsBase::SmallFoot) => v1::BaseReason::SmallFoot,
        }
        .into(),
    }
}
