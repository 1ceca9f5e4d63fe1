//! The girth model against the release trial over a family of random limbs:
//! `cargo bench -p slitwright-tests --bench release_calibration --profile dev -- 32 4000`
//! (limbs, elements). With `pieces 60` in their place: over demo pieces and open meshes, 60 s for each trial,
//! of the pieces whose names follow, or of all.
//!
//! Prints every case, then agreements, false passes (the girth model says that it comes off, the trial
//! that it is stuck) and false failures, with a plan's constants and with those fitted on limbs of every
//! other pair, told on the rest.

mod pieces;

use std::process::ExitCode;

use slitwright_tests::calibration::{Comparison, Constants, Limb, Tally, compare, fit};
use slitwright_tests::{bench_words, ended};

fn main() -> ExitCode {
    let words = bench_words();
    let asked: Result<Vec<u64>, _> = words.iter().map(|w| w.parse()).collect();
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let result = match asked.as_deref() {
        _ if words.first() == Some(&"pieces") => match words.get(1).map(|w| w.parse()) {
            Some(Ok(seconds)) => pieces::all(seconds, &words[2..]),
            _ => Err("give the seconds of each trial after `pieces`".to_owned()),
        },
        Ok([]) => all(32, 4000),
        Ok(&[limbs, elements]) => all(limbs, elements as usize),
        Ok(_) => Err("give the number of limbs and of elements, or nothing".to_owned()),
        Err(error) => Err(error.to_string()),
    };
    ended("release_calibration", result)
}

fn all(limbs: u64, elements: usize) -> Result<(), String> {
    let mut comparisons: Vec<Comparison> = Vec::new();
    println!(
        "{:>4} {:<8} {:>7} {:>8} {:>9} {:>8} {:>9} {:>8}  predicted found",
        "limb", "cut", "top mm", "elements", "overlap", "99 %", "greatest", "pull N"
    );
    for seed in 0..limbs {
        let limb = Limb::new(seed);
        let found = match compare(&limb, elements) {
            Ok(found) => found,
            Err(error) => {
                println!("{seed:>4} left out: {error}");
                continue;
            }
        };
        for c in found {
            let t = &c.trial;
            let pull = t.pull.iter().map(|p| p.force).fold(0.0, f64::max);
            println!(
                "{:>4} {:<8} {:>7.1} {:>8} {:>9.2} {:>8.2} {:>9.2} {:>8.1}  {:<9} {:?}",
                c.seed,
                c.scheme,
                c.top,
                t.mesh.elements,
                t.overlap,
                t.stretch_99,
                t.greatest_stretch,
                pull,
                c.predicted(Constants::OF_PLANS),
                t.outcome
            );
            comparisons.push(c);
        }
    }
    for scheme in ["no cut", "plan", "60 %"] {
        for (mould, odd) in [("block", 0), ("blanket", 1)] {
            let these = comparisons.iter().filter(|c| c.scheme == scheme && c.seed % 2 == odd);
            println!("{scheme}, {mould}: {:?}", Tally::of(these, Constants::OF_PLANS));
        }
    }
    let half = |first: bool| -> Vec<&Comparison> {
        comparisons.iter().filter(|c| (c.seed / 2).is_multiple_of(2) == first).collect()
    };
    let (fitted_on, rest) = (half(true), half(false));
    let constants = fit(&fitted_on);
    for (name, constants) in [("as in plans", Constants::OF_PLANS), ("fitted", constants)] {
        println!(
            "{name}: {constants:?}: first half {:?}, other half {:?}",
            Tally::of(fitted_on.iter().copied(), constants),
            Tally::of(rest.iter().copied(), constants)
        );
    }
    Ok(())
}
