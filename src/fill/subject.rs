//! What a question is asked of: where that part stands in the record, what is known of it, what a photo of it shows.

use crate::fill::checklist::{Adds, Fills, Item};
use crate::judge::facts::Subject;
use crate::record::edit::Place;
use crate::record::parts::{Element, Instrument, Leg};
use crate::record::{AnyPart, Record, Value};

/// A part of a record by its place, in the order in which parts are asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Of {
    /// The pack.
    Pack,
    /// An element of the path.
    Element(usize),
    /// A claim in words.
    Statement(usize),
    /// A layer of the heat path.
    Layer(usize),
    /// A cell reading.
    Reading(usize),
    /// A cell, by position, that has no reading yet.
    NewReading(u32),
    /// A photo.
    Photo(usize),
    /// A bench test.
    Test(usize),
    /// An instrument.
    Instrument(usize),
    /// An element of the rig that carries the whole current.
    RigElement(usize),
    /// A load of the rig.
    Load(usize),
    /// An element of a load of the rig.
    LoadElement(usize, usize),
}

impl Of {
    /// What the conditions of an item are read of. The rules know nothing of the rig.
    pub(super) const fn subject(self) -> Subject {
        match self {
            Self::Pack | Self::RigElement(_) | Self::Load(_) | Self::LoadElement(..) => Subject::Pack,
            Self::Element(index) => Subject::Element(index),
            Self::Statement(index) => Subject::Statement(index),
            Self::Layer(index) => Subject::Layer(index),
            Self::Reading(index) => Subject::Reading(index),
            // No reading has this number: its fields are not recorded.
            Self::NewReading(_) => Subject::Reading(usize::MAX),
            Self::Photo(index) => Subject::Photo(index),
            Self::Test(index) => Subject::Test(index),
            Self::Instrument(index) => Subject::Instrument(index),
        }
    }

    /// Where the part stands in the record; nothing where it is not in it yet.
    pub(super) fn place(self, item: &Item) -> Option<Place> {
        let at = |list: &str, index: usize| Some(Place::keys(list).at(index));
        match self {
            Self::Pack => match &item.fills {
                Fills::Field { name, .. } => name.split_once('.').map(|(head, _)| match head {
                    "source" => Place::keys("rig.source"),
                    head => Place::keys(head),
                }),
                _ => None,
            },
            Self::Element(index) => at("path.element", index),
            Self::Statement(index) => at("claims.statement", index),
            Self::Layer(index) => at("bms.layer", index),
            Self::Reading(index) => at("cells.reading", index),
            Self::NewReading(_) => None,
            Self::Photo(index) => at("photo", index),
            Self::Test(index) => at("test", index),
            Self::Instrument(index) => at("instrument", index),
            Self::RigElement(index) => at("rig.element", index),
            Self::Load(index) => at("rig.load", index),
            Self::LoadElement(load, index) => {
                Some(Place::keys("rig.load").at(load).then("element").at(index))
            }
        }
    }

    /// The element of the path or of the rig.
    pub(super) fn element(self, record: &Record) -> Option<&Element> {
        match self {
            Self::Element(index) => record.path.element.get(index),
            Self::RigElement(index) => record.rig.element.get(index),
            Self::LoadElement(load, index) => record.rig.load.get(load)?.element.get(index),
            _ => None,
        }
    }

    /// What a photo of it shows: an element's id or the name of a part.
    pub(super) fn shows(self, record: &Record, item: &Item) -> String {
        if let Some(shows) = &item.shows {
            return shows.clone();
        }
        match self {
            Self::Element(_) => self.element(record).and_then(|e| e.id.text()).unwrap_or("path").to_owned(),
            Self::RigElement(_) | Self::LoadElement(..) | Self::Load(_) => "rig".to_owned(),
            Self::Statement(_) => "claims".to_owned(),
            Self::Layer(_) => "bms".to_owned(),
            Self::Reading(_) | Self::NewReading(_) => "cells".to_owned(),
            Self::Test(index) => {
                let test = record.test.get(index);
                test.and_then(|test| test.id.text()).unwrap_or("test").to_owned()
            }
            Self::Pack => match &item.fills {
                Fills::Field { name, .. } => name.split('.').next().unwrap_or_default().to_owned(),
                _ => item.leg.map_or_else(|| "enclosure".to_owned(), |leg| format!("{} leg", leg.word())),
            },
            Self::Photo(_) | Self::Instrument(_) => item.id.clone(),
        }
    }
}

/// The list that parts are added to.
pub(super) fn list_of(adds: Adds, of: Of) -> Place {
    let keys = Place::keys;
    match (adds, of) {
        (Adds::Elements, _) => keys("path.element"),
        (Adds::Statements, _) => keys("claims.statement"),
        (Adds::Layers, _) => keys("bms.layer"),
        (Adds::Tests, _) => keys("test"),
        (Adds::Instruments, _) => keys("instrument"),
        (Adds::Loads, _) => keys("rig.load"),
        (Adds::RigElements, Of::Load(load)) => keys("rig.load").at(load).then("element"),
        (Adds::RigElements, _) => keys("rig.element"),
        (Adds::Meters, _) => keys("rig.meter"),
        (Adds::Branches, Of::Test(test)) => keys("test").at(test).then("branch"),
        (Adds::Sensors, Of::Test(test)) => keys("test").at(test).then("sensor"),
        (Adds::Branches, _) => keys("test.branch"),
        (Adds::Sensors, _) => keys("test.sensor"),
        (Adds::Areas, _) => keys("withhold.area"),
    }
}

/// The instruments by id, with what they are and what they read in the rig.
pub(super) fn instruments(record: &Record) -> Vec<(String, String)> {
    let told = |instrument: &Instrument| {
        let id = instrument.id.text()?;
        let meters = record.rig.meter.iter().filter(|meter| meter.instrument.text() == Some(id));
        let reads = meters.filter_map(|meter| Some(format!("reads {} in the rig", meter.reads.word()?)));
        let about: Vec<String> = instrument.name.text().map(str::to_owned).into_iter().chain(reads).collect();
        Some((id.to_owned(), about.join(", ")))
    };
    record.instrument.iter().filter_map(told).collect()
}

/// A text or word of a part.
pub(super) fn text_of<'a>(part: &'a dyn AnyPart, key: &str) -> Option<&'a str> {
    match part.field(key)?.value()? {
        Value::Text(text) => Some(text),
        Value::Word(word) => Some(word),
        _ => None,
    }
}

/// Parts that are in the record already, by name.
pub(super) fn there(record: &Record, adds: Adds, leg: Option<Leg>, of: Of) -> Vec<String> {
    let parts = list_of(adds, of).parts(record).into_iter();
    let in_leg = |part: &&dyn AnyPart| leg.is_none_or(|leg| text_of(*part, "leg") == Some(leg.word()));
    let name = |part: &dyn AnyPart| {
        let text = |key: &str| text_of(part, key).unwrap_or("(no id)").to_owned();
        match adds {
            Adds::Statements | Adds::Tests | Adds::Instruments => text("id"),
            Adds::Elements | Adds::Loads | Adds::RigElements if text_of(part, "id").is_some() => text("id"),
            Adds::Elements | Adds::Loads | Adds::RigElements => text("kind"),
            Adds::Layers | Adds::Branches => text("name"),
            Adds::Meters => format!("{} = {}", text("reads"), text("instrument")),
            Adds::Sensors => format!("{} = {}", text("column"), text("part")),
            Adds::Areas => text("photo"),
        }
    };
    parts.filter(|part| adds != Adds::Elements || in_leg(part)).map(name).collect()
}
