//! What a question is asked of: where that part stands in the record, what is known of it, what a photo of it shows.

use crate::fill::checklist::{Adds, Fills, Item};
use crate::judge::facts::Subject;
use crate::record::edit::Place;
use crate::record::field::Found;
use crate::record::parts::{Element, Leg};
use crate::record::{Own, Part, Record};

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

    /// What is known of the part as a whole.
    pub(super) fn own<'a>(self, record: &'a Record, item: &Item) -> Option<&'a Own> {
        Some(match self {
            Self::Pack => match &item.fills {
                Fills::Field { name, .. } => match name.split('.').next()? {
                    "inspection" => record.inspection.own(),
                    "claims" => record.claims.own(),
                    "cells" => record.cells.own(),
                    "path" => record.path.own(),
                    "bms" => record.bms.own(),
                    "heater" => record.heater.own(),
                    "enclosure" => record.enclosure.own(),
                    "service" => record.service.own(),
                    "marking" => record.marking.own(),
                    "rig" => record.rig.own(),
                    "source" => record.rig.source.own(),
                    _ => return None,
                },
                _ => return None,
            },
            Self::Element(_) | Self::RigElement(_) | Self::LoadElement(..) => self.element(record)?.own(),
            Self::Statement(index) => record.claims.statement.get(index)?.own(),
            Self::Layer(index) => record.bms.layer.get(index)?.own(),
            Self::Reading(index) => record.cells.reading.get(index)?.own(),
            Self::NewReading(_) => return None,
            Self::Photo(index) => record.photo.get(index)?.own(),
            Self::Test(index) => record.test.get(index)?.own(),
            Self::Instrument(index) => record.instrument.get(index)?.own(),
            Self::Load(index) => record.rig.load.get(index)?.own(),
        })
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

    /// What is recorded of a field that the rules do not know: of the rig, and of what is withheld.
    pub(super) fn found<'a>(self, record: &'a Record, name: &str) -> Option<&'a Found> {
        let (head, field) = name.split_once('.')?;
        match (head, self) {
            ("element", Self::RigElement(_) | Self::LoadElement(..)) => self.element(record)?.found(field),
            ("load", Self::Load(index)) => record.rig.load.get(index)?.found(field),
            ("rig", _) => record.rig.found(field),
            ("source", _) => record.rig.source.found(field),
            ("withhold", _) => record.withhold.found(field),
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

/// Parts that are in the record already, by name.
pub(super) fn there(record: &Record, adds: Adds, leg: Option<Leg>, of: Of) -> Vec<String> {
    let text = |text: Option<&str>| text.unwrap_or("(no id)").to_owned();
    let name = |element: &Element| text(element.id.text().or(element.kind.word()));
    let test = match of {
        Of::Test(index) => record.test.get(index),
        _ => None,
    };
    match adds {
        Adds::Elements => record
            .path
            .element
            .iter()
            .filter(|element| leg.is_none() || element.leg.known() == leg)
            .map(name)
            .collect(),
        Adds::Statements => record.claims.statement.iter().map(|s| text(s.id.text())).collect(),
        Adds::Layers => record.bms.layer.iter().map(|l| text(l.name.text())).collect(),
        Adds::Tests => record.test.iter().map(|t| text(t.id.text())).collect(),
        Adds::Instruments => record.instrument.iter().map(|i| text(i.id.text())).collect(),
        Adds::Loads => record.rig.load.iter().map(|l| text(l.id.text().or(l.kind.word()))).collect(),
        Adds::RigElements => match of {
            Of::Load(load) => {
                record.rig.load.get(load).into_iter().flat_map(|l| &l.element).map(name).collect()
            }
            _ => record.rig.element.iter().map(name).collect(),
        },
        Adds::Meters => record
            .rig
            .meter
            .iter()
            .map(|m| format!("{} = {}", text(m.reads.word()), text(m.instrument.text())))
            .collect(),
        Adds::Branches => {
            test.into_iter().flat_map(|test| &test.branch).map(|b| text(b.name.text())).collect()
        }
        Adds::Sensors => test
            .into_iter()
            .flat_map(|test| &test.sensor)
            .map(|s| format!("{} = {}", text(s.column.text()), text(s.part.text())))
            .collect(),
        Adds::Areas => record.withhold.area.iter().map(|a| text(a.photo.text())).collect(),
    }
}
