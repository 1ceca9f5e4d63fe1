//! The seven pieces, one a file.

mod clapper;
mod crowned_ring;
mod dancer;
mod jug;
mod knotted_rope;
mod plinth;
mod tree;

use slitwright_solver::mesh::TriangleMesh;

use crate::mesher::{MeshError, Space, mesh};
use crate::sdf::Solid;

/// A demo piece.
pub struct Piece {
    /// Name of its files.
    pub name: &'static str,
    /// What it is, in one line.
    pub about: &'static str,
    /// Holes through the piece: its genus.
    pub holes: u32,
    /// What the studio asks of the planner: a plan request in proto3 JSON.
    pub request: &'static str,
    /// The shape, standing on z = 0.
    pub solid: Solid,
    /// Space that holds it.
    pub space: Space,
    /// Width of the grid's cells, mm.
    pub cell: f64,
}

impl Piece {
    /// The piece as a closed mesh, mm.
    pub fn mesh(&self) -> Result<TriangleMesh, MeshError> {
        mesh(&self.solid, &self.space, self.cell)
    }
}

/// All pieces, the plainest first.
pub fn pieces() -> Vec<Piece> {
    vec![
        plinth::piece(),
        clapper::piece(),
        crowned_ring::piece(),
        jug::piece(),
        dancer::piece(),
        tree::piece(),
        knotted_rope::piece(),
    ]
}

/// The piece of that name.
pub fn piece(name: &str) -> Option<Piece> {
    pieces().into_iter().find(|piece| piece.name == name)
}
