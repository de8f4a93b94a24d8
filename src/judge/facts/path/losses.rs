//! Resistance, voltage drop and heat, per element and in total.

use uom::si::area::square_meter;
use uom::si::electrical_resistance::ohm;
use uom::si::f64::{Area, Length, ThermodynamicTemperature};
use uom::si::length::meter;
use uom::si::thermodynamic_temperature::kelvin;

use super::{carried, permissible_current};
use crate::judge::facts::names;
use crate::judge::facts::strings::strings_of;
use crate::judge::facts::worker::{Worker, line};
use crate::judge::facts::{Answer, Facts, Missing, Reason, Side, element_label};
use crate::physics::material::Material;
use crate::physics::{REFERENCE, resistance as physics};
use crate::record::parts::{Element, ElementKind};
use crate::units::{Amount, Dimension, Uncertain};

/// Resistance of an element: recorded, from a drop, from its size, or of the cells.
pub(super) fn resistance(facts: &Facts<'_>, kind: Option<ElementKind>) -> Answer {
    let mut work = Worker::new(facts);
    if let Some(recorded) = work.optional("element.resistance") {
        work.step(|| line("recorded", &recorded));
        return work.done(recorded);
    }
    if let (Some(drop), Some(current)) =
        (work.optional("element.drop"), work.optional("element.drop_current"))
        && current.value() > 0.0
    {
        let found = Amount { number: drop.number.over(&current.number), dimension: Dimension::RESISTANCE };
        work.step(|| line(&format!("{} / {}", drop.show(), current.show()), &found));
        return work.done(found);
    }
    match kind {
        Some(ElementKind::CellStack) => of_cells(work),
        Some(kind @ (ElementKind::Busbar | ElementKind::Cable)) => of_conductor(facts, work, kind),
        Some(
            ElementKind::Joint
            | ElementKind::Fuse
            | ElementKind::CircuitBreaker
            | ElementKind::ThermalCutoff
            | ElementKind::Contactor
            | ElementKind::Shunt
            | ElementKind::Bms
            | ElementKind::Connector
            | ElementKind::Terminal,
        )
        | None => {
            let _ = work.amount("element.resistance");
            Err(work.take_missing())
        }
    }
}

fn of_cells(mut work: Worker<'_>) -> Answer {
    let names = ["cells.series", "cells.parallel", "cells.resistance"];
    let [series, parallel, cell] = names.map(|name| work.amount(name));
    let [series, parallel, cell] = work.all([series, parallel, cell])?;
    let number = series.number.times(&cell.number).over(&parallel.number);
    let stack = Amount { number, dimension: Dimension::RESISTANCE };
    work.step(|| line(&format!("{} × {} / {}", series.show(), cell.show(), parallel.show()), &stack));
    work.done(stack)
}

fn of_conductor(facts: &Facts<'_>, mut work: Worker<'_>, kind: ElementKind) -> Answer {
    let length = work.amount("element.length");
    let area = match permissible_current::area(facts, kind) {
        Ok(worked) => {
            work.rests_on(&worked);
            worked.value.amount().cloned()
        }
        Err(missing) => {
            missing.into_iter().for_each(|m| work.lacks(m));
            None
        }
    };
    let material = work.word("element.material");
    let [length, area] = work.all([length, area])?;
    let Some(material) = material.as_deref().and_then(Material::from_word) else {
        return Err(work.take_missing());
    };
    work.source(&physics::METHOD);
    work.assume("resistance at 20 °C".to_owned());
    let found = work.through(&[&length, &area], Dimension::RESISTANCE, |x| {
        physics::of_conductor(
            material,
            Length::new::<meter>(x[0]),
            Area::new::<square_meter>(x[1]),
            ThermodynamicTemperature::new::<kelvin>(REFERENCE),
        )
        .map(|r| r.get::<ohm>())
    })?;
    work.step(|| line(&format!("{}, {} long, {}", material.word(), length.show(), area.show()), &found));
    work.done(found)
}

/// Drop over a resistance at rated continuous current.
pub(super) fn drop(facts: &Facts<'_>, resistance: &Answer) -> Answer {
    at_rated(facts, resistance, Dimension::VOLTAGE, |i, r| i.times(r), "drop = I × R")
}

/// Heat in a resistance at rated continuous current.
pub(super) fn heat(facts: &Facts<'_>, resistance: &Answer) -> Answer {
    at_rated(facts, resistance, Dimension::POWER, |i, r| i.times(i).times(r), "heat = I² × R")
}

fn at_rated(
    facts: &Facts<'_>,
    resistance: &Answer,
    dimension: Dimension,
    f: impl Fn(&Uncertain, &Uncertain) -> Uncertain,
    formula: &str,
) -> Answer {
    let mut work = Worker::new(facts);
    let current = carried(facts, &mut work);
    let resistance = match resistance {
        Ok(worked) => {
            work.rests_on(worked);
            worked.value.amount().cloned()
        }
        Err(missing) => {
            missing.iter().cloned().for_each(|m| work.lacks(m));
            None
        }
    };
    let [current, resistance] = work.all([current, resistance])?;
    let amount = Amount { number: f(&current.number, &resistance.number), dimension };
    work.step(|| line(&format!("{formula} with {} and {}", current.show(), resistance.show()), &amount));
    work.done(amount)
}

/// Sum of all known resistances, the cells included; a lower bound where some are not known.
pub(super) fn total(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let sum = sum(facts, &mut work);
    if sum.known == 0 {
        sum.missing.into_iter().for_each(|missing| work.lacks(missing));
        return Err(work.take_missing());
    }
    if !sum.left_out.is_empty() {
        let names = names(&sum.left_out);
        work.assume(format!("resistance not known and so left out (the sum is a lower bound): {names}"));
    }
    work.step(|| line("sum", &sum.amount));
    work.bounded(Side::AtLeast, sum.missing, false);
    work.done(sum.amount)
}

/// What the known resistances add up to, and what is missing.
struct Sum {
    amount: Amount,
    known: usize,
    left_out: Vec<String>,
    missing: Vec<Missing>,
}

fn sum(facts: &Facts<'_>, work: &mut Worker<'_>) -> Sum {
    let mut number = Uncertain::exact(0.0);
    let mut sum = Sum {
        amount: Amount::exact(0.0, Dimension::RESISTANCE),
        known: 0,
        left_out: Vec::new(),
        missing: Vec::new(),
    };
    for index in 0..facts.record.path.element.len() {
        let label = element_label(facts.record, index);
        match facts.derived.of_element(index, "element.resistance_found") {
            Some(Ok(worked)) => {
                if let Some(amount) = worked.value.amount() {
                    // That of the cells is the stack's, of all strings together.
                    let strings = match facts.record.path.element.get(index).and_then(Element::kind) {
                        Some(ElementKind::CellStack) => Ok(1.0),
                        _ => strings_of(facts, index),
                    };
                    match strings {
                        Ok(strings) => {
                            number = number.plus(&amount.number.scaled(1.0 / strings));
                            sum.known += 1;
                            work.step(|| match strings > 1.0 {
                                true => line(&format!("{label}, over {strings} strings"), amount),
                                false => line(&label, amount),
                            });
                        }
                        Err(missing) => {
                            sum.missing.extend(missing);
                            sum.left_out.push(label);
                        }
                    }
                }
            }
            Some(Err(missing)) => {
                sum.missing.extend(missing.iter().cloned());
                sum.left_out.push(label);
            }
            None => sum.left_out.push(label),
        }
    }
    if facts.record.path.complete.yes() != Some(true) {
        let what = "`path.complete` does not say yes, so there may be more elements".to_owned();
        let missing = Missing::told("path.complete", what, Reason::NotRecorded);
        sum.missing.push(missing);
    }
    sum.amount.number = number;
    sum
}
