//! Parts that are written whole in one line: readings, branches and sensors of a bench test, what the rig's instruments
//! read, places on photos to black out.
//!
//! Each is short, belongs to something that is there, and would be tedious as questions of their own. What a line says is
//! shown as it was understood, and the record's own reader refuses what does not fit.

use super::photo;
use super::question::{Question, form};
use super::sight::FillError;
use super::subject::Of;
use crate::fill::checklist::{Adds, Scope};
use crate::judge::bench_test::PLACES;
use crate::judge::facts::field_info;
use crate::record::edit::{Edit, Place};
use crate::record::parts::Leg;
use crate::record::{Kind, Record};
use crate::units::words::hint;

/// Parts that one answer may add.
pub(super) const MOST_ADDED: usize = 64;

/// What is to be added, and where.
pub(super) struct Wanted {
    pub(super) adds: Adds,
    /// The leg of elements.
    pub(super) leg: Option<Leg>,
    /// The test or the load that the parts belong to.
    pub(super) of: Of,
    /// The element behind which elements go.
    pub(super) behind: Option<usize>,
}

impl Wanted {
    /// What the answer to a question adds.
    pub(super) fn by(question: &Question, adds: Adds) -> Self {
        Self { adds, leg: question.item.leg, of: question.of_what, behind: None }
    }

    pub(super) const fn plain(adds: Adds) -> Self {
        Self { adds, leg: None, of: Of::Pack, behind: None }
    }
}

/// Keys and values of a part, as they are written.
type Fields = Vec<(String, String)>;

/// The words that a field takes.
pub(super) fn words_of(name: &str) -> Vec<&'static str> {
    match field_info(name).map(|info| info.kind) {
        Some(Kind::Word(words)) => words.iter().map(|word| word.word).collect(),
        _ => Vec::new(),
    }
}

/// The fields of a part that is written in one line.
pub(super) fn fields(record: &Record, adds: Adds, line: &str) -> Result<Fields, FillError> {
    let fields = match adds {
        Adds::Meters => meter(line),
        Adds::Branches => branch(line),
        Adds::Sensors => return sensor(record, line),
        Adds::Areas => return area(record, line),
        _ => None,
    };
    fields.ok_or_else(|| FillError::Words(format!("`{line}`: expected {}", form(adds))))
}

/// What was understood of a line.
pub(super) fn said(fields: &[(String, String)]) -> String {
    let all: Vec<String> = fields.iter().map(|(key, value)| format!("{key} {value}")).collect();
    all.join(", ")
}

/// Keys with their values, unless one of these is empty.
fn pairs(pairs: &[(&str, &str)]) -> Option<Fields> {
    let trimmed = pairs.iter().map(|(key, value)| ((*key).to_owned(), value.trim().to_owned()));
    let fields: Fields = trimmed.collect();
    fields.iter().all(|(_, value)| !value.is_empty()).then_some(fields)
}

/// `branch current = clamp-2 300 A of inverter`.
fn meter(line: &str) -> Option<Fields> {
    let (reads, rest) = line.split_once('=')?;
    let (reads, rest) = (reads.trim(), rest.trim());
    let mut begun = words_of("meter.reads").into_iter().filter(|word| word.starts_with(reads));
    let reads = begun.next().filter(|_| !reads.is_empty() && begun.next().is_none())?;
    let (rest, load) = match rest.rsplit_once(" of ") {
        Some((rest, load)) => (rest.trim(), Some(load)),
        None => (rest, None),
    };
    let (instrument, range) =
        rest.split_once(char::is_whitespace).map_or((rest, None), |(i, r)| (i, Some(r)));
    let mut all = vec![("reads", reads), ("instrument", instrument)];
    all.extend(range.map(|range| ("range", range)));
    all.extend(load.map(|load| ("load", load)));
    pairs(&all)
}

/// `load 1 = logs/branch-1.csv with clamp-1`; a column of the test's own log where it names no file, and both as
/// `logs/branches.csv: Current 2`.
fn branch(line: &str) -> Option<Fields> {
    let (name, rest) = line.split_once('=')?;
    let (what, with) = match rest.rsplit_once(" with ") {
        Some((what, with)) => (what.trim(), Some(with)),
        None => (rest.trim(), None),
    };
    let is_log = |text: &str| {
        let ending = text.rsplit_once('.').map(|(_, ending)| ending.to_ascii_lowercase());
        text.starts_with("logs/")
            || ending.is_some_and(|e| ["csv", "tsv", "txt", "log"].contains(&e.as_str()))
    };
    let mut all = vec![("name", name)];
    match what.split_once(':') {
        Some((log, column)) if is_log(log.trim()) => all.extend([("log", log), ("column", column)]),
        _ if is_log(what) => all.push(("log", what)),
        _ => all.push(("column", what)),
    }
    all.extend(with.map(|with| ("with", with)));
    pairs(&all)
}

/// `T bar = positive-bar soldered`. A part that is nowhere would take the column out of every finding unseen.
fn sensor(record: &Record, line: &str) -> Result<Fields, FillError> {
    let split = |(column, part): (_, &'_ str)| {
        let part = part.trim();
        let fixed = words_of("test.sensor.fixed").into_iter().find_map(|fixed| {
            let part = part.strip_suffix(fixed)?;
            part.ends_with(char::is_whitespace).then_some((part, fixed))
        });
        match fixed {
            Some((part, fixed)) => pairs(&[("column", column), ("part", part), ("fixed", fixed)]),
            None => pairs(&[("column", column), ("part", part)]),
        }
    };
    let fields = line.rsplit_once('=').and_then(split);
    let fields =
        fields.ok_or_else(|| FillError::Words(format!("`{line}`: expected {}", form(Adds::Sensors))))?;
    let part = fields.get(1).map(|(_, part)| part.as_str()).unwrap_or_default();
    let ids = record.path.element.iter().filter_map(|element| element.id.text());
    let known: Vec<&str> = PLACES.iter().copied().chain(ids).collect();
    if known.contains(&part) {
        return Ok(fields);
    }
    let near = hint(part, known.iter().copied());
    Err(FillError::Words(format!("there is no part `{part}`{near}\nparts: {}", known.join(", "))))
}

/// `01-label.jpg: 12 40 30 8 %`.
fn area(record: &Record, line: &str) -> Result<Fields, FillError> {
    let wrong = || FillError::Words(format!("`{line}`: expected {}", form(Adds::Areas)));
    let (name, place) = line.rsplit_once(':').ok_or_else(wrong)?;
    let name = name.trim();
    let listed = || record.photo.iter().filter_map(|photo| photo.file.text());
    let file = format!("{}/{name}", photo::FOLDER);
    let Some(file) = listed().find(|listed| *listed == name || *listed == file) else {
        let near = hint(&file, listed());
        return Err(FillError::Words(format!("no photo `{name}` is listed in the record{near}")));
    };
    let place = place.trim();
    let unit = ["%", "px"].into_iter().find(|unit| place.ends_with(unit)).ok_or_else(wrong)?;
    let sides: Vec<String> = place
        .split([' ', ','])
        .map(|side| side.trim_end_matches(unit).trim())
        .filter(|side| !side.is_empty())
        .map(|side| format!("{side} {unit}"))
        .collect();
    let [left, top, width, height] = sides.as_slice() else { return Err(wrong()) };
    pairs(&[("photo", file), ("left", left), ("top", top), ("width", width), ("height", height)])
        .ok_or_else(wrong)
}

/// What `add branch …` and `add sensor …` mean: of the test at hand, or of the only one there is.
pub(super) fn of_test(
    record: &Record,
    question: Option<&Question>,
    first: &str,
) -> Result<Option<Wanted>, FillError> {
    let adds = match first {
        "branch" => Adds::Branches,
        "sensor" => Adds::Sensors,
        _ => return Ok(None),
    };
    let at_hand = question.and_then(test_of).or((record.test.len() == 1).then_some(0));
    let test = at_hand.ok_or_else(|| {
        FillError::Words(format!("go to the test first: a {first} belongs to one; for example: go full-load"))
    })?;
    Ok(Some(Wanted { adds, leg: None, of: Of::Test(test), behind: None }))
}

/// What `add rig cable …` means, and `add cable …` where an element or a load of the rig is at hand.
pub(super) fn of_rig(question: Option<&Question>, first: &str) -> Option<Wanted> {
    let here = question.map(|question| question.of_what);
    let (of, behind) = match here {
        Some(Of::RigElement(index)) => (Of::Pack, Some(index)),
        Some(Of::LoadElement(load, index)) => (Of::Load(load), Some(index)),
        Some(Of::Load(load)) => (Of::Load(load), None),
        _ => (Of::Pack, None),
    };
    let at_rig =
        question.is_some_and(|question| matches!(question.item.scope, Scope::RigElements(_) | Scope::Loads));
    (first == "rig" || at_rig).then_some(Wanted { adds: Adds::RigElements, leg: None, of, behind })
}

/// The test that a question is of.
fn test_of(question: &Question) -> Option<usize> {
    match question.of_what {
        Of::Test(index) => Some(index),
        _ => None,
    }
}

/// Readings taken during a bench test, as rows of it: `15 min, 77 A, branch 1`, several with semicolons between. What a
/// row is of may be left out where the row before says it.
pub(super) fn rows(
    record: &Record,
    question: Option<&Question>,
    typed: &str,
) -> Result<(Vec<Edit>, String), FillError> {
    const FORM: &str = "expected time, value and what was read, such as: row 15 min, 77 A, branch 1";
    let words = |text: String| FillError::Words(text);
    let named = typed.split_once(':').and_then(|(id, rest)| {
        let index = record.test.iter().position(|test| test.id.text() == Some(id.trim()))?;
        Some((index, rest))
    });
    let (index, typed) = match named {
        Some(named) => named,
        None => {
            let only = (record.test.len() == 1).then_some(0);
            let index = question.and_then(test_of).or(only).ok_or_else(|| {
                let ids: Vec<&str> = record.test.iter().filter_map(|test| test.id.text()).collect();
                words(match ids.as_slice() {
                    [] => "there is no bench test yet; for example: add test full load".to_owned(),
                    ids => format!(
                        "say of which test, such as row {}: 15 min, 77 A; there are: {}",
                        ids[0],
                        ids.join(", ")
                    ),
                })
            })?;
            (index, typed)
        }
    };
    let test = record.test.get(index).ok_or_else(|| words(FORM.to_owned()))?;
    let mut of = test.reading.last().and_then(|reading| reading.of.text()).map(str::to_owned);
    let mut edits = Vec::new();
    for row in typed.split(';').map(str::trim).filter(|row| !row.is_empty()) {
        let mut pieces = row.splitn(3, ',').map(str::trim);
        let (Some(at), Some(value)) = (pieces.next(), pieces.next()) else {
            return Err(words(format!("`{row}`: {FORM}")));
        };
        if let Some(own) = pieces.next().filter(|own| !own.is_empty()) {
            of = Some(own.to_owned());
        }
        let of = of.clone().ok_or_else(|| words(format!("`{row}`: {FORM}")))?;
        let fields = vec![
            ("of".to_owned(), of),
            ("at".to_owned(), at.to_owned()),
            ("value".to_owned(), value.to_owned()),
        ];
        edits.push(Edit::Append {
            list: Place::keys("test").at(index).then("reading"),
            at: usize::MAX,
            fields,
        });
        if edits.len() > MOST_ADDED {
            return Err(words(format!("more than {MOST_ADDED} rows at once")));
        }
    }
    if edits.is_empty() {
        return Err(words(FORM.to_owned()));
    }
    let id = test.id.text().unwrap_or("the test");
    let number = crate::units::words::count(edits.len(), "reading", "readings");
    Ok((edits, format!("{number} of {id} added ({})", of.unwrap_or_default())))
}
