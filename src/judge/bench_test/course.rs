//! The channels of a log as they stream past: kept in bounded memory for what is read off and for the charts.
//!
//! What the pack's own gauge shows (columns labelled "gauge") is kept apart: it is a reading, never a reference,
//! and never part of a sum.

use super::instruments::{Tool, tool};
use super::thermometers::{Readings, came_on};
use super::{CURVE_POINTS, Work};
use crate::logs::account::{Account, switched};
use crate::logs::downsample::MinMax;
use crate::logs::instrument::Accuracies;
use crate::logs::integrate::Integrator;
use crate::logs::read::{Column, HowKnown, Layout, Meaning, Role, Sample, Slot, is_gauge};
use crate::logs::series::Series;
use crate::physics::ZERO_CELSIUS;
use crate::record::Record;
use crate::record::parts::{SensorFixing, TestSensor};
use crate::units::{Dimension, show};

/// Channels of one meaning that are followed.
const CHANNELS: usize = 32;
/// Words for places that are no element of the path.
pub(crate) const PLACES: &[&str] = &["bms", "cells", "ambient", "inner air"];

#[derive(Debug, Clone)]
pub(super) struct Channel {
    pub label: String,
    /// The part it belongs to: an element's id or one of [`PLACES`].
    pub part: Option<String>,
    /// How its sensor was fixed to it, where that is recorded.
    pub fixed: Option<SensorFixing>,
    pub tool: Option<Tool>,
    /// Its values, thinned evenly.
    pub series: Series,
    /// Its extremes, for a chart.
    pub picture: MinMax,
    pub role: Role,
    /// Its header says which way it counts.
    pub has_direction: bool,
    /// How far along its part the sensor sits, m.
    pub distance: Option<f64>,
    /// Its last value, and that of the last sample, NaN where it has none.
    value: f64,
    now: f64,
    /// The last reading, and its time, s: of another instrument not that of the sample.
    read: (f64, f64),
    /// Where it left its course as a sensor does that fell off: when, s, from what and to what, K.
    jumped: Option<(f64, f64, f64)>,
    /// The temperature of the room, K, where the unit of this one is assumed.
    room: Option<f64>,
    /// A thermometer that may write a code for a reading.
    thermometer: bool,
    slot: Option<Slot>,
    /// Its readings in the log of another instrument.
    readings: Option<Readings>,
    /// Why it has none.
    lost: Option<String>,
}

/// A part under load does not change by so much from one sample to the next, K, and does not warm by more than this with
/// time, K/s (common practice, no source).
const LEAP: f64 = 8.0;
const WARMING: f64 = 0.2;
/// A part that begins so far from the room may be in another unit, K (common practice, no source).
const FAR: f64 = 20.0;

impl Channel {
    fn new(column: &Column, slot: Option<Slot>, part: Option<String>, tool: Option<Tool>) -> Self {
        let header = if column.header.is_empty() { &column.label } else { &column.header };
        let label = if column.label.is_empty() { header } else { &column.label };
        Self {
            label: label.clone(),
            part,
            fixed: None,
            distance: None,
            tool,
            series: Series::new(),
            picture: MinMax::new(CURVE_POINTS / 4),
            role: column.role,
            has_direction: column.direction.is_some(),
            value: f64::NAN,
            now: f64::NAN,
            jumped: None,
            read: (f64::NAN, f64::NAN),
            room: None,
            thermometer: column.meaning == Meaning::Temperature,
            slot,
            readings: None,
            lost: None,
        }
    }

    /// Whether it may be on a cell: its name and its part say nothing else.
    pub fn may_be_cell(&self) -> bool {
        !matches!(self.role, Role::Ambient | Role::Electronics)
            && !self.part.as_deref().is_some_and(|part| ["ambient", "inner air", "bms"].contains(&part))
    }

    /// Why a temperature cannot be believed: it left its course as a sensor does that fell off, or begins far from the
    /// room, where it would in degrees Fahrenheit.
    pub fn detached(&self) -> Option<String> {
        if self.lost.is_some() {
            return self.lost.clone();
        }
        let kelvins = |t: f64| show(t, Dimension::TEMPERATURE);
        if let (Some(room), Some((_, first))) = (self.room, self.series.points().first()) {
            let fahrenheit = (first - ZERO_CELSIUS - 32.0) / 1.8 + ZERO_CELSIUS;
            if (first - room).abs() > FAR && (fahrenheit - room).abs() < FAR / 2.0 {
                return Some(format!(
                    "the temperature \"{}\" begins at {} in a room of {}: it may be in °F, as no unit is written; write for \
                     example `columns = [\"{} = temperature in °F\"]`",
                    self.label,
                    kelvins(*first),
                    kelvins(room),
                    self.label
                ));
            }
        }
        let (at, from, to) = self.jumped?;
        Some(format!(
            "the temperature \"{}\" jumps from {} to {} at {}: the sensor fell off or failed",
            self.label,
            kelvins(from),
            kelvins(to),
            show(at, Dimension::TIME)
        ))
    }

    /// Whether its column has this header or label.
    fn is_named(&self, layout: &Layout, wanted: &str) -> bool {
        layout.values().any(|(of, column)| {
            Some(of) == self.slot
                && [&column.label, &column.header]
                    .iter()
                    .any(|name| name.trim().eq_ignore_ascii_case(wanted.trim()))
        })
    }

    /// Takes what the record says of its sensor.
    fn is_of(&mut self, sensor: &TestSensor, record: &Record) {
        self.part = sensor.part.text().map(str::to_owned);
        self.fixed = sensor.fixed.known();
        self.distance = sensor.distance.quantity().map(|distance| distance.value);
        if sensor.own.with.is_some() {
            self.tool = tool(record, sensor.own.with.as_deref(), Dimension::TEMPERATURE);
        }
    }

    /// A temperature, while the current is `steady` or goes off and on.
    fn watch(&mut self, sample: &Sample<'_>, steady: bool) {
        let (before, at) = self.read;
        let value = self.take(sample);
        let (time, value) = match &self.readings {
            Some(readings) => {
                let (time, value, _) = readings.at(sample.time);
                (time, value)
            }
            None => (sample.time, value),
        };
        if !value.is_finite() {
            return;
        }
        self.read = (value, time);
        let change = value - before;
        let leap = if change > 0.0 { LEAP + WARMING * (time - at) } else { LEAP };
        match self.jumped {
            // It came back at once: a false reading, not a sensor that fell off.
            Some((when, from, _)) if when == at && (value - from).abs() < LEAP / 2.0 => self.jumped = None,
            None if steady && change.abs() > leap => self.jumped = Some((time, before, value)),
            _ => {}
        }
    }

    fn take(&mut self, sample: &Sample<'_>) -> f64 {
        let mut value = match (&self.readings, self.slot) {
            (Some(readings), _) => readings.at(sample.time).2,
            (None, Some(slot)) => sample.get(slot),
            (None, None) => f64::NAN,
        };
        if self.thermometer && came_on(self.value, value) {
            value = f64::NAN;
        } else if value.is_finite() {
            self.value = value;
        }
        self.now = value;
        self.series.push(sample.time, value);
        self.picture.push(sample.time, value);
        value
    }
}

/// The channels of a log.
#[derive(Debug, Clone)]
pub(super) struct Course {
    pub voltage: Option<Channel>,
    /// Currents; several are branches side by side.
    pub currents: Vec<Channel>,
    pub temperatures: Vec<Channel>,
    /// What the pack's own gauge shows, by meaning.
    pub gauge: Vec<(Meaning, Channel)>,
    pub current: Series,
    /// Its extremes, for a chart.
    pub current_picture: MinMax,
    /// Charge counted so far over time, C.
    pub counted: Series,
    /// Whether what the log says of itself adds up.
    pub account: Account,
    /// Between the last sample and the one before it the instrument switched: when, and voltage and current until then.
    pub switched: Option<(f64, f64, f64)>,
    since: Option<Slot>,
    last: Option<(f64, f64, f64)>,
    /// The current before, A.
    before: f64,
    integrator: Integrator,
}

/// The part that a label names, where it names one.
pub(super) fn part_of(record: &Record, label: &str) -> Option<String> {
    let wanted = label.trim();
    let element = record.path.element.iter().filter_map(|element| element.id.text());
    PLACES.iter().copied().chain(element).find(|name| name.eq_ignore_ascii_case(wanted)).map(str::to_owned)
}

impl Course {
    /// The channels of a layout.
    pub fn of(work: &Work<'_>, layout: &Layout) -> Self {
        let (record, test) = (work.record, work.test);
        let with = test.own.with.as_deref();
        let plain = |meaning: Meaning, dimension: Dimension| {
            layout
                .slots(meaning)
                .filter(|(_, column)| !is_gauge(&column.label))
                .take(CHANNELS)
                .map(|(slot, column)| {
                    let part = part_of(record, &column.label);
                    let assumed = column.unit_assumed && column.known != HowKnown::Set;
                    let room = test.ambient.quantity().filter(|_| assumed).map(|q| q.value);
                    Channel { room, ..Channel::new(column, Some(slot), part, tool(record, with, dimension)) }
                })
                .collect::<Vec<_>>()
        };
        let used: Vec<Slot> = layout.currents().into_iter().map(|(slot, _)| slot).collect();
        let of_branch = |channel: &Channel| {
            test.branch
                .iter()
                .filter(|branch| branch.log.text().is_none())
                .any(|branch| branch.column.text().is_some_and(|column| channel.is_named(layout, column)))
        };
        let all = plain(Meaning::Current, Dimension::CURRENT);
        let branches = all.iter().any(of_branch);
        // Columns that the record names as branches make up the current; else the layout knows which do.
        let mut currents: Vec<Channel> = all
            .into_iter()
            .filter(|channel| {
                if branches {
                    of_branch(channel)
                } else {
                    channel.slot.is_some_and(|slot| used.contains(&slot))
                }
            })
            .collect();
        let mut temperatures = plain(Meaning::Temperature, Dimension::TEMPERATURE);
        for sensor in test.sensor.iter().filter(|sensor| sensor.log.text().is_none()) {
            let Some(column) = sensor.column.text() else { continue };
            for channel in temperatures.iter_mut().filter(|channel| channel.is_named(layout, column)) {
                channel.is_of(sensor, record);
            }
        }
        for thermometer in &work.thermometers {
            let tool = tool(record, with, Dimension::TEMPERATURE);
            let mut channel = Channel::new(&thermometer.column, None, None, tool);
            if let Some(sensor) = test.sensor.get(thermometer.sensor) {
                channel.is_of(sensor, record);
            }
            match &thermometer.readings {
                Ok(readings) => channel.readings = Some(readings.clone()),
                Err(why) => channel.lost = Some(why.clone()),
            }
            temperatures.push(channel);
        }
        // A branch in a column of this log has its own name and instrument.
        for branch in test.branch.iter().filter(|branch| branch.log.text().is_none()) {
            let Some(column) = branch.column.text() else { continue };
            for channel in currents.iter_mut().filter(|channel| channel.is_named(layout, column)) {
                if let Some(name) = branch.name.text() {
                    name.clone_into(&mut channel.label);
                }
                if branch.own.with.is_some() {
                    channel.tool = tool(record, branch.own.with.as_deref(), Dimension::CURRENT);
                }
            }
        }
        let gauge = layout
            .values()
            .filter(|(_, column)| {
                column.meaning == Meaning::StateOfCharge
                    || is_gauge(&column.label)
                        && matches!(column.meaning, Meaning::Voltage | Meaning::Current)
            })
            .take(CHANNELS)
            .map(|(slot, column)| {
                let dimension = match column.meaning {
                    Meaning::Voltage => Dimension::VOLTAGE,
                    Meaning::Current => Dimension::CURRENT,
                    _ => Dimension::NONE,
                };
                let tool = work.gauge_tool(dimension);
                (column.meaning, Channel::new(column, Some(slot), None, tool))
            })
            .collect();
        Self {
            voltage: layout.slot(Meaning::Voltage).and_then(|slot| {
                plain(Meaning::Voltage, Dimension::VOLTAGE)
                    .into_iter()
                    .find(|channel| channel.slot == Some(slot))
            }),
            currents,
            temperatures,
            gauge,
            current: Series::new(),
            current_picture: MinMax::new(CURVE_POINTS / 4),
            counted: Series::new(),
            account: Account::of(layout),
            switched: None,
            since: layout.slots(Meaning::SinceStep).next().map(|(slot, _)| slot),
            last: None,
            before: f64::NAN,
            integrator: Integrator::new(),
        }
    }

    /// The same, where the log has a current.
    pub fn with_current(self) -> Result<Self, String> {
        if self.currents.is_empty() { Err("the log has no column of current".to_owned()) } else { Ok(self) }
    }

    /// Takes a sample; gives voltage and the sum of the currents, NaN where there is none.
    pub fn take(&mut self, sample: &Sample<'_>) -> (f64, f64) {
        let voltage = self.voltage.as_mut().map_or(f64::NAN, |channel| channel.take(sample));
        let current: f64 = if self.currents.is_empty() {
            f64::NAN
        } else {
            self.currents.iter_mut().map(|channel| channel.take(sample)).sum()
        };
        let before = std::mem::replace(&mut self.before, current);
        let steady =
            before.is_nan() || (current / before - 1.0).abs() < 0.5 || before.abs().max(current.abs()) < 1e-3;
        for channel in &mut self.temperatures {
            channel.watch(sample, steady);
        }
        for (_, channel) in &mut self.gauge {
            channel.take(sample);
        }
        self.current.push(sample.time, current);
        self.current_picture.push(sample.time, current);
        self.account.push(sample, voltage, current);
        if let Some(slot) = self.since {
            self.switched = self
                .last
                .filter(|_| !sample.after_break)
                .and_then(|(time, v, i)| Some((switched(time, sample.time, sample.get(slot))?, v, i)));
            self.last = current.is_finite().then_some((sample.time, voltage, current));
        }
        if current.is_finite() {
            self.integrator.push(sample.time, voltage, current, sample.after_break);
            self.counted.push(sample.time, self.integrator.charge_so_far());
        }
        (voltage, current)
    }

    /// The temperatures at the last sample taken, by channel.
    pub fn kelvins(&self, into: &mut Vec<f64>) {
        into.clear();
        into.extend(self.temperatures.iter().map(|channel| channel.now));
    }

    pub fn cell_kelvins(&self, into: &mut Vec<f64>) {
        into.clear();
        into.extend(
            self.temperatures.iter().filter(|channel| channel.may_be_cell()).map(|channel| channel.now),
        );
    }

    /// What is to be known beside charge and energy of the whole log.
    pub fn notes(&self) -> Vec<String> {
        self.integrator.finish(&Accuracies::default()).map(|whole| whole.notes()).unwrap_or_default()
    }

    /// Sensors on the pack that fell off or failed, each in a sentence.
    pub fn detached(&self) -> impl Iterator<Item = String> {
        let of_air = |channel: &&Channel| {
            channel.role == Role::Ambient
                || channel.part.as_deref().is_some_and(|part| ["ambient", "inner air"].contains(&part))
        };
        let told = move |channel: &&Channel| channel.lost.is_some() || !of_air(channel);
        self.temperatures.iter().filter(told).filter_map(Channel::detached)
    }

    pub fn temperature_of(&self, part: &str) -> Option<(usize, &Channel)> {
        self.temperatures.iter().enumerate().find(|(_, channel)| channel.part.as_deref() == Some(part))
    }

    /// Charge counted between two times of the log, C.
    pub fn between(&self, from: f64, to: f64) -> Option<f64> {
        Some(self.counted.at(to)? - self.counted.at(from)?)
    }
}
