//! What saves key presses: a unit offered to be confirmed, a part like another one, a cell in one line.

use std::io::{self, Write};
use std::sync::Arc;

use super::{Walk, WalkError};
use crate::fill::answer::{AS_BEFORE, Said, answer, places, unit_of, with_unit};
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
    /// What is asked on one screen with a question: a first look asks one thing at a time.
    pub(super) fn screen<'s>(&self, sight: &'s Sight, key: &Key) -> Vec<&'s Question> {
        let more = self.more.as_ref() == Some(key);
        let mut screen = sight.screen(key, more);
        screen.retain(|other| other.key == *key || more || !self.first && !self.left.contains(&other.key));
        screen
    }

    /// A line that answers one screen. What cannot be read there is refused as a whole.
    pub(super) fn several(&self, sight: &Sight, key: &Key, line: &str) -> Result<Said, String> {
        let screen = self.screen(sight, key);
        let places = places(line);
        if places.len() > screen.len() && places.iter().skip(screen.len()).any(|place| !place.is_empty()) {
            return Err(format!(
                "{} answers are asked for here, and {} are typed; a semicolon that belongs to an answer is typed \\;",
                screen.len(),
                places.len()
            ));
        }
        let mut answers = Vec::new();
        for (question, place) in screen.iter().zip(&places) {
            let said = match place.as_str() {
                "" => {
                    answers.push(None);
                    continue;
                }
                "=" => self.same_again(question),
                place => answer(place, question.kind(), &sight.record),
            };
            match said.map_err(|words| format!("{}: {words}", question.number))? {
                Said::Entered { mut answer, more } if more.is_empty() => {
                    self.with_as_before(&mut answer)?;
                    answers.push(Some(answer));
                }
                _ => return Err(format!("{}: one value is expected", question.number)),
            }
        }
        Ok(Said::Several(answers))
    }

    /// Saves the answers of a screen: together, or, where one is refused, each that is right. What was refused is asked
    /// again, what was left empty stays open.
    pub(super) fn answer_screen(
        &mut self,
        sight: &Sight,
        key: &Key,
        answers: Vec<Option<Entered>>,
    ) -> Result<Option<Arc<Sight>>, WalkError> {
        let mut answers = answers.into_iter();
        let mut all = Vec::new();
        for question in self.screen(sight, key) {
            match answers.next().flatten() {
                Some(answer) => {
                    let answer = self.with_instrument(sight, question, answer);
                    all.push((question.key.clone(), answer));
                }
                None => drop(self.left.insert(question.key.clone())),
            }
        }
        let saved = self.session.answers(&all);
        let mut new = None;
        if saved.is_ok() || all.len() == 1 {
            new = self.told(saved)?;
            for (key, answer) in new.iter().flat_map(|_| &all) {
                self.noted(sight, key, answer);
            }
            for (key, _) in &all {
                self.remind(new.as_deref(), key)?;
            }
        } else {
            for (key, answer) in &all {
                new = self.answer(sight, key, answer.clone(), Vec::new())?.or(new);
            }
        }
        let now = new.clone();
        let now = now.as_deref().unwrap_or(sight);
        self.on(now, key);
        let refused = |(key, _): &&(Key, Entered)| now.question(key).is_some_and(Question::is_open);
        if let Some((refused, _)) = all.iter().find(refused) {
            (self.at, self.shown) = (Some(refused.clone()), None);
        }
        Ok(new)
    }

    /// Offers the usual unit for a number that has none, and asks whether `list price` is meant as an answer; an empty line
    /// confirms it. True when something was offered.
    pub(super) fn offered(&mut self, sight: &Sight, question: &Question, said: &Said) -> io::Result<bool> {
        let (whole, values) = match said {
            Said::Several(answers) => {
                let mut offered = false;
                let mut unit = |(question, answer): (&Question, &Option<Entered>)| {
                    let said = Said::Entered { answer: answer.clone()?, more: Vec::new() };
                    match self.unit_for(question, &said) {
                        Some(Said::Entered { answer, .. }) => {
                            offered = true;
                            Some(answer)
                        }
                        _ => answer.clone(),
                    }
                };
                let screen = self.screen(sight, &question.key);
                let whole: Vec<Option<Entered>> = screen.into_iter().zip(answers).map(&mut unit).collect();
                if !offered {
                    return Ok(false);
                }
                let value = |answer: &Option<Entered>| {
                    answer.as_ref().and_then(|answer| answer.value.clone()).unwrap_or_default()
                };
                let values: Vec<String> = whole.iter().map(value).collect();
                (Said::Several(whole), values.join("; "))
            }
            Said::Entered { answer: answer @ Entered { value: Some(text), .. }, more }
                if more.is_empty()
                    && text.strip_prefix("list ").is_some_and(|of| !of.contains(char::is_whitespace)) =>
            {
                (Said::Entered { answer: answer.clone(), more: Vec::new() }, text.clone())
            }
            said => match self.unit_for(question, said) {
                Some(Said::Entered { answer, more }) => {
                    let values: Vec<&str> = answer.value.iter().chain(&more).map(String::as_str).collect();
                    let values = values.join(", ");
                    (Said::Entered { answer, more }, values)
                }
                _ => return Ok(false),
            },
        };
        writeln!(self.out, "{}? Enter confirms; or type the answer anew", shown_text(&values))?;
        self.pending = Some((question.key.clone(), whole));
        Ok(true)
    }

    /// An answer with the unit that was answered last at this item, or the usual one.
    fn unit_for(&self, question: &Question, said: &Said) -> Option<Said> {
        let Fills::Field { info, .. } = &question.item.fills else { return None };
        let last = self.units.iter().find(|(item, _)| *item == question.key.item);
        with_unit(said, info, last.map_or_else(|| unit_of(info.example), |(_, unit)| unit))
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
