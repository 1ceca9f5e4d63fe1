//! The way out as an animation: the model stands, the rubber is drawn off it.

use gltf_json::mesh::Mode;

use super::document::{Document, Shape};
use super::{GlbError, MOST_BYTES};
use crate::mesh::{Point, TriangleMesh, Vector};
use crate::trial::TrialReport;

/// Frames after the first, at most. Each is a morph target; viewers need only two at a time.
const MOST_FRAMES: usize = 24;
/// Seconds from one frame to the next when there are as many as may be, and for which the last stays.
const WHOLE: f32 = 6.0;
const STAYS: f32 = 1.5;
/// What the document takes beside the numbers, bytes: about 1 kB for the rest and 400 a frame.
const WORDS: (usize, usize) = (4096, 400);

/// The animation, and what went into it.
#[derive(Clone, Debug, PartialEq)]
pub struct TrialGlb {
    /// The file.
    pub bytes: Vec<u8>,
    /// Frames of the trial that it shows, in order.
    pub frames: Vec<usize>,
}

/// The way out of a trial as a GLB file of at most `limit` bytes ([`MOST_BYTES`] if `None`). `model` is
/// the mesh that was tried, in the mould frame. Frames are left out evenly where there are more than
/// fit; the first and the last stay.
pub fn trial_glb(
    report: &TrialReport,
    model: &TriangleMesh,
    limit: Option<usize>,
) -> Result<TrialGlb, GlbError> {
    let limit = limit.unwrap_or(MOST_BYTES);
    let broken = |fault| GlbError::Broken { what: "the trial".to_owned(), fault };
    let rest = &report.frames.first().ok_or_else(|| broken("it has no frames"))?.positions;
    if report.frames.iter().any(|frame| frame.positions.len() != rest.len()) {
        return Err(broken("its frames differ in their number of nodes"));
    }
    if report.surface.iter().flatten().any(|&n| n as usize >= rest.len()) {
        return Err(broken("a face names a node that does not exist"));
    }
    let (nodes, faces) = skin(&report.surface);
    let mut document = Document::default();
    let stone = document.material("model", [0.42, 0.5, 0.6, 1.0]);
    let rubber = document.material("rubber", [0.9, 0.5, 0.16, 0.55]);
    let positions = document.vectors("the model", &model.positions)?;
    let indices = document.faces("the model", &model.faces, model.positions.len())?;
    let model = document.node(
        "model",
        Shape {
            positions,
            indices: Some(indices),
            mode: Mode::Triangles,
            material: stone,
            targets: Vec::new(),
        },
    );
    let at = |frame: usize| -> Vec<Point> {
        nodes.iter().map(|&n| report.frames[frame].positions[n as usize]).collect()
    };
    let positions = document.vectors("the rubber", &at(0))?;
    let indices = document.faces("the rubber", &faces, nodes.len())?;
    let each = 12 * nodes.len() + WORDS.1;
    let room = limit.saturating_sub(document.len() + WORDS.0) / each;
    let moving = report.frames.len() - 1;
    if moving > 0 && room == 0 {
        return Err(GlbError::TooLarge { bytes: document.len() + WORDS.0 + each, limit });
    }
    let frames = thinned(moving, room.min(MOST_FRAMES));
    let mut targets = Vec::new();
    for &frame in &frames[1..] {
        let moved = at(frame).into_iter().zip(at(0)).map(|(now, rest)| Point::from(now - rest));
        targets.push(document.vectors("the rubber", &moved.collect::<Vec<_>>())?);
    }
    let shape = Shape {
        positions,
        indices: Some(indices),
        mode: Mode::Triangles,
        material: rubber,
        targets,
    };
    let node = document.node("rubber", shape);
    if frames.len() > 1 {
        let (times, weights) = course(frames.len() - 1);
        document.animate("the way out", node, &times, &weights);
    }
    let bytes = document.finish("mould", vec![model, node], &Vector::z(), limit)?;
    Ok(TrialGlb { bytes, frames })
}

/// The nodes of a surface, each once in the order met, and its faces in their numbers.
fn skin(surface: &[[u32; 3]]) -> (Vec<u32>, Vec<[u32; 3]>) {
    let mut nodes: Vec<u32> = surface.iter().flatten().copied().collect();
    nodes.sort_unstable();
    nodes.dedup();
    let number = |n: u32| nodes.binary_search(&n).map_or(0, |at| at as u32);
    let faces = surface.iter().map(|face| face.map(number)).collect();
    (nodes, faces)
}

/// Frame 0 and at most `most` of the `moving` frames after it, evenly spread, the last among them.
fn thinned(moving: usize, most: usize) -> Vec<usize> {
    let most = most.min(moving);
    std::iter::once(0).chain((1..=most).map(|k| (k * moving).div_ceil(most))).collect()
}

/// Times (s) and weights: frame after frame, each alone at its time, and the last one for a while.
fn course(targets: usize) -> (Vec<f32>, Vec<f32>) {
    let step = WHOLE / MOST_FRAMES as f32;
    let mut times: Vec<f32> = (0..=targets).map(|k| step * k as f32).collect();
    let mut weights = vec![0.0; (targets + 2) * targets];
    for k in 0..targets {
        weights[(k + 1) * targets + k] = 1.0;
    }
    times.push(step * targets as f32 + STAYS);
    weights[(targets + 1) * targets + targets - 1] = 1.0;
    (times, weights)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frames_are_left_out_evenly() {
        assert_eq!(thinned(0, 24), [0]);
        assert_eq!(thinned(3, 24), [0, 1, 2, 3]);
        assert_eq!(thinned(10, 4), [0, 3, 5, 8, 10]);
    }

    #[test]
    fn each_frame_is_alone_at_its_time() {
        let (times, weights) = course(2);
        assert_eq!(times, [0.0, 0.25, 0.5, 2.0]);
        assert_eq!(weights, [0.0, 0.0, 1.0, 0.0, 0.0, 1.0, 0.0, 1.0]);
    }
}
