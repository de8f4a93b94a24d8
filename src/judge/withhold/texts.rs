//! Replaces withheld texts in what is judged: the record, derived facts, house rules.
//!
//! Every structure is taken apart by name here, without `..`, so that a text field which is added elsewhere does not
//! compile until somebody has decided about it.

use std::sync::Arc;

use super::Withheld;
use crate::judge::facts::{Answer, Bound, Missing, Val, Worked};
use crate::judge::rules::{Book, Change, Effort, RuleFile};
use crate::record::{AnyPart, Found, Own, Record, State, Value};

impl Withheld {
    /// A text, without what is withheld.
    pub(in crate::judge) fn text(&self, text: &mut String) {
        if self.concerns(text) {
            *text = self.apply(text);
        }
    }

    /// Each of some texts.
    pub(in crate::judge) fn each<'a>(&self, texts: impl IntoIterator<Item = &'a mut String>) {
        for text in texts {
            self.text(text);
        }
    }

    pub(super) fn record(&self, record: &mut Record) {
        self.part(record);
    }

    fn part(&self, part: &mut dyn AnyPart) {
        let Own { span: _, how: _, with, photos, photos_withheld: _, note, video } = part.own_of();
        self.each(with.iter_mut().chain(photos).chain(note).chain(video));
        for field in part.shape().fields {
            if let Some(found) = part.field_mut(field.name) {
                self.found(found);
            }
        }
        for inner in part.parts_inside() {
            self.part(inner.part);
        }
    }

    fn found(&self, found: &mut Found) {
        let Found { state, how: _, with, photos, note, confirmed: _, doubts: _, span: _ } = found;
        self.each(with.iter_mut().chain(photos).chain(note));
        let State::Known(value) = state else { return };
        match value {
            Value::Text(text) => self.text(text),
            Value::List(items) => self.each(items),
            // A number would be written anew in every finding that rests on it.
            Value::Quantity(_) | Value::Section(_) | Value::Size(_) | Value::Date(_) => {
                if self.concerns(&value.show()) {
                    *state = State::Withheld;
                }
            }
            // Words, counts and yes or no are the program's own.
            Value::Count(_) | Value::YesNo(_) | Value::Word(_) | Value::Accuracy(_) => {}
        }
    }

    /// A derived fact.
    pub(in crate::judge) fn answer(&self, answer: &mut Answer) {
        match answer {
            Err(missing) => missing.iter_mut().for_each(|missing| self.missing(missing)),
            Ok(Worked { value, steps, sources, assumed, bound, claims, contradicted: _ }) => {
                if let Val::Text(text) = value {
                    self.text(text);
                }
                self.each(steps.iter_mut().chain(sources).chain(assumed).chain(claims));
                if let Some(Bound { side: _, missing, by_definition: _ }) = bound {
                    missing.iter_mut().for_each(|missing| self.missing(missing));
                }
            }
        }
    }

    fn missing(&self, missing: &mut Missing) {
        let Missing { name, what, .. } = missing;
        self.each([name, what]);
    }

    /// The words of house rules. What they compare is not touched: the guard looks at that.
    pub(crate) fn book(&self, book: &mut Arc<Book>) {
        if self.texts.is_empty() || book.files.is_empty() {
            return;
        }
        let Book {
            rules,
            limits,
            sources: _,
            causes,
            efforts,
            looks,
            headlines,
            supports,
            plausible,
            agree,
            changes,
            files,
        } = Arc::make_mut(book);
        for rule in rules.iter_mut().filter(|rule| rule.house || rule.off.is_some()) {
            let words = [&mut rule.title, &mut rule.fault, &mut rule.subject, &mut rule.basis];
            self.each(words.into_iter().chain([&mut rule.why, &mut rule.measure, &mut rule.advice]));
            self.each(rule.cited.iter_mut().chain(rule.off.iter_mut()));
        }
        limits.iter_mut().for_each(|limit| self.each([&mut limit.about, &mut limit.basis]));
        causes.iter_mut().for_each(|cause| self.text(&mut cause.fault));
        looks.iter_mut().for_each(|look| self.text(&mut look.how));
        headlines.iter_mut().for_each(|one| self.each([&mut one.question, &mut one.beyond]));
        for one in supports {
            self.each([&mut one.said].into_iter().chain(one.modifications.iter_mut().map(|by| &mut by.said)));
        }
        let of_looks = looks.iter_mut().map(|look| &mut look.effort);
        for Effort { id, time_s: _, caution } in efforts.iter_mut().chain(of_looks) {
            self.each([id, caution]);
        }
        plausible.iter_mut().for_each(|range| self.each([&mut range.about, &mut range.basis]));
        agree.iter_mut().for_each(|entry| self.each([&mut entry.title, &mut entry.basis]));
        for Change { what, reason } in changes {
            self.each([what, reason]);
        }
        for RuleFile { name, sha256: _, of_folder: _, applied: _, changed, told } in files {
            self.each([name, told].into_iter().chain(changed));
        }
    }
}
