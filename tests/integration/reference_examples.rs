//! The logs of the examples against the network that they come from (`example-inspections/logs/simulate.py`, numpy and
//! scipy; it shares no line with the program).

use crate::common::python;
use serde_json::Value as Json;

const SCRIPT: &str = "../../example-inspections/logs/simulate.py";

/// Byte for byte: what is shipped is what the script makes.
#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn long_the_shipped_logs_are_those_of_the_network() {
    let ran = python(SCRIPT).arg("--check").output().unwrap();
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stdout));
}

/// Heat made is heat stored and heat given to the room.
#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn long_the_network_of_the_logs_keeps_its_energy() {
    let ran = python(SCRIPT).arg("--balance").output().unwrap();
    assert!(ran.status.success());
    let found: Json = serde_json::from_slice(&ran.stdout).unwrap();
    let miss = found["miss"].as_f64().unwrap();
    assert!(miss.abs() < 1e-6, "{found}");
}

/// What the examples tell: revision A carries its 150 A over a full discharge from 25 °C, revision B does not carry its
/// 200 A, and its bar is the first to say so.
#[test]
fn the_truth_of_the_examples_is_one_story() {
    let text = std::fs::read_to_string(crate::common::root().join("tests/data/examples-truth.toml")).unwrap();
    let truth: toml::Table = text.parse().unwrap();
    let least = |revision: &str| {
        let currents = truth[revision]["at-25"]["one-discharge"].as_table().unwrap();
        currents
            .iter()
            .filter_map(|(place, current)| Some((place.clone(), current.as_float()?)))
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .unwrap()
    };
    assert!(least("a").1 > 150.0, "{:?}", least("a"));
    assert_eq!(least("b").0, "positive-bar");
    assert!(least("b").1 < 150.0, "{:?}", least("b"));
    assert!(truth["a"]["at-25"]["rated-until"].as_table().unwrap().is_empty());
}
