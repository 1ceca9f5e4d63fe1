//! Which frames of a trial are shown, and what is written above them.

use crate::outputs::words::millimetres;
use crate::trial::TrialReport;

/// Moments shown at most.
const MOST: usize = 7;

/// A frame that is shown.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Moment {
    /// Index of the frame.
    pub frame: usize,
    /// Index of the step of the pull, if hands pull along the direction.
    pub step: Option<usize>,
    /// What stands above the picture.
    pub words: String,
}

/// At rest, lips aside, and steps spread evenly, the one with the greatest pull and the last among
/// them.
pub(super) fn choose(report: &TrialReport) -> Vec<Moment> {
    let first = report.frames.len() - report.pull.len();
    let mut moments: Vec<Moment> = (0..first)
        .map(|frame| Moment {
            frame,
            step: None,
            words: match frame {
                0 => "at rest".to_owned(),
                _ => format!("lips aside {}", millimetres(report.frames[frame].opening)),
            },
        })
        .collect();
    for step in spread(&report.pull.iter().map(|p| p.force).collect::<Vec<_>>(), MOST - first) {
        let pull = report.pull[step];
        let far = millimetres(pull.travel);
        // Rubber that pushes itself off the model needs no pull.
        let words = match pull.force {
            force if force < -0.5 => format!("{far}, springs off"),
            force => format!("{far}, {:.0} N", force.max(0.0)),
        };
        moments.push(Moment { frame: first + step, step: Some(step), words });
    }
    moments
}

/// At most `most` steps, evenly spread, with the last and the greatest.
fn spread(forces: &[f64], most: usize) -> Vec<usize> {
    let count = forces.len();
    let most = most.min(count);
    let mut chosen: Vec<usize> = (1..=most).map(|k| (k * count).div_ceil(most) - 1).collect();
    let peak = (0..count).max_by(|&a, &b| forces[a].total_cmp(&forces[b]));
    if let Some(peak) = peak.filter(|peak| !chosen.contains(peak)) {
        // The last stays.
        let movable = chosen.len().saturating_sub(1);
        if let Some(nearest) = chosen[..movable].iter_mut().min_by_key(|c| c.abs_diff(peak)) {
            *nearest = peak;
        }
    }
    chosen
}

#[cfg(test)]
mod tests {
    use super::spread;

    #[test]
    fn the_greatest_and_the_last_are_among_the_chosen() {
        assert_eq!(spread(&[1.0, 2.0, 3.0], 5), [0, 1, 2]);
        assert_eq!(spread(&[], 5), [0usize; 0]);
        let forces: Vec<f64> = (0..24).map(|k| if k == 7 { 9.0 } else { 1.0 }).collect();
        let chosen = spread(&forces, 5);
        assert_eq!(chosen, [4, 7, 14, 19, 23]);
        assert!(chosen.is_sorted());
    }
}
