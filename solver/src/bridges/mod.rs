//! Holes of model and board, and the rubber bridges that run through them.
//!
//! The entry point is [`find_bridges`]. In order: the model's skin with the board in place of the
//! gate (`board`), generators of its loops (`homology`), which loops bound in the rubber (`classes`,
//! by linking numbers), the shortest independent ones of these (`search`), and for each a disc across
//! the hole with its measures (`measure`, `rim`, `disc`, `neck`) and, where no plain disc is found, a
//! test whether the rim itself is a knot (`knot`). With the saddles of the potential in the rubber
//! ([`find_bridges_with`]) holes that these show too are confirmed (`confirm`).

mod board;
mod cap;
mod classes;
mod confirm;
mod disc;
pub mod fill;
mod homology;
mod integers;
mod knot;
mod linking;
mod measure;
mod neck;
mod outline;
mod rim;
mod search;
#[cfg(test)]
pub(crate) mod shapes;
mod solid;
#[cfg(test)]
mod tests;

use crate::control::{Cancelled, Control};
use crate::field::Saddle;
use crate::mesh::{Point, Topology, TriangleMesh, Vector};
use serde::{Deserialize, Serialize};

use board::Skin;
use classes::Classes;
use disc::Surroundings;
use search::CutLoop;
use solid::Solid;

/// Openings to the board that are lower on average than this many mean edges, and nowhere
/// higher than one, are no holes.
const SEALED_BELOW: f64 = 0.4;

/// A hole of the model (or of model and board) with the rubber that runs through it.
#[derive(Clone, Debug, PartialEq)]
pub struct Bridge {
    /// What the hole is made of.
    pub kind: BridgeKind,
    /// Where the knife meets the model when it cuts the bridge across: vertices of the planning
    /// mesh along mesh edges, in order. Closed for a hole of the model alone (the first vertex
    /// is not repeated); for a hole between model and board it runs from one gate vertex to
    /// another and the board closes it.
    pub path: Vec<u32>,
    /// Whether `path` closes on itself.
    pub closed: bool,
    /// The same cut without the zig-zag of mesh edges: points on the surface, not repeated at the
    /// end when closed.
    pub rim: Vec<Point>,
    /// Length of `rim`, mm: the cut on the model.
    pub length: f64,
    /// The narrowest section of the bridge, mm^2: area of the disc that the cut spans.
    pub neck_area: f64,
    /// Greatest width across the disc, mm.
    pub neck_width: f64,
    /// Length of the bridge along the hole, mm.
    pub depth: f64,
    /// Middle of the disc.
    pub centre: Point,
    /// Unit normal of the disc: the direction of the hole.
    pub axis: Vector,
    /// The disc that was tested, a hair off the model at its rim.
    pub surface: TriangleMesh,
    /// Whether the disc crosses nothing but its own rim. When not, the hole has no plain disc.
    pub disc: DiscState,
    /// Mean angle between a taut disc and the model's normal along the rim, radians: 0 where the
    /// knife meets the model squarely.
    pub lean: f64,
    /// The saddle of the potential in this hole; `None` where none was found or looked for.
    pub confirmed: Option<Confirmation>,
}

impl Bridge {
    /// Its rim as a line, which repeats its first point where it is closed.
    pub fn rim_line(&self) -> Vec<Point> {
        self.rim.iter().chain(self.rim.first().filter(|_| self.closed)).copied().collect()
    }
}

/// A saddle of the potential whose disc has a rim of the class of a bridge's loop.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Confirmation {
    /// The saddle, mm.
    pub place: Point,
    /// Potential there: 0 on the model, 1 on the outside.
    pub level: f64,
    /// Length of the rim of its own disc on the model, mm; `None` where field lines do not show
    /// all of the rim, as in a slot much deeper than wide.
    pub rim_length: Option<f64>,
    /// Whether the bridge's loop is the one that follows this rim, since it was clearly shorter
    /// or squarer than the shortest loop found on the skin.
    pub loop_taken: bool,
}

/// What the potential in the rubber tells of holes.
#[derive(Clone, Copy, Debug)]
pub struct FieldHoles<'a> {
    /// Its saddles of index 2, in the coordinates of the mesh.
    pub saddles: &'a [Saddle],
    /// Distance between the nodes of its grid, mm.
    pub spacing: f64,
}

/// What a hole is made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum BridgeKind {
    /// A hole of the model by itself, such as a handle's.
    Handle,
    /// A hole between the model and the board, such as the one between two feet.
    Arch,
}

/// Whether a plain cut across the bridge exists.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum DiscState {
    /// The disc lies in the rubber and touches the model at its rim only.
    Plain,
    /// The model passes through every disc that was tried: the hole is knotted or linked.
    Knotted {
        /// How often the model crosses the best disc.
        crossings: u32,
        /// Determinant of the knot that the cut makes. Anything but 1 proves that no disc exists;
        /// `None` where it could not be worked out.
        determinant: Option<u64>,
        /// Plain words for the person.
        explanation: String,
    },
}

/// All holes of model and board.
#[derive(Clone, Debug, PartialEq)]
pub struct BridgeReport {
    /// Genus of the model's surface: its handles, the board left out.
    pub genus: u32,
    /// Independent holes of model and board together.
    pub holes: u32,
    /// One bridge for each hole, shortest cut first. Fewer only with a warning.
    pub bridges: Vec<Bridge>,
    /// What a person has to know besides.
    pub warnings: Vec<BridgeWarning>,
}

/// Something about the holes that the person has to know.
#[derive(Clone, Debug, PartialEq)]
pub enum BridgeWarning {
    /// Rubber is shut in between the model and the board.
    ClosedPocket {
        /// Middle of the board in the pocket.
        centre: Point,
        /// Area of the board in the pocket, mm^2.
        area: f64,
    },
    /// The model stands a little off the board between places where it touches it.
    GapSealed {
        /// Middle of the gap.
        centre: Point,
        /// Height of the gap, mm.
        height: f64,
    },
    /// A bridge is finer than the mesh it was found on.
    FinerThanMesh {
        /// Index into [`BridgeReport::bridges`].
        bridge: usize,
        /// Narrow width of the bridge, mm.
        width: f64,
        /// Mean edge of the planning mesh, mm.
        edge: f64,
    },
    /// No cut loop was found for some holes.
    NoCutLoop {
        /// Holes without a loop.
        missing: u32,
        /// All holes.
        holes: u32,
    },
    /// The model reaches below the board although several patches stand on it.
    BelowBoard {
        /// How far, mm.
        depth: f64,
    },
}

/// The name of bridge number `index`: A to Z, then AA, AB and so on.
pub fn bridge_letter(index: usize) -> String {
    let mut rest = index + 1;
    let mut letters = Vec::new();
    while rest > 0 {
        rest -= 1;
        letters.push(char::from(b'A' + (rest % 26) as u8));
        rest /= 26;
    }
    letters.iter().rev().collect()
}

impl BridgeWarning {
    /// In words. `side` names the side on which a place of the board lies.
    pub fn text(&self, side: impl Fn(&Point) -> String) -> String {
        match self {
            Self::ClosedPocket { centre, area } => format!(
                "the model shuts in a pocket against the board, {}, about {area:.0} mm^2 of board: rubber poured there is \
                 a separate lump, or no rubber reaches it. Fill the hollow or give it a way out",
                side(centre)
            ),
            Self::GapSealed { centre, height } => format!(
                "the model stands up to {height:.2} mm off the board, {}, less than the planning mesh can tell: it is \
                 taken to touch there. Rubber may creep in as thin flash",
                side(centre)
            ),
            Self::FinerThanMesh { bridge, width, edge } => format!(
                "bridge {} is only {width:.2} mm wide where the planning mesh has edges of {edge:.2} mm: \
                 it may be a flaw of the mesh rather than a hole. Check it on the model",
                bridge_letter(*bridge)
            ),
            Self::NoCutLoop { missing, holes } => format!(
                "{missing} of {holes} holes have no cut loop: they are tangled beyond what was searched. \
                 Treat the mould as not openable there until a person has looked"
            ),
            Self::BelowBoard { depth } => format!(
                "the model reaches {depth:.2} mm below the board's plane: holes between its feet may be \
                 misread. Move the board or the gate"
            ),
        }
    }
}

/// Why holes could not be found.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum BridgeError {
    /// The mesh has no faces, or more than one body.
    #[error(
        "the mesh has {bodies} bodies: holes are found for exactly one; join or remove the others"
    )]
    NotOneBody {
        /// Bodies found.
        bodies: u32,
    },
    /// The mesh and its topology do not belong together.
    #[error(
        "topology has {edges} edges round {faces} faces but the mesh has {mesh_faces}: build it from this mesh"
    )]
    WrongTopology {
        /// Edges of the topology.
        edges: usize,
        /// Faces of the topology.
        faces: usize,
        /// Faces of the mesh.
        mesh_faces: usize,
    },
    /// A gate vertex does not exist.
    #[error("gate names vertex {vertex} but the mesh has {count}: give vertices of this mesh")]
    GateVertex {
        /// Vertex named.
        vertex: u32,
        /// Vertices of the mesh.
        count: usize,
    },
    /// The whole surface is gate.
    #[error("the gate covers the whole surface: nothing is left for rubber; give a smaller gate")]
    GateCoversAll,
    /// The board's plane is not a plane.
    #[error(
        "gate_plane has a normal of length {length}: give a unit vector that points up from the board"
    )]
    BadPlane {
        /// Length given.
        length: f64,
    },
    /// Loops on and in the model come too near each other to tell how they link.
    #[error(
        "two loops on the model touch (linking number {linking:.3} is not whole): the mesh crosses \
         or touches itself; repair the model"
    )]
    LoopsTouch {
        /// Value found.
        linking: f64,
    },
    /// The surface does not bound a solid in space.
    #[error(
        "the surface has {expected} handles but {found} of them link the solid: the mesh crosses \
         itself or the board; repair the model or move the board"
    )]
    NotEmbedded {
        /// Handles by Euler's characteristic.
        expected: usize,
        /// Rank of the linking matrix.
        found: usize,
    },
    /// Loops link each other so often that the numbers get out of hand.
    #[error(
        "the {size} loops of the model and board link each other too often to be sorted out: \
         plan parts of the model by themselves"
    )]
    TooTangled {
        /// Independent loops.
        size: usize,
    },
    /// The collision library refused the mesh.
    #[error("the mesh cannot be tested for crossings: {message}")]
    Collision {
        /// The library's words.
        message: String,
    },
    /// The caller cancelled.
    #[error("cancelled by the caller")]
    Cancelled,
}

/// Holes of model and board, with a cut loop for each.
///
/// `mesh` is the planning mesh: closed, oriented, one body, mm. `gate` are the vertices that touch
/// the board, in one or several patches. `gate_plane` is the board: a point on it and the unit
/// vector that points up from it.
pub fn find_bridges(
    mesh: &TriangleMesh,
    topology: &Topology,
    gate: &[u32],
    gate_plane: (Point, Vector),
) -> Result<BridgeReport, BridgeError> {
    find_bridges_with(mesh, topology, gate, gate_plane, None, &Control::silent())
}

/// [`find_bridges`] that can be cancelled, and that confirms holes by the saddles of the potential.
pub fn find_bridges_with(
    mesh: &TriangleMesh,
    topology: &Topology,
    gate: &[u32],
    gate_plane: (Point, Vector),
    holes_of_field: Option<FieldHoles<'_>>,
    control: &Control<'_>,
) -> Result<BridgeReport, BridgeError> {
    check(mesh, topology, gate, gate_plane)?;
    let edge = linking::mean_edge(mesh, topology);
    let lowest = lowest(mesh, gate_plane);
    let stands_on_board = !gate.is_empty() && lowest >= -edge;
    let mut gate = gate.to_vec();
    let mut gaps = Vec::new();
    let (skin, classes, loops) = loop {
        let skin = Skin::new(mesh, topology, &gate, gate_plane);
        if skin.faces.is_empty() {
            return Err(BridgeError::GateCoversAll);
        }
        let classes = Classes::new(mesh, topology, &skin, gate_plane, control)?;
        let low = if stands_on_board {
            sealed(mesh, &skin, search::through_board(&skin, &classes), edge, gate_plane)
        } else {
            Vec::new()
        };
        if low.is_empty() {
            let loops = search::shortest_loops(&skin, &classes, control)
                .map_err(|Cancelled| BridgeError::Cancelled)?;
            break (skin, classes, loops);
        }
        for (path, gap) in low {
            gate.extend(path);
            gaps.push(gap);
        }
        control.check().map_err(|Cancelled| BridgeError::Cancelled)?;
    };

    let mut warnings: Vec<BridgeWarning> = skin
        .pockets
        .iter()
        .map(|p| BridgeWarning::ClosedPocket { centre: p.centre, area: p.area })
        .chain(gaps)
        .collect();
    if skin.patch_count > 1 && lowest < -edge {
        warnings.push(BridgeWarning::BelowBoard { depth: -lowest });
    }
    let holes = classes.holes() as u32;
    if loops.len() < holes as usize {
        warnings.push(BridgeWarning::NoCutLoop { missing: holes - loops.len() as u32, holes });
    }
    let solid = Solid::new(mesh, true)?;
    let near = Surroundings {
        solid: &solid,
        topology,
        board: stands_on_board.then_some(gate_plane),
        clearance: 0.02 * edge,
        control,
    };
    let mut bridges = Vec::with_capacity(loops.len());
    for cut in &loops {
        bridges.push(measure::bridge(&skin, &classes, &near, cut, edge)?);
    }
    if let Some(found) = &holes_of_field {
        confirm::confirm(&skin, &classes, &near, &loops, found, edge, &mut bridges)?;
    }
    for (index, bridge) in bridges.iter().enumerate() {
        let width = bridge.neck_area / bridge.neck_width.max(f64::MIN_POSITIVE);
        if width < 0.5 * edge {
            warnings.push(BridgeWarning::FinerThanMesh { bridge: index, width, edge });
        }
    }
    let genus = (2 - topology.euler_characteristic()) / 2;
    Ok(BridgeReport { genus: genus as u32, holes, bridges, warnings })
}

fn check(
    mesh: &TriangleMesh,
    topology: &Topology,
    gate: &[u32],
    gate_plane: (Point, Vector),
) -> Result<(), BridgeError> {
    if topology.face_edges.len() != mesh.faces.len()
        || topology.edge_count() * 2 != mesh.faces.len() * 3
    {
        return Err(BridgeError::WrongTopology {
            edges: topology.edge_count(),
            faces: topology.face_edges.len(),
            mesh_faces: mesh.faces.len(),
        });
    }
    let (_, bodies) = topology.bodies();
    if bodies != 1 {
        return Err(BridgeError::NotOneBody { bodies });
    }
    let count = mesh.positions.len();
    if let Some(&vertex) = gate.iter().find(|&&v| v as usize >= count) {
        return Err(BridgeError::GateVertex { vertex, count });
    }
    let length = gate_plane.1.norm();
    if (length - 1.0).abs() < 1e-6 { Ok(()) } else { Err(BridgeError::BadPlane { length }) }
}

fn lowest(mesh: &TriangleMesh, board: (Point, Vector)) -> f64 {
    mesh.positions.iter().map(|p| (p - board.0).dot(&board.1)).fold(f64::INFINITY, f64::min)
}

/// Openings between model and board that are lower than the mesh can tell: the vertices to
/// add to the gate, and what to tell the person. A gate taken from a mesh by height comes in
/// specks wherever the foot is not quite flat; without this every gap between two specks would
/// be a hole.
fn sealed(
    mesh: &TriangleMesh,
    skin: &Skin,
    openings: Vec<CutLoop>,
    edge: f64,
    board: (Point, Vector),
) -> Vec<(Vec<u32>, BridgeWarning)> {
    let mut low = Vec::new();
    for cut in openings {
        let path = measure::path_of(skin, &cut);
        let points: Vec<Point> = path.iter().map(|&v| mesh.positions[v as usize]).collect();
        let heights: Vec<f64> = points.iter().map(|p| (p - board.0).dot(&board.1).abs()).collect();
        let height = heights.iter().copied().fold(0.0, f64::max);
        let area: f64 = (1..points.len())
            .map(|i| (points[i] - points[i - 1]).norm() * 0.5 * (heights[i] + heights[i - 1]))
            .sum();
        let centre = disc::centroid(&points);
        if area < SEALED_BELOW * edge * rim::length(&points, false) && height < edge {
            low.push((path, BridgeWarning::GapSealed { centre, height }));
        }
    }
    low
}
