//! Records of an earlier schema: told once, rewritten when asked, and never lost.

use std::fs;
use std::path::Path;

use crate::common::{copy, root, run, text};

/// What version 0.1.0 wrote for `underlid new`, with the section filled in whose name has changed since.
fn started() -> String {
    let started = fs::read_to_string(root().join("tests/data/schema-1/started.toml")).unwrap();
    started.replace("\n[redact]\n", "\n[redact] # asked for by the owner\ntexts = [\"Quellwerk\"]\n")
}

fn files(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}

#[test]
fn every_command_says_one_thing_of_an_earlier_schema() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("inspection.toml"), started()).unwrap();
    let path = text(folder.path());
    for arguments in [vec!["check", &path], vec!["report", &path], vec!["plan", &path], vec!["fill", &path]] {
        let (code, out, err) = run(&arguments);
        assert_eq!((code, out.as_str()), (2, ""), "{arguments:?}");
        assert!(err.contains("schema version 1, this program reads version 2"), "{err}");
        assert!(err.contains("`underlid migrate DIR`"), "{err}");
        assert!(err.contains("1 problem in") && !err.contains("unknown key"), "{err}");
    }
}

#[test]
fn a_record_is_rewritten_and_kept() {
    let folder = tempfile::tempdir().unwrap();
    let record = folder.path().join("inspection.toml");
    fs::write(&record, started()).unwrap();
    let path = text(folder.path());

    let (code, out, err) = run(&["migrate", "--dry-run", &path]);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    assert!(out.contains("`redact` is now `withhold`") && out.contains("nothing was written"), "{out}");
    assert_eq!((fs::read_to_string(&record).unwrap(), files(folder.path()).len()), (started(), 1));

    let (code, out, err) = run(&["migrate", &path]);
    assert_eq!((code, err.as_str()), (0, ""), "{out}");
    assert!(out.contains("`schema = 1` is now `schema = 2`") && out.contains("commented out"), "{out}");
    let copy = folder.path().join("inspection.schema-1.toml");
    assert_eq!(fs::read_to_string(&copy).unwrap(), started());
    // Nothing but the names: every other line, comments and order included, is the user's.
    let expected = started()
        .replace("\nschema = 1\n", "\nschema = 2\n")
        .replace("\n[redact] #", "\n[withhold] #")
        .replace("\n# [[redact.area]]\n", "\n# [[withhold.area]]\n");
    assert_eq!(fs::read_to_string(&record).unwrap(), expected);
    assert_eq!(files(folder.path()), ["inspection.schema-1.toml", "inspection.toml"], "nothing left behind");
    let (code, _, err) = run(&["check", &path]);
    assert_eq!(code, 0, "{err}");

    let (code, out, _) = run(&["migrate", &path]);
    assert!(code == 0 && out.contains("has schema 2 already"), "{out}");
}

/// The example as version 0.1.0 shipped it, sealed: the same findings, and a seal that says what changed.
#[test]
fn a_migrated_example_is_judged_as_before() {
    let folder = copy("harbour-24-150-rev-a");
    let record = folder.path().join("inspection.toml");
    let path = text(folder.path());
    let (_, before, _) = run(&["check", &path]);
    let new = fs::read_to_string(&record).unwrap();
    fs::write(&record, new.replace("schema = 2\n", "schema = 1\n")).unwrap();
    // The seal does not ask whether a record reads.
    assert_eq!(run(&["seal", &path]).0, 0);
    let (code, out, _) = run(&["migrate", &path]);
    assert!(code == 0 && out.contains("seal --replace"), "{out}");
    assert_eq!(fs::read_to_string(&record).unwrap(), new);
    assert_eq!(run(&["check", &path]).1, before);
    let (code, out, _) = run(&["verify", &path]);
    assert!(code == 1 && out.contains("inspection.toml: changed"), "{out}");
}

#[test]
fn nothing_is_overwritten_and_mistakes_stay_the_users() {
    let folder = tempfile::tempdir().unwrap();
    let record = folder.path().join("inspection.toml");
    let path = text(folder.path());
    fs::write(&record, started()).unwrap();
    fs::write(folder.path().join("inspection.schema-1.toml"), "another copy").unwrap();
    let (code, _, err) = run(&["migrate", &path]);
    assert!(code == 2 && err.contains("holds something else"), "{err}");
    assert_eq!(fs::read_to_string(&record).unwrap(), started());

    // A record with a mistake is rewritten, and the mistake told at its place.
    fs::remove_file(folder.path().join("inspection.schema-1.toml")).unwrap();
    fs::write(&record, "schema = 1\n[redact]\n[cells]\nserie = 8\n").unwrap();
    let (code, out, err) = run(&["migrate", &path]);
    assert!(code == 2 && out.contains("`redact` is now `withhold`"), "{out}");
    assert!(err.contains("unknown key `serie`") && err.contains("did you mean `series`"), "{err}");
    assert!(fs::read_to_string(&record).unwrap().contains("[withhold]"));

    for (record_text, expected) in [
        ("schema = 1\n[redact]\n[withhold]\n", "expected one of the two"),
        ("schema = 7\n", "which schema version"),
        ("schema = 1\n[", "unquoted keys cannot be empty"),
    ] {
        fs::write(&record, record_text).unwrap();
        let (code, _, err) = run(&["migrate", &path]);
        assert!(code == 2 && err.contains(expected), "{record_text}: {err}");
        assert_eq!(fs::read_to_string(&record).unwrap(), record_text);
    }
    let (code, _, err) = run(&["migrate", &text(&folder.path().join("nowhere"))]);
    assert!(code == 2 && err.contains("there is none"), "{err}");
}

/// House rules, templates and habits from before are told what a thing is called now.
#[test]
fn old_names_are_answered_with_the_new_ones() {
    let folder = tempfile::tempdir().unwrap();
    let record = root().join("example-inspections/harbour-24-150-rev-a/inspection.toml");
    fs::copy(record, folder.path().join("inspection.toml")).unwrap();
    let path = text(folder.path());
    let rules = folder.path().join("house.toml");
    let rule = "[[rule]]\nid = \"house\"\ntitle = \"t\"\nfault = \"f\"\ngrade = \"minor\"\nbasis = \"ours\"\neach = [\"element\"]\nwhy = \"w\"\nrequire = 'element.capability >= 1 A'\n";
    fs::write(&rules, format!("schema = 1\n{rule}")).unwrap();
    let (code, _, err) = run(&["check", "--rules", &text(&rules), &path]);
    assert!(code == 2 && err.contains("it is called `element.permissible_current` now"), "{err}");

    let templates = tempfile::tempdir().unwrap();
    fs::write(templates.path().join("report.md"), "# {{ view.title }}\n\n{{ view.path.capability.value }}\n")
        .unwrap();
    let (code, _, err) = run(&["report", "--templates", &text(templates.path()), &path]);
    assert!(code == 2 && err.contains("it is called `permissible_current` now"), "{err}");
    assert!(err.contains("report.md:3:"), "{err}");

    let (code, _, err) = run(&["appendix", &path]);
    assert!(code == 2 && err.contains("is called `underlid video-kit` now"), "{err}");
}
