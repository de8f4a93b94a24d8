//! Checklists: what to look at, in the order in which a lid comes off, and which field each answer fills.
//!
//! A checklist is data. Its items name fields of the record and conditions in the rules' own language, and both
//! are checked when the list is loaded, so that a slip in a house list is found at the desk and not at the bench.
//! The lists here judge nothing: they ask, they say how to look, and they warn.

mod condition;
mod dead;
mod entries;
mod load;
mod paper;
mod scope;

use std::ops::Range;
use std::sync::Arc;

use crate::judge::rules::expr::Expr;
use crate::record::parts::Leg;
use crate::record::problem::Problems;
use crate::record::{FieldInfo, How};

pub use dead::dead_conditions;
pub use entries::Adds;
pub(crate) use entries::PhotoWanted;
pub use paper::paper;

pub use crate::judge::rules::Scope;

/// The lists that are compiled in, by kind of pack; one that extends another comes after it.
const BUILT_IN: [(&str, &str); 3] = [
    ("checklists/drop-in.toml", include_str!("../../../checklists/drop-in.toml")),
    ("checklists/rack.toml", include_str!("../../../checklists/rack.toml")),
    ("checklists/self-built.toml", include_str!("../../../checklists/self-built.toml")),
];

/// Items that sections share, by the name that a section gives.
const SHARED: [(&str, &str, &str); 1] =
    [("leg", "checklists/leg.toml", include_str!("../../../checklists/leg.toml"))];

impl Adds {
    /// The scope of the items that may add it, as `each` says it; none where the item is asked of the pack.
    const fn asked_of(self) -> &'static [&'static str] {
        match self {
            Self::Branches | Self::Sensors => &["test"],
            Self::RigElements => &["", "load"],
            Self::Elements
            | Self::Statements
            | Self::Layers
            | Self::Tests
            | Self::Instruments
            | Self::Loads
            | Self::Meters
            | Self::Areas => &[""],
        }
    }
}

/// Where an answer goes.
#[derive(Debug, Clone)]
pub enum Fills {
    /// Into a field of the record.
    Field {
        /// Its name in the record's catalogue, `element.rating`.
        name: String,
        /// The field.
        info: &'static FieldInfo,
    },
    /// It adds parts.
    Adds(Adds),
    /// Into an `[[item]]` of its own, because no field holds it.
    Remark,
}

/// When an item is left out of the walk.
#[derive(Debug, Clone)]
pub enum Aside {
    /// Never.
    Never,
    /// Always.
    Always,
    /// Where a condition holds.
    Where(Expr),
}

/// One thing to look at.
#[derive(Debug, Clone)]
pub struct Item {
    /// Its number in the whole list, from 1; the paper form and `fill` share it.
    pub number: usize,
    /// Its id, unique in the list.
    pub id: String,
    /// The question.
    pub prompt: String,
    /// Why it matters.
    pub why: String,
    /// How to look or measure.
    pub look: String,
    /// Where the answer goes.
    pub fills: Fills,
    /// What it is asked for each of.
    pub scope: Scope,
    /// The leg of the path it is about.
    pub leg: Option<Leg>,
    /// Whether a photo belongs to it.
    pub photo: Option<PhotoWanted>,
    /// The part that a photo of a remark shows.
    pub shows: Option<String>,
    /// A caution; empty when there is no danger of its own.
    pub caution: String,
    /// When it applies, as written and as read.
    pub when: Option<(String, Expr)>,
    /// When it is seldom wanted: the walk does not stop at it, the list and its number lead there.
    pub aside: Aside,
    /// What it is read off: items of one part with the same words are asked on one screen.
    pub card: Option<String>,
    /// How a value came, unless the answer says otherwise.
    pub how: Option<How>,
    /// The file it comes from, for messages.
    pub file: Arc<str>,
    /// Where its condition stands in that file.
    pub when_span: Range<usize>,
}

impl Item {
    /// Whether an answer adds parts of this kind.
    pub(in crate::fill) fn fills_with(&self, adds: Adds) -> bool {
        matches!(&self.fills, Fills::Adds(own) if *own == adds)
    }
}

/// Items that are asked together.
#[derive(Debug, Clone)]
pub struct Section {
    /// Its id.
    pub id: String,
    /// Its title.
    pub title: String,
    /// What it is about, and what to do before it.
    pub about: String,
    /// A caution for all of it.
    pub caution: String,
    /// The items.
    pub items: Vec<Arc<Item>>,
}

/// A checklist.
#[derive(Debug, Clone)]
pub struct Checklist {
    /// The kind of pack it is for, as `inspection.kind` says it.
    pub kind: String,
    /// Its title.
    pub title: String,
    /// What it is for.
    pub about: String,
    /// The sections in order.
    pub sections: Vec<Section>,
}

impl Checklist {
    /// All items in order.
    pub fn items(&self) -> impl Iterator<Item = &Arc<Item>> {
        self.sections.iter().flat_map(|section| &section.items)
    }

    /// An item by its number.
    #[must_use]
    pub fn item(&self, number: usize) -> Option<&Arc<Item>> {
        self.items().find(|item| item.number == number)
    }
}

/// The checklists of all kinds of pack.
#[derive(Debug, Clone)]
pub struct Checklists {
    lists: Vec<Checklist>,
}

impl Checklists {
    /// The lists that are compiled in.
    ///
    /// # Errors
    /// [`Problems`] when a built-in list itself is wrong, which a test excludes.
    pub fn built_in() -> Result<Self, Problems> {
        let mut lists = Self { lists: Vec::new() };
        for (file, text) in BUILT_IN {
            lists.add(file, text)?;
        }
        Ok(lists)
    }

    /// Adds a house list: one that extends a list changes it; any other replaces the list of its kind.
    ///
    /// # Errors
    /// [`Problems`] with every place that is wrong: unknown fields, conditions that cannot be read.
    pub fn add(&mut self, file: &str, text: &str) -> Result<(), Problems> {
        load::add(&mut self.lists, file, text)
    }

    /// The list for a kind of pack.
    #[must_use]
    pub fn of_kind(&self, kind: &str) -> Option<&Checklist> {
        self.lists.iter().find(|list| list.kind == kind)
    }

    /// The kinds there are lists for.
    pub fn kinds(&self) -> impl Iterator<Item = &str> {
        self.lists.iter().map(|list| list.kind.as_str())
    }

    /// All lists.
    pub fn all(&self) -> impl Iterator<Item = &Checklist> {
        self.lists.iter()
    }
}
