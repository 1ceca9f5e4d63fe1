//! What every ledger has to do, asked of the one in a folder and of the one in a shared database.

use std::collections::HashSet;
use std::sync::Arc;

use slitwright_proto::v1;
use slitwright_proto::v1::JobState;
use slitwright_server::StoreLimits;
use slitwright_server::store::{
    CancelRunning, Claimed, DatabaseConfig, Ending, Extension, Folder, FolderFiles, Ledger,
    Listing, ModelEntry, ModelFiles, NewJob, Owner, PostgresLedger, Run, Step, StoreError, digest,
};
use slitwright_tests::TestDatabase;
use tonic::Code;

/// Where a ledger is.
enum Place {
    Folder(tempfile::TempDir),
    Database(Box<TestDatabase>),
}

/// An open ledger.
struct Kept {
    place: Place,
    ledger: Arc<dyn Ledger>,
    files: Arc<dyn ModelFiles>,
    // Held as long as the ledger is open.
    _folder: Option<Folder>,
}

impl Kept {
    fn open(place: Place, limits: StoreLimits) -> Self {
        match &place {
            Place::Folder(path) => {
                let folder = Folder::open(path.path()).expect("free");
                let ledger = Arc::new(folder.ledger(limits).expect("opened"));
                let content = folder.content().expect("opened");
                let files = FolderFiles::new(Arc::clone(&ledger), content).expect("opened");
                Self { place, ledger, files: Arc::new(files), _folder: Some(folder) }
            }
            Place::Database(database) => {
                let config = DatabaseConfig::new(&database.url(), None).expect("an address");
                let ledger = Arc::new(PostgresLedger::open(config, limits).expect("opened"));
                Self { place, files: Arc::<PostgresLedger>::clone(&ledger), ledger, _folder: None }
            }
        }
    }

    /// As if the process that works had fallen, and another one came.
    fn fall(self, limits: StoreLimits) -> Self {
        let Self { place, ledger, files, _folder } = self;
        ledger.close();
        drop((ledger, files, _folder));
        if let Place::Database(database) = &place {
            database.run("UPDATE slitwright.jobs SET lease_end = 0");
        }
        let next = Self::open(place, limits);
        next.ledger.recover().expect("looked through");
        next
    }
}

/// Does the same with each kind.
fn with_each(limits: StoreLimits, test: impl Fn(Kept)) {
    let folder = tempfile::tempdir().expect("a folder");
    for place in [Place::Folder(folder), Place::Database(Box::default())] {
        test(Kept::open(place, limits));
    }
}

fn model(name: &str, file: &[u8]) -> ModelEntry {
    let message = v1::Model {
        name: format!("models/{name}"),
        size_bytes: file.len() as u64,
        sha256: digest(file),
        ..Default::default()
    };
    ModelEntry { message, options: v1::PrepareOptions::default() }
}

fn job(name: &str) -> NewJob {
    NewJob {
        name: format!("plans/{name}"),
        model: "models/plinth".to_owned(),
        request: v1::PlanRequest::default(),
        request_id: None,
        priority: 0,
        seconds: 60.0,
        owner: None,
    }
}

fn with_model(kept: &Kept) {
    kept.files.add(&model("plinth", b"a plinth"), None, b"a plinth").expect("kept");
}

fn claimed(kept: &Kept) -> Claimed {
    kept.ledger.claim(None).expect("claimed").expect("a job")
}

fn ending(state: JobState) -> Ending {
    let (progress, plan, record, failure, time_given) = (None, None, None, None, None);
    Ending { state, used_seconds: 9.0, progress, plan, record, failure, time_given }
}

fn better(number: u32, cost_mm: f64) -> (v1::BetterPlan, v1::Plan) {
    let figures = v1::BetterPlan { number, cost_mm, ..Default::default() };
    (figures, v1::Plan { cost_mm, ..Default::default() })
}

fn state_of(kept: &Kept, name: &str) -> JobState {
    kept.ledger.job(&format!("plans/{name}")).expect("there").state()
}

#[test]
fn a_job_goes_from_the_queue_to_its_end_over_several_runs() {
    with_each(StoreLimits::default(), |kept| {
        let ledger = kept.ledger.as_ref();
        assert_eq!(ledger.submit(&job("a")), Err(StoreError::NoModel("models/plinth".to_owned())));
        with_model(&kept);
        let asked = NewJob { request_id: Some("order 17".to_owned()), ..job("a") };
        let queued = ledger.submit(&asked).expect("queued");
        assert_eq!(queued.state(), JobState::Queued);
        let again = NewJob { name: "plans/b".to_owned(), ..asked.clone() };
        assert_eq!(ledger.submit(&again).as_ref(), Ok(&queued), "a repeat is no second job");
        assert_eq!(ledger.submitted(&again), Ok(Some(queued)));
        let other = NewJob {
            request: v1::PlanRequest { areas: Some(Default::default()), ..Default::default() },
            ..again
        };
        assert!(matches!(ledger.submit(&other), Err(StoreError::RequestIdTaken { .. })));

        let first = claimed(&kept);
        assert_eq!((first.job.state(), &first.checkpoint), (JobState::Running, &None));
        assert_eq!(first.model, model("plinth", b"a plinth"));
        assert!(ledger.claim(None).expect("looked").is_none(), "it is taken");
        let found = better(1, 80.0);
        let report = v1::Progress { rounds: 3, ..Default::default() };
        let step = Step {
            used_seconds: 2.5,
            progress: Some(&report),
            checkpoint: Some(b"round 3"),
            better: Some((&found.0, &found.1)),
            record: Some(b"plan 1 in full"),
        };
        let orders = ledger.keep(&first.run, &step).expect("kept");
        assert_eq!((orders.cancel, orders.extra_seconds), (false, 0.0));
        let in_full = || ledger.job_with_record("plans/a").expect("there").1;
        assert_eq!(in_full().as_deref(), Some(&b"plan 1 in full"[..]));
        ledger.keep(&first.run, &Step { used_seconds: 4.0, ..Step::default() }).expect("kept");
        assert!(in_full().is_some(), "nothing was said of it");
        ledger.give_back(&first.run).expect("given back");
        let lost = Err(StoreError::RunLost("plans/a".to_owned()));
        assert_eq!(ledger.keep(&first.run, &step), lost);

        let second = claimed(&kept);
        assert!(second.run.number > first.run.number);
        let checkpoint = second.checkpoint.as_ref().expect("where it was");
        assert_eq!((checkpoint.bytes.as_slice(), checkpoint.used_seconds), (&b"round 3"[..], 2.5));
        assert_eq!(second.job.used_seconds, 2.5, "time that led nowhere is not counted");
        assert_eq!((second.job.best, &second.job.progress), (Some(found.0), &Some(report.clone())));
        assert_eq!(ledger.keep(&first.run, &step), lost, "it is the second one's by now");
        assert_eq!(
            ledger.end(&first.run, &ending(JobState::Succeeded)),
            Err(StoreError::RunLost("plans/a".to_owned()))
        );
        let again = Step { better: Some((&found.0, &found.1)), ..Step::default() };
        ledger.keep(&second.run, &again).expect("kept");
        assert!(in_full().is_some(), "it is the same plan");
        let last = Ending { plan: Some(better(2, 70.0)), ..ending(JobState::Succeeded) };
        assert_eq!(ledger.end(&second.run, &last), Ok(JobState::Succeeded));
        assert!(ledger.end(&second.run, &last).is_err(), "once is enough");

        let ended = ledger.job_with_plan("plans/a").expect("there");
        assert_eq!(ended.plan.map(|plan| plan.cost_mm), Some(70.0));
        let times = [ended.submit_time, ended.start_time, ended.end_time]
            .map(|time| time.map(|at| (at.seconds, at.nanos)));
        assert!(times.is_sorted() && times[0].is_some(), "{times:?}");
        assert_eq!(in_full(), None, "what is there is of another plan");
        let plans = ledger.better_plans("plans/a", 1).expect("there");
        assert_eq!(plans.iter().map(|plan| plan.number).collect::<Vec<_>>(), [2]);
        assert_eq!(ledger.counts().expect("counted").jobs, [(JobState::Succeeded, 1)]);
        ledger.remove_job("plans/a").expect("removed");
        assert_eq!(ledger.job("plans/a"), Err(StoreError::NoJob("plans/a".to_owned())));
    });
}

#[test]
fn turns_go_by_priority_and_quick_jobs_may_be_taken_by_themselves() {
    with_each(StoreLimits::default(), |kept| {
        with_model(&kept);
        for (name, priority, seconds) in [("a", 0, 60.0), ("b", 2, 600.0), ("c", 0, 5.0)] {
            let asked = NewJob { priority, seconds, ..job(name) };
            kept.ledger.submit(&asked).expect("queued");
        }
        let quick = kept.ledger.claim(Some(10.0)).expect("claimed").expect("a quick one");
        assert_eq!(quick.run.job, "plans/c");
        assert!(kept.ledger.claim(Some(10.0)).expect("looked").is_none());
        kept.ledger.prioritise("plans/a", 5).expect("moved");
        assert_eq!(claimed(&kept).run.job, "plans/a");
        assert_eq!(claimed(&kept).run.job, "plans/b");
    });
}

#[test]
fn what_others_want_reaches_the_run() {
    with_each(StoreLimits::default(), |kept| {
        let ledger = kept.ledger.as_ref();
        with_model(&kept);
        for name in ["a", "b", "c"] {
            ledger.submit(&job(name)).expect("queued");
        }
        let [a, b, _] = [claimed(&kept), claimed(&kept), claimed(&kept)].map(|one| one.run);
        ledger.cancel("plans/a", CancelRunning::AtOnce).expect("cancelled");
        assert_eq!(state_of(&kept, "a"), JobState::Cancelled);
        let step = Step::default();
        assert!(matches!(ledger.keep(&a, &step), Err(StoreError::RunLost(_))));

        let more = |seconds, id: &str| Extension {
            seconds,
            most_seconds: 100.0,
            request_id: Some(id.to_owned()),
            owner: None,
        };
        assert!(ledger.extend("plans/b", &more(30.0, "x")).expect("more time").1);
        assert!(!ledger.extend("plans/b", &more(30.0, "x")).expect("a repeat").1);
        let other = ledger.extend("plans/b", &more(20.0, "x"));
        assert!(matches!(other, Err(StoreError::RequestIdTaken { .. })), "{other:?}");
        let refused = ledger.extend("plans/b", &more(30.0, "y"));
        assert!(matches!(refused, Err(StoreError::TooMuchTime { .. })));
        assert_eq!(ledger.keep(&b, &step).map(|orders| orders.extra_seconds), Ok(30.0));
        // A run that did not hear of it ends, and the job waits again for the rest of its time.
        let unheard = Ending { time_given: Some(0.0), ..ending(JobState::Succeeded) };
        assert_eq!(ledger.end(&b, &unheard), Ok(JobState::Queued));
        let b = claimed(&kept).run;
        ledger.cancel("plans/b", CancelRunning::ByItsRun).expect("asked");
        assert_eq!(ledger.keep(&b, &step).map(|orders| orders.cancel), Ok(true));
        ledger.give_back(&b).expect("given back");
        assert_eq!(state_of(&kept, "b"), JobState::Cancelled, "nobody goes on with it");
        // One that has ended waits again when it gets more.
        assert!(ledger.extend("plans/b", &more(5.0, "z")).expect("more time").1);
        assert_eq!(state_of(&kept, "b"), JobState::Queued);
        // So does one that has failed for want of time, and no other that has failed.
        for (code, goes_on) in [(Code::DeadlineExceeded, true), (Code::FailedPrecondition, false)] {
            let b = claimed(&kept).run;
            let failure = Some(v1::Failure { code: code.into(), message: "why".to_owned() });
            let failed = Ending { failure, ..ending(JobState::Failed) };
            assert_eq!(ledger.end(&b, &failed), Ok(JobState::Failed));
            let given = ledger.extend("plans/b", &more(1.0, &format!("{code:?}")));
            match given {
                Ok((job, new)) => assert_eq!((job.failure, new, goes_on), (None, true, true)),
                Err(error) => assert!(matches!(error, StoreError::JobFailed(_)) && !goes_on),
            }
        }
    });
}

#[test]
fn a_job_whose_processes_fall_ends_as_failed_unless_it_gets_further() {
    let limits = StoreLimits::default();
    assert_eq!(limits.lost_runs, 3);
    with_each(limits, |mut kept| {
        with_model(&kept);
        kept.ledger.submit(&job("poison")).expect("queued");
        let fall = |kept: Kept, further: bool| {
            let run = claimed(&kept).run;
            if further {
                let step = Step { checkpoint: Some(b"x"), ..Step::default() };
                kept.ledger.keep(&run, &step).expect("kept");
            }
            let kept = kept.fall(limits);
            let late = kept.ledger.keep(&run, &Step::default());
            assert!(matches!(late, Err(StoreError::RunLost(_))), "{late:?}");
            kept
        };
        for further in [false, false, true, false] {
            kept = fall(kept, further);
            assert_eq!(state_of(&kept, "poison"), JobState::Queued);
        }
        // A stop in good order is no fault of the job's, nor does it make up for one.
        let run = claimed(&kept).run;
        kept.ledger.give_back(&run).expect("given back");
        kept = fall(kept, false);
        let failed = kept.ledger.job("plans/poison").expect("there");
        assert_eq!(failed.state(), JobState::Failed);
        let failure = failed.failure.expect("why");
        assert!(failure.message.contains("fell 3 times"), "{failure:?}");
        assert!(failed.end_time.is_some());
        assert!(kept.ledger.claim(None).expect("looked").is_none());
        // One that was to stop anyway is cancelled.
        kept.ledger.submit(&job("b")).expect("queued");
        claimed(&kept);
        kept.ledger.cancel("plans/b", CancelRunning::ByItsRun).expect("asked");
        kept = kept.fall(limits);
        assert_eq!(state_of(&kept, "b"), JobState::Cancelled);
    });
}

#[test]
fn owners_have_limits_that_outlive_the_process() {
    let limits = StoreLimits::default();
    with_each(limits, |kept| {
        let owner = |name: &str| {
            let name = name.to_owned();
            Some(Owner { name, most_jobs: Some(2), most_model_bytes: Some(20) })
        };
        let add = |kept: &Kept, name: &str, of: &str| {
            kept.files.add(&model(name, b"a plinth"), owner(of).as_ref(), b"a plinth")
        };
        add(&kept, "plinth", "a").expect("8 bytes");
        add(&kept, "second", "a").expect("16 bytes");
        let of = |name: &str, who: &str| NewJob { owner: owner(who), ..job(name) };
        kept.ledger.submit(&of("1", "a")).expect("the first");
        let second = NewJob { request_id: Some("2".to_owned()), ..of("2", "a") };
        kept.ledger.submit(&second).expect("the second");
        claimed(&kept);

        let kept = kept.fall(limits);
        assert!(matches!(add(&kept, "third", "a"), Err(StoreError::TooManyBytes { .. })));
        let room = kept.ledger.check_room(5, owner("a").as_ref());
        assert!(matches!(room, Err(StoreError::TooManyBytes { .. })), "{room:?}");
        assert_eq!(kept.ledger.check_room(4, owner("a").as_ref()), Ok(()));
        add(&kept, "third", "b").expect("another's");
        let full = kept.ledger.submit(&of("3", "a"));
        assert!(matches!(full, Err(StoreError::TooManyJobs { most: 2, .. })), "{full:?}");
        kept.ledger.submit(&second).expect("a repeat needs no place");
        kept.ledger.submit(&of("3", "b")).expect("another's");
        kept.ledger.submit(&job("4")).expect("nobody's");
        kept.ledger.cancel("plans/2", CancelRunning::AtOnce).expect("cancelled");
        kept.ledger.submit(&of("5", "a")).expect("there is a place again");
        // So an ended one cannot go on beside the two.
        let more = |who| Extension {
            seconds: 1.0,
            most_seconds: 100.0,
            request_id: None,
            owner: owner(who),
        };
        let full = kept.ledger.extend("plans/2", &more("a"));
        assert!(matches!(full, Err(StoreError::TooManyJobs { .. })), "{full:?}");
        kept.ledger.extend("plans/2", &more("b")).expect("it is b's now");
        let full = kept.ledger.submit(&of("6", "b"));
        assert!(matches!(full, Err(StoreError::TooManyJobs { .. })), "{full:?}");
        kept.files.remove("models/second").expect("removed");
        add(&kept, "fourth", "a").expect("there is room again");
    });
}

#[test]
fn models_share_files_and_the_last_one_takes_it_along() {
    let limits = StoreLimits { models: 3, model_bytes: 3 << 20, ..StoreLimits::default() };
    with_each(limits, |kept| {
        // More than a part of it, and not a whole number of them.
        let file: Vec<u8> = (0..(5 << 18) + 7).map(|k: u32| (k % 251) as u8).collect();
        let sum = digest(&file);
        for name in ["plinth", "other"] {
            kept.files.add(&model(name, &file), None, &file).expect("kept");
        }
        assert_eq!(kept.files.read(&sum).as_ref(), Ok(&file));
        let counts = kept.ledger.counts().expect("counted");
        assert_eq!((counts.models, counts.model_bytes), (2, file.len() as u64));
        let big = vec![7; 2 << 20];
        let full = kept.files.add(&model("big", &big), None, &big);
        assert!(matches!(full, Err(StoreError::ModelsFull(_))), "{full:?}");
        assert!(matches!(kept.files.read(&digest(&big)), Err(StoreError::Damaged(_))));
        kept.files.add(&model("small", b"small"), None, b"small").expect("kept");
        let full = kept.files.add(&model("fourth", b"small"), None, b"small");
        assert!(matches!(full, Err(StoreError::ModelsFull(_))), "{full:?}");
        assert!(kept.files.read(&digest(b"small")).is_ok(), "another model has it");

        kept.ledger.submit(&job("a")).expect("queued");
        let used = kept.files.remove("models/plinth");
        assert!(matches!(used, Err(StoreError::ModelInUse { .. })), "{used:?}");
        kept.ledger.cancel("plans/a", CancelRunning::AtOnce).expect("cancelled");
        kept.files.remove("models/plinth").expect("removed");
        assert_eq!(kept.files.read(&sum).as_ref(), Ok(&file));
        kept.files.remove("models/other").expect("removed");
        assert!(matches!(kept.files.read(&sum), Err(StoreError::Damaged(_))));
        let gone = kept.files.remove("models/other");
        assert_eq!(gone, Err(StoreError::NoModel("models/other".to_owned())));
    });
}

#[test]
fn lists_come_in_pages_and_the_oldest_are_forgotten() {
    let limits = StoreLimits { ended_jobs: 2, waiting_jobs: 5, ..StoreLimits::default() };
    with_each(limits, |kept| {
        with_model(&kept);
        for name in ["a", "b", "c", "d", "e"] {
            kept.ledger.submit(&job(name)).expect("queued");
        }
        assert_eq!(kept.ledger.submit(&job("f")), Err(StoreError::QueueFull(5)));
        let names = |after, most| {
            let listing = Listing { after: Some(after), most, ..Listing::default() };
            let page = kept.ledger.jobs(&listing).expect("a page");
            (page.items.into_iter().map(|job| job.name).collect::<Vec<_>>(), page.next)
        };
        let (first, next) = names(0, 3);
        assert_eq!(first, ["plans/a", "plans/b", "plans/c"]);
        let (rest, end) = names(next.expect("there are more"), 3);
        assert_eq!((rest, end), (vec!["plans/d".to_owned(), "plans/e".to_owned()], None));
        assert_eq!(names(u64::MAX, 3), (Vec::new(), None));
        for name in ["c", "a", "b"] {
            kept.ledger.cancel(&format!("plans/{name}"), CancelRunning::AtOnce).expect("ended");
        }
        assert_eq!(kept.ledger.forget_old(), Ok(1));
        assert_eq!(names(0, 9).0.len(), 4);
        let models = kept.ledger.models(0, 1).expect("a page");
        assert_eq!((models.items.len(), models.next), (1, None));
    });
}

/// What a plan says of why the search stopped goes by how its job stands, whatever was stored with it.
#[test]
fn a_plan_tells_of_its_own_job() {
    use v1::StopReason as Reason;
    with_each(StoreLimits::default(), |kept| {
        with_model(&kept);
        let told = |name: &str| {
            let plan = kept.ledger.job_with_plan(name).expect("there").plan;
            plan.expect("a plan").stopped_by()
        };
        let found = |reason: Reason| {
            let (figures, plan) = better(1, 80.0);
            (figures, v1::Plan { stopped_by: reason.into(), ..plan })
        };
        for (name, stored, at_the_end) in [
            ("a", Reason::Stalled, Reason::Stalled),
            ("b", Reason::Cancelled, Reason::TimeLimit),
            ("c", Reason::Judged, Reason::Judged),
        ] {
            kept.ledger.submit(&job(name)).expect("queued");
            let run = claimed(&kept).run;
            let (figures, plan) = found(stored);
            let step = Step { better: Some((&figures, &plan)), ..Step::default() };
            kept.ledger.keep(&run, &step).expect("kept");
            let running = if stored == Reason::Judged { stored } else { Reason::NotYet };
            assert_eq!(told(&run.job), running);
            kept.ledger.end(&run, &ending(JobState::Succeeded)).expect("ended");
            assert_eq!(told(&run.job), at_the_end);
        }
        kept.ledger.submit(&job("d")).expect("queued");
        let run = claimed(&kept).run;
        let (figures, plan) = found(Reason::Stalled);
        let step = Step { better: Some((&figures, &plan)), ..Step::default() };
        kept.ledger.keep(&run, &step).expect("kept");
        kept.ledger.cancel(&run.job, CancelRunning::AtOnce).expect("cancelled");
        assert_eq!(told(&run.job), Reason::Cancelled);
    });
}

#[test]
fn a_job_is_claimed_once_however_many_ask() {
    with_each(StoreLimits::default(), |kept| {
        with_model(&kept);
        for k in 0..60 {
            kept.ledger.submit(&job(&k.to_string())).expect("queued");
        }
        let claims: Vec<Run> = std::thread::scope(|scope| {
            let threads: Vec<_> = (0..6)
                .map(|_| {
                    scope.spawn(|| {
                        let mut mine = Vec::new();
                        while let Some(claimed) = kept.ledger.claim(None).expect("claimed") {
                            mine.push(claimed.run);
                        }
                        mine
                    })
                })
                .collect();
            threads.into_iter().flat_map(|thread| thread.join().expect("no panic")).collect()
        });
        let names: HashSet<_> = claims.iter().map(|run| run.job.clone()).collect();
        assert_eq!((claims.len(), names.len()), (60, 60));
    });
}
