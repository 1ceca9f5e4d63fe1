//! Steps of the search for good sets: the cheapest of some variations is where it goes on from.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rayon::prelude::*;

use super::builder::{Builder, Draft};
use crate::control::Control;

/// Steps in one go.
const STEPS: usize = 30;
/// Variations tried in each step, side by side.
const AT_ONCE: usize = 4;

/// Some steps from the `best` draft known; the cheapest draft that meets every row.
pub(super) fn climb(
    builder: &Builder<'_>,
    best: Option<&Draft>,
    relaxed: &[f64],
    control: &Control<'_>,
    random: &mut ChaCha8Rng,
) -> Option<Draft> {
    let mut current = match best {
        Some(draft) if builder.meets_all(&draft.trimmed) => draft.clone(),
        Some(draft) => builder.mend(draft, random)?,
        None => builder.all_anew(relaxed, random)?,
    };
    let mut cost = builder.penalised_cost(&current.trimmed);
    for _ in 0..STEPS {
        if control.is_cancelled() {
            break;
        }
        let seeds: [u64; AT_ONCE] = std::array::from_fn(|_| random.random());
        let varied: Vec<(f64, Draft)> = seeds
            .par_iter()
            .filter_map(|&seed| {
                let next = builder.vary(&current, relaxed, &mut ChaCha8Rng::seed_from_u64(seed))?;
                // The dear part of the price only where the cheap part promises something.
                let promising = builder.cost(&next.trimmed) < cost;
                promising.then(|| (builder.penalised_cost(&next.trimmed), next))
            })
            .collect();
        let cheapest = varied.into_iter().min_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((next_cost, next)) = cheapest
            && next_cost < cost - 1e-9
        {
            current = next;
            cost = next_cost;
        }
    }
    Some(current)
}
