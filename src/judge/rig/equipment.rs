//! Facts of the loads, the meters, the source and the rig as a whole.

use super::circuit::incomplete;
use super::plan::MOST_LOADS;
use crate::judge::facts::{Answer, Missing, Reason, Sources, Val, Values, Worked};
use crate::record::field::Found;
use crate::record::parts::{Element, ElementTrait, Reads, RigLoad, RigMeter};
use crate::record::{How, Record, State, Value};
use crate::units::{Amount, Dimension, Quantity, Uncertain};

fn missing(name: &str, place: &str) -> Missing {
    Missing::fact(name, place, Reason::NotRecorded)
}

pub(super) const fn why(found: &Found) -> Reason {
    match found.state {
        State::Absent => Reason::Absent,
        State::NotVisible => Reason::NotVisible,
        _ => Reason::NotRecorded,
    }
}

/// An amount as a fact.
pub(super) fn amount(amount: Amount) -> Worked {
    Worked::of(Val::Amount(amount))
}

/// A yes that nothing speaks against, or what does.
fn yes_unless(lacks: Vec<Missing>) -> Answer {
    if lacks.is_empty() { Ok(Worked::of(Val::YesNo(true))) } else { Err(lacks) }
}

/// Name of a load by its place.
pub(super) fn load_name(load: &RigLoad, index: usize) -> String {
    load.id.text().map_or_else(|| format!("load no. {}", index + 1), str::to_owned)
}

/// What a load has to take: its share, and the power of that with the pack full.
pub(super) fn of_load(
    load: &RigLoad,
    each: Result<Amount, Vec<Missing>>,
    full: &Result<Amount, Vec<Missing>>,
) -> Values {
    let mut values = Values::new();
    let power = match (&each, full) {
        (Ok(each), Ok(full)) => {
            let power = Amount { number: each.number.times(&full.number), dimension: Dimension::POWER };
            let mut steps = vec![format!("{} × {} with the pack full", each.show(), full.show())];
            steps.extend(side_by_side(load.power.quantity(), &power));
            Ok(Worked { steps, ..amount(power) })
        }
        (each, full) => {
            Err([each, full].into_iter().filter_map(|side| side.as_ref().err().cloned()).flatten().collect())
        }
    };
    values.insert("load.share_power", power);
    let share = each.map(|each| Worked {
        steps: side_by_side(load.current.quantity(), &each).into_iter().collect(),
        ..amount(each)
    });
    values.insert("load.share", share);
    values
}

/// How many such loads side by side would take what one does not.
fn side_by_side(takes: Option<&Quantity>, wanted: &Amount) -> Option<String> {
    let number = (wanted.value() / takes?.value - 1e-9).ceil();
    (number > 1.0 && number <= f64::from(MOST_LOADS))
        .then(|| format!("{number} such loads side by side, each on leads of its own, would take it"))
}

/// What an instrument reads in the full-load test, its range, and whether its accuracy is known.
pub(super) fn of_meter(
    record: &Record,
    sources: &Sources,
    meter: &RigMeter,
    name: &str,
    reading: Result<Amount, Vec<Missing>>,
) -> Values {
    let mut values = Values::new();
    let range = |wanted: Dimension| match meter.range.quantity() {
        None => Err(vec![Missing::fact("meter.range", name, why(meter.range.found()))]),
        Some(range) if range.dimension != wanted => {
            let what = format!("the range of {name} is {}, not {}", range.dimension.name(), wanted.name());
            Err(vec![Missing::refused(&what)])
        }
        Some(range) => Ok(amount(sources.amount(range, meter.range.found(), 0))),
    };
    values.insert("meter.current_range", range(Dimension::CURRENT));
    values.insert("meter.voltage_range", range(Dimension::VOLTAGE));
    let id = meter.instrument.text();
    let known = match id {
        None => Err(missing("meter.instrument", name)),
        Some(id) => accuracy_of(record, id),
    };
    let mut accuracy = yes_unless(known.err().into_iter().collect());
    if let (Ok(worked), Ok(current), Some(id)) = (&mut accuracy, &reading, id)
        && let Ok(reading) = self::reading(record, sources, id, current.value())
    {
        worked.steps.push(format!("a reading there is {}", reading.show()));
    }
    values.insert("meter.accuracy_known", accuracy);
    values.insert("meter.reading", reading.map(amount));
    values
}

fn accuracy_of(record: &Record, id: &str) -> Result<(), Missing> {
    let Some(instrument) = record.instrument.iter().find(|instrument| instrument.id.text() == Some(id))
    else {
        let what = format!("there is no `[[instrument]]` with the id `{id}`");
        return Err(Missing::told("instrument.id", what, Reason::NotRecorded));
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

/// Whether the instruments read what a session needs: the whole current or every branch, the voltage, a temperature.
pub(super) fn coverage(record: &Record, load_names: &[String]) -> Answer {
    let reads = |what: Reads| record.rig.meter.iter().any(|meter| meter.reads.known() == Some(what));
    let branches = !load_names.is_empty()
        && load_names.iter().all(|name| {
            record.rig.meter.iter().any(|meter| {
                meter.reads.known() == Some(Reads::BranchCurrent) && meter.load.text() == Some(name.as_str())
            })
        });
    let wanted = [
        (reads(Reads::WholeCurrent) || branches, "the current: the whole, or every branch"),
        (reads(Reads::PackVoltage), "the pack's voltage"),
        (reads(Reads::Temperature), "temperatures"),
    ];
    let lacks = wanted.into_iter().filter(|(there, _)| !there).map(|(_, what)| {
        let what = format!("no `[[rig.meter]]` says what reads {what}");
        Missing::told("meter.reads", what, Reason::NotRecorded)
    });
    yes_unless(lacks.collect())
}

/// The drop of the leads in the capacity test.
pub(super) struct LeadDrop {
    /// The drop, as far as it is known.
    pub(super) known: Option<Amount>,
    /// What it leaves out.
    pub(super) missing: Vec<Missing>,
}

/// Leads that a circuit has at least: one there, one back.
const LEAST_LEADS: usize = 2;

fn count_leads<'a>(elements: impl IntoIterator<Item = &'a Element>) -> usize {
    elements.into_iter().filter(|e| e.has(ElementTrait::Conductor)).count()
}

fn no_way_back(name: &str) -> Missing {
    let what = "fewer than two leads are listed: the current has to come back";
    Missing::told(name, what, Reason::NotRecorded)
}

fn said_complete(record: &Record) -> Option<Missing> {
    (record.rig.complete.yes() != Some(true)).then(incomplete)
}

/// Whether the list is said to be complete, and could be.
pub(super) fn listed(record: &Record) -> Answer {
    let rig = &record.rig;
    let spread = rig.load.iter().flat_map(|load| &load.element);
    let leads = count_leads(rig.element.iter().chain(spread));
    let short = (leads < LEAST_LEADS).then(|| no_way_back("rig.element"));
    yes_unless(said_complete(record).into_iter().chain(short).collect())
}

/// Whether the leads of the source are told, and said to be all.
pub(super) fn charging_listed(record: &Record, elements: &[Element]) -> Answer {
    let source = &record.rig.source;
    let lack = if elements.is_empty() && source.shares_leads.yes() != Some(true) {
        Some(not_connected())
    } else {
        (count_leads(elements) < LEAST_LEADS).then(|| no_way_back("source.element"))
    };
    yes_unless(lack.into_iter().chain(said_complete(record)).collect())
}

/// How the source is connected is not recorded.
pub(super) fn not_connected() -> Missing {
    let what = "how the source is connected is not recorded: its own leads ([[rig.source.element]]), or those of the loads";
    Missing::told("source.shares_leads", what, Reason::NotRecorded)
}

/// Sum of readings with their uncertainty: one instrument's share of the reading adds, independent ones do not.
pub(super) fn sum(readings: &[Amount]) -> Amount {
    let number = readings.iter().fold(Uncertain::exact(0.0), |sum, reading| sum.plus(&reading.number));
    Amount { number, dimension: Dimension::CURRENT }
}
