//! Which of several bodies is the model: those that were named, else the one that holds most.
//!
//! Bodies whose faces pass through each other belong together: the solid is what they all go round.

use nalgebra::Translation3;

use super::TriangleMesh;
use super::check::at;
use super::mended::{MendKind, Mends};
use super::shells::{Shell, keep, litres, note, shells};
use crate::union_find::UnionFind;

/// Bodies told one by one; how many more there are is said.
const TOLD: usize = 8;
/// What holds more than this share of all volume is the model, unless others are named: more than all the rest together.
const MOST: f64 = 0.5;

/// What became of a mesh of several bodies.
#[derive(Debug, PartialEq)]
pub(super) enum Chosen {
    /// There is one, or all that are there belong together.
    All,
    /// Others were dropped: a sentence.
    Some(String),
    /// Somebody has to say which: a sentence.
    Asked(String),
}

/// Keep the bodies of these numbers, from 1, the largest surface first; with none named those that hold most of the
/// volume together. `pairs` are faces that pass through each other.
pub(super) fn choose(
    mesh: &mut TriangleMesh,
    pairs: &[[u32; 2]],
    named: &[u32],
    mends: &mut Mends,
) -> Chosen {
    let (body_of, shells) = shells(mesh);
    let mut joined = UnionFind::new(shells.len());
    for pair in pairs {
        let [a, b] = pair.map(|face| body_of[face as usize] as usize);
        joined.join(a, b);
    }
    let roots: Vec<usize> = (0..shells.len()).map(|k| joined.root(k)).collect();
    if named.is_empty() && roots.iter().all(|root| *root == roots[0]) {
        return Chosen::All;
    }
    let held: Vec<f64> = shells.iter().map(held).collect();
    let kept: Vec<bool> = if named.is_empty() {
        let of_group = |root: usize| -> f64 {
            (0..shells.len()).filter(|k| roots[*k] == root).map(|k| held[k]).sum()
        };
        let whole: f64 = held.iter().sum();
        match roots.iter().find(|root| of_group(**root) > MOST * whole) {
            Some(root) => roots.iter().map(|r| r == root).collect(),
            None => return Chosen::Asked(which(&shells, &held)),
        }
    } else {
        (1..=shells.len() as u32).map(|number| named.contains(&number)).collect()
    };
    let dropped: Vec<usize> = (0..shells.len()).filter(|k| !kept[*k]).collect();
    if dropped.is_empty() {
        return Chosen::All;
    }
    let numbers: Vec<String> =
        (0..shells.len()).filter(|k| kept[*k]).map(|k| (k + 1).to_string()).collect();
    let why = if named.is_empty() { "most of the volume" } else { "as was asked for" };
    let told = format!(
        "took {} {} of {}, {why}, and dropped the other{}: {}",
        if numbers.len() == 1 { "body" } else { "bodies" },
        numbers.join(", "),
        shells.len(),
        if dropped.len() == 1 { "" } else { "s" },
        list(&dropped, &shells, &held)
    );
    keep(mesh, &body_of, &kept);
    note(mends, MendKind::Beside, &shells, &dropped);
    Chosen::Some(told)
}

/// Volume that a body holds, mm^3; of an open one as if its openings were closed towards its middle.
fn held(shell: &Shell) -> f64 {
    if shell.closed {
        return shell.volume;
    }
    let to_middle = Translation3::from(-shell.middle().coords);
    shell.mesh.moved(&to_middle.into()).signed_volume().abs()
}

/// Bodies by number, with what tells them apart.
fn list(of: &[usize], shells: &[Shell], held: &[f64]) -> String {
    let one = |k: &usize| {
        let shell = &shells[*k];
        format!(
            "{}, {:.1} mm long, {}, about {}",
            k + 1,
            (shell.high - shell.low).max(),
            litres(held[*k]),
            at(&shell.middle())
        )
    };
    let mut told: Vec<String> = of.iter().take(TOLD).map(one).collect();
    if of.len() > TOLD {
        told.push(format!("and {} more", of.len() - TOLD));
    }
    told.join("; ")
}

fn which(shells: &[Shell], held: &[f64]) -> String {
    let all: Vec<usize> = (0..shells.len()).collect();
    format!(
        "none of the {} bodies holds more than the others together, so nobody knows which one is the model: \
         give the numbers of those that are: {}",
        shells.len(),
        list(&all, shells, held)
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::fixtures::{cuboid, joined, moved};

    fn three() -> TriangleMesh {
        let cube = |side: f64, at: f64| moved(&cuboid([side; 3]), [at, 0.0, 0.0]);
        joined(&joined(&cube(10.0, 0.0), &cube(20.0, 40.0)), &cube(12.0, 90.0))
    }

    /// Cubes of 20, 12 and 10 mm: 8000, 1728 and 1000 mm^3 of 10,728; the largest surface comes first.
    #[test]
    fn the_one_that_holds_most_is_taken_and_the_others_are_told() {
        let mut mesh = three();
        let mut mends = Mends::default();
        let Chosen::Some(told) = choose(&mut mesh, &[], &[], &mut mends) else { panic!("chosen") };
        assert!((mesh.signed_volume() - 8000.0).abs() < 1e-9);
        for words in ["took body 1 of 3", "2, 12.0 mm long", "1.73 cm^3", "3, 10.0 mm long"] {
            assert!(told.contains(words), "{told}");
        }
        assert_eq!(mends.all.len(), 2);
    }

    #[test]
    fn bodies_are_taken_by_their_numbers() {
        let mut mesh = three();
        let Chosen::Some(told) = choose(&mut mesh, &[], &[3, 2], &mut Mends::default()) else {
            panic!("chosen")
        };
        assert!((mesh.signed_volume() - 2728.0).abs() < 1e-9);
        assert!(told.contains("took bodies 2, 3 of 3, as was asked for"), "{told}");
        let all = choose(&mut three(), &[], &[1, 2, 3], &mut Mends::default());
        assert_eq!(all, Chosen::All);
    }

    /// Two that are alike: nobody can tell; where they pass through each other they are one.
    #[test]
    fn what_nobody_can_tell_is_asked_and_what_crosses_belongs_together() {
        let mut mesh = joined(&cuboid([20.0; 3]), &moved(&cuboid([20.0; 3]), [30.0, 0.0, 0.0]));
        let before = mesh.clone();
        let Chosen::Asked(told) = choose(&mut mesh, &[], &[], &mut Mends::default()) else {
            panic!("asked")
        };
        assert!(told.contains("1, 20.0 mm long") && told.contains("2, 20.0 mm long"), "{told}");
        assert_eq!(mesh, before);
        let last = mesh.faces.len() as u32 - 1;
        assert_eq!(choose(&mut mesh, &[[0, last]], &[], &mut Mends::default()), Chosen::All);
    }
}
