//! From TOML text to a [`Record`]: any record is read as its parts are, and says which version of the schema it has.

use super::area;
use super::field::State;
use super::part::{Reader, SCHEMA, document};
use super::parts::Record;
use crate::record::problem::Problems;

/// Reads a record from its text; `file` names it in messages.
///
/// ```
/// let record = underlid::record::read("example", "schema = 2\n[claims]\ncapacity = \"150 Ah\"\n")?;
/// assert_eq!(record.claims.capacity.found().show(), "150 Ah");
///
/// // Every problem at once, each with its place and a way out.
/// let wrong = underlid::record::read("example", "schema = 2\n[claims]\ncapcity = 150\n").unwrap_err();
/// assert_eq!(wrong.list()[0].expected, "did you mean `capacity`?");
/// # Ok::<(), underlid::record::problem::Problems>(())
/// ```
///
/// # Errors
/// [`Problems`], with every place that is wrong.
pub fn read(file: &str, text: &str) -> Result<Record, Problems> {
    document(file, text, |reader, record| {
        check_schema(reader, record);
        check_pointers(reader, record);
    })
}

/// A pointer that points nowhere would leave its part out of the picture without a word.
fn check_pointers(reader: &mut Reader, record: &Record) {
    for pointer in record.photo.iter().flat_map(|photo| &photo.pointer) {
        let sides = [&pointer.left, &pointer.top, &pointer.width, &pointer.height];
        if let Err(problem) = area::read(&pointer.own, sides, true) {
            reader.problem(problem.span, problem.message, &problem.expected, &problem.example);
        }
        if pointer.of.text().is_none() {
            let message = "this pointer does not say what it points to".to_owned();
            reader.problem(
                pointer.own.span.clone(),
                message,
                "expected an element or a part",
                "of = \"main-fuse\"",
            );
        }
    }
}

fn check_schema(reader: &mut Reader, record: &Record) {
    let found = record.schema.found();
    match record.schema.count() {
        Some(SCHEMA) => {}
        Some(older) if older > 0 && older < SCHEMA => reader.only_problem(
            found.span.clone(),
            format!("this record has schema version {older}, this program reads version {SCHEMA}"),
            "an earlier version",
            "`underlid migrate DIR` rewrites it, says what it changes, and keeps a copy",
        ),
        Some(other) => reader.problem(
            found.span.clone(),
            format!("this record has schema version {other}, this program reads version {SCHEMA}"),
            "expected a version this program knows",
            "schema = 2",
        ),
        None if found.state == State::NotLooked && found.span.is_empty() => reader.problem(
            0..0,
            "the record does not say which schema version it has".to_owned(),
            "expected this as the first line",
            "schema = 2",
        ),
        None => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::{How, Part};

    /// How a value came: its own word first, then its own instrument, then what its part says.
    #[test]
    fn an_instrument_of_its_own_means_measured() {
        for (part, field, how, with) in [
            ("how = \"marked\"", "\"0.21 mΩ\"", Some(How::Marked), None),
            (
                "how = \"marked\"",
                "{ value = \"0.21 mΩ\", with = \"meter\" }",
                Some(How::Measured),
                Some("meter"),
            ),
            (
                "how = \"seen\"",
                "{ value = \"0.21 mΩ\", with = \"meter\", how = \"estimated\" }",
                Some(How::Estimated),
                Some("meter"),
            ),
            ("with = \"meter\"", "\"0.21 mΩ\"", Some(How::Measured), Some("meter")),
            (
                "with = \"meter\"",
                "{ value = \"0.21 mΩ\", how = \"marked\" }",
                Some(How::Marked),
                Some("meter"),
            ),
            ("", "\"0.21 mΩ\"", None, None),
        ] {
            let text = format!(
                "schema = 2\n[[instrument]]\nid = \"meter\"\n[[path.element]]\nid = \"bar\"\nkind = \"busbar\"\n{part}\nresistance = {field}\n"
            );
            let record = read("record", &text).unwrap();
            let found = record.path.element[0].found("resistance").unwrap();
            assert_eq!((found.how, found.with.as_deref()), (how, with), "{part}; {field}");
        }
    }
}
