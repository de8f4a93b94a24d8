//! The bench tests of a record, worked out: each log is read where there is one, else what was read off by hand counts.
//!
//! This stands between the record and `logs`, which know nothing of each other. It judges nothing: it hands facts
//! (`test.capacity_found`, `test.held_for`, `test.cold_charge_current`, …) to the rules, as amounts with their
//! uncertainty and with what is missing where a test does not show them; and figures, the account of the log, and curves
//! to the write-up. A log and what was read off by hand fill the same summary ([`summary`]) and meet the same rules.

mod branches;
mod by_hand;
mod capacity;
mod charge;
mod charts;
mod cold_charge;
mod conditions;
mod course;
mod curve;
mod doubts;
mod figure;
mod fixing;
mod full_load;
mod gauge;
mod instruments;
mod largest;
mod measured;
mod protection;
mod resistance;
mod segments;
mod summary;
mod texts;
mod thermometers;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use serde::Serialize;

use crate::evidence::name::safe_relative;
use crate::judge::facts::answers::{in_doubt, withheld};
use crate::judge::facts::network::Measured;
use crate::judge::facts::{Answer, Missing, OfTest, Val, Worked};
use crate::judge::withhold::Withheld;
use crate::logs::instrument::{Accuracies, Accuracy, Estimate};
use crate::logs::integrate::Integral;
use crate::logs::joined::{Joined, LogFile};
use crate::logs::read::{ColumnSetting, Profiles, ReadSettings, SignSetting};
use crate::logs::round_trip::Flow;
use crate::record::field::{Doubt, Entry};
use crate::record::parts::BenchTest;
use crate::record::{self, Record, reads};
use crate::units::{Amount, Dimension, words};

use course::Course;
pub(crate) use course::PLACES;
pub use curve::{Curve, CurveLine};
pub use figure::Figure;
pub use fixing::{FixedRange, fixed_range};
use thermometers::Thermometer;

/// Points of a curve in the write-up: enough for print, few enough for a page.
const CURVE_POINTS: usize = 600;
/// Facts that need the test's log, where it has one: by kind of test.
const OF_A_LOG: &[(&str, &[&str])] = &[
    ("capacity", &["test.capacity_found", "test.energy_found", "test.resistance"]),
    (
        "full load",
        &[
            "test.held_for",
            "test.current_held",
            "test.ended_by",
            "test.resistance",
            "test.branches",
            "test.branch_sum",
            "test.branch_error",
        ],
    ),
    ("cold charge", &["test.cold_charge_current", "test.coldest_cell"]),
    ("charge", &["test.charge_in", "test.energy_in"]),
    ("overcurrent trip", &["test.bms_opened", "test.trip_current_found", "test.trip_time_found"]),
    ("overcharge cut-off", &["test.bms_opened", "test.trip_voltage_found"]),
    ("recovery", &["test.bms_opened"]),
    ("standby drain", &["test.drain_found"]),
    ("", &["test.gauge_readings", "test.gauge_error"]),
];
/// Counts that a rule asks before it applies.
const COUNTS: [&str; 2] = ["test.gauge_readings", "test.branches"];
/// Sources of uncertainty of tests are numbered from here, apart from those of the record and its instruments.
const TEST_SOURCES: u32 = (1 << 30) + (1 << 20);
/// Sources of one test.
const SOURCES_EACH: u32 = 16;

/// A bench test, worked out.
#[derive(Debug, Clone, Default, Serialize, schemars::JsonSchema)]
pub struct TestResult {
    /// Its id.
    pub id: String,
    /// Its kind.
    pub kind: String,
    /// Figures.
    pub figures: Vec<Figure>,
    /// What was recognised in the log.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub layout: Option<String>,
    /// The profile of the user by which the log was read.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub profile: Option<String>,
    /// What was skipped or repaired.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub account: Option<String>,
    /// Why the log could not be used.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub problem: Option<String>,
    /// Temperatures of parts under load.
    #[serde(skip)]
    pub(crate) measured: Option<Measured>,
    /// Curves.
    #[serde(skip)]
    pub curves: Vec<Curve>,
    /// Facts for the rules.
    #[serde(skip)]
    pub facts: BTreeMap<&'static str, Answer>,
}

impl TestResult {
    /// The figures that a summary has room for, details last.
    pub(crate) fn in_brief(&self, most: usize) -> impl Iterator<Item = &Figure> {
        let of = |detail: bool| self.figures.iter().filter(move |figure| figure.detail == detail);
        of(false).chain(of(true)).take(most)
    }

    /// What it hands to the facts of its pack.
    pub fn of_test(&self) -> OfTest {
        OfTest { values: self.facts.clone(), measured: self.measured.clone() }
    }

    /// The same without its curves and facts, for a list of figures.
    pub(crate) fn without_curves(&self) -> Self {
        Self { measured: None, curves: Vec::new(), facts: BTreeMap::new(), ..self.clone() }
    }

    /// What it is called: its kind, and its id behind it.
    pub(crate) fn name(&self) -> String {
        match (self.kind.as_str(), self.id.as_str()) {
            ("", "") => "test".to_owned(),
            (only, "") | ("", only) => only.to_owned(),
            (kind, id) => format!("{kind} ({id})"),
        }
    }

    /// What people call it: its kind alone where its id says the same.
    pub(crate) fn called(&self) -> String {
        if self.kind == self.id { self.kind.clone() } else { self.name() }
    }

    /// Takes out all that was worked out: it rests on something withheld.
    fn withhold(&mut self) {
        let kept = Self {
            id: std::mem::take(&mut self.id),
            kind: std::mem::take(&mut self.kind),
            ..Self::default()
        };
        let Self { facts, measured, .. } = std::mem::replace(self, kept);
        self.facts = facts.into_iter().map(|(name, answer)| (name, withheld(answer))).collect();
        self.measured = measured.map(|measured| measured.without(Missing::withheld()));
        self.problem = Some(Missing::withheld().what);
    }
}

impl TestResult {
    /// Nothing that a rule uses rests on a value that is in doubt; the figures stay.
    fn doubt(&mut self, doubts: &[Arc<Doubt>]) {
        if doubts.is_empty() {
            return;
        }
        let facts = std::mem::take(&mut self.facts).into_iter();
        self.facts = facts.map(|(name, answer)| (name, in_doubt(answer, doubts))).collect();
        if let Some(doubt) = doubts.iter().find(|doubt| doubt.implausible) {
            self.measured = self.measured.take().map(|measured| measured.without(Missing::doubt(doubt)));
        }
    }
}

/// Charge and energy that a test moved, for the round trip.
struct Moved {
    flow: Flow,
    /// Why it is not a whole charge or discharge.
    incomplete: Option<String>,
}

/// Where the logs of a record lie, and what of them is withheld.
#[derive(Debug, Clone)]
pub(crate) struct Logs<'a> {
    pub(crate) folder: &'a Path,
    /// What the record withholds.
    pub(crate) withheld: &'a Withheld,
    pub(crate) profiles: Arc<Profiles>,
}

impl Logs<'_> {
    /// What is known of a log before a test says more.
    fn settings(&self, columns: &[String], profile: Option<&str>) -> Result<ReadSettings, String> {
        let columns =
            columns.iter().map(|text| ColumnSetting::parse(text).map_err(|error| error.to_string()));
        let columns = columns.collect::<Result<_, _>>()?;
        let (known, profile) = (Arc::clone(&self.profiles), profile.map(str::to_owned));
        Ok(ReadSettings { columns, known, profile, ..ReadSettings::default() })
    }

    /// The path of a log, from its name in the record.
    fn path(&self, log: &str) -> Result<PathBuf, String> {
        safe_relative(self.folder, self.withheld.original(log))
            .map_err(|error| self.withheld.apply(&error.to_string()))
    }
}

/// Works out every bench test of a record of which nothing is withheld; `limits` are the rule book's.
pub fn results(folder: &Path, record: &Record, limits: &BTreeMap<String, Amount>) -> Vec<TestResult> {
    let logs = Logs { folder, withheld: &Withheld::default(), profiles: Arc::default() };
    results_of(&logs, record, limits)
}

/// Works out every bench test of a record, without what is withheld.
pub(crate) fn results_of(
    logs: &Logs<'_>,
    record: &Record,
    limits: &BTreeMap<String, Amount>,
) -> Vec<TestResult> {
    if record.test.is_empty() {
        return Vec::new();
    }
    let physics = Physics { record, limits };
    let of_test = |(index, test)| {
        let (((mut result, moved), doubts), met) =
            reads::watch(|| (result(logs, &physics, index, test), reads::doubts()));
        if met {
            result.withhold();
        }
        result.doubt(&doubts);
        result.withhold_texts(logs.withheld);
        (result, moved.filter(|_| !met))
    };
    let (mut results, moved): (Vec<TestResult>, Vec<Option<Moved>>) =
        record.test.iter().enumerate().map(of_test).unzip();
    let (doubts, met) = reads::watch(|| {
        charge::round_trips(record, &mut results, &moved);
        reads::doubts()
    });
    for result in results.iter_mut().filter(|result| result.facts.contains_key("test.coulomb_efficiency")) {
        result.doubt(&doubts);
        if met {
            result.withhold();
        }
    }
    results
}

fn source_of(index: usize) -> u32 {
    TEST_SOURCES + SOURCES_EACH * u32::try_from(index.min(1 << 20)).unwrap_or(0)
}

/// The record with the limits of the book.
struct Physics<'a> {
    record: &'a Record,
    limits: &'a BTreeMap<String, Amount>,
}

impl Physics<'_> {
    /// A limit of the book, SI units.
    fn limit(&self, name: &str) -> Result<f64, Missing> {
        let limit = self.limits.get(name).map(Amount::value);
        limit.ok_or_else(|| Missing::refused(&format!("there is no limit `{name}`")))
    }
}

fn result(
    logs: &Logs<'_>,
    physics: &Physics<'_>,
    index: usize,
    test: &BenchTest,
) -> (TestResult, Option<Moved>) {
    let mut result = TestResult {
        id: test.id.text().unwrap_or_default().to_owned(),
        kind: test.kind.word().unwrap_or_default().to_owned(),
        ..TestResult::default()
    };
    let source = source_of(index);
    let (record, result_of) = (physics.record, &mut result);
    let mut work =
        Work { record, physics, test, result: result_of, source, moved: None, thermometers: Vec::new() };
    let names: Vec<&str> = test.own_logs().collect();
    let read = if names.is_empty() && !work.has_branch_logs() {
        work.by_hand();
        Ok(())
    } else {
        work.read(logs, &names)
    };
    work.how_measured();
    let moved = work.moved.take();
    if let Err(problem) = read {
        let name = if names.is_empty() { "of the branches".to_owned() } else { words::list(&names, "and") };
        let missing = Missing::log(format!("the log {name} could not be used: {problem}"));
        work.lose_temperatures(missing.clone());
        result.without_log(missing);
        result.problem = Some(problem);
    }
    // What a test has none of is counted as none: a log that could not be used has said so before.
    for name in COUNTS {
        let none = || Ok(worked(Val::Amount(Amount::exact(0.0, Dimension::NONE)), Vec::new()));
        result.facts.entry(name).or_insert_with(none);
    }
    (result, moved)
}

impl TestResult {
    /// Everything that a log would have shown is missing; it never makes a rule inapplicable.
    fn without_log(&mut self, missing: Missing) {
        let of_kind = OF_A_LOG.iter().filter(|(kind, _)| kind.is_empty() || *kind == self.kind);
        for name in of_kind.flat_map(|(_, facts)| *facts) {
            self.facts.entry(name).or_insert_with(|| Err(vec![missing.clone()]));
        }
    }
}

fn worked(value: Val, steps: Vec<String>) -> Worked {
    Worked { steps, ..Worked::of(value) }
}

/// A test while it is worked out.
struct Work<'a> {
    record: &'a Record,
    physics: &'a Physics<'a>,
    test: &'a BenchTest,
    result: &'a mut TestResult,
    source: u32,
    moved: Option<Moved>,
    /// Temperatures in logs of other instruments.
    thermometers: Vec<Thermometer>,
}

impl Work<'_> {
    fn read(&mut self, logs: &Logs<'_>, names: &[&str]) -> Result<(), String> {
        let mut log = if names.is_empty() { None } else { Some(self.open(logs, names)?) };
        if let Some(log) = &log {
            self.result.layout = Some(log.layout().to_string());
            self.result.profile.clone_from(&log.layout().profile);
        }
        let result = self.read_thermometers(logs, names).and_then(|()| self.of_kind(logs, log.as_mut()));
        // What was skipped is told even where the log could not be used.
        self.result.account = log.map(|log| log.account());
        result
    }

    /// Opens the test's own log, and leaves out what is not the test.
    fn open(&self, logs: &Logs<'_>, names: &[&str]) -> Result<Joined, String> {
        let mut files = Vec::new();
        for name in names {
            files.push(LogFile { name: (*name).to_owned(), path: logs.path(name)? });
        }
        let mut settings = logs.settings(self.test.columns.list(), self.test.profile.text())?;
        settings.interval = self.test.interval.quantity().map(|q| q.value);
        settings.sheet = self.test.sheet.text().map(str::to_owned);
        if let Some(sign) = self.test.sign.word() {
            settings.sign = SignSetting::parse(sign)?;
        }
        let whole = || Joined::open(&files, &settings);
        let mut log = whole()?;
        if let Some((from, to)) = self.named_part(&mut log)? {
            log = whole()?.within(from, to);
        }
        let edge = |time: &Entry<record::field::Time>, open: f64| time.quantity().map_or(open, |q| q.value);
        let (from, to) = (edge(&self.test.from, f64::NEG_INFINITY), edge(&self.test.to, f64::INFINITY));
        Ok(log.within(from, to))
    }

    fn of_kind(&mut self, logs: &Logs<'_>, log: Option<&mut Joined>) -> Result<(), String> {
        match (self.result.kind.as_str(), log) {
            ("full load", log) => self.full_load(logs, log),
            ("capacity", Some(log)) => self.capacity(log),
            ("charge", Some(log)) => self.charge(log),
            ("cold charge", Some(log)) => self.cold_charge(log),
            ("capacity" | "charge" | "cold charge", None) => {
                Err("branches with logs of their own are for a full-load test; this test needs its `log`"
                    .to_owned())
            }
            (_, log) => match (self.test.kind.known(), log) {
                (None, _) => Err("the test has no `kind`, such as capacity or full load".to_owned()),
                (Some(kind), Some(log)) => self.protection(kind, log),
                (Some(_), None) => Err("branches with logs of their own are for a full-load test".to_owned()),
            },
        }
    }

    /// Accuracy of the instruments named by the test, one for volts and one for amperes, as expanded uncertainty.
    fn accuracies(&self) -> Accuracies {
        instruments::accuracies(self.record, self.test.own.with.as_deref())
    }

    /// With those of the kinds of instrument in the place of what is not known.
    fn or_usual(&self, stated: Accuracies) -> Accuracies {
        let of = |dimension| {
            instruments::usual(self.record, self.physics.limits, self.test.own.with.as_deref(), dimension)
        };
        Accuracies {
            voltage: stated.voltage.or_else(|| of(Dimension::VOLTAGE)),
            current: stated.current.or_else(|| of(Dimension::CURRENT)),
        }
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

    fn figure(&mut self, figure: Figure) {
        self.result.figures.push(figure);
    }

    /// A figure of an amount without a stated uncertainty, where there is one.
    fn plain(&mut self, name: &str, value: impl Into<Option<f64>>, dimension: Dimension) {
        if let Some(value) = value.into() {
            self.figure(Figure::amount(name, value, 0.0, dimension));
        }
    }

    /// A figure of charge or energy, where there is one.
    fn estimate(&mut self, name: &str, found: Option<&Estimate>, dimension: Dimension) {
        self.result.figures.extend(found.map(|e| Figure::amount(name, e.value, e.expanded(), dimension)));
    }

    fn fact(&mut self, name: &'static str, answer: Answer) {
        self.result.facts.insert(name, answer);
    }

    /// What a reader of charge and energy must know beside them.
    fn notes(&mut self, integral: &Integral) {
        for note in integral.notes() {
            self.figure(Figure::words("integration", note));
        }
    }

    fn temperature_figures(&mut self, range: Option<(f64, f64)>) {
        if let Some((low, high)) = range {
            self.plain("lowest temperature", low, Dimension::TEMPERATURE);
            self.plain("highest temperature", high, Dimension::TEMPERATURE);
        }
    }
}
