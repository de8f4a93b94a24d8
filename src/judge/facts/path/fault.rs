//! The prospective short-circuit current, by two ways that are independent of each other.
//!
//! *From the parts*: cell resistances and the path's. What is left out of the path makes it an upper bound, which is
//! what "prospective" means. *From a load step*: the resistance of the whole pack within a second of a change of load.
//! It holds whatever polarisation has set in by then, and leads up to where the voltage was read, so its current is a
//! lower bound and the true one is at least that. The higher of the two is used, which is the safer one for a fuse's
//! interrupting rating; where that is the lower bound, a pass on it is not decided.

use uom::si::electric_current::ampere;
use uom::si::electric_potential::volt;
use uom::si::electrical_resistance::ohm;
use uom::si::f64::{ElectricPotential, ElectricalResistance};

use super::losses;
use crate::judge::facts::answers::Answers;
use crate::judge::facts::names;
use crate::judge::facts::worker::{Worker, line};
use crate::judge::facts::{Answer, Facts, Missing, Side};
use crate::logs::instrument::compare;
use crate::physics::short_circuit;
use crate::units::{Amount, Dimension};

/// The currents and how they compare.
pub(super) fn of(facts: &Facts<'_>, values: &mut Answers) {
    let parts = from_parts(facts);
    let step = from_step(facts);
    values.insert("path.short_circuit_steps", steps(facts, step.is_some()));
    values.insert("path.short_circuit_error", error(facts, &parts, step.as_ref()));
    values.insert("path.short_circuit_least", least(&parts, step.as_ref()));
    values.insert("path.short_circuit_current", higher(facts, &parts, step.as_ref()));
    values.insert(
        "path.short_circuit_from_step",
        step.unwrap_or_else(|| {
            Err(vec![Missing::refused(
                "no bench test shows the resistance of the pack within 1 s of a load step",
            )])
        }),
    );
    values.insert("path.short_circuit_from_parts", parts);
}

fn from_parts(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let series = work.amount("cells.series");
    let parallel = work.amount("cells.parallel");
    let cell = work.amount("cells.resistance");
    let voltage = crate::judge::facts::rest_voltage(&mut work);
    let rest = losses::without_cells(facts);
    let path = rest.amount;
    let [series, parallel, cell, voltage] = work.all([series, parallel, cell, voltage])?;
    work.source(&short_circuit::METHOD);
    work.assume(
        "fully charged cells at rest, terminals bridged without resistance, no device opens".to_owned(),
    );
    if !rest.left_out.is_empty() {
        let names = names(&rest.left_out);
        work.assume(format!("resistance not known and so left out (the current is an upper bound): {names}"));
    }
    work.bounded(Side::AtMost, rest.missing, true);
    let inputs = [&voltage, &cell, &series, &parallel, &path];
    let current = work.through(&inputs, Dimension::CURRENT, |x| {
        short_circuit::prospective(
            ElectricPotential::new::<volt>(x[0]),
            ElectricalResistance::new::<ohm>(x[1]),
            x[2],
            x[3],
            ElectricalResistance::new::<ohm>(x[4]),
        )
        .map(|current| current.get::<ampere>())
    })?;
    work.step(format!(
        "{} × {} / ({} × {} / {} + {}) = {}",
        series.show(),
        voltage.show(),
        series.show(),
        cell.show(),
        parallel.show(),
        path.show(),
        current.show()
    ));
    work.done(current)
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
    let voltage = crate::judge::facts::rest_voltage(&mut work);
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
        work.step(text.clone());
    }
    let number = series.number.times(&voltage.number).over(&amount.number);
    let current = Amount { number, dimension: Dimension::CURRENT };
    work.step(line(
        &format!("{} × {} / {} (test {name})", series.show(), voltage.show(), amount.show()),
        &current,
    ));
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

/// The normalised error of the current from a load step less that from the parts. More than the parts allow is a
/// contradiction; less is expected of a lower bound, and says nothing.
fn error(facts: &Facts<'_>, parts: &Answer, step: Option<&Answer>) -> Answer {
    let step = match step {
        Some(step) => step.as_ref().map_err(Clone::clone)?,
        None => {
            return Err(vec![Missing::refused(
                "no bench test shows the resistance of the pack within 1 s of a load step",
            )]);
        }
    };
    let parts = parts.as_ref().map_err(Clone::clone)?;
    let (Some(of_parts), Some(of_step)) = (parts.value.amount(), step.value.amount()) else {
        return Err(vec![Missing::refused("a current has the wrong kind")]);
    };
    let standard = of_step.number.minus(&of_parts.number).standard();
    let compared = compare(of_step.value(), Some(standard), of_parts.value(), Some(0.0))
        .map_err(|why| vec![Missing::refused(why)])?;
    let mut work = Worker::new(facts);
    let text = format!("from the parts {}, from the load step {}", of_parts.show(), of_step.show());
    if compared.difference < -compared.expanded {
        let why = "the load step gives less, as its resistance holds some polarisation and leads";
        return Err(vec![Missing::refused(&format!("{text}: {why}"))]);
    }
    work.step(text);
    work.done(Amount::exact(compared.normalised_error(), Dimension::NONE))
}

/// What surely flows: a load step gives a lower bound; parts with something left out only an upper one.
fn least(parts: &Answer, step: Option<&Answer>) -> Answer {
    let Some(Ok(step)) = step else { return parts.clone() };
    match parts {
        Ok(parts) if parts.bound.is_none() => {
            let of = |worked: &crate::judge::facts::Worked| {
                worked.value.amount().map_or(f64::INFINITY, Amount::value)
            };
            Ok(if of(parts) < of(step) { parts.clone() } else { step.clone() })
        }
        _ => Ok(step.clone()),
    }
}

/// The higher of the two, with the working of both.
fn higher(facts: &Facts<'_>, parts: &Answer, step: Option<&Answer>) -> Answer {
    let Some(Ok(step)) = step else { return parts.clone() };
    let Some(of_step) = step.value.amount() else { return parts.clone() };
    let Ok(parts) = parts else {
        let mut only = step.clone();
        only.steps.push("from the load step alone: the parts' resistances are not all known".to_owned());
        return Ok(only);
    };
    let Some(of_parts) = parts.value.amount() else { return Ok(step.clone()) };
    let uses_step = of_step.value() > of_parts.value();
    let (used, other) = if uses_step { (step, parts) } else { (parts, step) };
    let mut work = Worker::new(facts);
    for text in &used.steps {
        work.step(text.clone());
    }
    work.rests_on(used);
    let names = ("from the parts", "from the load step");
    let (own, second) = if uses_step { (names.1, names.0) } else { names };
    for text in &other.steps {
        work.step(format!("{second}: {text}"));
    }
    work.step(format!(
        "{} from the parts, {} from the load step; the higher one, {own}, is used, which is the safer one for an interrupting rating",
        of_parts.show(),
        of_step.show()
    ));
    Ok(work.worked(used.value.clone()))
}
