//! Several instruments that each see a part of the current: merged on time, added up, and cross-checked.
//!
//! Branch logs have clocks and sampling of their own. They are put on the clock of the test's log where the load
//! comes on (or goes off, where a log begins under load), or by a stated offset; how well that is known enters the
//! uncertainty of the sum. A log that shows neither and has no offset cannot be merged: the sum is then not known,
//! and is never the sum of the others. Each log streams past in bounded memory.

use super::instruments::{Tool, standard, tool};
use super::largest::Largest;
use super::{CURVE_POINTS, Figure, Logs, Work, worked};
use crate::judge::facts::{Missing, Val};
use crate::logs::downsample::MinMax;
use crate::logs::full_load::{Branch, Reading, Total, sum, sum_over_time};
use crate::logs::instrument::compare;
use crate::logs::read::{CurrentSign, LogReader, Meaning, SignSetting, is_gauge};
use crate::logs::series::{POINTS, Series};
use crate::record::parts::TestBranch;
use crate::units::{Amount, COVERAGE, Dimension, Uncertain, show, show_percent, show_uncertain};

/// Branches that are merged.
const BRANCHES: usize = 16;
/// Clocks that write whole seconds are alike within this, s.
const CLOCKS: f64 = 1.0;
/// A current that flows one way only is the other way by no more than this part (common practice, no source).
const BOTH_WAYS: f64 = 0.02;
/// Part of its usual current from which on a branch counts as loaded.
const ON: f64 = 0.5;

/// The branches on one clock.
#[derive(Debug, Clone, Default)]
pub(super) struct Merged {
    /// Name and points of each branch, for a chart.
    pub lines: Vec<(String, Vec<(f64, f64)>)>,
    /// The sum at the times of the first branch at which all have a reading.
    pub sums: Vec<(f64, Total)>,
    /// Sum of the means under load.
    pub mean: Option<Total>,
    /// Voltage beside the first branch, where its log has one.
    pub voltage: Series,
    /// Names of the branches that could not be merged, with the reason.
    pub lost: Vec<(String, String)>,
}

/// A branch's log, read.
struct Read {
    name: String,
    series: Series,
    picture: MinMax,
    voltage: Series,
    tool: Option<Tool>,
    samples: u64,
    flipped: bool,
    account: String,
    /// Seconds since 1970 of its time zero, and whether by UTC.
    since_1970: Option<(f64, bool)>,
}

/// Readings of branches at one time, by name.
type Group = Vec<(String, Reading)>;

/// When a current comes on or goes off: the moment, and half the width within which it is known.
#[derive(Debug, Clone, Copy)]
struct Edge {
    at: f64,
    half: f64,
}

/// Where the load comes on and goes off in a series, where it shows.
fn edges(series: &Series) -> (Option<Edge>, Option<Edge>) {
    let points = series.points();
    let mut values: Vec<f64> = points.iter().map(|(_, value)| *value).collect();
    values.sort_by(f64::total_cmp);
    let Some(usual) = values.get(values.len() * 9 / 10).copied() else { return (None, None) };
    let level = ON * usual;
    let between = |a: f64, b: f64| Edge { at: (a + b) / 2.0, half: (b - a) / 2.0 };
    let pair = |on: bool| {
        move |pair: &[(f64, f64)]| match pair {
            [a, b] if on && a.1 < level && b.1 >= level => Some(between(a.0, b.0)),
            [a, b] if !on && a.1 >= level && b.1 < level => Some(between(a.0, b.0)),
            _ => None,
        }
    };
    if level <= 0.0 {
        return (None, None);
    }
    (points.windows(2).find_map(pair(true)), points.windows(2).rev().find_map(pair(false)))
}

impl Work<'_> {
    pub(super) fn has_branch_logs(&self) -> bool {
        self.test.branch.iter().any(|branch| branch.log.text().is_some())
    }

    /// Reads the branches' own logs and puts them on one clock: that of `whole`, or of the first branch.
    pub(super) fn merge(
        &mut self,
        logs: &Logs<'_>,
        whole: Option<&Series>,
        mut since_1970: Option<(f64, bool)>,
    ) -> Merged {
        let mut merged = Merged::default();
        let with_logs: Vec<&TestBranch> =
            self.test.branch.iter().filter(|branch| branch.log.text().is_some()).take(BRANCHES).collect();
        let mut reads = Vec::new();
        for branch in self.test.branch.iter().filter(|b| b.log.text().is_none() && b.column.text().is_none())
        {
            let name = branch.name.text().unwrap_or("a branch without a name").to_owned();
            merged.lost.push((name, "neither its `log` nor its `column` is recorded".to_owned()));
        }
        for (number, branch) in with_logs.iter().enumerate() {
            let name = branch.name.text().map_or_else(|| format!("branch {}", number + 1), str::to_owned);
            match self.read_branch(logs, branch, name.clone()) {
                Ok(read) => reads.push((*branch, read)),
                Err(why) => merged.lost.push((name, why)),
            }
        }
        let mut base = whole.map(edges);
        let mut branches = Vec::new();
        let mut align = 0.0_f64;
        for (branch, read) in &reads {
            let found = shift(branch, read, base, since_1970);
            let (by, half, how) = match found {
                Ok(found) => found,
                Err(why) => {
                    merged.lost.push((read.name.clone(), why));
                    continue;
                }
            };
            let moved = |points: &[(f64, f64)]| -> Vec<(f64, f64)> {
                points.iter().map(|(time, value)| (time + by, *value)).collect()
            };
            let series = Series::of(moved(&read.series.points()));
            if base.is_none() {
                since_1970 = read.since_1970;
            }
            base.get_or_insert_with(|| edges(&series));
            let blur = misalignment(&series, half);
            align = align.hypot(blur);
            let thinned = u64::try_from(POINTS).unwrap_or(u64::MAX) < read.samples;
            let notes = [
                Some(how),
                (blur > 0.0).then(|| {
                    let blurred = show(COVERAGE * blur, Dimension::CURRENT);
                    format!("which adds {blurred} to the uncertainty of the sum")
                }),
                read.flipped.then(|| "its current was written negative and is turned round".to_owned()),
                thinned.then(|| format!("{} samples, thinned evenly", read.samples)),
                Some(read.account.clone()),
            ];
            let notes: Vec<String> = notes.into_iter().flatten().collect();
            self.figure(Figure::words(&format!("log of {}", read.name), notes.join("; ")).detailed());
            if merged.lines.is_empty() {
                merged.voltage = Series::of(moved(&read.voltage.points()));
            }
            merged.lines.push((read.name.clone(), moved(&read.picture.points())));
            branches.push(Branch {
                name: read.name.clone(),
                series,
                accuracy: read.tool.and_then(|tool| tool.accuracy),
                instrument: read.tool.map_or(0, |tool| tool.source),
            });
        }
        for (name, why) in merged.lost.clone() {
            let words = format!("could not be merged: {why}");
            self.figure(Figure::words(&format!("log of {name}"), words).detailed());
        }
        if merged.lost.is_empty() {
            let add = |total: Total| Total { standard: total.standard.map(|u| u.hypot(align)), ..total };
            merged.sums =
                sum_over_time(&branches).into_iter().map(|(time, total)| (time, add(total))).collect();
            merged.mean = self.means(&branches, &merged.sums).map(add);
        }
        merged
    }

    /// Sum of the branches' means over the time at which the sum is under load; adds each branch's share.
    fn means(&mut self, branches: &[Branch], sums: &[(f64, Total)]) -> Option<Total> {
        let highest = sums.iter().map(|(_, total)| total.value).fold(0.0, f64::max);
        let mut loaded: Vec<f64> =
            sums.iter().filter(|(_, total)| total.value >= ON * highest).map(|(time, _)| *time).collect();
        // Between the samples at both edges the sum is a ramp that no instrument saw.
        let edge = 2.0 * branches.iter().map(|branch| branch.series.usual_step()).fold(0.0, f64::max);
        if let (Some(first), Some(last)) = (loaded.first().copied(), loaded.last().copied())
            && last - first > 4.0 * edge
        {
            loaded.retain(|time| (first + edge..=last - edge).contains(time));
        }
        let readings: Option<Vec<Reading>> = branches
            .iter()
            .map(|branch| {
                let values: Vec<f64> = loaded.iter().filter_map(|time| branch.series.at(*time)).collect();
                #[expect(clippy::cast_precision_loss, reason = "a count of samples")]
                let count = values.len() as f64;
                (count > 0.0).then(|| Reading {
                    value: values.iter().sum::<f64>() / count,
                    accuracy: branch.accuracy,
                    instrument: branch.instrument,
                })
            })
            .collect();
        let readings = readings?;
        let total = sum(&readings);
        for (branch, reading) in branches.iter().zip(&readings) {
            self.branch_figure(&branch.name, reading, total.value);
        }
        Some(total)
    }

    pub(super) fn branch_figure(&mut self, name: &str, reading: &Reading, total: f64) {
        let expanded = reading.accuracy.map_or(0.0, |a| COVERAGE * a.standard(reading.value));
        let figure =
            Figure::amount(&format!("current of {name}"), reading.value, expanded, Dimension::CURRENT);
        let share = if total > 0.0 {
            format!("{} of the sum", show_percent(reading.value / total))
        } else {
            String::new()
        };
        self.figure(figure.beside(share).detailed());
    }

    fn read_branch(&self, logs: &Logs<'_>, branch: &TestBranch, name: String) -> Result<Read, String> {
        let log = branch.log.text().unwrap_or_default();
        let path = logs.path(log)?;
        let mut settings = logs.settings(branch.columns.list(), branch.profile.text())?;
        if let Some(sign) = branch.sign.word() {
            settings.sign = SignSetting::parse(sign)?;
        }
        let mut reader = LogReader::open(&path, &settings).map_err(|error| error.to_string())?;
        let layout = reader.layout();
        let wanted = branch.column.text().map(str::trim);
        let columns: Vec<_> = layout
            .slots(Meaning::Current)
            .filter(|(_, column)| match wanted {
                Some(wanted) => {
                    [&column.header, &column.label].iter().any(|n| n.trim().eq_ignore_ascii_case(wanted))
                }
                None => !is_gauge(&column.label),
            })
            .map(|(slot, column)| (slot, column.header.clone()))
            .collect();
        let by_header = |slot| layout.values().any(|(of, column)| of == slot && column.direction.is_some());
        let slot = match (columns.as_slice(), wanted) {
            ([(slot, _)], _) => *slot,
            ([], Some(wanted)) => return Err(format!("the log {log} has no current column \"{wanted}\"")),
            ([], None) => return Err(format!("the log {log} has no column of current")),
            (several, _) => {
                let names: Vec<&str> = several.iter().map(|(_, header)| header.as_str()).collect();
                return Err(format!(
                    "the log {log} has several currents ({}); say which `column`",
                    names.join(", ")
                ));
            }
        };
        let volts = layout.slot(Meaning::Voltage);
        let decided = by_header(slot) || !matches!(layout.sign, Some((CurrentSign::NotDecided, _)) | None);
        let (mut series, mut voltage, mut picture) =
            (Series::new(), Series::new(), MinMax::new(CURVE_POINTS / 4));
        // Without a voltage the log alone does not show which way its current counts.
        let (mut samples, mut out, mut into) = (0_u64, 0.0, 0.0);
        reader
            .for_each(|sample| {
                let current = sample.get(slot);
                if current.is_finite() {
                    samples += 1;
                    *(if current > 0.0 { &mut out } else { &mut into }) += current.abs();
                }
                series.push(sample.time, current);
                picture.push(sample.time, current);
                voltage.push(sample.time, volts.map_or(f64::NAN, |slot| sample.get(slot)));
            })
            .map_err(|error| error.to_string())?;
        if samples < 2 {
            return Err(format!("the log {log} holds no current"));
        }
        // The pack is loaded in this test, so what flows one way only flows out of it, whatever sign the meter writes.
        let flipped = !decided && into > out;
        if !decided && out.min(into) > BOTH_WAYS * out.max(into) {
            return Err(format!(
                "the current in the log {log} flows both ways, and nothing in it shows which is out of the pack: write `sign = \
                 \"discharge positive\"` or `\"discharge negative\"` in the branch"
            ));
        }
        if flipped {
            series = Series::of(series.points().into_iter().map(|(time, value)| (time, -value)));
            let mut turned = MinMax::new(CURVE_POINTS / 4);
            picture.points().into_iter().for_each(|(time, value)| turned.push(time, -value));
            picture = turned;
        }
        let report = reader.report();
        let account = report.to_string().replace('\n', "; ");
        let with = branch.own.with.as_deref().or(self.test.own.with.as_deref());
        let tool = tool(self.record, with, Dimension::CURRENT);
        let since_1970 = reader.dated();
        Ok(Read { name, series, picture, voltage, tool, samples, flipped, account, since_1970 })
    }

    /// Branches that were read off by hand: the readings of "branch …" at the time with the most of them.
    pub(super) fn branches_by_hand(&mut self) -> Option<Total> {
        let mut groups: Vec<(Option<f64>, Group)> = Vec::new();
        for (number, reading) in self.test.reading.iter().enumerate() {
            let (Some(of), Some(quantity)) = (reading.of.text(), reading.value.quantity()) else { continue };
            if quantity.dimension != Dimension::CURRENT || !super::by_hand::is_branch(Some(of)) {
                continue;
            }
            let at = reading.at.quantity().map(|at| at.value);
            let with = reading.value.found().with.as_deref();
            let meter = tool(self.record, with, Dimension::CURRENT);
            let own = standard(self.record, with, quantity)
                .map(|u| crate::logs::instrument::Accuracy { gain: 0.0, offset: COVERAGE * u });
            let one = Reading {
                value: quantity.value,
                accuracy: if quantity.expanded.is_some() {
                    own
                } else {
                    meter.and_then(|tool| tool.accuracy)
                },
                // A written ± is a source of its own.
                instrument: match meter {
                    Some(tool) if quantity.expanded.is_none() => tool.source,
                    _ => u32::try_from(number).unwrap_or(0) + (1 << 16),
                },
            };
            match groups.iter_mut().find(|(known, _)| *known == at) {
                Some((_, group)) => group.push((of.trim().to_owned(), one)),
                None => groups.push((at, vec![(of.trim().to_owned(), one)])),
            }
        }
        // The first of those with the most branches.
        let (_, group) = groups.into_iter().rev().max_by_key(|(_, group)| group.len())?;
        let readings: Vec<Reading> = group.iter().map(|(_, reading)| *reading).collect();
        let total = sum(&readings);
        for (name, reading) in &group {
            self.branch_figure(name, reading, total.value);
        }
        Some(total)
    }

    /// Facts and figures of a sum: against an instrument that sees the whole current, and against the gauge.
    pub(super) fn cross_check_branches(
        &mut self,
        count: usize,
        total: Option<Total>,
        whole: Option<Total>,
        gauge: Option<Total>,
        lost: &[(String, String)],
    ) {
        let branches = count;
        let count = Amount::exact(f64::from(u32::try_from(count).unwrap_or(u32::MAX)), Dimension::NONE);
        self.result.facts.insert("test.branches", Ok(worked(Val::Amount(count), Vec::new())));
        let missing = || -> Vec<Missing> {
            lost.iter().map(|(name, why)| Missing::refused(&format!("{name}: {why}"))).collect()
        };
        let Some(total) = total else {
            let missing = if lost.is_empty() {
                vec![Missing::refused("no time at which all branches have a reading")]
            } else {
                missing()
            };
            self.result.facts.insert("test.branch_sum", Err(missing.clone()));
            self.fact("test.branch_error", Err(missing));
            return;
        };
        let expanded = COVERAGE * total.standard.unwrap_or(0.0);
        let text = show_uncertain(total.value, expanded, Dimension::CURRENT);
        let known = total.standard.is_some();
        let figure = Figure::amount("sum of the branches", total.value, expanded, Dimension::CURRENT);
        let unknown = if known { "" } else { "the accuracy of an instrument is not known" };
        self.figure(figure.beside(unknown));
        let number = Uncertain::new(total.value, self.source + 4, total.standard.unwrap_or(0.0));
        let mut sum = worked(
            Val::Amount(Amount { number, dimension: Dimension::CURRENT }),
            vec!["sum of the branches; gains of one instrument add up, those of several do not".to_owned()],
        );
        if !known {
            sum.assumed.push("the accuracy of a branch's instrument is not known and not counted".to_owned());
        }
        self.result.facts.insert("test.branch_sum", Ok(sum));
        let widest = self.physics.limit("comparison_width").ok();
        let mut largest = Largest::default();
        for (name, other) in [("the instrument of the whole current", whole), ("the pack's own gauge", gauge)]
        {
            let Some(other) = other else { continue };
            let shown =
                show_uncertain(other.value, COVERAGE * other.standard.unwrap_or(0.0), Dimension::CURRENT);
            let against = format!("{text} against {shown}");
            let compared = compare(total.value, total.standard, other.value, other.standard);
            let figure = match &compared {
                Ok(compared) => Figure::amount(
                    &format!("branches less {name}"),
                    compared.difference,
                    compared.expanded,
                    Dimension::CURRENT,
                ),
                Err(why) => Figure::words(&format!("branches less {name}"), *why),
            };
            self.figure(figure.beside(against));
            let what = format!("{text} against {name}, {shown}");
            largest.compare(&what, compared.map_err(str::to_owned), widest, 1);
        }
        if branches < 2 {
            largest.may_be_more("sum of the branches", "a second branch: one alone is no sum");
        }
        // The sum is at stake here, and every comparison is one with all of it.
        let answer = largest.answer(
            "a second way to the whole current: an instrument that sees all of it, or a reading of the gauge",
            1.0,
            self.source + 10,
            Dimension::NONE,
        );
        let answer = answer.map(|mut error| {
            error.steps.insert(0, format!("sum of {branches} branches"));
            error
        });
        self.fact("test.branch_error", answer);
    }
}

/// What is added to a branch's times, half the width within which that is known, and how it was found.
fn shift(
    branch: &TestBranch,
    read: &Read,
    base: Option<(Option<Edge>, Option<Edge>)>,
    since_1970: Option<(f64, bool)>,
) -> Result<(f64, f64, String), String> {
    let seconds = |value: f64| show(value, Dimension::TIME);
    if let Some(offset) = branch.offset.quantity() {
        let half = offset.expanded.unwrap_or(0.0);
        return Ok((offset.value, half, format!("aligned by the stated offset of {}", offset.text)));
    }
    let own = edges(&read.series);
    let Some((base_on, base_off)) = base else {
        return Ok((0.0, 0.0, "its clock is the one that the others are aligned to".to_owned()));
    };
    // Dates and times of both, either both by UTC or both by the clock on the wall.
    if let (Some((zero, utc)), Some((own_zero, own_utc))) = (since_1970, read.since_1970)
        && utc == own_utc
    {
        let by = own_zero - zero;
        let how = "aligned by the dates and times of both logs, as if their clocks were set alike; a stated `offset` says how \
                   far they are apart";
        return Ok((by, CLOCKS, how.to_owned()));
    }
    let by = |a: Edge, b: Edge, word: &str| {
        let (by, half) = (a.at - b.at, a.half + b.half);
        let sign = if by < 0.0 { "−" } else { "+" };
        let how = format!(
            "aligned where the load {word} ({sign}{}, known to ± {}), as if every branch were switched at one moment",
            seconds(by.abs()),
            seconds(half)
        );
        Ok((by, half, how))
    };
    match (base_on.zip(own.0), base_off.zip(own.1)) {
        (Some((a, b)), _) => by(a, b, "comes on"),
        (None, Some((a, b))) => by(a, b, "goes off"),
        (None, None) => Err(
            "its log shows neither the load coming on nor going off together with the others; state its `offset`"
                .to_owned(),
        ),
    }
}

/// What an error of the clocks within ± `half` does to the current on average, as a standard uncertainty.
fn misalignment(series: &Series, half: f64) -> f64 {
    if half <= 0.0 {
        return 0.0;
    }
    // Rectangular over ± half; only where the load is on at both ends, or the edges alone would count.
    let highest = series.points().iter().map(|(_, value)| *value).fold(0.0, f64::max);
    let (mut squares, mut count) = (0.0, 0.0);
    for time in series.times() {
        if let (Some(a), Some(b)) = (series.at(time - half), series.at(time + half))
            && a >= ON * highest
            && b >= ON * highest
        {
            squares += ((b - a) / 2.0).powi(2);
            count += 1.0;
        }
    }
    if count > 0.0 { (squares / count).sqrt() / 3.0_f64.sqrt() } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn edges_of_a_load() {
        let load = |from: i32, to: i32| {
            Series::of((0..100).map(|t| (f64::from(t), if (from..to).contains(&t) { 77.0 } else { 0.1 })))
        };
        let (on, off) = edges(&load(20, 80));
        assert_eq!((on.unwrap().at, on.unwrap().half, off.unwrap().at), (19.5, 0.5, 79.5));
        let (on, off) = edges(&load(-5, 80));
        assert!(on.is_none() && off.is_some(), "a log that begins under load shows no load on");
        assert!(edges(&load(200, 300)).0.is_none() || edges(&Series::new()).0.is_none());
    }

    #[test]
    fn a_steady_current_does_not_mind_the_clock() {
        let steady = Series::of((0..100).map(|t| (f64::from(t), if t < 10 { 0.0 } else { 77.0 })));
        assert_eq!(misalignment(&steady, 3.0), 0.0);
        let ramp = Series::of((0..100).map(|t| (f64::from(t), 100.0 + f64::from(t))));
        assert!((misalignment(&ramp, 3.0) - 3.0 / 3.0_f64.sqrt()).abs() < 1e-9);
    }
}
