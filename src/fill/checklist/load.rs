//! From a checklist file to checked items.
//!
//! Refused: a field the record does not have, a condition that names an unknown fact or compares what does not
//! go together, a part outside its `each`, two items with one id, and a list that extends or drops what is not there.

use std::ops::Range;
use std::sync::Arc;

use super::entries::{DropEntry, ItemEntry, ListFile, SectionEntry, SharedFile};
use super::{Adds, Aside, Checklist, Fills, Item, SHARED, Scope, Section, scope};
use crate::judge::facts::{Type, field_info};
use crate::judge::rules::Book;
use crate::judge::rules::expr::{self, Expr};
use crate::judge::rules::names::Names;
use crate::record::field::Text;
use crate::record::part::{document, needed};
use crate::record::problem::{Problem, Problems};
use crate::record::{Entry, FieldInfo, Part, Record};
use crate::units::words::did_you_mean;

/// What is said where no name is near.
const NO_SUCH: &str = "no such name is known";

pub(super) fn add(lists: &mut Vec<Checklist>, file: &str, text: &str) -> Result<(), Problems> {
    let read: ListFile = document(file, text, |_, _: &ListFile| {})?;
    let book = Book::built_in()?;
    let mut loading = Loading {
        file: Arc::from(file),
        text,
        names: Names::new(book.limits.iter().map(|l| (l.name.clone(), l.amount.dimension))),
        problems: Vec::new(),
    };
    let made = loading.list(lists, &read);
    match made {
        Some(list) if loading.problems.is_empty() => {
            match lists.iter_mut().find(|old| old.kind == list.kind) {
                Some(old) => *old = list,
                None => lists.push(list),
            }
            Ok(())
        }
        _ => Err(Problems::new(file, text, loading.problems)),
    }
}

struct Loading<'a> {
    file: Arc<str>,
    text: &'a str,
    names: Names,
    problems: Vec<Problem>,
}

impl Loading<'_> {
    fn problem(&mut self, span: Range<usize>, message: String, expected: &str, example: &str) {
        self.problems.push(Problem::at(span, message, expected, example));
    }

    fn needed(
        &mut self,
        entry: &Entry<Text>,
        own: &Range<usize>,
        key: &str,
        example: &str,
    ) -> Option<String> {
        needed(&mut self.problems, entry, own, key, example)
    }

    fn list(&mut self, lists: &[Checklist], read: &ListFile) -> Option<Checklist> {
        let mut list = match read.extends.text() {
            Some(base) => {
                let Some(base) = lists.iter().find(|list| list.kind == base) else {
                    let known: Vec<&str> = lists.iter().map(|list| list.kind.as_str()).collect();
                    self.problem(
                        read.extends.found().span.clone(),
                        format!("there is no list `{base}` to extend"),
                        &did_you_mean(base, known.iter().copied(), NO_SUCH),
                        &format!("lists: {}", known.join(", ")),
                    );
                    return None;
                };
                base.clone()
            }
            None => Checklist {
                kind: self.needed(&read.kind, &(0..0), "kind", "kind = \"drop-in\"")?,
                title: String::new(),
                about: String::new(),
                sections: Vec::new(),
            },
        };
        for (entry, slot) in
            [(&read.kind, &mut list.kind), (&read.title, &mut list.title), (&read.about, &mut list.about)]
        {
            if let Some(text) = entry.text() {
                text.clone_into(slot);
            }
        }
        for entry in &read.drop {
            self.drop(&mut list, entry);
        }
        let mut seen = Vec::new();
        for entry in &read.section {
            self.section(&mut list, entry, &mut seen);
        }
        let mut number = 0;
        for section in &mut list.sections {
            for item in &mut section.items {
                number += 1;
                Arc::make_mut(item).number = number;
            }
        }
        Some(list)
    }

    fn drop(&mut self, list: &mut Checklist, entry: &DropEntry) {
        let own = &entry.own.span;
        self.needed(&entry.reason, own, "reason", "reason = \"our packs have no gauge\"");
        if let Some(id) = entry.section.text() {
            let known: Vec<String> = list.sections.iter().map(|s| s.id.clone()).collect();
            if known.iter().any(|k| k == id) {
                list.sections.retain(|section| section.id != id);
            } else {
                self.not_there(&entry.section, "section", id, &known);
            }
        }
        if let Some(id) = entry.item.text() {
            let known: Vec<String> = list.items().map(|item| item.id.clone()).collect();
            if known.iter().any(|k| k == id) {
                for section in &mut list.sections {
                    section.items.retain(|item| item.id != id);
                }
            } else {
                self.not_there(&entry.item, "item", id, &known);
            }
        }
        if entry.section.text().is_none() && entry.item.text().is_none() {
            self.problem(
                own.clone(),
                "nothing is dropped here".to_owned(),
                "expected `item` or `section`",
                "item = \"manual-gauge\"",
            );
        }
    }

    fn not_there(&mut self, entry: &Entry<Text>, what: &str, id: &str, known: &[String]) {
        let known: Vec<&str> = known.iter().map(String::as_str).collect();
        self.problem(
            entry.found().span.clone(),
            format!("there is no {what} `{id}` in the list"),
            &did_you_mean(id, known.iter().copied(), NO_SUCH),
            "`underlid checklist --ids` lists them",
        );
    }

    fn section(&mut self, list: &mut Checklist, entry: &SectionEntry, seen: &mut Vec<String>) {
        let own = entry.own.span.clone();
        let Some(id) = self.needed(&entry.id, &own, "id", "id = \"positive-leg\"") else {
            return;
        };
        let mut place = list.sections.iter().position(|section| section.id == id);
        if place.is_none() {
            let new = Section {
                title: entry.title.text().unwrap_or(&id).to_owned(),
                id: id.clone(),
                about: String::new(),
                caution: String::new(),
                items: Vec::new(),
            };
            let at = match entry.after.text() {
                None => list.sections.len(),
                Some(after) => match list.sections.iter().position(|s| s.id == after) {
                    Some(index) => index + 1,
                    None => {
                        let known: Vec<String> = list.sections.iter().map(|s| s.id.clone()).collect();
                        self.not_there(&entry.after, "section", after, &known);
                        return;
                    }
                },
            };
            list.sections.insert(at, new);
            place = Some(at);
        }
        let Some(place) = place else { return };
        if let Some(section) = list.sections.get_mut(place) {
            for (entry, slot) in [
                (&entry.title, &mut section.title),
                (&entry.about, &mut section.about),
                (&entry.caution, &mut section.caution),
            ] {
                if let Some(text) = entry.text() {
                    text.clone_into(slot);
                }
            }
        }
        let own = entry.item.iter().map(|item_entry| (self.item(item_entry), item_entry)).collect::<Vec<_>>();
        let shared = self.shared(entry).unwrap_or_default();
        let shared = shared.iter().map(|(item, item_entry)| (Some(item.clone()), item_entry));
        for (item, item_entry) in own.into_iter().chain(shared) {
            let Some(item) = item else {
                continue;
            };
            if seen.contains(&item.id) {
                let span = item_entry.id.found().span.clone();
                self.problem(
                    span,
                    format!("there are two items `{}`", item.id),
                    "expected an id of its own",
                    "id = \"fuse-rating-2\"",
                );
                continue;
            }
            seen.push(item.id.clone());
            self.place(list, place, item, item_entry);
        }
    }

    /// The items that a section shares with others, made its own by the leg's word before their ids.
    fn shared(&mut self, entry: &SectionEntry) -> Option<Vec<(Item, ItemEntry)>> {
        let name = entry.shared.text()?;
        let span = entry.shared.found().span.clone();
        let Some((_, file, text)) = SHARED.iter().find(|(known, ..)| *known == name) else {
            let known: Vec<&str> = SHARED.iter().map(|(name, ..)| *name).collect();
            let message = format!("there are no shared items `{name}`");
            self.problem(
                span,
                message,
                &did_you_mean(name, known.iter().copied(), NO_SUCH),
                "shared = \"leg\"",
            );
            return None;
        };
        let Some(leg) = entry.leg.known() else {
            self.problem(
                span,
                "shared items need the leg they are about".to_owned(),
                "expected `leg`",
                "leg = \"negative\"",
            );
            return None;
        };
        let read: SharedFile = match document(file, text, |_, _: &SharedFile| {}) {
            Ok(read) => read,
            Err(problems) => {
                self.problem(span, problems.to_string(), "a right list", "");
                return None;
            }
        };
        let mut loading =
            Loading { file: Arc::from(*file), text, names: self.names.clone(), problems: Vec::new() };
        let mut items = Vec::new();
        for entry in read.item {
            if let Some(mut item) = loading.item(&entry) {
                item.id = format!("{}-{}", leg.word(), item.id);
                item.leg = Some(leg);
                items.push((item, entry));
            }
        }
        if let Some(first) = loading.problems.first() {
            self.problem(span, format!("{file}: {}", first.message), &first.expected, &first.example);
        }
        Some(items)
    }

    /// Puts an item where one of its id stands, after the one it names, or at the end of its section.
    fn place(&mut self, list: &mut Checklist, section: usize, item: Item, entry: &ItemEntry) {
        let item = Arc::new(item);
        for old in list.sections.iter_mut().flat_map(|section| &mut section.items) {
            if old.id == item.id {
                *old = item;
                return;
            }
        }
        let known: Vec<String> = list.items().map(|item| item.id.clone()).collect();
        let Some(section) = list.sections.get_mut(section) else {
            return;
        };
        match entry.after.text() {
            None => section.items.push(item),
            Some(after) => match section.items.iter().position(|old| old.id == after) {
                Some(index) => section.items.insert(index + 1, item),
                None => self.not_there(&entry.after, "item", after, &known),
            },
        }
    }

    fn item(&mut self, entry: &ItemEntry) -> Option<Item> {
        let own = entry.own.span.clone();
        let id = self.needed(&entry.id, &own, "id", "id = \"fuse-rating\"");
        let prompt =
            self.needed(&entry.prompt, &own, "prompt", "prompt = \"Rated current printed on the fuse?\"");
        let why =
            self.needed(&entry.why, &own, "why", "why = \"It decides what the conductors must survive.\"");
        let look = self.needed(&entry.look, &own, "look", "look = \"Turn the fuse to the light.\"");
        let scope = self.scope(entry)?;
        let fills = self.fills(entry, &scope)?;
        let when = match entry.when.text() {
            None => None,
            Some(text) => Some((text.to_owned(), self.condition(text, &entry.when, &scope)?)),
        };
        let aside = match entry.aside.text() {
            None | Some("no") => Aside::Never,
            Some("yes") => Aside::Always,
            Some(text) => Aside::Where(self.condition(text, &entry.aside, &scope)?),
        };
        let card = entry.card.text().map(str::to_owned);
        if card.is_some() && !matches!(fills, Fills::Field { .. }) {
            let span = entry.card.found().span.clone();
            self.problem(
                span,
                "an item of a card fills a field".to_owned(),
                "expected a `field`, or no `card`",
                "field = \"element.rating\"",
            );
            return None;
        }
        Some(Item {
            number: 0,
            id: id?,
            prompt: prompt?,
            why: why?,
            look: look?,
            fills,
            scope,
            leg: entry.leg.known(),
            photo: entry.photo.known(),
            shows: entry.shows.text().map(str::to_owned),
            caution: entry.caution.text().unwrap_or_default().to_owned(),
            when,
            how: entry.own.how,
            aside,
            card,
            file: Arc::clone(&self.file),
            when_span: entry.when.found().span.clone(),
        })
    }

    fn scope(&mut self, entry: &ItemEntry) -> Option<Scope> {
        scope::of_each(entry.each.list(), &entry.each.found().span)
            .map_err(|problem| self.problems.push(problem))
            .ok()
    }

    fn fills(&mut self, entry: &ItemEntry, scope: &Scope) -> Option<Fills> {
        match (entry.field.text(), entry.adds.known()) {
            (Some(_), Some(_)) => {
                let span = entry.adds.found().span.clone();
                self.problem(
                    span,
                    "an item fills a field or adds parts".to_owned(),
                    "expected one of the two",
                    "field = \"element.rating\"",
                );
                None
            }
            (None, None) if *scope == Scope::Pack => Some(Fills::Remark),
            (None, None) => {
                let span = entry.own.span.clone();
                self.problem(
                    span,
                    "an item asked for each part needs a `field`".to_owned(),
                    "expected a field of that part",
                    "field = \"element.marking\"",
                );
                None
            }
            (None, Some(adds)) => {
                self.asked_of(entry, adds)?;
                Some(Fills::Adds(adds))
            }
            (Some(name), None) => {
                let span = entry.field.found().span.clone();
                let Some(info) = field_of(name) else {
                    let known = field_names();
                    let known: Vec<&str> = known.iter().map(String::as_str).collect();
                    self.problem(
                        span,
                        format!("the record has no field `{name}`"),
                        &did_you_mean(name, known.iter().copied(), NO_SUCH),
                        "field = \"element.rating\"; `underlid schema` prints every field",
                    );
                    return None;
                };
                if !scope::fills(scope, name) {
                    let head = name.split('.').next().unwrap_or_default();
                    self.problem(
                        span,
                        format!("`{name}` is known only for each {head}"),
                        &format!("expected `each` to name the {head}"),
                        &format!("each = [\"{}\"]", if head == "element" { "fuse" } else { head }),
                    );
                    return None;
                }
                Some(Fills::Field { name: name.to_owned(), info })
            }
        }
    }

    /// Refuses parts that would not know what they belong to.
    fn asked_of(&mut self, entry: &ItemEntry, adds: Adds) -> Option<()> {
        let (each, word) = (entry.each.list().join(", "), adds.word());
        let fits = adds.asked_of();
        if fits.contains(&each.as_str()) {
            return Some(());
        }
        let span = entry.adds.found().span.clone();
        let (expected, example) = match fits {
            [one] if !one.is_empty() => {
                (format!("expected `each` to name the {one}"), format!("each = [\"{one}\"]"))
            }
            _ => ("expected no `each` here".to_owned(), format!("adds = \"{word}\"")),
        };
        self.problem(span, format!("an item cannot add a {word} here"), &expected, &example);
        None
    }

    fn condition(&mut self, text: &str, entry: &Entry<Text>, scope: &Scope) -> Option<Expr> {
        let names = &self.names;
        let scope = scope::of_conditions(scope);
        let read = expr::parse(text).and_then(|parsed| {
            let kind = expr::check(&parsed, &|name| {
                if scope.knows(name) { names.lookup(name) } else { Err(None) }
            })?;
            Ok((parsed, kind))
        });
        let span = entry.found().span.clone();
        match read {
            Ok((parsed, Type::YesNo)) => Some(parsed),
            Ok(_) => {
                self.problem(
                    span,
                    "a condition is a yes or a no".to_owned(),
                    "expected a comparison",
                    "when = 'claims.heater is yes'",
                );
                None
            }
            Err(error) => {
                let whole = self.text.get(span.clone()).unwrap_or_default();
                let span = match whole.find(text) {
                    Some(start) => span.start + start + error.at.start..span.start + start + error.at.end,
                    None => span,
                };
                self.problem(span, error.message, &error.expected, "when = 'claims.heater is yes'");
                None
            }
        }
    }
}

/// A field by its dotted name; `notes` is the only one without a part.
pub(super) fn field_of(name: &str) -> Option<&'static FieldInfo> {
    if name == "notes" {
        return Record::SHAPE.fields.iter().find(|info| info.name == name);
    }
    if name.matches('.').count() != 1 {
        return None;
    }
    field_info(name)
}

/// Every field that an item may fill, by its dotted name.
pub(super) fn field_names() -> Vec<String> {
    let mut names = vec!["notes".to_owned()];
    fn collect(prefix: &str, shape: crate::record::Shape, names: &mut Vec<String>) {
        for field in shape.fields {
            let name = format!("{prefix}.{}", field.name);
            if !names.contains(&name) {
                names.push(name);
            }
        }
        for child in shape.children {
            collect(child.name, (child.shape)(), names);
        }
    }
    for child in Record::SHAPE.children {
        collect(child.name, (child.shape)(), &mut names);
    }
    names
}
