//! What a rule or a checklist item is applied to each of.

use std::ops::Range;

use crate::record::parts::ELEMENT_KINDS;
use crate::record::problem::Problem;
use crate::units::words::nearest;

/// What a rule or a checklist item is applied to each of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Scope {
    /// Once, to the pack.
    Pack,
    /// To each element of these kinds.
    Elements(Vec<&'static str>),
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
}

const LIST_PARTS: &[(&str, Scope)] = &[
    ("statement", Scope::Statements),
    ("layer", Scope::Layers),
    ("reading", Scope::Readings),
    ("photo", Scope::Photos),
    ("test", Scope::Tests),
    ("instrument", Scope::Instruments),
];

impl Scope {
    /// The scope of an `each` list: kinds of element, `element` for all of them, or one list part. An empty list
    /// is the pack.
    ///
    /// # Errors
    /// A word that is no part of a record, told at `span`.
    pub(crate) fn of(each: &[String], span: &Range<usize>) -> Result<Self, Problem> {
        if let [only] = each
            && let Some((_, scope)) = LIST_PARTS.iter().find(|(name, _)| name == only)
        {
            return Ok(scope.clone());
        }
        let mut kinds = Vec::new();
        for wanted in each {
            if wanted == "element" {
                kinds.extend(ELEMENT_KINDS.iter().map(|w| w.word));
            } else if let Some(kind) = ELEMENT_KINDS.iter().find(|w| w.word == wanted) {
                kinds.push(kind.word);
            } else {
                let known = ELEMENT_KINDS.iter().map(|w| w.word).chain(LIST_PARTS.iter().map(|p| p.0));
                let expected = nearest(wanted, known).map_or_else(
                    || "expected a kind of element".to_owned(),
                    |n| format!("did you mean `{n}`?"),
                );
                let message = format!("`{wanted}` is no part of a record");
                return Err(Problem::at(span.clone(), message, &expected, "each = [\"fuse\"]"));
            }
        }
        Ok(if each.is_empty() { Self::Pack } else { Self::Elements(kinds) })
    }

    /// True when a name may stand in an expression of this scope: names of list parts are known only where there is
    /// one of them at hand.
    pub(crate) fn knows(&self, name: &str) -> bool {
        let head = name.split('.').next().unwrap_or_default();
        match head {
            "element" => matches!(self, Self::Elements(_)),
            "item" => false,
            _ => LIST_PARTS.iter().find(|(part, _)| *part == head).is_none_or(|(_, part)| part == self),
        }
    }
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
        assert_eq!(of(&["fuse", "busbar"]), Ok(Scope::Elements(vec!["fuse", "busbar"])));
        assert_eq!(
            of(&["fuze"]),
            Err(("`fuze` is no part of a record".to_owned(), "did you mean `fuse`?".to_owned()))
        );
        for (scope, name, knows) in [
            (Scope::Pack, "claims.capacity", true),
            (Scope::Pack, "element.rating", false),
            (Scope::Elements(vec!["fuse"]), "element.rating", true),
            (Scope::Pack, "test.held_for", false),
            (Scope::Tests, "test.held_for", true),
            (Scope::Tests, "item.answer", false),
        ] {
            assert_eq!(scope.knows(name), knows, "{name}");
        }
    }
}
