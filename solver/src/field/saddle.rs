//! Saddles of the potential: the middles of bridges, and of what is nearly a bridge.
//!
//! In a hole of the model the potential falls along two directions, towards the hole's rim, and
//! rises along the third, out of the hole: a saddle of index 2. Filling the rubber up by rising
//! potential, its disc closes a loop. Where that loop runs round on the model from the start, the
//! hole is a true one, and its rubber a bridge. Where the loop began later, at a saddle of index 1
//! (two parts of the model that come near each other), the model is open there by the gap across
//! that saddle: nearly a bridge.

use nalgebra::Matrix3;

use super::disc::{SaddleDisc, descending_disc};
use super::morse::MorseComplex;
use super::{Course, Domain, FieldError, Potential};
use crate::control::Control;
use crate::mesh::{Point, Vector};

/// Newton steps to a saddle.
const NEWTON_STEPS: usize = 12;
/// How far Newton may lead away from the grid's cell, in spacings.
const NEWTON_REACH: f64 = 2.5;

/// What a saddle of index 2 is the middle of.
#[derive(Clone, Debug, PartialEq)]
pub enum SaddleKind {
    /// A hole of the model, or of the model and the board.
    Bridge,
    /// A ring of the model that is not quite closed.
    NearBridge {
        /// The saddle of index 1 in the gap, mm.
        pass: Point,
        /// Potential there; 0 in a gap narrower than the grid's spacing.
        pass_level: f64,
        /// Length of the field line across the gap through the pass, mm; `None` where it could not
        /// be followed, as in a gap narrower than the grid's spacing.
        gap: Option<f64>,
    },
}

/// A saddle of index 2.
#[derive(Clone, Debug, PartialEq)]
pub struct Saddle {
    /// Where, mm.
    pub position: Point,
    /// Potential there.
    pub level: f64,
    /// Level less the level where the loop began that ends here: 0 for a bridge.
    pub persistence: f64,
    /// Bridge or near-bridge.
    pub kind: SaddleKind,
    /// Unit direction along the hole: the one that the potential rises along.
    pub axis: Vector,
    /// Whether it lies on the board, so that its disc is half a disc that ends on the board.
    pub on_board: bool,
    /// The disc that runs down from it to the model; `None` where its field lines get lost.
    pub disc: Option<SaddleDisc>,
    /// Whether the grid resolves the hole: its disc is at least [`RESOLVED_WIDTH`] spacings wide.
    /// Where it does not, parts of the model that are closer than the spacing may look joined, and
    /// a near-bridge like a bridge: solve again on a finer grid.
    pub resolved: bool,
}

/// Least width of a disc, four times its area over its rim, in grid spacings, from which on a hole
/// is believed.
pub const RESOLVED_WIDTH: f64 = 3.0;

/// All saddles of index 2.
#[derive(Clone, Debug, PartialEq)]
pub struct SaddleReport {
    /// Bridges, then near-bridges by falling persistence.
    pub saddles: Vec<Saddle>,
    /// Near-bridges left out because their persistence is less than asked for.
    pub left_out: usize,
}

impl Potential {
    /// The saddles of index 2: all bridges, and near-bridges of `least_persistence` or more. With a
    /// `domain` the rims are put on the exact model.
    ///
    /// The rubber with the model in it must have no hollows, as is the case for all blocks and for
    /// blankets that enclose no air: shutting a hollow would look like closing a hole.
    pub fn saddles(
        &self,
        least_persistence: f64,
        domain: Option<&dyn Domain>,
        control: &Control<'_>,
    ) -> Result<SaddleReport, FieldError> {
        let (complex, critical) = MorseComplex::new(self, control)?;
        let ends = complex.loop_ends(&critical, control)?;
        drop(complex);
        let mut saddles = Vec::new();
        let mut left_out = 0;
        let near_board = |p: &Point| {
            self.on_board && (p.z - self.grid.origin.z).abs() < 1.25 * self.grid.spacing
        };
        for end in ends {
            control.check()?;
            let middle = end.end.middle;
            // Of a saddle and its mirror image one is told.
            if self.on_board && middle.z < self.grid.origin.z && !near_board(&middle) {
                continue;
            }
            let born = end.begin.as_ref().map_or(0.0, |b| b.level);
            let persistence = end.end.level - born;
            if end.begin.is_some() && persistence < least_persistence {
                left_out += 1;
                continue;
            }
            let on_board = near_board(&middle);
            let position = self.refined(middle, on_board);
            let level = self.try_sample(&position).map_or(end.end.level, |s| s.0);
            let (axis, fall) = self.directions(&position, on_board);
            let kind = match end.begin {
                None => SaddleKind::Bridge,
                Some(begin) => {
                    let flat = near_board(&begin.middle);
                    let pass = self.refined(begin.middle, flat);
                    SaddleKind::NearBridge {
                        pass,
                        pass_level: begin.level,
                        gap: if begin.level > 0.0 { self.gap(&pass, domain) } else { None },
                    }
                }
            };
            let disc = descending_disc(self, &position, fall, on_board, domain, control)?;
            let width = disc.as_ref().map_or(0.0, SaddleDisc::width);
            let resolved = width >= RESOLVED_WIDTH * self.grid.spacing;
            let saddle =
                Saddle { position, level, persistence, kind, axis, on_board, disc, resolved };
            saddles.push(saddle);
        }
        let class = |s: &Saddle| s.kind != SaddleKind::Bridge;
        saddles
            .sort_by(|a, b| class(a).cmp(&class(b)).then(b.persistence.total_cmp(&a.persistence)));
        Ok(SaddleReport { saddles, left_out })
    }

    /// Second derivatives times the spacing squared, by differences of slopes.
    fn curvature(&self, at: &Point) -> Option<Matrix3<f64>> {
        let h = 0.5 * self.grid.spacing;
        let mut matrix = Matrix3::zeros();
        for axis in 0..3 {
            let mut step = Vector::zeros();
            step[axis] = h;
            let (up, down) = (self.try_sample(&(at + step))?.1, self.try_sample(&(at - step))?.1);
            matrix.set_column(axis, &((up - down) / (2.0 * h)));
        }
        Some((matrix + matrix.transpose()) * 0.5)
    }

    /// Where the slope vanishes near the middle of a critical cell, by Newton's method; the middle
    /// where it leads astray.
    fn refined(&self, middle: Point, on_board: bool) -> Point {
        let spacing = self.grid.spacing;
        let mut start = middle;
        if on_board {
            start.z = self.grid.origin.z;
        }
        let mut at = start;
        for _ in 0..NEWTON_STEPS {
            let (Some((_, slope)), Some(matrix)) = (self.try_sample(&at), self.curvature(&at))
            else {
                return start;
            };
            let Some(inverse) = matrix.try_inverse() else { return start };
            let mut step = -(inverse * slope);
            if on_board {
                step.z = 0.0;
            }
            let length = step.norm();
            if length > 0.5 * spacing {
                step *= 0.5 * spacing / length;
            }
            at += step;
            if (at - start).norm() > NEWTON_REACH * spacing {
                return start;
            }
            if length < 1e-6 * spacing {
                break;
            }
        }
        at
    }

    /// The direction of greatest rise of the slope, and two across it that the disc starts along;
    /// on a board the second points up from it.
    fn directions(&self, at: &Point, on_board: bool) -> (Vector, [Vector; 2]) {
        let matrix = self.curvature(at).unwrap_or_else(Matrix3::identity);
        let eigen = matrix.symmetric_eigen();
        let top = eigen.eigenvalues.imax();
        let axis: Vector = eigen.eigenvectors.column(top).into();
        // One of two opposite directions, the same every time.
        let sign = axis.iter().find(|x| x.abs() > 1e-6).map_or(1.0, |x| x.signum());
        let mut axis = axis * sign;
        if on_board {
            axis.z = 0.0;
            axis = axis.try_normalize(1e-9).unwrap_or_else(Vector::x);
            return (axis, [Vector::z().cross(&axis), Vector::z()]);
        }
        let least = axis.iamin();
        let mut help = Vector::zeros();
        help[least] = 1.0;
        let first = axis.cross(&help).normalize();
        (axis, [first, axis.cross(&first)])
    }

    /// Length of the field line that falls both ways from a saddle of index 1.
    fn gap(&self, pass: &Point, domain: Option<&dyn Domain>) -> Option<f64> {
        let eigen = self.curvature(pass)?.symmetric_eigen();
        let fall: Vector = eigen.eigenvectors.column(eigen.eigenvalues.imin()).into();
        let step = 0.25 * self.grid.spacing;
        let mut length = 2.0 * step;
        for way in [step, -step] {
            length += self.field_line(&(pass + fall * way), Course::Inward, domain).ok()?.length;
        }
        Some(length)
    }
}
