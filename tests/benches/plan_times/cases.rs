//! What is measured.

use demo_models::{piece, pieces};
use rand::{Rng, SeedableRng};
use slitwright_server::convert::request_from_proto;
use slitwright_solver::body::GateChoice;
use slitwright_solver::mesh::{MeshFormat, TriangleMesh, Vector, planning_mesh};
use slitwright_solver::plan::{PlanRequest, TrialMode};
use slitwright_tests::{open_gate, open_mesh_sized, ply, with_edges_halved};

/// Longest side that open meshes are scaled to, mm.
const SIZE: f64 = 150.0;
/// Gap asked for on open meshes.
const OPEN_GAP: f64 = 0.15;
/// The open mesh whose triangles are quartered, and how many it starts with.
const GROWN: &str = "bunny00";
const GROWN_FACES: f64 = 20_000.0;
/// Gap asked for there: what grows is not the search.
const GROWN_GAP: f64 = 0.5;
/// The same for a scan as large as is taken: quartered four times these are just under five million.
const LARGE_FACES: f64 = 16_000.0;
const LARGE_HALVINGS: u32 = 4;
/// Relief on it, from crest to middle, and how far crests are apart, mm: like hair or cloth, so that there is something to
/// keep at every place.
const RELIEF: (f64, f64) = (0.3, 3.0);
/// Noise on the vertices of a subdivided mesh, mm: a scan is never flat.
const NOISE: f64 = 0.01;

/// One measurement.
pub struct Case {
    /// Its group: demo, open, growth or large.
    pub group: &'static str,
    /// Its name.
    pub name: String,
    source: Source,
}

enum Source {
    Demo,
    Open { file: &'static str },
    Grown { halvings: u32 },
    Large { format: MeshFormat },
}

/// Every case, in the order of the table.
pub fn all_cases() -> Vec<Case> {
    let demo = pieces()
        .iter()
        .map(|p| Case { group: "demo", name: p.name.to_owned(), source: Source::Demo })
        .collect::<Vec<_>>();
    let open = ["bunny00", "refined_elephant", "eight", "elephant", "hand"].map(|file| Case {
        group: "open",
        name: file.to_owned(),
        source: Source::Open { file },
    });
    let growth = [0, 1, 2, 3].map(|halvings| Case {
        group: "growth",
        name: format!("{GROWN}-x{}", 4_u32.pow(halvings)),
        source: Source::Grown { halvings },
    });
    let large = [MeshFormat::Stl, MeshFormat::Ply].map(|format| Case {
        group: "large",
        name: format!("{GROWN}-large-{}", format.extension()),
        source: Source::Large { format },
    });
    demo.into_iter().chain(open).chain(growth).chain(large).collect()
}

/// Seconds for a demo piece.
const DEMO_SECONDS: f64 = 10.0;

impl Case {
    /// The words above its group's table.
    pub fn group_title(&self) -> &'static str {
        match self.group {
            "demo" => {
                "Demo pieces, each with its own request but for the time: asked is a gap of 5 % within 10 s"
            }
            "open" => {
                "Open meshes, longest side 150 mm, box of 15 mm, default rubber: asked is a gap of \
                 15 % within 60 s and 2 GiB"
            }
            "large" => {
                "Large: bunny00 remeshed, quartered four times, with relief of 0.3 mm and a little noise; target gap 50 %; \
                 asked is a first plan within 120 s, reading included, and 3 GiB"
            }
            _ => {
                "Growth: bunny00 remeshed to 20,000 triangles, quartered again and again, with a \
                 little noise; target gap 50 %, so that the search is short"
            }
        }
    }

    /// The model.
    pub fn mesh(&self) -> Result<TriangleMesh, String> {
        match self.source {
            Source::Demo => {
                let piece =
                    piece(&self.name).ok_or_else(|| format!("no demo piece {}", self.name))?;
                piece.mesh().map_err(|e| format!("{}: {e}", self.name))
            }
            Source::Open { file } => open_mesh_sized(file, SIZE),
            Source::Grown { halvings } => {
                let mut mesh = grown(GROWN_FACES, halvings)?;
                roughen(&mut mesh);
                Ok(mesh)
            }
            Source::Large { .. } => {
                let mut mesh = grown(LARGE_FACES, LARGE_HALVINGS)?;
                carve(&mut mesh);
                roughen(&mut mesh);
                Ok(mesh)
            }
        }
    }

    /// The format of its file.
    pub fn format(&self) -> MeshFormat {
        match self.source {
            Source::Large { format } => format,
            _ => MeshFormat::Stl,
        }
    }

    /// The file of the model that [`Self::mesh`] gives.
    pub fn file(&self, mesh: &TriangleMesh) -> Result<Vec<u8>, String> {
        match self.format() {
            MeshFormat::Ply => Ok(ply(mesh)),
            _ => demo_models::stl::stl_bytes(mesh).map_err(|e| format!("{}: {e}", self.name)),
        }
    }

    /// The request, for the model that [`Self::mesh`] gives or its copy in a file.
    pub fn request(&self, mesh: &TriangleMesh) -> Result<PlanRequest, String> {
        match self.source {
            Source::Demo => {
                let piece =
                    piece(&self.name).ok_or_else(|| format!("no demo piece {}", self.name))?;
                let mut request =
                    demo_request(piece.request).map_err(|e| format!("{}: {e}", self.name))?;
                request.budget.seconds = DEMO_SECONDS;
                Ok(searched_only(request))
            }
            Source::Open { file } => Ok(open_request(open_gate(file, mesh), OPEN_GAP)),
            Source::Grown { .. } | Source::Large { .. } => {
                Ok(open_request(open_gate(GROWN, mesh), GROWN_GAP))
            }
        }
    }
}

fn open_request(gate: GateChoice, target_gap: f64) -> PlanRequest {
    let mut request = PlanRequest { gate, ..PlanRequest::default() };
    request.budget.target_gap = target_gap;
    searched_only(request)
}

/// All the time is the search's: trials have a bench of their own.
fn searched_only(mut request: PlanRequest) -> PlanRequest {
    request.trial.mode = TrialMode::Off;
    request
}

/// The mesh that is quartered, of about so many faces to begin with.
fn grown(faces: f64, halvings: u32) -> Result<TriangleMesh, String> {
    let mesh = open_mesh_sized(GROWN, SIZE)?;
    // A triangle of even size has the area of sqrt(3) / 4 times its side squared.
    let edge = (mesh.area() / (faces * 0.1875_f64.sqrt())).sqrt();
    let mut mesh = planning_mesh(&mesh, edge).map_err(|e| format!("{GROWN}: {e}"))?;
    for _ in 0..halvings {
        mesh = with_edges_halved(&mesh);
    }
    Ok(mesh)
}

/// Ripples over the whole surface, along its normals.
fn carve(mesh: &mut TriangleMesh) {
    let (height, apart) = RELIEF;
    let normals = mesh.vertex_normals();
    let turn = std::f64::consts::TAU / apart;
    for (p, normal) in mesh.positions.iter_mut().zip(&normals) {
        let ripple = (turn * p.x).sin() * (turn * p.y).cos() + (0.7 * turn * p.z).sin();
        *p += normal * (0.5 * height * ripple);
    }
}

fn roughen(mesh: &mut TriangleMesh) {
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(1);
    for p in &mut mesh.positions {
        *p += Vector::from_fn(|_, _| random.random_range(-NOISE..NOISE));
    }
}

/// A demo piece's own request.
fn demo_request(text: &str) -> Result<PlanRequest, String> {
    let message = serde_json::from_str(text).map_err(|e| e.to_string())?;
    request_from_proto(&message, "").map_err(|e| e.to_string())
}
