//! Charge and energy by the trapezoid rule with compensated summation (Neumaier 1974).
//!
//! Two uncertainties are kept apart. *Sampling*: between two samples the current went from the one to the
//! other at an unknown moment; the trapezoid errs by at most |ΔI|·Δt/2 either way, a rectangular
//! distribution with standard deviation |ΔI|·Δt/√12 (JCGM 100:2008 4.3.7), independent from interval to
//! interval. *Instrument*: gain and offset of the instruments act on the whole test.
//!
//! A gap is an interval much longer than the log's own. It is bridged by the trapezoid, reported apart,
//! and counted as uncertain from no current to the larger of its ends. Where the log's clock restarted
//! nothing is bridged: how long it stood is not known.

use uom::si::electric_charge::coulomb;
use uom::si::energy::joule;
use uom::si::f64::{ElectricCharge, Energy, Time};
use uom::si::time::second;

use super::instrument::{Accuracies, Figure};
use crate::quantity::COVERAGE;

/// An interval is a gap when it is this many times as long as the usual one.
const GAP: f64 = 5.0;
/// Longest intervals that are looked at one by one.
const LONGEST: usize = 64;
/// √12: a rectangular distribution's width over its standard deviation.
const RECTANGULAR: f64 = 3.464_101_615_137_754_6;

/// A sum that carries what rounding loses.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Sum {
    sum: f64,
    lost: f64,
}

impl Sum {
    #[inline]
    pub fn add(&mut self, value: f64) {
        let next = self.sum + value;
        self.lost +=
            if self.sum.abs() >= value.abs() { (self.sum - next) + value } else { (value - next) + self.sum };
        self.sum = next;
    }

    #[inline]
    pub fn value(self) -> f64 {
        self.sum + self.lost
    }
}

/// Intervals between samples: their usual length, and the longest ones.
#[derive(Debug, Clone)]
struct Intervals {
    /// Time spent in intervals of a length, four bins an octave from 2⁻²⁰ s.
    spent: Vec<f64>,
    longest: Vec<Interval>,
    shortest_kept: f64,
    count: u64,
}

#[derive(Debug, Clone, Copy)]
struct Interval {
    from: f64,
    length: f64,
    before: (f64, f64),
    after: (f64, f64),
}

const BINS: usize = 208;
const FIRST_BIN: u64 = (1023 - 20) << 2;

impl Intervals {
    fn new() -> Self {
        Self { spent: vec![0.0; BINS], longest: Vec::new(), shortest_kept: 0.0, count: 0 }
    }

    #[inline]
    fn add(&mut self, interval: Interval) {
        // The exponent and the two highest bits of the mantissa.
        let bin = (interval.length.to_bits() >> 50).saturating_sub(FIRST_BIN);
        let bin = usize::try_from(bin).unwrap_or(BINS).min(BINS - 1);
        if let Some(spent) = self.spent.get_mut(bin) {
            *spent += interval.length;
        }
        self.count += 1;
        if interval.length > self.shortest_kept {
            self.keep(interval);
        }
    }

    fn keep(&mut self, interval: Interval) {
        if self.longest.len() >= 2 * LONGEST {
            self.longest.sort_by(|a, b| b.length.total_cmp(&a.length));
            self.longest.truncate(LONGEST);
            self.shortest_kept = self.longest.last().map_or(0.0, |last| last.length);
        }
        self.longest.push(interval);
    }

    /// The interval length in which half of the time was spent, the eight longest intervals left out.
    fn usual(&self) -> Option<f64> {
        let mut longest: Vec<f64> = self.longest.iter().map(|i| i.length).collect();
        longest.sort_by(|a, b| b.total_cmp(a));
        let left_out: f64 = if self.count >= 32 { longest.iter().take(8).sum() } else { 0.0 };
        let all: f64 = self.spent.iter().sum::<f64>() - left_out;
        let mut passed = 0.0;
        for (bin, spent) in (0_u32..).zip(&self.spent) {
            passed += spent;
            if passed >= all / 2.0 && passed > 0.0 {
                // Upper end of the bin.
                let quarter = f64::from(bin % 4 + 1) / 4.0;
                return Some((1.0 + quarter) * 2_f64.powf(f64::from(bin / 4) - 20.0));
            }
        }
        None
    }

    fn gaps(&self) -> Vec<Interval> {
        let Some(usual) = self.usual() else {
            return Vec::new();
        };
        let mut gaps: Vec<Interval> =
            self.longest.iter().filter(|interval| interval.length > GAP * usual).copied().collect();
        gaps.sort_by(|a, b| b.length.total_cmp(&a.length));
        gaps.truncate(LONGEST);
        gaps.sort_by(|a, b| a.from.total_cmp(&b.from));
        gaps
    }
}

/// A gap that was bridged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gap {
    /// Time of the sample before it.
    pub from: Time,
    /// Its length.
    pub length: Time,
    /// Charge that the trapezoid puts into it.
    pub charge: ElectricCharge,
}

/// Charge and energy between two times.
#[derive(Debug, Clone, PartialEq)]
pub struct Integral {
    /// Charge; positive out of the pack.
    pub charge: Figure<ElectricCharge>,
    /// Energy, where there is a voltage.
    pub energy: Option<Figure<Energy>>,
    /// Time of the first sample.
    pub from: Time,
    /// Time of the last sample.
    pub to: Time,
    /// Samples that were used.
    pub samples: u64,
    /// The log's usual interval.
    pub usual_interval: Option<Time>,
    /// Gaps that were bridged; at most 64, the longest.
    pub gaps: Vec<Gap>,
    /// Restarts of the log's clock inside.
    pub restarts: u64,
}

impl Integral {
    /// From the first sample to the last.
    #[must_use]
    pub fn duration(&self) -> Time {
        self.to - self.from
    }

    /// Charge that was bridged over gaps.
    #[must_use]
    pub fn bridged(&self) -> ElectricCharge {
        self.gaps.iter().fold(ElectricCharge::new::<coulomb>(0.0), |sum, gap| sum + gap.charge)
    }
}

/// Sums charge and energy sample by sample, in constant memory.
#[derive(Debug, Clone)]
pub struct Integrator {
    charge: Sum,
    energy: Sum,
    volt_seconds: Sum,
    absolute: Sum,
    charge_variance: f64,
    energy_variance: f64,
    first: Option<f64>,
    last: Option<(f64, f64, f64)>,
    samples: u64,
    restarts: u64,
    has_voltage: bool,
    intervals: Intervals,
}

impl Default for Integrator {
    fn default() -> Self {
        Self::new()
    }
}

impl Integrator {
    /// Starts with nothing.
    #[must_use]
    pub fn new() -> Self {
        Self {
            charge: Sum::default(),
            energy: Sum::default(),
            volt_seconds: Sum::default(),
            absolute: Sum::default(),
            charge_variance: 0.0,
            energy_variance: 0.0,
            first: None,
            last: None,
            samples: 0,
            restarts: 0,
            has_voltage: true,
            intervals: Intervals::new(),
        }
    }

    /// Takes a sample: time in s, voltage in V (NaN where there is none), current in A.
    ///
    /// A sample without current is passed over; the next one then follows after a longer interval.
    #[inline]
    pub fn push(&mut self, time: f64, voltage: f64, current: f64, after_break: bool) {
        if after_break {
            self.restarts += 1;
            self.last = None;
        }
        if current.is_nan() || time.is_nan() {
            return;
        }
        if voltage.is_nan() {
            self.has_voltage = false;
        }
        self.samples += 1;
        if let Some((before, v0, i0)) = self.last {
            let step = time - before;
            self.charge.add(step * (i0 + current) * 0.5);
            let (p0, p1) = (v0 * i0, voltage * current);
            self.energy.add(step * (p0 + p1) * 0.5);
            self.volt_seconds.add(step * (v0 + voltage) * 0.5);
            self.absolute.add(step * (i0.abs() + current.abs()) * 0.5);
            let (dq, de) = ((current - i0) * step, (p1 - p0) * step);
            self.charge_variance += dq * dq;
            self.energy_variance += de * de;
            if step > 0.0 {
                self.intervals.add(Interval {
                    from: before,
                    length: step,
                    before: (v0, i0),
                    after: (voltage, current),
                });
            }
        } else {
            self.first.get_or_insert(time);
        }
        self.last = Some((time, voltage, current));
    }

    /// Charge so far, C.
    #[must_use]
    pub fn charge_so_far(&self) -> f64 {
        self.charge.value()
    }

    /// The integral, or `None` with fewer than two samples.
    #[must_use]
    pub fn finish(&self, accuracies: &Accuracies) -> Option<Integral> {
        let (first, (last, _, _)) = (self.first?, self.last?);
        if self.samples < 2 {
            return None;
        }
        let gaps = self.intervals.gaps();
        let (mut charge_variance, mut energy_variance) =
            (self.charge_variance / RECTANGULAR.powi(2), self.energy_variance / RECTANGULAR.powi(2));
        for gap in &gaps {
            // Anything from nothing to the larger end may have flowed.
            let width = |a: f64, b: f64| a.abs().max(b.abs()) * gap.length / RECTANGULAR;
            charge_variance += width(gap.before.1, gap.after.1).powi(2);
            energy_variance += width(gap.before.0 * gap.before.1, gap.after.0 * gap.after.1).powi(2);
        }
        let (charge, energy) = (self.charge.value(), self.energy.value());
        let duration = last - first;
        let charge_instrument = accuracies
            .current
            .map(|current| (current.gain * charge).hypot(current.offset * duration) / COVERAGE);
        let energy_instrument = accuracies.current.zip(accuracies.voltage).map(|(i, v)| {
            let parts = [
                i.gain * energy,
                v.gain * energy,
                i.offset * self.volt_seconds.value(),
                v.offset * self.absolute.value(),
            ];
            parts.iter().map(|part| part * part).sum::<f64>().sqrt() / COVERAGE
        });
        Some(Integral {
            charge: Figure::of(charge, charge_variance.sqrt(), charge_instrument, |q| {
                ElectricCharge::new::<coulomb>(q)
            }),
            energy: self
                .has_voltage
                .then(|| Figure::of(energy, energy_variance.sqrt(), energy_instrument, Energy::new::<joule>)),
            from: Time::new::<second>(first),
            to: Time::new::<second>(last),
            samples: self.samples,
            usual_interval: self.intervals.usual().map(Time::new::<second>),
            gaps: gaps
                .iter()
                .map(|gap| Gap {
                    from: Time::new::<second>(gap.from),
                    length: Time::new::<second>(gap.length),
                    charge: ElectricCharge::new::<coulomb>(gap.length * (gap.before.1 + gap.after.1) / 2.0),
                })
                .collect(),
            restarts: self.restarts,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::instrument::Accuracy;
    use uom::si::electric_charge::ampere_hour;

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

    /// 250 A for 15 min are 62.5 Ah (common practice, no source).
    #[test]
    fn constant_current() {
        let integral = run((0..=900).map(|t| (f64::from(t), 25.0, 250.0)));
        assert!((integral.charge.value.get::<ampere_hour>() - 62.5).abs() < 1e-12);
        assert_eq!(integral.charge.sampling.get::<coulomb>(), 0.0);
        // 2 % gain and 0.1 A offset, expanded.
        let wanted = (0.02 * 62.5_f64).hypot(0.1 * 0.25);
        assert!((integral.charge.expanded().get::<ampere_hour>() - wanted).abs() < 1e-9);
        assert!(integral.gaps.is_empty());
        let energy = integral.energy.unwrap();
        assert!((energy.value.get::<joule>() - 62.5 * 3600.0 * 25.0).abs() < 1e-6);
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
        assert_eq!(integral.gaps[0].length.get::<second>(), 300.0);
        assert_eq!(integral.bridged().get::<coulomb>(), 9000.0);
        assert!((integral.charge.sampling.get::<coulomb>() - 9000.0 / RECTANGULAR).abs() < 1e-6);
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
            let error = (integral.charge.value.get::<coulomb>() - truth).abs();
            let sampling = integral.charge.sampling.get::<coulomb>();
            assert!(error <= 2.0 * sampling, "{error} {sampling}");
        }
    }
}
