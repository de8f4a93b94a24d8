//! What a single field of the record can hold, and what is known about how it came there.
//!
//! A field is never just a value. It was claimed, read off the part, measured or estimated; it was
//! looked for and not there, or could not be seen, or nobody looked. All of that is a [`Found`].

mod words;

use std::marker::PhantomData;
use std::ops::Range;
use std::sync::Arc;

use jiff::civil::Date;

pub use super::doubt::Doubt;
use crate::units::{Dimension, Quantity};
pub use words::Words;
pub(crate) use words::words;

words! {
    /// How a value came into the record.
    pub enum How {
        /// said by the nameplate, the manual or the seller
        Claimed = "claimed",
        /// from the data sheet of the part, found by what is printed on it
        Datasheet = "datasheet",
        /// printed or stamped on the part itself
        Marked = "marked",
        /// measured with an instrument
        Measured = "measured",
        /// seen with the eye
        Seen = "seen",
        /// judged by eye or from experience
        Estimated = "estimated",
        /// calculated from other values
        Computed = "computed",
    }
}

/// A word that a field accepts, and what it means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Word {
    /// The word as written in the record.
    pub word: &'static str,
    /// What it means.
    pub about: &'static str,
}

/// What a field holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Kind {
    /// A number with a unit (or, for [`Dimension::NONE`], a plain number or a percentage).
    Quantity(Dimension),
    /// A quantity whose dimension depends on the record, such as a meter's resolution.
    AnyQuantity,
    /// A whole number.
    Count,
    /// Yes or no.
    YesNo,
    /// One of several words.
    Word(&'static [Word]),
    /// One line of text.
    Text,
    /// Text in Markdown.
    Markdown,
    /// A date.
    Date,
    /// Width × thickness.
    Section,
    /// Length × width × height.
    Size,
    /// Several short texts.
    List,
    /// An instrument's accuracy, `"1.5 % + 3 digits"`.
    Accuracy,
    /// A SHA-256 digest in hexadecimal digits.
    Digest,
}

impl Kind {
    /// What a right value is, with its article.
    pub fn expected(self) -> String {
        match self {
            Self::Quantity(dimension) => dimension.name(),
            Self::AnyQuantity => "a quantity with its unit".to_owned(),
            Self::Count => "a whole number".to_owned(),
            Self::YesNo => "yes or no".to_owned(),
            Self::Word(words) => {
                let words: Vec<&str> = words.iter().map(|w| w.word).collect();
                format!("one of: {}", words.join(", "))
            }
            Self::Text | Self::Markdown => "a text".to_owned(),
            Self::Date => "a date".to_owned(),
            Self::Section => "width x thickness".to_owned(),
            Self::Size => "length x width x height".to_owned(),
            Self::List => "a list of texts".to_owned(),
            Self::Accuracy => "an accuracy".to_owned(),
            Self::Digest => "a SHA-256 digest, 64 hexadecimal digits".to_owned(),
        }
    }
}

/// An instrument's accuracy: a share of the reading, a share of the range, a number of last digits and a fixed part.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct StatedAccuracy {
    /// Share of the reading, 0.015 for 1.5 %.
    pub of_reading: f64,
    /// Share of the upper end of the range.
    pub of_range: f64,
    /// Counts of the last digit shown.
    pub digits: f64,
    /// A fixed part, SI units, and its dimension.
    pub fixed: Option<(f64, Dimension)>,
}

/// A value that was read.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// See [`Kind::Quantity`].
    Quantity(Quantity),
    /// See [`Kind::Count`].
    Count(u32),
    /// See [`Kind::YesNo`].
    YesNo(bool),
    /// See [`Kind::Word`].
    Word(&'static str),
    /// See [`Kind::Text`], [`Kind::Markdown`] and [`Kind::Digest`].
    Text(String),
    /// See [`Kind::Date`].
    Date(Date),
    /// See [`Kind::Section`]: width, thickness.
    Section([Quantity; 2]),
    /// See [`Kind::Size`].
    Size([Quantity; 3]),
    /// See [`Kind::List`].
    List(Vec<String>),
    /// See [`Kind::Accuracy`].
    Accuracy(StatedAccuracy),
}

impl Value {
    /// The lengths that a section or a size consists of.
    pub(crate) fn sides(&self) -> &[Quantity] {
        match self {
            Self::Section(sides) => sides,
            Self::Size(sides) => sides,
            _ => &[],
        }
    }

    /// The value as a person would read it.
    pub fn show(&self) -> String {
        match self {
            Self::Quantity(quantity) => crate::units::words::in_symbols(&quantity.text),
            Self::Count(count) => count.to_string(),
            Self::YesNo(true) => "yes".to_owned(),
            Self::YesNo(false) => "no".to_owned(),
            Self::Word(word) => (*word).to_owned(),
            Self::Text(text) => text.clone(),
            Self::Date(date) => date.to_string(),
            // The sides share the text of the whole.
            Self::Section([first, ..]) | Self::Size([first, ..]) => {
                crate::units::words::in_symbols(&first.text)
            }
            Self::List(items) => items.join(", "),
            Self::Accuracy(accuracy) => {
                let share = |share: f64, of: &str| {
                    (share > 0.0).then(|| format!("{}{of}", crate::units::show_percent(share)))
                };
                let digits = (accuracy.digits > 0.0).then(|| format!("{} digits", accuracy.digits));
                let fixed = accuracy.fixed.map(|(value, dimension)| crate::units::show(value, dimension));
                let terms =
                    [share(accuracy.of_reading, ""), share(accuracy.of_range, " of range"), digits, fixed];
                terms.into_iter().flatten().collect::<Vec<_>>().join(" + ")
            }
        }
    }
}

/// What is known of a field.
#[derive(Debug, Clone, PartialEq, Default)]
pub enum State {
    /// Nobody looked, or nobody wrote it down.
    #[default]
    NotLooked,
    /// It was looked for and is not there.
    Absent,
    /// It was looked for and could not be seen.
    NotVisible,
    /// It is recorded, but withheld from outputs for others; only a published inspection has this state.
    Withheld,
    /// It is known.
    Known(Value),
}

/// The word for a part or marking that was looked for and is not there.
pub const ABSENT: &str = "absent";
/// The word for what was looked for and could not be seen.
pub const NOT_VISIBLE: &str = "could not see";
/// The word for a kind that could not be told: in a field of words it says the same as [`NOT_VISIBLE`].
pub const UNKNOWN: &str = "unknown";
/// What stands in outputs for others in place of what the record withholds.
pub const WITHHELD: &str = "[withheld]";

/// A field with all that is known of it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Found {
    /// Its state and value.
    pub state: State,
    /// How it came.
    pub how: Option<How>,
    /// The instrument it was measured with, by id.
    pub with: Option<String>,
    /// Photos that show it, by file name.
    pub photos: Vec<String>,
    /// A remark.
    pub note: Option<String>,
    /// Whether somebody looked again and stands by a value that is not plausible.
    pub confirmed: bool,
    /// Why it is not taken as it stands; filled in by whoever judges the record.
    pub doubts: Vec<Arc<Doubt>>,
    /// Where the value stands in the file, in bytes.
    pub span: Range<usize>,
}

impl Found {
    /// The value, when it is known.
    pub fn value(&self) -> Option<&Value> {
        match self.state() {
            State::Known(value) => Some(value),
            _ => None,
        }
    }

    /// The state, for derivations: that a withheld field or one in doubt was read is noted.
    pub(crate) fn state(&self) -> &State {
        if self.state == State::Withheld {
            super::reads::note_withheld();
        }
        self.doubts.iter().for_each(super::reads::note_doubt);
        &self.state
    }

    /// The value as a person would read it, or the words for its state.
    pub fn show(&self) -> String {
        match &self.state {
            State::NotLooked => "not recorded".to_owned(),
            State::Absent => ABSENT.to_owned(),
            State::NotVisible => NOT_VISIBLE.to_owned(),
            State::Withheld => WITHHELD.to_owned(),
            State::Known(value) => value.show(),
        }
    }
}

/// What a field of the record means: its kind, fixed at compile time.
pub trait FieldMeaning {
    /// The kind of value.
    const KIND: Kind;
}

/// A typed field of the record.
#[derive(Debug, Clone)]
pub struct Entry<M> {
    found: Found,
    meaning: PhantomData<M>,
}

impl<M> Default for Entry<M> {
    fn default() -> Self {
        Self { found: Found::default(), meaning: PhantomData }
    }
}

impl<M> Entry<M> {
    /// Everything known of the field.
    pub const fn found(&self) -> &Found {
        &self.found
    }

    pub(crate) const fn found_mut(&mut self) -> &mut Found {
        &mut self.found
    }

    /// True when a value, `absent` or `could not see` is written.
    pub fn is_recorded(&self) -> bool {
        *self.found.state() != State::NotLooked
    }

    /// True when it was looked for and is not there.
    pub fn is_absent(&self) -> bool {
        *self.found.state() == State::Absent
    }

    /// The quantity, when it is known; of a bound nobody knows what it is.
    pub fn quantity(&self) -> Option<&Quantity> {
        match self.found.value() {
            Some(Value::Quantity(quantity)) if quantity.bound.is_none() => Some(quantity),
            _ => None,
        }
    }

    /// The count, when it is known.
    pub fn count(&self) -> Option<u32> {
        match self.found.value() {
            Some(Value::Count(count)) => Some(*count),
            _ => None,
        }
    }

    /// Yes or no, when it is known; an absent thing is a no.
    pub fn yes(&self) -> Option<bool> {
        match self.found.state() {
            State::Known(Value::YesNo(yes)) => Some(*yes),
            State::Absent => Some(false),
            _ => None,
        }
    }

    /// The word, when it is known.
    pub fn word(&self) -> Option<&'static str> {
        match self.found.value() {
            Some(Value::Word(word)) => Some(word),
            _ => None,
        }
    }

    /// The text, when it is known.
    pub fn text(&self) -> Option<&str> {
        match self.found.value() {
            Some(Value::Text(text)) => Some(text),
            _ => None,
        }
    }

    /// The date, when it is known.
    pub fn date(&self) -> Option<Date> {
        match self.found.value() {
            Some(Value::Date(date)) => Some(*date),
            _ => None,
        }
    }

    /// The listed texts; none when nothing is recorded.
    pub fn list(&self) -> &[String] {
        match self.found.value() {
            Some(Value::List(items)) => items,
            _ => &[],
        }
    }
}

impl<W: Words> Entry<W> {
    /// What the word stands for, when it is known.
    pub fn known(&self) -> Option<W> {
        self.word().and_then(W::of_word)
    }
}

macro_rules! meanings {
    ($($(#[doc = $about:literal])* $name:ident = $kind:expr;)*) => {
        $(
            $(#[doc = $about])*
            #[derive(Debug, Clone)]
            pub struct $name;
            impl FieldMeaning for $name {
                const KIND: Kind = $kind;
            }
        )*
    };
}
pub(crate) use meanings;

meanings! {
    /// Electric current.
    Current = Kind::Quantity(Dimension::CURRENT);
    /// Electric potential.
    Voltage = Kind::Quantity(Dimension::VOLTAGE);
    /// Electrical resistance.
    Resistance = Kind::Quantity(Dimension::RESISTANCE);
    /// Electric charge.
    Charge = Kind::Quantity(Dimension::CHARGE);
    /// Energy.
    Energy = Kind::Quantity(Dimension::ENERGY);
    /// Power.
    Power = Kind::Quantity(Dimension::POWER);
    /// Length.
    Length = Kind::Quantity(Dimension::LENGTH);
    /// Area, or a wire size.
    Area = Kind::Quantity(Dimension::AREA);
    /// Mass.
    Mass = Kind::Quantity(Dimension::MASS);
    /// Time.
    Time = Kind::Quantity(Dimension::TIME);
    /// A temperature on a scale.
    Temperature = Kind::Quantity(Dimension::TEMPERATURE);
    /// A temperature difference.
    TemperatureDifference = Kind::Quantity(Dimension::TEMPERATURE_DIFFERENCE);
    /// Torque.
    Torque = Kind::Quantity(Dimension::TORQUE);
    /// C-rate.
    Rate = Kind::Quantity(Dimension::RATE);
    /// Thermal resistance.
    ThermalResistance = Kind::Quantity(Dimension::THERMAL_RESISTANCE);
    /// Thermal conductivity.
    Conductivity = Kind::Quantity(Dimension::CONDUCTIVITY);
    /// A plain number or a percentage.
    Ratio = Kind::Quantity(Dimension::NONE);
    /// A quantity of any dimension.
    AnyQuantity = Kind::AnyQuantity;
    /// A whole number.
    Count = Kind::Count;
    /// Yes or no.
    YesNo = Kind::YesNo;
    /// One line of text.
    Text = Kind::Text;
    /// Text in Markdown.
    Markdown = Kind::Markdown;
    /// A date.
    Day = Kind::Date;
    /// Width × thickness.
    Section = Kind::Section;
    /// Length × width × height.
    Size = Kind::Size;
    /// Several short texts.
    List = Kind::List;
    /// An instrument's accuracy.
    AccuracySpec = Kind::Accuracy;
    /// A SHA-256 digest.
    Digest = Kind::Digest;
}
