//! Answers in the terminal: saved, with the instrument that is in use, for one cell or for those that follow, and what
//! is said of them.

use std::io::{self, Write};
use std::sync::Arc;

use super::{Walk, WalkError};
use crate::fill::answer::{Said, read_line};
use crate::fill::checklist::{Fills, Scope};
use crate::fill::question::{Key, Question};
use crate::fill::sight::{FillError, Saved, Sight};
use crate::record::edit::{EditRefused, Entered};
use crate::record::{How, Kind, State, Value, read_answer};
use crate::units::terminal::shown_text;
use crate::units::words::{count, nearest};

impl<W: Write> Walk<'_, W> {
    /// Saves an answer, and those for the cells that follow.
    pub(super) fn answer(
        &mut self,
        sight: &Sight,
        key: &Key,
        answer: Entered,
        more: Vec<String>,
    ) -> Result<Option<Arc<Sight>>, WalkError> {
        let Some(question) = sight.question(key) else {
            return Ok(None);
        };
        if !more.is_empty() && question.item.scope != Scope::Readings {
            self.refuse("one value is expected here; several with commas between are for cell readings")?;
            return Ok(None);
        }
        let following: Vec<Key> = sight
            .questions
            .iter()
            .skip_while(|other| other.key != *key)
            .filter(|other| other.key.item == key.item)
            .map(|other| other.key.clone())
            .take(more.len() + 1)
            .collect();
        if following.len() <= more.len() {
            self.refuse(&format!(
                "{} values for {}",
                more.len() + 1,
                count(following.len(), "cell", "cells")
            ))?;
            return Ok(None);
        }
        let answer = self.with_instrument(sight, question, answer);
        let values = std::iter::once(answer.value.clone()).chain(more.into_iter().map(Some));
        let mut new = None;
        for (key, value) in following.iter().zip(values) {
            let answer = Entered { value, ..answer.clone() };
            let saved = self.session.answer(key, &answer, None);
            let ok = saved.is_ok();
            self.again(&key.item, &answer);
            if ok {
                self.remember(question, &answer);
            }
            new = self.told(saved)?.or(new);
            if !ok {
                self.meant(answer.value.as_deref())?;
                return Ok(None);
            }
            self.last = Some(key.clone());
            self.remind(new.as_deref(), key)?;
        }
        Ok(new)
    }

    fn again(&mut self, item: &str, answer: &Entered) {
        self.same.retain(|(known, _)| known != item);
        self.same.push((item.to_owned(), answer.clone()));
    }

    /// What is typed for the next one follows from an answer that was saved.
    pub(super) fn noted(&mut self, sight: &Sight, key: &Key, answer: &Entered) {
        self.again(&key.item, answer);
        if let Some(question) = sight.question(key) {
            self.remember(question, answer);
        }
        self.last = Some(key.clone());
    }

    pub(super) fn remind(&mut self, sight: Option<&Sight>, key: &Key) -> io::Result<()> {
        let question = sight.and_then(|sight| sight.question(key));
        if let Some((question, asks)) = question.and_then(|question| Some((question, question.asks_again()?)))
        {
            writeln!(self.out, "  {}", shown_text(&asks))?;
            writeln!(self.out, "  as `{}: …`", question.number)?;
        }
        if let Some(question) = sight.and_then(|sight| sight.question(key))
            && question.lacks_photo()
        {
            writeln!(self.out, "  still wanted: a photo ({}: photo FILE)", question.number)?;
        }
        Ok(())
    }

    pub(super) fn same_again(&self, question: &Question) -> Result<Said, String> {
        let last = self.same.iter().find(|(item, _)| *item == question.key.item);
        match last {
            Some((_, answer)) => Ok(Said::Entered { answer: answer.clone(), more: Vec::new() }),
            None => Err("this item was not answered before in this run".to_owned()),
        }
    }

    pub(super) fn with_instrument(&self, sight: &Sight, question: &Question, mut answer: Entered) -> Entered {
        let measured =
            question.item.how == Some(How::Measured) && answer.with.is_none() && answer.how.is_none();
        if !measured {
            return answer;
        }
        let dimension = match question.kind() {
            Kind::Section | Kind::Size => crate::units::Dimension::LENGTH,
            Kind::Quantity(dimension) => dimension,
            _ => return answer,
        };
        let known = matches!((&question.item.fills, &answer.value), (Fills::Field { info, .. }, Some(value))
            if matches!(read_answer(info, value), Ok(State::Known(_))));
        // A value with its own uncertainty needs no instrument to give it one.
        let own = answer.value.as_ref().is_some_and(|value| value.contains('±'));
        if known && !own {
            answer.with = self.using.iter().find(|id| suits(sight, id, dimension)).cloned();
        }
        answer
    }

    pub(super) fn use_instrument(&mut self, sight: &Sight, id: &str) -> io::Result<()> {
        if id == "none" {
            self.using.clear();
            return writeln!(self.out, "no instrument is taken for granted");
        }
        if !sight.record.instrument.iter().any(|i| i.id.text() == Some(id)) {
            let known: Vec<&str> = sight.record.instrument.iter().filter_map(|i| i.id.text()).collect();
            return self.refuse(&format!("there is no instrument `{id}`; there are: {}", known.join(", ")));
        }
        let dimension = |id: &str| {
            let instrument = sight.record.instrument.iter().find(|i| i.id.text() == Some(id));
            instrument.and_then(|i| i.resolution.quantity()).map(|q| q.dimension)
        };
        self.using.retain(|other| other != id && dimension(other) != dimension(id));
        self.using.push(id.to_owned());
        writeln!(self.out, "measured answers are now taken with: {}", self.using.join(", "))
    }

    pub(super) fn numbered(
        &mut self,
        sight: &Sight,
        number: &str,
        rest: &str,
    ) -> Result<Option<Arc<Sight>>, WalkError> {
        let question = sight.questions.iter().find(|question| question.number == number);
        let Some(question) = question else {
            self.refuse(&format!(
                "there is no question {number} in this list (a part may have to be added first)"
            ))?;
            return Ok(None);
        };
        let key = question.key.clone();
        match read_line(rest, question.kind(), &sight.record) {
            Err(words) => {
                self.refuse(&words)?;
                Ok(None)
            }
            Ok(Said::Entered { mut answer, more }) => match self.with_as_before(&mut answer) {
                Ok(()) => self.answer(sight, &key, answer, more),
                Err(words) => {
                    self.refuse(&words)?;
                    Ok(None)
                }
            },
            Ok(Said::Leave | Said::Done | Said::Quit | Said::Numbered { .. } | Said::Back) => Ok(None),
            Ok(said) => self.act(sight, &key, said),
        }
    }

    pub(super) fn told(&mut self, saved: Result<Saved, FillError>) -> Result<Option<Arc<Sight>>, WalkError> {
        match saved {
            Ok(saved) => {
                self.summary.saved += 1;
                writeln!(self.out, "saved: {}", shown_text(&saved.said))?;
                for decided in &saved.decided {
                    writeln!(self.out, "  {}", shown_text(&decided.line()))?;
                }
                self.settled(&saved.sight)?;
                if saved.sight.beside {
                    writeln!(self.out, "  a long log is being read; what the bench tests decide follows")?;
                }
                Ok(Some(saved.sight))
            }
            // The record on disk is broken or gone: nothing can be filled in until that is mended.
            Err(error @ FillError::Open(_)) => Err(error.into()),
            Err(FillError::EditRefused(EditRefused::Reads(problems))) => {
                let words: Vec<String> = problems
                    .list()
                    .iter()
                    .map(|problem| format!("{}; {}", problem.message, problem.expected))
                    .collect();
                self.refuse(&words.join("\n"))?;
                Ok(None)
            }
            Err(error) => {
                self.refuse(&error.to_string())?;
                Ok(None)
            }
        }
    }

    /// A word that was meant and not said: `absnt` at a current is no current.
    fn meant(&mut self, typed: Option<&str>) -> io::Result<()> {
        const WORDS: [&str; 9] =
            ["absent", "could not see", "skip", "done", "back", "list", "findings", "help", "quit"];
        let typed = typed.unwrap_or_default();
        match nearest(typed, WORDS).filter(|word| typed.len() > 3 && *word != typed) {
            Some(word) => writeln!(self.out, "    did you mean `{word}`?"),
            None => Ok(()),
        }
    }
}

fn suits(sight: &Sight, id: &str, dimension: crate::units::Dimension) -> bool {
    let instrument = sight.record.instrument.iter().find(|i| i.id.text() == Some(id));
    instrument.is_some_and(|i| match i.resolution.found().value() {
        Some(Value::Quantity(resolution)) => resolution.dimension == dimension,
        _ => true,
    })
}
