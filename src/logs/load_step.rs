//! Internal resistance from load steps: R = (U₀ − U(t)) / (I(t) − I₀) at stated times after the step.
//!
//! A pack has no single resistance: the later after the step, the more of the slow processes is in it.
//! Every figure therefore carries its time, and the one nearest to the step is the one for the
//! prospective short-circuit current. IEC 61960 and IEC 62620 take DC resistance from two steps; this is the
//! plain single step (common practice, no source).
//!
//! An offset of the voltage cancels, gains do not, and neither does its last digit: that enters where it is known.
//! The scatter of the voltage before the step enters as repeatability. A time before the first sample after the step is refused, never extrapolated.
//!
//! Not every change of current is a step of the load. Where the pack disconnects itself its terminals go dead, and
//! voltage and current fall together; where something else feeds the terminals they rise together; neither has a
//! resistance of the pack in it. Such a change is kept with the reason ([`NoResistance`]) and without a figure.

use std::fmt;

use super::DEAD;
use super::instrument::{Accuracies, Estimate};
use crate::units::{COVERAGE, Dimension, show};

/// Steps that are kept.
const STEPS: usize = 64;
/// Samples before a step that give its level.
const BEFORE: usize = 8;
/// Level before a step is taken over this time at most, s.
const LEVEL: f64 = 10.0;
/// In the row after a step, or before it, the voltage changes by less than in the row of the step; a row in which it
/// changes by more than this many times as much was not read at one moment.
const STALE: f64 = 1.0;
/// Changes of voltage up to this part of it are polarisation and noise.
const SMALL: f64 = 5e-4;
/// Times after a step that can be asked for.
const TIMES: usize = 16;

/// Resistance at one time after a step.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StepResistance {
    /// Time after the step that was asked for, s.
    pub after: f64,
    /// In Ω.
    pub resistance: Estimate,
}

/// Why a change of current shows no resistance of the pack; voltages in V.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NoResistance {
    /// The terminals are dead on one side of it: the pack disconnected itself, or came back.
    Disconnected {
        /// Voltage before.
        before: f64,
        /// Voltage after.
        after: f64,
    },
    /// Voltage and current rose together, or fell together.
    WrongWay {
        /// Voltage before.
        before: f64,
        /// Voltage after.
        after: f64,
    },
    /// Voltage and current of one row were not read together: one of them is from before the step; voltages in V.
    Stale {
        /// Change of the voltage in the row in which the current changed.
        with: f64,
        /// The larger change in the row before or after it.
        beside: f64,
    },
    /// The voltage changed by no more than it scatters, or than its last digit.
    NotSeen {
        /// By how much it can change without being seen.
        within: f64,
    },
}

impl fmt::Display for NoResistance {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let volts = |v: f64| show(v, Dimension::VOLTAGE);
        match *self {
            Self::Disconnected { before, after } if after.abs() < before.abs() => {
                write!(f, "the pack disconnected itself: {} became {}", volts(before), volts(after))
            }
            Self::Disconnected { before, after } => {
                write!(f, "the terminals were dead before it: {} became {}", volts(before), volts(after))
            }
            Self::WrongWay { before, after } => write!(
                f,
                "voltage and current {} together, the voltage by {}: the pack disconnected itself, something else feeds the terminals, or the current counts the other way round",
                if after < before { "fell" } else { "rose" },
                volts((after - before).abs())
            ),
            Self::Stale { with, beside } => write!(
                f,
                "voltage and current of a row were not read together: the voltage changed by {} with the current and by {} in the row beside it",
                volts(with.abs()),
                volts(beside.abs())
            ),
            Self::NotSeen { within } => {
                write!(
                    f,
                    "the voltage changed by no more than the {} within which it is known",
                    volts(within)
                )
            }
        }
    }
}

/// One change of load.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadStep {
    /// When, in the time of the log: the last sample before the change, s.
    pub at: f64,
    /// Between that sample and the next: how well the moment is known, s.
    pub interval: f64,
    /// Change of current, positive into discharge, A.
    pub change: f64,
    /// Resistances at those of the times that were asked for which the log can answer.
    pub resistances: Vec<StepResistance>,
    /// Times that lie before the first sample after the step, or after the next step, s.
    pub not_answered: Vec<f64>,
    /// Why it shows no resistance, where it shows none; there are no resistances then.
    pub refused: Option<NoResistance>,
}

struct Open {
    at: f64,
    interval: f64,
    v0: f64,
    scatter: f64,
    i0: f64,
    previous: (f64, f64, f64),
    change: f64,
    answers: Vec<(f64, f64, f64)>,
    next: usize,
    /// Voltage of the terminals once they went dead, with less current than before.
    dead: Option<f64>,
    /// Changes of voltage in the row before the step, in its own row, and in the row after.
    changes: [f64; 3],
    rows: usize,
}

/// Looks for load steps, sample by sample.
pub struct LoadSteps {
    times: Vec<f64>,
    smallest: f64,
    before: Vec<(f64, f64, f64)>,
    open: Option<Open>,
    steps: Vec<LoadStep>,
    accuracies: Accuracies,
    /// Last digit of the voltage, V.
    digit: f64,
    /// Steps beyond those that are kept.
    pub not_kept: u64,
}

impl LoadSteps {
    /// Looks for changes of at least `smallest`, and answers at these times after them.
    pub fn new(smallest: f64, times: &[f64], accuracies: Accuracies) -> Self {
        let mut times: Vec<f64> =
            times.iter().copied().filter(|time| time.is_finite() && *time >= 0.0).take(TIMES).collect();
        times.sort_by(f64::total_cmp);
        Self {
            times,
            smallest: smallest.abs().max(f64::MIN_POSITIVE),
            before: Vec::with_capacity(BEFORE),
            open: None,
            steps: Vec::new(),
            accuracies,
            digit: 0.0,
            not_kept: 0,
        }
    }

    /// The voltage was read in steps of `digit`, V.
    pub fn with_digit(mut self, digit: f64) -> Self {
        self.digit = digit.abs();
        self
    }

    /// Takes a sample: s, V, A (positive out of the pack).
    pub fn push(&mut self, time: f64, voltage: f64, current: f64, after_break: bool) {
        if !(time.is_finite() && voltage.is_finite() && current.is_finite()) {
            return;
        }
        if after_break {
            self.close();
            self.before.clear();
        }
        let now = (time, voltage, current);
        let last = self.before.last().copied();
        if let Some((t, v, i)) = last
            && (current - i).abs() >= self.smallest
        {
            self.close();
            let level: Vec<_> = self
                .before
                .iter()
                .filter(|(at, volts, level)| {
                    t - at <= LEVEL && (level - i).abs() < self.smallest / 10.0 && !is_dead(*volts, v)
                })
                .collect();
            let n = f64::from(u32::try_from(level.len().max(1)).unwrap_or(1));
            let v0 = level.iter().map(|(_, v, _)| v).sum::<f64>() / n;
            let i0 = level.iter().map(|(_, _, i)| i).sum::<f64>() / n;
            let earlier =
                self.before.len().checked_sub(2).and_then(|n| self.before.get(n)).map_or(v, |(_, v, _)| *v);
            let square: f64 = level.iter().map(|(_, v, _)| (v - v0).powi(2)).sum();
            self.open = Some(Open {
                at: t,
                interval: time - t,
                v0,
                // Scatter of one reading; with one sample before there is nothing to see it from.
                scatter: if n > 1.0 { (square / (n - 1.0)).sqrt() } else { 0.0 },
                i0,
                previous: now,
                change: current - i,
                answers: Vec::new(),
                next: 0,
                dead: None,
                changes: [v - earlier, voltage - v, 0.0],
                rows: 0,
            });
            self.before.clear();
        }
        self.answer(now);
        if self.before.len() == BEFORE {
            self.before.remove(0);
        }
        self.before.push(now);
    }

    fn answer(&mut self, now: (f64, f64, f64)) {
        let Some(open) = &mut self.open else { return };
        open.rows += 1;
        if let (2, [.., after]) = (open.rows, &mut open.changes)
            && (now.2 - open.previous.2).abs() < self.smallest / 2.0
        {
            *after = now.1 - open.previous.1;
        }
        // A capacitor in the load holds the voltage up for a while: what comes before the next step counts.
        if now.2.abs() < open.i0.abs() && now.1.abs() < DEAD * open.v0.abs() {
            open.dead.get_or_insert(now.1);
        }
        while let Some(after) = self.times.get(open.next) {
            // Time counts from the first sample after the change, the nearest that is known to lie after it.
            let wanted = open.at + open.interval + after;
            if now.0 < wanted {
                break;
            }
            let (t0, v0, i0) = open.previous;
            let part = if now.0 > t0 { (wanted - t0) / (now.0 - t0) } else { 0.0 };
            open.answers.push((*after, v0 + (now.1 - v0) * part, i0 + (now.2 - i0) * part));
            open.next += 1;
        }
        open.previous = now;
    }

    fn close(&mut self) {
        let Some(open) = self.open.take() else { return };
        if self.steps.len() >= STEPS {
            self.not_kept += 1;
            return;
        }
        let mut resistances = Vec::new();
        let mut not_seen = None;
        let mut refused = open.dead.map(|after| NoResistance::Disconnected { before: open.v0, after });
        let [before, with, after] = open.changes;
        let beside = if before.abs() > after.abs() { before } else { after };
        // Only a change the way the step makes it: a recovery or the fall of a discharge goes on with any current.
        if beside * open.change < 0.0
            && beside.abs() > STALE * with.abs()
            && beside.abs() > SMALL * open.v0.abs()
        {
            refused.get_or_insert(NoResistance::Stale { with, beside });
        }
        // One reading before (a mean, but drift is in its scatter) and one after.
        // Each also lies anywhere within its last digit.
        let read = open.scatter.hypot(self.digit / 12.0_f64.sqrt()) * std::f64::consts::SQRT_2;
        for (after, v, i) in &open.answers {
            let (dv, di) = (open.v0 - v, i - open.i0);
            if di.abs() < self.smallest / 2.0 {
                continue;
            }
            let r = dv / di;
            let (before, now) = (open.v0, *v);
            if is_dead(before, now) {
                refused.get_or_insert(NoResistance::Disconnected { before, after: now });
            } else if dv.abs() <= COVERAGE * read || dv == 0.0 {
                // A later time may show more of it.
                not_seen = Some(NoResistance::NotSeen { within: COVERAGE * read });
                continue;
            } else if r <= 0.0 {
                refused.get_or_insert(NoResistance::WrongWay { before, after: now });
            }
            let sampling = read / di.abs();
            let instrument = self
                .accuracies
                .voltage
                .zip(self.accuracies.current)
                .map(|(v, i)| r.abs() * v.gain.hypot(i.gain) / COVERAGE);
            resistances
                .push(StepResistance { after: *after, resistance: Estimate::of(r, sampling, instrument) });
        }
        if resistances.is_empty() {
            refused = refused.or(not_seen);
        }
        if refused.is_some() {
            resistances.clear();
        }
        let not_answered = self
            .times
            .iter()
            .filter(|time| !resistances.iter().any(|r| r.after == **time))
            .copied()
            .collect();
        self.steps.push(LoadStep {
            at: open.at,
            interval: open.interval,
            change: open.change,
            resistances,
            not_answered,
            refused,
        });
    }

    /// The steps found.
    pub fn finish(mut self) -> Vec<LoadStep> {
        self.close();
        self.steps
    }
}

/// Whether one of two voltages is that of terminals which are cut off.
fn is_dead(a: f64, b: f64) -> bool {
    a.abs().min(b.abs()) < DEAD * a.abs().max(b.abs())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The steps of samples one second apart (V, A).
    fn of(samples: &[(f64, f64)]) -> Vec<LoadStep> {
        let times = [0.0, 1.0, 10.0];
        let mut steps = LoadSteps::new(60.0, &times, Accuracies::default()).with_digit(0.01);
        for (n, (v, i)) in samples.iter().enumerate() {
            steps.push(n as f64, *v, *i, false);
        }
        steps.finish()
    }

    /// What follows a change of current in which voltage and current do not answer each other is never a resistance.
    #[test]
    fn a_pack_that_disconnected_itself_has_no_resistance() {
        let (rest, load, dead) = ((26.4, 0.0), (25.4, 202.0), (0.3, 0.0));
        let disconnected = |step: &LoadStep| matches!(step.refused, Some(NoResistance::Disconnected { .. }));
        let wrong_way = |step: &LoadStep| matches!(step.refused, Some(NoResistance::WrongWay { .. }));
        let not_seen = |step: &LoadStep| matches!(step.refused, Some(NoResistance::NotSeen { .. }));
        let real = |step: &LoadStep| step.refused.is_none() && !step.resistances.is_empty();
        type Case<'a> = (&'a str, Vec<(f64, f64)>, Vec<Is<'a>>);
        type Is<'a> = &'a dyn Fn(&LoadStep) -> bool;
        let cases: [Case; 11] = [
            (
                "load on and off",
                [vec![rest; 20], vec![load; 20], vec![rest; 20]].concat(),
                vec![&real, &real],
            ),
            // (25.4 V − 0.3 V) / −202 A = −124 mΩ.
            (
                "BMS opens",
                [vec![rest; 20], vec![load; 20], vec![dead; 20]].concat(),
                vec![&real, &disconnected],
            ),
            (
                "BMS opens, comes back and takes the load again",
                [vec![rest; 9], vec![load; 9], vec![dead; 9], vec![load; 9], vec![rest; 9]].concat(),
                vec![&real, &disconnected, &disconnected, &real],
            ),
            (
                "BMS comes back by itself, the load follows",
                [vec![load; 9], vec![dead; 4], vec![rest; 2], vec![load; 9]].concat(),
                vec![&disconnected, &real],
            ),
            (
                "BMS opens between two samples of the current",
                [vec![rest; 9], vec![load; 9], vec![(14.0, 100.0)], vec![dead; 9]].concat(),
                vec![&real, &wrong_way, &disconnected],
            ),
            (
                "a capacitor holds the voltage up for a while",
                [vec![load; 9], vec![(25.6, 0.0), (20.0, 0.0), (9.0, 0.0)], vec![dead; 9]].concat(),
                vec![&disconnected],
            ),
            (
                "a short makes the BMS open at once",
                [vec![rest; 9], vec![(0.3, 400.0)], vec![dead; 9]].concat(),
                vec![&disconnected, &not_seen],
            ),
            (
                "a charger on dead terminals: the quotient has the right sign",
                [vec![dead; 9], vec![(26.4, -100.0); 9]].concat(),
                vec![&disconnected],
            ),
            (
                "the meter's branch goes without current while the other takes over",
                [vec![(25.6, 77.0); 9], vec![(25.4, 0.0); 9]].concat(),
                vec![&wrong_way],
            ),
            (
                "a charger on, its current written as positive",
                [vec![rest; 9], vec![(27.0, 100.0); 9]].concat(),
                vec![&wrong_way],
            ),
            (
                "the voltage was read before the load, and does not move",
                [vec![rest; 9], vec![(26.4, 202.0); 9]].concat(),
                vec![&not_seen],
            ),
        ];
        for (name, samples, wanted) in cases {
            let steps = of(&samples);
            assert_eq!(steps.len(), wanted.len(), "{name}: {steps:?}");
            for (step, wanted) in steps.iter().zip(wanted) {
                assert!(wanted(step), "{name}: {step:?}");
                assert!(step.refused.is_none() || step.resistances.is_empty(), "{name}: {step:?}");
            }
        }
        let told = of(&[vec![load; 9], vec![dead; 9]].concat())[0].refused.unwrap().to_string();
        assert_eq!(told, "the pack disconnected itself: 25.4 V became 300 mV");
    }
}
