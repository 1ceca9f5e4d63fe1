//! Keeps the comparison of girth model and release trial alive: three limbs, and what must be so of any.

use slitwright_tests::calibration::{Constants, Limb, Tally, compare, fit};

#[test]
fn three_limbs_are_compared() {
    let mut all = Vec::new();
    for seed in 0..3 {
        all.extend(compare(&Limb::new(seed), 3500).unwrap_or_else(|e| panic!("{seed}: {e}")));
    }
    let tally = Tally::of(&all, Constants::OF_PLANS);
    assert_eq!(tally.agree + tally.false_passes + tally.false_failures, all.len());
    // More strain allowed never holds what less let out.
    let easy = Constants { zone: 0.03, tolerance: 0.3 };
    let strict = Constants { zone: 30.0, tolerance: -0.15 };
    assert!(all.iter().all(|c| c.predicted(easy) || !c.predicted(strict)));
    // What is planned passes by the girth model, and is cut.
    assert!(all.iter().any(|c| c.scheme == "plan" && c.top > 0.0));
    for c in all.iter().filter(|c| c.scheme == "plan") {
        assert!(c.predicted(Constants::OF_PLANS), "{}", c.seed);
    }
    let fitted = fit(&all.iter().collect::<Vec<_>>());
    let better = Tally::of(&all, fitted);
    let loss = |t: Tally| 3 * t.false_passes + t.false_failures;
    assert!(loss(better) <= loss(tally));
}
