//! What a test shows, whoever saw it: a log and what was read off by hand fill the same summary, and the facts are made
//! of that alone.

use super::figure::Figure;
use super::{Work, worked};
use crate::judge::facts::{Answer, Bound, Missing, Side, Val};
use crate::logs::cold_charge::ColdCurrent;
use crate::logs::full_load::Total;
use crate::units::{Amount, Dimension, show, show_uncertain};

/// How a full-load test came to its end.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum LoadEnded {
    /// By a word of the record.
    By(&'static str),
    /// The log ends under load.
    StillOn,
    NotRecorded(Missing),
}

/// The word of the record for a BMS that opened.
pub(super) const BMS_CUT_OFF: &str = "bms cut-off";

/// What a full-load test shows.
#[derive(Debug, Clone)]
pub(super) struct FullLoadSummary {
    /// Mean current under load.
    pub current: Total,
    /// Least and most time without interruption at or above rated current, s.
    pub held_for: (f64, f64),
    /// Whether the current may have come to the rated one at all.
    pub reached: bool,
    /// The highest current, A.
    pub highest: f64,
    /// Time under load, s.
    pub under_load: f64,
    pub end: LoadEnded,
    pub missing: Vec<Missing>,
    /// What else the times rest on.
    pub steps: Vec<String>,
}

impl FullLoadSummary {
    /// Another way to the same times: where the two cannot both be true, anything between them may be.
    pub fn against(mut self, other: &Self, name: &str) -> Self {
        let ((low, high), (a, b)) = (self.held_for, other.held_for);
        if self.missing.is_empty() && other.missing.is_empty() {
            self.steps.push(format!("by {name}: {}", other.times()));
            if low > b || high < a {
                self.steps.push("the instruments contradict each other".to_owned());
                self.held_for = (low.min(b), high.max(a));
            }
        }
        self
    }

    /// The times in words.
    pub fn times(&self) -> String {
        let [least, most] = [self.held_for.0, self.held_for.1].map(|time| show(time, Dimension::TIME));
        if least == most {
            return format!("{least} at or above rated current");
        }
        format!("{least} to {most} at or above rated current")
    }

    /// Why the time may be longer: the pack had not given up.
    fn not_the_end(&self) -> Option<Missing> {
        let held = show(self.held_for.1, Dimension::TIME);
        let after = match &self.end {
            LoadEnded::By(BMS_CUT_OFF) => return None,
            LoadEnded::NotRecorded(missing) => return Some(missing.clone()),
            LoadEnded::StillOn => {
                format!("the rest of the test: the log ends under load after {held} at rated current")
            }
            LoadEnded::By(word) => {
                format!(
                    "a longer test: it ended by \"{word}\" after {held} at rated current, the pack had not given up"
                )
            }
        };
        Some(Missing::refused(&after))
    }

    fn held(&self, source: u32) -> Answer {
        if !self.missing.is_empty() {
            return Err(self.missing.clone());
        }
        let mut steps = vec![self.times()];
        if let LoadEnded::By(word) = self.end {
            let after = show(self.under_load, Dimension::TIME);
            steps.push(format!("under load for {after}, ended by \"{word}\""));
        }
        steps.extend(self.steps.iter().cloned());
        let bound =
            |side: Side, missing: Missing| Bound { side, missing: vec![missing], by_definition: false };
        if !self.reached {
            let highest = show(self.highest, Dimension::CURRENT);
            let what = format!("a load at the rated current: the highest was {highest}");
            // What gave up at less than the rated current would not have held that for longer.
            if self.end != LoadEnded::By(BMS_CUT_OFF) {
                return Err(vec![Missing::refused(&what)]);
            }
            let mut answer = worked(Val::Amount(Amount::exact(self.under_load, Dimension::TIME)), steps);
            answer.bound = Some(bound(Side::AtMost, Missing::refused(&what)));
            return Ok(answer);
        }
        let mut answer = worked(Val::Amount(between(self.held_for, source, Dimension::TIME)), steps);
        answer.bound = self.not_the_end().map(|missing| bound(Side::AtLeast, missing));
        Ok(answer)
    }
}

/// What a cold-charge test shows.
#[derive(Debug, Clone)]
pub(super) struct ColdChargeSummary {
    pub coldest: Option<Amount>,
    /// Current into the cells while they were cold, or what is missing for it.
    pub current: Result<ColdCurrent, Vec<Missing>>,
    pub steps: Vec<String>,
    pub assumed: Vec<String>,
}

impl ColdChargeSummary {
    fn charged(&self, source: u32) -> Answer {
        let found = self.current.clone()?;
        let amount = between((found.low, found.high), source, Dimension::CURRENT);
        let mut answer = worked(Val::Amount(amount), self.steps.clone());
        answer.steps.extend(found.width.iter().map(|what| format!("known only as far as {what}")));
        answer.assumed.clone_from(&self.assumed);
        let side = if found.at_least.is_empty() { Side::Within } else { Side::AtLeast };
        let missing: Vec<Missing> =
            found.at_least.iter().chain(&found.width).map(|what| Missing::refused(what)).collect();
        if !missing.is_empty() {
            answer.bound = Some(Bound { side, missing, by_definition: false });
        }
        Ok(answer)
    }
}

/// An amount that lies anywhere between two ends: they are the ends of its expanded uncertainty.
fn between((low, high): (f64, f64), source: u32, dimension: Dimension) -> Amount {
    // The upper end itself is possible: without the last term a limit that is equal to it would count as missed.
    let beyond = if high > low { 1e-9 * high.abs() } else { 0.0 };
    Amount::between(low + beyond, high + beyond, source, dimension)
}

impl Work<'_> {
    /// Facts and figures of a full-load test.
    pub(super) fn full_load_facts(&mut self, summary: Result<&FullLoadSummary, Vec<Missing>>) {
        let (held, current, end) = match summary {
            Ok(summary) => {
                let mut current = worked(
                    Val::Amount(self.amount(
                        summary.current.value,
                        summary.current.standard.unwrap_or(0.0),
                        Dimension::CURRENT,
                        7,
                    )),
                    vec!["mean current under load".to_owned()],
                );
                if summary.current.standard.is_none() {
                    current.assumed.push(
                        "the accuracy of the current's instrument is not known and not counted".to_owned(),
                    );
                }
                let end = match &summary.end {
                    LoadEnded::By(word) => Ok(worked(Val::Text((*word).to_owned()), Vec::new())),
                    LoadEnded::StillOn => Err(vec![Missing::refused("the log ends under load")]),
                    LoadEnded::NotRecorded(missing) => Err(vec![missing.clone()]),
                };
                (summary.held(self.source + 6), Ok(current), end)
            }
            Err(ref missing) => (Err(missing.clone()), Err(missing.clone()), Err(missing.clone())),
        };
        if let (Ok(summary), Ok(held)) = (summary, &held)
            && summary.reached
            && let Some(amount) = held.value.amount()
        {
            // What the test is about comes first.
            let figure = Figure::new("rated current held for", Val::Amount(amount.clone()));
            let one = summary.held_for.0 == summary.held_for.1;
            self.result.figures.insert(0, if one { figure } else { figure.beside(summary.times()) });
        }
        self.fact("test.held_for", held);
        self.fact("test.current_held", current);
        self.fact("test.ended_by", end);
    }

    /// Facts of a cold-charge test.
    pub(super) fn cold_charge_facts(&mut self, summary: &ColdChargeSummary) {
        self.fact("test.cold_charge_current", summary.charged(self.source + 6));
        let coldest = summary.coldest.clone().map(|coldest| worked(Val::Amount(coldest), Vec::new()));
        self.fact(
            "test.coldest_cell",
            coldest.ok_or_else(|| vec![Missing::refused("a reading of the temperature of the cells")]),
        );
    }
}

/// A temperature with its thermometer's uncertainty, in words.
pub(super) fn temperature(kelvins: f64, expanded: f64) -> String {
    show_uncertain(kelvins, expanded, Dimension::TEMPERATURE)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn summary(held_for: (f64, f64), end: LoadEnded) -> FullLoadSummary {
        FullLoadSummary {
            current: Total { value: 250.0, standard: Some(1.0) },
            held_for,
            reached: held_for.1 > 0.0,
            highest: 251.0,
            under_load: 1200.0,
            end,
            missing: Vec::new(),
            steps: Vec::new(),
        }
    }

    /// Ends of the time, and the side on which the true one may lie.
    fn told(summary: &FullLoadSummary) -> Option<(f64, f64, Option<Side>)> {
        let worked = summary.held(1).ok()?;
        let amount = worked.value.amount()?.clone();
        let (value, u) = (amount.value(), amount.number.expanded());
        Some(((value - u).round(), (value + u).round(), worked.bound.map(|bound| bound.side)))
    }

    #[test]
    fn the_end_says_whether_the_time_is_a_bound() {
        let by = LoadEnded::By;
        let end = || LoadEnded::NotRecorded(Missing::refused("end"));
        for (held_for, ended, wanted) in [
            ((900.0, 900.0), by(BMS_CUT_OFF), Some((900.0, 900.0, None))),
            ((0.0, 900.0), by(BMS_CUT_OFF), Some((0.0, 900.0, None))),
            ((600.0, 600.0), by("time"), Some((600.0, 600.0, Some(Side::AtLeast)))),
            ((600.0, 600.0), LoadEnded::StillOn, Some((600.0, 600.0, Some(Side::AtLeast)))),
            ((600.0, 600.0), end(), Some((600.0, 600.0, Some(Side::AtLeast)))),
            // Never at rated current: it would not have held that for longer than the less that it was given.
            ((0.0, 0.0), by(BMS_CUT_OFF), Some((1200.0, 1200.0, Some(Side::AtMost)))),
            ((0.0, 0.0), by("time"), None),
        ] {
            assert_eq!(told(&summary(held_for, ended.clone())), wanted, "{held_for:?} {ended:?}");
        }
    }

    #[test]
    fn ways_that_contradict_each_other_leave_everything_between_them() {
        let by = |held_for| summary(held_for, LoadEnded::By(BMS_CUT_OFF));
        for (own, other, wanted) in [
            ((1200.0, 1200.0), (300.0, 310.0), (310.0, 1200.0)),
            ((300.0, 310.0), (1200.0, 1200.0), (300.0, 1200.0)),
            ((1200.0, 1200.0), (0.0, 1250.0), (1200.0, 1200.0)),
        ] {
            assert_eq!(by(own).against(&by(other), "the sum").held_for, wanted);
        }
    }
}
