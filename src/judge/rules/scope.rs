//! What a rule or a checklist item is applied to each of.

use std::ops::Range;

use crate::record::parts::{ElementKind, ElementTrait};
use crate::record::problem::Problem;
use crate::units::words::{did_you_mean, list, nearest};

/// What a rule or a checklist item is applied to each of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Scope {
    /// Once, to the pack.
    Pack,
    /// To each element of these kinds.
    Elements(Vec<ElementKind>),
    /// To each claim in words.
    Statements,
    /// To each layer of the heat path.
    Layers,
    /// To each reading of a cell or parallel group.
    Readings,
    /// To each photo.
    Photos,
    /// To each bench test.
    Tests,
    /// To each instrument.
    Instruments,
    /// Once, to the test rig.
    Rig,
    /// To the source of the test rig, with its leads.
    Source,
    /// To each load of the test rig.
    Loads,
    /// To each meter of the test rig.
    Meters,
    /// To each element of the test rig of these kinds, those of the loads and of the source included.
    RigElements(Vec<ElementKind>),
}

/// How elements of the rig are told from those of the pack: `rig-cable`.
const RIG: &str = "rig-";

const LIST_PARTS: &[(&str, Scope)] = &[
    ("statement", Scope::Statements),
    ("layer", Scope::Layers),
    ("reading", Scope::Readings),
    ("photo", Scope::Photos),
    ("test", Scope::Tests),
    ("instrument", Scope::Instruments),
    ("rig", Scope::Rig),
    ("source", Scope::Source),
    ("load", Scope::Loads),
    ("meter", Scope::Meters),
];

impl Scope {
    /// The scope of an `each` list: kinds of element, what several kinds have in common, `element` for all of them,
    /// or one list part. An empty list is the pack.
    ///
    /// # Errors
    /// A word that is no part of a record, told at `span`.
    pub(crate) fn of(each: &[String], span: &Range<usize>) -> Result<Self, Problem> {
        if let [only] = each
            && let Some((_, scope)) = LIST_PARTS.iter().find(|(name, _)| name == only)
        {
            return Ok(scope.clone());
        }
        if each.iter().any(|word| word.starts_with(RIG)) {
            return Self::of_rig(each, span);
        }
        let mut kinds = Vec::new();
        for wanted in each {
            if let Some(named) = kinds_named(wanted) {
                kinds.extend(named);
            } else {
                let known = kind_words().chain(LIST_PARTS.iter().map(|p| p.0));
                let expected = did_you_mean(wanted, known, "expected a kind of element");
                let message = format!("`{wanted}` is no part of a record");
                return Err(Problem::at(span.clone(), message, &expected, "each = [\"fuse\"]"));
            }
        }
        kinds.sort_unstable();
        kinds.dedup();
        Ok(if each.is_empty() { Self::Pack } else { Self::Elements(kinds) })
    }

    fn of_rig(each: &[String], span: &Range<usize>) -> Result<Self, Problem> {
        let in_rig = |kind: &ElementKind| kind.has(ElementTrait::InRig);
        let of_rig = |word| kinds_named(word).filter(|kinds| kinds.iter().any(in_rig));
        let known = || kind_words().filter(|word| of_rig(word).is_some());
        let mut kinds = Vec::new();
        for wanted in each {
            let kind = wanted.strip_prefix(RIG).unwrap_or(wanted);
            if let Some(named) = of_rig(kind).filter(|_| wanted.starts_with(RIG)) {
                kinds.extend(named.into_iter().filter(in_rig));
            } else {
                let meant = known().find(|known| *known == kind).or_else(|| nearest(kind, known()));
                let expected = meant.map_or_else(
                    || "expected a kind of element that a rig has".to_owned(),
                    |near| format!("did you mean `{RIG}{near}`?"),
                );
                let message = format!("`{wanted}` is no part of a test rig");
                return Err(Problem::at(span.clone(), message, &expected, "each = [\"rig-cable\"]"));
            }
        }
        kinds.sort_unstable();
        kinds.dedup();
        Ok(Self::RigElements(kinds))
    }

    /// True where it is applied to the test rig or a part of it, which `plan` judges.
    pub(crate) const fn of_the_rig(&self) -> bool {
        matches!(self, Self::Rig | Self::Source | Self::Loads | Self::Meters | Self::RigElements(_))
    }

    /// What it is applied to, as a person would say it.
    pub fn words(&self) -> String {
        let each = match self {
            Self::Pack => return "the pack".to_owned(),
            Self::Rig => return "the test rig".to_owned(),
            Self::Source => return "the source of the test rig".to_owned(),
            Self::Elements(kinds) => return format!("each {}", kinds_in_words(kinds)),
            Self::RigElements(kinds) => return format!("each {} of the test rig", kinds_in_words(kinds)),
            Self::Statements => "claim in words",
            Self::Layers => "layer of the heat path",
            Self::Readings => "cell reading",
            Self::Photos => "photo",
            Self::Tests => "bench test",
            Self::Instruments => "instrument",
            Self::Loads => "load of the test rig",
            Self::Meters => "meter of the test rig",
        };
        format!("each {each}")
    }

    /// True when a name may stand in an expression of this scope: names of list parts are known only where there is
    /// one of them at hand.
    pub(crate) fn knows(&self, name: &str) -> bool {
        let head = name.split('.').next().unwrap_or_default();
        match head {
            "element" => matches!(self, Self::Elements(_) | Self::RigElements(_)),
            "rig" => self.of_the_rig(),
            "circuit" => matches!(self, Self::RigElements(_)),
            // What a data sheet says of a fuse comes in by what its circuit lets through.
            "item" | "clearing" => false,
            "limit" => true,
            // A circuit of the rig stands in the place of the pack's path: nothing else of the pack is known there.
            _ if matches!(self, Self::RigElements(_)) => false,
            _ => LIST_PARTS.iter().find(|(part, _)| *part == head).is_none_or(|(_, part)| part == self),
        }
    }
}

/// The kinds of element that a word of an `each` list names: one, those with something in common, or all.
pub(crate) fn kinds_named(word: &str) -> Option<Vec<ElementKind>> {
    if word == "element" {
        return Some(ElementKind::ALL.to_vec());
    }
    let alone = ElementKind::from_word(word).map(|kind| vec![kind]);
    alone.or_else(|| ElementTrait::from_word(word).map(|wanted| ElementKind::with(wanted).collect()))
}

fn kinds_in_words(kinds: &[ElementKind]) -> String {
    list(&kinds.iter().map(|kind| kind.word()).collect::<Vec<_>>(), "or")
}

/// The words that [`kinds_named`] knows.
pub(crate) fn kind_words() -> impl Iterator<Item = &'static str> {
    let traits = ElementTrait::ALL.into_iter().map(ElementTrait::word);
    ElementKind::ALL.into_iter().map(ElementKind::word).chain(traits).chain(["element"])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scopes_and_the_names_they_know() {
        let of = |words: &[&str]| {
            Scope::of(&words.iter().map(|w| (*w).to_owned()).collect::<Vec<_>>(), &(3..9)).map_err(
                |problem| {
                    assert_eq!(problem.span, 3..9);
                    (problem.message, problem.expected)
                },
            )
        };
        assert_eq!(of(&[]), Ok(Scope::Pack));
        assert_eq!(of(&["test"]), Ok(Scope::Tests));
        assert_eq!(
            of(&["fuse", "busbar"]),
            Ok(Scope::Elements(vec![ElementKind::Busbar, ElementKind::Fuse]))
        );
        let interrupting = vec![ElementKind::Fuse, ElementKind::CircuitBreaker];
        assert_eq!(of(&["interrupts a fault", "fuse"]), Ok(Scope::Elements(interrupting)));
        assert_eq!(
            of(&["fuze"]),
            Err(("`fuze` is no part of a record".to_owned(), "did you mean `fuse`?".to_owned()))
        );
        assert_eq!(
            of(&["rig-fuse", "rig-cable"]),
            Ok(Scope::RigElements(vec![ElementKind::Cable, ElementKind::Fuse]))
        );
        let Ok(Scope::RigElements(all)) = of(&["rig-element"]) else { panic!("rig-element") };
        assert!(all.contains(&ElementKind::Shunt) && !all.contains(&ElementKind::Bms), "{all:?}");
        for (words, says) in [
            (&["rig-bms"][..], "`rig-bms` is no part of a test rig"),
            (&["rig-cabel"], "did you mean `rig-cable`"),
            (&["rig-fuse", "cable"], "did you mean `rig-cable`"),
            (&["fuse", "load"], "`load` is no part of a record"),
        ] {
            let (message, expected) = of(words).unwrap_err();
            assert!(format!("{message}; {expected}").contains(says), "{words:?}: {message}; {expected}");
        }
        for (scope, name, knows) in [
            (Scope::Pack, "claims.capacity", true),
            (Scope::Pack, "element.rating", false),
            (Scope::Elements(vec![ElementKind::Fuse]), "element.rating", true),
            (Scope::Pack, "test.held_for", false),
            (Scope::Tests, "test.held_for", true),
            (Scope::Tests, "item.answer", false),
            (Scope::Pack, "rig.highest_voltage", false),
            (Scope::Loads, "rig.highest_voltage", true),
            (Scope::Loads, "meter.reads", false),
            (Scope::Source, "claims.charge_current", true),
            (Scope::RigElements(vec![ElementKind::Fuse]), "element.rating", true),
            (Scope::RigElements(vec![ElementKind::Fuse]), "circuit.current", true),
            (Scope::RigElements(vec![ElementKind::Fuse]), "claims.capacity", false),
            (Scope::Elements(vec![ElementKind::Fuse]), "circuit.current", false),
        ] {
            assert_eq!(scope.knows(name), knows, "{name}");
        }
    }
}
