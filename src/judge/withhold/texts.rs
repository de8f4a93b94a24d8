//! Replaces withheld texts in everything that an inspection shows.
//!
//! Every structure is taken apart by name here, without `..`, so that a text field which is added elsewhere does not
//! compile until somebody has decided about it.

use super::Withheld;
use crate::judge::bench_test::{Curve, Figure, Series, TestResult};
use crate::judge::facts::{Answer, Bound, Derived, Missing, Val, Worked};
use crate::judge::rules::{Change, ComparedSide, Finding, Judgement, NotApplied, Used, Working};
use crate::record::field::WITHHELD;
use crate::record::{AnyPart, Found, Own, Record, State, Value};

impl Withheld {
    fn text(&self, text: &mut String) {
        if self.concerns(text) {
            *text = self.apply(text);
        }
    }

    fn each<'a>(&self, texts: impl IntoIterator<Item = &'a mut String>) {
        for text in texts {
            self.text(text);
        }
    }

    pub(super) fn record(&self, record: &mut Record) {
        self.part(record);
    }

    fn part(&self, part: &mut dyn AnyPart) {
        let Own { span: _, how: _, with, photos, note, video } = part.own_of();
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
        let Found { state, how: _, with, photos, note, span: _ } = found;
        self.each(with.iter_mut().chain(photos).chain(note));
        let State::Known(value) = state else { return };
        match value {
            Value::Quantity(quantity) => self.text(&mut quantity.text),
            Value::Section(sides) => self.each(sides.iter_mut().map(|side| &mut side.text)),
            Value::Size(sides) => self.each(sides.iter_mut().map(|side| &mut side.text)),
            Value::Text(text) => self.text(text),
            Value::List(items) => self.each(items),
            // A date is shown in one form only, and words, numbers and yes or no are the program's own.
            Value::Date(date) => {
                if self.concerns(&date.to_string()) {
                    *state = State::Withheld;
                }
            }
            Value::Count(_) | Value::YesNo(_) | Value::Word(_) | Value::Accuracy(_) => {}
        }
    }

    pub(super) fn test_result(&self, result: &mut TestResult) {
        let TestResult { id, kind, figures, layout, account, problem, curves, facts } = result;
        self.each([id, kind].into_iter().chain(layout).chain(account).chain(problem));
        for figure in figures {
            // A value is shown in one form only.
            if !matches!(figure.value, Val::Text(_)) && self.concerns(&figure.text()) {
                figure.value = Val::Text(WITHHELD.to_owned());
            }
            let Figure { name, value, note, percent: _, detail: _ } = figure;
            self.each([name, note]);
            if let Val::Text(text) = value {
                self.text(text);
            }
        }
        for Curve { name, x, y, series, marks, levels } in curves {
            self.each([name, x, y]);
            for Series { name, points: _ } in series {
                self.text(name);
            }
            self.each(marks.iter_mut().chain(levels).map(|(_, label)| label));
        }
        for answer in facts.values_mut() {
            self.answer(answer);
        }
    }

    pub(super) fn derived(&self, derived: &mut Derived) {
        derived.each_answer(&mut |answer| self.answer(answer));
    }

    fn answer(&self, answer: &mut Answer) {
        match answer {
            Err(missing) => missing.iter_mut().for_each(|missing| self.missing(missing)),
            Ok(Worked { value, steps, sources, assumed, bound, claims }) => {
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
        let Missing { name, what, reason: _ } = missing;
        self.each([name, what]);
    }

    pub(super) fn judgement(&self, judgement: &mut Judgement) {
        let Judgement { findings, not_applied, changes } = judgement;
        findings.iter_mut().for_each(|finding| self.finding(finding));
        for NotApplied { rule, title, because, turned_off: _ } in not_applied {
            self.each([rule, title, because]);
        }
        for Change { what, reason } in changes {
            self.each([what, reason]);
        }
    }

    fn finding(&self, finding: &mut Finding) {
        let Finding {
            rule,
            title,
            statement,
            subject,
            part,
            outcome: _,
            grade: _,
            working,
            missing,
            rests_on_claims: _,
            claimed_facts,
            basis,
            why,
            advice,
            photos,
            at: _,
        } = finding;
        self.each([rule, title, statement, subject, part, basis, why, advice]);
        self.each(photos.iter_mut().chain(claimed_facts));
        missing.iter_mut().for_each(|missing| self.missing(missing));
        let Working { expression, numbers, used, left, right, margin, decision } = working;
        self.each([expression, numbers].into_iter().chain(margin).chain(decision));
        for ComparedSide { value, si: _, expanded_si: _ } in left.iter_mut().chain(right) {
            self.text(value);
        }
        for Used { name, value, how, with, photos, steps, sources, assumed, claims, span: _ } in used {
            self.each([name, value, how].into_iter().chain(with));
            self.each(photos.iter_mut().chain(steps).chain(sources).chain(assumed).chain(claims));
        }
    }
}
