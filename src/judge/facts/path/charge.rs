//! What a charge current passes: the path of the load, or one of its own from a port of its own.

use crate::judge::facts::answers::Answers;
use crate::judge::facts::worker::Worker;
use crate::judge::facts::{Answer, Derived, Facts, Missing, Reason, Val, element_label};
use crate::physics::fuse::RespondsTo;
use crate::record::Record;
use crate::record::parts::{ChargePath, ChargePort, Element, ElementKind, Leg};
use crate::units::Amount;

/// What follows for the charge current.
pub(super) fn of(facts: &Facts<'_>, values: &mut Answers) {
    values.group(|values| {
        let own = || {
            own(facts).map(|record| {
                let derived = Derived::of(&record, facts.limits);
                (record, derived)
            })
        };
        let separate = facts.record.path.charge_port.known() == Some(ChargePort::Separate);
        let own = if separate { own() } else { Err(Vec::new()) };
        let of_own = |name: &str| {
            let (_, derived) = own.as_ref().map_err(Clone::clone)?;
            told(derived.of_pack(name).cloned().unwrap_or_else(|| Err(Vec::new())))
        };
        let permissible =
            if separate { of_own("path.permissible_current") } else { permissible_in_common(facts) };
        values.insert("path.permissible_charge_current", permissible);
        if separate {
            values.insert("path.charge_overcurrent_devices", of_own("path.overcurrent_devices"));
            values.insert("path.charge_fault_current", of_own("path.fault_current_in_use"));
            for (name, of_device) in [
                ("path.charge_fuse_voltage", "element.voltage_found"),
                ("path.charge_fuse_interrupting", "element.interrupting_found"),
            ] {
                values.insert(name, of_strongest(facts, &own, of_device));
            }
        }
    });
}

/// A fact of the device of a charge port that stands the most: one that stands the voltage before one that does not, then the
/// one that interrupts more. One is enough, but it has to do both.
fn of_strongest(facts: &Facts<'_>, own: &Result<(Record, Derived), Vec<Missing>>, name: &str) -> Answer {
    let (record, derived) = own.as_ref().map_err(Clone::clone)?;
    let amount = |index: usize, name: &str| {
        Some(derived.of_element(index, name)?.as_ref().ok()?.value.amount()?.value())
    };
    let voltage = facts.worked("pack.string_voltage").and_then(|answer| answer.as_ref().ok());
    let voltage = voltage.and_then(|worked| worked.value.amount()).map_or(0.0, Amount::value);
    let current = Val::Text(RespondsTo::Current.word().to_owned());
    let opens = |index: &usize| matches!(derived.of_element(*index, "element.responds_to"), Some(Ok(worked)) if worked.value == current);
    let strength = |index: usize| {
        let stands = amount(index, "element.voltage_found").is_some_and(|found| found >= voltage);
        (stands, amount(index, "element.interrupting_found").unwrap_or_default())
    };
    let devices = (0..record.path.element.len()).filter(opens).map(|index| (index, strength(index)));
    let strongest = devices.max_by(|(_, a), (_, b)| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let Some((index, _)) = strongest else {
        return Err(vec![Missing::refused(
            "no fuse or circuit breaker is between the charge port and the cells",
        )]);
    };
    let mut worked = told(derived.of_element(index, name).cloned().unwrap_or_else(|| Err(Vec::new())))?;
    worked.steps.push(element_label(record, index));
    Ok(worked)
}

/// What the path of the load carries of a charge current, where it is the path of both.
fn permissible_in_common(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    if work.word("path.charge_port").is_none() {
        return Err(work.take_missing());
    }
    work.step(|| "charge and load current take one path".to_owned());
    let current = work.amount("path.permissible_current");
    let [current] = work.all([current])?;
    if let Some(Ok(worked)) = facts.worked("path.permissible_current") {
        work.rests_on(worked);
    }
    work.done(current)
}

/// The pack with the path of the charge current in the place of the load's.
fn own(facts: &Facts<'_>) -> Result<Record, Vec<Missing>> {
    let charge = &facts.record.charge_path;
    if charge.element.is_empty() {
        let what = "the parts between the charge port and the cells (`[[charge_path.element]]`)".to_owned();
        return Err(vec![Missing::told("charge_path.element", what, Reason::NotRecorded)]);
    }
    let of_load = &facts.record.path.element;
    let mut shared = Vec::new();
    for id in charge.shares.list() {
        let Some(element) = of_load.iter().find(|element| element.id.text() == Some(id)) else {
            let what = format!("`charge_path.shares` names {id}, which the path of the load does not have");
            return Err(vec![Missing::refused(&what)]);
        };
        shared.push(element.clone());
    }
    let negative = |element: &&Element| element.leg.known() == Some(Leg::Negative);
    let of_stack = |element: &&Element| {
        element.leg.known() == Some(Leg::Stack) || element.kind() == Some(ElementKind::CellStack)
    };
    let positive = |element: &&Element| !negative(element) && !of_stack(element);
    let own = &charge.element;
    let mut record = facts.record.clone();
    record.path.element = (own.iter().filter(negative).chain(shared.iter().filter(negative)))
        .chain(of_load.iter().filter(of_stack))
        .chain(shared.iter().filter(positive).chain(own.iter().filter(positive)))
        .cloned()
        .collect();
    *record.path.complete.found_mut() = charge.complete.found().clone();
    *record.claims.continuous_current.found_mut() = record.claims.charge_current.found().clone();
    *record.claims.peak_current.found_mut() = crate::record::Found::default();
    record.charge_path = ChargePath::default();
    record.test.clear();
    Ok(record)
}

/// An answer about the charge path: what is missing of it is named in words, as its elements are not those of the load.
fn told(answer: Answer) -> Answer {
    let renamed = |missing: &Missing| {
        let what = missing.what.replace("`path.complete`", "`charge_path.complete`");
        Missing::told("charge_path.element", format!("in the charge path: {what}"), missing.reason)
    };
    let mut worked = answer.map_err(|missing| missing.iter().map(renamed).collect::<Vec<_>>())?;
    if let Some(bound) = &mut worked.bound {
        bound.missing = bound.missing.iter().map(renamed).collect();
    }
    worked.steps.insert(0, "the charge port has a path of its own".to_owned());
    Ok(worked)
}
