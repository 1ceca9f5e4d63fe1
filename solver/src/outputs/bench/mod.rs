//! What goes to the bench: the plan as pages for print and screen, and a template of its cuts at 1:1.
//!
//! One list of blocks is made of a plan, and written as HTML and as PDF: neither can say less than the other.
//! Both hold all that they show, pictures and typeface included, and need no network. Lengths are in mm.

mod blade;
mod blocks;
mod cuts;
mod first;
mod flow;
mod html;
mod marks;
mod mixing;
mod opening;
mod pdf;
mod template;
#[cfg(test)]
mod tests;

pub use template::{Template, template};

use super::pictures::{
    Below, PictureError, PictureStyle, Subject, draw_key, draw_shell, draw_those, draw_trial,
};
use super::whereabouts::whereabouts;
use crate::control::Cancel;
use crate::plan::{Plan, TrialVerdict};
use blocks::{Block, plain};

/// Paper that pages are laid out for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Paper {
    /// 210 x 297 mm (ISO 216).
    #[default]
    A4,
    /// 8.5 x 11 inches (ANSI/ASME Y14.1, size A).
    Letter,
}

impl Paper {
    /// Width and height, upright, mm.
    pub fn size(self) -> [f64; 2] {
        match self {
            Self::A4 => [210.0, 297.0],
            Self::Letter => [215.9, 279.4],
        }
    }
}

/// How the pages are made.
#[derive(Clone, Debug, PartialEq)]
pub struct BenchStyle {
    /// Name of the piece, for the headings. Any characters: what steers a screen or a printer is left out.
    pub heading: Option<String>,
    /// Paper.
    pub paper: Paper,
    /// Rubber mixed beyond what the mould holds, as a share of it, 0 to 1: some stays in the pot.
    pub waste: f64,
}

impl Default for BenchStyle {
    /// A twentieth for waste: common practice, no source.
    fn default() -> Self {
        Self { heading: None, paper: Paper::A4, waste: 0.05 }
    }
}

/// Pages or a template that cannot be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum BenchError {
    /// A picture cannot be drawn.
    #[error(transparent)]
    Picture(#[from] PictureError),
    /// The plan was stopped before the knife's way through the rubber was found.
    #[error(
        "the plan has no sheets through the rubber, so nothing is known of where the blade enters"
    )]
    NoSheets,
    /// The share for waste is out of range.
    #[error("waste is {value}: give a share of the rubber from 0 to 1, such as 0.05")]
    Waste {
        /// What was given.
        value: f64,
    },
    /// The template would take too many pages.
    #[error(
        "the template measures {width:.0} x {height:.0} mm, more than {most:.0} mm: check the model's unit"
    )]
    TooLarge {
        /// Width, mm.
        width: f64,
        /// Height, mm.
        height: f64,
        /// Most of either, mm.
        most: f64,
    },
    /// The PDF cannot be written.
    #[error("the PDF cannot be written: {0}")]
    Pdf(String),
}

/// The plan for the bench: what is on its pages.
#[derive(Clone, Debug)]
pub struct Pages {
    title: String,
    paper: Paper,
    blocks: Vec<Block>,
}

/// Side of a view, px: at the width at which two fit an upright page, its small print is 7 points high.
const VIEW: u32 = 700;
/// Width of the picture of a blanket's shell, px: its small print is 6 points high on an upright page.
const SHELL: u32 = 1500;
/// Width of the way out, px: in a narrower one the words above the moments run into each other.
const WAY_OUT: u32 = 2000;

/// Makes the pages of a plan. Looks at `cancel` between its steps.
pub fn pages<'a>(
    model: impl Into<Subject<'a>>,
    plan: &Plan,
    style: &BenchStyle,
    cancel: &Cancel,
) -> Result<Pages, BenchError> {
    if !(0.0..=1.0).contains(&style.waste) {
        return Err(BenchError::Waste { value: style.waste });
    }
    let model = model.into();
    let heading = style.heading.as_deref().map(plain).filter(|name| !name.is_empty());
    let pictures = PictureStyle { view_size: VIEW, page_width: WAY_OUT, heading: heading.clone() };
    let mut views = draw_those(model, plan, &pictures, Below::Bar, cancel, |name| {
        name != "overview" && name != "sections"
    })?;
    views.push(draw_key(plan, VIEW)?);
    let way_out = match &plan.trial {
        TrialVerdict::Ran(trial) if !trial.report.frames.is_empty() => {
            cancel.check().map_err(PictureError::from)?;
            Some(draw_trial(trial, &pictures)?)
        }
        _ => None,
    };
    let narrow = PictureStyle { page_width: SHELL, ..pictures.clone() };
    let shell = draw_shell(model.mesh, plan, &narrow, cancel)?;
    let places = whereabouts(plan, model.mesh);
    let title = heading.map_or_else(|| "Cut plan".to_owned(), |name| format!("Cut plan: {name}"));
    let mut blocks = first::page(plan, &title);
    // In the order of the work: pour, cut, open.
    blocks.extend(mixing::before_the_pour(model.mesh, plan, &places, shell));
    blocks.extend(mixing::rubber(plan, style.waste));
    blocks.push(Block::Heading("From all sides".to_owned()));
    blocks.extend(views.into_iter().map(|view| Block::picture(view, false)));
    blocks.extend(cuts::cuts(plan, &places));
    blocks.extend(opening::bridges(plan, &places));
    blocks.extend(cuts::hinges(plan, &places));
    blocks.extend(opening::opening(plan, &places));
    blocks.extend(way_out.map(|picture| Block::picture(picture, true)));
    blocks.iter_mut().for_each(Block::raise_powers);
    Ok(Pages { title, paper: style.paper, blocks })
}

impl Pages {
    /// One file for a browser, pictures within.
    pub fn html(&self) -> String {
        html::page(&self.title, &self.blocks)
    }

    /// A file for print.
    pub fn pdf(&self) -> Result<Vec<u8>, BenchError> {
        pdf::write(&self.title, &flow::laid_out(&self.title, self.paper, &self.blocks)?)
    }
}
