//! Bench tests against general-purpose libraries, a simulator and the reference implementation of the Battery
//! Data Format.

use std::path::Path;

use serde_json::Value;
use underlid::logs::capacity::{CapacitySettings, CapacityTest, End};
use underlid::logs::instrument::Accuracies;
use underlid::logs::integrate::{Integral, Integrator};
use underlid::logs::read::{LogReader, Meaning, ReadSettings};
use underlid::logs::slope::{slope_at, slope_curve};

fn run(script: &str, arguments: &[&str]) -> Value {
    let output = crate::common::python(script).args(arguments).output().unwrap();
    assert!(output.status.success(), "{script}: {}", String::from_utf8_lossy(&output.stderr));
    let text = String::from_utf8(output.stdout).unwrap();
    serde_json::from_str(text.lines().last().unwrap()).unwrap()
}

fn integrate(path: &Path, step: Option<f64>) -> Integral {
    let mut log = LogReader::open(path, &ReadSettings::default()).unwrap();
    let slot = |meaning| log.layout().slot(meaning).unwrap();
    let (v, i) = (slot(Meaning::Voltage), slot(Meaning::Current));
    let step_slot = log.layout().slot(Meaning::Step);
    let mut integrator = Integrator::new();
    log.for_each(|sample| {
        if step.is_none_or(|step| step_slot.is_some_and(|slot| sample.get(slot) == step)) {
            integrator.push(sample.time, sample.get(v), sample.get(i), sample.after_break);
        }
    })
    .unwrap();
    integrator.finish(&Accuracies::default()).unwrap()
}

fn close(ours: f64, theirs: f64, what: &str) {
    let off = (ours.abs() / theirs.abs() - 1.0).abs();
    assert!(off < 1e-9, "{what}: {ours} against {theirs}, {off:e}");
}

/// The same logs by `scipy.integrate.trapezoid`, pandas and polars: within 1e-9.
#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn integrals_agree_with_scipy_pandas_and_polars() {
    let logs = crate::common::root().join("tests/data/logs");
    let simulated = logs.join("lfp-discharge-simulated.csv");
    let real = logs.join("rate-test-with-time-fault.bdf.csv");
    let bdf = ["0", "test_time_second", "voltage_volt", "current_ampere"];
    let sim = ["1", "Test Time / s", "Voltage / V", "Current / A"];
    let mut cases = vec![(simulated, &sim, None), (real.clone(), &bdf, None)];
    for step in [4.0, 8.0, 12.0, 16.0, 21.0] {
        cases.push((real.clone(), &bdf, Some(step)));
    }
    for (path, columns, step) in cases {
        let number = step.map(|step: f64| step.to_string()).unwrap_or_default();
        let mut arguments = vec![path.to_str().unwrap()];
        arguments.extend(columns.iter());
        if step.is_some() {
            arguments.extend(["step_index", number.as_str()]);
        }
        let theirs = run("bench_integrals.py", &arguments);
        let ours = integrate(&path, step);
        let what = format!("{} {number}", path.display());
        assert_eq!(theirs["rows"].as_u64(), Some(ours.samples), "{what}");
        for library in ["scipy", "pandas", "polars"] {
            let value = |n: usize| theirs[library][n].as_f64().unwrap();
            close(ours.charge.value, value(0), &what);
            close(ours.energy.unwrap().value, value(1), &what);
        }
    }
}

/// A discharge simulated with PyBaMM (LFP, parameter set Prada2013): the simulator's own capacity and energy
/// lie within the uncertainty that sampling at 20 s gives, and the end is recognised.
///
/// Reference: `tests/reference/bench_simulate.py` prints 2.174548679851515 Ah and 6.947108070139425 Wh; the
/// ignored test below runs it again.
#[test]
fn capacity_of_a_simulated_discharge() {
    check_simulated(
        &crate::common::root().join("tests/data/logs/lfp-discharge-simulated.csv"),
        2.174_548_679_851_515,
        6.947_108_070_139_425,
    );
}

#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn capacity_of_a_discharge_simulated_now() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("log.csv");
    let theirs = run("bench_simulate.py", &[path.to_str().unwrap()]);
    let value = |key: &str| theirs[key].as_f64().unwrap();
    check_simulated(&path, value("capacity_ah"), value("energy_wh"));
}

fn check_simulated(path: &Path, capacity: f64, energy: f64) {
    let mut log = LogReader::open(path, &ReadSettings::default()).unwrap();
    let slot = |meaning| log.layout().slot(meaning).unwrap();
    let (v, i) = (slot(Meaning::Voltage), slot(Meaning::Current));
    let mut test = CapacityTest::new(CapacitySettings { cutoff: Some(2.5), ..CapacitySettings::default() });
    log.for_each(|s| test.push(s.time, s.get(v), s.get(i), [], s.after_break)).unwrap();
    let found = test.finish().unwrap();
    assert_eq!(found.end, End::LoadCutOff);
    assert!(found.held);
    let charge = found.integral.charge;
    let error = (charge.value / 3600.0 - capacity).abs();
    let allowed = charge.expanded() / 3600.0;
    assert!(error <= allowed, "{error} Ah, {allowed} allowed");
    assert!(allowed < 0.002 * capacity, "the statement is worth something: {allowed}");
    let slope = slope_curve(&found.points, found.held, found.pauses).unwrap();
    assert!(slope.places.len() > 300 && slope.left_out == 0 && slope.expanded < 0.25 * slope.median);
    let found_energy = found.integral.energy.unwrap();
    let error = (found_energy.value / 3600.0 - energy).abs();
    assert!(error <= found_energy.expanded() / 3600.0, "{error} Wh");
}

/// Every column that the Battery Data Format defines is recognised by both of its names, as its reference
/// implementation lists them; the two pressures are known to be nothing that is read.
#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn labels_of_the_battery_data_format() {
    let labels = run("bench_labels.py", &[]);
    let labels = labels.as_array().unwrap();
    assert!(labels.len() >= 25);
    for key in ["name", "label"] {
        let headers: Vec<&str> = labels.iter().map(|l| l[key].as_str().unwrap()).collect();
        let row = |n: usize| vec![n.to_string(); headers.len()].join(",");
        let text = format!("{}\n{}\n{}\n{}\n", headers.join(","), row(1), row(2), row(3));
        let log = LogReader::new(std::io::Cursor::new(text), &ReadSettings::default()).unwrap();
        for (column, label) in log.layout().columns.iter().zip(labels) {
            // A second time is recognised, and is no clock beside the first.
            if meaning_of(label) == Meaning::Time && label["name"] != "test_time_second" {
                assert!(beside_the_clock(column.meaning), "{}: {:?}", column.header, column.meaning);
            } else {
                assert_eq!(column.meaning, meaning_of(label), "{}", column.header);
            }
        }
    }
}

/// True for a time that does not count as the clock where another one stands.
fn beside_the_clock(meaning: Meaning) -> bool {
    matches!(meaning, Meaning::Ignored | Meaning::OtherTime | Meaning::StepTime | Meaning::SinceStep)
}

fn meaning_of(label: &Value) -> Meaning {
    match label["unit"].as_str().unwrap() {
        "V" => Meaning::Voltage,
        "A" => Meaning::Current,
        "W" => Meaning::Power,
        "Ah" => Meaning::Charge,
        "Wh" => Meaning::Energy,
        "degC" => Meaning::Temperature,
        "ohm" => Meaning::Resistance,
        "Pa" => Meaning::Ignored,
        "s" => Meaning::Time,
        _ if label["name"] == "cycle_count" => Meaning::Cycle,
        _ => Meaning::Step,
    }
}

/// The other names that the reference implementation takes for these columns mean the same here, bare and
/// with the unit behind them in each of the ways that it reads.
#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn other_names_of_the_battery_data_format() {
    let labels = run("bench_labels.py", &[]);
    let mut checked = 0;
    for label in labels.as_array().unwrap() {
        let unit = label["unit"].as_str().unwrap();
        for name in label["other"].as_array().unwrap() {
            let name = name.as_str().unwrap();
            let mut headers = vec![name.to_owned()];
            if unit != "1" {
                headers.extend([
                    format!("{name} ({unit})"),
                    format!("{name}[{unit}]"),
                    format!("{name}#{unit}"),
                ]);
            }
            for header in headers {
                let wanted = match name {
                    // The number of a sample is no step.
                    "point-index" | "sample-index" => Meaning::Ignored,
                    _ => meaning_of(label),
                };
                let row = "1,2,3,4\n";
                let text = format!("Test Time / s,Voltage / V,Current / A,{header}\n{row}{row}{row}");
                let log = LogReader::new(std::io::Cursor::new(text), &ReadSettings::default()).unwrap();
                let found = log.layout().columns[3].meaning;
                // Of two times one is the clock and the other stands beside it.
                if wanted == Meaning::Time {
                    let first = log.layout().columns[0].meaning;
                    assert!(
                        beside_the_clock(found) != beside_the_clock(first),
                        "{header}: {first:?}, {found:?}"
                    );
                } else {
                    assert_eq!(found, wanted, "{header}");
                }
                if meaning_of(label) == Meaning::Time {
                    let text = format!("{header},Voltage / V\n1,2\n2,2\n3,2\n");
                    let log = LogReader::new(std::io::Cursor::new(text), &ReadSettings::default()).unwrap();
                    // Alone it is the clock, whatever its name says it counts from.
                    let found = log.layout().columns[0].meaning;
                    assert!(matches!(found, Meaning::Time | Meaning::StepTime), "{header}: {found:?}");
                }
                checked += 1;
            }
        }
    }
    assert!(checked > 200, "{checked}");
}

/// The differential curve: against scipy's Savitzky-Golay filter on the same even grid, against numpy's polyfit on an
/// uneven one, and against the simulator's own curve, differentiated with numpy at steps of one second.
#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn differential_curve_agrees_with_scipy_and_with_the_simulator() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("log.csv");
    run("bench_simulate.py", &[path.to_str().unwrap()]);
    let half = 9_usize;
    let theirs = run("bench_slope.py", &[path.to_str().unwrap(), &half.to_string()]);
    let list = |key: &str| -> Vec<f64> {
        theirs[key].as_array().unwrap().iter().map(|value| value.as_f64().unwrap()).collect()
    };
    let window = theirs["window"].as_f64().unwrap();
    let points: Vec<(f64, f64)> = list("charge").into_iter().zip(list("voltage")).collect();
    let slopes = list("slope");
    assert!(slopes.len() > 800);
    let mut checked = 0;
    for (n, (charge, _)) in points.iter().enumerate() {
        let Some((found, count)) = slope_at(&points, *charge, window, 0.0) else {
            assert!(n < half || n + half >= points.len(), "inside, the curve has a value: {n}");
            continue;
        };
        assert_eq!(count, 2 * half + 1);
        assert!(
            (found.fall + slopes[n]).abs() < 1e-9 * slopes[n].abs().max(1e-6),
            "{n}: {found:?} {}",
            slopes[n]
        );
        checked += 1;
    }
    assert_eq!(checked, points.len() - 2 * half);

    let uneven: Vec<(f64, f64)> =
        theirs["uneven"].as_array().unwrap().iter().map(|n| points[n.as_u64().unwrap() as usize]).collect();
    for (centre, wanted) in list("centres").into_iter().zip(list("fits")) {
        let (found, _) = slope_at(&uneven, centre, window, 0.0).unwrap();
        assert!((found.fall + wanted).abs() < 1e-7 * wanted.abs(), "{centre}: {found:?} {wanted}");
    }

    // The log is rounded to 10 µV and sampled every 20 s; the simulator's own curve is neither.
    for (place, wanted) in list("places").into_iter().zip(list("truth")) {
        let (found, _) = slope_at(&points, place, window, 1e-5).unwrap();
        let error = (found.fall + wanted).abs();
        assert!(error <= found.expanded + 0.005 * wanted.abs(), "{place}: {found:?} {wanted}");
    }
}
