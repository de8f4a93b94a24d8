//! Protection that was made to act: overcurrent trip, overcharge cut-off, recovery after a trip, drain at standby.
//!
//! What was read off counts first; a log shows when the BMS opened, at which current or voltage, and what a pack at rest
//! draws. That the BMS opened shows in the terminals' voltage: it is gone while the cells still hold theirs. What opened at
//! less than the protection is for proves nothing of it, and neither does what stayed closed there.

use super::course::Course;
use super::{Figure, Work, worked};
use crate::judge::facts::{Answer, Missing, Reason, Val};
use crate::logs::joined::Joined;
use crate::logs::lacking;
use crate::record::Found;
use crate::record::parts::{TestEnd, TestKind};
use crate::units::{Amount, Dimension, Quantity, show};

/// Of the highest current: what is at least this much of it flowed all the while.
const MOSTLY: f64 = 0.9;
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
            if current.abs() > self.current / MOSTLY {
                self.since = time;
            }
            self.current = self.current.max(current.abs());
            self.highest_voltage = self.highest_voltage.max(voltage);
        }
        self.last = Some((time, voltage, current));
    }
}

fn amount_of(answer: Answer) -> Result<Amount, Vec<Missing>> {
    match answer?.value {
        Val::Amount(amount) => Ok(amount),
        _ => Err(Vec::new()),
    }
}

/// Nothing where a test went far enough; else the test that would decide.
fn enough(far: bool, what: impl FnOnce() -> String) -> Result<(), Vec<Missing>> {
    if far { Ok(()) } else { Err(vec![Missing::refused(&what())]) }
}

fn stayed() -> Missing {
    Missing::refused("a test in which the BMS opened")
}

impl Work<'_> {
    /// Facts and figures of what was read off.
    pub(super) fn protection_by_hand(&mut self, kind: TestKind) {
        let test = self.test;
        let read = |field: &str, quantity: Option<&Quantity>, found: &Found| match quantity {
            Some(quantity) => Ok(self.read_off(quantity, found)),
            None => Err(vec![self.missing(field)]),
        };
        // Each is read where it counts: what is in doubt elsewhere in the test stays without consequence.
        let current = || read("trip_current", test.trip_current.quantity(), test.trip_current.found());
        let set = || read("current", test.current.quantity(), test.current.found());
        let time = || read("trip_time", test.trip_time.quantity(), test.trip_time.found());
        let voltage = || read("trip_voltage", test.trip_voltage.quantity(), test.trip_voltage.found());
        let drain = || read("drain", test.drain.quantity(), test.drain.found());
        let lasted = || read("duration", test.duration.quantity(), test.duration.found());
        let said = self.said_to_have_opened(kind).and_then(|said| said.ok_or_else(|| self.missing("opened")));
        let opened = said.map_err(|missing| vec![missing]).and_then(|opened| {
            let acted = match kind {
                TestKind::OvercurrentTrip if opened => self.overcurrent_opened(&amount_of(current())?),
                TestKind::OvercurrentTrip => {
                    self.overcurrent_flowed(&amount_of(set())?, amount_of(lasted())?.ends().0)
                }
                TestKind::OverchargeCutOff => self.overcharged(opened, &amount_of(voltage())?),
                _ => Ok(()),
            };
            acted.map(|()| worked(Val::YesNo(opened), vec!["read off by hand".to_owned()]))
        });
        let at_trip =
            |answer: Answer| if test.opened.yes() == Some(false) { Err(vec![stayed()]) } else { answer };
        let told = match kind {
            TestKind::OvercurrentTrip => vec![
                ("test.trip_current_found", "trip_current", at_trip(current())),
                ("test.trip_time_found", "trip_time", at_trip(time())),
            ],
            TestKind::OverchargeCutOff => {
                vec![("test.trip_voltage_found", "trip_voltage", at_trip(voltage()))]
            }
            TestKind::StandbyDrain => vec![("test.drain_found", "drain", drain())],
            _ => Vec::new(),
        };
        for (name, figure, answer) in told {
            self.told(name, figure, answer);
        }
        if kind != TestKind::StandbyDrain {
            self.fact("test.bms_opened", opened);
        }
    }

    /// Whether somebody said that the BMS opened or stayed closed; refused where the record says both.
    fn said_to_have_opened(&self, kind: TestKind) -> Result<Option<bool>, Missing> {
        let (opened, end) = (self.test.opened.yes(), self.test.end.known());
        let other_end = kind != TestKind::Recovery
            && matches!(end, Some(TestEnd::LoadCutOff | TestEnd::Taper | TestEnd::Time));
        match (opened, end) {
            (Some(yes), Some(end)) if (yes && other_end) || (!yes && end == TestEnd::BmsCutOff) => {
                let opened = if yes { "yes" } else { "no" };
                Err(Missing::refused(&format!(
                    "whether the BMS opened: `opened` says {opened}, `end` says \"{}\"",
                    end.word()
                )))
            }
            (None, Some(TestEnd::BmsCutOff)) => Ok(Some(true)),
            (opened, _) => Ok(opened),
        }
    }

    /// Refuses a trip at less than what the overcurrent trip is for: something else may have opened the circuit.
    fn overcurrent_opened(&self, current: &Amount) -> Result<(), Vec<Missing>> {
        let tolerance = self.physics.limit("trip_tolerance").map_err(|missing| vec![missing])?;
        let stated = self.record.bms.overcurrent_trip.quantity().map(|trip| trip.value * (1.0 - tolerance));
        let rated = self.record.claims.continuous_current.quantity().map(|rated| rated.value);
        let Some(least) = stated.into_iter().chain(rated).reduce(f64::max) else {
            return Err(vec![Missing::fact("claims.continuous_current", "", Reason::NotRecorded)]);
        };
        enough(current.value() >= least, || {
            let (least, current) = (show(least, Dimension::CURRENT), current.show());
            format!(
                "a load of {least} or more: at {current} something other than the overcurrent trip may have opened"
            )
        })
    }

    /// Refuses a test in which no more flowed than a BMS has to carry, or not for long enough.
    fn overcurrent_flowed(&self, current: &Amount, seconds: f64) -> Result<(), Vec<Missing>> {
        let bms = &self.record.bms;
        let (Some(trip), Some(delay)) = (bms.overcurrent_trip.quantity(), bms.overcurrent_delay.quantity())
        else {
            return Err(lacking([
                (
                    bms.overcurrent_trip.quantity().is_none(),
                    Missing::fact("bms.overcurrent_trip", "", Reason::NotRecorded),
                ),
                (
                    bms.overcurrent_delay.quantity().is_none(),
                    Missing::fact("bms.overcurrent_delay", "", Reason::NotRecorded),
                ),
            ]));
        };
        let most = |quantity: &Quantity| quantity.value + quantity.expanded.unwrap_or(0.0);
        enough(current.ends().0 >= most(trip) && seconds >= most(delay), || {
            format!(
                "a load above the stated trip of {} for longer than {}: {} flowed for {}",
                show(trip.value, Dimension::CURRENT),
                show(delay.value, Dimension::TIME),
                current.show(),
                show(seconds, Dimension::TIME)
            )
        })
    }

    /// Refuses a charge that ended at a voltage at which no overcharge protection has to act, or that was not driven to
    /// where each of them has to.
    fn overcharged(&self, opened: bool, reached: &Amount) -> Result<(), Vec<Missing>> {
        let (claims, cells) = (&self.record.claims, &self.record.cells);
        let series = cells.series.count().map(f64::from);
        let of_cells = cells.charge_voltage_limit.quantity().map(|limit| limit.value).zip(series);
        let full = claims.charge_voltage.quantity().map(|claim| claim.value);
        let Some(full) = full.or_else(|| of_cells.map(|(limit, series)| limit * series)) else {
            return Err(vec![Missing::fact("claims.charge_voltage", "", Reason::NotRecorded)]);
        };
        let shown = |volts| show(volts, Dimension::VOLTAGE);
        if opened {
            return enough(reached.value() >= full, || {
                let (full, reached) = (shown(full), reached.show());
                format!("a charge up to {full} or more: at {reached} something else may have ended it")
            });
        }
        let Some(series) = series else {
            return Err(vec![Missing::fact("cells.series", "", Reason::NotRecorded)]);
        };
        let above = self.physics.limit("overcharge_cell").map_err(|missing| vec![missing])?;
        let most = full + series * above;
        enough(reached.ends().0 >= most, || {
            let (most, reached) = (shown(most), reached.show());
            format!("a charge up to {most}, where every BMS has to stop it: it was driven to {reached}")
        })
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
        let opened = match (self.said_to_have_opened(kind), seen.broke_off) {
            (Err(both), _) => Err(vec![both]),
            (Ok(Some(yes)), _) => Ok(yes),
            // A charge ends as well when somebody takes the charger off: a voltage that stays tells neither.
            (Ok(None), Some((.., gone))) if gone => Ok(true),
            (Ok(None), Some(_)) => Err(vec![Missing::refused(
                "whether the BMS opened (`opened`): the current ended, but the terminals kept their voltage",
            )]),
            (Ok(None), None) => Err(vec![Missing::refused("an end of the current in the log")]),
        };
        let of = |value: f64, standard: f64, dimension| self.amount(value, standard, dimension, 8);
        let (most, at_trip) = (seen.current, seen.broke_off.map_or(seen.current, |(_, current, ..)| current));
        let volts =
            seen.broke_off.map_or(seen.highest_voltage, |(_, _, volts, _)| volts.max(seen.highest_voltage));
        let until = seen.broke_off.map(|(at, ..)| at).or(seen.last.map(|(last, ..)| last));
        let flowed = until.unwrap_or(seen.since) - seen.since;
        let acted = |opened: bool| match kind {
            TestKind::OvercurrentTrip if opened => {
                self.overcurrent_opened(&of(at_trip, of_current(at_trip), Dimension::CURRENT))
            }
            TestKind::OvercurrentTrip => {
                self.overcurrent_flowed(&of(MOSTLY * most, of_current(most), Dimension::CURRENT), flowed)
            }
            TestKind::OverchargeCutOff => {
                self.overcharged(opened, &of(volts, of_voltage(volts), Dimension::VOLTAGE))
            }
            _ => Ok(()),
        };
        let stayed_closed = opened == Ok(false);
        let opened = opened.and_then(|opened| acted(opened).map(|()| opened));
        match (kind, seen.broke_off) {
            (TestKind::OvercurrentTrip, _) if stayed_closed => {
                facts.push(("test.trip_current_found", "", Err(vec![stayed()])));
                facts.push(("test.trip_time_found", "", Err(vec![stayed()])));
            }
            (TestKind::OverchargeCutOff, _) if stayed_closed => {
                facts.push(("test.trip_voltage_found", "", Err(vec![stayed()])));
            }
            (TestKind::OvercurrentTrip, Some((_, current, ..))) => {
                let how = "current when it broke off in the log";
                facts.push((
                    "test.trip_current_found",
                    "trip current",
                    amount(current, of_current(current), Dimension::CURRENT, 8, how),
                ));
                let how = "from when nine tenths of it flowed until it broke off";
                facts.push((
                    "test.trip_time_found",
                    "trip time",
                    amount(flowed, 0.0, Dimension::TIME, 9, how),
                ));
            }
            (TestKind::OverchargeCutOff, Some(_)) => {
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
