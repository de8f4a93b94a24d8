//! What a person types at a question, read into what is meant. Nothing here touches the record.

use crate::record::edit::Entered;
use crate::record::field::{ABSENT, How, NOT_VISIBLE, Word};
use crate::record::{FieldInfo, Kind, Record, State, read_answer};

/// Letters for how a value came, as the paper form has them; `p` is what is printed on the part.
const HOW_LETTERS: [(&str, How); 7] = [
    ("c", How::Claimed),
    ("d", How::Datasheet),
    ("p", How::Marked),
    ("m", How::Measured),
    ("s", How::Seen),
    ("e", How::Estimated),
    ("w", How::Computed),
];

/// In place of an instrument: the one that was named last.
pub(super) const AS_BEFORE: &str = "=";

/// What was said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Said {
    /// An answer, or what belongs to one: how, with, a note.
    Entered {
        /// The value and what belongs to it. Photos are files that are still to be taken in.
        answer: Entered,
        /// Further values for the parts that follow (cell readings).
        more: Vec<String>,
    },
    /// The answers of one screen, by place; none where one is left open.
    Several(Vec<Option<Entered>>),
    /// All that is open of this part, what is seldom wanted included.
    More,
    /// A photo of the part.
    Photo(String),
    /// A card or folder of pictures.
    Card(String),
    /// Readings of a cell by its position: `3 3.302 V, 0.34 mΩ`.
    Cell(String),
    /// A reading of an instrument during a bench test: `15 min, 77 A, branch 1`.
    Row(String),
    /// The open questions of this part are answered as those of another one; empty for the one before.
    Same(String),
    /// Every other part of this kind and leg is as this one.
    Alike,
    /// A confirmed answer that something else took out of the record is written again.
    Restore,
    /// What the record holds stays in place of a confirmed answer that it lost.
    Stay,
    /// This part is called otherwise.
    Rename(String),
    /// This part comes behind another one, or first in its leg where none is named.
    Move(String),
    /// This part is taken out of the record.
    Remove(String),
    /// A key that every part has: a remark, the time in the video, the instrument of its plain values.
    OfPart(&'static str, String),
    /// On to the next question; this one stays open.
    Leave,
    /// On behind this part, or behind this section where the question is about the pack.
    Done,
    /// Back to the question before.
    Back,
    /// To a part, a section, or a number.
    Go(String),
    /// Look for a word.
    Find(String),
    /// Add a part.
    Add(String),
    /// The instrument for measured answers from here on.
    Using(String),
    /// The instruments, to be named by their numbers.
    Instruments,
    /// Take the answer back.
    Clear,
    /// What is still open: here, in a section, or `all`.
    List(String),
    /// The findings as they stand.
    Findings,
    /// Show less or more with each question.
    Brief,
    /// Go on with the first look, or section by section.
    First(bool),
    /// An answer by its number on the paper form.
    Numbered {
        /// The number, `12` or `34.2`.
        number: String,
        /// What was said.
        rest: String,
    },
    /// The commands.
    Help,
    /// Stop.
    Quit,
}

/// Reads one typed line at a question of this kind; `instruments` are the ids that may follow `with`.
///
/// # Errors
/// What is wrong with the line, in words.
pub fn read_line(line: &str, kind: Kind, record: &Record) -> Result<Said, String> {
    let line = line.trim();
    if let Some((number, rest)) = line.split_once(':')
        && is_number(number.trim())
    {
        return Ok(Said::Numbered { number: number.trim().to_owned(), rest: rest.trim().to_owned() });
    }
    let (first, rest) = line.split_once(char::is_whitespace).unwrap_or((line, ""));
    let rest = rest.trim();
    let needs = |what: &str| -> Result<String, String> {
        if rest.is_empty() { Err(format!("`{first}` needs {what} behind it")) } else { Ok(rest.to_owned()) }
    };
    match (first, rest.is_empty()) {
        ("", _) | ("skip" | "next", true) => return Ok(Said::Leave),
        ("back" | "b", true) if !is_choice(first, kind) => return Ok(Said::Back),
        ("quit" | "q" | "exit", true) if !is_choice(first, kind) => return Ok(Said::Quit),
        ("help" | "?", _) => return Ok(Said::Help),
        ("done" | ".", true) => return Ok(Said::Done),
        ("list", true) => return Ok(Said::List(String::new())),
        // In a text `list price` is an answer.
        ("list", false)
            if rest == "all"
                || !rest.contains(char::is_whitespace)
                    && !matches!(kind, Kind::Text | Kind::Markdown | Kind::List) =>
        {
            return Ok(Said::List(rest.to_owned()));
        }
        ("findings", true) => return Ok(Said::Findings),
        ("more", true) => return Ok(Said::More),
        ("brief" | "full", true) => return Ok(Said::Brief),
        ("first" | "sections", true) => return Ok(Said::First(first == "first")),
        ("clear", true) => return Ok(Said::Clear),
        ("go", _) => return needs("a part or a number").map(Said::Go),
        ("alike", true) => return Ok(Said::Alike),
        ("restore", true) => return Ok(Said::Restore),
        ("stay", true) => return Ok(Said::Stay),
        ("rename", false) if rest.starts_with("to ") => {
            return Ok(Said::Rename(rest.trim_start_matches("to ").trim().to_owned()));
        }
        ("move", false) if rest == "first" || rest.starts_with("behind ") => {
            let behind = rest.trim_start_matches("first").trim_start_matches("behind ").trim();
            return Ok(Said::Move(behind.to_owned()));
        }
        ("remove", false) if !rest.contains(char::is_whitespace) => {
            return Ok(Said::Remove(rest.to_owned()));
        }
        ("same", true) => return Ok(Said::Same(String::new())),
        ("same", false) if rest.starts_with("as ") => {
            return Ok(Said::Same(rest.trim_start_matches("as ").trim().to_owned()));
        }
        ("photos", _) => return needs("a folder, such as /media/card").map(Said::Card),
        ("cell", false) if rest.starts_with(|c: char| c.is_ascii_digit()) => {
            return Ok(Said::Cell(rest.to_owned()));
        }
        ("row", false) if rest.contains(',') => return Ok(Said::Row(rest.to_owned())),
        ("part", false) if rest.starts_with("with ") => {
            return Ok(Said::OfPart("with", by_number(record, rest.trim_start_matches("with "))));
        }
        ("find", _) => return needs("a word").map(Said::Find),
        ("add", _) => return needs("a kind of part, such as busbar or reading").map(Said::Add),
        ("using" | "with", true) => return Ok(Said::Instruments),
        ("part", false) if rest == "with" => return Ok(Said::Instruments),
        ("using", _) => return Ok(Said::Using(by_number(record, rest))),
        ("photo", _) => return needs("a file").map(Said::Photo),
        ("video", _) => {
            return needs("a time, such as 14:05").map(|time| Said::OfPart("video", time));
        }
        ("remark", _) => return needs("a text").map(|text| Said::OfPart("note", text)),
        ("note", _) => {
            return needs("a text").map(|note| extra(Entered { note: Some(note), ..Entered::default() }));
        }
        ("with", _) => {
            return Ok(extra(Entered { with: Some(by_number(record, rest)), ..Entered::default() }));
        }
        ("how", _) => {
            return needs("a word").map(|how| extra(Entered { how: Some(how), ..Entered::default() }));
        }
        _ => {}
    }
    answer(line, kind, record)
}

fn extra(answer: Entered) -> Said {
    Said::Entered { answer, more: Vec::new() }
}

/// Instruments by their ids, or by their numbers in the list of them: `2`, `clamp, 3`.
fn by_number(record: &Record, typed: &str) -> String {
    let ids = || record.instrument.iter().map(|instrument| instrument.id.text());
    let id = |one: &str| {
        let number = one.parse::<usize>().ok().filter(|_| ids().all(|id| id != Some(one)))?;
        ids().nth(number.checked_sub(1)?)?.map(str::to_owned)
    };
    let all: Vec<String> =
        typed.split(',').map(str::trim).map(|one| id(one).unwrap_or_else(|| one.to_owned())).collect();
    all.join(", ")
}

fn is_number(text: &str) -> bool {
    let mut parts = text.split('.');
    let digits = |part: &str| !part.is_empty() && part.len() <= 6 && part.chars().all(|c| c.is_ascii_digit());
    parts.next().is_some_and(digits) && parts.next().is_none_or(digits) && parts.next().is_none()
}

/// The places of a line that answers one screen: `25.6 V; 150 Ah; ; yes`. `\;` is a semicolon.
pub(super) fn places(line: &str) -> Vec<String> {
    let mut places = vec![String::new()];
    let mut letters = line.chars().peekable();
    while let Some(letter) = letters.next() {
        let escaped = letter == '\\' && letters.next_if_eq(&';').is_some();
        match places.last_mut() {
            Some(place) if escaped => place.push(';'),
            Some(place) if letter != ';' => place.push(letter),
            _ => places.push(String::new()),
        }
    }
    places.iter().map(|place| place.trim().to_owned()).collect()
}

/// An answer with what belongs to it: `3.02 mm | with caliper | photo 12.jpg | note at the middle`.
///
/// # Errors
/// What is wrong with it, in words.
pub(super) fn answer(line: &str, kind: Kind, record: &Record) -> Result<Said, String> {
    let text_kind = matches!(kind, Kind::Text | Kind::Markdown | Kind::List);
    let mut parts = line.split('|').map(str::trim);
    let mut value = parts.next().unwrap_or_default().to_owned();
    let mut answer = Entered::default();
    for part in parts {
        let (word, rest) = part.split_once(char::is_whitespace).unwrap_or((part, ""));
        let rest = rest.trim().to_owned();
        match word {
            "" => {}
            // `with` alone: the instrument of the answer before.
            "with" if rest.is_empty() => answer.with = Some(AS_BEFORE.to_owned()),
            "with" => answer.with = Some(by_number(record, &rest)),
            "note" if !rest.is_empty() => answer.note = Some(rest),
            "photo" if !rest.is_empty() => answer.photos.push(rest),
            "how" if !rest.is_empty() => answer.how = Some(rest),
            _ if rest.is_empty() && HOW_LETTERS.iter().any(|(letter, _)| *letter == word) => {
                let how = HOW_LETTERS.iter().find(|(letter, _)| *letter == word);
                answer.how = how.map(|(_, how)| how.word().to_owned());
            }
            _ if rest.is_empty() && (word == "plain" || How::from_word(word).is_some()) => {
                // "plain" records no word, where the item would add one.
                answer.how = Some(if word == "plain" { String::new() } else { word.to_owned() });
            }
            _ => {
                return Err(format!(
                    "`{part}` behind | is not known; there may stand: with INSTRUMENT, photo FILE, note TEXT, or one of {}",
                    words(How::WORDS)
                ));
            }
        }
    }
    if kind == Kind::Markdown {
        value = value.replace("\\n", "\n");
    }
    if !text_kind {
        value = trailing(value, &mut answer, record);
    }
    let mut values: Vec<String> = match kind {
        Kind::Quantity(_) if decimal_comma(&value) => vec![value],
        Kind::Quantity(_) | Kind::Count if value.contains(',') => {
            value.split(',').map(|value| value.trim().to_owned()).collect()
        }
        _ => vec![value],
    };
    share_unit(&mut values);
    let mut values = values.into_iter().map(|value| choice(&value, kind));
    answer.value = values.next().filter(|value| !value.is_empty());
    Ok(Said::Entered { answer, more: values.collect() })
}

/// Whether the only comma of a value stands in a number, as in `2,5 mm`: then it is one value, and what could be thousands
/// is refused where it is read. Of `3301,3302 mV` there are two.
fn decimal_comma(value: &str) -> bool {
    let Some((whole, rest)) = value.split_once(',') else { return false };
    let digits = |text: &str| text.chars().take_while(char::is_ascii_digit).count();
    let behind = digits(rest);
    let more = rest.get(behind..).unwrap_or_default();
    digits(whole) == whole.len()
        && (1..=3).contains(&whole.len())
        && (1..=3).contains(&behind)
        && !more.contains(',')
        && !more.starts_with('.')
}

/// The answer with a unit behind each number that has none, when the field takes it only so. Nothing is guessed: it is
/// for a person to confirm.
pub(super) fn with_unit(said: &Said, info: &FieldInfo, unit: &str) -> Option<Said> {
    let Said::Entered { answer, more } = said else { return None };
    let unit = unit.trim();
    let whole = |value: &str| -> Option<String> {
        let fits = |value: &str| matches!(read_answer(info, value), Ok(State::Known(_)));
        let candidate = format!("{} {unit}", value.trim());
        // 80 for a share may mean 80 % or eighty times: that is asked as well.
        let bare = value.ends_with(|c: char| c.is_ascii_digit()) && (unit == "%" || !fits(value));
        (bare && !unit.is_empty() && fits(&candidate)).then_some(candidate)
    };
    let first = whole(answer.value.as_deref()?)?;
    let more = more.iter().map(|value| whole(value)).collect::<Option<Vec<String>>>()?;
    Some(Said::Entered { answer: Entered { value: Some(first), ..answer.clone() }, more })
}

/// What stands behind the last number of a value: its unit.
pub(super) fn unit_of(value: &str) -> &str {
    let end = value.rfind(|c: char| c.is_ascii_digit()).map_or(0, |at| at + 1);
    // "70 mm2" and "K/W" hold digits or signs of their own: the unit begins behind the last space.
    match value.rsplit_once(' ') {
        Some((_, unit)) if unit.starts_with(|c: char| !c.is_ascii_digit()) => unit,
        _ => value.get(end..).unwrap_or_default(),
    }
}

/// "3.301, 3.302, 3.304 V": the unit stands once, behind the last.
fn share_unit(values: &mut [String]) {
    if values.len() < 2 {
        return;
    }
    let unit: String = match values.last() {
        Some(last) => {
            last.trim_start_matches(|c: char| c.is_ascii_digit() || matches!(c, '.' | '-' | '+')).to_owned()
        }
        None => return,
    };
    for value in values {
        if value.parse::<f64>().is_ok() {
            value.push_str(&unit);
        }
    }
}

/// "3.02 mm with caliper" and "150 A marked" in place of `|`.
fn trailing(value: String, answer: &mut Entered, record: &Record) -> String {
    let mut value = value;
    if let Some((before, id)) = value.rsplit_once(" with ")
        && let id = by_number(record, id)
        && record.instrument.iter().any(|i| i.id.text() == Some(&id))
    {
        answer.with.get_or_insert(id);
        value = before.trim().to_owned();
    }
    if let Some((before, word)) = value.rsplit_once(' ')
        && How::from_word(word).is_some()
    {
        answer.how.get_or_insert_with(|| word.to_owned());
        value = before.trim().to_owned();
    }
    value
}

/// The word a letter stands for: `a` for the first, `y` and `n`, `-` for absent, `x` for could not see.
fn choice(value: &str, kind: Kind) -> String {
    let words: &[Word] = match kind {
        Kind::Word(words) => words,
        _ => &[],
    };
    let lower = value.to_lowercase();
    match (lower.as_str(), kind) {
        ("y", Kind::YesNo) => return "yes".to_owned(),
        ("n", Kind::YesNo) => return "no".to_owned(),
        ("-", _) => return ABSENT.to_owned(),
        ("/" | "not visible", _) => return NOT_VISIBLE.to_owned(),
        _ => {}
    }
    if matches!(kind, Kind::YesNo | Kind::Word(_))
        && matches!(lower.as_str(), "absent" | "could not see" | "yes" | "no")
    {
        return lower;
    }
    let mut letters = lower.chars();
    if let (Some(letter), None) = (letters.next(), letters.next()) {
        let index = (u32::from(letter)).checked_sub(u32::from('a')).and_then(|n| usize::try_from(n).ok());
        if let Some(word) = index.and_then(|index| words.get(index)) {
            return word.word.to_owned();
        }
    }
    // The beginning of a word, when only one starts so; else the other name that its meaning gives in brackets.
    let only = |fits: &dyn Fn(&Word) -> bool| {
        let mut fitting = words.iter().filter(|word| fits(word));
        fitting.next().filter(|_| fitting.next().is_none()).map(|word| word.word.to_owned())
    };
    let spaced = |text: &str| text.to_lowercase().replace('-', " ");
    let begins = || only(&|word| spaced(word.word).starts_with(&spaced(&lower)));
    let named = || only(&|word| word.about.to_lowercase().ends_with(&format!("({lower})")));
    let found = if lower.is_empty() { None } else { begins().or_else(named) };
    found.unwrap_or_else(|| value.to_owned())
}

fn is_choice(typed: &str, kind: Kind) -> bool {
    match kind {
        Kind::Word(_) => typed.len() == 1 && choice(typed, kind) != typed,
        _ => false,
    }
}

fn words(words: &[Word]) -> String {
    let words: Vec<&str> = words.iter().map(|word| word.word).collect();
    words.join(", ")
}

/// The letter that stands for the choice at an index.
#[must_use]
pub(super) fn letter(index: usize) -> char {
    u32::try_from(index).ok().and_then(|n| char::from_u32(u32::from('a') + n)).unwrap_or('?')
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Dimension;

    const fn metal(word: &'static str) -> Word {
        Word { word, about: "" }
    }

    const METALS: &[Word] = &[metal("copper"), metal("copper-clad aluminium"), metal("brass"), metal("tin")];

    fn record() -> Record {
        crate::record::read("t", "schema = 2\n[[instrument]]\nid = \"caliper\"\n").unwrap()
    }

    #[test]
    fn lines_mean_what_they_say() {
        let length = Kind::Quantity(Dimension::LENGTH);
        let voltage = Kind::Quantity(Dimension::VOLTAGE);
        let metal = Kind::Word(METALS);
        let value = |value: &str| Said::Entered { answer: Entered::of(value), more: vec![] };
        let cases: Vec<(&str, Kind, Said)> = vec![
            ("150 A", length, value("150 A")),
            ("", length, Said::Leave),
            ("skip", Kind::Text, Said::Leave),
            ("skip the lid", Kind::Text, value("skip the lid")),
            ("-", length, value("absent")),
            ("absent", length, value("absent")),
            ("could not see", metal, value("could not see")),
            ("/", metal, value("could not see")),
            ("a", metal, value("copper")),
            ("b", metal, value("copper-clad aluminium")),
            ("b", length, Said::Back),
            ("back", metal, Said::Back),
            ("bra", metal, value("brass")),
            ("cop", metal, value("cop")),
            ("y", Kind::YesNo, value("yes")),
            ("N", Kind::YesNo, value("no")),
            ("y", Kind::Text, value("y")),
            ("12: 150 A", Kind::Text, Said::Numbered { number: "12".into(), rest: "150 A".into() }),
            ("34.2: -", Kind::Text, Said::Numbered { number: "34.2".into(), rest: "-".into() }),
            ("2,5 mm", length, value("2,5 mm")),
            ("video 14:05", Kind::Text, Said::OfPart("video", "14:05".into())),
            ("go main-fuse", length, Said::Go("main-fuse".into())),
            ("photo 5.jpg", length, Said::Photo("5.jpg".into())),
            (
                "note worn",
                length,
                Said::Entered {
                    answer: Entered { note: Some("worn".into()), ..Entered::default() },
                    more: vec![],
                },
            ),
            (
                "3 mm with caliper",
                length,
                Said::Entered {
                    answer: Entered { with: Some("caliper".into()), ..Entered::of("3 mm") },
                    more: vec![],
                },
            ),
            (
                "3 mm measured",
                length,
                Said::Entered {
                    answer: Entered { how: Some("measured".into()), ..Entered::of("3 mm") },
                    more: vec![],
                },
            ),
            (
                "3 mm | p",
                length,
                Said::Entered {
                    answer: Entered { how: Some("marked".into()), ..Entered::of("3 mm") },
                    more: vec![],
                },
            ),
            ("came with caliper", Kind::Text, value("came with caliper")),
            (
                "3 mm | marked | note at the end | photo a.jpg",
                length,
                Said::Entered {
                    answer: Entered {
                        how: Some("marked".into()),
                        note: Some("at the end".into()),
                        photos: vec!["a.jpg".into()],
                        ..Entered::of("3 mm")
                    },
                    more: vec![],
                },
            ),
            (
                "3.301, 3.302, 3.304 V",
                voltage,
                Said::Entered {
                    answer: Entered::of("3.301 V"),
                    more: vec!["3.302 V".into(), "3.304 V".into()],
                },
            ),
            ("one, two", Kind::Text, value("one, two")),
            ("same", length, Said::Same(String::new())),
            ("same as positive-bar", length, Said::Same("positive-bar".into())),
            ("same colour", Kind::Text, value("same colour")),
            ("photos /media/card", length, Said::Card("/media/card".into())),
            ("cell 3 3.302 V", length, Said::Cell("3 3.302 V".into())),
            ("cell walls are swollen", Kind::Text, value("cell walls are swollen")),
            ("row 15 min, 77 A", length, Said::Row("15 min, 77 A".into())),
            ("part with load-v, 1", length, Said::OfPart("with", "load-v, caliper".into())),
            ("with", length, Said::Instruments),
            ("using 1", length, Said::Using("caliper".into())),
            (
                "3 mm with 1",
                length,
                Said::Entered {
                    answer: Entered { with: Some("caliper".into()), ..Entered::of("3 mm") },
                    more: vec![],
                },
            ),
            (r"one\n\ntwo", Kind::Markdown, value("one\n\ntwo")),
        ];
        for (line, kind, said) in cases {
            assert_eq!(read_line(line, kind, &record()), Ok(said), "{line}");
        }
        let info = |name| crate::judge::facts::field_info(name).unwrap();
        for (line, name, unit, offered) in [
            ("148", "claims.continuous_current", "A", Some("148 A")),
            ("148 | with", "claims.continuous_current", "A", Some("148 A")),
            ("148 ± 2", "claims.continuous_current", "A", Some("148 ± 2 A")),
            ("20 x 3", "element.section", "mm", Some("20 x 3 mm")),
            ("80", "claims.cycle_depth", "%", Some("80 %")),
            ("80 %", "claims.cycle_depth", "%", None),
            ("148 A", "claims.continuous_current", "A", None),
            ("148", "claims.continuous_current", "V", None),
            ("148 Ah", "claims.continuous_current", "A", None),
            ("-", "claims.continuous_current", "A", None),
            ("3", "cells.series", "A", None),
        ] {
            let said = read_line(line, info(name).kind, &record()).unwrap();
            let offer = with_unit(&said, info(name), unit);
            let value = offer.map(|said| match said {
                Said::Entered { answer, .. } => answer.value.unwrap(),
                other => panic!("{other:?}"),
            });
            assert_eq!(value.as_deref(), offered, "{line}");
        }
        for (value, unit) in [
            ("30 A", "A"),
            ("25 x 3 mm", "mm"),
            ("70 mm2", "mm2"),
            ("0.2C", "C"),
            ("1.2 K/W", "K/W"),
            ("4", ""),
        ] {
            assert_eq!(unit_of(value), unit, "{value}");
        }
        for (line, says) in [("go", "needs"), ("3 mm | maesured", "not known"), ("photo", "needs a file")] {
            let error = read_line(line, length, &record()).unwrap_err();
            assert!(error.contains(says), "{line}: {error}");
        }
    }
}
