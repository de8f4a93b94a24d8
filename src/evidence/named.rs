//! Names that makers and checkers of signatures share.

use std::path::{Path, PathBuf};

/// What is added to a file's name for its signature in the minisign format.
pub const SIGNATURE_ENDING: &str = ".minisig";

/// Where the signature of a file lies.
pub fn signature_path(file: &Path) -> PathBuf {
    let mut path = file.as_os_str().to_owned();
    path.push(SIGNATURE_ENDING);
    path.into()
}

/// A key's number with the last byte first, as all programs of the minisign format show it.
pub(super) fn key_id(number: &[u8]) -> String {
    number.iter().rev().map(|b| format!("{b:02X}")).collect()
}
