//! Arguments of `calc`: quantities in the record's spellings, words with a did-you-mean.
//!
//! A text that cannot be read is shown with a mark under the wrong place and a right example, as a record's
//! line would be. Control characters are shown as spaces, so that a pasted text cannot drive the terminal.

use std::ops::Range;
use std::str::FromStr;

use crate::units::words::nearest;
use crate::units::{self, Dimension, NotAQuantity, Quantity};

/// The text, a mark under the wrong bytes of it, and an example.
pub(crate) fn pointed(text: &str, at: Range<usize>, message: &str, example: &str) -> String {
    let shown: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    // Offsets come from parsers that may have trimmed or rebuilt the text: keep to what is there.
    let start = floor(text, at.start);
    let end = floor(text, at.end.max(start));
    let before = text[..start].chars().count();
    let wide = text[start..end].chars().count().max(1);
    let message: String = message.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    format!(
        "{message}\n  {shown}\n  {}{}\n  write for example: {example}",
        " ".repeat(before),
        "^".repeat(wide)
    )
}

/// The nearest character boundary at or before a byte.
fn floor(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

/// Moves the place in a trimmed text to where it stands in the text as typed.
fn shifted(text: &str, at: Range<usize>) -> Range<usize> {
    let cut = text.len() - text.trim_start().len();
    at.start + cut..at.end + cut
}

/// A reader for a quantity of one dimension.
pub(in crate::cli) fn of(
    dimension: Dimension,
) -> impl Fn(&str) -> Result<Quantity, String> + Clone + Send + Sync + 'static {
    move |text| {
        let read = units::parse(text)
            .map_err(|e: NotAQuantity| pointed(text, shifted(text, e.at), &e.message, dimension.example()))?;
        if read.dimension == dimension {
            return Ok(read);
        }
        let message = format!("this is {}, {} is needed", read.dimension.name(), dimension.name());
        Err(pointed(text, shifted(text, 0..text.trim().len()), &message, dimension.example()))
    }
}

/// Reads a size of two lengths.
pub(super) fn pair(text: &str) -> Result<(), String> {
    let read = units::parse_size::<2>(text);
    read.map(drop).map_err(|e| pointed(text, shifted(text, e.at), &e.message, "\"25 x 3 mm\""))
}

/// One layer of a heat path.
#[derive(Debug, Clone)]
pub(super) struct Layer {
    /// What the layer is called, when the text begins with a name and a colon.
    pub(super) name: Option<String>,
    /// Its quantities by their keys in the record.
    pub(super) keys: Vec<(&'static str, Quantity)>,
}

const LAYER_EXAMPLE: &str = "\"pad: 1.5 mm, 40 cm2, 3 W/(m·K)\" or \"0.5 K/W\"";

/// Reads a layer: thickness, area and conductivity in any order, or a thermal resistance.
pub(super) fn layer(text: &str) -> Result<Layer, String> {
    let whole = 0..text.len();
    let wrong = |at: Range<usize>, message: &str| Err(pointed(text, at, message, LAYER_EXAMPLE));
    let (name, start) = match text.split_once(':') {
        Some((name, _)) => (Some(name.trim().to_owned()).filter(|n| !n.is_empty()), name.len() + 1),
        None => (None, 0),
    };
    let (mut thickness, mut area, mut conductivity, mut resistance) = (None, None, None, None);
    let mut at = start;
    for piece in text[start..].split(',') {
        let here = at..at + piece.len();
        at = here.end + 1;
        let read = match units::parse(piece) {
            Ok(read) => read,
            Err(e) => {
                let inner = shifted(piece, e.at);
                return wrong(here.start + inner.start..here.start + inner.end, &e.message);
            }
        };
        let slot = match read.dimension {
            Dimension::LENGTH => &mut thickness,
            Dimension::AREA => &mut area,
            Dimension::CONDUCTIVITY => &mut conductivity,
            Dimension::THERMAL_RESISTANCE => &mut resistance,
            other => return wrong(here, &format!("{} is no part of a layer", other.name())),
        };
        if slot.is_some() {
            return wrong(here, &format!("{} is given twice", read.dimension.name()));
        }
        *slot = Some(read);
    }
    let whole_layer = matches!(
        (&thickness, &area, &conductivity, &resistance),
        (Some(_), Some(_), Some(_), None) | (None, None, None, Some(_))
    );
    if !whole_layer {
        let message = "a layer is a thickness, an area and a conductivity, or a thermal resistance alone";
        return wrong(whole, message);
    }
    let keys = [
        ("thickness", thickness),
        ("area", area),
        ("conductivity", conductivity),
        ("thermal_resistance", resistance),
    ];
    let keys = keys.into_iter().filter_map(|(key, quantity)| Some((key, quantity?))).collect();
    Ok(Layer { name, keys })
}

/// Reads a word of a list.
pub(super) fn word(text: &str, words: &[&'static str]) -> Result<&'static str, String> {
    let wanted = text.trim();
    if let Some(word) = words.iter().find(|word| word.eq_ignore_ascii_case(wanted)) {
        return Ok(word);
    }
    let message = match nearest(wanted, words.iter().copied()) {
        Some(near) => format!("`{wanted}` is not known here; did you mean `{near}`?"),
        None => format!("`{wanted}` is not known here; one of: {}", words.join(", ")),
    };
    let example = words.first().copied().unwrap_or_default();
    Err(pointed(text, 0..text.len(), &message, &format!("\"{example}\"")))
}

/// A whole number from 1 to 1000.
#[derive(Debug, Clone, Copy)]
pub(in crate::cli) struct Count(pub(in crate::cli) u32);

impl FromStr for Count {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        match text.trim().parse() {
            Ok(number @ 1..=1000) => Ok(Self(number)),
            _ => Err(pointed(text, 0..text.len(), "a whole number from 1 to 1000 is needed", "4")),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wrong_place_is_marked() {
        let cases = [
            (of(Dimension::CURRENT)("2,000 A"), "  2,000 A\n   ^\n"),
            (
                of(Dimension::TEMPERATURE_DIFFERENCE)("30 C"),
                "this is a C-rate, a temperature difference is needed",
            ),
            (of(Dimension::CURRENT)(" 25 Amps"), "   25 Amps\n      ^^^^"),
            (of(Dimension::CURRENT)("\u{1b}[31m"), "write for example: 250 A"),
        ];
        for (result, expected) in cases {
            let message = result.unwrap_err();
            assert!(message.contains(expected), "{message}");
            assert!(!message.contains('\u{1b}'));
        }
    }

    #[test]
    fn layers() {
        let keys = |text| layer(text).unwrap().keys.iter().map(|(key, _)| *key).collect::<Vec<_>>();
        assert_eq!(keys("pad: 3 W/(m·K), 1.5 mm, 40 cm2"), ["thickness", "area", "conductivity"]);
        assert_eq!(keys("0.5 K/W"), ["thermal_resistance"]);
        for (text, expected) in [
            ("1.5 mm, 40 cm2", "a layer is a thickness"),
            ("1.5 mm, 2 mm, 40 cm2", "given twice"),
            ("1.5 mm, 4 V, 40 cm2", "        ^^^^"),
            ("1.5 mm, , 40 cm2", "nothing is written here"),
            (":", "nothing is written here"),
            ("é: 1.5 mmm", "^^^"),
        ] {
            let message = layer(text).unwrap_err();
            assert!(message.contains(expected), "{text}: {message}");
        }
    }
}
