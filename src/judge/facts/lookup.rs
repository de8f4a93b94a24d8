//! The facts of a record by name: its own fields, and what was derived from them.

use std::collections::BTreeMap;

use super::Derived;
use super::value::{Missing, Reason, Side, Val, Worked};
use crate::record::field::{ABSENT, Found};
use crate::record::{Kind, Part, Record, Shape, State, Value};
use crate::units::{Amount, Dimension, OneSided, Quantity};

/// What a rule is being applied to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Subject {
    /// The pack as a whole.
    Pack,
    /// An element of the path.
    Element(usize),
    /// A claim in words.
    Statement(usize),
    /// A layer of the heat path.
    Layer(usize),
    /// A cell reading.
    Reading(usize),
    /// A photo.
    Photo(usize),
    /// A bench test.
    Test(usize),
    /// An instrument.
    Instrument(usize),
    /// The test rig as a whole.
    Rig,
    /// The source of the test rig.
    Source,
    /// A load of the test rig.
    Load(usize),
    /// A meter of the test rig.
    Meter(usize),
}

/// The facts of a record, for one subject.
pub struct Facts<'a> {
    /// The record.
    pub record: &'a Record,
    /// What follows from it.
    pub derived: &'a Derived,
    /// The book's limits.
    pub limits: &'a BTreeMap<String, Amount>,
    /// What the rule is applied to.
    pub subject: Subject,
}

impl<'a> Facts<'a> {
    /// A field of the record with all that is known of it.
    #[must_use]
    pub fn found(&self, name: &str) -> Option<&'a Found> {
        let (head, rest) = name.split_once('.')?;
        let field = rest.split('.').next()?;
        let record = self.record;
        match (head, self.subject) {
            ("inspection", _) => record.inspection.found(field),
            ("claims", _) => record.claims.found(field),
            ("cells", _) => record.cells.found(field),
            ("path", _) => record.path.found(field),
            ("bms", _) => record.bms.found(field),
            ("heater", _) => record.heater.found(field),
            ("enclosure", _) => record.enclosure.found(field),
            ("service", _) => record.service.found(field),
            ("marking", _) => record.marking.found(field),
            ("element", Subject::Element(i)) => record.path.element.get(i)?.found(field),
            ("statement", Subject::Statement(i)) => record.claims.statement.get(i)?.found(field),
            ("layer", Subject::Layer(i)) => record.bms.layer.get(i)?.found(field),
            ("reading", Subject::Reading(i)) => record.cells.reading.get(i)?.found(field),
            ("photo", Subject::Photo(i)) => record.photo.get(i)?.found(field),
            ("test", Subject::Test(i)) => record.test.get(i)?.found(field),
            ("instrument", Subject::Instrument(i)) => record.instrument.get(i)?.found(field),
            ("rig", _) => record.rig.found(field),
            ("source", Subject::Source) => record.rig.source.found(field),
            ("load", Subject::Load(i)) => record.rig.load.get(i)?.found(field),
            ("meter", Subject::Meter(i)) => record.rig.meter.get(i)?.found(field),
            _ => None,
        }
    }

    /// A derived fact with its working.
    #[must_use]
    pub fn worked(&self, name: &str) -> Option<&'a Result<Worked, Vec<Missing>>> {
        if let Some(given) = self.derived.given(self.subject, name) {
            return Some(given);
        }
        match self.subject {
            Subject::Element(index) => self.derived.of_element(index, name),
            Subject::Statement(index) => self.derived.of_statement(index, name),
            Subject::Test(index) => self.derived.of_test(index, name),
            Subject::Load(index) => self.derived.of_load(index, name),
            Subject::Meter(index) => self.derived.of_meter(index, name),
            _ => None,
        }
        .or_else(|| self.derived.of_pack(name))
    }
}

impl Facts<'_> {
    /// The value of a fact by its name.
    ///
    /// # Errors
    /// What is missing.
    pub fn fact(&self, name: &str) -> Result<Val, Vec<Missing>> {
        if let Some(limit) = name.strip_prefix("limit.") {
            return match self.limits.get(limit) {
                Some(amount) => Ok(Val::Amount(amount.clone())),
                None => Err(vec![Missing::refused(&format!("there is no limit `{limit}`"))]),
            };
        }
        if let Some(worked) = self.worked(name) {
            return worked.as_ref().map(|worked| worked.value.clone()).map_err(Clone::clone);
        }
        if let (Subject::Photo(index), true) = (self.subject, name.starts_with("photo.")) {
            self.derived.seen_whole(self.record, index)?;
        }
        let Some(found) = self.found(name) else {
            return Err(vec![Missing::refused(&format!("`{name}` does not exist here"))]);
        };
        self.value_of(name, found)
    }
}

impl Facts<'_> {
    /// Names of the claims that a fact is, or that its derivation rests on.
    #[must_use]
    pub fn claims_of(&self, name: &str) -> Vec<String> {
        if let Some(worked) = self.worked(name) {
            return worked.as_ref().map(|worked| worked.claims.clone()).unwrap_or_default();
        }
        let claimed = name.starts_with("claims.")
            || self.found(name).is_some_and(|found| found.how == Some(crate::record::How::Claimed));
        if claimed { vec![name.to_owned()] } else { Vec::new() }
    }
}

impl Facts<'_> {
    fn value_of(&self, name: &str, found: &Found) -> Result<Val, Vec<Missing>> {
        let info = field_kind(name);
        let state = found.state();
        let implausible = Missing::implausible(found);
        if !implausible.is_empty() {
            return Err(implausible);
        }
        let value = match state {
            State::Known(value) => value,
            // What was looked for and is not there has an answer where the question allows one.
            State::Absent => {
                return match info {
                    Some(Kind::YesNo) => Ok(Val::YesNo(false)),
                    Some(Kind::Word(_)) => Ok(Val::Text(ABSENT.to_owned())),
                    _ => Err(vec![self.missing(name, Reason::Absent)]),
                };
            }
            State::NotVisible => return Err(vec![self.missing(name, Reason::NotVisible)]),
            State::NotLooked => return Err(vec![self.missing(name, Reason::NotRecorded)]),
            State::Withheld => return Err(vec![self.missing(name, Reason::Withheld)]),
        };
        let sources = &self.derived.sources;
        if sources.withheld(found) {
            return Err(vec![self.missing(name, Reason::Withheld)]);
        }
        let side = |index: u32, quantity: &Quantity| Val::Amount(sources.amount(quantity, found, index));
        Ok(match value {
            Value::Quantity(quantity) if quantity.bound.is_some() => {
                return Err(vec![self.bounded(name, quantity)]);
            }
            Value::Quantity(quantity) => side(0, quantity),
            Value::Count(count) => Val::Amount(Amount::exact(f64::from(*count), Dimension::NONE)),
            Value::YesNo(yes) => Val::YesNo(*yes),
            Value::Word(word) => Val::Text((*word).to_owned()),
            Value::Text(text) => Val::Text(text.clone()),
            Value::Date(date) => Val::Date(*date),
            // The sides of a bar are told apart by their size, in whatever order they were written; an overlap has a length
            // along the current.
            Value::Section([thickness, width])
                if name.starts_with("element.section.") && thickness.value < width.value =>
            {
                if name.ends_with(".width") { side(1, width) } else { side(0, thickness) }
            }
            Value::Section([width, thickness]) => {
                if name.ends_with(".width") {
                    side(0, width)
                } else {
                    side(1, thickness)
                }
            }
            Value::Size([length, width, height]) => {
                if name.ends_with(".length") {
                    side(0, length)
                } else if name.ends_with(".width") {
                    side(1, width)
                } else {
                    side(2, height)
                }
            }
            Value::List(items) => Val::Text(items.join(", ")),
            Value::Accuracy(_) => return Err(vec![self.missing(name, Reason::NotRecorded)]),
        })
    }

    /// A field of which only a bound is recorded: the side of the true value, the bound, and that the value is missing.
    ///
    /// Nothing is worked out from it, for which way a bound moves what follows is known only of the requirement itself.
    pub(crate) fn recorded_bound(&self, name: &str) -> Option<(Side, Amount, Missing)> {
        let found =
            self.found(name).filter(|found| self.worked(name).is_none() && found.doubts.is_empty())?;
        let State::Known(Value::Quantity(quantity)) = found.state() else { return None };
        let side = match quantity.bound? {
            OneSided::AtLeast => Side::AtLeast,
            OneSided::AtMost => Side::AtMost,
        };
        let sources = &self.derived.sources;
        let known = !sources.withheld(found);
        known.then(|| (side, sources.amount(quantity, found, 0), self.bounded(name, quantity)))
    }

    fn bounded(&self, name: &str, quantity: &Quantity) -> Missing {
        let missing = self.missing(name, Reason::NotVisible);
        let what = missing.what.replace("could not be seen", &format!("is known only as {}", quantity.text));
        Missing { what, ..missing }
    }

    fn missing(&self, name: &str, reason: Reason) -> Missing {
        let place = match self.subject {
            Subject::Element(index) if name.starts_with("element.") => {
                return Missing::of_element(name, self.record, index, reason);
            }
            Subject::Load(index) if name.starts_with("load.") => {
                let id = self.record.rig.load.get(index).and_then(|load| load.id.text());
                id.map_or_else(|| format!("load no. {}", index + 1), str::to_owned)
            }
            _ => String::new(),
        };
        Missing::fact(name, &place, reason)
    }
}

/// A field of a record by its name in expressions, to be set.
pub(crate) fn field_of<'a>(record: &'a mut Record, subject: Subject, name: &str) -> Option<&'a mut Found> {
    let (head, rest) = name.split_once('.')?;
    let field = rest.split('.').next()?;
    match (head, subject) {
        ("inspection", _) => record.inspection.found_mut(field),
        ("claims", _) => record.claims.found_mut(field),
        ("cells", _) => record.cells.found_mut(field),
        ("path", _) => record.path.found_mut(field),
        ("charge_path", _) => record.charge_path.found_mut(field),
        ("bms", _) => record.bms.found_mut(field),
        ("heater", _) => record.heater.found_mut(field),
        ("enclosure", _) => record.enclosure.found_mut(field),
        ("service", _) => record.service.found_mut(field),
        ("marking", _) => record.marking.found_mut(field),
        ("element", Subject::Element(i)) => record.path.element.get_mut(i)?.found_mut(field),
        ("statement", Subject::Statement(i)) => record.claims.statement.get_mut(i)?.found_mut(field),
        ("layer", Subject::Layer(i)) => record.bms.layer.get_mut(i)?.found_mut(field),
        ("reading", Subject::Reading(i)) => record.cells.reading.get_mut(i)?.found_mut(field),
        ("photo", Subject::Photo(i)) => record.photo.get_mut(i)?.found_mut(field),
        ("test", Subject::Test(i)) => record.test.get_mut(i)?.found_mut(field),
        ("instrument", Subject::Instrument(i)) => record.instrument.get_mut(i)?.found_mut(field),
        ("rig", _) => record.rig.found_mut(field),
        ("source", _) => record.rig.source.found_mut(field),
        ("load", Subject::Load(i)) => record.rig.load.get_mut(i)?.found_mut(field),
        _ => None,
    }
}

/// The kind of a record field by its name in expressions.
#[must_use]
pub fn field_kind(name: &str) -> Option<Kind> {
    field_info(name).map(|info| info.kind)
}

/// A record field by its name in expressions.
#[must_use]
pub fn field_info(name: &str) -> Option<&'static crate::record::FieldInfo> {
    let mut parts = name.split('.');
    let (head, field) = (parts.next()?, parts.next()?);
    fn search(shape: Shape, head: &str, field: &str) -> Option<&'static crate::record::FieldInfo> {
        for child in shape.children {
            let inner = (child.shape)();
            if child.name == head
                && let Some(info) = inner.fields.iter().find(|info| info.name == field)
            {
                return Some(info);
            }
            if let Some(info) = search(inner, head, field) {
                return Some(info);
            }
        }
        None
    }
    search(Record::SHAPE, head, field)
}
