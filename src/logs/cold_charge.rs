//! A cold-charge test: how much current flowed into the cells while they were too cold for it.
//!
//! What flows into the pack is not what flows into the cells: a heater draws from the charger too, so that current
//! while the cells are cold shows nothing by itself. What the heater takes is subtracted where its power is known; where
//! it is not, anything between nothing and the whole may have flowed into the cells. Whether the cells were cold is known
//! within the thermometer's uncertainty: the current is told for the time in which they surely were and for that in
//! which they may have been. Where nothing flowed and nothing shows that the charger was on, the current is a lower bound.

use super::instrument::{Accuracies, Accuracy};
use super::integrate::Sum;
use super::lacking;
use crate::units::{COVERAGE, Dimension, show, show_uncertain};

/// Cells keep their temperature for this long, s, without a reading (common practice, no source).
const STILL: f64 = 120.0;

/// What is known beforehand.
#[derive(Debug, Clone, Copy, Default)]
pub struct ColdChargeSettings {
    /// Below this cell temperature the cells are cold, K.
    pub limit: f64,
    /// Currents up to this are the electronics' own, not charge, A.
    pub threshold: f64,
    /// Power of the heater and its expanded uncertainty, W; zero where the pack has none, `None` where it is not known.
    pub heater: Option<(f64, f64)>,
    /// Mass times specific heat of the cells, J/K.
    pub cells: Option<f64>,
    /// Accuracy of the thermometer (offset in K).
    pub thermometer: Option<Accuracy>,
    /// Somebody saw that the charger was on while the cells were cold.
    pub charger_on: bool,
    /// Voltage at the terminals that the cells alone cannot give, V: above it a charger is on.
    pub charger_volts: Option<f64>,
    /// The record says which way the log's current counts. Where it does not, a log whose current never changes its sign
    /// does not show it either.
    pub sign_stated: bool,
    /// What its sensor may miss, as a share of its distance from the air, and the temperature of the air, K.
    pub lag: Option<(f64, f64)>,
    pub accuracies: Accuracies,
}

/// Current into the cells while they were cold, A, and what stands against knowing it better.
#[derive(Debug, Clone, PartialEq)]
pub struct ColdCurrent {
    /// The least that flowed.
    pub low: f64,
    /// The most that may have flowed in what the log shows.
    pub high: f64,
    /// Why more than that may flow: what the test does not show at all.
    pub at_least: Vec<String>,
    /// What would bring the two ends together.
    pub width: Vec<String>,
}

/// What a cold-charge test shows.
#[derive(Debug, Clone, PartialEq)]
pub struct ColdCharge {
    /// Lowest cell temperature, K.
    pub coldest: Option<f64>,
    /// Time spent below the limit, s.
    pub time_cold: f64,
    /// Highest current into the pack while the cells were surely cold, A.
    pub highest_cold_current: f64,
    /// Mean power into the pack while they were cold and current flowed: the heater's, if it is blocked, W.
    pub cold_power: Option<f64>,
    /// Energy into the pack while they were cold, J.
    pub cold_energy: Option<f64>,
    /// From the first sample below the limit to the first charge above it, s.
    pub time_to_release: Option<f64>,
    /// Cell temperature at that release, K.
    pub release_temperature: Option<f64>,
    /// Warm-up of the cells while they were cold, K.
    pub warm_up: Option<f64>,
    /// Heat in the cells over the energy that went in while they were cold, with its expanded uncertainty from the
    /// thermometer.
    pub heat_in_cells: Option<(f64, f64)>,
    /// Current into the cells while they were cold, or what is missing for it.
    pub current: Result<ColdCurrent, Vec<&'static str>>,
}

/// What is kept of a sample until the next one.
#[derive(Debug, Clone, Copy)]
struct Last {
    time: f64,
    /// Power and current into the pack, where they are more than the electronics' own.
    power: f64,
    into: f64,
    cold: bool,
    /// Temperature of the cells, K, when it was read, s, and whether they were surely warm.
    cell: f64,
    read: f64,
    warm: bool,
    /// More flows in than a heater takes.
    charging: bool,
}

/// Watches a cold-charge test, sample by sample.
#[derive(Debug, Default)]
pub struct ColdChargeTest {
    settings: ColdChargeSettings,
    last: Option<Last>,
    first_cold: Option<(f64, f64)>,
    last_cold: f64,
    coldest: f64,
    time_cold: Sum,
    time_flowing: Sum,
    energy: Sum,
    charge: Sum,
    highest: f64,
    /// The highest current out of the pack while the cells were cold, or may have been.
    highest_out: f64,
    /// Current into the pack was seen at any time.
    seen_into: bool,
    /// A charger's voltage was at the terminals while the cells were cold and nothing flowed.
    charger_seen: bool,
    /// The most that may have flowed into the cells while they may have been cold, the current into the pack then, and
    /// the cells' temperature.
    perhaps: Option<(f64, f64, f64)>,
    /// The highest current into the pack while nothing shows how cold the cells were, A.
    blind: f64,
    has_voltage: bool,
    has_current: bool,
    release: Option<(f64, f64)>,
    samples_cold: u64,
}

impl ColdChargeTest {
    /// Starts watching.
    pub fn new(settings: ColdChargeSettings) -> Self {
        Self { settings, coldest: f64::INFINITY, has_voltage: true, ..Self::default() }
    }

    /// Takes a sample: s, V, A (positive *out of* the pack, as the reader gives it), cell temperature in K.
    pub fn push(&mut self, time: f64, voltage: f64, current: f64, cell: f64, after_break: bool) {
        if time.is_nan() || current.is_nan() {
            return;
        }
        let into = -current;
        // A code of the thermometer between its readings hides nothing.
        let (cell, read) = match self.last {
            Some(last) if cell.is_nan() && time - last.read < STILL => (last.cell, last.read),
            _ => (cell, time),
        };
        if cell.is_nan() {
            if into > self.settings.threshold.abs() {
                self.blind = self.blind.max(into);
            }
            return;
        }
        self.has_current = true;
        let limit = self.settings.limit;
        let threshold = self.settings.threshold.abs();
        let margin = self.settings.thermometer.map_or(0.0, |thermometer| thermometer.offset);
        self.coldest = self.coldest.min(cell);
        self.seen_into |= into > threshold;
        // The cells may be farther from the air than the sensor says.
        let lag = self.settings.lag.map_or(0.0, |(share, air)| share * (cell - air));
        let warm = cell + lag.min(0.0) - margin >= limit;
        let charging = self.beyond_heater(voltage, into, threshold);
        // Cold beyond the thermometer's uncertainty.
        let cold = cell + lag.max(0.0) + margin < limit;
        if cell + lag.min(0.0) - margin < limit {
            self.highest_out = self.highest_out.max(current);
        }
        if cold {
            self.samples_cold += 1;
            self.first_cold.get_or_insert((time, cell));
            self.last_cold = cell;
            self.highest = self.highest.max(into);
            let volts = self.settings.accuracies.voltage.map_or(0.0, |of| COVERAGE * of.standard(voltage));
            let charger = self.settings.charger_volts.is_some_and(|least| voltage - volts > least);
            self.charger_seen |= charger && current.abs() <= threshold;
            self.has_voltage &= voltage.is_finite();
        } else if cell + lag.min(0.0) - margin < limit {
            let most = self.most_beside_heater(voltage, into);
            if self.perhaps.is_none_or(|(highest, ..)| most > highest) {
                self.perhaps = Some((most, into, cell));
            }
        }
        if !cold && self.first_cold.is_some() && self.release.is_none() && charging {
            self.release = Some((time, cell));
        }
        // In an interval in which the cells warmed or cooled and the current came or went, it may have flowed while they
        // were cold.
        if let Some(last) = self.last.filter(|last| last.warm != warm && (cell - last.cell).abs() > margin) {
            let most = self.most_beside_heater(voltage, into.max(last.into));
            if charging != last.charging && self.perhaps.is_none_or(|(highest, ..)| most > highest) {
                self.perhaps = Some((most, into.max(last.into), cell.min(last.cell)));
            }
        }
        let flows = if into > threshold { into } else { 0.0 };
        let power = if into > threshold { voltage * into } else { 0.0 };
        if cold
            && !after_break
            && let Some(last) = self.last.filter(|last| last.cold)
        {
            let step = time - last.time;
            self.time_cold.add(step);
            self.energy.add(step * (last.power + power) / 2.0);
            self.charge.add(step * (last.into + flows) / 2.0);
            if into > threshold {
                self.time_flowing.add(step);
            }
        }
        self.last = Some(Last { time, power, into: flows, cold, cell, read, warm, charging });
    }

    /// The most of a current that may have gone into the cells, A: without what the heater takes, unless so little flows
    /// that the heater cannot have been on.
    fn most_beside_heater(&self, voltage: f64, into: f64) -> f64 {
        let expanded =
            |current: f64| COVERAGE * self.settings.accuracies.current.map_or(0.0, |a| a.standard(current));
        let all = into + expanded(into);
        let Some((heater, of_heater)) = self.settings.heater.filter(|_| voltage > 0.0) else { return all };
        let (heater, of_heater) = (heater / voltage, of_heater / voltage);
        let rest = into - heater + expanded(into).hypot(of_heater);
        if rest < 0.0 { all } else { rest }
    }

    /// Whether more flows in than a heater that is still on would take.
    fn beyond_heater(&self, voltage: f64, into: f64, threshold: f64) -> bool {
        match self.settings.heater {
            Some((heater, expanded)) if voltage.is_finite() && into > threshold => {
                voltage * into > (heater + expanded)
            }
            _ => into > threshold,
        }
    }

    /// What the test shows.
    pub fn finish(self) -> ColdCharge {
        let flowing = self.time_flowing.value();
        let power = (self.has_voltage && flowing > 0.0).then(|| self.energy.value() / flowing);
        let rise = self.first_cold.map(|(_, first)| self.last_cold - first);
        let energy = (self.has_voltage && self.samples_cold > 0).then(|| self.energy.value());
        ColdCharge {
            coldest: self.coldest.is_finite().then_some(self.coldest),
            time_cold: self.time_cold.value(),
            highest_cold_current: self.highest,
            cold_power: power,
            cold_energy: energy,
            time_to_release: self
                .release
                .zip(self.first_cold)
                .map(|((release, _), (first, _))| release - first),
            release_temperature: self.release.map(|(_, cell)| cell),
            warm_up: rise,
            heat_in_cells: self.heat_in_cells(rise, energy),
            current: self.cold_current(),
        }
    }

    /// Heat in the cells (C·ΔT) over the energy that went in.
    fn heat_in_cells(&self, rise: Option<f64>, energy: Option<f64>) -> Option<(f64, f64)> {
        let (rise, energy) = (rise?, energy.filter(|energy| *energy > 0.0)?);
        let cells = self.settings.cells?;
        let thermometer = self.settings.thermometer?.offset * std::f64::consts::SQRT_2;
        Some((cells * rise / energy, cells * thermometer / energy))
    }

    /// Current into the cells while they were cold.
    fn cold_current(&self) -> Result<ColdCurrent, Vec<&'static str>> {
        if !self.has_current {
            return Err(vec!["current and cell temperature in one log"]);
        }
        let (Some(thermometer), Some(accuracy)) =
            (self.settings.thermometer, self.settings.accuracies.current)
        else {
            return Err(lacking([
                (self.settings.thermometer.is_none(), "the accuracy of the thermometer on the cells"),
                (self.settings.accuracies.current.is_none(), "the accuracy of the current's instrument"),
            ]));
        };
        let temperature = |kelvins: f64| show_uncertain(kelvins, thermometer.offset, Dimension::TEMPERATURE);
        let limit = show(self.settings.limit, Dimension::TEMPERATURE);
        let expanded = |current: f64| COVERAGE * accuracy.standard(current);
        let mut found = ColdCurrent { low: 0.0, high: 0.0, at_least: Vec::new(), width: Vec::new() };
        if self.samples_cold < 2 {
            found.at_least.push(format!(
                "cells surely below {limit}: the coldest that they were is {}",
                temperature(self.coldest)
            ));
        } else {
            (found.low, found.high) = self.surely_cold(&expanded, &mut found.width);
        }
        if let Some((most, into, cell)) = self.perhaps
            && most > found.high
        {
            found.high = most;
            found.width.push(format!(
                "whether the cells were below {limit} when {} flowed into the pack at {}",
                show(into, Dimension::CURRENT),
                temperature(cell)
            ));
        }
        if self.blind > found.high {
            found.at_least.push(format!(
                "the temperature of the cells while {} flowed into the pack: their sensor shows none then",
                show(self.blind, Dimension::CURRENT)
            ));
        }
        let threshold = self.settings.threshold.abs();
        if !self.settings.sign_stated && !self.seen_into && self.highest_out > threshold {
            let all = self.highest_out + expanded(self.highest_out);
            found.high = found.high.max(all);
            found.width.push(format!(
                "which way {} flowed while the cells were cold: the log's current never changes its sign, and `sign` of the \
                 test does not say which way it counts",
                show(self.highest_out, Dimension::CURRENT)
            ));
        }
        let nothing = self.release.is_none() && self.highest <= threshold;
        if nothing && !self.settings.charger_on && !self.charger_seen {
            found.at_least.push(
                "charge current once the cells were warm, the charger's voltage at the terminals, or `charger_on` of the test: nothing shows that the charger was on"
                    .to_owned(),
            );
        }
        Ok(found)
    }

    /// Mean voltage while current flowed into the cold pack, V.
    fn mean_voltage(&self) -> Option<f64> {
        let (energy, charge) = (self.energy.value(), self.charge.value());
        (self.has_voltage && charge > 0.0).then(|| energy / charge)
    }

    /// Least and most current into the cells while they were surely cold, A.
    fn surely_cold(&self, expanded: &impl Fn(f64) -> f64, width: &mut Vec<String>) -> (f64, f64) {
        let all = (self.highest - expanded(self.highest), self.highest + expanded(self.highest));
        let flowed = self.time_flowing.value();
        let none = flowed <= 0.0 && self.highest <= self.settings.threshold.abs();
        let Some((heater, of_heater)) = self.settings.heater else {
            if none {
                return all;
            }
            width.push(
                "the power of the heater, or a current measured at the cells: what flowed may have gone into either"
                    .to_owned(),
            );
            return (0.0, all.1);
        };
        if none || heater == 0.0 {
            return all;
        }
        let Some(voltage) = self.mean_voltage() else {
            width.push("the voltage while current flowed, to take off what the heater took".to_owned());
            return (0.0, all.1);
        };
        let Some(volts) = self.settings.accuracies.voltage else {
            width.push("the accuracy of the voltage, to take off what the heater took".to_owned());
            return (0.0, all.1);
        };
        // (P − P_heater) / U over the time in which current flowed, to first order (JCGM 100:2008, 5.1.2).
        let mean = self.charge.value() / flowed;
        let heater_share = heater / voltage;
        let by_voltage = heater_share * COVERAGE * volts.standard(voltage) / voltage;
        let u = expanded(mean).hypot(by_voltage).hypot(of_heater / voltage);
        let rest = mean - heater_share;
        if rest + u < 0.0 {
            width.push("whether the heater was on: less flowed than its recorded power".to_owned());
            return (0.0, all.1);
        }
        width.push("smaller uncertainties: charge current may be lost in that of the heater".to_owned());
        (rest - u, rest + u)
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
            limit: ZERO,
            threshold: 0.1,
            heater: Some((100.0, 10.0)),
            // 20 kg at 1000 J/(kg·K).
            cells: Some(20_000.0),
            thermometer: Some(Accuracy { gain: 0.0, offset: 0.5 }),
            charger_on: false,
            charger_volts: Some(27.2),
            sign_stated: false,
            lag: None,
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

    fn open(settings: ColdChargeSettings) -> ColdCurrent {
        run(4.0, 10.0, 0.004, settings).current.unwrap()
    }

    /// A heater of 100 W ± 10 W at 25 V takes 4 A ± 0.4 A (Ohm's law by hand); 1 % of 4 A and of the voltage is 0.04 A each.
    #[test]
    fn what_flows_beside_the_heater() {
        for (cold, after, wanted, u) in
            [(0.0, 10.0, 0.0, 0.0), (4.0, 10.0, 0.0, 0.404), (10.0, 10.0, 6.0, 0.414)]
        {
            let found = run(cold, after, 0.004, settings()).current.unwrap();
            let middle = (found.low + found.high) / 2.0;
            assert!((middle - wanted).abs() < 1e-6 && found.at_least.is_empty(), "{cold} A: {found:?}");
            assert!(((found.high - found.low) / 2.0 - u).abs() < 0.002, "{cold} A: {found:?}");
        }
        // Nothing known of the heater: anything between nothing and all of it.
        let unknown = open(ColdChargeSettings { heater: None, ..settings() });
        assert!(unknown.low == 0.0 && (unknown.high - 4.04).abs() < 1e-9, "{unknown:?}");
        assert!(unknown.width[0].contains("power of the heater"));
        // 3 A are less than the heater takes: it was not on, and all of them may be charge.
        let off = run(3.0, 10.0, 0.004, settings()).current.unwrap();
        assert!(off.low == 0.0 && (off.high - 3.03).abs() < 1e-9, "{off:?}");
        assert!(off.width[0].contains("whether the heater was on"));
        let no_voltage = ColdChargeSettings {
            accuracies: Accuracies { voltage: None, ..settings().accuracies },
            ..settings()
        };
        assert!(open(no_voltage).width[0].contains("voltage"));
    }

    #[test]
    fn what_the_test_does_not_show() {
        let off = run(0.0, 0.0, 0.004, settings()).current.unwrap();
        assert!(off.at_least[0].contains("charger was on"), "{off:?}");
        let seen = run(0.0, 0.0, 0.004, ColdChargeSettings { charger_on: true, ..settings() });
        assert_eq!(seen.current.unwrap().at_least, Vec::<String>::new());
        let at = |limit: f64| ColdChargeSettings { limit, ..settings() };
        let warm = open(at(ZERO - 20.0));
        assert!(warm.at_least[0].contains("the coldest that they were is −10"), "{warm:?}");
        let none = ColdChargeSettings { thermometer: None, ..settings() };
        assert_eq!(
            run(0.0, 10.0, 0.004, none).current.unwrap_err(),
            ["the accuracy of the thermometer on the cells"]
        );
        assert!(ColdChargeTest::new(settings()).finish().current.is_err());
    }

    /// A charger of 29.2 V stands at the terminals of eight cells and nothing flows: the charge was blocked.
    #[test]
    fn a_chargers_voltage_shows_that_it_was_on() {
        let blocked = |volts: f64| {
            let mut test = ColdChargeTest::new(settings());
            (0..100).for_each(|n| test.push(f64::from(n), volts, 0.0, ZERO - 5.0, false));
            test.finish().current.unwrap()
        };
        assert_eq!(blocked(29.2).at_least, Vec::<String>::new());
        // 1 % of the voltage may be the instrument's.
        assert!(blocked(27.3).at_least[0].contains("charger was on"));
        assert!(blocked(26.4).at_least[0].contains("charger was on"));
    }

    /// A log without signs: 10 A of charge in the cold, then a load by which the sign is taken for that of a discharge.
    #[test]
    fn a_charge_in_the_cold_before_a_load_does_not_pass() {
        let test = |sign_stated: bool| {
            let mut test =
                ColdChargeTest::new(ColdChargeSettings { charger_on: true, sign_stated, ..settings() });
            (0..100).for_each(|n| test.push(f64::from(n), 27.0, 10.0, ZERO - 5.0, false));
            (100..200).for_each(|n| test.push(f64::from(n), 25.0, 20.0, ZERO + 5.0, false));
            test.finish().current.unwrap()
        };
        let open = test(false);
        assert!(
            open.low == 0.0 && open.high >= 10.0 && open.width[0].contains("which way 10 A flowed"),
            "{open:?}"
        );
        assert_eq!(test(true).high, 0.0);
    }

    /// Charge begins at 1 °C: a thermometer that is off by up to 1.5 K cannot tell whether that is below freezing.
    #[test]
    fn charge_within_the_thermometers_uncertainty() {
        let heater = Some((0.0, 0.0));
        let thermometer = |offset: f64| ColdChargeSettings {
            thermometer: Some(Accuracy { gain: 0.0, offset }),
            heater,
            ..settings()
        };
        let exact = run(0.0, 10.0, 0.004, thermometer(0.5)).current.unwrap();
        assert!(exact.high == 0.0 && exact.width.is_empty(), "{exact:?}");
        let coarse = run(0.0, 10.0, 0.004, thermometer(1.5)).current.unwrap();
        assert!(coarse.low == 0.0 && (coarse.high - 10.1).abs() < 1e-9, "{coarse:?}");
        assert!(
            coarse.width[0].contains("whether the cells were below 0 °C when 10 A flowed into the pack"),
            "{coarse:?}"
        );
    }

    /// Charge begins at 1 °C by a sensor under tape in a room of 21 °C: one fifth of the 20 K between them may be missing
    /// (limit `taped_sensor`), so that the cells may have been at −3 °C.
    #[test]
    fn a_sensor_that_reads_towards_the_air() {
        let heater = Some((0.0, 0.0));
        let taped = |air: f64| ColdChargeSettings { lag: Some((0.2, ZERO + air)), heater, ..settings() };
        let room = run(0.0, 10.0, 0.004, taped(21.0)).current.unwrap();
        assert!(room.low == 0.0 && (room.high - 10.1).abs() < 1e-9, "{room:?}");
        let freezer = run(0.0, 10.0, 0.004, taped(-20.0)).current.unwrap();
        assert!(freezer.high == 0.0, "{freezer:?}");
    }

    /// 100 W for 2375 s into 20 kg of cells: 0.004 K/s take up 80 % (first law by hand).
    #[test]
    fn warm_up() {
        let found = run(4.0, 10.0, 0.004, settings());
        assert!((found.cold_power.unwrap() - 100.0).abs() < 1e-9);
        assert!((found.heat_in_cells.unwrap().0 - 0.8).abs() < 0.01);
        assert!(run(4.0, 10.0, 0.02, settings()).heat_in_cells.unwrap().0 > 1.0);
        assert!(found.time_to_release.unwrap() > 2500.0);
        assert!(found.release_temperature.unwrap() >= ZERO + 1.0);
    }
}
