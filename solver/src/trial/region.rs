//! The rubber of a mould body as a region to fill.

use std::collections::HashSet;

use rayon::prelude::*;

use super::contact::RigidModel;
use super::cores::{Core, cores_beside};
use super::detail::Detail;
use super::lattice::fill;
use super::solid::{Skin, Solid};
use super::space::Region;
use super::tets::{edges, edges_of};
use super::{TrialError, TrialSetup};
use crate::body::{MouldBody, Outside};
use crate::control::Control;
use crate::mesh::Point;

/// Rubber between a model and the outside of its mould body.
pub struct RubberRegion<'a> {
    body: &'a MouldBody,
    model: &'a RigidModel,
    detail: Detail<'a>,
}

impl<'a> RubberRegion<'a> {
    /// The rubber of the body of a trial.
    pub fn new(setup: &TrialSetup<'a>, model: &'a RigidModel) -> Self {
        Self { body: setup.body, model, detail: Detail::new(setup.body, setup.model, setup.plugs) }
    }

    /// Signed stand-ins for the distances to model, outside and bottom: negative in the rubber.
    fn levels(&self, p: &Point) -> [f64; 3] {
        let model = self.model.distance(p);
        let (outside, bottom) = match self.body.outside() {
            Outside::Box { low, high } => {
                let sides = (low.x - p.x).max(p.x - high.x).max(low.y - p.y).max(p.y - high.y);
                (sides.max(p.z - high.z), low.z - p.z)
            }
            Outside::Cylinder { axis: (x, y), radius, bottom, top } => {
                (((p.x - x).hypot(p.y - y) - radius).max(p.z - top), bottom - p.z)
            }
            Outside::Offset { thickness, bottom } => (model - thickness, bottom - p.z),
        };
        [-model, outside, bottom]
    }
}

impl Region for RubberRegion<'_> {
    fn level(&self, point: &Point) -> f64 {
        self.levels(point).into_iter().fold(f64::NEG_INFINITY, f64::max)
    }

    fn skin(&self, point: &Point) -> Skin {
        let [model, outside, bottom] = self.levels(point).map(f64::abs);
        if model <= outside && model <= bottom {
            Skin::Model
        } else if outside <= bottom || self.body.board().is_none() {
            Skin::Outside
        } else {
            Skin::Board
        }
    }

    fn size(&self, point: &Point, finest: f64) -> f64 {
        self.detail.size(point, finest)
    }

    fn bounds(&self) -> (Point, Point) {
        self.body.bounds()
    }
}

/// Elements may be larger than the finest by so many factors of two, where any may be larger at all: the
/// plain lattice has the better shapes for one size.
const OCTAVES: u32 = 3;
/// How much larger elements may be somewhere for that to be worth it.
const LEAST_SPREAD: f64 = 1.6;
/// Elements of a lattice's cube.
const PER_CUBE: f64 = 12.0;
/// The mesh must hold the rubber's volume to this share.
const VOLUME_ERROR: f64 = 0.2;
/// Rubber apart from the rest that is less than this share of all is a crumb of the mesh.
const CRUMB: f64 = 0.01;
/// The middle of an edge may lie in the model by this share of the edge's length where both ends lie on the model
/// (a chord of a curve whose radius is two thirds of it), and elsewhere.
const CHORD: f64 = 0.2;
const PIERCED: f64 = 0.02;
/// Rounds of fitting the spacing to the number of elements.
const FITTING_ROUNDS: usize = 4;

/// Rubber at rest, filled with elements.
#[derive(Debug)]
pub(super) struct Filled {
    pub solid: Solid,
    /// Edge of the lattice's cubes where it is finest, mm.
    pub spacing: f64,
    /// The model's, but for those that elements reach into.
    pub cores: Vec<Core>,
}

/// Fill the rubber with at most about `elements` tetrahedra.
pub(super) fn mesh_rubber(
    setup: &TrialSetup<'_>,
    model: &RigidModel,
    elements: usize,
    control: &Control<'_>,
) -> Result<Filled, TrialError> {
    let region = RubberRegion::new(setup, model);
    let volume = setup.body.rubber_volume() * 1000.0;
    // Clipped elements come on top of whole ones.
    let mut spacing = 0.5 * (PER_CUBE * volume * 1.3 / elements as f64).cbrt();
    let octaves = |spacing: f64| {
        let is_worth_it = region.detail.coarsest() > LEAST_SPREAD * spacing
            || region.detail.finest_plug() < spacing;
        if is_worth_it { OCTAVES } else { 0 }
    };
    let mut solid = fill(&region, spacing, octaves(spacing), control)?;
    for _ in 0..FITTING_ROUNDS {
        let ratio = solid.elements.len() as f64 / elements as f64;
        if (0.8..=1.05).contains(&ratio) {
            break;
        }
        spacing *= (ratio / 0.95).max(1e-3).cbrt();
        solid = fill(&region, spacing, octaves(spacing), control)?;
    }
    let solid = out_of_the_model(&solid, model).without_crumbs(CRUMB);
    let meshed = solid.total_volume();
    if (meshed / volume - 1.0).abs() > VOLUME_ERROR {
        return Err(TrialError::TooCoarse {
            spacing,
            meshed: meshed / 1000.0,
            volume: volume / 1000.0,
        });
    }
    let cores = cores_beside(setup.body.model(), setup.model, &solid, spacing);
    Ok(Filled { solid, spacing, cores })
}

/// Elements that go through the model are no rubber: coarse ones reach across a limb from one node to the next, and
/// would hook the rubber on either side of it to each other. What has lost a neighbour so bears on the model.
fn out_of_the_model(solid: &Solid, model: &RigidModel) -> Solid {
    let pierced: HashSet<[u32; 2]> = edges(&solid.elements)
        .into_par_iter()
        .filter(|edge| {
            let [a, b] = edge.map(|n| solid.nodes[n as usize]);
            let is_chord = edge.iter().all(|&n| solid.skins[n as usize] == Skin::Model);
            let allowed = if is_chord { CHORD } else { PIERCED };
            -model.distance(&nalgebra::center(&a, &b)) > allowed * (b - a).norm()
        })
        .collect();
    let is_rubber =
        |e: usize| !edges_of(&solid.elements[e]).iter().any(|edge| pierced.contains(edge));
    let mut left = solid.with(is_rubber);
    for n in left.surface().into_iter().flatten() {
        let skin = &mut left.skins[n as usize];
        if *skin == Skin::None {
            *skin = Skin::Model;
        }
    }
    left
}
