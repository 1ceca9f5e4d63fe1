//! What is planned.

use demo_models::{piece, pieces};
use slitwright_solver::body::{GateChoice, MouldShape};
use slitwright_solver::mesh::{TriangleMesh, Vector};
use slitwright_solver::plan::{Budget, PlanRequest};
use slitwright_tests::{open_mesh_sized, outside_out, sunk};

/// Longest side that open meshes are scaled to, mm.
const SIZE: f64 = 150.0;
/// Walls of the blocks, and thickness of the blankets, mm.
const WALLS: (f64, f64) = (15.0, 8.0);
/// Seconds for a demo piece, and for an open mesh.
const SECONDS: (f64, f64) = (120.0, 180.0);
/// The open meshes.
const OPEN: [&str; 5] = ["bunny00", "hand", "refined_elephant", "eight", "knot1"];

/// A piece in a mould.
pub struct Case {
    /// The piece.
    pub piece: String,
    /// Block or blanket.
    pub mould: &'static str,
    /// What it is given, s.
    pub seconds: f64,
    is_open: bool,
}

/// Every case, in the order of the table.
pub fn all_cases() -> Vec<Case> {
    let demo = pieces();
    let demo = demo.iter().map(|piece| (piece.name, false, SECONDS.0));
    let open = OPEN.iter().map(|&name| (name, true, SECONDS.1));
    demo.chain(open)
        .flat_map(|(piece, is_open, seconds)| {
            ["block", "blanket"].map(|mould| Case {
                piece: piece.to_owned(),
                mould,
                seconds,
                is_open,
            })
        })
        .collect()
}

impl Case {
    /// Piece and mould.
    pub fn name(&self) -> String {
        format!("{} {}", self.piece, self.mould)
    }

    /// Whether one of the words names its piece, and one its mould or group, where there are any such.
    pub fn is_called(&self, words: &[&String]) -> bool {
        let group = if self.is_open { "open" } else { "demo" };
        let (kinds, pieces): (Vec<&String>, Vec<&String>) =
            words.iter().partition(|w| ["open", "demo", "block", "blanket"].contains(&w.as_str()));
        (pieces.is_empty() || pieces.iter().any(|w| self.piece.contains(w.as_str())))
            && kinds.iter().all(|w| [group, self.mould].contains(&w.as_str()))
    }

    /// The model.
    pub fn mesh(&self) -> Result<TriangleMesh, String> {
        if self.is_open {
            return sunk(&outside_out(open_mesh_sized(&self.piece, SIZE)?));
        }
        let piece = piece(&self.piece).ok_or_else(|| format!("no demo piece {}", self.piece))?;
        piece.mesh().map_err(|e| format!("{}: {e}", self.piece))
    }

    /// The request.
    pub fn request(&self, seconds: f64) -> PlanRequest {
        let (wall, thickness) = WALLS;
        let mould = match self.mould {
            "block" => MouldShape::Box { side_clearance: wall, top_clearance: wall },
            _ => MouldShape::Blanket { thickness },
        };
        let budget = Budget { seconds, ..Budget::default() };
        let request = PlanRequest { mould, budget, ..PlanRequest::default() };
        if self.is_open {
            // They stand with y upwards.
            return PlanRequest { gate: GateChoice::LowestFlat { up: Vector::y() }, ..request };
        }
        request
    }
}
