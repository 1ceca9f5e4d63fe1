//! Files that stand beside a model's own: material files, and the pictures that these name.

/// Gives the files beside a model's.
pub trait Beside {
    /// The file of a name as it stands in the model's file, of `most` bytes at most; or in words why there is none.
    fn read(&self, name: &str, most: u64) -> Result<Vec<u8>, String>;
}

/// Nothing stands beside it: a model that comes alone.
#[derive(Clone, Copy, Debug, Default)]
pub struct Alone;

impl Beside for Alone {
    fn read(&self, _: &str, _: u64) -> Result<Vec<u8>, String> {
        Err("it was not given: only one file was".to_owned())
    }
}
