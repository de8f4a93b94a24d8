//! A capacity test: a discharge at a steady rate from full to the cut-off.
//!
//! The log may hold more than the discharge: of several that with the recorded current is the test, or the one with the
//! most charge. Pauses of any length are part of it as long as nothing is charged meanwhile and the load goes on with
//! about the same current; their time is told. It runs from the last sample without load to the first at which the stated cut-off is passed for good, to the last
//! sample before the pack was cut off, or to the end of the log. How it ended decides what the figure
//! means: a test that was still running, or that somebody stopped above the cut-off, shows *at least* its
//! charge and nothing more.

use super::account::{CHARGED_FALL, SAME};
use super::curve::{Curve, CurveFigures};
use super::instrument::{Accuracies, Estimate};
use super::integrate::{Integral, Integrator};
use super::{DEAD, widen};

/// Part of the set current from which on the load is on.
const ON: f64 = 0.1;
/// Load threshold where no current is stated, as a part of the claimed capacity per hour.
const ON_RATE: f64 = 0.02;
/// Load threshold where nothing is stated, A, and as a part of the largest current of the log: an instrument for 300 A
/// does not read nothing at rest.
const ON_BARE: f64 = 0.02;
const ON_PART: f64 = 0.02;
/// A pause up to this is part of the test even where the terminals are dead or the cut-off is near, s (common practice,
/// no source).
const PAUSE: f64 = 120.0;
/// A current is the one that was set when it is within this part of it (common practice, no source).
const AS_SET: f64 = 0.15;
/// A pause in which this part of the charge goes back into the pack ends the discharge; less is a pulse or a measurement.
const CHARGED: f64 = 0.005;
/// Current below this part of the load threshold is the offset of the instrument, not a load.
const OFFSET: f64 = 0.4;
/// Samples in a row below the cut-off that end the test; fewer are a flicker.
const BELOW: u32 = 3;
/// The load has stopped at its cut-off when the voltage was within this part above it.
const NEAR: f64 = 0.01;
/// Samples after the end that are looked at.
const AFTER: u32 = 10;
/// The current was held when it stayed within this part of its mean for [`HELD_SHARE`] of the charge.
const HELD: f64 = 0.05;
const HELD_SHARE: f64 = 0.95;

/// Whether a current, A, is the one that was set.
pub(crate) fn is_as_set(current: f64, set: f64) -> bool {
    (current / set.abs() - 1.0).abs() <= AS_SET
}

/// What is known beforehand.
#[derive(Debug, Clone, Copy, Default)]
pub struct CapacitySettings {
    /// Claimed capacity, C.
    pub claim: Option<f64>,
    /// Current that was set, A.
    pub current: Option<f64>,
    /// Cut-off voltage that was set, V.
    pub cutoff: Option<f64>,
    /// The instruments.
    pub accuracies: Accuracies,
}

/// How a discharge came to its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// The voltage had come to the stated cut-off.
    LoadCutOff,
    /// The terminals went dead under load: the BMS opened.
    BmsCutOff,
    /// The log ends under load, above the cut-off.
    StillRunning,
    /// The load went off above the cut-off, or no cut-off is stated.
    Stopped,
}

impl End {
    /// In a sentence, and at a mark in a chart.
    pub fn words(self) -> (&'static str, &'static str) {
        match self {
            Self::LoadCutOff => ("the load's cut-off was reached", "cut-off"),
            Self::BmsCutOff => ("the BMS opened", "BMS opened"),
            Self::StillRunning => ("the log ends under load, above the cut-off", "end of the log"),
            Self::Stopped => ("the load went off above the cut-off", "load off"),
        }
    }
}

/// What a discharge shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Capacity {
    /// Charge, energy, times, gaps.
    pub integral: Integral,
    /// How the end came.
    pub end: End,
    /// Mean current while discharging, A.
    pub mean_current: f64,
    /// Mean current over the claimed capacity, per hour.
    pub rate: Option<f64>,
    /// Whether the current was held at its mean.
    pub held: bool,
    /// Pauses inside the test.
    pub pauses: u32,
    /// Their time together, s.
    pub paused: f64,
    /// When a longer one began near the cut-off: it may have been the end, s.
    pub near_cutoff: Option<f64>,
    /// Whether it ran with the current that was set; true where none is stated.
    pub as_set: bool,
    /// Voltage at the end, under load, V.
    pub end_voltage: Option<f64>,
    /// Lowest and highest temperature of any channel, K.
    pub temperatures: Option<(f64, f64)>,
    /// Charge over claim, with its uncertainty.
    pub of_claim: Option<Estimate>,
    /// Voltage at depth of discharge, plateau, knee, sag; where the discharge is long enough to have them.
    pub curve: Option<CurveFigures>,
    /// Charge (C), voltage (V), current (A) and time (s) for pictures; bounded.
    pub points: Vec<super::curve::CurvePoint>,
}

#[derive(Clone)]
struct Run {
    integrator: Integrator,
    curve: Curve,
    last: (f64, f64, f64),
    below: u32,
    pauses: u32,
    paused_at: Option<f64>,
    /// Dead samples in a row during a pause.
    dead: u32,
    /// When a pause began near the cut-off that did not end the test, s.
    near_cutoff: Option<f64>,
    /// Highest voltage under load so far, V.
    highest: f64,
    /// Charge that went into the pack during pauses, C, and when it was last counted, s.
    charged: (f64, f64),
    temperatures: Option<(f64, f64)>,
}

struct Finished {
    run: Run,
    after: Vec<f64>,
    cut_off: bool,
    running: bool,
}

/// Looks for the discharge, sample by sample.
#[derive(Default)]
pub struct CapacityTest {
    settings: CapacitySettings,
    on: f64,
    /// The largest current so far, where the threshold follows it.
    largest: Option<f64>,
    cutoff: f64,
    before: Option<(f64, f64, f64)>,
    run: Option<Box<Run>>,
    /// The run as it was when the pause or the cut-off began.
    marked: Option<Box<Run>>,
    waiting: Option<Finished>,
    /// The test so far, whether it ran with the set current, and its charge.
    best: Option<(Finished, bool, f64)>,
    done: bool,
}

impl CapacityTest {
    /// Starts looking.
    pub fn new(settings: CapacitySettings) -> Self {
        let by_claim = settings.claim.map(|claim| ON_RATE * claim / 3600.0);
        let by_current = settings.current.map(|i| ON * i.abs());
        Self {
            on: by_current.or(by_claim).unwrap_or(ON_BARE).max(1e-6),
            cutoff: settings.cutoff.map_or(f64::NEG_INFINITY, |cutoff| cutoff),
            largest: (by_current.is_none() && by_claim.is_none()).then_some(0.0),
            settings,
            ..Self::default()
        }
    }

    /// Takes a sample: s, V, A (positive out of the pack), temperatures in K.
    pub fn push(
        &mut self,
        time: f64,
        voltage: f64,
        current: f64,
        temperatures: impl IntoIterator<Item = f64>,
        after_break: bool,
    ) {
        if current.is_nan() || time.is_nan() {
            return;
        }
        if after_break {
            self.before = None;
        }
        if let Some(largest) = self.largest.filter(|largest| current > *largest) {
            self.largest = Some(current);
            if ON_PART * current > self.on {
                self.raise(ON_PART * current, largest);
            }
        }
        let now = (time, voltage, current);
        if current >= self.on {
            self.under_load(now, temperatures, after_break);
        } else {
            self.without_load(now, after_break);
        }
        self.before = Some(now);
    }

    /// A far larger current shows that what passed for a load so far was rest.
    fn raise(&mut self, on: f64, largest: f64) {
        self.on = on;
        if largest >= on {
            return;
        }
        (self.run, self.marked, self.waiting, self.best) = (None, None, None, None);
        self.done = false;
    }

    fn under_load(
        &mut self,
        now: (f64, f64, f64),
        temperatures: impl IntoIterator<Item = f64>,
        after_break: bool,
    ) {
        self.settle();
        if self.done {
            // The cut-off was passed and the load went on: not part of the test.
            return;
        }
        if self.run.as_deref().is_some_and(|run| run.paused_at.is_some() && !run.goes_on(now)) {
            self.end_run(false);
            self.settle();
        }
        if self.run.is_none() {
            let mut integrator = Integrator::new();
            if let Some((t, v, i)) = self.before {
                integrator.push(t, v, i.max(0.0), false);
            }
            self.run = Some(Box::new(Run {
                integrator,
                curve: Curve::new(),
                last: now,
                below: 0,
                pauses: 0,
                paused_at: None,
                dead: 0,
                near_cutoff: None,
                highest: f64::NEG_INFINITY,
                charged: (0.0, now.0),
                temperatures: None,
            }));
        }
        let Some(run) = self.run.as_deref_mut() else {
            return;
        };
        if let Some(began) = run.paused_at.take() {
            if now.0 - began > PAUSE && run.last.1 <= self.cutoff + NEAR * self.cutoff.abs() {
                run.near_cutoff.get_or_insert(began);
            }
            run.pauses += 1;
            run.curve.rest((now.0 - began).max(0.0));
            self.marked = None;
        }
        temperatures.into_iter().for_each(|t| widen(&mut run.temperatures, t));
        let (_, voltage, _) = now;
        if voltage <= self.cutoff {
            if run.below == 0 {
                let mut cut = Box::new(run.clone());
                cut.reach(now, self.cutoff);
                self.marked = Some(cut);
            }
            run.below += 1;
        } else if run.below > 0 {
            run.below = 0;
            self.marked = None;
        }
        run.take(now, after_break);
        if run.below >= BELOW {
            self.run = None;
            self.done = true;
            if let Some(run) = self.marked.take() {
                self.offer(Finished { run: *run, after: Vec::new(), cut_off: true, running: false });
            }
        }
    }

    fn without_load(&mut self, now: (f64, f64, f64), after_break: bool) {
        self.done = false;
        if let Some(waiting) = &mut self.waiting
            && waiting.after.len() < AFTER as usize
        {
            waiting.after.push(now.1);
        }
        let Some(run) = self.run.as_deref_mut() else {
            return;
        };
        let began = match run.paused_at {
            Some(began) => began,
            None => {
                // The run without the pause, and with the interval in which the load went off unless the
                // cut-off was passed already.
                let cut_off = run.below > 0;
                if !cut_off {
                    let mut ended = Box::new(run.clone());
                    ended.integrator.push(now.0, now.1, now.2.max(0.0), after_break);
                    self.marked = Some(ended);
                }
                run.paused_at = Some(now.0);
                now.0
            }
        };
        let offset = now.2.abs() < OFFSET * self.on;
        run.integrator.push(now.0, now.1, if offset { 0.0 } else { now.2.max(0.0) }, after_break);
        // The voltages of the pause are those after the end, if it turns out to be the end.
        run.curve.pause(now.1);
        // One dead sample alone may be a false reading.
        run.dead = if now.1 < DEAD * run.last.1 { run.dead + 1 } else { 0 };
        let dead = run.dead > 1;
        let at_cut_off = run.below > 0 || run.last.1 <= self.cutoff;
        let since = (now.0 - run.charged.1.max(began)).max(0.0);
        run.charged = (run.charged.0 + if offset { 0.0 } else { (-now.2).max(0.0) * since }, now.0);
        if run.charged.0 > CHARGED * run.integrator.charge_so_far()
            || (now.0 - began > PAUSE && (dead || at_cut_off))
        {
            self.end_run(false);
        }
    }

    /// Ends the run at its mark.
    fn end_run(&mut self, running: bool) {
        let Some(run) = self.run.take() else { return };
        let cut_off = run.below > 0;
        let after = run.curve.paused().to_vec();
        let paused = run.paused_at.is_some();
        let ended = match self.marked.take() {
            Some(marked) => *marked,
            None => *run,
        };
        self.offer(Finished { run: ended, after, cut_off, running: running && !paused });
    }

    fn offer(&mut self, finished: Finished) {
        self.settle();
        self.waiting = Some(finished);
    }

    /// The run that waits for what follows it is complete: keep the larger one.
    fn settle(&mut self) {
        let Some(waiting) = self.waiting.take() else {
            return;
        };
        let (charge, current) = (waiting.run.integrator.charge_so_far(), waiting.run.current().0);
        let as_set = self.settings.current.is_none_or(|set| is_as_set(current, set));
        let better = self.best.as_ref().is_none_or(|(_, was_set, most)| (as_set, charge) > (*was_set, *most));
        if better {
            self.best = Some((waiting, as_set, charge));
        }
    }

    /// What the discharge shows, or `None` when the log holds no discharge.
    pub fn finish(mut self) -> Option<Capacity> {
        self.end_run(true);
        self.settle();
        let (best, as_set, _) = self.best.take()?;
        let integral = best.run.integrator.finish(&self.settings.accuracies)?;
        let end = self.how_it_ended(&best);
        let _charge = integral.charge.value;
        let points = best.run.curve.points();
        let (mean, held) = best.run.current();
        let of_claim = self.settings.claim.map(|claim| {
            let Estimate { value, sampling, instrument, .. } = integral.charge;
            let scale = 1.0 / claim;
            Estimate::of(value * scale, sampling * scale, instrument.map(|u| u * scale))
        });
        Some(Capacity {
            end,
            mean_current: mean,
            rate: self.settings.claim.map(|claim| mean * 3600.0 / claim),
            held,
            pauses: best.run.pauses,
            paused: best.run.curve.rested(),
            near_cutoff: best.run.near_cutoff,
            as_set,
            end_voltage: Some(best.run.last.1).filter(|v| v.is_finite()),
            temperatures: best.run.temperatures,
            of_claim,
            curve: best.run.curve.figures(),
            points,
            integral,
        })
    }

    fn how_it_ended(&self, best: &Finished) -> End {
        if best.cut_off {
            return End::LoadCutOff;
        }
        if best.running {
            return End::StillRunning;
        }
        // One sample alone may be a false reading.
        let mut after = best.after.clone();
        after.sort_by(f64::total_cmp);
        let lowest = after.get(1).or(after.first()).copied().unwrap_or(f64::INFINITY);
        if lowest < DEAD * best.run.last.1 {
            End::BmsCutOff
        } else if best.run.last.1 <= self.cutoff + NEAR * self.cutoff.abs() {
            End::LoadCutOff
        } else {
            End::Stopped
        }
    }
}

impl Run {
    /// Mean current, A, and whether it was held; the second is not known without a voltage.
    fn current(&self) -> (f64, bool) {
        let (mean, held) = self.curve.current(HELD, HELD_SHARE);
        let seconds = self.last.0 - self.integrator.began().unwrap_or(self.last.0) - self.curve.rested();
        if mean == 0.0 && seconds > 0.0 {
            (self.integrator.charge_so_far() / seconds, false)
        } else {
            (mean, held)
        }
    }

    fn take(&mut self, now: (f64, f64, f64), after_break: bool) {
        let (time, voltage, current) = now;
        self.integrator.push(time, voltage, current, after_break);
        self.curve.push(time, self.integrator.charge_so_far(), voltage, current);
        self.highest = self.highest.max(voltage);
        self.last = now;
    }

    /// Whether a load after a pause belongs to this discharge: about the same current, on a pack that was not charged
    /// meanwhile.
    fn goes_on(&self, now: (f64, f64, f64)) -> bool {
        let (_, before, current) = self.last;
        let short = self.paused_at.is_some_and(|began| now.0 - began <= PAUSE);
        let fell = self.highest - before;
        let charged = fell > CHARGED_FALL * self.highest.abs() && now.1 > self.highest;
        short || ((now.2 / current - 1.0).abs() <= SAME && !charged)
    }

    /// Goes on to the moment between the last sample and this one at which the cut-off was reached.
    fn reach(&mut self, now: (f64, f64, f64), cutoff: f64) {
        let (t0, v0, i0) = self.last;
        let part = if v0 > now.1 { ((v0 - cutoff) / (v0 - now.1)).clamp(0.0, 1.0) } else { 0.0 };
        let at = |a: f64, b: f64| a + (b - a) * part;
        self.take((at(t0, now.0), cutoff, at(i0, now.2)), false);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::logs::instrument::Accuracy;

    fn settings(claim: f64) -> CapacitySettings {
        let accuracy = Some(Accuracy { gain: 0.005, offset: 0.0 });
        CapacitySettings {
            claim: Some(claim * 3600.0),
            current: Some(92.0),
            cutoff: Some(10.0),
            accuracies: Accuracies { voltage: accuracy, current: accuracy },
        }
    }

    /// 92 A for `hours` with a straight fall of the voltage that reaches `end`, then what follows.
    fn run(hours: f64, end: f64, after: Option<f64>, settings: CapacitySettings) -> Capacity {
        let mut test = CapacityTest::new(settings);
        let seconds = (hours * 3600.0).round();
        let steps = 2000_u32;
        for n in 0..5 {
            test.push(f64::from(n) - 5.0, 13.4, 0.0, [298.0], false);
        }
        for n in 0..=steps {
            let part = f64::from(n) / f64::from(steps);
            test.push(part * seconds, 13.2 - (13.2 - end) * part, 92.0, [298.0 + part], false);
        }
        for n in 1..=200 {
            if let Some(v) = after {
                test.push(seconds + f64::from(n), v, 0.0, [299.0], false);
            }
        }
        test.finish().unwrap()
    }

    #[test]
    fn how_the_end_came() {
        for (hours, end, after, wanted) in [
            (4.5, 10.0, Some(11.0), End::LoadCutOff),
            (4.5, 11.5, Some(0.1), End::BmsCutOff),
            (4.5, 11.5, None, End::StillRunning),
            (4.5, 11.5, Some(12.0), End::Stopped),
            (5.0, 10.0, Some(11.0), End::LoadCutOff),
        ] {
            let found = run(hours, end, after, settings(460.0));
            assert_eq!(found.end, wanted);
        }
    }

    /// Nothing is stated, and the instrument shows 0.3 A at rest: the load is what stands out, whenever it comes.
    #[test]
    fn the_threshold_follows_the_log() {
        let mut test = CapacityTest::new(CapacitySettings::default());
        for n in 0..=7200 {
            let current = if (1800..5400).contains(&n) { 92.3 } else { 0.3 };
            test.push(f64::from(n), 13.0, current, [], false);
        }
        let found = test.finish().unwrap();
        let charge = found.integral.charge.value / 3600.0;
        assert!((charge - 92.3).abs() < 0.1, "{charge}");
        assert_eq!(found.end, End::Stopped);
    }

    /// The load goes on below the stated cut-off: only what lies above it counts.
    #[test]
    fn the_cut_off_is_where_it_was_stated() {
        let found = run(5.0, 9.0, Some(11.0), settings(460.0));
        let wanted = 460.0 * (13.2 - 10.0) / (13.2 - 9.0);
        let charge = found.integral.charge.value / 3600.0;
        assert!((charge - wanted).abs() < 0.03, "{charge} {wanted}");
        assert_eq!(found.end, End::LoadCutOff);
    }
}
