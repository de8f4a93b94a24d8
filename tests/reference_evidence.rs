//! Evidence checked against programs and libraries of others: GNU coreutils for speed, the Python
//! `bagit` and Pillow libraries, OpenSSH.

mod common;

use std::fs;
use std::io::Write;
use std::process::Command;
use std::time::{Duration, Instant};

use underlid::evidence::hash::hash_file;

/// Reference: GNU coreutils `sha256sum` on the same 1 GiB file, in one run, best of three each.
#[test]
#[ignore = "writes a 1 GiB file; run by tests/run"]
fn hashing_keeps_up_with_sha256sum() {
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
