//! Keys of the record as `[withhold] fields` names them: `inspection.place`, `path.element.marking` for all elements,
//! `path.element.main-fuse.marking` for one.

use crate::record::{AnyPart, Inner, Part, Record, Shape};
use crate::units::words::nearest;

/// Keys that every part has and that hold text worth withholding.
const OWN_KEYS: [&str; 4] = ["note", "video", "photos", "with"];
/// Fields by which one part of a list can be chosen, besides its number counted from 1.
const CHOSEN_BY: [&str; 5] = ["id", "file", "name", "position", "of"];

/// A field, in one part or in all parts of its list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct FieldRef {
    /// Parts on the way, each with the one of its list that is meant.
    steps: Vec<(&'static str, Option<String>)>,
    /// The field, or a key that every part has.
    pub(super) field: &'static str,
}

/// Why a key names no field.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct NoField {
    /// A key that may have been meant.
    pub(super) near: Option<String>,
}

impl FieldRef {
    pub(super) fn parse(key: &str) -> Result<Self, NoField> {
        let key = key.trim();
        let mut steps = Vec::new();
        match resolve(Record::SHAPE, key, &mut steps) {
            // What is withheld is not itself withheld, and an output without its schema says nothing.
            Some(field) if steps.first().is_none_or(|(part, _)| *part != "withhold") && field != "schema" => {
                Ok(Self { steps, field })
            }
            _ => {
                let all = all_keys();
                Err(NoField { near: nearest(key, all.iter().map(String::as_str)).map(str::to_owned) })
            }
        }
    }

    /// True when no single part of a list was chosen, so that a list without parts is no slip of the pen.
    pub(super) fn is_whole_list(&self) -> bool {
        self.steps.iter().all(|(_, chosen)| chosen.is_none())
    }

    /// Calls `visit` with every part that has the field; how many there are.
    pub(super) fn each(&self, record: &mut Record, visit: &mut dyn FnMut(&mut dyn AnyPart)) -> usize {
        descend(record, &self.steps, visit)
    }
}

fn descend(
    part: &mut dyn AnyPart,
    steps: &[(&'static str, Option<String>)],
    visit: &mut dyn FnMut(&mut dyn AnyPart),
) -> usize {
    let Some(((name, chosen), rest)) = steps.split_first() else {
        visit(part);
        return 1;
    };
    part.parts_inside()
        .into_iter()
        .filter(|inner| {
            inner.name == *name && chosen.as_deref().is_none_or(|chosen| is_chosen(inner, chosen))
        })
        .map(|inner| descend(inner.part, rest, visit))
        .sum()
}

fn is_chosen(inner: &Inner<'_>, chosen: &str) -> bool {
    let by_number = inner.index.is_some_and(|index| chosen == (index + 1).to_string());
    by_number
        || CHOSEN_BY.iter().any(|key| {
            let Some(value) = inner.part.field(key).and_then(crate::record::Found::value) else {
                return false;
            };
            let text = value.show();
            text == chosen || (*key == "file" && text.rsplit('/').next() == Some(chosen))
        })
}

/// Follows a key from a shape to the field it names, noting the parts on the way.
fn resolve(
    shape: Shape,
    rest: &str,
    steps: &mut Vec<(&'static str, Option<String>)>,
) -> Option<&'static str> {
    if let Some(field) = shape.fields.iter().find(|field| field.name == rest) {
        return Some(field.name);
    }
    // The record as a whole is no part that is shown.
    if let Some(own) = OWN_KEYS.iter().find(|own| **own == rest && !steps.is_empty()) {
        return Some(own);
    }
    for child in shape.children {
        let Some(rest) = rest.strip_prefix(child.name).and_then(|rest| rest.strip_prefix('.')) else {
            continue;
        };
        // The whole list first; an id may itself contain dots.
        let splits = rest.match_indices('.').filter(|_| child.many);
        let ways = std::iter::once((None, rest))
            .chain(splits.filter_map(|(at, _)| Some((Some(rest.get(..at)?), rest.get(at + 1..)?))));
        for (chosen, rest) in ways {
            steps.push((child.name, chosen.map(str::to_owned)));
            if let Some(field) = resolve((child.shape)(), rest, steps) {
                return Some(field);
            }
            steps.pop();
        }
    }
    None
}

/// Every key that may be named, without choosing one of a list.
fn all_keys() -> Vec<String> {
    fn collect(prefix: &str, shape: Shape, keys: &mut Vec<String>) {
        keys.extend(shape.fields.iter().map(|field| format!("{prefix}{}", field.name)));
        if !prefix.is_empty() {
            keys.extend(OWN_KEYS.iter().map(|own| format!("{prefix}{own}")));
        }
        for child in shape.children.iter().filter(|child| child.name != "withhold") {
            collect(&format!("{prefix}{}.", child.name), (child.shape)(), keys);
        }
    }
    let mut keys = Vec::new();
    collect("", Record::SHAPE, &mut keys);
    keys
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_are_resolved_or_refused_with_the_nearest() {
        let parts = |key: &str| {
            FieldRef::parse(key).map(|found| {
                let steps: Vec<String> = found
                    .steps
                    .iter()
                    .map(|(part, chosen)| match chosen {
                        Some(chosen) => format!("{part}={chosen}"),
                        None => (*part).to_owned(),
                    })
                    .collect();
                (steps.join("/"), found.field)
            })
        };
        for (key, way, field) in [
            ("inspection.place", "inspection", "place"),
            ("notes", "", "notes"),
            ("path.element.marking", "path/element", "marking"),
            ("path.element.main.fuse.marking", "path/element=main.fuse", "marking"),
            ("path.element.3.note", "path/element=3", "note"),
            ("claims.statement.marine.text", "claims/statement=marine", "text"),
            ("photo.caption", "photo", "caption"),
        ] {
            assert_eq!(parts(key), Ok((way.to_owned(), field)), "{key}");
        }
        for (key, near) in [
            ("inspection.pace", Some("inspection.place")),
            ("cell.marking", Some("cells.marking")),
            ("withhold.texts", None),
            ("schema", None),
            ("", None),
            ("inspection", None),
        ] {
            assert_eq!(parts(key), Err(NoField { near: near.map(str::to_owned) }), "{key}");
        }
    }

    #[test]
    fn one_of_a_list_or_all_of_it() {
        let text = "schema = 2\n[[path.element]]\nid = \"a\"\nkind = \"busbar\"\n[[path.element]]\nid = \"b.c\"\nkind = \"fuse\"\n";
        let mut record = crate::record::read("r", text).unwrap();
        for (key, number) in [
            ("path.element.name", 2),
            ("path.element.a.name", 1),
            ("path.element.b.c.name", 1),
            ("path.element.2.name", 1),
            ("path.element.d.name", 0),
        ] {
            let mut seen = 0;
            assert_eq!(FieldRef::parse(key).unwrap().each(&mut record, &mut |_| seen += 1), number, "{key}");
            assert_eq!(seen, number);
        }
    }
}
