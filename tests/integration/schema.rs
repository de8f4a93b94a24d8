//! The JSON Schema against an independent validator, and a few documents that it must refuse.

use std::fs;
use std::path::Path;

use assert_cmd::Command;

fn as_json(toml: &str) -> String {
    let value: toml::Table = toml::from_str(toml).unwrap();
    serde_json::to_string(&value).unwrap().replace("{\"$__toml_private_datetime\":", "").to_string()
}

/// TOML dates become texts in JSON.
fn document(folder: &Path, name: &str, toml: &str) -> std::path::PathBuf {
    let mut dated = String::new();
    for line in toml.lines() {
        match line.split_once(" = ") {
            Some((key, value))
                if value.len() == 10
                    && value.starts_with(|c: char| c.is_ascii_digit())
                    && value.as_bytes()[4] == b'-' =>
            {
                dated.push_str(&format!("{key} = \"{value}\"\n"));
            }
            _ => dated.push_str(&format!("{line}\n")),
        }
    }
    let path = folder.join(name);
    fs::write(&path, as_json(&dated)).unwrap();
    path
}

#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn the_schema_validates_every_example_and_refuses_what_is_wrong() {
    let folder = tempfile::tempdir().unwrap();
    let schema = folder.path().join("schema.json");
    let printed = Command::new(env!("CARGO_BIN_EXE_underlid")).arg("schema").output().unwrap();
    assert!(printed.status.success());
    fs::write(&schema, printed.stdout).unwrap();
    let check = |paths: &[std::path::PathBuf]| {
        let output = crate::common::python("schema.py").arg(&schema).args(paths).output().unwrap();
        let text =
            String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr);
        (output.status.code().unwrap(), text)
    };
    let mut good = Vec::new();
    for entry in fs::read_dir(crate::common::root().join("example-inspections")).unwrap() {
        let record = entry.unwrap().path().join("inspection.toml");
        if let Ok(text) = fs::read_to_string(&record) {
            good.push(document(folder.path(), &format!("good-{}.json", good.len()), &text));
        }
    }
    good.push(document(folder.path(), "starter.json", &underlid::record::starter()));
    assert!(good.len() >= 3);
    let (code, text) = check(&good);
    assert_eq!(code, 0, "{text}");

    let bad = [
        "schema = 2\n[claims]\ncontinous_current = \"200 A\"\n",
        "schema = 2\n[claims]\ncapacity = 150\n",
        "schema = 2\n[inspection]\nkind = \"dropin\"\n",
        "schema = 2\n",
        "[claims]\ncapacity = \"150 Ah\"\n",
        "schema = 2\n[[path.element]]\nkind = \"busbar\"\ncount = -1\n",
    ];
    for (index, toml) in bad.iter().enumerate() {
        let path = document(folder.path(), &format!("bad-{index}.json"), toml);
        let (code, text) = check(&[path]);
        assert_eq!(code, 1, "{toml}: {text}");
    }
}
