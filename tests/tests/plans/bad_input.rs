//! Every kind of bad model through the file door: what comes back says which field or place, what
//! is wrong, and what to do.
//!
//! Each case is one row of a table: bytes as a person might hand them in, the kind of error, and
//! words that its message must hold.

use slitwright_solver::mesh::{
    Fault, FaultKind, LengthUnit, MeshFormat, Model, Point, PrepareError, PrepareOptions,
    ReadError, ReadLimits, TriangleMesh, prepare,
};
use slitwright_tests::{
    blocks_mesh, box_mesh, icosphere, moved, off, random_motion, torus_with_edge,
};

const MM: Option<LengthUnit> = Some(LengthUnit::Millimetre);

fn cube() -> TriangleMesh {
    box_mesh([20.0; 3], [2; 3])
}

/// The mesh as a binary STL file: an 80-byte header, a count, 50 bytes a facet (from memory).
fn stl(mesh: &TriangleMesh) -> Vec<u8> {
    let mut bytes = vec![0u8; 80];
    bytes.extend((mesh.faces.len() as u32).to_le_bytes());
    for face in &mesh.faces {
        bytes.extend([0; 12]);
        for &v in face {
            for x in mesh.positions[v as usize].iter() {
                bytes.extend((*x as f32).to_le_bytes());
            }
        }
        bytes.extend([0; 2]);
    }
    bytes
}

fn obj(mesh: &TriangleMesh) -> Vec<u8> {
    let mut text = String::new();
    for p in &mesh.positions {
        text += &format!("v {} {} {}\n", p.x, p.y, p.z);
    }
    for f in &mesh.faces {
        text += &format!("f {} {} {}\n", f[0] + 1, f[1] + 1, f[2] + 1);
    }
    text.into_bytes()
}

fn ply(mesh: &TriangleMesh) -> Vec<u8> {
    let mut text = format!(
        "ply\nformat ascii 1.0\nelement vertex {}\nproperty float x\nproperty float y\nproperty float z\nelement face {}\nproperty list uchar int vertex_indices\nend_header\n",
        mesh.positions.len(),
        mesh.faces.len()
    );
    for p in &mesh.positions {
        text += &format!("{} {} {}\n", p.x, p.y, p.z);
    }
    for f in &mesh.faces {
        text += &format!("3 {} {} {}\n", f[0], f[1], f[2]);
    }
    text.into_bytes()
}

fn joined(a: &TriangleMesh, b: &TriangleMesh) -> TriangleMesh {
    let offset = a.positions.len() as u32;
    let mut mesh = a.clone();
    mesh.positions.extend(&b.positions);
    mesh.faces.extend(b.faces.iter().map(|f| f.map(|v| v + offset)));
    mesh
}

fn shifted(mesh: &TriangleMesh, by: [f64; 3]) -> TriangleMesh {
    let mut mesh = mesh.clone();
    for p in &mut mesh.positions {
        *p += slitwright_solver::mesh::Vector::from(by);
    }
    mesh
}

fn open_door(
    bytes: &[u8],
    format: MeshFormat,
    unit: Option<LengthUnit>,
) -> Result<Model, PrepareError> {
    prepare(bytes, format, unit, &PrepareOptions::default())
}

/// The same where nothing is to be mended that could change the shape.
fn closed_door(bytes: &[u8]) -> Result<Model, PrepareError> {
    let options = PrepareOptions { as_is: true, ..PrepareOptions::default() };
    prepare(bytes, MeshFormat::Off, MM, &options)
}

fn assert_words(name: &str, message: &str, words: &[&str]) {
    for word in words {
        assert!(message.contains(word), "{name}: `{word}` is missing from: {message}");
    }
}

/// A row of the table of files that cannot be read.
struct Unreadable {
    name: &'static str,
    bytes: Vec<u8>,
    format: MeshFormat,
    unit: Option<LengthUnit>,
    kind: fn(&ReadError) -> bool,
    words: &'static [&'static str],
}

macro_rules! kind {
    ($pattern:pat) => {
        |error| matches!(error, $pattern)
    };
}

#[test]
fn files_that_cannot_be_read_are_told_apart() {
    use MeshFormat::{Obj, Off, Ply, Stl, ThreeMf};
    let mut cut_short = stl(&cube());
    cut_short.truncate(cut_short.len() - 30);
    let mut too_many = stl(&cube());
    too_many[80..84].copy_from_slice(&u32::MAX.to_le_bytes());
    let mut not_a_number = cube();
    not_a_number.positions[3].y = f64::NAN;
    let mut endless = cube();
    endless.positions[3].y = f64::INFINITY;
    let mut missing_vertex = cube();
    missing_vertex.faces[5][1] = 999;
    let table = [
        Unreadable {
            name: "no unit",
            bytes: stl(&cube()),
            format: Stl,
            unit: None,
            kind: kind!(ReadError::UnitMissing { .. }),
            words: &["unit", "STL", "mm, cm, m, in, ft or um"],
        },
        Unreadable {
            name: "no unit, OBJ",
            bytes: obj(&cube()),
            format: Obj,
            unit: None,
            kind: kind!(ReadError::UnitMissing { .. }),
            words: &["unit", "OBJ", "say whether"],
        },
        Unreadable {
            name: "metres for millimetres",
            bytes: off(&cube()),
            format: Off,
            unit: Some(LengthUnit::Metre),
            kind: kind!(ReadError::ImplausibleSize { .. }),
            words: &["units", "metres", "20000 mm", "20 mm if the file counts millimetres"],
        },
        Unreadable {
            name: "microns for millimetres",
            bytes: off(&cube()),
            format: Off,
            unit: Some(LengthUnit::Micron),
            kind: kind!(ReadError::ImplausibleSize { .. }),
            words: &["units", "0.02 mm", "if the file counts millimetres"],
        },
        Unreadable {
            name: "OFF given as STL",
            bytes: off(&cube()),
            format: Stl,
            unit: MM,
            kind: kind!(ReadError::OtherFormat { given: Stl, found: Off }),
            words: &["given as STL", "looks like OFF", "give the right format"],
        },
        Unreadable {
            name: "STL given as OFF",
            bytes: stl(&cube()),
            format: Off,
            unit: MM,
            kind: kind!(ReadError::OtherFormat { given: Off, found: Stl }),
            words: &["given as OFF", "looks like STL"],
        },
        Unreadable {
            name: "cut short",
            bytes: cut_short,
            format: Stl,
            unit: MM,
            kind: kind!(ReadError::Truncated { .. }),
            words: &["STL", "ends early", "copy or export it again"],
        },
        Unreadable {
            name: "a count beyond the file",
            bytes: too_many,
            format: Stl,
            unit: MM,
            kind: kind!(ReadError::Truncated { .. }),
            words: &["STL", "ends early", "214748364834 bytes"],
        },
        Unreadable {
            name: "more vertices than fit",
            bytes: b"OFF\n4000000000 12 0\n0 0 0\n".to_vec(),
            format: Off,
            unit: MM,
            kind: kind!(ReadError::CountsDoNotFit { .. }),
            words: &["OFF", "4000000000 vertices", "export it again"],
        },
        Unreadable {
            name: "not a mesh at all",
            bytes: b"three blind mice\nsee how they run\n".to_vec(),
            format: Off,
            unit: MM,
            kind: kind!(ReadError::Malformed { .. }),
            words: &["OFF", "line 1", "`three`"],
        },
        Unreadable {
            name: "a word among numbers",
            bytes: b"OFF\n3 1 0\n0 0 0\n9 zero 0\n0 9 0\n3 0 1 2\n".to_vec(),
            format: Off,
            unit: MM,
            kind: kind!(ReadError::Malformed { .. }),
            words: &["line 4", "`zero` is not a number"],
        },
        Unreadable {
            name: "OFF that stops half way",
            bytes: off(&cube())[..200].to_vec(),
            format: Off,
            unit: MM,
            kind: kind!(ReadError::Malformed { .. } | ReadError::CountsDoNotFit { .. }),
            words: &["OFF"],
        },
        Unreadable {
            name: "a broken package",
            bytes: b"PK\x03\x04 and nothing else".to_vec(),
            format: ThreeMf,
            unit: None,
            kind: kind!(ReadError::Malformed { .. }),
            words: &["3MF", "package"],
        },
        Unreadable {
            name: "PLY without coordinates",
            bytes: b"ply\nformat ascii 1.0\nelement vertex 1\nproperty float u\nend_header\n0.5\n"
                .to_vec(),
            format: Ply,
            unit: MM,
            kind: kind!(ReadError::Malformed { .. }),
            words: &["PLY", "x, y and z"],
        },
        Unreadable {
            name: "empty file",
            bytes: Vec::new(),
            format: Off,
            unit: MM,
            kind: kind!(ReadError::Empty { .. }),
            words: &["OFF", "no faces", "export the model as a surface mesh"],
        },
        Unreadable {
            name: "no faces",
            bytes: b"v 0 0 0\nv 9 0 0\nv 0 9 0\n".to_vec(),
            format: Obj,
            unit: MM,
            kind: kind!(ReadError::Empty { .. }),
            words: &["OBJ", "no faces"],
        },
        Unreadable {
            name: "NaN",
            bytes: off(&not_a_number),
            format: Off,
            unit: MM,
            kind: kind!(ReadError::NotFinite { vertex: 3 }),
            words: &["vertex 3", "not a finite number", "repair the model"],
        },
        Unreadable {
            name: "NaN in PLY",
            bytes: ply(&not_a_number),
            format: Ply,
            unit: MM,
            // Text that is no number for this format: the fourth line after a header of nine.
            kind: kind!(ReadError::Malformed { .. }),
            words: &["PLY", "line 13", "NaN"],
        },
        Unreadable {
            name: "infinity",
            bytes: stl(&endless),
            format: Stl,
            unit: MM,
            kind: kind!(ReadError::NotFinite { .. }),
            words: &["not a finite number"],
        },
        Unreadable {
            name: "a face of a vertex that is not there",
            bytes: off(&missing_vertex),
            format: Off,
            unit: MM,
            kind: kind!(ReadError::BadIndex { face: 5, vertex: 999, .. }),
            words: &["face 5", "vertex 999", "26 vertices"],
        },
        Unreadable {
            name: "a polygon of two corners",
            bytes: b"OFF\n3 1 0\n0 0 0\n9 0 0\n0 9 0\n2 0 1\n".to_vec(),
            format: Off,
            unit: MM,
            kind: kind!(ReadError::BadPolygon { face: 0, corners: 2 }),
            words: &["face 0", "2 corners", "fewer than three"],
        },
    ];
    for row in table {
        match open_door(&row.bytes, row.format, row.unit) {
            Err(PrepareError::Read(error)) => {
                assert!((row.kind)(&error), "{}: {error:?}", row.name);
                assert_words(row.name, &error.to_string(), row.words);
            }
            other => panic!("{}: {other:?}", row.name),
        }
    }
}

#[test]
fn limits_are_named_with_their_numbers() {
    let sphere = icosphere(40.0, 3);
    for (format, bytes) in [
        (MeshFormat::Stl, stl(&sphere)),
        (MeshFormat::Obj, obj(&sphere)),
        (MeshFormat::Ply, ply(&sphere)),
        (MeshFormat::Off, off(&sphere)),
    ] {
        let with = |limits| {
            let options = PrepareOptions { limits, ..PrepareOptions::default() };
            prepare(&bytes, format, MM, &options).expect_err("beyond the limit").to_string()
        };
        let few = with(ReadLimits { max_triangles: 1000, ..ReadLimits::default() });
        assert_words("triangles", &few, &["triangles", "the limit is 1000", "decimate"]);
        let small = with(ReadLimits { max_bytes: 1000, ..ReadLimits::default() });
        assert_words("bytes", &small, &["bytes", "the limit of 1000", "decimate"]);
    }
}

#[test]
fn a_unit_or_a_format_that_nobody_knows() {
    let error = LengthUnit::from_name("cubit").expect_err("no such unit").to_string();
    assert_words("unit", &error, &["unit `cubit`", "use mm, cm, m, in, ft or um"]);
    let error = MeshFormat::from_file_name("jug.step").expect_err("no mesh").to_string();
    assert_words("name", &error, &["`jug.step`", "use stl, obj, ply, off, 3mf, glb or gltf"]);
}

/// A row of the table of meshes that can be read but not planned on.
struct Unsound {
    name: &'static str,
    mesh: TriangleMesh,
    kind: FaultKind,
    count: usize,
    words: &'static [&'static str],
}

/// Edges with one face, counted without the crate.
fn open_edges(mesh: &TriangleMesh) -> usize {
    let mut faces = std::collections::BTreeMap::new();
    for f in &mesh.faces {
        for k in 0..3 {
            let (a, b) = (f[k], f[(k + 1) % 3]);
            *faces.entry((a.min(b), a.max(b))).or_insert(0) += 1;
        }
    }
    faces.values().filter(|&&n| n == 1).count()
}

fn faults_of(name: &str, result: Result<Model, PrepareError>) -> (Vec<Fault>, String) {
    match result {
        Err(error) => {
            let words = error.to_string();
            match error {
                PrepareError::Unsound { faults, .. } => (faults, words),
                other => panic!("{name}: {other:?}"),
            }
        }
        Ok(model) => panic!("{name} went through with {:?} and {:?}", model.repairs, model.report),
    }
}

#[test]
fn unsound_meshes_are_told_apart() {
    // All faces at two neighbouring vertices of a sphere away: their rim is not flat.
    let mut open = icosphere(30.0, 2);
    let gone = open.faces[0];
    open.faces.retain(|f| !f.contains(&gone[0]) && !f.contains(&gone[1]));
    let rim = open_edges(&open);
    let mut turned = cube();
    turned.faces[7].swap(0, 1);
    // Two cubes that share an edge, numbered once: four faces meet there.
    let crowded = blocks_mesh([2, 2, 1], 10.0, |[x, y, _]| x == y);
    // Two cubes that share a corner only.
    let pinched = blocks_mesh([2, 2, 2], 10.0, |[x, y, z]| x == y && y == z);
    let crossing = {
        // The corner of a box pushed out through the opposite wall.
        let mut mesh = icosphere(30.0, 3);
        mesh.positions[0] = Point::from(mesh.positions[0].coords * -1.4);
        mesh
    };
    let table = [
        Unsound {
            name: "an open rim that is not flat",
            mesh: open,
            kind: FaultKind::Open,
            count: rim,
            words: &["not closed", "first near", "not flat", "close it where the model was made"],
        },
        Unsound {
            name: "two bodies",
            mesh: joined(&cube(), &shifted(&cube(), [40.0, 0.0, 0.0])),
            kind: FaultKind::SeveralBodies,
            count: 2,
            words: &["2 separate bodies where one is wanted", "20.0 mm long with 48 faces"],
        },
        Unsound {
            name: "a face turned over",
            mesh: turned,
            kind: FaultKind::Orientation,
            count: 3,
            words: &["disagree about which side is out", "3 edges", "first near"],
        },
        Unsound {
            name: "four faces at an edge",
            mesh: crowded,
            kind: FaultKind::NonManifoldEdge,
            count: 1,
            words: &["more than two faces meet", "(10.0, 10.0, 5.0) mm"],
        },
        Unsound {
            name: "two cubes that touch in a corner",
            mesh: pinched,
            kind: FaultKind::PinchedVertex,
            count: 1,
            words: &["touch in that point only", "(10.0, 10.0, 10.0) mm"],
        },
        Unsound {
            name: "a surface through itself",
            mesh: crossing,
            kind: FaultKind::SelfCrossing,
            count: 0,
            words: &["passes through itself", "first near", "accept_self_crossing"],
        },
    ];
    for row in table {
        for (format, bytes) in
            [(MeshFormat::Off, off(&row.mesh)), (MeshFormat::Ply, ply(&row.mesh))]
        {
            let options = PrepareOptions { as_is: true, ..PrepareOptions::default() };
            let (faults, words) = faults_of(row.name, prepare(&bytes, format, MM, &options));
            let fault = faults.iter().find(|f| f.kind == row.kind);
            let fault = fault.unwrap_or_else(|| panic!("{}: {faults:?}", row.name));
            if row.count > 0 {
                assert_eq!(fault.count, row.count, "{}: {words}", row.name);
            } else {
                assert!(fault.count > 0, "{}: {words}", row.name);
            }
            assert!(fault.place.is_some(), "{}: no place", row.name);
            assert_words(row.name, &words, row.words);
            assert_words(row.name, &words, &["must be mended first"]);
        }
    }
}

/// Several faults at once: all are told, not only the first.
#[test]
fn every_fault_is_told() {
    let mut mesh = joined(&cube(), &shifted(&cube(), [40.0, 0.0, 0.0]));
    mesh.faces[7].swap(0, 1);
    let (faults, words) = faults_of("both", closed_door(&off(&mesh)));
    let kinds: Vec<FaultKind> = faults.iter().map(|f| f.kind).collect();
    assert!(kinds.contains(&FaultKind::Orientation), "{kinds:?}");
    assert!(kinds.contains(&FaultKind::SeveralBodies), "{kinds:?}");
    assert_words("both", &words, &["2 faults", "disagree", "separate bodies"]);
}

/// What can be mended without inventing a shape is mended, and said.
#[test]
fn safe_repairs_are_done_and_told() {
    let mut no_base = cube();
    no_base.faces.retain(|f| !f.iter().all(|&v| no_base.positions[v as usize].z == 0.0));
    let mut inside_out = cube();
    for face in &mut inside_out.faces {
        face.swap(0, 1);
    }
    let mut torn = TriangleMesh::default();
    for face in &cube().faces {
        let first = torn.positions.len() as u32;
        torn.positions.extend(face.map(|v| cube().positions[v as usize]));
        torn.faces.push([first, first + 1, first + 2]);
    }
    let table: [(&str, TriangleMesh, &[&str]); 3] = [
        ("an open flat base", no_base, &["capped a flat opening", "400.0 mm^2"]),
        ("inside out", inside_out, &["turned the body", "looked inward"]),
        ("torn apart", torn, &["welded"]),
    ];
    for (name, mesh, words) in table {
        let model = open_door(&off(&mesh), MeshFormat::Off, MM)
            .unwrap_or_else(|error| panic!("{name}: {error}"));
        let volume = model.original.signed_volume();
        assert!((volume / 8000.0 - 1.0).abs() < 1e-9, "{name}: {volume} mm^3");
        assert_words(name, &model.repairs.join("; "), words);
    }
}

/// Thin parts and faces without area do not stop the work; they are told as warnings.
#[test]
fn mild_faults_are_warnings() {
    let sheet = box_mesh([60.0, 40.0, 0.5], [12, 8, 1]);
    let model = open_door(&off(&sheet), MeshFormat::Off, MM).expect("thin but sound");
    let warnings = model.warnings().join("; ");
    assert_words("sheet", &warnings, &["thin parts", "0.50 mm"]);
    let sound = torus_with_edge(30.0, 10.0, 3.0);
    let model = open_door(&off(&moved(&sound, &random_motion(4))), MeshFormat::Off, MM);
    assert!(model.expect("sound").warnings().is_empty());
}

/// Numbers of the options themselves.
#[test]
fn a_deviation_that_is_no_length() {
    for deviation in [0.0, -1.0, f64::NAN] {
        let options = PrepareOptions { deviation: Some(deviation), ..PrepareOptions::default() };
        let error = prepare(&off(&cube()), MeshFormat::Off, MM, &options).expect_err("no length");
        assert_words("deviation", &error.to_string(), &["deviation", "give a length in mill"]);
    }
}
