//! Values that were worked out, and what is missing where they could not be.

use std::collections::{BTreeMap, HashSet};
use std::sync::Arc;

use jiff::civil::Date;
use serde::Serialize;

use super::accuracy::{Accuracy, Usual};
use crate::record::field::{Doubt, Found, WITHHELD, Word};
use crate::record::parts::ElementKind;
use crate::record::{How, Record};
use crate::units::{Amount, Dimension, SourceId, Uncertain};

/// The type of a fact or an expression.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Type {
    /// A number with a dimension.
    Amount(Dimension),
    /// Yes or no.
    YesNo,
    /// One of a fact's words.
    Word(&'static [Word]),
    /// Any text.
    Text,
    /// A date.
    Date,
}

impl Type {
    /// Its name with article.
    #[must_use]
    pub fn name(self) -> String {
        match self {
            Self::Amount(dimension) => dimension.name(),
            Self::YesNo => "a yes or no".to_owned(),
            Self::Word(_) => "a word".to_owned(),
            Self::Text => "a text".to_owned(),
            Self::Date => "a date".to_owned(),
        }
    }
}

/// A value of a fact or an expression.
#[derive(Debug, Clone, PartialEq)]
pub enum Val {
    /// A quantity.
    Amount(Amount),
    /// Yes or no.
    YesNo(bool),
    /// A word or a text.
    Text(String),
    /// A date.
    Date(Date),
}

impl Val {
    /// As a person would read it.
    #[must_use]
    pub fn show(&self) -> String {
        match self {
            Self::Amount(amount) => amount.show(),
            Self::YesNo(true) => "yes".to_owned(),
            Self::YesNo(false) => "no".to_owned(),
            Self::Text(text) => text.clone(),
            Self::Date(date) => date.to_string(),
        }
    }

    /// The amount, when it is one.
    #[must_use]
    pub fn amount(&self) -> Option<&Amount> {
        match self {
            Self::Amount(amount) => Some(amount),
            _ => None,
        }
    }
}

/// Why a fact is missing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Reason {
    /// Nobody looked, or nobody wrote it down.
    NotRecorded,
    /// It was looked for and could not be seen.
    NotVisible,
    /// It was looked for and is not there.
    Absent,
    /// It is recorded, but withheld from outputs for others.
    Withheld,
    /// It is recorded, but not plausible, or two values contradict each other.
    InDoubt,
    /// The physics refuses, or the question makes no sense here.
    Refused,
}

/// Name of a log that is missing, in expressions.
const LOG: &str = "test.log";

/// Stands in the place of a name where several are counted; no fact is called so.
const MORE: &str = "…";

/// A missing fact.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, schemars::JsonSchema)]
pub struct Missing {
    /// Its name in expressions.
    pub name: String,
    /// What is missing, as a person would say it.
    pub what: String,
    /// Why.
    pub reason: Reason,
    /// Where a list was cut: how many further ones this stands for.
    #[serde(skip)]
    pub(crate) counted: usize,
    /// The element of the path whose fact it is, by its place in the list.
    #[serde(skip)]
    pub(crate) element: Option<usize>,
}

impl Missing {
    /// A fact of the record that is not known; `place` names the part, empty for the pack.
    #[must_use]
    pub fn fact(name: &str, place: &str, reason: Reason) -> Self {
        let of = if place.is_empty() { String::new() } else { format!(" of {place}") };
        let state = match reason {
            Reason::NotRecorded => "is not recorded",
            Reason::NotVisible => "could not be seen",
            Reason::Absent => "was looked for and is not there",
            Reason::Withheld => "is withheld by the record",
            Reason::InDoubt => "is in doubt",
            Reason::Refused => "cannot be used",
        };
        let field = match name.split_once('.') {
            Some((head, rest)) if !place.is_empty() && head != "path" => rest,
            _ => name,
        };
        Self::told(name, format!("`{field}`{of} {state}"), reason)
    }

    /// A fact of an element of the path that is not known.
    pub(crate) fn of_element(name: &str, record: &Record, index: usize, reason: Reason) -> Self {
        Self { element: Some(index), ..Self::fact(name, &element_label(record, index), reason) }
    }

    /// A fact by its name in expressions, in words of its own.
    pub(crate) fn told(name: &str, what: impl Into<String>, reason: Reason) -> Self {
        Self { name: name.to_owned(), what: what.into(), reason, counted: 0, element: None }
    }

    /// A value that cannot be shown because it rests on something withheld.
    #[must_use]
    pub fn withheld() -> Self {
        let what = "it rests on a value that the record withholds".to_owned();
        Self::told("", what, Reason::Withheld)
    }

    /// A value that is in doubt.
    #[must_use]
    pub fn doubt(doubt: &Doubt) -> Self {
        let meant = doubt.meant.as_deref().map_or_else(String::new, |meant| format!("; {meant}?"));
        let what = format!("{}{meant}", doubt.what);
        Self::told(&doubt.name, what, Reason::InDoubt)
    }

    /// Doubts of a value that make it no fact.
    pub(crate) fn implausible(found: &Found) -> Vec<Self> {
        let doubts = found.doubts.iter().filter(|doubt| doubt.implausible);
        doubts.map(|doubt| Self::doubt(doubt)).collect()
    }

    /// The doubt that makes a value missing.
    pub(crate) fn in_doubt(&self) -> Doubt {
        Doubt { name: self.name.clone(), what: self.what.clone(), meant: None, implausible: true }
    }

    /// Those that a list counts instead of naming them.
    fn more(number: usize, exactly: bool, reason: Reason) -> Self {
        let least = if exactly { "" } else { "at least " };
        Self { counted: number, ..Self::told(MORE, format!("and {least}{number} more"), reason) }
    }

    /// How many others this stands for.
    fn counts(&self) -> Option<usize> {
        (self.counted > 0).then_some(self.counted)
    }

    /// A log that could not be used.
    #[must_use]
    pub(crate) fn log(what: String) -> Self {
        Self::told(LOG, what, Reason::Refused)
    }

    /// True for a log that could not be used.
    #[must_use]
    pub(crate) fn is_log(&self) -> bool {
        self.name == LOG
    }

    /// A refusal, in the words of whoever refuses.
    #[must_use]
    pub fn refused(why: &str) -> Self {
        Self::told("", why, Reason::Refused)
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

/// Missing facts that one answer names; the others it counts. What is missing for the path as a whole is told by every
/// rule over its elements, so that naming all of it would grow with the square of a record.
pub const NAMED: usize = 12;

/// Missing facts, each once: the first [`NAMED`] of them by name, the others as a number.
#[derive(Debug, Default)]
pub(crate) struct Lacks {
    named: Vec<Missing>,
    seen: HashSet<Missing>,
    /// Further ones that were counted elsewhere, of which some may be here as well.
    counted: usize,
    /// Why those that are not named are missing, as far as a rule asks: withheld before not known before absent.
    rest: Option<Reason>,
}

impl Lacks {
    pub(crate) fn is_empty(&self) -> bool {
        self.seen.is_empty()
    }

    pub(crate) fn push(&mut self, missing: Missing) {
        if let Some(number) = missing.counts() {
            self.counted = self.counted.max(number);
            self.worsen(missing.reason);
            self.seen.insert(missing);
        } else if !self.seen.contains(&missing) {
            self.seen.insert(missing.clone());
            if self.named.len() < NAMED {
                self.named.push(missing);
            } else {
                self.worsen(missing.reason);
            }
        }
    }

    fn worsen(&mut self, reason: Reason) {
        let rank = |reason: Option<Reason>| match reason {
            None => 0,
            Some(Reason::Absent) => 1,
            Some(Reason::NotRecorded | Reason::NotVisible | Reason::Refused | Reason::InDoubt) => 2,
            Some(Reason::Withheld) => 3,
        };
        if rank(Some(reason)) > rank(self.rest) {
            self.rest = Some(reason);
        }
    }

    /// The list: what is named, and how many more there are.
    pub(crate) fn take(&mut self) -> Vec<Missing> {
        let Self { mut named, seen, counted, rest } = std::mem::take(self);
        let counts = seen.iter().filter(|missing| missing.counts().is_some()).count();
        let own = seen.len() - counts - named.len();
        if let Some(reason) = rest {
            named.push(Missing::more(own.max(counted), counted == 0, reason));
        }
        named
    }
}

impl Extend<Missing> for Lacks {
    fn extend<I: IntoIterator<Item = Missing>>(&mut self, missing: I) {
        missing.into_iter().for_each(|missing| self.push(missing));
    }
}

/// A list of missing facts, each once, with those beyond [`NAMED`] counted.
pub(crate) fn capped(missing: impl IntoIterator<Item = Missing>) -> Vec<Missing> {
    let mut lacks = Lacks::default();
    lacks.extend(missing);
    lacks.take()
}

/// Names in a line, those beyond [`NAMED`] counted.
pub(crate) fn names(names: &[String]) -> String {
    let shown = names.get(..NAMED).unwrap_or(names).join(", ");
    match names.len().saturating_sub(NAMED) {
        0 => shown,
        more => format!("{shown} and {more} more"),
    }
}

/// The side on which the true value of a bounded one lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// The true value is at least this large: something was left out that would add to it.
    AtLeast,
    /// The true value is at most this large: something was left out that would take from it.
    AtMost,
    /// The true value lies within the uncertainty that is stated; what is missing would narrow it.
    Within,
}

impl Side {
    /// What stands before the value.
    #[must_use]
    pub const fn words(self) -> Option<&'static str> {
        match self {
            Self::AtLeast => Some("at least"),
            Self::AtMost => Some("at most"),
            Self::Within => None,
        }
    }
}

/// A value that is only a bound, because something is missing.
///
/// A rule that would change its outcome towards the true value is not decided; see the engine.
#[derive(Debug, Clone, PartialEq)]
pub struct Bound {
    /// Where the true value lies.
    pub side: Side,
    /// What was left out.
    pub missing: Vec<Missing>,
    /// True where a nonconformity may rest on the bound all the same, because the bound is the quantity's own
    /// definition: a *prospective* short-circuit current is the largest that can flow.
    pub by_definition: bool,
}

/// A value with the way to it.
#[derive(Debug, Clone, PartialEq)]
pub struct Worked {
    /// The value.
    pub value: Val,
    /// The working, line by line.
    pub steps: Vec<String>,
    /// Sources of the physics.
    pub sources: Vec<String>,
    /// What was assumed.
    pub assumed: Vec<String>,
    /// Set when the value is only a bound.
    pub bound: Option<Bound>,
    /// Names of the claims it rests on: those of the nameplate and every other fact that is only claimed.
    pub claims: Vec<String>,
    /// Contradictions between values that it rests on: no rule meets on it.
    pub contradicted: Vec<Arc<Doubt>>,
}

impl Worked {
    /// A value without any working.
    pub(crate) fn of(value: Val) -> Self {
        Self {
            value,
            steps: Vec::new(),
            sources: Vec::new(),
            assumed: Vec::new(),
            bound: None,
            claims: Vec::new(),
            contradicted: Vec::new(),
        }
    }

    /// As a person would read it: a bound is told as one.
    #[must_use]
    pub fn show(&self) -> String {
        match self.bound.as_ref().and_then(|bound| bound.side.words()) {
            Some(side) => format!("{side} {}", self.value.show()),
            None => self.value.show(),
        }
    }
}

/// A derived value, or all that is missing for it.
pub type Answer = Result<Worked, Vec<Missing>>;

/// The sources of uncertainty of a record: what its readings have in common and what they have not.
///
/// A written `±` is an independent source of its own. A reading with a named instrument and no `±` of its own
/// takes the instrument's accuracy, or that of its kind ([`super::accuracy`]): the share of the reading is one source for
/// all readings of that instrument (its calibration is off by one amount), the rest is a source of each reading. A value
/// that was measured with nobody knows what takes the widest accuracy of what reads such values.
#[derive(Debug, Clone, Default)]
pub struct Sources {
    instruments: Vec<(String, Accuracy)>,
    usual: Usual,
}

/// Sources above this number belong to instruments; those below are places in the file.
const INSTRUMENT_SOURCES: SourceId = 1 << 30;

impl Sources {
    pub(crate) fn of(record: &Record, limits: &BTreeMap<String, Amount>) -> Self {
        let instruments = record.instrument.iter().map(|instrument| {
            (instrument.id.text().unwrap_or_default().to_owned(), Accuracy::of(instrument))
        });
        Self { instruments: instruments.collect(), usual: Usual::of(limits) }
    }

    /// True for a reading whose uncertainty rests on something withheld: the name of its instrument, or what that can do.
    pub(super) fn withheld(&self, found: &Found) -> bool {
        found.with.as_ref().is_some_and(|id| {
            id.contains(WITHHELD) || self.instruments.iter().any(|(known, of)| of.withheld && known == id)
        })
    }

    /// A recorded quantity with its uncertainty; `side` tells the sides of a size apart.
    #[must_use]
    pub fn amount(&self, quantity: &crate::units::Quantity, found: &Found, side: SourceId) -> Amount {
        let dimension = quantity.dimension;
        let here = SourceId::try_from(found.span.start * 4)
            .unwrap_or(INSTRUMENT_SOURCES - 8)
            .min(INSTRUMENT_SOURCES - 8)
            + side;
        if let Some(expanded) = quantity.expanded {
            let number = Uncertain::new(quantity.value, here, expanded / crate::units::COVERAGE);
            return Amount { number, dimension };
        }
        if self.withheld(found) {
            crate::record::reads::note_withheld();
        }
        let measured = match (&found.how, &found.with) {
            (Some(how), _) => *how == How::Measured,
            (None, with) => with.is_some(),
        };
        if !measured {
            return Amount::exact(quantity.value, dimension);
        }
        let named =
            found.with.as_ref().and_then(|id| self.instruments.iter().position(|(known, _)| known == id));
        let own =
            named.and_then(|at| Some((at, self.instruments.get(at)?.1.limits(dimension, &self.usual)?.0)));
        let (shared, limits) = match own {
            Some((index, limits)) => (INSTRUMENT_SOURCES + SourceId::try_from(index).unwrap_or(0), limits),
            None => match self.usual.limits(None, dimension) {
                Some(limits) => (here, limits),
                None => return Amount::exact(quantity.value, dimension),
            },
        };
        let rectangular = 3.0_f64.sqrt();
        let mut number = Uncertain::exact(quantity.value);
        if shared == here {
            let share = if dimension.point { 0.0 } else { quantity.value * limits.share };
            return Amount {
                number: number.with_part(here, share.hypot(limits.fixed) / rectangular),
                dimension,
            };
        }
        if !dimension.point {
            number = number.with_part(shared, quantity.value * limits.share / rectangular);
        }
        Amount { number: number.with_part(here, limits.fixed / rectangular), dimension }
    }
}
