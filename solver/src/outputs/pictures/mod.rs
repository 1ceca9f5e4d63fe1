//! Pictures of the model from the usual sides, with the plan drawn on.
//!
//! [`draw_plan`] gives seven square pictures (front, back, left, right, top, below and
//! three-quarter), an overview with all of them and a legend, and sections across the cuts, as PNG
//! files in memory. Views are orthographic, in the mould maker's frame ([`Plan::up`] is up), and of
//! one scale. What the model hides is dashed. Every mark is told from the others by its shape, so
//! that a grey print reads as well as the screen. The cautions stand on every picture, in one line.
//!
//! The model is drawn by a depth buffer of our own; lines and letters by general-purpose crates.
//! The same plan gives the same bytes. A model whose file has colours is drawn in them, softened.

mod canvas;
mod cautions;
#[cfg(test)]
mod coloured;
mod fit;
mod hatch;
mod labels;
mod legend;
mod marks;
mod overlay;
mod overview;
mod poses;
mod raster;
mod repairs;
mod scene;
mod sections;
mod shell;
mod side_by_side;
mod sight;
mod subject;
mod surface;
#[cfg(test)]
mod tests;
pub(super) mod text;
mod view;
mod way_out;

pub(super) use overview::Below;
pub use poses::draw_poses;
pub use repairs::draw_repairs;
pub use shell::{draw_shell, has_shell};
pub use side_by_side::draw_comparison;
pub use subject::Subject;
#[cfg(test)]
pub(super) use tests::carries_cautions;
pub use way_out::draw_trial;

use crate::control::{Cancel, Cancelled};
use crate::mesh::TriangleMesh;
use crate::outputs::whereabouts::Frame;
use crate::plan::Plan;

/// How large the pictures are, and what stands above them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PictureStyle {
    /// Side of the square pictures, px: 500 to 6000.
    pub view_size: u32,
    /// Width of all other pictures, px: 1500 to 8000.
    pub page_width: u32,
    /// Name of the piece, for the headings.
    pub heading: Option<String>,
}

impl Default for PictureStyle {
    fn default() -> Self {
        Self { view_size: 1000, page_width: 2000, heading: None }
    }
}

/// One picture.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    /// Short name, fit for a file name: `front`, `back`, `left`, `right`, `top`, `below`,
    /// `three-quarter`, `overview`, `sections`, `shell`, `key`, `way-out`, `comparison`, `poses` or `repairs`.
    pub name: String,
    /// In words.
    pub title: String,
    /// Width, px.
    pub width: u32,
    /// Height, px.
    pub height: u32,
    /// The picture as a PNG file.
    pub png: Vec<u8>,
}

/// Pictures that cannot be drawn.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PictureError {
    /// A size is out of range.
    #[error("{field} is {value} px: choose {low} to {high}")]
    Size {
        /// Field of [`PictureStyle`].
        field: &'static str,
        /// Value given, px.
        value: u32,
        /// Least allowed, px.
        low: u32,
        /// Greatest allowed, px.
        high: u32,
    },
    /// The model has no faces, or no size.
    #[error("the model has no faces or no size: there is nothing to draw")]
    EmptyModel,
    /// A face names a vertex that does not exist.
    #[error("face {face} of the model names a vertex that does not exist: check the model first")]
    BadFace {
        /// Index of the face.
        face: usize,
    },
    /// The direction away from the board is missing.
    #[error("up is {up:?}: it must point away from the board")]
    Up {
        /// What was given.
        up: [f64; 3],
    },
    /// A coordinate is not a finite number.
    #[error("{what} has a coordinate that is not a finite number: make the plan again")]
    NotFinite {
        /// Which part of the model or plan.
        what: String,
    },
    /// A cut has no points.
    #[error("{what} has no line on the model: make the plan again")]
    NoLine {
        /// Which cut.
        what: String,
    },
    /// A line of the plan is not on the model.
    #[error(
        "{what} lies {distance:.2} mm off the model, more than {limit:.2} mm: the plan belongs to \
         another model, or to this one in other units"
    )]
    OffModel {
        /// Which line.
        what: String,
        /// How far it lies off, mm.
        distance: f64,
        /// How far it may, mm.
        limit: f64,
    },
    /// Too many plans to compare, or none, or not those of the comparison.
    #[error(
        "{plans} plans with {rows} rows of figures: give 1 to {most} plans and their comparison"
    )]
    Plans {
        /// Plans given.
        plans: usize,
        /// Rows of the comparison.
        rows: usize,
        /// Plans that fit a picture.
        most: usize,
    },
    /// A trial's report does not hold together.
    #[error("the trial cannot be drawn: {what}; make the trial again")]
    Trial {
        /// What is wrong with it.
        what: String,
    },
    /// The search for nearest points cannot be built.
    #[error("the model cannot be searched for nearest points: {fault}")]
    Search {
        /// What the search says.
        fault: String,
    },
    /// The built-in typeface cannot be read.
    #[error("the built-in typeface cannot be read: {fault}")]
    Font {
        /// What its reader says.
        fault: String,
    },
    /// There is no room for a picture.
    #[error("a picture of {width} x {height} px cannot be held: choose a smaller size")]
    Memory {
        /// Width, px.
        width: u32,
        /// Height, px.
        height: u32,
    },
    /// Nobody waits for it any more.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
    /// The PNG file cannot be written.
    #[error("the PNG file cannot be written: {fault}")]
    Png {
        /// What its writer says.
        fault: String,
    },
}

/// Distance between the gate's hatching on a single picture, px.
const HATCH_SPACING: f64 = 11.0;
/// Distance between samples of a line on a single picture, px.
const SAMPLE_SPACING: f64 = 0.8;

/// Draws `plan` on `model`: seven views, the overview, and where the plan has sheets through the rubber
/// the sections across them.
pub fn draw_plan<'a>(
    model: impl Into<Subject<'a>>,
    plan: &Plan,
    style: &PictureStyle,
) -> Result<Vec<Picture>, PictureError> {
    draw_those(model.into(), plan, style, Below::Everything, &Cancel::new(), |_| true)
}

/// The picture of [`draw_plan`] that has this name, the same to the last bit. `None` where there is none, as
/// of sections in a plan without sheets. Looks at `cancel` between its steps.
pub fn draw_picture<'a>(
    model: impl Into<Subject<'a>>,
    plan: &Plan,
    style: &PictureStyle,
    name: &str,
    cancel: &Cancel,
) -> Result<Option<Picture>, PictureError> {
    let below = Below::Everything;
    Ok(draw_those(model.into(), plan, style, below, cancel, |own| own == name)?.pop())
}

/// Names and titles of the pictures that show the model from one side, in their order.
pub fn view_titles() -> [(&'static str, &'static str); 7] {
    view::USUAL
}

/// Whether a plan has sections across its cuts to be drawn.
pub fn has_sections(plan: &Plan) -> bool {
    plan.sheets.is_some() && !sections::choose(plan).is_empty()
}

/// What the marks on a plan's views mean, for pages whose views do not say so themselves.
pub(super) fn draw_key(plan: &Plan, width: u32) -> Result<Picture, PictureError> {
    overview::key(plan, width)
}

/// The pictures of [`draw_plan`] whose names are wanted, views with so much below the model.
pub(super) fn draw_those(
    subject: Subject<'_>,
    plan: &Plan,
    style: &PictureStyle,
    below: Below,
    cancel: &Cancel,
    wanted: impl Fn(&str) -> bool,
) -> Result<Vec<Picture>, PictureError> {
    check_size("view_size", style.view_size, 500, 6000)?;
    check_size("page_width", style.page_width, 1500, 8000)?;
    let model = subject.mesh;
    check_model(model)?;
    let views = view::usual_views(&frame_of(plan)?);
    let (low, high) = model.bounds().ok_or(PictureError::EmptyModel)?;
    let centre = crate::nalgebra::center(&low, &high);
    let extent = view::extent(&views, &model.positions, centre);
    let size = model.longest_side();
    if model.faces.is_empty() || size <= 0.0 || extent[0] <= 0.0 || extent[1] <= 0.0 {
        return Err(PictureError::EmptyModel);
    }
    let fonts = text::Fonts::new()?;
    let room = (style.view_size, below);
    let scale = overview::view_scale(plan, style.heading.as_deref(), &fonts, extent, room);
    sections::check(plan)?;
    let chosen = sections::choose(plan);
    cancel.check()?;
    let surface = surface::Surface::new(model)?;
    cancel.check()?;
    let scene = scene::Scene::new(
        plan,
        &surface,
        size,
        SAMPLE_SPACING / scale,
        HATCH_SPACING / scale,
        &chosen,
    )?;
    cancel.check()?;
    let shaded = raster::Shaded::coloured(subject);
    let studio = overview::Studio {
        plan,
        views: &views,
        shaded: &shaded,
        scene: &scene,
        fonts: &fonts,
        heading: style.heading.as_deref(),
        centre,
        extent,
    };
    cancel.check()?;
    let mut pictures = studio.views(room, &wanted)?;
    cancel.check()?;
    if wanted("overview") {
        pictures.push(studio.overview(model, style.page_width)?);
    }
    if let Some(report) = plan.sheets.as_ref().filter(|_| wanted("sections")) {
        let (heading, width) = (style.heading.as_deref(), style.page_width);
        pictures.extend(sections::draw(model, &surface, report, &chosen, &fonts, heading, width)?);
    }
    Ok(pictures)
}

/// The mould maker's frame of a plan.
fn frame_of(plan: &Plan) -> Result<Frame, PictureError> {
    let up = plan.up;
    Frame::new(up).ok_or(PictureError::Up { up: [up.x, up.y, up.z] })
}

fn check_size(field: &'static str, value: u32, low: u32, high: u32) -> Result<(), PictureError> {
    if (low..=high).contains(&value) {
        Ok(())
    } else {
        Err(PictureError::Size { field, value, low, high })
    }
}

fn check_model(model: &TriangleMesh) -> Result<(), PictureError> {
    for (index, point) in model.positions.iter().enumerate() {
        if !point.iter().all(|x| x.is_finite()) {
            return Err(PictureError::NotFinite { what: format!("vertex {index} of the model") });
        }
    }
    let count = model.positions.len();
    let bad = model.faces.iter().position(|face| face.iter().any(|&v| v as usize >= count));
    bad.map_or(Ok(()), |face| Err(PictureError::BadFace { face }))
}
