//! The bench tests of a record, worked out: each log is read where there is one, else what was read off by hand counts.
//!
//! This stands between the record and `bench`, which know nothing of each other. It judges nothing: it hands facts
//! (`test.capacity_found`, `test.held`, `test.blocked`, …) to the rules, with what is missing where a test does not
//! show them, and figures, the account of the log, and curves to the write-up.

mod by_hand;
mod capacity;
mod cold_charge;
mod curve;
mod full_load;

use std::collections::BTreeMap;
use std::path::Path;

use serde::Serialize;

use crate::bench::downsample::lttb;
use crate::bench::instrument::{Accuracies, Accuracy};
use crate::bench::read::{ColumnSetting, LogReader, ReadSettings};
use crate::derive::{Answer, Missing, Val, Worked};
use crate::evidence::name::safe_relative;
use crate::quantity::{Amount, COVERAGE, Dimension, Uncertain};
use crate::record::parts::BenchTest;
use crate::record::{Record, Value};

use by_hand::by_hand;
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
}
