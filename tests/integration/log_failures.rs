//! Logs that once gave a wrong figure without a word, each with what must come of it now. All logs are invented.

use std::fmt::Write as _;
use std::fs;

use underlid::judge::bench_test::{TestResult, results};
use underlid::judge::rules::Book;
use underlid::record;

const HEAD: &str = r#"schema = 2
[claims]
capacity = "100 Ah"
nominal_voltage = "25.6 V"
continuous_current = "20 A"
[bms]
low_temperature_limit = "0 degC"
[heater]
present = "no"
[[instrument]]
id = "v"
accuracy = "0.1 %"
resolution = "0.01 V"
[[instrument]]
id = "i"
accuracy = "0.5 %"
resolution = "0.01 A"
[[instrument]]
id = "thermo"
accuracy = "5 digits"
resolution = "0.1 K"
"#;

fn trial(kind: &str, keys: &str, logs: &[(&str, &str)]) -> TestResult {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in logs {
        fs::write(folder.path().join(name), text).unwrap();
    }
    let text =
        format!("{HEAD}[[test]]\nid = \"t\"\nkind = \"{kind}\"\nwith = \"v, i\"\nlog = \"l.csv\"\n{keys}");
    let record = record::read("record", &text).unwrap_or_else(|e| panic!("{:?}", e.list()));
    results(folder.path(), &record, &Book::built_in().unwrap().limit_amounts()).remove(0)
}

/// Capacity in Ah with its expanded uncertainty, or what is missing.
fn capacity(keys: &str, log: &str) -> Result<(f64, f64), String> {
    let keys = format!("current = \"20 A\"\ncutoff_voltage = \"20 V\"\n{keys}");
    let trial = trial("capacity", &keys, &[("l.csv", log)]);
    if let Some(problem) = trial.problem {
        return Err(problem);
    }
    match &trial.facts["test.capacity_found"] {
        Ok(found) => {
            let number = found.value.amount().unwrap().number.clone();
            Ok((number.value / 3600.0, 2.0 * number.standard() / 3600.0))
        }
        Err(missing) => Err(missing.iter().map(|m| m.what.clone()).collect::<Vec<_>>().join("; ")),
    }
}

fn near(keys: &str, log: &str, wanted: f64) {
    let (value, expanded) = capacity(keys, log).unwrap();
    assert!((value - wanted).abs() <= expanded + 1e-6, "{value} ± {expanded} for {wanted}");
    assert!(expanded < 0.05 * wanted, "{value} ± {expanded}");
}

fn refused(keys: &str, log: &str, says: &str) {
    let why = capacity(keys, log).expect_err("decided");
    assert!(why.contains(says), "{says}: {why}");
}

/// 10 min of rest, 20 A for 5 h from 26.6 V to 19.98 V, 10 min of rest, a row a minute: minutes, volts, amperes.
fn course() -> Vec<(f64, f64, f64)> {
    (0..=320)
        .map(|n| match n {
            0..10 => (f64::from(n), 26.8, 0.0),
            10..=310 => (f64::from(n), 26.6 - 6.62 * f64::from(n - 10) / 300.0, 20.0),
            _ => (f64::from(n), 22.0, 0.0),
        })
        .collect()
}

fn log(header: &str, row: impl Fn(f64, f64, f64) -> String) -> String {
    log_of(&course(), header, row)
}

fn log_of(course: &[(f64, f64, f64)], header: &str, row: impl Fn(f64, f64, f64) -> String) -> String {
    let mut text = format!("{header}\n");
    for (minute, v, i) in course {
        writeln!(text, "{}", row(*minute, *v, *i)).unwrap();
    }
    text
}

#[test]
fn one_current_is_taken_of_several() {
    let three = log("Time (min),Voltage (V),Current avg (A),Current min (A),Current max (A)", |t, v, i| {
        format!("{t},{v:.3},{i},{:.2},{:.2}", 0.99 * i, 1.01 * i)
    });
    near("", &three, 100.0);
    let supply = log("Time (min),Input Voltage (V),Voltage (V),Current (A),Input Current (A)", |t, v, i| {
        format!("{t},48.0,{v:.3},{i},{:.2}", 0.6 * i)
    });
    near("", &supply, 100.0);
    let cells =
        log("Time (min),Cell 1 (V),Cell 2 (V),Pack Voltage (V),Current (A),Set current (A)", |t, v, i| {
            format!("{t},{:.3},{:.3},{v:.3},{i},20", v / 8.0, v / 8.0)
        });
    near("", &cells, 100.0);
    // Two that nothing tells apart decide nothing; what the record says is obeyed.
    let two = log("Time (min),Voltage (V),Current 1 (A),Current 2 (A)", |t, v, i| {
        format!("{t},{v:.3},{:.2},{i}", i / 3.0)
    });
    refused("", &two, "could each be the current");
    near("columns = [\"Current 2 (A) = current\"]\n", &two, 100.0);
    let empty = log("Time (min),Voltage (V),Current (A),Current 2 (A)", |t, v, i| format!("{t},{v:.3},{i},"));
    near("", &empty, 100.0);
}

#[test]
fn counters_and_units_are_known() {
    let counter = |text: &str, scale: f64| {
        log(text, |t, v, i| {
            format!("{t},{v:.3},{},{:.4}", scale * i, (20.0 * (t - 10.0) / 60.0).clamp(0.0, 100.0))
        })
    };
    near("", &counter("Time (min),Volts,Amps,Amp-hr", 1.0), 100.0);
    near("", &counter("Time (min),Volts,mAmps,Amp-hr", 1e3), 100.0);
    // A counter that says something else.
    refused("", &counter("Time (min),Volts,Amps (A),Amp-hr", 0.9), "by the counter");
}

#[test]
fn pauses_of_any_length_belong_to_the_test() {
    for pause in [30.0, 9.0 * 60.0] {
        let mut parts = course();
        for (minute, ..) in parts.iter_mut().filter(|(minute, ..)| *minute > 150.0) {
            *minute += pause;
        }
        let rests = (1..=9).map(|n| (150.0 + (pause * f64::from(n) / 10.0).floor(), 25.5, 0.0));
        let rests = rests.chain([(151.0, 25.3, 0.0), (150.0 + pause, 25.5, 0.0)]);
        parts.extend(rests);
        parts.sort_by(|a, b| a.0.total_cmp(&b.0));
        near(
            "",
            &log_of(&parts, "Time (min),Voltage (V),Current (A)", |t, v, i| format!("{t},{v:.3},{i}")),
            99.7,
        );
    }
}

#[test]
fn a_gap_is_a_range_between_nothing_and_its_ends() {
    let with_gap: Vec<_> = course().into_iter().filter(|(t, ..)| !(100.0..160.0).contains(t)).collect();
    let text = log_of(&with_gap, "Time (min),Voltage (V),Current (A)", |t, v, i| format!("{t},{v:.3},{i}"));
    let (value, expanded) = capacity("", &text).unwrap();
    // Anything from 80 Ah to 100 Ah may have flowed.
    assert!(value - expanded < 80.3 && value + expanded > 99.9 && value < 95.0, "{value} ± {expanded}");
}

#[test]
fn the_order_of_day_and_month_is_decided_on_the_whole_file() {
    let mut text = "Date Time,Voltage (V),Current (A)\n".to_owned();
    for n in 0..=1920 {
        let second = 19 * 3600 + 10 * n;
        let (day, of_day) = (4 + second / 86_400, second % 86_400);
        let minutes = f64::from(n) / 6.0;
        let (v, i) = match n {
            60..=1860 => (26.6 - 6.62 * (minutes - 10.0) / 300.0, 20.0),
            ..60 => (26.8, 0.0),
            _ => (22.0, 0.0),
        };
        let (h, m, s) = (of_day / 3600, of_day / 60 % 60, of_day % 60);
        writeln!(text, "03/{day:02}/2026 {h:02}:{m:02}:{s:02},{v:.3},{i}").unwrap();
    }
    near("", &text, 100.0);
}

#[test]
fn a_current_without_a_sign() {
    // A charge and a discharge, both positive.
    let both: Vec<_> = (0..=400)
        .map(|n| (f64::from(n), 21.0 + 5.0 * f64::from(n) / 400.0, if n > 5 { 15.0 } else { 0.0 }))
        .chain((401..=430).map(|n| (f64::from(n), 25.5, 0.0)))
        .chain((431..=731).map(|n| (f64::from(n), 25.2 - 5.22 * f64::from(n - 431) / 300.0, 20.0)))
        .chain((732..=760).map(|n| (f64::from(n), 22.0, 0.0)))
        .collect();
    let bare = log_of(&both, "Time (min),Voltage (V),Current (A)", |t, v, i| format!("{t},{v:.3},{i}"));
    refused("", &bare, "sign = ");
    let state = |t: f64, i: f64| {
        if i == 0.0 {
            "Rest"
        } else if t < 420.0 {
            "CC_Chg"
        } else {
            "CC_DChg"
        }
    };
    let words = log_of(&both, "Time (min),Voltage (V),Current (A),State", |t, v, i| {
        format!("{t},{v:.3},{i},{}", state(t, i))
    });
    near("", &words, 100.3);
    // The discharge alone, and a sign set by hand.
    near("from = \"425 min\"\nsign = \"discharge positive\"\n", &bare, 100.3);
    refused("from = \"425 min\"\nsign = \"discharge negative\"\n", &bare, "no discharge");
}

#[test]
fn a_stale_row_shows_no_resistance() {
    let rows: Vec<_> = (0..200)
        .map(|n| {
            let i = if n < 100 { 0.0 } else { 20.0 };
            // The voltage of the first row under load is from before it.
            (f64::from(n), if n <= 100 { 26.6 } else { 26.46 }, i)
        })
        .collect();
    let text = log_of(&rows, "Time (s),Voltage (V),Current (A)", |t, v, i| {
        format!("{t},{:.3},{i}", v + 0.001 * (t % 2.0))
    });
    let trial = trial("capacity", "current = \"20 A\"\n", &[("l.csv", &text)]);
    let why = trial.facts["test.resistance"].as_ref().expect_err("a resistance");
    assert!(why[0].what.contains("not read together"), "{why:?}");
}

#[test]
fn codes_of_a_thermometer_are_no_cold() {
    let rows: Vec<_> = (0..300).map(|n| (f64::from(n), 26.0 + 0.002 * f64::from(n), -10.0)).collect();
    let cold = |of: &dyn Fn(f64) -> String| {
        let text = log_of(&rows, "Time (s),Voltage (V),Current (A),T cell (°C),Ambient (°C)", |t, v, i| {
            format!("{t},{v:.3},{i},{},-20", of(t))
        });
        let keys = "sign = \"discharge positive\"\n[[test.sensor]]\ncolumn = \"T cell\"\npart = \"cells\"\nwith = \"thermo\"\n";
        trial("cold charge", keys, &[("l.csv", &text)])
    };
    // Three codes in the middle: the cells were never cold.
    let codes = cold(&|t| if (100.0..103.0).contains(&t) { "-127".to_owned() } else { "18.5".to_owned() });
    let coldest = codes.facts["test.coldest_cell"].as_ref().unwrap().value.amount().unwrap().value();
    assert!((coldest - 291.65).abs() < 0.01, "{coldest}");
    // A sensor that fell off shows the air of the cold room, not the cells.
    let off = cold(&|t| if t > 150.0 { "-20.0".to_owned() } else { "18.5".to_owned() });
    let why = off.facts["test.cold_charge_current"].as_ref().expect_err("decided");
    assert!(why.iter().any(|m| m.what.contains("fell off")), "{why:?}");
}

#[test]
fn clocks_are_ranked_and_checked() {
    let step_first = log("Step Time (s),Total Time (s),Voltage (V),Current (A)", |t, v, i| {
        format!("{},{},{v:.3},{i}", 60.0 * ((t - 10.0).max(0.0) % 100.0), 60.0 * t)
    });
    near("", &step_first, 100.0);
    // Minutes without a unit beside a clock.
    let clock = |t: f64| format!("2026-03-14 {:02}:{:02}:00", (t as u32) / 60, (t as u32) % 60);
    let minutes =
        log("Time,Date Time,Voltage (V),Current (A)", |t, v, i| format!("{t},{},{v:.3},{i}", clock(t)));
    near("", &minutes, 100.0);
    // A unit that the other clock contradicts.
    let wrong =
        log("Time (s),Date Time,Voltage (V),Current (A)", |t, v, i| format!("{t},{},{v:.3},{i}", clock(t)));
    refused("", &wrong, "by the clock");
    // Milliseconds and milliamperes without a unit, with nothing to check them by.
    let ms = log("Time,Voltage (V),Current (A)", |t, v, i| format!("{},{v:.3},{i}", 60_000.0 * t));
    refused("", &ms, "no unit is written");
    let ma = log("Time (min),Voltage (V),Current", |t, v, i| format!("{t},{v:.3},{}", 1000.0 * i));
    refused("", &ma, "no unit is written");
    // How long a sample took is no clock.
    let duration = log("duration,Time (min),Voltage (V),Current (A)", |t, v, i| format!("60,{t},{v:.3},{i}"));
    near("", &duration, 100.0);
}

#[test]
fn the_set_current_or_the_record_chooses_the_discharge() {
    let mut rows: Vec<_> = (0..=200)
        .map(|n| (f64::from(n), 26.6 - 5.0 * f64::from(n) / 200.0, if n > 3 { 40.0 } else { 0.0 }))
        .collect();
    rows.extend((201..=700).map(|n| (f64::from(n), 22.0 + 4.6 * f64::from(n - 200) / 500.0, -16.0)));
    rows.extend(course().into_iter().map(|(t, v, i)| (t + 701.0, v, i)));
    let text = log_of(&rows, "Time (min),Voltage (V),Current (A)", |t, v, i| format!("{t},{v:.3},{i}"));
    near("", &text, 100.0);
    near("current = \"40 A\"\n".replace("current", "# current").as_str(), &text, 100.0);
    near("from = \"700 min\"\n", &text, 100.0);
    refused("to = \"650 min\"\n", &text, "recorded 20 A");
}

#[test]
fn columns_by_number_where_there_is_no_header() {
    let bare = log("", |t, v, i| format!("{t},{v:.3},{i}"));
    near(
        "columns = [\"#1 = time in min\", \"#2 = voltage in V\", \"#3 = current in A\"]\n",
        bare.trim_start(),
        100.0,
    );
}
