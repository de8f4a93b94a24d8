//! Internal resistance of the pack from its load steps, and the one that a prospective short-circuit current may use.

use super::instruments::tool;
use super::{Figure, Work, worked};
use crate::judge::facts::{Missing, Val};
use crate::logs::instrument::Accuracies;
use crate::logs::load_step::{LoadStep, LoadSteps, StepResistance};
use crate::units::{Amount, Dimension, show};

/// Times after a step at which the resistance is told, s: as soon as the log shows it, then 1 s and 10 s.
const TIMES: [f64; 3] = [0.0, 1.0, 10.0];
/// Later than this after a step, polarisation is too large a part for a short-circuit current, s (common practice,
/// no source).
const SHORT: f64 = 1.0;
/// A change of this part of the set current is a step of the load.
const STEP: f64 = 0.3;
/// Steps whose resistances are told.
const TOLD: usize = 4;

impl Work<'_> {
    /// Looks for load steps of a good part of the set current.
    pub(super) fn load_steps(&self, set: Option<f64>, accuracies: Accuracies) -> LoadSteps {
        let smallest = set.map_or(1.0, |current| current * STEP);
        let digit =
            tool(self.record, self.test.own.with.as_deref(), Dimension::VOLTAGE).and_then(|tool| tool.step);
        LoadSteps::new(smallest, &TIMES, accuracies).with_digit(digit.unwrap_or(0.0))
    }

    /// Figures of the first steps that begin before `until`, and `test.resistance` from the largest of them.
    ///
    /// At the end of a discharge the voltage comes back because the cells recover: no resistance either.
    pub(super) fn resistances(&mut self, steps: &[LoadStep], until: f64) {
        let steps: Vec<&LoadStep> = steps.iter().filter(|step| step.at < until).collect();
        for step in steps.iter().take(TOLD) {
            let word = if step.change > 0.0 { "on" } else { "off" };
            let change = show(step.change.abs(), Dimension::CURRENT);
            if let Some(why) = &step.refused {
                let name = format!("internal resistance, {change} {word} at {}", at(step));
                self.figure(Figure::words(&name, format!("not known: {why}")).detailed());
            }
            for found in &step.resistances {
                let (early, late) = window(step, found);
                let after = if late > early {
                    format!("between {} and {}", show(early, Dimension::TIME), show(late, Dimension::TIME))
                } else {
                    show(early, Dimension::TIME)
                };
                let resistance = found.resistance;
                let figure = Figure::amount(
                    &format!("internal resistance, {after} after {change} {word}"),
                    resistance.value,
                    resistance.expanded(),
                    Dimension::RESISTANCE,
                );
                self.figure(figure.detailed());
            }
        }
        if steps.len() > TOLD {
            #[expect(clippy::cast_precision_loss, reason = "a count of steps")]
            let further = (steps.len() - TOLD) as f64;
            let name = "internal resistance, further changes of load";
            self.figure(Figure::amount(name, further, 0.0, Dimension::NONE).detailed());
        }
        // The largest step has the smallest share of noise; of its times the earliest has the least polarisation.
        let usable = |found: &&StepResistance, step: &LoadStep| window(step, found).1 <= SHORT + 1e-9;
        let best = steps
            .iter()
            .filter_map(|step| Some((step, step.resistances.iter().find(|found| usable(found, step))?)))
            .max_by(|a, b| a.0.change.abs().total_cmp(&b.0.change.abs()));
        let Some((step, found)) = best else {
            let refused = steps.iter().find_map(|step| Some((step, step.refused.as_ref()?)));
            let why = match refused {
                Some((step, why)) => {
                    format!("a load step that shows a resistance; at the change at {} {why}", at(step))
                }
                None => {
                    "a load step with a sample within 1 s after it: the log is too slow, or holds no step"
                        .to_owned()
                }
            };
            self.fact("test.resistance", Err(vec![Missing::refused(&why)]));
            return;
        };
        let resistance = found.resistance;
        let number = resistance.value;
        let amount: Amount = self.amount(number, resistance.standard, Dimension::RESISTANCE, 5);
        let text = format!(
            "ΔU / ΔI = {}, at most {} after a step of {}",
            amount.show(),
            show(window(step, found).1, Dimension::TIME),
            show(step.change.abs(), Dimension::CURRENT)
        );
        let mut answer = worked(Val::Amount(amount), vec![text]);
        if resistance.instrument.is_none() {
            answer.assumed.push(
                "the accuracy of the instruments of the load step is not known; only sampling is counted"
                    .to_owned(),
            );
        }
        self.fact("test.resistance", Ok(answer));
    }
}

/// When a step was, in the time of the log.
fn at(step: &LoadStep) -> String {
    show(step.at, Dimension::TIME)
}

/// Earliest and latest time after the change of load at which the resistance can have been taken, s: the change
/// lies anywhere between two samples.
fn window(step: &LoadStep, found: &StepResistance) -> (f64, f64) {
    let after = found.after;
    (after, after + step.interval)
}
