//! A capacity test with its log: charge, energy, the end, and what the curve shows.

use uom::si::electric_charge::coulomb;
use uom::si::electric_current::ampere;
use uom::si::electric_potential::volt;
use uom::si::energy::joule;
use uom::si::f64::{ElectricCharge, ElectricCurrent, ElectricPotential, Time};
use uom::si::thermodynamic_temperature::kelvin;
use uom::si::time::second;

use super::{Work, worked};
use crate::bench::capacity::{CapacitySettings, CapacityTest, End};
use crate::bench::load_step::LoadSteps;
use crate::bench::read::{LogReader, Meaning};
use crate::derive::{Bound, Missing, Side, Val};
use crate::quantity::{COVERAGE, Dimension, show, show_percent, show_uncertain};

impl Work<'_> {
    pub(super) fn capacity<R: std::io::Read>(&mut self, reader: &mut LogReader<R>) -> Result<(), String> {
        let claims = &self.record.claims;
        let accuracies = self.accuracies();
        let settings = CapacitySettings {
            claim: claims.capacity.quantity().map(|q| ElectricCharge::new::<coulomb>(q.value)),
            current: self.test.current.quantity().map(|q| ElectricCurrent::new::<ampere>(q.value)),
            cutoff: self.test.cutoff_voltage.quantity().map(|q| ElectricPotential::new::<volt>(q.value)),
            start: None,
            accuracies,
        };
        let layout = reader.layout();
        let voltage = layout.slot(Meaning::Voltage);
        let current = layout.slot(Meaning::Current).ok_or("the log has no column of current")?;
        let temperatures: Vec<_> = layout.slots(Meaning::Temperature).map(|(slot, _)| slot).collect();
        let mut test = CapacityTest::new(settings);
        let smallest =
            ElectricCurrent::new::<ampere>(self.test.current.quantity().map_or(1.0, |q| q.value * 0.3));
        let times = [Time::new::<second>(1.0), Time::new::<second>(10.0)];
        let mut steps = LoadSteps::new(smallest, &times, accuracies);
        reader
            .for_each(|sample| {
                let v = voltage.map_or(f64::NAN, |slot| sample.get(slot));
                let i = sample.get(current);
                test.push(
                    sample.time,
                    v,
                    i,
                    temperatures.iter().map(|slot| sample.get(*slot)),
                    sample.after_break,
                );
                steps.push(sample.time, v, i, sample.after_break);
            })
            .map_err(|error| error.to_string())?;
        let found = test.finish().ok_or("the log holds no discharge")?;
        let charge = &found.integral.charge;
        let (value, standard) = (charge.value.get::<coulomb>(), charge.standard.get::<coulomb>());
        let end = match found.end {
            End::LoadCutOff => "the load's cut-off was reached",
            End::BmsCutOff => "the BMS opened",
            End::StillRunning => "the log ends under load, above the cut-off",
            End::Stopped => "the load went off above the cut-off",
        };
        self.figure("capacity", show_uncertain(value, COVERAGE * standard, Dimension::CHARGE));
        if let Some(claim) = claims.capacity.quantity() {
            self.figure("of the claim", show_percent(value / claim.value));
        }
        let whole = matches!(found.end, End::LoadCutOff | End::BmsCutOff);
        let steps_of = |what: &str| vec![format!("{what} by integration of the log"), end.to_owned()];
        let bound = |missing: &str| {
            (!whole).then(|| Bound {
                side: Side::AtLeast,
                missing: vec![Missing::refused(missing)],
                by_definition: false,
            })
        };
        let mut answer =
            worked(Val::Amount(self.amount(value, standard, Dimension::CHARGE, 0)), steps_of("capacity"));
        answer.bound = bound(end);
        if accuracies.current.is_none() {
            answer.assumed.push(
                "the accuracy of the current's instrument is not known; only sampling is counted".to_owned(),
            );
        }
        self.trial.facts.insert("test.capacity_found", Ok(answer));
        match &found.integral.energy {
            Some(energy) => {
                let (value, standard) = (energy.value.get::<joule>(), energy.standard.get::<joule>());
                self.figure("energy", show_uncertain(value, COVERAGE * standard, Dimension::ENERGY));
                let mut answer = worked(
                    Val::Amount(self.amount(value, standard, Dimension::ENERGY, 1)),
                    steps_of("energy"),
                );
                answer.bound = bound(end);
                self.trial.facts.insert("test.energy_found", Ok(answer));
            }
            None => {
                let missing = Missing::refused("the log has no column of voltage");
                self.trial.facts.insert("test.energy_found", Err(vec![missing]));
            }
        }
        self.figure("end", end);
        self.figure("duration", show(found.integral.duration().get::<second>(), Dimension::TIME));
        self.figure("mean current", show(found.mean_current.get::<ampere>(), Dimension::CURRENT));
        self.figure("current held", if found.held { "yes" } else { "no" });
        if let Some(rate) = found.rate {
            self.figure("C-rate", show(rate / 3600.0, Dimension::RATE));
        }
        if let Some((low, high)) = found.temperatures {
            let [low, high] = [low, high].map(|t| show(t.get::<kelvin>(), Dimension::TEMPERATURE));
            self.figure("temperature", format!("{low} to {high}"));
        }
        for gap in &found.integral.gaps {
            let (at, length) = (gap.from.get::<second>(), gap.length.get::<second>());
            let [at, length] = [at, length].map(|t| show(t, Dimension::TIME));
            self.figure("gap in the log", format!("{length} at {at}, bridged and counted as uncertain"));
        }
        if let Some(curve) = &found.curve {
            for (depth, voltage) in &curve.at_depth {
                let name = format!("voltage at {} depth of discharge", show_percent(*depth));
                self.figure(&name, show(voltage.get::<volt>(), Dimension::VOLTAGE));
            }
            self.figure("flatness of the plateau", show(curve.flatness.get::<volt>(), Dimension::VOLTAGE));
            self.figure("sag at the end", show(curve.sag.get::<volt>(), Dimension::VOLTAGE));
        }
        for step in steps.finish().iter().take(4) {
            for resistance in &step.resistances {
                let after = show(resistance.after.get::<second>(), Dimension::TIME);
                let (r, u) = (resistance.resistance.value.value, resistance.resistance.expanded().value);
                self.figure(
                    &format!("internal resistance {after} after a step"),
                    show_uncertain(r, u, Dimension::RESISTANCE),
                );
            }
        }
        let points: Vec<(f64, f64)> = found.points.iter().map(|p| (p.charge / 3600.0, p.voltage)).collect();
        let mut marks = vec![(value / 3600.0, "end".to_owned())];
        marks.extend(claims.capacity.quantity().map(|q| (q.value / 3600.0, "claim".to_owned())));
        let levels = self.test.cutoff_voltage.quantity().map(|q| (q.value, "cut-off".to_owned()));
        self.curve(
            "voltage over charge",
            "charge in Ah",
            "voltage in V",
            &points,
            marks,
            levels.into_iter().collect(),
        );
        Ok(())
    }
}
