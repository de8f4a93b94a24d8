//! What integration tests share: running the program, copies of the examples, where the tools that `tests/run` sets up are.

pub mod pack;
pub mod thermal;

use std::fs;
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
    // Threads of the linear algebra cost more than they bring on small matrices (20 s against 2 s a network).
    command.arg(root().join("tests/reference").join(script)).env("OPENBLAS_NUM_THREADS", "1");
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

/// How often a test repeats itself: `few` times in the fast set, `many` times where `tests/run --long` asks for all.
pub fn rounds(few: u32, many: u32) -> u32 {
    if std::env::var_os("UNDERLID_LONG").is_some() { many } else { few }
}

/// Runs the program: exit status, standard output, standard error.
pub fn run(arguments: &[&str]) -> (i32, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_underlid"))
        .env("NO_COLOR", "1")
        // The settings of whoever runs the tests are not theirs.
        .env("UNDERLID_CONFIG", "")
        .args(arguments)
        .output()
        .unwrap();
    (
        output.status.code().expect("an exit status"),
        String::from_utf8(output.stdout).unwrap(),
        String::from_utf8(output.stderr).unwrap(),
    )
}

/// A copy of an example in a temporary folder, without its seal and without what was generated beside it.
pub fn copy(name: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let from = root().join("example-inspections").join(name);
    fs::copy(from.join("inspection.toml"), folder.path().join("inspection.toml")).unwrap();
    for kind in ["photos", "logs"] {
        fs::create_dir(folder.path().join(kind)).unwrap();
        for file in fs::read_dir(from.join(kind)).unwrap() {
            let file = file.unwrap();
            fs::copy(file.path(), folder.path().join(kind).join(file.file_name())).unwrap();
        }
    }
    folder
}

/// A path as an argument.
pub fn text(path: &Path) -> String {
    path.to_str().unwrap().to_owned()
}
