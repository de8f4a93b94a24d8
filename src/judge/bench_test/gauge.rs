//! The pack's own gauge against the reference: voltage, current, and the fall of its state of charge against the
//! coulombs counted.
//!
//! The gauge shows whole steps; within half a step at each reading nothing can be said against it. A reading of
//! the gauge is compared with a reference reading at the same time, or with the log at that time; one without
//! either cannot be told, and says so.

use super::course::{Channel, Course};
use super::instruments::{Tool, last_digit, standard, tool};
use super::largest::Largest;
use super::{Figure, Work};
use crate::logs::full_load::Total;
use crate::logs::instrument::{ReadingComparison, compare};
use crate::logs::read::Meaning;
use crate::logs::slope;
use crate::record::parts::TestReading;
use crate::units::{COVERAGE, Dimension, Quantity, show, show_percent, show_uncertain};

/// A mean and a fall rest on more than one reading.
const SEVERAL: usize = 2;

/// A state of charge of the gauge, with its time since the load came on and its step.
#[derive(Debug, Clone, Copy)]
struct State {
    at: Option<f64>,
    value: f64,
    step: f64,
}

/// What the gauge is compared with.
pub(super) struct Reference<'a> {
    /// The log and the times at which the load came on and went off, where there is a log.
    pub course: Option<(&'a Course, f64, f64)>,
    /// The pack's current where no log has it: read off by hand, or the sum of the branches.
    pub current: Option<Total>,
    /// How long that current flowed, s.
    pub duration: Option<f64>,
}

impl Work<'_> {
    /// The instrument that stands for the gauge: its id is "gauge" or begins with "gauge-".
    pub(super) fn gauge_tool(&self, dimension: Dimension) -> Option<Tool> {
        let ids = self.record.instrument.iter().filter_map(|i| i.id.text());
        ids.filter(|id| *id == "gauge" || id.starts_with("gauge-"))
            .find_map(|id| tool(self.record, Some(id), dimension))
    }

    fn readings_of<'r>(&'r self, of: &'r str) -> impl Iterator<Item = (&'r TestReading, &'r Quantity)> {
        self.test.reading.iter().filter_map(move |reading| {
            let text = reading.of.text()?;
            text.trim().eq_ignore_ascii_case(of).then_some(())?;
            Some((reading, reading.value.quantity()?))
        })
    }

    /// What the gauge was read to show for the current, with the step of its display.
    pub(super) fn gauge_current_read(&self) -> Option<Total> {
        let (reading, quantity) =
            self.readings_of("gauge").find(|(_, quantity)| quantity.dimension == Dimension::CURRENT)?;
        let step = tool(self.record, reading.value.found().with.as_deref(), Dimension::CURRENT)
            .or_else(|| self.gauge_tool(Dimension::CURRENT))
            .and_then(|tool| tool.step)
            .or_else(|| last_digit(quantity))?;
        Some(Total { value: quantity.value, standard: Some(step / 12.0_f64.sqrt()) })
    }

    /// Compares every reading of the gauge; adds figures and the facts of the gauge.
    pub(super) fn gauge(&mut self, reference: &Reference<'_>) {
        let widest = self.physics.limit("comparison_width").ok();
        let mut largest = Largest::default();
        let mut figures = Vec::new();
        let read: Vec<(Option<f64>, Quantity, f64)> = self
            .readings_of("gauge")
            .map(|(reading, quantity)| {
                let step = tool(self.record, reading.value.found().with.as_deref(), quantity.dimension)
                    .or_else(|| self.gauge_tool(quantity.dimension))
                    .and_then(|tool| tool.step)
                    .or_else(|| last_digit(quantity));
                (reading.at.quantity().map(|at| at.value), quantity.clone(), step.unwrap_or(0.0))
            })
            .collect();
        for (at, quantity, step) in &read {
            if quantity.dimension == Dimension::NONE {
                continue;
            }
            let (name, when) = (name_of(quantity.dimension), when(*at));
            let title = format!("gauge less reference, {name} {when}");
            match self.reference_at(reference, *at, quantity.dimension) {
                Ok(total) => {
                    let (text, compared) = deviates(quantity.value, *step, total, quantity.dimension);
                    figures.push(difference(&title, &compared, quantity.dimension).beside(text.clone()));
                    largest.compare(&format!("{name} {when}, {text}"), compared, widest, 1);
                }
                Err(why) => {
                    figures.push(
                        Figure::words(&title, format!("not known: {why}")).beside(quantity.text.clone()),
                    );
                    largest.cannot(&format!("{name} {when}"), &why);
                }
            }
        }
        if let Some((course, on, off)) = reference.course {
            for (meaning, channel) in &course.gauge {
                let (main, dimension) = match meaning {
                    Meaning::Voltage => (course.voltage.as_ref().map(|c| &c.series), Dimension::VOLTAGE),
                    Meaning::Current => (Some(&course.current), Dimension::CURRENT),
                    _ => continue,
                };
                let Some(main) = main else { continue };
                let Some((gauge, reference)) = means(channel, main, on, off) else { continue };
                let step = channel.tool.and_then(|tool| tool.step).or_else(|| smallest_step(channel));
                let of = self.own_standard(reference, dimension);
                let total = Total { value: reference, standard: of };
                let (text, compared) = deviates(gauge, step.unwrap_or(0.0), total, dimension);
                let name = name_of(dimension);
                let title = format!("gauge less reference, mean {name} under load");
                figures.push(difference(&title, &compared, dimension).beside(text.clone()));
                // A mean of many readings, not one.
                largest.compare(&format!("mean {name} of the log, {text}"), compared, widest, SEVERAL);
            }
        }
        let states = self.states(reference, &read);
        if let (Some(before), Some(after)) = (states.first().copied(), states.last().copied())
            && states.len() > 1
        {
            for (when, state) in [("before", before), ("after", after)] {
                let title = format!("state of charge by the gauge, {when}");
                figures.push(Figure::percent(&title, state.value, COVERAGE * state.step / 12.0_f64.sqrt()));
            }
            let (text, compared) = self.fall(reference, before, after);
            let title = "fall of the state of charge, by the gauge less counted";
            figures.push(difference(title, &compared, Dimension::CHARGE).beside(text.clone()));
            largest.compare(&format!("state of charge, {text}"), compared, widest, SEVERAL);
        } else if let Some(only) = states.first() {
            let what = format!("state of charge {}", show_percent(only.value));
            largest.cannot(&what, "a second reading is needed for its fall");
        }
        figures.into_iter().for_each(|figure| self.figure(figure));
        self.fact("test.gauge_readings", largest.count());
        let answer = match self.physics.limit("comparisons") {
            Ok(least) => largest.answer(
                "no reading of the pack's own gauge (`[[test.reading]]` of \"gauge\") is recorded",
                least,
                self.source + 11,
                Dimension::NONE,
            ),
            Err(missing) => Err(vec![missing]),
        };
        self.fact("test.gauge_error", answer);
    }

    /// Standard uncertainty of the test's own instrument at a value.
    pub(super) fn own_standard(&self, value: f64, dimension: Dimension) -> Option<f64> {
        tool(self.record, self.test.own.with.as_deref(), dimension)?.standard(value, dimension)
    }

    /// The reference reading at a time, or why there is none.
    fn reference_at(
        &self,
        reference: &Reference<'_>,
        at: Option<f64>,
        dimension: Dimension,
    ) -> Result<Total, String> {
        let written = self
            .readings_of("terminals")
            .filter(|(_, quantity)| quantity.dimension == dimension)
            .find(|(reading, _)| reading.at.quantity().map(|at| at.value) == at);
        if let Some((reading, quantity)) = written {
            let with = reading.value.found().with.as_deref().or(self.test.own.with.as_deref());
            return Ok(Total { value: quantity.value, standard: standard(self.record, with, quantity) });
        }
        if let Some((course, on, _)) = reference.course {
            let Some(at) = at else {
                return Err("the time of the reading (`at`) is not recorded".to_owned());
            };
            let series = match dimension {
                Dimension::VOLTAGE => course.voltage.as_ref().map(|channel| &channel.series),
                Dimension::CURRENT => Some(&course.current),
                _ => None,
            };
            if let Some(value) = series.and_then(|series| series.at(on + at)) {
                return Ok(Total { value, standard: self.own_standard(value, dimension) });
            }
            if series.is_some_and(|series| series.span().is_some()) {
                return Err(format!("the log does not reach {}", show(at, Dimension::TIME)));
            }
        }
        match (dimension, reference.current) {
            (Dimension::CURRENT, Some(total)) => Ok(total),
            _ => Err("there is no reference reading at that time".to_owned()),
        }
    }

    /// The gauge's states of charge, in the order of time: written ones first, else those of the log.
    fn states(&self, reference: &Reference<'_>, read: &[(Option<f64>, Quantity, f64)]) -> Vec<State> {
        let mut states: Vec<State> = read
            .iter()
            .filter(|(_, quantity, _)| quantity.dimension == Dimension::NONE)
            .map(|(at, quantity, step)| State { at: *at, value: quantity.value, step: *step })
            .collect();
        states.sort_by(|a, b| a.at.unwrap_or(0.0).total_cmp(&b.at.unwrap_or(0.0)));
        if states.is_empty()
            && let Some((course, on, off)) = reference.course
            && let Some((_, channel)) =
                course.gauge.iter().find(|(meaning, _)| *meaning == Meaning::StateOfCharge)
        {
            let step = channel.tool.and_then(|tool| tool.step).or_else(|| smallest_step(channel));
            let span = channel.series.span().map(|(first, last)| (first.max(on), last.min(off)));
            for at in span.into_iter().flat_map(|(first, last)| [first, last]) {
                // What was shown last: a display is not interpolated.
                if let Some(value) = shown_at(channel, at) {
                    states.push(State { at: Some(at - on), value, step: step.unwrap_or(0.01) });
                }
            }
        }
        states
    }

    fn fall(
        &self,
        reference: &Reference<'_>,
        before: State,
        after: State,
    ) -> (String, Result<ReadingComparison, String>) {
        let cannot = |why: &str| {
            let points = show_percent(before.value - after.value);
            (format!("{points} less"), Err(why.to_owned()))
        };
        let Some(capacity) = self.record.claims.capacity.quantity() else {
            return cannot("what the gauge calls full (`claims.capacity`) is not recorded");
        };
        let counted = match (reference.course, reference.current, reference.duration) {
            (Some((course, on, _)), ..) if course.counted.span().is_some() => {
                let (Some(from), Some(to)) = (before.at, after.at) else {
                    return cannot("the times of the readings (`at`) are not recorded");
                };
                let Some(charge) = course.between(on + from, on + to) else {
                    return cannot("the log does not reach from the one reading to the other");
                };
                let seconds = to - from;
                let mean = if seconds > 0.0 { charge / seconds } else { 0.0 };
                (charge, self.own_standard(mean, Dimension::CURRENT).map(|u| u * seconds))
            }
            (_, Some(current), Some(duration)) => {
                (current.value * duration, current.standard.map(|u| u * duration))
            }
            (_, None, _) => return cannot("the current is not recorded"),
            (_, _, None) => return cannot("how long the current flowed (`duration`) is not recorded"),
        };
        let step = before.step.max(after.step).abs();
        // Two readings, each rounded to a step, differ with a triangular distribution.
        let (by_gauge, standard) =
            (capacity.value * (before.value - after.value), capacity.value * step / 6.0_f64.sqrt());
        let text = format!(
            "{} of {} are {}, in steps of {}; counted {}",
            show_percent(before.value - after.value),
            capacity.text,
            show_uncertain(by_gauge, COVERAGE * standard, Dimension::CHARGE),
            show_percent(step),
            show_uncertain(counted.0, COVERAGE * counted.1.unwrap_or(0.0), Dimension::CHARGE)
        );
        (text, compare(by_gauge, Some(standard), counted.0, counted.1).map_err(str::to_owned))
    }
}

fn name_of(dimension: Dimension) -> &'static str {
    match dimension {
        Dimension::VOLTAGE => "voltage",
        Dimension::CURRENT => "current",
        _ => "reading",
    }
}

fn when(at: Option<f64>) -> String {
    at.map_or_else(|| "at a time not recorded".to_owned(), |at| format!("at {}", show(at, Dimension::TIME)))
}

fn deviates(
    gauge: f64,
    step: f64,
    reference: Total,
    dimension: Dimension,
) -> (String, Result<ReadingComparison, String>) {
    let compared = compare(gauge, Some(step / 12.0_f64.sqrt()), reference.value, reference.standard);
    let relative = Some((gauge - reference.value) / reference.value).filter(|_| reference.value != 0.0);
    let percent = relative.map_or(String::new(), |r| {
        format!(", {} {}", show_percent(r.abs()), if r < 0.0 { "less" } else { "more" })
    });
    let text = format!(
        "{} against {}{percent}",
        show(gauge, dimension),
        show_uncertain(reference.value, COVERAGE * reference.standard.unwrap_or(0.0), dimension),
    );
    (text, compared.map_err(str::to_owned))
}

/// A difference as a figure, or why there is none.
fn difference(name: &str, compared: &Result<ReadingComparison, String>, dimension: Dimension) -> Figure {
    let dimension = Dimension { point: false, ..dimension };
    match compared {
        Ok(compared) => Figure::amount(name, compared.difference, compared.expanded, dimension),
        Err(why) => Figure::words(name, format!("not known: {why}")),
    }
}

/// The step of what a gauge shows, as far as the log tells.
fn smallest_step(channel: &Channel) -> Option<f64> {
    Some(slope::last_digit(&channel.series.points())).filter(|step| *step > 0.0)
}

/// What a display showed at a time: its last value until then.
fn shown_at(channel: &Channel, time: f64) -> Option<f64> {
    channel.series.points().iter().rev().find(|(at, _)| *at <= time).map(|(_, value)| *value)
}

/// Means of the gauge and the reference under load, at the times of the gauge.
fn means(channel: &Channel, main: &crate::logs::series::Series, on: f64, off: f64) -> Option<(f64, f64)> {
    let (mut gauge, mut reference, mut count) = (0.0, 0.0, 0.0);
    for (time, value) in channel.series.points() {
        if (on..=off).contains(&time)
            && let Some(other) = main.at(time)
        {
            gauge += value;
            reference += other;
            count += 1.0;
        }
    }
    (count > 0.0).then(|| (gauge / count, reference / count))
}
