//! Colours of files, read with known answers: a ball whose right half is red and whose left half is blue.

use super::super::fixtures::icosphere;
use super::texture::tests::png_file;
use super::*;
use crate::control::Control;
use crate::mesh::{Colour, prepare_beside};
use crate::mesh::{PrepareOptions, TriangleMesh};

const MM: Option<LengthUnit> = Some(LengthUnit::Millimetre);
const RED: Colour = [255, 0, 0];
const BLUE: Colour = [0, 0, 255];

fn ball() -> TriangleMesh {
    icosphere(20.0, 3)
}

fn is_right(p: &Point) -> bool {
    p.x > 0.0
}

/// Files of a made-up folder.
struct Folder(Vec<(&'static str, Vec<u8>)>);

impl Beside for Folder {
    fn read(&self, name: &str, _: u64) -> Result<Vec<u8>, String> {
        let own = self.0.iter().find(|(own, _)| *own == name);
        own.map(|(_, bytes)| bytes.clone()).ok_or_else(|| "it is not beside the model".to_owned())
    }
}

fn read_file(bytes: &[u8], format: MeshFormat, beside: &dyn Beside) -> ReadFile {
    let limits = ReadLimits::default();
    read_with(bytes, format, MM, &limits, beside, &Cancel::new()).expect("a sound file")
}

/// The colours to the right and to the left.
fn sides(file: &ReadFile) -> Option<[Colour; 2]> {
    let index = file.paint.as_ref()?.index()?;
    Some([1.0, -1.0].map(|side| index.at(&Point::new(17.0 * side, 5.0, 5.0))))
}

/// A PLY file with what follows each vertex's coordinates.
fn ply(properties: &str, of: impl Fn(bool) -> String) -> Vec<u8> {
    let ball = ball();
    let mut text = format!(
        "ply\nformat ascii 1.0\nelement vertex {}\nproperty float x\nproperty float y\nproperty float z\n{properties}element face {}\nproperty list uchar int vertex_indices\nend_header\n",
        ball.positions.len(),
        ball.faces.len()
    );
    for p in &ball.positions {
        text += &format!("{} {} {} {}\n", p.x, p.y, p.z, of(is_right(p)));
    }
    for [a, b, c] in &ball.faces {
        text += &format!("3 {a} {b} {c}\n");
    }
    text.into_bytes()
}

#[test]
fn ply_has_colours_as_bytes_or_shares() {
    let parts = |kind: &str, names: &[&str]| -> String {
        names.iter().map(|name| format!("property {kind} {name}\n")).collect()
    };
    let bytes = |right: bool| if right { "255 0 0 7" } else { "0 0 255 7" }.to_owned();
    let names = ["red", "green", "blue", "alpha"];
    let file = read_file(&ply(&parts("uchar", &names), bytes), MeshFormat::Ply, &Alone);
    assert_eq!(sides(&file), Some([RED, BLUE]));
    // In another order, as shares, one beyond the full colour.
    let names = ["blue", "red", "green"];
    let shares = |right: bool| if right { "0.0 1.5 0.0" } else { "1.0 0.0 0.0" }.to_owned();
    let file = read_file(&ply(&parts("float", &names), shares), MeshFormat::Ply, &Alone);
    assert_eq!(sides(&file), Some([RED, BLUE]));
    // Two of three are no colour; one throughout tells nothing.
    let file = read_file(
        &ply(&parts("uchar", &["red", "blue"]), |_| "1 2".to_owned()),
        MeshFormat::Ply,
        &Alone,
    );
    assert!(file.paint.is_none() && file.remarks.is_empty());
    let file = read_file(
        &ply(&parts("uchar", &["red", "green", "blue"]), |_| "1 2 3".to_owned()),
        MeshFormat::Ply,
        &Alone,
    );
    assert!(file.paint.is_none() && file.remarks.is_empty());
    // What is no number costs the colours; only binary files can say it.
    let text = ply("", plain);
    let text = String::from_utf8(text).expect("text");
    let (header, _) = text.split_once("element face").expect("a header");
    let header = header.replace("ascii", "binary_little_endian");
    let mut bytes = format!(
        "{header}property float red\nproperty float green\nproperty float blue\nelement face {}\nproperty list uchar int vertex_indices\nend_header\n",
        ball().faces.len()
    )
    .into_bytes();
    for p in &ball().positions {
        let colour = if is_right(p) { [f32::NAN, 0.0, 0.0] } else { [0.0, 0.0, 1.0] };
        let place = p.iter().map(|x| *x as f32).chain(colour);
        bytes.extend(place.flat_map(f32::to_le_bytes));
    }
    for face in &ball().faces {
        bytes.push(3);
        bytes.extend(face.iter().flat_map(|v| v.to_le_bytes()));
    }
    let file = read_file(&bytes, MeshFormat::Ply, &Alone);
    assert!(
        file.paint.is_none() && file.remarks[0].contains("is not a number"),
        "{:?}",
        file.remarks
    );
    assert_eq!(file.mesh.faces.len(), ball().faces.len(), "the shape is kept");
}

/// An OBJ file: what follows each point, and what stands before its right and its left faces.
fn obj(first: &str, of: impl Fn(bool) -> String, before: [&str; 2]) -> Vec<u8> {
    let ball = ball();
    let mut text = format!("{first}\n");
    for p in &ball.positions {
        text += &format!(
            "v {} {} {} {}\nvt {} 0.25\n",
            p.x,
            p.y,
            p.z,
            of(is_right(p)),
            0.5 + p.x / 50.0
        );
    }
    for (k, words) in before.iter().enumerate() {
        text += &format!("{words}\n");
        for (f, face) in ball.faces.iter().enumerate() {
            if is_right(&ball.face_middle(crate::mesh::FaceId(f as u32))) == (k == 0) {
                let [a, b, c] = face.map(|v| v + 1);
                text += &format!("f {a}/{a} {b}/{b} {c}/{c}\n");
            }
        }
    }
    text.into_bytes()
}

fn plain(_: bool) -> String {
    String::new()
}

#[test]
fn obj_has_colours_of_points() {
    for (right, left) in [("1 0 0", "0 0 1"), ("255 0 0", "0 0 255")] {
        let of = |on_right: bool| if on_right { right } else { left }.to_owned();
        let file = read_file(&obj("", of, ["", ""]), MeshFormat::Obj, &Alone);
        assert_eq!(sides(&file), Some([RED, BLUE]));
    }
    let some = |right: bool| if right { "1 0 0".to_owned() } else { String::new() };
    let limits = ReadLimits::default();
    let error =
        read_with(&obj("", some, ["", ""]), MeshFormat::Obj, MM, &limits, &Alone, &Cancel::new());
    let told = error.err().map(|error| error.to_string());
    assert!(told.is_some_and(|told| told.contains("give all of them one, or none")));
    let nan = |right: bool| if right { "nan 0 0" } else { "0 0 1" }.to_owned();
    let file = read_file(&obj("", nan, ["", ""]), MeshFormat::Obj, &Alone);
    assert!(
        file.paint.is_none() && file.remarks[0].contains("is not a number"),
        "{:?}",
        file.remarks
    );
}

#[test]
fn obj_has_colours_of_materials_and_their_pictures() {
    let materials = "newmtl wine\nKd 1 0 0\nnewmtl ink\nKd 0 0 1\nnewmtl skin\nKd 1 1 0.5\nmap_Kd -s 1 1 1 maps/two tone.png\n";
    // Left half cyan, right half magenta above; v counts upwards, and 0.25 is in the lower row: red, blue.
    let picture = png_file(2, 2, &[0, 255, 255, 255, 0, 255, 255, 0, 0, 0, 0, 255]);
    let folder =
        Folder(vec![("bust.mtl", materials.as_bytes().to_vec()), ("maps/two tone.png", picture)]);
    let two = obj("mtllib bust.mtl", plain, ["usemtl wine", "usemtl ink"]);
    let file = read_file(&two, MeshFormat::Obj, &folder);
    assert_eq!(sides(&file), Some([RED, BLUE]));
    assert!(file.remarks.is_empty(), "{:?}", file.remarks);
    let file =
        read_file(&obj("mtllib bust.mtl", plain, ["usemtl skin", ""]), MeshFormat::Obj, &folder);
    // Blue times half of it to the right.
    assert_eq!(sides(&file), Some([[0, 0, 128], RED]));
    // Points have the say.
    let of = |right: bool| if right { "0 1 0" } else { "1 1 1" }.to_owned();
    let file = read_file(
        &obj("mtllib bust.mtl", of, ["usemtl wine", "usemtl ink"]),
        MeshFormat::Obj,
        &folder,
    );
    assert_eq!(sides(&file), Some([[0, 255, 0], [255; 3]]));
}

/// What is not there costs its colours, and is told; in a model that comes alone too.
#[test]
fn material_files_that_are_not_there_are_told() {
    let two = obj("mtllib bust.mtl", plain, ["usemtl wine", "usemtl ink"]);
    let alone: &dyn Beside = &Alone;
    let empty = Folder(Vec::new());
    for (beside, words) in [(alone, "only one file was"), (&empty, "not beside the model")] {
        let options = PrepareOptions::default();
        let model = prepare_beside(&two, MeshFormat::Obj, MM, &options, beside, &Control::silent());
        let model = model.expect("a sound ball");
        assert!(model.paint.is_none());
        let told = &model.remarks[0];
        assert!(told.contains("\"bust.mtl\"") && told.contains(words), "{told}");
    }
    let broken = Folder(vec![("bust.mtl", b"newmtl wine\nKd 1".repeat(2).to_vec())]);
    assert!(read_file(&two, MeshFormat::Obj, &broken).paint.is_none());
    let broken = Folder(vec![("bust.mtl", b"newmtl wine\nKd\n".to_vec())]);
    let file = read_file(&two, MeshFormat::Obj, &broken);
    assert!(file.remarks[0].contains("line 2"), "{:?}", file.remarks);
    let unread = Folder(vec![
        ("bust.mtl", b"newmtl wine\nmap_Kd a.png\n".to_vec()),
        ("a.png", b"GIF89a".to_vec()),
    ]);
    let file = read_file(&two, MeshFormat::Obj, &unread);
    assert!(file.remarks[0].contains("neither PNG nor JPEG"), "{:?}", file.remarks);
    // Many names are looked for once each, and not without end.
    let many: String =
        (0..1000).map(|k| format!("mtllib {}.mtl\nmtllib {}.mtl\n", k / 2, k)).collect();
    let file = read_file(&obj(&many, plain, ["", ""]), MeshFormat::Obj, &Alone);
    assert_eq!(file.remarks.len(), 16);
}
