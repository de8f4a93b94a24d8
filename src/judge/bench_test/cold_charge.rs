//! A cold-charge test with its log: what flowed into cold cells, and how they were warmed.

use super::course::{Channel, Course};
use super::doubts::{Part, contradicted};
use super::fixing::missed;
use super::gauge::Reference;
use super::summary::ColdChargeSummary;
use super::{Figure, Work};
use crate::judge::facts::Missing;
use crate::logs::cold_charge::{ColdCharge, ColdChargeSettings, ColdChargeTest};
use crate::logs::instrument::Accuracy;
use crate::logs::joined::Joined;
use crate::logs::read::{Role, SignBasis};
use crate::physics::ZERO_CELSIUS;
use crate::physics::cells::Chemistry;
use crate::record::parts::SensorFixing;
use crate::units::{COVERAGE, Dimension};

impl Work<'_> {
    pub(super) fn cold_charge(&mut self, log: &mut Joined) -> Result<(), String> {
        let mut course = Course::of(self, log.layout()).with_current()?;
        // The channel on the cells: the one that the record or its name says is there, else the only one that may be.
        let named = course.temperature_of("cells").map(|(index, _)| index);
        let may_be: Vec<usize> = course
            .temperatures
            .iter()
            .enumerate()
            .filter(|(_, channel)| channel.may_be_cell() && channel.part.is_none())
            .map(|(index, _)| index)
            .collect();
        let by_name = |index: &&usize| {
            course.temperatures.get(**index).is_some_and(|channel| channel.role == Role::Cell)
        };
        let cell = match (named, may_be.iter().find(by_name), may_be.as_slice()) {
            (Some(index), ..) => index,
            (None, Some(index), _) | (None, None, [index]) => *index,
            (None, None, []) => return Err("the log has no column of a temperature on the cells".to_owned()),
            (None, None, [first, ..]) => {
                let label = course.temperatures.get(*first).map_or("T1", |channel| channel.label.as_str());
                return Err(format!(
                    "which temperature is on the cells is not known: write for example `[[test.sensor]]` with `column = \
                     \"{label}\"` and `part = \"cells\"` under the test"
                ));
            }
        };
        let limit = self.physics.limit("charge_temperature").map_err(|missing| missing.what)?;
        let stated = [SignBasis::Stated, SignBasis::Header, SignBasis::States];
        let sign_stated = log.layout().sign.is_some_and(|(_, basis)| stated.contains(&basis));
        let settings = ColdChargeSettings { sign_stated, ..self.cold_settings(&course, cell, limit)? };
        let lag = settings.lag;
        let thermometer = settings.thermometer.map_or(0.0, |thermometer| thermometer.offset);
        let mut test = ColdChargeTest::new(settings);
        let mut kelvins = Vec::new();
        let (mut first_time, mut first_cold) = (None, None);
        log.for_each(|sample| {
            let (v, i) = course.take(&sample);
            course.kelvins(&mut kelvins);
            let t = kelvins.get(cell).copied().unwrap_or(f64::NAN);
            first_time.get_or_insert(sample.time);
            if t < limit {
                first_cold.get_or_insert(sample.time);
            }
            test.push(sample.time, v, i, t, sample.after_break);
        })?;
        let found = test.finish();
        self.cold_figures(&found, thermometer);
        let notes = course.notes();
        for note in &notes {
            self.figure(Figure::words("integration", note.clone()));
        }
        let part =
            Part { from: f64::NEG_INFINITY, to: f64::INFINITY, loose: 0.0, charge: None, voltage: None };
        let mut doubts = self.doubts(&course, log.layout(), &part);
        doubts.extend(course.temperatures.get(cell).and_then(Channel::detached));
        let fixed = course.temperatures.get(cell).and_then(|channel| channel.fixed);
        if fixed == Some(SensorFixing::Infrared) {
            doubts.push("infrared on bare metal does not show how cold the cells were".to_owned());
        }
        if lag.is_none() && fixed.is_some_and(|fixed| fixed != SensorFixing::Infrared) {
            doubts.push(
                "the ambient temperature is not recorded, and the sensor reads between the cells and the air: write `ambient` \
                 in the test"
                    .to_owned(),
            );
        }
        let refused = |lacks: &Vec<&str>| lacks.iter().map(|what| Missing::refused(what)).collect();
        let believed = doubts.is_empty();
        self.cold_charge_facts(&ColdChargeSummary {
            coldest: found
                .coldest
                .filter(|_| believed)
                .map(|coldest| self.amount(coldest, thermometer / COVERAGE, Dimension::TEMPERATURE, 7)),
            current: if believed {
                found.current.clone().map_err(|lacks| refused(&lacks))
            } else {
                Err(contradicted(&doubts))
            },
            steps: notes,
            assumed: Vec::new(),
        });
        let from: f64 = first_time.unwrap_or(0.0);
        let mut marks = Vec::new();
        if let Some(released) = found.time_to_release {
            let at = first_cold.unwrap_or(from) + released - from;
            marks.push((at / 60.0, "charge begins".to_owned()));
        }
        let levels = vec![(limit - ZERO_CELSIUS, "limit".to_owned())];
        self.chart_temperatures(&course, from, "of the test", marks.clone(), levels);
        self.chart_current(&course, from, "of the test, into the pack", marks.clone(), -1.0);
        self.chart_voltage(&course, from, "of the test", marks, Vec::new());
        let last = course.current.span().map_or(from, |(_, last)| last);
        self.gauge(&Reference { course: Some((&course, from, last)), current: None, duration: None });
        Ok(())
    }

    fn cold_settings(&self, course: &Course, cell: usize, limit: f64) -> Result<ColdChargeSettings, String> {
        let record = self.record;
        let heater = if record.heater.present.yes() == Some(false) {
            Some((0.0, 0.0))
        } else {
            record.heater.power.quantity().map(|q| (q.value, q.expanded.unwrap_or(0.0)))
        };
        let mass = record.cells.mass.quantity().map(|q| q.value);
        let number = record
            .cells
            .series
            .count()
            .zip(record.cells.parallel.count())
            .map(|(s, p)| f64::from(s) * f64::from(p));
        let heat = self.physics.limit("cell_heat").ok();
        let cells = mass.zip(number).zip(heat).map(|((mass, n), heat)| mass * n * heat);
        // Without a claimed capacity every current counts; the rule asks for the capacity then.
        let share = self.physics.limit("cold_current").map_err(|missing| missing.what)?;
        let capacity = record.claims.capacity.quantity().map_or(0.0, |quantity| quantity.value);
        let thermometer = course
            .temperatures
            .get(cell)
            .and_then(|channel| channel.tool)
            .and_then(|tool| tool.standard(limit, Dimension::TEMPERATURE))
            .map(|standard| Accuracy { gain: 0.0, offset: COVERAGE * standard });
        let fixed = course.temperatures.get(cell).and_then(|channel| channel.fixed);
        let missed = missed(self.physics.limits, fixed);
        let ambient = self.test.ambient.quantity().map(|q| q.value);
        Ok(ColdChargeSettings {
            lag: ambient.filter(|_| missed.is_finite()).map(|ambient| (missed, ambient)),
            limit,
            threshold: share * capacity,
            heater,
            cells,
            thermometer,
            charger_on: self.test.charger_on.yes() == Some(true),
            charger_volts: self.charger_volts(),
            sign_stated: false,
            accuracies: self.accuracies_of(course),
        })
    }

    /// Voltage of the full pack at rest, V: more than the cells alone give, above which a charger is on.
    fn charger_volts(&self) -> Option<f64> {
        let cells = self.record.cells.series.count()?;
        let chemistry = Chemistry::from_word(self.record.cells.chemistry.word()?)?;
        Some(f64::from(cells) * chemistry.voltages().rest_full)
    }

    fn cold_figures(&mut self, found: &ColdCharge, thermometer: f64) {
        let amount = |name: &str, kelvins| Figure::amount(name, kelvins, thermometer, Dimension::TEMPERATURE);
        self.result.figures.extend(found.coldest.map(|t| amount("coldest", t)));
        self.plain("time below the limit", found.time_cold, Dimension::TIME);
        self.plain("highest current into the cold pack", found.highest_cold_current, Dimension::CURRENT);
        if let Some(power) = found.cold_power {
            let figure = Figure::amount("power into the cold pack", power, 0.0, Dimension::POWER);
            let heater = self.record.heater.power.quantity();
            let recorded =
                heater.map_or(String::new(), |q| format!("recorded power of the heater: {}", q.text));
            self.figure(figure.beside(recorded));
        }
        self.plain("energy into the cold pack", found.cold_energy, Dimension::ENERGY);
        self.plain("time until charge began", found.time_to_release, Dimension::TIME);
        let released = found.release_temperature.map(|t| amount("cells when charge began", t));
        self.result.figures.extend(released);
        self.plain("warm-up of the cells while cold", found.warm_up, Dimension::TEMPERATURE_DIFFERENCE);
        if let Some((share, expanded)) = found.heat_in_cells {
            self.figure(Figure::percent("heat in the cells of the energy that went in", share, expanded).beside(
                "more than all of it came from elsewhere, or the sensor is not on the cells; little of it went elsewhere, or the sensor lags",
            ));
        }
    }
}
