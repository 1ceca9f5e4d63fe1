//! The way out as a strip of pictures: the rubber comes off the model, moment by moment.
//!
//! [`draw_trial`] shows the same moments twice: with the front half of the rubber taken away, so that
//! model, cavity and wall are seen, and whole, from where the lips open towards whoever looks. Rubber
//! is toned by stretch in bands that grow darker, so that a grey print reads too; the model is
//! hatched, as on the sections. Below stand the pull over the way, and the legend.

mod curve;
mod legend;
mod moments;
mod open;
mod side;
mod strip;
#[cfg(test)]
mod tests;
mod tones;

use super::{Picture, PictureError, PictureStyle, check_model, check_size, text};
use crate::plan::PlanTrial;
use crate::trial::TrialReport;

/// Draws the way out of a trial. Of the style the page's width and the heading are used.
pub fn draw_trial(trial: &PlanTrial, style: &PictureStyle) -> Result<Picture, PictureError> {
    let PlanTrial { report, model, .. } = trial;
    check_size("page_width", style.page_width, 1500, 8000)?;
    check_model(model)?;
    check_report(report)?;
    if model.faces.is_empty() || model.longest_side() <= 0.0 {
        return Err(PictureError::EmptyModel);
    }
    let fonts = text::Fonts::new()?;
    strip::Strip::new(trial, &fonts).draw(style.heading.as_deref(), style.page_width)
}

/// A report that was read from somewhere may not hold together.
fn check_report(report: &TrialReport) -> Result<(), PictureError> {
    let broken = |what: &str| Err(PictureError::Trial { what: what.to_owned() });
    let Some(rest) = report.frames.first() else {
        return broken("it has no frames");
    };
    let count = rest.positions.len();
    for (index, frame) in report.frames.iter().enumerate() {
        if frame.positions.len() != count {
            return broken("its frames differ in their number of nodes");
        }
        if !frame.positions.iter().all(|p| p.iter().all(|x| x.is_finite())) {
            return Err(PictureError::NotFinite { what: format!("frame {index} of the trial") });
        }
    }
    if report.pull.len() >= report.frames.len() {
        return broken("it has more steps than frames");
    }
    let named = report.elements.iter().flatten().chain(report.surface.iter().flatten());
    if named.copied().any(|node| node as usize >= count) {
        return broken("an element names a node that does not exist");
    }
    if report.elements.is_empty() {
        return broken("it has no rubber");
    }
    if !report.direction.iter().all(|x| x.is_finite()) || report.direction.norm() < 1e-9 {
        return broken("its direction has no length");
    }
    Ok(())
}
