//! What the record claims of the pack, as far as a session needs it, and what is missing for one.

use std::collections::BTreeMap;

use super::check::{Lacking, line_for};
use super::line::Line;
use super::plan::SessionClaims;
use crate::physics::cells::Chemistry;
use crate::record::field::Entry;
use crate::record::{Found, Record, State, Value};
use crate::units::{Amount, Dimension, Quantity};

/// What the user gave on the command line, for what the record lacks.
#[derive(Debug, Clone, Default)]
pub struct Given {
    /// Power that one load takes.
    pub load_power: Option<Quantity>,
    /// Current that one load takes.
    pub load_current: Option<Quantity>,
    /// Temperature class of the leads that are proposed.
    pub insulation: Option<Quantity>,
    /// Current-carrying conductors that lie together for each lead that is proposed.
    pub together: Option<u32>,
}

/// The claims of a record.
pub(super) struct FromRecord {
    pub(super) claims: SessionClaims,
    pub(super) lines: Vec<Line>,
    pub(super) missing: Vec<Lacking>,
    pub(super) assumed: Vec<String>,
    pub(super) cautions: Vec<String>,
}

impl Given {
    /// The record with what the command line gives in the place of what is not recorded.
    pub(super) fn filled_in(&self, mut record: Record) -> Record {
        let known = |quantity: &Quantity| Found {
            state: State::Known(Value::Quantity(quantity.clone())),
            ..Found::default()
        };
        for load in &mut record.rig.load {
            if let (None, Some(power)) = (load.power.quantity(), &self.load_power) {
                *load.power.found_mut() = known(power);
            }
            if let (None, Some(current)) = (load.current.quantity(), &self.load_current) {
                *load.current.found_mut() = known(current);
            }
        }
        record
    }
}

impl FromRecord {
    pub(super) fn read(record: &Record) -> Self {
        let mut read = Self {
            claims: SessionClaims::default(),
            lines: Vec::new(),
            missing: Vec::new(),
            assumed: Vec::new(),
            cautions: Vec::new(),
        };
        let claims = &record.claims;
        read.claims.capacity = read.quantity(
            "rated capacity",
            "claims.capacity",
            &claims.capacity,
            "the current and the duration of the capacity test",
        );
        read.claims.current = read.quantity(
            "rated continuous current",
            "claims.continuous_current",
            &claims.continuous_current,
            "the full-load test, and the check of the rig at its current",
        );
        read.chemistry(record);
        let usual = |what: &str| format!("{what}; without it the usual voltage of the cells is taken");
        read.claims.nominal = read.quantity(
            "nominal voltage",
            "claims.nominal_voltage",
            &claims.nominal_voltage,
            &usual("energy and, where they were not counted, cells in series"),
        );
        read.claims.cutoff = read.quantity(
            "cut-off voltage",
            "claims.cutoff_voltage",
            &claims.cutoff_voltage,
            &usual("the end of the capacity test"),
        );
        read.claims.charge_limit = read.quantity(
            "charge voltage",
            "claims.charge_voltage",
            &claims.charge_voltage,
            &usual("charging to full"),
        );
        let _ = read.quantity(
            "charge current",
            "claims.charge_current",
            &claims.charge_current,
            "charging to full",
        );
        read
    }

    fn chemistry(&mut self, record: &Record) {
        match record.cells.chemistry.word() {
            Some(word) => {
                self.lines.push(Line::words("chemistry", word));
                self.claims.chemistry = Chemistry::from_word(word);
            }
            None => self.lacks(
                "cells.chemistry",
                record.cells.chemistry.found(),
                "the voltage at rest when full, and the usual limits of the cells",
            ),
        }
        match record.cells.series.count() {
            Some(series) => {
                self.lines.push(Line::words("cells in series", &series.to_string()));
                self.claims.series = Some(series);
            }
            None => self.lacks(
                "cells.series",
                record.cells.series.found(),
                "voltages of one cell; without it they follow from nominal voltage and chemistry",
            ),
        }
    }

    fn quantity<W>(&mut self, name: &str, fact: &str, claim: &Entry<W>, needed_for: &str) -> Option<f64> {
        let Some(quantity) = claim.quantity() else {
            self.lacks(fact, claim.found(), needed_for);
            return None;
        };
        self.lines.push(Line::recorded(name, quantity));
        Some(quantity.value)
    }

    fn lacks(&mut self, fact: &str, found: &Found, needed_for: &str) {
        let state = match found.state {
            State::Absent => "was looked for and is not there",
            State::NotVisible => "could not be seen",
            _ => "is not recorded",
        };
        let what = format!("`{fact}` {state}: {needed_for}");
        self.missing.push(Lacking { what, write: line_for(fact) });
    }

    /// Says where the claims and the usual limits of the chemistry part, once the cells in series are known.
    pub(super) fn against_the_usual(&mut self, series: Option<u32>, limits: &BTreeMap<String, Amount>) {
        let tolerance = limits.get("cell_voltage_tolerance").map_or(0.0, Amount::value);
        let (Some(chemistry), Some(series)) = (self.claims.chemistry, series) else { return };
        if self.claims.series.is_none() {
            self.assumed.push(format!("{series} cells in series, from nominal voltage and chemistry"));
        }
        let voltages = chemistry.voltages();
        let cells = f64::from(series);
        let volts = |quantity: f64| crate::units::show(quantity, Dimension::VOLTAGE);
        let (lowest, highest) = (voltages.discharge, voltages.charge);
        match self.claims.cutoff.map(|cutoff| cutoff / cells) {
            None => self.assumed.push(format!(
                "cut-off {} a cell, usual for the chemistry (common practice, no source)",
                volts(lowest)
            )),
            Some(cell) if cell < lowest - tolerance => self.cautions.push(format!(
                "The claimed cut-off is {} a cell, below the usual {}. Ask for the cells' data sheet before going that low.",
                volts(cell),
                volts(lowest)
            )),
            Some(_) => {}
        }
        match self.claims.charge_limit.map(|limit| limit / cells) {
            None => self.assumed.push(format!(
                "charge limit {} a cell, usual for the chemistry (common practice, no source)",
                volts(highest)
            )),
            Some(cell) if cell > highest + tolerance => self.cautions.push(format!(
                "The claimed charge voltage is {} a cell, above the usual {}. Do not charge that high before the cells' data \
                 sheet says so.",
                volts(cell),
                volts(highest)
            )),
            Some(_) => {}
        }
    }
}
