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
    let log = if keys.contains("logs = ") { "" } else { "log = \"l.csv\"\n" };
    let text = format!("{HEAD}[[test]]\nid = \"t\"\nkind = \"{kind}\"\nwith = \"v, i\"\n{log}{keys}");
    let record = record::read("record", &text).unwrap_or_else(|e| panic!("{:?}", e.list()));
    results(folder.path(), &record, &Book::built_in().unwrap().limit_amounts()).remove(0)
}

/// Capacity in Ah with its expanded uncertainty, or what is missing.
fn capacity(keys: &str, log: &str) -> Result<(f64, f64), String> {
    capacity_of(keys, &[("l.csv", log)])
}

fn capacity_of(keys: &str, logs: &[(&str, &str)]) -> Result<(f64, f64), String> {
    let keys = format!("current = \"20 A\"\ncutoff_voltage = \"20 V\"\n{keys}");
    let trial = trial("capacity", &keys, logs);
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

/// 10 min of rest, 20 A for 5 h with a rest of `pause` minutes in the middle, in two files: minutes, volts, amperes.
fn two_parts(pause: f64) -> [Vec<(f64, f64, f64)>; 2] {
    let whole = course();
    let mut first: Vec<_> = whole.iter().copied().filter(|(t, ..)| *t <= 150.0).collect();
    first.extend([(151.0, 25.4, 0.0), (152.0, 25.5, 0.0)]);
    let mut second = vec![(149.0 + pause, 25.6, 0.0), (150.0 + pause, 25.6, 0.0)];
    second.extend(whole.iter().filter(|(t, ..)| *t > 150.0).map(|(t, v, i)| (t + pause, *v, *i)));
    [first, second]
}

fn dated(rows: &[(f64, f64, f64)]) -> String {
    log_of(rows, "Date Time,Voltage (V),Current (A)", |t, v, i| {
        let t = t as u32 + 18 * 60;
        format!("2026-03-{:02} {:02}:{:02}:00,{v:.3},{i}", 14 + t / 1440, t / 60 % 24, t % 60)
    })
}

#[test]
fn several_files_of_one_test_are_joined_by_their_clocks() {
    let near_of = |keys: &str, logs: &[(&str, &str)]| {
        let (value, expanded) = capacity_of(keys, logs).unwrap();
        assert!((value - 99.67).abs() <= expanded + 0.05 && expanded < 2.0, "{value} ± {expanded}");
    };
    let refused_of = |logs: &[(&str, &str)], says: &str| {
        let why = capacity_of("logs = [\"a.csv\", \"b.csv\"]\n", logs).expect_err("decided");
        assert!(why.contains(says), "{says}: {why}");
    };
    let both = "logs = [\"a.csv\", \"b.csv\"]\n";
    // A night between them, in either order.
    let [first, second] = two_parts(9.0 * 60.0);
    near_of(both, &[("a.csv", &dated(&first)), ("b.csv", &dated(&second))]);
    near_of(both, &[("b.csv", &dated(&first)), ("a.csv", &dated(&second))]);
    // A clock without dates that goes on from file to file; one that starts anew; one that starts anew beside dates.
    let elapsed = |rows: &[(f64, f64, f64)], zero: f64| {
        log_of(rows, "Time (min),Voltage (V),Current (A)", |t, v, i| format!("{},{v:.3},{i}", t - zero))
    };
    near_of(both, &[("a.csv", &elapsed(&first, 0.0)), ("b.csv", &elapsed(&second, 0.0))]);
    refused_of(&[("a.csv", &elapsed(&first, 0.0)), ("b.csv", &elapsed(&second, 689.0))], "does not go on");
    let clocks = |rows: &[(f64, f64, f64)], zero: f64| {
        let dates = dated(rows);
        let times = std::iter::once("Time (min)".to_owned())
            .chain(rows.iter().map(|(t, ..)| format!("{}", t - zero)));
        times.zip(dates.lines()).map(|(time, line)| format!("{time},{line}\n")).collect::<String>()
    };
    near_of(both, &[("a.csv", &clocks(&first, 0.0)), ("b.csv", &clocks(&second, 689.0))]);
    // Files that overlap, other columns, a file twice, a file that is not there.
    let early: Vec<_> = second.iter().map(|(t, v, i)| (t - 9.0 * 60.0, *v, *i)).collect();
    refused_of(&[("a.csv", &dated(&first)), ("b.csv", &dated(&early))], "overlap by 180 s");
    let other = log_of(&second, "Date Time,Current (A)", |t, _, i| {
        format!("2026-03-15 {:02}:00:00,{i}", t as u32 % 24)
    });
    refused_of(&[("a.csv", &dated(&first)), ("b.csv", &other)], "do not have the same columns");
    refused_of(&[("a.csv", &dated(&first))], "b.csv");
    let twice =
        capacity_of("logs = [\"a.csv\", \"a.csv\"]\n", &[("a.csv", &dated(&first))]).expect_err("decided");
    assert!(twice.contains("overlap"), "{twice}");
}

#[test]
fn a_segment_is_named_in_the_record() {
    // Two discharges of 20 A, of 60 Ah and of 50 Ah, and a charge between them.
    let mut rows: Vec<_> = (0..=190)
        .map(|n| (f64::from(n), 26.6 - 5.0 * f64::from(n) / 190.0, if n >= 10 { 20.0 } else { 0.0 }))
        .collect();
    rows.extend((191..=400).map(|n| (f64::from(n), 22.0 + 4.6 * f64::from(n - 190) / 210.0, -16.0)));
    rows.extend((401..=410).map(|n| (f64::from(n), 26.7, 0.0)));
    rows.extend((411..=561).map(|n| (f64::from(n), 26.5 - 5.0 * f64::from(n - 411) / 150.0, 20.0)));
    rows.extend((562..=570).map(|n| (f64::from(n), 22.5, 0.0)));
    let text = log_of(&rows, "Time (min),Voltage (V),Current (A)", |t, v, i| format!("{t},{v:.3},{i}"));
    refused("", &text, "write for example `segment = \"discharge 1\"`");
    near("segment = \"discharge 1\"\n", &text, 60.0);
    near("segment = \"discharge 2\"\n", &text, 50.2);
    refused("segment = \"discharge 3\"\n", &text, "it holds discharge 1, charge 1 and discharge 2");
    refused("segment = \"charge 1\"\n", &text, "no discharge");
    refused("cycle = 2\n", &text, "no column of cycles");
    let cycles = log_of(&rows, "Time (min),Cycle,Voltage (V),Current (A)", |t, v, i| {
        format!("{t},{},{v:.3},{i}", if t < 405.0 { 1 } else { 2 })
    });
    near("cycle = 2\n", &cycles, 50.2);
    refused("cycle = 3\n", &cycles, "holds no cycle 3");
    // Told in the write-up, with charge, energy, times and end.
    let trial = trial("capacity", "current = \"20 A\"\nsegment = \"discharge 1\"\n", &[("l.csv", &text)]);
    assert!(trial.figures.iter().all(|figure| figure.name != "discharge 2"), "only what is the test");
    let whole = self::trial("capacity", "current = \"20 A\"\n", &[("l.csv", &text)]);
    let told = whole.figures.iter().find(|figure| figure.name == "discharge 2").unwrap().text();
    for part in
        ["from 6.85 h to 9.35 h", "50.33 Ah", "1208 Wh", "20 A on average", "until the current went off"]
    {
        assert!(told.contains(part), "{part}: {told}");
    }
}

/// Charge begins at 1.5 °C by a sensor under tape in a room of 21 °C: the cells may still have been below freezing.
#[test]
fn how_a_sensor_was_fixed_counts() {
    let rows: Vec<_> = (0..3000).map(|n| (f64::from(n), 26.0, if n < 1500 { 0.0 } else { -10.0 })).collect();
    let text = log_of(&rows, "Time (s),Voltage (V),Current (A),T1 (°C)", |t, v, i| {
        format!("{t},{v:.3},{i},{:.2}", -6.0 + 7.5 * t / 1500.0)
    });
    let charged = |keys: &str| {
        let keys = format!(
            "sign = \"discharge positive\"\n{}[[test.sensor]]\ncolumn = \"T1\"\npart = \"cells\"\nwith = \"thermo\"\n{}",
            if keys.contains("clamped, no room") { "" } else { "ambient = \"21 degC\"\n" },
            if keys.is_empty() {
                String::new()
            } else {
                format!("fixed = \"{}\"\n", keys.trim_end_matches(", no room"))
            }
        );
        let trial = trial("cold charge", &keys, &[("l.csv", &text)]);
        match &trial.facts["test.cold_charge_current"] {
            Ok(found) => {
                let number = &found.value.amount().unwrap().number;
                Ok(number.value + number.expanded())
            }
            Err(missing) => Err(missing.iter().map(|m| m.what.clone()).collect::<Vec<_>>().join("; ")),
        }
    };
    assert!(charged("").unwrap() < 0.1);
    assert!(charged("soldered").unwrap() < 0.1);
    assert!(charged("taped").unwrap() > 9.9);
    assert!(charged("infrared").unwrap_err().contains("infrared on bare metal"));
    assert!(charged("clamped, no room").unwrap_err().contains("write `ambient`"));
}

#[test]
fn a_sensor_that_fell_off_is_told_in_every_kind_of_test() {
    for (kind, way) in [("capacity", 20.0), ("full load", 20.5), ("charge", -20.0)] {
        let rows: Vec<_> = (0..600)
            .map(|n| (f64::from(n), 26.0 - 0.001 * way * f64::from(n) / 20.0, if n < 10 { 0.0 } else { way }))
            .collect();
        let text = log_of(&rows, "Time (s),Voltage (V),Current (A),T cell (°C),Ambient (°C)", |t, v, i| {
            format!("{t},{v:.3},{i},{},20.1", if t > 400.0 { 20.3 } else { 41.0 })
        });
        let trial = trial(kind, "sign = \"discharge positive\"\n", &[("l.csv", &text)]);
        let told = trial.figures.iter().any(|figure| figure.text().contains("fell off"));
        assert!(told, "{kind}: {:?}", trial.figures);
    }
}

/// Two clamp meters whose loads come on a quarter of an hour apart, each for 15 min: together for a moment only. Their
/// dates say so; their load steps would put them on top of each other.
#[test]
fn absolute_times_align_two_instruments() {
    let branch = |on: u32| {
        let mut text = "Date Time,Current (A)\n".to_owned();
        for n in 0..2400 {
            let i = if (on..on + 900).contains(&n) { 10.5 } else { 0.0 };
            writeln!(text, "2026-03-14 {:02}:{:02}:{:02},{i}", 10 + n / 3600, n / 60 % 60, n % 60).unwrap();
        }
        text
    };
    let branches = "logs = []\n[[test.branch]]\nname = \"a\"\nlog = \"a.csv\"\nwith = \"i\"\n[[test.branch]]\nname = \
                    \"b\"\nlog = \"b.csv\"\nwith = \"i\"\n";
    // The same where a clock that counts from the start of each log stands before the dates.
    let counted = |text: &str| -> String {
        let lines = text.lines().enumerate().map(|(n, line)| match n {
            0 => format!("Time (s),{line}\n"),
            _ => format!("{},{line}\n", n - 1),
        });
        lines.collect()
    };
    let held = |late: u32, count: bool| {
        let (mut a, mut b) = (branch(300), branch(300 + late));
        if count {
            // The second was switched on ten minutes later.
            let late: Vec<&str> = b.lines().collect();
            let late = [&late[..1], &late[601..]].concat().join("\n");
            (a, b) = (counted(&a), counted(&late));
        }
        let trial = trial("full load", branches, &[("a.csv", &a), ("b.csv", &b)]);
        let told = trial.figures.iter().any(|figure| figure.text().contains("aligned by the dates"));
        assert!(told, "{:?} {:?}", trial.problem, trial.figures);
        let found = trial.facts["test.held_for"].as_ref().unwrap().value.amount().unwrap().number.clone();
        found.value
    };
    assert!((held(0, false) - 899.0).abs() < 3.0, "{}", held(0, false));
    // 35 s of 865 s that each was loaded for are common.
    for count in [false, true] {
        assert!(held(865, count) < 40.0, "{}", held(865, count));
    }
}

/// A meter writes the unit beside its value, and changes its range.
#[test]
fn a_unit_in_a_column_beside_is_read_row_by_row() {
    let unit = |t: f64, v: f64, i: f64| {
        let (value, unit) = if !(30.0..=200.0).contains(&t) { (1000.0 * i, "mA") } else { (i, "A") };
        format!("{t},{v:.3},V,{value},{unit}")
    };
    let text = log("Time (min),Voltage,Unit,Current,Unit", unit);
    near("", &text, 100.0);
    // One that is no unit of a current makes no figure: the value is missing.
    let text = log("Time (min),Voltage,Unit,Current,Unit", |t, v, i| {
        format!("{t},{v:.3},V,{i},{}", if t == 100.0 { "Hz" } else { "A" })
    });
    near("", &text, 100.0);
    let trial = trial("capacity", "", &[("l.csv", &text)]);
    let told = trial.account.unwrap();
    assert!(told.contains("1 cell that is no number"), "{told}");
}

/// Power is compared with voltage times current over a charge and a discharge, which must not take each other away.
#[test]
fn power_over_both_directions_adds_up() {
    let mut both: Vec<_> =
        (0..=300).map(|n| (f64::from(n), 21.0 + 5.0 * f64::from(n) / 300.0, -20.0)).collect();
    both.extend(course().into_iter().map(|(t, v, i)| (t + 301.0, v, i)));
    let of = |times: f64| {
        let text = log_of(&both, "Time (min),Voltage (V),Current (A),Power (W)", |t, v, i| {
            format!("{t},{v:.3},{i},{:.2}", times * v * i)
        });
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("l.csv"), text).unwrap();
        let (status, out, err) = crate::common::run(&["log", folder.path().join("l.csv").to_str().unwrap()]);
        (status, out + &err)
    };
    let (status, told) = of(1.0);
    assert!(status == 0 && told.contains("voltage times current and the power #4 \"Power (W)\""), "{told}");
    let (status, told) = of(0.8);
    assert!(status == 1 && told.contains("`columns = [\"Power (W) = ignore\"]`"), "{told}");
}

/// A cycler counts charge and discharge in two columns, and neither counts both.
#[test]
fn a_counter_for_each_direction_adds_up() {
    let mut both: Vec<_> =
        (0..=300).map(|n| (f64::from(n), 21.0 + 5.0 * f64::from(n) / 300.0, -20.0)).collect();
    both.extend(course().into_iter().map(|(t, v, i)| (t + 301.0, v, i)));
    let of = |times: f64| {
        let text = log_of(
            &both,
            "Time (min),Voltage (V),Current (A),Charge_Capacity (Ah),Discharge_Capacity (Ah)",
            |t, v, i| {
                let (into, out) = ((t / 3.0).min(100.0), ((t - 311.0) / 3.0).clamp(0.0, 100.0));
                format!("{t},{v:.3},{i},{into:.3},{:.3}", times * out)
            },
        );
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("l.csv"), text).unwrap();
        let (status, out, err) = crate::common::run(&["log", folder.path().join("l.csv").to_str().unwrap()]);
        (status, out + &err)
    };
    let (status, told) = of(1.0);
    assert!(status == 0 && told.contains("the counter #4") && told.contains("the counter #5"), "{told}");
    let (status, told) = of(0.8);
    assert!(status == 1 && told.contains("by the counter"), "{told}");
}

/// A clamp in a log without a voltage, which holds the charge before the load too.
#[test]
fn a_branch_that_flows_both_ways_is_not_guessed() {
    let branch = |charge: f64, load: f64| {
        let row = |n: u32| match n {
            0..1200 => charge,
            1200..1300 => 0.0,
            1300..2200 => load,
            _ => 0.0,
        };
        (0..2300).fold("Time (s),Current (A)\n".to_owned(), |text, n| text + &format!("{n},{}\n", row(n)))
    };
    let held = |log: &str, keys: &str| {
        let keys = format!("logs = []\n[[test.branch]]\nname = \"a\"\nlog = \"a.csv\"\nwith = \"i\"\n{keys}");
        let trial = trial("full load", &keys, &[("a.csv", log)]);
        match trial.problem {
            Some(problem) => Err(problem),
            None => Ok(trial.facts["test.held_for"].as_ref().unwrap().value.amount().unwrap().value()),
        }
    };
    // More went in than came out.
    let both = branch(-21.0, 21.0);
    assert!(held(&both, "").unwrap_err().contains("flows both ways"), "{:?}", held(&both, ""));
    let stated = held(&both, "sign = \"discharge positive\"\n").unwrap();
    assert!((stated - 899.0).abs() < 2.0, "{stated}");
    assert!((held(&both, "sign = \"discharge negative\"\n").unwrap() - 1199.0).abs() < 2.0);
    // One way only is out of the pack, whatever the meter writes.
    for load in [21.0, -21.0] {
        assert!((held(&branch(0.0, load), "").unwrap() - 899.0).abs() < 2.0);
    }
}

/// Cells at −10 °C to 2 °C by a thermometer with a log of its own; charge begins at 2500 s.
#[test]
fn a_thermometer_has_a_log_of_its_own() {
    let stamp = |second: i32| {
        let s = second + 10 * 3600;
        format!("2026-03-14 {:02}:{:02}:{:02}", s / 3600, s / 60 % 60, s % 60)
    };
    let main: String = (0..3000).fold("Date Time,Voltage (V),Current (A)\n".to_owned(), |text, n| {
        text + &format!("{},26.0,{}\n", stamp(n), if n < 2500 { 0.0 } else { -10.0 })
    });
    let kelvins = |n: i32| -10.0 + 12.0 * f64::from(n) / 2400.0;
    let thermometer = |from: i32, to: i32, fast: i32, code: i32| {
        (from..to).step_by(20).fold("Timestamp,Probe A (°C)\n".to_owned(), |text, n| {
            let reading = if n == code { -127.0 } else { kelvins(n) };
            text + &format!("{},{reading:.2}\n", stamp(n + fast))
        })
    };
    let charged = |log: &str, keys: &str| {
        let keys = format!(
            "sign = \"discharge positive\"\ncharger_on = \"yes\"\n[[test.sensor]]\nlog = \"t.csv\"\npart = \"cells\"\nwith = \
             \"thermo\"\n{keys}"
        );
        let trial = trial("cold charge", &keys, &[("l.csv", &main), ("t.csv", log)]);
        match &trial.facts["test.cold_charge_current"] {
            Ok(found) => Ok(found.value.amount().unwrap().number.clone()),
            Err(missing) => Err(missing.iter().map(|m| m.what.clone()).collect::<Vec<_>>().join("; ")
                + &trial.problem.unwrap_or_default()),
        }
        .map(|number| number.value + number.expanded())
    };
    let log = thermometer(-100, 3100, 0, 1000);
    assert!(charged(&log, "").unwrap() < 0.2);
    // Charge at −1 °C: the same with the cells later.
    let late = log.replace("Probe A (°C)", "Probe A (°C),x");
    assert!(
        charged(&late, "offset = \"-100 s\"\n").unwrap() < 0.2,
        "the first of its rows is 100 s before the test"
    );
    assert!(charged(&late, "offset = \"500 s\"\n").unwrap() > 9.9, "charge flowed 600 s earlier by it");
    // A clock that is an hour off shares no time with the test, and says so.
    let off = charged(&thermometer(-100, 3100, 3600, 0), "").unwrap_err();
    assert!(off.contains("t.csv cannot be used: it goes from"), "{off}");
    // Without dates on one of them how far apart they are is not guessed.
    let bare = log.replace("2026-03-14 ", "");
    assert!(charged(&bare, "").unwrap_err().contains("offset = "), "{:?}", charged(&bare, ""));
    let other = charged(&log, "column = \"Probe B\"\n").unwrap_err();
    assert!(other.contains("no such column"), "{other}");
    // A thermometer that stops before the cells are warm shows nothing of what comes after.
    let short = charged(&thermometer(-100, 1900, 0, 0), "");
    assert!(short.is_err() || short.as_ref().is_ok_and(|most| *most < 0.2), "{short:?}");
}

/// The only current is the greatest since the last sample, the only voltage that of one cell.
#[test]
fn what_is_not_of_the_pack_by_its_name_is_asked_for() {
    let greatest =
        log("Time (min),Voltage (V),Current max (A)", |t, v, i| format!("{t},{v:.3},{:.2}", 1.1 * i));
    refused("", &greatest, "its name says \"greatest since the last sample");
    let cell = log("Time (min),Cell 1 (V),Current (A)", |t, v, i| format!("{t},{v:.3},{i}"));
    refused("", &cell, "`columns = [\"Cell 1 (V) = voltage\"]`");
    near("columns = [\"Cell 1 (V) = voltage\"]\n", &cell, 100.0);
    // A meter of one quantity: its unit says what the value is.
    let meter = log("Time (min),Voltage (V),Value,Unit", |t, v, i| format!("{t},{v:.3},{i},A DC"));
    near("", &meter, 100.0);
}
