//! A full-load test with its log: how long rated current was held, and what became warm.

use uom::si::electric_charge::coulomb;
use uom::si::electric_current::ampere;
use uom::si::f64::{ElectricCurrent, ThermodynamicTemperature, Time};
use uom::si::power::watt;
use uom::si::thermodynamic_temperature::kelvin;
use uom::si::time::second;

use super::{COLD, CURVE_POINTS, FULL_LOAD, Work, worked};
use crate::bench::approach;
use crate::bench::full_load::{FullLoadSettings, FullLoadTest, LoadEnd};
use crate::bench::instrument::Verdict;
use crate::bench::read::{LogReader, Meaning};
use crate::derive::{Missing, Val};
use crate::quantity::{Dimension, show, show_uncertain};

impl Work<'_> {
    pub(super) fn full_load<R: std::io::Read>(&mut self, reader: &mut LogReader<R>) -> Result<(), String> {
        let rated = self.record.claims.continuous_current.quantity();
        let rated = rated.ok_or("`claims.continuous_current` is not recorded")?.value;
        let layout = reader.layout();
        let voltage = layout.slot(Meaning::Voltage);
        let currents: Vec<_> = layout.slots(Meaning::Current).map(|(slot, _)| slot).collect();
        if currents.is_empty() {
            return Err("the log has no column of current".to_owned());
        }
        let temperatures: Vec<_> =
            layout.slots(Meaning::Temperature).map(|(slot, column)| (slot, column.label.clone())).collect();
        let duration = Time::new::<second>(FULL_LOAD);
        let mut test = FullLoadTest::new(FullLoadSettings {
            rated: ElectricCurrent::new::<ampere>(rated),
            duration,
            accuracies: self.accuracies(),
        });
        let mut kelvins = vec![f64::NAN; temperatures.len()];
        let mut course: Vec<(f64, f64)> = Vec::new();
        let mut volts = crate::bench::downsample::MinMax::new(CURVE_POINTS);
        reader
            .for_each(|sample| {
                for (value, (slot, _)) in kelvins.iter_mut().zip(&temperatures) {
                    *value = sample.get(*slot);
                }
                // Branches that are logged side by side add up.
                let current: f64 = currents.iter().map(|slot| sample.get(*slot)).sum();
                let v = voltage.map_or(f64::NAN, |slot| sample.get(slot));
                test.push(sample.time, v, current, &kelvins, sample.after_break);
                if v.is_finite() {
                    volts.push(sample.time, v);
                }
            })
            .map_err(|error| error.to_string())?;
        let found = test.finish().ok_or("the log shows no load")?;
        course.extend(volts.points());
        let end = match found.end {
            LoadEnd::BmsCutOff => "the BMS opened under load",
            LoadEnd::TakenOff => "the load was taken off",
            LoadEnd::StillOn => "the log ends under load",
        };
        let seconds = |t: Time| show(t.get::<second>(), Dimension::TIME);
        let times = format!("{} surely, {} possibly", seconds(found.surely), seconds(found.possibly));
        self.figure("at or above rated current", times.clone());
        self.figure("end", end);
        self.figure("mean current", show(found.mean_current.get::<ampere>(), Dimension::CURRENT));
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
        let steps = vec![times, end.to_owned()];
        let answer = match &found.verdict {
            Verdict::Meets => Ok(worked(Val::YesNo(true), steps)),
            Verdict::FallsShort => Ok(worked(Val::YesNo(false), steps)),
            Verdict::NotDecided(why) => Err(why.iter().map(|why| Missing::refused(why)).collect()),
        };
        self.trial.facts.insert("test.held", answer);
        let from = found.integral.from.get::<second>();
        let minutes = |points: &[(f64, f64)], offset: f64| -> Vec<(f64, f64)> {
            points.iter().map(|(t, y)| ((t - from) / 60.0, y - offset)).collect()
        };
        self.curve(
            "voltage over time",
            "minutes under load",
            "voltage in V",
            &minutes(&course, 0.0),
            Vec::new(),
            Vec::new(),
        );
        for (course, (_, label)) in found.temperatures.iter().zip(&temperatures) {
            let Some(course) = course else { continue };
            let show_t = |t: ThermodynamicTemperature| show(t.get::<kelvin>(), Dimension::TEMPERATURE);
            self.figure(
                &format!("temperature of {label}"),
                format!(
                    "{} to {}, highest {}",
                    show_t(course.start),
                    show_t(course.end),
                    show_t(course.highest)
                ),
            );
            let points = course.series.points();
            let predicted = match approach::fit(&points) {
                Ok(fit) => {
                    let end = show_uncertain(
                        fit.final_temperature.get::<kelvin>(),
                        fit.expanded,
                        Dimension::TEMPERATURE,
                    );
                    let steady = match fit.steady {
                        approach::Steady::Reached => "steady state was reached",
                        approach::Steady::NotReached => "steady state was not reached",
                        approach::Steady::NotDecided => "whether steady state was reached is not decided",
                    };
                    format!("{end}; {steady}; time constant {}", seconds(fit.time_constant))
                }
                Err(why) => format!("not predicted: {}", why.0),
            };
            self.figure(&format!("final temperature of {label}"), predicted);
            self.curve(
                &format!("temperature of {label}"),
                "minutes under load",
                "temperature in °C",
                &minutes(&points, COLD),
                Vec::new(),
                Vec::new(),
            );
        }
        Ok(())
    }
}
