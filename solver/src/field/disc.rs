//! The disc of field lines that run down from a saddle to the model.

use std::f64::consts::{PI, TAU};

use super::{Course, Domain, FieldError, FieldLine, Potential};
use crate::control::Control;
use crate::mesh::{Point, TriangleMesh, Vector};

/// Lines to begin with.
const FIRST_LINES: usize = 48;
/// Lines at most: where ends stay apart however many lines are put between, the disc is torn.
const MOST_LINES: usize = 1536;
/// Ends of neighbouring lines are no farther apart than this, in spacings.
const END_SPACING: f64 = 1.5;
/// Radius of the circle round the saddle where the lines start, in spacings.
const START_RADIUS: f64 = 1.0;
/// Points along each line of the disc's surface.
const RINGS: usize = 24;
/// Share of lines that may get lost. Those that run straight into another saddle do.
const MOST_LOST: f64 = 0.1;

/// A disc down from a saddle, and its rim on the model.
#[derive(Clone, Debug, PartialEq)]
pub struct SaddleDisc {
    /// Where the disc meets the model, in order round the saddle, mm. Not repeated at the end.
    pub rim: Vec<Point>,
    /// Whether the rim closes; that of half a disc on the board runs from board to board.
    pub closed: bool,
    /// Length of the rim, mm.
    pub rim_length: f64,
    /// Longest step between neighbouring points of the rim, mm. Far above the grid's spacing the
    /// disc is torn there: its lines part at another saddle.
    pub widest_step: f64,
    /// The disc: the saddle first, then rings of points along the field lines.
    pub surface: TriangleMesh,
    /// Area of the disc, mm^2.
    pub area: f64,
}

impl SaddleDisc {
    /// Width of a round disc with the same area and rim, mm: four times the one over the other.
    pub fn width(&self) -> f64 {
        4.0 * self.area / self.rim_length
    }
}

/// The disc down from a saddle along two directions; the half of it where the second is positive on
/// a board.
pub(super) fn descending_disc(
    field: &Potential,
    saddle: &Point,
    fall: [Vector; 2],
    half: bool,
    domain: Option<&dyn Domain>,
    control: &Control<'_>,
) -> Result<Option<SaddleDisc>, FieldError> {
    let radius = START_RADIUS * field.grid.spacing;
    let whole = if half { PI } else { TAU };
    let mut lost = 0usize;
    let mut line = |angle: f64| -> Option<FieldLine> {
        let start = saddle + (fall[0] * angle.cos() + fall[1] * angle.sin()) * radius;
        let line = field.field_line(&start, Course::Inward, domain).ok();
        lost += usize::from(line.is_none());
        line
    };
    let count = FIRST_LINES + usize::from(half);
    let mut lines: Vec<(f64, FieldLine)> = Vec::new();
    for n in 0..count {
        let angle = whole * n as f64 / FIRST_LINES as f64;
        lines.extend(line(angle).map(|l| (angle, l)));
    }
    let end = |l: &FieldLine| l.points.last().copied().unwrap_or(*saddle);
    let widest = END_SPACING * field.grid.spacing;
    loop {
        control.check()?;
        if lines.len() < 8 {
            return Ok(None);
        }
        let mut between = Vec::new();
        let pairs = if half { lines.len() - 1 } else { lines.len() };
        for n in 0..pairs {
            let (a, b) = (&lines[n], &lines[(n + 1) % lines.len()]);
            let to = if b.0 > a.0 { b.0 } else { b.0 + whole };
            if (end(&a.1) - end(&b.1)).norm() > widest && to - a.0 > 1e-7 {
                between.push(0.5 * (a.0 + to));
            }
        }
        between.truncate(MOST_LINES.saturating_sub(lines.len()));
        let before = lines.len();
        for angle in between {
            lines.extend(
                line(angle).map(|l| (angle.rem_euclid(if half { 4.0 * PI } else { TAU }), l)),
            );
        }
        if lines.len() == before {
            break;
        }
        lines.sort_by(|a, b| a.0.total_cmp(&b.0));
    }
    if lost as f64 > MOST_LOST * (lines.len() + lost) as f64 {
        return Ok(None);
    }
    let rim: Vec<Point> = lines.iter().map(|l| end(&l.1)).collect();
    let steps = rim.len() - usize::from(half);
    let step = |n: usize| (rim[(n + 1) % rim.len()] - rim[n]).norm();
    let rim_length = (0..steps).map(step).sum();
    let widest_step = (0..steps).map(step).fold(0.0, f64::max);
    let surface = fan(saddle, lines.iter().map(|l| &l.1), steps);
    let area = surface.area();
    Ok(Some(SaddleDisc { rim, closed: !half, rim_length, widest_step, surface, area }))
}

/// Triangles between neighbouring lines, each divided evenly along its length.
fn fan<'a>(
    saddle: &Point,
    lines: impl Iterator<Item = &'a FieldLine>,
    sectors: usize,
) -> TriangleMesh {
    let mut mesh = TriangleMesh { positions: vec![*saddle], faces: Vec::new() };
    let mut count = 0u32;
    for line in lines {
        mesh.positions.extend(divided(&line.points));
        count += 1;
    }
    let at = |line: u32, ring: usize| 1 + (line % count) * RINGS as u32 + ring as u32;
    for n in 0..sectors as u32 {
        mesh.faces.push([0, at(n, 0), at(n + 1, 0)]);
        for ring in 1..RINGS {
            let (a, b) = (at(n, ring - 1), at(n + 1, ring - 1));
            let (c, d) = (at(n, ring), at(n + 1, ring));
            mesh.faces.extend([[a, c, d], [a, d, b]]);
        }
    }
    mesh
}

/// `RINGS` points spread evenly over a polyline's length, both ends among them.
fn divided(points: &[Point]) -> Vec<Point> {
    let lengths: Vec<f64> = points.windows(2).map(|p| (p[1] - p[0]).norm()).collect();
    let total: f64 = lengths.iter().sum();
    let (mut piece, mut before) = (0, 0.0);
    (0..RINGS)
        .map(|n| {
            let wanted = total * n as f64 / (RINGS - 1) as f64;
            while piece + 1 < lengths.len() && before + lengths[piece] < wanted {
                before += lengths[piece];
                piece += 1;
            }
            match lengths.get(piece) {
                Some(&length) if length > 0.0 => {
                    let part = ((wanted - before) / length).clamp(0.0, 1.0);
                    points[piece] + (points[piece + 1] - points[piece]) * part
                }
                _ => points[piece.min(points.len() - 1)],
            }
        })
        .collect()
}
