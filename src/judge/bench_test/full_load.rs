//! A full-load test with its logs: how long rated current was held, by which instrument, and what became warm.

use super::branches::Merged;
use super::charts::{Marks, branch_line, current_lines, gap_marks};
use super::course::Course;
use super::doubts::{Part, contradicted};
use super::gauge::Reference;
use super::measured::{final_temperature, fit_between};
use super::summary::{BMS_CUT_OFF, FullLoadSummary, LoadEnded};
use super::{Figure, Logs, Work};
use crate::judge::facts::Missing;
use crate::logs::full_load::{FullLoad, FullLoadSettings, FullLoadTest, LoadEnd, Reading, Total, sum};
use crate::logs::instrument::{Accuracies, Accuracy};
use crate::logs::joined::Joined;
use crate::logs::read::Meaning;
use crate::units::{COVERAGE, Dimension};

impl Work<'_> {
    /// Works the test out by its log, by the logs of its branches, or by both.
    pub(super) fn full_load(&mut self, logs: &Logs<'_>, log: Option<&mut Joined>) -> Result<(), String> {
        let rated = self.record.claims.continuous_current.quantity();
        let rated = rated.ok_or("`claims.continuous_current` is not recorded")?.value;
        let (mut doubts, mut since_1970) = (Vec::new(), None);
        let (course, own) = match log {
            Some(log) => {
                let (course, own) = self.stream(rated, log)?;
                since_1970 = log.since_1970();
                if let Some(own) = &own {
                    let part = Part {
                        from: own.integral.from,
                        to: own.integral.to,
                        loose: own.integral.charge.sampling,
                        charge: None,
                        voltage: own.mean_voltage,
                    };
                    doubts = self.doubts(&course, log.layout(), &part);
                }
                (Some(course), own)
            }
            None => (None, None),
        };
        let merged = self.has_branch_logs().then(|| {
            let whole =
                course.as_ref().filter(|course| !course.currents.is_empty()).map(|course| &course.current);
            self.merge(logs, whole, since_1970)
        });
        let by_sum = merged.as_ref().and_then(|merged| self.run_sum(rated, merged, course.as_ref()));
        let found = match (&own, &by_sum) {
            (Some(found), _) | (None, Some(found)) => found,
            (None, None) => {
                self.sum_facts(course.as_ref(), merged.as_ref(), None, 0.0, 0.0);
                return Err(match &merged {
                    Some(merged) if !merged.lost.is_empty() => {
                        let lost: Vec<String> =
                            merged.lost.iter().map(|(name, why)| format!("{name}: {why}")).collect();
                        lost.join("; ")
                    }
                    _ => "the log shows no load".to_owned(),
                });
            }
        };
        let (from, to) = (found.integral.from, found.integral.to);
        self.load_figures(found, own.is_some(), to - from);
        let current = found.mean_current;
        let standard = merged
            .as_ref()
            .filter(|_| own.is_none())
            .and_then(|merged| merged.mean)
            .map_or_else(|| self.own_standard(current, Dimension::CURRENT), |total| total.standard);
        let mut summary = summary(found, Total { value: current, standard });
        if let (Some(_), Some(by_sum)) = (&own, &by_sum) {
            let other = self::summary(by_sum, summary.current);
            summary = summary.against(&other, "the sum of the branches");
        }
        if doubts.is_empty() {
            self.full_load_facts(Ok(&summary));
        } else {
            self.full_load_facts(Err(contradicted(&doubts)));
            self.no_resistance(&doubts);
        }
        self.sum_facts(course.as_ref(), merged.as_ref(), own.as_ref(), from, to);
        // Without a current of its own or stated offsets, the log of the temperatures has another clock.
        let one_clock = own.is_some() || merged.is_none() || self.offsets_are_stated();
        let (_, word) = found.end.words();
        let mut marks: Marks = vec![(0.0, "load on".to_owned()), ((to - from) / 60.0, word.to_owned())];
        marks.extend(gap_marks(&found.integral, from));
        self.charts(course.as_ref(), merged.as_ref(), from, one_clock, &marks);
        let mean = self.amount(current, standard.unwrap_or(0.0), Dimension::CURRENT, 9);
        let course = course.as_ref().filter(|_| one_clock);
        if let Some(course) = course {
            self.warmed(course, from, to);
        }
        self.keep_temperatures(course, (from, to), Some(&mean));
        let reference = Reference {
            course: course.filter(|course| !course.currents.is_empty()).map(|course| (course, from, to)),
            current: merged.as_ref().and_then(|merged| merged.mean),
            duration: Some(to - from),
        };
        self.gauge(&reference);
        Ok(())
    }

    fn offsets_are_stated(&self) -> bool {
        self.test.branch.iter().filter(|b| b.log.text().is_some()).all(|b| b.offset.quantity().is_some())
    }

    /// Streams the test's own log; follows the load where it has a current.
    fn stream(&mut self, rated: f64, log: &mut Joined) -> Result<(Course, Option<FullLoad>), String> {
        let mut course = Course::of(self, log.layout());
        if !self.has_branch_logs() {
            course = course.with_current()?;
        }
        let accuracies = self.accuracies_of(&course);
        let mut test = self.full_load_test(rated, accuracies);
        let mut steps = self.load_steps(Some(rated), accuracies);
        log.for_each(|sample| {
            let (v, i) = course.take(&sample);
            test.push(sample.time, v, i, sample.after_break);
            steps.push(sample.time, v, i, sample.after_break);
        })?;
        if course.currents.is_empty() {
            return Ok((course, None));
        }
        let found = test.finish().ok_or("the log shows no load")?;
        self.resistances(&steps.finish(), f64::INFINITY);
        Ok((course, Some(found)))
    }

    fn full_load_test(&self, rated: f64, accuracies: Accuracies) -> FullLoadTest {
        FullLoadTest::new(FullLoadSettings { rated, accuracies })
    }

    /// Follows the sum of the branches.
    fn run_sum(&self, rated: f64, merged: &Merged, course: Option<&Course>) -> Option<FullLoad> {
        // One accuracy for the whole run: the widest of the sums under load.
        let widest = merged
            .sums
            .iter()
            .filter(|(_, total)| total.value >= rated / 2.0)
            .map(|(_, total)| total.standard)
            .try_fold(0.0, |widest: f64, standard| standard.map(|u| widest.max(u)));
        let current =
            widest.filter(|_| !merged.sums.is_empty()).map(|u| Accuracy { gain: 0.0, offset: COVERAGE * u });
        let main = course.and_then(|course| course.voltage.as_ref()).map(|channel| &channel.series);
        let same_clock =
            course.is_some_and(|course| !course.currents.is_empty()) || self.offsets_are_stated();
        let mut test = self.full_load_test(rated, Accuracies { voltage: self.accuracies().voltage, current });
        for (time, total) in &merged.sums {
            let voltage = main
                .filter(|_| same_clock)
                .and_then(|main| main.at(*time))
                .or_else(|| merged.voltage.at(*time));
            test.push(*time, voltage.unwrap_or(f64::NAN), total.value, false);
        }
        test.finish()
    }

    fn load_figures(&mut self, found: &FullLoad, own: bool, seconds: f64) {
        let by = if own { "the test's log" } else { "the sum of the branches" };
        self.figure(Figure::words("current by", by).detailed());
        self.figure(Figure::words("end", found.end.words().0));
        self.plain("time under load", seconds, Dimension::TIME);
        self.plain("mean current", found.mean_current, Dimension::CURRENT);
        self.plain("mean voltage", found.mean_voltage, Dimension::VOLTAGE);
        self.plain("mean power", found.mean_power, Dimension::POWER);
        self.estimate("charge", Some(&found.integral.charge), Dimension::CHARGE);
        self.estimate("energy", found.integral.energy.as_ref(), Dimension::ENERGY);
        self.notes(&found.integral);
    }

    /// The sum of the branches against the other ways to the whole current.
    fn sum_facts(
        &mut self,
        course: Option<&Course>,
        merged: Option<&Merged>,
        own: Option<&FullLoad>,
        from: f64,
        to: f64,
    ) {
        let gauge = self.gauge_current(course, from, to);
        if let Some(merged) = merged {
            let whole = own.map(|own| {
                let value = own.mean_current;
                Total { value, standard: self.own_standard(value, Dimension::CURRENT) }
            });
            let count = merged.lines.len() + merged.lost.len();
            self.cross_check_branches(count, merged.mean, whole, gauge, &merged.lost);
            return;
        }
        let Some(course) = course.filter(|course| course.currents.len() > 1) else {
            return;
        };
        let readings: Vec<Reading> = course
            .currents
            .iter()
            .map(|channel| {
                let mean = channel.series.mean_of_points(from, to).unwrap_or(0.0);
                let tool = channel.tool;
                Reading {
                    value: mean,
                    accuracy: tool.and_then(|tool| tool.accuracy),
                    instrument: tool.map_or(0, |tool| tool.source),
                }
            })
            .collect();
        let total = sum(&readings);
        for (channel, reading) in course.currents.iter().zip(&readings) {
            self.branch_figure(&channel.label, reading, total.value);
        }
        self.cross_check_branches(readings.len(), Some(total), None, gauge, &[]);
    }

    /// What the gauge shows for the current: a reading, or its column of the log.
    fn gauge_current(&self, course: Option<&Course>, from: f64, to: f64) -> Option<Total> {
        if let Some(total) = self.gauge_current_read() {
            return Some(total);
        }
        let (_, channel) = course?.gauge.iter().find(|(meaning, _)| *meaning == Meaning::Current)?;
        let value = channel.series.mean_of_points(from, to)?;
        let standard = channel.tool.and_then(|tool| tool.step).map(|step| step / 12.0_f64.sqrt());
        Some(Total { value, standard })
    }

    fn charts(
        &mut self,
        course: Option<&Course>,
        merged: Option<&Merged>,
        from: f64,
        one_clock: bool,
        marks: &Marks,
    ) {
        let known = |one_clock: bool| if one_clock { marks.clone() } else { Vec::new() };
        if let Some(course) = course {
            self.chart_voltage(course, from, "under load", known(one_clock), Vec::new());
        } else if let Some(merged) = merged {
            let line = branch_line("terminals", &merged.voltage.points(), from);
            let (x, y) = ("minutes under load", "voltage in V");
            self.chart("voltage over time", x, y, vec![line], marks.clone(), Vec::new());
        }
        let mut lines = course.map(|course| current_lines(course, from, 1.0)).unwrap_or_default();
        if let Some(merged) = merged {
            let sums: Vec<(f64, f64)> =
                merged.sums.iter().map(|(time, total)| (*time, total.value)).collect();
            lines.push(branch_line("sum of the branches", &sums, from));
            lines.extend(merged.lines.iter().map(|(name, points)| branch_line(name, points, from)));
        }
        let rated = self.record.claims.continuous_current.quantity();
        let levels = rated.map(|q| (q.value, "rated".to_owned())).into_iter().collect();
        self.chart("current over time", "minutes under load", "current in A", lines, marks.clone(), levels);
        if let Some(course) = course {
            self.chart_temperatures(course, from, "under load", known(one_clock), Vec::new());
        }
    }

    /// Figures of each temperature under load, and the fit of its approach.
    fn warmed(&mut self, course: &Course, from: f64, to: f64) {
        for channel in &course.temperatures {
            let points = channel.series.points();
            let fit = fit_between(&points, from, to);
            if let Some((fit, last)) = &fit {
                let under = points.iter().filter(|(time, _)| (from..=to).contains(time));
                let highest = under.clone().map(|(_, t)| *t).fold(f64::NEG_INFINITY, f64::max);
                let first = under.clone().next().map_or(*last, |(_, t)| *t);
                let label = channel.part.as_ref().unwrap_or(&channel.label);
                let thermometer = channel.tool.and_then(|tool| tool.standard(*last, Dimension::TEMPERATURE));
                for (name, kelvins) in [
                    (format!("temperature of {label} at the start"), first),
                    (format!("temperature of {label} at the end"), *last),
                    (format!("highest temperature of {label}"), highest),
                ] {
                    self.plain(&name, kelvins, Dimension::TEMPERATURE);
                }
                self.figure(final_temperature(label, fit, thermometer));
            }
        }
    }
}

/// What a log shows of a load.
fn summary(found: &FullLoad, current: Total) -> FullLoadSummary {
    FullLoadSummary {
        current,
        held_for: (found.surely, found.possibly),
        reached: found.reached,
        highest: found.highest,
        under_load: found.integral.duration(),
        end: match found.end {
            LoadEnd::BmsCutOff => LoadEnded::By(BMS_CUT_OFF),
            LoadEnd::TakenOff => LoadEnded::By("stopped"),
            LoadEnd::StillOn => LoadEnded::StillOn,
        },
        missing: found.missing.iter().map(|what| Missing::refused(what)).collect(),
        steps: found.integral.notes(),
    }
}
