//! Why a log's figures cannot be believed: what it says of itself does not add up, or not with the record.

use super::course::Course;
use super::{Figure, Work};
use crate::judge::facts::Missing;
use crate::logs::account::{AccountCheck, Compared, SAME, Segment};
use crate::logs::read::{CurrentSign, HowKnown, Layout, Meaning};
use crate::units::{Dimension, show, words};

/// What is known of the part of a log that makes a figure.
pub(super) struct Part {
    /// First and last time, s.
    pub from: f64,
    pub to: f64,
    /// How well its charge is known by sampling, C.
    pub loose: f64,
    /// Its charge, C, where a claim is to be compared with it.
    pub charge: Option<f64>,
    /// Its mean voltage, V, where there is one.
    pub voltage: Option<f64>,
}

impl Work<'_> {
    /// Everything that clashes, each in a sentence with what would settle it; tells of the charges and discharges too.
    pub(super) fn doubts(&mut self, course: &Course, layout: &Layout, part: &Part) -> Vec<String> {
        self.segment_figures(course);
        let mut doubts = Vec::new();
        if let Some((CurrentSign::NotDecided, basis)) = layout.sign
            && course.currents.iter().any(|channel| !channel.has_direction)
        {
            doubts.push(format!(
                "which way the current counts is not known ({basis}): write `sign = \"discharge positive\"` or `\"discharge \
                 negative\"` in the test"
            ));
        }
        for meaning in [Meaning::Current, Meaning::Voltage] {
            let one_cell = meaning == Meaning::Voltage && self.record.cells.series.count() == Some(1);
            let branches = meaning == Meaning::Current && course.currents.len() > 1;
            doubts.extend(layout.not_of_the_pack(meaning).filter(|_| !one_cell && !branches));
            let rivals = layout.rivals(meaning);
            if let (Some(first), false) = (rivals.first(), branches) {
                let chosen = layout.values().find(|(slot, _)| Some(*slot) == layout.slot(meaning));
                let mut names: Vec<String> =
                    chosen.iter().map(|(_, c)| format!("\"{}\"", c.header)).collect();
                names.extend(rivals.iter().map(|column| format!("\"{}\"", column.header)));
                let names: Vec<&str> = names.iter().map(String::as_str).collect();
                let branch =
                    if meaning == Meaning::Current { ", or name each as a branch of the test" } else { "" };
                doubts.push(format!(
                    "{} could each be the {meaning} of the pack: write for example `columns = [\"{} = {meaning}\"]` in the \
                     test{branch}",
                    words::list(&names, "and"),
                    first.header
                ));
            }
        }
        let checks = course.account.checks(part.from, part.to, part.loose);
        let (mut agree, mut not_compared) = (Vec::new(), Vec::new());
        for check in &checks {
            match check {
                AccountCheck::Agrees(_, text) => agree.push(text.as_str()),
                AccountCheck::NotCompared(text) => not_compared.push(text.as_str()),
                AccountCheck::Clashes(_) => {}
            }
        }
        for (name, texts) in [("adds up", agree), ("could not be checked", not_compared)] {
            if !texts.is_empty() {
                self.figure(Figure::words(name, texts.join("; ")).detailed());
            }
        }
        let counted = checks.iter().any(|check| matches!(check, AccountCheck::Agrees(Compared::Charge, _)));
        doubts.extend(checks.iter().filter_map(|check| check.clash().map(str::to_owned)));
        let assumed: Vec<String> = layout
            .currents()
            .iter()
            .filter(|(_, column)| column.unit_assumed && column.known != HowKnown::Set)
            .map(|(_, column)| format!("of \"{}\"", column.header))
            .chain(layout.time_unit_assumed().then(|| format!("of the clock {}", layout.time_name())))
            .collect();
        if let (Some(charge), Some(claim), false) =
            (part.charge, self.record.claims.capacity.quantity().map(|q| q.value), counted)
            && claim > 0.0
            && self.beyond(charge / claim, "log_charge_least", "log_charge_most")
        {
            let units: Vec<&str> = assumed.iter().map(String::as_str).collect();
            let units = if units.is_empty() {
                "the units of current and clock, which nothing in the log confirms, may be wrong".to_owned()
            } else {
                format!(
                    "no unit is written {}, and nothing in the log confirms the usual one",
                    words::list(&units, "and")
                )
            };
            doubts.push(format!(
                "the charge is {} of a claimed {}: {units}; set them, for example `columns = [\"#1 = time in min\"]`",
                show(charge, Dimension::CHARGE),
                show(claim, Dimension::CHARGE)
            ));
        }
        doubts.extend(self.current_too_large(course, part, !assumed.is_empty() && !counted));
        if let (Some(voltage), Some(nominal)) = (part.voltage, self.nominal_voltage())
            && self.beyond(voltage / nominal, "log_voltage_least", "log_voltage_most")
            && let Some(channel) = &course.voltage
        {
            doubts.push(format!(
                "\"{}\" is {} where the pack's nominal voltage is {}: it is not the voltage of the pack, or its unit is not what \
                 it is taken for; set it with `columns`",
                channel.label,
                show(voltage, Dimension::VOLTAGE),
                show(nominal, Dimension::VOLTAGE)
            ));
        }
        // A sensor that fell off makes no charge wrong: only temperatures ask for it.
        for doubt in doubts.iter().cloned().chain(course.detached()) {
            self.figure(Figure::words("does not add up", doubt));
        }
        doubts
    }

    /// A current far beyond the one that was set, or, where none is recorded and nothing confirms its unit, beyond the rated
    /// one. A capacity test compares all discharges of the log with the one that was set by itself.
    fn current_too_large(&self, course: &Course, part: &Part, unconfirmed: bool) -> Option<String> {
        let inside = |segment: &Segment| segment.whole.from < part.to && segment.whole.to > part.from;
        let most = || {
            let segments = course.account.segments();
            segments.iter().filter(|segment| inside(segment)).map(|s| s.mean().abs()).fold(0.0, f64::max)
        };
        let over = |of: f64, limit: &str| {
            let limit = self.physics.limit(limit).ok()?;
            let most = most();
            (most >= limit * of).then(|| [most, of].map(|current| show(current, Dimension::CURRENT)))
        };
        let set = self.test.current.quantity().map(|set| set.value.abs());
        let rated = self.record.claims.continuous_current.quantity().map(|rated| rated.value.abs());
        let by_discharge = self.test.kind.word() == Some("capacity");
        // A thousandth of what was set: amperes under a header of milliamperes.
        if let Some((most, set)) = set.map(|set| (most(), set))
            && (1e3 * most / set - 1.0).abs() < SAME
        {
            return Some(format!(
                "the current is {} where {} was set, a thousandth: correct its unit, for example `columns = [\"#2 = current in \
                 A\"]`, or `current` in the test",
                show(most, Dimension::CURRENT),
                show(set, Dimension::CURRENT)
            ));
        }
        match (set.filter(|_| !by_discharge), rated.filter(|_| unconfirmed)) {
            (Some(set), _) => over(set, "log_current_of_set").map(|[most, set]| {
                format!(
                    "the current is {most} where {set} was set: correct `current` in the test, or the unit of the current with \
                     `columns`"
                )
            }),
            (None, Some(rated)) => over(rated, "log_current_of_rated").map(|[most, rated]| {
                format!(
                    "the current is {most} in a pack rated for {rated}, and no unit is written: set it, for example `columns = \
                     [\"#2 = current in mA\"]`"
                )
            }),
            (None, None) => None,
        }
    }

    /// Whether a share lies outside two limits of the book.
    fn beyond(&self, share: f64, least: &str, most: &str) -> bool {
        let limit = |name| self.physics.limit(name).ok();
        limit(least).is_some_and(|least| share < least) || limit(most).is_some_and(|most| share >= most)
    }

    /// What the current reads while nothing flows, over a time: a limit of the charge's error, C.
    pub(super) fn offset_charge(&self, course: &Course, seconds: f64) -> f64 {
        course.account.offset().map_or(0.0, |offset| offset.abs() * seconds)
    }

    fn nominal_voltage(&self) -> Option<f64> {
        let (claims, cells) = (&self.record.claims, &self.record.cells);
        claims
            .nominal_voltage
            .quantity()
            .map(|q| q.value)
            .or_else(|| Some(f64::from(cells.series.count()?) * cells.nominal_voltage.quantity()?.value))
    }

    /// A recorded current that the test did not run with.
    pub(super) fn not_as_set(&mut self, mean: f64) -> Option<String> {
        let set = self.test.current.quantity()?.value;
        let text = format!(
            "no discharge of the log runs with the recorded {}; the largest has {}: correct `current` in the test, or the unit \
             of the current with `columns`",
            show(set, Dimension::CURRENT),
            show(mean, Dimension::CURRENT)
        );
        self.figure(Figure::words("does not add up", text.clone()));
        Some(text)
    }
}

impl Work<'_> {
    /// A resistance that was found is not believed where the log does not add up.
    pub(super) fn no_resistance(&mut self, doubts: &[String]) {
        if !doubts.is_empty() && self.result.facts.get("test.resistance").is_some_and(Result::is_ok) {
            self.fact("test.resistance", Err(contradicted(doubts)));
        }
    }
}

/// Facts that nothing of this can be said for.
pub(super) fn contradicted(doubts: &[String]) -> Vec<Missing> {
    doubts.iter().map(|doubt| Missing::log(doubt.clone())).collect()
}
