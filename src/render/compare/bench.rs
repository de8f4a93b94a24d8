//! Bench tests side by side: matched by kind and conditions, figures with differences, curves over each other.
//!
//! Tests at different currents, rates, cut-offs or ambient temperatures show different things. They stand side by side,
//! what differs is named, and no difference is worked out.

use serde::Serialize;

use super::Columns;
use super::difference::{Change, Kind, Sourced, fields, shown};
use super::elements::of_answers;
use super::fields::{self, Cell, PartComparison, Row, Sorted};
use super::matching::{Item, Rows};
use crate::judge::bench_test::{Curve, Series, Trial};
use crate::judge::facts::Answer;
use crate::record::parts::BenchTest;
use crate::record::{Part, Record, State};
use crate::units::{self, Amount, COVERAGE, Dimension, Uncertain};

/// Settings that must agree for two tests to be compared.
const CONDITIONS: [&str; 5] = ["current", "rate", "cutoff_voltage", "ambient", "cell_temperature"];
/// Ambient temperatures that differ by less are the same condition, K (common practice, no source).
const SAME_AMBIENT: f64 = 3.0;
/// Figures that a fact stands for.
const TOLD: [&str; 4] = ["capacity", "energy", "charge into the pack", "energy into the pack"];
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
    let trials: Vec<Option<&Trial>> =
        at.iter().zip(columns.inspections).map(|(at, i)| at.and_then(|at| i.trials.get(at))).collect();
    let kind = trials.iter().flatten().next().map_or_else(String::new, |trial| trial.kind.clone());
    let (conditions_differ, conditions_open) = conditions(columns, &tests);
    let compared = conditions_differ.is_empty();
    let figures = if compared { figures(columns, &trials) } else { Vec::new() };
    let told: &[&str] = if figures.is_empty() { &[] } else { &TOLD };
    let (mut further, mut words) = (Vec::new(), Vec::new());
    for (name, each) in by_name(&trials, told) {
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
        problems: trials
            .iter()
            .zip(&columns.names)
            .filter_map(|(trial, name)| Some(format!("{name}: {}", trial.as_ref()?.problem.as_ref()?)))
            .collect(),
        further,
        words,
        settings: PartComparison {
            name: "settings".to_owned(),
            matched_by: None,
            only_in: columns.only_in(at),
            fields: Sorted::of(fields::rows(&tests, columns, &["id", "kind"], false)),
        },
        curves: curves(columns, &trials, compared),
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
        let kinds: Vec<Kind> = others
            .iter()
            .map(|(at, other)| {
                let change =
                    fields(sourced(*first, one), sourced(*at, other), columns.names(*first, *at), field);
                let small = name == "ambient" && change.difference_si.is_some_and(|d| d.abs() < SAME_AMBIENT);
                if small { Kind::Same } else { change.kind }
            })
            .collect();
        if kinds.iter().any(|kind| matches!(kind, Kind::Changed | Kind::AsRecorded)) {
            differ.push(say());
        } else if kinds.contains(&Kind::OneOnly) {
            open.push(say());
        }
    }
    (differ, open)
}

/// Facts of the tests with their differences.
fn figures(columns: &Columns<'_>, trials: &[Option<&Trial>]) -> Vec<Row> {
    let names = [
        ("capacity", "test.capacity_found"),
        ("energy", "test.energy_found"),
        ("rated current held", "test.held"),
        ("charging blocked in the cold", "test.blocked"),
        ("charge into the pack", "test.charge_in"),
        ("energy into the pack", "test.energy_in"),
    ];
    names
        .iter()
        .filter_map(|(what, name)| {
            let answers: Vec<Option<&Answer>> =
                trials.iter().map(|trial| trial.and_then(|trial| trial.facts.get(name))).collect();
            answers.iter().flatten().next()?;
            Some(of_answers(what, &answers, columns))
        })
        .collect()
}

/// Every figure by name, in the order in which the names come first: for each record all its values of that name.
fn by_name<'a>(trials: &[Option<&'a Trial>], without: &[&str]) -> Vec<(&'a str, Vec<Vec<&'a str>>)> {
    let mut names: Vec<&str> = Vec::new();
    for (name, _) in trials.iter().flatten().flat_map(|trial| &trial.figures) {
        if !names.contains(&name.as_str()) && !without.contains(&name.as_str()) {
            names.push(name);
        }
    }
    let of = |name: &str| {
        let each = trials.iter().map(|trial| {
            let figures = trial.iter().flat_map(|trial| &trial.figures);
            figures.filter(|(known, _)| known == name).map(|(_, value)| value.as_str()).collect()
        });
        each.collect()
    };
    names.into_iter().map(|name| (name, of(name))).collect()
}

/// A figure with its differences, where each record has one quantity of that name at the most, and some record one.
fn figure(columns: &Columns<'_>, what: &str, each: &[Vec<&str>]) -> Option<Row> {
    let mut quantities = Vec::with_capacity(each.len());
    for values in each {
        quantities.push(match values.as_slice() {
            [] => None,
            [only] => Some(shown_quantity(only)?),
            _ => return None,
        });
    }
    quantities.iter().flatten().next()?;
    let cells = each.iter().zip(&quantities).map(|(values, quantity)| {
        let cell = quantity.as_ref().map_or_else(Cell::default, Cell::of_amount);
        Cell { text: values.first().map_or("–", |text| text).to_owned(), ..cell }
    });
    let changes = (1..quantities.len()).map(|at| {
        let names = columns.names(0, at);
        match (&quantities[0], &quantities[at]) {
            (Some(a), Some(b)) if a.dimension == b.dimension => {
                let percent = each.iter().flatten().any(|text| text.contains('%'));
                shown(a, b, percent, names)
            }
            (Some(_), Some(_)) => Change::plain(Kind::NotCompared, "not the same kind of quantity"),
            (None, None) => Change::plain(Kind::NotCompared, "in neither"),
            (a, _) => Change::plain(Kind::OneOnly, fields::only_in(names, a.is_none())),
        }
    });
    Some(Row::new(what, cells.collect(), changes.collect()))
}

/// The quantity with which a figure begins, read back from what the write-up shows: a difference is then one that a
/// reader can check. What follows it (`(k = 2): the claim is met`) stays in words.
fn shown_quantity(text: &str) -> Option<Amount> {
    let end = [" (", "; ", ": ", ", "].iter().filter_map(|mark| text.find(mark)).min().unwrap_or(text.len());
    let head = text.get(..end)?.trim();
    let (value, expanded, dimension) = match head.strip_suffix('%') {
        // Of a percentage the uncertainty is in percentage points; the record's `± 2 %` is a share of the value.
        Some(percent) => {
            let (value, expanded) = percent.split_once('±').unwrap_or((percent, "0"));
            let share = |text: &str| Some(text.trim().parse::<f64>().ok()? / 100.0);
            (share(value)?, share(expanded)?, Dimension::NONE)
        }
        None => {
            let quantity = units::parse(head).ok()?;
            (quantity.value, quantity.expanded.unwrap_or(0.0), quantity.dimension)
        }
    };
    // Two records are independent of each other, so the number of the source does not matter.
    let number = Uncertain::exact(value).with_part(0, expanded / COVERAGE);
    Some(Amount { number, dimension })
}

/// Values of one figure in words.
fn in_words(each: &[Vec<&str>]) -> Vec<String> {
    each.iter().map(|values| if values.is_empty() { "–".to_owned() } else { values.join("; ") }).collect()
}

/// The curves: those of the same name and axes over each other, or each for itself where conditions differ.
fn curves(columns: &Columns<'_>, trials: &[Option<&Trial>], overlay: bool) -> Vec<Curve> {
    let each: Vec<(usize, &Curve)> = trials
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
        all.series.extend(curve.series.iter().map(|series| Series {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_figure_is_read_back_as_it_is_shown() {
        let cases = [
            ("4.30 mΩ ± 0.27 mΩ", Some((0.0043, 0.00027))),
            ("26.29 V", Some((26.29, 0.0))),
            ("63.996 °C ± 0.012 K; steady state was not reached", Some((337.146, 0.012))),
            ("101.33 ± 0.37 % (k = 2): the claim is met", Some((1.0133, 0.0037))),
            ("97 %", Some((0.97, 0.0))),
            ("0.2 C, held", Some((0.2 / 3600.0, 0.0))),
            ("-6.4 °C", Some((266.75, 0.0))),
            ("3", Some((3.0, 0.0))),
            ("24 °C to 26.9 °C", None),
            ("yes", None),
            ("at 90.6 % depth of discharge, 25.59 V", None),
            ("15.25 min surely, 15.25 min possibly", None),
            ("not decided: the charge is not complete", None),
            ("152 A against 151.55 A ± 0.53 A: agree", None),
            ("[withheld]: it rests on something withheld", None),
            ("", None),
        ];
        for (text, wanted) in cases {
            let read = shown_quantity(text).map(|amount| (amount.value(), amount.number.expanded()));
            let near =
                |(a, b): &((f64, f64), (f64, f64))| (a.0 - b.0).abs() < 1e-9 && (a.1 - b.1).abs() < 1e-9;
            assert!(read.zip(wanted).as_ref().map_or(read == wanted, near), "{text}: {read:?}");
        }
    }
}
