//! The sheets of a plan's cuts.

use super::answer::{RubberSkin, SheetCrossing, SheetReport};
use super::error::PlanError;
use super::request::PlanRequest;
use super::setup::Setup;
use crate::body::{Gate, MouldBody};
use crate::control::{Control, Stage};
use crate::curves::{CutCurve, Finished};
use crate::mesh::{Point, TriangleMesh, Vector, polyline_length};
use crate::sheets::{
    CrossedBy, Crossing, CutLine, LipFigures, OnePiece, Sheet, SheetError, SheetPlan,
    SheetSettings, cutting_surfaces, disc_sheet, lip_figures, plan_sheets, surfaces_cross,
};

/// The surfaces along which cuts part the rubber, drawn out beyond it, in the mould frame.
#[derive(Clone, Debug)]
pub(super) struct CutSurfaces {
    /// Of cuts from the outside.
    pub sheets: Vec<TriangleMesh>,
    /// Across bridges and near-bridges, led to from within.
    pub across: Vec<TriangleMesh>,
}

/// Sheets in the mould frame, with what they belong to.
#[derive(Clone, Debug)]
pub(super) struct PlannedSheets {
    plan: SheetPlan,
    /// The exterior cut of each sheet.
    owners: Vec<usize>,
    /// The bridge of each disc, and the disc.
    discs: Vec<(usize, Sheet)>,
    figures: LipFigures,
    one_piece: OnePiece,
    /// The surfaces along which the knife parts the rubber, where they are not those of the sheets' rulings.
    surfaces: Option<CutSurfaces>,
}

/// Sheets that are pieces of a surface that was there before them.
pub(super) struct GivenSheets {
    /// One for each exterior cut, in order.
    pub sheets: Vec<Sheet>,
    /// The bridge of each disc, and the disc.
    pub discs: Vec<(usize, Sheet)>,
    /// Discs of bridges that the surface does not cut across.
    pub own_discs: Vec<TriangleMesh>,
    /// The surfaces, as far as they are cut, drawn out beyond the rubber.
    pub surfaces: CutSurfaces,
}

/// Make the sheets of cuts that are drawn. `None` when the work was stopped before.
pub(super) fn make_sheets(
    setup: &Setup,
    curves: &Finished,
    request: &PlanRequest,
    control: &Control<'_>,
) -> Result<Option<PlannedSheets>, PlanError> {
    control.stage(Stage::Curves, 0.97, "the knife's way through the rubber");
    match try_sheets(setup, curves, request, control) {
        Ok(sheets) => Ok(Some(sheets)),
        // The plan is there; who stopped the work still wants it.
        Err(SheetError::Cancelled(_)) => Ok(None),
        Err(error) => Err(error.into()),
    }
}

fn try_sheets(
    setup: &Setup,
    curves: &Finished,
    request: &PlanRequest,
    control: &Control<'_>,
) -> Result<PlannedSheets, SheetError> {
    let (mut lines, mut owners) = (Vec::new(), Vec::new());
    for (index, cut) in curves.cuts.iter().enumerate() {
        for chain in cut.branches() {
            if let Some(line) = cut_line(chain, cut.from_gate, &setup.gate) {
                lines.push(line);
                owners.push(index);
            }
        }
    }
    let bridges = setup.bridges.bridges.iter().enumerate();
    let (crossed, surfaces): (Vec<usize>, Vec<TriangleMesh>) = bridges
        .filter(|(index, _)| setup.crossed[*index])
        .map(|(index, bridge)| (index, bridge.surface.clone()))
        .unzip();
    let (body, settings) = (&setup.body, &request.sheets);
    let plan = plan_sheets(body, &setup.working, &lines, &surfaces, settings, control)?;
    let one_piece = setup.cells.cut_by(&plan.sheets, &surfaces, settings, control)?;
    let figures = lip_figures(&plan.sheets, settings);
    let mut discs = Vec::with_capacity(crossed.len());
    for (&index, disc) in crossed.iter().zip(&surfaces) {
        let rim = CutLine {
            points: setup.bridges.bridges[index].rim_line(),
            from_gate: false,
            starts_at_gate: false,
            ends_at_gate: false,
        };
        let sheet = disc_sheet(body, &setup.working, &rim, disc, settings, control)?;
        discs.push((index, sheet));
    }
    Ok(PlannedSheets { plan, owners, discs, figures, one_piece, surfaces: None })
}

/// A chain from where it leaves the gate; `None` for one that has no length outside.
fn cut_line(chain: &CutCurve, from_gate: bool, gate: &Gate) -> Option<CutLine> {
    let mut points: Vec<Point> = chain.points.iter().map(|p| p.point).collect();
    if chain.starts_at_gate {
        points = gate.clipped(&points);
    }
    if polyline_length(&points) < SHORTEST {
        return None;
    }
    let ends_at_gate = points.last().is_some_and(|p| gate.holds(p));
    Some(CutLine { points, from_gate, starts_at_gate: chain.starts_at_gate, ends_at_gate })
}

/// Sheets are drawn out by this much before they cut, mm, so that they reach both skins of a mesh of
/// the rubber.
pub(super) const DRAWN_OUT: f64 = 2.0;

/// Chains shorter than this are points, mm.
const SHORTEST: f64 = 0.01;

impl PlannedSheets {
    /// Sheets on a surface that was there before.
    pub(super) fn given(
        given: GivenSheets,
        setup: &Setup,
        request: &PlanRequest,
        control: &Control<'_>,
    ) -> Result<Self, PlanError> {
        let GivenSheets { sheets, discs, own_discs, mut surfaces } = given;
        let drawn_out = cutting_surfaces(&[], &own_discs, DRAWN_OUT, &request.sheets);
        let mut crossings = Vec::new();
        for (index, disc) in own_discs.iter().enumerate() {
            for (sheet, own) in sheets.iter().enumerate() {
                if let Some(place) = surfaces_cross(&own.mesh, disc)? {
                    crossings.push(Crossing { sheet, with: CrossedBy::Disc(index), place });
                }
            }
        }
        surfaces.across.extend(drawn_out);
        let all = surfaces.sheets.iter().chain(&surfaces.across);
        let one_piece = setup.cells.cut_along(all, control)?;
        Ok(Self {
            owners: (0..sheets.len()).collect(),
            figures: lip_figures(&sheets, &request.sheets),
            plan: SheetPlan { sheets, crossings },
            discs,
            one_piece,
            surfaces: Some(surfaces),
        })
    }

    /// The surfaces along which the knife parts the rubber, in the mould frame.
    pub(super) fn cutting_surfaces(&self, setup: &Setup, settings: &SheetSettings) -> CutSurfaces {
        if let Some(surfaces) = &self.surfaces {
            return surfaces.clone();
        }
        let discs = self.discs.iter().map(|(index, _)| &setup.bridges.bridges[*index].surface);
        CutSurfaces {
            sheets: cutting_surfaces(&self.plan.sheets, [], DRAWN_OUT, settings),
            across: cutting_surfaces(&[], discs, DRAWN_OUT, settings),
        }
    }

    /// The side of the mould, level with the board, on which most of the cuts run; `None` where they
    /// run on no side more than on another.
    pub(super) fn opening_side(&self) -> Option<Vector> {
        let outward = self.plan.sheets.iter().map(|sheet| {
            let weighted = sheet.stations.iter().map(|s| s.on_outside - s.on_model);
            let sum: Vector = weighted.map(|v| Vector::new(v.x, v.y, 0.0)).sum();
            sum * (sheet.area / sheet.stations.len().max(1) as f64)
        });
        outward.sum::<Vector>().try_normalize(1e-6)
    }

    /// What the knife finds along the cuts, without those across bridges.
    pub(super) fn figures(&self) -> &LipFigures {
        &self.figures
    }

    /// Whether the rubber that they cut hangs together.
    pub(super) fn hangs_together(&self) -> bool {
        self.one_piece.holds()
    }

    /// The sheets of an exterior cut in the model's coordinates.
    pub(super) fn of_cut(&self, cut: usize, gate: &Gate) -> Vec<Sheet> {
        let to_model = gate.to_mould.inverse();
        let own = self.owners.iter().zip(&self.plan.sheets).filter(|(owner, _)| **owner == cut);
        own.map(|(_, sheet)| sheet.moved(&to_model)).collect()
    }

    /// The disc of a bridge's cut in the model's coordinates.
    pub(super) fn of_bridge(&self, bridge: usize, gate: &Gate) -> Vec<Sheet> {
        let to_model = gate.to_mould.inverse();
        let own = self.discs.iter().filter(|(index, _)| *index == bridge);
        own.map(|(_, sheet)| sheet.moved(&to_model)).collect()
    }

    /// The report in the model's coordinates; `order` holds each exterior cut's number.
    pub(super) fn report(
        &self,
        order: &[u32],
        gate: &Gate,
        body: &MouldBody,
        settings: &SheetSettings,
    ) -> SheetReport {
        let to_model = gate.to_mould.inverse();
        let number = |sheet: usize| order[self.owners[sheet]];
        let crossings = self
            .plan
            .crossings
            .iter()
            .map(|c| SheetCrossing {
                cut: number(c.sheet),
                with: match c.with {
                    CrossedBy::Sheet(other) => CrossedBy::Sheet(number(other) as usize),
                    CrossedBy::Disc(disc) => CrossedBy::Disc(self.discs[disc].0),
                    CrossedBy::Model => CrossedBy::Model,
                },
                place: to_model * c.place,
            })
            .collect();
        let mut one_piece = self.one_piece.clone();
        if let Some(neck) = &mut one_piece.neck {
            neck.place = to_model * neck.place;
        }
        // A sum over nothing is -0.0.
        let area = 0.0 + self.plan.sheets.iter().map(|s| s.area).sum::<f64>();
        let bridge_figures = lip_figures(self.discs.iter().map(|(_, s)| s), settings);
        SheetReport {
            settings: settings.clone(),
            skin: RubberSkin { outside: body.outside(), to_mould: gate.to_mould },
            figures: self.figures,
            bridge_figures,
            area,
            crossings,
            one_piece,
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::body::{GateChoice, MouldShape};
    use crate::control::{Cancel, Control};
    use crate::mesh::fixtures::{icosphere, moved};
    use crate::mesh::{Point, PrepareOptions, prepare_mesh};
    use crate::plan::{Budget, PlanRequest, TrialMode, TrialRequest, make_plan};

    /// A ball on a small gate on the board, in a thin blanket: in the model's own coordinates every
    /// ruling starts on the ball and parts nothing; away from the board, where the first ruling
    /// has to lie, they run out along radii, as long as the blanket is thick.
    #[test]
    fn plans_carry_sheets_in_the_models_coordinates() {
        let middle = Point::new(7.0, -3.0, 50.0);
        let ball = moved(&icosphere(20.0, 4), [middle.x, middle.y, middle.z]);
        let model = prepare_mesh(ball, &PrepareOptions::default()).expect("sound");
        let request = PlanRequest {
            mould: MouldShape::Blanket { thickness: 6.0 },
            gate: GateChoice::Patch { centre: Point::new(7.0, -3.0, 30.0), radius: 8.0 },
            budget: Budget { seconds: 30.0, target_gap: 0.6, seed: 1, rounds: None },
            trial: TrialRequest { mode: TrialMode::Off, ..TrialRequest::default() },
            ..PlanRequest::default()
        };
        let plan = make_plan(&model, &request, &Control::silent()).expect("a plan");
        let report = plan.sheets.as_ref().expect("sheets");
        assert!(report.one_piece.holds() && report.crossings.is_empty(), "{report:?}");
        assert!(report.figures.share_acceptable > 0.8, "{report:?}");
        let sheets: Vec<_> = plan.cuts.iter().flat_map(|c| &c.sheets).collect();
        let mut square = 0;
        for sheet in sheets {
            for station in &sheet.stations {
                assert!(((station.on_model - middle).norm() - 20.0).abs() < 0.5);
                assert!(station.depth > 5.5, "{}", station.depth);
                if station.angle_from_normal < 5.0 {
                    assert!(((station.on_outside - middle).norm() - 26.0).abs() < 0.5);
                    square += 1;
                }
            }
        }
        assert!(square > 0);
        for name in ["one piece of rubber", "weak rubber", "blade", "sheets apart"] {
            let limit = plan.limits.iter().find(|l| l.name == name).expect("the limit is told");
            assert!(limit.met, "{}: {}", limit.name, limit.text);
        }
    }

    /// Who stops the work before there is a plan gets none; the flag is looked at by the sheets too.
    #[test]
    fn sheets_look_at_the_flag() {
        let model = icosphere(20.0, 2);
        let shape = MouldShape::Blanket { thickness: 6.0 };
        let body = crate::body::MouldBody::new(&model, &shape).expect("a body");
        let line = crate::sheets::CutLine {
            points: vec![Point::new(20.0, 0.0, 0.0), Point::new(0.0, 20.0, 0.0)],
            from_gate: false,
            starts_at_gate: false,
            ends_at_gate: false,
        };
        let cancel = Cancel::new();
        cancel.cancel();
        let control = Control::new(cancel, |_| {});
        let settings = crate::sheets::SheetSettings::default();
        let stopped = crate::sheets::plan_sheets(&body, &model, &[line], &[], &settings, &control);
        assert!(matches!(stopped, Err(crate::sheets::SheetError::Cancelled(_))));
    }
}
