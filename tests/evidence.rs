//! The evidence module from outside: sealed folders, and GNU `sha256sum` as the judge of manifests.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

use underlid::evidence::hash::{Sha256Digest, hash_file};
use underlid::evidence::manifest::{MANIFEST_NAME, Manifest};
use underlid::evidence::name::EvidenceName;

/// Names that break careless formats; all legal on Unix.
const AWKWARD_NAMES: [&str; 9] = [
    "photos/plain.jpg",
    "photos/two  spaces and a tail .jpg",
    "photos/Schütz 母線 🔋.jpg",
    "photos/line\nbreak.jpg",
    "photos/carriage\rreturn.jpg",
    "photos/back\\slash.jpg",
    "photos/*star.jpg",
    "photos/#hash.jpg",
    "photos/deep/er/50%.jpg",
];

fn write(folder: &Path, name: &str, content: &[u8]) {
    let path = folder.join(name);
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    fs::write(path, content).unwrap();
}

/// An inspection folder with awkward names, a log and a record.
fn inspection() -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    for name in AWKWARD_NAMES {
        write(dir.path(), name, name.as_bytes());
    }
    write(dir.path(), "logs/capacity.csv", b"time,voltage\n");
    write(dir.path(), "inspection.toml", b"schema = 1\n");
    dir
}

fn name(bytes: &[u8]) -> EvidenceName {
    EvidenceName::new(bytes).unwrap()
}

fn run(command: &mut Command) -> std::process::Output {
    command
        .env("LC_ALL", "C.UTF-8")
        .stdin(Stdio::null())
        .output()
        .unwrap_or_else(|e| panic!("{command:?}: {e}; GNU coreutils are needed"))
}

/// Reference: GNU coreutils `sha256sum --check --strict`.
#[test]
fn sha256sum_accepts_our_manifest() {
    let dir = inspection();
    let mut manifest = Manifest::default();
    for n in AWKWARD_NAMES {
        manifest.insert(name(n.as_bytes()), hash_file(&dir.path().join(n)).unwrap());
    }
    manifest.write(&dir.path().join(MANIFEST_NAME)).unwrap();

    let mut check = Command::new("sha256sum");
    check
        .args(["--check", "--strict", MANIFEST_NAME])
        .current_dir(dir.path());
    let output = run(&mut check);
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.status.success(), "{output:?}");
    assert_eq!(said.matches(": OK").count(), AWKWARD_NAMES.len(), "{said}");

    fs::write(dir.path().join("photos/line\nbreak.jpg"), "changed").unwrap();
    assert!(!run(&mut check).status.success());
}

/// Reference: what GNU coreutils `sha256sum` prints, in each of its line formats.
#[test]
fn our_reader_accepts_what_sha256sum_writes() {
    let dir = inspection();
    for mode in ["--text", "--binary", "--tag"] {
        let mut sum = Command::new("sha256sum");
        sum.arg(mode).args(AWKWARD_NAMES).current_dir(dir.path());
        let output = run(&mut sum);
        assert!(output.status.success(), "{output:?}");
        let manifest = Manifest::from_bytes(&output.stdout, Path::new("theirs")).unwrap();
        assert_eq!(manifest.len(), AWKWARD_NAMES.len(), "{mode}");
        for n in AWKWARD_NAMES {
            let expected = Sha256Digest::of(n.as_bytes());
            assert_eq!(manifest.get(&name(n.as_bytes())), Some(expected), "{n:?}");
        }
        if mode == "--text" {
            let mut lines: Vec<_> = output.stdout.split_inclusive(|&b| b == b'\n').collect();
            lines.sort_by_key(|line| {
                let line = line.strip_prefix(b"\\").unwrap_or(line);
                // Sorted by the unescaped name, which the awkward names keep in this order.
                String::from_utf8_lossy(&line[66..])
                    .replace("\\n", "\n")
                    .replace("\\r", "\r")
            });
            assert_eq!(manifest.to_bytes(), lines.concat(), "byte for byte");
        }
    }
}

/// Reference: GNU coreutils. A name on Unix need not be UTF-8.
#[cfg(target_os = "linux")]
#[test]
fn names_that_are_not_utf8_survive() {
    use std::os::unix::ffi::OsStrExt;
    let dir = tempfile::tempdir().unwrap();
    let raw = b"photos/caf\xe9.jpg";
    write(dir.path(), "photos/x", b"");
    fs::write(dir.path().join(std::ffi::OsStr::from_bytes(raw)), "é").unwrap();
    let listed = name(raw);
    let digest = hash_file(&dir.path().join(listed.to_path())).unwrap();
    let manifest: Manifest = [(listed, digest)].into_iter().collect();
    manifest.write(&dir.path().join(MANIFEST_NAME)).unwrap();
    let mut check = Command::new("sha256sum");
    check
        .args(["--check", "--strict", MANIFEST_NAME])
        .current_dir(dir.path());
    assert!(run(&mut check).status.success());
    let read = Manifest::read(&dir.path().join(MANIFEST_NAME)).unwrap();
    assert_eq!(read, manifest);
}
