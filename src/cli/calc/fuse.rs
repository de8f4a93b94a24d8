//! `calc fuse`: what a link responds to, the smallest rating for a load, what a standard fixes.

use std::sync::Arc;

use uom::si::electric_current::ampere;
use uom::si::electric_potential::volt;
use uom::si::f64::ElectricCurrent;
use uom::si::time::second;

use super::arg::{self, Link, THERMAL_CUTOFF, Worded};
use super::sheet::{Sheet, figure};
use super::{Worked, help};
use crate::judge::rules::{Book, Outcome};
use crate::physics::fuse::{self, FuseKind, Usual};
use crate::units::{Amount, Dimension, Quantity, Uncertain, show};

const CAUTION: &str = "a fuse that cannot interrupt the prospective short-circuit current, or has no DC rating for the \
pack's voltage, can burst and keep an arc. Never take a rating from the look of a part: read it. A calculation never \
says that a part or a pack is safe; local codes and licensed practice come first.";

/// Multiple of the rating at which UL 248-1 sets its first clearing gate.
const GATE: f64 = 1.35;

#[derive(Debug, clap::Args)]
#[command(after_help = help(
    "underlid calc fuse \"class T\" --rating \"200 A\" --current \"150 A\" --voltage \"29.2 V\" --prospective \"5.4 kA\""
))]
pub(super) struct Fuse {
    /// The kind: class T, strip SF30, strip SF51, bolt-down, marine terminal, semiconductor, blade, thermal cut-off, unknown
    #[arg(value_name = "KIND", value_parser = arg::fuse_kind)]
    kind: Worded<Link>,
    /// Rated current printed on it
    #[arg(long, value_name = "CURRENT", value_parser = arg::of(Dimension::CURRENT))]
    rating: Option<Quantity>,
    /// Continuous current of the load
    #[arg(long, value_name = "CURRENT", value_parser = arg::of(Dimension::CURRENT))]
    current: Option<Quantity>,
    /// Highest voltage of the pack, at the end of charging
    #[arg(long, value_name = "VOLTAGE", value_parser = arg::of(Dimension::VOLTAGE))]
    voltage: Option<Quantity>,
    /// Prospective short-circuit current where the fuse sits, from `calc short-circuit`
    #[arg(long, value_name = "CURRENT", value_parser = arg::of(Dimension::CURRENT))]
    prospective: Option<Quantity>,
    /// DC voltage rating read from the fuse or its data sheet
    #[arg(long, value_name = "VOLTAGE", value_parser = arg::of(Dimension::VOLTAGE))]
    rated_voltage: Option<Quantity>,
    /// DC interrupting rating read from the fuse or its data sheet
    #[arg(long, value_name = "CURRENT", value_parser = arg::of(Dimension::CURRENT))]
    interrupting: Option<Quantity>,
    /// Ampacity of the weakest conductor it is to protect, from `calc busbar` or `calc cable`
    #[arg(long, value_name = "CURRENT", value_parser = arg::of(Dimension::CURRENT))]
    ampacity: Option<Quantity>,
}

impl Fuse {
    pub(super) fn sheet(&self, book: &Arc<Book>) -> Worked {
        let kind = self.kind.is;
        let mut sheet =
            Sheet::new(book, "fuse", "Fuse: what it responds to and what it is good for", CAUTION);
        sheet.put_word("kind", self.kind.word);
        let mut put = |name: &str, given: &Option<Quantity>| given.as_ref().map(|q| sheet.put(name, q));
        let rating = put("rating", &self.rating);
        let current = put("continuous current", &self.current);
        let voltage = put("highest voltage", &self.voltage);
        let prospective = put("prospective current", &self.prospective);
        let rated_voltage = put("voltage rating", &self.rated_voltage);
        let interrupting = put("interrupting rating", &self.interrupting);
        let ampacity = put("ampacity", &self.ampacity);
        let usual = match kind {
            Link::Fuse(kind) => kind.usual(),
            Link::ThermalCutoff => fuse::THERMAL_CUTOFF,
            Link::Unknown => Usual {
                voltage: None,
                interrupting: None,
                source: "its kind could not be told: read it from the fuse or its data sheet",
            },
        };
        sheet.note(format!("what the standard says: {}", usual.source));
        let what = "it protects against overcurrent and short circuit";
        match kind {
            Link::ThermalCutoff => {
                let because = "it opens on temperature (IEC 60691): the amperes printed on it are what its contacts or link carry";
                sheet.finds(what, "responds to current", Outcome::FallsShort, because);
                sheet.note(format!(
                    "a {THERMAL_CUTOFF} is no overcurrent protection, whatever current is printed on it; a fuse is needed beside it"
                ));
                return Ok(sheet);
            }
            Link::Unknown => {
                let because = "the kind could not be told: read the marking, or ask for the data sheet";
                sheet.finds(what, "responds to current", Outcome::NotDecided, because);
            }
            Link::Fuse(_) => {
                sheet.note("responds to current: it melts on overcurrent");
            }
        }
        sheet.method(&fuse::METHOD);
        if let Some(current) = &current {
            let factor = sheet.limit("load factor", "fuse_load_factor")?;
            let smallest = sheet.step(
                "smallest rating for the load",
                "rating ≥ load factor · continuous current",
                format!("{} × {}", figure(&factor), figure(current)),
                factor.number.times(&current.number),
                Dimension::CURRENT,
            );
            sheet.note(
                "take the next size that is made, no more than the ampacity of every conductor it protects",
            );
            if let Some(rating) = &rating {
                sheet.at_least("the rating suits the load", rating, &smallest, fuse::METHOD.source);
            }
        }
        if let Some(rating) = &rating {
            gate(&mut sheet, kind, rating);
        }
        if let (Some(ampacity), Some(rating)) = (&ampacity, &rating) {
            let what = "the rating protects the conductor";
            sheet.at_least(what, ampacity, rating, "rating ≤ ampacity of every conductor it protects");
        }
        let fixed_voltage = usual.voltage.map(|v| Amount::exact(v.get::<volt>(), Dimension::VOLTAGE));
        let fixed_current = usual.interrupting.map(|i| Amount::exact(i.get::<ampere>(), Dimension::CURRENT));
        let source = usual.source;
        rated(
            &mut sheet,
            "the voltage rating covers the pack",
            rated_voltage,
            fixed_voltage,
            voltage,
            source,
        );
        rated(
            &mut sheet,
            "the interrupting rating covers the short circuit",
            interrupting,
            fixed_current,
            prospective,
            source,
        );
        Ok(sheet)
    }
}

/// What the standard says of the time to open.
fn gate(sheet: &mut Sheet, kind: Link, rating: &Amount) {
    let current = ElectricCurrent::new::<ampere>(rating.value());
    let fuse: Option<FuseKind> = match kind {
        Link::Fuse(kind) => Some(kind),
        Link::ThermalCutoff | Link::Unknown => None,
    };
    match fuse.and_then(|fuse| fuse.clearing_gate(current, GATE)) {
        Some((_, longest)) => {
            sheet.step(
                "current of the first clearing gate",
                "I = 1.35 · rating",
                format!("1.35 × {}", figure(rating)),
                rating.number.scaled(GATE),
                Dimension::CURRENT,
            );
            let time = show(longest.get::<second>(), Dimension::TIME);
            sheet
                .note(format!("at 135 % of its rating it opens within {time} (UL 248-1; times from memory)"));
        }
        None => {
            sheet.note("no time-current gate is known here for this kind and rating: read the maker's curve");
        }
    }
}

/// Holds a rating, read from the part or fixed by a standard, against what the pack asks for.
fn rated(
    sheet: &mut Sheet,
    what: &str,
    read: Option<Amount>,
    fixed: Option<Amount>,
    asked: Option<Amount>,
    source: &'static str,
) {
    let Some(asked) = asked else { return };
    match (read, fixed) {
        (Some(read), _) => sheet.at_least(what, &read, &asked, "as read from the fuse or its data sheet"),
        (None, Some(fixed)) => sheet.at_least(what, &fixed, &asked, source),
        (None, None) => {
            let needed = Amount { number: Uncertain::exact(asked.value()), ..asked };
            let requirement = format!("? ≥ {}", needed.show());
            sheet.finds(what, &requirement, Outcome::NotDecided, source);
        }
    }
}
