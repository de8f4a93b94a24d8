//! A group of the rig's elements that carry one current, put in the place of a pack's path.

use std::collections::BTreeMap;

use crate::judge::facts::{
    Answer, Derived, FACTS, Facts, Missing, Reason, Subject, Val, Worked, element_label,
};
use crate::record::parts::{Element, ElementKind, ElementTrait};
use crate::record::{Found, Record, State, Value};
use crate::units::{Amount, Dimension, Quantity};

/// Rule book limit that stands in for an ambient that nobody wrote down.
const AMBIENT_LIMIT: &str = "inner_ambient";

/// Whose current a group of elements carries.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Carries {
    Whole,
    Share(String),
    Charge,
}

/// Elements in series that carry one current.
pub(super) struct Branch {
    pub(super) carries: Carries,
    /// The current that each element carries, A; `None` where it does not follow.
    pub(super) current: Option<f64>,
    /// Equal branches side by side.
    pub(super) count: u32,
    pub(super) record: Record,
    /// Places of what the data sheets say, by the id of the fuse.
    clearings: BTreeMap<String, usize>,
    pub(super) derived: Derived,
    pub(super) limits: BTreeMap<String, Amount>,
}

impl Branch {
    /// Puts elements in the place of a path that carries `current`, with the surroundings of the rig.
    pub(super) fn new(
        record: &Record,
        elements: &[Element],
        carries: Carries,
        current: Option<f64>,
        count: u32,
        limits: &BTreeMap<String, Amount>,
    ) -> Self {
        let mut own = Record { instrument: record.instrument.clone(), ..Record::default() };
        own.path.element = elements.to_vec();
        *own.path.complete.found_mut() = record.rig.complete.found().clone();
        *own.inspection.inner_ambient.found_mut() = record.rig.ambient.found().clone();
        if let Some(current) = current {
            let quantity = Quantity::of(current, Dimension::CURRENT);
            let state = State::Known(Value::Quantity(quantity));
            *own.claims.continuous_current.found_mut() = Found { state, ..Found::default() };
        }
        own.rig.clearing.clone_from(&record.rig.clearing);
        let sheets = record.rig.clearing.iter().enumerate();
        let clearings =
            sheets.filter_map(|(at, clearing)| Some((clearing.of.text()?.to_owned(), at))).collect();
        let derived = Derived::alone(&own, limits);
        Self { carries, current, count, record: own, clearings, derived, limits: limits.clone() }
    }

    pub(super) fn elements(&self) -> &[Element] {
        &self.record.path.element
    }

    /// "cable red-lead", with the load whose share it carries.
    pub(super) fn label(&self, index: usize) -> String {
        let label = element_label(&self.record, index);
        match &self.carries {
            Carries::Share(load) => format!("{label} of {load}"),
            Carries::Whole | Carries::Charge => label,
        }
    }

    /// The name of the current that it carries.
    pub(super) fn name(&self) -> &str {
        match &self.carries {
            Carries::Whole => "the whole current",
            Carries::Share(load) => load,
            Carries::Charge => "the charge current",
        }
    }

    /// True where the air around the rig is recorded or not needed: bars and cables are judged by it.
    pub(super) fn ambient_known(&self, index: usize) -> bool {
        !self.has(index, ElementTrait::Conductor) || self.record.inspection.inner_ambient.is_recorded()
    }

    /// A fact of an element, recorded or derived, told in the words of a rig.
    pub(super) fn fact(&self, index: usize, name: &str) -> Answer {
        let facts = Facts {
            record: &self.record,
            derived: &self.derived,
            limits: &self.limits,
            subject: Subject::Element(index),
        };
        let answer = match facts.worked(name) {
            Some(answer) => answer.clone(),
            None => facts.fact(name).map(Worked::of),
        };
        told_of_a_rig(answer)
    }

    /// A fact of the branch as a whole.
    pub(super) fn of_path(&self, name: &str) -> Answer {
        debug_assert!(FACTS.iter().any(|fact| fact.name == name), "no fact is called {name}");
        match self.derived.of_pack(name) {
            Some(answer) => told_of_a_rig(answer.clone()),
            None => Err(vec![Missing::refused("it does not follow for a test rig")]),
        }
    }

    pub(super) fn amount(&self, index: usize, name: &str) -> Option<Amount> {
        self.fact(index, name).ok()?.value.amount().cloned()
    }

    /// What the data sheet of a fuse lets it pass, and the time in which it clears, where they are recorded.
    pub(super) fn clearing(&self, index: usize) -> (Option<Amount>, Option<Amount>) {
        let Some(id) = self.elements().get(index).and_then(|element| element.id.text()) else {
            return (None, None);
        };
        let Some(clearing) = self.clearings.get(id).and_then(|at| self.record.rig.clearing.get(*at)) else {
            return (None, None);
        };
        let amount = |quantity: Option<&Quantity>, found: &Found| {
            // Nothing lets nothing through: a zero was not read from a data sheet.
            let read = quantity.filter(|quantity| quantity.value > 0.0);
            read.map(|quantity| self.derived.sources.amount(quantity, found, 0))
        };
        (
            amount(clearing.let_through.quantity(), clearing.let_through.found()),
            amount(clearing.clearing_time.quantity(), clearing.clearing_time.found()),
        )
    }

    /// The places of the fuses among its elements.
    pub(super) fn fuses(&self) -> impl Iterator<Item = usize> {
        (0..self.elements().len()).filter(|index| self.kind(*index) == Some(ElementKind::Fuse))
    }

    /// The kind of an element, where it is recorded.
    pub(super) fn kind(&self, index: usize) -> Option<ElementKind> {
        self.elements().get(index)?.kind()
    }

    /// True when an element has this in common with others.
    pub(super) fn has(&self, index: usize, wanted: ElementTrait) -> bool {
        self.elements().get(index).is_some_and(|element| element.has(wanted))
    }

    pub(super) fn is_lead(&self, index: usize) -> bool {
        self.has(index, ElementTrait::Conductor)
    }

    /// The current that its elements carry, as a fact.
    pub(super) fn current_answer(&self) -> Answer {
        let Some(current) = self.current else {
            let (name, what) = match &self.carries {
                Carries::Share(load) => (
                    "load.set_current",
                    format!("the share of the current that falls to {load} does not follow"),
                ),
                Carries::Whole => {
                    ("claims.continuous_current", "the current of the full-load test is not known".to_owned())
                }
                Carries::Charge => ("source.current", "the current of the source is not known".to_owned()),
            };
            return Err(vec![Missing::told(name, what, Reason::NotRecorded)]);
        };
        Ok(Worked::of(Val::Amount(Amount::exact(current, Dimension::CURRENT))))
    }
}

/// The words of a pack's path in those of a rig.
fn words(text: &str) -> String {
    text.replace("inside the closed pack", "around the rig")
        .replace("air inside the pack", "air around the rig")
        .replace("`path.complete`", "`rig.complete`")
}

pub(super) fn told_of_a_rig(answer: Answer) -> Answer {
    match answer {
        Ok(mut worked) => {
            worked.steps = worked.steps.iter().map(|step| words(step)).collect();
            worked.assumed = worked.assumed.iter().map(|assumed| words(assumed)).collect();
            if let Some(bound) = &mut worked.bound {
                bound.missing = bound.missing.iter().map(renamed).collect();
            }
            Ok(worked)
        }
        Err(missing) => Err(missing.iter().map(renamed).collect()),
    }
}

pub(super) fn renamed(missing: &Missing) -> Missing {
    match missing.name.as_str() {
        "path.complete" => Missing::told("rig.complete", words(&missing.what), missing.reason),
        "claims.continuous_current" => {
            let what = "the current that it is to carry does not follow from the record";
            Missing::told(&missing.name, what, missing.reason)
        }
        _ => Missing { what: words(&missing.what), ..missing.clone() },
    }
}

/// The lack of an ambient, which no stand-in makes good.
pub(super) fn no_ambient() -> Missing {
    Missing::fact("rig.ambient", "", Reason::NotRecorded)
}

/// The ambient of the rig in kelvin, or the book's stand-in, which is for proposals only.
pub(super) fn ambient(record: &Record, limits: &BTreeMap<String, Amount>) -> Option<(f64, bool)> {
    match record.rig.ambient.quantity() {
        Some(recorded) => Some((recorded.value, true)),
        None => limits.get(AMBIENT_LIMIT).map(|limit| (limit.value(), false)),
    }
}
