//! Logs of many kinds, as instruments, simulators and spreadsheets write them: the same discharge in each, so
//! that each must give the same charge, or a refusal that says why. A person has read the accounts.

use std::fmt::Write as _;
use std::io::Cursor;

use underlid::logs::instrument::Accuracies;
use underlid::logs::integrate::Integrator;
use underlid::logs::read::{LogReader, Meaning, ReadSettings};

/// One sample of the discharge: its number, time in s, voltage in V, current in A.
struct At {
    n: u32,
    t: f64,
    v: f64,
    i: f64,
}

impl At {
    fn clock(&self) -> String {
        format!("12:00:{:02}", self.n)
    }
}

/// Charge of the discharge by the trapezoid rule, A s.
const CHARGE: f64 = 54.5 * 30.0;

fn rows(header: &str, row: impl Fn(&At) -> String) -> String {
    let mut text = format!("{header}\n");
    for n in 0..60 {
        let t = f64::from(n);
        let at = if n < 5 { At { n, t, v: 26.6, i: 0.0 } } else { At { n, t, v: 26.2 - 0.01 * t, i: 30.0 } };
        text.push_str(&row(&at));
        text.push('\n');
    }
    text
}

fn plain() -> String {
    rows("Time (s),Voltage (V),Current (A)", |at| format!("{},{:.2},{}", at.t, at.v, at.i))
}

/// Thousands set apart.
fn grouped(value: f64, mark: &str) -> String {
    let whole = format!("{value:.0}");
    match whole.len() {
        0..=3 => whole,
        len => format!("{}{mark}{}", &whole[..len - 3], &whole[len - 3..]),
    }
}

fn comma(text: String) -> String {
    text.replace('.', ",")
}

fn latin1(text: &str) -> Vec<u8> {
    text.chars().map(|c| c as u32 as u8).collect()
}

enum Wanted {
    Charge(f64),
    Refused(&'static str),
}
use Wanted::{Charge, Refused};

fn account(bytes: &[u8], wanted: &Wanted) -> String {
    let mut log = match (LogReader::new(Cursor::new(bytes), &ReadSettings::default()), wanted) {
        (Ok(log), Charge(_)) => log,
        (Ok(log), Refused(_)) => return format!("WRONG: not refused\n{}\n", log.layout()),
        (Err(error), Refused(part)) => {
            let error = error.to_string();
            return format!("{}refused: {error}\n", if error.contains(part) { "" } else { "WRONG: " });
        }
        (Err(error), Charge(_)) => return format!("WRONG: refused: {error}\n"),
    };
    let mut out = format!("{}\n", log.layout());
    let voltage = log.layout().slot(Meaning::Voltage);
    let current = log.layout().slot(Meaning::Current).unwrap();
    let mut integrator = Integrator::new();
    let report = log
        .for_each(|sample| {
            let volts = voltage.map_or(f64::NAN, |slot| sample.get(slot));
            integrator.push(sample.time, volts, sample.get(current), sample.after_break);
        })
        .unwrap();
    writeln!(out, "{report}").unwrap();
    let integral = integrator.finish(&Accuracies::default()).unwrap();
    let found = integral.charge.value;
    if let Charge(wanted) = wanted {
        let off = (found / wanted - 1.0).abs();
        let wrong = if off < 1e-4 { "" } else { "WRONG: " };
        writeln!(out, "{wrong}charge {found:.1} As").unwrap();
    }
    for note in integral.notes() {
        writeln!(out, "note: {note}").unwrap();
    }
    out
}

/// Layouts: what columns are called, where units and headers stand.
fn layouts() -> Vec<(&'static str, Vec<u8>, Wanted)> {
    vec![
        (
            "a data frame's export with its index",
            rows(",Time (s),Voltage (V),Current (A)", |a| format!("{},{},{:.2},{}", a.n, a.t, a.v, a.i)).into(),
            Charge(CHARGE),
        ),
        (
            "a data frame's export with an index that has no header",
            rows("Time (s),Voltage (V),Current (A)", |a| format!("{},{},{:.2},{}", a.n, a.t, a.v, a.i)).into(),
            Charge(CHARGE),
        ),
        (
            "one name too few, and the clock shows which field has none",
            rows("Time (s),Voltage (V),Current (A)", |a| format!("7,{},{:.2},{}", a.t, a.v, a.i)).into(),
            Charge(CHARGE),
        ),
        (
            "one name too few and nothing that shows which",
            rows("Time (s),Voltage (V),Current (A)", |a| format!("7,t{},{:.2},{}", a.t, a.v, a.i)).into(),
            Refused("which header belongs to which"),
        ),
        (
            "a simulator's variables",
            rows(
                "Time [s],Time [h],Terminal voltage [V],Current [A],Discharge capacity [A.h],Discharge energy [W.h],X-averaged cell temperature [K],C-rate",
                |a| format!("{},{:.6},{:.2},{},{:.4},0,298.15,0.2", a.t, a.t / 3600.0, a.v, a.i, a.i * a.t / 3600.0),
            )
            .into(),
            Charge(CHARGE),
        ),
        (
            "a cycler's export with counters and derivatives",
            rows(
                "Data_Point,Test_Time(s),Date_Time,Step_Time(s),Step_Index,Cycle_Index,Current(A),Voltage(V),Charge_Capacity(Ah),Discharge_Capacity(Ah),dV/dt(V/s),dQdV/Ah/V,Internal_Resistance(Ohm)",
                |a| format!("{},{},2026-09-18 {},{},1,1,{},{:.2},0,0.1,0,0,0.001", a.n, a.t, a.clock(), a.t, -a.i, a.v),
            )
            .into(),
            Charge(CHARGE),
        ),
        (
            "a potentiostat's export with a set value beside the measured one",
            latin1(&rows(
                "mode\terror\tcontrol changes\tNs\ttime/s\tcontrol/V/mA\tEwe/V\t<I>/mA\tdQ/mA.h\t(Q-Qo)/mA.h\tEnergy/W.h\tP/W\tTemperature/°C",
                |a| format!("1\t0\t0\t1\t{:.6E}\t-30000\t{:.4E}\t{:.6E}\t0.1\t-0.1\t0.1\t{:.3E}\t25.1", a.t, a.v, -a.i * 1e3, a.i * a.v),
            )),
            Charge(CHARGE),
        ),
        (
            "set values beside measured ones",
            rows("Time (s),Set current (A),Measured current (A),Measured voltage (V)", |a| {
                format!("{},30,{},{:.2}", a.t, a.i, a.v)
            })
            .into(),
            Charge(CHARGE),
        ),
        (
            "units in a row of their own, deg C and A.h among them",
            rows("Time;Voltage;Current;Capacity;Temp\ns;V;A;A.h;deg C", |a| {
                format!("{};{:.2};{};0.1;25", a.t, a.v, a.i)
            })
            .into(),
            Charge(CHARGE),
        ),
        (
            "names and units divided by a hash",
            rows("test-time#s,voltage#V,current#mA", |a| format!("{},{:.2},{}", a.t, a.v, a.i * 1e3)).into(),
            Charge(CHARGE),
        ),
        (
            "units as names",
            rows("ms;V;mA;°C", |a| format!("{};{:.2};{};25", a.n * 1000, a.v, a.i * 1e3)).into(),
            Charge(CHARGE),
        ),
        (
            "V and A as names",
            rows("datetime,V,A", |a| format!("2026-09-18T{}.000+02:00,{:.2},{}", a.clock(), a.v, a.i)).into(),
            Charge(CHARGE),
        ),
        (
            "quoted names with line breaks",
            rows("\"Time\n[s]\";\"Voltage\n[mV]\";\"Current\n[A]\"", |a| {
                format!("{};{:.0};{}", a.t, a.v * 1e3, a.i)
            })
            .replace('\n', "\r\n")
            .into(),
            Charge(CHARGE),
        ),
        (
            "branches without a sum",
            rows("t;U;I1;I2", |a| format!("{};{:.2};{};{}", a.t, a.v, a.i / 4.0, a.i * 0.75)).into(),
            Charge(CHARGE / 4.0),
        ),
        (
            "branches with their sum",
            rows("Time (s),Voltage (V),Current 1 (A),Current 2 (A),Total current (A)", |a| {
                format!("{},{:.2},{},{},{}", a.t, a.v, a.i / 4.0, a.i * 0.75, a.i)
            })
            .into(),
            Charge(CHARGE),
        ),
        (
            "channels that are named in a row above",
            rows(",Channel 1,,Channel 2,\nTime (s),Voltage (V),Current (A),Voltage (V),Current (A)", |a| {
                format!("{},{:.2},{},{:.2},0", a.t, a.v, a.i, a.v)
            })
            .into(),
            Charge(CHARGE),
        ),
        (
            "the same name twice",
            rows("Time,Voltage,Current,Current", |a| format!("{},{:.2},{},1", a.t, a.v, a.i)).into(),
            Charge(CHARGE),
        ),
        (
            "charge and discharge in two columns",
            rows("Time (s),Voltage (V),Charge current (A),Discharge current (A)", |a| {
                format!("{},{:.2},0,{}", a.t, a.v, a.i)
            })
            .into(),
            Charge(CHARGE),
        ),
        (
            "a BMS' own log",
            rows("Date,Time,Pack V,Pack A,SoC (%),Cell1,Cell2,T1,MOS T", |a| {
                format!("2026-09-18,{},{:.2},{},{},3.3,3.3,25,30", a.clock(), a.v, -a.i, 100 - a.n)
            })
            .into(),
            Charge(CHARGE),
        ),
        (
            "a summary above the log",
            format!("Cycle,Capacity (Ah),Energy (Wh)\n1,150.2,3900\n2,150.1,3899\n\n{}", plain()).into(),
            Charge(CHARGE),
        ),
        (
            "a table drawn with bars",
            rows("| Time (s) | Voltage (V) | Current (A) |\n|---|---|---|", |a| {
                format!("| {} | {:.2} | {} |", a.t, a.v, a.i)
            })
            .into(),
            Charge(CHARGE),
        ),
        ("one column", rows("Voltage (V)", |a| format!("{:.2}", a.v)).into(), Refused("no table was found")),
        (
            "only a current: its sign cannot be known",
            rows("Time (s),Current (A)", |a| format!("{},{}", a.t, -a.i)).into(),
            Charge(-CHARGE),
        ),
    ]
}

/// Numbers and times.
fn notations() -> Vec<(&'static str, Vec<u8>, Wanted)> {
    let mv = |header: &str, mark: &'static str| {
        rows(header, move |a| format!("{};{};{}", a.n, grouped(a.v * 1e3, mark), grouped(a.i * 1e3, mark)))
    };
    vec![
        (
            "a German spreadsheet",
            latin1(
                &rows("Zeitstempel;Spannung [V];Strom [A];Temperatur [°C]", |a| {
                    format!("18.09.2026 {};{}", a.clock(), comma(format!("{:.2};{:.1};25,0", a.v, a.i)))
                })
                .replace('\n', "\r\n"),
            ),
            Charge(CHARGE),
        ),
        (
            "thousands and decimals, English",
            rows("Time (s),Voltage (mV),Current (mA)", |a| {
                format!("{}.5,\"{}.0\",\"{}.0\"", a.n, grouped(a.v * 1e3, ","), grouped(a.i * 1e3, ","))
            })
            .into(),
            Charge(CHARGE),
        ),
        (
            "thousands and decimals, German",
            rows("Zeit (s);Spannung (mV);Strom (mA)", |a| {
                format!("{};{},0;{},0", a.n, grouped(a.v * 1e3, "."), grouped(a.i * 1e3, "."))
            })
            .into(),
            Charge(CHARGE),
        ),
        (
            "thousands without decimals, English",
            rows("Time (s),Voltage (mV),Current (mA)", |a| {
                format!("{},\"{}\",\"{}\"", a.n, grouped(a.v * 1e3, ","), grouped(a.i * 1e3, ","))
            })
            .into(),
            Refused("with thousands set apart"),
        ),
        (
            "thousands without decimals, German",
            mv("Zeit (s);Spannung (mV);Strom (mA)", ".").into(),
            Refused("with thousands set apart"),
        ),
        ("thousands by apostrophes", mv("Zeit (s);Spannung (mV);Strom (mA)", "'").into(), Charge(CHARGE)),
        (
            "thousands by spaces that do not break, Latin-1",
            latin1(&mv("Temps (s);Tension (mV);Courant (mA)", "\u{a0}")),
            Charge(CHARGE),
        ),
        (
            "thousands by narrow spaces, UTF-8",
            mv("Temps (s);Tension (mV);Courant (mA)", "\u{202f}").into(),
            Charge(CHARGE),
        ),
        (
            "units in cells, the time among them",
            rows("Time,Voltage,Current", |a| format!("{} s,{:.2} V,{} A", a.t, a.v, a.i)).into(),
            Charge(CHARGE),
        ),
        (
            "exponents and plus signs",
            rows("Index,Timestamp,Reading (VDC),Current (ADC)", |a| {
                format!("{},09/18/2026 {}.000,+{:.6E},+{:.6E}", a.n, a.clock(), a.v, a.i)
            })
            .into(),
            Charge(CHARGE),
        ),
        (
            "negative numbers in brackets",
            rows("Time (s),Voltage (V),Current (A)", |a| {
                format!(
                    "{},{:.2},{}",
                    a.t,
                    a.v,
                    if a.i > 0.0 { format!("({})", a.i) } else { "0".to_owned() }
                )
            })
            .into(),
            Charge(CHARGE),
        ),
        (
            "a true minus sign",
            rows("Time (s),Voltage (V),Current (A)", |a| format!("{},{:.2},\u{2212}{}", a.t, a.v, a.i))
                .into(),
            Charge(CHARGE),
        ),
        (
            "milliseconds since 1970",
            rows("timestamp,voltage,current", |a| {
                format!("{},{:.2},{}", 1_789_000_000_000_u64 + u64::from(a.n) * 1000, a.v, a.i)
            })
            .into(),
            Charge(CHARGE),
        ),
        (
            "nanoseconds since 1970",
            rows("time,voltage,current", |a| {
                format!(
                    "{},{:.2},{}",
                    1_789_000_000_000_000_000_u64 + u64::from(a.n) * 1_000_000_000,
                    a.v,
                    a.i
                )
            })
            .into(),
            Charge(CHARGE),
        ),
        (
            "a spreadsheet's days",
            rows("DateTime,Voltage,Current", |a| {
                format!("{:.10},{:.2},{}", 46_283.5 + a.t / 86_400.0, a.v, a.i)
            })
            .into(),
            Charge(CHARGE),
        ),
        (
            "date and time in two columns",
            rows("Datum;Uhrzeit;U [V];I [A]", |a| {
                format!("18.09.2026;{};{}", a.clock(), comma(format!("{:.2};{}", a.v, a.i)))
            })
            .into(),
            Charge(CHARGE),
        ),
        (
            "names of months, years of two digits",
            rows("Timestamp,Voltage,Current", |a| format!("18-Sep-26 {},{:.2},{}", a.clock(), a.v, a.i))
                .into(),
            Charge(CHARGE),
        ),
        (
            "UTC as a word",
            rows("time,voltage,current", |a| format!("2026-09-18 {} UTC,{:.2},{}", a.clock(), a.v, a.i))
                .into(),
            Charge(CHARGE),
        ),
        (
            "a data frame's durations",
            rows("time,voltage,current", |a| format!("1 days 00:00:{:02}.5,{:.2},{}", a.n, a.v, a.i)).into(),
            Charge(CHARGE),
        ),
        (
            "weeks of the year",
            rows("time,voltage,current", |a| format!("2026-W38-5T{},{:.2},{}", a.clock(), a.v, a.i)).into(),
            Refused("no time column"),
        ),
        (
            "decimal comma and point by turns",
            rows("Time (s);Voltage (V);Current (A)", |a| {
                let row = format!("{:.1};{:.2};{:.2}", a.t, a.v, a.i);
                if a.n % 2 == 0 { row } else { comma(row) }
            })
            .into(),
            Refused("another decimal mark"),
        ),
    ]
}

/// Headers on several levels.
fn levels() -> Vec<(&'static str, Vec<u8>, Wanted)> {
    let values = |a: &At| format!("{};{:.2};{}", a.t, a.v, a.i);
    vec![
        (
            "groups, names and units",
            rows("Clock;Pack;Pack\nTime;Voltage;Current\ns;mV;A", |a| {
                format!("{};{:.0};{}", a.t, a.v * 1e3, a.i)
            })
            .into(),
            Charge(CHARGE),
        ),
        (
            "units above the names",
            rows("s;mV;A\nTime;Voltage;Current", |a| format!("{};{:.0};{}", a.t, a.v * 1e3, a.i)).into(),
            Charge(CHARGE),
        ),
        (
            "names on two lines",
            rows("Test;Pack;Load\ntime;voltage;current\n[s];[V];[A]", values).into(),
            Charge(CHARGE),
        ),
        (
            "names on two lines, the meaning above",
            rows("Time;Voltage;Current\nelapsed;pack;load\ns;V;A", values).into(),
            Charge(CHARGE),
        ),
        (
            "quantities above, places below",
            rows("Time (s);Voltage (V);;Current (A)\n;pack;cell 1;load", |a| {
                format!("{};{:.2};{:.3};{}", a.t, a.v, a.v / 8.0, a.i)
            })
            .into(),
            Charge(CHARGE),
        ),
        (
            "quantities above, places below, units last",
            rows("Time;Voltage;;Current\n;pack;cell 1;load\ns;V;V;A", |a| {
                format!("{};{:.2};{:.3};{}", a.t, a.v, a.v / 8.0, a.i)
            })
            .into(),
            Charge(CHARGE),
        ),
        (
            "numbers of channels under the names",
            rows("Time (s);Voltage (V);Current (A)\n1;2;3", values).into(),
            Charge(CHARGE),
        ),
        (
            "units and then kinds of numbers",
            rows("Time;Voltage;Current\ns;V;A\nfloat;float;float", values).into(),
            Charge(CHARGE),
        ),
    ]
}

/// Decimal marks of both kinds in one log.
fn marks() -> Vec<(&'static str, Vec<u8>, Wanted)> {
    vec![
        (
            "decimal comma in the voltage, point in the rest",
            rows("Time (s);Voltage (V);Current (A)", |a| {
                format!("{:.1};{};{:.1}", a.t, comma(format!("{:.2}", a.v)), a.i)
            })
            .into(),
            Refused("line 2"),
        ),
        (
            "decimal point in the time, comma in the rest",
            rows("Time (s);Voltage (V);Current (A)", |a| {
                format!("{:.1};{}", a.t, comma(format!("{:.2};{:.1}", a.v, a.i)))
            })
            .into(),
            Refused("line 2"),
        ),
        (
            "decimal comma from the middle on",
            rows("Time (s);Voltage (V);Current (A)", |a| {
                let row = format!("{:.1};{:.2};{:.1}", a.t, a.v, a.i);
                if a.n < 30 { row } else { comma(row) }
            })
            .into(),
            Refused("line 32"),
        ),
        (
            "one decimal comma among points",
            rows("Time (s);Voltage (V);Current (A)", |a| {
                format!(
                    "{:.1};{};{:.1}",
                    a.t,
                    if a.n == 20 { "26,00".to_owned() } else { format!("{:.2}", a.v) },
                    a.i
                )
            })
            .into(),
            Charge(CHARGE),
        ),
        (
            "whole seconds, decimal comma and point by turns",
            rows("Time (s);Voltage (V);Current (A)", |a| {
                let row = format!("{};{:.2};{:.1}", a.t, a.v, a.i);
                if a.n % 2 == 0 { row } else { comma(row) }
            })
            .into(),
            Refused("line 3"),
        ),
    ]
}

/// Rows and lines.
fn damages() -> Vec<(&'static str, Vec<u8>, Wanted)> {
    let swapped = |shift: f64| {
        rows("Time (s),Current (A),Voltage (V)", move |a| format!("{},{},{:.2}", a.t + shift, a.i, a.v))
    };
    vec![
        ("carriage returns only", plain().replace('\n', "\r").into(), Charge(CHARGE)),
        ("line ends of both kinds", plain().replacen('\n', "\r\n", 30).into(), Charge(CHARGE)),
        (
            "delimiters at the ends of rows",
            plain().lines().map(|l| format!("{l},\n")).collect::<String>().into(),
            Charge(CHARGE),
        ),
        (
            "delimiters at the ends of rows, not of the header",
            plain().replace('\n', ",\n").replacen(",\n", "\n", 1).into(),
            Charge(CHARGE),
        ),
        (
            "blank rows, some of them with delimiters",
            plain().replace("\n20,", "\n\n20,").replace("\n30,", "\n,,\n;\n30,").into(),
            Charge(CHARGE),
        ),
        ("the header again after a restart", format!("{0}{0}", plain()).into(), Charge(2.0 * CHARGE)),
        (
            "the header again in quotation marks",
            plain().replace("\n30,", "\n\"Time (s)\", \"Voltage (V)\",\"Current (A)\"\n30,").into(),
            Charge(CHARGE),
        ),
        ("another header after a restart", format!("{}{}", plain(), swapped(60.0)).into(), Charge(CHARGE)),
        (
            "another header, and the first one again",
            format!("{0}{1}{0}", plain(), swapped(60.0)).into(),
            Charge(2.0 * CHARGE),
        ),
        ("zero bytes at the end", [plain().as_bytes(), &[0; 3000]].concat(), Charge(CHARGE)),
        ("zero bytes in a row", plain().replace("\n40,", "\n\0\0\0\0\n40,").into(), Charge(CHARGE)),
        (
            "a lost decimal mark in one voltage",
            plain().replace("\n30,25.90,", "\n30,2590,").into(),
            Charge(CHARGE),
        ),
        (
            "one current ten times too large",
            plain().replace("\n30,25.90,30", "\n30,25.90,300").into(),
            Charge(CHARGE + 270.0),
        ),
        (
            "a temperature below absolute zero",
            rows("Time (s),Voltage (V),Current (A),T1 (°C)", |a| format!("{},{:.2},{},-300", a.t, a.v, a.i))
                .into(),
            Charge(CHARGE),
        ),
        (
            "a cell with the unit of another quantity",
            plain().replace("\n30,25.90,", "\n30,25.90 A,").into(),
            Charge(CHARGE),
        ),
    ]
}

#[test]
fn every_kind_gives_the_same_charge() {
    let mut all = String::new();
    for (name, bytes, wanted) in
        layouts().into_iter().chain(notations()).chain(damages()).chain(levels()).chain(marks())
    {
        writeln!(all, "== {name}\n{}", account(&bytes, &wanted)).unwrap();
    }
    insta::assert_snapshot!(all);
    assert!(!all.contains("WRONG"), "some kind is read wrongly: see WRONG in the snapshot");
}
