//! What is called otherwise since an earlier schema: the one list that `migrate`, the rule book, templates and the
//! command line read, so that an old word gets the new one named and never a shrug.

/// Where a word is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Place {
    /// A key of the record, as a dotted path.
    Key,
    /// A name in a rule, a limit or a template.
    Name,
    Command,
}

/// One word and what it is called now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Renamed {
    pub place: Place,
    /// The old word; of a key the whole path.
    pub old: &'static str,
    /// The new word; of a key only its last part, which stays where it is.
    pub new: &'static str,
}

/// Everything renamed between schema 1 and [`SCHEMA`](super::SCHEMA).
pub(crate) const RENAMED: &[Renamed] = &[
    Renamed { place: Place::Key, old: "redact", new: "withhold" },
    Renamed { place: Place::Name, old: "element.capability", new: "element.permissible_current" },
    Renamed { place: Place::Name, old: "path.capability", new: "path.permissible_current" },
    Renamed { place: Place::Name, old: "path.short_circuit_agrees", new: "path.short_circuit_error" },
    Renamed { place: Place::Name, old: "test.held", new: "test.held_for" },
    Renamed { place: Place::Name, old: "test.blocked", new: "test.cold_charge_current" },
    Renamed { place: Place::Name, old: "test.gauge_agrees", new: "test.gauge_error" },
    Renamed { place: Place::Name, old: "test.branches_agree", new: "test.branch_error" },
    Renamed { place: Place::Command, old: "appendix", new: "video-kit" },
];

/// What an old word is called now.
pub(crate) fn new_word(place: Place, old: &str) -> Option<&'static str> {
    RENAMED.iter().find(|renamed| renamed.place == place && renamed.old == old).map(|renamed| renamed.new)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::{Part, Record, Shape};

    fn has_key(shape: Shape, path: &[&str]) -> bool {
        match path {
            [] => false,
            [last] => {
                shape.fields.iter().any(|field| field.name == *last)
                    || shape.children.iter().any(|child| child.name == *last)
            }
            [first, rest @ ..] => {
                let child = shape.children.iter().find(|child| child.name == *first);
                child.is_some_and(|child| has_key((child.shape)(), rest))
            }
        }
    }

    /// A key that is in the schema still, or a new one that is not, would make `migrate` damage a record.
    #[test]
    fn old_keys_are_gone_and_new_ones_are_there() {
        for renamed in RENAMED.iter().filter(|renamed| renamed.place == Place::Key) {
            let mut path: Vec<&str> = renamed.old.split('.').collect();
            assert!(!has_key(Record::SHAPE, &path), "{} is a key still", renamed.old);
            path.pop();
            path.push(renamed.new);
            assert!(has_key(Record::SHAPE, &path), "{} is no key", path.join("."));
        }
    }

    #[test]
    fn an_old_word_stands_once() {
        for (number, one) in RENAMED.iter().enumerate() {
            let again =
                RENAMED[number + 1..].iter().any(|other| (other.place, other.old) == (one.place, one.old));
            assert!(!again, "{}", one.old);
        }
    }
}
