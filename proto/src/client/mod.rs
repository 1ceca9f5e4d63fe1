//! A client of the service: signs in, sends files in chunks, follows jobs through broken connections, and gets
//! what is drawn of plans.
//!
//! ```no_run
//! use slitwright_proto::client::{Client, ClientError, Heard, Settings};
//! use slitwright_proto::v1;
//!
//! # async fn plan(token: String, authority: Vec<u8>) -> Result<(), ClientError> {
//! let client = Client::connect(
//!     Settings::new("https://plans.example:50151").token(token).authority(authority),
//! )
//! .await?;
//! let header = v1::UploadHeader {
//!     format: v1::MeshFormat::Stl.into(),
//!     unit: v1::LengthUnit::Millimetre.into(),
//!     ..Default::default()
//! };
//! let model = client.upload_file("jug.stl".as_ref(), header).await?;
//! let job = client.submit(&model.name, v1::PlanRequest::default()).await?;
//! let ended = client
//!     .watch(&job.name, |heard| match heard {
//!         Heard::Progress(progress) => println!("{}", progress.message),
//!         Heard::Better(plan) => println!("a plan of {:.0} mm", plan.length_mm),
//!     })
//!     .await?;
//! println!("{:?}", ended.plan.map(|plan| plan.total_length_mm));
//! let overview = client.file(&format!("{}/files/overview.png", job.name)).await?;
//! println!("{} bytes of {}", overview.bytes.len(), overview.file.media_type);
//! # Ok(())
//! # }
//! ```

mod error;
mod files;
mod retry;
mod settings;
mod upload;

use std::future::Future;

pub use error::{ClientError, FieldFault, Refusal};
pub use files::File;
pub use retry::Backoff;
pub use settings::Settings;

use tonic::metadata::{Ascii, MetadataValue};
use tonic::service::Interceptor;
use tonic::service::interceptor::InterceptedService;
use tonic::transport::Channel;
use tonic::{Request, Status};

use crate::v1;
use crate::v1::cut_planner_client::CutPlannerClient;
use retry::Retries;

/// Most bytes of one answer: a plan with many sheets takes some hundred kB.
const ANSWER: usize = 64 << 20;

/// What a watch hears before the end.
#[derive(Clone, Copy, Debug)]
pub enum Heard<'a> {
    /// The work went on.
    Progress(&'a v1::Progress),
    /// A better plan was found and is stored for good.
    Better(&'a v1::BetterPlan),
}

/// Who listens, and the last better plan that it was told of.
struct Listener<F> {
    on_news: F,
    better: u32,
}

/// The calls of the service as they are, signed with the token.
pub type Calls = CutPlannerClient<InterceptedService<Channel, Sign>>;

/// Puts the token into each call.
#[derive(Clone)]
pub struct Sign(Option<MetadataValue<Ascii>>);

impl Interceptor for Sign {
    fn call(&mut self, mut request: Request<()>) -> Result<Request<()>, Status> {
        if let Some(token) = &self.0 {
            request.metadata_mut().insert("authorization", token.clone());
        }
        Ok(request)
    }
}

/// A client of the service. Clones share the connection.
#[derive(Clone)]
pub struct Client {
    calls: Calls,
    backoff: Backoff,
}

impl Client {
    /// Connects and checks that someone is there.
    pub async fn connect(settings: Settings) -> Result<Self, ClientError> {
        let channel = settings.endpoint()?.connect().await.map_err(ClientError::Connect)?;
        let sign = Sign(settings.authorization()?);
        let calls =
            CutPlannerClient::with_interceptor(channel, sign).max_decoding_message_size(ANSWER);
        Ok(Self { calls, backoff: settings.backoff })
    }

    /// The calls as they are, for what has no method here.
    pub fn calls(&self) -> Calls {
        self.calls.clone()
    }

    /// Queues a plan. Names the request, so that asking again after a broken connection cannot make
    /// a second job.
    pub async fn submit(
        &self,
        model: &str,
        request: v1::PlanRequest,
    ) -> Result<v1::PlanJob, ClientError> {
        let asked = v1::SubmitPlanRequest {
            model: model.to_owned(),
            request: Some(request),
            request_id: format!("{:032x}", rand::random::<u128>()),
            priority: 0,
            ..Default::default()
        };
        self.repeat(|mut calls| {
            let asked = asked.clone();
            async move { calls.submit_plan(asked).await }
        })
        .await
    }

    /// A job, with its plan when it has one.
    pub async fn plan(&self, name: &str) -> Result<v1::PlanJob, ClientError> {
        self.repeat(|mut calls| {
            let asked = v1::GetPlanRequest { name: name.to_owned(), ..Default::default() };
            async move { calls.get_plan(asked).await }
        })
        .await
    }

    /// Asks a job to stop.
    pub async fn cancel(&self, name: &str) -> Result<v1::PlanJob, ClientError> {
        self.repeat(|mut calls| {
            let asked = v1::CancelPlanRequest { name: name.to_owned() };
            async move { calls.cancel_plan(asked).await }
        })
        .await
    }

    /// Follows a job to its end and returns it as it ended. When the connection breaks it is made
    /// anew, later and later, until nothing was heard for as many tries as [`Backoff`] says. Each better
    /// plan is told once, however often that happens.
    pub async fn watch(
        &self,
        name: &str,
        on_news: impl FnMut(Heard<'_>),
    ) -> Result<v1::PlanJob, ClientError> {
        let mut retries = Retries::new(self.backoff);
        let mut listener = Listener { on_news, better: 0 };
        loop {
            match self.watch_once(name, &mut listener, &mut retries).await {
                Ok(ended) => return Ok(ended),
                Err(status) => retries.after(status).await?,
            }
        }
    }

    async fn watch_once(
        &self,
        name: &str,
        listener: &mut Listener<impl FnMut(Heard<'_>)>,
        retries: &mut Retries,
    ) -> Result<v1::PlanJob, Status> {
        use v1::plan_event::Event;
        let asked = v1::WatchPlanRequest { name: name.to_owned(), cuts: false };
        let mut events = self.calls().watch_plan(asked).await?.into_inner();
        while let Some(event) = events.message().await? {
            retries.heard();
            match event.event {
                Some(Event::Progress(progress)) => (listener.on_news)(Heard::Progress(&progress)),
                Some(Event::Better(plan)) if plan.number > listener.better => {
                    listener.better = plan.number;
                    (listener.on_news)(Heard::Better(&plan));
                }
                Some(Event::Ended(job)) => return Ok(job),
                // Told before. A newer server may tell more.
                Some(Event::Better(_)) | None => {}
            }
        }
        Err(Status::unavailable("the stream closed before the job ended"))
    }

    /// Makes a call again as long as that may help. Only for calls whose repeat is harmless.
    async fn repeat<T, F>(&self, call: impl Fn(Calls) -> F) -> Result<T, ClientError>
    where
        F: Future<Output = Result<tonic::Response<T>, Status>>,
    {
        let mut retries = Retries::new(self.backoff);
        loop {
            match call(self.calls()).await {
                Ok(answer) => return Ok(answer.into_inner()),
                Err(status) => retries.after(status).await?,
            }
        }
    }
}
