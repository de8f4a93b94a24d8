//! Damaged and oddly written logs of every kind: each is read, and what was recognised, skipped and
//! repaired is compared with an account that a person has read.

use std::fmt::Write as _;
use std::io::Cursor;

use underlid::logs::read::{ColumnSetting, Fault, LogReader, Meaning, ReadSettings, SignSetting};

/// A discharge at 30 A after a rest: time in s, voltage in V, current in A.
fn samples() -> Vec<(f64, f64, f64)> {
    (0..40)
        .map(|i| {
            let t = f64::from(i);
            if i < 3 { (t, 26.6, 0.0) } else { (t, 26.2 - 0.01 * t, 30.0) }
        })
        .collect()
}

fn log(header: &str, row: impl Fn(usize, f64, f64, f64) -> String) -> String {
    let mut text = format!("{header}\n");
    for (index, (t, v, i)) in samples().into_iter().enumerate() {
        text.push_str(&row(index, t, v, i));
        text.push('\n');
    }
    text
}

fn plain() -> String {
    log("Time (s),Voltage (V),Current (A)", |_, t, v, i| format!("{t},{v:.2},{i}"))
}

/// Clock time of a number of seconds.
fn hms(seconds: f64) -> String {
    let s = seconds as u64;
    format!("{:02}:{:02}:{:02}", s / 3600 % 24, s / 60 % 60, s % 60)
}

fn replace_line(text: &str, line: usize, with: &str) -> String {
    let mut lines: Vec<&str> = text.lines().collect();
    lines[line - 1] = with;
    lines.join("\n") + "\n"
}

/// Layout, report, and the charge by trapezoid, as a person reads them.
fn account(bytes: &[u8], settings: &ReadSettings) -> String {
    let mut reader = match LogReader::new(Cursor::new(bytes), settings) {
        Ok(reader) => reader,
        Err(error) => return format!("refused: {error}\n"),
    };
    let mut out = format!("{}\n", reader.layout());
    let current = reader.layout().slot(Meaning::Current);
    let mut charge = 0.0;
    let mut last: Option<(f64, f64)> = None;
    let report = reader
        .for_each(|sample| {
            let Some(current) = current else { return };
            let now = (sample.time, sample.get(current));
            if now.1.is_nan() {
                return;
            }
            if let Some(before) = last.filter(|_| !sample.after_break) {
                charge += (now.0 - before.0) * (now.1 + before.1) / 2.0;
            }
            last = Some(now);
        })
        .unwrap();
    writeln!(out, "{report}").unwrap();
    writeln!(out, "charge {charge:.1} As").unwrap();
    out
}

#[test]
fn damaged_logs() {
    let base = plain();
    let none = ReadSettings::default();
    let utf16: Vec<u8> =
        std::iter::once(0xfeff_u16).chain(base.encode_utf16()).flat_map(u16::to_le_bytes).collect();
    let european = log("Zeit [s];Spannung [V];Strom [A];Temperatur [°C]", |_, t, v, i| {
        format!("{t};{v:.2};{i:.1};25,0").replace('.', ",")
    });
    let latin1: Vec<u8> = european.chars().map(|c| c as u32 as u8).collect();
    let set = ReadSettings {
        columns: vec![
            ColumnSetting::parse("CH1 = voltage").unwrap(),
            ColumnSetting::parse("CH2 = current of the second branch in mA").unwrap(),
        ],
        ..ReadSettings::default()
    };
    let stated = ReadSettings { sign: SignSetting::DischargeNegative, ..ReadSettings::default() };
    let cases: Vec<(&str, Vec<u8>, &ReadSettings)> = vec![
        ("clean", base.clone().into(), &none),
        ("UTF-16 with byte order mark", utf16, &none),
        ("Latin-1, semicolons, decimal comma", latin1, &none),
        (
            "byte order mark, preamble, units in their own row, tabs",
            format!(
                "\u{feff}Serial\t0815\nStarted\t2026-09-18 12:00:00\n\n{}",
                log("Time\tU\tI\n[s]\t[mV]\t[A]", |_, t, v, i| format!("{t}\t{:.0}\t{i}", v * 1e3))
            )
            .into(),
            &none,
        ),
        (
            "clock over midnight",
            log("Clock;Voltage (V);Current (A)", |_, t, v, i| format!("{};{v:.2};{i}", hms(86_390.0 + t)))
                .into(),
            &none,
        ),
        (
            "elapsed h:mm:ss with fraction",
            log("Test time|Voltage (V)|Current (A)", |_, t, v, i| format!("{}.500|{v:.2}|{i}", hms(t)))
                .into(),
            &none,
        ),
        (
            "timestamps with zone over a change of offset",
            log("Timestamp,Voltage (V),Current (A)", |n, t, v, i| {
                let (hour, zone) = if n < 20 { (2, "+02:00") } else { (1, "+01:00") };
                format!("2026-10-25T{hour:02}:30:{t:02.0}{zone},{v:.2},{i}")
            })
            .into(),
            &none,
        ),
        (
            "date and clock in two columns, month first",
            log("Date,Time,Voltage (V),Current (A)", |_, t, v, i| {
                let day = if t < 10.0 { 18 } else { 19 };
                format!("09/{day}/2026,{},{v:.2},{i}", hms(86_390.0 + t))
            })
            .into(),
            &none,
        ),
        (
            "milliseconds, discharge negative",
            log("Elapsed (ms),Voltage (V),Current (mA)", |_, t, v, i| {
                format!("{},{v:.2},{}", t * 1e3, -i * 1e3)
            })
            .into(),
            &none,
        ),
        (
            "sign stated by the caller against a flat voltage",
            log("Time (s),Voltage (V),Current (A)", |_, t, _, _| format!("{t},25.00,-30")).into(),
            &stated,
        ),
        (
            "sign not decided: flat voltage, nothing stated",
            log("Time (s),Voltage (V),Current (A)", |_, t, _, _| format!("{t},25.00,-30")).into(),
            &none,
        ),
        (
            "duplicate rows",
            base.lines().flat_map(|line| [line, "\n", line, "\n"]).collect::<String>().into(),
            &none,
        ),
        (
            "rows out of order",
            {
                let mut lines: Vec<&str> = base.lines().collect();
                lines.swap(12, 13);
                lines.swap(30, 33);
                (lines.join("\n") + "\n").into()
            },
            &none,
        ),
        (
            "one row with the time of the step instead of the test",
            replace_line(&base, 25, "0,25.98,30").into(),
            &none,
        ),
        ("one row far ahead", replace_line(&base, 4, "4294967,26.60,0").into(), &none),
        (
            "clock restarts in the middle",
            format!("{base}{}", base.lines().skip(1).map(|l| format!("{l}\n")).collect::<String>()).into(),
            &none,
        ),
        (
            "gap of five minutes",
            log("Time (s),Voltage (V),Current (A)", |n, t, v, i| {
                format!("{},{v:.2},{i}", if n < 20 { t } else { t + 300.0 })
            })
            .into(),
            &none,
        ),
        (
            "dropped columns, overflow marks, text and empty cells",
            {
                let text = replace_line(&base, 10, "8,26.12");
                let text = replace_line(&text, 12, "10,OL,30");
                let text = replace_line(&text, 13, "11,---,30");
                let text = replace_line(&text, 14, "12,9.9E37,30");
                let text = replace_line(&text, 15, "13,,30");
                let text = replace_line(&text, 16, "14,Pass,30");
                let text = replace_line(&text, 17, "15,26.05,30,surplus");
                let text = replace_line(&text, 18, "16,1e30,30");
                replace_line(&text, 19, "17,26030 mV,30 A").into()
            },
            &none,
        ),
        (
            "footer, blank lines, repeated header, lines of text",
            {
                let text = replace_line(&base, 10, "*** pause ***");
                let text = replace_line(&text, 12, "");
                let text = replace_line(&text, 14, "Time (s),Voltage (V),Current (A)");
                let text = replace_line(&text, 16, "??,26.05,30");
                format!("{text}Total charge;0.3 Ah\nEnd of test\n").into()
            },
            &none,
        ),
        ("cut off in the middle of the last row", base.trim_end().rsplit_once(',').unwrap().0.into(), &none),
        (
            "quoted fields and a quotation mark in the preamble",
            format!(
                "Rack \"3, upper shelf\n{}",
                log("\"Time, elapsed (s)\",\"Voltage (V)\",\"Current (A)\"", |_, t, v, i| {
                    format!("\"{t}\",\"{v:.2}\",\"{i}\"")
                })
            )
            .into(),
            &none,
        ),
        (
            "columns set by hand",
            log("t/s;CH1;CH2", |_, t, v, i| format!("{t};{v:.2};{}", i * 1e3)).into(),
            &set,
        ),
        (
            "binary junk in the middle",
            {
                let mut bytes = replace_line(&base, 20, "JUNK").into_bytes();
                let at = bytes.windows(4).position(|w| w == b"JUNK").unwrap();
                bytes.splice(at..at + 4, [0, 255, 254, 0, 0, 17, 200, 0]);
                bytes
            },
            &none,
        ),
        ("binary junk only", (0..5000_u32).map(|i| (i * 7919 % 251) as u8).collect(), &none),
        ("empty", Vec::new(), &none),
        ("no header", base.split_once('\n').unwrap().1.into(), &none),
        ("no time", log("Voltage (V),Current (A)", |_, _, v, i| format!("{v:.2},{i}")).into(), &none),
        (
            "comma as decimal mark and delimiter",
            log("Time,Voltage,Current", |_, t, v, i| format!("{t:.1},{v:.2},{i:.1}").replace('.', ","))
                .into(),
            &none,
        ),
        (
            "newest first",
            log("Time (s),Voltage (V),Current (A)", |_, t, v, i| format!("{},{v:.2},{i}", 100.0 - t)).into(),
            &none,
        ),
        ("a setting for a column that is not there", base.into(), &set),
    ];
    assert!(cases.len() >= 20);
    let mut all = String::new();
    for (name, bytes, settings) in cases {
        writeln!(all, "== {name}\n{}", account(&bytes, settings)).unwrap();
    }
    insta::assert_snapshot!(all);
}

/// Whatever a file holds, reading it ends with samples or with an error.
#[test]
fn hostile_logs_end_in_bounded_time() {
    let none = ReadSettings::default();
    let header = "Time (s),Voltage (V),Current (A)\n0,26,0\n1,26,0\n2,26,0\n";
    let cases: Vec<Vec<u8>> = vec![
        [header.as_bytes(), &vec![b'9'; 3_000_000]].concat(),
        [header.as_bytes(), &vec![b','; 3_000_000]].concat(),
        [header.as_bytes(), &vec![b'"'; 300_000]].concat(),
        [header.as_bytes(), &b"\n".repeat(100_000)].concat(),
        [header.as_bytes(), &b"1e308,1e308,1e308\n-1e308,,\n".repeat(1000)].concat(),
        [header.as_bytes(), &b"\xff\xfe\x00,\x00\n".repeat(1000)].concat(),
        vec![0; 100_000],
        b"\xff\xfe\x00\xd8\x00\xd8".repeat(1000),
        vec![b','; 100_000],
        (0..20_000).map(|i| format!("{i},")).collect::<String>().into_bytes(),
    ];
    for bytes in cases {
        let out = account(&bytes, &none);
        assert!(!out.is_empty());
    }
}

/// The real fault of a real log: at each of 19 changes of step one row carries the time 0 s. Its twin with
/// the right time follows, so dropping it loses nothing, and the account says where it happened.
#[test]
fn real_log_with_a_fault_in_its_time_column() {
    let path = crate::common::root().join("tests/data/logs/rate-test-with-time-fault.bdf.csv");
    let mut reader = LogReader::open(&path, &ReadSettings::default()).unwrap();
    let mut out = format!("{}\n", reader.layout());
    let mut times = Vec::new();
    let report = reader.for_each(|sample| times.push(sample.time)).unwrap();
    write!(out, "{report}").unwrap();
    insta::assert_snapshot!(out);
    assert_eq!(report.tally(Fault::TimeFaultRepeated).count, 19);
    assert_eq!(report.tally(Fault::TimeFaultRepeated).first_line, 724);
    assert!(report.is_clean());
    assert!(times.windows(2).all(|pair| pair[0] < pair[1]));
    assert_eq!((times.first(), times.last()), (Some(&0.0), Some(&125_628.17)));
}

/// A damaged log still gives the charge and energy of the clean one, within the uncertainty it states.
#[test]
fn damaged_figures_stay_within_their_uncertainty() {
    use underlid::logs::instrument::Accuracies;
    use underlid::logs::integrate::{Integral, Integrator};

    let integrate = |text: &str| -> Integral {
        let mut log = LogReader::new(Cursor::new(text.as_bytes()), &ReadSettings::default()).unwrap();
        let slot = |meaning| log.layout().slot(meaning).unwrap();
        let (v, i) = (slot(Meaning::Voltage), slot(Meaning::Current));
        let mut integrator = Integrator::new();
        log.for_each(|s| integrator.push(s.time, s.get(v), s.get(i), s.after_break)).unwrap();
        integrator.finish(&Accuracies::default()).unwrap()
    };
    let path = crate::common::root().join("tests/data/logs/lfp-discharge-simulated.csv");
    let clean = std::fs::read_to_string(path).unwrap();
    let lines: Vec<&str> = clean.lines().collect();
    let truth = integrate(&clean);
    let every = |keep: &dyn Fn(usize) -> bool| -> String {
        lines
            .iter()
            .enumerate()
            .filter(|(n, _)| *n < 3 || *n + 1 == lines.len() || keep(*n))
            .map(|(_, line)| format!("{line}\n"))
            .collect()
    };
    let swapped = {
        let mut lines = lines.clone();
        for n in (50..800).step_by(37) {
            lines.swap(n, n + 3);
        }
        lines.join("\n") + "\n"
    };
    let cases = [
        ("every second row lost", every(&|n| n % 2 == 0)),
        ("nine of ten rows lost", every(&|n| n % 10 == 0)),
        ("a gap of 100 rows", every(&|n| !(300..400).contains(&n))),
        ("a gap over the end of the discharge", every(&|n| !(800..875).contains(&n))),
        ("rows out of order", swapped),
        ("every row twice", lines.iter().flat_map(|line| [line, "\n", line, "\n"]).collect()),
        (
            "every seventh current lost",
            lines
                .iter()
                .enumerate()
                .map(|(n, line)| match line.rsplit_once(',') {
                    Some((before, _)) if n > 3 && n % 7 == 0 => format!("{before},OL\n"),
                    _ => format!("{line}\n"),
                })
                .collect(),
        ),
    ];
    for (name, text) in cases {
        let found = integrate(&text);
        let charge = found.charge;
        let error = (charge.value - truth.charge.value).abs();
        let allowed = charge.expanded();
        assert!(error <= allowed + 1e-9, "{name}: {error} As, {allowed} allowed");
        let (energy, true_energy) = (found.energy.unwrap(), truth.energy.unwrap());
        let error = (energy.value - true_energy.value).abs();
        let allowed = energy.expanded();
        assert!(error <= allowed + 1e-9, "{name}: {error} J, {allowed} allowed");
    }
}
