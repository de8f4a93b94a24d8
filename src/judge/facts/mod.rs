//! What follows from a record before anything is judged.
//!
//! Every derived value carries its working, its sources and what was assumed; where a fact is missing it says
//! which, and where the physics refuses it says why. Nothing is guessed: a stand-in (the air temperature inside a
//! closed pack, say) is a named limit that a house can set, and the working says that it was taken.

pub(crate) mod accuracy;
pub(crate) mod answers;
pub(crate) mod block;
mod lookup;
pub(crate) mod network;
mod pack;
pub(crate) mod path;
pub(crate) mod photos;
mod strings;
mod table;
mod value;
pub(crate) mod worker;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

pub(crate) use lookup::{Facts, Subject, field_info, field_kind, field_of};
pub(crate) use network::{TOLD_ONLY, is_fact as of_the_network};
pub(crate) use pack::rest_voltage;
pub(crate) use photos::{PHOTO_COUNTS, Seen, counted_photos, named_photos};
pub(crate) use table::FACTS;
pub use value::{Answer, Bound, Missing, NAMED, Reason, Side, Sources, Type, Val, Worked, element_label};
pub(crate) use value::{capped, names};

use crate::evidence::whole::PictureState;
use crate::record::parts::Element;
use crate::record::{Record, reads};
use crate::units::Amount;
use answers::Answers;
use network::{Measured, PlaceTold};

/// Derived facts by name.
pub type Values = BTreeMap<&'static str, Answer>;

/// What a bench test hands to the facts of its pack.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct OfTest {
    /// Its own facts.
    pub values: Values,
    /// Temperatures of parts under load.
    pub(crate) measured: Option<Measured>,
}

impl From<Values> for OfTest {
    fn from(values: Values) -> Self {
        Self { values, measured: None }
    }
}

/// A fact that is given: the element it is of, its name, and its value.
pub(crate) type Given = (Option<usize>, &'static str, Answer);

/// Everything derived from a record.
#[derive(Debug, Clone, Default)]
pub struct Derived {
    /// What its readings have in common.
    pub sources: Arc<Sources>,
    /// Of the pack, as one step after the other added them; the last one counts.
    pack: Vec<Arc<Values>>,
    /// Of each element for itself and in the network.
    elements: Vec<Arc<Values>>,
    /// Of each element with what the path carries, and in its path.
    currents: Vec<Arc<Values>>,
    in_path: Vec<Arc<Values>>,
    statements: Vec<Arc<Values>>,
    tests: Arc<Vec<Values>>,
    loads: Vec<Values>,
    meters: Vec<Values>,
    /// Facts that were given in the place of what would be derived; none but in a calculation.
    given: Vec<Given>,
    /// Places of the photos that show a part, by its id.
    photos: Arc<BTreeMap<String, Vec<usize>>>,
    /// True where a photo shows something that the record withholds.
    photos_withheld: bool,
    /// Photos that were looked at.
    seen: Arc<Seen>,
    /// Temperatures that were read in bench tests.
    measured: Arc<Vec<Measured>>,
    /// Places of the path with their temperatures.
    places: Vec<PlaceTold>,
    /// The path is no pack: each element is taken by itself in open air.
    alone: bool,
    /// Which facts of elements the network gave.
    by_network: Vec<(usize, &'static str)>,
    /// Values are only tried.
    tried: bool,
    /// Facts of [`TOLD_ONLY`] that nobody asks for.
    left_out: Vec<&'static str>,
}

/// The steps in which a record is derived, in their order.
struct Steps<'a> {
    /// What was derived before, and which steps the facts that differ reach.
    before: Option<(&'a Derived, Option<&'a [bool]>)>,
    /// Which steps read something withheld.
    read: Vec<bool>,
}

impl<'a> Steps<'a> {
    /// What was derived before, where the next step is not reached.
    fn kept(&mut self) -> Option<&'a Derived> {
        let (before, reached) = self.before?;
        let reached = reached?.get(self.read.len()).is_none_or(|reached| *reached);
        (!reached).then_some(before)
    }

    /// Takes a step, or what it gave before.
    fn take(
        &mut self,
        same: impl Fn(&'a Derived) -> Option<&'a Arc<Values>>,
        work: impl FnOnce() -> Values,
    ) -> Arc<Values> {
        let (values, read) = match self.kept().and_then(same) {
            Some(values) => (Arc::clone(values), false),
            None => {
                let (values, read) = reads::any(work);
                (Arc::new(values), read)
            }
        };
        self.read.push(read);
        values
    }
}

/// Places of the photos that show each part.
fn photos_by_part(record: &Record) -> BTreeMap<String, Vec<usize>> {
    let mut photos: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for (index, photo) in record.photo.iter().enumerate() {
        let parts: BTreeSet<&str> = photo.parts().collect();
        for part in parts {
            photos.entry(part.to_owned()).or_default().push(index);
        }
    }
    photos
}

impl Derived {
    /// The readings of a record with their uncertainty, before anything is derived.
    pub(crate) fn nothing_yet(record: &Record, limits: &BTreeMap<String, Amount>) -> Self {
        Self { sources: Arc::new(Sources::of(record, limits)), ..Self::default() }
    }

    /// Derives everything from a record; `limits` are the rule book's.
    #[must_use]
    pub fn of(record: &Record, limits: &BTreeMap<String, Amount>) -> Self {
        Self::with_tests(record, limits, Vec::<OfTest>::new())
    }

    /// Derives everything from a record, with the facts of its bench tests in their order. Its photos are taken to be
    /// whole.
    #[must_use]
    pub fn with_tests<T: Into<OfTest>>(
        record: &Record,
        limits: &BTreeMap<String, Amount>,
        tests: impl IntoIterator<Item = T>,
    ) -> Self {
        Self::with_evidence(record, limits, tests, Seen::new(), Vec::new())
    }

    /// As [`Derived::with_tests`], with the photos that were looked at, and without some of [`TOLD_ONLY`].
    #[must_use]
    pub(crate) fn with_evidence<T: Into<OfTest>>(
        record: &Record,
        limits: &BTreeMap<String, Amount>,
        tests: impl IntoIterator<Item = T>,
        seen: Seen,
        left_out: Vec<&'static str>,
    ) -> Self {
        let of_tests: (Vec<_>, Vec<_>) =
            tests.into_iter().map(Into::into).map(|OfTest { values, measured }| (values, measured)).unzip();
        let measured = Arc::new(of_tests.1.into_iter().flatten().collect());
        let (tests, seen) = (Arc::new(of_tests.0), Arc::new(seen));
        Self { tests, seen, measured, left_out, ..Self::default() }.derive(record, limits)
    }

    /// Derives what follows for the elements of a path each by itself in open air, as the leads of a test rig are.
    pub(crate) fn alone(record: &Record, limits: &BTreeMap<String, Amount>) -> Self {
        Self { alone: true, ..Self::default() }.derive(record, limits)
    }

    /// Derives everything from a record and from facts that are given in the place of what would be derived; `alone` takes
    /// each element by itself in open air.
    pub(crate) fn with_given(
        record: &Record,
        limits: &BTreeMap<String, Amount>,
        given: Vec<Given>,
        alone: bool,
    ) -> Self {
        Self { given, alone, ..Self::default() }.derive(record, limits)
    }

    /// Derives anew for a record that differs in a few facts, and says which steps read something withheld; what the
    /// network says is taken over as it is, and so is what bench tests and photos show. Steps that are not `reached` stay as
    /// they are: those that read nothing withheld where the facts that differ were withheld.
    pub(crate) fn again(
        &self,
        record: &Record,
        limits: &BTreeMap<String, Amount>,
        reached: Option<&[bool]>,
    ) -> (Self, Vec<bool>) {
        Self { by_network: self.by_network.clone(), ..self.tried() }.derive_from(
            record,
            limits,
            Some((self, reached)),
        )
    }

    /// What bench tests and photos show, where values are only tried.
    fn tried(&self) -> Self {
        let (tests, seen, measured) = (self.tests.clone(), self.seen.clone(), self.measured.clone());
        Self { tests, seen, measured, tried: true, ..Self::default() }
    }

    /// Derives everything anew for a record that differs, the network too, with what bench tests and photos show.
    pub(crate) fn with_same_tests(&self, record: &Record, limits: &BTreeMap<String, Amount>) -> Self {
        self.tried().derive(record, limits)
    }

    /// As [`Derived::with_same_tests`], without what bench tests show.
    pub(crate) fn untested(&self, record: &Record, limits: &BTreeMap<String, Amount>) -> Self {
        Self { seen: self.seen.clone(), tried: true, ..Self::default() }.derive(record, limits)
    }

    /// Whether it is for tables of many packs, which leave out what only a write-up tells.
    pub(crate) fn is_for_tables(&self) -> bool {
        !self.left_out.is_empty()
    }

    /// Whether values are only tried, so that no working is told.
    pub(crate) fn is_tried(&self) -> bool {
        self.tried
    }

    fn derive(self, record: &Record, limits: &BTreeMap<String, Amount>) -> Self {
        self.derive_from(record, limits, None).0
    }

    fn derive_from(
        self,
        record: &Record,
        limits: &BTreeMap<String, Amount>,
        before: Option<(&Self, Option<&[bool]>)>,
    ) -> (Self, Vec<bool>) {
        let mut steps = Steps { before, read: Vec::new() };
        let mut derived = self;
        // Readings and photos are taken over where nothing is said of them.
        let kept = steps.kept();
        let ((), read) = reads::any(|| match kept {
            Some(before) => {
                derived.sources = Arc::clone(&before.sources);
                (derived.photos, derived.photos_withheld) = (before.photos.clone(), before.photos_withheld);
            }
            None => {
                derived.sources = Arc::new(Sources::of(record, limits));
                let (photos, withheld) = reads::watch(|| photos_by_part(record));
                (derived.photos, derived.photos_withheld) = (Arc::new(photos), withheld);
            }
        });
        steps.read.push(read);
        // Later values rest on earlier ones, so each step sees those before it.
        macro_rules! add {
            ($values:expr) => {
                let place = derived.pack.len();
                let facts = Facts { record, derived: &derived, limits, subject: Subject::Pack };
                let more = steps
                    .take(|before| before.pack.get(place), || Answers::of(|values| $values(&facts, values)));
                derived.pack.push(more);
            };
        }
        macro_rules! add_each {
            ($number:expr, $list:ident, $subject:path, $values:expr) => {
                for index in 0..$number {
                    let facts = Facts { record, derived: &derived, limits, subject: $subject(index) };
                    let work = || Answers::of(|values| $values(&facts, index, values));
                    let more = steps.take(|before| before.$list.get(index), work);
                    derived.$list.push(more);
                }
            };
        }
        add!(pack::of_cells);
        let elements = record.path.element.len();
        add_each!(elements, elements, Subject::Element, |facts, index, values: &mut Answers| {
            path::of_element(facts, index, values);
            if let Some((before, _)) = before {
                before.network_of(facts, index, values);
            }
        });
        match before {
            Some((before, _)) => derived.pack.extend(before.pack.get(derived.pack.len()).cloned()),
            None if derived.alone => derived.pack.push(Arc::default()),
            None => derived.add_network(record, limits),
        }
        add!(path::of_path);
        add!(path::clearing);
        add_each!(elements, currents, Subject::Element, path::currents);
        add_each!(elements, in_path, Subject::Element, |facts, _, values| path::with_path(facts, values));
        add!(pack::of_bms_current);
        add!(pack::of_bms);
        add!(pack::of_evidence);
        let statements = record.claims.statement.len();
        add_each!(statements, statements, Subject::Statement, pack::of_statement);
        (derived, steps.read)
    }

    /// What the network said of an element, for one that differs in a few facts.
    fn network_of(&self, facts: &Facts<'_>, index: usize, values: &mut Answers) {
        let before = self.elements.get(index);
        for (_, name) in self.by_network.iter().filter(|(of, _)| *of == index) {
            let answer = before.and_then(|before| before.get(name)).cloned();
            // The limit of a place may be read from the record.
            let kind = facts.record.path.element.get(index).and_then(Element::kind);
            let again =
                kind.filter(|_| *name == "element.temperature_limit" && !matches!(answer, Some(Ok(_))));
            if let Some(answer) = again.map(|kind| network::limits::of(facts, kind)).or(answer) {
                values.insert(name, answer);
            }
        }
    }

    /// Adds what follows from the pack as a network.
    fn add_network(&mut self, record: &Record, limits: &BTreeMap<String, Amount>) {
        let facts = Facts { record, derived: self, limits, subject: Subject::Pack };
        let (mut elements, mut places) = (Vec::new(), Vec::new());
        let path = Answers::of(|values| {
            let of = network::of(&facts, &self.measured);
            let plain = !reads::met() && reads::doubts().iter().all(|doubt| !doubt.implausible);
            places.extend(of.places.into_iter().filter(|_| plain));
            elements.extend(
                of.elements.into_iter().map(|(index, name, answer)| (index, name, answers::as_read(answer))),
            );
            for (name, answer) in of.path {
                values.insert(name, answer);
            }
        });
        self.pack.push(Arc::new(path));
        self.places = places;
        for (index, name, answer) in elements {
            if let Some(element) = self.elements.get_mut(index) {
                self.by_network.push((index, name));
                Arc::make_mut(element).insert(name, answer);
            }
        }
    }

    /// Places of the path with their temperatures, from the negative terminal to the positive one; none where the network
    /// could not be drawn or rests on something withheld.
    pub(crate) fn places(&self) -> &[PlaceTold] {
        &self.places
    }

    /// Whether each element is taken by itself in open air.
    pub(crate) fn is_alone(&self) -> bool {
        self.alone
    }

    /// Whether a photo of the record may count as evidence.
    ///
    /// # Errors
    /// Why it may not.
    pub(crate) fn seen_whole(&self, record: &Record, index: usize) -> Result<(), Vec<Missing>> {
        let file = record.photo.get(index).and_then(|photo| photo.file.text()).unwrap_or_default();
        match self.seen.get(file) {
            None | Some(PictureState::Whole) => Ok(()),
            Some(PictureState::Damaged(why) | PictureState::NotSeen(why)) => {
                let what = format!("{file} does not count as evidence: {why}");
                Err(vec![Missing::told("photo.file", what, Reason::NotVisible)])
            }
        }
    }

    /// Adds what follows for a test rig as a whole, and for each of its loads and meters in their order.
    pub(crate) fn add_rig(&mut self, rig: Values, loads: Vec<Values>, meters: Vec<Values>) {
        self.pack.push(Arc::new(rig));
        (self.loads, self.meters) = (loads, meters);
    }

    /// Adds facts of an element.
    pub(crate) fn add_element(&mut self, index: usize, values: Values) {
        if let Some(element) = self.in_path.get_mut(index) {
            Arc::make_mut(element).extend(values);
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

    /// Whether facts of the same names were derived as in another derivation.
    pub(crate) fn has_the_facts_of(&self, other: &Self) -> bool {
        let steps = |derived: &'_ Self| {
            let Self { pack, elements, currents, in_path, statements, .. } = derived;
            let lists = [pack, elements, currents, in_path, statements];
            lists.map(|steps| {
                steps.iter().map(|values| values.keys().copied().collect::<Vec<_>>()).collect::<Vec<_>>()
            })
        };
        steps(self) == steps(other)
    }

    /// Every derived fact.
    pub(crate) fn each_answer(&mut self, change: &mut dyn FnMut(&mut Answer)) {
        let lists =
            [&mut self.pack, &mut self.elements, &mut self.currents, &mut self.in_path, &mut self.statements];
        let shared = lists.into_iter().flatten().map(Arc::make_mut);
        for values in shared.chain(Arc::make_mut(&mut self.tests)) {
            values.values_mut().for_each(&mut *change);
        }
    }

    /// Places in the record of the photos that show a part, in their order.
    pub(crate) fn photos_of(&self, part: &str) -> &[usize] {
        if self.photos_withheld {
            reads::note_withheld();
        }
        self.photos.get(part).map_or(&[], Vec::as_slice)
    }

    /// A derived fact of the pack.
    #[must_use]
    pub fn of_pack(&self, name: &str) -> Option<&Answer> {
        let derived = || self.pack.iter().rev().find_map(|values| values.get(name));
        noted(self.given(Subject::Pack, name).or_else(derived))
    }

    /// A derived fact of an element.
    #[must_use]
    pub fn of_element(&self, index: usize, name: &str) -> Option<&Answer> {
        let steps = [&self.in_path, &self.currents, &self.elements];
        noted(steps.into_iter().find_map(|step| step.get(index)?.get(name)))
    }

    /// A derived fact of a claim in words.
    #[must_use]
    pub fn of_statement(&self, index: usize, name: &str) -> Option<&Answer> {
        noted(self.statements.get(index)?.get(name))
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
        noted(self.tests.get(index)?.get(name))
    }
}

/// A fact that another one may rest on: that it is withheld or in doubt is noted.
fn noted(answer: Option<&Answer>) -> Option<&Answer> {
    match answer {
        Some(Err(missing)) => {
            for missing in missing {
                match missing.reason {
                    Reason::Withheld => reads::note_withheld(),
                    Reason::InDoubt => reads::note_doubt(&Arc::new(missing.in_doubt())),
                    _ => {}
                }
            }
        }
        Some(Ok(worked)) => worked.contradicted.iter().for_each(reads::note_doubt),
        None => {}
    }
    answer
}
