//! The words of all outputs of both examples: nothing is printed as a sum that is false as it stands, nothing is found "no"
//! and required "no", and margins have no more digits than their uncertainty.

use std::fs;
use std::path::Path;

use crate::common::{copy, root, rounds, run as program, text};

fn run(arguments: &[&str]) -> String {
    let (code, out, err) = program(arguments);
    assert!(code <= 1, "{arguments:?}: {err}");
    out
}

/// Every text file below a folder.
fn texts(folder: &Path, found: &mut Vec<(String, String)>) {
    for entry in fs::read_dir(folder).unwrap().map(Result::unwrap) {
        if entry.path().is_dir() {
            texts(&entry.path(), found);
        } else if let Ok(text) = fs::read_to_string(entry.path()) {
            found.push((entry.path().display().to_string(), text));
        }
    }
}

/// A few letters before a place.
fn before(text: &str, at: usize, letters: usize) -> String {
    let mut tail: Vec<char> = text[..at].chars().rev().take(letters).collect();
    tail.reverse();
    tail.into_iter().collect()
}

/// What is wrong with a text.
fn slips(text: &str) -> Vec<String> {
    let mut slips = Vec::new();
    for sign in [" ≥ ", " ≤ "] {
        // A formula may have the sign between names; a found value never stands before it.
        slips.extend(text.match_indices(sign).filter_map(|(at, _)| {
            let tail = before(text, at, 12);
            let value = tail.chars().any(|c| c.is_ascii_digit()) || tail.ends_with("absent");
            value.then(|| format!("{}{sign}", before(text, at, 40)))
        }));
    }
    for phrase in ["found: no; required", "found: yes; required", "absent ≥", "absent ≤", "? ≥", "? ≤"]
    {
        slips.extend(text.match_indices(phrase).map(|(at, _)| format!("{}{phrase}", before(text, at, 40))));
    }
    slips
}

#[test]
fn what_falls_short_is_told_in_words() {
    let examples = ["harbour-24-150-rev-a", "harbour-24-150-rev-b"].map(copy);
    let [a, b] = examples.each_ref().map(|folder| text(folder.path()));
    let out = tempfile::tempdir().unwrap();
    let to = |name: &str| text(&out.path().join(name));
    let mut found: Vec<(String, String)> = Vec::new();
    for (number, example) in [&a, &b].into_iter().enumerate() {
        for arguments in [&["check", "--all"][..], &["check", "--format", "json"], &["plan"]] {
            found.push((format!("{arguments:?}"), run(&[arguments, &[example]].concat())));
        }
        run(&["report", example]);
        texts(&Path::new(example).join("report"), &mut found);
        // Drawing the pictures takes a while.
        if rounds(0, 1) == 1 {
            run(&["video-kit", example, "--to", &to(&format!("kit-{number}"))]);
        }
    }
    found.push(("compare".to_owned(), run(&["compare", &a, &b])));
    run(&["compare", &a, &b, "--to", &to("comparison")]);
    run(&["collection", "--to", &to("collection"), &text(&root().join("example-inspections"))]);
    texts(out.path(), &mut found);
    assert!(found.len() > 20, "{}", found.len());
    let slips: Vec<String> = found
        .iter()
        .flat_map(|(name, text)| slips(text).into_iter().map(move |slip| format!("{name}: {slip}")))
        .collect();
    assert!(slips.is_empty(), "{} slips:\n{}", slips.len(), slips.join("\n"));
}
