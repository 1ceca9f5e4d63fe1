//! Material files of OBJ: the colour that a material has in plain light (`Kd`) and the picture that it is multiplied by
//! (`map_Kd`). Read here, since the reader of the crate tobj panics on lines that are cut short.

use std::collections::HashMap;

use super::super::paint::{MOST_POINTS, Spot, spots};
use super::beside::Beside;
use super::colour::{Colours, byte};
use super::texture::{Wrap, multiply};
use super::{TriangleMesh, shown};

/// Materials as the crate names them.
pub(super) type ForTobj = (Vec<tobj::Material>, HashMap<String, usize>);

/// Material files that one model may name.
const MOST_FILES: usize = 16;
/// Materials of a model.
const MOST_MATERIALS: usize = 10_000;
/// Bytes of a material file, and of a picture.
const MOST_BYTES: u64 = 16 << 20;
const MOST_PICTURE_BYTES: u64 = 128 << 20;

/// A material's place in its [`Library`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct MaterialId(pub usize);

#[derive(Clone, Debug, PartialEq)]
struct Material {
    name: String,
    /// Shares of the full colour, as a screen has them (common practice, no source).
    colour: [f32; 3],
    picture: Option<String>,
}

/// All materials that a model can use.
#[derive(Debug, Default)]
pub(super) struct Library {
    materials: Vec<Material>,
}

impl Library {
    /// Reads the files that a model names. What is not there is told.
    pub fn of(bytes: &[u8], beside: &dyn Beside, remarks: &mut Vec<String>) -> Self {
        let mut library = Self::default();
        let mut names: Vec<&str> = Vec::new();
        for line in bytes.split(|b| *b == b'\n') {
            let line = std::str::from_utf8(line).unwrap_or_default().trim();
            let Some(name) = line.strip_prefix("mtllib").filter(|n| n.starts_with([' ', '\t']))
            else {
                continue;
            };
            let name = name.trim();
            if !name.is_empty() && names.len() < MOST_FILES && !names.contains(&name) {
                names.push(name);
            }
        }
        for name in names {
            let read = beside.read(name, MOST_BYTES).and_then(|bytes| library.add(&bytes));
            if let Err(why) = read {
                remarks.push(format!(
                    "colours of materials were left out: the file names {:?}, but {why}; a GLB file holds its colours itself",
                    shown(name)
                ));
            }
        }
        library
    }

    fn add(&mut self, bytes: &[u8]) -> Result<(), String> {
        let text = String::from_utf8_lossy(bytes);
        for (number, line) in (1..).zip(text.lines()) {
            let line = line.trim();
            let (word, rest) = line.split_once([' ', '\t']).unwrap_or((line, ""));
            let rest = rest.trim();
            if word == "newmtl" {
                if self.materials.len() == MOST_MATERIALS {
                    return Err(format!("it holds more than {MOST_MATERIALS} materials"));
                }
                let name = rest.to_owned();
                self.materials.push(Material { name, colour: [1.0; 3], picture: None });
                continue;
            }
            let Some(material) = self.materials.last_mut() else { continue };
            match word {
                "Kd" => {
                    let parts: Result<Vec<f32>, _> =
                        rest.split_whitespace().map(str::parse).collect();
                    // One number stands for all three.
                    material.colour = match *parts.unwrap_or_default() {
                        [r, g, b, ..] if r.is_finite() && g.is_finite() && b.is_finite() => {
                            [r, g, b]
                        }
                        [grey] if grey.is_finite() => [grey; 3],
                        _ => return Err(format!("its line {number} has no colour after Kd")),
                    };
                }
                "map_Kd" => material.picture = picture_name(rest),
                _ => {}
            }
        }
        Ok(())
    }

    /// Materials by name and number, and nothing else, for the crate tobj.
    pub fn for_tobj(&self) -> ForTobj {
        let names = self.materials.iter().enumerate().map(|(k, m)| (m.name.clone(), k));
        let names: HashMap<String, usize> = names.collect();
        (vec![tobj::Material::default(); self.materials.len()], names)
    }

    /// Whether any material has a picture.
    pub fn has_pictures(&self) -> bool {
        self.materials.iter().any(|material| material.picture.is_some())
    }

    /// Colours of places on a mesh, given the first face of each material and the texture coordinates of each face.
    pub fn colours(
        &self,
        mesh: &TriangleMesh,
        starts: &[(usize, Option<MaterialId>)],
        corners: &[[[f32; 2]; 3]],
        beside: &dyn Beside,
        remarks: &mut Vec<String>,
    ) -> Option<Colours> {
        if self.materials.is_empty() {
            return None;
        }
        let material_at = |face: u32| {
            let next = starts.partition_point(|(first, _)| *first <= face as usize);
            let (_, material) = starts.get(next.checked_sub(1)?)?;
            self.materials.get((*material)?.0)
        };
        let spots = spots(mesh, MOST_POINTS);
        let owners: Vec<Option<&Material>> =
            spots.iter().map(|spot| material_at(spot.face)).collect();
        let mut colours: Vec<[f32; 3]> =
            owners.iter().map(|owner| owner.map_or([1.0; 3], |m| m.colour)).collect();
        let mut pictures: Vec<&str> =
            owners.iter().flatten().filter_map(|m| m.picture.as_deref()).collect();
        pictures.sort_unstable();
        pictures.dedup();
        let place = |name: &&str, number: usize| {
            owners[number].and_then(|m| m.picture.as_deref()).filter(|own| own == name)?;
            let spot: &Spot = &spots[number];
            let corners = corners.get(spot.face as usize)?;
            Some((spot.blend(*corners), [Wrap::Repeat; 2]))
        };
        let bytes = |name: &&str| beside.read(name, MOST_PICTURE_BYTES);
        let share = |pixel: u8| f32::from(pixel) / 255.0;
        for (name, why) in multiply(pictures, bytes, place, share, &mut colours) {
            remarks.push(format!("the picture {:?} colours nothing: {why}", shown(name)));
        }
        let colours = colours.into_iter().map(|c| c.map(byte)).collect();
        Some(Colours { spots, colours })
    }
}

/// The file's name after the options of a picture, each of which has as many words as the format says.
fn picture_name(rest: &str) -> Option<String> {
    let mut rest = rest.trim();
    while let Some(option) = rest.strip_prefix('-') {
        let (word, mut tail) = option.split_once(char::is_whitespace)?;
        let (least, most) = match word {
            "o" | "s" | "t" => (1, 3),
            "mm" => (2, 2),
            _ => (1, 1),
        };
        for k in 0..most {
            let next = tail.trim_start().split_once(char::is_whitespace);
            let value = next.map_or(tail.trim(), |(value, _)| value);
            // One or two numbers may be left out.
            if k >= least && value.parse::<f32>().is_err() {
                break;
            }
            // A number at the end is an option's, and no file's name.
            tail = next?.1;
        }
        rest = tail.trim_start();
    }
    (!rest.is_empty()).then(|| rest.to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_pictures_come_after_their_options() {
        for (line, name) in [
            ("wood.png", "wood.png"),
            ("  left side.jpg", "left side.jpg"),
            ("-s 1 1 1 -o 0 0 0 wood.png", "wood.png"),
            ("-blendu on -mm 0 1 a b.png", "a b.png"),
            ("-s 2 wood.png", "wood.png"),
        ] {
            assert_eq!(picture_name(line).as_deref(), Some(name), "{line}");
        }
        for line in ["", "-s 1 1", "-clamp"] {
            assert_eq!(picture_name(line), None, "{line}");
        }
    }

    #[test]
    fn materials_are_read_and_lines_that_break_off_are_told() {
        let mut library = Library::default();
        let text = "# a test\nKd 9 9 9\nnewmtl red paint\nKa 0 0 0\nKd 0.8 0 0\nmap_Kd -s 1 1 1 a.png\nnewmtl grey\nKd 0.5\n";
        library.add(text.as_bytes()).expect("sound");
        assert_eq!(library.materials.len(), 2);
        assert_eq!(library.materials[0].name, "red paint");
        assert_eq!(library.materials[0].colour, [0.8, 0.0, 0.0]);
        assert_eq!(library.materials[0].picture.as_deref(), Some("a.png"));
        assert_eq!(library.materials[1].colour, [0.5; 3]);
        for bad in
            ["newmtl a\nKd", "newmtl a\nKd 1 0", "newmtl a\nKd 1 x 0", "newmtl a\nKd nan 0 0"]
        {
            let fault = Library::default().add(bad.as_bytes()).expect_err(bad);
            assert!(fault.contains("line 2"), "{fault}");
        }
    }
}
