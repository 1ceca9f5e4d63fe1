//! The directions from which two sides are drawn, which of them are the likeliest, and the sheet of each once it is wanted.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::super::error::PlanError;
use super::super::request::PlanRequest;
use super::super::setup::Setup;
use super::draw::Drawing;
use super::pattern::whole;
use crate::body::Outside;
use crate::control::Control;
use crate::field::{Equations, Potential, RubberDomain};
use crate::mesh::{Point, TriangleMesh, Vector};
use crate::sides::{Border, Labeller, Labels, PartingSheet, SidesError, Surface};

/// Directions level with the board, round half a turn: the opposite one has the same border.
const ROUND: u32 = 12;
/// Directions that look down by this angle, degrees, each way round; fewer of them.
const TILT: (f64, u32) = (30.0, 6);
/// The same for a model that hangs on a sprue, with rubber all round, besides: steeper ones, and straight down. On a board the
/// lower side would have to come off through it.
const STEEP: [(f64, u32); 2] = [(60.0, 6), (90.0, 1)];
/// Square millimetres on the wrong side that are worth a millimetre of border: from true borders to shorter
/// ones with more undercut. Tried on demo pieces and open meshes; no source.
const DEPTHS: [f64; 4] = [1.0, 2.0, 4.0, 8.0];
/// Square millimetres on the wrong side that count as a millimetre of border in each ranking: one for shorter borders, one
/// for true ones, whose sides come off where the elements of a trial are fine enough to feel every undercut, and one for the
/// truest, however the knife leans along them, for what nothing else lets go. With 2 in place
/// of 1 a plan of the dancer with 1.2 % of her skin undercut, a plug of rubber behind the plait, passed its trial, and an
/// independent simulation held it (solver/docs/trial.md).
const UNDERCUT: [f64; 3] = [1.0, 0.5, 0.25];
/// The ranking of the truest.
const TRUEST: usize = UNDERCUT.len() - 1;
/// Which ranking has its turn when, in thick rubber, and in a blanket: there the knife is square to the model wherever it cuts, and short
/// free cuts are tried beside, so what is the surest to come off goes first.
const TURNS: ([usize; UNDERCUT.len()], [usize; UNDERCUT.len()]) = ([0, 1, 2], [2, 1, 0]);
/// Views that look along directions nearer to each other than this angle, degrees, with borders of nearly the same
/// length, are much the same: the better one goes first, the other after all that differ.
const ALIKE: (f64, f64) = (25.0, 0.15);
/// What a bridge that the direction does not look through costs in the ranking, mm: about what a cut across it
/// and the way to it take. So does one whose limb one side runs all round, where short borders are looked for: nothing else opens
/// such a sleeve of rubber.
const BLIND_BRIDGE: f64 = 120.0;
/// What a sleeve costs where true borders are looked for, mm, more than any border: such a side does not come off by itself,
/// however true it is elsewhere.
const SLEEVE: f64 = 1e6;
/// What a millimetre of border costs more in all but the last ranking where the knife leans too far or the model stops it. Two such
/// millimetres in a plan are one too many, so the price is that of another millimetre of cut; no source.
const AWKWARD: f64 = 1.0;
/// Views that are ranked by what the knife finds along their borders: those whose cuts are tried first. And how many
/// sheets are made to find them, at most: each takes most of a second.
const RANKED: usize = 2;
const LOOKS: usize = 6;
/// Cells of the grid along the longest side of the body, and most bytes for the solve: sheets of cells of a
/// sixth of a wall.
const CELLS: (f64, u64) = (112.0, 120_000_000);

/// One way to draw two sides.
pub(in crate::plan) struct View {
    labels: Labels,
    border: Border,
    /// What it is ranked by, mm: its border, its undercuts, the bridges and near-bridges that it does not look through; for
    /// short borders, and for true ones.
    ranks: [f64; UNDERCUT.len()],
    /// The share of the border along which the knife leans too far or the model stops it, once it was looked at.
    awkward: Option<f64>,
    /// Once it was asked for.
    sheet: Option<Arc<PartingSheet>>,
}

/// What a view is found again by, whatever its number.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Mark {
    direction: [f64; 3],
    /// Length of its border, mm.
    border: f64,
}

/// All ways to draw two sides of a model, and what their sheets are made with.
pub(in crate::plan) struct Views<'a> {
    setup: &'a Setup,
    surface: Surface,
    outer: Arc<Potential>,
    equations: Equations,
    /// As they were drawn.
    views: Vec<View>,
    /// Their numbers, the likeliest first.
    order: Vec<usize>,
}

impl<'a> Views<'a> {
    /// Draw two sides from all directions. None where no direction leaves a border. After `end`, seconds on the job's
    /// clock without what is given on top, as few are drawn as will do.
    pub(in crate::plan) fn new(
        setup: &'a Setup,
        end: f64,
        control: &Control<'_>,
    ) -> Result<Option<Self>, PlanError> {
        let weight = |p: &Point| setup.weight_at(p);
        let mut surface = Surface::new(&setup.working, &setup.gate, &weight)?;
        for disc in setup.near.iter().filter_map(|near| near.disc.as_ref()) {
            surface.spare(&disc.surface, disc.width())?;
        }
        for (number, bridge) in setup.bridges.bridges.iter().enumerate() {
            if setup.crossed[number] {
                surface.ask_about(number, &bridge.surface)?;
            }
        }
        control.check()?;
        let mut labeller = Labeller::new(&surface);
        let area: f64 = surface.mesh.area();
        let in_gate = |p: &Point| setup.gate.holds(p);
        let mut views: Vec<View> = Vec::new();
        for depth in DEPTHS {
            if !views.is_empty() && control.is_past(end) {
                break;
            }
            for direction in directions(setup.body.board().is_none()) {
                control.check()?;
                let labels = labeller.label(&direction, depth);
                let border = Border::new(&surface, &labels, &in_gate);
                if border.paths.is_empty() || !labels.border_cost.is_finite() {
                    continue;
                }
                let blind = blind(setup, &direction);
                let sleeves = labels.wrapped.len() as f64;
                let rank = |k: usize| {
                    let sleeve = if k == 0 { BLIND_BRIDGE } else { SLEEVE };
                    let wrong = labels.wrong * area / UNDERCUT[k];
                    labels.border_cost + wrong + blind + sleeve * sleeves
                };
                let ranks = std::array::from_fn(rank);
                views.push(View { labels, border, ranks, awkward: None, sheet: None });
            }
        }
        if views.is_empty() {
            return Ok(None);
        }
        let domain = RubberDomain::new(&setup.body, &setup.working);
        let spacing = super::super::potential::spacing_of(&domain, CELLS);
        let equations =
            Equations::insulated(&domain, spacing, control).map_err(SidesError::from)?;
        control.check()?;
        let outer = Potential::solve(&domain, spacing, control).map_err(SidesError::from)?;
        let outer = Arc::new(outer);
        let mut all = Self { setup, surface, outer, equations, views, order: Vec::new() };
        all.order = all.in_turn();
        Ok(Some(all))
    }

    /// The numbers of all, the likeliest first.
    pub(super) fn order(&self) -> &[usize] {
        &self.order
    }

    /// The one that is the surest to come off, however the knife leans.
    pub(super) fn truest(&self) -> usize {
        let rank = |k: &usize| self.views[*k].ranks[TRUEST];
        let truest = (0..self.views.len()).min_by(|a, b| rank(a).total_cmp(&rank(b)));
        truest.unwrap_or_default()
    }

    pub(super) fn are_in_a_blanket(&self) -> bool {
        matches!(self.setup.body.outside(), Outside::Offset { .. })
    }

    /// The direction of a view.
    pub(in crate::plan) fn direction(&self, view: usize) -> Vector {
        self.views[view].labels.direction
    }

    /// The border of a view.
    pub(super) fn border(&self, view: usize) -> &Border {
        &self.views[view].border
    }

    /// What a view is found again by.
    pub(super) fn mark(&self, view: usize) -> Mark {
        let View { labels, border, .. } = &self.views[view];
        Mark { direction: labels.direction.into(), border: border.length() }
    }

    /// The view that has a mark.
    pub(super) fn marked(&self, mark: &Mark) -> Option<usize> {
        (0..self.views.len()).find(|&view| self.mark(view) == *mark)
    }

    /// The potential that is 0 on the model and 1 on the outside.
    pub(in crate::plan) fn outer(&self) -> &Potential {
        &self.outer
    }

    /// The sheet of a view.
    pub(in crate::plan) fn sheet(
        &mut self,
        view: usize,
        control: &Control<'_>,
    ) -> Result<Arc<PartingSheet>, PlanError> {
        let View { labels, border, sheet, .. } = &self.views[view];
        if let Some(sheet) = sheet {
            return Ok(Arc::clone(sheet));
        }
        let sheet = Arc::new(PartingSheet::new(
            &self.surface,
            labels.clone(),
            border.clone(),
            &self.setup.body,
            &self.outer,
            &self.equations,
            control,
        )?);
        self.views[view].sheet = Some(Arc::clone(&sheet));
        Ok(sheet)
    }

    /// The numbers of all views: the best by each rank in turn, each of which differs from all before it; then the others.
    fn in_turn(&self) -> Vec<usize> {
        let mut left: Vec<usize> = (0..self.views.len()).collect();
        let mut order: Vec<usize> = Vec::with_capacity(left.len());
        for rank in self.turns() {
            let awkward = |k: usize| if rank == TRUEST { None } else { self.awkward(k) };
            let cost = |k: usize| self.views[k].ranks[rank] + awkward(k).unwrap_or(0.0);
            let is_new = |k: &usize| !order.iter().any(|&o| self.views[o].is_like(&self.views[*k]));
            let new = left.iter().copied().filter(is_new);
            let Some(best) = new.min_by(|&a, &b| cost(a).total_cmp(&cost(b))) else { break };
            left.retain(|&k| k != best);
            order.push(best);
        }
        left.sort_by(|&a, &b| self.views[a].ranks[0].total_cmp(&self.views[b].ranks[0]));
        order.extend(left);
        order
    }

    fn turns(&self) -> impl Iterator<Item = usize> + use<> {
        let turns = if self.are_in_a_blanket() { TURNS.1 } else { TURNS.0 };
        turns.into_iter().cycle()
    }

    /// Look at what the knife finds along the borders of the likeliest views, and put all in turn by that; no more of them after
    /// `end`, seconds on the job's clock without what is given on top. In a blanket the knife is square to the model wherever it
    /// cuts.
    pub(super) fn look_at_the_likeliest(
        &mut self,
        request: &PlanRequest,
        end: f64,
        control: &Control<'_>,
    ) -> Result<(), PlanError> {
        if self.are_in_a_blanket() {
            return Ok(());
        }
        for _ in 0..LOOKS {
            let mut likely = self.order.iter().zip(self.turns()).take(RANKED);
            let unknown = likely.find(|&(&k, rank)| rank != TRUEST && self.awkward(k).is_none());
            let Some((&view, _)) = unknown.filter(|_| !control.is_past(end)) else { break };
            self.look(view, request, control)?;
            self.order = self.in_turn();
        }
        Ok(())
    }

    /// What is added to the ranks of a view for what the knife finds along its border, as far as that is known: of itself,
    /// or of one that is much the same.
    fn awkward(&self, view: usize) -> Option<f64> {
        let view = &self.views[view];
        let like = || self.views.iter().filter(|other| other.is_like(view));
        let share = view.awkward.or_else(|| like().find_map(|other| other.awkward))?;
        Some(AWKWARD * share * view.border.length())
    }

    /// Look what the knife finds along all of a view's border.
    fn look(
        &mut self,
        view: usize,
        request: &PlanRequest,
        control: &Control<'_>,
    ) -> Result<(), PlanError> {
        let looked = self.sheet(view, control).and_then(|sheet| {
            let drawing = Drawing {
                setup: self.setup,
                sheet: &sheet,
                additions: &[],
                outer: &self.outer,
                request,
            };
            drawing.candidate(&whole(&sheet), control)
        });
        let share = match looked {
            Ok(candidate) => candidate.sheets().map_or(1.0, |s| 1.0 - s.figures().share_acceptable),
            Err(PlanError::Cancelled(cancelled)) => return Err(PlanError::Cancelled(cancelled)),
            // What cannot be drawn is tried last, and its fault is told then.
            Err(_) => 1.0,
        };
        self.views[view].awkward = Some(share);
        Ok(())
    }
}

impl View {
    fn is_like(&self, other: &Self) -> bool {
        let along = self.labels.direction.dot(&other.labels.direction).abs();
        let (a, b) = (self.border.length(), other.border.length());
        along > ALIKE.0.to_radians().cos() && (a - b).abs() < ALIKE.1 * a.max(b)
    }
}

/// Level with the board, then from above, each once for itself and its opposite.
fn directions(is_hung: bool) -> Vec<Vector> {
    let level = (0..ROUND).map(|k| (f64::from(k) * 180.0 / f64::from(ROUND), 0.0));
    let steep = STEEP.into_iter().filter(|_| is_hung);
    let tilted = [TILT].into_iter().chain(steep).flat_map(|(tilt, count)| {
        (0..count).map(move |k| (f64::from(k) * 360.0 / f64::from(count), tilt))
    });
    level
        .chain(tilted)
        .map(|(azimuth, tilt)| {
            let (azimuth, tilt) = (azimuth.to_radians(), tilt.to_radians());
            Vector::new(azimuth.cos() * tilt.cos(), azimuth.sin() * tilt.cos(), tilt.sin())
        })
        .collect()
}

/// What bridges and near-bridges cost that a direction does not look through, mm: the less the farther it is from square
/// to the disc across the hole. A near-bridge is reached from where the rubber is drawn apart already, so that it costs its
/// cut alone.
fn blind(setup: &Setup, direction: &Vector) -> f64 {
    let blind = |disc: &TriangleMesh| {
        let normal = disc.area_vector_sum().try_normalize(1e-12);
        let through = normal.map_or(1.0, |n| n.dot(direction).abs());
        1.0 - (through / 0.7).min(1.0)
    };
    let crossed = setup.bridges.bridges.iter().zip(&setup.crossed).filter(|(_, crossed)| **crossed);
    let bridges = crossed.map(|(bridge, _)| BLIND_BRIDGE * blind(&bridge.surface));
    let near = setup.near.iter().filter_map(|near| near.disc.as_ref());
    bridges.chain(near.map(|disc| disc.rim_length * blind(&disc.surface))).sum()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::body::MouldShape;
    use crate::bridges::shapes::frame;
    use crate::mesh::{PrepareOptions, prepare_mesh};
    use crate::plan::setup::set_up;
    use crate::plan::skin::Holes;

    /// On a board the side below would have to come off through it.
    #[test]
    fn only_what_hangs_is_looked_at_from_above() {
        let steepest =
            |is_hung| directions(is_hung).iter().map(|d| d.z).fold(f64::NEG_INFINITY, f64::max);
        assert!((steepest(true) - 1.0).abs() < 1e-12 && (steepest(false) - 0.5).abs() < 1e-12);
        // None is told twice, nor its opposite.
        let all = directions(true);
        for (k, a) in all.iter().enumerate() {
            assert!((a.norm() - 1.0).abs() < 1e-12);
            assert!(all[k + 1..].iter().all(|b| a.dot(b).abs() < 0.999), "{a}");
        }
    }

    /// A frame on a foot in a blanket: seen from the side one half runs all round a limb of it. No such view goes first, however
    /// short or true its border is.
    #[test]
    fn a_side_that_cannot_come_off_by_itself_does_not_go_first_in_a_blanket() {
        let model = prepare_mesh(frame(), &PrepareOptions::default()).expect("sound");
        let mould = MouldShape::Blanket { thickness: 4.0 };
        let (request, control) =
            (PlanRequest { mould, ..PlanRequest::default() }, Control::silent());
        let setup = set_up(&model, &request, 1.0, Holes::Filled, &control).expect("set up");
        let views = Views::new(&setup, f64::MAX, &control).expect("drawn").expect("two sides");
        assert_eq!(views.order().first(), Some(&views.truest()));
        let is_sleeve = |view: &View| !view.labels.wrapped.is_empty();
        assert!(views.views.iter().any(is_sleeve), "the test shows nothing");
        assert!(!views.order()[..2].iter().any(|&k| is_sleeve(&views.views[k])));
    }
}
