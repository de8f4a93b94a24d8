//! Cells, BMS and evidence: what follows for the pack as a whole.

use std::collections::BTreeSet;

use uom::si::electric_current::ampere;
use uom::si::electric_potential::volt;
use uom::si::electrical_resistance::ohm;
use uom::si::f64::{ElectricCurrent, ElectricPotential, ElectricalResistance, Length};
use uom::si::length::meter;
use uom::si::power::watt;

use super::answers::Answers;
use super::block::Block;
use super::lookup::Facts;
use super::photos::{PHOTO_COUNTS, counted_photos, photo_count};
use super::strings;
use super::value::{Answer, Missing, Reason, Side, Val};
use super::worker::{Worker, line};
use crate::physics::cells::{Chemistry, Voltages};
use crate::physics::insulation::{self, MaterialGroup, PollutionDegree};
use crate::physics::{Refusal, ZERO_CELSIUS, heat_path};
use crate::record::State;
use crate::record::parts::{ElementKind, TestKind};
use crate::units::{Amount, Dimension, SourceId, Uncertain};

const NONE: Dimension = Dimension::NONE;

/// Sources of the ranges of this module, beyond those of instruments, tests, the network and the fault current.
const DEVICE_FACTOR: SourceId = Block::Pack.first();
const CREEPAGE_NEEDED: SourceId = DEVICE_FACTOR + 1;
const CLEARANCE_NEEDED: SourceId = DEVICE_FACTOR + 2;

/// What follows from the cells and the claims.
pub(super) fn of_cells(facts: &Facts<'_>, values: &mut Answers) {
    values.derive("pack.nominal_voltage", || nominal_voltage(facts));
    values.derive("pack.highest_voltage", || highest_voltage(facts));
    values.derive("pack.string_voltage", || string_voltage(facts));
    values.derive("enclosure.creepage_needed", || creepage_needed(facts));
    values.derive("enclosure.clearance_needed", || clearance_needed(facts));
    values.derive("pack.strings", || strings(facts));
    values.derive("pack.capacity", || capacity(facts));
    values.derive("pack.cell_charge_limit", || cell_limit(facts, "cells.charge_voltage_limit", |v| v.charge));
    values.derive("pack.cell_discharge_limit", || {
        cell_limit(facts, "cells.discharge_voltage_limit", |v| v.discharge)
    });
    values.derive("pack.energy", || energy(facts));
    values.derive("pack.c_rate", || c_rate(facts, "claims.continuous_current"));
    values.derive("pack.charge_c_rate", || c_rate(facts, "claims.charge_current"));
    values.derive("pack.cold_charge_current", || cold_charge_current(facts));
    values.derive("pack.c_rate_limit", || c_rate_limit(facts));
    values.derive("pack.cell_charge_voltage", || per_cell(facts, "claims.charge_voltage"));
    values.derive("pack.cell_cutoff_voltage", || per_cell(facts, "claims.cutoff_voltage"));
    values.derive("pack.specific_energy", || specific_energy(facts));
    values.derive("pack.energy_density", || energy_density(facts));
    values.derive("pack.cell_specific_energy", || cell_specific_energy(facts));
    values.derive("pack.voltage_spread", || spread(facts, |r| r.voltage.found(), false));
    values.derive("pack.resistance_spread", || spread(facts, |r| r.resistance.found(), true));
    values.derive("pack.date_spread", || date_spread(facts));
    values.derive("pack.full_load_tests", || full_load_tests(facts));
}

/// The usual voltages of the recorded chemistry; the assumption is noted.
fn usual(work: &mut Worker<'_>) -> Option<Voltages> {
    let word = work.word("cells.chemistry")?;
    match Chemistry::from_word(&word) {
        Some(chemistry) => {
            work.assume(format!("usual voltage of {word} cells taken (common practice, no source)"));
            Some(chemistry.voltages())
        }
        None => {
            work.lacks(Missing::fact("cells.chemistry", "", Reason::Absent));
            None
        }
    }
}

fn usual_or(work: &mut Worker<'_>, name: &str, pick: impl Fn(&Voltages) -> f64) -> Option<Amount> {
    work.optional(name)
        .or_else(|| usual(work).map(|voltages| Amount::exact(pick(&voltages), Dimension::VOLTAGE)))
}

/// How many packs are used together, as the papers say: an error where nobody recorded what they say.
pub(super) fn together(facts: &Facts<'_>, name: &str) -> Result<f64, Missing> {
    let Some(found) = facts.found(name) else { return Ok(1.0) };
    match found.state() {
        State::Absent => Ok(1.0),
        State::Withheld => Err(Missing::fact(name, "", Reason::Withheld)),
        State::NotVisible => Err(Missing::fact(name, "", Reason::NotVisible)),
        State::NotLooked => Err(Missing::fact(name, "", Reason::NotRecorded)),
        State::Known(_) => match facts.fact(name) {
            Ok(value) => Ok(value.amount().map_or(1.0, |count| count.value().max(1.0))),
            Err(missing) => Err(missing.into_iter().next().unwrap_or_else(Missing::withheld)),
        },
    }
}

/// Voltage at rest of one fully charged cell, for the fault current.
pub(crate) fn rest_voltage(work: &mut Worker<'_>) -> Option<Amount> {
    if let Some(given) = work.optional("pack.cell_rest_voltage") {
        return Some(given);
    }
    let voltages = usual(work)?;
    Some(Amount::exact(voltages.rest_full, Dimension::VOLTAGE))
}

fn product(work: Worker<'_>, left: &Amount, right: &Amount, formula: &str) -> Answer {
    combine(work, left.number.times(&right.number), left.dimension.times(right.dimension), formula)
}

fn quotient(work: Worker<'_>, left: &Amount, right: &Amount, formula: &str) -> Answer {
    combine(work, left.number.over(&right.number), left.dimension.over(right.dimension), formula)
}

fn combine(mut work: Worker<'_>, number: Uncertain, dimension: Option<Dimension>, formula: &str) -> Answer {
    let amount = Amount { number, dimension: dimension.unwrap_or(NONE) };
    work.step(|| line(formula, &amount));
    work.done(amount)
}

fn nominal_voltage(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let series = work.amount("cells.series");
    let cell = usual_or(&mut work, "cells.nominal_voltage", |v| v.nominal);
    let [series, cell] = work.all([series, cell])?;
    let formula = format!("{} cells × {}", series.show(), cell.show());
    product(work, &series, &cell, &formula)
}

fn highest_voltage(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    if let Some(claimed) = work.optional("claims.charge_voltage") {
        work.step(|| line("claimed charge voltage", &claimed));
        return work.done(claimed);
    }
    let series = work.amount("cells.series");
    let cell = rest_voltage(&mut work);
    let [series, cell] = work.all([series, cell])?;
    // Full cells have this at rest. What charges them is not known, and may give more than they stand.
    let unread = facts.fact("claims.charge_voltage").err().unwrap_or_default();
    work.bounded(Side::AtLeast, unread, false);
    let formula = format!("{} full cells at rest × {}", series.show(), cell.show());
    product(work, &series, &cell, &formula)
}

/// Highest voltage of the string of packs that the papers allow: what a device that opens has across it.
fn string_voltage(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let pack = after(&mut work, highest_voltage(facts));
    let [pack] = work.all([pack])?;
    match together(facts, "claims.max_in_series") {
        Ok(packs) => {
            if packs > 1.0 {
                work.claimed(&["claims.max_in_series".to_owned()]);
            }
            let packs = Amount::exact(packs, NONE);
            let formula = format!("{} in series × {}", packs.show(), pack.show());
            product(work, &packs, &pack, &formula)
        }
        Err(missing) if missing.reason == Reason::Withheld => Err(vec![missing]),
        Err(missing) => {
            work.assume("nothing is recorded about packs in series: this is the voltage of one".to_owned());
            work.bounded(Side::AtLeast, vec![missing], false);
            work.step(|| line("one pack", &pack));
            work.done(pack)
        }
    }
}

/// Words of a fact that is one of a few, all of them where it is not recorded.
fn words_or_all<T: Copy>(
    work: &mut Worker<'_>,
    name: &str,
    all: &[T],
    of: impl Fn(&str) -> Option<T>,
) -> Vec<T> {
    if let Some(word) = work.optional_word(name).and_then(|word| of(&word)) {
        return vec![word];
    }
    work.bounded(Side::Within, vec![Missing::fact(name, "", Reason::NotRecorded)], false);
    all.to_vec()
}

/// The distance between live parts that the tables ask for at the string's voltage; a range where degree or group is not known.
fn distance_needed(
    facts: &Facts<'_>,
    source: SourceId,
    method: &crate::physics::Method,
    with_group: bool,
    of: impl Fn(ElectricPotential, PollutionDegree, MaterialGroup) -> Result<Length, Refusal>,
) -> Answer {
    let mut work = Worker::new(facts);
    let voltage = after(&mut work, string_voltage(facts));
    let [voltage] = work.all([voltage])?;
    let degrees = words_or_all(
        &mut work,
        "enclosure.pollution_degree",
        &PollutionDegree::ALL,
        PollutionDegree::from_word,
    );
    let groups = if with_group {
        words_or_all(&mut work, "enclosure.material_group", &MaterialGroup::ALL, MaterialGroup::from_word)
    } else {
        vec![MaterialGroup::Three]
    };
    work.source(method);
    let highest = ElectricPotential::new::<volt>(voltage.value() + voltage.number.expanded());
    let mut all = Vec::new();
    for (degree, group) in degrees.iter().flat_map(|degree| groups.iter().map(move |group| (*degree, *group)))
    {
        let needed = of(highest, degree, group).map_err(|why| vec![Missing::refused(&why.to_string())])?;
        all.push(needed.get::<meter>());
    }
    let (least, greatest) = all.iter().fold((f64::INFINITY, 0.0_f64), |e, d| (e.0.min(*d), e.1.max(*d)));
    work.step(|| {
        format!("at {}, pollution degree {}", voltage.show(), told(&degrees, PollutionDegree::word))
    });
    if with_group {
        work.step(|| format!("material group {}", told(&groups, MaterialGroup::word)));
    }
    work.done(Amount::between(least, greatest, source, Dimension::LENGTH))
}

fn told<T: Copy>(words: &[T], word: impl Fn(T) -> &'static str) -> String {
    let words: Vec<&str> = words.iter().map(|one| word(*one)).collect();
    crate::units::words::list(&words, "or")
}

fn creepage_needed(facts: &Facts<'_>) -> Answer {
    distance_needed(facts, CREEPAGE_NEEDED, &insulation::CREEPAGE, true, insulation::creepage)
}

fn clearance_needed(facts: &Facts<'_>) -> Answer {
    distance_needed(facts, CLEARANCE_NEEDED, &insulation::CLEARANCE, false, |voltage, degree, _| {
        insulation::clearance(voltage, degree)
    })
}

fn strings(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let recorded = work.amount("path.strings");
    let single = || work.optional("cells.parallel").filter(|parallel| parallel.value() == 1.0);
    if let Some(strings) = recorded.or_else(single) {
        return work.done(strings);
    }
    Err(work.take_missing())
}

fn capacity(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let (parallel, cell) = (work.amount("cells.parallel"), work.amount("cells.capacity"));
    let [parallel, cell] = work.all([parallel, cell])?;
    let formula = format!("{} in parallel × {}", parallel.show(), cell.show());
    product(work, &parallel, &cell, &formula)
}

fn cell_limit(facts: &Facts<'_>, name: &str, pick: impl Fn(&Voltages) -> f64) -> Answer {
    let mut work = Worker::new(facts);
    let limit = usual_or(&mut work, name, pick);
    let [limit] = work.all([limit])?;
    work.step(|| line("per cell", &limit));
    work.done(limit)
}

fn energy(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let capacity = after(&mut work, capacity(facts));
    let voltage = after(&mut work, nominal_voltage(facts));
    let [capacity, voltage] = work.all([capacity, voltage])?;
    let formula = format!("{} × {}", capacity.show(), voltage.show());
    product(work, &capacity, &voltage, &formula)
}

/// The amount of an earlier answer; what it lacks, this one lacks.
fn after(work: &mut Worker<'_>, answer: Answer) -> Option<Amount> {
    match answer {
        Ok(worked) => {
            work.rests_on(&worked);
            worked.value.amount().cloned()
        }
        Err(missing) => {
            missing.into_iter().for_each(|m| work.lacks(m));
            None
        }
    }
}

fn c_rate(facts: &Facts<'_>, current: &str) -> Answer {
    let mut work = Worker::new(facts);
    let current = work.amount(current);
    let capacity = after(&mut work, capacity(facts));
    let [current, capacity] = work.all([current, capacity])?;
    let formula = format!("{} / {}", current.show(), capacity.show());
    quotient(work, &current, &capacity, &formula)
}

/// Charge current between where the BMS lets a charge begin and where cells take more.
fn cold_charge_current(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    if let Some(reduced) = work.optional("bms.cold_charge_current") {
        work.step(|| line("allowed by the BMS in the cold", &reduced));
        return work.done(reduced);
    }
    let claimed = work.amount("claims.charge_current");
    let [claimed] = work.all([claimed])?;
    work.assume("the BMS is not recorded to allow less in the cold (`bms.cold_charge_current`)".to_owned());
    work.step(|| line("claimed charge current", &claimed));
    work.done(claimed)
}

fn c_rate_limit(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    if let Some(rate) = work.optional("cells.discharge_rate_limit") {
        work.step(|| line("limit of the cell", &rate));
        return work.done(rate);
    }
    if work.optional("cells.discharge_current_limit").is_none() {
        let rate = work.amount("cells.discharge_rate_limit");
        let [rate] = work.all([rate])?;
        return work.done(rate);
    }
    let (current, cell) = (work.amount("cells.discharge_current_limit"), work.amount("cells.capacity"));
    let [current, cell] = work.all([current, cell])?;
    let formula = format!("{} / {}", current.show(), cell.show());
    quotient(work, &current, &cell, &formula)
}

fn per_cell(facts: &Facts<'_>, name: &str) -> Answer {
    let mut work = Worker::new(facts);
    let (voltage, series) = (work.amount(name), work.amount("cells.series"));
    let [voltage, series] = work.all([voltage, series])?;
    let formula = format!("{} / {} cells", voltage.show(), series.show());
    quotient(work, &voltage, &series, &formula)
}

fn specific_energy(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let energy = work.amount("claims.energy");
    let mass = work.optional("inspection.mass").or_else(|| work.amount("claims.mass"));
    let [energy, mass] = work.all([energy, mass])?;
    let formula = format!("{} / {}", energy.show(), mass.show());
    quotient(work, &energy, &mass, &formula)
}

fn energy_density(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let energy = work.amount("claims.energy");
    let part = if facts.record.inspection.size.is_recorded() { "inspection" } else { "claims" };
    let [a, b, c] = ["length", "width", "height"].map(|side| work.amount(&format!("{part}.size.{side}")));
    let [energy, a, b, c] = work.all([energy, a, b, c])?;
    let volume = Amount { number: a.number.times(&b.number).times(&c.number), dimension: Dimension::VOLUME };
    work.step(|| line("volume", &volume));
    let formula = format!("{} / {}", energy.show(), volume.show());
    quotient(work, &energy, &volume, &formula)
}

fn cell_specific_energy(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let (capacity, mass) = (work.amount("cells.capacity"), work.amount("cells.mass"));
    let voltage = usual_or(&mut work, "cells.nominal_voltage", |v| v.nominal);
    let [capacity, mass, voltage] = work.all([capacity, mass, voltage])?;
    let energy = Amount { number: capacity.number.times(&voltage.number), dimension: Dimension::ENERGY };
    let formula = format!("{} / {}", energy.show(), mass.show());
    quotient(work, &energy, &mass, &formula)
}

fn spread(
    facts: &Facts<'_>,
    field: impl Fn(&crate::record::parts::CellReading) -> &crate::record::Found,
    relative: bool,
) -> Answer {
    let mut work = Worker::new(facts);
    let mut amounts: Vec<Amount> = facts
        .record
        .cells
        .reading
        .iter()
        .map(field)
        .filter_map(|found| match found.state() {
            State::Known(crate::record::Value::Quantity(q)) if q.bound.is_none() => {
                Some(facts.derived.sources.amount(q, found, 0))
            }
            _ => None,
        })
        .collect();
    let cells = &facts.record.cells;
    let series = cells.series.count().unwrap_or(0) as usize;
    // A cell that was read twice is one cell.
    let places = cells.reading.iter().filter_map(|reading| reading.position.count());
    let places: Vec<u32> = places.collect();
    let twice = places.len() - places.iter().collect::<BTreeSet<_>>().len();
    let read = amounts.len().saturating_sub(twice);
    if read < 2 || read < series {
        let what = format!("readings of {read} cells are recorded, {} are needed", series.max(2));
        return Err(vec![Missing::told("cells.reading", what, Reason::NotRecorded)]);
    }
    amounts.sort_by(|a, b| a.value().total_cmp(&b.value()));
    let (Some(low), Some(high)) = (amounts.first(), amounts.last()) else {
        return Err(vec![Missing::refused("no readings")]);
    };
    let (number, dimension) = if relative {
        (high.number.over(&low.number).shifted(-1.0), NONE)
    } else {
        (high.number.minus(&low.number), low.dimension)
    };
    work.step(|| format!("highest {}, lowest {} of {} readings", high.show(), low.show(), amounts.len()));
    work.done(Amount { number, dimension })
}

/// How many full-load tests there are: what the rig is asked for.
fn full_load_tests(facts: &Facts<'_>) -> Answer {
    let tests = facts.record.test.iter().filter(|test| test.kind.known() == Some(TestKind::FullLoad)).count();
    let mut work = Worker::new(facts);
    work.step(|| format!("{tests} with kind \"full load\""));
    work.done(Amount::exact(tests as f64, Dimension::NONE))
}

fn date_spread(facts: &Facts<'_>) -> Answer {
    let cells = &facts.record.cells;
    let lacks = |name: &str| {
        let reason = match facts.found(name).map(|f| f.state()) {
            Some(State::NotVisible) => Reason::NotVisible,
            Some(State::Absent) => Reason::Absent,
            Some(State::Withheld) => Reason::Withheld,
            _ => Reason::NotRecorded,
        };
        Missing::fact(name, "", reason)
    };
    match (cells.earliest_date.date(), cells.latest_date.date()) {
        (Some(first), Some(last)) => {
            let days = (last - first).get_days();
            let mut work = Worker::new(facts);
            work.step(|| format!("{first} to {last}: {days} days"));
            work.done(Amount::exact(f64::from(days) * 86_400.0, Dimension::TIME))
        }
        (first, last) => Err([(first, "cells.earliest_date"), (last, "cells.latest_date")]
            .into_iter()
            .filter(|(date, _)| date.is_none())
            .map(|(_, name)| lacks(name))
            .collect()),
    }
}

/// The current through the BMS.
pub(super) fn of_bms_current(facts: &Facts<'_>, values: &mut Answers) {
    values.derive("bms.carried_current", || {
        let mut elements = facts.record.path.element.iter();
        let index = elements.position(|element| element.kind() == Some(ElementKind::Bms));
        if index.is_none() && strings::several(facts).is_some() {
            let what = "whether each string has a BMS: none is listed in the path".to_owned();
            return Err(vec![Missing::told("path.element", what, Reason::NotRecorded)]);
        }
        strings::carried(facts, index)
    });
}

/// What follows for the BMS.
pub(super) fn of_bms(facts: &Facts<'_>, values: &mut Answers) {
    values.derive("bms.device_current", || device_current(facts));
    values.derive("bms.heat_path_resistance", || heat_path_resistance(facts));
    values.derive("bms.junction_limit", || junction_limit(facts));
    let junction = junction(facts);
    let dissipation = junction.clone().map(|(_, power)| power);
    values.insert("bms.surface_temperature", surface_temperature(facts, &dissipation));
    values.insert("bms.dissipation", dissipation);
    values.insert("bms.junction_temperature", junction.map(|(temperature, _)| temperature));
}

fn device_current(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let (current, devices) = (work.amount("bms.carried_current"), work.amount("bms.switching_devices"));
    let [current, devices] = work.all([current, devices])?;
    work.assume("the devices in parallel share the current evenly".to_owned());
    let formula = format!("{} / {} devices in parallel", current.show(), devices.show());
    quotient(work, &current, &devices, &formula)
}

fn junction_limit(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let limit = work.or_limit(
        "bms.device_temperature_limit",
        "device_temperature",
        "the highest junction temperature of the switching devices",
    );
    let [limit] = work.all([limit])?;
    work.done(limit)
}

fn heat_path_resistance(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let layers = &facts.record.bms.layer;
    if layers.is_empty() {
        let what = "no layer of the heat path (`[[bms.layer]]`) is recorded".to_owned();
        return Err(vec![Missing::told("bms.layer", what, Reason::NotRecorded)]);
    }
    work.source(&heat_path::METHOD);
    let mut total = Uncertain::exact(0.0);
    for (index, layer) in layers.iter().enumerate() {
        let inside = Facts { subject: super::Subject::Layer(index), ..*facts };
        let mut of_layer = Worker::new(&inside);
        let name = layer.name.text().unwrap_or("layer").to_owned();
        let resistance = match of_layer.optional("layer.thermal_resistance") {
            Some(given) => Ok(given),
            None => {
                let area = if matches!(layer.face.found().state(), State::Known(_)) {
                    of_layer.amount("layer.face.width").zip(of_layer.amount("layer.face.thickness")).map(
                        |(a, b)| Amount { number: a.number.times(&b.number), dimension: Dimension::AREA },
                    )
                } else {
                    of_layer.amount("layer.area")
                };
                let (thickness, conductivity) =
                    (of_layer.amount("layer.thickness"), of_layer.amount("layer.conductivity"));
                of_layer.all([thickness, conductivity, area]).and_then(|[d, k, a]| {
                    of_layer.through(&[&d, &k, &a], Dimension::THERMAL_RESISTANCE, |x| {
                        heat_path::layer(x[0], x[1], x[2])
                    })
                })
            }
        };
        match resistance {
            Ok(resistance) => {
                work.step(|| line(&name, &resistance));
                total = total.plus(&resistance.number);
            }
            Err(missing) => {
                for missing in missing {
                    work.lacks(Missing { what: format!("{} ({name})", missing.what), ..missing });
                }
            }
        }
    }
    let total = Amount { number: total, dimension: Dimension::THERMAL_RESISTANCE };
    let [total] = work.all([Some(total)])?;
    work.step(|| line("sum", &total));
    work.done(total)
}

type Pair = (super::Worked, super::Worked);

/// What the switching devices are, and the way their heat takes, as amounts.
struct Heat {
    /// Current of a device, heat path, highest junction temperature, on-resistance, its factor, devices in
    /// parallel, in series, junction to case, ambient.
    inputs: [Amount; 9],
}

impl Heat {
    fn gather(
        work: &mut Worker<'_>,
        current: Option<Amount>,
        ambient: Option<Amount>,
    ) -> Result<Self, Vec<Missing>> {
        let facts = work.facts;
        let path = after(work, heat_path_resistance(facts));
        let limit = after(work, junction_limit(facts));
        let resistance = work.amount("bms.device_resistance");
        let factor = Some(work.optional("bms.device_resistance_factor").unwrap_or_else(|| {
            let (least, greatest) = heat_path::RESISTANCE_FACTOR;
            work.assume(format!(
                "the rise of the on-resistance with temperature is not recorded; {least} to {greatest} taken, by device"
            ));
            let missing = Missing::fact("bms.device_resistance_factor", "", Reason::NotRecorded);
            work.bounded(Side::Within, vec![missing], false);
            Amount::between(least, greatest, DEVICE_FACTOR, NONE)
        }));
        let devices = work.amount("bms.switching_devices");
        let in_series = work.amount("bms.devices_in_series");
        let case = work.optional("bms.device_thermal_resistance").unwrap_or_else(|| {
            work.assume("thermal resistance from junction to case is not recorded; left out".to_owned());
            let missing = Missing::fact("bms.device_thermal_resistance", "", Reason::NotRecorded);
            work.bounded(Side::AtLeast, vec![missing], false);
            Amount::exact(0.0, Dimension::THERMAL_RESISTANCE)
        });
        let inputs =
            work.all([current, path, limit, resistance, factor, devices, in_series, Some(case), ambient])?;
        work.source(&heat_path::METHOD);
        Ok(Self { inputs })
    }

    fn refs(&self) -> [&Amount; 9] {
        self.inputs.each_ref()
    }

    /// Junction temperature in °C and heat of all devices in W, for numbers in the order of `inputs`.
    fn solve(x: &[f64]) -> Result<(f64, f64), Refusal> {
        let devices = heat_path::Devices {
            current: ElectricCurrent::new::<ampere>(x[0]),
            resistance: ElectricalResistance::new::<ohm>(x[3]),
            factor: x[4],
            limit_celsius: x[2] - ZERO_CELSIUS,
            number: x[5] * x[6],
            junction_to_case: x[7],
        };
        heat_path::junction(&devices, x[8] - ZERO_CELSIUS, x[1]).map(|(t, p)| (t, p.get::<watt>()))
    }
}

fn junction(facts: &Facts<'_>) -> Result<Pair, Vec<Missing>> {
    let mut work = Worker::new(facts);
    let current = after(&mut work, device_current(facts));
    let ambient =
        work.or_limit("claims.rated_ambient", "outer_ambient", "the ambient for which the current is rated");
    let heat = Heat::gather(&mut work, current, ambient)?;
    let inputs = heat.refs();
    let temperature =
        work.through(&inputs, Dimension::TEMPERATURE, |x| Heat::solve(x).map(|(t, _)| t + ZERO_CELSIUS))?;
    let power = work.through(&inputs, Dimension::POWER, |x| Heat::solve(x).map(|(_, p)| p))?;
    let [current, path, _, resistance, .., ambient] = inputs;
    for (name, amount) in [
        ("current of a device", current),
        ("on-resistance at 25 °C", resistance),
        ("heat path", path),
        ("ambient outside", ambient),
        ("heat in all devices", &power),
        ("junction temperature", &temperature),
    ] {
        work.step(|| line(name, amount));
    }
    let worked = work.worked(Val::Amount(temperature));
    let power = super::Worked { value: Val::Amount(power), ..worked.clone() };
    Ok((worked, power))
}

/// Temperature where the heat enters the first layer.
fn surface_temperature(facts: &Facts<'_>, dissipation: &Answer) -> Answer {
    let mut work = Worker::new(facts);
    let given = work.optional("bms.dissipation");
    let power = given.or_else(|| after(&mut work, dissipation.clone()));
    let path = after(&mut work, heat_path_resistance(facts));
    let ambient =
        work.or_limit("claims.rated_ambient", "outer_ambient", "the ambient for which the current is rated");
    let [power, path, ambient] = work.all([power, path, ambient])?;
    let number = ambient.number.plus(&power.number.times(&path.number));
    let surface = Amount { number, dimension: Dimension::TEMPERATURE };
    work.source(&heat_path::METHOD);
    work.step(|| line(&format!("{} + {} × {}", ambient.show(), power.show(), path.show()), &surface));
    work.done(surface)
}

/// What follows from the photos.
pub(super) fn of_evidence(facts: &Facts<'_>, values: &mut Answers) {
    for (name, _) in PHOTO_COUNTS {
        values.derive(name, || photo_count(facts, counted_photos(facts.record, name)));
    }
}

/// What follows for a claim in words.
pub(super) fn of_statement(facts: &Facts<'_>, index: usize, values: &mut Answers) {
    let Some(statement) = facts.record.claims.statement.get(index) else { return };
    let given = match statement.evidence.found().state() {
        State::Known(_) => Ok(true),
        State::Absent => Ok(false),
        State::NotVisible => Err(Reason::NotVisible),
        State::NotLooked => Err(Reason::NotRecorded),
        State::Withheld => Err(Reason::Withheld),
    };
    let answer = match given {
        Ok(given) => Ok(Worker::new(facts).worked(Val::YesNo(given))),
        Err(reason) => {
            let id = statement.id.text().unwrap_or("the claim");
            Err(vec![Missing::fact("statement.evidence", &format!("claim {id}"), reason)])
        }
    };
    values.insert("statement.evidence_given", answer);
}
