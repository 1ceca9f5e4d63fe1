//! The handlers.

use std::sync::Arc;

use pbjson_types::Empty;
use prost::Message as _;
use prost_types::FieldMask;
use slitwright_proto::v1;
use slitwright_proto::v1::cut_planner_server::CutPlanner;
use tonic::{Request, Response, Status, Streaming};

use super::errors::{SubmitError, invalid, invalid_field};
use super::mask::{Fields, Mask};
use super::paging::{check_name, page_size, position, token};
use super::upload::{UploadRules, Uploads};
use super::watch::JobEvents;
use crate::convert::{named_class, request_from_proto, request_to_proto};
use crate::front::tokens::Caller;
use crate::jobs::{Job, WithPlan, Workers};
use crate::planner::Planner;
use crate::store::Store;

/// A page of plans ends once it has so many bytes: clients take 4 MiB unless told otherwise.
const PAGE: usize = 2 << 20;
/// Longest request id, characters.
const REQUEST_ID: usize = 64;

/// The planning service.
pub struct Service {
    store: Arc<Store>,
    workers: Arc<Workers>,
    uploads: Uploads,
    fields: Fields,
}

impl Service {
    /// A service on a store and workers.
    pub fn new(
        store: Arc<Store>,
        workers: Arc<Workers>,
        planner: Arc<dyn Planner>,
        rules: UploadRules,
    ) -> Result<Self, prost::DecodeError> {
        let uploads = Uploads::new(Arc::clone(&store), planner, rules);
        Ok(Self { store, workers, uploads, fields: Fields::new()? })
    }

    fn job_mask(&self, asked: Option<FieldMask>) -> Result<Option<Mask>, Status> {
        let mask = asked.map(|asked| self.fields.mask("slitwright.v1.PlanJob", &asked.paths));
        mask.transpose().map_err(|fault| invalid_field("read_mask", fault)).map(Option::flatten)
    }

    fn seen_through(&self, mask: Option<&Mask>, job: v1::PlanJob) -> Result<v1::PlanJob, Status> {
        match mask {
            None => Ok(job),
            Some(mask) => mask.apply(&job).map_err(|error| {
                Status::internal(format!("the answer could not be cut down to read_mask: {error}"))
            }),
        }
    }

    fn job(&self, name: &str) -> Result<Arc<Job>, Status> {
        check_name("name", name, "plans")?;
        Ok(self.store.job(name)?)
    }
}

/// Who calls, as the gate noted it.
fn caller<T>(request: &Request<T>) -> Caller {
    request.extensions().get().cloned().unwrap_or_default()
}

#[tonic::async_trait]
impl CutPlanner for Service {
    async fn upload_model(
        &self,
        request: Request<Streaming<v1::UploadModelRequest>>,
    ) -> Result<Response<v1::Model>, Status> {
        let room = caller(&request).model_room();
        Ok(Response::new(self.uploads.receive(request.into_inner(), room).await?))
    }

    async fn get_model(
        &self,
        request: Request<v1::GetModelRequest>,
    ) -> Result<Response<v1::Model>, Status> {
        let name = request.into_inner().name;
        check_name("name", &name, "models")?;
        Ok(Response::new(self.store.model(&name)?.message.clone()))
    }

    async fn list_models(
        &self,
        request: Request<v1::ListModelsRequest>,
    ) -> Result<Response<v1::ListModelsResponse>, Status> {
        let request = request.into_inner();
        let size = page_size(request.page_size)?;
        let (models, next) = self.store.models(position(&request.page_token)?, size);
        Ok(Response::new(v1::ListModelsResponse {
            models: models.iter().map(|model| model.message.clone()).collect(),
            next_page_token: token(next),
        }))
    }

    async fn delete_model(
        &self,
        request: Request<v1::DeleteModelRequest>,
    ) -> Result<Response<Empty>, Status> {
        let name = request.into_inner().name;
        check_name("name", &name, "models")?;
        self.store.remove_model(&name)?;
        Ok(Response::new(Empty {}))
    }

    async fn submit_plan(
        &self,
        request: Request<v1::SubmitPlanRequest>,
    ) -> Result<Response<v1::PlanJob>, Status> {
        let caller = caller(&request);
        let v1::SubmitPlanRequest { model: model_name, request, request_id } = request.into_inner();
        check_name("model", &model_name, "models")?;
        if request_id.chars().count() > REQUEST_ID {
            return Err(invalid_field(
                "request_id",
                format!("is too long: give at most {REQUEST_ID} characters"),
            ));
        }
        let request = request.unwrap_or_default();
        let solver_request = request_from_proto(&request, "request").map_err(|f| invalid(&f))?;
        let model = self.store.model(&model_name)?;
        let job = Arc::new(Job::new(
            model_name,
            Arc::clone(&model.model),
            request_to_proto(&solver_request, named_class(&request)),
            solver_request,
            (!request_id.is_empty()).then_some(request_id),
        ));
        let place =
            caller.plan_place(|name| self.store.job(name).is_ok_and(|job| !job.has_ended()));
        let job = self.store.add_job::<SubmitError>(job, |job| {
            // Only here: a request that came before needs no place.
            place.as_ref().map_err(Clone::clone)?;
            Ok(self.workers.enqueue(job)?)
        })?;
        if let Ok(place) = place {
            place.keep(&job.name);
        }
        tracing::info!(job = job.name, model = job.model_name, "job queued");
        Ok(Response::new(job.to_proto(WithPlan::Yes)))
    }

    type WatchPlanStream = JobEvents;

    async fn watch_plan(
        &self,
        request: Request<v1::WatchPlanRequest>,
    ) -> Result<Response<JobEvents>, Status> {
        Ok(Response::new(JobEvents::new(self.job(&request.into_inner().name)?)))
    }

    async fn get_plan(
        &self,
        request: Request<v1::GetPlanRequest>,
    ) -> Result<Response<v1::PlanJob>, Status> {
        let v1::GetPlanRequest { name, read_mask } = request.into_inner();
        let mask = self.job_mask(read_mask)?;
        let job = self.job(&name)?.to_proto(WithPlan::Yes);
        Ok(Response::new(self.seen_through(mask.as_ref(), job)?))
    }

    async fn list_plans(
        &self,
        request: Request<v1::ListPlansRequest>,
    ) -> Result<Response<v1::ListPlansResponse>, Status> {
        let request = request.into_inner();
        let size = page_size(request.page_size)?;
        let mask = self.job_mask(request.read_mask)?;
        let with_plan = if mask.as_ref().is_some_and(|m| m.names("plan")) {
            WithPlan::Yes
        } else {
            WithPlan::No
        };
        let (mut plans, mut bytes) = (Vec::new(), 0);
        let mut next = Some(position(&request.page_token)?);
        while let Some(at) = next
            && plans.len() < size
            && bytes < PAGE
        {
            let (jobs, after) = self.store.jobs(at, 1);
            for job in jobs {
                let job = self.seen_through(mask.as_ref(), job.to_proto(with_plan))?;
                bytes += job.encoded_len();
                plans.push(job);
            }
            next = after;
        }
        Ok(Response::new(v1::ListPlansResponse { plans, next_page_token: token(next) }))
    }

    async fn cancel_plan(
        &self,
        request: Request<v1::CancelPlanRequest>,
    ) -> Result<Response<v1::PlanJob>, Status> {
        let job = self.job(&request.into_inner().name)?;
        self.workers.cancel(&job);
        Ok(Response::new(job.to_proto(WithPlan::Yes)))
    }

    async fn delete_plan(
        &self,
        request: Request<v1::DeletePlanRequest>,
    ) -> Result<Response<Empty>, Status> {
        let name = request.into_inner().name;
        check_name("name", &name, "plans")?;
        self.store.remove_job(&name)?;
        Ok(Response::new(Empty {}))
    }
}
