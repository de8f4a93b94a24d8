//! How long a fault current may flow before it does harm, and how long it does flow.
//!
//! Three statements, each with its own final temperature: damage to a cable's insulation, damage to plastics that a bare bar
//! touches, melting of the conductor. All heat stays in the metal, which is right for a second and too strict for minutes.
//! The time it flows for is that of the device that is there; without one nothing clears it.

use uom::si::area::square_meter;
use uom::si::electric_current::ampere;
use uom::si::f64::{Area, ElectricCurrent, ThermodynamicTemperature};
use uom::si::thermodynamic_temperature::kelvin;

use super::{is_answered, opening_on_current};
use crate::judge::facts::answers::Answers;
use crate::judge::facts::block::Block;
use crate::judge::facts::strings::{self, strings_of};
use crate::judge::facts::worker::Worker;
use crate::judge::facts::{Answer, Facts, Missing, Reason, Side, Subject, element_label};
use crate::physics::material::Material;
use crate::physics::{Refusal, ZERO_CELSIUS, adiabatic};
use crate::record::parts::ElementKind;
use crate::units::{Amount, COVERAGE, Dimension, SourceId, show};

/// Sources of the ranges of this module.
const SOURCE: SourceId = Block::Withstand.first();
/// Temperature of a conductor that carried nothing before the fault, °C.
const COLD: f64 = 20.0;
/// Change of a rise per kelvin of hotter air: of a cell's resistance at the most (no source), of copper's (IEC 60028).
const CELL_SLOPE: f64 = -0.012;
const METAL_SLOPE: f64 = 0.003_93;
/// Temperatures that plastics beside a bare bar bear for seconds, °C: from ABS to polyamide and epoxy glass.
const PLASTICS: (f64, f64) = (100.0, 160.0);

/// Temperature that insulation bears at the end of a short circuit, °C, by its class: 160 °C PVC, 250 °C cross-linked
/// polyethylene and rubber (IEC 60364-4-43, table 43A, from memory), more for silicone. Which of them a class up to 105 °C is,
/// is not printed on it.
const fn insulation_bears(class: f64) -> (f64, f64) {
    if class <= 105.0 {
        (160.0, 250.0)
    } else if class <= 150.0 {
        (200.0, 250.0)
    } else {
        (250.0, 350.0)
    }
}

/// The currents through an element.
pub(crate) fn currents(facts: &Facts<'_>, index: usize, values: &mut Answers) {
    values.derive("element.carried_current", || strings::carried(facts, Some(index)));
    strings::fault(facts, index, values);
}

/// What needs the whole path: temperatures in the heat that is claimed, and how long each conductor bears the fault current.
pub(crate) fn with_path(facts: &Facts<'_>, values: &mut Answers) {
    if facts.worked("element.temperature_at_rated").is_some() {
        values.derive("element.temperature_in_heat", || in_heat(facts));
    }
    let Subject::Element(index) = facts.subject else { return };
    let Some(element) = facts.record.path.element.get(index) else { return };
    super::rating::in_the_pack(facts, element, values);
    if facts.worked("element.area").is_none() {
        return;
    }
    let kind = element.kind();
    if kind == Some(ElementKind::Cable) {
        values.derive("element.insulation_damaged_after", || {
            let mut work = Worker::new(facts);
            let class = work.amount("element.insulation_temperature");
            let [class] = work.all([class])?;
            let bears = insulation_bears(class.value() - ZERO_CELSIUS);
            work.step(|| format!("insulation bears {} °C to {} °C for seconds", bears.0, bears.1));
            heated_to(work, Some(bears), 0)
        });
    } else {
        values.derive("element.plastics_damaged_after", || {
            let mut work = Worker::new(facts);
            work.step(|| {
                format!(
                    "plastics that a bar touches bear {} °C to {} °C for seconds (no source)",
                    PLASTICS.0, PLASTICS.1
                )
            });
            heated_to(work, Some(PLASTICS), 1)
        });
    }
    values.derive("element.melts_after", || heated_to(Worker::new(facts), None, 2));
}

/// The temperature at the rated current in the hottest surroundings that are claimed: the rise over 25 °C stands on the hotter
/// air, less where the cells' resistance falls with it and more where that of metal grows.
fn in_heat(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let (hot, at_25) =
        (work.amount("claims.discharge_temperature_max"), work.amount("element.temperature_at_rated"));
    let [hot, at_25] = work.all([hot, at_25])?;
    if let Some(Ok(worked)) = facts.worked("element.temperature_at_rated") {
        work.rests_on(worked);
    }
    let more = hot.value() - (ZERO_CELSIUS + 25.0);
    let rise = at_25.number.shifted(-(ZERO_CELSIUS + 25.0));
    let (low, high) = (1.0 + CELL_SLOPE * more.max(0.0), 1.0 + METAL_SLOPE * more.max(0.0));
    let (middle, half) = (0.5 * (low + high), 0.5 * (high - low));
    let number =
        rise.scaled(middle).with_part(SOURCE + 3, half * rise.value.abs() / COVERAGE).plus(&hot.number);
    let found = Amount { number, dimension: Dimension::TEMPERATURE };
    work.step(|| {
        format!("{} at 25 °C; the rise is {low:.2} to {high:.2} times that at {}", at_25.show(), hot.show())
    });
    work.done(found)
}

/// The time in which the fault current heats the conductor to a temperature, or to its melting point: from warm at the greatest
/// current to cold at the least.
fn heated_to(mut work: Worker<'_>, to: Option<(f64, f64)>, source: SourceId) -> Answer {
    let (area, current) = (work.amount("element.area"), work.amount("element.fault_current"));
    let material = work.word("element.material").and_then(|word| Material::from_word(&word));
    let warm = work.optional("element.temperature_limit").map_or(90.0, |limit| limit.value() - ZERO_CELSIUS);
    let [area, current] = work.all([area, current])?;
    let Some(material) = material else { return Err(work.take_missing()) };
    if let Some(Ok(worked)) = work.facts.worked("element.fault_current") {
        work.rests_on(worked);
    }
    let melts = adiabatic::melting_point(material).get::<kelvin>() - ZERO_CELSIUS;
    let to = to.unwrap_or((melts, melts));
    work.source(&adiabatic::HEATING);
    let celsius = |value: f64| ThermodynamicTemperature::new::<kelvin>(value + ZERO_CELSIUS);
    let time = |from: f64, to: f64, side: f64| -> Result<(f64, f64), Refusal> {
        let k = if from < to { adiabatic::factor(material, celsius(from), celsius(to))? } else { 0.0 };
        let area = Area::new::<square_meter>((area.value() + side * area.number.expanded()).max(1e-9));
        let current = (current.value() - side * current.number.expanded()).max(1.0);
        Ok((k, adiabatic::time(k, area, ElectricCurrent::new::<ampere>(current))?.value))
    };
    let ends = time(warm.min(to.0), to.0, -1.0).and_then(|low| Ok((low, time(COLD, to.1, 1.0)?)));
    let ((low_k, low), (high_k, high)) = ends.map_err(|why| vec![Missing::refused(&why.to_string())])?;
    work.step(|| format!(
        "from {warm:.0} °C with k = {low_k:.0} A·s^½/mm² at the greatest current {}, from {COLD:.0} °C with k = {high_k:.0} A·s^½/mm² at the least {}",
        show(low, Dimension::TIME),
        show(high, Dimension::TIME)
    ));
    work.done(Amount::between(low, high, SOURCE + source, Dimension::TIME))
}

/// What needs the fault current of the whole path.
pub(crate) fn clearing(facts: &Facts<'_>, values: &mut Answers) {
    values.derive("path.clears_within", || clears_within(facts));
    super::charge::of(facts, values);
}

/// The longest time in which the quickest of the devices clears the prospective short-circuit current.
fn clears_within(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let devices = opening_on_current(facts, &mut work);
    if devices.is_empty() {
        work.lacks(Missing::refused(
            "no fuse or circuit breaker that responds to current is listed: nothing clears it",
        ));
        return Err(work.take_missing());
    }
    let current = facts.worked("path.short_circuit_current").and_then(|answer| answer.as_ref().ok());
    let current = current.and_then(|worked| worked.value.amount());
    let least = current.map(|current| current.value() - current.number.expanded());
    let mut quickest: Option<f64> = None;
    for index in devices {
        let inside = Facts { subject: Subject::Element(index), ..*facts };
        let label = element_label(facts.record, index);
        if let Some(Err(missing)) = current.map(|current| interrupts(&inside, &label, current)) {
            missing.into_iter().for_each(|missing| work.lacks(missing));
            continue;
        }
        let time = if inside.found("element.clearing_time").is_some_and(is_answered) {
            work.claimed(&inside.claims_of("element.clearing_time"));
            inside.fact("element.clearing_time")?.amount().map(|time| time.value() + time.number.expanded())
        } else {
            // Its data sheet may give much less than the gate of its standard.
            work.lacks(Missing::of_element(
                "element.clearing_time",
                facts.record,
                index,
                Reason::NotRecorded,
            ));
            // How little of it flows through one of several strings nobody knows.
            let whole = strings_of(facts, index).is_ok_and(|strings| strings < 2.0);
            by_kind(&inside, index, least.filter(|_| whole))
        };
        if let Some(time) = time {
            work.step(|| format!("{label}: within {}", show(time, Dimension::TIME)));
            quickest = Some(quickest.map_or(time, |q| q.min(time)));
        }
    }
    let Some(time) = quickest else { return Err(work.take_missing()) };
    // Another device may be quicker still.
    let missing = work.missing_so_far();
    work.bounded(Side::AtMost, missing, false);
    work.done(Amount::exact(time, Dimension::TIME))
}

/// That a device interrupts a fault current: what cannot interrupt it does not clear it at any time.
///
/// # Errors
/// What says that it does not, or what is missing to tell.
fn interrupts(facts: &Facts<'_>, label: &str, current: &Amount) -> Result<(), Vec<Missing>> {
    let Some(rating) = facts.worked("element.interrupting_found") else { return Ok(()) };
    let rating = rating.as_ref().map_err(Clone::clone)?;
    let Some(rating) = rating.value.amount() else { return Ok(()) };
    let over = rating.number.minus(&current.number);
    if over.value >= over.expanded() {
        return Ok(());
    }
    let (rating, current) = (rating.show(), current.show());
    Err(vec![Missing::refused(&if over.value < -over.expanded() {
        format!("{label} interrupts no more than {rating}, and {current} may flow")
    } else {
        format!("whether {label} interrupts what may flow: {rating} of {current}")
    })])
}

/// What a standard or the book says of the kind: a gate of a fuse, a breaker above its instantaneous trip.
fn by_kind(facts: &Facts<'_>, index: usize, least: Option<f64>) -> Option<f64> {
    let (element, least) = (facts.record.path.element.get(index)?, least?);
    let mut work = Worker::new(facts);
    match element.kind()? {
        ElementKind::Fuse => {
            let rating = work.amount("element.rating")?.value();
            let gate =
                element.fuse.known()?.clears_within(ElectricCurrent::new::<ampere>(rating), least / rating);
            gate.map(|time| time.value)
        }
        ElementKind::CircuitBreaker => {
            let trip = work.amount("element.instantaneous_trip")?.value();
            (trip <= least).then(|| work.amount("limit.withstand_time").map(|time| time.value())).flatten()
        }
        ElementKind::CellStack
        | ElementKind::Busbar
        | ElementKind::Cable
        | ElementKind::Joint
        | ElementKind::ThermalCutoff
        | ElementKind::Contactor
        | ElementKind::Shunt
        | ElementKind::Bms
        | ElementKind::Connector
        | ElementKind::Terminal => None,
    }
}
