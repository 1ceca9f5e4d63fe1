//! Model files from the shell.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use slitwright_solver::mesh::{LengthUnit, MeshFormat, Model, PrepareOptions};

use super::CliError;
use crate::failure::prepare_violations;
use crate::planner::Planner;

/// A model file and how to read it.
#[derive(Args)]
pub struct ModelArgs {
    /// Model file: STL, OBJ, PLY, OFF or 3MF
    pub model_file: PathBuf,
    /// What one unit of the file's coordinates means
    #[arg(long, value_enum)]
    pub unit: UnitName,
    /// Format of the file; by default its name's ending tells
    #[arg(long, value_enum)]
    pub format: Option<FormatName>,
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
    Inch,
}

impl UnitName {
    fn unit(self) -> LengthUnit {
        match self {
            Self::Mm => LengthUnit::Millimetre,
            Self::Cm => LengthUnit::Centimetre,
            Self::M => LengthUnit::Metre,
            Self::Inch => LengthUnit::Inch,
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
}

impl FormatName {
    fn format(self) -> MeshFormat {
        match self {
            Self::Stl => MeshFormat::Stl,
            Self::Obj => MeshFormat::Obj,
            Self::Ply => MeshFormat::Ply,
            Self::Off => MeshFormat::Off,
            Self::ThreeMf => MeshFormat::ThreeMf,
        }
    }

    fn of_file(path: &Path) -> Result<Self, CliError> {
        path.extension()
            .and_then(|end| end.to_str())
            .and_then(|end| Self::from_str(end, true).ok())
            .ok_or_else(|| {
                CliError::Input(format!(
                    "{}: the ending of the name is none of stl, obj, ply, off and 3mf: say which \
                     format it is with --format",
                    path.display()
                ))
            })
    }
}

impl ModelArgs {
    /// Reads and checks the model.
    pub fn read(&self, planner: &dyn Planner, options: &PrepareOptions) -> Result<Model, CliError> {
        let path = &self.model_file;
        let format = match self.format {
            Some(format) => format,
            None => FormatName::of_file(path)?,
        };
        let bytes = std::fs::read(path)
            .map_err(|error| CliError::Input(format!("{}: {error}", path.display())))?;
        planner.prepare(&bytes, format.format(), self.unit.unit(), options).map_err(|error| {
            let faults: Vec<_> = prepare_violations(&error)
                .violations()
                .iter()
                .map(|violation| violation.description.clone())
                .collect();
            CliError::Input(format!("{}: {}", path.display(), faults.join("; ")))
        })
    }
}
