use std::io::{Cursor, Write};

use super::super::fixtures::{cuboid, icosphere};
use super::*;

const MM: Option<LengthUnit> = Some(LengthUnit::Millimetre);

fn read_mm(bytes: &[u8], format: MeshFormat) -> Result<TriangleMesh, ReadError> {
    read(bytes, format, MM, &ReadLimits::default())
}

fn stl_triangles(mesh: &TriangleMesh) -> Vec<stl_io::Triangle> {
    mesh.faces
        .iter()
        .map(|f| stl_io::Triangle {
            normal: stl_io::Normal::new([0.0; 3]),
            vertices: f.map(|v| {
                let p = mesh.positions[v as usize];
                stl_io::Vertex::new([p.x as f32, p.y as f32, p.z as f32])
            }),
        })
        .collect()
}

fn binary_stl(mesh: &TriangleMesh) -> Vec<u8> {
    let mut bytes = Vec::new();
    stl_io::write_stl(&mut bytes, stl_triangles(mesh).iter()).expect("write to memory");
    bytes
}

fn ascii_stl(mesh: &TriangleMesh, name: &str) -> String {
    let mut text = format!("solid{name}\n");
    for t in stl_triangles(mesh) {
        text += " facet normal 0 0 0\n  outer loop\n";
        for v in t.vertices {
            text += &format!("   vertex {} {} {}\n", v.0[0], v.0[1], v.0[2]);
        }
        text += "  endloop\n endfacet\n";
    }
    text + &format!("endsolid{name}\n")
}

fn off_text(mesh: &TriangleMesh) -> String {
    let mut text =
        format!("OFF\n# made for a test\n{} {} 0\n", mesh.positions.len(), mesh.faces.len());
    for p in &mesh.positions {
        text += &format!("{} {} {}\n", p.x, p.y, p.z);
    }
    for f in &mesh.faces {
        text += &format!("3 {} {} {}\n", f[0], f[1], f[2]);
    }
    text
}

fn obj_text(mesh: &TriangleMesh) -> String {
    let mut text = String::from("o part\n");
    for p in &mesh.positions {
        text += &format!("v {} {} {}\n", p.x, p.y, p.z);
    }
    for f in &mesh.faces {
        text += &format!("f {} {} {}\n", f[0] + 1, f[1] + 1, f[2] + 1);
    }
    text
}

fn ply_header(encoding: &str, vertices: u64, faces: u64, real: &str) -> String {
    format!(
        "ply\nformat {encoding} 1.0\ncomment a test\nelement vertex {vertices}\nproperty {real} x\nproperty {real} y\nproperty {real} z\nelement face {faces}\nproperty list uchar int vertex_indices\nend_header\n"
    )
}

fn ascii_ply(mesh: &TriangleMesh) -> String {
    let mut text =
        ply_header("ascii", mesh.positions.len() as u64, mesh.faces.len() as u64, "float");
    for p in &mesh.positions {
        text += &format!("{} {} {}\n", p.x, p.y, p.z);
    }
    for f in &mesh.faces {
        text += &format!("3 {} {} {}\n", f[0], f[1], f[2]);
    }
    text
}

fn binary_ply(mesh: &TriangleMesh, big: bool) -> Vec<u8> {
    let name = if big { "binary_big_endian" } else { "binary_little_endian" };
    let mut bytes =
        ply_header(name, mesh.positions.len() as u64, mesh.faces.len() as u64, "double")
            .into_bytes();
    for p in &mesh.positions {
        for x in p.iter() {
            bytes.extend(if big { x.to_be_bytes() } else { x.to_le_bytes() });
        }
    }
    for f in &mesh.faces {
        bytes.push(3);
        for v in f {
            bytes.extend(if big { v.to_be_bytes() } else { v.to_le_bytes() });
        }
    }
    bytes
}

fn package(model: &str) -> Vec<u8> {
    let mut writer = zip::ZipWriter::new(Cursor::new(Vec::new()));
    let options = zip::write::SimpleFileOptions::default()
        .compression_method(zip::CompressionMethod::Deflated);
    writer.start_file("3D/3dmodel.model", options).expect("in memory");
    writer.write_all(model.as_bytes()).expect("in memory");
    writer.finish().expect("in memory").into_inner()
}

fn three_mf(mesh: &TriangleMesh, unit: &str, objects: &str, items: &str) -> Vec<u8> {
    let mut text = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<model unit=\"{unit}\" xmlns=\"http://schemas.microsoft.com/3dmanufacturing/core/2015/02\"><resources><object id=\"1\" type=\"model\"><mesh><vertices>"
    );
    for p in &mesh.positions {
        text += &format!("<vertex x=\"{}\" y=\"{}\" z=\"{}\"/>", p.x, p.y, p.z);
    }
    text += "</vertices><triangles>";
    for f in &mesh.faces {
        text += &format!("<triangle v1=\"{}\" v2=\"{}\" v3=\"{}\"/>", f[0], f[1], f[2]);
    }
    text +=
        &format!("</triangles></mesh></object>{objects}</resources><build>{items}</build></model>");
    package(&text)
}

const ONE_ITEM: &str = "<item objectid=\"1\"/>";

#[test]
fn every_format_gives_the_same_body() {
    let sphere = icosphere(40.0, 2);
    let cases: Vec<(MeshFormat, Vec<u8>)> = vec![
        (MeshFormat::Stl, binary_stl(&sphere)),
        (MeshFormat::Stl, ascii_stl(&sphere, " ball").into_bytes()),
        (MeshFormat::Stl, ascii_stl(&sphere, "").into_bytes()),
        (MeshFormat::Stl, ascii_stl(&sphere, " ball").replace('\n', "\r\n").into_bytes()),
        (MeshFormat::Obj, obj_text(&sphere).into_bytes()),
        (MeshFormat::Ply, ascii_ply(&sphere).into_bytes()),
        (MeshFormat::Ply, binary_ply(&sphere, false)),
        (MeshFormat::Ply, binary_ply(&sphere, true)),
        (MeshFormat::Off, off_text(&sphere).into_bytes()),
        (MeshFormat::ThreeMf, three_mf(&sphere, "millimeter", "", ONE_ITEM)),
    ];
    for (k, (format, bytes)) in cases.iter().enumerate() {
        let mesh = read_mm(bytes, *format).unwrap_or_else(|e| panic!("case {k}: {e}"));
        assert_eq!(mesh.positions.len(), sphere.positions.len(), "case {k}");
        assert_eq!(mesh.faces.len(), sphere.faces.len(), "case {k}");
        // Some formats hold single precision only.
        approx::assert_relative_eq!(
            mesh.signed_volume(),
            sphere.signed_volume(),
            max_relative = 1e-6
        );
    }
}

#[test]
fn a_binary_stl_may_start_with_solid() {
    let mut bytes = binary_stl(&icosphere(40.0, 1));
    bytes[..6].copy_from_slice(b"solid ");
    assert_eq!(read_mm(&bytes, MeshFormat::Stl).expect("binary").faces.len(), 80);
}

#[test]
fn several_ascii_solids_are_all_read() {
    let text = ascii_stl(&icosphere(40.0, 0), " one") + &ascii_stl(&cuboid([90.0; 3]), " two");
    assert_eq!(read_mm(text.as_bytes(), MeshFormat::Stl).expect("two").faces.len(), 32);
}

#[test]
fn units_scale_and_are_never_guessed() {
    // 2 inches are 50.8 mm by the inch's definition.
    let cube = cuboid([2.0; 3]);
    let text = off_text(&cube);
    let limits = ReadLimits::default();
    let mesh = read(text.as_bytes(), MeshFormat::Off, Some(LengthUnit::Inch), &limits);
    approx::assert_relative_eq!(mesh.expect("cube").longest_side(), 50.8, max_relative = 1e-12);
    assert_eq!(
        read(text.as_bytes(), MeshFormat::Off, None, &limits),
        Err(ReadError::UnitMissing { format: MeshFormat::Off })
    );
    let small = read_mm(text.as_bytes(), MeshFormat::Off).expect_err("2 mm");
    let message = small.to_string();
    assert!(message.contains("wrong units?"), "{message}");
    assert!(message.contains("2 mm"), "{message}");
    assert!(message.contains("50.8 mm if the file counts inches"), "{message}");
    let large = read(
        text.as_bytes(),
        MeshFormat::Off,
        Some(LengthUnit::Metre),
        &ReadLimits { greatest_side: 1000.0, ..limits },
    );
    assert!(matches!(large, Err(ReadError::ImplausibleSize { longest_side: 2000.0, .. })));
}

#[test]
fn a_3mf_file_brings_its_unit() {
    let bytes = three_mf(&cuboid([2.0; 3]), "inch", "", ONE_ITEM);
    let limits = ReadLimits::default();
    for unit in [None, Some(LengthUnit::Inch)] {
        let mesh = read(&bytes, MeshFormat::ThreeMf, unit, &limits).expect("cube");
        approx::assert_relative_eq!(mesh.longest_side(), 50.8, max_relative = 1e-12);
    }
    assert_eq!(
        read(&bytes, MeshFormat::ThreeMf, MM, &limits),
        Err(ReadError::UnitContradicts { given: LengthUnit::Millimetre, file: LengthUnit::Inch })
    );
}

#[test]
fn a_3mf_file_places_its_parts() {
    // A component, mirrored and moved; the item turns it a quarter about z and moves it again.
    let objects = "<object id=\"2\" type=\"model\"><components><component objectid=\"1\" transform=\"-1 0 0 0 1 0 0 0 1 10 0 0\"/></components></object>";
    let items = "<item objectid=\"2\" transform=\"0 1 0 -1 0 0 0 0 1 0 0 100\"/>";
    let bytes = three_mf(&cuboid([10.0, 20.0, 30.0]), "millimeter", objects, items);
    let mesh = read(&bytes, MeshFormat::ThreeMf, None, &ReadLimits::default()).expect("box");
    approx::assert_relative_eq!(mesh.signed_volume(), 6000.0, max_relative = 1e-12);
    let (low, high) = mesh.bounds().expect("not empty");
    approx::assert_relative_eq!(low, Point::new(-20.0, 0.0, 100.0), epsilon = 1e-9);
    approx::assert_relative_eq!(high, Point::new(0.0, 10.0, 130.0), epsilon = 1e-9);
}

#[test]
fn a_3mf_file_that_nests_itself_is_refused() {
    let objects = "<object id=\"2\" type=\"model\"><components><component objectid=\"2\"/></components></object>";
    let bytes = three_mf(&cuboid([10.0; 3]), "millimeter", objects, "<item objectid=\"2\"/>");
    let error = read(&bytes, MeshFormat::ThreeMf, None, &ReadLimits::default());
    assert!(matches!(error, Err(ReadError::Malformed { .. })), "{error:?}");
}

#[test]
fn polygons_become_triangles() {
    let text = "OFF\n8 6 0\n0 0 0\n10 0 0\n0 10 0\n10 10 0\n0 0 10\n10 0 10\n0 10 10\n10 10 10\n4 0 2 3 1 255 0 0\n4 4 5 7 6\n4 0 1 5 4\n4 2 6 7 3\n4 0 4 6 2\n4 1 3 7 5\n";
    let mesh = read_mm(text.as_bytes(), MeshFormat::Off).expect("quads");
    assert_eq!(mesh.faces.len(), 12);
    approx::assert_relative_eq!(mesh.signed_volume(), 1000.0);
    let text = "v 0 0 0\nv 10 0 0\nv 0 10 0\nv 10 10 0\nv 0 0 10\nv 10 0 10\nv 0 10 10\nv 10 10 10\nf 1 3 4 2\nf 5 6 8 7\nf 1 2 6 5\nf 3 7 8 4\nf 1 5 7 3\nf 2 4 8 6\n";
    let mesh = read_mm(text.as_bytes(), MeshFormat::Obj).expect("quads");
    approx::assert_relative_eq!(mesh.signed_volume(), 1000.0);
}

#[test]
fn numbers_that_are_not_finite_name_their_vertex() {
    let mut cube = cuboid([50.0; 3]);
    cube.positions[5].y = f64::NAN;
    // The fixture's sixth vertex; STL numbers vertices by first use.
    for (bytes, format) in [
        (off_text(&cube).into_bytes(), MeshFormat::Off),
        (binary_ply(&cube, false), MeshFormat::Ply),
    ] {
        assert_eq!(read_mm(&bytes, format), Err(ReadError::NotFinite { vertex: 5 }), "{format}");
    }
    let error = read_mm(&binary_stl(&cube), MeshFormat::Stl);
    assert!(matches!(error, Err(ReadError::NotFinite { .. })), "{error:?}");
    cube.positions[5].y = f64::INFINITY;
    assert!(read_mm(ascii_stl(&cube, " x").as_bytes(), MeshFormat::Stl).is_err());
}

#[test]
fn empty_files_are_refused() {
    for format in MeshFormat::ALL {
        assert!(read_mm(b"", format).is_err(), "{format}");
    }
    assert_eq!(
        read_mm(b"OFF\n0 0 0\n", MeshFormat::Off),
        Err(ReadError::Empty { format: MeshFormat::Off })
    );
    assert_eq!(
        read_mm(&[0; 84], MeshFormat::Stl),
        Err(ReadError::Empty { format: MeshFormat::Stl })
    );
}

#[test]
fn hostile_counts_set_no_memory_aside() {
    // 4 billion triangles in 134 bytes.
    let mut bytes = binary_stl(&icosphere(40.0, 0))[..134].to_vec();
    bytes[80..84].copy_from_slice(&u32::MAX.to_le_bytes());
    assert!(matches!(
        read_mm(&bytes, MeshFormat::Stl),
        Err(ReadError::Truncated { expected: 214_748_364_834, found: 134, .. })
    ));
    for encoding in ["ascii", "binary_little_endian"] {
        let text = ply_header(encoding, 4_000_000_000_000, 12, "float");
        assert!(matches!(
            read_mm(text.as_bytes(), MeshFormat::Ply),
            Err(ReadError::CountsDoNotFit { count: 4_000_000_000_000, .. })
        ));
    }
    // A list of 2 billion corners in a file of some hundred bytes.
    let mut bytes = ply_header("binary_little_endian", 3, 1, "float")
        .replace("list uchar", "list uint")
        .into_bytes();
    bytes.extend([0; 36]);
    bytes.extend(2_000_000_000u32.to_le_bytes());
    bytes.extend([0; 12]);
    assert!(matches!(read_mm(&bytes, MeshFormat::Ply), Err(ReadError::Malformed { .. })));
    assert!(matches!(
        read_mm(b"OFF\n4000000000 4000000000 0\n0 0 0\n", MeshFormat::Off),
        Err(ReadError::CountsDoNotFit { .. })
    ));
    assert!(matches!(
        read_mm(b"OFF\n3 1 0\n0 0 0\n1 0 0\n0 1 0\n4000000000 0 1 2\n", MeshFormat::Off),
        Err(ReadError::Malformed { .. })
    ));
}

#[test]
fn corners_counted_back_too_far_are_refused() {
    let quad = |corner: &str| {
        format!("v 0 0 0\nv 9 0 0\nv 9 9 0\nv 0 9 0\nvt 0 0\nvn 0 0 1\nf {corner} -3 -2 -1\n")
    };
    for good in ["-4", "-4/-1/-1", "1", "-4//-1"] {
        let mesh = read_mm(quad(good).as_bytes(), MeshFormat::Obj).expect(good);
        assert_eq!(mesh.faces.len(), 2, "{good}");
    }
    for bad in ["-5", "-4/-2", "-4/-1/-2", "-4//-11", "-4/-11\u{b}", "-18446744073709551615"] {
        let fault = read_mm(quad(bad).as_bytes(), MeshFormat::Obj).expect_err(bad);
        assert!(
            matches!(&fault, ReadError::Malformed { place, .. } if place == "in line 7"),
            "{bad}: {fault:?}"
        );
    }
}

#[test]
fn corners_of_numbers_beyond_any_file_are_refused() {
    let triangle =
        |corner: &str| format!("f {corner} 2 3\nv 0 0 0\nv 9 0 0\nv 0 9 0\nvt 0 0\nvn 0 0 1\n");
    // What a face names may follow it.
    for good in ["1", "1/1/1", "1//1"] {
        assert!(read_mm(triangle(good).as_bytes(), MeshFormat::Obj).is_ok(), "{good}");
    }
    // Three times the first two is more than 64 bits hold.
    for bad in [
        "1//6148914691236517207",
        "1//9223372036854775807",
        "9223372036854775807",
        "1/9223372036854775807",
        "1/1/58",
    ] {
        let fault = read_mm(triangle(bad).as_bytes(), MeshFormat::Obj).expect_err(bad);
        assert!(
            matches!(&fault, ReadError::Malformed { place, .. } if place == "in line 1"),
            "{bad}: {fault:?}"
        );
    }
    let fault = read_mm(triangle("1//4").as_bytes(), MeshFormat::Obj);
    assert!(matches!(fault, Err(ReadError::Malformed { .. })), "{fault:?}");
}

#[test]
fn a_packed_file_is_measured_before_it_is_unpacked() {
    let bomb = package(&" ".repeat(20_000_000));
    assert!(bomb.len() < 100_000);
    let limits = ReadLimits { max_bytes: 1_000_000, ..ReadLimits::default() };
    assert_eq!(
        read(&bomb, MeshFormat::ThreeMf, None, &limits),
        Err(ReadError::TooManyBytes { bytes: 1_000_001, limit: 1_000_000 })
    );
}

#[test]
fn limits_hold_for_every_format() {
    let sphere = icosphere(40.0, 2);
    let few = ReadLimits { max_triangles: 100, ..ReadLimits::default() };
    let small = ReadLimits { max_bytes: 100, ..ReadLimits::default() };
    for (format, bytes) in [
        (MeshFormat::Stl, binary_stl(&sphere)),
        (MeshFormat::Stl, ascii_stl(&sphere, " a").into_bytes()),
        (MeshFormat::Obj, obj_text(&sphere).into_bytes()),
        (MeshFormat::Ply, binary_ply(&sphere, true)),
        (MeshFormat::Off, off_text(&sphere).into_bytes()),
        (MeshFormat::ThreeMf, three_mf(&sphere, "millimeter", "", ONE_ITEM)),
    ] {
        let error = read(&bytes, format, MM, &few);
        assert!(matches!(error, Err(ReadError::TooManyTriangles { .. })), "{format}: {error:?}");
        let error = read(&bytes, format, MM, &small);
        assert!(matches!(error, Err(ReadError::TooManyBytes { .. })), "{format}: {error:?}");
    }
}

#[test]
fn every_truncation_is_an_error_or_empty() {
    let sphere = icosphere(40.0, 0);
    for (format, bytes) in [
        (MeshFormat::Stl, binary_stl(&sphere)),
        (MeshFormat::Stl, ascii_stl(&sphere, " a").into_bytes()),
        (MeshFormat::Ply, binary_ply(&sphere, true)),
        (MeshFormat::Ply, ascii_ply(&sphere).into_bytes()),
        (MeshFormat::Off, off_text(&sphere).into_bytes()),
        (MeshFormat::ThreeMf, three_mf(&sphere, "millimeter", "", ONE_ITEM)),
    ] {
        for length in (0..bytes.len() - 12).step_by(7) {
            assert!(read_mm(&bytes[..length], format).is_err(), "{format} cut at {length}");
        }
    }
}

#[test]
fn faces_that_name_missing_vertices_are_refused() {
    assert_eq!(
        read_mm(b"OFF\n3 1 0\n0 0 0\n10 0 0\n0 10 0\n3 0 1 3\n", MeshFormat::Off),
        Err(ReadError::BadIndex { face: 0, vertex: 3, count: 3 })
    );
    assert!(read_mm(b"v 0 0 0\nv 9 0 0\nv 0 9 0\nf 1 2 9\n", MeshFormat::Obj).is_err());
    let text = ply_header("ascii", 3, 1, "float") + "0 0 0\n9 0 0\n0 9 0\n3 0 1 -2\n";
    assert!(matches!(
        read_mm(text.as_bytes(), MeshFormat::Ply),
        Err(ReadError::BadIndex { vertex: -2, .. })
    ));
}

#[test]
fn names_and_contents_tell_the_format() {
    assert_eq!(MeshFormat::from_file_name("a.b/Clapper.STL"), Ok(MeshFormat::Stl));
    assert_eq!(MeshFormat::from_file_name("jug.3mf"), Ok(MeshFormat::ThreeMf));
    assert!(MeshFormat::from_file_name("jug.step").is_err());
    assert!(MeshFormat::from_file_name("jug").is_err());
    let text = off_text(&cuboid([50.0; 3]));
    assert_eq!(
        read_mm(text.as_bytes(), MeshFormat::Stl),
        Err(ReadError::OtherFormat { given: MeshFormat::Stl, found: MeshFormat::Off })
    );
    assert_eq!(LengthUnit::from_name("Inches"), Ok(LengthUnit::Inch));
    assert!(LengthUnit::from_name("furlong").is_err());
}
