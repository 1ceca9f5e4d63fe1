//! What is measured.

use std::path::PathBuf;

use demo_models::pieces;
use rand::{Rng, SeedableRng};
use slitwright_solver::body::{GateChoice, MouldShape, RubberClass};
use slitwright_solver::mesh::{
    LengthUnit, MeshFormat, Point, ReadLimits, TriangleMesh, Vector, read,
};
use slitwright_solver::plan::PlanRequest;
use slitwright_tests::with_edges_halved;

/// Longest side that open meshes are scaled to, mm.
const SIZE: f64 = 150.0;
/// Height of the gate above the lowest point of a model that stands on no flat face, mm.
const FEET: f64 = 8.0;
/// Noise on the vertices of a subdivided mesh, mm: a scan is never flat.
const NOISE: f64 = 0.01;

/// One measurement.
pub struct Case {
    /// Its group: demo, open or growth.
    pub group: &'static str,
    /// Its name.
    pub name: String,
    source: Source,
}

enum Source {
    Demo,
    Open { file: &'static str, halvings: u32 },
}

/// Every case, in the order of the table.
pub fn all_cases() -> Vec<Case> {
    let demo = pieces()
        .iter()
        .map(|p| Case { group: "demo", name: p.name.to_owned(), source: Source::Demo })
        .collect::<Vec<_>>();
    let open = ["bunny00", "refined_elephant"].map(|file| Case {
        group: "open",
        name: file.to_owned(),
        source: Source::Open { file, halvings: 0 },
    });
    let growth = [1, 2, 3, 4].map(|halvings| Case {
        group: "growth",
        name: format!("elephant-x{}", 4_u32.pow(halvings)),
        source: Source::Open { file: "elephant", halvings },
    });
    demo.into_iter().chain(open).chain(growth).collect()
}

impl Case {
    /// The words above its group's table.
    pub fn group_title(&self) -> &'static str {
        match self.group {
            "demo" => "Demo pieces, each with its own request: asked is a gap of 5 % within 10 s",
            "open" => {
                "Open meshes, longest side 150 mm, box of 15 mm, default rubber: asked is a gap of \
                 15 % within 60 s and 2 GiB"
            }
            _ => {
                "Growth: the open mesh elephant with its triangles quartered again and again, \
                 target gap 15 %"
            }
        }
    }

    /// The model.
    pub fn mesh(&self) -> Result<TriangleMesh, String> {
        match self.source {
            Source::Demo => {
                let piece = pieces().into_iter().find(|p| p.name == self.name);
                let piece = piece.ok_or_else(|| format!("no demo piece {}", self.name))?;
                piece.mesh().map_err(|e| format!("{}: {e}", self.name))
            }
            Source::Open { file, halvings } => {
                let mut mesh = open_mesh(file)?;
                for _ in 0..halvings {
                    mesh = with_edges_halved(&mesh);
                }
                if halvings > 0 {
                    roughen(&mut mesh);
                }
                Ok(mesh)
            }
        }
    }

    /// The request, for the model that [`Self::mesh`] gives or its copy in a file.
    pub fn request(&self, mesh: &TriangleMesh) -> Result<PlanRequest, String> {
        let mut request = PlanRequest::default();
        match self.source {
            Source::Demo => {
                let piece = pieces().into_iter().find(|p| p.name == self.name);
                let piece = piece.ok_or_else(|| format!("no demo piece {}", self.name))?;
                demo_request(piece.request, &mut request)
                    .ok_or_else(|| format!("{}: its request cannot be read", self.name))?;
            }
            Source::Open { file, .. } => {
                request.gate = open_gate(file, mesh);
                request.budget.target_gap = 0.15;
            }
        }
        Ok(request)
    }
}

/// Both stand with y upwards. The bunny's base is flat; the elephant stands on the round tips of
/// three feet, no two of the same height, so its gate is all that lies below a plane.
fn open_gate(file: &str, mesh: &TriangleMesh) -> GateChoice {
    if file == "bunny00" {
        return GateChoice::LowestFlat { up: Vector::y() };
    }
    let lowest = mesh.positions.iter().map(|p| p.y).fold(f64::INFINITY, f64::min);
    GateChoice::Plane { point: Point::new(0.0, lowest + FEET, 0.0), normal: -Vector::y() }
}

fn open_mesh(name: &str) -> Result<TriangleMesh, String> {
    let folder = std::env::var_os("SLITWRIGHT_MESHES")
        .map_or_else(|| PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("meshes"), PathBuf::from);
    let path = folder.join(format!("{name}.off"));
    let bytes = std::fs::read(&path)
        .map_err(|e| format!("{}: {e}; tests/fetch-meshes.sh fetches it", path.display()))?;
    // Units of these files mean nothing.
    let limits =
        ReadLimits { least_side: 0.0, greatest_side: f64::INFINITY, ..ReadLimits::default() };
    let mut mesh = read(&bytes, MeshFormat::Off, Some(LengthUnit::Millimetre), &limits)
        .map_err(|e| format!("{name}: {e}"))?;
    let scale = SIZE / mesh.longest_side();
    for p in &mut mesh.positions {
        *p *= scale;
    }
    Ok(mesh)
}

fn roughen(mesh: &mut TriangleMesh) {
    let mut random = rand_chacha::ChaCha8Rng::seed_from_u64(1);
    for p in &mut mesh.positions {
        *p += Vector::from_fn(|_, _| random.random_range(-NOISE..NOISE));
    }
}

/// Reads what the demo pieces' requests hold.
fn demo_request(text: &str, request: &mut PlanRequest) -> Option<()> {
    let json: serde_json::Value = serde_json::from_str(text).ok()?;
    let mould = &json["mould"];
    let number = |shape: &str, field: &str| mould[shape][field].as_f64();
    request.mould = if mould["box"].is_object() {
        MouldShape::Box {
            side_clearance: number("box", "sideClearanceMm")?,
            top_clearance: number("box", "topClearanceMm")?,
        }
    } else if mould["cylinder"].is_object() {
        MouldShape::Cylinder {
            side_clearance: number("cylinder", "sideClearanceMm")?,
            top_clearance: number("cylinder", "topClearanceMm")?,
        }
    } else {
        MouldShape::Blanket { thickness: number("blanket", "thicknessMm")? }
    };
    let class = match json["rubber"]["class"].as_str()? {
        "RUBBER_CLASS_SOFT_SILICONE" => RubberClass::SoftSilicone,
        "RUBBER_CLASS_MEDIUM_SILICONE" => RubberClass::MediumSilicone,
        "RUBBER_CLASS_FIRM_SILICONE" => RubberClass::FirmSilicone,
        "RUBBER_CLASS_SOFT_POLYURETHANE" => RubberClass::SoftPolyurethane,
        "RUBBER_CLASS_FIRM_POLYURETHANE" => RubberClass::FirmPolyurethane,
        _ => return None,
    };
    request.rubber = class.typical();
    request.budget.seconds = json["budget"]["timeLimitSeconds"].as_f64()?;
    request.budget.target_gap = json["budget"]["targetGap"].as_f64()?;
    Some(())
}
