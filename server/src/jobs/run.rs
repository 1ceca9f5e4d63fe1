//! One run: from a claimed job to its end, or back into the queue.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

use slitwright_proto::v1;
use slitwright_solver::control::Control;
use slitwright_solver::mesh::Model;
use slitwright_solver::plan::{Hooks, Plan, PlanRequest, StopReason};
use tonic::Code;

use super::hub::Hub;
use super::keeper::{Found, Keeper};
use super::slots::Strings;
use crate::convert::{is_cancelled, progress_to_proto, request_from_proto};
use crate::planner::{PlanFault, Planner};
use crate::store::{Checkpoint, Claimed, Ending, Ledger, ModelFault, Models, Run, StoreError};
use crate::text::shortened;

/// Most bytes of the words about a failure: everyone who lists plans gets them.
const FAILURE: usize = 2000;
/// How often a run looks whether what it could not store can be stored by now.
const AGAIN: Duration = Duration::from_millis(500);

/// What runs need.
pub struct Bench {
    /// Where what is found is kept.
    pub ledger: Arc<dyn Ledger>,
    /// Who follows.
    pub hub: Arc<Hub>,
    /// Models to plan on.
    pub models: Arc<Models>,
    /// Who plans.
    pub planner: Arc<dyn Planner>,
}

/// How a run came out.
enum Outcome {
    /// The job is over.
    Over(Box<Ending>),
    /// The job goes on some other time.
    Back,
}

/// What the solver made of it, and the seconds it took over all runs.
struct Worked {
    plan: Result<Plan, PlanFault>,
    used_seconds: f64,
}

impl Bench {
    /// Works on a job until it is over or the service goes down.
    pub fn work(&self, claimed: Claimed, strings: &Strings) {
        let best = claimed.job.best.map_or(0, |best| best.number);
        self.hub.begin(&claimed.run.job, best);
        strings.has_plan.store(best > 0, Ordering::SeqCst);
        let keeper =
            Keeper::new(Arc::clone(&self.ledger), Arc::clone(&self.hub), &claimed, strings.clone());
        let run = claimed.run.clone();
        match self.outcome(claimed, &keeper, strings) {
            Outcome::Over(ending) => self.end(&run, &ending, strings),
            Outcome::Back => self.give_back(&run, strings),
        }
    }

    fn outcome(&self, claimed: Claimed, keeper: &Keeper, strings: &Strings) -> Outcome {
        let Claimed { run, job, model, checkpoint } = claimed;
        let request = match request_from_proto(&job.request.unwrap_or_default(), "request") {
            Ok(request) => request,
            Err(faults) => {
                let text = format!(
                    "the request was taken by another version of this program and is refused by this one: {faults}"
                );
                return failed(keeper, Code::FailedPrecondition, text, 0.0);
            }
        };
        let model = match self.models.ready_until(&model, &strings.cancel) {
            Ok(model) => model,
            Err(ModelFault::Refused(error)) if is_cancelled(&error) => {
                let used_seconds = checkpoint.map_or(0.0, |checkpoint| checkpoint.used_seconds);
                let plan = Err(PlanFault::Cancelled);
                return settle(Worked { plan, used_seconds }, keeper, strings);
            }
            Err(ModelFault::Store(error)) if error.is_passing() => {
                tracing::error!(job = run.job, %error, "the model cannot be read at the moment");
                std::thread::sleep(AGAIN);
                return Outcome::Back;
            }
            Err(fault) => {
                let code = match fault {
                    ModelFault::Store(_) => Code::DataLoss,
                    ModelFault::Refused(_) => Code::FailedPrecondition,
                };
                return failed(keeper, code, fault.to_string(), 0.0);
            }
        };
        let used = checkpoint.as_ref().map_or(0.0, |checkpoint| checkpoint.used_seconds);
        tracing::info!(job = run.job, worked = used, "a run begins");
        let worked = if used >= request.budget.seconds + strings.time_given() {
            // Broken off between its last step and its end.
            Worked {
                plan: Err(PlanFault::NoPlan("its time is used up".to_owned())),
                used_seconds: used,
            }
        } else {
            self.plan(&run, &model, &request, checkpoint.as_ref(), keeper, strings)
        };
        settle(worked, keeper, strings)
    }

    fn plan(
        &self,
        run: &Run,
        model: &Model,
        request: &PlanRequest,
        from: Option<&Checkpoint>,
        keeper: &Keeper,
        strings: &Strings,
    ) -> Worked {
        let used = from.map_or(0.0, |from| from.used_seconds);
        let control = Control::new(strings.cancel.clone(), |progress| {
            keeper.progress(progress_to_proto(&progress), progress.elapsed_seconds);
        })
        .after(Duration::try_from_secs_f64(used).unwrap_or_default())
        .with_pause(strings.pause.clone())
        .with_extra(strings.extra.clone());
        let elapsed = || control.elapsed().as_secs_f64();
        let hooks = Hooks {
            resume: from.map(|from| from.bytes.as_slice()),
            checkpoint: Some(&|bytes| keeper.checkpoint(bytes, elapsed())),
            better: Some(&|plan| keeper.better(plan, elapsed())),
        };
        // A fault in the solver must cost this job only. What it leaves half done is its own; the
        // keeper's state is whole at any moment.
        let planned =
            catch_unwind(AssertUnwindSafe(|| self.planner.plan(model, request, &control, &hooks)));
        let planned = planned.unwrap_or_else(|_panic| {
            tracing::error!(job = run.job, "the solver panicked");
            Err(PlanFault::Internal(
                "the solver stopped on a fault of its own; the server goes on. Please report it with the model and the request."
                    .to_owned(),
            ))
        });
        if let (Err(PlanFault::Checkpoint(text)), Some(_)) = (&planned, from) {
            tracing::warn!(job = run.job, text, "the work starts over");
            return self.plan(run, model, request, None, keeper, strings);
        }
        Worked { plan: planned, used_seconds: elapsed() }
    }

    /// Ends the job, as soon as that can be stored.
    fn end(&self, run: &Run, ending: &Ending, strings: &Strings) {
        self.hand_in(run, strings, || {
            let state = self.ledger.end(run, ending)?;
            tracing::info!(job = run.job, state = state.as_str_name(), "the run is over");
            Ok(())
        });
    }

    /// Gives the job back, as soon as that can be stored. Until then nobody else has it, unless its
    /// lease is over.
    fn give_back(&self, run: &Run, strings: &Strings) {
        self.hand_in(run, strings, || {
            self.ledger.give_back(run)?;
            tracing::info!(job = run.job, "the job waits to go on");
            Ok(())
        });
    }

    fn hand_in(&self, run: &Run, strings: &Strings, store: impl Fn() -> Result<(), StoreError>) {
        loop {
            match store() {
                Ok(()) => break,
                Err(error) if error.is_passing() && !strings.is_in_a_hurry() => {
                    tracing::error!(job = run.job, %error, "how the run came out is not stored yet");
                    std::thread::sleep(AGAIN);
                }
                Err(error) => break lost(run, &error),
            }
        }
        self.hub.turn(&run.job);
    }
}

/// Nothing that was stored is lost: the next start takes the job up from its last checkpoint.
fn lost(run: &Run, error: &StoreError) {
    match error {
        StoreError::RunLost(_) => {
            tracing::info!(job = run.job, "the job had ended or gone elsewhere")
        }
        _ => tracing::error!(job = run.job, %error, "how the run came out is not stored"),
    }
}

/// What becomes of the job.
fn settle(worked: Worked, keeper: &Keeper, strings: &Strings) -> Outcome {
    let Worked { plan, used_seconds } = worked;
    let over = |state, found: Option<Found>, time_given| {
        let (plan, record) = found.map_or((None, None), |Found { figures, message, record }| {
            (Some((figures, message)), record)
        });
        Outcome::Over(Box::new(Ending {
            state,
            used_seconds,
            progress: keeper.last_progress(),
            plan,
            record,
            failure: None,
            time_given,
        }))
    };
    match plan {
        Ok(plan) => {
            let stopped_by = plan.ending.stopped_by;
            if stopped_by == StopReason::Cancelled && strings.is_leaving() {
                keeper.better(&plan, used_seconds);
                return Outcome::Back;
            }
            let state = match stopped_by {
                StopReason::Cancelled => v1::JobState::Cancelled,
                _ => v1::JobState::Succeeded,
            };
            let out_of_time = stopped_by == StopReason::TimeBudget;
            let time_given = out_of_time.then(|| keeper.time_given());
            over(state, keeper.closing_plan(&plan, used_seconds), time_given)
        }
        Err(PlanFault::Cancelled) if strings.is_leaving() => Outcome::Back,
        Err(PlanFault::Cancelled) => over(v1::JobState::Cancelled, None, None),
        // A run that has found nothing better leaves the plan of those before it.
        Err(PlanFault::NoPlan(_)) if keeper.best().is_some() => {
            over(v1::JobState::Succeeded, None, Some(keeper.time_given()))
        }
        // Given more time it goes on.
        Err(PlanFault::NoPlan(text)) => failed(keeper, Code::DeadlineExceeded, text, used_seconds),
        Err(PlanFault::Unfit(text)) => failed(keeper, Code::FailedPrecondition, text, used_seconds),
        Err(PlanFault::Internal(text) | PlanFault::Checkpoint(text)) => {
            failed(keeper, Code::Internal, text, used_seconds)
        }
    }
}

fn failed(keeper: &Keeper, code: Code, message: String, used_seconds: f64) -> Outcome {
    Outcome::Over(Box::new(Ending {
        state: v1::JobState::Failed,
        used_seconds,
        progress: keeper.last_progress(),
        plan: None,
        record: None,
        failure: Some(v1::Failure { code: code.into(), message: shortened(&message, FAILURE) }),
        time_given: None,
    }))
}
