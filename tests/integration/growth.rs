//! The cost of a record grows with its size and not with the square of it.
//!
//! What is counted is what a run says: every line of working and every missing fact that a finding repeats is there. A
//! record with four times as many parts may say four times as much, and a little more for longer numbers.

use std::fmt::Write;
use std::fs;

/// Growth that is allowed from a record to one with four times as many parts.
const ALLOWED: f64 = 4.6;

/// A record with many of everything: half of the elements say nothing, half say all. Their resistances are so small that
/// the cells alone set the fault current, and the fuses open in both sizes.
fn record(parts: usize) -> String {
    let mut text = String::from(
        "schema = 2\n[claims]\ncontinuous_current = \"100 A\"\n[cells]\nseries = 8\nparallel = 1\nchemistry = \"LFP\"\n\
         resistance = \"0.3 mΩ\"\n[rig]\nambient = \"25 degC\"\n",
    );
    let kinds = ["busbar", "cable", "fuse", "joint", "bms", "terminal", "contactor", "thermal-cutoff"];
    for number in 0..parts {
        let kind = kinds[number % kinds.len()];
        let known = if (number / kinds.len()).is_multiple_of(2) {
            "resistance = \"2 µΩ ± 0.1 µΩ\"\n"
        } else {
            ""
        };
        let rating = if kind == "fuse" { "fuse = \"class T\"\nrating = \"200 A\"\n" } else { "" };
        let _ = write!(
            text,
            "[[path.element]]\nid = \"e{number}\"\nkind = \"{kind}\"\n{known}{rating}\
             [[cells.reading]]\nposition = {number}\nvoltage = \"3.3 V ± 1 mV\"\n\
             [[photo]]\nfile = \"photos/{number}.jpg\"\nshows = [\"e{number}\"]\n\
             [[test]]\nid = \"t{number}\"\nkind = \"full load\"\n\
             [[rig.element]]\nid = \"f{number}\"\nkind = \"fuse\"\nfuse = \"class T\"\nrating = \"200 A\"\n\
             [[rig.element]]\nkind = \"cable\"\nsize = \"35 mm2\"\nmaterial = \"copper\"\n\
             [[rig.clearing]]\nof = \"f{number}\"\nlet_through = \"9000 A²s\"\n"
        );
    }
    text
}

/// Bytes that a command says of a record.
fn said(parts: usize, command: &[&str]) -> usize {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("inspection.toml"), record(parts)).unwrap();
    let mut all = command.to_vec();
    all.push(folder.path().to_str().unwrap());
    let (code, out, err) = crate::common::run(&all);
    assert!(code < 2, "{err}");
    out.len()
}

#[test]
fn four_times_the_record_is_four_times_the_work() {
    for command in [&["check", "--format", "json"][..], &["check", "--all"], &["plan", "--format", "json"]] {
        let (small, large) = (said(250, command), said(1000, command));
        #[expect(clippy::cast_precision_loss, reason = "megabytes")]
        let growth = large as f64 / small as f64;
        assert!(growth < ALLOWED, "{command:?}: {small} bytes, then {large}: {growth:.2} times as much");
    }
}
