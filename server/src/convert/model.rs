//! Models, from the solver to the protocol, and how they are to be read, the other way.

use slitwright_proto::v1;
use slitwright_solver::mesh::{LengthUnit, MeshFormat, Model, PrepareOptions};

use super::violations::{Collector, join};

/// A format, or a fault.
pub fn format_from_proto(value: i32, path: &str, faults: &mut Collector) -> Option<MeshFormat> {
    match v1::MeshFormat::try_from(value) {
        Ok(v1::MeshFormat::Stl) => Some(MeshFormat::Stl),
        Ok(v1::MeshFormat::Obj) => Some(MeshFormat::Obj),
        Ok(v1::MeshFormat::Ply) => Some(MeshFormat::Ply),
        Ok(v1::MeshFormat::Off) => Some(MeshFormat::Off),
        Ok(v1::MeshFormat::ThreeMf) => Some(MeshFormat::ThreeMf),
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

/// A unit, or a fault.
pub fn unit_from_proto(value: i32, path: &str, faults: &mut Collector) -> Option<LengthUnit> {
    match v1::LengthUnit::try_from(value) {
        Ok(v1::LengthUnit::Millimetre) => Some(LengthUnit::Millimetre),
        Ok(v1::LengthUnit::Centimetre) => Some(LengthUnit::Centimetre),
        Ok(v1::LengthUnit::Metre) => Some(LengthUnit::Metre),
        Ok(v1::LengthUnit::Inch) => Some(LengthUnit::Inch),
        Ok(v1::LengthUnit::Unspecified) => {
            faults
                .add(path, "is missing: say what one unit of the file means; it is never guessed");
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
    let message = message.copied().unwrap_or_default();
    PrepareOptions {
        deviation: message
            .deviation_mm
            .map(|value| faults.number(&join(path, "deviation_mm"), value, 0.001, 10.0, "mm")),
        ..PrepareOptions::default()
    }
}

/// What the checks found.
pub fn report_to_proto(model: &Model) -> v1::MeshReport {
    v1::MeshReport { triangles: model.triangles }
}
