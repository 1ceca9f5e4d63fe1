//! `demo-models OUT`: writes every demo piece as OUT/NAME.stl (mm) with its request OUT/NAME.json.

use std::error::Error;
use std::path::PathBuf;
use std::process::ExitCode;
use std::{env, fs};

use demo_models::{pieces, stl};

fn main() -> ExitCode {
    let mut arguments = env::args_os().skip(1);
    let (Some(folder), None) = (arguments.next(), arguments.next()) else {
        eprintln!("usage: demo-models FOLDER   (the folder that the pieces are written to)");
        return ExitCode::from(2);
    };
    match write_all(PathBuf::from(folder)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("demo-models: {error}");
            ExitCode::FAILURE
        }
    }
}

fn write_all(folder: PathBuf) -> Result<(), Box<dyn Error>> {
    fs::create_dir_all(&folder).map_err(|e| format!("cannot make {}: {e}", folder.display()))?;
    println!("{:<14} {:>9}  {:>18}  {:>5}  what it is", "piece", "triangles", "size, mm", "holes");
    for piece in pieces() {
        let mesh = piece.mesh().map_err(|e| format!("{}: {e}", piece.name))?;
        let (low, high) = mesh.bounds().unwrap_or_default();
        let size = high - low;
        let size = format!("{:.0} x {:.0} x {:.0}", size.x, size.y, size.z);
        let files = [("stl", stl::stl_bytes(&mesh)?), ("json", piece.request.as_bytes().to_vec())];
        for (ending, bytes) in files {
            let path = folder.join(piece.name).with_extension(ending);
            fs::write(&path, bytes).map_err(|e| format!("cannot write {}: {e}", path.display()))?;
        }
        println!(
            "{:<14} {:>9}  {:>18}  {:>5}  {}",
            piece.name,
            mesh.faces.len(),
            size,
            piece.holes,
            piece.about
        );
    }
    Ok(())
}
