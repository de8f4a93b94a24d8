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
