//! What the solver's errors mean to a caller.

use slitwright_proto::v1;
use slitwright_solver::mesh::PrepareError;
use slitwright_solver::plan::PlanError;
use tonic::Code;

use crate::convert::InvalidFields;

/// What is wrong with a model file, by field of the upload.
pub fn prepare_violations(error: &PrepareError) -> InvalidFields {
    InvalidFields::one("chunk", error.to_string())
}

/// Why there is no plan; `None` when someone asked to stop.
pub fn plan_failure(error: &PlanError) -> Option<v1::Failure> {
    let code = match error {
        PlanError::Cancelled(_) => return None,
        _ => Code::FailedPrecondition,
    };
    Some(v1::Failure { code: code.into(), message: error.to_string() })
}

/// Whether other input would help.
pub fn is_about_input(failure: &v1::Failure) -> bool {
    let code = Code::from_i32(failure.code);
    matches!(code, Code::InvalidArgument | Code::FailedPrecondition)
}
