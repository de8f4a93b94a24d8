//! A test without a log: what somebody read off and wrote down.

use uom::si::electric_charge::coulomb;
use uom::si::energy::joule;
use uom::si::f64::{ElectricCharge, Energy};

use super::gauge::Reference;
use super::instruments::standard;
use super::{COLD, FULL_LOAD, Moved, Work, worked};
use crate::judge::facts::{Answer, Bound, Missing, Reason, Side, Val};
use crate::logs::full_load::Total;
use crate::logs::instrument::Figure;
use crate::logs::round_trip::Flow;
use crate::record::Found;
use crate::units::{Amount, COVERAGE, Dimension, Quantity, Uncertain, show, show_uncertain};

impl Work<'_> {
    /// Facts and figures of what was read off.
    pub(super) fn by_hand(&mut self) {
        match self.trial.kind.as_str() {
            "capacity" => self.capacity_by_hand(),
            "full load" => self.full_load_by_hand(),
            "cold charge" => self.cold_by_hand(),
            "charge" => self.charge_by_hand(),
            _ => {}
        }
        if self.trial.kind != "full load" {
            self.gauge(&Reference { course: None, current: None, duration: None });
        }
    }

    fn missing(&self, field: &str) -> Missing {
        let place = self.test.id.text().map_or_else(|| "the test".to_owned(), |id| format!("test {id}"));
        Missing::fact(&format!("test.{field}"), &place, Reason::NotRecorded)
    }

    fn capacity_by_hand(&mut self) {
        let test = self.test;
        for (name, field, quantity, found) in [
            ("test.capacity_found", "capacity", test.capacity.quantity(), test.capacity.found()),
            ("test.energy_found", "energy", test.energy.quantity(), test.energy.found()),
        ] {
            let mut answer = match quantity {
                Some(quantity) => Ok(read_off(quantity, found)),
                None => Err(vec![self.missing(field)]),
            };
            // Only a test that ran down to the cut-off shows the whole capacity.
            if let Ok(worked) = &mut answer
                && !matches!(test.end.word(), Some("load cut-off" | "bms cut-off"))
            {
                worked.bound = Some(Bound {
                    side: Side::AtLeast,
                    missing: vec![self.missing("end")],
                    by_definition: false,
                });
            }
            self.fact(name, answer);
        }
        if let (Some(found), Some(claim)) = (test.capacity.quantity(), self.record.claims.capacity.quantity())
        {
            let scale = 100.0 / claim.value;
            let percent =
                show_uncertain(scale * found.value, scale * found.expanded.unwrap_or(0.0), Dimension::NONE);
            self.figure("of the claim", format!("{percent} %"));
        }
        let whole = matches!(test.end.word(), Some("load cut-off" | "bms cut-off"));
        self.moved_by_hand((!whole).then(|| "the discharge did not end by a cut-off".to_owned()));
    }

    fn charge_by_hand(&mut self) {
        let test = self.test;
        for (name, field, quantity, found) in [
            ("test.charge_in", "capacity", test.capacity.quantity(), test.capacity.found()),
            ("test.energy_in", "energy", test.energy.quantity(), test.energy.found()),
        ] {
            let answer = match quantity {
                Some(quantity) => Ok(read_off(quantity, found)),
                None => Err(vec![self.missing(field)]),
            };
            self.fact(name, answer);
        }
        let incomplete = match test.end.word() {
            Some("taper") => None,
            Some(end) => Some(format!("the charge is not complete: it ended by {end}, not by taper")),
            None => Some("whether the charge ended by taper (`end`) is not recorded".to_owned()),
        };
        self.moved_by_hand(incomplete);
    }

    /// What was read off a counter, for the round trip.
    fn moved_by_hand(&mut self, incomplete: Option<String>) {
        let standard = |quantity: &Quantity| quantity.expanded.map(|expanded| expanded / COVERAGE);
        let Some(charge) = self.test.capacity.quantity() else { return };
        let flow = Flow {
            charge: Figure::of(charge.value, 0.0, standard(charge), ElectricCharge::new::<coulomb>),
            energy: self
                .test
                .energy
                .quantity()
                .map(|energy| Figure::of(energy.value, 0.0, standard(energy), Energy::new::<joule>)),
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
        let answer = self.held_by_hand(current);
        self.fact("test.held", answer);
        let mean = current.map(|current| {
            self.amount(current.value, current.standard.unwrap_or(0.0), Dimension::CURRENT, 9)
        });
        self.rises(None, &[], mean);
        let duration = self.test.duration.quantity().map(|q| q.value);
        if let (Some(current), Some(duration)) = (current, duration) {
            let u = current.standard.unwrap_or(0.0) * duration;
            self.figure("charge", show_uncertain(current.value * duration, COVERAGE * u, Dimension::CHARGE));
        }
        self.gauge(&Reference { course: None, current, duration });
    }

    /// The current that was set, with the uncertainty of its instrument.
    fn set_current(&self, current: &Quantity) -> Total {
        let found = self.test.current.found();
        let with = found.with.as_deref().or(self.test.own.with.as_deref());
        Total { value: current.value, standard: standard(self.record, with, current) }
    }

    fn held_by_hand(&self, current: Option<Total>) -> Answer {
        let test = self.test;
        let rated = self.record.claims.continuous_current.quantity();
        let (end, duration) = (test.end.word(), test.duration.quantity());
        let (Some(current), Some(rated)) = (current, rated) else {
            let lacks = [
                (current.is_none(), self.missing("current")),
                (end.is_none(), self.missing("end")),
                (duration.is_none(), self.missing("duration")),
                (rated.is_none(), Missing::fact("claims.continuous_current", "", Reason::NotRecorded)),
            ];
            return Err(lacks.into_iter().filter(|(lacks, _)| *lacks).map(|(_, missing)| missing).collect());
        };
        // A current that was set counts as it was set; one that was read, with its uncertainty.
        let set = test.current.quantity();
        let expanded = if set.is_some() { 0.0 } else { COVERAGE * current.standard.unwrap_or(0.0) };
        let text = set.map_or_else(
            || show_uncertain(current.value, expanded, Dimension::CURRENT),
            |set| set.text.clone(),
        );
        if set.is_none() && current.standard.is_none() {
            return Err(vec![Missing::refused(&format!(
                "{text} is the sum of branches, and the accuracy of an instrument is not known"
            ))]);
        }
        if current.value + expanded < rated.value {
            return Err(vec![Missing::refused(&format!("{text} is below the rated {}", rated.text))]);
        }
        if current.value - expanded < rated.value {
            return Err(vec![Missing::refused(&format!(
                "whether {text} is the rated {} lies inside the measurement uncertainty",
                rated.text
            ))]);
        }
        let (Some(end), Some(duration)) = (end, duration) else {
            let lacks =
                [(end.is_none(), self.missing("end")), (duration.is_none(), self.missing("duration"))];
            return Err(lacks.into_iter().filter(|(lacks, _)| *lacks).map(|(_, missing)| missing).collect());
        };
        let step = format!("{text} for {}, ended by {end}", duration.text);
        match end {
            "bms cut-off" => Ok(worked(Val::YesNo(false), vec![step])),
            "time" if duration.value >= FULL_LOAD => Ok(worked(Val::YesNo(true), vec![step])),
            _ => Err(vec![Missing::refused(&format!(
                "{step}: a quarter of an hour at rated current was not shown"
            ))]),
        }
    }

    fn cold_by_hand(&mut self) {
        let test = self.test;
        let answer = match (test.charged_while_cold.yes(), test.cell_temperature.quantity()) {
            (Some(charged), Some(cell)) if cell.value < COLD => {
                Ok(worked(Val::YesNo(!charged), vec![format!("cells at {}", cell.text)]))
            }
            (Some(_), Some(cell)) => {
                Err(vec![Missing::refused(&format!("the cells were at {}, not below 0 °C", cell.text))])
            }
            (charged, cell) => {
                let lacks = [
                    (charged.is_none(), self.missing("charged_while_cold")),
                    (cell.is_none(), self.missing("cell_temperature")),
                ];
                Err(lacks.into_iter().filter(|(lacks, _)| *lacks).map(|(_, missing)| missing).collect())
            }
        };
        self.fact("test.blocked", answer);
        if let Some(cell) = test.cell_temperature.quantity() {
            self.figure("cells", show(cell.value, Dimension::TEMPERATURE));
        }
    }
}

pub(super) fn is_branch(of: Option<&str>) -> bool {
    of.is_some_and(|of| of.trim().to_lowercase().starts_with("branch"))
}

fn read_off(quantity: &Quantity, found: &Found) -> crate::judge::facts::Worked {
    let number = match quantity.expanded {
        Some(expanded) => Uncertain::new(
            quantity.value,
            u32::try_from(found.span.start.saturating_mul(4)).unwrap_or(0),
            expanded / COVERAGE,
        ),
        None => Uncertain::exact(quantity.value),
    };
    let amount = Amount { number, dimension: quantity.dimension };
    worked(Val::Amount(amount), vec!["read off by hand, no log".to_owned()])
}
