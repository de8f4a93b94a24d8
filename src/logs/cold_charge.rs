//! A cold-charge test: whether the pack keeps charge current out of cells that are too cold.
//!
//! What flows into the pack is not what flows into the cells: a heater draws from the charger too. Current
//! while the cells are cold therefore shows nothing by itself. It is *blocked* when what flows is nothing, or
//! is what the heater takes; *not blocked* when it is more than that; and *not decided* when the heater is
//! not known, when the cells were never cold, or when nothing shows that the charger was on at all.

use uom::si::electric_current::ampere;
use uom::si::energy::joule;
use uom::si::f64::{
    ElectricCurrent, Energy, HeatCapacity, Power, TemperatureInterval, ThermodynamicTemperature, Time,
};
use uom::si::heat_capacity::joule_per_kelvin;
use uom::si::power::watt;
use uom::si::temperature_interval::kelvin as kelvin_difference;
use uom::si::thermodynamic_temperature::kelvin;
use uom::si::time::second;

use super::instrument::{Accuracies, Accuracy, Verdict};
use super::integrate::Sum;
use crate::units::COVERAGE;

/// Losses to the surroundings are part of any warm-up: this share of the heat at least must be found in the
/// cells for a warm-up by the heater alone to be plausible (common practice, no source).
const SHARE_IN_CELLS: f64 = 0.2;

/// What is known beforehand.
#[derive(Debug, Clone, Copy)]
pub struct ColdChargeSettings {
    /// Below this cell temperature charging is to be blocked (0 °C for LFP; common practice, no source).
    pub limit: ThermodynamicTemperature,
    /// Currents up to this are leakage of the electronics, not charge.
    pub threshold: ElectricCurrent,
    /// Power of the heater and its expanded uncertainty; zero where the pack has none.
    pub heater: Option<(Power, Power)>,
    /// Mass times specific heat of the cells.
    pub cells: Option<HeatCapacity>,
    /// Accuracy of the thermometer (offset in K).
    pub thermometer: Option<Accuracy>,
    /// The instruments.
    pub accuracies: Accuracies,
}

/// Whether the warm-up fits the heat that went in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum WarmUp {
    /// It does; the share of the heat that the cells took up.
    Plausible(f64),
    /// The cells took up more than the heater gave: heat came from elsewhere, or the sensor is not on them.
    TooFast(f64),
    /// They took up so little that heat went elsewhere, or the sensor lags.
    TooSlow(f64),
}

/// What a cold-charge test shows.
#[derive(Debug, Clone, PartialEq)]
pub struct ColdCharge {
    /// Lowest cell temperature.
    pub coldest: Option<ThermodynamicTemperature>,
    /// Time spent below the limit.
    pub time_cold: Time,
    /// Highest current into the pack while the cells were cold.
    pub highest_cold_current: ElectricCurrent,
    /// Mean power into the pack while they were cold and current flowed: the heater's, if it is blocked.
    pub cold_power: Option<Power>,
    /// Energy into the pack while they were cold.
    pub cold_energy: Option<Energy>,
    /// From the first sample below the limit to the first charge above it.
    pub time_to_release: Option<Time>,
    /// Cell temperature at that release.
    pub release_temperature: Option<ThermodynamicTemperature>,
    /// Warm-up of the cells while they were cold.
    pub warm_up: Option<TemperatureInterval>,
    /// Whether that fits the heat.
    pub plausible: Option<WarmUp>,
    /// Whether charging was blocked; `Meets` is blocked, `FallsShort` is not blocked.
    pub verdict: Verdict,
}

/// Watches a cold-charge test, sample by sample.
#[derive(Debug)]
pub struct ColdChargeTest {
    settings: ColdChargeSettings,
    last: Option<(f64, f64, f64, bool)>,
    first_cold: Option<(f64, f64)>,
    last_cold: f64,
    coldest: f64,
    warmest_cold: f64,
    time_cold: Sum,
    time_flowing: Sum,
    energy: Sum,
    highest: f64,
    has_voltage: bool,
    has_current: bool,
    release: Option<(f64, f64)>,
    samples_cold: u64,
}

impl ColdChargeTest {
    /// Starts watching.
    #[must_use]
    pub fn new(settings: ColdChargeSettings) -> Self {
        Self {
            settings,
            last: None,
            first_cold: None,
            last_cold: 0.0,
            coldest: f64::INFINITY,
            warmest_cold: f64::NEG_INFINITY,
            time_cold: Sum::default(),
            time_flowing: Sum::default(),
            energy: Sum::default(),
            highest: 0.0,
            has_voltage: true,
            has_current: false,
            release: None,
            samples_cold: 0,
        }
    }

    /// Takes a sample: s, V, A (positive *out of* the pack, as the reader gives it), cell temperature in K.
    pub fn push(&mut self, time: f64, voltage: f64, current: f64, cell: f64, after_break: bool) {
        if time.is_nan() || cell.is_nan() || current.is_nan() {
            return;
        }
        self.has_current = true;
        let into = -current;
        let limit = self.settings.limit.get::<kelvin>();
        let threshold = self.settings.threshold.get::<ampere>().abs();
        let margin = self.settings.thermometer.map_or(0.0, |thermometer| thermometer.offset);
        self.coldest = self.coldest.min(cell);
        // Cold beyond the thermometer's uncertainty.
        let cold = cell + margin < limit;
        if cold {
            self.samples_cold += 1;
            self.first_cold.get_or_insert((time, cell));
            self.last_cold = cell;
            self.warmest_cold = self.warmest_cold.max(cell);
            self.highest = self.highest.max(into);
            self.has_voltage &= voltage.is_finite();
        } else if self.first_cold.is_some()
            && self.release.is_none()
            && self.beyond_heater(voltage, into, threshold)
        {
            self.release = Some((time, cell));
        }
        let power = if into > threshold { voltage * into } else { 0.0 };
        if cold
            && !after_break
            && let Some((before, p0, _, true)) = self.last
        {
            let step = time - before;
            self.time_cold.add(step);
            self.energy.add(step * (p0 + power) / 2.0);
            if into > threshold {
                self.time_flowing.add(step);
            }
        }
        self.last = Some((time, power, into, cold));
    }

    /// Whether more flows in than a heater that is still on would take.
    fn beyond_heater(&self, voltage: f64, into: f64, threshold: f64) -> bool {
        match self.settings.heater {
            Some((heater, expanded)) if voltage.is_finite() && into > threshold => {
                voltage * into > (heater + expanded).get::<watt>()
            }
            _ => into > threshold,
        }
    }

    /// What the test shows.
    #[must_use]
    pub fn finish(self) -> ColdCharge {
        let flowing = self.time_flowing.value();
        let power = (self.has_voltage && flowing > 0.0).then(|| self.energy.value() / flowing);
        let rise = self.first_cold.map(|(_, first)| self.last_cold - first);
        let energy = (self.has_voltage && self.samples_cold > 0).then(|| self.energy.value());
        ColdCharge {
            coldest: self.coldest.is_finite().then(|| ThermodynamicTemperature::new::<kelvin>(self.coldest)),
            time_cold: Time::new::<second>(self.time_cold.value()),
            highest_cold_current: ElectricCurrent::new::<ampere>(self.highest),
            cold_power: power.map(Power::new::<watt>),
            cold_energy: energy.map(Energy::new::<joule>),
            time_to_release: self
                .release
                .zip(self.first_cold)
                .map(|((release, _), (first, _))| Time::new::<second>(release - first)),
            release_temperature: self.release.map(|(_, cell)| ThermodynamicTemperature::new::<kelvin>(cell)),
            warm_up: rise.map(TemperatureInterval::new::<kelvin_difference>),
            plausible: self.plausible(rise, energy),
            verdict: self.judge(power),
        }
    }

    /// Heat in the cells (C·ΔT) against the energy that went in.
    fn plausible(&self, rise: Option<f64>, energy: Option<f64>) -> Option<WarmUp> {
        let (rise, energy) = (rise?, energy.filter(|energy| *energy > 0.0)?);
        let cells = self.settings.cells?.get::<joule_per_kelvin>();
        let thermometer = self.settings.thermometer?.offset * std::f64::consts::SQRT_2;
        let share = cells * rise / energy;
        let slack = cells * thermometer / energy;
        Some(if share - slack > 1.0 {
            WarmUp::TooFast(share)
        } else if share + slack < SHARE_IN_CELLS {
            WarmUp::TooSlow(share)
        } else {
            WarmUp::Plausible(share)
        })
    }

    fn judge(&self, power: Option<f64>) -> Verdict {
        if !self.has_current {
            return Verdict::missing("current and cell temperature in one log");
        }
        if self.settings.thermometer.is_none() {
            return Verdict::missing("the accuracy of the thermometer on the cells");
        }
        if self.samples_cold < 2 {
            return Verdict::missing(
                "cells below the limit: they were never colder than it beyond the thermometer's uncertainty",
            );
        }
        let threshold = self.settings.threshold.get::<ampere>().abs();
        if self.highest <= threshold {
            return if self.release.is_some() {
                Verdict::Meets
            } else {
                Verdict::missing(
                    "charge current once the cells were warm: without it nothing shows that the charger was on",
                )
            };
        }
        let Some((heater, heater_expanded)) = self.settings.heater else {
            return Verdict::missing(
                "the power of the heater, or a current measured at the cells: what flowed may have gone into either",
            );
        };
        let Some(power) = power else {
            return Verdict::missing(
                "the voltage while current flowed, to compare its power with the heater's",
            );
        };
        let (Some(current), Some(voltage)) =
            (self.settings.accuracies.current, self.settings.accuracies.voltage)
        else {
            return Verdict::missing(
                "the accuracies of the instruments, to compare the power with the heater's",
            );
        };
        let mean_current = power * self.highest / (power + f64::MIN_POSITIVE);
        let measured = COVERAGE
            * (current.standard(mean_current) / mean_current.max(f64::MIN_POSITIVE))
                .hypot(voltage.gain / COVERAGE)
            * power;
        let (heater, heater_expanded) = (heater.get::<watt>(), heater_expanded.get::<watt>());
        let limit = measured.hypot(heater_expanded);
        if power - heater > limit {
            Verdict::FallsShort
        } else if limit > heater {
            Verdict::missing("smaller uncertainties: charge current would be lost in that of the heater")
        } else {
            Verdict::Meets
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 33 °F is 0.6 °C, above a limit of 0 °C (exact conversion).
    const ZERO: f64 = crate::physics::ZERO_CELSIUS;

    fn settings() -> ColdChargeSettings {
        let accuracy = Some(Accuracy { gain: 0.01, offset: 0.0 });
        ColdChargeSettings {
            limit: ThermodynamicTemperature::new::<kelvin>(ZERO),
            threshold: ElectricCurrent::new::<ampere>(0.1),
            heater: Some((Power::new::<watt>(100.0), Power::new::<watt>(10.0))),
            // 20 kg at 1000 J/(kg·K).
            cells: Some(HeatCapacity::new::<joule_per_kelvin>(20_000.0)),
            thermometer: Some(Accuracy { gain: 0.0, offset: 0.5 }),
            accuracies: Accuracies { voltage: accuracy, current: accuracy },
        }
    }

    /// From −10 °C upwards by `warm` K/s; `cold` A while cold, `after` A above 1 °C.
    fn run(cold: f64, after: f64, warm: f64, settings: ColdChargeSettings) -> ColdCharge {
        let mut test = ColdChargeTest::new(settings);
        for n in 0..4000 {
            let t = f64::from(n);
            let cell = ZERO - 10.0 + warm * t;
            let into = if cell < ZERO + 1.0 { cold } else { after };
            test.push(t, 25.0, -into, cell, false);
        }
        test.finish()
    }

    #[test]
    fn verdicts() {
        let decided =
            [(0.0, 10.0, Verdict::Meets), (4.0, 10.0, Verdict::Meets), (10.0, 10.0, Verdict::FallsShort)];
        for (cold, after, wanted) in decided {
            assert_eq!(run(cold, after, 0.004, settings()).verdict, wanted, "{cold} A");
        }
        let open: [(f64, f64, ColdChargeSettings, &str); 4] = [
            (0.0, 0.0, settings(), "charger was on"),
            (4.0, 10.0, ColdChargeSettings { heater: None, ..settings() }, "power of the heater"),
            (0.0, 10.0, ColdChargeSettings { thermometer: None, ..settings() }, "thermometer"),
            (
                0.0,
                10.0,
                ColdChargeSettings {
                    limit: ThermodynamicTemperature::new::<kelvin>(ZERO - 20.0),
                    ..settings()
                },
                "never colder",
            ),
        ];
        for (cold, after, settings, part) in open {
            match run(cold, after, 0.004, settings).verdict {
                Verdict::NotDecided(missing) => assert!(missing[0].contains(part), "{missing:?}"),
                decided => panic!("{part}: {decided:?}"),
            }
        }
        assert!(matches!(ColdChargeTest::new(settings()).finish().verdict, Verdict::NotDecided(_)));
    }

    /// 100 W for 2375 s into 20 kg of cells: 0.004 K/s take up 80 % (first law by hand).
    #[test]
    fn warm_up() {
        let found = run(4.0, 10.0, 0.004, settings());
        assert!((found.cold_power.unwrap().get::<watt>() - 100.0).abs() < 1e-9);
        match found.plausible.unwrap() {
            WarmUp::Plausible(share) => assert!((share - 0.8).abs() < 0.01, "{share}"),
            other => panic!("{other:?}"),
        }
        let fast = run(4.0, 10.0, 0.02, settings());
        assert!(matches!(fast.plausible, Some(WarmUp::TooFast(_))));
        assert!(found.time_to_release.unwrap().get::<second>() > 2500.0);
        assert!(found.release_temperature.unwrap().get::<kelvin>() >= ZERO + 1.0);
    }
}
