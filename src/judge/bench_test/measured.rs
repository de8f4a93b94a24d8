//! What a full-load test read of the temperature of parts, for the network of the pack to follow.

use super::course::{Course, part_of};
use super::instruments::standard;
use super::{Figure, Work, fixed_range};
use crate::judge::facts::Missing;
use crate::judge::facts::network::{Measured, MeasuredTemperature};
use crate::logs::approach::{self, Approach, NotIdentifiable, Steady};
use crate::record::parts::SensorFixing;
use crate::units::{Amount, COVERAGE, Dimension, show};

const DIFFERENCE: Dimension = Dimension::TEMPERATURE_DIFFERENCE;

/// Places that are air and no part.
const AIR: [&str; 2] = ["ambient", "inner air"];

impl Work<'_> {
    /// Keeps the temperatures of parts while the load was on: of each channel one half way and its highest, and everything
    /// that was read by hand. `from` and `to` are times of the log, s.
    pub(super) fn keep_temperatures(
        &mut self,
        course: Option<&Course>,
        (from, to): (f64, f64),
        current: Option<&Amount>,
    ) {
        let Some(current) = current else { return };
        let mut temperatures = Vec::new();
        let (mut starts, mut room) = (Vec::new(), None);
        let of_air = course.and_then(|course| course.temperature_of("ambient"));
        let air = of_air.and_then(|(_, channel)| Some(channel.series.points().last()?.1));
        let air = air.or_else(|| self.test.ambient.quantity().map(|quantity| quantity.value));
        // A sensor that fell off shows nothing of its part.
        let sound = course.map_or(&[][..], |course| &course.temperatures).iter();
        for channel in sound.filter(|channel| channel.detached().is_none()) {
            let Some(part) = channel.part.as_deref() else { continue };
            let points = channel.series.points();
            let under = || points.iter().filter(|(time, _)| (from..=to).contains(time));
            let (Some(first), Some(last)) = (under().next(), under().next_back()) else { continue };
            if part == "ambient" {
                let of_tool = channel.tool.and_then(|tool| tool.standard(last.1, Dimension::TEMPERATURE));
                room = Some((last.1, of_tool));
            }
            if AIR.contains(&part) {
                continue;
            }
            starts.push(first.1);
            let hottest =
                under().copied().fold(*last, |best, point| if point.1 > best.1 { point } else { best });
            let mut read = |(time, kelvin): (f64, f64)| {
                let standard = channel.tool.and_then(|tool| tool.standard(kelvin, Dimension::TEMPERATURE));
                let above = self.may_be_warmer(channel.fixed, kelvin, air);
                let (part, time, watched, distance) =
                    (part.to_owned(), time - from, to - from, channel.distance);
                let found = MeasuredTemperature { part, distance, time, watched, kelvin, standard, above };
                temperatures.push(found);
            };
            // Half way and at the end: the shape of the approach tells film from heat capacity.
            if let Some(middle) = under().find(|(time, _)| *time >= 0.5 * (from + to)) {
                read(*middle);
            }
            read(hottest);
        }
        for reading in &self.test.reading {
            let (Some(of), Some(quantity)) = (reading.of.text(), reading.value.quantity()) else { continue };
            let Some(part) = part_of(self.record, of) else { continue };
            if quantity.dimension != Dimension::TEMPERATURE || AIR.contains(&part.as_str()) {
                continue;
            }
            let standard = standard(self.record, reading.value.found().with.as_deref(), quantity);
            starts.extend(reading.at.quantity().filter(|at| at.value == 0.0).map(|_| quantity.value));
            let time = reading.at.quantity().map_or(f64::INFINITY, |at| at.value);
            let watched = if time <= to - from { time } else { 0.0 };
            let above = self.may_be_warmer(reading.fixed.known(), quantity.value, air);
            let (kelvin, distance) = (quantity.value, None);
            temperatures.push(MeasuredTemperature { part, distance, time, watched, kelvin, standard, above });
        }
        if temperatures.is_empty() {
            return;
        }
        let room = room.or_else(|| {
            let (quantity, found) = (self.test.ambient.quantity()?, self.test.ambient.found());
            let with = found.with.as_deref().or(self.test.own.with.as_deref());
            Some((quantity.value, standard(self.record, with, quantity)))
        });
        self.result.measured = Some(Measured {
            test: format!("test {}", self.test.id.text().unwrap_or("full load")),
            current: current.value(),
            seconds: to - from,
            room: room.map(|(room, _)| room),
            room_standard: room.and_then(|(_, standard)| standard),
            starts,
            temperatures,
            lid: self.test.lid.known(),
            lost: None,
        });
    }

    /// How much warmer than its sensor a part may have been, K, and why.
    fn may_be_warmer(&self, fixed: Option<SensorFixing>, kelvin: f64, air: Option<f64>) -> (f64, String) {
        let range = fixed_range(self.physics.limits, fixed, kelvin, air);
        (range.above, range.basis)
    }

    /// What is lost with a log that could not be used: the temperatures of the parts that it names.
    pub(super) fn lose_temperatures(&mut self, missing: Missing) {
        let sensors = self.test.sensor.iter().filter_map(|sensor| sensor.part.text());
        let parts: Vec<String> = sensors.filter(|part| !AIR.contains(part)).map(str::to_owned).collect();
        if !parts.is_empty() {
            self.result.measured = Some(Measured { lost: Some((parts, missing)), ..Measured::default() });
        }
    }
}

/// Where a channel would come to rest, by the fit of its approach; `thermometer` is the standard uncertainty of its
/// readings in K, where it is known.
pub(super) fn final_temperature(
    label: &str,
    fit: &Result<Approach, NotIdentifiable>,
    thermometer: Option<f64>,
) -> Figure {
    let name = format!("final temperature of {label}");
    let fit = match fit {
        Ok(fit) => fit,
        Err(why) => return Figure::words(&name, format!("not predicted: {}", why.0)),
    };
    let by_fit = match thermometer {
        Some(_) => String::new(),
        None => format!(
            "± {} by the fit alone as the thermometer's accuracy is not known; ",
            show(fit.expanded, DIFFERENCE)
        ),
    };
    let steady = match fit.steady {
        Steady::Reached => "steady state was reached",
        Steady::NotReached => "steady state was not reached",
        Steady::NotDecided => "whether steady state was reached is not known",
    };
    let time = show(fit.time_constant, Dimension::TIME);
    let expanded = thermometer.map_or(0.0, |u| COVERAGE * u.hypot(fit.expanded / COVERAGE));
    let figure = Figure::amount(&name, fit.final_temperature, expanded, Dimension::TEMPERATURE);
    figure.beside(format!("{by_fit}{steady}; time constant {time}"))
}

/// The approach of a channel between two times, with its last value there.
pub(super) fn fit_between(
    points: &[(f64, f64)],
    from: f64,
    to: f64,
) -> Option<(Result<Approach, NotIdentifiable>, f64)> {
    let under: Vec<(f64, f64)> =
        points.iter().copied().filter(|(time, _)| (from..=to).contains(time)).collect();
    let last = under.last()?.1;
    Some((approach::fit(&under), last))
}
