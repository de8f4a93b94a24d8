//! The checks of loads, instruments and the source.

use super::charging::not_connected;
use super::checks::{Asked, Check, Lacking, incomplete};
use crate::judge::facts::{Missing, Reason, Sources};
use crate::judge::rules::Outcome;
use crate::judge::rules::expr::Relation;
use crate::logs::plan::MOST_LOADS;
use crate::record::field::Found;
use crate::record::parts::{Element, ElementTrait, RigLoad, RigMeter};
use crate::record::{How, Record, Value};
use crate::units::{Amount, Dimension, Quantity, Uncertain};

const LOAD_VOLTAGE: Asked = Asked {
    check: "load-voltage",
    title: "May be connected to the pack's highest voltage",
    basis: "the load's own limit",
    remedy: "Use a load for a higher voltage.",
};

const LOAD_CURRENT: Asked = Asked {
    check: "load-current",
    title: "Takes its share of the test current",
    basis: "the load's own limit",
    remedy: "Share the current out over more loads.",
};

const LOAD_POWER: Asked = Asked {
    check: "load-power",
    title: "Takes its share of the power, with the pack full",
    basis: "the load's own limit",
    remedy: "Share the current out over more loads.",
};

const WHOLE: Asked = Asked {
    check: "loads-together",
    title: "The loads together take the test current",
    basis: "Kirchhoff's current law",
    remedy: "Set a higher current, or add a load.",
};

const METER_RANGE: Asked = Asked {
    check: "meter-range",
    title: "Reaches a quarter above what it reads",
    basis: "common practice, no source",
    remedy: "Choose a higher range, or an instrument with one.",
};

const METER_VOLTAGE: Asked = Asked {
    check: "meter-range",
    title: "Reaches the pack's highest voltage",
    basis: "the charge limit of the pack",
    remedy: "Choose a higher range, or an instrument with one.",
};

const METER_ACCURACY: Asked = Asked {
    check: "meter-accuracy",
    title: "Its accuracy is known",
    basis: "ILAC-G8:09/2019: no decision without an uncertainty",
    remedy: "Write down its accuracy and resolution.",
};

const METERS: Asked = Asked {
    check: "meters",
    title: "Current, voltage and temperature are read",
    basis: "common practice, no source",
    remedy: "Say under [[rig.meter]] which instrument reads what.",
};

const SENSE: Asked = Asked {
    check: "sense",
    title: "The cut-off is sensed where the pack's voltage is",
    basis: "the drop of the leads, against the rule book's limit `cell_voltage_tolerance` for one cell",
    remedy: "Use sense leads on the pack's terminals, or the pack is cut off early and its capacity comes out too small.",
};

const COMPLETE: Asked = Asked {
    check: "complete",
    title: "Every element from the pack's terminals to the loads and back is listed",
    basis: "a lead that nobody listed was not checked",
    remedy: "List it, then set `complete` to yes.",
};

const CONNECTED: Asked = Asked {
    check: "source-leads",
    title: "Every element from the pack's terminals to the source and back is listed",
    basis: "a lead that nobody listed was not checked",
    remedy: "List it, or say that the source shares the leads of the loads.",
};

const SOURCE_VOLTAGE: Asked = Asked {
    check: "source-voltage",
    title: "Does not charge above the pack's charge limit",
    basis: "the claimed charge voltage, or the usual limit of the cells",
    remedy: "Set it lower before it is connected.",
};

const SOURCE_CURRENT: Asked = Asked {
    check: "source-current",
    title: "Does not charge faster than the pack may be charged",
    basis: "the claimed charge current",
    remedy: "Set it lower before it is connected.",
};

fn missing(name: &str, place: &str) -> Missing {
    Missing::fact(name, place, Reason::NotRecorded)
}

fn why(found: &Found) -> Reason {
    match found.state {
        crate::record::State::Absent => Reason::Absent,
        crate::record::State::NotVisible => Reason::NotVisible,
        _ => Reason::NotRecorded,
    }
}

/// A recorded quantity, or its lack.
fn needed(
    sources: &Sources,
    quantity: Option<&Quantity>,
    found: &Found,
    name: &str,
    place: &str,
) -> Result<Amount, Vec<Missing>> {
    match quantity {
        Some(quantity) => Ok(sources.amount(quantity, found, 0)),
        None => Err(vec![Missing::fact(name, place, why(found))]),
    }
}

fn held(
    asked: Asked,
    part: &str,
    left: Result<Amount, Vec<Missing>>,
    right: &Result<Amount, Vec<Missing>>,
) -> Check {
    match (left, right) {
        (Ok(left), Ok(right)) => asked.compare(part, &left, Relation::AtLeast, right),
        (left, right) => {
            let mut all = left.err().unwrap_or_default();
            all.extend(right.as_ref().err().cloned().unwrap_or_default());
            asked.open(part, &all)
        }
    }
}

/// What a load has to take.
pub(super) struct LoadNeed {
    /// Current of one of the equal loads.
    pub(super) each: Result<Amount, Vec<Missing>>,
    /// Voltage of the pack at rest when full.
    pub(super) full: Result<Amount, Vec<Missing>>,
    /// Highest voltage of the pack.
    pub(super) highest: Result<Amount, Vec<Missing>>,
}

/// Name of a load by its place.
pub(super) fn load_name(load: &RigLoad, index: usize) -> String {
    load.id.text().map_or_else(|| format!("load no. {}", index + 1), str::to_owned)
}

/// The checks of one load; an electronic load has a limit for its current besides that for its power.
pub(super) fn of_load(sources: &Sources, load: &RigLoad, name: &str, need: &LoadNeed) -> Vec<Check> {
    let voltage = needed(sources, load.voltage.quantity(), load.voltage.found(), "load.voltage", name);
    let mut checks = vec![held(LOAD_VOLTAGE, name, voltage, &need.highest)];
    let current = needed(sources, load.current.quantity(), load.current.found(), "load.current", name);
    if current.is_ok() || !matches!(load.kind.word(), Some("inverter" | "resistor bank")) {
        let several = side_by_side(current.as_ref().ok(), need.each.as_ref().ok());
        let mut check = held(LOAD_CURRENT, name, current, &need.each);
        check.steps.extend(several);
        checks.push(check);
    }
    let power = needed(sources, load.power.quantity(), load.power.found(), "load.power", name);
    let wanted = match (&need.each, &need.full) {
        (Ok(each), Ok(full)) => {
            Ok(Amount { number: each.number.times(&full.number), dimension: Dimension::POWER })
        }
        (each, full) => {
            Err([each, full].into_iter().filter_map(|side| side.as_ref().err().cloned()).flatten().collect())
        }
    };
    let several = side_by_side(power.as_ref().ok(), wanted.as_ref().ok());
    let mut check = held(LOAD_POWER, name, power, &wanted);
    if let (Ok(each), Ok(full)) = (&need.each, &need.full) {
        check.steps.push(format!("{} × {} with the pack full", each.show(), full.show()));
    }
    check.steps.extend(several);
    checks.push(check);
    checks
}

/// How many such loads side by side would take what one does not.
fn side_by_side(takes: Option<&Amount>, wanted: Option<&Amount>) -> Option<String> {
    let number = (wanted?.value() / takes?.value() - 1e-9).ceil();
    (number > 1.0 && number <= f64::from(MOST_LOADS))
        .then(|| format!("{number} such loads side by side, each on leads of its own, would take it"))
}

/// That what is set adds up to what is needed.
pub(super) fn together(set: f64, needed: f64) -> Check {
    let ampere = |value| Amount::exact(value, Dimension::CURRENT);
    WHOLE.compare("the rig", &ampere(set), Relation::AtLeast, &ampere(needed))
}

/// That there is a load at all.
pub(super) fn no_load() -> Check {
    let what = "no load (`[[rig.load]]`) is recorded".to_owned();
    let lack = Missing { name: "load.power".to_owned(), what, reason: Reason::NotRecorded };
    WHOLE.open("the rig", &[lack])
}

/// What an instrument reads in the full-load test.
pub(super) enum Reading {
    /// A current, A.
    Current(f64),
    /// A voltage, V.
    Voltage(f64),
    /// Something that the plan has no figure for.
    Other,
    /// It does not follow.
    Unknown(Vec<Missing>),
}

/// The checks of one instrument.
pub(super) fn of_meter(
    record: &Record,
    sources: &Sources,
    meter: &RigMeter,
    name: &str,
    reads: &Reading,
) -> Vec<Check> {
    let mut checks = Vec::new();
    let margin =
        |value: f64, dimension| Ok(Amount::exact(value * crate::logs::plan::RANGE_MARGIN, dimension));
    let wanted = match reads {
        Reading::Current(value) => margin(*value, Dimension::CURRENT),
        // A voltage does not overshoot its limit as a current does.
        Reading::Voltage(value) => Ok(Amount::exact(*value, Dimension::VOLTAGE)),
        Reading::Unknown(missing) => Err(missing.clone()),
        Reading::Other => {
            checks.push(accuracy_known(record, meter, name));
            return checks;
        }
    };
    let range = needed(sources, meter.range.quantity(), meter.range.found(), "meter.range", name);
    let range = match (range, &wanted) {
        (Ok(range), Ok(wanted)) if range.dimension != wanted.dimension => {
            let what =
                format!("the range of {name} is {}, not {}", range.dimension.name(), wanted.dimension.name());
            Err(vec![Missing::refused(&what)])
        }
        (range, _) => range,
    };
    let asked = if matches!(reads, Reading::Voltage(_)) { METER_VOLTAGE } else { METER_RANGE };
    checks.push(held(asked, name, range, &wanted));
    let mut accuracy = accuracy_known(record, meter, name);
    if let (Reading::Current(value), Some(id)) = (reads, meter.instrument.text())
        && let Ok(reading) = reading(record, sources, id, *value)
    {
        accuracy.steps.push(format!("a reading there is {}", reading.show()));
    }
    checks.push(accuracy);
    checks
}

fn accuracy_known(record: &Record, meter: &RigMeter, name: &str) -> Check {
    let lacks = match meter.instrument.text() {
        None => Some(missing("meter.instrument", name)),
        Some(id) => accuracy_of(record, id).err(),
    };
    match lacks {
        Some(lack) => METER_ACCURACY.open(name, &[lack]),
        None => METER_ACCURACY.of(name, Outcome::Meets),
    }
}

fn accuracy_of(record: &Record, id: &str) -> Result<(), Missing> {
    let Some(instrument) = record.instrument.iter().find(|instrument| instrument.id.text() == Some(id))
    else {
        let what = format!("there is no `[[instrument]]` with the id `{id}`");
        return Err(Missing { name: "instrument.id".to_owned(), what, reason: Reason::NotRecorded });
    };
    let Some(Value::Accuracy(accuracy)) = instrument.accuracy.found().value() else {
        return Err(missing("instrument.accuracy", id));
    };
    if accuracy.digits > 0.0 && instrument.resolution.quantity().is_none() {
        return Err(missing("instrument.resolution", id));
    }
    Ok(())
}

/// A current as an instrument would read it, with its uncertainty.
pub(super) fn reading(record: &Record, sources: &Sources, id: &str, amperes: f64) -> Result<Amount, Missing> {
    accuracy_of(record, id)?;
    let found = Found { how: Some(How::Measured), with: Some(id.to_owned()), ..Found::default() };
    Ok(sources.amount(&Quantity::of(amperes, Dimension::CURRENT), &found, 0))
}

/// That the instruments read what a session needs: the whole current or every branch, the voltage, a temperature.
pub(super) fn coverage(record: &Record, load_names: &[String]) -> Check {
    let reads =
        |word: &str| record.rig.meter.iter().filter(|meter| meter.reads.word() == Some(word)).count() > 0;
    let branches = !load_names.is_empty()
        && load_names.iter().all(|name| {
            record.rig.meter.iter().any(|meter| {
                meter.reads.word() == Some("branch current") && meter.load.text() == Some(name.as_str())
            })
        });
    let mut check = METERS.of("the rig", Outcome::Meets);
    for (there, word, what) in [
        (reads("whole current") || branches, "whole current", "the current: the whole, or every branch"),
        (reads("pack voltage"), "pack voltage", "the pack's voltage"),
        (reads("temperature"), "temperature", "temperatures"),
    ] {
        if !there {
            check.outcome = Outcome::NotDecided;
            check.missing.push(Lacking {
                what: format!("no `[[rig.meter]]` says what reads {what}"),
                write: Some(format!("reads = \"{word}\" (in [[rig.meter]])")),
            });
        }
    }
    check
}

/// The drop of the leads in the capacity test.
pub(super) struct LeadDrop {
    /// The drop, as far as it is known.
    pub(super) known: Option<Amount>,
    /// What it leaves out.
    pub(super) missing: Vec<Missing>,
}

/// Whether the cut-off voltage is sensed where it counts.
pub(super) fn sense(
    record: &Record,
    drop: &LeadDrop,
    series: Option<u32>,
    tolerance: Option<&Amount>,
) -> Check {
    let part = "the rig";
    match record.rig.sense.word() {
        Some("at the pack") => SENSE.of(part, Outcome::Meets),
        Some(_) => {
            let (Some(known), Some(series), Some(tolerance)) = (&drop.known, series, tolerance) else {
                let mut all = drop.missing.clone();
                if series.is_none() {
                    all.push(missing("cells.series", ""));
                }
                return SENSE.open(part, &all);
            };
            let cell =
                Amount { number: known.number.scaled(1.0 / f64::from(series)), dimension: known.dimension };
            let mut check = SENSE.compare(part, &cell, Relation::AtMost, tolerance);
            check.steps.push(format!(
                "drop of the leads at the capacity test's current {}, {series} cells",
                known.show()
            ));
            if check.outcome == Outcome::Meets && !drop.missing.is_empty() {
                // What is left out adds to the drop.
                check.outcome = Outcome::NotDecided;
                check.missing.extend(drop.missing.iter().map(Into::into));
            }
            check
        }
        None => SENSE.open(part, &[Missing::fact("rig.sense", "", why(record.rig.sense.found()))]),
    }
}

/// Leads that a circuit has at least: one there, one back.
const LEAST_LEADS: usize = 2;

fn count_leads<'a>(elements: impl IntoIterator<Item = &'a Element>) -> usize {
    elements.into_iter().filter(|e| e.has(ElementTrait::Conductor)).count()
}

fn no_way_back(name: &str) -> Missing {
    let what = "fewer than two leads are listed: the current has to come back".to_owned();
    Missing { name: name.to_owned(), what, reason: Reason::NotRecorded }
}

/// That the list is said to be complete, and could be.
pub(super) fn listed(record: &Record) -> Check {
    let rig = &record.rig;
    let spread = rig.load.iter().flat_map(|load| &load.element);
    let leads = count_leads(rig.element.iter().chain(spread));
    let mut lacks = Vec::new();
    if rig.complete.yes() != Some(true) {
        lacks.push(incomplete());
    }
    if leads < LEAST_LEADS {
        lacks.push(no_way_back("rig.element"));
    }
    if lacks.is_empty() { COMPLETE.of("the rig", Outcome::Meets) } else { COMPLETE.open("the rig", &lacks) }
}

/// That the leads of the source are told, and said to be all.
pub(super) fn charging_listed(record: &Record, elements: &[Element]) -> Check {
    let source = &record.rig.source;
    let mut lacks = Vec::new();
    if elements.is_empty() && source.shares_leads.yes() != Some(true) {
        lacks.push(not_connected());
    } else if count_leads(elements) < LEAST_LEADS {
        lacks.push(no_way_back("source.element"));
    }
    if record.rig.complete.yes() != Some(true) {
        lacks.push(incomplete());
    }
    let part = "the charging leads";
    if lacks.is_empty() { CONNECTED.of(part, Outcome::Meets) } else { CONNECTED.open(part, &lacks) }
}

/// The checks of the source, where one is recorded.
pub(super) fn of_source(
    record: &Record,
    sources: &Sources,
    highest: &Result<Amount, Vec<Missing>>,
    slack: f64,
) -> Vec<Check> {
    let source = &record.rig.source;
    let any = source.kind.is_recorded() || source.voltage.is_recorded() || source.current.is_recorded();
    if !any {
        return Vec::new();
    }
    let name = source.name.text().unwrap_or("the source").to_owned();
    let voltage = needed(sources, source.voltage.quantity(), source.voltage.found(), "source.voltage", &name);
    let limit = highest.clone().map(|highest| Amount { number: highest.number.shifted(slack), ..highest });
    let at_most =
        |asked: Asked, left: Result<Amount, Vec<Missing>>, right: Result<Amount, Vec<Missing>>| match (
            left, right,
        ) {
            (Ok(left), Ok(right)) => asked.compare(&name, &left, Relation::AtMost, &right),
            (left, right) => {
                let mut all = left.err().unwrap_or_default();
                all.extend(right.err().unwrap_or_default());
                asked.open(&name, &all)
            }
        };
    let current = needed(sources, source.current.quantity(), source.current.found(), "source.current", &name);
    let claimed = needed(
        sources,
        record.claims.charge_current.quantity(),
        record.claims.charge_current.found(),
        "claims.charge_current",
        "",
    );
    vec![at_most(SOURCE_VOLTAGE, voltage, limit), at_most(SOURCE_CURRENT, current, claimed)]
}

/// Sum of readings with their uncertainty: one instrument's share of the reading adds, independent ones do not.
pub(super) fn sum(readings: &[Amount]) -> Amount {
    let number = readings.iter().fold(Uncertain::exact(0.0), |sum, reading| sum.plus(&reading.number));
    Amount { number, dimension: Dimension::CURRENT }
}
