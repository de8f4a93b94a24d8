//! The fault current as a range, by two ways that are independent of each other, and what follows from it.
//!
//! *From the parts*: the greatest current has the cells' resistance at 1 kHz and nothing for a part that nobody measured; the
//! least has their direct-current resistance, every part's stand-in and, while the list of parts is not complete, a stand-in
//! for those that may be missing. *From a load step*: the resistance of the whole pack within a second of a change of load,
//! with whatever polarisation has set in by then and the leads up to where the voltage was read; at least that current
//! flows. A requirement is decided by the whole range: "cannot interrupt" by its least, "meets" by its greatest.

use uom::si::electric_current::ampere;
use uom::si::electric_potential::volt;
use uom::si::electrical_resistance::ohm;
use uom::si::f64::{ElectricPotential, ElectricalResistance};

use crate::judge::facts::answers::Answers;
use crate::judge::facts::block::Block;
use crate::judge::facts::network::stand_in::{self, StandIn};
use crate::judge::facts::pack::together;
use crate::judge::facts::strings::{several, strings_of};
use crate::judge::facts::worker::{Worker, line};
use crate::judge::facts::{Answer, Facts, Missing, Reason, Side, element_label, rest_voltage};
use crate::logs::instrument::compare;
use crate::physics::short_circuit;
use crate::record::parts::ElementKind;
use crate::units::{Amount, Dimension, show, show_range};

/// Resistance of parts that are not listed while the path is not said to be complete, Ω.
const NOT_LISTED: (f64, f64) = (0.0, 3e-3);
/// Resistance of the leads between packs in parallel where the papers do not state it, Ω.
const PARALLEL_LEADS: (f64, f64) = (0.1e-3, 5e-3);
/// Sources of uncertainty of the ranges of this module, beyond those of instruments, tests and the network.
const SOURCE: u32 = Block::Fault.first();

/// Parts of the loop whose resistance is told: all of a pack's, and no square of a record of thousands.
const TOLD: usize = 40;

/// Both ends of a range, SI units.
type Ends = (f64, f64);

fn plus(a: Ends, b: Ends) -> Ends {
    (a.0 + b.0, a.1 + b.1)
}

fn shown(ends: Ends, dimension: Dimension) -> String {
    show_range(ends.0, ends.1, dimension)
}

/// What a fault current flows through.
struct Loop {
    volts: f64,
    /// All of it, and without the cells.
    whole: Ends,
    path: Ends,
    current: Ends,
    /// What would narrow the range.
    narrows: Vec<Missing>,
}

/// The currents, the energy and the times that follow.
pub(super) fn of(facts: &Facts<'_>, values: &mut Answers) {
    let mut work = Worker::new(facts);
    let resistances = resistances(facts, &mut work);
    let parts = from_parts(work, resistances.as_ref());
    let step = from_step(facts);
    values.insert("path.short_circuit_steps", steps(facts, step.is_some()));
    values.insert("path.short_circuit_error", error(facts, &parts, step.as_ref()));
    let current = both(facts, &parts, step.as_ref());
    values.insert("path.fault_time_constant", time_constant(facts, resistances.as_ref()));
    values.insert("path.fault_energy", energy(facts, resistances.as_ref()));
    values.insert("path.fault_current_in_use", in_use(facts, &current, resistances.as_ref()));
    values.insert("path.short_circuit_current", current);
    values.insert("path.short_circuit_from_step", step.unwrap_or_else(|| Err(vec![no_step()])));
    values.insert("path.short_circuit_from_parts", parts);
}

fn no_step() -> Missing {
    Missing::refused("no bench test shows the resistance of the pack within 1 s of a load step")
}

/// The resistances of the loop with their working.
fn resistances(facts: &Facts<'_>, work: &mut Worker<'_>) -> Result<Loop, Vec<Missing>> {
    let mut narrows = Vec::new();
    let (series, parallel) = (work.amount("cells.series"), work.amount("cells.parallel"));
    let voltage = rest_voltage(work);
    let cell = cell_resistance(work, &mut narrows);
    let [series, parallel, voltage] = work.all([series, parallel, voltage])?;
    let Some(cell) = cell else { return Err(work.take_missing()) };
    let of_cells = (series.value() * cell.0 / parallel.value(), series.value() * cell.1 / parallel.value());
    work.step(|| {
        let of_one = shown(cell, Dimension::RESISTANCE);
        let of_one = if cell.0 < cell.1 { format!("({of_one})") } else { of_one };
        format!(
            "cells: {} × {of_one} / {} = {}",
            series.show(),
            parallel.show(),
            shown(of_cells, Dimension::RESISTANCE)
        )
    });
    let mut path = (0.0, 0.0);
    let mut missing_from = Vec::new();
    for (index, element) in facts.record.path.element.iter().enumerate() {
        let label = element_label(facts.record, index);
        if element.kind() == Some(ElementKind::CellStack) {
            continue;
        }
        let of_element = match facts.derived.of_element(index, "element.resistance_found") {
            Some(Ok(worked)) => {
                work.rests_on(worked);
                worked.value.amount().map_or((0.0, 0.0), Amount::ends)
            }
            Some(Err(missing)) if missing.iter().any(|m| m.reason == Reason::Withheld) => {
                return Err(missing.clone());
            }
            lacking => {
                narrows.extend(lacking.and_then(|l| l.as_ref().err()).into_iter().flatten().cloned());
                let rated = |kind| matches!(kind, ElementKind::Fuse | ElementKind::CircuitBreaker);
                if element.kind().is_some_and(rated) && element.rating.quantity().is_none() {
                    let name = "element.rating";
                    narrows.push(Missing::of_element(name, facts.record, index, Reason::NotRecorded));
                }
                let (greatest, basis) = stands_in(facts, work, index, element.kind());
                missing_from
                    .push(format!("{label} up to {} ({basis})", show(greatest, Dimension::RESISTANCE)));
                (0.0, greatest)
            }
        };
        // Nobody said whether it stands in each string: from a share of it to all of it.
        let strings = strings_of(facts, index).map(|strings| (strings, strings));
        let strings = strings.unwrap_or_else(|missing| {
            narrows.extend(missing);
            (several(facts).unwrap_or(1.0), 1.0)
        });
        let of_element = (of_element.0 / strings.0, of_element.1 / strings.1);
        if index < TOLD {
            work.step(|| format!("{label}: {}", shown(of_element, Dimension::RESISTANCE)));
        }
        path = plus(path, of_element);
    }
    if let Some(more) = facts.record.path.element.len().checked_sub(TOLD).filter(|more| *more > 0) {
        work.step(|| format!("and {more} more"));
    }
    if let Some(more) = missing_from.len().checked_sub(TOLD).filter(|more| *more > 0) {
        missing_from.truncate(TOLD);
        missing_from.push(format!("and {more} more"));
    }
    if !missing_from.is_empty() {
        work.assume(format!(
            "not measured, so nothing at the greatest current and a stand-in at the least: {}",
            missing_from.join("; ")
        ));
    }
    if facts.record.path.element.iter().any(|element| element.kind() == Some(ElementKind::CellStack)) {
        path.1 += (series.value() - 1.0).max(0.0) * stand_in::LINK.ends.1;
    }
    if facts.record.path.complete.yes() != Some(true) {
        work.assume(format!(
            "`path.complete` does not say yes: parts that are not listed may add up to {} (no source)",
            show(NOT_LISTED.1, Dimension::RESISTANCE)
        ));
        narrows.push(Missing::fact("path.complete", "", Reason::NotRecorded));
        path = plus(path, NOT_LISTED);
    }
    work.step(|| {
        format!("everything beside the cells, their links included: {}", shown(path, Dimension::RESISTANCE))
    });
    let through = |cell: f64, path: f64| {
        short_circuit::prospective(
            ElectricPotential::new::<volt>(voltage.value()),
            ElectricalResistance::new::<ohm>(cell),
            series.value(),
            parallel.value(),
            ElectricalResistance::new::<ohm>(path),
        )
        .map(|current| current.get::<ampere>())
        .map_err(|why| vec![Missing::refused(&why.to_string())])
    };
    let current = (through(cell.1, path.1)?, through(cell.0, path.0)?);
    let volts = series.value() * voltage.value();
    Ok(Loop { volts, whole: plus(of_cells, path), path, current, narrows })
}

/// Resistance of one cell: at 1 kHz for the greatest current, for direct current for the least.
fn cell_resistance(work: &mut Worker<'_>, narrows: &mut Vec<Missing>) -> Option<Ends> {
    let factor = stand_in::CELL_DIRECT;
    let direct = work.optional("cells.direct_resistance");
    let Some(shown_by_meter) = work.optional("cells.resistance") else {
        let Some(direct) = direct else {
            let _ = work.amount("cells.resistance");
            return None;
        };
        work.assume(format!(
            "at 1 kHz down to 1/{} of the direct-current resistance: {}",
            factor.ends.1, factor.basis
        ));
        narrows.push(Missing::fact("cells.resistance", "", Reason::NotRecorded));
        let of = direct.ends();
        return Some((of.0 / factor.ends.1, of.1));
    };
    let of = shown_by_meter.ends();
    Some(if let Some(direct) = direct {
        (of.0.min(direct.ends().0), direct.ends().1.max(of.1))
    } else {
        work.assume(format!(
            "direct-current resistance not recorded; {} to {} times the recorded one taken: {}",
            factor.ends.0, factor.ends.1, factor.basis
        ));
        narrows.push(Missing::fact("cells.direct_resistance", "", Reason::NotRecorded));
        (of.0, of.1 * factor.ends.1)
    })
}

/// The greatest that a part which nobody measured may have, and its basis.
fn stands_in(
    facts: &Facts<'_>,
    work: &Worker<'_>,
    index: usize,
    kind: Option<ElementKind>,
) -> (f64, &'static str) {
    let greatest = |of: StandIn| (of.ends.1, of.basis);
    let inside = Facts { subject: crate::judge::facts::Subject::Element(index), ..*facts };
    match kind {
        Some(ElementKind::Joint) => greatest(stand_in::JOINT),
        Some(ElementKind::Bms) => {
            let names = ["bms.device_resistance", "bms.switching_devices", "bms.devices_in_series"];
            match names.map(|name| work.optional(name).map(|amount| amount.value())) {
                [Some(each), Some(parallel), Some(in_series)] if parallel > 0.0 => {
                    let hot = crate::physics::heat_path::RESISTANCE_FACTOR.1;
                    let board = stand_in::BMS_BOARD.ends.1;
                    (
                        hot * each * in_series / parallel + board,
                        "its switching devices when hot, and its board",
                    )
                }
                _ => greatest(stand_in::BMS),
            }
        }
        Some(ElementKind::Fuse | ElementKind::CircuitBreaker) => {
            let rating = Worker::new(&inside).optional("element.rating").map(|rating| rating.value());
            let rating = rating.filter(|rating| *rating > 0.0).unwrap_or(stand_in::SMALLEST_FUSE);
            (stand_in::FUSE_DROP.ends.1 / rating, stand_in::FUSE_DROP.basis)
        }
        Some(
            ElementKind::ThermalCutoff | ElementKind::Contactor | ElementKind::Shunt | ElementKind::Connector,
        ) => greatest(stand_in::DEVICE),
        Some(ElementKind::CellStack | ElementKind::Busbar | ElementKind::Cable | ElementKind::Terminal)
        | None => greatest(stand_in::UNKNOWN_PART),
    }
}

/// A finished range.
fn range(mut work: Worker<'_>, of: Ends, dimension: Dimension, source: u32, narrows: Vec<Missing>) -> Answer {
    work.bounded(Side::Within, narrows, false);
    work.done(Amount::between(of.0, of.1, SOURCE + source, dimension))
}

fn from_parts(mut work: Worker<'_>, resistances: Result<&Loop, &Vec<Missing>>) -> Answer {
    let parts = resistances.map_err(Clone::clone)?;
    work.source(&short_circuit::METHOD);
    work.assume(
        "fully charged cells at rest, terminals bridged without resistance, no device opens".to_owned(),
    );
    work.step(|| {
        format!(
            "{} over both: {}",
            show(parts.volts, Dimension::VOLTAGE),
            shown(parts.current, Dimension::CURRENT)
        )
    });
    range(work, parts.current, Dimension::CURRENT, 0, parts.narrows.clone())
}

/// From the smallest resistance of the pack that a test shows; `None` where none does.
fn from_step(facts: &Facts<'_>) -> Option<Answer> {
    let tests = 0..facts.record.test.len();
    let (index, resistance) = tests
        .filter_map(|index| match facts.derived.of_test(index, "test.resistance") {
            Some(Ok(worked)) => Some((index, worked)),
            _ => None,
        })
        .min_by(|a, b| {
            let of = |worked: &crate::judge::facts::Worked| {
                worked.value.amount().map_or(f64::INFINITY, Amount::value)
            };
            of(a.1).total_cmp(&of(b.1))
        })?;
    let mut work = Worker::new(facts);
    let name =
        facts.record.test.get(index).and_then(|test| test.id.text()).unwrap_or("a bench test").to_owned();
    let series = work.amount("cells.series");
    let voltage = rest_voltage(&mut work);
    work.rests_on(resistance);
    let found = work.all([series, voltage, resistance.value.amount().cloned()]);
    let [series, voltage, amount] = match found {
        Ok(found) => found,
        Err(missing) => return Some(Err(missing)),
    };
    work.assume(
        "fully charged cells at rest drive it, terminals bridged without resistance, no device opens"
            .to_owned(),
    );
    for text in &resistance.steps {
        work.step(|| text.clone());
    }
    let number = series.number.times(&voltage.number).over(&amount.number);
    let current = Amount { number, dimension: Dimension::CURRENT };
    work.step(|| {
        line(&format!("{} × {} / {} (test {name})", series.show(), voltage.show(), amount.show()), &current)
    });
    let what = "the resistance at the moment of the load step: what was measured up to a second later holds some \
                polarisation, and leads up to where the voltage was read";
    work.bounded(Side::AtLeast, vec![Missing::refused(what)], false);
    Some(work.done(current))
}

/// How many of the two ways there are beside the parts. A log that could not be used may hold a load step.
fn steps(facts: &Facts<'_>, known: bool) -> Answer {
    let lost = (0..facts.record.test.len())
        .filter_map(|index| facts.derived.of_test(index, "test.resistance")?.as_ref().err())
        .find(|missing| missing.iter().any(Missing::is_log));
    match lost {
        Some(missing) if !known => Err(missing.clone()),
        _ => {
            let count = if known { 1.0 } else { 0.0 };
            Worker::new(facts).done(Amount::exact(count, Dimension::NONE))
        }
    }
}

/// The normalised error of the current from a load step less the greatest from the parts. More than the parts allow is a
/// contradiction; less is expected of a lower bound, and says nothing.
fn error(facts: &Facts<'_>, parts: &Answer, step: Option<&Answer>) -> Answer {
    let Some(step) = step else { return Err(vec![no_step()]) };
    let step = step.as_ref().map_err(Clone::clone)?;
    let parts = parts.as_ref().map_err(Clone::clone)?;
    let (Some(of_parts), Some(of_step)) = (parts.value.amount(), step.value.amount()) else {
        return Err(vec![Missing::refused("a current has the wrong kind")]);
    };
    let greatest = of_parts.ends().1;
    let compared = compare(of_step.value(), Some(of_step.number.standard()), greatest, Some(0.0))
        .map_err(|why| vec![Missing::refused(why)])?;
    let mut work = Worker::new(facts);
    let text = format!("from the parts {}, from the load step {}", of_parts.show(), of_step.show());
    if compared.difference < -compared.expanded {
        let why = "the load step gives less than the greatest from the parts, as its resistance holds some polarisation and leads";
        return Err(vec![Missing::refused(&format!("{text}: {why}"))]);
    }
    work.step(|| text);
    work.done(Amount::exact(compared.normalised_error(), Dimension::NONE))
}

/// The range from both ways: what a load step shows flows at least.
fn both(facts: &Facts<'_>, parts: &Answer, step: Option<&Answer>) -> Answer {
    let Some(Ok(step)) = step else { return parts.clone() };
    let Some(of_step) = step.value.amount() else { return parts.clone() };
    let Ok(parts) = parts else {
        let mut only = step.clone();
        only.steps.push("from the load step alone: the parts' resistances are not all known".to_owned());
        return Ok(only);
    };
    let Some(of_parts) = parts.value.amount() else { return Ok(step.clone()) };
    let (least, greatest) = of_parts.ends();
    let at_least = of_step.ends().0;
    let mut work = Worker::new(facts);
    work.rests_on(parts);
    for text in &parts.steps {
        work.step(|| text.clone());
    }
    for text in &step.steps {
        work.step(|| format!("from the load step: {text}"));
    }
    let both = (least.max(at_least), greatest.max(of_step.ends().1));
    work.step(|| {
        format!(
            "{} from the parts, at least {} from the load step: {}",
            shown((least, greatest), Dimension::CURRENT),
            show(at_least, Dimension::CURRENT),
            shown(both, Dimension::CURRENT)
        )
    });
    range(work, both, Dimension::CURRENT, 1, Vec::new())
}

/// The fault current that a device in the path must interrupt in the use that is claimed: that of its own pack, or that
/// of the neighbours into a fault between the cells and the device.
fn in_use(facts: &Facts<'_>, own: &Answer, resistances: Result<&Loop, &Vec<Missing>>) -> Answer {
    let own = own.as_ref().map_err(Clone::clone)?;
    let packs = together(facts, "claims.max_in_parallel");
    let packs = match packs {
        Ok(packs) if packs < 2.0 => return Ok(own.clone()),
        Err(missing) if missing.reason == Reason::Withheld => return Err(vec![missing]),
        // What nobody recorded leaves at least the current of the one pack.
        Err(missing) => {
            let mut work = Worker::new(facts);
            work.rests_on(own);
            own.steps.iter().for_each(|step| work.step(|| step.clone()));
            work.assume("nothing is recorded about packs in parallel: this is the current of one".to_owned());
            work.bounded(Side::AtLeast, vec![missing], false);
            return Ok(work.worked(own.value.clone()));
        }
        Ok(packs) => packs,
    };
    let of_own = own.value.amount().map_or((0.0, 0.0), Amount::ends);
    let mut work = Worker::new(facts);
    work.rests_on(own);
    own.steps.iter().for_each(|step| work.step(|| step.clone()));
    work.claimed(&["claims.max_in_parallel".to_owned()]);
    let leads = match work.optional("claims.parallel_leads") {
        Some(stated) => stated.ends(),
        None => {
            work.assume(format!(
                "leads between the packs not stated; {} taken (no source: 0.3 m of 70 mm² to 3 m of 25 mm², out and back)",
                shown(PARALLEL_LEADS, Dimension::RESISTANCE)
            ));
            PARALLEL_LEADS
        }
    };
    work.source(&short_circuit::NEIGHBOURS);
    let others = packs - 1.0;
    let parts = resistances.map_err(Clone::clone)?;
    // A load step may have shown a smaller resistance than the parts.
    let each = (parts.volts / of_own.1, parts.volts / of_own.0);
    let feed = (
        parts.volts / ((each.1 + leads.1) / others + parts.path.1 + leads.1),
        parts.volts / ((each.0 + leads.0) / others),
    );
    let most = (of_own.0.max(feed.0), of_own.1.max(feed.1));
    work.step(|| {
        format!(
            "{} other packs feed {} into a fault between the cells and the device; the pack itself feeds {}",
            others,
            shown(feed, Dimension::CURRENT),
            shown(of_own, Dimension::CURRENT)
        )
    });
    let missing = Missing::fact("claims.parallel_leads", "", Reason::NotRecorded);
    range(work, most, Dimension::CURRENT, 2, vec![missing])
}

fn time_constant(facts: &Facts<'_>, resistances: Result<&Loop, &Vec<Missing>>) -> Answer {
    let parts = resistances.map_err(Clone::clone)?;
    let mut work = Worker::new(facts);
    work.source(&short_circuit::INDUCTANCE);
    let (least, greatest) = short_circuit::LOOP_INSIDE;
    let of = (least / parts.whole.1, greatest / parts.whole.0);
    work.step(|| format!("{} µH to {} µH over the loop's resistance", least * 1e6, greatest * 1e6));
    range(work, of, Dimension::TIME, 3, Vec::new())
}

/// Energy in the loop's inductance when the BMS opens it on a short circuit.
fn energy(facts: &Facts<'_>, resistances: Result<&Loop, &Vec<Missing>>) -> Answer {
    let parts = resistances.map_err(Clone::clone)?;
    let mut work = Worker::new(facts);
    let delay = work.amount("bms.short_circuit_delay");
    let [delay] = work.all([delay])?;
    work.source(&short_circuit::INDUCTANCE);
    let inside = short_circuit::LOOP_INSIDE;
    let most = inside.1 + short_circuit::LEADS_OUTSIDE.1;
    let resistances = [parts.whole.0, parts.whole.1];
    let joules = |henry: f64, ohms: f64| {
        let current = parts.volts / ohms * short_circuit::share_at(delay.value(), henry / ohms);
        0.5 * henry * current * current
    };
    // Not monotonic in the inductance: more of it stores more and lets less current rise.
    let henries = (0..=16).map(|step| inside.0 * (most / inside.0).powf(f64::from(step) / 16.0));
    let all: Vec<f64> = henries.flat_map(|henry| resistances.map(|ohms| joules(henry, ohms))).collect();
    let of = all.iter().fold((f64::INFINITY, 0.0_f64), |of, w| (of.0.min(*w), of.1.max(*w)));
    work.step(|| {
        format!(
            "{} µH to {} µH, the leads outside included, opened {} after the short circuit begins",
            inside.0 * 1e6,
            most * 1e6,
            delay.show()
        )
    });
    range(work, of, Dimension::ENERGY, 4, Vec::new())
}
