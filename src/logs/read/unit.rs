//! Units as logs write them, beyond the spellings of a record: by name, in capitals, with or without dots.

use crate::units::{Dimension, Unit, find_unit};

pub(super) const AMPERE_SECOND: Unit = Unit { dimension: Dimension::CHARGE, factor: 1.0, offset: 0.0 };

/// Headers of a column of units.
pub(super) const COLUMN: &str = "unit units uom einheit";

/// Units for messages.
pub(super) const UNITS_EXAMPLES: &str = "V, mV, A, mA, W, Ah, Wh, °C, °F, %, s, min or h";

/// A unit with a number before it, such as "10 mA" or "0.1 degC": what one count of an instrument stands for.
pub(super) fn multiple_of(spelling: &str) -> Option<Unit> {
    let spelling = spelling.trim();
    let digits = spelling.find(|c: char| !(c.is_ascii_digit() || c == '.')).unwrap_or(spelling.len());
    let (number, unit) = spelling.split_at(digits);
    if number.is_empty() || spelling == "1" {
        return unit_of(spelling);
    }
    let times: f64 = number.parse().ok().filter(|times| *times > 0.0)?;
    let unit = unit_of(unit)?;
    Some(Unit { factor: unit.factor * times, offset: unit.offset / times, ..unit })
}

/// A unit by its symbol or by its name.
pub(super) fn unit_of(spelling: &str) -> Option<Unit> {
    let spelling = spelling.trim();
    if spelling.is_empty() || spelling.len() > 20 {
        return None;
    }
    // "A.h", "A·h", "A*h", "A h" and "Amp-hr" are all the same; so are "deg C" and "deg. C". Of the two
    // units of charge that a log has, "A.s" must not become milliseconds or the like.
    let lower: String =
        spelling.to_lowercase().chars().filter(|c| !matches!(c, ' ' | '.' | '·' | '*' | '-' | '_')).collect();
    let symbol = match lower.as_str() {
        "volt" | "volts" | "vdc" | "vdcs" | "voltdc" | "voltsdc" => "V",
        "millivolt" | "millivolts" | "mvdc" | "mvolt" | "mvolts" => "mV",
        // In capitals throughout, as some instruments write: no battery has megavolts.
        "mv" => "mV",
        "kilovolt" | "kilovolts" | "kv" => "kV",
        "amp" | "amps" | "ampere" | "amperes" | "adc" | "ampsdc" | "ampdc" => "A",
        "milliamp" | "milliamps" | "milliampere" | "milliamperes" | "ma" | "madc" | "mamp" | "mamps" => "mA",
        "kiloamp" | "kiloamps" | "kiloampere" | "ka" => "kA",
        "microamp" | "microamps" | "microampere" | "uamp" | "uamps" => "uA",
        "watt" | "watts" => "W",
        "milliwatt" | "milliwatts" | "mwatt" | "mwatts" => "mW",
        "kilowatt" | "kilowatts" | "kw" => "kW",
        "s" | "sec" | "secs" | "second" | "seconds" | "sek" => "s",
        "ms" | "msec" | "millis" | "millisecond" | "milliseconds" => "ms",
        "us" | "µs" | "μs" | "usec" | "micros" | "microsecond" | "microseconds" => "us",
        "ns" | "nsec" | "nanosecond" | "nanoseconds" => "ns",
        "min" | "mins" | "minute" | "minutes" => "min",
        "h" | "hr" | "hrs" | "hour" | "hours" => "h",
        "day" | "days" => "d",
        "celsius" | "degc" | "°c" | "ºc" | "˚c" | "\u{2103}" | "degreecelsius" | "degreescelsius"
        | "degreec" | "degreesc" | "gradc" | "cel" => "°C",
        "fahrenheit" | "degf" | "°f" | "ºf" | "˚f" | "\u{2109}" | "f" | "degreefahrenheit"
        | "degreesfahrenheit" | "degreesf" => "°F",
        "kelvin" => "K",
        "ah" | "amphr" | "amphrs" | "amphour" | "amphours" | "amperehour" | "amperehours" | "ahr" => "Ah",
        "mah" | "milliamphour" | "milliamphours" | "mahr" | "mamphr" | "mamphrs" | "mamphour"
        | "mamphours" => "mAh",
        "uah" | "µah" | "μah" => "uAh",
        "kah" => "kAh",
        "as" | "asec" | "amperesecond" | "coulomb" | "coulombs" => return Some(AMPERE_SECOND),
        "wh" | "watthour" | "watthours" | "watthr" | "watthrs" | "whr" => "Wh",
        "mwh" if !spelling.starts_with("MW") || spelling.ends_with('H') => "mWh",
        "kwh" => "kWh",
        "joule" | "joules" => "J",
        "kilojoule" | "kilojoules" | "kj" => "kJ",
        "percent" | "pct" | "%" => "%",
        "ohm" | "ohms" => "ohm",
        // Insulation is measured in megohms.
        "mohm" | "mohms" | "milliohm" | "milliohms" | "mω" if !spelling.starts_with('M') => "mohm",
        "1" => "",
        _ => spelling,
    };
    if symbol.is_empty() {
        return Some(Unit { dimension: Dimension::NONE, factor: 1.0, offset: 0.0 });
    }
    find_unit(symbol)
}
