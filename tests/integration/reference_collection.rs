//! The Parquet, CSV and JSON Lines of a collection against DuckDB, a reader of others, and against what `check` says.

use std::fs;
use std::path::Path;

use assert_cmd::Command;
use serde_json::Value;

fn underlid() -> Command {
    Command::new(env!("CARGO_BIN_EXE_underlid"))
}

fn copy(from: &Path, to: &Path) {
    for entry in walkdir::WalkDir::new(from) {
        let entry = entry.unwrap();
        let target = to.join(entry.path().strip_prefix(from).unwrap());
        if entry.file_type().is_dir() {
            fs::create_dir_all(target).unwrap();
        } else {
            fs::copy(entry.path(), target).unwrap();
        }
    }
}

/// Reference: DuckDB (PyPI, version in tests/tools/requirements.txt) reads all nine files.
#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn duckdb_reads_what_check_says() {
    let folder = tempfile::tempdir().unwrap();
    let (packs, site) = (folder.path().join("packs"), folder.path().join("site"));
    for name in ["harbour-24-150-rev-a", "harbour-24-150-rev-b"] {
        copy(&crate::common::root().join("example-inspections").join(name), &packs.join(name));
    }
    // What CSV and Parquet make of strangers' texts: quotes, lines, formulas, a text that looks like a number or null.
    let record = fs::read_to_string(packs.join("harbour-24-150-rev-a/inspection.toml")).unwrap();
    let titles = [
        r#"title = "say \"so\", or, not""#,
        r#"title = "two\nlines\r\nand more""#,
        r#"title = "=1+1""#,
        r#"title = "007""#,
        r#"title = "null""#,
        r#"title = "  NaN  ; \\ \t ' — Ω 日本""#,
    ];
    for (index, title) in titles.iter().enumerate() {
        fs::create_dir(packs.join(format!("text-{index}"))).unwrap();
        let lines = record.lines().map(|line| if line.starts_with("title = ") { title } else { line });
        let text: Vec<&str> = lines.collect();
        fs::write(packs.join(format!("text-{index}/inspection.toml")), text.join("\n")).unwrap();
    }
    fs::create_dir(packs.join("bare")).unwrap();
    fs::write(packs.join("bare/inspection.toml"), "schema = 2\n").unwrap();
    fs::create_dir(packs.join("broken")).unwrap();
    fs::write(packs.join("broken/inspection.toml"), "schema = 9\n").unwrap();
    let output = underlid().arg("collection").arg(&packs).arg("--to").arg(&site).output().unwrap();
    assert_eq!(output.status.code(), Some(2), "one folder cannot be read");

    let output = crate::common::python("collection_duckdb.py").arg(&site).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let found: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(found["rows"]["collection"], titles.len() + 4);
    let read = found["packs"].as_array().unwrap();
    assert_eq!(read.len(), titles.len() + 3, "every pack that was read has findings");
    for pack in read {
        let name = pack["folder"].as_str().unwrap();
        let output = underlid().args(["check", "--format", "json"]).arg(packs.join(name)).output().unwrap();
        let check: Value = serde_json::from_slice(&output.stdout).unwrap();
        let text = |value: &Value| value.as_str().unwrap().to_owned();
        let mut findings: Vec<[String; 3]> = check["findings"]
            .as_array()
            .unwrap()
            .iter()
            .map(|finding| ["rule", "part", "outcome"].map(|key| text(&finding[key])))
            .collect();
        findings.sort();
        let findings: Vec<String> = findings.iter().map(|parts| parts.join(" ")).collect();
        assert_eq!(pack["findings"], Value::from(findings), "{name}");
    }
    assert_eq!(read[1]["folder"], "harbour-24-150-rev-a");
    assert_eq!(read[1]["date"], "2026-03-14");
}

/// References: DuckDB and Dask (PyPI, versions in tests/tools/requirements.txt) read the shares of three machines as one set,
/// and answer what the whole, built in one piece, adds up to.
#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn shares_are_one_set_to_engines_of_others() {
    let folder = tempfile::tempdir().unwrap();
    let (packs, shares, site) =
        (folder.path().join("packs"), folder.path().join("shares"), folder.path().join("site"));
    let made = crate::common::python("collection_generate.py").arg(&packs).arg("14").output().unwrap();
    assert!(made.status.success(), "{made:?}");
    let collect = |to: &Path, more: &[&str]| {
        let output =
            underlid().arg("collection").arg(&packs).arg("--to").arg(to).args(more).output().unwrap();
        assert!(output.status.code() < Some(2), "{}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    };
    collect(&site, &[]);
    for part in ["1/3", "2/3", "3/3"] {
        collect(&shares, &["--part", part]);
    }
    let again = collect(&shares, &["--part", "2/3"]);
    assert!(again.contains(" 0 judged"), "{again}");
    let output = crate::common::python("collection_shares.py").arg(&shares).arg(&site).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let asked: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!((&asked["parts"], &asked["packs"]), (&3.into(), &14.into()), "{asked}");
    assert!(asked["short"].as_u64() > Some(0) && asked["groups"].as_u64() > Some(4), "{asked}");
}

/// Bags of other inspectors: who sealed is a column where the key is trusted, an altered bag is not taken in.
#[test]
fn bags_are_verified_on_the_way_in() {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    let run = |arguments: &[&str]| {
        let mut command = underlid();
        command.current_dir(folder.path()).env("UNDERLID_CONFIG", at("settings.toml")).args(arguments);
        command.output().unwrap()
    };
    fs::write(at("settings.toml"), "keys = [\"bench-2.pub\"]\n").unwrap();
    for key in ["bench-2", "stranger"] {
        // The settings name a key that must be there to be read.
        fs::write(at("settings.toml"), "").unwrap();
        assert!(run(&["seal", "--new-key", key, "--no-password"]).status.success());
    }
    fs::write(at("settings.toml"), "keys = [\"bench-2.pub\"]\n").unwrap();
    for (name, key) in [("a", Some("bench-2")), ("b", Some("stranger")), ("c", None), ("d", Some("bench-2"))]
    {
        fs::create_dir_all(at(name)).unwrap();
        fs::write(
            at(name).join("inspection.toml"),
            format!("schema = 2\n[inspection]\ntitle = \"{name}\"\n"),
        )
        .unwrap();
        let bag = format!("in/{name}");
        fs::create_dir_all(at("in")).unwrap();
        let mut arguments = vec!["seal", name, "--bag", &bag];
        arguments.extend(key.iter().flat_map(|key| ["--sign", key]));
        let sealed = run(&arguments);
        assert!(sealed.status.success(), "{sealed:?}");
    }
    fs::create_dir_all(at("in/e")).unwrap();
    fs::write(at("in/e/inspection.toml"), "schema = 2\n").unwrap();
    let altered = at("in/d/data/inspection.toml");
    fs::write(&altered, fs::read_to_string(&altered).unwrap().replace("\"d\"", "\"D\"")).unwrap();
    let built = run(&["collection", "in", "--to", "site"]);
    assert_eq!(built.status.code(), Some(2), "one bag is not taken in");
    let said = String::from_utf8_lossy(&built.stderr).into_owned();
    assert!(said.contains("d: the bag is not what was packed"), "{said}");
    let rows: Vec<Value> = fs::read_to_string(at("site/collection.jsonl"))
        .unwrap()
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    let told: Vec<String> = rows
        .iter()
        .map(|row| format!("{} {} {}", row["folder"].as_str().unwrap(), row["seal"], row["sealed_by"]))
        .collect();
    assert_eq!(
        told,
        ["a \"holds\" \"bench-2.pub\"", "b \"holds\" null", "c \"holds\" null", "d null null", "e null null"]
    );
    assert!(rows[1]["sealed_key"].is_string() && rows[2]["sealed_key"].is_null());
}
