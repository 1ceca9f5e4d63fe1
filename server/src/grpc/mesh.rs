//! A model's surface, in parts.

use std::sync::Arc;

use slitwright_proto::v1;
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use tonic::{Code, Status};

use super::errors::{blocking, invalid_field};
use crate::convert::mesh_parts;
use crate::refusal::refusal;
use crate::store::{ModelFault, Models};

/// The parts.
pub type MeshParts = ReceiverStream<Result<v1::TriangleMesh, Status>>;

/// Reads a surface and hands it out as fast as it is taken.
pub async fn surface(models: Arc<Models>, name: String, surface: i32) -> Result<MeshParts, Status> {
    let Ok(surface) = v1::ModelSurface::try_from(surface) else {
        let words = format!("is {surface}: this server knows no surface of that number");
        return Err(invalid_field("surface", words));
    };
    let model = blocking("the model", move || -> Result<_, Status> {
        let entry = models.entry(&name)?;
        models.ready_to_plan(&entry).map_err(of_the_model)
    });
    let model = model.await?;
    let (parts, stream) = mpsc::channel(1);
    tokio::task::spawn_blocking(move || {
        let mesh = match surface {
            v1::ModelSurface::Working => &model.working,
            v1::ModelSurface::Original | v1::ModelSurface::Unspecified => &model.original,
        };
        for part in mesh_parts(mesh) {
            // Nobody takes them any more.
            if parts.blocking_send(Ok(part)).is_err() {
                break;
            }
        }
    });
    Ok(ReceiverStream::new(stream))
}

/// Why a model that is kept cannot be worked on.
pub fn of_the_model(fault: ModelFault) -> Status {
    match fault {
        ModelFault::Store(error) => error.into(),
        ModelFault::Refused(error) => {
            let words = format!(
                "the model was sound when it came and is refused now ({error}): send it again"
            );
            refusal(Code::FailedPrecondition, "MODEL_REFUSED", words)
        }
    }
}
