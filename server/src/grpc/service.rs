//! The handlers.

use std::sync::Arc;

use pbjson_types::Empty;
use prost::Message as _;
use prost_types::FieldMask;
use slitwright_proto::v1;
use slitwright_proto::v1::cut_planner_server::CutPlanner;
use slitwright_solver::plan::PlanRequest;
use tonic::{Code, Request, Response, Status, Streaming};

use super::errors::{blocking, invalid, invalid_field};
use super::files::{FileParts, Files};
use super::info::server_info;
use super::limits::{COMPARED, MOST_SECONDS, REQUEST};
use super::listing::listing;
use super::mask::{Fields, Mask};
use super::mesh::{MeshParts, of_the_model, surface};
use super::paging::{Pages, check_name, page_size};
use super::plans::{page_of_plans, seen_through, side_by_side, submit};
use super::upload::{UploadRules, Uploads};
use super::watch::{JobEvents, follow};
use crate::convert::{
    Collector, named_class, request_from_proto, request_to_proto, scheme_of_plan,
};
use crate::front::tokens::Caller;
use crate::jobs::{Hub, Workers};
use crate::planner::{OffModel, PlanFault, Planner};
use crate::refusal::refusal;
use crate::store::{Extension, Ledger, Listing, Models, NewJob, StoreError, StoreLimits};

/// The message that jobs come as.
const JOB: &str = "slitwright.v1.PlanJob";
/// Longest request id, characters.
const REQUEST_ID: usize = 64;

/// Priorities, from the last to the first.
const PRIORITIES: std::ops::RangeInclusive<i32> = -10..=10;

/// The planning service.
pub struct Service {
    ledger: Arc<dyn Ledger>,
    models: Arc<Models>,
    workers: Arc<Workers>,
    hub: Arc<Hub>,
    planner: Arc<dyn Planner>,
    uploads: Uploads,
    files: Files,
    rules: UploadRules,
    limits: StoreLimits,
    fields: Fields,
}

impl Service {
    /// A service on a store and workers.
    pub fn new(
        ledger: Arc<dyn Ledger>,
        models: Arc<Models>,
        workers: Arc<Workers>,
        hub: Arc<Hub>,
        planner: Arc<dyn Planner>,
        rules: UploadRules,
        limits: StoreLimits,
    ) -> Result<Self, prost::DecodeError> {
        let uploads = Uploads::new(Arc::clone(&models), Arc::clone(&planner), rules);
        let files = Files::new(Arc::clone(&ledger), Arc::clone(&models));
        let fields = Fields::new()?;
        Ok(Self { ledger, models, workers, hub, planner, uploads, files, rules, limits, fields })
    }

    fn job_mask(&self, asked: Option<FieldMask>) -> Result<Option<Mask>, Status> {
        let mask = asked.map(|asked| self.fields.mask(JOB, &asked.paths));
        mask.transpose().map_err(|fault| invalid_field("read_mask", fault)).map(Option::flatten)
    }

    /// Puts the cuts of the plan that a scheme names into the scheme.
    async fn fill_scheme(&self, model: &str, request: &mut v1::PlanRequest) -> Result<(), Status> {
        let Some(scheme) = request.scheme.as_mut().filter(|s| !s.of_plan.is_empty()) else {
            return Ok(());
        };
        let name = std::mem::take(&mut scheme.of_plan);
        check_name("request.scheme.of_plan", &name, "plans")?;
        let field = |words: &str| invalid_field("request.scheme.of_plan", words);
        if !scheme.cuts.is_empty() {
            return Err(field("names a plan where `cuts` are given too: give one of the two"));
        }
        let job = self.with_ledger(move |ledger| ledger.job_with_plan(&name)).await?;
        if job.model != model {
            return Err(field("names a plan of another model: give one of this model"));
        }
        let plan = job.plan.ok_or_else(|| field("names a job that has no plan"))?;
        scheme.cuts = scheme_of_plan(&plan).cuts;
        Ok(())
    }

    /// Refuses drawn cuts that are not on the model, before anybody waits for them to be judged.
    async fn check_scheme(&self, model: &str, request: &PlanRequest) -> Result<(), Status> {
        let Some(scheme) = request.scheme.clone() else { return Ok(()) };
        let (models, planner) = (Arc::clone(&self.models), Arc::clone(&self.planner));
        let model = model.to_owned();
        let (off, tolerance) = blocking("the check of the scheme", move || -> Result<_, Status> {
            let entry = models.entry(&model)?;
            let model = models.ready_to_plan(&entry).map_err(of_the_model)?;
            let off = planner.off_model(&model, &scheme);
            let told =
                |fault: PlanFault| refusal(Code::Internal, "PROGRAM_FAULT", fault.to_string());
            Ok((off.map_err(told)?, scheme.tolerance))
        })
        .await?;
        let mut faults = Collector::default();
        for OffModel { cut, point, distance } in off {
            let words = format!(
                "lies {distance:.2} mm off the model, more than {tolerance} mm: move it on to the \
                 model, or give it in the model's own coordinates, mm"
            );
            faults.add(format!("request.scheme.cuts[{cut}].line.points[{point}]"), words);
        }
        faults.finish(()).map_err(|faults| invalid(&faults))
    }

    async fn with_ledger<T: Send + 'static, E: Into<Status> + Send + 'static>(
        &self,
        work: impl FnOnce(&dyn Ledger) -> Result<T, E> + Send + 'static,
    ) -> Result<T, Status> {
        let ledger = Arc::clone(&self.ledger);
        blocking("the store", move || work(ledger.as_ref())).await
    }

    async fn with_workers<T: Send + 'static, E: Into<Status> + Send + 'static>(
        &self,
        work: impl FnOnce(&Workers) -> Result<T, E> + Send + 'static,
    ) -> Result<T, Status> {
        let workers = Arc::clone(&self.workers);
        blocking("the store", move || work(&workers)).await
    }

    async fn with_models<T: Send + 'static>(
        &self,
        work: impl FnOnce(&Models) -> Result<T, StoreError> + Send + 'static,
    ) -> Result<T, Status> {
        let models = Arc::clone(&self.models);
        blocking("the store", move || work(&models)).await
    }
}

/// A request id; none when it is empty.
fn request_id(id: String) -> Result<Option<String>, Status> {
    if id.chars().count() > REQUEST_ID {
        return Err(invalid_field(
            "request_id",
            format!("is too long: give at most {REQUEST_ID} characters"),
        ));
    }
    Ok((!id.is_empty()).then_some(id))
}

fn check_priority(field: &str, priority: i32) -> Result<(), Status> {
    if PRIORITIES.contains(&priority) {
        return Ok(());
    }
    let (low, high) = (PRIORITIES.start(), PRIORITIES.end());
    Err(invalid_field(field, format!("is {priority}: give a number from {low} to {high}")))
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
        let owner = caller(&request).owner();
        Ok(Response::new(self.uploads.receive(request.into_inner(), owner).await?))
    }

    async fn get_server_info(
        &self,
        _request: Request<v1::GetServerInfoRequest>,
    ) -> Result<Response<v1::ServerInfo>, Status> {
        Ok(Response::new(server_info(&self.rules, &self.limits)))
    }

    type GetModelMeshStream = MeshParts;

    async fn get_model_mesh(
        &self,
        request: Request<v1::GetModelMeshRequest>,
    ) -> Result<Response<MeshParts>, Status> {
        let v1::GetModelMeshRequest { name, surface: which } = request.into_inner();
        check_name("name", &name, "models")?;
        Ok(Response::new(surface(Arc::clone(&self.models), name, which).await?))
    }

    async fn get_model(
        &self,
        request: Request<v1::GetModelRequest>,
    ) -> Result<Response<v1::Model>, Status> {
        let name = request.into_inner().name;
        check_name("name", &name, "models")?;
        Ok(Response::new(self.with_models(move |models| models.entry(&name)).await?.message))
    }

    async fn list_models(
        &self,
        request: Request<v1::ListModelsRequest>,
    ) -> Result<Response<v1::ListModelsResponse>, Status> {
        let request = request.into_inner();
        let size = page_size(request.page_size)?;
        let pages = Pages::of("models", &[]);
        let after = pages.position(&request.page_token)?.unwrap_or_default();
        let page = self.with_models(move |models| models.page(after, size)).await?;
        Ok(Response::new(v1::ListModelsResponse {
            models: page.items.into_iter().map(|model| model.message).collect(),
            next_page_token: pages.token(page.next),
        }))
    }

    async fn delete_model(
        &self,
        request: Request<v1::DeleteModelRequest>,
    ) -> Result<Response<Empty>, Status> {
        let name = request.into_inner().name;
        check_name("name", &name, "models")?;
        self.with_models(move |models| models.remove(&name)).await?;
        Ok(Response::new(Empty {}))
    }

    async fn submit_plan(
        &self,
        request: Request<v1::SubmitPlanRequest>,
    ) -> Result<Response<v1::PlanJob>, Status> {
        let owner = caller(&request).owner();
        let v1::SubmitPlanRequest { model, request, request_id: id, priority, validate_only } =
            request.into_inner();
        check_name("model", &model, "models")?;
        let request_id = request_id(id)?;
        check_priority("priority", priority)?;
        let mut request = request.unwrap_or_default();
        self.fill_scheme(&model, &mut request).await?;
        if request.encoded_len() > REQUEST {
            let words = format!("has {} bytes: give at most {REQUEST}", request.encoded_len());
            return Err(invalid_field("request", words));
        }
        let full = request_from_proto(&request, "request").map_err(|f| invalid(&f))?;
        self.check_scheme(&model, &full).await?;
        if validate_only {
            let entry = self.with_models(move |models| models.entry(&model)).await?;
            let request = Some(request_to_proto(&full, named_class(&request)));
            let model = entry.message.name;
            return Ok(Response::new(v1::PlanJob {
                model,
                request,
                priority,
                ..Default::default()
            }));
        }
        let job = NewJob {
            name: format!("plans/{}", uuid::Uuid::new_v4()),
            model,
            request: request_to_proto(&full, named_class(&request)),
            request_id,
            priority,
            seconds: full.budget.seconds,
            owner,
        };
        let job = self.with_workers(move |workers| submit(workers, &job)).await?;
        tracing::info!(job = job.name, model = job.model, "job queued");
        Ok(Response::new(job))
    }

    type WatchPlanStream = JobEvents;

    async fn watch_plan(
        &self,
        request: Request<v1::WatchPlanRequest>,
    ) -> Result<Response<JobEvents>, Status> {
        let v1::WatchPlanRequest { name, cuts } = request.into_inner();
        check_name("name", &name, "plans")?;
        let (ledger, hub) = (Arc::clone(&self.ledger), Arc::clone(&self.hub));
        Ok(Response::new(follow(ledger, hub, name, cuts).await?))
    }

    async fn get_plan(
        &self,
        request: Request<v1::GetPlanRequest>,
    ) -> Result<Response<v1::PlanJob>, Status> {
        let v1::GetPlanRequest { name, read_mask } = request.into_inner();
        check_name("name", &name, "plans")?;
        let mask = self.job_mask(read_mask)?;
        let whole = mask.as_ref().is_none_or(|mask| mask.names("plan"));
        let job = self
            .with_ledger(
                move |ledger| {
                    if whole { ledger.job_with_plan(&name) } else { ledger.job(&name) }
                },
            )
            .await?;
        Ok(Response::new(seen_through(mask.as_ref(), job)?))
    }

    async fn list_plans(
        &self,
        request: Request<v1::ListPlansRequest>,
    ) -> Result<Response<v1::ListPlansResponse>, Status> {
        let request = request.into_inner();
        let size = page_size(request.page_size)?;
        let mask = match request.read_mask {
            None => Some(self.fields.all_but(JOB, &["plan", "request"])),
            asked => self.job_mask(asked)?,
        };
        let pages = Pages::of("plans", &[&request.filter, &request.order_by]);
        let wanted = Listing {
            after: pages.position(&request.page_token)?,
            most: size,
            ..listing(&request.filter, &request.order_by)?
        };
        let page = self.with_ledger(move |ledger| page_of_plans(ledger, wanted, mask.as_ref()));
        let (plans, next) = page.await?;
        Ok(Response::new(v1::ListPlansResponse { plans, next_page_token: pages.token(next) }))
    }

    async fn list_plan_files(
        &self,
        request: Request<v1::ListPlanFilesRequest>,
    ) -> Result<Response<v1::ListPlanFilesResponse>, Status> {
        Ok(Response::new(self.files.list(request.into_inner()).await?))
    }

    type GetPlanFileStream = FileParts;

    async fn get_plan_file(
        &self,
        request: Request<v1::GetPlanFileRequest>,
    ) -> Result<Response<FileParts>, Status> {
        Ok(Response::new(self.files.get(request.into_inner()).await?))
    }

    async fn compare_plans(
        &self,
        request: Request<v1::ComparePlansRequest>,
    ) -> Result<Response<v1::ComparePlansResponse>, Status> {
        let names = request.into_inner().names;
        if !(1..=COMPARED).contains(&names.len()) {
            let words = format!("has {} names: give 1 to {COMPARED}", names.len());
            return Err(invalid_field("names", words));
        }
        for (index, name) in names.iter().enumerate() {
            check_name(&format!("names[{index}]"), name, "plans")?;
        }
        Ok(Response::new(self.with_ledger(move |ledger| side_by_side(ledger, &names)).await?))
    }

    async fn update_plan(
        &self,
        request: Request<v1::UpdatePlanRequest>,
    ) -> Result<Response<v1::PlanJob>, Status> {
        let v1::UpdatePlanRequest { plan, update_mask } = request.into_inner();
        let v1::PlanJob { name, priority, .. } = plan.unwrap_or_default();
        check_name("plan.name", &name, "plans")?;
        let paths = update_mask.unwrap_or_default().paths;
        // `*` is all that can be changed (Google's AIP-134, "Standard methods: Update").
        if paths.is_empty() || paths.iter().any(|path| path != "priority" && path != "*") {
            return Err(invalid_field(
                "update_mask",
                "names something that cannot be changed, or nothing: give `priority`",
            ));
        }
        check_priority("plan.priority", priority)?;
        let update = move |workers: &Workers| -> Result<_, StoreError> {
            workers.prioritise(&name, priority)?;
            workers.ledger().job_with_plan(&name)
        };
        Ok(Response::new(self.with_workers(update).await?))
    }

    async fn extend_plan(
        &self,
        request: Request<v1::ExtendPlanRequest>,
    ) -> Result<Response<v1::PlanJob>, Status> {
        let owner = caller(&request).owner();
        let v1::ExtendPlanRequest { name, seconds, request_id: id } = request.into_inner();
        check_name("name", &name, "plans")?;
        let mut faults = Collector::default();
        let seconds = faults.number("seconds", seconds, 0.1, MOST_SECONDS, "seconds");
        let seconds = faults.finish(seconds).map_err(|f| invalid(&f))?;
        let request_id = request_id(id)?;
        let more = Extension { seconds, most_seconds: MOST_SECONDS, request_id, owner };
        let extend = move |workers: &Workers| -> Result<_, StoreError> {
            workers.extend(&name, &more)?;
            workers.ledger().job_with_plan(&name)
        };
        let job = self.with_workers(extend).await?;
        tracing::info!(job = job.name, seconds, "job given more time");
        Ok(Response::new(job))
    }

    async fn cancel_plan(
        &self,
        request: Request<v1::CancelPlanRequest>,
    ) -> Result<Response<v1::PlanJob>, Status> {
        let name = request.into_inner().name;
        check_name("name", &name, "plans")?;
        let cancel = move |workers: &Workers| -> Result<_, StoreError> {
            workers.cancel(&name)?;
            workers.ledger().job_with_plan(&name)
        };
        Ok(Response::new(self.with_workers(cancel).await?))
    }

    async fn delete_plan(
        &self,
        request: Request<v1::DeletePlanRequest>,
    ) -> Result<Response<Empty>, Status> {
        let name = request.into_inner().name;
        check_name("name", &name, "plans")?;
        self.with_ledger(move |ledger| ledger.remove_job(&name)).await?;
        Ok(Response::new(Empty {}))
    }
}
