//! Measured temperature rise of a named part against what the physics predicts at that current.
//!
//! A check on the record and on the model, not on the pack: a large difference means a wrong size, material or
//! surface in the record, a sensor that sits elsewhere, or heat that takes a way the model does not know.
//! The largest difference of any part goes to the rules, from its least to its most. What is compared is the final
//! rise, by a fit of the approach; a part that was still warming and whose end cannot be predicted has *at least* its
//! rise, and one that is only known above the air of the room has *at most* it.

use super::course::{Course, part_of};
use super::instruments::{standard, tool};
use super::largest::Largest;
use super::{Figure, Work};
use crate::judge::facts::path;
use crate::judge::facts::{Answer, Missing, Side, Subject, predicted_bms_rise};
use crate::logs::approach::{self, Approach, NotIdentifiable, Steady};
use crate::units::{Amount, COVERAGE, Dimension, Uncertain, show, show_uncertain};

const DIFFERENCE: Dimension = Dimension::TEMPERATURE_DIFFERENCE;

/// A temperature that a part came to, or would come to.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Final {
    /// K.
    value: f64,
    /// Standard uncertainty, K; `None` where the thermometer's accuracy is not known.
    standard: Option<f64>,
    /// Set where the part had not come to its end: the final temperature is at least this.
    at_least: bool,
}

/// What the rise is taken above.
struct Air {
    value: f64,
    standard: Option<f64>,
    /// True where it is the air of the room and the part sits in the pack, where the air is warmer.
    of_the_room: bool,
    name: String,
}

impl Work<'_> {
    /// Compares the rise of every part that the log or a reading names with its prediction, at the mean current.
    ///
    /// `fits` are the approaches of the course's temperature channels under load, with the last value of each.
    pub(super) fn rises(
        &mut self,
        course: Option<&Course>,
        fits: &[Option<(Result<Approach, NotIdentifiable>, f64)>],
        current: Option<Amount>,
    ) {
        let mut watched: Vec<(String, Final)> = Vec::new();
        let mut largest = Largest::default();
        if let Some(course) = course {
            for (channel, fit) in course.temperatures.iter().zip(fits) {
                let (Some(part), Some((fit, last))) = (&channel.part, fit) else { continue };
                let thermometer = channel.tool.and_then(|tool| tool.standard(*last, Dimension::TEMPERATURE));
                watched.push((part.clone(), end_of(fit, *last, thermometer)));
            }
            for sensor in &self.test.sensor {
                let part = sensor.part.text().unwrap_or("a part that is not named");
                if sensor.part.text().is_some()
                    && course.temperatures.iter().any(|c| c.part.as_deref() == Some(part))
                {
                    continue;
                }
                let why = match (sensor.column.text(), sensor.part.text()) {
                    (None, _) => "the column of its sensor is not recorded".to_owned(),
                    (Some(column), None) => format!("what column \"{column}\" was fixed to is not recorded"),
                    (Some(column), _) => format!("the log has no temperature in a column \"{column}\""),
                };
                self.figure(Figure::words(&format!("temperature of {part}"), format!("not known: {why}")));
                largest.cannot(part, &why);
            }
        }
        for reading in &self.test.reading {
            let (Some(of), Some(quantity)) = (reading.of.text(), reading.value.quantity()) else { continue };
            let Some(part) = part_of(self.record, of) else { continue };
            if quantity.dimension == Dimension::TEMPERATURE
                && !watched.iter().any(|(known, _)| *known == part)
            {
                let standard = standard(self.record, reading.value.found().with.as_deref(), quantity);
                let at_least = reading.steady.yes() != Some(true);
                watched.push((part, Final { value: quantity.value, standard, at_least }));
            }
        }
        let of_air: Vec<(String, Final)> =
            watched.iter().filter(|(part, _)| part == "inner air" || part == "ambient").cloned().collect();
        watched.retain(|(part, _)| !matches!(part.as_str(), "inner air" | "ambient" | "cells"));
        for (part, found) in watched {
            let outside = part == "bms";
            let Some(air) = self.air(&of_air, outside) else {
                largest.cannot(&part, "the ambient temperature is not recorded");
                continue;
            };
            self.one_rise(&part, found, &air, current.as_ref(), &mut largest);
        }
        self.fact("test.rises", largest.count());
        let answer = match self.physics.limit("comparisons") {
            Ok(least) => largest.answer(
                "the temperature of a part that is named (`[[test.sensor]]`) and that the physics knows",
                least,
                self.source + 12,
                DIFFERENCE,
            ),
            Err(missing) => Err(vec![missing]),
        };
        self.fact("test.rise_difference", answer);
    }

    /// What a rise is taken above: measured in this test, recorded for the inspection, or the room's.
    fn air(&self, measured: &[(String, Final)], outside: bool) -> Option<Air> {
        let of = |name: &str| measured.iter().find(|(part, _)| part == name).map(|(_, found)| found);
        if !outside {
            if let Some(inner) = of("inner air") {
                let name = "the air inside, by its sensor".to_owned();
                return Some(Air { value: inner.value, standard: inner.standard, of_the_room: false, name });
            }
            if let Some(inner) = self.record.inspection.inner_ambient.quantity() {
                let with = self.record.inspection.inner_ambient.found().with.as_deref();
                let name = "the recorded air inside".to_owned();
                let standard = standard(self.record, with, inner).or(Some(0.0));
                return Some(Air { value: inner.value, standard, of_the_room: false, name });
            }
        }
        if let Some(room) = of("ambient") {
            let name = "the room, by its sensor".to_owned();
            return Some(Air { value: room.value, standard: room.standard, of_the_room: !outside, name });
        }
        let room = self.test.ambient.quantity()?;
        let with = self.test.ambient.found().with.as_deref();
        let standard = match room.expanded {
            Some(expanded) => Some(expanded / COVERAGE),
            None => tool(self.record, with, Dimension::TEMPERATURE)
                .and_then(|tool| tool.standard(room.value, room.dimension))
                .or(Some(0.0)),
        };
        Some(Air { value: room.value, standard, of_the_room: !outside, name: "the recorded room".to_owned() })
    }

    /// One part: figures, and how far measurement and prediction lie apart.
    fn one_rise(
        &mut self,
        part: &str,
        found: Final,
        air: &Air,
        current: Option<&Amount>,
        largest: &mut Largest,
    ) {
        let standard = found.standard.zip(air.standard).map(|(a, b)| a.hypot(b));
        let measured = found.value - air.value;
        let expanded = COVERAGE * standard.unwrap_or(0.0);
        let room = show(air.value, Dimension::TEMPERATURE);
        let warming = if found.at_least { ", still warming" } else { "" };
        let figure = Figure::amount(&format!("rise of {part}, measured"), measured, expanded, DIFFERENCE);
        self.figure(figure.beside(format!("above {} ({room}){warming}", air.name)));
        let what = format!("rise of {part}");
        let Some(current) = current else { return largest.cannot(&what, "the current is not known") };
        let ambient = Amount {
            number: Uncertain::new(air.value, self.source + 8, air.standard.unwrap_or(0.0)),
            dimension: Dimension::TEMPERATURE,
        };
        let bound = if found.at_least { "at least " } else { "" };
        let above = format!(
            "{what}, measured {bound}{} above {} ({room})",
            show_uncertain(measured, expanded, DIFFERENCE),
            air.name,
        );
        let predicted = self.predicted(part, current, &ambient);
        let (worked, amount) = match &predicted {
            Ok(worked) => match worked.value.amount() {
                Some(amount) => (worked, amount),
                None => return largest.cannot(&above, "not predicted"),
            },
            Err(missing) => {
                let why: Vec<&str> = missing.iter().map(|missing| missing.what.as_str()).collect();
                return largest.cannot(&above, &format!("not predicted: {}", why.join("; ")));
            }
        };
        let at = show(current.value(), Dimension::CURRENT);
        let name = format!("rise of {part}, predicted");
        let figure = Figure::amount(&name, amount.value(), amount.number.expanded(), DIFFERENCE);
        self.figure(figure.beside(format!("at {at}")));
        let difference = measured - amount.value();
        let text = format!(
            "{above}, predicted {} at {at}: {} {}",
            amount.show(),
            show(difference.abs(), DIFFERENCE),
            if difference < 0.0 { "less" } else { "more" },
        );
        let Some(standard) = standard else {
            return largest.cannot(&text, "the accuracy of the thermometer is not known");
        };
        let expanded = COVERAGE * standard.hypot(amount.number.standard());
        let mut open = Open::default();
        if found.at_least {
            open.more.push(WARMING);
        }
        if air.of_the_room {
            open.less.push(ROOM);
        }
        match worked.bound.as_ref().map(|bound| bound.side) {
            Some(Side::AtLeast) => open.less.push(LEFT_OUT),
            Some(Side::AtMost) => open.more.push(LEFT_OUT),
            Some(Side::Within) | None => {}
        }
        apart(&text, difference, expanded, &open, largest);
    }

    /// The rise that the physics predicts for a part at a current and an ambient.
    fn predicted(&self, part: &str, current: &Amount, ambient: &Amount) -> Answer {
        if part == "bms" {
            return predicted_bms_rise(&self.physics.facts(Subject::Pack), current, ambient);
        }
        let index = self.record.path.element.iter().position(|element| element.id.text() == Some(part));
        let Some(index) = index else {
            return Err(vec![Missing::refused(&format!("the path has no element `{part}`"))]);
        };
        path::predicted_rise(&self.physics.facts(Subject::Element(index)), index, current, ambient)
    }
}

/// Which way the true difference may lie, and why.
#[derive(Debug, Clone, Default)]
struct Open {
    /// Why it may be larger.
    more: Vec<&'static str>,
    /// Why it may be smaller.
    less: Vec<&'static str>,
}

const WARMING: &str = "the part was still warming";
const ROOM: &str = "the rise is known above the air of the room only";
const LEFT_OUT: &str = "the prediction leaves out what is not recorded";

/// Adds |difference| from its least to its most, where the true difference may also be larger or smaller.
fn apart(text: &str, difference: f64, expanded: f64, open: &Open, largest: &mut Largest) {
    let (nearer, farther) =
        if difference < 0.0 { (&open.more, &open.less) } else { (&open.less, &open.more) };
    // What may be nearer to the prediction, or beyond it on the other side, says nothing.
    if !nearer.is_empty() {
        let reasons: Vec<&str> = nearer.iter().chain(farther).copied().collect();
        return largest.cannot(text, &reasons.join("; "));
    }
    let magnitude = difference.abs();
    largest.add(text.to_owned(), magnitude - expanded, magnitude + expanded, 1);
    for reason in farther {
        largest.may_be_more(text, reason);
    }
}

fn end_of(fit: &Result<Approach, NotIdentifiable>, last: f64, thermometer: Option<f64>) -> Final {
    match fit {
        Ok(fit) => Final {
            value: fit.final_temperature.value,
            standard: thermometer.map(|u| u.hypot(fit.expanded / COVERAGE)),
            at_least: false,
        },
        Err(_) => Final { value: last, standard: thermometer, at_least: true },
    }
}

/// Where a channel would come to rest, by the fit of its approach; `thermometer` is the standard uncertainty of its
/// readings in K, where it is known.
pub(super) fn final_temperature(
    label: &str,
    fit: &Result<Approach, NotIdentifiable>,
    last: f64,
    thermometer: Option<f64>,
) -> Figure {
    let name = format!("final temperature of {label}");
    let found = end_of(fit, last, thermometer);
    let fit = match fit {
        Ok(fit) => fit,
        Err(why) => return Figure::words(&name, format!("not predicted: {}", why.0)),
    };
    let by_fit = match found.standard {
        Some(_) => String::new(),
        None => format!(
            "± {} by the fit alone as the thermometer's accuracy is not known; ",
            show(fit.expanded, DIFFERENCE)
        ),
    };
    let steady = match fit.steady {
        Steady::Reached => "steady state was reached",
        Steady::NotReached => "steady state was not reached",
        Steady::NotDecided => "whether steady state was reached is not known",
    };
    let time = show(fit.time_constant.value, Dimension::TIME);
    let expanded = COVERAGE * found.standard.unwrap_or(0.0);
    let figure = Figure::amount(&name, found.value, expanded, Dimension::TEMPERATURE);
    figure.beside(format!("{by_fit}{steady}; time constant {time}"))
}

/// The approach of a channel between two times, with its last value there.
pub(super) fn fit_between(
    points: &[(f64, f64)],
    from: f64,
    to: f64,
) -> Option<(Result<Approach, NotIdentifiable>, f64)> {
    let under: Vec<(f64, f64)> =
        points.iter().copied().filter(|(time, _)| (from..=to).contains(time)).collect();
    let last = under.last()?.1;
    Some((approach::fit(&under), last))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn how_far_apart() {
        let known = Open::default();
        let warming = Open { more: vec![WARMING], less: Vec::new() };
        let room = Open { more: Vec::new(), less: vec![ROOM] };
        // Difference, what is open, least and most, whether it may be more.
        for (difference, open, wanted) in [
            (3.0, &known, Some((1.0, 5.0, false))),
            (-15.0, &known, Some((13.0, 17.0, false))),
            // Still warming: less than predicted says nothing, more than predicted does.
            (-15.0, &warming, None),
            (15.0, &warming, Some((13.0, 17.0, true))),
            // Above the room only: more than predicted says nothing, less does.
            (15.0, &room, None),
            (-15.0, &room, Some((13.0, 17.0, true))),
        ] {
            let mut largest = Largest::default();
            apart("a", difference, 2.0, open, &mut largest);
            let found = largest.answer("", 1.0, 1, DIFFERENCE).ok().map(|worked| {
                let amount = worked.value.amount().unwrap().clone();
                let (value, u) = (amount.value(), amount.number.expanded());
                (value - u, value + u, worked.bound.is_some())
            });
            assert_eq!(found, wanted, "{difference}");
        }
    }
}
