//! A pattern of cuts on a sheet between two sides, as curves and sheets of a plan.

use std::sync::Arc;

use super::pattern::{Pattern, Piece};
use super::plugs::PlugCut;
use crate::body::Outside;
use crate::bridges::Bridge;
use crate::control::Control;
use crate::curves::{CutCurve, CutCurves, Finished};
use crate::field::Potential;
use crate::mesh::{
    CurvePoint, Point, SurfaceLocator, TriangleMesh, nearest_on_polyline, polyline_length, thinned,
};
use crate::plan::Hinge;
use crate::plan::candidate::{Candidate, Origin, TwoSides};
use crate::plan::error::PlanError;
use crate::plan::openings::opening_reach;
use crate::plan::request::PlanRequest;
use crate::plan::setup::Setup;
use crate::plan::sheets::{CutSurfaces, DRAWN_OUT, GivenSheets, PlannedSheets};
use crate::sheets::{
    CutLine, SheetFlow, SheetSettings, cutting_surfaces, disc_sheet, traced_sheet,
};
use crate::sides::{PartKind, PartingSheet};

/// Faces of the surface of one cut that is handed out, and how far they may lie from it, mm.
const FACES: (usize, f64) = (1500, 0.25);
/// The cut across a bridge passes its middle within this share of its width.
const THROUGH: f64 = 0.5;
/// Skin looks away from an axis from this cosine on: that of about 17 degrees beyond square.
const AWAY: f64 = 0.3;

/// A cut of another view that frees what two sides leave: on one side of the sheet, near a place.
pub(in crate::plan) struct Addition {
    /// The sheet of the other view.
    pub sheet: Arc<PartingSheet>,
    /// What of it is cut.
    pub pattern: Pattern,
    /// On which side of the first sheet it lies.
    pub side: f64,
}

impl Addition {
    /// Its surface, drawn out beyond the rubber, up to the first sheet.
    pub(in crate::plan) fn surface(&self, first: &PartingSheet) -> TriangleMesh {
        self.sheet.piece(&|place| self.pattern.is_cut(place), &|p| self.holds(first, p))
    }

    fn holds(&self, first: &PartingSheet, p: &Point) -> bool {
        // Beyond the rubber no side is known: what is drawn out there does no harm.
        first.side_of(p).is_none_or(|side| side == self.side)
    }
}

/// How a bridge is dealt with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum BridgeWay {
    /// It is not cut.
    Left,
    /// By a part of the sheet, which runs across.
    BySheet(u32),
    /// The rubber only lines its hole, and the border runs round in it.
    Lined,
    /// By its own disc.
    OwnDisc,
}

/// What becomes of the bridges.
#[derive(Default)]
struct Bridges {
    /// For each the rim of its cut where the sheet makes it.
    rims: Vec<CutCurves>,
    /// Those that are cut across, each with its disc.
    discs: Vec<(usize, crate::sheets::Sheet)>,
    /// The discs that are not the sheet's.
    own_discs: Vec<TriangleMesh>,
    /// Those that are only lined.
    lined: Vec<usize>,
}

/// What patterns are drawn on.
pub(in crate::plan) struct Drawing<'a> {
    pub setup: &'a Setup,
    pub sheet: &'a PartingSheet,
    /// Cuts of other views besides.
    pub additions: &'a [Addition],
    /// 0 on the model, 1 on the outside.
    pub outer: &'a Potential,
    pub request: &'a PlanRequest,
}

impl Drawing<'_> {
    /// The candidate of a pattern, with its sheets.
    pub(in crate::plan) fn candidate(
        &self,
        pattern: &Pattern,
        control: &Control<'_>,
    ) -> Result<Candidate, PlanError> {
        let Self { setup, sheet, request, .. } = *self;
        let (body, settings) = (&setup.body, &request.sheets);
        let flow = SheetFlow { across: &sheet.potential, outer: self.outer, short_of: 0.0 };
        let (mut cuts, mut sheets, mut behind) = (Vec::new(), Vec::new(), Vec::new());
        for piece in &pattern.pieces {
            let line = line(sheet, piece);
            let surface = sheet.piece_in_rubber(&|place| piece.holds(place), &|_| true);
            let surface = thinned(&surface, FACES.0, FACES.1);
            let flow = SheetFlow { short_of: piece.short_of, ..flow };
            let working = &setup.working;
            sheets.push(traced_sheet(body, working, &line, surface, flow, settings, control)?);
            if !piece.is_through() {
                behind.push((cuts.len(), piece.short_of));
            }
            cuts.push(curves_of(&line));
        }
        for addition in self.additions {
            let own = &addition.sheet;
            let flow = SheetFlow { across: &own.potential, outer: self.outer, short_of: 0.0 };
            for piece in &addition.pattern.pieces {
                let line = line(own, piece);
                let holds = |p: &Point| addition.holds(sheet, p);
                let surface = own.piece_in_rubber(&|place| piece.holds(place), &holds);
                let surface = thinned(&surface, FACES.0, FACES.1);
                let working = &setup.working;
                sheets.push(traced_sheet(body, working, &line, surface, flow, settings, control)?);
                cuts.push(curves_of(&line));
            }
        }
        let Bridges { rims, discs, own_discs, lined } = self.bridges(control)?;
        // A part of the sheet that cuts across what the count of holes does not know is a cut like any other.
        let mut across = Vec::new();
        for (part, line) in self.unknown_bridges() {
            let surface = thinned(&sheet.part_in_rubber(part), FACES.0, FACES.1);
            let disc = disc_sheet(body, &setup.working, &line, &surface, settings, control)?;
            sheets.push(disc);
            across.push((cuts.len(), None));
            cuts.push(curves_of(&line));
        }
        let plugs = self.plug_cuts()?;
        for PlugCut { near, surface, rim } in &plugs {
            let line = plain_line(rim.clone());
            let sheet = disc_sheet(body, &setup.working, &line, surface, settings, control)?;
            sheets.push(sheet);
            across.push((cuts.len(), Some(*near)));
            cuts.push(curves_of(&line));
        }
        let plugs = plugs.iter().map(|plug| &plug.surface);
        let weighted_length = cuts.iter().map(|cut| self.weighted(cut)).sum();
        let openings = self.openings(&cuts);
        let curves = Finished {
            cuts,
            weighted_length,
            rims,
            missed: 0,
            tight: Vec::new(),
            held: None,
            looked: true,
            openings,
        };
        let surface = sheet.cut_surface(&|place| pattern.is_cut(place));
        let mut cut = vec![surface];
        cut.extend(self.additions.iter().map(|addition| addition.surface(sheet)));
        let surfaces =
            CutSurfaces { sheets: cut, across: cutting_surfaces(&[], plugs, DRAWN_OUT, settings) };
        let given = GivenSheets { sheets, discs, own_discs, surfaces };
        let planned = PlannedSheets::given(given, setup, request, control)?;
        let origin = Origin::TwoSides(TwoSides {
            direction: sheet.labels.direction,
            border: super::pattern::whole(sheet).length(),
            undercut: sheet.labels.undercut(),
            hinges: self.hinges(pattern),
            behind,
            across,
            lined,
        });
        let price = request.knife.entry_price;
        let drawn = Candidate::drawn(origin, curves, &setup.graph, &setup.fixed(), price);
        Ok(drawn.with_sheets(Some(planned)))
    }

    /// Length times the weights along it, mm.
    fn weighted(&self, cut: &CutCurves) -> f64 {
        let points = cut.chains.iter().flat_map(|c| c.points.windows(2));
        points
            .map(|pair| {
                let middle = nalgebra::center(&pair[0].point, &pair[1].point);
                (pair[1].point - pair[0].point).norm() * self.setup.weight_at(&middle)
            })
            .sum()
    }

    /// What becomes of each bridge.
    fn bridges(&self, control: &Control<'_>) -> Result<Bridges, PlanError> {
        let Self { setup, sheet, request, .. } = *self;
        let (body, settings) = (&setup.body, &request.sheets);
        let mut all = Bridges::default();
        for (index, bridge) in setup.bridges.bridges.iter().enumerate() {
            let none = CutCurves { chains: Vec::new(), from_gate: false };
            let (line, surface, rim) = match self.way_of(index) {
                BridgeWay::Left => {
                    all.rims.push(none);
                    continue;
                }
                BridgeWay::Lined => {
                    all.rims.push(none);
                    all.lined.push(index);
                    continue;
                }
                BridgeWay::BySheet(part) => {
                    let line = self.rim_of(part);
                    let rim = curves_of(&line);
                    (line, thinned(&sheet.part_in_rubber(part), FACES.0, FACES.1), rim)
                }
                BridgeWay::OwnDisc => {
                    all.own_discs.push(bridge.surface.clone());
                    (plain_line(bridge.rim_line()), bridge.surface.clone(), none)
                }
            };
            all.rims.push(rim);
            let disc = disc_sheet(body, &setup.working, &line, &surface, settings, control)?;
            all.discs.push((index, disc));
        }
        Ok(all)
    }

    /// How a bridge is dealt with.
    fn way_of(&self, bridge: usize) -> BridgeWay {
        if !self.setup.crossed[bridge] {
            return BridgeWay::Left;
        }
        match self.part_across(bridge) {
            Some(part) => BridgeWay::BySheet(part),
            None if self.is_lined(bridge) || self.is_open_and_parted(bridge) => BridgeWay::Lined,
            None => BridgeWay::OwnDisc,
        }
    }

    /// What is cut across beside the sheet, of bridges and of rings that all but close, drawn out beyond the rubber.
    pub(in crate::plan) fn own_discs(
        &self,
        settings: &SheetSettings,
    ) -> Result<Vec<TriangleMesh>, PlanError> {
        let setup = self.setup;
        let bridges = setup.bridges.bridges.iter().enumerate();
        let own = bridges
            .filter(|(index, _)| self.way_of(*index) == BridgeWay::OwnDisc)
            .map(|(_, bridge)| &bridge.surface);
        let plugs = self.plug_cuts()?;
        let own = own.chain(plugs.iter().map(|plug| &plug.surface));
        Ok(cutting_surfaces(&[], own, DRAWN_OUT, settings))
    }

    /// What is cut across in rings of the model that all but close.
    fn plug_cuts(&self) -> Result<Vec<PlugCut>, PlanError> {
        let discs = self.setup.near.iter().enumerate();
        let discs = discs.filter_map(|(number, near)| Some((number, near.disc.as_ref()?)));
        let mut cuts = Vec::new();
        for (number, disc) in discs {
            cuts.extend(PlugCut::new(number, disc, self.sheet)?);
        }
        Ok(cuts)
    }

    /// Whether the rubber of a bridge only lines its hole, and the border runs round in it, no farther from the bridge's rim than the
    /// hole is long: where the sheet parts the lining, a cut across it beside the sheet would leave nothing but a sliver.
    fn is_lined(&self, bridge: usize) -> bool {
        let bridge = &self.setup.bridges.bridges[bridge];
        let rim = bridge.rim_line();
        super::pattern::exterior_paths(self.sheet).iter().any(|&(path, _, closed)| {
            let points = &self.sheet.border.paths[path as usize].points;
            let reach = bridge.depth + self.setup.graph.mean_edge();
            let is_near = closed == bridge.closed && apart(points, &rim) <= reach;
            is_near && self.lies_in_hole(points, bridge)
        })
    }

    /// Whether a blanket leaves a hole open in its middle, and neither side runs all round the limb: the sheet parts the
    /// lining, wherever the border goes round in the hole.
    fn is_open_and_parted(&self, bridge: usize) -> bool {
        let width = self.setup.bridges.bridges[bridge].neck_width;
        let is_open = match self.setup.body.outside() {
            Outside::Offset { thickness, .. } => width > 2.0 * thickness,
            Outside::Box { .. } | Outside::Cylinder { .. } => false,
        };
        is_open && !self.sheet.labels.wrapped.contains(&bridge)
    }

    /// Whether a line on the model lies on the wall of a hole or at its mouth, and not round the outside of what the hole is in: most
    /// of the skin there does not look away from the hole's axis.
    fn lies_in_hole(&self, line: &[Point], bridge: &Bridge) -> bool {
        let looks_away = |p: &&Point| {
            let to_middle = bridge.centre - **p;
            let to_axis = to_middle - bridge.axis * to_middle.dot(&bridge.axis);
            let normal = self.setup.body.model().closest(p).normal;
            normal.dot(&to_axis) < -AWAY * to_axis.norm()
        };
        2 * line.iter().filter(looks_away).count() < line.len()
    }

    /// The part of the sheet that cuts a bridge across.
    fn part_across(&self, bridge: usize) -> Option<u32> {
        let bridge = &self.setup.bridges.bridges[bridge];
        let parts = self.sheet.parts.iter().zip(0u32..);
        let near = |(part, number): (&crate::sides::SheetPart, u32)| {
            if part.kind != PartKind::Bridge {
                return None;
            }
            let surface = SurfaceLocator::new(&self.sheet.part_in_rubber(number)).ok()?;
            Some((surface.closest(&bridge.centre).distance, number))
        };
        let nearest = parts.filter_map(near).min_by(|a, b| a.0.total_cmp(&b.0))?;
        let reach = THROUGH * bridge.neck_width.max(bridge.depth);
        (nearest.0 <= reach).then_some(nearest.1)
    }

    /// Parts of the sheet that run from the model to the model where no bridge is known. One that starts from a path to the
    /// outside is cut with it: a pocket of the rubber, and no cut of its own.
    fn unknown_bridges(&self) -> Vec<(u32, CutLine)> {
        let known: Vec<u32> = (0..self.setup.bridges.bridges.len())
            .filter_map(|bridge| match self.way_of(bridge) {
                BridgeWay::BySheet(part) => Some(part),
                _ => None,
            })
            .collect();
        let parts = self.sheet.parts.iter().zip(0u32..);
        parts
            .filter(|(part, number)| part.kind == PartKind::Bridge && !known.contains(number))
            .filter(|(part, _)| part.paths.iter().any(|&path| self.is_across(path)))
            .map(|(_, number)| (number, self.rim_of(number)))
            .collect()
    }

    /// Whether a path of the border leads to no outside.
    fn is_across(&self, path: u32) -> bool {
        self.sheet.kind_of(path) == PartKind::Bridge
    }

    /// The longest path of the border that a part starts from, and that leads to no outside where there is one.
    fn rim_of(&self, part: u32) -> CutLine {
        let all = &self.sheet.parts[part as usize].paths;
        let has_own = all.iter().any(|&path| self.is_across(path));
        let paths = all.iter().filter(|&&path| !has_own || self.is_across(path));
        let longest = paths
            .map(|&path| &self.sheet.border.paths[path as usize].points)
            .max_by(|a, b| polyline_length(a).total_cmp(&polyline_length(b)));
        plain_line(longest.cloned().unwrap_or_default())
    }

    /// The bridges that the blade gets to through the cuts of a pattern, of those that need an opening.
    pub(in crate::plan) fn reached(&self, pattern: &Pattern) -> Vec<bool> {
        let own = pattern.pieces.iter().map(|piece| curves_of(&line(self.sheet, piece)));
        let added = self.additions.iter().flat_map(|addition| {
            let pieces = addition.pattern.pieces.iter();
            pieces.map(|piece| curves_of(&line(&addition.sheet, piece)))
        });
        let cuts: Vec<CutCurves> = own.chain(added).collect();
        let openings = self.openings(&cuts).into_iter();
        openings
            .zip(self.needing())
            .map(|(opening, bridge)| {
                opening >= self.setup.openings[bridge] || self.way_of(bridge) == BridgeWay::Lined
            })
            .collect()
    }

    /// The bridges beside which the blade needs an opening.
    fn needing(&self) -> impl Iterator<Item = usize> {
        (0..self.setup.openings.len()).filter(|&bridge| self.setup.needs_opening(bridge))
    }

    /// Length of cut beside each bridge that needs an opening, mm.
    fn openings(&self, cuts: &[CutCurves]) -> Vec<f64> {
        let setup = self.setup;
        self.needing()
            .map(|bridge| {
                let rim = &setup.bridges.bridges[bridge].rim;
                let reach = opening_reach(&setup.graph, setup.openings[bridge]);
                let pairs = cuts.iter().flat_map(|c| &c.chains).flat_map(|c| c.points.windows(2));
                let beside = pairs
                    .filter(|pair| nearest_on_polyline(rim, &pair[0].point).0 <= reach)
                    .map(|pair| (pair[1].point - pair[0].point).norm());
                // A sum over nothing is -0.0.
                0.0 + beside.sum::<f64>()
            })
            .collect()
    }

    /// Where the border is not cut all the way to the outside.
    fn hinges(&self, pattern: &Pattern) -> Vec<Hinge> {
        let mut hinges = Vec::new();
        for (path, length, closed) in super::pattern::exterior_paths(self.sheet) {
            let points = &self.sheet.border.paths[path as usize].points;
            let (mut own, behind): (Vec<&Piece>, Vec<&Piece>) = pattern
                .pieces
                .iter()
                .filter(|piece| piece.path == path)
                .partition(|piece| piece.is_through());
            own.sort_by(|a, b| a.from.total_cmp(&b.from));
            let mut gaps: Vec<(f64, f64)> = Vec::new();
            let mut at = 0.0;
            for piece in own {
                gaps.push((at, piece.from));
                at = piece.to;
            }
            gaps.push((at, length));
            // Round a closed path the last gap goes on in the first one.
            if closed && gaps.len() > 1 && gaps[0].0 == 0.0 {
                let first = gaps.remove(0);
                if let Some(last) = gaps.last_mut() {
                    last.1 += first.1;
                }
            }
            for (from, to) in gaps.into_iter().filter(|(from, to)| to - from > 1e-6) {
                let at = |along: f64| {
                    crate::mesh::point_along(
                        points,
                        if along > length { along - length } else { along },
                    )
                };
                let skin = behind
                    .iter()
                    .find(|piece| piece.from < to - 1e-6 && piece.to > from + 1e-6)
                    .map(|piece| piece.short_of);
                hinges.push(Hinge { from: at(from), to: at(to), width: to - from, skin });
            }
        }
        hinges
    }
}

/// A piece of the border as a line of the knife, from the gate where it touches it.
fn line(sheet: &PartingSheet, piece: &Piece) -> CutLine {
    let path = &sheet.border.paths[piece.path as usize];
    let length = path.length();
    let at_end = |along: f64| !path.closed && !(1e-6..=length - 1e-6).contains(&along);
    let mut points = part_of(&path.points, piece.from, piece.to);
    let (mut starts, mut ends) = (at_end(piece.from), at_end(piece.to));
    if ends && !starts {
        points.reverse();
        (starts, ends) = (true, false);
    }
    CutLine { points, from_gate: starts, starts_at_gate: starts, ends_at_gate: ends }
}

fn plain_line(points: Vec<Point>) -> CutLine {
    CutLine { points, from_gate: false, starts_at_gate: false, ends_at_gate: false }
}

/// A line as one curve of a plan.
fn curves_of(line: &CutLine) -> CutCurves {
    let on_model = |&point: &Point| CurvePoint { point, face: 0, vertex: None };
    let closed = line.is_closed();
    let chain = CutCurve {
        way: Vec::new(),
        points: line.points.iter().map(on_model).collect(),
        starts_at_gate: line.starts_at_gate,
        free_end: !closed && !line.ends_at_gate,
        free_start: !closed && !line.starts_at_gate,
    };
    CutCurves { chains: vec![chain], from_gate: line.from_gate }
}

/// The greatest distance from a point of either of two lines to the other, mm.
fn apart(a: &[Point], b: &[Point]) -> f64 {
    let to = |from: &[Point], line: &[Point]| {
        from.iter().map(|p| nearest_on_polyline(line, p).0).fold(0.0, f64::max)
    };
    to(a, b).max(to(b, a))
}

/// What lies between two distances along a polyline, mm.
fn part_of(points: &[Point], from: f64, to: f64) -> Vec<Point> {
    let mut part = vec![crate::mesh::point_along(points, from)];
    let mut along = 0.0;
    for pair in points.windows(2) {
        along += (pair[1] - pair[0]).norm();
        if along > from + 1e-9 && along < to - 1e-9 {
            part.push(pair[1]);
        }
    }
    part.push(crate::mesh::point_along(points, to));
    part
}

#[cfg(test)]
mod tests;
