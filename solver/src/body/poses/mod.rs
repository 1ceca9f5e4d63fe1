//! How a model stands in its file, and the poses in which it would come to rest by itself.
//!
//! A pose rests on a facet of the convex hull right below the centre of mass. Where no gate is asked for, a plan takes
//! the model as it stands in its file, if that has a flat face to stand on; else another up has to be given, and
//! [`Poses::advised`] names one. None is ever taken unasked: a mould that is poured upside down is wasted.

mod facets;
mod rolling;
#[cfg(test)]
mod tests;

use rayon::prelude::*;

use self::facets::{Facet, convex_outline, facets, margin};
use super::foot::{FlatArea, Foot, FootKind};
use crate::mesh::{FaceId, HullError, Point, TriangleMesh, Vector, convex_hull};

/// Poses whose ups are no farther apart than this are one to whoever looks at them, degrees. No source.
pub const ONE_POSE_DEGREES: f64 = 3.0;
/// A model that tips at less than this stands badly, degrees. Common practice, no source.
pub const LEAST_TIPPING_DEGREES: f64 = 10.0;
/// A foot smaller than this share of what the model covers seen from above is small. Common practice, no source.
pub const LEAST_FOOT_SHARE: f64 = 0.02;
/// Of all poses the likeliest are told, and those with the largest facets are looked at for flat feet.
const TOLD: usize = 6;
const LOOKED_AT: usize = 12;

/// Poses cannot be found.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PoseError {
    /// The direction has no length, or is no number.
    #[error("up must be a direction: three finite numbers, not all zero")]
    Up,
    /// The model has no inside.
    #[error("the model encloses no volume, so it has no centre of mass: check it first")]
    NoVolume,
    /// There is no hull to rest on.
    #[error(transparent)]
    Hull(#[from] HullError),
}

/// A model on the board, along some up.
#[derive(Clone, Debug, PartialEq)]
pub struct Stance {
    /// Unit direction away from the board, in the model's coordinates.
    pub up: Vector,
    /// What touches the board.
    pub foot: Foot,
    /// How far it can be tilted before it tips over, degrees; negative where it falls over by itself.
    pub tipping: f64,
    /// Height of the centre of mass above the board, mm.
    pub height: f64,
    /// Corners of the polygon that its weight has to stay over, counter-clockwise seen from below.
    pub support: Vec<Point>,
    /// Area that it covers seen from above, with its hollows, mm^2.
    pub covers: f64,
}

/// Why a model in some pose wants a sprue or a base beneath it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WantsBase {
    /// It has no flat face there.
    NotFlat,
    /// It falls over, or nearly.
    Tips,
    /// Its foot is small for its size.
    SmallFoot,
}

impl Stance {
    fn new(
        model: &TriangleMesh,
        hull: &TriangleMesh,
        centre: &Point,
        up: Vector,
        span: f64,
    ) -> Self {
        let flat = FlatArea::new(model, &up, span);
        let limit = flat.lowest + flat.tolerance;
        let low: Vec<Point> =
            hull.positions.iter().filter(|p| p.coords.dot(&up) <= limit).copied().collect();
        let support = convex_outline(&low, &-up, 0.0);
        Self::on(model, hull, centre, up, &flat, support)
    }

    /// On a facet of the hull.
    fn resting(
        model: &TriangleMesh,
        hull: &TriangleMesh,
        centre: &Point,
        facet: &Facet,
        span: f64,
    ) -> Self {
        let up = tidy(-facet.normal);
        let flat = FlatArea::new(model, &up, span);
        Self::on(model, hull, centre, up, &flat, facet.outline.clone())
    }

    fn on(
        model: &TriangleMesh,
        hull: &TriangleMesh,
        centre: &Point,
        up: Vector,
        flat: &FlatArea,
        support: Vec<Point>,
    ) -> Self {
        let height = centre.coords.dot(&up) - flat.lowest;
        let inside = if support.len() < 3 { 0.0 } else { margin(&support, &-up, centre) };
        // The hull is convex: each line of sight along up meets it twice.
        let faces = (0..hull.faces.len() as u32).map(FaceId);
        let covers = faces.map(|f| hull.area_vector(f).dot(&up).abs() / 4.0);
        Self {
            foot: Foot::new(model, &up, flat),
            tipping: inside.atan2(height).to_degrees(),
            height,
            support,
            covers: covers.sum(),
            up,
        }
    }

    /// Whether a plan can take the flat face here as its gate.
    pub fn is_flat(&self) -> bool {
        self.foot.kind != FootKind::NotFlat
    }

    /// Whether it is worth proposing: a flat face that is not small for the model. A triangle of a coarse ball is flat too.
    fn is_proposed(&self) -> bool {
        self.is_flat() && self.foot.area >= LEAST_FOOT_SHARE * self.covers
    }

    /// Whether it wants a sprue or a base beneath it, and why.
    pub fn wants_base(&self) -> Option<WantsBase> {
        if !self.is_flat() {
            Some(WantsBase::NotFlat)
        } else if self.tipping < LEAST_TIPPING_DEGREES {
            Some(WantsBase::Tips)
        } else if self.foot.area < LEAST_FOOT_SHARE * self.covers {
            Some(WantsBase::SmallFoot)
        } else {
            None
        }
    }
}

/// A pose in which a model comes to rest by itself.
#[derive(Clone, Debug, PartialEq)]
pub struct RestingPose {
    /// How often it comes to lie so when it is let down without a preference: 0 to 1.
    pub likelihood: f64,
    /// How it stands there.
    pub stance: Stance,
}

/// What a plan takes, or might, where no gate is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Advised {
    /// As it stands in its file: that is taken.
    AsGiven,
    /// As it stands in its file there is no flat face. It would stand on one in this pose; its up has to be given.
    Pose(usize),
    /// It has no flat face large enough to stand on in any pose that was looked at. This one is the likeliest: a plane above its
    /// lowest point may be given as the gate.
    NoneFlat(usize),
}

/// How a model stands and rests.
#[derive(Clone, Debug, PartialEq)]
pub struct Poses {
    /// Centre of mass of the solid.
    pub centre_of_mass: Point,
    /// As it stands in its file.
    pub as_given: Stance,
    /// The poses worth telling, likeliest first; never empty.
    pub candidates: Vec<RestingPose>,
    /// The candidate that it is in as it stands in its file, if it is in one.
    pub given_candidate: Option<usize>,
    /// How many further poses there are.
    pub others: usize,
    /// How likely those are, all together.
    pub others_likelihood: f64,
    /// What is taken, or might be.
    pub advised: Advised,
}

/// Finds how a model stands with `up` away from the board, and how it would rest.
pub fn poses(model: &TriangleMesh, up: &Vector) -> Result<Poses, PoseError> {
    let up =
        up.try_normalize(1e-12).filter(|u| u.iter().all(|x| x.is_finite())).ok_or(PoseError::Up)?;
    let body = Body::new(model)?;
    let as_given = Stance::new(model, &body.hull, &body.centre, up, body.span);
    let (mut candidates, others, others_likelihood) = body.candidates(model);
    // Of equals the one nearest to how it stands.
    candidates.sort_by(|a, b| {
        let near = |pose: &RestingPose| pose.stance.up.dot(&up);
        let rank = |pose: &RestingPose| (pose.likelihood * 1e6).round();
        rank(b).total_cmp(&rank(a)).then(near(b).total_cmp(&near(a)))
    });
    let advised = if as_given.is_flat() {
        Advised::AsGiven
    } else {
        match candidates.iter().position(|pose| pose.stance.is_proposed()) {
            Some(pose) => Advised::Pose(pose),
            None => Advised::NoneFlat(0),
        }
    };
    let near = ONE_POSE_DEGREES.to_radians().cos();
    let given_candidate = candidates.iter().position(|pose| pose.stance.up.dot(&up) >= near);
    Ok(Poses {
        centre_of_mass: body.centre,
        as_given,
        candidates,
        given_candidate,
        others,
        others_likelihood,
        advised,
    })
}

/// The up of the likeliest pose that has a flat face to stand on; `None` where there is none, or the model cannot be
/// looked at.
pub(super) fn advised_up(model: &TriangleMesh, up: &Vector) -> Option<Vector> {
    let found = poses(model, up).ok()?;
    match found.advised {
        Advised::Pose(pose) => Some(found.candidates[pose].stance.up),
        Advised::AsGiven | Advised::NoneFlat(_) => None,
    }
}

/// A pose by its up alone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PoseShare {
    /// Unit direction away from the board.
    pub up: Vector,
    /// How often the model comes to rest so: 0 to 1.
    pub likelihood: f64,
}

/// All poses in which a model comes to rest, likeliest first, those less than `one_pose` degrees apart taken together.
pub fn resting_poses(model: &TriangleMesh, one_pose: f64) -> Result<Vec<PoseShare>, PoseError> {
    let body = Body::new(model)?;
    let share = |pose: &Merged| PoseShare {
        up: tidy(-body.facets[pose.facet].normal),
        likelihood: pose.likelihood,
    };
    Ok(body.merged(one_pose).iter().map(share).collect())
}

/// A model's hull with what rolls on it.
struct Body {
    hull: TriangleMesh,
    centre: Point,
    span: f64,
    facets: Vec<Facet>,
}

/// Poses that are one to whoever looks at them: that of the likeliest facet stands for all.
struct Merged {
    facet: usize,
    likelihood: f64,
    /// The largest area of one of their facets, mm^2.
    area: f64,
}

impl Body {
    fn new(model: &TriangleMesh) -> Result<Self, PoseError> {
        let centre = model.centre_of_mass().ok_or(PoseError::NoVolume)?;
        let span = model.span();
        let hull = convex_hull(&model.positions)?;
        let facets = facets(&hull, &centre, span);
        Ok(Self { hull, centre, span, facets })
    }

    fn merged(&self, one_pose: f64) -> Vec<Merged> {
        let likelihood = rolling::likelihoods(&self.facets, &self.centre);
        let mut order: Vec<usize> =
            (0..self.facets.len()).filter(|&f| likelihood[f] > 0.0).collect();
        order.sort_by(|&a, &b| likelihood[b].total_cmp(&likelihood[a]).then(a.cmp(&b)));
        let near = one_pose.to_radians().cos();
        let mut merged: Vec<Merged> = Vec::new();
        for f in order {
            let own = &self.facets[f];
            let same = merged
                .iter_mut()
                .filter(|_| one_pose > 0.0)
                .find(|pose| self.facets[pose.facet].normal.dot(&own.normal) >= near);
            match same {
                Some(pose) => {
                    pose.likelihood += likelihood[f];
                    pose.area = pose.area.max(own.area);
                }
                None => merged.push(Merged { facet: f, likelihood: likelihood[f], area: own.area }),
            }
        }
        merged.sort_by(|a, b| b.likelihood.total_cmp(&a.likelihood).then(a.facet.cmp(&b.facet)));
        merged
    }

    /// The poses worth telling, and how many others there are with what likelihood: the likeliest, and those with a
    /// flat foot, however unlikely, since a slender figure seldom comes to rest on its base.
    fn candidates(&self, model: &TriangleMesh) -> (Vec<RestingPose>, usize, f64) {
        let merged = self.merged(ONE_POSE_DEGREES);
        let mut large: Vec<usize> =
            (0..merged.len()).filter(|&k| merged[k].area >= FlatArea::least(self.span)).collect();
        large.sort_by(|&a, &b| merged[b].area.total_cmp(&merged[a].area).then(a.cmp(&b)));
        large.truncate(LOOKED_AT);
        large.extend(0..merged.len().min(TOLD));
        large.sort_unstable();
        large.dedup();
        let stance = |k: &usize| {
            let facet = &self.facets[merged[*k].facet];
            let stance = Stance::resting(model, &self.hull, &self.centre, facet, self.span);
            (*k, RestingPose { likelihood: merged[*k].likelihood, stance })
        };
        let looked: Vec<(usize, RestingPose)> = large.par_iter().map(stance).collect();
        let told = looked.into_iter().filter(|(k, pose)| *k < TOLD || pose.stance.is_flat());
        let told: Vec<RestingPose> = told.map(|(_, pose)| pose).take(2 * TOLD).collect();
        let all: f64 = merged.iter().map(|pose| pose.likelihood).sum();
        let rest = all - told.iter().map(|pose| pose.likelihood).sum::<f64>();
        let others = merged.len() - told.len();
        (told, others, if others == 0 { 0.0 } else { rest.max(0.0) })
    }
}

/// A unit direction without the last digits that rounding leaves of noughts.
fn tidy(v: Vector) -> Vector {
    v.map(|x| if x.abs() < 1e-9 { 0.0 } else { x }).normalize()
}
