//! Charge and energy by the trapezoid rule with compensated summation (Knuth's exact sum of two numbers).
//!
//! Two uncertainties are kept apart. *Sampling*: between two samples the current went from the one to the
//! other at an unknown moment; the trapezoid errs by at most |ΔI|·Δt/2 either way, a rectangular
//! distribution with standard deviation |ΔI|·Δt/√12 (JCGM 100:2008 4.3.7), independent from interval to
//! interval. *Instrument*: gain and offset of the instruments act on the whole test.
//!
//! A gap is an interval much longer than the log's own. What flowed in it lies between nothing and the current of the
//! larger of its ends throughout: the middle of that range is counted, half its width is the limit of a rectangular
//! distribution, and the gap is reported apart. Where the log's clock restarted
//! nothing is bridged: how long it stood is not known.
//!
//! A sample far off what lies before and after it, or a few of them in a row (see [`super::read`]), is part of the
//! integral, because it may be a true pulse. It may as well be a false reading: the difference that all of
//! them make together, Δ, is counted as uncertain, Δ/√3 as for limits ±Δ.

use super::instrument::{Accuracies, Estimate};
use super::intervals::{Interval, Intervals};
use super::read::{RUN, Spikes};
use crate::units::{COVERAGE, Dimension, show};

/// An interval of so many times the one before it parts its samples.
const FAR: f64 = 20.0;
/// √12: a rectangular distribution's width over its standard deviation.
const RECTANGULAR: f64 = 3.464_101_615_137_754_6;

/// A sum that carries what rounding loses (Knuth, *The Art of Computer Programming* 2, 4.2.2, theorem B).
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Sum {
    sum: f64,
    lost: f64,
}

impl Sum {
    #[inline]
    pub fn add(&mut self, value: f64) {
        let next = self.sum + value;
        let added = next - self.sum;
        self.lost += (self.sum - (next - added)) + (value - added);
        self.sum = next;
    }

    #[inline]
    pub fn value(self) -> f64 {
        self.sum + self.lost
    }
}

/// A gap that was bridged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gap {
    /// Time of the sample before it, s.
    pub from: f64,
    /// Its length, s.
    pub length: f64,
    /// Charge that the trapezoid puts into it, C.
    pub charge: f64,
}

/// Charge and energy between two times.
#[derive(Debug, Clone, PartialEq)]
pub struct Integral {
    /// Charge, C; positive out of the pack.
    pub charge: Estimate,
    /// Energy, J, where there is a voltage.
    pub energy: Option<Estimate>,
    /// Time of the first sample, s.
    pub from: f64,
    /// Time of the last sample, s.
    pub to: f64,
    /// Samples that were used.
    pub samples: u64,
    /// The log's usual interval, s.
    pub usual_interval: Option<f64>,
    /// Gaps that were bridged; at most 64, the longest.
    pub gaps: Vec<Gap>,
    /// Gaps beyond those, bridged and counted as uncertain like them.
    pub further_gaps: u64,
    /// Their length together, s.
    pub further_gap_time: f64,
    /// Samples far off what lies before and after them; they are part of the integral, and the uncertainty of
    /// sampling holds what they make.
    pub spikes: u64,
    /// Those of them that are not single ones.
    pub spikes_in_a_row: u64,
    /// Restarts of the log's clock inside.
    pub restarts: u64,
}

impl Integral {
    /// From the first sample to the last.
    pub fn duration(&self) -> f64 {
        self.to - self.from
    }

    /// With what the current reads while nothing flows: it may read the same under load. `limit` is that of the error of
    /// the charge, C.
    pub fn with_offset(mut self, limit: f64) -> Self {
        let more = limit / 3.0_f64.sqrt();
        let charge = self.charge;
        self.charge = Estimate::of(charge.value, charge.sampling.hypot(more), charge.instrument);
        self.energy = self.energy.map(|energy| {
            let volts = if charge.value == 0.0 { 0.0 } else { energy.value / charge.value };
            Estimate::of(energy.value, energy.sampling.hypot(more * volts), energy.instrument)
        });
        self
    }

    /// What a reader of the figures must know beside them, one sentence each: gaps, samples far off,
    /// restarts of the clock. Empty where there is nothing to say.
    pub fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        let show = |time: f64| show(time, Dimension::TIME);
        if let Some(longest) = self.gaps.iter().max_by(|a, b| a.length.total_cmp(&b.length)) {
            let at = show(longest.from);
            let total = self.gaps.iter().fold(self.further_gap_time, |sum, gap| sum + gap.length);
            let count = self.gaps.len() as u64 + self.further_gaps;
            notes.push(if count == 1 {
                format!("1 gap of {} at {at}, bridged and counted as uncertain", show(longest.length))
            } else {
                let unlisted = if self.further_gaps > 0 {
                    format!(
                        "; the {} shortest of them, {} together, are not listed one by one",
                        self.further_gaps,
                        show(self.further_gap_time)
                    )
                } else {
                    String::new()
                };
                format!(
                    "{count} gaps of {} together, the longest {} at {at}, bridged and counted as uncertain{unlisted}",
                    show(total),
                    show(longest.length)
                )
            });
        }
        let single = self.spikes - self.spikes_in_a_row;
        let groups = [
            (
                single,
                if single == 1 {
                    "single sample far off both neighbours"
                } else {
                    "single samples far off both neighbours"
                },
            ),
            (self.spikes_in_a_row, "samples in a row far off what lies before and after them"),
        ];
        for (count, what) in groups.into_iter().filter(|(count, _)| *count > 0) {
            let (they, them) = if count == 1 { ("it is", "it") } else { ("they are", "them") };
            notes.push(format!(
                "{count} {what}: {they} part of the integral, and the uncertainty covers the integral without {them}"
            ));
        }
        if self.restarts > 0 {
            let times =
                if self.restarts == 1 { "once".to_owned() } else { format!("{} times", self.restarts) };
            notes.push(format!(
                "the log's clock restarted {times}; nothing is counted for the time in between"
            ));
        }
        notes
    }
}

/// Sums charge and energy sample by sample, in constant memory.
#[derive(Debug, Clone, Default)]
pub struct Integrator {
    charge: Sum,
    energy: Sum,
    volt_seconds: f64,
    absolute: f64,
    charge_variance: f64,
    energy_variance: f64,
    first: Option<f64>,
    last: Option<Point>,
    /// The samples before the next one, those that may turn out to be far off among them.
    recent: [Point; RECENT],
    taken: usize,
    /// Length of the last interval, s.
    step: f64,
    current_spikes: Spikes,
    power_spikes: Spikes,
    spikes: u64,
    spikes_in_a_row: u64,
    /// What the integrals would differ by without their spikes.
    spiked_charge: f64,
    spiked_energy: f64,
    samples: u64,
    restarts: u64,
    without_voltage: bool,
    intervals: Intervals,
}

/// Samples that are looked back at: a run far off, and what lies before it; a power of two.
const RECENT: usize = 16;
const _: () = assert!(RUN + 1 < RECENT && RECENT.is_power_of_two());

/// A sample: time, voltage, current and power.
#[derive(Debug, Clone, Copy, Default)]
struct Point {
    time: f64,
    voltage: f64,
    current: f64,
    power: f64,
}

impl Integrator {
    /// Starts with nothing.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes a sample: time in s, voltage in V (NaN where there is none), current in A.
    ///
    /// A sample without current is passed over; the next one then follows after a longer interval.
    #[inline]
    pub fn push(&mut self, time: f64, voltage: f64, current: f64, after_break: bool) {
        if after_break {
            self.restarts += 1;
            self.last = None;
            self.current_spikes.interrupt();
            self.power_spikes.interrupt();
        }
        if current.is_nan() || time.is_nan() {
            return;
        }
        self.without_voltage |= voltage.is_nan();
        self.samples += 1;
        let now = Point { time, voltage, current, power: voltage * current };
        if let Some(last) = self.last {
            let step = time - last.time;
            // What lies beyond a gap is no neighbour: a few samples of rest on both sides of a night are no false reading.
            if step > FAR * self.step && self.step > 0.0 {
                self.current_spikes.interrupt();
                self.power_spikes.interrupt();
            }
            self.step = if step > 0.0 { step } else { self.step };
            let charge = step * (last.current + current) * 0.5;
            self.charge.add(charge);
            self.energy.add(step * (last.power + now.power) * 0.5);
            self.volt_seconds += step * (last.voltage + voltage) * 0.5;
            self.absolute += step * (last.current.abs() + current.abs()) * 0.5;
            let (dq, de) = ((current - last.current) * step, (now.power - last.power) * step);
            self.charge_variance += dq * dq;
            self.energy_variance += de * de;
            if step > 0.0 {
                let interval = Interval { from: last.time, length: step, charge };
                self.intervals.add(interval, (last.current, current), (last.power, now.power));
            }
        } else {
            self.first.get_or_insert(time);
        }
        let of_current = self.current_spikes.push(current);
        let of_power = self.power_spikes.push(now.power);
        if of_current.max(of_power) > 0 {
            self.spike(now, of_current, of_power);
        }
        if let Some(place) = self.recent.get_mut(self.taken % RECENT) {
            *place = now;
        }
        self.taken += 1;
        self.last = Some(now);
    }

    /// So many of the last samples were far off what lies before and after them.
    #[cold]
    fn spike(&mut self, after: Point, of_current: usize, of_power: usize) {
        let count = of_current.max(of_power);
        self.spikes += count as u64;
        self.spikes_in_a_row += if count > 1 { count as u64 } else { 0 };
        self.spiked_charge += self.made(after, of_current, |point| point.current);
        self.spiked_energy += self.made(after, of_power, |point| point.power);
    }

    /// What the last `count` samples put between the line from before them to `after`, and the course through them.
    fn made(&self, after: Point, count: usize, of: fn(&Point) -> f64) -> f64 {
        let back = |n: usize| self.recent.get(self.taken.checked_sub(n)? % RECENT);
        let Some(before) = back(count + 1).filter(|_| count > 0) else { return 0.0 };
        let run = (1..=count).rev().filter_map(back).chain([&after]);
        let mut last = before;
        let mut through = 0.0;
        for point in run {
            through += (point.time - last.time) * (of(last) + of(point)) / 2.0;
            last = point;
        }
        (through - (after.time - before.time) * (of(before) + of(&after)) / 2.0).abs()
    }

    /// Time of the first sample, s.
    pub fn began(&self) -> Option<f64> {
        self.first
    }

    /// Charge so far, C.
    pub fn charge_so_far(&self) -> f64 {
        self.charge.value()
    }

    /// The integral, or `None` with fewer than two samples.
    pub fn finish(&self, accuracies: &Accuracies) -> Option<Integral> {
        let (first, last) = (self.first?, self.last?.time);
        if self.samples < 2 {
            return None;
        }
        let found = self.intervals.finish();
        let rectangular = RECTANGULAR.powi(2);
        // In a gap anything from nothing to the larger end may have flowed, and most likely in all gaps the same.
        let charge_variance = (self.charge_variance + found.gaps.charge.powi(2)) / rectangular;
        let energy_variance = (self.energy_variance + found.gaps.energy.powi(2)) / rectangular;
        let limits = 3.0_f64.sqrt();
        let charge_sampling = charge_variance.sqrt().hypot(self.spiked_charge / limits);
        let energy_sampling = energy_variance.sqrt().hypot(self.spiked_energy / limits);
        let (charge, energy) =
            (self.charge.value() + found.gaps.charge_shift, self.energy.value() + found.gaps.energy_shift);
        let duration = last - first;
        let charge_instrument = accuracies
            .current
            .map(|current| (current.gain * charge).hypot(current.offset * duration) / COVERAGE);
        let energy_instrument = accuracies.current.zip(accuracies.voltage).map(|(i, v)| {
            let parts =
                [i.gain * energy, v.gain * energy, i.offset * self.volt_seconds, v.offset * self.absolute];
            parts.iter().map(|part| part * part).sum::<f64>().sqrt() / COVERAGE
        });
        Some(Integral {
            charge: Estimate::of(charge, charge_sampling, charge_instrument),
            energy: (!self.without_voltage).then(|| Estimate::of(energy, energy_sampling, energy_instrument)),
            from: first,
            to: last,
            samples: self.samples,
            usual_interval: found.usual,
            gaps: found
                .listed
                .iter()
                .map(|gap| Gap { from: gap.from, length: gap.length, charge: gap.charge })
                .collect(),
            further_gaps: found.further,
            further_gap_time: found.further_time,
            spikes: self.spikes,
            spikes_in_a_row: self.spikes_in_a_row,
            restarts: self.restarts,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::logs::instrument::Accuracy;

    fn run(samples: impl IntoIterator<Item = (f64, f64, f64)>) -> Integral {
        let mut integrator = Integrator::new();
        for (t, v, i) in samples {
            integrator.push(t, v, i, false);
        }
        integrator
            .finish(&Accuracies {
                voltage: Some(Accuracy { gain: 0.001, offset: 0.01 }),
                current: Some(Accuracy { gain: 0.02, offset: 0.1 }),
            })
            .unwrap()
    }

    /// Ten million tenths do not drift.
    #[test]
    fn compensation() {
        let mut sum = Sum::default();
        for _ in 0..1_000_000 {
            sum.add(0.1);
        }
        assert!((sum.value() - 100_000.0).abs() < 1e-9);
    }

    #[test]
    fn gaps_are_reported_and_uncertain() {
        let samples = (0..=100).map(f64::from).chain((400..=500).map(f64::from));
        let integral = run(samples.map(|t| (t, 25.0, 30.0)));
        assert_eq!(integral.gaps.len(), 1);
        assert_eq!(integral.gaps[0].length, 300.0);
        assert!((integral.charge.sampling - 9000.0 / RECTANGULAR).abs() < 1e-6);
        // 200 s under load, and half of what 300 s would have made.
        assert!((integral.charge.value - (6000.0 + 4500.0)).abs() < 1e-6);
    }

    /// Beyond the 64 longest gaps the others are counted, and are uncertain like them.
    #[test]
    fn many_gaps() {
        // 200 stretches of 300 samples at 1 s, with gaps of 10 s to 209 s between them.
        let mut samples = Vec::new();
        let (mut t, mut lost, mut widths) = (0.0, 0.0, 0.0);
        for stretch in 0..200 {
            samples.extend((0..300).map(|n| (t + f64::from(n), 25.0, 30.0)));
            let gap = 10.0 + f64::from(stretch);
            t += 299.0 + gap;
            lost += gap;
            widths += 30.0 * gap / RECTANGULAR;
        }
        samples.push((t, 25.0, 30.0));
        let integral = run(samples);
        assert_eq!((integral.gaps.len(), integral.further_gaps), (64, 136));
        let listed: f64 = integral.gaps.iter().map(|gap| gap.length).sum();
        assert!((listed + integral.further_gap_time - lost).abs() < 1e-6);
        assert!((integral.charge.sampling / widths - 1.0).abs() < 1e-9);
        let notes = integral.notes();
        assert!(
            notes[0].starts_with("200 gaps of 6.08 h together, the longest 209 s at 22.6 h"),
            "{notes:?}"
        );
        assert!(notes[0].contains("the 136 shortest of them"), "{notes:?}");
    }

    /// With a false reading in it, and with a true pulse, the truth lies within the stated uncertainty.
    #[test]
    fn spikes_are_in_the_integral_and_uncertain() {
        let integral = run((0..=900).map(|t| (f64::from(t), 25.0, if t == 500 { 3000.0 } else { 30.0 })));
        assert_eq!(integral.spikes, 1);
        let charge = integral.charge;
        assert_eq!(charge.value, 900.0 * 30.0 + 2970.0);
        assert!(2.0 * charge.sampling > 2970.0);
        let energy = integral.energy.unwrap();
        assert!(2.0 * energy.sampling > 25.0 * 2970.0);
        assert!(integral.notes()[0].starts_with("1 single sample far off"));
        // In the voltage alone: the charge is certain, the energy is not.
        let integral = run((0..=900).map(|t| (f64::from(t), if t == 500 { 2.5 } else { 25.0 }, 30.0)));
        assert_eq!((integral.spikes, integral.charge.sampling), (1, 0.0));
        assert!(2.0 * integral.energy.unwrap().sampling > 22.5 * 30.0);
    }

    /// Several false readings in a row are told like a single one, and the truth lies within the uncertainty.
    #[test]
    fn false_readings_in_a_row() {
        for count in 2..=RUN {
            let wrong = |t: i32| (500..500 + count as i32).contains(&t);
            let integral = run((0..=900).map(|t| (f64::from(t), 25.0, if wrong(t) { 3000.0 } else { 30.0 })));
            assert_eq!((integral.spikes, integral.spikes_in_a_row), (count as u64, count as u64));
            let off = integral.charge.value - 900.0 * 30.0;
            assert!((off - 2970.0 * count as f64).abs() < 1e-6);
            assert!(2.0 * integral.charge.sampling > off, "{count}");
            let energy = integral.energy.unwrap();
            assert!(2.0 * energy.sampling > 25.0 * off);
            assert!(integral.notes()[0].starts_with(&format!("{count} samples in a row far off")));
        }
        // Dead readings of the voltage: the charge is certain, the energy is not.
        let wrong = |t: i32| (500..503).contains(&t);
        let integral = run((0..=900).map(|t| (f64::from(t), if wrong(t) { 0.0 } else { 25.0 }, 30.0)));
        assert_eq!(integral.charge.sampling, 0.0);
        assert!(2.0 * integral.energy.unwrap().sampling > 25.0 * 30.0 * 3.0);
    }

    /// Uneven sampling (dense after a step, sparse later) is not a gap.
    #[test]
    fn uneven_sampling_is_no_gap() {
        let dense = (0..300).map(|n| f64::from(n) * 0.01);
        let sparse = (1..300).map(|n| 3.0 + f64::from(n) * 10.0);
        let integral = run(dense.chain(sparse).map(|t| (t, 3.3, 1.0)));
        assert!(integral.gaps.is_empty(), "{:?}", integral.gaps);
    }

    /// A step at an unknown moment between samples lies within the stated uncertainty.
    #[test]
    fn step_between_samples() {
        for moment in 0..=10 {
            // True charge when the load came on at `moment` tenths of the interval from 9 s to 10 s.
            let truth = 30.0 * (1.0 - f64::from(moment) / 10.0) + 30.0 * 10.0;
            let integral = run((0..=20).map(|t| (f64::from(t), 26.0, if t < 10 { 0.0 } else { 30.0 })));
            let error = (integral.charge.value - truth).abs();
            let sampling = integral.charge.sampling;
            assert!(error <= 2.0 * sampling, "{error} {sampling}");
        }
    }
}
