//! Temperatures in the log of another instrument, put on the clock of the test's log.
//!
//! Both clocks are joined by their dates, or by a stated offset; how far apart they are is never guessed. Between two
//! readings the temperature is taken as a straight line; where the readings stop there is none.

use super::{Figure, Logs, Work};
use crate::logs::joined::Joined;
use crate::logs::read::{Column, LogReader, Meaning, Slot};
use crate::logs::series::Series;
use crate::record::parts::TestSensor;
use crate::units::{Dimension, show};

/// Readings further apart than so many usual steps have nothing between them (common practice, no source).
const STEPS: f64 = 5.0;
/// Digital thermometers write this when they come on, K: 85 °C.
const POWER_ON: f64 = 358.15;
/// Beside it a true reading changes by no more than this from one sample to the next, K.
const JUMP: f64 = 10.0;

/// A temperature of another instrument, or why it cannot be used.
pub(super) struct Thermometer {
    /// The sensor of the test, by number.
    pub sensor: usize,
    pub column: Column,
    pub readings: Result<Readings, String>,
}

/// Readings on the clock of the test's log.
#[derive(Debug, Clone)]
pub(super) struct Readings {
    series: Series,
    shift: f64,
    gap: f64,
}

impl Readings {
    /// Time and value of the last reading at or before a time of the test's log, and the value there; NaN where there is
    /// none.
    pub fn at(&self, time: f64) -> (f64, f64, f64) {
        let Some(((t0, v0), (t1, v1))) =
            self.series.around(time - self.shift).filter(|((t0, _), (t1, _))| t1 - t0 <= self.gap)
        else {
            return (time, f64::NAN, f64::NAN);
        };
        let now = if t1 > t0 { v0 + (v1 - v0) * (time - self.shift - t0) / (t1 - t0) } else { v0 };
        (t0 + self.shift, v0, now)
    }
}

/// Whether a value is what a thermometer writes when it comes on, and no reading; the last value beside it.
pub(super) fn came_on(last: f64, value: f64) -> bool {
    let near_the_last = (last - value).abs() < JUMP;
    (value - POWER_ON).abs() < 0.01 && !near_the_last
}

/// A log of another instrument: its temperatures, and when its time begins.
struct Read {
    columns: Vec<(Column, Series)>,
    since_1970: Option<(f64, bool)>,
    account: String,
}

impl Work<'_> {
    /// Reads the logs of sensors that another instrument wrote.
    pub(super) fn read_thermometers(&mut self, logs: &Logs<'_>, names: &[&str]) -> Result<(), String> {
        let test = self.test;
        let of_others = || test.sensor.iter().enumerate().filter(|(_, sensor)| sensor.log.text().is_some());
        if of_others().next().is_none() {
            return Ok(());
        }
        if names.is_empty() {
            return Err("a sensor with a log of its own needs the test's own `log` beside it".to_owned());
        }
        let mut own = self.open(logs, names)?;
        let mut span = (f64::INFINITY, f64::NEG_INFINITY);
        own.for_each(|sample| span = (span.0.min(sample.time), span.1.max(sample.time)))?;
        let mut known: Vec<(&str, Result<Read, String>)> = Vec::new();
        for (number, sensor) in of_others() {
            let name = sensor.log.text().unwrap_or_default();
            if !known.iter().any(|(of, _)| *of == name) {
                let all = || test.sensor.iter().filter(|other| other.log.text() == Some(name));
                let columns: Vec<String> = all().flat_map(|other| other.columns.list()).cloned().collect();
                let profile = all().find_map(|other| other.profile.text());
                known.push((name, read(logs, name, &columns, profile)));
            }
            let Some((_, read)) = known.iter().find(|(of, _)| *of == name) else { continue };
            let found = read.as_ref().map_err(Clone::clone).and_then(|read| find(sensor, read, &own, span));
            let (column, readings, how) = match found {
                Ok((column, readings, how)) => (column, Ok(readings), how),
                Err(why) => {
                    let label = sensor.column.text().or(sensor.part.text()).unwrap_or("temperature");
                    let why = format!("the temperature \"{label}\" of {name} cannot be used: {why}");
                    (Column::recognise(0, label, Some("°C")), Err(why.clone()), why)
                }
            };
            self.figure(Figure::words(&format!("log of {}", column.label), how).detailed());
            self.thermometers.push(Thermometer { sensor: number, column, readings });
        }
        Ok(())
    }
}

/// Reads a log of temperatures through.
fn read(logs: &Logs<'_>, name: &str, columns: &[String], profile: Option<&str>) -> Result<Read, String> {
    let settings = logs.settings(columns, profile)?;
    let mut reader = LogReader::open(&logs.path(name)?, &settings).map_err(|error| error.to_string())?;
    let of: Vec<(Slot, Column)> =
        reader.layout().slots(Meaning::Temperature).map(|(slot, column)| (slot, column.clone())).collect();
    let mut series = vec![(Series::new(), f64::NAN); of.len()];
    let streamed = reader.for_each(|sample| {
        for ((slot, _), (series, last)) in of.iter().zip(&mut series) {
            let value = sample.get(*slot);
            if value.is_finite() && !came_on(*last, value) {
                series.push(sample.time, value);
                *last = value;
            }
        }
    });
    streamed.map_err(|error| error.to_string())?;
    let columns = of.into_iter().map(|(_, column)| column).zip(series.into_iter().map(|(s, _)| s)).collect();
    let account = reader.report().to_string().replace('\n', "; ");
    Ok(Read { columns, since_1970: reader.dated(), account })
}

/// The readings of a sensor, on the clock of the test's log, and how they came there.
fn find(
    sensor: &TestSensor,
    read: &Read,
    own: &Joined,
    (first, last): (f64, f64),
) -> Result<(Column, Readings, String), String> {
    let called = |column: &Column, wanted: &str| {
        [&column.header, &column.label].iter().any(|name| name.trim().eq_ignore_ascii_case(wanted.trim()))
    };
    let wanted = sensor.column.text();
    let mut all =
        read.columns.iter().filter(|(column, _)| wanted.is_none_or(|wanted| called(column, wanted)));
    let (column, series) = match (all.next(), all.next()) {
        (Some(one), None) => one,
        (None, _) => return Err("it has no such column of a temperature".to_owned()),
        (Some(_), Some(_)) => return Err("it has several temperatures: say which `column`".to_owned()),
    };
    let (shift, how) = match (sensor.offset.quantity(), own.since_1970(), read.since_1970) {
        (Some(offset), ..) => (offset.value, format!("aligned by the stated offset of {}", offset.text)),
        (None, Some((zero, utc)), Some((its, its_utc))) if utc == its_utc => (
            its - zero,
            "aligned by the dates and times of both logs, as if their clocks were set alike".to_owned(),
        ),
        _ => {
            return Err("the two logs have no dates by one clock: write how far its times are from those of the test\'s log, for \
                        example `offset = \"12 s\"`"
                .to_owned());
        }
    };
    let Some((from, to)) = series.span().map(|(from, to)| (from + shift, to + shift)) else {
        return Err("it holds no reading".to_owned());
    };
    if to < first || from > last {
        let time = |t: f64| show(t, Dimension::TIME);
        return Err(format!(
            "it goes from {} to {} on the clock of the test\'s log, which goes from {} to {}",
            time(from),
            time(to),
            time(first),
            time(last)
        ));
    }
    let gap = STEPS * series.usual_step();
    let readings = Readings { series: series.clone(), shift, gap };
    Ok((column.clone(), readings, format!("{how}; {}", read.account)))
}
