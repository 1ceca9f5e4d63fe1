//! Keeps the comparison of girth model and release trial alive: three limbs, and what must be so of any.

use slitwright_tests::calibration::{Constants, Limb, Tally, compare, fit};

#[test]
fn three_limbs_are_compared() {
    let mut all = Vec::new();
    for seed in 0..3 {
        all.extend(compare(&Limb::new(seed), 3500).unwrap_or_else(|e| panic!("{seed}: {e}")));
    }
    let tally = Tally::of(&all, Constants::OF_PLANS);
    // More strain allowed never holds what less let out.
    let easy = Constants { zone: 0.03, tolerance: 0.3 };
    let strict = Constants { zone: 30.0, tolerance: -0.15 };
    assert!(all.iter().all(|c| c.predicted(easy) || !c.predicted(strict)));
    // What is planned passes by the girth model, and is cut.
    assert!(all.iter().any(|c| c.scheme == "plan" && c.top > 0.0));
    for c in all.iter().filter(|c| c.scheme == "plan") {
        assert!(c.predicted(Constants::OF_PLANS), "{}", c.seed);
        // The girth model errs towards more cut on limbs: what it lets out, the trial lets out. And cut
        // takes something away that holds the limb, so it never takes more pull.
        assert!(c.found(), "limb {}: {:?}", c.seed, c.trial.outcome);
        let uncut =
            all.iter().find(|o| o.seed == c.seed && o.scheme == "no cut").expect("looked at");
        let (cut, uncut) = (c.trial.greatest_pull(), uncut.trial.greatest_pull());
        assert!(cut <= uncut, "limb {}: {cut:.0} N cut, {uncut:.0} N uncut", c.seed);
    }
    assert_eq!(tally.false_passes, 0, "{tally:?}");
    // Constants fitted on what they are judged by are better wherever something was wrong.
    let fitted = fit(&all.iter().collect::<Vec<_>>());
    let better = Tally::of(&all, fitted);
    let loss = |t: Tally| 3 * t.false_passes + t.false_failures;
    assert!(loss(tally) > 0 && loss(better) < loss(tally), "{tally:?} {better:?}");
}

/// Each pair of what was predicted and what was found is counted where it belongs.
#[test]
fn pairs_are_counted_by_kind() {
    let mut tally = Tally::default();
    tally.add([(true, true), (false, false), (true, false), (false, true), (false, true)]);
    assert_eq!(tally, Tally { agree: 2, false_passes: 1, false_failures: 2 });
}
