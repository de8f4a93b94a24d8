//! Bench tests side by side: matched by kind and conditions, figures with differences, curves over each other.
//!
//! Tests at different currents, rates, cut-offs or ambient temperatures show different things. They stand side by side,
//! what differs is named, and no difference is worked out.

use serde::Serialize;

use super::Columns;
use super::difference::{ChangeKind, FieldChange, Sourced, fields, shown};
use super::elements::of_answers;
use super::fields::{self, PartComparison, Row, RowCell, Sorted};
use super::matching::{Item, Rows};
use crate::judge::bench_test::{Curve, CurveLine, Figure, TestResult};
use crate::judge::facts::{Answer, Val};
use crate::record::parts::BenchTest;
use crate::record::{Part, Record, State};

/// Settings that must agree for two tests to be compared.
const CONDITIONS: [&str; 5] = ["current", "rate", "cutoff_voltage", "ambient", "cell_temperature"];
/// Ambient temperatures that differ by less are the same condition, K (common practice, no source).
const SAME_AMBIENT: f64 = 3.0;
/// Figures that a fact stands for.
const TOLD: [&str; 5] =
    ["capacity", "energy", "charge into the pack", "energy into the pack", "rated current held for"];
/// Lines that one chart can tell apart by their dashes.
const LINES: usize = 6;

/// A bench test across all records.
#[derive(Debug, Clone, Serialize, schemars::JsonSchema)]
pub struct TestComparison {
    /// Its kind.
    pub kind: String,
    /// What the tests were matched by.
    pub matched_by: String,
    /// Its id in each record.
    pub ids: Vec<Option<String>>,
    /// Why figures are not compared; empty where they are.
    pub conditions_differ: Vec<String>,
    /// Conditions that are not recorded in all, though the figures are compared.
    pub conditions_open: Vec<String>,
    /// Why a log could not be used, by inspection.
    pub problems: Vec<String>,
    /// Figures that answer what the test was made for, with differences.
    pub figures: Vec<Row>,
    /// Every other figure that is one quantity, with differences.
    pub further: Vec<Row>,
    /// Further figures in words, side by side: name and one text for each record.
    pub words: Vec<(String, Vec<String>)>,
    /// Settings and readings.
    pub settings: PartComparison,
    /// The curves; with one series for each record where the conditions agree.
    #[serde(skip)]
    pub curves: Vec<Curve>,
}

/// The tests of a record, to be matched.
pub(crate) fn items(record: &Record) -> Vec<Item> {
    record
        .test
        .iter()
        .enumerate()
        .map(|(at, test)| {
            let settings: Vec<String> = CONDITIONS
                .iter()
                .filter_map(|name| test.found(name))
                .filter(|found| found.state != State::NotLooked)
                .map(crate::record::Found::show)
                .collect();
            Item {
                group: test.kind.word().unwrap_or_default().to_owned(),
                // Tests with the same settings stand for each other before those with the same id do.
                name: settings.join(", "),
                id: test.id.text().unwrap_or_default().to_owned(),
                place: Some(at),
                ..Item::default()
            }
        })
        .collect()
}

/// Compares all tests.
pub(crate) fn compare(columns: &Columns<'_>, rows: &Rows) -> Vec<TestComparison> {
    (0..rows.rows.len()).map(|row| one(columns, rows, row)).collect()
}

fn one(columns: &Columns<'_>, rows: &Rows, row: usize) -> TestComparison {
    let at = &rows.rows[row].at;
    let tests: Vec<Option<&BenchTest>> =
        at.iter().zip(columns.inspections).map(|(at, i)| at.and_then(|at| i.record.test.get(at))).collect();
    let results: Vec<Option<&TestResult>> =
        at.iter().zip(columns.inspections).map(|(at, i)| at.and_then(|at| i.bench_tests.get(at))).collect();
    let kind = results.iter().flatten().next().map_or_else(String::new, |result| result.kind.clone());
    let (conditions_differ, conditions_open) = conditions(columns, &tests);
    let compared = conditions_differ.is_empty();
    let figures = if compared { figures(columns, &results) } else { Vec::new() };
    let told: &[&str] = if figures.is_empty() { &[] } else { &TOLD };
    let (mut further, mut words) = (Vec::new(), Vec::new());
    for (name, each) in by_name(&results, told) {
        match figure(columns, name, &each).filter(|_| compared) {
            Some(row) => further.push(row),
            None => words.push((name.to_owned(), in_words(&each))),
        }
    }
    TestComparison {
        matched_by: match rows.rows[row].tie {
            Some((super::matching::Tie::Name, _)) => format!("{kind}, same settings"),
            Some((tie, _)) => format!("{kind}, {}", tie.words(" in the record")),
            None => kind.clone(),
        },
        ids: tests.iter().map(|test| test.and_then(|t| t.id.text().map(str::to_owned))).collect(),
        problems: results
            .iter()
            .zip(&columns.names)
            .filter_map(|(result, name)| Some(format!("{name}: {}", result.as_ref()?.problem.as_ref()?)))
            .collect(),
        further,
        words,
        settings: PartComparison {
            name: "settings".to_owned(),
            matched_by: None,
            only_in: columns.only_in(at),
            fields: Sorted::of(fields::rows(&tests, columns, &["id", "kind"], false)),
        },
        curves: curves(columns, &results, compared),
        figures,
        conditions_differ,
        conditions_open,
        kind,
    }
}

/// Conditions that differ, and those that are not recorded in all.
fn conditions(columns: &Columns<'_>, tests: &[Option<&BenchTest>]) -> (Vec<String>, Vec<String>) {
    let (mut differ, mut open) = (Vec::new(), Vec::new());
    for name in CONDITIONS {
        let Some(field) = BenchTest::SHAPE.fields.iter().find(|field| field.name == name) else { continue };
        let found: Vec<_> = tests
            .iter()
            .enumerate()
            .filter_map(|(at, test)| Some((at, test.as_ref()?.found(name)?)))
            .collect();
        let Some(((first, one), others)) = found.split_first() else { continue };
        let say = || {
            let each: Vec<String> = found
                .iter()
                .map(|(at, found)| format!("{} in {}", found.show(), columns.names[*at]))
                .collect();
            format!("{}: {}", name.replace('_', " "), each.join(", "))
        };
        let sourced = |at: usize, found| Sourced {
            found,
            sources: &columns.inspections[at].derived.sources,
            claim: false,
        };
        let kinds: Vec<ChangeKind> = others
            .iter()
            .map(|(at, other)| {
                let change =
                    fields(sourced(*first, one), sourced(*at, other), columns.names(*first, *at), field);
                let small = name == "ambient" && change.difference_si.is_some_and(|d| d.abs() < SAME_AMBIENT);
                if small { ChangeKind::Same } else { change.kind }
            })
            .collect();
        if kinds.iter().any(|kind| matches!(kind, ChangeKind::Changed | ChangeKind::AsRecorded)) {
            differ.push(say());
        } else if kinds.contains(&ChangeKind::OneOnly) {
            open.push(say());
        }
    }
    (differ, open)
}

/// Facts of the tests with their differences.
fn figures(columns: &Columns<'_>, results: &[Option<&TestResult>]) -> Vec<Row> {
    let names = [
        ("capacity", "test.capacity_found"),
        ("energy", "test.energy_found"),
        ("rated current held for", "test.held_for"),
        ("charge current into cold cells", "test.cold_charge_current"),
        ("charge into the pack", "test.charge_in"),
        ("energy into the pack", "test.energy_in"),
    ];
    names
        .iter()
        .filter_map(|(what, name)| {
            let answers: Vec<Option<&Answer>> =
                results.iter().map(|result| result.and_then(|result| result.facts.get(name))).collect();
            answers.iter().flatten().next()?;
            Some(of_answers(what, &answers, columns))
        })
        .collect()
}

/// Every figure by name, in the order in which the names come first: for each record all its figures of that name.
fn by_name<'a>(results: &[Option<&'a TestResult>], without: &[&str]) -> Vec<(&'a str, Vec<Vec<&'a Figure>>)> {
    let mut names: Vec<&str> = Vec::new();
    for figure in results.iter().flatten().flat_map(|result| &result.figures) {
        if !names.contains(&figure.name.as_str()) && !without.contains(&figure.name.as_str()) {
            names.push(&figure.name);
        }
    }
    let of = |name: &str| {
        let each = results.iter().map(|result| {
            let figures = result.iter().flat_map(|result| &result.figures);
            figures.filter(|figure| figure.name == name).collect()
        });
        each.collect()
    };
    names.into_iter().map(|name| (name, of(name))).collect()
}

/// A figure with its differences, where each record has one amount of that name at the most, and some record one.
fn figure(columns: &Columns<'_>, what: &str, each: &[Vec<&Figure>]) -> Option<Row> {
    let mut amounts = Vec::with_capacity(each.len());
    for figures in each {
        amounts.push(match figures.as_slice() {
            [] => None,
            [Figure { value: Val::Amount(amount), .. }] => Some(amount),
            _ => return None,
        });
    }
    amounts.iter().flatten().next()?;
    let percent = each.iter().flatten().any(|figure| figure.percent);
    let cells = each.iter().zip(&amounts).map(|(figures, amount)| match (figures.first(), amount) {
        (Some(figure), Some(amount)) => RowCell {
            text: figure.text(),
            note: Some(figure.note.clone()).filter(|note| !note.is_empty()),
            ..RowCell::of_amount(amount)
        },
        _ => RowCell::text("–"),
    });
    let changes = (1..amounts.len()).map(|at| {
        let names = columns.names(0, at);
        match (amounts[0], amounts[at]) {
            (Some(a), Some(b)) if a.dimension == b.dimension => shown(a, b, percent, names),
            (Some(_), Some(_)) => {
                FieldChange::plain(ChangeKind::NotCompared, "not the same kind of quantity")
            }
            (None, None) => FieldChange::plain(ChangeKind::NotCompared, "in neither"),
            (a, _) => FieldChange::plain(ChangeKind::OneOnly, fields::only_in(names, a.is_none())),
        }
    });
    Some(Row::new(what, cells.collect(), changes.collect()))
}

/// Figures of one name in words.
fn in_words(each: &[Vec<&Figure>]) -> Vec<String> {
    let words = |figures: &Vec<&Figure>| figures.iter().map(|f| f.shown()).collect::<Vec<_>>().join("; ");
    each.iter().map(|figures| if figures.is_empty() { "–".to_owned() } else { words(figures) }).collect()
}

/// The curves: those of the same name and axes over each other, or each for itself where conditions differ.
fn curves(columns: &Columns<'_>, results: &[Option<&TestResult>], overlay: bool) -> Vec<Curve> {
    let each: Vec<(usize, &Curve)> = results
        .iter()
        .enumerate()
        .flat_map(|(record, trial)| trial.iter().flat_map(move |t| t.curves.iter().map(move |c| (record, c))))
        .collect();
    // Curves of one name stand together, in the order in which their names come first.
    let mut groups: Vec<Vec<(usize, &Curve)>> = Vec::new();
    for (record, curve) in each {
        let alike = |(known, of): &(usize, &Curve)| {
            *known != record && of.name == curve.name && of.x == curve.x && of.y == curve.y
        };
        match groups.iter_mut().find(|group| group.last().is_some_and(alike)) {
            Some(group) => group.push((record, curve)),
            None => groups.push(vec![(record, curve)]),
        }
    }
    groups
        .iter()
        .flat_map(|group| {
            if overlay { vec![over_each_other(columns, group)] } else { each_for_itself(columns, group) }
        })
        .collect()
}

fn over_each_other(columns: &Columns<'_>, group: &[(usize, &Curve)]) -> Curve {
    // A group is never empty: it is made with its first curve.
    let mut all = Curve { series: Vec::new(), ..group[0].1.clone() };
    for (record, curve) in group {
        let of = &columns.names[*record];
        all.series.extend(curve.series.iter().map(|series| CurveLine {
            name: if series.name.is_empty() { of.clone() } else { format!("{of}, {}", series.name) },
            points: series.points.clone(),
        }));
        // Only what is marked in all is marked here: the ends of the lines show where each one ends.
        all.marks.retain(|mark| curve.marks.contains(mark));
        all.levels.retain(|level| curve.levels.contains(level));
    }
    all
}

fn each_for_itself(columns: &Columns<'_>, group: &[(usize, &Curve)]) -> Vec<Curve> {
    group
        .iter()
        .map(|(record, curve)| Curve {
            name: format!("{}, {}", curve.name, columns.names[*record]),
            ..(*curve).clone()
        })
        .collect()
}

/// The part of a curve that a chart can draw so that its lines are told apart.
pub(crate) fn drawable(curve: &Curve) -> Curve {
    let mut curve = curve.clone();
    curve.series.truncate(LINES);
    curve
}
