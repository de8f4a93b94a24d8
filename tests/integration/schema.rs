//! The JSON Schema against an independent validator, and a few documents that it must refuse.

use std::fs;
use std::path::Path;

use assert_cmd::Command;

fn as_json(toml: &str) -> String {
    let value: toml::Table = toml::from_str(toml).unwrap();
    serde_json::to_string(&value).unwrap().replace("{\"$__toml_private_datetime\":", "").clone()
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
        "schema = 3\n",
        "[claims]\ncapacity = \"150 Ah\"\n",
        "schema = 2\n[[path.element]]\nkind = \"busbar\"\ncount = -1\n",
    ];
    for (index, toml) in bad.iter().enumerate() {
        let path = document(folder.path(), &format!("bad-{index}.json"), toml);
        let (code, text) = check(&[path]);
        assert_eq!(code, 1, "{toml}: {text}");
    }
}

/// Everything that commands print for machines, and the arguments that print it, below a folder with both examples.
const OUTPUTS: [(&str, &[&str]); 11] = [
    (
        "calc",
        &["calc", "busbar", "25 x 3 mm", "--material", "copper", "--current", "100 A", "--format", "json"],
    ),
    ("check", &["check", "a", "--format", "json"]),
    ("compare", &["compare", "a", "b", "--format", "json"]),
    (
        "decode",
        &["decode", "ABCCB12ABC1234DB50000123", "IFpP27/175/200", "2023-11-05", "?", "--format", "json"],
    ),
    ("explain", &["explain", "fuse-present", "--format", "json"]),
    ("explain", &["explain", "--format", "json"]),
    ("log", &["log", "a/logs/capacity.csv", "--format", "json"]),
    ("photos", &["photos", "a", "a/photos", "--format", "json"]),
    ("plan", &["plan", "a", "--format", "json"]),
    ("seal", &["seal", "a", "--bag", "bag", "--format", "json"]),
    ("verify", &["verify", "bag", "--format", "json"]),
];

fn copied(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap().map(Result::unwrap) {
        let target = to.join(entry.file_name());
        if entry.file_type().unwrap().is_dir() {
            copied(&entry.path(), &target);
        } else {
            fs::copy(entry.path(), target).unwrap();
        }
    }
}

/// Against the Python library `jsonschema`: what is printed fits its published schema, every key of it is described, and
/// a key that goes missing is noticed.
#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn every_output_for_machines_fits_its_published_schema() {
    let folder = tempfile::tempdir().unwrap();
    let root = folder.path();
    for (name, example) in [("a", "harbour-24-150-rev-a"), ("b", "harbour-24-150-rev-b")] {
        copied(
            &crate::common::root().join("example-inspections").join(example),
            &root.join("all").join(name),
        );
        copied(&crate::common::root().join("example-inspections").join(example), &root.join(name));
    }
    let run = |arguments: &[&str]| {
        let output =
            Command::new(env!("CARGO_BIN_EXE_underlid")).args(arguments).current_dir(root).output().unwrap();
        assert!(
            !output.stdout.is_empty() || output.status.success(),
            "{arguments:?}: {}",
            String::from_utf8_lossy(&output.stderr)
        );
        output.stdout
    };
    let schema = |name: &str| {
        let mut schema: serde_json::Value =
            serde_json::from_slice(&run(&["schema", "--output", name])).unwrap();
        assert_eq!(schema["$schema"], "https://json-schema.org/draft/2020-12/schema", "{name}");
        // Published schemas let keys be added; here each must be described.
        if schema["type"] == "object" {
            schema["unevaluatedProperties"] = false.into();
        }
        let path = root.join(format!("{name}.schema.json"));
        fs::write(&path, schema.to_string()).unwrap();
        path
    };
    let check = |name: &str, texts: &[String]| {
        let paths = texts.iter().enumerate().map(|(index, text)| {
            let path = root.join(format!("{name}-{index}.json"));
            fs::write(&path, text).unwrap();
            path
        });
        let paths: Vec<_> = paths.collect();
        let output = crate::common::python("schema.py").arg(schema(name)).args(&paths).output().unwrap();
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        (output.status.code(), text + &String::from_utf8_lossy(&output.stderr))
    };
    for (name, arguments) in OUTPUTS {
        let text = String::from_utf8(run(arguments)).unwrap();
        let (code, said) = check(name, std::slice::from_ref(&text));
        assert_eq!(code, Some(0), "{arguments:?}: {said}");
        let mut value: serde_json::Value = serde_json::from_str(&text).unwrap();
        if let Some(object) = value.as_object_mut() {
            let first = object.keys().next().unwrap().clone();
            object.remove(&first);
            let (code, said) = check(name, &[value.to_string()]);
            let spare = matches!(name, "seal" | "verify"); // neither needs a seal
            assert!(code == Some(1) || spare, "{arguments:?} without {first}: {said}");
        }
    }
    run(&["collection", "all", "--to", "site"]);
    for (name, file) in [
        ("collection", "collection"),
        ("collection-elements", "elements"),
        ("collection-findings", "findings"),
    ] {
        let lines = fs::read_to_string(root.join(format!("site/{file}.jsonl"))).unwrap();
        let lines: Vec<String> = lines.lines().map(str::to_owned).collect();
        assert!(lines.len() >= 2);
        let (code, said) = check(name, &lines);
        assert_eq!(code, Some(0), "{file}: {said}");
    }
}
