//! Damage at random: a clean log is mutated row by row and cell by cell, and read. Nothing panics, and either
//! the true charge lies within the expanded uncertainty that is stated, or the account says what is wrong.

use std::io::Cursor;

use proptest::collection::vec;
use proptest::prelude::*;
use underlid::logs::instrument::Accuracies;
use underlid::logs::integrate::Integrator;
use underlid::logs::read::{Fault, LogReader, Meaning, ReadSettings};

use crate::common::rounds;

const ROWS: usize = 300;

/// Three loads with rests between them, sampled every second: time, voltage, current.
fn samples() -> Vec<(f64, f64, f64)> {
    (0..ROWS)
        .map(|n| {
            let noise = (n * 7919 % 101) as f64 / 100.0 - 0.5;
            let current = match n {
                20..90 => 30.0,
                110..190 => 60.0,
                210..280 => 45.0,
                _ => 0.0,
            };
            let current = if current > 0.0 { current + 0.1 * noise } else { 0.0 };
            (n as f64, 26.6 - 0.002 * n as f64 - 0.01 * current + 0.002 * noise, current)
        })
        .collect()
}

fn lines() -> Vec<String> {
    std::iter::once("Time (s),Voltage (V),Current (A)".to_owned())
        .chain(samples().iter().map(|(t, v, i)| format!("{t},{v:.4},{i:.3}")))
        .collect()
}

/// Charge of the clean log between two times, by the trapezoid rule.
fn truth(from: f64, to: f64) -> f64 {
    let at = |clean: &[(f64, f64, f64)], time: f64| -> f64 {
        let after = clean.partition_point(|sample| sample.0 < time).clamp(1, clean.len() - 1);
        let ((t0, _, i0), (t1, _, i1)) = (clean[after - 1], clean[after]);
        i0 + (i1 - i0) * (time - t0) / (t1 - t0)
    };
    let clean = samples();
    let mut points = vec![(from, at(&clean, from))];
    points.extend(clean.iter().filter(|s| s.0 > from && s.0 < to).map(|s| (s.0, s.2)));
    points.push((to, at(&clean, to)));
    points.windows(2).map(|pair| (pair[1].0 - pair[0].0) * (pair[1].1 + pair[0].1) / 2.0).sum()
}

#[derive(Debug, Clone)]
enum Damage {
    Delete {
        at: usize,
        count: usize,
    },
    Swap {
        at: usize,
        by: usize,
    },
    Duplicate {
        at: usize,
        to: usize,
    },
    Insert {
        at: usize,
        what: Vec<u8>,
    },
    /// Another byte in place of one.
    Byte {
        at: usize,
        byte: usize,
        with: u8,
    },
    Cut {
        keep: usize,
    },
}

fn damage() -> impl Strategy<Value = Damage> {
    let row = 1..ROWS;
    let garbage = prop_oneof![
        vec(any::<u8>(), 0..60),
        "[-0-9.,;eE ]{0,30}".prop_map(String::into_bytes),
        "(Time \\(s\\),Voltage \\(V\\),Current \\(A\\)|Time \\(s\\),Current \\(A\\),Voltage \\(V\\))"
            .prop_map(String::into_bytes),
        "(OL,OL,OL|,,|\"|pause|##|NaN,NaN,NaN|1e999,1,1|0,0,0|99999999,26,30)".prop_map(String::into_bytes),
    ];
    prop_oneof![
        (row.clone(), 1..40_usize).prop_map(|(at, count)| Damage::Delete { at, count }),
        (row.clone(), 1..40_usize).prop_map(|(at, by)| Damage::Swap { at, by }),
        (row.clone(), row.clone()).prop_map(|(at, to)| Damage::Duplicate { at, to }),
        (row.clone(), garbage).prop_map(|(at, what)| Damage::Insert { at, what }),
        (row.clone(), 0..20_usize, any::<u8>()).prop_map(|(at, byte, with)| Damage::Byte { at, byte, with }),
        (row.clone(), 0..20_usize, "[-0-9.,eE ]").prop_map(|(at, byte, with)| Damage::Byte {
            at,
            byte,
            with: with.as_bytes()[0]
        }),
        (200..5000_usize).prop_map(|keep| Damage::Cut { keep }),
    ]
}

fn damaged(damages: &[Damage]) -> Vec<u8> {
    let mut lines: Vec<Vec<u8>> = lines().into_iter().map(String::into_bytes).collect();
    let mut keep = usize::MAX;
    for damage in damages {
        let last = lines.len() - 1;
        match damage {
            Damage::Delete { at, count } => {
                let from = (*at).min(last);
                lines.drain(from..(from + count).min(lines.len()));
            }
            Damage::Swap { at, by } => lines.swap((*at).min(last), (at + by).min(last)),
            Damage::Duplicate { at, to } => {
                let line = lines[(*at).min(last)].clone();
                lines.insert((*to).min(lines.len()), line);
            }
            Damage::Insert { at, what } => lines.insert((*at).min(last), what.clone()),
            Damage::Byte { at, byte, with } => {
                let line = &mut lines[(*at).min(last)];
                let place = byte % line.len().max(1);
                if let Some(place) = line.get_mut(place) {
                    *place = *with;
                }
            }
            Damage::Cut { keep: bytes } => keep = *bytes,
        }
        if lines.len() < 3 {
            break;
        }
    }
    let mut bytes = lines.join(&b'\n');
    bytes.push(b'\n');
    bytes.truncate(keep);
    bytes
}

/// What is wrong with the figure and not told, if anything.
fn untold(bytes: &[u8]) -> Option<String> {
    let mut log = LogReader::new(Cursor::new(bytes), &ReadSettings::default()).ok()?;
    let (Some(v), Some(i)) = (log.layout().slot(Meaning::Voltage), log.layout().slot(Meaning::Current))
    else {
        return None;
    };
    let mut integrator = Integrator::new();
    let report = log
        .for_each(|sample| integrator.push(sample.time, sample.get(v), sample.get(i), sample.after_break))
        .unwrap()
        .clone();
    let integral = integrator.finish(&Accuracies::default())?;
    let told = !report.is_clean()
        || !integral.notes().is_empty()
        || [Fault::SameTime, Fault::OpenEnd].iter().any(|fault| report.tally(*fault).count > 0);
    let (from, to) = (integral.from, integral.to);
    let error = (integral.charge.value - truth(from, to)).abs();
    let allowed = integral.charge.expanded();
    (error > allowed + 1e-6 && !told).then(|| {
        format!("{error} As off, {allowed} stated, from {from} s to {to} s\n{}\n{report}", log.layout())
    })
}

/// A few rows lost between steady readings are not worth a word, and the figure holds.
#[test]
fn rows_lost_unnoticed() {
    for at in 1..ROWS - 5 {
        let bytes = damaged(&[Damage::Delete { at, count: 3 }]);
        assert_eq!(untold(&bytes), None, "{at}");
    }
}

#[test]
fn the_clean_log() {
    assert_eq!(untold(lines().join("\n").as_bytes()), None);
    assert!((truth(0.0, 299.0) - 70.0 * 30.0 - 80.0 * 60.0 - 70.0 * 45.0).abs() < 5.0);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: rounds(100, 400), failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn wrong_figures_are_told(damages in vec(damage(), 1..6)) {
        let bytes = damaged(&damages);
        if let Some(what) = untold(&bytes) {
            return Err(TestCaseError::fail(what));
        }
    }

    /// Bytes alone, with a header that is believed.
    #[test]
    fn any_bytes_under_a_header(rest in vec(any::<u8>(), 0..2000)) {
        let mut bytes = b"Time (s),Voltage (V),Current (A)\n0,26,0\n1,26,0\n2,26,0\n".to_vec();
        bytes.extend(rest);
        let _ = untold(&bytes);
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 6, failure_persistence: None, ..ProptestConfig::default() })]
    /// A log that fills many chunks is read alike whatever stands in it: by several threads as by one.
    #[test]
    fn long_logs_keep_every_row(every in 50_usize..400, odd in "[ -~]{0,40}") {
        let mut text = String::from("Time (s),Voltage (V),Current (A)\n");
        let count = 60_000;
        for n in 0..count {
            if n % every == 0 {
                text.push_str(&odd);
                text.push_str(",x\n");
            }
            text.push_str(&format!("{n}.5,26.{:04},30.125,surplus of the row to fill the chunk up\n", n % 10_000));
        }
        let settings = ReadSettings::default();
        let Ok(mut log) = LogReader::new(Cursor::new(text.as_bytes()), &settings) else {
            return Ok(());
        };
        let mut times = Vec::new();
        log.for_each(|sample| times.push((sample.line, sample.time))).unwrap();
        let rows: Vec<(u64, f64)> = text
            .lines()
            .zip(1..)
            .filter(|(line, _)| line.ends_with("fill the chunk up"))
            .map(|(line, number)| (number, line.split(',').next().unwrap().parse().unwrap()))
            .collect();
        // A line that opens with a number is a row of its own, kept or not.
        let kept: Vec<(u64, f64)> = times.into_iter().filter(|found| rows.binary_search_by(|row| row.0.cmp(&found.0)).is_ok()).collect();
        if !odd.starts_with(|c: char| c.is_ascii_digit() || "+-.( \"".contains(c)) {
            prop_assert_eq!(kept, rows);
        }
    }
}
