//! Evidence checked against programs and libraries of others: GNU coreutils for speed, the Python
//! `bagit` and Pillow libraries, OpenSSH.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::time::{Duration, Instant};

use underlid::evidence::bag::{self, BagOptions, OxumState};
use underlid::evidence::hash::{hash_file, silent};
use underlid::evidence::picture::{self, PictureOptions};
use underlid::evidence::sign::{self, SignError, VerifyingKey};
use underlid::evidence::signature::signature_path;
use underlid::evidence::verify::seal;

/// Reference: GNU coreutils `sha256sum` on the same 1 GiB file, in one run, best of three each.
#[test]
#[ignore = "writes a 1 GiB file; run by tests/run --long"]
fn long_hashing_keeps_up_with_sha256sum() {
    const MIB: usize = 1024;
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("photo");
    let mut file = fs::File::create(&path).unwrap();
    let mut block = vec![0_u8; 1024 * 1024];
    for n in 0..MIB {
        block[..8].copy_from_slice(&n.to_le_bytes());
        file.write_all(&block).unwrap();
    }
    drop(file);

    let (mut ours, mut theirs) = (Duration::MAX, Duration::MAX);
    for _ in 0..3 {
        let start = Instant::now();
        let output = Command::new("sha256sum").arg(&path).output().unwrap();
        theirs = theirs.min(start.elapsed());
        let start = Instant::now();
        let digest = hash_file(&path).unwrap().to_string();
        ours = ours.min(start.elapsed());
        assert!(String::from_utf8_lossy(&output.stdout).starts_with(&digest));
    }
    let rate = |time: Duration| MIB as f64 / time.as_secs_f64();
    let ratio = rate(ours) / rate(theirs);
    println!(
        "1 GiB: underlid {:.0} MiB/s, sha256sum {:.0} MiB/s, ratio {ratio:.2}",
        rate(ours),
        rate(theirs)
    );
    assert!(ratio >= 0.9, "slower than 0.9 of sha256sum: {ratio:.2}");
}

fn bagit(what: &str, folder: &Path) -> Output {
    crate::common::python("evidence_bag.py").arg(what).arg(folder).output().unwrap()
}

/// A sealed inspection with names that try an archive's patience, and its bag.
fn our_bag(out: &Path) -> PathBuf {
    let folder = out.join("inspection");
    for (name, content) in [
        ("inspection.toml", "schema = 2\n"),
        ("photos/two  spaces.jpg", "a"),
        ("photos/Schütz 母線.jpg", "b"),
        ("photos/line\nbreak.jpg", "c"),
        ("photos/carriage\rreturn.jpg", "d"),
        ("logs/full load.csv", "e"),
    ] {
        let path = folder.join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, content).unwrap();
    }
    seal(&folder, false, None, &silent).unwrap();
    let path = out.join("bag");
    bag::write(&folder, &path, &BagOptions::default(), &silent).unwrap();
    path
}

/// Reference: Python `bagit`. Names with `%` are left out: that library writes and reads version
/// 0.97, in which `%` is not encoded, and takes our `%25` of RFC 8493 literally.
#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn bagit_validates_our_bag_and_finds_what_we_damage() {
    let damages: [&dyn Fn(&Path); 5] = [
        &|_| {},
        &|b| fs::write(b.join("data/photos/line\nbreak.jpg"), "x").unwrap(),
        &|b| fs::remove_file(b.join("data/logs/full load.csv")).unwrap(),
        &|b| fs::write(b.join("data/photos/new.jpg"), "new").unwrap(),
        &|b| fs::write(b.join("bag-info.txt"), "Bagging-Date: 2031-05-04\n").unwrap(),
    ];
    for (number, damage) in damages.iter().enumerate() {
        let dir = tempfile::tempdir().unwrap();
        let bag = our_bag(dir.path());
        damage(&bag);
        let theirs = bagit("validate", &bag);
        let expected = if number == 0 { 0 } else { 3 };
        assert_eq!(theirs.status.code(), Some(expected), "{number}: {theirs:?}");
        let ours = bag::check(&bag, &silent).unwrap();
        assert_eq!(ours.is_valid(), number == 0, "{number}: {ours:?}");
    }
}

/// Reference: Python `bagit` makes the bag.
#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn we_validate_what_bagit_makes_and_both_find_damage() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("theirs");
    fs::create_dir(&folder).unwrap();
    for name in ["50%.jpg", "two  spaces.jpg", "Schütz.jpg", "line\nbreak.jpg"] {
        fs::write(folder.join(name), name).unwrap();
    }
    let made = bagit("make", &folder);
    assert!(made.status.success(), "{made:?}");
    let report = bag::check(&folder, &silent).unwrap();
    assert!(report.is_valid(), "{report:?}");
    assert_eq!(report.payload.counts().unchanged, 4);
    assert_eq!(report.oxum, OxumState::Matches);
    assert_eq!(report.not_checked, ["manifest-sha512.txt", "tagmanifest-sha512.txt"]);

    fs::write(folder.join("data/50%.jpg"), "50%.jpG").unwrap();
    assert_eq!(bagit("validate", &folder).status.code(), Some(3));
    let report = bag::check(&folder, &silent).unwrap();
    assert_eq!(report.payload.counts().changed, 1);
    assert!(!report.is_valid());
}

fn pillow(what: &str, path: &Path) -> Output {
    let output = crate::common::python("evidence_picture.py").arg(what).arg(path).output().unwrap();
    assert!(output.status.success(), "{output:?}");
    output
}

/// Reference: Pillow writes a photo full of metadata and reads our copy of it.
#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn pillow_finds_no_metadata_in_our_copy() {
    let dir = tempfile::tempdir().unwrap();
    let photo = dir.path().join("photo.jpg");
    pillow("make", &photo);
    let original = fs::read(&photo).unwrap();
    let derived = picture::derive(&photo, &PictureOptions::default()).unwrap();
    assert!(derived.facts.has_location && derived.facts.has_serial_or_owner);
    assert_eq!(derived.facts.taken.unwrap().to_string(), "2031-05-04T10:22:05");
    assert_eq!(fs::read(&photo).unwrap(), original, "the original changed");

    let copy = dir.path().join("copy.jpg");
    fs::write(&copy, &derived.jpeg).unwrap();
    let seen: serde_json::Value = serde_json::from_slice(&pillow("inspect", &copy).stdout).unwrap();
    assert_eq!(seen["size"], serde_json::json!([64, 32]), "not upright");
    assert!(seen["left"][0].as_u64().unwrap() > 150, "{seen}");
    assert!(seen["right"][2].as_u64().unwrap() > 150, "{seen}");
    assert_eq!(seen["exif"], serde_json::json!({}));
    assert_eq!(seen["gps"], 0);
    assert_eq!(seen["other"], serde_json::json!([]));
    assert_eq!(seen["segments"], serde_json::json!(["APP0"]));
    for secret in ["SECRET", "Exif", "xmp", "ICC_PROFILE"] {
        let hidden = |bytes: &[u8]| bytes.windows(secret.len()).any(|w| w == secret.as_bytes());
        assert!(hidden(&original), "the photo lacks {secret}");
        assert!(!hidden(&derived.jpeg), "{secret} survived");
    }
}

fn py_minisign(what: &str, folder: &Path) -> Output {
    crate::common::python("evidence_minisign.py").arg(what).arg(folder).output().unwrap()
}

/// Reference: the Python `py-minisign` library, an implementation of its own.
#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn py_minisign_and_we_accept_each_others_signatures() {
    let dir = tempfile::tempdir().unwrap();
    let at = |name: &str| dir.path().join(name);
    fs::write(at("photos.sha256"), "ours\n").unwrap();
    sign::generate(&at("secret.key"), &at("public.key"), Some("invented")).unwrap();
    let sign_with = |password| sign::sign(&at("photos.sha256"), &at("secret.key"), password, None);
    assert!(matches!(sign_with(None), Err(SignError::PasswordNeeded { .. })));
    assert!(matches!(sign_with(Some("wrong")), Err(SignError::WrongPassword { .. })));
    sign_with(Some("invented")).unwrap();
    let theirs = py_minisign("verify", dir.path());
    assert_eq!(theirs.status.code(), Some(0), "{theirs:?}");
    fs::write(at("photos.sha256"), "altered\n").unwrap();
    assert_eq!(py_minisign("verify", dir.path()).status.code(), Some(3));

    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("photos.sha256");
    fs::write(&file, "theirs\n").unwrap();
    let made = py_minisign("sign", dir.path());
    assert!(made.status.success(), "{made:?}");
    let key = VerifyingKey::read(dir.path().join("public.key").to_str().unwrap()).unwrap();
    let verified = sign::verify(&file, &signature_path(&file), &key).unwrap();
    assert_eq!(verified.comment, "invented comment");
    fs::write(&file, "altered\n").unwrap();
    assert!(sign::verify(&file, &signature_path(&file), &key).is_err());
}
