//! Texts that are nearly what is withheld: a serial number with one digit changed, a name with a letter too few. They may be
//! slips of the pen for the same thing, or something else: nobody can tell but whoever wrote them.

use std::ops::Range;

use super::fold::{Finder, Folded};
use crate::record::{AnyPart, Record, State, Value};

/// A text with fewer letters and digits is near to too much.
const SHORTEST: usize = 6;
/// One letter in so many may differ.
const LETTERS_A_SLIP: usize = 6;
/// At most this many are shown.
const MOST: usize = 50;

/// A text of the record that is nearly one that is withheld.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Near {
    /// Where it stands, as `path.element[2].note`.
    pub path: String,
    /// The bytes of the record in which the field stands; nothing for a remark on a part.
    pub span: Range<usize>,
    /// As it is written.
    pub text: String,
    /// What it is near to, without saying it.
    pub which: String,
}

pub(super) fn near_misses(texts: &Finder, which: &[String], published: &Record) -> Vec<Near> {
    let wanted: Vec<(usize, Vec<char>)> = texts
        .letters()
        .map(|(number, text)| (number, text.chars().collect::<Vec<char>>()))
        .filter(|(_, letters)| letters.len() >= SHORTEST)
        .collect();
    let mut found = Vec::new();
    if !wanted.is_empty() {
        let mut look = |path: &str, span: &Range<usize>, text: &str| {
            for (number, text) in near_in(&wanted, text) {
                let near = Near {
                    path: path.to_owned(),
                    span: span.clone(),
                    text,
                    which: which.get(number).cloned().unwrap_or_default(),
                };
                // Several forms of one text are near to one place.
                if found.len() < MOST
                    && !found.iter().any(|known: &Near| known.path == near.path && known.text == near.text)
                {
                    found.push(near);
                }
            }
        };
        walk("", &mut published.clone(), &mut look);
    }
    found
}

fn walk(prefix: &str, part: &mut dyn AnyPart, look: &mut dyn FnMut(&str, &Range<usize>, &str)) {
    for field in part.shape().fields {
        let Some(found) = part.field(field.name) else { continue };
        let path = format!("{prefix}{}", field.name);
        let values: &[String] = match &found.state {
            State::Known(Value::Text(text)) => std::slice::from_ref(text),
            State::Known(Value::List(items)) => items,
            _ => &[],
        };
        for text in values.iter().chain(&found.note).chain(&found.photos) {
            look(&path, &found.span, text);
        }
    }
    let own = part.said_of_itself();
    for text in own.note.iter().chain(&own.photos).chain(&own.with) {
        look(&format!("{prefix}note"), &own.span, text);
    }
    for inner in part.parts_inside() {
        let place = inner.index.map_or_else(String::new, |index| format!("[{}]", index + 1));
        walk(&format!("{prefix}{}{place}.", inner.name), inner.part, look);
    }
}

/// Runs of words that have nearly the letters of a text, each with the number of the text.
fn near_in(wanted: &[(usize, Vec<char>)], text: &str) -> Vec<(usize, String)> {
    let words = Folded::of(text).words();
    let mut near = Vec::new();
    for (number, letters) in wanted {
        let slips = letters.len() / LETTERS_A_SLIP;
        for from in 0..words.len() {
            let mut run: Vec<char> = Vec::new();
            for (word, bytes) in &words[from..] {
                run.extend(word);
                if run.len() > letters.len() + slips {
                    break;
                }
                if run.len() + slips < letters.len() || run == *letters {
                    continue;
                }
                let (one, other): (String, String) = (run.iter().collect(), letters.iter().collect());
                if strsim::damerau_levenshtein(&one, &other) <= slips {
                    let bytes = words[from].1.start..bytes.end;
                    near.extend(text.get(bytes).map(|text| (*number, text.to_owned())));
                    break;
                }
            }
        }
    }
    near
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slips_of_the_pen_are_found_and_other_things_are_not() {
        for (wanted, text, expected) in [
            ("MB-2026-0417", "see MB-2026-0418 too", Some("MB-2026-0418")),
            ("MB-2026-0417", "mb 2026 417", Some("mb 2026 417")),
            ("MB-2026-0417", "MB-2025-0399", None),
            ("Jane Doering", "by Jane Dörring", Some("Jane Dörring")),
            ("Jane Doering", "by John Doe", None),
            ("Ann", "Ane", None),
        ] {
            let letters: Vec<char> =
                Folded::of(wanted).words().into_iter().flat_map(|(word, _)| word).collect();
            let wanted: Vec<_> = [(0, letters)].into_iter().filter(|(_, l)| l.len() >= SHORTEST).collect();
            let found = near_in(&wanted, text).into_iter().next().map(|(_, text)| text);
            assert_eq!(found.as_deref(), expected, "{text}");
        }
    }
}
