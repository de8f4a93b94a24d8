//! Real logs against the truth by pandas and scipy (tests/reference/log_truth.py), without a hint.
//!
//! Those whose licence allows it lie in tests/data/logs; the others are fetched by tests/reference/log_corpus.py into
//! `.cache/logs` and are part of the long run.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde::Deserialize;
use underlid::logs::account::{Account, AccountCheck, StretchKind};
use underlid::logs::capacity::{CapacitySettings, CapacityTest};
use underlid::logs::read::{CurrentSign, LogReader, Meaning, ReadSettings};

#[derive(Debug, Deserialize)]
struct Corpus {
    log: Vec<Log>,
}

#[derive(Debug, Deserialize)]
struct Log {
    id: String,
    file: Option<String>,
    expect: String,
    compare: Option<Vec<String>>,
    truth: BTreeMap<String, toml::Value>,
}

/// What the reader makes of a log without a hint.
#[derive(Debug, Default)]
struct Found {
    figures: BTreeMap<&'static str, f64>,
    /// What does not add up, or is not decided.
    doubts: Vec<String>,
    refused: Option<String>,
}

fn read(path: &Path, claim: Option<f64>) -> Found {
    let mut found = Found::default();
    let mut log = match LogReader::open(path, &ReadSettings::default()) {
        Ok(log) => log,
        Err(error) => {
            found.refused = Some(error.to_string());
            return found;
        }
    };
    let mut account = Account::of(log.layout());
    let currents: Vec<_> = log.layout().currents().iter().map(|(slot, _)| *slot).collect();
    let voltage = log.layout().slot(Meaning::Voltage);
    if matches!(log.layout().sign, Some((CurrentSign::NotDecided, _))) && !currents.is_empty() {
        found.doubts.push("sign not decided".to_owned());
    }
    for meaning in [Meaning::Current, Meaning::Voltage] {
        found.doubts.extend(log.layout().rivals(meaning).iter().map(|c| format!("or \"{}\"", c.header)));
    }
    let mut test = CapacityTest::new(CapacitySettings {
        claim: claim.map(|claim| claim * 3600.0),
        ..CapacitySettings::default()
    });
    let mut last = f64::NAN;
    log.for_each(|sample| {
        let current =
            if currents.is_empty() { f64::NAN } else { currents.iter().map(|slot| sample.get(*slot)).sum() };
        let volts = voltage.map_or(f64::NAN, |slot| sample.get(slot));
        account.push(&sample, volts, current);
        test.push(sample.time, volts, current, [], sample.after_break);
        last = sample.time;
    })
    .unwrap();
    let sum = |kind: StretchKind, of: &dyn Fn(&underlid::logs::account::Stretch) -> f64| {
        account.stretches().iter().filter(|s| s.kind == kind).map(|s| of(s).abs() / 3600.0).sum::<f64>()
    };
    found.figures.insert("discharge_ah", sum(StretchKind::Discharge, &|s| s.charge));
    found.figures.insert("discharge_wh", sum(StretchKind::Discharge, &|s| s.energy));
    found.figures.insert("charge_ah", sum(StretchKind::Charge, &|s| s.charge));
    found.figures.insert("charge_wh", sum(StretchKind::Charge, &|s| s.energy));
    if let Some(test) = test.finish() {
        let integral = &test.integral;
        found.figures.insert("largest_discharge_ah", integral.charge.value / 3600.0);
        if let Some(energy) = &integral.energy {
            found.figures.insert("largest_discharge_wh", energy.value / 3600.0);
        }
        let (from, to) = (integral.from, integral.to);
        found
            .doubts
            .extend(account.checks(from, to, 0.0).iter().filter_map(|c| c.clash().map(str::to_owned)));
    } else {
        found.doubts.extend(
            account
                .checks(f64::NEG_INFINITY, last, 0.0)
                .iter()
                .filter_map(AccountCheck::clash)
                .map(str::to_owned),
        );
    }
    found
}

fn number(value: &toml::Value) -> Option<f64> {
    value.as_float().or_else(|| value.as_integer().map(|n| n as f64))
}

/// Right, warned, asked or refused rightly; or wrong without a word.
fn judge(log: &Log, found: &Found) -> (&'static str, String) {
    let truth = |key: &str| log.truth.get(key).and_then(number);
    let tolerance = log.truth.get("tolerance").and_then(toml::Value::as_table);
    let default: Vec<String> = if truth("largest_discharge_ah").is_some() {
        vec!["largest_discharge_ah".into(), "largest_discharge_wh".into()]
    } else if truth("discharge_ah").is_some() {
        vec!["discharge_ah".into(), "discharge_wh".into()]
    } else {
        vec!["charge_ah".into(), "charge_wh".into()]
    };
    let keys = log.compare.as_ref().unwrap_or(&default);
    let mut off = Vec::new();
    for key in keys {
        let (Some(wanted), Some(got)) = (truth(key), found.figures.get(key.as_str())) else { continue };
        let allowed =
            tolerance.and_then(|table| table.get(key)).and_then(number).unwrap_or(0.01 * wanted.abs());
        let holds = (got - wanted).abs() <= allowed;
        if !holds {
            off.push(format!("{key} {got:.6} for {wanted}"));
        }
    }
    let words = found.refused.clone().unwrap_or_else(|| found.doubts.join("; "));
    let spoke = !words.is_empty();
    let verdict = match log.expect.as_str() {
        "refuse" | "profile" if found.refused.is_some() => "right",
        "no charge" if found.refused.is_some() => "said why",
        "no charge" if found.figures.values().all(|v| v.abs() < 1e-9 || v.is_nan()) => "right",
        "warn" if spoke => "right",
        "figures" if found.refused.is_none() && off.is_empty() => "right",
        _ if spoke => "said why",
        _ => "WRONG without a word",
    };
    (verdict, format!("{} {words}", off.join(", ")))
}

fn run(of: impl Fn(&Log) -> Option<PathBuf>) -> (usize, Vec<String>) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(root.join("tests/data/log-corpus.toml")).unwrap();
    let corpus: Corpus = toml::from_str(&text).unwrap();
    let (mut right, mut lines) = (0, Vec::new());
    for log in &corpus.log {
        let Some(path) = of(log) else { continue };
        // A record claims a capacity; nothing else is known beforehand.
        let found = read(&path, log.truth.get("largest_discharge_ah").and_then(number));
        let (verdict, why) = judge(log, &found);
        right += usize::from(verdict == "right");
        lines.push(format!("{verdict:20} {:45} {}", log.id, why.chars().take(600).collect::<String>()));
    }
    (right, lines)
}

#[test]
fn logs_that_lie_here() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let (right, lines) = run(|log| log.file.as_ref().map(|file| root.join(file)));
    let text = lines.join("\n");
    println!("{right} of {} right\n{text}", lines.len());
    assert!(!text.contains("WRONG"), "{text}");
    assert!(right >= lines.len() - 1, "{text}");
}

/// All 32: `python tests/reference/log_corpus.py` puts them into `.cache/logs`.
#[test]
#[ignore = "fetched by tests/reference/log_corpus.py"]
fn long_all_logs() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let (right, lines) = run(|log| {
        let mut files = std::fs::read_dir(root.join(".cache/logs")).ok()?.filter_map(Result::ok);
        let own = format!("{}.", log.id);
        files
            .find(|file| {
                file.file_name().to_string_lossy().starts_with(&own) || file.file_name() == log.id.as_str()
            })
            .map(|file| file.path())
    });
    let text = lines.join("\n");
    println!("{right} of {} right\n{text}", lines.len());
    assert!(lines.len() >= 30, "only {} logs are there", lines.len());
    assert!(!text.contains("WRONG"), "{text}");
    assert!(right >= 22, "{right}: {text}");
}
