//! How a temperature was taken off a part, and how far from the reading the part may have been.
//!
//! What is fixed to a part also sees the air beside it: it reads towards that air, never away from it, by a share of the
//! distance. The shares are limits of the rule book. Infrared on bare metal sees little of the metal and much of the room:
//! the part is at least as far from the air as it says, and how much farther is not known.

use std::collections::BTreeMap;

use super::{Figure, Work};
use crate::record::parts::{SensorFixing, TestLid};
use crate::units::{Amount, show_percent};

/// How far a part may have been from what its sensor showed, K: above it where it was warmer than the air, below it where
/// it was colder.
#[derive(Debug, Clone, PartialEq)]
pub struct FixedRange {
    /// Below the reading; infinite where no bound is known.
    pub below: f64,
    /// Above the reading; infinite where no bound is known.
    pub above: f64,
    /// Why, in words; empty where the fixing is not recorded and nothing is added.
    pub basis: String,
}

/// What a sensor may miss, as a share of its distance from the air; infinite for infrared on bare metal, nothing where the
/// fixing is not recorded.
pub(super) fn missed(limits: &BTreeMap<String, Amount>, fixed: Option<SensorFixing>) -> f64 {
    let limit = match fixed {
        None => return 0.0,
        Some(SensorFixing::Infrared) => return f64::INFINITY,
        Some(SensorFixing::Clamped) => "clamped_sensor",
        Some(SensorFixing::Soldered) => "soldered_sensor",
        Some(SensorFixing::Taped) => "taped_sensor",
        Some(SensorFixing::InfraredMatt) => "infrared_on_matt",
    };
    // Without its limit a sensor shows no more than the bare metal does.
    limits.get(limit).map_or(f64::INFINITY, Amount::value)
}

/// The range of a reading, K, by how its sensor was fixed; without the temperature of the `air`, K, by that of the book.
pub fn fixed_range(
    limits: &BTreeMap<String, Amount>,
    fixed: Option<SensorFixing>,
    kelvin: f64,
    air: Option<f64>,
) -> FixedRange {
    let share = missed(limits, fixed);
    let air = air.or_else(|| limits.get("outer_ambient").map(Amount::value)).unwrap_or(kelvin);
    let distance = kelvin - air;
    // No distance is no share of anything, even of one without a bound.
    let far = |distance: f64| if distance > 0.0 { share * distance } else { 0.0 };
    let basis = fixed.map_or(String::new(), |fixed| {
        if share.is_finite() {
            format!(
                "{}: may read up to {} of its distance from the air too near to it",
                fixed.word(),
                show_percent(share)
            )
        } else {
            format!("{} on bare metal: the part is at least as far from the air as it says", fixed.word())
        }
    });
    FixedRange { below: far(-distance), above: far(distance), basis }
}

impl Work<'_> {
    /// Tells how the pack was covered and how sensors were fixed, and what that means.
    pub(super) fn how_measured(&mut self) {
        let lid = self.test.lid.known().and_then(|lid| match lid {
            TestLid::On => None,
            TestLid::Off => Some("off: closed, the parts get warmer than they did here"),
            TestLid::Wrapped => Some("wrapped: in use, the parts stay cooler than they did here"),
        });
        if let Some(lid) = lid {
            self.figure(Figure::words("lid", lid).detailed());
        }
        let limits = self.physics.limits;
        let of_sensors = self.test.sensor.iter().map(|sensor| (sensor.part.text(), sensor.fixed.known()));
        let of_readings = self.test.reading.iter().map(|reading| (reading.of.text(), reading.fixed.known()));
        for (part, fixed) in of_sensors.chain(of_readings) {
            if let (Some(part), Some(_)) = (part, fixed) {
                let basis = fixed_range(limits, fixed, 0.0, Some(0.0)).basis;
                self.figure(Figure::words(&format!("sensor on {part}"), basis).detailed());
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::rules::Book;

    /// One fifth for tape, 3 % for solder (the book's limits), no bound for infrared on bare metal.
    #[test]
    fn a_sensor_reads_towards_the_air() {
        let limits = Book::built_in().unwrap().limit_amounts();
        let of = |fixed, celsius: f64, air: Option<f64>| {
            let found = fixed_range(&limits, fixed, 273.15 + celsius, air.map(|air| 273.15 + air));
            ((1e6 * found.below).round() / 1e6, (1e6 * found.above).round() / 1e6)
        };
        for (fixed, celsius, air, wanted) in [
            (None, 60.0, Some(20.0), (0.0, 0.0)),
            (Some(SensorFixing::Taped), 60.0, Some(20.0), (0.0, 8.0)),
            (Some(SensorFixing::Soldered), 60.0, Some(20.0), (0.0, 1.2)),
            (Some(SensorFixing::Taped), -10.0, Some(20.0), (6.0, 0.0)),
            (Some(SensorFixing::Taped), 65.0, None, (0.0, 8.0)),
            (Some(SensorFixing::Infrared), 60.0, Some(20.0), (0.0, f64::INFINITY)),
            (Some(SensorFixing::Infrared), 20.0, Some(20.0), (0.0, 0.0)),
        ] {
            assert_eq!(of(fixed, celsius, air), wanted, "{fixed:?} {celsius} {air:?}");
        }
    }
}
