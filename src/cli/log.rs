//! `log`: what a log holds before it is believed: its columns, its stretches, what adds up and what does not.

use std::fmt::Write as _;
use std::io::Write;
use std::path::PathBuf;

use super::{CAUTION, Done, Failure, words};
use crate::logs::account::{Account, AccountCheck, Stretch, StretchKind};
use crate::logs::read::{ColumnSetting, CurrentSign, LogReader, Meaning, ReadSettings, SignSetting};
use crate::units::{Dimension, show, terminal};

/// Stretches that are shown.
const SHOWN: usize = 40;
/// Characters of the picture.
const WIDTH: usize = 64;

#[derive(Debug, clap::Args)]
#[command(after_help = help())]
pub(super) struct Log {
    /// Logs of loads, chargers, meters or a BMS
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// What a column is, as in the record; may be given several times
    #[arg(long, value_name = "COLUMN = MEANING")]
    column: Vec<String>,
    /// Which way the current counts, as in the record
    #[arg(long, value_name = "SIGN")]
    sign: Option<String>,
}

fn help() -> String {
    format!(
        "Examples:\n  underlid log logs/capacity.csv\n  underlid log logs/export.txt --column \"CH2 = current in mA\" --sign \
         \"discharge negative\"\n\n{CAUTION}"
    )
}

impl Log {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        let mut settings = ReadSettings::default();
        for text in &self.column {
            settings.columns.push(ColumnSetting::parse(text).map_err(words)?);
        }
        if let Some(sign) = &self.sign {
            settings.sign = SignSetting::parse(sign).map_err(Failure::Words)?;
        }
        let mut done = Done::Well;
        let mut out = terminal::out();
        for (number, path) in self.files.iter().enumerate() {
            if number > 0 {
                writeln!(out)?;
            }
            writeln!(out, "{}", path.display())?;
            let mut log = LogReader::open(path, &settings)
                .map_err(|error| Failure::Words(format!("{}: {error}", path.display())))?;
            let told =
                tell(&mut log).map_err(|error| Failure::Words(format!("{}: {error}", path.display())))?;
            writeln!(out, "{}", told.text)?;
            if told.clashes {
                done = Done::FallsShort;
            }
        }
        Ok(done)
    }
}

struct Told {
    text: String,
    clashes: bool,
}

/// The account of one log in words.
fn tell<R: std::io::Read>(log: &mut LogReader<R>) -> Result<Told, crate::logs::read::ReadError> {
    let layout = log.layout().clone();
    let mut text = format!("{layout}\n");
    let mut account = Account::of(&layout);
    let currents: Vec<_> = layout.currents().iter().map(|(slot, _)| *slot).collect();
    let voltage = layout.slot(Meaning::Voltage);
    let mut picture = crate::logs::series::Series::new();
    let report = log
        .for_each(|sample| {
            let current = if currents.is_empty() {
                f64::NAN
            } else {
                currents.iter().map(|slot| sample.get(*slot)).sum()
            };
            let volts = voltage.map_or(f64::NAN, |slot| sample.get(slot));
            picture.push(sample.time, current);
            account.push(&sample, volts, current);
        })?
        .to_string();
    let stretches = account.stretches();
    let mut clashes = Vec::new();
    if currents.is_empty() {
        clashes
            .push("no column of current: no charge can be worked out; name one with `--column`".to_owned());
    } else if let Some((CurrentSign::NotDecided, basis)) = layout.sign {
        clashes.push(format!(
            "which way the current counts is not known ({basis}): `sign = \"discharge positive\"` or `\"discharge negative\"`"
        ));
    }
    for meaning in [Meaning::Current, Meaning::Voltage] {
        clashes.extend(layout.rivals(meaning).iter().map(|column| {
            format!(
                "\"{}\" could be the {meaning} of the pack as well: `columns = [\"{} = {meaning}\"]`",
                column.header, column.header
            )
        }));
    }
    if !stretches.is_empty() {
        let _ = writeln!(
            text,
            "\nCurrent over time, charge below the line, discharge above it\n{}",
            sketch(&picture)
        );
        let _ = writeln!(text, "\nStretches");
        for (number, stretch) in stretches.iter().enumerate().take(SHOWN) {
            let _ = writeln!(text, "  {:>3}  {}", number + 1, line(stretch));
        }
        let more = stretches.len().saturating_sub(SHOWN) as u64 + account.not_kept();
        if more > 0 {
            let _ = writeln!(text, "  … and {more} more");
        }
    }
    let checks = account.checks(f64::NEG_INFINITY, f64::INFINITY, 0.0);
    clashes.extend(checks.iter().filter_map(|check| check.clash().map(str::to_owned)));
    let list = |text: &mut String, title: &str, lines: &[String]| {
        if !lines.is_empty() {
            let _ = writeln!(text, "\n{title}");
            for line in lines {
                let _ = writeln!(text, "  - {line}");
            }
        }
    };
    let of = |wanted: fn(&AccountCheck) -> Option<&String>| -> Vec<String> {
        checks.iter().filter_map(wanted).cloned().collect()
    };
    list(&mut text, "Does not add up", &clashes);
    list(
        &mut text,
        "Adds up",
        &of(|check| if let AccountCheck::Agrees(_, text) = check { Some(text) } else { None }),
    );
    list(
        &mut text,
        "Could not be checked",
        &of(|check| if let AccountCheck::NotCompared(text) = check { Some(text) } else { None }),
    );
    if !report.is_empty() {
        list(&mut text, "Skipped or repaired", &report.lines().map(str::to_owned).collect::<Vec<_>>());
    }
    let largest = stretches
        .iter()
        .filter(|stretch| stretch.kind == StretchKind::Discharge)
        .max_by(|a, b| a.charge.total_cmp(&b.charge));
    if let Some(stretch) = largest {
        let time = |t: f64| show(t, Dimension::TIME);
        let _ = writeln!(
            text,
            "\nFor the record, where the largest discharge is the test\n  [[test]]\n  from = \"{}\"\n  to = \"{}\"",
            time(stretch.from),
            time(stretch.to)
        );
    }
    Ok(Told { text: text.trim_end().to_owned(), clashes: !clashes.is_empty() })
}

fn line(stretch: &Stretch) -> String {
    let time = |t: f64| show(t, Dimension::TIME);
    let mut line = format!("{:9} {} to {}", stretch.kind.to_string(), time(stretch.from), time(stretch.to));
    if stretch.kind != StretchKind::Rest {
        let _ = write!(line, ", {}", show(stretch.charge.abs(), Dimension::CHARGE));
        if stretch.energy.is_finite() {
            let _ = write!(line, ", {}", show(stretch.energy.abs(), Dimension::ENERGY));
        }
        let _ = write!(line, ", up to {}", show(stretch.largest.abs(), Dimension::CURRENT));
    }
    if stretch.last_voltage.is_finite() {
        let volts = |v: f64| show(v, Dimension::VOLTAGE);
        let _ = write!(line, ", {} to {}", volts(stretch.first_voltage), volts(stretch.last_voltage));
    }
    line
}

/// Two rows of blocks: discharge above, charge below.
fn sketch(series: &crate::logs::series::Series) -> String {
    const UP: [char; 9] = [' ', '▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];
    let Some((from, to)) = series.span().filter(|(from, to)| to > from) else { return String::new() };
    let mut ends = [(0.0_f64, 0.0_f64); WIDTH];
    for (time, value) in series.points() {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "between 0 and the width"
        )]
        let place = (((time - from) / (to - from)) * (WIDTH as f64 - 1e-6)) as usize;
        if let Some((low, high)) = ends.get_mut(place) {
            (*low, *high) = (low.min(value), high.max(value));
        }
    }
    let largest = ends.iter().map(|(low, high)| high.max(-low)).fold(f64::MIN_POSITIVE, f64::max);
    let block = |value: f64| {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and 8")]
        let eighths = (8.0 * value.max(0.0) / largest).round() as usize;
        UP.get(eighths.min(8)).copied().unwrap_or(' ')
    };
    let above: String = ends.iter().map(|(_, high)| block(*high)).collect();
    let below: String = ends.iter().map(|(low, _)| block(-low)).collect();
    format!("  out {}\n  in  {}", above.trim_end(), below.trim_end())
}
