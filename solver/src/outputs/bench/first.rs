//! The first page: whether the model comes out, what to mind, cautions.

use super::blocks::{Block, plain};
use crate::outputs::cautions::CAUTIONS;
use crate::outputs::trial_words::{trial_doubts, trial_verdict};
use crate::outputs::verdict::verdict;
use crate::outputs::words::sentence;
use crate::plan::{NotTried, Plan, TrialVerdict};

/// The verdict first, then limits missed and warnings, then the cautions.
pub(super) fn page(plan: &Plan, title: &str) -> Vec<Block> {
    let mut blocks = vec![
        Block::Title(title.to_owned()),
        Block::Loud(sentence(&plain(&verdict(plan)))),
        Block::Text(sentence(&plain(&tried(&plan.trial)))),
    ];
    let missed = plan.limits.iter().filter(|limit| !limit.met);
    let mut mind: Vec<String> = missed
        .map(|limit| sentence(&plain(&format!("LIMIT MISSED, {}: {}", limit.name, limit.text))))
        .collect();
    if let TrialVerdict::Ran(trial) = &plan.trial {
        mind.extend(trial_doubts(&trial.report));
    }
    mind.extend(plan.warnings.iter().map(|warning| sentence(&plain(warning))));
    if !mind.is_empty() {
        blocks.push(Block::Mind(mind));
    }
    let cautions = CAUTIONS.map(|caution| (caution.about.to_owned(), plain(caution.text)));
    blocks.push(Block::Cautions(cautions.to_vec()));
    blocks
}

/// How the trial ended, or why there was none.
fn tried(verdict: &TrialVerdict) -> String {
    match verdict {
        TrialVerdict::Ran(trial) => trial_verdict(trial),
        TrialVerdict::NotRun(NotTried::NotAsked) => {
            "Nobody asked for a release trial: whether the model comes out rests on girths alone"
                .to_owned()
        }
        TrialVerdict::NotRun(NotTried::NotYet) => {
            "The release was not tried yet: the work goes on".to_owned()
        }
        TrialVerdict::NotRun(NotTried::Stopped) => {
            "The release was not tried: the work was stopped or time was up".to_owned()
        }
        TrialVerdict::NotRun(NotTried::Failed { message }) => {
            format!("The release was not tried: {message}")
        }
    }
}
