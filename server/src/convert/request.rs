//! What a person asks for, from the protocol's message to the solver's type and back.

use slitwright_proto::v1;
use slitwright_solver::body::{GateChoice, MouldShape, Rubber, RubberClass, RubberError};
use slitwright_solver::mesh::Vector;
use slitwright_solver::plan::{Budget, KnifeRules, PlanRequest, Resolution};

use super::geometry::{direction, place, point, unit};
use super::sheet_rules::{
    seam_areas, seam_areas_to_proto, sheet_rules, sheet_rules_to_proto, weights, weights_to_proto,
};
use super::violations::{Collector, InvalidFields, join};
use super::{scheme, trial};

/// Clearances and thickness when none is given, mm. Common practice, no source.
const CLEARANCE: f64 = 15.0;
const BLANKET_THICKNESS: f64 = 8.0;

/// Reads a request, with defaults for what is left out. `path` is where the request stands in the
/// caller's message: the faults are named from there.
pub fn request_from_proto(
    message: &v1::PlanRequest,
    path: &str,
) -> Result<PlanRequest, InvalidFields> {
    let mut faults = Collector::default();
    let request = PlanRequest {
        mould: mould(message.mould.as_ref(), &join(path, "mould"), &mut faults),
        rubber: rubber(message.rubber.as_ref(), &join(path, "rubber"), &mut faults),
        gate: gate(message.gate.as_ref(), &join(path, "gate"), &mut faults),
        knife: knife(message.knife.as_ref(), &join(path, "knife"), &mut faults),
        sheets: sheet_rules(message.sheets.as_ref(), &join(path, "sheets"), &mut faults),
        weights: weights(message.weights.as_ref(), &join(path, "weights"), &mut faults),
        areas: seam_areas(message.areas.as_ref(), &join(path, "areas"), &mut faults),
        trial: trial::rules(message.trial.as_ref(), &join(path, "trial"), &mut faults),
        scheme: scheme::scheme(message.scheme.as_ref(), &join(path, "scheme"), &mut faults),
        budget: budget(message.budget.as_ref(), &join(path, "budget"), &mut faults),
        resolution: resolution(message.resolution.as_ref(), &join(path, "resolution"), &mut faults),
    };
    faults.finish(request)
}

/// The request with every value written out. The solver knows no rubber class, only values, so the
/// class is handed in.
pub fn request_to_proto(request: &PlanRequest, class: v1::RubberClass) -> v1::PlanRequest {
    v1::PlanRequest {
        mould: Some(v1::Mould {
            shape: Some(match request.mould {
                MouldShape::Box { side_clearance, top_clearance } => {
                    v1::mould::Shape::Box(v1::BoxMould {
                        side_clearance_mm: Some(side_clearance),
                        top_clearance_mm: Some(top_clearance),
                    })
                }
                MouldShape::Cylinder { side_clearance, top_clearance } => {
                    v1::mould::Shape::Cylinder(v1::CylinderMould {
                        side_clearance_mm: Some(side_clearance),
                        top_clearance_mm: Some(top_clearance),
                    })
                }
                MouldShape::Blanket { thickness } => {
                    v1::mould::Shape::Blanket(v1::BlanketMould { thickness_mm: Some(thickness) })
                }
            }),
        }),
        rubber: Some(v1::Rubber {
            class: class.into(),
            shore_a: Some(request.rubber.shore_a),
            elongation_at_break: Some(request.rubber.elongation_at_break),
            working_stretch: Some(request.rubber.working_stretch),
            density_g_cm3: Some(request.rubber.density),
        }),
        gate: Some(v1::Gate {
            place: Some(match &request.gate {
                GateChoice::LowestFlat { up } => {
                    v1::gate::Place::LowestFlat(v1::LowestFlatGate { up: Some(direction(up)) })
                }
                GateChoice::Patch { centre, radius } => v1::gate::Place::Patch(v1::PatchGate {
                    centre: Some(point(centre)),
                    radius_mm: *radius,
                }),
                GateChoice::Plane { point: place, normal } => {
                    v1::gate::Place::Plane(v1::PlaneGate {
                        point: Some(point(place)),
                        normal: Some(direction(normal)),
                    })
                }
            }),
        }),
        knife: Some(v1::KnifeRules {
            hand_force_n: Some(request.knife.hand_force),
            opening_zone_mm: request.knife.opening_zone,
            hinge_width_mm: Some(request.knife.hinge_width),
            entry_price_mm: Some(request.knife.entry_price),
            least_cut_mm: Some(request.knife.least_cut),
        }),
        budget: Some(v1::Budget {
            time_limit_seconds: Some(request.budget.seconds),
            target_gap: Some(request.budget.target_gap),
            seed: Some(request.budget.seed),
            rounds: request.budget.rounds,
        }),
        resolution: Some(v1::Resolution {
            deviation_mm: request.resolution.deviation,
            planning_edge_mm: request.resolution.planning_edge,
        }),
        sheets: Some(sheet_rules_to_proto(&request.sheets)),
        areas: seam_areas_to_proto(&request.areas),
        weights: Some(weights_to_proto(&request.weights)),
        trial: Some(trial::rules_to_proto(&request.trial)),
        scheme: request.scheme.as_ref().map(scheme::scheme_to_proto),
    }
}

/// The rubber class that a request names, with what UNSPECIFIED stands for filled in.
pub fn named_class(message: &v1::PlanRequest) -> v1::RubberClass {
    match message.rubber.as_ref().map(|rubber| rubber.class()) {
        None | Some(v1::RubberClass::Unspecified) => v1::RubberClass::MediumSilicone,
        Some(class) => class,
    }
}

fn mould(message: Option<&v1::Mould>, path: &str, faults: &mut Collector) -> MouldShape {
    use v1::mould::Shape;
    let default = MouldShape::Box { side_clearance: CLEARANCE, top_clearance: CLEARANCE };
    let Some(message) = message else { return default };
    let clearances = |kind: &str, side: Option<f64>, top: Option<f64>, faults: &mut Collector| {
        let mut read = |field: &str, value: Option<f64>| {
            let path = join(path, &format!("{kind}.{field}"));
            faults.number(&path, value.unwrap_or(CLEARANCE), 1.0, 1000.0, "mm")
        };
        (read("side_clearance_mm", side), read("top_clearance_mm", top))
    };
    match &message.shape {
        None => {
            faults.add(path, "has no shape: give one of box, cylinder and blanket");
            default
        }
        Some(Shape::Box(b)) => {
            let (side_clearance, top_clearance) =
                clearances("box", b.side_clearance_mm, b.top_clearance_mm, faults);
            MouldShape::Box { side_clearance, top_clearance }
        }
        Some(Shape::Cylinder(c)) => {
            let (side_clearance, top_clearance) =
                clearances("cylinder", c.side_clearance_mm, c.top_clearance_mm, faults);
            MouldShape::Cylinder { side_clearance, top_clearance }
        }
        Some(Shape::Blanket(b)) => MouldShape::Blanket {
            thickness: faults.number(
                &join(path, "blanket.thickness_mm"),
                b.thickness_mm.unwrap_or(BLANKET_THICKNESS),
                1.0,
                200.0,
                "mm",
            ),
        },
    }
}

fn rubber(message: Option<&v1::Rubber>, path: &str, faults: &mut Collector) -> Rubber {
    let message = message.copied().unwrap_or_default();
    let class = match v1::RubberClass::try_from(message.class) {
        Ok(v1::RubberClass::Unspecified | v1::RubberClass::MediumSilicone) => {
            RubberClass::MediumSilicone
        }
        Ok(v1::RubberClass::SoftSilicone) => RubberClass::SoftSilicone,
        Ok(v1::RubberClass::FirmSilicone) => RubberClass::FirmSilicone,
        Ok(v1::RubberClass::SoftPolyurethane) => RubberClass::SoftPolyurethane,
        Ok(v1::RubberClass::FirmPolyurethane) => RubberClass::FirmPolyurethane,
        Err(_) => {
            faults.add(
                join(path, "class"),
                format!("is {}: this server knows no rubber class of that number", message.class),
            );
            RubberClass::MediumSilicone
        }
    };
    let typical = class.typical();
    let rubber = Rubber {
        shore_a: message.shore_a.unwrap_or(typical.shore_a),
        elongation_at_break: message.elongation_at_break.unwrap_or(typical.elongation_at_break),
        working_stretch: message.working_stretch.unwrap_or(typical.working_stretch),
        density: message.density_g_cm3.unwrap_or(typical.density),
    };
    // The solver owns the ranges; here they only get the names of the protocol.
    for fault in rubber.check().err().unwrap_or_default() {
        match fault {
            RubberError::OutOfRange { field, value, low, high } => {
                let field = if field == "density" { "density_g_cm3" } else { field };
                faults.add(
                    join(path, field),
                    format!("is {value}: give a number from {low} to {high}"),
                );
            }
            RubberError::WorkingAboveBreak { working, break_at } => faults.add(
                join(path, "working_stretch"),
                format!(
                    "is {working}: the rubber breaks at {break_at}; give a working stretch below that"
                ),
            ),
        }
    }
    rubber
}

fn gate(message: Option<&v1::Gate>, path: &str, faults: &mut Collector) -> GateChoice {
    use v1::gate::Place;
    let default = GateChoice::LowestFlat { up: Vector::z() };
    let Some(message) = message else { return default };
    match &message.place {
        None => {
            faults.add(path, "has no place: give one of lowest_flat, patch and plane");
            default
        }
        Some(Place::LowestFlat(flat)) => GateChoice::LowestFlat {
            up: match &flat.up {
                None => Vector::z(),
                Some(up) => unit(Some(up), &join(path, "lowest_flat.up"), faults),
            },
        },
        Some(Place::Patch(patch)) => GateChoice::Patch {
            centre: place(patch.centre.as_ref(), &join(path, "patch.centre"), faults),
            radius: faults.number(
                &join(path, "patch.radius_mm"),
                patch.radius_mm,
                0.1,
                10_000.0,
                "mm",
            ),
        },
        Some(Place::Plane(plane)) => GateChoice::Plane {
            point: place(plane.point.as_ref(), &join(path, "plane.point"), faults),
            normal: unit(plane.normal.as_ref(), &join(path, "plane.normal"), faults),
        },
    }
}

fn knife(message: Option<&v1::KnifeRules>, path: &str, faults: &mut Collector) -> KnifeRules {
    let message = message.copied().unwrap_or_default();
    let default = KnifeRules::default();
    let mut read = |field: &str, value: Option<f64>, default: f64, low, high, unit| {
        faults.number(&join(path, field), value.unwrap_or(default), low, high, unit)
    };
    KnifeRules {
        hand_force: read(
            "hand_force_n",
            message.hand_force_n,
            default.hand_force,
            1.0,
            5000.0,
            "N",
        ),
        opening_zone: message
            .opening_zone_mm
            .map(|zone| read("opening_zone_mm", Some(zone), zone, 1.0, 1000.0, "mm")),
        hinge_width: read(
            "hinge_width_mm",
            message.hinge_width_mm,
            default.hinge_width,
            0.0,
            1000.0,
            "mm",
        ),
        entry_price: read(
            "entry_price_mm",
            message.entry_price_mm,
            default.entry_price,
            0.0,
            1000.0,
            "mm",
        ),
        least_cut: read("least_cut_mm", message.least_cut_mm, default.least_cut, 0.0, 1000.0, "mm"),
    }
}

fn budget(message: Option<&v1::Budget>, path: &str, faults: &mut Collector) -> Budget {
    let message = message.copied().unwrap_or_default();
    let default = Budget::default();
    Budget {
        seconds: faults.number(
            &join(path, "time_limit_seconds"),
            message.time_limit_seconds.unwrap_or(default.seconds),
            0.1,
            86_400.0,
            "seconds",
        ),
        target_gap: faults.number(
            &join(path, "target_gap"),
            message.target_gap.unwrap_or(default.target_gap),
            0.0,
            0.99,
            "(a fraction)",
        ),
        seed: message.seed.unwrap_or(default.seed),
        rounds: message.rounds.map(|rounds| {
            let rounds = f64::from(rounds);
            faults.number(&join(path, "rounds"), rounds, 1.0, 1e6, "rounds") as u32
        }),
    }
}

fn resolution(message: Option<&v1::Resolution>, path: &str, faults: &mut Collector) -> Resolution {
    let message = message.copied().unwrap_or_default();
    let mut read = |field: &str, value: Option<f64>, low, high| {
        value.map(|value| faults.number(&join(path, field), value, low, high, "mm"))
    };
    Resolution {
        deviation: read("deviation_mm", message.deviation_mm, 0.001, 10.0),
        planning_edge: read("planning_edge_mm", message.planning_edge_mm, 0.1, 100.0),
    }
}

#[cfg(test)]
mod tests {
    use slitwright_solver::mesh::Point;
    use slitwright_solver::sheets::Area;

    use super::*;

    #[test]
    fn an_empty_request_is_the_solvers_default() {
        let request = request_from_proto(&v1::PlanRequest::default(), "").expect("valid");
        assert_eq!(request, PlanRequest::default());
    }

    #[test]
    fn there_and_back_is_the_same() {
        let mut request = PlanRequest {
            mould: MouldShape::Cylinder { side_clearance: 21.0, top_clearance: 9.5 },
            gate: GateChoice::Plane { point: Point::new(1.0, 2.0, 3.0), normal: -Vector::z() },
            ..PlanRequest::default()
        };
        request.resolution.planning_edge = Some(3.25);
        request.budget.seed = u64::MAX;
        request.sheets.blade_length = 77.0;
        request.trial.elements = Some(9000);
        request.areas.keep_off = vec![Area::Ball { centre: Point::origin(), radius: 3.0 }];
        let message = request_to_proto(&request, v1::RubberClass::SoftSilicone);
        assert_eq!(request_from_proto(&message, "request").expect("valid"), request);
    }

    #[test]
    fn every_fault_is_named_by_its_path() {
        let message = v1::PlanRequest {
            mould: Some(v1::Mould {
                shape: Some(v1::mould::Shape::Box(v1::BoxMould {
                    side_clearance_mm: Some(-1.0),
                    top_clearance_mm: Some(f64::NAN),
                })),
            }),
            rubber: Some(v1::Rubber { class: 77, shore_a: Some(200.0), ..Default::default() }),
            gate: Some(v1::Gate {
                place: Some(v1::gate::Place::Plane(v1::PlaneGate {
                    point: None,
                    normal: Some(v1::Direction { x: 0.0, y: 0.0, z: 0.0 }),
                })),
            }),
            knife: Some(v1::KnifeRules { hand_force_n: Some(0.0), ..Default::default() }),
            budget: Some(v1::Budget { target_gap: Some(2.0), ..Default::default() }),
            resolution: Some(v1::Resolution { deviation_mm: Some(0.0), planning_edge_mm: None }),
            sheets: Some(v1::SheetRules { blade_length_mm: Some(0.0), ..Default::default() }),
            weights: Some(v1::CutWeights { seam: Some(-1.0), ..Default::default() }),
            trial: Some(v1::TrialRules { mode: 9, friction: Some(-0.5), elements: Some(7) }),
            scheme: Some(v1::Scheme {
                cuts: vec![v1::DrawnCut::default()],
                tolerance_mm: Some(-1.0),
                of_plan: String::new(),
            }),
            areas: Some(v1::SeamAreas {
                keep_off: vec![v1::Area { shape: None }],
                preferred: Vec::new(),
            }),
        };
        let faults = request_from_proto(&message, "request").expect_err("faults");
        let fields: Vec<_> = faults.violations().iter().map(|v| v.field.as_str()).collect();
        assert_eq!(
            fields,
            [
                "request.mould.box.side_clearance_mm",
                "request.mould.box.top_clearance_mm",
                "request.rubber.class",
                "request.rubber.shore_a",
                "request.gate.plane.point",
                "request.gate.plane.normal",
                "request.knife.hand_force_n",
                "request.sheets.blade_length_mm",
                "request.weights.seam",
                "request.areas.keep_off[0]",
                "request.trial.mode",
                "request.trial.friction",
                "request.trial.elements",
                "request.scheme.tolerance_mm",
                "request.scheme.cuts[0]",
                "request.budget.target_gap",
                "request.resolution.deviation_mm",
            ]
        );
    }
}
