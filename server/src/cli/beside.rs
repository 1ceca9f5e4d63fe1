//! Files that stand beside a model's, in its folder: never any that is outside of it.

use std::fs::File;
use std::io::Read as _;
use std::path::{Component, Path, PathBuf};

use slitwright_solver::mesh::Beside;

/// The folder of a model file.
pub struct FolderOf(PathBuf);

impl FolderOf {
    /// That of this file.
    pub fn file(path: &Path) -> Self {
        let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
        Self(folder.unwrap_or(Path::new(".")).to_owned())
    }
}

impl Beside for FolderOf {
    fn read(&self, name: &str, most: u64) -> Result<Vec<u8>, String> {
        // Some programs write the paths of another system.
        let relative = PathBuf::from(name.replace('\\', "/"));
        let outside =
            || "it is not in the model's folder, and is not looked for elsewhere".to_owned();
        let plain = |part| matches!(part, Component::Normal(_) | Component::CurDir);
        if !relative.components().all(plain) {
            return Err(outside());
        }
        let fault = |error: std::io::Error| match error.kind() {
            std::io::ErrorKind::NotFound => "it is not beside the model".to_owned(),
            _ => error.to_string(),
        };
        // A link may lead anywhere.
        let folder = self.0.canonicalize().map_err(fault)?;
        let path = folder.join(relative).canonicalize().map_err(fault)?;
        if !path.starts_with(&folder) {
            return Err(outside());
        }
        // A pipe would be waited for without end.
        if !path.metadata().map_err(fault)?.is_file() {
            return Err("it is no file".to_owned());
        }
        let mut bytes = Vec::new();
        File::open(&path).map_err(fault)?.take(most + 1).read_to_end(&mut bytes).map_err(fault)?;
        if bytes.len() as u64 > most {
            return Err(format!("it has more than {most} bytes"));
        }
        Ok(bytes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_outside_the_folder_is_read() {
        let place = tempfile::tempdir().expect("a folder");
        let own = place.path().join("own");
        std::fs::create_dir_all(own.join("maps")).expect("made");
        std::fs::write(place.path().join("secret.mtl"), "no").expect("written");
        std::fs::write(own.join("red.mtl"), "Kd").expect("written");
        std::fs::write(own.join("maps/a.png"), "png").expect("written");
        let beside = FolderOf::file(&own.join("bust.obj"));
        assert_eq!(beside.read("red.mtl", 2), Ok(b"Kd".to_vec()));
        assert_eq!(beside.read("./maps\\a.png", 100), Ok(b"png".to_vec()));
        assert!(beside.read("red.mtl", 1).expect_err("large").contains("more than 1 bytes"));
        for name in ["../secret.mtl", "maps/../../secret.mtl", "/etc/hostname"] {
            assert!(beside.read(name, 100).expect_err(name).contains("folder"), "{name}");
        }
        assert!(beside.read("blue.mtl", 100).expect_err("none").contains("not beside"));
        assert!(beside.read("maps", 100).is_err());
        assert!(beside.read("", 100).is_err());
        #[cfg(unix)]
        {
            std::os::unix::fs::symlink(place.path().join("secret.mtl"), own.join("link.mtl"))
                .expect("linked");
            assert!(beside.read("link.mtl", 100).expect_err("a link").contains("folder"));
        }
    }
}
