//! What integration tests share: where the tools that `tests/run` sets up are found.

#![allow(dead_code)]

use std::path::{Path, PathBuf};
use std::process::Command;

/// The repository's root folder.
pub fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// The Python of the tests' own virtual environment, ready to run a script of `tests/reference/`.
///
/// # Panics
/// When `tests/run` has not set the tools up: a reference check that is skipped proves nothing.
pub fn python(script: &str) -> Command {
    let interpreter = tool(".cache/tools/venv/bin/python");
    let mut command = Command::new(interpreter);
    command.arg(root().join("tests/reference").join(script));
    command
}

/// A file under the repository that `tests/run` installs.
pub fn tool(relative: &str) -> PathBuf {
    let path = root().join(relative);
    assert!(
        Path::new(&path).exists(),
        "{} is missing: run `bash tests/run`, which installs what the reference checks need",
        path.display()
    );
    path
}
