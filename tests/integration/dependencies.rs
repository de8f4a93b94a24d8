//! What the program is built from: licences, sources and versions against `deny.toml`, read with cargo's own metadata.

use std::collections::{BTreeMap, BTreeSet};
use std::process::Command;

use serde_json::Value;

use crate::common::root;

/// The packages that a build for this machine takes, tests included.
fn packages() -> Vec<Value> {
    let host = Command::new("rustc").arg("-vV").output().unwrap();
    let host = String::from_utf8(host.stdout).unwrap();
    let host = host.lines().find_map(|line| line.strip_prefix("host: ")).unwrap().to_owned();
    let output = Command::new(env!("CARGO"))
        .args(["metadata", "--format-version", "1", "--locked", "--all-features", "--filter-platform", &host])
        .current_dir(root())
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let metadata: Value = serde_json::from_slice(&output.stdout).unwrap();
    let used: BTreeSet<&str> = metadata["resolve"]["nodes"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|node| node["id"].as_str())
        .collect();
    let all = metadata["packages"].as_array().unwrap();
    all.iter().filter(|package| used.contains(package["id"].as_str().unwrap())).cloned().collect()
}

fn deny() -> toml::Table {
    std::fs::read_to_string(root().join("deny.toml")).unwrap().parse().unwrap()
}

fn texts(list: &toml::Value) -> BTreeSet<String> {
    list.as_array().unwrap().iter().filter_map(toml::Value::as_str).map(str::to_owned).collect()
}

/// True when an SPDX expression, in the simple forms that crates use, can be met with allowed licences.
fn met(expression: &str, allowed: &BTreeSet<String>) -> bool {
    expression.split(" AND ").all(|all| {
        let any = all.trim_matches(['(', ')']).replace('/', " OR ");
        any.split(" OR ").any(|licence| allowed.contains(licence.trim()))
    })
}

#[test]
fn licences_are_allowed() {
    let allowed = texts(&deny()["licenses"]["allow"]);
    for (expression, expected) in [
        ("MIT", true),
        ("MIT/Apache-2.0", true),
        ("(MIT OR GPL-3.0) AND Unicode-3.0", true),
        ("MIT AND GPL-3.0", false),
        ("GPL-3.0 OR AGPL-3.0", false),
        ("", false),
    ] {
        assert_eq!(met(expression, &allowed), expected, "{expression}");
    }
    let wrong: Vec<String> = packages()
        .iter()
        .filter(|package| !met(package["license"].as_str().unwrap_or_default(), &allowed))
        .map(|package| format!("{}: {}", package["name"], package["license"]))
        .collect();
    assert_eq!(wrong, Vec::<String>::new());
}

#[test]
fn everything_comes_from_the_registry_and_once() {
    let deny = deny();
    let registries = texts(&deny["sources"]["allow-registry"]);
    let skipped: BTreeSet<&str> =
        deny["bans"]["skip"].as_array().unwrap().iter().filter_map(|skip| skip["crate"].as_str()).collect();
    let mut versions: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for package in packages() {
        let name = package["name"].as_str().unwrap().to_owned();
        match package["source"].as_str() {
            None => {
                let ours = ["underlid", "underlid-pixels", "underlid-thermal"];
                assert!(ours.contains(&name.as_str()), "{name} of a folder");
            }
            Some(source) => {
                let registry = source.strip_prefix("registry+").unwrap_or(source);
                assert!(registries.contains(registry), "{name} comes from {source}");
            }
        }
        versions.entry(name).or_default().insert(package["version"].to_string());
    }
    versions.retain(|_, versions| versions.len() > 1);
    let twice: BTreeSet<&str> = versions.keys().map(String::as_str).collect();
    assert_eq!(twice, skipped, "two versions of a crate, or a line of deny.toml that is no longer needed");
}
