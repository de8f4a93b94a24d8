//! A full-load test with its logs: how long rated current was held, by which instrument, and what became warm.

use uom::si::electric_charge::coulomb;
use uom::si::electric_current::ampere;
use uom::si::energy::joule;
use uom::si::f64::{ElectricCurrent, Time};
use uom::si::power::watt;
use uom::si::thermodynamic_temperature::kelvin;
use uom::si::time::second;

use super::branches::Merged;
use super::charts::{Marks, branch_line, current_lines, gap_marks};
use super::course::Course;
use super::gauge::Reference;
use super::rises::{fit_between, fit_in_words};
use super::{FULL_LOAD, Logs, Work, worked};
use crate::judge::facts::{Missing, Val};
use crate::logs::full_load::{FullLoad, FullLoadSettings, FullLoadTest, LoadEnd, Reading, Total, sum};
use crate::logs::instrument::{Accuracies, Accuracy, Verdict};
use crate::logs::read::{LogReader, Meaning};
use crate::units::{Amount, COVERAGE, Dimension, show, show_uncertain};

impl Work<'_> {
    /// Judges the test by its log, by the logs of its branches, or by both.
    pub(super) fn full_load<R: std::io::Read>(
        &mut self,
        logs: &Logs<'_>,
        reader: Option<&mut LogReader<R>>,
    ) -> Result<(), String> {
        let rated = self.record.claims.continuous_current.quantity();
        let rated = rated.ok_or("`claims.continuous_current` is not recorded")?.value;
        let (course, own) = match reader {
            Some(reader) => {
                let (course, own) = self.stream(rated, reader)?;
                (Some(course), own)
            }
            None => (None, None),
        };
        let merged = self.has_branch_logs().then(|| {
            let whole =
                course.as_ref().filter(|course| !course.currents.is_empty()).map(|course| &course.current);
            self.merge(logs, whole)
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
        let (from, to) = (found.integral.from.get::<second>(), found.integral.to.get::<second>());
        self.load_figures(found, own.is_some(), to - from);
        self.held(own.as_ref(), by_sum.as_ref(), found);
        self.sum_facts(course.as_ref(), merged.as_ref(), own.as_ref(), from, to);
        // Without a current of its own or stated offsets, the log of the temperatures has another clock.
        let one_clock = own.is_some() || merged.is_none() || self.offsets_are_stated();
        let word = match found.end {
            LoadEnd::BmsCutOff => "BMS opened",
            LoadEnd::TakenOff => "load off",
            LoadEnd::StillOn => "end of the log",
        };
        let mut marks: Marks = vec![(0.0, "load on".to_owned()), ((to - from) / 60.0, word.to_owned())];
        marks.extend(gap_marks(&found.integral, from));
        self.charts(course.as_ref(), merged.as_ref(), from, one_clock, &marks);
        let current = found.mean_current.get::<ampere>();
        let standard = merged
            .as_ref()
            .filter(|_| own.is_none())
            .and_then(|merged| merged.mean)
            .map_or_else(|| self.own_standard(current, Dimension::CURRENT), |total| total.standard);
        let mean = self.amount(current, standard.unwrap_or(0.0), Dimension::CURRENT, 9);
        let course = course.as_ref().filter(|_| one_clock);
        let fits = course.map(|course| self.warmed(course, from, to)).unwrap_or_default();
        self.rises(course, &fits, Some(mean));
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

    /// Streams the test's own log; judges it where it has a current.
    fn stream<R: std::io::Read>(
        &mut self,
        rated: f64,
        reader: &mut LogReader<R>,
    ) -> Result<(Course, Option<FullLoad>), String> {
        let mut course = Course::of(self, reader.layout());
        if course.currents.is_empty() && !self.has_branch_logs() {
            return Err("the log has no column of current".to_owned());
        }
        let accuracies = self.accuracies_of(&course);
        let mut test = self.full_load_test(rated, accuracies);
        let mut steps = self.load_steps(Some(rated), accuracies);
        let mut kelvins = Vec::new();
        reader
            .for_each(|sample| {
                let (v, i) = course.take(&sample);
                course.kelvins(&sample, &mut kelvins);
                test.push(sample.time, v, i, &kelvins, sample.after_break);
                steps.push(sample.time, v, i, sample.after_break);
            })
            .map_err(|error| error.to_string())?;
        if course.currents.is_empty() {
            return Ok((course, None));
        }
        let found = test.finish().ok_or("the log shows no load")?;
        self.resistances(&steps.finish(), f64::INFINITY);
        Ok((course, Some(found)))
    }

    fn full_load_test(&self, rated: f64, accuracies: Accuracies) -> FullLoadTest {
        FullLoadTest::new(FullLoadSettings {
            rated: ElectricCurrent::new::<ampere>(rated),
            duration: Time::new::<second>(FULL_LOAD),
            accuracies,
        })
    }

    /// Judges the sum of the branches.
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
            test.push(*time, voltage.unwrap_or(f64::NAN), total.value, &[], false);
        }
        test.finish()
    }

    fn load_figures(&mut self, found: &FullLoad, own: bool, seconds: f64) {
        let end = end_in_words(found.end, seconds);
        self.figure("current by", if own { "the test's log" } else { "the sum of the branches" });
        self.figure("at or above rated current", times(found));
        self.figure("end", end);
        self.figure("time under load", show(seconds, Dimension::TIME));
        self.figure("mean current", show(found.mean_current.get::<ampere>(), Dimension::CURRENT));
        if let Some(voltage) = found.mean_voltage {
            self.figure("mean voltage", show(voltage.value, Dimension::VOLTAGE));
        }
        if let Some(power) = found.mean_power {
            self.figure("mean power", show(power.get::<watt>(), Dimension::POWER));
        }
        let charge = &found.integral.charge;
        self.figure(
            "charge",
            show_uncertain(
                charge.value.get::<coulomb>(),
                charge.expanded().get::<coulomb>(),
                Dimension::CHARGE,
            ),
        );
        if let Some(energy) = &found.integral.energy {
            let (value, expanded) = (energy.value.get::<joule>(), energy.expanded().get::<joule>());
            self.figure("energy", show_uncertain(value, expanded, Dimension::ENERGY));
        }
        self.notes(&found.integral);
    }

    /// Whether rated current was held; two ways that contradict each other decide nothing.
    fn held(&mut self, own: Option<&FullLoad>, by_sum: Option<&FullLoad>, found: &FullLoad) {
        let seconds = found.integral.duration().get::<second>();
        let mut steps = vec![times(found), end_in_words(found.end, seconds)];
        steps.extend(found.integral.notes());
        let opposite = |a: &Verdict, b: &Verdict| {
            matches!((a, b), (Verdict::Meets, Verdict::FallsShort) | (Verdict::FallsShort, Verdict::Meets))
        };
        let answer = match (own, by_sum) {
            (Some(own), Some(by_sum)) if opposite(&own.verdict, &by_sum.verdict) => {
                Err(vec![Missing::refused(&format!(
                    "the instruments contradict each other: by the test's log {}, by the sum of the branches {}",
                    times(own),
                    times(by_sum)
                ))])
            }
            _ => {
                if let (Some(_), Some(by_sum)) = (own, by_sum) {
                    steps.push(format!("by the sum of the branches: {}", times(by_sum)));
                }
                match &found.verdict {
                    Verdict::Meets => Ok(worked(Val::YesNo(true), steps)),
                    Verdict::FallsShort => Ok(worked(Val::YesNo(false), steps)),
                    Verdict::NotDecided(why) => Err(why.iter().map(|why| Missing::refused(why)).collect()),
                }
            }
        };
        self.fact("test.held", answer);
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
                let value = own.mean_current.get::<ampere>();
                Total { value, standard: self.own_standard(value, Dimension::CURRENT) }
            });
            let count = merged.lines.len() + merged.lost.len();
            self.cross_check_branches(count, merged.mean, whole, gauge, &merged.lost);
            return;
        }
        let Some(course) = course.filter(|course| course.currents.len() > 1) else {
            self.fact(
                "test.branches",
                Ok(worked(Val::Amount(Amount::exact(0.0, Dimension::NONE)), Vec::new())),
            );
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
    fn warmed(
        &mut self,
        course: &Course,
        from: f64,
        to: f64,
    ) -> Vec<Option<(Result<crate::logs::approach::Approach, crate::logs::approach::NotIdentifiable>, f64)>>
    {
        let mut fits = Vec::new();
        for channel in &course.temperatures {
            let points = channel.series.points();
            let fit = fit_between(&points, from, to);
            if let Some((fit, last)) = &fit {
                let under = points.iter().filter(|(time, _)| (from..=to).contains(time));
                let highest = under.clone().map(|(_, t)| *t).fold(f64::NEG_INFINITY, f64::max);
                let first = under.clone().next().map_or(*last, |(_, t)| *t);
                let label = channel.part.as_ref().unwrap_or(&channel.label);
                let thermometer = channel.tool.and_then(|tool| tool.standard(*last, Dimension::TEMPERATURE));
                let end = fit_in_words(fit, *last, thermometer);
                let [first, last, highest] = [first, *last, highest].map(|t| {
                    show(
                        uom::si::f64::ThermodynamicTemperature::new::<kelvin>(t).value,
                        Dimension::TEMPERATURE,
                    )
                });
                self.figure(
                    &format!("temperature of {label}"),
                    format!("{first} to {last}, highest {highest}"),
                );
                self.figure(&format!("final temperature of {label}"), end);
            }
            fits.push(fit);
        }
        fits
    }
}

fn times(found: &FullLoad) -> String {
    let seconds = |t: Time| show(t.get::<second>(), Dimension::TIME);
    format!("{} surely, {} possibly", seconds(found.surely), seconds(found.possibly))
}

fn end_in_words(end: LoadEnd, seconds: f64) -> String {
    let after = show(seconds, Dimension::TIME);
    match end {
        LoadEnd::BmsCutOff => format!("the BMS opened under load, {after} after the load came on"),
        LoadEnd::TakenOff => "the load was taken off".to_owned(),
        LoadEnd::StillOn => "the log ends under load".to_owned(),
    }
}
