//! The edits themselves, on a parsed document that remembers its comments.

use toml_edit::{Array, ArrayOfTables, DocumentMut, InlineTable, Item, Table, TableLike, Value};

use super::place::{NoSuchPlace, Pick, Place, PlaceStep, Slot};
use super::{EditRefused, Entered};
use crate::record::field::{ABSENT, Kind, NOT_VISIBLE};

/// A typed value as it stands in the record.
pub(super) fn value_of(slot: Slot, typed: &str) -> Value {
    let typed = typed.trim();
    let list = || {
        let parts = typed.split(',').map(str::trim);
        Value::Array(parts.filter(|part| !part.is_empty()).collect::<Array>())
    };
    match slot {
        Slot::CommonText => typed.into(),
        Slot::CommonList => list(),
        Slot::Field(_) if matches!(typed, ABSENT | NOT_VISIBLE) => typed.into(),
        Slot::Field(info) => match info.kind {
            Kind::Count => typed.parse::<i64>().map_or_else(|_| typed.into(), Value::from),
            Kind::Date => match typed.parse::<toml_edit::Datetime>() {
                Ok(date) => Value::from(date),
                Err(_) => typed.into(),
            },
            Kind::List => list(),
            // Words are read in any case, and stand in the record as the schema spells them.
            Kind::Word(words) => words
                .iter()
                .find(|word| word.word.eq_ignore_ascii_case(typed))
                .map_or(typed, |word| word.word)
                .into(),
            Kind::YesNo if typed == "true" => "yes".into(),
            Kind::YesNo if typed == "false" => "no".into(),
            _ => typed.into(),
        },
    }
}

pub(super) fn set(
    text: &str,
    document: &DocumentMut,
    place: &Place,
    slot: Slot,
    answer: &Entered,
) -> Result<String, EditRefused> {
    let mut document = document.clone();
    let (way, key) = place.split();
    let table = part_mut(document.as_table_mut(), way, place)?;
    let old = table.get_mut(key);
    let is_new = old.is_none();
    let new = match slot {
        Slot::CommonText | Slot::CommonList => common(old.as_deref(), slot, answer),
        Slot::Field(_) => field(old.as_deref(), slot, answer, place)?,
    };
    if is_new && let Some(filled) = uncomment(text, way, key, &new) {
        return Ok(filled);
    }
    let new = Item::Value(new);
    match old {
        Some(old) => *old = keep_decor(old, new),
        None => {
            table.insert(key, new);
        }
    }
    Ok(document.to_string())
}

/// A new value in an old one's place keeps the space and the comment around it.
fn keep_decor(old: &Item, mut new: Item) -> Item {
    if let (Some(old), Some(new)) = (old.as_value(), new.as_value_mut()) {
        *new.decor_mut() = old.decor().clone();
    }
    new
}

fn common(old: Option<&Item>, slot: Slot, answer: &Entered) -> Value {
    let typed = answer.value.as_deref().unwrap_or_default();
    if matches!(slot, Slot::CommonText) {
        return typed.into();
    }
    let mut listed = texts(old.and_then(Item::as_value));
    add_new(&mut listed, &answer.photos);
    let parts: Vec<String> = typed.split(',').map(|part| part.trim().to_owned()).collect();
    add_new(&mut listed, &parts);
    Value::Array(listed.into_iter().collect())
}

fn texts(value: Option<&Value>) -> Vec<String> {
    match value {
        Some(Value::String(text)) => vec![text.value().clone()],
        Some(Value::Array(items)) => {
            let texts = items.iter().filter_map(Value::as_str);
            texts.map(str::to_owned).collect()
        }
        _ => Vec::new(),
    }
}

fn add_new(listed: &mut Vec<String>, more: &[String]) {
    for text in more {
        if !text.is_empty() && !listed.contains(text) {
            listed.push(text.clone());
        }
    }
}

fn field(old: Option<&Item>, slot: Slot, answer: &Entered, place: &Place) -> Result<Value, NoSuchPlace> {
    let old_value = old.and_then(Item::as_value);
    let mut inline = match old_value {
        Some(Value::InlineTable(table)) => table.clone(),
        Some(plain) => {
            let mut plain = plain.clone();
            plain.decor_mut().clear();
            InlineTable::from_iter([("value", plain)])
        }
        None => match old.and_then(Item::as_table) {
            Some(table) => table.clone().into_inline_table(),
            None => InlineTable::new(),
        },
    };
    if let Some(typed) = &answer.value {
        put(&mut inline, "value", value_of(slot, typed));
        inline.remove("confirmed");
        if answer.confirmed {
            put(&mut inline, "confirmed", true.into());
        }
    } else if !inline.contains_key("value") {
        return Err(NoSuchPlace(format!("`{place}` has no value yet; answer it first")));
    }
    for (key, text) in [("how", &answer.how), ("with", &answer.with), ("note", &answer.note)] {
        match text.as_deref().map(str::trim) {
            None => {}
            Some("") => {
                inline.remove(key);
            }
            Some(text) => put(&mut inline, key, text.into()),
        }
    }
    if !answer.photos.is_empty() {
        let mut listed = texts(inline.get("photos"));
        add_new(&mut listed, &answer.photos);
        put(&mut inline, "photos", Value::Array(listed.into_iter().collect()));
    }
    // A value of which nothing else is known stands by itself.
    if inline.len() == 1
        && let Some(mut value) = inline.remove("value")
    {
        value.decor_mut().clear();
        return Ok(value);
    }
    inline.fmt();
    Ok(Value::InlineTable(inline))
}

fn put(table: &mut InlineTable, key: &str, value: Value) {
    table.insert(key, value);
}

pub(super) fn clear(document: &DocumentMut, place: &Place) -> Result<String, EditRefused> {
    let mut document = document.clone();
    let (way, key) = place.split();
    let table = part_mut(document.as_table_mut(), way, place)?;
    table.remove(key);
    Ok(document.to_string())
}

pub(super) fn append(
    text: &str,
    document: &DocumentMut,
    list: &Place,
    at: usize,
    fields: &[(&str, Value)],
) -> Result<String, EditRefused> {
    let mut document = document.clone();
    let (way, key) = list.split();
    let in_root = way.iter().all(|step| step.pick.is_none());
    let parent = part_mut(document.as_table_mut(), way, list)?;
    if !parent.contains_key(key)
        && in_root
        && let Some(filled) = append_at_comment(text, list, fields)
    {
        return Ok(filled);
    }
    let table = || {
        let mut table = Table::new();
        for (key, value) in fields {
            table.insert(key, Item::Value(value.clone()));
        }
        table.decor_mut().set_prefix("\n");
        table
    };
    match parent.entry(key).or_insert(Item::None) {
        Item::Value(Value::Array(array)) => {
            let inline: InlineTable = fields.iter().cloned().collect();
            array.insert(at.min(array.len()), inline);
        }
        Item::ArrayOfTables(tables) => {
            let mut all: Vec<Table> = tables.iter().cloned().collect();
            let at = at.min(all.len());
            // The file's first lines are the decor of what stands first there; they stay first.
            all.insert(at, table());
            *tables = all.into_iter().collect();
        }
        other => {
            let mut tables = ArrayOfTables::new();
            tables.push(table());
            *other = Item::ArrayOfTables(tables);
        }
    }
    Ok(document.to_string())
}

/// Moves a part of a list, or takes it out with what stands in it.
pub(super) fn move_part(
    document: &DocumentMut,
    list: &Place,
    from: usize,
    to: Option<usize>,
) -> Result<String, EditRefused> {
    let mut document = document.clone();
    let (way, key) = list.split();
    let none = || NoSuchPlace(format!("`{list}`: there is no part no. {}", from + 1));
    let parent = part_mut(document.as_table_mut(), way, list)?;
    match parent.get_mut(key) {
        Some(Item::Value(Value::Array(array))) if from < array.len() => {
            let part = array.remove(from);
            if let Some(to) = to {
                array.insert_formatted(to.min(array.len()), part);
            }
        }
        Some(Item::ArrayOfTables(tables)) if from < tables.len() => {
            let mut all: Vec<Table> = tables.iter().cloned().collect();
            let part = all.remove(from);
            if let Some(to) = to {
                all.insert(to.min(all.len()), part);
            }
            // Tables are written by where they stood: their places go to whoever stands there now.
            let mut places: Vec<Option<isize>> = tables.iter().map(Table::position).collect();
            places.sort_unstable();
            for (table, place) in all.iter_mut().zip(places) {
                table.set_position(place);
            }
            *tables = all.into_iter().collect();
        }
        _ => return Err(none().into()),
    }
    Ok(document.to_string())
}

/// The table a place leads to; missing tables without picks are made.
fn part_mut<'a>(
    root: &'a mut Table,
    way: &[PlaceStep],
    place: &Place,
) -> Result<&'a mut dyn TableLike, NoSuchPlace> {
    let mut table: &mut dyn TableLike = root;
    for step in way {
        let none = || NoSuchPlace(format!("`{place}`: there is no such part in the record"));
        let item = match &step.pick {
            None => table.entry(&step.key).or_insert_with(|| {
                let mut made = Table::new();
                made.decor_mut().set_prefix("\n");
                Item::Table(made)
            }),
            Some(_) => table.get_mut(&step.key).ok_or_else(none)?,
        };
        table = match (&step.pick, item) {
            (None, item) => item.as_table_like_mut().ok_or_else(none)?,
            (Some(pick), Item::ArrayOfTables(tables)) => {
                let index = index_of(pick, tables.iter().map(|table| table as &dyn TableLike));
                let found = index.and_then(|index| tables.get_mut(index));
                found.ok_or_else(none)?
            }
            (Some(pick), Item::Value(Value::Array(array))) => {
                let tables = array.iter().map(|value| value.as_inline_table());
                let tables: Option<Vec<&InlineTable>> = tables.collect();
                let tables = tables.ok_or_else(none)?;
                let index = index_of(pick, tables.into_iter().map(|table| table as &dyn TableLike));
                let found = index.and_then(|index| array.get_mut(index));
                found.and_then(Value::as_inline_table_mut).ok_or_else(none)?
            }
            _ => return Err(none()),
        };
    }
    Ok(table)
}

fn index_of<'a>(pick: &Pick, tables: impl Iterator<Item = &'a dyn TableLike>) -> Option<usize> {
    match pick {
        Pick::Index(index) => Some(*index),
        Pick::Where { key, is } => {
            let mut tables = tables;
            tables.position(|table| {
                let item = table.get(key);
                let item = match item.and_then(Item::as_table_like) {
                    Some(annotated) => annotated.get("value"),
                    None => item,
                };
                item.and_then(Item::as_value).is_some_and(|value| match value {
                    Value::String(text) => text.value() == is,
                    Value::Integer(number) => number.value().to_string() == *is,
                    _ => false,
                })
            })
        }
    }
}

/// Fills a key in at the line where it stands commented out, when there is one in the table's own section.
fn uncomment(text: &str, way: &[PlaceStep], key: &str, value: &Value) -> Option<String> {
    if way.is_empty() || way.iter().any(|step| step.pick.is_some()) {
        return None;
    }
    let header = format!("[{}]", dotted(way));
    let commented = format!("# {key} = ");
    let mut offset = 0;
    let mut inside = false;
    for line in text.split_inclusive('\n') {
        let bare = line.trim();
        if bare == header {
            inside = true;
        } else if inside && (bare.starts_with('[') || bare.starts_with("# [")) {
            return None;
        } else if inside && line.starts_with(&commented) {
            let end = offset + line.trim_end_matches(['\r', '\n']).len();
            let mut value = value.clone();
            value.decor_mut().clear();
            let filled = format!("{}{key} = {value}{}", text.get(..offset)?, text.get(end..)?);
            return says_the_same(text, &filled, way, key).then_some(filled);
        }
        offset += line.len();
    }
    None
}

/// True when the only difference between two texts is one key: a line that looked commented out may have been
/// part of a text of several lines.
fn says_the_same(old: &str, new: &str, way: &[PlaceStep], key: &str) -> bool {
    let (Ok(old), Ok(mut new)) = (old.parse::<toml::Table>(), new.parse::<toml::Table>()) else {
        return false;
    };
    let mut table = &mut new;
    for step in way {
        match table.get_mut(&step.key) {
            Some(toml::Value::Table(inner)) => table = inner,
            _ => return false,
        }
    }
    table.remove(key).is_some() && old == new
}

/// Writes the first part of a list behind the commented example of one.
fn append_at_comment(text: &str, list: &Place, fields: &[(&str, Value)]) -> Option<String> {
    let name = dotted(&list.0);
    let header = format!("# [[{name}]]");
    let mut offset = 0;
    let mut found = false;
    let mut end = None;
    for line in text.split_inclusive('\n') {
        if line.trim_end() == header {
            found = true;
        } else if found && !line.starts_with('#') {
            end = Some(offset);
            break;
        }
        offset += line.len();
    }
    let end = if found {
        end.unwrap_or(text.len())
    } else {
        return None;
    };
    let mut block = String::new();
    if !text.get(..end)?.ends_with('\n') {
        block.push('\n');
    }
    block.push_str(&format!("\n[[{name}]]\n"));
    for (key, value) in fields {
        let mut value = value.clone();
        value.decor_mut().clear();
        block.push_str(&format!("{key} = {value}\n"));
    }
    let filled = format!("{}{block}{}", text.get(..end)?, text.get(end..)?);
    let (way, key) = list.split();
    says_the_same_but_for_list(text, &filled, way, key).then_some(filled)
}

fn says_the_same_but_for_list(old: &str, new: &str, way: &[PlaceStep], key: &str) -> bool {
    if says_the_same(old, new, way, key) {
        return true;
    }
    // The parent table may be new as well.
    match way.split_last() {
        Some((last, before)) => {
            let empty =
                |text: &str| text.parse::<toml::Table>().is_ok_and(|table| !table.contains_key(&last.key));
            before.is_empty() && empty(old) && says_the_same(old, new, before, &last.key)
        }
        None => false,
    }
}

fn dotted(way: &[PlaceStep]) -> String {
    let keys: Vec<&str> = way.iter().map(|step| step.key.as_str()).collect();
    keys.join(".")
}
