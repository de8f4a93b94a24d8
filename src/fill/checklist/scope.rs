//! What an item is asked for each of: what a rule may be applied to, but for what a record has once.

use std::ops::Range;

use crate::judge::rules;
use crate::record::parts::ElementKind;
use crate::record::problem::Problem;

/// What an item is asked for each of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ItemScope {
    /// Once, of the pack.
    Pack,
    /// Each element of the pack's path of these kinds.
    Elements(Vec<ElementKind>),
    /// Each claim in words.
    Statements,
    /// Each layer of the heat path.
    Layers,
    /// Each reading of a cell or parallel group.
    Readings,
    /// Each photo.
    Photos,
    /// Each bench test.
    Tests,
    /// Each instrument.
    Instruments,
    /// Each element of the test rig of these kinds, the loads' own ones included.
    RigElements(Vec<ElementKind>),
    /// Each load of the test rig.
    Loads,
}

impl ItemScope {
    /// The scope of an `each` list.
    ///
    /// # Errors
    /// A word that is no part of a record, told at `span`.
    pub(super) fn of(each: &[String], span: &Range<usize>) -> Result<Self, Problem> {
        Ok(match rules::Scope::of(each, span)? {
            rules::Scope::Pack => Self::Pack,
            rules::Scope::Elements(kinds) => Self::Elements(kinds),
            rules::Scope::Statements => Self::Statements,
            rules::Scope::Layers => Self::Layers,
            rules::Scope::Readings => Self::Readings,
            rules::Scope::Photos => Self::Photos,
            rules::Scope::Tests => Self::Tests,
            rules::Scope::Instruments => Self::Instruments,
            rules::Scope::RigElements(kinds) => Self::RigElements(kinds),
            rules::Scope::Loads => Self::Loads,
            rules::Scope::Rig | rules::Scope::Source | rules::Scope::Meters => {
                let message = "no item is asked for each of this".to_owned();
                return Err(Problem::at(span.clone(), message, "leave it out", "each = [\"rig-cable\"]"));
            }
        })
    }

    /// True when an item of this scope may fill the field.
    pub(super) fn fills(&self, name: &str) -> bool {
        let head = name.split('.').next().unwrap_or_default();
        match head {
            "element" => matches!(self, Self::Elements(_) | Self::RigElements(_)),
            "load" => *self == Self::Loads,
            "rig" | "source" => *self == Self::Pack,
            "clearing" => *self == Self::Pack,
            // Written in one line with the part they belong to.
            "branch" | "sensor" | "meter" | "area" => false,
            _ => self.rule().knows(name),
        }
    }

    /// The scope in which the conditions of its items are read. Nothing of the rig is known to the rules' language.
    pub(super) fn rule(&self) -> rules::Scope {
        match self {
            Self::Pack | Self::RigElements(_) | Self::Loads => rules::Scope::Pack,
            Self::Elements(kinds) => rules::Scope::Elements(kinds.clone()),
            Self::Statements => rules::Scope::Statements,
            Self::Layers => rules::Scope::Layers,
            Self::Readings => rules::Scope::Readings,
            Self::Photos => rules::Scope::Photos,
            Self::Tests => rules::Scope::Tests,
            Self::Instruments => rules::Scope::Instruments,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_names_a_part_of_the_pack_or_of_the_rig() {
        let of = |words: &[&str]| {
            ItemScope::of(&words.iter().map(|w| (*w).to_owned()).collect::<Vec<_>>(), &(0..1))
                .map_err(|problem| format!("{}; {}", problem.message, problem.expected))
        };
        assert_eq!(of(&[]), Ok(ItemScope::Pack));
        assert_eq!(of(&["load"]), Ok(ItemScope::Loads));
        assert_eq!(
            of(&["rig-fuse", "rig-cable"]),
            Ok(ItemScope::RigElements(vec![ElementKind::Cable, ElementKind::Fuse]))
        );
        assert!(of(&["meter"]).is_err());
    }

    #[test]
    fn a_field_belongs_to_the_scope_of_its_part() {
        for (scope, name, fits) in [
            (ItemScope::Pack, "rig.ambient", true),
            (ItemScope::Pack, "source.kind", true),
            (ItemScope::Pack, "load.power", false),
            (ItemScope::Pack, "element.rating", false),
            (ItemScope::Loads, "load.power", true),
            (ItemScope::RigElements(vec![ElementKind::Fuse]), "element.rating", true),
            (ItemScope::RigElements(vec![ElementKind::Fuse]), "load.power", false),
            (ItemScope::Tests, "branch.log", false),
        ] {
            assert_eq!(scope.fills(name), fits, "{scope:?} {name}");
        }
    }
}
