//! What the rating of a fuse or a circuit breaker is worth in the air of the pack, and how long it holds.

use uom::si::electric_current::ampere;
use uom::si::f64::ElectricCurrent;

use crate::judge::facts::answers::Answers;
use crate::judge::facts::block::Block;
use crate::judge::facts::network::stand_in::RATING_LOST;
use crate::judge::facts::worker::{Worker, line};
use crate::judge::facts::{Answer, Facts, Missing, Side};
use crate::physics::ZERO_CELSIUS;
use crate::record::parts::{Element, ElementKind};
use crate::units::{Amount, Dimension, SourceId, significant};

/// Source of the range of this module.
const SOURCE: SourceId = Block::Rating.first();
/// Temperature of the air in which ratings are tested, K (UL 248, 25 °C, as quoted by guides).
const TESTED_AT: f64 = ZERO_CELSIUS + 25.0;

/// Adds what the rating of a device that clears overcurrents is worth in the pack.
pub(super) fn in_the_pack(facts: &Facts<'_>, element: &Element, values: &mut Answers) {
    match element.kind() {
        Some(ElementKind::Fuse) => {
            values.derive("element.derated_rating", || derated(facts));
            values.derive("element.holds_for", || holds_for(facts, element));
        }
        // Contacts warm up whatever the release feels.
        Some(ElementKind::CircuitBreaker) => values.derive("element.derated_rating", || derated(facts)),
        Some(
            ElementKind::CellStack
            | ElementKind::Busbar
            | ElementKind::Cable
            | ElementKind::Joint
            | ElementKind::ThermalCutoff
            | ElementKind::Contactor
            | ElementKind::Shunt
            | ElementKind::Bms
            | ElementKind::Connector
            | ElementKind::Terminal,
        )
        | None => {}
    }
}

/// The rating in the air inside after one full discharge at the rated current. Cooler air than that of the test adds
/// nothing to it.
fn derated(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let rating = work.amount("element.rating");
    let [rating] = work.all([rating])?;
    work.step(|| line("rating", &rating));
    if facts.derived.is_alone() {
        return work.done(rating);
    }
    let hottest = work.amount("limit.post_temperature");
    let [hottest] = work.all([hottest])?;
    let (high, mut missing) = air(facts, &mut work, hottest.value());
    let (keeps, lost) = RATING_LOST.ends;
    work.assume(format!("{}: a range ({})", RATING_LOST.name, RATING_LOST.basis));
    work.step(|| {
        format!(
            "air inside at up to {} °C; a rating holds at 25 °C and loses at most {} % per kelvin",
            significant(high - ZERO_CELSIUS, 2),
            100.0 * lost
        )
    });
    let left = |lost: f64| (1.0 - lost * (high - TESTED_AT).max(0.0)).max(0.0);
    // A current equal to the rating is not above it.
    let share = Amount::between(left(lost), 1.001 * left(keeps), SOURCE, Dimension::NONE);
    missing.push(Missing::refused("what its data sheet leaves of its rating in air that warm"));
    work.bounded(Side::Within, missing, false);
    work.done(Amount { number: rating.number.times(&share.number), dimension: Dimension::CURRENT })
}

/// How warm the air inside may be at the most, K, and what is missing to know it better. Where that is not known it is not
/// hotter than a cell's post may be: hotter, the posts are over their limit.
fn air(facts: &Facts<'_>, work: &mut Worker<'_>, hottest: f64) -> (f64, Vec<Missing>) {
    match facts.worked("path.air_temperature_at_rated") {
        Some(Ok(worked)) => {
            work.claimed(&worked.claims);
            worked.assumed.iter().for_each(|assumed| work.assume(assumed.clone()));
            let amount = worked.value.amount();
            let high = amount.map_or(hottest, |air| air.value() + air.number.expanded());
            match &worked.bound {
                Some(bound) => (high.max(hottest), bound.missing.clone()),
                None => (high, Vec::new()),
            }
        }
        Some(Err(missing)) => (hottest, missing.clone()),
        None => (hottest, vec![Missing::refused("the air inside was not worked out")]),
    }
}

/// The time for which a fuse surely carries the current at which the BMS trips.
fn holds_for(facts: &Facts<'_>, element: &Element) -> Answer {
    let mut work = Worker::new(facts);
    let (trip, printed) = (work.amount("bms.overcurrent_trip"), work.amount("element.rating"));
    let [trip, printed] = work.all([trip, printed])?;
    let warm = derated(facts)?;
    work.rests_on(&warm);
    let least = warm.value.amount().map_or(0.0, |warm| warm.value() - warm.number.expanded());
    let multiple = (trip.value() + trip.number.expanded()) / least;
    work.step(|| format!("at most {} times the rating in the air inside", significant(multiple, 3)));
    let fuse = element.fuse.known();
    match fuse.and_then(|fuse| fuse.holds_for(ElectricCurrent::new::<ampere>(printed.value()), multiple)) {
        Some(held) => work.done(Amount::exact(held.value, Dimension::TIME)),
        None => Err(vec![Missing::refused(&format!(
            "how soon the fuse may open at {} times its rating: its time-current curve was not read",
            significant(multiple, 3)
        ))]),
    }
}
