//! The bench tests of a record, worked out: each log is read where there is one, else what was read off by hand counts.
//!
//! This stands between the record and `bench`, which know nothing of each other. It judges nothing: it hands facts
//! (`test.capacity_found`, `test.held`, `test.blocked`, …) to the rules, with what is missing where a test does not
//! show them, and figures, the account of the log, and curves to the write-up.

mod curve;

use std::collections::BTreeMap;
use std::path::Path;

use serde::Serialize;
use uom::si::electric_charge::coulomb;
use uom::si::electric_current::ampere;
use uom::si::electric_potential::volt;
use uom::si::energy::joule;
use uom::si::f64::{
    ElectricCharge, ElectricCurrent, ElectricPotential, HeatCapacity, Power, ThermodynamicTemperature, Time,
};
use uom::si::heat_capacity::joule_per_kelvin;
use uom::si::power::watt;
use uom::si::temperature_interval::kelvin as kelvin_step;
use uom::si::thermodynamic_temperature::kelvin;
use uom::si::time::second;

use crate::bench::approach;
use crate::bench::capacity::{CapacitySettings, CapacityTest, End};
use crate::bench::cold_charge::{ColdChargeSettings, ColdChargeTest};
use crate::bench::downsample::lttb;
use crate::bench::full_load::{FullLoadSettings, FullLoadTest, LoadEnd};
use crate::bench::instrument::{Accuracies, Accuracy, Verdict};
use crate::bench::load_step::LoadSteps;
use crate::bench::read::{ColumnSetting, LogReader, Meaning, ReadSettings};
use crate::derive::{Answer, Bound, Missing, Reason, Side, Val, Worked};
use crate::evidence::name::safe_relative;
use crate::quantity::{Amount, COVERAGE, Dimension, Uncertain, show, show_percent, show_uncertain};
use crate::record::parts::BenchTest;
use crate::record::{Record, Value};

pub use curve::{Curve, Series};

/// Points of a curve in the write-up: enough for print, few enough for a page.
const CURVE_POINTS: usize = 600;
/// Full load is judged for this long where the record does not say, s: a quarter of an hour (common practice, no source).
const FULL_LOAD: f64 = 900.0;
/// Specific heat of LFP cells, J/(kg·K) (common practice, no source; published values lie between 900 and 1100).
const CELL_HEAT: f64 = 1000.0;
/// Currents up to this share of the capacity per hour are the electronics' own, not charge (common practice, no source).
const LEAKAGE: f64 = 0.002;
/// Charging is to be blocked below this, K: 0 °C (common practice, no source).
const COLD: f64 = 273.15;
/// Sources of uncertainty of tests are numbered from here, apart from those of the record and its instruments.
const TEST_SOURCES: u32 = (1 << 30) + (1 << 20);

/// A bench test, worked out.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Trial {
    /// Its id.
    pub id: String,
    /// Its kind.
    pub kind: String,
    /// Figures, name and value.
    pub figures: Vec<(String, String)>,
    /// What was recognised in the log.
    pub layout: Option<String>,
    /// What was skipped or repaired.
    pub account: Option<String>,
    /// Why the log could not be used.
    pub problem: Option<String>,
    /// Curves.
    pub curves: Vec<Curve>,
    /// Facts for the rules.
    #[serde(skip)]
    pub facts: BTreeMap<&'static str, Answer>,
}

/// Works out every bench test of a record.
#[must_use]
pub fn trials(folder: &Path, record: &Record) -> Vec<Trial> {
    record.test.iter().enumerate().map(|(index, test)| trial(folder, record, index, test)).collect()
}

fn trial(folder: &Path, record: &Record, index: usize, test: &BenchTest) -> Trial {
    let mut trial = Trial {
        id: test.id.text().unwrap_or_default().to_owned(),
        kind: test.kind.word().unwrap_or_default().to_owned(),
        ..Trial::default()
    };
    let source = TEST_SOURCES + 4 * u32::try_from(index).unwrap_or(0);
    let Some(log) = test.log.text() else {
        by_hand(record, test, &mut trial);
        return trial;
    };
    let mut work = Work { record, test, trial: &mut trial, source };
    if let Err(problem) = work.read(folder, log) {
        let missing = vec![Missing::refused(&format!("the log {log} could not be used: {problem}"))];
        for name in ["test.capacity_found", "test.energy_found", "test.held", "test.blocked"] {
            trial.facts.insert(name, Err(missing.clone()));
        }
        trial.problem = Some(problem);
    }
    trial
}

fn worked(value: Val, steps: Vec<String>) -> Worked {
    Worked { value, steps, sources: Vec::new(), assumed: Vec::new(), bound: None }
}

/// What a test without a log shows: what somebody read off and wrote down.
fn by_hand(record: &Record, test: &BenchTest, trial: &mut Trial) {
    let missing = |field: &str| {
        let place = test.id.text().map_or_else(|| "the test".to_owned(), |id| format!("test {id}"));
        Missing::fact(&format!("test.{field}"), &place, Reason::NotRecorded)
    };
    let reading = |name: &'static str,
                   field: &str,
                   quantity: Option<&crate::quantity::Quantity>,
                   found: &crate::record::Found| {
        let Some(quantity) = quantity else { return (name, Err(vec![missing(field)])) };
        let number = match quantity.expanded {
            Some(expanded) => Uncertain::new(
                quantity.value,
                u32::try_from(found.span.start * 4).unwrap_or(0),
                expanded / COVERAGE,
            ),
            None => Uncertain::exact(quantity.value),
        };
        let amount = Amount { number, dimension: quantity.dimension };
        (name, Ok(worked(Val::Amount(amount), vec!["read off by hand, no log".to_owned()])))
    };
    match trial.kind.as_str() {
        "capacity" => {
            for (name, mut answer) in [
                reading("test.capacity_found", "capacity", test.capacity.quantity(), test.capacity.found()),
                reading("test.energy_found", "energy", test.energy.quantity(), test.energy.found()),
            ] {
                // Only a test that ran down to the cut-off shows the whole capacity.
                if let Ok(worked) = &mut answer
                    && !matches!(test.end.word(), Some("load cut-off" | "bms cut-off"))
                {
                    worked.bound = Some(Bound {
                        side: Side::AtLeast,
                        missing: vec![missing("end")],
                        by_definition: false,
                    });
                }
                trial.facts.insert(name, answer);
            }
        }
        "full load" => {
            let rated = record.claims.continuous_current.quantity();
            let answer = match (test.current.quantity(), rated, test.end.word(), test.duration.quantity()) {
                (Some(current), Some(rated), Some(end), Some(duration)) if current.value >= rated.value => {
                    let step = format!("{} for {}, ended by {end}", current.text, duration.text);
                    match end {
                        "bms cut-off" => Ok(worked(Val::YesNo(false), vec![step])),
                        "time" if duration.value >= FULL_LOAD => Ok(worked(Val::YesNo(true), vec![step])),
                        _ => Err(vec![Missing::refused(&format!(
                            "{step}: a quarter of an hour at rated current was not shown"
                        ))]),
                    }
                }
                (Some(current), Some(rated), ..) if current.value < rated.value => {
                    Err(vec![Missing::refused(&format!(
                        "{} is below the rated {}",
                        current.text, rated.text
                    ))])
                }
                (current, rated, end, duration) => Err([
                    (current.is_none(), "current"),
                    (end.is_none(), "end"),
                    (duration.is_none(), "duration"),
                ]
                .into_iter()
                .filter(|(lacks, _)| *lacks)
                .map(|(_, field)| missing(field))
                .chain(
                    rated
                        .is_none()
                        .then(|| Missing::fact("claims.continuous_current", "", Reason::NotRecorded)),
                )
                .collect()),
            };
            trial.facts.insert("test.held", answer);
        }
        "cold charge" => {
            let answer = match (test.charged_while_cold.yes(), test.cell_temperature.quantity()) {
                (Some(charged), Some(cell)) if cell.value < COLD => {
                    Ok(worked(Val::YesNo(!charged), vec![format!("cells at {}", cell.text)]))
                }
                (Some(_), Some(cell)) => {
                    Err(vec![Missing::refused(&format!("the cells were at {}, not below 0 °C", cell.text))])
                }
                (charged, cell) => {
                    Err([(charged.is_none(), "charged_while_cold"), (cell.is_none(), "cell_temperature")]
                        .into_iter()
                        .filter(|(lacks, _)| *lacks)
                        .map(|(_, field)| missing(field))
                        .collect())
                }
            };
            trial.facts.insert("test.blocked", answer);
        }
        _ => {}
    }
}

/// A test with a log.
struct Work<'a> {
    record: &'a Record,
    test: &'a BenchTest,
    trial: &'a mut Trial,
    source: u32,
}

impl Work<'_> {
    fn read(&mut self, folder: &Path, log: &str) -> Result<(), String> {
        let path = safe_relative(folder, log).map_err(|error| error.to_string())?;
        let mut settings = ReadSettings::default();
        for text in self.test.columns.list() {
            settings.columns.push(ColumnSetting::parse(text).map_err(|error| error.to_string())?);
        }
        let mut reader = LogReader::open(&path, &settings).map_err(|error| error.to_string())?;
        self.trial.layout = Some(reader.layout().to_string());
        match self.trial.kind.as_str() {
            "capacity" | "charge" => self.capacity(&mut reader)?,
            "full load" => self.full_load(&mut reader)?,
            "cold charge" => self.cold_charge(&mut reader)?,
            _ => return Err("the test has no `kind`: capacity, full load, cold charge or charge".to_owned()),
        }
        self.trial.account = Some(reader.report().to_string());
        Ok(())
    }

    /// Accuracy of the instruments named by the test, one for volts and one for amperes, as expanded uncertainty.
    fn accuracies(&self) -> Accuracies {
        let mut accuracies = Accuracies::default();
        let named = self.test.own.with.as_deref().unwrap_or_default();
        for id in named.split(',').map(str::trim) {
            let instrument = self.record.instrument.iter().find(|i| i.id.text() == Some(id));
            let Some(instrument) = instrument else { continue };
            let Some(Value::Accuracy(spec)) = instrument.accuracy.found().value() else { continue };
            let resolution = instrument.resolution.quantity();
            // Limits of a rectangular distribution, expanded: 2 · limit / √3 (JCGM 100:2008, 4.3.7).
            let wide = COVERAGE / 3.0_f64.sqrt();
            let accuracy = Accuracy {
                gain: spec.of_reading * wide,
                offset: spec.digits * resolution.map_or(0.0, |r| r.value.abs()) * wide,
            };
            match resolution.map(|r| r.dimension) {
                Some(Dimension::VOLTAGE) => accuracies.voltage = Some(accuracy),
                Some(Dimension::CURRENT) => accuracies.current = Some(accuracy),
                _ => {}
            }
        }
        accuracies
    }

    fn figure(&mut self, name: &str, value: impl Into<String>) {
        self.trial.figures.push((name.to_owned(), value.into()));
    }

    fn amount(&self, value: f64, standard: f64, dimension: Dimension, which: u32) -> Amount {
        Amount { number: Uncertain::new(value, self.source + which, standard), dimension }
    }

    fn capacity<R: std::io::Read>(&mut self, reader: &mut LogReader<R>) -> Result<(), String> {
        let claims = &self.record.claims;
        let accuracies = self.accuracies();
        let settings = CapacitySettings {
            claim: claims.capacity.quantity().map(|q| ElectricCharge::new::<coulomb>(q.value)),
            current: self.test.current.quantity().map(|q| ElectricCurrent::new::<ampere>(q.value)),
            cutoff: self.test.cutoff_voltage.quantity().map(|q| ElectricPotential::new::<volt>(q.value)),
            start: None,
            accuracies,
        };
        let layout = reader.layout();
        let voltage = layout.slot(Meaning::Voltage);
        let current = layout.slot(Meaning::Current).ok_or("the log has no column of current")?;
        let temperatures: Vec<_> = layout.slots(Meaning::Temperature).map(|(slot, _)| slot).collect();
        let mut test = CapacityTest::new(settings);
        let smallest =
            ElectricCurrent::new::<ampere>(self.test.current.quantity().map_or(1.0, |q| q.value * 0.3));
        let times = [Time::new::<second>(1.0), Time::new::<second>(10.0)];
        let mut steps = LoadSteps::new(smallest, &times, accuracies);
        reader
            .for_each(|sample| {
                let v = voltage.map_or(f64::NAN, |slot| sample.get(slot));
                let i = sample.get(current);
                test.push(
                    sample.time,
                    v,
                    i,
                    temperatures.iter().map(|slot| sample.get(*slot)),
                    sample.after_break,
                );
                steps.push(sample.time, v, i, sample.after_break);
            })
            .map_err(|error| error.to_string())?;
        let found = test.finish().ok_or("the log holds no discharge")?;
        let charge = &found.integral.charge;
        let (value, standard) = (charge.value.get::<coulomb>(), charge.standard.get::<coulomb>());
        let end = match found.end {
            End::LoadCutOff => "the load's cut-off was reached",
            End::BmsCutOff => "the BMS opened",
            End::StillRunning => "the log ends under load, above the cut-off",
            End::Stopped => "the load went off above the cut-off",
        };
        self.figure("capacity", show_uncertain(value, COVERAGE * standard, Dimension::CHARGE));
        if let Some(claim) = claims.capacity.quantity() {
            self.figure("of the claim", show_percent(value / claim.value));
        }
        let whole = matches!(found.end, End::LoadCutOff | End::BmsCutOff);
        let steps_of = |what: &str| vec![format!("{what} by integration of the log"), end.to_owned()];
        let bound = |missing: &str| {
            (!whole).then(|| Bound {
                side: Side::AtLeast,
                missing: vec![Missing::refused(missing)],
                by_definition: false,
            })
        };
        let mut answer =
            worked(Val::Amount(self.amount(value, standard, Dimension::CHARGE, 0)), steps_of("capacity"));
        answer.bound = bound(end);
        if accuracies.current.is_none() {
            answer.assumed.push(
                "the accuracy of the current's instrument is not known; only sampling is counted".to_owned(),
            );
        }
        self.trial.facts.insert("test.capacity_found", Ok(answer));
        match &found.integral.energy {
            Some(energy) => {
                let (value, standard) = (energy.value.get::<joule>(), energy.standard.get::<joule>());
                self.figure("energy", show_uncertain(value, COVERAGE * standard, Dimension::ENERGY));
                let mut answer = worked(
                    Val::Amount(self.amount(value, standard, Dimension::ENERGY, 1)),
                    steps_of("energy"),
                );
                answer.bound = bound(end);
                self.trial.facts.insert("test.energy_found", Ok(answer));
            }
            None => {
                let missing = Missing::refused("the log has no column of voltage");
                self.trial.facts.insert("test.energy_found", Err(vec![missing]));
            }
        }
        self.figure("end", end);
        self.figure("duration", show(found.integral.duration().get::<second>(), Dimension::TIME));
        self.figure("mean current", show(found.mean_current.get::<ampere>(), Dimension::CURRENT));
        self.figure("current held", if found.held { "yes" } else { "no" });
        if let Some(rate) = found.rate {
            self.figure("C-rate", show(rate / 3600.0, Dimension::RATE));
        }
        if let Some((low, high)) = found.temperatures {
            let [low, high] = [low, high].map(|t| show(t.get::<kelvin>(), Dimension::TEMPERATURE));
            self.figure("temperature", format!("{low} to {high}"));
        }
        for gap in &found.integral.gaps {
            let (at, length) = (gap.from.get::<second>(), gap.length.get::<second>());
            let [at, length] = [at, length].map(|t| show(t, Dimension::TIME));
            self.figure("gap in the log", format!("{length} at {at}, bridged and counted as uncertain"));
        }
        if let Some(curve) = &found.curve {
            for (depth, voltage) in &curve.at_depth {
                let name = format!("voltage at {} depth of discharge", show_percent(*depth));
                self.figure(&name, show(voltage.get::<volt>(), Dimension::VOLTAGE));
            }
            self.figure("flatness of the plateau", show(curve.flatness.get::<volt>(), Dimension::VOLTAGE));
            self.figure("sag at the end", show(curve.sag.get::<volt>(), Dimension::VOLTAGE));
        }
        for step in steps.finish().iter().take(4) {
            for resistance in &step.resistances {
                let after = show(resistance.after.get::<second>(), Dimension::TIME);
                let (r, u) = (resistance.resistance.value.value, resistance.resistance.expanded().value);
                self.figure(
                    &format!("internal resistance {after} after a step"),
                    show_uncertain(r, u, Dimension::RESISTANCE),
                );
            }
        }
        let points: Vec<(f64, f64)> = found.points.iter().map(|p| (p.charge / 3600.0, p.voltage)).collect();
        let mut marks = vec![(value / 3600.0, "end".to_owned())];
        marks.extend(claims.capacity.quantity().map(|q| (q.value / 3600.0, "claim".to_owned())));
        let levels = self.test.cutoff_voltage.quantity().map(|q| (q.value, "cut-off".to_owned()));
        self.curve(
            "voltage over charge",
            "charge in Ah",
            "voltage in V",
            &points,
            marks,
            levels.into_iter().collect(),
        );
        Ok(())
    }

    fn curve(
        &mut self,
        name: &str,
        x: &str,
        y: &str,
        points: &[(f64, f64)],
        marks: Vec<(f64, String)>,
        levels: Vec<(f64, String)>,
    ) {
        let finite: Vec<(f64, f64)> =
            points.iter().copied().filter(|(x, y)| x.is_finite() && y.is_finite()).collect();
        if finite.len() < 2 {
            return;
        }
        self.trial.curves.push(Curve {
            name: name.to_owned(),
            x: x.to_owned(),
            y: y.to_owned(),
            series: vec![Series { name: String::new(), points: lttb(&finite, CURVE_POINTS) }],
            marks,
            levels,
        });
    }

    fn full_load<R: std::io::Read>(&mut self, reader: &mut LogReader<R>) -> Result<(), String> {
        let rated = self.record.claims.continuous_current.quantity();
        let rated = rated.ok_or("`claims.continuous_current` is not recorded")?.value;
        let layout = reader.layout();
        let voltage = layout.slot(Meaning::Voltage);
        let currents: Vec<_> = layout.slots(Meaning::Current).map(|(slot, _)| slot).collect();
        if currents.is_empty() {
            return Err("the log has no column of current".to_owned());
        }
        let temperatures: Vec<_> =
            layout.slots(Meaning::Temperature).map(|(slot, column)| (slot, column.label.clone())).collect();
        let duration = Time::new::<second>(FULL_LOAD);
        let mut test = FullLoadTest::new(FullLoadSettings {
            rated: ElectricCurrent::new::<ampere>(rated),
            duration,
            accuracies: self.accuracies(),
        });
        let mut kelvins = vec![f64::NAN; temperatures.len()];
        let mut course: Vec<(f64, f64)> = Vec::new();
        let mut volts = crate::bench::downsample::MinMax::new(CURVE_POINTS);
        reader
            .for_each(|sample| {
                for (value, (slot, _)) in kelvins.iter_mut().zip(&temperatures) {
                    *value = sample.get(*slot);
                }
                // Branches that are logged side by side add up.
                let current: f64 = currents.iter().map(|slot| sample.get(*slot)).sum();
                let v = voltage.map_or(f64::NAN, |slot| sample.get(slot));
                test.push(sample.time, v, current, &kelvins, sample.after_break);
                if v.is_finite() {
                    volts.push(sample.time, v);
                }
            })
            .map_err(|error| error.to_string())?;
        let found = test.finish().ok_or("the log shows no load")?;
        course.extend(volts.points());
        let end = match found.end {
            LoadEnd::BmsCutOff => "the BMS opened under load",
            LoadEnd::TakenOff => "the load was taken off",
            LoadEnd::StillOn => "the log ends under load",
        };
        let seconds = |t: Time| show(t.get::<second>(), Dimension::TIME);
        let times = format!("{} surely, {} possibly", seconds(found.surely), seconds(found.possibly));
        self.figure("at or above rated current", times.clone());
        self.figure("end", end);
        self.figure("mean current", show(found.mean_current.get::<ampere>(), Dimension::CURRENT));
        if let Some(power) = found.mean_power {
            self.figure("mean power", show(power.get::<watt>(), Dimension::POWER));
        }
        let charge = &found.integral.charge;
        self.figure(
            "charge",
            show_uncertain(
                charge.value.get::<coulomb>(),
                charge.expanded().get::<coulomb>(),
                Dimension::CHARGE,
            ),
        );
        let steps = vec![times, end.to_owned()];
        let answer = match &found.verdict {
            Verdict::Meets => Ok(worked(Val::YesNo(true), steps)),
            Verdict::FallsShort => Ok(worked(Val::YesNo(false), steps)),
            Verdict::NotDecided(why) => Err(why.iter().map(|why| Missing::refused(why)).collect()),
        };
        self.trial.facts.insert("test.held", answer);
        let from = found.integral.from.get::<second>();
        let minutes = |points: &[(f64, f64)], offset: f64| -> Vec<(f64, f64)> {
            points.iter().map(|(t, y)| ((t - from) / 60.0, y - offset)).collect()
        };
        self.curve(
            "voltage over time",
            "minutes under load",
            "voltage in V",
            &minutes(&course, 0.0),
            Vec::new(),
            Vec::new(),
        );
        for (course, (_, label)) in found.temperatures.iter().zip(&temperatures) {
            let Some(course) = course else { continue };
            let show_t = |t: ThermodynamicTemperature| show(t.get::<kelvin>(), Dimension::TEMPERATURE);
            self.figure(
                &format!("temperature of {label}"),
                format!(
                    "{} to {}, highest {}",
                    show_t(course.start),
                    show_t(course.end),
                    show_t(course.highest)
                ),
            );
            let points = course.series.points();
            let predicted = match approach::fit(&points) {
                Ok(fit) => {
                    let end = show_uncertain(
                        fit.final_temperature.get::<kelvin>(),
                        fit.expanded,
                        Dimension::TEMPERATURE,
                    );
                    let steady = match fit.steady {
                        approach::Steady::Reached => "steady state was reached",
                        approach::Steady::NotReached => "steady state was not reached",
                        approach::Steady::NotDecided => "whether steady state was reached is not decided",
                    };
                    format!("{end}; {steady}; time constant {}", seconds(fit.time_constant))
                }
                Err(why) => format!("not predicted: {}", why.0),
            };
            self.figure(&format!("final temperature of {label}"), predicted);
            self.curve(
                &format!("temperature of {label}"),
                "minutes under load",
                "temperature in °C",
                &minutes(&points, COLD),
                Vec::new(),
                Vec::new(),
            );
        }
        Ok(())
    }

    fn cold_charge<R: std::io::Read>(&mut self, reader: &mut LogReader<R>) -> Result<(), String> {
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
