//! How far the best cost and the bound are apart.

/// (cost - bound) / cost: 1 where there is no plan that costs a finite amount, 0 where nothing has to be
/// cut. Never told better than it is: a cost below the bound, which is a fault, gives a negative gap.
pub fn gap(cost: f64, bound: f64) -> f64 {
    if cost == 0.0 && bound <= 0.0 {
        0.0
    } else if cost.is_finite() {
        (cost - bound) / cost
    } else {
        1.0
    }
}

#[cfg(test)]
mod tests {
    use super::gap;

    #[test]
    fn a_cost_that_is_not_finite_is_never_near_its_bound() {
        assert_eq!(gap(f64::INFINITY, 40.0), 1.0);
        assert_eq!(gap(f64::INFINITY, f64::INFINITY), 1.0);
        assert_eq!(gap(f64::NAN, 40.0), 1.0);
        assert_eq!(gap(80.0, 60.0), 0.25);
        assert_eq!(gap(0.0, 0.0), 0.0);
        assert!(gap(60.0, 61.0) < 0.0, "a bound above the cost is a fault, and is seen");
    }
}
