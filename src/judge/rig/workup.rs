//! The session, step by step: what to set, what to do, what to write down, and where it is dangerous.
//!
//! The order is chosen so that no test spoils the next: capacity first, while nothing is warm; full load from a full
//! pack; the cold charge last, because a pack that does not block it may be damaged by it.

use super::bank;
use super::charging::Charging;
use super::judged::{Basis, Judged};
use super::line::{Line, Planned};
use super::plan::{CAPACITY_RATE, COLD_RATE, Session, warm_up};
use super::proposals::Equal;
use crate::units::{Dimension, Quantity, show, significant};

/// Limit of the rule book: how long full load is held.
pub(super) const HOLD: &str = "full_load_time";
/// A charge is full when its current falls below this, per hour (common practice, no source).
const TAIL_RATE: f64 = 0.05;
/// How far below the limit of charging the cells are cooled, K (common practice, no source).
const BELOW_LIMIT: f64 = 5.0;
/// Rise that a heater is judged by in the plan: from five kelvin below the limit to five above (common practice, no source).
const HEATER_RISE: f64 = 10.0;

const FIRE_WATCH: &str = "Fire watch: somebody stays with the pack until it has rested, with a way to put out and leave a \
fire. Nothing that burns stands near it.";

/// What the session is worked out from.
pub(super) struct Workup<'a> {
    pub(super) basis: &'a Basis<'a>,
    pub(super) judged: &'a Judged,
    pub(super) charging: &'a Charging,
    pub(super) equal: Option<&'a Equal>,
}

fn texts(lines: &[&str]) -> Vec<String> {
    lines.iter().map(|line| (*line).to_owned()).collect()
}

impl Workup<'_> {
    pub(super) fn session(&self) -> Vec<Planned> {
        vec![
            self.before(),
            self.charge("charge", "Charge to full"),
            self.capacity(),
            self.charge("recharge", "Charge to full again"),
            self.full_load(),
            self.cold_charge(),
        ]
    }

    fn before(&self) -> Planned {
        Planned {
            id: "before",
            title: "Before anything is connected".to_owned(),
            settings: Vec::new(),
            steps: texts(&[
                "Let the pack lie in the room for a night, so that cells and case have one temperature.",
                "Photograph label, terminals and the rig as it is built. Check polarity with a meter before every connection.",
                "Tighten the rig's lugs to the torque of their makers, and wiggle every lead.",
            ]),
            note: texts(&[
                "open-circuit voltage at the terminals",
                "the pack's own gauge: voltage, current, state of charge",
                "ambient temperature, temperature of the case and of both terminals",
                "instruments with their ids, ranges and the dates of their calibration",
            ]),
            cautions: self.faults(),
        }
    }

    /// What a short circuit means, with the rig as it is recorded.
    fn faults(&self) -> Vec<String> {
        let mut cautions = vec![self.fault()];
        for view in [&self.judged.view, &self.charging.view] {
            cautions.extend(view.unfused.iter().cloned());
        }
        cautions.dedup();
        cautions
    }

    fn fault(&self) -> String {
        let last = "Connect the pack last, through the rig's fuse, with rings off and the free lug covered.";
        match self.basis.fault() {
            Ok(worked) => format!(
                "A lead that touches the other terminal carries the prospective short-circuit current, {}. {last}",
                worked.value.show()
            ),
            Err(_) => format!(
                "A lead that touches the other terminal carries the pack's prospective short-circuit current. It is not known \
                 here; count on several thousand amperes. {last}"
            ),
        }
    }

    fn charge(&self, id: &'static str, title: &'static str) -> Planned {
        let (plan, record) = (self.basis.plan, self.basis.record);
        let mut settings = Vec::new();
        if let Some(limit) = plan.charge_limit {
            settings.push(
                Line::of("voltage of the source", limit, Dimension::VOLTAGE)
                    .and(&per_cell(plan.charge_limit_cell)),
            );
        }
        let claimed = record.claims.charge_current.quantity();
        let source = record.rig.source.current.quantity();
        let lower = match (claimed, source) {
            (Some(claimed), Some(source)) if source.value < claimed.value => Some(source),
            (claimed, source) => claimed.or(source.filter(|_| claimed.is_none())),
        };
        if let Some(current) = claimed {
            settings.push(Line::recorded("current at most, as claimed", current));
        }
        if let Some(source) = source {
            settings.push(Line::recorded("current of the source", source));
        }
        settings.extend(self.charge_drop());
        if let Some(capacity) = record.claims.capacity.quantity() {
            let tail = capacity.value / 3600.0 * TAIL_RATE;
            settings.push(
                Line::of("full when the current falls below", tail, Dimension::CURRENT).and(" (0.05 C)"),
            );
            if let Some(current) = lower.filter(|current| current.value > 0.0) {
                let hours = capacity.value / current.value;
                settings.push(Line::duration("from empty, at least", hours));
            }
        }
        let mut steps = texts(&[
            "Set the source's voltage with nothing connected and check it with a meter of its own.",
            "Leave that voltage as it is when the pack shows less: the drop of the leads goes away as the current falls, and what was \
             added for it the pack would see.",
            "Start the log, then the charge. Log voltage, current and temperatures every 10 s or faster.",
            "Let the pack rest for an hour before the next test (IEC 62620 asks for one to four hours, from memory).",
        ]);
        if id == "recharge" {
            steps.insert(
                0,
                "Let the emptied pack cool to the room first: an hour at least. Do not leave it empty overnight.".to_owned(),
            );
        }
        Planned {
            id,
            title: title.to_owned(),
            settings,
            steps,
            note: texts(&[
                "charge and energy put in, time",
                "the gauge's state of charge at the start and at the end",
            ]),
            cautions: vec![
                format!(
                    "Charging to full is where a wrong limit burns a pack. Stop when the voltage passes the limit, when a cell \
                     or the case is warmer than {}, when it swells or smells.",
                    record.claims.charge_temperature_max.quantity().map_or_else(
                        || "45 °C".to_owned(),
                        |quantity| show(quantity.value, Dimension::TEMPERATURE)
                    )
                ),
                FIRE_WATCH.to_owned(),
            ],
        }
    }

    fn discharge(&self, session: &Session) -> Vec<Line> {
        let mut settings = Vec::new();
        if let Some(duration) = session.duration {
            settings.push(Line::duration("expected duration", duration));
        }
        settings.extend(session.energy.map(|energy| Line::of("expected energy", energy, Dimension::ENERGY)));
        settings.extend(
            session.power_full.map(|power| Line::of("power of the load, pack full", power, Dimension::POWER)),
        );
        settings.extend(
            session
                .power_cutoff
                .map(|power| Line::of("power of the load at cut-off", power, Dimension::POWER)),
        );
        settings
    }

    fn cutoff(&self, name: &str) -> Option<Line> {
        let plan = self.basis.plan;
        let line = Line::of(name, plan.cutoff?, Dimension::VOLTAGE);
        Some(line.and(&per_cell(plan.cutoff_cell)))
    }

    fn capacity(&self) -> Planned {
        let mut settings = Vec::new();
        if let Some(session) = &self.basis.plan.capacity {
            let rate = significant(CAPACITY_RATE, 2);
            settings
                .push(Line::of("current", session.current, Dimension::CURRENT).and(&format!(" ({rate} C)")));
            settings.extend(self.cutoff("cut-off at the load"));
            settings.extend(self.discharge(session));
            settings.extend(bank::for_capacity(self.basis, session));
            if let Some(drop) = &self.judged.drop.known {
                let least = if self.judged.drop.missing.is_empty() { "" } else { " at least" };
                settings.push(
                    Line::about("drop of the leads at this current", drop.value(), Dimension::VOLTAGE)
                        .and(&format!("{least}, which a load that senses at its own terminals does not see")),
                );
            }
        }
        let mut steps = texts(&[
            "Sense the voltage on the pack's terminals, with leads of their own.",
            "Start the log, wait a minute at rest, then apply the load. Log every 10 s or faster.",
            "Let the load stop at its cut-off, not the BMS. Keep logging for ten minutes after: the recovery shows the end.",
        ]);
        if settings.is_empty() {
            steps.insert(0, "The current does not follow: see what is missing.".to_owned());
        }
        Planned {
            id: "capacity",
            title: "Capacity".to_owned(),
            settings,
            steps,
            note: texts(&[
                "how the end came: load's cut-off, BMS, time, or somebody",
                "the gauge's state of charge at the start, each hour and at the end",
                "temperature of the case, of both terminals and of the room, at the start and each hour",
            ]),
            cautions: vec![
                "It runs for hours: stay within sight, and never let a load without a cut-off of its own run alone.".to_owned(),
                FIRE_WATCH.to_owned(),
            ],
        }
    }

    fn full_load(&self) -> Planned {
        let plan = self.basis.plan;
        let mut settings = Vec::new();
        if let Some(session) = &plan.full_load {
            let current = |name: &str, value: f64| Line::of(name, value, Dimension::CURRENT);
            settings.push(current("rated continuous current", session.current));
            if let Some(set) = self.judged.set {
                settings.push(current("current to set", set).and(&self.why_this_much(set)));
            }
            if let Some(rate) = session.rate {
                settings.push(Line::words("that is", &format!("{} C", significant(rate, 3))));
            }
            settings.extend(self.discharge(session));
            settings
                .extend(session.charge.map(|charge| Line::of("charge taken out", charge, Dimension::CHARGE)));
            if let Some(margin) = self.basis.limits.get("meter_range") {
                let range = self.judged.set.unwrap_or(session.current) * margin.value();
                settings.push(current("range of the ammeter, at least", range));
            }
            if let Some(highest) = plan.charge_limit {
                let volts = highest;
                settings.push(Line::of("range of the voltmeter, at least", volts, Dimension::VOLTAGE));
            }
            settings.extend(self.cutoff("stop if the voltage falls to"));
            settings.extend(self.shares());
            settings.extend(bank::for_full_load(self.basis, self.judged, session));
        }
        let mut steps = Vec::new();
        if settings.is_empty() {
            steps.push("The current does not follow: see what is missing.".to_owned());
        }
        steps.push(format!("The rig first. {}", self.judged.view.sentence));
        if let Some(lead) = &self.judged.view.weakest_lead {
            steps.push(format!("Put a thermometer on the weakest lead. It is {lead}."));
        }
        steps.extend(texts(&[
            "Start from a full, rested pack at room temperature. Start the log, wait a minute at rest.",
            "Go to a quarter of the current for two minutes and look for a lug, a lead or a terminal that warms up alone. Then go \
             to the full current.",
            "Hold it. Log every second or two: the whole current, every branch, the voltage at the terminals, temperatures.",
            "Stop at once when a lead comes within 10 K of its insulation's class, when a terminal passes 90 °C, when anything \
             smells or the current wanders.",
            "Wait an hour before the next test, and do not touch lugs or leads before a thermometer says so.",
        ]));
        let duration = plan.full_load.as_ref().and_then(|session| session.duration);
        let title = match (duration, self.basis.limits.get(HOLD)) {
            (Some(duration), Some(hold)) if duration < hold.value() => {
                "Full load until the pack is empty".to_owned()
            }
            (_, Some(hold)) => format!("Full load for {}", hold.show()),
            (_, None) => "Full load".to_owned(),
        };
        Planned {
            id: "full-load",
            title,
            settings,
            steps,
            note: texts(&[
                "currents of all instruments and of the gauge at the same moment, every five minutes",
                "the gauge's state of charge at the start and at the end",
                "temperatures of both terminals, of every lug and of the weakest lead, every minute",
                "whether the BMS opened, and when",
            ]),
            cautions: bank::caution(self.basis).into_iter().chain([
                "Leads, lugs and loads get hot enough to burn skin and melt insulation. Nothing lies on them, and no lead is coiled up."
                    .to_owned(),
                "Switch loads on and off at the loads, not by pulling a lead: the arc of a direct current does not go out by itself. \
                 Inverters draw a surge when they are connected; charge their capacitors through a resistor first."
                    .to_owned(),
                FIRE_WATCH.to_owned(),
            ]).collect(),
        }
    }

    /// The drop of the source's leads, as far as it is known.
    fn charge_drop(&self) -> Option<Line> {
        let source = self.basis.record.rig.source.voltage.quantity().map(|quantity| quantity.value);
        let limit = source.or(self.basis.plan.charge_limit);
        let (drop, left) = self.charging.drop(limit)?;
        let least = if self.charging.more { " at least" } else { "" };
        let line = Line::about("drop of its leads at that current", drop, Dimension::VOLTAGE);
        let seen = left.map_or_else(String::new, |left| {
            format!(
                ": when the source reaches its voltage the pack has {}, and takes the rest more slowly",
                show(left, Dimension::VOLTAGE)
            )
        });
        Some(line.and(&format!("{least}{seen}")))
    }

    /// Why the current to set is not the rated one.
    fn why_this_much(&self, set: f64) -> String {
        let needed = self.judged.needed.unwrap_or(set);
        let amperes = |value: f64| show(value, Dimension::CURRENT);
        let more = if set > needed {
            format!(", as the loads are set; {} would do", amperes(needed))
        } else {
            String::new()
        };
        match self.judged.uncertainty {
            Some(u) if u > 0.0 => {
                format!("{more}: a reading of it is uncertain by {} A (k = 2)", significant(u, 2))
            }
            Some(_) => more,
            None => {
                format!("{more}; no instrument with a known accuracy reads it, so nothing is added for that")
            }
        }
    }

    /// How the current is shared out.
    fn shares(&self) -> Vec<Line> {
        let mut lines = Vec::new();
        for share in &self.judged.shares {
            let name = format!("share of {}", share.name);
            lines.push(match (share.current, share.each) {
                (Some(all), Some(each)) if share.count > 1 => {
                    let more = format!(" over {}, {} each", share.count, show(each, Dimension::CURRENT));
                    Line::of(&name, all, Dimension::CURRENT).and(&more)
                }
                (Some(all), _) => Line::of(&name, all, Dimension::CURRENT),
                (None, _) => Line::words(&name, "does not follow: what the loads take is not recorded"),
            });
        }
        if let Some(equal) = self.equal {
            lines.push(match equal.number {
                1 => Line::words("loads", "one such load takes it"),
                number => Line::words(
                    "loads",
                    &format!(
                        "{number} such loads in parallel, {} each",
                        show(equal.each, Dimension::CURRENT)
                    ),
                ),
            });
        }
        if self.judged.shares.is_empty() && self.equal.is_none() {
            lines.push(Line::words(
                "loads",
                "none recorded: say under [[rig.load]] what each takes, or give --load-power and --load-current",
            ));
        }
        lines
    }

    fn cold_charge(&self) -> Planned {
        let record = self.basis.record;
        let claims = &record.claims;
        let mut settings = Vec::new();
        let limit = claims.charge_temperature_min.quantity().map(|quantity| (quantity.value, "claimed"));
        let limit = limit.or_else(|| {
            let usual = self.basis.limits.get("charge_temperature")?;
            Some((usual.value(), "usual, not recorded"))
        });
        if let Some((limit, whence)) = limit {
            let temperature = |name: &str, value| Line::of(name, value, Dimension::TEMPERATURE);
            settings.push(temperature("charging is to be blocked below", limit).and(&format!(" ({whence})")));
            settings.push(temperature("cool the cells to", limit - BELOW_LIMIT).and(" or lower"));
        }
        if let Some(capacity) = claims.capacity.quantity() {
            let current = capacity.value / 3600.0 * COLD_RATE;
            let rate = significant(COLD_RATE, 2);
            settings.push(
                Line::of("charge current to offer", current, Dimension::CURRENT).and(&format!(" ({rate} C)")),
            );
        }
        let with_heater = claims.heater.yes() == Some(true) || claims.heater_power.quantity().is_some();
        if with_heater {
            self.heater(claims.heater_power.quantity(), &mut settings);
        }
        let mut steps = texts(&[
            "Discharge the pack to about half, so that it would take the charge.",
            "Cool it with a temperature sensor on a cell, or on the terminals where the pack is closed, until it no longer \
             changes: count on a night.",
            "Start the log, offer the charge current, and watch the ammeter.",
            "When current flows for more than a minute while the cells are cold, stop: it is not blocked.",
            "When it is blocked, leave the source on, let the pack warm up in the room, and log when the charge is released.",
        ]);
        if with_heater {
            steps.push(
                "A claimed heater draws current while the charge is blocked: that is not a charge. Tell them apart by the cells' \
                 voltage and by the heater's power."
                    .to_owned(),
            );
        }
        let claim = match claims.low_temperature_charge_cutoff.yes() {
            Some(true) => "The papers claim that charging is blocked in the cold; nothing recorded shows it.",
            Some(false) => {
                "Nobody claims that charging is blocked in the cold: the test may charge cold cells. Weigh whether it is worth it."
            }
            None => {
                "Whether charging is claimed to be blocked in the cold is not recorded (low_temperature_charge_cutoff in [claims])."
            }
        };
        steps.insert(0, claim.to_owned());
        Planned {
            id: "cold-charge",
            title: "Cold charge, last".to_owned(),
            settings,
            steps,
            note: texts(&[
                "temperature of the cells at the start, when the charge is released, and each ten minutes between",
                "current while it is blocked, and after",
                "what the gauge and the source say",
            ]),
            cautions: vec![
                "Charging a lithium-ion cell below 0 °C plates lithium: the damage is lasting and cannot be seen. That is why this \
                 test comes last, at a small current."
                    .to_owned(),
                "Water condenses in a cold pack. Do not open it, and do not load it, before it is dry and at room temperature."
                    .to_owned(),
                FIRE_WATCH.to_owned(),
            ],
        }
    }

    fn heater(&self, power: Option<&Quantity>, settings: &mut Vec<Line>) {
        let Some(power) = power else {
            settings.push(Line::words("heater", "claimed, its power is not (heater_power in [claims])"));
            return;
        };
        settings.push(Line::recorded("claimed power of the heater", power));
        if let Some(nominal) = self.basis.plan.nominal {
            let current = power.value / nominal;
            settings.push(Line::of("its current at nominal voltage", current, Dimension::CURRENT));
        }
        let record = self.basis.record;
        let mass = record.inspection.mass.quantity().or(record.claims.mass.quantity());
        let heat = self.basis.limits.get("cell_heat").map(|limit| limit.value());
        if let (Some(mass), Some(heat)) = (mass, heat) {
            let energy = mass.value * heat * HEATER_RISE;
            let time: Option<f64> = warm_up(energy, power.value);
            if let Some(time) = time {
                settings.push(
                    Line::of("it warms the pack by 10 K in, at least", time, Dimension::TIME)
                        .and(" (the whole mass as cells, no losses)"),
                );
            }
        }
    }
}

/// "(2.5 V a cell)", where the number of cells is known.
fn per_cell(cell: Option<f64>) -> String {
    cell.map_or_else(String::new, |cell| format!(" ({} a cell)", show(cell, Dimension::VOLTAGE)))
}
