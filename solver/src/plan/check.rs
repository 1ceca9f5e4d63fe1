//! Numbers of a request that make no sense.

use super::error::PlanError;
use super::request::PlanRequest;

/// Numbers of a request that cannot be used.
pub(super) fn check_request(request: &PlanRequest) -> Result<(), PlanError> {
    check_numbers(request)?;
    request.sheets.check()?;
    request.weights.check()?;
    Ok(request.areas.check()?)
}

fn check_numbers(request: &PlanRequest) -> Result<(), PlanError> {
    let knife = &request.knife;
    let budget = &request.budget;
    let zone = knife.opening_zone.unwrap_or(1.0);
    let rounds = budget.rounds.unwrap_or(1);
    let positive = "must be a positive number";
    let not_negative = "must be zero or a positive number";
    let checks = [
        ("knife.hand_force", knife.hand_force, knife.hand_force > 0.0, positive),
        ("knife.opening_zone", zone, zone > 0.0, positive),
        ("knife.hinge_width", knife.hinge_width, knife.hinge_width >= 0.0, not_negative),
        ("knife.entry_price", knife.entry_price, knife.entry_price >= 0.0, not_negative),
        ("knife.least_cut", knife.least_cut, knife.least_cut >= 0.0, not_negative),
        ("budget.seconds", budget.seconds, budget.seconds > 0.0, positive),
        ("budget.rounds", f64::from(rounds), rounds > 0, "must be at least 1"),
        (
            "budget.target_gap",
            budget.target_gap,
            (0.0..1.0).contains(&budget.target_gap),
            "must lie between 0 and 1",
        ),
    ];
    for (field, value, good, advice) in checks {
        if !(good && value.is_finite()) {
            return Err(PlanError::BadNumber { field, value, advice });
        }
    }
    Ok(())
}
