//! What to see to before the pour, and how much rubber to mix.

use super::blocks::Block;
use crate::outputs::advice_words;
use crate::outputs::whereabouts::Whereabouts;
use crate::plan::Plan;

/// Vents, sprue, shell and keys; nothing where the plan has no advice.
pub(super) fn before_the_pour(plan: &Plan, places: &Whereabouts) -> Vec<Block> {
    let words = advice_words::of_plan(plan, places);
    if words.is_empty() {
        return Vec::new();
    }
    vec![Block::Heading("Before you pour".to_owned()), Block::Items(words)]
}

/// Volume and mass, with a share more for waste.
pub(super) fn rubber(plan: &Plan, waste: f64) -> Vec<Block> {
    let (volume, mass) = (plan.rubber_volume, plan.rubber_mass);
    let more = 1.0 + waste;
    vec![
        Block::Heading("Rubber to mix".to_owned()),
        Block::Loud(format!("Mix {:.0} cm^3, {:.0} g.", volume * more, mass * more)),
        Block::Items(vec![
            format!(
                "The mould holds {volume:.0} cm^3, {mass:.0} g. {:.0} % more is for waste, what stays in pots \
                 and spills (common practice, no source).",
                100.0 * waste
            ),
            "This is the total of all parts. The request says no mixing ratio: take it from the material's data \
             sheet, and mind whether it is by weight or by volume."
                .to_owned(),
        ]),
    ]
}
