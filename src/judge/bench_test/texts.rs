//! Replaces withheld texts in what a bench test takes from its log.
//!
//! Every structure is taken apart by name here, without `..`, so that a text field which is added elsewhere does not
//! compile until somebody has decided about it.

use super::{Curve, CurveLine, Figure, TestResult};
use crate::judge::facts::Val;
use crate::judge::facts::network::{Measured, MeasuredTemperature};
use crate::judge::withhold::Withheld;
use crate::record::field::WITHHELD;

impl TestResult {
    /// The same with what is withheld taken out of its words.
    pub(super) fn withhold_texts(&mut self, withheld: &Withheld) {
        let Self { id, kind, figures, layout, profile, account, problem, curves, facts, measured } = self;
        if let Some(Measured {
            test,
            temperatures,
            lost,
            current: _,
            seconds: _,
            room: _,
            room_standard: _,
            starts: _,
            lid: _,
        }) = measured
        {
            withheld.text(test);
            if let Some((parts, missing)) = lost {
                withheld.each(parts.iter_mut().chain([&mut missing.what]));
            }
            for MeasuredTemperature {
                part,
                distance: _,
                time: _,
                watched: _,
                kelvin: _,
                standard: _,
                above: _,
            } in temperatures
            {
                withheld.text(part);
            }
        }
        withheld.each([id, kind].into_iter().chain(layout).chain(profile).chain(account).chain(problem));
        for figure in figures {
            // A value is shown in one form only.
            if !matches!(figure.value, Val::Text(_)) && withheld.concerns(&figure.text()) {
                figure.value = Val::Text(WITHHELD.to_owned());
            }
            let Figure { name, value, note, percent: _, detail: _ } = figure;
            withheld.each([name, note]);
            if let Val::Text(text) = value {
                withheld.text(text);
            }
        }
        for Curve { name, x, y, series, marks, levels } in curves {
            withheld.each([name, x, y]);
            for CurveLine { name, points: _ } in series {
                withheld.text(name);
            }
            withheld.each(marks.iter_mut().chain(levels).map(|(_, label)| label));
        }
        for answer in facts.values_mut() {
            withheld.answer(answer);
        }
    }
}
