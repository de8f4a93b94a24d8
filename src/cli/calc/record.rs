//! From arguments to the record of what they name, read by the record's own reader.

use std::collections::BTreeMap;

use super::arg::{self, Count, Layer};
use super::subjects::{Flag, Subject, To};
use crate::judge::facts::{Given, Sources, Val, Worked, field_kind};
use crate::judge::rules::Book;
use crate::physics::ZERO_CELSIUS;
use crate::record::{self, Found, Kind, Record};
use crate::units::{Dimension, Quantity, words};

/// The word for a part that is no fuse; the record keeps it as a kind of element of its own.
const THERMAL_CUTOFF: &str = "thermal cut-off";

/// A value as it was typed, read.
#[derive(Debug, Clone)]
pub(super) struct Typed {
    /// As it stands in a record, without quotes.
    pub(super) text: String,
    pub(super) quantity: Option<Quantity>,
    layer: Option<Layer>,
}

/// The words that a key takes, where it takes words.
fn words_of(flag: &Flag) -> Vec<&'static str> {
    let key = if matches!(flag.to, To::Fuse) { "element.fuse" } else { flag.fills() };
    let mut words: Vec<&str> = match field_kind(&of_element(key)) {
        Some(Kind::Word(words)) => words.iter().map(|word| word.word).collect(),
        _ => Vec::new(),
    };
    if matches!(flag.to, To::Fuse) {
        words.push(THERMAL_CUTOFF);
    }
    words
}

/// Names under which a subject has elements of the path, in the order of the path.
const ELEMENTS: [&str; 8] = ["board", "stack", "element", "bar", "joint", "conductor", "protector", "cable"];

/// A name as the record has it: whatever a subject calls an element, it is one.
pub(super) fn of_element(name: &str) -> String {
    match name.split_once('.') {
        Some((head, field)) if ELEMENTS.contains(&head) => format!("element.{field}"),
        _ => name.to_owned(),
    }
}

impl Flag {
    pub(super) fn positional(&self) -> bool {
        self.name.chars().all(|c| c.is_ascii_uppercase())
    }

    /// As it is typed.
    pub(super) fn shown(&self) -> String {
        if self.positional() { self.name.to_owned() } else { format!("--{}", self.name) }
    }

    pub(super) fn help(&self) -> String {
        match words_of(self) {
            words if words.is_empty() => self.about.to_owned(),
            words => format!("{}: {}", self.about, words::list(&words, "or")),
        }
    }

    fn kind(&self) -> Option<Kind> {
        match self.to {
            To::Key(key) => field_kind(&of_element(key)),
            To::Fact(_, dimension) => Some(Kind::Quantity(dimension)),
            To::Rise => Some(Kind::Quantity(Dimension::TEMPERATURE_DIFFERENCE)),
            To::Fuse | To::Layer => None,
        }
    }

    pub(super) fn value_name(&self) -> &'static str {
        match self.kind() {
            Some(Kind::Quantity(_)) => "QUANTITY",
            Some(Kind::Section) => "SIZE",
            Some(Kind::Count) => "N",
            Some(Kind::Text) => "TEXT",
            _ if matches!(self.to, To::Layer) => "LAYER",
            _ => "WORD",
        }
    }
}

/// Reads an argument as the key it fills asks for.
pub(super) fn read(flag: &Flag, text: &str) -> Result<Typed, String> {
    let typed = |text: &str| Typed { text: text.trim().to_owned(), quantity: None, layer: None };
    Ok(match flag.kind() {
        Some(Kind::Quantity(dimension)) => {
            let quantity = arg::of(dimension)(text)?;
            Typed { quantity: Some(quantity), ..typed(text) }
        }
        Some(Kind::Section) => {
            arg::pair(text)?;
            typed(text)
        }
        Some(Kind::Count) => {
            let Count(number) = text.parse()?;
            typed(&number.to_string())
        }
        Some(Kind::Text) => typed(text),
        _ if matches!(flag.to, To::Layer) => Typed { layer: Some(arg::layer(text)?), ..typed(text) },
        _ => typed(arg::word(text, &words_of(flag))?),
    })
}

/// A record made of arguments, with the facts that were given besides.
pub(super) struct Made {
    pub(super) record: Record,
    pub(super) given: Vec<Given>,
    /// Names of the elements in the order of the path.
    pub(super) elements: Vec<&'static str>,
}

fn head(key: &str) -> &str {
    key.split('.').next().unwrap_or_default()
}

/// Makes the record of a subject.
///
/// # Errors
/// What a record's reader says of it.
pub(super) fn make(subject: &Subject, typed: &[(&Flag, Typed)], book: &Book) -> Result<Made, String> {
    let mut keys: BTreeMap<String, String> = BTreeMap::new();
    let mut layers = String::new();
    let cutoff =
        typed.iter().any(|(flag, typed)| matches!(flag.to, To::Fuse) && typed.text == THERMAL_CUTOFF);
    for (flag, typed) in typed {
        match flag.to {
            // What is printed on a cut-off is what its contacts carry.
            To::Key("element.rating") if cutoff => put(&mut keys, "element.marked_current", &typed.text),
            To::Key("element.interrupting_rating") if cutoff => {}
            To::Key(key) => put(&mut keys, key, &typed.text),
            To::Fuse if cutoff => put(&mut keys, "element.kind", "thermal-cutoff"),
            To::Fuse => {
                put(&mut keys, "element.kind", "fuse");
                put(&mut keys, "element.fuse", &typed.text);
            }
            To::Rise => {
                let warmest = warmest(typed.quantity.as_ref(), &keys, book)?;
                put(&mut keys, "element.allowed_temperature", &warmest);
            }
            To::Layer => layers.push_str(&layer(typed.layer.as_ref())),
            To::Fact(..) => {}
        }
    }
    let facts = typed.iter().filter(|(flag, _)| matches!(flag.to, To::Fact(..)));
    let heads: Vec<String> = keys
        .keys()
        .map(String::as_str)
        .chain(facts.map(|(flag, _)| flag.fills()))
        .map(|k| head(k).to_owned())
        .collect();
    for (table, key, value) in subject.fixed {
        // A subject that needs its element has an argument that is required for it.
        if heads.iter().any(|head| head == table) && !keys.contains_key(*key) {
            put(&mut keys, key, value);
        }
    }
    let present = |table: &&str| keys.keys().any(|key| head(key) == *table);
    let elements: Vec<&'static str> = ELEMENTS.into_iter().filter(present).collect();
    let mut tables: BTreeMap<String, String> = BTreeMap::new();
    let mut path = String::new();
    for (key, line) in &keys {
        let table = head(key);
        if !ELEMENTS.contains(&table) {
            tables.entry(table.to_owned()).or_default().push_str(line);
        }
    }
    for element in &elements {
        path.push_str(&format!("[[path.element]]\nid = \"{element}\"\n"));
        keys.iter().filter(|(key, _)| head(key) == *element).for_each(|(_, line)| path.push_str(line));
    }
    let mut text = format!("schema = {}\n", record::SCHEMA);
    for (table, lines) in tables {
        text.push_str(&format!("[{table}]\n{lines}"));
    }
    text.push_str(&path);
    text.push_str(&layers);
    let record = record::read("the arguments", &text).map_err(|problems| {
        let lines = problems.list().iter().map(|p| format!("{}: {}", p.message, p.expected));
        lines.collect::<Vec<_>>().join("\n")
    })?;
    let given = given(typed, &record, &elements);
    Ok(Made { record, given, elements })
}

/// A line of a record.
fn put(keys: &mut BTreeMap<String, String>, key: &str, value: &str) {
    let field = key.rsplit('.').next().unwrap_or_default();
    let value = match field_kind(&of_element(key)) {
        Some(Kind::Count) => value.to_owned(),
        // A string of JSON is one of TOML.
        _ => serde_json::Value::from(value).to_string(),
    };
    keys.insert(key.to_owned(), format!("{field} = {value}\n"));
}

fn layer(layer: Option<&Layer>) -> String {
    let mut text = "[[bms.layer]]\n".to_owned();
    let Some(Layer { name, keys }) = layer else { return text };
    let quoted = |value: &str| serde_json::Value::from(value).to_string();
    text.extend(name.iter().map(|name| format!("name = {}\n", quoted(name))));
    text.extend(keys.iter().map(|(key, quantity)| format!("{key} = {}\n", quoted(&quantity.text))));
    text
}

/// The temperature that a rise above the air leads to, as a record would write it.
fn warmest(rise: Option<&Quantity>, keys: &BTreeMap<String, String>, book: &Book) -> Result<String, String> {
    let limits = book.limit_amounts();
    let air = keys.get("inspection.inner_ambient").and_then(|line| line.split('"').nth(1));
    let air = match air.map(crate::units::parse) {
        Some(Ok(air)) => air.value,
        _ => limits.get("inner_ambient").map(crate::units::Amount::value).unwrap_or_default(),
    };
    let Some(rise) = rise else { return Err("--rise is a temperature difference".to_owned()) };
    let rounded = |value: f64| (value * 1e9).round() / 1e9;
    let uncertain = rise.expanded.map_or_else(String::new, |u| format!(" ± {} K", rounded(u)));
    Ok(format!("{} degC{uncertain}", rounded(air + rise.value - ZERO_CELSIUS)))
}

/// The facts that were given; each is a source of uncertainty of its own, far behind the record's text.
fn given(typed: &[(&Flag, Typed)], record: &Record, elements: &[&str]) -> Vec<Given> {
    let sources = Sources::of(record, &BTreeMap::new());
    let facts = typed.iter().enumerate().filter_map(|(number, (flag, typed))| {
        let (To::Fact(name, _), Some(quantity)) = (flag.to, &typed.quantity) else { return None };
        let at = elements.iter().position(|element| *element == head(name));
        let name = if name == "conductor.permissible_current" { "element.permissible_current" } else { name };
        let place = 1_000_000 + number;
        let found = Found { span: place..place, ..Found::default() };
        let value = Val::Amount(sources.amount(quantity, &found, 0));
        let worked = Worked { steps: vec![format!("given: {}", quantity.text)], ..Worked::of(value) };
        Some((at, name, Ok(worked)))
    });
    facts.collect()
}
