//! Arguments of `calc`: quantities in the record's spellings, words with a did-you-mean.
//!
//! A text that cannot be read is shown with a mark under the wrong place and a right example, as a record's
//! line would be. Control characters are shown as spaces, so that a pasted text cannot drive the terminal.

use std::ops::Range;
use std::str::FromStr;

use crate::physics::cells::Chemistry;
use crate::physics::fuse::FuseKind;
use crate::physics::material::{Finish, Material};
use crate::record::field::UNKNOWN;
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

/// A size of two lengths, such as `25 x 3 mm`.
#[derive(Debug, Clone)]
pub(super) struct Pair {
    /// The first length.
    pub(super) first: Quantity,
    /// The second length.
    pub(super) second: Quantity,
    /// As typed.
    pub(super) text: String,
}

/// Reads a size of two lengths.
pub(super) fn pair(text: &str) -> Result<Pair, String> {
    let [first, second] = units::parse_size::<2>(text)
        .map_err(|e| pointed(text, shifted(text, e.at), &e.message, "\"25 x 3 mm\""))?;
    Ok(Pair { first, second, text: text.trim().to_owned() })
}

/// One layer of a heat path.
#[derive(Debug, Clone)]
pub(super) struct Layer {
    /// What the layer is called, when the text begins with a name and a colon.
    pub(super) name: Option<String>,
    /// What it is made of.
    pub(super) kind: LayerKind,
    /// As typed.
    pub(super) text: String,
}

/// How a layer is described.
#[derive(Debug, Clone)]
pub(super) enum LayerKind {
    /// By its size and conductivity.
    Slab { thickness: Quantity, area: Quantity, conductivity: Quantity },
    /// By its thermal resistance.
    Resistance(Quantity),
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
    let kind = match (thickness, area, conductivity, resistance) {
        (Some(thickness), Some(area), Some(conductivity), None) => {
            LayerKind::Slab { thickness, area, conductivity }
        }
        (None, None, None, Some(resistance)) => LayerKind::Resistance(resistance),
        _ => {
            let message = "a layer is a thickness, an area and a conductivity, or a thermal resistance alone";
            return wrong(whole, message);
        }
    };
    Ok(Layer { name, kind, text: text.trim().to_owned() })
}

/// A word with what it stands for.
#[derive(Debug, Clone, Copy)]
pub(super) struct Worded<T> {
    /// As the record writes it.
    pub(super) word: &'static str,
    /// What it stands for.
    pub(super) is: T,
}

fn worded<T>(
    text: &str,
    what: &str,
    words: &[&'static str],
    find: impl Fn(&str) -> Option<T>,
) -> Result<Worded<T>, String> {
    let wanted = text.trim();
    let word = words.iter().find(|word| word.eq_ignore_ascii_case(wanted));
    if let Some((word, is)) = word.and_then(|word| Some((*word, find(word)?))) {
        return Ok(Worded { word, is });
    }
    let message = match nearest(wanted, words.iter().copied()) {
        Some(near) => format!("there is no {what} `{wanted}`; did you mean `{near}`?"),
        None => format!("there is no {what} `{wanted}`; one of: {}", words.join(", ")),
    };
    let example = words.first().copied().unwrap_or_default();
    Err(pointed(text, 0..text.len(), &message, &format!("\"{example}\"")))
}

/// Reads a conductor's material.
pub(super) fn material(text: &str) -> Result<Worded<Material>, String> {
    worded(text, "material", &Material::ALL.map(Material::word), Material::from_word)
}

/// Reads a conductor's finish.
pub(super) fn finish(text: &str) -> Result<Worded<Finish>, String> {
    worded(text, "finish", &Finish::ALL.map(Finish::word), Finish::from_word)
}

/// Reads a chemistry.
pub(super) fn chemistry(text: &str) -> Result<Worded<Chemistry>, String> {
    worded(text, "chemistry", &Chemistry::ALL.map(Chemistry::word), Chemistry::from_word)
}

/// The word for a part that is no fuse; the record keeps it as a kind of element of its own.
pub(super) const THERMAL_CUTOFF: &str = "thermal cut-off";

/// What stands in the place of a fuse.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Link {
    /// A fuse of a known kind.
    Fuse(FuseKind),
    /// A thermal cut-off, which is none.
    ThermalCutoff,
    /// Its kind could not be told.
    Unknown,
}

/// Reads a kind of fuse; the thermal cut-off is one here, so that it can be told that it is none.
pub(super) fn fuse_kind(text: &str) -> Result<Worded<Link>, String> {
    let mut words = FuseKind::ALL.map(FuseKind::word).to_vec();
    words.extend([THERMAL_CUTOFF, UNKNOWN]);
    worded(text, "kind of fuse", &words, |word| match word {
        THERMAL_CUTOFF => Some(Link::ThermalCutoff),
        UNKNOWN => Some(Link::Unknown),
        _ => FuseKind::from_word(word).map(Link::Fuse),
    })
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
    fn the_words_are_those_of_the_record() {
        use crate::record::parts::Element;
        use crate::record::{Kind, Part};
        let of = |name: &str| {
            let field = Element::SHAPE.fields.iter().find(|field| field.name == name).unwrap();
            match field.kind {
                Kind::Word(words) => words.iter().map(|w| w.word).collect::<Vec<_>>(),
                _ => Vec::new(),
            }
        };
        assert!(of("finish").iter().all(|w| finish(w).is_ok()));
        assert!(of("material").iter().all(|w| material(w).is_ok()));
        assert!(of("fuse").iter().all(|w| fuse_kind(w).is_ok()));
    }

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
        assert!(matches!(layer("pad: 3 W/(m·K), 1.5 mm, 40 cm2").unwrap().kind, LayerKind::Slab { .. }));
        assert!(matches!(layer("0.5 K/W").unwrap().kind, LayerKind::Resistance(_)));
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
