//! A test without a log: what somebody read off and wrote down.

use super::gauge::Reference;
use super::instruments::{self, standard};
use super::summary::{ColdChargeSummary, FullLoadSummary, LoadEnded, temperature};
use super::{Figure, Moved, Work, worked};
use crate::judge::facts::{Bound, Missing, Reason, Side, Val, Worked};
use crate::logs::cold_charge::ColdCurrent;
use crate::logs::full_load::Total;
use crate::logs::instrument::Estimate as Measured;
use crate::logs::lacking;
use crate::logs::round_trip::Flow;
use crate::record::Found;
use crate::record::parts::{TestEnd, TestKind};
use crate::units::{Amount, COVERAGE, Dimension, Quantity, Uncertain, show};

impl Work<'_> {
    /// Facts and figures of what was read off.
    pub(super) fn by_hand(&mut self) {
        let kind = self.test.kind.known();
        match kind {
            Some(TestKind::Capacity) => self.capacity_by_hand(),
            Some(TestKind::FullLoad) => self.full_load_by_hand(),
            Some(TestKind::ColdCharge) => self.cold_by_hand(),
            Some(TestKind::Charge) => self.charge_by_hand(),
            Some(kind) => self.protection_by_hand(kind),
            None => {}
        }
        if kind != Some(TestKind::FullLoad) {
            self.gauge(&Reference { course: None, current: None, duration: None });
        }
    }

    pub(super) fn missing(&self, field: &str) -> Missing {
        let place = self.test.id.text().map_or_else(|| "the test".to_owned(), |id| format!("test {id}"));
        Missing::fact(&format!("test.{field}"), &place, Reason::NotRecorded)
    }

    fn capacity_by_hand(&mut self) {
        let test = self.test;
        let cut_off = matches!(test.end.known(), Some(TestEnd::LoadCutOff | TestEnd::BmsCutOff));
        for (name, field, quantity, found) in [
            ("test.capacity_found", "capacity", test.capacity.quantity(), test.capacity.found()),
            ("test.energy_found", "energy", test.energy.quantity(), test.energy.found()),
        ] {
            let mut answer = match quantity {
                Some(quantity) => Ok(self.read_off(quantity, found)),
                None => Err(vec![self.missing(field)]),
            };
            // Only a test that ran down to the cut-off shows the whole capacity.
            if let Ok(worked) = &mut answer
                && !cut_off
            {
                worked.bound = Some(Bound {
                    side: Side::AtLeast,
                    missing: vec![self.missing("end")],
                    by_definition: false,
                });
            }
            let current = test.current.quantity().map(|current| current.value).or_else(|| {
                Some(test.rate.quantity()?.value * self.record.claims.capacity.quantity()?.value)
            });
            self.fact(name, answer.and_then(|found| self.for_the_claim(current, None, found)));
        }
        if let (Some(found), Some(claim)) = (test.capacity.quantity(), self.record.claims.capacity.quantity())
        {
            let standard = self.standard_of(found, test.capacity.found()).unwrap_or(0.0);
            let expanded = COVERAGE * standard / claim.value;
            self.figure(Figure::percent("of the claim", found.value / claim.value, expanded));
        }
        self.moved_by_hand((!cut_off).then(|| "the discharge did not end by a cut-off".to_owned()));
    }

    fn charge_by_hand(&mut self) {
        let test = self.test;
        for (name, field, quantity, found) in [
            ("test.charge_in", "capacity", test.capacity.quantity(), test.capacity.found()),
            ("test.energy_in", "energy", test.energy.quantity(), test.energy.found()),
        ] {
            let answer = match quantity {
                Some(quantity) => Ok(self.read_off(quantity, found)),
                None => Err(vec![self.missing(field)]),
            };
            self.fact(name, answer);
        }
        let incomplete = match test.end.known() {
            Some(TestEnd::Taper) => None,
            Some(end) => {
                Some(format!("the charge is not complete: it ended by {}, not by taper", end.word()))
            }
            None => Some("whether the charge ended by taper (`end`) is not recorded".to_owned()),
        };
        self.moved_by_hand(incomplete);
    }

    /// What was read off a counter, for the round trip.
    fn moved_by_hand(&mut self, incomplete: Option<String>) {
        let test = self.test;
        let Some(charge) = test.capacity.quantity() else { return };
        let of_charge = self.standard_or_usual(charge, test.capacity.found());
        let flow = Flow {
            charge: Measured::of(charge.value, 0.0, of_charge),
            energy: test.energy.quantity().map(|energy| {
                let standard = self.standard_or_usual(energy, test.energy.found());
                Measured::of(energy.value, 0.0, standard)
            }),
        };
        self.moved = Some(Moved { flow, incomplete });
    }

    fn full_load_by_hand(&mut self) {
        let total = self.branches_by_hand();
        let count = self.test.reading.iter().filter(|r| is_branch(r.of.text())).count();
        if count > 0 {
            let gauge = self.gauge_current_read();
            // A current that was only set is no second measurement.
            let whole = self
                .test
                .current
                .quantity()
                .map(|q| self.set_current(q))
                .filter(|set| set.standard.is_some());
            self.cross_check_branches(count, total, whole, gauge, &[]);
        }
        let current = self.test.current.quantity().map(|q| self.set_current(q)).or(total);
        let summary = self.held_by_hand(current);
        self.full_load_facts(summary.as_ref().map_err(Clone::clone));
        let mean = current.map(|current| {
            self.amount(current.value, current.standard.unwrap_or(0.0), Dimension::CURRENT, 9)
        });
        let seconds = self.test.duration.quantity().map_or(0.0, |quantity| quantity.value);
        self.keep_temperatures(None, (0.0, seconds), mean.as_ref());
        let duration = self.test.duration.quantity().map(|q| q.value);
        if let (Some(current), Some(duration)) = (current, duration) {
            let expanded = COVERAGE * current.standard.unwrap_or(0.0) * duration;
            self.figure(Figure::amount("charge", current.value * duration, expanded, Dimension::CHARGE));
        }
        self.gauge(&Reference { course: None, current, duration });
    }

    /// The current that was set, with the uncertainty of its instrument.
    fn set_current(&self, current: &Quantity) -> Total {
        let standard = self.standard_of(current, self.test.current.found());
        Total { value: current.value, standard }
    }

    /// Standard uncertainty of what was read off: its own ±, else that of its instrument, else that of the test's.
    fn standard_of(&self, quantity: &Quantity, found: &Found) -> Option<f64> {
        let with = found.with.as_deref().or(self.test.own.with.as_deref());
        standard(self.record, with, quantity)
    }

    /// As [`Work::standard_of`]; where that is not known, that of the instrument's kind.
    fn standard_or_usual(&self, quantity: &Quantity, found: &Found) -> Option<f64> {
        let with = found.with.as_deref().or(self.test.own.with.as_deref());
        let usual = || instruments::usual(self.record, self.physics.limits, with, quantity.dimension);
        self.standard_of(quantity, found).or_else(|| Some(usual()?.standard(quantity.value)))
    }

    pub(super) fn read_off(&self, quantity: &Quantity, found: &Found) -> Worked {
        let stated = self.standard_of(quantity, found);
        let standard = self.standard_or_usual(quantity, found);
        let place = u32::try_from(found.span.start.saturating_mul(4)).unwrap_or(0);
        let number = Uncertain::new(quantity.value, place, standard.unwrap_or(0.0));
        let amount = Amount { number, dimension: quantity.dimension };
        let mut worked = worked(Val::Amount(amount), vec!["read off by hand, no log".to_owned()]);
        if stated.is_none() {
            worked
                .assumed
                .push("the accuracy of the instrument is not known; that of its kind is taken".to_owned());
        }
        worked
    }

    /// What was read off, as a log would show it: a current that was at its value all the time.
    fn held_by_hand(&self, current: Option<Total>) -> Result<FullLoadSummary, Vec<Missing>> {
        let test = self.test;
        let rated = self.record.claims.continuous_current.quantity();
        let (Some(current), Some(duration), Some(rated)) = (current, test.duration.quantity(), rated) else {
            return Err(lacking([
                (current.is_none(), self.missing("current")),
                (test.duration.quantity().is_none(), self.missing("duration")),
                (rated.is_none(), Missing::fact("claims.continuous_current", "", Reason::NotRecorded)),
            ]));
        };
        let unknown = current.standard.is_none();
        let expanded = COVERAGE * current.standard.unwrap_or(0.0);
        let (surely, possibly) =
            (current.value - expanded >= rated.value, current.value + expanded >= rated.value);
        let of_duration = duration.expanded.unwrap_or(0.0);
        let end = match test.end.word() {
            Some(word) => LoadEnded::By(word),
            None => LoadEnded::NotRecorded(self.missing("end")),
        };
        Ok(FullLoadSummary {
            current,
            held_for: (
                if surely { duration.value - of_duration } else { 0.0 },
                if possibly { duration.value + of_duration } else { 0.0 },
            ),
            reached: possibly,
            highest: current.value,
            under_load: duration.value,
            end,
            missing: unknown
                .then(|| Missing::refused("the accuracy of the current's instrument"))
                .into_iter()
                .collect(),
            steps: vec!["read off by hand, no log".to_owned()],
        })
    }

    fn cold_by_hand(&mut self) {
        let cell = self.test.cell_temperature.quantity();
        let thermometer = cell.and_then(|cell| self.standard_of(cell, self.test.cell_temperature.found()));
        let mut summary = ColdChargeSummary {
            coldest: cell.map(|cell| self.amount(cell.value, thermometer.unwrap_or(0.0), cell.dimension, 7)),
            current: Err(Vec::new()),
            steps: vec!["read off by hand, no log".to_owned()],
            assumed: Vec::new(),
        };
        summary.current = self.charged_by_hand(cell, thermometer, &mut summary.assumed);
        self.cold_charge_facts(&summary);
        if let Some(cell) = cell {
            let expanded = COVERAGE * thermometer.unwrap_or(0.0);
            self.figure(Figure::amount("cells", cell.value, expanded, Dimension::TEMPERATURE));
        }
    }

    /// Current into cells that were surely, perhaps or not at all below the limit.
    fn charged_by_hand(
        &self,
        cell: Option<&Quantity>,
        thermometer: Option<f64>,
        assumed: &mut Vec<String>,
    ) -> Result<ColdCurrent, Vec<Missing>> {
        let charged = self.test.charged_while_cold.yes();
        let (Some(charged), Some(cell), Some(thermometer)) = (charged, cell, thermometer) else {
            return Err(lacking([
                (charged.is_none(), self.missing("charged_while_cold")),
                (cell.is_none(), self.missing("cell_temperature")),
                (
                    cell.is_some() && thermometer.is_none(),
                    Missing::refused("the accuracy of the thermometer on the cells"),
                ),
            ]));
        };
        if !charged && self.test.end.known() == Some(TestEnd::Taper) {
            let both = "whether charge flowed: `charged_while_cold` says no, `end` says \"taper\"";
            return Err(vec![Missing::refused(both)]);
        }
        let limit = self.physics.limit("charge_temperature").map_err(|missing| vec![missing])?;
        let shown = show(limit, Dimension::TEMPERATURE);
        let expanded = COVERAGE * thermometer;
        let mut found = ColdCurrent { low: 0.0, high: 0.0, at_least: Vec::new(), width: Vec::new() };
        if cell.value + expanded > limit {
            let were = temperature(cell.value, expanded);
            found.at_least.push(format!("cells surely below {shown}: they were at {were}"));
        }
        // Without a charger that is on nothing flows into any pack.
        if !charged && self.test.charger_on.yes() != Some(true) {
            found.at_least.push(self.missing("charger_on").what);
        }
        if charged && cell.value - expanded < limit {
            let surely = found.at_least.is_empty();
            let (current, u) =
                self.charge_current_by_hand(&mut found.at_least, assumed).map_err(|missing| vec![missing])?;
            found.high = current + u;
            if surely {
                found.low = current - u;
            }
        }
        Ok(found)
    }

    /// The charge current that was set, with its expanded uncertainty; without one the least that a person calls a
    /// charge. `at_least` gets what would make it more.
    fn charge_current_by_hand(
        &self,
        at_least: &mut Vec<String>,
        assumed: &mut Vec<String>,
    ) -> Result<(f64, f64), Missing> {
        if let Some(current) = self.test.current.quantity() {
            let set = self.set_current(current);
            if set.standard.is_none() {
                at_least.push("the accuracy of the current's instrument".to_owned());
            }
            return Ok((set.value, COVERAGE * set.standard.unwrap_or(0.0)));
        }
        at_least.push(self.missing("current").what);
        let share = self.physics.limit("charge_seen")?;
        let capacity = self.record.claims.capacity.quantity();
        let capacity = capacity.ok_or(Missing::fact("claims.capacity", "", Reason::NotRecorded))?;
        let current = share * capacity.value;
        let shown = show(current, Dimension::CURRENT);
        assumed.push(format!(
            "the charge current is not recorded; what is called a charge is at least {shown} (limit `charge_seen`)"
        ));
        Ok((current, 0.0))
    }
}

pub(super) fn is_branch(of: Option<&str>) -> bool {
    of.is_some_and(|of| of.trim().to_lowercase().starts_with("branch"))
}
