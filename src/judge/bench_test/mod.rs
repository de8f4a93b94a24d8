//! The bench tests of a record, worked out: each log is read where there is one, else what was read off by hand counts.
//!
//! This stands between the record and `bench`, which know nothing of each other. It judges nothing: it hands facts
//! (`test.capacity_found`, `test.held`, `test.blocked`, …) to the rules, with what is missing where a test does not
//! show them, and figures, the account of the log, and curves to the write-up.

mod agreement;
mod branches;
mod by_hand;
mod capacity;
mod charge;
mod charts;
mod cold_charge;
mod course;
mod curve;
mod full_load;
mod gauge;
mod instruments;
mod resistance;
mod rises;

use std::cell::OnceCell;
use std::collections::BTreeMap;
use std::fs::File;
use std::path::{Path, PathBuf};

use serde::Serialize;
use uom::si::f64::ThermodynamicTemperature;

use crate::evidence::name::safe_relative;
use crate::judge::facts::answers::withheld;
use crate::judge::facts::{Answer, Derived, Facts, Missing, Subject, Val, Worked};
use crate::judge::withhold::Withheld;
use crate::logs::instrument::{Accuracies, Accuracy};
use crate::logs::integrate::Integral;
use crate::logs::read::{ColumnSetting, LogReader, ReadSettings};
use crate::logs::round_trip::Flow;
use crate::record::parts::BenchTest;
use crate::record::{Record, reads};
use crate::units::{Amount, Dimension, show};

use course::Course;
pub(crate) use course::PLACES;
pub use curve::{Curve, Series};

/// Points of a curve in the write-up: enough for print, few enough for a page.
const CURVE_POINTS: usize = 600;
/// Full load is judged for this long where the record does not say, s: a quarter of an hour (common practice, no source).
const FULL_LOAD: f64 = 900.0;
/// Currents up to this share of the capacity per hour are the electronics' own, not charge (common practice, no source).
const LEAKAGE: f64 = 0.002;
/// Charging is to be blocked below this, K: 0 °C (common practice, no source).
const COLD: f64 = 273.15;
/// Sources of uncertainty of tests are numbered from here, apart from those of the record and its instruments.
const TEST_SOURCES: u32 = (1 << 30) + (1 << 20);
/// Sources of one test.
const SOURCES_EACH: u32 = 16;

/// A bench test, worked out.
#[derive(Debug, Clone, Default, Serialize, schemars::JsonSchema)]
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

impl Trial {
    /// The figures that a summary has room for: what the log was pieced together from, and resistances, which come by the
    /// dozen, last.
    pub(crate) fn in_brief(&self, most: usize) -> impl Iterator<Item = &(String, String)> {
        let detail = |figure: &&(String, String)| {
            ["internal resistance", "log of ", "current of ", "current by"]
                .iter()
                .any(|name| figure.0.starts_with(name))
        };
        let figures = self.figures.iter();
        figures.clone().filter(move |figure| !detail(figure)).chain(figures.filter(detail)).take(most)
    }
}

impl Trial {
    /// Takes out all that was worked out: it rests on something withheld.
    fn withhold(&mut self) {
        let kept = Self {
            id: std::mem::take(&mut self.id),
            kind: std::mem::take(&mut self.kind),
            ..Self::default()
        };
        let facts = std::mem::replace(self, kept).facts;
        self.facts = facts.into_iter().map(|(name, answer)| (name, withheld(answer))).collect();
        self.problem = Some(Missing::withheld().what);
    }
}

/// Charge and energy that a test moved, for the round trip.
struct Moved {
    flow: Flow,
    /// Why it is not a whole charge or discharge.
    incomplete: Option<String>,
}

/// Where the logs of a record lie, and what of them is withheld.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Logs<'a> {
    /// The inspection folder.
    pub(crate) folder: &'a Path,
    /// What the record withholds.
    pub(crate) withheld: &'a Withheld,
}

impl Logs<'_> {
    /// The path of a log, from its name in the record.
    fn path(&self, log: &str) -> Result<PathBuf, String> {
        safe_relative(self.folder, self.withheld.original(log))
            .map_err(|error| self.withheld.apply(&error.to_string()))
    }
}

/// Works out every bench test of a record of which nothing is withheld; `limits` are the rule book's.
#[must_use]
pub fn trials(folder: &Path, record: &Record, limits: &BTreeMap<String, Amount>) -> Vec<Trial> {
    trials_of(&Logs { folder, withheld: &Withheld::default() }, record, limits)
}

/// Works out every bench test of a record, without what is withheld.
#[must_use]
pub(crate) fn trials_of(logs: &Logs<'_>, record: &Record, limits: &BTreeMap<String, Amount>) -> Vec<Trial> {
    if record.test.is_empty() {
        return Vec::new();
    }
    let physics = Physics { record, limits, derived: OnceCell::new() };
    let of_test = |(index, test)| {
        let ((mut trial, moved), met) = reads::watch(|| trial(logs, &physics, index, test));
        if met {
            trial.withhold();
        }
        logs.withheld.trial(&mut trial);
        (trial, moved.filter(|_| !met))
    };
    let (mut trials, moved): (Vec<Trial>, Vec<Option<Moved>>) =
        record.test.iter().enumerate().map(of_test).unzip();
    let ((), met) = reads::watch(|| charge::round_trips(record, &mut trials, &moved));
    if met {
        for trial in trials.iter_mut().filter(|trial| trial.facts.contains_key("test.coulomb_efficiency")) {
            trial.withhold();
        }
    }
    trials
}

fn source_of(index: usize) -> u32 {
    TEST_SOURCES + SOURCES_EACH * u32::try_from(index.min(1 << 20)).unwrap_or(0)
}

/// What the physics makes of the record. It does not rest on the tests, so it can be asked before them, and is
/// worked out only where a test asks for a prediction.
struct Physics<'a> {
    record: &'a Record,
    limits: &'a BTreeMap<String, Amount>,
    derived: OnceCell<Derived>,
}

impl Physics<'_> {
    fn facts(&self, subject: Subject) -> Facts<'_> {
        let derived = self.derived.get_or_init(|| Derived::of(self.record, self.limits));
        Facts { record: self.record, derived, limits: self.limits, subject }
    }
}

fn trial(logs: &Logs<'_>, physics: &Physics<'_>, index: usize, test: &BenchTest) -> (Trial, Option<Moved>) {
    let mut trial = Trial {
        id: test.id.text().unwrap_or_default().to_owned(),
        kind: test.kind.word().unwrap_or_default().to_owned(),
        ..Trial::default()
    };
    // Counts that a rule asks before it applies; a test that has more says so later.
    for name in ["test.gauge_readings", "test.branches", "test.rises"] {
        trial.facts.insert(name, Ok(worked(Val::Amount(Amount::exact(0.0, Dimension::NONE)), Vec::new())));
    }
    let source = source_of(index);
    let mut work = Work { record: physics.record, physics, test, trial: &mut trial, source, moved: None };
    let log = test.log.text();
    if log.is_none() && !work.has_branch_logs() {
        work.by_hand();
        let moved = work.moved.take();
        return (trial, moved);
    }
    let result = work.read(logs, log);
    let moved = work.moved.take();
    if let Err(problem) = result {
        let log = log.unwrap_or("of the branches");
        let missing = vec![Missing::refused(&format!("the log {log} could not be used: {problem}"))];
        for name in [
            "test.capacity_found",
            "test.energy_found",
            "test.held",
            "test.blocked",
            "test.charge_in",
            "test.energy_in",
        ] {
            trial.facts.entry(name).or_insert_with(|| Err(missing.clone()));
        }
        trial.problem = Some(problem);
    }
    (trial, moved)
}

fn worked(value: Val, steps: Vec<String>) -> Worked {
    Worked { value, steps, sources: Vec::new(), assumed: Vec::new(), bound: None, claims: Vec::new() }
}

/// A test while it is worked out.
struct Work<'a> {
    record: &'a Record,
    physics: &'a Physics<'a>,
    test: &'a BenchTest,
    trial: &'a mut Trial,
    source: u32,
    moved: Option<Moved>,
}

impl Work<'_> {
    fn read(&mut self, logs: &Logs<'_>, log: Option<&str>) -> Result<(), String> {
        let mut reader = match log {
            Some(log) => {
                let path = logs.path(log)?;
                let mut settings = ReadSettings::default();
                for text in self.test.columns.list() {
                    settings.columns.push(ColumnSetting::parse(text).map_err(|error| error.to_string())?);
                }
                let reader = LogReader::open(&path, &settings).map_err(|error| error.to_string())?;
                self.trial.layout = Some(reader.layout().to_string());
                Some(reader)
            }
            None => None,
        };
        let result = self.of_kind(logs, reader.as_mut());
        // What was skipped is told even where the log could not be used.
        self.trial.account = reader.map(|reader| reader.report().to_string());
        result
    }

    fn of_kind(&mut self, logs: &Logs<'_>, reader: Option<&mut LogReader<File>>) -> Result<(), String> {
        match (self.trial.kind.as_str(), reader) {
            ("full load", reader) => self.full_load(logs, reader),
            ("capacity", Some(reader)) => self.capacity(reader),
            ("charge", Some(reader)) => self.charge(reader),
            ("cold charge", Some(reader)) => self.cold_charge(reader),
            ("capacity" | "charge" | "cold charge", None) => {
                Err("branches with logs of their own are for a full-load test; this test needs its `log`"
                    .to_owned())
            }
            _ => Err("the test has no `kind`: capacity, full load, cold charge or charge".to_owned()),
        }
    }

    /// Accuracy of the instruments named by the test, one for volts and one for amperes, as expanded uncertainty.
    fn accuracies(&self) -> Accuracies {
        instruments::accuracies(self.record, self.test.own.with.as_deref())
    }

    /// As [`Work::accuracies`], for the sum of a log's currents: the widest share, and offsets that add up.
    fn accuracies_of(&self, course: &Course) -> Accuracies {
        let mut accuracies = self.accuracies();
        if course.currents.len() > 1 {
            let each: Option<Vec<Accuracy>> =
                course.currents.iter().map(|channel| channel.tool.and_then(|tool| tool.accuracy)).collect();
            accuracies.current = each.map(|each| Accuracy {
                gain: each.iter().map(|one| one.gain).fold(0.0, f64::max),
                offset: each.iter().map(|one| one.offset).sum(),
            });
        } else if let Some(tool) = course.currents.first().and_then(|channel| channel.tool) {
            accuracies.current = tool.accuracy;
        }
        accuracies
    }

    fn figure(&mut self, name: &str, value: impl Into<String>) {
        self.trial.figures.push((name.to_owned(), value.into()));
    }

    fn fact(&mut self, name: &'static str, answer: Answer) {
        self.trial.facts.insert(name, answer);
    }

    /// What a reader of charge and energy must know beside them.
    fn notes(&mut self, integral: &Integral) {
        for note in integral.notes() {
            self.figure("integration", note);
        }
    }

    fn temperatures_figure(&mut self, range: Option<(ThermodynamicTemperature, ThermodynamicTemperature)>) {
        if let Some((low, high)) = range {
            let [low, high] = [low, high].map(|t| show(t.value, Dimension::TEMPERATURE));
            self.figure("temperature", format!("{low} to {high}"));
        }
    }
}
