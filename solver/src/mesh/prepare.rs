//! From bytes to a model that can be planned on.

use super::check::{CheckOptions, CheckReport, Fault, FaultKind, at, check, check_and_index};
use super::decimate::{DecimateError, decimate_indexed, default_deviation};
use super::io::{Alone, Beside, LengthUnit, MeshFormat, ReadError, ReadLimits, read_with};
use super::mend::{MendLimits, mend};
use super::mended::Mend;
use super::paint::Paint;
use super::rebuild::REBUILD_SHARE;
use super::repair::{repair, repair_and_fill};
use super::{Point, SurfaceLocator, TopologyError, TriangleMesh, genus};
use crate::control::{Cancel, Cancelled, Control, Stage, apart};
use std::sync::Arc;

/// How a model is prepared.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PrepareOptions {
    /// Limits for the file.
    pub limits: ReadLimits,
    /// Deviation allowed between original and working mesh, mm. `None`: 0.2 mm or 0.15 % of the
    /// longest side, whichever is more.
    pub deviation: Option<f64>,
    /// Plan on a surface that passes through itself. Off by default: inside and outside are not
    /// defined there, so widths, depths and the rubber's volume near such a place cannot be
    /// trusted. Where a scan crosses itself in a few faces in an unimportant place, a person may
    /// look at it and accept it.
    pub accept_self_crossing: bool,
    /// Parts thinner than this are reported, mm. `None`: four times the deviation.
    pub working_resolution: Option<f64>,
    /// Take the mesh as it is: nothing is repaired but what cannot change the shape, anything else is refused. By default
    /// faces are turned to agree, holes filled, shells within and crumbs dropped, faces that cross cut out, and where that
    /// does not help the solid is rebuilt; all of it is told.
    pub as_is: bool,
    /// Holes up to this diameter are closed where their rim is not flat, mm. `None`: [`HOLE_SHARE`] of the longest side.
    pub largest_hole: Option<f64>,
    /// How far a mended or rebuilt surface may be off the one given, mm, holes aside. `None`: [`REBUILD_SHARE`] of the
    /// longest side.
    pub rebuild_deviation: Option<f64>,
    /// Bodies that are the model, by their numbers from 1, the largest surface first, where shells within and crumbs are
    /// gone. None: those that hold more than all others together, if there are such.
    pub bodies: Vec<u32>,
}

/// Largest hole that is closed if nothing else is said, as a share of the longest side. No source.
pub const HOLE_SHARE: f64 = 0.05;

/// A checked model with the mesh to work on.
#[derive(Clone, Debug, PartialEq)]
pub struct Model {
    /// The model as given, repaired where that is safe, mm.
    pub original: TriangleMesh,
    /// The mesh to work on: the original within [`Self::working_deviation`].
    pub working: TriangleMesh,
    /// Largest distance measured between the two, mm.
    pub working_deviation: f64,
    /// Deviation that was allowed, mm.
    pub allowed_deviation: f64,
    /// Handles of the model.
    pub genus: i64,
    /// What the check of the (repaired) original found; its faults are none that forbid planning.
    pub report: CheckReport,
    /// What was repaired, a sentence each.
    pub repairs: Vec<String>,
    /// What to keep in mind of how the file was read and the working mesh made, a sentence each.
    pub remarks: Vec<String>,
    /// Colours of the file, if it has any, in the coordinates of the original.
    pub paint: Option<Arc<Paint>>,
    /// What mending changed of the shape, and where, as far as it can be shown.
    pub mends: Vec<Mend>,
}

impl Model {
    /// What to keep in mind, a sentence each: remarks, and faults that do not forbid planning.
    pub fn warnings(&self) -> Vec<String> {
        self.warnings_placed(at)
    }

    /// The same with places told by `in_words`, where someone knows how the model stands.
    pub(crate) fn warnings_placed(&self, in_words: impl Fn(&Point) -> String) -> Vec<String> {
        let faults = self.report.faults.iter().map(|fault| fault.placed(&in_words));
        self.remarks.iter().cloned().chain(faults).collect()
    }
}

/// A model cannot be planned on.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PrepareError {
    /// The file cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// The mesh has faults that forbid planning; every one is listed.
    #[error("{}", unsound(.faults, .refused, .repairs))]
    Unsound {
        /// The faults.
        faults: Vec<Fault>,
        /// Repairs that would not have been safe, a sentence each.
        refused: Vec<String>,
        /// Repairs done before the check, a sentence each.
        repairs: Vec<String>,
    },
    /// An option is not a length.
    #[error("{name} is {value} mm, not a positive number: give a length in millimetres")]
    BadLength {
        /// The option, in words.
        name: &'static str,
        /// Its value.
        value: f64,
    },
    /// A body is named that is not there.
    #[error("there is no body {number}: the model has {count}, numbered from 1, the largest first")]
    NoSuchBody {
        /// The number.
        number: u32,
        /// How many there are.
        count: usize,
    },
    /// Nobody waits for the model any more.
    #[error(transparent)]
    Cancelled(#[from] Cancelled),
    /// No working mesh could be made.
    #[error(transparent)]
    Decimate(#[from] DecimateError),
    /// The mesh passed the check but is not a closed surface. This is a fault of the program.
    #[error("the checked mesh is not a closed surface after all ({0}): please report this model")]
    Topology(#[from] TopologyError),
}

fn unsound(faults: &[Fault], refused: &[String], repairs: &[String]) -> String {
    let mut text = format!(
        "the model has {} that must be mended first:",
        if faults.len() == 1 { "a fault".to_owned() } else { format!("{} faults", faults.len()) }
    );
    for fault in faults {
        text += &format!("\n- {}", fault.message);
        if fault.kind == FaultKind::SelfCrossing {
            text += " (set accept_self_crossing to plan all the same)";
        }
    }
    for (title, list) in [("not repaired", refused), ("repaired already", repairs)] {
        for line in list {
            text += &format!("\n- {title}: {line}");
        }
    }
    text
}

/// Whether a fault forbids planning. Faces without area and thin parts do not: the first vanish
/// in the working mesh, the second are for a person to judge.
fn is_fatal(kind: FaultKind, options: &PrepareOptions) -> bool {
    match kind {
        FaultKind::DegenerateFace | FaultKind::ThinPart => false,
        FaultKind::SelfCrossing => !options.accept_self_crossing,
        _ => true,
    }
}

/// Read, repair, check and decimate a mesh file.
pub fn prepare(
    bytes: &[u8],
    format: MeshFormat,
    unit: Option<LengthUnit>,
    options: &PrepareOptions,
) -> Result<Model, PrepareError> {
    prepare_with(bytes, format, unit, options, &Cancel::new())
}

/// [`prepare`], until someone cancels: that is looked at every tenth of a second or so.
pub fn prepare_with(
    bytes: &[u8],
    format: MeshFormat,
    unit: Option<LengthUnit>,
    options: &PrepareOptions,
    cancel: &Cancel,
) -> Result<Model, PrepareError> {
    let control = Control::new(cancel.clone(), |_| {});
    prepare_beside(bytes, format, unit, options, &Alone, &control)
}

/// The same for a model that may name files that stand beside its own, with word of each step as part of the whole.
pub fn prepare_beside(
    bytes: &[u8],
    format: MeshFormat,
    unit: Option<LengthUnit>,
    options: &PrepareOptions,
    beside: &dyn Beside,
    control: &Control<'_>,
) -> Result<Model, PrepareError> {
    control.stage(Stage::Mesh, 0.0, format!("reading {:.1} MB", bytes.len() as f64 / 1e6));
    let file = read_with(bytes, format, unit, &options.limits, beside, control.cancel())?;
    let mut model = prepare_read(file.mesh, options, control)?;
    model.remarks.splice(0..0, file.remarks);
    model.paint = file.paint.map(Arc::new);
    Ok(model)
}

/// Repair, check and decimate a mesh in millimetres.
pub fn prepare_mesh(mesh: TriangleMesh, options: &PrepareOptions) -> Result<Model, PrepareError> {
    prepare_read(mesh, options, &Control::silent())
}

fn prepare_read(
    mesh: TriangleMesh,
    options: &PrepareOptions,
    control: &Control<'_>,
) -> Result<Model, PrepareError> {
    let cancel = control.cancel();
    cancel.check()?;
    let told = |fraction, what: &str, faces: usize| {
        control.stage(Stage::Mesh, fraction, format!("{what} {faces} faces"));
    };
    told(0.1, "looking for what to repair in", mesh.faces.len());
    let allowed_deviation = options.deviation.unwrap_or_else(|| default_deviation(&mesh));
    let resolution = options.working_resolution.unwrap_or(4.0 * allowed_deviation);
    // A mesh that cannot be repaired at all still gets its faults told.
    let rough = check_indices(&mesh);
    if let Some(fault) = rough {
        return Err(PrepareError::Unsound {
            faults: vec![fault],
            refused: Vec::new(),
            repairs: Vec::new(),
        });
    }
    let limits = mend_limits(&mesh, options)?;
    let (as_is, largest) = (options.as_is, limits.largest_hole);
    let mut repaired =
        apart(cancel, move || if as_is { repair(mesh) } else { repair_and_fill(mesh, largest) })?;
    told(0.2, "checking", repaired.mesh.faces.len());
    let check_options = CheckOptions { working_resolution: Some(resolution) };
    let (mut report, mut locator) = check_and_index(&repaired.mesh, &check_options, cancel)?;
    let fatal = |report: &CheckReport| report.faults.iter().any(|f| is_fatal(f.kind, options));
    let mut bodies = report.bodies.len();
    if fatal(&report) && !options.as_is {
        let before = repaired.mesh.faces.len();
        told(0.5, "mending", before);
        let mended = mend(repaired.mesh, &report.faults, &limits, cancel)?;
        bodies = mended.bodies.unwrap_or(bodies);
        let changed = !mended.done.is_empty() || mended.mesh.faces.len() != before;
        repaired.mesh = mended.mesh;
        repaired.done.extend(mended.done);
        repaired.refused.extend(mended.refused);
        repaired.mends.extend(mended.mends);
        if changed {
            told(0.6, "checking", repaired.mesh.faces.len());
            (report, locator) = check_and_index(&repaired.mesh, &check_options, cancel)?;
        }
    }
    let missing = options.bodies.iter().find(|n| **n == 0 || **n as usize > bodies);
    if let Some(&number) = missing {
        return Err(PrepareError::NoSuchBody { number, count: bodies });
    }
    let original = repaired.mesh;
    let fatal: Vec<Fault> =
        report.faults.iter().filter(|f| is_fatal(f.kind, options)).cloned().collect();
    if !fatal.is_empty() {
        return Err(PrepareError::Unsound {
            faults: fatal,
            refused: repaired.refused,
            repairs: repaired.done,
        });
    }
    cancel.check()?;
    let crossings = report.crossings.map_or(0, |c| c.pairs);
    let locator = match locator {
        Some(locator) => locator,
        None => SurfaceLocator::new_until(&original, cancel)?.map_err(DecimateError::Surface)?,
    };
    told(0.7, "decimating", original.faces.len());
    let decimated = decimate_indexed(&original, &locator, allowed_deviation, crossings, cancel);
    let decimated = match decimated {
        Err(DecimateError::Cancelled(cancelled)) => return Err(cancelled.into()),
        other => other?,
    };
    Ok(Model {
        genus: genus(&decimated.mesh)?,
        working: decimated.mesh,
        working_deviation: decimated.deviation,
        allowed_deviation,
        original,
        report,
        repairs: repaired.done,
        remarks: decimated.detours,
        paint: None,
        mends: repaired.mends.all,
    })
}

/// How far mending may go.
fn mend_limits(mesh: &TriangleMesh, options: &PrepareOptions) -> Result<MendLimits, PrepareError> {
    let longest = mesh.longest_side();
    for (name, value) in [
        ("the largest hole to be filled", options.largest_hole),
        ("the deviation for rebuilding", options.rebuild_deviation),
    ] {
        if let Some(value) = value.filter(|v| !(v.is_finite() && *v > 0.0)) {
            return Err(PrepareError::BadLength { name, value });
        }
    }
    Ok(MendLimits {
        largest_hole: options.largest_hole.unwrap_or(HOLE_SHARE * longest),
        deviation: options.rebuild_deviation.unwrap_or(REBUILD_SHARE * longest),
        accept_self_crossing: options.accept_self_crossing,
        bodies: options.bodies.clone(),
    })
}

/// Faults that forbid even to look further.
fn check_indices(mesh: &TriangleMesh) -> Option<Fault> {
    let count = mesh.positions.len() as u32;
    let bad = mesh.faces.is_empty()
        || mesh.faces.iter().flatten().any(|v| *v >= count)
        || super::project::first_not_finite(&mesh.positions).is_some();
    if !bad {
        return None;
    }
    check(mesh, &CheckOptions::default()).faults.into_iter().next()
}

#[cfg(test)]
mod tests;
