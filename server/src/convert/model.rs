//! Models, from the solver to the protocol, and how they are to be read, the other way.

use slitwright_proto::v1;
use slitwright_solver::body::Poses;
use slitwright_solver::mesh::{
    Fault, FaultKind, LengthUnit, MeshFormat, Model, PrepareError, PrepareOptions, ReadError,
};

use super::geometry::point;
use super::poses::poses_to_proto;
use super::violations::{Collector, InvalidFields, join};

/// A format, or a fault.
pub fn format_from_proto(value: i32, path: &str, faults: &mut Collector) -> Option<MeshFormat> {
    match v1::MeshFormat::try_from(value) {
        Ok(v1::MeshFormat::Stl) => Some(MeshFormat::Stl),
        Ok(v1::MeshFormat::Obj) => Some(MeshFormat::Obj),
        Ok(v1::MeshFormat::Ply) => Some(MeshFormat::Ply),
        Ok(v1::MeshFormat::Off) => Some(MeshFormat::Off),
        Ok(v1::MeshFormat::ThreeMf) => Some(MeshFormat::ThreeMf),
        Ok(v1::MeshFormat::Gltf) => Some(MeshFormat::Gltf),
        Ok(v1::MeshFormat::Unspecified) => {
            faults.add(path, "is missing: say which format the file is in; it is never guessed");
            None
        }
        Err(_) => {
            faults.add(path, format!("is {value}: this server knows no format of that number"));
            None
        }
    }
}

/// A unit; `None` where it is left to the file, or to its format, to say.
pub fn unit_from_proto(
    value: i32,
    format: Option<MeshFormat>,
    path: &str,
    faults: &mut Collector,
) -> Option<LengthUnit> {
    match v1::LengthUnit::try_from(value) {
        Ok(v1::LengthUnit::Millimetre) => Some(LengthUnit::Millimetre),
        Ok(v1::LengthUnit::Centimetre) => Some(LengthUnit::Centimetre),
        Ok(v1::LengthUnit::Metre) => Some(LengthUnit::Metre),
        Ok(v1::LengthUnit::Inch) => Some(LengthUnit::Inch),
        Ok(v1::LengthUnit::Foot) => Some(LengthUnit::Foot),
        Ok(v1::LengthUnit::Micron) => Some(LengthUnit::Micron),
        Ok(v1::LengthUnit::Unspecified) => {
            if format.is_none_or(MeshFormat::needs_unit) {
                faults.add(
                    path,
                    "is missing: say what one unit of the file means; it is never guessed",
                );
            }
            None
        }
        Err(_) => {
            faults.add(path, format!("is {value}: this server knows no unit of that number"));
            None
        }
    }
}

/// How a mesh is prepared.
pub fn options_from_proto(
    message: Option<&v1::PrepareOptions>,
    path: &str,
    faults: &mut Collector,
) -> PrepareOptions {
    let message = message.cloned().unwrap_or_default();
    let mut read = |field: &str, value: Option<f64>, high| {
        value.map(|value| faults.number(&join(path, field), value, 0.001, high, "mm"))
    };
    PrepareOptions {
        deviation: read("deviation_mm", message.deviation_mm, 10.0),
        working_resolution: read("working_resolution_mm", message.working_resolution_mm, 100.0),
        accept_self_crossing: message.accept_self_crossing,
        as_is: message.as_is,
        largest_hole: read("largest_hole_mm", message.largest_hole_mm, 1000.0),
        rebuild_deviation: read("rebuild_deviation_mm", message.rebuild_deviation_mm, 100.0),
        bodies: message.bodies,
        ..PrepareOptions::default()
    }
}

/// What is wrong with a model file, by field of an upload. Faults of the mesh are told one by one.
pub fn prepare_violations(error: &PrepareError) -> InvalidFields {
    let mut faults = Collector::default();
    match error {
        PrepareError::Read(
            ReadError::UnitMissing { .. }
            | ReadError::UnitContradicts { .. }
            | ReadError::ImplausibleSize { .. },
        ) => faults.add("header.unit", error.to_string()),
        PrepareError::Read(ReadError::OtherFormat { .. }) => {
            faults.add("header.format", error.to_string());
        }
        PrepareError::Unsound { faults: found, refused, .. } => {
            for fault in found {
                let advice = match fault.kind {
                    FaultKind::SelfCrossing => {
                        " (set header.options.accept_self_crossing to plan all the same)"
                    }
                    _ => "",
                };
                faults.add("chunk", format!("{}{advice}", fault.message));
            }
            for refusal in refused {
                faults.add("chunk", format!("not repaired: {refusal}"));
            }
        }
        PrepareError::BadLength { .. } => faults.add("header.options", error.to_string()),
        PrepareError::NoSuchBody { .. } => {
            faults.add("header.options.bodies", error.to_string());
        }
        PrepareError::Decimate(_) => faults.add("header.options.deviation_mm", error.to_string()),
        PrepareError::Read(_) | PrepareError::Topology(_) | PrepareError::Cancelled(_) => {
            faults.add("chunk", error.to_string());
        }
    }
    faults.into_faults()
}

/// Whether a model file was let go of because nobody waits for it any more.
pub fn is_cancelled(error: &PrepareError) -> bool {
    matches!(error, PrepareError::Cancelled(_) | PrepareError::Read(ReadError::Cancelled(_)))
}

/// Whether a model file is refused for its size alone.
pub fn is_over_limit(error: &PrepareError) -> bool {
    matches!(
        error,
        PrepareError::Read(
            ReadError::TooManyBytes { .. }
                | ReadError::TooManyTriangles { .. }
                | ReadError::TooManyCorners { .. }
        )
    )
}

/// What the checks found, and how the model stands and rests, where that was looked at.
pub fn report_to_proto(model: &Model, poses: Option<&Poses>) -> v1::MeshReport {
    let bounds = model.original.bounds();
    v1::MeshReport {
        triangles: model.original.faces.len() as u64,
        vertices: model.original.positions.len() as u64,
        lowest: bounds.map(|(low, _)| point(&low)),
        highest: bounds.map(|(_, high)| point(&high)),
        area_cm2: model.original.area() / 100.0,
        volume_cm3: model.original.signed_volume() / 1000.0,
        genus: model.genus,
        working_triangles: model.working.faces.len() as u64,
        working_deviation_mm: model.working_deviation,
        allowed_deviation_mm: model.allowed_deviation,
        repairs: model.repairs.clone(),
        warnings: model.warnings(),
        faults: model.report.faults.iter().map(fault).collect(),
        poses: poses.map(poses_to_proto),
    }
}

fn fault(fault: &Fault) -> v1::MeshFault {
    v1::MeshFault {
        kind: fault_kind(fault.kind).into(),
        count: fault.count as u64,
        place: fault.place.as_ref().map(point),
        message: fault.message.clone(),
    }
}

fn fault_kind(kind: FaultKind) -> v1::MeshFaultKind {
    match kind {
        FaultKind::Empty => v1::MeshFaultKind::Empty,
        FaultKind::NotFinite => v1::MeshFaultKind::NotFinite,
        FaultKind::BadIndex => v1::MeshFaultKind::BadIndex,
        FaultKind::Open => v1::MeshFaultKind::Open,
        FaultKind::NonManifoldEdge => v1::MeshFaultKind::NonManifoldEdge,
        FaultKind::PinchedVertex => v1::MeshFaultKind::PinchedVertex,
        FaultKind::Orientation => v1::MeshFaultKind::Orientation,
        FaultKind::InsideOut => v1::MeshFaultKind::InsideOut,
        FaultKind::SeveralBodies => v1::MeshFaultKind::SeveralBodies,
        FaultKind::SelfCrossing => v1::MeshFaultKind::SelfCrossing,
        FaultKind::SlenderFace => v1::MeshFaultKind::SlenderFace,
        FaultKind::DegenerateFace => v1::MeshFaultKind::DegenerateFace,
        FaultKind::ThinPart => v1::MeshFaultKind::ThinPart,
    }
}
