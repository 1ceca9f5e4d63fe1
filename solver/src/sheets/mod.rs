//! Sheets: from a curve on the model through the rubber to the outside.
//!
//! A cut on the model is half a cut. The knife comes from outside, and what it makes is a sheet: a
//! surface ruled by the blade from the curve on the model to a curve on the outer skin. The entry
//! point is [`plan_sheets`]. In order: stations along the curve with the model's profile across it
//! (`line`, `section`), wedges of rubber either side (`wedge`), candidate rulings that the model
//! lets by (`access`, `rulings`), the ones chosen together along the cut (`choose`), the sheet and
//! its figures (`sheet`, and `across` for the disc of a bridge), and the tests that sheets cross nothing (`crossing`) and leave the rubber
//! in one piece (`volume`).
//!
//! Beforehand, [`cut_sites`] and [`cost_weights`] tell the search where rubber would be weak, rulings
//! long, and seams seen (`weights`, `seam`).
//!
//! A ruling is straight where a straight one leads outside at an acceptable angle; otherwise it
//! may turn once: a first piece along the normal, then straight on. In a mould that stands on its
//! board, rulings leave through walls and top. The face on the board is open to the knife once the
//! mould is off the board, but a sheet that leaves there opens less of the rubber: it is a last
//! resort, and a lesser one for cuts that end in the gate. Where a cut starts on the board its
//! first ruling runs along the board, so that the sheet opens it over its whole depth.

mod access;
mod across;
mod choose;
mod crossing;
mod line;
mod rulings;
mod seam;
mod section;
mod settings;
mod sheet;
mod traced;
mod volume;
mod wedge;
mod weights;

#[cfg(test)]
mod tests;

use access::Access;
use choose::{Held, HeldRuling, choose};
use crossing::{CONTACT, Surface};
use line::{Places, set_out};
use rulings::{Candidates, Ruling, Standing};
use section::Ground;

use crate::body::MouldBody;
use crate::control::Control;
use crate::mesh::{Point, SurfaceLocator, Topology, TriangleMesh, nearest_on_polyline};

pub use across::disc_sheet;
pub use crossing::{CrossedBy, Crossing, surfaces_cross};
pub use line::CutLine;
pub use seam::{Area, SeamAreas, mean_curvature, seam_visibility};
pub use settings::{SheetError, SheetSettings};
pub use sheet::{
    BEHIND, LipFigures, Sheet, Station, StationFlags, leans_behind, leaves_no_lip, lip_figures,
};
pub use traced::{SheetFlow, traced_sheet};
pub(crate) use volume::widened;
pub use volume::{Neck, OnePiece, RubberCells, cutting_surfaces};
pub use wedge::lip_risk;
pub use weights::{CostWeights, CutSite, cost_weights, cut_sites};

/// The sheets of a plan.
#[derive(Clone, Debug, PartialEq)]
pub struct SheetPlan {
    /// One sheet for each line, in order.
    pub sheets: Vec<Sheet>,
    /// What they cross. Empty in a sound plan.
    pub crossings: Vec<Crossing>,
}

/// Lines that meet within this share their ruling, mm.
const SAME_PLACE: f64 = 1e-3;

/// Room given to a sheet that another one is kept off, mm: beyond its edges outside and on the
/// model, and four times as much beyond its ends.
const ROOM: [f64; 2] = [3.0, 10.0];

/// Rulings chosen again at most in one plan: counted, not timed, so that the same plan comes out
/// on every machine.
const MOST_AGAIN: usize = 150;

/// Make the sheets of all cut lines of a plan.
///
/// `model` is the mesh that `body` was built round, both in the mould frame. `discs` are the cuts
/// across bridges. Where a sheet crosses an earlier one or a disc its rulings are chosen again with
/// that in the way, and, if that does not help, the earlier one's; what still crosses is told.
pub fn plan_sheets(
    body: &MouldBody,
    model: &TriangleMesh,
    lines: &[CutLine],
    discs: &[TriangleMesh],
    settings: &SheetSettings,
    control: &Control<'_>,
) -> Result<SheetPlan, SheetError> {
    settings.check()?;
    let ground = Ground { mesh: model, topology: Topology::new(model)?, locator: body.model() };
    let mut cuts_across = Vec::with_capacity(discs.len());
    for (index, disc) in discs.iter().enumerate() {
        if let Some(surface) = Surface::new(disc)? {
            cuts_across.push((index, surface));
        }
    }
    let discs = cuts_across;
    let mut workshop = Workshop { body, settings, lines, discs, made: Vec::new() };
    for (index, line) in lines.iter().enumerate() {
        control.check()?;
        let places = set_out(&ground, line, index, settings)?;
        let made = workshop.make(index, places, &[])?;
        workshop.made.push(made);
    }
    workshop.keep_apart(control)?;
    control.check()?;
    let crossings = workshop.crossings(model)?;
    Ok(SheetPlan { sheets: workshop.made.into_iter().map(|m| m.sheet).collect(), crossings })
}

struct Made {
    places: Places,
    rulings: Vec<Ruling>,
    sheet: Sheet,
    /// The sheet's surface; none where it has no faces.
    surface: Option<Surface>,
}

struct Workshop<'a> {
    body: &'a MouldBody,
    settings: &'a SheetSettings,
    lines: &'a [CutLine],
    /// Each with its index among the discs given.
    discs: Vec<(usize, Surface)>,
    made: Vec<Made>,
}

impl Workshop<'_> {
    /// Choose the rulings of a line with some sheets in the way besides the discs.
    fn make(
        &self,
        index: usize,
        places: Places,
        in_the_way: &[&SurfaceLocator],
    ) -> Result<Made, SheetError> {
        let line = &self.lines[index];
        let discs = self.discs.iter().map(|(_, disc)| &disc.locator);
        let obstacles = discs.chain(in_the_way.iter().copied()).collect();
        let candidates = Candidates {
            access: Access { body: self.body, settings: self.settings, obstacles },
            from_gate: line.from_gate,
        };
        let last = places.places.len() - 1;
        let on_board = self.body.board().is_some();
        let standing = |k: usize| {
            let at_gate = (k == 0 && line.starts_at_gate) || (k == last && line.ends_at_gate);
            if at_gate && on_board { Standing::OnBoard } else { Standing::Free }
        };
        let held = if places.closed {
            Held::default()
        } else {
            Held {
                first: self.settled(index, &places.places[0].frame.at),
                last: self.settled(index, &places.places[last].frame.at),
            }
        };
        let rulings = choose(&places, standing, &candidates, &held, self.settings);
        let foot = [line.starts_at_gate, line.ends_at_gate]
            .map(|at_gate| self.body.board().filter(|_| at_gate));
        let sheet = Sheet::new(&places, &rulings, foot, self.settings);
        let surface = Surface::new(&sheet.mesh)?;
        Ok(Made { places, rulings, sheet, surface })
    }

    /// The ruling of another line's sheet at a place, if one is there.
    fn settled(&self, index: usize, at: &Point) -> Option<HeldRuling> {
        self.made
            .iter()
            .enumerate()
            .filter(|&(other, _)| other != index)
            .flat_map(|(_, made)| {
                let last = made.rulings.len() - 1;
                [0, last].map(|k| (&made.places.places[k], &made.rulings[k]))
            })
            .find(|(place, _)| (place.frame.at - at).norm() < SAME_PLACE)
            .map(|(_, ruling)| HeldRuling { turn: ruling.turn, ruling: ruling.clone() })
    }

    /// Choose again what crosses an earlier sheet: the later one with the earlier one in the way,
    /// then the other way round, then both with more room. Where nothing helps, both stay as they
    /// were.
    fn keep_apart(&mut self, control: &Control<'_>) -> Result<(), SheetError> {
        let mut left = MOST_AGAIN;
        for later in 1..self.made.len() {
            for earlier in 0..later {
                if self.crossing_of(later, earlier).is_none() {
                    continue;
                }
                let tries = ROOM.map(|room| [(later, earlier, room), (earlier, later, room)]);
                for (moved, kept, room) in tries.into_iter().flatten() {
                    control.check()?;
                    let count = self.made[moved].rulings.len();
                    if count > left {
                        break;
                    }
                    left -= count;
                    let again = self.made_again(moved, kept, room)?;
                    let old = std::mem::replace(&mut self.made[moved], again);
                    if self.crossing_of(later, earlier).is_none() {
                        break;
                    }
                    self.made[moved] = old;
                }
            }
        }
        Ok(())
    }

    /// A sheet's rulings chosen again with all that it crosses in the way, drawn out by `room` mm
    /// so that the other sheet does not pass just outside its edge.
    fn made_again(&self, moved: usize, kept: usize, room: f64) -> Result<Made, SheetError> {
        let mut meshes = Vec::new();
        for other in (0..self.made.len()).filter(|&other| other != moved) {
            if other == kept || self.crossing_of(moved, other).is_some() {
                let sheet = &self.made[other].sheet;
                meshes.push(sheet.with_room(room, self.settings.turn_length));
            }
        }
        let mut surfaces = Vec::with_capacity(meshes.len());
        for mesh in &meshes {
            surfaces.extend(Surface::new(mesh)?);
        }
        let locators: Vec<&SurfaceLocator> = surfaces.iter().map(|s| &s.locator).collect();
        let old = &self.made[moved].places;
        let places = Places { places: old.places.clone(), closed: old.closed, each: old.each };
        self.make(moved, places, &locators)
    }

    fn crossing_of(&self, a: usize, b: usize) -> Option<Point> {
        let (a, b) = (&self.made[a], &self.made[b]);
        let (first, second) = (a.surface.as_ref()?, b.surface.as_ref()?);
        let shared = shared_rulings(a, b);
        let touching =
            |p: &Point| shared.iter().any(|ruling| nearest_on_polyline(ruling, p).0 < CONTACT);
        crossing::crossing(first, second, &touching)
    }

    fn crossings(&self, model: &TriangleMesh) -> Result<Vec<Crossing>, SheetError> {
        let mut found = Vec::new();
        let solid = Surface::new(model)?;
        for (sheet, made) in self.made.iter().enumerate() {
            let Some(surface) = &made.surface else { continue };
            let foot: Vec<Point> = made.places.places.iter().map(|p| p.frame.at).collect();
            let on_cut = |p: &Point| nearest_on_polyline(&foot, p).0 < CONTACT;
            if let Some(place) =
                solid.as_ref().and_then(|s| crossing::crossing(surface, s, &on_cut))
            {
                found.push(Crossing { sheet, with: CrossedBy::Model, place });
            }
            for (index, disc) in &self.discs {
                if let Some(place) = crossing::crossing(surface, disc, &on_cut) {
                    found.push(Crossing { sheet, with: CrossedBy::Disc(*index), place });
                }
            }
            for other in 0..sheet {
                if let Some(place) = self.crossing_of(sheet, other) {
                    found.push(Crossing { sheet, with: CrossedBy::Sheet(other), place });
                }
            }
        }
        Ok(found)
    }
}

/// Rulings at which two lines meet, as polylines.
fn shared_rulings(a: &Made, b: &Made) -> Vec<Vec<Point>> {
    let ends = |made: &Made| {
        let last = made.rulings.len() - 1;
        [0, last].map(|k| {
            let ruling = &made.rulings[k];
            std::iter::once(made.places.places[k].frame.at)
                .chain(ruling.turn)
                .chain([ruling.outside])
                .collect::<Vec<Point>>()
        })
    };
    let others = ends(b);
    ends(a)
        .into_iter()
        .filter(|ruling| others.iter().any(|o| (o[0] - ruling[0]).norm() < SAME_PLACE))
        .collect()
}
