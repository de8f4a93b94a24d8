//! A cold-charge test with its log: whether charge was kept out of cold cells, and how they were warmed.

use uom::si::electric_current::ampere;
use uom::si::energy::joule;
use uom::si::f64::{ElectricCurrent, HeatCapacity, Power, ThermodynamicTemperature};
use uom::si::heat_capacity::joule_per_kelvin;
use uom::si::power::watt;
use uom::si::temperature_interval::kelvin as kelvin_step;
use uom::si::thermodynamic_temperature::kelvin;
use uom::si::time::second;

use super::{CELL_HEAT, COLD, LEAKAGE, Work, worked};
use crate::bench::cold_charge::{ColdChargeSettings, ColdChargeTest};
use crate::bench::instrument::Verdict;
use crate::bench::read::{LogReader, Meaning};
use crate::derive::{Missing, Val};
use crate::quantity::{Dimension, show};

impl Work<'_> {
    pub(super) fn cold_charge<R: std::io::Read>(&mut self, reader: &mut LogReader<R>) -> Result<(), String> {
        let record = self.record;
        let layout = reader.layout();
        let current = layout.slot(Meaning::Current).ok_or("the log has no column of current")?;
        let cell = layout.slot(Meaning::Temperature).ok_or("the log has no column of temperature")?;
        let voltage = layout.slot(Meaning::Voltage);
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
        let number =
            record.cells.series.count().zip(record.cells.parallel.count()).map(|(s, p)| f64::from(s * p));
        let cells =
            mass.zip(number).map(|(mass, n)| HeatCapacity::new::<joule_per_kelvin>(mass * n * CELL_HEAT));
        let per_hour = record.claims.capacity.quantity().map_or(0.2, |q| q.value / 3600.0 * LEAKAGE);
        let limit = record.bms.low_temperature_limit.quantity().map_or(COLD, |q| q.value.max(COLD));
        let mut test = ColdChargeTest::new(ColdChargeSettings {
            limit: ThermodynamicTemperature::new::<kelvin>(limit),
            threshold: ElectricCurrent::new::<ampere>(per_hour),
            heater,
            cells,
            thermometer: None,
            accuracies: self.accuracies(),
        });
        reader
            .for_each(|sample| {
                let v = voltage.map_or(f64::NAN, |slot| sample.get(slot));
                test.push(sample.time, v, sample.get(current), sample.get(cell), sample.after_break);
            })
            .map_err(|error| error.to_string())?;
        let found = test.finish();
        if let Some(coldest) = found.coldest {
            self.figure("coldest", show(coldest.get::<kelvin>(), Dimension::TEMPERATURE));
        }
        self.figure("time below the limit", show(found.time_cold.get::<second>(), Dimension::TIME));
        self.figure(
            "highest current into the cold pack",
            show(found.highest_cold_current.get::<ampere>(), Dimension::CURRENT),
        );
        if let Some(power) = found.cold_power {
            self.figure("power into the cold pack", show(power.get::<watt>(), Dimension::POWER));
        }
        if let Some(energy) = found.cold_energy {
            self.figure("energy into the cold pack", show(energy.get::<joule>(), Dimension::ENERGY));
        }
        if let Some(time) = found.time_to_release {
            self.figure("time until charge began", show(time.get::<second>(), Dimension::TIME));
        }
        if let Some(warm_up) = found.warm_up {
            self.figure(
                "warm-up of the cells",
                show(warm_up.get::<kelvin_step>(), Dimension::TEMPERATURE_DIFFERENCE),
            );
        }
        let answer = match &found.verdict {
            Verdict::Meets => Ok(worked(Val::YesNo(true), vec!["no charge current while cold".to_owned()])),
            Verdict::FallsShort => {
                Ok(worked(Val::YesNo(false), vec!["charge current while cold".to_owned()]))
            }
            Verdict::NotDecided(why) => Err(why.iter().map(|why| Missing::refused(why)).collect()),
        };
        self.trial.facts.insert("test.blocked", answer);
        Ok(())
    }
}
