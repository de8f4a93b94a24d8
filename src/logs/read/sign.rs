//! Which way the current of a log counts.
//!
//! Resistance is positive, so the voltage falls when more current is drawn: at a step the changes of
//! voltage and current have opposite signs where discharge is positive, equal signs where it is negative.
//! Where a log has no step, the voltage falls while a pack is discharged. A column of states says it in words, and where
//! the current has no sign at all gives it one row by row. Nothing else is believed: a log in which none of these shows,
//! or in which they contradict each other, keeps its sign as written, and says so.

use std::collections::VecDeque;
use std::fmt;
use std::io::Read;

use super::column::Meaning;
use super::{LogReader, RUN, ReadError, Spikes};

/// The sign of the current as the log writes it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CurrentSign {
    /// Discharge is positive.
    DischargePositive,
    /// Discharge is negative.
    DischargeNegative,
    /// It has no sign: the column of states says which way it flows.
    ByState,
    /// The log does not show it; values are kept as written.
    NotDecided,
}

impl fmt::Display for CurrentSign {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::DischargePositive => "discharge is positive",
            Self::DischargeNegative => "discharge is negative",
            Self::ByState => "its direction by the column of states",
            Self::NotDecided => "sign not decided, kept as written",
        })
    }
}

/// How the sign is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SignBasis {
    /// The caller says so.
    Stated,
    /// The header of the column says so.
    Header,
    /// The voltage answers to steps of the current.
    LoadSteps,
    /// The voltage falls or rises while current flows.
    Trend,
    /// A column of states.
    States,
    /// The voltage answers both ways: the current is written without its sign.
    BothWays,
    /// The log has no column of current or none of voltage.
    NothingToCompare,
    /// Neither steps nor a trend.
    NoEvidence,
}

impl fmt::Display for SignBasis {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Stated => "as stated",
            Self::Header => "by its header",
            Self::LoadSteps => "seen in the voltage at load steps",
            Self::Trend => "seen in the trend of the voltage",
            Self::States => "by the column of states",
            Self::BothWays => "the voltage answers to it both ways: it seems to be written without its sign",
            Self::NothingToCompare => "no voltage and current to compare",
            Self::NoEvidence => "the voltage does not answer to it",
        })
    }
}

/// A step is a change of at least this part of the largest current so far.
const STEP: f64 = 0.2;
/// A voltage that changes by more than this part of itself answers to no load: the pack was cut off, or came back, and
/// voltage and current go together.
const CUT_OFF: f64 = 0.3;
/// A change counts as one when the next sample goes back by at most this part of it.
const BACK: f64 = 0.5;
/// Share of one direction among the evidence from which on it is believed.
const AGREEMENT: f64 = 0.8;
/// Samples after the first step after which a clear answer is not looked at further.
const ENOUGH: u64 = 20_000;
/// A trend counts from this part of the voltage on.
const TREND: f64 = 0.003;

#[derive(Default)]
struct Evidence {
    largest: f64,
    /// Steps weighed by their current: agreement with "discharge is positive" minus disagreement.
    steps: f64,
    steps_all: f64,
    /// Change of voltage while the current kept its value, by the sign of the current.
    falls: [f64; 2],
    voltage: f64,
    since_step: u64,
    /// The least current, and what states say of rows with a positive and a negative one: discharge, charge.
    least: f64,
    states: [[u64; 2]; 2],
}

impl Evidence {
    fn take(&mut self, before: (f64, f64), now: (f64, f64)) {
        let (dv, di) = (now.0 - before.0, now.1 - before.1);
        self.least = self.least.min(now.1);
        self.largest = self.largest.max(now.1.abs());
        self.voltage = self.voltage.max(now.0.abs());
        if self.steps_all > 0.0 {
            self.since_step += 1;
        }
        if di.abs() >= STEP * self.largest && di != 0.0 {
            let cut_off = dv.abs() > CUT_OFF * before.0.abs().max(now.0.abs());
            if dv != 0.0 && !cut_off {
                self.steps -= di.abs() * (dv.signum() * di.signum());
                self.steps_all += di.abs();
            }
        } else if now.1.abs() >= STEP * self.largest && now.1 != 0.0 {
            let [positive, negative] = &mut self.falls;
            *(if now.1 > 0.0 { positive } else { negative }) += dv;
        }
    }

    /// A current beside what the column of states says.
    fn state(&mut self, current: f64, state: f64) {
        if current.abs() < STEP * self.largest || current == 0.0 || !state.is_finite() {
            return;
        }
        if let Some(count) = self
            .states
            .get_mut(usize::from(current < 0.0))
            .and_then(|of_sign| of_sign.get_mut(usize::from(state < 0.0)))
            .filter(|_| state != 0.0)
        {
            *count += 1;
        }
    }

    /// What the states make of the sign, where they say anything.
    fn by_states(&self) -> Option<(CurrentSign, SignBasis)> {
        let [[positive_out, positive_in], [negative_out, negative_in]] = self.states;
        let all = positive_out + positive_in + negative_out + negative_in;
        if all == 0 {
            return None;
        }
        let most = |part: u64| part * 50 >= all * 49;
        let sign = if most(positive_out + negative_in) {
            CurrentSign::DischargePositive
        } else if most(positive_in + negative_out) {
            CurrentSign::DischargeNegative
        } else if negative_out + negative_in == 0 || positive_out + positive_in == 0 {
            CurrentSign::ByState
        } else {
            return Some((CurrentSign::NotDecided, SignBasis::States));
        };
        Some((sign, SignBasis::States))
    }

    fn clear(&self) -> bool {
        self.steps_all >= 0.9 * self.largest
            && self.largest > 0.0
            && self.steps.abs() >= AGREEMENT * self.steps_all
    }

    fn answer(&self) -> (CurrentSign, SignBasis) {
        let sign = |positive: bool| {
            if positive { CurrentSign::DischargePositive } else { CurrentSign::DischargeNegative }
        };
        if let Some(found) = self.by_states() {
            return found;
        }
        if self.clear() {
            return (sign(self.steps > 0.0), SignBasis::LoadSteps);
        }
        // Steps that answer both ways, and a current that never changes its sign.
        let against = (self.steps_all - self.steps.abs()) / 2.0;
        if self.steps_all > 0.9 * self.largest
            && against > (1.0 - AGREEMENT) / 2.0 * self.steps_all
            && self.least >= -0.02 * self.largest
        {
            return (CurrentSign::NotDecided, SignBasis::BothWays);
        }
        // Positive current: falling means discharge. Negative current: rising means discharge is positive.
        let [positive, negative] = self.falls;
        let votes = [-positive, negative]
            .map(|vote| if vote.abs() >= TREND * self.voltage { vote.signum() } else { 0.0 });
        let sum: f64 = votes.iter().sum();
        if sum == 0.0 {
            return (CurrentSign::NotDecided, SignBasis::NoEvidence);
        }
        (sign(sum > 0.0), SignBasis::Trend)
    }
}

/// Reads as much of a log as it takes to tell.
pub(super) fn detect<R: Read>(log: &mut LogReader<R>) -> Result<(CurrentSign, SignBasis), ReadError> {
    let layout = log.layout();
    let all_known = layout
        .slots(Meaning::Current)
        .chain(layout.slots(Meaning::Power))
        .all(|(_, column)| column.direction.is_some());
    let current = layout.currents().first().map(|(slot, _)| *slot);
    let column = layout.slots(Meaning::Current).find(|(slot, _)| Some(*slot) == current);
    let (Some(voltage), Some((current, column))) = (layout.slot(Meaning::Voltage), column) else {
        return Ok((CurrentSign::NotDecided, SignBasis::NothingToCompare));
    };
    let state = layout.slots(Meaning::State).next().map(|(slot, _)| slot);
    if all_known {
        let sign = match column.direction {
            Some(way) if way < 0.0 => CurrentSign::DischargeNegative,
            _ => CurrentSign::DischargePositive,
        };
        return Ok((sign, SignBasis::Header));
    }
    let mut evidence = Evidence::default();
    let mut watch = Watch::default();
    while let Some(block) = log.next_block()? {
        for sample in block.samples() {
            if let Some(state) = state {
                evidence.state(sample.get(current), sample.get(state));
            }
            let now = (sample.get(voltage), sample.get(current));
            if now.0.is_nan() || now.1.is_nan() {
                continue;
            }
            if sample.after_break {
                watch.interrupt(&mut evidence);
            }
            watch.push(now, &mut evidence);
        }
        // A current without a sign shows only where both directions have passed.
        if evidence.since_step >= ENOUGH && evidence.clear() && state.is_none() {
            break;
        }
    }
    watch.interrupt(&mut evidence);
    Ok(evidence.answer())
}

/// Holds samples back until it shows whether they are far off, or a few false readings would outweigh every true step.
#[derive(Default)]
struct Watch {
    voltages: Spikes,
    currents: Spikes,
    held: VecDeque<(f64, f64)>,
    /// The last two samples: a change counts once the sample after it shows that it stayed.
    before: Option<(f64, f64)>,
    last: Option<(f64, f64)>,
}

impl Watch {
    fn push(&mut self, now: (f64, f64), evidence: &mut Evidence) {
        let false_ones = self.voltages.push(now.0).max(self.currents.push(now.1));
        self.held.truncate(self.held.len() - false_ones.min(self.held.len()));
        self.held.push_back(now);
        if self.held.len() > RUN
            && let Some(oldest) = self.held.pop_front()
        {
            self.take(oldest, evidence);
        }
    }

    fn take(&mut self, now: (f64, f64), evidence: &mut Evidence) {
        if let (Some(before), Some(last)) = (self.before, self.last)
            && stays(before, last, now)
        {
            evidence.take(before, last);
        }
        (self.before, self.last) = (self.last, Some(now));
    }

    /// Lets out what is held: the log ends here, or its clock.
    fn interrupt(&mut self, evidence: &mut Evidence) {
        while let Some(oldest) = self.held.pop_front() {
            self.take(oldest, evidence);
        }
        if let (Some(before), Some(last)) = (self.before, self.last) {
            evidence.take(before, last);
        }
        (self.before, self.last) = (None, None);
        self.voltages.interrupt();
        self.currents.interrupt();
    }
}

/// Whether the second of three samples is nearer to the third than to the first, in current and voltage.
fn stays(before: (f64, f64), now: (f64, f64), after: (f64, f64)) -> bool {
    let near = |a: f64, b: f64, c: f64| (c - b).abs() <= BACK * (b - a).abs() || a == b;
    let step = (now.1 - before.1).abs() > (after.1 - before.1).abs().max(after.1.abs()) * STEP;
    !step || near(before.1, now.1, after.1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn answer(samples: &[(f64, f64)]) -> (CurrentSign, SignBasis) {
        let mut evidence = Evidence::default();
        for pair in samples.windows(2) {
            evidence.take(pair[0], pair[1]);
        }
        evidence.answer()
    }

    #[test]
    fn evidence() {
        use CurrentSign::{DischargeNegative, DischargePositive, NotDecided};
        let discharge = [(26.6, 0.0), (26.0, 30.0), (25.9, 30.1), (20.0, 30.0), (22.0, 0.0)];
        assert_eq!(answer(&discharge), (DischargePositive, SignBasis::LoadSteps));
        let negative = discharge.map(|(v, i)| (v, -i));
        assert_eq!(answer(&negative), (DischargeNegative, SignBasis::LoadSteps));
        // A BMS that opens takes voltage and current away together: no evidence, at once or over two samples.
        let opens = [(25.4, 255.0), (25.4, 255.0), (0.3, 0.0), (0.3, 0.0)];
        assert_eq!(answer(&opens), (NotDecided, SignBasis::NoEvidence));
        let slowly = [(25.4, 255.0), (25.4, 255.0), (14.0, 100.0), (0.3, 0.0)];
        assert_eq!(answer(&slowly), (NotDecided, SignBasis::NoEvidence));
        let loaded = [(26.4, 0.0), (25.4, 255.0), (25.4, 255.0), (0.3, 0.0), (0.3, 0.0)];
        assert_eq!(answer(&loaded), (DischargePositive, SignBasis::LoadSteps));
        // No step in the log, only the voltage falling or rising.
        let falling = [(26.0, 30.0), (25.8, 30.1), (25.5, 30.0)];
        assert_eq!(answer(&falling), (DischargePositive, SignBasis::Trend));
        let charging = [(26.0, 30.0), (26.2, 30.1), (26.5, 30.0)];
        assert_eq!(answer(&charging), (DischargeNegative, SignBasis::Trend));
        let flat = [(26.0, 30.0), (26.0, 30.1), (26.0, 30.0)];
        assert_eq!(answer(&flat), (NotDecided, SignBasis::NoEvidence));
    }

    /// False readings far larger than the current decide nothing, alone or in a row, on the way there or back.
    #[test]
    fn false_readings_are_no_steps() {
        for count in 0..=RUN {
            let mut evidence = Evidence::default();
            let mut watch = Watch::default();
            for n in 0..300_u32 {
                let load = if n < 50 { 0.0 } else { 30.0 };
                let v = 26.6 - 0.01 * load - 0.0001 * f64::from(n);
                let absurd = (200..200 + count as u32).contains(&n);
                watch.push((v, if absurd { 3000.0 } else { load }), &mut evidence);
            }
            watch.interrupt(&mut evidence);
            let wanted = (CurrentSign::DischargePositive, SignBasis::LoadSteps);
            assert_eq!(evidence.answer(), wanted, "{count}");
        }
    }
}
