//! A charge from empty to full, and the round trip with the discharge that belongs to it.
//!
//! A charge is complete when it ended by taper: at the charge voltage the current had fallen to a twentieth of the
//! capacity per hour. One that somebody stopped, that the BMS ended or that was still running put in *less* than
//! a full charge, so an efficiency from it would flatter the pack; none is given then.

use super::instrument::{Accuracies, Estimate};
use super::integrate::{Integral, Integrator};
use super::widen;

/// Part of the highest current from which on the charger counts as on.
const ON: f64 = 0.01;
/// Charge has tapered when its current is at or below this part of the capacity per hour (common practice, no
/// source: C/20).
pub const TAPER: f64 = 0.05;
/// Without a capacity: this part of the highest current.
const TAPER_OF_HIGHEST: f64 = 0.1;
/// The charge voltage is held while the voltage stays within this part of its highest.
const AT_VOLTAGE: f64 = 0.99;

/// How a charge came to its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ChargeEnd {
    /// The current had tapered at the charge voltage.
    Taper,
    /// The current broke off before it had tapered: the BMS opened, or somebody stopped it.
    BrokenOff,
    /// The log ends while it charges, before it had tapered.
    StillRunning,
}

/// What a charge shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Charge {
    /// Charge and energy into the pack; both positive.
    pub integral: Integral,
    pub end: ChargeEnd,
    /// Highest current into the pack, A.
    pub highest_current: f64,
    /// Current when it ended, A.
    pub end_current: f64,
    /// Highest voltage, V, where there is one.
    pub highest_voltage: Option<f64>,
    /// Lowest and highest temperature of any channel while it charged, K.
    pub temperatures: Option<(f64, f64)>,
}

/// Watches a charge, sample by sample.
#[derive(Debug)]
pub struct ChargeTest {
    capacity: Option<f64>,
    whole: Integrator,
    /// The integral as it was when the charge last went off.
    at_end: Option<Integrator>,
    /// The last sample under charge: V, A into the pack.
    last: (f64, f64),
    before: Option<(f64, f64, f64)>,
    started: bool,
    off: bool,
    highest: f64,
    highest_voltage: f64,
    temperatures: Option<(f64, f64)>,
}

impl ChargeTest {
    /// Starts watching; the capacity decides at which current a charge has tapered.
    pub fn new(capacity: Option<f64>) -> Self {
        Self {
            capacity,
            whole: Integrator::new(),
            at_end: None,
            last: (f64::NAN, 0.0),
            before: None,
            started: false,
            off: false,
            highest: 0.0,
            highest_voltage: f64::NEG_INFINITY,
            temperatures: None,
        }
    }

    /// Takes a sample: s, V, A (positive *into* the pack), temperatures in K.
    pub fn push(
        &mut self,
        time: f64,
        voltage: f64,
        into: f64,
        temperatures: impl IntoIterator<Item = f64>,
        after_break: bool,
    ) {
        if time.is_nan() || into.is_nan() {
            return;
        }
        self.highest = self.highest.max(into);
        let on = into > 0.0 && into >= ON * self.highest;
        if !self.started && on {
            self.started = true;
            if let Some((t, v, i)) = self.before {
                self.whole.push(t, v, i.max(0.0), false);
            }
        }
        self.before = Some((time, voltage, into));
        if !self.started {
            return;
        }
        if !on && !self.off {
            self.at_end = Some(self.whole.clone());
        }
        self.whole.push(time, voltage, into.max(0.0), after_break);
        self.off = !on;
        if on {
            self.at_end = None;
            self.last = (voltage, into);
            if voltage.is_finite() {
                self.highest_voltage = self.highest_voltage.max(voltage);
            }
            temperatures.into_iter().for_each(|t| widen(&mut self.temperatures, t));
        }
    }

    /// What the charge shows, or `None` when nothing flowed into the pack.
    pub fn finish(self, accuracies: &Accuracies) -> Option<Charge> {
        if !self.started {
            return None;
        }
        let (voltage, current) = self.last;
        let integral = self.at_end.as_ref().unwrap_or(&self.whole).finish(accuracies)?;
        let tapered_at = match self.capacity {
            Some(capacity) => TAPER * capacity / 3600.0,
            None => TAPER_OF_HIGHEST * self.highest,
        };
        let at_voltage = !voltage.is_finite() || voltage >= AT_VOLTAGE * self.highest_voltage;
        // A small current from the first to the last sample never was held back by the charge voltage.
        let fell = current < 0.9 * self.highest;
        let end = if current <= tapered_at && at_voltage && fell {
            ChargeEnd::Taper
        } else if self.off {
            ChargeEnd::BrokenOff
        } else {
            ChargeEnd::StillRunning
        };
        Some(Charge {
            integral,
            end,
            highest_current: self.highest,
            end_current: current,
            highest_voltage: Some(self.highest_voltage).filter(|v| v.is_finite()),
            temperatures: self.temperatures,
        })
    }
}

/// Coulomb and energy round trip: what came out over what went in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RoundTrip {
    /// Charge out over charge in.
    pub charge: Estimate,
    /// Energy out over energy in, where both logs have a voltage.
    pub energy: Option<Estimate>,
}

/// What a test moved: out of the pack in a discharge, into it in a charge. The sign does not count.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flow {
    /// Charge, C.
    pub charge: Estimate,
    /// Energy, J, where there is a voltage.
    pub energy: Option<Estimate>,
}

impl From<&Integral> for Flow {
    fn from(integral: &Integral) -> Self {
        Self { charge: integral.charge, energy: integral.energy }
    }
}

/// Round trip from a discharge and the charge after it; `None` when nothing went in.
///
/// Gain errors of one instrument used for both cancel; with two instruments (`same_instrument` false) they
/// do not.
pub fn round_trip(discharge: &Flow, charge: &Flow, same_instrument: bool) -> Option<RoundTrip> {
    let part = |out: Estimate, into: Estimate| {
        if into.value == 0.0 {
            return None;
        }
        let value = (out.value / into.value).abs();
        let relative = |x: f64, u: f64| if x == 0.0 { 0.0 } else { u / x };
        let sampling = relative(out.value, out.sampling).hypot(relative(into.value, into.sampling));
        let instrument = out.instrument.zip(into.instrument).map(|(a, b)| {
            let (a, b) = (relative(out.value, a).abs(), relative(into.value, b).abs());
            value * if same_instrument { (a - b).abs() } else { a.hypot(b) }
        });
        Some(Estimate::of(value, value * sampling, instrument))
    };
    Some(RoundTrip {
        charge: part(discharge.charge, charge.charge)?,
        energy: discharge.energy.zip(charge.energy).and_then(|(a, b)| part(a, b)),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::logs::instrument::Accuracy;

    #[test]
    fn round_trips() {
        let q = |current: f64, gain: f64| {
            let mut integrator = Integrator::new();
            for t in 0..=100 {
                integrator.push(f64::from(t), 25.0, current, false);
            }
            let accuracy = Some(Accuracy { gain, offset: 0.0 });
            Flow::from(&integrator.finish(&Accuracies { voltage: accuracy, current: accuracy }).unwrap())
        };
        let trip = round_trip(&q(30.0, 0.01), &q(-30.3, 0.01), true).unwrap();
        assert!((trip.charge.value - 30.0 / 30.3).abs() < 1e-12);
        assert!(trip.charge.instrument.unwrap() < 1e-12, "one instrument: its gain cancels");
        let two = round_trip(&q(30.0, 0.01), &q(-30.3, 0.01), false).unwrap();
        assert!((two.charge.instrument.unwrap() / two.charge.value - 0.005 * 2_f64.sqrt()).abs() < 1e-9);
        assert!(round_trip(&q(30.0, 0.01), &q(0.0, 0.01), true).is_none());
    }

    /// Constant current, then a taper with a time constant, cut where it is told to be.
    fn charge(until: f64, off_after: bool) -> Charge {
        let mut test = ChargeTest::new(Some(150.0 * 3600.0));
        for n in 0..=2000 {
            let t = f64::from(n) * 10.0;
            let i = if t < 100.0 {
                0.0
            } else if t < 10_000.0 {
                30.0
            } else {
                30.0 * (-(t - 10_000.0) / 1500.0).exp()
            };
            let v = if t < 10_000.0 { 26.0 + t * 3.2e-4 } else { 29.2 };
            if t > until {
                if off_after {
                    test.push(t, 27.5, 0.0, [298.0], false);
                }
                continue;
            }
            test.push(t, v, i, [298.0 + t / 10_000.0], false);
        }
        test.finish(&Accuracies::default()).unwrap()
    }

    #[test]
    fn how_a_charge_ended() {
        for (until, off, wanted) in [
            (13_000.0, true, ChargeEnd::Taper),
            (13_000.0, false, ChargeEnd::Taper),
            (9000.0, true, ChargeEnd::BrokenOff),
            (9000.0, false, ChargeEnd::StillRunning),
            (10_500.0, true, ChargeEnd::BrokenOff),
        ] {
            assert_eq!(charge(until, off).end, wanted, "{until} {off}");
        }
        // By hand: the step lies within the interval from 90 s to 100 s, so 5 s at 30 A come on top of 9900 s.
        let taper = 30.0 * 1500.0 * (1.0 - (-3000.0_f64 / 1500.0).exp());
        let whole = 30.0 * 9905.0 + taper;
        let found = charge(13_000.0, true).integral.charge.value;
        assert!((found / whole - 1.0).abs() < 1e-4, "{found} {whole}");
        assert!(ChargeTest::new(None).finish(&Accuracies::default()).is_none());
    }
}
