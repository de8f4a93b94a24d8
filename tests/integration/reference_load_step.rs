//! Load-step resistance and the fit of the approach to a steady temperature against scipy and numpy, on a load step
//! that the simulator PyBaMM computes.

use serde_json::Value;
use underlid::logs::approach;
use underlid::logs::instrument::Accuracies;
use underlid::logs::load_step::LoadSteps;
use underlid::logs::read::{LogReader, Meaning, ReadSettings};

fn run(script: &str, argument: &str) -> Value {
    let output = crate::common::python(script).arg(argument).output().unwrap();
    assert!(output.status.success(), "{script}: {}", String::from_utf8_lossy(&output.stderr));
    let text = String::from_utf8(output.stdout).unwrap();
    serde_json::from_str(text.lines().last().unwrap()).unwrap()
}

#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn load_step_and_approach_agree_with_scipy_on_a_simulated_log() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("step.csv");
    let made = run("load_step_simulate.py", path.to_str().unwrap());
    assert!(made["rows"].as_u64().unwrap() > 2000 && made["rise"].as_f64().unwrap() > 0.2, "{made}");
    let theirs = run("load_step_fit.py", path.to_str().unwrap());

    let mut log = LogReader::open(&path, &ReadSettings::default()).unwrap();
    let slot = |meaning| log.layout().slot(meaning).unwrap();
    let (v, i, t) = (slot(Meaning::Voltage), slot(Meaning::Current), slot(Meaning::Temperature));
    let times = [0.0, 1.0, 10.0];
    let mut steps = LoadSteps::new(0.5, &times, Accuracies::default());
    let mut warm = Vec::new();
    log.for_each(|sample| {
        steps.push(sample.time, sample.get(v), sample.get(i), sample.after_break);
        if sample.get(i) > 0.5 {
            warm.push((sample.time, sample.get(t)));
        }
    })
    .unwrap();

    let steps = steps.finish();
    assert_eq!(steps.len(), 1);
    for (ours, theirs) in steps[0].resistances.iter().zip(theirs["resistance"].as_array().unwrap()) {
        let (ours, theirs) = (ours.resistance.value, theirs.as_f64().unwrap());
        // Both interpolate the same samples.
        assert!((ours / theirs - 1.0).abs() < 1e-9, "{ours} {theirs}");
    }

    let fit = approach::fit(&warm).unwrap();
    let (end, tau) = (fit.final_temperature - 273.15, fit.time_constant);
    let (their_end, their_tau) = (theirs["final"].as_f64().unwrap(), theirs["tau"].as_f64().unwrap());
    // Least squares have one answer: two ways to it differ by their tolerances only.
    assert!((end - their_end).abs() < 1e-4, "{end} {their_end}");
    assert!((tau / their_tau - 1.0).abs() < 1e-3, "{tau} {their_tau}");
    // Ours counts that neighbouring residuals are alike, so it is no smaller than scipy's.
    assert!(fit.expanded >= 2.0 * theirs["final_standard"].as_f64().unwrap() * 0.99, "{}", fit.expanded);
}
