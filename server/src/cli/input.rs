//! Model files from the shell.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use slitwright_solver::control::{Cancel, Control};
use slitwright_solver::mesh::{LengthUnit, MeshFormat, Model, PrepareError, PrepareOptions};

use super::CliError;
use super::beside::FolderOf;
use super::progress::{progress_bar, show};
use crate::planner::Planner;

/// A model file and how to read it.
#[derive(Args)]
pub struct ModelArgs {
    /// Model file: STL, OBJ, PLY, OFF, 3MF or glTF (.glb, .gltf). An OBJ file's materials are looked for in its folder
    pub model_file: PathBuf,
    /// What one unit of the file's coordinates means; only a 3MF file says so by itself, and glTF has metres unless
    /// told otherwise
    #[arg(long, value_enum)]
    pub unit: Option<UnitName>,
    /// Format of the file; by default its name's ending tells
    #[arg(long, value_enum)]
    pub format: Option<FormatName>,
    /// Take a surface that passes through itself all the same
    #[arg(long)]
    pub accept_self_crossing: bool,
    /// Take the mesh as it is: refuse what could only be mended by filling, cutting out or rebuilding
    #[arg(long, conflicts_with_all = ["fill_holes", "rebuild_deviation", "bodies"])]
    pub as_is: bool,
    /// Fill holes up to this diameter where their rim is not flat [default: 5 % of the longest side]
    #[arg(long, value_name = "MM")]
    pub fill_holes: Option<f64>,
    /// How far a mended or rebuilt surface may be off the file's [default: 0.3 % of the longest side]
    #[arg(long, value_name = "MM")]
    pub rebuild_deviation: Option<f64>,
    /// Bodies that are the model where the file holds several, by their numbers as `check` lists them [default: those that
    /// hold more than all others together]
    #[arg(long, value_name = "NUMBER,...", value_delimiter = ',')]
    pub bodies: Vec<u32>,
}

/// Units by their short names.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum UnitName {
    /// Millimetre
    Mm,
    /// Centimetre
    Cm,
    /// Metre
    M,
    /// Inch, 25.4 mm
    In,
    /// Foot, 304.8 mm
    Ft,
    /// Micron, 0.001 mm
    Um,
}

impl UnitName {
    fn unit(self) -> LengthUnit {
        match self {
            Self::Mm => LengthUnit::Millimetre,
            Self::Cm => LengthUnit::Centimetre,
            Self::M => LengthUnit::Metre,
            Self::In => LengthUnit::Inch,
            Self::Ft => LengthUnit::Foot,
            Self::Um => LengthUnit::Micron,
        }
    }
}

/// Formats by their usual file name endings.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum FormatName {
    /// STL, text or binary
    Stl,
    /// Wavefront OBJ
    Obj,
    /// PLY, text or binary
    Ply,
    /// OFF
    Off,
    /// 3MF
    #[value(name = "3mf")]
    ThreeMf,
    /// glTF 2.0, as .glb or .gltf
    #[value(name = "glb", alias = "gltf")]
    Gltf,
}

impl FormatName {
    fn format(self) -> MeshFormat {
        match self {
            Self::Stl => MeshFormat::Stl,
            Self::Obj => MeshFormat::Obj,
            Self::Ply => MeshFormat::Ply,
            Self::Off => MeshFormat::Off,
            Self::ThreeMf => MeshFormat::ThreeMf,
            Self::Gltf => MeshFormat::Gltf,
        }
    }
}

impl ModelArgs {
    /// Reads and checks the model.
    pub fn read(
        &self,
        planner: &dyn Planner,
        deviation_mm: Option<f64>,
    ) -> Result<Model, CliError> {
        let path = &self.model_file;
        let bad =
            |error: &dyn std::fmt::Display| CliError::Input(format!("{}: {error}", path.display()));
        let format = match self.format {
            Some(format) => format.format(),
            None => MeshFormat::from_file_name(&path.to_string_lossy()).map_err(|e| bad(&e))?,
        };
        let bytes = std::fs::read(path).map_err(|error| bad(&error))?;
        let unit = self.unit.map(UnitName::unit);
        let options = PrepareOptions {
            deviation: deviation_mm,
            accept_self_crossing: self.accept_self_crossing,
            as_is: self.as_is,
            largest_hole: self.fill_holes,
            rebuild_deviation: self.rebuild_deviation,
            bodies: self.bodies.clone(),
            ..PrepareOptions::default()
        };
        let bar = progress_bar();
        // Nothing is kept yet: ctrl-c ends the program.
        let control = Control::new(Cancel::new(), |progress| show(&bar, &progress));
        let beside = FolderOf::file(path);
        let prepared = planner.prepare_beside(&bytes, format, unit, &options, &beside, &control);
        drop(control);
        bar.finish_and_clear();
        prepared.map_err(|error| match error {
            PrepareError::Topology(_) => CliError::Failed(error.to_string()),
            _ => bad(&error),
        })
    }
}
