//! The conditions that a claimed capacity is meant for: its rate, its temperature, a full charge before.
//!
//! At a higher rate or in the cold a pack gives less than it holds, at a lower rate, in the heat or down to a lower voltage
//! more. What was found under such conditions is a bound of what the claim speaks of.

use super::Work;
use crate::judge::facts::{Answer, Bound, Missing, Side, Worked};
use crate::record::parts::{BenchTest, TestEnd, TestKind};
use crate::units::{Dimension, show};

impl Work<'_> {
    /// What was found, as what it says of the claim; `current` is the mean one, A, `last` the voltage in the last row of a log
    /// under load, V. A log is followed down to the cut-off that the test records, and no further.
    pub(super) fn for_the_claim(&self, current: Option<f64>, last: Option<f64>, found: Worked) -> Answer {
        let (mut more, mut less): (Vec<Missing>, Vec<Missing>) = (Vec::new(), Vec::new());
        let claims = &self.record.claims;
        let limit = |name: &str| self.physics.limit(name).unwrap_or(f64::NAN);
        let Some(current) = current else { return Err(vec![self.missing("current")]) };
        if let Some(capacity) = claims.capacity.quantity() {
            let rate = current / capacity.value;
            let claimed = claims.capacity_rate.quantity().map(|rate| rate.value);
            let [low, high] = match claimed {
                Some(rate) => [rate, rate],
                None => [limit("capacity_rate_low"), limit("capacity_rate_high")],
            };
            let apart = limit("capacity_rate_apart");
            let told = |what: &str, rate: f64| {
                let (own, other) =
                    (show(current / capacity.value, Dimension::RATE), show(rate, Dimension::RATE));
                Missing::refused(&format!("a test at {other}: at {own} a pack gives {what} than at that"))
            };
            if rate > high * apart {
                more.push(told("less", high));
            } else if rate * apart < low {
                less.push(told("more", low));
            }
        }
        if let Some(claimed) = claims.cutoff_voltage.quantity() {
            let per_cell = limit("cell_voltage_tolerance");
            let apart = self.record.cells.series.count().map_or(0.0, |series| f64::from(series) * per_cell);
            let by_load = match self.test.end.known() {
                Some(end) => end == TestEnd::LoadCutOff,
                None => last.is_some(),
            };
            let told = |what: &str, volts: f64| {
                let [claimed, volts] = [claimed.value, volts].map(|volts| show(volts, Dimension::VOLTAGE));
                Missing::refused(&format!("a test down to {claimed}: down to {volts} a pack gives {what}"))
            };
            let set = self.test.cutoff_voltage.quantity().map(|set| set.value);
            let below = |volts: f64| volts < claimed.value - apart;
            match (set, last) {
                (Some(set), Some(last)) if below(set.max(last)) => less.push(told("more", set.max(last))),
                (Some(set), None) if by_load && below(set) => less.push(told("more", set)),
                (Some(set), _) if by_load && set > claimed.value + apart => more.push(told("less", set)),
                (None, Some(last)) if below(last) => less.push(self.missing("cutoff_voltage")),
                (None, None) if by_load => return Err(vec![self.missing("cutoff_voltage")]),
                _ => {}
            }
        }
        if let Some(ambient) = self.test.ambient.quantity() {
            let shown = show(ambient.value, Dimension::TEMPERATURE);
            if ambient.value < limit("capacity_temperature_low") {
                more.push(Missing::refused(&format!(
                    "a test in a warmer room: at {shown} a pack gives less"
                )));
            } else if ambient.value > limit("capacity_temperature_high") {
                less.push(Missing::refused(&format!(
                    "a test in a cooler room: at {shown} a pack gives more"
                )));
            }
        }
        let charges = self.record.test.iter().filter(|test| test.kind.known() == Some(TestKind::Charge));
        // A charge of the same day may as well have followed, for the round trip.
        let before =
            |charge: &BenchTest| charge.date.date().zip(self.test.date.date()).is_some_and(|(a, b)| a < b);
        for charge in charges.filter(|charge| before(charge)) {
            if charge.end.known().is_some_and(|end| end != TestEnd::Taper) {
                let id = charge.id.text().unwrap_or("charge");
                let what = format!("a full charge before it (test {id} was cut off)");
                more.push(Missing::refused(&what));
            }
        }
        bounded(found, more, less)
    }
}

fn bounded(mut found: Worked, more: Vec<Missing>, less: Vec<Missing>) -> Answer {
    let (mut more, mut less) = (more, less);
    if let Some(bound) = &found.bound {
        match bound.side {
            Side::AtLeast => more.extend(bound.missing.iter().cloned()),
            Side::AtMost => less.extend(bound.missing.iter().cloned()),
            Side::Within => {}
        }
    }
    found.bound = match (more.is_empty(), less.is_empty()) {
        (true, true) => found.bound,
        (false, true) => Some(Bound { side: Side::AtLeast, missing: more, by_definition: false }),
        (true, false) => Some(Bound { side: Side::AtMost, missing: less, by_definition: false }),
        (false, false) => return Err(more.into_iter().chain(less).collect()),
    };
    Ok(found)
}
