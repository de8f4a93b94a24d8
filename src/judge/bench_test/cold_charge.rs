//! A cold-charge test with its log: whether charge was kept out of cold cells, and how they were warmed.

use uom::si::electric_current::ampere;
use uom::si::energy::joule;
use uom::si::f64::{ElectricCurrent, HeatCapacity, Power, ThermodynamicTemperature};
use uom::si::heat_capacity::joule_per_kelvin;
use uom::si::power::watt;
use uom::si::temperature_interval::kelvin as kelvin_step;
use uom::si::thermodynamic_temperature::kelvin;
use uom::si::time::second;

use super::course::Course;
use super::gauge::Reference;
use super::{COLD, LEAKAGE, Work, worked};
use crate::judge::facts::{Missing, Val};
use crate::logs::cold_charge::{ColdCharge, ColdChargeSettings, ColdChargeTest, WarmUp};
use crate::logs::instrument::{Accuracy, Verdict};
use crate::logs::read::LogReader;
use crate::units::{COVERAGE, Dimension, show, show_percent};

impl Work<'_> {
    pub(super) fn cold_charge<R: std::io::Read>(&mut self, reader: &mut LogReader<R>) -> Result<(), String> {
        let mut course = Course::of(self, reader.layout());
        if course.currents.is_empty() {
            return Err("the log has no column of current".to_owned());
        }
        // The channel on the cells where one is named, else the first.
        let cell = match course.temperature_of("cells") {
            Some((index, _)) => index,
            None if course.temperatures.is_empty() => {
                return Err("the log has no column of temperature".to_owned());
            }
            None => 0,
        };
        let limit = self.record.bms.low_temperature_limit.quantity().map_or(COLD, |q| q.value.max(COLD));
        let settings = self.cold_settings(&course, cell, limit);
        let has_cells = settings.cells.is_some();
        let mut test = ColdChargeTest::new(settings);
        let mut kelvins = Vec::new();
        let (mut first_time, mut first_cold) = (None, None);
        reader
            .for_each(|sample| {
                let (v, i) = course.take(&sample);
                course.kelvins(&sample, &mut kelvins);
                let t = kelvins.get(cell).copied().unwrap_or(f64::NAN);
                first_time.get_or_insert(sample.time);
                if t < limit {
                    first_cold.get_or_insert(sample.time);
                }
                test.push(sample.time, v, i, t, sample.after_break);
            })
            .map_err(|error| error.to_string())?;
        let found = test.finish();
        self.cold_figures(&found, has_cells);
        for note in course.notes() {
            self.figure("integration", note);
        }
        let notes = course.notes();
        let steps = |what: &str| [what.to_owned()].into_iter().chain(notes.iter().cloned()).collect();
        let answer = match &found.verdict {
            Verdict::Meets => Ok(worked(Val::YesNo(true), steps("no charge current while cold"))),
            Verdict::FallsShort => Ok(worked(Val::YesNo(false), steps("charge current while cold"))),
            Verdict::NotDecided(why) => Err(why.iter().map(|why| Missing::refused(why)).collect()),
        };
        self.fact("test.blocked", answer);
        let from: f64 = first_time.unwrap_or(0.0);
        let mut marks = Vec::new();
        if let Some(released) = found.time_to_release {
            let at = first_cold.unwrap_or(from) + released.get::<second>() - from;
            marks.push((at / 60.0, "charge begins".to_owned()));
        }
        let levels = vec![(limit - COLD, "limit".to_owned())];
        self.chart_temperatures(&course, from, "of the test", marks.clone(), levels);
        self.chart_current(&course, from, "of the test, into the pack", marks.clone(), -1.0);
        self.chart_voltage(&course, from, "of the test", marks, Vec::new());
        let last = course.current.span().map_or(from, |(_, last)| last);
        self.gauge(&Reference { course: Some((&course, from, last)), current: None, duration: None });
        Ok(())
    }

    fn cold_settings(&self, course: &Course, cell: usize, limit: f64) -> ColdChargeSettings {
        let record = self.record;
        let heater = if record.heater.present.yes() == Some(false) {
            Some((Power::new::<watt>(0.0), Power::new::<watt>(0.0)))
        } else {
            record
                .heater
                .power
                .quantity()
                .map(|q| (Power::new::<watt>(q.value), Power::new::<watt>(q.expanded.unwrap_or(0.0))))
        };
        let mass = record.cells.mass.quantity().map(|q| q.value);
        let number = record
            .cells
            .series
            .count()
            .zip(record.cells.parallel.count())
            .map(|(s, p)| f64::from(s) * f64::from(p));
        let heat = self.physics.limits.get("cell_heat").map(crate::units::Amount::value);
        let cells = mass
            .zip(number)
            .zip(heat)
            .map(|((mass, n), heat)| HeatCapacity::new::<joule_per_kelvin>(mass * n * heat));
        let per_hour = record.claims.capacity.quantity().map_or(0.2, |q| q.value / 3600.0 * LEAKAGE);
        let thermometer = course
            .temperatures
            .get(cell)
            .and_then(|channel| channel.tool)
            .and_then(|tool| tool.standard(limit, Dimension::TEMPERATURE))
            .map(|standard| Accuracy { gain: 0.0, offset: COVERAGE * standard });
        ColdChargeSettings {
            limit: ThermodynamicTemperature::new::<kelvin>(limit),
            threshold: ElectricCurrent::new::<ampere>(per_hour),
            heater,
            cells,
            thermometer,
            accuracies: self.accuracies_of(course),
        }
    }

    fn cold_figures(&mut self, found: &ColdCharge, has_cells: bool) {
        if let Some(coldest) = found.coldest {
            self.figure("coldest", show(coldest.get::<kelvin>(), Dimension::TEMPERATURE));
        }
        self.figure("time below the limit", show(found.time_cold.get::<second>(), Dimension::TIME));
        self.figure(
            "highest current into the cold pack",
            show(found.highest_cold_current.get::<ampere>(), Dimension::CURRENT),
        );
        // What flows into a pack that blocks charge is its heater's.
        let heater = if self.record.heater.present.yes() == Some(true) && found.verdict == Verdict::Meets {
            ("power of the heater", "energy of the heater")
        } else {
            ("power into the cold pack", "energy into the cold pack")
        };
        if let Some(power) = found.cold_power {
            let recorded = self
                .record
                .heater
                .power
                .quantity()
                .map_or(String::new(), |q| format!(", recorded {}", q.text));
            self.figure(heater.0, format!("{}{recorded}", show(power.get::<watt>(), Dimension::POWER)));
        }
        if let Some(energy) = found.cold_energy {
            self.figure(heater.1, show(energy.get::<joule>(), Dimension::ENERGY));
        }
        if let Some(time) = found.time_to_release {
            self.figure("time until charge began", show(time.get::<second>(), Dimension::TIME));
        }
        if let Some(release) = found.release_temperature {
            self.figure("cells when charge began", show(release.get::<kelvin>(), Dimension::TEMPERATURE));
        }
        if let Some(warm_up) = found.warm_up {
            self.figure(
                "warm-up of the cells while cold",
                show(warm_up.get::<kelvin_step>(), Dimension::TEMPERATURE_DIFFERENCE),
            );
        }
        let share = |share: f64| format!("their heat is {} of the energy that went in", show_percent(share));
        let warm_up = match found.plausible {
            Some(WarmUp::Plausible(part)) => {
                format!("plausible by the cells' mass and heat capacity: {}", share(part))
            }
            Some(WarmUp::TooFast(part)) => {
                format!(
                    "too fast for that energy: {}; heat came from elsewhere, or the sensor is not on the cells",
                    share(part)
                )
            }
            Some(WarmUp::TooSlow(part)) => {
                format!("too slow for that energy: {}; heat went elsewhere, or the sensor lags", share(part))
            }
            None if found.cold_energy.is_some_and(|energy| energy.get::<joule>() == 0.0) => {
                "no energy went in while cold: the surroundings warmed the cells".to_owned()
            }
            None if !has_cells => "not decided: mass and number of the cells are not recorded".to_owned(),
            None => "not decided: no energy went in while cold, or the thermometer's accuracy is not known"
                .to_owned(),
        };
        self.figure("warm-up", warm_up);
    }
}
