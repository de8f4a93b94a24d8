//! A log that is damaged in one way after the other: each account says what was skipped or repaired, no more and no
//! less, and charge and energy of the undamaged log lie within the uncertainty that is stated.
//!
//! The log is a discharge that the simulator PyBaMM computed (tests/reference/bench_simulate.py), so its charge and
//! energy without damage are known apart from this program.

use std::io::Cursor;

use underlid::logs::instrument::Accuracies;
use underlid::logs::integrate::{Integral, Integrator};
use underlid::logs::read::{Fault, LogReader, Meaning, ReadSettings};

/// What a damage does to the lines: the first two are a preamble and the header.
type Damage = Box<dyn Fn(&mut Vec<String>)>;

struct Case {
    name: &'static str,
    damage: Damage,
    /// Every fault that the account must tell, with its count.
    faults: Vec<(Fault, u64)>,
    /// What the notes on the integral must say.
    note: Option<&'static str>,
}

fn case(
    name: &'static str,
    faults: &[(Fault, u64)],
    note: Option<&'static str>,
    damage: impl Fn(&mut Vec<String>) + 'static,
) -> Case {
    Case { name, damage: Box::new(damage), faults: faults.to_vec(), note }
}

/// Sets one field of a row.
fn set(lines: &mut [String], row: usize, field: usize, with: impl Fn(&str) -> String) {
    let mut fields: Vec<String> = lines[row].split(',').map(str::to_owned).collect();
    fields[field] = with(&fields[field]);
    lines[row] = fields.join(",");
}

fn cases() -> Vec<Case> {
    let absurd = |rows: &'static [usize], field: usize, with: &'static str| {
        move |lines: &mut Vec<String>| {
            rows.iter().for_each(|row| set(lines, *row, field, |_| with.to_owned()));
        }
    };
    let in_a_row = Some("samples in a row far off what lies before and after them");
    vec![
        case("undamaged", &[], None, |_| {}),
        case("one absurd current", &[(Fault::Spike, 1)], Some("1 single sample"), absurd(&[400], 2, "460")),
        case("one absurd voltage", &[(Fault::Spike, 1)], Some("1 single sample"), absurd(&[400], 1, "0.33")),
        case(
            "two absurd currents in a row",
            &[(Fault::SpikeRun, 2)],
            in_a_row,
            absurd(&[400, 401], 2, "460"),
        ),
        case(
            "three absurd currents in a row",
            &[(Fault::SpikeRun, 3)],
            in_a_row,
            absurd(&[400, 401, 402], 2, "-46"),
        ),
        case(
            "three absurd voltages in a row",
            &[(Fault::SpikeRun, 3)],
            in_a_row,
            absurd(&[400, 401, 402], 1, "33"),
        ),
        case(
            "eight readings of nothing in a row, in both channels",
            &[(Fault::SpikeRun, 16)],
            Some("8 samples in a row"),
            |lines| {
                for row in 400..408 {
                    set(lines, row, 1, |_| "0".to_owned());
                    set(lines, row, 2, |_| "0".to_owned());
                }
            },
        ),
        case(
            "absurd currents here and there",
            &[(Fault::Spike, 2), (Fault::SpikeRun, 5)],
            in_a_row,
            absurd(&[200, 350, 351, 500, 700, 701, 702], 2, "4600"),
        ),
        case("a single row lost: no gap, only a longer interval", &[], None, |lines| {
            lines.remove(400);
        }),
        case("a gap of 100 rows", &[], Some("1 gap of 33.7 min at "), |lines| {
            lines.drain(300..400);
        }),
        case("two gaps", &[], Some("2 gaps of "), |lines| {
            lines.drain(600..700);
            lines.drain(300..350);
        }),
        case("rows swapped", &[(Fault::Reordered, 2)], None, |lines| {
            lines.swap(300, 301);
            lines.swap(500, 501);
        }),
        case("rows twice", &[(Fault::Duplicate, 3)], None, |lines| {
            for row in [700, 500, 300] {
                lines.insert(row, lines[row].clone());
            }
        }),
        case("currents that the meter could not read", &[(Fault::Overflow, 2)], None, |lines| {
            set(lines, 300, 2, |_| "OL".to_owned());
            set(lines, 301, 2, |_| "OL".to_owned());
        }),
        case(
            "a hundred currents that the meter could not read",
            &[(Fault::Overflow, 100)],
            Some("1 gap of "),
            |lines| {
                (300..400).for_each(|row| set(lines, row, 2, |_| "OL".to_owned()));
            },
        ),
        case("empty currents", &[(Fault::Missing, 3)], None, |lines| {
            (300..303).for_each(|row| set(lines, row, 2, |_| String::new()));
        }),
        case("text for a number", &[(Fault::UnreadableValue, 1)], None, |lines| {
            set(lines, 300, 2, |_| "n/a?".to_owned());
        }),
        case("a number beyond anything", &[(Fault::Implausible, 1)], None, |lines| {
            set(lines, 300, 2, |_| "1e30".to_owned());
        }),
        case("a row without its current", &[(Fault::ShortRow, 1)], None, |lines| {
            lines[300] = lines[300].rsplit_once(',').unwrap().0.to_owned();
        }),
        case("a row with a field too many", &[(Fault::LongRow, 1)], None, |lines| lines[300].push_str(",7")),
        case("a time that cannot be read", &[(Fault::UnreadableTime, 1)], None, |lines| {
            set(lines, 300, 0, |_| "??".to_owned());
        }),
        case("a time of nothing in one row", &[(Fault::TimeFault, 1)], None, |lines| {
            set(lines, 300, 0, |_| "0".to_owned());
        }),
        case("a time far ahead in one row", &[(Fault::TimeSpike, 1)], None, |lines| {
            set(lines, 300, 0, |_| "4294967".to_owned());
        }),
        case("a line of text", &[(Fault::UnreadableRow, 1)], None, |lines| {
            lines[300] = "*** operator pressed a key ***".to_owned();
        }),
        case(
            "blank lines and the header again",
            &[(Fault::Blank, 2), (Fault::RepeatedHeader, 1)],
            None,
            |lines| {
                let header = lines[1].clone();
                lines.insert(500, header);
                lines.insert(300, String::new());
                lines.insert(300, String::new());
            },
        ),
        case("a footer", &[(Fault::Footer, 2)], None, |lines| {
            lines.push("Total charge: 2.17 Ah".to_owned());
            lines.push("End of test".to_owned());
        }),
        case("zero bytes after a power failure", &[(Fault::Zeros, 1)], None, |lines| {
            lines[300] = "\0".repeat(40);
        }),
        case("units in cells", &[(Fault::UnitInCell, 2)], None, |lines| {
            set(lines, 300, 1, |v| format!("{v} V"));
            set(lines, 301, 1, |v| format!("{} mV", v.parse::<f64>().unwrap() * 1e3));
        }),
    ]
}

struct Found {
    integral: Integral,
    faults: Vec<(Fault, u64)>,
    account: String,
}

fn read(text: &str) -> Found {
    let mut log = LogReader::new(Cursor::new(text.as_bytes()), &ReadSettings::default()).unwrap();
    let slot = |meaning| log.layout().slot(meaning).unwrap();
    let (v, i) = (slot(Meaning::Voltage), slot(Meaning::Current));
    let mut integrator = Integrator::new();
    let report = log
        .for_each(|sample| integrator.push(sample.time, sample.get(v), sample.get(i), sample.after_break))
        .unwrap();
    Found {
        integral: integrator.finish(&Accuracies::default()).unwrap(),
        faults: report
            .faults()
            .filter(|(fault, _)| *fault != Fault::Preamble)
            .map(|(fault, tally)| (fault, tally.count))
            .collect(),
        account: report.to_string(),
    }
}

#[test]
fn each_damage_is_told_and_covered() {
    let path = crate::common::root().join("tests/data/logs/lfp-discharge-simulated.csv");
    let clean = std::fs::read_to_string(path).unwrap();
    let truth = read(&clean).integral;
    let cases = cases();
    assert!(cases.len() > 20);
    for Case { name, damage, faults, note } in cases {
        let mut lines: Vec<String> = clean.lines().map(str::to_owned).collect();
        damage(&mut lines);
        let found = read(&(lines.join("\n") + "\n"));
        assert_eq!(found.faults, faults, "{name}: {}", found.account);
        for (fault, count) in faults {
            let (one, many) = fault.describe();
            let told = format!("{count} {}", if count == 1 { one } else { many });
            assert!(found.account.contains(&told), "{name}: {}", found.account);
        }
        let notes = found.integral.notes();
        match note {
            Some(note) => assert!(notes.iter().any(|told| told.contains(note)), "{name}: {notes:?}"),
            None => assert!(notes.is_empty(), "{name}: {notes:?}"),
        }
        let charge = found.integral.charge;
        let error = (charge.value - truth.charge.value).abs();
        let allowed = charge.expanded();
        assert!(error <= allowed + 1e-9, "{name}: charge off by {error} As, {allowed} As are stated");
        let (energy, true_energy) = (found.integral.energy.unwrap(), truth.energy.unwrap());
        let error = (energy.value - true_energy.value).abs();
        let allowed = energy.expanded();
        assert!(error <= allowed + 1e-9, "{name}: energy off by {error} J, {allowed} J are stated");
    }
}

/// Where the clock starts again, the time in between is not known: it is told, and nothing is counted for it.
#[test]
fn a_restart_of_the_clock_is_told_and_nothing_is_counted_for_it() {
    let path = crate::common::root().join("tests/data/logs/lfp-discharge-simulated.csv");
    let clean = std::fs::read_to_string(path).unwrap();
    let once = read(&clean);
    let rows: String = clean.lines().skip(2).map(|line| format!("{line}\n")).collect();
    let twice = read(&format!("{clean}{rows}"));
    assert_eq!(twice.faults, [(Fault::ClockRestart, 1)], "{}", twice.account);
    assert_eq!(
        twice.integral.notes(),
        ["the log's clock restarted once; nothing is counted for the time in between"]
    );
    let ratio = twice.integral.charge.value / once.integral.charge.value;
    assert!((ratio - 2.0).abs() < 1e-9);
}
