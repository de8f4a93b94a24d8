//! Takes what a record withholds out of it, before anything is derived: fields, texts, and the names of parts, photos and
//! logs.

use std::collections::BTreeMap;

use super::field::FieldRef;
use super::fold::Wanted;
use super::plan::Plan;
use super::{OwnWords, SHORTEST_VALUE, Withheld, WithheldSummary};
use crate::record::field::WITHHELD;
use crate::record::parts::Withhold;
use crate::record::{AnyPart, Found, Record, State, Value};

impl Withheld {
    /// Takes everything that is to be withheld out of a record.
    pub(crate) fn take_out(record: &mut Record, plan: &Plan, own: &OwnWords) -> Self {
        let mut withheld = Self::default();
        texts_of(plan, record, own, &mut withheld);
        withheld.areas.clone_from(&plan.areas);
        let names = Names::of(record, plan, &withheld);
        withheld.to_look_at = to_look_at(record, plan, &names);
        // Parts are chosen by their names, so these go last of the two.
        for (_, field) in &plan.fields {
            field.each(record, &mut |part| withhold(part, field));
        }
        names.rename(record);
        withheld.record(record);
        record.withhold = Withhold::default();
        withheld.originals =
            names.files.iter().map(|(original, new)| (new.clone(), original.clone())).collect();
        withheld.summary = WithheldSummary {
            fields: plan.fields.iter().map(|(key, _)| withheld.apply(key)).collect(),
            texts: plan.texts.len(),
            areas: plan.areas.iter().map(|(photo, areas)| (withheld.published(photo), areas.len())).collect(),
            renamed_photos: names.photos,
            findings: 0,
        };
        withheld
    }
}

/// Literal texts, and the values of named fields that are worth searching.
fn texts_of(plan: &Plan, record: &mut Record, own: &OwnWords, withheld: &mut Withheld) {
    for (number, text) in plan.texts.iter().enumerate() {
        withheld.withhold(text, format!("text {} of `[withhold] texts`", number + 1));
    }
    let mut found: Vec<(&str, String)> = Vec::new();
    for (key, field) in &plan.fields {
        field.each(record, &mut |part| {
            found.extend(values_of(part, field.field).into_iter().map(|value| (key.as_str(), value)));
        });
    }
    let values: Vec<String> = found.iter().map(|(_, value)| value.clone()).collect();
    let own = own.hold(&values);
    for (key, value) in found {
        if Wanted::of(&value).letters() >= SHORTEST_VALUE && !own.contains(&value) {
            withheld.withhold(&value, format!("the value of `{key}`"));
        }
    }
    // A key may itself hold what is withheld: the id of the part it chooses.
    withheld.which = withheld.which.iter().map(|which| withheld.apply(which)).collect();
}

/// The texts of a field: its value, and a remark on it.
fn values_of(part: &mut dyn AnyPart, key: &str) -> Vec<String> {
    if let Some(found) = part.field(key) {
        let values = match found.value() {
            Some(Value::Text(text)) => vec![text.clone()],
            Some(Value::Date(date)) => vec![date.to_string()],
            Some(Value::List(items)) => items.clone(),
            _ => Vec::new(),
        };
        return values.into_iter().chain(found.note.clone()).collect();
    }
    let own = part.own_of();
    match key {
        "note" => own.note.iter().cloned().collect(),
        "video" => own.video.iter().cloned().collect(),
        "with" => own.with.iter().cloned().collect(),
        "photos" => own.photos.clone(),
        _ => Vec::new(),
    }
}

/// Takes the value of a field out of a part. An id and a photo's file are renamed instead, see [`Names`].
fn withhold(part: &mut dyn AnyPart, field: &FieldRef) {
    if field.is_name() {
        return;
    }
    if let Some(found) = part.field_mut(field.field) {
        if found.state != State::NotLooked {
            found.state = State::Withheld;
            found.note = None;
        }
        return;
    }
    if field.field == "with"
        && let Some(with) = part.own_of().with.clone()
    {
        // Plain values of the table were taken with it.
        for info in part.shape().fields {
            if let Some(found) = part.field_mut(info.name).filter(|found| found.with.as_ref() == Some(&with))
            {
                found.with = Some(WITHHELD.to_owned());
            }
        }
    }
    let own = part.own_of();
    match field.field {
        "note" if own.note.is_some() => own.note = Some(WITHHELD.to_owned()),
        "video" => own.video = None,
        // An instrument that has no accuracy is something else than one that is not named.
        "with" if own.with.is_some() => own.with = Some(WITHHELD.to_owned()),
        "photos" if !own.photos.is_empty() => {
            own.photos.clear();
            own.photos_withheld = true;
        }
        _ => {}
    }
}

/// Listed photos that a withheld field, or the part that holds it, names, and that have no area; by published name.
fn to_look_at(record: &mut Record, plan: &Plan, names: &Names) -> Vec<String> {
    let mut named: Vec<String> = Vec::new();
    for (_, field) in &plan.fields {
        field.each(record, &mut |part| {
            named.extend(part.field(field.field).into_iter().flat_map(|found| found.photos.clone()));
            named.extend(part.own_of().photos.iter().cloned());
        });
    }
    let mut shown: Vec<String> = record
        .photo
        .iter()
        .filter_map(|photo| photo.file.text())
        .filter(|file| named.iter().any(|name| name == file || file.rsplit('/').next() == Some(name)))
        .filter(|file| !plan.areas.contains_key(*file))
        .map(|file| names.files.get(file).cloned().unwrap_or_else(|| file.to_owned()))
        .collect();
    shown.dedup();
    shown
}

/// New names for parts, photos and logs whose own name must not appear.
#[derive(Default)]
struct Names {
    /// Kind of part and id, and the new id.
    parts: BTreeMap<(&'static str, String), String>,
    /// The file of a photo or log, and its new name.
    files: BTreeMap<String, String>,
    photos: usize,
}

impl Names {
    fn of(record: &mut Record, plan: &Plan, withheld: &Withheld) -> Self {
        let mut names = Self::default();
        let mut named: Vec<String> = Vec::new();
        for (_, field) in plan.fields.iter().filter(|(_, field)| field.is_name()) {
            field.each(record, &mut |part| match part.field(field.field).and_then(Found::value) {
                Some(Value::List(files)) => named.extend(files.iter().cloned()),
                _ => named.extend(part.field(field.field).map(Found::show)),
            });
        }
        let withheld = |name: &str| named.iter().any(|known| known == name) || withheld.concerns(name);
        names.collect(record, &withheld);
        names
    }

    fn collect(&mut self, part: &mut dyn AnyPart, withheld: &dyn Fn(&str) -> bool) {
        for inner in part.parts_inside() {
            let number = inner.index.map_or(1, |index| index + 1);
            if let Some(Value::Text(id)) = inner.part.field("id").and_then(Found::value)
                && withheld(id)
            {
                let key = (inner.name, id.clone());
                // Elements of the pack, of the rig and of its loads are numbered each for themselves.
                let taken =
                    |name: &String| self.parts.iter().any(|(known, new)| *known != key && new == name);
                let new =
                    (number..).map(|number| format!("{}-{number}", inner.name)).find(|name| !taken(name));
                self.parts.insert(key, new.unwrap_or_default());
            }
            for (key, folder) in [("file", "photos"), ("log", "logs"), ("logs", "logs")] {
                let files = match inner.part.field(key).and_then(Found::value) {
                    Some(Value::Text(file)) => std::slice::from_ref(file),
                    Some(Value::List(files)) => files.as_slice(),
                    _ => &[],
                };
                for file in files.iter().filter(|file| withheld(file)) {
                    if !self.files.contains_key(file) {
                        let number = if key == "file" { number } else { self.files.len() + 1 };
                        self.files.insert(file.clone(), neutral(folder, file, number));
                        self.photos += usize::from(key == "file");
                    }
                }
            }
            self.collect(inner.part, withheld);
        }
    }

    fn rename(&self, record: &mut Record) {
        if !(self.parts.is_empty() && self.files.is_empty()) {
            self.rename_in("", record);
        }
    }

    fn rename_in(&self, name: &'static str, part: &mut dyn AnyPart) {
        let own = part.own_of();
        self.references("instrument", own.with.iter_mut());
        self.photo_names(&mut own.photos);
        for field in part.shape().fields {
            let Some(found) = part.field_mut(field.name) else { continue };
            self.references("instrument", found.with.iter_mut());
            self.photo_names(&mut found.photos);
            match (&mut found.state, field.name) {
                (State::Known(Value::Text(id)), "id") => {
                    if let Some(new) = self.parts.get(&(name, id.clone())) {
                        id.clone_from(new);
                    }
                }
                (State::Known(Value::Text(id)), "of" | "part") => self.references("element", [id]),
                (State::Known(Value::Text(id)), "instrument") => self.references("instrument", [id]),
                (State::Known(Value::Text(id)), "load") => self.references("load", [id]),
                (State::Known(Value::Text(id)), "capacity_test") => self.references("test", [id]),
                (State::Known(Value::Text(file)), "file" | "log") => {
                    self.photo_names(std::slice::from_mut(file));
                }
                (State::Known(Value::List(files)), "logs") => self.photo_names(files),
                (State::Known(Value::List(shows)), "shows") => self.references("element", shows),
                _ => {}
            }
        }
        for inner in part.parts_inside() {
            self.rename_in(inner.name, inner.part);
        }
    }

    /// Renames what refers to a part by its id; several instruments stand in one text, parted by commas.
    fn references<'a>(&self, kind: &'static str, texts: impl IntoIterator<Item = &'a mut String>) {
        for text in texts {
            let renamed: Vec<String> = text
                .split(',')
                .map(str::trim)
                .map(|id| self.parts.get(&(kind, id.to_owned())).cloned().unwrap_or_else(|| id.to_owned()))
                .collect();
            let renamed = renamed.join(", ");
            if renamed != *text {
                *text = renamed;
            }
        }
    }

    /// Photos are named by their file, or by its last part.
    fn photo_names(&self, files: &mut [String]) {
        for file in files {
            let last = |path: &str| path.rsplit('/').next().unwrap_or(path).to_owned();
            if let Some(new) = self.files.get(file) {
                file.clone_from(new);
            } else if let Some((_, new)) = self.files.iter().find(|(known, _)| last(known) == *file) {
                *file = last(new);
            }
        }
    }
}

/// A name that says no more than which photo or log it is and what kind of file.
fn neutral(folder: &str, file: &str, number: usize) -> String {
    let extension = file
        .rsplit_once('.')
        .map(|(_, extension)| extension.to_ascii_lowercase())
        .filter(|extension| {
            (1..=4).contains(&extension.len()) && extension.bytes().all(|b| b.is_ascii_alphanumeric())
        })
        .map_or_else(String::new, |extension| format!(".{extension}"));
    format!("{folder}/renamed-{number}{extension}")
}

impl FieldRef {
    /// True for a field that is renamed rather than taken out, because other parts refer to it or a file is found by it.
    fn is_name(&self) -> bool {
        matches!(self.field, "id" | "file" | "log" | "logs")
    }
}
