//! What saves key presses: a unit offered to be confirmed, a part like another one, a cell in one line.

use std::io::{self, Write};
use std::sync::Arc;

use super::{Walk, WalkError};
use crate::fill::answer::{AS_BEFORE, Said, unit_of, with_unit};
use crate::fill::checklist::Fills;
use crate::fill::question::{Key, Question};
use crate::fill::sight::Sight;
use crate::record::edit::Entered;
use crate::units::terminal::shown_text;
use crate::units::{self, Dimension};

/// Fields of a cell's reading by what their values are.
const CELL: [(Dimension, &str); 4] = [
    (Dimension::VOLTAGE, "voltage"),
    (Dimension::RESISTANCE, "resistance"),
    (Dimension::CHARGE, "capacity"),
    (Dimension::TEMPERATURE, "temperature"),
];

impl<W: Write> Walk<'_, W> {
    /// Offers the usual unit for a number that has none; an empty line confirms it. True when something was offered.
    pub(super) fn offered(&mut self, question: &Question, said: &Said) -> io::Result<bool> {
        let Fills::Field { info, .. } = &question.item.fills else { return Ok(false) };
        let last =
            self.units.iter().find(|(item, _)| *item == question.key.item).map(|(_, unit)| unit.as_str());
        let unit = last.unwrap_or_else(|| unit_of(info.example));
        let Some(whole) = with_unit(said, info, unit) else { return Ok(false) };
        if let Said::Entered { answer, more } = &whole {
            let values: Vec<&str> = answer.value.iter().chain(more).map(String::as_str).collect();
            writeln!(
                self.out,
                "{}? Enter confirms; or type the answer anew",
                shown_text(&values.join(", "))
            )?;
        }
        self.pending = Some((question.key.clone(), whole));
        Ok(true)
    }

    /// The unit of an answer is offered for the next one at this item.
    pub(super) fn remember(&mut self, question: &Question, answer: &Entered) {
        let with = answer.with.as_deref().filter(|with| !with.is_empty());
        if let Some(with) = with {
            self.last_with = Some(with.to_owned());
        }
        let Some(value) = answer.value.as_deref() else { return };
        let unit = unit_of(value);
        let item = &question.key.item;
        if value.starts_with(|c: char| c.is_ascii_digit()) && !unit.is_empty() && unit.len() < 12 {
            self.units.retain(|(other, _)| other != item);
            self.units.push((item.clone(), unit.to_owned()));
        }
    }

    /// Puts the instrument that was named last where `with` stands alone.
    pub(super) fn with_as_before(&self, answer: &mut Entered) -> Result<(), String> {
        if answer.with.as_deref() == Some(AS_BEFORE) {
            let last = self.last_with.clone();
            answer.with =
                Some(last.ok_or("no instrument was named before in this run; write `with` and its id")?);
        }
        Ok(())
    }

    /// `cell 3 3.302 V, 0.34 mΩ`: the values find their fields by their units.
    pub(super) fn cell(&mut self, sight: &Sight, typed: &str) -> Result<Option<Arc<Sight>>, WalkError> {
        let (number, values) = typed.split_once([' ', ':']).unwrap_or((typed, ""));
        let values: Vec<&str> = values.split(',').map(str::trim).filter(|value| !value.is_empty()).collect();
        let position = number.trim().parse::<u32>().ok().filter(|position| *position > 0);
        let (Some(position), false) = (position, values.is_empty()) else {
            self.refuse("expected a cell's position and its values, such as: cell 3 3.302 V, 0.34 mΩ")?;
            return Ok(None);
        };
        // Every value is understood before the first one is written.
        let mut fields = Vec::new();
        for value in values {
            let dimension = units::parse(value).ok().map(|quantity| quantity.dimension);
            let field = CELL.iter().find(|(known, _)| Some(*known) == dimension);
            let Some((_, field)) = field else {
                self.refuse(&format!(
                    "`{value}` is no reading of a cell; expected a voltage, a resistance, a capacity or a temperature \
                     with its unit, such as: cell 3 3.302 V, 0.34 mΩ"
                ))?;
                return Ok(None);
            };
            fields.push((*field, value.to_owned()));
        }
        let asked = |sight: &Sight, field: &str| -> Option<Key> {
            let name = format!("reading.{field}");
            let found = sight.questions.iter().find(|question| {
                question.key.part == position.to_string()
                    && matches!(&question.item.fills, Fills::Field { name: own, .. } if *own == name)
            });
            found.map(|question| question.key.clone())
        };
        let mut new: Option<Arc<Sight>> = None;
        let there = sight.record.cells.reading.iter().any(|r| r.position.count() == Some(position));
        if !there && fields.iter().any(|(field, _)| asked(sight, field).is_none()) {
            let saved = self.session.add(None, &format!("reading {position}"));
            new = self.told(saved)?;
            if new.is_none() {
                return Ok(None);
            }
        }
        for (field, value) in fields {
            let now = new.clone();
            let sight = now.as_deref().unwrap_or(sight);
            let Some(key) = asked(sight, field) else {
                self.refuse(&format!("this checklist does not ask for the {field} of a cell"))?;
                return Ok(new);
            };
            match self.answer(sight, &key, Entered::of(&value), Vec::new())? {
                Some(saved) => new = Some(saved),
                None => return Ok(new),
            }
        }
        Ok(new)
    }
}
