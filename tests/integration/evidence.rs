//! The evidence module from outside: sealed folders, and GNU `sha256sum` as the judge of manifests.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

use underlid::evidence::bag::{self, BagError, BagOptions, OxumState};
use underlid::evidence::hash::{Progress, Sha256Digest, hash_file, silent};
use underlid::evidence::manifest::{MANIFEST_NAME, Manifest};
use underlid::evidence::name::EvidenceName;
use underlid::evidence::verify::{Counts, FileState, SealComparison, SealError, VerifyError, seal, verify};

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
    write(dir.path(), "inspection.toml", b"schema = 2\n");
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
    check.args(["--check", "--strict", MANIFEST_NAME]).current_dir(dir.path());
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
                String::from_utf8_lossy(&line[66..]).replace("\\n", "\n").replace("\\r", "\r")
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
    check.args(["--check", "--strict", MANIFEST_NAME]).current_dir(dir.path());
    assert!(run(&mut check).status.success());
    let read = Manifest::read(&dir.path().join(MANIFEST_NAME)).unwrap();
    assert_eq!(read, manifest);
}

fn state<'a>(comparison: &'a SealComparison, file: &str) -> &'a FileState {
    let wanted = name(file.as_bytes());
    let found = comparison.files.iter().find(|f| f.name == wanted);
    &found.unwrap_or_else(|| panic!("{file} is not reported")).state
}

#[test]
fn changed_missing_and_added_files_are_told_apart() {
    let dir = inspection();
    let sealed = seal(dir.path(), false, None, &silent).unwrap();
    assert_eq!(sealed.manifest.len(), AWKWARD_NAMES.len() + 2);
    assert_eq!(sealed.manifest_digest, hash_file(&sealed.manifest_path).unwrap());
    assert!(verify(dir.path(), &silent).unwrap().matches());

    // Same length and same time: only the content tells.
    let plain = dir.path().join("photos/plain.jpg");
    let time = fs::metadata(&plain).unwrap().modified().unwrap();
    fs::write(&plain, "photos/plain.jpG").unwrap();
    let file = fs::File::options().write(true).open(&plain).unwrap();
    file.set_modified(time).unwrap();
    fs::remove_file(dir.path().join("logs/capacity.csv")).unwrap();
    fs::rename(dir.path().join("photos/*star.jpg"), dir.path().join("photos/star.jpg")).unwrap();
    write(dir.path(), "photos/new.jpg", b"new");
    write(dir.path(), "report/report.md", b"generated");

    let comparison = verify(dir.path(), &silent).unwrap();
    assert!(!comparison.matches());
    assert_eq!(
        comparison.counts(),
        Counts { unchanged: AWKWARD_NAMES.len() - 1, changed: 1, missing: 2, added: 2, unreadable: 0 }
    );
    assert_eq!(
        *state(&comparison, "photos/plain.jpg"),
        FileState::Changed {
            sealed: Sha256Digest::of(b"photos/plain.jpg"),
            found: Sha256Digest::of(b"photos/plain.jpG"),
        }
    );
    assert!(matches!(state(&comparison, "logs/capacity.csv"), FileState::Missing { .. }));
    assert_eq!(*state(&comparison, "photos/new.jpg"), FileState::Added { found: Sha256Digest::of(b"new") });
    let (old, new) = (name(b"photos/*star.jpg"), name(b"photos/star.jpg"));
    assert_eq!(comparison.renamed(), [(&old, &new)]);

    let json = serde_json::to_value(&comparison).unwrap();
    let first = &json["files"][0];
    assert_eq!(first["name"], "inspection.toml");
    assert_eq!(first["state"], "unchanged");
    assert_eq!(first["digest"], Sha256Digest::of(b"schema = 2\n").to_string());
}

#[test]
fn sealing_again_never_hides_a_change() {
    let dir = inspection();
    let first = seal(dir.path(), false, None, &silent).unwrap();
    let manifest = || fs::read(dir.path().join(MANIFEST_NAME)).unwrap();
    let before = manifest();

    // Nothing changed: nothing written.
    let again = seal(dir.path(), false, None, &silent).unwrap();
    assert_eq!(manifest(), before);
    assert_eq!(again.manifest_digest, first.manifest_digest);

    // Only added to: extended.
    write(dir.path(), "photos/new.jpg", b"new");
    let extended = seal(dir.path(), false, None, &silent).unwrap();
    assert_eq!(extended.manifest.len(), first.manifest.len() + 1);
    assert_ne!(manifest(), before);

    // Changed: refused, with what changed; the manifest stays.
    let before = manifest();
    fs::write(dir.path().join("photos/new.jpg"), "newer").unwrap();
    fs::write(dir.path().join("photos.sha256.minisig"), "old").unwrap();
    let SealError::Differs(comparison) = seal(dir.path(), false, None, &silent).unwrap_err() else {
        panic!("not refused");
    };
    let names: Vec<_> = comparison.differences().map(|f| f.name.to_text()).collect();
    assert_eq!(names, ["photos/new.jpg"]);
    assert_eq!(manifest(), before);

    // Told to: replaced.
    let replaced = seal(dir.path(), true, None, &silent).unwrap();
    assert!(replaced.written);
    assert!(verify(dir.path(), &silent).unwrap().matches());

    // A manifest that nobody can read is not thrown away unasked either.
    fs::write(dir.path().join(MANIFEST_NAME), "not a manifest").unwrap();
    let error = seal(dir.path(), false, None, &silent).unwrap_err();
    assert!(error.to_string().contains("line 1"), "{error}");
    assert_eq!(manifest(), b"not a manifest");
    seal(dir.path(), true, None, &silent).unwrap();
    assert!(verify(dir.path(), &silent).unwrap().matches());
}

#[test]
fn progress_ends_at_the_total() {
    let dir = inspection();
    write(dir.path(), "photos/large.jpg", &vec![7; 1_500_000]);
    let last = std::sync::Mutex::new(Progress { done: 0, total: 0 });
    let sealed = seal(dir.path(), false, None, &|p| {
        let mut last = last.lock().unwrap();
        if p.done > last.done {
            *last = p;
        }
    })
    .unwrap();
    let last = last.into_inner().unwrap();
    assert_eq!((last.done, last.total), (sealed.bytes, sealed.bytes));
}

#[cfg(unix)]
#[test]
fn what_cannot_be_read_is_no_pass() {
    use std::os::unix::fs::symlink;
    let dir = inspection();
    seal(dir.path(), false, None, &silent).unwrap();

    // A folder now stands where a sealed file was: nothing can be said of the file.
    fs::remove_file(dir.path().join("photos/plain.jpg")).unwrap();
    fs::create_dir(dir.path().join("photos/plain.jpg")).unwrap();
    let comparison = verify(dir.path(), &silent).unwrap();
    assert!(!comparison.matches());
    assert!(matches!(state(&comparison, "photos/plain.jpg"), FileState::Unreadable { .. }));

    // A manifest that reaches over a link, or out of the folder, is refused.
    let digest = Sha256Digest::of(b"");
    symlink("/etc", dir.path().join("elsewhere")).unwrap();
    for (line, expected) in
        [(format!("{digest}  elsewhere/passwd\n"), "link"), (format!("{digest}  ../secret\n"), "line 1")]
    {
        fs::write(dir.path().join(MANIFEST_NAME), line).unwrap();
        let error = verify(dir.path(), &silent).unwrap_err();
        assert!(error.to_string().contains(expected), "{error}");
    }
    fs::remove_file(dir.path().join(MANIFEST_NAME)).unwrap();
    let error = verify(dir.path(), &silent).unwrap_err();
    assert!(matches!(error, VerifyError::Manifest(_)), "{error}");
}

fn bagged() -> (tempfile::TempDir, std::path::PathBuf) {
    let dir = inspection();
    seal(dir.path(), false, None, &silent).unwrap();
    write(dir.path(), "report/report.md", b"# Report\n");
    let out = tempfile::tempdir().unwrap();
    let path = out.path().join("bag");
    let options = BagOptions {
        fields: vec![("External-Description".to_owned(), "Invented pack\nin two lines".to_owned())],
        date: Some(jiff::civil::date(2031, 5, 4)),
        with_report: true,
    };
    let bag = bag::write(dir.path(), &path, &options, &silent).unwrap();
    // Evidence and record, the manifest, the report.
    assert_eq!(bag.payload.len(), AWKWARD_NAMES.len() + 4);
    (out, path)
}

/// Reference: RFC 8493, sections 2.1 and 2.2, on names and content of the files in a bag.
#[test]
fn a_bag_is_laid_out_as_rfc_8493_says() {
    let (out, path) = bagged();
    let read = |name: &str| fs::read_to_string(path.join(name)).unwrap();
    assert_eq!(read("bagit.txt"), "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n");
    let info = read("bag-info.txt");
    assert!(info.contains("External-Description: Invented pack in two lines\n"));
    assert!(info.contains("Bagging-Date: 2031-05-04\n"), "{info}");
    let manifest = read("manifest-sha256.txt");
    let digest = Sha256Digest::of(b"photos/line\nbreak.jpg");
    assert!(manifest.contains(&format!("{digest}  data/photos/line%0Abreak.jpg\n")));
    assert!(manifest.contains("  data/photos/carriage%0Dreturn.jpg\n"));
    assert!(manifest.contains("  data/photos/deep/er/50%25.jpg\n"));
    assert!(manifest.contains("  data/photos/back\\slash.jpg\n"));
    let bytes: usize = manifest
        .lines()
        .map(|line| line[66..].replace("%0A", "\n").replace("%0D", "\r"))
        .map(|name| fs::read(path.join(name.replace("%25", "%"))).unwrap().len())
        .sum();
    let oxum = format!("Payload-Oxum: {bytes}.{}\n", manifest.lines().count());
    assert!(info.contains(&oxum), "{info}");
    let tags = read("tagmanifest-sha256.txt");
    let names: Vec<_> = tags.lines().map(|line| &line[66..]).collect();
    assert_eq!(names, ["bag-info.txt", "bagit.txt", "manifest-sha256.txt"]);
    // Nothing half-made lies beside it.
    assert_eq!(fs::read_dir(out.path()).unwrap().count(), 1);

    let report = bag::check(&path, &silent).unwrap();
    assert!(report.is_valid(), "{report:?}");
    assert_eq!(report.oxum, OxumState::Matches);
    // What is in the bag is a sealed inspection by itself.
    assert!(verify(&path.join("data"), &silent).unwrap().matches());
}

/// Something done to a bag that its checker has to notice.
type Damage<'a> = &'a dyn Fn(&Path);

#[test]
fn every_damage_to_a_bag_is_found() {
    let cases: [(&str, Damage); 8] = [
        ("changed", &|b| fs::write(b.join("data/photos/plain.jpg"), "photos/plain.jpG").unwrap()),
        ("missing", &|b| fs::remove_file(b.join("data/logs/capacity.csv")).unwrap()),
        ("added", &|b| fs::write(b.join("data/.hidden"), "").unwrap()),
        ("manifest line removed", &|b| {
            let path = b.join("manifest-sha256.txt");
            let text = fs::read_to_string(&path).unwrap();
            let (_, rest) = text.split_once('\n').unwrap();
            fs::write(path, rest).unwrap();
        }),
        ("info changed", &|b| {
            let path = b.join("bag-info.txt");
            let text = fs::read_to_string(&path).unwrap();
            fs::write(path, text.replace("Invented", "Real")).unwrap();
        }),
        ("info removed", &|b| fs::remove_file(b.join("bag-info.txt")).unwrap()),
        ("size wrong", &|b| {
            fs::remove_file(b.join("tagmanifest-sha256.txt")).unwrap();
            fs::write(b.join("bag-info.txt"), "Payload-Oxum: 1.1\n").unwrap();
        }),
        ("size malformed", &|b| {
            fs::remove_file(b.join("tagmanifest-sha256.txt")).unwrap();
            fs::write(b.join("bag-info.txt"), "payload-oxum: many\n").unwrap();
        }),
    ];
    for (what, damage) in cases {
        let (_out, path) = bagged();
        damage(&path);
        let report = bag::check(&path, &silent).unwrap();
        assert!(!report.is_valid(), "{what} went unseen");
    }
    let (_out, path) = bagged();
    fs::write(path.join("bagit.txt"), "\u{feff}BagIt-Version: 1.0\n").unwrap();
    assert!(matches!(bag::check(&path, &silent).unwrap_err(), BagError::Declaration { .. }));
    #[cfg(unix)]
    {
        let (_out, path) = bagged();
        std::os::unix::fs::symlink("/etc/passwd", path.join("data/link")).unwrap();
        let error = bag::check(&path, &silent).unwrap_err();
        assert!(error.to_string().contains("link"), "{error}");
    }
}

#[test]
fn a_bag_is_only_made_of_what_was_sealed_and_only_where_nothing_is() {
    let dir = inspection();
    let out = tempfile::tempdir().unwrap();
    let write_to = |path: &Path| bag::write(dir.path(), path, &BagOptions::default(), &silent).unwrap_err();
    let free = out.path().join("bag");
    assert!(matches!(write_to(&free), BagError::NotSealed { .. }));
    seal(dir.path(), false, None, &silent).unwrap();

    let taken = out.path().join("taken");
    fs::create_dir(&taken).unwrap();
    assert!(matches!(write_to(&taken), BagError::Exists { .. }));
    for inside in ["bag", "photos/bag", "photos/../logs/bag"] {
        let error = write_to(&dir.path().join(inside));
        assert!(matches!(error, BagError::Inside { .. }), "{error}");
    }
    for (label, value) in [("Payload-Oxum", "1.1"), ("A: b", "c"), ("", "c"), ("A\nB", "")] {
        let options =
            BagOptions { fields: vec![(label.to_owned(), value.to_owned())], ..BagOptions::default() };
        let error = bag::write(dir.path(), &free, &options, &silent).unwrap_err();
        assert!(matches!(error, BagError::Field { .. }), "{error}");
    }

    fs::write(dir.path().join("photos/plain.jpg"), "changed").unwrap();
    let BagError::Differs(comparison) = write_to(&free) else {
        panic!("not refused");
    };
    assert_eq!(comparison.counts().changed, 1);
    // Every refusal left the place as it was.
    assert_eq!(fs::read_dir(out.path()).unwrap().count(), 1);
}
