//! The bench tests while a record is being filled: worked out when they change, not at every answer.
//!
//! A log may have ten million rows, and an answer must be confirmed at once. What was worked out is kept until the
//! tests, their instruments, their logs (by size and time of change) or an answer that a test may rest on, such as the
//! claimed capacity, are others. Then it is worked out anew: at once where that is quick, else beside the work, and the
//! findings follow when it is done. Until then a test that is as it was keeps its figures, and one that is not says that
//! it is being worked out: that is not decided, never a guess.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant, SystemTime};

use sha2::{Digest, Sha256};

use crate::evidence::name::safe_relative;
use crate::judge::bench_test::results;
use crate::judge::facts::{FACTS, Missing, OfTest, Values};
use crate::record::parts::BenchTest;
use crate::record::{self, Record};
use crate::units::Amount;

/// Work that takes less than this is done at once: nobody notices it behind an answer.
const AT_ONCE: Duration = Duration::from_millis(150);
/// Logs larger than this, together, take longer: about a twentieth of a second for each 4 MiB of an optimised build.
const LARGE: u64 = 4 << 20;
/// What is missing while a test is being worked out.
const WORKING: &str = "its log is still being read; the finding follows";
/// Stack of the thread that works beside: a record is large.
const STACK: usize = 16 << 20;
/// Parts of a record that no bench test rests on. What is not named here counts, so that a new part is never missed.
const APART: [&str; 6] = ["photo", "item", "notes", "enclosure", "service", "marking"];
/// As [`APART`], inside a part.
const APART_IN: [(&str, &str); 3] = [("cells", "reading"), ("claims", "statement"), ("bms", "layer")];

/// The facts of the bench tests as they were last worked out.
#[derive(Debug, Default)]
pub(super) struct BenchTests(Arc<Mutex<Inner>>);

#[derive(Debug, Default)]
struct Inner {
    known: Option<Known>,
    /// True while a thread works beside.
    running: bool,
    /// Counts what was worked out beside, so that a judgement upon older facts is made anew.
    generation: u64,
}

/// The facts of the tests of a record, in their order.
#[derive(Debug, Default)]
pub(super) struct Worked {
    pub(super) facts: Vec<OfTest>,
    /// True when they are worked out anew beside.
    pub(super) beside: bool,
}

#[derive(Debug)]
struct Known {
    mark: Mark,
    facts: Vec<OfTest>,
    took: Duration,
}

/// What the tests were worked out from.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Mark {
    /// Tests and instruments.
    own: [u8; 32],
    /// Each test with its logs.
    each: Vec<[u8; 32]>,
    /// Everything that a test may rest on.
    all: [u8; 32],
    logs: Vec<Stamp>,
}

/// The limits of a rule book, by name.
type Limits = BTreeMap<String, Amount>;

/// A log's size and time of change.
pub(super) type Stamp = Option<(u64, Option<SystemTime>)>;

/// The stamps of the logs that a record names.
pub(super) fn stamps(folder: &Path, record: &Record) -> Vec<Stamp> {
    record.test.iter().flat_map(|test| of_test(folder, test)).collect()
}

fn of_test(folder: &Path, test: &BenchTest) -> Vec<Stamp> {
    test.all_logs()
        .map(|log| {
            let path = safe_relative(folder, log).ok()?;
            let meta = fs::symlink_metadata(path).ok()?;
            Some((meta.len(), meta.modified().ok()))
        })
        .collect()
}

impl BenchTests {
    /// The facts of the tests of a record, in their order; those of a moment ago where working them out takes long.
    ///
    /// `limits` are those of the book that judges, a house's own included.
    pub(super) fn facts(&self, folder: &Path, text: &str, record: &Record, limits: &Limits) -> Worked {
        if record.test.is_empty() {
            return Worked::default();
        }
        let mark = Mark::of(folder, text, record);
        let mut inner = self.lock();
        let mut slow = mark.logs.iter().flatten().map(|(size, _)| size).sum::<u64>() > LARGE;
        if let Some(known) = &inner.known {
            if known.mark == mark {
                return Worked { facts: known.facts.clone(), beside: false };
            }
            let same_tests = known.mark.own == mark.own && known.mark.logs == mark.logs;
            slow |= same_tests && known.took > AT_ONCE;
        }
        if slow {
            let facts = mark.each.iter().map(|test| inner.known_of(test).unwrap_or_else(being_worked_out));
            let facts = facts.collect();
            if !inner.running {
                inner.running = true;
                drop(inner);
                self.beside(folder.to_owned(), text.to_owned(), limits.clone());
            }
            return Worked { facts, beside: true };
        }
        drop(inner);
        let started = Instant::now();
        let facts = work(folder, record, limits);
        self.lock().known = Some(Known { mark, facts: facts.clone(), took: started.elapsed() });
        Worked { facts, beside: false }
    }

    /// Counts up whenever facts have been worked out beside.
    pub(super) fn generation(&self) -> u64 {
        self.lock().generation
    }

    fn lock(&self) -> MutexGuard<'_, Inner> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn beside(&self, folder: PathBuf, text: String, limits: Limits) {
        let inner = Arc::clone(&self.0);
        let work = move || {
            let known = record::read("", &text).ok().map(|record| {
                let started = Instant::now();
                let mark = Mark::of(&folder, &text, &record);
                Known { mark, facts: work(&folder, &record, &limits), took: started.elapsed() }
            });
            let mut inner = inner.lock().unwrap_or_else(PoisonError::into_inner);
            inner.running = false;
            if known.is_some() {
                inner.known = known;
                inner.generation += 1;
            }
        };
        if std::thread::Builder::new().stack_size(STACK).spawn(work).is_err() {
            self.lock().running = false;
        }
    }
}

impl Inner {
    /// The figures of a test that is as it was.
    fn known_of(&self, test: &[u8; 32]) -> Option<OfTest> {
        let known = self.known.as_ref()?;
        let at = known.mark.each.iter().position(|each| each == test)?;
        known.facts.get(at).cloned()
    }
}

/// The facts of a test that nothing is known of yet.
fn being_worked_out() -> OfTest {
    let of_tests = FACTS.iter().map(|fact| fact.name).filter(|name| name.starts_with("test."));
    of_tests.map(|name| (name, Err(vec![Missing::refused(WORKING)]))).collect::<Values>().into()
}

/// True for what is missing only because a test is being worked out.
pub(super) fn waits(missing: &str) -> bool {
    missing == WORKING
}

fn work(folder: &Path, record: &Record, limits: &Limits) -> Vec<OfTest> {
    results(folder, record, limits).iter().map(|result| result.of_test()).collect()
}

impl Mark {
    fn of(folder: &Path, text: &str, record: &Record) -> Self {
        let mut table: toml::Table = text.parse().unwrap_or_default();
        let mut own = toml::Table::new();
        for key in ["test", "instrument"] {
            own.extend(table.get(key).map(|value| (key.to_owned(), value.clone())));
        }
        let tests = own.get("test").and_then(toml::Value::as_array);
        let each = record.test.iter().enumerate().map(|(index, test)| {
            let mut hasher = Sha256::new();
            hasher.update(
                tests.and_then(|tests| tests.get(index)).map(ToString::to_string).unwrap_or_default(),
            );
            hasher.update(own.get("instrument").map(ToString::to_string).unwrap_or_default());
            hasher.update(format!("{:?}", of_test(folder, test)));
            hasher.finalize().into()
        });
        let each = each.collect();
        for key in APART {
            table.remove(key);
        }
        for (part, key) in APART_IN {
            if let Some(part) = table.get_mut(part).and_then(toml::Value::as_table_mut) {
                part.remove(key);
            }
        }
        let mut all = Sha256::new();
        all.update(table.to_string());
        for test in record.test.iter().filter(|test| test.own_logs().next().is_none()) {
            // What was read off by hand is told apart by where it stands in the file.
            all.update(test.capacity.found().span.start.to_le_bytes());
            all.update(test.energy.found().span.start.to_le_bytes());
        }
        Self {
            own: Sha256::digest(own.to_string()).into(),
            each,
            all: all.finalize().into(),
            logs: stamps(folder, record),
        }
    }
}

#[cfg(test)]
mod tests {
    use std::io::Write;

    use super::*;

    const HEAD: &str =
        "schema = 2\n[claims]\ncapacity = \"1100 Ah\"\ncontinuous_current = \"10 A\"\n[cells]\nseries = 8\n";

    fn record_of(more: &str) -> (String, Box<Record>) {
        let text = format!(
            "{HEAD}{more}\n[[test]]\nid = \"capacity\"\nkind = \"capacity\"\nlog = \"logs/a.csv\"\ncurrent = \"10 A\"\n\
             cutoff_voltage = \"20 V\"\n"
        );
        let record = Box::new(record::read("t", &text).unwrap());
        (text, record)
    }

    fn log(folder: &Path, rows: u32) {
        fs::create_dir_all(folder.join("logs")).unwrap();
        let mut out = std::io::BufWriter::new(fs::File::create(folder.join("logs/a.csv")).unwrap());
        writeln!(out, "Time [s],Voltage [V],Current [A]").unwrap();
        for row in 0..rows {
            let voltage = if row + 1 == rows { 19.9 } else { 26.0 };
            writeln!(out, "{row},{voltage},10.0").unwrap();
        }
    }

    #[test]
    fn what_a_test_does_not_rest_on_does_not_work_it_out_anew() {
        let folder = tempfile::tempdir().unwrap();
        log(folder.path(), 3_600);
        let bench_tests = BenchTests::default();
        let (text, record) = record_of("");
        let facts = bench_tests.facts(folder.path(), &text, &record, &BTreeMap::new()).facts;
        assert!(facts[0].values.contains_key("test.capacity_found"), "{facts:?}");
        let mark = bench_tests.lock().known.as_ref().unwrap().mark.clone();
        for more in [
            "[[cells.reading]]\nposition = 1\nvoltage = \"3.3 V\"",
            "[[photo]]\nfile = \"photos/a.jpg\"",
            "[enclosure]\nnote = \"dented\"",
        ] {
            let (text, record) = record_of(more);
            assert_eq!(Mark::of(folder.path(), &text, &record), mark, "{more}");
        }
        for more in ["[bms]\nlow_temperature_limit = \"0 degC\"", "[heater]\npresent = \"no\""] {
            let (text, record) = record_of(more);
            assert_ne!(Mark::of(folder.path(), &text, &record), mark, "{more}");
        }
        // A longer log is another test.
        log(folder.path(), 7_200);
        assert_ne!(Mark::of(folder.path(), &text, &record), mark);
        let longer = bench_tests.facts(folder.path(), &text, &record, &BTreeMap::new()).facts;
        assert_ne!(format!("{longer:?}"), format!("{facts:?}"));
    }

    #[test]
    fn slow_work_is_done_beside_and_its_facts_follow() {
        let folder = tempfile::tempdir().unwrap();
        log(folder.path(), 3_600);
        let bench_tests = BenchTests::default();
        let (text, record) = record_of("");
        let before = bench_tests.facts(folder.path(), &text, &record, &BTreeMap::new()).facts;
        // As if it had taken long.
        bench_tests.lock().known.as_mut().unwrap().took = Duration::from_secs(9);
        let (text, record) = record_of("[heater]\npresent = \"no\"");
        let meanwhile = bench_tests.facts(folder.path(), &text, &record, &BTreeMap::new()).facts;
        assert_eq!(format!("{meanwhile:?}"), format!("{before:?}"));
        let started = Instant::now();
        while bench_tests.generation() == 0 {
            assert!(started.elapsed() < Duration::from_secs(60), "nothing was worked out beside");
            std::thread::sleep(Duration::from_millis(5));
        }
        let known = bench_tests.lock().known.as_ref().unwrap().mark.clone();
        assert_eq!(known, Mark::of(folder.path(), &text, &record));
        assert!(!bench_tests.lock().running);
    }

    #[test]
    fn a_large_log_is_never_waited_for() {
        let folder = tempfile::tempdir().unwrap();
        // 13 bytes a row at least.
        log(folder.path(), 400_000);
        let bench_tests = BenchTests::default();
        let (text, record) = record_of("");
        let first = bench_tests.facts(folder.path(), &text, &record, &BTreeMap::new());
        assert!(first.beside);
        let Err(missing) = &first.facts[0].values["test.capacity_found"] else { panic!("{:?}", first.facts) };
        assert!(waits(&missing[0].what), "{missing:?}");
        let started = Instant::now();
        while bench_tests.generation() == 0 {
            assert!(started.elapsed() < Duration::from_secs(60), "nothing was worked out beside");
            std::thread::sleep(Duration::from_millis(5));
        }
        let then = bench_tests.facts(folder.path(), &text, &record, &BTreeMap::new());
        assert!(!then.beside && then.facts[0].values["test.capacity_found"].is_ok(), "{:?}", then.facts);
        // A second test leaves the figures of the first where they are.
        let text = format!("{text}\n[[test]]\nid = \"full\"\nkind = \"full load\"\n");
        let record = Box::new(record::read("t", &text).unwrap());
        let more = bench_tests.facts(folder.path(), &text, &record, &BTreeMap::new());
        assert!(more.beside && more.facts[0].values["test.capacity_found"].is_ok());
        assert!(more.facts[1].values["test.held_for"].is_err());
    }
}
