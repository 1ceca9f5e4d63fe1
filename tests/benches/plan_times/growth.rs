//! How the time grows with the number of triangles.

use std::fmt::Write;

use crate::child::Outcome;

/// The stage that is the search.
const SEARCH: &str = "optimise, curves, sheets";

/// Seconds of each stage that sees the model's triangles, and the exponent of their sum. The
/// search works on a planning mesh of a fixed number of vertices, so it is told apart.
pub fn table(outcomes: &[Outcome]) -> String {
    let mut text = format!("{:>9} {:>10}", "triangles", "read+check");
    for (name, _) in outcomes.first().map_or(&[][..], |o| &o.stages) {
        let _ = write!(text, " {name:>9}");
    }
    text += "       sum      rest\n";
    let mut sums = Vec::new();
    let mut totals = Vec::new();
    for outcome in outcomes {
        // The search takes what the budget gives it.
        let searched: f64 =
            outcome.stages.iter().filter(|(name, _)| name == SEARCH).map(|(_, s)| s).sum();
        let stages = outcome.stages.iter().map(|(_, s)| s).sum::<f64>() - searched;
        let sum = outcome.prepare_seconds + stages;
        let _ = write!(text, "{:>9} {:>10.2}", outcome.triangles, outcome.prepare_seconds);
        for (_, seconds) in &outcome.stages {
            let _ = write!(text, " {seconds:>9.2}");
        }
        let _ = writeln!(text, " {sum:>9.2} {:>9.2}", outcome.plan_seconds - stages);
        sums.push((outcome.triangles as f64, sum));
        totals.push((outcome.triangles as f64, outcome.prepare_seconds + outcome.plan_seconds));
    }
    let _ = writeln!(
        text,
        "time without the search grows as n^{:.2}, with it as n^{:.2} (least squares on logarithms)",
        exponent(&sums),
        exponent(&totals)
    );
    text
}

/// Slope of the line of least squares through (ln n, ln t).
fn exponent(points: &[(f64, f64)]) -> f64 {
    let count = points.len() as f64;
    let logs: Vec<(f64, f64)> = points.iter().map(|&(n, t)| (n.ln(), t.max(1e-3).ln())).collect();
    let (mx, my) = logs.iter().fold((0.0, 0.0), |s, p| (s.0 + p.0 / count, s.1 + p.1 / count));
    let (xy, xx) = logs
        .iter()
        .fold((0.0, 0.0), |s, p| (s.0 + (p.0 - mx) * (p.1 - my), s.1 + (p.0 - mx).powi(2)));
    xy / xx
}
