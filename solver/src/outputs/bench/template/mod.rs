//! The outside of the mould unrolled at 1:1, with the lines where the blade enters: to be wrapped round the
//! rubber, or held against it. A blanket cannot be unrolled: heights and girths take the place of a net.

mod block;
mod drawn;
mod flat;
mod labels;
mod net;
mod svg;
mod tape;
mod tiles;
mod tube;

use super::blocks::plain;
use super::marks::Leaf;
use super::{BenchError, BenchStyle, SHELL, flow, mixing, pdf};
use crate::body::Outside;
use crate::control::Cancel;
use crate::mesh::TriangleMesh;
use crate::outputs::pictures::{PictureStyle, draw_shell};
use crate::outputs::whereabouts::whereabouts;
use crate::plan::Plan;

/// Most of a net's width and height, mm: some 20 leaves each way.
const MOST: f64 = 4000.0;

/// A template.
#[derive(Clone, Debug)]
pub struct Template {
    title: String,
    /// All of it on one leaf.
    whole: Leaf,
    /// Leaves of paper.
    leaves: Vec<Leaf>,
}

/// Makes the template of a plan. `model` is the mesh as it was read, or any mesh of the same shape in the plan's
/// coordinates.
pub fn template(
    model: &TriangleMesh,
    plan: &Plan,
    style: &BenchStyle,
) -> Result<Template, BenchError> {
    let report = plan.sheets.as_ref().ok_or(BenchError::NoSheets)?;
    let heading = style.heading.as_deref().map(plain).filter(|name| !name.is_empty());
    let title =
        heading.as_ref().map_or_else(|| "Template".to_owned(), |name| format!("Template: {name}"));
    if let Outside::Offset { thickness, .. } = report.skin.outside {
        let mut blocks = tape::blocks(model, plan, report, thickness, &title);
        let pictures = PictureStyle { page_width: SHELL, heading, ..PictureStyle::default() };
        let shell = draw_shell(model, plan, &pictures, &Cancel::new())?;
        blocks.extend(mixing::parting_line(model, plan, &whereabouts(plan, model), shell));
        let leaves = flow::laid_out(&title, style.paper, &blocks)?;
        return Ok(Template { whole: tape::one_leaf(&leaves), leaves, title });
    }
    let whole = drawn::sheet(plan, report, &title)?;
    let [width, height] = whole.size;
    if !(width <= MOST && height <= MOST) {
        return Err(BenchError::TooLarge { width, height, most: MOST });
    }
    let leaves = tiles::leaves(&whole, style.paper, &title);
    Ok(Template { whole, leaves, title })
}

impl Template {
    /// All of it as one drawing, a user unit a millimetre.
    pub fn svg(&self) -> String {
        svg::write(&self.title, &self.whole)
    }

    /// On leaves of paper, to be put together by their marks.
    pub fn pdf(&self) -> Result<Vec<u8>, BenchError> {
        pdf::write(&self.title, &self.leaves)
    }
}
