//! What follows from a record before anything is judged.
//!
//! Every derived value carries its working, its sources and what was assumed; where a fact is missing it says
//! which, and where the physics refuses it says why. Nothing is guessed: a stand-in (the air temperature inside a
//! closed pack, say) is a named limit that a house can set, and the working says that it was taken.

mod facts;
mod pack;
pub(crate) mod path;
mod table;
mod value;
pub(crate) mod worker;

use std::collections::{BTreeMap, BTreeSet};

pub use facts::{Facts, Subject, field_info, field_kind};
pub(crate) use pack::{no_photos, predicted_bms_rise, rest_voltage};
pub use table::{FACTS, FactInfo};
pub use value::{Answer, Bound, Missing, NAMED, Reason, Side, Sources, Type, Val, Worked};
pub(crate) use value::{capped, names};

use crate::record::Record;
use crate::record::parts::ElementKind;
use crate::units::Amount;

/// Derived facts by name.
pub type Values = BTreeMap<&'static str, Answer>;

/// A fact that is given: the element it is of, its name, and its value.
pub(crate) type Given = (Option<usize>, &'static str, Answer);

/// Everything derived from a record.
#[derive(Debug, Clone, Default)]
pub struct Derived {
    /// What its readings have in common.
    pub sources: Sources,
    pack: Values,
    elements: Vec<Values>,
    statements: Vec<Values>,
    tests: Vec<Values>,
    loads: Vec<Values>,
    meters: Vec<Values>,
    /// Facts that were given in the place of what would be derived; none but in a calculation.
    given: Vec<Given>,
    /// Places of the photos that show a part, by its id.
    photos: BTreeMap<String, Vec<usize>>,
}

/// Places of the photos that show each part.
fn photos_by_part(record: &Record) -> BTreeMap<String, Vec<usize>> {
    let mut photos: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for (index, photo) in record.photo.iter().enumerate() {
        let parts: BTreeSet<&String> = photo.shows.list().iter().collect();
        for part in parts {
            photos.entry(part.clone()).or_default().push(index);
        }
    }
    photos
}

impl Derived {
    /// Derives everything from a record; `limits` are the rule book's.
    #[must_use]
    pub fn of(record: &Record, limits: &BTreeMap<String, Amount>) -> Self {
        Self::with_tests(record, limits, Vec::new())
    }

    /// Derives everything from a record, with the facts of its bench tests in their order.
    #[must_use]
    pub fn with_tests(record: &Record, limits: &BTreeMap<String, Amount>, tests: Vec<Values>) -> Self {
        Self { tests, ..Self::default() }.derive(record, limits)
    }

    /// Derives everything from a record and from facts that are given in the place of what would be derived.
    pub(crate) fn with_given(record: &Record, limits: &BTreeMap<String, Amount>, given: Vec<Given>) -> Self {
        Self { given, ..Self::default() }.derive(record, limits)
    }

    fn derive(self, record: &Record, limits: &BTreeMap<String, Amount>) -> Self {
        let mut derived = Self { sources: Sources::of(record), photos: photos_by_part(record), ..self };
        // Later values rest on earlier ones, so each step sees those before it.
        macro_rules! add {
            ($values:expr) => {
                let more = $values(&Facts { record, derived: &derived, limits, subject: Subject::Pack });
                derived.pack.extend(more);
            };
        }
        add!(pack::of_cells);
        for index in 0..record.path.element.len() {
            let facts = Facts { record, derived: &derived, limits, subject: Subject::Element(index) };
            let values = path::of_element(&facts, index);
            derived.elements.push(values);
        }
        add!(path::of_path);
        for index in 0..record.path.element.len() {
            let facts = Facts { record, derived: &derived, limits, subject: Subject::Element(index) };
            let values = path::with_fault_current(&facts);
            if let Some(element) = derived.elements.get_mut(index) {
                element.extend(values);
            }
        }
        add!(pack::of_bms);
        add!(pack::of_evidence);
        for index in 0..record.claims.statement.len() {
            let facts = Facts { record, derived: &derived, limits, subject: Subject::Statement(index) };
            let values = pack::of_statement(&facts, index);
            derived.statements.push(values);
        }
        derived
    }

    /// Every derived fact.
    pub(crate) fn each_answer(&mut self, change: &mut dyn FnMut(&mut Answer)) {
        let lists = [&mut self.elements, &mut self.statements, &mut self.tests];
        for values in std::iter::once(&mut self.pack).chain(lists.into_iter().flatten()) {
            values.values_mut().for_each(&mut *change);
        }
    }

    /// Takes out every fact that is another one in `truth`, which was derived with what is withheld here.
    pub(crate) fn withhold_differences(&mut self, truth: &Self) {
        let empty = Values::new();
        let lists = [
            (&mut self.elements, &truth.elements),
            (&mut self.statements, &truth.statements),
            (&mut self.tests, &truth.tests),
        ];
        withhold_differences(&mut self.pack, &truth.pack);
        for (values, truths) in lists {
            for (index, values) in values.iter_mut().enumerate() {
                withhold_differences(values, truths.get(index).unwrap_or(&empty));
            }
        }
    }

    /// Adds what follows for a test rig as a whole, and for each of its loads and meters in their order.
    pub(crate) fn add_rig(&mut self, rig: Values, loads: Vec<Values>, meters: Vec<Values>) {
        self.pack.extend(rig);
        (self.loads, self.meters) = (loads, meters);
    }

    /// Adds facts of an element.
    pub(crate) fn add_element(&mut self, index: usize, values: Values) {
        if let Some(element) = self.elements.get_mut(index) {
            element.extend(values);
        }
    }

    /// A fact that was given.
    fn given(&self, subject: Subject, name: &str) -> Option<&Answer> {
        let of = match subject {
            Subject::Element(index) if name.starts_with("element.") => Some(index),
            _ => None,
        };
        self.given.iter().find(|(at, known, _)| *at == of && *known == name).map(|(.., answer)| answer)
    }

    /// Places in the record of the photos that show a part, in their order.
    pub(crate) fn photos_of(&self, part: &str) -> &[usize] {
        self.photos.get(part).map_or(&[], Vec::as_slice)
    }

    /// The derived facts of a bench test.
    pub(crate) fn facts_of_test(&self, index: usize) -> Values {
        self.tests.get(index).cloned().unwrap_or_default()
    }

    /// A derived fact of the pack.
    #[must_use]
    pub fn of_pack(&self, name: &str) -> Option<&Answer> {
        self.pack.get(name)
    }

    /// A derived fact of an element.
    #[must_use]
    pub fn of_element(&self, index: usize, name: &str) -> Option<&Answer> {
        self.elements.get(index)?.get(name)
    }

    /// A derived fact of a claim in words.
    #[must_use]
    pub fn of_statement(&self, index: usize, name: &str) -> Option<&Answer> {
        self.statements.get(index)?.get(name)
    }

    /// A derived fact of a load of the test rig.
    #[must_use]
    pub fn of_load(&self, index: usize, name: &str) -> Option<&Answer> {
        self.loads.get(index)?.get(name)
    }

    /// A derived fact of a meter of the test rig.
    #[must_use]
    pub fn of_meter(&self, index: usize, name: &str) -> Option<&Answer> {
        self.meters.get(index)?.get(name)
    }

    /// A derived fact of a bench test.
    #[must_use]
    pub fn of_test(&self, index: usize, name: &str) -> Option<&Answer> {
        self.tests.get(index)?.get(name)
    }
}

fn withhold_differences(values: &mut Values, truths: &Values) {
    for (name, answer) in values {
        match (&mut *answer, truths.get(name)) {
            (Ok(worked), Some(Ok(truth))) if worked.value == truth.value && worked.bound == truth.bound => {}
            (Err(_), None | Some(Err(_))) => {}
            (Err(missing), Some(Ok(_))) if missing.iter().any(|m| m.reason == Reason::Withheld) => {}
            _ => *answer = Err(vec![Missing::withheld()]),
        }
    }
}

/// An element as a person would name it: "busbar positive-bar"; one named like its kind is named once.
#[must_use]
pub fn element_label(record: &Record, index: usize) -> String {
    let Some(element) = record.path.element.get(index) else {
        return String::new();
    };
    let kind = element.kind().map_or("element", ElementKind::word);
    match element.id.text() {
        Some(id) if id == kind => kind.to_owned(),
        Some(id) => format!("{kind} {id}"),
        None => format!("{kind} no. {}", index + 1),
    }
}
