//! Measured temperature rise of a named part against what the physics predicts at that current.
//!
//! A check on the record and on the model, not on the pack: a large difference means a wrong size, material or
//! surface in the record, a sensor that sits elsewhere, or heat that takes a way the model does not know.
//! What is compared is the final rise, by a fit of the approach; a part that was still warming and whose end cannot
//! be predicted has *at least* its rise, and one that is only known above the air of the room has *at most* it.

use super::Work;
use super::agreement::Checks;
use super::course::{Course, part_of};
use super::instruments::{standard, tool};
use crate::judge::facts::path;
use crate::judge::facts::{Answer, Missing, Side, Subject, predicted_bms_rise};
use crate::logs::approach::{self, Approach, NotIdentifiable, Steady};
use crate::logs::instrument::Agreement;
use crate::units::{Amount, COVERAGE, Dimension, Uncertain, show, show_uncertain};

/// Parts whose rise must agree with its prediction: one alone may be chance (common practice, no source).
const LEAST: usize = 2;
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
        let mut checks = Checks::default();
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
                self.figure(&format!("temperature of {part}"), format!("not known: {why}"));
                checks.add(part, &Agreement::CannotTell(why));
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
                let why = "the ambient temperature is not recorded".to_owned();
                checks.add(&part, &Agreement::CannotTell(why));
                continue;
            };
            let (text, agreement) = self.one_rise(&part, found, &air, current.as_ref());
            self.figure(&format!("rise of {part}"), format!("{text}; {agreement}"));
            checks.add(&format!("rise of {part}, {text}"), &agreement);
        }
        let count = Amount::exact(f64::from(checks.count()), Dimension::NONE);
        self.fact("test.rises", Ok(super::worked(crate::judge::facts::Val::Amount(count), Vec::new())));
        self.fact(
            "test.rises_agree",
            checks.answer(
                "the temperature of a part that is named (`[[test.sensor]]`) and that the physics knows",
                LEAST,
            ),
        );
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

    fn one_rise(&self, part: &str, found: Final, air: &Air, current: Option<&Amount>) -> (String, Agreement) {
        let cannot = |why: String| Agreement::CannotTell(why);
        let standard = found.standard.zip(air.standard).map(|(a, b)| a.hypot(b));
        let measured = found.value - air.value;
        let bound = if found.at_least { "at least " } else { "" };
        let shown = show_uncertain(measured, COVERAGE * standard.unwrap_or(0.0), DIFFERENCE);
        let above = format!(
            "measured {bound}{shown} above {} ({})",
            air.name,
            show(air.value, Dimension::TEMPERATURE)
        );
        let Some(current) = current else {
            return (above, cannot("the current is not known".to_owned()));
        };
        let ambient = Amount {
            number: Uncertain::new(air.value, self.source + 8, air.standard.unwrap_or(0.0)),
            dimension: Dimension::TEMPERATURE,
        };
        let predicted = match self.predicted(part, current, &ambient) {
            Ok(worked) => worked,
            Err(missing) => {
                let why: Vec<String> = missing.into_iter().map(|missing| missing.what).collect();
                return (above, cannot(format!("not predicted: {}", why.join("; "))));
            }
        };
        let Some(amount) = predicted.value.amount().cloned() else {
            return (above, cannot("not predicted".to_owned()));
        };
        let difference = measured - amount.value();
        let at = show(current.value(), Dimension::CURRENT);
        let text = format!(
            "{above}, predicted {} at {at}: {} {}",
            show_uncertain(amount.value(), amount.number.expanded(), DIFFERENCE),
            show(difference.abs(), DIFFERENCE),
            if difference < 0.0 { "less" } else { "more" },
        );
        let Some(standard) = standard else {
            return (text, cannot("the accuracy of the thermometer is not known".to_owned()));
        };
        let Some(limit) = self.physics.limits.get("rise_agreement").map(Amount::value) else {
            return (text, cannot("there is no limit `rise_agreement`".to_owned()));
        };
        let expanded = COVERAGE * standard.hypot(amount.number.standard());
        let mut open = Open::default();
        if found.at_least {
            open.more.push(WARMING);
        }
        if air.of_the_room {
            open.less.push(ROOM);
        }
        match predicted.bound.as_ref().map(|bound| bound.side) {
            Some(Side::AtLeast) => open.less.push(LEFT_OUT),
            Some(Side::AtMost) => open.more.push(LEFT_OUT),
            None => {}
        }
        let agreement = decide(difference, expanded, limit, &open);
        (text, agreement)
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

/// Decides |difference| ≤ limit with a guard band, where the true difference may also be larger or smaller.
fn decide(difference: f64, expanded: f64, limit: f64, open: &Open) -> Agreement {
    let (low, high) = (difference - expanded, difference + expanded);
    if low > limit && open.less.is_empty() || high < -limit && open.more.is_empty() {
        return Agreement::Disagree;
    }
    let reasons: Vec<&str> = open.more.iter().chain(&open.less).copied().collect();
    if low >= -limit && high <= limit || low > limit || high < -limit {
        if reasons.is_empty() {
            return Agreement::Agree;
        }
        return Agreement::CannotTell(reasons.join("; "));
    }
    let inside = format!(
        "the limit of {} lies inside the uncertainty of the difference, {}",
        show(limit, DIFFERENCE),
        show(expanded, DIFFERENCE)
    );
    Agreement::CannotTell(
        reasons.iter().map(|reason| (*reason).to_owned()).chain([inside]).collect::<Vec<_>>().join("; "),
    )
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

/// What a fit says, for a figure; `thermometer` is the standard uncertainty of its readings in K, where it is known.
pub(super) fn fit_in_words(
    fit: &Result<Approach, NotIdentifiable>,
    last: f64,
    thermometer: Option<f64>,
) -> String {
    let found = end_of(fit, last, thermometer);
    let fit = match fit {
        Ok(fit) => fit,
        Err(why) => return format!("not predicted: {}", why.0),
    };
    let end = match found.standard {
        Some(standard) => show_uncertain(found.value, COVERAGE * standard, Dimension::TEMPERATURE),
        None => format!(
            "{}, ± {} by the fit alone as the thermometer's accuracy is not known",
            show(found.value, Dimension::TEMPERATURE),
            show(fit.expanded, DIFFERENCE)
        ),
    };
    let steady = match fit.steady {
        Steady::Reached => "steady state was reached",
        Steady::NotReached => "steady state was not reached",
        Steady::NotDecided => "whether steady state was reached is not decided",
    };
    format!("{end}; {steady}; time constant {}", show(fit.time_constant.value, Dimension::TIME))
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
    fn outcomes_of_a_difference() {
        let cannot = |agreement: &Agreement| matches!(agreement, Agreement::CannotTell(_));
        let known = Open::default();
        let warming = Open { more: vec![WARMING], less: Vec::new() };
        let room = Open { more: Vec::new(), less: vec![ROOM] };
        assert_eq!(decide(3.0, 2.0, 10.0, &known), Agreement::Agree);
        assert_eq!(decide(-15.0, 2.0, 10.0, &known), Agreement::Disagree);
        assert!(cannot(&decide(9.0, 2.0, 10.0, &known)));
        // Still warming: less than predicted says nothing, more than predicted does.
        assert!(cannot(&decide(-15.0, 2.0, 10.0, &warming)));
        assert!(cannot(&decide(0.0, 2.0, 10.0, &warming)));
        assert_eq!(decide(15.0, 2.0, 10.0, &warming), Agreement::Disagree);
        // Above the room only: more than predicted says nothing, less does.
        assert!(cannot(&decide(15.0, 2.0, 10.0, &room)));
        assert_eq!(decide(-15.0, 2.0, 10.0, &room), Agreement::Disagree);
    }
}
