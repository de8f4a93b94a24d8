//! From TOML text to any part, collecting every problem on the way.
//!
//! The reader refuses unknown keys (with a did-you-mean), bare numbers where a unit is needed, wrong
//! dimensions, and sizes that cannot be (zero or negative thickness, a count of minus one). It goes
//! on after each problem, so that a person mends a file in one go. Tables and their keys are read here, what stands
//! behind a key in [`value`].

mod value;

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::{COMMON_KEYS, FieldInfo, Part};
use crate::record::field::{Found, How, Kind, State, Value};
use crate::record::problem::{Problem, Problems};
use crate::units::words::did_you_mean;

/// Largest record that is read. A full record with readings for hundreds of cells is far below.
pub const LARGEST: usize = 16 << 20;

/// Most parts of one kind (elements, tests, readings, photos): far more than a pack has, and what is still judged within
/// two seconds and 300 MB.
const MOST_PARTS: usize = 2_500;

/// The schema version this program reads and writes.
pub const SCHEMA: u32 = 2;

/// Reads any file that is declared as a part, such as a rule book.
pub(crate) fn document<P: Part>(
    file: &str,
    text: &str,
    check: impl FnOnce(&mut Reader, &P),
) -> Result<P, Problems> {
    if text.len() > LARGEST {
        let problem = Problem {
            span: 0..0,
            message: format!("the file is larger than {} MiB", LARGEST >> 20),
            expected: "a file of usual size".to_owned(),
            example: "readings from a log belong into logs/, not into the record".to_owned(),
        };
        return Err(Problems::new(file, "", vec![problem]));
    }
    let table = DeTable::parse(text).map_err(|error| {
        let problem = Problem {
            span: error.span().unwrap_or(0..0),
            message: error.message().to_owned(),
            expected: "this is not valid TOML".to_owned(),
            example: "a line is: key = \"value\"; a table starts with [name] or [[name]]".to_owned(),
        };
        Problems::new(file, text, vec![problem])
    })?;
    let mut reader = Reader { problems: Vec::new() };
    let part: P = reader.table(table.get_ref(), table.span());
    check(&mut reader, &part);
    if reader.problems.is_empty() { Ok(part) } else { Err(Problems::new(file, text, reader.problems)) }
}

/// Reads the value of one field from the text a person typed, as it would stand in the record.
///
/// # Errors
/// A [`Problem`] whose span counts from the start of the text.
pub fn read_answer(field: &FieldInfo, typed: &str) -> Result<State, Problem> {
    let mut reader = Reader { problems: Vec::new() };
    let typed = typed.trim();
    let state = match field.kind {
        Kind::Count => typed.parse::<u32>().map(|n| State::Known(Value::Count(n))).ok(),
        _ => None,
    };
    let state = state.unwrap_or_else(|| reader.state_of_text(typed, 0..typed.len(), field));
    match reader.problems.into_iter().next() {
        None => Ok(state),
        Some(problem) => Err(problem),
    }
}

/// The text of a key that a table cannot do without; its lack is noted at the table.
pub(crate) fn needed(
    problems: &mut Vec<Problem>,
    entry: &crate::record::Entry<crate::record::field::Text>,
    table: &Range<usize>,
    key: &str,
    example: &str,
) -> Option<String> {
    let text = entry.text().map(str::to_owned);
    if text.is_none() {
        let message = format!("`{key}` is missing");
        problems.push(Problem::at(table.clone(), message, "expected it in this table", example));
    }
    text
}

/// Collects problems while tables are read.
pub struct Reader {
    problems: Vec<Problem>,
}

impl Reader {
    pub(crate) fn problem(&mut self, span: Range<usize>, message: String, expected: &str, example: &str) {
        self.problems.push(Problem::at(span, message, expected, example));
    }

    /// A problem that makes all others beside the point.
    pub(crate) fn only_problem(
        &mut self,
        span: Range<usize>,
        message: String,
        expected: &str,
        example: &str,
    ) {
        self.problems.clear();
        self.problem(span, message, expected, example);
    }

    pub(crate) fn part<P: Part>(&mut self, value: &Spanned<DeValue<'_>>) -> P {
        if let DeValue::Table(table) = value.get_ref() {
            return self.table(table, value.span());
        }
        self.problem(
            value.span(),
            "expected a table here".to_owned(),
            "a table",
            "[bms]\nmarked_current = \"150 A\"",
        );
        P::default()
    }

    pub(crate) fn parts<P: Part>(&mut self, name: &str, value: &Spanned<DeValue<'_>>) -> Vec<P> {
        if let DeValue::Array(array) = value.get_ref() {
            if array.len() > MOST_PARTS {
                let message = format!("`{name}` has {} entries", array.len());
                let example = "readings from a log belong into logs/, not into the record";
                self.problem(value.span(), message, &format!("expected at most {MOST_PARTS}"), example);
                return Vec::new();
            }
            return array.iter().map(|value| self.part(value)).collect();
        }
        self.problem(
            value.span(),
            format!("`{name}` is a list of tables"),
            "expected double brackets",
            &format!("[[{name}]]"),
        );
        Vec::new()
    }

    fn table<P: Part>(&mut self, table: &DeTable<'_>, span: Range<usize>) -> P {
        let mut part = P::default();
        part.own_mut().span = span;
        self.own_keys(table, &mut part);
        for (key, value) in table {
            let name: &str = key.get_ref();
            let declared = P::SHAPE.fields.iter().any(|field| field.name == name);
            if !declared && COMMON_KEYS.iter().any(|(common, _)| *common == name) {
                continue;
            }
            if let Some(field) = P::SHAPE.fields.iter().find(|field| field.name == name) {
                let found = self.found(field, value, part.own().how, part.own().with.as_deref());
                if let Some(slot) = part.found_mut(name) {
                    *slot = found;
                }
            } else if P::SHAPE.children.iter().any(|child| child.name == name) {
                part.read_child(name, value, self);
            } else {
                self.unknown_key::<P>(name, key.span());
            }
        }
        part.finish(table, self);
        part
    }

    fn unknown_key<P: Part>(&mut self, name: &str, span: Range<usize>) {
        let known: Vec<&str> = P::SHAPE
            .fields
            .iter()
            .map(|field| field.name)
            .chain(P::SHAPE.children.iter().map(|child| child.name))
            .chain(COMMON_KEYS.iter().map(|(name, _)| *name))
            .collect();
        let expected = did_you_mean(name, known.iter().copied(), "no such key here");
        let example = format!("keys known here: {}", known.join(", "));
        let name: String = name.chars().take(60).collect();
        self.problem(span, format!("unknown key `{name}`"), &expected, &example);
    }

    fn own_keys<P: Part>(&mut self, table: &DeTable<'_>, part: &mut P) {
        for (key, value) in table {
            let name: &str = key.get_ref();
            // A field of the part goes before a key that all parts share: an inspection has a `video` of its own.
            if P::SHAPE.fields.iter().any(|field| field.name == name) {
                continue;
            }
            let own = part.own_mut();
            match name {
                "how" => own.how = self.how(value),
                "with" => own.with = self.text(value, "with", "with = \"clamp\""),
                "photos" => own.photos = self.list(value, "photos", "photos = [\"05-fuse.jpg\"]"),
                "note" => own.note = self.text(value, "note", "note = \"seen through the vent\""),
                "video" => own.video = self.text(value, "video", "video = \"12:40\""),
                _ => {}
            }
        }
    }

    fn how(&mut self, value: &Spanned<DeValue<'_>>) -> Option<How> {
        let word = self.text(value, "how", "how = \"measured\"")?;
        let how = How::from_word(&word);
        if how.is_none() {
            self.wrong_word(&word, How::WORDS, "how", value.span());
        }
        how
    }

    fn confirmed(&mut self, value: &Spanned<DeValue<'_>>) -> bool {
        match value.get_ref() {
            DeValue::Boolean(yes) => return *yes,
            DeValue::String(text) if matches!(text.trim(), "yes" | "true") => return true,
            DeValue::String(text) if matches!(text.trim(), "no" | "false") => return false,
            _ => {}
        }
        self.problem(
            value.span(),
            "`confirmed` is yes or no".to_owned(),
            "expected true where you looked again and stand by the value",
            "confirmed = true",
        );
        false
    }

    fn text(&mut self, value: &Spanned<DeValue<'_>>, name: &str, example: &str) -> Option<String> {
        if let DeValue::String(text) = value.get_ref() {
            return Some(text.trim().to_owned());
        }
        self.problem(value.span(), format!("`{name}` is a text"), "expected text in quotes", example);
        None
    }

    fn list(&mut self, value: &Spanned<DeValue<'_>>, name: &str, example: &str) -> Vec<String> {
        match value.get_ref() {
            DeValue::String(text) => vec![text.trim().to_owned()],
            DeValue::Array(items) => items.iter().filter_map(|item| self.text(item, name, example)).collect(),
            _ => {
                self.problem(
                    value.span(),
                    format!("`{name}` is a list"),
                    "expected a list of texts",
                    example,
                );
                Vec::new()
            }
        }
    }

    fn found(
        &mut self,
        field: &FieldInfo,
        value: &Spanned<DeValue<'_>>,
        how: Option<How>,
        with: Option<&str>,
    ) -> Found {
        // An instrument measures quantities; a word, a text or a date beside them was not measured with it.
        let measurable = matches!(
            field.kind,
            Kind::Quantity(_) | Kind::AnyQuantity | Kind::Section | Kind::Size | Kind::Count
        );
        let with = with.filter(|_| measurable).map(str::to_owned);
        let how = how.or(with.as_ref().map(|_| How::Measured));
        let mut found = Found { how, with, span: value.span(), ..Found::default() };
        let DeValue::Table(table) = value.get_ref() else {
            found.state = self.state(field, value);
            return found;
        };
        let mut stated = false;
        let (mut own_how, mut own_with) = (false, false);
        for (key, inner) in table {
            let name: &str = key.get_ref();
            match name {
                "value" => {
                    found.state = self.state(field, inner);
                    found.span = inner.span();
                    stated = true;
                }
                "how" => {
                    found.how = self.how(inner);
                    own_how = true;
                }
                "with" => {
                    found.with = self.text(inner, "with", "with = \"clamp\"");
                    own_with = found.with.is_some();
                }
                "photos" => found.photos = self.list(inner, "photos", "photos = [\"05-fuse.jpg\"]"),
                "note" => found.note = self.text(inner, "note", "note = \"worn print\""),
                "confirmed" => found.confirmed = self.confirmed(inner),
                other => {
                    let keys = ["value", "how", "with", "photos", "note", "confirmed"];
                    self.problem(
                        key.span(),
                        format!("unknown key `{other}`"),
                        &did_you_mean(other, keys, "no such key here"),
                        "keys known here: value, how, with, photos, note, confirmed",
                    );
                }
            }
        }
        // A value with an instrument of its own was measured with it, whatever holds for the rest of its part.
        if own_with && !own_how {
            found.how = Some(How::Measured);
        }
        if !stated {
            let example = format!("{} = {{ value = \"{}\", how = \"measured\" }}", field.name, field.example);
            self.problem(
                value.span(),
                format!("`{}` has no value", field.name),
                "expected `value`",
                &example,
            );
        }
        found
    }
}
