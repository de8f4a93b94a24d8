//! A full-load test: rated current for a set time.
//!
//! "At or above rated current" is decided with the current's uncertainty: the time for which it was surely
//! above, and the time for which it may have been. How long is long enough is no matter of this module. A current that flows through
//! several instruments is their sum at common times, with gains of one instrument adding up and those of
//! different instruments not.

use super::instrument::{Accuracies, Accuracy};
use super::integrate::{Integral, Integrator};
use super::series::Series;
use super::{DEAD, lacking};
use crate::units::{SourceId, Uncertain};

/// Part of the rated current below which the load counts as off.
const OFF: f64 = 0.1;
/// Samples that may lie below the rated current without ending the hold: a dip of the regulator.
const DIPS: u32 = 2;
/// An interval is a gap from this length on, s, and from so many times the one before it (common practice, no source).
const GAP: f64 = 20.0;
const GAP_STEPS: f64 = 5.0;

/// A reading of one instrument.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// What it shows, SI units.
    pub value: f64,
    /// Its accuracy, where known.
    pub accuracy: Option<Accuracy>,
    /// Which instrument: readings of one share its errors.
    pub instrument: SourceId,
}

/// A sum of readings with its standard uncertainty; `None` when an accuracy is not known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Total {
    /// The sum, SI units.
    pub value: f64,
    pub standard: Option<f64>,
}

/// Adds the currents of parallel branches.
///
/// Gain and offset of one instrument act on all of its readings together (JCGM 100:2008, 5.2).
pub fn sum(branches: &[Reading]) -> Total {
    let mut total = Uncertain::exact(0.0);
    let mut known = !branches.is_empty();
    for branch in branches {
        let accuracy = branch.accuracy.unwrap_or_else(|| {
            known = false;
            Accuracy::default()
        });
        // Two sources an instrument: what grows with the reading, and what does not.
        let (gain, offset) = (2 * branch.instrument, 2 * branch.instrument + 1);
        let one = Uncertain::new(branch.value, gain, accuracy.gain * branch.value / crate::units::COVERAGE)
            .with_part(offset, accuracy.offset / crate::units::COVERAGE);
        total = total.plus(&one);
    }
    Total { value: total.value, standard: known.then(|| total.standard()) }
}

/// One branch over time.
#[derive(Debug, Clone)]
pub struct Branch {
    pub name: String,
    /// Its current; all branches on one clock.
    pub series: Series,
    pub accuracy: Option<Accuracy>,
    pub instrument: SourceId,
}

/// Adds branches at the times of the first one at which all of them have a reading.
pub fn sum_over_time(branches: &[Branch]) -> Vec<(f64, Total)> {
    let Some(first) = branches.first() else {
        return Vec::new();
    };
    first
        .series
        .times()
        .filter_map(|time| {
            let readings: Option<Vec<Reading>> = branches
                .iter()
                .map(|branch| {
                    Some(Reading {
                        value: branch.series.at(time)?,
                        accuracy: branch.accuracy,
                        instrument: branch.instrument,
                    })
                })
                .collect();
            Some((time, sum(&readings?)))
        })
        .collect()
}

/// What is known beforehand.
#[derive(Debug, Clone, Copy, Default)]
pub struct FullLoadSettings {
    /// Rated continuous current, A.
    pub rated: f64,
    pub accuracies: Accuracies,
}

/// How the load came to its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LoadEnd {
    /// The terminals went dead under load: the BMS opened.
    BmsCutOff,
    TakenOff,
    /// The log ends under load.
    StillOn,
}

impl LoadEnd {
    /// In a sentence, and at a mark in a chart.
    pub fn words(self) -> (&'static str, &'static str) {
        match self {
            Self::BmsCutOff => ("the BMS opened under load", "BMS opened"),
            Self::TakenOff => ("the load was taken off", "load off"),
            Self::StillOn => ("the log ends under load", "end of the log"),
        }
    }
}

/// What a full-load test shows.
#[derive(Debug, Clone)]
pub struct FullLoad {
    /// Longest time at or above rated current beyond the uncertainty, s.
    pub surely: f64,
    /// Longest time for which it may have been, s.
    pub possibly: f64,
    pub end: LoadEnd,
    /// Mean current, voltage and power under load, A.
    pub mean_current: f64,
    /// Mean voltage, V, where there is one.
    pub mean_voltage: Option<f64>,
    /// Mean power, W, where there is a voltage.
    pub mean_power: Option<f64>,
    /// Charge and energy under load.
    pub integral: Integral,
    /// Whether the current may have come to the rated one at all.
    pub reached: bool,
    /// The highest current, A.
    pub highest: f64,
    /// What is missing for the times at or above rated current.
    pub missing: Vec<&'static str>,
}

/// Longest time without interruption.
#[derive(Debug, Default)]
struct Hold {
    began: Option<f64>,
    last: f64,
    below: u32,
    longest: f64,
    ever: bool,
}

impl Hold {
    fn take(&mut self, time: f64, above: bool, broken: bool) {
        if broken {
            self.began = None;
        }
        if above {
            self.ever = true;
            self.began.get_or_insert(time);
            self.last = time;
            self.below = 0;
        } else {
            self.below += 1;
            if self.below > DIPS {
                self.began = None;
            }
        }
        if let Some(began) = self.began {
            self.longest = self.longest.max(self.last - began);
        }
    }
}

/// Watches a full-load test, sample by sample.
#[derive(Debug, Default)]
pub struct FullLoadTest {
    settings: FullLoadSettings,
    surely: Hold,
    possibly: Hold,
    integrator: Integrator,
    volts: (f64, u64),
    under_load: Option<f64>,
    dead: bool,
    dead_samples: u32,
    off: bool,
    broken: bool,
    /// Time of the last sample and the interval before it, s.
    last: Option<(f64, f64)>,
    /// The highest current, A.
    highest: f64,
}

impl FullLoadTest {
    /// Starts watching.
    pub fn new(settings: FullLoadSettings) -> Self {
        Self { settings, ..Self::default() }
    }

    /// Takes a sample: s, V, A (positive out of the pack).
    pub fn push(&mut self, time: f64, voltage: f64, current: f64, after_break: bool) {
        self.broken |= after_break;
        if current.is_nan() || time.is_nan() {
            return;
        }
        let standard = self.settings.accuracies.current.map_or(0.0, |accuracy| accuracy.standard(current));
        let expanded = crate::units::COVERAGE * standard;
        let broken = std::mem::take(&mut self.broken);
        self.highest = self.highest.max(current);
        // What happened in a gap is not known: the load may have gone off and come on again.
        let step = self.last.map_or(0.0, |(before, _)| time - before);
        let gap = self.last.is_some_and(|(_, usual)| step > GAP && usual > 0.0 && step > GAP_STEPS * usual);
        self.last = Some((time, step));
        self.surely.take(time, current - expanded >= self.settings.rated, broken || gap);
        self.possibly.take(time, current + expanded >= self.settings.rated, broken);
        if current < OFF * self.settings.rated {
            self.off = self.under_load.is_some();
            if self.off && self.under_load.is_some_and(|v| voltage < DEAD * v) {
                self.dead = true;
                self.dead_samples += 1;
            } else if std::mem::take(&mut self.dead_samples) == 1 {
                // One sample alone may be a false reading.
                self.dead = false;
            }
            return;
        }
        if self.off && self.dead {
            // Load came back after a cut-off: the cut-off stays on record.
            self.broken = false;
        }
        self.off = false;
        self.integrator.push(time, voltage, current, broken);
        if voltage.is_finite() {
            self.under_load = Some(voltage);
            self.volts = (self.volts.0 + voltage, self.volts.1 + 1);
        } else {
            self.under_load.get_or_insert(f64::NAN);
        }
    }

    /// What the test shows, or `None` when the log holds no load.
    pub fn finish(self) -> Option<FullLoad> {
        let integral = self.integrator.finish(&self.settings.accuracies)?;
        let seconds = integral.duration();
        if seconds <= 0.0 {
            return None;
        }
        let end = if self.dead {
            LoadEnd::BmsCutOff
        } else if self.off {
            LoadEnd::TakenOff
        } else {
            LoadEnd::StillOn
        };
        let missing = [
            (self.settings.accuracies.current.is_none(), "the accuracy of the current's instrument"),
            (integral.restarts > 0, "the time for which the log's clock stood still"),
        ];
        #[expect(clippy::cast_precision_loss, reason = "a count of samples")]
        let mean_voltage = (self.volts.1 > 0).then(|| self.volts.0 / self.volts.1 as f64);
        Some(FullLoad {
            surely: self.surely.longest,
            possibly: self.possibly.longest,
            end,
            mean_current: integral.charge.value / seconds,
            mean_voltage,
            mean_power: integral.energy.map(|energy| energy.value / seconds),
            integral,
            reached: self.possibly.ever,
            highest: self.highest,
            missing: lacking(missing),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(value: f64, instrument: SourceId) -> Reading {
        Reading { value, accuracy: Some(Accuracy { gain: 0.02, offset: 0.0 }), instrument }
    }

    /// Branch readings of 77 A and 174 A add to 251 A (common practice, no source).
    #[test]
    fn branches() {
        let two = sum(&[reading(77.0, 1), reading(174.0, 2)]);
        assert_eq!(two.value, 251.0);
        assert!((two.standard.unwrap() - 77_f64.hypot(174.0) * 0.01).abs() < 1e-12);
        // One instrument moved from branch to branch: its gain acts on the whole.
        let one = sum(&[reading(77.0, 1), reading(174.0, 1)]);
        assert!((one.standard.unwrap() - 2.51).abs() < 1e-12);
        let unknown = sum(&[reading(77.0, 1), Reading { accuracy: None, ..reading(174.0, 2) }]);
        assert_eq!(unknown.standard, None);
        assert_eq!(sum(&[]).standard, None);
    }

    fn test(current: f64, minutes: u32, after: Option<f64>, gain: f64) -> FullLoad {
        let accuracy = Some(Accuracy { gain, offset: 0.0 });
        let mut test = FullLoadTest::new(FullLoadSettings {
            rated: 250.0,
            accuracies: Accuracies { voltage: accuracy, current: accuracy },
        });
        test.push(-1.0, 26.0, 0.0, false);
        let end = f64::from(minutes * 60);
        for t in 0..=minutes * 60 {
            test.push(f64::from(t), 25.0, current, false);
        }
        if let Some(v) = after {
            test.push(end + 1.0, v, 0.0, false);
        }
        test.finish().unwrap()
    }

    #[test]
    fn how_long_and_how_it_ended() {
        // Current, minutes, voltage after it, minutes surely and possibly at 250 A.
        let cases = [
            (256.0, 15, Some(26.0), LoadEnd::TakenOff, (15.0, 15.0)),
            (251.0, 15, Some(26.0), LoadEnd::TakenOff, (0.0, 15.0)),
            (256.0, 10, None, LoadEnd::StillOn, (10.0, 10.0)),
            (256.0, 10, Some(0.2), LoadEnd::BmsCutOff, (10.0, 10.0)),
            (240.0, 10, Some(0.2), LoadEnd::BmsCutOff, (0.0, 0.0)),
        ];
        for (current, minutes, after, end, (surely, possibly)) in cases {
            let found = test(current, minutes, after, 0.02);
            let times = [found.surely, found.possibly].map(|time| time / 60.0);
            assert_eq!((found.end, times, found.missing.len()), (end, [surely, possibly], 0), "{current}");
            assert_eq!(found.reached, possibly > 0.0);
        }
    }

    /// What flowed in a gap of two minutes is not known, and one dead sample is no BMS that opened.
    #[test]
    fn gaps_and_single_dead_samples() {
        let accuracy = Some(Accuracy { gain: 0.0, offset: 0.0 });
        let run = |gap: i32, dead: i32| {
            let mut test = FullLoadTest::new(FullLoadSettings {
                rated: 250.0,
                accuracies: Accuracies { voltage: accuracy, current: accuracy },
            });
            for t in (0..1300).filter(|t| !(500..500 + gap).contains(t)) {
                let off = t >= 1200;
                let volts = if off && t < 1200 + dead { 0.1 } else { 25.0 };
                test.push(f64::from(t), volts, if off { 0.0 } else { 256.0 }, false);
            }
            let found = test.finish().unwrap();
            (found.surely, found.possibly, found.end)
        };
        assert_eq!(run(0, 0), (1199.0, 1199.0, LoadEnd::TakenOff));
        assert_eq!(run(120, 1), (579.0, 1199.0, LoadEnd::TakenOff));
        assert_eq!(run(5, 2), (1199.0, 1199.0, LoadEnd::BmsCutOff));
    }
}
