//! A charge with its log, and the round trip with the capacity test that belongs to it.

use super::charts::gap_marks;
use super::course::Course;
use super::doubts::{Part, contradicted};
use super::gauge::Reference;
use super::{Figure, Moved, TestResult, Work, worked};
use crate::judge::facts::{Missing, Val};
use crate::logs::account::StretchKind;
use crate::logs::instrument::Estimate as Measured;
use crate::logs::joined::Joined;
use crate::logs::read::CurrentSign;
use crate::logs::round_trip::{ChargeEnd, ChargeTest, Flow, round_trip};
use crate::record::Record;
use crate::record::parts::TestKind;
use crate::units::{Amount, COVERAGE, Dimension, Uncertain};

impl Work<'_> {
    pub(super) fn charge(&mut self, log: &mut Joined) -> Result<(), String> {
        let accuracies = self.or_usual(self.accuracies());
        let mut course = Course::of(self, log.layout()).with_current()?;
        let undecided = matches!(log.layout().sign, None | Some((CurrentSign::NotDecided, _)));
        let capacity = self.record.claims.capacity.quantity().map(|q| q.value);
        // Where the log does not show which way its current counts, the test does: what flowed in a charge went in.
        // Both ways are followed, because the larger flow is known only at the end.
        let mut ways = [-1.0, 1.0].map(|sign| (sign, ChargeTest::new(capacity)));
        let mut kelvins = Vec::new();
        log.for_each(|sample| {
            let (voltage, current) = course.take(&sample);
            course.cell_kelvins(&mut kelvins);
            for (sign, test) in &mut ways {
                if *sign < 0.0 || undecided {
                    let into = *sign * current;
                    test.push(sample.time, voltage, into, kelvins.iter().copied(), sample.after_break);
                }
            }
        })?;
        let charge_of = |found: &crate::logs::round_trip::Charge| found.integral.charge.value;
        let (sign, mut found) = ways
            .into_iter()
            .filter_map(|(sign, test)| Some((sign, test.finish(&accuracies)?)))
            .max_by(|a, b| charge_of(&a.1).total_cmp(&charge_of(&b.1)))
            .ok_or("the log holds no charge")?;
        if sign > 0.0 {
            self.figure(Figure::words(
                "sign of the current",
                "not shown by the log; taken as into the pack, as this is a charge",
            ));
        }
        let sampled = found.integral.charge.sampling;
        // What the instrument reads at rest it may read while charging as well.
        let offset = self.offset_charge(&course, found.integral.duration());
        found.integral = found.integral.with_offset(offset);
        let end = match found.end {
            ChargeEnd::Taper => "the current tapered at the charge voltage",
            ChargeEnd::BrokenOff => "the current broke off before it had tapered",
            ChargeEnd::StillRunning => "the log ends while it charges",
        };
        let (charge, energy) = (&found.integral.charge, &found.integral.energy);
        let value = charge.value;
        self.estimate("charge into the pack", Some(charge), Dimension::CHARGE);
        self.estimate("energy into the pack", energy.as_ref(), Dimension::ENERGY);
        self.figure(Figure::words("end", end));
        self.plain("duration", found.integral.duration(), Dimension::TIME);
        self.plain("highest current", found.highest_current, Dimension::CURRENT);
        self.plain("current at the end", found.end_current, Dimension::CURRENT);
        self.plain("highest voltage", found.highest_voltage, Dimension::VOLTAGE);
        self.temperature_figures(found.temperatures);
        self.notes(&found.integral);
        let part = Part {
            from: found.integral.from,
            to: found.integral.to,
            loose: sampled,
            charge: Some(value),
            voltage: None,
        };
        let mut doubts = self.doubts(&course, log.layout(), &part);
        let kind = if sign > 0.0 { StretchKind::Discharge } else { StretchKind::Charge };
        doubts.extend(self.rival_segment(&course, kind, part.from, part.to));
        let mut steps = vec!["by integration of the log".to_owned(), end.to_owned()];
        steps.extend(found.integral.notes());
        let charge_in = self.amount(value, charge.standard, Dimension::CHARGE, 0);
        let energy_in = energy.as_ref().map(|e| self.amount(e.value, e.standard, Dimension::ENERGY, 1));
        self.fact("test.charge_in", Ok(worked(Val::Amount(charge_in), steps.clone())));
        self.fact(
            "test.energy_in",
            energy_in
                .map(|energy| worked(Val::Amount(energy), steps))
                .ok_or_else(|| vec![Missing::refused("the log has no column of voltage")]),
        );
        if !doubts.is_empty() {
            self.fact("test.charge_in", Err(contradicted(&doubts)));
            self.fact("test.energy_in", Err(contradicted(&doubts)));
        }
        let (from, to) = (part.from, part.to);
        let mut marks = vec![(0.0, "charge on".to_owned()), ((to - from) / 60.0, "end".to_owned())];
        marks.extend(gap_marks(&found.integral, from));
        let levels = self
            .record
            .claims
            .charge_voltage
            .quantity()
            .map(|q| (q.value, "claimed charge voltage".to_owned()));
        self.chart_voltage(&course, from, "under charge", marks.clone(), levels.into_iter().collect());
        self.chart_current(&course, from, "under charge", marks.clone(), sign);
        self.chart_temperatures(&course, from, "under charge", marks, Vec::new());
        self.gauge(&Reference { course: Some((&course, from, to)), current: None, duration: None });
        self.moved = Some(Moved {
            flow: Flow::from(&found.integral),
            incomplete: doubts
                .into_iter()
                .next()
                .or_else(|| {
                    (found.end != ChargeEnd::Taper).then(|| format!("the charge is not complete: {end}"))
                })
                .or_else(|| {
                    let stood =
                        "the log's clock started anew in the charge: what flowed meanwhile is not known";
                    (found.integral.restarts > 0).then(|| stood.to_owned())
                }),
        });
        Ok(())
    }
}

/// Round trips: each charge with the capacity test that belongs to it.
pub(super) fn round_trips(record: &Record, results: &mut [TestResult], moved: &[Option<Moved>]) {
    for index in 0..results.len() {
        let Some(test) = record.test.get(index) else { continue };
        if test.kind.known() != Some(TestKind::Charge) {
            continue;
        }
        let found = pair(record, index, moved);
        let Some(result) = results.get_mut(index) else { continue };
        let source = super::source_of(index);
        match found {
            Ok((name, charge, energy)) => {
                let mut add =
                    |fact: &'static str, figure: &str, ratio: Result<Measured, String>, which: u32| {
                        let ratio = match ratio {
                            Ok(ratio) => ratio,
                            Err(why) => {
                                result.facts.insert(fact, Err(vec![Missing::refused(&why)]));
                                return;
                            }
                        };
                        let u = COVERAGE * ratio.standard;
                        let shown = Figure::percent(figure, ratio.value, u);
                        result.figures.push(shown.beside(format!("out in test {name}")));
                        let number = Uncertain::new(ratio.value, source + which, ratio.standard);
                        let mut answer = worked(
                            Val::Amount(Amount { number, dimension: Dimension::NONE }),
                            vec![format!("what came out in test {name} over what went in here")],
                        );
                        if ratio.instrument.is_none() {
                            answer.assumed.push(
                                "the accuracy of an instrument is not known; only sampling is counted"
                                    .to_owned(),
                            );
                        }
                        answer.assumed.push(
                            "the pack was as full before the discharge as after this charge".to_owned(),
                        );
                        result.facts.insert(fact, Ok(answer));
                    };
                add("test.coulomb_efficiency", "coulomb round trip", Ok(charge), 2);
                let energy = energy.ok_or_else(|| "both logs need a column of voltage".to_owned());
                add("test.energy_efficiency", "energy round trip", energy, 3);
            }
            Err(why) => {
                result.figures.push(Figure::words("round trip", format!("not known: {why}")));
                for fact in ["test.coulomb_efficiency", "test.energy_efficiency"] {
                    result.facts.insert(fact, Err(vec![Missing::refused(&why)]));
                }
            }
        }
    }
}

type Trip = (String, Measured, Option<Measured>);

/// The round trip of a charge, or why there is none.
fn pair(record: &Record, index: usize, moved: &[Option<Moved>]) -> Result<Trip, String> {
    let charge = moved.get(index).and_then(Option::as_ref).ok_or("what went in is not known")?;
    let test = record.test.get(index).ok_or("there is no such test")?;
    let wanted = test.capacity_test.text();
    let mut capacities = record.test.iter().enumerate().filter(|(_, other)| {
        other.kind.known() == Some(TestKind::Capacity) && wanted.is_none_or(|id| other.id.text() == Some(id))
    });
    let (other, capacity) = match (capacities.next(), capacities.next(), wanted) {
        (Some(only), None, _) => only,
        (Some(_), Some(_), _) => {
            return Err("several capacity tests are recorded; say which in `capacity_test`".to_owned());
        }
        (None, _, Some(id)) => return Err(format!("there is no capacity test `{id}`")),
        (None, ..) => return Err("no capacity test is recorded".to_owned()),
    };
    let discharge =
        moved.get(other).and_then(Option::as_ref).ok_or("what came out in the capacity test is not known")?;
    if let Some(why) = charge.incomplete.as_ref().or(discharge.incomplete.as_ref()) {
        return Err(why.clone());
    }
    let same = test.own.with.is_some() && test.own.with == capacity.own.with;
    let trip = round_trip(&discharge.flow, &charge.flow, same).ok_or("nothing went in")?;
    // The pack was not empty before the charge, or an instrument is wrong.
    let too_much = |part: &Measured| part.value - COVERAGE * part.standard > 1.0;
    if too_much(&trip.charge) || trip.energy.as_ref().is_some_and(too_much) {
        return Err(
            "more came out than went in: the charge did not begin at an empty pack, or a reading is wrong"
                .to_owned(),
        );
    }
    Ok((capacity.id.text().unwrap_or("capacity").to_owned(), trip.charge, trip.energy))
}
