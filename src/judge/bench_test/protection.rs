//! Protection that was made to act: overcurrent trip, overcharge cut-off, recovery after a trip, drain at standby.
//!
//! What was read off counts first; a log shows when the BMS opened, at which current or voltage, and what a pack at rest
//! draws. That the BMS opened shows in the terminals' voltage: it is gone while the cells still hold theirs.

use super::course::Course;
use super::{Figure, Work, worked};
use crate::judge::facts::{Answer, Missing, Val};
use crate::logs::joined::Joined;
use crate::record::Found;
use crate::record::parts::{TestEnd, TestKind};
use crate::units::{Dimension, Quantity};

/// Of the current before: less has been switched off.
const OFF: f64 = 0.02;
/// Of the voltage before: less at the terminals means that the BMS is open.
const GONE: f64 = 0.5;
/// Of the highest charge current: what breaks off above it did not taper.
const TAPER: f64 = 0.2;

/// What a log shows of a protection.
#[derive(Debug, Default)]
struct Seen {
    /// Highest current before the last sample, A, either way, and since when at least 0.9 of it flowed, s.
    current: f64,
    since: f64,
    /// When, at which current and voltage it broke off, and whether the terminals' voltage went with it.
    broke_off: Option<(f64, f64, f64, bool)>,
    highest_voltage: f64,
    last: Option<(f64, f64, f64)>,
    charge: f64,
    seconds: f64,
}

impl Seen {
    fn push(&mut self, time: f64, voltage: f64, current: f64) {
        if !time.is_finite() || !current.is_finite() {
            return;
        }
        if let Some((before, volts, amperes)) = self.last {
            self.charge += (time - before) * (current + amperes) / 2.0;
            self.seconds += time - before;
            if self.broke_off.is_none() && amperes.abs() >= TAPER * self.current && self.current > 0.0 {
                let off = current.abs() <= OFF * amperes.abs();
                if off {
                    self.broke_off = Some((time, amperes.abs(), volts, voltage < GONE * volts));
                }
            }
        }
        if self.broke_off.is_none() {
            if current.abs() > self.current / 0.9 {
                self.since = time;
            }
            self.current = self.current.max(current.abs());
            self.highest_voltage = self.highest_voltage.max(voltage);
        }
        self.last = Some((time, voltage, current));
    }
}

impl Work<'_> {
    /// Facts and figures of what was read off.
    pub(super) fn protection_by_hand(&mut self, kind: TestKind) {
        let test = self.test;
        let opened = match (test.opened.yes(), test.end.known()) {
            (Some(yes), _) => Ok(yes),
            (None, Some(TestEnd::BmsCutOff)) => Ok(true),
            (None, _) => Err(vec![self.missing("opened")]),
        };
        let read: Vec<(&'static str, &str, Option<&Quantity>, &Found)> = match kind {
            TestKind::OvercurrentTrip => {
                let (current, time) = (&test.trip_current, &test.trip_time);
                vec![
                    ("test.trip_current_found", "trip_current", current.quantity(), current.found()),
                    ("test.trip_time_found", "trip_time", time.quantity(), time.found()),
                ]
            }
            TestKind::OverchargeCutOff => {
                let voltage = &test.trip_voltage;
                vec![("test.trip_voltage_found", "trip_voltage", voltage.quantity(), voltage.found())]
            }
            TestKind::StandbyDrain => {
                vec![("test.drain_found", "drain", test.drain.quantity(), test.drain.found())]
            }
            _ => Vec::new(),
        };
        for (name, field, quantity, found) in read {
            let answer = match quantity {
                Some(quantity) => Ok(self.read_off(quantity, found)),
                None => Err(vec![self.missing(field)]),
            };
            self.told(name, field, answer);
        }
        if kind != TestKind::StandbyDrain {
            self.fact(
                "test.bms_opened",
                opened.map(|yes| worked(Val::YesNo(yes), vec!["read off by hand".to_owned()])),
            );
        }
    }

    /// A fact with its figure.
    fn told(&mut self, name: &'static str, figure: &str, answer: Answer) {
        if let Some(amount) = answer.as_ref().ok().and_then(|worked| worked.value.amount()) {
            let expanded = amount.number.expanded();
            self.figure(Figure::amount(
                &figure.replace('_', " "),
                amount.value(),
                expanded,
                amount.dimension,
            ));
        }
        self.fact(name, answer);
    }

    /// Facts and figures of a log.
    pub(super) fn protection(&mut self, kind: TestKind, log: &mut Joined) -> Result<(), String> {
        let mut course = Course::of(self, log.layout()).with_current()?;
        let accuracies = self.or_usual(self.accuracies_of(&course));
        let mut seen = Seen::default();
        log.for_each(|sample| {
            let (voltage, current) = course.take(&sample);
            seen.push(sample.time, voltage, current);
        })?;
        let refused = |what: &str| Err(vec![Missing::refused(what)]);
        let amount = |value: f64, standard: f64, dimension: Dimension, which: u32, how: &str| {
            Ok(worked(Val::Amount(self.amount(value, standard, dimension, which)), vec![how.to_owned()]))
        };
        let of_current = |value: f64| accuracies.current.map_or(0.0, |accuracy| accuracy.standard(value));
        let of_voltage = |value: f64| accuracies.voltage.map_or(0.0, |accuracy| accuracy.standard(value));
        let mut facts: Vec<(&'static str, &str, Answer)> = Vec::new();
        let opened = match (seen.broke_off, self.test.opened.yes()) {
            (_, Some(yes)) => Ok(yes),
            (Some((.., true)), None) => Ok(true),
            (Some(_), None) if kind == TestKind::OverchargeCutOff => Ok(true),
            (Some(_), None) => Err(vec![Missing::refused(
                "whether the BMS opened (`opened`): the current ended, but the terminals kept their voltage",
            )]),
            (None, None) => Err(vec![Missing::refused("an end of the current in the log")]),
        };
        match (kind, seen.broke_off) {
            (TestKind::OvercurrentTrip, Some((at, current, ..))) => {
                let how = "current when it broke off in the log";
                facts.push((
                    "test.trip_current_found",
                    "trip current",
                    amount(current, of_current(current), Dimension::CURRENT, 8, how),
                ));
                let time = at - seen.since;
                let how = "from when nine tenths of it flowed until it broke off";
                facts.push(("test.trip_time_found", "trip time", amount(time, 0.0, Dimension::TIME, 9, how)));
            }
            (TestKind::OverchargeCutOff, Some((_, _, voltage, _))) => {
                let volts = voltage.max(seen.highest_voltage);
                let how = "highest voltage before the charge current broke off";
                facts.push((
                    "test.trip_voltage_found",
                    "trip voltage",
                    amount(volts, of_voltage(volts), Dimension::VOLTAGE, 8, how),
                ));
            }
            (TestKind::OvercurrentTrip, None) => {
                facts.push(("test.trip_current_found", "", refused("an end of the current in the log")));
                facts.push(("test.trip_time_found", "", refused("an end of the current in the log")));
            }
            (TestKind::OverchargeCutOff, None) => {
                facts.push(("test.trip_voltage_found", "", refused("an end of the charge in the log")));
            }
            (TestKind::StandbyDrain, _) if seen.seconds > 0.0 => {
                let mean = (seen.charge / seen.seconds).abs();
                let how = "mean current over the log";
                facts.push((
                    "test.drain_found",
                    "drain",
                    amount(mean, of_current(mean), Dimension::CURRENT, 8, how),
                ));
            }
            (TestKind::StandbyDrain, _) => {
                facts.push(("test.drain_found", "", refused("a log of some length")));
            }
            _ => {}
        }
        for (name, figure, answer) in facts {
            self.told(name, figure, answer);
        }
        if kind != TestKind::StandbyDrain {
            self.fact(
                "test.bms_opened",
                opened.map(|yes| worked(Val::YesNo(yes), vec!["by the log".to_owned()])),
            );
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 300 A from 1 s on, open at 6 s: the terminals lose their voltage.
    #[test]
    fn a_trip_in_a_log() {
        let mut seen = Seen::default();
        for tenth in 0..100 {
            let time = f64::from(tenth) / 10.0;
            let (volts, amperes) = if time < 1.0 {
                (13.3, 0.0)
            } else if time < 6.0 {
                (12.4, 300.0)
            } else {
                (0.4, 0.0)
            };
            seen.push(time, volts, amperes);
        }
        let (at, current, _, gone) = seen.broke_off.unwrap();
        assert!((at - seen.since - 5.0).abs() < 0.11 && current == 300.0 && gone, "{seen:?}");
    }

    /// A load that is switched off leaves the pack's voltage at the terminals; a taper never breaks off.
    #[test]
    fn what_is_no_trip() {
        let mut off = Seen::default();
        [(0.0, 13.3, 0.0), (1.0, 12.4, 300.0), (2.0, 12.4, 300.0), (3.0, 13.2, 0.0)]
            .into_iter()
            .for_each(|(time, volts, amperes)| off.push(time, volts, amperes));
        assert!(!off.broke_off.unwrap().3);
        let mut taper = Seen::default();
        (0..60).for_each(|n| taper.push(f64::from(n), 14.6, -50.0 * (-0.1 * f64::from(n)).exp()));
        assert_eq!(taper.broke_off, None);
    }
}
