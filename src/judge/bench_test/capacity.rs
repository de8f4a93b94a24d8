//! A capacity test with its log: charge, energy, the end, and what the curve shows.

use super::charts::gap_marks;
use super::course::Course;
use super::doubts::{Part, contradicted};
use super::gauge::Reference;
use super::{Figure, Moved, Work, worked};
use crate::judge::facts::{Bound, Missing, Side, Val};
use crate::logs::account::StretchKind;
use crate::logs::capacity::{Capacity, CapacitySettings, CapacityTest, End};
use crate::logs::instrument::Accuracies;
use crate::logs::joined::Joined;
use crate::logs::lacking;
use crate::logs::read::Layout;
use crate::logs::round_trip::Flow;
use crate::logs::slope::{NoSlope, SlopeCurve, in_use, millivolts_per_ampere_hour, slope_curve};
use crate::units::{Amount, COVERAGE, Dimension, show, show_percent};

impl Work<'_> {
    pub(super) fn capacity(&mut self, log: &mut Joined) -> Result<(), String> {
        let claims = &self.record.claims;
        let mut course = Course::of(self, log.layout()).with_current()?;
        let stated = self.accuracies_of(&course);
        let accuracies = self.or_usual(stated);
        let settings = CapacitySettings {
            claim: claims.capacity.quantity().map(|q| q.value),
            current: self.test.current.quantity().map(|q| q.value),
            cutoff: self.test.cutoff_voltage.quantity().map(|q| q.value),
            accuracies,
        };
        let mut test = CapacityTest::new(settings);
        let mut steps = self.load_steps(self.test.current.quantity().map(|q| q.value), accuracies);
        let mut kelvins = Vec::new();
        log.for_each(|sample| {
            let (v, i) = course.take(&sample);
            if let Some((at, before, current)) = course.switched {
                test.push(at, before, current, [], false);
                test.push(at, v, i, [], false);
            }
            course.cell_kelvins(&mut kelvins);
            test.push(sample.time, v, i, kelvins.iter().copied(), sample.after_break);
            steps.push(sample.time, v, i, sample.after_break);
        })?;
        let mut found = test.finish().ok_or("the log holds no discharge")?;
        let (end, _) = found.end.words();
        let whole = matches!(found.end, End::LoadCutOff | End::BmsCutOff);
        let doubts = self.capacity_doubts(&found, &course, log.layout());
        // What the instrument reads at rest it may read under load as well.
        let offset = self.offset_charge(&course, found.integral.duration());
        found.integral = found.integral.with_offset(offset);
        self.charge_found(&found, stated, end, whole, &doubts);
        self.run_figures(&found, end);
        self.curve_figures(&found);
        self.resistances(&steps.finish(), found.integral.to);
        self.no_resistance(&doubts);
        let slope = slope_curve(&found.points, found.held, found.pauses);
        self.slope_figures(&slope);
        self.capacity_charts(&found, &course, slope.ok().as_ref());
        let (from, to) = (found.integral.from, found.integral.to);
        self.gauge(&Reference { course: Some((&course, from, to)), current: None, duration: None });
        self.moved = Some(Moved {
            flow: Flow::from(&found.integral),
            incomplete: doubts
                .into_iter()
                .next()
                .or_else(|| (!whole).then(|| format!("the discharge is not complete: {end}"))),
        });
        Ok(())
    }

    /// What does not add up in the discharge that was taken, and others that could be the test.
    fn capacity_doubts(&mut self, found: &Capacity, course: &Course, layout: &Layout) -> Vec<String> {
        let voltages = found.points.iter().map(|point| point.voltage);
        #[expect(clippy::cast_precision_loss, reason = "a count of points")]
        let mean = voltages.sum::<f64>() / found.points.len() as f64;
        let part = Part {
            from: found.integral.from,
            to: found.integral.to,
            loose: found.integral.charge.sampling,
            charge: Some(found.integral.charge.value),
            voltage: Some(mean).filter(|mean| mean.is_finite()),
        };
        let mut doubts = self.doubts(course, layout, &part);
        if !found.as_set {
            doubts.extend(self.not_as_set(found.mean_current));
        }
        if let Some(began) = found.near_cutoff {
            let began = show(began, Dimension::TIME);
            let text = format!(
                "the load went off at {began}, near the recorded cut-off, and came on again with the same current: where that \
                 was the end, write `to = \"{began}\"` in the test, else correct `cutoff_voltage`"
            );
            self.figure(Figure::words("does not add up", text.clone()));
            doubts.push(text);
        }
        doubts.extend(self.rival_segment(course, StretchKind::Discharge, part.from, part.to));
        doubts
    }

    /// Charge and energy: facts and figures.
    fn charge_found(
        &mut self,
        found: &Capacity,
        accuracies: Accuracies,
        end: &str,
        whole: bool,
        doubts: &[String],
    ) {
        let charge = &found.integral.charge;
        let (value, standard) = (charge.value, charge.standard);
        let notes = found.integral.notes();
        let steps_of = |what: &str| {
            let steps = [format!("{what} by integration of the log"), end.to_owned()];
            steps.into_iter().chain(notes.iter().cloned()).collect::<Vec<_>>()
        };
        let stood_still = "the time for which the log's clock stood still";
        let bound = || {
            let lacks = lacking([(!whole, end), (found.integral.restarts > 0, stood_still)]);
            let missing: Vec<Missing> = lacks.into_iter().map(Missing::refused).collect();
            (!missing.is_empty()).then_some(Bound { side: Side::AtLeast, missing, by_definition: false })
        };
        self.estimate("capacity", Some(charge), Dimension::CHARGE);
        if let Some(of_claim) = &found.of_claim {
            self.figure(Figure::percent("of the claim", of_claim.value, of_claim.expanded()));
        }
        let mut answer =
            worked(Val::Amount(self.amount(value, standard, Dimension::CHARGE, 0)), steps_of("capacity"));
        answer.bound = bound();
        if accuracies.current.is_none() {
            answer.assumed.push(
                "the accuracy of the current's instrument is not known; that of its kind is taken".to_owned(),
            );
        }
        if !doubts.is_empty() {
            self.fact("test.capacity_found", Err(contradicted(doubts)));
            self.fact("test.energy_found", Err(contradicted(doubts)));
            return;
        }
        let (current, last) = (Some(found.mean_current), found.end_voltage);
        self.fact("test.capacity_found", self.for_the_claim(current, last, answer));
        let Some(energy) = &found.integral.energy else {
            let missing = Missing::refused("the log has no column of voltage");
            self.fact("test.energy_found", Err(vec![missing]));
            return;
        };
        let (value, standard) = (energy.value, energy.standard);
        self.estimate("energy", Some(energy), Dimension::ENERGY);
        if let Some(claim) = self.record.claims.energy.quantity() {
            let scale = 1.0 / claim.value;
            self.figure(Figure::percent("energy of the claim", scale * value, scale * COVERAGE * standard));
        }
        let mut answer =
            worked(Val::Amount(self.amount(value, standard, Dimension::ENERGY, 1)), steps_of("energy"));
        answer.bound = bound();
        self.fact("test.energy_found", self.for_the_claim(current, last, answer));
    }

    /// How the discharge ran: end, duration, current, temperature, gaps.
    fn run_figures(&mut self, found: &Capacity, end: &str) {
        self.figure(Figure::words("end", end));
        self.plain("voltage at the end, under load", found.end_voltage, Dimension::VOLTAGE);
        self.plain("duration", found.integral.duration(), Dimension::TIME);
        if found.pauses > 0 {
            self.plain("pauses", f64::from(found.pauses), Dimension::NONE);
            self.plain("pauses, time together", found.paused, Dimension::TIME);
        }
        self.plain("mean current", found.mean_current, Dimension::CURRENT);
        self.figure(Figure::new("current held", Val::YesNo(found.held)));
        if let Some(rate) = found.rate {
            self.plain("C-rate", rate / 3600.0, Dimension::RATE);
        }
        self.temperature_figures(found.temperatures);
        self.notes(&found.integral);
    }

    /// What is read off the curve.
    fn curve_figures(&mut self, found: &Capacity) {
        let Some(curve) = &found.curve else { return };
        for (depth, voltage) in &curve.at_depth {
            let name = format!("voltage at {} depth of discharge", show_percent(*depth));
            self.plain(&name, *voltage, Dimension::VOLTAGE);
        }
        self.plain("flatness of the plateau", curve.flatness, Dimension::VOLTAGE);
        match curve.knee {
            Some((depth, voltage)) => {
                self.figure(Figure::percent(
                    "knee, depth of discharge",
                    (1000.0 * depth).round() / 1000.0,
                    0.0,
                ));
                self.plain("knee, voltage", voltage, Dimension::VOLTAGE);
            }
            None => self.figure(Figure::words("knee", "none: the curve does not bend down")),
        }
        self.plain("sag at the end", curve.sag, Dimension::VOLTAGE);
    }

    /// What the differential curve is smoothed over, how well it is known, and where it stands out.
    fn slope_figures(&mut self, slope: &Result<SlopeCurve, NoSlope>) {
        let slope = match slope {
            Ok(slope) => slope,
            Err(why) => {
                return self.figure(Figure::words("differential voltage", format!("not shown: {why}")));
            }
        };
        let charge = |q: f64| show(q, Dimension::CHARGE);
        let mut text = format!(
            "a straight line through every {} of charge ({}); {} mV/Ah in the middle, known within {} mV/Ah (k = 2)",
            charge(slope.window),
            show_percent(slope.part),
            in_use(slope.median),
            in_use(slope.expanded)
        );
        if let (true, Some(first), Some(last)) = (slope.cut, slope.places.first(), slope.places.last()) {
            let (from, to) = (charge(first.charge), charge(last.charge));
            text.push_str(&format!("; shown from {from} to {to}, far steeper outside"));
        }
        if slope.left_out > 0 {
            text.push_str(&format!("; {} places left out, where readings are far off", slope.left_out));
        }
        self.figure(Figure::words("differential voltage", text));
        let peaks: Vec<String> = slope
            .peaks
            .iter()
            .map(|peak| format!("at {} with {} mV/Ah", charge(peak.charge), in_use(peak.fall)))
            .collect();
        let peaks =
            if peaks.is_empty() { "nowhere beyond its uncertainty".to_owned() } else { peaks.join(", ") };
        self.figure(Figure::words("differential voltage stands out", peaks));
    }

    fn capacity_charts(&mut self, found: &Capacity, course: &Course, slope: Option<&SlopeCurve>) {
        let points: Vec<(f64, f64)> = found.points.iter().map(|p| (p.charge / 3600.0, p.voltage)).collect();
        let value = found.integral.charge.value;
        let (_, word) = found.end.words();
        let mut marks = vec![(value / 3600.0, word.to_owned())];
        marks.extend(self.record.claims.capacity.quantity().map(|q| (q.value / 3600.0, "claim".to_owned())));
        if let Some((depth, _)) = found.curve.as_ref().and_then(|curve| curve.knee) {
            marks.push((depth * value / 3600.0, "knee".to_owned()));
        }
        let levels: Vec<(f64, String)> = self
            .test
            .cutoff_voltage
            .quantity()
            .map(|q| (q.value, "cut-off".to_owned()))
            .into_iter()
            .collect();
        self.curve("voltage over charge", "charge in Ah", "voltage in V", &points, marks, levels.clone());
        if let Some(slope) = slope {
            let places: Vec<(f64, f64)> = slope
                .places
                .iter()
                .map(|place| (place.charge / 3600.0, millivolts_per_ampere_hour(place.fall)))
                .collect();
            let name = format!("fall of voltage with charge, over {} of it", show_percent(slope.part));
            let peaks = slope.peaks.iter().map(|peak| (peak.charge / 3600.0, "peak".to_owned())).collect();
            self.curve(&name, "charge in Ah", "−dV/dQ in mV/Ah", &places, peaks, Vec::new());
        }
        let (from, to) = (found.integral.from, found.integral.to);
        let mut marks = vec![(0.0, "load on".to_owned()), ((to - from) / 60.0, word.to_owned())];
        marks.extend(gap_marks(&found.integral, from));
        self.chart_voltage(course, from, "under load", marks.clone(), levels);
        self.chart_current(course, from, "under load", marks.clone(), 1.0);
        self.chart_temperatures(course, from, "under load", marks, Vec::new());
    }

    /// An amount of this test, from its own numbered source of uncertainty.
    pub(super) fn amount(&self, value: f64, standard: f64, dimension: Dimension, which: u32) -> Amount {
        let number = crate::units::Uncertain::new(value, self.source + which, standard);
        Amount { number, dimension }
    }
}
