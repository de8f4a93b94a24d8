//! The names that expressions may use, and where their values come from.
//!
//! Three families: the record's own fields (`claims.capacity`, `element.rating`), what follows from them
//! (`path.short_circuit_current`, `element.permissible_current`), and the book's named limits (`limit.…`). Names of
//! list parts (`element`, `layer`, `reading`, `statement`, `load`, …) are known only inside a rule over `each` of them,
//! those of the test rig (`rig`, `circuit`) only in a rule over the rig or a part of it.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::LazyLock;

use crate::judge::facts::{self, Type};
use crate::record::renamed::{Place, new_word};
use crate::record::{Kind, Part, Record, Shape};
use crate::units::Dimension;
use crate::units::words::nearest;

/// A name, its type and what it is.
#[derive(Debug, Clone, PartialEq)]
pub struct NameInfo {
    /// The name as written in expressions.
    pub name: String,
    pub kind: Type,
    pub about: String,
}

/// Every name an expression may use, but for limits.
pub fn catalogue() -> Vec<NameInfo> {
    let mut names = Vec::new();
    // What is to be withheld is no subject for a rule.
    let subjects = Record::SHAPE.children.iter().filter(|child| child.name != "withhold");
    for child in subjects {
        collect(child.name, (child.shape)(), &mut names);
    }
    for info in facts::FACTS {
        names.push(NameInfo { name: info.name.to_owned(), kind: info.kind, about: info.about.to_owned() });
    }
    // Elements of the rig have the fields of those of the path, and some facts are recorded or derived under one name.
    let mut seen = BTreeSet::new();
    names.retain(|info| seen.insert(info.name.clone()));
    names
}

fn collect(prefix: &str, shape: Shape, names: &mut Vec<NameInfo>) {
    for field in shape.fields {
        let mut push = |suffix: &str, kind: Type| {
            names.push(NameInfo {
                name: format!("{prefix}.{}{suffix}", field.name),
                kind,
                about: field.about.trim().to_owned(),
            });
        };
        match field.kind {
            Kind::Quantity(dimension) => push("", Type::Amount(dimension)),
            Kind::Count => push("", Type::Amount(Dimension::NONE)),
            Kind::YesNo => push("", Type::YesNo),
            Kind::Word(words) => push("", Type::Word(words)),
            Kind::Text | Kind::Markdown | Kind::Digest => push("", Type::Text),
            Kind::Date => push("", Type::Date),
            Kind::Section => {
                push(".width", Type::Amount(Dimension::LENGTH));
                push(".thickness", Type::Amount(Dimension::LENGTH));
            }
            Kind::Size => {
                for side in [".length", ".width", ".height"] {
                    push(side, Type::Amount(Dimension::LENGTH));
                }
            }
            Kind::List | Kind::AnyQuantity | Kind::Accuracy => {}
        }
    }
    for child in shape.children {
        collect(child.name, (child.shape)(), names);
    }
}

/// The catalogue by name.
static KNOWN: LazyLock<BTreeMap<String, Type>> =
    LazyLock::new(|| catalogue().into_iter().map(|info| (info.name, info.kind)).collect());

/// Looks names up for the checker.
#[derive(Debug, Clone)]
pub struct Names {
    limits: BTreeMap<String, Type>,
}

impl Names {
    /// The catalogue together with a book's limits.
    pub fn new(limits: impl IntoIterator<Item = (String, Dimension)>) -> Self {
        let limits = limits.into_iter().map(|(name, d)| (format!("limit.{name}"), Type::Amount(d)));
        Self { limits: limits.collect() }
    }

    /// The type of a name.
    ///
    /// # Errors
    /// What the name is called now, or the nearest known name, if one is near.
    pub fn lookup(&self, name: &str) -> Result<Type, Option<String>> {
        self.limits.get(name).or_else(|| KNOWN.get(name)).copied().ok_or_else(|| {
            let near = || nearest(name, KNOWN.keys().chain(self.limits.keys()).map(String::as_str));
            new_word(Place::Name, name).or_else(near).map(str::to_owned)
        })
    }
}

impl super::expr::Env for facts::Facts<'_> {
    fn fact(&self, name: &str) -> Result<facts::Val, Vec<facts::Missing>> {
        facts::Facts::fact(self, name)
    }

    fn bound(&self, name: &str) -> Option<&'static str> {
        self.worked(name)?.as_ref().ok()?.bound.as_ref()?.side.words()
    }
}
