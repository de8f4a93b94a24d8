//! Figures of a bench test, kept as values until the last line of a writer.

use std::borrow::Cow;

use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::{Serialize, Serializer};

use crate::judge::facts::Val;
use crate::units::{Amount, COVERAGE, Dimension, Uncertain, show_percent_uncertain, si_unit};

/// A figure of a bench test: its name, its value, and what is to be known beside it.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// What it is.
    pub name: String,
    /// Its value: an amount with its uncertainty, a yes or no, a date, or words.
    pub value: Val,
    /// What is to be known beside it; empty where there is nothing.
    pub note: String,
    /// True for a ratio that is shown in percent.
    pub percent: bool,
    /// True for what a summary leaves out first: what the log was pieced together from, and resistances, which come by
    /// the dozen.
    pub detail: bool,
}

impl Figure {
    /// A figure; the number of an amount's source does not matter, as no figure is calculated with.
    pub(super) fn new(name: &str, value: Val) -> Self {
        Self { name: name.to_owned(), value, note: String::new(), percent: false, detail: false }
    }

    /// An amount in SI units with its expanded uncertainty (k = 2); zero where none is known.
    pub(super) fn amount(name: &str, value: f64, expanded: f64, dimension: Dimension) -> Self {
        let number = Uncertain::new(value, 0, expanded / COVERAGE);
        Self::new(name, Val::Amount(Amount { number, dimension }))
    }

    /// A ratio that is shown in percent.
    pub(super) fn percent(name: &str, ratio: f64, expanded: f64) -> Self {
        Self { percent: true, ..Self::amount(name, ratio, expanded, Dimension::NONE) }
    }

    pub(super) fn words(name: &str, words: impl Into<String>) -> Self {
        Self::new(name, Val::Text(words.into()))
    }

    /// The same with a note.
    pub(super) fn beside(self, note: impl Into<String>) -> Self {
        Self { note: note.into(), ..self }
    }

    /// The same as a detail.
    pub(super) fn detailed(self) -> Self {
        Self { detail: true, ..self }
    }

    /// The value as a person would read it.
    pub fn text(&self) -> String {
        match &self.value {
            Val::Amount(amount) if self.percent => {
                show_percent_uncertain(amount.value(), amount.number.expanded())
            }
            value => value.show(),
        }
    }

    /// The value and the note as a person would read them.
    pub fn shown(&self) -> String {
        let text = self.text();
        if self.note.is_empty() { text } else { format!("{text}; {}", self.note) }
    }
}

/// A figure as it stands in JSON.
#[derive(Serialize, JsonSchema)]
#[schemars(rename = "Figure")]
struct Written<'a> {
    /// What it is.
    name: Cow<'a, str>,
    /// The value as a person would read it.
    text: String,
    /// An amount in SI units.
    #[serde(skip_serializing_if = "Option::is_none")]
    si: Option<f64>,
    /// The SI unit; "1" for a ratio.
    #[serde(skip_serializing_if = "Option::is_none")]
    unit: Option<String>,
    /// Expanded uncertainty (k = 2) in the same unit, where one is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    expanded_si: Option<f64>,
    /// A yes or no.
    #[serde(skip_serializing_if = "Option::is_none")]
    yes: Option<bool>,
    /// A date, year first.
    #[serde(skip_serializing_if = "Option::is_none")]
    date: Option<String>,
    /// What is to be known beside it.
    #[serde(skip_serializing_if = "str::is_empty")]
    note: Cow<'a, str>,
}

impl Serialize for Figure {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let amount = self.value.amount();
        let exact = amount.is_none_or(|amount| amount.number.is_exact());
        Written {
            name: Cow::Borrowed(&self.name),
            text: self.text(),
            si: amount.map(Amount::value),
            unit: amount.map(|amount| si_unit(amount.dimension)),
            expanded_si: amount.filter(|_| !exact).map(|amount| amount.number.expanded()),
            yes: if let Val::YesNo(yes) = self.value { Some(yes) } else { None },
            date: if let Val::Date(date) = self.value { Some(date.to_string()) } else { None },
            note: Cow::Borrowed(&self.note),
        }
        .serialize(serializer)
    }
}

impl JsonSchema for Figure {
    fn schema_name() -> Cow<'static, str> {
        Written::schema_name()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        Written::json_schema(generator)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shown_and_as_json() {
        let cases = [
            (
                Figure::amount("mean current", 151.5, 0.5, Dimension::CURRENT).beside("by the log"),
                "151.50 A ± 0.50 A; by the log",
                r#"{"name":"mean current","text":"151.50 A ± 0.50 A","si":151.5,"unit":"A","expanded_si":0.5,"note":"by the log"}"#,
            ),
            (
                Figure::percent("of the claim", 1.0133, 0.0037),
                "101.33 ± 0.37 %",
                r#"{"name":"of the claim","text":"101.33 ± 0.37 %","si":1.0133,"unit":"1","expanded_si":0.0037}"#,
            ),
            (
                Figure::amount("coldest", 268.15, 0.0, Dimension::TEMPERATURE),
                "−5 °C",
                r#"{"name":"coldest","text":"−5 °C","si":268.15,"unit":"K"}"#,
            ),
            (
                Figure::amount("charge", 7200.0, 0.0, Dimension::CHARGE),
                "2 Ah",
                r#"{"name":"charge","text":"2 Ah","si":7200.0,"unit":"A·s"}"#,
            ),
            (
                Figure::new("current held", Val::YesNo(true)),
                "yes",
                r#"{"name":"current held","text":"yes","yes":true}"#,
            ),
            (Figure::words("end", "taken off"), "taken off", r#"{"name":"end","text":"taken off"}"#),
        ];
        for (figure, shown, json) in cases {
            assert_eq!(figure.shown(), shown);
            assert_eq!(serde_json::to_string(&figure).unwrap(), json);
        }
    }
}
