//! The logs of the examples against the network that they come from (`example-inspections/logs/simulate.py`, numpy and
//! scipy; it shares no line with the program).

use crate::common::python;
use serde_json::Value as Json;

const SCRIPT: &str = "../../example-inspections/logs/simulate.py";

/// Byte for byte: what is shipped is what the script makes.
#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn the_shipped_logs_are_those_of_the_network() {
    let ran = python(SCRIPT).arg("--check").output().unwrap();
    assert!(ran.status.success(), "{}", String::from_utf8_lossy(&ran.stdout));
}

/// Heat made is heat stored and heat given to the room.
#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn the_network_of_the_logs_keeps_its_energy() {
    let ran = python(SCRIPT).arg("--balance").output().unwrap();
    assert!(ran.status.success());
    let found: Json = serde_json::from_slice(&ran.stdout).unwrap();
    let miss = found["miss"].as_f64().unwrap();
    assert!(miss.abs() < 1e-6, "{found}");
}
