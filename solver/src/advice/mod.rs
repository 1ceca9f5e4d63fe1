//! What to see to before anything is poured: where air stays, where the casting runs in, how a rigid shell round a
//! blanket is parted, which lips want keys, which parts jut out broad and thin.
//!
//! All of it follows from the model, the gate and the sheets. It changes nothing of a plan.

mod lips;
mod overhang;
mod pour;
mod shell;
mod traps;

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

pub use self::lips::{KEY_EVERY, SlidingLips};
pub use self::overhang::Overhang;
pub use self::pour::{LEAST_OPENING, Pour, SPRUE_TOP};
pub use self::shell::{FollowsCut, HIDDEN_ALLOWED, PartingLine, Shell, undercut_shares};
pub use self::traps::{Border, Space, Trap, traps};
use crate::body::{Gate, MouldShape};
use crate::mesh::{LocatorError, Point, SurfaceLocator, TriangleMesh, Vector, polyline_length};
use crate::nalgebra::Isometry3;
use crate::sheets::Sheet;

/// A trap shallower than this is not worth a vent, mm. Common practice, no source.
pub const LEAST_TRAP_DEPTH: f64 = 1.0;
/// Nor is one that holds less, mm^3: a bubble of 2.7 mm. Common practice, no source.
pub const LEAST_TRAP_VOLUME: f64 = 10.0;
/// Most traps told one by one.
const MOST_TOLD: usize = 8;

/// What to see to before anything is poured. Places and directions are in the model's own coordinates.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Advice {
    /// Where the casting is poured.
    pub pour: Pour,
    /// Where air stays in the mould as the casting is poured with the gate up; the largest first.
    pub casting: AirTraps,
    /// Where air stays at the model as the rubber is poured round it with the gate down.
    pub rubber: AirTraps,
    /// Volume of hollows that the board shuts: no rubber gets in where the model sits close, cm^3.
    pub shut_hollows: f64,
    /// How the rigid shell of a blanket is parted; `None` for other moulds.
    pub shell: Option<Shell>,
    /// Cuts whose lips want keys.
    pub sliding_lips: Vec<SlidingLips>,
    /// Parts that jut out broad and thin; the broadest first.
    pub overhangs: Vec<Overhang>,
}

/// Places where air stays.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct AirTraps {
    /// The largest, each wanting a vent.
    pub told: Vec<AirTrap>,
    /// How many more there are.
    pub others: u32,
}

/// A place where air stays, and where a vent lets it out.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct AirTrap {
    /// Its highest point as it is poured: there the vent begins.
    pub place: Point,
    /// Depth below it down to where the air is shut in, mm.
    pub depth: f64,
    /// Air that is shut in, mm^3; where a trap has several high places, that of the highest is all of it.
    pub volume: f64,
}

/// What the advice is about.
pub struct About<'a> {
    /// The model in its own coordinates: any mesh of it.
    pub model: &'a TriangleMesh,
    /// Where it meets the board.
    pub gate: &'a Gate,
    /// The shape of the rubber.
    pub mould: &'a MouldShape,
    /// The cuts' sheets, each with the number of its cut.
    pub sheets: Vec<(u32, &'a Sheet)>,
    /// Direction from which a plan's front is seen, if it is cut between two sides.
    pub front: Option<Vector>,
}

/// Looks at a model in its mould.
pub fn advise(about: &About<'_>) -> Result<Advice, LocatorError> {
    let to_mould = about.gate.to_mould;
    let model = about.model.moved(&to_mould);
    let locator = SurfaceLocator::new(&model)?;
    let is_gate = gate_vertices(&model, about.gate);
    let pour = pour::pour(&model, about.gate, &is_gate);
    let back = to_mould.inverse();
    let told = |found: Vec<Trap>| {
        let mut worth: Vec<Trap> =
            found.into_iter().filter(|trap| trap.volume >= LEAST_TRAP_VOLUME).collect();
        let others = worth.len().saturating_sub(MOST_TOLD) as u32;
        worth.truncate(MOST_TOLD);
        let told = worth
            .iter()
            .map(|trap| AirTrap {
                place: back * trap.place,
                depth: trap.depth,
                volume: trap.volume,
            })
            .collect();
        AirTraps { told, others }
    };
    // The mould is turned over for casting: its gate is up.
    let open = |v: usize| if is_gate[v] { Border::Open } else { Border::Wall };
    let casting = traps(&model, &locator, &-Vector::z(), Space::Within, &open, LEAST_TRAP_DEPTH);
    let shut = |v: usize| if is_gate[v] { Border::Shut } else { Border::Wall };
    let round = traps(&model, &locator, &Vector::z(), Space::Round, &shut, LEAST_TRAP_DEPTH);
    let (hollows, rubber): (Vec<Trap>, Vec<Trap>) = round.into_iter().partition(|t| t.is_shut);
    let mut overhangs = overhang::overhangs(&model, &locator, &is_gate);
    for own in &mut overhangs {
        own.place = back * own.place;
    }
    let shell = match about.mould {
        MouldShape::Blanket { thickness } => {
            let front = about.front.map(|d| to_mould * d);
            let cut = main_cut(&about.sheets, &to_mould);
            let found = shell::shell(&model, &locator, *thickness, front, cut.as_ref())?;
            found.map(|found| found.moved(&back))
        }
        MouldShape::Box { .. } | MouldShape::Cylinder { .. } => None,
    };
    let sliding = about.sheets.iter().filter_map(|(cut, sheet)| lips::sliding(*cut, sheet));
    Ok(Advice {
        pour,
        casting: told(casting),
        rubber: told(rubber),
        shut_hollows: hollows.iter().map(|t| t.volume).sum::<f64>() / 1000.0,
        shell,
        sliding_lips: sliding.collect(),
        overhangs,
    })
}

/// The cut whose line on the outside is longest, and that line in the mould frame.
fn main_cut(sheets: &[(u32, &Sheet)], to_mould: &Isometry3<f64>) -> Option<shell::Outer> {
    let mut cuts: BTreeMap<u32, Vec<Vec<Point>>> = BTreeMap::new();
    for (cut, sheet) in sheets.iter().filter(|(_, sheet)| sheet.outer.len() > 1) {
        let line = sheet.outer.iter().map(|p| to_mould * p).collect();
        cuts.entry(*cut).or_default().push(line);
    }
    let length = |lines: &[Vec<Point>]| lines.iter().map(|l| polyline_length(l)).sum::<f64>();
    cuts.into_iter().max_by(|a, b| length(&a.1).total_cmp(&length(&b.1)))
}

/// Which vertices are gate; at least the one that is nearest to it, however small it is.
fn gate_vertices(model: &TriangleMesh, gate: &Gate) -> Vec<bool> {
    let mut is_gate: Vec<bool> = model.positions.iter().map(|p| gate.holds(p)).collect();
    if !is_gate.contains(&true) {
        let distance = |v: &usize| gate.distance(&model.positions[*v]);
        let nearest = (0..is_gate.len()).min_by(|a, b| distance(a).total_cmp(&distance(b)));
        if let Some(nearest) = nearest {
            is_gate[nearest] = true;
        }
    }
    is_gate
}

#[cfg(test)]
mod tests;
