//! The rigid shell round a blanket: how it is parted, and whether its parts come off.
//!
//! A part of the shell is drawn straight off in one direction. It comes off where nothing of the blanket stands in its
//! way: where each bit of the blanket's outside that belongs to it looks that way, and is in sight from there (ray
//! casts; for two parts this is the test for castability of de Berg, Cheong, van Kreveld, Overmars (2008),
//! "Computational Geometry", 3rd edition, chapter 4, for a shape that is not convex). Each part is one piece, and the line
//! between them is that of the plan's main cut as long as the parts come off so.

mod line;
mod parts;

use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use self::line::Chain;
use self::parts::{Ground, Parted};
use crate::body::blanket_outside;
use crate::mesh::{
    FaceId, LocatorError, Point, SurfaceLocator, TriangleMesh, Vector, nearest_on_polyline,
    polyline_length,
};
use crate::nalgebra::{Isometry3, Matrix2};

/// Directions that two parts are tried in, over half a turn, and turns of three parts, over a third of one.
const DIRECTIONS: usize = 18;
const TURNS: usize = 6;
/// Share of the outside that may hold the part it belongs to: what the rubber, drawn off with it, gives way for.
/// Common practice, no source.
pub const HIDDEN_ALLOWED: f64 = 0.01;

/// A wall that leans against the way it is drawn by no more than this lets go all the same, as the rubber gives: the sine
/// of 2 degrees. No source.
const GIVES: f64 = 0.035;

/// Area on the wrong part, mm^2, that costs as much as 1 mm of line, in cells of the outside's grid: so little that a line
/// is drawn round all that would hold a part, unless it is a few faces.
const STRICT: f64 = 0.25;
/// The same where the line is to follow a cut: the more of it, the closer it does. The first that lets the parts off is taken.
const LENIENT: [f64; 3] = [4.0, 1.0, 0.25];
/// The least that a millimetre of line costs beside a cut, and how far from it it costs as much as elsewhere, cells.
const BESIDE: f64 = 0.05;
const AWAY: f64 = 1.0;
/// A line that runs with less than this share of the cut is not worth its length. No source.
const WORTH_FOLLOWING: f64 = 0.5;

/// How a rigid shell is parted.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Shell {
    /// In which direction each part is drawn off, in the model's coordinates, unit vectors: two opposite ones or three.
    pub draws: Vec<Vector>,
    /// Share of the blanket's outside that holds the part it belongs to.
    pub hidden: f64,
    /// Whether that is little enough.
    pub comes_off: bool,
    /// The same share for two parts that are drawn along the direction from which the plan's front is seen; where
    /// the plan has none, for those along its main cut if they come off, else for the best two.
    pub hidden_in_two: f64,
    /// Whether the parts are drawn the way that the plan's sides lie.
    pub is_along_plan: bool,
    /// Length of the line between the parts along the blanket, without the board, mm.
    pub parting_line: f64,
    /// What is finer than this was not looked at, mm.
    pub cell: f64,
    /// The line itself, the longest piece first.
    #[serde(default)]
    pub lines: Vec<PartingLine>,
    /// What of `hidden` each part has.
    #[serde(default)]
    pub held: Vec<f64>,
    /// Whether the line follows the plan's main cut; `None` where the plan has no cut from outside.
    #[serde(default)]
    pub follows: Option<FollowsCut>,
}

impl Shell {
    /// The shell in another frame.
    pub(super) fn moved(mut self, by: &Isometry3<f64>) -> Self {
        for draw in &mut self.draws {
            *draw = by * *draw;
        }
        for p in self.lines.iter_mut().flat_map(|line| &mut line.points) {
            *p = by * *p;
        }
        self
    }
}

/// A piece of the line between two parts of a shell.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PartingLine {
    /// Points on the blanket's outside, in the model's coordinates; a closed one repeats its first.
    pub points: Vec<Point>,
    /// Whether it goes round; else it ends at the board or where three parts meet.
    pub closed: bool,
    /// The parts on either side, as indices of [`Shell::draws`].
    pub parts: [u32; 2],
}

/// Whether the line between a shell's parts runs where the blade enters at the plan's longest cut.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct FollowsCut {
    /// The cut, 1, 2, 3 in knife order.
    pub cut: u32,
    /// Length of the line where the blade enters, mm.
    pub length: f64,
    /// How much of it the line between the parts keeps to, within an edge of what was looked at, mm.
    pub along: f64,
    /// Whether it follows it. If not, parts that met along it would be held, or too little of it is on their way.
    pub is_followed: bool,
    /// Share of the blanket's outside that would hold parts that met along it as far as they can.
    pub hidden: f64,
}

/// Where the blade enters at one cut: the cut's number and a line for each branch.
pub(super) type Outer = (u32, Vec<Vec<Point>>);

/// The shell of a blanket so `thick` round a model, both in the mould frame with the board at 0; `front` is the
/// direction from which the plan's front is seen, `cut` where the blade enters at the plan's main cut.
pub(super) fn shell(
    model: &TriangleMesh,
    locator: &SurfaceLocator,
    thick: f64,
    front: Option<Vector>,
    cut: Option<&Outer>,
) -> Result<Option<Shell>, LocatorError> {
    let Some(outside) = blanket_outside(model, locator, thick) else { return Ok(None) };
    let (mesh, cell) = (&outside.mesh, outside.cell);
    let seen = Sight::new(mesh, cell)?;
    let ground = Ground::new(mesh);
    let parted = |draws: Vec<Vector>| {
        let free = seen.free(&draws);
        let parted = ground.part(&draws, &free, |_| 1.0, STRICT * cell);
        Found { draws, free, parted }
    };
    let along = |turn: f64| Vector::new(turn.cos(), turn.sin(), 0.0);
    let half = |k: usize| along(std::f64::consts::PI * k as f64 / DIRECTIONS as f64);
    let two = |d: Vector| vec![d, -d];
    // Those that leave the least hidden from all parts.
    let best = |tries: Vec<Vec<Vector>>| {
        let all = tries.into_iter().map(|draws| (seen.hidden(&draws), draws));
        all.min_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, draws)| parted(draws))
    };
    let fits = |found: &Option<Found>| found.as_ref().is_some_and(|f| f.hidden() <= HIDDEN_ALLOWED);
    let level = front.and_then(|d| Vector::new(d.x, d.y, 0.0).try_normalize(0.3 * d.norm()));
    let plan = level.map(|d| parted(two(d)));
    let is_along_plan = fits(&plan);
    let hidden_along_plan = plan.as_ref().map(Found::hidden);
    let mut chosen = plan;
    if !is_along_plan {
        // First along the cut, so that the line can run there.
        chosen = cut.and_then(|cut| beside_cut(&seen, cut)).map(|d| parted(two(d)));
        if !fits(&chosen) {
            chosen = best((0..DIRECTIONS).map(|k| two(half(k))).collect());
        }
    }
    let hidden_in_two = hidden_along_plan.or(chosen.as_ref().map(Found::hidden)).unwrap_or(1.0);
    if !fits(&chosen) {
        let third = 2.0 * std::f64::consts::FRAC_PI_3;
        let turned = (0..TURNS).map(|k| third * k as f64 / TURNS as f64);
        let mut three: Vec<Vec<Vector>> = turned
            .map(|turn| (0..3).map(|part| along(turn + third * f64::from(part))).collect())
            .collect();
        // Or two, and a lid.
        three.extend((0..DIRECTIONS).step_by(3).map(|k| vec![half(k), -half(k), Vector::z()]));
        chosen = best(three);
    }
    let Some(mut found) = chosen else { return Ok(None) };
    let mut chains = line::lines(&ground, &seen.locator, &found.parted);
    let follows = cut.map(|cut| {
        let (follows, other) = follow(&ground, &seen, &found, &chains, cut, cell);
        if let Some((parted, lines)) = other {
            (found.parted, chains) = (parted, lines);
        }
        follows
    });
    let hidden = found.hidden();
    Ok(Some(Shell {
        comes_off: hidden <= HIDDEN_ALLOWED,
        hidden,
        hidden_in_two,
        is_along_plan,
        parting_line: 0.0 + chains.iter().map(|c| polyline_length(&c.points)).sum::<f64>(),
        cell,
        lines: chains
            .into_iter()
            .map(|Chain { points, closed, parts }| PartingLine {
                points,
                closed,
                parts: parts.map(u32::from),
            })
            .collect(),
        held: found.parted.held.clone(),
        follows,
        draws: found.draws,
    }))
}

/// The level direction that the outside along a cut looks least towards or away from: drawn that way two parts can meet
/// there. `None` where the outside looks up or down along all of the cut.
fn beside_cut(seen: &Sight<'_>, (_, outer): &Outer) -> Option<Vector> {
    let mut turned = Matrix2::zeros();
    let mut length = 0.0;
    for pair in outer.iter().flat_map(|line| line.windows(2)) {
        let own = (pair[1] - pair[0]).norm();
        let normal = seen.locator.closest(&nalgebra::center(&pair[0], &pair[1])).normal.xy();
        turned += normal * normal.transpose() * own;
        length += own;
    }
    let parts = turned.symmetric_eigen();
    let least = parts.eigenvalues.imin();
    (parts.eigenvalues.max() > 0.01 * length).then(|| {
        let d = parts.eigenvectors.column(least);
        Vector::new(d[0], d[1], 0.0)
    })
}

/// A way to part a shell.
struct Found {
    draws: Vec<Vector>,
    /// For each face which parts can be drawn off it.
    free: Vec<Vec<bool>>,
    parted: Parted,
}

impl Found {
    fn hidden(&self) -> f64 {
        self.parted.hidden()
    }
}

/// Parts that meet along a cut, and the line between them.
type Other = (Parted, Vec<Chain>);

/// Whether the parts of a shell may meet where the blade enters at a cut, and if so these parts and their line.
fn follow(
    ground: &Ground<'_>,
    seen: &Sight<'_>,
    found: &Found,
    chains: &[Chain],
    (cut, outer): &Outer,
    cell: f64,
) -> (FollowsCut, Option<Other>) {
    let length: f64 = outer.iter().map(|line| polyline_length(line)).sum();
    let off = |p: &Point| {
        outer.iter().map(|line| nearest_on_polyline(line, p).0).fold(f64::INFINITY, f64::min)
    };
    let beside: Vec<f64> = ground
        .seams
        .iter()
        .map(|seam| (off(&ground.middle(seam)) / (AWAY * cell)).clamp(BESIDE, 1.0))
        .collect();
    let along = |chains: &[Chain]| length_beside(outer, chains, ground.mean_edge);
    let mut least: Option<f64> = None;
    for lenient in LENIENT {
        let parted = ground.part(&found.draws, &found.free, |seam| beside[seam], lenient * cell);
        let hidden = parted.hidden();
        let lines = line::lines(ground, &seen.locator, &parted);
        let own = along(&lines);
        // Held no more than they may be, or than they are in any case.
        let is_off = hidden <= HIDDEN_ALLOWED.max(found.hidden());
        if own >= WORTH_FOLLOWING * length {
            if is_off {
                let follows =
                    FollowsCut { cut: *cut, length, along: own, is_followed: true, hidden };
                return (follows, Some((parted, lines)));
            }
            least = Some(least.map_or(hidden, |least| least.min(hidden)));
        }
    }
    let hidden = least.unwrap_or_else(|| found.hidden());
    let follows =
        FollowsCut { cut: *cut, length, along: along(chains), is_followed: false, hidden };
    (follows, None)
}

/// How much of some lines lies within a distance of others, mm.
fn length_beside(lines: &[Vec<Point>], others: &[Chain], near: f64) -> f64 {
    let is_near = |p: &Point| others.iter().any(|c| nearest_on_polyline(&c.points, p).0 <= near);
    let pieces = lines.iter().flat_map(|line| line.windows(2));
    let kept = pieces.filter(|w| is_near(&nalgebra::center(&w[0], &w[1])));
    0.0 + kept.map(|w| (w[1] - w[0]).norm()).sum::<f64>()
}

/// What of a surface is seen from afar.
struct Sight<'m> {
    mesh: &'m TriangleMesh,
    locator: SurfaceLocator,
    /// How far off the surface a ray starts: what stands out by less hides nothing, mm.
    lift: f64,
    longest: f64,
}

impl<'m> Sight<'m> {
    /// `cell` is the size of what the mesh resolves.
    fn new(mesh: &'m TriangleMesh, cell: f64) -> Result<Self, LocatorError> {
        let locator = SurfaceLocator::new(mesh)?;
        Ok(Self { mesh, locator, lift: 0.25 * cell, longest: 4.0 * mesh.longest_side() })
    }

    /// For each face, which of the parts drawn along some directions come off it: it looks that way, and nothing of the
    /// surface is in between.
    fn free(&self, draws: &[Vector]) -> Vec<Vec<bool>> {
        (0..self.mesh.faces.len() as u32)
            .into_par_iter()
            .map(FaceId)
            .map(|f| {
                let normal = self.locator.normal(f);
                let start = self.mesh.face_middle(f) + normal * self.lift;
                let free = |d: &Vector| {
                    normal.dot(d) >= -GIVES && self.locator.ray(&start, d, self.longest).is_none()
                };
                draws.iter().map(free).collect()
            })
            .collect()
    }

    /// Share of the surface that is hidden from all of some directions, or looks away from them.
    fn hidden(&self, draws: &[Vector]) -> f64 {
        let areas = (0..self.mesh.faces.len() as u32).map(|f| self.mesh.face_area(FaceId(f)));
        let faces: Vec<(f64, bool)> =
            areas.zip(self.free(draws)).map(|(area, free)| (area, free.contains(&true))).collect();
        // In order: the result must not depend on the number of threads.
        let all: f64 = faces.iter().map(|(area, _)| area).sum();
        let hidden: f64 = faces.iter().filter(|(_, free)| !free).map(|(area, _)| area).sum();
        // A sum over nothing is -0.0.
        if all > 0.0 { 0.0 + hidden / all } else { 0.0 }
    }
}

/// Share of a surface that cannot be drawn off along each of some directions: what looks away by more than 2 degrees, and
/// what has something of the surface before it. `lift` is how far off the surface a ray starts, mm.
pub fn undercut_shares(
    mesh: &TriangleMesh,
    draws: &[Vector],
    lift: f64,
) -> Result<Vec<f64>, LocatorError> {
    let sight = Sight { lift, ..Sight::new(mesh, 0.0)? };
    Ok(draws.iter().map(|draw| sight.hidden(std::slice::from_ref(draw))).collect())
}

#[cfg(test)]
mod tests;
