//! Packs whose cells stand in parallel strings: what a part that stands in each of them carries.

use super::answers::Answers;
use super::block::Block;
use super::lookup::{Facts, Subject};
use super::value::{Answer, Missing, Reason, Side};
use super::worker::{Worker, line};
use crate::record::parts::{ElementKind, Leg};
use crate::units::{Amount, Dimension, SourceId, significant};

/// Sources of the ranges of this module.
const SOURCE: SourceId = Block::Strings.first();
/// What would narrow how the strings share the current.
pub(super) const NARROWS: &str = "the current of each string under load";

/// Parallel strings of the pack, where there are several.
pub(super) fn several(facts: &Facts<'_>) -> Option<f64> {
    facts.record.path.strings.count().filter(|strings| *strings > 1).map(f64::from)
}

/// Strings in each of which an element stands; one where it carries the whole current.
///
/// # Errors
/// What is missing where several strings are recorded and nobody said where the element stands.
pub(super) fn strings_of(facts: &Facts<'_>, index: usize) -> Result<f64, Vec<Missing>> {
    let (Some(strings), Some(element)) = (several(facts), facts.record.path.element.get(index)) else {
        return Ok(1.0);
    };
    match (element.kind(), element.leg.known(), element.in_each_string.yes()) {
        (Some(ElementKind::CellStack), ..) | (_, Some(Leg::Stack), _) | (.., Some(true)) => Ok(strings),
        (Some(ElementKind::Terminal), ..) | (.., Some(false)) => Ok(1.0),
        _ => {
            let name = "element.in_each_string";
            Err(vec![Missing::of_element(name, facts.record, index, Reason::NotRecorded)])
        }
    }
}

/// Least and greatest share of the current in the string that carries the most: an even one, and all of it where the others
/// have a bad joint. (Resistances in parallel.)
fn share(strings: f64) -> (f64, f64) {
    (1.0 / strings, 1.0)
}

/// What of a current flows through an element: all of it, or the share of its string.
fn of_current(
    facts: &Facts<'_>,
    index: usize,
    work: &mut Worker<'_>,
    current: Amount,
) -> Result<Amount, Vec<Missing>> {
    let strings = strings_of(facts, index)?;
    if strings < 2.0 {
        return Ok(current);
    }
    let (least, most) = share(strings);
    let percent = [least, most].map(|share| significant(100.0 * share, 2));
    work.step(|| {
        let [least, most] = &percent;
        format!("it stands in each of {strings} strings: {least} % to {most} % of {}", current.show())
    });
    work.bounded(Side::Within, vec![Missing::refused(NARROWS)], false);
    let share = Amount::between(least, most, SOURCE, Dimension::NONE);
    Ok(Amount { number: current.number.times(&share.number), dimension: Dimension::CURRENT })
}

/// The current through an element at the rated continuous current; that of the pack where none is named.
pub(super) fn carried(facts: &Facts<'_>, index: Option<usize>) -> Answer {
    let mut work = Worker::new(facts);
    let current = work.amount("claims.continuous_current");
    let [current] = work.all([current])?;
    let carried = match index {
        Some(index) => of_current(facts, index, &mut work, current)?,
        None => current,
    };
    work.done(carried)
}

/// The current of the pack at which an element carries what it may.
pub(super) fn of_pack(facts: &Facts<'_>, answer: Answer) -> Answer {
    let Subject::Element(index) = facts.subject else { return answer };
    let (strings, worked) = (strings_of(facts, index)?, answer?);
    let Some(amount) = worked.value.amount().filter(|_| strings > 1.0) else { return Ok(worked) };
    let mut work = Worker::new(facts);
    work.rests_on(&worked);
    worked.steps.iter().for_each(|step| work.step(|| step.clone()));
    let (least, most) = share(strings);
    let times = Amount::between(1.0 / most, 1.0 / least, SOURCE, Dimension::NONE);
    let whole = Amount { number: amount.number.times(&times.number), dimension: amount.dimension };
    work.step(|| line(&format!("it stands in each of {strings} strings; of the pack"), &whole));
    work.bounded(Side::Within, vec![Missing::refused(NARROWS)], false);
    work.done(whole)
}

/// The fault current through an element: that of the pack, in a string anything up to it.
pub(super) fn fault(facts: &Facts<'_>, index: usize, values: &mut Answers) {
    let names = [
        ("element.fault_current", "path.short_circuit_current"),
        ("element.fault_current_in_use", "path.fault_current_in_use"),
    ];
    for (offset, (name, of_path)) in names.into_iter().enumerate() {
        let Some(answer) = facts.worked(of_path).cloned() else { continue };
        values.derive(name, || {
            let worked = answer?;
            let strings = strings_of(facts, index)?;
            let Some(amount) = worked.value.amount().filter(|_| strings > 1.0) else { return Ok(worked) };
            let greatest = amount.ends().1;
            let mut work = Worker::new(facts);
            work.rests_on(&worked);
            worked.steps.iter().for_each(|step| work.step(|| step.clone()));
            let source = SOURCE + 1 + offset as SourceId;
            let current = Amount::between(0.0, greatest, source, Dimension::CURRENT);
            work.step(|| line("in one string: from nothing to all of it, by where the fault is", &current));
            let what = "where in the strings a fault is, and the current of each";
            work.bounded(Side::Within, vec![Missing::refused(what)], false);
            work.done(current)
        });
    }
}
