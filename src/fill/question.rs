//! The questions of a checklist for one record: which apply, to which part, and what is recorded already.

use std::fmt::Write;
use std::sync::Arc;

use sha2::{Digest, Sha256};

use super::subject::{Of, text_of, there};
use crate::fill::checklist::{Adds, Aside, Checklist, Fills, Item, PhotoWanted, Scope};
use crate::judge::facts::{Derived, Facts, Val};
use crate::judge::rules::expr::evaluate;
use crate::record::edit::Place;
use crate::record::field::Found;
use crate::record::parts::{Element, ElementKind};
use crate::record::{How, Kind, Record, State};
use crate::units::Amount;

/// Cells that are asked for one by one; packs with more are read in by groups.
const MOST_CELLS: u32 = 512;

/// What a question is asked of: an item, and the part by name.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Key {
    /// The item's id.
    pub item: String,
    /// The part's id, or `#` and its number; empty for the pack.
    pub part: String,
}

impl std::fmt::Display for Key {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.part.is_empty() { f.write_str(&self.item) } else { write!(f, "{}@{}", self.item, self.part) }
    }
}

impl std::str::FromStr for Key {
    type Err = std::convert::Infallible;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        let (item, part) = text.split_once('@').unwrap_or((text, ""));
        Ok(Self { item: item.to_owned(), part: part.to_owned() })
    }
}

/// Whether a question applies.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Applies {
    /// It does.
    Yes,
    /// It does not; why.
    No(String),
    /// It waits for other answers; which.
    Waits(String),
}

/// A question of one part.
#[derive(Debug, Clone)]
pub struct Question {
    /// What it is asked of.
    pub key: Key,
    /// Its number, `12`, or `34.2` for the second part of an item.
    pub number: String,
    /// The section's id.
    pub section: String,
    /// The item.
    pub item: Arc<Item>,
    /// The part as a person would name it; empty for the pack.
    pub of: String,
    /// Where the answer goes; nothing for a cell or a remark that is not in the record yet.
    pub place: Option<Place>,
    /// The part the answer belongs to; nothing when it is not in the record yet.
    pub part: Option<Place>,
    /// What a photo of it shows: an element's id or the name of a part.
    pub shows: String,
    /// What is recorded.
    pub found: Found,
    /// Photos tied to the part.
    pub part_photos: Vec<String>,
    /// The instruments of the part as a whole, with commas between.
    pub part_with: String,
    /// For questions that add parts: what is there already.
    pub there: Vec<String>,
    /// Whether it applies.
    pub applies: Applies,
    /// True when it is seldom wanted, or the record answers it otherwise.
    pub aside: bool,
    /// The part by its place.
    pub(super) of_what: Of,
}

impl Question {
    /// True while nothing is recorded.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.found.state == State::NotLooked && self.there.is_empty()
    }

    /// True when the walk stops at it: it is open or its answer is not plausible, it applies, and it is not one of those that are seldom wanted.
    #[must_use]
    pub fn is_asked(&self) -> bool {
        let in_doubt = self.found.doubts.iter().any(|doubt| doubt.implausible);
        (self.is_open() || in_doubt) && self.applies == Applies::Yes && !self.aside
    }

    /// True when a photo is required and none is tied to the part.
    #[must_use]
    pub fn lacks_photo(&self) -> bool {
        self.item.photo == Some(PhotoWanted::Required)
            && self.part_photos.is_empty()
            && self.found.photos.is_empty()
    }

    /// What is asked at once of an answer that is in doubt.
    #[must_use]
    pub fn asks_again(&self) -> Option<String> {
        let doubt = self.found.doubts.first()?;
        let meant = doubt.meant.as_deref().map_or_else(String::new, |meant| format!(" {meant}?"));
        // What is only claimed of a bench test no confirmation mends.
        let hearsay = doubt.name.starts_with("test.") && self.found.how == Some(How::Claimed);
        let stands = if doubt.implausible && !hearsay {
            format!("; if it stands, answer `{} confirmed`", self.found.show())
        } else {
            String::new()
        };
        Some(format!("in doubt: {}.{meant} Answer again{stands}", doubt.what))
    }

    /// A short fingerprint of what is recorded: an answer made upon another one is a conflict.
    #[must_use]
    pub fn revision(&self) -> String {
        let Found { state, how, with, photos, note, confirmed, doubts: _, span: _ } = &self.found;
        let text = format!("{state:?} {how:?} {with:?} {photos:?} {note:?} {confirmed}");
        let mut short = String::new();
        for byte in Sha256::digest(text.as_bytes()).iter().take(6) {
            let _ = write!(short, "{byte:02x}");
        }
        short
    }

    /// The kind of value, for a question that fills a field; a remark is text.
    #[must_use]
    pub fn kind(&self) -> Kind {
        match &self.item.fills {
            Fills::Field { info, .. } => info.kind,
            Fills::Adds(_) | Fills::Remark => Kind::Markdown,
        }
    }

    /// What a right answer looks like.
    #[must_use]
    pub fn expected(&self) -> String {
        match &self.item.fills {
            Fills::Field { info, .. } => match info.kind {
                Kind::YesNo => "yes or no".to_owned(),
                Kind::Word(_) => "a letter or a word".to_owned(),
                Kind::Text | Kind::Markdown | Kind::List => {
                    format!("text, such as: {}", info.example)
                }
                kind => format!("{}, such as {}", kind.expected(), info.example),
            },
            Fills::Adds(Adds::Elements | Adds::RigElements | Adds::Tests | Adds::Loads) => {
                "kinds with commas between, an id behind each if you like".to_owned()
            }
            Fills::Adds(Adds::Statements) => "claims with semicolons between".to_owned(),
            Fills::Adds(adds) => form(*adds).to_owned(),
            Fills::Remark => "a remark, or a photo".to_owned(),
        }
    }
}

/// What a right line of a part that is written in one looks like.
pub(super) const fn form(adds: Adds) -> &'static str {
    match adds {
        Adds::Meters => {
            "what is read = instrument and range, with commas between, such as: whole current = clamp 600 A, \
             branch current = clamp-2 300 A of inverter, pack voltage = meter-v 60 V"
        }
        Adds::Branches => {
            "name = log or column, with commas between, such as: load 1 = logs/branch-1.csv with clamp-1, \
             load 2 = Current 2 (A) with clamp-2"
        }
        Adds::Sensors => {
            "column = part and how it was fixed, with commas between, such as: T1 = positive-bar soldered, T2 = ambient"
        }
        Adds::Areas => "photo: left, top, width and height in % or px, such as: 01-label.jpg: 12 40 30 8 %",
        _ => "names with commas between",
    }
}

/// Everything a list of questions is made from.
pub(super) struct Asked<'a> {
    pub(super) record: &'a Record,
    pub(super) derived: &'a Derived,
    pub(super) limits: &'a std::collections::BTreeMap<String, Amount>,
}

/// A part that items are asked for each of.
struct Each {
    of_what: Of,
    part: String,
    of: String,
    /// Its number among those of the item's scope, from 1.
    number: usize,
}

/// The questions in the order they are asked.
pub(super) fn questions(list: &Checklist, asked: &Asked<'_>) -> Vec<Question> {
    let mut all = Vec::new();
    for section in &list.sections {
        let mut items = section.items.iter().peekable();
        while let Some(first) = items.next() {
            let mut block = vec![first];
            while let Some(next) = items.next_if(|next| same_block(first, next)) {
                block.push(next);
            }
            match &first.scope {
                Scope::Pack => all.extend(asked.question(&section.id, first, None)),
                // Cells are measured one after the other with one instrument; of other parts all is asked at once.
                Scope::Readings => {
                    for item in block {
                        for each in asked.each(item) {
                            all.extend(asked.question(&section.id, item, Some(&each)));
                        }
                    }
                }
                _ => {
                    let parts: Vec<Vec<Each>> = block.iter().map(|item| asked.each(item)).collect();
                    let mut order: Vec<Of> = parts.iter().flatten().map(|each| each.of_what).collect();
                    order.sort_unstable();
                    order.dedup();
                    for part in order {
                        for (item, parts) in block.iter().zip(&parts) {
                            if let Some(each) = parts.iter().find(|each| each.of_what == part) {
                                all.extend(asked.question(&section.id, item, Some(each)));
                            }
                        }
                    }
                }
            }
        }
    }
    all
}

fn same_block(first: &Item, next: &Item) -> bool {
    match (&first.scope, &next.scope) {
        (Scope::Pack, _) => false,
        (Scope::Elements(_), Scope::Elements(_)) => first.leg == next.leg,
        (Scope::RigElements(_), Scope::RigElements(_)) => true,
        (one, other) => one == other,
    }
}

/// A part's id, or its number where it has none or shares it.
fn part_key(ids: &[Option<&str>], index: usize) -> String {
    match ids.get(index).copied().flatten() {
        Some(id) if ids.iter().filter(|other| **other == Some(id)).count() == 1 => id.to_owned(),
        _ => format!("#{}", index + 1),
    }
}

impl Asked<'_> {
    fn each(&self, item: &Item) -> Vec<Each> {
        let record = self.record;
        let named = |ids: Vec<Option<&str>>, what: &str, of_what: fn(usize) -> Of| -> Vec<Each> {
            (0..ids.len())
                .map(|index| {
                    let part = part_key(&ids, index);
                    let of = match ids.get(index).copied().flatten() {
                        Some(id) => id.to_owned(),
                        None => format!("{what} {}", index + 1),
                    };
                    Each { of_what: of_what(index), part, of, number: index + 1 }
                })
                .collect()
        };
        let listed = |list: &str, key: &str, what: &str, of: fn(usize) -> Of| {
            let parts = Place::keys(list).parts(record);
            named(parts.into_iter().map(|part| text_of(part, key)).collect(), what, of)
        };
        match &item.scope {
            Scope::Pack | Scope::Rig | Scope::Source | Scope::Meters => Vec::new(),
            Scope::Elements(kinds) => {
                let elements = &record.path.element;
                let ids: Vec<Option<&str>> = elements.iter().map(|e| e.id.text()).collect();
                let all = named(ids, "element", Of::Element);
                let element = |each: &Each| match each.of_what {
                    Of::Element(index) => elements.get(index),
                    _ => None,
                };
                of_kinds(all, kinds, &element, |element| {
                    item.leg.is_none() || element.leg.known() == item.leg
                })
            }
            Scope::RigElements(kinds) => {
                let places = rig_elements(record);
                let ids: Vec<Option<&str>> = places.iter().map(|(_, e)| e.id.text()).collect();
                let mut all = named(ids, "element of the rig", Of::RigElement);
                for (each, (place, _)) in all.iter_mut().zip(&places) {
                    each.of_what = *place;
                }
                of_kinds(all, kinds, &|each| each.of_what.element(record), |_| true)
            }
            Scope::Loads => listed("rig.load", "id", "load", Of::Load),
            Scope::Readings => {
                let cells = record.cells.series.count().unwrap_or(0).min(MOST_CELLS);
                let mut positions: Vec<u32> = (1..=cells).collect();
                positions.extend(record.cells.reading.iter().filter_map(|r| r.position.count()));
                positions.sort_unstable();
                positions.dedup();
                positions
                    .into_iter()
                    .take(2 * MOST_CELLS as usize)
                    .map(|position| {
                        let at =
                            record.cells.reading.iter().position(|r| r.position.count() == Some(position));
                        Each {
                            of_what: at.map_or(Of::NewReading(position), Of::Reading),
                            part: position.to_string(),
                            of: format!("cell {position}"),
                            number: position as usize,
                        }
                    })
                    .collect()
            }
            Scope::Statements => listed("claims.statement", "id", "claim", Of::Statement),
            Scope::Layers => listed("bms.layer", "name", "layer", Of::Layer),
            Scope::Photos => listed("photo", "file", "photo", Of::Photo),
            Scope::Tests => listed("test", "id", "test", Of::Test),
            Scope::Instruments => listed("instrument", "id", "instrument", Of::Instrument),
        }
    }

    fn question(&self, section: &str, item: &Arc<Item>, each: Option<&Each>) -> Option<Question> {
        let record = self.record;
        let of = each.map_or(Of::Pack, |each| each.of_what);
        let facts = Facts { record, derived: self.derived, limits: self.limits, subject: of.subject() };
        let part = of.place(item);
        let known = part.as_ref().and_then(|place| place.parts(record).first().copied());
        let mut question = Question {
            key: Key { item: item.id.clone(), part: each.map(|each| each.part.clone()).unwrap_or_default() },
            number: match each {
                Some(each) => format!("{}.{}", item.number, each.number),
                None => item.number.to_string(),
            },
            section: section.to_owned(),
            item: Arc::clone(item),
            of: each.map(|each| each.of.clone()).unwrap_or_default(),
            place: None,
            shows: of.shows(record, item),
            found: Found::default(),
            part_photos: known.map(|part| part.said_of_itself().photos.clone()).unwrap_or_default(),
            part_with: known.and_then(|part| part.said_of_itself().with.clone()).unwrap_or_default(),
            part,
            there: Vec::new(),
            applies: applies(item, &facts),
            aside: match &item.aside {
                Aside::Never => false,
                Aside::Always => true,
                Aside::Where(holds) => evaluate(holds, &facts) == Ok(Val::YesNo(true)),
            },
            of_what: of,
        };
        match &item.fills {
            Fills::Field { name, info } => {
                // An element of another kind than the field belongs to is not asked.
                if let Some(element) = of.element(record)
                    && !element.kind()?.takes(info.name)
                {
                    return None;
                }
                question.place = question.part.clone().map(|part| part.then(info.name));
                if name == "notes" {
                    question.place = Some(Place::keys("notes"));
                    question.part = None;
                    question.found = record.notes.found().clone();
                } else if let Some(found) = known.and_then(|part| part.field(info.name)) {
                    question.found = found.clone();
                }
            }
            Fills::Adds(adds) => question.there = there(record, *adds, item.leg, of),
            Fills::Remark => {
                let at = record.item.iter().position(|i| i.id.text() == Some(item.id.as_str()));
                if let Some((index, answer)) = at.and_then(|index| Some((index, record.item.get(index)?))) {
                    let part = Place::keys("item").at(index);
                    question.found = answer.answer.found().clone();
                    question.part_photos.clone_from(&answer.own.photos);
                    question.place = Some(part.clone().then("answer"));
                    question.part = Some(part);
                    if question.found.state == State::NotLooked && !question.part_photos.is_empty() {
                        question.there = vec!["see the photo".to_owned()];
                    }
                } else {
                    question.part = None;
                }
            }
        }
        Some(question)
    }
}

/// Every element of the rig: those of the whole current, then those of each load.
fn rig_elements(record: &Record) -> Vec<(Of, &Element)> {
    let trunk =
        record.rig.element.iter().enumerate().map(|(index, element)| (Of::RigElement(index), element));
    let own = record.rig.load.iter().enumerate().flat_map(|(load, of)| {
        of.element.iter().enumerate().map(move |(index, element)| (Of::LoadElement(load, index), element))
    });
    trunk.chain(own).collect()
}

/// The elements of some kinds, numbered among themselves and called by id and name.
fn of_kinds<'a>(
    mut all: Vec<Each>,
    kinds: &[ElementKind],
    element: &dyn Fn(&Each) -> Option<&'a Element>,
    also: impl Fn(&Element) -> bool,
) -> Vec<Each> {
    all.retain(|each| {
        element(each)
            .is_some_and(|element| element.kind().is_some_and(|kind| kinds.contains(&kind)) && also(element))
    });
    for (number, each) in all.iter_mut().enumerate() {
        each.number = number + 1;
        if let Some(element) = element(each) {
            let words = element.name.text().or(element.kind.word()).unwrap_or_default();
            if words != each.of {
                each.of = format!("{} ({words})", each.of);
            }
        }
    }
    all
}

fn applies(item: &Item, facts: &Facts<'_>) -> Applies {
    let Some((text, when)) = &item.when else {
        return Applies::Yes;
    };
    match evaluate(when, facts) {
        Ok(Val::YesNo(true)) => Applies::Yes,
        Ok(_) => Applies::No(format!("`{text}` does not hold")),
        Err(missing) => {
            let what: Vec<&str> = missing.iter().map(|missing| missing.what.as_str()).collect();
            Applies::Waits(what.join("; "))
        }
    }
}
