//! Reading quantities from text: a number, a unit, an uncertainty, or several lengths.
//!
//! The number is read in [`number`], wire gauges in [`gauge`]. What could mean two things is refused: a comma before three
//! digits, a missing unit, a word that is nearly one.

mod gauge;
mod number;

use std::ops::Range;

use thiserror::Error;

use self::gauge::awg;
use super::unit::{Unit, find_unit, unit_spellings};
use super::{Dimension, OneSided, Quantity};
use crate::units::words::hint;

pub use self::gauge::awg_square_millimetres;
pub(super) use self::number::read_number;

/// Why a text is not a quantity of the wanted dimension, and where in the text.
#[derive(Debug, Clone, PartialEq, Error)]
#[error("{message}")]
pub struct NotAQuantity {
    /// What is wrong and what was expected.
    pub message: String,
    /// The bytes of the text that are wrong.
    pub at: Range<usize>,
    pub example: String,
}

impl NotAQuantity {
    fn new(message: impl Into<String>, at: Range<usize>, example: impl Into<String>) -> Self {
        Self { message: message.into(), at, example: example.into() }
    }
}

/// Longest text read as a quantity; everything the trade writes is far shorter.
const LONGEST: usize = 200;

/// Within what share of it a value "about" so large lies: what is judged by eye (common practice, no source).
const ABOUT: f64 = 0.2;
/// As [`ABOUT`], for a point on a scale of temperature, K.
const ABOUT_KELVIN: f64 = 5.0;

/// Reads a quantity of any dimension, or a range of one.
///
/// # Errors
/// [`NotAQuantity`] says what is wrong, where, and shows a right example.
pub fn parse(text: &str) -> Result<Quantity, NotAQuantity> {
    let trimmed = checked(text)?;
    let whole = |quantity: Quantity| Quantity { text: trimmed.to_owned(), ..quantity };
    let behind = |words: &[&str]| words.iter().find_map(|word| trimmed.strip_prefix(word)).map(str::trim);
    let alone = |text: &str| match plain(text)? {
        Quantity { expanded: Some(_), .. } => {
            Err(NotAQuantity::new("a range has no uncertainty of its own", 0..trimmed.len(), "2 to 4 mm"))
        }
        quantity => Ok(quantity),
    };
    for (words, end) in
        [(["at least ", "≥", ">="], OneSided::AtLeast), (["at most ", "≤", "<="], OneSided::AtMost)]
    {
        if let Some(rest) = behind(&words) {
            return Ok(whole(Quantity { bound: Some(end), ..alone(rest)? }));
        }
    }
    if let Some(rest) = behind(&["about ", "~"]) {
        let quantity = alone(rest)?;
        let half = if quantity.dimension.point { ABOUT_KELVIN } else { ABOUT * quantity.value.abs() };
        return Ok(whole(Quantity { expanded: Some(half), ..quantity }));
    }
    let Some((low, high)) = trimmed.split_once(" to ").or_else(|| trimmed.split_once('–')) else {
        return plain(trimmed);
    };
    let high = alone(high.trim())?;
    let low = match shared_unit(low, &high.text) {
        Some((value, unit)) => (value + unit.offset) * unit.factor,
        None => match alone(low.trim())? {
            low if low.dimension == high.dimension => low.value,
            low => {
                let (one, other) = (low.dimension.name(), high.dimension.name());
                let message = format!("the range begins with {one} and ends with {other}");
                return Err(NotAQuantity::new(message, 0..trimmed.len(), "2 to 4 mm"));
            }
        },
    };
    if low > high.value {
        let message = "a range begins with its lower end";
        return Err(NotAQuantity::new(message, 0..trimmed.len(), "2 to 4 mm"));
    }
    let half = 0.5 * (high.value - low);
    Ok(whole(Quantity { value: low + half, expanded: Some(half), ..high }))
}

/// Reads a quantity that is no range.
fn plain(trimmed: &str) -> Result<Quantity, NotAQuantity> {
    let trimmed = checked(trimmed)?;
    let (body, spread) = split_spread(trimmed);
    // "3.02 ± 0.05 mm": the unit stands once, behind the uncertainty.
    let (value, unit) = match spread.and_then(|s| shared_unit(body, s.text)) {
        Some(shared) => shared,
        None => read_body(body)?,
    };
    let expanded = match spread {
        Some(spread) => Some(read_spread(&spread, value, unit)?),
        None => None,
    };
    let si = (value + unit.offset) * unit.factor;
    if !si.is_finite() {
        return Err(NotAQuantity::new("the number is too large", 0..trimmed.len(), "250 A"));
    }
    if unit.dimension == Dimension::TEMPERATURE && si < 0.0 {
        return Err(NotAQuantity::new("that is below absolute zero", 0..trimmed.len(), "-10 degC"));
    }
    Ok(Quantity { value: si, dimension: unit.dimension, expanded, bound: None, text: trimmed.to_owned() })
}

/// Reads a size of `N` lengths, such as `"25 x 3 mm"`, `"1 in x 1/8 in"` or `"25 x 3 mm ± 0.1 mm"`.
///
/// An uncertainty at the end holds for every length; a length may also carry its own.
///
/// # Errors
/// [`NotAQuantity`], as for [`parse`].
pub fn parse_size<const N: usize>(text: &str) -> Result<[Quantity; N], NotAQuantity> {
    let example = if N == 2 { "25 x 3 mm" } else { "174 x 72 x 207 mm" };
    let trimmed = checked(text)?;
    let parts: Vec<&str> = split_sides(trimmed);
    let whole = 0..trimmed.len();
    if parts.len() != N {
        let message = format!("expected {N} lengths with an x between them, found {}", parts.len());
        return Err(NotAQuantity::new(message, whole, example));
    }
    let last = parts.last().copied().unwrap_or_default();
    let (last_body, last_spread) = split_spread(last);
    let shared_spread =
        last_spread.filter(|_| parts.iter().rev().skip(1).all(|p| split_spread(p).1.is_none()));
    let digits = last_body.rfind(|c: char| c.is_ascii_digit()).map_or(0, |at| at + 1);
    let last_unit = last_body.get(digits..).unwrap_or_default().trim();
    let mut sides = Vec::with_capacity(N);
    for part in &parts {
        let (body, own) = split_spread(part);
        let mut side = body.trim().to_owned();
        if read_number(&side).is_ok_and(|(_, used)| used == side.len()) {
            side.push(' ');
            side.push_str(last_unit);
        }
        if let Some(spread) = own.or(shared_spread) {
            side.push_str(" ± ");
            side.push_str(spread.text);
        }
        let read = parse(&side).map_err(|e| NotAQuantity::new(e.message, whole.clone(), example))?;
        if read.bound.is_some() {
            let message = "a side of a size is a length or a range with both ends";
            return Err(NotAQuantity::new(message, whole, "25 x 2 to 4 mm"));
        }
        if read.dimension != Dimension::LENGTH {
            let message = format!("`{side}` is {}, expected a length", read.dimension.name());
            return Err(NotAQuantity::new(message, whole, example));
        }
        sides.push(read);
    }
    sides.try_into().map_err(|_| NotAQuantity::new("expected lengths", whole, example))
}

fn checked(text: &str) -> Result<&str, NotAQuantity> {
    let trimmed = text.trim();
    if trimmed.is_empty() {
        return Err(NotAQuantity::new("nothing is written here", 0..0, "250 A"));
    }
    if trimmed.len() > LONGEST {
        let message = format!("a quantity is at most {LONGEST} bytes long");
        return Err(NotAQuantity::new(message, 0..trimmed.len(), "250 A"));
    }
    Ok(trimmed)
}

/// Splits at `x`, `×` or `*` between two lengths, or at the word `by`.
fn split_sides(text: &str) -> Vec<&str> {
    let mut parts = Vec::new();
    let mut start = 0;
    let mut previous_is_letter = false;
    for (at, c) in text.char_indices() {
        let separator = match c {
            '×' | '*' => true,
            // An x inside a word is not a separator; every unit of length lacks one.
            'x' | 'X' => {
                let after = text[at + 1..].trim_start();
                !previous_is_letter && after.starts_with(|n: char| n.is_ascii_digit() || n == '.')
            }
            _ => false,
        };
        if separator {
            parts.push(text[start..at].trim());
            start = at + c.len_utf8();
        }
        previous_is_letter = c.is_alphabetic();
    }
    parts.push(text[start..].trim());
    if parts.len() == 1 { text.split(" by ").map(str::trim).collect() } else { parts }
}

#[derive(Clone, Copy)]
struct Spread<'a> {
    text: &'a str,
    at: usize,
}

fn split_spread(text: &str) -> (&str, Option<Spread<'_>>) {
    for mark in ["±", "+/-", "+-"] {
        if let Some((body, spread)) = text.split_once(mark) {
            let at = body.len() + mark.len();
            let body = body.trim().trim_start_matches('(');
            return (body, Some(Spread { text: spread.trim(), at }));
        }
    }
    (text, None)
}

fn shared_unit(body: &str, spread: &str) -> Option<(f64, Unit)> {
    let body = body.trim();
    let (value, used) = read_number(body).ok()?;
    if used != body.len() {
        return None;
    }
    let (_, used) = read_number(spread).ok()?;
    let unit = find_unit(spread.get(used..)?.trim().trim_start_matches(')'))?;
    (unit.dimension != Dimension::NONE).then_some((value, unit))
}

fn read_spread(spread: &Spread<'_>, value: f64, unit: Unit) -> Result<f64, NotAQuantity> {
    let wrong = |message: String| {
        let at = spread.at..spread.at + spread.text.len();
        NotAQuantity::new(message, at, "3.02 mm ± 0.05 mm")
    };
    let (half_width, used) = read_number(spread.text)
        .map_err(|_| wrong("expected a number after ±, absolute or in percent".to_owned()))?;
    if half_width < 0.0 {
        return Err(wrong("an uncertainty cannot be negative".to_owned()));
    }
    let spelling = spread.text.get(used..).unwrap_or_default().trim().trim_start_matches(')').trim();
    let expanded = if spelling == "%" {
        if unit.dimension.point {
            return Err(wrong("a percentage of a temperature means nothing".to_owned()));
        }
        half_width / 100.0 * (value * unit.factor).abs()
    } else if spelling.is_empty() {
        half_width * unit.factor
    } else {
        let other = find_unit(spelling)
            .ok_or_else(|| wrong(format!("`{spelling}` is not a unit{}", suggestion(spelling))))?;
        // "25 °C ± 1 °C": behind ± a temperature unit is a step, never a point on the scale.
        let difference = Dimension { point: false, ..other.dimension };
        if difference != (Dimension { point: false, ..unit.dimension }) {
            let (left, right) = (unit.dimension.name(), other.dimension.name());
            return Err(wrong(format!("the value is {left}, its uncertainty is {right}")));
        }
        half_width * other.factor
    };
    if expanded.is_finite() { Ok(expanded) } else { Err(wrong("the number is too large".to_owned())) }
}

fn read_body(body: &str) -> Result<(f64, Unit), NotAQuantity> {
    if let [number, one] = split_sides(body)[..]
        && number.parse::<u8>().is_ok_and(|number| number > 1)
        && read_body(one).is_ok_and(|(_, unit)| unit.dimension == Dimension::AREA)
    {
        let message = format!(
            "several side by side: write the size of one, `{one}`, and how many there are, `count = {number}`"
        );
        return Err(NotAQuantity::new(message, 0..body.len(), one));
    }
    if let Some(area) = awg(body)? {
        return Ok((area, Unit { dimension: Dimension::AREA, factor: 1e-6, offset: 0.0 }));
    }
    let (value, used) = read_number(body)?;
    let spelling = body.get(used..).unwrap_or_default().trim();
    if let Some(unit) = find_unit(spelling) {
        return Ok((value, unit));
    }
    if let Some(seconds) = clock(body) {
        return Ok((seconds, Unit { dimension: Dimension::TIME, factor: 1.0, offset: 0.0 }));
    }
    let at = body.len() - spelling.len()..body.len();
    let message = format!("`{spelling}` is not a unit{}", suggestion(spelling));
    Err(NotAQuantity::new(message, at, "250 A"))
}

fn suggestion(spelling: &str) -> String {
    let named =
        [("amp", "A"), ("ampere", "A"), ("volt", "V"), ("vdc", "V"), ("watt", "W"), ("amp hour", "Ah")];
    let plain = spelling.to_lowercase();
    if let Some((_, unit)) = named.iter().find(|(name, _)| *name == plain.trim_end_matches('s')) {
        return format!("; did you mean `{unit}`?");
    }
    let known: Vec<String> = unit_spellings()
        .map(str::to_owned)
        .chain(["mΩ", "µΩ", "mm", "mm2", "kg", "mV", "kWh", "mAh"].map(str::to_owned))
        .collect();
    hint(spelling, known.iter().map(String::as_str))
}

/// "1 h 20 min", "1 min 30 s": a time in several units, largest first.
fn clock(body: &str) -> Option<f64> {
    let mut seconds = 0.0;
    let mut rest = body.trim();
    let mut smaller_than = f64::INFINITY;
    while !rest.is_empty() {
        let (value, used) = read_number(rest).ok()?;
        rest = rest.get(used..)?.trim_start();
        let end = rest.find(|c: char| !c.is_alphabetic()).unwrap_or(rest.len());
        let unit = find_unit(&rest[..end])?;
        if unit.dimension != Dimension::TIME || unit.factor >= smaller_than || value < 0.0 {
            return None;
        }
        smaller_than = unit.factor;
        seconds += value * unit.factor;
        rest = rest[end..].trim_start();
    }
    Some(seconds)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::units::show;

    #[test]
    fn several_wires_are_a_size_and_a_number() {
        for (text, one, number) in [("2 x 7 AWG", "7 AWG", 2), ("3×10 mm2", "10 mm2", 3)] {
            let wrong = parse(text).unwrap_err();
            let told = format!("`{one}`, and how many there are, `count = {number}`");
            assert!(wrong.message.ends_with(&told), "{}", wrong.message);
        }
        assert!(parse("2 x 10 kg").unwrap_err().message.contains("not a unit"));
    }

    #[test]
    fn spellings_of_the_trade() {
        let celsius = |c: f64| c + 273.15;
        let cases = [
            ("250 A", 250.0),
            ("0.25kA", 250.0),
            ("3 840 Wh", 3840.0 * 3600.0),
            ("1/8 in", 0.003_175),
            ("1 1/8 in", 0.028_575),
            ("1-1/8 in", 0.028_575),
            ("1.8 mΩ", 0.001_8),
            ("1.8 mohm", 0.001_8),
            ("150 Ah", 540_000.0),
            ("-20 degC", celsius(-20.0)),
            ("\u{2212}20 °C", celsius(-20.0)),
            ("33 degF", celsius(1.0 / 1.8)),
            ("30 K", 30.0),
            ("Δ54 °F", f64::NAN), // the delta belongs to the unit: see below
            ("54 Δ°F", 30.0),
            ("80 %", 0.8),
            ("0.2 C", 0.2 / 3600.0),
            ("1 h 20 min", 4800.0),
            ("90 min", 5400.0),
            ("1e3 A", 1000.0),
            ("12 N·m", 12.0),
        ];
        for (text, expected) in cases {
            match parse(text) {
                Ok(read) => {
                    assert!(
                        (read.value - expected).abs() <= 1e-12 * expected.abs(),
                        "{text}: {}",
                        read.value
                    );
                }
                Err(error) => assert!(expected.is_nan(), "{text}: {error}"),
            }
        }
    }

    /// Sizes in mm² as published in wire tables (ASTM B258, from memory): 4/0 = 107.2, 10 = 5.26.
    #[test]
    fn wire_gauges() {
        for (text, area) in [
            ("4/0 AWG", 107.2),
            ("AWG 4/0", 107.2),
            ("0000 AWG", 107.2),
            ("1/0 AWG", 53.49),
            ("0 AWG", 53.49),
            ("2 awg", 33.62),
            ("AWG10", 5.261),
        ] {
            let read = parse(text).unwrap();
            assert_eq!(read.dimension, Dimension::AREA, "{text}");
            assert!((read.value * 1e6 / area - 1.0).abs() < 1e-3, "{text}: {}", read.value * 1e6);
        }
    }

    #[test]
    fn uncertainty_absolute_percent_and_shared_unit() {
        for (text, expanded) in [
            ("3.02 mm ± 0.05 mm", 5e-5),
            ("3.02 mm +/- 0.05 mm", 5e-5),
            ("3.02 ± 0.05 mm", 5e-5),
            ("(3.02 ± 0.05) mm", 5e-5),
            ("3.02 mm ± 50 µm", 5e-5),
            ("148 A ± 2 %", 2.96),
            ("25 °C ± 1 °C", 1.0),
            ("25 °C ± 1 K", 1.0),
            ("77 °F ± 1.8 °F", 1.0),
        ] {
            let read = parse(text).unwrap_or_else(|e| panic!("{text}: {e}"));
            assert!((read.expanded.unwrap() / expanded - 1.0).abs() < 1e-9, "{text}");
        }
    }

    #[test]
    fn ranges() {
        for (text, value, expanded, bound) in [
            ("2 to 4 mm", 3e-3, Some(1e-3), None),
            ("2 mm to 4 mm", 3e-3, Some(1e-3), None),
            ("2–4 mm", 3e-3, Some(1e-3), None),
            ("20 to 25 °C", 295.65, Some(2.5), None),
            ("about 25 mm", 25e-3, Some(5e-3), None),
            ("about 20 °C", 293.15, Some(5.0), None),
            ("at least 2 mm", 2e-3, None, Some(OneSided::AtLeast)),
            ("≤ 20 mV", 20e-3, None, Some(OneSided::AtMost)),
            ("at most 2,5 mm", 2.5e-3, None, Some(OneSided::AtMost)),
            ("0,345 mm", 0.345e-3, None, None),
        ] {
            let read = parse(text).unwrap_or_else(|e| panic!("{text}: {e}"));
            assert!((read.value / value - 1.0).abs() < 1e-12, "{text}: {}", read.value);
            assert!((read.expanded.unwrap_or(0.0) - expanded.unwrap_or(0.0)).abs() < 1e-12, "{text}");
            assert_eq!((read.bound, read.text.as_str()), (bound, text));
        }
        for text in ["4 to 2 mm", "2 V to 4 mm", "at least", "about 3 mm ± 1 mm", "at least 2 x 3 mm"] {
            assert!(parse(text).is_err(), "{text}");
        }
        let [_, thickness] = parse_size::<2>("25 x 2 to 4 mm").unwrap();
        assert_eq!((thickness.value, thickness.expanded), (3e-3, Some(1e-3)));
        assert!(parse_size::<2>("25 x at least 2 mm").is_err());
    }

    #[test]
    fn sizes() {
        let millimetres = |text: &str| parse_size::<2>(text).map(|s| s.map(|q| q.value * 1e3));
        for (text, width, thickness) in [
            ("25 x 3 mm", 25.0, 3.0),
            ("25x3mm", 25.0, 3.0),
            ("25 mm × 3 mm", 25.0, 3.0),
            ("25 by 3 mm", 25.0, 3.0),
            ("1 in x 1/8 in", 25.4, 3.175),
            ("1 x 1/8 in", 25.4, 3.175),
            ("2.5 cm * 3 mm", 25.0, 3.0),
        ] {
            let [w, t] = millimetres(text).unwrap_or_else(|e| panic!("{text}: {e}"));
            assert!((w - width).abs() < 1e-9 && (t - thickness).abs() < 1e-9, "{text}: {w} {t}");
        }
        let sides = parse_size::<2>("25 x 3 mm ± 0.1 mm").unwrap();
        assert!(sides.iter().all(|s| (s.expanded.unwrap() - 1e-4).abs() < 1e-12));
        assert!(parse_size::<2>("25 mm").is_err());
        assert!(parse_size::<3>("174 x 72 x 207 mm").is_ok());
    }

    #[test]
    fn errors_say_what_was_expected() {
        let listing: Vec<String> = [
            "250",
            "2,000 A",
            "250 amps",
            "12 mHo",
            "",
            "0.1.2 V",
            "5 A ± 2 V",
            "1e999 A",
            "-500 °C",
            "5 AWGx",
        ]
        .iter()
        .map(|text| match parse(text) {
            Ok(read) => format!("{text:12} -> {} ({})", read.value, read.dimension.name()),
            Err(error) => format!("{text:12} -> {error}"),
        })
        .collect();
        insta::assert_snapshot!(listing.join("\n"));
    }

    proptest! {
        #[test]
        fn no_text_panics(text in "\\PC*") {
            let _ = parse(&text);
            let _ = parse_size::<2>(&text);
            let _ = parse_size::<3>(&text);
        }

        #[test]
        fn near_misses_do_not_panic(text in "[-+0-9./ ×x±%°ΔCFKAVmµΩhWin·()²,eE]{0,24}") {
            let _ = parse(&text);
            let _ = parse_size::<2>(&text);
        }

        /// What is shown reads back as the same value, to the digits shown.
        #[test]
        fn round_trip(value in -1.0e6..1.0e6_f64, unit in prop::sample::select(vec![
            "A", "mV", "mΩ", "Ah", "Wh", "mm", "mm2", "degC", "degF", "K", "kg", "min", "C", "W/(m·K)", "N·m",
        ])) {
            prop_assume!(!unit.starts_with("deg") || value > -273.0);
            let text = format!("{value} {unit}");
            let read = parse(&text).unwrap();
            prop_assert_eq!(&parse(&read.text).unwrap(), &read);
            let shown = parse(&show(read.value, read.dimension)).unwrap();
            prop_assert!((shown.value - read.value).abs() <= 1e-2 * read.value.abs().max(1e-9), "{} {}", shown.text, read.value);
        }
    }
}
