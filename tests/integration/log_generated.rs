//! Generated logs with faults in combination, against the truth that they were made from (tests/reference/log_generate.py,
//! which knows nothing of this program): no verdict contradicts it.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use serde::Deserialize;
use underlid::judge::bench_test::results;
use underlid::judge::facts::{Answer, Derived, Side};
use underlid::judge::rules::{Book, Outcome, judge};
use underlid::record;

use crate::common::python;

/// A claim this far from the truth is wrong; instruments and sampling leave less open.
const OFF: f64 = 0.03;

#[derive(Debug, Deserialize)]
struct Log {
    index: u32,
    files: Vec<String>,
    instruments: Vec<String>,
    record: Written,
    faults: Vec<String>,
    truth: Truth,
    rows: u32,
}

#[derive(Debug, Deserialize)]
struct Written {
    kind: String,
    current_a: f64,
    series: u32,
    cutoff_v: Option<f64>,
    ambient_c: f64,
    claimed_capacity_ah: f64,
    heater_w: Option<f64>,
    thermometer_offset_s: Option<f64>,
}

#[derive(Debug, Deserialize)]
struct Truth {
    duration_s: f64,
    highest_cell_c: f64,
    stretches: Vec<Stretch>,
    discharge_ah: Option<f64>,
    discharge_wh: Option<f64>,
    charge_ah: Option<f64>,
    cold_current_a: Option<f64>,
}

#[derive(Debug, Deserialize)]
struct Stretch {
    kind: String,
    from_s: f64,
    to_s: f64,
}

struct Judged {
    outcomes: BTreeMap<String, Outcome>,
    facts: Vec<BTreeMap<&'static str, Answer>>,
    figures: Vec<(String, f64)>,
    /// What was said against the log.
    words: String,
    /// What is missing for a verdict.
    missing: Vec<String>,
}

/// The verdicts on the log's test, of a record with these claims and further tests.
fn verdicts(book: &Book, folder: &Path, log: &Log, claims: &str, keys: &str, more: &str) -> Judged {
    let main = log.files.iter().zip(&log.instruments).filter(|(_, instrument)| *instrument == "main");
    let files: Vec<String> = main.map(|(file, _)| format!("\"{file}\"")).collect();
    let Written { kind, series, ambient_c, .. } = &log.record;
    let heater = log
        .record
        .heater_w
        .map_or("present = \"no\"".to_owned(), |w| format!("present = \"yes\"\npower = \"{w} W ± 5 %\""));
    let of_thermometer = log.files.iter().zip(&log.instruments).find(|(_, of)| *of == "thermometer");
    let sensor = of_thermometer.map_or(String::new(), |(file, _)| {
        let offset =
            log.record.thermometer_offset_s.map_or(String::new(), |s| format!("offset = \"{s} s\"\n"));
        format!("[[test.sensor]]\nlog = \"{file}\"\ncolumn = \"T cell (°C)\"\npart = \"cells\"\n{offset}")
    });
    let text = format!(
        "schema = 2\n[claims]\nnominal_voltage = \"{} V\"\n{claims}[cells]\nseries = {series}\n[heater]\n{heater}\n[[instrument]]\nid = \
         \"v\"\naccuracy = \"0.3 %\"\nresolution = \"0.001 V\"\n[[instrument]]\nid = \"i\"\naccuracy = \"0.3 % + 1 \
         digit\"\nresolution = \"0.01 A\"\n[[instrument]]\nid = \"t\"\naccuracy = \"5 digits\"\nresolution = \"0.1 \
         K\"\n{more}[[test]]\nid = \"t\"\nkind = \"{kind}\"\nwith = \"v, i, t\"\nambient = \"{ambient_c} \
         degC\"\nlogs = [{}]\n{keys}{sensor}",
        3.2 * f64::from(*series),
        files.join(", ")
    );
    let record = record::read("record", &text).unwrap_or_else(|e| panic!("{}: {:?}", log.index, e.list()));
    let tests = results(folder, &record, &book.limit_amounts());
    let last = tests.last().unwrap();
    let told = last.figures.iter().filter(|figure| figure.name == "does not add up");
    let words = told.map(|figure| figure.text()).collect::<Vec<_>>().join("; ");
    let figures = last
        .figures
        .iter()
        .filter_map(|figure| Some((figure.name.clone(), figure.value.amount()?.value())))
        .collect();
    let facts: Vec<_> = tests.into_iter().map(|test| test.facts).collect();
    let derived = Derived::with_tests(&record, &book.limit_amounts(), facts.clone());
    let judgement = judge(&record, &derived, book);
    let of_it = || judgement.findings.iter().filter(|finding| finding.subject.contains("test t"));
    let outcomes = of_it().map(|finding| (finding.rule.clone(), finding.outcome)).collect();
    let missing = of_it().flat_map(|finding| &finding.missing).map(|missing| missing.what.clone()).collect();
    Judged { outcomes, facts, figures, words, missing }
}

/// What a log was judged to be that it is not; `decided` counts verdicts.
fn contradictions(book: &Book, folder: &Path, log: &Log, decided: &mut (u32, u32)) -> Vec<String> {
    let mut wrong = Vec::new();
    let every = log.truth.duration_s / f64::from(log.rows.max(1));
    let mut compare = |rule: &str, found: &Judged, claim_is_too_high: bool, what: String| {
        let outcome = found.outcomes.get(rule);
        decided.0 += 1;
        let verdict = matches!(outcome, Some(Outcome::Meets | Outcome::FallsShort));
        decided.1 += u32::from(verdict);
        if !verdict && std::env::var_os("UNDERLID_SHOW").is_some() {
            let why: String = found.missing.first().map_or("", String::as_str).chars().take(160).collect();
            println!("log {} {rule}: {:?} {why}", log.index, log.faults);
        }
        let contradicts = match outcome {
            Some(Outcome::Meets) => claim_is_too_high,
            Some(Outcome::FallsShort) => !claim_is_too_high,
            _ => false,
        };
        if contradicts {
            wrong.push(format!("{rule} {:?} with {what}; {}", outcome.unwrap(), found.words));
        }
    };
    let current = log.record.current_a;
    let set = format!("current = \"{current} A\"\n");
    match log.record.kind.as_str() {
        "capacity" => {
            let (ah, wh) = (log.truth.discharge_ah.unwrap(), log.truth.discharge_wh.unwrap());
            let cutoff =
                log.record.cutoff_v.map_or(String::new(), |v| format!("cutoff_voltage = \"{v} V\"\n"));
            for high in [true, false] {
                let part = if high { 1.0 + OFF } else { 1.0 - OFF };
                let claims =
                    format!("capacity = \"{:.5} Ah\"\nenergy = \"{:.4} Wh\"\n", part * ah, part * wh);
                let found = verdicts(book, folder, log, &claims, &format!("{set}{cutoff}"), "");
                compare("capacity-as-claimed", &found, high, format!("{part} of {ah} Ah"));
                compare("energy-as-claimed", &found, high, format!("{part} of {wh} Wh"));
                let highest = found.figures.iter().find(|(name, _)| name == "highest temperature");
                if let Some(kelvins) = highest.map(|(_, kelvins)| *kelvins)
                    && kelvins - 273.15 > log.truth.highest_cell_c + 1.0
                    && found.words.is_empty()
                {
                    compare(
                        "capacity-as-claimed",
                        &Judged {
                            outcomes: [("capacity-as-claimed".to_owned(), Outcome::Meets)].into(),
                            ..found
                        },
                        true,
                        format!("a highest temperature of {kelvins} K for {} °C", log.truth.highest_cell_c),
                    );
                }
            }
        }
        "charge" => {
            let went_in = log.truth.charge_ah.unwrap();
            let limit = book.limit_amounts()["coulomb_efficiency"].value();
            for high in [true, false] {
                // A discharge that makes the efficiency lower or higher than the limit.
                let part = if high { 1.0 - OFF } else { 1.0 + OFF };
                let more = format!(
                    "[[test]]\nid = \"c\"\nkind = \"capacity\"\ncapacity = \"{:.5} Ah ± 0.001 Ah\"\nend = \"load \
                     cut-off\"\n",
                    part * limit * went_in
                );
                let claims = format!("capacity = \"{went_in:.5} Ah\"\n");
                let found = verdicts(book, folder, log, &claims, &set, &more);
                compare("coulomb-round-trip", &found, high, format!("{part} of the limit, {went_in} Ah in"));
            }
        }
        "full load" => {
            let loads = log.truth.stretches.iter().filter(|s| s.kind == "discharge");
            let longest = loads.map(|s| s.to_s - s.from_s).fold(0.0, f64::max);
            for (rated, holds) in [(1.0 - OFF, longest >= 900.0), (1.0 + OFF, false)] {
                let claims = format!(
                    "continuous_current = \"{:.5} A\"\ncapacity = \"{current} Ah\"\n",
                    rated * current
                );
                // A house that asks for a quarter of an hour.
                let mut quarter = book.clone();
                for limit in quarter.limits.iter_mut().filter(|limit| limit.name == "full_discharge") {
                    limit.amount.number = underlid::units::Uncertain::exact(0.25 * rated);
                }
                let found = verdicts(&quarter, folder, log, &claims, &set, "");
                compare("full-load-held", &found, !holds, format!("{rated} of {current} A for {longest} s"));
                let Some(Ok(held)) = found.facts.last().and_then(|facts| facts.get("test.held_for")) else {
                    continue;
                };
                let number = &held.value.amount().unwrap().number;
                // One that gave up at less than this current would not have held it for longer.
                let at_most = held.bound.as_ref().is_some_and(|bound| bound.side == Side::AtMost);
                let surely = if at_most { 0.0 } else { number.value - number.expanded() };
                let truth = if rated < 1.0 { longest } else { 0.0 };
                if surely > truth + 2.0 * every + 1.0 {
                    let claim = Judged { outcomes: [("held".to_owned(), Outcome::Meets)].into(), ..found };
                    compare("held", &claim, true, format!("{surely} s for {truth} s"));
                }
            }
        }
        "cold charge" => {
            let limit = book.limit_amounts()["cold_current"].value() * 3600.0;
            let (flowed, own) = (log.truth.cold_current_a.unwrap(), log.record.claimed_capacity_ah);
            let near = if flowed > 0.0 {
                vec![flowed * (1.0 - OFF) / limit, flowed * (1.0 + OFF) / limit]
            } else {
                vec![]
            };
            for capacity in near.into_iter().chain([own]) {
                let claims = format!("capacity = \"{capacity:.5} Ah\"\n");
                let found = verdicts(book, folder, log, &claims, &format!("{set}charger_on = \"yes\"\n"), "");
                let what = format!("{flowed} A into cold cells, {} A allowed", limit * capacity);
                compare("cold-charge-test", &found, flowed > limit * capacity, what);
            }
        }
        other => panic!("a kind {other}"),
    }
    wrong
}

fn check(folder: &Path, number: u32, seed: u32) {
    let output = python("log_generate.py")
        .args([folder.to_str().unwrap(), "--number", &number.to_string(), "--seed", &seed.to_string()])
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let book = Book::built_in().unwrap();
    let (mut wrong, mut decided, mut logs) = (Vec::new(), (0, 0), 0);
    let mut folders: Vec<_> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    folders.sort();
    for folder in folders {
        let log: Log = serde_json::from_str(&fs::read_to_string(folder.join("truth.json")).unwrap()).unwrap();
        logs += 1;
        for what in contradictions(&book, &folder, &log, &mut decided) {
            wrong.push(format!("log {} ({}): {what}", log.index, log.faults.join(", ")));
        }
    }
    println!(
        "{logs} logs, {} verdicts of {} decided, {} wrong\n{}",
        decided.1,
        decided.0,
        wrong.len(),
        wrong.join("\n")
    );
    assert!(wrong.is_empty(), "{} contradict the truth:\n{}", wrong.len(), wrong.join("\n"));
    // Refusing everything would contradict nothing.
    assert!(decided.1 * 3 > decided.0, "only {} of {} verdicts were given", decided.1, decided.0);
}

#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn sixty_logs_with_faults() {
    check(tempfile::tempdir().unwrap().path(), 60, 12);
}

#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn long_a_thousand_logs_with_faults() {
    check(tempfile::tempdir().unwrap().path(), 1000, 12);
}
