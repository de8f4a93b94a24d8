//! What stands behind a key of the record: a quantity, a size, a word, a date, or that nobody could see it.
//!
//! Nothing is guessed. A number without its unit is refused, and so is a bare number above 1 where a percentage is
//! meant: `80` would be 8000 %. Every refusal shows the place, what was expected, and a right line.

use std::ops::Range;

use jiff::civil::Date;
use toml::Spanned;
use toml::de::DeValue;

use super::Reader;
use crate::record::field::{ABSENT, Kind, NOT_VISIBLE, State, StatedAccuracy, UNKNOWN, Value, Word};
use crate::record::part::FieldInfo;
use crate::units::words::did_you_mean;
use crate::units::{self, Dimension, Quantity};

impl Reader {
    pub(super) fn state(&mut self, field: &FieldInfo, value: &Spanned<DeValue<'_>>) -> State {
        let span = value.span();
        match value.get_ref() {
            DeValue::String(text) => self.state_of_text(text, span, field),
            DeValue::Boolean(yes) if field.kind == Kind::YesNo => State::Known(Value::YesNo(*yes)),
            DeValue::Integer(_) | DeValue::Float(_) => self.state_of_number(field, value),
            DeValue::Datetime(date) if field.kind == Kind::Date => self.date(&date.to_string(), span, field),
            DeValue::Array(_) if field.kind == Kind::List => {
                State::Known(Value::List(self.list(value, field.name, &example_line(field))))
            }
            _ => {
                self.wrong_kind(field, span, "this value");
                State::NotLooked
            }
        }
    }

    fn state_of_number(&mut self, field: &FieldInfo, value: &Spanned<DeValue<'_>>) -> State {
        let span = value.span();
        let number = match value.get_ref() {
            DeValue::Integer(integer) => {
                i64::from_str_radix(integer.as_str(), integer.radix()).ok().map(|n| n as f64)
            }
            DeValue::Float(float) => float.as_str().parse::<f64>().ok(),
            _ => None,
        };
        match (field.kind, number) {
            (Kind::Count, Some(number)) => {
                if number >= 0.0 && number <= f64::from(u32::MAX) && number.fract() == 0.0 {
                    #[expect(
                        clippy::cast_possible_truncation,
                        clippy::cast_sign_loss,
                        reason = "range checked above"
                    )]
                    return State::Known(Value::Count(number as u32));
                }
                self.wrong_kind(field, span, &format!("{number}"));
            }
            (Kind::Quantity(Dimension::NONE), Some(number)) if number.is_finite() => {
                if self.bare_percentage(&number.to_string(), number, &span, field) {
                    return State::NotLooked;
                }
                return State::Known(Value::Quantity(Quantity {
                    value: number,
                    dimension: Dimension::NONE,
                    expanded: None,
                    bound: None,
                    text: number.to_string(),
                }));
            }
            (Kind::Quantity(_) | Kind::AnyQuantity | Kind::Section | Kind::Size, Some(number)) => {
                self.problem(
                    span,
                    format!("{number} has no unit"),
                    &format!("expected {} with its unit, in quotes", field.kind.expected()),
                    &example_line(field),
                );
            }
            _ => self.wrong_kind(field, span, "this number"),
        }
        State::NotLooked
    }

    pub(super) fn state_of_text(&mut self, text: &str, span: Range<usize>, field: &FieldInfo) -> State {
        let trimmed = text.trim();
        match trimmed {
            "" => return State::NotLooked,
            ABSENT => return State::Absent,
            NOT_VISIBLE => return State::NotVisible,
            _ => {}
        }
        let value = match field.kind {
            Kind::Quantity(wanted) => self.quantity(trimmed, &span, field, Some(wanted)),
            Kind::AnyQuantity => self.quantity(trimmed, &span, field, None),
            Kind::Section => self.size(trimmed, &span, field).map(Value::Section),
            Kind::Size => self.size(trimmed, &span, field).map(Value::Size),
            Kind::Text | Kind::Markdown => Some(Value::Text(trimmed.to_owned())),
            Kind::List => Some(Value::List(vec![trimmed.to_owned()])),
            Kind::Date => return self.date(trimmed, span, field),
            Kind::YesNo => match trimmed {
                "yes" | "true" => Some(Value::YesNo(true)),
                "no" | "false" => Some(Value::YesNo(false)),
                _ => {
                    self.wrong_kind(field, span, &format!("`{trimmed}`"));
                    None
                }
            },
            Kind::Word(words) => match words.iter().find(|w| w.word.eq_ignore_ascii_case(trimmed)) {
                Some(word) => Some(Value::Word(word.word)),
                None if trimmed.eq_ignore_ascii_case(UNKNOWN) => return State::NotVisible,
                None => {
                    self.wrong_word(trimmed, words, field.name, span);
                    None
                }
            },
            Kind::Accuracy => match accuracy(trimmed) {
                Some(accuracy) => Some(Value::Accuracy(accuracy)),
                None => {
                    self.wrong_kind(field, span, &format!("`{trimmed}`"));
                    None
                }
            },
            // `sha256sum` writes small letters; a digest copied from elsewhere may have capitals.
            Kind::Digest if is_digest(trimmed) => Some(Value::Text(trimmed.to_ascii_lowercase())),
            Kind::Digest | Kind::Count => {
                self.wrong_kind(field, span, &format!("`{trimmed}`"));
                None
            }
        };
        value.map_or(State::NotLooked, State::Known)
    }

    fn quantity(
        &mut self,
        text: &str,
        span: &Range<usize>,
        field: &FieldInfo,
        wanted: Option<Dimension>,
    ) -> Option<Value> {
        let quantity = match units::parse(text) {
            Ok(quantity) => quantity,
            Err(error) => {
                let expected = format!("expected {}", field.kind.expected());
                self.problem(span.clone(), format!("`{text}`: {error}"), &expected, &example_line(field));
                return None;
            }
        };
        if quantity.dimension == Dimension::NONE
            && wanted.is_none_or(|wanted| wanted == Dimension::NONE)
            && self.bare_percentage(text, quantity.value, span, field)
        {
            return None;
        }
        if let Some(wanted) = wanted.filter(|wanted| *wanted != quantity.dimension) {
            let hint = match (wanted, quantity.dimension) {
                (Dimension::TEMPERATURE_DIFFERENCE, Dimension::TEMPERATURE) => {
                    "; a difference is written in K"
                }
                (Dimension::TEMPERATURE, Dimension::TEMPERATURE_DIFFERENCE) => {
                    "; a temperature is written in °C or °F"
                }
                _ => "",
            };
            self.problem(
                span.clone(),
                format!("`{text}` is {}", quantity.dimension.name()),
                &format!("expected {}{hint}", wanted.name()),
                &example_line(field),
            );
            return None;
        }
        if !may_be_negative(field.kind, field.name) && quantity.value < 0.0 {
            self.problem(
                span.clone(),
                format!("`{text}` is negative"),
                &format!("expected {} of zero or more", wanted.unwrap_or(quantity.dimension).name()),
                &example_line(field),
            );
            return None;
        }
        // An edge may lie on the very sheet that it is measured against.
        let may_be_zero = matches!(field.name, "distance" | "height" | "other_height");
        if must_be_positive(quantity.dimension) && !may_be_zero && quantity.value == 0.0 {
            self.problem(
                span.clone(),
                format!("`{text}` is zero"),
                &format!("expected {} above zero", quantity.dimension.name()),
                &format!("{}   (or \"{ABSENT}\", or leave the key out)", example_line(field)),
            );
            return None;
        }
        Some(Value::Quantity(quantity))
    }

    /// Refuses a number above 1 without a `%` where a percentage or any quantity may stand: 80 would be read as 8000 %.
    fn bare_percentage(&mut self, text: &str, value: f64, span: &Range<usize>, field: &FieldInfo) -> bool {
        // A factor, such as the rise of a resistance with temperature, is a plain number; its example says so.
        let any = field.kind == Kind::AnyQuantity;
        let is_share = field.example.contains('%') || (any && field.example.parse::<f64>().is_err());
        let number = text.split(['±', '+']).next().unwrap_or_default();
        if !is_share || value.abs() <= 1.0 || number.contains('%') {
            return false;
        }
        let percent = units::significant(value * 100.0, 6);
        let unit = if any { "; any other quantity takes its unit" } else { "" };
        let other = if any { format!(", or \"{}\"", field.example) } else { String::new() };
        self.problem(
            span.clone(),
            format!("`{text}` has no unit: it would be {percent} %"),
            &format!("expected a percentage with its sign, or a share from 0 to 1{unit}"),
            &format!("{} = \"80 %\"   (or \"0.8\"{other})", field.name),
        );
        true
    }

    fn size<const N: usize>(
        &mut self,
        text: &str,
        span: &Range<usize>,
        field: &FieldInfo,
    ) -> Option<[Quantity; N]> {
        let expected = format!("expected {}", field.kind.expected());
        let example = example_line(field);
        match units::parse_size::<N>(text) {
            Ok(sides) if sides.iter().all(|side| side.value > 0.0) => {
                Some(sides.map(|side| Quantity { text: text.to_owned(), ..side }))
            }
            Ok(_) => {
                self.problem(
                    span.clone(),
                    format!("`{text}` has a side of zero or less"),
                    &expected,
                    &example,
                );
                None
            }
            Err(error) => {
                self.problem(span.clone(), format!("`{text}`: {error}"), &expected, &example);
                None
            }
        }
    }

    fn date(&mut self, text: &str, span: Range<usize>, field: &FieldInfo) -> State {
        if let Ok(date) = text.parse::<Date>() {
            return State::Known(Value::Date(date));
        }
        self.wrong_kind(field, span, &format!("`{text}`"));
        State::NotLooked
    }

    fn wrong_kind(&mut self, field: &FieldInfo, span: Range<usize>, what: &str) {
        let what: String = what.chars().take(80).collect();
        self.problem(
            span,
            format!("{what} does not fit `{}`", field.name),
            &format!("expected {}", field.kind.expected()),
            &example_line(field),
        );
    }

    pub(super) fn wrong_word(&mut self, given: &str, words: &'static [Word], name: &str, span: Range<usize>) {
        let expected = did_you_mean(given, words.iter().map(|w| w.word), "expected one of the words below");
        let listed: Vec<String> = words.iter().map(|w| format!("{}: {}", w.word, w.about)).collect();
        let given: String = given.chars().take(60).collect();
        self.problem(
            span,
            format!("`{given}` is not a word for `{name}`"),
            &expected,
            &format!("{}\nor \"{ABSENT}\", or \"{NOT_VISIBLE}\"", listed.join("\n")),
        );
    }
}

fn example_line(field: &FieldInfo) -> String {
    match field.kind {
        Kind::Count => format!("{} = {}", field.name, field.example),
        Kind::List => format!("{} = [\"{}\"]", field.name, field.example),
        _ => format!("{} = \"{}\"", field.name, field.example),
    }
}

/// FIPS 180-4: a SHA-256 digest has 256 bits.
fn is_digest(text: &str) -> bool {
    text.len() == 64 && text.bytes().all(|byte| byte.is_ascii_hexdigit())
}

/// Temperatures go below zero; a meter may read a small negative voltage, drop or current.
fn may_be_negative(kind: Kind, name: &str) -> bool {
    matches!(kind, Kind::Quantity(Dimension::TEMPERATURE | Dimension::TEMPERATURE_DIFFERENCE))
        || matches!(name, "clock_offset" | "offset")
        || (kind == Kind::AnyQuantity && name == "value")
}

/// A size, a mass or a resistance of zero is not a finding but a slip.
fn must_be_positive(dimension: Dimension) -> bool {
    [
        Dimension::LENGTH,
        Dimension::AREA,
        Dimension::MASS,
        Dimension::RESISTANCE,
        Dimension::CHARGE,
        Dimension::CONDUCTIVITY,
    ]
    .contains(&dimension)
}

/// Reads an accuracy as data sheets write it: `"1.5 % + 3 digits"`, `"0.1 % + 1 mA"`, `"0.2 % of range"`, `"± 1.5 °C"`.
fn accuracy(text: &str) -> Option<StatedAccuracy> {
    let mut accuracy = StatedAccuracy::default();
    for term in text.trim().split('+') {
        // "+/- 1 %" begins with an empty term.
        let term = term.trim().trim_start_matches(['±', '/', '-', '(', ' ']).trim_end_matches(')').trim();
        if term.is_empty() && accuracy == StatedAccuracy::default() {
            continue;
        }
        let (number, unit) = term.split_at(term.find(|c: char| !matches!(c, '0'..='9' | '.'))?);
        let number: f64 = number.parse().ok().filter(|n: &f64| n.is_finite())?;
        match unit.trim().to_lowercase().as_str() {
            "%" | "% of reading" | "% reading" | "% of rdg" | "% rdg" | "% rdg." => {
                accuracy.of_reading += number / 100.0;
            }
            "% of range" | "% range" | "% of full scale" | "% full scale" | "% fs" | "% f.s." | "% of fs" => {
                accuracy.of_range += number / 100.0;
            }
            "digits" | "digit" | "counts" | "count" | "dgt" | "dgts" | "lsd" | "d" => {
                accuracy.digits += number;
            }
            _ => {
                let unit = units::find_unit(unit.trim()).filter(|unit| unit.dimension != Dimension::NONE)?;
                // Behind ± a temperature is a difference.
                let dimension = Dimension { point: false, ..unit.dimension };
                if accuracy.fixed.is_some_and(|(_, other)| other != dimension) {
                    return None;
                }
                let before = accuracy.fixed.map_or(0.0, |(value, _)| value);
                accuracy.fixed = Some((before + number * unit.factor, dimension));
            }
        }
    }
    (accuracy != StatedAccuracy::default()).then_some(accuracy)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::read_answer;

    /// A share of 0.8 is 80 %; a factor of 1.7 is no percentage.
    #[test]
    fn a_bare_number_for_a_percentage() {
        let info = |name: &str| crate::judge::facts::field_info(name).unwrap();
        let share = info("claims.cycle_depth");
        let factor = info("bms.device_resistance_factor");
        let any = FieldInfo { name: "value", about: "", kind: Kind::AnyQuantity, example: "250 A" };
        for (field, typed, expected) in [
            (share, "80 %", Ok(0.8)),
            (share, "0.8", Ok(0.8)),
            (share, "1", Ok(1.0)),
            (share, "100 %", Ok(1.0)),
            (share, "80 % ± 1 %", Ok(0.8)),
            (share, "80", Err("8000 %")),
            (share, "80 ± 1 %", Err("8000 %")),
            (share, "1.5", Err("150 %")),
            (factor, "1.7", Ok(1.7)),
            (&any, "95 %", Ok(0.95)),
            (&any, "0.95", Ok(0.95)),
            (&any, "95", Err("9500 %")),
            (&any, "-95", Err("-9500 %")),
            (&any, "95 A", Ok(95.0)),
        ] {
            match (read_answer(field, typed), expected) {
                (Ok(State::Known(Value::Quantity(read))), Ok(value)) => {
                    assert!((read.value - value).abs() < 1e-12, "{typed}: {}", read.value);
                }
                (Err(problem), Err(percent)) => {
                    assert!(problem.message.contains(percent), "{typed}: {}", problem.message);
                    assert_eq!(problem.span, 0..typed.len(), "{typed}");
                    assert!(problem.expected.starts_with("expected a percentage"), "{}", problem.expected);
                    let example = format!("{} = \"80 %\"   (or \"0.8\"", field.name);
                    assert!(problem.example.starts_with(&example), "{typed}: {}", problem.example);
                }
                (found, _) => panic!("{}: {typed}: {found:?}", field.name),
            }
        }
    }

    #[test]
    fn accuracies_as_data_sheets_write_them() {
        let (ampere, metre) = (Dimension::CURRENT, Dimension::LENGTH);
        let kelvin = Dimension::TEMPERATURE_DIFFERENCE;
        for (text, of_reading, of_range, digits, fixed) in [
            ("1.5 % + 3 digits", 0.015, 0.0, 3.0, None),
            ("0.5 % of reading + 2 digits", 0.005, 0.0, 2.0, None),
            ("± (2.5 % + 5 dgt)", 0.025, 0.0, 5.0, None),
            ("+/- 1 %", 0.01, 0.0, 0.0, None),
            ("0.1 % + 1 mA", 0.001, 0.0, 0.0, Some((0.001, ampere))),
            ("0.03 mm", 0.0, 0.0, 0.0, Some((3e-5, metre))),
            ("± 1.5 °C", 0.0, 0.0, 0.0, Some((1.5, kelvin))),
            ("1.8 °F", 0.0, 0.0, 0.0, Some((1.0, kelvin))),
            ("0.2 % of range", 0.0, 0.002, 0.0, None),
            ("0.05 % + 0.05 % FS", 0.0005, 0.0005, 0.0, None),
        ] {
            let read = accuracy(text).unwrap_or_else(|| panic!("{text}"));
            let near = |a: f64, b: f64| (a - b).abs() < 1e-12;
            assert!(near(read.of_reading, of_reading) && near(read.of_range, of_range), "{text}: {read:?}");
            assert!(near(read.digits, digits), "{text}: {read:?}");
            assert_eq!(read.fixed.map(|(_, of)| of), fixed.map(|(_, of)| of), "{text}");
            assert!(near(read.fixed.map_or(0.0, |f| f.0), fixed.map_or(0.0, |f| f.0)), "{text}: {read:?}");
        }
        for text in ["", "±", "good", "1.5", "1 % + 2 mA + 3 mV", "1.5 %% + 2", "%"] {
            assert_eq!(accuracy(text), None, "{text}");
        }
    }

    /// In a record a number needs no quotes, and the place is that of the number.
    #[test]
    fn a_bare_number_in_the_file() {
        let text = "schema = 2\n[claims]\ncycle_depth = 80\n[bms]\ndevice_resistance_factor = 1.7\n";
        let problems = crate::record::read("a record", text).unwrap_err();
        let [problem] = problems.list() else { panic!("{problems:?}") };
        assert_eq!(&text[problem.span.clone()], "80");
        assert!(problem.message.contains("8000 %") && problem.example.contains("\"80 %\""), "{problem:?}");
        assert!(crate::record::read("a record", &text.replace("= 80", "= 0.8")).is_ok());
        let reading = "schema = 2\n[[test]]\nkind = \"full load\"\n[[test.reading]]\nof = \"gauge\"\nat = \"0 min\"\nvalue = \"95\"\n";
        let problems = crate::record::read("a record", reading).unwrap_err();
        assert!(problems.list()[0].message.contains("9500 %"), "{problems:?}");
    }
}
